"""What phones sent: receipts, remembered for ever."""

from collections.abc import Collection

import sqlalchemy as sa

from audits.records import ReceiptRow
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by_id
from audits.storage.tables import device, receipt
from audits.vocabulary import HeldBecause, ReceiptState

# What changed something when it came, or later, when a person decided so.
_EFFECTIVE = (ReceiptState.STORED, ReceiptState.TAKEN)


def farm_of_device(connection: sa.Connection, device_id: int) -> int | None:
    """Return the farm that a phone is enrolled at."""
    return connection.scalar(sa.select(device.c.farm_id).where(device.c.id == device_id))


def receipts_by_client_id(
    connection: sa.Connection, farm_id: int, client_ids: Collection[str]
) -> list[ReceiptRow]:
    """Return everything that came under some of these ids, oldest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(receipt, ReceiptRow))
        .where(receipt.c.farm_id == farm_id, receipt.c.client_id.in_(list(client_ids)))
        .order_by(receipt.c.id),
        ReceiptRow,
    )


def counters_used(
    connection: sa.Connection, farm_id: int, device_id: int, counters: Collection[int]
) -> dict[int, str]:
    """Return the ids under which a phone sent something by some of these counters."""
    rows = connection.execute(
        sa.select(receipt.c.device_counter, receipt.c.client_id)
        .where(
            receipt.c.farm_id == farm_id,
            receipt.c.device_id == device_id,
            receipt.c.device_counter.in_(list(counters)),
            sa.or_(
                receipt.c.held_because.is_(None),
                receipt.c.held_because.not_in([HeldBecause.DAMAGED, HeldBecause.ID_USED]),
            ),
        )
        .order_by(receipt.c.id.desc())
    )
    return {row.device_counter: row.client_id for row in rows}


def effects_after(
    connection: sa.Connection,
    farm_id: int,
    device_id: int,
    counter: int,
    *,
    audit_client_ids: Collection[str],
) -> list[ReceiptRow]:
    """Return what a phone counted after something in some audits, and what was not held back."""
    return fetch_all(
        connection,
        sa.select(*columns_of(receipt, ReceiptRow)).where(
            receipt.c.farm_id == farm_id,
            receipt.c.device_id == device_id,
            receipt.c.device_counter > counter,
            receipt.c.audit_client_id.in_(list(audit_client_ids)),
            receipt.c.state.in_(_EFFECTIVE),
        ),
        ReceiptRow,
    )


def held_count(connection: sa.Connection, farm_id: int) -> int:
    """Return how much waits for a decision."""
    return (
        connection.scalar(
            sa.select(sa.func.count()).where(
                receipt.c.farm_id == farm_id, receipt.c.state == ReceiptState.HELD
            )
        )
        or 0
    )


def held_receipts(connection: sa.Connection, farm_id: int) -> list[ReceiptRow]:
    """Return what waits for a person to decide, in the order in which it came."""
    return fetch_all(
        connection,
        sa.select(*columns_of(receipt, ReceiptRow))
        .where(receipt.c.farm_id == farm_id, receipt.c.state == ReceiptState.HELD)
        .order_by(receipt.c.id),
        ReceiptRow,
    )


def receipt_by_id(connection: sa.Connection, farm_id: int, receipt_id: int) -> ReceiptRow | None:
    """Return one receipt."""
    return fetch_by_id(connection, receipt, ReceiptRow, farm_id, receipt_id)
