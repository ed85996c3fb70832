"""Everything that the phone says, by key, in every language."""

from collections.abc import Mapping
from typing import Any, Final

from audits.messages import Words
from audits.sampling.decision import FAULT_PHRASES, STAGE_PHRASES
from audits.vocabulary import (
    FAULT_NAMES,
    HELD_BECAUSE_NAMES,
    OUTCOME_NAMES,
    PLANTING_KIND_NAMES,
    PURPOSE_NAMES,
    RESULT_NAMES,
    SIDE_NAMES,
    STAGE_NAMES,
)
from webapp.field.phrases_counting import PHRASES_COUNTING
from webapp.field.phrases_lock import PHRASES_LOCK
from webapp.field.phrases_queue import PHRASES_QUEUE
from webapp.field.phrases_screens import PHRASES_SCREENS

Phrase = str | tuple[str, str]
Spoken = str | dict[str, str]

_VOCABULARY: Final[dict[str, Mapping[Any, str]]] = {
    "stage": STAGE_NAMES,
    "stage_phrase": STAGE_PHRASES,
    "fault": FAULT_NAMES,
    "phrase": FAULT_PHRASES,
    "outcome": OUTCOME_NAMES,
    "result": RESULT_NAMES,
    "side": SIDE_NAMES,
    "kind": PLANTING_KIND_NAMES,
    "purpose": PURPOSE_NAMES,
    "held": HELD_BECAUSE_NAMES,
}

# The trade's own words, under the name of their list and their value: "stage.top", "fault.high".
VOCABULARY: Final[dict[str, Phrase]] = {
    f"{group}.{value}": name
    for group, names in _VOCABULARY.items()
    for value, name in names.items()
}

# What each part of the page says. No two parts share a key: a test sees to it.
OWN_PHRASES: Final[tuple[dict[str, Phrase], ...]] = (
    PHRASES_COUNTING,
    PHRASES_QUEUE,
    PHRASES_SCREENS,
    PHRASES_LOCK,
)

PHRASES: Final[dict[str, Phrase]] = {
    **VOCABULARY,
    **{key: phrase for part in OWN_PHRASES for key, phrase in part.items()},
}


def spoken(words: Words) -> dict[str, Spoken]:
    """Return every phrase in one language; where a number chooses, one text for one and another."""
    return {key: _spoken(phrase, words) for key, phrase in PHRASES.items()}


def _spoken(phrase: Phrase, words: Words) -> Spoken:
    if isinstance(phrase, str):
        return words.gettext(phrase)
    # English and Spanish have a text for one and a text for every other number.
    return {"one": words.ngettext(*phrase, 1), "other": words.ngettext(*phrase, 2)}
