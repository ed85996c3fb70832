"""The head of a card's front: the block's name, and room for a person's name and code."""

import unicodedata
from dataclasses import dataclass
from typing import Final

from audits.errors import InvalidInput
from audits.messages import say
from printables.cards.fitting import sizes_between
from printables.cards.request import Card, CardFormat, CardRequest
from printables.drawing.inks import Ink
from printables.drawing.lettering import CAPITAL_HEIGHT, DEPTH, balanced, text_width
from printables.drawing.primitives import Drawing, Line, Shape, Text
from printables.fonts import require_letters
from printables.paragraphs import POINT_MM

MARGIN_MM: Final = 3.0

_LINES: Final = 2
_LINE: Final = 1.15
_BESIDE_MM: Final = 3.0
_BLOCK_SHARE: Final = 0.36
# Names tell cards apart; nobody reads them in the row, so that they may be small.
_NAME_SIZES_PT: Final = (12.0, 9.0)
_ON_LINE_MM: Final = 0.3


@dataclass(frozen=True)
class Heading:
    """
    The head of a card.

    Parameters
    ----------
    drawing : Drawing
        The block's name and a line to write on.
    name_room : tuple of float
        Left, top, width and height of the room for a person's name, on the card.
    """

    drawing: Drawing
    name_room: tuple[float, float, float, float]


def heading(request: CardRequest) -> Heading:
    """
    Write the block's name beside the room for a person's name, or above it if it is long.

    Parameters
    ----------
    request : CardRequest
        The card.

    Returns
    -------
    Heading
        As wide as the card.

    Raises
    ------
    InvalidInput
        If the block's name is too long for the card.
    """
    width = request.size_mm[0]
    inner = width - 2 * MARGIN_MM
    block = _clean(request.subject.block)
    high = _lines_height_mm(_LINES, _NAME_SIZES_PT[1]) + 2 * _ON_LINE_MM
    beside = _set(block, (_BLOCK_SHARE * inner, high - _ON_LINE_MM), _NAME_SIZES_PT, bold=True)
    if beside is not None:
        left = MARGIN_MM + beside.width_mm + _BESIDE_MM
        room = (left, MARGIN_MM, width - MARGIN_MM - left, high)
        # Both names stand on the line to write on.
        top = MARGIN_MM + high - beside.height_mm - _ON_LINE_MM
        return _heading(block, (width, MARGIN_MM + high), beside.at(MARGIN_MM, top), room)
    two_lines = _lines_height_mm(_LINES, _NAME_SIZES_PT[1])
    above = _set(block, (inner, two_lines), _NAME_SIZES_PT, bold=True)
    if above is None:
        raise InvalidInput({"block": say('"%(name)s" is too long for a card.', name=block)})
    if request.card_format is CardFormat.ID_1:
        # It is wide enough for nearly every name in one line.
        high = _lines_height_mm(1, _NAME_SIZES_PT[0]) + 2 * _ON_LINE_MM
    room = (MARGIN_MM, MARGIN_MM + above.height_mm + 0.4, inner, high)
    return _heading(block, (width, room[1] + high), above.at(MARGIN_MM, MARGIN_MM), room)


def _heading(
    block: str,
    size_mm: tuple[float, float],
    name: Shape,
    room: tuple[float, float, float, float],
) -> Heading:
    left, top, width, height = room
    shapes: tuple[Shape, ...] = (
        name,
        Line((left, top + height), (left + width, top + height), Ink.HAIRLINE),
    )
    return Heading(Drawing(*size_mm, shapes, block), room)


def _clean(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text).split())


def _lines_height_mm(lines: int, size_pt: float) -> float:
    return (CAPITAL_HEIGHT + DEPTH + _LINE * (lines - 1)) * size_pt * POINT_MM


def _set(
    text: str, room_mm: tuple[float, float], sizes_pt: tuple[float, float], *, bold: bool = False
) -> Drawing | None:
    """Set a name in one line or two, as large as there is room for; as wide as its lines are."""
    width, height = room_mm
    for size_pt in sizes_between(*sizes_pt):
        size_mm = size_pt * POINT_MM
        lines = balanced(text, width, size_mm, bold=bold)
        high = _lines_height_mm(len(lines), size_pt)
        wide = max((text_width(line, size_mm, bold=bold) for line in lines), default=0.0)
        if lines and len(lines) <= _LINES and wide <= width and high <= height:
            shapes = tuple(
                Text(0.0, (CAPITAL_HEIGHT + _LINE * row) * size_mm, line, size_mm, bold=bold)
                for row, line in enumerate(lines)
            )
            return Drawing(wide, high, shapes, text)
    return None


def personal(name: str, code: str, card: Card) -> Drawing:
    """
    Write a person's name and code for the room that a card's front has for them.

    Parameters
    ----------
    name, code : str
        The person's; the code may be empty.
    card : Card
        The card.

    Returns
    -------
    Drawing
        Of the size of the room, to be placed there.

    Raises
    ------
    InvalidInput
        If the name does not fit in two lines of the smallest letters, is empty, or has letters
        that the printed font lacks; the sentence gives the name.
    """
    shown = " ".join(filter(None, (_clean(name), _clean(code))))
    require_letters({"worker": shown})
    _, _, width, height = card.name_room
    fitting = _set(shown, (width, height - _ON_LINE_MM), _NAME_SIZES_PT)
    if fitting is None:
        raise InvalidInput(
            {
                "worker": say(
                    '"%(name)s" is too long for the card. Choose a larger card or a shorter name.',
                    name=shown,
                )
                if shown
                else say("Enter the name of the person.")
            }
        )
    # A name in one line stands on the line to write on.
    top = height - fitting.height_mm - _ON_LINE_MM
    return Drawing(width, height, (fitting.at(0.0, top),), shown)
