"""
Acceptance probabilities and mean samples of single plans, against stored values and scipy.

`data/oc-check-values.json` and `data/sprt-check-values.json` say of each case where it comes from;
their values are sums in 40 digits, or exact rationals, that agree with scipy and R to 1e-10.
"""

import itertools
import json
from pathlib import Path

import pytest
import scipy.stats

from audits.sampling import (
    SinglePlan,
    acceptance_probability,
    acceptance_probability_at_count,
    average_sample_number,
    average_sample_number_at_count,
)
from audits.sampling.laws import Binomial, CountLaw, Hypergeometric, Poisson

FOLDER = Path(__file__).parent / "data"
CURVES = json.loads((FOLDER / "oc-check-values.json").read_text())
STOPPED = json.loads((FOLDER / "sprt-check-values.json").read_text())


def cases(data, *kinds):
    return [pytest.param(case, id=case["id"]) for case in data["cases"] if case["kind"] in kinds]


def plan_of(given):
    return SinglePlan(given["n"], given["ac"], given.get("re"))


@pytest.mark.parametrize("model", ["binomial", "poisson"])
@pytest.mark.parametrize("case", cases(CURVES, "single", "single-gap"))
def test_curves_of_endless_rows_agree_with_the_data(case, model):
    expected = case["expected"]
    found = acceptance_probability(
        plan_of(case["input"]), expected["p"], model=model, without_gap=True
    )
    assert found == pytest.approx(expected[model], abs=CURVES["tolerance"], rel=1e-9)


@pytest.mark.parametrize(
    "case",
    [
        case
        for case in cases(CURVES, "single", "single-gap")
        if "hypergeometric" in case.values[0]["expected"]
    ],
)
def test_curves_of_real_lots_agree_with_the_data(case):
    lot_size, expected = case["input"]["lot"], case["expected"]["hypergeometric"]
    plan = plan_of(case["input"])
    by_fraction = acceptance_probability(plan, expected["p"], lot_size=lot_size, without_gap=True)
    by_count = [
        acceptance_probability_at_count(plan, count, lot_size, without_gap=True)
        for count in expected["nonconforming_in_lot"]
    ]
    assert by_fraction == by_count
    assert by_count == pytest.approx(expected["pa"], abs=CURVES["tolerance"], rel=1e-9)


@pytest.mark.parametrize("case", cases(CURVES, "single-gap"))
def test_a_lot_in_the_gap_of_a_reduced_plan_is_accepted(case):
    plan, expected = plan_of(case["input"]), case["expected"]
    assert plan.rejection_number > plan.acceptance_number + 1
    for model in ("binomial", "poisson"):
        found = acceptance_probability(plan, expected["p"], model=model)
        assert found == pytest.approx(expected["accept_any"][model], abs=CURVES["tolerance"])
    in_lot = acceptance_probability(
        plan, expected["hypergeometric"]["p"], lot_size=case["input"]["lot"]
    )
    assert in_lot == pytest.approx(
        expected["accept_any"]["hypergeometric"], abs=CURVES["tolerance"]
    )


@pytest.mark.parametrize(
    "case", [case for case in cases(CURVES, "single") if case.values[0].get("published")]
)
def test_curves_agree_with_printed_figures(case):
    published = case["published"]
    (figures,) = [numbers for name, numbers in published.items() if name.startswith("pa_")]
    found = acceptance_probability(plan_of(case["input"]), published["p"])
    assert found == pytest.approx(figures, abs=published["tolerance"] + 1e-12)


@pytest.mark.parametrize("case", cases(CURVES, "oc-quantile"))
def test_the_curve_passes_through_its_tabled_quantiles(case):
    given = case["input"]
    fractions = [percent / 100 for percent in case["expected"]["percent_nonconforming"]]
    found = acceptance_probability(plan_of(given), fractions, model=given["model"])
    assert found == pytest.approx(given["pa"], abs=1e-9)


@pytest.mark.parametrize("case", cases(CURVES, "rectifying"))
def test_the_curves_behind_rectifying_inspection_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    found = acceptance_probability(
        plan_of(given), expected["p"], lot_size=given["lot"], model=given["model"]
    )
    assert found == pytest.approx(expected["pa"], abs=CURVES["tolerance"])


@pytest.mark.parametrize("case", cases(STOPPED, "curtailed"))
def test_curtailed_samples_agree_with_the_data(case):
    plan = plan_of(case["input"])
    fractions = [point["p"] for point in case["expected"]]
    slack = STOPPED["tolerance"]["exact"]
    for accepting_early, name in ((True, "asn_full"), (False, "asn_semi")):
        found = average_sample_number(plan, fractions, accepting_early=accepting_early)
        assert found == pytest.approx([point[name] for point in case["expected"]], abs=slack)
    chances = acceptance_probability(plan, fractions)
    assert chances == pytest.approx([point["pa"] for point in case["expected"]], abs=slack)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        *(
            (Binomial(size, fraction), scipy.stats.binom(size, fraction))
            for size, fraction in itertools.product((1, 13, 200, 5000), (1e-4, 0.05, 0.5, 0.999))
        ),
        *(
            (Hypergeometric(size, bad, lot), scipy.stats.hypergeom(lot, bad, size))
            for lot, bad, size in (
                (12, 0, 5),
                (12, 12, 5),
                (12, 9, 7),
                (300, 15, 25),
                (300, 75, 300),
                (20_000, 5_000, 800),
            )
        ),
        *((Poisson(mean), scipy.stats.poisson(mean)) for mean in (1e-3, 0.8, 12.5, 900.0)),
    ],
    ids=lambda law: repr(law) if isinstance(law, CountLaw) else "scipy",
)
def test_both_tails_of_a_count_agree_with_scipy(ours, theirs):
    # Relative, so that small tails are checked too. scipy's own tails (Boost, cdflib) carry about
    # 1e-12; its hypergeometric sums lose a few digits more.
    for level in (1e-100, 1e-12, 1e-6, 0.01, 0.3, 0.5, 0.8, 0.999, 1 - 1e-9):
        count = int(theirs.ppf(level))
        if theirs.cdf(count) > 1e-200:
            assert ours.at_most(count) == pytest.approx(theirs.cdf(count), rel=1e-9)
        if theirs.sf(count - 1) > 1e-200:
            assert ours.at_least(count) == pytest.approx(theirs.sf(count - 1), rel=1e-9)


@pytest.mark.parametrize("nonconforming", [0, 1, 3, 15, 40, 117, 120])
@pytest.mark.parametrize("plan", [SinglePlan(20, 1), SinglePlan(32, 1, 4), SinglePlan(120, 3)])
def test_mean_samples_of_a_real_lot_agree_with_waiting_times_from_scipy(plan, nonconforming):
    # The tree of the k-th nonconforming one follows the negative hypergeometric law.
    lot_size, wanted, enough = 120, plan.rejection_number, plan.conforming_to_accept
    mean = 0.0
    if nonconforming >= wanted:
        waiting = scipy.stats.nhypergeom(lot_size, lot_size - nonconforming, wanted)
        mean += sum(
            (wanted + conforming) * waiting.pmf(conforming)
            for conforming in range(plan.sample_size - wanted + 1)
        )
    if lot_size - nonconforming >= enough:
        waiting = scipy.stats.nhypergeom(lot_size, nonconforming, enough)
        mean += sum(
            (enough + found) * waiting.pmf(found) for found in range(plan.sample_size - enough + 1)
        )
    found = average_sample_number_at_count(plan, nonconforming, lot_size)
    assert found == pytest.approx(mean, rel=1e-9)
