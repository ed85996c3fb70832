"""
Learning curves against stored cases, and the curve of faults against statsmodels.

`data/learning-curves.json` says of each case where it comes from: a printed table of a management
accounting text, unit curve coefficients from memory, Kerzner (Project Management, table 18-1),
scipy and R.
"""

import json
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from audits.learning.curves import (
    CurveForm,
    cumulative_average,
    cumulative_total,
    exponent,
    fit_fault_curve,
    fit_unit_curve,
    unit_total,
    unit_value,
)

DATA = json.loads((Path(__file__).parent / "data" / "learning-curves.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]


def wright(given):
    first, rate, units = given["first"], given["rate"], given["units"]
    totals = [cumulative_total(first, rate, unit) for unit in units]
    increments = np.diff([0.0, *totals])
    return {
        "b": exponent(rate),
        "cumulative_average": [cumulative_average(first, rate, unit) for unit in units],
        "total": totals,
        "incremental_total": increments,
        "average_of_increment": increments / np.diff([0, *units]),
    }


def crawford(given):
    rate, units = given["rate"], given["units"]
    return {
        "b": exponent(rate),
        "unit": [unit_value(1, rate, unit) for unit in units],
        "total": [unit_total(1, rate, unit) for unit in units],
        "unit_10": unit_value(1, rate, 10),
        "total_10": unit_total(1, rate, 10),
    }


def one_unit(given):
    first, rate, unit = given["first"], given["rate"], given["unit"]
    total = unit_total(first, rate, unit)
    return {
        f"unit_{unit}": unit_value(first, rate, unit),
        "total": total,
        "cumulative_average": total / unit,
    }


def line(given):
    fit = fit_unit_curve(given["unit"], given["minutes"])
    return {
        "b": fit.exponent,
        "se_b": fit.standard_error,
        "first_fitted": fit.first,
        "learning_rate": fit.rate,
        "learning_rate_ci95": fit.interval,
        "r_squared": fit.r_squared,
    }


METHODS = {
    "learning_curve_cumulative_average": wright,
    "learning_curve_unit": crawford,
    "learning_curve_unit_value": one_unit,
    "learning_curve_fit": line,
}


def test_every_kind_of_the_data_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == METHODS.keys()


@pytest.mark.parametrize("case", CASES)
def test_figures_agree_with_the_data(case):
    found = METHODS[case["kind"]](case["input"])
    tolerance = case["tolerance"]
    for name, expected in case["expected"].items():
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
    slack = case["printed_tolerance"]
    for name, printed in case["printed"].items():
        np.testing.assert_allclose(
            found[name],
            printed,
            rtol=slack.get("rel", 0.0),
            atol=slack.get("abs", 0.0),
            err_msg=name,
        )


@pytest.mark.parametrize("seed", range(5))
def test_the_curve_of_faults_is_that_of_a_log_linear_model(seed):
    # statsmodels: Poisson regression on log n with the variance of Huber and White (HC0).
    chances = np.random.default_rng(seed)
    trees = np.arange(1, 121)
    faults = chances.random(trees.size) < 0.6 * trees**-0.3
    model = sm.GLM(
        faults.astype(float), sm.add_constant(np.log(trees)), family=sm.families.Poisson()
    ).fit(cov_type="HC0", tol=1e-12, maxiter=200)
    fit = fit_fault_curve(faults.tolist())
    assert fit.exponent == pytest.approx(model.params[1], abs=1e-7)
    assert fit.first == pytest.approx(np.exp(model.params[0]), rel=1e-6)
    assert fit.standard_error == pytest.approx(model.bse[1], rel=1e-5)
    # Student's quantile, from scipy, with the degrees of freedom that two fitted figures leave.
    reach = stats.t(faults.sum() - 2).ppf(0.975) * model.bse[1]
    assert np.log2(fit.interval) == pytest.approx(
        [model.params[1] - reach, model.params[1] + reach], abs=1e-5
    )


@pytest.mark.parametrize("form", CurveForm)
def test_intervals_hold_the_rate_as_often_as_they_say(form):
    chances = np.random.default_rng(11)
    trees, power = np.arange(1, 101.0), -0.3
    if form is CurveForm.UNIT:
        shape = trees**power
    else:
        shape = trees ** (1 + power) - (trees - 1) ** (1 + power)
    fits = [
        fit_fault_curve((chances.random(trees.size) < 0.7 * shape).tolist(), form)
        for _ in range(300)
    ]
    inside = [fit.interval[0] <= 2**power <= fit.interval[1] for fit in fits if fit]
    # 300 tries of 95 %: three standard deviations are 3.8 points.
    assert np.mean(inside) >= 0.912
    # An interval that is always wide would hold the rate too: most must tell that faults fall.
    assert np.mean([fit.falls for fit in fits if fit]) > 0.5


@pytest.mark.parametrize(
    ("form", "most_falling"), [(CurveForm.UNIT, 0.04), (CurveForm.CUMULATIVE_AVERAGE, 0.06)]
)
def test_few_faults_that_do_not_change_are_seldom_called_fewer_or_more(form, most_falling):
    # 60 trees with about seven faults, where 2.5 in 100 may err each way; Wright's form stays a
    # little short. The planted mistake: with the normal quantile 8 (Wright's 9.5) in 100 were
    # called fewer and 5 in 100 more.
    chances = np.random.default_rng(18)
    fits = []
    while len(fits) < 400:
        faults = (chances.random(60) < 0.1).tolist()
        fit = fit_fault_curve(faults, form) if sum(faults) >= 5 else None
        if fit:
            fits.append(fit)
    # Two standard deviations of 400 tries of 2.5 % are 1.6 points.
    assert np.mean([fit.falls for fit in fits]) <= most_falling
    assert np.mean([fit.rises for fit in fits]) <= 0.041


def test_fewer_than_three_faults_have_no_curve():
    # Two figures are fitted, so two faults leave no degree of freedom.
    assert fit_fault_curve([False, True, False, False, True, False, False, False]) is None
    assert fit_fault_curve([False, True, False, False, True, False, True, False]) is not None
