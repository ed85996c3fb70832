"""
Funnel limits: how far chance alone takes a rate from a target, by the trees behind it.

With few trees a rate scatters widely and with many it comes near its target, so that the limits
form a funnel. A worker outside it differs from the target by more than chance explains; inside it
nothing more can be said, and no order among the workers there means anything.

References
----------
.. [1] D. J. Spiegelhalter, Funnel plots for comparing institutional performance, Statistics in
   Medicine 24:1185-1202, 2005.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final, NamedTuple

from audits.comparison.checks import require_counts, require_inside, require_share
from audits.control.limits import FractionLimits, binomial_probabilities, sigma_limits
from audits.estimates.intervals import normal_quantile

LEVELS: Final = (0.95, 0.998)

# Nearer than this to 0 or 1 a target is as good as there.
_LEAST_TARGET: Final = 1e-9

# A chance that equals the tail is inside it; adding up must not push it out.
_ROUNDING: Final = 1e-12


class FunnelLimits(NamedTuple):
    """
    What chance explains for one number of trees.

    Parameters
    ----------
    level : float
        Share of samples inside by chance, in (0, 1), half of the rest on each side.
    lower, upper : float
        Limits of the rate, in [0, 1], interpolated between whole counts so that the curve of the
        funnel is smooth.
    smallest_inside, largest_inside : int
        Whole counts of nonconforming trees that are inside: a count below the smallest, or above
        the largest, comes up with at most half of the rest. A smallest of 0, or a largest of all
        trees, means that nothing can lie outside on that side.
    """

    level: float
    lower: float
    upper: float
    smallest_inside: int
    largest_inside: int


def funnel_limits(
    target: float, due: int, levels: Sequence[float] = LEVELS
) -> tuple[FunnelLimits, ...]:
    """
    Return the funnel's limits for one number of trees, exact by the binomial law.

    Parameters
    ----------
    target : float
        Rate that everybody is compared with, in [0, 1].
    due : int
        Due trees, at least 0.
    levels : Sequence of float, optional
        Shares of samples inside by chance, each in (0, 1).

    Returns
    -------
    tuple of FunnelLimits
        One entry a level, in their order; without trees everything is inside.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Notes
    -----
    The limit for a share p is (r - a) / n, where r is the smallest count with P(R <= r) >= p and
    a = (P(R <= r) - p) / P(R = r).

    References
    ----------
    .. [1] D. J. Spiegelhalter, Statistics in Medicine 24:1185-1202, 2005, appendix A.1.1.

    Examples
    --------
    >>> inner, outer = funnel_limits(0.05, 40)
    >>> round(inner.upper, 3), round(outer.upper, 3), outer.largest_inside
    (0.117, 0.172, 7)
    """
    require_share("target", target)
    if due != int(due) or due < 0:
        raise ValueError(f"due must be a whole number of at least 0, not {due}")
    for level in levels:
        require_inside("a level", level)
    if due == 0:
        return tuple(FunnelLimits(level, 0.0, 1.0, 0, 0) for level in levels)
    chances = binomial_probabilities(target, due)
    return tuple(_limits(chances, level) for level in levels)


def _limits(chances: Sequence[float], level: float) -> FunnelLimits:
    tail = (1 - level) / 2
    low_count, low_limit = _from_below(chances, tail)
    # From the other end, where small chances keep all their digits.
    high_count, high_limit = _from_above(chances, tail)
    due = len(chances) - 1
    lower, upper = (min(max(limit / due, 0.0), 1.0) for limit in (low_limit, high_limit))
    return FunnelLimits(level, lower, upper, low_count, high_count)


def _from_below(chances: Sequence[float], tail: float) -> tuple[int, float]:
    """Return the smallest count that is not in the lower tail, and where the limit lies."""
    sums = enumerate(accumulate(chances))
    count, reached = next(pair for pair in sums if pair[1] > tail * (1 + _ROUNDING))
    return count, count - (reached - tail) / chances[count]


def _from_above(chances: Sequence[float], tail: float) -> tuple[int, float]:
    """Return the largest count that is not in the upper tail, and where the limit lies."""
    beyond, limit = _from_below(chances[::-1], tail)
    # Seen from the other end the limit lies one count further in: a count belongs whole to the
    # share below it.
    return len(chances) - 1 - beyond, len(chances) - 2 - limit


@dataclass(frozen=True)
class Overdispersion:
    """
    How much more the rates scatter than single trees drawn at random would.

    Parameters
    ----------
    target : float
        Rate that everybody is compared with, in (0, 1).
    z : tuple of float or None
        For each worker the distance from the target in standard errors; None without trees.
    winsor_low, winsor_high : float
        Beyond these, distances were pulled in before they were squared, so that a few who stand
        far out do not widen the funnel for all.
    phi : float
        Mean of the squared distances after that; 1 where chance explains the scatter.
    phi_unwinsorised : float
        The same without pulling any in.
    """

    target: float
    z: tuple[float | None, ...]
    winsor_low: float
    winsor_high: float
    phi: float
    phi_unwinsorised: float

    @property
    def factor(self) -> float:
        """What variances are multiplied by: `phi`, but never less than 1."""
        return max(self.phi, 1.0)

    def limits(self, due: int, level: float = LEVELS[-1]) -> FractionLimits:
        """
        Return limits widened by the scatter that all share.

        Parameters
        ----------
        due : int
            Due trees, at least 1.
        level : float, optional
            Share of samples inside by chance, in (0, 1).

        Returns
        -------
        FractionLimits
            Limits of the rate by the normal law, in [0, 1].

        Raises
        ------
        ValueError
            If a parameter lies outside its range; the message names it and its value.
        """
        require_inside("level", level)
        return sigma_limits(self.target, due, normal_quantile(level) * math.sqrt(self.factor))


def overdispersion(
    nonconforming: Sequence[int], due: Sequence[int], target: float, winsorise: float = 0.1
) -> Overdispersion | None:
    """
    Measure how much more the rates scatter than chance explains.

    Trees of one row and of one day are alike, and blocks differ; so workers scatter more than the
    binomial law says, although none of them stands out. Widened limits allow for that.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per worker.
    due : Sequence of int
        Due trees, one count per worker; those without any are left out.
    target : float
        Rate that everybody is compared with, in [0, 1].
    winsorise : float, optional
        Share of the distances pulled in at each end, in [0, 0.5).

    Returns
    -------
    Overdispersion or None
        The distances and their scatter; None if nobody has a due tree or the target is 0 or 1,
        where nothing scatters.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Notes
    -----
    Distances are pulled in to their quantiles at `winsorise` and 1 - `winsorise`, interpolated
    linearly between order statistics (type 7 of Hyndman and Fan).

    References
    ----------
    .. [1] D. J. Spiegelhalter, Statistics in Medicine 24:1185-1202, 2005, appendix A.3.1.
    .. [2] R. J. Hyndman and Y. Fan, The American Statistician 50:361-365, 1996.

    Examples
    --------
    >>> scatter = overdispersion([1, 9, 2, 8], [50, 50, 50, 50], target=0.1)
    >>> round(scatter.phi, 2), round(scatter.phi_unwinsorised, 2)
    (2.52, 2.78)
    """
    pairs = require_counts(nonconforming, due)
    require_share("target", target)
    if not 0 <= winsorise < 0.5:  # noqa: PLR2004 - half at each end would leave none
        raise ValueError(f"winsorise must lie in [0, 0.5), not {winsorise}")
    if not _LEAST_TARGET <= target <= 1 - _LEAST_TARGET or not any(total for _, total in pairs):
        return None
    z = tuple(
        (count / total - target) / math.sqrt(target * (1 - target) / total) if total else None
        for count, total in pairs
    )
    ordered = sorted(distance for distance in z if distance is not None)
    low, high = _quantile(ordered, winsorise), _quantile(ordered, 1 - winsorise)
    pulled_in = [min(max(distance, low), high) for distance in ordered]
    return Overdispersion(
        target=target,
        z=z,
        winsor_low=low,
        winsor_high=high,
        phi=math.fsum(distance**2 for distance in pulled_in) / len(ordered),
        phi_unwinsorised=math.fsum(distance**2 for distance in ordered) / len(ordered),
    )


def _quantile(ordered: Sequence[float], share: float) -> float:
    place = share * (len(ordered) - 1)
    below = min(math.floor(place), len(ordered) - 1)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])
