"""Who answers for a result: exactly one person, or the crew."""

import pytest

from audits.attribution import Assignment, answerable_worker
from audits.vocabulary import Side, Stage

ROW = 7
ANA, BETO = 1, 2


def did(worker_id, stage=Stage.COLUMNS, first=1, last=100, side=Side.BOTH, row_id=ROW):
    return Assignment(worker_id, row_id, stage, first, last, side)


def who(*assignments, stage=Stage.COLUMNS, position=50, side=Side.LEFT, row_id=ROW):
    return answerable_worker(assignments, stage, row_id, position, side)


def test_without_names_the_result_is_the_crews():
    assert who() is None


def test_one_named_person_answers():
    assert who(did(ANA)) == ANA


@pytest.mark.parametrize("position", [1, 100])
def test_both_ends_of_a_stretch_belong_to_it(position):
    assert who(did(ANA), position=position) == ANA


@pytest.mark.parametrize(
    "other",
    [
        did(ANA, stage=Stage.TOP),
        did(ANA, first=51),
        did(ANA, last=49),
        did(ANA, row_id=ROW + 1),
        did(ANA, side=Side.RIGHT),
    ],
    ids=["another stage", "begins later", "ends earlier", "another row", "the other side"],
)
def test_a_name_elsewhere_does_not_count(other):
    assert who(other) is None


def test_two_people_on_one_side_share_the_result():
    assert who(did(ANA), did(BETO)) is None


def test_each_answers_for_the_side_they_worked_on():
    both = (did(ANA, side=Side.LEFT), did(BETO, side=Side.RIGHT))
    assert who(*both, side=Side.LEFT) == ANA
    assert who(*both, side=Side.RIGHT) == BETO


def test_what_is_judged_on_the_whole_tree_is_shared_by_its_two_sides():
    sides = (
        did(ANA, stage=Stage.LIMBS, side=Side.LEFT),
        did(BETO, stage=Stage.LIMBS, side=Side.RIGHT),
    )
    assert who(*sides, stage=Stage.LIMBS, side=Side.BOTH) is None


def test_one_person_on_both_sides_answers_for_the_whole_tree():
    sides = (
        did(ANA, stage=Stage.TOP, side=Side.LEFT),
        did(ANA, stage=Stage.TOP, side=Side.RIGHT),
    )
    assert who(*sides, stage=Stage.TOP, side=Side.BOTH) == ANA
    assert who(did(ANA, stage=Stage.TOP), stage=Stage.TOP, side=Side.BOTH) == ANA


def test_who_did_only_one_side_does_not_answer_for_the_whole_tree():
    left = did(ANA, stage=Stage.TOP, side=Side.LEFT)
    assert who(left, stage=Stage.TOP, side=Side.BOTH) is None


def test_someone_on_both_sides_and_someone_on_one_share_that_side():
    both = (did(ANA), did(BETO, side=Side.LEFT))
    assert who(*both, side=Side.LEFT) is None
    assert who(*both, side=Side.RIGHT) == ANA
