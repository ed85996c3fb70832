"""Stems: geometry of tapering curves."""

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from printables.drawing.inks import Ink
from printables.drawing.wood import Stem, bar

UPRIGHT = Stem.between((10, 40), (10, 0), (6, 2))
BENT = Stem.between((0, 10), (20, 4), (3, 1), -0.2)


def test_a_stem_runs_from_its_start_to_its_end_and_tapers_evenly():
    assert BENT.point_at(0) == pytest.approx((0, 10))
    assert BENT.point_at(1) == pytest.approx((20, 4))
    assert [UPRIGHT.width_at(at) for at in (0, 0.5, 1)] == pytest.approx([6, 4, 2])


def test_left_and_right_are_those_of_someone_going_along_it():
    assert UPRIGHT.edge(0, 1) == pytest.approx((7, 40))
    assert UPRIGHT.edge(0, -1) == pytest.approx((13, 40))


def test_the_bend_puts_the_middle_off_the_straight_line():
    bent = Stem.between((0, 0), (10, 0), (1, 1), 0.2)
    # To the left of someone going right on a page is up, towards smaller y.
    assert bent.point_at(0.5) == pytest.approx((5, -2))


@given(st.floats(0, 0.45), st.floats(0.55, 1), st.floats(0, 1))
def test_a_part_lies_on_the_whole(first, last, along):
    part = BENT.part(first, last)
    assert part.point_at(along) == pytest.approx(
        BENT.point_at(first + along * (last - first)), abs=1e-6
    )
    assert part.width_at(along) == pytest.approx(BENT.width_at(first + along * (last - first)))


@given(st.floats(0, 1), st.sampled_from([1, -1]))
def test_the_edges_stand_half_the_width_off_the_middle(along, side):
    middle, edge = BENT.point_at(along), BENT.edge(along, side)
    distance = hypot(edge[0] - middle[0], edge[1] - middle[1])
    assert distance == pytest.approx(BENT.width_at(along) / 2)


def test_the_outline_passes_through_the_edges_halfway():
    outline = BENT.outline()
    ends = [step[-1] for step in outline.steps]
    assert outline.start == pytest.approx(BENT.edge(0, 1))
    assert ends[0] == pytest.approx(BENT.edge(0.5, 1))
    assert ends[1] == pytest.approx(BENT.edge(1, 1))
    assert ends[2] == pytest.approx(BENT.edge(1, -1))
    assert ends[-1] == pytest.approx(BENT.edge(0, -1))
    assert outline.closed


def test_a_slanted_piece_ends_where_each_edge_is_cut():
    piece = UPRIGHT.piece((0, 0.5), (0, 0.7))
    ends = [step[-1] for step in piece.steps]
    assert ends[1] == pytest.approx(UPRIGHT.edge(0.5, 1))
    assert ends[2] == pytest.approx(UPRIGHT.edge(0.7, -1))


def test_a_line_across_is_square_to_the_stem_unless_it_leans():
    (x1, y1), (x2, y2) = UPRIGHT.cut_line(0.5, 8)
    assert (abs(x2 - x1), y1, y2) == pytest.approx((8, 20, 20))
    (x1, y1), (x2, y2) = UPRIGHT.cut_line(0.5, 8, 30)
    assert abs(y2 - y1) == pytest.approx(4)
    assert hypot(x2 - x1, y2 - y1) == pytest.approx(8)


def test_a_bar_has_its_thickness():
    corners = bar(((0, 0), (10, 0)), 2, Ink.CUT).points
    assert {y for _, y in corners} == {-1, 1}
    assert {x for x, _ in corners} == {0, 10}
