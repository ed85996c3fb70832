"""Why a comparison has no answer, each reason with a sentence for people."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from audits.messages import Message, say


class NoFit(StrEnum):
    """Why there is no fit: what was found cannot answer the question."""

    NO_TREES = "no trees"
    NO_FAULTS = "no faults"
    ALL_FAULTS = "all faults"
    ONE_LEVEL = "one level"
    TOO_FEW = "too few"
    NO_SPREAD = "no spread"
    NO_REPEATS = "no repeats"
    NO_SCATTER = "no scatter"
    SEPARATED = "separated"
    ENTANGLED = "entangled"


NO_FIT_SENTENCES: Final[Mapping[NoFit, Message]] = MappingProxyType(
    {
        NoFit.NO_TREES: say("No tree was due, so there is nothing to compare."),
        NoFit.NO_FAULTS: say("No fault was found, so nobody differs from anybody."),
        NoFit.ALL_FAULTS: say("Every tree shows the fault, so nobody differs from anybody."),
        NoFit.ONE_LEVEL: say("There is only one of each, so there is nothing to compare with."),
        NoFit.TOO_FEW: say("There are too few figures for this question."),
        NoFit.NO_SPREAD: say("All values are the same, so there is no difference to share out."),
        NoFit.NO_REPEATS: say(
            "No two values belong together, so chance cannot be told from a difference."
        ),
        NoFit.NO_SCATTER: say(
            "The values of each are all the same, so there is no scatter to judge a difference by."
        ),
        NoFit.SEPARATED: say(
            "The faults fall so neatly on one side that no finite figure fits them."
        ),
        NoFit.ENTANGLED: say(
            "Two of the columns always go together, so they cannot be told apart."
        ),
    }
)
