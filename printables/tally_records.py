"""What a tally sheet shows: columns, trees and waves, and the letters of each column."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from audits.messages import mark
from audits.scoring import Tap
from audits.vocabulary import (
    FAULT_NAMES,
    RESULT_NAMES,
    STAGE_FAULTS,
    Fault,
    Purpose,
    Result,
    Stage,
)
from printables.fonts import require_letters
from printables.tally_letters import NOTHING_LETTER, fault_letters, right_letter

FEWER_NONE_LEFT: Final = mark("Fewer, none left")
NOT_CUT: Final = mark("Not cut this pass")

# What is written into the boxes of a measured stage, from left to right and from top to bottom.
MEASURE_LABELS: Final = {
    Stage.TOP: (mark("height"), mark("letter")),
    Stage.LIMBS: (mark("cuts"), mark("standing"), mark("letter")),
    Stage.COLUMNS: (mark("looked at"), mark("single"), mark("letter")),
    Stage.HEADING: (mark("diameters"), mark("left long")),
}

# Names of those boxes, in the same order.
MEASURE_BOXES: Final = {
    Stage.TOP: ("height", "letters"),
    Stage.LIMBS: ("cut", "standing", "letters"),
    Stage.COLUMNS: ("looked_at", "single", "letters"),
    Stage.HEADING: ("diameters", "left_long"),
}

# The faults that no measure shows by itself, so that their letters are written beside it.
BESIDE_MEASURES: Final = {
    Stage.TOP: (Fault.BLUNT, Fault.LEADER_YOUNG),
    Stage.LIMBS: (Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK),
    Stage.COLUMNS: STAGE_FAULTS[Stage.COLUMNS],
    Stage.HEADING: (),
}


@dataclass(frozen=True)
class TallyAnswer:
    """
    One box of a stage.

    Parameters
    ----------
    tap : Tap
        The answer that a mark in the box stands for; `Tap.FAULT` has a box for each fault.
    label : str, optional
        The count of limbs that it stands for, such as "2" or "1-3"; empty for a sign.
    """

    tap: Tap
    label: str = ""


@dataclass(frozen=True)
class TallyColumn:
    """
    A stage as a column of the sheet.

    Parameters
    ----------
    stage : Stage
        The stage.
    answers : tuple of TallyAnswer
        Its boxes from left to right; empty where it is measured.
    faults : tuple of Fault
        The faults that it can have.
    """

    stage: Stage
    answers: tuple[TallyAnswer, ...]
    faults: tuple[Fault, ...]

    @property
    def is_measured(self) -> bool:
        """Whether measures are written instead of marks."""
        return not self.answers


@dataclass(frozen=True)
class TallyTree:
    """
    A tree of the sample or of the reserve.

    Parameters
    ----------
    tree_id : int
        The number by which the draw knows it; its boxes are named by it.
    label : str
        Its number in the walk as drawn, such as "7"; in the reserve with a plus, such as "+2".
    place : str
        Where it stands in its row, in the reader's words, such as "panel 19, tree 7".
    row : str
        The row in the reader's words, such as "Row 12".
    side : str
        From which side it is looked at.
    way : str, optional
        How it is reached from the tree before it; empty in the reserve.
    """

    tree_id: int
    label: str
    place: str
    row: str
    side: str
    way: str = ""


@dataclass(frozen=True)
class WaveNumbers:
    """
    What decides a stage at the end of a wave.

    Parameters
    ----------
    stage : Stage
        The stage.
    accepted : int or None
        Most trees with a fault so far with which it is accepted; None where that cannot be yet.
    rejected : int or None
        Fewest trees with a fault so far with which it is not accepted; None where that cannot be.
    by_mean : bool, optional
        Whether the mean of the measures decides, which nobody works out on paper.
    """

    stage: Stage
    accepted: int | None
    rejected: int | None
    by_mean: bool = False


@dataclass(frozen=True)
class TallyWave:
    """
    A part of the walk, and what decides at its end.

    Parameters
    ----------
    trees : tuple of TallyTree
        Its trees in walking order.
    numbers : tuple of WaveNumbers
        One entry for each stage, in the order of the columns.
    """

    trees: tuple[TallyTree, ...]
    numbers: tuple[WaveNumbers, ...]


@dataclass(frozen=True)
class TallySheet:
    """
    A drawn sample, ready to be printed.

    Parameters
    ----------
    audit : int
        The number of the audit.
    farm, block, crew : str
        Their names.
    lot : str
        The rows of the lot in the reader's words, such as "Row 12".
    auditor : str
        Whose audit it is.
    standard_version : int
        The version that the trees are judged by.
    draw : int
        The number of the draw.
    drawn_on : date
        The day on which it was drawn.
    purpose : Purpose
        First audit or re-audit.
    columns : tuple of TallyColumn
        The stages, from the top of the tree down.
    waves : tuple of TallyWave
        The walk.
    reserve : tuple of TallyTree
        The reserve, in the order in which it is used.
    skips_decided : bool, optional
        Whether the standard lets a decided stage be left out.
    seed : str, optional
        The seed of the draw. Audits are numbered anew on every farm, in a demo and after an old
        backup is restored: by the seed a sheet of another audit of that number is told apart.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    audit: int
    farm: str
    block: str
    crew: str
    lot: str
    auditor: str
    standard_version: int
    draw: int
    drawn_on: date
    purpose: Purpose
    columns: tuple[TallyColumn, ...]
    waves: tuple[TallyWave, ...]
    reserve: tuple[TallyTree, ...]
    skips_decided: bool = False
    seed: str = ""

    def __post_init__(self) -> None:
        trees = [tree for wave in self.waves for tree in wave.trees] + list(self.reserve)
        require_letters(
            {
                "farm": self.farm,
                "block": self.block,
                "crew": self.crew,
                "auditor": self.auditor,
                "row": " ".join({self.lot, *(f"{tree.row} {tree.way}" for tree in trees)}),
            }
        )


def letters_of(column: TallyColumn, language: str) -> list[tuple[str, str]]:
    """
    Return the letters of a stage, each with what it means.

    Parameters
    ----------
    column : TallyColumn
        The stage.
    language : str
        The sheet's language.

    Returns
    -------
    list of tuple of str
        Letter and English name, answers first.
    """
    taps = [answer.tap for answer in column.answers]
    answers = []
    if any(answer.tap is Tap.RIGHT and not answer.label.isdecimal() for answer in column.answers):
        answers.append((right_letter(language), RESULT_NAMES[Result.CONFORMING]))
    if Tap.NOTHING_DUE in taps:
        answers.append((NOTHING_LETTER, RESULT_NAMES[Result.NOT_DUE]))
    if Tap.FEWER_NONE_LEFT in taps:
        answers.append((NOTHING_LETTER, FEWER_NONE_LEFT))
    if column.is_measured and column.stage is Stage.TOP:
        answers.append((NOTHING_LETTER, NOT_CUT))
    letters = fault_letters(column.stage, language)
    written = BESIDE_MEASURES[column.stage] if column.is_measured else column.faults
    named = [(letters[fault], FAULT_NAMES[fault]) for fault in column.faults if fault in written]
    return [*answers, *named]
