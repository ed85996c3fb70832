"""
Tests of whether a series of figures rises or falls, and of when it changed.

The rank tests ask nothing of the law of the figures. Points must be whole blocks in order of
time: fractions of audits that stopped when they were decided would show trends of their own.

References
----------
.. [1] M. Hollander, D. A. Wolfe and E. Chicken, Nonparametric Statistical Methods, 3rd ed. 2014,
   8.1 and 9.3.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, combinations
from typing import Final

from audits.comparison.checks import (
    require_counts,
    require_finite,
    require_inside,
    require_same_length,
)
from audits.estimates import Interval
from audits.estimates.intervals import normal_quantile

_LEAST_POINTS: Final = 2


@dataclass(frozen=True)
class KendallTrend:
    """
    Whether later figures are larger or smaller than earlier ones.

    Parameters
    ----------
    points : int
        Figures in the series (symbol n).
    s : int
        Pairs that rise less pairs that fall (symbol S).
    variance : float
        Variance of S by chance, equal figures allowed for.
    z : float or None
        S in standard errors, with continuity correction; None if all figures are equal.
    p_value : float or None
        Chance of such a trend, up or down, where there is none; None as above.
    tau_b : float or None
        Kendall's tau with equal figures allowed for, in [-1, 1]; None as above.
    """

    points: int
    s: int
    variance: float
    z: float | None
    p_value: float | None
    tau_b: float | None


def mann_kendall(values: Sequence[float]) -> KendallTrend | None:
    """
    Test a series for a trend by counting pairs that rise and pairs that fall.

    Parameters
    ----------
    values : Sequence of float
        One figure per block, in order of time.

    Returns
    -------
    KendallTrend or None
        The test by the normal approximation; None with fewer than two figures. For fewer than ten
        figures without equal ones `mann_kendall_exact` is exact.

    Raises
    ------
    ValueError
        If a figure is no finite number.

    References
    ----------
    .. [1] H. B. Mann, Econometrica 13:245-259, 1945.
    .. [2] M. G. Kendall, Rank Correlation Methods, 4th ed. 1975: equal figures.

    Examples
    --------
    >>> trend = mann_kendall([5, 4, 4, 3, 4, 2, 3, 2, 1, 2])
    >>> trend.s, round(trend.p_value, 3)
    (-32, 0.004)
    """
    figures = require_finite("values", values)
    if len(figures) < _LEAST_POINTS:
        return None
    n = len(figures)
    s = sum((later > earlier) - (later < earlier) for earlier, later in combinations(figures, 2))
    variance = _variance_of_s(figures)
    if variance == 0:
        return KendallTrend(n, s, 0.0, None, None, None)
    z = (s - (s > 0) + (s < 0)) / math.sqrt(variance)
    pairs = n * (n - 1) / 2
    equal = sum(count * (count - 1) / 2 for count in Counter(figures).values())
    tau = s / math.sqrt(pairs * (pairs - equal))
    return KendallTrend(n, s, variance, z, _two_sided(z), tau)


def _variance_of_s(figures: Sequence[float]) -> float:
    def part(count: int) -> int:
        return count * (count - 1) * (2 * count + 5)

    return (part(len(figures)) - sum(map(part, Counter(figures).values()))) / 18


def _two_sided(z: float) -> float:
    return math.erfc(abs(z) / math.sqrt(2))


def mann_kendall_exact(points: int, s: int) -> float:
    """
    Return the exact chance of at least such a trend among figures that are all different.

    Parameters
    ----------
    points : int
        Figures in the series, at least 1 (symbol n).
    s : int
        Pairs that rise less pairs that fall (symbol S).

    Returns
    -------
    float
        Probability that S is at least `s` where there is no trend: one-sided.

    Raises
    ------
    ValueError
        If there is no figure.

    Notes
    -----
    Pairs that fall are the inversions of a permutation, which are counted figure by figure.

    References
    ----------
    .. [1] M. G. Kendall, Rank Correlation Methods, 4th ed. 1975, appendix table 1.

    Examples
    --------
    >>> round(mann_kendall_exact(5, 8), 3)
    0.042
    """
    if points < 1:
        raise ValueError(f"points must be at least 1, not {points}")
    pairs = points * (points - 1) // 2
    if s > pairs:
        return 0.0
    ways = [1]
    for added in range(1, points):
        sums = list(accumulate([*ways, *[0] * added]))
        ways = [
            total - (sums[place - added - 1] if place > added else 0)
            for place, total in enumerate(sums)
        ]
    falls_allowed = min((pairs - s) // 2, pairs)
    return sum(ways[: falls_allowed + 1]) / math.factorial(points)


@dataclass(frozen=True)
class SenSlope:
    """
    The median of all slopes between two points.

    Parameters
    ----------
    slope : float
        The median, in units of the figures per unit of time.
    intercept : float
        The figure at time 0, so that half the points lie above the line.
    interval : Interval
        Limits of the slope.
    is_short : bool
        Whether the series is too short for the confidence asked: even all slopes together cover
        less, and the limits are the least and the largest slope.
    slopes : int
        Pairs of points with different times.
    """

    slope: float
    intercept: float
    interval: Interval
    is_short: bool
    slopes: int


def sen_slope(
    values: Sequence[float], times: Sequence[float] | None = None, confidence: float = 0.95
) -> SenSlope | None:
    """
    Estimate how fast a series rises or falls, unmoved by a few wild points.

    Parameters
    ----------
    values : Sequence of float
        One figure per block.
    times : Sequence of float or None, optional
        The time of each; 0, 1, 2, ... if left out.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    SenSlope or None
        The slope; None unless two points have different times.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Notes
    -----
    With C = z times the standard error of Kendall's S and N slopes, the limits are the ordered
    slopes at ranks (N - C) / 2 and (N + C) / 2 + 1, interpolated.

    References
    ----------
    .. [1] P. K. Sen, Journal of the American Statistical Association 63:1379-1389, 1968.
    .. [2] R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, 16.5.

    Examples
    --------
    >>> line = sen_slope([9, 15, 19, 20, 45, 55, 78], [1, 2, 3, 4, 10, 12, 18])
    >>> line.slope, round(line.interval.lower, 2), round(line.interval.upper, 2)
    (4.0, 3.71, 4.39)
    """
    figures = require_finite("values", values)
    moments = require_finite("times", range(len(figures)) if times is None else times)
    require_same_length(values=figures, times=moments)
    require_inside("confidence", confidence)
    points = list(zip(moments, figures, strict=True))
    slopes = sorted(
        (later - earlier) / (there - here)
        for (here, earlier), (there, later) in combinations(points, 2)
        if there != here
    )
    if not slopes:
        return None
    slope = _median(slopes)
    reach = normal_quantile(confidence) * math.sqrt(_variance_of_s(figures))
    lower_rank = (len(slopes) - reach) / 2
    return SenSlope(
        slope=slope,
        intercept=_median(sorted(value - slope * moment for moment, value in points)),
        interval=Interval(
            _at_rank(slopes, lower_rank), _at_rank(slopes, (len(slopes) + reach) / 2 + 1)
        ),
        # A rank is a whole number; the first is reached from a half on.
        is_short=lower_rank < 0.5,  # noqa: PLR2004 - as the comment says
        slopes=len(slopes),
    )


def _median(ordered: Sequence[float]) -> float:
    return _at_rank(ordered, (len(ordered) + 1) / 2)


def _at_rank(ordered: Sequence[float], rank: float) -> float:
    """Return the value at a rank from 1 on, interpolated; the end beyond the ends."""
    place = min(max(rank - 1, 0.0), len(ordered) - 1.0)
    below = math.floor(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])


@dataclass(frozen=True)
class ArmitageTrend:
    """
    Whether a fraction rises or falls with a score, such as the week.

    Parameters
    ----------
    z : float
        The trend in standard errors; above 0 where the fraction rises with the score.
    chi2 : float
        Its square, with one degree of freedom.
    p_value : float
        Chance of such a trend, up or down, where there is none.
    mantel_chi2 : float
        Mantel's form of it, smaller by 1 - 1 / N.
    mantel_p_value : float
        Its chance.
    slope : float
        Change of the fraction per unit of the score, by weighted least squares.
    homogeneity_chi2 : float
        How much the groups differ in any way.
    departure_chi2 : float
        The part of that beyond the straight line.
    departure_df : int
        Degrees of freedom of that part.
    departure_p_value : float or None
        Chance of as much where the line is straight; None with two groups.
    """

    z: float
    chi2: float
    p_value: float
    mantel_chi2: float
    mantel_p_value: float
    slope: float
    homogeneity_chi2: float
    departure_chi2: float
    departure_df: int
    departure_p_value: float | None


def cochran_armitage(
    nonconforming: Sequence[int], due: Sequence[int], scores: Sequence[float]
) -> ArmitageTrend | None:
    """
    Test whether a fraction rises or falls with a score.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per group.
    due : Sequence of int
        Due trees, one count per group; groups without any are left out.
    scores : Sequence of float
        The score of each group, such as its week.

    Returns
    -------
    ArmitageTrend or None
        The test; None if no tree or every tree is nonconforming, or all trees have one score.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] P. Armitage, Biometrics 11:375-386, 1955.
    .. [2] A. Agresti, Categorical Data Analysis, 3rd ed. 2013, 5.3.5.

    Examples
    --------
    >>> trend = cochran_armitage([6, 7, 9, 14, 23], [32, 33, 32, 32, 32], [0, 1, 2, 3, 4])
    >>> round(trend.z, 3), round(trend.slope, 3), round(trend.departure_p_value, 2)
    (4.792, 0.129, 0.3)
    """
    from scipy.special import chdtrc  # noqa: PLC0415 - keeps starting the app light

    pairs = require_counts(nonconforming, due)
    given = require_finite("scores", scores)
    require_same_length(due=due, scores=scores)
    groups = [(*pair, score) for pair, score in zip(pairs, given, strict=True) if pair[1]]
    trees = sum(total for _, total, _ in groups)
    found = sum(count for count, _, _ in groups)
    if not 0 < found < trees:
        return None
    middle = math.fsum(total * score for _, total, score in groups) / trees
    spread = math.fsum(total * (score - middle) ** 2 for _, total, score in groups)
    if spread == 0:
        return None
    share = found / trees
    inside = share * (1 - share)
    along = math.fsum((count - total * share) * (score - middle) for count, total, score in groups)
    z = along / math.sqrt(inside * spread)
    mantel = z * z * (trees - 1) / trees
    any_way = math.fsum((count - total * share) ** 2 / total for count, total, _ in groups) / inside
    departure, free = max(any_way - z * z, 0.0), len(groups) - 2
    return ArmitageTrend(
        z=z,
        chi2=z * z,
        p_value=_two_sided(z),
        mantel_chi2=mantel,
        mantel_p_value=_two_sided(math.sqrt(mantel)),
        slope=along / spread,
        homogeneity_chi2=any_way,
        departure_chi2=departure,
        departure_df=free,
        departure_p_value=float(chdtrc(free, departure)) if free else None,
    )


@dataclass(frozen=True)
class ChangePoint:
    """
    Where a series changes its level once.

    Parameters
    ----------
    k : int
        Pettitt's statistic.
    after : int
        The change lies after this point, counted from 1.
    p_value : float
        Chance of as clear a change where there is none, approximate; at most 1.
    rises : bool
        Whether the figures after it are larger.
    """

    k: int
    after: int
    p_value: float
    rises: bool


def pettitt(values: Sequence[float]) -> ChangePoint | None:
    """
    Find the point at which a series changes its level.

    Parameters
    ----------
    values : Sequence of float
        One figure per block, in order of time.

    Returns
    -------
    ChangePoint or None
        The clearest change, the first of equals; None if there is none because all figures are
        equal or fewer than two.

    Raises
    ------
    ValueError
        If a figure is no finite number.

    References
    ----------
    .. [1] A. N. Pettitt, Applied Statistics 28:126-135, 1979.

    Examples
    --------
    >>> change = pettitt([2, 3, 2, 3, 2, 7, 8, 7, 9, 8])
    >>> change.after, change.rises, round(change.p_value, 3)
    (5, True, 0.066)
    """
    figures = require_finite("values", values)
    n = len(figures)
    # How a point compares with all others; summed up to a point, pairs on the same side cancel.
    steps = [sum((one > other) - (one < other) for other in figures) for one in figures]
    clearest = ChangePoint(0, 0, 1.0, rises=False)
    for after, total in enumerate(accumulate(steps), start=1):
        if abs(total) > clearest.k:
            clearest = ChangePoint(
                abs(total), after, min(1.0, 2 * math.exp(-6 * total**2 / (n**3 + n**2))), total < 0
            )
    return clearest if clearest.k else None
