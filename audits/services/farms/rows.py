"""Rows: added together where they are alike, corrected one by one."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Final, NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.messages import say
from audits.records import Actor, Block, Row
from audits.services.access import require_crew_lead
from audits.services.entries import Entries
from audits.services.farms.found import the_block, the_row
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import farms as queries
from audits.storage.queries.fetch import insert, insert_many
from audits.vocabulary import PlantingKind

MOST_ROWS_AT_ONCE: Final = 500
MOST_TREES_IN_ROW: Final = 5_000
HIGHEST_ROW_NUMBER: Final = 9_999


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
