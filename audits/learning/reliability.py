"""
How far a test's totals can be relied on: KR-20, KR-21, alpha, halves, and the error of a score.

A test is a matrix: one row for each person, one column for each item, 1 for right and 0 for wrong.
A low reliability may mean bad items, or people who all know the same: it speaks of one test among
one group of people, never of a person.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.comparison.checks import require_inside, require_share

_CONFIDENCE: Final = 0.95

Responses = Sequence[Sequence[int]]


@dataclass(frozen=True)
class Reliability:
    """
    The reliability of one test among one group.

    Parameters
    ----------
    people, items : int
        Size of the matrix.
    mean, variance : float
        Of the totals; the variance with n - 1.
    alpha : float or None
        Cronbach's alpha, which for right and wrong is KR-20; None where all totals are alike.
    interval : tuple of float or None
        Feldt's bounds of alpha at 95 %.
    kr20_sample_variance : float or None
        KR-20 with the totals' variance taken with n - 1 and the items' with n, as some books do.
    kr21, kr21_sample_variance : float or None
        KR-21, as if all items were equally difficult, with either variance.
    standard_error : float or None
        Standard error of measurement of a total, in items: more than the totals' own spread where
        alpha is below 0.
    """

    people: int
    items: int
    mean: float
    variance: float
    alpha: float | None
    interval: tuple[float, float] | None
    kr20_sample_variance: float | None
    kr21: float | None
    kr21_sample_variance: float | None
    standard_error: float | None


@dataclass(frozen=True)
class Halves:
    """
    A test split into its odd and even items.

    Parameters
    ----------
    correlation : float or None
        Of the two half totals; None if one of them is all alike.
    spearman_brown : float or None
        The reliability of the whole test by it.
    guttman : float or None
        Guttman's split-half coefficient; None if all totals are alike.
    """

    correlation: float | None
    spearman_brown: float | None
    guttman: float | None


@dataclass(frozen=True)
class ScoreError:
    """
    How far a score may be off.

    Parameters
    ----------
    error : float
        Standard error of measurement, in the units of the score.
    interval : tuple of float
        Bounds of the true score at 95 %, around the score seen.
    of_a_difference : float
        Standard error of the difference of two such scores.
    """

    error: float
    interval: tuple[float, float]
    of_a_difference: float


def reliability(responses: Responses) -> Reliability:
    """
    Return the reliability of a test.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item, of 0 and 1; at least 2 of either.

    Returns
    -------
    Reliability
        Alpha with its interval, the formulas of Kuder and Richardson, and the standard error.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.

    Notes
    -----
    An item that everybody gets right, or nobody, counts among the items. The interval is that of
    Feldt for people drawn at random and items that are alike in what they measure.

    References
    ----------
    .. [1] G. F. Kuder, M. W. Richardson, The theory of the estimation of test reliability,
       Psychometrika 2 (1937), 151-160.
    .. [2] L. J. Cronbach, Coefficient alpha and the internal structure of tests, Psychometrika 16
       (1951), 297-334.
    .. [3] L. S. Feldt, The approximate sampling distribution of Kuder-Richardson reliability
       coefficient twenty, Psychometrika 30 (1965), 357-370.

    Examples
    --------
    >>> round(reliability([[1, 1, 1], [1, 1, 0], [1, 0, 0], [0, 0, 0]]).alpha, 3)
    0.75
    """
    rows = checked(responses)
    totals = [sum(row) for row in rows]
    people, items = len(rows), len(rows[0])
    mean, variance = math.fsum(totals) / people, statistics.variance(totals)
    if variance <= 0:
        return Reliability(people, items, mean, variance, *(None,) * 6)
    spread_by_n = variance * (people - 1) / people
    longer = items / (items - 1)
    of_items = math.fsum(statistics.variance(column) for column in zip(*rows, strict=True))
    alpha = longer * (1 - of_items / variance)
    within = math.fsum(
        share * (1 - share)
        for share in (sum(column) / people for column in zip(*rows, strict=True))
    )
    return Reliability(
        people,
        items,
        mean,
        variance,
        alpha,
        _feldt(alpha, people, items),
        longer * (1 - within / variance),
        kr21(items, mean, spread_by_n),
        kr21(items, mean, variance),
        math.sqrt(variance * (1 - alpha)),
    )


def kr21(items: int, mean: float, variance: float) -> float:
    """
    Return the reliability that follows from the mean and variance of the totals alone.

    Parameters
    ----------
    items : int
        Number of items, at least 2 (symbol k).
    mean : float
        Mean total, from 0 to `items` (symbol M).
    variance : float
        Variance of the totals, above 0.

    Returns
    -------
    float
        ``k / (k - 1) * (1 - M * (k - M) / (k * variance))``: what KR-20 would be if all items were
        equally difficult, so never more than it.

    Raises
    ------
    ValueError
        If a parameter lies outside its range.

    Examples
    --------
    >>> round(kr21(40, 28, 36), 6)
    0.786325
    """
    require_inside("items", items, 1, math.inf)
    require_inside("variance", variance, 0, math.inf)
    require_share("mean / items", mean / items)
    return items / (items - 1) * (1 - mean * (items - mean) / (items * variance))


def alpha_without(responses: Responses) -> list[float | None]:
    """
    Return alpha of the test without each item.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.

    Returns
    -------
    list of float or None
        One for each item: higher than alpha itself where the item does not go with the others. None
        where fewer than two items are left, or their totals are all alike.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.

    Examples
    --------
    >>> [round(alpha, 3) for alpha in alpha_without([[1, 1, 1], [1, 1, 0], [1, 0, 0], [0, 0, 0]])]
    [0.727, 0.5, 0.727]
    """
    rows = checked(responses)
    if len(rows[0]) == 2:  # noqa: PLR2004 - one item alone is no test
        return [None, None]
    return [
        reliability([[*row[:place], *row[place + 1 :]] for row in rows]).alpha
        for place in range(len(rows[0]))
    ]


def halves(responses: Responses) -> Halves:
    """
    Split a test into its odd and even items and hold one half against the other.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, at least 2 items.

    Returns
    -------
    Halves
        The correlation of the halves, and what follows for the whole.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.

    References
    ----------
    .. [1] L. Guttman, A basis for analyzing test-retest reliability, Psychometrika 10 (1945),
       255-282.

    Examples
    --------
    >>> halves([[1, 1, 1], [1, 1, 0], [1, 0, 0], [0, 0, 0]]).guttman
    0.8
    """
    rows = checked(responses)
    odd, even = [sum(row[::2]) for row in rows], [sum(row[1::2]) for row in rows]
    whole = statistics.variance([sum(row) for row in rows])
    of_halves = statistics.variance(odd) + statistics.variance(even)
    found = correlation(odd, even)
    return Halves(
        found,
        None if found is None or found <= -1 else spearman_brown(found, 2),
        2 * (1 - of_halves / whole) if whole > 0 else None,
    )


def spearman_brown(reliability_now: float, factor: float) -> float:
    """
    Return the reliability of a test made longer or shorter with items of the same kind.

    Parameters
    ----------
    reliability_now : float
        Its reliability as it is, above -1 and at most 1 (symbol r).
    factor : float
        How many times as long it is made, above 0 (symbol n).

    Returns
    -------
    float
        ``n * r / (1 + (n - 1) * r)``.

    Raises
    ------
    ValueError
        If a parameter lies outside its range, or the formula has no answer for them.

    References
    ----------
    .. [1] C. Spearman, Correlation calculated from faulty data, British Journal of Psychology 3
       (1910), 271-295; W. Brown, Some experimental results, the same, 296-322.

    Examples
    --------
    >>> round(spearman_brown(0.8, 0.5), 4)
    0.6667
    """
    require_inside("factor", factor, 0, math.inf)
    if not -1 < reliability_now <= 1:
        raise ValueError(
            f"reliability_now must lie above -1 and at most at 1, not {reliability_now}"
        )
    below = 1 + (factor - 1) * reliability_now
    if below <= 0:
        raise ValueError(f"a test of reliability {reliability_now} has no {factor}-fold length")
    return factor * reliability_now / below


def length_for(reliability_now: float, target: float) -> float:
    """
    Return how many times as long a test must be to reach a reliability.

    Parameters
    ----------
    reliability_now : float
        Its reliability as it is, between 0 and 1 (symbol r).
    target : float
        The reliability to be reached, between 0 and 1 (symbol t).

    Returns
    -------
    float
        ``t * (1 - r) / (r * (1 - t))``; below 1 it may be shorter.

    Raises
    ------
    ValueError
        If a parameter lies outside its range.

    Examples
    --------
    >>> round(length_for(0.7, 0.9), 3)
    3.857
    """
    require_inside("reliability_now", reliability_now)
    require_inside("target", target)
    return target * (1 - reliability_now) / (reliability_now * (1 - target))


def score_error(spread: float, reliability_now: float, score: float) -> ScoreError:
    """
    Return how far a score may be off.

    Parameters
    ----------
    spread : float
        Standard deviation of the scores, at least 0 (symbol s).
    reliability_now : float
        Reliability of the test, in [0, 1] (symbol r).
    score : float
        The score seen.

    Returns
    -------
    ScoreError
        ``s * sqrt(1 - r)``, with the bounds of a normal law.

    Raises
    ------
    ValueError
        If a parameter lies outside its range.

    Examples
    --------
    >>> round(score_error(15, 0.91, 100).error, 6)
    4.5
    """
    require_share("reliability_now", reliability_now)
    if not 0 <= spread < math.inf:
        raise ValueError(f"spread must be at least 0 and finite, not {spread}")
    error = spread * math.sqrt(1 - reliability_now)
    # 1.96, as every table of such bounds has it.
    reach = 1.96 * error
    return ScoreError(error, (score - reach, score + reach), error * math.sqrt(2))


def correlation(one: Sequence[float], other: Sequence[float]) -> float | None:
    """
    Return Pearson's correlation of two columns.

    Parameters
    ----------
    one, other : Sequence of float
        Two figures for each person.

    Returns
    -------
    float or None
        In [-1, 1]; None if one of the columns is all alike.
    """
    middle_one, middle_other = math.fsum(one) / len(one), math.fsum(other) / len(other)
    pairs = [(x - middle_one, y - middle_other) for x, y in zip(one, other, strict=True)]
    spread = math.fsum(x * x for x, _ in pairs) * math.fsum(y * y for _, y in pairs)
    # Below this, what is left of the differences is the rounding of the means.
    if spread <= 1e-18:  # noqa: PLR2004 - see above
        return None
    return math.fsum(x * y for x, y in pairs) / math.sqrt(spread)


def checked(responses: Responses) -> list[list[int]]:
    """
    Refuse a matrix that is no test.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.

    Returns
    -------
    list of list of int
        The same.

    Raises
    ------
    ValueError
        If it has fewer than 2 people or items, is ragged, or holds anything but 0 and 1; the
        message names the place.
    """
    rows = [list(row) for row in responses]
    if len(rows) < 2 or len(rows[0]) < 2:  # noqa: PLR2004 - a spread takes two
        raise ValueError("a test takes at least 2 people and 2 items")
    for person, row in enumerate(rows):
        if len(row) != len(rows[0]):
            raise ValueError(
                f"responses[{person}] has {len(row)} items, the first row {len(rows[0])}"
            )
        for item, value in enumerate(row):
            if value not in (0, 1):
                raise ValueError(f"responses[{person}][{item}] must be 0 or 1, not {value!r}")
    return rows


def _feldt(alpha: float, people: int, items: int) -> tuple[float, float]:
    from scipy.special import fdtri  # noqa: PLC0415 - scipy is slow to load

    across, within = people - 1, (people - 1) * (items - 1)
    lower, upper = (
        1 - (1 - alpha) * float(fdtri(across, within, chance))
        for chance in ((1 + _CONFIDENCE) / 2, (1 - _CONFIDENCE) / 2)
    )
    return lower, upper
