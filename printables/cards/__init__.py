"""The pocket card of a block's standard: stages in front, gauges and safety behind."""

from printables.cards.faces import MOST_COPIES, card_faces, placed, pocket_cards, sheet_of_cards
from printables.cards.heading import personal
from printables.cards.request import (
    CARD_FORMAT_NAMES,
    CARD_SIZES_MM,
    CARD_STYLE_NAMES,
    LETTER_SIZES,
    Card,
    CardFormat,
    CardRequest,
    CardStyle,
)

__all__ = [
    "CARD_FORMAT_NAMES",
    "CARD_SIZES_MM",
    "CARD_STYLE_NAMES",
    "LETTER_SIZES",
    "MOST_COPIES",
    "Card",
    "CardFormat",
    "CardRequest",
    "CardStyle",
    "card_faces",
    "personal",
    "placed",
    "pocket_cards",
    "sheet_of_cards",
]
