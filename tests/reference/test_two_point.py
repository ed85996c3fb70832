"""
Least single plans through two points, against stored searches and an independent one.

`data/two-point-design.json` says of each case where it comes from; its plans were found by two
searches in Python and one in R, those for real lots in exact rationals as well.
"""

import json
from pathlib import Path

import pytest
import scipy.stats

from audits.sampling import (
    SinglePlan,
    acceptance_probability,
    acceptance_probability_at_count,
    design_single,
    design_single_for_counts,
    stage_producer_risk,
)

DATA = json.loads((Path(__file__).parent / "data" / "two-point-design.json").read_text())


def cases(*kinds):
    return [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] in kinds]


def expected_plan(case):
    expected = case["expected"]
    return SinglePlan(expected["n"], expected["ac"], expected["re"])


@pytest.mark.parametrize("case", cases("binomial", "poisson"))
def test_endless_rows_get_the_stored_plan(case):
    given, expected = case["input"], case["expected"]
    plan = design_single(
        given["aql"], given["alpha"], given["ltpd"], given["beta"], model=case["kind"]
    )
    assert plan == expected_plan(case)
    chances = acceptance_probability(plan, [given["aql"], given["ltpd"]], model=case["kind"])
    assert chances == pytest.approx([expected["pa_at_aql"], expected["pa_at_ltpd"]], abs=1e-12)


@pytest.mark.parametrize("case", cases("hypergeometric"))
def test_real_lots_get_the_stored_plan(case):
    given, expected = case["input"], case["expected"]
    plan = design_single_for_counts(
        given["good_nonconforming"],
        given["alpha"],
        given["bad_nonconforming"],
        given["beta"],
        lot_size=given["lot"],
    )
    assert plan == expected_plan(case)
    chances = [
        acceptance_probability_at_count(plan, given[count], given["lot"])
        for count in ("good_nonconforming", "bad_nonconforming")
    ]
    assert chances == pytest.approx([expected["pa_at_aql"], expected["pa_at_ltpd"]], abs=1e-12)


@pytest.mark.parametrize("case", cases("hypergeometric"))
def test_fractions_of_a_real_lot_mean_the_same_trees(case):
    given = case["input"]
    plan = design_single(
        given["aql"], given["alpha"], given["ltpd"], given["beta"], lot_size=given["lot"]
    )
    assert plan == expected_plan(case)


# A plan read off a nomograph misses the producer's point, as its note in the data says.
PRINTED = [
    case
    for case in cases("binomial")
    if "published" in case.values[0] and "note" not in case.values[0]["published"]
]


@pytest.mark.parametrize("case", PRINTED)
def test_designs_agree_with_printed_plans(case):
    given, published = case["input"], case["published"]
    plan = design_single(given["aql"], given["alpha"], given["ltpd"], given["beta"])
    assert plan.sample_size == published["n"]
    assert plan.acceptance_number == published.get("ac", plan.acceptance_number)


def test_a_row_of_300_trees_is_decided_on_25():
    # 15 against 75 nonconforming trees at risks of 5 % and 10 %; checked here by scipy.
    plan = design_single(0.05, 0.05, 0.25, 0.10, lot_size=300)
    assert plan == SinglePlan(25, 3)
    assert scipy.stats.hypergeom.cdf(3, 300, 15, 25) >= 0.95
    assert scipy.stats.hypergeom.cdf(3, 300, 75, 25) <= 0.10
    assert not any(
        scipy.stats.hypergeom.cdf(number, 300, 15, 24) >= 0.95
        and scipy.stats.hypergeom.cdf(number, 300, 75, 24) <= 0.10
        for number in range(25)
    )


def test_four_stages_sharing_a_risk_need_30_trees():
    risk = stage_producer_risk(0.05, 4)
    assert risk == pytest.approx(0.01274, abs=5e-6)
    assert design_single(0.05, risk, 0.25, 0.10, lot_size=300) == SinglePlan(30, 4)
    assert scipy.stats.hypergeom.cdf(4, 300, 15, 30) ** 4 >= 0.95


@pytest.mark.parametrize(
    ("acceptable", "rejectable", "lot_size"),
    [(0.05, 0.20, 100), (0.02, 0.08, 1000), (0.01, 0.03, 3000), (0.05, 0.10, 800)],
)
def test_designs_agree_with_a_climb_over_scipy(acceptable, rejectable, lot_size):
    good, bad = round(acceptable * lot_size), round(rejectable * lot_size)
    size, number = 1, 0
    while True:
        if scipy.stats.hypergeom.cdf(number, lot_size, bad, size) > 0.10:
            size += 1
        elif scipy.stats.hypergeom.cdf(number, lot_size, good, size) < 0.95:
            number += 1
        else:
            break
    plan = design_single(acceptable, 0.05, rejectable, 0.10, lot_size=lot_size)
    assert plan == SinglePlan(size, number)


def test_a_large_sample_still_agrees_with_scipy():
    # About 16,000 steps of the recurrence: the rounding of each must not add up.
    plan = design_single(0.010, 0.05, 0.0125, 0.10)
    size, number = plan.sample_size, plan.acceptance_number
    assert size > 15_000
    assert scipy.stats.binom.cdf(number, size, 0.010) >= 0.95
    assert scipy.stats.binom.cdf(number, size, 0.0125) <= 0.10
    assert scipy.stats.binom.cdf(number, size - 1, 0.0125) > 0.10
    assert scipy.stats.binom.cdf(number - 1, size - 1, 0.010) < 0.95
