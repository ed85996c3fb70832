"""
What the first audits of a crew's lots came to in one block, whatever version of its standard.

Only the audit that decided a draw counts, and its verdict as it was issued: an amendment stands
beside it and moves no lot. The order is that in which verdicts were issued, so that what held for
a lot never changes afterwards.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from audits.records import CauseNoted
from audits.storage.queries.fetch import columns_of, fetch_all
from audits.storage.queries.season import ISSUED
from audits.storage.queries.trends import decides_first, same_farm
from audits.storage.tables import (
    audit,
    cause_removed,
    crew_pass,
    decision,
    draw,
    draw_stage,
    lot_range,
    orchard_row,
)
from audits.vocabulary import Outcome, Stage


@dataclass(frozen=True)
class StageInspected:
    """What the first audit of a lot came to in one stage, and the plan that decided it."""

    lot_id: int
    stage: Stage
    outcome: Outcome
    scored: int
    nonconforming: int
    plan: dict[str, Any]
    sealed_at: datetime


_OF_CREW_IN_BLOCK: Final = (
    decision.c.farm_id == sa.bindparam("farm_id", type_=sa.Integer),
    crew_pass.c.crew_id == sa.bindparam("crew_id", type_=sa.Integer),
    crew_pass.c.block_id == sa.bindparam("block_id", type_=sa.Integer),
    decision.c.version == ISSUED,
    decides_first(),
)
_FIRST_OUTCOMES: Final = (
    sa.select(decision.c.outcome)
    .join(audit, same_farm(audit, decision, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(*_OF_CREW_IN_BLOCK, decision.c.stage.is_(None))
    .order_by(audit.c.sealed_at, audit.c.id)
)
_STAGES_INSPECTED: Final = (
    sa.select(
        draw.c.lot_id,
        decision.c.stage,
        decision.c.outcome,
        decision.c.scored,
        decision.c.nonconforming,
        draw_stage.c.plan,
        audit.c.sealed_at,
    )
    .join(audit, same_farm(audit, decision, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(
        draw_stage,
        sa.and_(same_farm(draw_stage, draw, draw_id="id"), draw_stage.c.stage == decision.c.stage),
    )
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(*_OF_CREW_IN_BLOCK)
    .order_by(audit.c.sealed_at, audit.c.id, decision.c.id)
)


def first_outcomes(
    connection: sa.Connection, farm_id: int, crew_id: int, block_id: int
) -> list[Outcome]:
    """Return the verdicts on a crew's lots in a block at their first audits, oldest first."""
    keys = {"farm_id": farm_id, "crew_id": crew_id, "block_id": block_id}
    return list(connection.scalars(_FIRST_OUTCOMES, keys))


def stages_inspected(
    connection: sa.Connection, farm_id: int, crew_id: int, block_id: int
) -> list[StageInspected]:
    """Return the verdicts on each stage of a crew's lots in a block at their first audits."""
    keys = {"farm_id": farm_id, "crew_id": crew_id, "block_id": block_id}
    return fetch_all(connection, _STAGES_INSPECTED, StageInspected, keys)


def causes_removed(
    connection: sa.Connection, farm_id: int, crew_id: int, block_id: int
) -> list[CauseNoted]:
    """Return when the cause of a crew's bad work in a block was put right, oldest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(cause_removed, CauseNoted))
        .where(
            cause_removed.c.farm_id == farm_id,
            cause_removed.c.crew_id == crew_id,
            cause_removed.c.block_id == block_id,
        )
        .order_by(cause_removed.c.noted_at, cause_removed.c.id),
        CauseNoted,
    )


def row_numbers_of_lots(
    connection: sa.Connection, farm_id: int, lot_ids: Collection[int]
) -> dict[int, tuple[int, ...]]:
    """Return the numbers of the rows of some lots, in order."""
    rows = connection.execute(
        sa.select(lot_range.c.lot_id, orchard_row.c.number)
        .join(orchard_row, same_farm(orchard_row, lot_range, id="orchard_row_id"))
        .where(lot_range.c.farm_id == farm_id, lot_range.c.lot_id.in_(lot_ids))
        .order_by(orchard_row.c.number)
    ).all()
    return {
        lot_id: tuple(number for other, number in rows if other == lot_id) for lot_id in lot_ids
    }
