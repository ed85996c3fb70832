"""Levels against the mean of their kind: what two auditors tell of each other."""

import math

import pytest

from audits.comparison.contrasts import contrasts
from audits.comparison.regression import binomial_regression

AUDITORS = ["mild", "strict"] * 3
DAYS = [1, 1, 2, 2, 3, 3]
NONCONFORMING = [3, 9, 5, 11, 4, 12]
DUE = [60] * 6


def fixed():
    """A logistic regression on the auditor: effects of which nothing is known beforehand."""
    return binomial_regression(NONCONFORMING, DUE, {"strict": [0, 1, 0, 1, 0, 1]})


def weights():
    return [due * chance * (1 - chance) for due, chance in zip(DUE, fixed().fitted, strict=True)]


def test_with_nothing_known_beforehand_two_levels_stand_apart_as_in_a_regression():
    """Half of the coefficient of 0 and 1 on each side, with half its standard error."""
    coefficient = fixed().coefficients[1]
    half = coefficient.value / 2
    found = contrasts(
        {"auditor": AUDITORS},
        weights(),
        {"auditor": 1e9},
        {"auditor": {"mild": -half, "strict": half}},
    )["auditor"]
    assert found["strict"].effect == pytest.approx(half)
    assert found["strict"].sd == pytest.approx(coefficient.standard_error / 2, rel=1e-6)
    assert found["mild"].sd == pytest.approx(found["strict"].sd)


def test_a_common_shift_of_all_effects_changes_nothing():
    shifted = {"mild": 0.7, "strict": 1.9}
    found = contrasts({"auditor": AUDITORS}, weights(), {"auditor": 0.4}, {"auditor": shifted})
    assert found["auditor"]["strict"].effect == pytest.approx(0.6)


def test_two_levels_of_balanced_rows_by_hand():
    """
    Rows of weight w, m to a level: the contrast has information 2 m w + 2 / v on the half distance.

    Effects c and -c: m w c^2 + m w c^2 from the rows and 2 c^2 / v from the law of the effects.
    """
    found = contrasts(
        {"auditor": AUDITORS}, [2.0] * 6, {"auditor": 0.5}, {"auditor": {"mild": -1, "strict": 1}}
    )
    assert found["auditor"]["mild"].sd == pytest.approx(1 / math.sqrt(2 * 3 * 2.0 + 2 / 0.5))


def test_a_factor_that_explains_nothing_and_one_of_one_level_stand_nowhere():
    found = contrasts(
        {"auditor": AUDITORS, "day": DAYS, "farm": ["here"] * 6},
        [1.0] * 6,
        {"auditor": 0.5, "day": 0.0, "farm": 0.0},
        {"auditor": {"mild": -1, "strict": 1}, "day": {1: 0, 2: 0, 3: 0}, "farm": {"here": 0.0}},
    )
    assert {(each.effect, each.sd) for each in found["day"].values()} == {(0.0, 0.0)}
    assert (found["farm"]["here"].effect, found["farm"]["here"].sd) == (0.0, 0.0)


def test_a_level_without_an_effect_is_named():
    with pytest.raises(ValueError, match="auditor has no effect for 'strict'"):
        contrasts({"auditor": AUDITORS}, [1.0] * 6, {"auditor": 1.0}, {"auditor": {"mild": 0.0}})
