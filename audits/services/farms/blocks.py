"""Blocks: what grows there and how it is spaced."""

from datetime import date
from typing import Final, NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.messages import say
from audits.records import Actor, Block
from audits.services.access import require_crew_lead
from audits.services.entries import LONGEST_TEXT, Entries, squeezed
from audits.services.farms.found import the_block
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import farms as queries
from audits.storage.queries.fetch import insert
from audits.vocabulary import BearingHabit

# From the narrowest fruiting wall to the widest old orchard; a wrong unit falls outside.
_ROW_SPACING_MM: Final = (1_000.0, 12_000.0)
_TREE_SPACING_MM: Final = (150.0, 10_000.0)
_TOP_WIRE_MM: Final = (600.0, 8_000.0)


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
    entries.year("planting_year", entry.get("planting_year"), today)
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
