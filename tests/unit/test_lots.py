"""Lots: the half-day, the plan for several stages at once, and where a lot goes after its audit."""

from datetime import UTC, date, datetime

import pytest
from scipy.stats import hypergeom

from audits.lots import half_day, plan_lot, reserve_size, state_after_audit
from audits.standard import HeadingStageRule, LimbsRule, Promise, Standard, TopRule, preset
from audits.vocabulary import BearingHabit, Fault, HeadingRule, LotState, Outcome, Stage

ACCEPTED, LOST = Outcome.ACCEPTED, Outcome.NOT_ACCEPTED


def written_standard(**changes) -> Standard:
    parts = {
        "top": TopRule(target_mm=3_000),
        "heading": HeadingStageRule(rule=HeadingRule.REQUIRED),
        "row_spacing_mm": 3_350.0,
    }
    return Standard(**(parts | changes))


class TestHalfDay:
    @pytest.mark.parametrize(
        ("hour_utc", "afternoon"), [(12, False), (16, False), (17, True), (22, True)]
    )
    def test_noon_on_the_farms_clock_parts_the_day(self, hour_utc, afternoon):
        # New York is five hours behind UTC in January.
        moment = datetime(2026, 1, 20, hour_utc, 0, tzinfo=UTC)
        assert half_day(moment, "America/New_York") == (date(2026, 1, 20), afternoon)

    def test_the_day_is_the_farms(self):
        moment = datetime(2026, 1, 21, 2, 0, tzinfo=UTC)
        assert half_day(moment, "America/Los_Angeles") == (date(2026, 1, 20), True)


class TestPlan:
    def test_every_stage_is_decided_on_the_same_trees(self):
        standard = written_standard(
            limbs=LimbsRule(promise=Promise(acceptable_fraction=0.02, rejectable_fraction=0.2))
        )
        plans = plan_lot(standard, 310, standard.stages_in_use)
        assert list(plans) == list(Stage)
        assert len({plan.sample_size for plan in plans.values()}) == 1
        assert plans[Stage.LIMBS].acceptance_number != plans[Stage.TOP].acceptance_number

    @pytest.mark.parametrize("lot_size", [40, 155, 310, 1_200])
    def test_the_risks_hold_for_the_real_lot(self, lot_size):
        """Both risks recomputed with scipy.stats.hypergeom, an independent implementation."""
        standard = written_standard()
        plans = plan_lot(standard, lot_size, standard.stages_in_use)
        kept = 1.0
        for plan in plans.values():
            acceptable = int(0.05 * lot_size + 1e-9)
            rejectable = -int(-0.25 * lot_size // 1)
            kept *= hypergeom.cdf(plan.most_accepted, lot_size, acceptable, plan.sample_size)
            passed = hypergeom.cdf(plan.most_accepted, lot_size, rejectable, plan.sample_size)
            assert passed <= standard.consumer_risk + 1e-12
        assert 1 - kept <= standard.producer_risk + 1e-12

    def test_fewer_stages_need_no_more_trees(self):
        standard = written_standard()
        one = plan_lot(standard, 310, [Stage.TOP])[Stage.TOP]
        four = plan_lot(standard, 310, standard.stages_in_use)[Stage.TOP]
        assert one.sample_size <= four.sample_size

    def test_the_same_question_gives_the_same_plan(self):
        standard = written_standard()
        assert plan_lot(standard, 310, [Stage.TOP]) == plan_lot(standard, 310, [Stage.TOP])

    @pytest.mark.parametrize("lot_size", [1, 2, 4])
    def test_of_a_tiny_lot_every_tree_is_looked_at(self, lot_size):
        plan = plan_lot(written_standard(), lot_size, [Stage.TOP])[Stage.TOP]
        assert plan.inspects_whole(lot_size)
        assert plan.most_accepted == 0

    def test_a_farms_usual_row_takes_a_walk_of_some_thirty_trees(self):
        standard = preset(BearingHabit.STANDARD, 3_350.0)
        plan = plan_lot(standard, 310, standard.stages_in_use)[Stage.TOP]
        assert 20 <= plan.sample_size <= 40

    @pytest.mark.parametrize(("sample", "reserve"), [(1, 6), (24, 6), (28, 7), (100, 25)])
    def test_a_quarter_of_the_sample_is_held_in_reserve_and_six_at_least(self, sample, reserve):
        assert reserve_size(sample) == reserve


class TestState:
    def test_every_stage_accepted_accepts_the_lot(self):
        assert state_after_audit({Stage.TOP: ACCEPTED, Stage.LIMBS: ACCEPTED}, {}) is (
            LotState.ACCEPTED
        )

    def test_one_mendable_fault_sends_it_back(self):
        state = state_after_audit(
            {Stage.TOP: LOST, Stage.LIMBS: ACCEPTED}, {Stage.TOP: {Fault.LOW, Fault.HIGH}}
        )
        assert state is LotState.REWORK

    def test_lasting_faults_alone_close_it(self):
        state = state_after_audit({Stage.TOP: LOST}, {Stage.TOP: {Fault.LOW}})
        assert state is LotState.CLOSED_NOT_ACCEPTED

    def test_mendable_faults_of_an_accepted_stage_send_nothing_back(self):
        state = state_after_audit(
            {Stage.TOP: LOST, Stage.COLUMNS: ACCEPTED},
            {Stage.TOP: {Fault.LOW}, Stage.COLUMNS: {Fault.FORK}},
        )
        assert state is LotState.CLOSED_NOT_ACCEPTED

    def test_one_stage_of_two_lost_ones_that_can_be_mended_is_enough(self):
        state = state_after_audit(
            {Stage.TOP: LOST, Stage.COLUMNS: LOST},
            {Stage.TOP: {Fault.LOW}, Stage.COLUMNS: {Fault.FORK}},
        )
        assert state is LotState.REWORK
