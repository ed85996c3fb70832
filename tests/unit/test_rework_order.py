"""Rework orders: only what can be mended goes back, to named people, on a stretch one can find."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.standard import preset
from audits.vocabulary import BearingHabit, Fault, Side, Stage
from printables import rework_order
from printables.document import Role
from printables.drawing.strip import TreeMark
from printables.rework_order import OrderLine, OrderRow, ReworkSheet
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from tests.paper import page_sizes_mm, page_texts, pdf_of, printed_lines, running_texts
from tests.reading import PSEUDO, assert_easy_to_read, spanish_words
from tests.sheets import assert_well_printed

MARKS = tuple(
    TreeMark.NONCONFORMING
    if place in {40, 78, 120}
    else TreeMark.CONFORMING
    if place % 9 == 0
    else TreeMark.PLAIN
    for place in range(187)
)
ROW_12 = OrderRow("Row 12", "north end", MARKS, 10)
ROW_13 = OrderRow("Row 13", "", MARKS[:120])
STANDARD = preset(BearingHabit.STANDARD, 3_352.8, top_wire_mm=3_048.0)
ORDER = ReworkSheet(
    farm="Alder Flat",
    block="Gala Home 3",
    crew="North crew",
    lot=14,
    issued_on=date(2025, 12, 5),
    issued_by="Marta Silva",
    rows=(ROW_12, ROW_13),
    redo=(
        OrderLine(Stage.COLUMNS, (Fault.FORK, Fault.SIDE_BRANCH), ROW_12, 41, 80, "Ana Ruiz (W12)"),
        OrderLine(Stage.TOP, (Fault.HIGH,), ROW_12, 1, 187),
        OrderLine(Stage.COLUMNS, (Fault.UPRIGHT,), ROW_13, 1, 60, "José Peña (W07)", Side.LEFT),
    ),
    stop=(OrderLine(Stage.LIMBS, (Fault.TOO_MANY,), ROW_12, 41, 80, "Ana Ruiz (W12)", Side.RIGHT),),
)


def printed(order=ORDER, words=ENGLISH, page=Page.LETTER):
    return " ".join(page_texts(rework_order.rework_order(order, words, page=page)))


def test_it_says_what_who_where_and_by_whom():
    text = printed()
    for words in (
        "Rework order: Gala Home 3, lot 14",
        "Alder Flat. North crew. Issued on Dec 5, 2025 by Marta Silva.",
        "Row 12, start: north end",
        "Do again: Top",
        "Row 12, whole row. Too high. For North crew.",
        "Do again: Columns",
        "Row 12, trees 41 to 80 (panel 5, tree 1, to panel 8, tree 10).",
        "Fork left; Side branch left. For Ana Ruiz (W12).",
        "Row 13, trees 1 to 60. Only the left side.",
        "For José Peña (W07).",
    ):
        assert words in text


def test_stages_go_from_the_top_of_the_tree_down():
    text = printed()
    assert text.index("Do again: Top") < text.index("Do again: Columns")


def test_lasting_faults_stand_apart_and_are_not_to_be_cut_again():
    text = printed()
    box = text[text.index("Stop and retrain") :]
    assert "Limbs: Too many limbs out. Row 12, trees 41 to 80" in box
    assert "Only the right side." in box
    assert "Show Ana Ruiz (W12)." in box
    assert "Do not cut these trees again" in box
    assert "Do again: Limbs" not in text


def test_without_lasting_faults_there_is_no_box():
    assert "Stop and retrain" not in printed(replace(ORDER, stop=()))


def test_with_lasting_faults_alone_no_new_draw_is_promised():
    text = printed(replace(ORDER, redo=()))
    assert "Do again" not in text
    assert "new trees are drawn" not in text
    assert "new trees are drawn" in printed()


def test_there_is_room_to_sign():
    text = printed()
    assert "Done by" in text
    assert "Seen by the supervisor" in text
    assert text.count("done") >= len(ORDER.redo)


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_an_order_of_two_rows_fits_on_one_page(page):
    pdf = pdf_of(rework_order.rework_order(ORDER, ENGLISH, page=page))
    assert len(page_texts(pdf)) == 1
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}


def test_many_rows_go_on_more_pages_without_losing_one():
    rows = tuple(replace(ROW_12, label=f"Row {number}") for number in range(1, 15))
    lines = tuple(OrderLine(Stage.TOP, (Fault.HIGH,), row, 1, 187) for row in rows)
    text = printed(replace(ORDER, rows=rows, redo=lines))
    assert "Page 1 of 3" in text
    for row in rows:
        assert f"{row.label}, whole row." in text


def test_the_same_order_gives_the_same_bytes():
    one = pdf_of(rework_order.rework_order(ORDER, ENGLISH))
    assert one == pdf_of(rework_order.rework_order(ORDER, ENGLISH))
    assert one != pdf_of(rework_order.rework_order(replace(ORDER, lot=15), ENGLISH))


def read_out(order, words=ENGLISH, page=Page.LETTER):
    """What a screen reader finds on the pages: how it is tagged, and the drawing."""
    return [
        (piece.spoken_as, piece.drawing)
        for leaf in rework_order.rework_order(order, words, page=page).leaves
        for piece in leaf.pieces
    ]


LONG = replace(
    ORDER,
    crew="The crew of the northern home blocks and the bench",
    redo=tuple(
        replace(line, person="María de los Ángeles Hernández-Quintanar Villalobos (W123)")
        for line in ORDER.redo
    ),
)


PICTURED = replace(LONG, standard=STANDARD)


@pytest.mark.parametrize("words", [ENGLISH, PSEUDO], ids=["en", "pseudo"])
@pytest.mark.parametrize(
    "order", [ORDER, LONG, PICTURED], ids=["short names", "long names", "pictures"]
)
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_nothing_is_clipped_or_printed_over(order, words, page):
    assert_well_printed(rework_order.rework_order(order, words, page=page))


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_nothing_is_clipped_in_spanish(page):
    assert_well_printed(rework_order.rework_order(LONG, spanish_words(), page=page))


def test_a_name_without_spaces_is_broken_rather_than_cut_off():
    endless = "Hernándezquintanar" * 8
    order = replace(ORDER, redo=(replace(ORDER.redo[0], person=endless),))
    assert_well_printed(rework_order.rework_order(order, ENGLISH, page=Page.A4))
    assert endless in printed(order).replace(" ", "")


def test_names_with_letters_that_the_font_lacks_are_refused():
    with pytest.raises(InvalidInput) as caught:
        replace(ORDER, issued_by="\u738b\u82b3", crew="\u5317")
    assert set(caught.value.problems) == {"crew", "issued_by"}


def test_it_says_how_many_of_its_scores_are_contested():
    assert "Contested" not in printed()
    text = printed(replace(ORDER, contested=2))
    assert "Contested: 2 scores behind this order wait for a second person's answer." in text


def test_a_strip_shows_each_row_and_where_faults_were_found():
    strips = [drawing for role, drawing in read_out(ORDER) if role is Role.FIGURE]
    assert [strip.title for strip in strips] == ["Row 12", "Row 13"]
    assert "fault found" in [line.text for line in printed_lines(strips[0])]
    assert strips[0].description == "Faults were found at: 41, 79, 121."
    sound = replace(ORDER, rows=(replace(ROW_13, marks=(TreeMark.CONFORMING,) * 120),), redo=())
    (strip,) = (drawing for role, drawing in read_out(sound) if role is Role.FIGURE)
    assert strip.description == "No fault was found on this row."


@pytest.mark.parametrize("language", ["en", "es"])
def test_it_is_easy_to_read(language):
    words = ENGLISH if language == "en" else spanish_words()
    order = replace(ORDER, standard=STANDARD, contested=2)
    assert_easy_to_read(running_texts(rework_order.rework_order(order, words)), language)


def test_each_stage_to_do_again_has_its_picture_with_this_block_s_numbers():
    order = replace(ORDER, standard=STANDARD)
    text = printed(order)
    assert len(page_texts(rework_order.rework_order(order, ENGLISH))) == 1
    assert "9 ft 11 in" in text
    assert "Make each branch one column." in text
    assert "9 ft 11 in" not in printed()
    pictures = {drawing.title: drawing for role, drawing in read_out(order) if role is Role.FIGURE}
    assert "Cut at 9 ft 11 in from the ground." in pictures["Top"].description


def test_pictures_get_smaller_before_an_order_takes_a_second_page():
    stages = (Stage.TOP, Stage.LIMBS, Stage.COLUMNS, Stage.HEADING)
    redo = tuple(replace(ORDER.redo[1], stage=stage) for stage in stages)
    order = replace(ORDER, standard=STANDARD, rows=(ROW_12,), redo=redo)
    assert len(page_texts(rework_order.rework_order(order, ENGLISH))) == 1
    few = replace(order, redo=redo[:1])
    heights = [
        max(drawing.height_mm for _, drawing in read_out(each) if drawing.title == "Top")
        for each in (few, order)
    ]
    assert heights[1] < heights[0]
