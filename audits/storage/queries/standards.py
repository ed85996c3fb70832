"""The versions of a block's standard."""

from datetime import date

import sqlalchemy as sa

from audits.records import StandardVersion
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import block, crew_pass, standard_version


def versions_of_block(
    connection: sa.Connection, farm_id: int, block_id: int
) -> list[StandardVersion]:
    """Return a block's versions, the latest first."""
    return fetch_all(
        connection,
        _versions(farm_id)
        .where(standard_version.c.block_id == block_id)
        .order_by(standard_version.c.version.desc()),
        StandardVersion,
    )


def standard_by_id(
    connection: sa.Connection, farm_id: int, standard_id: int
) -> StandardVersion | None:
    """Return one version."""
    return fetch_one(
        connection, _versions(farm_id).where(standard_version.c.id == standard_id), StandardVersion
    )


def standard_by_number(
    connection: sa.Connection, farm_id: int, block_id: int, version: int
) -> StandardVersion | None:
    """Return a block's version by its number."""
    return fetch_one(
        connection,
        _versions(farm_id).where(
            standard_version.c.block_id == block_id, standard_version.c.version == version
        ),
        StandardVersion,
    )


def standard_in_force(
    connection: sa.Connection, farm_id: int, block_id: int, on: date
) -> StandardVersion | None:
    """Return the version in force on a day: of those begun by then, the one begun last."""
    return fetch_one(
        connection,
        _versions(farm_id)
        .where(standard_version.c.block_id == block_id, standard_version.c.in_force_from <= on)
        .order_by(standard_version.c.in_force_from.desc(), standard_version.c.version.desc())
        .limit(1),
        StandardVersion,
    )


def standards_in_force(
    connection: sa.Connection, farm_id: int, on: date
) -> dict[int, StandardVersion]:
    """Return the version in force on a day for every block that has one, by the block's id."""
    begun = fetch_all(
        connection,
        _versions(farm_id)
        .where(standard_version.c.in_force_from <= on)
        .order_by(standard_version.c.in_force_from, standard_version.c.version),
        StandardVersion,
    )
    return {version.block_id: version for version in begun}


def block_names_by_version(connection: sa.Connection, farm_id: int) -> dict[int, str]:
    """Return the name of each version's block, by the version's id."""
    of_block = sa.and_(
        block.c.farm_id == standard_version.c.farm_id, block.c.id == standard_version.c.block_id
    )
    found = connection.execute(
        sa.select(standard_version.c.id, block.c.name)
        .join(block, of_block)
        .where(standard_version.c.farm_id == farm_id)
    )
    return {row.id: row.name for row in found}


def versions_in_use(connection: sa.Connection, farm_id: int, block_id: int) -> frozenset[int]:
    """Return the ids of a block's versions that a pass was begun under."""
    return frozenset(
        connection.scalars(
            sa.select(crew_pass.c.standard_version_id).where(
                crew_pass.c.farm_id == farm_id, crew_pass.c.block_id == block_id
            )
        )
    )


def _versions(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return sa.select(*columns_of(standard_version, StandardVersion)).where(
        standard_version.c.farm_id == farm_id
    )
