"""Every way in which a sample can come to its end, counted once in whole numbers."""

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from audits.sampling.plans import Plan, Wave

# A lot cannot be turned down at such a step, or accepted.
_NEVER_ACCEPTED = -1


class Ending(NamedTuple):
    """
    One end of a sample: the orders in which trees can come that lead there.

    Parameters
    ----------
    trees : int
        Trees looked at.
    nonconforming : int
        Those that are nonconforming.
    orders : int
        Different orders of conforming and nonconforming trees that end exactly here.
    accepted : bool
        Whether the lot is accepted.
    """

    trees: int
    nonconforming: int
    orders: int
    accepted: bool


def certain_numbers(waves: Sequence[Wave]) -> tuple[tuple[int, int], ...]:
    """
    Return for each wave the numbers from which its outcome can no longer change.

    Call d the nonconforming trees among the first t trees, the t-th being in wave k. The lot is
    sure to be accepted if it would be even with nothing but nonconforming trees to come. Each of
    them adds one to d and to t alike, so that d - t stays: it decides at the ends of this wave
    and of the later ones. The lot is sure not to be accepted if it would not be even with nothing
    but conforming trees to come, by which d stays as it is.

    Parameters
    ----------
    waves : Sequence of Wave
        The waves of a plan.

    Returns
    -------
    tuple of tuple of int and int
        For each wave the largest d - t that is sure to be accepted, and the smallest d that is
        sure not to be.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter
       on multiple sampling: curtailed inspection. The bookkeeping for any number of waves is
       this project's own.
    """
    *earlier, last = waves
    surely_in = last.most_accepted - last.size
    surely_out = last.rejection_number
    certain = [(surely_in, surely_out)]
    for wave in reversed(earlier):
        surely_in = max(
            wave.most_accepted - wave.size, min(wave.rejection_number - wave.size - 1, surely_in)
        )
        surely_out = min(wave.rejection_number, max(wave.most_accepted + 1, surely_out))
        certain.append((surely_in, surely_out))
    return tuple(reversed(certain))


def steps_of(plan: Plan, *, curtailed: bool, accepting_early: bool = True) -> tuple[Wave, ...]:
    """
    Return the points at which a sample can end.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    curtailed : bool
        Whether the walk ends as soon as the outcome is certain; if not, only at the waves' ends.
    accepting_early : bool, optional
        Whether certain acceptance, too, ends a curtailed walk within a wave.

    Returns
    -------
    tuple of Wave
        The waves themselves, or one step a tree.
    """
    waves = plan.waves
    if not curtailed:
        return waves
    steps = []
    seen = 0
    for wave, (surely_in, surely_out) in zip(waves, certain_numbers(waves), strict=True):
        for trees in range(seen + 1, wave.size + 1):
            most = trees + surely_in
            if not accepting_early:
                most = wave.most_accepted if trees == wave.size else _NEVER_ACCEPTED
            steps.append(Wave(trees, max(most, _NEVER_ACCEPTED), surely_out))
        seen = wave.size
    return tuple(steps)


@lru_cache(maxsize=512)
def count_endings(steps: tuple[Wave, ...]) -> tuple[Ending, ...]:
    """
    Count the orders of trees that lead to each end of a sample.

    Every order with d nonconforming trees among t has the same probability, with replacement and
    without; so one count serves every quality, every lot and every law of drawing.

    Parameters
    ----------
    steps : tuple of Wave
        The points at which the sample can end, as `steps_of` returns them.

    Returns
    -------
    tuple of Ending
        All ends that can be reached, in the order of the walk.

    References
    ----------
    .. [1] E. L. Grant and R. S. Leavenworth, Statistical Quality Control, on double and multiple
       sampling; the counting of paths follows from the multiplication rule.
    """
    endings = []
    lowest, orders, seen = 0, [1], 0
    for size, accepted, rejected in steps:
        orders = _walk_on(orders, size - seen)
        seen = size
        most = _NEVER_ACCEPTED if accepted is None else accepted
        inside = max(0, most + 1 - lowest)
        outside = max(inside, rejected - lowest)
        endings += [
            Ending(size, lowest + extra, ways, accepted=extra < inside)
            for extra, ways in enumerate(orders)
            if not inside <= extra < outside
        ]
        orders = orders[inside:outside]
        lowest += inside
        if not orders:
            break
    return tuple(endings)


def _walk_on(orders: list[int], trees: int) -> list[int]:
    """Return the orders by their nonconforming trees after some more trees."""
    if trees == 1:
        return [stays + comes for stays, comes in zip([*orders, 0], [0, *orders], strict=True)]
    ways = [math.comb(trees, bad) for bad in range(trees + 1)]
    walked = [0] * (len(orders) + trees)
    for start, number in enumerate(orders):
        for bad, choice in enumerate(ways):
            walked[start + bad] += number * choice
    return walked


def chances_in_lot(
    endings: Iterable[Ending], nonconforming: int, lot_size: int
) -> list[tuple[int, float]]:
    """
    Return the chance that a sample from a lot ends after each number of trees.

    The numerators are summed in whole numbers, so that each chance is exact but for the last
    rounding.

    Parameters
    ----------
    endings : iterable of Ending
        The ends that are asked for, in the order of the walk.
    nonconforming : int
        Nonconforming trees in the lot (symbol D).
    lot_size : int
        Trees in the lot (symbol N).

    Returns
    -------
    list of tuple of int and float
        Trees looked at, and the chance that the sample ends there.
    """
    return [
        (trees, ways / math.perm(lot_size, trees))
        for trees, ways in _ways_in_lot(endings, nonconforming, lot_size)
    ]


def _ways_in_lot(
    endings: Iterable[Ending], nonconforming: int, lot_size: int
) -> Iterable[tuple[int, int]]:
    """Count the ordered draws from a lot that end after each number of trees."""
    conforming = lot_size - nonconforming
    for trees, group in groupby(endings, key=lambda ending: ending.trees):
        yield (
            trees,
            sum(
                ending.orders
                * math.perm(nonconforming, ending.nonconforming)
                * math.perm(conforming, trees - ending.nonconforming)
                for ending in group
            ),
        )


def exact_chance(endings: Iterable[Ending], nonconforming: int, lot_size: int) -> Fraction:
    """
    Return the chance that a sample from a lot ends in one of some ways, without rounding.

    Parameters
    ----------
    endings : iterable of Ending
        The ends that are asked for, in the order of the walk.
    nonconforming : int
        Nonconforming trees in the lot (symbol D).
    lot_size : int
        Trees in the lot (symbol N).

    Returns
    -------
    fractions.Fraction
        Probability in [0, 1].
    """
    return sum(
        (
            Fraction(ways, math.perm(lot_size, trees))
            for trees, ways in _ways_in_lot(endings, nonconforming, lot_size)
        ),
        Fraction(0),
    )
