"""What an audit is scored with, loaded once: its draw, standard, plans and who did what."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.attribution import Assignment, answerable_worker
from audits.errors import NotFound
from audits.messages import say
from audits.records import (
    AssignmentRow,
    Audit,
    CrewPass,
    Draw,
    DrawTree,
    Farm,
    StageScoreRow,
    TreeScoreRow,
)
from audits.sampling import (
    LengthLimits,
    MeasuredPlan,
    MeasuredStanding,
    MeasuredTree,
    Plan,
    StagePlan,
    StageTally,
    StageVerdict,
    TreesLeft,
    decide,
    deciding_wave,
    judge_measured,
    judge_stage,
    leading_fault,
    lot_outcome,
    most_not_lost,
    trees_until_certain,
    walk_sizes,
)
from audits.sampling.measured import LENGTH_FAULTS, MEASURED_KINDS
from audits.sampling.stored import read_plan
from audits.scoring import (
    StageScore,
    TreeAnswers,
    TreeScore,
    judged_side,
    measured_lengths,
    measured_limits,
    measured_value,
    read_answers,
)
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.queries import audits as queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert_many
from audits.storage.tables import rollup, stage_score
from audits.vocabulary import Fault, Outcome, Purpose, Result, Stage

_DUE = frozenset({Result.CONFORMING, Result.NONCONFORMING})
_LENGTH_FAULTS = frozenset(LENGTH_FAULTS.values())
_DECIDING = frozenset({Purpose.FIRST, Purpose.RE_AUDIT})


@dataclass(frozen=True)
class Scorebook:
    """
    Everything that scoring an audit rests on.

    Parameters
    ----------
    farm : Farm
        The farm.
    audit : Audit
        The audit.
    draw : Draw
        Its draw.
    crew_pass : CrewPass
        The pass whose trees were drawn.
    standard : Standard
        The version in force when the pass began.
    plans : Mapping of Stage to StagePlan
        The plan of each stage; empty for an audit that decides nothing.
    assignments : Sequence of Assignment
        Who did what in the rows that the draw visits.
    check_of : int or None, optional
        For a blind second audit, the first one, whose trees it scores.
    """

    farm: Farm
    audit: Audit
    draw: Draw
    crew_pass: CrewPass
    standard: Standard
    plans: Mapping[Stage, StagePlan]
    assignments: Sequence[Assignment]
    check_of: int | None = None

    @property
    def decides(self) -> bool:
        """Whether it is made to decide; start checks and check trees decide and feed nothing."""
        return self.draw.purpose in _DECIDING and self.check_of is None

    @cached_property
    def wave_sizes(self) -> tuple[int, ...]:
        """Trees looked at by the end of each wave of the walk, on which the plans agree."""
        return walk_sizes(self.plans.values())

    @property
    def sample_size(self) -> int:
        """Trees that the plans ask for; none in an audit that decides nothing."""
        return max(self.wave_sizes, default=0)

    @property
    def scored_on(self) -> date:
        """The farm's day on which the audit began."""
        return self.audit.started_at.astimezone(ZoneInfo(self.farm.time_zone)).date()

    @property
    def pass_began_on(self) -> date:
        """The farm's day on which the pass began."""
        return self.crew_pass.started_at.astimezone(ZoneInfo(self.farm.time_zone)).date()

    def worker_of(self, stage: Stage, tree: DrawTree) -> int | None:
        """
        Return the one person who answers for a stage of a tree.

        Parameters
        ----------
        stage : Stage
            The stage.
        tree : DrawTree
            The tree.

        Returns
        -------
        int or None
            The worker, or None when the result is the crew's.
        """
        if self.audit.worker_id is not None:
            return self.audit.worker_id
        if self.draw.purpose is Purpose.RE_AUDIT or not self.decides:
            # Two passes made the cuts that are counted here, or the auditors are looked at.
            return None
        return answerable_worker(
            self.assignments,
            stage,
            tree.orchard_row_id,
            tree.position,
            judged_side(stage, tree.side),
        )


@dataclass(frozen=True)
class StageStanding:
    """
    Where a stage stands in an audit.

    Parameters
    ----------
    stage : Stage
        The stage.
    plan : StagePlan
        The plan that decides it.
    tallies : tuple of StageTally
        Trees scored in each wave of its sample.
    tally : StageTally
        Trees scored and nonconforming so far; once the stage is decided, in the waves that
        decided it.
    due : int
        Those of them on which the stage was due.
    faults : Mapping of Fault to int
        Nonconforming trees that show each fault.
    outcome : Outcome
        The verdict as soon as it is certain, else open.
    measured : MeasuredStanding or None
        For a stage that is decided by its mean where that may be: whether it is, and how.
    """

    stage: Stage
    plan: StagePlan
    tallies: tuple[StageTally, ...]
    tally: StageTally
    due: int
    faults: Mapping[Fault, int]
    outcome: Outcome
    measured: MeasuredStanding | None = None

    @property
    def leading_fault(self) -> Fault | None:
        """The fault seen on most trees, or what the mean speaks of where no tree shows any."""
        seen = leading_fault(self.faults)
        return seen or next(iter(self.faults_of_mean), None)

    @property
    def faults_of_mean(self) -> tuple[Fault, ...]:
        """What turned the lot down by its mean, whether or not a tree of the sample shows it."""
        return () if self.measured is None else self.measured.leading_faults

    @property
    def verdict(self) -> StageVerdict:
        """The outcome with its reason in one sentence."""
        if self.measured is not None:
            reason = self.measured.reason(self.stage, self.faults)
            return StageVerdict(self.stage, self.outcome, reason)
        return judge_stage(self.stage, self._counting, self.tallies, self.faults)

    @property
    def trees_left(self) -> TreesLeft:
        """Further trees until the stage is decided, in the best and in the worst case."""
        if self.measured is not None:
            return self.measured.trees_left
        return trees_until_certain(self._counting, *self.tallies)

    @property
    def most_not_lost(self) -> int | None:
        """With how many nonconforming trees the stage is not lost; None where none are counted."""
        if self.measured is not None:
            return self.measured.most_not_lost
        return most_not_lost(self._counting, *self.tallies)

    @property
    def _counting(self) -> Plan:
        return self.plan.counted if isinstance(self.plan, MeasuredPlan) else self.plan


def open_scorebook(connection: sa.Connection, farm_id: int, audit_id: int) -> Scorebook:
    """
    Load what an audit is scored with.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id, audit_id : int
        The audit.

    Returns
    -------
    Scorebook
        Draw, standard, plans and assignments.

    Raises
    ------
    NotFound
        If the farm has no such audit.
    """
    found = queries.audit_by_id(connection, farm_id, audit_id)
    draw = queries.draw_by_id(connection, farm_id, found.draw_id) if found else None
    crew_pass = (
        pass_queries.crew_pass_by_id(connection, farm_id, draw.crew_pass_id) if draw else None
    )
    farm = farm_queries.farm_by_id(connection, farm_id)
    version = (
        standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
        if crew_pass
        else None
    )
    if not (found and draw and crew_pass and farm and version):
        raise NotFound(say("There is no such audit."))
    check_of = None
    if draw.purpose is Purpose.FIRST:
        check_of = check_queries.audit_checked_by(connection, farm_id, audit_id)
    return Scorebook(
        farm=farm,
        audit=found,
        draw=draw,
        crew_pass=crew_pass,
        standard=standard_of(version),
        plans={}
        if check_of is not None
        else {
            row.stage: read_plan(row.plan)
            for row in queries.draw_stages(connection, farm_id, draw.id)
        },
        assignments=read_assignments(
            pass_queries.assignments_in_draw(connection, farm_id, draw.crew_pass_id, draw.id)
        ),
        check_of=check_of,
    )


def refuse_undeciding(book: Scorebook) -> None:
    """
    Stop where an audit is asked for and this is a start check or one of check trees.

    Parameters
    ----------
    book : Scorebook
        What was found.

    Raises
    ------
    NotFound
        If it decides nothing.
    """
    if not book.decides:
        raise NotFound(say("There is no such audit."))


def read_assignments(rows: Iterable[AssignmentRow]) -> list[Assignment]:
    """
    Return stored assignments as attribution takes them.

    Parameters
    ----------
    rows : iterable of AssignmentRow
        The stored rows.

    Returns
    -------
    list of Assignment
        Who did what, in the same order.
    """
    return [
        Assignment(
            worker_id=row.worker_id,
            row_id=row.orchard_row_id,
            stage=row.stage,
            first_position=row.first_position,
            last_position=row.last_position,
            side=row.side,
        )
        for row in rows
    ]


def measured_values(
    book: Scorebook, scores: Iterable[TreeScoreRow]
) -> dict[tuple[int, Stage], float]:
    """
    Return the measured lengths by which stages may be decided.

    Parameters
    ----------
    book : Scorebook
        The audit.
    scores : Iterable of TreeScoreRow
        Stored answers.

    Returns
    -------
    dict of tuple of int and Stage to float
        Lengths in mm, by the tree score's id and the stage; none where no plan measures.
    """
    stages = [stage for stage, plan in book.plans.items() if isinstance(plan, MeasuredPlan)]
    values = {}
    for score in scores if stages else ():
        answers = read_answers(score.answers)
        for stage in stages:
            value = measured_value(stage, answers)
            if value is not None:
                values[score.id, stage] = value
    return values


def stage_standings(
    book: Scorebook,
    scores: Iterable[StageScoreRow],
    values: Mapping[tuple[int, Stage], float],
) -> list[StageStanding]:
    """
    Return where each stage of an audit stands.

    Parameters
    ----------
    book : Scorebook
        The audit.
    scores : Iterable of StageScoreRow
        Its current stage scores.
    values : Mapping of tuple of int and Stage to float
        What `measured_values` returned for the same trees.

    Returns
    -------
    list of StageStanding
        One entry for each stage that has a plan, from the top of the tree down.
    """
    by_stage: dict[Stage, list[StageScoreRow]] = {stage: [] for stage in book.draw.stages}
    for score in scores:
        by_stage[score.stage].append(score)
    ordered = sorted(book.plans.items(), key=lambda item: list(Stage).index(item[0]))
    return [_standing(book, stage, plan, by_stage[stage], values) for stage, plan in ordered]


def _standing(
    book: Scorebook,
    stage: Stage,
    plan: StagePlan,
    scores: Sequence[StageScoreRow],
    values: Mapping[tuple[int, Stage], float],
) -> StageStanding:
    waves = _by_wave(book, plan, scores)
    tallies = tuple(_tally(wave) for wave in waves)
    measured = None
    if isinstance(plan, MeasuredPlan):
        limits = LengthLimits(*measured_limits(book.standard, stage), MEASURED_KINDS[stage])
        trees = _measured_trees(waves[0], values)
        measured = judge_measured(plan, limits, trees, tallies)
        outcome, decided_in = measured.outcome, measured.decided_in
    else:
        outcome, decided_in = decide(plan, *tallies), deciding_wave(plan, *tallies)
    # What was scored after the decision, for other stages' sake, is no part of it.
    counted = [score for wave in waves[:decided_in] for score in wave]
    return StageStanding(
        stage=stage,
        plan=plan,
        tallies=tallies,
        tally=_tally(counted),
        due=sum(score.result in _DUE for score in counted),
        faults=Counter(fault for score in counted for fault in score.faults),
        outcome=outcome,
        measured=measured,
    )


def _measured_trees(
    scores: Iterable[StageScoreRow], values: Mapping[tuple[int, Stage], float]
) -> list[MeasuredTree]:
    return [
        MeasuredTree(
            values.get((score.tree_score_id, score.stage)) if score.result in _DUE else None,
            other_fault=not _LENGTH_FAULTS.issuperset(score.faults),
        )
        for score in scores
        if score.result is not Result.NOT_SCORED
    ]


def _by_wave(
    book: Scorebook, plan: StagePlan, scores: Iterable[StageScoreRow]
) -> list[list[StageScoreRow]]:
    """Sort a stage's scores by its plan's waves; trees beyond its sample are left out."""
    sizes = book.wave_sizes
    waves: list[list[StageScoreRow]] = [[] for _ in plan.waves]
    for score in scores:
        walked = sizes[score.wave - 1]
        for number, wave in enumerate(plan.waves):
            if walked <= wave.size:
                waves[number].append(score)
                break
    return waves


def _tally(scores: Sequence[StageScoreRow]) -> StageTally:
    results = Counter(score.result for score in scores)
    return StageTally(
        scored=sum(results.values()) - results[Result.NOT_SCORED],
        nonconforming=results[Result.NONCONFORMING],
        not_due=results[Result.NOT_DUE],
    )


def lot_standing(standings: Sequence[StageStanding]) -> Outcome:
    """
    Return where the lot as a whole stands.

    Parameters
    ----------
    standings : Sequence of StageStanding
        Where its stages stand.

    Returns
    -------
    Outcome
        Accepted when every stage is, not accepted as soon as one is not, else open; open too
        where nothing is decided, as in a start check.
    """
    if not standings:
        return Outcome.OPEN
    return lot_outcome({standing.stage: standing.outcome for standing in standings})


def write_stage_scores(
    connection: sa.Connection,
    book: Scorebook,
    entries: Iterable[tuple[int, DrawTree, TreeAnswers, TreeScore]],
) -> None:
    """
    Store what the stages of some trees came to.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    entries : Iterable of tuple of int, DrawTree, TreeAnswers and TreeScore
        Id of the stored answers, the tree, what was entered, and its score.
    """
    insert_many(
        connection,
        stage_score,
        [
            _stage_values(book, tree_score_id, tree, stage, score, answers)
            for tree_score_id, tree, answers, tree_result in entries
            for stage, score in tree_result.stages.items()
        ],
    )


def _stage_values(
    book: Scorebook,
    tree_score_id: int,
    tree: DrawTree,
    stage: Stage,
    score: StageScore,
    answers: TreeAnswers,
) -> dict[str, object]:
    return {
        "farm_id": book.farm.id,
        "tree_score_id": tree_score_id,
        "stage": stage,
        "result": score.result,
        "faults": score.faults,
        "points": score.points,
        "measured_mm": list(measured_lengths(stage, answers)) or None,
        "worker_id": book.worker_of(stage, tree),
    }


def rollup_rows(book: Scorebook, scores: Iterable[StageScoreRow]) -> list[dict[str, object]]:
    """
    Sum an audit up by stage and worker.

    Parameters
    ----------
    book : Scorebook
        The audit.
    scores : Iterable of StageScoreRow
        Its current stage scores.

    Returns
    -------
    list of dict of str to object
        Rows of the roll-up table; the line without a worker holds the crew's shared results.
    """
    lines: dict[tuple[Stage, int | None], list[StageScoreRow]] = {}
    for score in scores:
        if score.result is not Result.NOT_SCORED:
            lines.setdefault((score.stage, score.worker_id), []).append(score)
    return [
        {
            "farm_id": book.farm.id,
            "audit_id": book.audit.id,
            "stage": stage,
            "worker_id": worker_id,
            "season": book.audit.season,
            "purpose": book.draw.purpose,
            "crew_id": book.crew_pass.crew_id,
            "block_id": book.crew_pass.block_id,
            "scored_on": book.scored_on,
            "trees": len(line),
            "due": sum(score.result in _DUE for score in line),
            "nonconforming": sum(score.result is Result.NONCONFORMING for score in line),
            "points_sum": sum(score.points or 0.0 for score in line),
        }
        for (stage, worker_id), line in lines.items()
    ]


def write_rollups(connection: sa.Connection, book: Scorebook) -> None:
    """
    Write an audit's roll-ups anew from its current scores.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit; one that decides nothing has no roll-ups, since it feeds no trend.
    """
    connection.execute(
        rollup.delete().where(rollup.c.farm_id == book.farm.id, rollup.c.audit_id == book.audit.id)
    )
    if book.decides:
        scores = queries.current_stage_scores(connection, book.farm.id, book.audit.id)
        insert_many(connection, rollup, rollup_rows(book, scores))


def failed_stages(scores: Iterable[StageScoreRow]) -> dict[Stage, list[StageScoreRow]]:
    """
    Return the nonconforming scores by stage.

    Parameters
    ----------
    scores : Iterable of StageScoreRow
        Current stage scores.

    Returns
    -------
    dict of Stage to list of StageScoreRow
        Only stages with a nonconforming tree.
    """
    failed: dict[Stage, list[StageScoreRow]] = {}
    for score in scores:
        if score.result is Result.NONCONFORMING:
            failed.setdefault(score.stage, []).append(score)
    return failed


def scores_by_tree(
    scores: Iterable[TreeScoreRow],
) -> dict[int, TreeScoreRow]:
    """
    Index tree scores by the tree of the draw.

    Parameters
    ----------
    scores : Iterable of TreeScoreRow
        Current scores.

    Returns
    -------
    dict of int to TreeScoreRow
        By the draw tree's id.
    """
    return {score.draw_tree_id: score for score in scores}
