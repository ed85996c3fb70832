"""
True-scale gauges, and the means to check on paper that the printer kept the scale.

All lengths hold between facing edges of marks: from the edge of the stop to the near edge of the
limit, between the clear edges of the two frames, from end to end of a bar.
"""

from dataclasses import dataclass
from typing import Final

from audits.vocabulary import Result
from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.lettering import balanced, text_width
from printables.drawing.panel import SMALL_MM
from printables.drawing.pictograms import result_tile
from printables.drawing.primitives import Anchor, Drawing, Rect, Shape, Text

# A bank-type card is 85.60 by 53.98 mm with corners of 2.88 to 3.48 mm (ISO/IEC 7810, ID-1). The
# frames lie 0.40 mm inside and outside of it, about 0.5 % of its long and 0.7 % of its short side.
ID_1_MM: Final = (85.60, 53.98)
ID_1_CORNER_MM: Final = 3.18
INNER_FRAME_MM: Final = (85.20, 53.58)
OUTER_FRAME_MM: Final = (86.00, 54.38)

# Where the stop of a gauge ends and its measure begins.
ZERO_MM: Final = 4.0
DEPTH_MM: Final = 9.0

_STOP_MM: Final = 3.0
_MARK_MM: Final = 0.3
_OVER_MM: Final = 4.0
_MARGIN_MM: Final = 0.8


@dataclass(frozen=True, slots=True)
class GaugeLabels:
    """
    The words of a gauge, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    figure : str
        The limit or the band with its unit.
    """

    title: str
    description: str
    figure: str


def pencil_gauge(
    thinnest_mm: float, thickest_mm: float, labels: GaugeLabels, bleed_mm: float = 0.0
) -> Drawing:
    """
    Draw the gauge for headed branches, to be held with the card's upper edge on the branch.

    One side of the branch lies at the stop; its other side must fall into the tinted band.

    Parameters
    ----------
    thinnest_mm, thickest_mm : float
        The band: distances from the stop to the near edges of the two marks.
    labels : GaugeLabels
        The words.
    bleed_mm : float, optional
        How far the marks run on beyond the card's edge, so that a rough cut leaves them whole;
        the edge then lies this far below the drawing's own.

    Returns
    -------
    Drawing
        The gauge, true to scale at scale 1.
    """
    depth = DEPTH_MM + bleed_mm
    band_mm = thickest_mm - thinnest_mm
    tick = result_tile(Result.CONFORMING, "")
    shapes: list[Shape] = [
        Rect(ZERO_MM + thinnest_mm, 0, band_mm, depth, Ink.RIGHT_TINT),
        Rect(ZERO_MM + thinnest_mm, 0, _MARK_MM, depth, Ink.SOLID),
        Rect(ZERO_MM + thickest_mm, 0, _MARK_MM, depth, Ink.SOLID),
        tick.at(
            ZERO_MM + thinnest_mm + (band_mm - 2.4 + _MARK_MM) / 2, depth - 2.8, 2.4 / tick.width_mm
        ),
    ]
    return _jaw(shapes, thickest_mm + _OVER_MM, labels, depth)


def limb_gauge(large_mm: float, labels: GaugeLabels, bleed_mm: float = 0.0) -> Drawing:
    """
    Draw the gauge for limbs, to be held with the card's upper edge on the limb.

    One side of the limb lies at the stop; a limb that reaches the coloured block is large.

    Parameters
    ----------
    large_mm : float
        Diameter from which a limb is large: distance from the stop to the block.
    labels : GaugeLabels
        The words.
    bleed_mm : float, optional
        How far the marks run on beyond the card's edge, so that a rough cut leaves them whole;
        the edge then lies this far below the drawing's own.

    Returns
    -------
    Drawing
        The gauge, true to scale at scale 1.
    """
    depth = DEPTH_MM + bleed_mm
    block = Rect(ZERO_MM + large_mm, 0, _OVER_MM, depth, Ink.CUT)
    return _jaw([block], large_mm + _OVER_MM, labels, depth)


def _jaw(inside: list[Shape], opening_mm: float, labels: GaugeLabels, depth_mm: float) -> Drawing:
    stop = Rect(ZERO_MM - _STOP_MM, 0, _STOP_MM, depth_mm, Ink.SOLID)
    base = Rect(ZERO_MM - _STOP_MM, depth_mm, _STOP_MM + opening_mm, 0.8, Ink.SOLID)
    letters_mm = text_width(labels.figure, SMALL_MM, bold=True)
    width_mm = max(ZERO_MM + opening_mm, ZERO_MM - _STOP_MM + letters_mm) + 1.0
    figure = Text(ZERO_MM - _STOP_MM, depth_mm + 4.6, labels.figure, SMALL_MM, bold=True)
    shapes: tuple[Shape, ...] = (*inside, stop, base, figure)
    return Drawing(width_mm, depth_mm + 5.6, shapes, labels.title, labels.description)


def scale_check(title: str, instruction: str) -> Drawing:
    """
    Draw two frames between whose lines the edges of a bank-type card must fall.

    A card laid on them hides the inner frame on all four sides and leaves the outer one in sight,
    unless the print is too large or too small.

    Parameters
    ----------
    title : str
        For those who cannot see it.
    instruction : str
        What to do, in the reader's language; written inside.

    Returns
    -------
    Drawing
        The frames, true to scale at scale 1.

    References
    ----------
    .. [1] ISO/IEC 7810, Identification cards - Physical characteristics: ID-1, 85.60 x 53.98 mm.
    """
    frames = card_frames()
    width_mm, height_mm = frames.width_mm, frames.height_mm
    lines = balanced(instruction, INNER_FRAME_MM[0] - 10.0, SMALL_MM)
    first = height_mm / 2 + 1.0 - (len(lines) - 1) * 2.0
    letters = [
        Text(width_mm / 2, first + 4.0 * row, line, SMALL_MM, anchor=Anchor.MIDDLE)
        for row, line in enumerate(lines)
    ]
    return Drawing(width_mm, height_mm, (*frames.shapes, *letters), title, instruction)


def card_frames(title: str = "", *, upright: bool = False) -> Drawing:
    """
    Draw the two frames between whose lines the edges of a bank-type card must fall.

    Parameters
    ----------
    title : str, optional
        For those who cannot see it.
    upright : bool, optional
        Whether they stand instead of lying.

    Returns
    -------
    Drawing
        The frames with a narrow margin, true to scale at scale 1.
    """
    inner, outer = INNER_FRAME_MM, OUTER_FRAME_MM
    if upright:
        inner, outer = (inner[1], inner[0]), (outer[1], outer[0])
    around = (outer[0] + 2 * _MARGIN_MM, outer[1] + 2 * _MARGIN_MM)
    line_mm = APPEARANCES[Ink.GAUGE_LINE].width_mm
    # Lines are drawn inwards of the inner and outwards of the outer size: between them lies clear
    # paper, which a card's edge has to cross nowhere.
    frames = (_frame(inner, around, -line_mm), _frame(outer, around, line_mm))
    return Drawing(*around, frames, title)


def _frame(size_mm: tuple[float, float], around_mm: tuple[float, float], grow_mm: float) -> Rect:
    width, height = size_mm[0] + grow_mm, size_mm[1] + grow_mm
    corner = ID_1_CORNER_MM + (max(width, height) - ID_1_MM[0]) / 2
    return Rect(
        (around_mm[0] - width) / 2,
        (around_mm[1] - height) / 2,
        width,
        height,
        Ink.GAUGE_LINE,
        corner,
    )


def length_bar(length_mm: float, title: str, label: str, *, upright: bool = False) -> Drawing:
    """
    Draw a bar to be checked with a steel rule.

    Parameters
    ----------
    length_mm : float
        Its length from end to end, such as 50 or 100.
    title : str
        For those who cannot see it.
    label : str
        The length in words, written beside it.
    upright : bool, optional
        Whether it stands instead of lying.

    Returns
    -------
    Drawing
        The bar, true to scale at scale 1.
    """
    thick_mm, end_mm, end_thick_mm = 0.8, 3.0, 0.4
    bar = Rect(0, (end_mm - thick_mm) / 2, length_mm, thick_mm)
    ends = (
        Rect(0, 0, end_thick_mm, end_mm),
        Rect(length_mm - end_thick_mm, 0, end_thick_mm, end_mm),
    )
    if not upright:
        letters = Text(length_mm / 2, end_mm + 3.4, label, SMALL_MM, anchor=Anchor.MIDDLE)
        return Drawing(length_mm, end_mm + 4.4, (bar, *ends, letters), title)
    standing: tuple[Shape, ...] = tuple(
        Rect(shape.y_mm, shape.x_mm, shape.height_mm, shape.width_mm) for shape in (bar, *ends)
    )
    beside = Text(end_mm + 1.2, length_mm / 2 + 1.0, label, SMALL_MM)
    width_mm = end_mm + 2.0 + text_width(label, SMALL_MM)
    return Drawing(width_mm, length_mm, (*standing, beside), title)
