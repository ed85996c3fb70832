"""Tally sheets: every tree in walking order, room for gloves, and when to stop in words."""

import ctypes
import re
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.scoring import Tap, possible_faults
from audits.standard import HeadingStageRule, Standard, TopRule
from audits.vocabulary import (
    STAGE_FAULTS,
    Fault,
    HeadingRule,
    Method,
    PlantingKind,
    Purpose,
    Stage,
)
from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.palette import COLOURS
from printables.drawing.primitives import Rect, Text, flattened
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
    TallyAnswer,
    TallyColumn,
    TallySheet,
    TallyTree,
    TallyWave,
    WaveNumbers,
)
from printables.tally_sheet import tally_pages, tally_sheet
from tests.paper import assert_nothing_clipped, page_sizes_mm, page_texts, pdf_of, printed_lines
from tests.reading import PSEUDO, spanish_words

LANGUAGES = ("en", "es")
RIGHT, NOTHING, FAULT = TallyAnswer(Tap.RIGHT), TallyAnswer(Tap.NOTHING_DUE), TallyAnswer(Tap.FAULT)
FEWER = TallyAnswer(Tap.FEWER_NONE_LEFT)
COLUMNS = (
    TallyColumn(Stage.TOP, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.TOP]),
    TallyColumn(
        Stage.LIMBS,
        (TallyAnswer(Tap.RIGHT, "2"), TallyAnswer(Tap.RIGHT, "3"), FEWER, FAULT),
        STAGE_FAULTS[Stage.LIMBS],
    ),
    TallyColumn(Stage.COLUMNS, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.COLUMNS]),
    TallyColumn(Stage.HEADING, (RIGHT, NOTHING, FAULT), (Fault.THICK, Fault.THIN, Fault.LEFT_LONG)),
)
MEASURED = tuple(replace(column, answers=()) for column in COLUMNS)


def trees(first: int, last: int, row: str = "Row 12", way: str = "out: 3 panels on"):
    return tuple(
        TallyTree(
            str(number),
            f"panel {number}, tree {1 + number % 10}",
            row,
            ("left side", "right side")[number % 2],
            way,
        )
        for number in range(first, last + 1)
    )


def numbers(accepted, rejected):
    return tuple(WaveNumbers(column.stage, accepted, rejected) for column in COLUMNS)


SHEET = TallySheet(
    farm="Alder Flat",
    block="Gala Home 3",
    crew="North crew",
    lot="Row 12",
    auditor="Marta Silva",
    standard_version=2,
    draw=1417,
    drawn_on=date(2025, 12, 5),
    purpose=Purpose.FIRST,
    columns=COLUMNS,
    waves=(
        TallyWave(trees(1, 14), numbers(0, 4)),
        TallyWave(trees(15, 30), numbers(4, 5)),
    ),
    reserve=tuple(
        replace(tree, label=f"+{number}", way="")
        for number, tree in enumerate(trees(31, 38), start=1)
    ),
)
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
    assert "Columnas B N Despunte B" in " ".join(page_texts(document)[0].split())
    assert min(letter_sizes_pt(document)) >= 9.0


def test_the_reserve_comes_last_and_says_how_it_is_used():
    text = printed()
    reserve = text[text.index("Reserve: use these in this order if no tree") :]
    assert "+1 Row 12, panel 31, tree" in reserve
    assert "+8 Row 12, panel 38, tree" in reserve
    assert reserve.count("for number ____") == 8


def test_letters_of_every_fault_that_can_be_stand_at_the_foot_of_every_page():
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
    assert page_sizes_mm(tally_sheet(SHEET, ENGLISH, page=page)) == {PAGE_SIZES_MM[page]}


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


def row_pieces(sheet, words, page):
    labels = {tree.label for wave in sheet.waves for tree in wave.trees}
    labels |= {tree.label for tree in sheet.reserve}
    return [
        piece
        for piece in all_pieces(sheet, words, page)
        if len(boxes(piece.drawing)) > 2
        and labels & {line.text for line in printed_lines(piece.drawing)}
        and not any("Accepted" in line.text for line in printed_lines(piece.drawing))
    ]


def boxes(drawing):
    return [
        placed.shape
        for placed in flattened(drawing)
        if isinstance(placed.shape, Rect) and placed.shape.ink is Ink.FRAME
    ]


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("name", SHEETS)
def test_rows_and_boxes_leave_room_for_gloves_and_pencil(name, page):
    sheet = SHEETS[name]
    rows = row_pieces(sheet, ENGLISH, page)
    wanted = sum(len(wave.trees) for wave in sheet.waves) + len(sheet.reserve)
    assert len(rows) == wanted
    for row in rows:
        assert row.drawing.height_mm >= 8.0
        for box in boxes(row.drawing):
            assert box.height_mm >= 5.0
            assert box.width_mm >= 5.0


def test_boxes_stand_under_each_other_and_apart():
    rows = [boxes(row.drawing) for row in row_pieces(SHEET, ENGLISH, Page.A4)]
    lefts = {tuple(round(box.x_mm, 3) for box in row) for row in rows}
    assert len(lefts) == 1
    # Three boxes a stage, one more for limbs, two for what was missed and one for no tree.
    assert len(rows[0]) == 3 + 4 + 3 + 3 + 3
    for one, other in pairwise(sorted(rows[0], key=lambda box: box.x_mm)):
        assert one.x_mm + one.width_mm + 1.0 <= other.x_mm


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
    width, height = PAGE_SIZES_MM[page]
    for pieces in tally_pages(sheet, words, page):
        for piece in pieces:
            assert_nothing_clipped(piece.drawing)
            for box in boxes(piece.drawing):
                assert 0.0 <= box.x_mm <= piece.drawing.width_mm - box.width_mm
            # What office printers leave blank at the edges (common practice: 4.2 mm).
            assert piece.x_mm >= 4.3
            assert piece.x_mm + piece.drawing.width_mm <= width - 4.3
            assert piece.y_mm >= 4.3
            assert piece.y_mm + piece.drawing.height_mm <= height - 4.3
        assert_apart(pieces)


def assert_apart(pieces):
    """No piece of a page lies on the one below it."""
    for above, below in pairwise(sorted(pieces, key=lambda piece: piece.y_mm)):
        assert above.y_mm + above.drawing.height_mm <= below.y_mm + 0.01


def test_a_piece_that_lies_on_another_would_be_found():
    first, *others = tally_pages(SHEET, ENGLISH, Page.A4)[0]
    with pytest.raises(AssertionError):
        assert_apart([replace(first, y_mm=first.y_mm + 30), *others])


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
