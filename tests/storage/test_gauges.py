"""Diameters measured with printed gauges: which are taken, and what becomes of them later."""

from datetime import date, timedelta

import pytest

from audits.errors import InvalidInput
from audits.gauges import BatchState
from audits.services import auditing, gauges, held, printing, standards
from audits.services.amending import amend_tree
from audits.services.auditing import Device, TreeEntry
from audits.services.rescoring import check_scores
from audits.vocabulary import CheckOccasion
from tests.orchard import plant_orchard
from tests.phone_queue import audit_of_lot, enrol, prepare
from tests.printed import checked_batch, order_of
from tests.row_audit import AUDITED, begin, enter, fill, prune, right, seal


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
def begun(database, orchard, lot_id):
    return begin(database, orchard, lot_id)


def headed(*diameters_mm, gauge=None):
    """A tree whose heading cuts were measured, the other stages right."""
    cuts = {"kind": "heading", "diameters_mm": list(diameters_mm), "left_long": 0}
    return right(heading=cuts) | ({} if gauge is None else {"gauge": gauge})


def view(database, orchard, audit_id):
    return auditing.view_audit(database, orchard.supervisor, audit_id)


def first_tree(database, orchard, audit_id):
    return view(database, orchard, audit_id).walk[0].id


def refusal(database, orchard, audit_id, tree_id, answers):
    with pytest.raises(InvalidInput) as refused:
        enter(database, orchard, audit_id, tree_id, answers)
    assert list(refused.value.problems) == ["gauge"]
    return str(refused.value)


def test_a_checked_gauge_is_taken_and_changes_no_result(database, orchard, begun):
    batch = checked_batch(database, orchard, AUDITED)
    first, second = (tree.id for tree in view(database, orchard, begun).walk[:2])
    enter(database, orchard, begun, first, headed(7.0, 12.0, gauge=batch.number))
    after = enter(database, orchard, begun, second, headed(7.0, 12.0))
    assert after.answers[first].gauge == batch.number
    assert after.answers[second].gauge is None
    by_tree = {
        tree_id: [
            (score.stage, score.result, score.faults, score.points)
            for score in after.scores
            if after.tree_of_score[score.tree_score_id].id == tree_id
        ]
        for tree_id in (first, second)
    }
    assert by_tree[first] == by_tree[second]
    assert check_scores(database, orchard.farm_id).differences == []


def _unchecked(database, orchard):
    return printing.make_batch(database, orchard.supervisor, order_of(orchard), AUDITED).number


def _failed(database, orchard):
    return checked_batch(database, orchard, AUDITED, card_fits=False).number


def _withdrawn(database, orchard):
    number = checked_batch(database, orchard, AUDITED).number
    printing.withdraw_batch(database, orchard.supervisor, number, AUDITED)
    return number


def _of_last_season(database, orchard):
    return checked_batch(database, orchard, AUDITED - timedelta(days=200)).number


def _of_other_limits(database, orchard):
    with database.read() as connection:
        found = standards.standard_in_force(
            connection, orchard.farm_id, orchard.block_id, date(2026, 1, 20)
        )
    number = standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=found.payload | {"limbs": found.payload["limbs"] | {"large_mm": 25.0}},
        in_force_from=date(2026, 1, 21),
        now=AUDITED,
    )
    assert number == 2
    with database.read() as connection:
        later = standards.standard_in_force(
            connection, orchard.farm_id, orchard.block_id, date(2026, 1, 21)
        )
    return checked_batch(database, orchard, AUDITED, standard_version_id=later.id).number


def _unknown(_database, _orchard):
    return 4_711


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (_unchecked, "not checked yet"),
        (_failed, "did not pass"),
        (_withdrawn, "withdrawn"),
        (_of_last_season, "again this season"),
        (_of_other_limits, "other limits"),
        (_unknown, "no print batch B4711"),
    ],
)
def test_a_gauge_that_may_not_be_used_is_refused_and_nothing_is_kept(
    database, orchard, begun, made, words
):
    number = made(database, orchard)
    tree = first_tree(database, orchard, begun)
    assert words in refusal(database, orchard, begun, tree, headed(7.0, gauge=number))
    assert not view(database, orchard, begun).answers


def test_an_unchecked_gauge_that_was_let_through_would_be_seen(
    database, orchard, begun, monkeypatch
):
    """The planted defect: without the look at its state an unchecked gauge is taken."""
    number = _unchecked(database, orchard)
    monkeypatch.setattr(printing.BatchView, "is_usable", True)
    tree = first_tree(database, orchard, begun)
    enter(database, orchard, begun, tree, headed(7.0, gauge=number))
    with pytest.raises(pytest.fail.Exception):
        refusal(database, orchard, begun, tree, headed(8.0, gauge=number))


def test_a_gauge_of_another_block_with_the_same_limits_is_taken(database, orchard, begun):
    """What a gauge shows decides, not for which block it was printed."""
    batch = checked_batch(database, orchard, AUDITED)
    with database.read() as connection:
        book = auditing.open_scorebook(connection, orchard.farm_id, begun)
    choice = gauges.gauge_choice(
        database, orchard.supervisor, orchard.block_id + 1, book.standard, AUDITED
    )
    assert [one.number for one in choice.usable] == [batch.number]
    assert choice.unusable == ()


def test_the_choice_says_why_others_cannot_be_chosen(database, orchard, begun):
    usable = checked_batch(database, orchard, AUDITED).number
    unchecked, failed = _unchecked(database, orchard), _failed(database, orchard)
    _withdrawn(database, orchard)
    other = _of_other_limits(database, orchard)
    with database.read() as connection:
        book = auditing.open_scorebook(connection, orchard.farm_id, begun)
    choice = gauges.gauge_choice(
        database, orchard.supervisor, orchard.block_id, book.standard, AUDITED
    )
    assert [one.number for one in choice.usable] == [usable]
    reasons = {one.batch.number: str(one.reason) for one in choice.unusable}
    assert list(reasons) == [other, failed, unchecked]
    assert "other limits" in reasons[other]
    assert "did not pass" in reasons[failed]
    assert "not checked" in reasons[unchecked]


class TestLater:
    """A gauge that was right when it was used stays with what was measured."""

    @pytest.fixture
    def batch(self, database, orchard):
        return checked_batch(database, orchard, AUDITED)

    def fail(self, database, orchard, batch):
        printing.note_check(
            database,
            orchard.supervisor,
            batch.number,
            occasion=CheckOccasion.WET,
            card_fits=False,
            now=AUDITED,
        )

    def test_measures_that_stay_keep_their_gauge_and_new_ones_ask_again(
        self, database, orchard, begun, batch
    ):
        tree = first_tree(database, orchard, begun)
        enter(database, orchard, begun, tree, headed(7.0, gauge=batch.number))
        self.fail(database, orchard, batch)
        top = {"kind": "class", "tap": "fault", "faults": ["high"]}
        same = headed(7.0, gauge=batch.number)
        same["stages"] = same["stages"] | {"top": top}
        after = enter(database, orchard, begun, tree, same)
        assert after.answers[tree].stages["top"].faults == ("high",)
        refusal(database, orchard, begun, tree, headed(7.5, gauge=batch.number))
        kept = enter(database, orchard, begun, tree, headed(7.5))
        assert kept.answers[tree].gauge is None

    def test_an_amendment_goes_by_the_same_rule(self, database, orchard, lot_id, batch):
        audit_id = begin(database, orchard, lot_id)
        fill(database, orchard, audit_id, lambda _number: headed(7.0, gauge=batch.number))
        seal(database, orchard, audit_id)
        self.fail(database, orchard, batch)
        tree = first_tree(database, orchard, audit_id)

        def amend(answers, client_id):
            amend_tree(
                database,
                orchard.supervisor,
                audit_id,
                tree,
                answers=answers,
                reason="seen again",
                client_id=client_id,
                device=Device("desk"),
                now=AUDITED,
            )

        with pytest.raises(InvalidInput) as refused:
            amend(headed(7.5, gauge=batch.number), "a")
        assert list(refused.value.problems) == ["gauge"]
        amend(headed(7.5), "b")
        assert check_scores(database, orchard.farm_id).differences == []

    def test_a_second_copy_of_an_entry_is_still_known(self, database, orchard, begun, batch):
        tree = first_tree(database, orchard, begun)
        answers = headed(7.0, gauge=batch.number)
        enter(database, orchard, begun, tree, answers, client_id="one")
        self.fail(database, orchard, batch)
        after = enter(database, orchard, begun, tree, answers, client_id="one")
        assert after.answers[tree].gauge == batch.number


class TestFromAPhone:
    def test_what_is_held_back_can_be_taken_by_a_person_with_its_gauge(
        self, database, orchard, lot_id
    ):
        package = prepare(database, orchard, lot_id)
        phone, batch = enrol(database, orchard, "Pole"), checked_batch(database, orchard, AUDITED)
        audit = phone.new_id()
        first, second = (tree.id for tree in package.walk[:2])
        phone.tree(package, audit, first, headed(7.0, gauge=batch.number))
        assert [answer.outcome for answer in phone.send(database)] == ["stored"]
        printing.withdraw_batch(database, orchard.supervisor, batch.number, AUDITED)
        late = phone.tree(package, audit, second, headed(7.0, gauge=batch.number))
        (answer,) = phone.send(database, [late])
        assert (answer.outcome, answer.because) == ("rejected", "gauge_unusable")
        (item,) = held.list_held(database, orchard.supervisor)
        assert item.item.answers["gauge"] == batch.number
        held.take_held(database, orchard.supervisor, item.receipt.id, "measured before", AUDITED)
        with database.read() as connection:
            found = auditing.queries.audit_by_client_id(connection, orchard.farm_id, audit)
        answers = view(database, orchard, found.id).answers
        assert {answers[tree].gauge for tree in (first, second)} == {batch.number}
        assert check_scores(database, orchard.farm_id).differences == []

    def test_one_gauge_that_cannot_be_used_holds_no_other_tree_back(
        self, database, orchard, lot_id
    ):
        package = prepare(database, orchard, lot_id)
        phone, number = enrol(database, orchard, "Pole"), _unchecked(database, orchard)
        audit = phone.new_id()
        for at, tree in enumerate(package.walk[:3]):
            phone.tree(package, audit, tree.id, headed(7.0, gauge=number if at == 1 else None))
        outcomes = [answer.outcome for answer in phone.send(database)]
        assert outcomes == ["stored", "rejected", "stored"]

    def test_of_a_sealed_audit_it_becomes_an_amendment(self, database, orchard, lot_id):
        package = prepare(database, orchard, lot_id)
        phone, batch = enrol(database, orchard, "Pole"), checked_batch(database, orchard, AUDITED)
        audit = phone.new_id()
        audit_of_lot(phone, package, audit)
        phone.send(database)
        printing.withdraw_batch(database, orchard.supervisor, batch.number, AUDITED)
        tree = package.walk[0].id
        late = phone.tree(package, audit, tree, headed(7.0, gauge=batch.number))
        phone.send(database, [late])
        (item,) = held.list_held(database, orchard.supervisor)
        held.take_held(database, orchard.supervisor, item.receipt.id, "measured before", AUDITED)
        with database.read() as connection:
            found = auditing.queries.audit_by_client_id(connection, orchard.farm_id, audit)
        assert view(database, orchard, found.id).answers[tree].gauge == batch.number


def test_entries_of_several_trees_are_taken_or_refused_as_one(database, orchard, begun):
    good, bad = checked_batch(database, orchard, AUDITED).number, _unchecked(database, orchard)
    trees = [tree.id for tree in view(database, orchard, begun).walk[:2]]
    entries = [
        TreeEntry(tree, f"id-{tree}", headed(7.0, gauge=gauge), Device("desk"))
        for tree, gauge in zip(trees, (good, bad), strict=True)
    ]
    with pytest.raises(InvalidInput):
        auditing.record_trees(database, orchard.supervisor, begun, entries, AUDITED)
    assert not view(database, orchard, begun).answers


def test_a_gauge_is_usable_by_its_state_alone(database, orchard):
    batch = checked_batch(database, orchard, AUDITED)
    found = printing.batch_view(database, orchard.supervisor, batch.number, AUDITED)
    assert found.is_usable
    assert found.state is BatchState.USABLE
