"""Charts: blocks of due trees against what chance allows, and plain plots of lines and points."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from printables.drawing.chart_marks import (
    Mark,
    band_key,
    band_of,
    course_of,
    few_names,
    rule_key,
    with_headroom,
)
from printables.drawing.inks import Ink
from printables.drawing.legend import Key, legend
from printables.drawing.plane import Axis, Marker, Plane, axes_of, marked, plane_of
from printables.drawing.primitives import Drawing, Line, Point, Polyline, Shape

DEFAULT_SIZE_MM: Final = (84.0, 58.0)

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
    smoothed : str, optional
        What the smoothed line is.
    """

    title: str
    description: str
    upright: str
    across: str
    block: str
    centre: str
    limits: str
    share: Callable[[float], str] = field(compare=False)
    smoothed: str = ""


def block_chart_drawing(
    points: Sequence[ChartPoint],
    centre: float,
    labels: ChartLabels,
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
    *,
    smoothed: Sequence[float] = (),
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
    smoothed : sequence of float, optional
        A smoothed fraction for each block, drawn as the line instead of one from block to block.

    Returns
    -------
    Drawing
        The chart. A point beyond the limits has another shape; the first of a run has its word.
    """
    highest = max((max(point.fraction, point.upper) for point in points), default=centre)
    top = next(end for end in _FRACTION_ENDS if end >= min(1.0, max(highest, centre) * 1.02))
    signals = [point.fraction for point in points if point.signal]
    upright = Axis(
        0.0,
        max(top, with_headroom(max(signals, default=0.0), 0.0)),
        tuple((part * top, labels.share(part * top)) for part in (0, 0.5, 1)),
        labels.upright,
    )
    names = few_names([point.name for point in points])
    across = Axis(0.5, max(len(points), 1) + 0.5, names, labels.across)
    below = _block_legend(points, labels, size_mm[0], is_smoothed=bool(smoothed))
    plane = plane_of(across, upright, size_mm, below.height_mm)
    shapes = [
        *band_of(plane, [(point.lower, point.upper) for point in points]),
        *axes_of(plane),
        Line((plane.left, plane.y(centre)), (plane.right, plane.y(centre)), Ink.RIGHT_LINE),
        *course_of(
            plane,
            [Mark(point.fraction, point.signal) for point in points],
            line=smoothed or [point.fraction for point in points],
            ink=Ink.LINE if smoothed else Ink.FINE_LINE,
        ),
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


def _block_legend(
    points: Sequence[ChartPoint], labels: ChartLabels, width_mm: float, *, is_smoothed: bool
) -> Drawing:
    keys: list[Key] = [
        (tuple(marked((3.2, 0.0), Marker.DOT, Ink.SOLID)), labels.block),
        *([(rule_key(Ink.LINE), labels.smoothed)] if is_smoothed else []),
        (rule_key(Ink.RIGHT_LINE), labels.centre),
        (band_key(), labels.limits),
    ]
    words = next((point.signal for point in points if point.signal), "")
    if words:
        keys.append((tuple(marked((3.2, 0.0), Marker.DIAMOND, Ink.FAULT)), words))
    return legend(keys, width_mm)
