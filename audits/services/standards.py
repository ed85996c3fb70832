"""A block's standard: numbered versions, in force from a day, frozen once a pass uses them."""

import json
from collections.abc import Collection, Mapping
from datetime import date, datetime
from hashlib import sha256

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, Units, say
from audits.records import Actor, Block, StandardVersion
from audits.services.access import require_crew_lead
from audits.services.farms import the_block
from audits.standard import Standard, preset, read_standard
from audits.storage.database import Database
from audits.storage.queries import standards as queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.paper import versions_asked
from audits.storage.queries.practice import versions_practised
from audits.storage.queries.printing import versions_printed
from audits.storage.queries.standards import standard_in_force
from audits.storage.tables import standard_version
from audits.units import MM_PER_INCH
from audits.vocabulary import BearingHabit, HeadingRule

__all__ = [
    "edit_standard",
    "propose_standard",
    "refuse_if_frozen",
    "standard_digest",
    "standard_in_force",
    "standard_of",
    "what_freezes",
    "write_standard",
]


def write_standard(
    database: Database,
    actor: Actor,
    block_id: int,
    *,
    payload: Mapping[str, object],
    in_force_from: date,
    now: datetime,
) -> int:
    """
    Write a new version of a block's standard.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    block_id : int
        The block.
    payload : Mapping of str to object
        Nested values of the fields of `Standard`; row spacing and top wire come from the block
        unless given.
    in_force_from : date
        First day on which a pass begins under this version.
    now : datetime
        The present.

    Returns
    -------
    int
        The version's number, counted from 1 in each block.

    Raises
    ------
    InvalidInput
        If a criterion cannot be taken; names each field, dotted.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such block.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        block = the_block(connection, actor.farm_id, block_id)
        standard = _fitting(block, payload)
        earlier = queries.versions_of_block(connection, actor.farm_id, block_id)
        version = earlier[0].version + 1 if earlier else 1
        insert(
            connection,
            standard_version,
            {
                "farm_id": actor.farm_id,
                "block_id": block_id,
                "version": version,
                "in_force_from": in_force_from,
                "payload": standard.model_dump(mode="json"),
                "created_at": now,
                "created_by": actor.user_id,
            },
        )
        return version


def edit_standard(
    database: Database,
    actor: Actor,
    standard_id: int,
    *,
    payload: Mapping[str, object],
    in_force_from: date,
) -> None:
    """
    Change a version that no pass has begun under yet.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    standard_id : int
        The version.
    payload : Mapping of str to object
        Nested values of the fields of `Standard`, as in `write_standard`.
    in_force_from : date
        First day on which a pass begins under this version.

    Raises
    ------
    Conflict
        If something rests on the version, as `what_freezes` says.
    InvalidInput
        If a criterion cannot be taken; names each field, dotted.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such version.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = queries.standard_by_id(connection, actor.farm_id, standard_id)
        if found is None:
            raise NotFound(say("There is no such standard."))
        refuse_if_frozen(connection, actor.farm_id, found)
        block = the_block(connection, actor.farm_id, found.block_id)
        standard = _fitting(block, payload)
        connection.execute(
            standard_version.update()
            .where(
                standard_version.c.farm_id == actor.farm_id,
                standard_version.c.id == standard_id,
            )
            .values(in_force_from=in_force_from, payload=standard.model_dump(mode="json"))
        )


def what_freezes(
    connection: sa.Connection, farm_id: int, versions: Collection[StandardVersion]
) -> dict[int, Message]:
    """
    Say what rests on versions of a block's standard, so that they are never changed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    versions : Collection of StandardVersion
        Versions of one block.

    Returns
    -------
    dict of int to Message
        Why, by the version's id: a pass has begun under it, somebody took a quiz or practised on
        it, or a print batch of it is not withdrawn. What can still be changed is left out.
    """
    if not versions:
        return {}
    (block_id,) = {version.block_id for version in versions}
    ids = [version.id for version in versions]
    used = queries.versions_in_use(connection, farm_id, block_id)
    asked = versions_asked(connection, farm_id, ids)
    practised = versions_practised(connection, farm_id, ids)
    printed = versions_printed(connection, farm_id, block_id)
    found = {}
    for version in versions:
        number = version.version
        if version.id in used:
            found[version.id] = say(
                "A pass has begun under version %(version)s, so it stays as it is."
                " Write a new version.",
                version=number,
            )
        elif version.id in asked:
            found[version.id] = say(
                "Somebody took a quiz on version %(version)s, so it stays as it is."
                " Write a new version.",
                version=number,
            )
        elif version.id in practised:
            found[version.id] = say(
                "Somebody has practised on version %(version)s, so it stays as it is."
                " Write a new version.",
                version=number,
            )
        elif version.id in printed:
            found[version.id] = say(
                "Version %(version)s is printed on cards or gauges (batch %(batch)s), so it stays"
                " as it is. Write a new version, or withdraw what was printed.",
                version=number,
                batch=f"B{printed[version.id]}",
            )
    return found


def refuse_if_frozen(connection: sa.Connection, farm_id: int, version: StandardVersion) -> None:
    """
    Refuse to change a version that something rests on.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    version : StandardVersion
        The version.

    Raises
    ------
    Conflict
        If something does, with what `what_freezes` says.
    """
    for reason in what_freezes(connection, farm_id, [version]).values():
        raise Conflict(reason)


def standard_of(record: StandardVersion) -> Standard:
    """
    Return the criteria of a stored version.

    Parameters
    ----------
    record : StandardVersion
        As stored.

    Returns
    -------
    Standard
        The checked criteria.
    """
    return read_standard(record.payload)


def standard_digest(record: StandardVersion) -> str:
    """
    Return a hash of a stored version, by which two machines know that they mean the same.

    Parameters
    ----------
    record : StandardVersion
        As stored.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits of what is stored, as JSON with sorted keys and no blanks.
    """
    stored = json.dumps(record.payload, sort_keys=True, separators=(",", ":"))
    return sha256(stored.encode()).hexdigest()


def propose_standard(block: Block, units: Units = Units.METRIC) -> Standard:
    """
    Propose a first standard for a block, by its bearing habit and spacing.

    Parameters
    ----------
    block : Block
        The block.
    units : Units, optional
        Units of the farm: where people read inches, tolerances and the like are whole inches, so
        that what counts is what they read.

    Returns
    -------
    Standard
        Published or customary defaults; heading is off, or forbidden on tip bearers.
    """
    proposed = preset(
        block.habit,
        block.row_spacing_mm,
        young=block.young,
        low_bloom=block.low_bloom,
        top_wire_mm=block.top_wire_mm,
    )
    return proposed if units is Units.METRIC else _in_inches(proposed)


def _in_inches(proposed: Standard) -> Standard:
    top, limbs, columns = proposed.top, proposed.limbs, proposed.columns
    return proposed.model_copy(
        update={
            "top": top.model_copy(
                update={
                    "tolerance_mm": _whole_inches(top.tolerance_mm),
                    "outer_mm": _whole_inches(top.outer_mm),
                }
            ),
            "limbs": limbs.model_copy(
                update={
                    "large_mm": _quarter_inches(limbs.large_mm),
                    "measured_out_mm": _whole_inches(limbs.measured_out_mm),
                    "clean_cut_height_mm": _whole_inches(limbs.clean_cut_height_mm),
                }
            ),
            "columns": columns.model_copy(
                update={"side_branch_mm": _whole_inches(columns.side_branch_mm)}
            ),
        }
    )


def _whole_inches(mm: float) -> float:
    inch = float(MM_PER_INCH)
    return round(round(mm / inch) * inch, 2)


def _quarter_inches(mm: float) -> float:
    return round(_whole_inches(mm * 4) / 4, 2)


def _fitting(block: Block, payload: Mapping[str, object]) -> Standard:
    """
    Read a standard and refuse what the block's cultivar does not bear.

    Raises
    ------
    InvalidInput
        If heading is required of a tip bearer, or a criterion cannot be taken.
    """
    standard = read_standard({**_from_block(block), **payload})
    if block.habit is BearingHabit.TIP and standard.heading.rule is HeadingRule.REQUIRED:
        raise InvalidInput(
            {
                "heading.rule": say(
                    "This cultivar bears at the shoot tips: heading cannot be required."
                )
            }
        )
    return standard


def _from_block(block: Block) -> dict[str, object]:
    return {"row_spacing_mm": block.row_spacing_mm, "top_wire_mm": block.top_wire_mm}
