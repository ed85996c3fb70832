"""What stands in the boxes of a flattened page: nothing, a mark, or something to look at."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont
from reportlab.pdfbase import pdfmetrics

from printables.drawing.lettering import font_name
from printables.drawing.primitives import Anchor
from printables.marked import Box, BoxKind
from printables.reading.perspective import FLAT_PX
from printables.reading.photo import Floats, Grey

Singles = npt.NDArray[np.float32]


class MarkState(StrEnum):
    """What was found in a box."""

    EMPTY = "empty"
    MARKED = "marked"
    UNSURE = "unsure"
    WRITTEN = "written"


# Dark things narrower than this are strokes; what is broader is a shadow or a filled box.
_STROKE_PX: Final = 9
# How far a frame may be from its place, and how far from what the frames around it say.
_FRAME_REACH_PX: Final = 6
_ASTRAY_PX: Final = 1.5
_LINES: Final = 6
# A frame counts as seen at this share of what is usual on the page.
_SEEN: Final = 0.35
# How dark frames have to be in the middle of the page's: below, the photo is blurred.
_LEAST_FRAME: Final = 0.19
# From the middle of a frame to where the inside begins, and to what a neighbour's stroke that
# leaves its box would not reach.
_INSET_MM: Final = 0.6
_MIDDLE_MM: Final = 1.0
# What is no mark by itself: the grain of paper, and so many times the spread of a photo's noise.
_LEAST_SHADE: Final = 0.03
_NOISE_TIMES: Final = 2.5
# A photo with more grain is too dark to tell a pencil's mark.
_MOST_GRAIN: Final = 0.11
# Beyond that, what makes a place count as inked.
_CLEAR_SHADE: Final = 0.03
# Outermost lines of the inside that a blurred frame may darken all along.
_RIM_PX: Final = 2
# Where the paper beside a box is looked at, from the middle of its frame.
_BESIDE_MM: Final = 1.0
# Ink as an area of full black: an empty box has less than the first, a mark more than the second.
# Larger boxes have more room for what a JPEG leaves: the limits grow beyond these insides.
_INK_MM2: Final = (0.075, 0.3)
_USUAL_INSIDES_MM2: Final = (11.0, 25.0)
# The same for boxes to write into, and for their insides.
_WRITING_MM2: Final = (0.06, 0.12)
_USUAL_WRITING_MM2: Final = 80.0
# The same where a printed letter hides much of the box.
_INK_BESIDE_LETTER_MM2: Final = (0.1, 0.2)
# A mark reaches into the middle and is longer than a speck is wide.
_MIDDLE_INK_MM2: Final = 0.06
_LENGTH_MM: Final = 2.3
_LENGTH: Final = 0.72
# Of the darkest of a box's ink, what is lighter is no part of a stroke.
_PART_OF_STROKE: Final = 0.25
_DARKEST_PX: Final = 6
# Lines are looked for so far inside frames, so long at least, in so many directions; so many
# spreads of what empty boxes have are noise.
_STREAK_INSET_MM: Final = 0.8
_STREAK_MM: Final = 1.6
_ANGLES: Final = 8
_NOISE_OF_LINES: Final = 3.0
# A line as clear as that is not nothing; ink lighter than the other may be a crease or rubbed out.
_STREAK: Final = 0.02
_MOST_TRACES: Final = 0.95
_LEAST_DARKNESS: Final = 0.13
# A line as clear as that is a stroke with less ink than other strokes need, by this factor.
_CLEAR_STREAK: Final = 0.05
_INK_OF_LINE: Final = 0.5
# What is dark, small and no longer is a speck.
_SPECK_MM: Final = 1.0
_SPECK_MM2: Final = 0.085
_SPECK_DARKNESS: Final = 0.2
# Boxes as near as that are looked at together: ink between them, as much darker than the paper
# there, goes from one into the other. What does not reach that part of a box is the other's.
_NEAR_MM: Final = 3.5
_NEAR_ROW_MM: Final = 16.0
_BETWEEN: Final = 0.15
_CREASE_BETWEEN: Final = 0.04
_OWN_PART: Final = 0.7
# A line that is lighter than that, as straight as that (its spread in parts of the inside), and
# goes on in the next box: a crease.
_CREASE: Final = 0.22
_CREASE_INK_MM2: Final = 0.036
_STRAIGHT: Final = 0.17
# So many marks tell the hand; if they are no darker than that, some may be taken for none.
_SOME_MARKS: Final = 5
_FAINT: Final = 0.13
_FAINT_STREAK: Final = 0.015
# How wide the strip inside each side is that is held against the paper outside it.
_STRIP_MM: Final = 1.0
# How much darker than the paper around it a box is: empty below, filled from the second on.
_FILLED: Final = (0.12, 0.19)
_FILLED_BESIDE_LETTER: Final = (0.15, 0.24)
# Room around printed letters that may be theirs.
_LETTER_EDGE_MM: Final = 0.22


@dataclass(frozen=True)
class Measured:
    """
    What was measured in a box.

    Parameters
    ----------
    ink_mm2 : float
        Ink of strokes inside it, as an area of full black.
    middle_ink_mm2 : float
        The part of it away from the frame.
    length_mm : float
        How long the ink goes on without a gap, across or down, whichever is more.
    filled : float
        How much darker the inside is than the paper beside it, a ratio.
    frame : float
        How well its frame is seen: the third best of four sides against the page's usual one.
    streak : float, optional
        How much darker the clearest straight line across the inside is than what lies on both
        sides of it, beyond what noise does in the page's boxes, a ratio.
    darkness : float, optional
        How dark the ink is where it is darkest, a ratio.
    across_mm, down_mm : float, optional
        How far its ink lies from its own middle (standard deviations): an upright line has little
        across.
    left_mm, right_mm : float, optional
        Between where its strokes lie, from the left edge of the inside.
    is_foreign : bool, optional
        Whether its ink may be part of what lies beside it: a mark that runs over, a crease.
    """

    ink_mm2: float
    middle_ink_mm2: float
    length_mm: float
    filled: float
    frame: float
    streak: float = 0.0
    darkness: float = 1.0
    across_mm: float = 1.0
    down_mm: float = 1.0
    left_mm: float = 0.0
    right_mm: float = 0.0
    is_foreign: bool = field(default=False, kw_only=True)


def judged(box: Box, measured: Measured) -> MarkState:
    """
    Decide what stands in a box.

    Parameters
    ----------
    box : Box
        The box.
    measured : Measured
        What was measured in it.

    Returns
    -------
    MarkState
        `UNSURE` unless it is clear.
    """
    if measured.frame < _SEEN:
        return MarkState.UNSURE
    least, enough = _ink_limits(box)
    plain, full = _FILLED_BESIDE_LETTER if box.printed else _FILLED
    # Each may be noise or a shadow; a little of all of them together is not nothing.
    traces = (
        measured.ink_mm2 / least
        + max(0.0, measured.filled) / plain
        + max(0.0, measured.streak) / (_STREAK * _room(box))
    )
    is_speck = (
        measured.ink_mm2 < _SPECK_MM2
        and measured.length_mm <= _SPECK_MM
        and measured.darkness >= _SPECK_DARKNESS
        and measured.filled < plain
    )
    if traces < _MOST_TRACES or is_speck:
        return MarkState.EMPTY
    if box.kind is BoxKind.WRITTEN:
        is_written = measured.ink_mm2 >= enough and measured.darkness >= _LEAST_DARKNESS
        return MarkState.WRITTEN if is_written else MarkState.UNSURE
    is_inked = measured.ink_mm2 >= enough or (
        measured.ink_mm2 >= _INK_OF_LINE * enough and measured.streak >= _CLEAR_STREAK
    )
    is_stroke = (
        is_inked
        and measured.length_mm >= _least_length_mm(box)
        and measured.darkness >= _LEAST_DARKNESS
        and (bool(box.printed) or measured.middle_ink_mm2 >= _MIDDLE_INK_MM2)
    )
    if (is_stroke or measured.filled >= full) and not measured.is_foreign:
        return MarkState.MARKED
    return MarkState.UNSURE


def are_faint(boxes: Sequence[Box], measured: Mapping[str, Measured]) -> bool:
    """
    Tell whether the marks of a page are so light that others may not be seen at all.

    Parameters
    ----------
    boxes : sequence of Box
        The page's boxes.
    measured : Mapping of str to Measured
        What was measured in each of them, by its key.

    Returns
    -------
    bool
        Whether the usual mark is hardly darker than paper.
    """
    found = []
    for box in boxes:
        one = measured[box.key]
        state = judged(box, one)
        may_be_mark = state is MarkState.MARKED or (
            state is MarkState.UNSURE
            and one.streak >= _FAINT_STREAK * _room(box)
            and not one.is_foreign
        )
        if box.kind is BoxKind.MARK and may_be_mark and one.frame >= _SEEN:
            found.append(1.0 if one.filled >= _FILLED[1] else one.darkness)
    return len(found) >= _SOME_MARKS and float(np.median(found)) < _FAINT


def _inside_mm(box: Box) -> float:
    return box.width_mm - 2 * _INSET_MM


def _inside_mm2(box: Box) -> float:
    return _inside_mm(box) * (box.height_mm - 2 * _INSET_MM)


def _room(box: Box) -> float:
    """How much longer a box is than usual ones, a ratio: noise has more places in it."""
    return math.sqrt(max(1.0, _inside_mm2(box) / _USUAL_INSIDES_MM2[0]))


def _ink_limits(box: Box) -> tuple[float, float]:
    inside = _inside_mm2(box)
    if box.kind is BoxKind.WRITTEN:
        share = max(1.0, inside / _USUAL_WRITING_MM2)
        return (_WRITING_MM2[0] * share, _WRITING_MM2[1] * share)
    least, enough = _INK_BESIDE_LETTER_MM2 if box.printed else _INK_MM2
    return (
        least * math.sqrt(_room(box)),
        enough * max(1.0, inside / _USUAL_INSIDES_MM2[1]),
    )


def _least_length_mm(box: Box) -> float:
    return min(_LENGTH_MM, _LENGTH * (min(box.width_mm, box.height_mm) - 2 * _INSET_MM))


@dataclass(frozen=True)
class PageOfBoxes:
    """
    The boxes of a flattened page.

    Parameters
    ----------
    measured : Mapping of str to Measured
        What was measured in each box, by its key.
    places : Mapping of str to tuple of int
        Column and row of each frame's upper left corner on the flattened page.
    sharpness : float
        How dark frames are against their paper, a ratio; low if the photo is blurred.
    grain : float
        How dark plain paper may be by noise, a ratio; high if the photo is too dark.
    frames_seen : float
        Share of the frames that were seen, a ratio in [0, 1].
    """

    measured: Mapping[str, Measured]
    places: Mapping[str, tuple[int, int]]
    sharpness: float
    grain: float
    frames_seen: float

    @property
    def is_sharp(self) -> bool:
        """Whether the photo is sharp enough to tell a mark from none."""
        return self.sharpness >= _LEAST_FRAME

    @property
    def is_light(self) -> bool:
        """Whether there was light enough to tell a pencil's mark from noise."""
        return self.grain <= _MOST_GRAIN


def measure_boxes(flat: Grey, boxes: Sequence[Box]) -> PageOfBoxes:
    """
    Measure all boxes of a page.

    Parameters
    ----------
    flat : numpy.ndarray
        The page at `FLAT_PX` pixels a mm.
    boxes : sequence of Box
        Its boxes; at least one.

    Returns
    -------
    PageOfBoxes
        What was found.
    """
    lit = without_strokes(flat)
    # Noise is taken out over a stroke's width before anything is held against it.
    calm = _calm(flat)
    shade = np.asarray(1 - calm / np.maximum(lit, np.float32(1)), dtype=np.float32)
    corners = np.array([(box.x_mm, box.y_mm) for box in boxes]) * FLAT_PX
    sizes = np.array([(box.width_mm, box.height_mm) for box in boxes]) * FLAT_PX
    found, clear = _frame_offsets(shade, corners, sizes)
    offsets = _agreed(corners + sizes / 2, found, clear)
    places = np.rint(corners + offsets).astype(int)
    grain = _grain(shade, places, sizes)
    papers = _papers(lit, places, np.rint(sizes).astype(int))
    sides = np.zeros((len(boxes), 4))
    measured: dict[str, Measured] = {}
    for members in _by_size(sizes):
        paper = np.median(papers[members], axis=1)
        sides[members] = _sides(flat, corners[members] + offsets[members], sizes[members], paper)
    usual = np.maximum(np.median(sides, axis=0), 1e-6)
    frames = np.sort(sides / usual, axis=1)[:, 1]
    for members in _by_size(sizes):
        alike = [boxes[member] for member in members]
        measured |= _measured(
            flat, shade - grain, alike, places[members], papers[members], frames[members]
        )
    for key in _foreign(calm, boxes, places, measured):
        measured[key] = replace(measured[key], is_foreign=True)
    return PageOfBoxes(
        measured,
        {box.key: (int(x), int(y)) for box, (x, y) in zip(boxes, places, strict=True)},
        float(np.median(usual)),
        grain,
        float((frames >= _SEEN).mean()),
    )


# --- light and strokes ----------------------------------------------------------------------------


def without_strokes(flat: Grey) -> Grey:
    """
    Return a page as it would be without thin dark things: its paper in its own light.

    Parameters
    ----------
    flat : numpy.ndarray
        The page in grey.

    Returns
    -------
    numpy.ndarray
        The page closed by a square (the least of the greatest around each pixel).
    """
    padded = np.pad(flat, _STROKE_PX - 1, mode="edge")
    for operation in (np.maximum, np.minimum):
        for axis in (0, 1):
            padded = _running(padded, operation, axis)
    return padded


def _calm(flat: Grey) -> Singles:
    """Means of three by three pixels."""
    padded = np.pad(flat, 1, mode="edge").astype(np.uint16)
    rows = padded[:-2] + padded[1:-1] + padded[2:]
    return np.asarray((rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) * np.float32(1 / 9))


def _running(values: Grey, operation: np.ufunc, axis: int) -> Grey:
    """Greatest or least of `_STROKE_PX` values in a row, by windows twice as long each time."""
    values = np.swapaxes(values, 0, axis)
    window = 1
    while window < _STROKE_PX:
        step = min(window, _STROKE_PX - window)
        values = operation(values[: len(values) - step], values[step:])
        window += step
    return np.ascontiguousarray(np.swapaxes(values, 0, axis))


# --- frames ---------------------------------------------------------------------------------------


def _between(profiles: Singles, places: Floats) -> Floats:
    """Read profiles between pixels; rows go together."""
    rows = np.arange(len(profiles))[:, None]
    low = np.clip(np.floor(places).astype(int), 0, profiles.shape[1] - 2)
    part = np.clip(places - low, 0.0, 1.0)
    return np.asarray(profiles[rows, low] * (1 - part) + profiles[rows, low + 1] * part)


def _line_contrast(profiles: Singles, places: Floats) -> Floats:
    """How much darker profiles are at places than beside them on both sides."""
    beside = 0.5 * FLAT_PX
    around = _between(profiles, places - beside) + _between(profiles, places + beside)
    return _between(profiles, places) - around / 2


def _profiles(
    page: npt.NDArray[np.generic], corners: Floats, sizes: Floats
) -> tuple[list[Singles], list[Floats]]:
    """Return means along the sides of boxes of one size, and where their corners lie in them."""
    margin = _FRAME_REACH_PX + 4
    start = np.floor(corners).astype(int) - margin
    wide, high = (int(side) + 2 * margin + 1 for side in np.ceil(sizes[0]))
    rows, columns = _windows(page.shape, start, (wide, high))
    # Some lines across the inside are as good as all.
    some_rows, some_columns = (
        np.linspace(margin + 3, side - margin - 4, _LINES).astype(int) for side in (high, wide)
    )
    across = page[rows[:, some_rows], columns].mean(axis=1, dtype=np.float32)
    down = page[rows, columns[:, :, some_columns]].mean(axis=2, dtype=np.float32)
    return [across, down], [corners[:, axis] - start[:, axis] - 0.5 for axis in (0, 1)]


def _by_size(sizes: Floats) -> list[npt.NDArray[np.intp]]:
    _, number = np.unique(np.rint(10 * sizes), axis=0, return_inverse=True)
    return [np.flatnonzero(number.ravel() == which) for which in range(number.max() + 1)]


def _frame_offsets(
    page: npt.NDArray[np.generic], corners: Floats, sizes: Floats
) -> tuple[Floats, Floats]:
    """Return how far frames are from their places in pixels, and how clearly that is seen."""
    offsets = np.zeros_like(corners)
    clear = np.zeros_like(corners)
    shifts = np.arange(-_FRAME_REACH_PX, _FRAME_REACH_PX + 0.25, 0.5)
    for members in _by_size(sizes):
        size = sizes[members]
        profiles, starts = _profiles(page, corners[members], size)
        for axis in (0, 1):
            first = starts[axis][:, None] + shifts
            near = _line_contrast(profiles[axis], first)
            far = _line_contrast(profiles[axis], first + size[:, axis, None])
            both = np.minimum(near, far) + 0.25 * (near + far)
            best = both.argmax(axis=1)
            offsets[members, axis] = shifts[best]
            clear[members, axis] = both.max(axis=1)
    return offsets, clear


def _agreed(middles: Floats, found: Floats, clear: Floats) -> Floats:
    """Return offsets that change smoothly over the page, and follow each frame's own near that."""
    scaled = middles / np.maximum(middles.max(axis=0), 1.0)
    x, y = scaled.T
    count = len(middles)
    terms = [np.ones(count), x, y, x * y, x * x, y * y]
    basis = np.column_stack(terms if count > 4 * len(terms) else terms[:1])
    agreed = np.zeros_like(found)
    for axis in (0, 1):
        kept = clear[:, axis] >= _SEEN * max(float(np.median(clear[:, axis])), 1e-6)
        smooth = np.zeros(count)
        for _ in range(4):
            if kept.sum() < basis.shape[1]:
                break
            solved = np.linalg.lstsq(basis[kept], found[kept, axis], rcond=None)[0]
            smooth = basis @ solved
            kept = kept & (np.abs(found[:, axis] - smooth) <= 2 * _ASTRAY_PX)
        own = kept & (np.abs(found[:, axis] - smooth) <= _ASTRAY_PX)
        agreed[:, axis] = np.where(own, found[:, axis], smooth)
    return agreed


def _sides(page: npt.NDArray[np.generic], corners: Floats, sizes: Floats, paper: Floats) -> Floats:
    """How much darker each of the four sides of frames is than what lies outside it."""
    profiles, starts = _profiles(page, corners, sizes)
    sides = []
    for axis in (0, 1):
        dark: Singles = np.asarray(
            1 - profiles[axis] / np.maximum(paper, 1.0)[:, None], dtype=np.float32
        )
        near = starts[axis][:, None]
        far = near + sizes[:, axis, None]
        for line, outwards in ((near, -1), (far, 1)):
            at = _between(dark, line + np.array((-0.5, 0.0, 0.5))).max(axis=1)
            outside = _between(dark, line + outwards * 0.5 * FLAT_PX)[:, 0]
            sides.append(at - outside)
    return np.column_stack(sides)


# --- ink ------------------------------------------------------------------------------------------


def _measured(
    flat: Grey,
    shade: Singles,
    boxes: Sequence[Box],
    places: npt.NDArray[np.intp],
    papers: Floats,
    frames: Floats,
) -> dict[str, Measured]:
    """Measure what is inside boxes of one size."""
    wide, high = round(boxes[0].width_mm * FLAT_PX), round(boxes[0].height_mm * FLAT_PX)
    inset = round(_INSET_MM * FLAT_PX)
    rows, columns = _windows(flat.shape, places + inset, (wide - 2 * inset, high - 2 * inset))
    ink = np.maximum(shade[rows, columns], 0.0)
    _take_frames_off(ink)
    ink[ink < _CLEAR_SHADE] = 0.0
    level = flat[rows, columns].astype(np.float32)
    blank = np.ones(ink.shape, dtype=bool)
    for number, box in enumerate(boxes):
        if box.printed:
            blank[number] = _blank_inside(box)
    ink *= blank
    darkness = np.sort(ink.reshape(len(ink), -1), axis=1)[:, -_DARKEST_PX]
    middle = round((_MIDDLE_MM - _INSET_MM) * FLAT_PX)
    # What a JPEG leaves around a dark speck is no part of a stroke.
    inked = ink > _PART_OF_STROKE * ink.max(axis=(1, 2), keepdims=True)
    runs = [_longest(np.asarray(inked.any(axis=axis))) for axis in (1, 2)]
    lengths = np.maximum(*runs) / FLAT_PX
    area = ink.sum(axis=(1, 2)) / FLAT_PX**2
    inner = ink[:, middle:-middle, middle:-middle].sum(axis=(1, 2)) / FLAT_PX**2
    filled = _filled(level, blank, papers)
    # Between frames that stand close together blur makes the paper seem darker than inside them.
    filled -= min(0.0, float(np.median(filled)))
    streaks = _streaks(shade, boxes, places)
    across, down = (_spreads(ink.sum(axis=axis)) / FLAT_PX for axis in (1, 2))
    columns_inked = inked.sum(axis=1) > 1
    left = columns_inked.argmax(axis=1) / FLAT_PX
    right = (ink.shape[2] - columns_inked[:, ::-1].argmax(axis=1)) / FLAT_PX
    each = (area, inner, lengths, filled, frames, streaks, darkness, across, down, left, right)
    return {
        box.key: Measured(*map(float, values)) for box, *values in zip(boxes, *each, strict=True)
    }


def _spreads(ink: Singles) -> Floats:
    """How far from its middle the ink of each row lies, in pixels."""
    total = np.maximum(ink.sum(axis=1), 1e-6)
    place = np.arange(ink.shape[1])
    middle = (ink * place).sum(axis=1) / total
    return np.asarray(np.sqrt((ink * (place - middle[:, None]) ** 2).sum(axis=1) / total))


# --- ink of others --------------------------------------------------------------------------------


def _foreign(
    calm: Singles,
    boxes: Sequence[Box],
    places: npt.NDArray[np.intp],
    measured: Mapping[str, Measured],
) -> set[str]:
    """Return the boxes whose ink may be part of what lies beside them."""
    foreign: set[str] = set()
    for axis in (0, 1):
        for first, second in _neighbours(boxes, axis):
            one, other = measured[boxes[first].key], measured[boxes[second].key]
            if min(one.ink_mm2, other.ink_mm2) < _CREASE_INK_MM2:
                continue
            creased = _is_crease(boxes[first], one, axis) and _is_crease(boxes[second], other, axis)
            if axis:
                # Between rows there is print: what goes on there is not looked at.
                foreign |= {boxes[first].key, boxes[second].key} if creased else set()
                continue
            between = _ink_between(calm, boxes[first], places[first], places[second])
            if creased and between >= _CREASE_BETWEEN:
                foreign |= {boxes[first].key, boxes[second].key}
            if between >= _BETWEEN and one.left_mm > (1 - _OWN_PART) * _inside_mm(boxes[first]):
                foreign.add(boxes[first].key)
            if between >= _BETWEEN and other.right_mm < _OWN_PART * _inside_mm(boxes[second]):
                foreign.add(boxes[second].key)
    return foreign


def _is_crease(box: Box, measured: Measured, axis: int) -> bool:
    """Whether the ink is a faint line along an axis: 0 level, 1 upright."""
    spread, inside = (
        (measured.across_mm, _inside_mm(box))
        if axis
        else (measured.down_mm, box.height_mm - 2 * _INSET_MM)
    )
    return measured.darkness < _CREASE and spread < _STRAIGHT * inside


def _neighbours(boxes: Sequence[Box], axis: int) -> list[tuple[int, int]]:
    """Return pairs of boxes that stand close together across (axis 0) or down (axis 1)."""
    corners = np.array([(box.x_mm, box.y_mm) for box in boxes])
    ends = corners + np.array([(box.width_mm, box.height_mm) for box in boxes])
    order = np.lexsort((corners[:, axis], np.rint(corners[:, 1 - axis])))
    first, second = order[:-1], order[1:]
    gap = corners[second, axis] - ends[first, axis]
    beside = np.abs(corners[second, 1 - axis] - corners[first, 1 - axis]) < 1.0
    near = beside & (gap > 0) & (gap < (_NEAR_MM, _NEAR_ROW_MM)[axis])
    return list(zip(first[near].tolist(), second[near].tolist(), strict=True))


def _ink_between(
    calm: Singles, box: Box, place: npt.NDArray[np.intp], following: npt.NDArray[np.intp]
) -> float:
    """How dark the darkest ink is halfway between a box and the one to its right, a ratio."""
    column = round((place[0] + box.width_mm * FLAT_PX + following[0]) / 2)
    rows = slice(max(0, place[1]), place[1] + round(box.height_mm * FLAT_PX))
    between = calm[rows, min(column, calm.shape[1] - 1)]
    return 1.0 - float(between.min()) / max(1.0, float(np.percentile(between, 90)))


def _streaks(
    shade: Singles, boxes: Sequence[Box], places: npt.NDArray[np.intp]
) -> npt.NDArray[np.float32]:
    """Return how clear the clearest line across the inside of boxes of one size is."""
    inset = round(_STREAK_INSET_MM * FLAT_PX)
    wide, high = (
        round(side * FLAT_PX) - 2 * inset for side in (boxes[0].width_mm, boxes[0].height_mm)
    )
    if boxes[0].kind is BoxKind.WRITTEN or any(box.printed for box in boxes):
        return np.zeros(len(boxes), dtype=np.float32)
    rows, columns = _windows(shade.shape, places + inset, (wide, high))
    inside = shade[rows, columns].reshape(len(boxes), -1)
    # Not by matrix product, whose threads wait for each other longer than this takes.
    against = np.einsum("bp,pl->bl", inside, _lines(wide, high))
    # What all boxes have in common is the blur of their frames; the lighter half tells the noise.
    low, usual = np.percentile(against, (10, 50), axis=0)
    beyond = against - usual - _NOISE_OF_LINES * (usual - low) / 1.28
    return np.asarray(beyond.max(axis=1), dtype=np.float32)


@cache
def _lines(wide: int, high: int) -> Singles:
    """Weights of pixels for each line across a box: the line's mean less that of both sides."""
    y, x = np.mgrid[:high, :wide] - np.array(((high - 1) / 2, (wide - 1) / 2))[:, None, None]
    lines = []
    for angle in np.arange(_ANGLES) * np.pi / _ANGLES:
        across = x * np.cos(angle) + y * np.sin(angle)
        for place in np.arange(-max(wide, high) / 2, max(wide, high) / 2, 1.5):
            away = np.abs(across - place)
            line, beside = away <= 1.0, (away > 2.5) & (away <= 6.0)  # noqa: PLR2004 - pixels
            if line.sum() < 2 * _STREAK_MM * FLAT_PX or not beside.any():
                continue
            lines.append((line / line.sum() - beside / beside.sum()).ravel())
    return np.asarray(lines, dtype=np.float32).T.copy()


def _grain(shade: Singles, places: npt.NDArray[np.intp], sizes: Floats) -> float:
    """
    How dark plain paper of a photo may be.

    Told by the lighter part of what is inside the boxes, since the darker part may be marks: for a
    normal law 35 in 100 lie 1.26 spreads above 5 in 100, and 0.39 below the middle.
    """
    inset = round(_INSET_MM * FLAT_PX)
    some = []
    for members in _by_size(sizes):
        wide, high = (round(side) - 2 * inset for side in sizes[members[0]])
        rows, columns = _windows(shade.shape, places[members] + inset, (wide, high))
        some.append(shade[rows[:, ::2], columns[:, :, ::2]].ravel())
    low, near = np.percentile(np.concatenate(some), (5, 35))
    spread = float(near - low) / 1.26
    return max(_LEAST_SHADE, float(near) + (0.39 + _NOISE_TIMES) * spread)


def _longest(inked: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """Length of the longest run in each row."""
    run = np.zeros(len(inked), dtype=np.intp)
    longest = run.copy()
    for column in inked.T:
        run = (run + 1) * column
        np.maximum(longest, run, out=longest)
    return longest


def _take_frames_off(ink: Singles) -> None:
    """Take off what darkens a whole line beside the frame: blur of the frame, no stroke."""
    for line in range(_RIM_PX):
        for place in (line, -1 - line):
            along = ink[:, place, :]
            along -= np.minimum(along, np.median(along, axis=1, keepdims=True))
            along = ink[:, :, place]
            along -= np.minimum(along, np.median(along, axis=1, keepdims=True))


def _windows(
    shape: tuple[int, ...], corners: npt.NDArray[np.intp], size: tuple[int, int]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Rows and columns of windows of one size, kept inside the page."""
    rows = np.clip(corners[:, 1, None] + np.arange(size[1]), 0, shape[0] - 1)
    columns = np.clip(corners[:, 0, None] + np.arange(size[0]), 0, shape[1] - 1)
    return rows[:, :, None], columns[:, None, :]


def _papers(lit: Grey, places: npt.NDArray[np.intp], sizes: npt.NDArray[np.intp]) -> Floats:
    """Brightness of the paper left, right, above and below each box."""
    away = round(_BESIDE_MM * FLAT_PX)
    height, width = lit.shape
    papers = []
    for axis in (0, 1):
        along = 1 - axis
        for outside in (-away, sizes[:, axis] + away):
            levels = []
            for share in (0.25, 0.5, 0.75):
                point = np.empty_like(places)
                point[:, axis] = places[:, axis] + outside
                point[:, along] = places[:, along] + np.rint(share * sizes[:, along])
                x, y = np.clip(point[:, 0], 0, width - 1), np.clip(point[:, 1], 0, height - 1)
                levels.append(lit[y, x].astype(float))
            papers.append(sum(levels) / len(levels))
    return np.asarray(np.maximum(np.column_stack(papers), 1.0))


def _filled(levels: Singles, blank: npt.NDArray[np.bool_], papers: Floats) -> Floats:
    """
    How much darker boxes are inside each side than outside it, at the middle two of their sides.

    The edge of a shadow may run between the two at one side, or at two, but not at three.
    """
    deep = min(round(_STRIP_MM * FLAT_PX), levels.shape[1], levels.shape[2])
    strips = (
        np.s_[:, :, :deep],
        np.s_[:, :, -deep:],
        np.s_[:, :deep, :],
        np.s_[:, -deep:, :],
    )
    sides = []
    for number, strip in enumerate(strips):
        seen = np.maximum(blank[strip].sum(axis=(1, 2)), 1)
        mean = (levels[strip] * blank[strip]).sum(axis=(1, 2)) / seen
        sides.append(1.0 - mean / papers[:, number])
    return np.asarray(np.sort(np.column_stack(sides), axis=1)[:, 1:3].mean(axis=1))


def _blank_inside(box: Box) -> npt.NDArray[np.bool_]:
    # Letters of a column differ in nothing but their row: rounded, so that they are drawn once.
    printed = tuple(
        (
            text.text,
            round(text.x_mm - box.x_mm, 1),
            round(text.y_mm - box.y_mm, 1),
            text.size_mm,
            text.anchor,
            text.bold,
        )
        for text in box.printed
    )
    return _blank(printed, box.width_mm, box.height_mm)


@cache
def _blank(
    printed: tuple[tuple[str, float, float, float, Anchor, bool], ...],
    width_mm: float,
    height_mm: float,
) -> npt.NDArray[np.bool_]:
    """Where nothing is printed inside a box."""
    finer = 4
    scale = FLAT_PX * finer
    wide, high = round(width_mm * FLAT_PX), round(height_mm * FLAT_PX)
    layer = Image.new("L", (wide * finer, high * finer), 0)
    draw = ImageDraw.Draw(layer)
    anchors = {Anchor.START: "ls", Anchor.MIDDLE: "ms", Anchor.END: "rs"}
    for text, x, y, size, anchor, bold in printed:
        draw.text(
            (x * scale, y * scale),
            text,
            fill=255,
            anchor=anchors[anchor],
            font=_font(size * scale, bold=bold),
            stroke_width=round(_LETTER_EDGE_MM * scale),
        )
    inset = round(_INSET_MM * FLAT_PX)
    covered = np.asarray(layer).reshape(high, finer, wide, finer).max(axis=(1, 3)) > 0
    return np.asarray(~covered[inset:-inset, inset:-inset])


@cache
def _font(size_px: float, *, bold: bool) -> ImageFont.FreeTypeFont:
    face = pdfmetrics.getFont(font_name(bold=bold)).face
    return ImageFont.truetype(face.filename, size_px)
