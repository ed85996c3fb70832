"""
Item analysis against stored cases.

`data/items.json` says of each case where it comes from: published worksheets and notes (Wuensch's
KR-20 note and others), R's psych and pingouin, Kelley's groups, and formulas from memory.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from audits.learning.discrimination import difficulty, item_rest, item_total, upper_lower
from audits.learning.reliability import (
    alpha_without,
    halves,
    kr21,
    length_for,
    reliability,
    score_error,
    spearman_brown,
)

DATA = json.loads((Path(__file__).parent / "data" / "items.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]


def whole(given):
    rows = given["responses_person_by_item"]
    found, split = reliability(rows), halves(rows)
    shares = difficulty(rows)
    return {
        "n": found.people,
        "k": found.items,
        "mean_total": found.mean,
        "var_total_n_minus_1": found.variance,
        "sd_total": found.variance**0.5,
        "alpha": found.alpha,
        "sem": found.standard_error,
        "item_total_r_uncorrected": item_total(rows),
        "item_rest_r_corrected": item_rest(rows),
        "alpha_if_deleted": alpha_without(rows),
        "alpha_ci95_feldt": found.interval,
        "difficulty_p": shares,
        "sum_pq": sum(share * (1 - share) for share in shares),
        "kr20_population_variance": found.alpha,
        "kr20_sample_variance": found.kr20_sample_variance,
        "kr21_population_variance": found.kr21,
        "kr21_sample_variance": found.kr21_sample_variance,
        "var_total_population": found.variance * (found.people - 1) / found.people,
        "odd_even_r": split.correlation,
        "odd_even_spearman_brown": split.spearman_brown,
        "guttman_split_half": split.guttman,
    }


def groups(given):
    rows = given["responses_person_by_item"]
    found = upper_lower(rows, given.get("fraction", given["group_size"] / len(rows)))
    totals = sorted((sum(row) for row in rows), reverse=True)
    size = found.group_size
    return {
        "group_size": size,
        "p_upper": found.upper,
        "p_lower": found.lower,
        "D": found.discrimination,
        "difficulty_of_groups": found.difficulty,
        "ties_at_cut": totals[size - 1] == totals[size] or totals[-size] == totals[-size - 1],
    }


def measurement(given):
    found = score_error(given["sd"], given["reliability"], given["score"])
    return {"sem": found.error, "ci95": found.interval, "se_difference": found.of_a_difference}


METHODS = {
    "reliability": whole,
    "upper_lower": groups,
    "spearman_brown": lambda given: {"r_new": spearman_brown(given["r"], given["factor"])},
    "spearman_brown_length": lambda given: {"factor": length_for(given["r"], given["target"])},
    "sem": measurement,
    "kr21": lambda given: {"kr21": kr21(given["k"], given["mean"], given["variance"])},
}


def as_numbers(figures):
    # An item that all answered alike has no correlation: null in the data, None here.
    return np.array(figures, dtype=float)


def test_every_kind_of_the_data_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == METHODS.keys()


def compare(case, expected_of, tolerance):
    found = METHODS[case["kind"]](case["input"])
    for name, expected in expected_of.items():
        np.testing.assert_allclose(
            as_numbers(found[name]),
            as_numbers(expected),
            rtol=tolerance.get("rel", 0.0),
            atol=tolerance.get("abs", 1e-12),
            err_msg=name,
        )


@pytest.mark.parametrize("case", CASES)
def test_figures_agree_with_the_data(case):
    compare(case, case["expected"], case["tolerance"])


@pytest.mark.parametrize("case", [case for case in CASES if "printed" in case.values[0]])
def test_figures_agree_with_what_is_printed(case):
    compare(case, case["printed"], case["printed_tolerance"])


def test_an_item_speaks_for_itself_only_where_that_is_said():
    # The planted mistake: uncorrected correlations are higher, here by a third.
    rows = DATA["cases"][0]["input"]["responses_person_by_item"]
    both = zip(item_total(rows), item_rest(rows), strict=True)
    assert all(total > rest + 0.05 for total, rest in both)


@pytest.mark.parametrize(
    "rows",
    [[[1, 0]], [[1], [0]], [[1, 0], [1]], [[1, 0], [2, 1]]],
    ids=["one person", "one item", "ragged", "two points"],
)
def test_what_is_no_test_is_refused(rows):
    with pytest.raises(ValueError, match=r"responses|at least 2"):
        reliability(rows)


def test_of_two_items_neither_can_be_left_out():
    rows = [[1, 0], [1, 1], [0, 0], [0, 1], [1, 1]]
    assert alpha_without(rows) == [None, None]


def test_the_error_of_a_score_follows_the_formula_below_zero_too():
    # Two items that exclude each other: the totals spread less than the items themselves.
    found = reliability([[1, 0], [0, 1], [1, 0], [0, 1], [1, 1]])
    assert found.alpha < 0
    assert found.standard_error == pytest.approx((found.variance * (1 - found.alpha)) ** 0.5)
    assert found.standard_error > found.variance**0.5


def test_people_who_are_all_alike_have_no_reliability():
    found = reliability([[1, 0, 1]] * 4)
    assert (found.alpha, found.standard_error, found.kr21) == (None, None, None)
