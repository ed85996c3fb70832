"""
Indirect standardisation: what was found against what was to be expected in those blocks.

Somebody who pruned only in hard blocks has more faults than somebody who pruned only in easy ones.
Each tree is therefore expected to fail as often as all trees of its block did, whoever pruned
them; the ratio of found to expected faults is above 1 for those with more faults than others had
in the same blocks.

References
----------
.. [1] N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research II, IARC 1987, 2.3-2.4:
   indirect standardisation and the exact limits of a ratio of observed to expected.
"""

import math
from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from audits.comparison.checks import require_counts, require_inside, require_same_length
from audits.estimates import Interval, ratio_of_sums

Unit = TypeVar("Unit", bound=Hashable)
Stratum = TypeVar("Stratum", bound=Hashable)


@dataclass(frozen=True)
class StandardisedRate(Generic[Unit]):
    """
    One worker's faults beside those to be expected in the same blocks.

    Parameters
    ----------
    unit : Hashable
        The worker.
    observed : int
        Nonconforming trees found.
    expected : float
        Nonconforming trees to be expected at the rates of the blocks.
    due : int
        Due trees.
    due_alone : int
        Those of them in blocks where nobody else has a due tree: they compare the worker with
        nobody and pull the ratio towards 1.
    ratio : float or None
        Observed over expected; None if none was to be expected.
    ratio_interval : Interval or None
        Exact limits of the ratio, the observed count taken as a Poisson count and the expected
        one as known; None as above.
    raw_rate : float or None
        Nonconforming over due trees, in [0, 1]; None without due trees.
    adjusted_rate : float or None
        Rate in blocks as hard as the average: the ratio times the rate of all, at most 1; None as
        for the ratio.
    adjusted_interval : Interval or None
        Its limits, from those of the ratio.
    """

    unit: Unit
    observed: int
    expected: float
    due: int
    due_alone: int
    ratio: float | None
    ratio_interval: Interval | None
    raw_rate: float | None
    adjusted_rate: float | None
    adjusted_interval: Interval | None


def stratum_rates(
    strata: Sequence[Stratum], nonconforming: Sequence[int], due: Sequence[int]
) -> dict[Stratum, float | None]:
    """
    Return the rate of each block, whoever pruned it.

    Parameters
    ----------
    strata : Sequence of Hashable
        The block, one per sample.
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample.
    due : Sequence of int
        Due trees, one count per sample.

    Returns
    -------
    dict of Hashable to float or None
        Ratio of sums by block, in order of first appearance; None for a block without due trees.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Examples
    --------
    >>> stratum_rates(["north", "south", "north"], [1, 4, 2], [20, 20, 10])
    {'north': 0.1, 'south': 0.2}
    """
    samples: dict[Stratum, list[tuple[int, int]]] = defaultdict(list)
    pairs = require_counts(nonconforming, due)
    require_same_length(strata=strata, due=due)
    for stratum, pair in zip(strata, pairs, strict=True):
        samples[stratum].append(pair)
    return {stratum: ratio_of_sums(of_stratum) for stratum, of_stratum in samples.items()}


def indirect_standardisation(
    units: Sequence[Unit],
    strata: Sequence[Stratum],
    nonconforming: Sequence[int],
    due: Sequence[int],
    confidence: float = 0.95,
) -> tuple[StandardisedRate[Unit], ...]:
    """
    Set each worker's faults beside those to be expected in the same blocks.

    Parameters
    ----------
    units : Sequence of Hashable
        The worker, one per sample.
    strata : Sequence of Hashable
        The block, one per sample.
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample.
    due : Sequence of int
        Due trees, one count per sample.
    confidence : float, optional
        Confidence of the intervals, in (0, 1).

    Returns
    -------
    tuple of StandardisedRate
        One entry a worker, in order of first appearance.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research II, 2.3.

    Examples
    --------
    >>> easy, hard = "easy", "hard"
    >>> rows = indirect_standardisation(
    ...     ["Ana", "Ana", "Ben", "Ben"], [easy, hard, easy, hard], [1, 9, 1, 1], [40, 40, 40, 10]
    ... )
    >>> [(row.unit, row.raw_rate, row.expected, row.ratio) for row in rows]
    [('Ana', 0.125, 9.0, 1.1111111111111112), ('Ben', 0.04, 3.0, 0.6666666666666666)]
    """
    require_inside("confidence", confidence)
    rates = stratum_rates(strata, nonconforming, due)
    require_same_length(units=units, due=due)
    pairs = require_counts(nonconforming, due)
    overall = ratio_of_sums(pairs)
    people: dict[Stratum, set[Unit]] = defaultdict(set)
    rows: dict[Unit, list[tuple[Stratum, int, int]]] = defaultdict(list)
    for unit, stratum, (count, total) in zip(units, strata, pairs, strict=True):
        rows[unit].append((stratum, count, total))
        if total:
            people[stratum].add(unit)
    return tuple(
        _standardised(
            unit,
            observed=sum(count for _, count, _ in own),
            expected=math.fsum(total * (rates[stratum] or 0.0) for stratum, _, total in own),
            due=sum(total for _, _, total in own),
            due_alone=sum(total for stratum, _, total in own if len(people[stratum]) == 1),
            overall=overall,
            confidence=confidence,
        )
        for unit, own in rows.items()
    )


def _standardised(
    unit: Unit,
    *,
    observed: int,
    expected: float,
    due: int,
    due_alone: int,
    overall: float | None,
    confidence: float,
) -> StandardisedRate[Unit]:
    ratio = interval = adjusted = adjusted_interval = None
    if expected > 0 and overall is not None:
        ratio = observed / expected
        interval = Interval(*(limit / expected for limit in _poisson_limits(observed, confidence)))
        adjusted = min(ratio * overall, 1.0)
        adjusted_interval = Interval(*(min(limit * overall, 1.0) for limit in interval))
    return StandardisedRate(
        unit=unit,
        observed=observed,
        expected=expected,
        due=due,
        due_alone=due_alone,
        ratio=ratio,
        ratio_interval=interval,
        raw_rate=observed / due if due else None,
        adjusted_rate=adjusted,
        adjusted_interval=adjusted_interval,
    )


def _poisson_limits(count: int, confidence: float) -> tuple[float, float]:
    """Return the exact limits of the mean of a Poisson count (F. Garwood, Biometrika 1936)."""
    from scipy.special import gammaincinv  # noqa: PLC0415 - keeps starting the app light

    tail = (1 - confidence) / 2
    lower = float(gammaincinv(count, tail)) if count else 0.0
    return lower, float(gammaincinv(count + 1, 1 - tail))
