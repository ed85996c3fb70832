"""What was held back: both versions before a person, who takes it or sets it aside."""

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import Message
from audits.services import auditing, held
from audits.services.lots import view_lot
from audits.services.rescoring import check_scores
from audits.services.verdicts import view_verdict
from audits.storage import tables
from audits.storage.queries import audits as queries
from audits.storage.queries import receipts as receipt_queries
from audits.vocabulary import Fault, HeldBecause, LotState, ReceiptState, Stage
from tests.orchard import plant_orchard
from tests.phone_queue import audit_of_lot, batches, enrol, prepare, state_of
from tests.row_audit import AUDITED, fault, prune, right
from tests.statements import statements_of

HIGH = {"top": fault(Fault.HIGH)}
ACCEPTED = {stage.value: "accepted" for stage in Stage}
REASON = "Saul saw the tree again"


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, AUDITED)


@pytest.fixture
def lot_id(database, orchard):
    return prune(database, orchard).lot_ids[0]


@pytest.fixture
def package(database, orchard, lot_id):
    return prepare(database, orchard, lot_id)


@pytest.fixture
def phone(database, orchard):
    return enrol(database, orchard, "Pole")


@pytest.fixture
def audit(phone):
    return phone.new_id()


def view_of(database, orchard, client_id):
    with database.read() as connection:
        found = queries.audit_by_client_id(connection, orchard.farm_id, client_id)
    return auditing.view_audit(database, orchard.supervisor, found.id)


def listed(database, orchard):
    return held.list_held(database, orchard.supervisor)


def take(database, orchard, item, reason=REASON, actor=None):
    person = actor or orchard.supervisor
    held.take_held(database, person, item.receipt.id, reason, AUDITED)


def receipt_of(database, orchard, item):
    with database.read() as connection:
        return receipt_queries.receipt_by_id(connection, orchard.farm_id, item.receipt.id)


def hold(database, orchard, phone, *items):
    """Send items that are all held back, and return the last one as it is listed."""
    answers = phone.send(database, items)
    assert {answer.outcome for answer in answers} == {"rejected"}
    return listed(database, orchard)[-1]


def revoke(database, phone):
    with database.write() as connection:
        connection.execute(
            tables.device.update()
            .where(tables.device.c.id == phone.device.id)
            .values(revoked_at=AUDITED)
        )


class TestList:
    def test_both_versions_stand_side_by_side(self, database, orchard, phone, package, audit):
        audit_of_lot(phone, package, audit)
        phone.send(database)
        tree = package.walk[3]
        found = hold(database, orchard, phone, phone.tree(package, audit, tree.id, right(**HIGH)))
        assert found.receipt.held_because is HeldBecause.ALREADY_SEALED
        assert found.item.answers["stages"]["top"]["tap"] == "fault"
        assert found.kept.answers["stages"]["top"]["tap"] == "right"
        assert (found.tree.position, found.row.number) == (tree.position, 1)
        assert (found.device.name, found.person) == ("Pole", orchard.supervisor.name)
        assert found.auditor == orchard.supervisor.name
        assert found.draw.id == package.draw
        assert found.audit.client_id == audit
        assert found.can_be_taken
        assert found.needs_reason

    def test_what_cannot_be_read_is_listed_as_it_came(
        self, database, orchard, phone, package, audit
    ):
        item = phone.make(package, audit, "damaged", {"raw": "half an ans"})
        found = hold(database, orchard, phone, item)
        assert "half an ans" in found.receipt.body
        assert (found.item, found.audit, found.tree, found.row) == (None, None, None, None)
        assert not found.can_be_taken

    def test_an_id_used_twice_shows_what_came_first(self, database, orchard, phone, package, audit):
        first = phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        item = phone.tree(package, audit, package.walk[0].id, right(**HIGH), id=first["id"])
        found = hold(database, orchard, phone, item)
        assert found.before.client_id == first["id"]
        assert found.before.state is ReceiptState.STORED

    def test_it_is_read_in_as_many_statements_however_long_it_is(
        self, database, orchard, phone, package, audit
    ):
        counts = []
        revoke(database, phone)
        for number in (2, 20):
            phone.send(
                database,
                [phone.tree(package, audit, tree.id) for tree in package.walk[:number]],
            )
            with statements_of(database) as seen:
                listed(database, orchard)
            counts.append(len(seen))
        assert counts[0] == counts[1]

    def test_another_farm_sees_nothing_of_it(self, database, orchard, phone, package, audit):
        found = hold(database, orchard, phone, phone.seal(package, audit))
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        assert listed(database, other) == []
        for step in (held.take_held, held.set_aside_held):
            with pytest.raises(NotFound):
                step(database, other.supervisor, found.receipt.id, REASON, AUDITED)

    def test_workers_decide_nothing(self, database, orchard, phone, package, audit):
        found = hold(database, orchard, phone, phone.seal(package, audit))
        with pytest.raises(NotAllowed):
            held.list_held(database, orchard.worker)
        for step in (held.take_held, held.set_aside_held):
            with pytest.raises(NotAllowed):
                step(database, orchard.worker, found.receipt.id, REASON, AUDITED)
        with pytest.raises(NotAllowed):
            held.take_several_held(database, orchard.worker, [found.receipt.id], "", AUDITED)


class TestSetAside:
    def test_it_changes_nothing_and_stays_readable(self, database, orchard, phone, package, audit):
        item = phone.tree(package, audit, 987_654)
        found = hold(database, orchard, phone, item)
        before = state_of(database, without=["receipt"])
        held.set_aside_held(database, orchard.owner, found.receipt.id, f" {REASON} ", AUDITED)
        assert listed(database, orchard) == []
        assert state_of(database, without=["receipt"]) == before
        kept = receipt_of(database, orchard, found)
        assert kept.state is ReceiptState.SET_ASIDE
        assert (kept.settled_by, kept.settled_reason) == (orchard.owner.user_id, REASON)
        assert kept.settled_at == AUDITED
        assert kept.body == found.receipt.body
        # The phone is told what it was told before.
        again = phone.send(database, [item])[0]
        assert (again.outcome, again.because) == ("rejected", HeldBecause.UNKNOWN_TREE)

    @pytest.mark.parametrize("reason", ["", "  \n"])
    def test_it_asks_for_a_reason(self, database, orchard, phone, package, audit, reason):
        found = hold(database, orchard, phone, phone.seal(package, audit))
        with pytest.raises(InvalidInput, match="why"):
            held.set_aside_held(database, orchard.supervisor, found.receipt.id, reason, AUDITED)
        assert len(listed(database, orchard)) == 1

    def test_what_was_decided_on_is_decided(self, database, orchard, phone, package, audit):
        found = hold(database, orchard, phone, phone.seal(package, audit))
        held.set_aside_held(database, orchard.supervisor, found.receipt.id, REASON, AUDITED)
        for step in (held.take_held, held.set_aside_held):
            with pytest.raises(Conflict, match="already"):
                step(database, orchard.supervisor, found.receipt.id, REASON, AUDITED)


class TestTake:
    def test_answers_by_another_standard_are_scored_by_that_of_the_pass(
        self, database, orchard, phone, package, audit
    ):
        standard = {"version": 9, "digest": "0" * 64}
        tree = package.walk[0].id
        item = phone.tree(package, audit, tree, right(**HIGH), standard=standard)
        found = hold(database, orchard, phone, item)
        take(database, orchard, found, "")
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 1
        assert receipt_of(database, orchard, found).state is ReceiptState.TAKEN
        assert phone.send(database, [item])[0].outcome == "duplicate"

    def test_it_replaces_what_the_audit_has_since(self, database, orchard, phone, package, audit):
        """Whoever decides has seen both, so that the phone's counter decides nothing any more."""
        tree = package.walk[0].id
        standard = {"version": 9, "digest": "0" * 64}
        early = phone.tree(package, audit, tree, right(**HIGH), standard=standard)
        phone.tree(package, audit, tree)
        phone.send(database)
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 0
        (found,) = listed(database, orchard)
        assert found.receipt.client_id == early["id"]
        take(database, orchard, found)
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 1

    def test_a_tree_of_a_sealed_audit_becomes_an_amendment(
        self, database, orchard, phone, package, audit
    ):
        audit_of_lot(phone, package, audit)
        phone.send(database)
        tree = package.walk[3].id
        found = hold(database, orchard, phone, phone.tree(package, audit, tree, right(**HIGH)))
        with pytest.raises(InvalidInput, match="why"):
            take(database, orchard, found, " ")
        take(database, orchard, found, actor=orchard.owner)
        verdict = view_verdict(database, orchard.supervisor, found.audit.id)
        first, second = verdict.versions[tree]
        assert (second.version, second.amended_by) == (2, orchard.owner.user_id)
        assert second.reason == REASON
        assert first.answers != second.answers
        assert verdict.decided(1)
        assert verdict.decided(2)
        assert check_scores(database, orchard.farm_id).differences == []

    @pytest.mark.parametrize("kind", ["seal", "take_back", "not_a_tree", "unscored"])
    def test_nothing_else_reopens_a_sealed_audit(
        self, database, orchard, phone, package, audit, kind
    ):
        audit_of_lot(phone, package, audit)
        phone.send(database)
        tree = package.walk[0].id
        item = {
            "seal": lambda: phone.seal(package, audit),
            "take_back": lambda: phone.take_back(package, audit, tree),
            "not_a_tree": lambda: phone.not_a_tree(package, audit, tree, package.reserve[1].id),
            "unscored": lambda: phone.tree(package, audit, package.walk[-1].id),
        }[kind]()
        found = hold(database, orchard, phone, item)
        assert not found.can_be_taken
        before = state_of(database)
        with pytest.raises((Conflict, NotFound)):
            take(database, orchard, found)
        assert state_of(database) == before

    def test_a_verdict_is_taken_once_every_stage_is_decided(
        self, database, orchard, phone, package, audit, lot_id
    ):
        found = hold(database, orchard, phone, phone.seal(package, audit, **ACCEPTED))
        with pytest.raises(Conflict, match="still open"):
            take(database, orchard, found)
        for tree in package.walk[:18]:
            phone.tree(package, audit, tree.id)
        phone.send(database)
        take(database, orchard, found)
        assert view_of(database, orchard, audit).book.audit.sealed_at == AUDITED
        assert view_lot(database, orchard.supervisor, lot_id).lot.state is LotState.ACCEPTED

    def test_a_verdict_other_than_shown_is_that_of_the_server(
        self, database, orchard, phone, package, audit
    ):
        for tree in package.walk[:18]:
            phone.tree(package, audit, tree.id)
        phone.send(database)
        shown = ACCEPTED | {"top": "not_accepted"}
        found = hold(database, orchard, phone, phone.seal(package, audit, **shown))
        assert found.receipt.held_because is HeldBecause.OTHER_VERDICT
        take(database, orchard, found)
        assert view_of(database, orchard, audit).standings[0].outcome.value == "accepted"
        assert view_of(database, orchard, audit).book.audit.sealed_at is not None

    def test_an_id_used_twice_counts_under_an_id_of_its_own(
        self, database, orchard, phone, package, audit
    ):
        first = phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        item = phone.tree(package, audit, package.walk[1].id, right(**HIGH), id=first["id"])
        take(database, orchard, hold(database, orchard, phone, item))
        view = view_of(database, orchard, audit)
        assert set(view.answers) == {package.walk[0].id, package.walk[1].id}
        assert len({row.client_id for row in view.answered.values()}) == 2

    def test_a_tree_in_somebody_elses_audit(self, database, orchard, phone, package, audit):
        phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        theirs = enrol(database, orchard, "Other", actor=orchard.owner)
        found = hold(database, orchard, theirs, theirs.tree(package, audit, package.walk[1].id))
        assert (found.person, found.auditor) == (orchard.owner.name, orchard.supervisor.name)
        take(database, orchard, found)
        view = view_of(database, orchard, audit)
        assert len(view.answers) == 2
        assert view.book.audit.auditor_id == orchard.supervisor.user_id

    @pytest.mark.parametrize("kind", ["damaged", "draw", "tree", "answer"])
    def test_what_cannot_be_taken_says_why_and_stays(
        self, database, orchard, phone, package, audit, kind
    ):
        tree = package.walk[0].id
        item, words = {
            "damaged": lambda: (phone.make(package, audit, "damaged", {"raw": ""}), "be read"),
            "draw": lambda: (phone.tree(package, audit, tree, draw=987_654), "does not have"),
            "tree": lambda: (phone.tree(package, audit, 987_654), "not in the walk"),
            "answer": lambda: (
                phone.tree(package, audit, tree, right(top=fault(Fault.FORK))),
                "does not fit",
            ),
        }[kind]()
        found = hold(database, orchard, phone, item)
        before = state_of(database)
        with pytest.raises(Conflict, match=words):
            take(database, orchard, found)
        assert state_of(database) == before
        assert len(listed(database, orchard)) == 1


class TestTakeSeveral:
    """S10: a phone that was revoked with whole audits on it."""

    def test_a_revoked_phones_audits_are_taken_whole(
        self, database, orchard, phone, package, audit, lot_id
    ):
        audit_of_lot(phone, package, audit)
        revoke(database, phone)
        for batch in reversed(batches(phone.items, 7)):
            phone.send(database, batch)
        ids = [item.receipt.id for item in listed(database, orchard)]
        assert held.take_several_held(database, orchard.owner, ids, REASON, AUDITED) == {}
        assert listed(database, orchard) == []
        assert view_of(database, orchard, audit).book.audit.sealed_at == AUDITED
        assert (
            view_of(database, orchard, audit).book.audit.auditor_id == phone.device.user_account_id
        )
        assert view_lot(database, orchard.supervisor, lot_id).lot.state is LotState.ACCEPTED
        assert check_scores(database, orchard.farm_id).differences == []

    def test_what_cannot_be_taken_stays_and_keeps_nothing_else_back(
        self, database, orchard, phone, package, audit
    ):
        revoke(database, phone)
        phone.send(
            database,
            [
                phone.tree(package, audit, package.walk[0].id, right(top=fault(Fault.FORK))),
                phone.tree(package, audit, package.walk[0].id),
                phone.make(package, audit, "damaged", {"raw": ""}),
            ],
        )
        ids = {item.receipt.id: item for item in listed(database, orchard)}
        problems = held.take_several_held(
            database, orchard.supervisor, [*ids, 987_654], "", AUDITED
        )
        assert {ids[at].receipt.device_counter for at in problems} == {1, 3}
        assert all(isinstance(problem, Message) for problem in problems.values())
        assert {item.receipt.id for item in listed(database, orchard)} == set(problems)
        assert len(view_of(database, orchard, audit).answers) == 1


def test_what_broke_once_breaks_nothing_when_it_is_taken(
    database, orchard, phone, package, audit, monkeypatch
):
    """Planted danger: an item that can be read but not carried out, asked for past its page."""

    def broken(*_given, **_named):
        raise ValueError("planted")

    monkeypatch.setattr("audits.services.applying.record_in", broken)
    phone.tree(package, audit, package.walk[0].id)
    assert [receipt.because for receipt in phone.send(database)] == [HeldBecause.DAMAGED]
    [item] = listed(database, orchard)
    assert item.item is not None
    with pytest.raises(Conflict):
        take(database, orchard, item)
    problems = held.take_several_held(
        database, orchard.supervisor, [item.receipt.id], REASON, AUDITED
    )
    assert list(problems) == [item.receipt.id]
    assert receipt_of(database, orchard, item).state is ReceiptState.HELD
