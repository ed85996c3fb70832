"""Blind second audits: a few first audits are made once more by somebody who has not seen them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from audits.check_trees import is_chosen_for_second_audit
from audits.errors import Conflict, NotAllowed, NotFound
from audits.messages import Message, say
from audits.records import Actor, User
from audits.services.access import may_keep_phones, require_crew_lead
from audits.services.auditing import Device, add_audit
from audits.services.scorebook import Scorebook
from audits.services.unseen import why_too_late
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries.check_trees import CheckLine
from audits.storage.queries.fetch import insert
from audits.storage.tables import double_check
from audits.vocabulary import Purpose

_NOT_THERE: Final = say("There is no such second audit.")


@dataclass(frozen=True)
class SecondAudit:
    """
    A first audit that was chosen to be made a second time.

    Parameters
    ----------
    line : CheckLine
        The audit, its lot and who made or makes the second one.
    rows : list of int
        Numbers of the rows in which the trees stand.
    may_make : bool
        Whether the person who asks may make it, or go on with it.
    ended : Message or None
        Why it is not made any more; None while it may be, and where it was made.
    """

    line: CheckLine
    rows: list[int]
    may_make: bool
    ended: Message | None

    @property
    def is_made(self) -> bool:
        """Whether it is closed, so that its answers show."""
        return self.line.check_sealed_at is not None

    @property
    def waits(self) -> bool:
        """Whether somebody is to make it, or to go on with it."""
        return not self.is_made and self.ended is None


def choose_second_audit(connection: sa.Connection, book: Scorebook, now: datetime) -> None:
    """
    Have a first audit that has just decided made a second time, if its draw's seed says so.

    Those that can no longer be made are given up in the same step.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    now : datetime
        The present.
    """
    give_up_late_ones(connection, book.farm.id, now)
    if book.draw.purpose is not Purpose.FIRST or not is_chosen_for_second_audit(book.draw.seed):
        return
    if check_queries.double_check_of_draw(connection, book.farm.id, book.draw.id) is not None:
        return
    insert(
        connection,
        double_check,
        {
            "farm_id": book.farm.id,
            "draw_id": book.draw.id,
            "audit_id": book.audit.id,
            "chosen_at": now,
        },
    )


def give_up_late_ones(connection: sa.Connection, farm_id: int, now: datetime) -> None:
    """
    Give up the second audits whose trees can no longer be judged; the reason shows from the lot.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id : int
        The farm.
    now : datetime
        The present.
    """
    for check_id in check_queries.waiting_checks(connection, farm_id):
        (line,) = check_queries.check_lines(connection, farm_id, check_id=check_id)
        if why_too_late(connection, farm_id, line, now) is not None:
            _give_up(connection, farm_id, check_id, None, now)


def _give_up(
    connection: sa.Connection, farm_id: int, check_id: int, user_id: int | None, now: datetime
) -> None:
    connection.execute(
        double_check.update()
        .where(double_check.c.farm_id == farm_id, double_check.c.id == check_id)
        .values(waived_at=now, waived_by=user_id)
    )


def second_audits(database: Database, actor: Actor, now: datetime) -> list[SecondAudit]:
    """
    List the first audits that were chosen to be made a second time.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    now : datetime
        The present.

    Returns
    -------
    list of SecondAudit
        The latest first.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        people = account_queries.users(connection, actor.farm_id)
        return [
            _second_audit(connection, actor, line, people, now)
            for line in check_queries.check_lines(connection, actor.farm_id)
        ]


def count_second_audits(database: Database, actor: Actor, now: datetime) -> int:
    """
    Count the second audits that somebody may make or go on with.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    now : datetime
        The present.

    Returns
    -------
    int
        How many.
    """
    require_crew_lead(actor)
    found = 0
    with database.read() as connection:
        for check_id in check_queries.waiting_checks(connection, actor.farm_id):
            line = _line(connection, actor.farm_id, check_id)
            if why_too_late(connection, actor.farm_id, line, now) is None:
                found += _may_make(connection, actor, line)
    return found


def _second_audit(
    connection: sa.Connection, actor: Actor, line: CheckLine, people: list[User], now: datetime
) -> SecondAudit:
    return SecondAudit(
        line=line,
        rows=check_queries.row_numbers_of_draw(connection, actor.farm_id, line.draw_id),
        may_make=_may_make(connection, actor, line),
        ended=_why_ended(connection, actor.farm_id, line, people, now),
    )


def _may_make(connection: sa.Connection, actor: Actor, line: CheckLine) -> bool:
    if line.check_auditor_id is not None:
        return line.check_auditor_id == actor.user_id
    scored = queries.audits_of_draw(connection, actor.farm_id, line.draw_id)
    return actor.user_id not in {one.auditor_id for one in scored}


def _why_ended(
    connection: sa.Connection, farm_id: int, line: CheckLine, people: list[User], now: datetime
) -> Message | None:
    if line.check_sealed_at is not None:
        return None
    if line.waived_by is not None:
        names = {person.id: person.name for person in people}
        return say("%(person)s gave it up.", person=names.get(line.waived_by, ""))
    return why_too_late(connection, farm_id, line, line.waived_at or now)


def begin_second_audit(
    database: Database,
    actor: Actor,
    check_id: int,
    *,
    client_id: str,
    device: Device,
    now: datetime,
) -> int:
    """
    Begin a second audit, or go on with one's own.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The second auditor, never the first.
    check_id : int
        The choice.
    client_id : str
        Id made by the device; beginning twice with the same one returns the same audit.
    device : Device
        The auditor's device.
    now : datetime
        The present.

    Returns
    -------
    int
        The audit's id.

    Raises
    ------
    Conflict
        If it is given up, comes too late, or somebody else makes it; or if the id was used.
    NotAllowed
        If the person has scored these trees already.
    NotFound
        If the farm has no such choice.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        line = _line(connection, actor.farm_id, check_id)
        if line.check_auditor_id == actor.user_id and line.check_audit_id is not None:
            return line.check_audit_id
        _refuse_ended(connection, actor.farm_id, line, now)
        if line.check_auditor_id is not None:
            raise Conflict(say("Somebody else makes this second audit already."))
        if not _may_make(connection, actor, line):
            raise NotAllowed(
                say("You have scored these trees yourself. Somebody else makes the second audit.")
            )
        if queries.audit_by_client_id(connection, actor.farm_id, client_id) is not None:
            raise Conflict(say("This page was used already. Load it again."))
        audit_id = add_audit(
            connection, actor, line.draw_id, client_id=client_id, device=device, now=now
        )
        connection.execute(
            double_check.update()
            .where(double_check.c.farm_id == actor.farm_id, double_check.c.id == check_id)
            .values(check_audit_id=audit_id)
        )
        return audit_id


def give_up_second_audit(database: Database, actor: Actor, check_id: int, now: datetime) -> None:
    """
    Give a second audit up, so that the answers of the first one show.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    check_id : int
        The choice.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If it is made or given up already.
    NotAllowed
        If the person made the first audit: who is checked does not decide whether.
    NotFound
        If the farm has no such choice.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        line = _line(connection, actor.farm_id, check_id)
        if line.check_sealed_at is not None or line.waived_at is not None:
            raise Conflict(say("This second audit is made or given up already."))
        if line.auditor_id == actor.user_id and _others(connection, actor):
            raise NotAllowed(say("You made the first audit. Somebody else decides this."))
        _give_up(connection, actor.farm_id, check_id, actor.user_id, now)


def _others(connection: sa.Connection, actor: Actor) -> list[User]:
    return [
        user
        for user in account_queries.users(connection, actor.farm_id)
        if may_keep_phones(user) and user.id != actor.user_id
    ]


def _line(connection: sa.Connection, farm_id: int, check_id: int) -> CheckLine:
    lines = check_queries.check_lines(connection, farm_id, check_id=check_id)
    if not lines:
        raise NotFound(_NOT_THERE)
    return lines[0]


def _refuse_ended(connection: sa.Connection, farm_id: int, line: CheckLine, now: datetime) -> None:
    """
    Stop where a second audit is given up or comes too late.

    Raises
    ------
    Conflict
        With the reason.
    """
    if line.waived_at is not None:
        raise Conflict(say("This second audit was given up."))
    late = why_too_late(connection, farm_id, line, now)
    if late is not None:
        raise Conflict(late)
