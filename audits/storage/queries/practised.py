"""How much one person practised on drawn trees, since when, and in which language."""

from datetime import datetime
from typing import NamedTuple

import sqlalchemy as sa

from audits.storage.queries.trends import same_farm
from audits.storage.tables import exercise_result, practice_result, practice_stage
from audits.vocabulary import Result, Stage


class PractisedLine(NamedTuple):
    """Drawn trees that were pruned or judged in one language, and when; by the server's clock."""

    is_pruned: bool
    language: str
    trees: int
    first_at: datetime
    last_at: datetime


class PractisedStage(NamedTuple):
    """A stage of drawn trees: how often it was done, and how often it was right."""

    stage: Stage
    done: int
    right: int


def practised(connection: sa.Connection, farm_id: int, worker_id: int) -> list[PractisedLine]:
    """Return what a worker practised: pruned trees first, then judged ones, by language."""
    return [
        PractisedLine(table is practice_result, *row)
        for table in (practice_result, exercise_result)
        for row in connection.execute(
            sa.select(
                table.c.language,
                sa.func.count(),
                sa.func.min(table.c.recorded_at),
                sa.func.max(table.c.recorded_at),
            )
            .where(table.c.farm_id == farm_id, table.c.worker_id == worker_id)
            .group_by(table.c.language)
            .order_by(table.c.language)
        )
    ]


def practised_stages(
    connection: sa.Connection, farm_id: int, worker_id: int
) -> list[PractisedStage]:
    """
    Return how the stages of the trees went that a worker pruned, from the top of the tree down.

    A stage left alone because nothing was due is right as well.
    """
    rows = connection.execute(
        sa.select(
            practice_stage.c.stage,
            sa.func.count(),
            sa.func.sum(sa.case((practice_stage.c.result == Result.NONCONFORMING, 0), else_=1)),
        )
        .join(practice_result, same_farm(practice_result, practice_stage, id="practice_result_id"))
        .where(
            practice_stage.c.farm_id == farm_id,
            practice_result.c.worker_id == worker_id,
            practice_stage.c.result != Result.NOT_SCORED,
        )
        .group_by(practice_stage.c.stage)
    )
    found = {stage: PractisedStage(stage, done, int(right)) for stage, done, right in rows}
    return [found[stage] for stage in Stage if stage in found]
