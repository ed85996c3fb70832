"""Switching and effort: reasons in words, flags, settings, and what is refused."""

import pytest

from audits.errors import InvalidInput
from audits.sampling import DoublePlan, SinglePlan
from audits.sampling.effort import Effort, audit_effort, is_lot_audited
from audits.sampling.switching import (
    CauseRemoved,
    OriginalLot,
    Reduction,
    SwitchingRules,
    long_run_acceptance,
    switching_score_gain,
    switching_state,
    switching_states,
)
from audits.sampling.tables import Inspection

ACCEPTED = OriginalLot(is_accepted=True)
REFUSED = OriginalLot(is_accepted=False)
CLEAN = OriginalLot(is_accepted=True, nonconforming=0, trees=80)
UNSTEADY = OriginalLot(is_accepted=True, trees=80, work_is_steady=False)


@pytest.mark.parametrize(
    ("between", "words"),
    [
        (0, "The last two lots were not accepted"),
        (1, "Two of the last three lots were not accepted"),
        (2, "Two of the last four lots were not accepted"),
        (3, "Two of the last five lots were not accepted"),
    ],
)
def test_tightened_inspection_says_which_lots_brought_it(between, words):
    lots = [ACCEPTED, REFUSED, *[ACCEPTED] * between, REFUSED]
    state = switching_state(lots, 1.0)
    assert state.inspection is Inspection.TIGHTENED
    assert str(state.reason) == f"{words}: tightened inspection from the next lot."


def test_four_lots_between_two_that_were_not_accepted_change_nothing():
    state = switching_state([REFUSED, *[ACCEPTED] * 4, REFUSED], 1.0)
    assert state.inspection is Inspection.NORMAL
    assert str(state.reason) == "Inspection begins as normal inspection."


def test_a_lot_before_the_change_does_not_count_after_it():
    # Back on normal inspection, one lot not accepted is the first again.
    lots = [REFUSED, REFUSED, *[ACCEPTED] * 5, REFUSED]
    states = switching_states(lots, 1.0)
    assert [state.inspection for state in states] == (
        ["normal"] * 2 + ["tightened"] * 5 + ["normal"] * 2
    )
    assert str(states[-1].reason) == (
        "Five lots in a row were accepted: normal inspection from the next lot."
    )


def test_discontinued_inspection_waits_for_the_cause_to_be_put_right():
    lots = [REFUSED] * 5
    stopped = switching_states([*lots, ACCEPTED, ACCEPTED], 1.0, start="tightened")
    assert [state.inspection for state in stopped[5:]] == ["discontinued"] * 3
    assert str(stopped[-1].reason) == (
        "5 lots were not accepted on tightened inspection: acceptance by sampling stops until "
        "the cause is put right."
    )
    again = switching_state([*lots, CauseRemoved(), REFUSED], 1.0, start="tightened")
    assert again.inspection is Inspection.TIGHTENED
    assert str(again.reason) == "The cause was put right: tightened inspection from the next lot."
    assert len(again.lots) == 1


def test_a_cause_put_right_on_the_way_changes_nothing_else():
    assert switching_states([REFUSED, CauseRemoved(), REFUSED], 1.0)[-1].inspection == "tightened"
    assert switching_states([CauseRemoved()], 1.0)[-1] == switching_states([], 1.0)[-1]


@pytest.mark.parametrize(("most", "stopped"), [(1, 1), (3, 3), (None, None)])
def test_the_lots_that_stop_acceptance_are_a_setting(most, stopped):
    states = switching_states(
        [REFUSED] * 20, 1.0, rules=SwitchingRules(discontinuation_lots=most), start="tightened"
    )
    found = [state.inspection for state in states]
    assert (
        "discontinued" not in found if stopped is None else found.index("discontinued") == stopped
    )


def test_one_lot_may_be_enough_to_stop():
    rules = SwitchingRules(discontinuation_lots=1)
    assert str(switching_state([REFUSED], 1.0, rules=rules, start="tightened").reason).startswith(
        "1 lot was not accepted"
    )
    rules = SwitchingRules(discontinuation="lots_remaining", discontinuation_lots=1)
    assert str(switching_state([ACCEPTED], 1.0, rules=rules, start="tightened").reason).startswith(
        "1 lot did not end"
    )


def test_the_fifth_lot_accepted_ends_tightened_inspection_before_the_older_count_stops_it():
    rules = SwitchingRules(discontinuation="lots_remaining", discontinuation_lots=5)
    state = switching_state([ACCEPTED] * 5, 1.0, rules=rules, start="tightened")
    assert state.inspection is Inspection.NORMAL


def test_reduced_inspection_says_what_earned_it():
    lots = [OriginalLot(is_accepted=True, nonconforming=1, trees=80)] * 4 + [CLEAN] * 6
    state = switching_state(lots, 1.0)
    assert state.inspection is Inspection.REDUCED
    assert str(state.reason) == (
        "The last 10 lots were all accepted (nonconforming trees in their samples: 4, up to 4 "
        "allowed) and the work is steady: reduced inspection from the next lot."
    )


def test_work_must_be_steady_for_reduced_inspection():
    states = switching_states([*[CLEAN] * 9, UNSTEADY, CLEAN], 1.0)
    assert [state.inspection for state in states[-2:]] == ["normal", "reduced"]
    ended = switching_state([*[CLEAN] * 10, UNSTEADY], 1.0)
    assert str(ended.reason) == (
        "The work is no longer steady: normal inspection from the next lot."
    )


def test_a_lot_in_the_gap_ends_reduced_inspection_with_its_reason():
    in_gap = OriginalLot(is_accepted=True, is_in_gap=True)
    assert "more nonconforming trees than reduced inspection allows" in str(
        switching_state([in_gap], 1.0, start="reduced").reason
    )
    assert str(switching_state([REFUSED], 1.0, start="reduced").reason) == (
        "The last lot was not accepted: normal inspection from the next lot."
    )


@pytest.mark.parametrize(
    "lots",
    [
        [OriginalLot(is_accepted=True)] * 40,  # samples unknown
        [OriginalLot(is_accepted=True, trees=8)] * 9,  # too few lots
        [OriginalLot(is_accepted=True, trees=8)] * 15,  # too few trees: 120, at 1.0 it takes 320
        [OriginalLot(is_accepted=True, trees=2000)] * 10,  # no plan takes so many at 100
    ],
    ids=["unknown", "few lots", "few trees", "many trees"],
)
def test_reduced_inspection_needs_a_limit_number(lots):
    limit = 100 if lots[0].trees == 2000 else 1.0
    assert switching_state(lots, limit).inspection is Inspection.NORMAL


def test_more_lots_count_where_ten_have_too_few_trees():
    lots = [OriginalLot(is_accepted=True, trees=8)] * 40
    states = switching_states(lots, 1.0)
    assert [state.inspection for state in states].index("reduced") == 40
    assert "The last 40 lots" in str(states[-1].reason)


def test_nobody_needs_to_want_reduced_inspection():
    rules = SwitchingRules(reduction="never")
    assert switching_state([CLEAN] * 30, 1.0, rules=rules).inspection is Inspection.NORMAL


def test_a_score_reached_while_work_is_not_steady_waits():
    rules = SwitchingRules(reduction=Reduction.SWITCHING_SCORE)
    good = OriginalLot(is_accepted=True, score_gain=3)
    unsteady = OriginalLot(is_accepted=True, score_gain=3, work_is_steady=False)
    states = switching_states([*[good] * 9, unsteady, good], 1.0, rules=rules)
    assert [(state.score, state.inspection) for state in states[-2:]] == [
        (30, "normal"),
        (33, "reduced"),
    ]
    assert "score has reached 33" in str(states[-1].reason)


def test_the_score_begins_afresh_with_normal_inspection():
    rules = SwitchingRules(reduction=Reduction.SWITCHING_SCORE)
    good = OriginalLot(is_accepted=True, score_gain=3)
    states = switching_states([*[good] * 10, REFUSED, good], 1.0, rules=rules)
    assert [state.score for state in states[-3:]] == [30, 0, 3]


def test_double_sampling_scores_on_the_first_sample():
    plan = DoublePlan(32, 1, 4, 32, 4)
    assert switching_score_gain(plan, 1) == 3
    assert switching_score_gain(plan, 2) == 0


@pytest.mark.parametrize(("count", "gain"), [(0, 2), (1, 2), (2, 0)])
def test_small_plans_score_by_acceptance(count, gain):
    assert switching_score_gain(SinglePlan(80, 1), count) == gain


def test_a_score_needs_a_count_and_the_tighter_number():
    with pytest.raises(InvalidInput, match="one step tighter"):
        switching_score_gain(SinglePlan(80, 2), 0)
    with pytest.raises(InvalidInput, match="-1"):
        switching_score_gain(SinglePlan(80, 1), -1)


@pytest.mark.parametrize(
    ("normal", "tightened", "expected"),
    [
        (1.0, 0.0, 1.0),  # tightened inspection never begins
        (1.0, 1.0, 1.0),
        (0.0, 0.0, 0.0),
        (0.5, 0.0, 0.0),  # it never ends
        (0.0, 1.0, 5 / 7),  # two lots of normal inspection, five of tightened, over and over
    ],
)
def test_the_long_run_holds_at_the_ends(normal, tightened, expected):
    assert long_run_acceptance(normal, tightened) == pytest.approx(expected)


@pytest.mark.parametrize(("chances", "field"), [((1.1, 0.5), "normal"), ((1, -0.1), "tightened")])
def test_the_long_run_needs_chances(chances, field):
    with pytest.raises(InvalidInput) as refusal:
        long_run_acceptance(*chances)
    assert list(refusal.value.problems) == [field]


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: SwitchingRules(reduction="often"), "reduction"),
        (lambda: SwitchingRules(discontinuation="once"), "discontinuation"),
        (lambda: SwitchingRules(discontinuation_lots=0), "discontinuation_lots"),
        (lambda: OriginalLot(is_accepted=True, nonconforming=-1), "nonconforming"),
        (lambda: OriginalLot(is_accepted=True, trees=2.5), "trees"),
        (lambda: OriginalLot(is_accepted=True, score_gain=-3), "score_gain"),
        (lambda: OriginalLot(is_accepted=False, is_in_gap=True), "is_in_gap"),
        (lambda: switching_state([], 0.3), "acceptable_quality_limit"),
        (lambda: switching_state([], 1.0, start="lax"), "start"),
    ],
)
def test_impossible_lots_and_rules_are_refused(make, field):
    with pytest.raises(InvalidInput) as refusal:
        make()
    assert list(refusal.value.problems) == [field]


@pytest.mark.parametrize("start", Inspection)
def test_every_start_says_how_inspection_begins(start):
    assert str(switching_state([], 1.0, start=start).reason).endswith(".")


def test_five_accepted_lots_in_a_row_bring_fewer_audits():
    assert audit_effort([True] * 4).effort is Effort.EVERY_LOT
    state = audit_effort([True] * 5)
    assert state.effort is Effort.ONE_IN_THREE
    assert str(state.reason) == (
        "Five lots in a row were accepted: one lot in three is audited, chosen at random."
    )


def test_a_lot_that_was_not_accepted_brings_every_lot_back_until_five_more():
    history = [True] * 7 + [False]
    for accepted in range(5):
        state = audit_effort([*history, *[True] * accepted])
        assert state.effort is Effort.EVERY_LOT
        assert state.accepted_in_a_row == accepted
        assert str(state.reason).startswith("A lot was not accepted")
    assert audit_effort([*history, *[True] * 5]).effort is Effort.ONE_IN_THREE


def test_lots_passed_over_neither_break_a_run_nor_add_to_it():
    assert audit_effort([True, None, True, None, True, True, None]).accepted_in_a_row == 4
    assert audit_effort([True, True, True, True, None]).effort is Effort.EVERY_LOT
    assert audit_effort([True] * 5 + [None] * 9).effort is Effort.ONE_IN_THREE
    assert audit_effort([]).accepted_in_a_row == 0


def test_one_lot_in_three_is_audited_at_random():
    evenly_spread = [number / 300 for number in range(300)]
    assert sum(is_lot_audited(Effort.ONE_IN_THREE, number) for number in evenly_spread) == 100
    assert all(is_lot_audited(Effort.EVERY_LOT, number / 10) for number in range(10))


@pytest.mark.parametrize("chance", [1.0, -0.1, float("nan")])
def test_a_random_number_lies_below_one(chance):
    with pytest.raises(InvalidInput, match="below 1"):
        is_lot_audited(Effort.EVERY_LOT, chance)
