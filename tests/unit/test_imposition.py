"""Sheets of cards, gauges, posters and the test page: what they say, and that it fits."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH, say
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, TurnedOver
from printables.document import Document, Piece, Role, to_pdf
from printables.drawing.primitives import Drawing, Rect
from printables.duplex_test import duplex_test
from printables.gauge_sheet import gauge_sheet
from printables.imposition import Correction, card_sheet, cut_marks, impose
from printables.poster import poster
from printables.sheet import PAGE_SIZES_MM, POSTER_PAGES, SHEET_PAGES, Page
from printables.subject import StandardSubject
from tests.paper import (
    assert_nothing_clipped,
    page_sizes_mm,
    page_texts,
    printed_lines,
    running_texts,
    tags,
)
from tests.reading import METRIC_ENGLISH, PSEUDO, assert_easy_to_read, spanish_words

SUBJECT = StandardSubject(
    "Alder Flat",
    "Gala Home 3",
    2,
    date(2025, 12, 1),
    low_bloom=True,
    emergency_location="Gate 4 on Alder Road",
    first_aider="Rosa Ibarra",
)
LONG_NAMES = replace(
    SUBJECT,
    block="Honeycrisp on Geneva 41, upper bench behind the cold store",
    farm="Orchards of the Brothers and Sisters Ibarra-Castañeda",
)
EVERY_STANDARD = {
    "usual": preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0),
    "spur": preset(BearingHabit.SPUR, 11 * 304.8, top_wire_mm=3048.0),
    "tip": preset(BearingHabit.TIP, 11 * 304.8, top_wire_mm=None),
}
ADDRESS = "https://audit.farm.example/blocks/3"
CARDS_MM = {"id_1": (85.60, 53.98), "a7": (74.0, 105.0), "three_by_five": (76.2, 127.0)}
both_edges = pytest.mark.parametrize("turned_over", list(TurnedOver))


def readers():
    return {"en": ENGLISH, "metric": METRIC_ENGLISH, "longer": PSEUDO}


def whole(leaf):
    """A leaf as one drawing, so that texts of different pieces can be seen to keep apart."""
    shapes = tuple(piece.drawing.at(piece.x_mm, piece.y_mm) for piece in leaf.pieces)
    return Drawing(*leaf.size_mm, shapes, "Leaf")


def cards(count):
    front, back = (
        Drawing(74.0, 105.0, tuple(Rect(n, n, 1.0, 1.0) for n in range(20)), name)
        for name in ("Front", "Back")
    )
    return [((Piece(front, 0.0, 0.0),), (Piece(back, 0.0, 0.0),))] * count


# --- sheets of cards


@pytest.mark.parametrize("frames", [True, False])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("card", CARDS_MM)
def test_a_sheet_holds_cards_marks_and_words_on_the_printed_part(card, page, frames):
    sheet = card_sheet(page, CARDS_MM[card], frames=frames)
    width, height = PAGE_SIZES_MM[page]
    for mark in cut_marks(sheet):
        for x, y in (mark.start, mark.end):
            assert 4.2 <= x <= width - 4.2
            assert 4.2 <= y <= height - 4.2
    for words in readers().values():
        title = say("Pocket card: %(block)s", block="Gala Home 3")
        for leaf in impose(sheet, [((), ())] * 3, title, words):
            furniture = whole(leaf)
            assert_nothing_clipped(furniture, margin_mm=4.2)
            for line in printed_lines(furniture):
                assert line.size_pt >= 8.99
                inside = (
                    sheet.left_mm < line.right
                    and line.left < width - sheet.left_mm
                    and sheet.top_mm < line.bottom
                    and line.top < sheet.bottom_mm
                )
                assert not inside, line


def test_cards_with_frames_of_their_own_leave_room_for_more():
    with_frames = card_sheet(Page.LETTER, CARDS_MM["three_by_five"])
    without = card_sheet(Page.LETTER, CARDS_MM["three_by_five"], frames=False)
    assert (with_frames.count, without.count) == (2, 4)


@both_edges
def test_fronts_and_backs_alternate_and_sheets_are_numbered(turned_over):
    sheet = card_sheet(Page.LETTER, CARDS_MM["a7"])
    seen = []
    leaves = impose(
        sheet,
        cards(9),
        say("Cards"),
        ENGLISH,
        turned_over=turned_over,
        progress=lambda done, count: seen.append((done, count)),
    )
    texts = page_texts(to_pdf(Document("Cards", "Alder Flat", "en", leaves)))
    assert ["Fronts" in text for text in texts] == [True, False] * 3
    assert [
        f"Sheet {number} of 3" in texts[place]
        for number in (1, 2, 3)
        for place in (2 * number - 2, 2 * number - 1)
    ] == [True] * 6
    edge = "long" if turned_over is TurnedOver.LONG_EDGE else "short"
    assert all(f"Turn the sheet over its {edge} edge." in text for text in texts)
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_a_correction_moves_backs_only():
    sheet = card_sheet(Page.LETTER, CARDS_MM["a7"])
    plain = impose(sheet, cards(2), say("Cards"), ENGLISH)
    moved = impose(sheet, cards(2), say("Cards"), ENGLISH, correction=Correction(1.0, -0.5))
    assert [piece.x_mm for piece in plain[0].pieces] == [piece.x_mm for piece in moved[0].pieces]
    for before, after in zip(plain[1].pieces, moved[1].pieces, strict=True):
        assert after.x_mm - before.x_mm == pytest.approx(1.0)
        assert after.y_mm - before.y_mm == pytest.approx(-0.5)


@pytest.mark.parametrize("wrong", [5.01, -6.0, float("nan"), float("inf")])
def test_a_correction_out_of_reach_is_refused_by_name(wrong):
    with pytest.raises(InvalidInput) as refused:
        Correction(right_mm=wrong)
    assert set(refused.value.problems) == {"back_right_mm"}
    with pytest.raises(InvalidInput) as refused:
        Correction(0.0, wrong)
    assert set(refused.value.problems) == {"back_down_mm"}
    assert "between -5 and 5 mm" in str(refused.value.problems["back_down_mm"])


# --- the test page


@both_edges
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("correction", [Correction(), Correction(-2.5, 5.0)])
def test_the_test_page_keeps_its_words_apart(turned_over, page, correction):
    for words in readers().values():
        document = duplex_test(
            "Alder Flat",
            "Office, ground floor",
            words,
            page=page,
            turned_over=turned_over,
            correction=correction,
        )
        assert page_sizes_mm(document) == {PAGE_SIZES_MM[page]}
        for leaf in document.leaves:
            assert_nothing_clipped(whole(leaf), margin_mm=5.0)
            assert all(line.size_pt >= 8.99 for line in printed_lines(whole(leaf)))


def test_the_test_page_says_what_to_enter():
    first, back = page_texts(duplex_test("Alder Flat", "Office", ENGLISH))
    assert "Example: to the right it reads 1.5, downwards -0.5. Enter 1.5 and -0.5." in first
    assert "Printer: Office." in first
    assert back.count("to the right") == back.count("downwards") == 2
    again, _ = page_texts(duplex_test("Alder Flat", "", ENGLISH, correction=Correction(1.5, -0.5)))
    assert "moved already: 1.5 to the right, -0.5 downwards." in again
    assert "add what you read" in again


def test_a_printer_that_cannot_be_printed_is_refused():
    with pytest.raises(InvalidInput):
        duplex_test("Alder Flat", "打印机", ENGLISH)


# --- gauge sheets


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("subject", [SUBJECT, LONG_NAMES], ids=["short", "long"])
def test_gauge_sheets_keep_their_words_apart(subject, page):
    for words in readers().values():
        document = gauge_sheet(
            subject,
            EVERY_STANDARD["usual"],
            words,
            page=page,
            batch=1234,
            printed_on=date(2026, 12, 28),
        )
        (leaf,) = document.leaves
        assert_nothing_clipped(whole(leaf), margin_mm=4.2)
        assert all(line.size_pt >= 8.99 for line in printed_lines(whole(leaf)))


def test_what_a_sheet_is_and_how_to_print_it_is_read_out_first():
    gauge = gauge_sheet(SUBJECT, EVERY_STANDARD["usual"], ENGLISH)
    sheet = card_sheet(Page.LETTER, (74.0, 105.0), frames=False)
    many = impose(sheet, cards(sheet.count + 1), say("Cards"), ENGLISH)
    deck = Document("Cards", "Alder Flat", "en", many)
    for document in (gauge, deck):
        first, *others = tags(document)
        assert first[0][0] == "H1"
        assert "H1" not in [kind for page in (first[1:], *others) for kind, _, _ in page]
    said = gauge.leaves[0].pieces[0].drawing
    assert "Print on one side" in " ".join(line.text for line in printed_lines(said))


def test_gauge_sheets_are_alike_and_counted():
    printed = gauge_sheet(SUBJECT, EVERY_STANDARD["usual"], ENGLISH, copies=3)
    assert len(set(page_texts(printed))) == 1
    assert len(printed.leaves) == 3
    for copies in (0, 101):
        with pytest.raises(InvalidInput) as refused:
            gauge_sheet(SUBJECT, EVERY_STANDARD["usual"], ENGLISH, copies=copies)
        assert set(refused.value.problems) == {"copies"}


# --- posters


@pytest.mark.parametrize("page", POSTER_PAGES)
@pytest.mark.parametrize("name", EVERY_STANDARD)
@pytest.mark.parametrize("subject", [SUBJECT, LONG_NAMES], ids=["short", "long"])
def test_posters_keep_their_words_apart(name, page, subject):
    for words in readers().values():
        document = poster(
            subject,
            EVERY_STANDARD[name],
            words,
            page=page,
            address=ADDRESS,
            printed_on=date(2026, 12, 28),
        )
        (leaf,) = document.leaves
        assert leaf.size_mm == PAGE_SIZES_MM[page]
        assert leaf.pieces[0].spoken_as is Role.TITLE
        for piece in leaf.pieces:
            if piece.spoken_as is not Role.FIGURE:
                assert_nothing_clipped(piece.drawing)
                lines = printed_lines(piece.drawing)
                assert all(line.size_pt >= 11.99 for line in lines)
            assert piece.x_mm >= 13.9
            assert piece.x_mm + piece.drawing.width_mm <= leaf.size_mm[0] - 13.9
            assert piece.y_mm + piece.drawing.height_mm <= leaf.size_mm[1] - 13.9
        boxes = [piece for piece in leaf.pieces if piece.spoken_as is not Role.FURNITURE]
        for place, one in enumerate(boxes):
            for other in boxes[place + 1 :]:
                assert apart(one, other), (one.drawing.title, other.drawing.title)


def test_no_word_of_a_figure_is_broken_however_large_a_poster_is_set():
    """A word set exactly as wide as its line was broken: "2 rama", "s"."""
    spanish = spanish_words()
    for spacing_ft in range(9, 15):
        standard = preset(BearingHabit.STANDARD, spacing_ft * 304.8, top_wire_mm=3048.0)
        for page in POSTER_PAGES:
            (leaf,) = poster(SUBJECT, standard, spanish, page=page, address=ADDRESS).leaves
            (figure,) = (
                piece.drawing
                for piece in leaf.pieces
                if piece.drawing.title.startswith("Ramas gruesas: ")
            )
            lines = [line.text for line in printed_lines(figure)]
            assert "2\N{NO-BREAK SPACE}ramas" in lines or "2 ramas" in lines, lines


def apart(one, other):
    slack = 0.01
    return (
        one.x_mm + one.drawing.width_mm <= other.x_mm + slack
        or other.x_mm + other.drawing.width_mm <= one.x_mm + slack
        or one.y_mm + one.drawing.height_mm <= other.y_mm + slack
        or other.y_mm + other.drawing.height_mm <= one.y_mm + slack
    )


def test_a_poster_says_the_standard_and_defers_to_local_rules():
    (text,) = page_texts(
        poster(SUBJECT, EVERY_STANDARD["usual"], ENGLISH, printed_on=date(2026, 1, 5))
    )
    assert "Gala Home 3" in text
    assert "Standard 2, from Dec 1, 2025" in text
    assert "Local rules come first." in text
    assert "First aid: Rosa Ibarra." in text
    assert "Printed on Jan 5, 2026" in text
    assert "Scan" not in text


def test_a_poster_on_small_paper_is_refused():
    for page in SHEET_PAGES:
        with pytest.raises(InvalidInput) as refused:
            poster(SUBJECT, EVERY_STANDARD["usual"], ENGLISH, page=page)
        assert set(refused.value.problems) == {"page"}


def test_a_standard_without_stages_still_makes_a_poster():
    payload = EVERY_STANDARD["usual"].model_dump()
    payload["columns"]["in_use"] = False
    (leaf,) = poster(SUBJECT, read_standard(payload), ENGLISH).leaves
    assert len([piece for piece in leaf.pieces if piece.spoken_as is Role.FIGURE]) >= 3


# --- easy to read


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_is_printed_around_cards_gauges_and_on_posters_is_easy_to_read(language):
    words = ENGLISH if language == "en" else spanish_words()
    for document in (
        duplex_test("Alder Flat", "Office", words),
        duplex_test("Alder Flat", "Office", words, correction=Correction(1.5, -0.5)),
        gauge_sheet(SUBJECT, EVERY_STANDARD["usual"], words, batch=12),
        *(poster(SUBJECT, each, words, address=ADDRESS) for each in EVERY_STANDARD.values()),
    ):
        assert_easy_to_read(running_texts(document), language)


def test_hard_words_would_be_noticed():
    hard = "Subsequent to the establishment of bilateral registration, initiate production."
    with pytest.raises(AssertionError):
        assert_easy_to_read([hard], "en")


# --- in Spanish


def test_everything_fits_in_spanish():
    words = spanish_words()
    usual = EVERY_STANDARD["usual"]
    for page in SHEET_PAGES:
        for document in (
            duplex_test("Alder Flat", "Oficina", words, page=page),
            duplex_test("Alder Flat", "Oficina", words, page=page, correction=Correction(1, -1)),
            gauge_sheet(LONG_NAMES, usual, words, page=page, batch=12, printed_on=date(2026, 1, 5)),
        ):
            for leaf in document.leaves:
                assert_nothing_clipped(whole(leaf), margin_mm=4.2)
    for page in POSTER_PAGES:
        poster(LONG_NAMES, usual, words, page=page, address=ADDRESS)
