"""Signals of a season: how often they are false, how soon they come, and what they say."""

from datetime import date, timedelta
from statistics import NormalDist

import pytest
from scipy.stats import binom

from audits.control import signals as signals_module
from audits.control.bernoulli import BernoulliCusum
from audits.control.blocks import block_chart
from audits.control.choice import ChartKind, DueTree, choose_chart, scatter_of_blocks
from audits.control.directions import what_to_do
from audits.control.heights import HeightSignal, heights_chart
from audits.control.limits import Signal, sigma_limits
from audits.control.measures import read_measures
from audits.control.signals import (
    FALSE_SIGNALS_A_SEASON,
    FALSE_SIGNALS_A_STAGE,
    hard_block,
    season_charts,
    season_promise,
    stage_charts,
    steady_centre,
    sum_of_faults,
    worse_than,
)
from audits.units import LengthKind
from audits.vocabulary import STAGE_FAULTS, Fault, Stage
from tests.false_signals import ACCEPTED, chances, season_of

DAY = date(2026, 1, 12)
STEADY = dict.fromkeys(Stage, ACCEPTED)
# So many audits of 24 trees at most, which stop at about 21, make 400 due trees.
AUDITS = 18


def trees_of(pattern, *, block_id=1, fault=Fault.HIGH, begin=DAY):
    """Return a due tree a letter, ten a day: x nonconforming, o conforming."""
    return [
        DueTree(
            letter == "x",
            begin + timedelta(days=place // 10),
            block_id,
            (fault,) if letter == "x" else (),
        )
        for place, letter in enumerate(pattern)
    ]


def charts_of(trees, stage=Stage.TOP, *, beside_standard=True):
    return stage_charts(stage, trees, accepted=ACCEPTED, beside_standard=beside_standard)


# --- how often a signal is false, and how soon a true one comes


def false_signals(seasons, **options):
    random = chances(20260112)
    return sum(
        season_of(random, STEADY, audits=AUDITS, **options) is not None for _ in range(seasons)
    )


def most_by_chance(seasons, chance=FALSE_SIGNALS_A_SEASON):
    """Return what is passed once in a thousand runs if the promise is just kept."""
    return int(binom.ppf(0.999, seasons, chance))


def test_a_steady_worker_seldom_gets_a_false_signal(volume):
    """Over all four stages and all charts, looked at after every audit."""
    seasons = volume(short=80, long=2_000)
    assert false_signals(seasons) <= most_by_chance(seasons)


@pytest.mark.parametrize(("height_mm", "spread_mm"), [(0.0, 76.0), (75.0, 45.0)])
def test_nor_does_one_whose_tops_are_measured(volume, height_mm, spread_mm):
    """Heights at the target or off it, as long as 5 % or fewer lie beyond the band."""
    seasons = volume(short=20, long=1_000)
    found = false_signals(seasons, height_mm=height_mm, spread_mm=spread_mm)
    assert found <= most_by_chance(seasons)


def test_usual_limits_for_each_block_would_break_the_promise(volume):
    """The planted defect: 0.27 % a block, instead of a share of the season."""

    def by_usual_limits(_stage, audits):
        outcomes = [tree.nonconforming for audit in audits for tree in audit]
        return any(
            point.signal is Signal.ABOVE for point in block_chart(outcomes, centre=ACCEPTED).points
        )

    seasons = volume(short=80, long=2_000)
    assert false_signals(seasons, signals=by_usual_limits) > most_by_chance(seasons)


def test_audits_as_points_would_break_the_promise(volume):
    """The planted defect: a point is an audit, which stops early when it goes badly."""

    def by_audits(_stage, audits):
        wrong = sum(tree.nonconforming for tree in audits[-1])
        limits = sigma_limits(ACCEPTED, len(audits[-1]))
        return limits.signal(wrong / len(audits[-1])) is Signal.ABOVE

    seasons = volume(short=80, long=2_000)
    assert false_signals(seasons, signals=by_audits) > most_by_chance(seasons)


def test_a_doubled_rate_shows_within_the_median_that_the_page_promises(volume):
    """In half of the cases or more: blocks help the sum a little."""
    seasons = volume(short=60, long=1_000)
    median = season_promise(season_charts(ACCEPTED)).median_trees
    random = chances(7)

    def found_in_time(rate):
        found = (season_of(random, {Stage.LIMBS: rate}, audits=30) for _ in range(seasons))
        # Looks fall at the end of audits, so the tree may lie a few trees before.
        return sum(one is not None and one[1] <= median + 24 for one in found)

    least = binom.ppf(0.001, seasons, 0.5)
    assert found_in_time(worse_than(ACCEPTED)) >= least
    # It is the doubled rate that is found, and not any.
    assert found_in_time(ACCEPTED) < least


@pytest.mark.parametrize("centre", [0.01, 0.02, 0.05, 0.1, 0.25, 0.5])
@pytest.mark.parametrize("with_heights", [False, True])
def test_the_exact_chances_of_all_stages_add_up_to_no_more_than_the_promise(centre, with_heights):
    promise = season_promise(season_charts(centre, with_heights=with_heights))
    assert 0 < promise.false_signal <= FALSE_SIGNALS_A_STAGE * (1 + 1e-9)
    assert FALSE_SIGNALS_A_STAGE * len(Stage) == pytest.approx(FALSE_SIGNALS_A_SEASON)


def test_a_sum_for_a_doubled_rate_finds_it_sooner_than_one_for_three_times_the_rate():
    """The reason for the choice, with its figures."""
    own = season_charts(ACCEPTED).design
    other = signals_module.bernoulli_season_design(
        ACCEPTED, 3 * ACCEPTED, trees=400, false_signal=signals_module.SHARE_OF_SUM
    )
    medians = [signals_module.bernoulli_median(design, 2 * ACCEPTED) for design in (own, other)]
    assert medians == [267, 318]


# --- the yardstick


@pytest.mark.parametrize(
    ("accepted", "own", "centre"),
    [(0.05, None, 0.05), (0.05, 0.0, 0.05), (0.05, 0.1, 0.1), (0.05, 0.101, 0.105), (0.05, 1, 0.5)],
)
def test_nobody_is_held_to_less_than_the_standard_nor_to_more_than_half(accepted, own, centre):
    assert steady_centre(accepted, own) == pytest.approx(centre)


def test_a_worse_rate_stays_below_all_trees():
    assert worse_than(0.05) == 0.1
    assert worse_than(0.5) == 0.75
    assert worse_than(0.9) == pytest.approx(0.95)


# --- the sum of faults


def test_the_sum_stops_at_the_threshold_and_its_signal_ends_with_ten_right_trees():
    design = BernoulliCusum(5, -1, threshold=12)
    found = sum_of_faults([False] * 2 + [True] * 9 + [False] * 9, design)
    assert max(found.sums) == 12
    assert (found.since, found.out[0]) == (3, 5)
    assert found.has_signal
    assert not sum_of_faults([False] * 2 + [True] * 9 + [False] * 10, design).has_signal


def test_a_later_run_has_a_day_of_its_own():
    design = BernoulliCusum(5, -1, threshold=10)
    found = sum_of_faults([True, True] + [False] * 12 + [True, True], design)
    assert found.since == 15


# --- what a signal says


def test_no_signal_below_thirty_trees_and_none_without_faults():
    assert charts_of(trees_of("x" * 29)).signal is None
    assert charts_of(trees_of("x" * 29)).blocks is None
    assert charts_of(trees_of("o" * 400)).signal is None


def test_all_faults_signal_even_beside_ones_own_rate():
    signal = charts_of(trees_of("x" * 60), beside_standard=False).signal
    assert signal.since == DAY


def test_a_signal_says_since_when_which_way_and_what_to_do():
    signal = charts_of(trees_of("o" * 40 + "x" * 6 + "oooo")).signal
    assert str(signal.sentence) == (
        "Tops run high since January 16: check the mark on the pole, then show the front of the "
        "card."
    )
    assert (signal.due, signal.nonconforming) == (10, 6)


@pytest.mark.parametrize("stage", Stage)
def test_every_fault_of_every_stage_has_its_sentence(stage):
    faults = [*STAGE_FAULTS[stage], Fault.TREE_MISSED, Fault.SIDE_MISSED]
    sentences = {str(what_to_do(stage, DAY, {fault: 3}, 3)) for fault in faults}
    assert len(sentences) == len(faults)
    assert all("since January 12" in sentence for sentence in sentences)


def test_no_fault_is_named_that_does_not_lead():
    for counts in ({}, {Fault.TOO_FEW: 2}, {Fault.TOO_FEW: 3, Fault.TOO_MANY: 3}):
        sentence = str(what_to_do(Stage.LIMBS, DAY, counts, 6))
        assert "in several ways" in sentence


def test_a_measured_height_is_told_only_on_the_side_of_the_fault():
    high = what_to_do(Stage.TOP, DAY, {Fault.HIGH: 4}, 5, height_mm=101.6)
    assert str(high).startswith("Tops run 4 in high since January 12: check the mark on the pole")
    low = what_to_do(Stage.TOP, DAY, {Fault.HIGH: 4}, 5, height_mm=-20)
    assert str(low).startswith("Tops run high since")


# --- a hard block


def signal_in_block(pattern="o" * 30 + "xoxoxooxox" * 3):
    trees = [
        tree._replace(block_id=2 if place >= 30 else 1)
        for place, tree in enumerate(trees_of(pattern))
    ]
    return charts_of(trees).signal, trees


@pytest.mark.parametrize(
    ("others", "elsewhere", "is_hard"),
    [
        ((60, 120), (10, 200), True),
        # Others do well there, so the block explains nothing.
        ((5, 120), (10, 200), False),
        # Too few trees of others to tell.
        ((15, 29), (10, 200), False),
        # The farm is as bad everywhere: then it is no matter of this block.
        ((60, 120), (100, 200), False),
    ],
)
def test_a_hard_block_is_told_from_a_person(others, elsewhere, is_hard):
    signal, trees = signal_in_block()
    own = (15, 30)
    sums = {2: (others[0] + own[0], others[1] + own[1]), 1: (elsewhere[0], elsewhere[1] + 30)}
    found = hard_block(signal, trees, sums, ACCEPTED)
    assert (found is not None) is is_hard
    if found:
        assert (found.block_id, found.nonconforming, found.due) == (2, *others)


def test_somebody_worse_than_others_in_a_hard_block_is_not_excused_by_it():
    signal, trees = signal_in_block("o" * 30 + "x" * 30)
    sums = {2: (60 + 30, 200 + 30), 1: (10, 230)}
    assert hard_block(signal, trees, sums, ACCEPTED) is None


# --- which chart


def test_counts_in_blocks_are_the_rule():
    assert choose_chart(trees_of("oooxoooooo" * 5)).kind is ChartKind.BLOCKS


def test_rare_faults_are_charted_by_the_trees_between_them():
    charts = charts_of(trees_of(("o" * 49 + "x") * 6))
    assert charts.choice.kind is ChartKind.GAPS
    assert [point.value for point in charts.gaps.points] == [49] * 5
    assert choose_chart(trees_of(("o" * 49 + "x") * 4)).kind is ChartKind.BLOCKS


def test_faults_in_runs_widen_the_limits():
    pattern = ("o" * 10 + "xxxxxxoooo") * 12
    charts = charts_of(trees_of(pattern))
    assert charts.choice.kind is ChartKind.WIDENED_BLOCKS
    assert charts.choice.widening > 2
    plain = season_charts(ACCEPTED)
    assert charts.limits.largest_inside > plain.largest_inside
    assert charts.limits.design.threshold > plain.design.threshold


def test_a_change_during_the_season_is_not_taken_for_runs():
    """Or it would be explained away."""
    assert scatter_of_blocks([0] * 10 + [3] * 10) == 1.0


def test_blocks_of_a_steady_worker_are_seldom_taken_for_runs():
    random = chances(3)
    seasons = [
        [sum(random.random() < 0.1 for _ in range(10)) for _ in range(30)] for _ in range(2_000)
    ]
    widened = sum(scatter_of_blocks(counts) > 1 for counts in seasons)
    assert widened < 0.02 * len(seasons)


def measured(*heights, tolerance=150.0):
    return [
        DueTree(
            abs(height) > tolerance, DAY + timedelta(days=place // 10), 1, (), height, tolerance
        )
        for place, height in enumerate(heights)
    ]


def test_measured_heights_are_charted_by_their_means():
    random = chances(1)
    trees = measured(*(random.gauss(0, 40) for _ in range(40)))
    assert choose_chart(trees).kind is ChartKind.HEIGHTS
    # With fewer than half of the trees measured, counts speak for more of the work.
    assert choose_chart(trees[:30] + trees_of("oooxoooooo" * 4)).kind is ChartKind.BLOCKS


def bell(spread, mean=0.0):
    """Return ten heights that follow the bell curve as ten can."""
    law = NormalDist(mean, spread)
    return [law.inv_cdf((place + 0.5) / 10) for place in (3, 8, 0, 6, 9, 2, 5, 1, 7, 4)]


@pytest.mark.parametrize(
    ("shift", "signal"),
    [(150, HeightSignal.HIGH), (-150, HeightSignal.LOW), (0, None), (60, None)],
)
def test_heights_signal_on_both_sides_once_too_many_lie_beyond_the_band(shift, signal):
    heights = [*bell(40) * 5, *bell(40, mean=shift)]
    chart = heights_chart(measured(*heights), ACCEPTED, 0.00125)
    assert chart.is_normal
    assert chart.latest_signal is signal
    trees = measured(*heights)
    found = charts_of(trees).signal
    assert (found is None) is (signal is None)
    if found and shift > 0:
        assert str(found.sentence).startswith("Tops run 6 in high since January 17: check")


def test_uneven_heights_signal_too():
    chart = heights_chart(measured(*bell(200) * 5), ACCEPTED, 0.00125)
    assert chart.latest_signal is HeightSignal.UNEVEN
    assert chart.run_begin == 1
    assert heights_chart(measured(*bell(75) * 5), ACCEPTED, 0.00125).latest_signal is None


def test_heights_of_two_kinds_give_no_signal_by_their_mean():
    """Most on target and some far off: that is counted, not averaged."""
    random = chances(2)
    heights = [random.gauss(0, 30) + (320 if place % 6 == 0 else 0) for place in range(60)]
    chart = heights_chart(measured(*heights), ACCEPTED, 0.00125)
    assert not chart.is_normal
    assert chart.latest_signal is None


def test_equal_heights_are_charted_without_dividing_by_nothing():
    chart = heights_chart(measured(*[0.0] * 30), ACCEPTED, 0.00125)
    assert chart.latest_signal is None
    assert all(point.spread_mm == 0 for point in chart.points)


# --- what was measured


def test_measures_keep_the_floors():
    """Counts below 10 trees, a range below 30, the fit only beside the standard."""
    values = [[20.0], [60.0], [40.0]] * 20
    few = read_measures(values[:9], 150, LengthKind.HEIGHT, comparable=False)
    assert (few.interval, few.capability) == (None, None)
    some = read_measures(values[:29], 150, LengthKind.HEIGHT, comparable=False)
    assert some.interval.lower < 40 < some.interval.upper
    assert some.fit is None
    assert read_measures(values, 150, LengthKind.HEIGHT, comparable=False).fit is None
    assert read_measures(values, 150, LengthKind.HEIGHT, comparable=True).fit is not None
    assert read_measures([[5.0]] * 40, 150, LengthKind.HEIGHT, comparable=True).fit is None
    assert read_measures([], 150, LengthKind.HEIGHT, comparable=True) is None


def test_measures_tell_the_direction_with_its_sign():
    below = read_measures([[-1.0], [-2.0]] * 20, 1.5, LengthKind.DIAMETER, comparable=True)
    assert str(below.sentence).startswith("On average 1/16 in below the middle of the band")
    level = read_measures([[1.0], [-1.0]] * 20, 150, LengthKind.HEIGHT, comparable=True)
    assert str(level.sentence).startswith("On average right on the target height")
