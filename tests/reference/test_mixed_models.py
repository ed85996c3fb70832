"""
Mixed models against stored fits, and against slow dense versions of the same likelihood.

The cases of `data/shrinkage.json` were fitted with R package lme4 1.1-31 and with a second
program; two are published (Davies & Goldsmith's dyestuff and penicillin, as printed in Bates,
lme4: Mixed-effects modeling with R). Each case states its tolerance.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.optimize
import scipy.special
import scipy.stats

from audits.comparison.crossed import CrossedDesign, Factored, spreads_at_average
from audits.comparison.mixed_binomial import _Laplace, adjusted_chance, fit_binomial_mixed
from audits.comparison.mixed_linear import _Profile, adjusted_value, fit_linear_mixed

DATA = json.loads((Path(__file__).parent / "data" / "shrinkage.json").read_text())
KINDS = {"glmm_binomial", "lmm_crossed", "lmm_oneway"}
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] in KINDS]
NOT_FACTORS = {"y", "n", "method"}


def fitted(case):
    given, expected = case["input"], case["expected"]
    factors = {name: column for name, column in given.items() if name not in NOT_FACTORS}
    if case["kind"] == "glmm_binomial":
        fit = fit_binomial_mixed(given["y"], given["n"], factors)
        found = {"loglik_with_coefficients": fit.log_likelihood}
    else:
        fit = fit_linear_mixed(given["y"], factors, given["method"])
        criterion = -2 * fit.log_likelihood
        found = {"loglik": fit.log_likelihood, "criterion": criterion, "reml_criterion": criterion}
        found |= {"var_residual": fit.var_residual, "sd_residual": math.sqrt(fit.var_residual)}
    assert fit.converged
    found |= {"intercept": fit.intercept, "se_intercept": fit.se_intercept}
    for name in factors:
        found[f"var_{name}"] = fit.variances[name]
        found[f"sd_{name}"] = math.sqrt(fit.variances[name])
        order = [fit.levels[name].index(level) for level in expected[f"levels_{name}"]]
        found[f"blup_{name}"] = [fit.effects[name][place] for place in order]
        found[f"cond_sd_{name}"] = [fit.conditional_sds[name][place] for place in order]
    return found


def test_every_kind_and_both_methods_are_tried():
    assert {case.values[0]["kind"] for case in CASES} == KINDS
    methods = {case.values[0]["input"]["method"] for case in CASES}
    assert methods == {"REML", "ML", "ML, Laplace approximation"}


@pytest.mark.parametrize("case", CASES)
def test_fits_agree_with_the_data(case):
    found, tolerance = fitted(case), case["tolerance"]
    for name, expected in case["expected"].items():
        if name.startswith("levels_"):
            continue
        slack = {"rtol": tolerance["rel"], "atol": tolerance["abs"]}
        if name.startswith("loglik"):
            slack = {"rtol": 0, "atol": tolerance["loglik_abs"]}
        np.testing.assert_allclose(found[name], expected, err_msg=name, **slack)


@pytest.mark.parametrize("case", [case for case in CASES if "printed" in case.values[0]])
def test_fits_agree_with_what_is_printed(case):
    found = fitted(case)
    for name, printed in case["printed"].items():
        assert found[name] == pytest.approx(printed, rel=case["printed_tolerance"]["rel"])


def made_up(seed, rows=70):
    rng = np.random.default_rng(seed)
    factors = {
        "auditor": rng.integers(0, 3, rows),
        "worker": rng.integers(0, 12, rows),
        "block": rng.integers(0, 6, rows),
    }
    n = rng.integers(1, 15, rows)
    logits = -1.5 + sum(rng.normal(0, 0.6, 12)[codes] for codes in factors.values())
    return rng.binomial(n, scipy.special.expit(logits)).astype(float), n.astype(float), factors


def dense_columns(design):
    """One column of zeros and ones a level, in the order in which the design has them."""
    return np.concatenate(
        [np.eye(size)[codes] for size, codes in zip(design.sizes, design.codes, strict=True)],
        axis=1,
    )


@pytest.mark.parametrize("seed", range(4))
def test_block_elimination_gives_what_the_full_matrix_gives(seed):
    y, _, factors = made_up(seed)
    design = CrossedDesign(factors)
    columns = dense_columns(design)
    rng = np.random.default_rng(seed)
    weights, relative = rng.uniform(0.1, 3, len(y)), rng.uniform(0.2, 1.5, 3)
    scale = design.spread_out(relative)
    scaled = columns * scale
    matrix = scaled.T @ (weights[:, None] * scaled) + np.eye(len(scale))
    inverse = np.linalg.inv(matrix)
    equations = design.equations(weights)
    factored = Factored(equations, scale)
    assert factored.log_determinant == pytest.approx(np.linalg.slogdet(matrix)[1])
    right = rng.normal(size=len(scale))
    np.testing.assert_allclose(factored.solve(right), inverse @ right, atol=1e-10)
    np.testing.assert_allclose(factored.inverse_diagonal(), np.diagonal(inverse), atol=1e-10)
    np.testing.assert_allclose(
        equations.times(right), columns.T @ (weights * (columns @ right)), atol=1e-10
    )
    starts = np.cumsum([0, *design.sizes[:-1]])
    places = [start + codes for start, codes in zip(starts, design.codes, strict=True)]
    for one, row in zip(places, factored.inverse_of_rows(design), strict=True):
        for other, found in zip(places, row, strict=True):
            np.testing.assert_allclose(found, inverse[one, other], atol=1e-10)
    # Average plus the level's effect plus the mean effects of all other factors, by the full
    # covariance of average and effects.
    whole = np.concatenate([np.ones((len(y), 1)), scaled], axis=1)
    penalty = np.diag([0.0, *np.ones(len(scale))])
    covariance = np.linalg.inv(whole.T @ (weights[:, None] * whole) + penalty)
    pull = scaled.T @ weights
    spreads = spreads_at_average(design, factored, relative, pull, weights.sum())
    for place, name in enumerate(design.names):
        for level in range(design.sizes[place]):
            combination = np.concatenate(
                [
                    [1.0],
                    *(
                        np.eye(size)[level] * relative[other]
                        if other == place
                        else np.full(size, relative[other] / size)
                        for other, size in enumerate(design.sizes)
                    ),
                ]
            )
            expected = math.sqrt(combination @ covariance @ combination)
            assert spreads[name][level] == pytest.approx(expected)


@pytest.mark.parametrize("seed", range(3))
def test_laplace_is_the_likelihood_at_its_mode(seed):
    # The same integral by its definition: minimise over all effects at once with scipy, take the
    # determinant of the full matrix; slopes by differences.
    y, n, factors = made_up(seed)
    design = CrossedDesign(factors)
    columns = dense_columns(design)
    place = np.array([-1.2, 0.7, 0.4, 0.3])
    laplace = _Laplace(y, n, design)
    value, slopes = laplace.value_and_slope(place)
    scaled = columns * design.spread_out(place[1:])

    def penalised(effects):
        logits = place[0] + scaled @ effects
        missed = (n * np.logaddexp(0, logits) - y * logits).sum()
        gradient = effects - scaled.T @ (y - n * scipy.special.expit(logits))
        return missed + effects @ effects / 2, gradient

    best = scipy.optimize.minimize(
        penalised, np.zeros(scaled.shape[1]), jac=True, method="BFGS", options={"gtol": 1e-9}
    )
    chance = scipy.special.expit(place[0] + scaled @ best.x)
    matrix = scaled.T @ ((n * chance * (1 - chance))[:, None] * scaled) + np.eye(len(best.x))
    assert value == pytest.approx(best.fun + np.linalg.slogdet(matrix)[1] / 2, abs=1e-8)
    differences = [
        (laplace.value_and_slope(place + step)[0] - laplace.value_and_slope(place - step)[0]) / 2e-5
        for step in 1e-5 * np.eye(4)
    ]
    np.testing.assert_allclose(slopes, differences, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("restricted", [True, False])
def test_the_linear_profile_is_the_likelihood_of_a_normal_vector(restricted):
    # scipy.stats.multivariate_normal of all values at once; the restricted likelihood adds the
    # usual term (D. A. Harville, Biometrika 61:383-385, 1974).
    _, n, factors = made_up(5)
    values = (n - n.mean()) / n.std()
    design = CrossedDesign(factors)
    profile = _Profile(values, design, restricted=restricted)
    relative = np.array([0.8, 0.5, 0.3])
    value, slopes = profile.value_and_slope(relative)
    scaled = dense_columns(design) * design.spread_out(relative)
    shape = scaled @ scaled.T + np.eye(len(values))
    ones = np.ones(len(values))
    inverse = np.linalg.inv(shape)
    average = ones @ inverse @ values / (ones @ inverse @ ones)
    left = values - average
    free = len(values) - restricted
    residual = left @ inverse @ left / free
    law = scipy.stats.multivariate_normal(average * ones, residual * shape)
    expected = law.logpdf(values)
    if restricted:
        information = ones @ inverse @ ones / residual
        expected += (math.log(2 * math.pi) - math.log(information)) / 2
    assert -value == pytest.approx(expected)
    differences = [
        (profile.value_and_slope(relative + step)[0] - profile.value_and_slope(relative - step)[0])
        / 2e-5
        for step in 1e-5 * np.eye(3)
    ]
    np.testing.assert_allclose(slopes, differences, rtol=1e-5, atol=1e-6)


def test_balanced_values_give_the_analysis_of_variance():
    # One factor, balanced: restricted estimates are those of the analysis of variance (Searle,
    # Casella & McCulloch, Variance Components, 1992, 3.8), and effects shrink by its ratio.
    rng = np.random.default_rng(8)
    values = rng.normal(0, 1, (9, 6)) + rng.normal(0, 2, (9, 1))
    fit = fit_linear_mixed(values.ravel(), {"worker": np.repeat(np.arange(9), 6).tolist()})
    within = values.var(axis=1, ddof=1).mean()
    between = 6 * values.mean(axis=1).var(ddof=1)
    assert fit.var_residual == pytest.approx(within, rel=1e-5)
    assert fit.variances["worker"] == pytest.approx((between - within) / 6, rel=1e-5)
    kept = 1 - within / between
    raw = values.mean(axis=1) - values.mean()
    assert fit.effects["worker"] == pytest.approx(kept * raw, rel=1e-4)
    assert adjusted_value(fit, "worker", 3).value == pytest.approx(
        values.mean() + kept * raw[3], rel=1e-5
    )


def test_adjusted_chances_shrink_towards_the_average():
    fit = fit_binomial_mixed(
        [0, 2, 9, 1, 3, 2], [12, 30, 30, 40, 25, 20], {"worker": ["a", "b", "c", "d", "e", "f"]}
    )
    chances = [adjusted_chance(fit, "worker", level) for level in "abcdef"]
    # No fault in 12 trees is not no fault ever, and 9 in 30 were partly bad luck.
    assert chances[0].chance > 0.01
    assert 0.1 < chances[2].chance < 9 / 30
    for chance, (lower, upper) in chances:
        assert 0 < lower < chance < upper < 1
