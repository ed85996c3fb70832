"""The tabular CUSUM chart: what lies above a target is added up, and what lies below."""

from collections.abc import Sequence
from dataclasses import dataclass

from audits.control.limits import Signal
from audits.control.shewhart import NoLimits, chart_point, finite, require_positive


@dataclass(frozen=True)
class CusumPoint:
    """
    Both sums after one value.

    Parameters
    ----------
    plus, minus : float
        What has been added up above and below the target, each at least 0, in the unit of the
        values.
    plus_run, minus_run : int
        For how many values each sum has been above 0 without a break, this one included.
    signal : Signal or None
        Which sum is beyond the decision interval; the larger one if both are.
    """

    plus: float
    minus: float
    plus_run: int
    minus_run: int
    signal: Signal | None


@dataclass(frozen=True)
class CusumChart:
    """
    A tabular CUSUM chart.

    Parameters
    ----------
    points : tuple of CusumPoint
        One point per value.
    decision_interval : float
        The sum beyond which the chart signals, in the unit of the values.
    reason : NoLimits or None, optional
        Why there are no points; None if there are some.
    """

    points: tuple[CusumPoint, ...]
    decision_interval: float
    reason: NoLimits | None = None

    @property
    def out(self) -> tuple[int, ...]:
        """Return the numbers, from 1, of the points with a signal."""
        return tuple(number for number, point in enumerate(self.points, 1) if point.signal)

    @property
    def first_signal(self) -> int | None:
        """Return the number of the first point with a signal."""
        return next(iter(self.out), None)

    @property
    def since(self) -> int | None:
        """Return the number of the first point of the run that led to the first signal."""
        first = self.first_signal
        if first is None:
            return None
        point = self.points[first - 1]
        run = point.plus_run if point.signal is Signal.ABOVE else point.minus_run
        return first - run + 1


def tabular_cusum(
    values: Sequence[float],
    *,
    target: float,
    k: float,
    h: float,
    sigma: float = 1.0,
    headstart: float = 0.0,
) -> CusumChart:
    """
    Add up how far values lie above and below a target.

    Parameters
    ----------
    values : Sequence of float
        Values in order of time, in any unit.
    target : float
        Mean in the long run.
    k : float
        Allowance: how far a value may lie off before it counts, in standard deviations, at
        least 0. Half the change that the chart shall find.
    h : float
        Decision interval in standard deviations, above 0: a larger sum is a signal.
    sigma : float, optional
        Standard deviation of a value, above 0. With the default of 1, `k`, `h` and `headstart`
        are in the unit of the values.
    headstart : float, optional
        Both sums before the first value, in standard deviations, at least 0 and at most `h`.

    Returns
    -------
    CusumChart
        One point per value; without values a chart without points. The sums go on after a signal.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 9.1.
    .. [2] J. M. Lucas, R. B. Crosier, Fast initial response for CUSUM quality-control schemes,
       Technometrics 24 (1982), 199-205.

    Examples
    --------
    >>> chart = tabular_cusum([10, 11, 13, 14, 15], target=10, k=0.5, h=5)
    >>> [point.plus for point in chart.points], chart.first_signal, chart.since
    ([0.0, 0.5, 3.0, 6.5, 11.0], 4, 2)
    """
    require_positive("h", h)
    require_positive("sigma", sigma)
    finite("target", [target])
    if not (k >= 0 and finite("k", [k])):
        raise ValueError(f"k must be at least 0, not {k}")
    if not 0 <= headstart <= h:
        raise ValueError(f"headstart must lie in [0, {h}], not {headstart}")
    allowance, interval = k * sigma, h * sigma
    plus = minus = headstart * sigma
    plus_run = minus_run = 0
    points = []
    for value in finite("values", values):
        plus = max(0.0, plus + (value - target) - allowance)
        minus = max(0.0, minus + (target - value) - allowance)
        plus_run = plus_run + 1 if plus > 0 else 0
        minus_run = minus_run + 1 if minus > 0 else 0
        signal = None
        if chart_point(max(plus, minus), 0.0, interval).signal:
            signal = Signal.ABOVE if plus >= minus else Signal.BELOW
        points.append(CusumPoint(plus, minus, plus_run, minus_run, signal))
    return CusumChart(tuple(points), interval, None if points else NoLimits.NO_POINTS)
