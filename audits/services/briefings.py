"""
Safety briefs: who was given which, until when it holds, and who may not start without it.

These are the farm's own notes. Who may use a ladder or a platform by law is not for them to say.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final, TypedDict, Unpack

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import Actor, Crew, SafetyBriefing, Worker
from audits.services.access import require_crew_lead
from audits.services.accounts import LANGUAGES
from audits.services.attendance import people_there
from audits.services.entries import Entries
from audits.services.farms import the_farm
from audits.services.name_order import by_name
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import briefings as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries.fetch import insert_many
from audits.storage.tables import safety_briefing
from audits.vocabulary import Method

# Nobody starts with these before the brief: whoever falls from them is hurt.
BRIEFED_METHODS: Final = (Method.LADDER, Method.PLATFORM)
# A brief that lapses within so many days is said ahead, so that it can be held again in time.
SOON_DAYS: Final = 14


class BriefState(StrEnum):
    """How somebody stands with the brief of a method on a day."""

    HOLDS = "holds"
    LAPSES_SOON = "lapses_soon"
    LAPSED = "lapsed"
    MISSING = "missing"


class BriefingEntry(TypedDict):
    """What is entered for a brief of one person or several; no language means each one's own."""

    worker_ids: Sequence[int]
    method: Method
    held_on: date
    language: str | None


@dataclass(frozen=True)
class BriefStanding:
    """
    How a worker stands with the brief of a method on a day.

    Parameters
    ----------
    worker : Worker
        The worker.
    method : Method
        The method.
    state : BriefState
        How it stands.
    briefing : SafetyBriefing or None
        The brief that holds the longest, lapsed or not; None where none was noted.
    """

    worker: Worker
    method: Method
    state: BriefState
    briefing: SafetyBriefing | None

    @property
    def may_start(self) -> bool:
        """Whether the farm's own record lets the worker start."""
        return self.state in {BriefState.HOLDS, BriefState.LAPSES_SOON}


@dataclass(frozen=True)
class BriefingList:
    """
    How everybody stands with the briefs, and what was noted last.

    Parameters
    ----------
    day : date
        The day that is looked at.
    days : int
        For how many days a brief holds that is noted now.
    crews : Mapping of int to Crew
        The farm's crews, by id.
    standings : Mapping of Method to list of BriefStanding
        For each method that needs a brief everybody who works here, by name.
    latest : list of SafetyBriefing
        What was noted, the latest first.
    workers : Mapping of int to Worker
        Everybody who ever worked here, by id.
    people : Mapping of int to str
        Names of those who noted.
    """

    day: date
    days: int
    crews: Mapping[int, Crew]
    standings: Mapping[Method, list[BriefStanding]]
    latest: list[SafetyBriefing]
    workers: Mapping[int, Worker]
    people: Mapping[int, str]


def note_briefing(
    database: Database, actor: Actor, now: datetime, **entry: Unpack[BriefingEntry]
) -> int:
    """
    Note a safety brief, for everybody who was there at once; sending it twice changes nothing.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    now : datetime
        The present.
    **entry : Unpack[BriefingEntry]
        What is entered.

    Returns
    -------
    int
        The number of people for whom it is noted.

    Raises
    ------
    InvalidInput
        If an entry cannot be taken; nothing is noted then.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    method, day, language = entry["method"], entry["held_on"], entry["language"]
    with database.write() as connection:
        farm = the_farm(connection, actor.farm_id)
        here = {worker.id: worker for worker in farm_queries.workers(connection, farm.id)}
        entries = Entries()
        worker_ids = people_there(entries, farm, entry["worker_ids"], here, day, now)
        if language is not None and language not in LANGUAGES:
            entries.add("language", say("Choose one of the languages offered."))
        entries.stop_if_any()
        noted = {
            briefing.worker_id
            for briefing in queries.briefings(connection, farm.id, worker_ids)
            if (briefing.method, briefing.held_on) == (method, day)
        }
        insert_many(
            connection,
            safety_briefing,
            [
                {
                    "farm_id": farm.id,
                    "worker_id": worker_id,
                    "method": method,
                    "language": language or here[worker_id].language,
                    "held_on": day,
                    # The day of the brief is the first on which it holds.
                    "holds_until": day + timedelta(days=farm.briefing_days - 1),
                    "noted_at": now,
                    "noted_by": actor.user_id,
                }
                for worker_id in worker_ids
                if worker_id not in noted
            ],
        )
        return len(worker_ids)


def withdraw_briefing(database: Database, actor: Actor, briefing_id: int, now: datetime) -> None:
    """
    Withdraw a brief that was noted by mistake; the note itself is kept.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    briefing_id : int
        The note.
    now : datetime
        The present.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If there is no such note.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        if queries.briefing_by_id(connection, actor.farm_id, briefing_id) is None:
            raise NotFound(say("There is no such brief."))
        connection.execute(
            safety_briefing.update()
            .where(
                safety_briefing.c.farm_id == actor.farm_id,
                safety_briefing.c.id == briefing_id,
                safety_briefing.c.withdrawn_at.is_(None),
            )
            .values(withdrawn_at=now, withdrawn_by=actor.user_id)
        )


def standing_on(
    worker: Worker, method: Method, briefings: Iterable[SafetyBriefing], day: date
) -> BriefStanding:
    """
    Tell how a worker stands with the brief of a method.

    Parameters
    ----------
    worker : Worker
        The worker.
    method : Method
        The method.
    briefings : Iterable of SafetyBriefing
        Briefs of anybody that were not withdrawn.
    day : date
        The day that is looked at; briefs held later do not count.

    Returns
    -------
    BriefStanding
        The state, with the brief that holds the longest.
    """
    own = [
        briefing
        for briefing in briefings
        if (briefing.worker_id, briefing.method) == (worker.id, method) and briefing.held_on <= day
    ]
    if not own:
        return BriefStanding(worker, method, BriefState.MISSING, None)
    latest = max(own, key=lambda briefing: (briefing.holds_until, briefing.id))
    if latest.holds_until < day:
        state = BriefState.LAPSED
    elif latest.holds_until < day + timedelta(days=SOON_DAYS):
        state = BriefState.LAPSES_SOON
    else:
        state = BriefState.HOLDS
    return BriefStanding(worker, method, state, latest)


def view_briefings(database: Database, actor: Actor, day: date) -> BriefingList:
    """
    Return how everybody stands with the briefs.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    day : date
        The day that is looked at.

    Returns
    -------
    BriefingList
        For each method that needs a brief everybody by name, and the latest notes.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        everyone = farm_queries.workers(connection, farm.id, with_retired=True)
        noted = queries.briefings(connection, farm.id)
        crews = farm_queries.crews(connection, farm.id, with_retired=True)
        users = account_queries.users(connection, farm.id)
    here = by_name(worker for worker in everyone if not worker.retired)
    return BriefingList(
        day=day,
        days=farm.briefing_days,
        crews={crew.id: crew for crew in crews},
        standings={
            method: [standing_on(worker, method, noted, day) for worker in here]
            for method in BRIEFED_METHODS
        },
        latest=noted,
        workers={worker.id: worker for worker in everyone},
        people={user.id: user.name for user in users},
    )


def who_may_not_start(
    database: Database, actor: Actor, method: Method, day: date
) -> list[BriefStanding]:
    """
    List who may not start with a method, by the farm's own record.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    method : Method
        The method.
    day : date
        The day of the work.

    Returns
    -------
    list of BriefStanding
        Everybody here whose brief is missing or has lapsed, by name.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        here = by_name(farm_queries.workers(connection, actor.farm_id))
        noted = queries.briefings(connection, actor.farm_id)
    standings = [standing_on(worker, method, noted, day) for worker in here]
    return [standing for standing in standings if not standing.may_start]


def without_brief(
    database: Database, actor: Actor, work: Collection[tuple[int, Method]], day: date
) -> dict[tuple[int, Method], list[Worker]]:
    """
    Tell who of some crews may not start with the method in which each works.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    work : Collection of tuple of int and Method
        Crews by id, each with its method.
    day : date
        The day of the work.

    Returns
    -------
    dict of tuple of int and Method to list of Worker
        Those whose brief is missing or has lapsed, by name; only where there is anybody, and only
        methods that need a brief.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    asked = [(crew_id, method) for crew_id, method in work if method in BRIEFED_METHODS]
    if not asked:
        return {}
    with database.read() as connection:
        briefed = _briefed(connection, actor.farm_id, {method for _, method in asked}, day)
        here = by_name(farm_queries.workers(connection, actor.farm_id))
    missing = {
        (crew_id, method): [
            worker
            for worker in here
            if worker.crew_id == crew_id and (worker.id, method) not in briefed
        ]
        for crew_id, method in asked
    }
    return {key: people for key, people in missing.items() if people}


def _briefed(
    connection: sa.Connection, farm_id: int, methods: Collection[Method], day: date
) -> set[tuple[int, Method]]:
    found = queries.briefings_in_force(connection, farm_id, methods, day)
    return {(briefing.worker_id, briefing.method) for briefing in found}
