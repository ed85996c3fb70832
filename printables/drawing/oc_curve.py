"""How often a plan lets a lot pass, by the share of bad trees in it: the curve of a plan."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import Key, legend
from printables.drawing.plane import Axis, Marker, Plane, axes_of, marked, plane_of
from printables.drawing.primitives import Drawing, Line, Point, Polyline, Rect, Shape

DEFAULT_SIZE_MM: Final = (84.0, 68.0)

# Ends that read well on an axis of trees in a hundred, each with the step of its numbers.
_ENDS: Final = ((0.1, 0.02), (0.2, 0.05), (0.4, 0.1), (0.6, 0.2), (0.8, 0.2), (1.0, 0.2))
# The axis goes on beyond the rejectable fraction for about so many times its length.
_BEYOND: Final = 1.5
# More points than this nobody can tell apart.
_MOST_POINTS: Final = 160


@dataclass(frozen=True, slots=True)
class CurveMark:
    """
    A quality that was asked about.

    Parameters
    ----------
    fraction : float
        Share of bad trees.
    chance : float
        Chance that such a lot passes.
    words : str
        What it is, for the legend, in the reader's language.
    """

    fraction: float
    chance: float
    words: str


@dataclass(frozen=True, slots=True)
class CurveLabels:
    """
    The words of a curve, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    upright, across : str
        What the axes count.
    hundredths : Callable
        Writes a fraction as a number of a hundred.
    """

    title: str
    description: str
    upright: str
    across: str
    hundredths: Callable[[float], str] = field(compare=False)


def oc_curve_drawing(
    curve: Sequence[Point],
    good: CurveMark,
    bad: CurveMark,
    labels: CurveLabels,
    *,
    limit: CurveMark | None = None,
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
) -> Drawing:
    """
    Draw the curve of a plan with the points that were promised.

    Parameters
    ----------
    curve : sequence of (float, float)
        Share of bad trees and chance to pass, from no bad tree on.
    good, bad : CurveMark
        The acceptable and the rejectable lot.
    labels : CurveLabels
        The words.
    limit : CurveMark, optional
        The lot at the quality limit by which the tables are entered.
    size_mm : tuple of float, optional
        Width and height.

    Returns
    -------
    Drawing
        The curve over tinted sides for good and for bad lots. Each marked point has a shape and
        words of its own.
    """
    marks = [
        (good, Marker.DOT, Ink.RIGHT),
        *([(limit, Marker.SQUARE, Ink.SOLID)] if limit else []),
        (bad, Marker.DIAMOND, Ink.FAULT),
    ]
    keys: list[Key] = [
        (tuple(marked((3.2, 0.0), marker, ink)), mark.words) for mark, marker, ink in marks
    ]
    below = legend(keys, size_mm[0])
    across = _axis_across(max(mark.fraction for mark, _, _ in marks), labels)
    upright = Axis(
        0.0,
        1.0,
        tuple((part, labels.hundredths(part)) for part in (0.0, 0.5, 1.0)),
        labels.upright,
    )
    plane = plane_of(across, upright, size_mm, below.height_mm)
    shapes: list[Shape] = [
        _side(plane, 0.0, good.fraction, Ink.RIGHT_TINT),
        _side(plane, bad.fraction, across.high, Ink.FAULT_TINT),
        *axes_of(plane),
    ]
    for mark, _, _ in marks:
        shapes += _leads(plane, mark)
    points = _few([plane.at(point) for point in curve if point[0] <= across.high])
    if len(points) > 1:
        shapes.append(Polyline(points, Ink.HEAVY_LINE))
    for mark, marker, ink in marks:
        shapes += marked(plane.at((mark.fraction, mark.chance)), marker, ink)
    shapes.append(below.at(0.0, size_mm[1] - below.height_mm))
    return Drawing(*size_mm, tuple(shapes), labels.title, labels.description)


def _axis_across(furthest: float, labels: CurveLabels) -> Axis:
    wanted = min(1.0, _BEYOND * furthest)
    end, step = next(each for each in _ENDS if each[0] >= wanted - 1e-9)
    numbers = [count * step for count in range(round(end / step) + 1)]
    return Axis(
        0.0, end, tuple((number, labels.hundredths(number)) for number in numbers), labels.across
    )


def _side(plane: Plane, low: float, high: float, ink: Ink) -> Rect:
    left, right = plane.x(low), plane.x(high)
    top = plane.y(1.0)
    return Rect(left, top, right - left, plane.y(0.0) - top, ink)


def _leads(plane: Plane, mark: CurveMark) -> list[Shape]:
    """Lead the eye from a point to the two axes."""
    x, y = plane.at((mark.fraction, mark.chance))
    return [
        Line((plane.left, y), (x, y), Ink.DASHED_LINE),
        Line((x, y), (x, plane.bottom), Ink.DASHED_LINE),
    ]


def _few(points: Sequence[Point]) -> tuple[Point, ...]:
    apart = -(-len(points) // _MOST_POINTS) or 1
    return (*points[:-1:apart], *points[-1:])
