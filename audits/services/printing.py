"""Print batches: cards or gauges printed together, the checks of their scale, what may be used."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any, Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, NotFound
from audits.gauges import BatchState, GaugeLimits, batch_state, gauge_limits, keeps_scale
from audits.messages import say
from audits.records import Actor, Farm, PrintBatch, PrintCheck, StandardVersion
from audits.seasons import season_of, season_span
from audits.services.access import require_crew_lead
from audits.services.entries import Entries
from audits.services.farms import the_block, the_farm
from audits.services.printers import the_printer
from audits.standard import read_standard
from audits.storage.database import Database
from audits.storage.queries import printing as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.printing import BatchLine, CheckLine
from audits.storage.tables import print_batch, print_check
from audits.units import kept_length
from audits.vocabulary import BatchKind, CheckOccasion

MOST_COPIES: Final = 2_000
# What a steel rule can show on a bar of 100 mm before somebody has read another one.
_BAR_READ_MM: Final = (50.0, 150.0)
# What a column of whole numbers holds on both databases.
_LARGEST: Final = 2**31 - 1


@dataclass(frozen=True)
class BatchOrder:
    """
    What is printed together.

    Parameters
    ----------
    kind : BatchKind
        Cards or gauges.
    block_id : int
        The block whose numbers they carry.
    standard_version_id : int
        The version of its standard.
    printer_id : int or None
        The printer; None where it is not one of the list.
    choices : Mapping of str to object
        All that was chosen, as JSON values, so that it can be printed again alike.
    copies : int
        How many cards or sheets of gauges.
    """

    kind: BatchKind
    block_id: int
    standard_version_id: int
    printer_id: int | None
    choices: Mapping[str, Any]
    copies: int


class CardStanding(StrEnum):
    """Where a card that somebody holds stands against its block's standard."""

    IN_FORCE = "in_force"
    REPLACED = "replaced"
    TO_COME = "to_come"
    OTHER_BLOCK = "other_block"
    WITHDRAWN = "withdrawn"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class CardInHand:
    """
    A card that somebody holds.

    Parameters
    ----------
    standing : CardStanding
        Where it stands.
    number : int
        The number of its print batch, as it was told.
    block : str or None
        The block that it is for; None where no batch has the number.
    version : int or None
        Number of the standard's version that it shows; None as above.
    begins_on : date or None
        From when that version is in force; None as above.
    in_force : StandardVersion or None
        What is in force in the block today, if anything is.
    """

    standing: CardStanding
    number: int
    block: str | None
    version: int | None
    begins_on: date | None
    in_force: StandardVersion | None


@dataclass(frozen=True)
class BatchView:
    """
    A print batch as it stands.

    Parameters
    ----------
    batch : PrintBatch
        The batch.
    block : str
        Name of its block.
    version : int
        Number of the standard's version.
    limits : GaugeLimits
        What its gauges show.
    printer : str or None
        Name of its printer.
    maker : str or None
        Who printed it; None where the command line did.
    checks : Sequence of CheckLine
        Its checks with who made them, the newest first.
    state : BatchState
        Whether its gauges may be used.
    """

    batch: PrintBatch
    block: str
    version: int
    limits: GaugeLimits
    printer: str | None
    maker: str | None
    checks: Sequence[CheckLine]
    state: BatchState

    @property
    def number(self) -> int:
        """Its number on this farm, as it stands on the cards after a B."""
        return self.batch.number

    @property
    def is_usable(self) -> bool:
        """Whether its gauges may be used now."""
        return self.state is BatchState.USABLE

    @property
    def latest_check(self) -> CheckLine | None:
        """The check that counts."""
        return next(iter(self.checks), None)


def make_batch(database: Database, actor: Actor, order: BatchOrder, now: datetime) -> PrintBatch:
    """
    Give what is about to be printed a number and keep what was chosen.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    order : BatchOrder
        What is printed.
    now : datetime
        The present.

    Returns
    -------
    PrintBatch
        The batch, not checked yet, with the next number of the farm.

    Raises
    ------
    InvalidInput
        If the printer is retired, the version is another block's, or the number of copies makes
        no sense; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such block, version or printer.
    """
    require_crew_lead(actor)
    return _make(database, actor.farm_id, order, made_by=actor.user_id, now=now)


def make_batch_unattended(
    database: Database, farm_id: int, order: BatchOrder, now: datetime
) -> PrintBatch:
    """
    Give what the command line is about to print a number; nobody has signed in there.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    order : BatchOrder
        What is printed.
    now : datetime
        The present.

    Returns
    -------
    PrintBatch
        The batch, not checked yet, with the next number of the farm.

    Raises
    ------
    InvalidInput
        As in `make_batch`.
    NotFound
        As in `make_batch`.
    """
    return _make(database, farm_id, order, made_by=None, now=now)


def withdraw_batch(database: Database, actor: Actor, number: int, now: datetime) -> None:
    """
    Withdraw a batch for good: its gauges may not be used any more. Twice is once.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    number : int
        The batch's number.
    now : datetime
        The present.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such batch.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        batch = _the_batch(connection, actor.farm_id, number)
        if batch.withdrawn_at is None:
            connection.execute(
                print_batch.update()
                .where(print_batch.c.farm_id == actor.farm_id, print_batch.c.id == batch.id)
                .values(withdrawn_at=now)
            )


def note_check(
    database: Database,
    actor: Actor,
    number: int,
    *,
    occasion: CheckOccasion,
    card_fits: bool,
    across_mm: float | None = None,
    down_mm: float | None = None,
    now: datetime,
) -> PrintCheck:
    """
    Keep a check of a batch's scale; the latest one counts.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    number : int
        The batch's number.
    occasion : CheckOccasion
        Why it is checked.
    card_fits : bool
        Whether all four edges of a bank card lie between the two frames.
    across_mm, down_mm : float or None, optional
        The bars of 100 mm, as read off a steel rule.
    now : datetime
        The present.

    Returns
    -------
    PrintCheck
        The check, passed or not.

    Raises
    ------
    Conflict
        If the batch was withdrawn.
    InvalidInput
        If a bar is no bar of 100 mm; names each field.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such batch.
    """
    require_crew_lead(actor)
    entries = Entries()
    least_mm, most_mm = _BAR_READ_MM
    for field, bar_mm in (("across_mm", across_mm), ("down_mm", down_mm)):
        if bar_mm is not None and not least_mm <= bar_mm <= most_mm:
            # Not by `Entries.length`: a steel rule is read in mm, whatever the farm's units are.
            entries.add(field, say("Read the bar in millimetres: it should be about 100."))
    entries.stop_if_any()
    with database.write() as connection:
        batch = _the_batch(connection, actor.farm_id, number)
        if batch.withdrawn_at is not None:
            raise Conflict(say("This batch was withdrawn. Print a new one."))
        check = PrintCheck(
            id=0,
            print_batch_id=batch.id,
            occasion=occasion,
            checked_at=now,
            checked_by=actor.user_id,
            card_fits=card_fits,
            across_mm=None if across_mm is None else kept_length(across_mm),
            down_mm=None if down_mm is None else kept_length(down_mm),
            passed=keeps_scale(card_fits=card_fits, across_mm=across_mm, down_mm=down_mm),
        )
        return replace(check, id=_insert(connection, print_check, actor.farm_id, check))


def batch_views(database: Database, actor: Actor, now: datetime) -> list[BatchView]:
    """
    List the farm's print batches as they stand.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    now : datetime
        The present.

    Returns
    -------
    list of BatchView
        The newest first.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        return _views(connection, farm, queries.batch_lines(connection, farm.id), now)


def batch_view(database: Database, actor: Actor, number: int, now: datetime) -> BatchView:
    """
    Return one print batch as it stands.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    number : int
        The batch's number.
    now : datetime
        The present.

    Returns
    -------
    BatchView
        The batch with its checks.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such batch.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        _the_batch(connection, actor.farm_id, number)
        (view,) = batches_in(connection, the_farm(connection, actor.farm_id), [number], now)
        return view


def usable_batches(database: Database, actor: Actor, now: datetime) -> list[BatchView]:
    """
    List the batches whose gauges may be used: their latest check, of this season, was passed.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    now : datetime
        The present.

    Returns
    -------
    list of BatchView
        The newest first, whatever block they were printed for.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return usable_in(connection, the_farm(connection, actor.farm_id), now)


def card_in_hand(
    database: Database, actor: Actor, block_id: int, number: int, now: datetime
) -> CardInHand:
    """
    Tell whether a card shows what is in force; whoever holds one may ask.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Anybody of the farm.
    block_id : int
        The block whose page the card leads to.
    number : int
        The number of its print batch.
    now : datetime
        The present.

    Returns
    -------
    CardInHand
        Where it stands; a number that no batch has is told as such.

    Raises
    ------
    NotFound
        If the farm has no such block.
    """
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        block = the_block(connection, farm.id, block_id)
        today = now.astimezone(ZoneInfo(farm.time_zone)).date()
        in_force = standard_queries.standard_in_force(connection, farm.id, block.id, today)
        batch = None
        if 0 < number <= _LARGEST:
            batch = queries.batch_by_number(connection, farm.id, number)
        if batch is None:
            return CardInHand(CardStanding.UNKNOWN, number, None, None, None, in_force)
        version = standard_queries.standard_by_id(connection, farm.id, batch.standard_version_id)
        if version is None:
            raise NotFound(say("There is no such standard."))
        return CardInHand(
            standing=_card_standing(batch, version, block.id, in_force, today),
            number=number,
            block=the_block(connection, farm.id, batch.block_id).name,
            version=version.version,
            begins_on=version.in_force_from,
            in_force=in_force,
        )


def _card_standing(
    batch: PrintBatch,
    version: StandardVersion,
    block_id: int,
    in_force: StandardVersion | None,
    today: date,
) -> CardStanding:
    if batch.withdrawn_at is not None:
        return CardStanding.WITHDRAWN
    if batch.block_id != block_id:
        return CardStanding.OTHER_BLOCK
    if in_force is not None and version.id == in_force.id:
        return CardStanding.IN_FORCE
    return CardStanding.TO_COME if version.in_force_from > today else CardStanding.REPLACED


def usable_in(connection: sa.Connection, farm: Farm, now: datetime) -> list[BatchView]:
    """
    List the batches whose gauges may be used, in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    now : datetime
        The present.

    Returns
    -------
    list of BatchView
        The newest first.
    """
    begin, _ = season_span(_season(farm, now), farm.season_start_month, farm.time_zone)
    lines = queries.standing_batch_lines(connection, farm.id, checked_since=begin)
    return [view for view in _views(connection, farm, lines, now) if view.is_usable]


def batches_in(
    connection: sa.Connection, farm: Farm, numbers: Sequence[int], now: datetime
) -> list[BatchView]:
    """
    Return some batches as they stand, in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    numbers : Sequence of int
        Their numbers; those that no batch has are passed over.
    now : datetime
        The present.

    Returns
    -------
    list of BatchView
        The newest first.
    """
    known = [number for number in numbers if 0 < number <= _LARGEST]
    return _views(connection, farm, queries.batch_lines(connection, farm.id, known), now)


def standing_of_block(
    connection: sa.Connection, farm: Farm, block_id: int, now: datetime
) -> list[BatchView]:
    """
    Return the batches printed for a block that nobody has withdrawn, in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    block_id : int
        The block.
    now : datetime
        The present.

    Returns
    -------
    list of BatchView
        The newest first.
    """
    lines = queries.standing_batch_lines(connection, farm.id, block_id=block_id)
    return _views(connection, farm, lines, now)


def _make(
    database: Database, farm_id: int, order: BatchOrder, *, made_by: int | None, now: datetime
) -> PrintBatch:
    with database.write() as connection:
        _refuse_misfits(connection, farm_id, order)
        batch = PrintBatch(
            id=0,
            # Writers go one at a time, so that nobody else takes the number meanwhile.
            number=queries.last_batch_number(connection, farm_id) + 1,
            kind=order.kind,
            block_id=order.block_id,
            standard_version_id=order.standard_version_id,
            printer_id=order.printer_id,
            choices=dict(order.choices),
            copies=order.copies,
            made_at=now,
            made_by=made_by,
            withdrawn_at=None,
        )
        return replace(batch, id=_insert(connection, print_batch, farm_id, batch))


def _insert(
    connection: sa.Connection, table: sa.Table, farm_id: int, record: PrintBatch | PrintCheck
) -> int:
    values = {name: value for name, value in vars(record).items() if name != "id"}
    return insert(connection, table, {"farm_id": farm_id, **values})


def _refuse_misfits(connection: sa.Connection, farm_id: int, order: BatchOrder) -> None:
    entries = Entries()
    block = the_block(connection, farm_id, order.block_id)
    version = standard_queries.standard_by_id(connection, farm_id, order.standard_version_id)
    if version is None:
        raise NotFound(say("There is no such standard."))
    if version.block_id != block.id:
        entries.add("standard_version", say("This standard is another block's."))
    if order.printer_id is not None:
        printer = the_printer(connection, farm_id, order.printer_id)
        if printer.retired:
            entries.add("printer", say("This printer is not used any more. Choose another."))
    entries.whole("copies", order.copies, least=1, most=MOST_COPIES)
    entries.stop_if_any()


def _the_batch(connection: sa.Connection, farm_id: int, number: int) -> PrintBatch:
    found = None
    if 0 < number <= _LARGEST:
        found = queries.batch_by_number(connection, farm_id, number)
    if found is None:
        raise NotFound(say("There is no such print batch."))
    return found


def _views(
    connection: sa.Connection, farm: Farm, lines: Sequence[BatchLine], now: datetime
) -> list[BatchView]:
    checks = queries.check_lines(connection, farm.id, [line.batch.id for line in lines])
    season = _season(farm, now)
    views = []
    for line in lines:
        own = checks.get(line.batch.id, [])
        latest = own[0].check if own else None
        views.append(
            BatchView(
                batch=line.batch,
                block=line.block,
                version=line.version,
                limits=gauge_limits(read_standard(line.standard)),
                printer=line.printer,
                maker=line.maker,
                checks=own,
                state=batch_state(
                    withdrawn=line.batch.withdrawn_at is not None,
                    passed=None if latest is None else latest.passed,
                    checked_in=None if latest is None else _season(farm, latest.checked_at),
                    season=season,
                ),
            )
        )
    return views


def _season(farm: Farm, at: datetime) -> int:
    day = at.astimezone(ZoneInfo(farm.time_zone)).date()
    return season_of(day, farm.season_start_month)
