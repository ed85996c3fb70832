"""Text with some words heavier than others, set in lines that fit a width."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Drawing, Shape, Text

POINT_MM: Final = 25.4 / 72

# Part of the size from the upper edge of a line to its baseline.
_ASCENT: Final = 0.95


@dataclass(frozen=True)
class Run:
    """
    Words of one weight.

    Parameters
    ----------
    text : str
        The words, in the reader's language.
    bold : bool, optional
        Whether they are heavy.
    ink : Ink, optional
        Their colour.
    """

    text: str
    bold: bool = False
    ink: Ink = Ink.SOLID


def paragraph(
    runs: Sequence[Run], width_mm: float, size_pt: float, *, leading: float = 1.25
) -> Drawing:
    """
    Set runs one after the other in lines.

    Parameters
    ----------
    runs : sequence of Run
        What to set; spaces come between runs.
    width_mm : float
        Width of the lines.
    size_pt : float
        Size of the letters, in points.
    leading : float, optional
        Distance of baselines as a multiple of the size.

    Returns
    -------
    Drawing
        As wide as asked, as high as its lines. A word wider than the width is broken.
    """
    size_mm = size_pt * POINT_MM
    lines = _lines(_words(runs, width_mm, size_mm), width_mm, size_mm)
    shapes: list[Shape] = []
    for row, line in enumerate(lines):
        shapes += _line(line, (_ASCENT + leading * row) * size_mm, size_mm)
    height = (leading * max(len(lines) - 1, 0) + _ASCENT + 0.27) * size_mm if lines else 0.0
    return Drawing(width_mm, height, tuple(shapes), " ".join(run.text for run in runs))


# A number and the short word behind it, such as its unit, stay on one line.
TIED_NUMBER: Final = re.compile(r"(\d) (?=[^\W\d_]{1,5}\b)")


def _words(runs: Sequence[Run], width_mm: float, size_mm: float) -> list[Run]:
    return [
        Run(part, run.bold, run.ink)
        for run in runs
        for word in TIED_NUMBER.sub("\\1\u00a0", run.text).split(" ")
        if word
        for part in _broken(word, width_mm, size_mm, bold=run.bold)
    ]


def _broken(word: str, width_mm: float, size_mm: float, *, bold: bool) -> list[str]:
    """Break a word that no line can hold, such as a long name without spaces."""
    parts = [""]
    for letter in word:
        if parts[-1] and text_width(parts[-1] + letter, size_mm, bold=bold) > width_mm:
            parts.append("")
        parts[-1] += letter
    return parts


def _lines(words: Sequence[Run], width_mm: float, size_mm: float) -> list[list[Run]]:
    lines: list[list[Run]] = []
    for word in words:
        if lines and _width([*lines[-1], word], size_mm) <= width_mm:
            lines[-1].append(word)
        else:
            lines.append([word])
    return lines


def _width(words: Sequence[Run], size_mm: float) -> float:
    # The heavy font's space is the wider one: a line never comes out longer than reckoned.
    spaces = (len(words) - 1) * text_width(" ", size_mm, bold=True)
    return spaces + sum(text_width(word.text, size_mm, bold=word.bold) for word in words)


def _line(words: Sequence[Run], baseline_mm: float, size_mm: float) -> list[Shape]:
    """Write a line, joining neighbours of one weight so that their words stay one text."""
    shapes: list[Shape] = []
    left = 0.0
    start = 0
    while start < len(words):
        first = words[start]
        end = start
        while end < len(words) and (words[end].bold, words[end].ink) == (first.bold, first.ink):
            end += 1
        text = " ".join(word.text for word in words[start:end])
        shapes.append(Text(left, baseline_mm, text, size_mm, first.ink, bold=first.bold))
        left += text_width(text, size_mm, bold=first.bold) + text_width(" ", size_mm)
        start = end
    return shapes


def stacked(
    drawings: Sequence[Drawing], width_mm: float, gap_mm: float = 0.0, title: str = ""
) -> Drawing:
    """
    Set drawings one below the other.

    Parameters
    ----------
    drawings : sequence of Drawing
        From top to bottom.
    width_mm : float
        Width of the result.
    gap_mm : float, optional
        Room between two of them.
    title : str, optional
        What they are together.

    Returns
    -------
    Drawing
        One drawing.
    """
    shapes: list[Shape] = []
    top = 0.0
    for drawing in drawings:
        shapes.append(drawing.at(0.0, top))
        top += drawing.height_mm + gap_mm
    height = max(top - gap_mm, 0.0)
    return Drawing(width_mm, height, tuple(shapes), title)
