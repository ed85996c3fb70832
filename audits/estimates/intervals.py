"""Intervals for the share of trees with a property, from a sample of them."""

import math
from statistics import NormalDist
from typing import NamedTuple

from audits.errors import InvalidInput
from audits.estimates.inputs import require_confidence, require_sample
from audits.messages import say
from audits.sampling.inputs import require_count, require_fraction


class Interval(NamedTuple):
    """
    The values that a sample leaves possible.

    Parameters
    ----------
    lower : float
        Lower limit.
    upper : float
        Upper limit.
    """

    lower: float
    upper: float


def wilson(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return Wilson's score interval for a proportion.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits in [0, 1]; the whole of it for an empty sample.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] E. B. Wilson, Journal of the American Statistical Association 22:209-212, 1927.

    Examples
    --------
    >>> lower, upper = wilson(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.699, 0.972)
    """
    require_sample(count, total)
    z = normal_quantile(confidence)
    return _score_limits(count, total, z)


def wilson_of_share(share: float, size: float, confidence: float = 0.95) -> Interval:
    """
    Return Wilson's score interval for a share that is worth a number of trees.

    Parameters
    ----------
    share : float
        The share found, in [0, 1] (symbol p).
    size : float
        Trees of a simple random sample that would be as informative, above 0.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits in [0, 1].

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    Examples
    --------
    >>> wilson_of_share(0.9, 20) == wilson(18, 20)
    True
    """
    require_fraction("share", share)
    if not 0 < size < math.inf:
        raise InvalidInput(
            {"size": say("This must be a number above 0; it is %(value)s.", value=size)}
        )
    return _score_limits(share * size, size, normal_quantile(confidence))


def wilson_corrected(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return Wilson's score interval with continuity correction.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits in [0, 1]; the whole of it for an empty sample.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17:857-872, 1998, method 4.

    Examples
    --------
    >>> lower, upper = wilson_corrected(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.669, 0.982)
    """
    require_sample(count, total)
    z = normal_quantile(confidence)
    if total == 0:
        return Interval(0.0, 1.0)
    proportion = count / total
    middle = 2 * count + z * z

    def spread(direction: int) -> float:
        inside = z * z - 2 * direction - 1 / total
        inside += 4 * proportion * (total - count + direction)
        # At the ends this can fall below zero; there the limits are 0 and 1 anyway.
        return z * math.sqrt(max(inside, 0.0)) + 1

    return _with_exact_ends(
        count, total, middle - spread(1), middle + spread(-1), 2 * (total + z * z)
    )


def clopper_pearson(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return the exact interval for a proportion, after Clopper and Pearson.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the interval, in (0, 1); half of the rest lies beyond each limit.

    Returns
    -------
    Interval
        Limits in [0, 1]; the whole of it for an empty sample.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26:404-413, 1934.

    Examples
    --------
    >>> lower, upper = clopper_pearson(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.683, 0.988)
    """
    tail = _tail(confidence)
    return Interval(
        exact_lower_limit(count, total, 1 - tail), exact_upper_limit(count, total, 1 - tail)
    )


def exact_lower_limit(count: int, total: int, confidence: float = 0.95) -> float:
    """
    Return the exact limit that a proportion is at least, after Clopper and Pearson.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the limit, in (0, 1); all of the rest lies below it.

    Returns
    -------
    float
        The limit, in [0, 1]; 0 where no tree has the property.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26:404-413, 1934.

    Examples
    --------
    >>> round(exact_lower_limit(18, 20), 3)
    0.717
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - keeps starting the app light

    require_sample(count, total)
    require_confidence(confidence)
    if count == 0:
        return 0.0
    return float(betaincinv(count, total - count + 1, 1 - confidence))


def exact_upper_limit(count: int, total: int, confidence: float = 0.95) -> float:
    """
    Return the exact limit that a proportion is at most, after Clopper and Pearson.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the limit, in (0, 1); all of the rest lies above it.

    Returns
    -------
    float
        The limit, in [0, 1]; 1 where every tree has the property.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26:404-413, 1934.

    Examples
    --------
    >>> round(exact_upper_limit(0, 59), 3)
    0.05
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - keeps starting the app light

    require_sample(count, total)
    require_confidence(confidence)
    if count == total:
        return 1.0
    return float(betaincinv(count + 1, total - count, confidence))


def jeffreys(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return the equal-tailed interval for a proportion under Jeffreys' prior.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Probability inside the interval, in (0, 1).

    Returns
    -------
    Interval
        Quantiles of a beta distribution, in (0, 1); not set to 0 or 1 at the ends.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] L. D. Brown, T. T. Cai and A. DasGupta, Statistical Science 16:101-133, 2001.

    Examples
    --------
    >>> lower, upper = jeffreys(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.716, 0.979)
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - keeps starting the app light

    require_sample(count, total)
    tail = _tail(confidence)
    shapes = (count + 0.5, total - count + 0.5)
    return Interval(float(betaincinv(*shapes, tail)), float(betaincinv(*shapes, 1 - tail)))


def agresti_coull(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return Agresti and Coull's adjusted interval for a proportion.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 0 (symbol n).
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits, cut to [0, 1]; the whole of it for an empty sample.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] A. Agresti and B. A. Coull, The American Statistician 52:119-126, 1998.

    Examples
    --------
    >>> lower, upper = agresti_coull(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.687, 0.984)
    """
    require_sample(count, total)
    z = normal_quantile(confidence)
    adjusted_total = total + z * z
    middle = (count + z * z / 2) / adjusted_total
    spread = z * math.sqrt(middle * (1 - middle) / adjusted_total)
    return Interval(max(middle - spread, 0.0), min(middle + spread, 1.0))


def wald(count: int, total: int, confidence: float = 0.95) -> Interval:
    """
    Return the textbook interval for a proportion: the estimate plus and minus z standard errors.

    It is here for comparison alone. It is a single point where no tree or every tree has the
    property, reaches beyond 0 and 1 near them, and holds the true share less often than it says;
    for people use `wilson`.

    Parameters
    ----------
    count : int
        Trees with the property, from 0 to `total` (symbol x).
    total : int
        Trees in the sample, at least 1 (symbol n).
    confidence : float, optional
        Nominal confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits as the formula gives them, not cut to [0, 1].

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] L. D. Brown, T. T. Cai and A. DasGupta, Statistical Science 16:101-133, 2001.

    Examples
    --------
    >>> lower, upper = wald(18, 20)
    >>> round(lower, 3), round(upper, 3)
    (0.769, 1.031)
    """
    require_sample(count, total, least_total=1)
    share = count / total
    spread = normal_quantile(confidence) * math.sqrt(share * (1 - share) / total)
    return Interval(share - spread, share + spread)


def normal_quantile(confidence: float) -> float:
    """
    Return how many standard errors a two-sided interval reaches out.

    Parameters
    ----------
    confidence : float
        Confidence of the interval, in (0, 1).

    Returns
    -------
    float
        Quantile of the standard normal law (symbol z), above 0.

    Raises
    ------
    InvalidInput
        If the confidence lies outside its range; names the field.

    Examples
    --------
    >>> round(normal_quantile(0.95), 4)
    1.96
    """
    require_confidence(confidence)
    return NormalDist().inv_cdf((1 + confidence) / 2)


def student_quantile(confidence: float, degrees_of_freedom: int) -> float:
    """
    Return how many estimated standard errors a two-sided interval reaches out.

    Parameters
    ----------
    confidence : float
        Confidence of the interval, in (0, 1).
    degrees_of_freedom : int
        Degrees of freedom of the standard error, at least 1.

    Returns
    -------
    float
        Quantile of Student's law (symbol t), above 0.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    Examples
    --------
    >>> round(student_quantile(0.95, 24), 4)
    2.0639
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - keeps starting the app light

    require_confidence(confidence)
    require_count("degrees_of_freedom", degrees_of_freedom, 1)
    return float(stdtrit(degrees_of_freedom, (1 + confidence) / 2))


def _tail(confidence: float) -> float:
    """Return what lies beyond each limit of a two-sided interval."""
    require_confidence(confidence)
    return (1 - confidence) / 2


def _score_limits(count: float, total: float, z: float) -> Interval:
    # Multiplied by n, the formula also holds for an empty sample.
    spread = z * math.sqrt(z * z / 4 + (count * (total - count) / total if total else 0))
    middle = count + z * z / 2
    return _with_exact_ends(count, total, middle - spread, middle + spread, total + z * z)


def _with_exact_ends(
    count: float, total: float, lower: float, upper: float, divisor: float
) -> Interval:
    """Divide, and set the limits that are 0 or 1 by definition free of rounding."""
    return Interval(
        0.0 if count == 0 else max(lower / divisor, 0.0),
        1.0 if count == total else min(upper / divisor, 1.0),
    )
