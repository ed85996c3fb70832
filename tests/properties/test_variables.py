"""Laws that measuring plans and their verdicts obey."""

import math
import random

import pytest
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audits.sampling.variables import (
    Leaning,
    VariablesPlan,
    design_variables,
    fraction_beyond,
    index_of_fraction,
    judge_measurements,
    variables_acceptance_at,
    variables_acceptance_probability,
    variables_acceptance_range,
)
from audits.scoring import HeadingMeasure, TopMeasure, TreeAnswers, score_tree
from audits.standard import HeadingStageRule, Standard, TopRule
from audits.units import LengthKind
from audits.vocabulary import HeadingRule, Method, Result, Stage

# What the sums over the spread leave uncertain.
SLACK = 1e-12

fractions = st.floats(1e-6, 0.95)
risks = st.floats(0.01, 0.5)
plans = st.builds(VariablesPlan, st.integers(3, 80), st.floats(0.1, 2.8), st.booleans())
estimating_plans = st.builds(VariablesPlan, st.integers(3, 80), st.floats(0.1, 2.8))


def distance(fraction):
    return scipy.stats.norm.isf(fraction)


@st.composite
def promises(draw):
    good = draw(st.floats(0.01, 0.2))
    bad = draw(st.floats(good + 0.08, 0.6))
    return good, draw(risks), bad, draw(risks)


@st.composite
def measured(draw, smallest=0.0, largest=20.0):
    """A plan with values for it that are not all equal, and two limits."""
    size = draw(st.integers(3, 30))
    hundredths = st.integers(round(smallest * 100), round(largest * 100))
    values = [draw(hundredths) / 100 for _ in range(size)]
    assume(min(values) < max(values))
    lower = draw(hundredths) / 100
    return (
        VariablesPlan(size, draw(st.floats(0.05, 2.5))),
        values,
        lower,
        lower + draw(st.integers(1, 1000)) / 100,
    )


@given(plans, st.tuples(fractions, fractions))
def test_the_chance_of_acceptance_falls_with_the_fraction(plan, pair):
    better, worse = sorted(pair)
    at_better, at_worse = variables_acceptance_probability(plan, [better, worse])
    assert 0 <= at_worse <= at_better + SLACK <= 1 + SLACK


@given(plans, fractions, st.floats(0, 1))
def test_a_stricter_plan_accepts_less(plan, fraction, more):
    stricter = VariablesPlan(plan.sample_size, plan.k + more, plan.known_sigma)
    assert stricter.largest_fraction <= plan.largest_fraction + SLACK
    chance = variables_acceptance_probability(plan, fraction)
    assert variables_acceptance_probability(stricter, fraction) <= chance + SLACK


@given(plans, st.floats(0, 5), st.floats(0.05, 8))
def test_with_two_limits_both_directions_are_alike(plan, below, width):
    lower, upper = -below, width - below
    found = variables_acceptance_at(plan, 0.0, 1.0, lower=lower, upper=upper)
    mirrored = variables_acceptance_at(plan, 0.0, 1.0, lower=-upper, upper=-lower)
    assert 0 <= found <= 1
    assert mirrored == pytest.approx(found, abs=1e-10)


@given(plans, st.floats(-1, 4), st.floats(0.5, 6))
def test_a_second_limit_never_helps_a_lot(plan, above, width):
    one = variables_acceptance_at(plan, 0.0, 1.0, upper=above)
    two = variables_acceptance_at(plan, 0.0, 1.0, lower=above - width, upper=above)
    assert two <= one + 1e-11


@given(plans, st.floats(-1, 4))
def test_a_limit_out_of_reach_changes_nothing(plan, above):
    one = variables_acceptance_at(plan, 0.0, 1.0, upper=above)
    two = variables_acceptance_at(plan, 0.0, 1.0, lower=-200.0, upper=above)
    assert two == pytest.approx(one, abs=1e-11)


@given(estimating_plans, fractions)
def test_with_one_limit_the_chance_is_a_noncentral_t(plan, fraction):
    root = math.sqrt(plan.sample_size)
    expected = scipy.stats.nct.sf(plan.k * root, plan.sample_size - 1, distance(fraction) * root)
    # scipy's tails carry about 1e-11.
    found = variables_acceptance_probability(plan, fraction)
    assert found == pytest.approx(expected, abs=1e-9)


@settings(deadline=None, max_examples=50)
@given(estimating_plans, st.floats(0.001, 0.5), st.floats(-12, -0.7))
def test_no_split_of_the_fraction_leaves_the_band(plan, fraction, log_share):
    least, greatest = variables_acceptance_range(plan, fraction)
    share = math.exp(log_share)
    below, above = distance(fraction * share), distance(fraction * (1 - share))
    found = variables_acceptance_at(plan, 0.0, 1.0, lower=-below, upper=above)
    assert least - 1e-9 <= found <= greatest + 1e-9
    one_limit = variables_acceptance_probability(plan, fraction)
    assert least <= one_limit <= greatest


@given(promises(), st.booleans())
def test_designed_plans_keep_both_promises_and_are_the_least(points, known_sigma):
    good, producer_risk, bad, consumer_risk = points
    plan = design_variables(*points, known_sigma=known_sigma)

    def passes(size, k, fraction):
        root = math.sqrt(size)
        if known_sigma:
            return scipy.stats.norm.cdf(root * (distance(fraction) - k))
        return scipy.stats.nct.sf(k * root, size - 1, distance(fraction) * root)

    size = plan.sample_size
    assert passes(size, plan.k, good) >= 1 - producer_risk - 1e-9
    assert passes(size, plan.k, bad) <= consumer_risk + 1e-9
    if size > (2 if known_sigma else 3):
        root = math.sqrt(size - 1)
        if known_sigma:
            largest_k = distance(good) - distance(producer_risk) / root
        else:
            tail = scipy.stats.nct.ppf(producer_risk, size - 2, distance(good) * root)
            largest_k = tail / root
        assert passes(size - 1, largest_k, bad) > consumer_risk - 1e-9


@settings(deadline=None, max_examples=25)
@given(promises(), st.booleans(), st.floats(-12, -0.7))
def test_designs_for_two_limits_keep_both_promises_for_every_split(points, known_sigma, log_share):
    good, producer_risk, bad, consumer_risk = points
    plan = design_variables(*points, known_sigma=known_sigma, limits=2)
    assert plan.sample_size >= design_variables(*points, known_sigma=known_sigma).sample_size
    share = math.exp(log_share)
    for fraction in (good, bad):
        below, above = distance(fraction * share), distance(fraction * (1 - share))
        chances = [
            variables_acceptance_at(plan, 0.0, 1.0, lower=-below, upper=above),
            variables_acceptance_probability(plan, fraction),
        ]
        if fraction == good:
            assert min(chances) >= 1 - producer_risk - 1e-10
        else:
            assert max(chances) <= consumer_risk + 1e-10


@pytest.mark.parametrize(
    ("share", "fraction", "promise"), [(0.5, 0.05, 0.95), (0.1, 0.25, 0.10), (0.5, 0.25, 0.10)]
)
def test_designs_keep_their_promises_on_simulated_rows(share, fraction, promise):
    plan = design_variables(0.05, 0.05, 0.25, 0.10, limits=2)
    source, rounds = random.Random(11), 4000  # noqa: S311 - simulated measurements, no secret
    below, above = distance(fraction * share), distance(fraction * (1 - share))
    accepted = sum(
        judge_measurements(
            plan,
            [source.gauss(0, 1) for _ in range(plan.sample_size)],
            lower=-below,
            upper=above,
        ).accepted
        for _ in range(rounds)
    )
    # Four standard errors, and the least that the promise leaves open.
    assert accepted / rounds == pytest.approx(
        promise, abs=4 * math.sqrt(promise * (1 - promise) / rounds) + 0.005
    )


@given(plans, st.tuples(st.floats(-5, 5), st.floats(-5, 5)))
def test_the_estimate_falls_with_the_distance_to_the_limit(plan, pair):
    nearer, farther = sorted(pair)
    near, far = (
        fraction_beyond(index, plan.sample_size, known_sigma=plan.known_sigma)
        for index in (nearer, farther)
    )
    assert 0 <= far <= near <= 1
    # The limit on the mean itself, or as far beyond it as before it.
    beyond = fraction_beyond(-farther, plan.sample_size, known_sigma=plan.known_sigma)
    assert beyond == pytest.approx(1 - far, abs=1e-12)


@given(st.integers(3, 200), st.floats(1e-6, 1 - 1e-6), st.booleans())
def test_a_fraction_and_its_distance_belong_together(size, fraction, known_sigma):
    index = index_of_fraction(fraction, size, known_sigma=known_sigma)
    assert fraction_beyond(index, size, known_sigma=known_sigma) == pytest.approx(
        fraction, abs=1e-9
    )


@given(measured())
def test_the_unit_does_not_matter(sample):
    plan, values, lower, upper = sample
    verdict = judge_measurements(plan, values, lower=lower, upper=upper)
    in_eighths = judge_measurements(
        plan, [value * 8 for value in values], lower=lower * 8, upper=upper * 8
    )
    assert in_eighths.accepted is verdict.accepted
    assert in_eighths.leaning is verdict.leaning
    assert in_eighths.fraction_below == verdict.fraction_below
    assert in_eighths.outside == verdict.outside


@given(measured())
def test_upside_down_high_is_low(sample):
    plan, values, lower, upper = sample
    verdict = judge_measurements(plan, values, lower=lower, upper=upper)
    turned = judge_measurements(plan, [-value for value in values], lower=-upper, upper=-lower)
    opposite = {Leaning.HIGH: Leaning.LOW, Leaning.LOW: Leaning.HIGH}
    assume(verdict.fraction_below != verdict.fraction_above)
    assert turned.accepted is verdict.accepted
    assert turned.leaning is opposite.get(verdict.leaning, verdict.leaning)
    assert turned.fraction_above == pytest.approx(verdict.fraction_below, abs=1e-12)


@given(measured())
def test_a_verdict_with_two_limits_is_no_milder_than_with_either(sample):
    plan, values, lower, upper = sample
    both = judge_measurements(plan, values, lower=lower, upper=upper)
    one_sided = (
        judge_measurements(plan, values, lower=lower),
        judge_measurements(plan, values, upper=upper),
    )
    assert both.accepted <= all(verdict.accepted for verdict in one_sided)
    assert (both.leaning is None) is both.accepted
    if both.accepted:
        assert both.fraction_outside <= plan.largest_fraction + SLACK


STANDARD = Standard(
    top=TopRule(target_mm=3000.0, tolerance_mm=150.0),
    heading=HeadingStageRule(rule=HeadingRule.REQUIRED, most_wrong=0),
    row_spacing_mm=3350.0,
)


@given(measured(smallest=2700.0, largest=3300.0))
def test_heights_outside_are_those_that_scoring_finds_wrong(sample):
    plan, values, _, _ = sample
    lower, upper = STANDARD.top.band_mm
    verdict = judge_measurements(plan, values, lower=lower, upper=upper)
    scores = [
        score_tree(
            STANDARD,
            TreeAnswers(stages={Stage.TOP: TopMeasure(height_mm=value)}),
            method=Method.LADDER,
            stages=(Stage.TOP,),
        )
        for value in values
    ]
    wrong = sum(score.stages[Stage.TOP].result is Result.NONCONFORMING for score in scores)
    assert verdict.outside == wrong


@given(measured(smallest=4.0, largest=11.0))
def test_diameters_outside_are_those_that_scoring_finds_wrong(sample):
    plan, values, _, _ = sample
    rule, guard = STANDARD.heading, STANDARD.diameter_guard_mm
    verdict = judge_measurements(
        plan,
        values,
        lower=rule.thinnest_mm - guard,
        upper=rule.thickest_mm + guard,
        kind=LengthKind.DIAMETER,
    )
    scores = [
        score_tree(
            STANDARD,
            TreeAnswers(stages={Stage.HEADING: HeadingMeasure(diameters_mm=(value,))}),
            method=Method.LADDER,
            stages=(Stage.HEADING,),
        )
        for value in values
    ]
    wrong = sum(score.stages[Stage.HEADING].result is Result.NONCONFORMING for score in scores)
    assert verdict.outside == wrong
