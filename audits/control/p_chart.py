"""The p chart: fractions of samples of any size against three sigma limits."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from audits.control.limits import SIGMAS, Signal, sigma_limits
from audits.control.shewhart import kept_points
from audits.estimates import ratio_of_sums


@dataclass(frozen=True)
class FractionPoint:
    """
    One point of a p chart.

    Parameters
    ----------
    due : int
        Due trees.
    nonconforming : int
        Nonconforming trees.
    fraction : float
        Nonconforming over due trees.
    lower, upper : float
        Limits for this number of due trees.
    signal : Signal or None
        On which side the point lies beyond them, if it does.
    """

    due: int
    nonconforming: int
    fraction: float
    lower: float
    upper: float
    signal: Signal | None


@dataclass(frozen=True)
class FractionChart:
    """
    A p chart.

    Parameters
    ----------
    points : tuple of FractionPoint
        The points in order.
    centre : float or None
        The centre line; None if there is neither a point nor a given centre.
    """

    points: tuple[FractionPoint, ...]
    centre: float | None


def p_chart(
    nonconforming: Sequence[int],
    due: Sequence[int],
    *,
    centre: float | None = None,
    left_out: Collection[int] = (),
    sigmas: float = SIGMAS,
) -> FractionChart:
    """
    Chart fractions of samples whose sizes were fixed beforehand.

    Samples that stop when they are decided must not be charted this way; see
    `audits.control.blocks`.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample, in order of time.
    due : Sequence of int
        Due trees, one count per sample, each at least 1.
    centre : float or None, optional
        Fraction of nonconforming trees in the long run, in [0, 1]; by default the ratio of sums of
        these samples.
    left_out : Collection of int, optional
        Numbers, from 1, of samples that the centre is not found from.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    FractionChart
        The points with their own limits; without samples a chart without points.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.

    Examples
    --------
    >>> chart = p_chart([2, 1, 9], [20, 20, 20])
    >>> [point.signal for point in chart.points]
    [None, None, None]
    """
    samples = list(zip(nonconforming, due, strict=True))
    average = ratio_of_sums(samples)
    if left_out:
        average = ratio_of_sums(samples[place] for place in kept_points(len(samples), left_out))
    if centre is None:
        centre = average
    if centre is None:
        return FractionChart((), None)
    return FractionChart(tuple(_point(*sample, centre, sigmas) for sample in samples), centre)


def _point(nonconforming: int, due: int, centre: float, sigmas: float) -> FractionPoint:
    limits = sigma_limits(centre, due, sigmas)
    fraction = nonconforming / due
    return FractionPoint(
        due, nonconforming, fraction, limits.lower, limits.upper, limits.signal(fraction)
    )
