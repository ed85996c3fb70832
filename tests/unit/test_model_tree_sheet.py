"""Model-tree sheets: the block's standard with its numbers, room to count, room to decide."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.plain_words import stage_words
from audits.standard import Standard, preset
from audits.vocabulary import STAGE_NAMES, BearingHabit, HeadingRule, Method, Stage
from printables.document import Role
from printables.drawing.primitives import Line, flattened
from printables.model_tree_sheet import (
    IT_WORKS,
    TASK,
    TO_CHANGE,
    ModelTreeSheet,
    counted_parts,
    how_to_count,
    model_tree_sheet,
)
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from printables.subject import StandardSubject
from tests.paper import page_texts, pdf_of, printed_lines
from tests.reading import (
    METRIC_ENGLISH,
    PSEUDO,
    english_counts,
    flesch_kincaid_grade,
    inflesz,
    spanish_counts,
    spanish_words,
)
from tests.sheets import SPACED, UNBROKEN, assert_well_printed

PRESET = preset(BearingHabit.STANDARD, 3_352.8, top_wire_mm=3_048.0)


def with_stage(stage: str, **values: object) -> Standard:
    rule = getattr(PRESET, stage).model_copy(update=values)
    return PRESET.model_copy(update={stage: rule})


STANDARD = with_stage("heading", rule=HeadingRule.REQUIRED)
SUBJECT = StandardSubject("Alder Flat", "Gala Home 3", 3, date(2025, 11, 3), low_bloom=True)
SHEET = ModelTreeSheet(SUBJECT, STANDARD)
STANDARDS = {
    "heading": STANDARD,
    "no heading": PRESET,
    "forbidden": with_stage("heading", rule=HeadingRule.FORBIDDEN),
    "range": with_stage("limbs", most=3),
    "top only": PRESET.model_copy(
        update={
            name: getattr(PRESET, name).model_copy(update={"in_use": False})
            for name in ("limbs", "columns", "heading")
        }
    ),
}


@pytest.fixture(scope="module")
def spanish():
    return spanish_words()


def pages(sheet: ModelTreeSheet = SHEET, words=ENGLISH) -> list[str]:
    return page_texts(model_tree_sheet(sheet, words))


def table(sheet: ModelTreeSheet = SHEET):
    return counted_parts(sheet, ENGLISH, Page.LETTER)[3]


def test_the_first_page_says_what_each_stage_asks_and_when_to_leave_it():
    first, _ = pages()
    assert first.startswith("Model trees: Gala Home 3 Alder Flat. Standard 3, from Nov 3, 2025.")
    for stage in Stage:
        said = stage_words(STANDARD, stage, low_bloom=True)
        for message in (said.headline, *said.steps, *said.leave):
            assert ENGLISH.say(message) in first


def test_each_stage_has_its_picture_which_can_be_read_out():
    leaf = model_tree_sheet(SHEET, ENGLISH).leaves[0]
    figures = [piece.drawing for piece in leaf.pieces if piece.spoken_as is Role.FIGURE]
    assert [figure.title for figure in figures] == ["Top", "Limbs", "Columns", "Heading"]


def test_the_table_asks_for_what_is_counted_with_this_block_s_numbers():
    _, second = pages()
    for words in (
        "Height left",
        "9 ft 11 in \u00b1 6 in",
        "Large limbs out",
        "Large limbs left",
        "from 3/4 in",
        "Branches looked at",
        "Single columns",
        "4 or more",
        "Thickness at each cut",
        "1/4 to 3/8 in",
    ):
        assert words in second
    assert second.count("of 5") == 4


@pytest.mark.parametrize("trees", [3, 5, 8])
def test_it_has_a_line_for_each_tree(trees):
    lines = [line.text for line in printed_lines(table(replace(SHEET, trees=trees)))]
    assert [text for text in lines if text.startswith("Tree ")] == [
        f"Tree {number}" for number in range(1, trees + 1)
    ]


@pytest.mark.parametrize("trees", [2, 9])
def test_too_few_or_too_many_trees_are_refused(trees):
    with pytest.raises(ValueError, match="trees must lie between 3 and 8"):
        replace(SHEET, trees=trees)


def test_there_is_room_to_say_that_it_works_or_what_to_change():
    _, second = pages()
    for words in (
        "Does the standard work?",
        "Yes. The crew works by it as it is written.",
        "change the standard before the crew starts",
        "Signature",
    ):
        assert words in second


def test_only_what_is_in_use_is_counted():
    _, second = pages(replace(SHEET, standard=STANDARDS["top only"]))
    assert "Height left" in second
    assert "limbs" not in second.lower()
    _, second = pages(replace(SHEET, standard=STANDARDS["no heading"]))
    assert "Thickness at each cut" not in second
    _, second = pages(replace(SHEET, standard=STANDARDS["forbidden"]))
    assert "Ends headed" in second
    _, second = pages(replace(SHEET, standard=STANDARDS["range"]))
    assert "2 to 3" in second


def test_each_end_that_is_looked_at_has_a_cell():
    upright = [
        placed.shape
        for placed in flattened(table())
        if isinstance(placed.shape, Line) and placed.shape.start[0] == placed.shape.end[0]
    ]
    # Six columns of their own, and four rules between five cuts.
    assert len(upright) == 6 + STANDARD.heading.looked_at - 1


@pytest.mark.parametrize("words", [ENGLISH, METRIC_ENGLISH, PSEUDO], ids=["en", "metric", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("standard", STANDARDS.values(), ids=STANDARDS)
def test_it_takes_two_pages_and_nothing_is_clipped(standard, page, words):
    document = model_tree_sheet(ModelTreeSheet(SUBJECT, standard), words, page=page)
    assert [leaf.size_mm for leaf in document.leaves] == [PAGE_SIZES_MM[page]] * 2
    assert_well_printed(document)


def test_a_machine_topped_block_is_not_asked_for_a_side_branch():
    first, _ = pages(replace(SHEET, subject=replace(SUBJECT, method=Method.MACHINE_TOPPED)))
    assert "Machine-topped." in first
    assert "Cut to a small side branch." not in first
    assert "Cut to a small side branch." in pages()[0]


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("trees", [5, 8])
def test_nothing_is_clipped_in_spanish_and_with_long_names(trees, page, spanish):
    subject = replace(SUBJECT, farm=SPACED, block=UNBROKEN)
    sheet = ModelTreeSheet(subject, STANDARD, trees)
    for words in (ENGLISH, spanish):
        assert_well_printed(model_tree_sheet(sheet, words, page=page))


def test_the_same_sheet_gives_the_same_bytes_and_another_block_others():
    one = pdf_of(model_tree_sheet(SHEET, ENGLISH))
    assert one == pdf_of(model_tree_sheet(replace(SHEET), ENGLISH))
    other = replace(SHEET, subject=replace(SUBJECT, block="Gala Home 4"))
    assert one != pdf_of(model_tree_sheet(other, ENGLISH))


def test_a_name_that_cannot_be_printed_is_refused():
    with pytest.raises(InvalidInput) as caught:
        replace(SUBJECT, block="\u5317")
    assert set(caught.value.problems) == {"block"}


def own_words(words) -> str:
    """Return what the sheet adds to the words of the standard."""
    hints = how_to_count(STANDARD).values()
    return " ".join(words.say(said) for said in (*TASK, *hints, IT_WORKS, TO_CHANGE))


def test_its_own_words_are_easy_to_read():
    assert flesch_kincaid_grade(english_counts(own_words(ENGLISH))) <= 6


def test_its_own_words_are_easy_to_read_in_spanish(spanish):
    assert inflesz(spanish_counts(own_words(spanish))) >= 65


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_names_of_stages_keep_clear_of_the_rule_behind_them(page, language):
    words = ENGLISH if language == "en" else spanish_words()
    drawn = counted_parts(SHEET, words, page)[3]
    # Rules between the columns of one stage begin below its name.
    rules = [
        placed.shape.start[0]
        for placed in flattened(drawn)
        if isinstance(placed.shape, Line)
        and placed.shape.start[0] == placed.shape.end[0]
        and placed.shape.start[1] == 0.0
    ]
    for name in STAGE_NAMES.values():
        line = next(line for line in printed_lines(drawn) if line.text == words.say(name))
        behind = [x for x in rules if x > line.left]
        assert min(x - line.right for x in behind or [line.right + 1.5]) >= 1.5
