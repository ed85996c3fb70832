"""
Wald's sequential test: look at one tree after the other until two straight lines decide.

It asks for the fewest trees on average of all tests with the same two promises for an endless row,
and so is the yardstick that wave plans are held against. As a way of working in a real row it does
not serve: nobody knows beforehand where the walk ends.

With d nonconforming trees among n, the lot is accepted when d <= s n - h1 and not accepted when
d >= s n + h2. Wald's formulas for the curve take the lines to be met exactly; whole trees step over
them, so that the true chances differ a little. `sequential_point` gives the true ones.

References
----------
.. [1] A. Wald, Sequential Analysis, 1947, chapter 5.
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, say
from audits.sampling.design import LARGEST_SAMPLE
from audits.sampling.inputs import (
    TypedNumber,
    not_a_fraction,
    not_a_risk,
    require_count,
    require_fraction,
    too_large,
)
from audits.sampling.laws import as_written
from audits.sampling.plans import WavePlan

# Where a line passes this near to a whole number, times the trees, it is compared without rounding.
_NEAR: Final = 1e-10

# Chance of a walk still open that can no longer change a printed figure.
_NEGLIGIBLE: Final = 1e-15

# Nearly all of a walk is over within some thirty times its average; with a longer average it could
# outlast the largest sample.
_LARGEST_AVERAGE: Final = LARGEST_SAMPLE / 40

# So near to 0 Wald's parameter changes the curves by less than rounding does.
_TINY_PARAMETER: Final = 1e-16

# Up to this exponent the series below is more exact than the exponential function.
_SMALL_EXPONENT: Final = 0.5
_SERIES_TERMS: Final = 16


class SequentialNumbers(NamedTuple):
    """
    When a sequential test decides after one tree.

    Parameters
    ----------
    trees : int
        Trees looked at so far (symbol n).
    acceptance_number : int or None
        Most nonconforming trees among them with which the lot is accepted; None where it cannot
        be accepted yet.
    rejection_number : int or None
        Fewest nonconforming trees among them with which it is not accepted; None where not even
        nonconforming trees alone would be enough.
    """

    trees: int
    acceptance_number: int | None
    rejection_number: int | None


class SequentialPoint(NamedTuple):
    """
    A point of the curves of a sequential test.

    Parameters
    ----------
    fraction : float
        Share of nonconforming trees, a ratio in [0, 1] (symbol p).
    acceptance : float
        Chance that the lot is accepted, in [0, 1].
    trees : float
        Trees looked at on average.
    """

    fraction: float
    acceptance: float
    trees: float


@dataclass(frozen=True)
class SequentialTest:
    """
    A sequential test with its two promises.

    Parameters
    ----------
    acceptable_fraction : float
        Share of nonconforming trees that should pass, above 0 (symbol p1).
    producer_risk : float
        Risk that it does not, in (0, 1) (symbol alpha).
    rejectable_fraction : float
        Share of nonconforming trees that should not pass, below 1 (symbol p2).
    consumer_risk : float
        Risk that it does, in (0, 1) (symbol beta); both risks together must stay below 1.

    Raises
    ------
    InvalidInput
        If a fraction or risk lies outside its range, the fractions are not in order, or the risks
        come to 1 or more.

    Examples
    --------
    >>> test = SequentialTest(0.01, 0.05, 0.10, 0.10)
    >>> round(test.acceptance_intercept, 3), round(test.rejection_intercept, 3)
    (0.939, 1.205)
    >>> round(test.slope, 4)
    0.0397
    """

    acceptable_fraction: float
    producer_risk: float
    rejectable_fraction: float
    consumer_risk: float

    def __post_init__(self) -> None:
        problems = self._problems()
        if problems:
            raise InvalidInput(problems)

    @cached_property
    def log_ratio(self) -> float:
        """Weight of one nonconforming tree: log of the ratio of the two odds (symbol k)."""
        return self._nonconforming_weight - self._conforming_weight

    @property
    def acceptance_intercept(self) -> float:
        """How far the line of acceptance lies below the origin (symbol h1)."""
        return -self._accept_at / self.log_ratio

    @property
    def rejection_intercept(self) -> float:
        """How far the line of rejection lies above the origin (symbol h2)."""
        return self._reject_at / self.log_ratio

    @property
    def slope(self) -> float:
        """By how much both lines rise with each tree (symbol s)."""
        return -self._conforming_weight / self.log_ratio

    def acceptance_number(self, trees: int) -> int | None:
        """
        Return the most nonconforming trees with which the lot is accepted.

        Parameters
        ----------
        trees : int
            Trees looked at so far, at least 1 (symbol n).

        Returns
        -------
        int or None
            The number, on the line or the next below it; None where the lot cannot be accepted
            yet.

        Raises
        ------
        InvalidInput
            If the trees are no whole number or below 1.

        Examples
        --------
        >>> test = SequentialTest(0.01, 0.05, 0.10, 0.10)
        >>> test.acceptance_number(23), test.acceptance_number(24)
        (None, 0)
        """
        require_count("trees", trees, 1)
        line = self.slope * trees - self.acceptance_intercept
        number = round(line)
        if abs(line - number) <= _NEAR * trees:
            below = self._likelihood_compared(number, trees, accepting=True) <= 0
            number = number if below else number - 1
        else:
            number = math.floor(line)
        return number if number >= 0 else None

    def rejection_number(self, trees: int) -> int | None:
        """
        Return the fewest nonconforming trees with which the lot is not accepted.

        Parameters
        ----------
        trees : int
            Trees looked at so far, at least 1 (symbol n).

        Returns
        -------
        int or None
            The number, on the line or the next above it; None where it is larger than the trees.

        Raises
        ------
        InvalidInput
            If the trees are no whole number or below 1.

        Examples
        --------
        >>> test = SequentialTest(0.01, 0.05, 0.10, 0.10)
        >>> test.rejection_number(1), test.rejection_number(2), test.rejection_number(20)
        (None, 2, 3)
        """
        require_count("trees", trees, 1)
        line = self.slope * trees + self.rejection_intercept
        number = round(line)
        if abs(line - number) <= _NEAR * trees:
            above = self._likelihood_compared(number, trees, accepting=False) >= 0
            number = number if above else number + 1
        else:
            number = math.ceil(line)
        return number if number <= trees else None

    def numbers(self, trees: int) -> tuple[SequentialNumbers, ...]:
        """
        Return when the test decides, tree by tree.

        Parameters
        ----------
        trees : int
            The last tree of the table, at least 1.

        Returns
        -------
        tuple of SequentialNumbers
            One entry for each tree from the first.

        Raises
        ------
        InvalidInput
            If the trees are no whole number or below 1.

        Examples
        --------
        >>> SequentialTest(0.01, 0.05, 0.10, 0.10).numbers(24)[-1]
        SequentialNumbers(trees=24, acceptance_number=0, rejection_number=3)
        """
        require_count("trees", trees, 1)
        return tuple(
            SequentialNumbers(tree, self.acceptance_number(tree), self.rejection_number(tree))
            for tree in range(1, trees + 1)
        )

    def wald_point(self, exponent: float) -> SequentialPoint:
        """
        Return a point of Wald's approximate curves by their parameter.

        Parameters
        ----------
        exponent : float
            Wald's parameter (symbol h): 1 for the acceptable fraction, -1 for the rejectable one,
            0 for the slope of the lines, and infinite for fractions of 0 (positive) and 1
            (negative).

        Returns
        -------
        SequentialPoint
            Fraction, chance of acceptance and average trees, as if the lines were met exactly.

        Raises
        ------
        InvalidInput
            If the exponent is no number.

        References
        ----------
        .. [1] A. Wald, Sequential Analysis, 1947, chapter 5.

        Examples
        --------
        >>> point = SequentialTest(0.01, 0.05, 0.10, 0.10).wald_point(1)
        >>> round(point.fraction, 6), round(point.acceptance, 6), round(point.trees, 2)
        (0.01, 0.95, 27.96)
        """
        if math.isnan(exponent):
            raise InvalidInput(
                {"exponent": say("Wald's parameter must be a number; this is none.")}
            )
        low, high = self.acceptance_intercept, self.rejection_intercept
        if abs(exponent) <= _TINY_PARAMETER:
            return SequentialPoint(
                self.slope, high / (low + high), low * high / (self.slope * (1.0 - self.slope))
            )
        bad, good = exponent * self._nonconforming_weight, exponent * self._conforming_weight
        upper, lower = exponent * self._reject_at, exponent * self._accept_at
        if not all(map(math.isfinite, (bad, good, upper, lower))):
            if exponent > 0.0:
                return SequentialPoint(0.0, 1.0, low / self.slope)
            return SequentialPoint(1.0, 0.0, high / (1.0 - self.slope))
        # Where the walk ends on average, over its average step: Wald's identity. Both vanish at
        # an exponent of 0, so each is written as its distance from there.
        mean_end = -(low + high) * _distance_from_limit(lower, upper)
        mean_step = _distance_from_limit(bad, good)
        return SequentialPoint(_tilted(bad, good), _tilted(lower, upper), mean_end / mean_step)

    def wald_point_at(self, fraction: float) -> SequentialPoint:
        """
        Return a point of Wald's approximate curves by its fraction.

        Parameters
        ----------
        fraction : float
            Share of nonconforming trees, a ratio in [0, 1] (symbol p).

        Returns
        -------
        SequentialPoint
            The fraction with its chance of acceptance and average trees.

        Raises
        ------
        InvalidInput
            If the fraction lies outside [0, 1].

        Examples
        --------
        >>> round(SequentialTest(0.01, 0.05, 0.10, 0.10).wald_point_at(0.05).acceptance, 3)
        0.431
        """
        require_fraction("fraction", fraction)
        _, acceptance, trees = self.wald_point(self._exponent_at(fraction))
        return SequentialPoint(fraction, acceptance, trees)

    @cached_property
    def _nonconforming_weight(self) -> float:
        return math.log(self.rejectable_fraction) - math.log(self.acceptable_fraction)

    @cached_property
    def _conforming_weight(self) -> float:
        return math.log1p(-self.rejectable_fraction) - math.log1p(-self.acceptable_fraction)

    @cached_property
    def _reject_at(self) -> float:
        return math.log1p(-self.consumer_risk) - math.log(self.producer_risk)

    @cached_property
    def _accept_at(self) -> float:
        return math.log(self.consumer_risk) - math.log1p(-self.producer_risk)

    def _likelihood_compared(self, number: int, trees: int, *, accepting: bool) -> int:
        """
        Compare the likelihood ratio of a count with a line without rounding.

        -1, 0 or 1: the count lies below, on or above the line.
        """
        good, bad = as_written(self.acceptable_fraction), as_written(self.rejectable_fraction)
        producer, consumer = as_written(self.producer_risk), as_written(self.consumer_risk)
        line = consumer / (1 - producer) if accepting else (1 - consumer) / producer
        ratio = (bad / good) ** number * ((1 - bad) / (1 - good)) ** (trees - number)
        return (ratio > line) - (ratio < line)

    def _exponent_at(self, fraction: float) -> float:
        """Return the parameter at which the curves reach a fraction; it falls as that rises."""
        if fraction in (0.0, 1.0):
            return math.inf if fraction == 0.0 else -math.inf

        def reached(exponent: float) -> float:
            return self.wald_point(exponent).fraction

        low = high = 0.0
        step = 1.0
        while reached(high) > fraction:
            low, high, step = high, high + step, 2.0 * step
        while reached(low) < fraction:
            low, high, step = low - step, low, 2.0 * step
        while low < (middle := 0.5 * (low + high)) < high:
            if reached(middle) > fraction:
                low = middle
            else:
                high = middle
        return high

    def _problems(self) -> dict[str, Message]:
        problems = {}
        for field in ("producer_risk", "consumer_risk"):
            if not 0.0 < getattr(self, field) < 1.0:
                problems[field] = not_a_risk(getattr(self, field))
        if not problems and self.producer_risk + self.consumer_risk >= 1.0:
            problems["consumer_risk"] = say("The two risks together must stay below 1.")
        fractions = ("acceptable_fraction", "rejectable_fraction")
        for field in fractions:
            if not 0.0 <= getattr(self, field) <= 1.0:
                problems[field] = not_a_fraction(getattr(self, field))
        if problems.keys() & set(fractions):
            return problems
        if self.acceptable_fraction == 0.0:
            problems["acceptable_fraction"] = say(
                "A sequential test needs an acceptable fraction above 0."
            )
        if self.rejectable_fraction == 1.0:
            problems["rejectable_fraction"] = say(
                "A sequential test needs a rejectable fraction below 1."
            )
        elif self.rejectable_fraction <= self.acceptable_fraction:
            problems["rejectable_fraction"] = say(
                "The rejectable fraction, %(rejectable)s, must be larger than the acceptable one, "
                "%(acceptable)s.",
                rejectable=TypedNumber(self.rejectable_fraction),
                acceptable=TypedNumber(self.acceptable_fraction),
            )
        return problems


class WaldBound(NamedTuple):
    """
    The fewest trees on average with which two promises can be kept in an endless row.

    Parameters
    ----------
    at_acceptable : float
        Trees at the acceptable fraction.
    at_rejectable : float
        Trees at the rejectable fraction.
    """

    at_acceptable: float
    at_rejectable: float


def wald_bound(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
) -> WaldBound:
    """
    Return the fewest trees on average that any plan with these two risks can do with.

    Trees are taken to come from an endless row. No plan with exactly these risks has a smaller
    average, and none reaches the bound, because whole trees step over the lines. In a real row,
    where every tree looked at tells something of the rest, an average below it is possible.

    Parameters
    ----------
    acceptable_fraction : float
        Share of nonconforming trees that should pass, above 0 (symbol p1).
    producer_risk : float
        Risk that it does not, in (0, 1) (symbol alpha).
    rejectable_fraction : float
        Share of nonconforming trees that should not pass, below 1 (symbol p2).
    consumer_risk : float
        Risk that it does, in (0, 1) (symbol beta).

    Returns
    -------
    WaldBound
        Average trees at each of the two fractions.

    Raises
    ------
    InvalidInput
        As for `SequentialTest`.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947, on the efficiency of the sequential test.

    Examples
    --------
    >>> bound = wald_bound(0.05, 0.05, 0.25, 0.10)
    >>> round(bound.at_acceptable, 1)
    13.8
    """
    test = SequentialTest(acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk)
    return WaldBound(test.wald_point(1.0).trees, test.wald_point(-1.0).trees)


def truncated_plan(test: SequentialTest, sample_size: int, acceptance_number: int) -> WavePlan:
    """
    Return a sequential test that ends at the latest with a given tree.

    At the last tree the acceptance number decides. Before it the lot is accepted with
    min(s n - h1, Ac) nonconforming trees or fewer, and not accepted with min(s n + h2, Ac + 1) or
    more, as nothing could make up for them.

    Parameters
    ----------
    test : SequentialTest
        The test.
    sample_size : int
        The last tree, at least 1.
    acceptance_number : int
        Most nonconforming trees among all with which the lot is accepted (symbol Ac), below the
        sample size.

    Returns
    -------
    WavePlan
        Waves of one tree each: the numbers tree by tree, None where the lot cannot be accepted,
        or turned down, yet.

    Raises
    ------
    InvalidInput
        If the sample is smaller than 1, or the acceptance number negative or too large for it.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947, on truncated tests. The rule is the one above,
       not that of the tables of ISO 28591.

    Examples
    --------
    >>> plan = truncated_plan(SequentialTest(0.05, 0.05, 0.20, 0.10), 60, 6)
    >>> plan.waves[22]
    Wave(size=23, acceptance_number=1, rejection_number=5)
    """
    require_count("sample_size", sample_size, 1)
    require_count("acceptance_number", acceptance_number, 0)
    if acceptance_number >= sample_size:
        raise InvalidInput({"acceptance_number": too_large(acceptance_number, sample_size - 1)})
    accepted, rejected = [], []
    for tree, most, fewest in test.numbers(sample_size)[:-1]:
        accepted.append(None if most is None else min(most, acceptance_number))
        too_many = acceptance_number + 1 if fewest is None else min(fewest, acceptance_number + 1)
        rejected.append(too_many if too_many <= tree else None)
    return WavePlan(
        tuple(range(1, sample_size + 1)),
        (*accepted, acceptance_number),
        (*rejected, acceptance_number + 1),
    )


def sequential_point(test: SequentialTest, fraction: float) -> SequentialPoint:
    """
    Return the true chance of acceptance and average trees of a sequential test.

    The walk is followed tree by tree, with every count between the two whole-number limits, until
    what is still open no longer matters.

    Parameters
    ----------
    test : SequentialTest
        The test, never cut short.
    fraction : float
        Share of nonconforming trees in an endless row, a ratio in [0, 1] (symbol p).

    Returns
    -------
    SequentialPoint
        The fraction with its chance of acceptance and average trees.

    Raises
    ------
    InvalidInput
        If the fraction lies outside [0, 1].
    AuditError
        If the walk may take more than 100,000 trees, because the two fractions of the test lie
        too close together.

    References
    ----------
    .. [1] L. A. Aroian, Sequential analysis, direct method, Technometrics 10, 1968.

    Examples
    --------
    >>> point = sequential_point(SequentialTest(0.01, 0.05, 0.10, 0.10), 0.01)
    >>> round(point.acceptance, 4), round(point.trees, 2)
    (0.978, 30.21)
    """
    if test.wald_point_at(fraction).trees > _LARGEST_AVERAGE:
        raise AuditError(
            say(
                "Even %(trees)s trees may not end this test. Set the two fractions further apart, "
                "or allow larger risks.",
                trees=LARGEST_SAMPLE,
            )
        )
    tree, lowest, still_open = 0, 0, [1.0]
    accepted: list[float] = []
    reached: list[float] = []
    while (share_open := math.fsum(still_open)) > _NEGLIGIBLE:
        tree += 1
        reached.append(share_open)
        counts = [*(share * (1.0 - fraction) for share in still_open), 0.0]
        for place, share in enumerate(still_open, start=1):
            counts[place] += share * fraction
        most, fewest = test.acceptance_number(tree), test.rejection_number(tree)
        first = 0 if most is None else max(0, most + 1 - lowest)
        last = len(counts) if fewest is None else fewest - lowest
        accepted.extend(counts[:first])
        lowest, still_open = lowest + first, counts[first:last]
    return SequentialPoint(fraction, math.fsum(accepted), math.fsum(reached))


def _tilted(first: float, second: float) -> float:
    """Return (1 - e^b) / (e^a - e^b) for a and b of opposite sign, without overflow."""
    if first > 0.0:
        return math.exp(-first) * math.expm1(second) / math.expm1(second - first)
    return math.expm1(-second) / math.expm1(first - second)


def _distance_from_limit(first: float, second: float) -> float:
    """
    Return how far `_tilted` lies from its limit -b / (a - b) as both go to 0 together.

    The difference of two nearly equal numbers is avoided: it is a b g / (e^a - e^b) with g the
    slope of (e^x - 1) / x between a and b, here a series.
    """
    if max(abs(first), abs(second)) > _SMALL_EXPONENT:
        return _tilted(first, second) + second / (first - second)
    slope, power_sum, second_power, factorial = 0.0, 0.0, 1.0, 1.0
    for term in range(1, _SERIES_TERMS):
        # The sum of a^i b^j with i + j one less than the term.
        power_sum = power_sum * first + second_power
        second_power *= second
        factorial *= term + 1
        slope += power_sum / factorial
    return first * second * slope / (math.expm1(first) - math.expm1(second))
