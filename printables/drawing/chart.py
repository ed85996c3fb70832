"""Charts: blocks of due trees against what chance allows, and plain plots of lines and points."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import LETTERS_MM, Key, legend
from printables.drawing.lettering import text_width
from printables.drawing.plane import Axis, Marker, Plane, axes_of, marked, plane_of
from printables.drawing.primitives import (
    Anchor,
    Drawing,
    Line,
    Point,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Text,
)

DEFAULT_SIZE_MM: Final = (84.0, 58.0)

# Up to so many blocks, names at both ends are enough.
_FEW: Final = 4
# Ends that read well on an axis of fractions.
_FRACTION_ENDS: Final = (0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True, slots=True)
class Series:
    """
    A line, or points, of a plot.

    Parameters
    ----------
    name : str
        Its name in the legend, in the reader's language; empty to leave it out.
    points : tuple of (float, float)
        Values across and up, in order.
    marker : Marker, optional
        Shape of the points.
    line : Ink or None, optional
        Ink of the line that joins the points.
    fill : Ink, optional
        Ink of the points.
    spans : tuple of (float, float), optional
        Lower and upper end of an interval for each point; empty for none.
    """

    name: str
    points: tuple[Point, ...]
    marker: Marker = Marker.DOT
    line: Ink | None = Ink.RIGHT_LINE
    fill: Ink = Ink.RIGHT
    spans: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """
    A point of a block chart.

    Parameters
    ----------
    name : str
        What stands below it, such as its trees or its date.
    fraction : float
        Nonconforming over due trees.
    lower, upper : float
        Lowest and highest fraction that chance explains.
    signal : str, optional
        The word at a point beyond them; empty for a point inside.
    """

    name: str
    fraction: float
    lower: float
    upper: float
    signal: str = ""


@dataclass(frozen=True, slots=True)
class ChartLabels:
    """
    The words of a block chart, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    upright, across : str
        What the axes count.
    block : str
        What a point is, such as "20 due trees".
    centre : str
        What the centre line is, with its value.
    limits : str
        What the shaded band is.
    share : Callable
        Writes a fraction as a percentage.
    """

    title: str
    description: str
    upright: str
    across: str
    block: str
    centre: str
    limits: str
    share: Callable[[float], str] = field(compare=False)


def block_chart_drawing(
    points: Sequence[ChartPoint],
    centre: float,
    labels: ChartLabels,
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
) -> Drawing:
    """
    Draw blocks of due trees against the range that chance allows.

    Parameters
    ----------
    points : sequence of ChartPoint
        The blocks in scoring order.
    centre : float
        The centre line, a fraction.
    labels : ChartLabels
        The words.
    size_mm : tuple of float, optional
        Width and height.

    Returns
    -------
    Drawing
        The chart. A point beyond the limits has another shape and its word.
    """
    highest = max((max(point.fraction, point.upper) for point in points), default=centre)
    top = next(end for end in _FRACTION_ENDS if end >= min(1.0, max(highest, centre) * 1.02))
    upright = Axis(
        0.0,
        top,
        tuple((part * top, labels.share(part * top)) for part in (0, 0.5, 1)),
        labels.upright,
    )
    across = Axis(0.5, max(len(points), 1) + 0.5, _few_names(points), labels.across)
    below = _block_legend(points, labels, size_mm[0])
    plane = plane_of(across, upright, size_mm, below.height_mm)
    shapes = [
        *_limits(plane, points),
        *axes_of(plane),
        Line((plane.left, plane.y(centre)), (plane.right, plane.y(centre)), Ink.RIGHT_LINE),
        *_block_points(plane, points),
        below.at(0.0, size_mm[1] - below.height_mm),
    ]
    return Drawing(*size_mm, tuple(shapes), labels.title, labels.description)


def plot(
    across: Axis,
    upright: Axis,
    series: Sequence[Series],
    words: tuple[str, str],
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
) -> Drawing:
    """
    Draw lines and points over two axes.

    Parameters
    ----------
    across, upright : Axis
        The axes.
    series : sequence of Series
        What is drawn, from back to front.
    words : tuple of str
        Title and description for those who cannot see it.
    size_mm : tuple of float, optional
        Width and height.

    Returns
    -------
    Drawing
        The plot, with a legend of the named series.
    """
    keys = [(_key(one), one.name) for one in series if one.name]
    below = legend(keys, size_mm[0])
    plane = plane_of(across, upright, size_mm, below.height_mm)
    shapes = [*axes_of(plane)]
    for one in series:
        shapes += _series(plane, one)
    shapes.append(below.at(0.0, size_mm[1] - below.height_mm))
    return Drawing(*size_mm, tuple(shapes), *words)


def _few_names(points: Sequence[ChartPoint]) -> tuple[tuple[float, str], ...]:
    if not points:
        return ()
    last = len(points) - 1
    chosen = {0, last} if len(points) <= _FEW else {0, len(points) // 2, last}
    return tuple((place + 1.0, points[place].name) for place in sorted(chosen))


def _limits(plane: Plane, points: Sequence[ChartPoint]) -> list[Shape]:
    if not points:
        return []
    upper = _steps(plane, [point.upper for point in points])
    lower = _steps(plane, [point.lower for point in points])
    shapes: list[Shape] = [
        Polygon((*upper, *reversed(lower)), Ink.RIGHT_TINT),
        Polyline(upper, Ink.DASHED_LINE),
    ]
    if any(point.lower > 0 for point in points):
        shapes.append(Polyline(lower, Ink.DASHED_LINE))
    return shapes


def _steps(plane: Plane, values: Sequence[float]) -> tuple[Point, ...]:
    # Every block has its own limits: level over the block, a step between blocks.
    corners: list[Point] = []
    for place, value in enumerate(values, start=1):
        corners += [plane.at((place - 0.5, value)), plane.at((place + 0.5, value))]
    return tuple(corners)


def _block_points(plane: Plane, points: Sequence[ChartPoint]) -> list[Shape]:
    places = [plane.at((number, point.fraction)) for number, point in enumerate(points, start=1)]
    shapes: list[Shape] = []
    if len(places) > 1:
        shapes.append(Polyline(tuple(places), Ink.FINE_LINE))
    free_from = 0.0
    for place, point in zip(places, points, strict=True):
        shapes += marked(place, Marker.DIAMOND if point.signal else Marker.DOT, _ink(point))
        if point.signal:
            words = _beside_signal(place, point.signal, plane)
            start = words.x_mm - text_width(words.text, words.size_mm, bold=True) / 2
            # In a run of signals only the first carries the word.
            if start >= free_from:
                shapes.append(words)
                free_from = place[0] + text_width(words.text, words.size_mm, bold=True) / 2
    return shapes


def _ink(point: ChartPoint) -> Ink:
    return Ink.FAULT if point.signal else Ink.SOLID


def _beside_signal(place: Point, words: str, plane: Plane) -> Text:
    half = text_width(words, LETTERS_MM, bold=True) / 2
    x = min(max(place[0], plane.left + half), plane.right - half)
    above = place[1] - 2.4
    y = above if above - LETTERS_MM > plane.top - 2.0 else place[1] + 2.4 + 0.73 * LETTERS_MM
    return Text(x, y, words, LETTERS_MM, Ink.FAULT, Anchor.MIDDLE, bold=True)


def _series(plane: Plane, series: Series) -> list[Shape]:
    places = tuple(map(plane.at, series.points))
    shapes: list[Shape] = []
    for (x, _), (low, high) in zip(series.points, series.spans, strict=False):
        shapes += _whisker(plane.x(x), plane.y(low), plane.y(high))
    if series.line is not None and len(places) > 1:
        shapes.append(Polyline(places, series.line))
    for place in places:
        shapes += marked(place, series.marker, series.fill)
    return shapes


def _whisker(x: float, low: float, high: float) -> list[Shape]:
    return [
        Line((x, low), (x, high), Ink.FINE_LINE),
        Line((x - 0.9, low), (x + 0.9, low), Ink.FINE_LINE),
        Line((x - 0.9, high), (x + 0.9, high), Ink.FINE_LINE),
    ]


def _key(series: Series) -> tuple[Shape, ...]:
    line = () if series.line is None else (Line((0.4, 0.0), (6.0, 0.0), series.line),)
    return (*line, *marked((3.2, 0.0), series.marker, series.fill))


def _block_legend(points: Sequence[ChartPoint], labels: ChartLabels, width_mm: float) -> Drawing:
    keys: list[Key] = [
        (tuple(marked((3.2, 0.0), Marker.DOT, Ink.SOLID)), labels.block),
        ((Line((0.4, 0.0), (6.0, 0.0), Ink.RIGHT_LINE),), labels.centre),
        (
            (
                Rect(0.4, -1.5, 5.6, 3.0, Ink.RIGHT_TINT),
                Line((0.4, -1.5), (6.0, -1.5), Ink.DASHED_LINE),
            ),
            labels.limits,
        ),
    ]
    words = next((point.signal for point in points if point.signal), "")
    if words:
        keys.append((tuple(marked((3.2, 0.0), Marker.DIAMOND, Ink.FAULT)), words))
    return legend(keys, width_mm)
