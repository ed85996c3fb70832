"""Words as large as there is room for, never smaller than they may be, never cut off."""

import math
import re
from collections.abc import Iterator, Sequence
from typing import Final

from printables.drawing.lettering import text_width
from printables.drawing.primitives import Drawing
from printables.paragraphs import POINT_MM, TIED_NUMBER, Run, paragraph, stacked

# Feet and the inches behind them; a number and what it counts.
_TWO_UNITS: Final = re.compile(r"(\d[ \u00a0][^\W\d_]{1,4}) (?=\d)")
_NUMBER_AND_WORD: Final = re.compile(r"(\d) (?=[^\W\d_])")
_STEP_PT: Final = 0.5
_MOST_GAP_MM: Final = 1.8
_LEAST_GAP_MM: Final = 0.9
_LEADING: Final = 1.17
_EVEN_MM: Final = 0.4


def sizes_between(wanted_pt: float, least_pt: float) -> Iterator[float]:
    """
    Go through the sizes of letters from the wanted one down.

    Parameters
    ----------
    wanted_pt, least_pt : float
        The two ends, in points.

    Yields
    ------
    float
        Sizes half a point apart, the least one last.
    """
    size = wanted_pt
    while size > least_pt:
        yield size
        size -= _STEP_PT
    yield least_pt


def unbroken_size(words: str, width_mm: float, size_pt: float, *, bold: bool = False) -> float:
    """
    Find the size at which no word has to be broken.

    Parameters
    ----------
    words : str
        The text.
    width_mm : float
        Width of its lines.
    size_pt : float
        The size wanted, in points.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    float
        The size wanted or less, in points; not bounded below.
    """
    whole = TIED_NUMBER.sub("\\1\u00a0", words)
    widest = max((text_width(word, POINT_MM, bold=bold) for word in whole.split(" ")), default=0.0)
    return min(size_pt, width_mm / widest) if widest else size_pt


def tied(text: str, width_mm: float, size_pt: float, *, bold: bool = False) -> str:
    """
    Keep numbers with what they count, and feet with inches, where a line can hold them.

    Parameters
    ----------
    text : str
        The text.
    width_mm : float
        Width of the lines.
    size_pt : float
        Size of the letters, in points.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    str
        The text, with no-break spaces where they help.
    """
    for whole in (
        _NUMBER_AND_WORD.sub("\\1\u00a0", _TWO_UNITS.sub("\\1\u00a0", text)),
        _NUMBER_AND_WORD.sub("\\1\u00a0", text),
    ):
        if unbroken_size(whole, width_mm, size_pt, bold=bold) >= size_pt:
            return whole
    return text


def evened(runs: Sequence[Run], width_mm: float, size_pt: float) -> Drawing:
    """
    Set runs in as few lines as fit a width, as even as can be.

    Parameters
    ----------
    runs : sequence of Run
        What to set.
    width_mm : float
        Width of the lines.
    size_pt : float
        Size of the letters, in points.

    Returns
    -------
    Drawing
        As wide as asked.
    """
    tight = _tied(runs, width_mm, size_pt)
    drawn = paragraph(tight, width_mm, size_pt, leading=_LEADING)
    # Lines narrower than the widest word would break it.
    low = max(0.4 * width_mm, *(width_mm * size_pt / _whole_size(run, width_mm) for run in tight))
    best, high = drawn, width_mm
    while high - low > _EVEN_MM:
        middle = (low + high) / 2
        narrower = paragraph(tight, middle, size_pt, leading=_LEADING)
        if narrower.height_mm <= drawn.height_mm + _EVEN_MM:
            best, high = narrower, middle
        else:
            low = middle
    return Drawing(width_mm, drawn.height_mm, best.shapes, drawn.title)


def _tied(runs: Sequence[Run], width_mm: float, size_pt: float) -> list[Run]:
    return [
        Run(tied(run.text, width_mm, size_pt, bold=run.bold), run.bold, run.ink) for run in runs
    ]


def _whole_size(run: Run, width_mm: float) -> float:
    """Find the largest size at which a width holds the widest word."""
    return unbroken_size(run.text, width_mm, math.inf, bold=run.bold)


def fitted(
    paragraphs: Sequence[Sequence[Run]],
    room_mm: tuple[float, float],
    sizes_pt: tuple[float, float],
    most_gap_mm: float = _MOST_GAP_MM,
) -> Drawing | None:
    """
    Set paragraphs as large as there is room for.

    Parameters
    ----------
    paragraphs : sequence of sequence of Run
        What to say, from top to bottom.
    room_mm : tuple of float
        Width and height to fit.
    sizes_pt : tuple of float
        The size wanted and the least, in points.
    most_gap_mm : float, optional
        Most room between two paragraphs.

    Returns
    -------
    Drawing or None
        The text, as wide as its room; none if it does not fit.
    """
    width, height = room_mm
    for size_pt in sizes_between(*sizes_pt):
        loose = [
            paragraph(_tied(runs, width, size_pt), width, size_pt, leading=_LEADING)
            for runs in paragraphs
        ]
        gaps = max(len(loose) - 1, 1)
        spare = height - sum(drawing.height_mm for drawing in loose)
        # Smaller letters with room between paragraphs read better than larger ones without.
        wanted = min(_LEAST_GAP_MM, most_gap_mm) if size_pt > sizes_pt[1] else 0.0
        if spare >= gaps * wanted:
            chosen = [evened(runs, width, size_pt) for runs in paragraphs]
            return stacked(chosen, width, min(most_gap_mm, spare / gaps))
    return None
