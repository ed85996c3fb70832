"""Print batches, the checks of their scale, and printers."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from audits.records import PrintBatch, PrintCheck, Printer
from audits.storage.letters import small_letters
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by_id, fetch_one
from audits.storage.tables import (
    block,
    print_batch,
    print_check,
    printer,
    standard_version,
    user_account,
)


@dataclass(frozen=True)
class BatchLine:
    """A print batch with the names that belong to it."""

    batch: PrintBatch
    block: str
    version: int
    standard: dict[str, Any]
    printer: str | None
    maker: str | None


@dataclass(frozen=True)
class CheckLine:
    """A check of a print batch, and who made it."""

    check: PrintCheck
    checker: str


def printers(
    connection: sa.Connection, farm_id: int, *, with_retired: bool = False
) -> list[Printer]:
    """Return the printers by name."""
    statement = sa.select(*columns_of(printer, Printer)).where(printer.c.farm_id == farm_id)
    if not with_retired:
        statement = statement.where(sa.not_(printer.c.retired))
    return fetch_all(connection, statement.order_by(printer.c.name), Printer)


def printer_by_id(connection: sa.Connection, farm_id: int, printer_id: int) -> Printer | None:
    """Return one printer."""
    return fetch_by_id(connection, printer, Printer, farm_id, printer_id)


def printer_by_name(connection: sa.Connection, farm_id: int, name: str) -> Printer | None:
    """Return the printer with a name, without regard to case."""
    return fetch_one(
        connection,
        sa.select(*columns_of(printer, Printer)).where(
            printer.c.farm_id == farm_id, small_letters(printer.c.name) == name.lower()
        ),
        Printer,
    )


def last_batch_number(connection: sa.Connection, farm_id: int) -> int:
    """Return the highest number of a print batch; 0 where there is none."""
    statement = sa.select(sa.func.max(print_batch.c.number)).where(print_batch.c.farm_id == farm_id)
    return connection.scalar(statement) or 0


def batch_by_number(connection: sa.Connection, farm_id: int, number: int) -> PrintBatch | None:
    """Return a print batch by its number."""
    return fetch_one(
        connection,
        sa.select(*columns_of(print_batch, PrintBatch)).where(
            print_batch.c.farm_id == farm_id, print_batch.c.number == number
        ),
        PrintBatch,
    )


def batch_lines(
    connection: sa.Connection, farm_id: int, numbers: Collection[int] | None = None
) -> list[BatchLine]:
    """Return print batches with their names, the newest first; all, or those with some numbers."""
    return _lines(
        connection,
        farm_id,
        None if numbers is None else print_batch.c.number.in_(sorted(numbers)),
    )


def standing_batch_lines(
    connection: sa.Connection,
    farm_id: int,
    *,
    block_id: int | None = None,
    checked_since: datetime | None = None,
) -> list[BatchLine]:
    """Return the batches that nobody has withdrawn: of one block, or checked since a moment."""
    stands: list[sa.ColumnElement[bool]] = [print_batch.c.withdrawn_at.is_(None)]
    if block_id is not None:
        stands.append(print_batch.c.block_id == block_id)
    if checked_since is not None:
        checked = sa.select(print_check.c.print_batch_id).where(
            print_check.c.farm_id == farm_id, print_check.c.checked_at >= checked_since
        )
        stands.append(print_batch.c.id.in_(checked))
    return _lines(connection, farm_id, sa.and_(*stands))


def check_lines(
    connection: sa.Connection, farm_id: int, batch_ids: Collection[int] | None = None
) -> dict[int, list[CheckLine]]:
    """Return the checks by batch, the newest first; of all batches, or of some."""
    statement = (
        sa.select(*columns_of(print_check, PrintCheck), user_account.c.name.label("checker"))
        .join(
            user_account,
            sa.and_(
                user_account.c.farm_id == print_check.c.farm_id,
                user_account.c.id == print_check.c.checked_by,
            ),
        )
        .where(print_check.c.farm_id == farm_id)
        .order_by(print_check.c.checked_at.desc(), print_check.c.id.desc())
    )
    if batch_ids is not None:
        statement = statement.where(print_check.c.print_batch_id.in_(sorted(batch_ids)))
    found: dict[int, list[CheckLine]] = {}
    for row in connection.execute(statement):
        *values, checker = row
        line = CheckLine(PrintCheck(*values), checker)
        found.setdefault(line.check.print_batch_id, []).append(line)
    return found


def versions_printed(connection: sa.Connection, farm_id: int, block_id: int) -> dict[int, int]:
    """Return the versions of a block that cards or gauges carry, each with its latest batch."""
    statement = (
        sa.select(print_batch.c.standard_version_id, sa.func.max(print_batch.c.number))
        .where(
            print_batch.c.farm_id == farm_id,
            print_batch.c.block_id == block_id,
            print_batch.c.withdrawn_at.is_(None),
        )
        .group_by(print_batch.c.standard_version_id)
    )
    return {row[0]: row[1] for row in connection.execute(statement)}


def _lines(
    connection: sa.Connection, farm_id: int, where: sa.ColumnElement[bool] | None
) -> list[BatchLine]:
    def belongs(table: sa.Table, column: str) -> sa.ColumnElement[bool]:
        return sa.and_(
            table.c.farm_id == print_batch.c.farm_id, table.c.id == print_batch.c[column]
        )

    statement = (
        sa.select(
            *columns_of(print_batch, PrintBatch),
            block.c.name.label("block"),
            standard_version.c.version,
            standard_version.c.payload,
            printer.c.name.label("printer"),
            user_account.c.name.label("maker"),
        )
        .join(block, belongs(block, "block_id"))
        .join(standard_version, belongs(standard_version, "standard_version_id"))
        .outerjoin(printer, belongs(printer, "printer_id"))
        .outerjoin(user_account, belongs(user_account, "made_by"))
        .where(print_batch.c.farm_id == farm_id)
        .order_by(print_batch.c.number.desc())
    )
    if where is not None:
        statement = statement.where(where)
    found = []
    for row in connection.execute(statement):
        *values, block_name, version, payload, printer_name, maker = row
        found.append(
            BatchLine(PrintBatch(*values), block_name, version, payload, printer_name, maker)
        )
    return found
