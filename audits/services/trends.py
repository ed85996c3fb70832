"""
Trends of workers over a season: what may be said of each stage, and what chance explains.

Every view of a worker's results goes through here, so the floors hold everywhere: below 10 due
trees counts only, below 30 a range and no chart, and beside the standard only what comes from
enough days, rows and auditors (`audits.estimates.describe_rate`). Nothing here orders people by
their results.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from audits.control.blocks import LEAST_BLOCK_SIZE
from audits.control.heights import LEAST_FAILED
from audits.control.signals import FALSE_SIGNALS_A_SEASON, SEASON_TREES, season_charts
from audits.errors import NotFound
from audits.estimates import LEAST_TREES_TO_COMPARE, RateReading, describe_rate
from audits.messages import Message, say
from audits.records import Actor, Farm, Worker
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.agreement import WhoCounts, who_counts
from audits.services.farms import the_worker
from audits.services.name_order import by_name
from audits.services.stage_trends import (
    LEAST_PEOPLE_OF_A_CREW,
    SeenFault,
    StageTrend,
    Standards,
    beside_its_block,
    by_stage,
    in_stage_order,
    largest_accepted,
    stage_trend,
)
from audits.services.standards import standard_of
from audits.services.unseen import unseen_audits
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import season as season_queries
from audits.storage.queries import trends as queries
from audits.storage.queries.trends import DueOutcome, RowPlace, TrendLine
from audits.vocabulary import Stage

__all__ = [
    "LEAST_PEOPLE_OF_A_CREW",
    "CrewLine",
    "CrewTrend",
    "SeasonChance",
    "SeenFault",
    "SharedResults",
    "StageSignal",
    "StageTrend",
    "WorkerLine",
    "WorkerList",
    "WorkerSignal",
    "WorkerTrend",
    "crew_trend",
    "in_stage_order",
    "list_workers",
    "worker_trend",
    "workers_with_signal",
]

# Scores are whole numbers, so the faults that a higher centre asks for may be a tenth fewer.
_ROUNDED: Final = 0.85


@dataclass(frozen=True)
class SeasonChance:
    """
    How many false signals a season brings if everybody works steadily.

    Parameters
    ----------
    people : int
        How many people are charted.
    trees : int
        Due trees a stage up to which it holds.
    each : float
        Most chance that one of them gets a false signal in a season.
    """

    people: int
    trees: int = SEASON_TREES
    each: float = FALSE_SIGNALS_A_SEASON

    @property
    def expected(self) -> float:
        """Most false signals to be expected for all of them together."""
        return self.people * self.each


@dataclass(frozen=True)
class StageSignal:
    """
    A signal, and what to do.

    Parameters
    ----------
    stage : Stage
        The stage.
    sentence : Message
        Since when, which way, and what to do.
    block_first : Message or None
        That the block is worse for everybody and comes first; None without that.
    """

    stage: Stage
    sentence: Message
    block_first: Message | None


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
    left_out : Mapping of Stage to int
        Due trees that do not count, since whoever scored them is to be recalibrated first.
    shared : SharedResults or None
        The crew's shared results, apart; None if there are none.
    """

    worker: Worker
    season: int
    seasons: list[int]
    stages: tuple[StageTrend, ...]
    left_out: Mapping[Stage, int]
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
        Stages with a signal.
    block_first : tuple of Stage
        Those of them whose signal speaks of a block that is worse for everybody.
    """

    worker: Worker
    crew: str
    due: Mapping[Stage, int]
    signals: tuple[Stage, ...]
    block_first: tuple[Stage, ...]

    @property
    def own_signals(self) -> tuple[Stage, ...]:
        """The signals that no block explains."""
        return tuple(stage for stage in self.signals if stage not in self.block_first)


@dataclass(frozen=True)
class CrewLine:
    """
    A crew in the list.

    Parameters
    ----------
    id : int
        The crew.
    name : str
        Its name.
    people : int
        Its present people.
    """

    id: int
    name: str
    people: int


@dataclass(frozen=True)
class CrewTrend:
    """
    A crew's season on trees for which nobody answers alone.

    Parameters
    ----------
    crew : CrewLine
        The crew.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    stages : tuple of StageTrend
        Stages in which at least one tree was due; empty if the crew is too small.
    left_out : Mapping of Stage to int
        Due trees that do not count, since whoever scored them is to be recalibrated first.
    is_too_small : bool
        Whether the figures are held back because the crew has fewer than 5 people.
    """

    crew: CrewLine
    season: int
    seasons: list[int]
    stages: tuple[StageTrend, ...]
    left_out: Mapping[Stage, int]
    is_too_small: bool


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
    crews : list of CrewLine
        The crews, by name.
    """

    season: int
    seasons: list[int]
    lines: list[WorkerLine]
    crews: list[CrewLine]


@dataclass(frozen=True)
class WorkerSignal:
    """
    A worker whose latest trees need a look.

    Parameters
    ----------
    worker : Worker
        The worker.
    signals : tuple of StageSignal
        The signals, from the top of the tree down.
    """

    worker: Worker
    signals: tuple[StageSignal, ...]

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages with a signal."""
        return tuple(signal.stage for signal in self.signals)


def worker_trend(
    database: Database,
    actor: Actor,
    worker_id: int,
    season: int,
    now: datetime | None = None,
) -> WorkerTrend:
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
    now : datetime or None, optional
        The present, by which a second audit that comes too late hides no faults.

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
        worker = the_worker(connection, actor.farm_id, worker_id)
        counted = counted_lines(
            connection,
            actor.farm_id,
            queries.trend_lines(connection, actor.farm_id, season, worker_id),
        )
        outcomes = queries.due_outcomes(connection, actor.farm_id, season, [worker_id])
        return WorkerTrend(
            worker=worker,
            season=season,
            seasons=queries.seasons_with_results(connection, actor.farm_id),
            stages=_stage_trends(
                connection,
                actor.farm_id,
                season,
                counted,
                outcomes,
                unseen_audits(connection, actor, now),
            ),
            left_out=counted.left_out,
            shared=_shared_results(connection, actor.farm_id, season, worker.crew_id, counted.who),
        )


def crew_trend(
    database: Database,
    actor: Actor,
    crew_id: int,
    season: int,
    now: datetime | None = None,
) -> CrewTrend:
    """
    Return a crew's season on trees that several people did, or that nobody was named for.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    crew_id : int
        Whose season.
    season : int
        Calendar year in which the season began.
    now : datetime or None, optional
        The present, by which a second audit that comes too late hides no faults.

    Returns
    -------
    CrewTrend
        Readings, charts and last faults; nothing of a crew with fewer than 5 people.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such crew.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        crews = queries.crew_sizes(connection, actor.farm_id)
        if crew_id not in crews:
            raise NotFound(say("There is no such crew."))
        crew = CrewLine(crew_id, *crews[crew_id])
        seasons = queries.seasons_with_results(connection, actor.farm_id)
        if crew.people < LEAST_PEOPLE_OF_A_CREW:
            return CrewTrend(crew, season, seasons, (), {}, is_too_small=True)
        lines = queries.shared_lines(connection, actor.farm_id, season, crew_id)
        counted = counted_lines(connection, actor.farm_id, lines)
        outcomes = queries.shared_outcomes(connection, actor.farm_id, season, crew_id)
        unseen = unseen_audits(connection, actor, now)
        stages = _stage_trends(connection, actor.farm_id, season, counted, outcomes, unseen)
        return CrewTrend(crew, season, seasons, stages, counted.left_out, is_too_small=False)


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
        counted = counted_lines(connection, actor.farm_id, lines)
        signals = _signals(connection, actor.farm_id, season, counted)
        due: dict[int, dict[Stage, int]] = defaultdict(lambda: defaultdict(int))
        for line in lines:
            if line.worker_id is not None:
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
                    signals=tuple(signal.stage for signal in signals.get(worker.id, ())),
                    block_first=tuple(
                        signal.stage
                        for signal in signals.get(worker.id, ())
                        if signal.block_first is not None
                    ),
                )
                for worker in by_name(workers)
                if not worker.retired or worker.id in due
            ],
            crews=[CrewLine(crew_id, *crew) for crew_id, crew in crews.items()],
        )


def workers_with_signal(connection: sa.Connection, farm: Farm, season: int) -> list[WorkerSignal]:
    """
    Return the workers with a signal, and what to do.

    It takes at most seven statements, whatever the number of workers and trees, and reads trees
    only of workers whose audits hold enough nonconforming ones for a signal.

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
    counted = counted_lines(connection, farm.id, queries.trend_lines(connection, farm.id, season))
    signals = _signals(connection, farm.id, season, counted)
    if not signals:
        return []
    workers = farm_queries.workers(connection, farm.id)
    return [
        WorkerSignal(worker, signals[worker.id])
        for worker in by_name(workers)
        if worker.id in signals
    ]


@dataclass(frozen=True)
class CountedLines:
    """
    The lines of a season that count, without those of auditors who are to be recalibrated.

    Parameters
    ----------
    lines : tuple of TrendLine
        The lines that count, in scoring order.
    who : WhoCounts
        Whose scores count.
    left_out : Mapping of Stage to int
        Due trees left out.
    """

    lines: tuple[TrendLine, ...]
    who: WhoCounts
    left_out: Mapping[Stage, int]

    def outcomes(self, outcomes: Iterable[DueOutcome]) -> list[DueOutcome]:
        """
        Leave out the outcomes of audits whose lines do not count.

        Parameters
        ----------
        outcomes : Iterable of DueOutcome
            Outcomes of due stages.

        Returns
        -------
        list of DueOutcome
            Those that count, in their order.
        """
        if not self.left_out:
            return list(outcomes)
        audits = {(line.audit_id, line.stage) for line in self.lines}
        return [outcome for outcome in outcomes if (outcome.audit_id, outcome.stage) in audits]

    def auditors(self, stage: Stage, lines: Iterable[TrendLine]) -> int:
        """
        Return how many auditors the rate of some lines may claim.

        Parameters
        ----------
        stage : Stage
            The stage.
        lines : Iterable of TrendLine
            The lines behind the rate.

        Returns
        -------
        int
            How many, for the floor of what may be compared.
        """
        return self.who.for_floor(stage, {line.auditor_id for line in lines})


def counted_lines(
    connection: sa.Connection, farm_id: int, lines: Sequence[TrendLine]
) -> CountedLines:
    """
    Leave out the lines of auditors whose scores do not count.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    lines : Sequence of TrendLine
        Lines in scoring order.

    Returns
    -------
    CountedLines
        Those that count, and how many trees do not.
    """
    who = who_counts(connection, farm_id)
    left_out: dict[Stage, int] = defaultdict(int)
    for line in lines:
        if not who.counts(line.auditor_id, line.stage):
            left_out[line.stage] += line.due
    return CountedLines(
        tuple(line for line in lines if who.counts(line.auditor_id, line.stage)),
        who,
        in_stage_order(left_out),
    )


def _signals(
    connection: sa.Connection, farm_id: int, season: int, counted: CountedLines
) -> dict[int, tuple[StageSignal, ...]]:
    """Return the signals by worker."""
    standards = _standards(connection, farm_id, counted.lines)
    candidates = {
        key: own
        for key, own in _lines_by_worker(counted.lines).items()
        if _may_signal(own, standards)
    }
    if not candidates:
        return {}
    outcomes: dict[tuple[int | None, Stage], list[DueOutcome]] = defaultdict(list)
    worker_ids = {worker_id for worker_id, _ in candidates}
    for outcome in counted.outcomes(queries.due_outcomes(connection, farm_id, season, worker_ids)):
        outcomes[outcome.worker_id, outcome.stage].append(outcome)
    chosen = [outcome for key in candidates for outcome in outcomes[key]]
    places = _places(connection, farm_id, chosen)
    trends = {
        (worker_id, stage): stage_trend(
            stage,
            own,
            outcomes[worker_id, stage],
            standards,
            places,
            auditors=counted.auditors(stage, own),
        )
        for (worker_id, stage), own in candidates.items()
    }
    signalled = {key: trend for key, trend in trends.items() if trend.has_signal}
    sums = _block_sums(connection, farm_id, season, signalled.values(), counted.who)
    signals: dict[int, tuple[StageSignal, ...]] = {}
    for stage in Stage:
        for worker_id in worker_ids:
            key = (worker_id, stage)
            if key not in signalled:
                continue
            trend = beside_its_block(
                signalled[key], outcomes[key], candidates[key], standards, places, sums
            )
            if trend.signal is not None:
                found = StageSignal(stage, trend.signal.sentence, trend.block_first)
                signals[worker_id] = (*signals.get(worker_id, ()), found)
    return signals


def _may_signal(lines: Sequence[TrendLine], standards: Standards) -> bool:
    """
    Tell from sums alone whether a worker could have a signal now.

    The sum of faults stands highest if in every audit the good trees came first where it begins
    and last where it ends; the latest complete block holds at most all faults of the latest
    audits. A higher centre than the accepted fraction, or wider limits, only ask for more. If not
    even so a limit is passed, no order of the trees makes a signal.
    """
    due = sum(line.due for line in lines)
    if due < LEAST_TREES_TO_COMPARE:
        return False
    charts = season_charts(largest_accepted(lines, standards))
    latest_due = latest_faults = 0
    latest = len(lines)
    while latest and latest_due < due % LEAST_BLOCK_SIZE + LEAST_BLOCK_SIZE:
        latest -= 1
        latest_due += lines[latest].due
        latest_faults += lines[latest].nonconforming
    if min(latest_faults, LEAST_BLOCK_SIZE) > charts.largest_inside:
        return True
    up, down, threshold = (
        charts.design.score_fault,
        charts.design.score_good,
        charts.design.threshold * _ROUNDED,
    )
    total = 0.0
    for place, line in enumerate(lines):
        risen = total + up * line.nonconforming
        if risen >= threshold and place >= latest:
            return True
        good = line.due - line.nonconforming
        total = min(threshold, max(risen + down * good, up * line.nonconforming))
    return sum(line.nonconforming for line in lines) >= LEAST_FAILED and any(
        standards[line.standard_version_id].top.measured
        for line in lines
        if line.stage is Stage.TOP
    )


def _stage_trends(
    connection: sa.Connection,
    farm_id: int,
    season: int,
    counted: CountedLines,
    outcomes: Iterable[DueOutcome],
    unseen: Collection[int],
) -> tuple[StageTrend, ...]:
    """Return the stages of one worker or crew; a hard block is told apart."""
    found = by_stage(counted.outcomes(outcomes))
    standards = _standards(connection, farm_id, counted.lines)
    places = _places(connection, farm_id, (outcome for own in found.values() for outcome in own))
    lines_of = _lines_by_stage(counted.lines)
    trends = [
        stage_trend(
            stage,
            own,
            found[stage],
            standards,
            places,
            auditors=counted.auditors(stage, own),
            unseen=unseen,
        )
        for stage, own in lines_of.items()
    ]
    sums = _block_sums(connection, farm_id, season, trends, counted.who)
    return tuple(
        beside_its_block(trend, found[trend.stage], lines_of[trend.stage], standards, places, sums)
        for trend in trends
    )


def _standards(connection: sa.Connection, farm_id: int, lines: Iterable[TrendLine]) -> Standards:
    version_ids = {line.standard_version_id for line in lines}
    versions = queries.standard_versions(connection, farm_id, version_ids)
    return {version.id: standard_of(version) for version in versions}


def _places(
    connection: sa.Connection, farm_id: int, outcomes: Iterable[DueOutcome]
) -> dict[int, RowPlace]:
    return queries.row_places(connection, farm_id, {outcome.orchard_row_id for outcome in outcomes})


def _block_sums(
    connection: sa.Connection,
    farm_id: int,
    season: int,
    trends: Iterable[StageTrend],
    who: WhoCounts,
) -> list[queries.BlockSum]:
    """Read what everybody's trees of each block came to, if a signal has to be held against it."""
    if not any(trend.has_signal for trend in trends):
        return []
    sums = queries.block_sums(connection, farm_id, season)
    return [one for one in sums if who.counts(one.auditor_id, one.stage)]


def _shared_results(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int | None, who: WhoCounts
) -> SharedResults | None:
    if crew_id is None:
        return None
    lines = queries.shared_lines(connection, farm_id, season, crew_id)
    counted = _lines_by_stage(line for line in lines if who.counts(line.auditor_id, line.stage))
    if not counted:
        return None
    name, people = queries.crew_sizes(connection, farm_id)[crew_id]
    if people < LEAST_PEOPLE_OF_A_CREW:
        return SharedResults(name, {}, is_too_small=True)
    rows = season_queries.audited_rows(connection, farm_id, season, crew_id)
    readings = {
        stage: describe_rate(
            sum(line.nonconforming for line in own),
            sum(line.due for line in own),
            days=len({line.scored_on for line in own}),
            rows=rows,
            auditors=who.for_floor(stage, {line.auditor_id for line in own}),
        )
        for stage, own in counted.items()
    }
    return SharedResults(name, readings, is_too_small=False)


def _lines_by_stage(lines: Iterable[TrendLine]) -> dict[Stage, list[TrendLine]]:
    found: dict[Stage, list[TrendLine]] = defaultdict(list)
    for line in lines:
        found[line.stage].append(line)
    return in_stage_order(found)


def _lines_by_worker(lines: Iterable[TrendLine]) -> dict[tuple[int, Stage], list[TrendLine]]:
    by_worker: dict[tuple[int, Stage], list[TrendLine]] = defaultdict(list)
    for line in lines:
        if line.worker_id is not None:
            by_worker[line.worker_id, line.stage].append(line)
    return by_worker
