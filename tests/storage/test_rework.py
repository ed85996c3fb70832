"""Rework on both databases: the order, the pass that mends, and the re-audit."""

from datetime import timedelta
from uuid import uuid4

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import amending, auditing, planning, reworking
from audits.services.lots import view_lot
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as queries
from audits.vocabulary import (
    Fault,
    LotState,
    Method,
    Outcome,
    PassKind,
    PlantingKind,
    Purpose,
    Stage,
)
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    PRUNED_FROM,
    Pruned,
    assign_halves,
    audited,
    begin,
    fault,
    first_trees,
    mend,
    prune,
    right,
    seal,
    walk,
)


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


@pytest.fixture
def pruned(database, orchard) -> Pruned:
    return prune(database, orchard)


@pytest.fixture
def lot_id(pruned) -> int:
    return pruned.lot_ids[0]


def lose(database, orchard, lot_id, **stages) -> int:
    """Audit a lot with these faults on ten trees and return its rework order."""
    audited(database, orchard, lot_id, first_trees(10, **stages))
    return view_lot(database, orchard.supervisor, lot_id).orders[-1].id


def items(database, orchard, order_id):
    return reworking.view_rework(database, orchard.supervisor, order_id).items


def state(database, orchard, lot_id) -> LotState:
    with database.read() as connection:
        return planning.the_lot(connection, orchard.farm_id, lot_id).state


class TestOrder:
    def test_it_lists_only_the_stages_that_were_not_accepted(self, database, orchard, lot_id):
        audited(
            database,
            orchard,
            lot_id,
            lambda n: right(
                **({"top": fault(Fault.HIGH)} if n <= 10 else {}),
                **({"columns": fault(Fault.FORK)} if n <= 2 else {}),
            ),
        )
        order = view_lot(database, orchard.supervisor, lot_id).orders[0]
        assert {item.stage for item in items(database, orchard, order.id)} == {Stage.TOP}

    def test_shared_results_send_the_whole_row_back_to_the_crew(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.HIGH))
        (item,) = items(database, orchard, order_id)
        assert (item.worker_id, item.first_position, item.last_position) == (None, 1, TREES_IN_ROW)
        assert item.mendable
        assert item.faults == (Fault.HIGH,)

    def test_named_people_get_their_own_stretch(self, database, orchard, pruned, lot_id):
        ana, beto = assign_halves(database, orchard, pruned)
        audit_id = begin(database, orchard, lot_id)

        def answers(number: int):
            tree = auditing.view_audit(database, orchard.supervisor, audit_id).next_tree
            named = Fault.HIGH if tree.position <= 155 else Fault.LOW
            return right(top=fault(named)) if number <= 20 else right()

        walk(database, orchard, audit_id, answers)
        seal(database, orchard, audit_id)
        order = view_lot(database, orchard.supervisor, lot_id).orders[0]
        found = {
            (item.worker_id, item.mendable): (item.first_position, item.last_position, item.faults)
            for item in items(database, orchard, order.id)
        }
        assert found == {
            (ana, True): (1, 155, (Fault.HIGH,)),
            (beto, False): (156, 310, (Fault.LOW,)),
        }

    def test_lasting_faults_alone_close_the_lot(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.LOW))
        assert [item.mendable for item in items(database, orchard, order_id)] == [False]
        assert state(database, orchard, lot_id) is LotState.CLOSED_NOT_ACCEPTED
        with pytest.raises(Conflict, match="Nothing in this order"):
            mend(database, orchard, order_id)
        with pytest.raises(Conflict):
            begin(database, orchard, lot_id)

    def test_mendable_and_lasting_lines_stand_apart(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.HIGH, Fault.LEADER_YOUNG))
        lines = [(item.mendable, item.faults) for item in items(database, orchard, order_id)]
        assert lines == [(True, (Fault.HIGH,)), (False, (Fault.LEADER_YOUNG,))]
        assert state(database, orchard, lot_id) is LotState.REWORK

    def test_an_order_of_another_farm_does_not_exist(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.HIGH))
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        with pytest.raises(NotFound):
            reworking.view_rework(database, other.supervisor, order_id)

    def test_workers_do_not_see_it(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.HIGH))
        with pytest.raises(NotAllowed):
            reworking.view_rework(database, orchard.worker, order_id)


class TestRecord:
    @pytest.fixture
    def order_id(self, database, orchard, lot_id) -> int:
        return lose(database, orchard, lot_id, top=fault(Fault.HIGH))

    def record(self, database, orchard, order_id, **changes):
        entry = {
            "crew_id": orchard.crew_id,
            "method": Method.GROUND,
            "started_at": AUDITED + timedelta(hours=1),
            "ended_at": AUDITED + timedelta(hours=2),
            "hours": 4.0,
            "now": AUDITED + timedelta(hours=3),
        }
        return reworking.record_rework(database, orchard.supervisor, order_id, **(entry | changes))

    def test_the_mending_is_a_pass_of_its_own(self, database, orchard, order_id):
        pass_id = self.record(database, orchard, order_id)
        with database.read() as connection:
            mended = queries.crew_pass_by_id(connection, orchard.farm_id, pass_id)
            rows = queries.pass_rows(connection, orchard.farm_id, pass_id)
            order = queries.rework_order_by_id(connection, orchard.farm_id, order_id)
        assert (mended.kind, mended.method, mended.hours) == (PassKind.REWORK, Method.GROUND, 4.0)
        assert mended.standard_version_id == orchard.standard_id
        assert [row.orchard_row_id for row in rows] == [orchard.row_ids[0]]
        assert (order.crew_pass_id, order.done_at) == (pass_id, AUDITED + timedelta(hours=2))
        # The mended row is no lot of its own: it goes back to the re-audit of the old one.
        with database.read() as connection:
            assert queries.lots_of_pass(connection, orchard.farm_id, pass_id) == []

    def test_it_is_recorded_only_once(self, database, orchard, order_id):
        self.record(database, orchard, order_id)
        with pytest.raises(Conflict, match="already"):
            self.record(database, orchard, order_id)

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"ended_at": AUDITED}, "ended_at"),
            ({"ended_at": AUDITED + timedelta(hours=4)}, "ended_at"),
            ({"started_at": PRUNED_FROM - timedelta(minutes=1)}, "started_at"),
            ({"hours": 0}, "hours"),
            ({"hours": 10_001.0}, "hours"),
            ({"crew_id": 99_999}, "crew_id"),
        ],
    )
    def test_bad_values_are_refused_at_their_field(
        self, database, orchard, lot_id, order_id, changes, field
    ):
        with pytest.raises(InvalidInput) as refusal:
            self.record(database, orchard, order_id, **changes)
        assert set(refusal.value.problems) == {field}
        with pytest.raises(Conflict, match="Record first"):
            begin(database, orchard, lot_id)


class TestReAudit:
    def test_until_the_rework_is_recorded_there_is_none(self, database, orchard, lot_id):
        lose(database, orchard, lot_id, top=fault(Fault.HIGH))
        with pytest.raises(Conflict, match="Record first"):
            begin(database, orchard, lot_id)
        assert view_lot(database, orchard.supervisor, lot_id).hindrance is not None

    def test_it_looks_at_the_failed_stages_only_on_trees_drawn_afresh(
        self, database, orchard, lot_id
    ):
        mend(database, orchard, lose(database, orchard, lot_id, top=fault(Fault.HIGH)))
        audit_id = begin(database, orchard, lot_id, seed=2)
        view = auditing.view_audit(database, orchard.supervisor, audit_id)
        assert view.book.draw.purpose is Purpose.RE_AUDIT
        assert view.book.draw.stages == (Stage.TOP,)
        assert set(view.book.plans) == {Stage.TOP}
        with database.read() as connection:
            first, second = audit_queries.draws_of_lot(connection, orchard.farm_id, lot_id)
            trees = [
                {
                    tree.position
                    for tree in audit_queries.draw_trees(connection, orchard.farm_id, draw.id)
                }
                for draw in (first, second)
            ]
        assert trees[0] != trees[1]

    def test_accepted_it_closes_the_lot(self, database, orchard, lot_id):
        mend(database, orchard, lose(database, orchard, lot_id, top=fault(Fault.HIGH)))
        audit_id = begin(database, orchard, lot_id, seed=2)
        walk(database, orchard, audit_id, lambda _: right(Stage.TOP))
        seal(database, orchard, audit_id)
        assert state(database, orchard, lot_id) is LotState.ACCEPTED

    def test_lost_again_it_goes_back_again(self, database, orchard, lot_id):
        mend(database, orchard, lose(database, orchard, lot_id, top=fault(Fault.HIGH)))
        audit_id = begin(database, orchard, lot_id, seed=2)
        high = {"stages": {"top": fault(Fault.HIGH)}}
        walk(database, orchard, audit_id, lambda _: high)
        assert seal(database, orchard, audit_id).outcome is Outcome.NOT_ACCEPTED
        assert state(database, orchard, lot_id) is LotState.REWORK
        orders = view_lot(database, orchard.supervisor, lot_id).orders
        assert [order.done_at is None for order in orders] == [False, True]

    def test_a_stage_lost_to_lasting_faults_stays_lost(self, database, orchard, lot_id):
        order_id = lose(database, orchard, lot_id, top=fault(Fault.LOW), columns=fault(Fault.FORK))
        mend(database, orchard, order_id)
        audit_id = begin(database, orchard, lot_id, seed=2)
        view = auditing.view_audit(database, orchard.supervisor, audit_id)
        assert view.book.draw.stages == (Stage.COLUMNS,)
        walk(database, orchard, audit_id, lambda _: right(Stage.COLUMNS))
        assert seal(database, orchard, audit_id).outcome is Outcome.ACCEPTED
        assert state(database, orchard, lot_id) is LotState.CLOSED_NOT_ACCEPTED

    def test_an_amendment_of_a_closed_matter_does_not_keep_the_lot_in_rework(
        self, database, orchard, lot_id
    ):
        """Amended to a mendable fault, the lost stage is in no order: nobody could mend it."""
        order_id = lose(database, orchard, lot_id, top=fault(Fault.LOW), columns=fault(Fault.FORK))
        first = view_lot(database, orchard.supervisor, lot_id).draws[0].audits[0].audit.id
        view = auditing.view_audit(database, orchard.supervisor, first)
        amending.amend_tree(
            database,
            orchard.supervisor,
            first,
            next(iter(view.tree_of_score.values())).id,
            answers=right(top=fault(Fault.HIGH), columns=fault(Fault.FORK)),
            reason="tapped the wrong name",
            client_id=str(uuid4()),
            device=PHONE,
            now=AUDITED + timedelta(hours=1),
        )
        mend(database, orchard, order_id)
        audit_id = begin(database, orchard, lot_id, seed=2)
        walk(database, orchard, audit_id, lambda _: right(Stage.COLUMNS))
        seal(database, orchard, audit_id)
        assert state(database, orchard, lot_id) is LotState.CLOSED_NOT_ACCEPTED

    def test_its_roll_ups_are_told_apart_from_those_of_the_first(self, database, orchard, lot_id):
        mend(database, orchard, lose(database, orchard, lot_id, top=fault(Fault.HIGH)))
        audit_id = begin(database, orchard, lot_id, seed=2)
        walk(database, orchard, audit_id, lambda _: right(Stage.TOP))
        seal(database, orchard, audit_id)
        with database.read() as connection:
            rows = audit_queries.rollups(connection, orchard.farm_id, audit_id)
        assert {(row.stage, row.purpose) for row in rows} == {(Stage.TOP, Purpose.RE_AUDIT)}

    def test_a_draw_that_was_given_up_waits_for_another_re_audit(self, database, orchard, lot_id):
        mend(database, orchard, lose(database, orchard, lot_id, top=fault(Fault.HIGH)))
        audit_id = begin(database, orchard, lot_id, seed=2)
        substitute = object()
        while substitute is not None:
            gone = auditing.view_audit(database, orchard.supervisor, audit_id).next_tree
            substitute = auditing.replace_tree(
                database, orchard.supervisor, audit_id, gone.id, PlantingKind.DEAD
            )
        assert state(database, orchard, lot_id) is LotState.REWORK
        again = begin(database, orchard, lot_id, seed=3)
        view = auditing.view_audit(database, orchard.supervisor, again)
        assert view.book.draw.stages == (Stage.TOP,)
