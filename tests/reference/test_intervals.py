"""
Intervals against published figures and independent programs.

`data/intervals.json` says of each case where it comes from; its figures agree with scipy,
statsmodels and R. Printed figures are compared to half their last place.
"""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from audits.estimates import (
    agresti_coull,
    clopper_pearson,
    describe_rate,
    exact_lower_limit,
    exact_upper_limit,
    jeffreys,
    lot_limits,
    lot_upper_limit,
    newcombe_difference,
    normal_in_lot,
    ratio_of_sums,
    wald,
    wilson,
    wilson_corrected,
    wilson_in_lot,
)

DATA = json.loads((Path(__file__).parent / "data" / "intervals.json").read_text())
METHODS = {
    "wilson": wilson,
    "wilson_cc": wilson_corrected,
    "clopper_pearson": clopper_pearson,
    "jeffreys": jeffreys,
    "agresti_coull": agresti_coull,
    "wald": wald,
}
# The data leaves these as the formula gives them; Agresti and Coull's limits are cut here.
UNCUT = {"wald"}


def cases(kind):
    return [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] == kind]


def cut(limits):
    """Cut limits to [0, 1]; the data leaves Agresti and Coull's as the formula gives them."""
    return [min(max(limit, 0.0), 1.0) for limit in limits]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("case", cases("proportion"))
def test_intervals_agree_with_the_data(case, method):
    given = case["input"]
    found = METHODS[method](given["x"], given["n"], given["confidence"])
    expected = case["expected"][method]
    if method not in UNCUT:
        expected = cut(expected)
    assert list(found) == pytest.approx(expected, abs=DATA["tolerance"])


@pytest.mark.parametrize("case", cases("proportion"))
def test_one_sided_limits_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    sample = (given["x"], given["n"], given["confidence"])
    found = [exact_lower_limit(*sample), exact_upper_limit(*sample)]
    limits = [expected[f"one_sided_{side}_clopper_pearson"] for side in ("lower", "upper")]
    assert found == pytest.approx(limits, abs=DATA["tolerance"])
    assert given["x"] / given["n"] == pytest.approx(expected["estimate"], abs=DATA["tolerance"])


@pytest.mark.parametrize("case", cases("proportion"))
def test_intervals_agree_with_printed_figures(case):
    given, published = case["input"], case.get("published", {})
    for method, printed in published.items():
        if method in METHODS:
            found = METHODS[method](given["x"], given["n"], given["confidence"])
            slack = published.get("tolerance", 0.5e-4 + 1e-9)
            assert list(found) == pytest.approx(printed, abs=slack)


@pytest.mark.parametrize("case", cases("difference"))
def test_differences_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]["newcombe"]
    found = newcombe_difference(
        given["x1"], given["n1"], given["x2"], given["n2"], given["confidence"]
    )
    assert list(found) == pytest.approx(expected, abs=DATA["tolerance"])
    if "published" in case:
        printed = case["published"]["newcombe"]
        assert list(found) == pytest.approx(printed, abs=0.5e-4 + 1e-9)


@pytest.mark.parametrize(
    ("samples", "printed"),
    [
        ((56, 70, 48, 80), (0.0428, 0.3422)),
        ((9, 10, 3, 10), (0.1013, 0.8387)),
        ((6, 7, 2, 7), (-0.0290, 0.8423)),
        ((5, 56, 0, 29), (-0.0667, 0.2037)),
        ((0, 10, 0, 10), (-0.3445, 0.3445)),
    ],
)
def test_corrected_differences_agree_with_printed_figures(samples, printed):
    # Newcombe 1998, Statistics in Medicine 17:873-890, Table II, method 11 (figures from memory).
    found = newcombe_difference(*samples, corrected=True)
    assert list(found) == pytest.approx(list(printed), abs=0.5e-4 + 1e-9)


@pytest.mark.parametrize("case", cases("finite-lot"))
def test_limits_in_a_lot_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    sample = (given["x"], given["n"], given["lot"], given["confidence"])
    limits = lot_limits(*sample)
    assert list(limits) == expected["nonconforming_in_lot"]
    shares = [trees / given["lot"] for trees in limits]
    assert shares == pytest.approx(expected["proportion"], abs=DATA["tolerance"])
    assert lot_upper_limit(*sample) == expected["one_sided_upper_nonconforming"]
    score = wilson_in_lot(*sample)
    assert list(score) == pytest.approx(expected["wilson_fpc"], abs=DATA["tolerance"])
    normal = normal_in_lot(*sample)
    assert normal.fraction == pytest.approx(expected["estimate"], abs=DATA["tolerance"])
    assert normal.standard_error == pytest.approx(expected["se_cochran"], abs=DATA["tolerance"])
    assert list(normal.interval) == pytest.approx(expected["normal_cochran"], abs=DATA["tolerance"])


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95, 0.99])
@pytest.mark.parametrize("lot_size", [1, 2, 7, 24, 60])
def test_limits_in_a_lot_are_those_that_the_hypergeometric_law_leaves(lot_size, confidence):
    # Every number of trees is tried with scipy.stats.hypergeom, where the code searches.
    tail = (1 - confidence) / 2
    for sample_size in {1, lot_size // 2 or 1, lot_size - 1 or 1, lot_size}:
        for count in range(sample_size + 1):
            numbers = np.arange(lot_size + 1)
            law = scipy.stats.hypergeom(lot_size, numbers, sample_size)
            likely = (law.sf(count - 1) > tail + 1e-12) & (law.cdf(count) > tail + 1e-12)
            possible = numbers[likely].tolist()
            limits = lot_limits(count, sample_size, lot_size, confidence)
            assert list(limits) == [possible[0], possible[-1]]
            assert possible == list(range(limits.lower, limits.upper + 1))


def test_a_probability_that_meets_its_limit_exactly_is_not_above_it():
    # One of two trees drawn and right: with one nonconforming tree in exactly 1 case of 2.
    assert lot_upper_limit(0, 1, 2, confidence=0.5) == 0
    assert lot_upper_limit(0, 1, 2, confidence=0.51) == 1
    # Three of five drawn and right, two nonconforming: C(3, 3) / C(5, 3) = 1 in 10, and 1 - 0.9
    # is a little below that in binary.
    assert lot_upper_limit(0, 3, 5, confidence=0.9) == 1
    assert lot_upper_limit(0, 3, 5, confidence=0.91) == 2


def test_a_large_lot_is_as_good_as_an_endless_one():
    limits = lot_limits(3, 80, 2_000_000)
    exact = clopper_pearson(3, 80)
    assert [trees / 2_000_000 for trees in limits] == pytest.approx(list(exact), abs=1e-5)


def test_every_kind_of_case_is_tried():
    # Clusters, strata and two stages in test_clusters.py.
    kinds = {"proportion", "difference", "finite-lot", "cluster", "stratified-cluster", "two-stage"}
    assert {case["kind"] for case in DATA["cases"]} == set(DATA["kinds"]) == kinds


COUNTS = [(count, total) for total in (1, 2, 7, 20, 61, 500) for count in {0, 1, total // 3, total}]


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.998])
@pytest.mark.parametrize(("count", "total"), COUNTS)
def test_intervals_agree_with_scipy(count, total, confidence):
    # scipy.stats.binomtest computes all three on its own.
    test = scipy.stats.binomtest(count, total)
    for method, name in ((wilson, "wilson"), (wilson_corrected, "wilsoncc")):
        expected = test.proportion_ci(confidence, name)
        assert list(method(count, total, confidence)) == pytest.approx(list(expected), abs=1e-12)
    # scipy finds the exact limits by a root search, to about 1e-9.
    expected = test.proportion_ci(confidence, "exact")
    found = clopper_pearson(count, total, confidence)
    assert list(found) == pytest.approx(list(expected), abs=1e-8)


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.998])
@pytest.mark.parametrize(("count", "total"), COUNTS)
def test_intervals_agree_with_statsmodels(count, total, confidence):
    for method in ("wilson", "jeffreys", "agresti_coull"):
        expected = proportion_confint(count, total, 1 - confidence, method)
        found = METHODS[method](count, total, confidence)
        assert list(found) == pytest.approx(list(expected), abs=1e-12)
    # statsmodels cuts the textbook interval to [0, 1].
    expected = proportion_confint(count, total, 1 - confidence, "normal")
    assert cut(wald(count, total, confidence)) == pytest.approx(list(expected), abs=1e-12)


@pytest.mark.parametrize("one", [(0, 10), (3, 10), (10, 10), (31, 140)])
@pytest.mark.parametrize("two", [(0, 25), (7, 25), (25, 25)])
def test_differences_agree_with_statsmodels(one, two):
    expected = confint_proportions_2indep(*one, *two, method="newcomb", compare="diff")
    assert list(newcombe_difference(*one, *two)) == pytest.approx(list(expected), abs=1e-12)


@pytest.mark.parametrize(
    ("count", "total", "per_cent"),
    [(18, 20, (69.9, 97.2)), (45, 50, (78.6, 95.7)), (9, 10, (59.6, 98.2)), (5, 5, (56.6, 100))],
)
def test_wilson_gives_the_figures_of_the_standard_formula(count, total, per_cent):
    # Derived from Wilson's formula with z = 1.96, to a tenth of a per cent.
    found = [100 * limit for limit in wilson(count, total)]
    assert found == pytest.approx(list(per_cent), abs=0.051)


@pytest.mark.parametrize(("total", "upper"), [(30, 0.095), (59, 0.0495)])
def test_no_fault_in_a_sample_still_leaves_some_possible(total, upper):
    # One-sided 95 % limit: 1 - 0.05 ** (1 / n), exact binomial; 59 trees for "under 5 %".
    found = clopper_pearson(0, total, confidence=0.90).upper
    assert found == pytest.approx(upper, abs=5e-4)
    assert found == pytest.approx(1 - 0.05 ** (1 / total), rel=1e-12)


@pytest.mark.parametrize("due", [30, 40, 100, 400])
@pytest.mark.parametrize("accepted", [0.02, 0.05, 0.15])
def test_a_flag_rises_where_the_binomial_tail_falls_to_one_in_a_thousand(due, accepted):
    # The tail comes from scipy.stats, independently of the incomplete beta used in the code.
    for nonconforming in range(due + 1):
        reading = describe_rate(nonconforming, due, days=3, rows=3, auditors=2)
        tail = scipy.stats.binom.sf(nonconforming - 1, due, accepted)
        assert reading.is_beyond(accepted) == (tail <= 0.001)


def share_flagged_in_a_season(tail, accepted, audits=20, trees=10):
    """Return the chance of at least one flag, looking again after each audit (exact recursion)."""
    unflagged = {0: 1.0}
    for audit in range(1, audits + 1):
        due = audit * trees
        following = {}
        for (before, chance), found in itertools.product(unflagged.items(), range(trees + 1)):
            chance_now = chance * scipy_pmf(found, trees, accepted)
            following[before + found] = following.get(before + found, 0.0) + chance_now
        unflagged = {
            count: chance
            for count, chance in following.items()
            if scipy.stats.binom.sf(count - 1, due, accepted) > tail
        }
    return 1 - sum(unflagged.values())


def scipy_pmf(count, total, fraction):
    return _PMF.setdefault(
        (count, total, fraction), float(scipy.stats.binom.pmf(count, total, fraction))
    )


_PMF = {}


@pytest.mark.parametrize("accepted", [0.05, 0.15])
def test_repeated_looks_flag_few_workers_who_are_on_standard(accepted):
    # The figures that the docstring of RateReading.is_beyond gives.
    assert share_flagged_in_a_season(0.025, accepted) == pytest.approx(0.08, abs=0.01)
    assert share_flagged_in_a_season(0.001, accepted) < 0.01


def stopped_audits(fraction, most_trees, most_nonconforming):
    """List every way an audit can end, as (trees, nonconforming, chance)."""
    running, ended = {(0, 0): 1.0}, []
    while running:
        following = {}
        for (trees, nonconforming), chance in running.items():
            for hit, share in ((1, fraction), (0, 1 - fraction)):
                state = (trees + 1, nonconforming + hit)
                following[state] = following.get(state, 0.0) + chance * share
        running = {}
        for (trees, nonconforming), chance in following.items():
            left = most_trees - trees
            if nonconforming > most_nonconforming or nonconforming + left <= most_nonconforming:
                ended.append((trees, nonconforming, chance))
            else:
                running[trees, nonconforming] = chance
    return ended


def test_stopped_samples_bias_the_mean_of_fractions_but_not_the_ratio_of_sums():
    # The figures that the docstring of ratio_of_sums gives; the second is Wald's identity.
    ended = stopped_audits(0.15, most_trees=24, most_nonconforming=3)
    assert sum(chance for *_, chance in ended) == pytest.approx(1)
    mean_of_fractions = sum(chance * hits / trees for trees, hits, chance in ended)
    assert mean_of_fractions == pytest.approx(0.17, abs=0.005)
    audits = 1_000_000
    samples = [
        (round(audits * chance) * hits, round(audits * chance) * trees)
        for trees, hits, chance in ended
    ]
    assert ratio_of_sums(samples) == pytest.approx(0.15, abs=1e-5)
