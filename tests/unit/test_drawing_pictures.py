"""Every picture: inside its frame, apart from the others, to the numbers it is given."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audits.vocabulary import Fault, Result, Stage
from printables.drawing.chart import (
    Axis,
    ChartLabels,
    ChartPoint,
    Marker,
    Series,
    block_chart_drawing,
    plot,
)
from printables.drawing.closeup import fault_close_up, right_close_up
from printables.drawing.gauge import (
    GaugeLabels,
    length_bar,
    limb_gauge,
    pencil_gauge,
    scale_check,
)
from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.panel import SMALL_MM, beside, judged
from printables.drawing.pictograms import missed_pictogram, result_tile, stage_pictogram
from printables.drawing.primitives import (
    Circle,
    Line,
    Polygon,
    Polyline,
    Rect,
    Text,
)
from printables.drawing.strip import LEAST_PITCH_MM, StripLabels, TreeMark, row_strip
from printables.drawing.tree import (
    ColumnsLabels,
    HeadingLabels,
    LimbsLabels,
    TopLabels,
    columns_drawing,
    heading_drawing,
    limbs_drawing,
    top_drawing,
)
from tests.drawn import assert_inside, inked, placed

TOP = TopLabels("Altura", "Un árbol.", "9 ft 11 in", "± 6 in")
LIMBS = LimbsLabels("Ramas gruesas", "Dos ramas.", "19 mm o más")
COLUMNS = ColumnsLabels("Columnas", "Una rama.", "Antes", "Después", "15 cm +")
HEADING = HeadingLabels("Despunte", "Una rama.", "1/4 a 3/8 in")
STRIP = StripLabels(
    "Surco 12",
    "",
    "Inicio, lado norte",
    "Lado sur",
    "No sorteado",
    "Bien",
    "Falta",
    "No es del lote",
)


def share(fraction):
    return f"{100 * fraction:.0f} %"


CHART = ChartLabels(
    "Tendencia",
    "Bloques de árboles.",
    "Árboles con falta, % de los debidos",
    "Árboles debidos, en orden",
    "20 árboles",
    "Promedio propio 8 %",
    "Lo que permite el azar",
    share,
)


def texts(drawing):
    return [shape.text for shape in placed(drawing) if isinstance(shape, Text)]


def without_close_up(fault):
    return fault in {Fault.HIGH, Fault.LOW, Fault.TREE_MISSED, Fault.SIDE_MISSED}


CLOSE_UPS = [fault for fault in Fault if not without_close_up(fault)]

PICTURES = {
    **{f"stage {stage}": stage_pictogram(stage, stage) for stage in Stage},
    **{f"result {result}": result_tile(result, result) for result in Result},
    "tree missed": missed_pictogram(Fault.TREE_MISSED, "m"),
    "side missed": missed_pictogram(Fault.SIDE_MISSED, "m"),
    **{f"right {stage}": right_close_up(stage, stage) for stage in Stage},
    **{f"fault {fault}": fault_close_up(fault, fault) for fault in CLOSE_UPS},
    "top": top_drawing(3020, 150, (600, 1500, 2400), TOP),
    "top, no wires": top_drawing(2740, 150, (), TOP),
    "top, wire above": top_drawing(2740, 100, (3000,), TOP),
    **{
        f"top {fault}": top_drawing(3350, 150, (700, 3000), TOP, fault)
        for fault in (Fault.HIGH, Fault.LOW, Fault.BLUNT)
    },
    **{f"limbs {count}": limbs_drawing(19, count, LIMBS) for count in range(6)},
    "columns": columns_drawing(150, COLUMNS),
    "heading": heading_drawing(6, 9, HEADING),
    "heading thick": heading_drawing(6, 9, HEADING, 14),
    "heading thin": heading_drawing(6, 9, HEADING, 4),
    "pencil gauge": pencil_gauge(6, 9, GaugeLabels("g", "", "1/4 a 3/8 in")),
    "limb gauge": limb_gauge(19, GaugeLabels("g", "", "3/4 in o más")),
    "scale check": scale_check("s", "Ponga aquí una tarjeta de banco. " * 4),
    "bar": length_bar(100, "b", "100 mm"),
    "upright bar": length_bar(50, "b", "50 mm", upright=True),
    "pair": beside(
        [
            judged(heading_drawing(6, 9, HEADING), Result.CONFORMING, "Grueso de un lápiz"),
            judged(heading_drawing(6, 9, HEADING, 13), Result.NONCONFORMING, "Corte muy grueso"),
        ],
        "Despunte",
    ),
}


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_is_drawn_outside_the_picture(name):
    # The small pictures may be cut at the edge by a line's width, no more.
    assert_inside(PICTURES[name], slack_mm=0.7 if "fault" in name or "right" in name else 0.3)


def test_no_two_small_pictures_are_alike():
    small = [
        d for name, d in PICTURES.items() if name.split()[0] in {"stage", "result", "tree", "side"}
    ]
    assert len({d.shapes for d in small}) == len(small) == 10


def test_stage_pictograms_carry_one_mark_in_the_accent_colour():
    for stage in Stage:
        assert len(inked(stage_pictogram(stage, "s"), Ink.CUT)) == 1


def test_the_outlines_of_the_result_tiles_differ():
    outlines = []
    for result in Result:
        first = placed(result_tile(result, "r"))[0]
        filled = len(inked(result_tile(result, "r"), Ink.PAPER)) and first.ink
        corner = first.corner_mm if isinstance(first, Rect) else None
        outlines.append((type(first), corner, filled))
    assert len(set(outlines)) == len(outlines)


def test_marks_are_shapes_and_no_letters():
    for result in Result:
        assert not texts(result_tile(result, "r"))


def test_only_a_missed_tree_or_side_has_its_pictogram():
    with pytest.raises(ValueError, match="high"):
        missed_pictogram(Fault.HIGH, "m")


@pytest.mark.parametrize("fault", CLOSE_UPS)
def test_a_quiz_can_show_a_fault_without_the_arrow(fault):
    plain, pointed = fault_close_up(fault, "f", pointed_out=False), fault_close_up(fault, "f")
    assert not inked(plain, Ink.FAULT)
    assert set(placed(plain)) <= set(placed(pointed))


@pytest.mark.parametrize("fault", [fault for fault in Fault if without_close_up(fault)])
def test_a_fault_without_a_close_up_is_refused(fault):
    with pytest.raises(ValueError, match="close-up"):
        fault_close_up(fault, "f")


# --- the stages to their numbers


@pytest.mark.parametrize(("target_mm", "tolerance_mm"), [(3020, 150), (2740, 75), (3600, 300)])
def test_the_top_drawing_is_to_scale(target_mm, tolerance_mm):
    wires = (600.0, 1500.0, 2400.0)
    drawing = top_drawing(target_mm, tolerance_mm, wires, TOP)
    soil = max(line.start[1] for line in inked(drawing, Ink.LINE))
    (target,) = inked(drawing, Ink.RIGHT_LINE)
    (band,) = inked(drawing, Ink.RIGHT_TINT)
    scale = (soil - target.start[1]) / target_mm
    for height, wire in zip(wires, inked(drawing, Ink.WIRE), strict=True):
        assert (soil - wire.start[1]) / scale == pytest.approx(height, rel=1e-6)
    assert band.height_mm / scale == pytest.approx(2 * tolerance_mm)
    assert band.y_mm + band.height_mm / 2 == pytest.approx(target.start[1])


def test_a_top_too_high_or_low_lies_outside_the_band():
    for fault in (Fault.HIGH, Fault.LOW):
        drawing = top_drawing(3020, 150, (), TOP, fault)
        (band,) = inked(drawing, Ink.RIGHT_TINT)
        topped = inked(drawing, Ink.FAULT_LINE)[0].start[1]
        if fault is Fault.HIGH:
            assert topped < band.y_mm
        else:
            assert topped > band.y_mm + band.height_mm


def test_the_top_drawing_refuses_faults_it_cannot_show():
    with pytest.raises(ValueError, match="fork"):
        top_drawing(3020, 150, (), TOP, Fault.FORK)


@pytest.mark.parametrize("removals", [0, 1, 2, 3, 4])
def test_as_many_limbs_come_out_as_the_standard_says(removals):
    marks = inked(limbs_drawing(19, removals, LIMBS), Ink.CUT)
    # One more mark stands in the close-up of the cut.
    assert len(marks) == (removals + 1 if removals else 0)


def test_limbs_are_drawn_in_proportion_to_the_limit():
    def widths(limit_mm):
        paths = inked(limbs_drawing(limit_mm, 2, LIMBS), Ink.GONE)[:2]
        return [abs(p.start[1] - p.steps[-1][-1][1]) for p in paths]

    thin, thick = widths(16), widths(24)
    assert all(b > a for a, b in zip(thin, thick, strict=True))


def test_a_thicker_cut_lies_nearer_the_trunk_on_a_hanging_branch():
    def cut_x(diameter_mm):
        mark = inked(heading_drawing(6, 9, HEADING, diameter_mm), Ink.CUT)[0]
        return sum(x for x, _ in mark.points) / 4

    assert cut_x(14) < cut_x(7.5) <= cut_x(4) + 0.5
    assert cut_x(None) == cut_x(7.5)


def test_labels_stand_in_the_drawings():
    assert {"9\u00a0ft", "11\u00a0in", "± 6\u00a0in"} <= set(texts(PICTURES["top"]))
    assert {"Antes", "Después", "15\u00a0cm\u00a0+"} <= set(texts(PICTURES["columns"]))
    assert "1/4 a 3/8\u00a0in" in texts(PICTURES["heading"])


def test_no_letter_on_a_panel_is_below_9_points():
    for name in ("top", "limbs 2", "columns", "heading"):
        sizes = [s.size_mm for s in placed(PICTURES[name]) if isinstance(s, Text)]
        assert min(sizes) >= SMALL_MM - 1e-9
        assert pytest.approx(9 * 25.4 / 72) == SMALL_MM


def test_a_judged_drawing_says_its_result_in_words_and_by_shape():
    drawing = judged(PICTURES["heading"], Result.CONFORMING, "Pencil thick")
    assert drawing.title.startswith("Pencil thick")
    assert texts(drawing)[0] == "Pencil thick"
    assert inked(drawing, Ink.RIGHT)


def test_pairs_are_described_by_their_parts():
    pair = PICTURES["pair"]
    assert "Grueso de un lápiz" in pair.description
    assert "Corte muy grueso" in pair.description


# --- charts


def chart(points, centre=0.08, **size):
    return block_chart_drawing(points, centre, CHART, **size)


POINTS = [
    ChartPoint("1-20", 0.05, 0.0, 0.25),
    ChartPoint("21-40", 0.40, 0.0, 0.25, "Señal"),
    ChartPoint("41-60", 0.10, 0.0, 0.30),
]


def test_a_signal_has_another_shape_and_a_word():
    drawing = chart(POINTS)
    diamonds = [s for s in inked(drawing, Ink.FAULT) if isinstance(s, Polygon)]
    dots = [s for s in inked(drawing, Ink.SOLID) if isinstance(s, Circle)]
    # One of each stands in the legend.
    assert (len(diamonds), len(dots)) == (1 + 1, 2 + 1)
    assert texts(drawing).count("Señal") == 2


def test_points_and_limits_are_drawn_to_one_scale():
    drawing = chart(POINTS)
    base = next(s for s in inked(drawing, Ink.FINE_LINE) if isinstance(s, Line))
    dots = sorted(
        (s.centre for s in inked(drawing, Ink.SOLID) if isinstance(s, Circle)), key=lambda c: c[1]
    )[:2]
    zero = base.start[1]
    low, high = zero - dots[1][1], zero - dots[0][1]
    assert high / low == pytest.approx(2)
    upper = inked(drawing, Ink.DASHED_LINE)[0]
    steps = [zero - y for _, y in upper.points]
    assert steps[0] / low == pytest.approx(5)
    assert steps[-1] / low == pytest.approx(6)


def test_limits_step_between_blocks():
    upper = inked(chart(POINTS), Ink.DASHED_LINE)[0]
    assert len(upper.points) == 2 * len(POINTS)
    assert upper.points[3][0] == pytest.approx(upper.points[4][0])
    assert upper.points[3][1] != upper.points[4][1]


def test_the_chart_names_its_axes_and_few_numbers():
    drawing = chart([ChartPoint(str(n), 0.1, 0.0, 0.3) for n in range(40)])
    words = texts(drawing)
    assert {"0", "20", "39"} <= set(words)
    assert len([w for w in words if w.isdigit()]) == 3
    assert {CHART.upright, CHART.across, CHART.centre, CHART.limits, CHART.block} <= set(words)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 1), st.floats(0, 0.2), st.floats(0.2, 1), st.booleans()), max_size=40
    ),
    st.sampled_from([(84.0, 58.0), (160.0, 70.0)]),
)
def test_charts_keep_inside_their_frame(values, size_mm):
    points = [
        ChartPoint(f"{20 * n + 1}-{20 * n + 20}", fraction, low, high, "Señal" if signal else "")
        for n, (fraction, low, high, signal) in enumerate(values)
    ]
    assert_inside(chart(points, size_mm=size_mm))


def test_a_plot_draws_every_series_with_marks_of_its_own():
    drawing = plot(
        Axis(0, 10, ((0, "0"), (10, "10")), "Trees"),
        Axis(0, 1, ((0, "0 %"), (1, "100 %")), "Chance"),
        [
            Series("Plan", ((0, 1), (5, 0.4), (10, 0)), Marker.NONE),
            Series(
                "Seen", ((2, 0.8), (8, 0.1)), Marker.SQUARE, None, Ink.FAULT, ((0.6, 0.9), (0, 0.4))
            ),
        ],
        ("Plot", "Two series."),
    )
    assert_inside(drawing)
    assert len([s for s in inked(drawing, Ink.FAULT) if isinstance(s, Rect)]) == 2 + 1
    (line,) = [s for s in inked(drawing, Ink.RIGHT_LINE) if isinstance(s, Polyline)]
    (x1, y1), (x2, y2), (x3, y3) = line.points
    assert (x2 - x1) == pytest.approx(x3 - x2)
    assert (y2 - y1) / (y3 - y1) == pytest.approx(0.6)
    assert {"Plan", "Seen"} <= set(texts(drawing))


# --- strips


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(list(TreeMark)), min_size=1, max_size=600),
    st.sampled_from([None, 4, 10, 12]),
    st.sampled_from([84.0, 180.0]),
)
def test_strips_keep_inside_and_draw_every_tree_once(marks, per_panel, width_mm):
    drawing = row_strip(marks, STRIP, per_panel, width_mm)
    assert_inside(drawing)
    rings = len(inked(drawing, Ink.RIGHT_LINE)) - (TreeMark.CONFORMING in marks)
    crosses = len(inked(drawing, Ink.FAULT_LINE)) / 2 - (TreeMark.NONCONFORMING in marks)
    dots = [s for s in inked(drawing, Ink.SOFT) if isinstance(s, Circle)]
    assert rings == marks.count(TreeMark.CONFORMING)
    assert crosses == marks.count(TreeMark.NONCONFORMING)
    assert len(dots) - (TreeMark.PLAIN in marks) == marks.count(TreeMark.PLAIN)


def test_lines_of_a_strip_begin_with_their_position_at_whole_panels():
    drawing = row_strip([TreeMark.PLAIN] * 187, STRIP, 10)
    numbers = [int(text) for text in texts(drawing) if text.isdigit()]
    assert numbers[0] == 1
    assert all((number - 1) % 10 == 0 for number in numbers)


def test_trees_of_a_strip_stand_apart_and_from_left_to_right():
    drawing = row_strip([TreeMark.PLAIN] * 600, STRIP)
    centres = [s.centre for s in inked(drawing, Ink.SOFT) if isinstance(s, Circle)][:600]
    for (x1, y1), (x2, y2) in pairwise(centres):
        assert y2 > y1 or x2 - x1 >= LEAST_PITCH_MM - 1e-9


def test_the_strip_names_both_ends_and_explains_only_marks_that_occur():
    words = texts(row_strip([TreeMark.PLAIN, TreeMark.CONFORMING], STRIP))
    assert {STRIP.start, STRIP.end, STRIP.plain, STRIP.conforming} <= set(words)
    assert not {STRIP.nonconforming, STRIP.outside} & set(words)


def test_a_row_without_positions_is_refused():
    with pytest.raises(ValueError, match="marks"):
        row_strip([], STRIP)


# --- colours


def luminance(colour):
    """Relative luminance after WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_letters_have_seven_to_one_and_lines_three_to_one():
    from printables.drawing.palette import COLOURS

    for name in ("ink", "soft-ink", "action", "right", "fault", "nothing-due"):
        for ground in ("paper", "ground"):
            assert contrast(COLOURS[name], COLOURS[ground]) >= 7
    for name in ("line", "wood", "cut", "spur", "wire"):
        assert contrast(COLOURS[name], COLOURS["paper"]) >= 3


def test_inks_for_letters_are_filled():
    used = {
        shape.ink
        for drawing in PICTURES.values()
        for shape in placed(drawing)
        if isinstance(shape, Text)
    }
    assert all(APPEARANCES[ink].fill for ink in used)
