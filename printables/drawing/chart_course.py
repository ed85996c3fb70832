"""A course of figures of any unit: a sum of faults, trees between faults, means of heights."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from printables.drawing.chart import DEFAULT_SIZE_MM
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
from printables.drawing.plane import Axis, Marker, axes_of, marked, plane_of
from printables.drawing.primitives import Drawing, Line, Shape


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """
    A point of a course.

    Parameters
    ----------
    name : str
        What stands below it.
    value : float
        How high it stands.
    limits : tuple of (float, float) or None, optional
        Lowest and highest value that chance explains; None where there are none.
    signal : str, optional
        The word at a point beyond them; empty for a point inside.
    """

    name: str
    value: float
    limits: tuple[float, float] | None = None
    signal: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """
    A level line across a chart.

    Parameters
    ----------
    value : float
        How high it stands.
    name : str
        What it is.
    ink : Ink, optional
        Its ink.
    """

    value: float
    name: str
    ink: Ink = Ink.RIGHT_LINE


@dataclass(frozen=True, slots=True)
class CourseLabels:
    """
    The words of a course, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    upright, across : str
        What the axes count.
    point : str
        What a point is.
    limits : str
        What the shaded band is.
    value : Callable
        Writes a value at the axis.
    """

    title: str
    description: str
    upright: str
    across: str
    point: str
    limits: str
    value: Callable[[float], str] = field(compare=False)


def course_drawing(
    points: Sequence[CoursePoint],
    levels: Sequence[Level],
    labels: CourseLabels,
    marks: tuple[float, ...],
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
    *,
    with_dots: bool = True,
) -> Drawing:
    """
    Draw figures in their order, with levels and the range that chance explains.

    Parameters
    ----------
    points : sequence of CoursePoint
        The figures, at least one.
    levels : sequence of Level
        Lines across, such as the target.
    labels : CourseLabels
        The words.
    marks : tuple of float
        Values written at the upright axis, the lowest first; the axis reaches from the first to
        the last at least.
    size_mm : tuple of float, optional
        Width and height.
    with_dots : bool, optional
        Whether points inside the limits are drawn; without them there is the line alone.

    Returns
    -------
    Drawing
        The chart. A point beyond the limits has another shape; the first of a run has its word.
    """
    low, high = _ends(points, levels, marks)
    upright = Axis(low, high, tuple((mark, labels.value(mark)) for mark in marks), labels.upright)
    names = few_names([point.name for point in points])
    across = Axis(0.5, max(len(points), 1) + 0.5, names, labels.across)
    below = legend(_keys(points, levels, labels, with_dots=with_dots), size_mm[0])
    plane = plane_of(across, upright, size_mm, below.height_mm)
    middle = (low + high) / 2
    shapes: list[Shape] = [
        *band_of(plane, [point.limits for point in points if point.limits is not None]),
        *axes_of(plane),
        *(
            Line((plane.left, plane.y(level.value)), (plane.right, plane.y(level.value)), level.ink)
            for level in levels
        ),
        *course_of(
            plane,
            [Mark(point.value, point.signal) for point in points],
            line=[point.value for point in points],
            ink=Ink.FINE_LINE if with_dots else Ink.LINE,
            with_dots=with_dots,
            middle=0.0 if low < 0 else min(middle, 0.0),
        ),
        below.at(0.0, size_mm[1] - below.height_mm),
    ]
    return Drawing(*size_mm, tuple(shapes), labels.title, labels.description)


def _ends(
    points: Sequence[CoursePoint], levels: Sequence[Level], marks: tuple[float, ...]
) -> tuple[float, float]:
    values = [*marks, *(level.value for level in levels), *(point.value for point in points)]
    for point in points:
        values += point.limits or ()
    low, high = min(values), max(values)
    signals = [point.value for point in points if point.signal]
    if any(value >= 0 for value in signals):
        high = max(high, with_headroom(max(signals), low))
    if any(value < 0 for value in signals):
        low = min(low, with_headroom(min(signals), high))
    return low, high


def _keys(
    points: Sequence[CoursePoint],
    levels: Sequence[Level],
    labels: CourseLabels,
    *,
    with_dots: bool,
) -> list[Key]:
    point_key = tuple(marked((3.2, 0.0), Marker.DOT, Ink.SOLID))
    keys: list[Key] = [(point_key if with_dots else rule_key(Ink.LINE), labels.point)]
    keys += [(rule_key(level.ink), level.name) for level in levels if level.name]
    if any(point.limits is not None for point in points):
        keys.append((band_key(), labels.limits))
    words = next((point.signal for point in points if point.signal), "")
    if words:
        keys.append((tuple(marked((3.2, 0.0), Marker.DIAMOND, Ink.FAULT)), words))
    return keys
