"""
How high people leave measured tops: as measured, and with block and auditor taken out.

The floors are those of rates: whoever has fewer than 30 measured trees, or trees of too few days,
rows or auditors, is only counted.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean, stdev
from typing import Final

import sqlalchemy as sa

from audits.check_trees import auditors_for_floor
from audits.estimates import LEAST_TREES_TO_COMPARE, RateLevel, describe_rate
from audits.estimates.intervals import student_quantile
from audits.messages import Message, say, say_n
from audits.records import Farm, Worker
from audits.services.counted import Deviation, counted_heights
from audits.services.fitting import (
    READ_LEVEL,
    Factor,
    FitResult,
    FitStatus,
    FittedLevel,
    figures_of_heights,
    fit_status,
)
from audits.services.name_order import by_name
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import comparing as queries
from audits.storage.queries import farms as farm_queries
from audits.units import Length, LengthKind
from audits.vocabulary import FitKind, Stage

# Nearer to the target no tape can tell.
_ON_TARGET_MM: Final = 1.0


@dataclass(frozen=True)
class HeightLine:
    """
    How far one person's tops lie from the target.

    Parameters
    ----------
    worker : Worker
        The person.
    trees : int
        Measured trees.
    measured : Message
        Their mean as measured, with its interval.
    fair : Message or None
        The same with block and auditor taken out; None without a mixed model.
    """

    worker: Worker
    trees: int
    measured: Message
    fair: Message | None


@dataclass(frozen=True)
class HeightGroup:
    """
    How far tops lie from the target in one block, or as one auditor measures them.

    Parameters
    ----------
    factor : Factor
        Block or auditor.
    name : str
        Its name.
    trees : int
        Measured trees.
    reading : Message
        What is to be expected there of an average person.
    words : Message or None
        Whether that differs from the others beyond chance; None below 30 trees.
    """

    factor: Factor
    name: str
    trees: int
    reading: Message
    words: Message | None


@dataclass(frozen=True)
class HeightComparison:
    """
    Measured tops of a season.

    Parameters
    ----------
    people : int
        People with at least one measured tree.
    lines : tuple of HeightLine
        Those who have enough of them, by name.
    groups : tuple of HeightGroup
        Blocks and auditors, each by name; empty without a mixed model.
    fit : FitStatus
        Where the mixed model stands.
    """

    people: int
    lines: tuple[HeightLine, ...]
    groups: tuple[HeightGroup, ...]
    fit: FitStatus


def compare_heights(
    connection: sa.Connection,
    farm: Farm,
    season: int,
    now: datetime,
    *,
    one_is_enough: bool = False,
) -> HeightComparison | None:
    """
    Compare how high people leave the tops that were measured.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.
    one_is_enough : bool, optional
        Whether the farm's one supervisor is calibrated, which counts as a second pair of eyes.

    Returns
    -------
    HeightComparison or None
        None where no top was measured.
    """
    heights = counted_heights(connection, farm, season, now)
    if not heights:
        return None
    status = fit_status(
        connection,
        farm.id,
        season,
        Stage.TOP,
        FitKind.HEIGHTS,
        now,
        figures=figures_of_heights(heights),
    )
    by_worker: dict[int, list[Deviation]] = defaultdict(list)
    for height in heights:
        by_worker[height.tree.worker_id].append(height)
    workers = farm_queries.workers(connection, farm.id, with_retired=True)
    return HeightComparison(
        people=len(by_worker),
        lines=tuple(
            _line(worker, by_worker[worker.id], status.result)
            for worker in by_name(workers)
            if worker.id in by_worker
            and _may_be_compared(by_worker[worker.id], one_is_enough=one_is_enough)
        ),
        groups=tuple(_groups(connection, farm.id, status.result)),
        fit=status,
    )


def deviation_words(mm: float) -> Message:
    """
    Say how far above or below its target a height lies.

    Parameters
    ----------
    mm : float
        Above 0 for too high, in mm.

    Returns
    -------
    Message
        Such as "1 in too high".

    Examples
    --------
    >>> print(deviation_words(-25.4))
    1 in too low
    """
    if abs(mm) < _ON_TARGET_MM:
        return say("on the target")
    if mm > 0:
        return say("%(length)s too high", length=_finely(mm))
    return say("%(length)s too low", length=_finely(mm))


def _may_be_compared(heights: Sequence[Deviation], *, one_is_enough: bool) -> bool:
    auditors = {height.tree.auditor_id for height in heights}
    reading = describe_rate(
        0,
        len(heights),
        days=len({height.day for height in heights}),
        rows=len({height.tree.orchard_row_id for height in heights}),
        auditors=auditors_for_floor(auditors, (), one_is_enough=one_is_enough),
    )
    return reading.level is RateLevel.COMPARABLE


def _line(worker: Worker, heights: Sequence[Deviation], result: FitResult | None) -> HeightLine:
    values = [height.mm for height in heights]
    level = result.level(Factor.WORKER, worker.id) if result is not None else None
    reach = student_quantile(READ_LEVEL, len(values) - 1) * stdev(values) / math.sqrt(len(values))
    mean = fmean(values)
    return HeightLine(
        worker=worker,
        trees=len(values),
        measured=_on_average(mean, mean - reach, mean + reach, len(values)),
        fair=None if level is None else _expected(level),
    )


def _groups(connection: sa.Connection, farm_id: int, result: FitResult | None) -> list[HeightGroup]:
    if result is None:
        return []
    users = account_queries.users(connection, farm_id)
    names: Mapping[Factor, Mapping[int, str]] = {
        Factor.BLOCK: queries.block_names(connection, farm_id),
        Factor.AUDITOR: {user.id: user.name for user in users},
    }
    groups = []
    for factor, name_of in names.items():
        named = [(name_of[level.id], level) for level in result.levels.get(factor, ())]
        for name, level in sorted(named, key=lambda each: each[0].casefold()):
            enough = level.trees >= LEAST_TREES_TO_COMPARE
            groups.append(
                HeightGroup(
                    factor=factor,
                    name=name,
                    trees=level.trees,
                    reading=_expected(level) if enough else _too_few(level.trees),
                    words=_WORDS[level.side] if enough else None,
                )
            )
    return groups


_WORDS: Final[Mapping[int, Message]] = {
    1: say("Higher than the others, beyond chance."),
    0: say("No difference beyond chance."),
    -1: say("Lower than the others, beyond chance."),
}


def _too_few(trees: int) -> Message:
    return say_n(
        "%(count)s tree: too few to compare.", "%(count)s trees: too few to compare.", trees
    )


def _expected(level: FittedLevel) -> Message:
    return _on_average(level.value, *level.interval, level.trees)


def _on_average(mean: float, lower: float, upper: float, trees: int) -> Message:
    if lower >= 0:
        return say(
            "On average %(mean)s too high, could be %(lower)s to %(upper)s (%(trees)s trees).",
            mean=_finely(mean),
            lower=_finely(lower),
            upper=_finely(upper),
            trees=trees,
        )
    if upper <= 0:
        return say(
            "On average %(mean)s too low, could be %(lower)s to %(upper)s (%(trees)s trees).",
            mean=_finely(mean),
            lower=_finely(upper),
            upper=_finely(lower),
            trees=trees,
        )
    return say(
        "On average %(mean)s, could be %(lower)s too low to %(upper)s too high (%(trees)s trees).",
        mean=deviation_words(mean),
        lower=_finely(lower),
        upper=_finely(upper),
        trees=trees,
    )


def _finely(mm: float) -> Length:
    # Whole inches would make one of a mean and its limits; a diameter is read as finely as a tape.
    return Length(abs(mm), LengthKind.DIAMETER)
