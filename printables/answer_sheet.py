"""The answer sheet of a quiz: one page of large boxes, read back from a photo."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

from audits.messages import Message, Words, say
from audits.quiz_letters import letters_of
from audits.quizzes import Quiz
from audits.vocabulary import Method, QuizStyle, SheetKind
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import CAPITAL_HEIGHT
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Shape, Text
from printables.fonts import require_letters
from printables.marked import PAPER_LETTERS, Box, BoxKind, MarkedPage, SheetCode, layout_check
from printables.paper_code import code_room, content_area, page_frame
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, Page
from printables.subject import StandardSubject

LETTERS: Final = "ABCD"

# One letter for each method in the code: it chooses a quiz's questions on safety.
METHOD_LETTERS: Final = {method: method[0].upper() for method in Method}
# And one for whether choices are words or pictures.
STYLE_LETTERS: Final = {style: style[0].upper() for style in QuizStyle}

TITLE_PT: Final = 18.0
NAME_PT: Final = 16.0
NUMBER_PT: Final = 16.0
TEXT_PT: Final = 12.0

_BOX_MM: Final = 9.0
_WRITTEN_MM: Final = 11.0
_MOST_ROW_MM: Final = 14.5
_LEAST_ROW_MM: Final = 11.0
_NUMBER_MM: Final = 16.0
_CHOICE_MM: Final = 40.0
# From the middle of a letter to the left edge of its box.
_LETTER_MM: Final = 5.5
_CODE_GAP_MM: Final = 4.0
_GAP_MM: Final = 2.2
_FIELD_GAP_MM: Final = 6.0
# Shares of the width that name, code and date have to be written in.
_FIELDS: Final = (("name", 0.56), ("code", 0.2), ("date", 0.24))


@dataclass(frozen=True)
class AnswerSheet:
    """
    Whose answers to which quiz.

    Parameters
    ----------
    subject : StandardSubject
        The block, the version of its standard and the method that the quiz is about.
    standard_version_id : int
        The number by which that version is stored.
    quiz : Quiz
        The questions.
    worker_id : int, optional
        The number by which the worker is stored; 0 leaves boxes for the name and the code.
    worker_name, worker_code : str, optional
        The worker, as printed.
    style : QuizStyle, optional
        Whether the quiz's choices are words or pictures.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    subject: StandardSubject
    standard_version_id: int
    quiz: Quiz
    worker_id: int = 0
    worker_name: str = ""
    worker_code: str = ""
    style: QuizStyle = QuizStyle.WORDS

    def __post_init__(self) -> None:
        require_letters({"name": self.worker_name, "code": self.worker_code})


@dataclass(frozen=True)
class ChosenAnswers:
    """
    What was marked on an answer sheet.

    Parameters
    ----------
    places : tuple of int or None
        The place of the choice marked, from 0, one for each question; None for none or several.
    contradictory : tuple of int
        Numbers of the questions, from 1, with more than one mark.
    missing : tuple of int
        Numbers of the questions, from 1, without a mark.
    """

    places: tuple[int | None, ...]
    contradictory: tuple[int, ...]
    missing: tuple[int, ...]


def answer_sheet(sheet: AnswerSheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print an answer sheet.

    Parameters
    ----------
    sheet : AnswerSheet
        Whose answers to which quiz.
    words : Words
        The reader's language.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        One page; the same for the same input.
    """
    title = words.say(_title(sheet))
    leaf = answer_leaf(sheet, words, page)
    return Document(title, sheet.subject.farm, words.language, [leaf])


def answer_leaf(sheet: AnswerSheet, words: Words, page: Page) -> Leaf:
    """
    Lay an answer sheet out, to be put among other pages.

    Parameters
    ----------
    sheet : AnswerSheet
        Whose answers to which quiz.
    words : Words
        The reader's language.
    page : Page
        The paper.

    Returns
    -------
    Leaf
        The page.
    """
    pieces, marked = _laid_out(sheet, words, page)
    return Leaf(PAGE_SIZES_MM[page], (*pieces, *page_frame(marked)))


def answer_marked_pages(sheet: AnswerSheet, words: Words, page: Page) -> tuple[MarkedPage, ...]:
    """
    Describe an answer sheet as it is read back.

    Parameters
    ----------
    sheet : AnswerSheet
        Whose answers to which quiz.
    words : Words
        The reader's language.
    page : Page
        The paper.

    Returns
    -------
    tuple of MarkedPage
        Its page, with a box for each choice, such as ``"q1.A"``, and those to write into.
    """
    return (_laid_out(sheet, words, page)[1],)


def chosen_answers(marked: Collection[str], quiz: Quiz) -> ChosenAnswers:
    """
    Turn the marks of an answer sheet into answers.

    Parameters
    ----------
    marked : collection of str
        Keys of the boxes that were marked.
    quiz : Quiz
        The questions.

    Returns
    -------
    ChosenAnswers
        The answers; several marks at one question are none, and are named.
    """
    found = [
        [place for place, _ in enumerate(question.choices) if choice_key(number, place) in marked]
        for number, question in enumerate(quiz.questions, start=1)
    ]
    return ChosenAnswers(
        tuple(places[0] if len(places) == 1 else None for places in found),
        tuple(number for number, places in enumerate(found, start=1) if len(places) > 1),
        tuple(number for number, places in enumerate(found, start=1) if not places),
    )


def choice_key(number: int, place: int) -> str:
    """
    Return the key of a choice's box.

    Parameters
    ----------
    number : int
        Number of the question, from 1.
    place : int
        Place of the choice, from 0.

    Returns
    -------
    str
        Such as ``"q1.A"``.
    """
    return f"q{number}.{LETTERS[place]}"


def quiz_mark(quiz: Quiz, style: QuizStyle = QuizStyle.WORDS) -> Message:
    """
    Say which quiz this is.

    Parameters
    ----------
    quiz : Quiz
        The quiz.
    style : QuizStyle, optional
        Whether its choices are words or pictures.

    Returns
    -------
    Message
        Its seed and its variant.
    """
    seed = str(quiz.seed)
    if style is QuizStyle.PICTURES:
        return say(
            "Seed %(seed)s, variant %(variant)s, in pictures", seed=seed, variant=quiz.variant
        )
    return say("Seed %(seed)s, variant %(variant)s", seed=seed, variant=quiz.variant)


# --- the page ------------------------------------------------------------------------------------


def _title(sheet: AnswerSheet) -> Message:
    return say("Answer sheet: %(block)s", block=sheet.subject.block)


def _laid_out(sheet: AnswerSheet, words: Words, page: Page) -> tuple[tuple[Piece, ...], MarkedPage]:
    size = PAGE_SIZES_MM[page]
    left, top, right, bottom = content_area(size)
    code_left, _, _, code_bottom = code_room(size)
    width = right - left
    pieces = _head(sheet, words, (left, top, code_left - _CODE_GAP_MM - left))
    top = max(_bottom_of(pieces), code_bottom) + _GAP_MM
    fields = _fields(sheet, words, width)
    boxes = [*_moved(fields[1], left, top)]
    pieces.append(Piece(fields[0], left, top))
    top += fields[0].height_mm + _GAP_MM
    how = paragraph([Run(words.say(sentence)) for sentence in _HOW], width, TEXT_PT)
    pieces.append(Piece(how, left, top))
    top += how.height_mm + 2 * _GAP_MM
    questions = sheet.quiz.questions
    row_mm = max(_LEAST_ROW_MM, min(_MOST_ROW_MM, (bottom - top) / len(questions)))
    for number, question in enumerate(questions, start=1):
        row = _row(number, len(question.choices), words, (width, row_mm))
        pieces.append(Piece(row[0], left, top))
        boxes += _moved(row[1], left, top)
        top += row_mm
    # A version of a standard may be changed after its quiz was printed, and items be retired: the
    # same seed then asks something else, so that the check letters rest on that too.
    meaning = letters_of(sheet.quiz)
    code = SheetCode(
        SheetKind.ANSWERS,
        (
            str(sheet.standard_version_id),
            str(sheet.quiz.seed),
            sheet.quiz.variant,
            METHOD_LETTERS[sheet.subject.method] + STYLE_LETTERS[sheet.style],
            PAPER_LETTERS[page],
            words.language.upper(),
            str(sheet.worker_id),
        ),
        1,
        layout_check(page, boxes, meaning),
    )
    return tuple(pieces), MarkedPage(page, code, tuple(boxes), meaning=meaning)


_HOW: Final = (
    say("Make a cross in one box for each question."),
    say("Wrong box? Erase it well."),
    say("Keep the round signs clean: the sheet is read from a photo."),
)


def _bottom_of(pieces: Sequence[Piece]) -> float:
    return max(piece.y_mm + piece.drawing.height_mm for piece in pieces)


def _moved(boxes: Sequence[Box], left: float, top: float) -> list[Box]:
    return [replace(box, x_mm=left + box.x_mm, y_mm=top + box.y_mm) for box in boxes]


def _head(sheet: AnswerSheet, words: Words, place: tuple[float, float, float]) -> list[Piece]:
    """Say which quiz this is, beside the page's code."""
    left, top, width = place
    title = paragraph([Run(words.say(_title(sheet)), bold=True)], width, TITLE_PT)
    facts = paragraph(
        [
            Run(f"{sheet.subject.farm}."),
            Run(f"{words.say(sheet.subject.version_words())}."),
            Run(words.say(quiz_mark(sheet.quiz, sheet.style)), bold=True),
        ],
        width,
        TEXT_PT,
    )
    return [
        Piece(title, left, top, Role.TITLE),
        Piece(facts, left, top + title.height_mm + 1.6),
    ]


def _fields(sheet: AnswerSheet, words: Words, width_mm: float) -> tuple[Drawing, tuple[Box, ...]]:
    """Print who answers, or leave boxes for that; the date is written by hand."""
    labels = {"name": say("Name"), "code": say("Code"), "date": say("Date")}
    share = (width_mm - _FIELD_GAP_MM * (len(_FIELDS) - 1)) / sum(part for _, part in _FIELDS)
    size = TEXT_PT * POINT_MM
    box_top = size * 1.3
    shapes: list[Shape] = []
    boxes = []
    height = box_top + _WRITTEN_MM + 0.2
    left = 0.2
    for name, part in _FIELDS:
        width = share * part - 0.4
        if sheet.worker_id and name == "name":
            who = _who(sheet, words, share * (part + _FIELDS[1][1]) + _FIELD_GAP_MM)
            shapes.append(who.at(left, 0.0))
            height = max(height, who.height_mm)
        elif not sheet.worker_id or name == "date":
            label = words.say(labels[name])
            shapes.append(Text(left, 0.95 * size, label, size, bold=True))
            boxes.append(
                Box(name, name, left, box_top, width, _WRITTEN_MM, BoxKind.WRITTEN),
            )
        left += share * part + _FIELD_GAP_MM
    shapes += [_frame(box) for box in boxes]
    title = ", ".join(words.say(label) for label in labels.values())
    return Drawing(width_mm, height, tuple(shapes), title), tuple(boxes)


def _who(sheet: AnswerSheet, words: Words, width_mm: float) -> Drawing:
    name = sheet.worker_name or sheet.worker_code
    code = f" ({sheet.worker_code})" if sheet.worker_name and sheet.worker_code else ""
    return stacked(
        [
            paragraph([Run(words.say(say("Name")), bold=True)], width_mm, TEXT_PT),
            paragraph([Run(f"{name}{code}", bold=True)], width_mm, NAME_PT),
        ],
        width_mm,
        1.2,
    )


def _row(
    number: int, choices: int, words: Words, size_mm: tuple[float, float]
) -> tuple[Drawing, tuple[Box, ...]]:
    """Set the boxes of a question beside its number, each behind its letter."""
    width, height = size_mm
    size = NUMBER_PT * POINT_MM
    baseline = height / 2 + CAPITAL_HEIGHT * size / 2
    top = (height - _BOX_MM) / 2
    shapes: list[Shape] = [
        Line((0.0, 0.0), (width, 0.0), Ink.HAIRLINE),
        Text(_NUMBER_MM - 6.0, baseline, str(number), size, anchor=Anchor.END, bold=True),
    ]
    boxes = []
    for place in range(choices):
        left = _NUMBER_MM + place * _CHOICE_MM
        shapes.append(
            Text(left + _LETTER_MM / 2, baseline, LETTERS[place], size, anchor=Anchor.MIDDLE)
        )
        boxes.append(
            Box(
                choice_key(number, place),
                f"q{number}",
                left + _LETTER_MM + 1.5,
                top,
                _BOX_MM,
                _BOX_MM,
            )
        )
    shapes += [_frame(box) for box in boxes]
    told = words.say(say("Question %(number)s", number=number))
    return Drawing(width, height, tuple(shapes), told), tuple(boxes)


def _frame(box: Box) -> Rect:
    """Draw the frame of a box where it is looked for."""
    return Rect(box.x_mm, box.y_mm, box.width_mm, box.height_mm, Ink.FRAME)
