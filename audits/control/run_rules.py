"""
Rules for patterns that single points beyond three sigma do not show.

All of them work on standardised values: distances from the centre line in standard deviations.
Inequalities are strict, a tie ends a trend, and a point on the centre line ends a run on one side.
A rule signals at the point that completes its pattern.

Each rule adds false alarms. All four Western Electric rules together signal by chance once in 92
points instead of once in 370 (Champ and Woodall, Technometrics 29 (1987), 393-399), so the charts
of persons do not use them.
"""

from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from audits.control.shewhart import finite


class RunRule(StrEnum):
    """A pattern that is rare as long as nothing changes."""

    BEYOND_3S = "beyond_3s"
    TWO_OF_THREE_BEYOND_2S = "2of3_beyond_2s"
    FOUR_OF_FIVE_BEYOND_1S = "4of5_beyond_1s"
    EIGHT_SAME_SIDE = "8_same_side"
    NINE_SAME_SIDE = "9_same_side"
    SIX_TREND = "6_trend"
    FOURTEEN_ALTERNATING = "14_alternating"
    FIFTEEN_WITHIN_1S = "15_within_1s"
    EIGHT_BEYOND_1S_BOTH_SIDES = "8_beyond_1s_both_sides"


WESTERN_ELECTRIC_RULES: Final = (
    RunRule.BEYOND_3S,
    RunRule.TWO_OF_THREE_BEYOND_2S,
    RunRule.FOUR_OF_FIVE_BEYOND_1S,
    RunRule.EIGHT_SAME_SIDE,
)
NELSON_RULES: Final = (
    RunRule.BEYOND_3S,
    RunRule.NINE_SAME_SIDE,
    RunRule.SIX_TREND,
    RunRule.FOURTEEN_ALTERNATING,
    RunRule.TWO_OF_THREE_BEYOND_2S,
    RunRule.FOUR_OF_FIVE_BEYOND_1S,
    RunRule.FIFTEEN_WITHIN_1S,
    RunRule.EIGHT_BEYOND_1S_BOTH_SIDES,
)


class RuleSignal(NamedTuple):
    """
    A pattern that was found.

    Parameters
    ----------
    rule : RunRule
        Which.
    point : int
        Number, from 1, of the point that completes it.
    since : int
        Number of the first point of the pattern.
    """

    rule: RunRule
    point: int
    since: int


def western_electric(z: Sequence[float]) -> tuple[RuleSignal, ...]:
    """
    Return all signals of the four Western Electric rules.

    Parameters
    ----------
    z : Sequence of float
        Standardised values in order of time.

    Returns
    -------
    tuple of RuleSignal
        In order of the points that complete the patterns.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    References
    ----------
    .. [1] Western Electric Company, Statistical Quality Control Handbook, 1956.

    Examples
    --------
    >>> western_electric([0.3, -0.4, 2.3, 0.4, 2.6])
    (RuleSignal(rule=<RunRule.TWO_OF_THREE_BEYOND_2S: '2of3_beyond_2s'>, point=5, since=3),)
    """
    return signals_of_rules(z, WESTERN_ELECTRIC_RULES)


def nelson(z: Sequence[float]) -> tuple[RuleSignal, ...]:
    """
    Return all signals of Nelson's eight rules.

    Parameters
    ----------
    z : Sequence of float
        Standardised values in order of time.

    Returns
    -------
    tuple of RuleSignal
        In order of the points that complete the patterns.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    References
    ----------
    .. [1] L. S. Nelson, The Shewhart control chart: tests for special causes, Journal of Quality
       Technology 16 (1984), 237-239.

    Examples
    --------
    >>> nelson([-1.4, -0.9, -0.3, 0.2, 0.6, 0.9])
    (RuleSignal(rule=<RunRule.SIX_TREND: '6_trend'>, point=6, since=1),)
    """
    return signals_of_rules(z, NELSON_RULES)


def signals_of_rules(z: Sequence[float], rules: Iterable[RunRule]) -> tuple[RuleSignal, ...]:
    """
    Return all signals of some rules.

    Parameters
    ----------
    z : Sequence of float
        Standardised values in order of time.
    rules : Iterable of RunRule
        Which rules to look for.

    Returns
    -------
    tuple of RuleSignal
        In order of the points that complete the patterns, then of the rules.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    Examples
    --------
    >>> signals_of_rules([0.1, 3.2], [RunRule.BEYOND_3S])[0].point
    2
    """
    values = finite("z", z)
    signals = [
        RuleSignal(rule, number, since)
        for rule in rules
        for number, since in enumerate(_SINCE[rule](values), start=1)
        if since
    ]
    return tuple(sorted(signals, key=lambda signal: signal.point))


def first_signals(
    z: Sequence[float], rules: Iterable[RunRule] = tuple(RunRule)
) -> dict[RunRule, int | None]:
    """
    Return where each rule signals first.

    Parameters
    ----------
    z : Sequence of float
        Standardised values in order of time.
    rules : Iterable of RunRule, optional
        Which rules to look for; by default all.

    Returns
    -------
    dict of RunRule to int or None
        Number, from 1, of the point that completes its pattern for the first time.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    Examples
    --------
    >>> first_signals([0.1, 3.2])[RunRule.BEYOND_3S]
    2
    """
    wanted = tuple(rules)
    found = signals_of_rules(z, wanted)
    return {
        rule: next((signal.point for signal in found if signal.rule is rule), None)
        for rule in wanted
    }


# Each of these returns, for every point, the number of the first point of the pattern that it
# completes, or 0.
_Since = Callable[[Sequence[float]], list[int]]


def _some_of_window(needed: int, window: int, distance: float) -> _Since:
    def since(z: Sequence[float]) -> list[int]:
        found = [0] * len(z)
        for side in (1, -1):
            beyond = [side * value > distance for value in z]
            for place, is_beyond in enumerate(beyond):
                first = max(0, place - window + 1)
                # A point that lies within completes nothing.
                if is_beyond and sum(beyond[first : place + 1]) >= needed:
                    found[place] = beyond.index(True, first) + 1
        return found

    return since


def _unbroken(needed: int, side_of: Callable[[float], int]) -> _Since:
    """Look for points in a row of which each has the same side, and one that is not 0."""

    def since(z: Sequence[float]) -> list[int]:
        found, run, last = [], 0, 0
        for place, value in enumerate(z):
            side = side_of(value)
            run = 0 if side == 0 else run + 1 if side == last else 1
            last = side
            found.append(place - needed + 2 if run >= needed else 0)
        return found

    return since


def _of_differences(needed: int, run_of: Callable[[float, float, int], int]) -> _Since:
    """Look for points in a row whose differences fit, counted from difference to difference."""

    def since(z: Sequence[float]) -> list[int]:
        found, run, before = [0] * len(z), 0, 0.0
        for place, (left, right) in enumerate(pairwise(z), start=1):
            difference = right - left
            run = run_of(before, difference, run)
            before = difference
            if run + 1 >= needed:
                found[place] = place - needed + 2
        return found

    return since


def _trend(before: float, difference: float, run: int) -> int:
    if difference == 0:
        return 0
    return run + 1 if before * difference > 0 else 1


def _alternating(before: float, difference: float, run: int) -> int:
    if difference == 0:
        return 0
    return run + 1 if before * difference < 0 else 1


def _both_sides(z: Sequence[float]) -> list[int]:
    found = [0] * len(z)
    for place in range(_EIGHT - 1, len(z)):
        window = z[place - _EIGHT + 1 : place + 1]
        if all(abs(value) > 1 for value in window) and min(window) < 0 < max(window):
            found[place] = place - _EIGHT + 2
    return found


_EIGHT: Final = 8
_SINCE: Final[dict[RunRule, _Since]] = {
    RunRule.BEYOND_3S: _some_of_window(1, 1, 3.0),
    RunRule.TWO_OF_THREE_BEYOND_2S: _some_of_window(2, 3, 2.0),
    RunRule.FOUR_OF_FIVE_BEYOND_1S: _some_of_window(4, 5, 1.0),
    RunRule.EIGHT_SAME_SIDE: _unbroken(8, lambda value: (value > 0) - (value < 0)),
    RunRule.NINE_SAME_SIDE: _unbroken(9, lambda value: (value > 0) - (value < 0)),
    RunRule.SIX_TREND: _of_differences(6, _trend),
    RunRule.FOURTEEN_ALTERNATING: _of_differences(14, _alternating),
    RunRule.FIFTEEN_WITHIN_1S: _unbroken(15, lambda value: int(abs(value) < 1)),
    RunRule.EIGHT_BEYOND_1S_BOTH_SIDES: _both_sides,
}
