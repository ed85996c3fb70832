"""Rows drawn before they are finished, on both databases."""

from datetime import timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Conflict
from audits.services import auditing, farms, passes, preparing
from audits.services.effort import audit_all_the_same
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.tables import ahead_draw, draw
from audits.vocabulary import LotState, PlantingKind
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import AUDITED, PHONE, PRUNED_FROM, PRUNED_TO, begin_rows, draw_ahead


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, PRUNED_FROM)


@pytest.fixture
def pass_id(database, orchard) -> int:
    return begin_rows(database, orchard, 2)


def finish(database, orchard, pass_id, **more) -> int:
    return passes.finish_row(
        database, orchard.supervisor, pass_id, orchard.row_ids[0], PRUNED_TO, **more
    )


def draws_of(database, orchard, lot_id) -> list[int]:
    with database.read() as connection:
        found = audit_queries.draws_of_lot(connection, orchard.farm_id, lot_id)
    return [drawn.id for drawn in found]


def state_of(database, orchard, lot_id) -> LotState:
    with database.read() as connection:
        return pass_queries.lot_by_id(connection, orchard.farm_id, lot_id).state


def begin_audit(database, orchard, lot_id) -> auditing.AuditView:
    audit_id = auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=99,
        client_id="5b0e9a52-6b9f-4f0e-9d58-0f7f2a1f4c11",
        device=PHONE,
        now=AUDITED,
    )
    return auditing.view_audit(database, orchard.supervisor, audit_id)


def test_the_lot_of_a_finished_row_takes_the_draw_that_was_made_ahead(database, orchard, pass_id):
    ahead = draw_ahead(database, orchard, pass_id)
    lot_id = finish(database, orchard, pass_id)
    assert draws_of(database, orchard, lot_id) == [ahead]
    assert state_of(database, orchard, lot_id) is LotState.IN_AUDIT
    view = begin_audit(database, orchard, lot_id)
    assert view.book.draw.id == ahead
    assert draws_of(database, orchard, lot_id) == [ahead]


def test_drawing_a_row_ahead_again_gives_the_same_trees(database, orchard, pass_id):
    assert draw_ahead(database, orchard, pass_id) == draw_ahead(database, orchard, pass_id, seed=8)


def test_a_draw_made_ahead_is_left_alone_once_the_map_has_changed(database, orchard, pass_id):
    ahead = draw_ahead(database, orchard, pass_id)
    with database.read() as connection:
        gone = audit_queries.draw_trees(connection, orchard.farm_id, ahead)[0]
    farms.add_planting(
        database,
        orchard.owner,
        orchard.row_ids[0],
        first_position=gone.position,
        last_position=gone.position,
        kind=PlantingKind.DEAD,
        since=PRUNED_FROM.date(),
    )
    lot_id = finish(database, orchard, pass_id)
    assert state_of(database, orchard, lot_id) is LotState.WAITING
    assert begin_audit(database, orchard, lot_id).book.draw.id != ahead


def test_a_lot_that_is_passed_over_keeps_its_draw_for_whoever_audits_it_all_the_same(
    database, orchard, pass_id, monkeypatch
):
    ahead = draw_ahead(database, orchard, pass_id)
    monkeypatch.setattr(passes, "is_lot_audited", lambda _effort, _number: False)
    monkeypatch.setattr(passes._Choice, "number_of", lambda _choice, _part: 0.9)
    lot_id = finish(database, orchard, pass_id)
    assert state_of(database, orchard, lot_id) is LotState.NOT_CHOSEN
    audit_all_the_same(database, orchard.supervisor, lot_id)
    assert begin_audit(database, orchard, lot_id).book.draw.id == ahead


def test_a_row_is_taken_back_until_its_trees_are_scored(database, orchard, pass_id):
    ahead = draw_ahead(database, orchard, pass_id)
    finish(database, orchard, pass_id)
    passes.take_back_rows(database, orchard.supervisor, pass_id, [orchard.row_ids[0]])
    lot_id = finish(database, orchard, pass_id)
    assert draws_of(database, orchard, lot_id) == [ahead]
    begin_audit(database, orchard, lot_id)
    with pytest.raises(Conflict):
        passes.take_back_rows(database, orchard.supervisor, pass_id, [orchard.row_ids[0]])


def test_a_pass_begun_by_mistake_takes_its_draws_along(database, orchard, pass_id):
    draw_ahead(database, orchard, pass_id)
    passes.take_back_pass(database, orchard.supervisor, pass_id)
    with database.read() as connection:
        for table in (ahead_draw, draw):
            assert connection.execute(sa.select(table)).all() == []


def test_the_draw_of_a_row_is_planned_like_that_of_its_lot(database, orchard, pass_id):
    """A second row of the same length, planned after it was finished, has the same plans."""
    ahead = draw_ahead(database, orchard, pass_id)
    other = passes.finish_row(
        database, orchard.supervisor, pass_id, orchard.row_ids[1], PRUNED_TO + timedelta(hours=1)
    )
    drawn = begin_audit(database, orchard, other).book.draw.id
    with database.read() as connection:
        plans = [
            {row.stage: row.plan for row in audit_queries.draw_stages(connection, 1, draw_id)}
            for draw_id in (ahead, drawn)
        ]
    assert plans[0] == plans[1]


def test_a_phone_is_given_the_draw_that_the_lot_will_take(database, orchard, pass_id):
    """A map that was changed and put right again: the first draw fits, the latest does not."""
    first = draw_ahead(database, orchard, pass_id)
    with database.read() as connection:
        tree = audit_queries.draw_trees(connection, orchard.farm_id, first)[0]

    def note(kind: PlantingKind) -> None:
        farms.add_planting(
            database,
            orchard.owner,
            orchard.row_ids[0],
            first_position=tree.position,
            last_position=tree.position,
            kind=kind,
            since=PRUNED_FROM.date(),
        )

    note(PlantingKind.DEAD)
    assert draw_ahead(database, orchard, pass_id, seed=8) != first
    note(PlantingKind.BEARING)
    assert draw_ahead(database, orchard, pass_id, seed=9) == first
    given = preparing.prepared_lots(database, orchard.supervisor)
    assert [found.draw.id for found in given] == [first]
    assert draws_of(database, orchard, finish(database, orchard, pass_id)) == [first]
