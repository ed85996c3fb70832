"""
What makes a page readable from a photo: targets in its corners, stations along its edges, its code.

Every page that is read back carries the same frame, made by `page_frame`:

- a *target* in each corner, five runs of equal width along any line through its centre, so that it
  is found at any turn and under perspective, and not taken for a finder pattern of the code;
- *stations*, plain dots along the lines between the targets, which tell how the paper bends;
- the code below the upper right target, a QR code of one fixed version, level and mask. Where it
  lies tells which way is up and which paper it is, so the four targets may be alike.

Whoever lays a page out

- keeps everything else inside `content_area` and out of `code_room`;
- draws each box for marks as a thin dark frame (`Ink.FRAME` or `Ink.FINE_LINE`) on white paper,
  its sides at least 3.8 mm, its middle line where `Box` says, at least 1 mm from the next box;
- prints nothing inside a box for marks, or says what: `Box.printed`, in page coordinates;
- keeps other print at least 0.4 mm clear of the frames.
"""

import string
from functools import cache
from math import ceil
from typing import Final

import segno

from printables.document import Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.primitives import Circle, Drawing, Point, Shape, group
from printables.drawing.qr import QUIET_CELLS, matrix_drawing
from printables.marked import MarkedPage

# Centres of the targets from both edges of the paper: office printers leave 4.2 mm blank (common
# practice), and what is held in the hand has its thumbs there.
TARGET_INSET_MM: Final = 10.0
TARGET_RADIUS_MM: Final = 4.0
STATION_RADIUS_MM: Final = 1.2
# Between stations at most this: far more than paper bends from one to the next.
STATION_STEP_MM: Final = 26.0

# What stays free at the left and right edge, and at the upper and lower edge.
SIDE_CLEAR_MM: Final = 14.0
END_CLEAR_MM: Final = 16.0

# ISO/IEC 18004: version 3 has 29 x 29 cells and holds 61 letters at level M, of which 13 of 70
# codewords may be wrong.
CODE_VERSION: Final = 3
CODE_LEVEL: Final = "M"
CODE_MASK: Final = 2
CODE_CELLS: Final = 29
CODE_LETTERS: Final = 61
CELL_MM: Final = 0.7
CODE_MM: Final = CODE_CELLS * CELL_MM
# Right edge of the code's dark cells from the paper's right edge, and their upper edge.
CODE_RIGHT_MM: Final = 16.0
CODE_TOP_MM: Final = 16.0

# Table 5 of ISO/IEC 18004.
ALPHANUMERIC: Final = string.digits + string.ascii_uppercase + " $%*+-./:"


def content_area(size_mm: tuple[float, float]) -> tuple[float, float, float, float]:
    """
    Return the part of a page that its content may use, apart from the code's room.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page as it is read, see `MarkedPage.size_mm`.

    Returns
    -------
    tuple of float
        Left, upper, right and lower edge in mm from the page's upper left corner.
    """
    width, height = size_mm
    return (SIDE_CLEAR_MM, END_CLEAR_MM, width - SIDE_CLEAR_MM, height - END_CLEAR_MM)


def code_room(size_mm: tuple[float, float]) -> tuple[float, float, float, float]:
    """
    Return the part of the content's area that belongs to the code and its quiet zone.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page as it is read, see `MarkedPage.size_mm`.

    Returns
    -------
    tuple of float
        Left, upper, right and lower edge in mm from the page's upper left corner.
    """
    left, top = code_corner(size_mm)
    quiet = QUIET_CELLS * CELL_MM
    _, upper, right, _ = content_area(size_mm)
    return (left - quiet, upper, right, top + CODE_MM + quiet)


def code_corner(size_mm: tuple[float, float]) -> Point:
    """
    Return the upper left corner of the code's cells.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page as it is read, see `MarkedPage.size_mm`.

    Returns
    -------
    tuple of float
        Across and down from the page's upper left corner, in mm.
    """
    return (size_mm[0] - CODE_RIGHT_MM - CODE_MM, CODE_TOP_MM)


def targets(size_mm: tuple[float, float]) -> tuple[Point, Point, Point, Point]:
    """
    Return the centres of the targets.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page as it is read, see `MarkedPage.size_mm`.

    Returns
    -------
    tuple of tuple of float
        Upper left, upper right, lower right, lower left, in mm.
    """
    width, height = size_mm
    left = top = TARGET_INSET_MM
    right, bottom = width - TARGET_INSET_MM, height - TARGET_INSET_MM
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def stations(size_mm: tuple[float, float]) -> tuple[tuple[Point, ...], ...]:
    """
    Return the centres of the stations along each edge.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page as it is read, see `MarkedPage.size_mm`.

    Returns
    -------
    tuple of tuple
        For the upper, right, lower and left edge, clockwise, the stations between its targets in
        mm.
    """
    corners = targets(size_mm)
    edges = []
    for (x0, y0), (x1, y1) in zip(corners, (*corners[1:], corners[0]), strict=True):
        steps = ceil(max(abs(x1 - x0), abs(y1 - y0)) / STATION_STEP_MM)
        edges.append(
            tuple(
                (x0 + (x1 - x0) * step / steps, y0 + (y1 - y0) * step / steps)
                for step in range(1, steps)
            )
        )
    return tuple(edges)


def code_matrix(text: str) -> list[list[bool]]:
    """
    Return the cells of a page's code.

    Parameters
    ----------
    text : str
        What it says, at most `CODE_LETTERS` capital letters, digits and signs of `ALPHANUMERIC`.

    Returns
    -------
    list of list of bool
        Rows from top to bottom; true where a cell is dark.

    Raises
    ------
    ValueError
        If the text is too long or has other signs.
    """
    if len(text) > CODE_LETTERS or not set(text) <= set(ALPHANUMERIC):
        raise ValueError(f"text is {text!r}; it needs at most {CODE_LETTERS} capitals and digits")
    code = segno.make(
        text,
        error=CODE_LEVEL,
        version=CODE_VERSION,
        mask=CODE_MASK,
        mode="alphanumeric",
        boost_error=False,
        micro=False,
    )
    return [[bool(cell) for cell in row] for row in code.matrix]


def page_frame(page: MarkedPage) -> list[Piece]:
    """
    Draw what a page needs to be read back, apart from its boxes.

    Parameters
    ----------
    page : MarkedPage
        The page.

    Returns
    -------
    list of Piece
        Targets with their stations, and the code; furniture, since it says nothing to people.

    Raises
    ------
    ValueError
        If the page's code is too long.
    """
    left, top = code_corner(page.size_mm)
    quiet = QUIET_CELLS * CELL_MM
    code = matrix_drawing(code_matrix(page.code.text), CODE_MM + 2 * quiet, "", "")
    return [
        Piece(_targets_and_stations(page.size_mm), 0.0, 0.0, Role.FURNITURE),
        Piece(code, left - quiet, top - quiet, Role.FURNITURE),
    ]


@cache
def _targets_and_stations(size_mm: tuple[float, float]) -> Drawing:
    """One drawing for all pages of a paper, so that a file stores it once."""
    ring = TARGET_RADIUS_MM / 5
    target: tuple[Shape, ...] = (
        Circle((0.0, 0.0), TARGET_RADIUS_MM),
        Circle((0.0, 0.0), 3 * ring, Ink.PAPER),
        Circle((0.0, 0.0), ring),
    )
    shapes: list[Shape] = [group(target, x, y) for x, y in targets(size_mm)]
    shapes += [Circle(place, STATION_RADIUS_MM) for edge in stations(size_mm) for place in edge]
    width, height = size_mm
    return Drawing(width, height, tuple(shapes), "")
