"""Common mistakes on practice trees: each has its fault, and that fault's stage alone."""

from collections import Counter

import pytest

from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.mistakes import mistakes
from audits.practice.model import TreeKind
from audits.practice.pruning import answers_of
from audits.scoring import score_tree
from audits.standard import preset, read_standard
from audits.vocabulary import STAGE_FAULTS, BearingHabit, Fault, HeadingRule, Method, Side
from tests.judge import Judge


def _standard(rule: HeadingRule):
    payload = preset(BearingHabit.STANDARD, 3_353.0).model_dump()
    payload["heading"]["rule"] = rule
    return read_standard(payload)


def _trees(standard, count: int = 18):
    for number in range(count):
        kind = tuple(TreeKind)[number % len(TreeKind)]
        yield grow_tree(number, Growth(standard.top.target_mm, kind=kind))


@pytest.mark.parametrize("rule", HeadingRule)
def test_engine_and_judge_find_the_fault_of_each_mistake(rule):
    standard = _standard(rule)
    for tree in _trees(standard):
        made = mistakes(tree, standard, Side.LEFT)
        assert made
        assert len({mistake.key for mistake in made}) == len(made)
        for mistake in made:
            answers = answers_of(tree, mistake.pruning, standard, Side.LEFT)
            scores = score_tree(standard, answers, method=Method.LADDER).stages
            faulty = {stage for stage, score in scores.items() if score.faults}
            assert [mistake.fault in STAGE_FAULTS[stage] for stage in faulty] == [True]
            (stage,) = faulty
            assert mistake.fault in scores[stage].faults
            judge = Judge(tree, mistake.pruning, standard, Side.LEFT, Method.LADDER)
            verdict = judge.verdicts()[stage]
            assert verdict is None or mistake.fault in verdict.faults


def test_every_mistake_is_made_on_some_tree():
    keys = Counter(
        mistake.key
        for rule in HeadingRule
        for tree in _trees(_standard(rule), 60)
        for mistake in mistakes(tree, _standard(rule), Side.BOTH)
    )
    assert set(keys) == {
        *("top_high", "top_left", "top_low", "top_blunt", "leader_young"),
        *("limb_too_many", "limb_left", "smaller_limbs"),
        *("side_branch_left", "fork_left", "upright_left", "tip_shortened"),
        *("headed_thick", "headed_thin", "end_left", "headed_forbidden"),
    }


def test_a_tree_that_is_not_due_is_topped_by_mistake_only_where_it_should_be_left():
    standard = _standard(HeadingRule.OFF)
    for tree in _trees(standard):
        keys = {mistake.key for mistake in mistakes(tree, standard, Side.LEFT)}
        young = tree.height_mm < standard.top.target_mm
        assert ("leader_young" in keys) == young
        assert not young or not keys & {"top_high", "top_left", "top_low", "top_blunt"}


def test_machine_topped_rows_know_no_blunt_cut():
    standard = _standard(HeadingRule.OFF)
    for tree in _trees(standard, 6):
        made = mistakes(tree, standard, Side.LEFT, Method.MACHINE_TOPPED)
        assert Fault.BLUNT not in {mistake.fault for mistake in made}
