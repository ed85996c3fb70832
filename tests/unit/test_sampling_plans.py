"""Plans as values, fractions as trees, and chances of acceptance in cases done by hand."""

import dataclasses
import math
import pickle

import numpy as np
import pytest

from audits.errors import InvalidInput
from audits.sampling import (
    DoublePlan,
    Model,
    Rounding,
    SinglePlan,
    Wave,
    WavePlan,
    acceptance_probability,
    acceptance_probability_at_count,
    average_sample_number,
    average_sample_number_at_count,
    trees_at_fraction,
)


def test_the_rejection_number_follows_the_acceptance_number():
    assert SinglePlan(25, 3).rejection_number == 4
    assert SinglePlan(25, 3) == SinglePlan(25, 3, 4)
    assert SinglePlan(32, 1, 3).most_accepted == 2


def test_a_plan_is_a_value():
    plan = SinglePlan(25, 3)
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan.sample_size = 20
    assert len({plan, SinglePlan(25, 3, 4)}) == 1
    assert pickle.loads(pickle.dumps(plan)) == plan  # noqa: S301 - our own bytes
    assert dataclasses.replace(plan, sample_size=30) == SinglePlan(30, 3)


@pytest.mark.parametrize(
    ("numbers", "field", "value"),
    [
        ((0, 0), "sample_size", "0"),
        ((25, -1), "acceptance_number", "-1"),
        ((25, 3, 3), "rejection_number", "3"),
        ((2.5, 0), "sample_size", "2.5"),
    ],
)
def test_an_impossible_plan_is_refused_with_its_value(numbers, field, value):
    with pytest.raises(InvalidInput) as refusal:
        SinglePlan(*numbers)
    assert value in str(refusal.value.problems[field])


def test_a_single_plan_is_one_wave_and_its_gap_is_accepted():
    assert SinglePlan(25, 3).waves == (Wave(25, 3, 4),)
    assert SinglePlan(32, 1, 3).waves == (Wave(32, 2, 3),)


def test_the_samples_of_a_double_plan_are_counted_together():
    plan = DoublePlan(50, 0, 3, 50, 3)
    assert plan.second_rejection_number == 4
    assert plan == DoublePlan(50, 0, 3, 50, 3, 4)
    assert (plan.sample_size, plan.acceptance_number) == (100, 3)
    assert plan.waves == (Wave(50, 0, 3), Wave(100, 3, 4))


def test_a_count_in_the_gap_of_a_double_plan_is_accepted():
    plan = DoublePlan(20, 0, 3, 20, 0, 4)
    assert plan.acceptance_number == 0
    assert plan.waves == (Wave(20, 0, 3), Wave(40, 3, 4))


def test_a_wave_plan_tells_when_it_cannot_decide_yet():
    plan = WavePlan((5, 12, 20), (None, 0, 2), (2, None, 3))
    assert (plan.sample_size, plan.acceptance_number) == (20, 2)
    # Without a rejection number not even a wave of faults alone is turned down.
    assert plan.waves == (Wave(5, None, 2), Wave(12, 0, 13), Wave(20, 2, 3))
    assert [wave.most_accepted for wave in plan.waves] == [-1, 0, 2]


def test_a_count_in_the_last_gap_of_a_wave_plan_is_accepted():
    plan = WavePlan((20, 40), (0, 0), (3, 4))
    assert plan.acceptance_number == 0
    assert plan.waves == DoublePlan(20, 0, 3, 20, 0, 4).waves


@pytest.mark.parametrize(
    "plan", [DoublePlan(20, 0, 3, 20, 0, 4), WavePlan((5, 12), (None, 1), (2, 2))]
)
def test_plans_of_several_waves_are_values(plan):
    assert plan.waves is not None
    assert pickle.loads(pickle.dumps(plan)) == plan  # noqa: S301 - our own bytes
    assert len({plan, dataclasses.replace(plan)}) == 1
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan.waves = ()


def test_a_changed_plan_has_waves_of_its_own():
    plan = WavePlan((5, 12), (None, 1), (2, 2))
    assert plan.waves[1] == Wave(12, 1, 2)
    changed = dataclasses.replace(plan, sizes=(5, 14))
    assert changed.waves[1] == Wave(14, 1, 2)
    assert changed != plan


def test_lists_of_numbers_become_tuples():
    plan = WavePlan([9, 29], [0, 3], [3, 4])
    assert plan == WavePlan((9, 29), (0, 3), (3, 4))
    assert hash(plan) == hash(WavePlan((9, 29), (0, 3), (3, 4)))


@pytest.mark.parametrize(
    ("numbers", "field", "sentence"),
    [
        ((0, 0, 1, 5, 1), "first_sample_size", "of at least 1; it is 0."),
        ((5, -1, 1, 5, 1), "first_acceptance_number", "of at least 0; it is -1."),
        ((5, 1.5, 3, 5, 3), "first_acceptance_number", "of at least 0; it is 1.5."),
        ((5, 1, 1, 5, 1), "first_rejection_number", "of at least 2; it is 1."),
        ((5, 1, 3, 0, 1), "second_sample_size", "of at least 1; it is 0."),
        ((5, 1, 3, 5, 0), "second_acceptance_number", "of at least 1; it is 0."),
        ((5, 1, 3, 5, 2.5), "second_acceptance_number", "of at least 1; it is 2.5."),
        ((5, 1, 3, 5, 1, 1), "second_rejection_number", "of at least 2; it is 1."),
    ],
)
def test_an_impossible_double_plan_is_refused_with_its_value(numbers, field, sentence):
    with pytest.raises(InvalidInput) as refusal:
        DoublePlan(*numbers)
    # One sentence, on the number that is wrong, none on those that follow from it.
    assert list(refusal.value.problems) == [field]
    assert str(refusal.value) == f"This must be a whole number {sentence}"


@pytest.mark.parametrize(
    ("numbers", "field", "sentence"),
    [
        (((), (), ()), "sizes", "Every wave needs a whole number of trees, at least 1."),
        (((0, 9), (0, 1), (2, 2)), "sizes", "Every wave needs a whole number of trees"),
        (((5.5, 9), (0, 1), (2, 2)), "sizes", "Every wave needs a whole number of trees"),
        (((9, 9), (0, 1), (2, 2)), "sizes", "each must be larger than the one before it."),
        (((9, 5), (0, 1), (2, 2)), "sizes", "each must be larger than the one before it."),
        (((5, 9), (1,), (2, 2)), "acceptance_numbers", "There are 2 waves, so give as many"),
        (((5,), (1,), (2, 2)), "rejection_numbers", "There is 1 wave, so give as many numbers"),
        (((5, 9), (-1, 1), (2, 2)), "acceptance_numbers", "whole numbers of at least 0."),
        (((5, 9), (0, 1.5), (2, 2)), "acceptance_numbers", "whole numbers of at least 0."),
        (((5, 9), (None, 1), (0, 2)), "rejection_numbers", "whole numbers of at least 1."),
        (((5, 9), (0, None), (2, 2)), "acceptance_numbers", "The last wave must decide"),
        (((5, 9), (0, 1), (2, None)), "rejection_numbers", "The last wave must decide"),
        (((5, 9), (2, 3), (2, 4)), "rejection_numbers", "larger than the acceptance number of"),
    ],
)
def test_an_impossible_wave_plan_is_refused_in_words(numbers, field, sentence):
    with pytest.raises(InvalidInput) as refusal:
        WavePlan(*numbers)
    assert sentence in str(refusal.value.problems[field])


def test_waves_of_a_lot_small_enough_to_count_by_hand():
    # 2 of 4 trees are nonconforming. The first tree decides if it conforms (1/2); else the second
    # must (2/3 of the other half).
    plan = WavePlan((1, 2), (0, 1), (None, 2))
    assert acceptance_probability_at_count(plan, 2, 4) == pytest.approx(1 / 2 + 1 / 2 * 2 / 3)
    assert average_sample_number_at_count(plan, 2, 4) == pytest.approx(1.5)


def test_a_walk_in_waves_ends_when_only_one_outcome_is_left():
    # None of 9 accepts, 3 do not, up to 3 of 29 do: a lot of faults alone ends on the
    # third tree, a lot without any only at the end of its first wave.
    plan = WavePlan((9, 29), (0, 3), (3, 4))
    assert average_sample_number(plan, [0.0, 1.0]) == pytest.approx([9.0, 3.0])
    assert average_sample_number(plan, [0.0, 1.0], curtailed=False) == pytest.approx([9.0, 9.0])


def test_a_plan_of_waves_that_cannot_reject_takes_no_tree():
    plan = WavePlan((2, 3), (None, 3), (None, 4))
    assert average_sample_number(plan, [0.0, 0.5, 1.0]) == [0.0, 0.0, 0.0]
    assert acceptance_probability(plan, [0.0, 0.5, 1.0]) == pytest.approx([1.0, 1.0, 1.0])


def test_waves_refuse_a_lot_that_is_smaller():
    with pytest.raises(InvalidInput, match="A sample of 29 cannot come from a lot of 28 trees"):
        acceptance_probability(WavePlan((9, 29), (0, 3), (3, 4)), 0.1, lot_size=28)


def test_a_sample_as_large_as_the_lot_looks_at_every_tree():
    assert SinglePlan(12, 0).inspects_whole(12)
    assert not SinglePlan(12, 0).inspects_whole(13)


@pytest.mark.parametrize(
    ("fraction", "lot_size", "down", "nearest", "up"),
    [
        (0.05, 300, 15, 15, 15),  # 15.000000000000002 in binary
        (0.1, 30, 3, 3, 3),
        (0.07, 100, 7, 7, 7),  # 7.000000000000001
        (0.29, 100, 29, 29, 29),  # 28.999999999999996
        (0.0166666666666667, 60, 1, 1, 1),  # a sixtieth, typed
        (0.116666666666667, 60, 7, 7, 7),
        (0.05, 310, 15, 16, 16),  # a half counts as one
        (0.25, 310, 77, 78, 78),
        (0.05, 12, 0, 1, 1),
        (0.0, 300, 0, 0, 0),
        (1.0, 300, 300, 300, 300),
        (1e-12, 300, 0, 0, 1),  # however small: one tree of the lot may be bad
        (0.145, 100, 14, 15, 15),  # 14.499999999999998
    ],
)
def test_fractions_become_whole_trees(fraction, lot_size, down, nearest, up):
    assert trees_at_fraction(fraction, lot_size, Rounding.DOWN) == down
    assert trees_at_fraction(fraction, lot_size) == nearest
    assert trees_at_fraction(fraction, lot_size, Rounding.UP) == up


def test_every_typed_percentage_of_every_lot_is_exact():
    # Against whole-number arithmetic: percent x lot / 100.
    for percent in range(101):
        for lot_size in (30, 100, 299, 300, 1234):
            down, remainder = divmod(percent * lot_size, 100)
            assert trees_at_fraction(percent / 100, lot_size, Rounding.DOWN) == down
            assert trees_at_fraction(percent / 100, lot_size, Rounding.UP) == down + (remainder > 0)
            assert trees_at_fraction(percent / 100, lot_size) == down + (remainder >= 50)


def test_chances_of_a_lot_small_enough_to_count_by_hand():
    # 2 of 4 trees drawn, 2 nonconforming: of 6 pairs one has none, four have one, one has both.
    assert acceptance_probability_at_count(SinglePlan(2, 0), 2, 4) == pytest.approx(1 / 6)
    assert acceptance_probability_at_count(SinglePlan(2, 1), 2, 4) == pytest.approx(5 / 6)
    assert acceptance_probability(SinglePlan(2, 0), 0.5) == pytest.approx(1 / 4)
    assert acceptance_probability(SinglePlan(2, 0), 0.5, model="poisson") == pytest.approx(
        math.exp(-1)
    )


@pytest.mark.parametrize("keywords", [{}, {"lot_size": 40}, {"model": "poisson"}])
def test_a_lot_without_faults_is_sure_to_pass(keywords):
    assert acceptance_probability(SinglePlan(8, 0), 0.0, **keywords) == 1.0


@pytest.mark.parametrize("keywords", [{}, {"lot_size": 40}])
def test_a_lot_of_faults_alone_is_sure_to_go_back(keywords):
    plan = SinglePlan(8, 2)
    assert acceptance_probability(plan, 1.0, **keywords) == 0.0
    assert average_sample_number(plan, 1.0, **keywords) == pytest.approx(3.0)
    assert average_sample_number(plan, 0.0, **keywords) == pytest.approx(6.0)


def test_looking_at_every_tree_leaves_nothing_to_chance():
    plan = SinglePlan(30, 3)
    assert acceptance_probability_at_count(plan, 3, 30) == 1.0
    assert acceptance_probability_at_count(plan, 4, 30) == 0.0


def test_a_known_lot_is_drawn_without_replacement_unless_told_otherwise():
    plan = SinglePlan(25, 3)
    in_lot = acceptance_probability(plan, 0.25, lot_size=300)
    assert in_lot == acceptance_probability(plan, 0.25, lot_size=300, model=Model.HYPERGEOMETRIC)
    assert in_lot == acceptance_probability_at_count(plan, 75, 300)
    endless = acceptance_probability(plan, 0.25)
    assert endless == acceptance_probability(plan, 0.25, lot_size=300, model="binomial")
    assert endless != in_lot


def test_a_sequence_of_fractions_gives_a_list_and_an_array_an_array():
    plan = SinglePlan(25, 3)
    one_by_one = [acceptance_probability(plan, fraction) for fraction in (0.05, 0.25)]
    assert acceptance_probability(plan, (0.05, 0.25)) == one_by_one
    assert acceptance_probability(plan, np.array([0.05, 0.25])).tolist() == one_by_one
    assert acceptance_probability(plan, np.float64(0.05)) == one_by_one[0]
    assert acceptance_probability(plan, []) == []
    assert average_sample_number(plan, [0.05, 0.25]) == [
        average_sample_number(plan, 0.05),
        average_sample_number(plan, 0.25),
    ]


def test_without_curtailment_the_whole_sample_is_walked():
    assert average_sample_number(SinglePlan(25, 3), [0.0, 0.2, 1.0], curtailed=False) == [25.0] * 3
    assert average_sample_number_at_count(SinglePlan(25, 3), 15, 300, curtailed=False) == 25.0


def test_under_the_poisson_law_only_rejection_comes_early():
    # One fault per tree on average, stop at the first: e^0 + e^-1 + e^-2 trees of three.
    found = average_sample_number(SinglePlan(3, 0), 1.0, model="poisson")
    assert found == pytest.approx(1 + math.exp(-1) + math.exp(-2))
    assert average_sample_number(SinglePlan(3, 0), 0.0, model="poisson") == 3.0


def test_a_plan_that_cannot_reject_takes_no_tree():
    # Tables for several faults per tree hold such plans; trees that fail or pass cannot reach 4.
    assert average_sample_number(SinglePlan(2, 3), 0.5) == 0.0


@pytest.mark.parametrize(
    ("arguments", "field", "value"),
    [
        ({"fraction_nonconforming": 1.5}, "fraction_nonconforming", "1.5"),
        ({"fraction_nonconforming": math.nan}, "fraction_nonconforming", "NaN"),
        ({"fraction_nonconforming": -0.0001}, "fraction_nonconforming", "-0.0001"),
        ({"fraction_nonconforming": -1, "model": "poisson"}, "fraction_nonconforming", "-1"),
        ({"fraction_nonconforming": 0.1, "lot_size": 24}, "lot_size", "24"),
        ({"fraction_nonconforming": 0.1, "lot_size": 0}, "lot_size", "0"),
        ({"fraction_nonconforming": 0.1, "model": "gauss"}, "model", "gauss"),
        ({"fraction_nonconforming": 0.1, "model": "hypergeometric"}, "lot_size", "size of the lot"),
    ],
)
def test_chances_refuse_values_outside_their_range(arguments, field, value):
    with pytest.raises(InvalidInput) as refusal:
        acceptance_probability(SinglePlan(25, 3), **arguments)
    assert value in str(refusal.value.problems[field])


def test_a_lot_cannot_hold_more_faults_than_trees():
    with pytest.raises(InvalidInput, match="301"):
        acceptance_probability_at_count(SinglePlan(25, 3), 301, 300)


@pytest.mark.parametrize("fraction", [5e-324, 2.2e-311, 1e-160])
def test_a_fraction_near_nothing_takes_as_many_trees_as_none(fraction):
    # Found by random examples: the quotient of the two smallest numbers was not a number.
    plan = SinglePlan(1, 0, 1)
    assert average_sample_number(plan, fraction, model="binomial") == pytest.approx(1.0)
