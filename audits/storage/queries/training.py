"""
What people were shown, what they learn, and the trees that say whether it is there.

Trees count for the person who did the stage alone. First audits come as everywhere: sealed, the
one that decided, the latest version of a score. Start checks enter only where a stage is learned.
"""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any, Final, NamedTuple

import sqlalchemy as sa

from audits.records import StageLearning, StandardVersion, TrainingEvent
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by, fetch_one
from audits.storage.queries.trends import decides_first, is_latest, same_farm
from audits.storage.tables import (
    audit,
    crew_pass,
    draw,
    draw_tree,
    lot,
    rollup,
    stage_learning,
    stage_score,
    standard_version,
    training_event,
    tree_score,
)
from audits.vocabulary import Fault, Method, Purpose, Result, Stage


class ScoredTree(NamedTuple):
    """
    A due stage of a tree and what it came to.

    The last field is when its row was finished; a start check has no lot, and none.
    """

    worker_id: int
    stage: Stage
    nonconforming: bool
    faults: tuple[Fault, ...]
    auditor_id: int
    standard_version_id: int
    scored_at: datetime
    finished_at: datetime | None


class CrewDay(NamedTuple):
    """What one auditor found in a day of one stage on a crew's trees, whoever did them."""

    stage: Stage
    auditor_id: int
    scored_on: date
    due: int
    nonconforming: int


class FaultyTree(NamedTuple):
    """A nonconforming stage of a crew's tree, and who scored it."""

    stage: Stage
    faults: tuple[Fault, ...]
    auditor_id: int


_FARM: Final = sa.bindparam("farm_id", type_=sa.Integer)
_SEASON: Final = sa.bindparam("season", type_=sa.Integer)
_WORKERS: Final = sa.bindparam("worker_ids", type_=sa.Integer, expanding=True)
_CREW: Final = sa.bindparam("crew_id", type_=sa.Integer)

_TREES: Final = (
    sa.select(
        stage_score.c.worker_id,
        stage_score.c.stage,
        stage_score.c.result,
        stage_score.c.faults,
        audit.c.auditor_id,
        crew_pass.c.standard_version_id,
        audit.c.started_at,
        lot.c.finished_at,
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .outerjoin(lot, same_farm(lot, draw, id="lot_id"))
    .where(
        stage_score.c.farm_id == _FARM,
        stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
        is_latest(),
    )
    .order_by(audit.c.started_at, audit.c.id, tree_score.c.scoring_order, tree_score.c.id)
)
_OF_SEASON: Final = _TREES.where(
    stage_score.c.worker_id.in_(_WORKERS), audit.c.season == _SEASON, decides_first()
)
_SINCE_START: Final = _TREES.where(stage_score.c.worker_id.in_(_WORKERS), decides_first())
# A start check counts once it is closed, so that one odd tree weighs less.
_LEARNERS: Final = _TREES.where(
    audit.c.started_at >= sa.bindparam("since", type_=audit.c.started_at.type),
    sa.or_(
        decides_first(),
        sa.and_(draw.c.purpose == Purpose.START_CHECK, audit.c.sealed_at.is_not(None)),
    ),
)
_WHILE_LEARNING: Final = _LEARNERS.where(
    stage_score.c.worker_id == sa.bindparam("worker_id", type_=sa.Integer),
    stage_score.c.stage == sa.bindparam("stage", type_=stage_score.c.stage.type),
)
_OF_LEARNERS: Final = _LEARNERS.where(
    stage_score.c.worker_id.in_(_WORKERS),
    audit.c.started_at < sa.bindparam("until", type_=audit.c.started_at.type),
)
_FAULTS_OF_CREW: Final = (
    sa.select(stage_score.c.stage, stage_score.c.faults, audit.c.auditor_id)
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(
        stage_score.c.farm_id == _FARM,
        crew_pass.c.crew_id == _CREW,
        stage_score.c.result == Result.NONCONFORMING,
        audit.c.season == _SEASON,
        is_latest(),
        decides_first(),
    )
)
_OF_CREW: Final = (
    sa.select(
        rollup.c.stage,
        audit.c.auditor_id,
        rollup.c.scored_on,
        sa.func.sum(rollup.c.due),
        sa.func.sum(rollup.c.nonconforming),
    )
    .join(audit, same_farm(audit, rollup, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        rollup.c.farm_id == _FARM,
        rollup.c.season == _SEASON,
        rollup.c.crew_id == _CREW,
        rollup.c.due > 0,
        decides_first(),
    )
    .group_by(rollup.c.stage, audit.c.auditor_id, rollup.c.scored_on)
)
_VERSIONS: Final = sa.select(*columns_of(standard_version, StandardVersion)).where(
    standard_version.c.farm_id == _FARM
)


def trees_of_season(
    connection: sa.Connection, farm_id: int, season: int, worker_ids: Collection[int]
) -> list[ScoredTree]:
    """Return the due trees of some workers in a season's first audits, in scoring order."""
    keys = {"farm_id": farm_id, "season": season, "worker_ids": list(worker_ids)}
    return _trees(connection.execute(_OF_SEASON, keys)) if worker_ids else []


def trees_since_start(
    connection: sa.Connection, farm_id: int, worker_ids: Collection[int]
) -> list[ScoredTree]:
    """Return the due trees of some workers in the first audits of all seasons, in order."""
    keys = {"farm_id": farm_id, "worker_ids": list(worker_ids)}
    return _trees(connection.execute(_SINCE_START, keys)) if worker_ids else []


def trees_of_learners(
    connection: sa.Connection,
    farm_id: int,
    worker_ids: Collection[int],
    since: datetime,
    until: datetime,
) -> list[ScoredTree]:
    """Return the due trees of some workers between two moments, start checks too, in order."""
    keys = {"farm_id": farm_id, "worker_ids": list(worker_ids), "since": since, "until": until}
    return _trees(connection.execute(_OF_LEARNERS, keys)) if worker_ids else []


def trees_while_learning(
    connection: sa.Connection, farm_id: int, worker_id: int, stage: Stage, since: datetime
) -> list[ScoredTree]:
    """Return a worker's due trees in start checks and first audits since a moment, in order."""
    keys = {"farm_id": farm_id, "worker_id": worker_id, "stage": stage, "since": since}
    return _trees(connection.execute(_WHILE_LEARNING, keys))


def _trees(rows: Iterable[Any]) -> list[ScoredTree]:
    return [
        ScoredTree(worker_id, stage, result is Result.NONCONFORMING, *rest)
        for worker_id, stage, result, *rest in rows
    ]


def crew_days(connection: sa.Connection, farm_id: int, season: int, crew_id: int) -> list[CrewDay]:
    """Return a crew's sums in a season's first audits, shared and personal ones together."""
    keys = {"farm_id": farm_id, "season": season, "crew_id": crew_id}
    return [
        CrewDay(stage, auditor_id, scored_on, int(due), int(nonconforming))
        for stage, auditor_id, scored_on, due, nonconforming in connection.execute(_OF_CREW, keys)
    ]


def faults_of_crew(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int
) -> list[FaultyTree]:
    """Return each nonconforming stage of a tree in a crew's first audits of a season."""
    keys = {"farm_id": farm_id, "season": season, "crew_id": crew_id}
    return [FaultyTree(*row) for row in connection.execute(_FAULTS_OF_CREW, keys)]


def versions_of_crew(
    connection: sa.Connection, farm_id: int, crew_id: int | None, *, most: int | None = None
) -> list[StandardVersion]:
    """Return the standards by which a crew's passes went, or all crews', the latest first."""
    statement = _VERSIONS.join(
        crew_pass, same_farm(crew_pass, standard_version, standard_version_id="id")
    ).order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc())
    if crew_id is not None:
        statement = statement.where(crew_pass.c.crew_id == crew_id)
    found = fetch_all(connection, statement.limit(most), StandardVersion, {"farm_id": farm_id})
    return list({version.id: version for version in found}.values())


def method_of_crew(connection: sa.Connection, farm_id: int, crew_id: int | None) -> Method | None:
    """Return from where a crew worked in its latest pass, or any crew; None before the first."""
    statement = sa.select(crew_pass.c.method).where(crew_pass.c.farm_id == farm_id)
    if crew_id is not None:
        statement = statement.where(crew_pass.c.crew_id == crew_id)
    latest = statement.order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc()).limit(1)
    return connection.scalar(latest)


def learning_of(connection: sa.Connection, farm_id: int, worker_id: int) -> list[StageLearning]:
    """Return the stages that a worker learns or has learned."""
    return fetch_by(connection, stage_learning, StageLearning, farm_id, worker_id=worker_id)


def learning_of_farm(connection: sa.Connection, farm_id: int) -> list[StageLearning]:
    """Return every stage that somebody learns or has learned."""
    statement = sa.select(*columns_of(stage_learning, StageLearning)).where(
        stage_learning.c.farm_id == farm_id
    )
    return fetch_all(connection, statement, StageLearning)


def training_by_id(connection: sa.Connection, farm_id: int, event_id: int) -> TrainingEvent | None:
    """Return one training, or None."""
    statement = _events(farm_id).where(training_event.c.id == event_id)
    return fetch_one(connection, statement, TrainingEvent)


def trainings(
    connection: sa.Connection,
    farm_id: int,
    first_day: date,
    last_day: date,
    worker_ids: Collection[int] | None = None,
) -> list[TrainingEvent]:
    """Return the trainings from one day to another, the latest first; of everybody or of some."""
    statement = _events(farm_id).where(training_event.c.held_on.between(first_day, last_day))
    if worker_ids is not None:
        statement = statement.where(training_event.c.worker_id.in_(list(worker_ids)))
    return fetch_all(
        connection,
        statement.order_by(training_event.c.held_on.desc(), training_event.c.id.desc()),
        TrainingEvent,
    )


def _events(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return sa.select(*columns_of(training_event, TrainingEvent)).where(
        training_event.c.farm_id == farm_id
    )
