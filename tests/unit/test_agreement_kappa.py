"""Kappa and its kin by hand, and where they are not defined."""

import pytest

from audits.agreement import (
    Level,
    against_reference,
    agreeing_pairs,
    brennan_prediger,
    cohen_kappa,
    conger_kappa,
    early_errors,
    fleiss_kappa,
    fleiss_of_ratings,
    gwet_ac1,
    gwet_ac1_of_table,
    gwet_ac2,
    krippendorff_alpha,
    steady_interval,
    weighted_kappa,
    weights_of_disagreement,
)

COEFFICIENTS = [
    gwet_ac1,
    fleiss_of_ratings,
    conger_kappa,
    brennan_prediger,
    lambda ratings: gwet_ac2(ratings, "linear"),
]

# Two trees of three agree, worked by hand below.
RATINGS = [[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2]]


def test_kappa_worked_by_hand():
    # po = 35 / 50; both say yes to half: pe = 0.5 x 0.6 + 0.5 x 0.4.
    found = cohen_kappa([[20, 5], [10, 15]])
    assert found.observed == pytest.approx(0.7)
    assert found.expected == pytest.approx(0.5)
    assert found.kappa == pytest.approx(0.4)


def test_where_both_use_one_answer_kappa_is_not_defined():
    for table in ([[9, 0], [0, 0]], [[0, 0], [0, 9]]):
        found = cohen_kappa(table)
        assert (found.observed, found.expected) == (1, 1)
        assert (found.kappa, found.standard_error, found.interval, found.z) == (None,) * 4
        assert early_errors(table) is None
        assert steady_interval(table) is None


def test_where_one_uses_one_answer_kappa_is_exactly_0_without_an_error_of_its_own():
    found = cohen_kappa([[30, 0], [10, 0]])
    assert found.kappa == pytest.approx(0, abs=1e-15)
    assert (found.standard_error, found.standard_error_null, found.z) == (0, 0, None)


def test_without_a_tree_there_is_no_figure():
    found = cohen_kappa([[0, 0], [0, 0]])
    assert found.pairs == 0
    assert (found.observed, found.kappa, found.interval) == (None, None, None)
    assert gwet_ac1_of_table([[0, 0], [0, 0]]).value is None


def test_a_single_tree_has_no_standard_error_by_trees():
    found = gwet_ac1_of_table([[1, 0], [0, 0]])
    assert (found.value, found.standard_error, found.interval) == (1, None, None)


def test_weights_that_forgive_everything_leave_kappa_undefined():
    assert weighted_kappa([[5, 3], [2, 7]], [[1, 1], [1, 1]]).kappa is None


@pytest.mark.parametrize(
    ("weights", "message"),
    [
        ("cubic", "linear, quadratic or a matrix, not 'cubic'"),
        ([[1, 0]], "2 rows and 2 columns"),
        ([[1, 2], [0, 1]], r"in \[0, 1\], not 2"),
        ([[0, 1], [1, 0]], "1 on the diagonal, not 0"),
    ],
)
def test_weights_that_do_not_fit_are_refused(weights, message):
    with pytest.raises(ValueError, match=message):
        weighted_kappa([[5, 3], [2, 7]], weights)


@pytest.mark.parametrize(
    ("costs", "message"),
    [
        ([[0, -1], [1, 0]], "not -1"),
        ([[0, 0], [0, 0]], "all are 0"),
        ([[1, 0], [0, 1]], "diagonal"),
        ([[0, float("nan")], [1, 0]], "not nan"),
    ],
)
def test_costs_that_make_no_weights_are_refused(costs, message):
    with pytest.raises(ValueError, match=message):
        weights_of_disagreement(costs)


@pytest.mark.parametrize("count", [-1, 0.5, float("nan"), float("inf")])
def test_counts_that_are_no_counts_are_refused(count):
    with pytest.raises(ValueError, match="whole numbers"):
        cohen_kappa([[1, count], [0, 1]])
    with pytest.raises(ValueError, match="whole numbers"):
        fleiss_kappa([[1, count]])
    with pytest.raises(ValueError, match="false_alarms"):
        against_reference(1, 1, count, 1)


def test_coefficients_of_many_worked_by_hand():
    # Pairs agree by 1, 1, 1/3 and 1; answer 1 has the mean share (1 + 1 + 1/3 + 0) / 4 = 7 / 12.
    assert agreeing_pairs(RATINGS) == pytest.approx(5 / 6)
    assert gwet_ac1(RATINGS).expected == pytest.approx(2 * 7 / 12 * 5 / 12)
    assert fleiss_of_ratings(RATINGS).expected == pytest.approx((7 / 12) ** 2 + (5 / 12) ** 2)
    # Shares of answer 1 by person: 1/2, 2/3, 2/3. Pairs of people agree by 1/2, 1/2 and 5/9.
    assert conger_kappa(RATINGS).expected == pytest.approx((1 / 2 + 1 / 2 + 5 / 9) / 3)
    assert brennan_prediger(RATINGS).expected == pytest.approx(1 / 2)


def test_alpha_worked_by_hand():
    # 10 values, 6 of answer 1. The third tree alone disagrees: 4 ordered pairs, over 3 - 1.
    found = krippendorff_alpha(RATINGS)
    assert (found.units, found.pairable_values) == (4, 10)
    assert found.value == pytest.approx(1 - (4 / 2 / 10) / (2 * 6 * 4 / 90))


def test_trees_rated_once_tell_alpha_nothing_and_the_others_their_shares():
    more = [*RATINGS, [None, 2, None]]
    assert krippendorff_alpha(more) == krippendorff_alpha(RATINGS)
    assert gwet_ac1(more).expected != gwet_ac1(RATINGS).expected
    assert (gwet_ac1(more).units, gwet_ac1(more).paired_units) == (5, 4)


@pytest.mark.parametrize("coefficient", COEFFICIENTS)
def test_trees_that_nobody_rated_change_nothing(coefficient):
    assert coefficient([*RATINGS, [None, None, None]]) == coefficient(RATINGS)


@pytest.mark.parametrize("coefficient", COEFFICIENTS)
@pytest.mark.parametrize(
    "ratings",
    [
        [],
        [[], []],
        [[None, None], [None, None]],
        [[1], [2]],
        [[1, None], [None, 2]],
        [[1, None], [2, None], [1, None]],
    ],
)
def test_without_a_pair_there_is_no_coefficient(coefficient, ratings):
    found = coefficient(ratings)
    assert (found.value, found.standard_error, found.interval) == (None, None, None)
    assert agreeing_pairs(ratings) is None
    alpha = krippendorff_alpha(ratings)
    assert (alpha.value, alpha.standard_error, alpha.pairable_values) == (None, None, 0)


@pytest.mark.parametrize("coefficient", COEFFICIENTS)
def test_with_one_answer_only_there_is_no_coefficient(coefficient):
    assert coefficient([["right", "right"], ["right", None]]).value is None
    assert krippendorff_alpha([["right", "right"], ["right", None]]).value is None


def test_possible_answers_that_nobody_gave_can_be_named():
    found = gwet_ac1([["right", "right"]] * 3, ["right", "high"])
    assert (found.value, found.standard_error) == (1, 0)


@pytest.mark.parametrize("level", list(Level))
def test_alpha_of_one_answer_or_none_is_not_defined(level):
    assert krippendorff_alpha([[0, 0], [0, 0]], level).value is None
    assert krippendorff_alpha([], level).value is None


def test_the_order_of_named_answers_matters_to_ordinal_alpha_alone():
    ratings = [["few", "right"], ["right", "right"], ["many", "many"], ["few", "few"]]
    order = ["few", "right", "many"]
    ordered = krippendorff_alpha(ratings, "ordinal", order).value
    assert ordered == pytest.approx(
        krippendorff_alpha(
            [[order.index(each) for each in row] for row in ratings], "ordinal"
        ).value
    )
    assert ordered != pytest.approx(krippendorff_alpha(ratings, "ordinal").value)
    assert krippendorff_alpha(ratings, "nominal", order).value == pytest.approx(
        krippendorff_alpha(ratings).value
    )


@pytest.mark.parametrize(
    ("ratings", "level", "message"),
    [
        ([[1, 2]], "metric", "nominal, ordinal, interval, ratio, not 'metric'"),
        ([["a", "b"]], "interval", "finite numbers, not '[ab]'"),
        ([[-1, 2]], "ratio", "at least 0, not -1"),
        ([[1, 2], [1]], "nominal", "2 auditors a tree, not 1"),
        ([[1, float("nan")]], "interval", "finite or None, not nan"),
    ],
)
def test_ratings_that_do_not_suit_are_refused(ratings, level, message):
    with pytest.raises(ValueError, match=message):
        krippendorff_alpha(ratings, level)


def test_an_answer_that_is_not_possible_is_refused():
    with pytest.raises(ValueError, match="'high' is not"):
        gwet_ac1([["right", "high"]], ["right", "low"])


def test_fleiss_kappa_without_room_has_none():
    assert fleiss_kappa([]).kappa is None
    assert fleiss_kappa([[0, 0]]).observed is None
    alone = fleiss_kappa([[1, 0], [0, 1]])
    assert (alone.observed, alone.kappa, alone.expected) == (None, None, 0.5)
    alike = fleiss_kappa([[3, 0], [3, 0]])
    assert (alike.observed, alike.kappa, alike.z) == (1, None, None)
    assert alike.kappa_by_category == (None, None)


@pytest.mark.parametrize(
    ("counts", "message"),
    [([[2, 0], [1, 0]], "2 ratings a tree, not 1"), ([[2, 0], [2]], "2 answers a tree, not 1")],
)
def test_fleiss_kappa_takes_equally_many_ratings(counts, message):
    with pytest.raises(ValueError, match=message):
        fleiss_kappa(counts)


def test_an_auditor_who_misses_every_fault_has_no_sensitivity_but_a_range():
    found = against_reference(0, 6, 0, 24)
    assert found.sensitivity.share == 0
    assert found.sensitivity.interval.upper > 0.3
    assert (found.miss_rate, found.false_alarm_rate, found.accuracy) == (1, 0, 0.8)
    assert found.kappa.kappa == pytest.approx(0, abs=1e-15)


def test_without_true_faults_only_false_alarms_are_told():
    found = against_reference(0, 0, 3, 27)
    assert (found.sensitivity.share, found.sensitivity.interval, found.miss_rate) == (None,) * 3
    assert found.false_alarm_rate == 0.1
    nothing = against_reference(0, 0, 0, 0)
    assert (nothing.accuracy, nothing.kappa.kappa, nothing.specificity.share) == (None,) * 3
