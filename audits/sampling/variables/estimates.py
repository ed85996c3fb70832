"""The fraction beyond a limit, estimated from a mean and a standard deviation, and its inverse."""

import math

from audits.errors import InvalidInput
from audits.messages import say
from audits.sampling.inputs import TypedNumber, require_count, require_fraction

# With two values the best estimate of a fraction is 0, one half or 1, whatever was measured; the
# tables of the standards begin at three as well.
LEAST_VALUES = 3
LEAST_VALUES_WITH_KNOWN_SIGMA = 2


def least_values(*, known_sigma: bool) -> int:
    """
    Return the fewest values from which a fraction is estimated.

    Parameters
    ----------
    known_sigma : bool
        Whether the standard deviation is known beforehand.

    Returns
    -------
    int
        Two if it is known, else three.
    """
    return LEAST_VALUES_WITH_KNOWN_SIGMA if known_sigma else LEAST_VALUES


def largest_index(sample_size: int) -> float:
    """
    Return the distance to a limit from which on, sigma unknown, nothing is expected beyond it.

    Parameters
    ----------
    sample_size : int
        Values measured, at least 3 (symbol n).

    Returns
    -------
    float
        Distance in standard deviations of the sample: (n - 1)/sqrt(n).
    """
    return (sample_size - 1) / math.sqrt(sample_size)


def fraction_beyond(index: float, sample_size: int, *, known_sigma: bool = False) -> float:
    """
    Return the best estimate of the fraction of a lot beyond one limit.

    Of all unbiased estimates from normal measurements this is the one of least variance. With a
    standard deviation from the sample it is a beta probability, p = I(n/2 - 1, n/2 - 1) at
    x = (1 - Q sqrt(n)/(n - 1))/2 cut to [0, 1]; with a known one it is the upper normal tail
    beyond Q sqrt(n/(n - 1)).

    Parameters
    ----------
    index : float
        Distance from the mean to the limit in standard deviations, below zero where the mean lies
        beyond the limit (symbol Q, the quality index).
    sample_size : int
        Values measured, at least 3, or 2 with known sigma (symbol n).
    known_sigma : bool, optional
        Whether the standard deviation was known beforehand.

    Returns
    -------
    float
        Estimated fraction, a ratio in [0, 1].

    Raises
    ------
    InvalidInput
        If there are too few values or the index is not a number.

    References
    ----------
    .. [1] G. J. Lieberman and G. J. Resnikoff, Sampling plans for inspection by variables,
       Journal of the American Statistical Association 50:457-516, 1955.
    .. [2] MIL-STD-414, 1957, Tables B-5 and D-5 (estimates of the per cent defective).

    Examples
    --------
    >>> round(fraction_beyond(2.0, 42), 6)
    0.020696
    """
    from scipy.special import betainc, ndtr  # noqa: PLC0415 - keeps starting the app light

    require_count("sample_size", sample_size, least_values(known_sigma=known_sigma))
    if math.isnan(index):
        raise InvalidInput(
            {"index": say("This must be a number; it is %(value)s.", value=TypedNumber(index))}
        )
    if known_sigma:
        return float(ndtr(-index * math.sqrt(sample_size / (sample_size - 1))))
    shape = sample_size / 2 - 1
    place = (1 - index / largest_index(sample_size)) / 2
    return float(betainc(shape, shape, min(1.0, max(0.0, place))))


def index_of_fraction(fraction: float, sample_size: int, *, known_sigma: bool = False) -> float:
    """
    Return the distance to a limit at which a given fraction is estimated beyond it.

    Parameters
    ----------
    fraction : float
        Estimated fraction, a ratio in [0, 1]; with known sigma, in (0, 1).
    sample_size : int
        Values measured, at least 3, or 2 with known sigma (symbol n).
    known_sigma : bool, optional
        Whether the standard deviation was known beforehand.

    Returns
    -------
    float
        Distance in standard deviations, the inverse of `fraction_beyond`. It turns the largest
        fraction M of a plan into its constant k.

    Raises
    ------
    InvalidInput
        If there are too few values, or the fraction lies outside its range.

    References
    ----------
    .. [1] MIL-STD-414, 1957, B3 and B7 (forms 1 and 2 of the same plan).

    Examples
    --------
    >>> round(index_of_fraction(0.0317, 75), 2)
    1.84
    """
    from scipy.special import betaincinv, ndtri  # noqa: PLC0415 - keeps starting the app light

    require_count("sample_size", sample_size, least_values(known_sigma=known_sigma))
    require_fraction("fraction", fraction)
    if not known_sigma:
        shape = sample_size / 2 - 1
        return largest_index(sample_size) * (1 - 2 * float(betaincinv(shape, shape, fraction)))
    if fraction in {0.0, 1.0}:
        raise InvalidInput(
            {
                "fraction": say(
                    "With a known standard deviation the estimate lies above 0 and below 1; "
                    "%(value)s does not.",
                    value=TypedNumber(fraction),
                )
            }
        )
    return -float(ndtri(fraction)) / math.sqrt(sample_size / (sample_size - 1))
