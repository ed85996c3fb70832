"""Blocks of due trees and their chart."""

import pytest

from audits.control.blocks import (
    BlockChart,
    TreeBlock,
    TreeBlocks,
    block_chart,
    blocks_of_due_trees,
)
from audits.control.limits import probability_limits

RIGHT, WRONG = False, True


def test_no_trees_give_no_blocks():
    assert blocks_of_due_trees([]) == TreeBlocks((), None)


def test_trees_fall_into_blocks_in_scoring_order():
    outcomes = [WRONG] * 3 + [RIGHT] * 7 + [RIGHT] * 9 + [WRONG]
    assert blocks_of_due_trees(outcomes) == (
        (TreeBlock(1, 10, 10, 3), TreeBlock(11, 20, 10, 1)),
        None,
    )


def test_an_incomplete_block_waits():
    blocks = blocks_of_due_trees([WRONG] * 13)
    assert blocks.complete == (TreeBlock(1, 10, 10, 10),)
    assert blocks.waiting == TreeBlock(11, 13, 3, 3)
    assert blocks_of_due_trees([RIGHT] * 9) == ((), TreeBlock(1, 9, 9, 0))


def test_blocks_may_be_larger_but_not_smaller_than_ten():
    assert blocks_of_due_trees([RIGHT] * 20, size=20).complete == (TreeBlock(1, 20, 20, 0),)
    with pytest.raises(ValueError, match="size must be at least 10, not 9"):
        blocks_of_due_trees([RIGHT] * 20, size=9)
    with pytest.raises(ValueError, match="size"):
        block_chart([], size=9)


def test_no_trees_give_a_chart_without_points():
    assert block_chart([]) == BlockChart((), None, None)
    assert block_chart([], centre=0.1) == BlockChart((), 0.1, None)


def test_waiting_trees_are_not_charted_and_do_not_move_the_centre():
    chart = block_chart([RIGHT] * 10 + [WRONG] * 9)
    assert chart.centre == 0.0
    assert len(chart.points) == 1
    assert chart.waiting == TreeBlock(11, 19, 9, 9)
    assert block_chart([WRONG] * 9) == BlockChart((), None, TreeBlock(1, 9, 9, 9))


@pytest.mark.parametrize("outcome", [RIGHT, WRONG])
def test_work_that_is_always_the_same_gives_no_signal(outcome):
    chart = block_chart([outcome] * 50)
    assert chart.centre == float(outcome)
    for point in chart.points:
        assert (point.fraction, point.lower, point.upper) == (float(outcome),) * 3
        assert point.signal is None


def test_the_centre_is_the_ratio_of_sums_of_complete_blocks():
    chart = block_chart([WRONG] * 2 + [RIGHT] * 18 + [WRONG] * 5)
    assert chart.centre == 0.1


def test_a_bad_block_signals_above():
    # At a centre of 0.1, P(X >= 5) = 0.0016 and P(X >= 6) = 0.00015 in 10 trees.
    outcomes = [WRONG] * 5 + [RIGHT] * 5 + [WRONG] * 6 + [RIGHT] * 4
    chart = block_chart(outcomes, centre=0.1)
    assert [point.signal for point in chart.points] == [None, "above"]
    assert {point.upper for point in chart.points} == {0.5}


def test_a_good_block_of_a_poor_worker_signals_below():
    chart = block_chart([RIGHT] * 20 + [WRONG] * 20, centre=0.5, size=20)
    assert [point.signal for point in chart.points] == ["below", "above"]


def test_points_say_which_trees_they_hold():
    point = block_chart([WRONG] + [RIGHT] * 19, centre=0.1).points[1]
    assert (point.first, point.last, point.due, point.nonconforming) == (11, 20, 10, 0)


def test_the_limits_are_those_of_the_binomial_law():
    counts = probability_limits(0.3, due=20, false_alarm=0.2)
    assert counts != probability_limits(0.3, due=20)
    point = block_chart([RIGHT] * 20, centre=0.3, size=20, false_alarm=0.2).points[0]
    assert (point.lower, point.upper) == (counts.lower / 20, counts.upper / 20)


def test_a_centre_that_is_no_fraction_is_refused():
    with pytest.raises(ValueError, match="centre"):
        block_chart([RIGHT] * 10, centre=1.5)
