"""The tally sheet: a drawn sample on paper, for pencil and gloves, in the order of the walk."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.messages import Message, Words, say
from audits.vocabulary import (
    FAULT_NAMES,
    PLANTING_KIND_NAMES,
    PURPOSE_NAMES,
    STAGE_NAMES,
    Fault,
    Purpose,
    SheetKind,
)
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Shape, Text
from printables.marked import PAPER_LETTERS, Box, MarkedPage, SheetCode, layout_check
from printables.paper_code import code_room, content_area, page_frame
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, Page
from printables.tally_letters import (
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    kind_letters,
)
from printables.tally_records import TallySheet, letters_of
from printables.tally_table import (
    MISSED,
    NO_TREE,
    TEXT_MM,
    TEXT_PT,
    Grid,
    MarkedDrawing,
    table_head,
    table_rows,
)

TITLE_PT: Final = 15.0
LEAD_PT: Final = 11.0

_LINE_MM: Final = 1.22 * TEXT_MM
_CODE_GAP_MM: Final = 3.0
_LEAST_LINE_MM: Final = 60.0
_HEAD_GAP_MM: Final = 1.6


def tally_sheet(sheet: TallySheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a tally sheet.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper; it lies on its long side.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    leaves = [Leaf(_size_mm(page), pieces) for pieces in tally_pages(sheet, words, page)]
    return Document(words.say(_title(sheet)), sheet.farm, words.language, leaves)


def tally_pages(sheet: TallySheet, words: Words, page: Page) -> list[tuple[Piece, ...]]:
    """
    Lay a tally sheet out on pages.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    words : Words
        The reader's language and units.
    page : Page
        The paper.

    Returns
    -------
    list of tuple of Piece
        The pieces of each page: its head with the letters, the head of the table and rows, and
        last what makes it readable from a photo.
    """
    return [(*laid.pieces, *page_frame(laid.marked)) for laid in _laid_out(sheet, words, page)]


def tally_marked_pages(sheet: TallySheet, words: Words, page: Page) -> tuple[MarkedPage, ...]:
    """
    Describe the pages of a tally sheet as they are read back.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    words : Words
        The reader's language and units.
    page : Page
        The paper.

    Returns
    -------
    tuple of MarkedPage
        The pages in order, with the boxes of the rows on each.
    """
    return tuple(laid.marked for laid in _laid_out(sheet, words, page))


@dataclass(frozen=True)
class _LaidPage:
    """What is drawn on a page, and the same page as it is read back."""

    pieces: tuple[Piece, ...]
    marked: MarkedPage


@dataclass(frozen=True)
class _Frame:
    """The part of a page that may be used, and where the code of the page ends."""

    left: float
    top: float
    right: float
    bottom: float
    code_left: float
    code_bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def beside_code(self) -> float:
        """The width to the left of the code."""
        return self.code_left - _CODE_GAP_MM - self.left


def _size_mm(page: Page) -> tuple[float, float]:
    """Return the size of the paper lying on its long side."""
    width, height = PAGE_SIZES_MM[page]
    return (height, width)


def _frame(page: Page) -> _Frame:
    size = _size_mm(page)
    code_left, _, _, code_bottom = code_room(size)
    return _Frame(*content_area(size), code_left, code_bottom)


def _laid_out(sheet: TallySheet, words: Words, page: Page) -> list[_LaidPage]:
    frame = _frame(page)
    grid = Grid(sheet, words, frame.width)
    columns = table_head(words, grid)
    legend = _legend(sheet, words, frame.width)
    beside = _legend(sheet, words, frame.beside_code)

    def head(number: int, count: int) -> list[Piece]:
        place = (number, count)
        if number == 1:
            pieces = _first_head(sheet, words, frame, legend, place)
        else:
            pieces = _later_head(sheet, words, frame, beside, place)
        last = pieces[-1]
        top = max(last.y_mm + last.drawing.height_mm, frame.code_bottom) + _HEAD_GAP_MM
        return [*pieces, Piece(columns, frame.left, top)]

    # Where rows begin does not depend on how many pages there are.
    begins = [_bottom_of(head(number, 1)) for number in (1, 2)]
    groups = _broken(table_rows(sheet, words, grid), begins, frame.bottom)
    pages = []
    for number, group in enumerate(groups, start=1):
        pieces = head(number, len(groups))
        boxes: list[Box] = []
        top = _bottom_of(pieces)
        for row in group:
            pieces.append(Piece(row.drawing, frame.left, top))
            boxes += row.boxes_at(frame.left, top)
            top += row.drawing.height_mm
        code = SheetCode(
            SheetKind.TALLY,
            (str(sheet.audit), PAPER_LETTERS[page], words.language.upper()),
            number,
            layout_check(page, boxes, sheet.seed),
        )
        marked = MarkedPage(page, code, tuple(boxes), landscape=True, meaning=sheet.seed)
        pages.append(_LaidPage(tuple(pieces), marked))
    return pages


def _bottom_of(pieces: Sequence[Piece]) -> float:
    return pieces[-1].y_mm + pieces[-1].drawing.height_mm


def _broken(
    rows: Sequence[MarkedDrawing], begins: Sequence[float], bottom: float
) -> list[list[MarkedDrawing]]:
    """Share the rows out over pages, none cut in two."""
    pages: list[list[MarkedDrawing]] = []
    room = 0.0
    for row in rows:
        if not pages or row.drawing.height_mm > room:
            room = bottom - begins[min(len(pages), len(begins) - 1)]
            pages.append([])
        pages[-1].append(row)
        room -= row.drawing.height_mm
    return pages


# --- the head of the sheet -----------------------------------------------------------------------


def _title(sheet: TallySheet) -> Message:
    return say("Tally sheet: %(block)s, %(lot)s", block=sheet.block, lot=sheet.lot)


def _first_head(
    sheet: TallySheet,
    words: Words,
    frame: _Frame,
    legend: Drawing,
    place: tuple[int, int],
) -> list[Piece]:
    """Say what was drawn for whom and how the sheet is filled in; below it the letters."""
    facts = [
        Run(f"{sheet.farm}. {sheet.crew}."),
        Run(words.say(PURPOSE_NAMES[sheet.purpose]) + "."),
        Run(words.say(say("Standard: version %(version)s.", version=sheet.standard_version))),
        Run(
            words.say(
                say("Draw %(number)s of %(day)s.", number=str(sheet.draw), day=sheet.drawn_on)
            ),
            bold=True,
        ),
    ]
    width = frame.beside_code
    number = _page_number(words, place)
    title = paragraph(
        [Run(words.say(_title(sheet)), bold=True)], width - number.width_mm - 4.0, TITLE_PT
    )
    beside = stacked(
        [paragraph(facts, width, LEAD_PT), _signing(sheet, words, width)], width, _HEAD_GAP_MM
    )
    beside_top = frame.top + title.height_mm + _HEAD_GAP_MM
    how = paragraph([Run(words.say(sentence)) for sentence in _how(sheet)], frame.width, TEXT_PT)
    how_top = max(beside_top + beside.height_mm, frame.code_bottom) + _HEAD_GAP_MM
    return [
        Piece(title, frame.left, frame.top, Role.TITLE),
        Piece(number, frame.left + width - number.width_mm, frame.top, Role.FURNITURE),
        Piece(beside, frame.left, beside_top),
        Piece(how, frame.left, how_top),
        Piece(legend, frame.left, how_top + how.height_mm + 1.2),
    ]


def _later_head(
    sheet: TallySheet,
    words: Words,
    frame: _Frame,
    legend: Drawing,
    place: tuple[int, int],
) -> list[Piece]:
    """Say whose page this is, with the letters beside its code."""
    width = frame.beside_code
    number = _page_number(words, place)
    draw = words.say(say("Draw %(number)s", number=str(sheet.draw)))
    title = paragraph(
        [Run(words.say(_title(sheet)), bold=True), Run(draw)],
        width - number.width_mm - 4.0,
        LEAD_PT,
    )
    return [
        Piece(title, frame.left, frame.top),
        Piece(number, frame.left + width - number.width_mm, frame.top, Role.FURNITURE),
        Piece(legend, frame.left, frame.top + title.height_mm + 1.0),
    ]


def _page_number(words: Words, place: tuple[int, int]) -> Drawing:
    told = words.say(say("Page %(number)s of %(count)s", number=place[0], count=place[1]))
    # As wide for every page, so that no title breaks where its neighbours' do not.
    width = text_width(words.say(say("Page %(number)s of %(count)s", number=99, count=99)), TEXT_MM)
    shape = Text(width, TEXT_MM, told, TEXT_MM, anchor=Anchor.END)
    return Drawing(width, 1.3 * TEXT_MM, (shape,), told)


def _signing(sheet: TallySheet, words: Words, width_mm: float) -> Drawing:
    """Leave room for the auditor's own name and for the day of the walk."""
    size = LEAD_PT * POINT_MM
    shapes: list[Shape] = []
    baseline = 6.5
    date_left = 0.7 * width_mm
    of_audit = words.say(say("(audit of %(name)s)", name=sheet.auditor)) if sheet.auditor else ""
    note_mm = text_width(of_audit, TEXT_MM)
    auditor = words.say(say("Auditor"))
    note_left = text_width(auditor, size, bold=True) + 2.0
    # A long name goes below, so that the line keeps its room.
    is_beside = note_left + note_mm + 2.0 + _LEAST_LINE_MM <= date_left
    for label, left, right, beside_mm in (
        (auditor, 0.0, date_left - 4.0, note_mm + 2.0 if of_audit and is_beside else 0.0),
        (words.say(say("Date")), date_left, width_mm, 0.0),
    ):
        start = left + text_width(label, size, bold=True) + 2.0 + beside_mm
        shapes += [
            Text(left, baseline, label, size, bold=True),
            Line((start, baseline + 0.8), (right, baseline + 0.8), Ink.FINE_LINE),
        ]
    height = baseline + 1.6
    if is_beside and of_audit:
        shapes.append(Text(note_left, baseline, of_audit, TEXT_MM))
    elif of_audit:
        note = paragraph([Run(of_audit)], width_mm, TEXT_PT)
        shapes.append(note.at(0.0, height))
        height += note.height_mm
    return Drawing(width_mm, height, tuple(shapes), auditor)


def _how(sheet: TallySheet) -> list[Message]:
    """Say how the sheet is filled in."""
    sentences = []
    if sheet.purpose is Purpose.RE_AUDIT:
        sentences.append(say("This is a re-audit: count the cuts of both passes."))
    if any(not column.is_measured for column in sheet.columns):
        sentences.append(
            say(
                "Mark one box for each stage. Tick: right. Bar: nothing due. Cross: a fault; mark "
                "the letter of each. The letters stand below."
            )
        )
    if any(answer.label for column in sheet.columns for answer in column.answers):
        sentences.append(
            say("Limbs: mark how many large limbs came out. Bar: fewer, because none is left.")
        )
    if any(column.is_measured for column in sheet.columns):
        sentences.append(say("Where a stage is measured, write each measure into its box."))
    if sheet.skips_decided:
        sentences.append(
            say('A stage that has as many faults as "not accepted from" may stay empty from there.')
        )
    sentences.append(
        say("Erase a wrong mark well. Keep the round signs clean: the sheet is read from a photo.")
    )
    return sentences


# --- the letters ---------------------------------------------------------------------------------


def _legend(sheet: TallySheet, words: Words, width_mm: float) -> Drawing:
    """Say what the letters mean, stage after stage, in as few lines as can be."""
    missed = [
        (TREE_MISSED_SIGN, FAULT_NAMES[Fault.TREE_MISSED]),
        (SIDE_MISSED_SIGN, FAULT_NAMES[Fault.SIDE_MISSED]),
    ]
    kinds = [
        (letter, PLANTING_KIND_NAMES[kind]) for kind, letter in kind_letters(words.language).items()
    ]
    groups = [
        *(
            (STAGE_NAMES[column.stage], letters)
            for column in sheet.columns
            if (letters := letters_of(column, words.language))
        ),
        (MISSED, missed),
        (NO_TREE, kinds),
    ]
    listed = _listed(groups, words, width_mm)
    shapes = (Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE), listed.at(0.0, 0.9))
    return Drawing(width_mm, listed.height_mm + 0.9, shapes, words.say(say("Letters")))


def _listed(
    groups: Sequence[tuple[str, Sequence[tuple[str, str]]]], words: Words, width_mm: float
) -> Drawing:
    """Set letters with what they mean in lines; a letter never parts from its meaning."""
    space = text_width("  ", TEXT_MM)
    shapes: list[Shape] = []
    left, top = 0.0, 0.0
    for title, entries in groups:
        head = f"{words.say(title)}:"
        head_mm = text_width(head, TEXT_MM, bold=True) + space
        # The name of a stage does not part from its first letter.
        first_mm = _entry_width(entries[0], words)
        if left > 0.0 and left + space + head_mm + first_mm > width_mm:
            left, top = 0.0, top + _LINE_MM
        elif left > 0.0:
            left += space
        shapes.append(Text(left, top + 0.95 * TEXT_MM, head, TEXT_MM, bold=True))
        left += head_mm
        for letter, name in entries:
            letter_mm = text_width(f"{letter} ", TEXT_MM, bold=True)
            width = _entry_width((letter, name), words)
            if left > 0.0 and left + width > width_mm:
                left, top = 0.0, top + _LINE_MM
            shapes += [
                Text(left, top + 0.95 * TEXT_MM, letter, TEXT_MM, bold=True),
                Text(left + letter_mm, top + 0.95 * TEXT_MM, words.say(name), TEXT_MM),
            ]
            left += width + space
    return Drawing(width_mm, top + _LINE_MM, tuple(shapes), words.say(say("Letters")))


def _entry_width(entry: tuple[str, str], words: Words) -> float:
    letter, name = entry
    return text_width(f"{letter} ", TEXT_MM, bold=True) + text_width(words.say(name), TEXT_MM)
