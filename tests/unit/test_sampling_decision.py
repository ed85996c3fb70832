"""Verdicts as soon as they are certain, and their reasons in one sentence."""

import itertools

import pytest

from audits.errors import AuditError, InvalidInput
from audits.messages import Words
from audits.sampling import (
    SinglePlan,
    StageTally,
    StageVerdict,
    average_sample_number,
    average_sample_number_at_count,
    decide,
    judge_stage,
    leading_fault,
    lot_outcome,
    lot_reason,
    stage_reason,
    trees_until_certain,
)
from audits.sampling.decision import FAULT_PHRASES, STAGE_PHRASES
from audits.vocabulary import Fault, Outcome, Stage

OPEN, ACCEPTED, NOT_ACCEPTED = Outcome.OPEN, Outcome.ACCEPTED, Outcome.NOT_ACCEPTED
PLAN = SinglePlan(24, 3)


@pytest.mark.parametrize(
    ("scored", "nonconforming", "outcome"),
    [
        (0, 0, OPEN),
        (20, 0, OPEN),  # four trees left: all could fail
        (21, 0, ACCEPTED),  # three left, three allowed
        (22, 1, ACCEPTED),
        (23, 3, OPEN),
        (24, 3, ACCEPTED),
        (3, 3, OPEN),
        (4, 4, NOT_ACCEPTED),
        (24, 9, NOT_ACCEPTED),
    ],
)
def test_a_stage_is_decided_once_the_outcome_cannot_change(scored, nonconforming, outcome):
    assert decide(PLAN, StageTally(scored, nonconforming)) is outcome


def test_a_stage_in_the_gap_of_a_reduced_plan_is_accepted():
    reduced = SinglePlan(8, 0, 2)
    assert decide(reduced, StageTally(8, 1)) is ACCEPTED
    assert decide(reduced, StageTally(7, 0)) is ACCEPTED
    assert decide(reduced, StageTally(7, 1)) is OPEN
    assert decide(reduced, StageTally(2, 2)) is NOT_ACCEPTED


def test_nothing_due_counts_as_conforming():
    tally = StageTally(scored=21, nonconforming=0, not_due=21)
    assert decide(PLAN, tally) is ACCEPTED
    assert tally.due == 0


def test_more_trees_than_the_sample_are_refused():
    with pytest.raises(InvalidInput, match="24 trees; 25"):
        decide(PLAN, StageTally(25, 0))


@pytest.mark.parametrize("counts", [(-1, 0), (3, 4), (3, 2, 2), (3, 0, -1), (2.5, 0)])
def test_an_impossible_tally_is_refused(counts):
    with pytest.raises(InvalidInput):
        StageTally(*counts)


@pytest.mark.parametrize(
    ("scored", "nonconforming", "left"),
    [(0, 0, (4, 24)), (10, 1, (3, 14)), (20, 0, (1, 4)), (21, 0, (0, 0)), (4, 4, (0, 0))],
)
def test_trees_left_in_the_best_and_the_worst_case(scored, nonconforming, left):
    assert trees_until_certain(PLAN, StageTally(scored, nonconforming)) == left


SMALL_PLANS = [
    SinglePlan(1, 0),
    SinglePlan(5, 0),
    SinglePlan(6, 2),
    SinglePlan(9, 1, 4),
    SinglePlan(8, 7),
]


def walk(plan, results):
    """Score trees one by one until the stage is decided; the outcome and the trees seen."""
    for seen in range(plan.sample_size + 1):
        outcome = decide(plan, StageTally(seen, sum(results[:seen])))
        if outcome is not OPEN:
            return outcome, seen
    raise AssertionError


@pytest.mark.parametrize("plan", SMALL_PLANS, ids=str)
def test_stopping_early_never_changes_a_verdict(plan):
    # Every path of results, scored to its end: the verdict is that of the whole sample, and it
    # stays what it was at every tree after the first at which it is certain.
    for results in itertools.product((0, 1), repeat=plan.sample_size):
        whole = NOT_ACCEPTED if sum(results) >= plan.rejection_number else ACCEPTED
        outcome, stopped = walk(plan, results)
        assert outcome is whole
        for seen in range(stopped, plan.sample_size + 1):
            assert decide(plan, StageTally(seen, sum(results[:seen]))) is whole


@pytest.mark.parametrize("plan", SMALL_PLANS, ids=str)
def test_no_verdict_could_have_come_a_tree_sooner(plan):
    for results in itertools.product((0, 1), repeat=plan.sample_size):
        _, stopped = walk(plan, results)
        seen = stopped - 1
        ends = {
            sum(results[:seen]) + more >= plan.rejection_number
            for more in range(plan.sample_size - seen + 1)
        }
        assert ends == {True, False}


@pytest.mark.parametrize("plan", SMALL_PLANS, ids=str)
def test_mean_samples_agree_with_a_count_of_every_path(plan):
    lot_size = 11
    paths = [
        (sum(results), walk(plan, results)[1])
        for results in itertools.product((0, 1), repeat=plan.sample_size)
    ]
    for fraction in (0.1, 0.5):
        mean = sum(
            seen * fraction**bad * (1 - fraction) ** (plan.sample_size - bad) for bad, seen in paths
        )
        assert average_sample_number(plan, fraction) == pytest.approx(mean)
    for nonconforming in range(lot_size + 1):
        lot = [1] * nonconforming + [0] * (lot_size - nonconforming)
        # Every choice of places for the nonconforming trees in a lot put in random order.
        orders = list(itertools.combinations(range(lot_size), sum(lot)))
        mean = sum(
            walk(plan, [place in bad for place in range(plan.sample_size)])[1] for bad in orders
        ) / len(orders)
        found = average_sample_number_at_count(plan, nonconforming, lot_size)
        assert found == pytest.approx(mean)


@pytest.mark.parametrize(
    ("outcomes", "lot"),
    [
        ((ACCEPTED, ACCEPTED, ACCEPTED), ACCEPTED),
        ((ACCEPTED, OPEN, ACCEPTED), OPEN),
        ((OPEN, OPEN, NOT_ACCEPTED), NOT_ACCEPTED),
        ((ACCEPTED, NOT_ACCEPTED), NOT_ACCEPTED),
        ((OPEN,), OPEN),
    ],
)
def test_a_lot_stands_where_its_stages_let_it(outcomes, lot):
    assert lot_outcome(dict(zip(Stage, outcomes, strict=False))) is lot


def test_a_lot_without_stages_cannot_be_decided():
    with pytest.raises(AuditError, match="No stage"):
        lot_outcome({})


@pytest.mark.parametrize(
    ("plan", "tally", "faults", "sentence"),
    [
        (PLAN, (24, 2), {Fault.HIGH: 2}, "2 of 24 trees too high; up to 3 allowed"),
        (PLAN, (15, 4), {Fault.HIGH: 4}, "4 of 15 trees too high; up to 3 of 24 allowed"),
        (
            PLAN,
            (24, 5),
            {Fault.BLUNT: 3, Fault.HIGH: 2},
            "5 of 24 trees with a fault at the top, 3 of them with a blunt cut; up to 3 allowed",
        ),
        (PLAN, (24, 2), {}, "2 of 24 trees with a fault at the top; up to 3 allowed"),
        (PLAN, (21, 0), {}, "No fault in 21 trees; up to 3 of 24 allowed"),
        (PLAN, (1, 0), {}, "No fault in 1 tree; up to 3 of 24 allowed"),
        (PLAN, (1, 1), {Fault.LOW: 1}, "1 of 1 tree too low; up to 3 of 24 allowed"),
        (PLAN, (0, 0), {}, "No tree scored yet; up to 3 of 24 allowed"),
        (SinglePlan(12, 0), (12, 1), {Fault.LOW: 1}, "1 of 12 trees too low; none allowed"),
        (SinglePlan(12, 0), (11, 1), {Fault.LOW: 1}, "1 of 11 trees too low; none of 12 allowed"),
        (
            PLAN,
            (24, 1, 18),
            {Fault.HIGH: 1},
            "1 of 24 trees too high; up to 3 allowed. Few due trees: only 6 trees had anything due",
        ),
        (
            PLAN,
            (24, 0, 23),
            {},
            "No fault in 24 trees; up to 3 allowed. Few due trees: only 1 tree had anything due",
        ),
        (
            PLAN,
            (24, 0, 24),
            {},
            "No fault in 24 trees; up to 3 allowed. Nothing was due on any of these trees",
        ),
        (PLAN, (24, 1, 14), {Fault.HIGH: 1}, "1 of 24 trees too high; up to 3 allowed"),
    ],
)
def test_the_reason_is_one_sentence(plan, tally, faults, sentence):
    assert str(stage_reason(Stage.TOP, plan, [StageTally(*tally)], faults)) == sentence


def test_an_open_stage_does_not_yet_complain_of_few_due_trees():
    reason = stage_reason(Stage.LIMBS, PLAN, [StageTally(5, 1, not_due=4)])
    assert str(reason) == "1 of 5 trees with a fault in the limbs; up to 3 of 24 allowed"


def test_every_fault_and_stage_has_its_phrase():
    assert set(FAULT_PHRASES) == set(Fault)
    assert set(STAGE_PHRASES) == set(Stage)


def test_the_fault_seen_most_leads():
    assert leading_fault({Fault.BLUNT: 3, Fault.HIGH: 2}) is Fault.BLUNT
    assert leading_fault({Fault.BLUNT: 2, Fault.HIGH: 2}) is Fault.HIGH
    assert leading_fault({Fault.BLUNT: 0}) is None
    assert leading_fault({}) is None


def test_every_part_of_a_reason_is_translated():
    # A catalogue that marks what passes through it: all letters of the sentence must be marked.
    loud = Words(
        "en", "en_US", "imperial", _loud, lambda one, many, n: _loud(one if n == 1 else many)
    )
    faults = {Fault.BLUNT: 3, Fault.HIGH: 2}
    verdict = judge_stage(Stage.TOP, PLAN, [StageTally(24, 5, not_due=16)], faults)
    sentence = loud.say(lot_reason([verdict]))
    assert sentence == sentence.upper()
    assert "BLUNT" in sentence


def _loud(text):
    """Write all but the named places in capitals."""
    parts = text.split("%(")
    shouted = [parts[0].upper()]
    for part in parts[1:]:
        name, rest = part.split(")s", 1)
        shouted.append(f"%({name})s{rest.upper()}")
    return "".join(shouted)


def verdict(stage, outcome):
    tally = {ACCEPTED: (24, 1), OPEN: (10, 1), NOT_ACCEPTED: (24, 5)}[outcome]
    return judge_stage(stage, PLAN, [StageTally(*tally)])


def test_a_verdict_carries_stage_outcome_and_reason():
    found = judge_stage(Stage.TOP, PLAN, [StageTally(24, 2)], {Fault.HIGH: 2})
    assert (found.stage, found.outcome) == (Stage.TOP, ACCEPTED)
    assert str(found.reason) == "2 of 24 trees too high; up to 3 allowed"
    assert isinstance(found, StageVerdict)


@pytest.mark.parametrize(
    ("outcomes", "sentence"),
    [
        ((ACCEPTED, ACCEPTED), "All 2 stages are accepted"),
        ((ACCEPTED,), "The one stage is accepted"),
        ((ACCEPTED, OPEN, OPEN), "2 stages of 3 still open"),
        ((OPEN, ACCEPTED), "1 stage of 2 still open"),
        (
            (NOT_ACCEPTED, OPEN),
            "Top: 5 of 24 trees with a fault at the top; up to 3 allowed",
        ),
        (
            (NOT_ACCEPTED, NOT_ACCEPTED, ACCEPTED),
            (
                "Top: 5 of 24 trees with a fault at the top; up to 3 allowed. "
                "Limbs: 5 of 24 trees with a fault in the limbs; up to 3 allowed"
            ),
        ),
    ],
)
def test_the_reason_for_a_lot_names_the_stages_that_decide_it(outcomes, sentence):
    verdicts = [verdict(stage, outcome) for stage, outcome in zip(Stage, outcomes, strict=False)]
    assert str(lot_reason(verdicts)) == sentence
