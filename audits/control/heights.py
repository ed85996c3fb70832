"""
Means and spreads of ten measured heights, against limits that the standard's promise gives.

Usual limits around the target would call a worker out who cuts evenly one inch high and hardly
ever beyond the band. So a mean signals only if it shows that more trees lie beyond one edge of the
band than the standard accepts (an acceptance control chart), and a spread only if no mean could
keep the accepted share inside. Both count only for heights that follow the bell curve, and in a
block where two trees failed; otherwise trees are counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from statistics import fmean, variance
from typing import Final

from audits.control.blocks import LEAST_BLOCK_SIZE
from audits.control.choice import DueTree
from audits.estimates import LEAST_TREES_TO_COMPARE
from audits.sampling.variables.normality import check_normality

SEASON_BLOCKS: Final = 40
# The mean gets four parts in five, since most work goes wrong in one direction.
_SHARE_OF_MEANS: Final = 0.8
LEAST_FAILED: Final = 2
_LEAST_BLOCKS: Final = LEAST_TREES_TO_COMPARE // LEAST_BLOCK_SIZE


class HeightSignal(StrEnum):
    """In which way a block of heights lies beyond its limits."""

    HIGH = "high"
    LOW = "low"
    UNEVEN = "uneven"


@dataclass(frozen=True)
class HeightPoint:
    """
    Ten measured heights.

    Parameters
    ----------
    first, last : int
        Numbers of the first and last tree among all measured ones, from 1.
    mean_mm : float
        Mean height above the target, below 0 under it.
    spread_mm : float
        Standard deviation.
    lower_mm, upper_mm : float
        Lowest and highest mean that is no signal.
    widest_mm : float
        Largest standard deviation that is no signal.
    signal : HeightSignal or None
        In which way it lies beyond them.
    """

    first: int
    last: int
    mean_mm: float
    spread_mm: float
    lower_mm: float
    upper_mm: float
    widest_mm: float
    signal: HeightSignal | None


@dataclass(frozen=True)
class HeightChart:
    """
    A chart of measured heights.

    Parameters
    ----------
    points : tuple of HeightPoint
        Blocks of ten measured trees in scoring order.
    waiting : int
        Measured trees that wait for the next block.
    is_normal : bool
        Whether the heights follow the bell curve; without it there are no signals.
    tolerance_mm : float
        Distance from the target that is still right.
    """

    points: tuple[HeightPoint, ...]
    waiting: int
    is_normal: bool
    tolerance_mm: float

    @property
    def latest_signal(self) -> HeightSignal | None:
        """The signal of the latest block."""
        return self.points[-1].signal if self.points else None

    @property
    def run_begin(self) -> int:
        """Number of the first measured tree of the run of blocks that signal like the latest."""
        begin = 1
        for point in reversed(self.points):
            if point.signal is not self.latest_signal:
                break
            begin = point.first
        return begin


def heights_chart(trees: Sequence[DueTree], accepted: float, false_signal: float) -> HeightChart:
    """
    Chart measured heights in blocks of ten.

    Parameters
    ----------
    trees : sequence of DueTree
        Measured trees in scoring order, at least 30.
    accepted : float
        Fraction of trees beyond the band with which all is well, in (0, 1).
    false_signal : float
        Most chance of a signal in a season of 40 blocks if no larger fraction lies beyond the
        band, for normal heights.

    Returns
    -------
    HeightChart
        Means and spreads with their limits.

    Notes
    -----
    With limits U and L, the mean m of n heights and the spread s of all blocks so far with v
    degrees of freedom, ``sqrt(n) (U - m) / s`` follows a noncentral t distribution with parameter
    ``sqrt(n) z`` if the accepted fraction lies beyond U. The mean signals below that law's
    quantile. It is the variables plan with one limit, turned into a chart.

    References
    ----------
    .. [1] R. A. Freund, Acceptance control charts, Industrial Quality Control 14 (1957), 13-23.
    .. [2] D. C. Montgomery, Introduction to Statistical Quality Control, 10.2.
    """
    heights = [tree.off_target_mm or 0.0 for tree in trees]
    tolerance = max(tree.tolerance_mm for tree in trees)
    count = len(heights) // LEAST_BLOCK_SIZE
    groups = [
        heights[start : start + LEAST_BLOCK_SIZE]
        for start in range(0, count * LEAST_BLOCK_SIZE, LEAST_BLOCK_SIZE)
    ]
    failed = [
        sum(tree.nonconforming for tree in trees[start : start + LEAST_BLOCK_SIZE])
        for start in range(0, count * LEAST_BLOCK_SIZE, LEAST_BLOCK_SIZE)
    ]
    is_normal = _is_normal(groups)
    widest = tolerance * _spread_factor(accepted, false_signal * (1 - _SHARE_OF_MEANS))
    variances = [variance(group) for group in groups]
    points = []
    for place, group in enumerate(groups):
        so_far = max(place + 1, _LEAST_BLOCKS)
        spread = math.sqrt(fmean(variances[:so_far]))
        factor = _mean_factor(
            so_far * (LEAST_BLOCK_SIZE - 1), accepted, false_signal * _SHARE_OF_MEANS
        )
        reach = max(tolerance - factor * spread, 0.0)
        mean, own_spread = fmean(group), math.sqrt(variances[place])
        signal = None
        if is_normal and failed[place] >= LEAST_FAILED:
            signal = _beyond(mean, own_spread, reach, widest)
        first = place * LEAST_BLOCK_SIZE + 1
        points.append(
            HeightPoint(
                first,
                first + LEAST_BLOCK_SIZE - 1,
                mean,
                own_spread,
                -reach,
                reach,
                widest,
                signal,
            )
        )
    return HeightChart(tuple(points), len(heights) % LEAST_BLOCK_SIZE, is_normal, tolerance)


def _beyond(mean: float, spread: float, reach: float, widest: float) -> HeightSignal | None:
    if mean > reach:
        return HeightSignal.HIGH
    if mean < -reach:
        return HeightSignal.LOW
    return HeightSignal.UNEVEN if spread > widest else None


def _is_normal(groups: Sequence[Sequence[float]]) -> bool:
    # Distances from the blocks' own means, so that a change between blocks is no odd shape.
    residuals = [height - fmean(group) for group in groups for height in group]
    # Equal heights throughout have no shape that could be odd, and no spread to go by.
    if max(residuals) - min(residuals) < 1e-6:  # noqa: PLR2004 - far below what is measured
        return False
    return check_normality(residuals).is_normal


@lru_cache(maxsize=1024)
def _mean_factor(freedom: int, accepted: float, false_signal: float) -> float:
    """Return how many spreads a mean must keep from the band's edge."""
    from scipy.special import nctdtrit, ndtri  # noqa: PLC0415 - keeps starting the app light

    tail = false_signal / 2 / SEASON_BLOCKS
    root = math.sqrt(LEAST_BLOCK_SIZE)
    return float(nctdtrit(freedom, root * -ndtri(accepted), tail)) / root


@lru_cache(maxsize=256)
def _spread_factor(accepted: float, false_signal: float) -> float:
    """Return the widest spread of a block, in tolerances."""
    from scipy.special import chdtri, ndtri  # noqa: PLC0415 - keeps starting the app light

    freedom = LEAST_BLOCK_SIZE - 1
    tail = false_signal / SEASON_BLOCKS
    return math.sqrt(float(chdtri(freedom, tail)) / freedom) / -float(ndtri(accepted / 2))
