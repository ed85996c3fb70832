"""Seasons of workers with known true rates, whose audits stop when they are decided."""

from collections.abc import Mapping
from datetime import date, timedelta
from random import Random

from audits.control.choice import DueTree
from audits.control.signals import stage_charts
from audits.vocabulary import STAGE_FAULTS, Stage

ACCEPTED = 0.05
MOST_TREES = 24
# An audit ends a stage at the fourth nonconforming tree, or once there can be no fourth.
ACCEPTANCE_NUMBER = 3
FIRST_DAY = date(2026, 1, 5)
TOLERANCE_MM = 150.0


def chances(seed: int) -> Random:
    """Return a generator that says the same in every run."""
    return Random(seed)  # noqa: S311 - a simulation


def season_of(
    random: Random,
    rates: Mapping[Stage, float],
    *,
    audits: int,
    spread_mm: float = 0.0,
    height_mm: float = 0.0,
    signals=None,
) -> tuple[Stage, int] | None:
    """
    Return the stage of the first signal of a season and its due trees then, if there is one.

    With a spread, tops are measured: their heights fall normally about `height_mm`, and a top
    fails when it lies beyond the tolerance. `signals(stage, audits)` tells whether there is one,
    from the due trees of each audit so far.
    """
    signals = signals or _by_charts
    done: dict[Stage, list[list[DueTree]]] = {stage: [] for stage in rates}
    for number in range(audits):
        on = FIRST_DAY + timedelta(days=number)
        for stage, rate in rates.items():
            measured = spread_mm > 0 and stage is Stage.TOP
            done[stage].append(
                _audit(random, stage, rate, on, (height_mm, spread_mm) if measured else None)
            )
            if signals(stage, done[stage]):
                return stage, sum(map(len, done[stage]))
    return None


def _audit(
    random: Random, stage: Stage, rate: float, on: date, height: tuple[float, float] | None
) -> list[DueTree]:
    trees: list[DueTree] = []
    wrong = 0
    for left in range(MOST_TREES - 1, -1, -1):
        off_mm = random.gauss(*height) if height else None
        failed = abs(off_mm) > TOLERANCE_MM if off_mm is not None else random.random() < rate
        faults = (STAGE_FAULTS[stage][0],) if failed else ()
        trees.append(DueTree(failed, on, on.toordinal() % 4, faults, off_mm, TOLERANCE_MM))
        wrong += failed
        if wrong > ACCEPTANCE_NUMBER or wrong + left <= ACCEPTANCE_NUMBER:
            break
    return trees


def _by_charts(stage: Stage, audits: list[list[DueTree]]) -> bool:
    trees = [tree for audit in audits for tree in audit]
    # Enough days, rows and auditors come together after a few audits.
    charts = stage_charts(stage, trees, accepted=ACCEPTED, beside_standard=len(audits) > 3)
    return charts.signal is not None
