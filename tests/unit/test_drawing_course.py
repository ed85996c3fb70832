"""Courses of figures: what stands where, and words that keep clear of lines and of each other."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printables.drawing.chart import ChartLabels, ChartPoint, block_chart_drawing
from printables.drawing.chart_course import CourseLabels, CoursePoint, Level, course_drawing
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Circle, Polygon, Polyline, Text
from tests.drawn import assert_inside, inked, placed

LABELS = CourseLabels(
    title="Mean of ten heights",
    description="Within.",
    upright="Above or below the target",
    across="Measured trees",
    point="mean of ten heights",
    limits="what chance allows",
    value=lambda value: f"{value:g} in",
)
BLOCKS = ChartLabels(
    title="Ten trees at a time",
    description="Within.",
    upright="Trees with a fault, of 10",
    across="Due trees",
    block="10 due trees",
    centre="the standard accepts 5 %",
    limits="what chance explains",
    share=lambda fraction: f"{fraction * 10:g}",
    smoothed="smoothed",
)


def course(values, **options):
    points = [
        CoursePoint(f"{n}", value, (-5.0, 5.0), "signal" if abs(value) > 5 else "")
        for n, value in enumerate(values, start=1)
    ]
    return course_drawing(points, [Level(0.0, "target")], LABELS, (-6.0, 0.0, 6.0), **options)


def words_at(drawing, words="signal"):
    """Return left, top, right and bottom of each time the word stands in the plane."""
    found = []
    for text in placed(drawing):
        if isinstance(text, Text) and text.text == words and text.bold:
            width = text_width(text.text, text.size_mm, bold=True)
            right = text.x_mm
            found.append((right - width, text.y_mm - 0.73 * text.size_mm, right, text.y_mm))
    return found


def blocks(fractions, **options):
    points = [
        ChartPoint(f"{n}", fraction, 0.0, 0.5, "signal" if fraction > 0.5 else "")
        for n, fraction in enumerate(fractions, start=1)
    ]
    return block_chart_drawing(points, 0.05, BLOCKS, **options)


def crosses(box, start, end):
    """Tell whether a line from point to point runs through a box, by small steps."""
    left, top, right, bottom = box
    for step in range(201):
        x = start[0] + (end[0] - start[0]) * step / 200
        y = start[1] + (end[1] - start[1]) * step / 200
        if left < x < right and top < y < bottom:
            return True
    return False


@pytest.mark.parametrize(
    "fractions",
    [[0, 0.1, 0, 0.2, 0.1, 0.7], [0, 0.9], [0.8, 0.1, 1.0], [0.1, 0.6, 0.8, 1.0], [0.3, 1.0]],
)
def test_the_word_of_a_signal_keeps_clear_of_the_line_up_to_the_edge(fractions):
    """It stood on the line that came to the last point."""
    drawing = blocks(fractions)
    assert_inside(drawing)
    boxes = words_at(drawing)
    assert boxes
    # The last is the line from block to block: the axes are lines of two points.
    line = [s for s in inked(drawing, Ink.FINE_LINE) if isinstance(s, Polyline)][-1]
    for box in boxes:
        assert not any(crosses(box, start, end) for start, end in pairwise(line.points))


def test_only_the_first_of_a_run_of_signals_carries_the_word():
    assert len(words_at(blocks([0, 0.6, 0.7, 0.8, 0.1]))) == 1
    assert len(words_at(course([0, 6, 0, 0, 0, -6, 0, 0]))) == 2


def test_words_never_run_into_each_other():
    boxes = sorted(words_at(course([0, 6] * 20)))
    assert boxes
    assert all(before[2] < after[0] for before, after in pairwise(boxes))


def test_a_smoothed_line_takes_the_place_of_the_one_from_block_to_block():
    drawing = blocks([0.1, 0.3, 0.2], smoothed=[0.1, 0.15, 0.16])
    (line,) = [s for s in inked(drawing, Ink.LINE) if isinstance(s, Polyline)]
    assert len(line.points) == 3
    assert not [s for s in inked(drawing, Ink.FINE_LINE) if isinstance(s, Polyline)]
    assert "smoothed" in [s.text for s in placed(drawing) if isinstance(s, Text)]


def test_low_signals_have_their_word_below():
    drawing = course([0, -6, 0])
    (box,) = words_at(drawing)
    diamonds = [s for s in inked(drawing, Ink.FAULT) if isinstance(s, Polygon)]
    lowest = max(y for _, y in diamonds[0].points)
    assert box[1] > lowest - 0.5


def test_a_line_without_dots_marks_its_signals_only():
    drawing = course([0, 1, 6, 1], with_dots=False)
    assert not [s for s in inked(drawing, Ink.SOLID) if isinstance(s, Circle)]
    assert len([s for s in inked(drawing, Ink.FAULT) if isinstance(s, Polygon)]) == 2


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-40, 40), min_size=1, max_size=40))
def test_courses_keep_inside_their_frame(values):
    assert_inside(course(values))
