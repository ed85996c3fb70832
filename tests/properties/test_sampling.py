"""Laws that every plan, verdict and draw obeys."""

from fractions import Fraction
from itertools import pairwise
from math import comb

from hypothesis import given
from hypothesis import strategies as st

from audits.sampling import (
    Place,
    Rounding,
    SinglePlan,
    StageTally,
    acceptance_probability,
    acceptance_probability_at_count,
    average_sample_number,
    average_sample_number_at_count,
    decide,
    design_single,
    design_single_for_counts,
    draw_trees,
    insert_in_walk,
    stage_producer_risk,
    trees_at_fraction,
    trees_until_certain,
)
from audits.vocabulary import Outcome, Side

# Rounding in a sum of a few hundred terms.
SLACK = 1e-12

fractions = st.floats(0, 1)
risks = st.floats(0.001, 0.6)


@st.composite
def plans(draw, largest=80):
    size = draw(st.integers(1, largest))
    number = draw(st.integers(0, size - 1))
    gap = draw(st.integers(1, 3))
    return SinglePlan(size, number, number + gap)


@st.composite
def promises_for_lots(draw, largest=60):
    lot_size = draw(st.integers(1, largest))
    bad = draw(st.integers(1, lot_size))
    good = draw(st.integers(0, bad - 1))
    return good, draw(risks), bad, draw(risks), lot_size


def passes(plan, nonconforming, lot_size):
    """Count the samples that pass, in whole numbers: a second way to the same probability."""
    ways = sum(
        comb(nonconforming, found) * comb(lot_size - nonconforming, plan.sample_size - found)
        for found in range(min(plan.acceptance_number, plan.sample_size) + 1)
    )
    return Fraction(ways, comb(lot_size, plan.sample_size))


def keeps(plan, promises):
    good, producer_risk, bad, consumer_risk, lot_size = promises
    sent_back = 1 - passes(plan, good, lot_size)
    return sent_back <= Fraction(repr(producer_risk)) and passes(plan, bad, lot_size) <= Fraction(
        repr(consumer_risk)
    )


@given(plans(), st.tuples(fractions, fractions), st.sampled_from(["binomial", "poisson"]))
def test_the_chance_of_acceptance_never_rises_with_the_fraction(plan, pair, model):
    better, worse = sorted(pair)
    at_better, at_worse = acceptance_probability(plan, [better, worse], model=model)
    assert 0 <= at_worse <= at_better + SLACK <= 1 + SLACK


@given(plans(), st.integers(0, 200))
def test_the_chance_of_acceptance_never_rises_with_the_trees_at_fault(plan, spare):
    lot_size = plan.sample_size + spare
    chances = [
        acceptance_probability_at_count(plan, count, lot_size) for count in range(lot_size + 1)
    ]
    assert chances[0] == 1
    assert all(0 <= worse <= better + SLACK for better, worse in pairwise(chances))


@given(plans(), st.integers(0, 200), fractions)
def test_a_fraction_of_a_lot_stands_for_its_nearest_trees(plan, spare, fraction):
    lot_size = plan.sample_size + spare
    down, near, up = (
        trees_at_fraction(fraction, lot_size, rounding)
        for rounding in (Rounding.DOWN, Rounding.NEAREST, Rounding.UP)
    )
    assert down <= near <= up <= down + 1
    assert abs(near - fraction * lot_size) <= 0.5 + 1e-6
    assert acceptance_probability(
        plan, fraction, lot_size=lot_size
    ) == acceptance_probability_at_count(plan, near, lot_size)


@given(plans(largest=40), st.integers(0, 20), st.integers(1, 10**6))
def test_a_large_lot_is_like_an_endless_row(plan, twentieths, thousands):
    # Drawn with replacement, n trees are all different with chance at least 1 - n(n - 1)/(2N);
    # given that, they are a sample without (Freedman 1977). So the chances differ by no more.
    lot_size = 1000 * thousands
    fraction = twentieths / 20
    in_lot = acceptance_probability(plan, fraction, lot_size=lot_size)
    endless = acceptance_probability(plan, fraction)
    bound = plan.sample_size * (plan.sample_size - 1) / (2 * lot_size)
    assert abs(in_lot - endless) <= bound + SLACK


@given(plans(), fractions)
def test_rare_faults_follow_the_poisson_law(plan, fraction):
    # Le Cam's bound: the two laws differ by at most n p^2.
    rare = fraction / 20
    binomial = acceptance_probability(plan, rare)
    poisson = acceptance_probability(plan, rare, model="poisson")
    assert abs(binomial - poisson) <= plan.sample_size * rare**2 + SLACK


@given(plans(), fractions, st.sampled_from(["binomial", "poisson"]))
def test_curtailment_saves_trees_and_never_costs_any(plan, fraction, model):
    full = average_sample_number(plan, fraction, model=model)
    half = average_sample_number(plan, fraction, model=model, accepting_early=False)
    assert -SLACK <= full <= half * (1 + SLACK) <= plan.sample_size * (1 + SLACK) ** 2


@given(plans(largest=40), st.data())
def test_a_mean_sample_lies_between_the_best_and_the_worst_case(plan, data):
    lot_size = plan.sample_size + data.draw(st.integers(0, 100))
    nonconforming = data.draw(st.integers(0, lot_size))
    left = trees_until_certain(plan, StageTally(0, 0))
    mean = average_sample_number_at_count(plan, nonconforming, lot_size)
    assert left.fewest - 1e-9 <= mean <= left.most + 1e-9


@given(promises_for_lots())
def test_every_plan_for_a_lot_keeps_both_promises_and_no_smaller_one_does(promises):
    good, producer_risk, bad, consumer_risk, lot_size = promises
    plan = design_single_for_counts(good, producer_risk, bad, consumer_risk, lot_size=lot_size)
    assert keeps(plan, promises)
    smaller = (
        SinglePlan(size, number)
        for size in range(1, plan.sample_size + 1)
        for number in range(size if size < plan.sample_size else plan.acceptance_number)
    )
    assert not any(keeps(other, promises) for other in smaller)


@given(promises_for_lots(largest=40), st.data())
def test_a_plan_of_a_least_size_is_the_first_from_there_on(promises, data):
    good, producer_risk, bad, consumer_risk, lot_size = promises
    least = data.draw(st.integers(1, lot_size))
    plan = design_single_for_counts(
        good, producer_risk, bad, consumer_risk, lot_size=lot_size, least_sample=least
    )
    first = next(
        SinglePlan(size, number)
        for size in range(least, lot_size + 1)
        for number in range(size)
        if keeps(SinglePlan(size, number), promises)
    )
    assert plan == first


@given(
    st.floats(0, 0.3),
    st.floats(0.05, 0.5),
    st.floats(0.002, 0.3),
    st.floats(0.002, 0.3),
    st.sampled_from(["binomial", "poisson"]),
)
def test_every_plan_for_an_endless_row_keeps_both_promises(
    acceptable, distance, producer_risk, consumer_risk, model
):
    rejectable = acceptable + distance
    plan = design_single(acceptable, producer_risk, rejectable, consumer_risk, model=model)
    pass_good, pass_bad = acceptance_probability(plan, [acceptable, rejectable], model=model)
    assert pass_good >= 1 - producer_risk - SLACK
    assert pass_bad <= consumer_risk + SLACK
    # One tree fewer breaks one promise, whatever number is allowed.
    size = plan.sample_size - 1
    for number in range(size):
        fewer = SinglePlan(size, number)
        pass_good, pass_bad = acceptance_probability(fewer, [acceptable, rejectable], model=model)
        assert pass_good < 1 - producer_risk + SLACK or pass_bad > consumer_risk - SLACK


@given(st.integers(1, 2000), st.floats(0, 0.4), st.floats(0.01, 0.5), risks, risks)
def test_every_plan_by_fractions_keeps_both_promises_in_whole_trees(
    lot_size, acceptable, distance, producer_risk, consumer_risk
):
    rejectable = acceptable + distance
    plan = design_single(acceptable, producer_risk, rejectable, consumer_risk, lot_size=lot_size)
    good = trees_at_fraction(acceptable, lot_size, Rounding.DOWN)
    bad = trees_at_fraction(rejectable, lot_size, Rounding.UP)
    assert keeps(plan, (good, producer_risk, bad, consumer_risk, lot_size))


@given(st.floats(1e-6, 0.999), st.integers(1, 4))
def test_a_shared_risk_is_never_larger_than_the_whole(lot_risk, stages):
    share = stage_producer_risk(lot_risk, stages)
    assert lot_risk / stages - SLACK <= share <= lot_risk
    assert abs((1 - share) ** stages - (1 - lot_risk)) < SLACK


@given(plans(largest=60), st.data())
def test_a_verdict_once_certain_is_that_of_the_whole_sample(plan, data):
    size = plan.sample_size
    results = data.draw(st.lists(st.booleans(), min_size=size, max_size=size))
    whole = Outcome.NOT_ACCEPTED if sum(results) >= plan.rejection_number else Outcome.ACCEPTED
    for seen in range(size + 1):
        tally = StageTally(seen, sum(results[:seen]))
        outcome = decide(plan, tally)
        left = trees_until_certain(plan, tally)
        assert outcome in {Outcome.OPEN, whole}
        assert (outcome is Outcome.OPEN) == (left.fewest > 0) == (left.most > 0)
        assert left.fewest <= left.most <= size - seen
    assert outcome is whole


@st.composite
def lots(draw):
    rows = draw(st.lists(st.integers(1, 40), min_size=1, max_size=4, unique=True))
    return [
        Place(row, position)
        for row in rows
        for position in sorted(draw(st.sets(st.integers(1, 80), min_size=1, max_size=40)))
    ]


@given(lots(), st.data(), st.sampled_from([None, Side.LEFT, Side.RIGHT]))
def test_every_draw_is_whole_balanced_and_repeatable(lot, data, next_row_on):
    size = data.draw(st.integers(1, len(lot)))
    reserve = data.draw(st.integers(0, 10))
    seed = data.draw(st.integers(0, 2**64))
    draw = draw_trees(lot, size, reserve, seed, next_row_on=next_row_on)
    assert draw == draw_trees(lot, size, reserve, seed, next_row_on=next_row_on)
    assert len(draw.walk) == size
    assert len(draw.reserve) == min(reserve, len(lot) - size)
    assert len({tree.place for tree in draw.trees}) == len(draw.trees)
    assert {tree.place for tree in draw.trees} <= set(lot)
    for trees in (draw.walk, draw.reserve):
        left = sum(tree.side is Side.LEFT for tree in trees)
        assert abs(2 * left - len(trees)) <= 1
        assert all(tree.side is not Side.BOTH for tree in trees)


@given(lots(), st.data())
def test_picks_are_spread_over_the_lot(lot, data):
    # Between two neighbouring picks lie less than two strata.
    size = data.draw(st.integers(1, len(lot)))
    draw = draw_trees(lot, size, 0, data.draw(st.integers(0, 1000)))
    numbers = sorted(lot.index(tree.place) for tree in draw.walk)
    longest = -(-len(lot) // size)
    for here, there in pairwise([*numbers, numbers[0] + len(lot)]):
        assert there - here <= 2 * longest - 1 or size == 1


@given(lots(), st.data())
def test_a_reserve_tree_never_disturbs_the_order_of_a_walk(lot, data):
    size = data.draw(st.integers(1, len(lot)))
    draw = draw_trees(lot, size, 3, data.draw(st.integers(0, 1000)))
    ahead = draw.walk[data.draw(st.integers(0, size)) :]
    for taken in draw.reserve:
        longer = insert_in_walk(ahead, taken)
        assert [tree for tree in longer if tree != taken] == list(ahead)
        assert longer.count(taken) == 1
