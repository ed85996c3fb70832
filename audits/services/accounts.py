"""Sign-in: accounts, passwords and sessions that the server can end."""

from datetime import datetime, timedelta
from typing import Final

import sqlalchemy as sa

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Actor, User
from audits.services.access import require_role
from audits.services.entries import LONGEST_TEXT, Entries, squeezed
from audits.services.hashing import NOBODYS_HASH, hashed, matches
from audits.services.sessions import (
    SESSION_LENGTH,
    end_sessions_of_user,
    open_session,
    token_hash,
)
from audits.storage.database import Database
from audits.storage.queries import accounts as queries
from audits.storage.queries.farms import worker_by_id
from audits.storage.queries.fetch import insert
from audits.storage.tables import user_account, user_session
from audits.vocabulary import Role

LEAST_PASSWORD_LENGTH: Final = 15
LANGUAGES: Final = ("en", "es")

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
    entries = Entries()
    _check_password(entries, password)
    # Hashed before the transaction: it takes its time on purpose, and writers go one at a time.
    password_hash = "" if entries.problems else hashed(password)
    with database.write() as connection:
        values = _account_values(
            connection, farm_id, None, entries, (name, role, language, worker_id)
        )
        return insert(
            connection,
            user_account,
            {
                "farm_id": farm_id,
                "password_hash": password_hash,
                "created_at": now,
                **values,
            },
        )


def admit_user(
    database: Database,
    actor: Actor,
    *,
    name: str,
    password: str,
    role: Role,
    language: str,
    now: datetime,
    worker_id: int | None = None,
) -> int:
    """
    Add a person who can sign in, on behalf of an owner.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner who does it.
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
    NotAllowed
        If the person is no owner.
    """
    require_role(actor, Role.OWNER)
    return add_user(
        database,
        actor.farm_id,
        name=name,
        password=password,
        role=role,
        language=language,
        now=now,
        worker_id=worker_id,
    )


def edit_user(
    database: Database,
    actor: Actor,
    user_id: int,
    *,
    name: str,
    role: Role,
    language: str,
    worker_id: int | None = None,
    password: str = "",
) -> None:
    """
    Change what a person is called, sees and reads, or give them a new password.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner who does it.
    user_id : int
        Whose account.
    name : str
        Sign-in name, unique on the farm without regard to case.
    role : Role
        What the person may see and do.
    language : str
        ``"en"`` or ``"es"``.
    worker_id : int or None, optional
        The worker's record; needed for the role of a worker.
    password : str, optional
        A new password of at least 15 characters, which ends the person's sessions; empty keeps
        the old one.

    Raises
    ------
    InvalidInput
        If a value cannot be taken, or owners would give up their own role; names each field.
    NotAllowed
        If the person is no owner.
    NotFound
        If there is no such account on the farm.
    """
    require_role(actor, Role.OWNER)
    entries = Entries()
    if user_id == actor.user_id and role is not Role.OWNER:
        entries.add("role", say("You cannot give up your own role."))
    if password:
        _check_password(entries, password)
    password_hash = hashed(password) if password and not entries.problems else None
    with database.write() as connection:
        before = queries.user_by_id(connection, actor.farm_id, user_id)
        if before is None:
            raise NotFound(say("There is no such account."))
        values = _account_values(
            connection, actor.farm_id, user_id, entries, (name, role, language, worker_id)
        )
        if password_hash is not None:
            values["password_hash"] = password_hash
            end_sessions_of_user(connection, actor.farm_id, user_id)
        connection.execute(_account(actor.farm_id, user_id).values(**values))


def reopen_user(database: Database, actor: Actor, user_id: int) -> None:
    """
    Open a closed account again; its password stays as it was.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner who does it.
    user_id : int
        Whose account.

    Raises
    ------
    NotAllowed
        If the person is no owner.
    NotFound
        If there is no such account on the farm.
    """
    require_role(actor, Role.OWNER)
    with database.write() as connection:
        opened = connection.execute(
            _account(actor.farm_id, user_id).values(disabled_at=None, failures=0)
        )
        if opened.rowcount == 0:
            raise NotFound(say("There is no such account."))


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
        user = queries.user_by_name(connection, farm_id, squeezed(name))
    if user is not None and _must_wait(user, now):
        raise NotAllowed(say("Too many tries. Wait a while, then try again."))
    fits = matches(user.password_hash if user else NOBODYS_HASH, password)
    welcome = user is not None and fits and user.disabled_at is None
    if user is not None:
        with database.write() as connection:
            if welcome:
                _open_session(connection, user, token, now)
            else:
                _count_failure(connection, user.id, now)
    if user is None or not welcome:
        raise NotAllowed(say("The name and the password do not belong together."))
    return _actor(user)


def confirm_password(database: Database, actor: Actor, password: str, *, now: datetime) -> None:
    """
    Make sure that whoever is there knows the password of a signed-in person.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The signed-in person.
    password : str
        As typed.
    now : datetime
        The present.

    Raises
    ------
    NotAllowed
        If it is another, or the account must wait after failures; failures count as at sign-in.
    """
    with database.read() as connection:
        user = queries.user_by_id(connection, actor.farm_id, actor.user_id)
    if user is None or _must_wait(user, now):
        raise NotAllowed(say("Too many tries. Wait a while, then try again."))
    fits = matches(user.password_hash, password)
    with database.write() as connection:
        if fits:
            connection.execute(
                _account(user.farm_id, user.id).values(failures=0, last_failure_at=None)
            )
        else:
            _count_failure(connection, user.id, now)
    if not fits:
        raise NotAllowed(say("That is not the password of %(name)s.", name=user.name))


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
            connection, token_hash(token), started_after=now - SESSION_LENGTH
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
            user_session.delete().where(user_session.c.token_hash == token_hash(token))
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
        connection.execute(_account(actor.farm_id, actor.user_id).values(language=language))


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
        closed = connection.execute(_account(actor.farm_id, user_id).values(disabled_at=now))
        if closed.rowcount == 0:
            raise NotFound(say("There is no such account."))
        end_sessions_of_user(connection, actor.farm_id, user_id)


def refuse_weak_password(password: str) -> None:
    """
    Look a new password through before anything is saved.

    Parameters
    ----------
    password : str
        As typed.

    Raises
    ------
    InvalidInput
        If it is too short or far too long.
    """
    entries = Entries()
    _check_password(entries, password)
    if entries.problems:
        raise InvalidInput(entries.problems)


def _check_password(entries: Entries, password: str) -> None:
    if len(password) < LEAST_PASSWORD_LENGTH:
        entries.add(
            "password",
            say(
                "Use at least %(least)s characters. A short sentence is easy to keep in mind.",
                least=LEAST_PASSWORD_LENGTH,
            ),
        )
    elif len(password) > LONGEST_TEXT:
        entries.add("password", say("Use at most %(longest)s characters.", longest=LONGEST_TEXT))


def _account_values(
    connection: sa.Connection,
    farm_id: int,
    user_id: int | None,
    entries: Entries,
    entered: tuple[str, Role, str, int | None],
) -> dict[str, object]:
    """Look through name, role, language and worker; refuse with every problem found."""
    name, role, language, worker_id = entered
    name = entries.text("name", name, missing=say("Give a sign-in name."))
    same_name = queries.user_by_name(connection, farm_id, name)
    if same_name is not None and same_name.id != user_id:
        entries.add("name", say("This sign-in name is taken."))
    if language not in LANGUAGES:
        entries.add("language", say("Choose one of the languages offered."))
    if role is Role.WORKER:
        _check_worker(connection, farm_id, user_id, entries, worker_id)
    entries.stop_if_any()
    return {
        "name": name,
        "role": role,
        "language": language,
        "worker_id": worker_id if role is Role.WORKER else None,
    }


def _check_worker(
    connection: sa.Connection,
    farm_id: int,
    user_id: int | None,
    entries: Entries,
    worker_id: int | None,
) -> None:
    if worker_id is None or worker_by_id(connection, farm_id, worker_id) is None:
        entries.add("worker_id", say("Choose whose records this person may see."))
        return
    others = (user for user in queries.users(connection, farm_id) if user.id != user_id)
    taken = next((user for user in others if user.worker_id == worker_id), None)
    if taken is not None:
        entries.add("worker_id", say("%(name)s sees these records already.", name=taken.name))


def _account(farm_id: int, user_id: int) -> sa.Update:
    return user_account.update().where(
        user_account.c.farm_id == farm_id, user_account.c.id == user_id
    )


def _must_wait(user: User, now: datetime) -> bool:
    """Double the wait from the fifth failure on, up to a quarter of an hour; never for ever."""
    if user.last_failure_at is None or user.failures < _FREE_FAILURES:
        return False
    wait = timedelta(seconds=2 ** min(user.failures - _FREE_FAILURES, 10))
    return now < user.last_failure_at + min(wait, _LONGEST_WAIT)


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
    open_session(connection, user.farm_id, user.id, token, now)


def _actor(user: User) -> Actor:
    return Actor(
        user_id=user.id,
        farm_id=user.farm_id,
        name=user.name,
        role=user.role,
        language=user.language,
        worker_id=user.worker_id,
    )
