"""Accounts and sessions."""

from datetime import datetime

import sqlalchemy as sa

from audits.records import Farm, User
from audits.storage.letters import small_letters
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import farm, user_account, user_session


def only_farm(connection: sa.Connection) -> Farm | None:
    """Return the farm of this database, or None before it is set up."""
    return fetch_one(connection, sa.select(farm).order_by(farm.c.id).limit(1), Farm)


def user_by_name(connection: sa.Connection, farm_id: int, name: str) -> User | None:
    """Return the account with a sign-in name, without regard to case."""
    return fetch_one(
        connection,
        sa.select(*columns_of(user_account, User)).where(
            user_account.c.farm_id == farm_id,
            small_letters(user_account.c.name) == name.strip().lower(),
        ),
        User,
    )


def user_by_id(connection: sa.Connection, farm_id: int, user_id: int) -> User | None:
    """Return one account."""
    return fetch_one(
        connection,
        sa.select(*columns_of(user_account, User)).where(
            user_account.c.farm_id == farm_id, user_account.c.id == user_id
        ),
        User,
    )


def user_of_session(
    connection: sa.Connection, token_hash: str, *, started_after: datetime
) -> User | None:
    """Return the account that a session belongs to, unless the session is too old."""
    return fetch_one(
        connection,
        sa.select(*columns_of(user_account, User))
        .join(
            user_session,
            sa.and_(
                user_session.c.farm_id == user_account.c.farm_id,
                user_session.c.user_account_id == user_account.c.id,
            ),
        )
        .where(user_session.c.token_hash == token_hash, user_session.c.created_at > started_after),
        User,
    )


def users(connection: sa.Connection, farm_id: int) -> list[User]:
    """Return every account of the farm, by name."""
    return fetch_all(
        connection,
        sa.select(*columns_of(user_account, User))
        .where(user_account.c.farm_id == farm_id)
        .order_by(small_letters(user_account.c.name)),
        User,
    )
