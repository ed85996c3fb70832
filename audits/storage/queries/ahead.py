"""Draws made before their row was finished."""

import sqlalchemy as sa

from audits.records import Draw, PassRow
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import ahead_draw, draw, pass_row


def draws_ahead(connection: sa.Connection, farm_id: int, pass_row_id: int) -> list[Draw]:
    """Return the draws made ahead for a row, oldest first, with and without a lot by now."""
    return fetch_all(
        connection,
        sa.select(*columns_of(draw, Draw))
        .join(
            ahead_draw,
            sa.and_(ahead_draw.c.farm_id == draw.c.farm_id, ahead_draw.c.draw_id == draw.c.id),
        )
        .where(ahead_draw.c.farm_id == farm_id, ahead_draw.c.pass_row_id == pass_row_id)
        .order_by(draw.c.id),
        Draw,
    )


def is_drawn_ahead(connection: sa.Connection, farm_id: int, draw_id: int) -> bool:
    """Tell whether a draw was made before its row was finished."""
    found = connection.execute(
        sa.select(ahead_draw.c.id).where(
            ahead_draw.c.farm_id == farm_id, ahead_draw.c.draw_id == draw_id
        )
    )
    return found.first() is not None


def row_drawn_ahead(connection: sa.Connection, farm_id: int, draw_id: int) -> PassRow | None:
    """Return the row for which a draw was made ahead."""
    return fetch_one(
        connection,
        sa.select(*columns_of(pass_row, PassRow))
        .join(
            ahead_draw,
            sa.and_(
                ahead_draw.c.farm_id == pass_row.c.farm_id,
                ahead_draw.c.pass_row_id == pass_row.c.id,
            ),
        )
        .where(ahead_draw.c.farm_id == farm_id, ahead_draw.c.draw_id == draw_id),
        PassRow,
    )


def draws_ahead_of_pass(connection: sa.Connection, farm_id: int, pass_id: int) -> list[int]:
    """Return the ids of the draws made ahead for the rows of a pass."""
    return list(
        connection.scalars(
            sa.select(ahead_draw.c.draw_id)
            .join(
                pass_row,
                sa.and_(
                    pass_row.c.farm_id == ahead_draw.c.farm_id,
                    pass_row.c.id == ahead_draw.c.pass_row_id,
                ),
            )
            .where(ahead_draw.c.farm_id == farm_id, pass_row.c.crew_pass_id == pass_id)
        )
    )
