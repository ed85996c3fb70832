"""
Printed lengths against their outside sources, measured in the PDF and in a 600 dpi rendering.

Sources: ISO/IEC 7810:2019, ID-1 card, 85.60 x 53.98 mm, corner radius 2.88 to 3.48 mm (figures as
quoted in public descriptions of the standard). 25.4 mm to the inch is exact (international yard
and pound agreement, 1959), so 3/4 in is 19.05 mm. United States Mint, coin specifications: cent
0.750 in (19.05 mm), nickel 0.835 in (21.21 mm), dime 0.705 in (17.91 mm), quarter 0.955 in
(24.26 mm). A pencil of about 7 mm is common knowledge.

All lengths are taken between facing edges of marks, or from end to end of a bar. The bar of
0.05 mm is this project's own; at 600 dpi a pixel is 0.042 mm, so edges are found between pixels.
"""

import re
import shutil
import subprocess
import zlib
from dataclasses import dataclass, replace
from datetime import date
from io import BytesIO

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from audits.messages import ENGLISH
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit
from printables.document import to_pdf
from printables.drawing.canvas import new_canvas
from printables.drawing.gauge import (
    DEPTH_MM,
    ID_1_CORNER_MM,
    ID_1_MM,
    INNER_FRAME_MM,
    OUTER_FRAME_MM,
    ZERO_MM,
    GaugeLabels,
    length_bar,
    limb_gauge,
    pencil_gauge,
    scale_check,
)
from printables.drawing.primitives import Rect, flattened
from printables.gauge_sheet import gauge_sheet, gauge_strip, strip_sheet
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES
from printables.subject import StandardSubject
from tests.paper import assert_nothing_clipped, draw_on, page_texts

LETTER_MM = (215.9, 279.4)
TOLERANCE_MM = 0.05
DPI = 600
LABELS = GaugeLabels("Gauge", "A gauge.", "3/4 in")

PENCIL = pencil_gauge(6.0, 9.0, LABELS)
LIMB = limb_gauge(19.05, LABELS)
FRAMES = scale_check("Scale check", "Lay a bank card here.")
BAR_50 = length_bar(50.0, "Bar", "50 mm")
BAR_100 = length_bar(100.0, "Bar", "100 mm")
BAR_50_UPRIGHT = length_bar(50.0, "Bar", "50 mm", upright=True)

# Where each lies on the sheet, off any round number of pixels.
PLACES = {
    "pencil": (PENCIL, 12.37, 20.11),
    "limb": (LIMB, 60.71, 20.11),
    "frames": (FRAMES, 12.93, 50.27),
    "bar 50": (BAR_50, 12.17, 120.53),
    "bar 100": (BAR_100, 12.59, 140.31),
    "bar 50 upright": (BAR_50_UPRIGHT, 130.77, 120.19),
}


@dataclass(frozen=True)
class Box:
    """A painted box in mm, across and down from the sheet's upper left corner."""

    left: float
    top: float
    right: float
    bottom: float
    kind: str
    line_mm: float


@pytest.fixture(scope="module")
def sheet():
    target = BytesIO()
    canvas = new_canvas(target, LETTER_MM, title="Gauges", author="Alder Flat", language="en")
    for drawing, x_mm, y_mm in PLACES.values():
        draw_on(canvas, drawing, x_mm, y_mm)
    canvas.save()
    return target.getvalue()


def objects_of(pdf):
    """Map each object's number to its head and its unpacked stream, object streams opened."""
    found = {}
    for match in re.finditer(rb"(\d+) 0 obj\s", pdf):
        head, stream, _ = pdf[match.end() :].partition(b"stream\n")
        if not stream or b"endobj" in head:
            found[int(match[1])] = (head.partition(b"endobj")[0], b"")
            continue
        length = int(re.search(rb"/Length (\d+)", head)[1])
        body = pdf[match.end() + len(head) + len(stream) :][:length]
        body = zlib.decompress(body) if b"/FlateDecode" in head else body
        found[int(match[1])] = (head, body)
        if b"/ObjStm" in head:
            found.update(unpacked(head, body))
    return found


def unpacked(head, body):
    """The objects of an object stream (ISO 32000-1, 7.5.7)."""
    first = int(re.search(rb"/First (\d+)", head)[1])
    index = [int(number) for number in body[:first].split()]
    offsets = [*index[1::2], len(body) - first]
    return {
        number: (body[first + offsets[place] : first + offsets[place + 1]], b"")
        for place, number in enumerate(index[::2])
    }


def painted_boxes(pdf):
    """Follow the first page's operators, forms included, and list every painted path's box."""
    found = objects_of(pdf)
    page = next(head for head, _ in found.values() if re.search(rb"/Type ?/Page\b", head))
    (contents,) = re.findall(rb"/Contents (\d+) 0 R", page)
    resources = re.search(rb"/Resources (\d+) 0 R", page)
    named = found[int(resources[1])][0] if resources else page
    forms = {
        name.decode(): found[int(number)][1].decode("latin-1")
        for name, number in re.findall(rb"/([\w.]+) (\d+) 0 R", named)
    }
    reader = Reader(forms)
    reader.follow(found[int(contents)][1].decode("latin-1"))
    return reader.boxes


class Reader:
    """Reads states, transforms, paths and forms; letters and colours are skipped."""

    def __init__(self, forms):
        self.forms = forms
        self.boxes = []
        self.matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
        self.line_width = 1.0
        self.points = []
        self.stack = []

    def follow(self, text):
        operands = []
        for token in re.findall(r"\((?:\\.|[^\\)])*\)|[^\s]+", text):
            act = getattr(self, f"on_{token.replace('*', '_star')}", None)
            if act is None:
                operands.append(token)
                continue
            act([float(o) if re.fullmatch(r"-?[\d.]+", o) else o for o in operands])
            operands = []

    def on_q(self, _):
        self.stack.append((self.matrix, self.line_width))

    def on_Q(self, _):  # noqa: N802  # the operator's own name
        self.matrix, self.line_width = self.stack.pop()

    def on_cm(self, operands):
        a, b, c, d, e, f = operands[-6:]
        g, h, i, j, k, m = self.matrix
        self.matrix = (
            a * g + b * i,
            a * h + b * j,
            c * g + d * i,
            c * h + d * j,
            e * g + f * i + k,
            e * h + f * j + m,
        )

    def on_w(self, operands):
        self.line_width = operands[-1]

    def on_m(self, operands):
        self.points.append(operands[-2:])

    on_l = on_m

    def on_c(self, operands):
        self.points += [operands[-6:-4], operands[-4:-2], operands[-2:]]

    def on_re(self, operands):
        x, y, width, height = operands[-4:]
        self.points += [[x, y], [x + width, y + height]]

    def on_n(self, _):
        self.points = []

    def on_f_star(self, _):
        self._paint("fill", 0.0)

    on_f = on_f_star
    on_B_star = on_f_star  # noqa: N815  # the operator's own name

    def on_S(self, _):  # noqa: N802  # the operator's own name
        self._paint("line", self.line_width * abs(self.matrix[0]) * 25.4 / 72)

    def on_Do(self, operands):  # noqa: N802  # the operator's own name
        self.on_q(operands)
        self.follow(self.forms[operands[-1].removeprefix("/")])
        self.on_Q(operands)

    def _paint(self, kind, line_mm):
        a, b, c, d, e, f = self.matrix
        xs = [(a * x + c * y + e) * 25.4 / 72 for x, y in self.points]
        ys = [LETTER_MM[1] - (b * x + d * y + f) * 25.4 / 72 for x, y in self.points]
        self.boxes.append(Box(min(xs), min(ys), max(xs), max(ys), kind, line_mm))
        self.points = []


@pytest.fixture(scope="module")
def boxes(sheet):
    return painted_boxes(sheet)


def within(boxes, name):
    drawing, x_mm, y_mm = PLACES[name]
    slack = 0.2
    return [
        box
        for box in boxes
        if x_mm - slack <= box.left
        and box.right <= x_mm + drawing.width_mm + slack
        and y_mm - slack <= box.top
        and box.bottom <= y_mm + drawing.height_mm + slack
    ]


# --- in the parsed file


def uprights(boxes, name):
    """The marks that reach the upper edge of a gauge, from left to right."""
    _, _, y_mm = PLACES[name]
    marks = [box for box in within(boxes, name) if abs(box.top - y_mm) < 0.01]
    return sorted(marks, key=lambda box: (box.left, box.right))


def test_the_pencil_band_is_true_in_the_file(boxes):
    _, x_mm, _ = PLACES["pencil"]
    stop, *marks = uprights(boxes, "pencil")
    assert stop.right == pytest.approx(x_mm + ZERO_MM, abs=0.001)
    distances = sorted({round(mark.left - stop.right, 3) for mark in marks})
    assert distances == pytest.approx([6.0, 9.0], abs=0.001)


def test_the_limb_limit_is_true_in_the_file(boxes):
    stop, block = uprights(boxes, "limb")
    assert block.left - stop.right == pytest.approx(0.75 * 25.4, abs=0.001)
    assert stop.bottom - stop.top == pytest.approx(DEPTH_MM, abs=0.001)


def test_the_frames_leave_room_for_an_id_1_card_in_the_file(boxes):
    inner, outer = sorted(
        (box for box in within(boxes, "frames") if box.kind == "line"),
        key=lambda box: box.right - box.left,
    )
    # A line covers half its width on either side of its path.
    clear_inner = (
        inner.right - inner.left + inner.line_mm,
        inner.bottom - inner.top + inner.line_mm,
    )
    clear_outer = (
        outer.right - outer.left - outer.line_mm,
        outer.bottom - outer.top - outer.line_mm,
    )
    assert clear_inner == pytest.approx((85.20, 53.58), abs=0.001)
    assert clear_outer == pytest.approx((86.00, 54.38), abs=0.001)
    assert (inner.left + inner.right) / 2 == pytest.approx((outer.left + outer.right) / 2, abs=1e-3)
    assert (inner.top + inner.bottom) / 2 == pytest.approx((outer.top + outer.bottom) / 2, abs=1e-3)


@pytest.mark.parametrize(("name", "length_mm"), [("bar 50", 50.0), ("bar 100", 100.0)])
def test_the_lying_bars_are_true_in_the_file(boxes, name, length_mm):
    bars = within(boxes, name)
    whole = max(box.right for box in bars) - min(box.left for box in bars)
    assert whole == pytest.approx(length_mm, abs=0.001)


def test_the_upright_bar_is_true_in_the_file(boxes):
    bars = within(boxes, "bar 50 upright")
    whole = max(box.bottom for box in bars) - min(box.top for box in bars)
    assert whole == pytest.approx(50.0, abs=0.001)


def test_the_frames_lie_on_both_sides_of_the_id_1_card():
    for inner, card, outer in zip(INNER_FRAME_MM, (85.60, 53.98), OUTER_FRAME_MM, strict=True):
        assert card - inner == pytest.approx(0.40)
        assert outer - card == pytest.approx(0.40)
    assert ID_1_MM == (85.60, 53.98)
    assert 2.88 <= ID_1_CORNER_MM <= 3.48


def test_a_print_one_percent_off_is_seen_on_the_frames():
    # 1 % of 85.60 mm is 0.86 mm: the card then crosses a line; at 0.4 % it crosses none.
    for scale, passes in ((0.99, False), (0.996, True), (1.0, True), (1.004, True), (1.01, False)):
        hides_inner = scale * INNER_FRAME_MM[0] <= ID_1_MM[0]
        leaves_outer = scale * OUTER_FRAME_MM[0] >= ID_1_MM[0]
        assert (hides_inner and leaves_outer) == passes


# Diameters of coins in circulation, in mm and as the same table has them in inches.
COINS = {
    "cent": (19.05, 0.750),
    "nickel": (21.21, 0.835),
    "dime": (17.91, 0.705),
    "quarter": (24.26, 0.955),
}


@pytest.mark.parametrize(("coin_mm", "inches"), COINS.values(), ids=COINS)
def test_a_coin_just_reaches_the_limb_limit_of_its_own_diameter(coin_mm, inches):
    """A second check without a bank card: a coin at the stop touches the block's edge."""
    assert coin_mm == pytest.approx(inches * 25.4, abs=0.005)
    target = BytesIO()
    canvas = new_canvas(target, LETTER_MM, title="Gauges", author="Alder Flat", language="en")
    draw_on(canvas, limb_gauge(inches * 25.4, LABELS), 60.71, 20.11)
    canvas.save()
    marks = [box for box in painted_boxes(target.getvalue()) if abs(box.top - 20.11) < 0.01]
    stop, block = sorted(marks, key=lambda box: box.left)
    assert block.left - stop.right == pytest.approx(coin_mm, abs=TOLERANCE_MM)


def test_a_bank_card_tells_a_wrong_scale_better_than_any_coin():
    """Coins are the second choice: 1 % of a quarter is too little to see."""
    assert 0.01 * ID_1_MM[0] > 2 * (OUTER_FRAME_MM[0] - ID_1_MM[0])
    assert all(0.01 * coin_mm < 0.25 for coin_mm, _ in COINS.values())


# --- in two independent renderings at 600 dpi


@pytest.fixture(scope="module", params=["poppler", "pdfium"])
def pixels(request, sheet, tmp_path_factory):
    """The sheet as darkness from 0 (paper) to 1 (ink)."""
    if request.param == "pdfium":
        page = pypdfium2.PdfDocument(sheet)[0]
        image = page.render(scale=DPI / 72, grayscale=True).to_pil()
    elif shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm: apt-get install poppler-utils")
    else:
        folder = tmp_path_factory.mktemp("sheet")
        source = folder / "sheet.pdf"
        source.write_bytes(sheet)
        subprocess.run(
            ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", source, folder / "sheet"],
            check=True,
        )
        image = Image.open(folder / "sheet.pgm")
    return 1.0 - np.asarray(image.convert("L"), dtype=float) / 255.0


def edges(darkness, threshold=0.5):
    """Where a scan line passes the threshold, in mm, found between pixel centres."""
    before, after = darkness[:-1] - threshold, darkness[1:] - threshold
    (crossings,) = np.nonzero(before * after < 0)
    places = crossings + 0.5 + before[crossings] / (before[crossings] - after[crossings])
    return places * 25.4 / DPI


def row(pixels, y_mm, x_from_mm, x_to_mm, threshold=0.5):
    per_mm = DPI / 25.4
    line = pixels[round(y_mm * per_mm), round(x_from_mm * per_mm) : round(x_to_mm * per_mm)]
    return edges(line, threshold) + round(x_from_mm * per_mm) / per_mm


def column(pixels, x_mm, y_from_mm, y_to_mm, threshold=0.5):
    per_mm = DPI / 25.4
    line = pixels[round(y_from_mm * per_mm) : round(y_to_mm * per_mm), round(x_mm * per_mm)]
    return edges(line, threshold) + round(y_from_mm * per_mm) / per_mm


def test_the_pencil_band_is_true_at_600_dpi(pixels):
    drawing, x_mm, y_mm = PLACES["pencil"]
    found = row(pixels, y_mm + 3.0, x_mm, x_mm + drawing.width_mm)
    _, stop, thin, _, thick, _ = found
    assert thin - stop == pytest.approx(6.0, abs=TOLERANCE_MM)
    assert thick - stop == pytest.approx(9.0, abs=TOLERANCE_MM)


def test_the_limb_limit_is_true_at_600_dpi(pixels):
    drawing, x_mm, y_mm = PLACES["limb"]
    # The block is coloured: half of its own darkness marks its edge.
    found = row(pixels, y_mm + 3.0, x_mm, x_mm + drawing.width_mm, threshold=0.35)
    _, stop, block, _ = found
    assert block - stop == pytest.approx(19.05, abs=TOLERANCE_MM)


def test_the_frames_are_true_at_600_dpi_both_ways(pixels):
    drawing, x_mm, y_mm = PLACES["frames"]
    across = row(pixels, y_mm + 12.0, x_mm, x_mm + drawing.width_mm)
    down = column(pixels, x_mm + 12.0, y_mm, y_mm + drawing.height_mm)
    for found, inner_mm, outer_mm in (
        (across, INNER_FRAME_MM[0], OUTER_FRAME_MM[0]),
        (down, INNER_FRAME_MM[1], OUTER_FRAME_MM[1]),
    ):
        # Outer line, inner line, inner line, outer line: two edges each.
        assert len(found) == 8
        assert found[6] - found[1] == pytest.approx(outer_mm, abs=TOLERANCE_MM)
        assert found[5] - found[2] == pytest.approx(inner_mm, abs=TOLERANCE_MM)


@pytest.mark.parametrize(("name", "length_mm"), [("bar 50", 50.0), ("bar 100", 100.0)])
def test_the_lying_bars_are_true_at_600_dpi(pixels, name, length_mm):
    drawing, x_mm, y_mm = PLACES[name]
    found = row(pixels, y_mm + 1.5, x_mm - 2.0, x_mm + drawing.width_mm + 2.0)
    assert found[-1] - found[0] == pytest.approx(length_mm, abs=TOLERANCE_MM)


def test_the_upright_bar_is_true_at_600_dpi(pixels):
    drawing, x_mm, y_mm = PLACES["bar 50 upright"]
    found = column(pixels, x_mm + 1.5, y_mm - 2.0, y_mm + drawing.height_mm + 2.0)
    assert found[-1] - found[0] == pytest.approx(50.0, abs=TOLERANCE_MM)


# --- on the finished sheet of gauges


@pytest.fixture(scope="module", params=list(SHEET_PAGES))
def gauges(request):
    """A sheet of gauges as a file, with its layout and its strip."""
    standard = standard_with_limbs_of(19.05)
    subject = StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1))
    printed = {"batch": 12, "printed_on": date(2026, 1, 5)}
    pdf = to_pdf(gauge_sheet(subject, standard, ENGLISH, page=request.param, **printed))
    strip = gauge_strip(subject, standard, ENGLISH, **printed)
    return pdf, strip_sheet(request.param, strip), strip


def standard_with_limbs_of(large_mm):
    payload = preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0).model_dump()
    payload["limbs"]["large_mm"] = large_mm
    return read_standard(payload)


def bars_of(sheet):
    """Where each bar lies: its length, its middle line, and about where it begins and ends."""
    width, _ = PAGE_SIZES_MM[sheet.page]
    foot = sheet.bottom_mm - 12.0
    beside = (width - 87.6 - 6.0 - 100.0) / 2 + 87.6 + 6.0
    return {
        "100 upright": (100.0, True, 6.5 + 1.5, foot - 100.0),
        "50 upright": (50.0, True, width - 6.5 - 5.0 + 1.5, foot - 50.0),
        "100 lying": (100.0, False, sheet.check_top_mm + 55.98 - 7.4 - 1.0 + 1.5, beside),
        "50 lying": (50.0, False, sheet.check_top_mm + 39.0 + 1.5, beside),
    }


def test_every_gauge_of_the_sheet_is_true_in_the_file(gauges):
    pdf, sheet, _ = gauges
    height = PAGE_SIZES_MM[sheet.page][1]
    boxes = moved_down(painted_boxes(pdf), height - LETTER_MM[1])
    for place in range(sheet.count):
        left, top = sheet.front(place)
        marks = sorted(
            {
                (round(box.left - left, 3), round(box.right - left, 3))
                for box in boxes
                if abs(box.top - top) < 0.01 and left <= box.left < left + sheet.card_mm[0]
            }
        )
        # Stop, tint and two marks of the band; stop and block of the limb.
        stop, thin, *_, thick, limb_stop, block = marks
        assert thin[0] - stop[1] == pytest.approx(6.0, abs=0.002)
        assert thick[0] - stop[1] == pytest.approx(9.0, abs=0.002)
        assert block[0] - limb_stop[1] == pytest.approx(19.05, abs=0.002)
    for length_mm, upright, middle, begin in bars_of(sheet).values():
        assert bar_in(boxes, middle, begin, length_mm, upright=upright) == pytest.approx(
            length_mm, abs=0.002
        )


def moved_down(boxes, down_mm):
    """Boxes of a page that is higher than Letter, from its own upper edge."""
    return [replace(box, top=box.top + down_mm, bottom=box.bottom + down_mm) for box in boxes]


def bar_in(boxes, middle_mm, begin_mm, length_mm, *, upright):
    """The length of the bar that lies about there."""
    ends = [
        (box.top, box.bottom) if upright else (box.left, box.right)
        for box in boxes
        if box.kind == "fill"
        and abs(((box.left + box.right) if upright else (box.top + box.bottom)) / 2 - middle_mm)
        < 0.1
        and begin_mm - 0.5 < (box.top if upright else box.left)
        and (box.bottom if upright else box.right) < begin_mm + length_mm + 0.5
    ]
    return max(end for _, end in ends) - min(start for start, _ in ends)


def test_every_gauge_of_the_sheet_is_true_at_600_dpi(gauges):
    pdf, sheet, _ = gauges
    image = pypdfium2.PdfDocument(pdf)[0].render(scale=DPI / 72, grayscale=True).to_pil()
    pixels = 1.0 - np.asarray(image.convert("L"), dtype=float) / 255.0
    for place in range(sheet.count):
        left, top = sheet.front(place)
        # Half of the block's darkness marks its edge; the tint of the band is lighter.
        found = row(pixels, top + 3.0, left, left + 52.0, threshold=0.35)
        assert found[2] - found[1] == pytest.approx(6.0, abs=TOLERANCE_MM)
        assert found[4] - found[1] == pytest.approx(9.0, abs=TOLERANCE_MM)
        assert found[8] - found[7] == pytest.approx(19.05, abs=TOLERANCE_MM)
    for length_mm, upright, middle, begin in bars_of(sheet).values():
        measure = column if upright else row
        found = measure(pixels, middle, begin - 1.0, begin + length_mm + 1.0)
        assert found[-1] - found[0] == pytest.approx(length_mm, abs=TOLERANCE_MM)
    frames_left = (PAGE_SIZES_MM[sheet.page][0] - 87.6 - 6.0 - 100.0) / 2
    for found, inner_mm, outer_mm in (
        (row(pixels, sheet.check_top_mm + 12.0, frames_left, frames_left + 87.6), 85.20, 86.00),
        (
            column(pixels, frames_left + 6.0, sheet.check_top_mm, sheet.check_top_mm + 55.98),
            53.58,
            54.38,
        ),
    ):
        assert len(found) == 8
        assert found[6] - found[1] == pytest.approx(outer_mm, abs=TOLERANCE_MM)
        assert found[5] - found[2] == pytest.approx(inner_mm, abs=TOLERANCE_MM)


def test_the_measure_sees_a_sheet_that_was_fitted_to_the_page(gauges):
    """Planted: printed at 97 %, as office software does with A4 on Letter."""
    pdf, sheet, _ = gauges
    image = pypdfium2.PdfDocument(pdf)[0].render(scale=0.97 * DPI / 72, grayscale=True).to_pil()
    pixels = 1.0 - np.asarray(image.convert("L"), dtype=float) / 255.0
    left, top = (0.97 * place for place in sheet.front(0))
    found = row(pixels, top + 3.0, left, left + 50.0, threshold=0.35)
    assert found[8] - found[7] == pytest.approx(0.97 * 19.05, abs=TOLERANCE_MM)
    assert abs(found[8] - found[7] - 19.05) > 10 * TOLERANCE_MM


def test_the_sheet_says_what_it_is_and_asks_for_full_size(gauges):
    pdf, sheet, _ = gauges
    assert b"/PrintScaling /None" in pdf
    (text,) = page_texts(pdf)
    assert text.count("Gala Home 3") == sheet.count + 1
    assert text.count("B12. Standard 2, from Dec 1, 2025") == sheet.count
    assert text.count("Printed on Jan 5, 2026") == sheet.count
    assert "Does not fit? Do not use. Print at 100 %." in text


@pytest.mark.parametrize("large_mm", [12.0, 50.0, 100.0])
def test_gauges_of_any_limb_fit_on_their_strip(large_mm):
    subject = StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1))
    strip = gauge_strip(subject, standard_with_limbs_of(large_mm), ENGLISH, batch=12)
    assert_nothing_clipped(strip)
    marks = [placed.shape for placed in flattened(strip) if isinstance(placed.shape, Rect)]
    assert max(mark.x_mm + mark.width_mm for mark in marks) <= strip.width_mm
    for page in SHEET_PAGES:
        assert strip_sheet(page, strip).count >= 5
