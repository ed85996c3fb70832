"""
Scores with which a worker disagrees, and the trees that count for one person alone.

A worker sees sealed audits only, and of each draw only the one that decided: a second audit of the
same trees is there to compare auditors. Start checks come up too, since they are the worker's own.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from audits.storage.queries.fetch import fetch_all, fetch_one
from audits.storage.queries.photos import PhotoRow
from audits.storage.queries.trends import decides_first, is_latest, same_farm
from audits.storage.tables import (
    audit,
    block,
    contest,
    crew_pass,
    draw,
    draw_tree,
    orchard_row,
    photo,
    stage_score,
    standard_version,
    tree_score,
    user_account,
    worker,
    worker_name,
)
from audits.vocabulary import ContestAnswer, Fault, Purpose, Result, Side, Stage

# A score by the three things that name it for ever: its audit, its tree and its stage.
ScoreKey = tuple[int, int, Stage]


@dataclass(frozen=True)
class TreeShown:
    """A tree of a sealed audit, with its latest answers' version."""

    tree_score_id: int
    audit_id: int
    draw_tree_id: int
    version: int
    recorded_at: datetime
    amended_by: str | None
    reason: str | None
    purpose: Purpose
    block: str
    row_number: int
    position: int
    side: Side
    trees_per_panel: int | None
    auditor: str
    standard_version: int
    started_at: datetime
    sealed_at: datetime


@dataclass(frozen=True)
class StageShown:
    """What one stage of one tree came to."""

    audit_id: int
    draw_tree_id: int
    stage: Stage
    result: Result
    faults: tuple[Fault, ...]
    measured_mm: list[float] | None


@dataclass(frozen=True)
class ScoreNow:
    """A score as it stands, and what decides whether somebody may disagree with it."""

    worker_id: int | None
    result: Result
    version: int
    recorded_at: datetime
    sealed_at: datetime | None
    purpose: Purpose


@dataclass(frozen=True)
class ContestRow:
    """A disagreement with its score as it stands, where its tree is, and who is concerned."""

    id: int
    audit_id: int
    draw_tree_id: int
    stage: Stage
    worker_id: int
    worker_code: str
    worker_name: str
    raised_at: datetime
    raised_by: int
    raised_by_name: str
    words: str
    answered_at: datetime | None
    answered_by_name: str | None
    answer: ContestAnswer | None
    reason: str | None
    block: str
    row_number: int
    position: int
    side: Side
    trees_per_panel: int | None
    auditor_id: int
    auditor: str
    sealed_at: datetime
    result: Result | None
    faults: tuple[Fault, ...] | None
    measured_mm: list[float] | None


def _is_shown() -> sa.ColumnElement[bool]:
    """Return the condition that a worker sees an audit."""
    return sa.and_(
        audit.c.sealed_at.is_not(None),
        sa.or_(decides_first(), draw.c.purpose == Purpose.START_CHECK),
    )


def _own(*, faults_only: bool) -> sa.Select[Any]:
    """Select the answers that hold a score of a worker, by the index of stage scores."""
    own = stage_score.alias("own")
    statement = sa.select(own.c.tree_score_id).where(
        own.c.farm_id == sa.bindparam("farm_id"),
        own.c.worker_id == sa.bindparam("worker_id"),
        own.c.result != Result.NOT_SCORED,
    )
    return statement.where(own.c.result == Result.NONCONFORMING) if faults_only else statement


_AMENDER: Final = user_account.alias("amender")
_RAISER: Final = user_account.alias("raiser")
_ANSWERER: Final = user_account.alias("answerer")


def _own_trees(columns: list[Any], *, faults_only: bool) -> sa.Select[Any]:
    return (
        sa.select(*columns)
        .select_from(tree_score)
        .join(audit, same_farm(audit, tree_score, id="audit_id"))
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .where(
            tree_score.c.farm_id == sa.bindparam("farm_id"),
            tree_score.c.id.in_(_own(faults_only=faults_only)),
            audit.c.season == sa.bindparam("season"),
            audit.c.id.not_in(sa.bindparam("unseen", expanding=True)),
            is_latest(),
            _is_shown(),
        )
    )


def _trees_shown(*, faults_only: bool) -> sa.Select[Any]:
    columns = [
        tree_score.c.id.label("tree_score_id"),
        tree_score.c.audit_id,
        tree_score.c.draw_tree_id,
        tree_score.c.version,
        tree_score.c.recorded_at,
        _AMENDER.c.name.label("amended_by"),
        tree_score.c.reason,
        draw.c.purpose,
        block.c.name.label("block"),
        orchard_row.c.number.label("row_number"),
        draw_tree.c.position,
        draw_tree.c.side,
        orchard_row.c.trees_per_panel,
        user_account.c.name.label("auditor"),
        standard_version.c.version.label("standard_version"),
        audit.c.started_at,
        audit.c.sealed_at,
    ]
    return (
        _own_trees(columns, faults_only=faults_only)
        .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
        .join(orchard_row, same_farm(orchard_row, draw_tree, id="orchard_row_id"))
        .join(block, same_farm(block, orchard_row, id="block_id"))
        .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
        .join(standard_version, same_farm(standard_version, crew_pass, id="standard_version_id"))
        .join(user_account, same_farm(user_account, audit, id="auditor_id"))
        .outerjoin(_AMENDER, same_farm(_AMENDER, tree_score, id="amended_by"))
        .order_by(
            audit.c.started_at.desc(),
            audit.c.id.desc(),
            orchard_row.c.number,
            tree_score.c.scoring_order.desc(),
        )
        .limit(sa.bindparam("most"))
        .offset(sa.bindparam("skip"))
    )


# Statements are built once: building one takes longer than running it.
_TREES: Final = {only: _trees_shown(faults_only=only) for only in (False, True)}
_COUNTS: Final = {only: _own_trees([sa.func.count()], faults_only=only) for only in (False, True)}

_STAGES: Final = (
    sa.select(
        tree_score.c.audit_id,
        tree_score.c.draw_tree_id,
        stage_score.c.stage,
        stage_score.c.result,
        stage_score.c.faults,
        stage_score.c.measured_mm,
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .where(stage_score.c.farm_id == sa.bindparam("farm_id"))
)
_OWN_STAGES: Final = _STAGES.where(
    stage_score.c.tree_score_id.in_(sa.bindparam("score_ids", expanding=True)),
    stage_score.c.worker_id == sa.bindparam("worker_id"),
    stage_score.c.result != Result.NOT_SCORED,
)
_FIRST_STAGES: Final = _STAGES.where(
    tree_score.c.audit_id.in_(sa.bindparam("audit_ids", expanding=True)),
    tree_score.c.draw_tree_id.in_(sa.bindparam("tree_ids", expanding=True)),
    tree_score.c.version == 1,
)

_PHOTO_COLUMNS: Final = (
    photo.c.id,
    photo.c.audit_id,
    photo.c.draw_tree_id,
    photo.c.stage,
    photo.c.device_at,
    photo.c.received_at,
)

_SCORE: Final = (
    sa.select(
        stage_score.c.worker_id,
        stage_score.c.result,
        tree_score.c.version,
        tree_score.c.recorded_at,
        audit.c.sealed_at,
        draw.c.purpose,
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        tree_score.c.farm_id == sa.bindparam("farm_id"),
        tree_score.c.audit_id == sa.bindparam("audit_id"),
        tree_score.c.draw_tree_id == sa.bindparam("draw_tree_id"),
        stage_score.c.stage == sa.bindparam("stage"),
        stage_score.c.result != Result.NOT_SCORED,
        is_latest(),
        _is_shown(),
    )
)


def _latest_version() -> sa.ScalarSelect[Any]:
    any_version = tree_score.alias("any_version")
    return (
        sa.select(sa.func.max(any_version.c.version))
        .where(
            any_version.c.farm_id == contest.c.farm_id,
            any_version.c.audit_id == contest.c.audit_id,
            any_version.c.draw_tree_id == contest.c.draw_tree_id,
        )
        .correlate(contest)
        .scalar_subquery()
    )


_CONTESTS: Final = (
    sa.select(
        contest.c.id,
        contest.c.audit_id,
        contest.c.draw_tree_id,
        contest.c.stage,
        contest.c.worker_id,
        worker.c.code.label("worker_code"),
        sa.func.coalesce(worker_name.c.name, "").label("worker_name"),
        contest.c.raised_at,
        contest.c.raised_by,
        _RAISER.c.name.label("raised_by_name"),
        contest.c.words,
        contest.c.answered_at,
        _ANSWERER.c.name.label("answered_by_name"),
        contest.c.answer,
        contest.c.reason,
        block.c.name.label("block"),
        orchard_row.c.number.label("row_number"),
        draw_tree.c.position,
        draw_tree.c.side,
        orchard_row.c.trees_per_panel,
        audit.c.auditor_id,
        user_account.c.name.label("auditor"),
        audit.c.sealed_at,
        stage_score.c.result,
        stage_score.c.faults,
        stage_score.c.measured_mm,
    )
    .select_from(contest)
    .join(worker, same_farm(worker, contest, id="worker_id"))
    .outerjoin(worker_name, same_farm(worker_name, contest, worker_id="worker_id"))
    .join(_RAISER, same_farm(_RAISER, contest, id="raised_by"))
    .outerjoin(_ANSWERER, same_farm(_ANSWERER, contest, id="answered_by"))
    .join(audit, same_farm(audit, contest, id="audit_id"))
    .join(user_account, same_farm(user_account, audit, id="auditor_id"))
    .join(draw_tree, same_farm(draw_tree, contest, id="draw_tree_id"))
    .join(orchard_row, same_farm(orchard_row, draw_tree, id="orchard_row_id"))
    .join(block, same_farm(block, orchard_row, id="block_id"))
    .join(
        tree_score,
        sa.and_(
            same_farm(tree_score, contest, audit_id="audit_id", draw_tree_id="draw_tree_id"),
            tree_score.c.version == _latest_version(),
        ),
    )
    .outerjoin(
        stage_score,
        sa.and_(
            same_farm(stage_score, tree_score, tree_score_id="id"),
            stage_score.c.stage == contest.c.stage,
        ),
    )
    .where(contest.c.farm_id == sa.bindparam("farm_id"))
)
_OPEN: Final = _CONTESTS.where(contest.c.answered_at.is_(None)).order_by(
    contest.c.raised_at, contest.c.id
)
_ONE: Final = _CONTESTS.where(contest.c.id == sa.bindparam("contest_id"))
_OF_WORKER: Final = _CONTESTS.where(
    contest.c.worker_id == sa.bindparam("worker_id"), audit.c.season == sa.bindparam("season")
).order_by(contest.c.raised_at.desc(), contest.c.id.desc())
# Taken back is what nobody had to answer.
_ANSWERED: Final = (
    _CONTESTS.where(contest.c.answer.is_not(None))
    .order_by(contest.c.answered_at.desc(), contest.c.id.desc())
    .limit(sa.bindparam("most"))
)


def count_own_trees(
    connection: sa.Connection,
    farm_id: int,
    worker_id: int,
    season: int,
    *,
    faults_only: bool,
    unseen: Collection[int] = (),
) -> int:
    """Return how many trees of a season hold a score that counts for one person alone."""
    keys = {
        "farm_id": farm_id,
        "worker_id": worker_id,
        "season": season,
        "unseen": list(unseen),
    }
    return connection.scalar(_COUNTS[faults_only], keys) or 0


def own_trees(
    connection: sa.Connection,
    farm_id: int,
    worker_id: int,
    season: int,
    *,
    faults_only: bool,
    most: int,
    skip: int = 0,
    unseen: Collection[int] = (),
) -> list[TreeShown]:
    """Return these trees, the latest audit first, and in it the tree scored last."""
    keys = {
        "farm_id": farm_id,
        "worker_id": worker_id,
        "season": season,
        "most": most,
        "skip": skip,
        "unseen": list(unseen),
    }
    return fetch_all(connection, _TREES[faults_only], TreeShown, keys)


def own_stages(
    connection: sa.Connection, farm_id: int, worker_id: int, score_ids: Collection[int]
) -> list[StageShown]:
    """Return the scores of some answers that count for one person alone."""
    keys = {"farm_id": farm_id, "worker_id": worker_id, "score_ids": list(score_ids)}
    return fetch_all(connection, _OWN_STAGES, StageShown, keys)


def first_stages(
    connection: sa.Connection, farm_id: int, trees: Collection[TreeShown]
) -> list[StageShown]:
    """Return what some trees came to as they were first scored."""
    keys = {
        "farm_id": farm_id,
        "audit_ids": sorted({tree.audit_id for tree in trees}),
        "tree_ids": sorted({tree.draw_tree_id for tree in trees}),
    }
    return fetch_all(connection, _FIRST_STAGES, StageShown, keys)


def photos_of_trees(
    connection: sa.Connection, farm_id: int, trees: Collection[tuple[int, int]]
) -> list[PhotoRow]:
    """Return the photos of some trees, each named by its audit and its place in the draw."""
    if not trees:
        return []
    return fetch_all(
        connection,
        sa.select(*_PHOTO_COLUMNS)
        .where(
            photo.c.farm_id == farm_id,
            photo.c.audit_id.in_({audit_id for audit_id, _ in trees}),
            photo.c.draw_tree_id.in_({tree_id for _, tree_id in trees}),
        )
        .order_by(photo.c.id),
        PhotoRow,
    )


def photo_by_id(connection: sa.Connection, farm_id: int, photo_id: int) -> PhotoRow | None:
    """Return one photo without its content."""
    statement = sa.select(*_PHOTO_COLUMNS).where(photo.c.farm_id == farm_id, photo.c.id == photo_id)
    return fetch_one(connection, statement, PhotoRow)


def worker_has_score(
    connection: sa.Connection,
    farm_id: int,
    worker_id: int,
    *,
    audit_id: int,
    draw_tree_id: int,
    stage: Stage | None,
) -> bool:
    """Tell whether a tree that a worker sees holds a score of theirs, in one stage or in any."""
    statement = (
        sa.select(stage_score.c.id)
        .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
        .join(audit, same_farm(audit, tree_score, id="audit_id"))
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .where(
            stage_score.c.farm_id == farm_id,
            stage_score.c.worker_id == worker_id,
            tree_score.c.audit_id == audit_id,
            tree_score.c.draw_tree_id == draw_tree_id,
            is_latest(),
            _is_shown(),
        )
    )
    if stage is not None:
        statement = statement.where(stage_score.c.stage == stage)
    return connection.scalar(statement.limit(1)) is not None


def score_now(
    connection: sa.Connection, farm_id: int, audit_id: int, draw_tree_id: int, stage: Stage
) -> ScoreNow | None:
    """Return a score of a sealed audit that decided, or of a start check, as it stands."""
    keys = {
        "farm_id": farm_id,
        "audit_id": audit_id,
        "draw_tree_id": draw_tree_id,
        "stage": stage,
    }
    return fetch_one(connection, _SCORE, ScoreNow, keys)


def contests_of_score(
    connection: sa.Connection, farm_id: int, audit_id: int, draw_tree_id: int, stage: Stage
) -> list[tuple[int, datetime | None, ContestAnswer | None]]:
    """Return id, time and kind of answer of each disagreement with a score, oldest first."""
    rows = connection.execute(
        sa.select(contest.c.id, contest.c.answered_at, contest.c.answer)
        .where(
            contest.c.farm_id == farm_id,
            contest.c.audit_id == audit_id,
            contest.c.draw_tree_id == draw_tree_id,
            contest.c.stage == stage,
        )
        .order_by(contest.c.id)
    )
    return [(row.id, row.answered_at, row.answer) for row in rows]


def contest_by_id(connection: sa.Connection, farm_id: int, contest_id: int) -> ContestRow | None:
    """Return one disagreement."""
    return fetch_one(connection, _ONE, ContestRow, {"farm_id": farm_id, "contest_id": contest_id})


def open_contests(connection: sa.Connection, farm_id: int) -> list[ContestRow]:
    """Return the disagreements that wait for an answer, the oldest first."""
    return fetch_all(connection, _OPEN, ContestRow, {"farm_id": farm_id})


def answered_contests(connection: sa.Connection, farm_id: int, *, most: int) -> list[ContestRow]:
    """Return the disagreements answered last."""
    return fetch_all(connection, _ANSWERED, ContestRow, {"farm_id": farm_id, "most": most})


def contests_of_worker(
    connection: sa.Connection, farm_id: int, worker_id: int, season: int
) -> list[ContestRow]:
    """Return everything that a worker disagreed with in a season, the latest first."""
    keys = {"farm_id": farm_id, "worker_id": worker_id, "season": season}
    return fetch_all(connection, _OF_WORKER, ContestRow, keys)


def amenders_of_trees(
    connection: sa.Connection, farm_id: int, trees: Collection[tuple[int, int]]
) -> dict[tuple[int, int], set[int]]:
    """Return who amended each of some trees, by audit and tree."""
    amenders: dict[tuple[int, int], set[int]] = {tree: set() for tree in trees}
    if not trees:
        return amenders
    rows = connection.execute(
        sa.select(tree_score.c.audit_id, tree_score.c.draw_tree_id, tree_score.c.amended_by).where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id.in_({audit_id for audit_id, _ in trees}),
            tree_score.c.draw_tree_id.in_({tree_id for _, tree_id in trees}),
            tree_score.c.amended_by.is_not(None),
        )
    )
    for audit_id, tree_id, user_id in rows:
        if (audit_id, tree_id) in amenders:
            amenders[audit_id, tree_id].add(user_id)
    return amenders


def contested_scores(
    connection: sa.Connection,
    farm_id: int,
    *,
    audit_ids: Collection[int] | None = None,
    worker_id: int | None = None,
    season: int | None = None,
) -> set[ScoreKey]:
    """Return the scores with a disagreement that waits for an answer, of the farm or of a part."""
    statement = sa.select(contest.c.audit_id, contest.c.draw_tree_id, contest.c.stage).where(
        contest.c.farm_id == farm_id, contest.c.answered_at.is_(None)
    )
    if audit_ids is not None:
        statement = statement.where(contest.c.audit_id.in_(list(audit_ids)))
    if worker_id is not None:
        statement = statement.where(contest.c.worker_id == worker_id)
    if season is not None:
        statement = statement.join(audit, same_farm(audit, contest, id="audit_id")).where(
            audit.c.season == season
        )
    return {(row.audit_id, row.draw_tree_id, row.stage) for row in connection.execute(statement)}


def contested_due(
    connection: sa.Connection, farm_id: int, season: int, worker_id: int | None = None
) -> dict[ScoreKey, int]:
    """
    Return the contested scores behind a season's rates, of everybody or one worker, with auditors.

    They are those of first audits that decided, as they stand, where something was due.
    """
    statement = (
        sa.select(contest.c.audit_id, contest.c.draw_tree_id, contest.c.stage, audit.c.auditor_id)
        .select_from(contest)
        .join(
            tree_score,
            same_farm(tree_score, contest, audit_id="audit_id", draw_tree_id="draw_tree_id"),
        )
        .join(
            stage_score,
            sa.and_(
                same_farm(stage_score, tree_score, tree_score_id="id"),
                stage_score.c.stage == contest.c.stage,
            ),
        )
        .join(audit, same_farm(audit, contest, id="audit_id"))
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .where(
            contest.c.farm_id == farm_id,
            contest.c.answered_at.is_(None),
            audit.c.season == season,
            stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
            is_latest(),
            decides_first(),
        )
    )
    if worker_id is not None:
        statement = statement.where(stage_score.c.worker_id == worker_id)
    return {(row[0], row[1], row[2]): row[3] for row in connection.execute(statement)}
