"""What phones sent and nobody has decided on yet: both versions, and what a person makes of it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from uuid import NAMESPACE_OID, uuid5

import sqlalchemy as sa

from audits.errors import AuditError, Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.phone_items import ItemKind, PhoneItem, Unreadable, reread
from audits.records import (
    Actor,
    Audit,
    DeviceRow,
    Draw,
    DrawTree,
    ReceiptRow,
    Row,
    TreeScoreRow,
    User,
)
from audits.services.access import require_crew_lead
from audits.services.amending import amend_in
from audits.services.applying import Applying, HeldBack, Sender, actor_of
from audits.services.auditing import Device
from audits.services.scorebook import open_scorebook, scores_by_tree
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import devices as device_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import receipts as queries
from audits.storage.queries.fetch import by_id
from audits.storage.tables import receipt
from audits.vocabulary import HELD_BECAUSE_NAMES, HeldBecause, ReceiptState

# Reasons that no decision takes away.
_CANNOT_BE_TAKEN: Final = frozenset({HeldBecause.DAMAGED})


@dataclass(frozen=True)
class HeldItem:
    """
    Something held back, with what the phone says and what the server has.

    Parameters
    ----------
    receipt : ReceiptRow
        As it came, and why it is held back.
    item : PhoneItem or None
        What the phone says; None where it cannot be read.
    device : DeviceRow or None
        The phone.
    person : str
        Name of the phone's person.
    draw : Draw or None
        The draw that the item names, where the farm has it.
    audit : Audit or None
        The audit that the item names, where it was begun.
    auditor : str
        Name of that audit's auditor; empty where there is none.
    tree : DrawTree or None
        The tree that the item names, where the draw has it.
    row : Row or None
        The row in which it stands.
    kept : TreeScoreRow or None
        The answers that the audit has on this tree now.
    before : ReceiptRow or None
        What came first under the same id, where that is why it is held back.
    """

    receipt: ReceiptRow
    item: PhoneItem | None
    device: DeviceRow | None
    person: str
    draw: Draw | None
    audit: Audit | None
    auditor: str
    tree: DrawTree | None
    row: Row | None
    kept: TreeScoreRow | None
    before: ReceiptRow | None

    @property
    def can_be_taken(self) -> bool:
        """Whether there is any way to take it; trying may still fail with a sentence."""
        if self.item is None or self.receipt.held_because in _CANNOT_BE_TAKEN:
            return False
        if self.audit is not None and self.audit.sealed_at is not None:
            # A sealed audit is amended, tree by tree, and sealed only once.
            return self.item.kind is ItemKind.TREE and self.kept is not None
        return True

    @property
    def needs_reason(self) -> bool:
        """Whether taking it is an amendment, which asks for a reason."""
        return self.audit is not None and self.audit.sealed_at is not None


def list_held(database: Database, actor: Actor) -> list[HeldItem]:
    """
    List what waits for a decision.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    list of HeldItem
        In the order in which it came.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return _HeldItems(connection, actor.farm_id).every()


def count_held(database: Database, actor: Actor) -> int:
    """
    Count what waits for a decision.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    int
        Things that were held back and not decided on.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return queries.held_count(connection, actor.farm_id)


def take_held(
    database: Database, actor: Actor, receipt_id: int, reason: str, now: datetime
) -> None:
    """
    Take something although it was held back.

    It counts as its phone's person's, whatever the standard by which it was scored, and replaces
    what the audit has on the tree. In a sealed audit it becomes an amendment by whoever decides.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who decides.
    receipt_id : int
        What was held back.
    reason : str
        Why, in a few words; an amendment needs one.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If it cannot be taken, or was decided on already; the sentence says why.
    InvalidInput
        If an answer cannot be taken, or an amendment has no reason.
    NotFound
        If the farm has nothing like that.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        _take(connection, actor, _waiting(connection, actor, receipt_id), reason, now)


def take_several_held(
    database: Database, actor: Actor, receipt_ids: Collection[int], reason: str, now: datetime
) -> dict[int, Message]:
    """
    Take several things in the order in which their phones counted them.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who decides.
    receipt_ids : Collection of int
        What was held back.
    reason : str
        Why, in a few words.
    now : datetime
        The present.

    Returns
    -------
    dict of int to Message
        Why something could not be taken, by its receipt's id; it stays held back.
    """
    require_crew_lead(actor)
    problems: dict[int, Message] = {}
    with database.write() as connection:
        wanted = set(receipt_ids)
        held = [row for row in queries.held_receipts(connection, actor.farm_id) if row.id in wanted]
        for row in sorted(held, key=lambda row: (row.device_id or 0, row.device_counter or 0)):
            try:
                with connection.begin_nested():
                    _take(connection, actor, row, reason, now)
            except AuditError as error:
                problems[row.id] = error.message
    return problems


def set_aside_held(
    database: Database, actor: Actor, receipt_id: int, reason: str, now: datetime
) -> None:
    """
    Decide that something changes nothing; it stays readable with the reason.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who decides.
    receipt_id : int
        What was held back.
    reason : str
        Why, in a few words.
    now : datetime
        The present.

    Raises
    ------
    InvalidInput
        If the reason is missing.
    Conflict
        If it was decided on already.
    NotFound
        If the farm has nothing like that.
    """
    require_crew_lead(actor)
    if not reason.strip():
        raise InvalidInput({"reason": say("Say why it is set aside.")})
    with database.write() as connection:
        held = _waiting(connection, actor, receipt_id)
        _settle(connection, actor, held, ReceiptState.SET_ASIDE, reason, now)


def _waiting(connection: sa.Connection, actor: Actor, receipt_id: int) -> ReceiptRow:
    held = queries.receipt_by_id(connection, actor.farm_id, receipt_id)
    if held is None:
        raise NotFound(say("Nothing like that was held back."))
    if held.state is not ReceiptState.HELD:
        raise Conflict(say("Somebody has decided on this already."))
    return held


def _take(
    connection: sa.Connection, actor: Actor, held: ReceiptRow, reason: str, now: datetime
) -> None:
    item = _readable(held)
    user = _person_of(connection, actor.farm_id, held)
    device = device_queries.device_by_id(connection, actor.farm_id, held.device_id or 0)
    name = "" if device is None else device.uid
    audit = audit_queries.audit_by_client_id(connection, actor.farm_id, item.audit)
    if audit is not None and audit.sealed_at is not None:
        _amend(connection, actor, audit, item, Device(name, item.counter, item.at), reason, now)
    else:
        sender = Sender(actor_of(user), name, None, held.received_at)
        try:
            Applying(connection, sender, now, decided=True).apply([item])
        except HeldBack as still:
            raise _cannot(still.because) from still
    _settle(connection, actor, held, ReceiptState.TAKEN, reason, now)


def _amend(
    connection: sa.Connection,
    actor: Actor,
    audit: Audit,
    item: PhoneItem,
    device: Device,
    reason: str,
    now: datetime,
) -> None:
    if item.kind is not ItemKind.TREE:
        raise _cannot(HeldBecause.ALREADY_SEALED)
    amend_in(
        connection,
        actor,
        open_scorebook(connection, actor.farm_id, audit.id),
        item.tree,
        answers=item.answers,
        reason=reason,
        client_id=item.id,
        device=device,
        now=now,
        decided=True,
    )


def _readable(held: ReceiptRow) -> PhoneItem:
    if held.held_because in _CANNOT_BE_TAKEN:
        raise _cannot(HeldBecause.DAMAGED)
    try:
        item = reread(held.body)
    except Unreadable as error:
        raise _cannot(HeldBecause.DAMAGED) from error
    if held.held_because is HeldBecause.ID_USED:
        # Its own id belongs to something else.
        return replace(item, id=str(uuid5(NAMESPACE_OID, f"{held.client_id} {held.body_hash}")))
    return item


def _cannot(because: HeldBecause) -> Conflict:
    return Conflict(
        say("This cannot be taken: %(because)s", because=say(HELD_BECAUSE_NAMES[because]))
    )


def _person_of(connection: sa.Connection, farm_id: int, held: ReceiptRow) -> User:
    device = device_queries.device_by_id(connection, farm_id, held.device_id or 0)
    user = (
        None
        if device is None
        else account_queries.user_by_id(connection, farm_id, device.user_account_id)
    )
    if user is None:
        raise NotFound(say("Nobody can be told from what was sent."))
    return user


def _settle(
    connection: sa.Connection,
    actor: Actor,
    held: ReceiptRow,
    state: ReceiptState,
    reason: str,
    now: datetime,
) -> None:
    connection.execute(
        receipt.update()
        .where(receipt.c.farm_id == actor.farm_id, receipt.c.id == held.id)
        .values(
            state=state,
            settled_at=now,
            settled_by=actor.user_id,
            settled_reason=reason.strip() or None,
        )
    )


class _HeldItems:
    """Both versions of everything held back, each draw and each audit read once."""

    def __init__(self, connection: sa.Connection, farm_id: int) -> None:
        self._connection = connection
        self._farm_id = farm_id
        self._devices = by_id(device_queries.devices(connection, farm_id))
        self._people = {user.id: user.name for user in account_queries.users(connection, farm_id)}
        self._audits: dict[str, Audit | None] = {}
        self._draws: dict[int, Draw | None] = {}
        self._trees: dict[int, Mapping[int, DrawTree]] = {}
        self._rows = by_id(farm_queries.rows(connection, farm_id))
        self._scores: dict[int, Mapping[int, TreeScoreRow]] = {}

    def every(self) -> list[HeldItem]:
        held = queries.held_receipts(self._connection, self._farm_id)
        used = [row.client_id for row in held if row.held_because is HeldBecause.ID_USED]
        first: dict[str, ReceiptRow] = {}
        for row in queries.receipts_by_client_id(self._connection, self._farm_id, used):
            first.setdefault(row.client_id, row)
        return [self._item(row, first.get(row.client_id)) for row in held]

    def _item(self, held: ReceiptRow, first: ReceiptRow | None) -> HeldItem:
        item = _readable_or_none(held)
        device = self._devices.get(held.device_id or 0)
        draw = None if item is None else self._draw(item.draw)
        audit = None if item is None else self._audit(item.audit)
        tree = None if item is None or draw is None else self._trees_of(draw).get(item.tree)
        return HeldItem(
            receipt=held,
            item=item,
            device=device,
            person="" if device is None else self._people.get(device.user_account_id, ""),
            draw=draw,
            audit=audit,
            auditor="" if audit is None else self._people.get(audit.auditor_id, ""),
            tree=tree,
            row=None if tree is None else self._rows.get(tree.orchard_row_id),
            kept=None if audit is None or tree is None else self._kept(audit).get(tree.id),
            before=None if first is None or first.id == held.id else first,
        )

    def _draw(self, draw_id: int) -> Draw | None:
        if draw_id not in self._draws:
            self._draws[draw_id] = audit_queries.draw_by_id(
                self._connection, self._farm_id, draw_id
            )
        return self._draws[draw_id]

    def _audit(self, client_id: str) -> Audit | None:
        if client_id not in self._audits:
            self._audits[client_id] = audit_queries.audit_by_client_id(
                self._connection, self._farm_id, client_id
            )
        return self._audits[client_id]

    def _trees_of(self, draw: Draw) -> Mapping[int, DrawTree]:
        if draw.id not in self._trees:
            self._trees[draw.id] = by_id(
                audit_queries.draw_trees(self._connection, self._farm_id, draw.id)
            )
        return self._trees[draw.id]

    def _kept(self, audit: Audit) -> Mapping[int, TreeScoreRow]:
        if audit.id not in self._scores:
            self._scores[audit.id] = scores_by_tree(
                audit_queries.current_scores(self._connection, self._farm_id, audit.id)
            )
        return self._scores[audit.id]


def _readable_or_none(held: ReceiptRow) -> PhoneItem | None:
    try:
        return reread(held.body)
    except Unreadable:
        return None
