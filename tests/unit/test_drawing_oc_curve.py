"""The curve of a plan: to scale, its promised points on it, everything inside the frame."""

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audits.lot_figures import curve_points
from audits.sampling import SinglePlan
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.oc_curve import CurveLabels, CurveMark, oc_curve_drawing
from printables.drawing.primitives import Anchor, Circle, Line, Polygon, Polyline, Rect, Text
from printables.drawing.primitives import flattened as flat
from printables.drawing.svg import to_svg

LABELS = CurveLabels(
    "Qué tan seguro es el plan",
    "Una hilera con 5 de cada 100 árboles malos pasa 97 veces de cada 100.",
    "pasa, veces de cada 100",
    "árboles malos de cada 100",
    lambda part: f"{100 * part:g}",
)
CURVE = [(point.fraction, point.chance) for point in curve_points(SinglePlan(25, 3), 300)]
GOOD = CurveMark(0.05, CURVE[15][1], "Aceptable: 5 de 100, pasa 97")
BAD = CurveMark(0.25, CURVE[75][1], "Rechazable: 25 de 100, pasa 9")
LIMIT = CurveMark(20 / 300, CURVE[20][1], "AQL: 6,5 de 100, pasa 91")


def shapes(drawing, kind, ink=None):
    found = [placed.shape for placed in flat(drawing) if isinstance(placed.shape, kind)]
    return [shape for shape in found if ink is None or shape.ink is ink]


def drawn(**changes):
    return oc_curve_drawing(CURVE, GOOD, BAD, LABELS, **changes)


def box(shape):
    match shape:
        case Text():
            width = text_width(shape.text, shape.size_mm, bold=shape.bold)
            left = {
                Anchor.START: shape.x_mm,
                Anchor.MIDDLE: shape.x_mm - width / 2,
                Anchor.END: shape.x_mm - width,
            }[shape.anchor]
            return left, shape.y_mm - 0.75 * shape.size_mm, left + width, shape.y_mm
        case Rect():
            return (
                shape.x_mm,
                shape.y_mm,
                shape.x_mm + shape.width_mm,
                shape.y_mm + shape.height_mm,
            )
        case Circle():
            (x, y), r = shape.centre, shape.radius_mm
            return x - r, y - r, x + r, y + r
        case Line():
            xs, ys = zip(shape.start, shape.end, strict=True)
        case _:
            xs, ys = zip(*shape.points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def assert_inside(drawing):
    for placed in flat(drawing):
        left, top, right, bottom = box(placed.shape)
        assert left >= -0.01, placed
        assert top >= -0.01, placed
        assert right <= drawing.width_mm + 0.01, placed
        assert bottom <= drawing.height_mm + 0.01, placed


def test_the_marked_points_lie_on_the_curve():
    drawing = drawn(limit=LIMIT)
    curve = shapes(drawing, Polyline, Ink.HEAVY_LINE)[0].points
    for mark in (
        shapes(drawing, Circle, Ink.RIGHT)[0].centre,
        _middle(shapes(drawing, Rect, Ink.SOLID)[0]),
        _middle(shapes(drawing, Polygon, Ink.FAULT)[0]),
    ):
        nearest = min(curve, key=lambda point: abs(point[0] - mark[0]))
        assert nearest == pytest.approx(mark, abs=0.25)


def _middle(shape):
    left, top, right, bottom = box(shape)
    return (left + right) / 2, (top + bottom) / 2


def test_chances_and_fractions_are_drawn_to_scale():
    drawing = drawn()
    good = shapes(drawing, Circle, Ink.RIGHT)[0].centre
    bad = _middle(shapes(drawing, Polygon, Ink.FAULT)[0])
    left, top, right, bottom = box(shapes(drawing, Rect, Ink.RIGHT_TINT)[0])
    assert (good[0] - left) / (bad[0] - left) == pytest.approx(0.05 / 0.25)
    assert right == pytest.approx(good[0])
    height = bottom - top
    assert (bottom - good[1]) / height == pytest.approx(GOOD.chance)
    assert (bottom - bad[1]) / height == pytest.approx(BAD.chance)
    assert box(shapes(drawing, Rect, Ink.FAULT_TINT)[0])[0] == pytest.approx(bad[0])


def test_the_curve_starts_where_every_lot_passes_and_never_rises():
    drawing = drawn()
    curve = shapes(drawing, Polyline, Ink.HEAVY_LINE)[0].points
    tint = box(shapes(drawing, Rect, Ink.RIGHT_TINT)[0])
    assert curve[0] == pytest.approx((tint[0], tint[1]))
    heights = [y for _, y in curve]
    assert heights == sorted(heights)


def test_every_mark_has_a_shape_and_words_of_its_own():
    words = [text.text for text in shapes(drawn(limit=LIMIT), Text)]
    assert {GOOD.words, BAD.words, LIMIT.words, LABELS.upright, LABELS.across} <= set(words)
    assert {"0", "10", "20", "30", "40", "50", "100"} <= set(words)
    # Once on the curve and once in the legend.
    assert len(shapes(drawn(limit=LIMIT), Circle, Ink.RIGHT)) == 2
    assert len(shapes(drawn(limit=LIMIT), Polygon, Ink.FAULT)) == 2
    assert len(shapes(drawn(limit=LIMIT), Rect, Ink.SOLID)) == 2
    assert not shapes(drawn(), Rect, Ink.SOLID)


def test_letters_can_be_read_on_a_phone():
    # 84 mm fill the 328 pixels that a phone of 360 leaves: 2.8 mm are 11 pixels, 3.4 mm are 13.
    sizes = [text.size_mm for text in shapes(drawn(limit=LIMIT), Text)]
    assert min(sizes) >= 2.8


def test_those_who_cannot_see_it_are_told():
    root = ET.fromstring(to_svg(drawn(), id_prefix="plan"))  # noqa: S314 - our own output
    told = [root.find(f"{{http://www.w3.org/2000/svg}}{tag}").text for tag in ("title", "desc")]
    assert told == [LABELS.title, LABELS.description]


def test_a_lot_of_thousands_of_trees_is_drawn_with_few_points():
    curve = [(count / 5000, 1 - count / 5000) for count in range(5001)]
    drawing = oc_curve_drawing(curve, GOOD, BAD, LABELS)
    points = shapes(drawing, Polyline, Ink.HEAVY_LINE)[0].points
    assert len(points) <= 162
    assert points[-1][0] == pytest.approx(drawing.width_mm - 1.6)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.001, 0.5),
    st.floats(0.01, 0.49),
    st.floats(0, 1),
    st.floats(0, 1),
    st.integers(1, 400),
    st.booleans(),
)
def test_curves_keep_inside_their_frame(good, more, high, low, trees, with_limit):
    curve = [(count / trees, 1 - count / trees) for count in range(trees + 1)]
    drawing = oc_curve_drawing(
        curve,
        CurveMark(good, high, GOOD.words),
        CurveMark(good + more, low, BAD.words),
        LABELS,
        limit=CurveMark(0.25, 0.5, LIMIT.words) if with_limit else None,
    )
    assert_inside(drawing)
