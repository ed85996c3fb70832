"""Lots: the half-day, the plan for several stages at once, and where a lot goes after its audit."""

from datetime import UTC, date, datetime

import pytest

from audits.lots import half_day, reserve_size, state_after_audit
from audits.vocabulary import Fault, LotState, Outcome, Stage

ACCEPTED, LOST = Outcome.ACCEPTED, Outcome.NOT_ACCEPTED


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


@pytest.mark.parametrize(("sample", "reserve"), [(1, 6), (24, 6), (28, 7), (100, 25)])
def test_a_quarter_of_the_sample_is_held_in_reserve_and_six_at_least(sample, reserve):
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
