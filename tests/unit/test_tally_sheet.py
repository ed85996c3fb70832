"""Tally sheets: every tree in walking order, room for gloves, and when to stop in words."""

import ctypes
import re
from collections import Counter
from dataclasses import replace
from itertools import combinations, pairwise
from math import dist
from operator import itemgetter

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.scoring import possible_faults
from audits.standard import HeadingStageRule, Standard, TopRule
from audits.vocabulary import (
    STAGE_FAULTS,
    Fault,
    HeadingRule,
    Method,
    PlantingKind,
    Purpose,
    SheetKind,
    Stage,
)
from printables.document import Role
from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.palette import COLOURS
from printables.drawing.primitives import Rect, Text, flattened
from printables.marked import parse_code
from printables.paper_code import code_room, content_area
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from printables.tally_letters import (
    NOTHING_LETTER,
    RIGHT_LETTERS,
    fault_letters,
    faults_by_letter,
    kind_letters,
    kinds_by_letter,
)
from printables.tally_records import (
    TallyColumn,
    TallyWave,
    WaveNumbers,
)
from printables.tally_sheet import tally_marked_pages, tally_pages, tally_sheet
from tests.paper import (
    POINT_MM,
    assert_nothing_clipped,
    page_sizes_mm,
    page_texts,
    pdf_of,
    printed_lines,
)
from tests.reading import PSEUDO, spanish_words
from tests.tallies import COLUMNS, FAULT, RIGHT, SHEET, numbers, trees

LANGUAGES = ("en", "es")
MEASURED = tuple(replace(column, answers=()) for column in COLUMNS)


LONG_NAME = "The northern home blocks, the bench, and what lies behind the old packing shed"
LONG = replace(
    SHEET,
    block=LONG_NAME,
    crew="Hernándezquintanar" * 5,
    auditor=LONG_NAME,
    waves=tuple(
        replace(
            wave,
            trees=tuple(
                replace(tree, place="árbol " * 9, row=LONG_NAME, way="Quintanar" * 9)
                for tree in wave.trees
            ),
        )
        for wave in SHEET.waves
    ),
)
SHEETS = {
    "usual": SHEET,
    "long names": LONG,
    "measured": replace(SHEET, columns=MEASURED),
    "one stage": replace(
        SHEET,
        columns=COLUMNS[:1],
        waves=tuple(replace(wave, numbers=wave.numbers[:1]) for wave in SHEET.waves),
    ),
    "one sample": replace(SHEET, waves=SHEET.waves[1:], reserve=(), skips_decided=True),
}


def printed(sheet=SHEET, words=ENGLISH, page=Page.LETTER) -> str:
    return " ".join(page_texts(tally_sheet(sheet, words, page=page)))


def all_pieces(sheet, words, page):
    return [piece for pieces in tally_pages(sheet, words, page) for piece in pieces]


# --- what it says --------------------------------------------------------------------------------


def test_the_head_says_what_was_drawn_for_whom_and_leaves_room_to_sign():
    text = page_texts(tally_sheet(SHEET, ENGLISH))[0]
    for words in (
        "Tally sheet: Gala Home 3, Row 12",
        "Alder Flat. North crew. First audit. Standard: version 2.",
        "Draw 1417 of Dec 5, 2025.",
        "Auditor",
        "(audit of Marta Silva)",
        "Date",
    ):
        assert words in text


def test_every_tree_stands_on_it_once_in_walking_order():
    text = printed()
    places = [text.index(f"panel {number}, tree") for number in range(1, 31)]
    assert places == sorted(places)
    for number in range(1, 39):
        assert len(re.findall(rf"panel {number}, tree", text)) == 1
    assert "left side; out: 3 panels on" in text


def test_after_each_wave_it_says_when_to_stop_and_when_to_carry_on():
    text = printed()
    first = text[text.index("After 14 trees:") : text.index("Wave 2: 16 trees.")]
    assert "Accepted with up to 0 0 0 0 Not accepted from 4 4 4 4" in first
    assert "Every stage accepted or not accepted: stop." in first
    assert "carry on with wave 2" in first
    last = text[text.index("After 30 trees:") :]
    assert "Accepted with up to 4 4 4 4 Not accepted from 5 5 5 5" in last
    assert "carry on" not in last
    assert "The walk ends here." in last


def test_a_stage_that_cannot_be_decided_yet_shows_no_number():
    undecided = (WaveNumbers(Stage.TOP, None, None), *numbers(0, 4)[1:])
    sheet = replace(SHEET, waves=(replace(SHEET.waves[0], numbers=undecided), SHEET.waves[1]))
    assert "Accepted with up to \u2013 0 0 0 Not accepted from \u2013 4 4 4" in printed(sheet)


def test_a_stage_decided_by_its_mean_is_left_to_the_desk():
    by_mean = (WaveNumbers(Stage.TOP, 0, 4, by_mean=True), *numbers(0, 4)[1:])
    sheet = replace(SHEET, waves=(replace(SHEET.waves[0], numbers=by_mean), SHEET.waves[1]))
    text = printed(sheet)
    assert "Top: the mean of the measures decides; the desk works it out." in text
    assert "Accepted with up to \u2013 0 0 0" in text


def test_where_heading_is_forbidden_a_missed_tree_does_not_count_there():
    forbidden = TallyColumn(Stage.HEADING, (RIGHT, FAULT), (Fault.FORBIDDEN,))
    text = printed(replace(SHEET, columns=(*COLUMNS[:3], forbidden)))
    assert "A missed tree counts under Top, Limbs, Columns. A missed side" in text
    assert "A missed side counts under Columns." in text
    assert "counts under Top, Limbs, Columns, Heading." in printed()


def test_the_name_of_a_narrow_column_stays_in_one_piece():
    forbidden = TallyColumn(Stage.HEADING, (RIGHT, FAULT), (Fault.FORBIDDEN,))
    sheet = replace(SHEET, columns=(*COLUMNS[:3], forbidden))
    document = pdf_of(tally_sheet(sheet, spanish_words()))
    assert "Columnas Despunte Saltado" in " ".join(page_texts(document)[0].split())
    assert min(letter_sizes_pt(document)) >= 9.0


def test_the_reserve_comes_last_and_says_how_it_is_used():
    text = printed()
    reserve = text[text.index("Reserve: use these in this order if no tree") :]
    assert "+1 panel 31, tree" in reserve
    assert "+8 panel 38, tree" in reserve
    assert reserve.count("for number ____") == 8


def test_reserve_trees_name_their_row_where_there_is_more_than_one():
    elsewhere = tuple(replace(tree, row="Row 13") for tree in SHEET.reserve[:2])
    text = printed(replace(SHEET, reserve=(*elsewhere, *SHEET.reserve[2:])))
    assert "+1 Row 13, panel 31, tree" in text
    assert "+8 Row 12, panel 38, tree" in text


def test_letters_of_every_fault_that_can_be_stand_on_every_page():
    pages = page_texts(tally_sheet(SHEET, ENGLISH))
    assert len(pages) > 1
    for text in pages:
        for words in ("H Too high", "U Flush cut", "D Spurs stripped", "L Left long", "G Missing"):
            assert words in text
        assert "Headed where forbidden" not in text
        assert "* Tree missed" in text
        assert "/ Side missed" in text


def test_pages_are_numbered():
    pages = page_texts(tally_sheet(SHEET, ENGLISH))
    for number, text in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in text
        assert "Gala Home 3, Row 12" in text


def test_a_row_of_another_name_is_announced():
    two = replace(
        SHEET, waves=(TallyWave((*trees(1, 3), *trees(4, 6, "Row 13")), numbers(0, 4)),), reserve=()
    )
    text = printed(two)
    assert text.index("panel 3, tree") < text.index("Row 13") < text.index("panel 4, tree")


def test_a_re_audit_counts_both_passes():
    assert "count the cuts of both passes" in printed(replace(SHEET, purpose=Purpose.RE_AUDIT))
    assert "both passes" not in printed()


def test_only_where_it_is_allowed_may_a_decided_stage_stay_empty():
    assert "may stay empty from there" in printed(replace(SHEET, skips_decided=True))
    assert "may stay empty" not in printed()


# --- how it is printed ---------------------------------------------------------------------------


def test_the_same_sheet_gives_the_same_bytes():
    assert pdf_of(tally_sheet(SHEET, ENGLISH)) == pdf_of(tally_sheet(SHEET, ENGLISH))
    assert pdf_of(tally_sheet(SHEET, ENGLISH)) != pdf_of(
        tally_sheet(replace(SHEET, draw=1418), ENGLISH)
    )


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_it_is_printed_on_the_paper_asked_for(page):
    """It lies on its long side: a tree with all its boxes is one row."""
    assert page_sizes_mm(tally_sheet(SHEET, ENGLISH, page=page)) == {PAGE_SIZES_MM[page][::-1]}


def test_every_font_is_embedded():
    document = pdf_of(tally_sheet(SHEET, ENGLISH))
    fonts = re.findall(rb"/BaseFont /([\w+-]+)", document)
    assert fonts
    # A subset that is embedded has a name such as AAAAAA+BitstreamVeraSans.
    assert all(re.match(rb"[A-Z]{6}\+", name) for name in fonts), fonts
    assert document.count(b"/FontFile2") == len(set(fonts))


def letter_sizes_pt(document: bytes) -> set[float]:
    """Sizes of all letters as an independent reader finds them."""
    sizes = set()
    for page in pypdfium2.PdfDocument(document):
        text = page.get_textpage()
        for place in range(text.count_chars()):
            matrix = pdfium.FS_MATRIX()
            pdfium.FPDFText_GetMatrix(text, place, ctypes.byref(matrix))
            sizes.add(round(pdfium.FPDFText_GetFontSize(text, place) * matrix.d, 2))
    # Blanks that the reader puts between lines have no size of their own.
    return sizes - {0.0, 1.0}


@pytest.mark.parametrize("name", SHEETS)
def test_no_letter_is_smaller_than_nine_points(name):
    sizes = letter_sizes_pt(pdf_of(tally_sheet(SHEETS[name], ENGLISH)))
    assert sizes
    assert min(sizes) >= 9.0


def contrast_on_white(colour: str) -> float:
    """WCAG 2.2, contrast ratio and relative luminance."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


def test_letters_and_boxes_are_black_on_white():
    for piece in all_pieces(SHEET, ENGLISH, Page.LETTER):
        for placed in flattened(piece.drawing):
            shape = placed.shape
            if isinstance(shape, Text):
                assert shape.ink is Ink.SOLID
            if isinstance(shape, Rect) and shape.ink is Ink.FRAME:
                assert APPEARANCES[shape.ink].stroke == "ink"
    # Sheets: at least 15:1 (the printed-matter bar of this project).
    assert contrast_on_white(COLOURS["ink"]) >= 15


def boxes(drawing):
    return [
        placed.shape
        for placed in flattened(drawing)
        if isinstance(placed.shape, Rect) and placed.shape.ink is Ink.FRAME
    ]


def drawn_frames(sheet, words, page):
    """Frames of every page as they are drawn, but for those that count trees after a wave."""
    return [
        [
            replace(box, x_mm=piece.x_mm + box.x_mm, y_mm=piece.y_mm + box.y_mm)
            for piece in pieces
            if not any("Accepted" in line.text for line in printed_lines(piece.drawing))
            for box in boxes(piece.drawing)
        ]
        for pieces in tally_pages(sheet, words, page)
    ]


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("name", SHEETS)
def test_boxes_are_looked_for_where_their_frames_are_drawn(name, page):
    marked = tally_marked_pages(SHEETS[name], ENGLISH, page)
    drawn = drawn_frames(SHEETS[name], ENGLISH, page)
    assert [len(one.boxes) for one in marked] == [len(frames) for frames in drawn]
    for one, frames in zip(marked, drawn, strict=True):
        for box, frame in zip(one.boxes, frames, strict=True):
            for side in ("x_mm", "y_mm", "width_mm", "height_mm"):
                assert getattr(box, side) == pytest.approx(getattr(frame, side), abs=0.01)


@pytest.mark.parametrize("name", ["usual", "measured"])
def test_frames_lie_there_in_the_file_too(name):
    """An independent reader of the file finds a rectangle at every box."""
    sheet = SHEETS[name]
    document = pypdfium2.PdfDocument(pdf_of(tally_sheet(sheet, ENGLISH)))
    for one, page in zip(tally_marked_pages(sheet, ENGLISH, Page.LETTER), document, strict=True):
        height = page.get_height()
        found = [
            (left * POINT_MM, (height - top) * POINT_MM, right * POINT_MM)
            for left, _, right, top in (
                item.get_bounds()
                for item in page.get_objects()
                if item.type == pdfium.FPDF_PAGEOBJ_PATH
            )
        ]
        # What this reader calls bounds is the path, wider by the stroke's width on each side.
        stroke = APPEARANCES[Ink.FRAME].width_mm
        for box in one.boxes:
            wanted = (box.x_mm - stroke, box.y_mm - stroke, box.x_mm + box.width_mm + stroke)
            nearest = min(found, key=lambda bounds: dist(bounds, wanted))
            assert nearest == pytest.approx(wanted, abs=0.01), box


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("name", SHEETS)
def test_rows_and_boxes_leave_room_for_gloves_and_pencil(name, page):
    sheet = SHEETS[name]
    trees_of = Counter()
    for one in tally_marked_pages(sheet, ENGLISH, page):
        tops = sorted({tree_of(box): box.y_mm for box in one.boxes}.items(), key=itemgetter(1))
        trees_of.update(tree for tree, _ in tops)
        for (_, above), (_, below) in pairwise(tops):
            assert below - above >= 9.0
        for box in one.boxes:
            assert box.height_mm >= 4.5
            assert box.width_mm >= 4.5
    wanted = [tree.tree_id for wave in sheet.waves for tree in wave.trees]
    wanted += [tree.tree_id for tree in sheet.reserve]
    # Every tree stands on one page only.
    assert trees_of == Counter(f"t{tree_id}" for tree_id in wanted)


def tree_of(box):
    return box.key.split(".")[0]


def test_boxes_stand_under_each_other_and_apart():
    rows = {}
    for one in tally_marked_pages(SHEET, ENGLISH, Page.A4):
        for box in one.boxes:
            rows.setdefault(tree_of(box), []).append(box)
    lefts = {tuple(round(box.x_mm, 3) for box in row) for row in rows.values()}
    assert len(lefts) == 1
    row = next(iter(rows.values()))
    # Answers and faults of each stage, two for what was missed, and one for each kind.
    assert len(row) == (2 + 4) + (3 + 7) + (2 + 5) + (2 + 3) + 2 + 5
    for one, other in pairwise(row):
        assert one.x_mm + one.width_mm + 1.0 <= other.x_mm + 1e-6


# How far these letters reach below their line, as parts of the size (Bitstream Vera Sans).
DEEP = {"J": 0.2, "Q": 0.13, "/": 0.093}


@pytest.mark.parametrize("words", [ENGLISH, PSEUDO], ids=["en", "es"])
def test_every_box_of_a_row_has_its_letter_above_it(words):
    one = tally_marked_pages(SHEET, words, Page.LETTER)[0]
    row = [box for box in one.boxes if tree_of(box) == tree_of(one.boxes[0])]
    piece = next(
        piece
        for piece in tally_pages(SHEET, words, Page.LETTER)[0]
        if len(boxes(piece.drawing)) == len(row)
    )
    letters = [
        placed.shape
        for placed in flattened(piece.drawing)
        if isinstance(placed.shape, Text) and len(placed.shape.text) == 1
    ]
    for box, frame in zip(row, boxes(piece.drawing), strict=True):
        sign = box.key.split(".")[-1]
        above = [
            text
            for text in letters
            if text.text == sign and frame.x_mm < text.x_mm < frame.x_mm + frame.width_mm
        ]
        assert len(above) == 1, box.key
        # Other print keeps clear of the frames, so that it is not taken for a mark.
        lowest = above[0].y_mm + DEEP.get(sign, 0.0) * above[0].size_mm
        assert lowest <= frame.y_mm - APPEARANCES[Ink.FRAME].width_mm / 2 - 0.4, sign


def test_every_page_has_a_code_of_its_own_and_another_layout_another_one():
    pages = tally_marked_pages(SHEET, ENGLISH, Page.LETTER)
    codes = [one.code for one in pages]
    assert {(code.kind, code.fields) for code in codes} == {(SheetKind.TALLY, ("7", "L", "EN"))}
    assert [code.page_number for code in codes] == list(range(1, len(pages) + 1))
    assert all(parse_code(code.text) == code for code in codes)
    assert tally_marked_pages(SHEET, ENGLISH, Page.LETTER) == pages
    other = tally_marked_pages(replace(SHEET, waves=SHEET.waves[1:]), ENGLISH, Page.LETTER)
    assert other[0].code.layout != pages[0].code.layout


def readers():
    return {"en": ENGLISH, "pseudo": PSEUDO}


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("language", readers())
@pytest.mark.parametrize("name", SHEETS)
def test_nothing_is_clipped_or_printed_over(name, language, page):
    assert_sound(SHEETS[name], readers()[language], page)


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("name", SHEETS)
def test_nothing_is_clipped_in_spanish(name, page):
    assert_sound(SHEETS[name], spanish_words(), page)


def assert_sound(sheet, words, page):
    left, top, right, bottom = content_area(SIZES[page])
    for pieces in tally_pages(sheet, words, page):
        content = [piece for piece in pieces if not is_frame(piece)]
        assert len(pieces) - len(content) == 2
        for piece in content:
            assert_nothing_clipped(piece.drawing)
            for box in boxes(piece.drawing):
                assert 0.0 <= box.x_mm <= piece.drawing.width_mm - box.width_mm + 1e-6
            assert piece.x_mm >= left - 1e-6
            assert piece.x_mm + piece.drawing.width_mm <= right + 1e-6
            assert piece.y_mm >= top - 1e-6
            assert piece.y_mm + piece.drawing.height_mm <= bottom + 1e-6
        assert_apart([rectangle(piece) for piece in content] + [code_room(SIZES[page])])


SIZES = {page: PAGE_SIZES_MM[page][::-1] for page in SHEET_PAGES}


def is_frame(piece):
    """Whether a piece is one of those that make a page readable from a photo."""
    return piece.spoken_as is Role.FURNITURE and not printed_lines(piece.drawing)


def rectangle(piece):
    right, bottom = piece.x_mm + piece.drawing.width_mm, piece.y_mm + piece.drawing.height_mm
    return (piece.x_mm, piece.y_mm, right, bottom)


def assert_apart(rectangles):
    """No piece of a page lies on another or on the code."""
    for one, other in combinations(rectangles, 2):
        beside = one[2] <= other[0] + 0.01 or other[2] <= one[0] + 0.01
        below = one[3] <= other[1] + 0.01 or other[3] <= one[1] + 0.01
        assert beside or below, (one, other)


def test_a_piece_that_lies_on_another_would_be_found():
    pieces = [piece for piece in tally_pages(SHEET, ENGLISH, Page.A4)[0] if not is_frame(piece)]
    first, *others = pieces
    with pytest.raises(AssertionError):
        assert_apart([rectangle(replace(first, y_mm=first.y_mm + 30)), *map(rectangle, others)])


def test_names_with_letters_that_the_font_lacks_are_refused():
    with pytest.raises(InvalidInput) as caught:
        replace(SHEET, block="\u5317", auditor="\u738b\u82b3")
    assert set(caught.value.problems) == {"block", "auditor"}


# --- letters -------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", list(Stage))
def test_no_letter_means_two_things_in_any_language(stage):
    """A sheet in one language is typed in under another: no letter may change its meaning."""
    meanings: dict[str, set[object]] = {NOTHING_LETTER: {"nothing"}}
    for letter in RIGHT_LETTERS.values():
        meanings.setdefault(letter, set()).add("right")
    for language in LANGUAGES:
        for fault, letter in fault_letters(stage, language).items():
            meanings.setdefault(letter, set()).add(fault)
    assert {letter: found for letter, found in meanings.items() if len(found) > 1} == {}


def test_no_letter_for_what_stands_there_means_two_things():
    pairs = {
        (letter, kind) for language in LANGUAGES for kind, letter in kind_letters(language).items()
    }
    assert len(pairs) == len({letter for letter, _ in pairs})
    assert set(kinds_by_letter().values()) == set(PlantingKind) - {PlantingKind.BEARING}


@pytest.mark.parametrize("language", [*LANGUAGES, "fr"])
@pytest.mark.parametrize("stage", list(Stage))
def test_every_fault_of_a_stage_has_one_letter(stage, language):
    letters = fault_letters(stage, language)
    assert set(letters) == set(STAGE_FAULTS[stage])
    assert len(set(letters.values())) == len(letters)
    assert all(len(letter) == 1 and letter.isupper() for letter in letters.values())
    assert {faults_by_letter(stage)[letter] for letter in letters.values()} == set(letters)


def test_every_fault_that_the_scoring_engine_knows_can_be_written():
    for rule in HeadingRule:
        standard = Standard(
            top=TopRule(target_mm=3_000),
            heading=HeadingStageRule(rule=rule),
            row_spacing_mm=3_350.0,
        )
        for method in Method:
            for stage in standard.stages_in_use:
                known = set(faults_by_letter(stage).values())
                assert set(possible_faults(standard, stage, method)) <= known
