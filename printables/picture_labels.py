"""Numbers and figures in the pictures of quiz questions, all of one size."""

from collections.abc import Sequence
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.primitives import Anchor, Circle, Point, Shape, Text
from printables.paragraphs import POINT_MM

LABEL_MM: Final = 12 * POINT_MM
DISC_MM: Final = 2.8

# Baseline below the middle of a capital letter, as a part of the size.
_MIDDLE: Final = 0.36


def label(point: Point, text: str, anchor: Anchor = Anchor.START, ink: Ink = Ink.SOLID) -> Text:
    """
    Write a label whose capitals are centred on a height.

    Parameters
    ----------
    point : tuple of float
        Where its anchor stands, at the middle of its capitals.
    text : str
        The label, in the reader's language.
    anchor : Anchor, optional
        Which part of it stands there.
    ink : Ink, optional
        A filled ink.

    Returns
    -------
    Text
        A line of 12 points.
    """
    return Text(point[0], point[1] + _MIDDLE * LABEL_MM, text, LABEL_MM, ink, anchor)


def number_disc(point: Point, number: int, radius_mm: float = DISC_MM) -> list[Shape]:
    """
    Write a number in a dark disc.

    Parameters
    ----------
    point : tuple of float
        Centre of the disc.
    number : int
        The number.
    radius_mm : float, optional
        Its radius; the figure grows with it.

    Returns
    -------
    list of Shape
        Disc and number.
    """
    size = LABEL_MM * radius_mm / DISC_MM
    text = Text(
        point[0],
        point[1] + _MIDDLE * size,
        str(number),
        size,
        Ink.PAPER,
        anchor=Anchor.MIDDLE,
        bold=True,
    )
    return [Circle(point, radius_mm, Ink.SOLID), text]


def kept_apart(
    places_mm: Sequence[float], apart_mm: float, within: tuple[float, float]
) -> list[float]:
    """
    Move labels of one column apart as little as their order and the picture allow.

    Parameters
    ----------
    places_mm : sequence of float
        Where each label would stand best, in any order.
    apart_mm : float
        Least distance of two labels.
    within : tuple of float
        First and last place of the column.

    Returns
    -------
    list of float
        Where each label stands, in the order given.

    Examples
    --------
    >>> kept_apart([10.0, 4.0, 5.0], 3.0, (3.0, 20.0))
    [10.0, 4.0, 7.0]
    """
    order = sorted(range(len(places_mm)), key=lambda place: places_mm[place])
    first, last = within
    stands = [0.0] * len(places_mm)
    least = first
    for place in order:
        stands[place] = max(places_mm[place], least)
        least = stands[place] + apart_mm
    most = last
    for place in reversed(order):
        stands[place] = min(stands[place], most)
        most = stands[place] - apart_mm
    return stands
