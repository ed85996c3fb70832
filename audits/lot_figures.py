"""
What the plans of a lot promise: the figures by which people choose a plan.

All chances hold for faults placed at random, under the hypergeometric law of the lot; the stages
are taken as independent. A stage that is decided by mean and spread has no one chance, because its
trees may have to be counted instead: its figures are what holds whichever way is taken.
"""

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import zip_longest
from typing import Final, cast

from audits.lot_plans import plan_lot
from audits.sampling import (
    Inspection,
    MeasuredPlan,
    Rounding,
    StagePlan,
    VariablesPlan,
    acceptance_probability_at_count,
    average_sample_number_at_count,
    chances_still_open,
    quality_accepted,
    trees_at_fraction,
    variables_acceptance_probability,
    variables_acceptance_range,
)
from audits.sampling.measured_design import worst_mixed_chance
from audits.standard import Promise, Standard
from audits.vocabulary import PlanMethod, Stage, Strictness

# A tree with all its stages tapped, and the way to the next one (common practice, no source).
SECONDS_A_TREE: Final = 60.0

# How far beyond the rejectable fraction a table of the curve goes on, as a multiple of it.
_BEYOND_REJECTABLE: Final = 1.6

# How often a quality is accepted: almost always, every second time, seldom.
QUALITY_CHANCES: Final = (0.95, 0.50, 0.10)


@dataclass(frozen=True)
class CurvePoint:
    """
    A point of a plan's curve: how often a lot of this quality passes.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees in the lot.
    lot_size : int
        Trees in the lot.
    chance : float
        Chance that the lot is accepted, in [0, 1].
    """

    nonconforming: int
    lot_size: int
    chance: float

    @property
    def fraction(self) -> float:
        """Nonconforming trees over all trees of the lot."""
        return self.nonconforming / self.lot_size


@dataclass(frozen=True)
class StageFigures:
    """
    What one stage's plan promises.

    Parameters
    ----------
    stage : Stage
        The stage.
    plan : StagePlan
        Its plan.
    promise : Promise
        Its acceptable and its rejectable fraction.
    acceptable : CurvePoint
        The lot with the acceptable fraction, rounded down to whole trees. Of a measured stage, the
        chance with which it is accepted at least.
    rejectable : CurvePoint
        The lot with the rejectable fraction, rounded up to whole trees. Of a measured stage, the
        chance with which it is accepted at most.
    accepted_fractions : tuple of float
        Largest fractions of whole trees that are accepted at least as often as each of
        `QUALITY_CHANCES`.
    expected_trees : float
        Trees until the stage is decided in the acceptable lot, if it were scored alone.
    expected_trees_rejectable : float
        The same in the rejectable lot.
    limit_percent : float or None
        The acceptable quality limit (AQL) of a plan from the tables, in trees of a hundred.
    at_limit : CurvePoint or None
        The lot whose fraction is nearest to that limit.
    """

    stage: Stage
    plan: StagePlan
    promise: Promise
    acceptable: CurvePoint
    rejectable: CurvePoint
    accepted_fractions: tuple[float, ...]
    expected_trees: float
    expected_trees_rejectable: float
    limit_percent: float | None = None
    at_limit: CurvePoint | None = None

    @property
    def is_measured(self) -> bool:
        """Whether mean and spread decide it, where the measures allow."""
        return isinstance(self.plan, MeasuredPlan)


@dataclass(frozen=True)
class LotFigures:
    """
    What the plans of a lot promise together.

    Parameters
    ----------
    lot_size : int
        Trees in the lot.
    stages : tuple of StageFigures
        One for each stage, from the top of the tree down.
    goes_back : float
        Chance that a lot that is acceptable in every stage goes back all the same.
    expected_trees : float
        Trees until all stages are decided in such a lot.
    expected_trees_one_rejectable : float
        The same in a lot with the rejectable fraction in one stage, the stage that takes most.
    largest_sample : int
        Trees at most.
    seconds_a_tree : float
        Time for a tree, the way to it included.
    """

    lot_size: int
    stages: tuple[StageFigures, ...]
    goes_back: float
    expected_trees: float
    expected_trees_one_rejectable: float
    largest_sample: int
    seconds_a_tree: float

    @property
    def expected_minutes(self) -> float:
        """Minutes until all stages are decided in a lot acceptable in every stage."""
        return self.expected_trees * self.seconds_a_tree / 60

    @property
    def most_minutes(self) -> float:
        """Minutes for the largest sample."""
        return self.largest_sample * self.seconds_a_tree / 60

    @property
    def alike(self) -> tuple[tuple[StageFigures, ...], ...]:
        """The stages, those with one plan and one promise together."""
        groups: dict[tuple[StagePlan, Promise], list[StageFigures]] = {}
        for stage in self.stages:
            groups.setdefault((stage.plan, stage.promise), []).append(stage)
        return tuple(map(tuple, groups.values()))


@dataclass(frozen=True)
class Consequence:
    """
    What follows from asking for more or less than the standard.

    Parameters
    ----------
    strictness : Strictness
        What is asked for.
    figures : LotFigures
        What its plans promise.
    """

    strictness: Strictness
    figures: LotFigures


def lot_figures(
    plans: Mapping[Stage, StagePlan],
    promises: Mapping[Stage, Promise],
    lot_size: int,
    *,
    limit_percent: float | None = None,
    seconds_a_tree: float = SECONDS_A_TREE,
) -> LotFigures:
    """
    Reckon what the plans of a lot promise.

    Parameters
    ----------
    plans : Mapping of Stage to StagePlan
        The plan of each stage, at least one.
    promises : Mapping of Stage to Promise
        The fractions by which each of these stages is judged.
    lot_size : int
        Trees in the lot, at least as many as the largest sample.
    limit_percent : float, optional
        The acceptable quality limit (AQL) of plans from the tables, in trees of a hundred.
    seconds_a_tree : float, optional
        Time for a tree, the way to it included.

    Returns
    -------
    LotFigures
        The figures of each stage and of the lot.

    Raises
    ------
    InvalidInput
        If the lot is smaller than a sample.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2 (operating
       characteristic of a lot, average sample number).
    """
    known: dict[tuple[StagePlan, Promise], StageFigures] = {}
    stages = []
    for stage in sorted(plans, key=tuple(Stage).index):
        key = (plans[stage], promises[stage])
        if key not in known:
            known[key] = _stage_figures(stage, *key, lot_size, limit_percent)
        stages.append(replace(known[key], stage=stage))
    return LotFigures(
        lot_size=lot_size,
        stages=tuple(stages),
        goes_back=max(0.0, 1.0 - math.prod(each.acceptable.chance for each in stages)),
        expected_trees=_trees_until_all_decided(stages),
        expected_trees_one_rejectable=max(
            _trees_until_all_decided(stages, rejectable=each.stage) for each in stages
        ),
        largest_sample=max(plan.sample_size for plan in plans.values()),
        seconds_a_tree=seconds_a_tree,
    )


def figures_of_standard(
    standard: Standard,
    plans: Mapping[Stage, StagePlan],
    lot_size: int,
    *,
    seconds_a_tree: float = SECONDS_A_TREE,
) -> LotFigures:
    """
    Reckon what the plans of a lot promise under its standard.

    Parameters
    ----------
    standard : Standard
        The version in force.
    plans : Mapping of Stage to StagePlan
        The plan of each stage, at least one.
    lot_size : int
        Trees in the lot.
    seconds_a_tree : float, optional
        Time for a tree, the way to it included.

    Returns
    -------
    LotFigures
        The figures; those at the AQL only where the standard asks for plans from the tables.

    Raises
    ------
    InvalidInput
        If the lot is smaller than a sample.
    """
    by_table = standard.sampling.method is PlanMethod.TABLE
    return lot_figures(
        plans,
        {stage: standard.rule(stage).promise for stage in plans},
        lot_size,
        limit_percent=standard.sampling.acceptable_quality_limit if by_table else None,
        seconds_a_tree=seconds_a_tree,
    )


def consequences(
    standard: Standard,
    lot_size: int,
    stages: Iterable[Stage],
    *,
    inspections: Mapping[Stage, Inspection] | None = None,
    seconds_a_tree: float = SECONDS_A_TREE,
) -> tuple[Consequence, ...]:
    """
    Reckon what follows from asking for less, for what the standard says, and for more.

    Parameters
    ----------
    standard : Standard
        The version in force.
    lot_size : int
        Trees in the lot.
    stages : Iterable of Stage
        The stages to decide.
    inspections : Mapping of Stage to Inspection, optional
        Where each stage stands in the tables' switching.
    seconds_a_tree : float, optional
        Time for a tree, the way to it included.

    Returns
    -------
    tuple of Consequence
        From lighter to stricter. Plans from the tables know their own tightening, so that they
        have only what the standard says.

    Raises
    ------
    InvalidInput
        If a value lies outside its range.
    AuditError
        If the lot cannot keep its promises.
    """
    ordered = tuple(stages)
    by_table = standard.sampling.method is PlanMethod.TABLE
    chosen = (Strictness.AS_WRITTEN,) if by_table else tuple(Strictness)
    planned = {
        strictness: plan_lot(
            standard, lot_size, ordered, strictness=strictness, inspections=inspections
        )
        for strictness in chosen
    }
    return tuple(
        Consequence(
            strictness,
            figures_of_standard(standard, plans, lot_size, seconds_a_tree=seconds_a_tree),
        )
        for strictness, plans in planned.items()
    )


def curve_points(plan: StagePlan, lot_size: int, most: int | None = None) -> tuple[CurvePoint, ...]:
    """
    Return a plan's operating characteristic, one point for each whole number of trees.

    Parameters
    ----------
    plan : StagePlan
        The plan; of one that measures, the curve of the mean, all faults of length on one side.
    lot_size : int
        Trees in the lot, at least the sample.
    most : int, optional
        Nonconforming trees of the last point; the whole lot if left out.

    Returns
    -------
    tuple of CurvePoint
        From no nonconforming tree on; the chance never rises.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample.
    """
    last = lot_size if most is None else min(most, lot_size)
    return tuple(_point(plan, count, lot_size) for count in range(last + 1))


def curve_table(figures: StageFigures, steps: int = 10) -> tuple[CurvePoint, ...]:
    """
    Return a few points of a stage's curve, those promised among them.

    Parameters
    ----------
    figures : StageFigures
        What the stage's plan promises.
    steps : int, optional
        Points beside the promised ones, evenly apart from no bad tree on.

    Returns
    -------
    tuple of CurvePoint
        Points of whole trees, a little beyond the rejectable fraction.
    """
    lot_size = figures.acceptable.lot_size
    last = min(lot_size, math.ceil(_BEYOND_REJECTABLE * figures.rejectable.nonconforming))
    promised = [figures.acceptable, figures.rejectable, figures.at_limit]
    counts = {round(step * last / steps) for step in range(steps + 1)}
    counts |= {point.nonconforming for point in promised if point is not None}
    return tuple(_point(figures.plan, count, lot_size) for count in sorted(counts))


def _stage_figures(
    stage: Stage, plan: StagePlan, promise: Promise, lot_size: int, limit_percent: float | None
) -> StageFigures:
    acceptable = trees_at_fraction(promise.acceptable_fraction, lot_size, Rounding.DOWN)
    rejectable = trees_at_fraction(promise.rejectable_fraction, lot_size, Rounding.UP)
    if isinstance(plan, MeasuredPlan):
        return _measured_figures(stage, plan, promise, (acceptable, rejectable), lot_size)
    fractions = quality_accepted(plan, QUALITY_CHANCES, lot_size=lot_size)
    return StageFigures(
        stage=stage,
        plan=plan,
        promise=promise,
        acceptable=_point(plan, acceptable, lot_size),
        rejectable=_point(plan, rejectable, lot_size),
        accepted_fractions=tuple(cast("list[float]", fractions)),
        expected_trees=average_sample_number_at_count(plan, acceptable, lot_size),
        expected_trees_rejectable=average_sample_number_at_count(plan, rejectable, lot_size),
        limit_percent=limit_percent,
        at_limit=(
            None
            if limit_percent is None
            else _point(plan, trees_at_fraction(limit_percent / 100, lot_size), lot_size)
        ),
    )


def _measured_figures(
    stage: Stage, plan: MeasuredPlan, promise: Promise, counts: tuple[int, int], lot_size: int
) -> StageFigures:
    """Return what holds whether the mean decides or the count: their risks add up at most."""
    acceptable, rejectable = counts
    least, greatest = _chances_by_mean(plan.variables, promise)
    counted = [acceptance_probability_at_count(plan.counted, count, lot_size) for count in counts]
    return StageFigures(
        stage=stage,
        plan=plan,
        promise=promise,
        acceptable=CurvePoint(acceptable, lot_size, max(0.0, least + counted[0] - 1.0)),
        rejectable=CurvePoint(rejectable, lot_size, min(1.0, greatest + counted[1])),
        accepted_fractions=tuple(
            _last_accepted(plan, chance, lot_size) for chance in QUALITY_CHANCES
        ),
        expected_trees=float(plan.measured_size),
        expected_trees_rejectable=float(plan.measured_size),
    )


# Kept, as the searches for the worst mix of faults take tenths of a second.
@lru_cache(maxsize=256)
def _chances_by_mean(plan: VariablesPlan, promise: Promise) -> tuple[float, float]:
    """Return how often the mean accepts at least a good lot, and at most a bad one."""
    return (
        variables_acceptance_range(plan, promise.acceptable_fraction).least,
        worst_mixed_chance(plan, promise.rejectable_fraction),
    )


def _last_accepted(plan: MeasuredPlan, chance: float, lot_size: int) -> float:
    """Return the largest fraction that the mean accepts at least so often."""
    beyond = bisect_left(
        range(1, lot_size + 1),
        x=True,
        key=lambda count: _point(plan, count, lot_size).chance < chance,
    )
    return beyond / lot_size


def _trees_until_all_decided(
    stages: Iterable[StageFigures], rejectable: Stage | None = None
) -> float:
    """Return the trees expected where the stages are acceptable, all but the one named."""
    still_open = [
        _still_open(each.plan, each.rejectable if each.stage is rejectable else each.acceptable)
        for each in stages
    ]
    return math.fsum(
        1.0 - math.prod(1.0 - chance for chance in chances)
        for chances in zip_longest(*still_open, fillvalue=0.0)
    )


def _still_open(plan: StagePlan, lot: CurvePoint) -> list[float]:
    # All trees of a measured sample are measured, and its end decides.
    if isinstance(plan, MeasuredPlan):
        return [1.0] * plan.measured_size
    return chances_still_open(plan, lot.nonconforming, lot.lot_size)


def _point(plan: StagePlan, nonconforming: int, lot_size: int) -> CurvePoint:
    if isinstance(plan, MeasuredPlan):
        chance = variables_acceptance_probability(plan.variables, nonconforming / lot_size)
    else:
        chance = acceptance_probability_at_count(plan, nonconforming, lot_size)
    # Sums of chances may miss their bounds by the last digit.
    return CurvePoint(nonconforming, lot_size, min(1.0, max(0.0, chance)))
