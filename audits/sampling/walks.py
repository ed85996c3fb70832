"""Every way in which a sample can come to its end, counted once in whole numbers."""

import math
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import count, groupby, repeat, starmap
from operator import itemgetter
from typing import NamedTuple, TypeAlias

from audits.sampling.plans import Plan, Wave

# Trees looked at, acceptance number, rejection number: a wave, or a step within one.
_Step: TypeAlias = tuple[int, int | None, int]


class Endings(NamedTuple):
    """
    Ends of a sample that have the same outcome, in the order of the walk.

    Each field holds one number for each end.

    Parameters
    ----------
    trees : Sequence of int
        Trees looked at.
    nonconforming : Sequence of int
        Those that are nonconforming.
    orders : Sequence of int
        Different orders of conforming and nonconforming trees that end exactly there.
    """

    trees: Sequence[int]
    nonconforming: Sequence[int]
    orders: Sequence[int]


class WalkEndings(NamedTuple):
    """
    All ends of a sample.

    Parameters
    ----------
    accepted : Endings
        Those with which the lot is accepted.
    not_accepted : Endings
        Those with which it is not.
    """

    accepted: Endings
    not_accepted: Endings


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
    for size, accepted, rejected in reversed(earlier):
        most = -1 if accepted is None else accepted
        if surely_in + size < most:
            surely_in = most - size
        elif surely_in + size >= rejected:
            surely_in = rejected - size - 1
        if surely_out <= most:
            surely_out = most + 1
        elif surely_out > rejected:
            surely_out = rejected
        certain.append((surely_in, surely_out))
    certain.reverse()
    return tuple(certain)


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
        The waves themselves, or one step a tree; before the first of them one without trees if
        the plan cannot turn a lot down.
    """
    if not curtailed:
        return plan.waves
    return tuple(starmap(Wave, _tree_by_tree(plan.waves, accepting_early=accepting_early)))


def _tree_by_tree(waves: Sequence[Wave], *, accepting_early: bool) -> Iterator[_Step]:
    seen = 0
    certain = certain_numbers(waves)
    if accepting_early and certain[0][0] >= 0:
        # A plan that cannot turn a lot down takes no tree.
        yield 0, 0, certain[0][1]
    for (size, accepted, _), (surely_in, surely_out) in zip(waves, certain, strict=True):
        for trees in range(seen + 1, size + 1):
            most = trees + surely_in if accepting_early else -1
            if trees == size and not accepting_early and accepted is not None:
                most = accepted
            yield trees, None if most < 0 else most, surely_out
        seen = size


def count_endings(plan: Plan, *, curtailed: bool, accepting_early: bool = True) -> WalkEndings:
    """
    Count the orders of trees that lead to each end of a sample.

    Every order with d nonconforming trees among t has the same probability, with replacement and
    without; so one count serves every quality, every lot and every law of drawing.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    curtailed, accepting_early : bool
        As in `steps_of`.

    Returns
    -------
    WalkEndings
        All ends that can be reached.

    References
    ----------
    .. [1] E. L. Grant and R. S. Leavenworth, Statistical Quality Control, on double and multiple
       sampling; the counting of paths follows from the multiplication rule.

    Examples
    --------
    >>> from audits.sampling.plans import WavePlan
    >>> count_endings(WavePlan((2, 3), (0, 1), (2, 2)), curtailed=False).accepted
    Endings(trees=(2, 3), nonconforming=(0, 1), orders=(1, 2))
    """
    # Without curtailment there is but one walk, whatever is said of accepting early.
    return _count_once(plan, curtailed, accepting_early or not curtailed)


@lru_cache(maxsize=512)
def _count_once(plan: Plan, curtailed: bool, accepting_early: bool) -> WalkEndings:  # noqa: FBT001 - the key of the cache
    steps: Iterable[_Step] = plan.waves
    if curtailed:
        steps = _tree_by_tree(plan.waves, accepting_early=accepting_early)
    return _count(steps, plan.sample_size)


def _count(steps: Iterable[_Step], sample_size: int) -> WalkEndings:
    """
    Walk from step to step.

    The orders that go on are kept as the digits of one large number, those with the fewest
    nonconforming trees in the lowest digit: a further tree is one addition, several are one
    multiplication (Kronecker substitution).
    """
    # Whole bytes, and more bits than trees: of n trees there are 2 ** n orders.
    digit = 8 * (sample_size // 8 + 1)
    fewest = (1 << digit) - 1
    accepted_ends: list[tuple[int, int, int]] = []
    other_ends: list[tuple[int, int, int]] = []
    going, lowest, width, seen = 1, 0, 1, 0
    for size, accepted, rejected in steps:
        further = size - seen
        if further == 1:
            going += going << digit
        else:
            going *= _from_digits([math.comb(further, bad) for bad in range(further + 1)], digit)
        width += further
        seen = size
        # One end at a time is the usual case, worth its own lines for speed.
        if accepted is None or accepted < lowest:
            pass
        elif accepted == lowest:
            accepted_ends.append((size, lowest, going & fewest))
            going >>= digit
            lowest += 1
            width -= 1
        else:
            ending = min(accepted + 1 - lowest, width)
            passed = going & ((1 << ending * digit) - 1)
            accepted_ends += _ends(size, lowest, passed, ending, digit)
            going >>= ending * digit
            lowest += ending
            width -= ending
        ending = lowest + width - rejected
        if ending == 1:
            width -= 1
            last = going >> width * digit
            going -= last << width * digit
            other_ends.append((size, rejected, last))
        elif ending > 1:
            ending = min(ending, width)
            width -= ending
            beyond = going >> width * digit
            going -= beyond << width * digit
            other_ends += _ends(size, lowest + width, beyond, ending, digit)
        if not width:
            break
    return WalkEndings(_columns(accepted_ends), _columns(other_ends))


def _ends(
    size: int, lowest: int, orders: int, ending: int, digit: int
) -> Iterator[tuple[int, int, int]]:
    return zip(repeat(size), count(lowest), _to_digits(orders, ending, digit), strict=False)


def _columns(ends: Sequence[tuple[int, int, int]]) -> Endings:
    return Endings(*zip(*ends, strict=True)) if ends else Endings((), (), ())


def _from_digits(digits: Iterable[int], bits: int) -> int:
    return int.from_bytes(b"".join(each.to_bytes(bits // 8, "little") for each in digits), "little")


def _to_digits(number: int, digits: int, bits: int) -> list[int]:
    length = bits // 8
    whole = number.to_bytes(digits * length, "little")
    return [
        int.from_bytes(whole[start : start + length], "little")
        for start in range(0, len(whole), length)
    ]


def chances_in_lot(endings: Endings, nonconforming: int, lot_size: int) -> list[tuple[int, float]]:
    """
    Return the chance that a sample from a lot ends after each number of trees.

    The numerators are summed in whole numbers, so that each chance is exact but for the last
    rounding.

    Parameters
    ----------
    endings : Endings
        The ends that are asked for.
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


def exact_chance(endings: Endings, nonconforming: int, lot_size: int) -> Fraction:
    """
    Return the chance that a sample from a lot ends in one of some ways, without rounding.

    Parameters
    ----------
    endings : Endings
        The ends that are asked for.
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


def _ways_in_lot(endings: Endings, nonconforming: int, lot_size: int) -> Iterator[tuple[int, int]]:
    """Count the ordered draws from a lot that end after each number of trees."""
    conforming = lot_size - nonconforming
    for trees, group in groupby(zip(*endings, strict=True), key=itemgetter(0)):
        yield (
            trees,
            sum(
                orders * math.perm(nonconforming, bad) * math.perm(conforming, trees - bad)
                for _, bad, orders in group
            ),
        )
