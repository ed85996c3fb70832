"""The row strip: where along a row the sampled and the nonconforming trees stand."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import LETTERS_MM, SMALLEST_MM, Key, legend
from printables.drawing.lettering import largest_size, text_width
from printables.drawing.primitives import Anchor, Circle, Drawing, Line, Polygon, Rect, Shape, Text

# Room for one tree along the row: enough to tell ring and cross apart on a phone.
LEAST_PITCH_MM: Final = 1.8
WIDEST_PITCH_MM: Final = 3.4
DEFAULT_WIDTH_MM: Final = 84.0

_LINE_MM: Final = 5.0
_END_MM: Final = 5.2
_SMALL_RING_MM: Final = 0.75
_LARGE_RING_MM: Final = 1.15


class TreeMark(StrEnum):
    """How a position of the row is drawn."""

    PLAIN = "plain"
    CONFORMING = "conforming"
    NONCONFORMING = "nonconforming"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class StripLabels:
    """
    The words of a row strip, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    start, end : str
        What stands at the row's two ends, such as "Start, north end".
    plain, conforming, nonconforming, outside : str
        What the four marks mean; only those that occur are explained.
    """

    title: str
    description: str
    start: str
    end: str
    plain: str
    conforming: str
    nonconforming: str
    outside: str


@dataclass(frozen=True, slots=True)
class _Fold:
    """How a row is folded into lines."""

    trees_a_line: int
    gutter_mm: float
    pitch_mm: float

    @property
    def ring_mm(self) -> float:
        return min(_LARGE_RING_MM, max(_SMALL_RING_MM, 0.36 * self.pitch_mm))

    def x(self, place: int) -> float:
        return self.gutter_mm + (place % self.trees_a_line + 0.5) * self.pitch_mm

    def y(self, place: int) -> float:
        return _END_MM + (place // self.trees_a_line + 0.5) * _LINE_MM


def row_strip(
    marks: Sequence[TreeMark],
    labels: StripLabels,
    trees_per_panel: int | None = None,
    width_mm: float = DEFAULT_WIDTH_MM,
) -> Drawing:
    """
    Draw a row as a strip, folded into lines where it is long.

    Every line runs away from the row's start, like reading; the number before it is the position
    of its first tree.

    Parameters
    ----------
    marks : sequence of TreeMark
        One mark a position, from the row's start on; at least one.
    labels : StripLabels
        The words.
    trees_per_panel : int or None, optional
        Trees between two posts; without it no posts are drawn.
    width_mm : float, optional
        Width of the drawing: about 84 mm reads on a phone, 180 mm on a sheet.

    Returns
    -------
    Drawing
        The strip with its legend.

    Raises
    ------
    ValueError
        If the row has no position.
    """
    if not marks:
        raise ValueError("marks is empty; a row has at least one position")
    fold = _fold(len(marks), trees_per_panel, width_mm)
    lines = -(-len(marks) // fold.trees_a_line)
    explained = legend(_keys(marks, labels), width_mm)
    bottom = _END_MM + lines * _LINE_MM
    shapes: list[Shape] = [
        *_ends(fold, len(marks), labels, width_mm, bottom),
        *_wires(fold, len(marks)),
        *_posts(fold, len(marks), trees_per_panel),
        *_numbers(fold, len(marks)),
    ]
    for place, mark in enumerate(marks):
        shapes += _tree(fold.x(place), fold.y(place), mark, fold.ring_mm)
    shapes.append(explained.at(0.0, bottom + _END_MM))
    height_mm = bottom + _END_MM + explained.height_mm
    return Drawing(width_mm, height_mm, tuple(shapes), labels.title, labels.description)


def _fold(trees: int, trees_per_panel: int | None, width_mm: float) -> _Fold:
    gutter = text_width(str(trees), LETTERS_MM) + 1.6
    room = width_mm - gutter - 0.6
    a_line = min(trees, max(1, int(room / LEAST_PITCH_MM)))
    if trees_per_panel and trees_per_panel <= a_line < trees:
        a_line -= a_line % trees_per_panel
    return _Fold(a_line, gutter, min(WIDEST_PITCH_MM, room / a_line))


def _tree(x: float, y: float, mark: TreeMark, ring_mm: float) -> list[Shape]:
    match mark:
        case TreeMark.PLAIN:
            return [Circle((x, y), 0.34, Ink.SOFT)]
        case TreeMark.OUTSIDE:
            return [Line((x, y - 0.7), (x, y + 0.7), Ink.HAIRLINE)]
        case TreeMark.CONFORMING:
            return [
                Circle((x, y), ring_mm + 0.25, Ink.PAPER),
                Circle((x, y), ring_mm, Ink.RIGHT_LINE),
            ]
        case TreeMark.NONCONFORMING:
            reach = 1.1 * ring_mm
            return [
                Circle((x, y), ring_mm + 0.25, Ink.PAPER),
                Line((x - reach, y - reach), (x + reach, y + reach), Ink.FAULT_LINE),
                Line((x - reach, y + reach), (x + reach, y - reach), Ink.FAULT_LINE),
            ]


def _wires(fold: _Fold, trees: int) -> list[Shape]:
    shapes: list[Shape] = []
    for first in range(0, trees, fold.trees_a_line):
        last = min(first + fold.trees_a_line, trees) - 1
        y = fold.y(first) + 1.5
        half = fold.pitch_mm / 2
        shapes.append(Line((fold.x(first) - half, y), (fold.x(last) + half, y), Ink.HAIRLINE))
    return shapes


def _posts(fold: _Fold, trees: int, trees_per_panel: int | None) -> list[Shape]:
    if not trees_per_panel:
        return []
    # A post stands before the first tree of each panel, and after the row's last tree.
    shapes = [
        _post(fold.x(place) - fold.pitch_mm / 2, fold.y(place))
        for place in range(0, trees, trees_per_panel)
    ]
    shapes.append(_post(fold.x(trees - 1) + fold.pitch_mm / 2, fold.y(trees - 1)))
    return shapes


def _post(x: float, y: float) -> Shape:
    return Rect(x - 0.2, y - 1.2, 0.4, 3.0, Ink.GREY)


def _numbers(fold: _Fold, trees: int) -> list[Shape]:
    return [
        Text(
            fold.gutter_mm - 1.2,
            fold.y(first) + 0.36 * LETTERS_MM,
            str(first + 1),
            LETTERS_MM,
            anchor=Anchor.END,
        )
        for first in range(0, trees, fold.trees_a_line)
    ]


def _ends(
    fold: _Fold, trees: int, labels: StripLabels, width_mm: float, bottom_mm: float
) -> list[Shape]:
    room = width_mm - fold.gutter_mm - 3.0
    start_size = largest_size(labels.start, room, LETTERS_MM, SMALLEST_MM, bold=True)
    end_size = largest_size(labels.end, room, LETTERS_MM, SMALLEST_MM)
    x = fold.gutter_mm
    arrow = ((x, 0.9), (x + 2.2, 2.1), (x, 3.3))
    # The end's words stand below the last tree, as far as there is room to their left.
    end_x = max(fold.x(trees - 1) + fold.pitch_mm / 2, text_width(labels.end, end_size))
    return [
        Polygon(arrow, Ink.SOLID),
        Text(x + 3.0, 3.4, labels.start, start_size, bold=True),
        Text(end_x, bottom_mm + 3.2, labels.end, end_size, Ink.SOFT, Anchor.END),
    ]


def _keys(marks: Sequence[TreeMark], labels: StripLabels) -> list[Key]:
    words = {
        TreeMark.CONFORMING: labels.conforming,
        TreeMark.NONCONFORMING: labels.nonconforming,
        TreeMark.PLAIN: labels.plain,
        TreeMark.OUTSIDE: labels.outside,
    }
    return [
        (tuple(_tree(3.2, 0.0, mark, _LARGE_RING_MM)), text)
        for mark, text in words.items()
        if mark in marks
    ]
