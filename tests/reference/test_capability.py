"""
Capability indices against stored ones.

`data/capability.json`: Scrucca, R News 4/1 (2004); Montgomery, Introduction to Statistical Quality
Control; Cano, Moguerza and Redchuk, Six Sigma with R (2012); formulas computed with SciPy 1.12.
The interval of Cpm is Boyles's, one of the two forms that the data gives.
"""

import json
from pathlib import Path

import pytest

from audits.control.capability import capability, capability_of, cpk_interval

DATA = json.loads((Path(__file__).parent / "data" / "capability.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]


def found_capability(given):
    found = capability(
        given["mean"],
        given["sigma"],
        given["n"],
        lower=given["lsl"],
        upper=given["usl"],
        target=given.get("target"),
        confidence=given["confidence"],
    )
    return {
        "cp": found.cp,
        "cpl": found.cpl,
        "cpu": found.cpu,
        "cpk": found.cpk,
        "cpm": found.cpm,
        "ci_cp": found.cp_interval,
        "ci_cpk": found.cpk_interval,
        "ci_cpm_boyles": found.cpm_interval,
        "expected_share_below": found.share_below,
        "expected_share_above": found.share_above,
        "lower_bound_95_one_sided": found.cpk_least,
    }


INDICES = {
    "capability": found_capability,
    "capability_one_sided": found_capability,
    "cpk_interval": lambda given: {
        "ci_cpk": cpk_interval(given["cpk"], given["n"], given["confidence"])
    },
}
# The form without the square, which one R package uses; Boyles's own is beside it.
LEFT_OUT = {"ci_cpm_unsquared_df"}


def require_near(found, expected, tolerance):
    for name, value in expected.items():
        if name not in LEFT_OUT:
            assert found[name] == pytest.approx(
                value, rel=tolerance.get("rel", 0), abs=tolerance.get("abs", 0)
            ), name


@pytest.mark.parametrize("case", CASES)
def test_indices_agree_with_the_data(case):
    found = INDICES[case["kind"]](case["input"])
    require_near(found, case["expected"], case["tolerance"])
    if "printed" in case:
        require_near(found, case["printed"], case["printed_tolerance"])


def test_indices_of_values_are_those_of_their_mean_and_deviation():
    (case,) = (case for case in DATA["cases"] if "x" in case["input"])
    given, expected = case["input"], case["expected"]
    found = capability_of(given["x"], lower=given["lsl"], upper=given["usl"])
    assert found.cpk == pytest.approx(expected["cpk"], rel=case["tolerance"]["rel"])
    assert found.mean == pytest.approx(given["mean"], rel=1e-12)
    assert found.size == given["n"]


def test_every_kind_of_index_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == INDICES.keys()
    assert len(CASES) == 7


def test_a_deviation_a_thousandth_off_would_show():
    (case,) = (case for case in DATA["cases"] if case["id"] == "capability-piston-rings")
    given = case["input"] | {"sigma": case["input"]["sigma"] * 1.001}
    with pytest.raises(AssertionError):
        require_near(found_capability(given), case["expected"], case["tolerance"])
