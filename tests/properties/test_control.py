"""Laws of control limits and blocks of due trees."""

import math

from hypothesis import given
from hypothesis import strategies as st

from audits.control.blocks import block_chart, blocks_of_due_trees
from audits.control.limits import probability_limits, sigma_limits
from audits.control.p_chart import p_chart

fractions = st.floats(0, 1)
sizes = st.integers(1, 400)
false_alarms = st.floats(0.0001, 0.2)
outcome_lists = st.lists(st.booleans(), max_size=150)
block_sizes = st.integers(10, 40)


def exact_tail(counts, due, fraction):
    """Sum the binomial law over some counts, the slow obvious way."""
    return math.fsum(
        math.comb(due, count) * fraction**count * (1 - fraction) ** (due - count)
        for count in counts
    )


@given(fractions, sizes)
def test_sigma_limits_are_fractions_around_the_centre(centre, due):
    lower, upper = sigma_limits(centre, due)
    assert 0 <= lower <= centre <= upper <= 1


@given(fractions, st.integers(1, 60), false_alarms)
def test_signals_by_chance_stay_within_the_false_alarm_rate(centre, due, false_alarm):
    lower, upper = probability_limits(centre, due, false_alarm)
    assert 0 <= lower <= upper <= due
    slack = 1 + 1e-6
    assert exact_tail(range(lower), due, centre) <= false_alarm / 2 * slack
    assert exact_tail(range(upper + 1, due + 1), due, centre) <= false_alarm / 2 * slack


@given(fractions, st.integers(1, 60), false_alarms)
def test_limits_are_as_tight_as_the_false_alarm_rate_allows(centre, due, false_alarm):
    lower, upper = probability_limits(centre, due, false_alarm)
    if lower < due:
        assert exact_tail(range(lower + 1), due, centre) > false_alarm / 2 * (1 - 1e-6)
    if upper > 0:
        assert exact_tail(range(upper, due + 1), due, centre) > false_alarm / 2 * (1 - 1e-6)


@given(st.floats(0.001, 0.999), sizes, false_alarms)
def test_right_and_wrong_trees_mirror_each_other(centre, due, false_alarm):
    # Parts of 1,024 keep 1 - centre exact, so that no tie is decided by rounding.
    centre = max(1, min(1023, round(centre * 1024))) / 1024
    lower, upper = probability_limits(centre, due, false_alarm)
    assert probability_limits(1 - centre, due, false_alarm) == (due - upper, due - lower)


@given(fractions, fractions, sizes)
def test_worse_work_never_lowers_a_limit(one, two, due):
    low, high = sorted((one, two))
    better, worse = probability_limits(low, due), probability_limits(high, due)
    assert better.lower <= worse.lower
    assert better.upper <= worse.upper


@given(outcome_lists, block_sizes)
def test_every_tree_is_in_exactly_one_block(outcomes, size):
    complete, waiting = blocks_of_due_trees(outcomes, size)
    blocks = [*complete, *([waiting] if waiting else [])]
    numbers = [number for block in blocks for number in range(block.first, block.last + 1)]
    assert numbers == list(range(1, len(outcomes) + 1))
    for block in blocks:
        assert block.due == block.last - block.first + 1
        assert block.nonconforming == sum(outcomes[block.first - 1 : block.last])
    assert all(block.due == size for block in complete)
    assert waiting is None or 0 < waiting.due < size


@given(outcome_lists, outcome_lists, block_sizes)
def test_later_trees_never_change_a_complete_block(earlier, later, size):
    before = blocks_of_due_trees(earlier, size).complete
    after = blocks_of_due_trees(earlier + later, size).complete
    assert after[: len(before)] == before


@given(outcome_lists, block_sizes, st.none() | fractions)
def test_a_chart_has_no_gap_and_no_undefined_number(outcomes, size, centre):
    chart = block_chart(outcomes, size=size, centre=centre)
    assert len(chart.points) == len(outcomes) // size
    assert (chart.centre is None) == (centre is None and not chart.points)
    for point in chart.points:
        assert 0 <= point.lower <= point.upper <= 1
        assert (point.signal == "above") == (point.nonconforming > round(point.upper * size))
        assert (point.signal == "below") == (point.nonconforming < round(point.lower * size))


@given(st.lists(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))))
def test_a_p_chart_signals_exactly_the_points_beyond_their_limits(samples):
    chart = p_chart([count for count, _ in samples], [total for _, total in samples])
    assert len(chart.points) == len(samples)
    for point in chart.points:
        beyond = abs(point.fraction - chart.centre) > 1e-11 + 3 * math.sqrt(
            chart.centre * (1 - chart.centre) / point.due
        )
        assert (point.signal is not None) == beyond
