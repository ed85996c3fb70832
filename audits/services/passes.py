"""Passes: a crew going once through some rows, who did what, and the lots that come of it."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NotRequired, TypedDict, Unpack
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, NotFound
from audits.lots import MOST_WORKERS_FOR_ROW_LOTS, half_day
from audits.messages import Message, say
from audits.records import Actor, AssignmentRow, CrewPass, Lot, PassRow, Row
from audits.sampling import Effort, EffortState, is_lot_audited
from audits.services.access import require_crew_lead
from audits.services.ahead import drop_ahead_draws, give_back_ahead_draw, take_ahead_draw
from audits.services.attributing import reattribute
from audits.services.effort import Chance, effort_of_pass
from audits.services.entries import Entries
from audits.services.farms import the_block, the_crew, the_farm
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import pass_lists
from audits.storage.queries import passes as queries
from audits.storage.queries.check_trees import has_walk
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.queries.standards import standard_by_id, standard_in_force
from audits.storage.tables import assignment, crew_pass, lot, lot_range, pass_row
from audits.vocabulary import LotState, Method, PassKind, Side, Stage

LOT_BY_ROW: Final = "row"
LOT_BY_HALF_DAY: Final = "half_day"

# A pass may be entered some days before it begins; a date further off is a slip of the pen.
LONGEST_AHEAD: Final = timedelta(days=7)
MOST_HOURS: Final = 10_000

# While a lot stands so, rows may still come to it or leave it.
_NOT_BEGUN: Final = frozenset({LotState.WAITING, LotState.NOT_CHOSEN})


class PassEntry(TypedDict):
    """What is entered for a pass; the rows in the order in which they are pruned."""

    block_id: int
    crew_id: int
    kind: PassKind
    method: Method
    row_ids: Sequence[int]
    started_at: datetime
    lot_by: NotRequired[str | None]


class AssignmentEntry(TypedDict):
    """What is entered for who did what; without positions the whole of each row."""

    worker_id: int
    row_ids: Collection[int]
    stages: Collection[Stage]
    first_position: NotRequired[int | None]
    last_position: NotRequired[int | None]
    side: NotRequired[Side]


def begin_pass(
    database: Database, actor: Actor, *, now: datetime | None = None, **entry: Unpack[PassEntry]
) -> int:
    """
    Begin a pass; the standard in force that day becomes the standard of all its audits.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    now : datetime or None, optional
        The present, to refuse a start more than a week ahead of it.
    **entry : Unpack[PassEntry]
        What is entered. Without a choice of lots they are half-days for a crew of more than 8,
        else rows.

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
        block = the_block(connection, actor.farm_id, entry["block_id"])
        crew = the_crew(connection, actor.farm_id, entry["crew_id"])
        farm = the_farm(connection, actor.farm_id)
        rows = {row.id: row for row in farm_queries.rows_of_block(connection, farm.id, block.id)}
        day = entry["started_at"].astimezone(ZoneInfo(farm.time_zone)).date()
        version = standard_in_force(connection, farm.id, block.id, day)
        entries = Entries()
        if block.retired:
            entries.add("block_id", say("%(block)s is no longer pruned.", block=block.name))
        elif version is None:
            entries.add(
                "block_id",
                say(
                    "Block %(block)s has no standard in force on %(day)s. Write one first.",
                    block=block.name,
                    day=day,
                ),
            )
        if crew.retired:
            entries.add("crew_id", say("%(crew)s is no longer here.", crew=crew.name))
        if entry["kind"] is PassKind.REWORK:
            entries.add("kind", say("Rework is recorded from its rework order."))
        if now is not None and entry["started_at"] > now + LONGEST_AHEAD:
            entries.add("started_at", say("This is more than a week ahead. Check the date."))
        _check_rows(entries, entry["row_ids"], rows, block.name)
        # A form sent twice must not begin the pass twice.
        begun = pass_lists.row_ids_begun_at(connection, farm.id, crew.id, entry["started_at"])
        if not begun.isdisjoint(entry["row_ids"]):
            entries.add(
                "row_ids", say("This crew began a pass through these rows at that time already.")
            )
        entries.stop_if_any()
        people = len(farm_queries.workers_of_crew(connection, farm.id, crew.id))
        pass_id = insert(
            connection,
            crew_pass,
            {
                "farm_id": farm.id,
                "block_id": block.id,
                "crew_id": crew.id,
                "standard_version_id": version.id if version else None,
                "kind": entry["kind"],
                "method": entry["method"],
                "started_at": entry["started_at"],
                "lot_by": entry.get("lot_by") or usual_lot(people),
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
                for row_id in entry["row_ids"]
            ],
        )
        return pass_id


def take_back_pass(database: Database, actor: Actor, pass_id: int) -> None:
    """
    Take back a pass that was begun by mistake, as long as nothing has come of it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.

    Raises
    ------
    Conflict
        If a row of it is finished, a start check or a calibration walk was begun, or a phone has
        scored trees of it.
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.write() as connection:
        _pass(connection, farm_id, pass_id)
        parts = queries.pass_rows(connection, farm_id, pass_id)
        checks = pass_lists.start_checks_of_passes(connection, farm_id, [pass_id])
        if checks or any(part.finished_at is not None for part in parts):
            raise Conflict(
                say("A row is finished or a start check is begun: the pass cannot be taken back.")
            )
        if has_walk(connection, farm_id, pass_id):
            raise Conflict(
                say("A calibration walk was opened in this pass: it cannot be taken back.")
            )
        drop_ahead_draws(connection, farm_id, pass_id)
        for table in (assignment, pass_row):
            connection.execute(
                table.delete().where(table.c.farm_id == farm_id, table.c.crew_pass_id == pass_id)
            )
        connection.execute(
            crew_pass.delete().where(crew_pass.c.farm_id == farm_id, crew_pass.c.id == pass_id)
        )


def _check_rows(
    entries: Entries, row_ids: Sequence[int], rows: Mapping[int, Row], block_name: str
) -> None:
    if not row_ids:
        entries.add("row_ids", say("Choose at least one row."))
    elif not set(row_ids) <= set(rows):
        entries.add("row_ids", say("Choose rows of block %(block)s only.", block=block_name))
    elif len(set(row_ids)) < len(row_ids):
        entries.add("row_ids", say("Choose each row once only."))


def usual_lot(people: int) -> str:
    """
    Return what a lot is unless somebody chooses otherwise.

    Parameters
    ----------
    people : int
        Workers of the crew.

    Returns
    -------
    str
        `LOT_BY_HALF_DAY` for a crew of more than 8, who finish a row in minutes, else
        `LOT_BY_ROW`.
    """
    return LOT_BY_HALF_DAY if people > MOST_WORKERS_FOR_ROW_LOTS else LOT_BY_ROW


def end_pass(
    database: Database,
    actor: Actor,
    pass_id: int,
    *,
    ended_at: datetime,
    hours: float | None,
    now: datetime | None = None,
) -> None:
    """
    Record when a pass ended and the hours that people worked in it; a second time corrects both.

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
    now : datetime or None, optional
        The present, to refuse an end still to come.

    Raises
    ------
    InvalidInput
        If it would end before it began, before a row of it was finished or in times to come, or
        the hours are not above zero.
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        finished = [
            part.finished_at
            for part in queries.pass_rows(connection, actor.farm_id, pass_id)
            if part.finished_at is not None
        ]
        entries = Entries()
        if ended_at < found.started_at:
            entries.add("ended_at", say("The pass cannot end before it began."))
        if any(ended_at < moment for moment in finished):
            entries.add("ended_at", say("A row was finished later than that."))
        if now is not None and ended_at > now:
            entries.add("ended_at", _still_to_come())
        if hours is not None and not 0 < hours <= MOST_HOURS:
            entries.add("hours", say("Give the hours of all people together, more than 0."))
        entries.stop_if_any()
        connection.execute(
            crew_pass.update()
            .where(crew_pass.c.farm_id == actor.farm_id, crew_pass.c.id == pass_id)
            .values(ended_at=ended_at, hours=hours)
        )


# --- rows and lots -----------------------------------------------------------------------------


def finish_row(
    database: Database,
    actor: Actor,
    pass_id: int,
    row_id: int,
    finished_at: datetime,
    now: datetime | None = None,
    *,
    chance: Chance | None = None,
) -> int:
    """
    Mark a row as finished, which makes its lot ready for an audit or has it passed over.

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
    now : datetime or None, optional
        The present, to refuse a time still to come.
    chance : callable or None, optional
        As for `finish_rows`.

    Returns
    -------
    int
        The lot's id: a lot of its own, or that of the crew's half-day while nobody audits it yet.

    Raises
    ------
    Conflict
        If the row is finished already.
    InvalidInput
        If it would be finished before the pass began, after it ended or in times to come.
    NotFound
        If the pass does not go through that row.
    """
    lot_ids = finish_rows(database, actor, pass_id, [row_id], finished_at, now, chance=chance)
    return lot_ids[0]


def finish_rows(
    database: Database,
    actor: Actor,
    pass_id: int,
    row_ids: Sequence[int],
    finished_at: datetime,
    now: datetime | None = None,
    *,
    chance: Chance | None = None,
) -> list[int]:
    """
    Mark several rows as finished at one time, all of them or none.

    Where the crew's history lets lots go without an audit, chance decides for each new lot. A row
    that was taken back and is finished again keeps its random number.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    row_ids : Sequence of int
        Rows of the pass.
    finished_at : datetime
        When they were finished.
    now : datetime or None, optional
        The present, to refuse a time still to come.
    chance : callable or None, optional
        Returns another random number in [0, 1) each time; without it every lot is audited.

    Returns
    -------
    list of int
        The lot's id for each row.

    Raises
    ------
    Conflict
        If a row is finished already.
    InvalidInput
        If no row is named, or they would be finished before the pass began, after it ended or in
        times to come.
    NotFound
        If the pass does not go through one of the rows.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        parts = _parts_of(connection, found, actor.farm_id, row_ids)
        done = [part for part in parts if part.finished_at is not None]
        if done:
            number = _row_number(connection, actor.farm_id, done[0])
            raise Conflict(say("Row %(row)s is finished already.", row=number))
        entries = Entries()
        if not parts:
            entries.add("row_ids", say("Choose at least one row."))
        if finished_at < found.started_at:
            entries.add("finished_at", say("The row cannot be finished before the pass began."))
        if found.ended_at is not None and finished_at > found.ended_at:
            entries.add("finished_at", say("The pass had ended by then. Correct its end first."))
        if now is not None and finished_at > now:
            entries.add("finished_at", _still_to_come())
        entries.stop_if_any()
        choice = _Choice(_effort(connection, actor.farm_id, found), chance)
        return [
            _finish(connection, actor.farm_id, found, part, finished_at, choice) for part in parts
        ]


def finish_part(
    connection: sa.Connection,
    farm_id: int,
    found: CrewPass,
    part: PassRow,
    finished_at: datetime,
    *,
    used: int | None = None,
) -> int:
    """
    Mark a row as finished, on the word of a phone that had no signal then.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id : int
        The farm.
    found : CrewPass
        The pass.
    part : PassRow
        The row, which is not finished yet.
    finished_at : datetime
        When it was finished, as far as can be told; never before the pass began or after it ended.
    used : int or None, optional
        The draw made ahead that a person has decided to take, whether it still fits or not.

    Returns
    -------
    int
        The lot's id.
    """
    if found.ended_at is not None:
        finished_at = min(finished_at, found.ended_at)
    finished_at = max(finished_at, found.started_at)
    # Its random number was drawn with its trees, so that the phone knew what comes of it.
    choice = _Choice(_effort(connection, farm_id, found), None)
    return _finish(connection, farm_id, found, part, finished_at, choice, used=used)


def choose_ahead(
    connection: sa.Connection, farm_id: int, found: CrewPass, part: PassRow, chance: Chance
) -> bool:
    """
    Say whether the lot of a row that is still being pruned will be audited.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id : int
        The farm.
    found : CrewPass
        The pass.
    part : PassRow
        The row; it keeps its random number.
    chance : Callable
        Returns another random number in [0, 1) each time.

    Returns
    -------
    bool
        As the crew's history stands now.
    """
    choice = _Choice(_effort(connection, farm_id, found), chance)
    number = choice.number_of(part)
    _set_finished(connection, farm_id, part, None, chance=number)
    return choice.is_chosen(number)


def is_chosen_ahead(
    connection: sa.Connection, farm_id: int, found: CrewPass, part: PassRow
) -> bool:
    """
    Say whether the lot of a row that was drawn ahead will be audited.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    found : CrewPass
        The pass.
    part : PassRow
        The row with the random number that it got then.

    Returns
    -------
    bool
        As the crew's history stands now.
    """
    return _Choice(_effort(connection, farm_id, found), None).is_chosen(part.chance)


def _effort(connection: sa.Connection, farm_id: int, found: CrewPass) -> EffortState | None:
    version = standard_by_id(connection, farm_id, found.standard_version_id)
    return effort_of_pass(connection, farm_id, found, standard_of(version)) if version else None


@dataclass(frozen=True)
class _Choice:
    """How many of a crew's lots are audited, and what decides which ones."""

    state: EffortState | None
    chance: Chance | None

    @property
    def effort(self) -> Effort:
        return Effort.EVERY_LOT if self.state is None else self.state.effort

    def number_of(self, part: PassRow) -> float | None:
        """Return a row's random number: the one that it had before, or a new one."""
        if part.chance is not None or self.chance is None or self.effort is Effort.EVERY_LOT:
            return part.chance
        return self.chance()

    def is_chosen(self, number: float | None) -> bool:
        """Tell whether the lot of a row with a random number is audited."""
        return number is None or is_lot_audited(self.effort, number)


def _finish(
    connection: sa.Connection,
    farm_id: int,
    found: CrewPass,
    part: PassRow,
    finished_at: datetime,
    choice: _Choice,
    *,
    used: int | None = None,
) -> int:
    number = choice.number_of(part)
    _set_finished(connection, farm_id, part, finished_at, chance=number)
    lot_id = _open_half_day_lot(connection, farm_id, found, finished_at, choice.effort)
    chosen = choice.is_chosen(number)
    if lot_id is None:
        lot_id = _add_lot(connection, farm_id, found, finished_at, choice.effort, chosen=chosen)
    insert(
        connection,
        lot_range,
        {
            "farm_id": farm_id,
            "lot_id": lot_id,
            "orchard_row_id": part.orchard_row_id,
            "first_position": part.first_position,
            "last_position": part.last_position,
        },
    )
    if found.lot_by == LOT_BY_ROW:
        take_ahead_draw(connection, farm_id, found, part, lot_id, chosen=chosen, used=used)
    return lot_id


def take_back_rows(database: Database, actor: Actor, pass_id: int, row_ids: Sequence[int]) -> None:
    """
    Take back that rows are finished, as long as nobody has begun to audit their lots.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    row_ids : Sequence of int
        Rows of the pass; all of them or none are taken back.

    Raises
    ------
    Conflict
        If a row is not finished, or its lot is past waiting.
    NotFound
        If the pass does not go through one of the rows.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        for part in _parts_of(connection, found, actor.farm_id, row_ids):
            _take_back(connection, actor.farm_id, part)


def _take_back(connection: sa.Connection, farm_id: int, part: PassRow) -> None:
    """
    Take back that one row is finished.

    Raises
    ------
    Conflict
        If it is not finished, or its lot is past waiting.
    """
    row_id = part.orchard_row_id
    ranges = pass_lists.lot_ranges_of_pass(connection, farm_id, part.crew_pass_id)
    lot_id = next((own.lot_id for own in ranges if own.orchard_row_id == row_id), None)
    own_lot = queries.lot_by_id(connection, farm_id, lot_id) if lot_id else None
    if part.finished_at is None or own_lot is None:
        number = _row_number(connection, farm_id, part)
        raise Conflict(say("Row %(row)s is not finished.", row=number))
    # A draw that was given up leaves its lot waiting, but stays in the lot's history.
    drawn = audit_queries.draws_of_lot(connection, farm_id, own_lot.id)
    begun = bool(drawn) or own_lot.state not in _NOT_BEGUN
    if begun and not give_back_ahead_draw(connection, farm_id, own_lot.id):
        number = _row_number(connection, farm_id, part)
        raise Conflict(say("The audit of row %(row)s has begun: it stays finished.", row=number))
    _set_finished(connection, farm_id, part, None, chance=part.chance)
    connection.execute(
        lot_range.delete().where(
            lot_range.c.farm_id == farm_id,
            lot_range.c.lot_id == own_lot.id,
            lot_range.c.orchard_row_id == row_id,
        )
    )
    others = {own.orchard_row_id for own in ranges if own.lot_id == own_lot.id} - {row_id}
    _shrink_lot(connection, farm_id, own_lot, others)


def _shrink_lot(
    connection: sa.Connection, farm_id: int, found: Lot, row_ids: Collection[int]
) -> None:
    """Let a lot end with the rows that are left in it; one without rows is no lot."""
    if not row_ids:
        connection.execute(lot.delete().where(lot.c.farm_id == farm_id, lot.c.id == found.id))
        return
    moments = [
        part.finished_at
        for part in queries.pass_rows(connection, farm_id, found.crew_pass_id)
        if part.orchard_row_id in row_ids and part.finished_at is not None
    ]
    connection.execute(
        lot.update()
        .where(lot.c.farm_id == farm_id, lot.c.id == found.id)
        .values(finished_at=max(moments))
    )


def _set_finished(
    connection: sa.Connection,
    farm_id: int,
    part: PassRow,
    finished_at: datetime | None,
    *,
    chance: float | None,
) -> None:
    connection.execute(
        pass_row.update()
        .where(pass_row.c.farm_id == farm_id, pass_row.c.id == part.id)
        .values(finished_at=finished_at, chance=chance)
    )


def _open_half_day_lot(
    connection: sa.Connection,
    farm_id: int,
    found: CrewPass,
    finished_at: datetime,
    effort: Effort,
) -> int | None:
    if found.lot_by != LOT_BY_HALF_DAY:
        return None
    # Once every lot is audited again, no row joins a lot that was passed over before.
    may_join = _NOT_BEGUN if effort is Effort.ONE_IN_THREE else {LotState.WAITING}
    zone = the_farm(connection, farm_id).time_zone
    for candidate in queries.lots_of_pass(connection, farm_id, found.id):
        same = half_day(candidate.finished_at, zone) == half_day(finished_at, zone)
        if same and candidate.state in may_join:
            connection.execute(
                lot.update()
                .where(lot.c.farm_id == farm_id, lot.c.id == candidate.id)
                .values(finished_at=max(candidate.finished_at, finished_at))
            )
            return candidate.id
    return None


def _add_lot(
    connection: sa.Connection,
    farm_id: int,
    found: CrewPass,
    finished_at: datetime,
    effort: Effort,
    *,
    chosen: bool,
) -> int:
    numbers = [made.number for made in queries.lots_of_pass(connection, farm_id, found.id)]
    return insert(
        connection,
        lot,
        {
            "farm_id": farm_id,
            "crew_pass_id": found.id,
            "number": 1 + max(numbers, default=0),
            "state": LotState.WAITING if chosen else LotState.NOT_CHOSEN,
            "finished_at": finished_at,
            "effort": effort,
            "chosen": chosen,
        },
    )


# --- who did what ------------------------------------------------------------------------------


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
    assign_rows(
        database,
        actor,
        pass_id,
        worker_id=worker_id,
        row_ids=[row_id],
        stages=stages,
        first_position=first_position,
        last_position=last_position,
        side=side,
    )


def assign_rows(
    database: Database, actor: Actor, pass_id: int, **entry: Unpack[AssignmentEntry]
) -> None:
    """
    Name the person who does some stages in several rows, in all of them or in none.

    What is noted already is not noted twice. Scores that are already there are attributed anew,
    and their roll-ups follow.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    **entry : Unpack[AssignmentEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    NotFound
        If the pass does not go through one of the rows.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _pass(connection, actor.farm_id, pass_id)
        parts = _parts_of(connection, found, actor.farm_id, list(entry["row_ids"]))
        crew = farm_queries.workers_of_crew(connection, actor.farm_id, found.crew_id)
        entries = Entries()
        if entry["worker_id"] not in {worker.id for worker in crew}:
            entries.add("worker_id", say("This worker is not in the crew of this pass."))
        if not parts:
            entries.add("row_ids", say("Choose at least one row."))
        if not entry["stages"]:
            entries.add("stages", say("Choose at least one stage."))
        for part in parts:
            _check_stretch(connection, actor.farm_id, entries, part, entry)
        entries.stop_if_any()
        noted = pass_lists.assignments_in_rows(connection, actor.farm_id, pass_id, entry["row_ids"])
        known = {_kept_values(row) for row in noted}
        insert_many(
            connection,
            assignment,
            [
                {
                    "farm_id": actor.farm_id,
                    "crew_pass_id": pass_id,
                    **dict(zip(_KEPT, values, strict=True)),
                }
                for part in parts
                for values in _wanted_values(part, entry)
                if values not in known
            ],
        )
        for part in parts:
            reattribute(connection, actor.farm_id, pass_id, part.orchard_row_id)


_KEPT: Final = (
    "worker_id",
    "orchard_row_id",
    "stage",
    "first_position",
    "last_position",
    "side",
)


def _kept_values(row: AssignmentRow) -> tuple[object, ...]:
    return tuple(getattr(row, name) for name in _KEPT)


def _wanted_values(part: PassRow, entry: AssignmentEntry) -> list[tuple[object, ...]]:
    first, last = _stretch(part, entry)
    side = entry.get("side", Side.BOTH)
    return [
        (entry["worker_id"], part.orchard_row_id, stage, first, last, side)
        for stage in Stage
        if stage in entry["stages"]
    ]


def _stretch(part: PassRow, entry: AssignmentEntry) -> tuple[int, int]:
    first, last = entry.get("first_position"), entry.get("last_position")
    return (
        part.first_position if first is None else first,
        part.last_position if last is None else last,
    )


def _check_stretch(
    connection: sa.Connection,
    farm_id: int,
    entries: Entries,
    part: PassRow,
    entry: AssignmentEntry,
) -> None:
    first, last = _stretch(part, entry)
    inside = range(part.first_position, part.last_position + 1)
    if first not in inside or last not in inside:
        outside = say(
            "Row %(row)s has trees %(first)s to %(last)s in this pass.",
            row=_row_number(connection, farm_id, part),
            first=str(part.first_position),
            last=str(part.last_position),
        )
        for field, position in (("first_position", first), ("last_position", last)):
            if position not in inside:
                entries.add(field, outside)
    elif last < first:
        entries.add("last_position", say("The last tree cannot come before the first."))


def withdraw_assignments(
    database: Database, actor: Actor, pass_id: int, *, worker_id: int, row_ids: Collection[int]
) -> None:
    """
    Take a person's name off rows of a pass.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id, worker_id : int
        Whose name, in which pass.
    row_ids : Collection of int
        The rows.

    Raises
    ------
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        _pass(connection, actor.farm_id, pass_id)
        connection.execute(
            assignment.delete().where(
                assignment.c.farm_id == actor.farm_id,
                assignment.c.crew_pass_id == pass_id,
                assignment.c.worker_id == worker_id,
                assignment.c.orchard_row_id.in_(row_ids),
            )
        )
        for row_id in row_ids:
            reattribute(connection, actor.farm_id, pass_id, row_id)


# --- shared ------------------------------------------------------------------------------------


def _pass(connection: sa.Connection, farm_id: int, pass_id: int) -> CrewPass:
    found = queries.crew_pass_by_id(connection, farm_id, pass_id)
    if found is None:
        raise NotFound(say("There is no such pass."))
    return found


def _parts_of(
    connection: sa.Connection, found: CrewPass, farm_id: int, row_ids: Sequence[int]
) -> list[PassRow]:
    """
    Return rows of a pass, each once, in the order in which they are asked for.

    Raises
    ------
    NotFound
        If the pass does not go through one of them.
    """
    if len(row_ids) == 1:
        one = queries.pass_row_of(connection, farm_id, found.id, row_ids[0])
        parts = {row_ids[0]: one} if one else {}
    else:
        parts = {
            part.orchard_row_id: part for part in queries.pass_rows(connection, farm_id, found.id)
        }
    if not set(row_ids) <= set(parts):
        raise NotFound(say("This pass does not go through that row."))
    return [parts[row_id] for row_id in dict.fromkeys(row_ids)]


def _row_number(connection: sa.Connection, farm_id: int, part: PassRow) -> str:
    row = farm_queries.row_by_id(connection, farm_id, part.orchard_row_id)
    return str(row.number) if row else ""


def _still_to_come() -> Message:
    return say("This time is still to come.")
