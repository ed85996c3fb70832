"""The chart of single values and of how far each lies from the one before."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.control.constants import control_constants
from audits.control.limits import SIGMAS
from audits.control.shewhart import (
    Chart,
    NoLimits,
    chart_point,
    finite,
    moving_ranges,
    require_positive,
)

_NO_RANGES: Final = Chart((), None, NoLimits.NO_POINTS)


@dataclass(frozen=True)
class IndividualsChart(Chart):
    """
    A chart of single values with its chart of moving ranges.

    Parameters
    ----------
    points : tuple of ChartPoint
        The values in order of time; empty if no limits can be found.
    centre : float or None
        Mean of the values; None without values.
    reason : NoLimits or None, optional
        Why there are no limits, or why they say nothing; None if all is well.
    ranges : Chart, optional
        The moving ranges, from the second value on.
    sigma : float or None, optional
        Standard deviation of the values from one to the next: mean moving range over d2; None if
        there are fewer than two.
    """

    ranges: Chart = _NO_RANGES
    sigma: float | None = None


def individuals_chart(
    values: Sequence[float],
    *,
    centre: float | None = None,
    sigma: float | None = None,
    sigmas: float = SIGMAS,
) -> IndividualsChart:
    """
    Chart single values by the differences between neighbours.

    Parameters
    ----------
    values : Sequence of float
        Values in order of time, in any unit.
    centre : float or None, optional
        Mean in the long run; by default that of these values.
    sigma : float or None, optional
        Standard deviation in the long run, above 0; by default the mean moving range over
        d2 = 1.128379.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    IndividualsChart
        Values and moving ranges with their limits, in the unit of the values; no points if there
        are fewer than two values and no `sigma`. If all values are the same, the limits are on
        the centre line.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Examples
    --------
    >>> individuals_chart([5, 6, 5, 4, 5, 6, 5, 4, 5, 15]).out
    (10,)
    """
    require_positive("sigmas", sigmas)
    if centre is not None:
        finite("centre", [centre])
    if sigma is not None:
        require_positive("sigma", sigma)
    found = finite("values", values)
    if not found:
        return IndividualsChart((), centre, NoLimits.NO_POINTS)
    if centre is None:
        centre = math.fsum(found) / len(found)
    differences = moving_ranges(found)
    constants = control_constants(2, sigmas)
    if sigma is not None:
        mean_range = sigma * constants.d2
    elif differences:
        mean_range = math.fsum(differences) / len(differences)
        sigma = mean_range / constants.d2
    else:
        return IndividualsChart((), centre, NoLimits.TOO_FEW_POINTS)
    reach = sigmas * sigma
    reason = None if sigma > 0 else NoLimits.NO_VARIATION
    ranges = tuple(
        chart_point(difference, constants.D3 * mean_range, constants.D4 * mean_range)
        for difference in differences
    )
    return IndividualsChart(
        tuple(chart_point(value, centre - reach, centre + reach) for value in found),
        centre,
        reason,
        Chart(ranges, mean_range, reason if ranges else NoLimits.TOO_FEW_POINTS),
        sigma,
    )
