"""
Rank correlation against scipy, its interval against its formula and against chance itself.

The interval is that of Bonett and Wright (Psychometrika 65 (2000), 23-28), whose own simulations
found it close to 95 % up to coefficients of 0.8; so do ours.
"""

import math

import numpy as np
import pytest
import scipy.stats

from audits.learning.association import Bearing, bearings, rank_association


@pytest.mark.parametrize("seed", range(5))
def test_coefficients_are_those_of_scipy_with_ties(seed):
    chances = np.random.default_rng(seed)
    one = chances.integers(0, 8, 30).tolist()
    other = (np.array(one) + chances.integers(0, 8, 30)).tolist()
    expected = scipy.stats.spearmanr(one, other).statistic
    assert rank_association(one, other).coefficient == pytest.approx(expected, abs=1e-12)


def test_the_interval_is_that_of_the_formula():
    found = rank_association([1, 2, 3, 4, 5, 6], [2, 1, 4, 3, 6, 5])
    r = 29 / 35
    reach = 1.959963984540054 * math.sqrt((1 + r * r / 2) / 3)
    assert found.interval == pytest.approx(
        (math.tanh(math.atanh(r) - reach), math.tanh(math.atanh(r) + reach)), abs=1e-12
    )


@pytest.mark.parametrize("strength", [0.0, 0.5, 0.8])
def test_intervals_hold_the_coefficient_as_often_as_they_say(strength):
    chances = np.random.default_rng(5)
    # Spearman's coefficient of a bivariate normal law with correlation rho (Pearson 1907).
    true = 6 / math.pi * math.asin(strength / 2)
    inside = []
    for _ in range(600):
        one = chances.standard_normal(25)
        other = strength * one + math.sqrt(1 - strength**2) * chances.standard_normal(25)
        low, high = rank_association(one.tolist(), other.tolist()).interval
        inside.append(low <= true <= high)
    # 600 tries: three standard deviations are 2.7 points.
    assert 0.92 <= np.mean(inside) <= 0.98


def test_chance_alone_seldom_says_which_way_four_stages_go():
    chances = np.random.default_rng(7)
    false = 0
    for _ in range(400):
        stages = [
            rank_association(chances.random(15).tolist(), chances.random(15).tolist())
            for _ in range(4)
        ]
        false += any(bearing is not Bearing.UNKNOWN for bearing in bearings(stages))
    # 5 % of 400 is 20; three standard deviations are 13.
    assert false <= 33


def test_too_few_workers_say_nothing():
    nine = list(range(9))
    assert bearings([rank_association(nine, nine)]) == [Bearing.UNKNOWN]
    assert rank_association([1, 2, 3, 4], [1, 2, 3, 4]) is None
    assert rank_association([1, 1, 1, 1, 1], [1, 2, 3, 4, 5]) is None
