"""
Fair comparison of one stage over a season: what is chance, what the block, what the auditor.

Figures of a person go through the same floors as everywhere: only who has enough due trees from
enough days, rows and auditors is set beside the standard; of the others only their number is said.
People stand by name, and nothing here orders them by their results.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.check_trees import auditors_for_floor
from audits.comparison.funnel import FunnelLimits, Overdispersion, funnel_limits, overdispersion
from audits.comparison.standardising import (
    StandardisedRate,
    indirect_standardisation,
    stratum_rates,
)
from audits.control.limits import FractionLimits
from audits.estimates import (
    LEAST_AUDITORS_TO_COMPARE,
    LEAST_DAYS_TO_COMPARE,
    LEAST_TREES_TO_COMPARE,
    RateLevel,
    RateReading,
    describe_rate,
    ratio_of_sums,
)
from audits.messages import Message, Rounded, say, say_n
from audits.records import Actor, Worker
from audits.services.access import require_crew_lead
from audits.services.comparing_heights import HeightComparison, compare_heights
from audits.services.counted import CountedLines, accepted_fraction, counted_lines
from audits.services.farms import the_farm
from audits.services.fitting import (
    Factor,
    FitResult,
    FitStatus,
    FittedLevel,
    figures_of_lines,
    fit_status,
)
from audits.services.name_order import by_name
from audits.services.weeks import WeeklyCourse, courses_of_season
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import comparing as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries.comparing import ComparedLine
from audits.storage.queries.trends import crew_sizes, seasons_with_results
from audits.vocabulary import FitKind, Stage

INNER_LEVEL: Final = 0.95
OUTER_LEVEL: Final = 0.998
# The share of a difference from which on "most of it" is said.
_MOST: Final = 0.5
_LEAST_PEOPLE: Final = 2
# Places at which the curves of the funnel are worked out.
_CURVE_STEPS: Final = 48
_IN_HUNDRED: Final = 100


class Around(StrEnum):
    """What the funnel stands around."""

    STANDARD = "standard"
    FARM = "farm"


class Place(StrEnum):
    """Where a rate stands in the funnel."""

    INSIDE = "inside"
    FEWER = "fewer"
    MORE = "more"
    BEYOND = "beyond"


class CurvePoint(NamedTuple):
    """
    The funnel's limits for one number of due trees.

    Parameters
    ----------
    due : int
        Due trees.
    inner, outer : FractionLimits
        What chance explains, at 95 % and at 99.8 %.
    """

    due: int
    inner: FractionLimits
    outer: FractionLimits


@dataclass(frozen=True)
class FunnelPoint:
    """
    One person in the funnel.

    Parameters
    ----------
    worker : Worker
        The person.
    reading : RateReading
        The rate as counted.
    inner, outer : FractionLimits
        What chance explains for as many trees, at 95 % and at 99.8 %.
    place : Place
        Where the rate stands: inside, fewer or more faults than the inner limits, or more than
        the outer one.
    """

    worker: Worker
    reading: RateReading
    inner: FractionLimits
    outer: FractionLimits
    place: Place


@dataclass(frozen=True)
class Funnel:
    """
    Rates as counted, against what chance explains around one rate.

    Parameters
    ----------
    around : Around
        Whether that rate is what the standard accepts or the farm's own.
    centre : float
        That rate, in (0, 1).
    scatter : float
        How many times more the people's rates scatter than chance explains (symbol phi).
    is_widened : bool
        Whether the limits are widened for it.
    points : tuple of FunnelPoint
        The people who may be set beside it, by name.
    curve : tuple of CurvePoint
        The limits from few trees to many.
    """

    around: Around
    centre: float
    scatter: float
    is_widened: bool
    points: tuple[FunnelPoint, ...]
    curve: tuple[CurvePoint, ...]


@dataclass(frozen=True)
class FairLine:
    """
    One person's rate, three ways.

    Parameters
    ----------
    worker : Worker
        The person.
    reading : RateReading
        As counted.
    in_blocks : Message
        Beside what was to be expected in the same blocks.
    fair : Message or None
        With block and auditor taken out; None while no mixed model was worked out.
    words : tuple of Message
        What follows from the three.
    is_beyond : bool
        Whether the rate as counted is beyond what the standard accepts, by the outer limits.
    is_fairly_beyond : bool or None
        Whether it stays so with block and auditor taken out; None without a mixed model.
    """

    worker: Worker
    reading: RateReading
    in_blocks: Message
    fair: Message | None
    words: tuple[Message, ...]
    is_beyond: bool
    is_fairly_beyond: bool | None

    @property
    def needs_a_look(self) -> bool:
        """Whether somebody should go and look."""
        return self.is_beyond and self.is_fairly_beyond is not False


@dataclass(frozen=True)
class GroupLine:
    """
    A block or an auditor.

    Parameters
    ----------
    id : int
        Which, or who.
    name : str
        Its name.
    due : int
        Due trees behind it.
    reading : Message
        What is to be expected there from an average person, or why nothing can be said.
    words : Message or None
        Whether that differs from the others beyond chance.
    side : int
        1 for more faults than elsewhere beyond chance, -1 for fewer, else 0.
    """

    id: int
    name: str
    due: int
    reading: Message
    words: Message | None
    side: int


@dataclass(frozen=True)
class Comparison:
    """
    One stage of a season, compared fairly.

    Parameters
    ----------
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    stage : Stage
        The stage.
    people : int
        People with at least one due tree.
    set_beside : int
        Those of them who have enough to be set beside the standard.
    left_out : tuple of str
        Names of auditors whose scores are not used for now.
    left_out_trees : int
        Due trees left out with them.
    funnel : Funnel or None
        None while nobody has enough trees, or where there is nothing to set them beside.
    lines : tuple of FairLine
        The people who have enough trees, by name.
    blocks, auditors : tuple of GroupLine
        By name.
    courses : tuple of WeeklyCourse
        How the farm and its crews went, week by week.
    heights : HeightComparison or None
        Heights of measured tops; None where none was measured.
    fit : FitStatus
        Where the mixed model of faults stands.
    """

    season: int
    seasons: list[int]
    stage: Stage
    people: int
    set_beside: int
    left_out: tuple[str, ...]
    left_out_trees: int
    funnel: Funnel | None
    lines: tuple[FairLine, ...]
    blocks: tuple[GroupLine, ...]
    auditors: tuple[GroupLine, ...]
    courses: tuple[WeeklyCourse, ...]
    heights: HeightComparison | None
    fit: FitStatus


def compare(
    database: Database,
    actor: Actor,
    season: int,
    now: datetime,
    *,
    stage: Stage | None = None,
    around: Around = Around.STANDARD,
) -> Comparison:
    """
    Compare people, blocks and auditors in one stage of a season.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.
    stage : Stage or None, optional
        The stage; the uppermost one that has results unless said.
    around : Around, optional
        What the funnel stands around.

    Returns
    -------
    Comparison
        Everything that may be said.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        if stage is None:
            stages = queries.stages_with_results(connection, farm.id, season)
            stage = next(iter(stages), Stage.TOP)
        lines = counted_lines(connection, farm.id, season, stage, now)
        status = fit_status(
            connection,
            farm.id,
            season,
            stage,
            FitKind.FAULTS,
            now,
            figures=figures_of_lines(lines.own),
        )
        people = _people(connection, farm.id, season, stage, lines)
        names = _Names(
            blocks=queries.block_names(connection, farm.id),
            auditors={user.id: user.name for user in account_queries.users(connection, farm.id)},
        )
        accepted = accepted_fraction(connection, farm.id, stage, lines.own) if lines.own else 0.0
        view = _View(lines, people, accepted, status.result, names)
        return Comparison(
            season=season,
            seasons=seasons_with_results(connection, farm.id),
            stage=stage,
            people=len({line.worker_id for line in lines.own}),
            set_beside=len(people),
            left_out=tuple(sorted(names.auditors[each] for each in lines.left_out_auditors)),
            left_out_trees=lines.left_out_trees,
            funnel=view.funnel(around),
            lines=view.fair_lines(),
            blocks=view.group_lines(Factor.BLOCK),
            auditors=view.group_lines(Factor.AUDITOR),
            courses=courses_of_season((*lines.own, *lines.shared), crew_sizes(connection, farm.id)),
            heights=(
                compare_heights(connection, farm, season, now, one_is_enough=lines.one_is_enough)
                if stage is Stage.TOP
                else None
            ),
            fit=status,
        )


# --- who may be compared -------------------------------------------------------------------------


class _Person(NamedTuple):
    worker: Worker
    reading: RateReading


class _Names(NamedTuple):
    blocks: Mapping[int, str]
    auditors: Mapping[int, str]


def _people(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, lines: CountedLines
) -> list[_Person]:
    """Return those who have enough trees to be set beside the standard, by name."""
    by_worker: dict[int, list[ComparedLine]] = defaultdict(list)
    for line in lines.own:
        if line.worker_id is not None:
            by_worker[line.worker_id].append(line)
    auditors = {
        worker_id: auditors_for_floor(
            {line.auditor_id for line in own}, (), one_is_enough=lines.one_is_enough
        )
        for worker_id, own in by_worker.items()
    }
    # Rows are counted from trees, so only where the sums leave it open.
    candidates = {
        worker_id: own
        for worker_id, own in by_worker.items()
        if sum(line.due for line in own) >= LEAST_TREES_TO_COMPARE
        and len({line.scored_on for line in own}) >= LEAST_DAYS_TO_COMPARE
        and auditors[worker_id] >= LEAST_AUDITORS_TO_COMPARE
    }
    rows: dict[int, set[int]] = defaultdict(set)
    found = queries.rows_of_workers(connection, farm_id, season, stage, list(candidates))
    for worker_id, auditor_id, row_id in found:
        if auditor_id not in lines.left_out_auditors:
            rows[worker_id].add(row_id)
    readings = {
        worker_id: describe_rate(
            sum(line.nonconforming for line in own),
            sum(line.due for line in own),
            days=len({line.scored_on for line in own}),
            rows=len(rows[worker_id]),
            auditors=auditors[worker_id],
        )
        for worker_id, own in candidates.items()
    }
    workers = farm_queries.workers(connection, farm_id, with_retired=True) if readings else []
    return [
        _Person(worker, readings[worker.id])
        for worker in by_name(workers)
        if worker.id in readings and readings[worker.id].level is RateLevel.COMPARABLE
    ]


# --- one stage -----------------------------------------------------------------------------------


class _View:
    """What is said of one stage, from its lines and its mixed model."""

    def __init__(
        self,
        lines: CountedLines,
        people: Sequence[_Person],
        accepted: float,
        result: FitResult | None,
        names: _Names,
    ) -> None:
        self.lines = lines.own
        self.people = people
        self.accepted = accepted
        self.result = result
        self.names = names
        self.rate = ratio_of_sums((line.nonconforming, line.due) for line in self.lines)
        self.scatter = self._scatter()

    # -- the funnel

    def _scatter(self) -> Overdispersion | None:
        """
        Measure the scatter around the farm's own rate.

        Around another one it would count as scatter that the whole farm is better or worse.
        """
        if self.rate is None or len(self.people) < _LEAST_PEOPLE:
            return None
        readings = [person.reading for person in self.people]
        nonconforming = [reading.nonconforming for reading in readings]
        due = [reading.due for reading in readings]
        return overdispersion(nonconforming, due, self.rate)

    @property
    def is_widened(self) -> bool:
        """Whether people scatter more than such a factor would by chance (Spiegelhalter 2005)."""
        if self.scatter is None:
            return False
        return self.scatter.phi > 1 + 2 * math.sqrt(2 / len(self.people))

    def funnel(self, around: Around) -> Funnel | None:
        centre = self.accepted if around is Around.STANDARD else self.rate
        if not self.people or centre is None or not 0 < centre < 1:
            return None
        return Funnel(
            around=around,
            centre=centre,
            scatter=self.scatter.phi if self.scatter else 1.0,
            is_widened=self.is_widened,
            points=tuple(self._point(person, centre) for person in self.people),
            curve=self._curve(centre),
        )

    def _point(self, person: _Person, centre: float) -> FunnelPoint:
        inner, outer = self._limits(centre, person.reading.due)
        place = _place(person.reading, inner, outer)
        return FunnelPoint(person.worker, person.reading, inner, outer, place)

    def _limits(self, centre: float, due: int) -> tuple[FractionLimits, FractionLimits]:
        if self.is_widened and self.scatter is not None:
            around = replace(self.scatter, target=centre)
            return around.limits(due, INNER_LEVEL), around.limits(due, OUTER_LEVEL)
        inner, outer = funnel_limits(centre, due, (INNER_LEVEL, OUTER_LEVEL))
        return _counted(inner, due), _counted(outer, due)

    def _curve(self, centre: float) -> tuple[CurvePoint, ...]:
        most = max(person.reading.due for person in self.people)
        dues = _steps(LEAST_TREES_TO_COMPARE // 2, math.ceil(1.05 * most))
        if self.is_widened:
            return tuple(CurvePoint(due, *self._limits(centre, due)) for due in dues)
        points = []
        for due in dues:
            inner, outer = funnel_limits(centre, due, (INNER_LEVEL, OUTER_LEVEL))
            points.append(CurvePoint(due, _smooth(inner), _smooth(outer)))
        return tuple(points)

    # -- the same rates, fairly

    def fair_lines(self) -> tuple[FairLine, ...]:
        if not self.people:
            return ()
        standardised = {
            row.unit: row
            for row in indirect_standardisation(
                [line.worker_id for line in self.lines],
                [line.block_id for line in self.lines],
                [line.nonconforming for line in self.lines],
                [line.due for line in self.lines],
            )
        }
        own: dict[int | None, list[ComparedLine]] = defaultdict(list)
        for line in self.lines:
            own[line.worker_id].append(line)
        return tuple(
            self._fair_line(person, standardised[person.worker.id], own[person.worker.id])
            for person in self.people
        )

    def _fair_line(
        self, person: _Person, row: StandardisedRate[int | None], own: Sequence[ComparedLine]
    ) -> FairLine:
        level = self._level(Factor.WORKER, person.worker.id)
        place = Place.INSIDE
        if 0 < self.accepted < 1:
            place = self._point(person, self.accepted).place
        beyond = place is Place.BEYOND and person.reading.is_beyond(self.accepted)
        fairly = self._is_fairly_beyond(level) if level is not None else None
        words = [*self._sources(row, own)] if place in {Place.MORE, Place.BEYOND} else []
        if beyond:
            words.append(self._what_follows(level))
        return FairLine(
            worker=person.worker,
            reading=person.reading,
            in_blocks=_in_blocks(row),
            fair=None if level is None else _right_in_hundred(level),
            words=tuple(words),
            is_beyond=beyond,
            is_fairly_beyond=fairly,
        )

    def _is_fairly_beyond(self, level: FittedLevel) -> bool:
        """
        Tell whether a person stays beyond the standard with block and auditor taken out.

        Where the average person is beyond it too, as on a farm of hard blocks, that alone would
        blame everybody: the person must also stand out from the others.
        """
        return level.outer[0] > self.accepted and level.side > 0

    def _what_follows(self, level: FittedLevel | None) -> Message:
        if level is None:
            return say(
                "As counted, more faults than the standard accepts, beyond chance. First see the "
                "fair rate, then go and look."
            )
        if self._is_fairly_beyond(level):
            return say("With block and auditor taken out it stays beyond chance: go and look.")
        if level.outer[0] > self.accepted:
            return say(
                "With block and auditor taken out it is like the others' on this farm, who are "
                "beyond the standard too."
            )
        return say("With block and auditor taken out it is not beyond chance.")

    def _sources(
        self, row: StandardisedRate[int | None], own: Sequence[ComparedLine]
    ) -> Iterable[Message]:
        """Say where more faults than the farm's rate mostly come from."""
        excess = row.observed - row.due * (self.rate or 0.0)
        if excess <= 0:
            return
        due_in: dict[int, int] = defaultdict(int)
        for line in own:
            due_in[line.block_id] += line.due
        for block_id, due in due_in.items():
            block = self._level(Factor.BLOCK, block_id)
            rate = self._rates_of_blocks[block_id] or 0.0
            if (
                block is not None
                and block.side > 0
                and due * (rate - (self.rate or 0.0)) >= (_MOST * excess)
            ):
                yield say(
                    "Most of this comes from %(block)s, where everybody has more faults.",
                    block=self.names.blocks[block_id],
                )
        if row.due_alone >= _MOST * row.due:
            yield say_n(
                "%(count)s of %(due)s trees stands where nobody else pruned: there block and "
                "person cannot be told apart.",
                "%(count)s of %(due)s trees stand where nobody else pruned: there block and "
                "person cannot be told apart.",
                row.due_alone,
                due=row.due,
            )
        by_strict = sum(line.due for line in own if self._is_strict(line.auditor_id))
        if by_strict >= _MOST * row.due:
            yield say("Scored mostly by a stricter auditor.")

    @cached_property
    def _rates_of_blocks(self) -> dict[int, float | None]:
        return stratum_rates(
            [line.block_id for line in self.lines],
            [line.nonconforming for line in self.lines],
            [line.due for line in self.lines],
        )

    def _is_strict(self, auditor_id: int) -> bool:
        level = self._level(Factor.AUDITOR, auditor_id)
        return level is not None and level.side > 0

    def _level(self, factor: Factor, level_id: int) -> FittedLevel | None:
        return self.result.level(factor, level_id) if self.result is not None else None

    # -- blocks and auditors

    def group_lines(self, factor: Factor) -> tuple[GroupLine, ...]:
        due: dict[int, int] = defaultdict(int)
        for line in self.lines:
            due[line.block_id if factor is Factor.BLOCK else line.auditor_id] += line.due
        names = self.names.blocks if factor is Factor.BLOCK else self.names.auditors
        return tuple(
            self._group_line(factor, group_id, names[group_id], due[group_id])
            for group_id in sorted(due, key=lambda each: names[each].casefold())
        )

    def _group_line(self, factor: Factor, group_id: int, name: str, due: int) -> GroupLine:
        level = self._level(factor, group_id)
        if due < LEAST_TREES_TO_COMPARE:
            few = say_n(
                "%(count)s tree: too few to compare.", "%(count)s trees: too few to compare.", due
            )
            return GroupLine(group_id, name, due, few, None, 0)
        if level is None:
            return GroupLine(group_id, name, due, self._no_level(factor), None, 0)
        words = _SIDES[factor][level.side]
        return GroupLine(group_id, name, due, _right_in_hundred(level), words, level.side)

    def _no_level(self, factor: Factor) -> Message:
        if self.result is None or factor in self.result.levels:
            return say("Not worked out yet.")
        if factor is Factor.BLOCK:
            return say("All trees stand in one block, so it is compared with none.")
        return say("One auditor scored all trees: whether they are strict cannot be told.")


_SIDES: Final[Mapping[Factor, Mapping[int, Message]]] = {
    Factor.BLOCK: {
        1: say("A hard block: more faults than elsewhere, whoever prunes."),
        0: say("No difference beyond chance."),
        -1: say("An easy block: fewer faults than elsewhere, whoever prunes."),
    },
    Factor.AUDITOR: {
        1: say("Stricter than the others, beyond chance."),
        0: say("No difference beyond chance."),
        -1: say("Milder than the others, beyond chance."),
    },
}


def _in_blocks(row: StandardisedRate[int | None]) -> Message:
    if row.ratio is None or row.ratio_interval is None:
        return say("No fault was to be expected in these blocks.")
    return say(
        "%(observed)s of %(due)s with a fault, %(expected)s expected: %(ratio)s times as many, "
        "could be %(lower)s to %(upper)s.",
        observed=row.observed,
        expected=Rounded(row.expected),
        ratio=Rounded(row.ratio),
        lower=Rounded(math.floor(10 * row.ratio_interval.lower) / 10),
        upper=Rounded(math.ceil(10 * row.ratio_interval.upper) / 10),
        due=row.due,
    )


def _right_in_hundred(level: FittedLevel) -> Message:
    """Count right trees of a hundred, the limits rounded outwards."""
    return say(
        "About %(right)s in 100 right, could be %(lower)s to %(upper)s (%(due)s trees).",
        right=round(_IN_HUNDRED * (1 - level.value)),
        lower=math.floor(_IN_HUNDRED * (1 - level.interval[1])),
        upper=math.ceil(_IN_HUNDRED * (1 - level.interval[0])),
        due=level.trees,
    )


def _place(reading: RateReading, inner: FractionLimits, outer: FractionLimits) -> Place:
    fraction = reading.nonconforming / reading.due
    if outer.signal(fraction) is not None and fraction > outer.upper:
        return Place.BEYOND
    if inner.signal(fraction) is None:
        return Place.INSIDE
    return Place.MORE if fraction > inner.upper else Place.FEWER


def _counted(limits: FunnelLimits, due: int) -> FractionLimits:
    return FractionLimits(limits.smallest_inside / due, limits.largest_inside / due)


def _smooth(limits: FunnelLimits) -> FractionLimits:
    return FractionLimits(limits.lower, limits.upper)


def _steps(least: int, most: int) -> list[int]:
    most = max(most, least + 1)
    share = (most / least) ** (1 / _CURVE_STEPS)
    return sorted({round(least * share**step) for step in range(_CURVE_STEPS + 1)})
