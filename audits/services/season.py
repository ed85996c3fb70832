"""
The owner's review of a season: lots, verdicts, rates and hours of blocks and crews.

No person appears here. Figures of a crew of fewer than 5 people are held back, and every share
goes through the same floors as a worker's rate.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from audits.control.blocks import LEAST_BLOCK_SIZE, BlockChart, block_chart
from audits.errors import NotFound
from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    Interval,
    RateReading,
    describe_rate,
    wilson,
)
from audits.messages import Message, say, say_n
from audits.records import Actor
from audits.seasons import Season, Span, season_days, season_span
from audits.services.access import require_role
from audits.services.farms import the_farm
from audits.services.trends import LEAST_PEOPLE_OF_A_CREW, in_stage_order
from audits.storage.database import Database
from audits.storage.queries import season as queries
from audits.storage.queries.season import AuditLine, LotCount, PassHours, StageVerdicts
from audits.storage.queries.trends import crew_sizes, seasons_with_results
from audits.vocabulary import Fault, LotState, Outcome, PassKind, Role, Stage

_MOST_POINTS: Final = 24
_IN_TEN: Final = 10
_IN_HUNDRED: Final = 100
_LOTS_FOR_HUNDREDTHS: Final = 100


@dataclass(frozen=True)
class AcceptanceReading:
    """
    What may be said of how many lots were accepted at their first audit.

    Parameters
    ----------
    accepted, audited : int
        Lots accepted, and lots whose first audit is sealed.
    fraction : float or None
        Accepted over audited lots, in [0, 1]; None below 30 audited lots.
    interval : Interval or None
        Wilson's 95 % interval of that fraction; None below 10 audited lots.
    sentence : Message
        The reading in words.
    """

    accepted: int
    audited: int
    fraction: float | None
    interval: Interval | None
    sentence: Message


@dataclass(frozen=True)
class LotSums:
    """
    How the lots of a block, a crew or the farm stand.

    Parameters
    ----------
    lots : int
        Finished lots.
    first_accepted : int
        Accepted at their first audit.
    accepted_after_rework : int
        Not accepted at first, accepted since.
    in_rework : int
        Not accepted, waiting for rework or its re-audit.
    closed : int
        Not accepted, cannot be mended.
    not_audited : int
        Without a sealed first audit, though they are to have one.
    not_chosen : int
        Passed over where one lot in three of a crew is audited; in no share.
    read_otherwise : int
        First verdicts that amendments would have turned round.
    acceptance : AcceptanceReading
        What may be said of the share accepted at the first audit.
    """

    lots: int
    first_accepted: int
    accepted_after_rework: int
    in_rework: int
    closed: int
    not_audited: int
    not_chosen: int
    read_otherwise: int
    acceptance: AcceptanceReading


@dataclass(frozen=True)
class GroupLine:
    """
    The lots of one block or crew.

    Parameters
    ----------
    name : str
        Its name.
    sums : LotSums or None
        How its lots stand; None for a crew of fewer than 5 people.
    """

    name: str
    sums: LotSums | None


@dataclass(frozen=True)
class StageLine:
    """
    A stage over the season.

    Parameters
    ----------
    stage : Stage
        The stage.
    acceptance : AcceptanceReading
        First audits that accepted it.
    reworked : int
        Lots in which it went back to be mended.
    leading_fault : Fault or None
        The fault that led most often where it was not accepted.
    rate : RateReading
        What may be said of the fraction of nonconforming trees.
    chart : BlockChart or None
        Blocks of due trees in scoring order; None below 30 due trees.
    block_size : int
        Due trees of a block of the chart.
    """

    stage: Stage
    acceptance: AcceptanceReading
    reworked: int
    leading_fault: Fault | None
    rate: RateReading
    chart: BlockChart | None
    block_size: int


@dataclass(frozen=True)
class Effort:
    """
    What a season cost in hours; no wages are kept.

    Parameters
    ----------
    passes, rework_passes : int
        Passes that were no rework, and rework passes.
    hours, rework_hours : float
        Hours noted for them.
    passes_without_hours, rework_without_hours : int
        Passes of each for which no hours were noted.
    """

    passes: int
    rework_passes: int
    hours: float
    rework_hours: float
    passes_without_hours: int
    rework_without_hours: int


@dataclass(frozen=True)
class SeasonReview:
    """
    A season of the farm.

    Parameters
    ----------
    season : Season
        Its days.
    seasons : list of int
        Seasons with results, the latest first.
    lots : LotSums
        All lots.
    trees_audited : int
        Trees scored in first audits.
    blocks, crews : list of GroupLine
        By name.
    stages : list of StageLine
        Stages with results, from the top of the tree down; of one crew if one was chosen.
    effort : Effort
        Hours.
    charted_crew : int or None
        The crew whose rates and charts are shown; None for the whole farm.
    chartable_crews : dict of int to str
        Crews that may be chosen.
    """

    season: Season
    seasons: list[int]
    lots: LotSums
    trees_audited: int
    blocks: list[GroupLine]
    crews: list[GroupLine]
    stages: list[StageLine]
    effort: Effort
    charted_crew: int | None
    chartable_crews: dict[int, str]


def review_season(
    database: Database, actor: Actor, season: int, *, crew_id: int | None = None
) -> SeasonReview:
    """
    Return the owner's review of a season.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner.
    season : int
        Calendar year in which the season began.
    crew_id : int or None, optional
        Crew whose stage rates and charts are wanted; the whole farm by default.

    Returns
    -------
    SeasonReview
        Lots, verdicts, rates, charts and hours.

    Raises
    ------
    NotAllowed
        If the person is no owner.
    NotFound
        If the farm has no such crew, or it has fewer than 5 people.
    """
    require_role(actor, Role.OWNER)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        crews = crew_sizes(connection, farm.id)
        chartable = {
            crew: name for crew, (name, people) in crews.items() if people >= LEAST_PEOPLE_OF_A_CREW
        }
        if crew_id is not None and crew_id not in chartable:
            raise NotFound(say("There is no such crew, or it is too small to be shown."))
        span = season_span(season, farm.season_start_month, farm.time_zone)
        counts = queries.lot_counts(connection, farm.id, *span)
        lines = queries.audit_lines(connection, farm.id, season)
        return SeasonReview(
            season=season_days(season, farm.season_start_month),
            seasons=seasons_with_results(connection, farm.id),
            lots=_lot_sums(counts),
            trees_audited=_trees_audited(lines),
            blocks=_by_block(counts),
            crews=_by_crew(counts, crews),
            stages=_stage_lines(connection, farm.id, season, crew_id, lines, span),
            effort=_effort(queries.pass_hours(connection, farm.id, *span)),
            charted_crew=crew_id,
            chartable_crews=chartable,
        )


def describe_acceptance(accepted: int, audited: int) -> AcceptanceReading:
    """
    Say of a share of accepted lots what the number of lots allows.

    The floors are those of a worker's rate: below 10 lots only counts, below 30 only a range.

    Parameters
    ----------
    accepted : int
        Lots accepted at their first audit, from 0 to `audited`.
    audited : int
        Lots whose first audit is sealed.

    Returns
    -------
    AcceptanceReading
        The figures that may be shown, and the sentence.

    Raises
    ------
    ValueError
        If `accepted` is below 0 or above `audited`.

    Examples
    --------
    >>> print(describe_acceptance(32, 40).sentence)
    About 8 in 10 lots accepted at the first audit, could be 6 to 9 (40 lots).
    """
    if not 0 <= accepted <= audited:
        raise ValueError(f"accepted must lie between 0 and {audited}, not {accepted}")
    if audited < LEAST_TREES_FOR_A_RANGE:
        return AcceptanceReading(accepted, audited, None, None, _few_lots(accepted, audited))
    interval = wilson(accepted, audited)
    # Rounded outwards, so that no possible share is cut off.
    scale = _IN_HUNDRED if audited >= _LOTS_FOR_HUNDREDTHS else _IN_TEN
    values = {
        "lower": math.floor(interval.lower * scale),
        "upper": math.ceil(interval.upper * scale),
        "scale": scale,
        "lots": audited,
    }
    if audited < LEAST_TREES_TO_COMPARE:
        sentence = say(
            "%(lower)s to %(upper)s in %(scale)s lots accepted at the first audit (%(lots)s "
            "lots). Too few to compare.",
            **values,
        )
        return AcceptanceReading(accepted, audited, None, interval, sentence)
    fraction = accepted / audited
    return AcceptanceReading(accepted, audited, fraction, interval, _share(fraction, values))


def _few_lots(accepted: int, audited: int) -> Message:
    if audited == 0:
        return say("No lot was audited yet.")
    return say_n(
        "%(accepted)s of %(count)s lot accepted at the first audit. Too few for a share.",
        "%(accepted)s of %(count)s lots accepted at the first audit. Too few for a share.",
        audited,
        accepted=accepted,
    )


def _share(fraction: float, values: Mapping[str, int]) -> Message:
    scale = values["scale"]
    share = round(fraction * scale)
    # Rounding must not turn some refusals into none, nor some acceptances into none.
    if share == scale and fraction < 1:
        return say(
            "More than %(share)s in %(scale)s lots accepted at the first audit, could be "
            "%(lower)s to %(upper)s (%(lots)s lots).",
            share=scale - 1,
            **values,
        )
    if share == 0 and fraction > 0:
        return say(
            "Fewer than %(share)s in %(scale)s lots accepted at the first audit, could be "
            "%(lower)s to %(upper)s (%(lots)s lots).",
            share=1,
            **values,
        )
    return say(
        "About %(share)s in %(scale)s lots accepted at the first audit, could be %(lower)s to "
        "%(upper)s (%(lots)s lots).",
        share=share,
        **values,
    )


def _lot_sums(counts: Iterable[LotCount]) -> LotSums:
    stands: Counter[tuple[Outcome | None, LotState]] = Counter()
    read_otherwise = 0
    for count in counts:
        read_otherwise += count.lots if count.as_amended is not count.first_outcome else 0
        stands[count.first_outcome, count.state] += count.lots
    audited = sum(lots for (outcome, _), lots in stands.items() if outcome is not None)
    accepted = sum(lots for (outcome, _), lots in stands.items() if outcome is Outcome.ACCEPTED)
    not_chosen = stands[None, LotState.NOT_CHOSEN]

    def refused(state: LotState) -> int:
        return stands[Outcome.NOT_ACCEPTED, state]

    return LotSums(
        lots=stands.total(),
        first_accepted=accepted,
        accepted_after_rework=refused(LotState.ACCEPTED),
        in_rework=refused(LotState.REWORK) + refused(LotState.IN_AUDIT),
        closed=refused(LotState.CLOSED_NOT_ACCEPTED),
        not_audited=stands.total() - audited - not_chosen,
        not_chosen=not_chosen,
        read_otherwise=read_otherwise,
        acceptance=describe_acceptance(accepted, audited),
    )


def _by_block(counts: Iterable[LotCount]) -> list[GroupLine]:
    groups: dict[tuple[int, str], list[LotCount]] = defaultdict(list)
    for count in counts:
        groups[count.block_id, count.block].append(count)
    return [GroupLine(name, _lot_sums(group)) for (_, name), group in groups.items()]


def _by_crew(counts: Iterable[LotCount], crews: Mapping[int, tuple[str, int]]) -> list[GroupLine]:
    groups: dict[int, list[LotCount]] = defaultdict(list)
    for count in counts:
        groups[count.crew_id].append(count)
    return [
        GroupLine(name, _lot_sums(groups[crew_id]) if people >= LEAST_PEOPLE_OF_A_CREW else None)
        for crew_id, (name, people) in crews.items()
        if crew_id in groups
    ]


def _stage_lines(
    connection: sa.Connection,
    farm_id: int,
    season: int,
    crew_id: int | None,
    lines: Iterable[AuditLine],
    span: Span,
) -> list[StageLine]:
    by_stage: dict[Stage, list[AuditLine]] = defaultdict(list)
    for line in lines:
        if crew_id is None or line.crew_id == crew_id:
            by_stage[line.stage].append(line)
    verdicts: dict[Stage, list[StageVerdicts]] = defaultdict(list)
    for verdict in queries.stage_verdicts(connection, farm_id, *span, crew_id=crew_id):
        verdicts[verdict.stage].append(verdict)
    reworked = queries.reworked_lots(connection, farm_id, *span, crew_id=crew_id)
    rows = queries.audited_rows(connection, farm_id, season, crew_id)
    charts = _charts(connection, farm_id, by_stage)
    return [
        StageLine(
            stage=stage,
            acceptance=_stage_acceptance(verdicts[stage]),
            reworked=reworked.get(stage, 0),
            leading_fault=_leading_fault(verdicts[stage]),
            rate=describe_rate(
                sum(line.nonconforming for line in own),
                sum(line.due for line in own),
                days=len({line.scored_on for line in own}),
                rows=rows,
                auditors=len({line.auditor_id for line in own}),
            ),
            chart=charts.get(stage),
            block_size=_block_size(own),
        )
        for stage, own in in_stage_order(by_stage).items()
    ]


def _charts(
    connection: sa.Connection, farm_id: int, by_stage: Mapping[Stage, Sequence[AuditLine]]
) -> dict[Stage, BlockChart]:
    """
    Chart the due trees of each stage.

    An audit that lies within one block adds only its sums, whatever the order of its trees; so
    only the few audits that reach over the edge of a block are read tree by tree.
    """
    charted = {
        stage: own
        for stage, own in by_stage.items()
        if sum(line.due for line in own) >= LEAST_TREES_TO_COMPARE
    }
    over_edges = {
        audit_id
        for own in charted.values()
        for audit_id in _audits_over_edges(own, _block_size(own))
    }
    in_order: dict[tuple[int, Stage], list[bool]] = defaultdict(list)
    if over_edges:
        for audit_id, stage, nonconforming in queries.outcomes_of_audits(
            connection, farm_id, over_edges
        ):
            in_order[audit_id, stage].append(bool(nonconforming))
    return {
        stage: block_chart(
            [
                outcome
                for line in own
                for outcome in in_order.get((line.audit_id, stage)) or _in_any_order(line)
            ],
            size=_block_size(own),
        )
        for stage, own in charted.items()
    }


def _audits_over_edges(lines: Iterable[AuditLine], size: int) -> list[int]:
    over, first = [], 0
    for line in lines:
        last = first + line.due - 1
        if first // size != last // size and line.due:
            over.append(line.audit_id)
        first += line.due
    return over


def _in_any_order(line: AuditLine) -> list[bool]:
    return [number < line.nonconforming for number in range(line.due)]


def _block_size(lines: Iterable[AuditLine]) -> int:
    """Return a multiple of the least size with which a chart keeps a readable number of points."""
    due = sum(line.due for line in lines)
    return LEAST_BLOCK_SIZE * max(1, math.ceil(due / (LEAST_BLOCK_SIZE * _MOST_POINTS)))


def _stage_acceptance(verdicts: Iterable[StageVerdicts]) -> AcceptanceReading:
    ended: Counter[Outcome] = Counter()
    for verdict in verdicts:
        ended[verdict.outcome] += verdict.lots
    accepted = ended[Outcome.ACCEPTED]
    return describe_acceptance(accepted, accepted + ended[Outcome.NOT_ACCEPTED])


def _leading_fault(verdicts: Iterable[StageVerdicts]) -> Fault | None:
    led: Counter[Fault] = Counter()
    for verdict in verdicts:
        if verdict.outcome is Outcome.NOT_ACCEPTED and verdict.leading_fault is not None:
            led[verdict.leading_fault] += verdict.lots
    order = list(Fault)
    return min(led, key=lambda fault: (-led[fault], order.index(fault)), default=None)


def _trees_audited(lines: Iterable[AuditLine]) -> int:
    """Count trees once, whatever the number of their stages: an audit scores all on each tree."""
    trees: dict[int, int] = defaultdict(int)
    for line in lines:
        trees[line.audit_id] = max(trees[line.audit_id], line.trees)
    return sum(trees.values())


def _effort(kinds: Iterable[PassHours]) -> Effort:
    rework = [kind for kind in kinds if kind.kind is PassKind.REWORK]
    pruning = [kind for kind in kinds if kind.kind is not PassKind.REWORK]
    return Effort(
        passes=sum(kind.passes for kind in pruning),
        rework_passes=sum(kind.passes for kind in rework),
        hours=sum(kind.hours for kind in pruning),
        rework_hours=sum(kind.hours for kind in rework),
        passes_without_hours=sum(kind.passes - kind.with_hours for kind in pruning),
        rework_without_hours=sum(kind.passes - kind.with_hours for kind in rework),
    )
