"""
A quiz on paper: questions with pictures, room for a name, and the key on pages of its own.

Several variants may be printed together. Their keys come last, all in one place, so that whoever
hands the questions out takes one pile away.
"""

from collections.abc import Sequence
from typing import Final

from audits.guessing import chance_of_passing
from audits.messages import Message, Words, say
from audits.questions import Question
from audits.quizzes import Quiz
from audits.vocabulary import STAGE_NAMES, QuizStyle
from printables.answer_sheet import LETTERS, AnswerSheet, answer_leaf, quiz_mark
from printables.document import Document, Leaf
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Shape, Text
from printables.flow import Part, content_height, content_width, paged, titled
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.question_pictures import WIDTH_MM as PICTURE_MM
from printables.question_pictures import choice_picture, question_picture
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
    style: QuizStyle = QuizStyle.WORDS,
    pass_mark: int | None = None,
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
    style : QuizStyle, optional
        Whether the quiz was made with choices in words or in pictures.
    pass_mark : int or None, optional
        Right answers with which it is passed, for the key.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    return quiz_papers(
        subject,
        [quiz],
        words,
        page=page,
        answer_sheets=answer_sheets,
        style=style,
        pass_mark=pass_mark,
    )


def quiz_papers(
    subject: StandardSubject,
    quizzes: Sequence[Quiz],
    words: Words,
    *,
    page: Page = Page.LETTER,
    answer_sheets: Sequence[AnswerSheet] = (),
    style: QuizStyle = QuizStyle.WORDS,
    pass_mark: int | None = None,
) -> Document:
    """
    Print some variants of a quiz, one after the other, and then the keys of all of them.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version of its standard.
    quizzes : sequence of Quiz
        The variants, at least one.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.
    answer_sheets : sequence of AnswerSheet, optional
        Whose answers are marked on sheets of their own; each comes behind the questions of its
        own variant.
    style : QuizStyle, optional
        Whether the quizzes were made with choices in words or in pictures.
    pass_mark : int or None, optional
        Right answers with which they are passed, for the keys.

    Returns
    -------
    Document
        Its pages; the same for the same input. Questions are numbered page by page within their
        variant, keys among themselves.
    """
    width = content_width(page)
    title = say("Quiz: %(block)s", block=subject.block)
    leaves: list[Leaf] = []
    for quiz in quizzes:
        mark = words.say(quiz_mark(quiz, style))
        questions = titled(
            _questions(subject, title, quiz, words, width, on_sheets=bool(answer_sheets))
        )
        leaves += _pages([questions], subject, title, words, page, mark)
        leaves += [
            answer_leaf(sheet, words, page)
            for sheet in answer_sheets
            if sheet.quiz.variant == quiz.variant
        ]
    room = content_height(page)
    keys = [_key(subject, quiz, words, (width, room), style, pass_mark) for quiz in quizzes]
    leaves += _pages(keys, subject, title, words, page, words.say(say("Answer key")))
    return Document(words.say(title), subject.farm, words.language, leaves)


def _pages(
    parts: Sequence[Sequence[Part]],
    subject: StandardSubject,
    title: Message,
    words: Words,
    page: Page,
    mark: str,
) -> Sequence[Leaf]:
    width = content_width(page)
    return paged(
        parts,
        lambda number, count: _footer(mark, words, width, (number, count)),
        page=page,
        title=words.say(title),
        author=subject.farm,
        language=words.language,
    ).leaves


def _questions(
    subject: StandardSubject,
    title: Message,
    quiz: Quiz,
    words: Words,
    width_mm: float,
    *,
    on_sheets: bool,
) -> list[Drawing]:
    return [
        _head(subject, title, words, width_mm, on_sheets=on_sheets),
        *(
            _question_block(number, question, words, width_mm, on_sheets=on_sheets)
            for number, question in enumerate(quiz.questions, start=1)
        ),
    ]


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
    if question.choice_pictures:
        choices = [_picture_choices(question, words, room, on_sheets=on_sheets)]
    else:
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


# Beside a question's picture signs are set smaller, two in a row, or four in a narrow column's two.
_SIGN_MM: Final = 20.0
_LEAST_GAP_MM: Final = 2.0


def _picture_choices(
    question: Question, words: Words, width_mm: float, *, on_sheets: bool
) -> Drawing:
    """Set choices that are pictures side by side, each behind its letter or below it."""
    drawn = [choice_picture(picture, words) for picture in question.choice_pictures]
    room = width_mm - _NUMBER_MM
    small = min(1.0, _SIGN_MM / drawn[0].height_mm) if _is_sign(drawn[0]) else 1.0
    tile = max(each.width_mm for each in drawn) * small
    above = not _is_sign(drawn[0])
    lead = 0.0 if above else _CHOICE_LEFT_MM - (_BOX_MM + 2.0 if on_sheets else 0.0)
    across = min(len(drawn), max(1, int((room + _LEAST_GAP_MM) // (lead + tile + _LEAST_GAP_MM))))
    if len(drawn) % across == 1 and across > _PAIR:
        across = _PAIR
    step = room / across
    top_of = _BOX_MM + 2.4 if above else 0.0
    row = max(each.height_mm for each in drawn) * small + top_of + 2.4
    shapes: list[Shape] = []
    for place, (letter, picture) in enumerate(zip(LETTERS, drawn, strict=False)):
        left = _NUMBER_MM + step * (place % across)
        top = row * (place // across)
        middle = top if above else top + (picture.height_mm * small - _BOX_MM) / 2
        shapes += _letter_and_box(letter, left, middle, on_sheets=on_sheets)
        shapes.append(picture.at(left + lead, top + top_of, small))
    height = row * -(-len(drawn) // across) - 2.4
    title = ", ".join(words.say(choice) for choice in question.choices)
    return Drawing(width_mm, height, tuple(shapes), title)


_PAIR: Final = 2


def _is_sign(drawing: Drawing) -> bool:
    return drawing.width_mm == drawing.height_mm


def _letter_and_box(letter: str, left_mm: float, top_mm: float, *, on_sheets: bool) -> list[Shape]:
    """Print a choice's letter, behind a box where answers are marked beside the questions."""
    size = TEXT_PT * POINT_MM
    box = [] if on_sheets else [Rect(left_mm, top_mm + 0.1, _BOX_MM, _BOX_MM, Ink.FRAME, 0.8)]
    letter_left = left_mm + (0.0 if on_sheets else _BOX_MM + 2.0)
    return [*box, Text(letter_left, top_mm + 0.95 * size, letter, size, bold=True)]


def _choice(letter: str, text: str, width_mm: float, *, on_sheets: bool) -> Drawing:
    letter_left = _NUMBER_MM + (0.0 if on_sheets else _BOX_MM + 2.0)
    left = letter_left + _CHOICE_LEFT_MM - _BOX_MM - 2.0
    said = paragraph([Run(text)], width_mm - left, TEXT_PT)
    shapes = (
        *_letter_and_box(letter, _NUMBER_MM, 0.0, on_sheets=on_sheets),
        said.at(left, 0.0),
    )
    return Drawing(width_mm, max(said.height_mm, _BOX_MM + 0.4), shapes, text)


def _key(
    subject: StandardSubject,
    quiz: Quiz,
    words: Words,
    room_mm: tuple[float, float],
    style: QuizStyle,
    pass_mark: int | None,
) -> list[Part]:
    """Set the key of one variant on a page of its own, with reasons as far as they fit on it."""
    width, height = room_mm
    head = _key_head(subject, quiz, words, width, style=style, pass_mark=pass_mark)
    table = _key_table(quiz, words, width)
    if head.height_mm + table.height_mm + _KEY_GAP_MM > height:
        table = _key_table(quiz, words, width, with_reasons=False)
    return [head, table]


_KEY_GAP_MM: Final = 5.0


def _key_head(
    subject: StandardSubject,
    quiz: Quiz,
    words: Words,
    width_mm: float,
    *,
    style: QuizStyle = QuizStyle.WORDS,
    pass_mark: int | None = None,
) -> Drawing:
    parts = [
        paragraph([Run(words.say(say("Answer key")), bold=True)], width_mm, TITLE_PT),
        paragraph(
            [
                Run(f"{subject.block}.", bold=True),
                Run(f"{words.say(subject.version_words())}."),
                Run(words.say(quiz_mark(quiz, style)), bold=True),
            ],
            width_mm,
            TEXT_PT,
        ),
        paragraph(
            [
                Run(words.say(sentence))
                for sentence in (*_passing(quiz, pass_mark), say("Keep this page back."))
            ],
            width_mm,
            TEXT_PT,
        ),
    ]
    return stacked(parts, width_mm, 2.0)


# Above this a chance reads more plainly in hundredths.
_OFTEN: Final = 0.1


def _passing(quiz: Quiz, pass_mark: int | None) -> list[Message]:
    """Say with how many right answers a quiz is passed, and how often by guessing."""
    if pass_mark is None:
        return []
    count = len(quiz.questions)
    chance = chance_of_passing([len(question.choices) for question in quiz.questions], pass_mark)
    guessing = (
        say("By guessing alone, %(count)s in 100 would pass.", count=round(100 * chance))
        if chance > _OFTEN
        else say("By guessing alone, 1 in %(count)s would pass.", count=_one_in(chance))
    )
    return [
        say("Passed with %(mark)s of %(total)s or more.", mark=pass_mark, total=count),
        guessing,
    ]


def _one_in(chance: float) -> int:
    """Return how many would have to guess for one to pass, to two places that count."""
    return int(float(f"{1 / chance:.2g}"))


def _key_table(quiz: Quiz, words: Words, width_mm: float, *, with_reasons: bool = True) -> Drawing:
    rows = [
        _key_row(number, question, words, width_mm, with_reasons=with_reasons)
        for number, question in enumerate(quiz.questions, start=1)
    ]
    return stacked(rows, width_mm, 1.2, words.say(say("Answer key")))


def _sentence(text: str) -> str:
    """End a text that another sentence follows."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


_STAGE_LEFT_MM: Final = 22.0
_ANSWER_LEFT_MM: Final = 48.0


def _key_row(
    number: int, question: Question, words: Words, width_mm: float, *, with_reasons: bool
) -> Drawing:
    size = TEXT_PT * POINT_MM
    stage = words.say(
        STAGE_NAMES[question.stage] if question.stage is not None else say("Safety and health")
    )
    why = words.say(question.why) if with_reasons and question.why.text else ""
    answer = paragraph(
        [
            Run(words.say(question.stem), ink=Ink.SOFT),
            Run(_sentence(words.say(question.answer)), bold=True),
            *([Run(why)] if why else []),
        ],
        width_mm - _ANSWER_LEFT_MM,
        TEXT_PT,
    )
    stage_words = paragraph([Run(stage)], _ANSWER_LEFT_MM - _STAGE_LEFT_MM - 2.0, TEXT_PT)
    baseline = 1.6 + 0.95 * size
    shapes: tuple[Shape, ...] = (
        Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),
        Text(8.0, baseline, str(number), size, anchor=Anchor.END),
        Text(13.0, baseline, LETTERS[question.key], size * 1.2, bold=True),
        stage_words.at(_STAGE_LEFT_MM, 1.6),
        answer.at(_ANSWER_LEFT_MM, 1.6),
    )
    height = max(answer.height_mm, stage_words.height_mm) + 2.0
    return Drawing(width_mm, height, shapes, f"{number} {LETTERS[question.key]}")


def _footer(mark: str, words: Words, width_mm: float, place: tuple[int, int]) -> Drawing:
    size = FOOT_PT * POINT_MM
    page = words.say(say("Page %(number)s of %(count)s", number=place[0], count=place[1]))
    shapes: tuple[Shape, ...] = (
        Text(0.0, size, mark, size, Ink.SOFT),
        Text(width_mm, size, page, size, Ink.SOFT, anchor=Anchor.END),
    )
    return Drawing(width_mm, size * 1.3, shapes, f"{mark}. {page}")
