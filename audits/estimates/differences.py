"""The difference of two rates."""

import math

from audits.estimates.inputs import require_sample
from audits.estimates.intervals import Interval, wilson, wilson_corrected


def newcombe_difference(
    count_one: int,
    total_one: int,
    count_two: int,
    total_two: int,
    confidence: float = 0.95,
    *,
    corrected: bool = False,
) -> Interval:
    """
    Return Newcombe's hybrid score interval for the difference of two proportions.

    Parameters
    ----------
    count_one : int
        Trees with the property in the first sample, from 0 to `total_one`.
    total_one : int
        Trees in the first sample, at least 1.
    count_two : int
        Trees with the property in the second sample, from 0 to `total_two`.
    total_two : int
        Trees in the second sample, at least 1.
    confidence : float, optional
        Confidence of the interval, in (0, 1).
    corrected : bool, optional
        Whether the limits of each sample carry the continuity correction.

    Returns
    -------
    Interval
        Limits of the first proportion less the second, in [-1, 1].

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17:873-890, 1998, methods 10 and 11.

    Examples
    --------
    >>> lower, upper = newcombe_difference(56, 70, 48, 80)
    >>> round(lower, 4), round(upper, 4)
    (0.0524, 0.3339)
    """
    samples = {"one": (count_one, total_one), "two": (count_two, total_two)}
    for name, (count, total) in samples.items():
        require_sample(
            count, total, count_field=f"count_{name}", total_field=f"total_{name}", least_total=1
        )
    interval = wilson_corrected if corrected else wilson
    one = interval(count_one, total_one, confidence)
    two = interval(count_two, total_two, confidence)
    share_one, share_two = count_one / total_one, count_two / total_two
    difference = share_one - share_two
    return Interval(
        max(difference - math.hypot(share_one - one.lower, two.upper - share_two), -1.0),
        min(difference + math.hypot(one.upper - share_one, share_two - two.lower), 1.0),
    )
