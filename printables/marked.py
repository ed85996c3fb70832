"""
Pages that are printed, marked by hand, and read back from a photo: their code and their boxes.

What is printed and what is read share this description, so that a box is looked for exactly where
it was drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from typing import Final

from audits.vocabulary import SheetKind
from printables.drawing.primitives import Text
from printables.sheet import PAGE_SIZES_MM, Page

# Letters of a sheet's code in the QR: those of its alphanumeric mode (ISO/IEC 18004, table 5).
_BETWEEN: Final = "/"
# One letter for each paper that a sheet is read back from.
PAPER_LETTERS: Final = {Page.LETTER: "L", Page.A4: "A"}
_KINDS: Final = {SheetKind.TALLY: "PT", SheetKind.ANSWERS: "PA"}
_CHECK_LETTERS: Final = 6


class BoxKind(StrEnum):
    """What is put into a box."""

    # A mark: a tick, a cross, a filled box.
    MARK = "mark"
    # Letters or figures, which a person reads.
    WRITTEN = "written"


@dataclass(frozen=True, slots=True)
class Box:
    """
    A box that a person marks or writes into.

    Parameters
    ----------
    key : str
        Name of the box on its sheet, such as ``"t12.top.right"``.
    group : str
        Boxes of one group answer one question; usually one of them is marked.
    x_mm, y_mm, width_mm, height_mm : float
        The middle line of its frame, from the page's upper left corner.
    kind : BoxKind, optional
        What is put into it.
    printed : tuple of Text, optional
        What is printed inside its frame, in page coordinates, so that it is not taken for a mark.
    """

    key: str
    group: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    kind: BoxKind = BoxKind.MARK
    printed: tuple[Text, ...] = ()


@dataclass(frozen=True)
class SheetCode:
    """
    What the code on a page says: which sheet it is, and which of its pages.

    Parameters
    ----------
    kind : SheetKind
        What it is.
    fields : tuple of str
        What finds the sheet again, in capital letters and digits, such as the audit's number.
    page_number : int
        The page, from 1.
    layout : str
        Check letters of where the boxes lie and what they stand for, see `layout_check`.
    """

    kind: SheetKind
    fields: tuple[str, ...]
    page_number: int
    layout: str

    @property
    def text(self) -> str:
        """What the QR code holds; its last part are check letters over the rest."""
        parts = (_KINDS[self.kind], *self.fields, str(self.page_number), self.layout)
        told = _BETWEEN.join(parts)
        return f"{told}{_BETWEEN}{_check(told)}"


def parse_code(text: str) -> SheetCode | None:
    """
    Read a code's text.

    Parameters
    ----------
    text : str
        What a QR code holds.

    Returns
    -------
    SheetCode or None
        The code; None if it is none of ours or its check letters do not agree.
    """
    told, _, check = text.rpartition(_BETWEEN)
    kinds = {letters: kind for kind, letters in _KINDS.items()}
    parts = told.split(_BETWEEN)
    if check != _check(told) or len(parts) < len(("kind", "page", "layout")):
        return None
    kind, *fields, number, layout = parts
    if kind not in kinds or not number.isdecimal():
        return None
    return SheetCode(kinds[kind], tuple(fields), int(number), layout)


def layout_check(page: Page, boxes: Sequence[Box], meaning: str = "") -> str:
    """
    Return check letters of where the boxes of a page lie and what they stand for.

    Parameters
    ----------
    page : Page
        The paper.
    boxes : sequence of Box
        Its boxes in order.
    meaning : str, optional
        What the boxes stand for, where their keys do not tell.

    Returns
    -------
    str
        Letters and digits that differ if any box was printed elsewhere or stood for something
        else.
    """
    places = (
        f"{box.key} {box.x_mm:.2f} {box.y_mm:.2f} {box.width_mm:.2f} {box.height_mm:.2f}"
        for box in boxes
    )
    told = f"{page} {'; '.join(places)}"
    return _check(f"{told} {meaning}" if meaning else told)


def _check(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:_CHECK_LETTERS].upper()


@dataclass(frozen=True)
class MarkedPage:
    """
    A page as it can be read back.

    Parameters
    ----------
    page : Page
        The paper.
    code : SheetCode
        What the code on it says.
    boxes : tuple of Box
        Its boxes in order.
    landscape : bool, optional
        Whether the paper lies on its long side.
    meaning : str, optional
        What the boxes stand for, where their keys do not tell.
    """

    page: Page
    code: SheetCode
    boxes: tuple[Box, ...]
    landscape: bool = False
    meaning: str = ""

    @property
    def layout(self) -> str:
        """Check letters of the page, which its code must agree with."""
        return layout_check(self.page, self.boxes, self.meaning)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the page, as it is read."""
        width, height = PAGE_SIZES_MM[self.page]
        return (height, width) if self.landscape else (width, height)
