"""Rework: what a lot that was not accepted goes back for, and the pass that mends it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import Actor, CrewPass, Lot, ReworkItem, ReworkOrder
from audits.services.access import require_crew_lead
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import crew_pass, pass_row, rework_order
from audits.vocabulary import Method, PassKind

# Beyond any pass: a slip of the keyboard.
MOST_HOURS: Final = 10_000


@dataclass(frozen=True)
class ReworkView:
    """
    A rework order with what belongs to it.

    Parameters
    ----------
    order : ReworkOrder
        The order.
    items : list of ReworkItem
        Its lines, stage by stage.
    lot : Lot
        The lot that goes back.
    crew_pass : CrewPass
        The pass in which the lot was pruned.
    """

    order: ReworkOrder
    items: list[ReworkItem]
    lot: Lot
    crew_pass: CrewPass


def view_rework(database: Database, actor: Actor, order_id: int) -> ReworkView:
    """
    Return a rework order.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    order_id : int
        The order.

    Returns
    -------
    ReworkView
        The order and what belongs to it.

    Raises
    ------
    NotFound
        If the farm has no such order.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        order = queries.rework_order_by_id(connection, actor.farm_id, order_id)
        lot = queries.lot_by_id(connection, actor.farm_id, order.lot_id) if order else None
        found = (
            queries.crew_pass_by_id(connection, actor.farm_id, lot.crew_pass_id) if lot else None
        )
        if not (order and lot and found):
            raise NotFound(say("There is no such rework order."))
        return ReworkView(
            order=order,
            items=queries.rework_items(connection, actor.farm_id, order_id),
            lot=lot,
            crew_pass=found,
        )


def record_rework(
    database: Database,
    actor: Actor,
    order_id: int,
    *,
    crew_id: int,
    method: Method,
    started_at: datetime,
    ended_at: datetime,
    hours: float | None,
    now: datetime | None = None,
) -> int:
    """
    Record the pass that carried out a rework order; the lot is then ready for its re-audit.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    order_id : int
        The order.
    crew_id : int
        Who did it.
    method : Method
        From where the crew worked.
    started_at, ended_at : datetime
        When.
    hours : float or None
        Hours of all people together, if known.
    now : datetime or None, optional
        The present, to refuse a rework that is still to come.

    Returns
    -------
    int
        The id of the rework pass.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    Conflict
        If the order is done already, or nothing in it can be mended.
    NotFound
        If the farm has no such order.
    """
    view = view_rework(database, actor, order_id)
    problems: dict[str, Message] = {}
    if ended_at < started_at:
        problems["ended_at"] = say("The rework cannot end before it began.")
    if now is not None and ended_at > now:
        problems["ended_at"] = say("This moment is still to come.")
    if started_at < view.crew_pass.started_at:
        problems["started_at"] = say("The rework cannot begin before the pass that it mends.")
    if hours is not None and not 0 < hours <= MOST_HOURS:
        problems["hours"] = say(
            "Give the hours of all people together, more than 0 and at most %(most)s.",
            most=MOST_HOURS,
        )
    with database.write() as connection:
        order = queries.rework_order_by_id(connection, actor.farm_id, order_id)
        if order is None or order.done_at is not None:
            raise Conflict(say("This rework is recorded already."))
        if not any(item.mendable for item in view.items):
            raise Conflict(say("Nothing in this order can be mended."))
        if farm_queries.crew_by_id(connection, actor.farm_id, crew_id) is None:
            problems["crew_id"] = say("Choose a crew of this farm.")
        if problems:
            raise InvalidInput(problems)
        pass_id = insert(
            connection,
            crew_pass,
            {
                "farm_id": actor.farm_id,
                "block_id": view.crew_pass.block_id,
                "crew_id": crew_id,
                "standard_version_id": view.crew_pass.standard_version_id,
                "kind": PassKind.REWORK,
                "method": method,
                "started_at": started_at,
                "ended_at": ended_at,
                "hours": hours,
                "lot_by": view.crew_pass.lot_by,
            },
        )
        for part in queries.lot_ranges(connection, actor.farm_id, view.lot.id):
            insert(
                connection,
                pass_row,
                {
                    "farm_id": actor.farm_id,
                    "crew_pass_id": pass_id,
                    "orchard_row_id": part.orchard_row_id,
                    "first_position": part.first_position,
                    "last_position": part.last_position,
                    "finished_at": ended_at,
                },
            )
        connection.execute(
            rework_order.update()
            .where(rework_order.c.farm_id == actor.farm_id, rework_order.c.id == order_id)
            .values(crew_pass_id=pass_id, done_at=ended_at)
        )
        return pass_id
