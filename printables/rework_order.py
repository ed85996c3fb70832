"""The rework order: what goes back to whom, where, and what nobody should cut again."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, TypeAlias

from audits.messages import Message, Words, say, say_n
from audits.plain_words import stage_words
from audits.planting import place_in_row
from audits.standard import Standard
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES, Fault, Method, Side, Stage
from printables.document import Document, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Drawing, Line, Rect, Shape, Text
from printables.drawing.strip import StripLabels, TreeMark, row_strip
from printables.flow import Block, Part, content_height, content_width, paged
from printables.fonts import require_letters
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import Page
from printables.sheet_frame import TEXT_PT, sheet_foot, sheet_head
from printables.stage_pictures import stage_picture, stage_thumb

STAGE_PT: Final = 14.0
FOOT_PT: Final = 9.0

_TICK_MM: Final = 6.0
_PICTOGRAM_MM: Final = 15.0
_BESIDE_MM: Final = 5.0
_GAP_MM: Final = 3.0
_LINE_GAP_MM: Final = 2.0
_FRAME_MM: Final = 4.0


@dataclass(frozen=True)
class OrderRow:
    """
    A row of the lot, as its strip shows it.

    Parameters
    ----------
    label : str
        The row's name in the reader's words, such as "Row 12".
    start_end : str
        Where the row starts, such as "north end"; may be empty.
    marks : tuple of TreeMark
        One mark a position: what the audit found.
    trees_per_panel : int or None, optional
        Trees between two posts.
    """

    label: str
    start_end: str
    marks: tuple[TreeMark, ...]
    trees_per_panel: int | None = None


@dataclass(frozen=True)
class OrderLine:
    """
    One stage on one stretch.

    Parameters
    ----------
    stage : Stage
        The stage.
    faults : tuple of Fault
        The faults seen: only mendable ones in what goes back, only lasting ones in the box.
    row : OrderRow
        The row.
    first_position, last_position : int
        The stretch, both ends included.
    person : str, optional
        Who did the stage there; empty for the crew.
    side : Side, optional
        The side of the row.
    """

    stage: Stage
    faults: tuple[Fault, ...]
    row: OrderRow
    first_position: int
    last_position: int
    person: str = ""
    side: Side = Side.BOTH


@dataclass(frozen=True)
class ReworkSheet:
    """
    A rework order, ready to be printed.

    Parameters
    ----------
    farm, block, crew : str
        Their names.
    lot : int
        The lot's number.
    issued_on : date
        The day of the order.
    issued_by : str
        Who issued it.
    rows : tuple of OrderRow
        The rows of the lot.
    redo : tuple of OrderLine
        What can be mended, stage by stage.
    stop : tuple of OrderLine
        What cannot be mended.
    contested : int, optional
        Scores behind the order with which a worker disagrees, not answered yet.
    standard : Standard or None, optional
        The standard to which the pictures of the stages are drawn; None for pictograms.
    method : Method, optional
        From where the crew works.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    block: str
    crew: str
    lot: int
    issued_on: date
    issued_by: str
    rows: tuple[OrderRow, ...]
    redo: tuple[OrderLine, ...]
    stop: tuple[OrderLine, ...] = ()
    contested: int = 0
    standard: Standard | None = None
    method: Method = Method.LADDER

    def __post_init__(self) -> None:
        people = {line.person for line in (*self.redo, *self.stop)}
        labels = {text for row in self.rows for text in (row.label, row.start_end)}
        require_letters(
            {
                "farm": self.farm,
                "block": self.block,
                "crew": self.crew,
                "issued_by": self.issued_by,
                "worker": " ".join(sorted(people)),
                "row": " ".join(sorted(labels)),
            }
        )


def rework_order(order: ReworkSheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a rework order, on one page unless the lot has many rows.

    Parameters
    ----------
    order : ReworkSheet
        What goes back.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    width = content_width(page)
    title = say("Rework order: %(block)s, lot %(lot)s", block=order.block, lot=order.lot)
    pieces = order_pieces(order, words, width, content_height(page))

    foot = (words.say(title), order.farm)
    return paged(
        [pieces],
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=words.say(title),
        author=order.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def order_pieces(order: ReworkSheet, words: Words, width_mm: float, room_mm: float) -> list[Part]:
    """
    Set what stands on a rework order, with pictures as large as one page has room for.

    Parameters
    ----------
    order : ReworkSheet
        What goes back.
    words : Words
        The reader's language and units.
    width_mm : float
        Width between the margins.
    room_mm : float
        Height between the margins.

    Returns
    -------
    list of Drawing or Block
        The pieces, from top to bottom.
    """
    title = say("Rework order: %(block)s, lot %(lot)s", block=order.block, lot=order.lot)
    for picture in (_stage_picture, _stage_thumb):
        pieces: list[Part] = [
            _head(order, title, words, width_mm),
            *(_row(row, words, width_mm) for row in order.rows),
            *_redo(order, words, width_mm, picture),
            *_stop(order, words, width_mm),
            _signatures(words, width_mm, redone=bool(order.redo)),
        ]
        if sum(piece.height_mm + _GAP_MM for piece in pieces) - _GAP_MM <= room_mm:
            break
    return pieces


def _stage_picture(order: ReworkSheet, stage: Stage, words: Words) -> Drawing:
    """Draw what the stage asks to the numbers of the block, or its pictogram without them."""
    if order.standard is None:
        return _pictogram(stage, words)
    return stage_picture(order.standard, stage, words, method=order.method)


def _stage_thumb(order: ReworkSheet, stage: Stage, words: Words) -> Drawing:
    """Draw it smaller, where an order is long."""
    if order.standard is None:
        return _pictogram(stage, words)
    return stage_thumb(order.standard, stage, words, method=order.method)


def _pictogram(stage: Stage, words: Words) -> Drawing:
    drawn = stage_pictogram(stage, words.say(STAGE_NAMES[stage]))
    shapes = (drawn.at(0.0, 0.0, _PICTOGRAM_MM / PICTOGRAM_MM),)
    return Drawing(_PICTOGRAM_MM, _PICTOGRAM_MM, shapes, drawn.title)


# Draws a stage beside what is to be done again in it.
_Picture: TypeAlias = Callable[[ReworkSheet, Stage, Words], Drawing]


def _head(order: ReworkSheet, title: Message, words: Words, width_mm: float) -> Block:
    issued = say(
        "%(crew)s. Issued on %(day)s by %(name)s.",
        crew=order.crew,
        day=order.issued_on,
        name=order.issued_by,
    )
    lines = [[Run(f"{order.farm}."), Run(words.say(issued))]]
    if order.contested:
        note = say_n(
            "Contested: %(count)s score behind this order waits for a second person's answer.",
            "Contested: %(count)s scores behind this order wait for a second person's answer.",
            order.contested,
        )
        lines.append([Run(words.say(note), bold=True)])
    return sheet_head(words.say(title), lines, width_mm)


def _row(row: OrderRow, words: Words, width_mm: float) -> Drawing:
    start = (
        say("%(row)s, start: %(end)s", row=row.label, end=row.start_end)
        if row.start_end
        else say("%(row)s, start", row=row.label)
    )
    sampled = not {TreeMark.CONFORMING, TreeMark.NONCONFORMING}.isdisjoint(row.marks)
    labels = StripLabels(
        title=row.label,
        description=words.say(_found(row)),
        start=words.say(start),
        end=words.say(say("end of the row")),
        plain=words.say(say("not in the sample") if sampled else say("in this lot")),
        conforming=words.say(say("found right")),
        nonconforming=words.say(say("fault found")),
        outside=words.say(say("not in this lot")),
    )
    return row_strip(row.marks, labels, row.trees_per_panel, width_mm)


def _found(row: OrderRow) -> Message:
    """Say what the strip shows to those who cannot see it."""
    places = [
        str(position)
        for position, mark in enumerate(row.marks, start=1)
        if mark is TreeMark.NONCONFORMING
    ]
    if not places:
        return say("No fault was found on this row.")
    return say("Faults were found at: %(trees)s.", trees=", ".join(places))


def _redo(order: ReworkSheet, words: Words, width_mm: float, picture: _Picture) -> list[Block]:
    """Set one piece for each stage that goes back."""
    stages = [stage for stage in Stage if any(line.stage is stage for line in order.redo)]
    pieces = []
    for stage in stages:
        lines = [line for line in order.redo if line.stage is stage]
        drawn = picture(order, stage, words)
        pieces.append(_stage_piece(drawn, stage, lines, order, words, width_mm))
    return pieces


def _stage_piece(
    picture: Drawing,
    stage: Stage,
    lines: Sequence[OrderLine],
    order: ReworkSheet,
    words: Words,
    width_mm: float,
) -> Block:
    left = picture.width_mm + _BESIDE_MM
    room = width_mm - left
    heading = paragraph(
        [Run(words.say(say("Do again: %(stage)s", stage=say(STAGE_NAMES[stage]))), bold=True)],
        room,
        STAGE_PT,
    )
    asked = []
    if order.standard is not None:
        said = stage_words(order.standard, stage, method=order.method).headline
        asked = [paragraph([Run(words.say(said))], room, TEXT_PT)]
    parts = [heading, *asked, *(_redo_line(line, order, words, room) for line in lines)]
    letters = stacked(parts, room, _LINE_GAP_MM)
    rule = Drawing(width_mm, 0.1, (Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),), "")
    # A pictogram says no more than the heading beside it.
    drawn_as = Role.FIGURE if picture.description else Role.FURNITURE
    return Block(
        (
            Piece(rule, 0.0, 0.0, Role.FURNITURE),
            Piece(letters, left, 3.0, Role.TEXT),
            Piece(picture, 0.0, 3.0, drawn_as),
        ),
        max(letters.height_mm, picture.height_mm) + 3.0,
    )


def _redo_line(line: OrderLine, order: ReworkSheet, words: Words, width_mm: float) -> Drawing:
    done = words.say(say("done"))
    size = FOOT_PT * POINT_MM
    box_left = width_mm - _TICK_MM - 0.2
    done_left = box_left - 2.0 - text_width(done, size)
    said = paragraph(
        [
            Run(words.say(_where(line)), bold=True),
            Run(_faults(line.faults, words)),
            Run(words.say(say("For %(name)s.", name=_who(line, order)))),
        ],
        done_left - 4.0,
        TEXT_PT,
    )
    return Drawing(
        width_mm,
        max(said.height_mm + 0.4, _TICK_MM + 1.0),
        (
            said.at(0.0, 0.4),
            Text(done_left, size + 1.2, done, size, Ink.SOFT),
            Rect(box_left, 0.2, _TICK_MM, _TICK_MM, Ink.FRAME, 0.8),
        ),
        words.say(_where(line)),
    )


def _where(line: OrderLine) -> Message:
    stretch = _stretch(line)
    match line.side:
        case Side.LEFT:
            return say("%(stretch)s Only the left side.", stretch=stretch)
        case Side.RIGHT:
            return say("%(stretch)s Only the right side.", stretch=stretch)
        case Side.BOTH:
            return stretch


def _stretch(line: OrderLine) -> Message:
    first, last = line.first_position, line.last_position
    if (first, last) == (1, len(line.row.marks)):
        return say("%(row)s, whole row.", row=line.row.label)
    panel = line.row.trees_per_panel
    if panel is None:
        return say(
            "%(row)s, trees %(first)s to %(last)s.", row=line.row.label, first=first, last=last
        )
    return say(
        "%(row)s, trees %(first)s to %(last)s (%(from_place)s, to %(to_place)s).",
        row=line.row.label,
        first=first,
        last=last,
        from_place=place_in_row(first, panel),
        to_place=place_in_row(last, panel),
    )


def _faults(faults: Sequence[Fault], words: Words) -> str:
    return "; ".join(words.say(FAULT_NAMES[fault]) for fault in faults) + "."


def _who(line: OrderLine, order: ReworkSheet) -> str:
    return line.person or order.crew


def _stop(order: ReworkSheet, words: Words, width_mm: float) -> list[Drawing]:
    """Frame what cannot be mended; it is about trees, so no signal word stands here."""
    if not order.stop:
        return []
    inner = width_mm - 2 * _FRAME_MM - 2.0
    parts = [
        paragraph([Run(words.say(say("Stop and retrain")), bold=True)], inner, STAGE_PT),
        *(
            paragraph(
                [
                    Run(f"{words.say(STAGE_NAMES[line.stage])}:", bold=True),
                    Run(_faults(line.faults, words)),
                    Run(words.say(_where(line))),
                    Run(words.say(say("Show %(name)s.", name=_who(line, order))), bold=True),
                ],
                inner,
                TEXT_PT,
            )
            for line in order.stop
        ),
        paragraph(
            [
                Run(words.say(say("Do not cut these trees again: it cannot be mended."))),
                Run(words.say(say("Watch the next trees."))),
            ],
            inner,
            TEXT_PT,
        ),
    ]
    letters = stacked(parts, inner, _LINE_GAP_MM)
    height = letters.height_mm + 2 * _FRAME_MM
    return [
        Drawing(
            width_mm,
            height,
            (
                Rect(0.4, 0.4, width_mm - 0.8, height - 0.8, Ink.HEAVY_LINE),
                letters.at(_FRAME_MM + 1.0, _FRAME_MM),
            ),
            words.say(say("Stop and retrain")),
        )
    ]


def _signatures(words: Words, width_mm: float, *, redone: bool) -> Drawing:
    """Leave room for names, and say what comes next where something is to be done again."""
    half = (width_mm - 8.0) / 2
    fields = (
        (say("Done by"), 0.0, 9.0),
        (say("Date"), half + 8.0, 9.0),
        (say("Seen by the supervisor"), 0.0, 20.0),
        (say("Date"), half + 8.0, 20.0),
    )
    size = TEXT_PT * POINT_MM
    shapes: list[Shape] = []
    for label, left, baseline in fields:
        text = words.say(label)
        line_left = left + text_width(text, size, bold=True) + 2.0
        shapes += [
            Text(left, baseline, text, size, bold=True),
            Line((line_left, baseline + 0.8), (left + half, baseline + 0.8), Ink.FINE_LINE),
        ]
    height = 22.0
    if redone:
        told = say("When all is done, new trees are drawn by chance and checked.")
        drawn = paragraph([Run(words.say(told))], width_mm, TEXT_PT)
        shapes.append(drawn.at(0.0, height + 2.0))
        height += 2.0 + drawn.height_mm
    return Drawing(width_mm, height, tuple(shapes), words.say(say("Done by")))
