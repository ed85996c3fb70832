"""What charts of single points have in common: points, limits, and reasons why there are none."""

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

from audits.control.limits import Signal

# A value that equals a limit is inside; rounding must not push it out.
_ROUNDING: Final = 1e-12


class NoLimits(StrEnum):
    """Why a chart has no limits, or limits that say nothing."""

    NO_POINTS = "no points"
    TOO_FEW_POINTS = "too few points"
    NO_VARIATION = "no variation"


@dataclass(frozen=True)
class ChartPoint:
    """
    One point of a chart.

    Parameters
    ----------
    value : float
        What is charted.
    lower, upper : float
        The lowest and the highest value that chance explains.
    signal : Signal or None
        On which side the point lies beyond them, if it does; a limit itself is inside.
    """

    value: float
    lower: float
    upper: float
    signal: Signal | None


@dataclass(frozen=True)
class Chart:
    """
    A chart of single points.

    Parameters
    ----------
    points : tuple of ChartPoint
        The points in order of time; empty if no limits can be found.
    centre : float or None
        The centre line; None if there is nothing to find it from.
    reason : NoLimits or None, optional
        Why there are no limits, or why they say nothing; None if all is well.
    """

    points: tuple[ChartPoint, ...]
    centre: float | None
    reason: NoLimits | None = None

    @property
    def out(self) -> tuple[int, ...]:
        """Return the numbers, from 1, of the points beyond their limits."""
        return tuple(number for number, point in enumerate(self.points, 1) if point.signal)


def chart_point(value: float, lower: float, upper: float) -> ChartPoint:
    """
    Compare a value with its limits.

    Parameters
    ----------
    value : float
        What is charted.
    lower, upper : float
        Its limits, which are inside themselves.

    Returns
    -------
    ChartPoint
        The point with its signal, if it has one.

    Examples
    --------
    >>> chart_point(3.0, 1.0, 2.0).signal.value
    'above'
    """
    slack = _ROUNDING * max(1.0, abs(lower), abs(upper))
    signal = None
    if value > upper + slack:
        signal = Signal.ABOVE
    elif value < lower - slack:
        signal = Signal.BELOW
    return ChartPoint(value, lower, upper, signal)


def kept_points(total: int, left_out: Collection[int]) -> list[int]:
    """
    Return which points the centre line is found from.

    Parameters
    ----------
    total : int
        Number of points.
    left_out : Collection of int
        Numbers, from 1, of points that are charted but whose causes are known, so that they say
        nothing about the process.

    Returns
    -------
    list of int
        Places, from 0, of all other points.

    Raises
    ------
    ValueError
        If a number in `left_out` is none of a point, or no point is left.

    Examples
    --------
    >>> kept_points(4, left_out=[2])
    [0, 2, 3]
    """
    for number in left_out:
        if not 1 <= number <= total:
            raise ValueError(f"left_out must name points from 1 to {total}, not {number}")
    kept = [place for place in range(total) if place + 1 not in left_out]
    if total and not kept:
        raise ValueError(f"left_out must leave a point of {total}, not {sorted(left_out)}")
    return kept


def finite(name: str, values: Iterable[float]) -> list[float]:
    """
    Return values as a list once all of them are numbers.

    Parameters
    ----------
    name : str
        What they are called in a message.
    values : Iterable of float
        The values, in any unit.

    Returns
    -------
    list of float
        The same values.

    Raises
    ------
    ValueError
        If one is not a finite number; names it and its place.
    """
    found = list(values)
    for number, value in enumerate(found, start=1):
        if not math.isfinite(value):
            raise ValueError(f"{name} must be numbers, not {value} (number {number})")
    return found


def require_positive(name: str, value: float) -> None:
    """
    Refuse a number that is not above 0.

    Parameters
    ----------
    name : str
        What it is called in a message.
    value : float
        The number, in any unit.

    Raises
    ------
    ValueError
        If it is 0, negative, infinite or no number.
    """
    if not 0 < value < math.inf:
        raise ValueError(f"{name} must be above 0, not {value}")


def moving_ranges(values: Sequence[float]) -> list[float]:
    """
    Return how far each value lies from the one before.

    Parameters
    ----------
    values : Sequence of float
        Values in order of time.

    Returns
    -------
    list of float
        One fewer than there are values, each at least 0.

    Examples
    --------
    >>> moving_ranges([1.0, 3.0, 2.5])
    [2.0, 0.5]
    """
    return [abs(after - before) for before, after in pairwise(values)]
