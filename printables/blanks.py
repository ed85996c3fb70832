"""Room to write by hand: labelled lines, boxes to tick, numbered lines for signatures."""

from collections.abc import Sequence
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.lettering import largest_size, text_width
from printables.drawing.primitives import Drawing, Line, Rect, Shape, Text
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.table import shared_widths

TICK_MM: Final = 5.0

# A hand needs this much room above a line.
LINE_MM: Final = 10.0
_GAP_MM: Final = 5.0
_BELOW_MM: Final = 1.8
_LEAST_PT: Final = 9.0
# Shorter than this, nobody can write a name or a day.
_LEAST_LINE_MM: Final = 26.0


def blank_fields(
    fields: Sequence[tuple[str, float]], width_mm: float, size_pt: float = 12.0
) -> Drawing:
    """
    Set labels side by side, each with a line to write on.

    Parameters
    ----------
    fields : sequence of (str, float)
        Each label, in the reader's language, with its share of the width.
    width_mm : float
        Width of the row.
    size_pt : float, optional
        Size of the labels.

    Returns
    -------
    Drawing
        The row, as high as a hand needs it; one row a field where labels are too long for one.
    """
    size = size_pt * POINT_MM
    least = [text_width(label, size, bold=True) + 2.0 + _LEAST_LINE_MM for label, _ in fields]
    room = width_mm - _GAP_MM * (len(fields) - 1)
    if sum(least) > room and len(fields) > 1:
        rows = [blank_fields([field], width_mm, size_pt) for field in fields]
        return stacked(rows, width_mm, 0.0, ", ".join(label for label, _ in fields))
    widths = shared_widths([share for _, share in fields], least, room)
    shapes: list[Shape] = []
    left = 0.0
    for (label, _), width in zip(fields, widths, strict=True):
        shapes += _field(label, (left, width), size_pt)
        left += width + _GAP_MM
    return Drawing(width_mm, LINE_MM, tuple(shapes), ", ".join(label for label, _ in fields))


def _field(label: str, place_mm: tuple[float, float], size_pt: float) -> tuple[Shape, ...]:
    left, width = place_mm
    wanted, least = size_pt * POINT_MM, _LEAST_PT * POINT_MM
    size = largest_size(label, width - 2.0 - _LEAST_LINE_MM, wanted, least, bold=True)
    start = left + text_width(label, size, bold=True) + 2.0
    baseline = LINE_MM - _BELOW_MM
    return (
        Text(left, baseline, label, size, bold=True),
        Line((start, baseline + 0.8), (left + width, baseline + 0.8), Ink.FINE_LINE),
    )


def tick_line(text: str, width_mm: float, size_pt: float = 12.0, *, bold: bool = False) -> Drawing:
    """
    Set a sentence beside a box to tick.

    Parameters
    ----------
    text : str
        The sentence, in the reader's language.
    width_mm : float
        Width of box and sentence.
    size_pt : float, optional
        Size of the letters.
    bold : bool, optional
        Whether they are heavy.

    Returns
    -------
    Drawing
        The box and the sentence, over several lines if it is long.
    """
    left = TICK_MM + 2.6
    said = paragraph([Run(text, bold=bold)], width_mm - left, size_pt)
    top = 0.2 + max(0.0, (TICK_MM - said.height_mm) / 2)
    height = max(top + said.height_mm, TICK_MM + 0.4)
    shapes = (Rect(0.2, 0.2, TICK_MM, TICK_MM, Ink.FRAME, 0.6), said.at(left, top))
    return Drawing(width_mm, height, shapes, text)
