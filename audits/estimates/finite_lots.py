"""What a sample says of a real lot, whose trees can be counted."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple

from audits.estimates.inputs import require_confidence, require_sample
from audits.estimates.intervals import Interval, normal_quantile, wilson_of_share
from audits.sampling.inputs import require_count
from audits.sampling.laws import Hypergeometric, as_written

# A probability this near its limit, relative to it, is computed again without rounding.
_NEAR: Final = 1e-9


class LotLimits(NamedTuple):
    """
    The numbers of trees that a sample leaves possible in its lot.

    Parameters
    ----------
    lower : int
        Fewest trees with the property in the whole lot.
    upper : int
        Most trees with the property in the whole lot.
    """

    lower: int
    upper: int


@dataclass(frozen=True)
class LotEstimate:
    """
    The share of a lot's trees with a property, by the normal law.

    Parameters
    ----------
    fraction : float
        Share in the sample, in [0, 1].
    standard_error : float
        Its standard error with finite correction, at least 0.
    interval : Interval
        Limits with continuity correction, as the formula gives them: not cut to [0, 1].
    """

    fraction: float
    standard_error: float
    interval: Interval


def lot_limits(count: int, sample_size: int, lot_size: int, confidence: float = 0.95) -> LotLimits:
    """
    Return the exact limits for the number of trees with a property in a lot, by whole trees.

    Parameters
    ----------
    count : int
        Trees with the property in the sample, from 0 to `sample_size` (symbol x).
    sample_size : int
        Trees drawn without replacement, at least 1 (symbol n).
    lot_size : int
        Trees in the lot, at least `sample_size` (symbol N).
    confidence : float, optional
        Confidence of the limits, in (0, 1); at most half of the rest lies beyond each.

    Returns
    -------
    LotLimits
        All numbers between them, ends included, are those that give the sample's count or more,
        and the sample's count or fewer, each with a probability above half of the rest.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26:404-413, 1934, for the method.
    .. [2] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 3.6, for the hypergeometric law.

    Examples
    --------
    >>> lot_limits(2, sample_size=20, lot_size=120)
    LotLimits(lower=2, upper=35)
    """
    _require_lot(count, sample_size, lot_size)
    require_confidence(confidence)
    tail = (1 - as_written(confidence)) / 2
    return LotLimits(
        _least_in_lot(count, sample_size, lot_size, tail),
        _most_in_lot(count, sample_size, lot_size, tail),
    )


def lot_upper_limit(count: int, sample_size: int, lot_size: int, confidence: float = 0.95) -> int:
    """
    Return the exact limit that the number of trees with a property in a lot is at most.

    Parameters
    ----------
    count : int
        Trees with the property in the sample, from 0 to `sample_size` (symbol x).
    sample_size : int
        Trees drawn without replacement, at least 1 (symbol n).
    lot_size : int
        Trees in the lot, at least `sample_size` (symbol N).
    confidence : float, optional
        Confidence of the limit, in (0, 1); all of the rest lies above it.

    Returns
    -------
    int
        The largest number that gives the sample's count or fewer with a probability above the
        rest.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    Examples
    --------
    >>> lot_upper_limit(0, sample_size=20, lot_size=120)
    15
    """
    _require_lot(count, sample_size, lot_size)
    require_confidence(confidence)
    return _most_in_lot(count, sample_size, lot_size, 1 - as_written(confidence))


def wilson_in_lot(
    count: int, sample_size: int, lot_size: int, confidence: float = 0.95
) -> Interval:
    """
    Return Wilson's score interval for the share of trees in a lot, with finite correction.

    Parameters
    ----------
    count : int
        Trees with the property in the sample, from 0 to `sample_size` (symbol x).
    sample_size : int
        Trees drawn without replacement, at least 1 (symbol n).
    lot_size : int
        Trees in the lot, at least `sample_size` (symbol N).
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Interval
        Limits in [0, 1]; the share itself if every tree of the lot was drawn.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    Notes
    -----
    The sample counts as one of n (N - 1) / (N - n) trees from an endless lot, which has the same
    variance.

    Examples
    --------
    >>> lower, upper = wilson_in_lot(2, sample_size=20, lot_size=120)
    >>> round(lower, 4), round(upper, 4)
    (0.0307, 0.2805)
    """
    _require_lot(count, sample_size, lot_size)
    require_confidence(confidence)
    share = count / sample_size
    if sample_size == lot_size:
        return Interval(share, share)
    size = sample_size * (lot_size - 1) / (lot_size - sample_size)
    return wilson_of_share(share, size, confidence)


def normal_in_lot(
    count: int, sample_size: int, lot_size: int, confidence: float = 0.95
) -> LotEstimate:
    """
    Return the share of trees in a lot with its standard error and the normal interval.

    The interval is here for comparison: few trees with the property make it unreliable; for people
    use `lot_limits`.

    Parameters
    ----------
    count : int
        Trees with the property in the sample, from 0 to `sample_size` (symbol x).
    sample_size : int
        Trees drawn without replacement, at least 2 (symbol n).
    lot_size : int
        Trees in the lot, at least `sample_size` (symbol N).
    confidence : float, optional
        Nominal confidence of the interval, in (0, 1).

    Returns
    -------
    LotEstimate
        Share, standard error, and limits.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 3.2 and 3.5.

    Examples
    --------
    >>> round(normal_in_lot(2, sample_size=20, lot_size=120).standard_error, 4)
    0.0628
    """
    _require_lot(count, sample_size, lot_size, least_sample=2)
    share = count / sample_size
    left_out = 1 - sample_size / lot_size
    standard_error = math.sqrt(left_out * share * (1 - share) / (sample_size - 1))
    spread = normal_quantile(confidence) * standard_error + 1 / (2 * sample_size)
    return LotEstimate(share, standard_error, Interval(share - spread, share + spread))


def _require_lot(count: int, sample_size: int, lot_size: int, least_sample: int = 1) -> None:
    require_sample(count, sample_size, total_field="sample_size", least_total=least_sample)
    require_count("lot_size", lot_size, sample_size)


def _least_in_lot(count: int, sample_size: int, lot_size: int, tail: Fraction) -> int:
    """Count the trees with the property as the others' trees without it: the mirror image."""
    return lot_size - _most_in_lot(sample_size - count, sample_size, lot_size, tail)


def _most_in_lot(count: int, sample_size: int, lot_size: int, tail: Fraction) -> int:
    """Find the last number that gives `count` or fewer with a probability above the tail."""

    def is_possible(nonconforming: int) -> bool:
        law = Hypergeometric(sample_size, nonconforming, lot_size)
        probability = law.at_most(count)
        if abs(probability - tail) <= _NEAR * tail:
            return law.exactly_at_most(count) > tail
        return probability > tail

    return _last(is_possible, count, lot_size)


def _last(holds: Callable[[int], bool], first: int, last: int) -> int:
    """Return the last number for which something holds that holds at first and then no more."""
    while first < last:
        middle = (first + last + 1) // 2
        if holds(middle):
            first = middle
        else:
            last = middle - 1
    return first
