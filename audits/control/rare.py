"""Charts of rare faults: how many good trees, or how much time, lie between one and the next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.control.individuals import individuals_chart
from audits.control.limits import SIGMAS
from audits.control.shewhart import Chart, NoLimits, chart_point, finite, require_positive

# Nelson's power makes times between chance events nearly normal: 1 / 3.6.
NELSON_POWER: Final = 0.2777


@dataclass(frozen=True)
class GChart(Chart):
    """
    A chart of counts between faults.

    Parameters
    ----------
    points : tuple of ChartPoint
        The counts in order; a long one above its limit is good news.
    centre : float or None
        Mean count; None without counts.
    reason : NoLimits or None, optional
        Why there are no limits; None if all is well.
    fraction : float or None, optional
        Faults per tree, ``1 / (mean + 1)``; None without counts.
    fraction_corrected : float or None, optional
        The same less its bias, ``(1 - 1 / counts)`` of it; None without counts.
    """

    fraction: float | None = None
    fraction_corrected: float | None = None


def g_chart(
    between: Sequence[int], *, centre: float | None = None, sigmas: float = SIGMAS
) -> GChart:
    """
    Chart how many good trees lie between one faulty tree and the next.

    The lower limit of rare faults is nearly always 0, so that this chart shows gaps that grow
    longer, but not faults that come faster; `audits.control.bernoulli` does.

    Parameters
    ----------
    between : Sequence of int
        Good trees strictly between two faulty ones, in order.
    centre : float or None, optional
        Mean count in the long run, at least 0; by default that of these counts.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    GChart
        The points with their limits; without counts a chart without points.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] F. C. Kaminsky et al., Statistical control charts based on a geometric distribution,
       Journal of Quality Technology 24 (1992), 63-69.
    .. [2] J. C. Benneyan, Number-between g-type statistical quality control charts, Health Care
       Management Science 4 (2001), 305-318.

    Examples
    --------
    >>> chart = g_chart([10, 20, 30])
    >>> chart.centre, round(chart.points[0].upper, 1), chart.points[0].lower
    (20.0, 81.5, 0.0)
    """
    require_positive("sigmas", sigmas)
    if centre is not None and not 0 <= centre < math.inf:
        raise ValueError(f"centre must be at least 0, not {centre}")
    for count in finite("between", between):
        if count < 0:
            raise ValueError(f"between must be at least 0, not {count}")
    if not between:
        return GChart((), centre, NoLimits.NO_POINTS)
    mean = math.fsum(between) / len(between)
    centre = mean if centre is None else centre
    reach = sigmas * math.sqrt(centre * (centre + 1))
    points = tuple(
        chart_point(count, max(centre - reach, 0.0), centre + reach) for count in between
    )
    fraction = 1 / (mean + 1)
    return GChart(points, centre, None, fraction, (1 - 1 / len(between)) * fraction)


@dataclass(frozen=True)
class TChart(Chart):
    """
    A chart of times between faults, made nearly normal by a power.

    Parameters
    ----------
    points : tuple of ChartPoint
        Powers of the times, in order; empty if no limits can be found.
    centre : float or None
        Mean of the powers; None without times.
    reason : NoLimits or None, optional
        Why there are no limits, or why they say nothing; None if all is well.
    mean_range : float or None, optional
        Mean moving range of the powers; None if there are fewer than two.
    lower, upper : float or None, optional
        The limits in the unit of the times; None if there are none.
    """

    mean_range: float | None = None
    lower: float | None = None
    upper: float | None = None


def t_chart(
    time_between: Sequence[float], *, power: float = NELSON_POWER, sigmas: float = SIGMAS
) -> TChart:
    """
    Chart times, or any other measure that runs on, between one fault and the next.

    Parameters
    ----------
    time_between : Sequence of float
        Times in any unit, each at least 0, in order.
    power : float, optional
        Power that the times are raised to, above 0.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    TChart
        Individuals chart of the powers; no points if there are fewer than two.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] L. S. Nelson, A control chart for parts-per-million nonconforming items, Journal of
       Quality Technology 26 (1994), 239-240.

    Examples
    --------
    >>> chart = t_chart([34.1, 109.1, 31.5, 39.3])
    >>> round(chart.centre, 3), chart.out
    (2.931, ())
    """
    require_positive("power", power)
    for time in finite("time_between", time_between):
        if time < 0:
            raise ValueError(f"time_between must be at least 0, not {time}")
    chart = individuals_chart([time**power for time in time_between], sigmas=sigmas)
    if not chart.points:
        return TChart((), chart.centre, chart.reason)
    lower, upper = chart.points[0].lower, chart.points[0].upper
    return TChart(
        chart.points,
        chart.centre,
        chart.reason,
        chart.ranges.centre,
        max(lower, 0.0) ** (1 / power),
        upper ** (1 / power),
    )
