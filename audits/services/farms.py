"""Set-up: the farm, its blocks, rows and plantings, its crews and workers."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Final, NotRequired, TypedDict, Unpack
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from babel import Locale

from audits.errors import InvalidInput, NotFound
from audits.messages import Message, Units, say
from audits.planting import Planting, check_plantings
from audits.planting import bearing_positions as bearing_positions_of
from audits.records import Actor, Block, Crew, PlantingRow, Row, Worker
from audits.services.access import require_crew_lead, require_role
from audits.services.accounts import LANGUAGES
from audits.services.entries import LONGEST_TEXT, Entries, squeezed
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import farms as queries
from audits.storage.queries.fetch import insert, insert_many
from audits.vocabulary import BearingHabit, PlantingKind, Role

LONGEST_CODE: Final = 12
MOST_ROWS_AT_ONCE: Final = 500
MOST_TREES_IN_ROW: Final = 5_000
HIGHEST_ROW_NUMBER: Final = 9_999

# Apples have stood on dwarfing rootstocks for about a century; no row is planted for later years.
_EARLIEST_YEAR: Final = 1900
_LATEST_YEAR: Final = 2100
# From the narrowest fruiting wall to the widest old orchard; a wrong unit falls outside.
_ROW_SPACING_MM: Final = (1_000.0, 12_000.0)
_TREE_SPACING_MM: Final = (150.0, 10_000.0)
_TOP_WIRE_MM: Final = (600.0, 8_000.0)


class FarmEntry(TypedDict):
    """What is entered for a farm; the row word is the farm's own word for a row."""

    name: str
    units: Units
    region: str
    language: str
    time_zone: str
    season_start_month: int
    row_word: NotRequired[str]
    emergency_location: NotRequired[str]
    first_aider: NotRequired[str]


class BlockEntry(TypedDict):
    """What is entered for a block; lengths in mm."""

    name: str
    cultivar: str
    habit: BearingHabit
    rootstock: str
    row_spacing_mm: float
    tree_spacing_mm: float
    top_wire_mm: NotRequired[float | None]
    planting_year: NotRequired[int | None]
    young: NotRequired[bool]
    low_bloom: NotRequired[bool]
    emergency_location: NotRequired[str]
    retired: NotRequired[bool]


class RowsEntry(TypedDict):
    """What is entered for rows that are alike; `since` is the first day of the planting."""

    first_number: int
    last_number: int
    start_end: str
    tree_count: int
    since: date
    posts: NotRequired[int | None]
    trees_per_panel: NotRequired[int | None]


class RowEntry(TypedDict):
    """What is entered for one row."""

    number: int
    start_end: str
    tree_count: int
    posts: NotRequired[int | None]
    trees_per_panel: NotRequired[int | None]


class PlantingEntry(TypedDict):
    """What is entered for a stretch of a row; `since` is the first day on which it stands."""

    first_position: int
    last_position: int
    kind: PlantingKind
    since: date
    cultivar: NotRequired[str]
    year: NotRequired[int | None]


class WorkerEntry(TypedDict):
    """What is entered for a worker."""

    code: str
    name: str
    language: str
    crew_id: int | None
    started_on: NotRequired[date | None]
    retired: NotRequired[bool]


# --- the farm ----------------------------------------------------------------------------------


def create_farm(database: Database, **entry: Unpack[FarmEntry]) -> int:
    """
    Set up the farm; nobody can be signed in yet.

    Parameters
    ----------
    database : Database
        The farm's database.
    **entry : Unpack[FarmEntry]
        What is entered.

    Returns
    -------
    int
        The farm's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    """
    values = _farm_values(entry)
    with database.write() as connection:
        return insert(connection, tables.farm, values)


def edit_farm(database: Database, actor: Actor, **entry: Unpack[FarmEntry]) -> None:
    """
    Change the farm's settings.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner.
    **entry : Unpack[FarmEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    NotAllowed
        If the person is no owner.
    """
    require_role(actor, Role.OWNER)
    values = _farm_values(entry)
    with database.write() as connection:
        connection.execute(
            tables.farm.update().where(tables.farm.c.id == actor.farm_id).values(**values)
        )


def _farm_values(entry: FarmEntry) -> dict[str, object]:
    entries = Entries()
    values: dict[str, object] = {
        **entry,
        "name": entries.text("name", entry["name"], missing=say("Give the farm a name.")),
        "region": entry["region"].strip().upper(),
        "row_word": entries.text("row_word", entry.get("row_word", ""), longest=20),
        "emergency_location": entries.text(
            "emergency_location", entry.get("emergency_location", ""), longest=LONGEST_TEXT
        ),
        "first_aider": entries.text(
            "first_aider", entry.get("first_aider", ""), longest=LONGEST_TEXT
        ),
    }
    if values["region"] not in _regions():
        entries.add("region", say("Choose a country from the list."))
    if entry["language"] not in LANGUAGES:
        entries.add("language", say("Choose one of the languages offered."))
    if not _is_time_zone(entry["time_zone"]):
        entries.add("time_zone", say("Choose a time zone from the list."))
    entries.whole("season_start_month", entry["season_start_month"], least=1, most=12)
    entries.stop_if_any()
    return values


def _regions() -> frozenset[str]:
    two_letters = 2
    return frozenset(
        code
        for code in map(str, Locale("en").territories)
        if len(code) == two_letters and code.isalpha() and code != "ZZ"
    )


def _is_time_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


# --- blocks ------------------------------------------------------------------------------------


def add_block(
    database: Database, actor: Actor, *, today: date | None = None, **entry: Unpack[BlockEntry]
) -> int:
    """
    Add a block.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    today : date or None, optional
        The present day, to refuse a planting year still to come.
    **entry : Unpack[BlockEntry]
        What is entered.

    Returns
    -------
    int
        The block's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the name is in use; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        same_name = queries.block_by_name(connection, actor.farm_id, squeezed(entry["name"]))
        values = _block_values(entry, name_taken=same_name is not None, today=today)
        return insert(connection, tables.block, {"farm_id": actor.farm_id, **values})


def edit_block(
    database: Database,
    actor: Actor,
    block_id: int,
    *,
    today: date | None = None,
    **entry: Unpack[BlockEntry],
) -> None:
    """
    Change a block; a corrected cultivar is corrected in its planting map too.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    block_id : int
        The block.
    today : date or None, optional
        The present day, to refuse a planting year still to come.
    **entry : Unpack[BlockEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or the name is in use; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such block.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        before = the_block(connection, actor.farm_id, block_id)
        same_name = queries.block_by_name(connection, actor.farm_id, squeezed(entry["name"]))
        values = _block_values(
            entry, name_taken=same_name is not None and same_name.id != block_id, today=today
        )
        connection.execute(
            tables.block.update()
            .where(tables.block.c.farm_id == actor.farm_id, tables.block.c.id == block_id)
            .values(**values)
        )
        if values["cultivar"] != before.cultivar:
            _rename_cultivar(connection, actor.farm_id, before, str(values["cultivar"]))


def _block_values(entry: BlockEntry, *, name_taken: bool, today: date | None) -> dict[str, object]:
    entries = Entries()
    values: dict[str, object] = {
        "top_wire_mm": None,
        "planting_year": None,
        "young": False,
        "low_bloom": False,
        "retired": False,
        **entry,
        "name": entries.text("name", entry["name"], missing=say("Give the block a name.")),
        "cultivar": entries.text("cultivar", entry["cultivar"], missing=say("Name the cultivar.")),
        "rootstock": entries.text("rootstock", entry["rootstock"]),
        "emergency_location": entries.text(
            "emergency_location", entry.get("emergency_location", ""), longest=LONGEST_TEXT
        ),
    }
    if name_taken:
        entries.add("name", say("Another block has this name."))
    for field, mm, (least_mm, most_mm) in (
        ("row_spacing_mm", entry["row_spacing_mm"], _ROW_SPACING_MM),
        ("tree_spacing_mm", entry["tree_spacing_mm"], _TREE_SPACING_MM),
        ("top_wire_mm", entry.get("top_wire_mm"), _TOP_WIRE_MM),
    ):
        entries.length(field, mm, least_mm=least_mm, most_mm=most_mm)
    _check_year(entries, "planting_year", entry.get("planting_year"), today)
    entries.stop_if_any()
    return values


def _rename_cultivar(connection: sa.Connection, farm_id: int, before: Block, cultivar: str) -> None:
    rows_of_the_block = sa.select(tables.orchard_row.c.id).where(
        tables.orchard_row.c.farm_id == farm_id, tables.orchard_row.c.block_id == before.id
    )
    connection.execute(
        tables.planting.update()
        .where(
            tables.planting.c.farm_id == farm_id,
            tables.planting.c.orchard_row_id.in_(rows_of_the_block),
            tables.planting.c.cultivar == before.cultivar,
        )
        .values(cultivar=cultivar)
    )


# --- rows and plantings ------------------------------------------------------------------------


def add_rows(
    database: Database, actor: Actor, block_id: int, **entry: Unpack[RowsEntry]
) -> list[int]:
    """
    Add rows that are alike; every position bears a tree of the block until the map says otherwise.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    block_id : int
        The block.
    **entry : Unpack[RowsEntry]
        What is entered.

    Returns
    -------
    list of int
        The rows' ids, by number.

    Raises
    ------
    InvalidInput
        If a value cannot be taken or a number is in use in the block; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such block.
    """
    require_crew_lead(actor)
    first, last = entry["first_number"], entry["last_number"]
    with database.write() as connection:
        block = the_block(connection, actor.farm_id, block_id)
        there = {row.number for row in queries.rows_of_block(connection, actor.farm_id, block_id)}
        entries = Entries()
        entries.whole("first_number", first, least=1, most=HIGHEST_ROW_NUMBER)
        if last != first:
            entries.whole("last_number", last, least=1, most=HIGHEST_ROW_NUMBER)
        if last < first:
            entries.add("last_number", say("The last row comes before the first."))
        elif last - first >= MOST_ROWS_AT_ONCE:
            entries.add(
                "last_number", say("Add at most %(most)s rows at once.", most=MOST_ROWS_AT_ONCE)
            )
        else:
            _check_free(entries, "first_number", there.intersection(range(first, last + 1)))
        values = _row_values(
            entries,
            start_end=entry["start_end"],
            tree_count=entry["tree_count"],
            posts=entry.get("posts"),
            trees_per_panel=entry.get("trees_per_panel"),
        )
        entries.stop_if_any()
        return [
            _insert_row(
                connection, actor.farm_id, block, {**values, "number": number}, entry["since"]
            )
            for number in range(first, last + 1)
        ]


def edit_row(database: Database, actor: Actor, row_id: int, **entry: Unpack[RowEntry]) -> None:
    """
    Correct a row.

    A longer row gets bearing trees at its new positions, as if they had been counted from the
    start; a shorter one loses those at its end, unless a pass has been there.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    row_id : int
        The row.
    **entry : Unpack[RowEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken, the number is in use in the block, or a pass has been to
        positions that would be lost; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such row.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        row = the_row(connection, actor.farm_id, row_id)
        others = queries.rows_of_block(connection, actor.farm_id, row.block_id)
        entries = Entries()
        entries.whole("number", entry["number"], least=1, most=HIGHEST_ROW_NUMBER)
        _check_free(
            entries,
            "number",
            {entry["number"]} & {other.number for other in others if other.id != row_id},
        )
        values = _row_values(
            entries,
            start_end=entry["start_end"],
            tree_count=entry["tree_count"],
            posts=entry.get("posts"),
            trees_per_panel=entry.get("trees_per_panel"),
        )
        in_use = queries.last_position_in_use(connection, actor.farm_id, row_id)
        if entry["tree_count"] < in_use:
            entries.add(
                "tree_count",
                say("A pass has been to position %(position)s of this row.", position=in_use),
            )
        entries.stop_if_any()
        connection.execute(
            tables.orchard_row.update()
            .where(tables.orchard_row.c.farm_id == actor.farm_id, tables.orchard_row.c.id == row_id)
            .values(number=entry["number"], **values)
        )
        _fit_plantings(connection, actor.farm_id, row, entry["tree_count"])


def _check_free(entries: Entries, field: str, taken: Iterable[int]) -> None:
    numbers = sorted(taken)
    if len(numbers) == 1:
        entries.add(field, say("The block has a row %(number)s already.", number=str(numbers[0])))
    elif numbers:
        entries.add(
            field,
            say(
                "The block has rows %(numbers)s already.",
                numbers=", ".join(map(str, numbers[:5])) + (" \u2026" if numbers[5:] else ""),
            ),
        )


def _row_values(
    entries: Entries,
    *,
    start_end: str,
    tree_count: int,
    posts: int | None,
    trees_per_panel: int | None,
) -> dict[str, object]:
    start = entries.text(
        "start_end",
        start_end,
        missing=say("Say at which end the row starts, such as north or road."),
        longest=40,
    )
    entries.whole("tree_count", tree_count, least=1, most=MOST_TREES_IN_ROW)
    entries.whole("posts", posts, least=2, most=1_000)
    entries.whole("trees_per_panel", trees_per_panel, least=1, most=200)
    if posts is not None and trees_per_panel is not None:
        # Rows may begin and end between posts, so that there is a part of a panel at either end.
        room = (posts + 1) * trees_per_panel
        if tree_count > room:
            entries.add(
                "posts",
                say(
                    "%(posts)s posts with %(trees)s trees to a panel have room for at most"
                    " %(room)s trees.",
                    posts=posts,
                    trees=trees_per_panel,
                    room=room,
                ),
            )
    return {
        "start_end": start,
        "tree_count": tree_count,
        "posts": posts,
        "trees_per_panel": trees_per_panel,
    }


def _insert_row(
    connection: sa.Connection,
    farm_id: int,
    block: Block,
    values: Mapping[str, object],
    since: date,
) -> int:
    row_id = insert(
        connection,
        tables.orchard_row,
        {"farm_id": farm_id, "block_id": block.id, **values},
    )
    insert(
        connection,
        tables.planting,
        {
            "farm_id": farm_id,
            "orchard_row_id": row_id,
            "first_position": 1,
            "last_position": values["tree_count"],
            "kind": PlantingKind.BEARING,
            "cultivar": block.cultivar,
            "year": _year_stood(block.planting_year, since),
            "since": since,
        },
    )
    return row_id


def _year_stood(planting_year: int | None, since: date) -> int | None:
    """Leave the block's year out where the row was planted earlier than that."""
    return planting_year if planting_year is None or planting_year <= since.year else None


def _fit_plantings(connection: sa.Connection, farm_id: int, before: Row, tree_count: int) -> None:
    """Let the planting map end where the row ends."""
    planting = tables.planting
    of_the_row = sa.and_(planting.c.farm_id == farm_id, planting.c.orchard_row_id == before.id)
    if tree_count < before.tree_count:
        connection.execute(
            planting.delete().where(of_the_row, planting.c.first_position > tree_count)
        )
        connection.execute(
            planting.update()
            .where(of_the_row, planting.c.last_position > tree_count)
            .values(last_position=tree_count)
        )
    elif tree_count > before.tree_count:
        history = queries.plantings_of_row(connection, farm_id, before.id)
        block = the_block(connection, farm_id, before.block_id)
        insert_many(
            connection,
            planting,
            [
                {
                    "farm_id": farm_id,
                    "orchard_row_id": before.id,
                    "first_position": before.tree_count + 1,
                    "last_position": tree_count,
                    "kind": PlantingKind.BEARING,
                    "cultivar": block.cultivar,
                    "year": _year_stood(block.planting_year, earliest.since),
                    "since": earliest.since,
                }
                for earliest in history[:1]
            ],
        )


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
    entries.whole("year", planting.year, least=_EARLIEST_YEAR, most=_LATEST_YEAR)
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


# --- crews and workers -------------------------------------------------------------------------


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


# --- found or refused --------------------------------------------------------------------------


def the_block(connection: sa.Connection, farm_id: int, block_id: int) -> Block:
    """
    Return a block of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    block_id : int
        The block.

    Returns
    -------
    Block
        The block.

    Raises
    ------
    NotFound
        If the farm has no such block.
    """
    block = queries.block_by_id(connection, farm_id, block_id)
    if block is None:
        raise NotFound(say("There is no such block."))
    return block


def the_row(connection: sa.Connection, farm_id: int, row_id: int) -> Row:
    """
    Return a row of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    row_id : int
        The row.

    Returns
    -------
    Row
        The row.

    Raises
    ------
    NotFound
        If the farm has no such row.
    """
    row = queries.row_by_id(connection, farm_id, row_id)
    if row is None:
        raise NotFound(say("There is no such row."))
    return row


def the_crew(connection: sa.Connection, farm_id: int, crew_id: int) -> Crew:
    """
    Return a crew of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    crew_id : int
        The crew.

    Returns
    -------
    Crew
        The crew.

    Raises
    ------
    NotFound
        If the farm has no such crew.
    """
    crew = queries.crew_by_id(connection, farm_id, crew_id)
    if crew is None:
        raise NotFound(say("There is no such crew."))
    return crew


def the_worker(connection: sa.Connection, farm_id: int, worker_id: int) -> Worker:
    """
    Return a worker of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    worker_id : int
        The worker.

    Returns
    -------
    Worker
        The worker.

    Raises
    ------
    NotFound
        If the farm has no such worker.
    """
    worker = queries.worker_by_id(connection, farm_id, worker_id)
    if worker is None:
        raise NotFound(say("There is no such worker."))
    return worker


def _check_year(entries: Entries, field: str, year: int | None, today: date | None) -> None:
    latest = _LATEST_YEAR if today is None else today.year
    entries.whole(field, year, least=_EARLIEST_YEAR, most=latest)
