"""Krippendorff's alpha: many auditors, ratings missing, answers with any kind of distance."""

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, SupportsFloat

from audits.agreement.chance import (
    CountedUnit,
    agreeing_share,
    chance_of_shares,
    dot,
    standard_error_of,
    student_interval,
)
from audits.agreement.sheets import Ratings, RatingSheet
from audits.agreement.tables import equal_weights
from audits.estimates import Interval

_LEAST_TO_PAIR: Final = 2


class Level(StrEnum):
    """What the answers are: names, an order, a scale, or a scale with a true zero."""

    NOMINAL = "nominal"
    ORDINAL = "ordinal"
    INTERVAL = "interval"
    RATIO = "ratio"


@dataclass(frozen=True)
class Alpha:
    """
    Krippendorff's alpha.

    Parameters
    ----------
    value : float or None
        The coefficient, at most 1; None where nothing varies or nothing can be paired.
    units : int
        Trees with at least two ratings.
    pairable_values : int
        Ratings of these trees.
    standard_error : float or None
        Standard error with the trees as a sample and distances as they are; None with fewer than
        two trees.
    interval : Interval or None
        95 % interval by Student's t, at most 1.
    """

    value: float | None
    units: int
    pairable_values: int
    standard_error: float | None
    interval: Interval | None


def krippendorff_alpha(
    ratings: Ratings,
    level: str = Level.NOMINAL,
    categories: Sequence[Hashable] | None = None,
) -> Alpha:
    """
    Return Krippendorff's alpha of many auditors with ratings missing.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating. Trees with fewer than
        two ratings say nothing and are left out.
    level : str, optional
        ``"nominal"``, ``"ordinal"``, ``"interval"`` or ``"ratio"``: what distance two answers have.
        The last two take numbers, the last none below 0.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order. The
        order matters to the ordinal level only.

    Returns
    -------
    Alpha
        The coefficient with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length, the level is unknown, or answers do not suit it; the message names
        the value.

    References
    ----------
    .. [1] K. Krippendorff, Content Analysis, 2nd edition, 2004, chapter 11.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> found = krippendorff_alpha([[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2], [None, 1, 1]])
    >>> round(found.value, 3), found.pairable_values
    (0.656, 12)
    """
    chosen = _level(level)
    sheet = RatingSheet(ratings, categories)
    units = [unit for unit in sheet.units if unit.ratings >= _LEAST_TO_PAIR]
    values = sum(unit.ratings for unit in units)
    if not units:
        return Alpha(None, 0, 0, None, None)
    size = range(len(sheet.categories))
    totals = [sum(unit.counts[k] for unit in units) for k in size]
    distances = _DISTANCES[chosen](sheet.categories, totals)
    largest = max(map(max, distances))
    apart_by_chance = _sum_of_distances(totals, distances) / (values * (values - 1))
    if not apart_by_chance:
        return Alpha(None, len(units), values, None, None)
    apart = math.fsum(
        _sum_of_distances(unit.counts, distances) / (unit.ratings - 1) for unit in units
    )
    value = 1 - apart / values / apart_by_chance
    weights = [[1 - distance / largest for distance in row] for row in distances]
    error = _alpha_error(units, weights)
    interval = None if error is None else student_interval(value, error, len(units) - 1)
    return Alpha(value, len(units), values, error, interval)


def _alpha_error(units: Sequence[CountedUnit], weights: list[list[float]]) -> float | None:
    """Return the standard error of alpha, trees weighing as much as they have ratings."""
    mean_ratings = sum(unit.ratings for unit in units) / len(units)
    shares = [
        math.fsum(unit.counts[k] for unit in units) / len(units) / mean_ratings
        for k in range(len(weights))
    ]
    expected, near = chance_of_shares(shares, weights)
    room = 1 - expected
    weight = [unit.ratings / mean_ratings for unit in units]
    agreeing = [
        agreeing_share(unit, weights) * each for unit, each in zip(units, weight, strict=True)
    ]
    observed = math.fsum(agreeing) / len(units)
    value = (observed - expected) / room
    # Trees with more ratings than others weigh by agreement corrected for the number of ratings, as
    # alpha itself is; published errors are reproduced to their last digit only so.
    corrected = observed + (1 - observed) / sum(unit.ratings for unit in units)
    moved = []
    for unit, each, share in zip(units, weight, agreeing, strict=True):
        by_pairs = share - corrected * (each - 1)
        usual = dot(unit.counts, near) / mean_ratings
        by_chance = usual - expected * (each - 1)
        moved.append((by_pairs - expected) / room - 2 * (1 - value) * (by_chance - expected) / room)
    return standard_error_of(value, moved, [1] * len(units))


def _nominal(categories: Sequence[Hashable], totals: Sequence[int]) -> list[list[float]]:  # noqa: ARG001 - one signature for all levels
    size = len(categories)
    return [[1 - each for each in row] for row in equal_weights(size)]


def _ordinal(categories: Sequence[Hashable], totals: Sequence[int]) -> list[list[float]]:
    # The distance of two answers is how many ratings lie between their middles.
    size = range(len(categories))

    def between(one: int, two: int) -> float:
        low, high = min(one, two), max(one, two)
        return sum(totals[low : high + 1]) - (totals[low] + totals[high]) / 2

    return [[between(one, two) ** 2 for two in size] for one in size]


def _interval(categories: Sequence[Hashable], totals: Sequence[int]) -> list[list[float]]:  # noqa: ARG001 - one signature for all levels
    numbers = _numbers(categories)
    return [[(one - two) ** 2 for two in numbers] for one in numbers]


def _ratio(categories: Sequence[Hashable], totals: Sequence[int]) -> list[list[float]]:  # noqa: ARG001 - one signature for all levels
    numbers = _numbers(categories)
    for number in numbers:
        if number < 0:
            raise ValueError(f"ratings on a ratio scale must be at least 0, not {number}")
    return [
        [((one - two) / (one + two)) ** 2 if one != two else 0.0 for two in numbers]
        for one in numbers
    ]


_DISTANCES: Final[dict[Level, Callable[[Sequence[Hashable], Sequence[int]], list[list[float]]]]] = {
    Level.NOMINAL: _nominal,
    Level.ORDINAL: _ordinal,
    Level.INTERVAL: _interval,
    Level.RATIO: _ratio,
}


def _level(level: str) -> Level:
    try:
        return Level(level)
    except ValueError:
        known = ", ".join(Level)
        raise ValueError(f"level must be one of {known}, not {level!r}") from None


def _numbers(categories: Sequence[Hashable]) -> list[float]:
    for each in categories:
        if not isinstance(each, SupportsFloat) or not math.isfinite(each):
            raise ValueError(f"ratings on a scale must be finite numbers, not {each!r}")
    return [float(each) for each in categories if isinstance(each, SupportsFloat)]


def _sum_of_distances(counts: Sequence[int], distances: list[list[float]]) -> float:
    """Return the distances of all ordered pairs of ratings together."""
    return dot(counts, [dot(row, counts) for row in distances])
