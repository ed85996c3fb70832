"""
Signals of a season: what a chart must show before anybody is asked to go and look.

Charts are looked at after every audit, so their limits are set for the season as a whole: a steady
worker, whose true rate is at or below the centre, gets a false signal in at most 2 of 100 seasons,
over all four stages and all charts together. Each stage has a quarter of that. Half of it goes to
the sum of single faults, which finds slow changes, and half to the blocks of ten, which find sudden
ones; where heights are measured, those share the blocks' half.

Faults are taken to fall at random over the trees. Where they come in runs, limits are widened
(`audits.control.choice.scatter_of_blocks`).
"""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import pairwise
from statistics import fmean
from typing import Final

from audits.control.bernoulli import BernoulliCusum
from audits.control.blocks import (
    LEAST_BLOCK_SIZE,
    BlockChart,
    BlockPoint,
    blocks_of_due_trees,
)
from audits.control.choice import ChartChoice, ChartKind, DueTree, choose_chart
from audits.control.directions import (
    fault_counts,
    height_sentence,
    uneven_sentence,
    what_to_do,
)
from audits.control.heights import SEASON_BLOCKS, HeightChart, HeightSignal, heights_chart
from audits.control.limits import Signal, binomial_probabilities
from audits.control.rare import GChart, g_chart
from audits.control.run_lengths import (
    bernoulli_median,
    bernoulli_season_design,
    bernoulli_signal_chance,
    season_block_limits,
)
from audits.estimates import LEAST_TREES_TO_COMPARE, ratio_of_sums, wilson
from audits.messages import Message
from audits.vocabulary import Stage

SEASON_TREES: Final = SEASON_BLOCKS * LEAST_BLOCK_SIZE
FALSE_SIGNALS_A_SEASON: Final = 0.02
FALSE_SIGNALS_A_STAGE: Final = FALSE_SIGNALS_A_SEASON / len(Stage)
SHARE_OF_SUM: Final = FALSE_SIGNALS_A_STAGE / 2
SHARE_OF_BLOCKS: Final = FALSE_SIGNALS_A_STAGE / 2
SHARE_OF_HEIGHTS: Final = SHARE_OF_BLOCKS / 2

# The sum is designed for a doubled rate. Designed for three times the rate it would find a doubled
# one after 318 instead of 267 trees (centre 5 %), and six times the rate hardly sooner.
WORSE: Final = 2.0

# A person's own rate is rounded up to this step, and nobody is held to less than half of the trees.
_OWN_STEP: Final = 0.005
_MOST_CENTRE: Final = 0.5
# Measured heights of a run that give a mean worth saying.
_LEAST_HEIGHTS: Final = 5
_MOSTLY: Final = 0.5
# Chance down to which the blocks' own rates explain a run, which was chosen for its faults.
_EXPLAINED: Final = 0.01


@dataclass(frozen=True)
class SeasonCharts:
    """
    The limits of a stage's charts for a season.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees of a steady worker, in (0, 1).
    largest_inside : int
        Largest count of a block of ten that is no signal.
    design : BernoulliCusum
        The sum of single faults.
    heights_share : float
        False signals that measured heights may give in a season.
    """

    centre: float
    largest_inside: int
    design: BernoulliCusum
    heights_share: float


@dataclass(frozen=True)
class SeasonPromise:
    """
    What the charts of a stage promise.

    Parameters
    ----------
    trees : int
        Due trees of the season for which it is given.
    false_signal : float
        Most chance that a steady worker gets a signal in this stage within them.
    worse_rate : float
        The rate that is meant by worse, in [0, 1]: the doubled centre.
    median_trees : int or None
        Due trees after which that rate has signalled in half of the cases; None beyond 20,000.
    """

    trees: int
    false_signal: float
    worse_rate: float
    median_trees: int | None


@dataclass(frozen=True)
class FaultSum:
    """
    The sum of single faults: each fault adds, each right tree takes off.

    Parameters
    ----------
    sums : tuple of int
        The sum after each due tree, from 0 to the threshold, where it stays until a right tree.
    threshold : int
        Where it signals.
    out : tuple of int
        Numbers of the trees, from 1, after which it stood there.
    since : int or None
        Number of the first tree of the run that led to the latest of them.
    """

    sums: tuple[int, ...]
    threshold: int
    out: tuple[int, ...]
    since: int | None

    @property
    def has_signal(self) -> bool:
        """Whether it stood at the threshold within the latest ten due trees."""
        return bool(self.out) and self.out[-1] > len(self.sums) - LEAST_BLOCK_SIZE


@dataclass(frozen=True)
class HardBlock:
    """
    A block whose trees are worse for everybody.

    Parameters
    ----------
    block_id : int
        The block.
    nonconforming, due : int
        What others' trees came to there.
    """

    block_id: int
    nonconforming: int
    due: int


@dataclass(frozen=True)
class TrendSignal:
    """
    A signal of a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    since : date
        Day of the first tree of the run that led to it.
    due, nonconforming : int
        Due trees of that run up to now, and nonconforming ones among them.
    sentence : Message
        Since when, which way, and what to do.
    by : ChartKind
        The chart it comes from: heights, blocks, or none for the sum.
    run : tuple of DueTree
        The trees of the run.
    """

    stage: Stage
    since: date
    due: int
    nonconforming: int
    sentence: Message
    by: ChartKind
    run: tuple[DueTree, ...]


@dataclass(frozen=True)
class StageTrendCharts:
    """
    All charts of a stage, and what they say together.

    Parameters
    ----------
    choice : ChartChoice
        The chart that fits, and why.
    blocks : BlockChart or None
        Blocks of ten due trees; None below 30.
    total : FaultSum or None
        The sum of single faults; None below 30.
    heights : HeightChart or None
        Means of ten measured heights; None where fewer than 30 were measured.
    gaps : GChart or None
        Good trees between one fault and the next; None unless this is the chart that fits.
    limits : SeasonCharts or None
        The limits; None below 30 due trees.
    signal : TrendSignal or None
        What to do, if anything.
    """

    choice: ChartChoice
    blocks: BlockChart | None
    total: FaultSum | None
    heights: HeightChart | None
    gaps: GChart | None
    limits: SeasonCharts | None
    signal: TrendSignal | None


def steady_centre(accepted: float, own_rate: float | None) -> float:
    """
    Return the rate up to which a worker counts as steady.

    Nobody gets a signal for fewer faults than the standard accepts. While a rate may not be set
    beside the standard, a worker's own higher rate is the yardstick, up to half of the trees.

    Parameters
    ----------
    accepted : float
        Fraction of nonconforming trees that the standard accepts, in (0, 1).
    own_rate : float or None
        The worker's own rate in the season so far; None where it is set beside the standard.

    Returns
    -------
    float
        The centre, in (0, 1).

    Examples
    --------
    >>> steady_centre(0.05, None), steady_centre(0.05, 0.02), steady_centre(0.05, 0.112)
    (0.05, 0.05, 0.115)
    """
    if own_rate is None or own_rate <= accepted:
        return accepted
    # Steps keep the designs few, and rounding up is easy on the worker.
    own = math.ceil(round(own_rate / _OWN_STEP, 9)) * _OWN_STEP
    return max(accepted, min(round(own, 9), _MOST_CENTRE))


@lru_cache(maxsize=512)
def season_charts(
    centre: float, *, with_heights: bool = False, widening: float = 1.0
) -> SeasonCharts:
    """
    Return the limits of a stage's charts for a season of 400 due trees.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees of a steady worker, in (0, 1).
    with_heights : bool, optional
        Whether heights are measured, which then share the blocks' part.
    widening : float, optional
        How many times as wide as chance alone the blocks scatter, at least 1.

    Returns
    -------
    SeasonCharts
        Blocks' limits widen by that factor, the sum's threshold by its square, since the height
        to which sums climb goes with the variance.

    Raises
    ------
    ValueError
        If `centre` lies outside its range.

    Examples
    --------
    >>> charts = season_charts(0.05)
    >>> charts.largest_inside, charts.design.score_fault, charts.design.threshold
    (5, 13, 134)
    """
    share = SHARE_OF_HEIGHTS if with_heights else 0.0
    inside = season_block_limits(
        centre, LEAST_BLOCK_SIZE, blocks=SEASON_BLOCKS, false_signal=SHARE_OF_BLOCKS - share
    )
    design = bernoulli_season_design(
        centre, worse_than(centre), trees=SEASON_TREES, false_signal=SHARE_OF_SUM
    )
    if widening > 1:
        expected = centre * LEAST_BLOCK_SIZE
        wide = math.floor(expected + (inside + 1 - expected) * widening)
        inside = min(LEAST_BLOCK_SIZE, wide)
        design = BernoulliCusum(
            design.score_fault, design.score_good, math.ceil(design.threshold * widening**2)
        )
    return SeasonCharts(centre, inside, design, share)


def worse_than(centre: float) -> float:
    """
    Return the rate that the sum of faults is there to find.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees of a steady worker, in (0, 1).

    Returns
    -------
    float
        Twice the centre, but at most half way from there to every tree.
    """
    return min(WORSE * centre, (1 + centre) / 2)


@lru_cache(maxsize=512)
def season_promise(charts: SeasonCharts) -> SeasonPromise:
    """
    Say what the charts of a stage promise.

    Parameters
    ----------
    charts : SeasonCharts
        Their limits.

    Returns
    -------
    SeasonPromise
        Exact chances for faults that fall at random over the trees.

    Examples
    --------
    >>> promise = season_promise(season_charts(0.05))
    >>> promise.median_trees, promise.false_signal <= 0.005
    (267, True)
    """
    by_sum = bernoulli_signal_chance(charts.design, charts.centre, SEASON_TREES)
    beyond = sum(
        binomial_probabilities(charts.centre, LEAST_BLOCK_SIZE)[charts.largest_inside + 1 :]
    )
    by_blocks = -math.expm1(SEASON_BLOCKS * math.log1p(-beyond))
    worse = worse_than(charts.centre)
    return SeasonPromise(
        SEASON_TREES,
        by_sum + by_blocks + charts.heights_share,
        worse,
        bernoulli_median(charts.design, worse),
    )


def stage_charts(
    stage: Stage, trees: Sequence[DueTree], *, accepted: float, beside_standard: bool
) -> StageTrendCharts:
    """
    Chart a stage's due trees and tell whether somebody should go and look.

    Parameters
    ----------
    stage : Stage
        The stage.
    trees : sequence of DueTree
        The due trees in scoring order.
    accepted : float
        Fraction of nonconforming trees that the standard accepts, in (0, 1).
    beside_standard : bool
        Whether the rate may be set beside the standard; otherwise the own rate is drawn.

    Returns
    -------
    StageTrendCharts
        Charts from 30 due trees on, and the signal if there is one.
    """
    choice = choose_chart(trees)
    if choice.kind is ChartKind.NONE:
        return StageTrendCharts(choice, None, None, None, None, None, None)
    outcomes = [tree.nonconforming for tree in trees]
    complete, waiting = blocks_of_due_trees(outcomes)
    own_rate = ratio_of_sums((block.nonconforming, block.due) for block in complete) or 0.0
    centre = steady_centre(accepted, None if beside_standard else own_rate)
    measured = [tree for tree in trees if tree.off_target_mm is not None]
    has_heights = len(measured) >= LEAST_TREES_TO_COMPARE
    limits = season_charts(centre, with_heights=has_heights, widening=choice.widening)
    points = tuple(
        BlockPoint(
            *block,
            block.nonconforming / block.due,
            0.0,
            limits.largest_inside / block.due,
            Signal.ABOVE if block.nonconforming > limits.largest_inside else None,
        )
        for block in complete
    )
    blocks = BlockChart(points, accepted if beside_standard else own_rate, waiting)
    total = sum_of_faults(outcomes, limits.design)
    heights = heights_chart(measured, centre, SHARE_OF_HEIGHTS) if has_heights else None
    signal = _signal(stage, trees, blocks, total, heights)
    gaps = g_chart(_gaps(outcomes)) if choice.kind is ChartKind.GAPS else None
    return StageTrendCharts(choice, blocks, total, heights, gaps, limits, signal)


def _gaps(outcomes: Sequence[bool]) -> list[int]:
    faults = [number for number, is_fault in enumerate(outcomes) if is_fault]
    return [after - before - 1 for before, after in pairwise(faults)]


def sum_of_faults(outcomes: Sequence[bool], design: BernoulliCusum) -> FaultSum:
    """
    Add up single faults in scoring order.

    The sum stops at the threshold. So a signal ends soon after the work is right again, however
    long it was wrong, and the chance of a first signal is not touched.

    Parameters
    ----------
    outcomes : sequence of bool
        One value per due tree in scoring order: True if it was nonconforming.
    design : BernoulliCusum
        Scores and threshold, in whole numbers.

    Returns
    -------
    FaultSum
        The sums, and since when.

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.

    Examples
    --------
    >>> found = sum_of_faults([False, True, False, True], BernoulliCusum(9, -1, threshold=15))
    >>> found.sums, found.out, found.since, found.has_signal
    ((0, 9, 8, 15), (4,), 2, True)
    """
    up, down, threshold = int(design.score_fault), int(design.score_good), int(design.threshold)
    sums: list[int] = []
    out: list[int] = []
    total, begun, since = int(design.start), 1, None
    for number, is_fault in enumerate(outcomes, start=1):
        if total == 0:
            begun = number
        total = min(total + up, threshold) if is_fault else max(total + down, 0)
        sums.append(total)
        if total == threshold:
            out.append(number)
            since = begun
    return FaultSum(tuple(sums), threshold, tuple(out), since)


def _signal(
    stage: Stage,
    trees: Sequence[DueTree],
    blocks: BlockChart,
    total: FaultSum,
    heights: HeightChart | None,
) -> TrendSignal | None:
    by_height = heights.latest_signal if heights and _is_recent(trees, heights) else None
    if total.has_signal and total.since is not None:
        return _of_run(stage, trees[total.since - 1 :], ChartKind.NONE)
    first = _first_of_latest_run(blocks)
    if first is not None:
        return _of_run(stage, trees[first - 1 :], ChartKind.BLOCKS)
    if heights and by_height is not None:
        measured = [tree for tree in trees if tree.off_target_mm is not None]
        return _of_heights(stage, measured[heights.run_begin - 1 :], by_height)
    return None


def _first_of_latest_run(blocks: BlockChart) -> int | None:
    """Return the first tree of the unbroken run of blocks beyond the limit up to the latest."""
    first = None
    for point in reversed(blocks.points):
        if point.signal is not Signal.ABOVE:
            break
        first = point.first
    return first


def _is_recent(trees: Sequence[DueTree], heights: HeightChart) -> bool:
    """Tell whether the latest block of heights is about the latest work, on a farm with both."""
    if not heights.points:
        return False
    latest = trees[-2 * LEAST_BLOCK_SIZE :]
    measured = sum(tree.off_target_mm is not None for tree in latest)
    return measured >= LEAST_BLOCK_SIZE


def _of_run(stage: Stage, run: Sequence[DueTree], by: ChartKind) -> TrendSignal:
    wrong = [tree for tree in run if tree.nonconforming]
    heights = [tree.off_target_mm for tree in run if tree.off_target_mm is not None]
    counts = fault_counts(tree.faults for tree in wrong)
    sentence = what_to_do(
        stage,
        run[0].day,
        counts,
        len(wrong),
        height_mm=fmean(heights) if len(heights) >= _LEAST_HEIGHTS else None,
    )
    return TrendSignal(stage, run[0].day, len(run), len(wrong), sentence, by, tuple(run))


def _of_heights(stage: Stage, run: Sequence[DueTree], signal: HeightSignal) -> TrendSignal:
    heights = [tree.off_target_mm for tree in run if tree.off_target_mm is not None]
    since = run[0].day
    sentence = (
        uneven_sentence(since)
        if signal is HeightSignal.UNEVEN
        else height_sentence(since, fmean(heights))
    )
    wrong = sum(tree.nonconforming for tree in run)
    return TrendSignal(stage, since, len(run), wrong, sentence, ChartKind.HEIGHTS, tuple(run))


def hard_block(
    signal: TrendSignal,
    own: Collection[DueTree],
    everybody: Mapping[int, tuple[int, int]],
    centre: float,
) -> HardBlock | None:
    """
    Tell whether a signal speaks of a block rather than of a person.

    Parameters
    ----------
    signal : TrendSignal
        The signal.
    own : collection of DueTree
        All due trees of the stage that the person did in the season.
    everybody : Mapping of int to (int, int)
        By block: nonconforming and due trees of everybody, the person's own among them.
    centre : float
        Fraction of nonconforming trees of a steady worker.

    Returns
    -------
    HardBlock or None
        The block where at least half of the signal's faults stand, if others' trees there (30 at
        least) are worse than the centre and than the farm's other blocks, and the run's faults
        are explained once trees of such blocks are given the rate that others have there.
    """
    own_sums = _sums_by_block(own)
    run = _sums_by_block(signal.run)
    hard: dict[int, HardBlock] = {}
    for block_id in run:
        nonconforming, due = everybody.get(block_id, (0, 0))
        own_nonconforming, own_due = own_sums[block_id]
        others = HardBlock(block_id, nonconforming - own_nonconforming, due - own_due)
        elsewhere = ratio_of_sums(sums for other, sums in everybody.items() if other != block_id)
        if others.due >= LEAST_TREES_TO_COMPARE and wilson(
            others.nonconforming, others.due
        ).lower > max(centre, elsewhere or 0.0):
            hard[block_id] = others
    worst = max(hard, key=lambda block_id: run[block_id][0], default=None)
    if worst is None or run[worst][0] < _MOSTLY * signal.nonconforming:
        return None
    chances = [1.0]
    for block_id, (_, due) in run.items():
        others_here = hard.get(block_id)
        rate = others_here.nonconforming / others_here.due if others_here else centre
        chances = _added(chances, binomial_probabilities(rate, due))
    explained = sum(chances[signal.nonconforming :]) > _EXPLAINED
    return hard[worst] if explained else None


def _sums_by_block(trees: Iterable[DueTree]) -> dict[int, tuple[int, int]]:
    sums: dict[int, tuple[int, int]] = {}
    for tree in trees:
        nonconforming, due = sums.get(tree.block_id, (0, 0))
        sums[tree.block_id] = (nonconforming + tree.nonconforming, due + 1)
    return sums


def _added(chances: Sequence[float], more: Sequence[float]) -> list[float]:
    """Return the law of the sum of two independent counts."""
    found = [0.0] * (len(chances) + len(more) - 1)
    for count, chance in enumerate(chances):
        for added, other in enumerate(more):
            found[count + added] += chance * other
    return found
