"""Where cards were found before they grew: see `printables.cards`."""

from printables.cards import CARD_FORMAT_NAMES, CARD_SIZES_MM, CardFormat, CardStyle, pocket_cards

__all__ = ["CARD_FORMAT_NAMES", "CARD_SIZES_MM", "CardFormat", "CardStyle", "pocket_cards"]
