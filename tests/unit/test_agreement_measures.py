"""People's measures of the same trees, by hand, and where nothing can be told."""

import math

import pytest

from audits.agreement import (
    bland_altman,
    gauge_rr,
    gauge_rr_range,
    intraclass_correlation,
    repeatability,
)

HEIGHTS = [[[3.0, 3.1], [3.2, 3.1]], [[2.6, 2.6], [2.8, 2.7]], [[3.4, 3.3], [3.4, 3.5]]]


def test_bias_has_a_sign():
    # Differences 2, 4 and 3: mean 3, standard deviation 1.
    found = bland_altman([310, 322, 305], [308, 318, 302])
    assert found.bias == pytest.approx(3)
    assert found.standard_deviation == pytest.approx(1)
    assert (found.lower, found.upper) == pytest.approx((3 - 1.96, 3 + 1.96))
    assert bland_altman([308, 318, 302], [310, 322, 305]).bias == pytest.approx(-3)


def test_trees_that_one_did_not_measure_are_left_out():
    found = bland_altman([310, None, 322, 305], [308, 400, 318, None])
    assert (found.pairs, found.bias) == (2, 3)
    assert repeatability([25, None], [26, 30]).pairs == 1


def test_one_pair_has_a_bias_and_no_limits():
    found = bland_altman([310], [308])
    assert (found.pairs, found.bias) == (1, 2)
    assert set(list(vars(found).values())[2:]) == {None}


def test_no_pair_has_nothing():
    assert set(vars(bland_altman([None], [3])).values()) == {0, None}
    assert set(vars(repeatability([], [])).values()) == {0, None}


def test_people_who_always_differ_alike_have_limits_on_their_bias():
    found = bland_altman([12, 22, 32], [10, 20, 30])
    assert (found.lower, found.bias, found.upper) == (2, 2, 2)
    assert found.interval_bias == (2, 2)


@pytest.mark.parametrize(
    ("first", "second", "multiplier", "message"),
    [
        ([1, 2], [1], 2, "as long: 2 and 1"),
        ([math.nan], [1], 2, "finite numbers, not nan"),
        ([1], [math.inf], 2, "finite numbers, not inf"),
        ([1], [1], 0, "above 0, not 0"),
    ],
)
def test_measures_that_cannot_be_compared_are_refused(first, second, multiplier, message):
    for function in (bland_altman, repeatability):
        with pytest.raises(ValueError, match=message):
            function(first, second, multiplier)


def forms(found):
    names = ("icc_1_1", "icc_2_1", "icc_3_1", "icc_1_k", "icc_2_k", "icc_3_k")
    return [getattr(found, name) for name in names]


def test_two_who_measure_alike_agree_in_every_form():
    found = intraclass_correlation([[300, 300], [320, 320], [310, 310]])
    assert [form.value for form in forms(found)] == [1] * 6
    assert (found.f_between_trees, found.f_one_way) == (None, None)
    assert found.reason is None


def test_a_steady_bias_spoils_agreement_and_not_consistency():
    found = intraclass_correlation([[300, 310], [320, 330], [310, 320]])
    assert (found.icc_3_1.value, found.icc_3_k.value) == (1, 1)
    assert found.icc_2_1.value < 0.8
    # One degree of freedom more or less hangs on nothing here: no residual, no interval.
    assert (found.icc_3_1.interval, found.icc_2_1.interval) == (None, None)


def test_trees_that_differ_less_than_measuring_does_come_out_below_0():
    found = intraclass_correlation([[1, 2], [2, 1], [1.5, 1.6]])
    assert found.icc_1_1.value < 0
    assert all(math.isfinite(form.value) for form in forms(found) if form.value is not None)


@pytest.mark.parametrize(
    ("measures", "reason"),
    [
        ([], "two people"),
        ([[1], [2]], "two people"),
        ([[1, 2]], "two trees"),
        ([[1, 2], [None, 3], [4, None]], "two trees"),
        ([[1, 1], [1, 1]], "All measures are the same"),
        ([[0.1 + 0.2, 0.3], [0.3, 0.3]], "All measures are the same"),
    ],
)
def test_too_little_for_a_correlation_has_a_reason(measures, reason):
    found = intraclass_correlation(measures)
    assert reason in str(found.reason)
    assert {(form.value, form.interval) for form in forms(found)} == {(None, None)}
    assert found.between_trees is None


def test_trees_with_a_measure_missing_are_left_out():
    complete = [[300, 305], [320, 318], [310, 316]]
    found = intraclass_correlation([*complete, [333, None]])
    assert (found.trees, found.left_out) == (3, 1)
    assert forms(found) == forms(intraclass_correlation(complete))


def test_measures_that_are_no_table_are_refused():
    with pytest.raises(ValueError, match="2 people a tree, not 1"):
        intraclass_correlation([[1, 2], [1]])
    with pytest.raises(ValueError, match="not nan"):
        intraclass_correlation([[1, math.nan]])


def test_a_gauge_study_worked_by_hand():
    # Two trees, two people, two readings. Cells 1.5, 3.5; 5.5, 7.5: no interaction, repeats 0.5.
    found = gauge_rr([[[1, 2], [3, 4]], [[5, 6], [7, 8]]])
    anova = found.anova
    assert (anova.trees.squares, anova.people.squares) == (32, 8)
    assert (anova.interaction.squares, anova.repeatability.squares) == (0, 2)
    # The pooled error is 2 over 5 degrees of freedom, 0.4; the mean square of people is 8, that of
    # trees 32; what exceeds the error comes from 4 readings each.
    parts = found.fitting.variances
    assert found.fitting is found.without_interaction
    assert (parts.repeatability, parts.people, parts.trees) == pytest.approx((0.4, 1.9, 7.9))
    assert parts.gauge == pytest.approx(2.3)


def test_one_trial_leaves_the_model_without_interaction():
    found = gauge_rr([[[1], [3]], [[5], [7.5]], [[9], [11]]])
    assert found.with_interaction is None
    assert found.fitting is found.without_interaction
    assert found.anova.repeatability.mean_square is None
    assert found.anova.interaction.f is None
    assert found.reason is None


def test_an_interaction_that_is_plain_is_kept():
    found = gauge_rr([[[10, 10.1], [12, 12.1]], [[20, 20.1], [18, 18.1]], [[15, 15.1], [15, 15]]])
    assert found.anova.interaction.p < 0.05
    assert found.fitting is found.with_interaction


def test_an_interaction_without_any_repeating_error_is_kept():
    found = gauge_rr([[[10, 10], [12, 12]], [[20, 20], [18, 18]]])
    assert found.anova.interaction.p is None
    assert found.fitting is found.with_interaction


def test_a_perfect_gauge_tells_any_number_of_trees_apart():
    found = gauge_rr([[[10, 10], [10, 10]], [[20, 20], [20, 20]]])
    assert found.fitting.variances.gauge == 0
    assert found.fitting.study_variations.trees == 1
    assert (found.fitting.categories, found.fitting.categories_raw) == (None, None)
    by_ranges = gauge_rr_range([[[10, 10], [10, 10]], [[20, 20], [20, 20]]])
    assert (by_ranges.gauge_share, by_ranges.categories) == (0, None)


def test_readings_that_never_vary_have_no_shares():
    same = [[[10, 10], [10, 10]], [[10, 10], [10, 10]]]
    found = gauge_rr(same)
    assert (found.fitting.contributions, found.fitting.study_variations) == (None, None)
    assert found.anova.trees.f is None
    assert gauge_rr_range(same).gauge_share is None


def test_a_gauge_that_tells_nothing_apart_has_one_category():
    # Trees alike, readings not.
    found = gauge_rr([[[9, 11], [10, 12]], [[11, 9], [12, 10]]])
    assert found.fitting.categories == 1


def test_a_tree_with_a_reading_missing_is_left_out():
    found = gauge_rr([*HEIGHTS, [[3.0, None], [3.1, 3.1]]])
    assert (found.trees, found.left_out) == (3, 1)
    assert found.anova == gauge_rr(HEIGHTS).anova
    assert gauge_rr_range([*HEIGHTS, [[3.0, None], [3.1, 3.1]]]).left_out == 1


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        ([], "two people"),
        ([[[1, 2]], [[1, 3]]], "two people"),
        ([[[], []], [[], []]], "two people"),
        ([[[1, 2], [2, 3]]], "two trees"),
        ([[[None, 2], [2, 3]], [[1, 2], [3, None]]], "two trees"),
    ],
)
def test_too_little_for_a_gauge_study_has_a_reason(readings, reason):
    found = gauge_rr(readings)
    assert reason in str(found.reason)
    assert (found.anova, found.fitting) == (None, None)
    by_ranges = gauge_rr_range(readings)
    assert reason in str(by_ranges.reason)
    assert by_ranges.gauge is None


def test_ranges_need_two_readings():
    found = gauge_rr_range([[[1], [3]], [[5], [7.5]]])
    assert "two measures" in str(found.reason)


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        ([[[1, 2], [2, 3]], [[1, 2]]], "2 people a tree, not 1"),
        ([[[1, 2], [2]]], "2 a tree and person, not 1"),
        ([[[1, math.inf], [2, 3]]], "finite numbers or None, not inf"),
    ],
)
def test_readings_that_are_no_study_are_refused(readings, message):
    for function in (gauge_rr, gauge_rr_range):
        with pytest.raises(ValueError, match=message):
            function(readings)


def test_a_constant_is_above_0():
    with pytest.raises(ValueError, match="k2 must be above 0, not 0"):
        gauge_rr_range(HEIGHTS, k2=0)


def test_a_correlation_far_below_0_has_no_range_where_its_approximation_fails():
    # Two trees that differ hardly at all, four people who differ greatly, each in their own way.
    found = intraclass_correlation([[10.9, 178.9, 180.0, 0.0], [10.9, 325.7, 10.9, 10.9]])
    assert found.icc_2_1.value < 0
    assert (found.icc_2_1.interval, found.icc_2_k.interval) == (None, None)
    assert found.icc_3_1.interval.lower < found.icc_3_1.value < found.icc_3_1.interval.upper
