"""The planting map: what stands at each position of a row from a day on."""

from datetime import date
from typing import NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.errors import InvalidInput
from audits.messages import say
from audits.planting import Planting, check_plantings
from audits.planting import bearing_positions as bearing_positions_of
from audits.records import Actor, Block, PlantingRow, Row
from audits.services.access import require_crew_lead
from audits.services.entries import Entries
from audits.services.farms.found import the_block, the_row
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import farms as queries
from audits.storage.queries.fetch import insert
from audits.vocabulary import PlantingKind


class PlantingEntry(TypedDict):
    """What is entered for a stretch of a row; `since` is the first day on which it stands."""

    first_position: int
    last_position: int
    kind: PlantingKind
    since: date
    cultivar: NotRequired[str]
    year: NotRequired[int | None]


def add_planting(
    database: Database,
    actor: Actor,
    row_id: int,
    *,
    today: date | None = None,
    **entry: Unpack[PlantingEntry],
) -> int:
    """
    Correct the planting map: what stands on a stretch of a row from a day on.

    What stood there before stays in the history. Of two entries for one position and day, the
    one entered later holds.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    row_id : int
        The row.
    today : date or None, optional
        The present day, to refuse a day still to come.
    **entry : Unpack[PlantingEntry]
        What is entered; a missing cultivar is the block's for bearing trees and replants.

    Returns
    -------
    int
        The planting's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the stretch goes beyond the row; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such row.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        return insert_planting(connection, actor.farm_id, row_id, entry, today=today)


def insert_planting(
    connection: sa.Connection,
    farm_id: int,
    row_id: int,
    entry: PlantingEntry,
    *,
    today: date | None = None,
) -> int:
    """
    Correct the planting map within the transaction of another use case.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open write transaction.
    farm_id : int
        The farm.
    row_id : int
        The row.
    entry : PlantingEntry
        What is entered; a missing cultivar is the block's for bearing trees and replants.
    today : date or None, optional
        The present day, to refuse a day still to come.

    Returns
    -------
    int
        The planting's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the stretch goes beyond the row; names each field.
    NotFound
        If the farm has no such row.
    """
    row = the_row(connection, farm_id, row_id)
    block = the_block(connection, farm_id, row.block_id)
    planting = _checked_planting(entry, row, block, today)
    return insert(
        connection,
        tables.planting,
        {
            "farm_id": farm_id,
            "orchard_row_id": row_id,
            "first_position": planting.first_position,
            "last_position": planting.last_position,
            "kind": planting.kind,
            "cultivar": planting.cultivar or "",
            "year": planting.year,
            "since": planting.since,
        },
    )


def _checked_planting(entry: PlantingEntry, row: Row, block: Block, today: date | None) -> Planting:
    entries = Entries()
    kind = entry["kind"]
    cultivar = entries.text("cultivar", entry.get("cultivar", ""))
    of_the_block = kind in (PlantingKind.BEARING, PlantingKind.REPLANT)
    if of_the_block and cultivar and cultivar.casefold() != block.cultivar.casefold():
        entries.add(
            "cultivar",
            say(
                "This block is %(cultivar)s. For anything else choose another kind of tree.",
                cultivar=block.cultivar,
            ),
        )
    if kind in (PlantingKind.DEAD, PlantingKind.MISSING):
        cultivar = ""
    planting = Planting(
        first_position=entry["first_position"],
        last_position=entry["last_position"],
        kind=kind,
        cultivar=block.cultivar if of_the_block else cultivar,
        year=entry.get("year"),
        since=entry["since"],
    )
    entries.year("year", planting.year)
    if today is not None and planting.since > today:
        entries.add("since", say("This day is still to come."))
    try:
        check_plantings([planting], row.tree_count)
    except InvalidInput as error:
        for field, sentence in error.problems.items():
            entries.add(field.removeprefix("0."), sentence)
    if planting.first_position == planting.last_position and "first_position" in entries.problems:
        # One place alone is at fault once.
        entries.problems.pop("last_position", None)
    entries.stop_if_any()
    return planting


def bearing_positions(
    connection: sa.Connection, farm_id: int, row_id: int, on: date
) -> tuple[int, ...]:
    """
    Return the positions of a row that belong to a lot on a day.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    row_id : int
        The row.
    on : date
        The day, such as the first day of the pass.

    Returns
    -------
    tuple of int
        Positions with a bearing tree of the block's cultivar, in order.
    """
    history = queries.plantings_of_row(connection, farm_id, row_id)
    return bearing_positions_of([planting_of(record) for record in history], on)


def bearing_positions_by_row(
    connection: sa.Connection, farm_id: int, block_id: int, on: date
) -> dict[int, tuple[int, ...]]:
    """
    Return the positions of every row of a block that belong to a lot on a day.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    block_id : int
        The block.
    on : date
        The day, such as the first day of the pass.

    Returns
    -------
    dict of int to tuple of int
        By row id, in the order of the rows' numbers; positions in order.
    """
    histories: dict[int, list[Planting]] = {
        row.id: [] for row in queries.rows_of_block(connection, farm_id, block_id)
    }
    for record in queries.plantings_of_block(connection, farm_id, block_id):
        histories[record.orchard_row_id].append(planting_of(record))
    return {row_id: bearing_positions_of(history, on) for row_id, history in histories.items()}


def planting_of(record: PlantingRow) -> Planting:
    """
    Return what the rules of the planting map work on.

    Parameters
    ----------
    record : PlantingRow
        As stored.

    Returns
    -------
    Planting
        The same without ids.
    """
    return Planting(
        first_position=record.first_position,
        last_position=record.last_position,
        kind=record.kind,
        cultivar=record.cultivar or None,
        year=record.year,
        since=record.since,
        until=record.until,
    )
