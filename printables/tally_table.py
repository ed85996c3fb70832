"""The table of a tally sheet: its head, a row a tree, and what decides at the end of each wave."""

from collections.abc import Sequence
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
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.tally_letters import (
    NOTHING_LETTER,
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    right_letter,
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
# Rows are never lower than this, so that a gloved hand with a pencil stays in its row.
LEAST_ROW_MM: Final = 9.0

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
TEXT_MM: Final = TEXT_PT * POINT_MM
_TREE: Final = mark("Tree")
MISSED: Final = mark("Missed")
NO_TREE: Final = mark("No tree")


class Grid:
    """
    Where the columns of the table lie.

    Parameters
    ----------
    sheet : TallySheet
        The sample.
    width_mm : float
        Width of the table.
    """

    def __init__(self, sheet: TallySheet, width_mm: float) -> None:
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
    return text_width(answer.label, TEXT_MM, bold=True)


def _answer_boxes(column: TallyColumn, left: float) -> list[tuple[TallyAnswer, float, float]]:
    """Return each box of a column with its left edge and its width."""
    boxes = []
    for answer in column.answers:
        width = _answer_width(answer)
        boxes.append((answer, left, width))
        left += width + _BOX_GAP_MM
    return boxes


# --- the head of the table -----------------------------------------------------------------------


def table_head(sheet: TallySheet, words: Words, grid: Grid) -> Drawing:
    """
    Name the columns, with a sign and a letter above each box.

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
    Drawing
        As wide as the grid.
    """
    names = [
        # A name may come as near to the next column as the line between the two.
        _name(words.say(STAGE_NAMES[column.stage]), width + _GAP_MM / 2)
        for column, width in zip(sheet.columns, grid.widths, strict=True)
    ]
    others = [
        paragraph([Run(words.say(label), bold=True)], width, size_pt, leading=1.1)
        for label, width, size_pt in (
            (_TREE, grid.place_mm - 1.0, HEAD_PT),
            (MISSED, _MISSED_MM, TEXT_PT),
            (NO_TREE, _NO_TREE_MM, TEXT_PT),
        )
    ]
    below_pictures = _PICTURE_MM + 0.6
    name_mm = max(piece.height_mm for piece in (*names, *others))
    signs_top = below_pictures + name_mm + 0.6
    signs = [
        _signs(column, words, width)
        for column, width in zip(sheet.columns, grid.widths, strict=True)
    ]
    sign_mm = max(_SIGN_MM + 0.4 + 1.3 * TEXT_MM, *(piece.height_mm for piece in signs))
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


def _name(name: str, width_mm: float) -> Drawing:
    """Set a stage's name; a word wider than its column is first set smaller, then broken."""
    widest_mm = max(text_width(word, HEAD_PT * POINT_MM, bold=True) for word in name.split())
    size_pt = max(TEXT_PT, HEAD_PT * min(1.0, width_mm / widest_mm))
    return paragraph([Run(name, bold=True)], width_mm, size_pt, leading=1.1)


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
                    _SIGN_MM + 0.6 + CAPITAL_HEIGHT * TEXT_MM,
                    letter,
                    TEXT_MM,
                    anchor=Anchor.MIDDLE,
                )
            )
    return Drawing(width_mm, _SIGN_MM + 0.4 + 1.3 * TEXT_MM, tuple(shapes), "")


def _key(answer: TallyAnswer, words: Words) -> str:
    """Return the letter that the desk types for a box; a count is its own."""
    if answer.tap is Tap.RIGHT:
        single = answer.label.isdecimal()
        return "" if single else right_letter(words.language)
    return "" if answer.tap is Tap.FAULT else NOTHING_LETTER


def _sign(answer: TallyAnswer, centre: float) -> list[Shape]:
    """Draw tick, bar or cross as on the tiles of the phone, or write the count."""
    if answer.label:
        baseline = _SIGN_MM / 2 + CAPITAL_HEIGHT * TEXT_MM / 2
        return [Text(centre, baseline, answer.label, TEXT_MM, anchor=Anchor.MIDDLE, bold=True)]
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


def _missed_signs(grid: Grid, top: float) -> list[Shape]:
    shapes: list[Shape] = []
    baseline = top + _SIGN_MM + 0.6 + CAPITAL_HEIGHT * TEXT_MM
    for left, fault, sign in (
        (grid.missed_left, Fault.TREE_MISSED, TREE_MISSED_SIGN),
        (_side_left(grid), Fault.SIDE_MISSED, SIDE_MISSED_SIGN),
    ):
        picture = missed_pictogram(fault, "")
        shapes += [
            picture.at(left + (_BOX_MM - _SIGN_MM) / 2, top, _SIGN_MM / PICTOGRAM_MM),
            Text(left + _BOX_MM / 2, baseline, sign, TEXT_MM, anchor=Anchor.MIDDLE),
        ]
    return shapes


def _side_left(grid: Grid) -> float:
    return grid.missed_left + _MISSED_MM - _BOX_MM - 1.0


# --- rows ----------------------------------------------------------------------------------------


def table_rows(sheet: TallySheet, words: Words, grid: Grid) -> list[Drawing]:
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
    list of Drawing
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


def _titled(titles: Sequence[Message], line: Drawing, words: Words, grid: Grid) -> Drawing:
    if not titles:
        return line
    heads = [
        paragraph([Run(words.say(title), bold=True)], grid.width_mm, HEAD_PT) for title in titles
    ]
    room = Drawing(grid.width_mm, 1.2, (), "")
    return stacked([room, *heads, room, line], grid.width_mm, 0.0, line.title)


def _tree_row(tree: TallyTree, grid: Grid) -> Drawing:
    said = "; ".join(filter(None, (tree.side, tree.way)))
    return _row(tree.label, [Run(tree.place, bold=True)], [Run(said)], grid)


def _reserve_row(tree: TallyTree, words: Words, grid: Grid) -> Drawing:
    instead = words.say(say("for number ____"))
    place = f"{tree.row}, {tree.place}"
    return _row(tree.label, [Run(place, bold=True)], [Run(f"{tree.side};"), Run(instead)], grid)


def _row(label: str, place: Sequence[Run], way: Sequence[Run], grid: Grid) -> Drawing:
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
