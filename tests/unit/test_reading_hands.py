"""Marks of unusual hands, marked paper that was handled, and photos that show the wrong thing."""

from contextlib import suppress
from dataclasses import replace
from functools import cache
from io import BytesIO
from random import Random

import numpy as np
import pytest
import segno
from PIL import Image, ImageDraw

from audits.messages import ENGLISH
from printables.marked import Box, MarkedPage
from printables.paper_code import code_corner, targets
from printables.reading import UnreadablePhoto, marks
from printables.reading.marks import MarkState
from printables.reading.perspective import FLAT_PX
from printables.reading.read import SheetReading, read_sheet
from printables.sheet import Page
from printables.tally_sheet import tally_marked_pages
from tests.marked_sheets import TALLY, printed_pages
from tests.synthetic_photos import (
    RASTER,
    Deed,
    Hand,
    Shot,
    copied,
    creased,
    do_to,
    page_of_boxes,
    photographed,
    rasterised,
)

PEN = Hand("bar", 0.85, 0.5, is_pencil=False, reach=-0.1, off_mm=0.1)
SHOT = Shot(long_px=1600, tilt_deg=(6.0, -5.0), curl_mm=2.0)
# Boxes apart from each other, without letters.
APART = ("t2.3", "t4.9", "t7.5", "t11.17", "t15.7", "t20.11")


@cache
def page() -> tuple[MarkedPage, Image.Image]:
    marked, document = page_of_boxes()
    return marked, rasterised(document)


def with_deeds(deeds: dict[str, Deed], hand: Hand) -> Image.Image:
    marked, blank = page()
    image = blank.copy()
    chance = Random(3)  # noqa: S311 - marks, not secrets
    for box in marked.boxes:
        if box.key in deeds:
            do_to(image, box, deeds[box.key], hand, chance)
    return image


def read_page(image: Image.Image, shot: Shot = SHOT) -> SheetReading:
    return read_sheet(photographed(image, shot), lambda _: page()[0])


def states(deed: Deed, hand: Hand) -> set[MarkState]:
    """What is found in boxes to which one thing was done."""
    reading = read_page(with_deeds(dict.fromkeys(APART, deed), hand))
    return {reading.marks[key] for key in APART}


def as_jpeg(image: Image.Image) -> bytes:
    written = BytesIO()
    image.save(written, "JPEG", quality=88)
    return written.getvalue()


def refusal(content: bytes) -> str:
    with pytest.raises(UnreadablePhoto) as refused:
        read_sheet(content, lambda _: page()[0])
    return str(refused.value)


# --- hands ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["bar", "upright", "circle", "slash", "fill"])
def test_every_sign_is_a_mark(shape):
    """A bar is the tally sheet's own sign for "nothing due"."""
    assert states(Deed.MARKED, replace(PEN, shape=shape)) == {MarkState.MARKED}


@pytest.mark.parametrize("shape", ["bar", "cross", "tick"])
def test_a_thick_felt_pen_marks(shape):
    felt = replace(PEN, shape=shape, width_mm=2.2, reach=-0.6)
    assert states(Deed.MARKED, felt) <= {MarkState.MARKED, MarkState.UNSURE}


def test_a_dot_is_left_to_a_person():
    assert states(Deed.DOT, PEN) == {MarkState.UNSURE}


def test_a_mark_in_a_corner_is_never_missed():
    assert MarkState.EMPTY not in states(Deed.CORNER, PEN)


def test_a_stroke_on_the_frame_is_no_mark():
    assert MarkState.MARKED not in states(Deed.ON_FRAME, PEN)


@pytest.mark.parametrize("darkness", [0.2, 0.25, 0.3])
def test_a_faint_pencil_is_never_taken_for_nothing(darkness):
    faint = Hand("slash", darkness, 0.5, is_pencil=True, reach=0.0, off_mm=0.1)
    with suppress(UnreadablePhoto):
        assert MarkState.EMPTY not in states(Deed.MARKED, faint)


def test_a_sheet_of_marks_that_can_hardly_be_seen_is_refused():
    measured = {box.key: marks.Measured(0.0, 0.0, 0.0, 0.0, 1.0) for box in page()[0].boxes}
    seen = marks.Measured(0.12, 0.1, 2.4, 0.0, 1.0, streak=0.04, darkness=0.08)
    assert not marks.are_faint(page()[0].boxes, measured)
    assert marks.are_faint(page()[0].boxes, measured | dict.fromkeys(APART, seen))
    clear = replace(seen, darkness=0.3)
    assert not marks.are_faint(page()[0].boxes, measured | dict.fromkeys(APART, clear))


def run_over() -> dict[str, MarkState]:
    """What is found beside marks that run over, on a tally sheet, where boxes stand closest."""
    printed = printed_pages(most=1)[0]
    boxes = printed.page.boxes
    image = printed.image.copy()
    chance = Random(3)  # noqa: S311 - marks, not secrets
    far = replace(PEN, reach=4.2, off_mm=0.0)
    places = [place for place, box in enumerate(boxes) if box.key.endswith("columns.S")]
    for place in places:
        do_to(image, boxes[place], Deed.MARKED, far, chance)
    reading = read_sheet(photographed(image, SHOT), lambda _: printed.page)
    assert MarkState.EMPTY not in {reading.marks[boxes[place].key] for place in places}
    return {
        boxes[near].key: reading.marks[boxes[near].key]
        for place in places
        for near in (place - 1, place + 1)
    }


def test_a_mark_that_runs_over_does_not_mark_the_next_box():
    found = run_over()
    assert MarkState.MARKED not in found.values()
    assert MarkState.UNSURE in found.values(), "it was seen there"


def test_a_line_that_goes_on_in_the_next_box_is_left_to_a_person():
    """A crease through two boxes, as measured on a made-up photo: each alone would be a mark."""
    crease = marks.Measured(
        0.7, 0.57, 7.8, 0.0, 1.0, streak=0.06, darkness=0.14, across_mm=0.67, down_mm=2.47
    )
    upper = Box("a", "a", 50.0, 80.0, 9.0, 9.0)
    lower, apart = replace(upper, key="b", y_mm=94.0), replace(upper, key="c", x_mm=90.0)
    boxes = (upper, lower, apart)
    assert marks.judged(upper, crease) is MarkState.MARKED
    foreign = marks._foreign(
        np.full((1400, 1080), 200.0, dtype=np.float32),
        boxes,
        np.array([(box.x_mm * FLAT_PX, box.y_mm * FLAT_PX) for box in boxes], dtype=np.intp),
        {box.key: crease for box in boxes},
    )
    assert foreign == {"a", "b"}
    assert marks.judged(upper, replace(crease, is_foreign=True)) is MarkState.UNSURE


# --- paper ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_crease_is_no_mark(seed):
    image = creased(page()[1], Random(seed))  # noqa: S311 - as above
    assert MarkState.MARKED not in read_page(image).marks.values()


def test_a_copy_of_a_sheet_is_read_as_the_sheet():
    """Its targets and its boxes became smaller and turned together."""
    marked = with_deeds(dict.fromkeys(APART, Deed.MARKED), PEN)
    reading = read_page(copied(marked, Random(1)))  # noqa: S311 - as above
    assert {key for key, state in reading.marks.items() if state is MarkState.MARKED} == set(APART)


@pytest.mark.parametrize(
    "shot",
    [
        replace(SHOT, quality=30),
        replace(SHOT, yellow=1.0),
        replace(SHOT, finger=(0.45, 3.0, 9.0, 0.0, 0.1, 15.0)),
        replace(SHOT, glare=(0.7, 0.05, 0.0, 0.08)),
        replace(SHOT, long_px=3000, tilt_deg=(30.0, 0.0)),
    ],
    ids=["JPEG 30", "yellow lamp", "finger's shadow", "glare", "30 degrees"],
)
def test_in_bad_light_nothing_is_read_wrong(shot):
    reading = read_page(with_deeds(dict.fromkeys(APART, Deed.MARKED), PEN), shot)
    for key, state in reading.marks.items():
        assert state in {
            MarkState.UNSURE,
            MarkState.MARKED if key in APART else MarkState.EMPTY,
        }
    assert len(reading.unsure) <= 0.1 * len(reading.marks)


# --- the wrong thing ------------------------------------------------------------------------------


def on_table(*placed: tuple[Image.Image, int, int]) -> bytes:
    """Pages laid on a dark table, the last one on top, at so many tenths of a millimetre."""
    width = max(left + image.width for image, left, _ in placed) + 100
    height = max(top + image.height for image, _, top in placed) + 100
    table = Image.new("L", (width, height), 90)
    for image, left, top in placed:
        table.paste(image, (left, top))
    scale = 2400 / max(table.size)
    return as_jpeg(table.resize((round(width * scale), round(height * scale))))


@cache
def other_page() -> Image.Image:
    return rasterised(page_of_boxes(name="8")[1])


def test_two_pages_on_one_photo_are_refused():
    content = on_table((page()[1], 60, 60), (other_page(), 2300, 60))
    assert "more than one sheet" in refusal(content)


def test_a_sheet_that_shows_behind_another_is_refused():
    content = on_table((other_page(), 60, 60), (page()[1], 60, 360))
    assert "more than one sheet" in refusal(content)


def test_one_corner_of_another_sheet_changes_nothing():
    """The sheet on top is whole, and it is the one that is read."""
    top = with_deeds(dict.fromkeys(APART, Deed.MARKED), PEN)
    corner = other_page().crop((0, 0, 500, 500))
    content = on_table((corner, 60, 60), (top, 360, 360))
    reading = read_sheet(content, lambda _: page()[0])
    assert {key for key, state in reading.marks.items() if state is MarkState.MARKED} == set(APART)


def test_a_torn_corner_is_refused():
    marked, blank = page()
    torn = blank.copy()
    x, y = (place * RASTER for place in targets(marked.size_mm)[1])
    ImageDraw.Draw(torn).polygon([(x - 400, 0), (torn.width, 0), (torn.width, y + 300)], fill=90)
    assert "four corner targets" in refusal(photographed(torn, SHOT))


def test_another_code_stuck_over_the_sheets_own_is_refused():
    marked, blank = page()
    image = blank.copy()
    left, top = (round(place * RASTER) for place in code_corner(marked.size_mm))
    written = BytesIO()
    segno.make("https://shop.example/apples").save(written, kind="png", scale=7, border=4)
    image.paste(Image.open(written).convert("L"), (left - 20, top - 20))
    assert "code" in refusal(photographed(image, SHOT))


def test_an_empty_page_is_refused():
    blank = Image.new("L", page()[1].size, 255)
    assert "No sheet" in refusal(on_table((blank, 60, 60)))
    assert refusal(photographed(blank, SHOT))


def test_a_sheet_on_a_screen_is_read_right_or_refused():
    """Columns of the screen's dots, a quarter of a millimetre apart, with dark gaps."""
    sheet = np.asarray(with_deeds(dict.fromkeys(APART, Deed.MARKED), PEN)).astype(float)
    dots = 1 - 0.35 * (np.arange(sheet.shape[1]) % 2.6 < 1)
    image = Image.fromarray((sheet * dots).astype(np.uint8))
    try:
        reading = read_page(image)
    except UnreadablePhoto:
        return
    for key, state in reading.marks.items():
        assert state in {
            MarkState.UNSURE,
            MarkState.MARKED if key in APART else MarkState.EMPTY,
        }


def test_a_sheet_of_another_farm_is_refused():
    """An audit has the same number there, but other trees were drawn."""
    wave = TALLY.waves[0]
    trees = tuple(replace(tree, tree_id=tree.tree_id + 1) for tree in wave.trees)
    other = replace(TALLY, waves=(replace(wave, trees=trees), *TALLY.waves[1:]))
    ours = tally_marked_pages(other, ENGLISH, Page.LETTER)[0]
    printed = printed_pages(most=1)[0]
    assert printed.page.code.fields == ours.code.fields
    with pytest.raises(UnreadablePhoto, match="do not lie where they do today"):
        read_sheet(photographed(printed.image, SHOT), lambda _: ours)
