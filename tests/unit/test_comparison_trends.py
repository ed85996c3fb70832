"""Trend tests, regression, sizes and many chances: cases by hand and input without an answer."""

import math

import pytest
from scipy import stats

from audits.comparison.multiple import (
    benjamini_hochberg,
    benjamini_yekutieli,
    bonferroni,
    holm,
)
from audits.comparison.power import (
    cohen_h,
    fisher_exact,
    one_sample_exact,
    one_sample_exact_size,
    p_chart_lower_limit_size,
    p_chart_sample_size,
    power_two_proportions,
    rule_of_three,
    sample_size_two_proportions,
)
from audits.comparison.reasons import NoFit
from audits.comparison.regression import binomial_regression
from audits.comparison.shrinkage import fit_beta_binomial
from audits.comparison.trend_tests import (
    cochran_armitage,
    mann_kendall,
    mann_kendall_exact,
    pettitt,
    sen_slope,
)


def test_three_rising_figures_by_hand():
    trend = mann_kendall([1, 2, 3])
    assert (trend.s, trend.variance, trend.tau_b) == (3, pytest.approx(66 / 18), 1.0)
    assert trend.z == pytest.approx(2 / math.sqrt(66 / 18))
    assert mann_kendall_exact(3, 3) == pytest.approx(1 / 6)


@pytest.mark.parametrize("series", [[], [4.0]])
def test_a_series_too_short_for_a_trend_has_none(series):
    assert mann_kendall(series) is None
    assert sen_slope(series) is None
    assert pettitt(series) is None


def test_equal_figures_have_no_trend_to_judge():
    trend = mann_kendall([2, 2, 2])
    assert (trend.s, trend.z, trend.p_value, trend.tau_b) == (0, None, None, None)
    assert sen_slope([2, 2, 2]).slope == 0
    assert pettitt([2, 2, 2]) is None


def test_points_of_one_time_have_no_slope():
    assert sen_slope([1, 2, 3], [5, 5, 5]) is None
    assert sen_slope([1, 2, 4], [0, 0, 1]).slopes == 2


def test_a_series_too_short_for_its_range_says_so():
    assert sen_slope([1, 3, 2]).is_short
    assert not sen_slope([1, 3, 2, 4, 5, 6]).is_short


def test_a_trend_beyond_all_pairs_is_impossible():
    assert mann_kendall_exact(4, 7) == 0
    with pytest.raises(ValueError, match="points must be at least 1"):
        mann_kendall_exact(0, 0)


def test_a_change_is_found_where_it_is():
    change = pettitt([5, 5, 5, 1, 1, 1, 1])
    assert (change.k, change.after, change.rises) == (12, 3, False)


@pytest.mark.parametrize(
    ("found", "due", "scores"),
    [
        ([], [], []),
        ([0, 0], [10, 10], [1, 2]),
        ([10, 10], [10, 10], [1, 2]),
        ([1, 2], [10, 10], [3, 3]),
        ([1, 0], [10, 0], [1, 2]),
    ],
)
def test_fractions_that_cannot_trend_have_no_test(found, due, scores):
    assert cochran_armitage(found, due, scores) is None


@pytest.mark.parametrize(
    ("found", "due", "columns", "reason"),
    [
        ([], [], {"week": []}, NoFit.NO_TREES),
        ([0], [0], {"week": [1]}, NoFit.NO_TREES),
        ([0, 0], [10, 10], {"week": [1, 2]}, NoFit.NO_FAULTS),
        ([10, 10], [10, 10], {"week": [1, 2]}, NoFit.ALL_FAULTS),
        ([5], [10], {"week": [1]}, NoFit.TOO_FEW),
        ([5, 2], [10, 10], {"week": [3, 3]}, NoFit.ONE_LEVEL),
        ([5, 2, 1], [10, 10, 10], {"week": [1, 2, 3], "day": [7, 14, 21]}, NoFit.ENTANGLED),
        ([0, 0, 10, 10], [10] * 4, {"week": [1, 2, 3, 4]}, NoFit.SEPARATED),
    ],
)
def test_regressions_without_an_answer_have_a_reason(found, due, columns, reason):
    assert binomial_regression(found, due, columns) is reason


def test_a_regression_without_columns_is_the_common_rate():
    fit = binomial_regression([2, 6], [20, 20], {})
    assert fit.fitted == pytest.approx([0.2, 0.2])
    assert fit.deviance == pytest.approx(fit.null_deviance)


def test_as_many_rows_as_coefficients_leave_no_dispersion():
    fit = binomial_regression([2, 6, 0], [20, 20, 0], {"week": [0, 1, 9]})
    assert (fit.residual_df, fit.dispersion) == (0, None)
    assert fit.coefficients[1].quasi_standard_error is None
    assert len(fit.fitted) == 3
    week = fit.coefficients[1]
    assert week.value == pytest.approx(math.log((6 / 14) / (2 / 18)))
    lower, upper = week.interval()
    assert (upper - lower) / 2 == pytest.approx(1.96 * week.standard_error, rel=1e-4)


def test_the_range_of_a_coefficient_takes_the_larger_error():
    fit = binomial_regression([0, 9, 1, 12, 2], [20] * 5, {"week": [0, 1, 2, 3, 4]})
    assert fit.dispersion > 1
    week = fit.coefficients[1]
    lower, upper = week.interval()
    assert (upper - lower) / 2 == pytest.approx(1.96 * week.quasi_standard_error, rel=1e-4)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: sample_size_two_proportions(0.1, 0.1), "must differ"),
        (lambda: sample_size_two_proportions(0.0, 0.1), "fraction_one"),
        (lambda: sample_size_two_proportions(0.2, 0.1, power=1.0), "power"),
        (lambda: sample_size_two_proportions(0.2, 0.1, sides=3), "sides"),
        (lambda: power_two_proportions(0, 0.2, 0.1), "trees"),
        (lambda: cohen_h(0.2, 1.0), "fraction_two"),
        (lambda: one_sample_exact(0.1, 0.2, 0), "trees must be a whole number"),
        (lambda: one_sample_exact(0.1, 0.2, 10, side="both"), "side"),
        (lambda: one_sample_exact_size(0.1, 0.05), "fraction must lie beyond 0.1"),
        (lambda: p_chart_sample_size(0.1, 0.1), "shifted"),
        (lambda: p_chart_lower_limit_size(0.0), "centre"),
        (lambda: rule_of_three(0.0), "fraction"),
        (lambda: fisher_exact([[1, 2]]), "table"),
        (lambda: fisher_exact([[1, 2], [3, -1]]), "not -1"),
        (lambda: fisher_exact([[1, 2], [3, math.inf]]), "not inf"),
        (lambda: binomial_regression([1, 2], [3, math.inf], {}), r"due\[1\] = inf"),
        (lambda: binomial_regression([1, math.nan], [3, 3], {}), "not nan"),
        (lambda: bonferroni([0.2, 1.2]), r"p_values\[1\]"),
    ],
)
def test_bad_figures_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def test_so_few_trees_that_no_count_is_unlikely():
    assert one_sample_exact(0.5, 0.9, 3).critical_count is None
    assert one_sample_exact(0.5, 0.1, 3, side="less").power == 0


def test_a_difference_too_small_to_see_has_no_size(monkeypatch):
    monkeypatch.setattr("audits.comparison.power._LARGEST_SIZE", 60)
    assert one_sample_exact_size(0.10, 0.11) is None
    assert one_sample_exact_size(0.5, 0.1, side="less").first <= 12


def test_margins_of_none_leave_nothing_to_test():
    assert fisher_exact([[0, 0], [3, 4]]) == (1.0, 1.0, 1.0)


def test_fishers_test_takes_the_trees_of_a_season():
    """Against scipy; the ways of such a table are beyond floats."""
    found = fisher_exact([[150, 850], [100, 1100]])
    assert found.two_sided == pytest.approx(stats.fisher_exact([[150, 850], [100, 1100]])[1])


def test_no_questions_have_no_chances():
    for method in (bonferroni, holm, benjamini_hochberg, benjamini_yekutieli):
        assert method([]) == []
        assert method([0.03]) == [pytest.approx(0.03)]


def test_a_step_that_overshoots_is_shortened(monkeypatch):
    # One row far away from the others; the fit must satisfy the equations of the likelihood.
    found, due, week = [1, 16, 173, 19], [1904, 1878, 365, 1869], [1, 5, 50, 1]
    fit = binomial_regression(found, due, {"week": week})
    left = [
        count - total * chance for count, total, chance in zip(found, due, fit.fitted, strict=True)
    ]
    assert sum(left) == pytest.approx(0, abs=1e-6)
    assert sum(one * at for one, at in zip(left, week, strict=True)) == pytest.approx(0, abs=1e-4)
    monkeypatch.setattr("audits.comparison.regression._MOST_STEPS", 2)
    assert binomial_regression(found, due, {"week": week}) is NoFit.SEPARATED


def test_the_best_mean_is_given_even_when_steps_run_out(monkeypatch):
    monkeypatch.setattr("audits.comparison.shrinkage._NEWTON_STEPS", 1)
    fit = fit_beta_binomial([1, 9, 2, 14], [40, 40, 40, 40])
    assert 0 < fit.mean < 1
