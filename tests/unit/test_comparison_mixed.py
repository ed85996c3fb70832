"""Mixed models where there is little to fit: one of each, no faults, nothing beyond chance."""

import math

import numpy as np
import pytest

from audits.comparison import crossed, mixed_binomial
from audits.comparison.crossed import CrossedDesign, logistic, logit, search
from audits.comparison.mixed_binomial import adjusted_chance, fit_binomial_mixed
from audits.comparison.mixed_linear import adjusted_value, fit_linear_mixed
from audits.comparison.reasons import NoFit


@pytest.mark.parametrize(
    ("found", "due", "workers", "reason"),
    [
        ([], [], [], NoFit.NO_TREES),
        ([0, 0], [0, 0], ["Ana", "Ben"], NoFit.NO_TREES),
        ([0, 0], [10, 20], ["Ana", "Ben"], NoFit.NO_FAULTS),
        ([10, 20], [10, 20], ["Ana", "Ben"], NoFit.ALL_FAULTS),
        ([1, 2], [10, 20], ["Ana", "Ana"], NoFit.ONE_LEVEL),
        ([1, 0], [10, 0], ["Ana", "Ben"], NoFit.ONE_LEVEL),
        ([0, 0, 10, 10], [10] * 4, ["Ana", "Ben", "Cruz", "Dolores"], NoFit.SEPARATED),
    ],
)
def test_faults_that_cannot_be_fitted_have_a_reason(found, due, workers, reason):
    assert fit_binomial_mixed(found, due, {"worker": workers}) is reason


def test_one_auditor_is_left_out_and_said_so():
    factors = {"worker": ["Ana", "Ana", "Ben", "Ben"], "auditor": ["Eva"] * 4}
    fit = fit_binomial_mixed([1, 2, 9, 8], [20] * 4, factors)
    alone = fit_binomial_mixed([1, 2, 9, 8], [20] * 4, {"worker": factors["worker"]})
    assert fit.one_level == ("auditor",)
    assert fit.variances["auditor"] == 0
    assert fit.effects["auditor"] == (0.0,)
    assert fit.effects["worker"] == alone.effects["worker"]
    assert adjusted_chance(fit, "auditor", "Eva").chance == pytest.approx(
        logistic(fit.intercept), abs=0.01
    )


def test_workers_alike_get_a_variance_of_zero():
    fit = fit_binomial_mixed([2, 2, 2, 2], [20] * 4, {"worker": ["Ana", "Ana", "Ben", "Ben"]})
    assert fit.at_zero == ("worker",)
    assert fit.variances == {"worker": 0.0}
    assert fit.effects["worker"] == (0.0, 0.0)
    assert fit.conditional_sds["worker"] == (0.0, 0.0)
    assert fit.intercept == pytest.approx(logit(0.1))
    ana = adjusted_chance(fit, "worker", "Ana")
    assert ana.chance == pytest.approx(0.1)
    # Even so the range allows for a difference that these few trees could not show.
    plain = 1.96 / math.sqrt(80 * 0.1 * 0.9)
    assert ana.interval.upper > logistic(logit(0.1) + plain)


def test_one_auditor_for_each_block_cannot_be_told_from_it():
    fit = fit_binomial_mixed(
        [1, 2, 9, 8], [20] * 4, {"block": list("nnss"), "auditor": ["Eva", "Eva", "Luz", "Luz"]}
    )
    assert fit.confounded == (("block", "auditor"),)


def test_levels_and_factors_keep_their_order():
    factors = {"auditor": ["Luz", "Eva", "Luz", "Eva"], "worker": ["d", "b", "a", "c"]}
    fit = fit_binomial_mixed([1, 4, 2, 3], [20, 20, 30, 10], factors)
    assert list(fit.levels) == list(fit.variances) == ["auditor", "worker"]
    assert fit.levels == {"auditor": ("Luz", "Eva"), "worker": ("d", "b", "a", "c")}


@pytest.mark.parametrize(
    ("factor", "level", "named"),
    [("crew", "Ana", "factor must be one of worker"), ("worker", "Zoe", "level 'Zoe'")],
)
def test_unknown_levels_are_named(factor, level, named):
    fit = fit_binomial_mixed([2, 5], [20, 20], {"worker": ["Ana", "Ben"]})
    with pytest.raises(ValueError, match=named):
        adjusted_chance(fit, factor, level)
    heights = fit_linear_mixed([1.0, 2.0, 4.0, 5.0], {"worker": ["Ana", "Ana", "Ben", "Ben"]})
    with pytest.raises(ValueError, match=named):
        adjusted_value(heights, factor, level)


def test_columns_that_do_not_fit_are_named():
    with pytest.raises(ValueError, match="due 2, worker 1"):
        fit_binomial_mixed([1, 2], [10, 10], {"worker": ["Ana"]})
    with pytest.raises(ValueError, match="at least one column"):
        fit_binomial_mixed([1, 2], [10, 10], {})
    with pytest.raises(ValueError, match=r"values\[0\]"):
        fit_linear_mixed([math.nan, 2], {"worker": ["Ana", "Ben"]})
    with pytest.raises(ValueError, match="method"):
        fit_linear_mixed([1, 2], {"worker": ["Ana", "Ben"]}, "Bayes")


@pytest.mark.parametrize(
    ("heights", "workers", "reason"),
    [
        ([], [], NoFit.NO_TREES),
        ([3000.0, 3010.0], ["Ana", "Ana"], NoFit.ONE_LEVEL),
        ([3000.0, 3010.0], ["Ana", "Ben"], NoFit.NO_REPEATS),
        ([3000.0] * 4, ["Ana", "Ana", "Ben", "Ben"], NoFit.NO_SPREAD),
        ([3000.0, 3000.0, 3100.0, 3100.0], ["Ana", "Ana", "Ben", "Ben"], NoFit.NO_SCATTER),
    ],
)
def test_heights_that_cannot_be_fitted_have_a_reason(heights, workers, reason):
    assert fit_linear_mixed(heights, {"worker": workers}) is reason


def test_heights_in_other_units_give_the_same_fit():
    heights_mm = [3000.0, 3040, 3010, 3120, 3150, 3130]
    workers = {"worker": ["Ana"] * 3 + ["Ben"] * 3}
    in_mm = fit_linear_mixed(heights_mm, workers)
    in_m = fit_linear_mixed([height / 1000 for height in heights_mm], workers)
    assert in_m.intercept == pytest.approx(in_mm.intercept / 1000)
    assert in_m.variances["worker"] == pytest.approx(in_mm.variances["worker"] / 1e6)
    assert in_m.log_likelihood == pytest.approx(in_mm.log_likelihood + 5 * math.log(1000))


def test_too_many_levels_beside_the_largest_factor_are_refused(monkeypatch):
    monkeypatch.setattr(crossed, "_MOST_FULL", 2)
    with pytest.raises(ValueError, match="there can be 2 levels, not 3"):
        CrossedDesign({"worker": list("abcd"), "block": list("xyzx")})


def test_the_search_leaves_a_false_zero(monkeypatch):
    # The slope in a standard deviation is 0 at 0 although the value is least at 2.
    def value_and_slope(place):
        deviation = float(place[0])
        return (deviation**2 - 4) ** 2, np.array([4 * deviation * (deviation**2 - 4)])

    found = search(value_and_slope, np.array([0.0]), free=0, most_deviation=10.0)
    assert found.place[0] == pytest.approx(2, abs=1e-4)
    assert found.converged
    # Without another search from there it has not arrived, and says so.
    monkeypatch.setattr(crossed, "_MOST_RESTARTS", 1)
    cut_short = search(value_and_slope, np.array([0.0]), free=0, most_deviation=10.0)
    assert not cut_short.converged


def test_the_search_says_that_it_ran_into_its_bound():
    def value_and_slope(place):
        return -float(place[0]), np.array([-1.0])

    found = search(value_and_slope, np.array([1.0]), free=0, most_deviation=10.0)
    assert found.place[0] == 10
    assert not found.converged


def test_logits_and_chances_are_each_others_inverse():
    for share in (1e-9, 0.2, 0.5, 0.999):
        assert logistic(logit(share)) == pytest.approx(share)
    assert logistic(-800.0) == 0
    assert logistic(800.0) == 1


def test_the_mode_is_found_from_far_away():
    # All faults where hardly any is expected: a full Newton step overshoots by far.
    laplace = mixed_binomial._Laplace(
        np.array([50.0, 0.0]), np.array([50.0, 50.0]), CrossedDesign({"worker": ["Ana", "Ben"]})
    )
    place = np.array([-8.0, 5.0])
    value, slope = laplace.value_and_slope(place)
    again, _ = laplace.value_and_slope(place)
    assert again == pytest.approx(value)
    behind, ahead = (laplace.value_and_slope(place + step)[0] for step in (-1e-5, 1e-5))
    assert slope.sum() == pytest.approx((ahead - behind) / 2e-5, rel=1e-4)


def test_the_mode_with_its_average_is_found_from_far_away(monkeypatch):
    laplace = mixed_binomial._Laplace(
        np.array([400.0, 0.0]), np.array([400.0, 400.0]), CrossedDesign({"worker": ["Ana", "Ben"]})
    )
    laplace._average = -9.0
    held = laplace.held(np.array([3.0]))
    assert held.middles["worker"].sum() == pytest.approx(0, abs=1e-5)
    laplace._average, laplace.effects = -9.0, np.zeros(2)
    monkeypatch.setattr(mixed_binomial, "_MOST_HALVINGS", 1)
    assert math.isfinite(laplace.held(np.array([3.0])).value)


@pytest.mark.parametrize(
    ("module", "bound"),
    [
        (mixed_binomial, "_MOST_STEPS"),
        (mixed_binomial, "_MOST_HALVINGS"),
        (crossed, "_MOST_RESTARTS"),
        (crossed, "_MOST_ABOVE"),
    ],
)
def test_no_loop_is_without_end(monkeypatch, module, bound):
    # Each loop has a bound that usual data stay far below; at the bound figures are still finite.
    monkeypatch.setattr(module, bound, 1)
    fit = fit_binomial_mixed([0, 3, 9, 20], [20] * 4, {"worker": ["Ana", "Ben", "Cruz", "Dan"]})
    assert all(math.isfinite(spread) for spread in fit.average_sds["worker"])


def test_progress_of_heights_rises_to_one():
    shares = []
    factors = {"worker": ["Ana"] * 3 + ["Ben"] * 3}
    fit_linear_mixed([3000, 3040, 3010, 3120, 3150, 3130], factors, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1
