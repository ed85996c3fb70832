"""Outlines in few digits are the same outlines: SVG 2, 9.3 (relative commands of path data)."""

import re
from xml.etree import ElementTree as ET

import pytest

from printables.drawing import svg
from printables.drawing.inks import Ink
from printables.drawing.primitives import (
    Circle,
    Drawing,
    Group,
    Path,
    Polygon,
    Polyline,
    Rect,
)
from printables.drawing.svg import to_svg

SHAPES = (
    Path(
        (1.234, 2.345),
        (
            ((0.5, -3.25),),
            ((10.004, 0.006), (-0.004, 20.0), (30.333, 40.666)),
            ((30.0, 41.0), (29.5, 40.0), (1.0, 1.0)),
        ),
    ),
    Polygon(((0.0, 0.0), (0.005, 100.0), (-12.5, 0.125))),
    Polyline(((3.0, 3.0), (2.999, 3.001), (7.07, 8.8)), Ink.TWIG),
    # Steps that no error may add up over.
    Polyline(tuple((number * 0.3333, -number * 0.6667) for number in range(120)), Ink.TWIG),
)
NUMBER = re.compile(r"-?(?:\d+\.\d+|\.\d+|\d+)")


def followed(data):
    """Read path data with relative lines and curves back into points, each curve's controls too."""
    [(_, start), *rest] = re.findall(r"([MlcLCz])([^MlcLCz]*)", data)
    at = tuple(map(float, NUMBER.findall(start)))
    points = [at]
    for command, text in rest:
        numbers = list(map(float, NUMBER.findall(text)))
        size = {"l": 2, "c": 6, "z": 1}[command]
        assert len(numbers) % size == 0
        for first in range(0, len(numbers), size):
            here = [
                (at[0] + numbers[place], at[1] + numbers[place + 1])
                for place in range(first, first + size, 2)
            ]
            points += here
            at = here[-1]
    return points


def wanted(shape):
    if isinstance(shape, Path):
        return [shape.start, *(point for step in shape.steps for point in step)]
    return list(shape.points)


def written(shape):
    text = to_svg(Drawing(50.0, 50.0, (shape,), ""), id_prefix="p", decorative=True, compact=True)
    [data] = re.findall(r' d="([^"]*)"', text)
    return data


@pytest.mark.parametrize("shape", SHAPES, ids=["curves", "polygon", "line", "many steps"])
def test_an_outline_comes_back_to_a_hundredth(shape):
    check(shape)


def check(shape):
    data = written(shape)
    is_closed = isinstance(shape, Polygon) or (isinstance(shape, Path) and shape.closed)
    assert data.endswith("z") is is_closed
    found = followed(data)
    assert len(found) == len(wanted(shape))
    for (x, y), (right_x, right_y) in zip(found, wanted(shape), strict=True):
        assert x == pytest.approx(right_x, abs=0.00501)
        assert y == pytest.approx(right_y, abs=0.00501)


def test_errors_that_add_up_are_noticed(monkeypatch):
    """Steps rounded one by one, as a plain way of writing them would have it."""

    def one_by_one(start, steps):
        last, parts = start, []
        for (point,) in steps:
            parts.append(f"l{point[0] - last[0]:.2f} {point[1] - last[1]:.2f}")
            last = point
        return f"M{start[0]:.2f} {start[1]:.2f}{''.join(parts)}"

    monkeypatch.setattr(svg, "_relative", one_by_one)
    with pytest.raises(AssertionError):
        check(SHAPES[-1])


def test_keys_other_shapes_and_classes_stay():
    drawing = Drawing(
        10.0,
        20.0,
        (
            Group((Circle((1.005, 2.0), 0.4567, Ink.BUD),), key='a"<b'),
            Group((Rect(0.0, 1.0, 2.0, 3.0, Ink.SOIL),), 1.0, 0.0, 0.5),
        ),
        "",
    )
    text = to_svg(drawing, id_prefix="p", decorative=True, compact=True)
    # As XML 1.0, 2.3 (AttValue) has it.
    root = ET.fromstring(text)  # noqa: S314 - written here
    assert root[0].get("data-key") == 'a"<b'
    assert '<circle class="inked-bud"' in text
    assert 'r="0.46"' in text
    assert '<g transform="translate(1 0) scale(0.5)"><rect class="inked-soil"' in text
