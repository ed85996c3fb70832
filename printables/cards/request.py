"""What a pocket card is asked to be: whose standard, how large, for whom."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from audits.errors import InvalidInput
from audits.messages import mark, say
from audits.standard import Standard
from audits.vocabulary import STAGE_NAMES, Stage
from printables.drawing.primitives import Drawing
from printables.subject import StandardSubject


class CardFormat(StrEnum):
    """The size of a card."""

    ID_1 = "id_1"
    A7 = "a7"
    THREE_BY_FIVE = "three_by_five"


# ID-1 is the size of bank cards (ISO/IEC 7810), lying; A7 is 74 by 105 mm (ISO 216), standing;
# index cards are 3 by 5 in, standing, the inch 25.4 mm exactly.
CARD_SIZES_MM: Final = {
    CardFormat.ID_1: (85.60, 53.98),
    CardFormat.A7: (74.0, 105.0),
    CardFormat.THREE_BY_FIVE: (76.2, 127.0),
}

CARD_FORMAT_NAMES: Final = {
    CardFormat.ID_1: mark("Bank card size, 85.6 x 54 mm"),
    CardFormat.A7: mark("A7, 74 x 105 mm"),
    CardFormat.THREE_BY_FIVE: mark("Index card, 3 x 5 in (76 x 127 mm)"),
}


class CardStyle(StrEnum):
    """What the front of a card is made for."""

    ALL_STAGES = "all_stages"
    ONE_STAGE = "one_stage"
    LARGE_PRINT = "large_print"


CARD_STYLE_NAMES: Final = {
    CardStyle.ALL_STAGES: mark("All stages"),
    CardStyle.ONE_STAGE: mark("One stage, for beginners"),
    CardStyle.LARGE_PRINT: mark("All stages in large print"),
}


@dataclass(frozen=True)
class LetterSizes:
    """
    How large the letters on a card's front are, in points; on its back nine are the least.

    Parameters
    ----------
    key_pt, least_key_pt : float
        What must be found at a glance: as wanted, and where a word would not fit otherwise.
    text_pt, least_pt : float
        All else: as wanted, and the least.
    """

    key_pt: float
    least_key_pt: float
    text_pt: float
    least_pt: float


# The bar of this project for cards at arm's length outdoors: 12 points for the key line, nothing
# under 9. Large print begins at 16 to 18 points, clear print at 12 (guides for print for people
# with low vision; common practice, no standard).
LETTER_SIZES: Final = {
    CardStyle.ALL_STAGES: LetterSizes(12.0, 9.0, 10.0, 9.0),
    CardStyle.ONE_STAGE: LetterSizes(14.0, 12.0, 11.0, 9.0),
    CardStyle.LARGE_PRINT: LetterSizes(18.0, 16.0, 13.0, 12.0),
}


@dataclass(frozen=True)
class CardRequest:
    """
    A card for one block and version of its standard.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    card_format : CardFormat, optional
        Size of the card.
    style : CardStyle, optional
        What its front is made for.
    stage : Stage or None, optional
        The stage of a card with one stage; other cards do not read it.
    batch : int or None, optional
        Number of the print batch.
    printed_on : date or None, optional
        The day of printing.
    address : str, optional
        Address of the block's page, for the QR code; none without it.

    Raises
    ------
    InvalidInput
        If a card of one stage names none that the standard uses, or if large print is asked for
        on a card that has no room for it.
    """

    subject: StandardSubject
    standard: Standard
    card_format: CardFormat = CardFormat.A7
    style: CardStyle = CardStyle.ALL_STAGES
    stage: Stage | None = None
    batch: int | None = None
    printed_on: date | None = None
    address: str = ""

    def __post_init__(self) -> None:
        if self.style is CardStyle.ONE_STAGE:
            if self.stage is None:
                raise InvalidInput({"stage": say("Choose the stage that the card shows.")})
            if not self.standard.rule(self.stage).in_use:
                raise InvalidInput(
                    {
                        "stage": say(
                            "The standard of %(block)s does not use this stage: %(stage)s.",
                            block=self.subject.block,
                            stage=say(STAGE_NAMES[self.stage]),
                        )
                    }
                )
        if self.style is CardStyle.LARGE_PRINT and self.card_format is CardFormat.ID_1:
            raise InvalidInput(
                {"style": say("Large print needs a larger card. Choose A7 or 3 x 5 in.")}
            )

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the card."""
        return CARD_SIZES_MM[self.card_format]

    @property
    def letters(self) -> LetterSizes:
        """How large its letters are."""
        return LETTER_SIZES[self.style]


@dataclass(frozen=True)
class Card:
    """
    Both sides of a card, and where a person's name goes.

    Parameters
    ----------
    request : CardRequest
        What was asked for.
    front, back : Drawing
        The sides, true to size at scale 1.
    name_room : tuple of float
        Left, top, width and height of the room for a person's name and code, on the front.
    """

    request: CardRequest
    front: Drawing
    back: Drawing
    name_room: tuple[float, float, float, float]
