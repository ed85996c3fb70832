"""Trunks, limbs and shoots: curves that taper, can be cut at any place, and become outlines."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Self

from printables.drawing.inks import Ink
from printables.drawing.primitives import Path, Point, Polygon, Step


@dataclass(frozen=True, slots=True)
class Stem:
    """
    A piece of wood: a cubic curve with a width that changes evenly along it.

    Parameters
    ----------
    start, control1, control2, end : tuple of float
        The curve, from the thick end on.
    width_start_mm, width_end_mm : float
        Width across at both ends.
    """

    start: Point
    control1: Point
    control2: Point
    end: Point
    width_start_mm: float
    width_end_mm: float

    @classmethod
    def between(
        cls, start: Point, end: Point, widths_mm: tuple[float, float], bend: float = 0.0
    ) -> Self:
        """
        Make a stem from one point to another.

        Parameters
        ----------
        start, end : tuple of float
            The two ends.
        widths_mm : tuple of float
            Width at the start and at the end.
        bend : float, optional
            How far the middle is off the straight line, as a part of its length; above 0 to the
            left of someone going along it on the page.

        Returns
        -------
        Stem
            A stem with an even bend.
        """
        across, down = end[0] - start[0], end[1] - start[1]
        # A cubic with both controls off by h has its middle off by three quarters of h.
        off = (down * bend * 4 / 3, -across * bend * 4 / 3)
        first = (start[0] + across / 3 + off[0], start[1] + down / 3 + off[1])
        second = (start[0] + across * 2 / 3 + off[0], start[1] + down * 2 / 3 + off[1])
        return cls(start, first, second, end, *widths_mm)

    def point_at(self, along: float) -> Point:
        """
        Find a point of the centre line.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        tuple of float
            The point.
        """
        rest = 1 - along
        one, two, three, four = rest**3, 3 * rest**2 * along, 3 * rest * along**2, along**3
        x1, y1 = self.start
        x2, y2 = self.control1
        x3, y3 = self.control2
        x4, y4 = self.end
        return (
            one * x1 + two * x2 + three * x3 + four * x4,
            one * y1 + two * y2 + three * y3 + four * y4,
        )

    def direction_at(self, along: float) -> Point:
        """
        Find the direction of growth at a point.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        tuple of float
            A step of length 1.
        """
        across, down = self._speed_at(along)
        length = hypot(across, down)
        return (across / length, down / length)

    def width_at(self, along: float) -> float:
        """
        Find the width across at a point.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        float
            Width in mm.
        """
        return self.width_start_mm + along * (self.width_end_mm - self.width_start_mm)

    def beside(self, along: float, off_mm: float) -> Point:
        """
        Find a point off the centre line.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.
        off_mm : float
            How far off, above 0 to the left of someone going along the stem on the page.

        Returns
        -------
        tuple of float
            The point.
        """
        x, y = self.point_at(along)
        across, down = self.direction_at(along)
        return (x + down * off_mm, y - across * off_mm)

    def edge(self, along: float, side: int) -> Point:
        """
        Find a point of the bark.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.
        side : int
            1 for the left of someone going along the stem on the page, -1 for the right.

        Returns
        -------
        tuple of float
            The point.
        """
        return self.beside(along, side * self.width_at(along) / 2)

    def part(self, first: float, last: float) -> "Stem":
        """
        Take a piece out of the stem.

        Parameters
        ----------
        first, last : float
            Where the piece begins and ends, from 0 to 1.

        Returns
        -------
        Stem
            The piece.
        """
        start, end = self.point_at(first), self.point_at(last)
        third = (last - first) / 3
        begins, ends = self._speed_at(first), self._speed_at(last)
        return Stem(
            start,
            (start[0] + begins[0] * third, start[1] + begins[1] * third),
            (end[0] - ends[0] * third, end[1] - ends[1] * third),
            end,
            self.width_at(first),
            self.width_at(last),
        )

    def outline(self, ink: Ink = Ink.WOOD) -> Path:
        """
        Draw the stem's two edges and its ends.

        Parameters
        ----------
        ink : Ink, optional
            A filled ink.

        Returns
        -------
        Path
            The closed outline.
        """
        return self.piece((0.0, 1.0), (0.0, 1.0), ink)

    def piece(
        self, left: tuple[float, float], right: tuple[float, float], ink: Ink = Ink.WOOD
    ) -> Path:
        """
        Draw a piece of the stem whose ends may be cut at a slant.

        Parameters
        ----------
        left, right : tuple of float
            Where the left and the right edge begin and end, from 0 to 1; left and right as seen
            by someone going along the stem on the page.
        ink : Ink, optional
            A filled ink.

        Returns
        -------
        Path
            The closed outline.
        """
        return Path(
            self.edge(left[0], 1),
            (
                *self._edge_steps(*left, 1),
                (self.edge(right[1], -1),),
                *self._edge_steps(right[1], right[0], -1),
            ),
            ink,
        )

    def cut_line(
        self, along: float, length_mm: float, lean_deg: float = 0.0
    ) -> tuple[Point, Point]:
        """
        Find the two ends of a line across the stem.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.
        length_mm : float
            Length of the line.
        lean_deg : float, optional
            How far it leans from square, clockwise on the page.

        Returns
        -------
        tuple of tuple of float
            The two ends.
        """
        x, y = self.point_at(along)
        across, down = self.direction_at(along)
        turn = radians(lean_deg)
        half = (
            (-down * cos(turn) - across * sin(turn)) * length_mm / 2,
            (across * cos(turn) - down * sin(turn)) * length_mm / 2,
        )
        return ((x - half[0], y - half[1]), (x + half[0], y + half[1]))

    def _speed_at(self, along: float) -> Point:
        rest = 1 - along
        one, two, three = 3 * rest**2, 6 * rest * along, 3 * along**2
        x1, y1 = self.start
        x2, y2 = self.control1
        x3, y3 = self.control2
        x4, y4 = self.end
        return (
            one * (x2 - x1) + two * (x3 - x2) + three * (x4 - x3),
            one * (y2 - y1) + two * (y3 - y2) + three * (y4 - y3),
        )

    def _edge_steps(self, first: float, last: float, side: int) -> tuple[Step, Step]:
        # Two curves keep the edge smooth and true for every bend that is drawn here.
        middle = (first + last) / 2
        return (self._edge_step(first, middle, side), self._edge_step(middle, last, side))

    def along_edge(
        self, side: int, *, backwards: bool = False, curves: int = 2
    ) -> tuple[Step, ...]:
        """
        Draw one edge of the stem, from where a path stands at its beginning.

        Parameters
        ----------
        side : int
            1 for the left of someone going along the stem on the page, -1 for the right.
        backwards : bool, optional
            Whether it is drawn from the thin end.
        curves : int, optional
            1 for a stem that bends little, or 2.

        Returns
        -------
        tuple of Step
            As many curves.
        """
        first, last = (1.0, 0.0) if backwards else (0.0, 1.0)
        if curves == 1:
            return (self._edge_step(first, last, side),)
        return self._edge_steps(first, last, side)

    def _edge_step(self, first: float, last: float, side: int) -> Step:
        begin, end = self.edge(first, side), self.edge(last, side)
        begins, ends = self._edge_speed(first, side), self._edge_speed(last, side)
        third = (last - first) / 3
        return (
            (begin[0] + begins[0] * third, begin[1] + begins[1] * third),
            (end[0] - ends[0] * third, end[1] - ends[1] * third),
            end,
        )

    def _edge_speed(self, along: float, side: int) -> Point:
        nudge = 1e-4
        low, high = max(0.0, along - nudge), min(1.0, along + nudge)
        before, after = self.edge(low, side), self.edge(high, side)
        return ((after[0] - before[0]) / (high - low), (after[1] - before[1]) / (high - low))


def joined(stems: Sequence[Stem], ink: Ink = Ink.WOOD, *, curves: int = 2) -> Path:
    """
    Draw stems that continue each other as one piece of wood.

    Parameters
    ----------
    stems : sequence of Stem
        At least one, each beginning where the one before ends.
    ink : Ink, optional
        A filled ink.
    curves : int, optional
        Curves to each edge of a stem; see `Stem.along_edge`.

    Returns
    -------
    Path
        The closed outline.
    """
    there = [step for stem in stems for step in stem.along_edge(1, curves=curves)]
    back = [
        step
        for stem in reversed(stems)
        for step in stem.along_edge(-1, backwards=True, curves=curves)
    ]
    return Path(stems[0].edge(0.0, 1), (*there, (stems[-1].edge(1.0, -1),), *back), ink)


def bar(ends: tuple[Point, Point], thickness_mm: float, ink: Ink) -> Polygon:
    """
    Draw a straight bar of a given thickness.

    Parameters
    ----------
    ends : tuple of tuple of float
        The middles of its two short edges.
    thickness_mm : float
        Its thickness.
    ink : Ink
        A filled ink.

    Returns
    -------
    Polygon
        The bar.
    """
    (x1, y1), (x2, y2) = ends
    length = hypot(x2 - x1, y2 - y1)
    off = ((y2 - y1) / length * thickness_mm / 2, -(x2 - x1) / length * thickness_mm / 2)
    return Polygon(
        (
            (x1 + off[0], y1 + off[1]),
            (x2 + off[0], y2 + off[1]),
            (x2 - off[0], y2 - off[1]),
            (x1 - off[0], y1 - off[1]),
        ),
        ink,
    )
