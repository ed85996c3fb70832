"""
Run lengths of CUSUM and EWMA charts of normal values.

The average run length from each level of a chart solves an integral equation. It is solved at
Gauss-Legendre nodes (Nystroem's method): the kernel is a normal density, so the error falls faster
than any power of the number of nodes, and a hundred give ten places and more.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from audits.control.limits import SIGMAS
from audits.control.run_lengths.absorbing import mean_steps
from audits.control.shewhart import finite, require_positive

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

_LEAST_NODES: Final = 40
# Nodes for each standard deviation of the kernel. They lie at most half a standard deviation
# apart, and sums of a normal density at such steps are exact to the last place.
_NODES_PER_SIGMA: Final = 4
# More would take minutes.
_MOST_NODES: Final = 2000
# From here on limits that widen from point to point are those of the long run.
_LAST_WIDENING: Final = 1e-12


def arl_cusum(
    k: float, h: float, shift: float = 0.0, *, headstart: float = 0.0, two_sided: bool = True
) -> float | None:
    """
    Return the average run length of a tabular CUSUM chart.

    Parameters
    ----------
    k : float
        Allowance in standard deviations, at least 0.
    h : float
        Decision interval in standard deviations, above 0.
    shift : float, optional
        How far the true mean lies above the target, in standard deviations; below 0 if it lies
        below.
    headstart : float, optional
        The sums before the first value, in standard deviations, in [0, h].
    two_sided : bool, optional
        Whether the chart adds up on both sides, or only what lies above the target.

    Returns
    -------
    float or None
        Mean number of values up to the signal; None if it is longer than a float can tell.

    Raises
    ------
    ValueError
        If a parameter lies outside its range, or the decision interval above some hundred
        standard deviations.

    Notes
    -----
    Both sides of a chart are put together as if the other sum were 0 whenever one signals [2]_,
    which is so with headstarts of up to half the decision interval.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 9.1, table 9.3.
    .. [2] J. M. Lucas, R. B. Crosier, Fast initial response for CUSUM quality-control schemes,
       Technometrics 24 (1982), 199-205.

    Examples
    --------
    >>> round(arl_cusum(0.5, 4)), round(arl_cusum(0.5, 4, 1.0), 2)
    (168, 8.38)
    """
    require_positive("h", h)
    finite("shift", [shift])
    if not 0 <= k < math.inf:
        raise ValueError(f"k must be at least 0, not {k}")
    if not 0 <= headstart <= h:
        raise ValueError(f"headstart must lie in [0, {h}], not {headstart}")
    if not two_sided:
        return _told(_one_sided_cusum(k, h, headstart, shift)[1])
    zero_above, start_above = _one_sided_cusum(k, h, headstart, shift)
    zero_below, start_below = _one_sided_cusum(k, h, headstart, -shift)
    if math.isinf(zero_above):
        return _told(start_below)
    if math.isinf(zero_below):
        return _told(start_above)
    share = zero_below / (zero_above + zero_below)
    # Divided through by the sum first, so that long run lengths do not overflow.
    return _told(start_above * share + (start_below - zero_below) * (1 - share))


@lru_cache(maxsize=4096)
def _one_sided_cusum(k: float, h: float, headstart: float, shift: float) -> tuple[float, float]:
    """Return the average run lengths from 0 and from the headstart."""
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    levels, weights = _nodes(0.0, h, spread=1.0)
    # The states are 0, where the sum rests, the headstart, and the nodes.
    before = np.concatenate(([0.0, headstart], levels))
    moves = np.zeros((len(before), len(before)))
    moves[:, 0] = _normal_below(k - shift - before)
    moves[:, 2:] = weights * _density(levels[np.newaxis, :] - before[:, np.newaxis] + k - shift)
    steps = mean_steps(moves, _normal_below(before + shift - k - h))
    return (math.inf, math.inf) if steps is None else (float(steps[0]), float(steps[1]))


def arl_ewma(
    lambda_: float, sigmas: float = SIGMAS, shift: float = 0.0, *, varying: bool = False
) -> float | None:
    """
    Return the average run length of a two-sided EWMA chart that begins at its target.

    Parameters
    ----------
    lambda_ : float
        Weight of the newest value, in (0, 1].
    sigmas : float, optional
        Distance of the limits from the target in standard deviations of the average, above 0
        (symbol L).
    shift : float, optional
        How far the true mean lies from the target, in standard deviations of a value.
    varying : bool, optional
        Whether each point has the limits of its own variance, as in `audits.control.ewma.ewma`
        by default, or all have those of the long run.

    Returns
    -------
    float or None
        Mean number of values up to the signal; None if it is longer than a float can tell.

    Raises
    ------
    ValueError
        If a parameter lies outside its range, or the limits are too wide for so small a weight.

    References
    ----------
    .. [1] J. M. Lucas, M. S. Saccucci, Exponentially weighted moving average control schemes,
       Technometrics 32 (1990), 1-12.
    .. [2] S. Knoth, EWMA schemes with non-homogeneous transition kernels, Sequential Analysis 22
       (2003), 241-255.

    Examples
    --------
    >>> round(arl_ewma(0.1, 2.814)), round(arl_ewma(0.1, 2.814, 1.0), 1)
    (500, 10.3)
    """
    if not 0 < lambda_ <= 1:
        raise ValueError(f"lambda_ must lie in (0, 1], not {lambda_}")
    require_positive("sigmas", sigmas)
    finite("shift", [shift])
    return _told(_ewma(lambda_, sigmas, abs(shift), varying=varying))


@lru_cache(maxsize=4096)
def _ewma(lambda_: float, sigmas: float, shift: float, *, varying: bool) -> float:
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    limit = sigmas * math.sqrt(lambda_ / (2 - lambda_))
    levels, weights = _nodes(-limit, limit, spread=lambda_)

    def arrives(before: "NDArray[float64]", after: "NDArray[float64]") -> "NDArray[float64]":
        """Return the density of the average after a value, given the one before."""
        off = after[np.newaxis, :] - (1 - lambda_) * before[:, np.newaxis]
        return _density(off / lambda_ - shift) / lambda_

    # State 0 is the target, where charts begin.
    before = np.concatenate(([0.0], levels))
    rest = (1 - lambda_) * before
    moves = np.zeros((len(before), len(before)))
    moves[:, 1:] = weights * arrives(before, levels)
    leaving = _normal_below((rest - limit) / lambda_ + shift) + _normal_below(
        (-limit - rest) / lambda_ - shift
    )
    steps = mean_steps(moves, leaving)
    if steps is None:
        return math.inf
    if not varying:
        return float(steps[0])
    # Follow the density of the average while limits widen; from then on the steady chart holds.
    at, mass, total, left = np.zeros(1), np.ones(1), 1.0, (1 - lambda_) ** 2
    while left > _LAST_WIDENING:
        now = limit * math.sqrt(1 - left)
        levels, weights = _nodes(-now, now, spread=lambda_)
        mass = (mass @ arrives(at, levels)) * weights
        at = levels
        total += float(mass.sum())
        left *= (1 - lambda_) ** 2
    # What is still inside by then has been counted up to the next value.
    levels, weights = _nodes(-limit, limit, spread=lambda_)
    return total - float(mass.sum()) + float(mass @ _continued(at, arrives, levels, weights, steps))


def _continued(
    at: "NDArray[float64]",
    arrives: Callable[["NDArray[float64]", "NDArray[float64]"], "NDArray[float64]"],
    levels: "NDArray[float64]",
    weights: "NDArray[float64]",
    steps: "NDArray[float64]",
) -> "NDArray[float64]":
    """Return the average run length from other levels than the nodes."""
    return 1 + arrives(at, levels) @ (weights * steps[1:])


def design_cusum(k: float, arl0: float, *, two_sided: bool = True) -> float:
    """
    Return the decision interval that gives an average run length while nothing changes.

    Parameters
    ----------
    k : float
        Allowance in standard deviations, at least 0.
    arl0 : float
        Mean number of values up to a false signal; more than with a decision interval of 0.
    two_sided : bool, optional
        Whether the chart adds up on both sides, or only what lies above the target.

    Returns
    -------
    float
        Decision interval h in standard deviations.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 9.1, table 9.4.

    Examples
    --------
    >>> round(design_cusum(0.5, 370), 2)
    4.77
    """
    if not 0 <= k < math.inf:
        raise ValueError(f"k must be at least 0, not {k}")
    beyond = math.erfc(k / math.sqrt(2)) / 2
    _check_arl0(arl0, 1 / beyond / (2 if two_sided else 1))
    return _solve(lambda h: arl_cusum(k, h, two_sided=two_sided), arl0)


def design_ewma(lambda_: float, arl0: float, *, varying: bool = False) -> float:
    """
    Return the width of limits that gives an average run length while nothing changes.

    Parameters
    ----------
    lambda_ : float
        Weight of the newest value, in (0, 1].
    arl0 : float
        Mean number of values up to a false signal, above 1.
    varying : bool, optional
        Whether each point has the limits of its own variance, or all have those of the long run.

    Returns
    -------
    float
        Distance of the limits from the target in standard deviations of the average (symbol L).

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    References
    ----------
    .. [1] J. M. Lucas, M. S. Saccucci, Exponentially weighted moving average control schemes,
       Technometrics 32 (1990), 1-12.

    Examples
    --------
    >>> round(design_ewma(0.1, 500), 3)
    2.814
    """
    if not 0 < lambda_ <= 1:
        raise ValueError(f"lambda_ must lie in (0, 1], not {lambda_}")
    _check_arl0(arl0, 1.0)
    return _solve(lambda sigmas: arl_ewma(lambda_, sigmas, varying=varying), arl0)


def _check_arl0(arl0: float, least: float) -> None:
    if not least < arl0 < math.inf:
        raise ValueError(f"arl0 must be above {least:g}, not {arl0}")


def _solve(arl: Callable[[float], float | None], arl0: float) -> float:
    from scipy.optimize import brentq  # noqa: PLC0415 - keeps starting the app light

    def excess(width: float) -> float:
        found = arl(width)
        return math.inf if found is None else math.log(found / arl0)

    # The logarithm of the run length is nearly straight in the width.
    low, high = 1e-9, 1.0
    while excess(high) < 0:
        low, high = high, 1.5 * high
    return float(brentq(excess, low, high, xtol=1e-9))


def _told(arl: float) -> float | None:
    return arl if math.isfinite(arl) else None


def _nodes(
    low: float, high: float, *, spread: float
) -> "tuple[NDArray[float64], NDArray[float64]]":
    wanted = _LEAST_NODES + math.ceil(_NODES_PER_SIGMA * (high - low) / spread)
    if wanted > _MOST_NODES:
        raise ValueError(
            f"limits must lie less than {_MOST_NODES // _NODES_PER_SIGMA} steps of one standard"
            f" deviation apart, not {(high - low) / spread:.0f}"
        )
    levels, weights = _legendre(wanted)
    half = (high - low) / 2
    return low + half * (levels + 1), half * weights


@lru_cache(maxsize=64)
def _legendre(nodes: int) -> "tuple[NDArray[float64], NDArray[float64]]":
    from numpy.polynomial.legendre import leggauss  # noqa: PLC0415 - keeps starting the app light

    levels, weights = leggauss(nodes)
    return levels, weights


def _density(z: "NDArray[float64]") -> "NDArray[float64]":
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    density: NDArray[float64] = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return density


def _normal_below(z: "NDArray[float64]") -> "NDArray[float64]":
    from scipy.special import ndtr  # noqa: PLC0415 - keeps starting the app light

    below: NDArray[float64] = ndtr(z)
    return below
