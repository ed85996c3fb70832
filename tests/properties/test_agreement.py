"""Laws of agreement: symmetry, bounds, and one coefficient as the limit of another."""

import itertools
import math
from dataclasses import is_dataclass

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from audits.agreement import (
    AgreementLevel,
    against_reference,
    agreeing_pairs,
    bland_altman,
    brennan_prediger,
    cohen_kappa,
    conger_kappa,
    early_errors,
    fleiss_kappa,
    fleiss_of_ratings,
    gauge_rr,
    gauge_rr_range,
    gwet_ac1,
    gwet_ac1_of_table,
    gwet_ac2,
    intraclass_correlation,
    krippendorff_alpha,
    read_agreement,
    repeatability,
    steady_interval,
    weighted_kappa,
)

NEAR = {"rel": 1e-9, "abs": 1e-9}

counts = st.integers(0, 60)
two_by_two = st.lists(st.lists(counts, min_size=2, max_size=2), min_size=2, max_size=2)
tables = st.integers(2, 4).flatmap(
    lambda size: st.lists(
        st.lists(counts, min_size=size, max_size=size), min_size=size, max_size=size
    )
)
answers = st.none() | st.integers(0, 3)
sheets = st.integers(1, 4).flatmap(
    lambda people: st.lists(st.lists(answers, min_size=people, max_size=people), max_size=12)
)
pairs_of_answers = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=2, max_size=20
)
lengths = st.none() | st.integers(2000, 4000).map(lambda tenths: tenths / 10)
measures = st.integers(1, 4).flatmap(
    lambda people: st.lists(st.lists(lengths, min_size=people, max_size=people), max_size=8)
)
studies = st.tuples(st.integers(1, 3), st.integers(1, 3)).flatmap(
    lambda size: st.lists(
        st.lists(
            st.lists(lengths, min_size=size[1], max_size=size[1]),
            min_size=size[0],
            max_size=size[0],
        ),
        max_size=5,
    )
)

COEFFICIENTS = {
    "ac1": gwet_ac1,
    "ac2": lambda ratings: gwet_ac2(ratings, "quadratic"),
    "fleiss": fleiss_of_ratings,
    "fleiss weighted": lambda ratings: fleiss_of_ratings(ratings, "linear"),
    "conger": conger_kappa,
    "alike": brennan_prediger,
    "nominal": krippendorff_alpha,
    "ordinal": lambda ratings: krippendorff_alpha(ratings, "ordinal"),
    "interval": lambda ratings: krippendorff_alpha(ratings, "interval"),
    "ratio": lambda ratings: krippendorff_alpha(ratings, "ratio"),
}


def numbers_in(found):
    """Yield every number of a result, however deep."""
    if is_dataclass(found):
        yield from numbers_in(list(vars(found).values()))
    elif isinstance(found, list | tuple):
        for each in found:
            yield from numbers_in(each)
    elif isinstance(found, float):
        yield found


def same(found, other):
    return found == pytest.approx(other, **NEAR) if found is not None else other is None


def transposed(table):
    return [list(column) for column in zip(*table, strict=True)]


@given(tables)
def test_kappa_is_the_same_whoever_comes_first(table):
    for function in (
        cohen_kappa,
        lambda each: weighted_kappa(each, "linear"),
        lambda each: weighted_kappa(each, "quadratic"),
    ):
        found, other = function(table), function(transposed(table))
        assert same(found.kappa, other.kappa)
        assert same(found.standard_error, other.standard_error)


@given(tables, st.data())
def test_kappa_is_the_same_whatever_the_answers_are_called(table, data):
    order = data.draw(st.permutations(range(len(table))))
    renamed = [[table[row][column] for column in order] for row in order]
    found, other = cohen_kappa(table), cohen_kappa(renamed)
    assert same(found.kappa, other.kappa)
    assert same(found.standard_error, other.standard_error)
    assert same(gwet_ac1_of_table(table).value, gwet_ac1_of_table(renamed).value)


@given(tables)
def test_kappa_stays_within_its_bounds_and_names_nothing_undefined(table):
    found = cohen_kappa(table)
    results = [
        found,
        weighted_kappa(table, "linear"),
        weighted_kappa(table, "quadratic"),
        gwet_ac1_of_table(table),
        early_errors(table),
        steady_interval(table),
        read_agreement(table),
    ]
    assert all(map(math.isfinite, numbers_in(results)))
    if found.kappa is not None:
        assert -1 - 1e-12 <= found.kappa <= 1
        assert found.kappa <= found.observed + 1e-12
        lower, upper = steady_interval(table)
        assert -1 <= lower <= found.kappa + 1e-12
        assert found.kappa - 1e-12 <= upper <= 1


@given(tables, st.integers(2, 9))
def test_more_of_the_same_trees_shrink_the_error_and_not_kappa(table, times):
    found = cohen_kappa(table)
    more = cohen_kappa([[count * times for count in row] for row in table])
    assert same(found.kappa, more.kappa)
    if found.kappa is not None:
        assert more.standard_error * math.sqrt(times) == pytest.approx(
            found.standard_error, rel=1e-6, abs=1e-6
        )


@given(two_by_two)
def test_weights_say_nothing_of_two_answers(table):
    found = cohen_kappa(table)
    for weights in ("linear", "quadratic"):
        other = weighted_kappa(table, weights)
        assert same(found.kappa, other.kappa)
        assert same(found.standard_error, other.standard_error)


@given(two_by_two)
def test_the_steady_range_is_that_of_half_a_tree_more_in_every_cell(table):
    # Twice the table and one tree more has the same shares, and twice the trees.
    assume(cohen_kappa(table).kappa is not None)
    twice = cohen_kappa([[2 * count + 1 for count in row] for row in table])
    reach = 1.959963984540054 * math.sqrt(2) * twice.standard_error
    kappa = cohen_kappa(table).kappa
    lower, upper = steady_interval(table)
    assert lower == pytest.approx(max(-1, min(kappa, twice.kappa - reach)), **NEAR)
    assert upper == pytest.approx(min(1, max(kappa, twice.kappa + reach)), **NEAR)


@given(tables)
def test_a_reading_shows_kappa_with_its_range_or_neither(table):
    found = read_agreement(table)
    kappa = cohen_kappa(table).kappa
    assert (found.kappa is None) == (found.interval is None)
    assert (found.ac1 is not None) == (found.level is AgreementLevel.NO_FAULTS)
    assert (found.level is AgreementLevel.TOO_FEW) == (found.pairs < 30)
    if found.kappa is not None:
        assert found.kappa == kappa
        assert (found.level is AgreementLevel.GOOD) == (kappa > 0.75 - 1e-9)
        assert (found.level is AgreementLevel.NOT_USED) == (kappa < 0.4 - 1e-9)
    assert "None" not in f"{found.sentence} {found.follows}"
    assert found.level is read_agreement(transposed(table)).level


@given(pairs_of_answers)
def test_fleiss_kappa_of_two_auditors_is_scotts_pi(pairs):
    # W. A. Scott, Public Opinion Quarterly 19:321-325, 1955: chance by the shares of both together.
    shares = [sum(pair.count(answer) for pair in pairs) / (2 * len(pairs)) for answer in range(3)]
    chance = sum(share**2 for share in shares)
    assume(chance < 1)
    agreed = sum(one == two for one, two in pairs) / len(pairs)
    pi = (agreed - chance) / (1 - chance)
    assert fleiss_of_ratings(pairs).value == pytest.approx(pi, **NEAR)
    assert fleiss_kappa(
        [[pair.count(answer) for answer in range(3)] for pair in pairs]
    ).kappa == pytest.approx(pi, **NEAR)


@given(pairs_of_answers)
def test_congers_kappa_of_two_auditors_is_cohens(pairs):
    table = [[pairs.count((one, two)) for two in range(3)] for one in range(3)]
    for weights in (None, "quadratic"):
        found = cohen_kappa(table) if weights is None else weighted_kappa(table, weights)
        assert same(conger_kappa(pairs, weights, range(3)).value, found.kappa)


@given(pairs_of_answers)
def test_a_table_and_a_list_of_two_auditors_have_one_ac1(pairs):
    table = [[pairs.count((one, two)) for two in range(3)] for one in range(3)]
    of_table, of_list = gwet_ac1_of_table(table), gwet_ac1(pairs, range(3))
    assert of_table.value == pytest.approx(of_list.value, **NEAR)
    factor = math.sqrt((len(pairs) - 1) / len(pairs))
    assert of_table.standard_error == pytest.approx(of_list.standard_error * factor, **NEAR)


@given(pairs_of_answers)
def test_alpha_is_fleiss_kappa_but_for_the_number_of_ratings(pairs):
    # With nothing missing: 1 - alpha = (1 - kappa) (1 - 1 / N) for N ratings.
    kappa, alpha = fleiss_of_ratings(pairs).value, krippendorff_alpha(pairs).value
    if kappa is None:
        assert alpha is None
    else:
        share = 1 - 1 / (2 * len(pairs))
        assert 1 - alpha == pytest.approx((1 - kappa) * share, **NEAR)


@given(sheets)
def test_alpha_agrees_with_counting_pair_by_pair(ratings):
    # Krippendorff's definition, the slow obvious way: observed over expected disagreement.
    units = [[each for each in row if each is not None] for row in ratings]
    units = [unit for unit in units if len(unit) > 1]
    values = [each for unit in units for each in unit]
    assume(len(set(values)) > 1)
    distances = {
        "nominal": lambda one, two: float(one != two),
        "interval": lambda one, two: (one - two) ** 2,
        "ratio": lambda one, two: ((one - two) / (one + two)) ** 2 if one + two else 0.0,
        "ordinal": lambda one, two: (
            (
                sum(values.count(each) for each in range(min(one, two), max(one, two) + 1))
                - (values.count(one) + values.count(two)) / 2
            )
            ** 2
        ),
    }
    for level, distance in distances.items():
        observed = sum(
            sum(distance(*pair) for pair in itertools.permutations(unit, 2)) / (len(unit) - 1)
            for unit in units
        ) / len(values)
        expected = sum(distance(*pair) for pair in itertools.permutations(values, 2)) / (
            len(values) * (len(values) - 1)
        )
        assert krippendorff_alpha(ratings, level).value == pytest.approx(
            1 - observed / expected, **NEAR
        )


@given(sheets, st.sampled_from(sorted(COEFFICIENTS)), st.data())
def test_neither_the_order_of_trees_nor_of_people_matters(ratings, name, data):
    coefficient = COEFFICIENTS[name]
    trees = data.draw(st.permutations(ratings))
    people = data.draw(st.permutations(range(len(ratings[0]) if ratings else 0)))
    other = coefficient([[row[person] for person in people] for row in trees])
    found = coefficient(ratings)
    assert same(found.value, other.value)
    assert same(found.standard_error, other.standard_error)


@given(sheets, st.sampled_from(["ac1", "fleiss", "conger", "alike", "nominal"]), st.data())
def test_names_of_answers_do_not_matter_where_only_equal_ones_agree(ratings, name, data):
    names = [None, *data.draw(st.permutations(["low", "high", "right", "torn"]))]
    renamed = [[names[0 if each is None else each + 1] for each in row] for row in ratings]
    assert same(COEFFICIENTS[name](ratings).value, COEFFICIENTS[name](renamed).value)


@given(sheets)
def test_coefficients_of_many_are_at_most_1_and_never_undefined_numbers(ratings):
    share = agreeing_pairs(ratings)
    for coefficient in COEFFICIENTS.values():
        found = coefficient(ratings)
        assert all(map(math.isfinite, numbers_in(found)))
        if found.value is not None:
            assert found.value <= 1 + 1e-12
            if share == 1:
                assert found.value == pytest.approx(1)


@given(st.lists(st.tuples(lengths, lengths), max_size=12), st.integers(-500, 500))
def test_who_comes_first_turns_the_sign_of_a_bias_and_a_shift_moves_it(pairs, shift):
    first, second = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    found, other = bland_altman(first, second), bland_altman(second, first)
    assert all(map(math.isfinite, numbers_in([found, repeatability(first, second)])))
    assert same(found.bias, None if other.bias is None else -other.bias)
    assert same(found.upper, None if other.lower is None else -other.lower)
    moved = bland_altman([None if each is None else each + shift for each in first], second)
    assert same(moved.bias, None if found.bias is None else found.bias + shift)
    if found.standard_deviation is not None:
        assert moved.standard_deviation == pytest.approx(
            found.standard_deviation, rel=1e-6, abs=1e-6
        )
        assert found.lower <= found.bias <= found.upper


@given(measures, st.data())
def test_intraclass_correlation_knows_no_order_and_no_undefined_number(rows, data):
    found = intraclass_correlation(rows)
    assert all(map(math.isfinite, numbers_in(found)))
    people = data.draw(st.permutations(range(len(rows[0]) if rows else 0)))
    other = intraclass_correlation([[row[person] for person in people] for row in rows])
    for name in ("icc_1_1", "icc_2_1", "icc_3_1"):
        one, two = getattr(found, name), getattr(other, name)
        assert same(one.value, two.value)
        if one.value is not None:
            assert one.value <= 1 + 1e-12
        if one.interval is not None:
            assert one.interval.lower - 1e-9 <= one.value <= one.interval.upper + 1e-9


@given(measures)
def test_the_mean_of_all_is_stepped_up_by_spearman_and_brown(rows):
    found = intraclass_correlation(rows)
    for single, mean in (
        (found.icc_1_1, found.icc_1_k),
        (found.icc_2_1, found.icc_2_k),
        (found.icc_3_1, found.icc_3_k),
    ):
        if single.value is None or mean.value is None or single.value < 0:
            continue
        stepped = found.people * single.value / (1 + (found.people - 1) * single.value)
        assert mean.value == pytest.approx(stepped, **NEAR)


@given(studies)
def test_the_parts_of_a_gauge_study_add_up(readings):
    found = gauge_rr(readings)
    assert all(map(math.isfinite, numbers_in([found, gauge_rr_range(readings)])))
    assert (found.anova is None) == (found.reason is not None)
    if found.anova is None:
        return
    rows = found.anova
    parts = (rows.trees, rows.people, rows.interaction, rows.repeatability)
    assert sum(row.degrees_of_freedom for row in parts) == rows.total.degrees_of_freedom
    assert sum(row.squares for row in parts) == pytest.approx(rows.total.squares, rel=1e-6)
    for model in (found.with_interaction, found.without_interaction):
        if model is None:
            continue
        variances = model.variances
        assert variances.gauge == variances.repeatability + variances.reproducibility
        assert variances.total == variances.gauge + variances.trees
        assert min(vars(variances).values()) >= 0
        if model.contributions is not None:
            assert model.contributions.gauge + model.contributions.trees == pytest.approx(1)


@given(counts, counts, counts, counts)
def test_what_is_not_found_is_missed(found, missed, alarms, passed):
    result = against_reference(found, missed, alarms, passed)
    assert all(map(math.isfinite, numbers_in(result)))
    if result.miss_rate is not None:
        assert result.miss_rate + result.sensitivity.share == pytest.approx(1)
    if result.false_alarm_rate is not None:
        assert result.false_alarm_rate + result.specificity.share == pytest.approx(1)
