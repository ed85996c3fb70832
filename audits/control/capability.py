"""
Process capability: how well measured heights and diameters fit between their limits.

The indices compare the width of the band with that of the process, 6 standard deviations. They
suppose a normal distribution, which the shares beyond the limits lean on most.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev
from typing import Final

from audits.control.shewhart import finite, require_positive
from audits.estimates.intervals import Interval

LEAST_VALUES: Final = 2


@dataclass(frozen=True)
class Capability:
    """
    Capability indices of one measure.

    Parameters
    ----------
    size : int
        Number of values.
    mean, sigma : float
        Mean and standard deviation of the values.
    cp : float or None
        Width of the band over 6 sigma; None with one limit.
    cp_interval : Interval or None
        Its confidence interval.
    cpl, cpu : float or None
        Distance of the mean from the lower and from the upper limit over 3 sigma, negative
        beyond it; None without that limit.
    cpk : float
        The smaller of them.
    cpk_interval : Interval
        Its confidence interval.
    cpk_least : float
        Its lower confidence limit when only that side is asked for.
    cpm : float or None
        Width of the band over 6 root mean square distances from the target; None with one limit.
    cpm_interval : Interval or None
        Its confidence interval.
    share_below, share_above : float or None
        Share of a normal distribution with this mean and sigma beyond each limit, in [0, 1];
        None without that limit.
    """

    size: int
    mean: float
    sigma: float
    cp: float | None
    cp_interval: Interval | None
    cpl: float | None
    cpu: float | None
    cpk: float
    cpk_interval: Interval
    cpk_least: float
    cpm: float | None
    cpm_interval: Interval | None
    share_below: float | None
    share_above: float | None


def capability(
    mean: float,
    sigma: float,
    n: int,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    confidence: float = 0.95,
) -> Capability:
    """
    Return capability indices with their intervals.

    Parameters
    ----------
    mean : float
        Mean of the values, in any unit.
    sigma : float
        Their standard deviation, above 0.
    n : int
        Number of values, at least 2.
    lower, upper : float or None, optional
        Limits of the band, one at least; the lower one first if there are both.
    target : float or None, optional
        What is aimed at; by default the middle of the band.
    confidence : float, optional
        Confidence of the intervals, in (0, 1).

    Returns
    -------
    Capability
        All that these limits allow.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    Notes
    -----
    The interval of Cp is exact (chi square with ``n - 1`` degrees of freedom), that of Cpk
    Bissell's approximation, that of Cpm Boyles's (chi square with
    ``n (1 + d^2)^2 / (1 + 2 d^2)``, where d is the distance of mean and target in sigmas).

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 8.3.
    .. [2] A. F. Bissell, How reliable is your capability index?, Applied Statistics 39 (1990),
       331-340.
    .. [3] R. A. Boyles, The Taguchi capability index, Journal of Quality Technology 23 (1991),
       17-26.

    Examples
    --------
    >>> found = capability(50, 1.75, 20, lower=38, upper=62)
    >>> round(found.cp, 2), [round(limit, 2) for limit in found.cp_interval]
    (2.29, [1.56, 3.01])
    """
    finite("mean", [mean])
    require_positive("sigma", sigma)
    _check_size(n)
    _check_confidence(confidence)
    _check_limits(lower, upper, target)
    cpl = None if lower is None else (mean - lower) / (3 * sigma)
    cpu = None if upper is None else (upper - mean) / (3 * sigma)
    cpk = min(side for side in (cpl, cpu) if side is not None)
    cp = cp_interval = cpm = cpm_interval = None
    if lower is not None and upper is not None:
        cp = (upper - lower) / (6 * sigma)
        cp_interval = _chi_square_interval(cp, n - 1, confidence)
        target = (lower + upper) / 2 if target is None else target
        off = ((mean - target) / sigma) ** 2
        cpm = cp / math.sqrt(1 + off)
        cpm_interval = _chi_square_interval(cpm, n * (1 + off) ** 2 / (1 + 2 * off), confidence)
    return Capability(
        size=n,
        mean=mean,
        sigma=sigma,
        cp=cp,
        cp_interval=cp_interval,
        cpl=cpl,
        cpu=cpu,
        cpk=cpk,
        cpk_interval=cpk_interval(cpk, n, confidence),
        cpk_least=cpk - NormalDist().inv_cdf(confidence) * _cpk_error(cpk, n),
        cpm=cpm,
        cpm_interval=cpm_interval,
        share_below=None if cpl is None else _normal_beyond(3 * cpl),
        share_above=None if cpu is None else _normal_beyond(3 * cpu),
    )


def capability_of(
    values: Sequence[float],
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    confidence: float = 0.95,
) -> Capability | None:
    """
    Return capability indices of measured values.

    Parameters
    ----------
    values : Sequence of float
        The values, in any unit.
    lower, upper : float or None, optional
        Limits of the band, one at least; the lower one first if there are both.
    target : float or None, optional
        What is aimed at; by default the middle of the band.
    confidence : float, optional
        Confidence of the intervals, in (0, 1).

    Returns
    -------
    Capability or None
        None for fewer than two values, or if they are all the same.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    Examples
    --------
    >>> capability_of([7.1], upper=9) is None
    True
    """
    found = finite("values", values)
    _check_confidence(confidence)
    _check_limits(lower, upper, target)
    sigma = stdev(found) if len(found) >= LEAST_VALUES else 0.0
    if sigma == 0:
        return None
    return capability(
        fmean(found),
        sigma,
        len(found),
        lower=lower,
        upper=upper,
        target=target,
        confidence=confidence,
    )


def cpk_interval(cpk: float, n: int, confidence: float = 0.95) -> Interval:
    """
    Return the interval of a Cpk, or of the one index of a one-sided limit.

    Parameters
    ----------
    cpk : float
        The index.
    n : int
        Number of values, at least 2.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Index less and plus z times the root of ``1 / (9 n) + cpk^2 / (2 (n - 1))``.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    References
    ----------
    .. [1] A. F. Bissell, How reliable is your capability index?, Applied Statistics 39 (1990),
       331-340.

    Examples
    --------
    >>> [round(limit, 3) for limit in cpk_interval(1.0, 50)]
    [0.782, 1.218]
    """
    finite("cpk", [cpk])
    _check_size(n)
    _check_confidence(confidence)
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * _cpk_error(cpk, n)
    return Interval(cpk - reach, cpk + reach)


def _normal_beyond(z: float) -> float:
    # NormalDist takes the tail from 1 and loses its places.
    return math.erfc(z / math.sqrt(2)) / 2


def _cpk_error(cpk: float, n: int) -> float:
    return math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))


def _chi_square_interval(index: float, freedom: float, confidence: float) -> Interval:
    from scipy.special import chdtri  # noqa: PLC0415 - keeps starting the app light

    tail = (1 - confidence) / 2
    lower, upper = (
        index * math.sqrt(float(chdtri(freedom, above)) / freedom) for above in (1 - tail, tail)
    )
    return Interval(lower, upper)


def _check_size(n: int) -> None:
    if n < LEAST_VALUES:
        raise ValueError(f"n must be at least {LEAST_VALUES}, not {n}")


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")


def _check_limits(lower: float | None, upper: float | None, target: float | None) -> None:
    named = {"lower": lower, "upper": upper, "target": target}
    for name, value in named.items():
        if value is not None:
            finite(name, [value])
    if lower is None and upper is None:
        raise ValueError("lower and upper must not both be None")
    if lower is not None and upper is not None and not lower < upper:
        raise ValueError(f"upper must be above {lower}, not {upper}")
