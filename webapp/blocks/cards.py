"""What a card in somebody's hand is told on its block's page."""

from datetime import date
from typing import Final, NamedTuple

from flask import request
from flask_babel import format_date

from audits.messages import Message, say
from audits.services.printing import CardInHand, CardStanding, card_in_hand
from webapp.access import actor
from webapp.extensions import database, present
from webapp.reading import words

# Nine digits are within what a database numbers.
_MOST_DIGITS: Final = 9


class CardWords(NamedTuple):
    """What is said of a card, and whether it may be used."""

    sentence: str
    is_good: bool


def card_words(block_id: int) -> CardWords | None:
    """Say whether the card that the address names shows what is in force; None without one."""
    text = request.args.get("card")
    if text is None:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS):
        return CardWords(
            words().say(
                say("The number of this card cannot be read. It stands on the card, after a B.")
            ),
            is_good=False,
        )
    card = card_in_hand(database(), actor(), block_id, int(text), present())
    return CardWords(words().say(_sentence(card)), card.standing is CardStanding.IN_FORCE)


def _sentence(card: CardInHand) -> Message:
    batch = f"B{card.number}"
    match card.standing:
        case CardStanding.IN_FORCE:
            return say(
                "Your card (%(batch)s) shows version %(version)s, which is in force.",
                batch=batch,
                version=str(card.version),
            )
        case CardStanding.TO_COME:
            return say(
                "Your card (%(batch)s) shows version %(version)s, which is in force from %(day)s"
                " only.",
                batch=batch,
                version=str(card.version),
                day=_day(card.begins_on),
            )
        case CardStanding.WITHDRAWN:
            return say(
                "Your card (%(batch)s) was withdrawn. Give it back and ask for a new one.",
                batch=batch,
            )
        case CardStanding.OTHER_BLOCK:
            return say(
                "Your card (%(batch)s) is for another block: %(block)s.",
                batch=batch,
                block=card.block or "",
            )
        case CardStanding.UNKNOWN:
            return say(
                "No card %(batch)s is known on this farm. Ask the crew leader for a new one.",
                batch=batch,
            )
        case CardStanding.REPLACED:
            return _replaced(card, batch)


def _replaced(card: CardInHand, batch: str) -> Message:
    in_force = card.in_force
    return say(
        "Your card (%(batch)s) shows version %(version)s. Version %(other)s has replaced it since"
        " %(day)s: ask for a new card.",
        batch=batch,
        version=str(card.version),
        other="" if in_force is None else str(in_force.version),
        day=_day(None if in_force is None else in_force.in_force_from),
    )


def _day(day: date | None) -> str:
    return "" if day is None else str(format_date(day, "medium"))
