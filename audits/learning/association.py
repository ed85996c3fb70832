"""
Whether those who do well in practice and quizzes also do well in the row.

Across workers, the order by one share right is held against the order by the other. It takes many
workers to say anything: with ten, chance alone gives coefficients up to about 0.6. So each figure
comes with its interval, and several stages asked at once are judged together.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.comparison.checks import require_finite, require_same_length
from audits.comparison.multiple import holm
from audits.estimates.intervals import normal_quantile
from audits.learning.reliability import correlation

# With fewer workers the interval spans nearly everything that a coefficient can be (our choice).
LEAST_WORKERS: Final = 10
_CONFIDENCE: Final = 0.95


class Bearing(StrEnum):
    """What a learning result says about the row."""

    SAME_WAY = "same way"
    OTHER_WAY = "other way"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class RankAssociation:
    """
    How two columns go together in order.

    Parameters
    ----------
    coefficient : float
        Spearman's rank correlation, in [-1, 1] (symbol r_s).
    interval : tuple of float
        Its lower and upper bound at 95 %.
    p_value : float
        Chance of one as far from 0 if nothing goes together.
    pairs : int
        Number of workers (symbol n).
    """

    coefficient: float
    interval: tuple[float, float]
    p_value: float
    pairs: int


def rank_association(one: Sequence[float], other: Sequence[float]) -> RankAssociation | None:
    """
    Return Spearman's rank correlation of two columns, with its interval.

    Parameters
    ----------
    one, other : Sequence of float
        A figure for each worker, in the same order of workers.

    Returns
    -------
    RankAssociation or None
        Equal figures share their mean rank. None below five pairs, or if one column is all alike.

    Raises
    ------
    ValueError
        If the columns differ in length or hold a number that is not finite.

    Notes
    -----
    The interval is that of Fisher's z with the standard error ``sqrt((1 + r_s^2 / 2) / (n - 3))``
    of Bonett and Wright [1]_; the chance is that of z against ``sqrt(1 / (n - 3))``, its standard
    error where nothing goes together, by the normal law, so a little rough below twenty pairs.
    Both columns are shares of few trees and questions: that noise draws the coefficient towards 0.

    References
    ----------
    .. [1] D. G. Bonett, T. A. Wright, Sample size requirements for estimating Pearson, Kendall and
       Spearman correlations, Psychometrika 65 (2000), 23-28.

    Examples
    --------
    >>> rank_association([1, 2, 3, 4, 5, 6], [2, 1, 4, 3, 6, 5]).coefficient
    0.8285714285714286
    """
    from scipy.special import ndtr  # noqa: PLC0415 - scipy is slow to load

    require_same_length(one=one, other=other)
    first = _ranks(require_finite("one", one))
    second = _ranks(require_finite("other", other))
    pairs = len(first)
    coefficient = correlation(first, second) if pairs >= 5 else None  # noqa: PLR2004 - n - 3 needs room
    if coefficient is None:
        return None
    # Fisher's z of exactly 1 is infinite; the interval of such few pairs still is not empty.
    bounded = max(-1 + 1e-9, min(1 - 1e-9, coefficient))
    middle = math.atanh(bounded)
    reach = normal_quantile(_CONFIDENCE) * math.sqrt((1 + bounded**2 / 2) / (pairs - 3))
    chance = 2 * float(ndtr(-abs(middle) * math.sqrt(pairs - 3)))
    return RankAssociation(
        coefficient, (math.tanh(middle - reach), math.tanh(middle + reach)), chance, pairs
    )


def bearings(associations: Sequence[RankAssociation | None]) -> list[Bearing]:
    """
    Say of several questions, judged together, which way each goes.

    Parameters
    ----------
    associations : Sequence of RankAssociation or None
        One for each question, such as each stage.

    Returns
    -------
    list of Bearing
        In their order. A way is told only where at least `LEAST_WORKERS` were compared and the
        chance stays below 5 % among all the questions asked (Holm).

    Examples
    --------
    >>> bearings([None])
    [<Bearing.UNKNOWN: 'unknown'>]
    """
    asked = [
        place
        for place, each in enumerate(associations)
        if each is not None and each.pairs >= LEAST_WORKERS
    ]
    found = [Bearing.UNKNOWN] * len(associations)
    held = [each for each in (associations[place] for place in asked) if each is not None]
    for place, each, chance in zip(asked, held, holm([each.p_value for each in held]), strict=True):
        if chance < 1 - _CONFIDENCE:
            found[place] = Bearing.SAME_WAY if each.coefficient > 0 else Bearing.OTHER_WAY
    return found


def _ranks(values: Sequence[float]) -> list[float]:
    order = sorted(range(len(values)), key=values.__getitem__)
    ranks = [0.0] * len(values)
    start = 0
    while start < len(order):
        end = start
        while end + 1 < len(order) and values[order[end + 1]] == values[order[start]]:
            end += 1
        for place in order[start : end + 1]:
            ranks[place] = (start + end) / 2 + 1
        start = end + 1
    return ranks
