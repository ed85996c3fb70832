"""Enrolled phones, the offers to enrol one, and the sessions that phones have open."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from audits.records import DeviceRow
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by_id, fetch_one
from audits.storage.tables import device, enrolment, user_session


@dataclass(frozen=True)
class OfferRow:
    """An offer to enrol one phone for one person."""

    id: int
    user_account_id: int
    created_by: int
    expires_at: datetime
    used_at: datetime | None


def device_by_id(connection: sa.Connection, farm_id: int, device_id: int) -> DeviceRow | None:
    """Return one phone, revoked ones too."""
    return fetch_by_id(connection, device, DeviceRow, farm_id, device_id)


def device_by_uid(connection: sa.Connection, farm_id: int, uid: str) -> DeviceRow | None:
    """Return the phone that knows itself by a uid, revoked ones too."""
    return fetch_one(
        connection,
        sa.select(*columns_of(device, DeviceRow)).where(
            device.c.farm_id == farm_id, device.c.uid == uid
        ),
        DeviceRow,
    )


def devices(
    connection: sa.Connection, farm_id: int, *, user_id: int | None = None
) -> list[DeviceRow]:
    """Return the farm's phones, or one person's, in the order in which they were enrolled."""
    statement = sa.select(*columns_of(device, DeviceRow)).where(device.c.farm_id == farm_id)
    if user_id is not None:
        statement = statement.where(device.c.user_account_id == user_id)
    return fetch_all(connection, statement.order_by(device.c.id), DeviceRow)


def device_with_key(
    connection: sa.Connection, farm_id: int, public_key: Mapping[str, Any]
) -> DeviceRow | None:
    """Return the phone that holds the other half of a key, the latest where several did."""
    # Compared here: the two databases compare JSON each in its own way, and a farm has few phones.
    found = [row for row in devices(connection, farm_id) if row.public_key == public_key]
    return found[-1] if found else None


def pin_hash(connection: sa.Connection, farm_id: int, device_id: int) -> str | None:
    """Return the hash of a phone's six digits, which no record carries about."""
    return connection.scalar(
        sa.select(device.c.pin_hash).where(device.c.farm_id == farm_id, device.c.id == device_id)
    )


def offer_by_hash(connection: sa.Connection, farm_id: int, token_hash: str) -> OfferRow | None:
    """Return the offer that belongs to the hash of a token."""
    return fetch_one(
        connection,
        sa.select(*columns_of(enrolment, OfferRow)).where(
            enrolment.c.farm_id == farm_id, enrolment.c.token_hash == token_hash
        ),
        OfferRow,
    )


def device_of_session(
    connection: sa.Connection, token_hash: str, *, started_after: datetime
) -> DeviceRow | None:
    """Return the phone that a session is bound to, unless the session is too old."""
    return fetch_one(
        connection,
        sa.select(*columns_of(device, DeviceRow))
        .join(
            user_session,
            sa.and_(
                user_session.c.farm_id == device.c.farm_id,
                user_session.c.device_id == device.c.id,
            ),
        )
        .where(user_session.c.token_hash == token_hash, user_session.c.created_at > started_after),
        DeviceRow,
    )


def has_session(connection: sa.Connection, device_id: int, *, started_after: datetime) -> bool:
    """Tell whether a phone has a session that is not too old."""
    return bool(
        connection.scalar(
            sa.select(
                sa.exists().where(
                    user_session.c.device_id == device_id,
                    user_session.c.created_at > started_after,
                )
            )
        )
    )
