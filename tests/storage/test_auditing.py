"""An audit through the services on both databases, from the draw to the verdict."""

from collections import Counter
from datetime import timedelta
from uuid import uuid4

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import auditing, farms, passes, planning, sealing, standards
from audits.services.auditing import Device, TreeEntry
from audits.services.lots import view_lot
from audits.services.verdicts import view_verdict
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import (
    Fault,
    LotState,
    Method,
    Outcome,
    PlantingKind,
    Purpose,
    Result,
    Side,
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
    enter,
    fault,
    first_trees,
    prune,
    right,
    seal,
    walk,
)

HIGH = {"top": fault(Fault.HIGH)}


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


def view_of(database, orchard, audit_id):
    return auditing.view_audit(database, orchard.supervisor, audit_id)


def lot_of(database, orchard, lot_id):
    with database.read() as connection:
        return planning.the_lot(connection, orchard.farm_id, lot_id)


def drawn(database, orchard, audit_id):
    with database.read() as connection:
        found = queries.audit_by_id(connection, orchard.farm_id, audit_id)
        return queries.draw_trees(connection, orchard.farm_id, found.draw_id)


class TestPlan:
    def test_the_plan_is_shown_before_anything_is_drawn(self, database, orchard, lot_id):
        plan = planning.plan_audit(database, orchard.supervisor, lot_id)
        assert plan.purpose is Purpose.FIRST
        assert len(plan.places) == TREES_IN_ROW
        assert tuple(plan.plans) == tuple(Stage)
        assert plan.stage_producer_risk < plan.standard.producer_risk
        assert lot_of(database, orchard, lot_id).state is LotState.WAITING

    def test_only_bearing_trees_belong_to_the_lot(self, database, orchard, lot_id):
        farms.add_planting(
            database,
            orchard.supervisor,
            orchard.row_ids[0],
            first_position=11,
            last_position=20,
            kind=PlantingKind.REPLANT,
            since=PRUNED_FROM.date() - timedelta(days=200),
        )
        plan = planning.plan_audit(database, orchard.supervisor, lot_id)
        positions = {place.position for place in plan.places}
        assert positions == set(range(1, TREES_IN_ROW + 1)) - set(range(11, 21))

    def test_a_tree_that_stood_during_the_pass_still_belongs(self, database, orchard, lot_id):
        farms.add_planting(
            database,
            orchard.supervisor,
            orchard.row_ids[0],
            first_position=11,
            last_position=11,
            kind=PlantingKind.DEAD,
            since=PRUNED_FROM.date() + timedelta(days=1),
        )
        plan = planning.plan_audit(database, orchard.supervisor, lot_id)
        assert len(plan.places) == TREES_IN_ROW

    def test_a_row_without_bearing_trees_says_so(self, database, orchard, lot_id):
        farms.add_planting(
            database,
            orchard.supervisor,
            orchard.row_ids[0],
            first_position=1,
            last_position=TREES_IN_ROW,
            kind=PlantingKind.MISSING,
            since=PRUNED_FROM.date() - timedelta(days=1),
        )
        with pytest.raises(InvalidInput, match="No bearing tree"):
            begin(database, orchard, lot_id)
        assert view_lot(database, orchard.supervisor, lot_id).hindrance is not None

    def test_an_accepted_lot_waits_for_no_audit(self, database, orchard, lot_id):
        audited(database, orchard, lot_id)
        with pytest.raises(Conflict, match="not waiting"):
            planning.plan_audit(database, orchard.supervisor, lot_id)


def waves_of(view):
    """Return the positions of each wave in the order in which they are walked."""
    return [
        [tree.position for tree in view.walk if tree.wave == wave]
        for wave in sorted({tree.wave for tree in view.walk})
    ]


def write_sampling(database, orchard, **sampling):
    """Let the standard of the block ask for another kind of plan."""
    with database.read() as connection:
        stored = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=stored.payload | {"sampling": sampling},
        in_force_from=PRUNED_FROM.date(),
        now=AUDITED,
    )


class TestBegin:
    def test_a_draw_is_kept_with_its_seed_plans_and_reserve(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id, seed=2**62)
        view = view_of(database, orchard, audit_id)
        draw = view.book.draw
        assert (draw.seed, draw.lot_size, draw.purpose) == (
            str(2**62),
            TREES_IN_ROW,
            Purpose.FIRST,
        )
        assert set(view.book.plans) == set(Stage)
        assert {plan.sample_size for plan in view.book.plans.values()} == {len(view.walk)}
        assert view.reserve_left >= 6
        assert lot_of(database, orchard, lot_id).state is LotState.IN_AUDIT

    def test_the_same_seed_draws_the_same_trees(self, database, orchard):
        pruned = prune(database, orchard, rows=2)
        walks = [
            [(tree.position, tree.side) for tree in drawn(database, orchard, audit_id)]
            for audit_id in (begin(database, orchard, lot_id, seed=99) for lot_id in pruned.lot_ids)
        ]
        assert walks[0] == walks[1]

    def test_both_sides_are_looked_at_alike(self, database, orchard, lot_id):
        view = view_of(database, orchard, begin(database, orchard, lot_id))
        sides = Counter(tree.side for tree in view.walk)
        assert abs(sides[Side.LEFT] - sides[Side.RIGHT]) <= 1

    def test_one_wave_is_walked_out_and_the_next_one_back(self, database, orchard, lot_id):
        view = view_of(database, orchard, begin(database, orchard, lot_id))
        out, back = waves_of(view)
        assert [tree.position for tree in view.walk] == out + back
        assert out == sorted(out)
        assert back == sorted(back, reverse=True)
        sizes = {tuple(wave.size for wave in plan.waves) for plan in view.book.plans.values()}
        assert sizes == {(len(out), len(out + back))}

    def test_one_sample_goes_out_on_one_side_and_back_on_the_other(self, database, orchard):
        write_sampling(database, orchard, method="single")
        (lot_id,) = prune(database, orchard).lot_ids
        view = view_of(database, orchard, begin(database, orchard, lot_id))
        out = [tree.position for tree in view.walk if tree.side is Side.LEFT]
        back = [tree.position for tree in view.walk if tree.side is Side.RIGHT]
        assert [tree.position for tree in view.walk] == out + back
        assert out == sorted(out)
        assert back == sorted(back, reverse=True)

    @pytest.mark.parametrize("method", ["single", "double", "table"])
    def test_other_kinds_of_plans_are_drawn_and_decided(self, database, orchard, method):
        write_sampling(database, orchard, method=method, acceptable_quality_limit=4.0)
        (lot_id,) = prune(database, orchard).lot_ids
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id)
        assert seal(database, orchard, audit_id).outcome is Outcome.ACCEPTED

    def test_beginning_twice_is_beginning_once(self, database, orchard, lot_id):
        client_id = str(uuid4())
        first = begin(database, orchard, lot_id, client_id=client_id, seed=1)
        assert begin(database, orchard, lot_id, client_id=client_id, seed=2) == first
        # A second tap makes a new id, and still there is one audit a draw, auditor and device.
        assert begin(database, orchard, lot_id, seed=3) == first

    def test_a_late_copy_of_the_first_request_finds_the_sealed_audit(
        self, database, orchard, lot_id
    ):
        client_id = str(uuid4())
        audit_id = begin(database, orchard, lot_id, client_id=client_id)
        walk(database, orchard, audit_id)
        seal(database, orchard, audit_id)
        assert begin(database, orchard, lot_id, client_id=client_id) == audit_id

    def test_an_id_of_another_lot_is_refused(self, database, orchard):
        lots = prune(database, orchard, rows=2).lot_ids
        client_id = str(uuid4())
        begin(database, orchard, lots[0], client_id=client_id)
        with pytest.raises(Conflict, match="another audit"):
            begin(database, orchard, lots[1], client_id=client_id)

    def test_two_phones_on_one_row_score_the_same_draw(self, database, orchard, lot_id):
        one = begin(database, orchard, lot_id)
        other = begin(database, orchard, lot_id, device=Device("phone-2"))
        assert one != other
        views = [view_of(database, orchard, audit_id) for audit_id in (one, other)]
        assert views[0].walk == views[1].walk
        enter(database, orchard, one, views[0].walk[0].id, right())
        assert view_of(database, orchard, other).answers == {}

    def test_the_season_is_that_of_the_farms_day(self, database, orchard, lot_id):
        # The season begins in November, and is numbered by the year in which it begins.
        audit_id = begin(database, orchard, lot_id)
        assert view_of(database, orchard, audit_id).book.audit.season == 2025

    def test_workers_cannot_begin_one(self, database, orchard, lot_id):
        with pytest.raises(NotAllowed):
            begin(database, orchard, lot_id, actor=orchard.worker)

    def test_a_lot_of_another_farm_does_not_exist(self, database, lot_id):
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        with pytest.raises(NotFound):
            begin(database, other, lot_id)


class TestRecord:
    @pytest.fixture
    def audit_id(self, database, orchard, lot_id) -> int:
        return begin(database, orchard, lot_id)

    @pytest.fixture
    def trees(self, database, orchard, audit_id):
        return view_of(database, orchard, audit_id).walk

    def test_a_tree_is_scored_and_the_next_one_comes(self, database, orchard, audit_id, trees):
        view = enter(database, orchard, audit_id, trees[0].id, right(**HIGH))
        assert view.next_tree == trees[1]
        assert {(score.stage, score.result, score.faults) for score in view.scores} == {
            (Stage.TOP, Result.NONCONFORMING, (Fault.HIGH,)),
            (Stage.LIMBS, Result.CONFORMING, ()),
            (Stage.COLUMNS, Result.CONFORMING, ()),
            (Stage.HEADING, Result.CONFORMING, ()),
        }

    def test_sending_it_twice_keeps_it_once(self, database, orchard, audit_id, trees):
        client_id = str(uuid4())
        for _ in range(3):
            view = enter(database, orchard, audit_id, trees[0].id, right(), client_id=client_id)
        assert len(view.answers) == 1
        assert len(view.scores) == len(Stage)
        with database.read() as connection:
            rows = queries.every_score(connection, orchard.farm_id, audit_id)
        assert len(rows) == 1

    def test_entering_a_tree_again_replaces_its_answers(self, database, orchard, audit_id, trees):
        for number in range(3):
            enter(database, orchard, audit_id, trees[number].id, right())
        view = enter(database, orchard, audit_id, trees[0].id, right(**HIGH))
        assert len(view.answers) == 3
        assert view.standings[0].tally.nonconforming == 1
        # An edit is no new tree: the last one scored is still the third.
        assert view.last_scored == trees[2]

    def test_a_late_copy_of_an_entry_does_not_undo_a_later_change(
        self, database, orchard, audit_id, trees
    ):
        first, change = str(uuid4()), str(uuid4())
        one, two = (Device("phone-1", counter=counter) for counter in (4, 5))
        tree_id = trees[0].id
        enter(database, orchard, audit_id, tree_id, right(), client_id=first, device=one)
        enter(database, orchard, audit_id, tree_id, right(**HIGH), client_id=change, device=two)
        view = enter(database, orchard, audit_id, tree_id, right(), client_id=first, device=one)
        assert view.standings[0].tally.nonconforming == 1

    def test_an_id_that_was_used_for_another_tree_is_refused(
        self, database, orchard, audit_id, trees
    ):
        client_id = str(uuid4())
        enter(database, orchard, audit_id, trees[0].id, right(), client_id=client_id)
        with pytest.raises(Conflict, match="another tree"):
            enter(database, orchard, audit_id, trees[1].id, right(), client_id=client_id)
        assert set(view_of(database, orchard, audit_id).answers) == {trees[0].id}

    def test_one_id_for_two_trees_sent_together_is_refused(
        self, database, orchard, audit_id, trees
    ):
        client_id = str(uuid4())
        entries = [TreeEntry(tree.id, client_id, right(), PHONE) for tree in trees[:2]]
        with pytest.raises(Conflict, match="another tree"):
            auditing.record_trees(database, orchard.supervisor, audit_id, entries, AUDITED)

    def test_trees_sent_together_keep_their_order(self, database, orchard, audit_id, trees):
        backwards = list(reversed(trees[:5]))
        entries = [TreeEntry(tree.id, str(uuid4()), right(), PHONE) for tree in backwards]
        view = auditing.record_trees(database, orchard.supervisor, audit_id, entries, AUDITED)
        order = [view.tree_of_score[score.tree_score_id] for score in view.scores]
        assert list(dict.fromkeys(order)) == backwards

    def test_one_bad_answer_keeps_nothing_of_the_batch(self, database, orchard, audit_id, trees):
        entries = [
            TreeEntry(trees[0].id, str(uuid4()), right(), PHONE),
            TreeEntry(trees[1].id, str(uuid4()), right(top=fault(Fault.FORK)), PHONE),
        ]
        with pytest.raises(InvalidInput) as refusal:
            auditing.record_trees(database, orchard.supervisor, audit_id, entries, AUDITED)
        assert set(refusal.value.problems) == {"top"}
        assert view_of(database, orchard, audit_id).answers == {}

    def test_a_tree_outside_the_walk_is_refused(self, database, orchard, audit_id):
        reserve = [t for t in drawn(database, orchard, audit_id) if t.walk_order is None]
        with pytest.raises(NotFound, match="not in the walk"):
            enter(database, orchard, audit_id, reserve[0].id, right())
        with pytest.raises(NotFound, match="not in the walk"):
            enter(database, orchard, audit_id, 999_999, right())

    def test_an_audit_of_another_farm_does_not_exist(self, database, audit_id, trees):
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        with pytest.raises(NotFound):
            enter(database, other, audit_id, trees[0].id, right())
        with pytest.raises(NotFound):
            auditing.view_audit(database, other.supervisor, audit_id)

    def test_workers_cannot_score(self, database, orchard, audit_id, trees):
        with pytest.raises(NotAllowed):
            auditing.record_trees(
                database,
                orchard.worker,
                audit_id,
                [TreeEntry(trees[0].id, str(uuid4()), right(), PHONE)],
                AUDITED,
            )

    def test_measures_are_scored_by_the_standard_of_the_pass(
        self, database, orchard, audit_id, trees
    ):
        # The target is 0.9 x 11 ft = 3,017.52 mm, with 150 mm either way.
        enter(
            database,
            orchard,
            audit_id,
            trees[0].id,
            right(top={"kind": "top", "height_mm": 3_168.0}),
        )
        view = enter(
            database,
            orchard,
            audit_id,
            trees[1].id,
            right(top={"kind": "top", "height_mm": 3_167.0}),
        )
        results = [score.result for score in view.scores if score.stage is Stage.TOP]
        assert results == [Result.NONCONFORMING, Result.CONFORMING]

    def test_a_later_version_of_the_standard_changes_nothing(
        self, database, orchard, audit_id, trees
    ):
        with database.read() as connection:
            payload = standard_queries.standard_by_id(
                connection, orchard.farm_id, orchard.standard_id
            ).payload
        standards.write_standard(
            database,
            orchard.supervisor,
            orchard.block_id,
            payload=payload | {"top": payload["top"] | {"target_mm": 2_000.0}},
            in_force_from=PRUNED_FROM.date(),
            now=AUDITED,
        )
        measured = right(top={"kind": "top", "height_mm": 3_017.0})
        view = enter(database, orchard, audit_id, trees[0].id, measured)
        assert view.scores[0].result is Result.CONFORMING

    def test_machine_topped_rows_are_not_asked_for_a_side_branch(self, database, orchard):
        lot_id = prune(database, orchard, method=Method.MACHINE_TOPPED).lot_ids[0]
        audit_id = begin(database, orchard, lot_id)
        tree = view_of(database, orchard, audit_id).walk[0]
        top = {"kind": "top", "height_mm": 3_017.0, "to_side_branch": False}
        view = enter(database, orchard, audit_id, tree.id, right(top=top))
        assert view.scores[0].result is Result.CONFORMING


class TestUndo:
    def test_the_last_tree_is_asked_for_again(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        trees = walk(database, orchard, audit_id, most=3).walk
        assert auditing.undo_last_tree(database, orchard.supervisor, audit_id) == trees[2]
        view = view_of(database, orchard, audit_id)
        assert view.next_tree == trees[2]
        assert len(view.scores) == 2 * len(Stage)

    def test_before_the_first_tree_there_is_nothing_to_undo(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        assert auditing.undo_last_tree(database, orchard.supervisor, audit_id) is None

    def test_scoring_goes_on_after_an_undo(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id, most=3)
        auditing.undo_last_tree(database, orchard.supervisor, audit_id)
        view = walk(database, orchard, audit_id, most=2)
        assert len(view.answers) == 4
        assert view.last_scored == view.walk[3]

    def test_a_sealed_audit_cannot_be_undone(self, database, orchard, lot_id):
        audit_id = audited(database, orchard, lot_id)
        with pytest.raises(Conflict, match="sealed"):
            auditing.undo_last_tree(database, orchard.supervisor, audit_id)


class TestReplace:
    @pytest.fixture
    def audit_id(self, database, orchard, lot_id) -> int:
        return begin(database, orchard, lot_id)

    def replace_first(self, database, orchard, audit_id, kind=PlantingKind.DEAD):
        gone = view_of(database, orchard, audit_id).next_tree
        return gone, auditing.replace_tree(database, orchard.supervisor, audit_id, gone.id, kind)

    def test_the_next_reserve_tree_comes_instead(self, database, orchard, audit_id):
        before = view_of(database, orchard, audit_id)
        reserve = [t for t in drawn(database, orchard, audit_id) if t.walk_order is None]
        gone, substitute = self.replace_first(database, orchard, audit_id)
        after = view_of(database, orchard, audit_id)
        assert substitute.id == min(reserve, key=lambda tree: tree.reserve_order).id
        assert gone.id not in {tree.id for tree in after.walk}
        assert substitute.id in {tree.id for tree in after.walk}
        assert len(after.walk) == len(before.walk)
        assert after.reserve_left == before.reserve_left - 1

    def test_it_stands_in_the_walk_where_it_is_passed_anyway(self, database, orchard, audit_id):
        self.replace_first(database, orchard, audit_id)
        out, back = waves_of(view_of(database, orchard, audit_id))
        assert out == sorted(out)
        assert back == sorted(back, reverse=True)

    def test_a_tree_the_walk_has_passed_comes_next(self, database, orchard, audit_id):
        view = walk(database, orchard, audit_id, most=10)
        _, substitute = self.replace_first(database, orchard, audit_id)
        later = view_of(database, orchard, audit_id)
        ahead = [tree.id for tree in later.walk if tree.id not in later.answers]
        assert substitute.id in ahead
        assert len(later.answers) == len(view.answers)

    def test_the_map_is_put_right_as_of_the_pass(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id, now=AUDITED + timedelta(days=2))
        gone, _ = self.replace_first(database, orchard, audit_id, PlantingKind.POLLINIZER)
        with database.read() as connection:
            bearing = farms.bearing_positions(
                connection, orchard.farm_id, gone.orchard_row_id, PRUNED_FROM.date()
            )
            earlier = farms.bearing_positions(
                connection,
                orchard.farm_id,
                gone.orchard_row_id,
                PRUNED_FROM.date() - timedelta(days=1),
            )
        assert gone.position not in bearing
        assert gone.position in earlier
        assert len(bearing) == TREES_IN_ROW - 1

    def test_answers_already_given_for_it_are_dropped(self, database, orchard, audit_id):
        view = walk(database, orchard, audit_id, first_trees(1, **HIGH), most=2)
        auditing.replace_tree(
            database, orchard.supervisor, audit_id, view.walk[0].id, PlantingKind.MISSING
        )
        after = view_of(database, orchard, audit_id)
        assert len(after.answers) == 1
        assert after.standings[0].tally.nonconforming == 0
        # The full sample can still be scored and sealed.
        walk(database, orchard, audit_id)
        assert seal(database, orchard, audit_id).outcome is Outcome.ACCEPTED

    def test_a_bearing_tree_is_no_reason(self, database, orchard, audit_id):
        with pytest.raises(InvalidInput, match="what stands there"):
            self.replace_first(database, orchard, audit_id, PlantingKind.BEARING)

    def test_a_tree_is_replaced_only_once(self, database, orchard, audit_id):
        gone, _ = self.replace_first(database, orchard, audit_id)
        with pytest.raises(NotFound):
            auditing.replace_tree(
                database, orchard.supervisor, audit_id, gone.id, PlantingKind.DEAD
            )

    def test_when_the_reserve_is_used_up_the_lot_is_drawn_afresh(
        self, database, orchard, lot_id, audit_id
    ):
        walk(database, orchard, audit_id, most=2)
        gone = []
        while view_of(database, orchard, audit_id).reserve_left:
            gone.append(self.replace_first(database, orchard, audit_id)[0])
        last, substitute = self.replace_first(database, orchard, audit_id)
        assert substitute is None
        assert view_of(database, orchard, audit_id).given_up
        assert lot_of(database, orchard, lot_id).state is LotState.WAITING
        with pytest.raises(Conflict, match="reserve"):
            enter(database, orchard, audit_id, self.last_tree(database, orchard, audit_id), right())
        again = begin(database, orchard, lot_id, seed=5)
        assert again != audit_id
        places = {tree.position for tree in drawn(database, orchard, again)}
        assert places.isdisjoint({tree.position for tree in [*gone, last]})
        assert view_of(database, orchard, again).book.draw.lot_size == TREES_IN_ROW - len(gone) - 1
        history = view_lot(database, orchard.supervisor, lot_id).draws
        assert [line.given_up for line in history] == [True, False]

    def test_a_draw_that_was_given_up_cannot_be_sealed(self, database, orchard, audit_id):
        while self.replace_first(database, orchard, audit_id)[1] is not None:
            pass
        with pytest.raises(Conflict, match="reserve"):
            seal(database, orchard, audit_id)

    def last_tree(self, database, orchard, audit_id):
        return view_of(database, orchard, audit_id).walk[-1].id


class TestVerdict:
    def test_the_verdict_falls_as_soon_as_it_is_certain(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        view = walk(database, orchard, audit_id)
        plan = view.book.plans[Stage.TOP]
        first, _ = plan.waves
        assert view.outcome is Outcome.ACCEPTED
        # Even if all trees left of the first wave failed, no stage would go on to the second.
        assert len(view.answers) == first.size - first.most_accepted
        assert view.next_tree is None

    def test_a_stage_is_lost_at_its_rejection_number(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        plan = view_of(database, orchard, audit_id).book.plans[Stage.TOP]
        rejection = plan.waves[0].rejection_number
        before = walk(database, orchard, audit_id, lambda _: right(**HIGH), most=rejection - 1)
        assert before.outcome is Outcome.OPEN
        after = walk(database, orchard, audit_id, lambda _: right(**HIGH), most=1)
        assert after.outcome is Outcome.NOT_ACCEPTED
        # The other stages still have to be decided.
        assert after.next_tree is not None

    def test_up_to_the_acceptance_number_a_lot_is_accepted(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        plan = view_of(database, orchard, audit_id).book.plans[Stage.TOP]
        first, both = plan.waves
        # As many as the second wave may have, the last of them in the second wave.
        high = {*range(1, both.most_accepted), first.size + 1}
        walk(database, orchard, audit_id, lambda n: right(**HIGH) if n in high else right())
        view = seal(database, orchard, audit_id)
        allowed = both.most_accepted
        assert view.outcome is Outcome.ACCEPTED
        assert view.standings[0].tally.nonconforming == allowed
        assert str(view.standings[0].verdict.reason) == (
            f"{allowed} of {both.size} trees too high; up to {allowed} allowed"
        )

    def test_what_the_first_wave_accepts_is_decided_there(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        first, _ = view_of(database, orchard, audit_id).book.plans[Stage.TOP].waves
        # Columns go on to the second wave, where every top is too high: too late to matter.
        forked = {1, 2, 3}
        view = walk(
            database,
            orchard,
            audit_id,
            lambda n: right(
                **(HIGH if n > first.size else {}),
                **({"columns": fault(Fault.FORK)} if n in forked else {}),
            ),
        )
        assert len(view.answers) > first.size
        top = seal(database, orchard, audit_id).standings[0]
        assert top.outcome is Outcome.ACCEPTED
        assert (top.tally.scored, top.tally.nonconforming) == (first.size, 0)
        assert str(top.verdict.reason) == (
            f"No fault in {first.size} trees; up to {first.most_accepted} allowed"
        )

    def test_one_more_and_it_is_not(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        _, both = view_of(database, orchard, audit_id).book.plans[Stage.TOP].waves
        walk(database, orchard, audit_id, first_trees(both.most_accepted + 1, **HIGH))
        assert seal(database, orchard, audit_id).outcome is Outcome.NOT_ACCEPTED
        assert lot_of(database, orchard, lot_id).state is LotState.REWORK

    def test_nothing_due_counts_as_conforming_and_is_said_to_be_few(
        self, database, orchard, lot_id
    ):
        nothing = {"kind": "class", "tap": "nothing_due"}
        audit_id = audited(database, orchard, lot_id, lambda _: right(heading=nothing))
        standing = view_of(database, orchard, audit_id).standings[-1]
        assert (standing.outcome, standing.due) == (Outcome.ACCEPTED, 0)
        assert "Nothing was due" in str(standing.verdict.reason)

    def test_an_open_stage_cannot_be_sealed(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id, most=5)
        with pytest.raises(Conflict, match="still open"):
            seal(database, orchard, audit_id)

    def test_sealing_writes_verdicts_and_closes_the_lot(self, database, orchard, lot_id):
        audit_id = audited(database, orchard, lot_id)
        lot = lot_of(database, orchard, lot_id)
        assert (lot.state, lot.closed_at) == (LotState.ACCEPTED, AUDITED)
        with database.read() as connection:
            verdicts = queries.decisions(connection, orchard.farm_id, audit_id)
        assert [verdict.stage for verdict in verdicts] == [*Stage, None]
        assert {verdict.outcome for verdict in verdicts} == {Outcome.ACCEPTED}
        assert {verdict.version for verdict in verdicts} == {1}

    def test_the_stored_verdict_names_the_fault_seen_most(self, database, orchard, lot_id):
        kinds = [Fault.HIGH, Fault.LOW, Fault.LOW]
        audit_id = audited(
            database,
            orchard,
            lot_id,
            lambda n: right(top=fault(kinds[n - 1])) if n <= 3 else right(),
        )
        with database.read() as connection:
            top = queries.decisions(connection, orchard.farm_id, audit_id)[0]
        assert (top.nonconforming, top.leading_fault) == (3, Fault.LOW)

    def test_it_is_sealed_only_once(self, database, orchard, lot_id):
        audit_id = audited(database, orchard, lot_id)
        with pytest.raises(Conflict, match="sealed"):
            seal(database, orchard, audit_id)

    def test_a_sealed_audit_takes_no_more_answers(self, database, orchard, lot_id):
        audit_id = audited(database, orchard, lot_id)
        tree = view_of(database, orchard, audit_id).walk[0]
        with pytest.raises(Conflict, match="amendment"):
            enter(database, orchard, audit_id, tree.id, right())

    def test_the_second_audit_of_a_draw_is_a_check_and_moves_nothing(
        self, database, orchard, lot_id
    ):
        first = begin(database, orchard, lot_id)
        second = begin(database, orchard, lot_id, device=Device("phone-2"))
        walk(database, orchard, first)
        seal(database, orchard, first)
        walk(database, orchard, second, lambda _: right(**HIGH))
        assert seal(database, orchard, second).outcome is Outcome.NOT_ACCEPTED
        assert lot_of(database, orchard, lot_id).state is LotState.ACCEPTED
        with database.read() as connection:
            assert not pass_queries.rework_orders_of_lot(connection, orchard.farm_id, lot_id)

    def test_workers_cannot_seal(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id)
        with pytest.raises(NotAllowed):
            sealing.seal_audit(database, orchard.worker, audit_id, AUDITED)

    def test_a_half_days_rows_are_one_lot(self, database, orchard):
        pruned = prune(database, orchard, rows=3, lot_by="half_day")
        assert len(pruned.lot_ids) == 1
        audit_id = audited(database, orchard, pruned.lot_ids[0])
        view = view_verdict(database, orchard.supervisor, audit_id)
        assert {tree.orchard_row_id for tree in view.view.walk} == set(orchard.row_ids[:3])
        assert view.view.book.draw.lot_size == 3 * TREES_IN_ROW


def accepted_without_a_fault(view):
    """Return after how many trees without a fault the first wave is sure to accept."""
    first = view.book.plans[Stage.LIMBS].waves[0]
    return first.size - first.most_accepted


class TestSkippedStages:
    """A standard may let a decided stage be left out on the trees that are left."""

    @pytest.fixture
    def lot_id(self, database, orchard) -> int:
        with database.read() as connection:
            stored = standard_queries.standard_by_id(
                connection, orchard.farm_id, orchard.standard_id
            )
        standards.write_standard(
            database,
            orchard.supervisor,
            orchard.block_id,
            payload=stored.payload | {"skip_decided": True},
            in_force_from=PRUNED_FROM.date(),
            now=AUDITED,
        )
        return prune(database, orchard).lot_ids[0]

    OTHERS = (Stage.LIMBS, Stage.COLUMNS, Stage.HEADING)

    def test_a_decided_stage_that_is_left_out_records_no_result(self, database, orchard, lot_id):
        audit_id = begin(database, orchard, lot_id)
        lost = walk(database, orchard, audit_id, lambda _: right(**HIGH), most=5)
        assert lost.standings[0].outcome is Outcome.NOT_ACCEPTED
        walk(database, orchard, audit_id, lambda _: right(*self.OTHERS))
        view = seal(database, orchard, audit_id)
        assert view.standings[0].tally.scored == 5
        assert view.standings[1].tally.scored == accepted_without_a_fault(view)
        with database.read() as connection:
            sums = queries.rollups(connection, orchard.farm_id, audit_id)
        assert {row.stage: row.trees for row in sums}[Stage.TOP] == 5

    def test_trees_that_left_it_out_are_asked_for_when_it_opens_again(
        self, database, orchard, lot_id
    ):
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id, lambda _: right(**HIGH), most=5)
        view = walk(database, orchard, audit_id, lambda _: right(*self.OTHERS))
        assert view.next_tree is None
        corrected = enter(database, orchard, audit_id, view.walk[0].id, right())
        assert corrected.standings[0].outcome is Outcome.OPEN
        assert corrected.next_tree == view.walk[5]
        done = walk(database, orchard, audit_id)
        assert done.all_decided
        assert done.standings[0].outcome is Outcome.ACCEPTED


class TestRollups:
    def sums(self, database, orchard, audit_id):
        with database.read() as connection:
            rows = queries.rollups(connection, orchard.farm_id, audit_id)
        return {(row.stage, row.worker_id): (row.trees, row.due, row.nonconforming) for row in rows}

    def test_without_names_everything_is_on_the_shared_line(self, database, orchard, lot_id):
        audit_id = audited(database, orchard, lot_id, first_trees(3, **HIGH))
        sums = self.sums(database, orchard, audit_id)
        assert set(sums) == {(stage, None) for stage in Stage}
        assert sums[Stage.TOP, None][2] == 3

    def test_single_person_results_are_told_apart(self, database, orchard, pruned, lot_id):
        ana, beto = assign_halves(database, orchard, pruned)
        audit_id = audited(database, orchard, lot_id)
        view = view_of(database, orchard, audit_id)
        first_half = sum(tree.position <= 155 for tree in view.walk if tree.id in view.answers)
        sums = self.sums(database, orchard, audit_id)
        for stage in Stage:
            assert sums[stage, ana][0] == first_half
            assert sums[stage, beto][0] == len(view.answers) - first_half

    def test_two_people_facing_one_tree_share_what_is_judged_on_the_whole_of_it(
        self, database, orchard, pruned, lot_id
    ):
        ana, beto = orchard.worker_ids[:2]
        for worker_id, side in ((ana, Side.LEFT), (beto, Side.RIGHT)):
            passes.assign(
                database,
                orchard.supervisor,
                pruned.pass_id,
                worker_id=worker_id,
                row_id=orchard.row_ids[0],
                stages=list(Stage),
                side=side,
            )
        audit_id = audited(database, orchard, lot_id)
        sums = self.sums(database, orchard, audit_id)
        assert {worker for stage, worker in sums if stage is Stage.TOP} == {None}
        assert {worker for stage, worker in sums if stage is Stage.LIMBS} == {None}
        assert {worker for stage, worker in sums if stage is Stage.COLUMNS} == {ana, beto}

    def test_naming_people_afterwards_rebuilds_them(self, database, orchard, pruned, lot_id):
        audit_id = audited(database, orchard, lot_id, first_trees(3, **HIGH))
        shared = self.sums(database, orchard, audit_id)
        ana, beto = assign_halves(database, orchard, pruned)
        named = self.sums(database, orchard, audit_id)
        assert {worker for _, worker in named} == {ana, beto}
        for stage in Stage:
            total = [
                sum(named[stage, worker][place] for worker in (ana, beto)) for place in range(3)
            ]
            assert tuple(total) == shared[stage, None]

    def test_taking_the_names_off_gives_the_shared_line_back(
        self, database, orchard, pruned, lot_id
    ):
        ana, beto = assign_halves(database, orchard, pruned)
        audit_id = audited(database, orchard, lot_id)
        for worker_id in (ana, beto):
            passes.withdraw_assignments(
                database,
                orchard.supervisor,
                pruned.pass_id,
                worker_id=worker_id,
                row_ids=[orchard.row_ids[0]],
            )
        assert {worker for _, worker in self.sums(database, orchard, audit_id)} == {None}

    def test_an_open_audit_has_none_yet_but_its_scores_follow_the_names(
        self, database, orchard, pruned, lot_id
    ):
        audit_id = begin(database, orchard, lot_id)
        walk(database, orchard, audit_id, most=3)
        ana, _ = assign_halves(database, orchard, pruned)
        view = view_of(database, orchard, audit_id)
        assert self.sums(database, orchard, audit_id) == {}
        assert {score.worker_id for score in view.scores} == {ana}

    def test_points_are_summed_over_due_trees(self, database, orchard, lot_id):
        nothing = {"kind": "class", "tap": "nothing_due"}
        audit_id = audited(
            database, orchard, lot_id, lambda n: right(heading=nothing) if n <= 10 else right()
        )
        with database.read() as connection:
            rows = {r.stage: r for r in queries.rollups(connection, orchard.farm_id, audit_id)}
        heading = rows[Stage.HEADING]
        trees = len(view_of(database, orchard, audit_id).answers)
        assert (heading.trees, heading.due) == (trees, trees - 10)
        assert heading.points_sum == 100.0 * heading.due
