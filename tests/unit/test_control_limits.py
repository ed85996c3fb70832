"""Limits at their edges."""

import math

import pytest

from audits.control.limits import (
    CountLimits,
    FractionLimits,
    Signal,
    probability_limits,
    sigma_limits,
)


def test_a_point_on_a_limit_is_inside():
    limits = FractionLimits(0.1, 0.3)
    assert limits.signal(0.1) is None
    assert limits.signal(0.3) is None
    assert limits.signal(0.31) is Signal.ABOVE
    assert limits.signal(0.09) is Signal.BELOW


def test_rounding_does_not_push_a_point_over_a_limit():
    assert FractionLimits(0.3, 0.3).signal(0.1 + 0.2) is None


def test_signals_compare_with_plain_words():
    assert Signal.ABOVE == "above"
    assert Signal.BELOW == "below"


def test_sigma_limits_are_cut_to_fractions():
    assert sigma_limits(0.05, due=10).lower == 0.0
    assert sigma_limits(0.95, due=10).upper == 1.0


@pytest.mark.parametrize("centre", [0.0, 1.0])
def test_a_process_without_variation_has_no_room(centre):
    assert sigma_limits(centre, due=10) == (centre, centre)
    assert probability_limits(centre, due=10) == (10 * centre, 10 * centre)


def test_small_blocks_of_good_work_cannot_signal_below():
    assert probability_limits(0.05, due=10).lower == 0
    assert probability_limits(0.05, due=20).lower == 0


def test_blocks_of_poor_work_cannot_signal_above():
    # Even 10 of 10 have a chance of 0.6 ** 10 = 0.6 %.
    assert probability_limits(0.6, due=10).upper == 10


def test_a_tail_that_equals_half_the_false_alarm_still_signals():
    # P(X = 10) = P(X = 0) = 2 ** -10 for ten fair coins.
    assert probability_limits(0.5, due=10, false_alarm=2 * 2**-10) == CountLimits(1, 9)
    assert probability_limits(0.5, due=10, false_alarm=1.99 * 2**-10) == CountLimits(0, 10)


def test_large_samples_neither_overflow_nor_vanish():
    # Three sigma of 100,000 fair coins is 474.3; the exact limits lie within a count or two.
    lower, upper = probability_limits(0.5, due=100_000)
    assert lower + upper == 100_000
    assert upper == pytest.approx(50_474.3, abs=2)


@pytest.mark.parametrize("centre", [-0.01, 1.01, math.nan])
def test_the_centre_is_a_fraction(centre):
    for limits in (sigma_limits, probability_limits):
        with pytest.raises(ValueError, match="centre must lie in"):
            limits(centre, 10)


def test_limits_need_due_trees():
    for limits in (sigma_limits, probability_limits):
        with pytest.raises(ValueError, match="due must be at least 1, not 0"):
            limits(0.1, 0)


@pytest.mark.parametrize("sigmas", [0, -3, math.nan])
def test_sigma_limits_lie_apart(sigmas):
    with pytest.raises(ValueError, match="sigmas"):
        sigma_limits(0.1, 10, sigmas)


@pytest.mark.parametrize("false_alarm", [0, 1, -0.1, math.nan])
def test_the_false_alarm_rate_is_a_probability(false_alarm):
    with pytest.raises(ValueError, match="false_alarm"):
        probability_limits(0.1, 10, false_alarm)
