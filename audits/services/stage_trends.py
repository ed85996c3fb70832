"""A stage's season for one person or crew: what may be said of it, its charts and its faults."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, TypeVar

from audits.control.blocks import BlockChart
from audits.control.choice import DueTree
from audits.control.directions import fault_counts
from audits.control.measures import MeasureReading, read_measures
from audits.control.signals import (
    HardBlock,
    SeasonPromise,
    StageTrendCharts,
    TrendSignal,
    hard_block,
    season_promise,
    stage_charts,
)
from audits.estimates import RateLevel, RateReading, describe_rate
from audits.messages import Message, mark, say
from audits.scoring import judged_side, measured_limits
from audits.standard import Standard
from audits.storage.queries.trends import BlockSum, DueOutcome, RowPlace, TrendLine
from audits.units import LengthKind
from audits.vocabulary import Fault, Side, Stage

MOST_FAULTS_SHOWN: Final = 5
# Below this, figures of a crew would be figures of persons.
LEAST_PEOPLE_OF_A_CREW: Final = 5

Value = TypeVar("Value")

# Each version of a standard that the trees of a season were scored by.
Standards = Mapping[int, Standard]

MEASURED_KINDS: Final = {Stage.TOP: LengthKind.HEIGHT, Stage.HEADING: LengthKind.DIAMETER}

_HARD_BLOCK: Final = {
    Stage.TOP: mark(
        "Look at %(block)s first: others' tops are wrong there too (%(nonconforming)s of %(due)s "
        "trees)."
    ),
    Stage.LIMBS: mark(
        "Look at %(block)s first: others' limb cuts are wrong there too (%(nonconforming)s of "
        "%(due)s trees)."
    ),
    Stage.COLUMNS: mark(
        "Look at %(block)s first: others' columns are wrong there too (%(nonconforming)s of "
        "%(due)s trees)."
    ),
    Stage.HEADING: mark(
        "Look at %(block)s first: others' branch ends are wrong there too (%(nonconforming)s of "
        "%(due)s trees)."
    ),
}
# Where the others are few, their counts would be figures of persons.
_HARD_BLOCK_OF_FEW: Final = {
    Stage.TOP: mark("Look at %(block)s first: others' tops are wrong there too."),
    Stage.LIMBS: mark("Look at %(block)s first: others' limb cuts are wrong there too."),
    Stage.COLUMNS: mark("Look at %(block)s first: others' columns are wrong there too."),
    Stage.HEADING: mark("Look at %(block)s first: others' branch ends are wrong there too."),
}


@dataclass(frozen=True)
class SeenFault:
    """
    A nonconforming tree, and where it stands.

    Parameters
    ----------
    audit_id, draw_tree_id : int
        The audit and the drawn tree.
    scored_on : date
        The farm's day on which it was scored.
    block : str
        Name of its block.
    row_number, position : int
        Its row, and its place in the row.
    side : Side
        The side that was judged; both for the whole tree.
    faults : tuple of Fault
        The named ways in which it failed; empty if nobody named one.
    """

    audit_id: int
    draw_tree_id: int
    scored_on: date
    block: str
    row_number: int
    position: int
    side: Side
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class StageTrend:
    """
    A season in one stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    reading : RateReading
        What may be said of the rate.
    accepted_fraction : float
        Fraction of nonconforming trees that the standard accepts, in [0, 1]; the largest where
        the trees come from several versions.
    beside_standard : bool
        Whether the rate may be set beside the standard. Otherwise it is set beside the own rate,
        which compares with nobody.
    charts : StageTrendCharts
        The charts from 30 due trees on, and the signal.
    audits : int
        Audits in which a tree was due.
    directions : Mapping of Fault to int
        On how many trees each fault was named.
    measures : MeasureReading or None
        What was measured; None where nothing was.
    faults : tuple of SeenFault
        The latest nonconforming trees, the latest first, without those still to be scored unseen.
    hides_faults : bool
        Whether some are left out, since whoever looks may still score these trees unseen.
    block_first : Message or None
        That the signal speaks of a block that is worse for everybody; None without that.
    """

    stage: Stage
    reading: RateReading
    accepted_fraction: float
    beside_standard: bool
    charts: StageTrendCharts
    audits: int
    directions: Mapping[Fault, int]
    measures: MeasureReading | None
    faults: tuple[SeenFault, ...]
    hides_faults: bool
    block_first: Message | None = None

    @property
    def chart(self) -> BlockChart | None:
        """Blocks of due trees in scoring order; None below 30 due trees."""
        return self.charts.blocks

    @property
    def signal(self) -> TrendSignal | None:
        """What to look at, if anything."""
        return self.charts.signal

    @property
    def has_signal(self) -> bool:
        """Whether there is a signal."""
        return self.charts.signal is not None

    @property
    def promise(self) -> SeasonPromise | None:
        """
        What the charts promise beside the standard; None below 30 due trees.

        None beside the own rate too: that rises with the faults, so that work that is worse from
        the beginning never stands out, and what becomes worse does so much later.
        """
        if self.charts.limits is None or not self.beside_standard:
            return None
        return season_promise(self.charts.limits)

    @property
    def audits_to_find_worse(self) -> int | None:
        """After how many audits like these a doubled rate has signalled in half of the cases."""
        promise = self.promise
        if promise is None or promise.median_trees is None:
            return None
        return -(-promise.median_trees * self.audits // self.reading.due)

    @property
    def is_beyond_standard(self) -> bool:
        """Whether the season's rate is worse than the standard beyond what chance allows."""
        return self.reading.is_beyond(self.accepted_fraction)


def stage_trend(
    stage: Stage,
    lines: Sequence[TrendLine],
    outcomes: Sequence[DueOutcome],
    standards: Standards,
    places: Mapping[int, RowPlace],
    *,
    auditors: int,
    unseen: Collection[int] = (),
) -> StageTrend:
    """
    Say what the season of one person or crew came to in a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    lines : sequence of TrendLine
        Sums by audit, in scoring order; at least one.
    outcomes : sequence of DueOutcome
        The due trees in scoring order.
    standards : Mapping of int to Standard
        The versions of the standard, by id.
    places : Mapping of int to RowPlace
        Where the trees' rows stand, by id.
    auditors : int
        Auditors that the rate may claim.
    unseen : Collection of int, optional
        Audits of which whoever looks may still score the trees unseen.

    Returns
    -------
    StageTrend
        What may be said and shown; a signal not yet held against its block.
    """
    reading = describe_rate(
        sum(line.nonconforming for line in lines),
        sum(line.due for line in lines),
        days=len({line.scored_on for line in lines}),
        rows=len({outcome.orchard_row_id for outcome in outcomes}),
        auditors=auditors,
    )
    accepted = largest_accepted(lines, standards)
    beside_standard = reading.level is RateLevel.COMPARABLE
    audits = {line.audit_id: line for line in lines}
    measured = [outcome for outcome in outcomes if outcome.measured_mm is not None]
    trees = due_trees(stage, outcomes, audits, standards, places)
    return StageTrend(
        stage=stage,
        reading=reading,
        accepted_fraction=accepted,
        beside_standard=beside_standard,
        charts=stage_charts(stage, trees, accepted=accepted, beside_standard=beside_standard),
        audits=len(audits),
        directions=fault_counts(tree.faults for tree in trees if tree.nonconforming),
        measures=_measures(stage, measured, audits, standards, comparable=beside_standard),
        faults=_last_faults(stage, outcomes, audits, places, unseen),
        hides_faults=any(
            outcome.nonconforming and outcome.audit_id in unseen for outcome in outcomes
        ),
    )


def due_trees(
    stage: Stage,
    outcomes: Iterable[DueOutcome],
    audits: Mapping[int, TrendLine],
    standards: Standards,
    places: Mapping[int, RowPlace],
) -> list[DueTree]:
    """
    Return due trees as the charts take them.

    Parameters
    ----------
    stage : Stage
        The stage.
    outcomes : iterable of DueOutcome
        The due trees in scoring order.
    audits : Mapping of int to TrendLine
        The sums of their audits, by audit.
    standards : Mapping of int to Standard
        The versions of the standard, by id.
    places : Mapping of int to RowPlace
        Where the trees' rows stand, by id.

    Returns
    -------
    list of DueTree
        In the same order.
    """
    named: dict[str, tuple[Fault, ...]] = {"": ()}
    block_ids = {row_id: place.block_id for row_id, place in places.items()}
    trees = []
    for outcome in outcomes:
        line = audits[outcome.audit_id]
        if outcome.faults not in named:
            named[outcome.faults] = _faults(outcome.faults)
        height, tolerance = None, 0.0
        if stage is Stage.TOP and outcome.measured_mm is not None:
            rule = standards[line.standard_version_id].top
            tolerance = rule.tolerance_mm
            height = _lengths(outcome)[0] - rule.target_mm
        trees.append(
            DueTree(
                bool(outcome.nonconforming),
                line.scored_on,
                block_ids[outcome.orchard_row_id],
                named[outcome.faults],
                height,
                tolerance,
            )
        )
    return trees


def beside_its_block(
    trend: StageTrend,
    outcomes: Sequence[DueOutcome],
    lines: Sequence[TrendLine],
    standards: Standards,
    places: Mapping[int, RowPlace],
    sums: Iterable[BlockSum],
) -> StageTrend:
    """
    Hold a signal against the block where its trees stand.

    Parameters
    ----------
    trend : StageTrend
        The stage, with a signal or without.
    outcomes : sequence of DueOutcome
        Its due trees in scoring order.
    lines : sequence of TrendLine
        Their sums by audit.
    standards : Mapping of int to Standard
        The versions of the standard, by id.
    places : Mapping of int to RowPlace
        Where the trees' rows stand, by id.
    sums : iterable of BlockSum
        What everybody's trees of these blocks came to, auditor by auditor.

    Returns
    -------
    StageTrend
        The same; if the block is worse for everybody, it says so first.
    """
    if trend.signal is None or trend.charts.limits is None:
        return trend
    audits = {line.audit_id: line for line in lines}
    by_block: dict[int, list[BlockSum]] = defaultdict(list)
    for one in sums:
        if one.stage is trend.stage:
            by_block[one.block_id].append(one)
    found = hard_block(
        trend.signal,
        due_trees(trend.stage, outcomes, audits, standards, places),
        {
            block_id: (sum(one.nonconforming for one in own), sum(one.due for one in own))
            for block_id, own in by_block.items()
        },
        trend.charts.limits.centre,
    )
    if found is None:
        return trend
    # Auditors meet the same people: whom one of them met is the least there are, one of them left
    # out as the signal's own.
    others = max(one.people for one in by_block[found.block_id]) - 1
    return replace(trend, block_first=_block_sentence(trend.stage, found, others, places))


def _block_sentence(
    stage: Stage, found: HardBlock, others: int, places: Mapping[int, RowPlace]
) -> Message:
    block = next(place.block for place in places.values() if place.block_id == found.block_id)
    if others < LEAST_PEOPLE_OF_A_CREW:
        return say(_HARD_BLOCK_OF_FEW[stage], block=block)
    return say(_HARD_BLOCK[stage], block=block, nonconforming=found.nonconforming, due=found.due)


def largest_accepted(lines: Iterable[TrendLine], standards: Standards) -> float:
    """
    Return the accepted fraction that is easiest on somebody whose trees had several rules.

    Parameters
    ----------
    lines : iterable of TrendLine
        Sums of one stage, at least one.
    standards : Mapping of int to Standard
        The versions of the standard, by id.

    Returns
    -------
    float
        A fraction in (0, 1).
    """
    accepted = {(line.standard_version_id, line.stage) for line in lines}
    return max(
        standards[version].rule(stage).promise.acceptable_fraction for version, stage in accepted
    )


def in_stage_order(by_stage: Mapping[Stage, Value]) -> dict[Stage, Value]:
    """
    Return a mapping with its stages from the top of the tree down.

    Parameters
    ----------
    by_stage : Mapping of Stage to object
        One value a stage; stages may be missing.

    Returns
    -------
    dict of Stage to object
        The same values.
    """
    return {stage: by_stage[stage] for stage in Stage if stage in by_stage}


def _measures(
    stage: Stage,
    measured: Sequence[DueOutcome],
    audits: Mapping[int, TrendLine],
    standards: Standards,
    *,
    comparable: bool,
) -> MeasureReading | None:
    if stage not in MEASURED_KINDS or not measured:
        return None
    bands = {
        version: measured_limits(standards[version], stage)
        for version in {audits[outcome.audit_id].standard_version_id for outcome in measured}
    }
    # Where trees had several bands, the narrowest speaks for all.
    half = min((upper - lower) / 2 for lower, upper in bands.values())
    trees = []
    for outcome in measured:
        lower, upper = bands[audits[outcome.audit_id].standard_version_id]
        middle = (lower + upper) / 2
        trees.append([length - middle for length in _lengths(outcome)])
    return read_measures(trees, half, MEASURED_KINDS[stage], comparable=comparable)


def _last_faults(
    stage: Stage,
    outcomes: Sequence[DueOutcome],
    audits: Mapping[int, TrendLine],
    places: Mapping[int, RowPlace],
    unseen: Collection[int],
) -> tuple[SeenFault, ...]:
    # Latest audits first, and in each the trees scored last, as they come.
    found: list[SeenFault] = []
    for outcome in reversed(outcomes):
        if len(found) == MOST_FAULTS_SHOWN:
            break
        if outcome.nonconforming and outcome.audit_id not in unseen:
            place = places[outcome.orchard_row_id]
            found.append(
                SeenFault(
                    audit_id=outcome.audit_id,
                    draw_tree_id=outcome.draw_tree_id,
                    scored_on=audits[outcome.audit_id].scored_on,
                    block=place.block,
                    row_number=place.number,
                    position=outcome.position,
                    side=judged_side(stage, Side(outcome.side)),
                    faults=_faults(outcome.faults),
                )
            )
    return tuple(found)


def _faults(text: str) -> tuple[Fault, ...]:
    return tuple(Fault(word) for word in text.split())


def _lengths(outcome: DueOutcome) -> list[float]:
    lengths: list[float] = json.loads(outcome.measured_mm or "[]")
    return lengths


def by_stage(outcomes: Iterable[DueOutcome]) -> dict[Stage, list[DueOutcome]]:
    """
    Sort due trees by stage.

    Parameters
    ----------
    outcomes : iterable of DueOutcome
        Due trees in scoring order.

    Returns
    -------
    dict of Stage to list of DueOutcome
        Each stage's in the same order; an empty list where there are none.
    """
    found: dict[Stage, list[DueOutcome]] = defaultdict(list)
    for outcome in outcomes:
        found[outcome.stage].append(outcome)
    return found
