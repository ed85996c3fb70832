"""Whether the embedded font has every letter of a name, before a box is printed in its place."""

from collections.abc import Mapping
from functools import lru_cache

from reportlab.pdfbase import pdfmetrics

from audits.errors import InvalidInput
from audits.messages import say
from printables.drawing.lettering import font_name


@lru_cache(maxsize=1)
def _known_letters() -> frozenset[str]:
    faces = [pdfmetrics.getFont(font_name(bold=bold)).face for bold in (False, True)]
    shared = set(faces[0].charToGlyph) & set(faces[1].charToGlyph)
    return frozenset(map(chr, shared)) | {" ", "\u00a0"}


def missing_letters(text: str) -> str:
    """
    Find the letters of a text that the printed font lacks.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        The letters, each once, in order; empty if all can be printed.

    Examples
    --------
    >>> missing_letters("Peña Núñez")
    ''
    """
    return "".join(dict.fromkeys(letter for letter in text if letter not in _known_letters()))


def require_letters(texts: Mapping[str, str]) -> None:
    """
    Refuse texts that could not be read on paper.

    Parameters
    ----------
    texts : Mapping of str to str
        Texts that people wrote, by the name of their field.

    Raises
    ------
    InvalidInput
        If the font lacks a letter; names every field at fault.
    """
    problems = {
        field: say(
            'The printed font lacks these letters of "%(text)s": %(letters)s',
            text=text,
            letters=missing_letters(text),
        )
        for field, text in texts.items()
        if missing_letters(text)
    }
    if problems:
        raise InvalidInput(problems)
