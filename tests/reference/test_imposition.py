"""
A deck printed on both sides, held against the light: rendered, turned over an edge, and measured.

Sources: ISO 216, A4 210 x 297 mm and A3 297 x 420 mm; Letter 8 1/2 x 11 in and tabloid 11 x 17 in
(ANSI/ASME Y14.1, sizes A and B), the inch 25.4 mm exactly; ISO/IEC 7810, ID-1 85.60 x 53.98 mm.
That a sheet turned over its long edge swaps left and right, and over its short edge top and bottom,
is geometry. The bar of 0.1 mm is this project's own; edges are found between pixels.
"""

from math import ceil

import numpy as np
import pypdfium2
import pytest

from audits.messages import ENGLISH, say
from audits.vocabulary import TurnedOver
from printables.document import Document, Leaf, Piece, to_pdf
from printables.drawing.inks import Ink
from printables.drawing.primitives import Anchor, Drawing, Rect, Text
from printables.duplex_test import STEP_MM, duplex_test, scales
from printables.imposition import NO_CORRECTION, Correction, card_sheet, impose
from printables.sheet import PAGE_SIZES_MM, POSTER_PAGES, SHEET_PAGES, Page

ID_1_MM = (85.60, 53.98)
LETTER_MM = (215.9, 279.4)
TOLERANCE_MM = 0.1
DPI = 200
MM_PER_PIXEL = 25.4 / DPI
WORKERS = [f"W{number:03d}" for number in range(1, 21)]
BOTH_EDGES = pytest.mark.parametrize("turned_over", list(TurnedOver))


def test_papers_are_those_of_the_standards():
    assert PAGE_SIZES_MM[Page.A4] == (210.0, 297.0)
    assert PAGE_SIZES_MM[Page.A3] == (297.0, 420.0)
    assert PAGE_SIZES_MM[Page.LETTER] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert PAGE_SIZES_MM[Page.TABLOID] == pytest.approx((11 * 25.4, 17 * 25.4))
    # ISO 216: two sheets of a size make one of the next; so do Letter and tabloid.
    for small, large in zip(SHEET_PAGES, POSTER_PAGES, strict=True):
        (width, height), (doubled, same) = PAGE_SIZES_MM[small], PAGE_SIZES_MM[large]
        assert (doubled, same) == pytest.approx((height, 2 * width))


# --- a deck for 20 workers


def side(worker, name):
    """A side of a card: a line around its edge, and whose it is."""
    width, height = ID_1_MM
    half = 0.1
    edge = Rect(half, half, width - 2 * half, height - 2 * half, Ink.FINE_LINE)
    letters = (
        Text(width / 2, 12.0, worker, 4.0, anchor=Anchor.MIDDLE),
        Text(width / 2, 20.0, name, 4.0, anchor=Anchor.MIDDLE),
    )
    return [Piece(Drawing(width, height, shapes, name), 0.0, 0.0) for shapes in ((edge,), letters)]


def deck(turned_over, correction=NO_CORRECTION, page=Page.LETTER):
    sheet = card_sheet(page, ID_1_MM)
    cards = [(side(worker, "front"), side(worker, "back")) for worker in WORKERS]
    return sheet, impose(
        sheet, cards, say("Cards"), ENGLISH, turned_over=turned_over, correction=correction
    )


def pages_of(leaves):
    return pypdfium2.PdfDocument(to_pdf(Document("Cards", "Alder Flat", "en", leaves)))


def darkness(page):
    image = page.render(scale=DPI / 72, grayscale=True).to_pil().convert("L")
    return 1.0 - np.asarray(image, dtype=float) / 255.0


def middles(line, threshold=0.25):
    """Where a scan line crosses marks, in mm, found between pixel centres."""
    before, after = line[:-1] - threshold, line[1:] - threshold
    (found,) = np.nonzero(before * after < 0)
    places = found + 0.5 + before[found] / (before[found] - after[found])
    assert len(places) % 2 == 0
    return (places[::2] + places[1::2]) / 2 * MM_PER_PIXEL


def marks(pixels, sheet):
    """
    The marks that a sheet is cut by, and the edges of its cards, across and down.

    Cut marks above and left of the cards, and the lines around the first row and column of cards.
    """
    per_mm = 1 / MM_PER_PIXEL
    top, left = sheet.top_mm, sheet.left_mm
    right = left + sheet.columns * sheet.card_mm[0]

    def across(y_mm):
        return middles(pixels[round(y_mm * per_mm)])

    def down(x_mm):
        last = round((sheet.bottom_mm + 1.0) * per_mm)
        return middles(pixels[:last, round(x_mm * per_mm)])

    return {
        "cut marks across": across(top - 1.8),
        "cut marks down": down(left - 1.8),
        "cut marks down, right": down(right + 1.8),
        "edges across": across(top + 5.0)[-2 * sheet.columns :],
        "edges down": down(left + 5.0),
    }


def seen_through(page, sheet, turned_over, printer):
    """
    The marks of a back as seen from the front of the sheet.

    The printer lays the back down with a fault: so far right and down, as one looks at the back.
    """
    pixels = darkness(page)
    if turned_over is TurnedOver.SHORT_EDGE:
        # The words of this page stand on their heads: turned by half they read as the others do.
        pixels = np.rot90(pixels, 2)
    # What the printer does is undone by looking in another place.
    right, down = (round(length / MM_PER_PIXEL) for length in printer)
    assert (right * MM_PER_PIXEL, down * MM_PER_PIXEL) == pytest.approx(printer, abs=1e-9)
    return marks(np.fliplr(np.roll(pixels, (down, right), axis=(0, 1))), sheet)


def misalignment_mm(sheet, leaves, turned_over, printer=(0.0, 0.0)):
    """Return the largest distance of a mark on a back from that on its front, over all sheets."""
    pages = pages_of(leaves)
    assert len(pages) == 2 * ceil(len(WORKERS) / sheet.count)
    worst = 0.0
    for number in range(0, len(pages), 2):
        fronts = marks(darkness(pages[number]), sheet)
        backs = seen_through(pages[number + 1], sheet, turned_over, printer)
        for name, places in fronts.items():
            assert len(backs[name]) == len(places), name
            worst = max(worst, float(np.abs(backs[name] - places).max()))
    return worst


# A whole number of pixels, so that the printer's fault can be played by moving the picture.
RIGHT_MM, DOWN_MM = 4 * MM_PER_PIXEL, -3 * MM_PER_PIXEL


@BOTH_EDGES
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_fronts_and_backs_of_a_deck_meet(turned_over, page):
    sheet, leaves = deck(turned_over, page=page)
    assert misalignment_mm(sheet, leaves, turned_over) <= TOLERANCE_MM


@BOTH_EDGES
def test_a_printers_fault_is_made_good_by_its_correction(turned_over):
    sheet, leaves = deck(turned_over, Correction(RIGHT_MM, DOWN_MM))
    fault = (-RIGHT_MM, -DOWN_MM)
    assert misalignment_mm(sheet, leaves, turned_over, fault) <= TOLERANCE_MM


@BOTH_EDGES
def test_the_measure_sees_a_fault_that_is_not_made_good(turned_over):
    """Planted: the correction is left out, or has the wrong sign."""
    fault = (-RIGHT_MM, -DOWN_MM)
    sheet, leaves = deck(turned_over)
    assert misalignment_mm(sheet, leaves, turned_over, fault) == pytest.approx(RIGHT_MM, abs=0.02)
    sheet, leaves = deck(turned_over, Correction(-RIGHT_MM, -DOWN_MM))
    assert misalignment_mm(sheet, leaves, turned_over, fault) > 2 * RIGHT_MM - 0.02


def test_the_measure_sees_a_sheet_turned_over_the_other_edge():
    """Planted: printed for one edge, turned over the other."""
    sheet, leaves = deck(TurnedOver.LONG_EDGE)
    pages = pages_of(leaves)
    fronts = marks(darkness(pages[0]), sheet)
    backs = marks(np.flipud(darkness(pages[1])), sheet)
    assert [len(places) for places in fronts.values()] != [len(p) for p in backs.values()] or any(
        np.abs(backs[name] - places).max() > 1.0 for name, places in fronts.items()
    )


@BOTH_EDGES
def test_each_back_lies_behind_the_front_of_the_same_worker(turned_over):
    _, leaves = deck(turned_over)
    pages = pages_of(leaves)
    seen = []
    for number in range(0, len(pages), 2):
        fronts, backs = (words_of(pages[number + place]) for place in (0, 1))
        assert fronts.keys() == backs.keys()
        for worker, (x, y) in fronts.items():
            across, down = backs[worker]
            # As the sheet lies when it is turned over.
            if turned_over is TurnedOver.LONG_EDGE:
                across = LETTER_MM[0] - across
            else:
                down = LETTER_MM[1] - down
            assert (across, down) == pytest.approx((x, y), abs=1.0)
            seen.append(worker)
    assert seen == WORKERS


def words_of(page):
    """The middle of each worker's code on a page, across and down in mm."""
    text = page.get_textpage()
    letters = text.get_text_range()
    found = {}
    for worker in WORKERS:
        start = letters.find(worker)
        if start >= 0:
            boxes = [text.get_charbox(start + place) for place in range(len(worker))]
            lefts, bottoms, rights, tops = zip(*boxes, strict=True)
            across = (min(lefts) + max(rights)) / 2 * 25.4 / 72
            up = (min(bottoms) + max(tops)) / 2 * 25.4 / 72
            found[worker] = (across, LETTER_MM[1] - up)
    return found


# --- the test page


def read_off(document, turned_over, printer):
    """Read the four scales of a printed test page as a person does who holds it to the light."""
    front_page, back_page = (page for page in pypdfium2.PdfDocument(to_pdf(document)))
    front = np.fliplr(darkness(front_page))
    back = darkness(back_page)
    if turned_over is TurnedOver.SHORT_EDGE:
        back = np.rot90(back, 2)
    moved = [round(length / MM_PER_PIXEL) for length in reversed(printer)]
    back = np.roll(back, moved, axis=(0, 1))
    per_mm = 1 / MM_PER_PIXEL
    figures = {False: [], True: []}
    for scale in scales(document.leaves[0].size_mm):
        x, y = scale.zero
        # Lines of the front begin where those of the back end.
        if scale.upright:
            lines = front[:, round((x + 3.5) * per_mm)]
            ticks = back[:, round((x + printer[0] - 2.5) * per_mm)]
            middle = y
        else:
            lines = front[round((y + 3.5) * per_mm)]
            ticks = back[round((y + printer[1] - 2.5) * per_mm)]
            middle = x
        near = [
            places[np.abs(places - middle) < 78.0] for places in (middles(lines), middles(ticks))
        ]
        assert [len(places) for places in near] == [21, 21]
        place = int(np.abs(near[0] - near[1]).argmin())
        figures[scale.upright].append((place - 10) * STEP_MM)
    return figures[False], figures[True]


@BOTH_EDGES
@pytest.mark.parametrize("fault", [(0.0, 0.0), (-1.5, 0.5), (2.0, -3.0)])
def test_the_test_page_reads_what_makes_a_fault_good(turned_over, fault):
    nearest = tuple(round(length / MM_PER_PIXEL) * MM_PER_PIXEL for length in fault)
    page = duplex_test("Alder Flat", "Office", ENGLISH, turned_over=turned_over)
    right, down = read_off(page, turned_over, nearest)
    assert right == [-fault[0]] * 2
    assert down == [-fault[1]] * 2


@BOTH_EDGES
def test_the_test_page_reads_nothing_once_the_correction_is_right(turned_over):
    nearest = tuple(round(length / MM_PER_PIXEL) * MM_PER_PIXEL for length in (-1.5, 0.5))
    page = duplex_test(
        "Alder Flat", "Office", ENGLISH, turned_over=turned_over, correction=Correction(1.5, -0.5)
    )
    assert read_off(page, turned_over, nearest) == ([0.0, 0.0], [0.0, 0.0])


def test_leaves_for_the_short_edge_are_those_for_the_long_edge_turned():
    for long_edge, short_edge in zip(
        deck(TurnedOver.LONG_EDGE)[1], deck(TurnedOver.SHORT_EDGE)[1], strict=True
    ):
        assert isinstance(long_edge, Leaf)
        assert [piece.x_mm for piece in long_edge.pieces] == [p.x_mm for p in short_edge.pieces]
        assert not long_edge.turned
    assert [leaf.turned for leaf in deck(TurnedOver.SHORT_EDGE)[1]] == [False, True] * 4
