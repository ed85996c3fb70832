"""
Acceptance, mean samples and outgoing quality of plans, against stored values and scipy.

`data/oc-check-values.json` and `data/sprt-check-values.json` say of each case where it comes from;
their values are sums in 40 digits, or exact rationals, that agree with scipy and R to 1e-10.
"""

import itertools
import json
import math
from pathlib import Path

import pytest
import scipy.stats

from audits.sampling import (
    DoublePlan,
    SinglePlan,
    WavePlan,
    acceptance_probability,
    acceptance_probability_at_count,
    average_outgoing_quality,
    average_outgoing_quality_limit,
    average_sample_number,
    average_sample_number_at_count,
    average_total_inspection,
    quality_accepted,
)
from audits.sampling.laws import Binomial, CountLaw, Hypergeometric, Poisson

FOLDER = Path(__file__).parent / "data"
CURVES = json.loads((FOLDER / "oc-check-values.json").read_text())
STOPPED = json.loads((FOLDER / "sprt-check-values.json").read_text())


def cases(data, *kinds):
    return [pytest.param(case, id=case["id"]) for case in data["cases"] if case["kind"] in kinds]


def plan_of(given):
    if given.get("type") == "double":
        return DoublePlan(*(given[name] for name in ("n1", "ac1", "re1", "n2", "ac2", "re2")))
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


@pytest.mark.parametrize("model", ["binomial", "poisson"])
@pytest.mark.parametrize("case", cases(CURVES, "double"))
def test_double_plans_for_endless_rows_agree_with_the_data(case, model):
    expected = case["expected"]
    found = acceptance_probability(plan_of(case["input"]), expected["p"], model=model)
    assert found == pytest.approx(expected[model], abs=CURVES["tolerance"], rel=1e-9)


@pytest.mark.parametrize(
    "case",
    [case for case in cases(CURVES, "double") if "hypergeometric" in case.values[0]["expected"]],
)
def test_double_plans_for_real_lots_agree_with_the_data(case):
    lot_size, expected = case["input"]["lot"], case["expected"]["hypergeometric"]
    plan = plan_of(case["input"])
    by_count = [
        acceptance_probability_at_count(plan, count, lot_size)
        for count in expected["nonconforming_in_lot"]
    ]
    assert by_count == pytest.approx(expected["pa"], abs=CURVES["tolerance"], rel=1e-9)
    by_fraction = acceptance_probability(plan, expected["p"], lot_size=lot_size)
    assert by_fraction == pytest.approx(by_count, rel=1e-12)


@pytest.mark.parametrize("case", cases(CURVES, "double"))
def test_first_and_second_samples_of_double_plans_agree_with_the_data(case):
    plan, expected = plan_of(case["input"]), case["expected"]
    # The first sample alone: as a plan that accepts up to Ac1, and as one that rejects at Re1.
    size, accepted, rejected = (case["input"][name] for name in ("n1", "ac1", "re1"))
    at_once = acceptance_probability(SinglePlan(size, accepted), expected["p"])
    assert at_once == pytest.approx(expected["p_accept_first"], abs=CURVES["tolerance"])
    not_sent_back = acceptance_probability(SinglePlan(size, rejected - 1), expected["p"])
    sent_back = [1 - chance for chance in not_sent_back]
    assert sent_back == pytest.approx(expected["p_reject_first"], abs=CURVES["tolerance"])
    means = average_sample_number(plan, expected["p"], curtailed=False)
    assert means == pytest.approx(expected["asn_full"], rel=1e-9)


@pytest.mark.parametrize(
    "case",
    [
        case
        for case in cases(CURVES, "double")
        if "keep_reduced_binomial" in case.values[0]["expected"]
    ],
)
def test_a_double_plan_keeps_reduced_inspection_outside_its_gap(case):
    plan, expected = plan_of(case["input"]), case["expected"]
    assert plan.second_rejection_number > plan.second_acceptance_number + 1
    found = acceptance_probability(plan, expected["p"], without_gap=True)
    assert found == pytest.approx(expected["keep_reduced_binomial"], abs=CURVES["tolerance"])
    in_waves = WavePlan(
        (plan.first_sample_size, plan.sample_size),
        (plan.first_acceptance_number, plan.second_acceptance_number),
        (plan.first_rejection_number, plan.second_rejection_number),
    )
    assert acceptance_probability(in_waves, expected["p"], without_gap=True) == found


@pytest.mark.parametrize(
    "case", [case for case in cases(CURVES, "double") if case.values[0].get("published")]
)
def test_double_plans_agree_with_figures_from_memory(case):
    # Montgomery's example as remembered; his figures are put together from rounded parts.
    plan, published = plan_of(case["input"]), case["published"]
    slack = published["tolerance"]
    assert acceptance_probability(plan, published["p"]) == pytest.approx(published["pa"], abs=slack)
    first = SinglePlan(plan.first_sample_size, plan.first_acceptance_number)
    assert acceptance_probability(first, published["p"]) == pytest.approx(
        published["pa_first"], abs=slack
    )


@pytest.mark.parametrize("case", cases(CURVES, "oc-quantile"))
def test_tabled_quantiles_of_the_curve_agree_with_the_data(case):
    given = case["input"]
    fractions = [percent / 100 for percent in case["expected"]["percent_nonconforming"]]
    plan = plan_of(given)
    assert acceptance_probability(plan, fractions, model=given["model"]) == pytest.approx(
        given["pa"], abs=1e-9
    )
    assert quality_accepted(plan, given["pa"], model=given["model"]) == pytest.approx(
        fractions, rel=1e-9
    )


@pytest.mark.parametrize("case", cases(CURVES, "oc-quantile"))
def test_quantiles_agree_with_the_printed_table(case):
    # MIL-STD-105E, Table X, from memory, three figures: at most one unit of the third apart.
    given, printed = case["input"], case["published"]["percent_3sig"]
    found = quality_accepted(plan_of(given), given["pa"], model=given["model"])
    compared = 0
    for quality, percent in zip(found, printed, strict=True):
        if percent is not None:
            compared += 1
            unit = 10 ** (math.floor(math.log10(percent)) - 2)
            assert 100 * quality == pytest.approx(percent, abs=1.5 * unit)
    assert compared >= 8


@pytest.mark.parametrize("case", cases(CURVES, "rectifying"))
def test_rectifying_inspection_agrees_with_the_data(case):
    given, expected = case["input"], case["expected"]
    plan, fractions = plan_of(given), expected["p"]
    known = {"lot_size": given["lot"], "model": given["model"]}
    slack = CURVES["tolerance"]
    assert acceptance_probability(plan, fractions, **known) == pytest.approx(
        expected["pa"], abs=slack
    )
    assert average_outgoing_quality(plan, fractions, **known) == pytest.approx(
        expected["aoq"], abs=slack
    )
    assert average_outgoing_quality(plan, fractions) == pytest.approx(
        expected["aoq_large_lot"], abs=slack
    )
    assert average_total_inspection(plan, fractions, **known) == pytest.approx(
        expected["ati"], rel=1e-9
    )
    limit, worst = average_outgoing_quality_limit(plan, **known)
    # The data hold 12 and 6 decimals of these two.
    assert limit == pytest.approx(expected["aoql"], abs=1e-11)
    assert worst == pytest.approx(expected["aoql_at_p"], abs=1e-6)


def test_rectifying_inspection_agrees_with_the_printed_page():
    # NIST/SEMATECH e-Handbook 6.2.3.2. Of its AOQ column the slip at p = 0.01 is left out, and
    # p = 0.03, which alone carries the factor (N - n)/N; its ATI are cut off, not rounded.
    plan, lot_size = SinglePlan(52, 3), 10_000
    (case,) = [case for case in CURVES["cases"] if case["id"] == "aoq-nist-52-3"]
    published, fractions = case["published"], case["expected"]["p"]
    printed = dict(zip(fractions, published["aoq_4dp_p01_to_12"], strict=False))
    for fraction in fractions[3:12]:
        assert average_outgoing_quality(plan, fraction) == pytest.approx(
            printed[fraction], abs=1.01e-4
        )
    inspected = average_total_inspection(plan, fractions, lot_size=lot_size, model="binomial")
    assert inspected == pytest.approx(published["ati_p01_to_14"], abs=1)
    limit, _ = average_outgoing_quality_limit(plan, lot_size=lot_size, model="binomial")
    assert limit == pytest.approx(published["aoql"], abs=5e-5)


def test_rectifying_inspection_agrees_with_printed_percentages():
    # Minitab's help on attributes acceptance sampling: 52 of 5000, acceptance number 2.
    (case,) = [case for case in CURVES["cases"] if case["id"] == "aoq-minitab-52-2"]
    plan, published = SinglePlan(52, 2), case["published"]
    known = {"lot_size": 5000, "model": "binomial"}
    for fraction, percent in published["aoq_percent"].items():
        assert 100 * average_outgoing_quality(plan, float(fraction), **known) == pytest.approx(
            percent, abs=0.005
        )
    for fraction, trees in published["ati"].items():
        assert average_total_inspection(plan, float(fraction), **known) == pytest.approx(
            trees, abs=0.05
        )
    limit, worst = average_outgoing_quality_limit(plan, **known)
    assert 100 * limit == pytest.approx(published["aoql_percent"], abs=5e-4)
    assert 100 * worst == pytest.approx(published["aoql_at_percent"], abs=0.05)


@pytest.mark.parametrize("case", cases(STOPPED, "curtailed"))
@pytest.mark.parametrize("in_waves", [False, True])
def test_curtailed_samples_agree_with_the_data(case, in_waves):
    plan = plan_of(case["input"])
    if in_waves:
        plan = WavePlan((plan.sample_size,), (plan.acceptance_number,), (plan.rejection_number,))
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


def test_every_case_of_the_curves_is_of_a_kind_that_is_checked():
    # The long-run curves of switching schemes have a test file of their own.
    kinds = {case["kind"] for case in CURVES["cases"]}
    assert kinds == {"single", "single-gap", "double", "rectifying", "oc-quantile", "scheme"}


@pytest.mark.parametrize("nonconforming", [0, 1, 6, 15, 40, 118, 120])
def test_double_plans_for_a_lot_agree_with_sums_over_scipy(nonconforming):
    plan, lot_size = DoublePlan(20, 1, 4, 25, 4), 120
    first = scipy.stats.hypergeom(lot_size, nonconforming, 20)
    accepted, second_samples = first.cdf(1), 0.0
    for found in (2, 3):
        second_samples += first.pmf(found)
        if first.pmf(found) > 0:
            rest = scipy.stats.hypergeom(lot_size - 20, nonconforming - found, 25)
            accepted += first.pmf(found) * rest.cdf(4 - found)
    assert acceptance_probability_at_count(plan, nonconforming, lot_size) == pytest.approx(
        accepted, abs=1e-12
    )
    assert average_sample_number_at_count(
        plan, nonconforming, lot_size, curtailed=False
    ) == pytest.approx(20 + 25 * second_samples, rel=1e-12)


@pytest.mark.parametrize("fraction", [1e-9, 0.003, 0.04, 0.3, 0.7, 2.5])
def test_double_plans_for_several_faults_a_tree_agree_with_sums_over_scipy(fraction):
    plan = DoublePlan(12, 1, 5, 18, 6, 8)
    first, second = scipy.stats.poisson(12 * fraction), scipy.stats.poisson(18 * fraction)
    going_on = [(first.pmf(found), found) for found in (2, 3, 4)]
    accepted = first.cdf(1) + sum(mass * second.cdf(7 - found) for mass, found in going_on)
    assert acceptance_probability(plan, fraction, model="poisson") == pytest.approx(
        accepted, abs=1e-12
    )
    outside_gap = first.cdf(1) + sum(mass * second.cdf(6 - found) for mass, found in going_on)
    assert acceptance_probability(
        plan, fraction, model="poisson", without_gap=True
    ) == pytest.approx(outside_gap, abs=1e-12)
    means = average_sample_number(plan, fraction, model="poisson", curtailed=False)
    assert means == pytest.approx(12 + 18 * sum(mass for mass, _ in going_on), rel=1e-12)


@pytest.mark.parametrize(
    ("plan", "known"),
    [
        (SinglePlan(2, 3), {"model": "poisson"}),
        (SinglePlan(20, 1), {"model": "poisson"}),
        # Two peaks: one before the second sample sends lots back, a higher or lower one after it.
        (DoublePlan(5, 0, 2, 500, 50), {}),
        (DoublePlan(2, 0, 2, 1000, 100), {}),
        (DoublePlan(20, 1, 4, 25, 4), {"lot_size": 120}),
        (WavePlan((9, 17, 33), (0, 1, 3), (3, 4, 4)), {"lot_size": 300, "model": "binomial"}),
    ],
)
def test_no_quality_leaves_more_than_the_limit(plan, known):
    limit, worst = average_outgoing_quality_limit(plan, **known)
    most = 3.0 if known.get("model") == "poisson" else 1.0
    steps = known.get("lot_size", 2000) if "model" not in known else 2000
    left = average_outgoing_quality(
        plan, [most * step / steps for step in range(steps + 1)], **known
    )
    assert average_outgoing_quality(plan, worst, **known) == pytest.approx(limit, abs=1e-12)
    assert max(left) <= limit + 1e-12
    assert limit <= max(left) + most / steps
