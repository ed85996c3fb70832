"""Turns selected rows into records."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from functools import cache
from typing import Any, TypeVar, cast

import sqlalchemy as sa

Record = TypeVar("Record")


def _field_names(record: type[Any]) -> list[str]:
    return [field.name for field in fields(record)]


def columns_of(table: sa.Table, record: type[Any]) -> list[sa.Column[Any]]:
    """Return the table's columns that a record holds, by their common names."""
    return [table.c[field.name] for field in fields(record) if field.name in table.c]


def fetch_all(
    connection: sa.Connection,
    statement: sa.Select[Any],
    record: type[Record],
    values: Mapping[str, object] | None = None,
) -> list[Record]:
    """Return one record for each row; `values` fill the statement's named places."""
    result = connection.execute(statement, values or {})
    names = list(result.keys())
    if names == _field_names(record):
        return [record(*row) for row in result]
    return [record(**dict(zip(names, row, strict=True))) for row in result]


def fetch_one(
    connection: sa.Connection,
    statement: sa.Select[Any],
    record: type[Record],
    values: Mapping[str, object] | None = None,
) -> Record | None:
    """Return the record of the first row, or None."""
    row = connection.execute(statement, values or {}).mappings().first()
    return None if row is None else record(**row)


@cache
def _statement_by(table: sa.Table, record: type[Any], column: str) -> sa.Select[Any]:
    return (
        sa.select(*columns_of(table, record))
        .where(table.c.farm_id == sa.bindparam("farm"), table.c[column] == sa.bindparam("value"))
        .order_by(table.c.id)
    )


def fetch_by(
    connection: sa.Connection,
    table: sa.Table,
    record: type[Record],
    farm_id: int,
    **column: object,
) -> list[Record]:
    """Return the farm's rows with a value in one column, in the order in which they were made."""
    ((name, value),) = column.items()
    return fetch_all(
        connection,
        _statement_by(table, record, name),  # type: ignore[arg-type]
        record,
        {"farm": farm_id, "value": value},
    )


def fetch_by_id(
    connection: sa.Connection, table: sa.Table, record: type[Record], farm_id: int, row_id: int
) -> Record | None:
    """Return the farm's row with an id, or None."""
    return next(iter(fetch_by(connection, table, record, farm_id, id=row_id)), None)


def insert(connection: sa.Connection, table: sa.Table, values: Mapping[str, object]) -> int:
    """Insert a row and return its id."""
    result = connection.execute(table.insert(), dict(values))
    return cast("int", cast("sa.Row[Any]", result.inserted_primary_key)[0])


def insert_many(
    connection: sa.Connection, table: sa.Table, rows: Sequence[Mapping[str, object]]
) -> None:
    """Insert several rows at once; none is fine too."""
    if rows:
        connection.execute(table.insert(), list(map(dict, rows)))


def by_id(records: Iterable[Record]) -> dict[int, Record]:
    """Index records by their id."""
    return {cast("Any", record).id: record for record in records}
