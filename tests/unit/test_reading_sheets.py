"""Sheets read from photos: every way they may lie, and every photo from which nothing is read."""

from dataclasses import replace
from functools import cache
from io import BytesIO
from random import Random

import numpy as np
import pytest
from PIL import Image, ImageDraw

from audits.errors import NotFound
from audits.messages import say
from printables.drawing.primitives import Anchor, Text
from printables.marked import MarkedPage, SheetCode
from printables.paper_code import code_corner, stations, targets
from printables.picture_files import MOST_PIXELS, MOST_UNPACKED
from printables.reading import UnreadablePhoto, marks, read
from printables.reading.marks import MarkState, Measured, judged
from printables.reading.perspective import Placement, homography, seen_through
from printables.reading.read import SheetReading, read_sheet
from printables.sheet import Page
from tests.synthetic_photos import (
    RASTER,
    Deed,
    Hand,
    Shot,
    do_to,
    page_of_boxes,
    photographed,
    rasterised,
)

PEN = Hand("cross", 0.85, 0.5, is_pencil=False, reach=-0.2, off_mm=0.1)
PENCIL = Hand("tick", 0.5, 0.6, is_pencil=True, reach=0.0, off_mm=0.1)
MARKED = ("t0.0", "t3.7", "t3.8", "t9.19", "t24.1")
SHOT = Shot(long_px=1600, tilt_deg=(6.0, -5.0), curl_mm=2.0)


@cache
def page() -> tuple[MarkedPage, Image.Image]:
    marked, document = page_of_boxes()
    return marked, rasterised(document)


@cache
def sheet() -> Image.Image:
    """A sheet with five marks by two hands and one word."""
    marked, blank = page()
    image = blank.copy()
    chance = Random(1)  # noqa: S311 - marks, not secrets
    for box in marked.boxes:
        if box.key in MARKED:
            do_to(image, box, Deed.MARKED, PEN if box.key != "t9.19" else PENCIL, chance)
        elif box.key == "name":
            do_to(image, box, Deed.WRITTEN, PEN, chance)
    return image


def read_page(content: bytes) -> SheetReading:
    return read_sheet(content, lambda _: page()[0])


def as_jpeg(image: Image.Image) -> bytes:
    written = BytesIO()
    image.save(written, "JPEG", quality=88)
    return written.getvalue()


def refusal(content: bytes) -> str:
    with pytest.raises(UnreadablePhoto) as refused:
        read_page(content)
    return str(refused.value)


def problems(content: bytes) -> list[str]:
    """Boxes that were not read as they are."""
    reading = read_page(content)
    return [
        key
        for key, state in reading.marks.items()
        if (state in {MarkState.MARKED, MarkState.WRITTEN}) != (key in {*MARKED, "name"})
        or state is MarkState.UNSURE
    ]


# --- however it lies ------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 33])
def test_a_sheet_is_read_however_it_lies(turn):
    assert problems(photographed(sheet(), replace(SHOT, turn_deg=turn + 3.0))) == []


def test_what_the_camera_noted_about_its_turn_changes_nothing():
    image = Image.open(BytesIO(photographed(sheet(), SHOT)))
    noted = BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    image.save(noted, "JPEG", exif=exif)
    assert problems(noted.getvalue()) == []


def test_a_reading_says_which_sheet_it_was_and_shows_its_boxes():
    reading = read_page(photographed(sheet(), SHOT))
    assert reading.code == page()[0].code
    assert reading.unsure == ()
    assert list(reading.marks) == [box.key for box in page()[0].boxes]
    crop = Image.open(BytesIO(reading.crop("t0.0")))
    assert crop.format == "JPEG"
    assert 40 <= crop.width <= 60
    assert np.asarray(crop).min() < 90, "the mark is on it"
    picture = Image.open(BytesIO(reading.picture()))
    assert picture.height > picture.width
    assert not picture.getexif()
    with pytest.raises(KeyError):
        reading.crop("t99.0")


def test_two_marks_in_a_group_are_both_told():
    reading = read_page(photographed(sheet(), SHOT))
    assert {key for key in MARKED if reading.marks[key] is MarkState.MARKED} == set(MARKED)
    groups = {box.key: box.group for box in page()[0].boxes}
    assert groups["t3.7"] == groups["t3.8"]


def test_crossed_out_marks_are_marks_and_traces_are_none():
    marked, blank = page()
    deeds = {
        "t1.1": Deed.CROSSED_OUT,
        "t5.5": Deed.ERASED,
        "t7.3": Deed.SMUDGE,
        "t11.11": Deed.SPECK,
    }
    image = blank.copy()
    chance = Random(5)  # noqa: S311 - as above
    for box in marked.boxes:
        if box.key in deeds:
            do_to(image, box, deeds[box.key], PENCIL, chance)
    reading = read_page(photographed(image, SHOT))
    assert reading.marks["t1.1"] is MarkState.MARKED
    for key in ("t5.5", "t7.3", "t11.11"):
        assert reading.marks[key] in {MarkState.EMPTY, MarkState.UNSURE}


def test_letters_inside_boxes_are_no_marks():
    """They are on every twelfth box of the page."""
    marked, _ = page()
    reading = read_page(photographed(sheet(), SHOT))
    letters = [box.key for box in marked.boxes if box.printed]
    assert len(letters) > 40
    assert {reading.marks[key] for key in letters} <= {MarkState.EMPTY, MarkState.UNSURE}


def test_what_is_covered_is_left_to_a_person():
    """A thumb on the sheet is no mark, and what is under it is not known to be empty."""

    def thumb(photo: Image.Image, camera) -> Image.Image:
        ((x, y),) = camera.to_photo(np.array([(120.0, 150.0)]))
        radius = 11 * camera.scale
        draw = ImageDraw.Draw(photo)
        draw.ellipse((x - radius, y - 1.4 * radius, x + radius, y + 1.4 * radius), fill=95)
        return photo

    reading = read_page(photographed(sheet(), SHOT, over=thumb))
    under = [
        box.key
        for box in page()[0].boxes
        if np.hypot(box.x_mm + 2.1 - 120.0, box.y_mm + 2.1 - 150.0) < 8
    ]
    assert len(under) >= 3
    assert {reading.marks[key] for key in under} == {MarkState.UNSURE}


# --- what is not read -----------------------------------------------------------------------------


def test_a_photo_without_a_sheet_is_refused():
    blank = Image.fromarray(np.full((1200, 1600), 140, dtype=np.uint8))
    assert "No sheet" in refusal(as_jpeg(blank))


def test_two_sheets_on_one_photo_are_refused():
    one = Image.open(BytesIO(photographed(sheet(), SHOT))).convert("L")
    both = Image.new("L", (2 * one.width, one.height))
    both.paste(one, (0, 0))
    both.paste(one, (one.width, 0))
    assert "more than one sheet" in refusal(as_jpeg(both))


def test_half_of_a_second_sheet_is_a_second_sheet():
    one = Image.open(BytesIO(photographed(sheet(), SHOT))).convert("L")
    both = Image.new("L", (round(1.5 * one.width), one.height))
    both.paste(one, (0, 0))
    both.paste(one, (one.width, 0))
    assert "more than one sheet" in refusal(as_jpeg(both))


def test_a_corner_that_is_cut_off_is_refused():
    one = Image.open(BytesIO(photographed(sheet(), SHOT))).convert("L")
    assert "four corner targets" in refusal(as_jpeg(one.crop((0, 0, one.width, one.height - 160))))


def test_a_covered_code_is_refused():
    image = sheet().copy()
    left, top = (place * RASTER for place in code_corner(page()[0].size_mm))
    ImageDraw.Draw(image).rectangle((left, top, left + 110, top + 203), fill=255)
    assert "code" in refusal(photographed(image, SHOT))


def test_a_blurred_photo_is_refused():
    assert "blurred" in refusal(photographed(sheet(), replace(SHOT, blur_mm=1.5)))


def test_a_dark_photo_is_refused():
    assert "dark" in refusal(photographed(sheet(), replace(SHOT, exposure=0.12, noise=5.0)))


def test_a_small_photo_is_refused():
    small = Image.open(BytesIO(photographed(sheet(), SHOT)))
    assert "too small" in refusal(as_jpeg(small.resize((small.width // 2, small.height // 2))))


@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff", b"%PDF-1.4", b"GIF89a" + bytes(100)])
def test_what_is_no_photo_is_refused(content):
    assert "cannot be read" in refusal(content)


def test_a_photo_cut_short_is_refused():
    content = photographed(sheet(), SHOT)
    assert "cannot be read" in refusal(content[: len(content) // 2])


def test_a_bomb_is_refused_unpacked():
    side = int(MOST_PIXELS**0.5) + 10
    bomb = BytesIO()
    Image.new("1", (side, side)).save(bomb, "PNG", optimize=True)
    assert "too many pixels" in refusal(bomb.getvalue())


def test_only_a_jpeg_may_be_as_large_as_a_camera_makes_it():
    """Other formats unpack every pixel, so that fewer are taken."""
    side = int(MOST_UNPACKED**0.5) + 2
    for kind, sentence in (("JPEG", "No sheet was found"), ("WEBP", "too many pixels")):
        content = BytesIO()
        Image.new("RGB", (side, side), "white").save(content, kind)
        assert sentence in refusal(content.getvalue())


# --- whose sheet it is ----------------------------------------------------------------------------


def moved() -> MarkedPage:
    marked, _ = page()
    return replace(marked, boxes=tuple(replace(box, x_mm=box.x_mm + 6.6) for box in marked.boxes))


@pytest.mark.parametrize(
    "found",
    [
        moved,
        lambda: replace(page()[0], page=Page.A4),
        lambda: replace(page()[0], landscape=True),
        lambda: replace(page()[0], code=replace(page()[0].code, fields=("8", "L", "EN"))),
    ],
    ids=["boxes elsewhere", "other paper", "other way up", "other sheet"],
)
def test_a_sheet_that_was_printed_otherwise_is_refused(found):
    with pytest.raises(UnreadablePhoto, match="do not lie where they do today"):
        read_sheet(photographed(sheet(), SHOT), lambda _: found())


def test_nothing_is_read_of_a_sheet_that_nobody_knows():
    def find(code: SheetCode) -> MarkedPage:
        assert code.fields == ("7", "L", "EN")
        raise NotFound(say("This sheet is not there."))

    with pytest.raises(NotFound):
        read_sheet(photographed(sheet(), SHOT), find)


def test_the_code_of_somebody_else_is_refused():
    """A sheet with our targets whose check letters do not agree: told, never guessed at."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SheetCode, "text", property(lambda _: "PT/7/L/EN/1/ABCDEF/123456"))
        _, document = page_of_boxes()
        image = rasterised(document)
    assert "none of ours" in refusal(photographed(image, SHOT))


# --- one box --------------------------------------------------------------------------------------

BOX = page_of_boxes()[0].boxes[2]
EMPTY = Measured(0.0, 0.0, 0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("measured", "state"),
    [
        (EMPTY, MarkState.EMPTY),
        (replace(EMPTY, frame=0.2), MarkState.UNSURE),
        (replace(EMPTY, ink_mm2=1.0, middle_ink_mm2=0.8, length_mm=3.0), MarkState.MARKED),
        (replace(EMPTY, ink_mm2=1.0, middle_ink_mm2=0.8, length_mm=1.0), MarkState.UNSURE),
        (replace(EMPTY, ink_mm2=1.0, middle_ink_mm2=0.0, length_mm=3.0), MarkState.UNSURE),
        (replace(EMPTY, ink_mm2=0.15, middle_ink_mm2=0.1, length_mm=3.0), MarkState.UNSURE),
        (replace(EMPTY, filled=0.15), MarkState.UNSURE),
        (replace(EMPTY, filled=0.5), MarkState.MARKED),
        (replace(EMPTY, filled=0.5, frame=0.1), MarkState.UNSURE),
    ],
)
def test_a_box_is_unsure_unless_it_is_clear(measured, state):
    assert judged(BOX, measured) is state


def test_letters_are_masked_where_they_are_printed():
    letter = Text(BOX.x_mm + 2.1, BOX.y_mm + 3.2, "H", 3.0, anchor=Anchor.MIDDLE)
    blank = marks._blank_inside(replace(BOX, printed=(letter,)))
    assert 0.2 < blank.mean() < 0.8
    assert marks._blank_inside(replace(BOX, printed=())).all()


# --- geometry -------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(215.9, 279.4), (279.4, 215.9), (210.0, 297.0)])
def test_the_perspective_of_four_corners_takes_them_there(size):
    corners = np.array(targets(size))
    seen = np.array([(110.0, 95.0), (1400.0, 140.0), (1290.0, 1810.0), (60.0, 1700.0)])
    matrix = homography(corners, seen)
    assert np.allclose(seen_through(matrix, corners), seen)


@pytest.mark.parametrize("size", [(215.9, 279.4), (210.0, 297.0)])
def test_stations_lie_between_the_targets(size):
    for edge, first, last in zip(
        stations(size), targets(size), (*targets(size)[1:], targets(size)[0]), strict=True
    ):
        steps = np.diff(np.array([first, *edge, last]), axis=0)
        assert np.allclose(steps, steps[0])
        assert np.abs(steps[0]).max() <= 26.0


# --- planted defects: each makes a test above fail ------------------------------------------------


def test_a_wrong_threshold_would_be_seen(monkeypatch):
    monkeypatch.setattr(marks, "_INK_MM2", (5.0, 6.0))
    monkeypatch.setattr(marks, "_FILLED", (0.9, 0.95))
    assert set(MARKED) & set(problems(photographed(sheet(), SHOT)))


def test_a_turn_that_is_ignored_would_be_seen(monkeypatch):
    """With the first corner always taken for the upper left one nothing turned is read."""
    both_papers = read._placements

    def first_only(photo, corners):
        return (
            placement
            for placement in both_papers(photo, corners)
            if np.allclose(placement.corners[0], (corners[0].x, corners[0].y))
        )

    monkeypatch.setattr(read, "_placements", first_only)
    assert "code" in refusal(photographed(sheet(), replace(SHOT, turn_deg=180.0)))


def test_a_code_that_is_not_checked_would_be_seen(monkeypatch):
    """Then a layout that lies one column further is read with every mark in the wrong box."""
    monkeypatch.setattr(read, "_is_as_printed", lambda *_: True)
    reading = read_sheet(photographed(sheet(), SHOT), lambda _: moved())
    assert reading.marks["t3.6"] is MarkState.MARKED
    assert "t3.6" not in MARKED


def test_stations_that_are_ignored_would_be_seen(monkeypatch):
    """Without them a bent sheet is refused or left to a person, where it was read before."""
    content = photographed(sheet(), replace(SHOT, curl_mm=8.0, tilt_deg=(20.0, 0.0)))
    assert problems(content) == []
    monkeypatch.setattr(Placement, "_bent", lambda _, points: np.zeros_like(points))
    try:
        found = problems(content)
    except UnreadablePhoto:
        return
    assert found
