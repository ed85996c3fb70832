"""What a season came to for the owner: lots, verdicts, rates and hours, never a person."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.storage.queries.fetch import fetch_all
from audits.storage.queries.trends import decides_first, is_latest, same_farm
from audits.storage.tables import (
    audit,
    block,
    crew_pass,
    decision,
    draw,
    lot,
    lot_range,
    rework_item,
    rework_order,
    rollup,
    stage_score,
    tree_score,
)
from audits.vocabulary import Fault, LotState, Outcome, PassKind, Result, Stage

# Lots went back, or did not, on the verdict as it was issued; amendments stand beside it.
ISSUED: Final = 1


@dataclass(frozen=True)
class LotCount:
    """How many lots of a block and a crew stand alike; verdicts are those of the first audit."""

    block_id: int
    block: str
    crew_id: int
    state: LotState
    first_outcome: Outcome | None
    as_amended: Outcome | None
    lots: int


@dataclass(frozen=True)
class StageVerdicts:
    """How many first audits of a crew ended alike in a stage."""

    stage: Stage
    outcome: Outcome
    leading_fault: Fault | None
    lots: int


@dataclass(frozen=True)
class PassHours:
    """Hours of the passes of one kind."""

    kind: PassKind
    passes: int
    with_hours: int
    hours: float


class AuditLine(NamedTuple):
    """Sums of all people for one stage of one first audit."""

    stage: Stage
    audit_id: int
    crew_id: int
    auditor_id: int
    scored_on: date
    trees: int
    due: int
    nonconforming: int


def lot_counts(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[LotCount]:
    """Return how the lots finished in a time stand, and what their first audit said."""
    latest, later = decision.alias("latest"), decision.alias("later")
    verdict = (
        sa.select(
            draw.c.lot_id,
            decision.c.outcome.label("issued"),
            latest.c.outcome.label("as_amended"),
        )
        .join(audit, same_farm(audit, draw, draw_id="id"))
        .join(decision, same_farm(decision, audit, audit_id="id"))
        .join(latest, same_farm(latest, audit, audit_id="id"))
        .where(
            draw.c.farm_id == farm_id,
            decides_first(),
            decision.c.stage.is_(None),
            decision.c.version == ISSUED,
            latest.c.stage.is_(None),
            ~sa.exists().where(
                later.c.farm_id == latest.c.farm_id,
                later.c.audit_id == latest.c.audit_id,
                later.c.stage.is_(None),
                later.c.version > latest.c.version,
            ),
        )
        .subquery()
    )
    stands = (
        crew_pass.c.block_id,
        block.c.name.label("block"),
        crew_pass.c.crew_id,
        lot.c.state,
        verdict.c.issued.label("first_outcome"),
        verdict.c.as_amended,
    )
    return fetch_all(
        connection,
        sa.select(*stands, sa.func.count().label("lots"))
        .select_from(lot)
        .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
        .join(block, same_farm(block, crew_pass, id="block_id"))
        .outerjoin(verdict, verdict.c.lot_id == lot.c.id)
        .where(lot.c.farm_id == farm_id, lot.c.finished_at >= begin, lot.c.finished_at < end)
        .group_by(*stands)
        .order_by(sa.func.lower(block.c.name)),
        LotCount,
    )


def stage_verdicts(
    connection: sa.Connection,
    farm_id: int,
    begin: datetime,
    end: datetime,
    *,
    crew_id: int | None = None,
) -> list[StageVerdicts]:
    """Return how the first audits of lots finished in a time ended, stage by stage."""
    ended = (decision.c.stage, decision.c.outcome, decision.c.leading_fault)
    return fetch_all(
        connection,
        sa.select(*ended, sa.func.count().label("lots"))
        .join(audit, same_farm(audit, decision, id="audit_id"))
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .join(lot, same_farm(lot, draw, id="lot_id"))
        .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
        .where(
            _of_crew(crew_id),
            decision.c.farm_id == farm_id,
            decision.c.stage.is_not(None),
            decision.c.version == ISSUED,
            lot.c.finished_at >= begin,
            lot.c.finished_at < end,
            decides_first(),
        )
        .group_by(*ended),
        StageVerdicts,
    )


def reworked_lots(
    connection: sa.Connection,
    farm_id: int,
    begin: datetime,
    end: datetime,
    *,
    crew_id: int | None = None,
) -> dict[Stage, int]:
    """Return how many lots finished in a time had each stage sent back to be mended."""
    rows = connection.execute(
        sa.select(rework_item.c.stage, sa.func.count(rework_order.c.lot_id.distinct()))
        .join(rework_order, same_farm(rework_order, rework_item, id="rework_order_id"))
        .join(lot, same_farm(lot, rework_order, id="lot_id"))
        .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
        .where(
            _of_crew(crew_id),
            rework_item.c.farm_id == farm_id,
            rework_item.c.mendable.is_(True),
            lot.c.finished_at >= begin,
            lot.c.finished_at < end,
        )
        .group_by(rework_item.c.stage)
    )
    return {stage: lots for stage, lots in rows}  # noqa: C416 - rows are not pairs to a type checker


def pass_hours(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[PassHours]:
    """Return the passes begun in a time with the hours noted for them, by kind."""
    return fetch_all(
        connection,
        sa.select(
            crew_pass.c.kind,
            sa.func.count().label("passes"),
            sa.func.count(crew_pass.c.hours).label("with_hours"),
            sa.func.coalesce(sa.func.sum(crew_pass.c.hours), 0.0).label("hours"),
        )
        .where(
            crew_pass.c.farm_id == farm_id,
            crew_pass.c.started_at >= begin,
            crew_pass.c.started_at < end,
        )
        .group_by(crew_pass.c.kind),
        PassHours,
    )


def audit_lines(connection: sa.Connection, farm_id: int, season: int) -> list[AuditLine]:
    """Return the roll-ups of first audits, people and shared lines added up, in scoring order."""
    rows = connection.execute(
        sa.select(
            rollup.c.stage,
            rollup.c.audit_id,
            rollup.c.crew_id,
            audit.c.auditor_id,
            rollup.c.scored_on,
            sa.func.sum(rollup.c.trees),
            sa.func.sum(rollup.c.due),
            sa.func.sum(rollup.c.nonconforming),
        )
        .join(audit, same_farm(audit, rollup, id="audit_id"))
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .where(rollup.c.farm_id == farm_id, rollup.c.season == season, decides_first())
        .group_by(
            rollup.c.stage,
            rollup.c.audit_id,
            rollup.c.crew_id,
            audit.c.auditor_id,
            rollup.c.scored_on,
            audit.c.started_at,
        )
        .order_by(audit.c.started_at, rollup.c.audit_id)
    )
    return [AuditLine(*row) for row in rows]


def outcomes_of_audits(
    connection: sa.Connection, farm_id: int, audit_ids: Collection[int]
) -> list[tuple[int, Stage, int]]:
    """Return audit, stage, and 1 if nonconforming, for each due tree of some audits, in order."""
    rows = connection.execute(
        sa.select(
            tree_score.c.audit_id,
            stage_score.c.stage,
            sa.case((stage_score.c.result == Result.NONCONFORMING, 1), else_=0),
        )
        .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
        .where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id.in_(audit_ids),
            stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
            is_latest(),
        )
        .order_by(tree_score.c.audit_id, tree_score.c.scoring_order, tree_score.c.id)
    )
    return [(audit_id, stage, nonconforming) for audit_id, stage, nonconforming in rows]


def audited_rows(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int | None = None
) -> int:
    """Return in how many rows the lots of a season's first audits stand."""
    return (
        connection.scalar(
            sa.select(sa.func.count(lot_range.c.orchard_row_id.distinct()))
            .join(draw, same_farm(draw, lot_range, lot_id="lot_id"))
            .join(audit, same_farm(audit, draw, draw_id="id"))
            .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
            .where(
                lot_range.c.farm_id == farm_id,
                audit.c.season == season,
                _of_crew(crew_id),
                decides_first(),
            )
        )
        or 0
    )


def _of_crew(crew_id: int | None) -> sa.ColumnElement[bool]:
    return sa.true() if crew_id is None else crew_pass.c.crew_id == crew_id
