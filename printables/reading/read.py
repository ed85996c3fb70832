"""A sheet read from a photo: its code first, then its boxes, and nothing that is not clear."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Final

import numpy as np
from PIL import Image

from audits.messages import Message, say, say_n
from printables.marked import MarkedPage, SheetCode, parse_code
from printables.paper_code import CODE_CELLS, CODE_MM, code_corner, stations
from printables.reading import UnreadablePhoto
from printables.reading.code_place import text_on_page
from printables.reading.fiducials import CLEAR_TARGET, Target, find_targets
from printables.reading.marks import MarkState, PageOfBoxes, are_faint, judged, measure_boxes
from printables.reading.perspective import FLAT_PX, Placement, quads, with_bends
from printables.reading.photo import Grey, grey_photo, levels_at
from printables.sheet import PAGE_SIZES_MM, Page

_CORNERS: Final = 4
# The likeliest that are tried: two sheets are among the first of theirs.
_MOST_QUADS: Final = 12
# Stations that must be seen along each edge, so that no row is taken for the next.
_LEAST_STATIONS: Final = 0.4
# With fewer along all edges four targets are no page's corners.
_FEWEST_STATIONS: Final = 0.25
# With so many there is no need to try the other paper.
_SURE_STATIONS: Final = 0.75
# Boxes whose frame must be seen where it was printed.
_LEAST_FRAMES: Final = 0.75
# With more boxes to look at another photo is less work than looking.
_MOST_UNSURE: Final = 0.15
# More than one target beside a sheet's own belongs to a second sheet.
_STRAY_TARGETS: Final = 2
# Of a sharp edge most of the step lies within two pixels.
_BLURRED: Final = 0.3
_LEAST_STEP: Final = 20.0
_PRINT_PERCENT: Final = 97
_CROP_MARGIN_MM: Final = 3.0
_QUALITY: Final = 85
_PAPER_PERCENT: Final = 95
_PAPER_LEVEL: Final = 240
_PAPERS: Final = (Page.LETTER, Page.A4)


@dataclass(frozen=True)
class SheetReading:
    """
    What was read from a photo of one page.

    Parameters
    ----------
    page : MarkedPage
        The page as it was printed.
    marks : Mapping of str to MarkState
        What stands in each box, by its key, in the order of the page's boxes.
    boxes : PageOfBoxes
        What was measured in them.
    flat : numpy.ndarray
        The page upright and flattened, in grey.
    """

    page: MarkedPage
    marks: Mapping[str, MarkState]
    boxes: PageOfBoxes
    flat: Grey

    @property
    def code(self) -> SheetCode:
        """What the code on it says."""
        return self.page.code

    @property
    def unsure(self) -> tuple[str, ...]:
        """Keys of the boxes that a person has to look at, in the order of the page's boxes."""
        return tuple(key for key, state in self.marks.items() if state is MarkState.UNSURE)

    def crop(self, *keys: str) -> bytes:
        """
        Cut boxes out of the photo, for a person to look at.

        Parameters
        ----------
        *keys : str
            The keys of boxes that lie near each other, at least one.

        Returns
        -------
        bytes
            A JPEG file of the boxes and some of what is around them.

        Raises
        ------
        KeyError
            If the page has no such box.
        """
        boxes = {box.key: box for box in self.page.boxes}
        edges = [
            (
                *self.boxes.places[key],
                self.boxes.places[key][0] + round(boxes[key].width_mm * FLAT_PX),
                self.boxes.places[key][1] + round(boxes[key].height_mm * FLAT_PX),
            )
            for key in keys
        ]
        left, top, right, bottom = zip(*edges, strict=True)
        margin = round(_CROP_MARGIN_MM * FLAT_PX)
        rows = slice(max(0, min(top) - margin), max(bottom) + margin)
        columns = slice(max(0, min(left) - margin), max(right) + margin)
        return _jpeg(self.flat[rows, columns])

    def picture(self) -> bytes:
        """
        Return the whole page, upright and flattened.

        Returns
        -------
        bytes
            A JPEG file without metadata.
        """
        return _jpeg(self.flat)


def read_sheet(content: bytes, find: Callable[[SheetCode], MarkedPage]) -> SheetReading:
    """
    Read a page that was marked by hand from its photo.

    Parameters
    ----------
    content : bytes
        The photo, a JPEG, PNG or WebP file; it may lie on its side or upside down.
    find : callable
        Returns the page as it was printed; what it raises is passed on.

    Returns
    -------
    SheetReading
        Every box with what stands in it, unsure unless that is clear. Two marks in a group are
        told as two marks.

    Raises
    ------
    UnreadablePhoto
        If it shows no whole sheet or more than one, if the code or the boxes do not agree with
        what was printed, or if it is too small or too blurred.
    """
    photo = grey_photo(content)
    found = find_targets(photo)
    sheets = _sheets(photo, found)
    if not sheets:
        raise UnreadablePhoto(_nothing_found(photo, found))
    sheet = sheets[0]
    stray = [
        target for target in found if target not in sheet.targets and target.contrast > CLEAR_TARGET
    ]
    if len(sheets) > 1 or len(stray) >= _STRAY_TARGETS:
        raise UnreadablePhoto(
            say("There is more than one sheet on the photo. Take a photo of each one by itself.")
        )
    code = parse_code(sheet.text)
    if code is None:
        raise UnreadablePhoto(
            say(
                "The code on this sheet is none of ours, or it is damaged: %(text)s",
                text=sheet.text,
            )
        )
    page = find(code)
    if not _is_as_printed(page, code, sheet.placement):
        raise UnreadablePhoto(
            say(
                "The boxes of this sheet do not lie where they do today: it was printed by another"
                " version of the program or on other paper. Type it in by hand."
            )
        )
    return _read(sheet, page)


def _is_as_printed(page: MarkedPage, code: SheetCode, placement: Placement) -> bool:
    return page.code == code and page.layout == code.layout and page.size_mm == placement.size_mm


def _read(sheet: "_Sheet", page: MarkedPage) -> SheetReading:
    boxes = measure_boxes(sheet.flat, page.boxes)
    if not boxes.is_sharp:
        raise UnreadablePhoto(_blurred())
    if not boxes.is_light:
        raise UnreadablePhoto(say("The photo is too dark. Take it where there is more light."))
    marks = {box.key: judged(box, boxes.measured[box.key]) for box in page.boxes}
    if are_faint(page.boxes, boxes.measured):
        raise UnreadablePhoto(
            say(
                "The marks are too faint on this photo to be told from empty boxes. Go over them"
                " with a pen, or take the photo in more light and without glare."
            )
        )
    unsure = sum(state is MarkState.UNSURE for state in marks.values())
    if (
        boxes.frames_seen < _LEAST_FRAMES
        or not _edges_are_seen(sheet.placement)
        or unsure > _MOST_UNSURE * len(marks)
    ):
        raise UnreadablePhoto(
            say(
                "Too much of the sheet is covered or bent. Lay it flat, keep your hands off it and"
                " take another photo."
            )
        )
    return SheetReading(page, marks, boxes, sheet.flat)


def _edges_are_seen(placement: Placement) -> bool:
    # The first and the last row of a bend are the targets.
    return all(
        len(bend) - 2 >= _LEAST_STATIONS * len(edge)
        for bend, edge in zip(placement.bends, stations(placement.size_mm), strict=True)
    )


# --- sheets on a photo ----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Sheet:
    targets: tuple[Target, ...]
    placement: Placement
    flat: Grey
    text: str


def _sheets(photo: Grey, found: list[Target]) -> list[_Sheet]:
    """Find every whole sheet with a code that can be read."""
    sheets: list[_Sheet] = []
    for corners in quads(found)[:_MOST_QUADS]:
        used = [target for sheet in sheets for target in sheet.targets]
        if any(target in used for target in corners):
            continue
        sheet = _sheet(photo, corners)
        if sheet is not None:
            sheets.append(sheet)
    return sheets


def _sheet(photo: Grey, corners: tuple[Target, ...]) -> _Sheet | None:
    """Read the code of a sheet, whichever way it lies."""
    for placement in _placements(photo, corners):
        if placement.seen < _FEWEST_STATIONS * sum(map(len, stations(placement.size_mm))):
            continue
        flat = placement.flattened(photo)
        text = text_on_page(flat, placement.size_mm)
        if text is not None:
            return _Sheet(corners, placement, flat, text)
    return None


def _placements(photo: Grey, corners: tuple[Target, ...]) -> Iterator[Placement]:
    """Try each corner as the upper left one, where the code seems to be first, and each paper."""
    points = np.array([(target.x, target.y) for target in corners])
    sides = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    lengths = sides + np.roll(sides, -2)
    turns = []
    for turn in range(_CORNERS):
        is_landscape = lengths[turn] > lengths[turn - 1]
        sizes = [_lying(PAGE_SIZES_MM[paper], landscape=bool(is_landscape)) for paper in _PAPERS]
        placements = [Placement(size, np.roll(points, -turn, axis=0)) for size in sizes]
        turns.append((-_code_contrast(photo, placements[0]), turn, placements))
    for _, _, placements in sorted(turns, key=lambda item: item[:2]):
        bent: list[Placement] = []
        for placement in placements:
            bent.append(with_bends(photo, placement))
            if bent[-1].seen >= _SURE_STATIONS * sum(map(len, stations(placement.size_mm))):
                break
        yield from sorted(bent, key=lambda placement: -placement.seen)


def _lying(size: tuple[float, float], *, landscape: bool) -> tuple[float, float]:
    return (size[1], size[0]) if landscape else size


def _code_contrast(photo: Grey, placement: Placement) -> float:
    """How much dark and light change where the code would be."""
    left, top = code_corner(placement.size_mm)
    ticks = (np.arange(CODE_CELLS) + 0.5) / CODE_CELLS * CODE_MM
    places = np.stack(np.meshgrid(left + ticks, top + ticks), axis=-1)
    levels = levels_at(photo, placement.on_photo(places))
    changes = np.abs(np.diff(levels, axis=0)).mean() + np.abs(np.diff(levels, axis=1)).mean()
    return float(changes / max(1.0, levels.mean()))


# --- what to say ----------------------------------------------------------------------------------


def _nothing_found(photo: Grey, found: list[Target]) -> Message:
    if _is_blurred(photo):
        return _blurred()
    if not found:
        return say(
            "No sheet was found on the photo. Take it from above, with all four corner targets on"
            " it and the sheet filling most of it."
        )
    if len(found) < _CORNERS:
        return say_n(
            "Only %(count)s of the four corner targets of the sheet is to be seen. Take the whole"
            " sheet, with nothing on its corners.",
            "Only %(count)s of the four corner targets of the sheet are to be seen. Take the whole"
            " sheet, with nothing on its corners.",
            len(found),
        )
    return say(
        "The code in the sheet's corner cannot be read: it is covered, damaged or blurred, or the"
        " sheet is none of ours."
    )


def _blurred() -> Message:
    return say(
        "The photo is too blurred. Hold the phone still, wait until it is sharp, and repeat."
    )


def _is_blurred(photo: Grey) -> bool:
    levels = photo.astype(np.int16)
    near, far = (
        [
            np.abs(levels[:, lag:] - levels[:, :-lag])[::4],
            np.abs(levels[lag:] - levels[:-lag])[:, ::4],
        ]
        for lag in (2, 12)
    )
    steps = [max(float(np.percentile(way, 99.5)) for way in ways) for ways in (near, far)]
    # An empty page has an edge all around, and no print that could be sharp.
    has_print = max(float(np.percentile(way, _PRINT_PERCENT)) for way in far) >= _LEAST_STEP
    return has_print and steps[0] < _BLURRED * steps[1]


def _jpeg(grey: Grey) -> bytes:
    """Write a part of the page as people see it best: its paper nearly white."""
    paper = max(1.0, float(np.percentile(grey, _PAPER_PERCENT)))
    lit = np.clip(grey * (_PAPER_LEVEL / paper), 0, 255).astype(np.uint8)
    written = BytesIO()
    Image.fromarray(lit).save(written, "JPEG", quality=_QUALITY)
    return written.getvalue()
