"""Passes as pages show them: the season's list, one pass with all that belongs to it, a new one."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import (
    Actor,
    AssignmentRow,
    Block,
    Crew,
    CrewPass,
    Lot,
    PassRow,
    Row,
    StandardVersion,
    Worker,
)
from audits.sampling import EffortState
from audits.seasons import season_of, season_span
from audits.services.access import require_crew_lead
from audits.services.effort import effort_of_pass
from audits.services.farms import the_block, the_crew, the_farm
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import pass_lists
from audits.storage.queries import passes as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.pass_lists import PassLine, StartCheck
from audits.vocabulary import LotState


@dataclass(frozen=True)
class PassList:
    """
    The passes of a season.

    Parameters
    ----------
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons in which a pass began, the latest first.
    lines : list of PassLine
        The passes, newest first.
    lots : Mapping of int to Mapping of LotState to int
        For each pass, how many of its lots stand in each state.
    """

    season: int
    seasons: list[int]
    lines: list[PassLine]
    lots: Mapping[int, Mapping[LotState, int]]


@dataclass(frozen=True)
class LotOfPass:
    """
    A lot with its rows.

    Parameters
    ----------
    lot : Lot
        The lot.
    row_ids : tuple of int
        Its rows, in the order in which they were finished.
    """

    lot: Lot
    row_ids: tuple[int, ...]


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
    standard : StandardVersion
        The version of the block's standard that its audits go by.
    rows : list of tuple of PassRow and Row
        Its rows, in the order in which they are pruned.
    lots : list of LotOfPass
        Its lots, by number.
    assignments : list of AssignmentRow
        Who did what, by row and position.
    people : list of Worker
        The workers of its crew, by code.
    named : Mapping of int to Worker
        Everyone who is named in the pass or is of its crew, by id.
    start_checks : list of StartCheck
        Its start checks, oldest first.
    rework_order_id : int or None
        The rework order that it carried out, if it is a rework pass.
    effort : EffortState or None
        How many of its next lots are audited; None where every lot is, whatever the history.
    """

    crew_pass: CrewPass
    block: Block
    crew: Crew
    standard: StandardVersion
    rows: list[tuple[PassRow, Row]]
    lots: list[LotOfPass]
    assignments: list[AssignmentRow]
    people: list[Worker]
    named: Mapping[int, Worker]
    start_checks: list[StartCheck]
    rework_order_id: int | None
    effort: EffortState | None


@dataclass(frozen=True)
class NewPass:
    """
    What a new pass of a block may be made of.

    Parameters
    ----------
    block : Block
        The block.
    rows : list of Row
        Its rows, by number.
    done : frozenset of int
        Ids of the rows that some pass of this season goes through already.
    crews : list of tuple of Crew and int
        Crews, by name, each with the number of its workers.
    standard : StandardVersion or None
        The version in force that day.
    """

    block: Block
    rows: list[Row]
    done: frozenset[int]
    crews: list[tuple[Crew, int]]
    standard: StandardVersion | None


def list_passes(database: Database, actor: Actor, season: int) -> PassList:
    """
    Return the passes of a season.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    PassList
        The passes with their lots counted.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        zone = ZoneInfo(farm.time_zone)
        span = season_span(season, farm.season_start_month, farm.time_zone)
        lots: dict[int, Counter[LotState]] = defaultdict(Counter)
        for count in pass_lists.lot_counts(connection, farm.id, span.begin, span.end):
            lots[count.crew_pass_id][count.state] = count.lots
        starts = pass_lists.starts_of_passes(connection, farm.id)
        seasons = {
            season_of(start.astimezone(zone).date(), farm.season_start_month) for start in starts
        }
        return PassList(
            season=season,
            seasons=sorted(seasons, reverse=True),
            lines=pass_lists.passes_begun(connection, farm.id, span.begin, span.end),
            lots=lots,
        )


def view_pass(database: Database, actor: Actor, pass_id: int) -> PassView:
    """
    Return a pass with its block, crew, rows, lots, people and start checks.

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
    farm_id = actor.farm_id
    with database.read() as connection:
        found = queries.crew_pass_by_id(connection, farm_id, pass_id)
        version = (
            standard_queries.standard_by_id(connection, farm_id, found.standard_version_id)
            if found
            else None
        )
        if found is None or version is None:
            raise NotFound(say("There is no such pass."))
        rows = {
            row.id: row for row in farm_queries.rows_of_block(connection, farm_id, found.block_id)
        }
        everyone = farm_queries.workers(connection, farm_id, with_retired=True)
        assignments = queries.assignments(connection, farm_id, pass_id)
        start_checks = pass_lists.start_checks_of_passes(connection, farm_id, [pass_id])
        people = [w for w in everyone if w.crew_id == found.crew_id and not w.retired]
        named = {row.worker_id for row in assignments} | {c.worker_id for c in start_checks}
        return PassView(
            crew_pass=found,
            block=the_block(connection, farm_id, found.block_id),
            crew=the_crew(connection, farm_id, found.crew_id),
            standard=version,
            rows=[
                (part, rows[part.orchard_row_id])
                for part in queries.pass_rows(connection, farm_id, pass_id)
            ],
            lots=_lots(connection, farm_id, pass_id),
            assignments=assignments,
            people=people,
            named={w.id: w for w in everyone if w in people or w.id in named},
            start_checks=start_checks,
            rework_order_id=pass_lists.rework_order_id_of_pass(connection, farm_id, pass_id),
            effort=effort_of_pass(connection, farm_id, found, standard_of(version)),
        )


def view_new_pass(database: Database, actor: Actor, block_id: int, day: date) -> NewPass:
    """
    Return what a new pass of a block may be made of.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    block_id : int
        The block.
    day : date
        The farm's day.

    Returns
    -------
    NewPass
        Rows, crews and the standard in force.

    Raises
    ------
    NotFound
        If the farm has no such block.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        season = season_of(day, farm.season_start_month)
        span = season_span(season, farm.season_start_month, farm.time_zone)
        sizes = Counter(worker.crew_id for worker in farm_queries.workers(connection, farm.id))
        return NewPass(
            block=the_block(connection, farm.id, block_id),
            rows=farm_queries.rows_of_block(connection, farm.id, block_id),
            done=pass_lists.row_ids_in_passes(connection, farm.id, block_id, span.begin, span.end),
            crews=[(crew, sizes[crew.id]) for crew in farm_queries.crews(connection, farm.id)],
            standard=standard_queries.standard_in_force(connection, farm.id, block_id, day),
        )


def _lots(connection: sa.Connection, farm_id: int, pass_id: int) -> list[LotOfPass]:
    rows: dict[int, list[int]] = defaultdict(list)
    for part in pass_lists.lot_ranges_of_pass(connection, farm_id, pass_id):
        rows[part.lot_id].append(part.orchard_row_id)
    return [
        LotOfPass(lot, tuple(rows[lot.id]))
        for lot in queries.lots_of_pass(connection, farm_id, pass_id)
    ]
