"""
How many days it takes a new hire to be signed off, and whether this season differs from the last.

Some are not there yet when the question is asked. Leaving them out would flatter, and counting
their days so far as if they had arrived would too: what is known of them is that it takes longer.
Kaplan and Meier's estimate uses exactly that, the log-rank test compares two seasons by it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from audits.estimates.intervals import normal_quantile

_CONFIDENCE: Final = 0.95


@dataclass(frozen=True, order=True)
class Wait:
    """
    How long one person took, or has been at it.

    Parameters
    ----------
    days : float
        Days from the start, at least 0.
    arrived : bool
        Whether the standard was reached on that day; else the person is still on the way.
    """

    days: float
    arrived: bool


@dataclass(frozen=True)
class Step:
    """
    The estimate just after a day on which somebody arrived.

    Parameters
    ----------
    days : float
        Days from the start.
    waiting : int
        People still on the way just before.
    arrived : int
        People who arrived on that day.
    share : float
        Estimated share still on the way afterwards, in [0, 1] (symbol S).
    interval : tuple of float
        Lower and upper bound of the share at 95 %, each in [0, 1]; the whole of it where nobody is
        left on the way.
    """

    days: float
    waiting: int
    arrived: int
    share: float
    interval: tuple[float, float]


@dataclass(frozen=True)
class TimeToStandard:
    """
    The days that a group of people took.

    Parameters
    ----------
    steps : tuple of Step
        One for each day on which somebody arrived.
    people : int
        Everybody asked about.
    arrived : int
        Those who arrived.
    """

    steps: tuple[Step, ...]
    people: int
    arrived: int

    @property
    def median(self) -> float | None:
        """Days after which half have arrived; None while it is less than half."""
        return next((step.days for step in self.steps if step.share <= 1 / 2), None)

    @property
    def median_interval(self) -> tuple[float | None, float | None]:
        """Bounds of the median at 95 %; None for one that is not reached yet."""
        return (
            next((step.days for step in self.steps if step.interval[0] <= 1 / 2), None),
            next((step.days for step in self.steps if step.interval[1] <= 1 / 2), None),
        )


@dataclass(frozen=True)
class TwoSeasons:
    """
    The log-rank test of two groups.

    Parameters
    ----------
    chi_square : float
        The statistic, with one degree of freedom.
    p_value : float
        Chance of one as large if both groups take equally long.
    expected : float
        Arrivals expected in the first group if both take equally long; fewer than seen mean that
        the first group is the faster one.
    seen : int
        Arrivals of the first group.
    """

    chi_square: float
    p_value: float
    expected: float
    seen: int


def time_to_standard(waits: Sequence[Wait]) -> TimeToStandard:
    """
    Estimate how long people take, counting those still on the way for what is known of them.

    Parameters
    ----------
    waits : Sequence of Wait
        One for each person.

    Returns
    -------
    TimeToStandard
        The product-limit estimate with Greenwood's variance and intervals of log(-log S), and by
        them the median with its interval.

    Raises
    ------
    ValueError
        If days are negative or not finite.

    Notes
    -----
    Once the last person arrives the estimate is 0 and has no variance: it says nothing of how
    many more could have taken longer. That day bounds the median from below only.

    References
    ----------
    .. [1] E. L. Kaplan, P. Meier, Nonparametric estimation from incomplete observations, Journal
       of the American Statistical Association 53 (1958), 457-481.
    .. [2] R. Brookmeyer, J. Crowley, A confidence interval for the median survival time,
       Biometrics 38 (1982), 29-41.

    Examples
    --------
    >>> time_to_standard([Wait(3, True), Wait(5, True), Wait(6, False), Wait(9, True)]).median
    5
    """
    waits = _checked(waits)
    reach = normal_quantile(_CONFIDENCE)
    steps: list[Step] = []
    # Exact, since the median asks whether the share is 1/2, which a product of floats can miss.
    left, greenwood = Fraction(1), 0.0
    for days in sorted({wait.days for wait in waits if wait.arrived}):
        waiting = sum(wait.days >= days for wait in waits)
        arrived = sum(wait.arrived and wait.days == days for wait in waits)
        left *= 1 - Fraction(arrived, waiting)
        if arrived < waiting:
            greenwood += arrived / (waiting * (waiting - arrived))
        share = float(left)
        steps.append(Step(days, waiting, arrived, share, _share_interval(share, greenwood, reach)))
    return TimeToStandard(tuple(steps), len(waits), sum(wait.arrived for wait in waits))


def compare_waits(first: Sequence[Wait], second: Sequence[Wait]) -> TwoSeasons | None:
    """
    Test whether two groups of people take equally long.

    Parameters
    ----------
    first, second : Sequence of Wait
        One for each person of each group.

    Returns
    -------
    TwoSeasons or None
        The log-rank test; None if nobody arrived while both groups were on the way.

    Raises
    ------
    ValueError
        If days are negative or not finite.

    References
    ----------
    .. [1] N. Mantel, Evaluation of survival data and two new rank order statistics arising in its
       consideration, Cancer Chemotherapy Reports 50 (1966), 163-170.
    """
    from scipy.special import ndtr  # noqa: PLC0415 - scipy is slow to load

    first, second = _checked(first), _checked(second)
    expected, variance = 0.0, 0.0
    for days in sorted({wait.days for wait in (*first, *second) if wait.arrived}):
        ours = sum(wait.days >= days for wait in first)
        everybody = ours + sum(wait.days >= days for wait in second)
        arrived = sum(wait.arrived and wait.days == days for wait in (*first, *second))
        expected += arrived * ours / everybody
        if everybody > 1:
            variance += (
                arrived
                * ours
                * (everybody - ours)
                * (everybody - arrived)
                / (everybody**2 * (everybody - 1))
            )
    if variance <= 0:
        return None
    seen = sum(wait.arrived for wait in first)
    chi_square = (seen - expected) ** 2 / variance
    return TwoSeasons(chi_square, 2 * float(ndtr(-math.sqrt(chi_square))), expected, seen)


def _share_interval(share: float, greenwood: float, reach: float) -> tuple[float, float]:
    if share == 0:
        # Nobody is left, and the variance is not known: no share can be ruled out.
        return (0.0, 1.0)
    error = math.sqrt(greenwood) / abs(math.log(share))
    return (share ** math.exp(reach * error), share ** math.exp(-reach * error))


def _checked(waits: Sequence[Wait]) -> list[Wait]:
    for place, wait in enumerate(waits):
        if not 0 <= wait.days < math.inf:
            raise ValueError(f"waits[{place}].days must be at least 0 and finite, not {wait.days}")
    return sorted(waits)
