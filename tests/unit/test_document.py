"""
Documents of leaves as PDF: tags, what is stored once, turned leaves, and files that repeat.

The file is read back by two programs of other people: pdfium, and poppler where it is installed.
"""

import re
import shutil
import subprocess

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from printables.document import Document, Leaf, Piece, Role, leaf_svg, to_pdf
from printables.drawing.primitives import Cells, Drawing, Rect, Text
from tests.paper import page_sizes_mm, page_texts, tags

A4_MM = (210.0, 297.0)


def words(text, size_mm=4.0):
    return Drawing(80.0, 8.0, (Text(0.0, 5.0, text, size_mm),), text)


TITLE = words("Uno (1) \\ dos")
PICTURE = Drawing(
    30.0,
    30.0,
    tuple(Rect(float(n), float(n), 1.0, 2.0) for n in range(25)),
    "Árbol",
    "Łukasz cut 2 (two) limbs.",
)
RULE = Drawing(50.0, 1.0, (Rect(0, 0, 50.0, 0.3),), "")
SMALL = words("Sheet 1")


def document(*leaves, language="es"):
    return Document("Hoja «uno»", "Alder Flat", language, leaves)


TWO_LEAVES = document(
    Leaf(
        A4_MM,
        (
            Piece(RULE, 10, 30, Role.FURNITURE),
            Piece(TITLE, 10, 10, Role.TITLE),
            Piece(PICTURE, 10, 50),
            Piece(SMALL, 10, 250),
        ),
    ),
    Leaf((297.0, 420.0), (Piece(PICTURE, 20, 20), Piece(SMALL, 10, 250))),
)


def test_pieces_are_tagged_in_the_order_in_which_they_are_read():
    alternative = "Árbol. Łukasz cut 2 (two) limbs."
    assert tags(to_pdf(TWO_LEAVES)) == [
        [("H1", "", 0), ("Figure", alternative, 1), ("P", "", 2)],
        [("Figure", alternative, 0), ("P", "", 1)],
    ]


def test_an_independent_reader_finds_language_title_and_tags():
    if shutil.which("pdfinfo") is None:
        pytest.skip("no pdfinfo: apt-get install poppler-utils")
    pdf = to_pdf(TWO_LEAVES)
    told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True)
    assert not told.stderr
    lines = dict(re.split(r":\s+", line, maxsplit=1) for line in told.stdout.decode().splitlines())
    assert lines["Title"] == "Hoja «uno»"
    assert lines["Author"] == "Alder Flat"
    assert lines["Tagged"] == "yes"
    assert lines["Pages"] == "2"
    assert b"/Lang (es)" in pdf
    assert b"/DisplayDocTitle true" in pdf
    assert b"/PrintScaling /None" in pdf


def test_words_are_read_back_and_pages_have_their_sizes():
    assert page_texts(to_pdf(TWO_LEAVES)) == ["Uno (1) \\ dos Sheet 1", "Sheet 1"]
    assert page_sizes_mm(TWO_LEAVES) == {A4_MM, (297.0, 420.0)}


def test_lines_do_not_run_together_when_they_are_read_out():
    """ISO 32000-1, 14.8.2.5: spaces between words are in the file, not guessed from places."""
    lines = Drawing(
        80.0, 20.0, tuple(Text(0.0, 5.0 * n, "Corte la rama", 4.0) for n in (1, 2, 3)), ""
    )
    page = pypdfium2.PdfDocument(to_pdf(document(Leaf(A4_MM, (Piece(lines, 10, 10),)))))[0]
    text = page.get_textpage()
    in_file = "".join(
        chr(pdfium.FPDFText_GetUnicode(text, place))
        for place in range(pdfium.FPDFText_CountChars(text))
        if not pdfium.FPDFText_IsGenerated(text, place)
    )
    assert in_file.split() == ["Corte", "la", "rama"] * 3


def test_a_large_drawing_is_stored_once_and_a_small_one_where_it_is_used():
    pdf = to_pdf(TWO_LEAVES)
    assert pdf.count(b"/Subtype /Form") == 1
    for page in pypdfium2.PdfDocument(pdf):
        kinds = [found.type for found in page.get_objects(max_depth=1)]
        assert kinds.count(pdfium.FPDF_PAGEOBJ_FORM) == 1
        assert kinds.count(pdfium.FPDF_PAGEOBJ_TEXT) >= 1


def test_the_same_document_gives_the_same_bytes():
    assert to_pdf(TWO_LEAVES) == to_pdf(TWO_LEAVES)
    other = document(*TWO_LEAVES.leaves[:1])
    assert to_pdf(other) != to_pdf(TWO_LEAVES)


def test_thousands_of_pieces_stay_readable():
    """More objects than one object stream takes, and more letters than one subset of a font."""
    letters = [chr(code) for code in (*range(0x21, 0x7F), *range(0xA1, 0x180)) if code != 0xAD]
    leaves = [
        Leaf(
            A4_MM,
            tuple(
                Piece(words(f"{letter}{number}"), 10.0, 10.0 * number + 10) for number in range(6)
            ),
        )
        for letter in letters
    ]
    texts = page_texts(to_pdf(document(*leaves)))
    known = [text for letter, text in zip(letters, texts, strict=True) if letter in text]
    assert texts[0] == " ".join(f"!{number}" for number in range(6))
    assert len(texts) == len(letters)
    # The font lacks some letters of Latin Extended-A; all others come back.
    assert len(known) > 190


def test_a_turned_leaf_stands_on_its_head():
    mark = Drawing(10.0, 10.0, (Rect(0, 0, 10.0, 10.0),), "")
    pieces = (Piece(mark, 20.0, 30.0),)
    upright, turned = (
        next(
            iter(
                pypdfium2.PdfDocument(to_pdf(document(Leaf(A4_MM, pieces, turned=side))))[
                    0
                ].get_objects()
            )
        )
        for side in (False, True)
    )
    per_mm = 72 / 25.4
    left, bottom, right, top = (edge / per_mm for edge in upright.get_bounds())
    assert (left, 297 - top, right, 297 - bottom) == pytest.approx((20, 30, 30, 40), abs=0.02)
    left, bottom, right, top = (edge / per_mm for edge in turned.get_bounds())
    assert (210 - right, bottom, 210 - left, top) == pytest.approx((20, 30, 30, 40), abs=0.02)


def test_progress_is_told_after_each_leaf():
    seen = []
    to_pdf(TWO_LEAVES, lambda done, count: seen.append((done, count)))
    assert seen == [(1, 2), (2, 2)]


def test_cells_are_painted_where_they_lie():
    cells = Cells(2.0, 3.0, 0.7, ((0, 0, 2), (1, 1, 1)))
    leaf = Leaf(A4_MM, (Piece(Drawing(20.0, 20.0, (cells,), ""), 10.0, 10.0),))
    pixels = pypdfium2.PdfDocument(to_pdf(document(leaf)))[0].render(scale=20 / 72 * 25.4).to_pil()
    dark = {
        (column, row)
        for column in range(3)
        for row in range(3)
        if sum(pixels.getpixel((int(20 * (12.35 + 0.7 * column)), int(20 * (13.35 + 0.7 * row)))))
        < 300
    }
    assert dark == {(0, 0), (1, 0), (1, 1)}


def test_a_leaf_is_previewed_with_its_words_and_without_rules():
    svg = leaf_svg(TWO_LEAVES.leaves[0], "Hoja", id_prefix="leaf")
    assert 'viewBox="0 0 210 297"' in svg
    assert "Uno (1)" in svg
    assert "<title" in svg
