"""The tally sheet: a drawn sample on paper, for pencil and gloves, in the order of the walk."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from typing import Final, NamedTuple

from audits.messages import Message, Words, mark, say, say_n
from audits.plain_words import just
from audits.scoring import WHOLE_TREE_STAGES, Tap
from audits.vocabulary import (
    FAULT_NAMES,
    PLANTING_KIND_NAMES,
    PURPOSE_NAMES,
    RESULT_NAMES,
    STAGE_FAULTS,
    STAGE_NAMES,
    Fault,
    Purpose,
    Result,
    Stage,
)
from printables.drawing.canvas import draw_on, new_canvas
from printables.drawing.inks import Ink
from printables.drawing.lettering import CAPITAL_HEIGHT, text_width
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import missed_pictogram, stage_pictogram
from printables.drawing.primitives import Anchor, Drawing, Line, Polygon, Rect, Shape, Text
from printables.drawing.wood import bar
from printables.fonts import require_letters
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, Page
from printables.tally_letters import (
    NOTHING_LETTER,
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    fault_letters,
    kind_letters,
    right_letter,
)

TITLE_PT: Final = 15.0
LEAD_PT: Final = 11.0
HEAD_PT: Final = 10.0
TEXT_PT: Final = 9.0
# Rows are never lower than this, so that a gloved hand with a pencil stays in its row.
LEAST_ROW_MM: Final = 9.0

_MARGIN_MM: Final = 10.0
_FOOTER_MM: Final = 5.5
_BOX_MM: Final = 5.5
_BOX_GAP_MM: Final = 1.2
_WIDE_BOX_MM: Final = 10.0
_GAP_MM: Final = 2.2
_NUMBER_MM: Final = 7.0
_MISSED_MM: Final = 15.0
_NO_TREE_MM: Final = 10.0
_MEASURED_MM: Final = 25.0
_PICTURE_MM: Final = 6.5
_SIGN_MM: Final = 4.4
_PAD_MM: Final = 0.9
_TEXT_MM: Final = TEXT_PT * POINT_MM
_LINE_MM: Final = 1.22 * _TEXT_MM

FEWER_NONE_LEFT: Final = mark("Fewer, none left")
NOT_CUT: Final = mark("Not cut this pass")
_TREE: Final = mark("Tree")
_MISSED: Final = mark("Missed")
_NO_TREE: Final = mark("No tree")

# What is written into the boxes of a measured stage, from left to right and from top to bottom.
MEASURE_LABELS: Final = {
    Stage.TOP: (mark("height"), mark("letter")),
    Stage.LIMBS: (mark("cuts"), mark("standing"), mark("letter")),
    Stage.COLUMNS: (mark("looked at"), mark("single"), mark("letter")),
    Stage.HEADING: (mark("diameters"), mark("left long")),
}


# The faults that no measure shows by itself, so that their letters are written beside it.
BESIDE_MEASURES: Final = {
    Stage.TOP: (Fault.BLUNT, Fault.LEADER_YOUNG),
    Stage.LIMBS: (Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK),
    Stage.COLUMNS: STAGE_FAULTS[Stage.COLUMNS],
    Stage.HEADING: (),
}


@dataclass(frozen=True)
class TallyAnswer:
    """
    One box of a stage.

    Parameters
    ----------
    tap : Tap
        The answer that a mark in the box stands for; `Tap.FAULT` is the wide box.
    label : str, optional
        The count of limbs that it stands for, such as "2" or "1-3"; empty for a sign.
    """

    tap: Tap
    label: str = ""


@dataclass(frozen=True)
class TallyColumn:
    """
    A stage as a column of the sheet.

    Parameters
    ----------
    stage : Stage
        The stage.
    answers : tuple of TallyAnswer
        Its boxes from left to right; empty where it is measured.
    faults : tuple of Fault
        The faults that it can have.
    """

    stage: Stage
    answers: tuple[TallyAnswer, ...]
    faults: tuple[Fault, ...]

    @property
    def is_measured(self) -> bool:
        """Whether measures are written instead of marks."""
        return not self.answers


@dataclass(frozen=True)
class TallyTree:
    """
    A tree of the sample or of the reserve.

    Parameters
    ----------
    label : str
        Its number in the walk as drawn, such as "7"; in the reserve with a plus, such as "+2".
    place : str
        Where it stands in its row, in the reader's words, such as "panel 19, tree 7".
    row : str
        The row in the reader's words, such as "Row 12".
    side : str
        From which side it is looked at.
    way : str, optional
        How it is reached from the tree before it; empty in the reserve.
    """

    label: str
    place: str
    row: str
    side: str
    way: str = ""


@dataclass(frozen=True)
class WaveNumbers:
    """
    What decides a stage at the end of a wave.

    Parameters
    ----------
    stage : Stage
        The stage.
    accepted : int or None
        Most trees with a fault so far with which it is accepted; None where that cannot be yet.
    rejected : int or None
        Fewest trees with a fault so far with which it is not accepted; None where that cannot be.
    by_mean : bool, optional
        Whether the mean of the measures decides, which nobody works out on paper.
    """

    stage: Stage
    accepted: int | None
    rejected: int | None
    by_mean: bool = False


@dataclass(frozen=True)
class TallyWave:
    """
    A part of the walk, and what decides at its end.

    Parameters
    ----------
    trees : tuple of TallyTree
        Its trees in walking order.
    numbers : tuple of WaveNumbers
        One entry for each stage, in the order of the columns.
    """

    trees: tuple[TallyTree, ...]
    numbers: tuple[WaveNumbers, ...]


@dataclass(frozen=True)
class TallySheet:
    """
    A drawn sample, ready to be printed.

    Parameters
    ----------
    farm, block, crew : str
        Their names.
    lot : str
        The rows of the lot in the reader's words, such as "Row 12".
    auditor : str
        Whose audit it is.
    standard_version : int
        The version that the trees are judged by.
    draw : int
        The number of the draw.
    drawn_on : date
        The day on which it was drawn.
    purpose : Purpose
        First audit or re-audit.
    columns : tuple of TallyColumn
        The stages, from the top of the tree down.
    waves : tuple of TallyWave
        The walk.
    reserve : tuple of TallyTree
        The reserve, in the order in which it is used.
    skips_decided : bool, optional
        Whether the standard lets a decided stage be left out.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    block: str
    crew: str
    lot: str
    auditor: str
    standard_version: int
    draw: int
    drawn_on: date
    purpose: Purpose
    columns: tuple[TallyColumn, ...]
    waves: tuple[TallyWave, ...]
    reserve: tuple[TallyTree, ...]
    skips_decided: bool = False

    def __post_init__(self) -> None:
        trees = [tree for wave in self.waves for tree in wave.trees] + list(self.reserve)
        require_letters(
            {
                "farm": self.farm,
                "block": self.block,
                "crew": self.crew,
                "auditor": self.auditor,
                "row": " ".join({self.lot, *(f"{tree.row} {tree.way}" for tree in trees)}),
            }
        )


class Placed(NamedTuple):
    """
    A piece of a page.

    Parameters
    ----------
    drawing : Drawing
        The piece.
    x_mm, y_mm : float
        Its upper left corner, from the page's own.
    """

    drawing: Drawing
    x_mm: float
    y_mm: float


def tally_sheet(sheet: TallySheet, words: Words, *, page: Page = Page.LETTER) -> bytes:
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
    bytes
        A PDF; the same bytes for the same input.
    """
    target = BytesIO()
    canvas = new_canvas(
        target,
        PAGE_SIZES_MM[page],
        title=words.say(_title(sheet)),
        author=sheet.farm,
        language=words.language,
    )
    for pieces in tally_pages(sheet, words, page):
        for piece in pieces:
            draw_on(canvas, piece.drawing, piece.x_mm, piece.y_mm)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def tally_pages(sheet: TallySheet, words: Words, page: Page) -> list[list[Placed]]:
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
    list of list of Placed
        The pieces of each page: its head, the head of the table, rows, and letters at its foot.
    """
    grid = _Grid(sheet, words, PAGE_SIZES_MM[page][0] - 2 * _MARGIN_MM)
    legend = _legend(sheet, words, grid.width_mm)
    table_head = _table_head(sheet, words, grid)
    bottom = PAGE_SIZES_MM[page][1] - _MARGIN_MM - _FOOTER_MM - legend.height_mm - 1.5
    head = _head(sheet, words, grid.width_mm)
    later_head = paragraph([Run(words.say(_title(sheet)), bold=True)], grid.width_mm, LEAD_PT)
    pages: list[list[Drawing]] = []
    room = 0.0
    for piece in _table(sheet, words, grid):
        if piece.height_mm > room:
            first = later_head if pages else head
            pages.append([first, table_head])
            room = bottom - _MARGIN_MM - first.height_mm - 2.0 - table_head.height_mm
        pages[-1].append(piece)
        room -= piece.height_mm
    return [
        [
            *_down(pieces),
            Placed(legend, _MARGIN_MM, bottom + 1.5),
            _footer(sheet, words, page, number, len(pages)),
        ]
        for number, pieces in enumerate(pages, start=1)
    ]


def _down(pieces: Sequence[Drawing]) -> list[Placed]:
    """Set the pieces of a page one below the other, with some room below its head."""
    placed = []
    top = _MARGIN_MM
    for number, piece in enumerate(pieces):
        placed.append(Placed(piece, _MARGIN_MM, top))
        top += piece.height_mm + (2.0 if number == 0 else 0.0)
    return placed


class _Grid:
    """Where the columns of the table lie."""

    def __init__(self, sheet: TallySheet, words: Words, width_mm: float) -> None:
        self.width_mm = width_mm
        self.columns = sheet.columns
        self.lefts: list[float] = []
        widths = [_column_width(column) for column in sheet.columns]
        fixed = _NUMBER_MM + sum(widths) + _MISSED_MM + _NO_TREE_MM
        self.place_left = _NUMBER_MM
        self.place_mm = width_mm - fixed - _GAP_MM * (len(widths) + 2)
        left = self.place_left + self.place_mm + _GAP_MM
        for width in widths:
            self.lefts.append(left)
            left += width + _GAP_MM
        self.widths = widths
        self.missed_left = left
        self.no_tree_left = left + _MISSED_MM + _GAP_MM
        self.words = words

    def lines(self, height_mm: float) -> list[Shape]:
        """Return the lines between the columns, above the row and below it."""
        edges = [*self.lefts, self.missed_left, self.no_tree_left]
        return [
            *(Line((0.0, down), (self.width_mm, down), Ink.FINE_LINE) for down in (0.0, height_mm)),
            *(
                Line((left - _GAP_MM / 2, 0.0), (left - _GAP_MM / 2, height_mm), Ink.HAIRLINE)
                for left in edges
            ),
        ]


def _column_width(column: TallyColumn) -> float:
    if column.is_measured:
        return _MEASURED_MM
    return sum(map(_answer_width, column.answers)) + _BOX_GAP_MM * (len(column.answers) - 1)


def _answer_width(answer: TallyAnswer) -> float:
    return _WIDE_BOX_MM if answer.tap is Tap.FAULT else max(_BOX_MM, _label_width(answer))


def _label_width(answer: TallyAnswer) -> float:
    return text_width(answer.label, _TEXT_MM, bold=True)


def _answer_boxes(column: TallyColumn, left: float) -> list[tuple[TallyAnswer, float, float]]:
    """Return each box of a column with its left edge and its width."""
    boxes = []
    for answer in column.answers:
        width = _answer_width(answer)
        boxes.append((answer, left, width))
        left += width + _BOX_GAP_MM
    return boxes


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


# --- the head of the table -----------------------------------------------------------------------


def _table_head(sheet: TallySheet, words: Words, grid: _Grid) -> Drawing:
    """Name the columns, with a sign and a letter above each box."""
    names = [
        paragraph(
            [Run(words.say(STAGE_NAMES[column.stage]), bold=True)], width, HEAD_PT, leading=1.1
        )
        for column, width in zip(sheet.columns, grid.widths, strict=True)
    ]
    others = [
        paragraph([Run(words.say(label), bold=True)], width, size_pt, leading=1.1)
        for label, width, size_pt in (
            (_TREE, grid.place_mm - 1.0, HEAD_PT),
            (_MISSED, _MISSED_MM, TEXT_PT),
            (_NO_TREE, _NO_TREE_MM, TEXT_PT),
        )
    ]
    below_pictures = _PICTURE_MM + 0.6
    name_mm = max(piece.height_mm for piece in (*names, *others))
    signs_top = below_pictures + name_mm + 0.6
    signs = [
        _signs(column, words, width)
        for column, width in zip(sheet.columns, grid.widths, strict=True)
    ]
    sign_mm = max(_SIGN_MM + 0.4 + 1.3 * _TEXT_MM, *(piece.height_mm for piece in signs))
    shapes: list[Shape] = []
    for column, left, name, sign in zip(sheet.columns, grid.lefts, names, signs, strict=True):
        picture = stage_pictogram(column.stage, "")
        shapes += [
            picture.at(left, 0.0, _PICTURE_MM / PICTOGRAM_MM),
            name.at(left, below_pictures),
            sign.at(left, signs_top),
        ]
    for piece, left in zip(
        others, (grid.place_left, grid.missed_left, grid.no_tree_left), strict=True
    ):
        shapes.append(piece.at(left, below_pictures))
    shapes += _missed_signs(grid, signs_top)
    return Drawing(grid.width_mm, signs_top + sign_mm, tuple(shapes), words.say(_TREE))


def _signs(column: TallyColumn, words: Words, width_mm: float) -> Drawing:
    if column.is_measured:
        labels = ", ".join(words.say(label) for label in MEASURE_LABELS[column.stage])
        return paragraph([Run(labels)], width_mm, TEXT_PT, leading=1.1)
    shapes: list[Shape] = []
    for answer, left, width in _answer_boxes(column, 0.0):
        centre = left + width / 2
        shapes += _sign(answer, centre)
        letter = _key(answer, words)
        if letter:
            shapes.append(
                Text(
                    centre,
                    _SIGN_MM + 0.6 + CAPITAL_HEIGHT * _TEXT_MM,
                    letter,
                    _TEXT_MM,
                    anchor=Anchor.MIDDLE,
                )
            )
    return Drawing(width_mm, _SIGN_MM + 0.4 + 1.3 * _TEXT_MM, tuple(shapes), "")


def _key(answer: TallyAnswer, words: Words) -> str:
    """Return the letter that the desk types for a box; a count is its own."""
    if answer.tap is Tap.RIGHT:
        single = answer.label.isdecimal()
        return "" if single else right_letter(words.language)
    return "" if answer.tap is Tap.FAULT else NOTHING_LETTER


def _sign(answer: TallyAnswer, centre: float) -> list[Shape]:
    """Draw tick, bar or cross as on the tiles of the phone, or write the count."""
    if answer.label:
        baseline = _SIGN_MM / 2 + CAPITAL_HEIGHT * _TEXT_MM / 2
        return [Text(centre, baseline, answer.label, _TEXT_MM, anchor=Anchor.MIDDLE, bold=True)]
    left = centre - _SIGN_MM / 2
    match answer.tap:
        case Tap.RIGHT:
            tick = ((0.0, 2.4), (0.8, 1.6), (1.6, 2.5), (3.6, 0.4), (4.4, 1.2), (1.6, 4.1))
            return [Polygon(tuple((left + x, y) for x, y in tick))]
        case Tap.FAULT:
            return [
                bar(((left + 0.5, 0.6), (left + 3.9, 3.8)), 1.0, Ink.SOLID),
                bar(((left + 0.5, 3.8), (left + 3.9, 0.6)), 1.0, Ink.SOLID),
            ]
        case _:
            return [Rect(left + 0.2, 1.7, _SIGN_MM - 0.4, 1.1)]


def _missed_signs(grid: _Grid, top: float) -> list[Shape]:
    shapes: list[Shape] = []
    baseline = top + _SIGN_MM + 0.6 + CAPITAL_HEIGHT * _TEXT_MM
    for left, fault, sign in (
        (grid.missed_left, Fault.TREE_MISSED, TREE_MISSED_SIGN),
        (_side_left(grid), Fault.SIDE_MISSED, SIDE_MISSED_SIGN),
    ):
        picture = missed_pictogram(fault, "")
        shapes += [
            picture.at(left + (_BOX_MM - _SIGN_MM) / 2, top, _SIGN_MM / PICTOGRAM_MM),
            Text(left + _BOX_MM / 2, baseline, sign, _TEXT_MM, anchor=Anchor.MIDDLE),
        ]
    return shapes


def _side_left(grid: _Grid) -> float:
    return grid.missed_left + _MISSED_MM - _BOX_MM - 1.0


# --- rows ----------------------------------------------------------------------------------------


def _table(sheet: TallySheet, words: Words, grid: _Grid) -> list[Drawing]:
    """Return the rows with what stands between them; a title never parts from its first row."""
    pieces = []
    walked = 0
    row = ""
    for number, wave in enumerate(sheet.waves, start=1):
        for at, tree in enumerate(wave.trees):
            titles = []
            if at == 0 and len(sheet.waves) > 1:
                titles.append(_wave_title(number, len(wave.trees), tree))
            elif tree.row != row:
                titles.append(just(tree.row))
            row = tree.row
            line = _tree_row(tree, grid)
            pieces.append(_titled(titles, line, words, grid))
        walked += len(wave.trees)
        pieces.append(_wave_end(sheet, number, walked, words, grid))
    for at, tree in enumerate(sheet.reserve):
        titles = [_RESERVE_TITLE] if at == 0 else []
        line = _reserve_row(tree, words, grid)
        pieces.append(_titled(titles, line, words, grid))
    return pieces


_RESERVE_TITLE: Final = say(
    "Reserve: use these in this order if no tree for this standard stands at a position. "
    "Write what stands there under No tree."
)


def _wave_title(number: int, count: int, tree: TallyTree) -> Message:
    return say_n(
        "Wave %(number)s: %(count)s tree. %(row)s",
        "Wave %(number)s: %(count)s trees. %(row)s",
        count,
        number=number,
        row=tree.row,
    )


def _titled(titles: Sequence[Message], line: Drawing, words: Words, grid: _Grid) -> Drawing:
    if not titles:
        return line
    heads = [
        paragraph([Run(words.say(title), bold=True)], grid.width_mm, HEAD_PT) for title in titles
    ]
    room = Drawing(grid.width_mm, 1.2, (), "")
    return stacked([room, *heads, room, line], grid.width_mm, 0.0, line.title)


def _tree_row(tree: TallyTree, grid: _Grid) -> Drawing:
    said = "; ".join(filter(None, (tree.side, tree.way)))
    return _row(tree.label, [Run(tree.place, bold=True)], [Run(said)], grid)


def _reserve_row(tree: TallyTree, words: Words, grid: _Grid) -> Drawing:
    instead = words.say(say("for number ____"))
    place = f"{tree.row}, {tree.place}"
    return _row(tree.label, [Run(place, bold=True)], [Run(f"{tree.side};"), Run(instead)], grid)


def _row(label: str, place: Sequence[Run], way: Sequence[Run], grid: _Grid) -> Drawing:
    size = HEAD_PT * POINT_MM
    told = stacked(
        [
            paragraph(place, grid.place_mm - 1.0, TEXT_PT, leading=1.15),
            paragraph(way, grid.place_mm - 1.0, TEXT_PT, leading=1.15),
        ],
        grid.place_mm,
    )
    two_lines = any(column.is_measured for column in grid.columns)
    boxes_mm = 2 * _BOX_MM + _BOX_GAP_MM if two_lines else _BOX_MM
    height = max(LEAST_ROW_MM, told.height_mm + 2 * _PAD_MM, boxes_mm + 3.0)
    shapes: list[Shape] = [
        *grid.lines(height),
        Text(0.3, _PAD_MM + 0.95 * size, label, size, bold=True),
        told.at(grid.place_left, _PAD_MM),
    ]
    top = (height - _BOX_MM) / 2
    for at, column in enumerate(grid.columns):
        if column.is_measured:
            shapes += _measure_boxes(column, grid.lefts[at], (height - boxes_mm) / 2)
        else:
            shapes += [
                Rect(left, top, width, _BOX_MM, Ink.FRAME)
                for _, left, width in _answer_boxes(column, grid.lefts[at])
            ]
    shapes += [
        Rect(grid.missed_left, top, _BOX_MM, _BOX_MM, Ink.FRAME),
        Rect(_side_left(grid), top, _BOX_MM, _BOX_MM, Ink.FRAME),
        Rect(grid.no_tree_left, top, _NO_TREE_MM - 1.0, _BOX_MM, Ink.FRAME),
    ]
    return Drawing(grid.width_mm, height, tuple(shapes), " ".join(run.text for run in place))


def _measure_boxes(column: TallyColumn, left: float, top: float) -> list[Shape]:
    """Draw the boxes of a measured stage: two beside each other above a third, or one and one."""
    half = (_MEASURED_MM - _BOX_GAP_MM) / 2
    below = top + _BOX_MM + _BOX_GAP_MM
    boxes = [Rect(left, below, _MEASURED_MM, _BOX_MM, Ink.FRAME)]
    if len(MEASURE_LABELS[column.stage]) > len(boxes) + 1:
        boxes += [
            Rect(left, top, half, _BOX_MM, Ink.FRAME),
            Rect(left + half + _BOX_GAP_MM, top, half, _BOX_MM, Ink.FRAME),
        ]
    else:
        boxes.append(Rect(left, top, _MEASURED_MM, _BOX_MM, Ink.FRAME))
    return [*boxes]


# --- what decides at the end of a wave -----------------------------------------------------------


def _wave_end(sheet: TallySheet, number: int, walked: int, words: Words, grid: _Grid) -> Drawing:
    """Say when to carry on and when to stop, each stage's numbers under its own column."""
    wave = sheet.waves[number - 1]
    is_last = number == len(sheet.waves)
    inner_mm = grid.width_mm - 2.0
    first = paragraph(
        [Run(words.say(_after(walked)), bold=True), *_runs(_counting(sheet), words)],
        inner_mm,
        TEXT_PT,
    )
    last = paragraph(_runs(_then(wave, number, is_last=is_last), words), inner_mm, TEXT_PT)
    lines = [
        _number_line(say("Trees with a fault so far"), None, words, grid),
        _number_line(
            say("Accepted with up to"), [line.accepted for line in wave.numbers], words, grid, wave
        ),
        _number_line(
            say("Not accepted from"), [line.rejected for line in wave.numbers], words, grid, wave
        ),
    ]
    room = Drawing(grid.width_mm, 1.0, (), "")
    inner = stacked(
        [room, _indented(first, grid), *lines, _indented(last, grid), room], grid.width_mm
    )
    gap = 1.0
    frame = Rect(0.2, gap + 0.2, grid.width_mm - 0.4, inner.height_mm - 0.4, Ink.LINE)
    return Drawing(
        grid.width_mm,
        inner.height_mm + 2 * gap,
        (frame, inner.at(0.0, gap)),
        words.say(_after(walked)),
    )


def _after(walked: int) -> Message:
    return say_n("After the one tree:", "After %(count)s trees:", walked)


def _indented(piece: Drawing, grid: _Grid) -> Drawing:
    return Drawing(grid.width_mm, piece.height_mm, (piece.at(1.0, 0.0),), piece.title)


def _runs(sentences: Sequence[Message], words: Words) -> list[Run]:
    return [Run(words.say(sentence)) for sentence in sentences]


def _counting(sheet: TallySheet) -> list[Message]:
    """Say what counts as a tree with a fault."""
    # Nobody headed a missed tree, which is all that a forbidden heading asks.
    wanting = [column.stage for column in sheet.columns if Fault.FORBIDDEN not in column.faults]
    of_side = [stage for stage in wanting if stage not in WHOLE_TREE_STAGES]
    sentences = [say("count the trees with a fault in each column.")]
    if wanting:
        sentences.append(
            say("A missed tree counts under %(stages)s.", stages=_named(wanting)),
        )
    if of_side:
        sentences.append(say("A missed side counts under %(stages)s.", stages=_named(of_side)))
    return sentences


def _named(stages: Sequence[Stage]) -> Message:
    """List stages: as few as they are, commas alone read well in every language."""
    first, *rest = stages
    if not rest:
        return say(STAGE_NAMES[first])
    return say("%(first)s, %(rest)s", first=say(STAGE_NAMES[first]), rest=_named(rest))


def _then(wave: TallyWave, number: int, *, is_last: bool) -> list[Message]:
    sentences = [
        say(
            "%(stage)s: the mean of the measures decides; the desk works it out.",
            stage=say(STAGE_NAMES[line.stage]),
        )
        for line in wave.numbers
        if line.by_mean
    ]
    if is_last:
        return [*sentences, say("The walk ends here.")]
    return [
        *sentences,
        say(
            "Every stage accepted or not accepted: stop. A stage in between: carry on with wave "
            "%(number)s.",
            number=number + 1,
        ),
    ]


def _number_line(
    label: Message,
    numbers: Sequence[int | None] | None,
    words: Words,
    grid: _Grid,
    wave: TallyWave | None = None,
) -> Drawing:
    """Write a number under each column, or leave a box to write one in."""
    size = HEAD_PT * POINT_MM
    told = paragraph([Run(words.say(label))], grid.lefts[0] - 3.0, TEXT_PT)
    height = max(told.height_mm + 0.8, _BOX_MM + 1.4 if numbers is None else 0.0)
    shapes: list[Shape] = [told.at(1.0, (height - told.height_mm) / 2)]
    for at in range(len(grid.columns)):
        centre = grid.lefts[at] + grid.widths[at] / 2
        if numbers is None or wave is None:
            box = 2 * _BOX_MM
            top = (height - _BOX_MM) / 2
            shapes.append(Rect(centre - box / 2, top, box, _BOX_MM, Ink.FRAME))
        else:
            number = numbers[at]
            hidden = number is None or wave.numbers[at].by_mean
            text = "\u2013" if hidden else words.show(number)
            baseline = height / 2 + CAPITAL_HEIGHT * size / 2
            shapes.append(Text(centre, baseline, text, size, anchor=Anchor.MIDDLE, bold=True))
    return Drawing(grid.width_mm, height, tuple(shapes), words.say(label))


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
        _listed(_MISSED, missed, words, width_mm),
        _listed(_NO_TREE, kinds, words, width_mm),
    ]
    listed = stacked(parts, width_mm, 0.2)
    shapes = (Line((0.0, 0.0), (width_mm, 0.0), Ink.LINE), listed.at(0.0, 1.2))
    return Drawing(width_mm, listed.height_mm + 1.2, shapes, words.say(say("Letters")))


def letters_of(column: TallyColumn, language: str) -> list[tuple[str, str]]:
    """
    Return the letters of a stage, each with what it means.

    Parameters
    ----------
    column : TallyColumn
        The stage.
    language : str
        The sheet's language.

    Returns
    -------
    list of tuple of str
        Letter and English name, answers first.
    """
    taps = [answer.tap for answer in column.answers]
    answers = []
    if any(answer.tap is Tap.RIGHT and not answer.label.isdecimal() for answer in column.answers):
        answers.append((right_letter(language), RESULT_NAMES[Result.CONFORMING]))
    if Tap.NOTHING_DUE in taps:
        answers.append((NOTHING_LETTER, RESULT_NAMES[Result.NOT_DUE]))
    if Tap.FEWER_NONE_LEFT in taps:
        answers.append((NOTHING_LETTER, FEWER_NONE_LEFT))
    if column.is_measured and column.stage is Stage.TOP:
        answers.append((NOTHING_LETTER, NOT_CUT))
    letters = fault_letters(column.stage, language)
    written = BESIDE_MEASURES[column.stage] if column.is_measured else column.faults
    named = [(letters[fault], FAULT_NAMES[fault]) for fault in column.faults if fault in written]
    return [*answers, *named]


def _listed(
    title: str, entries: Sequence[tuple[str, str]], words: Words, width_mm: float
) -> Drawing:
    """Set letters with what they mean in lines; a letter never parts from its meaning."""
    space = text_width("  ", _TEXT_MM)
    head = f"{words.say(title)}:"
    shapes: list[Shape] = [Text(0.0, 0.95 * _TEXT_MM, head, _TEXT_MM, bold=True)]
    left, top = text_width(head, _TEXT_MM, bold=True) + space, 0.0
    for letter, name in entries:
        letter_mm = text_width(f"{letter} ", _TEXT_MM, bold=True)
        told = paragraph([Run(words.say(name))], width_mm - letter_mm, TEXT_PT)
        name_mm = text_width(words.say(name), _TEXT_MM)
        if left > 0.0 and left + letter_mm + name_mm > width_mm:
            left, top = 0.0, top + _LINE_MM
        shapes += [
            Text(left, top + 0.95 * _TEXT_MM, letter, _TEXT_MM, bold=True),
            told.at(left + letter_mm, top),
        ]
        left += letter_mm + name_mm + space
        # A name longer than a line takes more than one.
        top += max(0.0, told.height_mm - _LINE_MM - 0.3)
    return Drawing(width_mm, top + _LINE_MM, tuple(shapes), head)


def _footer(sheet: TallySheet, words: Words, page: Page, number: int, count: int) -> Placed:
    width = PAGE_SIZES_MM[page][0] - 2 * _MARGIN_MM
    told = words.say(say("Page %(number)s of %(count)s", number=number, count=count))
    draw = words.say(say("Draw %(number)s", number=str(sheet.draw)))
    drawing = Drawing(
        width,
        1.3 * _TEXT_MM,
        (
            Text(0.0, _TEXT_MM, draw, _TEXT_MM),
            Text(width, _TEXT_MM, told, _TEXT_MM, anchor=Anchor.END),
        ),
        told,
    )
    top = PAGE_SIZES_MM[page][1] - _MARGIN_MM - drawing.height_mm
    return Placed(drawing, _MARGIN_MM, top)
