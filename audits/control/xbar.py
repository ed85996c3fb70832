"""Charts of the means and spreads of groups of measured values, such as heights of ten trees."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import stdev
from typing import Final

from audits.control.constants import control_constants
from audits.control.limits import SIGMAS
from audits.control.shewhart import Chart, NoLimits, chart_point, finite, require_positive

_LEAST_GROUP: Final = 2


@dataclass(frozen=True)
class GroupChart:
    """
    Means and spreads of groups.

    Parameters
    ----------
    means : Chart
        The mean of each group.
    spreads : Chart
        The standard deviation, or range, of each group.
    sigma : float or None
        Standard deviation of single values within groups; None if there is no group.
    """

    means: Chart
    spreads: Chart
    sigma: float | None


_EMPTY: Final = Chart((), None, NoLimits.NO_POINTS)


def xbar_s(
    groups: Sequence[Sequence[float]],
    *,
    centre: float | None = None,
    sigma: float | None = None,
    sigmas: float = SIGMAS,
) -> GroupChart:
    """
    Chart means and standard deviations of groups.

    If all groups have one size, the spread is the mean of their standard deviations; otherwise it
    is the pooled one, and each group has the limits of its size.

    Parameters
    ----------
    groups : Sequence of Sequence of float
        At least two values per group, in any unit; groups in order of time.
    centre : float or None, optional
        Mean in the long run; by default that of all values.
    sigma : float or None, optional
        Standard deviation of single values in the long run, above 0; by default that within
        these groups.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    GroupChart
        Both charts, in the unit of the values; without groups charts without points. If no value
        differs from its group, all limits are on the centre line.

    Raises
    ------
    ValueError
        If a group has fewer than two values, or a number lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 6.3.1 and 6.3.2.

    Examples
    --------
    >>> chart = xbar_s([[9, 10, 11], [10, 11, 12], [13, 14, 15]])
    >>> round(chart.means.points[0].upper, 2), chart.means.out
    (13.62, (3,))
    """
    found = _checked(groups, centre, sigma, sigmas)
    if not found:
        return GroupChart(_EMPTY, _EMPTY, sigma)
    sizes = [len(group) for group in found]
    deviations = [stdev(group) for group in found]
    centre = _grand_mean(found) if centre is None else centre
    mean_c4 = control_constants(sizes[0], sigmas).c4
    if sigma is not None:
        within, centre_line = sigma, mean_c4 * sigma
    elif len(set(sizes)) == 1:
        centre_line = math.fsum(deviations) / len(deviations)
        within = centre_line / mean_c4
    else:
        squares = math.fsum(
            (size - 1) * spread**2 for size, spread in zip(sizes, deviations, strict=True)
        )
        within = centre_line = math.sqrt(squares / (sum(sizes) - len(sizes)))
    means, spreads = [], []
    for group, deviation in zip(found, deviations, strict=True):
        constants = control_constants(len(group), sigmas)
        mean_spread = centre_line if sigma is None else constants.c4 * sigma
        reach = constants.A3 * mean_spread
        means.append(chart_point(math.fsum(group) / len(group), centre - reach, centre + reach))
        spreads.append(
            chart_point(deviation, constants.B3 * mean_spread, constants.B4 * mean_spread)
        )
    reason = None if within > 0 else NoLimits.NO_VARIATION
    return GroupChart(
        Chart(tuple(means), centre, reason), Chart(tuple(spreads), centre_line, reason), within
    )


def xbar_r(
    groups: Sequence[Sequence[float]],
    *,
    centre: float | None = None,
    sigma: float | None = None,
    sigmas: float = SIGMAS,
) -> GroupChart:
    """
    Chart means and ranges of groups of one size.

    Parameters
    ----------
    groups : Sequence of Sequence of float
        Values in any unit, as many in each group, at least two; groups in order of time.
    centre : float or None, optional
        Mean in the long run; by default that of all values.
    sigma : float or None, optional
        Standard deviation of single values in the long run, above 0; by default the mean range
        over d2.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    GroupChart
        Both charts, in the unit of the values; without groups charts without points. If no value
        differs from its group, all limits are on the centre line.

    Raises
    ------
    ValueError
        If groups differ in size or have fewer than two values, or a number lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 6.2.

    Examples
    --------
    >>> chart = xbar_r([[9, 10, 11], [10, 11, 12], [13, 14, 15]])
    >>> round(chart.means.points[0].upper, 2), chart.means.out
    (13.71, (3,))
    """
    found = _checked(groups, centre, sigma, sigmas)
    if not found:
        return GroupChart(_EMPTY, _EMPTY, sigma)
    sizes = sorted({len(group) for group in found})
    if len(sizes) > 1:
        raise ValueError(f"groups must have one size, not {sizes[0]} and {sizes[-1]}")
    constants = control_constants(sizes[0], sigmas)
    centre = _grand_mean(found) if centre is None else centre
    widths = [max(group) - min(group) for group in found]
    mean_width = math.fsum(widths) / len(widths) if sigma is None else constants.d2 * sigma
    reach = constants.A2 * mean_width
    reason = None if mean_width > 0 else NoLimits.NO_VARIATION
    means = tuple(
        chart_point(math.fsum(group) / len(group), centre - reach, centre + reach)
        for group in found
    )
    spreads = tuple(
        chart_point(width, constants.D3 * mean_width, constants.D4 * mean_width) for width in widths
    )
    return GroupChart(
        Chart(means, centre, reason), Chart(spreads, mean_width, reason), mean_width / constants.d2
    )


def _grand_mean(groups: Sequence[Sequence[float]]) -> float:
    return math.fsum(map(math.fsum, groups)) / sum(map(len, groups))


def _checked(
    groups: Sequence[Sequence[float]], centre: float | None, sigma: float | None, sigmas: float
) -> list[list[float]]:
    require_positive("sigmas", sigmas)
    if centre is not None:
        finite("centre", [centre])
    if sigma is not None:
        require_positive("sigma", sigma)
    found = [finite("groups", group) for group in groups]
    for number, group in enumerate(found, start=1):
        if len(group) < _LEAST_GROUP:
            raise ValueError(
                f"groups must have at least {_LEAST_GROUP} values, not {len(group)}"
                f" (group {number})"
            )
    return found
