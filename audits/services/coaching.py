"""
What to coach: the one stage for a worker, and what a crew should be shown.

The stage is chosen within one person, never between people: a signal first, then what lies above
what the standard accepts even at the lower end of its range. Below the floors the sheet shows what
was seen, in counts, and compares nothing.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import sqlalchemy as sa

from audits.coaching_words import CoachingReason
from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    RateLevel,
    RateReading,
    describe_rate,
    wilson,
)
from audits.records import Actor, Block, Crew, Farm, StandardVersion, TrainingEvent, Worker
from audits.seasons import season_days
from audits.services.access import require_crew_lead
from audits.services.agreement import WhoCounts, who_counts
from audits.services.contesting import contested_trees
from audits.services.farms import the_crew, the_farm
from audits.services.sign_offs import open_stages
from audits.services.standards import standard_of
from audits.services.training import counted_trees, split_trees
from audits.services.trends import (
    LEAST_PEOPLE_OF_A_CREW,
    StageTrend,
    list_workers,
    worker_trend,
)
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import season as season_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries import training as queries
from audits.storage.queries.training import CrewDay, ScoredTree
from audits.vocabulary import Fault, Method, Stage, TrainingKind

# One odd tree is no reason to work on a stage.
_LEAST_WRONG: Final = 2
# So many faults, and so many latest trees, fit on a sheet with pictures large enough to see.
MOST_FAULTS: Final = 2
MOST_TREES: Final = 20
MOST_TRAININGS: Final = 3


@dataclass(frozen=True)
class CoachingChoice:
    """
    The stage to work on.

    Parameters
    ----------
    reason : CoachingReason
        Why; with nothing to work on or too few trees, there is no stage.
    stage : Stage or None
        The stage.
    went_well : Stage or None
        Where nothing is to be worked on: the stage with the fewest wrong trees for its number.
    """

    reason: CoachingReason
    stage: Stage | None = None
    went_well: Stage | None = None


@dataclass(frozen=True)
class SeenFault:
    """
    A fault, and on how many trees it was seen.

    Parameters
    ----------
    fault : Fault
        The fault.
    trees : int or None
        Trees on which it was named; None where figures are held back.
    """

    fault: Fault
    trees: int | None


@dataclass(frozen=True)
class SinceTraining:
    """
    Trees before the latest training and after it, in counts.

    Parameters
    ----------
    event : TrainingEvent
        The training.
    before, after : tuple of int and int
        Nonconforming and due trees of the season.
    """

    event: TrainingEvent
    before: tuple[int, int]
    after: tuple[int, int]


@dataclass(frozen=True)
class CoachingView:
    """
    A worker's coaching sheet.

    Parameters
    ----------
    worker : Worker
        Whose sheet.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    choice : CoachingChoice
        The stage to work on and why.
    reading : RateReading or None
        What may be said of the chosen stage, or of the one that went well.
    faults : tuple of SeenFault
        The faults seen most often in that stage this season.
    latest : tuple of bool
        The latest due trees of that stage in scoring order: whether each is nonconforming.
    block : Block or None
        The block of the latest tree, whose standard says what right looks like.
    version : StandardVersion or None
        That standard.
    since : SinceTraining or None
        Before and after the latest training in that stage.
    trained : tuple of TrainingEvent
        The latest trainings of that stage.
    learning : Stage or None
        The stage that a new hire learns now.
    method : Method
        From where the crew worked in its latest pass.
    contested : int
        How many of the reading's trees are contested and not answered.
    left_out : Mapping of Stage to int
        Due trees that do not count because of who scored them.
    """

    worker: Worker
    season: int
    seasons: list[int]
    choice: CoachingChoice
    reading: RateReading | None = None
    faults: tuple[SeenFault, ...] = ()
    latest: tuple[bool, ...] = ()
    block: Block | None = None
    version: StandardVersion | None = None
    since: SinceTraining | None = None
    trained: tuple[TrainingEvent, ...] = ()
    learning: Stage | None = None
    method: Method = Method.LADDER
    contested: int = 0
    left_out: Mapping[Stage, int] = field(default_factory=dict)

    @property
    def standard(self) -> Standard | None:
        """The criteria of the version."""
        return standard_of(self.version) if self.version else None


@dataclass(frozen=True)
class CrewStage:
    """
    A stage of a crew.

    Parameters
    ----------
    stage : Stage
        The stage.
    reading : RateReading or None
        What may be said of all trees of the crew, whoever did them; None in a small crew.
    faults : tuple of SeenFault
        The faults seen most often.
    """

    stage: Stage
    reading: RateReading | None
    faults: tuple[SeenFault, ...]


@dataclass(frozen=True)
class CrewView:
    """
    A crew leader's sheet.

    Parameters
    ----------
    crew : Crew
        The crew.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    people : int
        How many are in the crew.
    stages : tuple of CrewStage
        Every stage with due trees, from the top of the tree down.
    next_stage : Stage or None
        What the whole crew should be shown next; None where nothing stands out.
    signals : tuple of tuple of Worker and tuple of Stage
        Whom to go and look at, by name, and where; nobody else is named.
    block_first : tuple of tuple of Worker and tuple of Stage
        The same where a block that is worse for everybody is to be looked at first.
    learning : tuple of tuple of Worker and Stage
        New hires and the stage that each learns, by name.
    trained : tuple of tuple of TrainingEvent and str
        The latest trainings in the crew, each with the number of people who were there.
    block : Block or None
        The block of the latest pass, whose standard says what right looks like.
    version : StandardVersion or None
        That standard.
    left_out : Mapping of Stage to int
        Due trees that do not count because of who scored them; empty in a small crew.
    """

    crew: Crew
    season: int
    seasons: list[int]
    people: int
    stages: tuple[CrewStage, ...]
    next_stage: Stage | None
    signals: tuple[tuple[Worker, tuple[Stage, ...]], ...]
    block_first: tuple[tuple[Worker, tuple[Stage, ...]], ...]
    learning: tuple[tuple[Worker, Stage], ...]
    trained: tuple[tuple[TrainingEvent, int], ...]
    block: Block | None
    version: StandardVersion | None
    left_out: Mapping[Stage, int]

    @property
    def is_too_small(self) -> bool:
        """Whether figures of the crew would be figures of persons."""
        return self.people < LEAST_PEOPLE_OF_A_CREW

    @property
    def standard(self) -> Standard | None:
        """The criteria of the version."""
        return standard_of(self.version) if self.version else None


def coaching_view(database: Database, actor: Actor, worker_id: int, season: int) -> CoachingView:
    """
    Return what a worker's coaching sheet says.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        Whose sheet.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    CoachingView
        The one stage to work on with what was seen, or that there is none.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's records.
    NotFound
        If the farm has no such worker.
    """
    trend = worker_trend(database, actor, worker_id, season)
    choice = choose_stage(trend.stages)
    shown = choice.stage or choice.went_well
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        learning = open_stages(connection, farm.id).get(worker_id)
        crew_id = trend.worker.crew_id
        method = queries.method_of_crew(connection, farm.id, crew_id) or Method.LADDER
        if shown is None:
            latest = next(
                iter(queries.versions_of_crew(connection, farm.id, crew_id, most=1)), None
            )
            return CoachingView(
                trend.worker,
                season,
                trend.seasons,
                choice,
                block=_block(connection, farm.id, latest),
                version=latest,
                learning=learning,
                method=method,
                left_out=trend.left_out,
            )
        found = counted_trees(
            who_counts(connection, farm.id),
            queries.trees_of_season(connection, farm.id, season, [worker_id]),
        )
        trees = [tree for tree in found.trees if tree.stage is shown]
        contested = contested_trees(connection, farm.id, season, worker_id)
        trained = [
            event
            for event in _trainings(connection, farm, season, [worker_id])
            if event.stage is shown
        ]
        block, version = _right(connection, farm.id, trees)
        return CoachingView(
            worker=trend.worker,
            season=season,
            seasons=trend.seasons,
            choice=choice,
            reading=next(each.reading for each in trend.stages if each.stage is shown),
            faults=_leading(tree.faults for tree in trees if tree.nonconforming),
            latest=tuple(tree.nonconforming for tree in trees)[-MOST_TREES:],
            block=block,
            version=version,
            since=_since(trees, trained, farm.time_zone),
            trained=tuple(trained[:MOST_TRAININGS]),
            learning=learning,
            method=method,
            contested=contested.get(shown, 0),
            left_out=trend.left_out,
        )


def choose_stage(stages: Sequence[StageTrend]) -> CoachingChoice:
    """
    Choose the one stage to work on.

    A signal comes first, and one that no block explains before one that speaks of a block which is
    worse for everybody. Else it is the stage whose rate lies furthest above what the standard
    accepts at the lower end of its range. Where no stage may be set beside the standard yet, one
    with at least two wrong trees and a range above what is accepted is shown as seen, without
    comparing it.

    Parameters
    ----------
    stages : Sequence of StageTrend
        The worker's stages, from the top of the tree down.

    Returns
    -------
    CoachingChoice
        The stage and why; of two that are alike, the upper one on the tree.
    """
    signals = [stage for stage in stages if stage.has_signal]
    own = [stage for stage in signals if stage.block_first is None]
    if own:
        return CoachingChoice(CoachingReason.SIGNAL, max(own, key=_beyond).stage)
    if signals:
        return CoachingChoice(CoachingReason.HARD_BLOCK, max(signals, key=_beyond).stage)
    comparable = [stage for stage in stages if stage.reading.level is RateLevel.COMPARABLE]
    others = [stage for stage in stages if stage.reading.level is not RateLevel.COMPARABLE]
    above = [stage for stage in comparable if _beyond(stage) > 0]
    if above:
        furthest = max(above, key=_beyond)
        # Whether somebody is called worse than the standard has a limit of its own, 99.8 %.
        is_beyond = furthest.reading.is_beyond(furthest.accepted_fraction)
        reason = CoachingReason.ABOVE_STANDARD if is_beyond else CoachingReason.MOST_TO_GAIN
        return CoachingChoice(reason, furthest.stage)
    seen = [
        stage
        for stage in others
        if stage.reading.nonconforming >= _LEAST_WRONG and _beyond(stage) > 0
    ]
    if seen:
        return CoachingChoice(CoachingReason.SEEN, max(seen, key=_beyond).stage)
    enough = [stage for stage in stages if stage.reading.due >= LEAST_TREES_FOR_A_RANGE]
    if not enough:
        return CoachingChoice(CoachingReason.TOO_FEW)
    well = min(enough, key=lambda stage: wilson(stage.reading.nonconforming, stage.reading.due)[1])
    return CoachingChoice(CoachingReason.NOTHING, went_well=well.stage)


def _beyond(stage: StageTrend) -> float:
    """Return how far the lower end of a stage's range lies above what the standard accepts."""
    reading = stage.reading
    if reading.due == 0:
        return -1.0
    return wilson(reading.nonconforming, reading.due).lower - stage.accepted_fraction


def crew_view(database: Database, actor: Actor, crew_id: int, season: int) -> CrewView:
    """
    Return what a crew leader's sheet says.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    crew_id : int
        The crew.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    CrewView
        The crew's stages and whom to go and look at.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such crew.
    """
    require_crew_lead(actor)
    people = list_workers(database, actor, season)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        crew = the_crew(connection, farm.id, crew_id)
        own = [line for line in people.lines if line.worker.crew_id == crew_id]
        here = [line for line in own if not line.worker.retired]
        is_small = len(here) < LEAST_PEOPLE_OF_A_CREW
        who = who_counts(connection, farm.id)
        days = queries.crew_days(connection, farm.id, season, crew_id)
        versions = queries.versions_of_crew(connection, farm.id, crew_id)
        rows = season_queries.audited_rows(connection, farm.id, season, crew_id)
        readings = _crew_readings(days, rows, who)
        faults: dict[Stage, list[tuple[Fault, ...]]] = {stage: [] for stage in Stage}
        for tree in queries.faults_of_crew(connection, farm.id, season, crew_id):
            if who.counts(tree.auditor_id, tree.stage):
                faults[tree.stage].append(tree.faults)
        learns = open_stages(connection, farm.id)
        latest = versions[0] if versions else None
        return CrewView(
            crew=crew,
            season=season,
            seasons=people.seasons,
            people=len(here),
            stages=tuple(
                CrewStage(
                    stage,
                    None if is_small else readings[stage],
                    _leading(faults[stage], counted=not is_small),
                )
                for stage in Stage
                if stage in readings
            ),
            next_stage=_next_stage(readings, versions),
            signals=tuple((line.worker, line.own_signals) for line in here if line.own_signals),
            block_first=tuple((line.worker, line.block_first) for line in here if line.block_first),
            learning=tuple(
                (line.worker, learns[line.worker.id]) for line in here if line.worker.id in learns
            ),
            trained=_crew_trainings(
                _trainings(connection, farm, season, [line.worker.id for line in own])
            ),
            block=_block(connection, farm.id, latest),
            version=latest,
            left_out={} if is_small else _left_out(days, who),
        )


def _crew_readings(days: Iterable[CrewDay], rows: int, who: WhoCounts) -> dict[Stage, RateReading]:
    counted: dict[Stage, list[CrewDay]] = defaultdict(list)
    for day in days:
        if who.counts(day.auditor_id, day.stage):
            counted[day.stage].append(day)
    return {
        stage: describe_rate(
            sum(day.nonconforming for day in own),
            sum(day.due for day in own),
            days=len({day.scored_on for day in own}),
            rows=rows,
            auditors=who.for_floor(stage, {day.auditor_id for day in own}),
        )
        for stage, own in counted.items()
    }


def _left_out(days: Iterable[CrewDay], who: WhoCounts) -> dict[Stage, int]:
    left_out: Counter[Stage] = Counter()
    for day in days:
        if not who.counts(day.auditor_id, day.stage):
            left_out[day.stage] += day.due
    return dict(left_out)


def _next_stage(
    readings: Mapping[Stage, RateReading], versions: Sequence[StandardVersion]
) -> Stage | None:
    """Return the stage furthest above what is accepted at the lower end of its range."""
    standards = [standard_of(version) for version in versions]
    beyond = {}
    for stage, reading in readings.items():
        accepted = max(
            (standard.rule(stage).promise.acceptable_fraction for standard in standards),
            default=1.0,
        )
        if reading.due >= LEAST_TREES_TO_COMPARE:
            beyond[stage] = wilson(reading.nonconforming, reading.due).lower - accepted
    above = [stage for stage in Stage if beyond.get(stage, 0.0) > 0]
    return max(above, key=lambda stage: beyond[stage], default=None)


def _leading(named: Iterable[tuple[Fault, ...]], *, counted: bool = True) -> tuple[SeenFault, ...]:
    trees = Counter(fault for faults in named for fault in faults)
    order = list(Fault)
    leading = sorted(trees, key=lambda fault: (-trees[fault], order.index(fault)))
    return tuple(
        SeenFault(fault, trees[fault] if counted else None) for fault in leading[:MOST_FAULTS]
    )


def _since(
    trees: Sequence[ScoredTree], trained: Sequence[TrainingEvent], time_zone: str
) -> SinceTraining | None:
    if not trained:
        return None
    before, after = split_trees(trees, trained[0].held_on, time_zone)
    return SinceTraining(trained[0], before, after)


def _crew_trainings(
    events: Sequence[TrainingEvent],
) -> tuple[tuple[TrainingEvent, int], ...]:
    """Return each training of the crew once, with the number of people who were there."""
    together: dict[tuple[str, Stage, TrainingKind], list[TrainingEvent]] = {}
    for event in events:
        together.setdefault((event.held_on.isoformat(), event.stage, event.kind), []).append(event)
    return tuple(
        (group[0], len({event.worker_id for event in group}))
        for group in list(together.values())[:MOST_TRAININGS]
    )


def _trainings(
    connection: sa.Connection, farm: Farm, season: int, worker_ids: Sequence[int]
) -> list[TrainingEvent]:
    days = season_days(season, farm.season_start_month)
    return queries.trainings(connection, farm.id, days.first_day, days.last_day, worker_ids)


def _right(
    connection: sa.Connection, farm_id: int, trees: Sequence[ScoredTree]
) -> tuple[Block | None, StandardVersion | None]:
    if not trees:
        return None, None
    version = standard_queries.standard_by_id(connection, farm_id, trees[-1].standard_version_id)
    return _block(connection, farm_id, version), version


def _block(
    connection: sa.Connection, farm_id: int, version: StandardVersion | None
) -> Block | None:
    return farm_queries.block_by_id(connection, farm_id, version.block_id) if version else None
