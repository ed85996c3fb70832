"""
What phones send: taken once, in their own order, kept whatever it is.

The cases S3 to S7 are those of the catalogue of reliability tests; no other source.
"""

import pytest
import sqlalchemy as sa

from audits.records import Actor
from audits.services import accounts, auditing, printing, sealing
from audits.services.lots import view_lot
from audits.services.rescoring import check_scores
from audits.services.syncing import ItemReceipt
from audits.storage import tables
from audits.storage.queries import audits as queries
from audits.storage.queries import receipts as receipt_queries
from audits.vocabulary import (
    Fault,
    HeldBecause,
    LotState,
    Outcome,
    PlantingKind,
    ReceiptState,
    Role,
    Stage,
)
from tests.orchard import PASSWORD, plant_orchard
from tests.phone_queue import audit_of_lot, enrol, prepare, state_of
from tests.printed import order_of
from tests.row_audit import AUDITED, fault, prune, right, walk

HIGH = {"top": fault(Fault.HIGH)}
ACCEPTED = {stage.value: "accepted" for stage in Stage}


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, AUDITED)


@pytest.fixture
def lot_ids(database, orchard):
    return prune(database, orchard, rows=2).lot_ids


@pytest.fixture
def package(database, orchard, lot_ids):
    return prepare(database, orchard, lot_ids[0])


@pytest.fixture
def phone(database, orchard):
    return enrol(database, orchard, "Pole")


@pytest.fixture
def audit(phone):
    """The id that the phone gives its audit."""
    return phone.new_id()


def view_of(database, orchard, client_id):
    with database.read() as connection:
        found = queries.audit_by_client_id(connection, orchard.farm_id, client_id)
    return auditing.view_audit(database, orchard.supervisor, found.id)


def receipts_of(database, orchard, *client_ids):
    with database.read() as connection:
        return receipt_queries.receipts_by_client_id(connection, orchard.farm_id, client_ids)


def number_of(database, table):
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def outcomes(receipts):
    return [receipt.outcome for receipt in receipts]


def reasons(receipts):
    return [receipt.because for receipt in receipts]


class TestEveryKind:
    def test_the_first_item_begins_the_audit(self, database, orchard, phone, package, audit):
        (receipt,) = phone.send(database, [phone.tree(package, audit, package.walk[0].id)])
        assert receipt == ItemReceipt(phone.items[0]["id"], "stored", None)
        view = view_of(database, orchard, audit)
        assert view.book.audit.device == phone.device.uid
        assert view.book.audit.device_counter == 1
        assert view.book.audit.auditor_id == orchard.supervisor.user_id
        assert view.next_tree.id == package.walk[1].id

    def test_a_whole_audit_in_one_batch_is_sealed_and_moves_its_lot(
        self, database, orchard, phone, package, audit, lot_ids
    ):
        audit_of_lot(phone, package, audit)
        assert set(outcomes(phone.send(database))) == {"stored"}
        view = view_of(database, orchard, audit)
        assert view.outcome is Outcome.ACCEPTED
        assert view.book.audit.sealed_at == phone.now
        assert package.walk[2].id not in view.answers
        assert package.reserve[0].id in view.answers
        assert view.standings[0].tally.nonconforming == 0
        assert view_lot(database, orchard.supervisor, lot_ids[0]).lot.state is LotState.ACCEPTED
        assert check_scores(database, orchard.farm_id).differences == []

    def test_items_are_taken_in_the_order_of_the_counter(
        self, database, orchard, phone, package, audit
    ):
        """Planted defect: in the order in which they lie in the batch, the first answer wins."""
        audit_of_lot(phone, package, audit)
        receipts = phone.send(database, reversed(phone.items))
        assert [receipt.id for receipt in receipts] == [
            item["id"] for item in reversed(phone.items)
        ]
        assert set(outcomes(receipts)) == {"stored"}
        assert view_of(database, orchard, audit).book.audit.sealed_at is not None

    def test_a_tree_taken_back_has_no_answers(self, database, orchard, phone, package, audit):
        tree = package.walk[0].id
        phone.tree(package, audit, tree)
        phone.take_back(package, audit, tree)
        phone.take_back(package, audit, tree)
        assert outcomes(phone.send(database)) == ["stored"] * 3
        assert view_of(database, orchard, audit).answers == {}

    def test_what_is_not_a_tree_is_replaced_by_what_the_phone_took(
        self, database, orchard, phone, package, audit
    ):
        """The phone has told the person where to go, so that its choice stands."""
        second = package.reserve[1]
        phone.not_a_tree(package, audit, package.walk[0].id, second.id, PlantingKind.MISSING)
        assert outcomes(phone.send(database)) == ["stored"]
        view = view_of(database, orchard, audit)
        assert second.id in {tree.id for tree in view.walk}
        assert package.reserve[0].id not in {tree.id for tree in view.walk}

    def test_a_used_up_reserve_gives_the_draw_up(
        self, database, orchard, phone, package, audit, lot_ids
    ):
        gone = package.walk[0]
        for held in package.reserve:
            phone.not_a_tree(package, audit, gone.id, held.id)
            gone = held
        phone.not_a_tree(package, audit, gone.id, None)
        assert set(outcomes(phone.send(database))) == {"stored"}
        assert view_of(database, orchard, audit).given_up
        lot = view_lot(database, orchard.supervisor, lot_ids[0])
        assert lot.lot.state is LotState.WAITING

    def test_an_audit_of_a_lot_decided_meanwhile_is_kept_beside_it(
        self, database, orchard, phone, package, audit, lot_ids
    ):
        first = auditing.begin_audit(
            database,
            orchard.supervisor,
            lot_ids[0],
            seed=1,
            client_id="the-office",
            device=auditing.Device("office"),
            now=AUDITED,
        )
        walk(database, orchard, first)
        sealing.seal_audit(database, orchard.supervisor, first, AUDITED)
        audit_of_lot(phone, package, audit)
        assert set(outcomes(phone.send(database))) == {"stored"}
        assert view_of(database, orchard, audit).book.audit.sealed_at is not None
        assert check_scores(database, orchard.farm_id).differences == []

    def test_a_second_audit_of_one_draw_on_one_phone_is_kept_too(
        self, database, orchard, phone, package, audit
    ):
        other = phone.new_id()
        phone.tree(package, audit, package.walk[0].id)
        phone.tree(package, other, package.walk[0].id, right(**HIGH))
        assert outcomes(phone.send(database)) == ["stored"] * 2
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 0
        assert view_of(database, orchard, other).standings[0].tally.nonconforming == 1

    def test_nothing_sent_is_nothing_answered(self, database, phone):
        assert phone.send(database, []) == []


class TestHeld:
    """Every reason for which something is held back, and that it keeps nothing else back."""

    def held(self, database, orchard, phone, item, package):
        """Send an item before a good one; return the receipt that is kept of it."""
        good = phone.tree(package, phone.new_id(), package.walk[0].id)
        before = number_of(database, tables.receipt)
        sent = phone.send(database, [item, good])
        assert outcomes(sent) == ["rejected", "stored"]
        assert number_of(database, tables.receipt) == before + 2
        (kept,) = [
            row
            for row in receipts_of(database, orchard, sent[0].id)
            if row.state is ReceiptState.HELD
        ]
        assert kept.held_because is sent[0].because
        # The same answer for ever.
        assert phone.send(database, [item])[0] == sent[0]
        assert number_of(database, tables.receipt) == before + 2
        return kept

    def test_what_cannot_be_read(self, database, orchard, phone, package, audit):
        item = phone.make(package, audit, "damaged", {"raw": "\ud800\x00?"})
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.DAMAGED
        assert kept.client_id == item["id"]
        assert "\\ud800\\u0000?" in kept.body

    def test_what_has_no_id_is_kept_under_its_hash(self, database, orchard, phone, package):
        kept = self.held(database, orchard, phone, {"schema": 1}, package)
        assert kept.held_because is HeldBecause.DAMAGED
        assert kept.client_id == f"sha256:{kept.body_hash[:57]}"
        assert kept.body == '{"schema":1}'

    def test_a_draw_that_is_not_here(self, database, orchard, phone, package, audit):
        item = phone.tree(package, audit, package.walk[0].id, draw=987_654)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.UNKNOWN_DRAW
        with database.read() as connection:
            assert queries.audit_by_client_id(connection, orchard.farm_id, audit) is None

    def test_a_draw_of_another_farm(self, database, orchard, phone, package, audit):
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        theirs = prepare(database, other, prune(database, other).lot_ids[0])
        item = phone.tree(theirs, audit, theirs.walk[0].id)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.UNKNOWN_DRAW

    @pytest.mark.parametrize("kind", ["tree", "take_back", "not_a_tree", "instead"])
    def test_a_tree_that_is_not_in_the_walk(self, database, orchard, phone, package, audit, kind):
        unknown, tree = 987_654, package.walk[0].id
        item = {
            "tree": lambda: phone.tree(package, audit, package.reserve[0].id),
            "take_back": lambda: phone.take_back(package, audit, unknown),
            "not_a_tree": lambda: phone.not_a_tree(package, audit, unknown, None),
            "instead": lambda: phone.not_a_tree(package, audit, tree, package.walk[1].id),
        }[kind]()
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.UNKNOWN_TREE

    def test_another_standard(self, database, orchard, phone, package, audit):
        standard = {"version": 9, "digest": "0" * 64}
        item = phone.tree(package, audit, package.walk[0].id, standard=standard)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.STANDARD_CHANGED
        assert kept.held_against == {"digest": package.standard["digest"]}

    @pytest.mark.parametrize(
        "answers", [right(top=fault(Fault.FORK)), {"stages": {"top": 7}}, 7, None, {"more": 1}]
    )
    def test_an_answer_that_does_not_fit(self, database, orchard, phone, package, audit, answers):
        body = {"tree": package.walk[0].id, "answers": answers}
        item = phone.make(package, audit, "tree", body)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ANSWER_REFUSED

    def test_a_gauge_that_cannot_be_used(self, database, orchard, phone, package, audit):
        made = printing.make_batch(database, orchard.supervisor, order_of(orchard), AUDITED)
        cuts = {"kind": "heading", "diameters_mm": [7.0], "left_long": 0}
        answers = right(heading=cuts) | {"gauge": made.number}
        item = phone.tree(package, audit, package.walk[0].id, answers)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.GAUGE_UNUSABLE

    def test_a_bearing_tree_is_no_reason_to_replace_it(
        self, database, orchard, phone, package, audit
    ):
        item = phone.not_a_tree(
            package, audit, package.walk[0].id, package.reserve[0].id, PlantingKind.BEARING
        )
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ANSWER_REFUSED

    @pytest.mark.parametrize("kind", ["tree", "take_back", "not_a_tree", "seal"])
    def test_a_sealed_audit(self, database, orchard, phone, package, audit, kind):
        audit_of_lot(phone, package, audit)
        phone.send(database)
        before = view_of(database, orchard, audit)
        tree = package.walk[0].id
        item = {
            "tree": lambda: phone.tree(package, audit, tree, right(**HIGH)),
            "take_back": lambda: phone.take_back(package, audit, tree),
            "not_a_tree": lambda: phone.not_a_tree(package, audit, tree, package.reserve[1].id),
            "seal": lambda: phone.seal(package, audit, **ACCEPTED),
        }[kind]()
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ALREADY_SEALED
        if kind != "seal":
            assert kept.held_against["answers"]["stages"]["top"]["tap"] == "right"
        after = view_of(database, orchard, audit)
        assert (after.scores, after.walk) == (before.scores, before.walk)

    def test_a_verdict_while_a_stage_is_open(self, database, orchard, phone, package, audit):
        item = phone.seal(package, audit, **ACCEPTED)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.STILL_OPEN
        assert kept.held_against["outcomes"] == {stage.value: "open" for stage in Stage}

    def test_a_verdict_of_a_draw_given_up(self, database, orchard, phone, package, audit):
        gone = package.walk[-1]
        for tree in package.walk[:18]:
            phone.tree(package, audit, tree.id)
        for held in package.reserve:
            phone.not_a_tree(package, audit, gone.id, held.id)
            gone = held
        phone.not_a_tree(package, audit, gone.id, None)
        assert set(outcomes(phone.send(database))) == {"stored"}
        seal = phone.seal(package, audit, **ACCEPTED)
        kept = self.held(database, orchard, phone, seal, package)
        assert kept.held_because is HeldBecause.STILL_OPEN

    def test_another_verdict_than_the_phone_showed(self, database, orchard, phone, package, audit):
        for tree in package.walk[:18]:
            phone.tree(package, audit, tree.id)
        phone.send(database)
        item = phone.seal(package, audit, **(ACCEPTED | {"top": "not_accepted"}))
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.OTHER_VERDICT
        assert kept.held_against["outcomes"]["top"] == "accepted"
        assert view_of(database, orchard, audit).book.audit.sealed_at is None

    def test_stages_left_to_the_office_show_no_verdict(self, database, phone, package, audit):
        for tree in package.walk[:18]:
            phone.tree(package, audit, tree.id)
        phone.seal(package, audit, **(ACCEPTED | {"top": "office", "heading": "open"}))
        assert set(outcomes(phone.send(database))) == {"stored"}

    def test_an_id_under_which_something_else_came(self, database, orchard, phone, package, audit):
        first = phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        item = phone.tree(package, audit, package.walk[0].id, right(**HIGH), id=first["id"])
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ID_USED
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 0
        assert outcomes(phone.send(database, [first])) == ["duplicate"]

    def test_a_counter_that_something_else_had(self, database, orchard, phone, package, audit):
        phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        item = phone.tree(package, audit, package.walk[0].id, right(**HIGH), counter=1)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ID_USED
        assert view_of(database, orchard, audit).standings[0].tally.nonconforming == 0

    def test_an_audit_that_was_begun_on_another_draw(
        self, database, orchard, phone, package, audit, lot_ids
    ):
        phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        other = prepare(database, orchard, lot_ids[1])
        item = phone.tree(other, audit, other.walk[0].id)
        kept = self.held(database, orchard, phone, item, package)
        assert kept.held_because is HeldBecause.ID_USED

    def test_an_audit_of_somebody_else(self, database, orchard, phone, package, audit):
        phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        theirs = enrol(database, orchard, "Other", actor=orchard.owner)
        item = theirs.tree(package, audit, package.walk[1].id)
        kept = self.held(database, orchard, theirs, item, package)
        assert kept.held_because is HeldBecause.NOT_OWN
        assert set(view_of(database, orchard, audit).answers) == {package.walk[0].id}

    def test_a_person_who_changes_phones_goes_on(self, database, orchard, phone, package, audit):
        phone.tree(package, audit, package.walk[0].id)
        phone.send(database)
        again = enrol(database, orchard, "New phone")
        again.tree(package, audit, package.walk[1].id)
        assert outcomes(again.send(database)) == ["stored"]

    def test_every_reason_has_its_case(self):
        """A reason added later must get one here."""
        assert set(HeldBecause) == {
            HeldBecause.DAMAGED,
            HeldBecause.UNKNOWN_DRAW,
            HeldBecause.UNKNOWN_TREE,
            HeldBecause.STANDARD_CHANGED,
            HeldBecause.ANSWER_REFUSED,
            HeldBecause.GAUGE_UNUSABLE,
            HeldBecause.ALREADY_SEALED,
            HeldBecause.STILL_OPEN,
            HeldBecause.OTHER_VERDICT,
            HeldBecause.ID_USED,
            HeldBecause.NOT_OWN,
            HeldBecause.REVOKED,
            # Its case stands beside the rows that phones say are finished.
            HeldBecause.OTHER_DRAW,
        }


class TestRevoked:
    """S10: what a revoked phone still has is kept for a person to decide."""

    def revoke(self, database, phone):
        with database.write() as connection:
            connection.execute(
                tables.device.update()
                .where(tables.device.c.id == phone.device.id)
                .values(revoked_at=AUDITED)
            )

    def test_everything_is_kept_and_nothing_is_done(self, database, phone, package, audit):
        audit_of_lot(phone, package, audit)
        phone.send(database, phone.items[:3])
        before = state_of(database, without=["receipt"])
        self.revoke(database, phone)
        receipts = phone.send(database)
        assert outcomes(receipts) == ["duplicate"] * 3 + ["rejected"] * (len(receipts) - 3)
        assert set(reasons(receipts)) == {None, HeldBecause.REVOKED}
        assert state_of(database, without=["receipt"]) == before
        assert number_of(database, tables.receipt) == len(phone.items)

    def test_a_phone_revoked_while_its_request_was_on_the_way(
        self, database, phone, package, audit
    ):
        phone.tree(package, audit, package.walk[0].id)
        self.revoke(database, phone)
        # The phone as the route read it, before.
        assert phone.device.revoked_at is None
        assert reasons(phone.send(database)) == [HeldBecause.REVOKED]

    @pytest.mark.parametrize("change", ["disabled", "made a worker"])
    def test_somebody_who_no_longer_leads_a_crew(self, database, orchard, package, audit, change):
        user_id = accounts.add_user(
            database,
            orchard.farm_id,
            name="Petra Fallow",
            password=PASSWORD,
            role=Role.SUPERVISOR,
            language="en",
            now=AUDITED,
        )
        person = Actor(user_id, orchard.farm_id, "Petra Fallow", Role.SUPERVISOR, "en", None)
        phone = enrol(database, orchard, "Petra's", actor=person)
        phone.tree(package, audit, package.walk[0].id)
        values = {
            "disabled": {"disabled_at": AUDITED},
            "made a worker": {"role": Role.WORKER},
        }[change]
        with database.write() as connection:
            connection.execute(
                tables.user_account.update()
                .where(tables.user_account.c.id == user_id)
                .values(**values)
            )
        assert reasons(phone.send(database)) == [HeldBecause.REVOKED]
