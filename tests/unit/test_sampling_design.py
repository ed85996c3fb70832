"""The least single plan: ties, small lots, and what is refused."""

import math
from fractions import Fraction

import pytest

from audits.errors import AuditError, InvalidInput
from audits.sampling import (
    SinglePlan,
    design_single,
    design_single_for_counts,
    stage_producer_risk,
)
from audits.sampling.laws import Binomial


@pytest.mark.parametrize("hundredths", range(1, 100))
def test_a_consumers_risk_that_is_met_exactly_is_kept(hundredths):
    # One bad tree of 100 is missed by n trees with chance (100 - n)/100: no rounding may cost one.
    plan = design_single_for_counts(0, 0.05, 1, hundredths / 100, lot_size=100)
    assert plan == SinglePlan(100 - hundredths, 0)


def test_a_producers_risk_that_is_met_exactly_is_kept():
    # One nonconforming tree of 100 is found by 5 trees with chance 0.05; four would not do, as
    # C(60, 4)/C(100, 4) = 0.124 is above the consumer's risk, and C(60, 5)/C(100, 5) = 0.073.
    assert design_single_for_counts(1, 0.05, 40, 0.10, lot_size=100) == SinglePlan(5, 0)


@pytest.mark.parametrize(
    ("consumer_risk", "sample_size"), [(0.81, 2), (0.729, 3), (0.6561, 4), (0.59049, 5)]
)
def test_powers_of_a_decimal_fraction_are_met_exactly(consumer_risk, sample_size):
    # 0.9 * 0.9 is not 0.81 in binary.
    plan = design_single(0.0, 0.05, 0.1, consumer_risk)
    assert plan == SinglePlan(sample_size, 0)


def test_a_tie_with_one_fault_allowed_is_met_exactly():
    # One or none of 4 at one half: 5/16. With none allowed a good lot passes too seldom: 0.9 ** 2.
    assert design_single(0.1, 0.06, 0.5, 5 / 16) == SinglePlan(4, 1)
    # A little less, and 5 trees need a second: 0.919 is too seldom. 7 is the first with 29/128.
    assert design_single(0.1, 0.06, 0.5, 0.3124) == SinglePlan(7, 2)


@pytest.mark.parametrize("count", range(11))
def test_exact_chances_agree_with_a_sum_of_fractions(count):
    share = Fraction(3, 10)
    terms = [math.comb(10, k) * share**k * (1 - share) ** (10 - k) for k in range(count + 1)]
    assert Binomial(10, 0.3).exactly_at_most(count) == sum(terms)


@pytest.mark.parametrize(
    ("lot_size", "plan"),
    [(1, SinglePlan(1, 0)), (4, SinglePlan(4, 0)), (12, SinglePlan(6, 0))],
)
def test_small_lots(lot_size, plan):
    # 0 of 4 against 1 of 4: 4 trees, as three miss the one with chance 1/4.
    # 0 of 12 against 3 of 12: C(9, 6)/C(12, 6) = 0.091, C(9, 5)/C(12, 5) = 0.159.
    assert design_single(0.05, 0.05, 0.25, 0.10, lot_size=lot_size) == plan


def test_a_sample_that_reaches_the_lot_looks_at_every_tree():
    plan = design_single(0.10, 0.01, 0.15, 0.01, lot_size=20)
    assert plan == SinglePlan(20, 2)
    assert plan.inspects_whole(20)


def test_tiny_risks_are_kept_by_certainty_alone():
    # 2 of 40 against 10 of 40: 33 trees hold at least 3 of the 10, and never more than 2 of the 2.
    assert design_single(0.05, 1e-300, 0.25, 1e-300, lot_size=40) == SinglePlan(33, 2)


def test_tiny_risks_are_kept_in_an_endless_row():
    # 0.5 ** n is at most 1e-12 from the 40th tree on.
    assert design_single(0.0, 0.05, 0.5, 1e-12) == SinglePlan(40, 0)


def test_a_larger_sample_can_be_asked_for():
    free = design_single(0.05, 0.05, 0.25, 0.10, lot_size=300)
    assert design_single(0.05, 0.05, 0.25, 0.10, lot_size=300, least_sample=25) == free
    # scipy's hypergeometric law: with 30 trees and 4 allowed a good lot passes with 0.990, a bad
    # one with 0.086; with 3 allowed a good one only with 0.946.
    larger = design_single(0.05, 0.05, 0.25, 0.10, lot_size=300, least_sample=30)
    assert larger == SinglePlan(30, 4)
    whole = design_single(0.05, 0.05, 0.25, 0.10, lot_size=300, least_sample=300)
    assert whole == SinglePlan(300, 15)


@pytest.mark.parametrize("model", ["binomial", "poisson"])
def test_a_larger_sample_can_be_asked_for_in_an_endless_row(model):
    found = design_single(0.05, 0.05, 0.25, 0.10, model=model, least_sample=5_000)
    assert found.sample_size == 5_000
    assert design_single(0.05, 0.05, 0.25, 0.10, model=model, least_sample=2).sample_size < 40


def test_a_larger_sample_without_any_fault_allowed():
    # 0.95 ** 59 is the first power of 0.95 below 0.05: C = 0 plans are known by this pair.
    assert design_single(0.0, 0.05, 0.05, 0.05) == SinglePlan(59, 0)
    assert design_single(0.0, 0.05, 0.05, 0.05, least_sample=59) == SinglePlan(59, 0)
    assert design_single(0.0, 0.05, 0.05, 0.05, least_sample=80) == SinglePlan(80, 0)


def test_one_stage_carries_the_whole_risk():
    assert stage_producer_risk(0.05, 1) == 0.05


@pytest.mark.parametrize("stages", [1, 2, 3, 4])
def test_shares_of_a_risk_come_to_the_whole(stages):
    share = stage_producer_risk(0.05, stages)
    assert 1 - math.prod([1 - share] * stages) == pytest.approx(0.05)


GOOD = {
    "acceptable_fraction": 0.05,
    "producer_risk": 0.05,
    "rejectable_fraction": 0.25,
    "consumer_risk": 0.10,
}


@pytest.mark.parametrize("lot_size", [None, 300])
@pytest.mark.parametrize(
    ("changes", "field", "value"),
    [
        ({"producer_risk": 0.0}, "producer_risk", "0"),
        ({"producer_risk": 1.0}, "producer_risk", "1"),
        ({"consumer_risk": 1.25}, "consumer_risk", "1.25"),
        ({"consumer_risk": -0.1}, "consumer_risk", "-0.1"),
        ({"consumer_risk": math.nan}, "consumer_risk", "NaN"),
        ({"acceptable_fraction": -0.05}, "acceptable_fraction", "-0.05"),
        ({"rejectable_fraction": 25.0}, "rejectable_fraction", "25"),
        ({"acceptable_fraction": 0.3}, "rejectable_fraction", "0.3"),
        ({"acceptable_fraction": 0.25}, "rejectable_fraction", "0.25"),
    ],
)
def test_a_value_outside_its_range_is_named(changes, field, value, lot_size):
    with pytest.raises(InvalidInput) as refusal:
        design_single(**(GOOD | changes), lot_size=lot_size)
    assert list(refusal.value.problems) == [field]
    assert value in str(refusal.value.problems[field])


def test_every_value_at_fault_is_named_at_once():
    with pytest.raises(InvalidInput) as refusal:
        design_single(-1.0, 0.0, 2.0, 1.0)
    assert set(refusal.value.problems) == set(GOOD)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"lot_size": 0}, "lot_size"),
        ({"least_sample": 0}, "least_sample"),
        ({"least_sample": 301}, "least_sample"),
        ({"rejectable_count": 301}, "rejectable_count"),
        ({"acceptable_count": -1}, "acceptable_count"),
        ({"producer_risk": 2.0}, "producer_risk"),
    ],
)
def test_counts_outside_the_lot_are_named(changes, field):
    good = {
        "acceptable_count": 15,
        "producer_risk": 0.05,
        "rejectable_count": 75,
        "consumer_risk": 0.10,
        "lot_size": 300,
        "least_sample": 1,
    }
    with pytest.raises(InvalidInput) as refusal:
        design_single_for_counts(**(good | changes))
    assert list(refusal.value.problems) == [field]


def test_the_same_number_of_trees_cannot_both_pass_and_go_back():
    with pytest.raises(AuditError, match="even all 12 trees cannot promise this".capitalize()):
        design_single_for_counts(3, 0.05, 3, 0.10, lot_size=12)
    # Two fractions that differ, but come to the same three trees.
    with pytest.raises(AuditError, match="all 12 trees"):
        design_single(0.25, 0.05, 0.25 + 1e-12, 0.10, lot_size=12)
    with pytest.raises(AuditError, match="the one tree"):
        design_single_for_counts(1, 0.05, 1, 0.10, lot_size=1)


@pytest.mark.parametrize("model", ["binomial", "poisson"])
def test_fractions_too_close_to_tell_apart_are_named(model, monkeypatch):
    # With a smaller bound the search is over sooner; the way is the same.
    monkeypatch.setattr("audits.sampling.design.LARGEST_SAMPLE", 2_000)
    with pytest.raises(AuditError, match=r"2,000 trees .* 0\.05 .* 0\.050001"):
        design_single(0.05, 0.05, 0.050001, 0.10, model=model)


def test_a_lot_can_only_be_shared_among_stages_there_are():
    with pytest.raises(InvalidInput, match="0"):
        stage_producer_risk(0.05, 0)
    with pytest.raises(InvalidInput, match=r"1\.5"):
        stage_producer_risk(1.5, 4)
