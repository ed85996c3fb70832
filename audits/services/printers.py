"""Printers: how each turns its sheets over, and how far its backs are moved to meet the fronts."""

from typing import Final, NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import Actor, Printer
from audits.services.access import require_crew_lead
from audits.services.entries import Entries
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import printing as queries
from audits.storage.queries.fetch import insert
from audits.units import kept_length
from audits.vocabulary import TurnedOver

# Printers that are off by more have taken the sheet askew; moving the backs does not mend that.
MOST_MOVED_MM: Final = 5.0


class PrinterEntry(TypedDict):
    """What is entered for a printer."""

    name: str
    turned_over: TurnedOver
    back_right_mm: NotRequired[float]
    back_down_mm: NotRequired[float]


def list_printers(database: Database, actor: Actor, *, with_retired: bool = False) -> list[Printer]:
    """
    List the farm's printers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    with_retired : bool, optional
        Whether those that are not used any more are listed too.

    Returns
    -------
    list of Printer
        By name.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return queries.printers(connection, actor.farm_id, with_retired=with_retired)


def add_printer(database: Database, actor: Actor, **entry: Unpack[PrinterEntry]) -> int:
    """
    Add a printer.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    **entry : Unpack[PrinterEntry]
        What is entered; backs are not moved unless it says so.

    Returns
    -------
    int
        The printer's id.

    Raises
    ------
    InvalidInput
        If the name is missing or in use, or backs are moved too far; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        values = _checked(connection, actor.farm_id, entry, printer_id=None)
        return insert(
            connection, tables.printer, {"farm_id": actor.farm_id, "retired": False, **values}
        )


def edit_printer(
    database: Database, actor: Actor, printer_id: int, **entry: Unpack[PrinterEntry]
) -> None:
    """
    Rename a printer, or change its correction.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    printer_id : int
        The printer.
    **entry : Unpack[PrinterEntry]
        What is entered; backs are not moved unless it says so.

    Raises
    ------
    InvalidInput
        If the name is missing or in use, or backs are moved too far; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such printer.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        the_printer(connection, actor.farm_id, printer_id)
        values = _checked(connection, actor.farm_id, entry, printer_id=printer_id)
        _update(connection, actor.farm_id, printer_id, values)


def retire_printer(
    database: Database, actor: Actor, printer_id: int, *, retired: bool = True
) -> None:
    """
    Take a printer out of the choice, or back into it; its batches keep it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    printer_id : int
        The printer.
    retired : bool, optional
        Whether it is not used any more.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such printer.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        the_printer(connection, actor.farm_id, printer_id)
        _update(connection, actor.farm_id, printer_id, {"retired": retired})


def the_printer(connection: sa.Connection, farm_id: int, printer_id: int) -> Printer:
    """
    Return a printer of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    printer_id : int
        The printer.

    Returns
    -------
    Printer
        The printer.

    Raises
    ------
    NotFound
        If the farm has no such printer.
    """
    found = queries.printer_by_id(connection, farm_id, printer_id)
    if found is None:
        raise NotFound(say("There is no such printer."))
    return found


def _update(
    connection: sa.Connection, farm_id: int, printer_id: int, values: dict[str, object]
) -> None:
    connection.execute(
        tables.printer.update()
        .where(tables.printer.c.farm_id == farm_id, tables.printer.c.id == printer_id)
        .values(**values)
    )


def _checked(
    connection: sa.Connection, farm_id: int, entry: PrinterEntry, *, printer_id: int | None
) -> dict[str, object]:
    entries = Entries()
    name = entries.text("name", entry["name"], missing=say("Give the printer a name."))
    same_name = queries.printer_by_name(connection, farm_id, name)
    if same_name is not None and same_name.id != printer_id:
        entries.add("name", say("Another printer has this name."))
    moved = {
        "back_right_mm": entry.get("back_right_mm", 0.0),
        "back_down_mm": entry.get("back_down_mm", 0.0),
    }
    for field, mm in moved.items():
        entries.length(field, mm, least_mm=-MOST_MOVED_MM, most_mm=MOST_MOVED_MM)
    entries.stop_if_any()
    return {
        "name": name,
        "turned_over": entry["turned_over"],
        **{field: kept_length(mm) for field, mm in moved.items()},
    }
