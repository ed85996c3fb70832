"""
The decoder of a page's code: ISO/IEC 18004 as segno writes it, damage up to the limit of level M.

Segno is an independent writer, zxing-cpp (a general library of barcodes) an independent reader.
"""

from random import Random

import pypdfium2
import pytest
import segno
import zxingcpp

from audits.vocabulary import SheetKind
from printables.document import Document, Leaf, to_pdf
from printables.marked import Box, MarkedPage, SheetCode, layout_check, parse_code
from printables.paper_code import (
    ALPHANUMERIC,
    CODE_CELLS,
    CODE_LETTERS,
    code_matrix,
    page_frame,
)
from printables.reading import code as code_module
from printables.reading.code import (
    CODEWORDS,
    DATA_CODEWORDS,
    code_text,
    corrected_codewords,
    is_function_cell,
)
from printables.sheet import SHEET_PAGES

# Table 9: version 3 at level M corrects 13 of its 70 codewords.
CORRECTABLE = 13


def any_text(chance: Random, length: int) -> str:
    return "".join(chance.choice(ALPHANUMERIC) for _ in range(length))


def damaged(matrix: list[list[bool]], codewords: int, chance: Random) -> list[list[bool]]:
    """Change so many codewords, each in at least one bit."""
    cells = code_module._data_cells()
    spoiled = [row[:] for row in matrix]
    for word in chance.sample(range(CODEWORDS), codewords):
        change = chance.randrange(1, 256)
        for bit in range(8):
            if change >> bit & 1:
                row, column = cells[8 * word + bit]
                spoiled[row][column] = not spoiled[row][column]
    return spoiled


@pytest.mark.parametrize("length", range(1, CODE_LETTERS + 1))
def test_every_length_is_read_as_segno_wrote_it(length):
    text = any_text(Random(length), length)  # noqa: S311 - a text, not a secret
    assert code_text(code_matrix(text)) == text


def test_function_cells_leave_room_for_all_codewords():
    """Version 3 has 567 data cells: 70 codewords and 7 remainder bits (table 1)."""
    data = sum(
        not is_function_cell(row, column)
        for row in range(CODE_CELLS)
        for column in range(CODE_CELLS)
    )
    assert data == 8 * CODEWORDS + 7


@pytest.mark.parametrize("codewords", [1, 2, 7, CORRECTABLE])
def test_damage_within_the_limit_is_put_right(codewords):
    for seed in range(20):
        chance = Random(seed)  # noqa: S311 - as above
        text = any_text(chance, 45)
        assert code_text(damaged(code_matrix(text), codewords, chance)) == text


@pytest.mark.parametrize("codewords", [CORRECTABLE + 1, 20, 40, CODEWORDS])
def test_more_damage_is_never_read_as_something_else(codewords):
    for seed in range(40):
        chance = Random(seed)  # noqa: S311 - as above
        text = SheetCode(SheetKind.TALLY, ("12", "L", "EN"), 3, "0A1B2C").text
        read = code_text(damaged(code_matrix(text), codewords, chance))
        assert read is None or parse_code(read) is None


def test_a_block_without_errors_comes_back_unchanged():
    """The check codewords of the standard's own example (annex I, version 1-M: "01234567")."""
    block = [16, 32, 12, 86, 97, 128, 236, 17, 236, 17, 236, 17, 236, 17, 236, 17]
    check = [165, 36, 212, 193, 237, 54, 199, 135, 44, 85]
    assert corrected_codewords(block + check, 10) == block + check
    wrong = block + check
    wrong[3] ^= 0x5A
    wrong[20] ^= 0xFF
    assert corrected_codewords(wrong, 10) == block + check


def test_codes_of_other_kinds_are_no_text_of_ours():
    """Numbers, bytes: other modes are not read at all."""
    for content in ("1234567890123456789", "http://farm.example/"):
        other = segno.make(content, version=3, error="m", mask=2, boost_error=False, micro=False)
        matrix = [[bool(cell) for cell in row] for row in other.matrix]
        text = code_text(matrix)
        assert text is None or parse_code(text) is None


def test_texts_that_do_not_fit_are_refused():
    for text in ("A" * (CODE_LETTERS + 1), "small letters", "Ñ"):
        with pytest.raises(ValueError, match="text is"):
            code_matrix(text)


@pytest.mark.parametrize("paper", SHEET_PAGES)
@pytest.mark.parametrize("landscape", [False, True])
def test_an_independent_reader_reads_the_printed_code(paper, landscape):
    boxes = (Box("a", "a", 30.0, 60.0, 4.0, 4.0),)
    code = SheetCode(
        SheetKind.ANSWERS,
        ("123", "4294967295", "C", "L", "ES", "45"),
        1,
        layout_check(paper, boxes),
    )
    page = MarkedPage(paper, code, boxes, landscape=landscape)
    pdf = to_pdf(Document("t", "f", "en", [Leaf(page.size_mm, tuple(page_frame(page)))]))
    image = pypdfium2.PdfDocument(pdf)[0].render(scale=150 / 72).to_pil()
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [code.text]


def test_the_mask_matters(monkeypatch):
    """With the wrong mask nothing is read: the tests above would notice."""
    text = "PT/7/L/EN/1/0A1B2C/3D4E5F"
    monkeypatch.setattr(code_module, "_is_masked", lambda column: column % 2 == 0)
    assert code_text(code_matrix(text)) != text
    assert DATA_CODEWORDS < CODEWORDS
