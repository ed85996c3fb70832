"""Pocket cards: right numbers, legible, nothing clipped, both sides in register."""

import re
from dataclasses import replace
from datetime import date

import pypdfium2
import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH, Units, Words
from audits.plain_words import standard_words
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, HeadingRule, Method
from printables.card import (
    CARD_SIZES_MM,
    KEY_PT,
    MOST_COPIES,
    SMALL_PT,
    CardFormat,
    card_back,
    card_front,
    pocket_cards,
)
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page, card_sheet, cut_marks
from printables.subject import StandardSubject
from tests.paper import assert_nothing_clipped, page_sizes_mm, page_texts, pdf_of, printed_lines
from tests.reading import METRIC_ENGLISH, PSEUDO, spanish_words

ROW_11_FT_MM = 11 * 304.8


def changed(habit=BearingHabit.STANDARD, **changes):
    payload = preset(habit, ROW_11_FT_MM, top_wire_mm=3048.0).model_dump()
    for name, value in changes.items():
        stage, _, field = name.partition("__")
        if field:
            payload[stage][field] = value
        else:
            payload[stage] = value
    return read_standard(payload)


USUAL = changed(heading__rule=HeadingRule.REQUIRED)
STANDARDS = {
    "usual": USUAL,
    "heading off": changed(),
    "heading forbidden": changed(BearingHabit.TIP),
    "two to three limbs": changed(limbs__most=3),
    "one limb or none": changed(limbs__least=0, limbs__most=1),
    "no wire": changed(top_wire_mm=None),
    "top and limbs only": changed(columns__in_use=False, heading__in_use=False),
}
SUBJECT = StandardSubject(
    farm="Alder Flat",
    block="Gala Home 3",
    version=2,
    in_force_from=date(2025, 12, 1),
    emergency_location="Gate 3, Mill Road",
    first_aider="Ana Ruiz",
)
LONG_NAMES = StandardSubject(
    farm="Alder Flat",
    block="Honeycrisp Upper Bench 12B, east of the pond",
    version=12,
    in_force_from=date(2025, 12, 28),
    method=Method.PLATFORM,
    low_bloom=True,
    emergency_location="Corner of Mill Road and County Road 14, by the red pump house",
    first_aider="María de los Ángeles Hernández-Quintanar",
)
READERS = {"en": ENGLISH, "en metric": METRIC_ENGLISH, "pseudo": PSEUDO}
every_reader = pytest.mark.parametrize("words", READERS.values(), ids=READERS)
every_format = pytest.mark.parametrize("card_format", list(CardFormat))
every_standard = pytest.mark.parametrize("standard", STANDARDS.values(), ids=STANDARDS)


def sides(subject, standard, words, card_format):
    return (
        card_front(subject, standard, words, card_format),
        card_back(subject, standard, words, card_format),
    )


def said(drawing) -> str:
    return " ".join(line.text.replace("\u00a0", " ") for line in printed_lines(drawing))


# --- what it says


def test_the_front_has_the_blocks_own_numbers():
    front = said(card_front(SUBJECT, USUAL, ENGLISH, CardFormat.A7))
    for words in ("Gala Home 3", "9 ft", "11 in", "2 limbs", "3/4 in", "1/4 to 3/8 in", "6 in"):
        assert words in front
    wide = changed(row_spacing_mm=4000.0, top__target_mm=3600.0, limbs__most=3)
    other = said(card_front(SUBJECT, wide, METRIC_ENGLISH, CardFormat.A7))
    for words in ("3.60 m", "2 to 3 limbs", "19 mm"):
        assert words in other


@every_format
def test_the_height_is_said_against_the_wire(card_format):
    front = said(card_front(SUBJECT, USUAL, ENGLISH, card_format))
    assert "1 in below" in front
    assert "the top wire" in front


def test_the_small_front_has_the_numbers_too():
    front = said(card_front(SUBJECT, USUAL, ENGLISH, CardFormat.ID_1))
    for words in ("9 ft 11 in", "2 limbs", "3/4 in or", "1 column", "1/4 to 3/8 in"):
        assert words in front


@every_format
def test_no_stage_goes_unsaid(card_format):
    for standard in STANDARDS.values():
        front = said(card_front(SUBJECT, standard, ENGLISH, card_format))
        for stage in standard_words(standard)[1:]:
            assert ENGLISH.say(stage.figure) in front


def test_a_block_without_heading_is_told_not_to_cut():
    front = said(card_front(SUBJECT, changed(BearingHabit.TIP), ENGLISH, CardFormat.A7))
    assert "No cut" in front


def test_the_back_has_safety_help_disease_and_when_to_leave_the_wood():
    back = said(card_back(SUBJECT, USUAL, ENGLISH, CardFormat.A7))
    for words in (
        "DANGER Look up. Stay far from power lines.",
        "WARNING Stay off the top steps of the ladder.",
        "WARNING Keep your free hand away from the blade.",
        "Local rules come first.",
        "Help comes to: Gate 3, Mill Road",
        "First aid: Ana Ruiz",
        "Canker or fire blight: mark the tree. Tell the supervisor.",
        "Leave a leader that is below 9 ft 11 in.",
        "Leave the limbs if none is 3/4 in thick.",
        "50 mm",
        "Standard 2, from Dec 1, 2025",
    ):
        assert words in back


def test_low_bloom_is_said_on_the_back():
    assert "Few flower buds this year" in said(card_back(LONG_NAMES, USUAL, ENGLISH, CardFormat.A7))


@pytest.mark.parametrize("method", list(Method))
@every_format
def test_every_method_has_at_least_two_notes_and_local_rules(method, card_format):
    subject = StandardSubject("Alder Flat", "Gala", 1, date(2025, 12, 1), method=method)
    back = said(card_back(subject, USUAL, ENGLISH, card_format))
    assert len(re.findall("DANGER|WARNING|CAUTION", back)) >= 2
    assert "Local rules come first." in back


# --- whether it can be read


@every_standard
@every_reader
@every_format
@pytest.mark.parametrize("subject", [SUBJECT, LONG_NAMES], ids=["short names", "long names"])
def test_nothing_is_clipped_or_printed_over(subject, card_format, words, standard):
    for side in sides(subject, standard, words, card_format):
        assert (side.width_mm, side.height_mm) == CARD_SIZES_MM[card_format]
        assert_nothing_clipped(side, margin_mm=0.9)


@every_standard
@every_format
@pytest.mark.parametrize("units", list(Units))
def test_nothing_is_clipped_in_spanish(card_format, standard, units):
    words = spanish_words(units)
    for subject in (SUBJECT, LONG_NAMES):
        for side in sides(subject, standard, words, card_format):
            assert_nothing_clipped(side, margin_mm=0.9)


@every_standard
@every_reader
@every_format
def test_no_letters_are_smaller_than_nine_points(card_format, words, standard):
    for side in sides(SUBJECT, standard, words, card_format):
        assert min(line.size_pt for line in printed_lines(side)) >= SMALL_PT - 1e-6


@every_standard
@pytest.mark.parametrize("words", [ENGLISH, METRIC_ENGLISH], ids=["inches", "millimetres"])
@every_format
def test_the_key_of_every_stage_is_twelve_points(card_format, words, standard):
    front = card_front(SUBJECT, standard, words, card_format)
    large = [line for line in printed_lines(front) if line.size_pt >= KEY_PT - 1e-6]
    assert len(large) >= len(standard_words(standard)) + 1


@every_standard
@every_reader
def test_the_small_front_has_at_most_25_words(words, standard):
    """Figures are no words; the block's name and the version say whose card it is."""
    front = said(card_front(SUBJECT, standard, words, CardFormat.ID_1))
    front = front.replace(SUBJECT.block, "")
    assert len(re.findall(r"[^\W\d_]+(?:-[^\W\d_]+)*", front)) <= 25 + len(["Version"])


def test_a_name_that_fills_the_line_takes_the_place_of_the_version():
    """The version stands on the back as well."""
    filled = replace(SUBJECT, block="Honeycrisp Upper Bench 12B")
    front = card_front(filled, USUAL, ENGLISH, CardFormat.A7)
    assert "Honeycrisp Upper Bench 12B" in said(front)
    assert "Version" not in said(front)
    assert "Version 2" in said(card_front(SUBJECT, USUAL, ENGLISH, CardFormat.A7))


def test_a_band_too_long_for_the_picture_is_left_to_the_gauge():
    thick = changed(
        heading__rule=HeadingRule.REQUIRED, heading__thinnest_mm=27.0, heading__thickest_mm=30.0
    )
    front, back = sides(SUBJECT, thick, ENGLISH, CardFormat.A7)
    assert "1 1/16 to 1 3/16 in" not in said(front)
    assert "1 1/16 to 1 3/16 in" in said(back)
    assert_nothing_clipped(front)


# --- the file


def test_the_same_input_gives_the_same_bytes():
    assert pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH])) == pdf_of(
        pocket_cards(SUBJECT, USUAL, [ENGLISH])
    )
    assert pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH])) != pdf_of(
        pocket_cards(LONG_NAMES, USUAL, [ENGLISH])
    )


@pytest.mark.parametrize("page", SHEET_PAGES)
@every_format
def test_pages_are_of_the_size_asked_for_and_ask_to_be_printed_at_full_size(page, card_format):
    pdf = pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH], page=page, card_format=card_format))
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}
    assert b"/PrintScaling /None" in pdf


def test_the_file_has_title_author_and_language():
    pdf = pdf_of(pocket_cards(SUBJECT, USUAL, [METRIC_ENGLISH]))
    document = pypdfium2.PdfDocument(pdf)
    assert document.get_metadata_value("Title") == "Pocket card: Gala Home 3"
    assert document.get_metadata_value("Author") == "Alder Flat"
    assert b"/Lang (en)" in pdf
    assert b"/Lang (es)" in pdf_of(pocket_cards(SUBJECT, USUAL, [PSEUDO]))


def test_a_sheet_is_filled_unless_copies_are_asked_for():
    pdf = pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH]))
    fronts, backs = page_texts(pdf)
    # The name stands on each card and once beside the scale check.
    assert fronts.count("Gala Home 3") == 4 + 1
    assert backs.count("First aid") == 4
    fronts, _ = page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH], copies=1))
    assert fronts.count("Gala Home 3") == 1 + 1


def test_many_copies_go_on_many_sheets_fronts_and_backs_in_turn():
    texts = page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH], copies=10))
    assert ["Fronts" in text for text in texts] == [True, False] * 3
    assert ["Backs" in text for text in texts] == [False, True] * 3
    assert [text.count("First aid") for text in texts[1::2]] == [4, 4, 2]


def test_both_languages_share_a_sheet():
    fronts, backs = page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH, PSEUDO]))
    assert fronts.count("2 limbs the") == 2
    assert fronts.count(PSEUDO.say("keep the spurs")) == 0
    assert backs.count("DANGER Look") == 2
    assert backs.count(PSEUDO.gettext("DANGER")) == 2


def test_both_sides_carry_the_scale_check():
    for text in page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH])):
        assert "Does not fit? Do not use. Print at 100 %." in text
        assert "100 mm" in text


# --- the sheet


@pytest.mark.parametrize("page", SHEET_PAGES)
@every_format
def test_backs_lie_behind_their_fronts(page, card_format):
    """Turned over the long edge, left and right change sides, up and down do not."""
    sheet = card_sheet(page, CARD_SIZES_MM[card_format])
    width = PAGE_SIZES_MM[page][0]
    for place in range(sheet.count):
        front_left, front_top = sheet.front(place)
        back_left, back_top = sheet.back(place)
        assert back_top == front_top
        assert back_left == pytest.approx(width - (front_left + sheet.card_mm[0]))
    corners = {tuple(round(x, 6) for x in sheet.front(place)) for place in range(sheet.count)}
    backs = {tuple(round(x, 6) for x in sheet.back(place)) for place in range(sheet.count)}
    assert corners == backs


@pytest.mark.parametrize(
    ("page", "card_format", "count"),
    [
        (Page.LETTER, CardFormat.ID_1, 6),
        (Page.A4, CardFormat.ID_1, 8),
        (Page.LETTER, CardFormat.A7, 4),
        (Page.A4, CardFormat.A7, 4),
    ],
)
def test_a_sheet_holds_as_many_cards_as_fit(page, card_format, count):
    sheet = card_sheet(page, CARD_SIZES_MM[card_format])
    assert sheet.count == count
    assert sheet.left_mm > 4.2
    assert sheet.top_mm > 4.2


def test_a_card_larger_than_the_page_is_refused():
    with pytest.raises(ValueError, match="does not fit"):
        card_sheet(Page.LETTER, (250.0, 100.0))


@pytest.mark.parametrize("page", SHEET_PAGES)
@every_format
def test_cut_marks_stay_off_the_cards_and_on_the_page(page, card_format):
    sheet = card_sheet(page, CARD_SIZES_MM[card_format])
    right = sheet.left_mm + sheet.columns * sheet.card_mm[0]
    bottom = sheet.top_mm + sheet.rows * sheet.card_mm[1]
    marks = cut_marks(sheet)
    assert len(marks) == 2 * (sheet.columns + 1) + 2 * (sheet.rows + 1)
    for mark in marks:
        for x, y in (mark.start, mark.end):
            assert not (sheet.left_mm < x < right and sheet.top_mm < y < bottom)
            assert 0 < x < PAGE_SIZES_MM[page][0]
            assert 0 < y < PAGE_SIZES_MM[page][1]


# --- what is refused


def test_no_language_is_refused():
    with pytest.raises(InvalidInput, match="language"):
        pocket_cards(SUBJECT, USUAL, [])


@pytest.mark.parametrize("copies", [0, -1, MOST_COPIES + 1])
def test_an_impossible_number_of_copies_is_refused(copies):
    with pytest.raises(InvalidInput, match="between 1 and"):
        pocket_cards(SUBJECT, USUAL, [ENGLISH], copies=copies)


@every_format
def test_a_name_longer_than_the_card_is_refused_with_the_name(card_format):
    endless = StandardSubject("Alder Flat", "Gala " * 40, 1, date(2025, 12, 1))
    with pytest.raises(InvalidInput, match="too long for a card"):
        card_front(endless, USUAL, ENGLISH, card_format)


def test_more_words_than_the_card_has_room_for_are_refused():
    wordy = StandardSubject(
        "Alder Flat", "Gala", 1, date(2025, 12, 1), emergency_location="Gate 3, " * 200
    )
    back = said(card_back(wordy, USUAL, ENGLISH, CardFormat.A7))
    assert "Local rules come first." in back
    assert "Gate 3" not in back


def test_a_language_too_long_for_the_card_is_refused():
    endless = Words("en", "en_US", Units.METRIC, lambda text: f"{text} " * 9, ENGLISH.ngettext)
    with pytest.raises(InvalidInput, match="more to say"):
        card_back(SUBJECT, USUAL, endless, CardFormat.ID_1)


def test_letters_that_the_font_lacks_are_refused_by_field():
    with pytest.raises(InvalidInput) as caught:
        StandardSubject("Alder Flat", "\u6797\u6a8e 3", 1, date(2025, 12, 1), first_aider="Ana")
    assert set(caught.value.problems) == {"block"}
    assert "\u6797\u6a8e" in str(caught.value)
