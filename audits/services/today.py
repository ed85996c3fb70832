"""Today: what waits for somebody, read in as many statements however much there is."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.records import Actor, Farm, Worker
from audits.seasons import season_of, season_span
from audits.services.access import require_crew_lead
from audits.services.farms import the_farm
from audits.services.standards import standard_of
from audits.services.start_checks import FIRST_HOUR
from audits.services.trends import WorkerSignal, workers_with_signal
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import pass_lists
from audits.storage.queries import today as queries
from audits.storage.queries.today import OpenAudit, OpenLot, OpenOrder, PassAtWork
from audits.vocabulary import LotState, PassKind, Purpose


@dataclass(frozen=True)
class WaitingLot:
    """
    A lot that is finished and not audited.

    Parameters
    ----------
    lot : OpenLot
        The lot.
    row_numbers : tuple of int
        Its rows.
    finished_on : date
        The farm's day on which it was finished.
    audit_by : date
        The last day on which its standard wants it audited, before brush is mulched.
    days_late : int
        Days since then; 0 or less while there is time.
    is_drawn : bool
        Whether its trees are drawn ahead.
    """

    lot: OpenLot
    row_numbers: tuple[int, ...]
    finished_on: date
    audit_by: date
    days_late: int
    is_drawn: bool


@dataclass(frozen=True)
class BegunLot:
    """
    A lot whose audit is begun and not sealed, or drawn ahead for its re-audit.

    Parameters
    ----------
    lot : OpenLot
        The lot.
    row_numbers : tuple of int
        Its rows.
    audits : tuple of OpenAudit
        The audits of its draw, oldest first; none where it is only drawn.
    """

    lot: OpenLot
    row_numbers: tuple[int, ...]
    audits: tuple[OpenAudit, ...]


@dataclass(frozen=True)
class ReworkLot:
    """
    A lot that went back.

    Parameters
    ----------
    lot : OpenLot
        The lot.
    row_numbers : tuple of int
        Its rows.
    order : OpenOrder
        Its latest rework order.
    """

    lot: OpenLot
    row_numbers: tuple[int, ...]
    order: OpenOrder

    @property
    def is_done(self) -> bool:
        """Whether the rework is done, so that the lot waits for its re-audit."""
        return self.order.done_at is not None


@dataclass(frozen=True)
class StartChecksOfPass:
    """
    Whose start check is missing in a pass begun today.

    Parameters
    ----------
    crew_pass : PassAtWork
        The pass.
    missing : tuple of Worker
        Workers of its crew without a closed start check, by code.
    people : int
        Workers of its crew.
    first_hour_ends : datetime
        Until when the start check is worth most.
    """

    crew_pass: PassAtWork
    missing: tuple[Worker, ...]
    people: int
    first_hour_ends: datetime


@dataclass(frozen=True)
class TodayView:
    """
    What waits today.

    Parameters
    ----------
    day : date
        The farm's day.
    waiting : list of WaitingLot
        Lots to audit, the one that is due first on top.
    begun : list of BegunLot
        Lots whose audit is begun.
    rework : list of ReworkLot
        Lots that went back, those to be redone and those to be audited again.
    signals : list of WorkerSignal
        Workers whose latest trees need a look, by name.
    start_checks : list of StartChecksOfPass
        Passes begun today in which a start check is missing.
    at_work : list of PassAtWork
        Passes that somebody works in, newest first.
    """

    day: date
    waiting: list[WaitingLot]
    begun: list[BegunLot]
    rework: list[ReworkLot]
    signals: list[WorkerSignal]
    start_checks: list[StartChecksOfPass]
    at_work: list[PassAtWork]


def view_today(database: Database, actor: Actor, now: datetime) -> TodayView:
    """
    Return what waits today.

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
    TodayView
        Lots, workers with a signal, missing start checks and passes at work.

    Raises
    ------
    NotFound
        If there is no such farm.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        zone = ZoneInfo(farm.time_zone)
        day = now.astimezone(zone).date()
        season = season_of(day, farm.season_start_month)
        at_work = queries.passes_at_work(
            connection,
            farm.id,
            since=season_span(season, farm.season_start_month, farm.time_zone).begin,
            day_begin=datetime.combine(day, time.min, zone),
            now=now,
        )
        lots = queries.open_lots(connection, farm.id)
        audits = _audits_by_lot(connection, farm.id)
        drawn = _drawn_for_first_audit(connection, farm.id) - audits.keys()
        rows = _rows_by_lot(connection, farm.id)
        return TodayView(
            day=day,
            waiting=_waiting(connection, farm, lots, rows, day, drawn=drawn),
            begun=_begun([lot for lot in lots if lot.id not in drawn], rows, audits),
            rework=_rework(connection, farm.id, lots, rows),
            signals=workers_with_signal(connection, farm, season),
            start_checks=_start_checks(connection, farm, at_work, day),
            at_work=at_work,
        )


def _rows_by_lot(connection: sa.Connection, farm_id: int) -> dict[int, tuple[int, ...]]:
    rows: dict[int, list[int]] = defaultdict(list)
    for row in queries.rows_of_open_lots(connection, farm_id):
        rows[row.lot_id].append(row.row_number)
    return {lot_id: tuple(numbers) for lot_id, numbers in rows.items()}


def _waiting(
    connection: sa.Connection,
    farm: Farm,
    lots: Sequence[OpenLot],
    rows: Mapping[int, tuple[int, ...]],
    day: date,
    *,
    drawn: Collection[int],
) -> list[WaitingLot]:
    zone = ZoneInfo(farm.time_zone)
    days_allowed = {
        version.id: standard_of(version).audit_within_days
        for version in queries.standards_of_open_lots(connection, farm.id)
    }
    waiting = []
    for lot in lots:
        if lot.state is LotState.WAITING or lot.id in drawn:
            finished_on = lot.finished_at.astimezone(zone).date()
            audit_by = finished_on + timedelta(days=days_allowed[lot.standard_version_id])
            waiting.append(
                WaitingLot(
                    lot,
                    rows.get(lot.id, ()),
                    finished_on,
                    audit_by,
                    (day - audit_by).days,
                    is_drawn=lot.id in drawn,
                )
            )
    return sorted(waiting, key=lambda one: (one.audit_by, one.lot.finished_at, one.lot.id))


def _begun(
    lots: Sequence[OpenLot],
    rows: Mapping[int, tuple[int, ...]],
    audits: Mapping[int, Sequence[OpenAudit]],
) -> list[BegunLot]:
    return [
        BegunLot(lot, rows.get(lot.id, ()), tuple(audits.get(lot.id, ())))
        for lot in lots
        if lot.state is LotState.IN_AUDIT
    ]


def _audits_by_lot(connection: sa.Connection, farm_id: int) -> dict[int, list[OpenAudit]]:
    audits: dict[int, list[OpenAudit]] = defaultdict(list)
    for found in queries.open_audits(connection, farm_id):
        audits[found.lot_id].append(found)
    return dict(audits)


def _drawn_for_first_audit(connection: sa.Connection, farm_id: int) -> set[int]:
    """Return the lots drawn for their first audit, which wait until it begins."""
    # Oldest first, so that the latest draw of a lot stays.
    latest = {drawn.lot_id: drawn.purpose for drawn in queries.open_draws(connection, farm_id)}
    return {lot_id for lot_id, purpose in latest.items() if purpose is Purpose.FIRST}


def _rework(
    connection: sa.Connection,
    farm_id: int,
    lots: Sequence[OpenLot],
    rows: Mapping[int, tuple[int, ...]],
) -> list[ReworkLot]:
    # Oldest first, so that the latest order of a lot stays.
    orders = {order.lot_id: order for order in queries.open_orders(connection, farm_id)}
    return [
        ReworkLot(lot, rows.get(lot.id, ()), orders[lot.id]) for lot in lots if lot.id in orders
    ]


def _start_checks(
    connection: sa.Connection, farm: Farm, at_work: Sequence[PassAtWork], day: date
) -> list[StartChecksOfPass]:
    zone = ZoneInfo(farm.time_zone)
    begun_today = [
        found
        for found in at_work
        if found.kind is not PassKind.REWORK and found.started_at.astimezone(zone).date() == day
    ]
    if not begun_today:
        return []
    checks = pass_lists.start_checks_of_passes(
        connection, farm.id, [found.id for found in begun_today]
    )
    checked = {(check.crew_pass_id, check.worker_id) for check in checks if check.sealed_at}
    workers = farm_queries.workers(connection, farm.id)
    passes = []
    for found in begun_today:
        people = [worker for worker in workers if worker.crew_id == found.crew_id]
        missing = tuple(person for person in people if (found.id, person.id) not in checked)
        if missing:
            passes.append(
                StartChecksOfPass(found, missing, len(people), found.started_at + FIRST_HOUR)
            )
    return passes
