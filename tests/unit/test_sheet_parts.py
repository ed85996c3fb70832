"""What sheets are put together from: blocks that stay together, tables, lines to write on, feet."""

from dataclasses import replace

import pytest

from audits.messages import ENGLISH
from printables import flow
from printables.blanks import blank_fields, tick_line
from printables.document import Document, Piece, Role
from printables.drawing.primitives import Drawing, Line, Text, flattened
from printables.flow import Block, paged, room_left, under
from printables.sheet import Page
from printables.sheet_frame import sheet_foot, sheet_head
from printables.table import Column, Table, table_pieces
from tests.paper import assert_nothing_clipped, printed_lines
from tests.sheets import SPACED, UNBROKEN, assert_well_printed

WIDTH_MM = 180.0
ROOM_MM = flow.content_height(Page.LETTER)


def bar(height_mm: float) -> Drawing:
    return Drawing(WIDTH_MM, height_mm, (), f"{height_mm} mm")


def laid_out(*parts: flow.Part) -> Document:
    foot = bar(4.0)
    return paged(
        [list(parts)],
        lambda _number, _count: foot,
        page=Page.LETTER,
        title="Sheet",
        author="Farm",
        language="en",
        gap_mm=2.0,
    )


# --- blocks and pages


def test_a_block_stays_together_and_keeps_its_roles():
    block = Block((Piece(bar(10), 0, 0, Role.TITLE), Piece(bar(30), 5, 12, Role.TEXT)), 42.0)
    first, second = laid_out(bar(ROOM_MM - 40), block).leaves
    assert len(first.pieces) == 2
    title, text, _foot = second.pieces
    assert (title.spoken_as, text.spoken_as) == (Role.TITLE, Role.TEXT)
    assert (text.x_mm - title.x_mm, text.y_mm - title.y_mm) == (5, 12)


def test_the_room_left_is_what_the_next_piece_really_has():
    before = [bar(100.0), bar(ROOM_MM - 50.0), bar(20.0)]
    left = room_left(before, Page.LETTER, 2.0)
    assert len(laid_out(*before, bar(left)).leaves) == len(laid_out(*before).leaves)
    assert len(laid_out(*before, bar(left + 0.1)).leaves) == len(laid_out(*before).leaves) + 1
    assert room_left([], Page.LETTER, 2.0) == ROOM_MM


def test_a_heading_is_never_alone_at_the_foot_of_a_page():
    first, second = laid_out(bar(ROOM_MM - 30), under(bar(10), bar(25), 1.0)).leaves
    assert len(first.pieces) == 2
    assert len(second.pieces) == 3


# --- tables


COLUMNS = (Column("Name", 2.0, bold=True), Column("Trees", 1.0, numeric=True), Column("Is", 3.0))


def table(count: int) -> Table:
    cells = [(f"Row {number}", str(number), "Some words of it") for number in range(count)]
    return Table("Rows", COLUMNS, cells)


def test_a_table_fills_the_rest_of_a_page_and_repeats_its_head():
    first, second = table_pieces(table(40), WIDTH_MM, 100.0, 300.0)
    assert first.height_mm <= 100.0
    assert second.height_mm <= 300.0
    for piece in (first, second):
        assert [line.text for line in printed_lines(piece)][:3] == ["Name", "Trees", "Is"]
    names = [line.text for piece in (first, second) for line in printed_lines(piece)]
    assert [name for name in names if name.startswith("Row ")] == [f"Row {n}" for n in range(40)]


def test_a_table_without_room_begins_on_the_next_page():
    (only,) = table_pieces(table(10), WIDTH_MM, 5.0, 200.0)
    assert only.height_mm > 5.0


def test_figures_end_at_the_right_edge_of_their_column():
    (piece,) = table_pieces(table(12), WIDTH_MM, 300.0, 300.0)
    figures = [line for line in printed_lines(piece) if line.text.isdigit()]
    assert len(figures) == 12
    assert len({round(line.right, 3) for line in figures}) == 1


def test_no_word_of_a_head_is_broken_while_others_can_give():
    columns = (Column("Name", 10.0), Column("Extraordinarily", 0.1), Column("Is", 1.0))
    (piece,) = table_pieces(replace(table(2), columns=columns), WIDTH_MM, 300.0, 300.0)
    assert "Extraordinarily" in [line.text for line in printed_lines(piece)]


def test_long_cells_and_sentences_wrap():
    rows = [(UNBROKEN, "1,234", SPACED), (SPACED, "7", UNBROKEN)]
    sentences = [f"{SPACED} {SPACED}", ""]
    (piece,) = table_pieces(replace(table(0), rows=rows, below=sentences), WIDTH_MM, 300.0, 300.0)
    assert_nothing_clipped(piece)


# --- lines to write on


@pytest.mark.parametrize("width_mm", [178.0, 90.0, 70.0])
def test_a_label_leaves_a_line_to_write_on(width_mm):
    drawn = blank_fields([("Seen by the supervisor", 1.0), ("Date", 1.0)], width_mm)
    assert_nothing_clipped(drawn)
    lengths = [
        placed.shape.end[0] - placed.shape.start[0]
        for placed in flattened(drawn)
        if isinstance(placed.shape, Line)
    ]
    assert len(lengths) == 2
    assert min(lengths) > 25.0


def test_a_long_sentence_beside_a_box_wraps():
    drawn = tick_line(f"{SPACED} {UNBROKEN}", 120.0)
    assert_nothing_clipped(drawn)
    assert len(printed_lines(drawn)) > 2


# --- heads and feet


@pytest.mark.parametrize("name", [SPACED, UNBROKEN, "W" * 80])
def test_a_foot_lies_below_the_page_however_long_names_are(name):
    width = flow.content_width(Page.LETTER)
    document = paged(
        [[sheet_head("Sheet", [], width), bar(flow.content_height(Page.LETTER) - 15.0)]],
        lambda number, count: sheet_foot((f"Brief: {name}", name), ENGLISH, width, (number, count)),
        page=Page.LETTER,
        title="Sheet",
        author="Farm",
        language="en",
    )
    (leaf,) = document.leaves
    *_, content, foot = leaf.pieces
    assert content.y_mm + content.drawing.height_mm <= foot.y_mm
    said = "".join(line.text for line in printed_lines(foot.drawing)).replace(" ", "")
    assert name.replace(" ", "") in said
    assert_well_printed(document)


def test_a_title_is_tagged_as_one_and_wraps():
    head = sheet_head(f"Training record: {UNBROKEN}", [], WIDTH_MM)
    (title,) = head.pieces
    assert title.spoken_as is Role.TITLE
    assert_nothing_clipped(title.drawing)


# --- the check itself


def test_the_check_of_sheets_finds_what_is_cut_off_printed_over_too_small_or_untitled():
    title = sheet_head("Sheet", [], WIDTH_MM)

    def with_text(*texts: Text) -> Document:
        return laid_out(title, Drawing(WIDTH_MM, 20.0, texts, "Words"))

    assert_well_printed(with_text(Text(0.0, 5.0, "Words", 4.0)))
    with pytest.raises(AssertionError, match="sticks out"):
        assert_well_printed(with_text(Text(WIDTH_MM - 5.0, 5.0, "Words that go on", 4.0)))
    with pytest.raises(AssertionError, match="lies on"):
        assert_well_printed(with_text(Text(0.0, 5.0, "Words", 4.0), Text(2.0, 6.0, "More", 4.0)))
    with pytest.raises(AssertionError, match="size_pt"):
        assert_well_printed(with_text(Text(0.0, 5.0, "Words", 2.0)))
    with pytest.raises(AssertionError):
        assert_well_printed(laid_out(Drawing(WIDTH_MM, 20.0, (), "Words")))
