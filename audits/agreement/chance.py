"""
Coefficients of agreement beyond chance, from how many auditors gave each tree each answer.

All of them are ``(pa - pe) / (1 - pe)``: the share of agreeing pairs, less what chance would give.
They differ in what they take for chance. Their standard errors come from how much each tree moves
the coefficient, with the auditors as they are and the trees as a sample of many.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from audits.estimates import Interval
from audits.estimates.intervals import student_quantile

CONFIDENCE: Final = 0.95

_LEAST_TO_PAIR = 2
# Sums of shares that should cancel leave this much of rounding.
_ROUNDING = 1e-14


class CountedUnit(NamedTuple):
    """
    A tree, or several trees alike, with how many auditors gave each answer.

    Parameters
    ----------
    counts : tuple of int
        One count per answer.
    times : int
        How many trees have these counts, at least 1.
    """

    counts: tuple[int, ...]
    times: int = 1

    @property
    def ratings(self) -> int:
        """
        Count the ratings of one of these trees.

        Returns
        -------
        int
            The sum of the counts.
        """
        return sum(self.counts)


@dataclass(frozen=True)
class Coefficient:
    """
    Agreement beyond chance.

    Parameters
    ----------
    value : float or None
        The coefficient, at most 1; None where chance alone explains everything or nothing can be
        paired.
    observed : float or None
        Share of agreeing pairs, in [0, 1] (symbol pa); None without a pair.
    expected : float or None
        What of it chance would give (symbol pe); None without a rating.
    standard_error : float or None
        Standard error of the coefficient; None with fewer than two trees.
    interval : Interval or None
        95 % interval by Student's t, at most 1; None without a standard error.
    units : int
        Trees with at least one rating.
    paired_units : int
        Trees with at least two ratings.
    """

    value: float | None
    observed: float | None
    expected: float | None
    standard_error: float | None
    interval: Interval | None
    units: int
    paired_units: int


def agreeing_share(unit: CountedUnit, weights: Sequence[Sequence[float]]) -> float:
    """
    Return the share of a tree's pairs of ratings that agree.

    Parameters
    ----------
    unit : CountedUnit
        The tree, with at least two ratings.
    weights : Sequence of Sequence of float
        How much each two answers agree.

    Returns
    -------
    float
        Share in [0, 1], each pair counted both ways.

    Examples
    --------
    >>> agreeing_share(CountedUnit((2, 1)), [[1.0, 0.0], [0.0, 1.0]])
    0.3333333333333333
    """
    counts = unit.counts
    agreeing = sum(
        count * (dot(weights[place], counts) - 1) for place, count in enumerate(counts) if count
    )
    return agreeing / (unit.ratings * (unit.ratings - 1))


def mean_shares(units: Sequence[CountedUnit], categories: int) -> list[float]:
    """
    Return the share of each answer, every tree counting the same.

    Parameters
    ----------
    units : Sequence of CountedUnit
        Trees with at least one rating each.
    categories : int
        How many answers there are.

    Returns
    -------
    list of float
        One share per answer; zeros without a tree.

    Examples
    --------
    >>> mean_shares([CountedUnit((1, 1)), CountedUnit((2, 0), 3)], 2)
    [0.875, 0.125]
    """
    total = sum(unit.times for unit in units)
    return [
        math.fsum(unit.times * unit.counts[place] / unit.ratings for unit in units) / (total or 1)
        for place in range(categories)
    ]


def chance_of_shares(
    shares: Sequence[float], weights: Sequence[Sequence[float]]
) -> tuple[float, list[float]]:
    """
    Return the chance agreement of people who all give each answer equally often.

    Parameters
    ----------
    shares : Sequence of float
        Share of each answer.
    weights : Sequence of Sequence of float
        How much each two answers agree.

    Returns
    -------
    tuple of float and list of float
        Agreement of two of them by chance, and of each answer with theirs.

    Examples
    --------
    >>> chance_of_shares([0.5, 0.5], [[1.0, 0.0], [0.0, 1.0]])
    (0.5, [0.5, 0.5])
    """
    size = range(len(shares))
    near = [dot([(weights[k][m] + weights[m][k]) / 2 for m in size], shares) for k in size]
    return dot(shares, near), near


def dot(left: Sequence[float], right: Sequence[float]) -> float:
    """
    Return the sum of products of two sequences.

    Parameters
    ----------
    left, right : Sequence of float
        Sequences of one length.

    Returns
    -------
    float
        The sum, without loss by rounding in between.

    Examples
    --------
    >>> dot([1, 2], [3, 4])
    11.0
    """
    return math.fsum(one * two for one, two in zip(left, right, strict=True))


def beyond_chance(
    units: Sequence[CountedUnit],
    weights: Sequence[Sequence[float]],
    expected: float | None,
    expected_by_unit: Sequence[float],
) -> Coefficient:
    """
    Return agreement beyond a given chance agreement, with its standard error.

    Parameters
    ----------
    units : Sequence of CountedUnit
        Trees with at least one rating each.
    weights : Sequence of Sequence of float
        How much each two answers agree.
    expected : float or None
        Agreement by chance (symbol pe); None if it is not defined.
    expected_by_unit : Sequence of float
        What each tree adds to it: numbers whose mean over trees is `expected`, or, doubled about
        it, its first-order change.

    Returns
    -------
    Coefficient
        The coefficient, without a value if nothing can be paired or chance leaves no room.

    References
    ----------
    .. [1] K. L. Gwet, British Journal of Mathematical and Statistical Psychology 61:29-48, 2008.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014, chapters 2 and 5.

    Examples
    --------
    >>> both = [CountedUnit((2, 0), 3), CountedUnit((0, 2), 1)]
    >>> beyond_chance(both, [[1.0, 0.0], [0.0, 1.0]], 0.5, [0.5, 0.5]).value
    1.0
    """
    total = sum(unit.times for unit in units)
    paired = sum(unit.times for unit in units if unit.ratings >= _LEAST_TO_PAIR)
    if not paired:
        return Coefficient(None, None, expected, None, None, total, 0)
    shares = [
        agreeing_share(unit, weights) if unit.ratings >= _LEAST_TO_PAIR else None for unit in units
    ]
    observed = (
        math.fsum(
            unit.times * share
            for unit, share in zip(units, shares, strict=True)
            if share is not None
        )
        / paired
    )
    if expected is None or 1 - expected < _ROUNDING:
        return Coefficient(None, observed, expected, None, None, total, paired)
    room = 1 - expected
    value = (observed - expected) / room
    moved = [
        (0.0 if share is None else total / paired * (share - expected) / room)
        - 2 * (1 - value) * (by_unit - expected) / room
        for share, by_unit in zip(shares, expected_by_unit, strict=True)
    ]
    error = standard_error_of(value, moved, [unit.times for unit in units])
    interval = None if error is None else student_interval(value, error, total - 1)
    return Coefficient(value, observed, expected, error, interval, total, paired)


def gwet_of_units(units: Sequence[CountedUnit], weights: Sequence[Sequence[float]]) -> Coefficient:
    """
    Return Gwet's AC1 or AC2 from counted answers.

    Parameters
    ----------
    units : Sequence of CountedUnit
        Trees with at least one rating each.
    weights : Sequence of Sequence of float
        How much each two answers agree; only the same answer for AC1.

    Returns
    -------
    Coefficient
        The coefficient; without a value if there are fewer than two possible answers.

    References
    ----------
    .. [1] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014, chapters 2 to 5.

    Examples
    --------
    >>> trees = [CountedUnit((3, 0), 8), CountedUnit((2, 1), 2)]
    >>> round(gwet_of_units(trees, [[1.0, 0.0], [0.0, 1.0]]).value, 3)
    0.848
    """
    size = len(weights)
    # Chance needs two answers to choose from.
    if size < _LEAST_TO_PAIR or not units:
        return beyond_chance(units, weights, None, [])
    shares = mean_shares(units, size)
    scale = math.fsum(map(math.fsum, weights)) / (size * (size - 1))
    expected = scale * math.fsum(share * (1 - share) for share in shares)
    by_unit = [
        scale
        * math.fsum(count * (1 - share) for count, share in zip(unit.counts, shares, strict=True))
        / unit.ratings
        for unit in units
    ]
    return beyond_chance(units, weights, expected, by_unit)


def standard_error_of(value: float, moved: Sequence[float], times: Sequence[int]) -> float | None:
    """
    Return the standard error of a mean over trees.

    Parameters
    ----------
    value : float
        The mean.
    moved : Sequence of float
        What each tree adds to the mean.
    times : Sequence of int
        How many trees are alike.

    Returns
    -------
    float or None
        The standard error; None with fewer than two trees.

    Examples
    --------
    >>> standard_error_of(0.5, [0.0, 1.0], [2, 2])
    0.28867513459481287
    """
    total = sum(times)
    if total < _LEAST_TO_PAIR:
        return None
    squares = math.fsum(
        count * (each - value) ** 2 for each, count in zip(moved, times, strict=True)
    )
    return math.sqrt(squares / (total * (total - 1)))


def student_interval(
    value: float, standard_error: float, degrees_of_freedom: int, most: float = 1.0
) -> Interval:
    """
    Return the 95 % interval of a coefficient.

    Parameters
    ----------
    value : float
        The coefficient.
    standard_error : float
        Its standard error.
    degrees_of_freedom : int
        At least 1.
    most : float, optional
        The largest value possible, at which the interval is cut off.

    Returns
    -------
    Interval
        Limits by Student's t.

    Examples
    --------
    >>> lower, upper = student_interval(0.8, 0.05, 30)
    >>> round(lower, 3), round(upper, 3)
    (0.698, 0.902)
    """
    reach = student_quantile(CONFIDENCE, degrees_of_freedom) * standard_error
    return Interval(value - reach, min(most, value + reach))
