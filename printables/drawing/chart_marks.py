"""What charts of a course share: the band of chance, points with their word, and their keys."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import LETTERS_MM
from printables.drawing.lettering import text_width
from printables.drawing.plane import Marker, Plane, marked
from printables.drawing.primitives import (
    Anchor,
    Line,
    Point,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Text,
)

# Up to so many points, names at both ends are enough.
_FEW: Final = 4
# Share of the height that a word above the highest point needs.
_HEADROOM: Final = 0.17
_ABOVE_MM: Final = 2.4
_REACH_MM: Final = 1.8
_BETWEEN_MM: Final = 1.5
# Height of capitals.
_HIGH_MM: Final = 0.73 * LETTERS_MM


@dataclass(frozen=True, slots=True)
class Mark:
    """
    A point of a course.

    Parameters
    ----------
    value : float
        How high it stands.
    signal : str, optional
        The word at a point beyond its limits; empty for a point inside.
    """

    value: float
    signal: str = ""


def with_headroom(value: float, other_end: float) -> float:
    """
    Return an end of an axis that leaves room for a word beyond a value.

    Parameters
    ----------
    value : float
        The outermost value that carries a word.
    other_end : float
        The other end of the axis.

    Returns
    -------
    float
        An end beyond the value.
    """
    return value + (value - other_end) * _HEADROOM / (1 - _HEADROOM)


def few_names(names: Sequence[str]) -> tuple[tuple[float, str], ...]:
    """
    Choose the few points whose names stand below a chart.

    Parameters
    ----------
    names : sequence of str
        The name of each point, in order.

    Returns
    -------
    tuple of (float, str)
        Places, from 1, with their names: both ends, and the middle of more than a few.
    """
    if not names:
        return ()
    last = len(names) - 1
    chosen = {0, last} if len(names) <= _FEW else {0, len(names) // 2, last}
    return tuple((place + 1.0, names[place]) for place in sorted(chosen))


def band_of(plane: Plane, limits: Sequence[tuple[float, float]]) -> list[Shape]:
    """
    Draw the band that chance explains, point by point.

    Parameters
    ----------
    plane : Plane
        The plane.
    limits : sequence of (float, float)
        Lower and upper limit of each point.

    Returns
    -------
    list of Shape
        The band with a dashed line at each limit that does not lie on the plane's edge.
    """
    if not limits:
        return []
    upper = _steps(plane, [high for _, high in limits])
    lower = _steps(plane, [low for low, _ in limits])
    shapes: list[Shape] = [
        Polygon((*upper, *reversed(lower)), Ink.RIGHT_TINT),
        Polyline(upper, Ink.DASHED_LINE),
    ]
    if any(low > plane.upright.low for low, _ in limits):
        shapes.append(Polyline(lower, Ink.DASHED_LINE))
    return shapes


def _steps(plane: Plane, values: Sequence[float]) -> tuple[Point, ...]:
    # Every point has its own limits: level over the point, a step between points.
    corners: list[Point] = []
    for place, value in enumerate(values, start=1):
        corners += [plane.at((place - 0.5, value)), plane.at((place + 0.5, value))]
    return tuple(corners)


def course_of(
    plane: Plane,
    marks: Sequence[Mark],
    *,
    line: Sequence[float],
    ink: Ink = Ink.FINE_LINE,
    with_dots: bool = True,
    middle: float = 0.0,
) -> list[Shape]:
    """
    Draw points in order, with a line and the word at the first of each run of signals.

    Parameters
    ----------
    plane : Plane
        The plane; points stand at 1, 2, ... across.
    marks : sequence of Mark
        The points.
    line : sequence of float
        How high the line stands at each point.
    ink : Ink, optional
        Ink of the line.
    with_dots : bool, optional
        Whether points inside are drawn too.
    middle : float, optional
        Signals below it have their word below, others above.

    Returns
    -------
    list of Shape
        Line, points and words.
    """
    shapes: list[Shape] = []
    if len(line) > 1:
        course = tuple(plane.at((place, value)) for place, value in enumerate(line, start=1))
        shapes.append(Polyline(course, ink))
    before, free_from = "", 0.0
    for number, mark in enumerate(marks, start=1):
        place = plane.at((number, mark.value))
        if mark.signal or with_dots:
            marker = Marker.DIAMOND if mark.signal else Marker.DOT
            shapes += marked(place, marker, Ink.FAULT if mark.signal else Ink.SOLID)
        if mark.signal and mark.signal != before:
            words = _word(place, mark.signal, plane, below=mark.value < middle)
            # A word that would run into the one before is left out: the shape tells as much.
            if words.x_mm - text_width(words.text, words.size_mm, bold=True) >= free_from:
                shapes += [_behind(words), words]
                free_from = words.x_mm + _BETWEEN_MM
        before = mark.signal
    return shapes


def _word(place: Point, words: str, plane: Plane, *, below: bool) -> Text:
    # The course comes from nearer the middle and may go on outwards, so that the word has room on
    # the side where it came from. Near the left edge there is no course before it.
    width = text_width(words, LETTERS_MM, bold=True)
    end = max(place[0] + _REACH_MM, plane.left + width)
    y = place[1] + _ABOVE_MM + _HIGH_MM if below else place[1] - _ABOVE_MM
    return Text(end, y, words, LETTERS_MM, Ink.FAULT, Anchor.END, bold=True)


def _behind(words: Text) -> Rect:
    # Lines of the plane must not cross the letters.
    width = text_width(words.text, words.size_mm, bold=True)
    start = words.x_mm - width - 0.3
    return Rect(start, words.y_mm - _HIGH_MM - 0.2, width + 0.6, _HIGH_MM + 0.4, Ink.PAPER)


def rule_key(ink: Ink) -> tuple[Shape, ...]:
    """
    Draw the key of a line.

    Parameters
    ----------
    ink : Ink
        Its ink.

    Returns
    -------
    tuple of Shape
        For a legend.
    """
    return (Line((0.4, 0.0), (6.0, 0.0), ink),)


def band_key() -> tuple[Shape, ...]:
    """
    Draw the key of the band that chance explains.

    Returns
    -------
    tuple of Shape
        For a legend.
    """
    return (
        Rect(0.4, -1.5, 5.6, 3.0, Ink.RIGHT_TINT),
        Line((0.4, -1.5), (6.0, -1.5), Ink.DASHED_LINE),
    )
