"""
Funnel limits, standardisation and shrinkage against stored cases.

`data/shrinkage.json` says of each case where it comes from: published data and figures (Tarone
1982 and Gelman and others, Efron & Morris 1975 and 1977), or R (VGAM, metafor) and scipy. Each
case states its tolerance; printed figures are compared to half their last place or as stated.
The mixed models of the file are tried in test_mixed_models.py.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.optimize
import scipy.stats

from audits.comparison.funnel import funnel_limits, overdispersion
from audits.comparison.shrinkage import (
    arcsine_scale,
    beta_binomial_moments,
    fit_beta_binomial,
    james_stein,
    posterior,
    rate_from_arcsine,
    shrink_linear,
    shrink_normal,
)
from audits.comparison.standardising import indirect_standardisation, stratum_rates
from audits.control.limits import probability_limits, sigma_limits
from audits.estimates.intervals import normal_quantile

DATA = json.loads((Path(__file__).parent / "data" / "shrinkage.json").read_text())
MIXED = {"glmm_binomial", "lmm_crossed", "lmm_oneway"}
# The files are written with twelve digits.
DIGITS = 1e-11


def beta_binomial(given):
    fit = fit_beta_binomial(given["y"], given["n"])
    each = [fit.posterior(y, n) for y, n in zip(given["y"], given["n"], strict=True)]
    return {
        "alpha": fit.alpha,
        "beta": fit.beta,
        "loglik_with_coefficients": fit.log_likelihood,
        "mean": fit.mean,
        "rho": fit.rho,
        "posterior_mean": [known.mean for known in each],
        "posterior_sd": [known.sd for known in each],
        "ci95": [list(known.interval) for known in each],
        "weight_on_own_data": [known.weight for known in each],
    }


def boundary(given):
    fit = fit_beta_binomial(given["y"], given["n"])
    assert fit.is_pooled
    each = [fit.posterior(y, n).mean for y, n in zip(given["y"], given["n"], strict=True)]
    return {"pooled": fit.mean, "posterior_mean": each}


def moments(given):
    fit = beta_binomial_moments(given["y"], given["n"])
    known = posterior(given["new_y"], given["new_n"], fit.alpha, fit.beta)
    return {
        "raw_mean": fit.raw_mean,
        "raw_sd": fit.raw_sd,
        "alpha": fit.alpha,
        "beta": fit.beta,
        "new_posterior_mean": known.mean,
        "new_posterior_sd": known.sd,
    }


def stein(given):
    assert given["transform"] == "sqrt(n)*asin(2p-1)"
    pairs = list(zip(given["successes"], given["n"], strict=True))
    found = james_stein([arcsine_scale(*pair) for pair in pairs])
    return {
        "transformed": [arcsine_scale(*pair) for pair in pairs],
        "mean": found.mean,
        "sum_squares": found.sum_squares,
        "shrinkage_kept": found.kept,
        "estimate_transformed": found.estimates,
        "estimate": [
            rate_from_arcsine(estimate, n)
            for estimate, (_, n) in zip(found.estimates, pairs, strict=True)
        ],
    }


def linear(given):
    estimates = shrink_linear(given["rates"], given["center"], given["kept"])
    (season,) = [case["input"] for case in DATA["cases"] if "season_rest" in case["input"]]
    truth = season["season_rest"]

    def error(rates):
        return sum((rate - true) ** 2 for rate, true in zip(rates, truth, strict=True))

    return {
        "estimate": estimates,
        "sum_sq_error_ratio_vs_raw": error(estimates) / error(given["rates"]),
        "estimate_first": estimates[0],
        "estimate_last": estimates[-1],
    }


def normal(given):
    found = shrink_normal(given["y"], given["se"], given["method"])
    return {
        "tau2": found.tau2,
        "mu": found.mu,
        "se_mu": found.se_mu,
        "Q": found.q,
        "shrunken": found.shrunken,
    }


def funnel(given):
    limits = [funnel_limits(given["target"], n, given["levels"]) for n in given["n"]]
    found = {
        f"{side}_{100 * level:g}": [getattr(of_size[place], side) for of_size in limits]
        for place, level in enumerate(given["levels"])
        for side in ("lower", "upper")
    }
    found["wald_upper_99.8"] = [
        sigma_limits(given["target"], n, normal_quantile(0.998)).upper for n in given["n"]
    ]
    outer = given["levels"].index(0.998)
    found["smallest_count_with_upper_tail_le_0.001"] = [
        of_size[outer].largest_inside + 1 for of_size in limits
    ]
    return found


def scatter(given):
    assert given["quantile"] == "linear interpolation (type 7)"
    found = overdispersion(given["y"], given["n"], given["target"], given["winsorise"])
    limits = [found.limits(n, 0.998) for n in given["n"]]
    return {
        "z": found.z,
        "phi": found.phi,
        "phi_unwinsorised": found.phi_unwinsorised,
        "winsor_low": found.winsor_low,
        "winsor_high": found.winsor_high,
        "target": found.target,
        "upper_998_overdispersed": [limit.upper for limit in limits],
        "lower_998_overdispersed": [limit.lower for limit in limits],
    }


def standardisation(given):
    rows = indirect_standardisation(given["worker"], given["block"], given["y"], given["n"])
    by_worker = sorted(rows, key=lambda row: row.unit)
    rates = stratum_rates(given["block"], given["y"], given["n"])
    return {
        "block_rate": [rates[block] for block in sorted(rates)],
        "observed": [row.observed for row in by_worker],
        "expected": [row.expected for row in by_worker],
        "ratio": [row.ratio for row in by_worker],
        "ratio_ci95_exact_poisson": [list(row.ratio_interval) for row in by_worker],
        "adjusted_rate": [row.adjusted_rate for row in by_worker],
        "raw_rate": [row.raw_rate for row in by_worker],
    }


METHODS = {
    "beta_binomial_eb": beta_binomial,
    "beta_binomial_boundary": boundary,
    "beta_binomial_moments": moments,
    "james_stein": stein,
    "linear_shrinkage": linear,
    "normal_normal_eb": normal,
    "funnel_binomial": funnel,
    "funnel_overdispersion": scatter,
    "indirect_standardisation": standardisation,
}
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] not in MIXED]


def test_every_kind_of_the_data_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == METHODS.keys() | MIXED


@pytest.mark.parametrize("case", CASES)
def test_figures_agree_with_the_data(case):
    found = METHODS[case["kind"]](case["input"])
    tolerance = case["tolerance"]
    assert case["expected"].keys() <= found.keys()
    for name, expected in case["expected"].items():
        np.testing.assert_allclose(
            found[name],
            expected,
            rtol=max(tolerance.get("rel", 0.0), DIGITS),
            atol=tolerance.get("abs", 0.0),
            err_msg=name,
        )


@pytest.mark.parametrize("case", [param for param in CASES if "printed" in param.values[0]])
def test_figures_agree_with_what_is_printed(case):
    found = METHODS[case["kind"]](case["input"])
    tolerance = case["printed_tolerance"]
    for name, printed in case["printed"].items():
        np.testing.assert_allclose(
            found[name],
            printed,
            rtol=tolerance.get("rel", 0.0),
            atol=tolerance.get("abs", 0.0),
            err_msg=name,
        )


@pytest.mark.parametrize("level", [0.95, 0.998])
@pytest.mark.parametrize("due", [1, 10, 37, 400])
@pytest.mark.parametrize("target", [0.01, 0.05, 0.3, 0.97])
def test_funnel_counts_are_those_of_the_binomial_law(target, due, level):
    # The control charts find the same counts by another road, and scipy.stats by a third.
    (limits,) = funnel_limits(target, due, [level])
    inside = probability_limits(target, due, 1 - level)
    assert (limits.smallest_inside, limits.largest_inside) == inside
    law = scipy.stats.binom(due, target)
    assert limits.smallest_inside == law.ppf((1 - level) / 2)
    assert limits.largest_inside == law.isf((1 - level) / 2)
    assert limits.largest_inside - 1 <= due * limits.upper <= limits.largest_inside
    assert limits.smallest_inside - 1 <= due * limits.lower <= limits.smallest_inside


@pytest.mark.parametrize("seed", range(6))
def test_the_beta_binomial_fit_is_the_top_of_scipys_likelihood(seed):
    rng = np.random.default_rng(seed)
    due = rng.integers(5, 60, 25)
    found = rng.binomial(due, rng.beta(2, 10, 25))
    fit = fit_beta_binomial(found, due)

    def deviance(logs):
        return -scipy.stats.betabinom.logpmf(found, due, *np.exp(logs)).sum()

    start = np.log([fit.alpha, fit.beta])
    assert fit.log_likelihood == pytest.approx(-deviance(start), abs=1e-8)
    best = scipy.optimize.minimize(deviance, start + 0.3, method="Nelder-Mead", tol=1e-10)
    assert [fit.alpha, fit.beta] == pytest.approx(np.exp(best.x), rel=1e-4)


def test_the_arcsine_scale_gives_every_rate_the_same_variance():
    # Delta method: the variance of the transformed rate goes to 1 whatever the rate.
    rng = np.random.default_rng(3)
    for rate in (0.1, 0.3, 0.5):
        figures = [arcsine_scale(int(count), 400) for count in rng.binomial(400, rate, 4000)]
        assert np.var(figures) == pytest.approx(1, abs=5 * math.sqrt(2 / 4000))
