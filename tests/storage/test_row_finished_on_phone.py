"""A row that the crew finished where there was no signal: the phone says so later."""

from datetime import timedelta
from types import SimpleNamespace

import pytest

from audits.errors import Conflict
from audits.services import farms, held, passes, preparing
from audits.services.standards import standard_digest
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import Effort, HeldBecause, LotState, Method, PassKind, PlantingKind
from tests.orchard import Orchard, plant_orchard
from tests.phone_queue import Package, enrol, package_of
from tests.row_audit import AUDITED, PRUNED_FROM, PRUNED_TO, begin_rows, draw_ahead


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, PRUNED_FROM)


@pytest.fixture
def pass_id(database, orchard) -> int:
    return begin_rows(database, orchard, 1)


@pytest.fixture
def package(database, orchard, pass_id) -> Package:
    return package_of(database, orchard, draw_ahead(database, orchard, pass_id, seed=5))


@pytest.fixture
def phone(database, orchard):
    phone = enrol(database, orchard, "phone-a")
    phone.now = PRUNED_TO
    return phone


def outcomes(receipts) -> list[tuple[str, HeldBecause | None]]:
    return [(receipt.outcome, receipt.because) for receipt in receipts]


def audit_offline(phone, package) -> str:
    """Say that the row is finished, score every tree and issue the verdict."""
    audit = phone.new_id()
    phone.make(package, audit, "row_finished", {})
    for tree in package.walk:
        phone.tree(package, audit, tree.id)
    phone.seal(package, audit)
    return audit


def lots(database, orchard, pass_id):
    with database.read() as connection:
        return pass_queries.lots_of_pass(connection, orchard.farm_id, pass_id)


def test_the_row_is_finished_its_trees_stored_and_its_lot_accepted(
    database, orchard, pass_id, package, phone
):
    audit_offline(phone, package)
    phone.now = AUDITED + timedelta(days=2)
    receipts = phone.send(database)
    assert set(outcomes(receipts)) == {("stored", None)}
    (lot,) = lots(database, orchard, pass_id)
    assert lot.state is LotState.ACCEPTED
    # When the phone says so, not when the word came.
    assert lot.finished_at == PRUNED_TO + timedelta(seconds=30)


def test_a_row_finished_in_the_office_first_has_the_same_draw(
    database, orchard, pass_id, package, phone
):
    passes.finish_row(database, orchard.supervisor, pass_id, orchard.row_ids[0], PRUNED_TO)
    audit_offline(phone, package)
    assert set(outcomes(phone.send(database))) == {("stored", None)}
    (lot,) = lots(database, orchard, pass_id)
    assert (lot.state, lot.finished_at) == (LotState.ACCEPTED, PRUNED_TO)


def test_a_phone_that_repeats_itself_finishes_a_row_once(
    database, orchard, pass_id, package, phone
):
    audit_offline(phone, package)
    phone.send(database)
    assert {receipt.outcome for receipt in phone.send(database)} == {"duplicate"}
    assert len(lots(database, orchard, pass_id)) == 1


def test_a_row_whose_map_changed_meanwhile_is_held_back_and_can_be_taken(
    database, orchard, pass_id, package, phone
):
    gone = package.walk[0]
    farms.add_planting(
        database,
        orchard.owner,
        orchard.row_ids[0],
        first_position=gone.position,
        last_position=gone.position,
        kind=PlantingKind.DEAD,
        since=PRUNED_FROM.date(),
    )
    audit = phone.new_id()
    said = phone.make(package, audit, "row_finished", {})
    assert outcomes(phone.send(database)) == [("rejected", HeldBecause.OTHER_DRAW)]
    assert lots(database, orchard, pass_id) == []
    (waiting,) = held.list_held(database, orchard.supervisor)
    assert waiting.receipt.client_id == said["id"]
    held.take_held(database, orchard.supervisor, waiting.receipt.id, "One dead tree.", AUDITED)
    (lot,) = lots(database, orchard, pass_id)
    assert lot.state is LotState.IN_AUDIT


def test_a_draw_that_belongs_to_no_unfinished_row_finishes_nothing(database, package, phone):
    strange = Package(package.draw + 1, package.standard, package.walk, package.reserve)
    phone.make(strange, phone.new_id(), "row_finished", {})
    assert outcomes(phone.send(database)) == [("rejected", HeldBecause.UNKNOWN_DRAW)]


@pytest.mark.parametrize("ahead", [timedelta(days=-400), timedelta(days=1), timedelta(days=30_000)])
def test_a_wrong_clock_finishes_a_row_no_earlier_than_its_pass_began(
    database, orchard, pass_id, package, phone, ahead
):
    phone.clock_ahead = ahead
    phone.make(package, phone.new_id(), "row_finished", {})
    assert outcomes(phone.send(database)) == [("stored", None)]
    (lot,) = lots(database, orchard, pass_id)
    assert PRUNED_FROM <= lot.finished_at <= phone.now


def prepare_rows(database, orchard, *, chance=0.5):
    return preparing.prepare_rows(
        database,
        orchard.supervisor,
        new_seed=lambda: 5,
        chance=lambda: chance,
        now=PRUNED_FROM,
    )


@pytest.mark.usefixtures("pass_id")
def test_preparing_draws_the_rows_of_passes_that_are_under_way_once(database, orchard):
    first = prepare_rows(database, orchard)
    again = prepare_rows(database, orchard)
    assert first.problems == again.problems == []
    (row,) = first.prepared
    assert (row.lot, row.row_ids, row.chosen) == (None, orchard.row_ids[:1], True)
    assert [found.draw.id for found in again.prepared] == [row.draw.id]
    (known,) = preparing.prepared_lots(database, orchard.supervisor)
    assert known == row


def test_a_row_that_is_finished_or_of_a_pass_that_ended_is_not_drawn_ahead(
    database, orchard, pass_id
):
    passes.finish_row(database, orchard.supervisor, pass_id, orchard.row_ids[0], PRUNED_TO)
    assert prepare_rows(database, orchard).prepared == []


def test_rows_that_go_together_by_half_days_are_not_drawn_ahead(database, orchard):
    passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=orchard.row_ids[2:4],
        started_at=PRUNED_FROM,
        lot_by=passes.LOT_BY_HALF_DAY,
    )
    assert prepare_rows(database, orchard).prepared == []


@pytest.mark.parametrize(("chance", "chosen"), [(0.1, True), (0.9, False)])
def test_a_phone_knows_what_chance_decided_and_the_office_keeps_to_it(
    database, orchard, pass_id, phone, monkeypatch, chance, chosen
):
    state = SimpleNamespace(effort=Effort.ONE_IN_THREE)
    monkeypatch.setattr(passes, "_effort", lambda *_anything: state)
    (row,) = prepare_rows(database, orchard, chance=chance).prepared
    assert row.chosen is chosen
    # Asking again asks nothing of chance.
    assert prepare_rows(database, orchard, chance=1 - chance).prepared[0].chosen is chosen
    package = Package(
        row.draw.id,
        {"version": row.version.version, "digest": standard_digest(row.version)},
        row.trees,
        (),
    )
    phone.make(package, phone.new_id(), "row_finished", {})
    phone.send(database)
    (lot,) = lots(database, orchard, pass_id)
    assert (lot.chosen, lot.effort) == (chosen, Effort.ONE_IN_THREE)


def test_a_pass_of_which_a_phone_has_scored_trees_is_not_taken_back(
    database, orchard, pass_id, package, phone
):
    """The word that the row is finished is held back, and the trees are stored by then."""
    gone = package.walk[0]
    farms.add_planting(
        database,
        orchard.owner,
        orchard.row_ids[0],
        first_position=gone.position,
        last_position=gone.position,
        kind=PlantingKind.DEAD,
        since=PRUNED_FROM.date(),
    )
    audit = phone.new_id()
    phone.make(package, audit, "row_finished", {})
    phone.tree(package, audit, package.walk[1].id)
    assert outcomes(phone.send(database)) == [
        ("rejected", HeldBecause.OTHER_DRAW),
        ("stored", None),
    ]
    with pytest.raises(Conflict):
        passes.take_back_pass(database, orchard.supervisor, pass_id)
    (waiting,) = held.list_held(database, orchard.supervisor)
    held.take_held(database, orchard.supervisor, waiting.receipt.id, "One dead tree.", AUDITED)
    assert len(lots(database, orchard, pass_id)) == 1
