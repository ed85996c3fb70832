"""
Photos: made smaller as they arrive, and sheets read from them.

The floor of making one smaller is what libjpeg needs at least: to decode at half the size in the
cosine domain and to encode the result. The peer is `thumbnail()` with the best filter, which
decodes all of it. The photo is a made-up one of 12 megapixels.
"""

import math
import time
from collections.abc import Iterator
from io import BytesIO
from random import Random

import numpy as np
from PIL import Image

from printables.reading.read import read_sheet
from tests.benchmarks.timing import Line, at_least_faster, at_most, take_turns
from tests.marked_sheets import printed_pages
from tests.synthetic_photos import Shot, any_shot, filled_in, photographed
from webapp.field.pictures import LONGEST_PX, remade

_WIDTH, _HEIGHT = 4000, 3000
_QUALITY = 80
_SHEET_S = 0.1
_SHEETS = 12


def photo() -> bytes:
    """Return a JPEG of 12 megapixels with detail at all sizes, lying on its side, with notes."""
    noise = np.random.default_rng(2)
    levels = np.full((_HEIGHT, _WIDTH, 3), 30.0)
    for cells, strength in ((10, 60), (60, 40), (300, 25), (1500, 12)):
        coarse = noise.integers(0, 255, (max(2, cells * 3 // 4), cells, 3), dtype=np.uint8)
        fine = Image.fromarray(coarse).resize((_WIDTH, _HEIGHT), Image.Resampling.BICUBIC)
        levels += np.asarray(fine, float) / 255 * strength
    levels += noise.normal(0, 3, levels.shape)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Phone"
    written = BytesIO()
    image = Image.fromarray(np.clip(levels, 0, 255).astype(np.uint8))
    image.save(written, "JPEG", quality=90, exif=exif)
    return written.getvalue()


def lines() -> Iterator[Line]:
    """Time both."""
    content = photo()
    fitted = (LONGEST_PX, LONGEST_PX * _HEIGHT // _WIDTH)
    small = Image.open(BytesIO(remade(content)))
    small.load()

    def decode() -> None:
        image = Image.open(BytesIO(content))
        image.draft("RGB", fitted)
        image.load()

    def encode() -> None:
        small.save(BytesIO(), "JPEG", quality=_QUALITY)

    def thumbnail() -> None:
        image = Image.open(BytesIO(content))
        image.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
        upright = image.transpose(Image.Transpose.ROTATE_270)
        upright.save(BytesIO(), "JPEG", quality=_QUALITY)

    times = take_turns(
        {
            "ours": lambda: remade(content),
            "decode": decode,
            "encode": encode,
            "thumbnail": thumbnail,
        },
        rounds=9,
    )
    floor = times["decode"] + times["encode"]
    what = f"photo of 12 MP to {LONGEST_PX} px upright"
    yield at_most(f"{what}: decoding at half size and encoding", times["ours"], floor, 2.7)
    yield at_least_faster(f"{what}: thumbnail()", times["ours"], times["thumbnail"], 2.8)
    yield _sheets()


def _sheets() -> Line:
    """Photos of tally sheets and answer sheets as people take them, against a tenth of a second."""
    pages = printed_pages(most=1)
    shots = []
    for number in range(_SHEETS):
        chance = Random(number)  # noqa: S311 - a photo, not a secret
        printed = pages[number % len(pages)]
        sheet, _ = filled_in(printed.image, printed.page.boxes, chance)
        shot = any_shot(chance) if number else Shot(long_px=4000)
        shots.append((photographed(sheet, shot), printed.page))

    # The processor's time, since the bar is for one core and numpy may use more.
    least = [math.inf] * len(shots)
    for _ in range(5):
        for number, (content, page) in enumerate(shots):
            start = time.process_time()
            read_sheet(content, lambda _, page=page: page)
            least[number] = min(least[number], time.process_time() - start)
    taken = sum(least) / len(shots)
    return at_most(f"a sheet read from its photo, mean of {_SHEETS}: 0.1 s", taken, _SHEET_S, 1.0)
