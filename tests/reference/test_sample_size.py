"""
Sample sizes against published figures and independent programs.

`data/sample-size.json` says of each case where it comes from; its figures agree with two algebraic
forms and with R.
"""

import itertools
import json
import math
from pathlib import Path

import pytest
import scipy.stats
from statsmodels.stats.proportion import samplesize_confint_proportion

from audits.estimates import (
    sample_size_for_margin,
    sample_size_to_detect,
    sample_size_to_detect_in_lot,
)

DATA = json.loads((Path(__file__).parent / "data" / "sample-size.json").read_text())


def cases(kind):
    return [pytest.param(case, id=case["id"]) for case in DATA["cases"] if case["kind"] == kind]


def for_margin(given, **reach):
    return sample_size_for_margin(given["p"], given["margin"], lot_size=given["lot"], **reach)


@pytest.mark.parametrize("case", cases("margin"))
def test_sizes_for_a_margin_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    reach = {"standard_errors": given["z"]} if "z" in given else {"confidence": given["confidence"]}
    found = for_margin(given, **reach)
    assert found.endless == pytest.approx(expected["n0"], rel=1e-12)
    assert found.exact == pytest.approx(expected.get("n_fpc", expected["n0"]), rel=1e-12)
    assert found.shorter == pytest.approx(expected.get("n_fpc_simple", expected["n0"]), rel=1e-12)
    assert found.trees == expected.get("n", expected["n_infinite"])
    endless = for_margin(given | {"lot": None}, **reach)
    assert endless.trees == expected["n_infinite"]
    if "n_simple" in expected:
        assert math.ceil(found.shorter) == expected["n_simple"]
    published = case.get("published", {})
    if "n" in published:
        assert found.trees == published["n"]
    if "n0" in published:
        assert found.endless == pytest.approx(published["n0"], abs=0.5)


@pytest.mark.parametrize("case", cases("margin-table"))
def test_sizes_for_a_margin_agree_with_a_printed_table(case):
    given, expected = case["input"], case["expected"]
    sizes = [
        for_margin(given | {"lot": lot}, standard_errors=math.sqrt(given["chi2"])).exact
        for lot in given["lots"]
    ]
    assert sizes == pytest.approx(expected["n_exact"], rel=1e-12)
    # This table rounds to the nearest whole number.
    rounded = [round(size) for size in sizes]
    assert rounded == expected["n"] == case["published"]["n"]


@pytest.mark.parametrize("case", cases("detection"))
def test_sizes_to_detect_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    if given["lot"] is None:
        found = sample_size_to_detect(given["fraction"], given["confidence"])
    else:
        found = sample_size_to_detect_in_lot(
            given["nonconforming"], given["lot"], given["confidence"]
        )
    assert found.trees == expected["n"]
    assert found.miss_probability == pytest.approx(expected["miss_probability"], rel=1e-12)
    if "published" in case:
        assert found.trees == case["published"]["n"]


def test_every_kind_of_case_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == {"margin", "margin-table", "detection"}


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
@pytest.mark.parametrize(("fraction", "margin"), [(0.05, 0.02), (0.2, 0.05), (0.5, 0.1)])
def test_sizes_for_an_endless_row_agree_with_statsmodels(fraction, margin, confidence):
    expected = samplesize_confint_proportion(fraction, margin, 1 - confidence, method="normal")
    found = sample_size_for_margin(fraction, margin, confidence=confidence)
    assert found.endless == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
def test_sizes_to_detect_in_a_lot_are_the_least_by_the_hypergeometric_law(confidence):
    # Every size is tried with scipy.stats.hypergeom, where the code searches.
    for lot_size, part in itertools.product([1, 2, 13, 60, 300], [0.01, 0.1, 0.5, 1]):
        nonconforming = math.ceil(part * lot_size)
        misses = [
            scipy.stats.hypergeom.pmf(0, lot_size, nonconforming, size)
            for size in range(1, lot_size + 1)
        ]
        least = next(
            size for size, miss in enumerate(misses, 1) if miss <= (1 - confidence) * (1 + 1e-12)
        )
        found = sample_size_to_detect_in_lot(nonconforming, lot_size, confidence)
        assert found.trees == least
        assert found.miss_probability == pytest.approx(misses[least - 1], rel=1e-10)


@pytest.mark.parametrize(
    ("fraction", "confidence", "trees"),
    # 0.1, 0.1 ** 2, 0.9 ** 2 and 0.5 ** 10 are met exactly; one digit more asks for one tree more.
    [
        (0.9, 0.9, 1),
        (0.9, 0.99, 2),
        (0.9, 0.9900001, 3),
        (0.1, 0.19, 2),
        (0.1, 0.1900001, 3),
        (0.5, 0.9990234375, 10),
        (0.5, 0.99902343751, 11),
    ],
)
def test_a_probability_that_is_met_exactly_is_enough(fraction, confidence, trees):
    assert sample_size_to_detect(fraction, confidence).trees == trees


def test_a_probability_that_is_met_exactly_in_a_lot_is_enough():
    # 2 of 4 nonconforming: one tree drawn misses in 1/2, two in 1/6.
    assert sample_size_to_detect_in_lot(2, 4, 0.5).trees == 1
    assert sample_size_to_detect_in_lot(2, 4, 0.51).trees == 2
    # 1 of 10, nine drawn: missed in exactly 1 of 10, and 1 - 0.9 is below that in binary.
    assert sample_size_to_detect_in_lot(1, 10, 0.9).trees == 9


def test_a_large_lot_takes_as_many_trees_as_an_endless_row():
    assert sample_size_to_detect_in_lot(100_000, 2_000_000, 0.95).trees == 59
    assert sample_size_for_margin(0.5, 0.05, lot_size=10**9).trees == 385


def test_rounding_up_a_whole_number_leaves_it_as_it_is():
    # 2 ** 2 x 0.25 / 0.05 ** 2 is 400 and a little more in binary.
    assert sample_size_for_margin(0.5, 0.05, standard_errors=2).trees == 400
