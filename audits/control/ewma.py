"""Exponentially weighted moving averages: small lasting changes, seen sooner than by points."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from audits.control.limits import SIGMAS
from audits.control.shewhart import Chart, ChartPoint, NoLimits, chart_point, require_positive
from audits.control.shewhart import finite as finite_values


@dataclass(frozen=True)
class EwmaChart(Chart):
    """
    A chart of moving averages.

    Parameters
    ----------
    points : tuple of ChartPoint
        The average after each value, with the limits of that moment.
    centre : float or None
        The target.
    reason : NoLimits or None, optional
        Why there are no limits, or why they say nothing; None if all is well.
    runs : tuple of int, optional
        For each point, how many points the average has been on its side of the target without a
        break, that point included; 0 on the target.
    """

    runs: tuple[int, ...] = ()

    @property
    def first_signal(self) -> int | None:
        """Return the number, from 1, of the first point beyond its limits."""
        return next(iter(self.out), None)

    @property
    def since(self) -> int | None:
        """Return the number of the first point of the run that led to the first signal."""
        first = self.first_signal
        return None if first is None else first - self.runs[first - 1] + 1


def ewma(
    values: Sequence[float],
    *,
    lambda_: float,
    target: float,
    sigma: float,
    sigmas: float = SIGMAS,
    steady: bool = False,
) -> EwmaChart:
    """
    Chart moving averages of values of one precision.

    Parameters
    ----------
    values : Sequence of float
        Values in order of time, in any unit.
    lambda_ : float
        Weight of the newest value, in (0, 1].
    target : float
        Mean in the long run; the average begins there.
    sigma : float
        Standard deviation of a value, above 0.
    sigmas : float, optional
        Distance of the limits from the target in standard deviations of the average, above 0
        (symbol L).
    steady : bool, optional
        Whether all points have the limits of the long run. By default each has its own: the first
        averages vary less, so their limits are narrower.

    Returns
    -------
    EwmaChart
        One point per value, in its unit; without values a chart without points.

    Raises
    ------
    ValueError
        If a number lies outside its range; the message names it.

    References
    ----------
    .. [1] J. M. Lucas, M. S. Saccucci, Exponentially weighted moving average control schemes,
       Technometrics 32 (1990), 1-12.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    Examples
    --------
    >>> chart = ewma([10, 11, 13, 14, 15], lambda_=0.3, target=10, sigma=1, sigmas=2.9)
    >>> [round(point.value, 3) for point in chart.points], chart.out, chart.since
    ([10.0, 10.3, 11.11, 11.977, 12.884], (4, 5), 2)
    """
    _check_weight(lambda_, sigmas)
    require_positive("sigma", sigma)
    finite_values("target", [target])
    in_the_long_run = lambda_ / (2 - lambda_)
    points = []
    average, left = target, 1.0
    for value in finite_values("values", values):
        average = lambda_ * value + (1 - lambda_) * average
        left = 0.0 if steady else left * (1 - lambda_) ** 2
        reach = sigmas * sigma * math.sqrt(in_the_long_run * (1 - left))
        points.append(chart_point(average, target - reach, target + reach))
    return _chart(points, target)


def ewma_of_fractions(
    nonconforming: Sequence[int],
    due: Sequence[int],
    *,
    lambda_: float,
    centre: float,
    sigmas: float = SIGMAS,
) -> EwmaChart:
    """
    Chart moving averages of fractions of samples of any size.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample, in order of time.
    due : Sequence of int
        Due trees, one count per sample, each at least 1 (symbol n).
    lambda_ : float
        Weight of the newest fraction, in (0, 1].
    centre : float
        Fraction of nonconforming trees in the long run, in [0, 1]; the average begins there.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations of the average, above 0
        (symbol L).

    Returns
    -------
    EwmaChart
        One point per sample with limits in [0, 1]; without samples a chart without points. With
        a centre of 0 or 1 the limits are on it.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Notes
    -----
    The variance of the average follows its own recursion,
    ``V = lambda^2 p (1 - p) / n + (1 - lambda)^2 V_before``, from 0 on.

    References
    ----------
    .. [1] J. M. Lucas, M. S. Saccucci, Exponentially weighted moving average control schemes,
       Technometrics 32 (1990), 1-12.

    Examples
    --------
    >>> chart = ewma_of_fractions([1, 2, 6, 7], [20] * 4, lambda_=0.3, centre=0.08, sigmas=2.9)
    >>> [round(point.value, 3) for point in chart.points], chart.out
    ([0.071, 0.08, 0.146, 0.207], (4,))
    """
    _check_weight(lambda_, sigmas)
    if not 0 <= centre <= 1:
        raise ValueError(f"centre must lie in [0, 1], not {centre}")
    points = []
    average, variance = centre, 0.0
    for bad, trees in zip(nonconforming, due, strict=True):
        if trees < 1:
            raise ValueError(f"due must be at least 1, not {trees}")
        if not 0 <= bad <= trees:
            raise ValueError(f"nonconforming must lie in [0, {trees}], not {bad}")
        average = lambda_ * bad / trees + (1 - lambda_) * average
        variance = lambda_**2 * centre * (1 - centre) / trees + (1 - lambda_) ** 2 * variance
        reach = sigmas * math.sqrt(variance)
        points.append(chart_point(average, max(centre - reach, 0.0), min(centre + reach, 1.0)))
    return _chart(points, centre)


def _check_weight(lambda_: float, sigmas: float) -> None:
    if not 0 < lambda_ <= 1:
        raise ValueError(f"lambda_ must lie in (0, 1], not {lambda_}")
    require_positive("sigmas", sigmas)


def _chart(points: Sequence[ChartPoint], centre: float) -> EwmaChart:
    reason = None if points else NoLimits.NO_POINTS
    runs = tuple(_runs_of_sides(point.value - centre for point in points))
    return EwmaChart(tuple(points), centre, reason, runs)


def _runs_of_sides(distances: Iterable[float]) -> Iterable[int]:
    run, side = 0, 0.0
    for distance in distances:
        now = (distance > 0) - (distance < 0)
        run = 0 if now == 0 else run + 1 if now == side else 1
        side = now
        yield run
