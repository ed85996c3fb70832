"""What people got right in practice, in exercises and in quizzes, by worker and stage."""

from collections.abc import Collection
from datetime import date, datetime
from typing import Any, Final, NamedTuple

import sqlalchemy as sa

from audits.storage.queries.trends import same_farm
from audits.storage.tables import (
    exercise_result,
    practice_result,
    practice_stage,
    quiz_attempt,
    quiz_response,
)
from audits.vocabulary import Result, Stage


class LearningSum(NamedTuple):
    """How many questions or stages of trees a worker did, and how many were right."""

    worker_id: int
    stage: Stage
    done: int
    right: int


_FARM: Final = sa.bindparam("farm_id", type_=sa.Integer)
_WORKERS: Final = sa.bindparam("worker_ids", type_=sa.Integer, expanding=True)
_SINCE: Final = sa.bindparam("since", type_=practice_result.c.recorded_at.type)
_UNTIL: Final = sa.bindparam("until", type_=practice_result.c.recorded_at.type)

# A stage left alone because nothing was due is a right answer as well. Moments are those of the
# server: clocks of phones may be wrong.
_PRACTICE: Final = (
    sa.select(
        practice_result.c.worker_id,
        practice_stage.c.stage,
        sa.func.count(),
        sa.func.sum(sa.case((practice_stage.c.result == Result.NONCONFORMING, 0), else_=1)),
    )
    .join(practice_stage, same_farm(practice_stage, practice_result, practice_result_id="id"))
    .where(
        practice_result.c.farm_id == _FARM,
        practice_result.c.worker_id.in_(_WORKERS),
        practice_result.c.recorded_at >= _SINCE,
        practice_result.c.recorded_at < _UNTIL,
        practice_stage.c.result != Result.NOT_SCORED,
    )
    .group_by(practice_result.c.worker_id, practice_stage.c.stage)
)
_EXERCISES: Final = (
    sa.select(
        exercise_result.c.worker_id,
        exercise_result.c.stage,
        sa.func.count(),
        sa.func.sum(sa.case((exercise_result.c.is_right, 1), else_=0)),
    )
    .where(
        exercise_result.c.farm_id == _FARM,
        exercise_result.c.worker_id.in_(_WORKERS),
        exercise_result.c.stage.is_not(None),
        exercise_result.c.recorded_at >= _SINCE,
        exercise_result.c.recorded_at < _UNTIL,
    )
    .group_by(exercise_result.c.worker_id, exercise_result.c.stage)
)
_QUIZZES: Final = (
    sa.select(
        quiz_attempt.c.worker_id,
        quiz_response.c.stage,
        sa.func.count(),
        sa.func.sum(sa.case((quiz_response.c.is_right, 1), else_=0)),
    )
    .join(quiz_response, same_farm(quiz_response, quiz_attempt, quiz_attempt_id="id"))
    .where(
        quiz_attempt.c.farm_id == _FARM,
        quiz_attempt.c.worker_id.in_(_WORKERS),
        quiz_response.c.stage.is_not(None),
        quiz_attempt.c.taken_on.between(
            sa.bindparam("first_day", type_=sa.Date), sa.bindparam("last_day", type_=sa.Date)
        ),
    )
    .group_by(quiz_attempt.c.worker_id, quiz_response.c.stage)
)


def practice_sums(
    connection: sa.Connection,
    farm_id: int,
    worker_ids: Collection[int],
    since: datetime,
    until: datetime,
) -> list[LearningSum]:
    """Return how the stages of drawn trees went that some workers pruned between two moments."""
    return _sums(connection, _PRACTICE, farm_id, worker_ids, since=since, until=until)


def exercise_sums(
    connection: sa.Connection,
    farm_id: int,
    worker_ids: Collection[int],
    since: datetime,
    until: datetime,
) -> list[LearningSum]:
    """Return how the trees went that some workers judged between two moments."""
    return _sums(connection, _EXERCISES, farm_id, worker_ids, since=since, until=until)


def quiz_sums(
    connection: sa.Connection,
    farm_id: int,
    worker_ids: Collection[int],
    first_day: date,
    last_day: date,
) -> list[LearningSum]:
    """Return how the questions of quizzes went that some workers took from one day to another."""
    return _sums(connection, _QUIZZES, farm_id, worker_ids, first_day=first_day, last_day=last_day)


def _sums(
    connection: sa.Connection,
    statement: sa.Select[Any],
    farm_id: int,
    worker_ids: Collection[int],
    **between: date | datetime,
) -> list[LearningSum]:
    if not worker_ids:
        return []
    keys = {"farm_id": farm_id, "worker_ids": list(worker_ids), **between}
    return [
        LearningSum(worker_id, stage, done, int(right))
        for worker_id, stage, done, right in connection.execute(statement, keys)
    ]
