"""What is on a drawing or a page, for tests of paper."""

import ctypes
from dataclasses import dataclass
from itertools import combinations

import pypdfium2
import pypdfium2.raw as pdfium
from reportlab.lib.units import mm

from printables.document import Document, Role, to_pdf
from printables.drawing.canvas import operators
from printables.drawing.lettering import CAPITAL_HEIGHT, DEPTH, text_width
from printables.drawing.primitives import Anchor, Drawing, Text, flattened

POINT_MM = 25.4 / 72


@dataclass(frozen=True)
class Line:
    """A printed line of text with its box in mm, from the drawing's upper left corner."""

    text: str
    size_pt: float
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Line", slack_mm: float = 0.25) -> bool:
        return (
            self.left < other.right - slack_mm
            and other.left < self.right - slack_mm
            and self.top < other.bottom - slack_mm
            and other.top < self.bottom - slack_mm
        )


def printed_lines(drawing: Drawing) -> list[Line]:
    """All lines of text of a drawing, with groups resolved."""
    return [
        _line(placed.shape)
        for placed in flattened(drawing)
        if isinstance(placed.shape, Text) and placed.shape.text.strip()
    ]


def _line(text: Text) -> Line:
    width = text_width(text.text, text.size_mm, bold=text.bold)
    left = text.x_mm - {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[text.anchor] * width
    # Letters such as g reach below the line only where there are any.
    deep = any(letter in "gjpqyç,;()|" for letter in text.text)
    return Line(
        text.text,
        text.size_mm / POINT_MM,
        left,
        text.y_mm - CAPITAL_HEIGHT * text.size_mm,
        left + width,
        text.y_mm + (DEPTH * text.size_mm if deep else 0.0),
    )


# Shorter texts are labels, which no formula of reading ease is made for.
_LEAST_WORDS = 8


def running_texts(document: Document) -> list[str]:
    """What is read out of a document piece by piece: sentences, not labels, figures or feet."""
    texts = [
        " ".join(line.text for line in printed_lines(piece.drawing)).replace("\u00a0", " ")
        for leaf in document.leaves
        for piece in leaf.pieces
        if piece.spoken_as in {Role.TITLE, Role.TEXT}
    ]
    return [text for text in texts if len(text.split()) >= _LEAST_WORDS]


def assert_nothing_clipped(drawing: Drawing, margin_mm: float = 0.0) -> None:
    """Every line of text lies inside the drawing, and none lies on another."""
    lines = printed_lines(drawing)
    for line in lines:
        inside = (
            line.left >= margin_mm - 0.01
            and line.right <= drawing.width_mm - margin_mm + 0.01
            and line.top >= margin_mm - 0.01
            and line.bottom <= drawing.height_mm - margin_mm + 0.01
        )
        assert inside, f"{line} sticks out of {drawing.width_mm} x {drawing.height_mm} mm"
    for one, other in combinations(lines, 2):
        assert not one.overlaps(other), f"{one} lies on {other}"


def draw_on(canvas, drawing: Drawing, x_mm: float, y_mm: float, scale: float = 1.0) -> None:
    """Draw straight onto the current page of a canvas, nothing stored to be drawn again."""
    canvas.saveState()
    canvas.translate(x_mm * mm, canvas._pagesize[1] - (y_mm + scale * drawing.height_mm) * mm)
    canvas.scale(scale, scale)
    canvas._code += operators(drawing, canvas._doc)
    canvas.restoreState()


def pdf_of(printed: Document | bytes) -> bytes:
    """The file of a printed thing."""
    return to_pdf(printed) if isinstance(printed, Document) else printed


def page_texts(printed: Document | bytes) -> list[str]:
    """The text of each page, as an independent reader finds it."""
    document = pypdfium2.PdfDocument(pdf_of(printed))
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def page_sizes_mm(printed: Document | bytes) -> set[tuple[float, float]]:
    """The sizes of the pages, to the hundredth of a millimetre."""
    return {
        (round(width * POINT_MM, 2), round(height * POINT_MM, 2))
        for width, height in (page.get_size() for page in pypdfium2.PdfDocument(pdf_of(printed)))
    }


def tags(printed: Document | bytes) -> list[list[tuple[str, str, int]]]:
    """What pdfium finds in the structure tree of each page: type, alternative, content."""
    file = pypdfium2.PdfDocument(pdf_of(printed))
    found = []
    for page in file:
        tree = pdfium.FPDF_StructTree_GetForPage(page)
        whole = pdfium.FPDF_StructTree_GetChildAtIndex(tree, 0)
        elements = (
            pdfium.FPDF_StructElement_GetChildAtIndex(whole, place)
            for place in range(pdfium.FPDF_StructElement_CountChildren(whole))
        )
        found.append(
            [
                (
                    _said(pdfium.FPDF_StructElement_GetType, element),
                    _said(pdfium.FPDF_StructElement_GetAltText, element),
                    pdfium.FPDF_StructElement_GetMarkedContentID(element),
                )
                for element in elements
                if element
            ]
        )
        pdfium.FPDF_StructTree_Close(tree)
    return found


def _said(ask, element):
    size = ask(element, None, 0)
    buffer = ctypes.create_string_buffer(size)
    ask(element, buffer, size)
    return buffer.raw.decode("utf-16-le").rstrip("\x00")
