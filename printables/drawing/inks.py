"""The few ways in which a shape may be inked, the same on screen and on paper."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Ink(StrEnum):
    """What a shape stands for; it decides colour, line width and fill."""

    SOLID = "solid"
    SOFT = "soft"
    PAPER = "paper"
    GROUND = "ground"
    GREY = "grey"

    HAIRLINE = "hairline"
    FINE_LINE = "fine-line"
    LINE = "line"
    HEAVY_LINE = "heavy-line"
    DASHED_LINE = "dashed-line"
    CUT_GUIDE = "cut-guide"
    GAUGE_LINE = "gauge-line"
    FRAME = "frame"

    WOOD = "wood"
    # Wood before other wood, with a light edge; wood behind; the growth of one summer; spurs.
    WOOD_NEAR = "wood-near"
    WOOD_FAR = "wood-far"
    WOOD_YOUNG = "wood-young"
    TWIG = "twig"
    TWIG_FAR = "twig-far"
    BARK = "bark"
    BUD = "bud"
    SOIL = "soil"
    GONE = "gone"
    FRESH = "fresh"
    SPUR = "spur"
    WIRE = "wire"
    CUT = "cut"
    CUT_LINE = "cut-line"

    RIGHT = "right"
    RIGHT_LINE = "right-line"
    RIGHT_TINT = "right-tint"
    FAULT = "fault"
    FAULT_LINE = "fault-line"
    FAULT_TINT = "fault-tint"
    NOTHING_DUE = "nothing-due"
    NOTHING_DUE_LINE = "nothing-due-line"


@dataclass(frozen=True, slots=True)
class Appearance:
    """
    How an ink looks.

    Parameters
    ----------
    fill : str or None, optional
        Colour of the inside, a name of the palette.
    stroke : str or None, optional
        Colour of the outline, a name of the palette.
    width_mm : float, optional
        Width of the outline at scale 1.
    dash_mm : tuple of float, optional
        Lengths of dashes and gaps at scale 1; empty for an unbroken line.
    outside : bool, optional
        Whether the outline lies around the inside and takes nothing from it.
    """

    fill: str | None = None
    stroke: str | None = None
    width_mm: float = 0.0
    dash_mm: tuple[float, ...] = ()
    outside: bool = False


APPEARANCES: Final[dict[Ink, Appearance]] = {
    Ink.SOLID: Appearance(fill="ink"),
    Ink.SOFT: Appearance(fill="soft-ink"),
    Ink.PAPER: Appearance(fill="paper"),
    Ink.GROUND: Appearance(fill="ground"),
    Ink.GREY: Appearance(fill="line"),
    Ink.HAIRLINE: Appearance(stroke="line", width_mm=0.2),
    Ink.FINE_LINE: Appearance(stroke="ink", width_mm=0.25),
    Ink.LINE: Appearance(stroke="ink", width_mm=0.45),
    Ink.HEAVY_LINE: Appearance(stroke="ink", width_mm=0.8),
    Ink.DASHED_LINE: Appearance(stroke="soft-ink", width_mm=0.3, dash_mm=(1.2, 0.8)),
    Ink.CUT_GUIDE: Appearance(stroke="line", width_mm=0.1),
    Ink.GAUGE_LINE: Appearance(stroke="ink", width_mm=0.12),
    Ink.FRAME: Appearance(fill="paper", stroke="ink", width_mm=0.35),
    Ink.WOOD: Appearance(fill="wood"),
    Ink.WOOD_NEAR: Appearance(fill="wood", stroke="paper", width_mm=0.3, outside=True),
    Ink.WOOD_FAR: Appearance(fill="far-wood", stroke="paper", width_mm=0.3, outside=True),
    Ink.WOOD_YOUNG: Appearance(fill="young-wood"),
    Ink.TWIG: Appearance(stroke="wood", width_mm=0.35),
    Ink.TWIG_FAR: Appearance(stroke="far-wood", width_mm=0.35),
    Ink.BARK: Appearance(fill="bark"),
    Ink.BUD: Appearance(fill="bud"),
    Ink.SOIL: Appearance(fill="soil"),
    Ink.GONE: Appearance(fill="gone", stroke="line", width_mm=0.15),
    Ink.FRESH: Appearance(fill="fresh", stroke="wood", width_mm=0.25),
    Ink.SPUR: Appearance(fill="spur"),
    Ink.WIRE: Appearance(stroke="wire", width_mm=0.3),
    Ink.CUT: Appearance(fill="cut"),
    Ink.CUT_LINE: Appearance(stroke="cut", width_mm=0.7),
    Ink.RIGHT: Appearance(fill="right"),
    Ink.RIGHT_LINE: Appearance(stroke="right", width_mm=0.5),
    Ink.RIGHT_TINT: Appearance(fill="right-tint"),
    Ink.FAULT: Appearance(fill="fault"),
    Ink.FAULT_LINE: Appearance(stroke="fault", width_mm=0.5),
    Ink.FAULT_TINT: Appearance(fill="fault-tint"),
    Ink.NOTHING_DUE: Appearance(fill="nothing-due"),
    Ink.NOTHING_DUE_LINE: Appearance(stroke="nothing-due", width_mm=0.5),
}
