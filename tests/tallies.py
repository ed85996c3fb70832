"""A tally sheet to print and to photograph: four stages, two waves of one row and a reserve."""

from dataclasses import replace
from datetime import date

from audits.scoring import Tap
from audits.vocabulary import STAGE_FAULTS, Fault, Purpose, Stage
from printables.tally_records import (
    TallyAnswer,
    TallyColumn,
    TallySheet,
    TallyTree,
    TallyWave,
    WaveNumbers,
)

RIGHT, NOTHING, FAULT = TallyAnswer(Tap.RIGHT), TallyAnswer(Tap.NOTHING_DUE), TallyAnswer(Tap.FAULT)
FEWER = TallyAnswer(Tap.FEWER_NONE_LEFT)
COLUMNS = (
    TallyColumn(Stage.TOP, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.TOP]),
    TallyColumn(
        Stage.LIMBS,
        (TallyAnswer(Tap.RIGHT, "2"), TallyAnswer(Tap.RIGHT, "3"), FEWER, FAULT),
        STAGE_FAULTS[Stage.LIMBS],
    ),
    TallyColumn(Stage.COLUMNS, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.COLUMNS]),
    TallyColumn(Stage.HEADING, (RIGHT, NOTHING, FAULT), (Fault.THICK, Fault.THIN, Fault.LEFT_LONG)),
)


def trees(
    first: int, last: int, row: str = "Row 12", way: str = "out: 3 panels on", mark: str = ""
) -> tuple[TallyTree, ...]:
    """Return trees in walking order, each with its mark before its number."""
    return tuple(
        TallyTree(
            100 + number,
            f"{mark}{number}",
            f"panel {number}, tree {1 + number % 10}",
            row,
            ("left side", "right side")[number % 2],
            way,
        )
        for number in range(first, last + 1)
    )


def numbers(accepted: int, rejected: int) -> tuple[WaveNumbers, ...]:
    """Return the same numbers for every stage."""
    return tuple(WaveNumbers(column.stage, accepted, rejected) for column in COLUMNS)


SHEET = TallySheet(
    audit=7,
    farm="Alder Flat",
    block="Gala Home 3",
    crew="North crew",
    lot="Row 12",
    auditor="Marta Silva",
    standard_version=2,
    draw=1417,
    drawn_on=date(2025, 12, 5),
    purpose=Purpose.FIRST,
    columns=COLUMNS,
    waves=(
        TallyWave(trees(1, 14), numbers(0, 4)),
        TallyWave(trees(15, 30), numbers(4, 5)),
    ),
    reserve=tuple(
        replace(tree, label=f"+{number}", way="")
        for number, tree in enumerate(trees(31, 38), start=1)
    ),
)
