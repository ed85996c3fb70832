"""
Cards as they come out of the printer, against ISO/IEC 7810 and ISO 216.

Sources: ISO/IEC 7810, ID-1: 85.60 x 53.98 mm; ISO 216, A7: 74 x 105 mm, A4: 210 x 297 mm (figures
as quoted in public descriptions of the standards). Letter: 8 1/2 x 11 in and index cards 3 x 5 in,
the inch 25.4 mm exactly.

Lengths are measured in a rendering of the finished sheet at 600 dpi, from cut mark to cut mark and
between the facing edges of a gauge; a pixel is 0.042 mm, edges are found between pixels. The bar
of 0.05 mm for gauges is this project's own; cut marks are lines of 0.2 mm, so that their middles
are as good.
"""

from datetime import date

import numpy as np
import pypdfium2
import pytest

from audits.messages import ENGLISH, say
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, TurnedOver
from printables.cards import (
    CARD_SIZES_MM,
    CardFormat,
    CardRequest,
    card_faces,
    placed,
    pocket_cards,
    sheet_of_cards,
)
from printables.document import Document, Leaf, Piece, to_pdf
from printables.drawing.gauge import ZERO_MM
from printables.drawing.primitives import Drawing
from printables.imposition import Correction, impose
from printables.sheet import PAGE_SIZES_MM, Page
from printables.subject import StandardSubject

DPI = 600
MM_PER_PIXEL = 25.4 / DPI
TOLERANCE_MM = 0.05
SUBJECT = StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1))


def standard():
    payload = preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0).model_dump()
    payload["limbs"]["large_mm"] = 19.05
    return read_standard(payload)


def test_sizes_are_those_of_the_standards():
    assert CARD_SIZES_MM[CardFormat.ID_1] == (85.60, 53.98)
    assert CARD_SIZES_MM[CardFormat.A7] == (74.0, 105.0)
    assert CARD_SIZES_MM[CardFormat.THREE_BY_FIVE] == pytest.approx((3 * 25.4, 5 * 25.4))
    assert PAGE_SIZES_MM[Page.A4] == (210.0, 297.0)
    assert PAGE_SIZES_MM[Page.LETTER] == pytest.approx((8.5 * 25.4, 11 * 25.4))


@pytest.fixture(scope="module", params=list(CardFormat))
def printed(request):
    """Fronts and backs of a sheet as darkness from 0 (paper) to 1 (ink), with its layout."""
    sheet = sheet_of_cards(Page.LETTER, request.param)
    document = pocket_cards(SUBJECT, standard(), [ENGLISH], card_format=request.param)
    return request.param, sheet, darkness(document)


def darkness(document):
    return [
        1.0
        - np.asarray(page.render(scale=DPI / 72, grayscale=True).to_pil().convert("L"), dtype=float)
        / 255.0
        for page in pypdfium2.PdfDocument(to_pdf(document))
    ]


def edges(darkness, first_mm, threshold=0.5):
    """Where a scan line passes the threshold, in mm, found between pixel centres."""
    before, after = darkness[:-1] - threshold, darkness[1:] - threshold
    (crossings,) = np.nonzero(before * after < 0)
    places = crossings + 0.5 + before[crossings] / (before[crossings] - after[crossings])
    return places * MM_PER_PIXEL + first_mm


def across(pixels, y_mm, from_mm, to_mm, threshold=0.5):
    first, last = (round(x / MM_PER_PIXEL) for x in (from_mm, to_mm))
    line = pixels[round(y_mm / MM_PER_PIXEL), first:last]
    return edges(line, first * MM_PER_PIXEL, threshold)


def down(pixels, x_mm, from_mm, to_mm, threshold=0.5):
    first, last = (round(y / MM_PER_PIXEL) for y in (from_mm, to_mm))
    line = pixels[first:last, round(x_mm / MM_PER_PIXEL)]
    return edges(line, first * MM_PER_PIXEL, threshold)


def middles(found):
    return [(begin + end) / 2 for begin, end in zip(found[::2], found[1::2], strict=True)]


SIZES_MM = {
    CardFormat.ID_1: (85.60, 53.98),
    CardFormat.A7: (74.0, 105.0),
    CardFormat.THREE_BY_FIVE: (76.2, 127.0),
}


def test_cut_marks_are_a_card_apart_on_both_sides(printed):
    card_format, sheet, pages = printed
    width, height = SIZES_MM[card_format]
    for pixels in pages:
        # Grey marks of 0.2 mm: a third of full darkness tells them from paper.
        beside = middles(down(pixels, sheet.left_mm - 2.0, 0.0, sheet.bottom_mm + 1.0, 0.3))
        below = middles(across(pixels, sheet.bottom_mm + 2.0, 0.0, 215.9, 0.3))
        assert np.diff(beside) == pytest.approx([height] * sheet.rows, abs=TOLERANCE_MM)
        assert np.diff(below) == pytest.approx([width] * sheet.columns, abs=TOLERANCE_MM)


def test_cut_marks_of_both_sides_meet_when_the_sheet_is_turned(printed):
    _, sheet, (front, back) = printed
    y_mm = sheet.bottom_mm + 2.0
    fronts = middles(across(front, y_mm, 0.0, 215.9, 0.3))
    backs = middles(across(back, y_mm, 0.0, 215.9, 0.3))
    assert [215.9 - x for x in reversed(backs)] == pytest.approx(fronts, abs=TOLERANCE_MM)


def test_gauges_on_every_card_are_true(printed):
    _, sheet, (_, back) = printed
    for place in range(sheet.count):
        left, top = sheet.back(place)
        found = across(back, top + 3.0, left, left + 50.0, threshold=0.35)
        # Stop, two marks of the band, stop: two edges each; then the block begins.
        assert len(found) >= 9
        stop = found[1]
        assert stop == pytest.approx(left + 1.0 + ZERO_MM, abs=TOLERANCE_MM)
        assert found[2] - stop == pytest.approx(6.0, abs=TOLERANCE_MM)
        assert found[4] - stop == pytest.approx(9.0, abs=TOLERANCE_MM)
        assert found[8] - found[7] == pytest.approx(0.75 * 25.4, abs=TOLERANCE_MM)


@pytest.mark.parametrize("turned_over", list(TurnedOver))
@pytest.mark.parametrize("card_format", list(CardFormat))
def test_a_correction_moves_gauges_and_leaves_their_lengths_alone(card_format, turned_over):
    sheet = sheet_of_cards(Page.LETTER, card_format)
    card = card_faces(CardRequest(SUBJECT, standard(), card_format), ENGLISH)
    right, down = 1.5, -0.5
    leaves = impose(
        sheet,
        [placed(card)] * sheet.count,
        say("Cards"),
        ENGLISH,
        turned_over=turned_over,
        correction=Correction(right, down),
    )
    (back,) = darkness(Document("Cards", "", "en", leaves[1:]))
    if turned_over is TurnedOver.SHORT_EDGE:
        back = np.rot90(back, 2)
    for place in range(sheet.count):
        left, top = sheet.back(place)
        left, top = left + right, top + down
        found = across(back, top + 3.0, left, left + 50.0, threshold=0.35)
        assert found[1] == pytest.approx(left + 1.0 + ZERO_MM, abs=TOLERANCE_MM)
        assert found[2] - found[1] == pytest.approx(6.0, abs=TOLERANCE_MM)
        assert found[4] - found[1] == pytest.approx(9.0, abs=TOLERANCE_MM)
        assert found[8] - found[7] == pytest.approx(0.75 * 25.4, abs=TOLERANCE_MM)


def test_gauges_reach_the_edge_of_the_card(printed):
    """A gauge that stops short of the edge would be read from a place that no wood touches."""
    _, sheet, (_, back) = printed
    for place in range(sheet.count):
        left, top = sheet.back(place)
        begins = down(back, left + ZERO_MM - 0.5, top - 0.6, top + 6.0)[0]
        assert begins == pytest.approx(top, abs=TOLERANCE_MM)


def longest_between(lines):
    """Of scan lines with one dark stretch each, the length of the longest stretch."""
    return max((line[-1] - line[0] for line in lines if len(line) == 2), default=0.0)


def test_the_bar_of_every_card_is_true(printed):
    """It lies on the smallest card and stands beside the frames on the others."""
    card_format, sheet, (_, back) = printed
    for place in range(sheet.count):
        left, top = sheet.back(place)
        if card_format is CardFormat.ID_1:
            lines = [
                across(back, top + y_mm, left + 1.0, left + 56.0)
                for y_mm in np.arange(14.0, 24.0, 0.1)
            ]
        else:
            lines = [
                down(back, left + x_mm, top + 17.0, top + 72.5) for x_mm in np.arange(5, 12, 0.1)
            ]
        assert longest_between(lines) == pytest.approx(50.0, abs=TOLERANCE_MM)


# A bank card would hide a card of its own size; larger ones have the frames on their backs.
OWN_FRAMES = [card_format for card_format in CardFormat if card_format is not CardFormat.ID_1]


@pytest.mark.parametrize("printed", OWN_FRAMES, indirect=True)
def test_the_frames_on_a_card_hold_a_bank_card_both_ways(printed):
    card_format, sheet, (_, back) = printed
    width = SIZES_MM[card_format][0]
    for place in range(sheet.count):
        left, top = sheet.back(place)
        # Just inside their corners no words stand between the frames' sides.
        sides = across(back, top + 19.0, left + 13.5, left + width - 0.5)
        ends = down(back, left + width - 6.4, top + 14.9, top + 103.5)
        for found, (inner, outer) in ((sides, (53.58, 54.38)), (ends, (85.20, 86.00))):
            # Two lines on either side, two edges each.
            first, last = found[:4], found[-4:]
            assert last[-2] - first[1] == pytest.approx(outer, abs=TOLERANCE_MM)
            assert last[1] - first[2] == pytest.approx(inner, abs=TOLERANCE_MM)


def test_half_a_percent_too_small_would_be_noticed():
    card = card_faces(CardRequest(SUBJECT, standard()), ENGLISH)
    width, height = CARD_SIZES_MM[CardFormat.A7]
    for scale, is_true in ((1.0, True), (0.995, False)):
        back = Drawing(width, height, (card.back.at(0.0, 0.0, scale),), "back")
        (pixels,) = darkness(
            Document("card", "", "en", [Leaf((width, height), (Piece(back, 0, 0),))])
        )
        found = across(pixels, 19.0, 13.5, width - 0.5)
        assert bool(abs(found[-2] - found[1] - 54.38) <= TOLERANCE_MM) is is_true


@pytest.mark.parametrize("printed", [CardFormat.ID_1], indirect=True)
def test_the_frames_hold_a_bank_card_on_the_finished_sheet(printed):
    _, sheet, pages = printed
    for pixels in pages:
        found = across(pixels, sheet.check_top_mm + 12.0, 8.0, 103.5)
        assert len(found) == 8
        assert found[6] - found[1] == pytest.approx(86.00, abs=TOLERANCE_MM)
        assert found[5] - found[2] == pytest.approx(85.20, abs=TOLERANCE_MM)
