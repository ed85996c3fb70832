"""
Which chart fits a stage's due trees, and why.

Trees are counted in blocks as a rule. Measured heights tell more than counts; faults that come in
runs need wider limits; and where faults are rare, blocks of ten say little and the trees between
two faults say more.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise
from typing import Final, NamedTuple

from audits.control.blocks import LEAST_BLOCK_SIZE, blocks_of_due_trees
from audits.control.laney import laney_p
from audits.estimates import LEAST_TREES_TO_COMPARE
from audits.messages import Message, mark, say
from audits.vocabulary import Fault

# Fewer faults a block than this, in the long run: three blocks of four have none.
RARE_FAULTS_A_BLOCK: Final = 0.25
LEAST_FAULTS_FOR_GAPS: Final = 5
# Runs show in many blocks only.
LEAST_BLOCKS_FOR_RUNS: Final = 20
# Distance of the test of runs in standard deviations: 1 in 1,000 on that side.
_RUNS_BEYOND: Final = 3.09


class ChartKind(StrEnum):
    """What the points of a chart are."""

    NONE = "none"
    BLOCKS = "blocks"
    WIDENED_BLOCKS = "widened_blocks"
    GAPS = "gaps"
    HEIGHTS = "heights"


class DueTree(NamedTuple):
    """
    A due tree of one stage.

    Parameters
    ----------
    nonconforming : bool
        Whether it failed.
    day : date
        The farm's day on which it was scored.
    block_id : int
        The orchard block where it stands.
    faults : tuple of Fault, optional
        The named ways in which it failed.
    off_target_mm : float or None, optional
        Measured tops: height above the target in mm, below 0 under it.
    tolerance_mm : float, optional
        Measured tops: distance from the target that is still right, in mm.
    """

    nonconforming: bool
    day: date
    block_id: int
    faults: tuple[Fault, ...] = ()
    off_target_mm: float | None = None
    tolerance_mm: float = 0.0


@dataclass(frozen=True)
class ChartChoice:
    """
    The chart that fits, and why.

    Parameters
    ----------
    kind : ChartKind
        What its points are; none below 30 due trees.
    reason : Message
        Why, in one sentence.
    widening : float, optional
        How many times as wide as chance alone the blocks scatter (Laney's sigma z), at least 1.
    """

    kind: ChartKind
    reason: Message
    widening: float = 1.0


_REASONS: Final = {
    ChartKind.BLOCKS: mark(
        "Trees are counted ten at a time, so that every point has the same limits wherever an "
        "audit ended."
    ),
    ChartKind.GAPS: mark(
        "Faults are so rare here that ten trees say little, so the chart shows how many trees came "
        "from one fault to the next."
    ),
    ChartKind.HEIGHTS: mark(
        "The heights were measured, and the mean of ten heights says more than the count of faults."
    ),
}


def choose_chart(trees: Sequence[DueTree]) -> ChartChoice:
    """
    Choose the chart that fits a worker's or crew's due trees.

    Parameters
    ----------
    trees : sequence of DueTree
        The due trees of one stage in scoring order.

    Returns
    -------
    ChartChoice
        The chart and the reason.

    Examples
    --------
    >>> tree = DueTree(False, date(2026, 1, 12), block_id=1)
    >>> print(choose_chart([tree] * 29).reason)
    The chart begins with 30 due trees.
    """
    if len(trees) < LEAST_TREES_TO_COMPARE:
        reason = say("The chart begins with %(trees)s due trees.", trees=LEAST_TREES_TO_COMPARE)
        return ChartChoice(ChartKind.NONE, reason)
    blocks = blocks_of_due_trees([tree.nonconforming for tree in trees]).complete
    counts = [block.nonconforming for block in blocks]
    widening = scatter_of_blocks(counts)
    measured = sum(tree.off_target_mm is not None for tree in trees)
    faults = sum(tree.nonconforming for tree in trees)
    if measured >= LEAST_TREES_TO_COMPARE and 2 * measured >= len(trees):
        return ChartChoice(ChartKind.HEIGHTS, say(_REASONS[ChartKind.HEIGHTS]), widening)
    if widening > 1:
        reason = say(
            "Faults come in runs here: ten trees differ %(times)s times as much as chance "
            "explains, so the limits are that much wider.",
            times=round(widening, 1),
        )
        return ChartChoice(ChartKind.WIDENED_BLOCKS, reason, widening)
    is_rare = faults * LEAST_BLOCK_SIZE < RARE_FAULTS_A_BLOCK * len(trees)
    if is_rare and faults >= LEAST_FAULTS_FOR_GAPS:
        return ChartChoice(ChartKind.GAPS, say(_REASONS[ChartKind.GAPS]))
    return ChartChoice(ChartKind.BLOCKS, say(_REASONS[ChartKind.BLOCKS]))


def scatter_of_blocks(counts: Sequence[int], size: int = LEAST_BLOCK_SIZE) -> float:
    """
    Return how many times as much as chance alone the counts of blocks scatter.

    Successive blocks are compared, so that a change during the season, which is to be found and
    not to be explained away, hardly adds to the scatter.

    Parameters
    ----------
    counts : sequence of int
        Nonconforming trees of each block, in scoring order.
    size : int, optional
        Due trees of a block.

    Returns
    -------
    float
        Laney's sigma z, where at least 20 blocks show beyond chance (1 in 1,000) that faults come
        in runs; otherwise 1.

    Notes
    -----
    With mean square successive difference ``D`` over its expectation under a binomial law, whose
    excess of kurtosis is ``k = (1 - 6 p q) / (n p q)``, the variance of ``D`` for ``m`` blocks is
    ``((m - 1)(8 + 2 k) + 2 (m - 2)(2 + k)) / (4 (m - 1)^2)``; for a normal law it is von Neumann's.

    References
    ----------
    .. [1] J. von Neumann et al., The mean square successive difference, Annals of Mathematical
       Statistics 12 (1941), 153-162.
    .. [2] D. B. Laney, Improved control charts for attributes, Quality Engineering 14 (2002),
       531-537.

    Examples
    --------
    >>> scatter_of_blocks([0, 1] * 10), round(scatter_of_blocks([0, 6] * 10), 1)
    (1.0, 3.7)
    """
    blocks = len(counts)
    rate = sum(counts) / (blocks * size) if blocks else 0.0
    if blocks < LEAST_BLOCKS_FOR_RUNS or not 0 < rate < 1:
        return 1.0
    variance = size * rate * (1 - rate)
    gaps = blocks - 1
    squares = sum((after - before) ** 2 for before, after in pairwise(counts))
    kurtosis = (1 - 6 * rate * (1 - rate)) / variance
    expected_variance = (gaps * (8 + 2 * kurtosis) + 2 * (gaps - 1) * (2 + kurtosis)) / (
        4 * gaps**2
    )
    beyond = (squares / (2 * variance * gaps) - 1) / math.sqrt(expected_variance)
    if beyond <= _RUNS_BEYOND:
        return 1.0
    return max(1.0, laney_p(counts, [size] * blocks).sigma_z or 1.0)
