"""Run lengths by hand and at their edges."""

import math

import numpy as np
import pytest

from audits.control.bernoulli import BernoulliCusum
from audits.control.limits import CountLimits
from audits.control.run_lengths import (
    arl_bernoulli,
    arl_cusum,
    arl_ewma,
    arl_of_limits,
    arl_p_chart,
    arl_run_rules,
    design_cusum,
    design_ewma,
)
from audits.control.run_lengths.absorbing import mean_steps
from audits.control.run_rules import NELSON_RULES, RunRule


def normal_above(z):
    return math.erfc(z / math.sqrt(2)) / 2


def test_an_ewma_that_forgets_all_is_a_chart_of_points():
    for varying in (False, True):
        assert arl_ewma(1.0, 3.0, varying=varying) == pytest.approx(
            1 / (2 * normal_above(3)), rel=1e-12
        )
    assert arl_run_rules([RunRule.BEYOND_3S]) == pytest.approx(1 / (2 * normal_above(3)), rel=1e-12)


def test_a_cusum_without_room_signals_at_the_first_value_beyond_its_allowance():
    assert arl_cusum(0.5, 1e-9, two_sided=False) == pytest.approx(1 / normal_above(0.5), rel=1e-6)
    assert arl_cusum(0.5, 1e-9) == pytest.approx(1 / (2 * normal_above(0.5)), rel=1e-6)


def test_both_sides_are_alike():
    assert arl_cusum(0.5, 4, 1.0) == pytest.approx(arl_cusum(0.5, 4, -1.0), rel=1e-12)
    assert arl_ewma(0.2, 2.7, 1.0) == arl_ewma(0.2, 2.7, -1.0)
    rules = [RunRule.TWO_OF_THREE_BEYOND_2S, RunRule.FIFTEEN_WITHIN_1S]
    assert arl_run_rules(rules, 1.0) == pytest.approx(arl_run_rules(rules, -1.0), rel=1e-12)


def test_run_lengths_longer_than_floats_are_none():
    assert arl_cusum(0.5, 5, -60.0, two_sided=False) is None
    assert arl_ewma(0.2, 45) is None
    assert arl_ewma(0.2, 45, varying=True) is None
    assert arl_bernoulli(BernoulliCusum(9, -1, threshold=40), 0.0) is None
    assert arl_of_limits(0.3, due=10, limits=CountLimits(0, 10)) is None
    # One side's silence leaves the other's.
    assert arl_cusum(0.5, 5, 60.0) == pytest.approx(1.0)
    assert arl_cusum(0.5, 5, -60.0) == pytest.approx(1.0)


def test_very_long_run_lengths_keep_their_places():
    # For an allowance this large hardly any sum outlives one value, so runs are nearly geometric.
    assert arl_cusum(6, 2, two_sided=False) == pytest.approx(1 / normal_above(8), rel=2e-3)


@pytest.mark.parametrize(("k", "arl0"), [(0.5, 370.0), (0.25, 100.0), (1.0, 5000.0)])
@pytest.mark.parametrize("two_sided", [True, False])
def test_a_designed_cusum_has_the_run_length_asked_for(k, arl0, two_sided):
    h = design_cusum(k, arl0, two_sided=two_sided)
    assert arl_cusum(k, h, two_sided=two_sided) == pytest.approx(arl0, rel=1e-6)


@pytest.mark.parametrize(("lambda_", "arl0"), [(0.1, 500.0), (0.4, 50.0), (1.0, 370.0)])
@pytest.mark.parametrize("varying", [True, False])
def test_a_designed_ewma_has_the_run_length_asked_for(lambda_, arl0, varying):
    sigmas = design_ewma(lambda_, arl0, varying=varying)
    assert arl_ewma(lambda_, sigmas, varying=varying) == pytest.approx(arl0, rel=1e-6)


def test_nine_on_one_side_by_the_formula_of_runs():
    # The mean wait for 9 equal sides in a row is 2^9 - 1 (W. Feller, An Introduction to
    # Probability Theory, XIII.7, for runs of either kind at even chances).
    assert arl_run_rules([RunRule.NINE_SAME_SIDE]) == pytest.approx(2**9 - 1, rel=1e-12)
    assert arl_run_rules([RunRule.EIGHT_SAME_SIDE]) == pytest.approx(2**8 - 1, rel=1e-12)


def test_fifteen_within_one_sigma_by_the_formula_of_runs():
    p = 1 - 2 * normal_above(1)
    expected = (1 - p**15) / ((1 - p) * p**15)
    assert arl_run_rules([RunRule.FIFTEEN_WITHIN_1S]) == pytest.approx(expected, rel=1e-10)


def test_eight_beyond_one_sigma_on_both_sides_by_simulation():
    chance = np.random.default_rng(3)
    z = chance.normal(size=(400, 12_000))
    waits = []
    for row in np.where(np.abs(z) > 1, np.sign(z), 0).astype(int):
        run = streak = last = 0
        for point, side in enumerate(row.tolist(), start=1):
            run = run + 1 if side else 0
            streak = (streak + 1 if side == last else 1) if side else 0
            last = side
            if run >= 8 and streak < 8:
                waits.append(point)
                break
    # Points from here on are cut off, so the mean is that of an exponential law cut off.
    expected = arl_run_rules([RunRule.EIGHT_BEYOND_1S_BOTH_SIDES], 0.0)
    signalled = 1 - math.exp(-12_000 / expected)
    assert len(waits) / 400 == pytest.approx(signalled, abs=5 * math.sqrt(0.25 / 400))


def test_more_rules_never_signal_later():
    by_zones = [
        rule
        for rule in NELSON_RULES
        if rule not in {RunRule.SIX_TREND, RunRule.FOURTEEN_ALTERNATING}
    ]
    lengths = [arl_run_rules(by_zones[: count + 1]) for count in range(len(by_zones))]
    assert lengths == sorted(lengths, reverse=True)


def test_one_block_in_so_many_signals():
    # Binomial: P(X > 1) for n = 2, p = 1/2 is 1/4.
    assert arl_of_limits(0.5, due=2, limits=CountLimits(0, 1)) == pytest.approx(4.0)
    assert arl_of_limits(0.5, due=2, limits=CountLimits(1, 1)) == pytest.approx(2.0)


def test_single_trees_by_hand():
    # Two faults in a row: 1 / p + 1 / p^2 trees.
    design = BernoulliCusum(1, -1, threshold=2)
    p = 0.3
    # From 0: 1 + p a1 + (1 - p) a0; from 1: 1 + (1 - p) a0.
    expected = (1 + p) / p**2
    assert arl_bernoulli(design, p) == pytest.approx(expected, rel=1e-12)
    assert arl_bernoulli(BernoulliCusum(50, -1, threshold=2), p) == pytest.approx(1 / p, rel=1e-12)


def test_a_chain_that_never_leaves_has_no_mean():
    assert mean_steps(np.array([[0.5, 0.5], [0.5, 0.5]]), np.zeros(2)) is None


# A call, and what its message names.
OUT_OF_RANGE = [
    (lambda: arl_cusum(-1, 5), "k .* -1"),
    (lambda: arl_cusum(0.5, 0), "h .* 0"),
    (lambda: arl_cusum(0.5, 5, math.nan), "shift .* nan"),
    (lambda: arl_cusum(0.5, 5, headstart=6), "headstart .* 6"),
    (lambda: arl_cusum(0.5, 1e6), "limits .* 1000000"),
    (lambda: arl_ewma(0, 3), "lambda_ .* 0"),
    (lambda: arl_ewma(0.2, -3), "sigmas .* -3"),
    (lambda: arl_ewma(1e-9, 3), "limits .* steps"),
    (lambda: design_cusum(-1, 370), "k .* -1"),
    (lambda: design_cusum(0.5, 1.5), "arl0 .* 1.5"),
    (lambda: design_ewma(2, 370), "lambda_ .* 2"),
    (lambda: design_ewma(0.2, 1), "arl0 .* 1"),
    (lambda: arl_run_rules([]), "rules"),
    (lambda: arl_run_rules([RunRule.SIX_TREND]), "rules .* 6_trend"),
    (lambda: arl_run_rules(["nonsense"]), "nonsense"),
    (lambda: arl_p_chart(1.5, due=10, centre=0.1), "p .* 1.5"),
    (lambda: arl_p_chart(0.1, due=0, centre=0.1), "due .* 0"),
    (lambda: arl_of_limits(0.1, due=0, limits=CountLimits(0, 1)), "due .* 0"),
    (lambda: arl_bernoulli(BernoulliCusum(1.5, -1, 4), 0.1), "score_fault .* 1.5"),
    (lambda: arl_bernoulli(BernoulliCusum(2, -1, 4), 1.1), "p .* 1.1"),
]


@pytest.mark.parametrize(("call", "named"), OUT_OF_RANGE, ids=range(len(OUT_OF_RANGE)))
def test_numbers_out_of_range_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()
