"""Looks into drawings: where every shape lies, and by which ink it is drawn."""

from printables.drawing.lettering import text_width
from printables.drawing.primitives import (
    Anchor,
    Circle,
    Line,
    Path,
    Polygon,
    Polyline,
    Rect,
    Text,
    as_path,
    flattened,
)


def placed(drawing):
    return [one.shape for one in flattened(drawing)]


def box(shape):
    """Return the left, top, right and bottom of a shape without its line width."""
    match shape:
        case Circle():
            (x, y), r = shape.centre, shape.radius_mm
            return x - r, y - r, x + r, y + r
        case Rect():
            return (
                shape.x_mm,
                shape.y_mm,
                shape.x_mm + shape.width_mm,
                shape.y_mm + shape.height_mm,
            )
        case Text():
            width = text_width(shape.text, shape.size_mm, bold=shape.bold)
            back = {Anchor.START: 0, Anchor.MIDDLE: 0.5, Anchor.END: 1}[shape.anchor] * width
            left = shape.x_mm - back
            return (
                left,
                shape.y_mm - 0.75 * shape.size_mm,
                left + width,
                shape.y_mm + 0.24 * shape.size_mm,
            )
        case Line() | Polyline() | Polygon() | Path():
            points = _points_on(as_path(shape))
            xs, ys = [x for x, _ in points], [y for _, y in points]
            return min(xs), min(ys), max(xs), max(ys)


def _points_on(path):
    here, points = path.start, [path.start]
    for step in path.steps:
        if len(step) == 3:
            for tenth in range(1, 10):
                t = tenth / 10
                weights = ((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3)
                points.append(
                    tuple(
                        sum(w * p[axis] for w, p in zip(weights, (here, *step), strict=True))
                        for axis in (0, 1)
                    )
                )
        here = step[-1]
        points.append(here)
    return points


def assert_inside(drawing, slack_mm=0.15):
    for shape in placed(drawing):
        left, top, right, bottom = box(shape)
        assert left >= -slack_mm, shape
        assert top >= -slack_mm, shape
        assert right <= drawing.width_mm + slack_mm, shape
        assert bottom <= drawing.height_mm + slack_mm, shape


def inked(drawing, ink):
    return [shape for shape in placed(drawing) if shape.ink is ink]
