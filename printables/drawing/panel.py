"""Pieces that the stage drawings share: panel, inset, arrows, spurs, and the verdict's tile."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from audits.vocabulary import Result
from printables.drawing.inks import Ink
from printables.drawing.lettering import balanced, text_lines, widest
from printables.drawing.pictograms import SIZE_MM, result_tile
from printables.drawing.primitives import (
    Circle,
    Drawing,
    Line,
    Point,
    Polygon,
    Rect,
    Shape,
    Text,
    group,
)
from printables.drawing.wood import Stem, bar

# A stage's panel on the card; letters in it are 9 points at the least, figures 12.
WIDTH_MM: Final = 35.0
HEIGHT_MM: Final = 40.0
SMALL_MM: Final = 9 * 25.4 / 72
LARGE_MM: Final = 12 * 25.4 / 72

# Room above a drawing for its verdict.
HEADER_MM: Final = 8.0

_NUMBER_AND_UNIT: Final = re.compile(r"(\d) (?=(?:mm|cm|m|ft|in)\b)| (?=\+)")
_HEAD_LENGTH_MM: Final = 1.7
_HEAD_WIDTH_MM: Final = 1.5
_CUT_MM: Final = 0.9
_GAP_MM: Final = 0.5

# From what stays to what goes, the mark of the cut between them.
CUT_GAP_MM: Final = _CUT_MM + 2 * _GAP_MM


@dataclass(frozen=True, slots=True)
class Inset:
    """
    A framed close-up inside a panel.

    Parameters
    ----------
    x_mm, y_mm : float
        Upper left corner.
    width_mm, height_mm : float
        Size.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def framed(self, *shapes: Shape) -> tuple[Shape, ...]:
        """
        Draw shapes inside the frame.

        Parameters
        ----------
        *shapes : Shape
            Shapes that keep within the frame, from its own upper left corner.

        Returns
        -------
        tuple of Shape
            The frame and what is in it.
        """
        size = (self.width_mm, self.height_mm)
        return (
            Rect(self.x_mm, self.y_mm, *size, Ink.PAPER, 1.2),
            group(shapes, self.x_mm, self.y_mm),
            Rect(self.x_mm, self.y_mm, *size, Ink.FINE_LINE, 1.2),
        )


def arrow(start: Point, end: Point, *, fault: bool = False) -> tuple[Shape, Shape]:
    """
    Draw an arrow with a filled head.

    Parameters
    ----------
    start, end : tuple of float
        Where it begins and where its head points.
    fault : bool, optional
        Whether it points out a fault rather than a measure.

    Returns
    -------
    tuple of Shape
        Shaft and head.
    """
    length = hypot(end[0] - start[0], end[1] - start[1])
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    neck = (end[0] - along[0] * _HEAD_LENGTH_MM, end[1] - along[1] * _HEAD_LENGTH_MM)
    off = (along[1] * _HEAD_WIDTH_MM / 2, -along[0] * _HEAD_WIDTH_MM / 2)
    head = (end, (neck[0] + off[0], neck[1] + off[1]), (neck[0] - off[0], neck[1] - off[1]))
    if fault:
        return (Line(start, neck, Ink.FAULT_LINE), Polygon(head, Ink.FAULT))
    return (Line(start, neck, Ink.FINE_LINE), Polygon(head, Ink.SOLID))


def span(first: Point, second: Point, *, fault: bool = False) -> tuple[Shape, ...]:
    """
    Draw a double arrow between two points.

    Parameters
    ----------
    first, second : tuple of float
        The points at the heads.
    fault : bool, optional
        Whether it points out a fault rather than a measure.

    Returns
    -------
    tuple of Shape
        The arrow.
    """
    middle = ((first[0] + second[0]) / 2, (first[1] + second[1]) / 2)
    return (*arrow(middle, first, fault=fault), *arrow(middle, second, fault=fault))


def figure(place: Point, text: str, width_mm: float, most_lines: int = 2) -> tuple[Text, ...]:
    """
    Write the figure to remember, large where it fits.

    Parameters
    ----------
    place : tuple of float
        Left end of the first baseline.
    text : str
        The figure with its unit, in the reader's language.
    width_mm : float
        Room for it.
    most_lines : int, optional
        Lines that there is room for.

    Returns
    -------
    tuple of Text
        Bold lines of 12 points, or smaller ones where the text is long.
    """
    text = _kept_together(text)
    for size_mm in (LARGE_MM, (LARGE_MM + SMALL_MM) / 2, SMALL_MM):
        lines = text_lines(Text(*place, text, size_mm, bold=True), width_mm, even=True)
        if len(lines) <= most_lines and widest(lines) <= width_mm:
            break
    return lines


def caption(place: Point, text: str, width_mm: float) -> tuple[Text, ...]:
    """
    Write a short label in as many lines as it needs.

    Parameters
    ----------
    place : tuple of float
        Left end of the first baseline.
    text : str
        The label, in the reader's language.
    width_mm : float
        Room for it.

    Returns
    -------
    tuple of Text
        Lines of 9 points.
    """
    text = _kept_together(text)
    return text_lines(Text(*place, text, SMALL_MM), width_mm, even=True)


def _kept_together(text: str) -> str:
    # A number and its unit stay on one line.
    return _NUMBER_AND_UNIT.sub("\\1\u00a0", text)


def slanted_cut(stem: Stem, left: float, right: float) -> tuple[Shape, Shape, Shape]:
    """
    Cut a stem at a slant: what stays, what goes, and the mark of the cut between them.

    Parameters
    ----------
    stem : Stem
        The stem, whole.
    left, right : float
        Where its left and its right edge are cut, from 0 to 1.

    Returns
    -------
    tuple of Shape
        The wood that stays, the wood that goes, the mark.
    """
    begin, end = stem.edge(left, 1), stem.edge(right, -1)
    length = hypot(end[0] - begin[0], end[1] - begin[1])
    reach = (
        (end[0] - begin[0]) / length * 0.8,
        (end[1] - begin[1]) / length * 0.8,
    )
    grown = hypot(stem.end[0] - stem.start[0], stem.end[1] - stem.start[1])
    gap = CUT_GAP_MM / grown
    forward = stem.direction_at((left + right) / 2)
    off = ((_CUT_MM / 2 + _GAP_MM) * forward[0], (_CUT_MM / 2 + _GAP_MM) * forward[1])
    ends = (
        (begin[0] - reach[0] + off[0], begin[1] - reach[1] + off[1]),
        (end[0] + reach[0] + off[0], end[1] + reach[1] + off[1]),
    )
    return (
        stem.piece((0.0, left), (0.0, right)),
        stem.piece((min(1.0, left + gap), 1.0), (min(1.0, right + gap), 1.0), Ink.GONE),
        bar(ends, _CUT_MM, Ink.CUT),
    )


def spur(stem: Stem, along: float, side: int, length_mm: float) -> tuple[Shape, Shape]:
    """
    Draw a fruiting spur: a short shoot with a bud.

    Parameters
    ----------
    stem : Stem
        The branch that carries it.
    along : float
        Where on the branch, from 0 to 1.
    side : int
        1 for the left of someone going along the branch on the page, -1 for the right.
    length_mm : float
        Its length.

    Returns
    -------
    tuple of Shape
        Shoot and bud.
    """
    root = stem.point_at(along)
    tip = stem.beside(along, side * (stem.width_at(along) / 2 + length_mm))
    shoot = Stem.between(root, tip, (0.55, 0.4))
    return (shoot.outline(), Circle(tip, 0.55, Ink.SPUR))


def judged(drawing: Drawing, result: Result, words: str) -> Drawing:
    """
    Put the tile of a result and its words above a drawing.

    Parameters
    ----------
    drawing : Drawing
        The drawing.
    result : Result
        The result that it shows.
    words : str
        What is right or wrong in it, in the reader's language; two short lines at most.

    Returns
    -------
    Drawing
        The drawing, 8 mm higher, its title begun with the words.
    """
    lines = balanced(words, drawing.width_mm - 8.4, SMALL_MM, bold=True)
    first = 4.9 - (len(lines) - 1) * 2.0
    letters = (
        Text(8.0, first + 3.9 * row, line, SMALL_MM, bold=True) for row, line in enumerate(lines)
    )
    return Drawing(
        drawing.width_mm,
        drawing.height_mm + HEADER_MM,
        (
            result_tile(result, "").at(0.3, 0.4, 6.6 / SIZE_MM),
            *letters,
            drawing.at(0.0, HEADER_MM),
        ),
        f"{words}. {drawing.title}",
        drawing.description,
    )


def beside(drawings: Sequence[Drawing], title: str, gap_mm: float = 3.0) -> Drawing:
    """
    Set drawings side by side, such as right and wrong.

    Parameters
    ----------
    drawings : sequence of Drawing
        The drawings, from left to right.
    title : str
        What they show together.
    gap_mm : float, optional
        Room between them.

    Returns
    -------
    Drawing
        One drawing; its description names each one's title.
    """
    shapes = []
    x_mm = 0.0
    for drawing in drawings:
        shapes.append(drawing.at(x_mm, 0.0))
        x_mm += drawing.width_mm + gap_mm
    height_mm = max(drawing.height_mm for drawing in drawings)
    described = " ".join(f"{drawing.title}." for drawing in drawings)
    return Drawing(x_mm - gap_mm, height_mm, tuple(shapes), title, described)
