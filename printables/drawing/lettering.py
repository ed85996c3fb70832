"""The letters on paper: the embedded font, its measures, and lines that fit a width."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from printables.drawing.primitives import Text

REGULAR: Final = "Vera"
BOLD: Final = "VeraBd"

# Capital height and depth of letters such as g, as parts of the size (Bitstream Vera Sans).
CAPITAL_HEIGHT: Final = 0.73
DEPTH: Final = 0.24
LINE_HEIGHT: Final = 1.25


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make Vera, which comes with reportlab, known to it; its built-in fonts lack many letters."""
    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    pdfmetrics.registerFontFamily(
        REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD
    )


def font_name(*, bold: bool) -> str:
    """
    Name the embedded font.

    Parameters
    ----------
    bold : bool
        Whether the letters are heavy.

    Returns
    -------
    str
        The name under which reportlab knows it.
    """
    register_fonts()
    return BOLD if bold else REGULAR


def text_width(text: str, size_mm: float, *, bold: bool = False) -> float:
    """
    Measure a line of text in the embedded font.

    Vera runs wide, so what fits here also fits in the usual fonts of a page.

    Parameters
    ----------
    text : str
        The line.
    size_mm : float
        Size of the letters.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    float
        Width in mm.
    """
    return size_mm * _relative_width(text, bold=bold)


# Words are measured again for every size and width that they are tried at.
@lru_cache(maxsize=8192)
def _relative_width(text: str, *, bold: bool) -> float:
    """Measure a line of text as a multiple of the size of its letters."""
    return float(pdfmetrics.stringWidth(text, font_name(bold=bold), 1.0))


def wrapped(text: str, width_mm: float, size_mm: float, *, bold: bool = False) -> tuple[str, ...]:
    """
    Break a text into lines that fit a width.

    Parameters
    ----------
    text : str
        The text; it breaks at spaces, never at no-break spaces.
    width_mm : float
        Width of the lines.
    size_mm : float
        Size of the letters.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    tuple of str
        The lines. A word wider than the width stands alone on its line and sticks out.
    """
    lines: list[str] = []
    for word in filter(None, text.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size_mm, bold=bold) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


def balanced(text: str, width_mm: float, size_mm: float, *, bold: bool = False) -> tuple[str, ...]:
    """
    Break a short text into as few lines as fit a width, as even as can be.

    Parameters
    ----------
    text : str
        The text; it breaks at spaces, never at no-break spaces.
    width_mm : float
        Width of the lines.
    size_mm : float
        Size of the letters.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    tuple of str
        The lines: "9 ft 11 in" becomes "9 ft" and "11 in" rather than "9 ft 11" and "in".
    """
    lines = wrapped(text, width_mm, size_mm, bold=bold)
    while True:
        widest_mm = max((text_width(line, size_mm, bold=bold) for line in lines), default=0.0)
        # A shade below the widest line forces the next narrower way to break.
        width_mm = 0.999 * min(width_mm, widest_mm)
        narrower = wrapped(text, width_mm, size_mm, bold=bold)
        if len(narrower) > len(lines) or narrower == lines:
            return lines
        lines = narrower


def text_lines(text: Text, width_mm: float, *, even: bool = False) -> tuple[Text, ...]:
    """
    Set a text in lines that fit a width.

    Parameters
    ----------
    text : Text
        The text, standing where its first line is to stand.
    width_mm : float
        Width of the lines.
    even : bool, optional
        Whether the lines are made as even as can be.

    Returns
    -------
    tuple of Text
        The lines from top to bottom.
    """
    broken = (balanced if even else wrapped)(text.text, width_mm, text.size_mm, bold=text.bold)
    return tuple(
        replace(text, text=line, y_mm=text.y_mm + row * LINE_HEIGHT * text.size_mm)
        for row, line in enumerate(broken)
    )


def widest(lines: Sequence[Text]) -> float:
    """
    Measure the widest of some lines.

    Parameters
    ----------
    lines : sequence of Text
        The lines; may be empty.

    Returns
    -------
    float
        Width in mm.
    """
    return max((text_width(line.text, line.size_mm, bold=line.bold) for line in lines), default=0.0)


def largest_size(
    text: str, width_mm: float, wanted_mm: float, least_mm: float, *, bold: bool = False
) -> float:
    """
    Find the largest size at which a line fits a width.

    Parameters
    ----------
    text : str
        The line.
    width_mm : float
        Width to fit.
    wanted_mm : float
        Size to use if it fits.
    least_mm : float
        Size below which nobody could read it.
    bold : bool, optional
        Whether the letters are heavy.

    Returns
    -------
    float
        Size in mm, between the two.
    """
    full = text_width(text, wanted_mm, bold=bold)
    if full <= width_mm:
        return wanted_mm
    return max(least_mm, wanted_mm * width_mm / full)


def unknown_letters(text: str) -> frozenset[str]:
    """
    Find letters that the embedded font lacks.

    Parameters
    ----------
    text : str
        Any text that is to be printed.

    Returns
    -------
    frozenset of str
        The letters that would come out as empty boxes.
    """
    register_fonts()
    known = pdfmetrics.getFont(REGULAR).face.charToGlyph
    return frozenset(letter for letter in text if ord(letter) not in known)
