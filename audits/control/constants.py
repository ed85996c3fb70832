"""
The constants of charts of means, ranges and standard deviations, by their formulas.

They are the means and spreads of what a sample of a normal distribution with standard deviation 1
shows: `c4` of its standard deviation, `d2` and `d3` of its range.
"""

import math
from functools import lru_cache
from typing import Final, NamedTuple

from audits.control.limits import SIGMAS
from audits.control.shewhart import require_positive

# The density of a normal distribution is below 1e-22 beyond ten standard deviations, and sums at
# steps of a tenth of one are exact to the last place: the error falls with exp(-2 pi^2 / step^2).
_REACH: Final = 10.0
_STEP: Final = 0.1
_ROOT_2: Final = math.sqrt(2)


class ControlConstants(NamedTuple):
    """
    Constants of one sample size.

    Parameters
    ----------
    A2, A3 : float
        Limits of means: this many mean ranges, or mean standard deviations, from the centre.
    c4 : float
        Mean of the sample's standard deviation.
    B3, B4 : float
        Limits of standard deviations: multiples of their mean.
    d2, d3 : float
        Mean and standard deviation of the sample's range.
    D3, D4 : float
        Limits of ranges: multiples of their mean.
    """

    A2: float
    A3: float
    c4: float
    B3: float
    B4: float
    d2: float
    d3: float
    D3: float
    D4: float


def _check(size: int) -> None:
    if not (size >= 2 and size == int(size)):  # noqa: PLR2004 - a spread takes two values
        raise ValueError(f"size must be a whole number of at least 2, not {size}")


def c4(size: int) -> float:
    """
    Return the mean standard deviation of normal samples, whose own is 1.

    Parameters
    ----------
    size : int
        Values of a sample, at least 2 (symbol n).

    Returns
    -------
    float
        ``sqrt(2 / (n - 1)) * gamma(n / 2) / gamma((n - 1) / 2)``, below 1.

    Raises
    ------
    ValueError
        If `size` is below 2.

    References
    ----------
    .. [1] ASTM MNL 7, Manual on Presentation of Data and Control Chart Analysis.

    Examples
    --------
    >>> round(c4(5), 4)
    0.94
    """
    _check(size)
    return math.sqrt(2 / (size - 1)) * math.exp(math.lgamma(size / 2) - math.lgamma((size - 1) / 2))


def d2(size: int) -> float:
    """
    Return the mean range of normal samples, whose standard deviation is 1.

    Parameters
    ----------
    size : int
        Values of a sample, at least 2 (symbol n).

    Returns
    -------
    float
        The integral of ``1 - F(x)^n - (1 - F(x))^n`` over all x, where F is the normal
        distribution function.

    Raises
    ------
    ValueError
        If `size` is below 2.

    References
    ----------
    .. [1] L. H. C. Tippett, On the extreme individuals and the range of samples taken from a
       normal population, Biometrika 17 (1925), 364-387.

    Examples
    --------
    >>> round(d2(2), 6), round(d2(5), 3)
    (1.128379, 2.326)
    """
    _check(size)
    return _mean_range(size)


def d3(size: int) -> float:
    """
    Return the standard deviation of the range of normal samples, whose own is 1.

    Parameters
    ----------
    size : int
        Values of a sample, at least 2 (symbol n).

    Returns
    -------
    float
        The root of the mean square of the range less the square of its mean.

    Raises
    ------
    ValueError
        If `size` is below 2.

    References
    ----------
    .. [1] L. H. C. Tippett, On the extreme individuals and the range of samples taken from a
       normal population, Biometrika 17 (1925), 364-387.

    Examples
    --------
    >>> round(d3(5), 3)
    0.864
    """
    _check(size)
    return _deviation_of_range(size)


def _normal_below(x: float) -> float:
    return math.erfc(-x / _ROOT_2) / 2


def _grid() -> list[float]:
    steps = round(_REACH / _STEP)
    return [step * _STEP for step in range(-steps, steps + 1)]


@lru_cache
def _mean_range(size: int) -> float:
    # The integrand is even, so the upper half will do. 1 - F^n goes by way of logarithms, so that
    # nothing is lost in the tail.
    return (
        2
        * _STEP
        * math.fsum(
            (0.5 if x == 0 else 1.0)
            * (-math.expm1(size * math.log1p(-_normal_below(-x))) - _normal_below(-x) ** size)
            for x in _grid()
            if x >= 0
        )
    )


@lru_cache
def _deviation_of_range(size: int) -> float:
    # The mean square is twice the integral of w P(range > w) over w from 0 on. With
    # w = exp(t - exp(-t)) the ends fall off doubly exponentially, so that equal steps of t are
    # exact (Takahasi and Mori 1974), even where the integrand has a bend at 0.
    cells = [(x, math.exp(-x * x / 2) / math.sqrt(2 * math.pi)) for x in _grid()]
    total = 0.0
    for number in range(-80, 61):
        t = number / 20
        w = math.exp(t - math.exp(-t))
        slope = w * (1 + math.exp(-t))
        within = math.fsum(
            density * (_normal_below(x + w) - _normal_below(x)) ** (size - 1)
            for x, density in cells
        )
        total += slope * w * (1 - size * _STEP * within)
    mean_square = 2 * total / 20
    return math.sqrt(mean_square - _mean_range(size) ** 2)


def control_constants(size: int, sigmas: float = SIGMAS) -> ControlConstants:
    """
    Return all constants of one sample size.

    Parameters
    ----------
    size : int
        Values of a sample, at least 2 (symbol n).
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    ControlConstants
        Lower limits that would be negative are 0.

    Raises
    ------
    ValueError
        If a parameter lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, appendix VI.

    Examples
    --------
    >>> constants = control_constants(5)
    >>> round(constants.A2, 3), round(constants.B4, 3), constants.D3
    (0.577, 2.089, 0.0)
    """
    require_positive("sigmas", sigmas)
    deviation, mean, spread = c4(size), d2(size), d3(size)
    of_deviation = sigmas * math.sqrt(1 - deviation**2) / deviation
    of_range = sigmas * spread / mean
    return ControlConstants(
        A2=sigmas / (mean * math.sqrt(size)),
        A3=sigmas / (deviation * math.sqrt(size)),
        c4=deviation,
        B3=max(0.0, 1 - of_deviation),
        B4=1 + of_deviation,
        d2=mean,
        d3=spread,
        D3=max(0.0, 1 - of_range),
        D4=1 + of_range,
    )
