"""Plans of the standard tables for a lot: ways to name a cell, whole lots, and what is refused."""

import math
from decimal import Decimal

import pytest

from audits.errors import InvalidInput
from audits.sampling import DoublePlan, SinglePlan
from audits.sampling.tables import (
    NoLimit,
    Pointer,
    code_letter,
    limit_number,
    resolved_cell,
    table_cell,
    table_plan,
)


@pytest.mark.parametrize("limit", [1, 1.0, "1.0", "1", " 1.00 ", Decimal("1.0")], ids=repr)
def test_a_limit_may_be_written_in_any_usual_way(limit):
    assert table_plan(1000, limit) == SinglePlan(80, 2)


def test_level_two_and_normal_single_sampling_are_the_default():
    assert table_plan(310, 2.5) == table_plan(
        310, "2.5", level="II", inspection="normal", kind="single"
    )


def test_reduced_plans_keep_the_gap_between_their_numbers():
    assert table_plan(1000, 1.0, inspection="reduced") == SinglePlan(32, 1, 3)
    assert table_plan(1000, 1.0, inspection="reduced", kind="double") == DoublePlan(
        20, 0, 3, 20, 0, 4
    )


def test_an_arrow_changes_the_sample_and_the_numbers():
    # Letter G has an arrow up at 0.65: the plan of F, not 32 trees.
    assert code_letter(200) == "G"
    assert table_plan(200, 0.65) == SinglePlan(20, 0)


def test_every_tree_is_inspected_where_the_sample_reaches_the_lot():
    # Letter C, arrows down to F with 20 trees.
    assert table_plan(21, 0.65) == SinglePlan(20, 0)
    assert table_plan(20, 0.65) == SinglePlan(20, 0)
    assert table_plan(19, 0.65) == SinglePlan(19, 0)
    # The numbers stay those of the table, the gap included.
    assert table_plan(3, 40, inspection="reduced", level="III") == SinglePlan(2, 2, 4)
    assert table_plan(2, 40, inspection="reduced", level="III") == SinglePlan(2, 2, 4)


def test_two_samples_that_reach_the_lot_together_become_one_of_all_trees():
    # Letter E at 2.5: arrow down to F, twice 13 trees.
    assert code_letter(27, "III") == "E"
    assert table_plan(27, 2.5, level="III", kind="double") == DoublePlan(13, 0, 2, 13, 1)
    assert table_plan(26, 2.5, level="III", kind="double") == SinglePlan(26, 1)
    # Letter B at 10: arrow down to C, twice 3 trees.
    assert table_plan(9, 10, kind="double") == DoublePlan(3, 0, 2, 3, 1)
    assert table_plan(6, 10, kind="double") == SinglePlan(6, 1)


def test_a_double_table_may_say_to_use_the_single_plan():
    assert table_plan(1000, 0.15, kind="double") == SinglePlan(80, 0)
    # After an arrow up, the single plan of the letter reached.
    assert table_plan(1000, 0.25, kind="double") == SinglePlan(50, 0)


def test_tightened_inspection_has_one_letter_more():
    assert table_plan(10**6, 0.025, level="III", inspection="tightened") == SinglePlan(3150, 1)
    assert resolved_cell("R", 0.025, inspection="tightened", kind="double")[0] == "S"
    assert table_cell("S", 0.040, inspection="tightened") is Pointer.EMPTY


@pytest.mark.parametrize(
    ("arguments", "field", "words"),
    [
        ({"lot_size": 1}, "lot_size", "2 trees or more; this is 1"),
        ({"lot_size": 30.5}, "lot_size", "30.5"),
        ({"acceptable_quality_limit": 0.3}, "acceptable_quality_limit", "0.3; they have 0.010, 0."),
        ({"acceptable_quality_limit": math.nan}, "acceptable_quality_limit", "NaN"),
        ({"acceptable_quality_limit": "one"}, "acceptable_quality_limit", "one"),
        ({"acceptable_quality_limit": None}, "acceptable_quality_limit", "None"),
        ({"acceptable_quality_limit": True}, "acceptable_quality_limit", "True"),
        ({"level": "IV"}, "level", "S-1, S-2, S-3, S-4, I, II, III; it is IV"),
        ({"level": 2}, "level", "it is 2"),
        ({"inspection": "lax"}, "inspection", "normal, tightened, reduced; it is lax"),
        ({"inspection": "discontinued"}, "inspection", "discontinued"),
        ({"kind": "triple"}, "kind", "single, double; it is triple"),
    ],
)
def test_what_the_tables_do_not_have_is_refused_with_what_they_have(arguments, field, words):
    lot = {"lot_size": 310, "acceptable_quality_limit": 1.0}
    with pytest.raises(InvalidInput) as refusal:
        table_plan(**lot | arguments)
    assert list(refusal.value.problems) == [field]
    assert words in str(refusal.value.problems[field])


@pytest.mark.parametrize("letter", ["I", "O", "S", "AB", "", "a"])
def test_a_letter_that_is_none_is_refused(letter):
    with pytest.raises(InvalidInput, match="A, B, C, D"):
        table_cell(letter, 1.0)


def test_no_plan_begins_at_the_letter_beyond_the_last():
    with pytest.raises(InvalidInput, match="it is S"):
        resolved_cell("S", 0.025, inspection="tightened")


def test_limit_numbers_need_a_count_of_trees():
    assert limit_number(0, 1.0) is NoLimit.TOO_FEW_TREES
    with pytest.raises(InvalidInput, match="-1"):
        limit_number(-1, 1.0)
    with pytest.raises(InvalidInput, match=r"0\.3"):
        limit_number(100, 0.3)
