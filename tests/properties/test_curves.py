"""Laws that the curves of every plan obey, and the same figures counted the long way."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
    chances_still_open,
    quality_accepted,
    trees_at_fraction,
    trees_until_all_decided,
)
from audits.sampling.walks import count_endings, exact_chance, steps_of
from tests.waves import (
    any_plans,
    double_plans,
    is_certain,
    single_plans,
    tree_by_tree,
    verdict,
    wave_plans,
)

# Rounding in a sum of a few hundred terms, each put together from logarithms.
SLACK = 1e-11

fractions = st.floats(0, 1)
chances = st.floats(0.001, 0.999)
LAWS = ["binomial", "poisson", "hypergeometric"]


@given(any_plans(), st.tuples(fractions, fractions), st.sampled_from(LAWS), st.integers(0, 100))
def test_acceptance_never_rises_with_the_fraction(plan, pair, model, spare):
    lot_size = plan.sample_size + spare
    at_better, at_worse = acceptance_probability(plan, sorted(pair), lot_size=lot_size, model=model)
    assert -SLACK <= at_worse <= at_better + SLACK <= 1 + 2 * SLACK


@given(any_plans(), st.integers(0, 60))
def test_acceptance_never_rises_with_the_trees_at_fault(plan, spare):
    lot_size = plan.sample_size + spare
    curve = [
        acceptance_probability_at_count(plan, count, lot_size) for count in range(lot_size + 1)
    ]
    assert curve[0] == 1
    assert all(0 <= worse <= better + SLACK for better, worse in pairwise(curve))


@given(any_plans(), st.integers(0, 20), st.integers(1, 10**6))
def test_in_a_large_lot_every_plan_does_as_in_an_endless_row(plan, twentieths, thousands):
    # Drawn with replacement, n trees are all different with chance at least 1 - n(n - 1)/(2N);
    # given that, they are a sample without (Freedman 1977). So no event differs by more.
    lot_size, fraction = 1000 * thousands, twentieths / 20
    size = plan.sample_size
    bound = size * (size - 1) / (2 * lot_size)
    in_lot = acceptance_probability(plan, fraction, lot_size=lot_size)
    assert in_lot == pytest.approx(acceptance_probability(plan, fraction), abs=bound + SLACK)
    trees_in_lot = average_sample_number(plan, fraction, lot_size=lot_size)
    trees = average_sample_number(plan, fraction)
    assert trees_in_lot == pytest.approx(trees, abs=size * (bound + SLACK))


@given(any_plans(), st.data())
def test_every_figure_of_a_lot_agrees_with_walks_counted_tree_by_tree(plan, data):
    lot_size = plan.sample_size + data.draw(st.integers(0, 15))
    nonconforming = data.draw(st.integers(0, lot_size))
    accepted, trees, still_open = tree_by_tree(plan, nonconforming, lot_size)
    ends = count_endings(plan, curtailed=False)
    assert exact_chance(ends.accepted, nonconforming, lot_size) == accepted
    assert exact_chance(ends.not_accepted, nonconforming, lot_size) == 1 - accepted
    curtailed = count_endings(plan, curtailed=True)
    assert exact_chance(curtailed.accepted, nonconforming, lot_size) == accepted
    assert acceptance_probability_at_count(plan, nonconforming, lot_size) == pytest.approx(
        float(accepted), rel=1e-12, abs=1e-15
    )
    assert average_sample_number_at_count(
        plan, nonconforming, lot_size, curtailed=False
    ) == pytest.approx(float(trees), rel=1e-12)
    assert average_sample_number_at_count(plan, nonconforming, lot_size) == pytest.approx(
        float(sum(still_open)), rel=1e-12
    )
    assert chances_still_open(plan, nonconforming, lot_size) == pytest.approx(
        [float(chance) for chance in still_open], abs=1e-12
    )


@given(st.lists(any_plans(largest=16), min_size=1, max_size=4), st.data())
def test_trees_until_all_stages_are_decided_agree_with_walks_counted_tree_by_tree(plans, data):
    lot_size = max(plan.sample_size for plan in plans) + data.draw(st.integers(0, 15))
    stages = [(plan, data.draw(st.integers(0, lot_size))) for plan in plans]
    open_chances = [tree_by_tree(plan, count, lot_size)[2] for plan, count in stages]
    trees = sum(
        1 - math.prod(1 - each[seen] for each in open_chances if seen < len(each))
        for seen in range(lot_size)
    )
    assert trees_until_all_decided(stages, lot_size) == pytest.approx(float(trees), rel=1e-12)


@given(any_plans(), st.data(), st.booleans())
def test_curtailment_never_changes_a_verdict(plan, data, accepting_early):
    size = plan.sample_size
    results = data.draw(st.lists(st.booleans(), min_size=size, max_size=size))
    for step in steps_of(plan, curtailed=True, accepting_early=accepting_early):
        found = sum(results[: step.size])
        if found <= step.most_accepted:
            assert verdict(plan, results)
            break
        if found >= step.rejection_number:
            assert not verdict(plan, results)
            break
        # It goes on only while either outcome can come; or, half curtailed, only acceptance.
        if accepting_early:
            assert not is_certain(plan, step.size, found)
    else:
        raise AssertionError


@given(any_plans(), fractions, st.sampled_from(LAWS), st.integers(0, 60))
def test_curtailment_saves_trees_and_never_costs_any(plan, fraction, model, spare):
    known = {"lot_size": plan.sample_size + spare, "model": model}
    full, half, none = (
        average_sample_number(plan, fraction, curtailed=curtailed, accepting_early=early, **known)
        for curtailed, early in ((True, True), (True, False), (False, True))
    )
    slack = SLACK * plan.sample_size
    assert -slack <= full <= half + slack <= none + 2 * slack <= plan.sample_size + 3 * slack


def figures(plan, fraction, chance, model, lot_size):
    known = {"lot_size": lot_size, "model": model}
    samples = [
        average_sample_number(plan, fraction, curtailed=curtailed, accepting_early=early, **known)
        for curtailed, early in ((True, True), (True, False), (False, True))
    ]
    return [
        acceptance_probability(plan, fraction, **known),
        acceptance_probability(plan, fraction, without_gap=True, **known),
        *samples,
        average_outgoing_quality(plan, fraction, **known),
        average_outgoing_quality_limit(plan, **known)[0],
        average_total_inspection(plan, fraction, **known),
        quality_accepted(plan, chance, **known),
    ]


@given(single_plans(), fractions, chances, st.sampled_from(LAWS), st.integers(0, 60))
def test_one_wave_is_a_single_plan(plan, fraction, chance, model, spare):
    waves = WavePlan((plan.sample_size,), (plan.acceptance_number,), (plan.rejection_number,))
    lot_size = plan.sample_size + spare
    found = figures(waves, fraction, chance, model, lot_size)
    assert found == pytest.approx(
        figures(plan, fraction, chance, model, lot_size), rel=1e-9, abs=1e-9
    )


@given(double_plans(), fractions, chances, st.sampled_from(LAWS), st.integers(0, 60))
def test_two_waves_are_a_double_plan(plan, fraction, chance, model, spare):
    waves = WavePlan(
        (plan.first_sample_size, plan.sample_size),
        (plan.first_acceptance_number, plan.second_acceptance_number),
        (plan.first_rejection_number, plan.second_rejection_number),
    )
    assert waves.waves == plan.waves
    lot_size = plan.sample_size + spare
    assert figures(waves, fraction, chance, model, lot_size) == figures(
        plan, fraction, chance, model, lot_size
    )


@given(any_plans(), chances, st.sampled_from(["binomial", "poisson"]))
def test_a_quantile_leads_back_to_its_chance(plan, chance, model):
    quality = quality_accepted(plan, chance, model=model)
    passed = acceptance_probability(plan, quality, model=model)
    # A plan that cannot turn a lot down passes even a lot of faults alone.
    assert passed == pytest.approx(chance, abs=1e-8) or (quality > 1 - 1e-9 and passed >= chance)


@given(any_plans(), chances, st.integers(0, 60))
def test_a_quantile_of_a_lot_is_the_last_count_accepted_so_often(plan, chance, spare):
    lot_size = plan.sample_size + spare
    count = round(quality_accepted(plan, chance, lot_size=lot_size) * lot_size)
    assert acceptance_probability_at_count(plan, count, lot_size) >= chance
    if count < lot_size:
        assert acceptance_probability_at_count(plan, count + 1, lot_size) < chance


@given(any_plans(), fractions, st.sampled_from(LAWS), st.integers(0, 60))
def test_rectifying_inspection_never_makes_a_lot_worse(plan, fraction, model, spare):
    lot_size = plan.sample_size + spare
    known = {"lot_size": lot_size, "model": model}
    if model == "hypergeometric":
        fraction = trees_at_fraction(fraction, lot_size) / lot_size
    left = average_outgoing_quality(plan, fraction, **known)
    limit, _ = average_outgoing_quality_limit(plan, **known)
    assert -SLACK <= left <= min(fraction, limit) + SLACK


@st.composite
def sequential_plans(draw):
    """Lines like those of a sequential test, cut off at a last tree: a wave for every tree."""
    size = draw(st.integers(2, 120))
    slope = draw(st.floats(0.02, 0.6))
    below, above = draw(st.floats(0.2, 4)), draw(st.floats(0.2, 4))
    accepted = [math.floor(slope * trees - below) for trees in range(1, size)]
    rejected = [
        max(math.ceil(slope * trees + above), number + 1, 1)
        for trees, number in enumerate(accepted, 1)
    ]
    last = math.floor(slope * size)
    return WavePlan(
        tuple(range(1, size + 1)),
        (*(None if number < 0 else number for number in accepted), last),
        (*rejected, last + 1),
    )


@given(sequential_plans(), fractions)
def test_a_wave_for_every_tree_agrees_with_a_walk_along_the_lines(plan, fraction):
    live, accepted, trees = {0: 1.0}, 0.0, 0.0
    for wave in plan.waves:
        trees += sum(live.values())
        walked = {}
        for found, chance in live.items():
            walked[found] = walked.get(found, 0.0) + chance * (1 - fraction)
            walked[found + 1] = walked.get(found + 1, 0.0) + chance * fraction
        accepted += sum(walked[found] for found in walked if found <= wave.most_accepted)
        live = {
            found: chance
            for found, chance in walked.items()
            if wave.most_accepted < found < wave.rejection_number
        }
    assert acceptance_probability(plan, fraction) == pytest.approx(accepted, abs=1e-11)
    assert average_sample_number(plan, fraction, curtailed=False) == pytest.approx(trees, rel=1e-11)


@given(wave_plans(largest=12), st.floats(0, 3))
def test_waves_with_several_faults_a_tree_agree_with_sums_over_every_count(plan, faults_per_tree):
    def law(trees, count):
        mean = trees * faults_per_tree
        return math.exp(-mean) * mean**count / math.factorial(count)

    accepted, trees, live, seen = 0.0, 0.0, {0: 1.0}, 0
    for wave in plan.waves:
        trees += (wave.size - seen) * sum(live.values())
        walked = {}
        for found, chance in live.items():
            for more in range(wave.rejection_number - found):
                mass = chance * law(wave.size - seen, more)
                walked[found + more] = walked.get(found + more, 0.0) + mass
        accepted += sum(walked[found] for found in walked if found <= wave.most_accepted)
        live = {
            found: chance
            for found, chance in walked.items()
            if wave.most_accepted < found < wave.rejection_number
        }
        seen = wave.size
    known = {"model": "poisson"}
    assert acceptance_probability(plan, faults_per_tree, **known) == pytest.approx(
        accepted, abs=1e-12
    )
    means = average_sample_number(plan, faults_per_tree, curtailed=False, **known)
    assert means == pytest.approx(trees, abs=1e-10)


def test_the_long_way_itself_agrees_with_a_count_by_hand():
    # 2 of 4 trees are nonconforming. The first tree decides if it conforms; else a second must.
    plan = WavePlan((1, 2), (0, 1), (None, 2))
    accepted, trees, still_open = tree_by_tree(plan, 2, 4)
    assert accepted == Fraction(1, 2) + Fraction(1, 2) * Fraction(2, 3)
    assert trees == Fraction(3, 2)
    assert still_open == [1, Fraction(1, 2)]
    assert verdict(plan, [True, False])
    assert not verdict(plan, [True, True])
    assert tree_by_tree(SinglePlan(2, 0), 2, 4)[2] == [1, Fraction(1, 2)]
    assert tree_by_tree(DoublePlan(1, 0, 2, 1, 1), 2, 4)[0] == accepted
