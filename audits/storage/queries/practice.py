"""Practice trees that workers pruned and judged."""

from collections.abc import Collection

import sqlalchemy as sa

from audits.records import ExerciseResult, PracticeResult
from audits.storage.queries.fetch import columns_of, fetch_one
from audits.storage.tables import exercise_result, practice_result


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
