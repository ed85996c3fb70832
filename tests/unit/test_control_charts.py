"""Charts by hand, and with nothing, little, none or all to chart."""

import math
import subprocess
import sys
from dataclasses import fields, is_dataclass

import numpy as np
import pytest

from audits.control.bernoulli import BernoulliCusum, bernoulli_cusum, bernoulli_weights
from audits.control.capability import capability, capability_of, cpk_interval
from audits.control.constants import c4, control_constants, d2, d3
from audits.control.counts import c_chart, np_chart, u_chart
from audits.control.cusum import tabular_cusum
from audits.control.ewma import ewma, ewma_of_fractions
from audits.control.individuals import individuals_chart
from audits.control.laney import laney_p, laney_u
from audits.control.limits import Signal
from audits.control.many import charts_of_many
from audits.control.p_chart import p_chart
from audits.control.rare import g_chart, t_chart
from audits.control.run_rules import RunRule, first_signals, nelson, western_electric
from audits.control.shewhart import NoLimits
from audits.control.standardised import NO_BLOCKS, ChartSettings, charts_of_one, standardised, step
from audits.control.xbar import xbar_r, xbar_s

EWMA = {"lambda_": 0.2, "target": 10.0, "sigma": 1.0}
CUSUM = {"target": 10.0, "k": 0.5, "h": 5.0}
SINGLE_TREES = BernoulliCusum(9, -1, threshold=40)

# What each chart makes of a list of counts, values or groups.
ALL_CHARTS = {
    "p": lambda counts: p_chart(counts, [10] * len(counts)),
    "np": lambda counts: np_chart(counts, 10),
    "c": c_chart,
    "u": lambda counts: u_chart(counts, [10] * len(counts)),
    "laney p": lambda counts: laney_p(counts, [10] * len(counts)),
    "laney u": lambda counts: laney_u(counts, [10] * len(counts)),
    "individuals": individuals_chart,
    "x-bar s": lambda counts: xbar_s([[count, count] for count in counts]),
    "x-bar s of any size": lambda counts: xbar_s(
        [[count] * (2 + place % 2) for place, count in enumerate(counts)]
    ),
    "x-bar r": lambda counts: xbar_r([[count, count] for count in counts]),
    "ewma": lambda counts: ewma(counts, **EWMA),
    "ewma of fractions": lambda counts: ewma_of_fractions(
        counts, [10] * len(counts), lambda_=0.2, centre=0.1
    ),
    "cusum": lambda counts: tabular_cusum(counts, **CUSUM),
    "g": g_chart,
    "t": t_chart,
    "standardised": lambda counts: charts_of_one(counts, [10] * len(counts)),
    "single trees": lambda counts: bernoulli_cusum(map(bool, counts), SINGLE_TREES),
    "western electric": western_electric,
    "nelson": nelson,
}


def numbers_in(thing):
    """Yield every number in a result, however deep."""
    if isinstance(thing, float | int):
        yield thing
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from numbers_in(getattr(thing, field.name))
    elif isinstance(thing, tuple):
        for part in thing:
            yield from numbers_in(part)


@pytest.mark.parametrize("counts", [[], [0], [10], [3], [0] * 5, [10] * 5, [0, 10], [0, 10] * 20])
@pytest.mark.parametrize("chart", ALL_CHARTS.values(), ids=ALL_CHARTS.keys())
def test_nothing_little_none_and_all_give_numbers_only(chart, counts):
    assert all(map(math.isfinite, numbers_in(chart(counts))))


def test_the_look_for_numbers_finds_what_is_none():
    assert not all(
        map(math.isfinite, numbers_in((*p_chart([1], [10], centre=0.1).points, math.nan)))
    )


@pytest.mark.parametrize(
    "name", ["np", "c", "u", "laney p", "laney u", "individuals", "ewma", "cusum", "g", "t"]
)
def test_a_chart_of_nothing_says_so(name):
    chart = ALL_CHARTS[name]([])
    assert chart.points == ()
    assert chart.reason is NoLimits.NO_POINTS
    assert chart.out == ()


@pytest.mark.parametrize("name", ["laney p", "laney u", "individuals", "t"])
def test_charts_of_neighbours_need_two_points(name):
    chart = ALL_CHARTS[name]([3])
    assert chart.points == ()
    assert chart.reason is NoLimits.TOO_FEW_POINTS
    assert chart.centre is not None


@pytest.mark.parametrize("name", ["laney p", "laney u", "individuals", "t"])
def test_values_that_never_vary_have_limits_on_the_centre_and_no_signal(name):
    chart = ALL_CHARTS[name]([0] * 5)
    assert chart.reason is NoLimits.NO_VARIATION
    assert chart.out == ()
    assert all(point.lower == point.upper == chart.centre for point in chart.points)


def test_groups_without_spread_say_so():
    for chart in (xbar_s([[4, 4], [4, 4, 4]]), xbar_s([[4, 4]]), xbar_r([[4, 4], [4, 4]])):
        assert chart.sigma == 0
        assert chart.means.reason is chart.spreads.reason is NoLimits.NO_VARIATION
        assert chart.means.out == ()


def test_no_groups_have_no_spread():
    for chart in (xbar_s([]), xbar_r([])):
        assert chart.sigma is None
        assert chart.means.reason is chart.spreads.reason is NoLimits.NO_POINTS


def test_an_np_chart_is_a_p_chart_in_counts():
    counts = [2, 1, 9, 0, 3]
    fractions, whole = p_chart(counts, [20] * 5), np_chart(counts, 20)
    assert whole.centre == pytest.approx(20 * fractions.centre)
    for point, fraction in zip(whole.points, fractions.points, strict=True):
        assert point.upper == pytest.approx(20 * fraction.upper)
        assert point.lower == pytest.approx(20 * fraction.lower)
        assert point.signal is fraction.signal


def test_points_with_a_known_cause_leave_the_centre_alone():
    # 4 in 40 without the second; all samples are charted all the same.
    assert p_chart([2, 20, 2], [20] * 3, left_out=[2]).centre == 0.1
    assert np_chart([2, 20, 2], 20, left_out=[2]).centre == 2
    assert u_chart([2, 90, 4], [1, 1, 2], left_out=[2]).centre == 2
    chart = c_chart([2, 90, 4], left_out={2})
    assert chart.centre == 3
    assert chart.out == (2,)


def test_a_known_mean_and_spread_take_the_place_of_those_of_the_values():
    chart = individuals_chart([5.0], centre=4.0, sigma=0.5)
    assert (chart.points[0].lower, chart.points[0].upper) == (2.5, 5.5)
    assert chart.ranges.reason is NoLimits.TOO_FEW_POINTS
    assert u_chart([9], [1], centre=1.0).out == (1,)
    # Three sigma over the root of 4, whatever the groups' own spread.
    groups = xbar_s([[9, 9, 9, 9], [13, 14, 15, 16]], centre=10.0, sigma=2.0)
    assert groups.means.points[0].upper == pytest.approx(13.0)
    assert groups.means.out == (2,)
    assert groups.spreads.centre == pytest.approx(2 * c4(4))
    ranges = xbar_r([[9, 9, 9, 9], [13, 14, 15, 16]], centre=10.0, sigma=2.0)
    assert ranges.means.points[0].upper == pytest.approx(13.0)
    assert ranges.spreads.centre == pytest.approx(2 * d2(4))


def test_groups_of_two_sizes_with_a_known_spread_have_limits_of_their_size():
    chart = xbar_s([[9, 11], [9, 10, 10, 11]], centre=10.0, sigma=2.0)
    reaches = [point.upper - 10 for point in chart.means.points]
    assert reaches == pytest.approx([6 / math.sqrt(2), 3.0])


def test_laney_widens_what_neighbours_differ_by():
    """Blocks that swing between 5 and 15 in 20 are no surprise to a chart that knows them."""
    counts = [5, 15] * 10
    plain = p_chart(counts, [20] * 20, sigmas=2)
    assert sum(point.signal is not None for point in plain.points) == 20
    chart = laney_p(counts, [20] * 20, sigmas=2)
    assert chart.sigma_z > 3
    assert chart.out == ()


def test_an_ewma_knows_since_when():
    chart = ewma([9.5, 10.2, 11, 13, 14, 15, 16], lambda_=0.3, target=10, sigma=1)
    assert chart.first_signal == 5
    assert chart.since == 3
    assert chart.points[4].signal is Signal.ABOVE
    assert ewma([10.0], **EWMA).since is None


def test_a_cusum_knows_since_when_and_on_which_side():
    chart = tabular_cusum([11, 10, 8, 7, 6], **CUSUM)
    assert chart.first_signal == 4 + 1
    assert chart.since == 3
    assert chart.points[4].signal is Signal.BELOW
    assert tabular_cusum([10.0], **CUSUM).since is None


def test_a_sum_on_the_decision_interval_is_inside():
    # 0.1 + 0.2 is a little above 0.3 in floats.
    chart = tabular_cusum([0.1, 0.2], target=0, k=0, h=0.3)
    assert chart.out == ()


def test_a_cusum_in_other_units_is_the_same():
    feet = tabular_cusum([10, 11, 13, 14], target=10, k=0.5, h=5, headstart=2.5)
    inches = tabular_cusum([120, 132, 156, 168], target=120, k=0.5, h=5, sigma=12, headstart=2.5)
    assert inches.out == feet.out
    assert inches.decision_interval == 60
    for small, large in zip(feet.points, inches.points, strict=True):
        assert large.plus == pytest.approx(12 * small.plus)


def test_a_cusum_of_trees_knows_since_when():
    outcomes = [True] + [False] * 9 + [True, False, True, False, True, True, True]
    path = bernoulli_cusum(outcomes, SINGLE_TREES)
    assert path.sums[:11] == (9, 8, 7, 6, 5, 4, 3, 2, 1, 0, 9)
    assert path.first_signal == 17
    assert path.since == 11
    assert path.out == (17,)
    quiet = bernoulli_cusum([False] * 5, SINGLE_TREES)
    assert (quiet.first_signal, quiet.since, quiet.sums) == (None, None, (0,) * 5)


def test_a_start_above_nothing_signals_sooner():
    warned = BernoulliCusum(9, -1, threshold=40, start=20)
    faults = [True] * 5
    assert bernoulli_cusum(faults, warned).first_signal == 3
    assert bernoulli_cusum(faults, SINGLE_TREES).first_signal == 5


def test_a_g_chart_of_faults_one_after_another_has_no_room():
    chart = g_chart([0, 0, 0])
    assert chart.fraction == 1.0
    assert [(point.lower, point.upper) for point in chart.points] == [(0.0, 0.0)] * 3


def test_limits_of_times_are_told_in_times():
    chart = t_chart([34.1, 109.1, 31.5, 39.3, 80.8])
    assert chart.points[0].upper == pytest.approx(chart.upper**0.2777)
    assert 0 <= chart.lower < 31.5


@pytest.mark.parametrize(
    ("z", "rule", "since"),
    [
        ([0, 3.1], RunRule.BEYOND_3S, 2),
        ([-2.1, 0, -2.2], RunRule.TWO_OF_THREE_BEYOND_2S, 1),
        ([0, 1.1, 1.1, 0.5, 1.1, 1.1], RunRule.FOUR_OF_FIVE_BEYOND_1S, 2),
        ([-0.1] + [0.1] * 8, RunRule.EIGHT_SAME_SIDE, 2),
        ([-0.1] + [0.1] * 9, RunRule.NINE_SAME_SIDE, 2),
        ([1, 0, 0.1, 0.2, 0.3, 0.4, 0.5], RunRule.SIX_TREND, 2),
        ([1, 0] * 7, RunRule.FOURTEEN_ALTERNATING, 1),
        ([2] + [0.5, -0.5] * 7 + [0], RunRule.FIFTEEN_WITHIN_1S, 2),
        ([0, 1.1, 1.1, -1.1, 1.1, -1.1, 1.1, 1.1, -1.1], RunRule.EIGHT_BEYOND_1S_BOTH_SIDES, 2),
    ],
)
def test_a_pattern_ends_where_it_is_complete_and_knows_where_it_began(z, rule, since):
    found = {signal.rule: signal for signal in (*nelson(z), *western_electric(z))}
    assert (found[rule].point, found[rule].since) == (len(z), since)
    assert first_signals(z[:-1])[rule] is None


def test_a_point_on_the_centre_line_ends_a_run():
    assert first_signals([0.1] * 5 + [0.0] + [0.1] * 7)[RunRule.EIGHT_SAME_SIDE] is None


def test_eight_on_one_side_beyond_one_sigma_are_not_on_both():
    z = [1.5] * 8
    assert first_signals(z)[RunRule.EIGHT_BEYOND_1S_BOTH_SIDES] is None
    assert first_signals([*z, -1.5])[RunRule.EIGHT_BEYOND_1S_BOTH_SIDES] == 9


def test_only_rules_asked_for_are_looked_for():
    assert first_signals([4.0], [RunRule.SIX_TREND]) == {RunRule.SIX_TREND: None}


def test_constants_of_three_sigmas_are_the_usual_and_of_others_are_not():
    usual, narrow = control_constants(5), control_constants(5, sigmas=2)
    assert pytest.approx(usual.A2 * 2 / 3) == narrow.A2
    assert narrow.d2 == usual.d2
    assert control_constants(7).D3 > 0


def test_capability_with_one_limit_says_what_that_limit_allows():
    found = capability(5.2, 1.1, 35, upper=8)
    assert found.cp is found.cpm is found.cpl is found.share_below is None
    assert found.cpk == found.cpu
    low = capability(-5.2, 1.1, 35, lower=-8)
    assert low.cpk == pytest.approx(found.cpk)
    assert low.share_below == pytest.approx(found.share_above)


def test_a_mean_beyond_the_limit_has_a_negative_index_and_ordered_limits():
    found = capability(9.0, 1.0, 10, lower=2, upper=8)
    assert found.cpk < 0
    assert found.cpk_interval.lower < found.cpk < found.cpk_interval.upper
    assert found.cpk_interval.lower < found.cpk_least < found.cpk
    assert found.share_above > 0.5


def test_values_that_tell_no_spread_have_no_capability():
    assert capability_of([], upper=9) is None
    assert capability_of([7.0], upper=9) is None
    assert capability_of([7.0, 7.0, 7.0], upper=9) is None
    assert capability_of([7.0, 7.2], upper=9).size == 2


def test_a_kept_state_moves_on_as_if_all_blocks_were_read_again():
    counts, due = [1, 0, 3, 2, 5], [10, 12, 10, 20, 10]
    state = NO_BLOCKS
    for block in zip(counts, due, strict=True):
        state = step(state, *block, 0.1)
    last = charts_of_one(counts, due, centre=0.1)[-1]
    assert (state.ewma, state.high, state.low) == (last.ewma, last.high, last.low)


def test_a_worker_whose_blocks_are_all_alike_has_nothing_to_stand_out():
    for counts in ([0, 0, 0], [10, 10, 10]):
        points = charts_of_one(counts, [10] * 3)
        assert {point.z for point in points} == {0.0}
        assert not any(point.signal for point in points)
    assert charts_of_one([], []) == ()


def test_all_workers_without_blocks_have_no_signals():
    for bad in (np.zeros((3, 0), int), np.zeros((0, 5), int), np.zeros((3, 5), int)):
        charts = charts_of_many(bad, bad)
        assert charts.first_signal.tolist() == [0] * len(bad)
        assert not charts.signal.any()
        assert np.isfinite(charts.ewma_limit).all()


def test_charts_of_one_worker_load_neither_numpy_nor_scipy():
    """A worker's page must not wait for them."""
    program = (
        "import sys\n"
        "from audits.control import bernoulli, counts, cusum, ewma, individuals, laney, rare\n"
        "from audits.control import run_lengths, run_rules, standardised, xbar\n"
        "run_lengths.bernoulli_season_design(0.05, 0.2, trees=50, false_signal=0.01)\n"
        "xbar.xbar_s([[1, 2], [2, 3]]), xbar.xbar_r([[1, 2], [2, 3]])\n"
        "laney.laney_p([1, 2], [10, 10]), rare.t_chart([1, 2])\n"
        "sys.exit('scipy' in sys.modules or 'numpy' in sys.modules)"
    )
    root = __file__.rsplit("/tests/", 1)[0]
    finished = subprocess.run([sys.executable, "-c", program], cwd=root, check=False)
    assert finished.returncode == 0


# A call, and what its message names.
OUT_OF_RANGE = [
    (lambda: p_chart([1], [10], left_out=[2]), "left_out .* 2"),
    (lambda: p_chart([1], [10], left_out=[1]), r"left_out .* \[1\]"),
    (lambda: np_chart([11], 10), "nonconforming .* 11"),
    (lambda: np_chart([1], 0), "size .* 0"),
    (lambda: np_chart([1], 10, centre=11), "centre .* 1.1"),
    (lambda: c_chart([-1]), "counts .* -1"),
    (lambda: c_chart([1], centre=-2), "centre .* -2"),
    (lambda: c_chart([1], sigmas=0), "sigmas .* 0"),
    (lambda: u_chart([math.nan], [1]), "counts .* nan .*1"),
    (lambda: u_chart([1], [0]), "units .* 0"),
    (lambda: u_chart([1, 2], [1]), "zip"),
    (lambda: laney_p([1], [0]), "due .* 0"),
    (lambda: laney_p([2, 1], [1, 1]), "2"),
    (lambda: laney_u([1], [-1]), "units .* -1"),
    (lambda: individuals_chart([1.0, math.inf]), "values .* inf .*2"),
    (lambda: individuals_chart([1.0], sigma=0), "sigma .* 0"),
    (lambda: individuals_chart([1.0], centre=math.nan), "centre .* nan"),
    (lambda: xbar_s([[1, 2], [3]]), "groups .* 1 .*group 2"),
    (lambda: xbar_s([[1, 2]], sigma=-1), "sigma .* -1"),
    (lambda: xbar_s([[1, 2]], centre=math.nan), "centre .* nan"),
    (lambda: xbar_r([[1, 2], [1, 2, 3]]), "groups .* 2 and 3"),
    (lambda: ewma([1], lambda_=0, target=0, sigma=1), "lambda_ .* 0"),
    (lambda: ewma([1], lambda_=0.2, target=0, sigma=0), "sigma .* 0"),
    (lambda: ewma([1], lambda_=0.2, target=math.nan, sigma=1), "target .* nan"),
    (lambda: ewma_of_fractions([1], [0], lambda_=0.2, centre=0.1), "due .* 0"),
    (lambda: ewma_of_fractions([2], [1], lambda_=0.2, centre=0.1), "nonconforming .* 2"),
    (lambda: ewma_of_fractions([1], [1], lambda_=0.2, centre=1.1), "centre .* 1.1"),
    (lambda: tabular_cusum([1], target=0, k=-1, h=5), "k .* -1"),
    (lambda: tabular_cusum([1], target=0, k=math.nan, h=5), "k .* nan"),
    (lambda: tabular_cusum([1], target=0, k=0.5, h=0), "h .* 0"),
    (lambda: tabular_cusum([1], target=0, k=0.5, h=5, headstart=6), "headstart .* 6"),
    (lambda: BernoulliCusum(0, -1, 5), "score_fault .* 0"),
    (lambda: BernoulliCusum(9, 1, 5), "score_good .* 1"),
    (lambda: BernoulliCusum(9, -1, math.nan), "threshold .* nan"),
    (lambda: BernoulliCusum(9, -1, 5, start=5), "start .* 5"),
    (lambda: bernoulli_weights(0, 0.1), "p0 .* 0"),
    (lambda: bernoulli_weights(0.1, 0.1), "p1 .* 0.1"),
    (lambda: g_chart([-1]), "between .* -1"),
    (lambda: g_chart([1], centre=-1), "centre .* -1"),
    (lambda: t_chart([-1.0]), "time_between .* -1"),
    (lambda: t_chart([1.0], power=0), "power .* 0"),
    (lambda: western_electric([0.0, math.nan]), "z .* nan .*2"),
    (lambda: c4(1), "size .* 1"),
    (lambda: d2(1.5), "size .* 1.5"),
    (lambda: d3(0), "size .* 0"),
    (lambda: capability(1, 0, 9, upper=2), "sigma .* 0"),
    (lambda: capability(1, 1, 1, upper=2), "n .* 1"),
    (lambda: capability(1, 1, 9), "lower and upper"),
    (lambda: capability(1, 1, 9, lower=3, upper=2), "upper .* 2"),
    (lambda: capability(1, 1, 9, upper=2, confidence=1), "confidence .* 1"),
    (lambda: capability(1, 1, 9, upper=math.inf), "upper .* inf"),
    (lambda: capability_of([1, math.nan], upper=2), "values .* nan"),
    (lambda: cpk_interval(math.nan, 9), "cpk .* nan"),
    (lambda: standardised(1, 10, 1.0), "centre .* 1.0"),
    (lambda: standardised(11, 10, 0.5), "nonconforming .* 11 of 10"),
    (lambda: charts_of_one([0], [0]), "due .* 0"),
    (lambda: charts_of_one([0], [10], centre=0.0), "centre .* 0.0"),
    (lambda: charts_of_many([1, 2], [10, 10]), "shape"),
    (lambda: charts_of_many([[1, 2]], [[10]]), "shape"),
    (lambda: charts_of_many([[1, 11]], [[10, 10]]), "nonconforming"),
    (lambda: charts_of_many([[-1]], [[10]]), "nonconforming"),
    (lambda: charts_of_many([[0]], [[-1]]), "nonconforming"),
    (lambda: charts_of_many([[1]], [[10]], centre=[1.0]), "centre .* 1.0"),
    (lambda: ChartSettings(lambda_=1.5), "lambda_ .* 1.5"),
    (lambda: ChartSettings(h=0), "h .* 0"),
]


@pytest.mark.parametrize(("call", "named"), OUT_OF_RANGE, ids=range(len(OUT_OF_RANGE)))
def test_numbers_out_of_range_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()
