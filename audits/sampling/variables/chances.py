"""Chances that a measuring plan accepts normal measurements, as sums over the sample's spread."""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from audits.sampling.variables.estimates import index_of_fraction, largest_index
from audits.sampling.variables.plans import VariablesPlan

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    _Array = NDArray[np.float64]

# Gauss-Legendre points in each of so many panels: the integrands have derivatives of all orders,
# and half as many points change no result by more than 1e-14.
_POINTS: Final = 20
_PANELS: Final = 24

# Chance of a spread outside the range of a sum, at either end.
_LEFT_OUT: Final = 1e-17

# With four values the estimate is uniform, so that the inner rule draws no curve (see below).
_UNIFORM_SIZE: Final = 4


def chance_with_one_limit(plan: VariablesPlan, distance: float) -> float:
    """
    Return the chance of acceptance with one limit.

    With w the sample's standard deviation over the true one, the lot is accepted when the mean
    exceeds its expectation by k w - z true standard deviations or more. Averaged over w this is
    the upper tail of the noncentral t distribution at k sqrt(n).

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    distance : float
        From the true mean to the limit, in true standard deviations (symbol z).

    Returns
    -------
    float
        Probability of acceptance in [0, 1].
    """
    from scipy.special import ndtr  # noqa: PLC0415 - keeps starting the app light

    root = math.sqrt(plan.sample_size)
    if math.isinf(distance):
        return 1.0 if distance > 0 else 0.0
    if plan.known_sigma:
        return float(ndtr(root * (distance - plan.k)))
    spread = _spread(plan.sample_size)
    return _as_chance(float(spread.shares @ ndtr(root * (distance - plan.k * spread.points))))


def chance_with_two_limits(plan: VariablesPlan, below: float, above: float) -> float:
    """
    Return the chance of acceptance with two limits.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    below, above : float
        From the lower limit up to the true mean and from there up to the upper limit, in true
        standard deviations; their sum is positive, and at most one is infinite.

    Returns
    -------
    float
        Probability of acceptance in [0, 1].
    """
    if math.isinf(below) or math.isinf(above):
        # One limit is out of reach, or the mean lies beyond one by any distance.
        return chance_with_one_limit(plan, min(below, above))
    if plan.known_sigma:
        return _chance_with_known_sigma(plan, below, above)
    return _as_chance(
        _chance_with_small_spread(plan, below, above)
        + _chance_with_large_spread(plan, below, above)
    )


def _chance_with_known_sigma(plan: VariablesPlan, below: float, above: float) -> float:
    """Accept between the two means at which the fractions beyond both limits come to M."""
    from scipy.optimize import brentq  # noqa: PLC0415 - keeps starting the app light
    from scipy.special import ndtr  # noqa: PLC0415 - keeps starting the app light

    width = below + above

    def surplus(index: float) -> float:
        return plan.fraction_outside(index, width - index) - plan.largest_fraction

    if surplus(width / 2) > 0:
        return 0.0
    furthest = width - plan.k
    farther = (
        brentq(surplus, width / 2, furthest, xtol=1e-14) if surplus(furthest) > 0 else furthest
    )
    root = math.sqrt(plan.sample_size)
    highest, lowest = root * (farther - below), root * (width - farther - below)
    return _as_chance(float(ndtr(highest) - ndtr(lowest)))


def _chance_with_small_spread(plan: VariablesPlan, below: float, above: float) -> float:
    """
    Add the samples whose spread is so small that no mean has estimates beyond both limits.

    The estimate is 0 from c = (n - 1)/sqrt(n) on. If the limits are c + k sample standard
    deviations apart or more, the lot is accepted from k above the lower limit to k below the
    upper one.
    """
    from scipy.special import ndtr  # noqa: PLC0415 - keeps starting the app light

    spread = _spread(plan.sample_size)
    least_width = max(largest_index(plan.sample_size) + plan.k, 2 * plan.k)
    widest = (below + above) / least_width
    if widest <= spread.lowest:
        return 0.0
    points, shares = spread.points, spread.shares
    if widest < spread.highest:
        points, weights = _panels(spread.lowest, widest)
        shares = weights * spread.density(points)
    root = math.sqrt(plan.sample_size)
    chances = ndtr(root * (above - plan.k * points)) - ndtr(root * (plan.k * points - below))
    return float(shares @ chances)


def _chance_with_large_spread(plan: VariablesPlan, below: float, above: float) -> float:
    """
    Add the samples with which both limits count.

    There the accepted means form an interval around the middle, whose ends lie v from one limit
    and q(M - p(v)) from the other, in sample standard deviations: at the ends both fractions come
    to M. Both ends together give the width d = v + q(M - p(v)), and that gives the spread
    w = (below + above)/d; so v, not w, is the variable of the sum, and no equation is solved.
    Since q' = -1/g with g the density of the estimate, dd/dv = 1 - g(v)/g(q). With
    v = c cos(angle), g is proportional to sin(angle)^(n - 4) and everything is smooth.

    With three values g is least in the middle, and the means found lie *outside* the accepted
    ones. Then d falls with v, which turns the sign of this part: what it adds is below zero, and
    the sum is right again.
    """
    import numpy as np  # noqa: PLC0415 - keeps starting the app light
    from scipy.special import ndtr  # noqa: PLC0415 - as above

    if plan.sample_size == _UNIFORM_SIZE or plan.largest_fraction in {0.0, 1.0}:
        return 0.0
    spread, edge = _spread(plan.sample_size), _Edge(plan)
    width, root = below + above, math.sqrt(plan.sample_size)
    start, end = edge.angles_between(width / spread.highest, width / spread.lowest)
    if start >= end:
        return 0.0
    angles, weights = _panels(start, end)
    far, near = edge.indices(angles)
    apart = far + near
    points = width / apart
    sines, near_sines = np.sin(angles), np.sqrt(1 - (near / edge.largest) ** 2)
    steps = sines * (1 - (sines / near_sines) ** (plan.sample_size - 4)) * edge.largest
    accepted = ndtr(root * (points * far - below)) - ndtr(root * (points * near - below))
    return float((weights * spread.density(points) * points / apart * steps) @ accepted)


class _Edge:
    """Where both estimates come to M: the distances to the two limits, by an angle."""

    def __init__(self, plan: VariablesPlan) -> None:
        self.shape = plan.sample_size / 2 - 1
        self.largest = largest_index(plan.sample_size)
        self.most = plan.largest_fraction
        middle = index_of_fraction(self.most / 2, plan.sample_size)
        self.last_angle = math.acos(middle / self.largest)
        self.falls = plan.sample_size > _UNIFORM_SIZE

    def indices(self, angles: "_Array") -> "tuple[_Array, _Array]":
        """Return the distance to the far limit and to the near one."""
        import numpy as np  # noqa: PLC0415 - keeps starting the app light
        from scipy.special import betainc, betaincinv  # noqa: PLC0415 - as above

        # (1 - cos)/2, without its rounding at small angles.
        beyond_far = betainc(self.shape, self.shape, np.sin(angles / 2) ** 2)
        rest = np.clip(self.most - beyond_far, 0.0, 1.0)
        near = self.largest * (1 - 2 * betaincinv(self.shape, self.shape, rest))
        return self.largest * np.cos(angles), near

    def angles_between(self, narrowest: float, widest: float) -> tuple[float, float]:
        """Return the angles with widths in a range, so that no point is spent on others."""
        if not self.falls:
            return 0.0, self.last_angle
        return self._angle_at(widest), self._angle_at(narrowest)

    def _angle_at(self, width: float) -> float:
        from scipy.optimize import brentq  # noqa: PLC0415 - keeps starting the app light

        def surplus(angle: float) -> float:
            far, near = self.indices(angle)  # type: ignore[arg-type]
            return float(far + near) - width

        if surplus(0.0) <= 0:
            return 0.0
        if surplus(self.last_angle) >= 0:
            return self.last_angle
        return float(brentq(surplus, 0.0, self.last_angle, rtol=1e-6))


@dataclass(frozen=True)
class _Spread:
    """
    Law of the sample's standard deviation over the true one, with points to sum over it.

    Parameters
    ----------
    lowest, highest : float
        Range outside which a spread is practically impossible.
    density : Callable
        Density at an array of spreads.
    points, shares : array
        Spreads over the whole range, and the probability that each stands for.
    """

    lowest: float
    highest: float
    density: "Callable[[_Array], _Array]"
    points: "_Array"
    shares: "_Array"


@lru_cache(maxsize=64)
def _spread(sample_size: int) -> _Spread:
    """Return the law for a sample size: chi over the root of its n - 1 degrees of freedom."""
    import numpy as np  # noqa: PLC0415 - keeps starting the app light
    from scipy.special import gammainccinv, gammaincinv  # noqa: PLC0415 - as above

    half = (sample_size - 1) / 2
    scale = math.log(2) + half * math.log(half) - math.lgamma(half)

    def density(points: "_Array") -> "_Array":
        logs = scale + (2 * half - 1) * np.log(points) - half * points**2
        return np.asarray(np.exp(logs))

    lowest = math.sqrt(gammaincinv(half, _LEFT_OUT) / half)
    highest = math.sqrt(gammainccinv(half, _LEFT_OUT) / half)
    points, weights = _panels(lowest, highest)
    return _Spread(lowest, highest, density, points, weights * density(points))


def _panels(start: float, end: float) -> "tuple[_Array, _Array]":
    """Return points and weights of an integral from `start` to `end`."""
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    places, weights = _rule()
    half = (end - start) / (2 * _PANELS)
    middles = start + half * (2 * np.arange(_PANELS) + 1)
    points = (middles[:, np.newaxis] + half * places).ravel()
    return points, np.tile(half * weights, _PANELS)


@lru_cache(maxsize=1)
def _rule() -> "tuple[_Array, _Array]":
    from numpy.polynomial.legendre import leggauss  # noqa: PLC0415 - keeps starting the app light

    places, weights = leggauss(_POINTS)
    return places, weights


def _as_chance(total: float) -> float:
    """Cut off what rounding left beyond 0 or 1."""
    return min(1.0, max(0.0, total))
