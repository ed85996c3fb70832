"""QR codes as drawings: a library finds the pattern, the drawing keeps its size."""

from functools import lru_cache
from itertools import groupby

import segno

from printables.drawing.primitives import Cells, Drawing

# Cells of clear paper that a reader needs around the code (ISO/IEC 18004, 6.3.8).
QUIET_CELLS = 4


def qr_drawing(text: str, size_mm: float, title: str, description: str = "") -> Drawing:
    """
    Draw a QR code with its quiet zone.

    Parameters
    ----------
    text : str
        What it says, such as an address.
    size_mm : float
        Width and height, quiet zone included.
    title : str
        What it is, for those who cannot see it.
    description : str, optional
        Where it leads.

    Returns
    -------
    Drawing
        A square.
    """
    matrix = segno.make(text, error="m", micro=False).matrix
    return matrix_drawing(
        [[bool(cell) for cell in row] for row in matrix], size_mm, title, description
    )


def matrix_drawing(
    matrix: list[list[bool]], size_mm: float, title: str, description: str = ""
) -> Drawing:
    """
    Draw a square grid of dark and light cells with a quiet zone.

    Parameters
    ----------
    matrix : list of list of bool
        Rows from top to bottom; true where a cell is dark.
    size_mm : float
        Width and height, quiet zone included.
    title, description : str
        What it is, and where it leads.

    Returns
    -------
    Drawing
        A square.
    """
    cell_mm = size_mm / (len(matrix) + 2 * QUIET_CELLS)
    quiet_mm = QUIET_CELLS * cell_mm
    cells = Cells(quiet_mm, quiet_mm, cell_mm, _runs(matrix))
    return Drawing(size_mm, size_mm, (cells,), title, description)


@lru_cache(maxsize=8192)
def _run(row: int, column: int, count: int) -> tuple[int, int, int]:
    """Give equal runs as one object: a deck holds a hundred thousand, of a few thousand kinds."""
    return row, column, count


def _runs(matrix: list[list[bool]]) -> tuple[tuple[int, int, int], ...]:
    runs = []
    for number, row in enumerate(matrix):
        column = 0
        for dark, cells in groupby(row):
            count = len(list(cells))
            if dark:
                runs.append(_run(number, column, count))
            column += count
    return tuple(runs)
