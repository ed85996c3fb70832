"""Shapes in millimetres, y growing downwards, drawn alike on screen and on paper."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeAlias

from printables.drawing.inks import Ink

# Across and down from the drawing's upper left corner, in millimetres.
Point: TypeAlias = tuple[float, float]
# One step of a path: a straight line to a point, or a cubic Bezier curve over two controls to it.
Step: TypeAlias = tuple[Point] | tuple[Point, Point, Point]


class Anchor(StrEnum):
    """Which part of a text stands at its point."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True)
class Line:
    """
    A straight line.

    Parameters
    ----------
    start, end : tuple of float
        The two ends.
    ink : Ink, optional
        How it is inked.
    """

    start: Point
    end: Point
    ink: Ink = Ink.LINE


@dataclass(frozen=True, slots=True)
class Polyline:
    """
    An open line through points.

    Parameters
    ----------
    points : tuple of tuple of float
        At least two points, in order.
    ink : Ink, optional
        How it is inked.
    """

    points: tuple[Point, ...]
    ink: Ink = Ink.LINE


@dataclass(frozen=True, slots=True)
class Polygon:
    """
    A closed shape with straight edges.

    Parameters
    ----------
    points : tuple of tuple of float
        At least three corners, in order.
    ink : Ink, optional
        How it is inked.
    """

    points: tuple[Point, ...]
    ink: Ink = Ink.SOLID


@dataclass(frozen=True, slots=True)
class Path:
    """
    An outline of straight lines and curves.

    Parameters
    ----------
    start : tuple of float
        Where it begins.
    steps : tuple of Step
        Each a point reached in a straight line, or two controls and the end of a cubic curve.
    ink : Ink, optional
        How it is inked.
    closed : bool, optional
        Whether it runs back to its start.
    """

    start: Point
    steps: tuple[Step, ...]
    ink: Ink = Ink.SOLID
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Circle:
    """
    A circle.

    Parameters
    ----------
    centre : tuple of float
        Its centre.
    radius_mm : float
        Its radius.
    ink : Ink, optional
        How it is inked.
    """

    centre: Point
    radius_mm: float
    ink: Ink = Ink.SOLID


@dataclass(frozen=True, slots=True)
class Rect:
    """
    An upright rectangle, its corners rounded if wanted.

    Parameters
    ----------
    x_mm, y_mm : float
        Upper left corner.
    width_mm, height_mm : float
        Size.
    ink : Ink, optional
        How it is inked.
    corner_mm : float, optional
        Radius of the corners.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    ink: Ink = Ink.SOLID
    corner_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Cells:
    """
    Dark cells of a square grid, such as those of a QR code.

    Parameters
    ----------
    x_mm, y_mm : float
        Upper left corner of the grid.
    cell_mm : float
        Size of a cell.
    runs : tuple of tuple of int
        Row, first column and length of each run of dark cells.
    ink : Ink, optional
        How they are inked.
    """

    x_mm: float
    y_mm: float
    cell_mm: float
    runs: tuple[tuple[int, int, int], ...]
    ink: Ink = Ink.SOLID


@dataclass(frozen=True, slots=True)
class Text:
    """
    One line of text on its baseline.

    Parameters
    ----------
    x_mm, y_mm : float
        Where the anchor stands on the baseline.
    text : str
        The text, already in the reader's language.
    size_mm : float
        Size of the letters (body height; capitals are about 0.73 of it).
    ink : Ink, optional
        A filled ink.
    anchor : Anchor, optional
        Which part of the text stands at the point.
    bold : bool, optional
        Whether the letters are heavy.
    """

    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    ink: Ink = Ink.SOLID
    anchor: Anchor = Anchor.START
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """
    Shapes moved and scaled together, their line widths and letters too.

    Parameters
    ----------
    shapes : tuple of Shape
        The shapes, from back to front.
    x_mm, y_mm : float, optional
        Where the group's own origin comes to lie.
    scale : float, optional
        Factor of all lengths, above 0.
    key : str, optional
        By which a page finds the group in an SVG, as its ``data-key``; paper knows none.
    """

    shapes: tuple["Shape", ...]
    x_mm: float = 0.0
    y_mm: float = 0.0
    scale: float = 1.0
    key: str = ""


Solo: TypeAlias = Line | Polyline | Polygon | Path | Circle | Rect | Cells | Text
Shape: TypeAlias = Solo | Group


@dataclass(frozen=True, slots=True)
class Drawing:
    """
    A finished picture with its words for those who cannot see it.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the picture at scale 1.
    shapes : tuple of Shape
        What is drawn, from back to front.
    title : str
        What the picture is, in a few words.
    description : str, optional
        What can be learnt from the picture.
    """

    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]
    title: str
    description: str = ""

    def at(self, x_mm: float, y_mm: float, scale: float = 1.0) -> Group:
        """
        Place the picture inside another one.

        Parameters
        ----------
        x_mm, y_mm : float
            Where its upper left corner comes to lie.
        scale : float, optional
            Factor of all lengths, above 0.

        Returns
        -------
        Group
            The shapes, moved and scaled.
        """
        return Group(self.shapes, x_mm, y_mm, scale)


@dataclass(frozen=True, slots=True)
class Placed:
    """
    A shape freed of its groups.

    Parameters
    ----------
    shape : Solo
        The shape in the drawing's own coordinates, its lengths and letters scaled.
    scale : float
        Factor by which its ink's line width and dashes grow.
    """

    shape: Solo
    scale: float


def group(
    shapes: Iterable[Shape], x_mm: float = 0.0, y_mm: float = 0.0, scale: float = 1.0
) -> Group:
    """
    Gather shapes to be moved and scaled together.

    Parameters
    ----------
    shapes : iterable of Shape
        The shapes, from back to front.
    x_mm, y_mm : float, optional
        Where their origin comes to lie.
    scale : float, optional
        Factor of all lengths, above 0.

    Returns
    -------
    Group
        The group.
    """
    return Group(tuple(shapes), x_mm, y_mm, scale)


def flattened(drawing: Drawing) -> Iterator[Placed]:
    """
    Walk through a drawing's shapes with all groups resolved.

    Parameters
    ----------
    drawing : Drawing
        The drawing.

    Yields
    ------
    Placed
        Each shape in the drawing's own coordinates, from back to front.
    """
    yield from _flattened(drawing.shapes, 0.0, 0.0, 1.0)


def _flattened(
    shapes: tuple[Shape, ...], x_mm: float, y_mm: float, scale: float
) -> Iterator[Placed]:
    for shape in shapes:
        if isinstance(shape, Group):
            yield from _flattened(
                shape.shapes,
                x_mm + scale * shape.x_mm,
                y_mm + scale * shape.y_mm,
                scale * shape.scale,
            )
        else:
            yield Placed(moved(shape, x_mm, y_mm, scale), scale)


def moved(  # noqa: PLR0911  # one return for each kind of shape
    shape: Solo, x_mm: float, y_mm: float, scale: float = 1.0
) -> Solo:
    """
    Move and scale one shape.

    Parameters
    ----------
    shape : Solo
        Any shape but a group.
    x_mm, y_mm : float
        Where the origin comes to lie.
    scale : float, optional
        Factor of all lengths, letters included.

    Returns
    -------
    Solo
        The shape in its new place.
    """

    def there(point: Point) -> Point:
        return (x_mm + scale * point[0], y_mm + scale * point[1])

    match shape:
        case Line():
            return Line(there(shape.start), there(shape.end), shape.ink)
        case Polyline():
            return Polyline(tuple(map(there, shape.points)), shape.ink)
        case Polygon():
            return Polygon(tuple(map(there, shape.points)), shape.ink)
        case Path():
            steps = tuple(_step_there(step, there) for step in shape.steps)
            return Path(there(shape.start), steps, shape.ink, shape.closed)
        case Circle():
            return Circle(there(shape.centre), scale * shape.radius_mm, shape.ink)
        case Rect():
            left, top = there((shape.x_mm, shape.y_mm))
            return Rect(
                left,
                top,
                scale * shape.width_mm,
                scale * shape.height_mm,
                shape.ink,
                scale * shape.corner_mm,
            )
        case Cells():
            left, top = there((shape.x_mm, shape.y_mm))
            return Cells(left, top, scale * shape.cell_mm, shape.runs, shape.ink)
        case Text():
            left, base = there((shape.x_mm, shape.y_mm))
            return replace(shape, x_mm=left, y_mm=base, size_mm=scale * shape.size_mm)


def as_path(shape: Line | Polyline | Polygon | Path) -> Path:
    """
    Write any shape made of lines as a path.

    Parameters
    ----------
    shape : Line, Polyline, Polygon or Path
        The shape.

    Returns
    -------
    Path
        The same outline.
    """
    match shape:
        case Line():
            return Path(shape.start, ((shape.end,),), shape.ink, closed=False)
        case Polyline() | Polygon():
            steps = tuple((point,) for point in shape.points[1:])
            return Path(shape.points[0], steps, shape.ink, closed=isinstance(shape, Polygon))
        case Path():
            return shape


def _step_there(step: Step, there: Callable[[Point], Point]) -> Step:
    if len(step) == 1:
        return (there(step[0]),)
    return (there(step[0]), there(step[1]), there(step[2]))
