"""Laws of control charts, their limits and their run lengths."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audits.control.bernoulli import BernoulliCusum, bernoulli_cusum
from audits.control.blocks import block_chart, blocks_of_due_trees
from audits.control.capability import capability_of
from audits.control.constants import control_constants
from audits.control.counts import u_chart
from audits.control.cusum import tabular_cusum
from audits.control.ewma import ewma, ewma_of_fractions
from audits.control.individuals import individuals_chart
from audits.control.laney import laney_p
from audits.control.limits import probability_limits, sigma_limits
from audits.control.many import charts_of_many
from audits.control.p_chart import p_chart
from audits.control.run_lengths import (
    arl_bernoulli,
    arl_cusum,
    arl_ewma,
    arl_run_rules,
    bernoulli_season_design,
    bernoulli_signal_chance,
    season_block_limits,
)
from audits.control.run_lengths.absorbing import mean_steps
from audits.control.run_rules import RunRule, first_signals
from audits.control.standardised import charts_of_one
from audits.control.xbar import xbar_r, xbar_s

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


heights = st.lists(st.floats(2000, 5000), max_size=40)
groups = st.lists(st.lists(st.floats(2000, 5000), min_size=2, max_size=8), max_size=12)
designs = st.builds(
    BernoulliCusum, st.integers(1, 12), st.integers(-6, -1), threshold=st.integers(1, 30)
)


@st.composite
def counted(draw, least_due=1):
    """Nonconforming and due trees of some workers' blocks, as lists of the same shape."""
    workers, points = draw(st.integers(1, 4)), draw(st.integers(1, 12))
    due = [[draw(st.integers(least_due, 30)) for _ in range(points)] for _ in range(workers)]
    bad = [[draw(st.integers(0, trees)) for trees in row] for row in due]
    return bad, due


def all_finite(chart):
    return all(
        math.isfinite(number)
        for point in chart.points
        for number in (point.value, point.lower, point.upper)
    )


@given(heights)
def test_charts_of_values_have_numbers_around_their_centre(values):
    for chart in (
        individuals_chart(values),
        ewma(values, lambda_=0.2, target=3300, sigma=90),
        ewma(values, lambda_=1.0, target=3300, sigma=90, steady=True),
    ):
        assert all_finite(chart)
        assert all(point.lower <= chart.centre <= point.upper for point in chart.points)
        signals = [number for number, point in enumerate(chart.points, 1) if point.signal]
        assert list(chart.out) == signals


@given(groups)
def test_charts_of_groups_have_numbers_around_their_centre(values):
    charts = [xbar_s(values)]
    if len({len(group) for group in values}) <= 1:
        charts.append(xbar_r(values))
    for chart in charts:
        assert all_finite(chart.means)
        assert all_finite(chart.spreads)
        for point in chart.means.points:
            assert point.lower <= chart.means.centre <= point.upper


@given(groups, st.floats(-3000, 3000), st.floats(0.1, 30))
def test_groups_in_other_units_signal_alike(values, offset, scale):
    here = xbar_s(values)
    there = xbar_s([[offset + scale * value for value in group] for group in values])
    for one, other in zip(here.means.points, there.means.points, strict=True):
        # A point on its limit may fall on either side once it is rounded.
        room = min(abs(one.value - one.lower), abs(one.upper - one.value))
        if room > 1e-6 * max(here.sigma, 1):
            assert one.signal is other.signal


@given(counted())
def test_charts_of_counts_have_numbers_around_their_centre(blocks):
    for bad, due in zip(*blocks, strict=True):
        centre = sum(bad) / sum(due)
        for chart in (
            u_chart(bad, due),
            laney_p(bad, due),
            ewma_of_fractions(bad, due, lambda_=0.3, centre=centre),
        ):
            assert all_finite(chart)
            assert all(point.lower <= chart.centre <= point.upper for point in chart.points)


@given(counted(least_due=0), st.floats(0.01, 0.99) | st.none())
def test_all_workers_together_are_charted_as_one_by_one(blocks, centre):
    """Blocks that are not there are as if they were left out."""
    bad, due = blocks
    together = charts_of_many(bad, due, centre=centre)
    limits = np.broadcast_to(together.ewma_limit, together.z.shape)
    for worker, (counts, trees) in enumerate(zip(bad, due, strict=True)):
        there = [place for place, number in enumerate(trees) if number]
        alone = charts_of_one(
            [counts[place] for place in there], [trees[place] for place in there], centre=centre
        )
        for place, point in zip(there, alone, strict=True):
            found = (
                together.z[worker, place],
                together.ewma[worker, place],
                limits[worker, place],
                together.high[worker, place],
                together.low[worker, place],
            )
            assert found == pytest.approx(point[:5], rel=1e-9, abs=1e-9)
        signals = [bool(together.signal[worker, place]) for place in there]
        for found, point in zip(signals, alone, strict=True):
            edges = (abs(point.z) - 3, abs(point.ewma) - point.ewma_limit)
            if min(map(abs, (*edges, max(point.high, point.low) - 5))) > 1e-9:
                assert found is point.signal
        assert not any(
            together.signal[worker, place] for place in set(range(len(trees))) - {*there}
        )
        first = int(together.first_signal[worker])
        assert first == next((place + 1 for place in there if together.signal[worker, place]), 0)


@given(heights, st.floats(0, 2), st.floats(0.5, 8))
def test_a_cusum_is_the_farthest_that_values_have_gone(values, k, h):
    """Its sum is that over the stretch, up to now, in which the excess is largest."""
    chart = tabular_cusum(values, target=3300, k=k, h=h, sigma=90)
    for number, point in enumerate(chart.points):
        stretches = [
            math.fsum(value - 3300 - 90 * k for value in values[first : number + 1])
            for first in range(number + 2)
        ]
        assert point.plus == pytest.approx(max(stretches), abs=1e-6)
        assert point.plus == 0 or point.plus_run > 0


@given(outcome_lists, designs)
def test_sums_of_single_trees_start_again_from_nothing(outcomes, design):
    path = bernoulli_cusum(outcomes, design)
    assert all(total >= 0 for total in path.sums)
    for number, run in enumerate(path.runs, start=1):
        stretch = outcomes[number - run : number]
        total = sum(design.score_fault if fault else design.score_good for fault in stretch)
        assert path.sums[number - 1] == total
    if path.since is not None:
        # The run that led to a signal begins with a fault.
        assert outcomes[path.since - 1]
        assert path.sums[path.first_signal - 1] >= design.threshold


@given(designs, fractions, fractions, st.integers(0, 40), st.integers(0, 40))
def test_signals_grow_with_faults_and_trees(design, one, other, trees, more):
    low, high = sorted((one, other))
    chance = bernoulli_signal_chance(design, low, trees)
    assert 0 <= chance <= 1
    assert chance <= bernoulli_signal_chance(design, high, trees) + 1e-12
    assert chance <= bernoulli_signal_chance(design, low, trees + more) + 1e-12


@settings(deadline=None, max_examples=15)
@given(designs, st.floats(0.2, 0.9))
def test_the_mean_run_length_is_the_sum_of_the_chances_to_go_on(design, p):
    mean = arl_bernoulli(design, p)
    assume(mean is not None and mean < 60)
    going_on = [1 - bernoulli_signal_chance(design, p, tree) for tree in range(0, 2000, 50)]
    assume(going_on[-1] < 1e-12)
    # Halfway sums: between two trees 50 apart the chance only falls.
    assert 50 * sum(going_on[1:]) <= mean <= 50 * sum(going_on)


@settings(deadline=None, max_examples=15)
@given(st.floats(0.01, 0.4), st.floats(0.05, 0.5), st.integers(1, 120), st.floats(0.001, 0.2))
def test_designs_of_a_season_keep_their_promise(p0, gap, trees, false_signal):
    design = bernoulli_season_design(p0, p0 + gap, trees=trees, false_signal=false_signal)
    assert bernoulli_signal_chance(design, p0, trees) <= false_signal * (1 + 1e-6)


@given(fractions, st.integers(1, 40), st.integers(1, 60), st.floats(0.0005, 0.2))
def test_blocks_of_a_season_keep_their_promise(centre, size, blocks, false_signal):
    limit = season_block_limits(centre, size, blocks=blocks, false_signal=false_signal)
    assert 0 <= limit <= size
    tail = exact_tail(range(limit + 1, size + 1), size, centre)
    assert 1 - (1 - tail) ** blocks <= false_signal * (1 + 1e-6) + 1e-12


@given(st.lists(st.floats(-4, 4), max_size=40))
def test_rules_look_the_same_upside_down(z):
    assert first_signals(z) == first_signals([-value for value in z])


@given(st.lists(st.floats(-4, 4), max_size=40), st.floats(-4, 4))
def test_a_point_more_takes_no_signal_back(z, value):
    after = first_signals([*z, value])
    for rule, point in first_signals(z).items():
        assert point is None or after[rule] == point


@settings(deadline=None, max_examples=15)
@given(st.integers(2, 60))
def test_constants_of_larger_samples_are_nearer_to_those_of_the_whole(size):
    small, large = control_constants(size), control_constants(size + 1)
    assert small.c4 < large.c4 < 1
    assert small.d2 < large.d2
    assert small.d3 / small.d2 > large.d3 / large.d2
    assert small.A3 > large.A3
    assert small.B4 > large.B4
    assert 0 <= small.D3 <= large.D3 < 1


@settings(deadline=None, max_examples=20)
@given(st.floats(0.1, 1.5), st.floats(0.5, 6), st.floats(0, 3))
def test_run_lengths_fall_with_the_shift_and_grow_with_the_limits(k, h, shift):
    assert arl_cusum(k, h, shift) <= arl_cusum(k, h, shift / 2) * (1 + 1e-9)
    assert arl_cusum(k, h, shift) <= arl_cusum(k, h + 0.5, shift) * (1 + 1e-9)
    assert arl_cusum(k, h, shift, headstart=h / 2) <= arl_cusum(k, h, shift) * (1 + 1e-9)


@settings(deadline=None, max_examples=15)
@given(st.floats(0.05, 1), st.floats(1.5, 3.5), st.floats(0, 3))
def test_limits_that_widen_signal_no_later(lambda_, sigmas, shift):
    steady, varying = (arl_ewma(lambda_, sigmas, shift, varying=way) for way in (False, True))
    assert 1 <= varying <= steady * (1 + 1e-9)


@settings(deadline=None, max_examples=20)
@given(st.sets(st.sampled_from([rule for rule in RunRule if rule.value[0] != "1"])))
def test_another_rule_never_makes_a_chart_slower(rules):
    by_zones = rules - {RunRule.SIX_TREND, RunRule.FOURTEEN_ALTERNATING}
    assume(by_zones)
    alone = arl_run_rules(by_zones)
    assert arl_run_rules({*by_zones, RunRule.BEYOND_3S}) <= alone * (1 + 1e-9)


@given(st.integers(1, 12), st.integers(0, 2**32 - 1))
def test_mean_steps_solve_the_linear_system(states, seed):
    chances = np.random.default_rng(seed).dirichlet(np.ones(states + 1), states)
    moves, leaving = chances[:, :states], chances[:, states]
    assume(leaving.max() > 0.01)
    expected = np.linalg.solve(np.eye(states) - moves, np.ones(states))
    assert mean_steps(moves, leaving) == pytest.approx(expected, rel=1e-6)


@given(st.lists(st.floats(5, 10), max_size=12), st.floats(4, 7), st.floats(0.5, 4))
def test_capability_has_numbers_in_order(values, lower, width):
    found = capability_of(values, lower=lower, upper=lower + width)
    # Values that differ in their last places only have indices without end.
    assume(found is not None and found.sigma > 1e-3)
    assert found.cpk == min(found.cpl, found.cpu) <= found.cp * (1 + 1e-9)
    assert found.cpm <= found.cp * (1 + 1e-9)
    for low, high in (found.cp_interval, found.cpk_interval, found.cpm_interval):
        assert math.isfinite(low)
        assert low <= high < math.inf
    assert 0 <= found.share_below <= 1
    assert 0 <= found.share_above <= 1
