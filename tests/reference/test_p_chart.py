"""
Control limits against stored charts and an independent binomial law.

`data/charts.json` says of each case where it comes from; its p charts were computed with numpy and
a second time in R.
"""

import json
from pathlib import Path

import pytest
import scipy.stats

from audits.control.limits import probability_limits
from audits.control.p_chart import p_chart
from audits.control.standardised import standardised

DATA = json.loads((Path(__file__).parent / "data" / "charts.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] == "p_chart"]


@pytest.mark.parametrize("case", CASES)
def test_p_charts_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    chart = p_chart(given["defectives"], given["n"], sigmas=given["k"])
    # The data is stored to 12 places.
    slack = max(case["tolerance"]["abs"], 1e-12)
    assert chart.centre == pytest.approx(expected["center"], abs=slack)
    assert [point.upper for point in chart.points] == pytest.approx(expected["ucl"], abs=slack)
    assert [point.lower for point in chart.points] == pytest.approx(expected["lcl"], abs=slack)
    if "p" in expected:
        fractions = [point.fraction for point in chart.points]
        assert fractions == pytest.approx(expected["p"], abs=slack)
    if "z" in expected and 0 < chart.centre < 1:
        z = [
            standardised(*block, chart.centre)
            for block in zip(given["defectives"], given["n"], strict=True)
        ]
        assert z == pytest.approx(expected["z"], abs=slack)
    signals = [number for number, point in enumerate(chart.points, start=1) if point.signal]
    assert signals == expected["out"]


def test_the_data_holds_a_chart_of_each_sort():
    assert {case.id for case in CASES} == {"p-var-small-n", "p-var-synthetic-2", "p-zero-defects"}


@pytest.mark.parametrize("false_alarm", [0.0027, 0.002, 0.05])
@pytest.mark.parametrize("due", [1, 10, 20, 30, 137, 1200])
@pytest.mark.parametrize("centre", [0.001, 0.05, 0.15, 0.5, 0.9])
def test_probability_limits_agree_with_the_binomial_law(centre, due, false_alarm):
    # scipy.stats.binom, by search through all counts: the smallest count that is exceeded, and the
    # largest that is fallen short of, with at most half the false alarm rate.
    law = scipy.stats.binom(due, centre)
    upper = min(count for count in range(due + 1) if law.sf(count) <= false_alarm / 2)
    lower = max(count for count in range(due + 1) if law.cdf(count - 1) <= false_alarm / 2)
    assert probability_limits(centre, due, false_alarm) == (lower, upper)


def test_the_docstrings_example_is_the_binomial_law():
    # n = 10, p = 0.05: P(X >= 3) = 0.0115 and P(X >= 4) = 0.0010 (binomial tables, from memory).
    assert scipy.stats.binom.sf(2, 10, 0.05) == pytest.approx(0.0115, abs=5e-5)
    assert scipy.stats.binom.sf(3, 10, 0.05) == pytest.approx(0.0010, abs=5e-5)
    assert probability_limits(0.05, 10).upper == 3
