"""A funnel: rates by the trees behind them, against what chance explains around one rate."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import Key, legend
from printables.drawing.plane import Axis, Marker, Plane, axes_of, marked, plane_of
from printables.drawing.primitives import Drawing, Line, Point, Polygon, Polyline, Rect, Shape

DEFAULT_SIZE_MM: Final = (84.0, 76.0)

# Ends that read well on an axis of fractions.
_FRACTION_ENDS: Final = (0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0)
# Steps that read well on an axis of trees, each times a power of ten.
_STEPS: Final = (1, 2, 5, 10)
_MOST_MARKS: Final = 5
# Where the funnel is so wide that it would hide what stands in its neck, it is cut off.
_ROOM_ABOVE: Final = 1.15
_ROOM_BESIDE: Final = 1.05


@dataclass(frozen=True, slots=True)
class FunnelPlace:
    """
    Somebody's rate; the drawing gives nobody a name.

    Parameters
    ----------
    due : int
        Due trees.
    fraction : float
        Nonconforming over due trees.
    is_beyond : bool, optional
        Whether it lies above the outer limit.
    """

    due: int
    fraction: float
    is_beyond: bool = False


@dataclass(frozen=True, slots=True)
class FunnelEdge:
    """
    The limits for one number of due trees, as fractions.

    Parameters
    ----------
    due : int
        Due trees.
    inner_lower, inner_upper : float
        The inner limits.
    outer_lower, outer_upper : float
        The outer limits.
    """

    due: int
    inner_lower: float
    inner_upper: float
    outer_lower: float
    outer_upper: float


@dataclass(frozen=True, slots=True)
class FunnelLabels:
    """
    The words of a funnel, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    upright, across : str
        What the axes count.
    point, centre, inner, outer, beyond : str
        What a point, the level line, the shaded band, the dashed lines and a point beyond them
        are.
    share : Callable
        Writes a fraction as a percentage.
    number : Callable
        Writes a number of trees.
    """

    title: str
    description: str
    upright: str
    across: str
    point: str
    centre: str
    inner: str
    outer: str
    beyond: str
    share: Callable[[float], str] = field(compare=False)
    number: Callable[[int], str] = field(compare=False)


def funnel_drawing(
    places: Sequence[FunnelPlace],
    edges: Sequence[FunnelEdge],
    centre: float,
    labels: FunnelLabels,
    size_mm: tuple[float, float] = DEFAULT_SIZE_MM,
) -> Drawing:
    """
    Draw rates in the funnel of what chance explains.

    Parameters
    ----------
    places : sequence of FunnelPlace
        The rates.
    edges : sequence of FunnelEdge
        The limits, from few trees to many; at least two.
    centre : float
        The rate around which the funnel stands.
    labels : FunnelLabels
        The words.
    size_mm : tuple of float, optional
        Width and height.

    Returns
    -------
    Drawing
        The funnel. A point beyond it has another shape, which the legend explains.

    Raises
    ------
    ValueError
        If there are fewer than two edges.
    """
    if len(edges) < 2:  # noqa: PLR2004 - a line needs two ends
        raise ValueError(f"edges must be at least 2, not {len(edges)}")
    keys = _keys(labels, any(place.is_beyond for place in places))
    below = legend(keys, size_mm[0])
    plane = plane_of(
        _across(places, edges, labels),
        _upright(places, edges, centre, labels),
        size_mm,
        below.height_mm,
    )
    shapes: list[Shape] = [
        *_funnel(plane, edges),
        *axes_of(plane),
        Line((plane.left, plane.y(centre)), (plane.right, plane.y(centre)), Ink.RIGHT_LINE),
    ]
    for place in places:
        marker, ink = (Marker.DIAMOND, Ink.FAULT) if place.is_beyond else (Marker.DOT, Ink.SOLID)
        shapes += marked(plane.at((place.due, place.fraction)), marker, ink)
    shapes.append(below.at(0.0, size_mm[1] - below.height_mm))
    return Drawing(*size_mm, tuple(shapes), labels.title, labels.description)


def _across(
    places: Sequence[FunnelPlace], edges: Sequence[FunnelEdge], labels: FunnelLabels
) -> Axis:
    furthest = max((place.due for place in places), default=0)
    # A point must not stand half outside the frame.
    most = max(math.ceil(_ROOM_BESIDE * furthest), *(edge.due for edge in edges))
    size = 1
    while most / (10 * size) > _MOST_MARKS:
        size *= 10
    step = size * next(step for step in _STEPS if most / (step * size) <= _MOST_MARKS)
    marks = tuple((float(trees), labels.number(trees)) for trees in range(0, most + 1, step))
    return Axis(0.0, float(most), marks, labels.across)


def _upright(
    places: Sequence[FunnelPlace],
    edges: Sequence[FunnelEdge],
    centre: float,
    labels: FunnelLabels,
) -> Axis:
    fewest = min((place.due for place in places), default=edges[0].due)
    near = [edge.outer_upper for edge in edges if edge.due >= fewest]
    highest = max(centre, *near, *(place.fraction for place in places))
    wanted = min(1.0, _ROOM_ABOVE * highest)
    top = next(end for end in _FRACTION_ENDS if end >= wanted - 1e-9)
    marks = tuple((part * top, labels.share(part * top)) for part in (0, 0.5, 1))
    return Axis(0.0, top, marks, labels.upright)


def _funnel(plane: Plane, edges: Sequence[FunnelEdge]) -> list[Shape]:
    def line(name: str) -> tuple[Point, ...]:
        top = plane.upright.high
        return tuple(plane.at((edge.due, min(getattr(edge, name), top))) for edge in edges)

    shapes: list[Shape] = [
        Polygon((*line("inner_upper"), *reversed(line("inner_lower"))), Ink.RIGHT_TINT),
        Polyline(line("outer_upper"), Ink.DASHED_LINE),
    ]
    if any(edge.outer_lower > 0 for edge in edges):
        shapes.append(Polyline(line("outer_lower"), Ink.DASHED_LINE))
    return shapes


def _keys(labels: FunnelLabels, with_beyond: bool) -> list[Key]:  # noqa: FBT001 - one use, above
    keys: list[Key] = [
        (tuple(marked((3.2, 0.0), Marker.DOT, Ink.SOLID)), labels.point),
        ((Line((0.4, 0.0), (6.0, 0.0), Ink.RIGHT_LINE),), labels.centre),
        ((Rect(0.4, -1.5, 5.6, 3.0, Ink.RIGHT_TINT),), labels.inner),
        ((Line((0.4, 0.0), (6.0, 0.0), Ink.DASHED_LINE),), labels.outer),
    ]
    if with_beyond:
        keys.append((tuple(marked((3.2, 0.0), Marker.DIAMOND, Ink.FAULT)), labels.beyond))
    return keys
