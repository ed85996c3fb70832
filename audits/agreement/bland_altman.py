"""Two people's measures of the same trees: bias with sign, limits of agreement, repeatability."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.agreement.chance import CONFIDENCE
from audits.estimates import Interval
from audits.estimates.intervals import student_quantile

_LEAST_FOR_SPREAD: Final = 2


@dataclass(frozen=True)
class LimitsOfAgreement:
    """
    How far two people's measures lie apart, in the unit of the measures.

    Parameters
    ----------
    pairs : int
        Trees that both measured (symbol n).
    bias : float or None
        Mean of first minus second measure; None without a pair.
    standard_deviation : float or None
        Standard deviation of the differences, with n - 1; None below two pairs, as what follows.
    lower, upper : float or None
        Limits within which most differences lie: bias less and plus `multiplier` standard
        deviations.
    standard_error_bias : float or None
        Standard error of the bias.
    interval_bias : Interval or None
        95 % interval of the bias.
    standard_error_limit : float or None
        Standard error of each limit, from the variances of bias and standard deviation.
    interval_lower, interval_upper : Interval or None
        95 % intervals of the limits by that error.
    early_standard_error_limit : float or None
        The same error as it was first given, the root of 3 / n standard deviations.
    early_interval_lower, early_interval_upper : Interval or None
        95 % intervals of the limits by the early error.
    """

    pairs: int
    bias: float | None
    standard_deviation: float | None
    lower: float | None
    upper: float | None
    standard_error_bias: float | None
    interval_bias: Interval | None
    standard_error_limit: float | None
    interval_lower: Interval | None
    interval_upper: Interval | None
    early_standard_error_limit: float | None
    early_interval_lower: Interval | None
    early_interval_upper: Interval | None


@dataclass(frozen=True)
class Repeatability:
    """
    How far one person's two measures of a tree lie apart, in the unit of the measures.

    Parameters
    ----------
    pairs : int
        Trees measured twice (symbol n).
    standard_deviation : float or None
        Standard deviation of the differences about zero; None without a pair, as all that follows.
    coefficient : float or None
        Two measures of one tree seldom differ by more: `multiplier` standard deviations.
    within_standard_deviation : float or None
        Standard deviation of single measures of one tree.
    """

    pairs: int
    standard_deviation: float | None
    coefficient: float | None
    within_standard_deviation: float | None


def bland_altman(
    first: Sequence[float | None], second: Sequence[float | None], multiplier: float = 1.96
) -> LimitsOfAgreement:
    """
    Compare two people's measures of the same trees.

    Parameters
    ----------
    first, second : Sequence of float or None
        One measure per tree, trees in the same order. A tree that lacks either is left out.
    multiplier : float, optional
        Standard deviations from the bias to each limit, above 0.

    Returns
    -------
    LimitsOfAgreement
        Bias and limits of agreement with their 95 % intervals by Student's t.

    Raises
    ------
    ValueError
        If the sequences differ in length, a measure is not finite, or `multiplier` is not above 0;
        the message names the value.

    References
    ----------
    .. [1] J. M. Bland and D. G. Altman, Lancet 327:307-310, 1986.
    .. [2] J. M. Bland and D. G. Altman, Statistical Methods in Medical Research 8:135-160, 1999.

    Examples
    --------
    >>> found = bland_altman([310.0, 322.0, 305.0], [308.0, 318.0, 302.0])
    >>> round(found.bias, 2), round(found.lower, 2), round(found.upper, 2)
    (3.0, 1.04, 4.96)
    """
    _require_multiplier(multiplier)
    differences = _differences(first, second)
    pairs = len(differences)
    bias = math.fsum(differences) / pairs if pairs else None
    if bias is None or pairs < _LEAST_FOR_SPREAD:
        return LimitsOfAgreement(pairs, bias, *[None] * 11)
    squares = math.fsum((each - bias) ** 2 for each in differences)
    deviation = math.sqrt(squares / (pairs - 1))
    lower, upper = bias - multiplier * deviation, bias + multiplier * deviation
    error = deviation / math.sqrt(pairs)
    error_limit = deviation * math.sqrt(1 / pairs + multiplier**2 / (2 * (pairs - 1)))
    early_error = deviation * math.sqrt(3 / pairs)
    quantile = student_quantile(CONFIDENCE, pairs - 1)

    def around(value: float, standard_error: float) -> Interval:
        return Interval(value - quantile * standard_error, value + quantile * standard_error)

    return LimitsOfAgreement(
        pairs,
        bias,
        deviation,
        lower,
        upper,
        error,
        around(bias, error),
        error_limit,
        around(lower, error_limit),
        around(upper, error_limit),
        early_error,
        around(lower, early_error),
        around(upper, early_error),
    )


def repeatability(
    first: Sequence[float | None], second: Sequence[float | None], multiplier: float = 2.0
) -> Repeatability:
    """
    Tell how well one person repeats measures of the same trees.

    Both measures are of the same thing, so their differences are taken about zero.

    Parameters
    ----------
    first, second : Sequence of float or None
        One person's first and second measure of each tree, trees in the same order. A tree that
        lacks either is left out.
    multiplier : float, optional
        Standard deviations of the coefficient, above 0; 2 as Bland and Altman first took it.

    Returns
    -------
    Repeatability
        Standard deviation of the differences, coefficient and spread of single measures.

    Raises
    ------
    ValueError
        If the sequences differ in length, a measure is not finite, or `multiplier` is not above 0;
        the message names the value.

    References
    ----------
    .. [1] J. M. Bland and D. G. Altman, Lancet 327:307-310, 1986.

    Examples
    --------
    >>> round(repeatability([25.0, 30.0], [26.0, 30.0]).coefficient, 3)
    1.414
    """
    _require_multiplier(multiplier)
    differences = _differences(first, second)
    if not differences:
        return Repeatability(0, None, None, None)
    square = math.fsum(each**2 for each in differences) / len(differences)
    deviation = math.sqrt(square)
    return Repeatability(len(differences), deviation, multiplier * deviation, math.sqrt(square / 2))


def _differences(first: Sequence[float | None], second: Sequence[float | None]) -> list[float]:
    if len(first) != len(second):
        raise ValueError(f"first and second must be as long: {len(first)} and {len(second)}")
    for measure in (*first, *second):
        if measure is not None and not math.isfinite(measure):
            raise ValueError(f"measures must be finite numbers, not {measure}")
    return [
        float(one - two)
        for one, two in zip(first, second, strict=True)
        if one is not None and two is not None
    ]


def _require_multiplier(multiplier: float) -> None:
    if not 0 < multiplier < math.inf:
        raise ValueError(f"multiplier must be above 0, not {multiplier}")
