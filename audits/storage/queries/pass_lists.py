"""Lists of passes and what belongs to them: rows, lots and start checks, each in one statement."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.records import AssignmentRow, LotRange
from audits.storage.queries.fetch import columns_of, fetch_all
from audits.storage.tables import (
    assignment,
    audit,
    block,
    crew,
    crew_pass,
    draw,
    lot,
    lot_range,
    pass_row,
    rework_order,
    tree_score,
)
from audits.vocabulary import LotState, Method, PassKind, Purpose


@dataclass(frozen=True)
class PassLine:
    """A pass in a list, its rows counted."""

    id: int
    block: str
    crew: str
    kind: PassKind
    method: Method
    started_at: datetime
    ended_at: datetime | None
    rows: int
    rows_finished: int


@dataclass(frozen=True)
class LotCount:
    """How many lots of a pass stand in a state."""

    crew_pass_id: int
    state: LotState
    lots: int


@dataclass(frozen=True)
class StartCheck:
    """A start check, its trees counted."""

    audit_id: int
    crew_pass_id: int
    worker_id: int
    started_at: datetime
    sealed_at: datetime | None
    trees: int


def starts_of_passes(connection: sa.Connection, farm_id: int) -> list[datetime]:
    """Return when each pass began, the latest first."""
    return list(
        connection.scalars(
            sa.select(crew_pass.c.started_at)
            .where(crew_pass.c.farm_id == farm_id)
            .order_by(crew_pass.c.started_at.desc())
        )
    )


def passes_begun(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[PassLine]:
    """Return the passes begun from one instant on and before another, newest first."""
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
    return fetch_all(
        connection,
        sa.select(
            crew_pass.c.id,
            block.c.name.label("block"),
            crew.c.name.label("crew"),
            crew_pass.c.kind,
            crew_pass.c.method,
            crew_pass.c.started_at,
            crew_pass.c.ended_at,
            sa.func.coalesce(counted.c.rows, 0).label("rows"),
            sa.func.coalesce(counted.c.rows_finished, 0).label("rows_finished"),
        )
        .join(block, _same(crew_pass, "block_id", block))
        .join(crew, _same(crew_pass, "crew_id", crew))
        .outerjoin(counted, counted.c.crew_pass_id == crew_pass.c.id)
        .where(_begun(farm_id, begin, end))
        .order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc()),
        PassLine,
    )


def lot_counts(
    connection: sa.Connection, farm_id: int, begin: datetime, end: datetime
) -> list[LotCount]:
    """Return how many lots stand in each state, by the passes begun in a span."""
    return fetch_all(
        connection,
        sa.select(lot.c.crew_pass_id, lot.c.state, sa.func.count().label("lots"))
        .join(crew_pass, _same(lot, "crew_pass_id", crew_pass))
        .where(_begun(farm_id, begin, end))
        .group_by(lot.c.crew_pass_id, lot.c.state),
        LotCount,
    )


def row_ids_in_passes(
    connection: sa.Connection, farm_id: int, block_id: int, begin: datetime, end: datetime
) -> frozenset[int]:
    """Return the rows of a block that a pass begun in a span goes through, rework left out."""
    return frozenset(
        connection.scalars(
            sa.select(pass_row.c.orchard_row_id)
            .join(crew_pass, _same(pass_row, "crew_pass_id", crew_pass))
            .where(
                _begun(farm_id, begin, end),
                crew_pass.c.block_id == block_id,
                crew_pass.c.kind != PassKind.REWORK,
            )
        )
    )


def row_ids_begun_at(
    connection: sa.Connection, farm_id: int, crew_id: int, started_at: datetime
) -> frozenset[int]:
    """Return the rows of the passes that a crew began at an instant, rework left out."""
    return frozenset(
        connection.scalars(
            sa.select(pass_row.c.orchard_row_id)
            .join(crew_pass, _same(pass_row, "crew_pass_id", crew_pass))
            .where(
                crew_pass.c.farm_id == farm_id,
                crew_pass.c.crew_id == crew_id,
                crew_pass.c.started_at == started_at,
                crew_pass.c.kind != PassKind.REWORK,
            )
        )
    )


def lot_ranges_of_pass(connection: sa.Connection, farm_id: int, pass_id: int) -> list[LotRange]:
    """Return the stretches of every lot of a pass, in the order in which they were finished."""
    return fetch_all(
        connection,
        sa.select(*columns_of(lot_range, LotRange))
        .join(lot, _same(lot_range, "lot_id", lot))
        .where(lot_range.c.farm_id == farm_id, lot.c.crew_pass_id == pass_id)
        .order_by(lot_range.c.id),
        LotRange,
    )


def assignments_in_rows(
    connection: sa.Connection, farm_id: int, pass_id: int, row_ids: Collection[int]
) -> list[AssignmentRow]:
    """Return who did what in some rows of a pass."""
    return fetch_all(
        connection,
        sa.select(*columns_of(assignment, AssignmentRow)).where(
            assignment.c.farm_id == farm_id,
            assignment.c.crew_pass_id == pass_id,
            assignment.c.orchard_row_id.in_(row_ids),
        ),
        AssignmentRow,
    )


def start_checks_of_passes(
    connection: sa.Connection, farm_id: int, pass_ids: Sequence[int]
) -> list[StartCheck]:
    """Return the start checks of some passes, oldest first."""
    return fetch_all(
        connection,
        sa.select(
            audit.c.id.label("audit_id"),
            draw.c.crew_pass_id,
            audit.c.worker_id,
            audit.c.started_at,
            audit.c.sealed_at,
            sa.func.count(sa.distinct(tree_score.c.draw_tree_id)).label("trees"),
        )
        .join(draw, _same(audit, "draw_id", draw))
        .outerjoin(
            tree_score,
            sa.and_(
                tree_score.c.farm_id == audit.c.farm_id,
                tree_score.c.audit_id == audit.c.id,
            ),
        )
        .where(
            audit.c.farm_id == farm_id,
            draw.c.crew_pass_id.in_(pass_ids),
            draw.c.purpose == Purpose.START_CHECK,
        )
        .group_by(
            audit.c.id,
            draw.c.crew_pass_id,
            audit.c.worker_id,
            audit.c.started_at,
            audit.c.sealed_at,
        )
        .order_by(audit.c.started_at, audit.c.id),
        StartCheck,
    )


def rework_order_id_of_pass(connection: sa.Connection, farm_id: int, pass_id: int) -> int | None:
    """Return the rework order that a pass carried out."""
    return connection.scalar(
        sa.select(rework_order.c.id).where(
            rework_order.c.farm_id == farm_id, rework_order.c.crew_pass_id == pass_id
        )
    )


def _begun(farm_id: int, begin: datetime, end: datetime) -> sa.ColumnElement[bool]:
    return sa.and_(
        crew_pass.c.farm_id == farm_id,
        crew_pass.c.started_at >= begin,
        crew_pass.c.started_at < end,
    )


def _same(table: sa.Table, column: str, other: sa.Table) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.farm_id == table.c.farm_id, other.c.id == table.c[column])
