"""
Wald's sequential test, against stored values.

`data/sprt-check-values.json` says of each case where it comes from. Lines and Wald's curves were
computed in 40 digits; the true curves by two programs, those of truncated plans in rationals.
"""

import json
from pathlib import Path

import pytest

from audits.sampling import acceptance_probability, average_sample_number
from audits.sampling.sprt import (
    SequentialTest,
    sequential_point,
    truncated_plan,
    wald_bound,
)

DATA = json.loads((Path(__file__).parent / "data" / "sprt-check-values.json").read_text())
SLACK = DATA["tolerance"]


def cases(kind):
    return [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] == kind]


def promises(case):
    given = case["input"]
    return given["p1"], given["alpha"], given["p2"], given["beta"]


each_test = pytest.mark.parametrize("case", cases("sprt"))
each_truncated = pytest.mark.parametrize("case", cases("sprt-truncated"))


@pytest.mark.parametrize("case", [*cases("sprt"), *cases("sprt-truncated")])
def test_the_lines_agree_with_the_data(case):
    test, expected = SequentialTest(*promises(case)), case["expected"]
    found = [test.acceptance_intercept, test.rejection_intercept, test.slope]
    assert found == pytest.approx(
        [expected[name] for name in ("h1", "h2", "s")], abs=SLACK["lines"]
    )
    if "log_ratio" in expected:
        assert test.log_ratio == pytest.approx(expected["log_ratio"], abs=SLACK["lines"])


@each_test
def test_the_numbers_tree_by_tree_agree_with_the_data(case):
    test, expected = SequentialTest(*promises(case)), case["expected"]
    numbers = test.numbers(len(expected["numbers_by_n"]))
    assert [list(entry) for entry in numbers] == expected["numbers_by_n"]
    for first, number in (
        (expected["first_n_to_accept"], test.acceptance_number),
        (expected["first_n_to_reject"], test.rejection_number),
    ):
        assert number(first) is not None
        assert all(number(tree) is None for tree in range(1, first))


@each_test
def test_walds_curves_agree_with_the_data(case):
    test = SequentialTest(*promises(case))
    for expected in case["expected"]["wald_oc_asn"]:
        point = test.wald_point(expected["h"])
        wanted = (expected["p"], expected["pa"], expected["asn"])
        assert point == pytest.approx(wanted, abs=SLACK["wald"], rel=1e-12)
        # By the fraction, which the data has to 15 digits.
        by_fraction = test.wald_point_at(expected["p"])
        assert by_fraction == pytest.approx(wanted, abs=SLACK["wald"], rel=1e-12)


@each_test
def test_walds_curves_end_as_in_the_data(case):
    test, ends = SequentialTest(*promises(case)), case["expected"]["wald_ends"]
    for fraction, exponent, name in ((0.0, float("inf"), "p0"), (1.0, float("-inf"), "p1")):
        point = test.wald_point(exponent)
        assert point == test.wald_point_at(fraction)
        assert point.fraction == fraction
        assert point.acceptance == ends[name]["pa"]
        assert point.trees == pytest.approx(ends[name]["asn_wald"], abs=SLACK["wald"])


@each_test
def test_the_bound_is_walds_average_at_the_two_promised_fractions(case):
    averages = {point["h"]: point["asn"] for point in case["expected"]["wald_oc_asn"]}
    found = wald_bound(*promises(case))
    assert found == pytest.approx((averages[1], averages[-1]), abs=SLACK["wald"])


@each_test
def test_true_curves_agree_with_the_data(case):
    test = SequentialTest(*promises(case))
    for expected in case["expected"]["exact_untruncated"]:
        point = sequential_point(test, expected["p"])
        assert point.acceptance == pytest.approx(expected["pa"], abs=SLACK["exact"])
        # The data has 12 digits.
        assert point.trees == pytest.approx(expected["asn"], abs=SLACK["exact"], rel=1e-11)


@each_truncated
def test_truncated_numbers_tree_by_tree_agree_with_the_data(case):
    given = case["input"]
    plan = truncated_plan(SequentialTest(*promises(case)), given["n_max"], given["ac_at_n_max"])
    found = zip(plan.sizes, plan.acceptance_numbers, plan.rejection_numbers, strict=True)
    assert [list(entry) for entry in found] == case["expected"]["numbers_by_n"]


@each_truncated
def test_truncated_curves_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]["exact"]
    plan = truncated_plan(SequentialTest(*promises(case)), given["n_max"], given["ac_at_n_max"])
    fractions = [point["p"] for point in expected]
    slack = SLACK["exact"]
    chances = acceptance_probability(plan, fractions)
    assert chances == pytest.approx([point["pa"] for point in expected], abs=slack)
    # Each tree is a wave. The data goes on to the end of one even where its outcome is certain.
    trees = average_sample_number(plan, fractions, curtailed=False)
    assert trees == pytest.approx([point["asn"] for point in expected], abs=slack)


def test_the_handbooks_example_agrees_with_its_page():
    # NIST/SEMATECH e-Handbook 6.2.6; its figures from memory, as the data says.
    (case,) = [case for case in DATA["cases"] if case["id"] == "sprt-nist"]
    published = case["published"]
    test = SequentialTest(*promises(case))
    assert published["accept_line"] == f"-{test.acceptance_intercept:.3f} + {test.slope:.4f} n"
    assert published["reject_line"] == f"{test.rejection_intercept:.3f} + {test.slope:.4f} n"
    assert test.acceptance_number(24) == published["n_24"]["accept"]
    assert test.rejection_number(24) == published["n_24"]["reject"]
    assert test.rejection_number(published["first_reject"] - 1) is None
    assert test.rejection_number(20) == 3  # with the rounded line it would be 2


def test_the_yardstick_of_a_row_without_end():
    # 5 against 25 per cent at risks of 5 and 10: by Wald's formula, worked out by hand,
    # (0.95 ln(0.10/0.95) + 0.05 ln(0.90/0.05)) / (0.05 ln 5 + 0.95 ln(0.75/0.95)) = 13.84.
    assert wald_bound(0.05, 0.05, 0.25, 0.10).at_acceptable == pytest.approx(13.84, abs=0.005)
