"""Pocket cards: right numbers, few words, legible, nothing clipped, a code that phones read."""

import hashlib
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp

from audits.card_words import brief_line, stage_line
from audits.errors import InvalidInput
from audits.messages import ENGLISH, Units, Words
from audits.plain_words import Band, standard_words
from audits.units import Length, LengthKind
from audits.vocabulary import BearingHabit, HeadingRule, Method, Stage
from printables.cards import (
    CARD_SIZES_MM,
    LETTER_SIZES,
    MOST_COPIES,
    CardFormat,
    CardRequest,
    CardStyle,
    card_faces,
    personal,
    placed,
    pocket_cards,
    sheet_of_cards,
)
from printables.cards.one_stage import right_and_wrong
from printables.document import Document, Leaf, Piece, to_pdf
from printables.drawing.gauge import INNER_FRAME_MM, OUTER_FRAME_MM
from printables.drawing.primitives import Drawing, Rect, Text, flattened
from printables.sheet import PAGE_SIZES_MM, Page
from printables.subject import StandardSubject
from tests.cards import (
    ADDRESS,
    KIND_NAMES,
    KINDS,
    LONG_NAMES,
    LOW_BLOOM,
    STANDARDS,
    SUBJECT,
    USUAL,
    cards_of,
    changed,
    requested,
)
from tests.paper import (
    assert_nothing_clipped,
    page_sizes_mm,
    page_texts,
    pdf_of,
    printed_lines,
    tags,
)
from tests.reading import METRIC_ENGLISH, PSEUDO, spanish_words

ROOT = Path(__file__).parents[2]

every_kind = pytest.mark.parametrize("kind", KINDS, ids=KIND_NAMES)
every_format = pytest.mark.parametrize("card_format", list(CardFormat))


def said(drawing) -> str:
    return " ".join(line.text.replace("\u00a0", " ") for line in printed_lines(drawing))


def english(kind, subject=SUBJECT, standard=USUAL):
    return card_faces(requested(subject, standard, kind), ENGLISH)


def all_stages(card_format, style=CardStyle.ALL_STAGES):
    return (card_format, style, None)


# --- what it says


@every_kind
def test_the_front_has_the_blocks_own_numbers(kind):
    front = said(english(kind).front)
    stage = kind[2]
    numbers = {
        Stage.TOP: "9 ft 11 in",
        Stage.LIMBS: "2 l",
        Stage.COLUMNS: "column",
        Stage.HEADING: "encil",
    }
    for each, number in numbers.items():
        assert stage not in (None, each) or number in front
    other = said(
        english(kind, standard=changed(top__target_mm=2600.0, limbs__most=3, limbs__least=3)).front
    )
    assert stage not in (None, Stage.TOP) or "8 ft 6 in" in other
    assert stage not in (None, Stage.LIMBS) or "3 l" in other


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] in (None, Stage.TOP)])
def test_the_height_is_said_against_the_wire(kind):
    for subject in (SUBJECT, LONG_NAMES):
        assert re.search("1 in below (the )?top wire", said(english(kind, subject).front))
    assert "wire" not in said(english(kind, standard=STANDARDS["no wire"]).front)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] is None])
def test_no_stage_goes_unsaid(kind):
    brief = kind[0] is CardFormat.ID_1 or kind[1] is CardStyle.LARGE_PRINT
    for words, card in cards_of(kind):
        standard, front = card.request.standard, said(card.front)
        for stage in Stage:
            if standard.rule(stage).in_use:
                line = brief_line(standard, stage) if brief else stage_line(standard, stage)
                assert words.say(line.key) in front
                assert line.limit is None or words.say(line.limit) in front


@every_kind
def test_sick_wood_is_marked_and_told(kind):
    front = said(english(kind).front)
    assert re.search("Canker.*blight.*mark.*supervisor", front)


@every_format
def test_what_to_leave_is_shown_with_the_blocks_own_figures(card_format):
    kind = all_stages(card_format)
    front, bare = (said(english(kind, subject).front) for subject in (LOW_BLOOM, SUBJECT))
    assert "buds" in front
    assert "buds" not in bare
    if card_format is not CardFormat.ID_1:
        for words in ("Leave it when", "under 9 ft 11 in", "no 3/4 in limb"):
            assert words in front


def test_a_block_without_heading_is_told_not_to_cut():
    forbidden = STANDARDS["heading forbidden"]
    for kind in KINDS:
        if kind[2] in (None, Stage.HEADING):
            front = said(english(kind, standard=forbidden).front)
            assert re.search("No cut|Do not head", front)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] is not None])
def test_a_beginners_card_has_one_stage_with_right_beside_wrong(kind):
    card = english(kind)
    front = said(card.front)
    for stage in standard_words(USUAL):
        assert (ENGLISH.say(stage.headline) in front) == (stage.stage is kind[2])
        assert (ENGLISH.say(stage.headline) in card.front.description) == (stage.stage is kind[2])
    tiles = [
        placed_shape.shape.ink.value
        for placed_shape in flattened(card.front)
        if placed_shape.shape.__class__.__name__ in ("Rect", "Polygon")
    ]
    assert "right" in tiles
    assert "fault" in tiles


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] is Stage.LIMBS])
def test_where_no_limb_comes_out_no_cut_is_shown_as_right(kind):
    request = requested(kind=kind, standard=STANDARDS["no limb"])
    assert "cut" not in said(card_faces(request, ENGLISH).front)
    right, wrong = right_and_wrong(request, Stage.LIMBS, ENGLISH)
    assert (right.title, wrong.title) == ("Limbs", "Too many limbs out")


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] is None])
def test_those_who_cannot_see_it_are_told_all_stages(kind):
    for words, card in cards_of(kind):
        subject = card.request.subject
        for stage in standard_words(
            card.request.standard, method=subject.method, low_bloom=subject.low_bloom
        ):
            for step in (stage.headline, *stage.steps, *stage.leave):
                assert words.say(step) in card.front.description
        assert card.back.description


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[0] is not CardFormat.ID_1])
def test_the_back_has_safety_help_and_which_card_this_is(kind):
    back = said(english(kind).back)
    for words in (
        "DANGER Look up. Stay far from power lines.",
        "WARNING Stay off the top steps of the ladder.",
        "WARNING Keep your free hand away from the blade.",
        "Local rules come first.",
        "Help comes to: Gate 3, Mill Road",
        "First aid: Ana Ruiz",
        "Bank card fits between the lines? If not, do not use.",
        "50 mm",
        "Standard 2, from Dec 1, 2025",
        "B12, printed Dec 5, 2025",
    ):
        assert words in back


def test_the_small_back_says_the_gravest_and_which_card_this_is():
    back = said(english(all_stages(CardFormat.ID_1)).back)
    for words in (
        "DANGER Look up. Stay far from power lines.",
        "WARNING Stay off the top steps of the ladder.",
        "Local rules first.",
        "50 mm",
        "Standard 2, from Dec 1, 2025",
        "B12, printed Dec 5, 2025",
    ):
        assert words in back


@pytest.mark.parametrize(
    ("changes", "shown"),
    [
        ({"batch": None}, "Printed Dec 5, 2025"),
        ({"printed_on": None}, "Batch B12"),
        ({"batch": None, "printed_on": None}, "Dec 1, 2025"),
    ],
)
def test_a_card_that_is_only_looked_at_has_no_batch(changes, shown):
    for kind in (all_stages(CardFormat.ID_1), all_stages(CardFormat.A7)):
        back = said(card_faces(requested(kind=kind, **changes), ENGLISH).back)
        assert back.endswith(shown)


@pytest.mark.parametrize("method", list(Method))
@every_format
def test_every_method_has_at_least_two_notes_and_local_rules(method, card_format):
    subject = replace(SUBJECT, method=method)
    back = said(english(all_stages(card_format), subject).back)
    assert len(re.findall("DANGER|WARNING|CAUTION", back)) >= 2
    assert "Local rules" in back


# --- how many words


# The bar of this project for what is read in the row; a figure with its units, such as 9 ft 11 in
# or 1/4 to 3/8 in, is one word.
FIGURE = re.compile(
    r"\d+ (?:ft|pies) \d+ (?:in|pulg)"
    r"|\d[\d.,/]*(?:\s?(?:\u2013|to|a)\s?\d[\d.,/]*)?(?:\s?(?:ft|in|m|cm|mm|pies|pulg)\b)?"
)
MOST_WORDS = {CardFormat.ID_1: 25, CardFormat.A7: 60, CardFormat.THREE_BY_FIVE: 60}


def word_count(drawing, *whose: str) -> int:
    """Count the words that are to be read, without whose card it is and which."""
    text = said(drawing)
    for name in whose:
        assert name in text
        text = text.replace(name, "", 1)
    text = FIGURE.sub(" figure ", text)
    return len(re.findall(r"[^\W\d_]+(?:['-][^\W\d_]+)*", text))


def identity(card, words):
    request = card.request
    printed = words.say(request.subject.version_words())
    return [printed, said(card.back).partition(printed)[2].strip()]


def assert_few_words(words, card):
    most = MOST_WORDS[card.request.card_format]
    subject = card.request.subject
    assert word_count(card.front, subject.block) <= most, said(card.front)
    back = said(card.back)
    names = [name for name in (subject.emergency_location, subject.first_aider) if name in back]
    heading, limbs = card.request.standard.heading, card.request.standard.limbs
    # What stands at the gauges and at the bar belongs to them, as to any instrument.
    figures = [
        words.show(Band(heading.thinnest_mm, heading.thickest_mm)),
        words.show(Length(limbs.large_mm, LengthKind.DIAMETER)),
        "50 mm",
    ]
    assert word_count(card.back, *figures, *identity(card, words), *names) <= most, back


@every_kind
def test_no_side_has_more_words_than_people_read(kind):
    for words, card in cards_of(kind):
        assert_few_words(words, card)


@every_format
@pytest.mark.parametrize("method", list(Method))
def test_notes_of_every_method_are_few_words_too(card_format, method):
    for words in (ENGLISH, spanish_words(Units.METRIC)):
        request = requested(replace(LOW_BLOOM, method=method), kind=all_stages(card_format))
        assert_few_words(words, card_faces(request, words))


def test_too_many_words_would_be_noticed():
    wordy = Drawing(85.6, 53.98, tuple(Text(3, 3, "one more word", 3.2) for _ in range(9)), "")
    assert word_count(wordy) == 27


# --- whether it can be read


def sizes_pt(drawing):
    return [line.size_pt for line in printed_lines(drawing)]


@every_kind
def test_no_letters_are_too_small(kind):
    least = LETTER_SIZES[kind[1]].least_pt
    for _, card in cards_of(kind):
        block = card.request.subject.block.split()
        lines = [
            line for line in printed_lines(card.front) if not set(line.text.split()) <= set(block)
        ]
        assert min(line.size_pt for line in lines) >= least - 1e-6
        assert min(sizes_pt(card.front)) >= 9.0 - 1e-6
        assert min(sizes_pt(card.back)) >= 9.0 - 1e-6


@every_kind
def test_the_key_of_every_stage_is_large(kind):
    letters = LETTER_SIZES[kind[1]]
    key_pt = {CardStyle.LARGE_PRINT: 16.0}.get(kind[1], 12.0)
    for _, card in cards_of(kind):
        standard = card.request.standard
        stages = [stage for stage in Stage if standard.rule(stage).in_use]
        wanted = len(stages) if kind[2] is None else 1
        large = [size for size in sizes_pt(card.front) if size >= key_pt - 1e-6]
        assert len(large) >= wanted
        assert max(large) <= max(letters.key_pt, 17.0) + 1e-6


@every_kind
def test_nothing_is_clipped_or_printed_over(kind):
    for _, card in cards_of(kind):
        for side in (card.front, card.back):
            assert (side.width_mm, side.height_mm) == CARD_SIZES_MM[kind[0]]
        assert_nothing_clipped(card.front, margin_mm=2.9)
        # The gauges' figures stand below their stops, which lie at the corner.
        assert_nothing_clipped(card.back, margin_mm=0.9)


# Twice a space of 12 points: nearer words are read as one line.
LEAST_APART_MM = 2.0


def nearest_mm(drawing):
    """Return how far the nearest words side by side are apart."""
    lines = printed_lines(drawing)
    return min(
        (
            right.left - left.right
            for left in lines
            for right in lines
            if right.left > left.left and min(left.bottom, right.bottom) > max(left.top, right.top)
        ),
        default=LEAST_APART_MM,
    )


@every_kind
def test_words_side_by_side_on_a_front_are_not_read_as_one_line(kind):
    for words, card in cards_of(kind):
        assert nearest_mm(card.front) >= LEAST_APART_MM, (words.language, said(card.front))


def test_a_small_card_does_not_part_one_column_of_its_number():
    for words, card in cards_of(all_stages(CardFormat.ID_1)):
        key = words.say(brief_line(card.request.standard, Stage.COLUMNS).key)
        lines = [line.text.replace("\u00a0", " ") for line in printed_lines(card.front)]
        assert not card.request.standard.columns.in_use or key in lines


def test_words_that_nearly_touch_would_be_noticed():
    feet = Text(0.0, 5.0, "9 pies 11 pulg", 12.0 * 25.4 / 72, bold=True)
    after = printed_lines(Drawing(74.0, 10.0, (feet,), ""))[0].right
    limbs = replace(feet, x_mm=after + 0.6, text="2 ramas")
    assert nearest_mm(Drawing(74.0, 10.0, (feet, limbs), "")) < LEAST_APART_MM


@every_kind
def test_a_language_half_as_long_again_fits_or_is_refused(kind):
    try:
        card = card_faces(requested(LOW_BLOOM, USUAL, kind), PSEUDO)
    except InvalidInput:
        return
    assert_nothing_clipped(card.front, margin_mm=2.9)
    assert_nothing_clipped(card.back, margin_mm=0.9)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[0] is not CardFormat.ID_1])
def test_no_words_lie_on_the_frames(kind):
    """A bank card's edge is looked for between two lines with clear paper between them."""
    for _, card in cards_of(kind):
        frames = [
            each.shape
            for each in flattened(card.back)
            if isinstance(each.shape, Rect) and each.shape.height_mm > 80
        ]
        assert len(frames) == 2
        inner, outer = sorted(frames, key=lambda frame: frame.width_mm)
        assert inner.width_mm == pytest.approx(INNER_FRAME_MM[1], abs=0.2)
        assert outer.width_mm == pytest.approx(OUTER_FRAME_MM[1], abs=0.2)
        for line in printed_lines(card.back):
            inside = (
                line.left > inner.x_mm + 0.5
                and line.right < inner.x_mm + inner.width_mm - 0.5
                and line.top > inner.y_mm + 0.5
                and line.bottom < inner.y_mm + inner.height_mm - 0.5
            )
            outside = (
                line.right < outer.x_mm - 0.2
                or line.bottom < outer.y_mm - 0.1
                or line.top > outer.y_mm + outer.height_mm + 0.2
            )
            assert inside or outside, line


# --- whose it is


NAMES = [
    ("Ana Ruiz", "12"),
    ("Ana", ""),
    ("", "W-12"),
    ("María de los Ángeles Hernández", "12"),
    ("Guadalupe Concepción Villa", "W-1012"),
]


@every_kind
@pytest.mark.parametrize(("name", "code"), NAMES, ids=[" ".join(each) for each in NAMES])
def test_a_name_and_code_fit_their_room(kind, name, code):
    card = english(kind)
    left, top, width, height = card.name_room
    written = personal(name, code, card)
    assert (written.width_mm, written.height_mm) == (width, height)
    assert_nothing_clipped(written)
    assert said(written) == f"{name} {code}".strip()
    assert min(sizes_pt(written)) >= 9.0 - 1e-6
    both = (*card.front.shapes, written.at(left, top))
    assert_nothing_clipped(replace(card.front, shapes=both), margin_mm=2.9)


@every_kind
def test_a_name_fits_beside_a_long_block_too(kind):
    card = english(kind, LONG_NAMES)
    left, top, _, _ = card.name_room
    written = personal("María de los Ángeles Hernández-Quintanar", "12", card)
    both = (*card.front.shapes, written.at(left, top))
    assert_nothing_clipped(replace(card.front, shapes=both), margin_mm=2.9)


@every_kind
def test_a_name_longer_than_the_card_is_refused_with_the_name(kind):
    name = "María de los Ángeles Guadalupe Concepción Hernández-Quintanar y Villanueva de la Sierra"
    with pytest.raises(InvalidInput, match=name) as caught:
        personal(name, "12", english(kind))
    assert set(caught.value.problems) == {"worker"}


def test_a_name_that_no_line_can_hold_is_refused():
    with pytest.raises(InvalidInput, match="too long"):
        personal("W" * 40, "", english(all_stages(CardFormat.A7)))


@pytest.mark.parametrize(
    "name", ["\u05de\u05e8\u05d9\u05dd", "\u0645\u0631\u064a\u0645", "\u202eana", "\u6797"]
)
def test_right_to_left_and_other_unknown_letters_are_refused_by_name(name):
    with pytest.raises(InvalidInput) as caught:
        personal(name, "12", english(all_stages(CardFormat.A7)))
    assert set(caught.value.problems) == {"worker"}
    assert name in str(caught.value)


def test_letters_written_in_two_parts_are_printed_as_one():
    assert said(personal("Jose\u0301  Nun\u0303ez", "", english(KINDS[0]))) == "José Nuñez"


def test_nobody_has_no_name():
    with pytest.raises(InvalidInput, match="name"):
        personal(" ", "", english(KINDS[0]))


def test_a_name_is_a_piece_of_its_own_on_a_front_that_all_share():
    card = english(KINDS[0])
    (front, person), (back,) = placed(card, personal("Ana Ruiz", "12", card))
    (bare,), _ = placed(card)
    assert front.drawing is bare.drawing is card.front
    assert back.drawing is card.back
    assert (person.x_mm, person.y_mm) == card.name_room[:2]


# --- its code


@cache
def pictured(kind, subject=SUBJECT, **changes):
    """The back of a card as a phone would see it: 300 dots to the inch, in grey."""
    card = card_faces(requested(subject, USUAL, kind, **changes), ENGLISH)
    leaf = Leaf(CARD_SIZES_MM[kind[0]], (Piece(card.back, 0.0, 0.0),))
    pdf = to_pdf(Document("card", "farm", "en", [leaf]))
    return pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72, grayscale=True).to_pil()


@every_kind
def test_the_code_leads_to_the_blocks_page(kind):
    """Read by zxing-cpp, which knows nothing of how the code was made."""
    (found,) = zxingcpp.read_barcodes(pictured(kind))
    assert found.text == ADDRESS
    assert found.format == zxingcpp.BarcodeFormat.QRCode


@every_format
def test_a_longer_address_is_still_read(card_format):
    address = "https://pruning.alder-flat-orchards.example:8443/blocks/1234?card=10012"
    (found,) = zxingcpp.read_barcodes(pictured(all_stages(card_format), address=address))
    assert found.text == address


def test_a_code_that_is_covered_in_part_is_not_read():
    """So that the two tests above can fail."""
    picture = pictured(all_stages(CardFormat.A7)).copy()
    (found,) = zxingcpp.read_barcodes(picture)
    corner = found.position.top_left
    picture.paste(255, (corner.x, corner.y, corner.x + 110, corner.y + 110))
    assert not zxingcpp.read_barcodes(picture)


def test_without_an_address_there_is_no_code():
    assert not zxingcpp.read_barcodes(pictured(all_stages(CardFormat.A7), address=""))


def test_an_address_too_long_for_the_code_is_refused():
    request = requested(kind=all_stages(CardFormat.ID_1), address="https://" + "farm" * 60)
    with pytest.raises(InvalidInput, match="too long for the code"):
        card_faces(request, ENGLISH)


# --- the file


def test_the_same_input_gives_the_same_bytes():
    assert pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH])) == pdf_of(
        pocket_cards(SUBJECT, USUAL, [ENGLISH])
    )
    assert pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH])) != pdf_of(
        pocket_cards(LONG_NAMES, USUAL, [ENGLISH])
    )


def test_another_process_gives_the_same_bytes():
    """Hashes of strings differ between processes; nothing in a file may follow their order."""
    script = (
        "import hashlib; from tests.cards import SUBJECT, USUAL; from audits.messages import *; "
        "from printables.cards import pocket_cards; from printables.document import to_pdf; "
        "pdf = to_pdf(pocket_cards(SUBJECT, USUAL, [ENGLISH])); "
        "print(hashlib.sha256(pdf).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=ROOT,
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert digests == {
        hashlib.sha256(pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH]))).hexdigest() + "\n"
    }


@pytest.mark.parametrize("page", [Page.LETTER, Page.A4])
@every_format
def test_pages_are_of_the_size_asked_for_and_ask_to_be_printed_at_full_size(page, card_format):
    pdf = pdf_of(pocket_cards(SUBJECT, USUAL, [ENGLISH], page=page, card_format=card_format))
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}
    assert b"/PrintScaling /None" in pdf


def test_the_file_has_title_author_language_and_tells_all_stages():
    pdf = pdf_of(pocket_cards(SUBJECT, USUAL, [METRIC_ENGLISH]))
    document = pypdfium2.PdfDocument(pdf)
    assert document.get_metadata_value("Title") == "Pocket card: Gala Home 3"
    assert document.get_metadata_value("Author") == "Alder Flat"
    assert b"/Lang (en)" in pdf
    assert all(any(said for _, said, _ in page) for page in tags(pdf))
    assert b"/Lang (es)" in pdf_of(pocket_cards(SUBJECT, USUAL, [PSEUDO]))


@pytest.mark.parametrize(
    ("page", "card_format", "count"),
    [
        (Page.LETTER, CardFormat.ID_1, 6),
        (Page.A4, CardFormat.ID_1, 8),
        (Page.LETTER, CardFormat.A7, 4),
        (Page.A4, CardFormat.A7, 4),
        (Page.LETTER, CardFormat.THREE_BY_FIVE, 4),
        (Page.A4, CardFormat.THREE_BY_FIVE, 4),
    ],
)
def test_a_sheet_is_filled_unless_copies_are_asked_for(page, card_format, count):
    assert sheet_of_cards(page, card_format).count == count
    printed = pocket_cards(SUBJECT, USUAL, [ENGLISH], page=page, card_format=card_format)
    fronts, backs = page_texts(printed)
    # The name stands on each card and once beside the scale check.
    assert fronts.count("Gala Home 3") == count + 1
    assert backs.count("Local rules") == count
    one = pocket_cards(SUBJECT, USUAL, [ENGLISH], page=page, card_format=card_format, copies=1)
    assert page_texts(one)[0].count("Gala Home 3") == 1 + 1


def test_many_copies_go_on_many_sheets_fronts_and_backs_in_turn():
    texts = page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH], copies=10))
    assert ["Fronts" in text for text in texts] == [True, False] * 3
    assert ["Backs" in text for text in texts] == [False, True] * 3
    assert [text.count("First aid") for text in texts[1::2]] == [4, 4, 2]


def test_both_languages_share_a_sheet():
    spanish = spanish_words(Units.METRIC)
    fronts, backs = page_texts(pocket_cards(SUBJECT, USUAL, [ENGLISH, spanish]))
    assert fronts.count("2 limbs") == 2
    assert fronts.count("2 ramas") == 2
    assert backs.count("DANGER") == 2
    assert backs.count("PELIGRO") == 2


# --- what is refused


def test_no_language_is_refused():
    with pytest.raises(InvalidInput, match="language"):
        pocket_cards(SUBJECT, USUAL, [])


@pytest.mark.parametrize("copies", [0, -1, MOST_COPIES + 1])
def test_an_impossible_number_of_copies_is_refused(copies):
    with pytest.raises(InvalidInput, match="between 1 and"):
        pocket_cards(SUBJECT, USUAL, [ENGLISH], copies=copies)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"style": CardStyle.ONE_STAGE}, "stage"),
        ({"style": CardStyle.LARGE_PRINT, "card_format": CardFormat.ID_1}, "style"),
    ],
)
def test_what_no_card_can_be_is_refused_by_field(changes, field):
    with pytest.raises(InvalidInput) as caught:
        CardRequest(SUBJECT, USUAL, **changes)
    assert set(caught.value.problems) == {field}


def test_a_stage_that_the_standard_leaves_out_has_no_card():
    with pytest.raises(InvalidInput, match="Gala Home 3 does not use this stage: Heading"):
        CardRequest(
            SUBJECT,
            changed(heading__in_use=False),
            style=CardStyle.ONE_STAGE,
            stage=Stage.HEADING,
        )


@every_kind
def test_a_blocks_name_longer_than_the_card_is_refused_with_the_name(kind):
    endless = StandardSubject("Alder Flat", "Gala " * 40, 1, date(2025, 12, 1))
    with pytest.raises(InvalidInput, match="too long for a card") as caught:
        english(kind, endless)
    assert set(caught.value.problems) == {"block"}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[0] is not CardFormat.ID_1])
def test_help_that_the_card_has_no_room_for_is_refused_not_dropped(kind):
    wordy = replace(SUBJECT, emergency_location="Gate 3, " * 60)
    with pytest.raises(InvalidInput) as caught:
        english(kind, wordy)
    assert set(caught.value.problems) == {"emergency_location"}


def test_a_language_too_long_for_the_card_is_refused():
    endless = Words("en", "en_US", Units.METRIC, lambda text: f"{text} " * 9, ENGLISH.ngettext)
    for kind in KINDS:
        with pytest.raises(InvalidInput):
            card_faces(requested(kind=kind), endless)


def test_letters_that_the_font_lacks_are_refused_by_field():
    with pytest.raises(InvalidInput) as caught:
        StandardSubject("Alder Flat", "\u6797\u6a8e 3", 1, date(2025, 12, 1), first_aider="Ana")
    assert set(caught.value.problems) == {"block"}
    assert "\u6797\u6a8e" in str(caught.value)


def test_no_cut_is_said_where_heading_is_off():
    off = changed(BearingHabit.STANDARD)
    assert off.heading.rule is HeadingRule.OFF
    assert "No cut" in said(english(all_stages(CardFormat.A7), standard=off).front)
