"""Tables on paper: cells that wrap, a head that comes again on each page, no row cut in two."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Shape, Text
from printables.paragraphs import POINT_MM, Run, paragraph, stacked

_PAD_MM: Final = 1.3


@dataclass(frozen=True)
class Column:
    """
    A column of a table.

    Parameters
    ----------
    title : str
        Its head, in the reader's language.
    share : float
        Its share of the width.
    numeric : bool, optional
        Whether its cells are figures, which stand to the right.
    bold : bool, optional
        Whether its cells are heavy.
    """

    title: str
    share: float
    numeric: bool = False
    bold: bool = False


@dataclass(frozen=True)
class Table:
    """
    A table before it is broken over pages.

    Parameters
    ----------
    title : str
        What it is, for those who have it read out.
    columns : tuple of Column
        Its columns.
    rows : sequence of sequence of str
        Its cells, in the reader's language.
    size_pt : float, optional
        Size of the letters.
    least_row_mm : float, optional
        Least height of a row, such as room for a hand.
    gap_mm : float, optional
        Room between two columns.
    below : sequence of str, optional
        A sentence for each row, which goes below it over the whole width; empty for none.
    """

    title: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[str]]
    size_pt: float = 10.0
    least_row_mm: float = 0.0
    gap_mm: float = 4.0
    below: Sequence[str] = ()


def table_pieces(table: Table, width_mm: float, first_mm: float, page_mm: float) -> list[Drawing]:
    """
    Set a table in as many pieces as it needs pages.

    Parameters
    ----------
    table : Table
        The table.
    width_mm : float
        Its width.
    first_mm : float
        Room that is left on the page where it begins.
    page_mm : float
        Room of a whole page.

    Returns
    -------
    list of Drawing
        One piece a page, each with the head; where not even one row fits into what is left, the
        first piece is one for the next page.
    """
    head = _row([column.title for column in table.columns], table, width_mm, is_head=True)
    sentences = table.below or [""] * len(table.rows)
    rows = [
        _row(cells, table, width_mm, sentence)
        for cells, sentence in zip(table.rows, sentences, strict=True)
    ]
    groups: list[list[Drawing]] = []
    room = 0.0
    for row in rows:
        if not groups:
            groups.append([row])
            fits = head.height_mm + row.height_mm <= first_mm
            room = (first_mm if fits else page_mm) - head.height_mm - row.height_mm
        elif row.height_mm <= room:
            groups[-1].append(row)
            room -= row.height_mm
        else:
            groups.append([row])
            room = page_mm - head.height_mm - row.height_mm
    return [stacked([head, *group], width_mm, 0.0, table.title) for group in groups]


def _row(
    cells: Sequence[str],
    table: Table,
    width_mm: float,
    below: str = "",
    *,
    is_head: bool = False,
) -> Drawing:
    lefts, widths = _places(table, width_mm)
    placed = [
        (left, _cell(cell, column, width, table.size_pt, bold=is_head or column.bold))
        for cell, column, left, width in zip(cells, table.columns, lefts, widths, strict=True)
    ]
    height = max(drawn.height_mm for _, drawn in placed) + 2 * _PAD_MM
    # Heads of several lines end where the rows begin.
    shapes: list[Shape] = [
        drawn.at(left, height - _PAD_MM - drawn.height_mm if is_head else _PAD_MM)
        for left, drawn in placed
    ]
    if below:
        said = paragraph([Run(below, ink=Ink.SOFT)], width_mm, table.size_pt)
        shapes.append(said.at(0.0, height - 0.4))
        height += said.height_mm + _PAD_MM - 0.4
    if not is_head:
        height = max(height, table.least_row_mm)
    ink = Ink.LINE if is_head else Ink.HAIRLINE
    shapes.append(Line((0.0, height), (width_mm, height), ink))
    return Drawing(width_mm, height, tuple(shapes), " ".join((*cells, below)).strip())


def _places(table: Table, width_mm: float) -> tuple[list[float], list[float]]:
    """Share the width out, so that no word of a head is broken while other columns can give."""
    columns = table.columns
    widths = shared_widths(
        [column.share for column in columns],
        [_longest_word(column.title, table.size_pt) for column in columns],
        width_mm - table.gap_mm * (len(columns) - 1),
    )
    lefts = [sum(widths[:place]) + place * table.gap_mm for place in range(len(columns))]
    return lefts, widths


def shared_widths(
    shares: Sequence[float], least_mm: Sequence[float], room_mm: float
) -> list[float]:
    """
    Share a width out so that each part gets what it needs, if there is enough for all.

    Parameters
    ----------
    shares : sequence of float
        The share of each part, above 0.
    least_mm : sequence of float
        What each part needs.
    room_mm : float
        The width.

    Returns
    -------
    list of float
        The width of each part; by the shares alone where the needs have no room.
    """
    fixed: set[int] = set()
    if sum(least_mm) > room_mm:
        return [room_mm * share / sum(shares) for share in shares]
    while True:
        free = [place for place in range(len(shares)) if place not in fixed]
        left = room_mm - sum(least_mm[place] for place in fixed)
        together = sum(shares[place] for place in free)
        widths = [
            least_mm[place] if place in fixed else left * share / together
            for place, share in enumerate(shares)
        ]
        narrow = {place for place in free if widths[place] < least_mm[place]}
        if not narrow:
            return widths
        fixed |= narrow


def _longest_word(text: str, size_pt: float) -> float:
    size = size_pt * POINT_MM
    # A hair more, so that rounding breaks no word that just fits.
    return max((text_width(word, size, bold=True) for word in text.split()), default=0.0) + 0.01


def _cell(text: str, column: Column, width_mm: float, size_pt: float, *, bold: bool) -> Drawing:
    drawn = paragraph([Run(text, bold=bold)], width_mm, size_pt)
    if not column.numeric:
        return drawn
    return _to_the_right(drawn)


def _to_the_right(drawn: Drawing) -> Drawing:
    """Move the lines of a paragraph of one weight to its right edge."""
    moved = tuple(
        replace(shape, x_mm=drawn.width_mm, anchor=Anchor.END)
        for shape in drawn.shapes
        if isinstance(shape, Text)
    )
    return Drawing(drawn.width_mm, drawn.height_mm, moved, drawn.title)
