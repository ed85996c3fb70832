"""
Cards as they come out of the printer, against ISO/IEC 7810 and ISO 216.

Sources: ISO/IEC 7810, ID-1: 85.60 x 53.98 mm; ISO 216, A7: 74 x 105 mm, A4: 210 x 297 mm (figures
as quoted in public descriptions of the standards). Letter: 8 1/2 x 11 in, the inch 25.4 mm exactly.

Lengths are measured in a rendering of the finished sheet at 600 dpi, from cut mark to cut mark and
between the facing edges of a gauge; a pixel is 0.042 mm, edges are found between pixels. The bar
of 0.05 mm for gauges is this project's own; cut marks are lines of 0.2 mm, so that their middles
are as good.
"""

from datetime import date

import numpy as np
import pypdfium2
import pytest

from audits.messages import ENGLISH
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit
from printables.card import CARD_SIZES_MM, CardFormat, pocket_cards
from printables.drawing.gauge import ZERO_MM
from printables.imposition import card_sheet
from printables.sheet import PAGE_SIZES_MM, Page
from printables.subject import StandardSubject
from tests.paper import pdf_of

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
    assert PAGE_SIZES_MM[Page.A4] == (210.0, 297.0)
    assert PAGE_SIZES_MM[Page.LETTER] == pytest.approx((8.5 * 25.4, 11 * 25.4))


@pytest.fixture(scope="module", params=list(CardFormat))
def printed(request):
    """Fronts and backs of a sheet as darkness from 0 (paper) to 1 (ink), with its layout."""
    pdf = pdf_of(
        pocket_cards(SUBJECT, standard(), [ENGLISH], page=Page.LETTER, card_format=request.param)
    )
    pages = [
        1.0
        - np.asarray(page.render(scale=DPI / 72, grayscale=True).to_pil().convert("L"), dtype=float)
        / 255.0
        for page in pypdfium2.PdfDocument(pdf)
    ]
    return request.param, card_sheet(Page.LETTER, CARD_SIZES_MM[request.param]), pages


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


def test_cut_marks_are_a_card_apart_on_both_sides(printed):
    card_format, sheet, pages = printed
    width, height = {CardFormat.ID_1: (85.60, 53.98), CardFormat.A7: (74.0, 105.0)}[card_format]
    for pixels in pages:
        # Grey marks of 0.2 mm: a third of full darkness tells them from paper.
        beside = middles(down(pixels, sheet.left_mm - 2.0, 0.0, sheet.check_top_mm, 0.3))
        below = middles(across(pixels, sheet.check_top_mm - sheet.top_mm + 2.0, 0.0, 215.9, 0.3))
        assert np.diff(beside) == pytest.approx([height] * sheet.rows, abs=TOLERANCE_MM)
        assert np.diff(below) == pytest.approx([width] * sheet.columns, abs=TOLERANCE_MM)


def test_cut_marks_of_both_sides_meet_when_the_sheet_is_turned(printed):
    _, sheet, (front, back) = printed
    y_mm = sheet.check_top_mm - sheet.top_mm + 2.0
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


def test_gauges_reach_the_edge_of_the_card(printed):
    """A gauge that stops short of the edge would be read from a place that no wood touches."""
    _, sheet, (_, back) = printed
    for place in range(sheet.count):
        left, top = sheet.back(place)
        begins = down(back, left + ZERO_MM - 0.5, top - 0.6, top + 6.0)[0]
        assert begins == pytest.approx(top, abs=TOLERANCE_MM)


def test_the_bars_are_true(printed):
    _, sheet, (_, back) = printed
    left, top = sheet.back(0)
    found = [across(back, top + y_mm, left, left + 56.0) for y_mm in np.arange(14.0, 24.0, 0.1)]
    longest = max((line[-1] - line[0] for line in found if len(line) == 2), default=0.0)
    assert longest == pytest.approx(50.0, abs=TOLERANCE_MM)
    lower = [
        across(back, sheet.check_top_mm + y_mm, 104.0, 212.0) for y_mm in np.arange(40, 56, 0.1)
    ]
    longest = max((line[-1] - line[0] for line in lower if len(line) == 2), default=0.0)
    assert longest == pytest.approx(100.0, abs=TOLERANCE_MM)


def test_the_frames_hold_a_bank_card_on_the_finished_sheet(printed):
    _, sheet, pages = printed
    for pixels in pages:
        found = across(pixels, sheet.check_top_mm + 12.0, 0.0, 103.5)
        assert len(found) == 8
        assert found[6] - found[1] == pytest.approx(86.00, abs=TOLERANCE_MM)
        assert found[5] - found[2] == pytest.approx(85.20, abs=TOLERANCE_MM)
