"""
Charts of blocks of due trees.

A point of a worker's or crew's chart is a fixed number of due trees in the order in which they
were scored, never an audit. An audit stops as soon as it is decided, and that biases its fraction,
mostly upwards: faults that come early end it early and weigh more (see
`audits.estimates.ratio_of_sums` for figures). Where a block ends depends only on how many trees
were due, not on what was found on them, so its count of nonconforming trees is binomial as long as
the work stays the same, and every point has the same limits.

A block here is a stretch of scored trees; it has nothing to do with a block of the orchard.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from audits.control.limits import FALSE_ALARM, FractionLimits, Signal, probability_limits
from audits.estimates import ratio_of_sums

LEAST_BLOCK_SIZE: Final = 10


class TreeBlock(NamedTuple):
    """
    Due trees scored one after another.

    Parameters
    ----------
    first : int
        Number of the first tree among all due trees, from 1.
    last : int
        Number of the last tree among all due trees.
    due : int
        Due trees of the block.
    nonconforming : int
        Nonconforming trees among them.
    """

    first: int
    last: int
    due: int
    nonconforming: int


class TreeBlocks(NamedTuple):
    """
    All due trees, cut into blocks.

    Parameters
    ----------
    complete : tuple of TreeBlock
        The complete blocks in scoring order.
    waiting : TreeBlock or None
        The last trees, too few for a block yet; None if there are none.
    """

    complete: tuple[TreeBlock, ...]
    waiting: TreeBlock | None


@dataclass(frozen=True)
class BlockPoint:
    """
    One point of a block chart.

    Parameters
    ----------
    first, last : int
        Numbers of the first and last tree among all due trees, from 1.
    due : int
        Due trees of the block.
    nonconforming : int
        Nonconforming trees among them.
    fraction : float
        Nonconforming over due trees.
    lower, upper : float
        Lowest and highest fraction that chance explains.
    signal : Signal or None
        On which side the point lies beyond them, if it does.
    """

    first: int
    last: int
    due: int
    nonconforming: int
    fraction: float
    lower: float
    upper: float
    signal: Signal | None


@dataclass(frozen=True)
class BlockChart:
    """
    A chart whose points are blocks of due trees.

    Parameters
    ----------
    points : tuple of BlockPoint
        One point per complete block, in scoring order.
    centre : float or None
        The centre line; None if there is neither a complete block nor a given centre.
    waiting : TreeBlock or None
        The last trees, too few for a point yet; None if there are none.
    """

    points: tuple[BlockPoint, ...]
    centre: float | None
    waiting: TreeBlock | None


def blocks_of_due_trees(outcomes: Sequence[bool], size: int = LEAST_BLOCK_SIZE) -> TreeBlocks:
    """
    Cut due trees into consecutive blocks of one size.

    Parameters
    ----------
    outcomes : Sequence of bool
        One value per due tree in scoring order: True if it was nonconforming. Trees on which
        nothing was due, or that were not scored, are left out beforehand.
    size : int, optional
        Due trees of a block, at least 10.

    Returns
    -------
    TreeBlocks
        Complete blocks of exactly `size` trees, and the rest apart.

    Raises
    ------
    ValueError
        If `size` is below 10.

    Examples
    --------
    >>> blocks = blocks_of_due_trees([False, True] * 6)
    >>> blocks.complete
    (TreeBlock(first=1, last=10, due=10, nonconforming=5),)
    >>> blocks.waiting
    TreeBlock(first=11, last=12, due=2, nonconforming=1)
    """
    if size < LEAST_BLOCK_SIZE:
        raise ValueError(f"size must be at least {LEAST_BLOCK_SIZE}, not {size}")
    blocks = [_block(outcomes, start, size) for start in range(0, len(outcomes), size)]
    waiting = blocks.pop() if blocks and blocks[-1].due < size else None
    return TreeBlocks(tuple(blocks), waiting)


def _block(outcomes: Sequence[bool], start: int, size: int) -> TreeBlock:
    trees = outcomes[start : start + size]
    return TreeBlock(start + 1, start + len(trees), len(trees), sum(map(bool, trees)))


def block_chart(
    outcomes: Sequence[bool],
    *,
    centre: float | None = None,
    size: int = LEAST_BLOCK_SIZE,
    false_alarm: float = FALSE_ALARM,
) -> BlockChart:
    """
    Chart due trees in blocks against exact binomial limits.

    Points are blocks of due trees and not audits, because audits stop when they are decided, and
    the fractions of stopped samples are biased; the docstring of this module says more.

    Parameters
    ----------
    outcomes : Sequence of bool
        One value per due tree in scoring order: True if it was nonconforming.
    centre : float or None, optional
        Fraction of nonconforming trees in the long run, in [0, 1]; by default the ratio of sums of
        all complete blocks.
    size : int, optional
        Due trees of a block, at least 10.
    false_alarm : float, optional
        Probability that a point signals by chance alone, both sides together, in (0, 1).

    Returns
    -------
    BlockChart
        One point per complete block; trees of an incomplete last block wait and are not charted.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Examples
    --------
    >>> chart = block_chart([False] * 40 + [True] * 10, centre=0.1)
    >>> [point.fraction for point in chart.points], chart.points[-1].signal.value
    ([0.0, 0.0, 0.0, 0.0, 1.0], 'above')
    """
    complete, waiting = blocks_of_due_trees(outcomes, size)
    if centre is None:
        centre = ratio_of_sums((block.nonconforming, block.due) for block in complete)
    if centre is None:
        return BlockChart((), None, waiting)
    # All blocks have one size, so the limits are the same for every point.
    counts = probability_limits(centre, size, false_alarm)
    limits = FractionLimits(counts.lower / size, counts.upper / size)
    return BlockChart(tuple(_point(block, limits) for block in complete), centre, waiting)


def _point(block: TreeBlock, limits: FractionLimits) -> BlockPoint:
    fraction = block.nonconforming / block.due
    return BlockPoint(*block, fraction, *limits, limits.signal(fraction))
