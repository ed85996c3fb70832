"""The tally sheet: a drawn sample on paper, for pencil and gloves, in the order of the walk."""

from collections.abc import Sequence
from typing import Final

from audits.messages import Message, Words, say
from audits.vocabulary import (
    FAULT_NAMES,
    PLANTING_KIND_NAMES,
    PURPOSE_NAMES,
    STAGE_NAMES,
    Fault,
    Purpose,
)
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Shape, Text
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
    table_head,
    table_rows,
)

TITLE_PT: Final = 15.0
LEAD_PT: Final = 11.0

_MARGIN_MM: Final = 10.0
_FOOTER_MM: Final = 5.5
_LINE_MM: Final = 1.22 * TEXT_MM


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
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    leaves = [Leaf(PAGE_SIZES_MM[page], pieces) for pieces in tally_pages(sheet, words, page)]
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
        The pieces of each page: its head, the head of the table, rows, and letters at its foot.
    """
    grid = Grid(sheet, PAGE_SIZES_MM[page][0] - 2 * _MARGIN_MM)
    legend = _legend(sheet, words, grid.width_mm)
    columns = table_head(sheet, words, grid)
    bottom = PAGE_SIZES_MM[page][1] - _MARGIN_MM - _FOOTER_MM - legend.height_mm - 1.5
    head = _head(sheet, words, grid.width_mm)
    later_head = paragraph([Run(words.say(_title(sheet)), bold=True)], grid.width_mm, LEAD_PT)
    pages: list[list[Drawing]] = []
    room = 0.0
    for piece in table_rows(sheet, words, grid):
        if piece.height_mm > room:
            first = later_head if pages else head
            pages.append([first, columns])
            room = bottom - _MARGIN_MM - first.height_mm - 2.0 - columns.height_mm
        pages[-1].append(piece)
        room -= piece.height_mm
    return [
        (
            *_down(pieces),
            Piece(legend, _MARGIN_MM, bottom + 1.5),
            _footer(sheet, words, page, number, len(pages)),
        )
        for number, pieces in enumerate(pages, start=1)
    ]


def _down(pieces: Sequence[Drawing]) -> list[Piece]:
    """Set the pieces of a page one below the other, with some room below its head."""
    placed = []
    top = _MARGIN_MM
    for number, piece in enumerate(pieces):
        placed.append(Piece(piece, _MARGIN_MM, top))
        top += piece.height_mm + (2.0 if number == 0 else 0.0)
    return placed


# --- the head of the sheet -----------------------------------------------------------------------


def _title(sheet: TallySheet) -> Message:
    return say("Tally sheet: %(block)s, %(lot)s", block=sheet.block, lot=sheet.lot)


def _head(sheet: TallySheet, words: Words, width_mm: float) -> Drawing:
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
    parts = [
        paragraph([Run(words.say(_title(sheet)), bold=True)], width_mm, TITLE_PT),
        paragraph(facts, width_mm, LEAD_PT),
        _signing(sheet, words, width_mm),
        paragraph([Run(words.say(sentence)) for sentence in _how(sheet)], width_mm, TEXT_PT),
    ]
    return stacked(parts, width_mm, 1.6, words.say(_title(sheet)))


def _signing(sheet: TallySheet, words: Words, width_mm: float) -> Drawing:
    """Leave room for the auditor's own name and for the day of the walk."""
    size = LEAD_PT * POINT_MM
    shapes: list[Shape] = []
    baseline = 6.5
    date_left = 0.7 * width_mm
    of_audit = words.say(say("(audit of %(name)s)", name=sheet.auditor)) if sheet.auditor else ""
    for label, left, right in (
        (words.say(say("Auditor")), 0.0, date_left - 4.0),
        (words.say(say("Date")), date_left, width_mm),
    ):
        start = left + text_width(label, size, bold=True) + 2.0
        shapes += [
            Text(left, baseline, label, size, bold=True),
            Line((start, baseline + 0.8), (right, baseline + 0.8), Ink.FINE_LINE),
        ]
    note = paragraph([Run(of_audit)], width_mm, TEXT_PT)
    shapes.append(note.at(0.0, baseline + 1.6))
    height = baseline + 1.6 + note.height_mm
    return Drawing(width_mm, height, tuple(shapes), words.say(say("Auditor")))


def _how(sheet: TallySheet) -> list[Message]:
    """Say how the sheet is filled in."""
    sentences = []
    if sheet.purpose is Purpose.RE_AUDIT:
        sentences.append(say("This is a re-audit: count the cuts of both passes."))
    if any(not column.is_measured for column in sheet.columns):
        sentences.append(
            say(
                "Mark one box for each stage. Tick: right. Bar: nothing due. Wide box: write the "
                "letter of the fault; the letters stand at the foot."
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
    return sentences


# --- the foot ------------------------------------------------------------------------------------


def _legend(sheet: TallySheet, words: Words, width_mm: float) -> Drawing:
    """List the letters, stage by stage."""
    missed = [
        (TREE_MISSED_SIGN, FAULT_NAMES[Fault.TREE_MISSED]),
        (SIDE_MISSED_SIGN, FAULT_NAMES[Fault.SIDE_MISSED]),
    ]
    kinds = [
        (letter, PLANTING_KIND_NAMES[kind]) for kind, letter in kind_letters(words.language).items()
    ]
    parts = [
        *(
            _listed(STAGE_NAMES[column.stage], letters, words, width_mm)
            for column in sheet.columns
            if (letters := letters_of(column, words.language))
        ),
        _listed(MISSED, missed, words, width_mm),
        _listed(NO_TREE, kinds, words, width_mm),
    ]
    listed = stacked(parts, width_mm, 0.2)
    shapes = (Line((0.0, 0.0), (width_mm, 0.0), Ink.LINE), listed.at(0.0, 1.2))
    return Drawing(width_mm, listed.height_mm + 1.2, shapes, words.say(say("Letters")))


def _listed(
    title: str, entries: Sequence[tuple[str, str]], words: Words, width_mm: float
) -> Drawing:
    """Set letters with what they mean in lines; a letter never parts from its meaning."""
    space = text_width("  ", TEXT_MM)
    head = f"{words.say(title)}:"
    shapes: list[Shape] = [Text(0.0, 0.95 * TEXT_MM, head, TEXT_MM, bold=True)]
    left, top = text_width(head, TEXT_MM, bold=True) + space, 0.0
    for letter, name in entries:
        letter_mm = text_width(f"{letter} ", TEXT_MM, bold=True)
        told = paragraph([Run(words.say(name))], width_mm - letter_mm, TEXT_PT)
        name_mm = text_width(words.say(name), TEXT_MM)
        if left > 0.0 and left + letter_mm + name_mm > width_mm:
            left, top = 0.0, top + _LINE_MM
        shapes += [
            Text(left, top + 0.95 * TEXT_MM, letter, TEXT_MM, bold=True),
            told.at(left + letter_mm, top),
        ]
        left += letter_mm + name_mm + space
        # A name longer than a line takes more than one.
        top += max(0.0, told.height_mm - _LINE_MM - 0.3)
    return Drawing(width_mm, top + _LINE_MM, tuple(shapes), head)


def _footer(sheet: TallySheet, words: Words, page: Page, number: int, count: int) -> Piece:
    width = PAGE_SIZES_MM[page][0] - 2 * _MARGIN_MM
    told = words.say(say("Page %(number)s of %(count)s", number=number, count=count))
    draw = words.say(say("Draw %(number)s", number=str(sheet.draw)))
    drawing = Drawing(
        width,
        1.3 * TEXT_MM,
        (
            Text(0.0, TEXT_MM, draw, TEXT_MM),
            Text(width, TEXT_MM, told, TEXT_MM, anchor=Anchor.END),
        ),
        told,
    )
    top = PAGE_SIZES_MM[page][1] - _MARGIN_MM - drawing.height_mm
    return Piece(drawing, _MARGIN_MM, top, Role.FURNITURE)
