"""
Learning curves: what falls by the same share whenever the work done doubles.

Two forms are in use. In Crawford's the *unit* follows the power law: the tree's own minutes, or its
own chance of a fault. In Wright's the *cumulative average* does: the mean of all trees so far. The
learning rate is what is left after a doubling, 2^b; a rate of 0.8 leaves four fifths.

Faults are seldom and often none, so their logarithm cannot be fitted: `fit_fault_curve` finds the
curve that makes the faults seen likeliest, tree by tree.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.comparison.checks import require_finite, require_inside, require_same_length

_CONFIDENCE: Final = 0.95
_MOST_STEPS: Final = 60
_SMALLEST_STEP: Final = 1e-11
# Beyond these, a doubling leaves nothing, or makes eight times as many: no curve of learning.
_EXPONENTS: Final = (-8.0, 3.0)


class CurveForm(StrEnum):
    """Which figure follows the power law."""

    UNIT = "unit"
    CUMULATIVE_AVERAGE = "cumulative average"


def exponent(rate: float) -> float:
    """
    Return the exponent of a learning rate.

    Parameters
    ----------
    rate : float
        What is left after a doubling, above 0; below 1 where something is learned.

    Returns
    -------
    float
        ``log2(rate)`` (symbol b), negative where something is learned.

    Raises
    ------
    ValueError
        If the rate is not a positive finite number.

    Examples
    --------
    >>> round(exponent(0.8), 6)
    -0.321928
    """
    require_inside("rate", rate, 0.0, math.inf)
    return math.log2(rate)


def unit_value(first: float, rate: float, unit: int) -> float:
    """
    Return what one unit takes by the unit curve.

    Parameters
    ----------
    first : float
        What the first unit takes, in any measure.
    rate : float
        What is left after a doubling.
    unit : int
        Number of the unit, from 1 (symbol n).

    Returns
    -------
    float
        ``first * n^b``, in the measure of `first`.

    Raises
    ------
    ValueError
        If the rate is not positive or the unit below 1.

    References
    ----------
    .. [1] J. R. Crawford, Learning curve, ship curve, ratios, related data, Lockheed Aircraft
       Corporation, 1944.

    Examples
    --------
    >>> round(unit_value(100, 0.8, 4), 9)
    64.0
    """
    _require_unit(unit)
    return first * math.pow(unit, exponent(rate))


def unit_total(first: float, rate: float, units: int) -> float:
    """
    Return what the first units take together by the unit curve.

    Parameters
    ----------
    first : float
        What the first unit takes, in any measure.
    rate : float
        What is left after a doubling.
    units : int
        How many units, at least 1.

    Returns
    -------
    float
        The sum of the units one by one, not the usual integral in its place.

    Raises
    ------
    ValueError
        If the rate is not positive or `units` below 1.

    Examples
    --------
    >>> round(unit_total(1, 0.8, 4), 4)
    3.1421
    """
    _require_unit(units)
    power = exponent(rate)
    return first * math.fsum(unit**power for unit in range(1, units + 1))


def cumulative_average(first: float, rate: float, units: int) -> float:
    """
    Return the mean of the first units by the cumulative average curve.

    Parameters
    ----------
    first : float
        What the first unit takes, in any measure.
    rate : float
        What is left of the mean after a doubling.
    units : int
        How many units, at least 1 (symbol n).

    Returns
    -------
    float
        ``first * n^b``; times n it is their total.

    Raises
    ------
    ValueError
        If the rate is not positive or `units` below 1.

    References
    ----------
    .. [1] T. P. Wright, Factors affecting the cost of airplanes, Journal of the Aeronautical
       Sciences 3 (1936), 122-128.

    Examples
    --------
    >>> round(cumulative_average(100, 0.8, 16), 2)
    40.96
    """
    _require_unit(units)
    return first * math.pow(units, exponent(rate))


def cumulative_total(first: float, rate: float, units: int) -> float:
    """
    Return what the first units take together by the cumulative average curve.

    Parameters
    ----------
    first : float
        What the first unit takes, in any measure.
    rate : float
        What is left of the mean after a doubling.
    units : int
        How many units, at least 0.

    Returns
    -------
    float
        Their number times their mean; the differences between totals are what further units take.

    Raises
    ------
    ValueError
        If the rate is not positive or `units` negative.

    Examples
    --------
    >>> round(cumulative_total(100, 0.8, 4) - cumulative_total(100, 0.8, 2), 6)
    96.0
    """
    return units * cumulative_average(first, rate, units) if units else 0.0


@dataclass(frozen=True)
class LearningFit:
    """
    A learning curve found from figures.

    Parameters
    ----------
    form : CurveForm
        Which figure follows the power law.
    exponent : float
        The exponent (symbol b).
    standard_error : float
        Of the exponent.
    first : float
        What the curve says of the first unit.
    rate : float
        What is left after a doubling.
    interval : tuple of float
        Lower and upper bound of the rate at 95 %.
    points : int
        How many figures it rests on.
    r_squared : float or None
        Share of the spread of the logarithms that the curve follows, in [0, 1]; None where it was
        not fitted to logarithms.
    """

    form: CurveForm
    exponent: float
    standard_error: float
    first: float
    rate: float
    interval: tuple[float, float]
    points: int
    r_squared: float | None = None

    @property
    def falls(self) -> bool:
        """Whether the figures fall by more than chance explains."""
        return self.interval[1] < 1

    @property
    def rises(self) -> bool:
        """Whether they rise by more than chance explains."""
        return self.interval[0] > 1

    def value(self, unit: int) -> float:
        """
        Return what the curve says of a unit, or of the mean up to it.

        Parameters
        ----------
        unit : int
            Number of the unit, from 1.

        Returns
        -------
        float
            In the measure of the figures.
        """
        return self.first * math.pow(unit, self.exponent)


def fit_unit_curve(units: Sequence[float], values: Sequence[float]) -> LearningFit | None:
    """
    Fit the unit curve to positive figures, such as minutes per tree.

    Parameters
    ----------
    units : Sequence of float
        Number of each unit, at least 1.
    values : Sequence of float
        What each took, above 0, in any measure.

    Returns
    -------
    LearningFit or None
        Least squares of the logarithms, with the t interval of the slope carried over to the
        rate; None for fewer than three figures or if all are of one unit.

    Raises
    ------
    ValueError
        If the columns differ in length, or a number is not finite or outside its range.

    Notes
    -----
    The interval is that of figures whose logarithms scatter alike and independently.

    Examples
    --------
    >>> round(fit_unit_curve([1, 2, 4, 8], [10, 8, 6.4, 5.12]).rate, 6)
    0.8
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - scipy is slow to load

    require_same_length(units=units, values=values)
    across = _logarithms("units", units, least=1.0)
    up = _logarithms("values", values, least=0.0)
    count = len(up)
    if count <= 2:  # noqa: PLR2004 - two figures leave no scatter to judge by
        return None
    mean_across, mean_up = math.fsum(across) / count, math.fsum(up) / count
    spread = math.fsum((x - mean_across) ** 2 for x in across)
    if spread <= 0:
        return None
    slope = (
        math.fsum((x - mean_across) * (y - mean_up) for x, y in zip(across, up, strict=True))
        / spread
    )
    level = mean_up - slope * mean_across
    left = math.fsum((y - level - slope * x) ** 2 for x, y in zip(across, up, strict=True))
    total = math.fsum((y - mean_up) ** 2 for y in up)
    error = math.sqrt(left / (count - 2) / spread)
    reach = float(stdtrit(count - 2, (1 + _CONFIDENCE) / 2)) * error
    return LearningFit(
        CurveForm.UNIT,
        slope,
        error,
        math.exp(level),
        2.0**slope,
        (2.0 ** (slope - reach), 2.0 ** (slope + reach)),
        count,
        1 - left / total if total > 0 else 1.0,
    )


def fit_fault_curve(
    nonconforming: Sequence[bool], form: CurveForm = CurveForm.UNIT
) -> LearningFit | None:
    """
    Fit a learning curve to trees that are right or not, in the order in which they were done.

    Parameters
    ----------
    nonconforming : Sequence of bool
        For each due tree from the first one on, whether it is nonconforming.
    form : CurveForm, optional
        Whether each tree's own chance follows the power law (Crawford) or the mean of all trees
        so far (Wright).

    Returns
    -------
    LearningFit or None
        The curve, with the interval of its learning rate; None for fewer than three faults, or if
        all lie in one place so that no finite curve fits them best.

    Raises
    ------
    ValueError
        If a value is neither true nor false.

    Notes
    -----
    Maximum likelihood of a Poisson law with the mean ``first * g(n)``, where ``g(n)`` is ``n^b`` in
    Crawford's form and ``n^(1+b) - (n-1)^(1+b)`` in Wright's. A tree has one fault or none and not
    a Poisson number, so the interval rests on the sandwich variance, which holds for it too [1]_.

    From few faults that variance comes out too small and is itself uncertain, so the interval takes
    Student's quantile instead of the normal one [2]_. Its degrees of freedom, the faults less the
    two figures fitted, are this project's own choice: trees without a fault tell little of the
    spread. Of simulated learners whose chance stays at 10 to 30 in 100, with 30 to 120 trees and
    five faults or more, Crawford's form calls about 4 in 100 falling at most and 2.5 rising, where
    2.5 each are meant; with half of the trees wrong 5 falling, with 70 in 100 up to 8. Wright's
    calls up to 9 in 100 falling after 30 trees. Dividing each residual by one less its leverage
    (HC3 [3]_) brings these down by about a quarter, but finds up to a third fewer of those who do
    learn.

    References
    ----------
    .. [1] G. Zou, A modified Poisson regression approach to prospective studies with binary data,
       American Journal of Epidemiology 159 (2004), 702-706.
    .. [2] M. P. Fay, B. I. Graubard, Small-sample adjustments for Wald-type tests using sandwich
       estimators, Biometrics 57 (2001), 1198-1206; cited from memory.
    .. [3] J. G. MacKinnon, H. White, Some heteroskedasticity-consistent covariance matrix
       estimators with improved finite sample properties, Journal of Econometrics 29 (1985),
       305-325; cited from memory.

    Examples
    --------
    >>> fit = fit_fault_curve([True] * 3 + [True, False] * 4 + [True, False, False, False] * 8)
    >>> fit.falls
    True
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - scipy is slow to load

    faults = [_as_count(place, value) for place, value in enumerate(nonconforming)]
    seen = sum(faults)
    if seen <= 2:  # noqa: PLR2004 - as for a line
        return None
    power = _likeliest(faults, form)
    if power is None:
        return None
    logs, slopes = _shape(len(faults), power, form)
    shape = [math.exp(log) for log in logs]
    first = seen / math.fsum(shape)
    error = _sandwich_error(faults, [first * one for one in shape], slopes)
    if not (math.isfinite(error) and error > 0):
        return None
    reach = float(stdtrit(seen - 2, (1 + _CONFIDENCE) / 2)) * error
    return LearningFit(
        form,
        power,
        error,
        first,
        2.0**power,
        (2.0 ** (power - reach), 2.0 ** (power + reach)),
        len(faults),
    )


def _likeliest(faults: Sequence[int], form: CurveForm) -> float | None:
    """Return the exponent at which the score of the profile likelihood vanishes, by bisection."""
    lowest, highest = _EXPONENTS
    if form is CurveForm.CUMULATIVE_AVERAGE:
        # Below -1 the total of all trees would fall.
        lowest = -1 + 1e-6
    below, above = lowest, highest
    if not (_profile_score(faults, below, form) > 0 > _profile_score(faults, above, form)):
        return None
    for _ in range(_MOST_STEPS):
        middle = (below + above) / 2
        if _profile_score(faults, middle, form) > 0:
            below = middle
        else:
            above = middle
        if above - below < _SMALLEST_STEP:
            break
    return (below + above) / 2


def _profile_score(faults: Sequence[int], power: float, form: CurveForm) -> float:
    logs, slopes = _shape(len(faults), power, form)
    shape = [math.exp(log) for log in logs]
    seen = math.fsum(slope for fault, slope in zip(faults, slopes, strict=True) if fault)
    expected = math.fsum(one * slope for one, slope in zip(shape, slopes, strict=True))
    return seen - sum(faults) * expected / math.fsum(shape)


def _shape(count: int, power: float, form: CurveForm) -> tuple[list[float], list[float]]:
    """Return ``log g(n)`` and its slope by the exponent, for each unit from 1."""
    if form is CurveForm.UNIT:
        logs = [math.log(unit) for unit in range(1, count + 1)]
        return [power * log for log in logs], logs
    shapes, slopes = [0.0], [0.0]
    for unit in range(2, count + 1):
        here, before = unit ** (1 + power), (unit - 1) ** (1 + power)
        own = here - before
        shapes.append(math.log(own))
        slopes.append((here * math.log(unit) - before * math.log(unit - 1)) / own)
    return shapes, slopes


def _sandwich_error(
    faults: Sequence[int], means: Sequence[float], slopes: Sequence[float]
) -> float:
    """Return the standard error of the exponent: inverse information around the squared scores."""
    rows = list(zip(faults, means, slopes, strict=True))
    whole = math.fsum(means)
    centre = math.fsum(mean * slope for _, mean, slope in rows) / whole
    information = math.fsum(mean * (slope - centre) ** 2 for _, mean, slope in rows)
    scores = math.fsum(((fault - mean) * (slope - centre)) ** 2 for fault, mean, slope in rows)
    return math.sqrt(scores) / information if information > 0 else math.inf


def _as_count(place: int, value: bool) -> int:  # noqa: FBT001 - the value itself, not a choice
    if value not in (0, 1):
        raise ValueError(f"nonconforming[{place}] must be true or false, not {value!r}")
    return int(value)


def _logarithms(name: str, values: Sequence[float], least: float) -> list[float]:
    for place, value in enumerate(require_finite(name, values)):
        if value <= 0 or value < least:
            raise ValueError(
                f"{name}[{place}] must be {'at least 1' if least else 'above 0'}, not {value}"
            )
    return [math.log(value) for value in values]


def _require_unit(unit: int) -> None:
    if unit < 1 or unit != int(unit):
        raise ValueError(f"a unit must be a whole number of at least 1, not {unit}")
