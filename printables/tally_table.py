"""The table of a tally sheet: its head, a row a tree, and what decides at the end of each wave."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from audits.messages import Message, Words, mark, say, say_n
from audits.plain_words import just
from audits.scoring import WHOLE_TREE_STAGES, Tap
from audits.vocabulary import STAGE_NAMES, Fault, Stage
from printables.drawing.inks import Ink
from printables.drawing.lettering import CAPITAL_HEIGHT, text_width
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import missed_pictogram, stage_pictogram
from printables.drawing.primitives import Anchor, Drawing, Line, Polygon, Rect, Shape, Text
from printables.drawing.wood import bar
from printables.marked import Box, BoxKind
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.tally_marks import (
    MISSED_GROUP,
    MarkGroup,
    group_key,
    mark_groups,
)
from printables.tally_records import (
    MEASURE_LABELS,
    TallyAnswer,
    TallyColumn,
    TallySheet,
    TallyTree,
    TallyWave,
)

HEAD_PT: Final = 10.0
TEXT_PT: Final = 9.0
HEAD_MM: Final = HEAD_PT * POINT_MM
TEXT_MM: Final = TEXT_PT * POINT_MM
# Rows are never lower than this, so that a gloved hand with a pencil stays in its row.
LEAST_ROW_MM: Final = 9.0

# Boxes, the room between two of them and the room between two groups, where there are many of
# them and where there are few.
_NARROW: Final = (4.5, 1.0, 2.0)
_WIDE: Final = (4.9, 1.6, 3.0)
# Room for where a tree stands, such as "left side; out: 3 panels on": boxes grow only beyond it,
# and where there are few boxes they stay near.
_LEAST_PLACE_MM: Final = 46.0
_MOST_PLACE_MM: Final = 66.0
_NUMBER_MM: Final = 7.0
_PICTURE_MM: Final = 6.5
_SIGN_MM: Final = 4.4
_PAD_MM: Final = 0.7
# From the baseline of a box's letter to the middle of its frame: J reaches 0.2 of its size below,
# and print that came nearer to a frame than 0.4 mm could be taken for a mark.
_LETTER_GAP_MM: Final = 1.25
# Room above the letters and below the boxes of a row.
_ABOVE_MM: Final = 0.5
_BELOW_MM: Final = 0.8
_LETTER_MM: Final = CAPITAL_HEIGHT * TEXT_MM + _LETTER_GAP_MM

# What a hand needs to write a measure, by the name of its box.
_WRITTEN_MM: Final = {
    "height": 17.0,
    "cut": 17.0,
    "standing": 17.0,
    "diameters": 24.0,
}
_SHORT_WRITTEN_MM: Final = 9.0

_TREE: Final = mark("Tree")
MISSED: Final = mark("Missed")
NO_TREE: Final = mark("No tree")


@dataclass(frozen=True)
class MarkedDrawing:
    """
    A drawing with boxes on it.

    Parameters
    ----------
    drawing : Drawing
        What is drawn.
    boxes : tuple of Box, optional
        Its boxes, from its own upper left corner.
    """

    drawing: Drawing
    boxes: tuple[Box, ...] = ()

    def boxes_at(self, x_mm: float, y_mm: float) -> tuple[Box, ...]:
        """
        Return the boxes where the drawing is put.

        Parameters
        ----------
        x_mm, y_mm : float
            Where its upper left corner comes to lie.

        Returns
        -------
        tuple of Box
            The boxes, moved.
        """
        return tuple(replace(box, x_mm=x_mm + box.x_mm, y_mm=y_mm + box.y_mm) for box in self.boxes)


@dataclass(frozen=True)
class Slot:
    """
    The place of one box in every row.

    Parameters
    ----------
    part : str
        Its letter or name, the last part of its key.
    left, width : float
        Its left edge and its width in mm.
    kind : BoxKind
        What is put into it.
    """

    part: str
    left: float
    width: float
    kind: BoxKind

    @property
    def centre(self) -> float:
        """Its middle."""
        return self.left + self.width / 2


@dataclass(frozen=True)
class GridColumn:
    """
    The boxes of one question.

    Parameters
    ----------
    group : MarkGroup
        The question.
    head : str
        Its name, in the reader's language.
    left, width : float
        Its left edge and its width in mm.
    slots : tuple of Slot
        Its boxes from left to right.
    """

    group: MarkGroup
    head: str
    left: float
    width: float
    slots: tuple[Slot, ...]

    @property
    def fault_slots(self) -> tuple[Slot, ...]:
        """The boxes of its faults."""
        return tuple(slot for slot in self.slots if slot.part in self.group.faults)


class Grid:
    """
    Where the columns of the table lie.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    words : Words
        The reader's language.
    width_mm : float
        Most that the table may be wide.
    """

    def __init__(self, sheet: TallySheet, words: Words, width_mm: float) -> None:
        self.stages = sheet.columns
        self.rows = {tree.row for wave in sheet.waves for tree in wave.trees}
        self.rows |= {tree.row for tree in sheet.reserve}
        groups = mark_groups(sheet.columns, words.language)
        narrow, wide = (
            _widths(groups, sheet.columns, words, sizes)[1] for sizes in (_NARROW, _WIDE)
        )
        wanted = _wanted_place(sheet, words)
        spare = width_mm - wanted - narrow
        share = min(1.0, max(0.0, spare / max(wide - narrow, 0.1)))
        sizes = tuple(
            round(small + share * (large - small) - 0.005, 2)
            for small, large in zip(_NARROW, _WIDE, strict=True)
        )
        self.box_mm, gap, self.gap_mm = sizes
        layout, fixed = _widths(groups, sheet.columns, words, (self.box_mm, gap, self.gap_mm))
        self.place_mm = min(width_mm - fixed, wanted)
        self.width_mm = self.place_mm + fixed
        left = self.place_mm + self.gap_mm
        columns = []
        for group, (head, widths, width) in zip(groups, layout, strict=True):
            columns.append(_placed(group, head, widths, left, width, gap))
            left += width + self.gap_mm
        self.columns = tuple(columns)

    def lines(self, height_mm: float) -> list[Shape]:
        """
        Return the lines of a row: between its columns, above it and below it.

        Parameters
        ----------
        height_mm : float
            Height of the row.

        Returns
        -------
        list of Shape
            Lines.
        """
        edges = [column.left - self.gap_mm / 2 for column in self.columns]
        return [
            *(Line((0.0, down), (self.width_mm, down), Ink.FINE_LINE) for down in (0.0, height_mm)),
            *(Line((edge, 0.0), (edge, height_mm), Ink.HAIRLINE) for edge in edges),
        ]


def _wanted_place(sheet: TallySheet, words: Words) -> float:
    """Return how wide the place of a tree must be so that no line of it breaks."""
    lines = [_said_of(tree) for wave in sheet.waves for tree in wave.trees]
    lines += [f"{tree.side}; {words.say(_INSTEAD)}" for tree in sheet.reserve]
    widest_mm = max((text_width(line, TEXT_MM) for line in lines), default=0.0) + 2.0
    return min(max(widest_mm, _LEAST_PLACE_MM), _MOST_PLACE_MM)


def _widths(
    groups: Sequence[MarkGroup],
    stages: Sequence[TallyColumn],
    words: Words,
    sizes: tuple[float, float, float],
) -> tuple[list[tuple[str, list[float], float]], float]:
    """Return each column's name, its boxes' widths and its own, and what all of them take."""
    box, gap, between = sizes
    heads = [
        *(words.say(STAGE_NAMES[column.stage]) for column in stages),
        words.say(MISSED),
        words.say(NO_TREE),
    ]
    columns: list[TallyColumn | None] = [*stages, None, None]
    layout = []
    for group, column, head in zip(groups, columns, heads, strict=True):
        widths = (
            _written_widths(column, words)
            if column is not None and column.is_measured
            else [max(box, _label_width(label)) for label in _labels(group, column)]
        )
        boxes = sum(widths) + gap * (len(widths) - 1) + (gap if _is_split(group) else 0.0)
        beside = 0.0 if column is None else _PICTURE_MM + 1.0
        named = beside + text_width(head, TEXT_MM if column is None else HEAD_MM, bold=True)
        layout.append((head, widths, max(boxes, named)))
    return layout, sum(width + between for _, _, width in layout)


def _is_split(group: MarkGroup) -> bool:
    """Tell whether answers and faults stand a little apart."""
    return bool(group.answers and group.faults)


def _labels(group: MarkGroup, column: TallyColumn | None) -> list[str]:
    """Return what stands above each box in the head of the table."""
    answers = [] if column is None else [a for a in column.answers if a.tap is not Tap.FAULT]
    shown = [answer.label for answer in answers] or ["" for _ in group.answers]
    return [*shown, *("" for _ in group.faults)]


def _label_width(label: str) -> float:
    return text_width(label, TEXT_MM, bold=True)


def _written_widths(column: TallyColumn, words: Words) -> list[float]:
    return [
        max(
            _WRITTEN_MM.get(name, _SHORT_WRITTEN_MM),
            *(text_width(word, TEXT_MM) for word in words.say(label).split()),
        )
        for name, label in zip(
            mark_groups([column], words.language)[0].written,
            MEASURE_LABELS[column.stage],
            strict=True,
        )
    ]


def _placed(
    group: MarkGroup, head: str, widths: Sequence[float], left: float, width: float, gap: float
) -> GridColumn:
    parts = (*group.answers, *group.faults, *group.written)
    kind = BoxKind.WRITTEN if group.written else BoxKind.MARK
    slots = []
    at = left
    for part, box in zip(parts, widths, strict=True):
        if _is_split(group) and part == group.faults[0]:
            at += gap
        slots.append(Slot(part, at, box, kind))
        at += box + gap
    return GridColumn(group, head, left, width, tuple(slots))


# --- the head of the table -----------------------------------------------------------------------


def table_head(words: Words, grid: Grid) -> Drawing:
    """
    Name the columns, with the signs of the answers above their boxes.

    Parameters
    ----------
    words : Words
        The reader's language.
    grid : Grid
        Where the columns lie.

    Returns
    -------
    Drawing
        As wide as the grid.
    """
    size = HEAD_MM
    baseline = (_PICTURE_MM + CAPITAL_HEIGHT * size) / 2
    signs_top = _PICTURE_MM + 0.8
    shapes: list[Shape] = [Text(0.3, baseline, words.say(_TREE), size, bold=True)]
    height = signs_top + _SIGN_MM
    for place, column in enumerate(grid.columns):
        left = column.left
        if place < len(grid.stages):
            picture = stage_pictogram(grid.stages[place].stage, "")
            shapes.append(picture.at(left, 0.0, _PICTURE_MM / PICTOGRAM_MM))
            left += _PICTURE_MM + 1.0
        stage_size = HEAD_MM if place < len(grid.stages) else TEXT_MM
        shapes.append(Text(left, baseline, column.head, stage_size, bold=True))
        if place < len(grid.stages) and grid.stages[place].is_measured:
            labels = _written_labels(grid.stages[place], column, words)
            shapes += [label.at(slot.left, signs_top) for slot, label in labels]
            height = max(height, *(signs_top + label.height_mm for _, label in labels))
        elif place < len(grid.stages):
            shapes += _answer_signs(grid.stages[place], column, signs_top)
        elif column.group.name == MISSED_GROUP:
            shapes += _missed_signs(column, signs_top)
    return Drawing(grid.width_mm, height + 1.0, tuple(shapes), words.say(_TREE))


def _written_labels(
    column: TallyColumn, places: GridColumn, words: Words
) -> list[tuple[Slot, Drawing]]:
    return [
        (slot, paragraph([Run(words.say(label))], slot.width + 0.1, TEXT_PT, leading=1.1))
        for slot, label in zip(places.slots, MEASURE_LABELS[column.stage], strict=True)
    ]


def _answer_signs(column: TallyColumn, places: GridColumn, top: float) -> list[Shape]:
    """Draw tick, bar or count above each answer, and a cross that spans the faults."""
    answers = [answer for answer in column.answers if answer.tap is not Tap.FAULT]
    shapes: list[Shape] = []
    for answer, slot in zip(answers, places.slots, strict=False):
        shapes += _sign(answer, slot.centre, top)
    faults = places.fault_slots
    if faults:
        left, right = faults[0].left, faults[-1].left + faults[-1].width
        centre, middle = (left + right) / 2, top + _SIGN_MM / 2
        shapes += _sign(TallyAnswer(Tap.FAULT), centre, top)
        reach = _SIGN_MM / 2 + 1.0
        if right - centre > reach:
            shapes += [
                Line((left, middle), (centre - reach, middle), Ink.FINE_LINE),
                Line((centre + reach, middle), (right, middle), Ink.FINE_LINE),
            ]
    return shapes


def _sign(answer: TallyAnswer, centre: float, top: float) -> list[Shape]:
    """Draw tick, bar or cross as on the tiles of the phone, or write the count."""
    if answer.label:
        baseline = top + _SIGN_MM / 2 + CAPITAL_HEIGHT * TEXT_MM / 2
        return [Text(centre, baseline, answer.label, TEXT_MM, anchor=Anchor.MIDDLE, bold=True)]
    left = centre - _SIGN_MM / 2
    match answer.tap:
        case Tap.RIGHT:
            tick = ((0.0, 2.4), (0.8, 1.6), (1.6, 2.5), (3.6, 0.4), (4.4, 1.2), (1.6, 4.1))
            return [Polygon(tuple((left + x, top + y) for x, y in tick))]
        case Tap.FAULT:
            return [
                bar(((left + 0.5, top + 0.6), (left + 3.9, top + 3.8)), 1.0, Ink.SOLID),
                bar(((left + 0.5, top + 3.8), (left + 3.9, top + 0.6)), 1.0, Ink.SOLID),
            ]
        case _:
            return [Rect(left + 0.2, top + 1.7, _SIGN_MM - 0.4, 1.1)]


def _missed_signs(places: GridColumn, top: float) -> list[Shape]:
    return [
        missed_pictogram(fault, "").at(slot.centre - _SIGN_MM / 2, top, _SIGN_MM / PICTOGRAM_MM)
        for slot, fault in zip(places.slots, (Fault.TREE_MISSED, Fault.SIDE_MISSED), strict=True)
    ]


# --- rows ----------------------------------------------------------------------------------------


def table_rows(sheet: TallySheet, words: Words, grid: Grid) -> list[MarkedDrawing]:
    """
    Return the rows with what stands between them; a title never parts from its first row.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    words : Words
        The reader's language.
    grid : Grid
        Where the columns lie.

    Returns
    -------
    list of MarkedDrawing
        From top to bottom, each as wide as the grid.
    """
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
        pieces.append(MarkedDrawing(_wave_end(sheet, number, walked, words, grid)))
    for at, tree in enumerate(sheet.reserve):
        titles = [_RESERVE_TITLE] if at == 0 else []
        line = _reserve_row(tree, words, grid)
        pieces.append(_titled(titles, line, words, grid))
    return pieces


_RESERVE_TITLE: Final = say(
    "Reserve: use these in this order if no tree for this standard stands at a position. "
    "Mark what stands there under No tree."
)


def _wave_title(number: int, count: int, tree: TallyTree) -> Message:
    return say_n(
        "Wave %(number)s: %(count)s tree. %(row)s",
        "Wave %(number)s: %(count)s trees. %(row)s",
        count,
        number=number,
        row=tree.row,
    )


def _titled(
    titles: Sequence[Message], line: MarkedDrawing, words: Words, grid: Grid
) -> MarkedDrawing:
    if not titles:
        return line
    heads = [
        paragraph([Run(words.say(title), bold=True)], grid.width_mm, HEAD_PT) for title in titles
    ]
    room = Drawing(grid.width_mm, 1.2, (), "")
    above = [room, *heads, room]
    whole = stacked([*above, line.drawing], grid.width_mm, 0.0, line.drawing.title)
    return MarkedDrawing(whole, line.boxes_at(0.0, sum(piece.height_mm for piece in above)))


_INSTEAD: Final = say("for number ____")


def _said_of(tree: TallyTree) -> str:
    return "; ".join(filter(None, (tree.side, tree.way)))


def _tree_row(tree: TallyTree, grid: Grid) -> MarkedDrawing:
    return _row(tree, [Run(tree.place, bold=True)], [Run(_said_of(tree))], grid)


def _reserve_row(tree: TallyTree, words: Words, grid: Grid) -> MarkedDrawing:
    """Say where a reserve tree stands; its row only where the sheet has more than one."""
    place = tree.place if len(grid.rows) == 1 else f"{tree.row}, {tree.place}"
    way = [Run(f"{tree.side};"), Run(words.say(_INSTEAD))]
    return _row(tree, [Run(place, bold=True)], way, grid)


def _row(tree: TallyTree, place: Sequence[Run], way: Sequence[Run], grid: Grid) -> MarkedDrawing:
    size = HEAD_MM
    number_mm = max(_NUMBER_MM, text_width(tree.label, size, bold=True) + 1.5)
    told = stacked(
        [
            _shifted(paragraph(place, grid.place_mm - number_mm, TEXT_PT, leading=1.15), number_mm),
            paragraph(way, grid.place_mm, TEXT_PT, leading=1.15),
        ],
        grid.place_mm,
        0.2,
    )
    boxes_mm = _LETTER_MM + grid.box_mm
    height = max(LEAST_ROW_MM, told.height_mm + 2 * _PAD_MM, _ABOVE_MM + boxes_mm + _BELOW_MM)
    top = _ABOVE_MM + (height - _ABOVE_MM - boxes_mm - _BELOW_MM) / 2
    boxes = tuple(
        _box(tree, column.group, slot, top, grid.box_mm)
        for column in grid.columns
        for slot in column.slots
    )
    letters = [
        Text(
            slot.centre, top + _LETTER_MM - _LETTER_GAP_MM, slot.part, TEXT_MM, anchor=Anchor.MIDDLE
        )
        for column in grid.columns
        for slot in column.slots
        if slot.kind is BoxKind.MARK
    ]
    told_top = (height - told.height_mm) / 2
    shapes: tuple[Shape, ...] = (
        *grid.lines(height),
        Text(0.3, told_top + 0.95 * TEXT_MM, tree.label, size, bold=True),
        told.at(0.3, told_top),
        *letters,
        # The frames are drawn where the boxes are looked for.
        *(Rect(box.x_mm, box.y_mm, box.width_mm, box.height_mm, Ink.FRAME) for box in boxes),
    )
    title = " ".join(run.text for run in place)
    return MarkedDrawing(Drawing(grid.width_mm, height, shapes, title), boxes)


def _shifted(piece: Drawing, left: float) -> Drawing:
    return Drawing(piece.width_mm + left, piece.height_mm, (piece.at(left, 0.0),), piece.title)


def _box(tree: TallyTree, group: MarkGroup, slot: Slot, top: float, box_mm: float) -> Box:
    """Return a box of a row; what is written into has no letter above and is as much higher."""
    is_written = slot.kind is BoxKind.WRITTEN
    return Box(
        key=group.key(tree.tree_id, slot.part),
        group=group_key(tree.tree_id, group.name),
        x_mm=slot.left,
        y_mm=top if is_written else top + _LETTER_MM,
        width_mm=slot.width,
        height_mm=box_mm + _LETTER_MM if is_written else box_mm,
        kind=slot.kind,
    )


# --- what decides at the end of a wave -----------------------------------------------------------


def _wave_end(sheet: TallySheet, number: int, walked: int, words: Words, grid: Grid) -> Drawing:
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


def _indented(piece: Drawing, grid: Grid) -> Drawing:
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
    grid: Grid,
    wave: TallyWave | None = None,
) -> Drawing:
    """Write a number under each column, or leave a box to write one in."""
    size = HEAD_MM
    told = paragraph([Run(words.say(label))], grid.columns[0].left - 3.0, TEXT_PT)
    height = max(told.height_mm + 0.8, grid.box_mm + 1.4 if numbers is None else 0.0)
    shapes: list[Shape] = [told.at(1.0, (height - told.height_mm) / 2)]
    for at in range(len(grid.stages)):
        centre = grid.columns[at].left + grid.columns[at].width / 2
        if numbers is None or wave is None:
            box = 2 * grid.box_mm
            top = (height - grid.box_mm) / 2
            shapes.append(Rect(centre - box / 2, top, box, grid.box_mm, Ink.FRAME))
        else:
            number = numbers[at]
            hidden = number is None or wave.numbers[at].by_mean
            text = "\u2013" if hidden else words.show(number)
            baseline = height / 2 + CAPITAL_HEIGHT * size / 2
            shapes.append(Text(centre, baseline, text, size, anchor=Anchor.MIDDLE, bold=True))
    return Drawing(grid.width_mm, height, tuple(shapes), words.say(label))
