"""Sign-in: accounts, passwords and sessions that the server can end."""

from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

import sqlalchemy as sa
from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Actor, User
from audits.services.access import require_role
from audits.storage.database import Database
from audits.storage.queries import accounts as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import user_account, user_session
from audits.vocabulary import Role

LEAST_PASSWORD_LENGTH: Final = 15
SESSION_LENGTH: Final = timedelta(hours=12)
LANGUAGES: Final = ("en", "es")

# Figures of design.md's dependency list: OWASP's lean argon2id profile.
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
# Spent on names that do not exist, so that a wrong name takes as long as a wrong password.
_NOBODYS_HASH: Final = (
    "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5cyBzYWx0ISE$DPvtP7RsCnkGTV3sDk1eD5oSVPv3VCvE6vWpGsPpJTo"
)
_FREE_FAILURES: Final = 5
_LONGEST_WAIT: Final = timedelta(minutes=15)


def add_user(
    database: Database,
    farm_id: int,
    *,
    name: str,
    password: str,
    role: Role,
    language: str,
    now: datetime,
    worker_id: int | None = None,
) -> int:
    """
    Add a person who can sign in.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    name : str
        Sign-in name, unique on the farm without regard to case.
    password : str
        At least 15 characters.
    role : Role
        What the person may see and do.
    language : str
        ``"en"`` or ``"es"``.
    now : datetime
        The present.
    worker_id : int or None, optional
        The worker's record; needed for the role of a worker.

    Returns
    -------
    int
        The account's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    """
    problems = {}
    if not name.strip():
        problems["name"] = say("Give a sign-in name.")
    if len(password) < LEAST_PASSWORD_LENGTH:
        problems["password"] = say(
            "Use at least %(least)s characters. A short sentence is easy to keep in mind.",
            least=LEAST_PASSWORD_LENGTH,
        )
    if role is Role.WORKER and worker_id is None:
        problems["worker_id"] = say("Choose whose records this person may see.")
    if problems:
        raise InvalidInput(problems)
    password_hash = _HASHER.hash(password)
    with database.write() as connection:
        if queries.user_by_name(connection, farm_id, name):
            raise InvalidInput({"name": say("This sign-in name is taken.")})
        return insert(
            connection,
            user_account,
            {
                "farm_id": farm_id,
                "name": name.strip(),
                "password_hash": password_hash,
                "role": role,
                "language": language,
                "worker_id": worker_id if role is Role.WORKER else None,
                "created_at": now,
            },
        )


def sign_in(
    database: Database, farm_id: int, name: str, password: str, *, token: str, now: datetime
) -> Actor:
    """
    Check a name and password and open a session.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    name, password : str
        As typed.
    token : str
        Fresh secret of the session; only its hash is stored.
    now : datetime
        The present.

    Returns
    -------
    Actor
        The person who signed in.

    Raises
    ------
    NotAllowed
        If the two do not belong together, the account is closed, or it must wait after failures;
        the sentence never tells whether the name exists.
    """
    with database.read() as connection:
        user = queries.user_by_name(connection, farm_id, name)
    if user is not None and _must_wait(user, now):
        raise NotAllowed(say("Too many tries. Wait a while, then try again."))
    matches = _matches(user.password_hash if user else _NOBODYS_HASH, password)
    welcome = user is not None and matches and user.disabled_at is None
    if user is not None:
        with database.write() as connection:
            if welcome:
                _open_session(connection, user, token, now)
            else:
                _count_failure(connection, user.id, now)
    if user is None or not welcome:
        raise NotAllowed(say("The name and the password do not belong together."))
    return _actor(user)


def actor_of_session(database: Database, token: str, now: datetime) -> Actor | None:
    """
    Return who a session belongs to, as the account stands now.

    Parameters
    ----------
    database : Database
        The farm's database.
    token : str
        The session's secret, as the browser holds it.
    now : datetime
        The present.

    Returns
    -------
    Actor or None
        None when the session is unknown, over, or its account closed.
    """
    with database.read() as connection:
        user = queries.user_of_session(
            connection, _token_hash(token), started_after=now - SESSION_LENGTH
        )
    return None if user is None or user.disabled_at is not None else _actor(user)


def sign_out(database: Database, token: str) -> None:
    """
    End a session.

    Parameters
    ----------
    database : Database
        The farm's database.
    token : str
        The session's secret.
    """
    with database.write() as connection:
        connection.execute(
            user_session.delete().where(user_session.c.token_hash == _token_hash(token))
        )


def choose_language(database: Database, actor: Actor, language: str) -> None:
    """
    Keep the language a person reads.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The person.
    language : str
        ``"en"`` or ``"es"``.

    Raises
    ------
    InvalidInput
        If the tool does not speak that language.
    """
    if language not in LANGUAGES:
        raise InvalidInput({"language": say("Choose one of the languages offered.")})
    with database.write() as connection:
        connection.execute(
            user_account.update()
            .where(user_account.c.farm_id == actor.farm_id, user_account.c.id == actor.user_id)
            .values(language=language)
        )


def disable_user(database: Database, actor: Actor, user_id: int, now: datetime) -> None:
    """
    Close an account and end its sessions at once.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner who does it.
    user_id : int
        Whose account.
    now : datetime
        The present.

    Raises
    ------
    NotFound
        If there is no such account on the farm.
    InvalidInput
        If owners would close their own account.
    """
    require_role(actor, Role.OWNER)
    if user_id == actor.user_id:
        raise InvalidInput({"user_id": say("You cannot close your own account.")})
    with database.write() as connection:
        closed = connection.execute(
            user_account.update()
            .where(user_account.c.farm_id == actor.farm_id, user_account.c.id == user_id)
            .values(disabled_at=now)
        )
        if closed.rowcount == 0:
            raise NotFound(say("There is no such account."))
        connection.execute(
            user_session.delete().where(
                user_session.c.farm_id == actor.farm_id,
                user_session.c.user_account_id == user_id,
            )
        )


def _must_wait(user: User, now: datetime) -> bool:
    """Double the wait from the fifth failure on, up to a quarter of an hour; never for ever."""
    if user.last_failure_at is None or user.failures < _FREE_FAILURES:
        return False
    wait = timedelta(seconds=2 ** min(user.failures - _FREE_FAILURES, 10))
    return now < user.last_failure_at + min(wait, _LONGEST_WAIT)


def _matches(password_hash: str, password: str) -> bool:
    try:
        return _HASHER.verify(password_hash, password)
    except VerifyMismatchError:
        return False


def _count_failure(connection: sa.Connection, user_id: int, now: datetime) -> None:
    connection.execute(
        user_account.update()
        .where(user_account.c.id == user_id)
        .values(failures=user_account.c.failures + 1, last_failure_at=now)
    )


def _open_session(connection: sa.Connection, user: User, token: str, now: datetime) -> None:
    connection.execute(
        user_account.update()
        .where(user_account.c.id == user.id)
        .values(failures=0, last_failure_at=None)
    )
    connection.execute(
        user_session.delete().where(user_session.c.created_at < now - SESSION_LENGTH)
    )
    insert(
        connection,
        user_session,
        {
            "farm_id": user.farm_id,
            "token_hash": _token_hash(token),
            "user_account_id": user.id,
            "created_at": now,
            "seen_at": now,
        },
    )


def _token_hash(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def _actor(user: User) -> Actor:
    return Actor(
        user_id=user.id,
        farm_id=user.farm_id,
        name=user.name,
        role=user.role,
        language=user.language,
        worker_id=user.worker_id,
    )
