"""Differences over means: where points and lines lie, and what those hear who cannot see it."""

import pytest

from printables.drawing.agreement import DifferenceLabels, difference_drawing
from printables.drawing.primitives import Circle, Line, Polyline
from printables.drawing.svg import to_svg

LABELS = DifferenceLabels(
    title="Top: measured heights",
    description="4 trees.",
    upright="Ina less Saul",
    across="Mean of both",
    tree="a tree",
    bias="mean difference",
    limits="where 19 in 20 differences lie",
    length=lambda mm: f"{mm:.0f} mm",
)
FIRST = (3000.0, 3100.0, 3200.0, 3300.0)
SECOND = (2990.0, 3110.0, 3200.0, 3260.0)


def points(drawing) -> list[tuple[float, float]]:
    return [shape.centre for shape in drawing.shapes if isinstance(shape, Circle)]


def test_a_larger_difference_stands_higher_and_a_larger_mean_further_right():
    places = points(difference_drawing(FIRST, SECOND, (-20.0, 10.0, 40.0), LABELS))[:4]
    assert [x for x, _ in places] == sorted(x for x, _ in places)
    by_difference = sorted(zip((10, -10, 0, 40), places, strict=True), reverse=True)
    heights = [y for _, (_, y) in by_difference]
    assert heights == sorted(heights)


def test_everything_lies_on_the_paper():
    drawing = difference_drawing(FIRST, SECOND, (-80.0, 10.0, 90.0), LABELS)
    assert all(
        0 <= x <= drawing.width_mm and 0 <= y <= drawing.height_mm for x, y in points(drawing)
    )
    lines = [shape for shape in drawing.shapes if isinstance(shape, Polyline | Line)]
    assert len(lines) >= 4


@pytest.mark.parametrize("value", [0.0, 3000.0])
def test_trees_all_alike_still_have_axes(value):
    drawing = difference_drawing((value,) * 3, (value,) * 3, (0.0, 0.0, 0.0), LABELS)
    assert "nan" not in to_svg(drawing, id_prefix="alike").lower()


def test_the_title_and_the_description_are_written():
    written = to_svg(
        difference_drawing(FIRST, SECOND, (-20.0, 10.0, 40.0), LABELS), id_prefix="differences"
    )
    for words in (LABELS.title, LABELS.description, LABELS.limits, LABELS.bias, LABELS.tree):
        assert words in written


def test_no_tree_and_unequal_numbers_are_refused():
    with pytest.raises(ValueError, match="at least one tree"):
        difference_drawing((), (), (0.0, 0.0, 0.0), LABELS)
    with pytest.raises(ValueError, match="shorter"):
        difference_drawing(FIRST, SECOND[:2], (0.0, 0.0, 0.0), LABELS)
