"""The farm, its blocks, rows and plantings, its crews and workers."""

import sqlalchemy as sa

from audits.records import Block, Crew, Farm, PlantingRow, Row, Worker
from audits.storage.letters import small_letters
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import (
    block,
    crew,
    farm,
    lot_range,
    orchard_row,
    pass_row,
    planting,
    worker,
    worker_name,
)


def farm_by_id(connection: sa.Connection, farm_id: int) -> Farm | None:
    """Return one farm."""
    return fetch_one(connection, sa.select(farm).where(farm.c.id == farm_id), Farm)


def blocks(connection: sa.Connection, farm_id: int, *, with_retired: bool = False) -> list[Block]:
    """Return the farm's blocks, by name."""
    statement = sa.select(*columns_of(block, Block)).where(block.c.farm_id == farm_id)
    if not with_retired:
        statement = statement.where(block.c.retired.is_(False))
    return fetch_all(connection, statement.order_by(small_letters(block.c.name)), Block)


def block_by_id(connection: sa.Connection, farm_id: int, block_id: int) -> Block | None:
    """Return one block."""
    return fetch_one(
        connection,
        sa.select(*columns_of(block, Block)).where(
            block.c.farm_id == farm_id, block.c.id == block_id
        ),
        Block,
    )


def block_by_name(connection: sa.Connection, farm_id: int, name: str) -> Block | None:
    """Return the block with a name, without regard to case."""
    return fetch_one(
        connection,
        sa.select(*columns_of(block, Block)).where(
            block.c.farm_id == farm_id, small_letters(block.c.name) == name.lower()
        ),
        Block,
    )


def rows_of_block(connection: sa.Connection, farm_id: int, block_id: int) -> list[Row]:
    """Return a block's rows, by number."""
    return fetch_all(
        connection,
        sa.select(*columns_of(orchard_row, Row))
        .where(orchard_row.c.farm_id == farm_id, orchard_row.c.block_id == block_id)
        .order_by(orchard_row.c.number),
        Row,
    )


def rows(connection: sa.Connection, farm_id: int) -> list[Row]:
    """Return every row of the farm, by block and number."""
    return fetch_all(
        connection,
        sa.select(*columns_of(orchard_row, Row))
        .where(orchard_row.c.farm_id == farm_id)
        .order_by(orchard_row.c.block_id, orchard_row.c.number),
        Row,
    )


def row_by_id(connection: sa.Connection, farm_id: int, row_id: int) -> Row | None:
    """Return one row."""
    return fetch_one(
        connection,
        sa.select(*columns_of(orchard_row, Row)).where(
            orchard_row.c.farm_id == farm_id, orchard_row.c.id == row_id
        ),
        Row,
    )


def plantings_of_row(connection: sa.Connection, farm_id: int, row_id: int) -> list[PlantingRow]:
    """Return a row's planting history in the order in which it took effect, then was entered."""
    return fetch_all(
        connection,
        _plantings(farm_id).where(planting.c.orchard_row_id == row_id),
        PlantingRow,
    )


def plantings_of_block(connection: sa.Connection, farm_id: int, block_id: int) -> list[PlantingRow]:
    """Return the planting history of every row of a block, in the same order."""
    return fetch_all(
        connection,
        _plantings(farm_id).where(
            planting.c.orchard_row_id.in_(
                sa.select(orchard_row.c.id).where(
                    orchard_row.c.farm_id == farm_id, orchard_row.c.block_id == block_id
                )
            )
        ),
        PlantingRow,
    )


def last_position_in_use(connection: sa.Connection, farm_id: int, row_id: int) -> int:
    """Return the highest position of a row that a pass or a lot names, 0 when none does."""
    highest = [
        connection.scalar(
            sa.select(sa.func.max(table.c.last_position)).where(
                table.c.farm_id == farm_id, table.c.orchard_row_id == row_id
            )
        )
        for table in (pass_row, lot_range)
    ]
    return max(position or 0 for position in highest)


def crews(connection: sa.Connection, farm_id: int, *, with_retired: bool = False) -> list[Crew]:
    """Return the farm's crews, by name."""
    statement = sa.select(*columns_of(crew, Crew)).where(crew.c.farm_id == farm_id)
    if not with_retired:
        statement = statement.where(crew.c.retired.is_(False))
    return fetch_all(connection, statement.order_by(small_letters(crew.c.name)), Crew)


def crew_by_id(connection: sa.Connection, farm_id: int, crew_id: int) -> Crew | None:
    """Return one crew."""
    return fetch_one(
        connection,
        sa.select(*columns_of(crew, Crew)).where(crew.c.farm_id == farm_id, crew.c.id == crew_id),
        Crew,
    )


def crew_by_name(connection: sa.Connection, farm_id: int, name: str) -> Crew | None:
    """Return the crew with a name, without regard to case."""
    return fetch_one(
        connection,
        sa.select(*columns_of(crew, Crew)).where(
            crew.c.farm_id == farm_id, small_letters(crew.c.name) == name.lower()
        ),
        Crew,
    )


def workers(connection: sa.Connection, farm_id: int, *, with_retired: bool = False) -> list[Worker]:
    """Return the farm's workers, by code."""
    statement = _workers(farm_id)
    if not with_retired:
        statement = statement.where(worker.c.retired.is_(False))
    return fetch_all(connection, statement, Worker)


def workers_of_crew(connection: sa.Connection, farm_id: int, crew_id: int) -> list[Worker]:
    """Return the workers of a crew, by code."""
    return fetch_all(
        connection,
        _workers(farm_id).where(worker.c.crew_id == crew_id, worker.c.retired.is_(False)),
        Worker,
    )


def worker_by_id(connection: sa.Connection, farm_id: int, worker_id: int) -> Worker | None:
    """Return one worker."""
    return fetch_one(connection, _workers(farm_id).where(worker.c.id == worker_id), Worker)


def worker_by_code(connection: sa.Connection, farm_id: int, code: str) -> Worker | None:
    """Return the worker with a code, without regard to case."""
    return fetch_one(
        connection,
        _workers(farm_id).where(small_letters(worker.c.code) == code.lower()),
        Worker,
    )


def _plantings(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return (
        sa.select(*columns_of(planting, PlantingRow))
        .where(planting.c.farm_id == farm_id)
        .order_by(planting.c.since, planting.c.id)
    )


def _workers(farm_id: int) -> sa.Select[tuple[object, ...]]:
    name = sa.func.coalesce(worker_name.c.name, "").label("name")
    return (
        sa.select(*columns_of(worker, Worker), name)
        .outerjoin(
            worker_name,
            sa.and_(
                worker_name.c.farm_id == worker.c.farm_id, worker_name.c.worker_id == worker.c.id
            ),
        )
        .where(worker.c.farm_id == farm_id)
        .order_by(small_letters(worker.c.code))
    )
