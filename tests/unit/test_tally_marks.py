"""Marks on a tally sheet become what the desk types, and contradictions are told, not settled."""

from itertools import combinations

import pytest

from audits.messages import ENGLISH
from audits.scoring import Tap
from audits.vocabulary import STAGE_FAULTS, PlantingKind, Stage
from printables.marked import BoxKind
from printables.sheet import Page
from printables.tally_letters import faults_by_letter, kinds_by_letter
from printables.tally_marks import mark_groups, typed_row
from printables.tally_records import MEASURE_LABELS, TallyAnswer, TallyColumn
from printables.tally_sheet import tally_marked_pages
from tests.unit.test_tally_sheet import COLUMNS, MEASURED, SHEET, SHEETS

STAGES = ("top", "limbs", "columns", "heading")
CLEAN = {"top.R", "limbs.2", "columns.R", "heading.R"}


def row(*marks: str, columns=COLUMNS, language="en", written=()):
    keys = {f"t12.{name}" for name in marks}
    return typed_row(12, keys, columns, language, written={f"t12.{name}" for name in written})


def test_a_clean_tree_is_typed_with_one_letter_a_stage():
    typed = row(*CLEAN)
    assert typed.cells == {"top": "R", "limbs": "2", "columns": "R", "heading": "R", "missed": ""}
    assert (typed.contradictory, typed.incomplete, typed.to_type) == ((), (), ())
    assert not typed.is_empty


def test_several_faults_are_typed_one_after_the_other_in_the_order_of_the_boxes():
    typed = row("top.Y", "top.H", *(CLEAN - {"top.R"}))
    assert typed.cells["top"] == "HY"
    assert typed.contradictory == ()


def test_a_row_in_spanish_is_typed_with_the_letters_of_its_sheet():
    typed = row("top.B", "limbs.J", "columns.H", "heading.N", language="es")
    assert typed.cells == {"top": "B", "limbs": "J", "columns": "H", "heading": "N", "missed": ""}


def test_marks_of_other_trees_do_not_count():
    assert typed_row(1, {"t12.top.R", "t11.top.R"}, COLUMNS, "en").is_empty


def test_an_empty_row_lacks_nothing():
    typed = row()
    assert typed.is_empty
    assert typed.incomplete == ()


def test_a_stage_without_an_answer_is_told():
    assert row("top.R", "columns.N").incomplete == ("limbs", "heading")


@pytest.mark.parametrize("pair", list(combinations(("R", "N", "H"), 2)))
def test_an_answer_excludes_every_other_mark_of_its_stage(pair):
    typed = row(*(f"top.{letter}" for letter in pair), *(CLEAN - {"top.R"}))
    if "R" in pair or "N" in pair:
        assert typed.contradictory == ("top",)
        # Both stand in the cell, and the desk takes no such answer.
        assert set(typed.cells["top"]) == set(pair)
        assert not set(pair) <= set(faults_by_letter(Stage.TOP))


def test_two_counts_of_limbs_contradict_each_other():
    typed = row("limbs.2", "limbs.3", *(CLEAN - {"limbs.2"}))
    assert typed.contradictory == ("limbs",)
    assert typed.cells["limbs"] == "23"


def test_a_missed_tree_has_no_answers():
    alone = row("missed.*")
    assert (alone.cells["missed"], alone.contradictory, alone.incomplete) == ("*", (), ())
    assert row("missed.*", "columns.F").contradictory == ("columns", "missed")


def test_a_missed_side_has_answers_only_for_the_whole_tree():
    good = row("missed./", "top.R", "limbs.2")
    assert (good.cells["missed"], good.contradictory, good.incomplete) == ("/", (), ())
    assert row("missed./", "top.R").incomplete == ("limbs",)
    bad = row("missed./", "top.R", "limbs.2", "heading.K")
    assert bad.contradictory == ("heading", "missed")


def test_tree_and_side_cannot_both_be_missed():
    assert row("missed.*", "missed./").contradictory == ("missed",)


@pytest.mark.parametrize("letter", "YPODG")
def test_what_stands_there_instead_is_typed_where_the_desk_has_it(letter):
    typed = row(f"notree.{letter}")
    assert typed.cells["missed"] == letter
    assert kinds_by_letter()[letter] is not PlantingKind.BEARING
    assert (typed.contradictory, typed.incomplete) == ((), ())


def test_where_no_tree_stands_nothing_else_is_marked():
    assert row("notree.D", "top.R").contradictory == ("top", "notree")
    assert row("notree.D", "missed.*").contradictory == ("missed", "notree")
    assert row("notree.D", "notree.G").contradictory == ("notree",)


def test_what_was_written_is_left_to_a_person():
    typed = row(columns=MEASURED, written=("top.height", "columns.looked_at"))
    assert typed.to_type == ("top_height", "columns_looked_at")
    assert not typed.is_empty
    assert typed.incomplete == ("limbs", "heading")
    assert not any(typed.cells.values())
    assert row("missed.*", columns=MEASURED, written=("top.height",)).contradictory == (
        "top",
        "missed",
    )


@pytest.mark.parametrize("name", SHEETS)
def test_every_box_of_a_page_is_one_of_its_groups(name):
    """Keys are named once: what is drawn and what is typed cannot drift apart."""
    sheet = SHEETS[name]
    groups = mark_groups(sheet.columns, "en")
    wanted = {
        group.key(tree.tree_id, part): BoxKind.WRITTEN if part in group.written else BoxKind.MARK
        for tree in (*(tree for wave in sheet.waves for tree in wave.trees), *sheet.reserve)
        for group in groups
        for part in (*group.answers, *group.faults, *group.written)
    }
    boxes = [box for page in tally_marked_pages(sheet, ENGLISH, Page.LETTER) for box in page.boxes]
    assert len(boxes) == len(wanted)
    assert {box.key: box.kind for box in boxes} == wanted
    assert all(box.key.startswith(f"{box.group}.") for box in boxes)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("stage", list(Stage))
def test_a_stage_has_a_box_for_each_fault_that_it_can_have(stage, language):
    tiles = (TallyAnswer(Tap.RIGHT), TallyAnswer(Tap.NOTHING_DUE), TallyAnswer(Tap.FAULT))
    group, *_ = mark_groups([TallyColumn(stage, tiles, STAGE_FAULTS[stage])], language)
    meant = faults_by_letter(stage)
    assert tuple(meant[letter] for letter in group.faults) == STAGE_FAULTS[stage]
    assert len(set(group.answers + group.faults)) == 2 + len(STAGE_FAULTS[stage])


def test_a_range_of_limbs_is_typed_as_right():
    column = TallyColumn(
        Stage.LIMBS, (TallyAnswer(Tap.RIGHT, "3-5"), TallyAnswer(Tap.FEWER_NONE_LEFT)), ()
    )
    assert mark_groups([column], "en")[0].answers == ("R", "N")


def test_measured_stages_have_the_boxes_that_the_desk_has():
    for group, column in zip(mark_groups(MEASURED, "en"), MEASURED, strict=False):
        assert len(group.written) == len(MEASURE_LABELS[column.stage])
    assert [group.name for group in mark_groups(SHEET.columns, "en")] == [
        *STAGES,
        "missed",
        "notree",
    ]
