"""
From learning to the row: what practice and quizzes say about audited trees, and how people learn.

Practice, exercises, quizzes and trees of one season are set side by side, stage by stage; across
workers by rank and with an interval. Each source has a least number below which a worker's share
is not used: the floors are this project's own.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.estimates import LEAST_TREES_FOR_A_RANGE, LEAST_TREES_TO_COMPARE
from audits.learning.association import (
    LEAST_WORKERS,
    Bearing,
    RankAssociation,
    bearings,
    rank_association,
)
from audits.learning.curves import CurveForm, LearningFit, fit_fault_curve
from audits.learning.days_to_standard import (
    TimeToStandard,
    TwoSeasons,
    Wait,
    compare_waits,
    time_to_standard,
)
from audits.learning_stages import signed_off_at
from audits.records import Actor, Farm, StageLearning, Worker
from audits.seasons import season_days, season_of, season_span
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.agreement import WhoCounts, who_counts
from audits.services.farms import the_farm, the_worker
from audits.services.name_order import by_name
from audits.services.standards import standard_of
from audits.services.training import counted_trees
from audits.services.trends import CountedLines, counted_lines
from audits.standard import SignOffRule
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import learning_results as queries
from audits.storage.queries import training as training_queries
from audits.storage.queries import trends as trend_queries
from audits.storage.queries.learning_results import LearningSum
from audits.storage.queries.training import ScoredTree
from audits.vocabulary import Stage

TREES_OF_A_POINT: Final = 10
# Below so many due trees no learning curve is fitted; what can be drawn is drawn by tens of trees.
LEAST_TREES_OF_A_CURVE: Final = LEAST_TREES_TO_COMPARE
LEAST_FAULTS_OF_A_CURVE: Final = 5


class Source(StrEnum):
    """Where somebody learned."""

    PRACTICE = "practice"
    EXERCISES = "exercises"
    QUIZZES = "quizzes"


# A worker counts in the association only with so many results of a stage.
LEAST_RESULTS: Final[Mapping[Source, int]] = {
    Source.PRACTICE: 5,
    Source.EXERCISES: 5,
    Source.QUIZZES: 3,
}


@dataclass(frozen=True)
class Tally:
    """
    How many were done and how many of them were right.

    Parameters
    ----------
    done, right : int
        Questions, or stages of trees.
    """

    done: int = 0
    right: int = 0


@dataclass(frozen=True)
class CurvePoint:
    """
    Some audited trees in a row of a worker's experience.

    Parameters
    ----------
    last : int
        Number of the last of them since the start.
    due : int
        How many trees.
    nonconforming : int
        How many of them are wrong.
    """

    last: int
    due: int
    nonconforming: int


@dataclass(frozen=True)
class StageLearned:
    """
    One stage of one worker: learning beside the row.

    Parameters
    ----------
    stage : Stage
        The stage.
    learned : Mapping of Source to Tally
        Results of the season.
    row : Tally
        Due trees of the season's first audits, and those that were right.
    trees, faults : int
        Due trees since the first audited one, of all seasons, and those that were wrong.
    points : tuple of CurvePoint
        The same by tens, in order.
    curves : Mapping of CurveForm to LearningFit
        The curves that could be fitted.
    """

    stage: Stage
    learned: Mapping[Source, Tally]
    row: Tally
    trees: int
    faults: int
    points: tuple[CurvePoint, ...]
    curves: Mapping[CurveForm, LearningFit]


@dataclass(frozen=True)
class WorkerLearned:
    """
    What a worker learned and what the row shows of it.

    Parameters
    ----------
    worker : Worker
        The worker.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons with results, the latest first.
    stages : tuple of StageLearned
        Stages with any result, from the top of the tree down.
    left_out : Mapping of Stage to int
        Due trees that do not count because of who scored them.
    """

    worker: Worker
    season: int
    seasons: list[int]
    stages: tuple[StageLearned, ...]
    left_out: Mapping[Stage, int]


@dataclass(frozen=True)
class DaysToStandard:
    """
    How long learners of one stage took, this season and the one before.

    Parameters
    ----------
    stage : Stage
        The stage.
    now, before : TimeToStandard
        Those who began in either season.
    test : TwoSeasons or None
        Whether they differ.
    """

    stage: Stage
    now: TimeToStandard
    before: TimeToStandard
    test: TwoSeasons | None


@dataclass(frozen=True)
class StageAcross:
    """
    One stage across workers.

    Parameters
    ----------
    stage : Stage
        The stage.
    people : Mapping of Source to int
        Workers with enough results of either kind.
    associations : Mapping of Source to RankAssociation
        How learning goes with the row, where it can be said.
    """

    stage: Stage
    people: Mapping[Source, int]
    associations: Mapping[Source, RankAssociation]


@dataclass(frozen=True)
class FarmLearned:
    """
    What learning says about the row across workers.

    Parameters
    ----------
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons with results, the latest first.
    stages : tuple of StageAcross
        Every stage with results.
    bearings : Mapping of Source to Mapping of Stage to Bearing
        Which way each goes, judged together.
    days : tuple of DaysToStandard
        Every stage that somebody began to learn in either season.
    workers : list of Worker
        Workers with any result of the season, by name.
    left_out : Mapping of Stage to int
        Due trees that do not count because of who scored them.
    """

    season: int
    seasons: list[int]
    stages: tuple[StageAcross, ...]
    bearings: Mapping[Source, Mapping[Stage, Bearing]]
    days: tuple[DaysToStandard, ...]
    workers: list[Worker]
    left_out: Mapping[Stage, int]


def worker_learned(database: Database, actor: Actor, worker_id: int, season: int) -> WorkerLearned:
    """
    Return a worker's practice, quizzes and trees side by side.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        The worker.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    WorkerLearned
        Stage by stage, with learning curves over all seasons.

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
        farm = the_farm(connection, actor.farm_id)
        learned = _learned(connection, farm, season, [worker_id])
        lines = trend_queries.trend_lines(connection, farm.id, season, worker_id)
        rows = _rows(counted_lines(connection, farm.id, lines))
        since_start = counted_trees(
            who_counts(connection, farm.id),
            training_queries.trees_since_start(connection, farm.id, [worker_id]),
        )
        outcomes: dict[Stage, list[bool]] = defaultdict(list)
        for tree in since_start.trees:
            outcomes[tree.stage].append(tree.nonconforming)
        return WorkerLearned(
            worker,
            season,
            trend_queries.seasons_with_results(connection, farm.id),
            tuple(
                _stage(
                    stage,
                    {source: learned[source].get((worker_id, stage), Tally()) for source in Source},
                    rows.get((worker_id, stage), Tally()),
                    outcomes.get(stage, []),
                )
                for stage in Stage
                if stage in outcomes or any((worker_id, stage) in learned[each] for each in Source)
            ),
            since_start.by_stage([(worker_id, stage) for stage in Stage]),
        )


def farm_learned(database: Database, actor: Actor, season: int) -> FarmLearned:
    """
    Return what practice and quizzes say about the row, and how long learners take.

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
    FarmLearned
        Across all workers, with no figure under a name.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        workers = farm_queries.workers(connection, farm.id, with_retired=True)
        learned = _learned(connection, farm, season, [worker.id for worker in workers])
        counted = counted_lines(
            connection, farm.id, trend_queries.trend_lines(connection, farm.id, season)
        )
        rows = _rows(counted)
        stages = tuple(
            _across(stage, learned, rows) for stage in Stage if _has_any(stage, learned, rows)
        )
        seen = {worker_id for sums in (*learned.values(), rows) for worker_id, _ in sums}
        return FarmLearned(
            season,
            trend_queries.seasons_with_results(connection, farm.id),
            stages,
            _bearings(stages),
            _days(connection, counted.who, farm, season),
            by_name(worker for worker in workers if worker.id in seen),
            counted.left_out,
        )


_Tallies = Mapping[tuple[int, Stage], Tally]


def _learned(
    connection: sa.Connection, farm: Farm, season: int, worker_ids: Sequence[int]
) -> dict[Source, _Tallies]:
    span = season_span(season, farm.season_start_month, farm.time_zone)
    days = season_days(season, farm.season_start_month)
    return {
        Source.PRACTICE: _by_key(
            queries.practice_sums(connection, farm.id, worker_ids, span.begin, span.end)
        ),
        Source.EXERCISES: _by_key(
            queries.exercise_sums(connection, farm.id, worker_ids, span.begin, span.end)
        ),
        Source.QUIZZES: _by_key(
            queries.quiz_sums(connection, farm.id, worker_ids, days.first_day, days.last_day)
        ),
    }


def _by_key(sums: Iterable[LearningSum]) -> _Tallies:
    return {(each.worker_id, each.stage): Tally(each.done, each.right) for each in sums}


def _rows(counted: CountedLines) -> _Tallies:
    sums: dict[tuple[int, Stage], Tally] = defaultdict(Tally)
    for line in counted.lines:
        if line.worker_id is not None:
            so_far = sums[line.worker_id, line.stage]
            sums[line.worker_id, line.stage] = Tally(
                so_far.done + line.due, so_far.right + line.due - line.nonconforming
            )
    return dict(sums)


def _stage(
    stage: Stage, learned: Mapping[Source, Tally], row: Tally, outcomes: Sequence[bool]
) -> StageLearned:
    return StageLearned(
        stage,
        learned,
        row,
        len(outcomes),
        sum(outcomes),
        tuple(
            CurvePoint(start + len(some), len(some), sum(some))
            for start, some in (
                (start, outcomes[start : start + TREES_OF_A_POINT])
                for start in range(0, len(outcomes), TREES_OF_A_POINT)
            )
        ),
        _curves(outcomes),
    )


def _curves(outcomes: Sequence[bool]) -> dict[CurveForm, LearningFit]:
    if len(outcomes) < LEAST_TREES_OF_A_CURVE or sum(outcomes) < LEAST_FAULTS_OF_A_CURVE:
        return {}
    fits = {form: fit_fault_curve(outcomes, form) for form in CurveForm}
    return {form: fit for form, fit in fits.items() if fit is not None}


def _has_any(stage: Stage, learned: Mapping[Source, _Tallies], rows: _Tallies) -> bool:
    return any(of is stage for sums in (*learned.values(), rows) for _, of in sums)


def _across(stage: Stage, learned: Mapping[Source, _Tallies], rows: _Tallies) -> StageAcross:
    people: dict[Source, int] = {}
    associations: dict[Source, RankAssociation] = {}
    for source, sums in learned.items():
        pairs = [
            (_share(of_worker), _share(rows[key]))
            for key, of_worker in sums.items()
            if key[1] is stage
            and of_worker.done >= LEAST_RESULTS[source]
            and key in rows
            and rows[key].done >= LEAST_TREES_FOR_A_RANGE
        ]
        people[source] = len(pairs)
        found = rank_association(*zip(*pairs, strict=True)) if len(pairs) >= LEAST_WORKERS else None
        if found is not None:
            associations[source] = found
    return StageAcross(stage, people, associations)


def _share(tally: Tally) -> float:
    return tally.right / tally.done


def _bearings(stages: Sequence[StageAcross]) -> dict[Source, dict[Stage, Bearing]]:
    # All questions of the page at once, so that four stages of three sources are no twelve tries.
    asked = [(source, each) for source in Source for each in stages]
    found = bearings([each.associations.get(source) for source, each in asked])
    by_source: dict[Source, dict[Stage, Bearing]] = {source: {} for source in Source}
    for (source, each), bearing in zip(asked, found, strict=True):
        by_source[source][each.stage] = bearing
    return by_source


def _days(
    connection: sa.Connection, who: WhoCounts, farm: Farm, season: int
) -> tuple[DaysToStandard, ...]:
    now, before = (_waits(connection, who, farm, each) for each in (season, season - 1))
    return tuple(
        DaysToStandard(
            stage,
            time_to_standard(now.get(stage, [])),
            time_to_standard(before.get(stage, [])),
            compare_waits(now.get(stage, []), before.get(stage, [])),
        )
        for stage in Stage
        if stage in now or stage in before
    )


def _waits(
    connection: sa.Connection, who: WhoCounts, farm: Farm, season: int
) -> dict[Stage, list[Wait]]:
    """Return how long each took who began in a season, as far as the season's trees say."""
    begun = [
        learning
        for learning in training_queries.learning_of_farm(connection, farm.id)
        if season_of(learning.begun_on, farm.season_start_month) == season
    ]
    span = season_span(season, farm.season_start_month, farm.time_zone)
    trees = training_queries.trees_of_learners(
        connection, farm.id, {learning.worker_id for learning in begun}, span.begin, span.end
    )
    rules = {
        version.id: standard_of(version).sign_off
        for version in trend_queries.standard_versions(
            connection,
            farm.id,
            {tree.standard_version_id for tree in trees}
            | {each.standard_version_id for each in begun if each.standard_version_id is not None},
        )
    }
    zone = ZoneInfo(farm.time_zone)
    by_key: dict[tuple[int, Stage], list[ScoredTree]] = defaultdict(list)
    for tree in counted_trees(who, trees).trees:
        by_key[tree.worker_id, tree.stage].append(tree)
    waits: dict[Stage, list[Wait]] = defaultdict(list)
    for learning in begun:
        own = by_key[learning.worker_id, learning.stage]
        waits[learning.stage].append(_wait(learning, own, rules, zone))
    return waits


def _wait(
    learning: StageLearning,
    trees: Sequence[ScoredTree],
    rules: Mapping[int, SignOffRule],
    zone: ZoneInfo,
) -> Wait:
    days = [tree.scored_at.astimezone(zone).date() for tree in trees]
    since = [place for place, day in enumerate(days) if day >= learning.begun_on]
    if not since:
        return Wait(0, arrived=False)
    counting = trees[since[0] :]
    # Who was signed off met the rule of that day; a standard written later takes nothing back.
    version_id = learning.standard_version_id
    if version_id is None:
        version_id = counting[-1].standard_version_id
    met_at = signed_off_at((tree.nonconforming for tree in counting), rules[version_id])
    # Nothing is known of somebody after their last tree.
    last = since[0] + (met_at if met_at is not None else len(counting)) - 1
    return Wait((days[last] - learning.begun_on).days, arrived=met_at is not None)
