"""A printed thing before it is written: pieces on leaves, alike for the PDF and for a preview."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from reportlab.lib.units import mm

from printables.drawing.primitives import Drawing
from printables.drawing.svg import to_svg
from printables.pdf_file import PdfFile
from printables.tagging import CLOSING, Tagging

# Told how many leaves are written, and how many there are.
Progress: TypeAlias = Callable[[int, int], None]


class Role(StrEnum):
    """What a piece is to those who have the page read out."""

    TITLE = "H1"
    TEXT = "P"
    FIGURE = "Figure"
    # Cut marks, rules and page numbers: nobody needs them read out.
    FURNITURE = "Artifact"


@dataclass(frozen=True, slots=True)
class Piece:
    """
    A drawing in its place on a leaf.

    Parameters
    ----------
    drawing : Drawing
        What is drawn.
    x_mm, y_mm : float
        Its upper left corner, across and down from the leaf's own.
    role : Role or None, optional
        What it is to a screen reader; by default a figure if it has a description, else text.
    """

    drawing: Drawing
    x_mm: float
    y_mm: float
    role: Role | None = None

    @property
    def spoken_as(self) -> Role:
        """What it is to a screen reader."""
        if self.role is not None:
            return self.role
        return Role.FIGURE if self.drawing.description else Role.TEXT


@dataclass(frozen=True, slots=True)
class Leaf:
    """
    One printed side of paper.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the paper.
    pieces : tuple of Piece
        What is on it, in the order in which it is read.
    turned : bool, optional
        Whether it is printed upside down: backs of a printer that turns sheets over their short
        edge.
    """

    size_mm: tuple[float, float]
    pieces: tuple[Piece, ...]
    turned: bool = False


@dataclass(frozen=True)
class Document:
    """
    Everything that goes into one file.

    Parameters
    ----------
    title : str
        Title of the document.
    author : str
        Who issues it, such as the farm.
    language : str
        Language of its words, such as ``"es"``.
    leaves : sequence of Leaf
        The printed sides in order; at least one.
    """

    title: str
    author: str
    language: str
    leaves: Sequence[Leaf]


def to_pdf(document: Document, progress: Progress | None = None) -> bytes:
    """
    Write a document as a tagged PDF.

    Parameters
    ----------
    document : Document
        The document.
    progress : callable or None, optional
        Told after each leaf how many of how many are written.

    Returns
    -------
    bytes
        The file; the same bytes for the same document. A drawing that is used more than once is
        stored once.
    """
    file = PdfFile(document.title, document.author, document.language)
    uses = Counter(id(piece.drawing) for leaf in document.leaves for piece in leaf.pieces)
    tagging = Tagging()
    for number, leaf in enumerate(document.leaves, start=1):
        width, height = (side * mm for side in leaf.size_mm)
        code = [f"-1 0 0 -1 {width:.3f} {height:.3f} cm"] if leaf.turned else []
        for piece in leaf.pieces:
            drawing, role = piece.drawing, piece.spoken_as
            across = piece.x_mm * mm
            up = height - (piece.y_mm + drawing.height_mm) * mm
            code += [
                tagging.opening(role.value, _alternative(drawing) if role is Role.FIGURE else ""),
                f"q 1 0 0 1 {across:.3f} {up:.3f} cm",
                file.drawn(drawing, again=uses[id(drawing)] > 1),
                "Q",
                CLOSING,
            ]
        tagging.end_page()
        file.add_page(leaf.size_mm, code)
        if progress is not None:
            progress(number, len(document.leaves))
    return file.written(tagging, document.language)


def leaf_svg(leaf: Leaf, title: str, *, id_prefix: str) -> str:
    """
    Draw a leaf as SVG, to be looked at before it is printed.

    Parameters
    ----------
    leaf : Leaf
        The leaf.
    title : str
        What it is, for those who cannot see it.
    id_prefix : str
        Start of the element's ids, used once on the page.

    Returns
    -------
    str
        The element, safe to put into a page; its looks come from ``static/css/drawing.css``.
    """
    width, height = leaf.size_mm
    shapes = tuple(piece.drawing.at(piece.x_mm, piece.y_mm) for piece in leaf.pieces)
    told = " ".join(
        dict.fromkeys(
            piece.drawing.title for piece in leaf.pieces if piece.spoken_as is not Role.FURNITURE
        )
    )
    return to_svg(Drawing(width, height, shapes, title, told), id_prefix=id_prefix)


def _alternative(drawing: Drawing) -> str:
    return f"{drawing.title}. {drawing.description}" if drawing.description else drawing.title
