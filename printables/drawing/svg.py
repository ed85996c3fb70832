"""Drawings as SVG for a page: classes for looks, a title and a description, no inline style."""

import re
from collections.abc import Sequence
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from printables.drawing.primitives import (
    Cells,
    Circle,
    Drawing,
    Group,
    Line,
    Path,
    Point,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Step,
    Text,
)

_PREFIX: Final = re.compile(r"[A-Za-z][A-Za-z0-9_-]*\Z")


def to_svg(
    drawing: Drawing,
    *,
    id_prefix: str,
    width_px: float | None = None,
    decorative: bool = False,
    compact: bool = False,
) -> str:
    """
    Write a drawing as an SVG element.

    Looks come from ``static/css/drawing.css``; letters take the font of the page.

    Parameters
    ----------
    drawing : Drawing
        What to draw.
    id_prefix : str
        Start of the element's ids, used once on the page: a letter, then letters, digits,
        hyphens or underscores.
    width_px : float or None, optional
        Width on the page in CSS pixels; the height follows. Without it the style sheet decides.
    decorative : bool, optional
        Whether the same is said in words beside it, so that a screen reader may pass over it.
    compact : bool, optional
        Whether outlines keep hundredths of a millimetre only, and count each point from the last.

    Returns
    -------
    str
        The element, safe to put into a page.

    Raises
    ------
    ValueError
        If the prefix cannot be part of an id.
    """
    if not _PREFIX.match(id_prefix):
        raise ValueError(f"id_prefix is {id_prefix!r}; it must be usable as an id")
    size = ""
    if width_px is not None:
        height_px = width_px * drawing.height_mm / drawing.width_mm
        size = f' width="{_number(width_px)}" height="{_number(height_px)}"'
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing"{size} '
        f'viewBox="0 0 {_number(drawing.width_mm)} {_number(drawing.height_mm)}"'
    )
    head = ' aria-hidden="true">' if decorative else _spoken_head(drawing, id_prefix)
    write = _compact_element if compact else _element
    return f"{opening}{head}{''.join(map(write, drawing.shapes))}</svg>"


def _spoken_head(drawing: Drawing, id_prefix: str) -> str:
    ids = f"{id_prefix}-title"
    words = f'<title id="{id_prefix}-title">{escape(drawing.title)}</title>'
    if drawing.description:
        ids += f" {id_prefix}-desc"
        words += f'<desc id="{id_prefix}-desc">{escape(drawing.description)}</desc>'
    return f' role="img" aria-labelledby="{ids}">{words}'


def _element(shape: Shape) -> str:  # noqa: PLR0911  # one case for each kind of shape
    match shape:
        case Line():
            ends = (
                f'x1="{_number(shape.start[0])}" y1="{_number(shape.start[1])}" '
                f'x2="{_number(shape.end[0])}" y2="{_number(shape.end[1])}"'
            )
            return f"<line {_class(shape)} {ends}/>"
        case Polyline():
            return f'<polyline {_class(shape)} points="{_points(shape.points)}"/>'
        case Polygon():
            return f'<polygon {_class(shape)} points="{_points(shape.points)}"/>'
        case Path():
            return f'<path {_class(shape)} d="{path_data(shape)}"/>'
        case Circle():
            place = f'cx="{_number(shape.centre[0])}" cy="{_number(shape.centre[1])}"'
            return f'<circle {_class(shape)} {place} r="{_number(shape.radius_mm)}"/>'
        case Rect():
            return _rect(shape)
        case Cells():
            return f'<path {_class(shape)} d="{_cells(shape)}"/>'
        case Text():
            return _text(shape)
        case Group():
            return f"<g{_key(shape)}{_moved(shape)}>{''.join(map(_element, shape.shapes))}</g>"


def _compact_element(shape: Shape) -> str:
    match shape:
        case Group():
            return (
                f"<g{_key(shape)}{_moved(shape)}>{''.join(map(_compact_element, shape.shapes))}</g>"
            )
        case Path():
            end = "z" if shape.closed else ""
            return f'<path {_class(shape)} d="{_relative(shape.start, shape.steps)}{end}"/>'
        case Polygon() | Polyline():
            end = "z" if isinstance(shape, Polygon) else ""
            steps: tuple[Step, ...] = tuple((point,) for point in shape.points[1:])
            return f'<path {_class(shape)} d="{_relative(shape.points[0], steps)}{end}"/>'
        case Circle():
            place = (
                f'cx="{_number(shape.centre[0], 2)}" cy="{_number(shape.centre[1], 2)}" '
                f'r="{_number(shape.radius_mm, 2)}"'
            )
            return f"<circle {_class(shape)} {place}/>"
    return _element(shape)


_HUNDREDTHS: Final = 100


def _relative(start: Point, steps: tuple[Step, ...]) -> str:
    """Write an outline in whole hundredths from point to point, so that no error adds up."""
    last = _hundredths(start)
    written = ["M", _joined(last)]
    command = ""
    for step in steps:
        points = [_hundredths(point) for point in step]
        letter = "l" if len(points) == 1 else "c"
        numbers = _joined(
            [part - old for point in points for part, old in zip(point, last, strict=True)]
        )
        repeats = letter == command and numbers.startswith("-")
        written.append(("" if repeats else " " if letter == command else letter) + numbers)
        command, last = letter, points[-1]
    return "".join(written)


def _hundredths(point: Point) -> tuple[int, int]:
    return (round(point[0] * _HUNDREDTHS), round(point[1] * _HUNDREDTHS))


def _joined(hundredths: Sequence[int]) -> str:
    """Write numbers with no more signs than are needed to part them."""
    written = ""
    for number in hundredths:
        text = f"{number / _HUNDREDTHS:.2f}".rstrip("0").rstrip(".")
        text = text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text
        written += text if not written or text.startswith("-") else f" {text}"
    return written


def _key(shape: Group) -> str:
    return f" data-key={quoteattr(shape.key)}" if shape.key else ""


def _moved(shape: Group) -> str:
    steps = []
    if (shape.x_mm, shape.y_mm) != (0.0, 0.0):
        steps.append(f"translate({_number(shape.x_mm)} {_number(shape.y_mm)})")
    if shape.scale != 1.0:
        steps.append(f"scale({_number(shape.scale, 6)})")
    return f' transform="{" ".join(steps)}"' if steps else ""


def _rect(shape: Rect) -> str:
    corner = f' rx="{_number(shape.corner_mm)}"' if shape.corner_mm else ""
    return (
        f'<rect {_class(shape)} x="{_number(shape.x_mm)}" y="{_number(shape.y_mm)}" '
        f'width="{_number(shape.width_mm)}" height="{_number(shape.height_mm)}"{corner}/>'
    )


def _cells(shape: Cells) -> str:
    size = shape.cell_mm
    return "".join(
        f"M{_at((shape.x_mm + first * size, shape.y_mm + row * size))}"
        f"h{_number(count * size)}v{_number(size)}h{_number(-count * size)}z"
        for row, first, count in shape.runs
    )


def _text(shape: Text) -> str:
    looks = f"inked-{shape.ink} letters-{shape.anchor}" + (" letters-bold" if shape.bold else "")
    place = f'x="{_number(shape.x_mm)}" y="{_number(shape.y_mm)}"'
    size = f'font-size="{_number(shape.size_mm)}"'
    return f'<text class="{looks}" {place} {size}>{escape(shape.text)}</text>'


def _class(shape: Line | Polyline | Polygon | Path | Circle | Rect | Cells) -> str:
    return f'class="inked-{shape.ink}"'


def _points(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def path_data(path: Path) -> str:
    """
    Write the outline of a path as SVG path data.

    Parameters
    ----------
    path : Path
        The path.

    Returns
    -------
    str
        Absolute commands ``M``, ``L``, ``C`` and ``Z``.
    """
    steps = " ".join(map(_step, path.steps))
    return f"M{_at(path.start)} {steps}{'Z' if path.closed else ''}"


def _step(step: Step) -> str:
    return ("L" if len(step) == 1 else "C") + " ".join(map(_at, step))


def _at(point: Point) -> str:
    return f"{_number(point[0])} {_number(point[1])}"


def _number(value: float, decimals: int = 3) -> str:
    # A thousandth of a millimetre is far below a pixel; the text stays short.
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
