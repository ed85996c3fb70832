"""
Days to standard against the remission times of Freireich et al. (Blood 21 (1963), 699-716).

The times and the estimates of the treated group are those of the textbooks, from memory (Cox and
Oakes, Analysis of Survival Data, 1984, table 1.1): S(6) = 0.857, S(7) = 0.807, S(10) = 0.753,
S(13) = 0.690, S(16) = 0.627, S(22) = 0.538, S(23) = 0.448; log-rank chi square 16.79. statsmodels
computes the same, and the intervals.
"""

from fractions import Fraction

import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from audits.learning.days_to_standard import Wait, compare_waits, time_to_standard

TREATED = [
    Wait(days, arrived)
    for arrived, times in (
        (True, (6, 6, 6, 7, 10, 13, 16, 22, 23)),
        (False, (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)),
    )
    for days in times
]
UNTREATED = [
    Wait(days, arrived=True)
    for days in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
]


def test_shares_are_those_of_the_textbook():
    found = {step.days: round(step.share, 3) for step in time_to_standard(TREATED).steps}
    assert found == {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def test_those_still_on_the_way_are_not_counted_as_arrived():
    # The planted mistake: without the twelve the median would be 10 days and not 23.
    only_arrived = time_to_standard([wait for wait in TREATED if wait.arrived])
    assert (time_to_standard(TREATED).median, only_arrived.median) == (23, 10)


@pytest.mark.parametrize("waits", [TREATED, UNTREATED], ids=["treated", "untreated"])
def test_medians_and_intervals_are_those_of_statsmodels(waits):
    curve = SurvfuncRight([wait.days for wait in waits], [wait.arrived for wait in waits])
    found = time_to_standard(waits)
    assert found.median == curve.quantile(0.5)
    with np.errstate(divide="ignore", invalid="ignore"):
        below, above = curve.quantile_ci(0.5, alpha=0.05, method="cloglog")
    assert found.median_interval[0] == below
    assert found.median_interval[1] == (above if np.isfinite(above) else None)


def exact_median(waits):
    """Return the first day with a share of at most 1/2, by the definition and in fractions."""
    left = Fraction(1)
    for days in sorted({wait.days for wait in waits if wait.arrived}):
        waiting = [wait for wait in waits if wait.days >= days]
        stay = [wait for wait in waiting if not (wait.arrived and wait.days == days)]
        left *= Fraction(len(stay), len(waiting))
        if left <= Fraction(1, 2):
            return days
    return None


def test_half_of_24_learners_are_there_with_the_twelfth():
    # Multiplied in floats, 23/24 times 22/23 and so on is a little more than 1/2 after twelve.
    assert time_to_standard([Wait(day, arrived=True) for day in range(1, 25)]).median == 12


def test_a_median_that_floats_miss_among_learners_still_on_the_way():
    arrived = [Wait(days, arrived=True) for days in (3, 4, 4, 5, 6, 7, 10)]
    on_the_way = [Wait(days, arrived=False) for days in (7, 10, 11)]
    assert time_to_standard(arrived + on_the_way).median == 6


def test_medians_are_those_of_fractions_in_many_groups():
    chances = np.random.default_rng(4)
    ties = 0
    for _ in range(2000):
        people = int(chances.integers(1, 26))
        waits = [
            Wait(int(days), bool(arrived))
            for days, arrived in zip(
                chances.integers(1, 15, people), chances.random(people) < 0.8, strict=True
            )
        ]
        found = time_to_standard(waits)
        assert found.median == exact_median(waits)
        ties += any(step.share == 1 / 2 for step in found.steps)
    # Only where the share is 1/2 itself can rounding decide.
    assert ties > 100


def test_the_last_arrival_is_no_upper_bound_of_the_median():
    found = time_to_standard([Wait(days, arrived=True) for days in (2, 3, 5, 8)])
    assert (found.steps[-1].share, found.steps[-1].interval) == (0, (0, 1))
    assert found.median_interval[1] is None


def test_intervals_of_few_learners_hold_the_median_as_often_as_they_say():
    # Six learners, a median of 12 days, asked about after up to 15 days. The planted mistake: with
    # the last arrival as a bound about 75 of 100 intervals held it.
    chances = np.random.default_rng(6)
    held = []
    while len(held) < 1500:
        days = chances.exponential(12 / np.log(2), 6)
        asked = chances.uniform(0, 15, 6)
        found = time_to_standard(
            [
                Wait(float(min(pair)), arrived=bool(pair[0] <= pair[1]))
                for pair in zip(days, asked, strict=True)
            ]
        )
        if found.median is None:
            continue
        lower, upper = found.median_interval
        held.append((lower is None or lower <= 12) and (upper is None or upper >= 12))
    assert np.mean(held) >= 0.9


def test_two_groups_differ_as_the_log_rank_test_says():
    times, arrived, group = zip(
        *((wait.days, wait.arrived, 0) for wait in TREATED),
        *((wait.days, wait.arrived, 1) for wait in UNTREATED),
        strict=True,
    )
    chi_square, p_value = survdiff(np.array(times), np.array(arrived), np.array(group))
    found = compare_waits(TREATED, UNTREATED)
    assert found.chi_square == pytest.approx(chi_square, rel=1e-9)
    assert found.p_value == pytest.approx(p_value, rel=1e-6)
    assert round(found.chi_square, 2) == 16.79
    assert (found.seen, round(found.expected, 2)) == (9, 19.25)
