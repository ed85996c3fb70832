"""What may be said of a rate of trees: counts, a range, or a figure beside the standard."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.estimates.intervals import Interval, wilson
from audits.messages import Message, say, say_n

# Floors of what may be said of a rate. A sample of 30 is a customary least number for a quality
# measure; the rest is this project's own rule.
LEAST_TREES_FOR_A_RANGE: Final = 10
LEAST_TREES_TO_COMPARE: Final = 30
LEAST_DAYS_TO_COMPARE: Final = 3
LEAST_ROWS_TO_COMPARE: Final = 3
LEAST_AUDITORS_TO_COMPARE: Final = 2

# The outer limits of a funnel plot hold 99.8 % (D. J. Spiegelhalter, Statistics in Medicine
# 24:1185-1202, 2005): 1 in 1,000 on each side.
FLAG_TAIL: Final = 0.001

_IN_TEN: Final = 10
_IN_HUNDRED: Final = 100
_TREES_FOR_HUNDREDTHS: Final = 100


def ratio_of_sums(samples: Iterable[tuple[int, int]]) -> float | None:
    """
    Return the fraction of nonconforming trees over several samples.

    This is the only average of fractions that the project uses. Audits stop when they are
    decided, and that biases their fractions: if an audit of at most 24 trees ends at the fourth
    nonconforming one or as soon as there can be no fourth, a true 15 % reads as 17 % in the mean of
    fractions, and as 15 % in the ratio of sums.

    Parameters
    ----------
    samples : Iterable of tuple of int and int
        For each sample, nonconforming trees and due trees.

    Returns
    -------
    float or None
        Sum of nonconforming over sum of due trees, in [0, 1]; None if no tree was due.

    Raises
    ------
    ValueError
        If a sample has fewer than 0 or more nonconforming than due trees.

    Examples
    --------
    >>> ratio_of_sums([(1, 10), (0, 30)])
    0.025
    """
    nonconforming_trees = due_trees = 0
    for nonconforming, due in samples:
        _check_count(nonconforming, due)
        nonconforming_trees += nonconforming
        due_trees += due
    return nonconforming_trees / due_trees if due_trees else None


class RateLevel(StrEnum):
    """How much may be said of a rate."""

    COUNTS = "counts"
    RANGE = "range"
    COMPARABLE = "comparable"


@dataclass(frozen=True)
class RateReading:
    """
    What may be said of a rate, and no more.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees.
    due : int
        Due trees.
    level : RateLevel
        How much may be said: counts, a range, or a rate set beside the standard.
    fraction : float or None
        Fraction of nonconforming trees, in [0, 1]; None unless it may be compared.
    interval : Interval or None
        Wilson's 95 % interval of that fraction; None if only counts may be shown.
    sentence : Message
        The reading in words, counted in right trees.
    """

    nonconforming: int
    due: int
    level: RateLevel
    fraction: float | None
    interval: Interval | None
    sentence: Message

    def is_beyond(self, accepted_fraction: float) -> bool:
        """
        Tell whether the rate is worse than the standard beyond what chance allows.

        Parameters
        ----------
        accepted_fraction : float
            Fraction of nonconforming trees that the standard accepts, in [0, 1].

        Returns
        -------
        bool
            True only for a comparable rate that lies beyond the 99.8 % limit: with the accepted
            fraction, as many nonconforming trees would turn up at most once in a thousand times.

        Raises
        ------
        ValueError
            If `accepted_fraction` lies outside its range.

        Notes
        -----
        Workers are looked at again and again. After each of 20 audits of 10 trees, a 95 % limit
        would flag, at some time, 8 in 100 workers who work at the accepted fraction; this limit
        flags fewer than 1 in 100.
        """
        from scipy.special import bdtrc  # noqa: PLC0415 - keeps starting the app light

        if not 0 <= accepted_fraction <= 1:
            raise ValueError(f"accepted_fraction must lie in [0, 1], not {accepted_fraction}")
        if self.level is not RateLevel.COMPARABLE:
            return False
        return bool(bdtrc(self.nonconforming - 1, self.due, accepted_fraction) <= FLAG_TAIL)


def describe_rate(
    nonconforming: int, due: int, *, days: int = 0, rows: int = 0, auditors: int = 0
) -> RateReading:
    """
    Say of a rate what the size of its sample allows.

    Below 10 due trees only the counts are given, below 30 only a range. From 30 trees on a rate
    may be set beside the standard if it comes from at least 3 days, 3 rows and 2 auditors: trees
    of one row are alike, so that many trees of few rows say less than their number.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees, from 0 to `due`; a sum over audits.
    due : int
        Due trees, at least 0; a sum over the same audits.
    days : int, optional
        Days on which the trees were pruned.
    rows : int, optional
        Rows in which they stand.
    auditors : int, optional
        Auditors who scored them.

    Returns
    -------
    RateReading
        The level, the figures that may be shown, and the sentence.

    Raises
    ------
    ValueError
        If `nonconforming` is below 0 or above `due`.

    Examples
    --------
    >>> print(describe_rate(8, 40, days=4, rows=5, auditors=2).sentence)
    About 8 in 10 right, could be 6 to 9 (40 trees).
    """
    _check_count(nonconforming, due)
    if due < LEAST_TREES_FOR_A_RANGE:
        sentence = _counts(nonconforming, due)
        return RateReading(nonconforming, due, RateLevel.COUNTS, None, None, sentence)
    interval = wilson(nonconforming, due)
    spread_enough = (
        days >= LEAST_DAYS_TO_COMPARE
        and rows >= LEAST_ROWS_TO_COMPARE
        and auditors >= LEAST_AUDITORS_TO_COMPARE
    )
    if due >= LEAST_TREES_TO_COMPARE and spread_enough:
        sentence = _rate(nonconforming, due, interval)
        fraction = nonconforming / due
        return RateReading(nonconforming, due, RateLevel.COMPARABLE, fraction, interval, sentence)
    sentence = _range(due, interval)
    return RateReading(nonconforming, due, RateLevel.RANGE, None, interval, sentence)


def _counts(nonconforming: int, due: int) -> Message:
    if due == 0:
        return say("No tree was due yet.")
    return say_n(
        "%(right)s of %(count)s tree right. Too few for a rate.",
        "%(right)s of %(count)s trees right. Too few for a rate.",
        due,
        right=due - nonconforming,
    )


def _range(due: int, interval: Interval) -> Message:
    lower, upper = _right_in(_IN_TEN, interval)
    if due < LEAST_TREES_TO_COMPARE:
        return say(
            "%(lower)s to %(upper)s in 10 right (%(due)s trees). Too few to compare.",
            lower=lower,
            upper=upper,
            due=due,
        )
    return say(
        "%(lower)s to %(upper)s in 10 right (%(due)s trees). "
        "To compare, it takes %(days)s days, %(rows)s rows and %(auditors)s auditors.",
        lower=lower,
        upper=upper,
        due=due,
        days=LEAST_DAYS_TO_COMPARE,
        rows=LEAST_ROWS_TO_COMPARE,
        auditors=LEAST_AUDITORS_TO_COMPARE,
    )


def _rate(nonconforming: int, due: int, interval: Interval) -> Message:
    scale = _IN_HUNDRED if due >= _TREES_FOR_HUNDREDTHS else _IN_TEN
    lower, upper = _right_in(scale, interval)
    right = round((due - nonconforming) / due * scale)
    values = {"scale": scale, "lower": lower, "upper": upper, "due": due}
    # Rounding must not turn some faults into none, nor some right trees into none.
    if right == scale and nonconforming:
        return say(
            "More than %(right)s in %(scale)s right, could be %(lower)s to %(upper)s "
            "(%(due)s trees).",
            right=scale - 1,
            **values,
        )
    if right == 0 and nonconforming < due:
        return say(
            "Fewer than %(right)s in %(scale)s right, could be %(lower)s to %(upper)s "
            "(%(due)s trees).",
            right=1,
            **values,
        )
    return say(
        "About %(right)s in %(scale)s right, could be %(lower)s to %(upper)s (%(due)s trees).",
        right=right,
        **values,
    )


def _right_in(scale: int, nonconforming: Interval) -> tuple[int, int]:
    """Count right trees out of `scale`, rounded outwards so that no possible rate is cut off."""
    lower, upper = 1 - nonconforming.upper, 1 - nonconforming.lower
    return math.floor(lower * scale), math.ceil(upper * scale)


def _check_count(count: int, total: int) -> None:
    if not 0 <= count <= total:
        raise ValueError(f"the count must lie between 0 and {total}, not {count}")
