"""
Photos of printed pages as phones take them, made up from a seed: what is on them is known.

`rasterised` draws a page as pypdfium2 sees it, `filled_in` marks it by hand, `worn` creases, stains
or copies it, `photographed` takes the picture: paper that curls, a hand-held lens, light, blur,
noise, JPEG.

All is in grey: what is read is the luma of a JPEG (ITU-T T.871), a weighted sum of its colours.
Print and paper are neutral, so a coloured ink under a coloured lamp is an ink of one darkness
there: `_seen_darkness` works it out.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from io import BytesIO
from random import Random

import numpy as np
import pypdfium2
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from audits.vocabulary import SheetKind
from printables.document import Document, Leaf, Piece, Role, to_pdf
from printables.drawing.inks import Ink
from printables.drawing.primitives import Anchor, Drawing, Rect, Shape, Text
from printables.marked import Box, BoxKind, MarkedPage, SheetCode, layout_check
from printables.paper_code import code_room, content_area, page_frame
from printables.sheet import PAGE_SIZES_MM, Page

# Pixels a mm of the page before it is photographed.
RASTER = 10.0


# --- a page of boxes ------------------------------------------------------------------------------


def page_of_boxes(
    page: Page = Page.LETTER, *, landscape: bool = False, name: str = "7", side_mm: float = 4.2
) -> tuple[MarkedPage, Document]:
    """A page full of boxes in rows, some with a letter inside, words beside, two to write into."""
    width, height = PAGE_SIZES_MM[page]
    size = (height, width) if landscape else (width, height)
    left, top, right, bottom = content_area(size)
    below_code = code_room(size)[3] + 6.0
    pitch_x, pitch_y = side_mm + 2.4, side_mm + 3.8
    boxes: list[Box] = []
    shapes: list[Shape] = [
        Text(left + 2, top + 8, "A page of boxes", 6.0, bold=True),
        Text(
            left + 2, top + 16, "Every row has words, boxes and letters; mark what you like.", 3.2
        ),
    ]
    for place, key in enumerate(("name", "code")):
        box = Box(key, key, left + 2 + 60 * place, top + 18, 55.0, 8.0, BoxKind.WRITTEN)
        boxes.append(box)
    row = 0
    y = below_code
    while y + side_mm < bottom - 2:
        shapes.append(Text(left + 1, y + side_mm - 0.9, f"Tree {row + 1}", 3.2))
        x, column = left + 20, 0
        while x + side_mm < right - 1:
            printed: tuple[Text, ...] = ()
            if column % 12 == 2:
                letter = "HSBYFTKRNLO"[column // 12]
                printed = (
                    Text(x + side_mm / 2, y + side_mm - 1.0, letter, 3.0, anchor=Anchor.MIDDLE),
                )
            boxes.append(
                Box(
                    f"t{row}.{column}", f"t{row}.{column // 3}", x, y, side_mm, side_mm,
                    printed=printed,
                )
            )  # fmt: skip
            x += pitch_x
            column += 1
        row += 1
        y += pitch_y
    for box in boxes:
        ink = Ink.FRAME
        shapes.append(Rect(box.x_mm, box.y_mm, box.width_mm, box.height_mm, ink))
        shapes += box.printed
    code = SheetCode(SheetKind.TALLY, (name, "L", "EN"), 1, layout_check(page, boxes))
    marked = MarkedPage(page, code, tuple(boxes), landscape=landscape)
    drawing = Drawing(*size, tuple(shapes), "Page of boxes", "")
    pieces = (Piece(drawing, 0.0, 0.0, Role.TEXT), *page_frame(marked))
    return marked, Document("Page of boxes", "Farm", "en", [Leaf(size, pieces)])


def rasterised(document: Document, number: int = 0) -> Image.Image:
    """The page in grey at `RASTER` pixels a mm."""
    pdf = pypdfium2.PdfDocument(to_pdf(document))
    try:
        return pdf[number].render(scale=RASTER * 25.4 / 72, grayscale=True).to_pil().convert("L")
    finally:
        pdf.close()


# --- marks by many hands --------------------------------------------------------------------------


class Deed(StrEnum):
    """What somebody, or the weather, did to a box."""

    NOTHING = "nothing"
    MARKED = "marked"
    CROSSED_OUT = "crossed out"
    ERASED = "erased"
    SMUDGE = "smudge"
    SPECK = "speck"
    WRITTEN = "written"
    # A small mark that keeps to one corner.
    CORNER = "in a corner"
    # A mark that runs over into the boxes beside it.
    RUNS_OVER = "runs over"
    # A stroke along one side of the frame.
    ON_FRAME = "on the frame"
    # A pen that was put down once: a mark to some, nothing to others.
    DOT = "dot"


# What counts as a mark; everything else is empty, but for a dot, of which nobody knows.
IS_MARK = {Deed.MARKED, Deed.CROSSED_OUT, Deed.WRITTEN, Deed.CORNER, Deed.RUNS_OVER}


@dataclass(frozen=True)
class Hand:
    """How somebody makes marks."""

    shape: str
    darkness: float
    width_mm: float
    is_pencil: bool
    reach: float  # how far strokes go beyond the box, in mm
    off_mm: float  # how far from the middle


# How much of red, green and blue an ink swallows, and the light of a lamp in them.
_BLUE_INK = (0.9, 0.8, 0.3)
_RED_INK = (0.15, 0.8, 0.75)
_YELLOW_LAMP = (1.0, 0.85, 0.5)
# Shares of red, green and blue in luma.
_LUMA = (0.299, 0.587, 0.114)
_SHAPES = (
    *("tick", "cross", "slash", "bar") * 2,
    *("fill", "scribble", "upright", "circle"),
)


def _seen_darkness(ink: tuple[float, float, float], lamp: tuple[float, float, float]) -> float:
    """Darkness in luma of an ink under a lamp, against white paper under it."""
    light = [weight * band for weight, band in zip(_LUMA, lamp, strict=True)]
    return sum(part * band for part, band in zip(light, ink, strict=True)) / sum(light)


def any_hand(chance: Random) -> Hand:
    pens = {
        "faint pencil": (1, chance.uniform(0.2, 0.32), chance.uniform(0.45, 0.7)),
        "light pencil": (6, chance.uniform(0.32, 0.45), chance.uniform(0.45, 0.7)),
        "pencil": (12, chance.uniform(0.45, 0.7), chance.uniform(0.45, 0.8)),
        "ball pen": (14, chance.uniform(0.65, 0.92), chance.uniform(0.35, 0.55)),
        "coloured pen": (
            6,
            chance.uniform(0.8, 1.0)
            * _seen_darkness(
                chance.choice((_BLUE_INK, _BLUE_INK, _RED_INK)),
                chance.choice(((1.0, 1.0, 1.0), _YELLOW_LAMP)),
            ),
            chance.uniform(0.35, 0.6),
        ),
        "marker": (3, chance.uniform(0.8, 0.95), chance.uniform(0.8, 1.2)),
        "felt pen": (3, chance.uniform(0.8, 0.95), chance.uniform(1.4, 2.4)),
    }
    weights = [weight for weight, _, _ in pens.values()]
    pen = chance.choices(list(pens), weights)[0]
    _, darkness, width = pens[pen]
    return Hand(
        shape=chance.choice(_SHAPES),
        darkness=darkness,
        width_mm=width,
        is_pencil="pencil" in pen,
        reach=chance.uniform(-0.4, 1.1),
        off_mm=chance.uniform(0.0, 0.5),
    )


def _strokes(shape: str, box: Box, hand: Hand, chance: Random) -> list[list[tuple[float, float]]]:
    """The lines of a mark in mm from the page's corner."""
    ox = chance.uniform(-hand.off_mm, hand.off_mm)
    oy = chance.uniform(-hand.off_mm, hand.off_mm)
    left, top = box.x_mm + ox - hand.reach, box.y_mm + oy - hand.reach
    right = box.x_mm + box.width_mm + ox + hand.reach
    bottom = box.y_mm + box.height_mm + oy + hand.reach
    wide, high = right - left, bottom - top

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            left + x * wide + chance.gauss(0, 0.12),
            top + y * high + chance.gauss(0, 0.12),
        )

    turns = chance.randint(4, 7)
    match shape:
        case "tick":
            lines = [[at(0.1, 0.5), at(0.25, 0.7), at(0.4, 0.88), at(0.65, 0.5), at(0.95, 0.02)]]
        case "cross":
            lines = [
                [at(0.08, 0.08), at(0.5, 0.52), at(0.92, 0.92)],
                [at(0.92, 0.06), at(0.08, 0.94)],
            ]
        case "slash":
            lines = [[at(0.9, 0.05), at(0.5, 0.5), at(0.08, 0.95)]]
        case "bar":
            lines = [[at(0.08, 0.5), at(0.5, 0.5), at(0.92, 0.5)]]
        case "upright":
            lines = [[at(0.5, 0.08), at(0.5, 0.5), at(0.5, 0.92)]]
        case "scribble":
            places = range(turns + 1)
            lines = [
                [at(0.05 + 0.9 * place / turns, 0.1 if place % 2 else 0.9) for place in places]
            ]
        case "circle":
            lines = [_circle(box, ox, oy)]
        case _:
            lines = [_filling(box, hand, chance)]
    return lines


def _circle(box: Box, right_mm: float, below_mm: float) -> list[tuple[float, float]]:
    """A small circle that never leaves the box."""
    x = box.x_mm + box.width_mm / 2 + right_mm
    y = box.y_mm + box.height_mm / 2 + below_mm
    radius = 0.3 * min(box.width_mm, box.height_mm, 6.0)
    angles = [place / 3 for place in range(20)]
    return [(x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle in angles]


def _filling(box: Box, hand: Hand, chance: Random) -> list[tuple[float, float]]:
    """To and fro until the box is full."""
    inner = box.height_mm - 0.5
    lines = math.ceil(inner / (0.8 * hand.width_mm))
    return [
        (
            box.x_mm + (0.4 if line % 2 else box.width_mm - 0.4) + chance.gauss(0, 0.12),
            box.y_mm + 0.3 + inner * line / lines + chance.gauss(0, 0.06),
        )
        for line in range(lines + 1)
    ]


def _ink(
    page: Image.Image,
    strokes: Sequence[Sequence[tuple[float, float]]],
    darkness: float,
    width_mm: float,
    chance: Random,
    *,
    is_pencil: bool,
) -> None:
    """Lay ink or graphite over the page."""
    xs = [x for stroke in strokes for x, _ in stroke]
    ys = [y for stroke in strokes for _, y in stroke]
    edge = width_mm + 0.5
    left = max(0, math.floor((min(xs) - edge) * RASTER))
    top = max(0, math.floor((min(ys) - edge) * RASTER))
    right = min(page.width, math.ceil((max(xs) + edge) * RASTER))
    bottom = min(page.height, math.ceil((max(ys) + edge) * RASTER))
    if right <= left or bottom <= top:
        return
    layer = Image.new("L", (right - left, bottom - top), 0)
    draw = ImageDraw.Draw(layer)
    for stroke in strokes:
        points = [(x * RASTER - left, y * RASTER - top) for x, y in stroke]
        width = max(1, round(width_mm * RASTER))
        draw.line(points, fill=255, width=width, joint="curve")
        for x, y in (points[0], points[-1]):
            draw.circle((x, y), width / 2, fill=255)
    layer = layer.filter(ImageFilter.GaussianBlur(0.8))
    shade = np.asarray(layer, dtype=np.float32) / 255 * darkness
    if is_pencil:
        # Graphite stays on the tops of the paper's fibres.
        grain = np.random.default_rng(chance.getrandbits(32)).uniform(0.55, 1.25, shade.shape)
        shade = np.clip(shade * grain, 0.0, 0.95).astype(np.float32)
    box = (left, top, right, bottom)
    under = np.asarray(page.crop(box), dtype=np.float32)
    page.paste(Image.fromarray(np.rint(under * (1 - shade)).astype(np.uint8)), box[:2])


def _blob(
    page: Image.Image, x: float, y: float, radius_mm: float, darkness: float, soft_mm: float
) -> None:
    reach = radius_mm + 2.5 * soft_mm
    left, top = max(0, round((x - reach) * RASTER)), max(0, round((y - reach) * RASTER))
    right = min(page.width, round((x + reach) * RASTER))
    bottom = min(page.height, round((y + reach) * RASTER))
    if right <= left or bottom <= top:
        return
    rows, columns = np.mgrid[top:bottom, left:right]
    distance = np.hypot(columns / RASTER - x, rows / RASTER - y)
    shade = darkness / (1 + np.exp((distance - radius_mm) / max(0.02, soft_mm / 3)))
    under = np.asarray(page.crop((left, top, right, bottom)), dtype=np.float32)
    page.paste(Image.fromarray(np.rint(under * (1 - shade)).astype(np.uint8)), (left, top))


def do_to(page: Image.Image, box: Box, deed: Deed, hand: Hand, chance: Random) -> None:
    """Do something to one box of a page."""

    def draw(
        strokes: Sequence[Sequence[tuple[float, float]]], width_mm: float = hand.width_mm
    ) -> None:
        _ink(page, strokes, hand.darkness, width_mm, chance, is_pencil=hand.is_pencil)

    middle = (box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2)
    strokes = _strokes(hand.shape, box, hand, chance)
    thin = min(hand.width_mm, 0.6)
    match deed:
        case Deed.MARKED:
            draw(strokes)
        case Deed.CROSSED_OUT:
            wild = replace(hand, reach=max(0.6, hand.reach))
            draw(strokes)
            draw(_strokes("scribble", box, wild, chance))
            draw(_strokes("slash", box, wild, chance))
        case Deed.RUNS_OVER:
            # At most about as far as the middle of the next box.
            far = replace(hand, reach=chance.uniform(1.6, 3.2) - hand.width_mm / 2)
            draw(_strokes(chance.choice(("bar", "bar", "slash", "tick")), box, far, chance))
        case Deed.CORNER:
            still = replace(hand, reach=0.0, off_mm=0.0)
            draw(_strokes(hand.shape, _corner_of(box, chance), still, chance), thin)
        case Deed.ON_FRAME:
            draw([_along_frame(box, chance)], thin)
        case Deed.WRITTEN:
            draw(_letters(box, chance))
        case Deed.ERASED | Deed.SMUDGE | Deed.SPECK | Deed.DOT:
            _trace(page, strokes, middle, deed, hand, chance)


def _trace(
    page: Image.Image,
    strokes: Sequence[Sequence[tuple[float, float]]],
    middle: tuple[float, float],
    deed: Deed,
    hand: Hand,
    chance: Random,
) -> None:
    """Leave something in a box that is no mark, or a dot that may be one."""

    def near(reach: float) -> tuple[float, float]:
        x, y = middle
        return x + chance.uniform(-reach, reach), y + chance.uniform(-reach, reach)

    if deed is Deed.ERASED:
        rest = hand.darkness * chance.uniform(0.06, 0.2)
        _ink(page, strokes, rest, hand.width_mm + 0.15, chance, is_pencil=True)
        _blob(page, *middle, chance.uniform(2.0, 4.0), chance.uniform(0.02, 0.06), 1.5)
    elif deed is Deed.SMUDGE:
        _blob(page, *near(1.5), chance.uniform(1.5, 6.0), chance.uniform(0.04, 0.12), 2.0)
    elif deed is Deed.SPECK:
        for _ in range(chance.randint(1, 2)):
            _blob(page, *near(1.8), chance.uniform(0.1, 0.28), chance.uniform(0.4, 0.9), 0.08)
    else:
        _blob(page, *near(0.8), chance.uniform(0.3, 0.55), max(0.5, hand.darkness), 0.08)


def _corner_of(box: Box, chance: Random) -> Box:
    """A corner of a box that is large enough for a small mark."""
    side = chance.uniform(1.4, 1.9)
    left, top = chance.choice((False, True)), chance.choice((False, True))
    return replace(
        box,
        x_mm=box.x_mm + 0.4 if left else box.x_mm + box.width_mm - 0.4 - side,
        y_mm=box.y_mm + 0.4 if top else box.y_mm + box.height_mm - 0.4 - side,
        width_mm=side,
        height_mm=side,
    )


def _along_frame(box: Box, chance: Random) -> list[tuple[float, float]]:
    """A stroke that never leaves one side of a frame by more than a fifth of a millimetre."""
    right, bottom = box.x_mm + box.width_mm, box.y_mm + box.height_mm
    level = chance.choice((True, False))
    place = chance.choice((box.y_mm, bottom) if level else (box.x_mm, right))
    first, last = (box.x_mm, right) if level else (box.y_mm, bottom)
    points = [
        (first + share * (last - first), place + chance.uniform(-0.2, 0.2))
        for share in (0.1, 0.5, 0.9)
    ]
    return points if level else [(y, x) for x, y in points]


def _letters(box: Box, chance: Random) -> list[list[tuple[float, float]]]:
    """Strokes that look like writing from afar."""
    x = box.x_mm + min(chance.uniform(1.0, 4.0), 0.2 * box.width_mm)
    base = box.y_mm + box.height_mm * 0.78
    high = box.height_mm * chance.uniform(0.4, 0.6)
    wide = min(high * 0.6, 0.4 * box.width_mm)
    lines: list[list[tuple[float, float]]] = []
    for _ in range(chance.randint(2, 8)):
        if lines and x + wide > box.x_mm + box.width_mm - 0.8:
            break
        lines.append(
            [(x + chance.uniform(0, wide), base - chance.uniform(0, high)) for _ in range(4)]
        )
        x += wide * 1.4
    return lines


def filled_in(
    page: Image.Image, boxes: Sequence[Box], chance: Random, *, share: float = 0.15
) -> tuple[Image.Image, dict[str, Deed]]:
    """A page that one person filled in, and what was done to every box."""
    sheet = page.copy()
    hand = any_hand(chance)
    deeds: dict[str, Deed] = {}
    for box in boxes:
        deed = Deed.NOTHING
        draw = chance.random()
        if box.kind is BoxKind.WRITTEN:
            deed = Deed.WRITTEN if chance.random() < 0.6 else Deed.NOTHING
        elif draw < share:
            deed = chance.choices(
                (Deed.MARKED, Deed.CROSSED_OUT, Deed.CORNER, Deed.RUNS_OVER), (950, 30, 5, 15)
            )[0]
        elif draw < share + 0.01:
            # Only graphite can be rubbed out.
            weights = (2 if hand.is_pencil else 0, 4, 4, 1, 1)
            deed = chance.choices(
                (Deed.ERASED, Deed.SMUDGE, Deed.SPECK, Deed.ON_FRAME, Deed.DOT), weights
            )[0]
        deeds[box.key] = deed
        if deed is not Deed.NOTHING:
            how = hand
            if deed is not Deed.ERASED and chance.random() < 0.1:
                how = replace(any_hand(chance), reach=hand.reach)
            elif chance.random() < 0.1:
                how = replace(hand, shape=chance.choice(_SHAPES))
            do_to(sheet, box, deed, how, chance)
    return sheet, deeds


# --- what becomes of the paper --------------------------------------------------------------------


def worn(sheet: Image.Image, chance: Random) -> Image.Image:
    """A sheet as it comes from the field: most as they were, some creased, stained or copied."""
    if chance.random() < 0.03:
        sheet = creased(sheet, chance)
    if chance.random() < 0.04:
        sheet = stained(sheet, chance)
    if chance.random() < 0.03:
        sheet = copied(sheet, chance)
    return sheet


def creased(sheet: Image.Image, chance: Random) -> Image.Image:
    """A sheet that was folded once: a shaded line across it, and one half a little darker."""
    level = chance.random() < 0.5
    long, short = (sheet.width, sheet.height) if level else (sheet.height, sheet.width)
    along = np.arange(long, dtype=np.float32)
    begin = short * chance.uniform(0.2, 0.8)
    line = begin + (along - long / 2) * math.tan(math.radians(chance.gauss(0, 1.5)))
    away = (np.arange(short, dtype=np.float32)[:, None] - line) / RASTER
    depth, half_mm = chance.uniform(0.04, 0.2), chance.uniform(0.25, 0.6)
    step = chance.uniform(0.0, 0.08)
    shade = depth * np.exp(-((away / half_mm) ** 2)) + step * _rising(away / 0.3)
    return _shaded(sheet, shade if level else shade.T)


def stained(sheet: Image.Image, chance: Random) -> Image.Image:
    """A sheet on which a cup stood: a ring with a sharp edge, and a tint inside it."""
    x, y = chance.uniform(0, sheet.width), chance.uniform(0, sheet.height)
    rows, columns = np.ogrid[: sheet.height, : sheet.width]
    away = np.hypot(columns - x, rows - y).astype(np.float32) / RASTER
    radius, wide = chance.uniform(25, 42), chance.uniform(0.6, 2.5)
    ring = chance.uniform(0.06, 0.25) * np.exp(-(((away - radius) / wide) ** 2))
    return _shaded(sheet, ring + chance.uniform(0.0, 0.08) * _rising((radius - away) / 0.4))


def _rising(x: np.ndarray) -> np.ndarray:
    """From 0 to 1 (the logistic function)."""
    return 1 / (1 + np.exp(-np.clip(x, -50, 50)))


def _shaded(sheet: Image.Image, shade: np.ndarray) -> Image.Image:
    return Image.fromarray(np.rint(np.asarray(sheet) * (1 - shade)).astype(np.uint8))


def copied(sheet: Image.Image, chance: Random) -> Image.Image:
    """A copy of a marked sheet: smaller by 3 %, askew, harder, with grains and specks of toner."""
    copy = Image.new("L", sheet.size, 255)
    small = sheet.resize((round(0.97 * sheet.width), round(0.97 * sheet.height)))
    copy.paste(small, (round(0.015 * sheet.width), round(0.015 * sheet.height)))
    copy = copy.rotate(chance.uniform(-1.2, 1.2), Image.Resampling.BILINEAR, fillcolor=255)
    hard = copy.point([min(255, max(20, round(1.2 * value - 25))) for value in range(256)])
    for _ in range(60):
        x, y = chance.uniform(0, sheet.width) / RASTER, chance.uniform(0, sheet.height) / RASTER
        _blob(hard, x, y, chance.uniform(0.05, 0.15), chance.uniform(0.5, 0.9), 0.05)
    # Grains of a sixth of a millimetre, as a copier at 150 dots an inch makes them.
    noise = np.random.default_rng(chance.getrandbits(32))
    size = (sheet.height * 6 // 100, sheet.width * 6 // 100)
    grain = noise.normal(0, chance.uniform(4, 14), size)
    grains = Image.fromarray(np.clip(128 + grain, 0, 255).astype(np.uint8)).resize(sheet.size)
    return ImageChops.add(hard, grains, offset=-128)


# --- the camera -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shot:
    """How a photo is taken; the defaults are a good one."""

    long_px: int = 2000
    # Part of the frame that the page takes up.
    fill: float = 0.9
    turn_deg: float = 0.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    curl_mm: float = 0.0
    curl_deg: float = 0.0
    lens: float = 0.0
    blur_mm: float = 0.12
    motion_mm: float = 0.0
    motion_deg: float = 0.0
    exposure: float = 0.85
    slope: float = 0.0
    slope_deg: float = 0.0
    shadows: tuple[tuple[float, float, float, float], ...] = ()  # depth, soft mm, place, angle
    # A finger's shadow: depth, soft mm, half its width in mm, where its tip is, and its direction.
    finger: tuple[float, float, float, float, float, float] | None = None
    # A lamp's glare on the paper: its strength, where it is, and its radius, in parts of the frame.
    glare: tuple[float, float, float, float] | None = None
    # How yellow the light is, from 0 to 1.
    yellow: float = 0.0
    noise: float = 2.0
    quality: int = 85
    table: int = 90
    clutter: int = 0
    wide: bool = False
    seed: int = 0


def any_shot(chance: Random) -> Shot:
    """A photo such as people take of a sheet on a table or a clipboard."""
    long_px = chance.choice((1600, 2000, 2400, 3000, 3264, 4000))
    finger = (
        chance.uniform(0.15, 0.5),
        chance.uniform(1.0, 8.0),
        chance.uniform(7.0, 12.0),
        chance.uniform(-0.35, 0.35),
        chance.uniform(-0.35, 0.35),
        chance.uniform(0, 360),
    )
    glare = (
        chance.uniform(0.2, 0.9),
        chance.uniform(-0.4, 0.4),
        chance.uniform(-0.4, 0.4),
        chance.uniform(0.03, 0.12),
    )
    tilt = (chance.uniform(-22, 22), chance.uniform(-22, 22))
    if chance.random() < 0.04:
        tilt = (chance.choice((-30.0, 30.0)), chance.uniform(-5, 5))
    return Shot(
        finger=finger if chance.random() < 0.08 else None,
        glare=glare if chance.random() < 0.04 else None,
        yellow=chance.uniform(0.4, 1.0) if chance.random() < 0.2 else 0.0,
        long_px=long_px,
        fill=chance.uniform(0.72 if long_px > 1600 else 0.8, 0.98),
        turn_deg=chance.choice((0, 90, 180, 270)) + chance.gauss(0, 6),
        tilt_deg=tilt,
        curl_mm=chance.choice((0.0, chance.uniform(-8, 8), chance.uniform(-3, 3))),
        curl_deg=chance.choice((0, 90)) + chance.gauss(0, 8),
        lens=chance.uniform(-0.035, 0.025),
        blur_mm=chance.uniform(0.05, 0.2),
        motion_mm=chance.choice((0.0, 0.0, chance.uniform(0, 0.4))),
        motion_deg=chance.uniform(0, 180),
        exposure=chance.uniform(0.5, 0.97),
        slope=chance.uniform(0, 0.5),
        slope_deg=chance.uniform(0, 360),
        shadows=tuple(
            (
                chance.uniform(0.15, 0.55),
                chance.uniform(0.6, 12.0),
                chance.uniform(-0.4, 0.4),
                chance.uniform(0, 360),
            )
            for _ in range(chance.choice((0, 0, 1, 1, 2)))
        ),
        noise=chance.uniform(0.5, 5.0),
        quality=chance.randint(40, 90) if chance.random() < 0.95 else 30,
        table=chance.randint(25, 190),
        clutter=chance.choice((0, 3, 8)),
        wide=chance.random() < 0.25,
        seed=chance.getrandbits(32),
    )


Points = np.ndarray


@dataclass
class Camera:
    """Where points of the page come to lie on the photo."""

    shot: Shot
    size_mm: tuple[float, float]
    frame: tuple[int, int] = (0, 0)
    scale: float = 1.0
    middle: np.ndarray = field(default_factory=lambda: np.zeros(2))

    def __post_init__(self) -> None:
        corners = self._outline()
        flat = self._seen(corners)
        low, high = flat.min(0), flat.max(0)
        span = high - low
        long, short = (
            self.shot.long_px,
            round(self.shot.long_px * (9 / 16 if self.shot.wide else 3 / 4)),
        )
        self.frame = (long, short) if span[0] > span[1] else (short, long)
        self.scale = float(self.shot.fill * min(self.frame[0] / span[0], self.frame[1] / span[1]))
        slack = np.array(self.frame) - self.scale * span
        place = Random(self.shot.seed)  # noqa: S311 - a place, not a secret
        self.middle = self.scale * low - slack * np.array(
            [place.uniform(0.25, 0.75), place.uniform(0.25, 0.75)]
        )

    def _outline(self) -> Points:
        width, height = self.size_mm
        t = np.linspace(0, 1, 9)
        return np.concatenate(
            [
                np.column_stack((t * width, 0 * t)),
                np.column_stack((t * width, 0 * t + height)),
                np.column_stack((0 * t, t * height)),
                np.column_stack((0 * t + width, t * height)),
            ]
        )

    def _seen(self, points: Points) -> Points:
        """Through curl, turn, tilt and pinhole, in no particular unit."""
        shot = self.shot
        x, y = points[:, 0] - self.size_mm[0] / 2, points[:, 1] - self.size_mm[1] / 2
        across = np.array(
            [math.cos(math.radians(shot.curl_deg)), math.sin(math.radians(shot.curl_deg))]
        )
        length = abs(across[0]) * self.size_mm[0] + abs(across[1]) * self.size_mm[1]
        t = x * across[0] + y * across[1]
        bend = 4 * shot.curl_mm / length**2
        z = shot.curl_mm - bend * t**2
        shorter = -(2 / 3) * bend**2 * t**3
        x, y = x + shorter * across[0], y + shorter * across[1]
        a, (b, c) = math.radians(shot.turn_deg), map(math.radians, shot.tilt_deg)
        x, y = x * math.cos(a) - y * math.sin(a), x * math.sin(a) + y * math.cos(a)
        y, z = y * math.cos(b) - z * math.sin(b), y * math.sin(b) + z * math.cos(b)
        x, z = x * math.cos(c) + z * math.sin(c), -x * math.sin(c) + z * math.cos(c)
        distance = np.maximum(150.0, 420.0 - z)
        return 420.0 * np.column_stack((x / distance, y / distance))

    def to_photo(self, points: Points) -> Points:
        places = self.scale * self._seen(points) - self.middle
        centre = np.array(self.frame) / 2
        away = places - centre
        radius = (away**2).sum(1, keepdims=True) / (centre**2).sum()
        return centre + away * (1 + self.shot.lens * radius)

    def to_page(self, pixels: Points) -> Points:
        """The inverse, by Newton's method."""
        points = np.full(pixels.shape, 0.0) + np.array(self.size_mm) / 2
        for _ in range(12):
            here = self.to_photo(points)
            step = 0.5
            dx = (self.to_photo(points + np.array((step, 0))) - here) / step
            dy = (self.to_photo(points + np.array((0, step))) - here) / step
            miss = pixels - here
            det = dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0]
            det = np.where(np.abs(det) < 1e-6, 1e-6, det)
            move = np.column_stack(
                (
                    (miss[:, 0] * dy[:, 1] - miss[:, 1] * dy[:, 0]) / det,
                    (dx[:, 0] * miss[:, 1] - dx[:, 1] * miss[:, 0]) / det,
                )
            )
            points = np.clip(points + np.clip(move, -120, 120), -200, 500)
        return points


def photographed(
    sheet: Image.Image,
    shot: Shot,
    *,
    over: Callable[[Image.Image, Camera], Image.Image] | None = None,
) -> bytes:
    """A photo of a sheet as a JPEG file; `over` may put something on top of it."""
    size = (sheet.width / RASTER, sheet.height / RASTER)
    camera = Camera(shot, size)
    noise = np.random.default_rng(shot.seed)
    photo = _on_the_table(sheet, camera, noise)
    if over is not None:
        photo = over(photo, camera)
    px_mm = camera.scale
    photo = ImageChops.multiply(photo, _light(shot, camera, px_mm))
    if shot.glare is not None:
        photo = ImageChops.screen(photo, _glare(shot.glare, camera))
    if shot.motion_mm * px_mm >= 1:
        photo = _moved(photo, shot.motion_mm * px_mm, shot.motion_deg)
    photo = photo.filter(ImageFilter.GaussianBlur(max(0.5, shot.blur_mm * px_mm)))
    return _jpeg(photo, shot, noise)


def _on_the_table(sheet: Image.Image, camera: Camera, noise: np.random.Generator) -> Image.Image:
    width, height = camera.frame
    table = _table(camera, noise)
    # The page in about the size that it has in the photo, so that nothing is left out.
    shrink = min(1.0, 1.25 * camera.scale / RASTER)
    small = (
        sheet.resize(
            (round(sheet.width * shrink), round(sheet.height * shrink)),
            Image.Resampling.BOX,
            reducing_gap=2.0,
        )
        if shrink < 0.9
        else sheet
    )
    per_mm = small.width / camera.size_mm[0]
    # A margin of nothing around, so that the paper ends where it ends.
    edge = 8
    framed = Image.new("LA", (small.width + 2 * edge, small.height + 2 * edge), (255, 0))
    framed.paste(Image.merge("LA", (small, Image.new("L", small.size, 255))), (edge, edge))
    step = max(24, camera.shot.long_px // 60)
    columns = np.arange(0, width + step, step)
    rows = np.arange(0, height + step, step)
    grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2).astype(float)
    source = camera.to_page(grid) * per_mm + edge
    source = np.clip(source, -3 * edge, None).reshape(len(rows), len(columns), 2)
    mesh = []
    for r in range(len(rows) - 1):
        for c in range(len(columns) - 1):
            quad = source[r : r + 2, c : c + 2]
            low, high = quad.reshape(4, 2).min(0), quad.reshape(4, 2).max(0)
            if high[0] < 0 or high[1] < 0 or low[0] > framed.width or low[1] > framed.height:
                continue
            corners = (quad[0, 0], quad[1, 0], quad[1, 1], quad[0, 1])
            mesh.append(
                (
                    (int(columns[c]), int(rows[r]), int(columns[c + 1]), int(rows[r + 1])),
                    tuple(float(value) for corner in corners for value in corner),
                )
            )
    seen = framed.transform((width, height), Image.Transform.MESH, mesh, Image.Resampling.BILINEAR)
    grey, mask = seen.split()
    # Paper is not quite white.
    table.paste(grey.point(lambda value: int(8 + value * 0.955)), (0, 0), mask)
    return table


def _table(camera: Camera, noise: np.random.Generator) -> Image.Image:
    width, height = camera.frame
    shot = camera.shot
    coarse = noise.normal(shot.table, 14, (24, 6)).clip(5, 250).astype(np.uint8)
    table = Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC)
    draw = ImageDraw.Draw(table)
    chance = Random(shot.seed + 1)  # noqa: S311 - as above
    for _ in range(shot.clutter):
        x, y = chance.uniform(0, width), chance.uniform(0, height)
        size = chance.uniform(0.02, 0.2) * width
        tone = chance.randint(0, 255)
        kind = chance.choice(("box", "ring", "line", "dot", "text"))
        if kind == "box":
            draw.rectangle((x, y, x + size, y + size * chance.uniform(0.3, 2)), fill=tone)
        elif kind == "ring":
            draw.circle(
                (x, y), size / 2, outline=tone, width=max(1, int(size / chance.uniform(6, 20)))
            )
        elif kind == "dot":
            draw.circle((x, y), size / 6, fill=tone)
        elif kind == "line":
            draw.line(
                (x, y, x + size * 3, y + size * chance.uniform(-2, 2)),
                fill=tone,
                width=int(size / 8) + 1,
            )
        else:
            for line in range(6):
                draw.text(
                    (x, y + line * size / 6),
                    "apples trees rows 0123456789",
                    fill=tone,
                    font_size=max(8, size / 8),
                )
    return table


def _light(shot: Shot, camera: Camera, px_mm: float) -> Image.Image:
    """Exposure, slope, corners that are darker, shadows: at a quarter of the size."""
    width, height = camera.frame
    factor = 4
    columns = np.arange(0, width, factor)[None, :] / max(width, height) - 0.5
    rows = np.arange(0, height, factor)[:, None] / max(width, height) - 0.5
    angle = math.radians(shot.slope_deg)
    light = shot.exposure * (1 + shot.slope * (columns * math.cos(angle) + rows * math.sin(angle)))
    light = light * (1 - 0.18 * (columns**2 + rows**2))
    for depth, soft_mm, place, direction in shot.shadows:
        angle = math.radians(direction)
        away = (columns * math.cos(angle) + rows * math.sin(angle) - place) * max(width, height)
        away = away + 25 * np.sin(rows * 14) * math.cos(angle)
        light = light * (1 - depth * _rising(away / (soft_mm * px_mm / 4 + 0.5)))
    if shot.finger is not None:
        depth, soft_mm, half_mm, x, y, direction = shot.finger
        angle = math.radians(direction)
        right, below = ((columns - x) * max(width, height), (rows - y) * max(width, height))
        along = right * math.cos(angle) + below * math.sin(angle)
        beside = below * math.cos(angle) - right * math.sin(angle)
        away = np.hypot(np.minimum(along, 0), beside) / px_mm - half_mm
        light = light * (1 - depth * _rising(-4 * away / soft_mm))
    field_ = Image.fromarray(np.clip(light * 255, 0, 255).astype(np.uint8))
    return field_.resize((width, height), Image.Resampling.BILINEAR)


def _glare(glare: tuple[float, float, float, float], camera: Camera) -> Image.Image:
    strength, x, y, radius = glare
    width, height = camera.frame
    long = max(width, height)
    columns = np.arange(0, width, 4)[None, :] / long - 0.5 * width / long
    rows = np.arange(0, height, 4)[:, None] / long - 0.5 * height / long
    light = strength * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / radius**2)
    return Image.fromarray((255 * light).astype(np.uint8)).resize((width, height))


def _moved(photo: Image.Image, length_px: float, direction: float) -> Image.Image:
    steps = max(2, math.ceil(length_px))
    angle = math.radians(direction)
    total: Image.Image | None = None
    for step in range(steps):
        away = length_px * (step / (steps - 1) - 0.5)
        dx, dy = round(away * math.cos(angle)), round(away * math.sin(angle))
        there = ImageChops.offset(photo, dx, dy)
        total = there if total is None else Image.blend(total, there, 1 / (step + 1))
    assert total is not None
    return total


def _jpeg(photo: Image.Image, shot: Shot, noise: np.random.Generator) -> bytes:
    tile = noise.normal(0, shot.noise, (512, 512))
    height, width = photo.height, photo.width
    tiled = np.tile(tile, (-(-height // 512), -(-width // 512)))[:height, :width].astype(np.float32)
    grey = np.clip(np.asarray(photo, dtype=np.float32) + tiled, 0, 255).astype(np.uint8)
    image = Image.fromarray(grey)
    # A lamp or the sky: the three colours differ, as in every photo.
    warm = Random(shot.seed + 2).uniform(-0.08, 0.08)  # noqa: S311 - as above
    white = sum(weight * band for weight, band in zip(_LUMA, _YELLOW_LAMP, strict=True))
    bands = []
    for share, lamp in zip((warm, 0.0, -warm), _YELLOW_LAMP, strict=True):
        # As bright as without the lamp, so that only the colours change.
        factor = (1 + share) * (1 + shot.yellow * (lamp / white - 1))
        bands.append(image.point([min(255, round(value * factor)) for value in range(256)]))
    written = BytesIO()
    Image.merge("RGB", bands).save(written, "JPEG", quality=shot.quality)
    return written.getvalue()


def truth_of(deeds: Mapping[str, Deed]) -> dict[str, bool | None]:
    """Whether each box is marked or written into; None where nobody but its writer knows."""
    return {key: None if deed is Deed.DOT else deed in IS_MARK for key, deed in deeds.items()}
