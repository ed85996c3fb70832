"""Sessions that the server can end: opened by a password or by an enrolled phone."""

from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

import sqlalchemy as sa

from audits.storage.queries.fetch import insert
from audits.storage.tables import user_session

SESSION_LENGTH: Final = timedelta(hours=12)


def token_hash(token: str) -> str:
    """
    Return what is stored of a secret that is random enough to need no slow hash.

    Parameters
    ----------
    token : str
        Made at random: at least 60 bits where it is good for minutes, 128 where for longer.

    Returns
    -------
    str
        Its SHA-256, in hexadecimal digits.
    """
    return sha256(token.encode()).hexdigest()


def open_session(
    connection: sa.Connection,
    farm_id: int,
    user_id: int,
    token: str,
    now: datetime,
    *,
    device_id: int | None = None,
) -> None:
    """
    Open a session, and clear away those that are over.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A transaction that writes.
    farm_id : int
        The farm.
    user_id : int
        Who is signed in by it.
    token : str
        Fresh secret of the session; only its hash is stored.
    now : datetime
        The present.
    device_id : int or None, optional
        The enrolled phone that it is bound to; it ends with the phone.
    """
    connection.execute(
        user_session.delete().where(user_session.c.created_at < now - SESSION_LENGTH)
    )
    insert(
        connection,
        user_session,
        {
            "farm_id": farm_id,
            "token_hash": token_hash(token),
            "user_account_id": user_id,
            "device_id": device_id,
            "created_at": now,
            "seen_at": now,
        },
    )


def end_sessions_of_user(connection: sa.Connection, farm_id: int, user_id: int) -> None:
    """
    End every session of a person, at desks and on phones.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A transaction that writes.
    farm_id : int
        The farm.
    user_id : int
        Whose.
    """
    connection.execute(
        user_session.delete().where(
            user_session.c.farm_id == farm_id, user_session.c.user_account_id == user_id
        )
    )


def end_sessions_of_device(connection: sa.Connection, farm_id: int, device_id: int) -> None:
    """
    End every session of a phone.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A transaction that writes.
    farm_id : int
        The farm.
    device_id : int
        The phone.
    """
    connection.execute(
        user_session.delete().where(
            user_session.c.farm_id == farm_id, user_session.c.device_id == device_id
        )
    )
