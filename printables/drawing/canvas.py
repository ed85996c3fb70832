"""Drawings on paper: exact lengths on a reportlab canvas, each distinct drawing stored once."""

from collections.abc import Callable
from functools import lru_cache
from io import BytesIO
from typing import Final, Generic, TypeVar

from reportlab import rl_config
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfdoc import PDFDocument
from reportlab.pdfgen.canvas import Canvas

from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.lettering import font_name
from printables.drawing.palette import COLOURS
from printables.drawing.primitives import (
    Anchor,
    Cells,
    Circle,
    Drawing,
    Line,
    Path,
    Placed,
    Point,
    Polygon,
    Polyline,
    Rect,
    Solo,
    Text,
    as_path,
    flattened,
)

Held = TypeVar("Held")

_ROUND: Final = 1
_FLAT: Final = 0
# Controls of a cubic curve that follows a quarter of a circle, as part of its radius.
_QUARTER: Final = 0.5522847
# Bytes that end or change a string; reportlab gives letters codes from 1 to 255.
_ESCAPES: Final = {
    code: f"\\{code:03o}" for code in (*range(32), *range(127, 256), *map(ord, "()\\"))
}


class Forms(Generic[Held]):
    """
    What a file holds for drawings that are stored once.

    To compare a drawing takes a walk through all its shapes, so the same object is found by its
    address; it is kept, since addresses are given again.
    """

    def __init__(self) -> None:
        self._by_value: dict[Drawing, Held] = {}
        self._by_object: dict[int, Held] = {}
        self._kept: list[Drawing] = []

    def __len__(self) -> int:
        return len(self._by_value)

    def get(self, drawing: Drawing, make: Callable[[Drawing], Held]) -> Held:
        """
        Find what is held for a drawing.

        Parameters
        ----------
        drawing : Drawing
            The drawing.
        make : callable
            Makes what is to be held, when the drawing comes for the first time.

        Returns
        -------
        object
            What was made.
        """
        held = self._by_object.get(id(drawing))
        if held is None:
            held = self._by_value.get(drawing)
            if held is None:
                held = self._by_value[drawing] = make(drawing)
            self._by_object[id(drawing)] = held
            self._kept.append(drawing)
        return held


def new_canvas(
    target: BytesIO,
    page_mm: tuple[float, float],
    *,
    title: str,
    author: str,
    language: str,
) -> Canvas:
    """
    Begin a PDF whose lengths are to be trusted and whose bytes repeat.

    Parameters
    ----------
    target : io.BytesIO
        Where the file is written on ``save``.
    page_mm : tuple of float
        Width and height of the page.
    title : str
        Title of the document.
    author : str
        Who issues it, such as the farm.
    language : str
        Language of the words in it, such as ``"es"``.

    Returns
    -------
    Canvas
        A canvas without a date of its own, asking viewers to print it at 100 %.
    """
    # Binary streams: the text encoding costs a fifth of the size and half the time.
    rl_config.useA85 = 0
    canvas = Canvas(
        target,
        pagesize=(page_mm[0] * mm, page_mm[1] * mm),
        pageCompression=1,
        invariant=1,
        lang=language,
        initialFontName=font_name(bold=False),
    )
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setSubject("")
    canvas.setCreator("")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def operators(drawing: Drawing, document: PDFDocument) -> list[str]:
    """
    Write a drawing in the language of PDF pages.

    Parameters
    ----------
    drawing : Drawing
        What to draw.
    document : PDFDocument
        The file whose fonts are used.

    Returns
    -------
    list of str
        Operators, in points from the drawing's lower left corner, y growing upwards; bytes of
        strings stand escaped.
    """
    pen = _Pen(document, drawing.height_mm)
    for placed in flattened(drawing):
        pen.draw(placed)
    return pen.written


class _Pen:
    """Writes shapes one after the other, changing the state only where it must."""

    def __init__(self, document: PDFDocument, height_mm: float) -> None:
        self.written: list[str] = []
        self._document = document
        self._height_mm = height_mm
        self._last: tuple[Ink, float] | None = None

    def draw(self, placed: Placed) -> None:
        shape = placed.shape
        if self._last != (shape.ink, placed.scale):
            self._last = (shape.ink, placed.scale)
            self.written.append(_state(shape.ink, placed.scale))
        if isinstance(shape, Text):
            self.written.append(self._letters(shape))
        else:
            outline = self._outline(shape)
            if APPEARANCES[shape.ink].outside:
                self.written.append(f"{outline} S {outline} f*")
            else:
                self.written.append(f"{outline} {_PAINT[shape.ink]}")
            if isinstance(shape, Cells):
                self.written.append("Q")

    def _outline(self, shape: Solo) -> str:
        match shape:
            case Rect() if not shape.corner_mm:
                corner = self._at((shape.x_mm, shape.y_mm + shape.height_mm))
                return f"{corner} {_number(shape.width_mm * mm)} {_number(shape.height_mm * mm)} re"
            case Rect():
                return self._follow(_rounded(shape))
            case Circle():
                return self._follow(_round(shape))
            case Cells():
                # Whole numbers of cells are short, and exact.
                cell = f"{shape.cell_mm * mm:.6f}"
                runs = " ".join([f"{first} {row} {count} 1 re" for row, first, count in shape.runs])
                return f"q {cell} 0 0 -{cell} {self._at((shape.x_mm, shape.y_mm))} cm {runs}"
            case Line() | Polyline() | Polygon() | Path():
                return self._follow(as_path(shape))
        raise TypeError(f"shape is a {type(shape).__name__}; it has no outline")

    def _follow(self, path: Path) -> str:
        at = self._at
        steps = [f"{at(path.start)} m"]
        steps += [
            f"{at(step[0])} l" if len(step) == 1 else f"{at(step[0])} {at(step[1])} {at(step[2])} c"
            for step in path.steps
        ]
        if path.closed:
            steps.append("h")
        return " ".join(steps)

    def _letters(self, text: Text) -> str:
        # Lines that are read out one after the other run together without a space between them
        # (ISO 32000-1, 14.8.2.5: a tagged file holds the spaces that plain text would have).
        name = font_name(bold=text.bold)
        size = text.size_mm * mm
        left = text.x_mm * mm
        if text.anchor is not Anchor.START:
            part = 0.5 if text.anchor is Anchor.MIDDLE else 1.0
            left -= part * pdfmetrics.stringWidth(text.text, name, size)
        font = pdfmetrics.getFont(name)
        strings = [
            f"{font.getSubsetInternalName(subset, self._document)} {_number(size)} Tf "
            f"({letters.decode('latin-1').translate(_ESCAPES)}) Tj"
            for subset, letters in font.splitString(f"{text.text} ", self._document)
        ]
        place = f"{_number(left)} {_number((self._height_mm - text.y_mm) * mm)} Td"
        return f"BT {place} {' '.join(strings)} ET"

    def _at(self, point: Point) -> str:
        return f"{_number(point[0] * mm)} {_number((self._height_mm - point[1]) * mm)}"


def _number(value: float) -> str:
    # A thousandth of a point is a third of a micrometre.
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@lru_cache(maxsize=1024)
def _state(ink: Ink, scale: float) -> str:
    """Write what an ink needs: colours, and how lines are drawn."""
    appearance = APPEARANCES[ink]
    parts = []
    if appearance.fill is not None:
        parts.append(f"{_colour(appearance.fill)} rg")
    if appearance.stroke is not None:
        dashes = " ".join(_number(length * scale * mm) for length in appearance.dash_mm)
        cap = _FLAT if appearance.dash_mm else _ROUND
        width = _number(appearance.width_mm * scale * mm)
        parts.append(f"{_colour(appearance.stroke)} RG {width} w {_ROUND} j {cap} J [{dashes}] 0 d")
    return " ".join(parts)


def _colour(name: str) -> str:
    return " ".join(_number(int(COLOURS[name][place : place + 2], 16) / 255) for place in (1, 3, 5))


# Which operator paints an outline; shapes that cross themselves are filled by the even-odd rule.
_PAINT: Final = {
    ink: {(True, True): "B*", (True, False): "f*", (False, True): "S", (False, False): "n"}[
        appearance.fill is not None, appearance.stroke is not None
    ]
    for ink, appearance in APPEARANCES.items()
}


def _round(shape: Circle) -> Path:
    x, y = shape.centre
    r = shape.radius_mm
    return _rounded(Rect(x - r, y - r, 2 * r, 2 * r, shape.ink, corner_mm=r))


def _rounded(shape: Rect) -> Path:
    left, top = shape.x_mm, shape.y_mm
    right, bottom = left + shape.width_mm, top + shape.height_mm
    r = min(shape.corner_mm, shape.width_mm / 2, shape.height_mm / 2)
    k = r * (1 - _QUARTER)
    return Path(
        (left + r, top),
        (
            ((right - r, top),),
            ((right - k, top), (right, top + k), (right, top + r)),
            ((right, bottom - r),),
            ((right, bottom - k), (right - k, bottom), (right - r, bottom)),
            ((left + r, bottom),),
            ((left + k, bottom), (left, bottom - k), (left, bottom - r)),
            ((left, top + r),),
            ((left, top + k), (left + k, top), (left + r, top)),
        ),
        shape.ink,
    )
