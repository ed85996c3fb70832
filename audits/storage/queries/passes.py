"""Passes, their rows and assignments, and lots."""

import sqlalchemy as sa

from audits.records import (
    AssignmentRow,
    CrewPass,
    Lot,
    LotRange,
    PassRow,
    ReworkItem,
    ReworkOrder,
)
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by, fetch_by_id, fetch_one
from audits.storage.tables import (
    assignment,
    crew_pass,
    draw_tree,
    lot,
    lot_range,
    pass_row,
    rework_item,
    rework_order,
)
from audits.vocabulary import LotState


def crew_pass_by_id(connection: sa.Connection, farm_id: int, pass_id: int) -> CrewPass | None:
    """Return one pass."""
    return fetch_by_id(connection, crew_pass, CrewPass, farm_id, pass_id)


def passes_under_way(connection: sa.Connection, farm_id: int) -> list[CrewPass]:
    """Return the passes that have not ended, the oldest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(crew_pass, CrewPass))
        .where(crew_pass.c.farm_id == farm_id, crew_pass.c.ended_at.is_(None))
        .order_by(crew_pass.c.started_at, crew_pass.c.id),
        CrewPass,
    )


def block_under_way(
    connection: sa.Connection, farm_id: int, crew_id: int | None = None
) -> int | None:
    """Return the block in which a crew, or any crew, began last and has not ended."""
    blocks = [
        each.block_id
        for each in passes_under_way(connection, farm_id)
        if crew_id is None or each.crew_id == crew_id
    ]
    return blocks[-1] if blocks else None


def pass_rows(connection: sa.Connection, farm_id: int, pass_id: int) -> list[PassRow]:
    """Return the rows of a pass, in the order in which they were listed."""
    return fetch_by(connection, pass_row, PassRow, farm_id, crew_pass_id=pass_id)


def pass_row_of(
    connection: sa.Connection, farm_id: int, pass_id: int, row_id: int
) -> PassRow | None:
    """Return one row of a pass."""
    return fetch_one(
        connection,
        sa.select(*columns_of(pass_row, PassRow)).where(
            pass_row.c.farm_id == farm_id,
            pass_row.c.crew_pass_id == pass_id,
            pass_row.c.orchard_row_id == row_id,
        ),
        PassRow,
    )


def assignments(connection: sa.Connection, farm_id: int, pass_id: int) -> list[AssignmentRow]:
    """Return who did what in a pass."""
    return fetch_all(
        connection,
        sa.select(*columns_of(assignment, AssignmentRow))
        .where(assignment.c.farm_id == farm_id, assignment.c.crew_pass_id == pass_id)
        .order_by(assignment.c.orchard_row_id, assignment.c.first_position, assignment.c.id),
        AssignmentRow,
    )


def assignments_in_draw(
    connection: sa.Connection, farm_id: int, pass_id: int, draw_id: int
) -> list[AssignmentRow]:
    """Return who did what in the rows of a pass that a draw visits."""
    visited = sa.select(draw_tree.c.orchard_row_id).where(
        draw_tree.c.farm_id == farm_id, draw_tree.c.draw_id == draw_id
    )
    return fetch_all(
        connection,
        sa.select(*columns_of(assignment, AssignmentRow))
        .where(
            assignment.c.farm_id == farm_id,
            assignment.c.crew_pass_id == pass_id,
            assignment.c.orchard_row_id.in_(visited),
        )
        .order_by(assignment.c.orchard_row_id, assignment.c.first_position, assignment.c.id),
        AssignmentRow,
    )


def lot_by_id(connection: sa.Connection, farm_id: int, lot_id: int) -> Lot | None:
    """Return one lot."""
    return fetch_by_id(connection, lot, Lot, farm_id, lot_id)


def lots_of_pass(connection: sa.Connection, farm_id: int, pass_id: int) -> list[Lot]:
    """Return the lots of a pass, by number."""
    return fetch_by(connection, lot, Lot, farm_id, crew_pass_id=pass_id)


def lots_in_state(connection: sa.Connection, farm_id: int, *states: LotState) -> list[Lot]:
    """Return the lots in any of these states, the longest finished first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(lot, Lot))
        .where(lot.c.farm_id == farm_id, lot.c.state.in_(states))
        .order_by(lot.c.finished_at, lot.c.id),
        Lot,
    )


def lot_ranges(connection: sa.Connection, farm_id: int, lot_id: int) -> list[LotRange]:
    """Return the stretches of a lot, in the order in which they were finished."""
    return fetch_by(connection, lot_range, LotRange, farm_id, lot_id=lot_id)


def rework_order_by_id(
    connection: sa.Connection, farm_id: int, order_id: int
) -> ReworkOrder | None:
    """Return one rework order."""
    return fetch_by_id(connection, rework_order, ReworkOrder, farm_id, order_id)


def rework_order_of_audit(
    connection: sa.Connection, farm_id: int, audit_id: int
) -> ReworkOrder | None:
    """Return the rework order that came of an audit."""
    return fetch_one(
        connection,
        sa.select(*columns_of(rework_order, ReworkOrder)).where(
            rework_order.c.farm_id == farm_id, rework_order.c.audit_id == audit_id
        ),
        ReworkOrder,
    )


def rework_orders_of_lot(connection: sa.Connection, farm_id: int, lot_id: int) -> list[ReworkOrder]:
    """Return a lot's rework orders, oldest first."""
    return fetch_by(connection, rework_order, ReworkOrder, farm_id, lot_id=lot_id)


def rework_items(connection: sa.Connection, farm_id: int, order_id: int) -> list[ReworkItem]:
    """Return what a rework order lists, stage by stage."""
    return fetch_by(connection, rework_item, ReworkItem, farm_id, rework_order_id=order_id)
