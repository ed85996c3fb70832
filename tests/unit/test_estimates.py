"""Edges of the intervals, and what may be said of a rate."""

import math
import subprocess
import sys

import pytest

from audits.errors import InvalidInput
from audits.estimates import (
    Interval,
    RateLevel,
    agresti_coull,
    clopper_pearson,
    describe_rate,
    exact_lower_limit,
    exact_upper_limit,
    jeffreys,
    lot_limits,
    lot_upper_limit,
    newcombe_difference,
    normal_in_lot,
    ratio_of_sums,
    wald,
    wilson,
    wilson_corrected,
    wilson_in_lot,
    wilson_of_share,
)

INTERVALS = [
    wilson,
    wilson_corrected,
    clopper_pearson,
    exact_lower_limit,
    exact_upper_limit,
    jeffreys,
    agresti_coull,
    wald,
]
WELL_SPREAD = {"days": 3, "rows": 3, "auditors": 2}


@pytest.mark.parametrize("interval", INTERVALS)
@pytest.mark.parametrize(
    ("count", "total", "confidence", "name"),
    [
        (-1, 10, 0.95, "count"),
        (11, 10, 0.95, "count"),
        (0.5, 10, 0.95, "count"),
        (0, -1, 0.95, "total"),
        (1, 10.5, 0.95, "total"),
        (1, 10, 0.0, "confidence"),
        (1, 10, 1.0, "confidence"),
        (1, 10, math.nan, "confidence"),
    ],
)
def test_impossible_samples_are_refused_by_name(interval, count, total, confidence, name):
    with pytest.raises(InvalidInput) as refused:
        interval(count, total, confidence)
    assert list(refused.value.problems) == [name]


def test_a_refusal_says_what_was_typed_and_what_may_be():
    with pytest.raises(InvalidInput, match="a whole number from 0 to 10; it is 11"):
        wilson(11, 10)
    with pytest.raises(InvalidInput, match="above 0 and below 1; 95 does not"):
        wilson(1, 10, confidence=95)


@pytest.mark.parametrize("interval", [wilson, wilson_corrected, clopper_pearson, agresti_coull])
def test_an_empty_sample_leaves_everything_possible(interval):
    assert interval(0, 0) == pytest.approx(Interval(0.0, 1.0), abs=1e-15)


def test_an_empty_sample_leaves_jeffreys_with_its_prior():
    # Quantiles of the arcsine law: sin(pi q / 2) squared.
    lower, upper = jeffreys(0, 0)
    assert lower == pytest.approx(math.sin(math.pi * 0.025 / 2) ** 2)
    assert upper == pytest.approx(math.sin(math.pi * 0.975 / 2) ** 2)


@pytest.mark.parametrize("interval", [wilson, wilson_corrected, clopper_pearson])
def test_a_sample_without_faults_reaches_exactly_zero(interval):
    assert interval(0, 7).lower == 0.0
    assert interval(7, 7).upper == 1.0


@pytest.mark.parametrize(
    ("samples", "name"),
    [
        ((0, 0, 1, 10), "total_one"),
        ((1, 10, 0, 0), "total_two"),
        ((11, 10, 1, 10), "count_one"),
        ((1, 10, -1, 10), "count_two"),
        ((1, 10, 1, 10, 1.0), "confidence"),
    ],
)
def test_a_difference_needs_possible_samples_on_both_sides(samples, name):
    with pytest.raises(InvalidInput) as refused:
        newcombe_difference(*samples)
    assert list(refused.value.problems) == [name]


def test_the_textbook_interval_needs_a_tree():
    with pytest.raises(InvalidInput) as refused:
        wald(0, 0)
    assert list(refused.value.problems) == ["total"]


@pytest.mark.parametrize("limits", [lot_limits, lot_upper_limit, wilson_in_lot, normal_in_lot])
@pytest.mark.parametrize(
    ("sample", "name"),
    [
        ((0, 0, 60), "sample_size"),
        ((14, 13, 60), "count"),
        ((-1, 13, 60), "count"),
        ((1, 13, 12), "lot_size"),
        ((1, 13, 60.5), "lot_size"),
        ((1, 13, 60, 0.0), "confidence"),
    ],
)
def test_impossible_samples_of_a_lot_are_refused_by_name(limits, sample, name):
    with pytest.raises(InvalidInput) as refused:
        limits(*sample)
    assert list(refused.value.problems) == [name]


def test_one_tree_shows_no_scatter():
    with pytest.raises(InvalidInput) as refused:
        normal_in_lot(1, 1, 60)
    assert list(refused.value.problems) == ["sample_size"]


def test_when_every_tree_was_looked_at_nothing_is_left_open():
    assert lot_limits(3, 40, 40) == (3, 3)
    assert lot_upper_limit(3, 40, 40) == 3
    assert wilson_in_lot(3, 40, 40) == (0.075, 0.075)
    assert normal_in_lot(3, 40, 40).standard_error == 0


@pytest.mark.parametrize(
    ("share", "size", "name"),
    [
        (-0.1, 20, "share"),
        (1.1, 20, "share"),
        (0.5, 0, "size"),
        (0.5, math.inf, "size"),
        (0.5, math.nan, "size"),
    ],
)
def test_a_share_worth_no_trees_is_refused(share, size, name):
    with pytest.raises(InvalidInput) as refused:
        wilson_of_share(share, size)
    assert list(refused.value.problems) == [name]


def test_a_rate_over_audits_is_a_ratio_of_sums():
    # The mean of the two fractions would be 0.5.
    assert ratio_of_sums([(1, 1), (0, 9)]) == 0.1


def test_there_is_no_rate_without_due_trees():
    assert ratio_of_sums([]) is None
    assert ratio_of_sums([(0, 0), (0, 0)]) is None


def test_impossible_counts_are_refused():
    with pytest.raises(ValueError, match="count"):
        ratio_of_sums([(2, 1)])
    with pytest.raises(ValueError, match="count"):
        describe_rate(2, 1)


@pytest.mark.parametrize(
    ("nonconforming", "due", "sentence"),
    [
        (0, 0, "No tree was due yet."),
        (0, 1, "1 of 1 tree right. Too few for a rate."),
        (2, 9, "7 of 9 trees right. Too few for a rate."),
    ],
)
def test_below_ten_trees_only_counts_are_given(nonconforming, due, sentence):
    reading = describe_rate(nonconforming, due, **WELL_SPREAD)
    assert reading.level is RateLevel.COUNTS
    assert reading.fraction is None
    assert reading.interval is None
    assert str(reading.sentence) == sentence


@pytest.mark.parametrize("due", [10, 29])
def test_below_thirty_trees_only_a_range_is_given(due):
    reading = describe_rate(2, due, **WELL_SPREAD)
    assert reading.level is RateLevel.RANGE
    assert reading.fraction is None
    assert reading.interval == wilson(2, due)
    assert str(reading.sentence).endswith(f"in 10 right ({due} trees). Too few to compare.")


def test_a_range_is_rounded_outwards():
    # 4 of 20: Wilson 8.1 % to 41.6 % nonconforming, 58.4 % to 91.9 % right.
    assert str(describe_rate(4, 20).sentence) == (
        "5 to 10 in 10 right (20 trees). Too few to compare."
    )


def test_from_thirty_trees_a_rate_is_given_with_its_size_and_range():
    # 6 of 30: Wilson 9.5 % to 37.3 % nonconforming, 62.7 % to 90.5 % right.
    reading = describe_rate(6, 30, **WELL_SPREAD)
    assert reading.level is RateLevel.COMPARABLE
    assert reading.fraction == 0.2
    assert reading.interval == wilson(6, 30)
    assert str(reading.sentence) == "About 8 in 10 right, could be 6 to 10 (30 trees)."


@pytest.mark.parametrize(
    "spread",
    [
        {},
        {"days": 2, "rows": 3, "auditors": 2},
        {"days": 3, "rows": 2, "auditors": 2},
        {"days": 3, "rows": 3, "auditors": 1},
    ],
)
def test_many_trees_of_few_days_rows_or_auditors_are_not_compared(spread):
    reading = describe_rate(6, 300, **spread)
    assert reading.level is RateLevel.RANGE
    assert reading.fraction is None
    assert str(reading.sentence) == (
        "9 to 10 in 10 right (300 trees). To compare, it takes 3 days, 3 rows and 2 auditors."
    )


def test_a_large_sample_is_told_in_hundredths():
    # 18 of 120: Wilson 9.7 % to 22.5 % nonconforming.
    assert str(describe_rate(18, 120, **WELL_SPREAD).sentence) == (
        "About 85 in 100 right, could be 77 to 91 (120 trees)."
    )


def test_rounding_hides_neither_a_fault_nor_a_right_tree():
    assert str(describe_rate(1, 60, **WELL_SPREAD).sentence).startswith("More than 9 in 10 right")
    assert str(describe_rate(59, 60, **WELL_SPREAD).sentence).startswith("Fewer than 1 in 10 right")
    assert str(describe_rate(0, 60, **WELL_SPREAD).sentence) == (
        "About 10 in 10 right, could be 9 to 10 (60 trees)."
    )
    assert str(describe_rate(60, 60, **WELL_SPREAD).sentence) == (
        "About 0 in 10 right, could be 0 to 1 (60 trees)."
    )


def test_a_rate_is_beyond_the_standard_only_past_the_limit_of_one_in_a_thousand():
    # P(X >= 6 | n = 40, p = 0.05) = 0.0139; P(X >= 8) = 0.0007 (checked in tests/reference).
    assert not describe_rate(6, 40, **WELL_SPREAD).is_beyond(0.05)
    assert describe_rate(8, 40, **WELL_SPREAD).is_beyond(0.05)


def test_a_rate_that_may_not_be_compared_is_never_beyond_the_standard():
    assert not describe_rate(29, 29, **WELL_SPREAD).is_beyond(0.05)
    assert not describe_rate(40, 40).is_beyond(0.05)


def test_a_rate_without_faults_is_never_beyond_the_standard():
    assert not describe_rate(0, 40, **WELL_SPREAD).is_beyond(0.0)
    assert describe_rate(1, 40, **WELL_SPREAD).is_beyond(0.0)
    assert not describe_rate(40, 40, **WELL_SPREAD).is_beyond(1.0)


@pytest.mark.parametrize("accepted", [-0.1, 1.1, math.nan])
def test_an_accepted_fraction_is_a_fraction(accepted):
    with pytest.raises(ValueError, match="accepted_fraction"):
        describe_rate(8, 40, **WELL_SPREAD).is_beyond(accepted)


def test_starting_the_app_does_not_load_scipy():
    # Wilson and everything that pages need at once must do without it.
    program = (
        "import sys, audits.estimates, audits.control.blocks, audits.control.p_chart\n"
        "audits.estimates.describe_rate(3, 20)\n"
        "audits.control.blocks.block_chart([True] * 20)\n"
        "sys.exit('scipy' in sys.modules or 'numpy' in sys.modules)"
    )
    root = __file__.rsplit("/tests/", 1)[0]
    finished = subprocess.run([sys.executable, "-c", program], cwd=root, check=False)
    assert finished.returncode == 0
