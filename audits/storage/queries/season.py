"""What a season came to for the owner: lots, verdicts, rates and hours, never a person."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.storage.columns import UtcDateTime
from audits.storage.letters import small_letters
from audits.storage.queries.trends import STAGES_BY_TEXT, decides_first, is_latest, same_farm
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


_FARM: Final = sa.bindparam("farm_id", type_=sa.Integer)
_SEASON: Final = sa.bindparam("season", type_=sa.Integer)
_BEGIN: Final = sa.bindparam("begin", type_=UtcDateTime)
_END: Final = sa.bindparam("end", type_=UtcDateTime)
_CREW: Final = sa.bindparam("crew_id", type_=sa.Integer)
# Without a crew, the whole farm is meant.
_OF_CREW: Final = sa.or_(_CREW.is_(None), crew_pass.c.crew_id == _CREW)


def _verdicts() -> sa.Subquery:
    """Return each lot's first verdict as issued, and as it reads after the latest amendment."""
    latest, later = decision.alias("latest"), decision.alias("later")
    return (
        sa.select(
            draw.c.lot_id,
            decision.c.outcome.label("issued"),
            latest.c.outcome.label("as_amended"),
        )
        .join(audit, same_farm(audit, draw, draw_id="id"))
        .join(decision, same_farm(decision, audit, audit_id="id"))
        .join(latest, same_farm(latest, audit, audit_id="id"))
        .where(
            draw.c.farm_id == _FARM,
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
        .subquery("verdict")
    )


_VERDICT: Final = _verdicts()
_LOTS_STAND: Final = (
    crew_pass.c.block_id,
    block.c.name.label("block"),
    crew_pass.c.crew_id,
    lot.c.state,
    _VERDICT.c.issued.label("first_outcome"),
    _VERDICT.c.as_amended,
)
_LOT_COUNTS: Final = (
    sa.select(*_LOTS_STAND, sa.func.count().label("lots"))
    .select_from(lot)
    .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
    .join(block, same_farm(block, crew_pass, id="block_id"))
    .outerjoin(_VERDICT, _VERDICT.c.lot_id == lot.c.id)
    .where(lot.c.farm_id == _FARM, lot.c.finished_at >= _BEGIN, lot.c.finished_at < _END)
    .group_by(*_LOTS_STAND)
    .order_by(small_letters(block.c.name))
)

_ENDED: Final = (decision.c.stage, decision.c.outcome, decision.c.leading_fault)
_STAGE_VERDICTS: Final = (
    sa.select(*_ENDED, sa.func.count().label("lots"))
    .join(audit, same_farm(audit, decision, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(lot, same_farm(lot, draw, id="lot_id"))
    .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
    .where(
        decision.c.farm_id == _FARM,
        decision.c.stage.is_not(None),
        decision.c.version == ISSUED,
        lot.c.finished_at >= _BEGIN,
        lot.c.finished_at < _END,
        _OF_CREW,
        decides_first(),
    )
    .group_by(*_ENDED)
)

_REWORKED_LOTS: Final = (
    sa.select(rework_item.c.stage, sa.func.count(rework_order.c.lot_id.distinct()))
    .join(rework_order, same_farm(rework_order, rework_item, id="rework_order_id"))
    .join(lot, same_farm(lot, rework_order, id="lot_id"))
    .join(crew_pass, same_farm(crew_pass, lot, id="crew_pass_id"))
    .where(
        rework_item.c.farm_id == _FARM,
        rework_item.c.mendable.is_(True),
        lot.c.finished_at >= _BEGIN,
        lot.c.finished_at < _END,
        _OF_CREW,
    )
    .group_by(rework_item.c.stage)
)

_PASS_HOURS: Final = (
    sa.select(
        crew_pass.c.kind,
        sa.func.count().label("passes"),
        sa.func.count(crew_pass.c.hours).label("with_hours"),
        sa.func.coalesce(sa.func.sum(crew_pass.c.hours), 0.0).label("hours"),
    )
    .where(
        crew_pass.c.farm_id == _FARM,
        crew_pass.c.started_at >= _BEGIN,
        crew_pass.c.started_at < _END,
    )
    .group_by(crew_pass.c.kind)
)

_AUDIT_LINES: Final = (
    sa.select(
        sa.type_coerce(rollup.c.stage, sa.String),
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
    .where(rollup.c.farm_id == _FARM, rollup.c.season == _SEASON, decides_first())
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

_OUTCOMES: Final = (
    sa.select(
        tree_score.c.audit_id,
        sa.type_coerce(stage_score.c.stage, sa.String),
        sa.case((stage_score.c.result == Result.NONCONFORMING, 1), else_=0),
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .where(
        tree_score.c.farm_id == _FARM,
        tree_score.c.audit_id.in_(sa.bindparam("audit_ids", expanding=True)),
        stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
        is_latest(),
    )
    .order_by(tree_score.c.audit_id, tree_score.c.scoring_order, tree_score.c.id)
)

_AUDITED_ROWS: Final = (
    sa.select(sa.func.count(lot_range.c.orchard_row_id.distinct()))
    .join(draw, same_farm(draw, lot_range, lot_id="lot_id"))
    .join(audit, same_farm(audit, draw, draw_id="id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(lot_range.c.farm_id == _FARM, audit.c.season == _SEASON, _OF_CREW, decides_first())
)


def lot_counts(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[LotCount]:
    """Return how the lots finished in a time stand, and what their first audit said."""
    keys = {"farm_id": farm_id, "begin": begin, "end": end}
    return [LotCount(**row) for row in connection.execute(_LOT_COUNTS, keys).mappings()]


def stage_verdicts(
    connection: sa.Connection,
    farm_id: int,
    begin: datetime,
    end: datetime,
    *,
    crew_id: int | None = None,
) -> list[StageVerdicts]:
    """Return how the first audits of lots finished in a time ended, stage by stage."""
    keys = {"farm_id": farm_id, "begin": begin, "end": end, "crew_id": crew_id}
    return [StageVerdicts(**row) for row in connection.execute(_STAGE_VERDICTS, keys).mappings()]


def reworked_lots(
    connection: sa.Connection,
    farm_id: int,
    begin: datetime,
    end: datetime,
    *,
    crew_id: int | None = None,
) -> dict[Stage, int]:
    """Return how many lots finished in a time had each stage sent back to be mended."""
    keys = {"farm_id": farm_id, "begin": begin, "end": end, "crew_id": crew_id}
    return {stage: lots for stage, lots in connection.execute(_REWORKED_LOTS, keys)}  # noqa: C416


def pass_hours(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[PassHours]:
    """Return the passes begun in a time with the hours noted for them, by kind."""
    keys = {"farm_id": farm_id, "begin": begin, "end": end}
    return [PassHours(**row) for row in connection.execute(_PASS_HOURS, keys).mappings()]


def audit_lines(connection: sa.Connection, farm_id: int, season: int) -> list[AuditLine]:
    """Return the roll-ups of first audits, people and shared lines added up, in scoring order."""
    rows = connection.execute(_AUDIT_LINES, {"farm_id": farm_id, "season": season}).all()
    return [AuditLine(STAGES_BY_TEXT[stage], *rest) for stage, *rest in rows]


def outcomes_of_audits(
    connection: sa.Connection, farm_id: int, audit_ids: Collection[int]
) -> list[tuple[int, Stage, int]]:
    """Return audit, stage, and 1 if nonconforming, for each due tree of some audits, in order."""
    keys = {"farm_id": farm_id, "audit_ids": list(audit_ids)}
    rows = connection.execute(_OUTCOMES, keys).all()
    return [
        (audit_id, STAGES_BY_TEXT[stage], nonconforming) for audit_id, stage, nonconforming in rows
    ]


def audited_rows(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int | None = None
) -> int:
    """Return in how many rows the lots of a season's first audits stand."""
    keys = {"farm_id": farm_id, "season": season, "crew_id": crew_id}
    return connection.scalar(_AUDITED_ROWS, keys) or 0
