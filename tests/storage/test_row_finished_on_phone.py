"""A row that the crew finished where there was no signal: the phone says so later."""

from datetime import timedelta

import pytest

from audits.services import farms, held, passes
from audits.services.ahead import draw_row_ahead
from audits.services.standards import standard_digest
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import HeldBecause, LotState, Method, PassKind, PlantingKind
from tests.orchard import Orchard, plant_orchard
from tests.phone_queue import Package, enrol
from tests.row_audit import AUDITED, PRUNED_FROM, PRUNED_TO


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, PRUNED_FROM)


@pytest.fixture
def pass_id(database, orchard) -> int:
    return passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=orchard.row_ids[:1],
        started_at=PRUNED_FROM,
    )


@pytest.fixture
def package(database, orchard, pass_id) -> Package:
    with database.write() as connection:
        found = pass_queries.crew_pass_by_id(connection, orchard.farm_id, pass_id)
        part = pass_queries.pass_row_of(connection, orchard.farm_id, pass_id, orchard.row_ids[0])
        draw_id = draw_row_ahead(
            connection, orchard.supervisor, found, part, seed=5, now=PRUNED_FROM
        )
        trees = audit_queries.draw_trees(connection, orchard.farm_id, draw_id)
        version = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    return Package(
        draw=draw_id,
        standard={"version": version.version, "digest": standard_digest(version)},
        walk=[tree for tree in trees if tree.walk_order is not None],
        reserve=[tree for tree in trees if tree.walk_order is None],
    )


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
