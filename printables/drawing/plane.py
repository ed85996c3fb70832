"""The plane of a chart: where values come to lie, its axes, and the shapes of its points."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.legend import LETTERS_MM, SMALLEST_MM
from printables.drawing.lettering import largest_size, text_width
from printables.drawing.primitives import (
    Anchor,
    Circle,
    Line,
    Point,
    Polygon,
    Rect,
    Shape,
    Text,
)

_DOT_MM: Final = 1.0


class Marker(StrEnum):
    """The shape of a series' points."""

    NONE = "none"
    DOT = "dot"
    SQUARE = "square"
    DIAMOND = "diamond"


@dataclass(frozen=True, slots=True)
class Axis:
    """
    An axis with the few numbers written on it.

    Parameters
    ----------
    low, high : float
        Its ends.
    marks : tuple of (float, str)
        Values with their words, in the reader's language.
    title : str, optional
        What it counts, in the reader's language.
    """

    low: float
    high: float
    marks: tuple[tuple[float, str], ...]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Plane:
    """
    Where values come to lie.

    Parameters
    ----------
    left, top, right, bottom : float
        The edges of the plane on the drawing, in mm.
    across, upright : Axis
        What is counted from left to right and from bottom to top.
    """

    left: float
    top: float
    right: float
    bottom: float
    across: Axis
    upright: Axis

    def x(self, value: float) -> float:
        """
        Return where a value lies from left to right.

        Parameters
        ----------
        value : float
            A value of the axis across.

        Returns
        -------
        float
            Its place on the drawing, in mm.
        """
        part = (value - self.across.low) / (self.across.high - self.across.low)
        return self.left + part * (self.right - self.left)

    def y(self, value: float) -> float:
        """
        Return where a value lies from bottom to top.

        Parameters
        ----------
        value : float
            A value of the upright axis.

        Returns
        -------
        float
            Its place on the drawing, in mm down from its upper edge.
        """
        part = (value - self.upright.low) / (self.upright.high - self.upright.low)
        return self.bottom - part * (self.bottom - self.top)

    def at(self, point: Point) -> Point:
        """
        Return where a point lies.

        Parameters
        ----------
        point : tuple of float
            Its values across and up.

        Returns
        -------
        tuple of float
            Its place on the drawing, in mm.
        """
        return (self.x(point[0]), self.y(point[1]))


def plane_of(across: Axis, upright: Axis, size_mm: tuple[float, float], legend_mm: float) -> Plane:
    """
    Lay out the plane of a drawing, with room for its axes and for a legend below.

    Parameters
    ----------
    across, upright : Axis
        The axes.
    size_mm : tuple of float
        Width and height of the drawing.
    legend_mm : float
        Height of the legend.

    Returns
    -------
    Plane
        The plane.
    """
    widest = max((text_width(words, LETTERS_MM) for _, words in upright.marks), default=0.0)
    title_mm = LETTERS_MM + 1.8 if upright.title else 0.0
    below_mm = (LETTERS_MM + 1.4) * (2 if across.title else 1) + 0.5
    return Plane(
        left=widest + 1.6,
        top=title_mm + 1.8,
        right=size_mm[0] - 1.6,
        bottom=size_mm[1] - legend_mm - below_mm - 1.2,
        across=across,
        upright=upright,
    )


def axes_of(plane: Plane) -> list[Shape]:
    """
    Draw the axes of a plane with their numbers and what they count.

    Parameters
    ----------
    plane : Plane
        The plane.

    Returns
    -------
    list of Shape
        Lines and letters.
    """
    shapes: list[Shape] = []
    for value, words in plane.upright.marks:
        y = plane.y(value)
        ink = Ink.FINE_LINE if value == plane.upright.low else Ink.HAIRLINE
        shapes.append(Line((plane.left, y), (plane.right, y), ink))
        shapes.append(
            Text(plane.left - 1.2, y + 0.36 * LETTERS_MM, words, LETTERS_MM, anchor=Anchor.END)
        )
    base = plane.bottom + LETTERS_MM + 1.5
    for value, words in plane.across.marks:
        x = plane.x(value)
        shapes.append(Line((x, plane.bottom), (x, plane.bottom + 0.9), Ink.FINE_LINE))
        shapes.append(_kept_inside(Text(x, base, words, LETTERS_MM), plane))
    room = plane.right
    if plane.upright.title:
        size = largest_size(plane.upright.title, room, LETTERS_MM, SMALLEST_MM)
        shapes.append(Text(0.0, LETTERS_MM, plane.upright.title, size, Ink.SOFT))
    if plane.across.title:
        size = largest_size(plane.across.title, room - plane.left, LETTERS_MM, SMALLEST_MM)
        place = (plane.right, base + LETTERS_MM + 1.2)
        shapes.append(Text(*place, plane.across.title, size, Ink.SOFT, Anchor.END))
    return shapes


def _kept_inside(text: Text, plane: Plane) -> Text:
    # Centred below its mark, unless it would run off the sheet.
    half = text_width(text.text, text.size_mm) / 2
    centre = min(max(text.x_mm, half), plane.right + 1.4 - half)
    return Text(centre, text.y_mm, text.text, text.size_mm, anchor=Anchor.MIDDLE)


def marked(place: Point, marker: Marker, ink: Ink) -> list[Shape]:
    """
    Draw the shape of a point.

    Parameters
    ----------
    place : tuple of float
        Its centre, in mm.
    marker : Marker
        Which shape.
    ink : Ink
        Its ink.

    Returns
    -------
    list of Shape
        The shape; none for a marker of none.
    """
    x, y = place
    match marker:
        case Marker.NONE:
            return []
        case Marker.DOT:
            return [Circle(place, _DOT_MM, ink)]
        case Marker.SQUARE:
            side = 1.8 * _DOT_MM
            return [Rect(x - side / 2, y - side / 2, side, side, ink)]
        case Marker.DIAMOND:
            reach = 1.8 * _DOT_MM
            corners = ((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))
            return [Polygon(corners, ink)]
