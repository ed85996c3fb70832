"""
Shares in clusters and strata against published figures and independent programs.

`data/intervals.json` says of each case where it comes from; its figures agree with R survey 4.1.1
(svyratio, svymean, svyciprop). statsmodels gives a second opinion on the standard error, and
counting every possible sample a third.
"""

import itertools
import json
import math
import statistics
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from audits.estimates import (
    clopper_pearson,
    normal_in_lot,
    share_in_clusters,
    share_in_two_stages,
    stratified_mean,
    stratified_share,
    stratified_share_in_clusters,
    stratified_total,
)

DATA = json.loads((Path(__file__).parent / "data" / "intervals.json").read_text())
NEAR = {"abs": DATA["tolerance"]}


def cases(kind):
    return [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] == kind]


@pytest.mark.parametrize("case", cases("cluster"))
def test_shares_in_clusters_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    found = share_in_clusters(
        given["clusters"], clusters_in_population=given["clusters_in_population"]
    )
    assert (found.units, found.count) == (expected["units"], expected["nonconforming"])
    assert found.degrees_of_freedom == expected["t_df"]
    assert found.value == pytest.approx(expected["p"], **NEAR)
    assert found.standard_error == pytest.approx(expected["se"], **NEAR)
    assert found.standard_error**2 == pytest.approx(expected["variance"], **NEAR)
    effect = expected["variance"] / expected["binomial_variance"]
    assert found.design_effect == pytest.approx(effect, rel=1e-8)
    for interval, name in (
        (found.interval, "ci95_t"),
        (found.normal_interval, "ci95_z"),
        (found.logit_interval, "ci95_logit_t"),
        (found.beta_interval, "ci95_svyciprop_beta"),
    ):
        assert list(interval) == pytest.approx(expected[name], **NEAR)


def test_a_share_in_clusters_agrees_with_printed_figures():
    # Scheaffer, Mendenhall & Ott, chapter 8: 0.48, bound on the error about 0.05 (from memory).
    (case,) = (case for case in DATA["cases"] if case["id"] == "cl-scheaffer")
    found = share_in_clusters(case["input"]["clusters"], clusters_in_population=415)
    assert found.value == pytest.approx(case["published"]["p"], abs=0.005)
    assert 2 * found.standard_error == pytest.approx(0.05, abs=0.005)


@pytest.mark.parametrize("case", cases("stratified-cluster"))
def test_shares_in_clusters_of_strata_agree_with_the_data(case):
    strata = case["input"]["strata"].values()
    found = stratified_share_in_clusters(
        [(stratum["clusters_in_stratum"], stratum["clusters"]) for stratum in strata]
    )
    assert_agrees(found, case["expected"])


@pytest.mark.parametrize("case", cases("two-stage"))
def test_shares_in_two_stages_agree_with_the_data(case):
    given = case["input"]
    found = share_in_two_stages(given["rows"], clusters_in_population=given["rows_in_population"])
    assert_agrees(found, case["expected"])


def assert_agrees(found, expected):
    assert found.value == pytest.approx(expected["p"], **NEAR)
    assert found.standard_error == pytest.approx(expected["se"], **NEAR)
    assert found.degrees_of_freedom == expected["t_df"]
    assert list(found.interval) == pytest.approx(expected["ci95_t"], **NEAR)


@pytest.mark.parametrize("case", cases("cluster"))
def test_the_standard_error_is_the_cluster_robust_one_of_statsmodels(case):
    # A mean of ones and zeros, one a unit, with clustered errors and the factor n / (n - 1).
    clusters = case["input"]["clusters"]
    ones = [place < found for units, found in clusters for place in range(units)]
    groups = [number for number, (units, _) in enumerate(clusters) for _ in range(units)]
    fit = sm.OLS(np.array(ones, float), np.ones(len(ones))).fit()
    # Its small-sample factor is n / (n - 1) times (units - 1) / (units - 1).
    robust = fit.get_robustcov_results("cluster", groups=np.array(groups), use_correction=True)
    found = share_in_clusters(clusters)
    assert found.value == pytest.approx(float(robust.params[0]), rel=1e-12)
    assert found.standard_error == pytest.approx(float(robust.bse[0]), rel=1e-10)


def test_clusters_of_one_unit_are_a_simple_random_sample():
    # Cochran's standard error, computed elsewhere in the project from the counts alone.
    singles = [(1, 1)] * 4 + [(1, 0)] * 26
    found = share_in_clusters(singles, clusters_in_population=120)
    alone = normal_in_lot(4, 30, 120)
    assert found.standard_error == pytest.approx(alone.standard_error, rel=1e-12)


def test_clusters_whose_units_are_all_alike_count_as_one_unit_each():
    # Kish, Survey Sampling 5.6: the design effect is 1 + (M - 1) roh, here M with roh = 1.
    trees = [(5, 5)] * 21 + [(5, 0)] * 9
    found = share_in_clusters(trees)
    assert found.design_effect == pytest.approx(5 * 30 / 29, rel=1e-12)
    assert found.standard_error == pytest.approx(math.sqrt(0.7 * 0.3 / 29), rel=1e-12)


def test_where_every_unit_has_the_property_each_cluster_counts_once():
    found = share_in_clusters([(5, 5)] * 24)
    # One-sided by construction: 1 - 0.025 ** (1 / 24) could still lack it.
    assert found.exact_interval.lower == pytest.approx(0.025 ** (1 / 24), rel=1e-12)
    assert found.exact_interval == clopper_pearson(24, 24)


def every_sample(population, size):
    return itertools.combinations(population, size)


def test_the_variance_of_a_stratified_total_is_that_of_all_samples():
    # Every sample of 2 of 4 trees and 3 of 5: mean of the estimates and of the variances.
    one, two = [3.0, 5.0, 4.0, 9.0], [1.0, 2.0, 6.0, 6.0, 8.0]
    found = [
        stratified_total([(4, first), (5, second)])
        for first in every_sample(one, 2)
        for second in every_sample(two, 3)
    ]
    assert statistics.fmean(each.value for each in found) == pytest.approx(sum(one) + sum(two))
    variance = statistics.pvariance([each.value for each in found])
    assert statistics.fmean(each.standard_error**2 for each in found) == pytest.approx(variance)


def test_the_variance_of_a_stratified_share_is_that_of_all_samples():
    one, two = [1, 0, 0, 1, 0], [0, 0, 1, 0]
    found = [
        stratified_share([(5, 3, sum(first)), (4, 2, sum(second))])
        for first in every_sample(one, 3)
        for second in every_sample(two, 2)
    ]
    assert statistics.fmean(each.value for each in found) == pytest.approx(3 / 9)
    variance = statistics.pvariance([each.value for each in found])
    assert statistics.fmean(each.standard_error**2 for each in found) == pytest.approx(variance)


def test_the_variance_in_two_stages_is_that_of_all_samples():
    # With clusters of one size the estimate is a plain mean, so its variance estimate is unbiased.
    rows = [[1, 0, 1, 0], [0, 0, 1, 0], [1, 1, 0, 1], [0, 0, 0, 0]]
    found = [
        share_in_two_stages(
            [(4, 2, sum(first)), (4, 2, sum(second))], clusters_in_population=len(rows)
        )
        for one, two in every_sample(rows, 2)
        for first in every_sample(one, 2)
        for second in every_sample(two, 2)
    ]
    assert statistics.fmean(each.value for each in found) == pytest.approx(6 / 16)
    variance = statistics.pvariance([each.value for each in found])
    assert statistics.fmean(each.standard_error**2 for each in found) == pytest.approx(variance)


def test_a_stratified_mean_agrees_with_a_figure_worked_by_hand():
    # Means 3.2 and 3.6, variances 0.01 and 0.07:
    # (200 x 3.2 + 100 x 3.6) / 300; root of (200 x 197 x 0.01 / 3 + 100 x 97 x 0.07 / 3) / 300.
    found = stratified_mean([(200, [3.1, 3.3, 3.2]), (100, [3.4, 3.5, 3.9])])
    assert found.value == pytest.approx(10 / 3, rel=1e-12)
    assert found.standard_error == pytest.approx(math.sqrt(131.0 + 1 / 3 + 226 + 1 / 3) / 300)
    assert found.degrees_of_freedom == 4


def coverage(share, alike, trees, branches, times=4_000):
    """Return how often the intervals hold the share, with trees that are more or less alike."""
    chance = np.random.default_rng(20260120)
    # A beta mixture: the correlation of two branches of one tree is `alike`.
    strength = 1 / alike - 1
    shares = chance.beta(share * strength, (1 - share) * strength, size=(times, trees))
    found = chance.binomial(branches, shares)
    held = np.zeros(2)
    for sample in found:
        aware = share_in_clusters([(branches, int(count)) for count in sample]).exact_interval
        naive = clopper_pearson(int(sample.sum()), branches * trees)
        held += [low <= share <= high for low, high in (aware, naive)]
    return held / times


def test_the_range_for_people_holds_the_share_where_the_naive_one_does_not():
    # 25 trees with five branches, two branches of a tree correlated by 0.3.
    aware, naive = coverage(0.8, 0.3, trees=25, branches=5)
    assert aware >= 0.945
    assert naive < 0.90
