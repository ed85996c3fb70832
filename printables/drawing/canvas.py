"""Drawings on paper: exact lengths on a reportlab canvas, each distinct drawing stored once."""

from io import BytesIO
from typing import Final
from weakref import WeakKeyDictionary

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from printables.drawing.inks import APPEARANCES, Appearance
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

_ROUND: Final = 1
_FLAT: Final = 0


class _Forms:
    """
    The names of the forms that a canvas already holds, by drawing.

    To compare a drawing takes a walk through all its shapes, so the same object is found by its
    address; it is kept, since addresses are given again.
    """

    def __init__(self) -> None:
        self.by_value: dict[Drawing, str] = {}
        self.by_object: dict[int, str] = {}
        self.kept: list[Drawing] = []


# Forgotten together with the canvas.
_FORMS: WeakKeyDictionary[Canvas, _Forms] = WeakKeyDictionary()


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


def draw_on(
    canvas: Canvas,
    drawing: Drawing,
    x_mm: float,
    y_mm: float,
    scale: float = 1.0,
    *,
    shared: bool = True,
) -> None:
    """
    Draw on the current page of a canvas.

    Parameters
    ----------
    canvas : Canvas
        A canvas whose axes have not been moved.
    drawing : Drawing
        What to draw.
    x_mm, y_mm : float
        Where its upper left corner comes to lie, across and down from the page's own.
    scale : float, optional
        Factor of all lengths, above 0.
    shared : bool, optional
        Whether it may be drawn again: it is then stored once in the file, however often it is
        drawn. What is drawn once takes less room in the page itself.
    """
    page_height = canvas._pagesize[1]  # noqa: SLF001  # reportlab has no public way to ask for it
    canvas.saveState()
    canvas.translate(x_mm * mm, page_height - (y_mm + scale * drawing.height_mm) * mm)
    if scale != 1.0:
        canvas.scale(scale, scale)
    if shared:
        canvas.doForm(_form(canvas, drawing))
    else:
        _fill(canvas, drawing)
    canvas.restoreState()


def _form(canvas: Canvas, drawing: Drawing) -> str:
    forms = _FORMS.setdefault(canvas, _Forms())
    name = forms.by_object.get(id(drawing))
    if name is None:
        name = forms.by_value.get(drawing)
        if name is None:
            name = forms.by_value[drawing] = f"drawing{len(forms.by_value) + 1}"
            canvas.beginForm(name, 0, 0, drawing.width_mm * mm, drawing.height_mm * mm)
            _fill(canvas, drawing)
            canvas.endForm()
        forms.by_object[id(drawing)] = name
        forms.kept.append(drawing)
    return name


def _fill(canvas: Canvas, drawing: Drawing) -> None:
    pen = _Pen(canvas, drawing.height_mm)
    for placed in flattened(drawing):
        pen.draw(placed)


class _Pen:
    """Draws shapes one after the other, changing the canvas's state only where it must."""

    def __init__(self, canvas: Canvas, height_mm: float) -> None:
        self._canvas = canvas
        self._height_mm = height_mm
        self._last: tuple[Appearance, float] | None = None

    def draw(self, placed: Placed) -> None:
        shape = placed.shape
        appearance = APPEARANCES[shape.ink]
        self._take_up(appearance, placed.scale)
        if isinstance(shape, Text):
            self._write(shape)
        else:
            self._outline(shape, appearance)

    def _take_up(self, appearance: Appearance, scale: float) -> None:
        if self._last == (appearance, scale):
            return
        self._last = (appearance, scale)
        if appearance.fill is not None:
            self._canvas.setFillColor(HexColor(COLOURS[appearance.fill]))
        if appearance.stroke is not None:
            self._canvas.setStrokeColor(HexColor(COLOURS[appearance.stroke]))
            self._canvas.setLineWidth(appearance.width_mm * scale * mm)
            self._canvas.setLineJoin(_ROUND)
            self._canvas.setLineCap(_FLAT if appearance.dash_mm else _ROUND)
            self._canvas.setDash([length * scale * mm for length in appearance.dash_mm])

    def _outline(self, shape: Solo, appearance: Appearance) -> None:
        path = self._canvas.beginPath()
        match shape:
            case Circle():
                path.circle(*self._at(shape.centre), shape.radius_mm * mm)
            case Rect():
                corner = self._at((shape.x_mm, shape.y_mm + shape.height_mm))
                size = (shape.width_mm * mm, shape.height_mm * mm)
                if shape.corner_mm:
                    path.roundRect(*corner, *size, shape.corner_mm * mm)
                else:
                    path.rect(*corner, *size)
            case Cells():
                for row, first, count in shape.runs:
                    corner = self._at(
                        (
                            shape.x_mm + first * shape.cell_mm,
                            shape.y_mm + (row + 1) * shape.cell_mm,
                        )
                    )
                    path.rect(*corner, count * shape.cell_mm * mm, shape.cell_mm * mm)
            case Line() | Polyline() | Polygon() | Path():
                self._follow(path, as_path(shape))
        self._canvas.drawPath(
            path,
            stroke=int(appearance.stroke is not None),
            fill=int(appearance.fill is not None),
        )

    def _follow(self, target: PDFPathObject, path: Path) -> None:
        target.moveTo(*self._at(path.start))
        for step in path.steps:
            if len(step) == 1:
                target.lineTo(*self._at(step[0]))
            else:
                target.curveTo(*self._at(step[0]), *self._at(step[1]), *self._at(step[2]))
        if path.closed:
            target.close()

    def _write(self, text: Text) -> None:
        self._canvas.setFont(font_name(bold=text.bold), text.size_mm * mm)
        write = {
            Anchor.START: self._canvas.drawString,
            Anchor.MIDDLE: self._canvas.drawCentredString,
            Anchor.END: self._canvas.drawRightString,
        }[text.anchor]
        write(*self._at((text.x_mm, text.y_mm)), text.text)

    def _at(self, point: Point) -> tuple[float, float]:
        return (point[0] * mm, (self._height_mm - point[1]) * mm)
