"""Tops decided by mean and spread through the services, or by counting where that fails."""

import pytest

from audits.sampling import Fallback, MeasuredPlan
from audits.services import auditing, verdicts
from audits.services.amending import amend_tree
from audits.services.rescoring import check_scores
from audits.standard import Promise
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import Fault, LotState, Outcome, Stage
from tests.measured_rows import (
    MEASURED,
    TARGET_MM,
    bell_heights,
    heights_of,
    measure_tops,
    topped,
)
from tests.orchard import plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    PRUNED_FROM,
    begin,
    enter,
    fault,
    fill,
    prune,
    right,
    seal,
    walk,
)

EVEN = bell_heights(TARGET_MM, 60.0)
HIGH = bell_heights(TARGET_MM + 120.0, 60.0)
# Half the trees at the upper edge of the band, half at the lower one.
TWO_HUMPS = [TARGET_MM + (130.0 if rank % 2 else -130.0) + rank / 2 for rank in range(MEASURED)]


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    planted = plant_orchard(database, PRUNED_FROM)
    measure_tops(database, planted, now=PRUNED_FROM)
    return planted


@pytest.fixture
def lot_id(database, orchard) -> int:
    return prune(database, orchard).lot_ids[0]


@pytest.fixture
def audit_id(database, orchard, lot_id) -> int:
    return begin(database, orchard, lot_id)


def top_of(view):
    return view.standings[0]


def decisions(database, orchard, audit_id):
    with database.read() as connection:
        return queries.decisions(connection, orchard.farm_id, audit_id)


def top_decision(database, orchard, audit_id):
    return [each for each in decisions(database, orchard, audit_id) if each.stage is Stage.TOP][-1]


def lot_state(database, orchard, lot_id):
    with database.read() as connection:
        return pass_queries.lot_by_id(connection, orchard.farm_id, lot_id).state


def nothing_differs(database, orchard) -> bool:
    report = check_scores(database, orchard.farm_id)
    return report.trees > 0 and report.differences == []


class TestByMean:
    def test_the_plan_comes_back_from_the_draw(self, database, orchard, audit_id):
        view = auditing.view_audit(database, orchard.supervisor, audit_id)
        plan = view.book.plans[Stage.TOP]
        assert isinstance(plan, MeasuredPlan)
        assert plan.measured_size == MEASURED
        assert view.book.wave_sizes[0] == MEASURED
        assert len(view.walk) == plan.sample_size
        assert sum(tree.wave == 1 for tree in view.walk) == MEASURED

    def test_even_heights_in_the_band_are_accepted_on_the_measured_trees(
        self, database, orchard, lot_id, audit_id
    ):
        view = walk(database, orchard, audit_id, heights_of(EVEN))
        assert len(view.answered) == MEASURED
        assert top_of(view).measured.verdict.mean == pytest.approx(TARGET_MM, abs=0.1)
        seal(database, orchard, audit_id)
        verdict = top_decision(database, orchard, audit_id)
        assert (verdict.outcome, verdict.scored, verdict.due) == (Outcome.ACCEPTED, 24, 24)
        assert lot_state(database, orchard, lot_id) is LotState.ACCEPTED
        assert nothing_differs(database, orchard)

    def test_the_top_stays_open_until_all_are_measured_whatever_they_are(
        self, database, orchard, audit_id
    ):
        view = walk(database, orchard, audit_id, lambda _n: topped(TARGET_MM + 700), most=23)
        assert top_of(view).outcome is Outcome.OPEN
        assert top_of(view).tally.nonconforming == 23
        assert view.next_tree is not None

    def test_heights_that_run_high_go_back(self, database, orchard, lot_id, audit_id):
        walk(database, orchard, audit_id, heights_of(HIGH))
        seal(database, orchard, audit_id)
        verdict = top_decision(database, orchard, audit_id)
        assert (verdict.outcome, verdict.leading_fault) == (Outcome.NOT_ACCEPTED, Fault.HIGH)
        assert lot_state(database, orchard, lot_id) is LotState.REWORK
        assert nothing_differs(database, orchard)

    def test_what_no_sampled_tree_shows_still_goes_back_to_the_crew(self, database, orchard):
        # The mean is near the limit, and the spread says that more lie beyond it than were seen.
        promise = Promise(acceptable_fraction=0.01, rejectable_fraction=0.1)
        measure_tops(database, orchard, now=PRUNED_FROM, promise=promise)
        lot_id = prune(database, orchard).lot_ids[0]
        audit_id = begin(database, orchard, lot_id)
        heights = [
            min(height, TARGET_MM + 149) for height in bell_heights(TARGET_MM + 95, 45, count=34)
        ]
        view = walk(database, orchard, audit_id, heights_of(heights))
        assert top_of(view).tally.nonconforming == 0
        assert top_of(view).outcome is Outcome.NOT_ACCEPTED
        seal(database, orchard, audit_id)
        assert top_decision(database, orchard, audit_id).leading_fault is Fault.HIGH
        assert lot_state(database, orchard, lot_id) is LotState.REWORK
        with database.read() as connection:
            (order,) = pass_queries.rework_orders_of_lot(connection, orchard.farm_id, lot_id)
            (item,) = pass_queries.rework_items(connection, orchard.farm_id, order.id)
        assert (item.stage, item.mendable, item.faults) == (Stage.TOP, True, (Fault.HIGH,))
        assert (item.first_position, item.last_position, item.worker_id) == (1, 310, None)
        assert nothing_differs(database, orchard)

    def test_tops_cut_too_low_cannot_be_mended(self, database, orchard, lot_id, audit_id):
        walk(database, orchard, audit_id, heights_of(bell_heights(TARGET_MM - 120.0, 60.0)))
        seal(database, orchard, audit_id)
        assert lot_state(database, orchard, lot_id) is LotState.CLOSED_NOT_ACCEPTED

    def test_trees_walked_for_other_stages_do_not_count(self, database, orchard, audit_id):
        before = walk(database, orchard, audit_id, heights_of(EVEN))
        after = fill(database, orchard, audit_id, heights_of(EVEN, then_mm=TARGET_MM + 900))
        assert len(after.answered) > len(before.answered)
        assert top_of(after).measured.verdict == top_of(before).measured.verdict
        assert top_of(after).tally == top_of(before).tally

    def test_amended_heights_change_the_verdict_beside_the_issued_one(
        self, database, orchard, audit_id
    ):
        view = walk(database, orchard, audit_id, heights_of(EVEN))
        seal(database, orchard, audit_id)
        issued = top_of(view).measured.verdict
        # Three typed a metre wrong.
        for number, tree in enumerate(view.walk[:3]):
            self.amend(database, orchard, audit_id, tree.id, TARGET_MM + 1_000 + number)
        page = verdicts.view_verdict(database, orchard.supervisor, audit_id)
        assert page.issued[0].measured.verdict == issued
        # So far off, they no longer look normal, and counting would have needed more trees.
        assert top_of(page.view).measured.fallback is Fallback.SHAPE
        assert top_of(page.view).outcome is Outcome.OPEN
        assert max(each.version for each in page.decisions) > 1
        assert nothing_differs(database, orchard)

    def amend(self, database, orchard, audit_id, tree_id, height_mm):
        amend_tree(
            database,
            orchard.supervisor,
            audit_id,
            tree_id,
            answers=topped(height_mm),
            reason="read the pole wrong",
            client_id=f"amended-{tree_id}",
            device=PHONE,
            now=AUDITED,
        )


class TestFallback:
    @pytest.mark.parametrize(
        ("answer", "fallback"),
        [
            (topped(TARGET_MM, to_side_branch=False), Fallback.OTHER_FAULT),
            ({"missed": "tree"}, Fallback.OTHER_FAULT),
            (topped(TARGET_MM - 400, topped=False), Fallback.NO_VALUE),
            (right(), Fallback.NO_VALUE),
            (right(top={"kind": "class", "tap": "nothing_due"}), Fallback.NO_VALUE),
        ],
        ids=["blunt cut", "tree missed", "left uncut", "tapped", "nothing due"],
    )
    def test_one_tree_without_a_fit_height_is_enough(
        self, database, orchard, audit_id, answer, fallback
    ):
        answers = heights_of(EVEN)
        view = walk(
            database, orchard, audit_id, lambda number: answer if number == 7 else answers(number)
        )
        top = top_of(view)
        assert top.measured.fallback is fallback
        assert top.outcome is Outcome.ACCEPTED
        seal(database, orchard, audit_id)
        assert top_decision(database, orchard, audit_id).scored == top.tally.scored
        assert nothing_differs(database, orchard)

    def test_heights_in_two_humps_are_counted(self, database, orchard, audit_id):
        view = walk(database, orchard, audit_id, heights_of(TWO_HUMPS))
        top = top_of(view)
        assert top.measured.fallback is Fallback.SHAPE
        assert top.outcome is Outcome.ACCEPTED
        assert top.tally.nonconforming == 0
        seal(database, orchard, audit_id)
        assert nothing_differs(database, orchard)

    def test_the_count_may_need_the_second_wave(self, database, orchard, lot_id, audit_id):
        wrong = right(top=fault(Fault.BLUNT))
        view = walk(
            database,
            orchard,
            audit_id,
            lambda number: wrong if number <= 2 else topped(TARGET_MM),
        )
        top = top_of(view)
        assert top.outcome is Outcome.ACCEPTED
        assert MEASURED < top.tally.scored <= top.plan.sample_size
        assert top.tally.nonconforming == 2
        seal(database, orchard, audit_id)
        assert lot_state(database, orchard, lot_id) is LotState.ACCEPTED

    def test_many_faults_are_lost_by_the_count_before_the_sample_ends(
        self, database, orchard, audit_id
    ):
        wrong = right(top=fault(Fault.BLUNT))
        view = walk(database, orchard, audit_id, lambda _number: wrong, most=MEASURED)
        top = top_of(view)
        assert top.outcome is Outcome.NOT_ACCEPTED
        assert top.plan.waves[0].rejection_number <= MEASURED

    def test_an_answer_put_right_brings_the_mean_back(self, database, orchard, audit_id):
        view = walk(
            database,
            orchard,
            audit_id,
            lambda number: right() if number == 1 else heights_of(EVEN)(number),
            most=MEASURED,
        )
        assert top_of(view).measured.fallback is Fallback.NO_VALUE
        view = enter(database, orchard, audit_id, view.walk[0].id, topped(EVEN[0]))
        assert top_of(view).measured.fallback is None
        assert top_of(view).outcome is Outcome.ACCEPTED
