"""Laws that every designed wave plan obeys, its risks counted anew for each."""

from fractions import Fraction
from functools import cache

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audits.errors import AuditError
from audits.sampling import (
    Rounding,
    SinglePlan,
    design_single,
    design_waves,
    fit_waves,
    trees_at_fraction,
    trees_until_all_decided,
)
from audits.sampling.wave_search import Lots

# Above these a search takes long; larger samples are looked at in the reference tests.
LARGEST_SINGLE = 28
LARGEST_FOR_THREE_WAVES = 14

risks = st.floats(0.01, 0.4)


@st.composite
def promises(draw):
    lot_size = draw(st.integers(2, 400))
    acceptable = draw(st.floats(0, 0.4))
    rejectable = draw(st.floats(0.1, 0.55)) + acceptable
    return acceptable, draw(risks), min(rejectable, 0.999), draw(risks), lot_size


def passing_orders(plan, nonconforming, lot_size):
    """Share of all orders of a lot's trees that pass, found by walking wave by wave."""
    ends = {wave.size: wave for wave in plan.waves}

    @cache
    def passes(seen, found):
        wave = ends.get(seen)
        if wave is not None:
            if found >= wave.rejection_number:
                return Fraction(0)
            if wave.acceptance_number is not None and found <= wave.acceptance_number:
                return Fraction(1)
        faulty, left = nonconforming - found, lot_size - seen
        chance = Fraction(0)
        if faulty > 0:
            chance += Fraction(faulty, left) * passes(seen + 1, found + 1)
        if faulty < left:
            chance += Fraction(left - faulty, left) * passes(seen + 1, found)
        return chance

    return passes(0, 0)


def whole_trees(asked):
    acceptable, _, rejectable, _, lot_size = asked
    return (
        trees_at_fraction(acceptable, lot_size, Rounding.DOWN),
        trees_at_fraction(rejectable, lot_size, Rounding.UP),
    )


def keeps_both_promises(plan, asked):
    _, producer_risk, _, consumer_risk, lot_size = asked
    good, bad = whole_trees(asked)
    sent_back = 1 - passing_orders(plan, good, lot_size)
    passed = passing_orders(plan, bad, lot_size)
    return sent_back <= Fraction(repr(producer_risk)) and passed <= Fraction(repr(consumer_risk))


@settings(deadline=None)
@given(promises(), st.integers(1, 4), st.integers(1, 3))
def test_every_designed_plan_keeps_both_promises(asked, stages, most_waves):
    *fractions_and_risks, lot_size = asked
    single = design_single(*fractions_and_risks, lot_size=lot_size)
    assume(single.sample_size <= (LARGEST_SINGLE if most_waves < 3 else LARGEST_FOR_THREE_WAVES))
    plan = design_waves(
        *fractions_and_risks, lot_size=lot_size, stages=stages, most_waves=most_waves
    )
    assert keeps_both_promises(plan, asked)
    assert len(plan.sizes) <= most_waves
    assert plan.sample_size <= min(lot_size, single.sample_size + 8)
    good, _ = whole_trees(asked)
    trees = trees_until_all_decided([(plan, good)] * stages, lot_size)
    assert trees <= trees_until_all_decided([(single, good)] * stages, lot_size) + 1e-9


@settings(deadline=None)
@given(promises(), st.integers(1, 3), st.data())
def test_more_waves_or_trees_never_make_a_plan_longer(asked, stages, data):
    *fractions_and_risks, lot_size = asked
    single = design_single(*fractions_and_risks, lot_size=lot_size)
    assume(single.sample_size <= LARGEST_SINGLE)
    largest = data.draw(st.integers(single.sample_size, min(lot_size, single.sample_size + 6)))
    good, _ = whole_trees(asked)

    def trees(most_waves, largest_sample):
        plan = design_waves(
            *fractions_and_risks,
            lot_size=lot_size,
            stages=stages,
            most_waves=most_waves,
            largest_sample=largest_sample,
        )
        assert plan.sample_size <= largest_sample
        return trees_until_all_decided([(plan, good)] * stages, lot_size)

    one, two = trees(1, largest), trees(2, largest)
    assert two <= one + 1e-9
    assert trees(2, min(lot_size, largest + 2)) <= two + 1e-9


@settings(deadline=None)
@given(promises(), st.data())
def test_a_largest_sample_is_kept_or_refused(asked, data):
    *fractions_and_risks, lot_size = asked
    single = design_single(*fractions_and_risks, lot_size=lot_size)
    assume(single.sample_size <= LARGEST_SINGLE)
    largest = data.draw(st.integers(1, single.sample_size))
    try:
        plan = design_waves(*fractions_and_risks, lot_size=lot_size, largest_sample=largest)
    except AuditError:
        assert largest < single.sample_size
    else:
        assert plan.sample_size <= largest
        assert keeps_both_promises(plan, asked)


@settings(deadline=None)
@given(promises(), st.integers(1, 4), st.data())
def test_waves_of_given_sizes_get_numbers_that_keep_both_promises(asked, stages, data):
    *fractions_and_risks, lot_size = asked
    good, bad = whole_trees(asked)
    lots = Lots(lot_size, good, bad, fractions_and_risks[1], fractions_and_risks[3])
    most = min(lot_size, 30)
    sizes = sorted(data.draw(st.sets(st.integers(1, most), min_size=1, max_size=3)))
    plan = fit_waves(sizes, lots, stages)
    if plan is None:
        # Then one sample of the last size cannot keep them either.
        assert not any(
            keeps_both_promises(SinglePlan(sizes[-1], number), asked) for number in range(sizes[-1])
        )
    else:
        assert plan.sizes == tuple(sizes)
        assert keeps_both_promises(plan, asked)


@settings(deadline=None)
@given(promises(), st.integers(1, 4))
def test_the_sizes_of_a_designed_plan_get_its_numbers_again(asked, stages):
    *fractions_and_risks, lot_size = asked
    single = design_single(*fractions_and_risks, lot_size=lot_size)
    assume(single.sample_size <= LARGEST_SINGLE)
    plan = design_waves(*fractions_and_risks, lot_size=lot_size, stages=stages)
    good, bad = whole_trees(asked)
    lots = Lots(lot_size, good, bad, fractions_and_risks[1], fractions_and_risks[3])
    again = fit_waves(plan.sizes, lots, stages)
    assert again is not None
    trees = [trees_until_all_decided([(each, good)] * stages, lot_size) for each in (plan, again)]
    assert abs(trees[0] - trees[1]) < 1e-9
