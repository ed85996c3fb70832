"""Practice trees that workers pruned and judged."""

from collections.abc import Collection
from dataclasses import dataclass

import sqlalchemy as sa

from audits.records import ExerciseResult, PracticeResult, PracticeStage
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by, fetch_one
from audits.storage.queries.trends import same_farm
from audits.storage.tables import exercise_result, practice_result, practice_stage
from audits.vocabulary import Fault, PracticeLevel, Result, Stage


@dataclass(frozen=True)
class StageCount:
    """How often a stage was practised at a level, by what came of it."""

    stage: Stage
    level: PracticeLevel
    result: Result
    trees: int


def practice_result_by_uid(
    connection: sa.Connection, farm_id: int, uid: str
) -> PracticeResult | None:
    """Return the tree that a phone gave this name."""
    return fetch_one(
        connection,
        sa.select(*columns_of(practice_result, PracticeResult)).where(
            practice_result.c.farm_id == farm_id, practice_result.c.uid == uid
        ),
        PracticeResult,
    )


def exercise_result_by_uid(
    connection: sa.Connection, farm_id: int, uid: str
) -> ExerciseResult | None:
    """Return the exercise that a phone gave this name."""
    return fetch_one(
        connection,
        sa.select(*columns_of(exercise_result, ExerciseResult)).where(
            exercise_result.c.farm_id == farm_id, exercise_result.c.uid == uid
        ),
        ExerciseResult,
    )


def practice_results_of(
    connection: sa.Connection, farm_id: int, worker_id: int
) -> list[PracticeResult]:
    """Return the trees that a worker pruned, in the order in which they arrived."""
    return fetch_by(connection, practice_result, PracticeResult, farm_id, worker_id=worker_id)


def exercise_results_of(
    connection: sa.Connection, farm_id: int, worker_id: int
) -> list[ExerciseResult]:
    """Return the trees that a worker judged, in the order in which they arrived."""
    return fetch_by(connection, exercise_result, ExerciseResult, farm_id, worker_id=worker_id)


def practice_stages(
    connection: sa.Connection, farm_id: int, result_ids: Collection[int]
) -> list[PracticeStage]:
    """Return what the engine made of the stages of some trees."""
    if not result_ids:
        return []
    return fetch_all(
        connection,
        sa.select(*columns_of(practice_stage, PracticeStage))
        .where(
            practice_stage.c.farm_id == farm_id,
            practice_stage.c.practice_result_id.in_(result_ids),
        )
        .order_by(practice_stage.c.practice_result_id, practice_stage.c.id),
        PracticeStage,
    )


def stage_counts(connection: sa.Connection, farm_id: int, worker_id: int) -> list[StageCount]:
    """Return how often each stage was practised by a worker, at each level, with each result."""
    what = (practice_stage.c.stage, practice_result.c.level, practice_stage.c.result)
    found = connection.execute(
        sa.select(*what, sa.func.count())
        .join(practice_stage, same_farm(practice_stage, practice_result, practice_result_id="id"))
        .where(practice_result.c.farm_id == farm_id, practice_result.c.worker_id == worker_id)
        .group_by(*what)
    )
    return [StageCount(*row) for row in found]


def fault_lists(connection: sa.Connection, farm_id: int, worker_id: int) -> list[tuple[Fault, ...]]:
    """Return the faults of each stage that a worker pruned wrong."""
    found = connection.scalars(
        sa.select(practice_stage.c.faults)
        .join(practice_result, same_farm(practice_stage, practice_result, practice_result_id="id"))
        .where(
            practice_result.c.farm_id == farm_id,
            practice_result.c.worker_id == worker_id,
            practice_stage.c.result == Result.NONCONFORMING,
        )
    )
    return [tuple(faults) for faults in found]


def unscored_count(connection: sa.Connection, farm_id: int, worker_id: int) -> int:
    """Return how many trees of a worker are kept without a score."""
    return connection.execute(
        sa.select(sa.func.count()).where(
            practice_result.c.farm_id == farm_id,
            practice_result.c.worker_id == worker_id,
            practice_result.c.problem.is_not(None),
        )
    ).scalar_one()


def exercise_counts(connection: sa.Connection, farm_id: int, worker_id: int) -> tuple[int, int]:
    """Return how many trees a worker judged, and how many of them right."""
    done, right = connection.execute(
        sa.select(
            sa.func.count(),
            sa.func.coalesce(sa.func.sum(sa.case((exercise_result.c.is_right, 1), else_=0)), 0),
        ).where(exercise_result.c.farm_id == farm_id, exercise_result.c.worker_id == worker_id)
    ).one()
    return done, int(right)


def versions_practised(
    connection: sa.Connection, farm_id: int, version_ids: Collection[int]
) -> frozenset[int]:
    """Return which of some versions of standards somebody has practised on."""
    tables = (practice_result, exercise_result)
    return frozenset(
        found
        for table in tables
        for found in connection.scalars(
            sa.select(table.c.standard_version_id)
            .where(table.c.farm_id == farm_id, table.c.standard_version_id.in_(version_ids))
            .distinct()
        )
    )
