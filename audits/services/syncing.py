"""Syncing: what phones send is taken once, in their own order, and nothing of it is ever lost."""

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Final

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.phone_items import ItemKind, Parcel, open_parcel, reread
from audits.records import DeviceRow, User
from audits.services.access import may_keep_phones
from audits.services.applying import Applying, HeldBack, Sender, actor_of
from audits.services.devices import note_contact
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import devices as device_queries
from audits.storage.queries import receipts as queries
from audits.storage.queries.fetch import insert_many
from audits.storage.tables import receipt
from audits.vocabulary import HeldBecause, ReceiptState

STORED: Final = "stored"
DUPLICATE: Final = "duplicate"
REJECTED: Final = "rejected"

_log = logging.getLogger(__name__)

_EFFECTIVE: Final = frozenset({ReceiptState.STORED, ReceiptState.TAKEN})
# What a later word of the phone on the same tree leaves without effect.
_OVERTAKEN: Final = frozenset({ItemKind.TREE, ItemKind.TAKE_BACK})
_OF_TREES: Final = _OVERTAKEN | {ItemKind.NOT_A_TREE}
# What a single item could still set off, however well it was looked through. Trouble of the
# database itself is not among it: then nothing is answered, and the phone comes again.
_ITS_OWN_FAULT: Final = (
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
    RecursionError,
    sa.exc.DataError,
    sa.exc.IntegrityError,
)


@dataclass(frozen=True)
class Batch:
    """
    Items as one phone sent them together.

    Parameters
    ----------
    device : DeviceRow
        The phone, whose signature was checked.
    sent_at : datetime or None
        When, by the phone's own clock; None where it cannot be told.
    items : Sequence of object
        Parsed JSON values, whatever they are.
    """

    device: DeviceRow
    sent_at: datetime | None
    items: Sequence[object]

    def clock_ahead_ms(self, now: datetime) -> int | None:
        """
        Return how far the phone's clock is ahead.

        Parameters
        ----------
        now : datetime
            The present.

        Returns
        -------
        int or None
            In ms, negative where it is behind; None where the phone did not say.
        """
        if self.sent_at is None:
            return None
        return round((self.sent_at - now).total_seconds() * 1000)


@dataclass(frozen=True)
class ItemReceipt:
    """
    What became of one item.

    Parameters
    ----------
    id : str
        The item's id, or what it is kept under if it has none.
    outcome : str
        ``stored``; ``duplicate`` where it was stored before; ``rejected`` where it is held back
        for a person to decide.
    because : HeldBecause or None
        Why it is held back.
    """

    id: str
    outcome: str
    because: HeldBecause | None


@dataclass(eq=False)
class _Fate:
    """What becomes of a parcel while its batch is worked through."""

    parcel: Parcel
    state: ReceiptState = ReceiptState.STORED
    because: HeldBecause | None = None
    against: Mapping[str, object] | None = None
    copy_of: "_Fate | None" = None

    def hold(self, because: HeldBecause, against: Mapping[str, object] | None = None) -> None:
        self.state, self.because, self.against = ReceiptState.HELD, because, against

    @property
    def receipt(self) -> ItemReceipt:
        known = self if self.copy_of is None else self.copy_of
        if known.state not in _EFFECTIVE:
            return ItemReceipt(self.parcel.key, REJECTED, known.because)
        return ItemReceipt(self.parcel.key, STORED if known is self else DUPLICATE, None)


def sync_items(database: Database, batch: Batch, now: datetime) -> list[ItemReceipt]:
    """
    Take what a phone sent.

    Items are taken in the order of the phone's counter, each once for ever: a copy changes
    nothing and gets the same answer. An item that cannot be taken is held back with the reason for
    a person to decide, and the others are taken. A wrong clock holds nothing back.

    Parameters
    ----------
    database : Database
        The farm's database.
    batch : Batch
        The items.
    now : datetime
        The present.

    Returns
    -------
    list of ItemReceipt
        One for each item, in the order in which they were sent. Everything that they speak of is
        safe on disk by then.

    Raises
    ------
    NotFound
        If the phone is not enrolled.
    """
    parcels = [open_parcel(item) for item in batch.items]
    with database.write() as connection:
        farm_id = queries.farm_of_device(connection, batch.device.id)
        if farm_id is None:
            raise NotFound(say("This phone is not enrolled."))
        # Read again: it may have been revoked since the request came in.
        device = device_queries.device_by_id(connection, farm_id, batch.device.id)
        user = account_queries.user_by_id(connection, farm_id, batch.device.user_account_id)
        if device is None or user is None:
            raise NotFound(say("This phone is not enrolled."))
        fates = _Taking(connection, device, user, now).take(parcels, batch.sent_at)
        _write_receipts(connection, device, farm_id, fates, now)
        note_contact(connection, device, now, batch.clock_ahead_ms(now))
    receipts = {id(fate.parcel): fate.receipt for fate in fates}
    return [receipts[id(parcel)] for parcel in parcels]


class _Taking:
    """One batch being taken in one transaction."""

    def __init__(
        self, connection: sa.Connection, device: DeviceRow, user: User, now: datetime
    ) -> None:
        self._connection = connection
        self._device = device
        self._user = user
        self._now = now

    def take(self, parcels: Iterable[Parcel], sent_at: datetime | None) -> list[_Fate]:
        """Return the parcels with what became of them, in the order of the phone's counter."""
        fates = sorted(map(_Fate, parcels), key=_counter)
        self._recognise(fates)
        fresh = [fate for fate in fates if fate.copy_of is None]
        if self._device.revoked_at is not None or not may_keep_phones(self._user):
            for fate in fresh:
                fate.hold(HeldBecause.REVOKED)
        self._hold_used_counters(_not_held(fresh))
        applying = Applying(
            self._connection,
            Sender(actor_of(self._user), self._device.uid, sent_at, self._now),
            self._now,
        )
        for run in _runs(self._not_overtaken(_not_held(fresh))):
            _apply(applying, run)
        return fates

    def _recognise(self, fates: Iterable[_Fate]) -> None:
        """Tell copies of what came before, ids that something else has, and what is unreadable."""
        fates = list(fates)
        known: dict[str, dict[str, _Fate]] = {}
        for row in queries.receipts_by_client_id(
            self._connection, self._user.farm_id, {fate.parcel.key for fate in fates}
        ):
            before = _Fate(fates[0].parcel, row.state, row.held_because)
            known.setdefault(row.client_id, {})[row.body_hash] = before
        for fate in fates:
            same_id = known.setdefault(fate.parcel.key, {})
            first = same_id.setdefault(fate.parcel.text_hash, fate)
            if first is not fate:
                fate.copy_of = first
            elif len(same_id) > 1:
                fate.hold(HeldBecause.ID_USED)
            elif fate.parcel.item is None:
                fate.hold(HeldBecause.DAMAGED)

    def _hold_used_counters(self, fates: Sequence[_Fate]) -> None:
        """Hold back what counts as something else did: a phone never counts the same twice."""
        counters = [fate.parcel.counter for fate in fates if fate.parcel.counter is not None]
        used = queries.counters_used(
            self._connection, self._user.farm_id, self._device.id, counters
        )
        for fate, counter in zip(fates, counters, strict=True):
            if used.setdefault(counter, fate.parcel.key) != fate.parcel.key:
                fate.hold(HeldBecause.ID_USED)

    def _not_overtaken(self, fates: Sequence[_Fate]) -> list[_Fate]:
        """
        Leave out what the phone has said otherwise since, in a batch that came first.

        It is kept, and changes nothing: whoever entered it has changed or undone it already.
        """
        items = [fate.parcel.item for fate in fates if fate.parcel.item is not None]
        if not items:
            return []
        latest: dict[tuple[str, int], int] = {}
        for row in queries.effects_after(
            self._connection,
            self._user.farm_id,
            self._device.id,
            min(item.counter for item in items),
            audit_client_ids={item.audit for item in items},
        ):
            later = reread(row.body)
            if later.kind not in _OF_TREES:
                continue
            place = (later.audit, later.tree)
            latest[place] = max(later.counter, latest.get(place, 0))
        return [
            fate
            for fate, item in zip(fates, items, strict=True)
            if item.kind not in _OVERTAKEN or item.counter > latest.get((item.audit, item.tree), -1)
        ]


def _apply(applying: Applying, run: Sequence[_Fate]) -> None:
    """Carry a run out at once, or one by one where something in it is held back."""
    try:
        applying.apply([fate.parcel.item for fate in run if fate.parcel.item is not None])
    except HeldBack as held:
        if len(run) == 1:
            run[0].hold(held.because, held.against)
            return
    except _ITS_OWN_FAULT as error:
        if len(run) == 1:
            # What was sent stays out of the log.
            _log.error("an item could not be taken: %s", type(error).__name__)
            run[0].hold(HeldBecause.DAMAGED)
            return
    else:
        return
    for fate in run:
        _apply(applying, [fate])


def _runs(fates: Iterable[_Fate]) -> Iterator[list[_Fate]]:
    """Put neighbouring trees of one audit together; everything else comes alone."""
    for key, run in groupby(fates, key=_run_key):
        if key is None:
            yield from ([fate] for fate in run)
        else:
            yield list(run)


def _run_key(fate: _Fate) -> tuple[str, int, str] | None:
    item = fate.parcel.item
    if item is None or item.kind is not ItemKind.TREE:
        return None
    return (item.audit, item.draw, item.digest)


def _not_held(fates: Iterable[_Fate]) -> list[_Fate]:
    return [fate for fate in fates if fate.because is None]


def _counter(fate: _Fate) -> tuple[bool, int]:
    """Order by the phone's counter; what cannot be read comes last."""
    item = fate.parcel.item
    return (True, 0) if item is None else (False, item.counter)


def _write_receipts(
    connection: sa.Connection,
    device: DeviceRow,
    farm_id: int,
    fates: Iterable[_Fate],
    now: datetime,
) -> None:
    insert_many(
        connection,
        receipt,
        [
            {
                "farm_id": farm_id,
                "client_id": fate.parcel.key,
                "device_id": device.id,
                "device_counter": fate.parcel.counter,
                "audit_client_id": fate.parcel.audit,
                "body": fate.parcel.text,
                "body_hash": fate.parcel.text_hash,
                "device_at": fate.parcel.at,
                "received_at": now,
                "state": fate.state,
                "held_because": fate.because,
                "held_against": None if fate.against is None else dict(fate.against),
            }
            for fate in fates
            if fate.copy_of is None
        ],
    )
