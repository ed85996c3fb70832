"""Pieces of a document set one below the other on as many pages as they need, none cut in two."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from printables.document import Document, Leaf, Piece, Role
from printables.drawing.primitives import Drawing
from printables.sheet import PAGE_SIZES_MM, Page

MARGIN_MM: Final = 16.0
FOOTER_MM: Final = 8.0


@dataclass(frozen=True, slots=True)
class Block:
    """
    Pieces that stay together on one page, each with its own role.

    Parameters
    ----------
    pieces : tuple of Piece
        The pieces in the order in which they are read, placed from the block's upper left corner.
    height_mm : float
        Room that they take.
    """

    pieces: tuple[Piece, ...]
    height_mm: float


Part: TypeAlias = Drawing | Block


def content_width(page: Page) -> float:
    """
    Return the width between the margins.

    Parameters
    ----------
    page : Page
        The paper.

    Returns
    -------
    float
        Width in mm.
    """
    return PAGE_SIZES_MM[page][0] - 2 * MARGIN_MM


def content_height(page: Page) -> float:
    """
    Return the height between the upper margin and the footer.

    Parameters
    ----------
    page : Page
        The paper.

    Returns
    -------
    float
        Height in mm.
    """
    return PAGE_SIZES_MM[page][1] - 2 * MARGIN_MM - FOOTER_MM


def paged(
    parts: Sequence[Sequence[Part]],
    footer: Callable[[int, int], Drawing],
    *,
    page: Page,
    title: str,
    author: str,
    language: str,
    gap_mm: float = 5.0,
) -> Document:
    """
    Lay parts of a document out, each beginning on a new page.

    Parameters
    ----------
    parts : sequence of sequence of Drawing or Block
        The pieces of each part, from top to bottom, each as wide as the content.
    footer : callable
        Given a page's number and the number of pages, what stands at its foot.
    page : Page
        The paper.
    title, author, language : str
        For the file's properties.
    gap_mm : float, optional
        Least room between two pieces; what is left of a page is shared among them, up to as much
        again.

    Returns
    -------
    Document
        Its pages.

    Raises
    ------
    ValueError
        If a piece is higher than a page.
    """
    pages = [group for part in parts for group in _broken(part, content_height(page), gap_mm)]
    leaves = []
    for number, group in enumerate(pages, start=1):
        top = MARGIN_MM
        gap = _gap(group, content_height(page), gap_mm)
        pieces = []
        for piece in group:
            pieces += _placed(piece, top)
            top += piece.height_mm + gap
        foot = footer(number, len(pages))
        # A foot of many lines hangs down into the margin rather than into the page.
        foot_top = PAGE_SIZES_MM[page][1] - MARGIN_MM - min(foot.height_mm, FOOTER_MM)
        pieces.append(Piece(foot, MARGIN_MM, foot_top, Role.FURNITURE))
        leaves.append(Leaf(PAGE_SIZES_MM[page], tuple(pieces)))
    return Document(title, author, language, leaves)


def room_left(parts: Sequence[Part], page: Page, gap_mm: float) -> float:
    """
    Return how much room one more piece finds on the page that the last of some parts is on.

    Parameters
    ----------
    parts : sequence of Drawing or Block
        The pieces so far, from the beginning of a page on.
    page : Page
        The paper.
    gap_mm : float
        Room between two pieces.

    Returns
    -------
    float
        Height in mm, below 0 where not even the gap fits; all of a page without pieces.
    """
    room = content_height(page)
    if not parts:
        return room
    last = _broken(parts, room, gap_mm)[-1]
    return room - sum(part.height_mm + gap_mm for part in last)


def titled(parts: Sequence[Drawing]) -> list[Part]:
    """
    Tag the first of some pieces as the document's heading.

    Parameters
    ----------
    parts : sequence of Drawing
        The pieces, the title and what stands below it first; at least one.

    Returns
    -------
    list of Drawing or Block
        The same pieces.
    """
    head = parts[0]
    return [Block((Piece(head, 0.0, 0.0, Role.TITLE),), head.height_mm), *parts[1:]]


def under(heading: Drawing, part: Drawing, gap_mm: float) -> Block:
    """
    Keep a heading together with what stands below it.

    Parameters
    ----------
    heading : Drawing
        The heading.
    part : Drawing
        What stands below it.
    gap_mm : float
        Room between the two.

    Returns
    -------
    Block
        Both.
    """
    top = heading.height_mm + gap_mm
    return Block((Piece(heading, 0.0, 0.0), Piece(part, 0.0, top)), top + part.height_mm)


def _placed(part: Part, top_mm: float) -> list[Piece]:
    if isinstance(part, Drawing):
        return [Piece(part, MARGIN_MM, top_mm)]
    return [
        replace(piece, x_mm=MARGIN_MM + piece.x_mm, y_mm=top_mm + piece.y_mm)
        for piece in part.pieces
    ]


def _broken(pieces: Sequence[Part], room_mm: float, gap_mm: float) -> list[list[Part]]:
    """
    Share pieces out over pages.

    Parameters
    ----------
    pieces : sequence of Drawing or Block
        The pieces.
    room_mm : float
        Height of a page.
    gap_mm : float
        Room between two pieces.

    Returns
    -------
    list of list of Drawing or Block
        The pieces of each page.

    Raises
    ------
    ValueError
        If a piece is higher than a page.
    """
    pages: list[list[Part]] = []
    used = 0.0
    for piece in pieces:
        if piece.height_mm > room_mm:
            raise ValueError(f"a piece is {piece.height_mm} mm high; a page has {room_mm} mm")
        if pages and used + gap_mm + piece.height_mm <= room_mm:
            pages[-1].append(piece)
            used += gap_mm + piece.height_mm
        else:
            pages.append([piece])
            used = piece.height_mm
    return pages


def _gap(group: Sequence[Part], room_mm: float, gap_mm: float) -> float:
    spare = room_mm - sum(piece.height_mm for piece in group)
    return min(2 * gap_mm, spare / max(len(group) - 1, 1))
