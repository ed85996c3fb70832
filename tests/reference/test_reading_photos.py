"""
Sheets as printed, marked by made-up hands, photographed by a made-up phone, and read back.

The photos are drawn from a seed (`tests.synthetic_photos`): ticks, crosses, bars, circles and more,
by pencils, pens and felt pens; creases, stains, copies; perspective, turns, curl, lens, blur,
motion, shadows, glare, coloured light, noise, JPEG at 30 to 90. Their truth is known, box by box.
No photo of a real phone is among them: that has to be tried with the farm's own phones.
"""

from collections import Counter
from random import Random

import pytest

from printables.reading import UnreadablePhoto
from printables.reading.marks import MarkState
from printables.reading.read import read_sheet
from tests.marked_sheets import printed_pages
from tests.synthetic_photos import Deed, Shot, any_shot, filled_in, photographed, truth_of, worn

IS_MARKED = {
    MarkState.EMPTY: False,
    MarkState.MARKED: True,
    MarkState.WRITTEN: True,
}


@pytest.mark.slow
def test_nothing_is_read_wrong_in_silence_and_few_boxes_are_left_to_a_person(volume):
    """
    Photos of every page in turn: no box is read wrong, and at most one in 100 has to be looked at.

    A photo may be refused as too dark or too blurred, or since the marks on it are too faint; then
    nothing is read from it. At most four in 100 are.
    """
    pages = printed_pages()
    boxes = 0
    unsure: Counter[Deed] = Counter()
    wrong: list[tuple[int, str, str, Deed, MarkState]] = []
    refused: list[tuple[int, str]] = []
    photos = volume(short=24, long=1_000)
    for number in range(photos):
        chance = Random(f"photo {number}")  # noqa: S311 - a photo, not a secret
        # A step that has no divisor in common with the pages, so that few photos see most of them.
        printed = pages[7 * number % len(pages)]
        sheet, deeds = filled_in(printed.image, printed.page.boxes, chance)
        content = photographed(worn(sheet, chance), any_shot(chance))
        try:
            reading = read_sheet(content, lambda _, page=printed.page: page)
        except UnreadablePhoto as error:
            refused.append((number, str(error)))
            continue
        truth = truth_of(deeds)
        boxes += len(truth)
        for key, state in reading.marks.items():
            if state is MarkState.UNSURE:
                unsure[deeds[key]] += 1
            elif IS_MARKED[state] != truth[key]:
                wrong.append((number, printed.name, key, deeds[key], state))
    told = f"{photos} photos, {boxes} boxes, {dict(unsure)} to check, refused: {refused}"
    assert not wrong, f"{told}; wrong: {wrong}"
    assert unsure.total() <= 0.01 * boxes, told
    # Of 24 photos, four in 100 come to more than three by chance alone in 1 of 70 sets of photos.
    assert len(refused) <= max(3, 0.04 * photos), told
    print(told)  # noqa: T201 - the numbers of a long run


@pytest.mark.parametrize("blur_mm", [0.3, 0.45, 0.7, 1.2])
def test_photos_out_of_focus_are_refused_or_read_right(blur_mm):
    """Beyond what the test above promises: no silent error there either."""
    printed = printed_pages(most=1)[0]
    chance = Random(f"blurred {blur_mm}")  # noqa: S311 - as above
    sheet, deeds = filled_in(printed.image, printed.page.boxes, chance)
    content = photographed(sheet, Shot(blur_mm=blur_mm, noise=3.0))
    try:
        reading = read_sheet(content, lambda _: printed.page)
    except UnreadablePhoto:
        return
    truth = truth_of(deeds)
    assert not [
        key
        for key, state in reading.marks.items()
        if state is not MarkState.UNSURE and IS_MARKED[state] != truth[key]
    ]
