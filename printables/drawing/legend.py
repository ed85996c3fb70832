"""The legend below a chart or strip: each mark with its words."""

from collections.abc import Sequence
from typing import Final, TypeAlias

from printables.drawing.lettering import largest_size, text_width
from printables.drawing.primitives import Drawing, Group, Shape, Text

# Letters of 9.5 points on paper; 13 pixels where a drawing of 84 mm fills a phone of 320 pixels.
LETTERS_MM: Final = 3.4
SMALLEST_MM: Final = 2.8

# A mark around the height 0, within 6.4 mm from 0 on, and its words.
Key: TypeAlias = tuple[tuple[Shape, ...], str]

_ROW_MM: Final = 4.8
_WORDS_MM: Final = 7.4
_APART_MM: Final = 3.2


def legend(keys: Sequence[Key], width_mm: float) -> Drawing:
    """
    Set marks and their words in as many rows as they need.

    Parameters
    ----------
    keys : sequence of Key
        The marks and their words, in the reader's language.
    width_mm : float
        Room across.

    Returns
    -------
    Drawing
        The legend, to be placed inside another drawing.
    """
    shapes: list[Shape] = []
    x, row = 0.0, 0
    for mark, words in keys:
        size = largest_size(words, width_mm - _WORDS_MM, LETTERS_MM, SMALLEST_MM)
        needed = _WORDS_MM + text_width(words, size)
        if x > 0 and x + needed > width_mm:
            x, row = 0.0, row + 1
        y = (row + 0.5) * _ROW_MM
        shapes.append(Group(mark, x, y))
        shapes.append(Text(x + _WORDS_MM, y + 0.36 * size, words, size))
        x += needed + _APART_MM
    height = (row + 1) * _ROW_MM if keys else 0.0
    return Drawing(width_mm, height, tuple(shapes), "")
