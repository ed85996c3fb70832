"""
Laney's charts of fractions and rates that vary more, or less, than single trees would explain.

Blocks of trees in one row are alike, and large samples show it: every point then lies beyond
binomial limits. Laney widens the limits by how much neighbouring points really differ.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from audits.control.constants import d2
from audits.control.counts import rate_of_kept, rates
from audits.control.limits import SIGMAS
from audits.control.shewhart import (
    Chart,
    NoLimits,
    chart_point,
    moving_ranges,
    require_positive,
)
from audits.estimates import ratio_of_sums


@dataclass(frozen=True)
class LaneyChart(Chart):
    """
    A chart whose limits are widened by what neighbouring points differ.

    Parameters
    ----------
    points : tuple of ChartPoint
        The points in order of time; empty if no limits can be found.
    centre : float or None
        The centre line; None without samples.
    reason : NoLimits or None, optional
        Why there are no limits, or why they say nothing; None if all is well.
    sigma_z : float or None, optional
        How many times as far the points vary as the binomial or Poisson law says; None if that
        cannot be told.
    """

    sigma_z: float | None = None


def laney_p(
    nonconforming: Sequence[int], due: Sequence[int], *, sigmas: float = SIGMAS
) -> LaneyChart:
    """
    Chart fractions that vary more, or less, than the binomial law says.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample, in order of time.
    due : Sequence of int
        Due trees, one count per sample, each at least 1 (symbol n).
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    LaneyChart
        The points with limits in [0, 1]; no points if there are fewer than two. If no tree, or
        every tree, is nonconforming, all limits are on the centre line.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] D. B. Laney, Improved control charts for attributes, Quality Engineering 14 (2002),
       531-537.

    Examples
    --------
    >>> chart = laney_p([5, 15, 4, 16], [20, 20, 20, 20])
    >>> round(chart.sigma_z, 2), chart.out
    (4.36, ())
    """
    require_positive("sigmas", sigmas)
    samples = list(zip(nonconforming, due, strict=True))
    for _, trees in samples:
        if trees < 1:
            raise ValueError(f"due must be at least 1, not {trees}")
    centre = ratio_of_sums(samples)
    if centre is None:
        return LaneyChart((), None, NoLimits.NO_POINTS)
    spreads = [math.sqrt(centre * (1 - centre) / trees) for trees in due]
    fractions = [bad / trees for bad, trees in samples]
    return _laney(fractions, spreads, centre, sigmas, most=1.0)


def laney_u(
    counts: Sequence[float], units: Sequence[float], *, sigmas: float = SIGMAS
) -> LaneyChart:
    """
    Chart faults per unit that vary more, or less, than the Poisson law says.

    Parameters
    ----------
    counts : Sequence of float
        Faults, one count per sample, in order of time.
    units : Sequence of float
        Units looked at, one number per sample, above 0.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    LaneyChart
        The points with limits of at least 0; no points if there are fewer than two. Without a
        fault all limits are on the centre line.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] D. B. Laney, Improved control charts for attributes, Quality Engineering 14 (2002),
       531-537.

    Examples
    --------
    >>> round(laney_u([4, 25, 3, 28], [2, 2, 2, 2]).sigma_z, 2)
    5.19
    """
    require_positive("sigmas", sigmas)
    samples = rates(counts, units)
    centre = rate_of_kept(samples, range(len(samples)))
    if centre is None:
        return LaneyChart((), None, NoLimits.NO_POINTS)
    spreads = [math.sqrt(centre / amount) for _, amount in samples]
    values = [count / amount for count, amount in samples]
    return _laney(values, spreads, centre, sigmas, most=math.inf)


def _laney(
    values: Sequence[float], spreads: Sequence[float], centre: float, sigmas: float, most: float
) -> LaneyChart:
    if len(values) < 2:  # noqa: PLR2004 - one point has no neighbour
        return LaneyChart((), centre, NoLimits.TOO_FEW_POINTS)
    # All spreads are 0 together: then no value differs from the centre, and z does not exist.
    varies = spreads[0] > 0
    sigma_z = None
    if varies:
        scores = [(value - centre) / spread for value, spread in zip(values, spreads, strict=True)]
        sigma_z = math.fsum(moving_ranges(scores)) / (len(scores) - 1) / d2(2)
    points = []
    for value, spread in zip(values, spreads, strict=True):
        reach = sigmas * spread * (sigma_z or 0.0)
        points.append(chart_point(value, max(centre - reach, 0.0), min(centre + reach, most)))
    return LaneyChart(tuple(points), centre, None if varies else NoLimits.NO_VARIATION, sigma_z)
