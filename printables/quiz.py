"""A quiz on paper: questions with pictures, room for a name, and the key on a page of its own."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from audits.messages import Message, Words, say
from audits.questions import Question
from audits.quizzes import Quiz
from audits.vocabulary import STAGE_NAMES
from printables.answer_sheet import LETTERS, AnswerSheet, answer_leaf, quiz_mark
from printables.document import Document
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Shape, Text
from printables.flow import Part, content_width, paged, titled
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.question_pictures import WIDTH_MM as PICTURE_MM
from printables.question_pictures import question_picture
from printables.sheet import Page
from printables.subject import StandardSubject

TITLE_PT: Final = 18.0
STEM_PT: Final = 13.0
TEXT_PT: Final = 12.0
FOOT_PT: Final = 9.0

_BOX_MM: Final = 5.0
_CHOICE_LEFT_MM: Final = 13.5
_NUMBER_MM: Final = 9.0
_BESIDE_MM: Final = 5.0


def quiz_paper(
    subject: StandardSubject,
    quiz: Quiz,
    words: Words,
    *,
    page: Page = Page.LETTER,
    answer_sheets: Sequence[AnswerSheet] = (),
) -> Document:
    """
    Print a quiz with its answer key as the last page.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version of its standard.
    quiz : Quiz
        The questions; seed and variant are printed on every page.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.
    answer_sheets : sequence of AnswerSheet, optional
        Whose answers are marked on sheets of their own, which come before the key; the questions
        then have no boxes and can be handed out again.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    width = content_width(page)
    on_sheets = bool(answer_sheets)
    title = say("Quiz: %(block)s", block=subject.block)
    questions = titled(
        [
            _head(subject, title, words, width, on_sheets=on_sheets),
            *(
                _question_block(number, question, words, width, on_sheets=on_sheets)
                for number, question in enumerate(quiz.questions, start=1)
            ),
        ]
    )
    key: list[Part] = [_key_head(subject, quiz, words, width), _key_table(quiz, words, width)]

    def footer(number: int, count: int) -> Drawing:
        return _footer(quiz, words, width, (number, count))

    def laid(parts: Sequence[Sequence[Part]]) -> Document:
        return paged(
            parts,
            footer,
            page=page,
            title=words.say(title),
            author=subject.farm,
            language=words.language,
        )

    paper = laid([questions, key])
    if not answer_sheets:
        return paper
    before_key = len(laid([questions]).leaves)
    sheets = [answer_leaf(sheet, words, page) for sheet in answer_sheets]
    leaves = [*paper.leaves[:before_key], *sheets, *paper.leaves[before_key:]]
    return replace(paper, leaves=leaves)


def _head(
    subject: StandardSubject,
    title: Message,
    words: Words,
    width_mm: float,
    *,
    on_sheets: bool = False,
) -> Drawing:
    mark = (
        say("Look at the picture. Mark one answer for each question on the answer sheet.")
        if on_sheets
        else say("Look at the picture. Mark one answer for each question.")
    )
    parts = [
        paragraph([Run(words.say(title), bold=True)], width_mm, TITLE_PT),
        paragraph(
            [Run(f"{subject.farm}.", ink=Ink.SOFT), Run(words.say(subject.version_words()))],
            width_mm,
            TEXT_PT,
        ),
        *([] if on_sheets else [_lines_to_fill(words, width_mm)]),
        paragraph(
            [
                Run(words.say(mark)),
                Run(words.say(say("Some trees are best left alone."))),
            ],
            width_mm,
            TEXT_PT,
        ),
    ]
    return stacked(parts, width_mm, 2.0, words.say(title))


def _lines_to_fill(words: Words, width_mm: float) -> Drawing:
    """Leave room for a name and a date."""
    size = TEXT_PT * POINT_MM
    baseline = 9.0
    name, day = words.say(say("Name")), words.say(say("Date"))
    day_left = width_mm * 0.68
    name_line = text_width(name, size, bold=True) + 2.0
    day_line = day_left + text_width(day, size, bold=True) + 2.0
    shapes: tuple[Shape, ...] = (
        Text(0.0, baseline, name, size, bold=True),
        Line((name_line, baseline + 0.8), (day_left - 5.0, baseline + 0.8), Ink.FINE_LINE),
        Text(day_left, baseline, day, size, bold=True),
        Line((day_line, baseline + 0.8), (width_mm, baseline + 0.8), Ink.FINE_LINE),
    )
    return Drawing(width_mm, baseline + 2.6, shapes, f"{name}, {day}")


def _question_block(
    number: int, question: Question, words: Words, width_mm: float, *, on_sheets: bool = False
) -> Drawing:
    """Set a question with its picture on the right, kept in one piece."""
    picture = None if question.picture is None else question_picture(question.picture, words)
    room = width_mm - (0.0 if picture is None else PICTURE_MM + _BESIDE_MM)
    stem = paragraph([Run(words.say(question.stem), bold=True)], room - _NUMBER_MM, STEM_PT)
    choices = [
        _choice(letter, words.say(choice), room, on_sheets=on_sheets)
        for letter, choice in zip(LETTERS, question.choices, strict=False)
    ]
    letters = stacked([stem, *choices], room, 2.2)
    size = STEM_PT * POINT_MM
    shapes: list[Shape] = [
        Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),
        Text(0.0, 2.6 + 0.95 * size, str(number), size, bold=True),
        stem.at(_NUMBER_MM, 2.6),
    ]
    top = 2.6 + stem.height_mm + 2.6
    for choice in choices:
        shapes.append(choice.at(0.0, top))
        top += choice.height_mm + 2.2
    height = top
    if picture is not None:
        shapes.append(picture.at(width_mm - PICTURE_MM, 2.6))
        height = max(height, 2.6 + picture.height_mm)
    return Drawing(width_mm, height, tuple(shapes), letters.title)


def _choice(letter: str, text: str, width_mm: float, *, on_sheets: bool) -> Drawing:
    size = TEXT_PT * POINT_MM
    letter_left = _NUMBER_MM + (0.0 if on_sheets else _BOX_MM + 2.0)
    left = letter_left + _CHOICE_LEFT_MM - _BOX_MM - 2.0
    said = paragraph([Run(text)], width_mm - left, TEXT_PT)
    box = () if on_sheets else (Rect(_NUMBER_MM, 0.1, _BOX_MM, _BOX_MM, Ink.FRAME, 0.8),)
    shapes: tuple[Shape, ...] = (
        *box,
        Text(letter_left, 0.95 * size, letter, size, bold=True),
        said.at(left, 0.0),
    )
    return Drawing(width_mm, max(said.height_mm, _BOX_MM + 0.4), shapes, text)


def _key_head(subject: StandardSubject, quiz: Quiz, words: Words, width_mm: float) -> Drawing:
    parts = [
        paragraph([Run(words.say(say("Answer key")), bold=True)], width_mm, TITLE_PT),
        paragraph(
            [
                Run(f"{subject.block}.", bold=True),
                Run(f"{words.say(subject.version_words())}."),
                Run(words.say(quiz_mark(quiz)), bold=True),
            ],
            width_mm,
            TEXT_PT,
        ),
        paragraph([Run(words.say(say("Keep this page back.")))], width_mm, TEXT_PT),
    ]
    return stacked(parts, width_mm, 2.0)


def _key_table(quiz: Quiz, words: Words, width_mm: float) -> Drawing:
    rows = [
        _key_row(number, question, words, width_mm)
        for number, question in enumerate(quiz.questions, start=1)
    ]
    return stacked(rows, width_mm, 2.0, words.say(say("Answer key")))


def _key_row(number: int, question: Question, words: Words, width_mm: float) -> Drawing:
    size = TEXT_PT * POINT_MM
    stage_left, answer_left = 24.0, 60.0
    stage = words.say(
        STAGE_NAMES[question.stage] if question.stage is not None else say("Safety and health")
    )
    answer = paragraph(
        [Run(words.say(question.stem), ink=Ink.SOFT), Run(words.say(question.answer), bold=True)],
        width_mm - answer_left,
        TEXT_PT,
    )
    stage_words = paragraph([Run(stage)], answer_left - stage_left - 2.0, TEXT_PT)
    baseline = 1.6 + 0.95 * size
    shapes: tuple[Shape, ...] = (
        Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),
        Text(8.0, baseline, str(number), size, anchor=Anchor.END),
        Text(14.0, baseline, LETTERS[question.key], size * 1.2, bold=True),
        stage_words.at(stage_left, 1.6),
        answer.at(answer_left, 1.6),
    )
    height = max(answer.height_mm, stage_words.height_mm) + 2.0
    return Drawing(width_mm, height, shapes, f"{number} {LETTERS[question.key]}")


def _footer(quiz: Quiz, words: Words, width_mm: float, place: tuple[int, int]) -> Drawing:
    size = FOOT_PT * POINT_MM
    page = words.say(say("Page %(number)s of %(count)s", number=place[0], count=place[1]))
    mark = words.say(quiz_mark(quiz))
    shapes: tuple[Shape, ...] = (
        Text(0.0, size, mark, size, Ink.SOFT),
        Text(width_mm, size, page, size, Ink.SOFT, anchor=Anchor.END),
    )
    return Drawing(width_mm, size * 1.3, shapes, f"{mark}. {page}")
