"""The funnel: to scale, nobody named in it, and everything inside the frame."""

from xml.etree import ElementTree as ET

import pytest

from printables.drawing.funnel import FunnelEdge, FunnelLabels, FunnelPlace, funnel_drawing
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Circle, Polygon, Polyline, Text, flattened
from printables.drawing.svg import to_svg

LABELS = FunnelLabels(
    title="Proporciones según lo contado, y lo que el azar explica",
    description="La línea pareja es lo que la norma acepta.",
    upright="Árboles con falla",
    across="Árboles que cuentan",
    point="una persona",
    centre="la norma acepta 5 %",
    inner="95 de cada 100 por azar",
    outer="998 de cada 1,000 por azar",
    beyond="más allá del azar, según lo contado",
    share=lambda part: f"{100 * part:g} %",
    number=str,
)
EDGES = [
    FunnelEdge(
        due, max(0.0, 0.05 - 1 / due), 0.05 + 1 / due, max(0.0, 0.05 - 2 / due), 0.05 + 2 / due
    )
    for due in (15, 30, 60, 120, 240)
]
PLACES = [FunnelPlace(40, 0.05), FunnelPlace(120, 0.02), FunnelPlace(200, 0.3, is_beyond=True)]


def drawn(places=PLACES, edges=EDGES):
    return funnel_drawing(places, edges, 0.05, LABELS)


def shapes(drawing, kind):
    return [placed.shape for placed in flattened(drawing) if isinstance(placed.shape, kind)]


def test_points_stand_where_their_trees_and_their_rate_put_them():
    few, many = shapes(drawn(), Circle)[:2]
    assert few.centre[0] < many.centre[0], "more trees stand further to the right"
    assert few.centre[1] < many.centre[1], "more faults stand higher"
    (beyond,) = [shape for shape in shapes(drawn(), Polygon) if shape.ink is Ink.FAULT][:1]
    assert beyond.points[0][1] < few.centre[1]


def test_a_point_beyond_has_a_shape_of_its_own_and_its_words():
    words = [shape.text for shape in shapes(drawn(), Text)]
    assert LABELS.beyond in words
    without = [shape.text for shape in shapes(drawn(PLACES[:2]), Text)]
    assert LABELS.beyond not in without
    assert not [shape for shape in shapes(drawn(PLACES[:2]), Polygon) if shape.ink is Ink.FAULT]


def test_the_funnel_narrows_and_is_cut_off_at_the_top():
    (band,) = [shape for shape in shapes(drawn(), Polygon) if shape.ink is Ink.RIGHT_TINT]
    upper, lower = band.points[:5], band.points[9:4:-1]
    heights = [low[1] - high[1] for high, low in zip(upper, lower, strict=True)]
    assert heights == sorted(heights, reverse=True)
    lines = shapes(drawn(), Polyline)
    assert all(point[1] >= 0 for line in lines for point in line.points)


@pytest.mark.parametrize("due", [31, 99, 400, 1_999, 12_345])
def test_everything_stays_inside_the_frame(due):
    edges = [*EDGES, FunnelEdge(due, 0.04, 0.06, 0.03, 0.07)]
    drawing = drawn([FunnelPlace(due, 1.0, is_beyond=True)], sorted(edges, key=lambda e: e.due))
    for placed in flattened(drawing):
        shape = placed.shape
        if isinstance(shape, Text):
            width = text_width(shape.text, shape.size_mm, bold=shape.bold)
            left = (
                shape.x_mm
                - {Anchor.START: 0, Anchor.MIDDLE: 0.5, Anchor.END: 1}[shape.anchor] * width
            )
            assert left > -0.1, shape.text
            assert left + width < drawing.width_mm + 0.1, shape.text
        if isinstance(shape, Polyline | Polygon):
            for x, y in shape.points:
                assert -0.1 < x < drawing.width_mm + 0.1
                assert -0.1 < y < drawing.height_mm + 0.1


def test_it_carries_title_and_description():
    tree = ET.fromstring(to_svg(drawn(), id_prefix="funnel"))  # noqa: S314 - our own markup
    texts = {element.tag.rpartition("}")[2]: element.text for element in tree.iter()}
    assert texts["title"] == LABELS.title
    assert texts["desc"] == LABELS.description


def test_a_funnel_of_one_width_is_none():
    with pytest.raises(ValueError, match="edges must be at least 2, not 1"):
        drawn(edges=EDGES[:1])
