"""
Trends of workers over a season: what may be said of each stage, and what chance explains.

Every view of a worker's results goes through here, so the floors hold everywhere: below 10 due
trees counts only, below 30 a range and no chart, and beside the standard only what comes from
enough days, rows and auditors (`audits.estimates.describe_rate`). Nothing here orders people by
their results.
"""

import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.control.blocks import LEAST_BLOCK_SIZE, BlockChart, block_chart
from audits.control.limits import Signal, probability_limits
from audits.errors import NotFound
from audits.estimates import LEAST_TREES_TO_COMPARE, RateLevel, RateReading, describe_rate
from audits.messages import say
from audits.records import Actor, Farm, Worker
from audits.scoring import judged_side
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import season as season_queries
from audits.storage.queries import trends as queries
from audits.storage.queries.trends import DueOutcome, SeenFaults, TrendLine
from audits.vocabulary import Fault, Side, Stage

# Below this, figures of a crew would be figures of persons.
LEAST_PEOPLE_OF_A_CREW: Final = 5
MOST_FAULTS_SHOWN: Final = 5

Value = TypeVar("Value")

# For each version of a standard, the fraction that each stage accepts.
_Accepted = Mapping[int, Mapping[Stage, float]]


@dataclass(frozen=True)
class SeenFault:
    """
    A nonconforming tree, and where it stands.

    Parameters
    ----------
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

    scored_on: date
    block: str
    row_number: int
    position: int
    side: Side
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class StageTrend:
    """
    A worker's season in one stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    reading : RateReading
        What may be said of the rate.
    accepted_fraction : float
        Fraction of nonconforming trees that the standard accepts, in [0, 1]; the largest where
        the trees come from several versions.
    chart : BlockChart or None
        Blocks of due trees in scoring order; None below 30 due trees.
    beside_standard : bool
        Whether the chart's centre is the accepted fraction. Otherwise it is the worker's own rate,
        which compares them with nobody.
    faults : tuple of SeenFault
        The latest nonconforming trees, the latest first.
    """

    stage: Stage
    reading: RateReading
    accepted_fraction: float
    chart: BlockChart | None
    beside_standard: bool
    faults: tuple[SeenFault, ...]

    @property
    def has_signal(self) -> bool:
        """Whether the latest block lies above what chance explains."""
        return self.chart is not None and _ends_above(self.chart)

    @property
    def is_beyond_standard(self) -> bool:
        """Whether the season's rate is worse than the standard beyond what chance allows."""
        return self.reading.is_beyond(self.accepted_fraction)


@dataclass(frozen=True)
class SharedResults:
    """
    What a crew's trees came to for which nobody answers alone.

    Parameters
    ----------
    crew : str
        The crew's name.
    readings : Mapping of Stage to RateReading
        What may be said of each stage; empty if the crew is too small.
    is_too_small : bool
        Whether the figures are held back because the crew has fewer than 5 people.
    """

    crew: str
    readings: Mapping[Stage, RateReading]
    is_too_small: bool


@dataclass(frozen=True)
class WorkerTrend:
    """
    A worker's season.

    Parameters
    ----------
    worker : Worker
        The worker.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    stages : tuple of StageTrend
        Stages in which at least one tree was due, from the top of the tree down.
    shared : SharedResults or None
        The crew's shared results, apart; None if there are none.
    """

    worker: Worker
    season: int
    seasons: list[int]
    stages: tuple[StageTrend, ...]
    shared: SharedResults | None


@dataclass(frozen=True)
class WorkerLine:
    """
    A worker in the list.

    Parameters
    ----------
    worker : Worker
        The worker.
    crew : str
        Name of their crew; empty if they have none.
    due : Mapping of Stage to int
        Due trees by stage.
    signals : tuple of Stage
        Stages whose latest block lies above what chance explains.
    """

    worker: Worker
    crew: str
    due: Mapping[Stage, int]
    signals: tuple[Stage, ...]


@dataclass(frozen=True)
class WorkerList:
    """
    The workers of a season.

    Parameters
    ----------
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    lines : list of WorkerLine
        The workers, by name.
    """

    season: int
    seasons: list[int]
    lines: list[WorkerLine]


@dataclass(frozen=True)
class WorkerSignal:
    """
    A worker whose latest trees need a look.

    Parameters
    ----------
    worker : Worker
        The worker.
    stages : tuple of Stage
        Stages whose latest block lies above what chance explains, from the top of the tree down.
    """

    worker: Worker
    stages: tuple[Stage, ...]


def worker_trend(database: Database, actor: Actor, worker_id: int, season: int) -> WorkerTrend:
    """
    Return a worker's season, stage by stage.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        Whose season.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    WorkerTrend
        Readings, charts and last faults; shared results of the crew apart.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's records.
    NotFound
        If the farm has no such worker.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        farm = farm_queries.farm_by_id(connection, actor.farm_id)
        worker = farm_queries.worker_by_id(connection, actor.farm_id, worker_id)
        if farm is None or worker is None:
            raise NotFound(say("There is no such worker."))
        lines = queries.trend_lines(connection, actor.farm_id, season, worker_id)
        outcomes = _by_stage(queries.due_outcomes(connection, actor.farm_id, season, [worker_id]))
        accepted = _accepted_fractions(connection, actor.farm_id, lines)
        faults = _faults_by_stage(
            queries.last_faults(
                connection, actor.farm_id, season, worker_id, most=MOST_FAULTS_SHOWN
            ),
            farm.time_zone,
        )
        stages = tuple(
            _stage_trend(stage, stage_lines, outcomes[stage], accepted, faults[stage])
            for stage, stage_lines in _lines_by_stage(lines).items()
        )
        return WorkerTrend(
            worker=worker,
            season=season,
            seasons=queries.seasons_with_results(connection, actor.farm_id),
            stages=stages,
            shared=_shared_results(connection, actor.farm_id, season, worker.crew_id),
        )


def list_workers(database: Database, actor: Actor, season: int) -> WorkerList:
    """
    Return the workers by name, with how many of their trees were due and any signal.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    WorkerList
        Present workers, and those who have left but have results in this season.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        lines = queries.trend_lines(connection, actor.farm_id, season)
        signals = _signals(connection, actor.farm_id, season, lines)
        due: dict[int, dict[Stage, int]] = defaultdict(lambda: defaultdict(int))
        for line in lines:
            due[line.worker_id][line.stage] += line.due
        crews = queries.crew_sizes(connection, actor.farm_id)
        workers = farm_queries.workers(connection, actor.farm_id, with_retired=True)
        return WorkerList(
            season=season,
            seasons=queries.seasons_with_results(connection, actor.farm_id),
            lines=[
                WorkerLine(
                    worker=worker,
                    crew=crews[worker.crew_id][0] if worker.crew_id is not None else "",
                    due=in_stage_order(due.get(worker.id, {})),
                    signals=signals.get(worker.id, ()),
                )
                for worker in sorted(workers, key=_name_order)
                if not worker.retired or worker.id in due
            ],
        )


def workers_with_signal(connection: sa.Connection, farm: Farm, season: int) -> list[WorkerSignal]:
    """
    Return the workers whose latest block of trees lies above what chance explains.

    It takes at most four statements, whatever the number of workers and trees, and reads trees
    only of workers whose latest audits hold enough nonconforming ones for a signal.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    list of WorkerSignal
        Present workers only, by name.
    """
    lines = queries.trend_lines(connection, farm.id, season)
    signals = _signals(connection, farm.id, season, lines)
    if not signals:
        return []
    workers = farm_queries.workers(connection, farm.id)
    return [
        WorkerSignal(worker, signals[worker.id])
        for worker in sorted(workers, key=_name_order)
        if worker.id in signals
    ]


def _signals(
    connection: sa.Connection, farm_id: int, season: int, lines: Sequence[TrendLine]
) -> dict[int, tuple[Stage, ...]]:
    """Return the stages with a signal, by worker."""
    accepted = _accepted_fractions(connection, farm_id, lines)
    candidates = {
        key: own for key, own in _lines_by_worker(lines).items() if _may_signal(own, accepted)
    }
    if not candidates:
        return {}
    outcomes: dict[tuple[int, Stage], list[DueOutcome]] = defaultdict(list)
    worker_ids = {worker_id for worker_id, _ in candidates}
    for outcome in queries.due_outcomes(connection, farm_id, season, worker_ids):
        outcomes[outcome.worker_id, outcome.stage].append(outcome)
    signals: dict[int, tuple[Stage, ...]] = {}
    for stage in Stage:
        for worker_id in worker_ids:
            own = candidates.get((worker_id, stage))
            if (
                own
                and _stage_trend(stage, own, outcomes[worker_id, stage], accepted, ()).has_signal
            ):
                signals[worker_id] = (*signals.get(worker_id, ()), stage)
    return signals


def _may_signal(lines: Sequence[TrendLine], accepted: _Accepted) -> bool:
    """
    Tell from sums alone whether a worker's latest block could lie above its limit.

    The latest complete block lies within the latest audits that together hold it and the trees
    after it. With all their nonconforming trees in that block, and the lowest centre that the sums
    leave possible, it must pass the limit; otherwise no order of the trees could make it signal.
    """
    due = sum(line.due for line in lines)
    if due < LEAST_TREES_TO_COMPARE:
        return False
    waiting = due % LEAST_BLOCK_SIZE
    latest_due = latest_nonconforming = 0
    for line in reversed(lines):
        if latest_due >= waiting + LEAST_BLOCK_SIZE:
            break
        latest_due += line.due
        latest_nonconforming += line.nonconforming
    nonconforming = sum(line.nonconforming for line in lines)
    own_rate = (nonconforming - min(waiting, latest_nonconforming)) / (due - waiting)
    lowest_centre = min(own_rate, _largest_accepted(lines, accepted))
    limits = probability_limits(lowest_centre, LEAST_BLOCK_SIZE)
    return min(latest_nonconforming, LEAST_BLOCK_SIZE) > limits.upper


def _stage_trend(
    stage: Stage,
    lines: Sequence[TrendLine],
    outcomes: Sequence[DueOutcome],
    accepted: _Accepted,
    faults: Sequence[SeenFault],
) -> StageTrend:
    reading = describe_rate(
        sum(line.nonconforming for line in lines),
        sum(line.due for line in lines),
        days=len({line.scored_on for line in lines}),
        rows=len({outcome.orchard_row_id for outcome in outcomes}),
        auditors=len({line.auditor_id for line in lines}),
    )
    accepted_fraction = _largest_accepted(lines, accepted)
    beside_standard = reading.level is RateLevel.COMPARABLE
    chart = None
    if reading.due >= LEAST_TREES_TO_COMPARE:
        chart = block_chart(
            [bool(outcome.nonconforming) for outcome in outcomes],
            centre=accepted_fraction if beside_standard else None,
        )
    return StageTrend(stage, reading, accepted_fraction, chart, beside_standard, tuple(faults))


def _ends_above(chart: BlockChart) -> bool:
    return bool(chart.points) and chart.points[-1].signal is Signal.ABOVE


def _accepted_fractions(
    connection: sa.Connection, farm_id: int, lines: Iterable[TrendLine]
) -> _Accepted:
    version_ids = {line.standard_version_id for line in lines}
    fractions = {}
    for version in queries.standard_versions(connection, farm_id, version_ids):
        standard = standard_of(version)
        fractions[version.id] = {
            stage: standard.rule(stage).promise.acceptable_fraction for stage in Stage
        }
    return fractions


def _largest_accepted(lines: Iterable[TrendLine], accepted: _Accepted) -> float:
    """Return the accepted fraction that is easiest on a worker whose trees had several rules."""
    return max(accepted[line.standard_version_id][line.stage] for line in lines)


def _shared_results(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int | None
) -> SharedResults | None:
    if crew_id is None:
        return None
    sums = queries.shared_sums(connection, farm_id, season, crew_id)
    if not sums:
        return None
    name, people = queries.crew_sizes(connection, farm_id)[crew_id]
    if people < LEAST_PEOPLE_OF_A_CREW:
        return SharedResults(name, {}, is_too_small=True)
    rows = season_queries.audited_rows(connection, farm_id, season, crew_id)
    readings = {
        line.stage: describe_rate(
            line.nonconforming, line.due, days=line.days, rows=rows, auditors=line.auditors
        )
        for line in sums
    }
    return SharedResults(name, in_stage_order(readings), is_too_small=False)


def _faults_by_stage(seen: Iterable[SeenFaults], time_zone: str) -> dict[Stage, list[SeenFault]]:
    zone = ZoneInfo(time_zone)
    by_stage: dict[Stage, list[SeenFault]] = defaultdict(list)
    for fault in seen:
        by_stage[fault.stage].append(
            SeenFault(
                scored_on=fault.scored_at.astimezone(zone).date(),
                block=fault.block,
                row_number=fault.row_number,
                position=fault.position,
                side=judged_side(fault.stage, fault.side),
                faults=fault.faults,
            )
        )
    return by_stage


def _by_stage(outcomes: Iterable[DueOutcome]) -> dict[Stage, list[DueOutcome]]:
    by_stage: dict[Stage, list[DueOutcome]] = defaultdict(list)
    for outcome in outcomes:
        by_stage[outcome.stage].append(outcome)
    return by_stage


def _lines_by_stage(lines: Iterable[TrendLine]) -> dict[Stage, list[TrendLine]]:
    by_stage: dict[Stage, list[TrendLine]] = defaultdict(list)
    for line in lines:
        by_stage[line.stage].append(line)
    return in_stage_order(by_stage)


def _lines_by_worker(lines: Iterable[TrendLine]) -> dict[tuple[int, Stage], list[TrendLine]]:
    by_worker: dict[tuple[int, Stage], list[TrendLine]] = defaultdict(list)
    for line in lines:
        by_worker[line.worker_id, line.stage].append(line)
    return by_worker


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


def _name_order(worker: Worker) -> tuple[str, str]:
    """Order by name as people look for it, accents aside; an erased name goes by its code."""
    plain = unicodedata.normalize("NFKD", worker.name or worker.code)
    letters = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return letters.casefold(), worker.code.casefold()
