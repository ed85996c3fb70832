"""What a phone sent, carried out: the one way for what arrives and for what is taken later."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.phone_items import ItemKind, PhoneItem, true_time
from audits.records import Actor, Audit, Draw, PassRow, TreeScoreRow, User
from audits.services.auditing import (
    Device,
    TreeEntry,
    add_audit,
    audit_view,
    forget_answers,
    record_in,
    replace_in,
)
from audits.services.gauges import GaugeRefused
from audits.services.passes import finish_part
from audits.services.scorebook import Scorebook, open_scorebook
from audits.services.sealing import seal_in
from audits.services.standards import standard_digest
from audits.services.walking import audit_trees
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.ahead import row_drawn_ahead
from audits.vocabulary import HeldBecause, Outcome, Purpose, Stage


class HeldBack(Exception):  # noqa: N818 - reads as what it is at the place it is caught
    """
    Something that a phone sent and that a person has to decide on.

    Parameters
    ----------
    because : HeldBecause
        Why.
    against : Mapping of str to object or None, optional
        What the server had instead, as JSON values.
    """

    def __init__(self, because: HeldBecause, against: Mapping[str, object] | None = None) -> None:
        super().__init__(because)
        self.because = because
        self.against = against


@dataclass(frozen=True)
class Sender:
    """
    Where items come from.

    Parameters
    ----------
    actor : Actor
        The phone's person.
    device : str
        The phone's own name.
    sent_at : datetime or None
        When they were sent, by the phone's clock.
    received_at : datetime
        When they came, by the server's.
    """

    actor: Actor
    device: str
    sent_at: datetime | None
    received_at: datetime


def actor_of(user: User) -> Actor:
    """
    Return a person as somebody who does something.

    Parameters
    ----------
    user : User
        The account.

    Returns
    -------
    Actor
        The person.
    """
    return Actor(user.id, user.farm_id, user.name, user.role, user.language, user.worker_id)


class Applying:
    """
    Items carried out one after another in one open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    sender : Sender
        Where they come from.
    now : datetime
        The present.
    decided : bool, optional
        Whether a person has decided that they be taken: then it matters no longer whose audit it
        is, by what standard it was scored, and what verdict the phone showed.

    Notes
    -----
    What an audit is scored with is loaded once. After an item was held back, everything is loaded
    anew, since the transaction went back to where it was.
    """

    def __init__(
        self, connection: sa.Connection, sender: Sender, now: datetime, *, decided: bool = False
    ) -> None:
        self._connection = connection
        self._sender = sender
        self._now = now
        self._decided = decided
        self._books: dict[str, Scorebook] = {}
        self._digests: dict[int, str] = {}

    def apply(self, items: Sequence[PhoneItem]) -> None:
        """
        Carry out items of one audit: one of any kind, or several trees.

        Parameters
        ----------
        items : Sequence of PhoneItem
            In the order of the phone's counter.

        Raises
        ------
        HeldBack
            If one cannot be carried out; then none of them is.
        """
        try:
            with self._connection.begin_nested():
                self._apply(items)
        except BaseException:
            self._books.clear()
            raise

    def _apply(self, items: Sequence[PhoneItem]) -> None:
        first = items[0]
        if first.kind is ItemKind.ROW_FINISHED:
            self._finish_row(first)
            return
        book = self._book(first)
        self._refuse_other_standard(book, first)
        if book.audit.sealed_at is not None:
            raise HeldBack(HeldBecause.ALREADY_SEALED, self._kept(book, first.tree))
        match first.kind:
            case ItemKind.TREE:
                self._record(book, items)
            case ItemKind.TAKE_BACK:
                self._take_back(book, first)
            case ItemKind.NOT_A_TREE:
                self._replace(book, first)
            case ItemKind.SEAL:
                self._seal(book, first)

    def _record(self, book: Scorebook, items: Sequence[PhoneItem]) -> None:
        entries = [
            TreeEntry(item.tree, item.id, item.answers, self._device(book, item)) for item in items
        ]
        try:
            record_in(
                self._connection,
                book,
                entries,
                self._now,
                though_given_up=True,
                decided=self._decided,
            )
        except GaugeRefused as error:
            against = self._kept(book, items[0].tree)
            raise HeldBack(HeldBecause.GAUGE_UNUSABLE, against) from error
        except InvalidInput as error:
            against = self._kept(book, items[0].tree)
            raise HeldBack(HeldBecause.ANSWER_REFUSED, against) from error
        except NotFound as error:
            raise HeldBack(HeldBecause.UNKNOWN_TREE) from error
        except Conflict as error:
            raise HeldBack(HeldBecause.ID_USED) from error

    def _take_back(self, book: Scorebook, item: PhoneItem) -> None:
        if item.tree not in audit_trees(self._connection, book).by_id:
            raise HeldBack(HeldBecause.UNKNOWN_TREE)
        forget_answers(self._connection, book, item.tree)

    def _replace(self, book: Scorebook, item: PhoneItem) -> None:
        if item.found_kind is None:
            raise HeldBack(HeldBecause.DAMAGED)
        try:
            replace_in(self._connection, book, item.tree, item.found_kind, instead_id=item.instead)
        except InvalidInput as error:
            raise HeldBack(HeldBecause.ANSWER_REFUSED) from error
        except NotFound as error:
            raise HeldBack(HeldBecause.UNKNOWN_TREE) from error
        except Conflict as error:
            # A verdict rests on the draw, so that it cannot be given up any more.
            raise HeldBack(HeldBecause.ALREADY_SEALED) from error

    def _seal(self, book: Scorebook, item: PhoneItem) -> None:
        view = audit_view(self._connection, book)
        found = {standing.stage: standing.outcome for standing in view.standings}
        against: dict[str, object] = {
            "outcomes": {stage.value: outcome.value for stage, outcome in found.items()},
            "given_up": view.given_up,
        }
        if book.draw.lot_id is None or view.given_up or not view.all_decided:
            raise HeldBack(HeldBecause.STILL_OPEN, against)
        if not self._decided and _differ(item.outcomes, found):
            raise HeldBack(HeldBecause.OTHER_VERDICT, against)
        seal_in(self._connection, view, self._now)
        # Loaded anew when something more comes for it: it is sealed from now on.
        del self._books[item.audit]

    def _finish_row(self, item: PhoneItem) -> None:
        farm_id = self._sender.actor.farm_id
        part = row_drawn_ahead(self._connection, farm_id, item.draw)
        if part is None:
            raise HeldBack(HeldBecause.UNKNOWN_DRAW)
        if part.finished_at is None:
            self._finish_part(item, part)
        # The draw has got its lot, then or earlier, unless the row was drawn afresh.
        drawn = queries.draw_by_id(self._connection, farm_id, item.draw)
        if drawn is None or drawn.lot_id is None:
            raise HeldBack(HeldBecause.OTHER_DRAW)
        # What was loaded of its audits has no lot yet.
        self._books.clear()

    def _finish_part(self, item: PhoneItem, part: PassRow) -> None:
        farm_id = self._sender.actor.farm_id
        crew_pass = pass_queries.crew_pass_by_id(self._connection, farm_id, part.crew_pass_id)
        if crew_pass is None:
            raise HeldBack(HeldBecause.UNKNOWN_DRAW)
        finish_part(
            self._connection,
            farm_id,
            crew_pass,
            part,
            true_time(
                item.at,
                self._sender.sent_at,
                self._sender.received_at,
                earliest=crew_pass.started_at,
            ),
            used=item.draw if self._decided else None,
        )

    def _book(self, item: PhoneItem) -> Scorebook:
        """
        Load what an audit is scored with; the first item of an audit begins it.

        Raises
        ------
        HeldBack
            If the audit is somebody else's, or its draw is not known or another one.
        """
        book = self._books.get(item.audit)
        if book is None:
            book = self._open(item)
            self._books[item.audit] = book
        if book.draw.id != item.draw:
            raise HeldBack(HeldBecause.ID_USED, {"draw": book.draw.id})
        return book

    def _open(self, item: PhoneItem) -> Scorebook:
        farm_id = self._sender.actor.farm_id
        known = queries.audit_by_client_id(self._connection, farm_id, item.audit)
        if known is None:
            audit_id = self._begin(item)
        else:
            self._refuse_other_person(known)
            audit_id = known.id
        return open_scorebook(self._connection, farm_id, audit_id)

    def _refuse_other_person(self, known: Audit) -> None:
        if known.auditor_id != self._sender.actor.user_id and not self._decided:
            raise HeldBack(HeldBecause.NOT_OWN, {"auditor": known.auditor_id})

    def _begin(self, item: PhoneItem) -> int:
        actor = self._sender.actor
        drawn = queries.draw_by_id(self._connection, actor.farm_id, item.draw)
        if drawn is None or drawn.purpose not in {Purpose.FIRST, Purpose.RE_AUDIT}:
            raise HeldBack(HeldBecause.UNKNOWN_DRAW)
        name = self._unused_device(drawn)
        return add_audit(
            self._connection,
            actor,
            drawn.id,
            client_id=item.audit,
            device=Device(name, item.counter, item.at),
            now=true_time(
                item.at,
                self._sender.sent_at,
                self._sender.received_at,
                earliest=drawn.created_at,
            ),
        )

    def _unused_device(self, drawn: Draw) -> str:
        """Return the phone's name, numbered where it has audited the draw under another id."""
        taken = {
            known.device
            for known in queries.audits_of_draw(
                self._connection, self._sender.actor.farm_id, drawn.id
            )
            if known.auditor_id == self._sender.actor.user_id
        }
        own = self._sender.device
        numbered = (f"{own}/{number}" for number in range(2, len(taken) + 2))
        return next(name for name in (own, *numbered) if name not in taken)

    def _refuse_other_standard(self, book: Scorebook, item: PhoneItem) -> None:
        if self._decided:
            return
        version_id = book.crew_pass.standard_version_id
        if version_id not in self._digests:
            version = standard_queries.standard_by_id(self._connection, book.farm.id, version_id)
            if version is None:
                raise HeldBack(HeldBecause.STANDARD_CHANGED)
            self._digests[version_id] = standard_digest(version)
        if item.digest != self._digests[version_id]:
            raise HeldBack(HeldBecause.STANDARD_CHANGED, {"digest": self._digests[version_id]})

    def _device(self, book: Scorebook, item: PhoneItem) -> Device:
        counter = item.counter
        kept = self._score(book, item.tree) if self._decided else None
        if kept is not None:
            # What a person decides on is the latest word, however long ago it was entered.
            counter = max(counter, kept.device_counter)
        return Device(self._sender.device, counter, item.at)

    def _kept(self, book: Scorebook, tree_id: int) -> dict[str, object] | None:
        """Return what an audit has on a tree, as JSON values."""
        kept = self._score(book, tree_id)
        return None if kept is None else {"answers": kept.answers}

    def _score(self, book: Scorebook, tree_id: int) -> TreeScoreRow | None:
        versions = queries.score_versions(self._connection, book.farm.id, book.audit.id, tree_id)
        return versions[-1] if versions else None


def _differ(shown: Mapping[Stage, Outcome], found: Mapping[Stage, Outcome]) -> bool:
    """Tell whether a phone has shown a verdict that is not the one found here."""
    return any(
        outcome is not Outcome.OPEN and outcome is not found.get(stage)
        for stage, outcome in shown.items()
    )
