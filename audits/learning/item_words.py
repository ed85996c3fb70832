"""What the analysis of quiz items comes to, in short sentences with their numbers."""

from typing import Final

from audits.learning.items import (
    LEAST_OTHER_ANSWERS,
    LEAST_PEOPLE,
    LEAST_PEOPLE_BY_LANGUAGE,
    ItemFlag,
    ItemReading,
)
from audits.messages import Message, Rounded, mark, say, say_n

FLAG_WORDS: Final = {
    ItemFlag.MISLEADS: say(
        "Misleads: people who do well otherwise get it wrong more often than others."
    ),
    ItemFlag.WRONG_CHOICE_DRAWS: say(
        "One wrong choice draws people who do well otherwise more than the right one."
    ),
    ItemFlag.HARDER_IN_SPANISH: say(
        "Harder in Spanish than in English for people who are equally good. Look at the Spanish "
        "wording."
    ),
    ItemFlag.HARDER_IN_ENGLISH: say(
        "Harder in English than in Spanish for people who are equally good. Look at the English "
        "wording."
    ),
    ItemFlag.NOBODY_FAILS: say("Everybody gets it right: it tells nobody apart."),
}

_EASIER_IN_ENGLISH: Final = mark(
    "Among people who are equally good, nobody is wrong in English where anybody is right in "
    "Spanish (%(english)s and %(spanish)s people)."
)
_EASIER_IN_SPANISH: Final = mark(
    "Among people who are equally good, nobody is wrong in Spanish where anybody is right in "
    "English (%(english)s and %(spanish)s people)."
)


def difficulty_sentence(reading: ItemReading) -> Message:
    """
    Say how many got an item right.

    Parameters
    ----------
    reading : ItemReading
        What its answers say.

    Returns
    -------
    Message
        Counts, with a range where people are many enough.
    """
    counts = {"right": reading.right, "people": reading.people}
    if reading.difficulty is None:
        return say_n(
            "%(right)s of %(count)s person right. Too few for more.",
            "%(right)s of %(count)s people right. Too few for more.",
            reading.people,
            right=reading.right,
        )
    lower, upper = reading.difficulty.lower, reading.difficulty.upper
    return say(
        "%(right)s of %(people)s people right, could be %(lower)s to %(upper)s in 100.",
        lower=int(100 * lower),
        upper=-int(-100 * upper // 1),
        **counts,
    )


def discrimination_sentence(reading: ItemReading) -> Message:
    """
    Say how an item goes with everything else that people answered.

    Parameters
    ----------
    reading : ItemReading
        What its answers say.

    Returns
    -------
    Message
        The correlation with its range, or why there is none.
    """
    if reading.discrimination is None or reading.discrimination_interval is None:
        if reading.groups:
            return say("All answered it alike, so it cannot be held against the other answers.")
        return say(
            "To hold it against the other answers it takes %(people)s people with %(answers)s "
            "other answers each.",
            people=LEAST_PEOPLE,
            answers=LEAST_OTHER_ANSWERS,
        )
    lower, upper = reading.discrimination_interval
    return say(
        "Goes with the other answers by %(value)s, could be %(lower)s to %(upper)s; below 0 it "
        "misleads.",
        value=Rounded(reading.discrimination, 2),
        lower=Rounded(lower, 2),
        upper=Rounded(upper, 2),
    )


def language_sentence(reading: ItemReading) -> Message:
    """
    Say whether an item is harder in one language.

    Parameters
    ----------
    reading : ItemReading
        What its answers say.

    Returns
    -------
    Message
        The odds ratio with its range, or why there is none.
    """
    gap = reading.language_gap
    if gap is None:
        return say(
            "To compare the languages it takes %(people)s people in each, some right and some "
            "wrong.",
            people=LEAST_PEOPLE_BY_LANGUAGE,
        )
    people = {"english": gap.people_one, "spanish": gap.people_other}
    if gap.interval is None:
        return say(_EASIER_IN_ENGLISH if gap.ratio > 1 else _EASIER_IN_SPANISH, **people)
    lower, upper = gap.interval
    return say(
        "The odds of a right answer in English are %(ratio)s times those in Spanish, could be "
        "%(lower)s to %(upper)s (%(english)s and %(spanish)s people).",
        ratio=Rounded(gap.ratio, 1),
        lower=Rounded(lower, 1),
        upper=Rounded(upper, 1),
        **people,
    )


def unused_sentence(reading: ItemReading) -> Message | None:
    """
    Say that nobody takes some choices.

    Parameters
    ----------
    reading : ItemReading
        What its answers say.

    Returns
    -------
    Message or None
        Their number; None where every choice is taken, or people are too few.
    """
    if not reading.unused:
        return None
    return say_n(
        "%(count)s wrong choice was taken by none of %(people)s people, so a guess is easier than "
        "it looks.",
        "%(count)s wrong choices were taken by none of %(people)s people, so a guess is easier "
        "than it looks.",
        reading.unused,
        people=reading.people,
    )
