"""Funnels, expected faults and shrinkage: cases by hand, and input that cannot be judged."""

import math

import pytest

from audits.comparison.funnel import funnel_limits, overdispersion
from audits.comparison.reasons import NO_FIT_SENTENCES, NoFit
from audits.comparison.shrinkage import (
    arcsine_scale,
    beta_binomial_moments,
    fit_beta_binomial,
    james_stein,
    posterior,
    rate_from_arcsine,
    shrink_linear,
    shrink_normal,
    shrunken_rates,
)
from audits.comparison.standardising import indirect_standardisation, stratum_rates


def test_limits_by_hand_for_two_trees():
    # Chances of 0, 1, 2 faults at a half: 1/4, 1/2, 1/4. For a share of 0.9 in the middle,
    # r = 0 and a = (0.25 - 0.05) / 0.25 below; r = 2 and a = (1 - 0.95) / 0.25 above.
    (limits,) = funnel_limits(0.5, 2, [0.9])
    assert limits.lower == 0
    assert limits.upper == pytest.approx((2 - 0.2) / 2)
    assert (limits.smallest_inside, limits.largest_inside) == (0, 2)


def test_a_count_whose_chance_equals_the_tail_is_outside():
    # P(no fault in 2) = 1/4, the whole lower tail for a middle of one half.
    (limits,) = funnel_limits(0.5, 2, [0.5])
    assert (limits.smallest_inside, limits.largest_inside) == (1, 1)


@pytest.mark.parametrize(("target", "only"), [(0.0, 0), (1.0, 12)])
def test_a_target_of_none_or_all_leaves_one_count(target, only):
    for limits in funnel_limits(target, 12):
        assert (limits.smallest_inside, limits.largest_inside) == (only, only)
        assert 0 <= limits.lower <= limits.upper <= 1


def test_without_trees_everything_is_inside():
    assert [tuple(limits)[1:] for limits in funnel_limits(0.2, 0)] == [(0.0, 1.0, 0, 0)] * 2


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((1.2, 10), "target must lie in [0, 1], not 1.2"),
        ((math.nan, 10), "target must lie in [0, 1], not nan"),
        ((0.2, -1), "due must be a whole number of at least 0, not -1"),
        ((0.2, 10, [1.0]), "a level must lie between 0 and 1, not 1.0"),
    ],
)
def test_funnels_refuse_what_cannot_be(arguments, named):
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the sentence is compared below
        funnel_limits(*arguments)
    assert str(refused.value) == named


def test_scatter_that_chance_explains_widens_nothing():
    scatter = overdispersion([2, 3, 2, 3], [25, 25, 25, 25], 0.1)
    assert scatter.phi < 1
    assert scatter.factor == 1
    wider = overdispersion([0, 9, 0, 1], [25, 25, 25, 25], 0.1)
    assert wider.factor > 1
    assert wider.limits(25).upper > scatter.limits(25).upper


def test_scatter_without_trees_or_without_chance_is_none():
    assert overdispersion([], [], 0.1) is None
    assert overdispersion([0, 0], [0, 0], 0.1) is None
    assert overdispersion([0, 1], [10, 10], 0.0) is None
    with_empty = overdispersion([0, 1], [0, 10], 0.1)
    assert with_empty.z == (None, 0.0)
    with pytest.raises(ValueError, match="winsorise"):
        overdispersion([1], [10], 0.1, winsorise=0.5)


def test_expected_faults_by_hand():
    # North 3 of 30, south 6 of 20: rates 0.1 and 0.3. Ana had 20 and 10 trees there.
    rows = indirect_standardisation(
        ["Ana", "Ana", "Ben", "Ben"],
        ["north", "south", "north", "south"],
        [2, 4, 1, 2],
        [20, 10, 10, 10],
    )
    ana, ben = rows
    assert (ana.observed, ana.expected, ana.due, ana.due_alone) == (6, pytest.approx(5), 30, 0)
    assert ben.ratio == pytest.approx(3 / 4)
    assert ana.adjusted_rate == pytest.approx(6 / 5 * 9 / 50)


def test_somebody_alone_in_a_block_is_compared_with_nobody():
    rows = indirect_standardisation(["Ana", "Ben"], ["north", "south"], [9, 1], [20, 20])
    assert [(row.ratio, row.due_alone) for row in rows] == [(1.0, 20), (1.0, 20)]


def test_no_fault_anywhere_leaves_no_ratio():
    (row,) = indirect_standardisation(["Ana"], ["north"], [0], [20])
    assert (row.ratio, row.ratio_interval, row.adjusted_rate) == (None, None, None)
    assert row.raw_rate == 0
    (empty,) = indirect_standardisation(["Ana"], ["north"], [0], [0])
    assert (empty.raw_rate, empty.ratio, empty.expected) == (None, None, 0)
    assert stratum_rates(["north"], [0], [0]) == {"north": None}
    assert indirect_standardisation([], [], [], []) == ()


def test_a_rate_is_at_most_all_trees():
    rows = indirect_standardisation(
        ["Ana", "Ben", "Cruz"], ["easy", "easy", "hard"], [2, 0, 90], [2, 98, 100]
    )
    assert rows[0].ratio > 10
    assert rows[0].adjusted_rate == 1
    assert rows[0].adjusted_interval.upper == 1


def test_columns_must_fit():
    with pytest.raises(ValueError, match="nonconforming 1, due 2"):
        fit_beta_binomial([1], [10, 20])
    with pytest.raises(ValueError, match=r"nonconforming\[1\] must be a whole number from 0 to"):
        fit_beta_binomial([1, 5], [10, 4])
    with pytest.raises(ValueError, match=r"not 1.5"):
        fit_beta_binomial([1.5], [10])
    with pytest.raises(ValueError, match="the columns must have the same length"):
        indirect_standardisation(["Ana"], ["north", "south"], [1, 1], [10, 10])


@pytest.mark.parametrize(
    ("found", "due", "mean"),
    [
        ([3], [20], 3 / 20),  # one worker
        ([0, 0, 0], [20, 30, 10], 0.0),  # no fault
        ([20, 30], [20, 30], 1.0),  # only faults
        ([1, 0, 1, 0], [1, 1, 1, 1], 0.5),  # one tree each says nothing about spread
        ([5, 5, 5], [50, 50, 50], 0.1),  # less scatter than chance would make
    ],
)
def test_where_no_spread_shows_all_share_one_rate(found, due, mean):
    fit = fit_beta_binomial(found, due)
    assert fit.is_pooled
    assert (fit.alpha, fit.beta, fit.rho) == (None, None, 0.0)
    known = fit.posterior(1, 10)
    assert known.mean == fit.mean == pytest.approx(mean)
    assert known.weight == 0
    assert 0 <= known.interval.lower <= mean <= known.interval.upper <= 1


def test_all_or_nothing_still_gives_finite_rates():
    fit = fit_beta_binomial([0, 20, 0, 20], [20, 20, 20, 20])
    assert fit.rho == pytest.approx(1, abs=0.01)
    assert fit.posterior(0, 20).mean == pytest.approx(0, abs=0.01)
    assert fit.posterior(20, 20).mean == pytest.approx(1, abs=0.01)


def test_nothing_to_shrink():
    assert fit_beta_binomial([], []) is None
    assert fit_beta_binomial([0], [0]) is None
    assert shrunken_rates([0, 0], [10, 20]) is None
    assert shrunken_rates([10, 20], [10, 20]) is None
    assert beta_binomial_moments([1], [10]) is None
    assert beta_binomial_moments([1, 1], [10, 10]).alpha is None
    assert shrink_normal([1.0], [0.5]) is None
    assert james_stein([1.0, 2.0, 3.0]) is None
    assert james_stein([2.0] * 5).estimates == (2.0,) * 5


def test_somebody_without_trees_gets_the_rate_of_all():
    rates = shrunken_rates([0, 1, 9, 2], [0, 40, 40, 40])
    assert rates[0].weight == 0
    assert rates[0].interval.upper - rates[0].interval.lower > 0.2
    assert rates[1].mean < rates[0].mean < rates[2].mean


def test_figures_that_scatter_less_than_their_errors_become_one():
    shrunken = shrink_normal([1.0, 1.1, 0.9], [1.0, 1.0, 1.0])
    assert shrunken.tau2 == 0
    assert shrunken.shrunken == pytest.approx([1.0] * 3)
    lower, upper = shrunken.interval(0)
    assert (lower + upper) / 2 == pytest.approx(1)
    assert (upper - lower) / 2 == pytest.approx(1.96 / math.sqrt(3), abs=0.001)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: shrink_normal([1.0, 2.0], [1.0, 0.0]), "standard error"),
        (lambda: shrink_normal([1.0, 2.0], [1.0, 1.0], "ML"), "method"),
        (lambda: shrink_normal([1.0, math.inf], [1.0, 1.0]), r"values\[1\]"),
        (lambda: shrink_linear([1.0], 0.0, 1.5), "kept"),
        (lambda: shrink_linear([1.0], math.nan, 0.5), "centre"),
        (lambda: posterior(1, 10, 0.0, 2.0), "alpha"),
        (lambda: arcsine_scale(0, 0), "due"),
        (lambda: rate_from_arcsine(1.0, 0), "due must be at least 1, not 0"),
        (lambda: james_stein([1.0] * 5, variance=0.0), "variance"),
    ],
)
def test_bad_figures_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_a_figure_beyond_the_scale_is_a_rate_of_none_or_all():
    assert rate_from_arcsine(-99.0, 10) == 0
    assert rate_from_arcsine(99.0, 10) == 1


def test_every_reason_has_its_sentence():
    assert set(NO_FIT_SENTENCES) == set(NoFit)
    assert len({str(sentence) for sentence in NO_FIT_SENTENCES.values()}) == len(NoFit)
