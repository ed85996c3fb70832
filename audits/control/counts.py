"""Charts of counts: nonconforming trees of equal samples, and faults per sample or unit."""

import math
from collections.abc import Collection, Sequence

from audits.control.limits import SIGMAS, sigma_limits
from audits.control.shewhart import (
    Chart,
    NoLimits,
    chart_point,
    finite,
    kept_points,
    require_positive,
)


def np_chart(
    nonconforming: Sequence[int],
    size: int,
    *,
    centre: float | None = None,
    left_out: Collection[int] = (),
    sigmas: float = SIGMAS,
) -> Chart:
    """
    Chart counts of nonconforming trees in samples of one size.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample, in order of time.
    size : int
        Due trees of each sample, at least 1 (symbol n).
    centre : float or None, optional
        Mean count in the long run (symbol np), in [0, size]; by default that of these samples.
    left_out : Collection of int, optional
        Numbers, from 1, of samples that the centre is not found from.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    Chart
        The points with their limits, all the same; without samples a chart without points.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.1.

    Examples
    --------
    >>> np_chart([2, 1, 9, 0], size=20).out
    (3,)
    """
    if size < 1:
        raise ValueError(f"size must be at least 1, not {size}")
    for count in nonconforming:
        if not 0 <= count <= size:
            raise ValueError(f"nonconforming must lie in [0, {size}], not {count}")
    kept = kept_points(len(nonconforming), left_out)
    if centre is None and kept:
        centre = sum(nonconforming[place] for place in kept) / len(kept)
    if centre is None:
        return Chart((), None, NoLimits.NO_POINTS)
    lower, upper = sigma_limits(centre / size, size, sigmas)
    return Chart(
        tuple(chart_point(count, lower * size, upper * size) for count in nonconforming), centre
    )


def c_chart(
    counts: Sequence[float],
    *,
    centre: float | None = None,
    left_out: Collection[int] = (),
    sigmas: float = SIGMAS,
) -> Chart:
    """
    Chart counts of faults in samples that are all alike.

    Parameters
    ----------
    counts : Sequence of float
        Faults, one count per sample, in order of time.
    centre : float or None, optional
        Mean count in the long run (symbol c), at least 0; by default that of these samples.
    left_out : Collection of int, optional
        Numbers, from 1, of samples that the centre is not found from.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    Chart
        The points with their limits, all the same; without samples a chart without points.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.3.1.

    Examples
    --------
    >>> c_chart([4, 5, 3, 4, 14]).out
    (5,)
    """
    return u_chart(counts, [1.0] * len(counts), centre=centre, left_out=left_out, sigmas=sigmas)


def u_chart(
    counts: Sequence[float],
    units: Sequence[float],
    *,
    centre: float | None = None,
    left_out: Collection[int] = (),
    sigmas: float = SIGMAS,
) -> Chart:
    """
    Chart faults per unit in samples of any number of units.

    Parameters
    ----------
    counts : Sequence of float
        Faults, one count per sample, in order of time.
    units : Sequence of float
        Units looked at, such as trees or tens of branches; one number per sample, above 0.
    centre : float or None, optional
        Faults per unit in the long run (symbol u), at least 0; by default that of these samples.
    left_out : Collection of int, optional
        Numbers, from 1, of samples that the centre is not found from.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    Chart
        The points, each with its own limits; without samples a chart without points.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.3.2.

    Examples
    --------
    >>> chart = u_chart([12, 20], [10, 10])
    >>> chart.centre, chart.out
    (1.6, ())
    """
    require_positive("sigmas", sigmas)
    samples = rates(counts, units)
    if centre is not None and not 0 <= centre < math.inf:
        raise ValueError(f"centre must be at least 0, not {centre}")
    kept = kept_points(len(samples), left_out)
    if centre is None:
        centre = rate_of_kept(samples, kept)
    if centre is None:
        return Chart((), None, NoLimits.NO_POINTS)
    points = []
    for count, amount in samples:
        spread = sigmas * math.sqrt(centre / amount)
        points.append(chart_point(count / amount, max(centre - spread, 0.0), centre + spread))
    return Chart(tuple(points), centre)


def rates(counts: Sequence[float], units: Sequence[float]) -> list[tuple[float, float]]:
    """
    Pair counts with the units they come from.

    Parameters
    ----------
    counts : Sequence of float
        Faults, one count per sample, at least 0.
    units : Sequence of float
        Units looked at, one number per sample, above 0.

    Returns
    -------
    list of tuple of float and float
        Faults and units of each sample.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.
    """
    samples = list(zip(finite("counts", counts), units, strict=True))
    for count, amount in samples:
        if count < 0:
            raise ValueError(f"counts must be at least 0, not {count}")
        require_positive("units", amount)
    return samples


def rate_of_kept(samples: Sequence[tuple[float, float]], kept: Sequence[int]) -> float | None:
    """
    Return faults per unit over some samples, as a ratio of sums.

    Parameters
    ----------
    samples : Sequence of tuple of float and float
        Faults and units of each sample.
    kept : Sequence of int
        Places, from 0, of the samples that count.

    Returns
    -------
    float or None
        Faults per unit; None if no sample counts.
    """
    if not kept:
        return None
    return math.fsum(samples[place][0] for place in kept) / math.fsum(
        samples[place][1] for place in kept
    )
