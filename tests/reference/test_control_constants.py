"""
Constants of control charts against tables.

`data/control-constants.json`: six places by the defining formulas (double quadrature in SciPy,
checked against R's ptukey), printed tables of ASTM MNL 7 and Montgomery, appendix VI.
"""

import json
import math
from pathlib import Path

import pytest
import scipy.integrate
import scipy.stats

from audits.control.constants import c4, control_constants, d2, d3

DATA = json.loads((Path(__file__).parent / "data" / "control-constants.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]


@pytest.mark.parametrize("case", CASES)
def test_constants_agree_with_the_data(case):
    found = control_constants(case["input"]["n"])._asdict()
    assert found == pytest.approx(case["expected"], rel=0, abs=case["tolerance"]["abs"])
    printed = case["printed"]
    assert found == pytest.approx(printed, rel=0, abs=case["printed_tolerance"]["abs"])


def test_every_kind_of_constant_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == {"control_chart_constants"}
    assert len(CASES) == 14


def test_sizes_with_a_closed_form_are_exact():
    # H. A. David, Order Statistics: the range of two and of three normal values.
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-14)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-13)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), rel=1e-14)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-14)
    assert c4(3) == pytest.approx(math.sqrt(math.pi) / 2, rel=1e-14)


@pytest.mark.parametrize("size", [4, 7, 50, 400])
def test_the_mean_range_is_that_of_the_studentized_range(size):
    # With infinitely many degrees of freedom the studentized range is the range (SciPy 1.14 and
    # later: the mean as the integral of the chance that it is above).
    law = scipy.stats.studentized_range
    grid = [step / 20 for step in range(240)]
    above = [float(law.sf(w, size, math.inf)) for w in grid]
    assert d2(size) == pytest.approx(scipy.integrate.simpson(above, x=grid), abs=2e-5)
