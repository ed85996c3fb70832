"""Crews and the workers in them; a worker's name is kept apart from the code."""

from datetime import date
from typing import Final, NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.messages import Message, say
from audits.records import Actor
from audits.services.access import require_crew_lead
from audits.services.accounts import LANGUAGES
from audits.services.entries import Entries
from audits.services.farms.found import the_crew, the_worker
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import farms as queries
from audits.storage.queries.fetch import insert

LONGEST_CODE: Final = 12


class WorkerEntry(TypedDict):
    """What is entered for a worker."""

    code: str
    name: str
    language: str
    crew_id: int | None
    started_on: NotRequired[date | None]
    retired: NotRequired[bool]


def add_crew(database: Database, actor: Actor, *, name: str) -> int:
    """
    Add a crew.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    name : str
        Its name, unique on the farm without regard to case.

    Returns
    -------
    int
        The crew's id.

    Raises
    ------
    InvalidInput
        If the name is missing or in use.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        checked = _crew_name(connection, actor.farm_id, name, crew_id=None)
        return insert(
            connection,
            tables.crew,
            {"farm_id": actor.farm_id, "name": checked, "retired": False},
        )


def edit_crew(
    database: Database, actor: Actor, crew_id: int, *, name: str, retired: bool = False
) -> None:
    """
    Rename a crew, or retire it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    crew_id : int
        The crew.
    name : str
        Its name, unique on the farm without regard to case.
    retired : bool, optional
        Whether it is no longer offered for passes; its records stay.

    Raises
    ------
    InvalidInput
        If the name is missing or in use.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such crew.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        the_crew(connection, actor.farm_id, crew_id)
        checked = _crew_name(connection, actor.farm_id, name, crew_id=crew_id)
        connection.execute(
            tables.crew.update()
            .where(tables.crew.c.farm_id == actor.farm_id, tables.crew.c.id == crew_id)
            .values(name=checked, retired=retired)
        )


def _crew_name(connection: sa.Connection, farm_id: int, name: str, *, crew_id: int | None) -> str:
    entries = Entries()
    checked = entries.text("name", name, missing=say("Give the crew a name."))
    same_name = queries.crew_by_name(connection, farm_id, checked)
    if same_name is not None and same_name.id != crew_id:
        entries.add("name", say("Another crew has this name."))
    entries.stop_if_any()
    return checked


def add_worker(database: Database, actor: Actor, **entry: Unpack[WorkerEntry]) -> int:
    """
    Add a worker; the name is kept apart from the code.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    **entry : Unpack[WorkerEntry]
        What is entered.

    Returns
    -------
    int
        The worker's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the code is in use; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    missing = say("Give the worker's name.")
    with database.write() as connection:
        values, name = _worker_values(connection, actor.farm_id, entry, None, missing=missing)
        worker_id = insert(connection, tables.worker, {"farm_id": actor.farm_id, **values})
        _keep_name(connection, actor.farm_id, worker_id, name)
        return worker_id


def edit_worker(
    database: Database, actor: Actor, worker_id: int, **entry: Unpack[WorkerEntry]
) -> None:
    """
    Change a worker; an empty name erases it, and every record stays under the code.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    worker_id : int
        The worker.
    **entry : Unpack[WorkerEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the code is in use; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such worker.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        the_worker(connection, actor.farm_id, worker_id)
        values, name = _worker_values(connection, actor.farm_id, entry, worker_id, missing=None)
        connection.execute(
            tables.worker.update()
            .where(tables.worker.c.farm_id == actor.farm_id, tables.worker.c.id == worker_id)
            .values(**values)
        )
        _keep_name(connection, actor.farm_id, worker_id, name)


def _worker_values(
    connection: sa.Connection,
    farm_id: int,
    entry: WorkerEntry,
    worker_id: int | None,
    *,
    missing: Message | None,
) -> tuple[dict[str, object], str]:
    entries = Entries()
    name = entries.text("name", entry["name"], missing=missing)
    code = entries.text(
        "code", entry["code"], missing=say("Give the worker a code."), longest=LONGEST_CODE
    )
    same_code = queries.worker_by_code(connection, farm_id, code)
    if same_code is not None and same_code.id != worker_id:
        entries.add("code", say("Another worker has this code."))
    if entry["language"] not in LANGUAGES:
        entries.add("language", say("Choose one of the languages offered."))
    crew_id = entry["crew_id"]
    if crew_id is not None and queries.crew_by_id(connection, farm_id, crew_id) is None:
        entries.add("crew_id", say("Choose a crew from the list."))
    entries.stop_if_any()
    values: dict[str, object] = {
        "code": code,
        "language": entry["language"],
        "crew_id": crew_id,
        "started_on": entry.get("started_on"),
        "retired": entry.get("retired", False),
    }
    return values, name


def _keep_name(connection: sa.Connection, farm_id: int, worker_id: int, name: str) -> None:
    names = tables.worker_name
    connection.execute(
        names.delete().where(names.c.farm_id == farm_id, names.c.worker_id == worker_id)
    )
    if name:
        insert(connection, names, {"farm_id": farm_id, "worker_id": worker_id, "name": name})
