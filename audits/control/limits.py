"""Limits of a fraction of nonconforming trees: three sigma, and exact binomial."""

import math
from collections.abc import Iterable
from enum import StrEnum
from itertools import accumulate, takewhile
from typing import Final, NamedTuple

SIGMAS: Final = 3.0
# Share of points beyond three sigma limits of a normal distribution, both sides together.
FALSE_ALARM: Final = 0.0027

# A fraction that equals a limit is inside; rounding must not push it out.
_ROUNDING: Final = 1e-12
_TAIL_ROUNDING: Final = 1e-9


class Signal(StrEnum):
    """On which side a point lies beyond its limits."""

    ABOVE = "above"
    BELOW = "below"


class FractionLimits(NamedTuple):
    """
    The lowest and the highest fraction that chance explains.

    Parameters
    ----------
    lower : float
        Lowest fraction inside, in [0, 1].
    upper : float
        Highest fraction inside, in [0, 1].
    """

    lower: float
    upper: float

    def signal(self, fraction: float) -> Signal | None:
        """
        Tell whether a fraction lies beyond the limits.

        Parameters
        ----------
        fraction : float
            Fraction of nonconforming trees, in [0, 1].

        Returns
        -------
        Signal or None
            The side, or None for a fraction inside; a limit itself is inside.
        """
        if fraction > self.upper + _ROUNDING:
            return Signal.ABOVE
        if fraction < self.lower - _ROUNDING:
            return Signal.BELOW
        return None


class CountLimits(NamedTuple):
    """
    The smallest and the largest count that chance explains.

    Parameters
    ----------
    lower : int
        Smallest count inside.
    upper : int
        Largest count inside.
    """

    lower: int
    upper: int


def sigma_limits(centre: float, due: int, sigmas: float = SIGMAS) -> FractionLimits:
    """
    Return the limits of a p chart for one point.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in [0, 1] (symbol p).
    due : int
        Due trees of the point, at least 1 (symbol n).
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    FractionLimits
        Centre minus and plus `sigmas` times the root of p (1 - p) / n, cut to [0, 1].

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.

    Examples
    --------
    >>> lower, upper = sigma_limits(0.2, due=100)
    >>> round(lower, 2), round(upper, 2)
    (0.08, 0.32)
    """
    _check(centre, due)
    if not sigmas > 0:
        raise ValueError(f"sigmas must be above 0, not {sigmas}")
    spread = sigmas * math.sqrt(centre * (1 - centre) / due)
    return FractionLimits(max(centre - spread, 0.0), min(centre + spread, 1.0))


def probability_limits(centre: float, due: int, false_alarm: float = FALSE_ALARM) -> CountLimits:
    """
    Return the exact limits of a count of nonconforming trees.

    The count of a stable process follows a binomial law, and counts are whole numbers. So the
    upper limit is the smallest count that is exceeded with a probability of at most half the
    false alarm rate, and the lower limit the largest count that is fallen short of with at most
    that probability. The true rate of false alarms is therefore `false_alarm` or less, for blocks
    of 10 or 20 trees often much less. A lower limit of 0, or an upper limit of `due`, means that
    no count can signal on that side.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in [0, 1] (symbol p).
    due : int
        Due trees of the point, at least 1 (symbol n).
    false_alarm : float, optional
        Probability of a signal by chance alone, both sides together, in (0, 1).

    Returns
    -------
    CountLimits
        Smallest and largest count inside.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Examples
    --------
    >>> probability_limits(0.05, due=10)
    CountLimits(lower=0, upper=3)
    """
    _check(centre, due)
    if not 0 < false_alarm < 1:
        raise ValueError(f"false_alarm must lie between 0 and 1, not {false_alarm}")
    probabilities = binomial_probabilities(centre, due)
    fall_short = _counts_beyond(probabilities, false_alarm / 2)
    exceed = _counts_beyond(reversed(probabilities), false_alarm / 2)
    return CountLimits(fall_short, due - exceed)


def _counts_beyond(probabilities: Iterable[float], largest_tail: float) -> int:
    """Count from the outside in how many counts together stay within the tail."""
    allowed = largest_tail * (1 + _TAIL_ROUNDING)
    return sum(1 for _ in takewhile(lambda tail: tail <= allowed, accumulate(probabilities)))


def binomial_probabilities(centre: float, due: int) -> list[float]:
    """
    Return the probability of each count of nonconforming trees.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in [0, 1] (symbol p).
    due : int
        Due trees, at least 1 (symbol n).

    Returns
    -------
    list of float
        The binomial probabilities of 0, 1, ... up to `due`.

    Examples
    --------
    >>> [round(chance, 3) for chance in binomial_probabilities(0.5, 2)]
    [0.25, 0.5, 0.25]
    """
    # The logarithm of 0 does not exist; there one count is certain.
    if centre in {0.0, 1.0}:
        return [float(count == due * centre) for count in range(due + 1)]
    log_hit, log_miss = math.log(centre), math.log1p(-centre)
    log_orders = math.lgamma(due + 1)
    return [
        math.exp(
            log_orders
            - math.lgamma(count + 1)
            - math.lgamma(due - count + 1)
            + count * log_hit
            + (due - count) * log_miss
        )
        for count in range(due + 1)
    ]


def _check(centre: float, due: int) -> None:
    if not 0 <= centre <= 1:
        raise ValueError(f"centre must lie in [0, 1], not {centre}")
    if due < 1:
        raise ValueError(f"due must be at least 1, not {due}")
