"""What waits today: open lots, audits begun, rework, and the passes at work."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from audits.records import StandardVersion
from audits.storage.queries.fetch import columns_of, fetch_all
from audits.storage.tables import (
    audit,
    block,
    crew,
    crew_pass,
    draw,
    draw_tree,
    lot,
    lot_range,
    orchard_row,
    pass_row,
    rework_order,
    standard_version,
    tree_score,
    user_account,
)
from audits.vocabulary import LotState, Method, PassKind, Purpose

# States in which a lot asks somebody to do something.
OPEN_STATES: Final = (LotState.WAITING, LotState.IN_AUDIT, LotState.REWORK)


@dataclass(frozen=True)
class OpenLot:
    """A lot that is not closed yet, and where it belongs."""

    id: int
    number: int
    state: LotState
    finished_at: datetime
    crew_pass_id: int
    standard_version_id: int
    block: str
    crew: str


@dataclass(frozen=True)
class LotRow:
    """A row of an open lot."""

    lot_id: int
    row_number: int


@dataclass(frozen=True)
class OpenDraw:
    """The latest draw of a lot whose trees are drawn, whether or not an audit of it has begun."""

    lot_id: int
    purpose: Purpose
    created_at: datetime


@dataclass(frozen=True)
class OpenAudit:
    """An audit that is not sealed yet, its trees counted."""

    id: int
    lot_id: int
    purpose: Purpose
    auditor: str
    started_at: datetime
    scored: int
    trees: int


@dataclass(frozen=True)
class OpenOrder:
    """The latest rework order of a lot that went back."""

    id: int
    lot_id: int
    created_at: datetime
    done_at: datetime | None


@dataclass(frozen=True)
class PassAtWork:
    """A pass that somebody works in today, its rows counted."""

    id: int
    block: str
    emergency_location: str
    crew_id: int
    crew: str
    kind: PassKind
    method: Method
    started_at: datetime
    ended_at: datetime | None
    rows: int
    rows_finished: int


def open_lots(connection: sa.Connection, farm_id: int) -> list[OpenLot]:
    """Return the lots that are not closed yet, the longest finished first."""
    return fetch_all(
        connection,
        sa.select(
            lot.c.id,
            lot.c.number,
            lot.c.state,
            lot.c.finished_at,
            lot.c.crew_pass_id,
            crew_pass.c.standard_version_id,
            block.c.name.label("block"),
            crew.c.name.label("crew"),
        )
        .join(crew_pass, _same(lot, "crew_pass_id", crew_pass))
        .join(block, _same(crew_pass, "block_id", block))
        .join(crew, _same(crew_pass, "crew_id", crew))
        .where(lot.c.farm_id == farm_id, lot.c.state.in_(OPEN_STATES))
        .order_by(lot.c.finished_at, lot.c.id),
        OpenLot,
    )


def rows_of_open_lots(connection: sa.Connection, farm_id: int) -> list[LotRow]:
    """Return the rows of the lots that are not closed yet, by number."""
    return fetch_all(
        connection,
        sa.select(lot_range.c.lot_id, orchard_row.c.number.label("row_number"))
        .join(lot, _same(lot_range, "lot_id", lot))
        .join(orchard_row, _same(lot_range, "orchard_row_id", orchard_row))
        .where(lot_range.c.farm_id == farm_id, lot.c.state.in_(OPEN_STATES))
        .order_by(orchard_row.c.number),
        LotRow,
    )


def standards_of_open_lots(connection: sa.Connection, farm_id: int) -> list[StandardVersion]:
    """Return the versions of standards that the lots not closed yet go by."""
    in_use = (
        sa.select(crew_pass.c.standard_version_id)
        .join(lot, _same(lot, "crew_pass_id", crew_pass))
        .where(lot.c.farm_id == farm_id, lot.c.state.in_(OPEN_STATES))
    )
    return fetch_all(
        connection,
        sa.select(*columns_of(standard_version, StandardVersion)).where(
            standard_version.c.farm_id == farm_id, standard_version.c.id.in_(in_use)
        ),
        StandardVersion,
    )


def open_draws(connection: sa.Connection, farm_id: int) -> list[OpenDraw]:
    """Return the draws of the lots whose trees are drawn, oldest first."""
    return fetch_all(
        connection,
        sa.select(draw.c.lot_id, draw.c.purpose, draw.c.created_at)
        .join(lot, _same(draw, "lot_id", lot))
        .where(draw.c.farm_id == farm_id, lot.c.state == LotState.IN_AUDIT)
        .order_by(draw.c.id),
        OpenDraw,
    )


def open_audits(connection: sa.Connection, farm_id: int) -> list[OpenAudit]:
    """Return the audits of each open lot's latest draw that are not sealed, oldest first."""
    later = draw.alias("later")
    scored = (
        sa.select(sa.func.count(sa.distinct(tree_score.c.draw_tree_id)))
        .where(tree_score.c.farm_id == farm_id, tree_score.c.audit_id == audit.c.id)
        .scalar_subquery()
    )
    walk = (
        sa.select(sa.func.count())
        .where(
            draw_tree.c.farm_id == farm_id,
            draw_tree.c.draw_id == audit.c.draw_id,
            draw_tree.c.walk_order.is_not(None),
            draw_tree.c.found_kind.is_(None),
        )
        .scalar_subquery()
    )
    return fetch_all(
        connection,
        sa.select(
            audit.c.id,
            draw.c.lot_id,
            draw.c.purpose,
            user_account.c.name.label("auditor"),
            audit.c.started_at,
            scored.label("scored"),
            walk.label("trees"),
        )
        .join(draw, _same(audit, "draw_id", draw))
        .join(lot, _same(draw, "lot_id", lot))
        .join(user_account, _same(audit, "auditor_id", user_account))
        .where(
            audit.c.farm_id == farm_id,
            audit.c.sealed_at.is_(None),
            lot.c.state == LotState.IN_AUDIT,
            ~sa.exists().where(
                later.c.farm_id == draw.c.farm_id,
                later.c.lot_id == draw.c.lot_id,
                later.c.id > draw.c.id,
            ),
        )
        .order_by(audit.c.started_at, audit.c.id),
        OpenAudit,
    )


def open_orders(connection: sa.Connection, farm_id: int) -> list[OpenOrder]:
    """Return the rework orders of the lots that went back, oldest first."""
    return fetch_all(
        connection,
        sa.select(
            rework_order.c.id,
            rework_order.c.lot_id,
            rework_order.c.created_at,
            rework_order.c.done_at,
        )
        .join(lot, _same(rework_order, "lot_id", lot))
        .where(rework_order.c.farm_id == farm_id, lot.c.state == LotState.REWORK)
        .order_by(rework_order.c.id),
        OpenOrder,
    )


def passes_at_work(
    connection: sa.Connection, farm_id: int, *, since: datetime, day_begin: datetime, now: datetime
) -> list[PassAtWork]:
    """
    Return the passes that somebody works in, newest first.

    They are those begun between the day's beginning and now, and those begun since an earlier
    instant that have neither ended nor had every row finished.
    """
    counted = (
        sa.select(
            pass_row.c.crew_pass_id,
            sa.func.count().label("rows"),
            sa.func.count(pass_row.c.finished_at).label("rows_finished"),
        )
        .where(pass_row.c.farm_id == farm_id)
        .group_by(pass_row.c.crew_pass_id)
        .subquery()
    )
    begun_today = crew_pass.c.started_at >= day_begin
    unfinished = sa.and_(crew_pass.c.ended_at.is_(None), counted.c.rows_finished < counted.c.rows)
    return fetch_all(
        connection,
        sa.select(
            crew_pass.c.id,
            block.c.name.label("block"),
            block.c.emergency_location,
            crew_pass.c.crew_id,
            crew.c.name.label("crew"),
            crew_pass.c.kind,
            crew_pass.c.method,
            crew_pass.c.started_at,
            crew_pass.c.ended_at,
            counted.c.rows,
            counted.c.rows_finished,
        )
        .join(block, _same(crew_pass, "block_id", block))
        .join(crew, _same(crew_pass, "crew_id", crew))
        .join(counted, counted.c.crew_pass_id == crew_pass.c.id)
        .where(
            crew_pass.c.farm_id == farm_id,
            crew_pass.c.started_at >= since,
            crew_pass.c.started_at <= now,
            sa.or_(begun_today, unfinished),
        )
        .order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc()),
        PassAtWork,
    )


def _same(table: sa.Table, column: str, other: sa.Table) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.farm_id == table.c.farm_id, other.c.id == table.c[column])
