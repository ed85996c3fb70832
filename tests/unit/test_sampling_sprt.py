"""Sequential tests: lines met exactly, the middle and the ends of the curves, what is refused."""

import itertools
import math

import pytest

from audits.errors import AuditError, InvalidInput
from audits.sampling.sprt import (
    SequentialNumbers,
    SequentialTest,
    sequential_point,
    truncated_plan,
    wald_bound,
)

# Fractions that mirror each other: h1 = h2 = ln 9 / ln 81 = 1/2 and s = 1/2, so that the lines
# run through whole numbers at every odd tree.
MIRRORED = SequentialTest(0.1, 0.1, 0.9, 0.1)


def test_a_count_on_a_line_decides():
    assert MIRRORED.numbers(4) == (
        SequentialNumbers(1, 0, 1),
        SequentialNumbers(2, 0, 2),
        SequentialNumbers(3, 1, 2),
        SequentialNumbers(4, 1, 3),
    )
    # However long the walk: 0.5 * 99999 + 0.5, with rounding on either side of it.
    assert MIRRORED.acceptance_number(99_999) == 49_999
    assert MIRRORED.rejection_number(99_999) == 50_000


def test_a_count_just_off_a_line_does_not_decide():
    # A little less risk moves both lines out by less than the eye can see.
    careful = SequentialTest(0.1, 0.1 - 1e-13, 0.9, 0.1 - 1e-13)
    assert careful.numbers(3) == (
        SequentialNumbers(1, None, None),
        SequentialNumbers(2, 0, 2),
        SequentialNumbers(3, 0, 3),
    )


def test_the_mirrored_test_is_decided_by_its_first_tree():
    assert sequential_point(MIRRORED, 0.3) == pytest.approx((0.3, 0.7, 1.0))


def test_rows_of_one_kind_of_tree_take_the_first_tree_that_decides():
    test = SequentialTest(0.05, 0.05, 0.25, 0.10)
    first = next(entry.trees for entry in test.numbers(50) if entry.acceptance_number is not None)
    assert sequential_point(test, 0.0) == pytest.approx((0.0, 1.0, first))
    first = next(entry.trees for entry in test.numbers(50) if entry.rejection_number is not None)
    assert sequential_point(test, 1.0) == pytest.approx((1.0, 0.0, first))


@pytest.mark.parametrize("exponent", [1e-9, -1e-9, 1e-300, -1e-300, 5e-324])
def test_the_curves_pass_smoothly_through_the_slope(exponent):
    test = SequentialTest(0.05, 0.05, 0.25, 0.10)
    assert test.wald_point(exponent) == pytest.approx(test.wald_point(0.0), rel=1e-8)


@pytest.mark.parametrize("exponent", [1e3, 1e6, 1e308, math.inf])
def test_the_curves_go_to_their_ends_without_overflow(exponent):
    test = SequentialTest(0.05, 0.05, 0.25, 0.10)
    low = test.wald_point(exponent)
    assert low == pytest.approx((0.0, 1.0, test.acceptance_intercept / test.slope))
    high = test.wald_point(-exponent)
    assert high == pytest.approx((1.0, 0.0, test.rejection_intercept / (1 - test.slope)))


def test_a_truncated_test_decides_at_its_last_tree():
    plan = truncated_plan(SequentialTest(0.05, 0.05, 0.25, 0.10), 12, 2)
    assert (plan.sizes[-1], plan.acceptance_numbers[-1], plan.rejection_numbers[-1]) == (12, 2, 3)
    # Before it by the lines, 0.1281 n + 1.566 and 0.1281 n - 1.220, but never above 2 and 3.
    assert plan.acceptance_numbers[:-1] == (*[None] * 9, 0, 0)
    assert plan.rejection_numbers[:-1] == (None, 2, 2, *[3] * 8)


def test_a_test_may_be_cut_down_to_one_tree():
    plan = truncated_plan(SequentialTest(0.05, 0.05, 0.25, 0.10), 1, 0)
    assert (plan.sizes, plan.acceptance_numbers, plan.rejection_numbers) == ((1,), (0,), (1,))


@pytest.mark.parametrize(
    ("promises", "field", "words"),
    [
        ((0.05, 0, 0.25, 0.1), "producer_risk", "0 does not"),
        ((0.05, 0.05, 0.25, 1), "consumer_risk", "1 does not"),
        ((0.05, math.nan, 0.25, 0.1), "producer_risk", "NaN"),
        ((0.05, 0.5, 0.25, 0.5), "consumer_risk", "together"),
        ((0, 0.05, 0.25, 0.1), "acceptable_fraction", "above 0"),
        ((-0.1, 0.05, 0.25, 0.1), "acceptable_fraction", "-0.1"),
        ((0.05, 0.05, 1, 0.1), "rejectable_fraction", "below 1"),
        ((0.05, 0.05, 1.5, 0.1), "rejectable_fraction", "1.5"),
        ((0.25, 0.05, 0.25, 0.1), "rejectable_fraction", "larger than the acceptable"),
    ],
)
@pytest.mark.parametrize("make", [SequentialTest, wald_bound])
def test_impossible_promises_are_refused(make, promises, field, words):
    with pytest.raises(InvalidInput) as refusal:
        make(*promises)
    assert list(refusal.value.problems) == [field]
    assert words in str(refusal.value.problems[field])


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: MIRRORED.acceptance_number(0), "trees"),
        (lambda: MIRRORED.rejection_number(2.5), "trees"),
        (lambda: MIRRORED.numbers(0), "trees"),
        (lambda: MIRRORED.wald_point(math.nan), "exponent"),
        (lambda: MIRRORED.wald_point_at(1.1), "fraction"),
        (lambda: sequential_point(MIRRORED, -0.1), "fraction"),
        (lambda: truncated_plan(MIRRORED, 0, 0), "sample_size"),
        (lambda: truncated_plan(MIRRORED, 10, -1), "acceptance_number"),
        (lambda: truncated_plan(MIRRORED, 10, 10), "acceptance_number"),
    ],
    ids=itertools.count(1),
)
def test_questions_outside_the_test_are_refused(ask, field):
    with pytest.raises(InvalidInput) as refusal:
        ask()
    assert list(refusal.value.problems) == [field]


def test_a_test_that_hardly_ends_is_refused():
    with pytest.raises(AuditError, match="100,000 trees may not end"):
        sequential_point(SequentialTest(0.05, 0.05, 0.0505, 0.10), 0.05)
