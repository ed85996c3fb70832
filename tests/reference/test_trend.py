"""
Trend tests and binomial regression against stored cases.

`data/trend.json` says of each case where it comes from: published series and tables (Sen 1968,
Hollander & Wolfe, Pettitt 1979, Bliss 1935, Collett 1991, SAS/STAT) and R, statsmodels or
pymannkendall. Each case states its tolerance.
"""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm

from audits.comparison.regression import binomial_regression
from audits.comparison.trend_tests import (
    cochran_armitage,
    mann_kendall,
    mann_kendall_exact,
    pettitt,
    sen_slope,
)

DATA = json.loads((Path(__file__).parent / "data" / "trend.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]
# The other form of Sen's interval rounds its ranks; the data says to accept either.
NOT_OURS = {"theil_ci95_scipy"}


def kendall_and_sen(given):
    trend, line = mann_kendall(given["x"]), sen_slope(given["x"], given["t"])
    return {
        "n": trend.points,
        "S": trend.s,
        "var_S": trend.variance,
        "z": trend.z,
        "p_two_sided": trend.p_value,
        "tau_b": trend.tau_b,
        "sen_slope": line.slope,
        "sen_ci95_interpolated": list(line.interval),
        "intercept_median_residual": line.intercept,
        "n_slopes": line.slopes,
    }


def armitage(given):
    trend = cochran_armitage(given["y"], given["n"], given["score"])
    return {
        "z": trend.z,
        "chi2": trend.chi2,
        "p_two_sided": trend.p_value,
        "mantel_M2": trend.mantel_chi2,
        "p_M2": trend.mantel_p_value,
        "slope": trend.slope,
        "chi2_homogeneity": trend.homogeneity_chi2,
        "chi2_departure": trend.departure_chi2,
        "df_departure": trend.departure_df,
    }


def regression(given):
    columns = {name: column for name, column in given.items() if name not in {"y", "n"}}
    fit = binomial_regression(given["y"], given["n"], columns)
    each = fit.coefficients
    return {
        "coef": [one.value for one in each],
        "se": [one.standard_error for one in each],
        "z": [one.z for one in each],
        "p": [one.p_value for one in each],
        "deviance": fit.deviance,
        "null_deviance": fit.null_deviance,
        "df_resid": fit.residual_df,
        "pearson_chi2": fit.pearson_chi2,
        "dispersion_phi": fit.dispersion,
        "quasi_se": [one.quasi_standard_error for one in each],
        "fitted": fit.fitted,
        "names": [one.name for one in each],
    }


def change(given):
    found = pettitt(given["x"])
    return {"K": found.k, "change_after": found.after, "p_approx": found.p_value}


METHODS = {
    "mann_kendall_sen": kendall_and_sen,
    "mann_kendall_exact": lambda given: {"p_one_sided": mann_kendall_exact(given["n"], given["S"])},
    "cochran_armitage": armitage,
    "binomial_glm": regression,
    "pettitt_change_point": change,
}


def test_every_kind_of_the_data_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == METHODS.keys()


@pytest.mark.parametrize("case", CASES)
def test_figures_agree_with_the_data(case):
    found, tolerance = METHODS[case["kind"]](case["input"]), case["tolerance"]
    wanted = case["expected"].keys() - NOT_OURS
    assert wanted <= found.keys()
    for name in wanted:
        expected = case["expected"][name]
        if name == "names":
            assert found[name] == expected
            continue
        np.testing.assert_allclose(
            found[name],
            expected,
            rtol=tolerance.get("rel", 0.0),
            atol=tolerance.get("abs", 0.0),
            err_msg=name,
        )


@pytest.mark.parametrize("case", [case for case in CASES if "printed" in case.values[0]])
def test_figures_agree_with_what_is_printed(case):
    found = METHODS[case["kind"]](case["input"])
    for name, printed in case["printed"].items():
        slack = case["printed_tolerance"]["abs"]
        np.testing.assert_allclose(found[name], printed, rtol=0, atol=slack, err_msg=name)


@pytest.mark.parametrize("points", range(1, 8))
def test_exact_chances_are_those_of_all_orders(points):
    # By definition: every order of the figures is equally likely.
    sums = [
        sum((b > a) - (b < a) for a, b in itertools.combinations(order, 2))
        for order in itertools.permutations(range(points))
    ]
    for s in range(-points * points, points * points):
        expected = sum(each >= s for each in sums) / len(sums)
        assert mann_kendall_exact(points, s) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_rank_tests_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    series = rng.integers(0, 9, 25).tolist()
    times = np.cumsum(rng.uniform(0.5, 2, 25)).tolist()
    trend, line = mann_kendall(series), sen_slope(series, times)
    assert trend.tau_b == pytest.approx(scipy.stats.kendalltau(times, series).statistic)
    theil = scipy.stats.theilslopes(series, times)
    assert line.slope == pytest.approx(theil.slope)
    # Its ranks are rounded, ours interpolated: the limits lie within a slope or two.
    slopes = sorted(
        (series[b] - series[a]) / (times[b] - times[a])
        for a, b in itertools.combinations(range(25), 2)
    )
    for ours, theirs in zip(line.interval, theil[2:], strict=True):
        assert abs(np.searchsorted(slopes, ours) - np.searchsorted(slopes, theirs)) <= 2


@pytest.mark.parametrize("seed", range(5))
def test_regressions_agree_with_statsmodels(seed):
    rng = np.random.default_rng(seed)
    week, height = np.arange(20.0), rng.normal(3500, 120, 20)
    due = rng.integers(5, 30, 20)
    chance = 1 / (1 + np.exp(1 + 0.05 * week - 0.002 * (height - 3500)))
    found = rng.binomial(due, chance)
    fit = binomial_regression(found, due, {"week": week, "height": height})
    columns = sm.add_constant(np.column_stack([week, height]))
    theirs = sm.GLM(
        np.column_stack([found, due - found]), columns, family=sm.families.Binomial()
    ).fit(tol=1e-14)
    assert [one.value for one in fit.coefficients] == pytest.approx(theirs.params, rel=1e-6)
    assert [one.standard_error for one in fit.coefficients] == pytest.approx(theirs.bse, rel=1e-6)
    assert fit.deviance == pytest.approx(theirs.deviance)
    assert fit.pearson_chi2 == pytest.approx(theirs.pearson_chi2)


def test_the_trend_of_two_groups_is_the_difference_of_two_fractions():
    # With two groups the trend test is Pearson's test of the table (Agresti, 3.2).
    trend = cochran_armitage([5, 14], [40, 50], [0, 1])
    table = [[5, 35], [14, 36]]
    expected = scipy.stats.chi2_contingency(table, correction=False)
    assert trend.chi2 == pytest.approx(expected.statistic)
    assert trend.p_value == pytest.approx(expected.pvalue)
    assert trend.slope == pytest.approx(14 / 50 - 5 / 40)
    assert trend.departure_p_value is None
    assert math.isclose(trend.departure_chi2, 0, abs_tol=1e-9)
