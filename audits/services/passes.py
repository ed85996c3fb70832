"""Passes: a crew going once through some rows, who did what, and the lots that come of it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.lots import MOST_WORKERS_FOR_ROW_LOTS, half_day
from audits.messages import Message, say
from audits.records import Actor, Block, Crew, CrewPass, Farm, PassRow, Row
from audits.services.access import require_crew_lead
from audits.services.attributing import reattribute
from audits.services.farms import the_block, the_crew
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as queries
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.queries.standards import standard_in_force
from audits.storage.tables import assignment, crew_pass, lot, lot_range, pass_row
from audits.vocabulary import LotState, Method, PassKind, Side, Stage

LOT_BY_ROW = "row"
LOT_BY_HALF_DAY = "half_day"


def begin_pass(
    database: Database,
    actor: Actor,
    *,
    block_id: int,
    crew_id: int,
    kind: PassKind,
    method: Method,
    row_ids: Sequence[int],
    started_at: datetime,
    lot_by: str | None = None,
) -> int:
    """
    Begin a pass; the standard in force that day becomes the standard of all its audits.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    block_id, crew_id : int
        Which crew, in which block.
    kind : PassKind
        Dormant, summer or rework.
    method : Method
        From where the crew works.
    row_ids : Sequence of int
        The rows, in the order in which they are pruned.
    started_at : datetime
        When it began.
    lot_by : str or None, optional
        ``"row"`` or ``"half_day"``; by default half-days for a crew of more than 8.

    Returns
    -------
    int
        The pass's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    NotFound
        If the farm has no such block or crew.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        block = the_block(connection, actor.farm_id, block_id)
        crew = the_crew(connection, actor.farm_id, crew_id)
        farm = _farm(connection, actor.farm_id)
        rows = {row.id: row for row in farm_queries.rows_of_block(connection, farm.id, block.id)}
        day = started_at.astimezone(ZoneInfo(farm.time_zone)).date()
        version = standard_in_force(connection, farm.id, block.id, day)
        problems: dict[str, Message] = {}
        if version is None:
            problems["block_id"] = say(
                "Block %(block)s has no standard in force on %(day)s. Write one first.",
                block=block.name,
                day=day,
            )
        if not row_ids:
            problems["row_ids"] = say("Choose at least one row.")
        elif not set(row_ids) <= set(rows):
            problems["row_ids"] = say("Choose rows of block %(block)s only.", block=block.name)
        elif len(set(row_ids)) < len(row_ids):
            problems["row_ids"] = say("Choose each row once only.")
        if problems or version is None:
            raise InvalidInput(problems)
        people = len(farm_queries.workers_of_crew(connection, farm.id, crew.id))
        pass_id = insert(
            connection,
            crew_pass,
            {
                "farm_id": farm.id,
                "block_id": block.id,
                "crew_id": crew.id,
                "standard_version_id": version.id,
                "kind": kind,
                "method": method,
                "started_at": started_at,
                "lot_by": lot_by or _usual_lot(people),
            },
        )
        insert_many(
            connection,
            pass_row,
            [
                {
                    "farm_id": farm.id,
                    "crew_pass_id": pass_id,
                    "orchard_row_id": row_id,
                    "first_position": 1,
                    "last_position": rows[row_id].tree_count,
                }
                for row_id in row_ids
            ],
        )
        return pass_id


def end_pass(
    database: Database, actor: Actor, pass_id: int, *, ended_at: datetime, hours: float | None
) -> None:
    """
    Record when a pass ended and the hours that people worked in it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    ended_at : datetime
        When the last row was finished.
    hours : float or None
        Hours of all people together, if known.

    Raises
    ------
    InvalidInput
        If it would end before it began, or the hours are not above zero.
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        problems = {}
        if ended_at < found.started_at:
            problems["ended_at"] = say("The pass cannot end before it began.")
        if hours is not None and not 0 < hours <= 10_000:  # noqa: PLR2004 - beyond any pass
            problems["hours"] = say("Give the hours of all people together, more than 0.")
        if problems:
            raise InvalidInput(problems)
        connection.execute(
            crew_pass.update()
            .where(crew_pass.c.farm_id == actor.farm_id, crew_pass.c.id == pass_id)
            .values(ended_at=ended_at, hours=hours)
        )


def finish_row(
    database: Database, actor: Actor, pass_id: int, row_id: int, finished_at: datetime
) -> int:
    """
    Mark a row as finished, which makes its lot ready for an audit.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id, row_id : int
        The row of the pass.
    finished_at : datetime
        When it was finished.

    Returns
    -------
    int
        The lot's id: a lot of its own, or that of the crew's half-day while nobody audits it yet.

    Raises
    ------
    Conflict
        If the row is finished already.
    InvalidInput
        If it would be finished before the pass began.
    NotFound
        If the pass does not go through that row.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        part = _pass_row(connection, actor.farm_id, pass_id, row_id)
        if part.finished_at is not None:
            raise Conflict(say("This row is finished already."))
        if finished_at < found.started_at:
            raise InvalidInput(
                {"finished_at": say("The row cannot be finished before the pass began.")}
            )
        connection.execute(
            pass_row.update()
            .where(pass_row.c.farm_id == actor.farm_id, pass_row.c.id == part.id)
            .values(finished_at=finished_at)
        )
        lot_id = _open_half_day_lot(connection, actor.farm_id, found, finished_at)
        if lot_id is None:
            lot_id = _add_lot(connection, actor.farm_id, found, finished_at)
        insert(
            connection,
            lot_range,
            {
                "farm_id": actor.farm_id,
                "lot_id": lot_id,
                "orchard_row_id": part.orchard_row_id,
                "first_position": part.first_position,
                "last_position": part.last_position,
            },
        )
        return lot_id


def assign(
    database: Database,
    actor: Actor,
    pass_id: int,
    *,
    worker_id: int,
    row_id: int,
    stages: Collection[Stage],
    first_position: int | None = None,
    last_position: int | None = None,
    side: Side = Side.BOTH,
) -> None:
    """
    Name the person who does some stages on a stretch of a row.

    Scores that are already there are attributed anew, and their roll-ups follow.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id, worker_id, row_id : int
        The pass, a worker of its crew, and one of its rows.
    stages : Collection of Stage
        The stages that the person does.
    first_position, last_position : int or None, optional
        The stretch; the whole row by default.
    side : Side, optional
        The side worked on.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    NotFound
        If the pass does not go through that row.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        part = _pass_row(connection, actor.farm_id, pass_id, row_id)
        first = part.first_position if first_position is None else first_position
        last = part.last_position if last_position is None else last_position
        crew = farm_queries.workers_of_crew(connection, actor.farm_id, found.crew_id)
        problems: dict[str, Message] = {}
        if worker_id not in {worker.id for worker in crew}:
            problems["worker_id"] = say("This worker is not in the crew of this pass.")
        if not stages:
            problems["stages"] = say("Choose at least one stage.")
        if not part.first_position <= first <= part.last_position:
            problems["first_position"] = _outside(part)
        if not part.first_position <= last <= part.last_position:
            problems["last_position"] = _outside(part)
        elif last < first:
            problems["last_position"] = say("The last tree cannot come before the first.")
        if problems:
            raise InvalidInput(problems)
        insert_many(
            connection,
            assignment,
            [
                {
                    "farm_id": actor.farm_id,
                    "crew_pass_id": pass_id,
                    "worker_id": worker_id,
                    "orchard_row_id": row_id,
                    "stage": stage,
                    "first_position": first,
                    "last_position": last,
                    "side": side,
                }
                for stage in Stage
                if stage in stages
            ],
        )
        reattribute(connection, actor.farm_id, pass_id, row_id)


def withdraw_assignments(
    database: Database, actor: Actor, pass_id: int, *, worker_id: int, row_id: int
) -> None:
    """
    Take a person's name off a row of a pass.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id, worker_id, row_id : int
        Whose name, in which row of which pass.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        _pass(connection, actor.farm_id, pass_id)
        connection.execute(
            assignment.delete().where(
                assignment.c.farm_id == actor.farm_id,
                assignment.c.crew_pass_id == pass_id,
                assignment.c.worker_id == worker_id,
                assignment.c.orchard_row_id == row_id,
            )
        )
        reattribute(connection, actor.farm_id, pass_id, row_id)


@dataclass(frozen=True)
class PassView:
    """
    A pass with what belongs to it.

    Parameters
    ----------
    crew_pass : CrewPass
        The pass.
    block : Block
        Its block.
    crew : Crew
        Its crew.
    rows : list of tuple of PassRow and Row
        Its rows, in the order in which they are pruned.
    """

    crew_pass: CrewPass
    block: Block
    crew: Crew
    rows: list[tuple[PassRow, Row]]


def view_pass(database: Database, actor: Actor, pass_id: int) -> PassView:
    """
    Return a pass with its block, crew and rows.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.

    Returns
    -------
    PassView
        The pass and what belongs to it.

    Raises
    ------
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        rows = {
            row.id: row
            for row in farm_queries.rows_of_block(connection, actor.farm_id, found.block_id)
        }
        return PassView(
            crew_pass=found,
            block=the_block(connection, actor.farm_id, found.block_id),
            crew=the_crew(connection, actor.farm_id, found.crew_id),
            rows=[
                (part, rows[part.orchard_row_id])
                for part in queries.pass_rows(connection, actor.farm_id, pass_id)
            ],
        )


def _usual_lot(people: int) -> str:
    return LOT_BY_HALF_DAY if people > MOST_WORKERS_FOR_ROW_LOTS else LOT_BY_ROW


def _open_half_day_lot(
    connection: sa.Connection, farm_id: int, found: CrewPass, finished_at: datetime
) -> int | None:
    if found.lot_by != LOT_BY_HALF_DAY:
        return None
    zone = _farm(connection, farm_id).time_zone
    for candidate in queries.lots_of_pass(connection, farm_id, found.id):
        same = half_day(candidate.finished_at, zone) == half_day(finished_at, zone)
        if same and candidate.state is LotState.WAITING:
            connection.execute(
                lot.update()
                .where(lot.c.farm_id == farm_id, lot.c.id == candidate.id)
                .values(finished_at=max(candidate.finished_at, finished_at))
            )
            return candidate.id
    return None


def _add_lot(
    connection: sa.Connection, farm_id: int, found: CrewPass, finished_at: datetime
) -> int:
    number = 1 + len(queries.lots_of_pass(connection, farm_id, found.id))
    return insert(
        connection,
        lot,
        {
            "farm_id": farm_id,
            "crew_pass_id": found.id,
            "number": number,
            "state": LotState.WAITING,
            "finished_at": finished_at,
        },
    )


def _outside(part: PassRow) -> Message:
    return say(
        "This row has trees %(first)s to %(last)s in this pass.",
        first=part.first_position,
        last=part.last_position,
    )


def _pass(connection: sa.Connection, farm_id: int, pass_id: int) -> CrewPass:
    found = queries.crew_pass_by_id(connection, farm_id, pass_id)
    if found is None:
        raise NotFound(say("There is no such pass."))
    return found


def _pass_row(connection: sa.Connection, farm_id: int, pass_id: int, row_id: int) -> PassRow:
    part = queries.pass_row_of(connection, farm_id, pass_id, row_id)
    if part is None:
        raise NotFound(say("This pass does not go through that row."))
    return part


def _farm(connection: sa.Connection, farm_id: int) -> Farm:
    found = farm_queries.farm_by_id(connection, farm_id)
    if found is None:
        raise NotFound(say("There is no such farm."))
    return found
