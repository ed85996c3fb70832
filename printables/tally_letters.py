"""
The letters that a tally sheet and the desk share: one for each answer, fault and kind of planting.

They differ by language so that they can be remembered, but within a stage no letter means two
things in two languages: a sheet filled in in Spanish is typed in by somebody who reads English
without a wrong answer.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from audits.vocabulary import Fault, PlantingKind, Stage

RIGHT_LETTERS: Final = MappingProxyType({"en": "R", "es": "B"})

# Nothing due; for limbs: fewer, because no large one is left.
NOTHING_LETTER: Final = "N"

# Signs of the number keys, the same in every language.
TREE_MISSED_SIGN: Final = "*"
SIDE_MISSED_SIGN: Final = "/"

_FAULTS: Final = {
    "en": {
        Stage.TOP: {Fault.HIGH: "H", Fault.LOW: "L", Fault.BLUNT: "U", Fault.LEADER_YOUNG: "Y"},
        Stage.LIMBS: {
            Fault.TOO_FEW: "F",
            Fault.TOO_MANY: "M",
            Fault.WRONG_LIMB: "W",
            Fault.FLUSH_CUT: "U",
            Fault.LOW_STUB: "S",
            Fault.LONG_STUB: "L",
            Fault.TORN_BARK: "T",
        },
        Stage.COLUMNS: {
            Fault.FORK: "F",
            Fault.SIDE_BRANCH: "S",
            Fault.UPRIGHT: "U",
            Fault.TIP_SHORTENED: "T",
            Fault.SPURS_STRIPPED: "D",
        },
        Stage.HEADING: {
            Fault.THICK: "K",
            Fault.THIN: "T",
            Fault.LEFT_LONG: "L",
            Fault.FORBIDDEN: "H",
        },
    },
    "es": {
        Stage.TOP: {Fault.HIGH: "A", Fault.LOW: "J", Fault.BLUNT: "M", Fault.LEADER_YOUNG: "G"},
        Stage.LIMBS: {
            Fault.TOO_FEW: "P",
            Fault.TOO_MANY: "M",
            Fault.WRONG_LIMB: "E",
            Fault.FLUSH_CUT: "A",
            Fault.LOW_STUB: "J",
            Fault.LONG_STUB: "L",
            Fault.TORN_BARK: "C",
        },
        Stage.COLUMNS: {
            Fault.FORK: "H",
            Fault.SIDE_BRANCH: "L",
            Fault.UPRIGHT: "C",
            Fault.TIP_SHORTENED: "P",
            Fault.SPURS_STRIPPED: "E",
        },
        Stage.HEADING: {
            Fault.THICK: "G",
            Fault.THIN: "F",
            Fault.LEFT_LONG: "L",
            Fault.FORBIDDEN: "P",
        },
    },
}

_KINDS: Final = {
    "en": {
        PlantingKind.REPLANT: "Y",
        PlantingKind.POLLINIZER: "P",
        PlantingKind.OTHER_CULTIVAR: "O",
        PlantingKind.DEAD: "D",
        PlantingKind.MISSING: "G",
    },
    "es": {
        PlantingKind.REPLANT: "J",
        PlantingKind.POLLINIZER: "P",
        PlantingKind.OTHER_CULTIVAR: "O",
        PlantingKind.DEAD: "M",
        PlantingKind.MISSING: "F",
    },
}


def right_letter(language: str) -> str:
    """
    Return the letter for right.

    Parameters
    ----------
    language : str
        The sheet's language; one without letters of its own has the English ones.

    Returns
    -------
    str
        One capital letter.
    """
    return RIGHT_LETTERS.get(language, RIGHT_LETTERS["en"])


def fault_letters(stage: Stage, language: str) -> Mapping[Fault, str]:
    """
    Return the letters for the faults of a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    language : str
        The sheet's language; one without letters of its own has the English ones.

    Returns
    -------
    Mapping of Fault to str
        One capital letter each.
    """
    return _FAULTS.get(language, _FAULTS["en"])[stage]


def kind_letters(language: str) -> Mapping[PlantingKind, str]:
    """
    Return the letters for what may stand at a position instead of a tree for the standard.

    Parameters
    ----------
    language : str
        The sheet's language; one without letters of its own has the English ones.

    Returns
    -------
    Mapping of PlantingKind to str
        One capital letter each.
    """
    return _KINDS.get(language, _KINDS["en"])


def faults_by_letter(stage: Stage) -> dict[str, Fault]:
    """
    Return what each letter means in a stage, in whichever language it was written.

    Parameters
    ----------
    stage : Stage
        The stage.

    Returns
    -------
    dict of str to Fault
        By capital letter.
    """
    return {
        letter: fault for letters in _FAULTS.values() for fault, letter in letters[stage].items()
    }


def kinds_by_letter() -> dict[str, PlantingKind]:
    """
    Return what each letter for a kind of planting means, in whichever language it was written.

    Returns
    -------
    dict of str to PlantingKind
        By capital letter.
    """
    return {letter: kind for letters in _KINDS.values() for kind, letter in letters.items()}
