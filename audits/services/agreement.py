"""Who agrees with whom on check trees, what follows, and whose scores compare workers."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from audits.agreement.reading import AgreementLevel, AgreementReading, read_agreement
from audits.check_trees import (
    Rating,
    SealedRound,
    Standing,
    added_up,
    auditors_for_floor,
    fault_table,
    standing_of,
)
from audits.errors import NotFound
from audits.messages import say
from audits.records import Actor, Row, User
from audits.services.access import may_keep_phones, require_crew_lead
from audits.services.unseen import may_see
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import agreement as queries
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries import comparing as comparing_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import photos as photo_queries
from audits.storage.queries.agreement import ScoredTree, SealedAnswer, SharedAudit
from audits.storage.queries.photos import PhotoRow
from audits.vocabulary import STAGES, Result, Role, Stage

if TYPE_CHECKING:
    from audits.agreement.alpha import Alpha
    from audits.agreement.bland_altman import LimitsOfAgreement
    from audits.agreement.chance import Coefficient
    from audits.agreement.gauge import GaugeByRanges, GaugeStudy
    from audits.agreement.icc import IntraclassCorrelation
    from audits.agreement.raters import FleissKappa

# Fewer trees measured by both are counted and not summed up.
LEAST_MEASURED: Final = 10

# Stages of which a length is kept: the height of a top, the diameters of cuts.
MEASURED_STAGES: Final = (Stage.TOP, Stage.HEADING)

_PAIR: Final = 2


@dataclass(frozen=True)
class AuditorStanding:
    """
    How one auditor stands, stage by stage.

    Parameters
    ----------
    user_id : int
        The auditor.
    name : str
        The auditor's name.
    since : datetime or None
        When the latest calibration walk was closed by this auditor; None before the first.
    stages : Mapping of Stage to Standing
        Those stages that somebody else scored on the same trees.
    """

    user_id: int
    name: str
    since: datetime | None
    stages: Mapping[Stage, Standing]


@dataclass(frozen=True)
class PairReading:
    """
    How two auditors agree on one stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    table : sequence of sequence of int
        Trees with a fault by both and by the first only; by the second only and by neither.
    reading : AgreementReading
        What may be said of it.
    """

    stage: Stage
    table: Sequence[Sequence[int]]
    reading: AgreementReading

    @property
    def apart(self) -> int:
        """On how many trees only one of the two saw a fault."""
        return self.table[0][1] + self.table[1][0]


@dataclass(frozen=True)
class Pair:
    """
    Two auditors who scored the same trees.

    Parameters
    ----------
    first, second : User
        The two, by name.
    readings : Sequence of PairReading
        How they agree, from the top of the tree down.
    """

    first: User
    second: User
    readings: Sequence[PairReading]


@dataclass(frozen=True)
class Discussed:
    """
    A stage of a tree on which two auditors differ.

    Parameters
    ----------
    tree : ScoredTree
        Where it stands.
    stage : Stage
        The stage.
    first, second : SealedAnswer
        What both said.
    photos : tuple of sequence of PhotoRow
        Photos that both took of it.
    """

    tree: ScoredTree
    stage: Stage
    first: SealedAnswer
    second: SealedAnswer
    photos: tuple[Sequence[PhotoRow], Sequence[PhotoRow]]


@dataclass(frozen=True)
class MeasuredPair:
    """
    What two auditors measured on the same trees.

    Parameters
    ----------
    stage : Stage
        The stage.
    first, second : tuple of float
        Lengths in mm, tree by tree: the height of a top, the mean diameter of the cuts.
    limits : LimitsOfAgreement or None
        How far two measures lie apart; None with too few trees to say.
    """

    stage: Stage
    first: tuple[float, ...]
    second: tuple[float, ...]
    limits: "LimitsOfAgreement | None"


@dataclass(frozen=True)
class PairView:
    """
    Two auditors beside each other.

    Parameters
    ----------
    pair : Pair
        The two, and how they agree.
    discussed : list of Discussed
        Where they differ.
    measured : list of MeasuredPair
        What both measured.
    rows : Mapping of int to Row
        The rows of these trees, by id.
    blocks : Mapping of int to str
        The names of the farm's blocks, by id.
    """

    pair: Pair
    discussed: list[Discussed]
    measured: list[MeasuredPair]
    rows: Mapping[int, Row]
    blocks: Mapping[int, str]


@dataclass(frozen=True)
class AgreementView:
    """
    Who agrees with whom.

    Parameters
    ----------
    auditors : list of AuditorStanding
        Everybody who scored trees that somebody else scored too, by name.
    pairs : list of Pair
        Pairs with trees of the season that the person who asks may see, by name.
    """

    auditors: list[AuditorStanding]
    pairs: list[Pair]


@dataclass(frozen=True)
class WalkStage:
    """
    How all auditors of a walk agree on one stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    trees : int
        Trees that at least two scored.
    faults : int
        Answers with a fault among all answers on them.
    alpha : Alpha
        Krippendorff's, with missing ratings.
    fleiss : FleissKappa or None
        Fleiss' kappa of the trees that everybody scored; None without any.
    ac1 : Coefficient
        Gwet's, with missing ratings.
    """

    stage: Stage
    trees: int
    faults: int
    alpha: "Alpha"
    fleiss: "FleissKappa | None"
    ac1: "Coefficient"


@dataclass(frozen=True)
class WalkMeasures:
    """
    How all auditors of a walk measure one stage.

    Parameters
    ----------
    stage : Stage or None
        The stage whose lengths are compared; None for the points of whole trees.
    trees : int
        Trees that everybody measured.
    intraclass : IntraclassCorrelation
        All six forms.
    gauge : GaugeStudy or None
        By analysis of variance, where at least two people measured the trees twice.
    ranges : GaugeByRanges or None
        By ranges, for lengths, where nobody or only one measured twice.
    """

    stage: Stage | None
    trees: int
    intraclass: "IntraclassCorrelation"
    gauge: "GaugeStudy | None"
    ranges: "GaugeByRanges | None"


@dataclass(frozen=True)
class WalkFigures:
    """
    What a calibration walk says.

    Parameters
    ----------
    pairs : list of Pair
        Every two of its auditors, or each beside the reference auditor.
    stages : list of WalkStage
        All auditors together; none where only two took part.
    measures : list of WalkMeasures
        Lengths and points.
    """

    pairs: list[Pair]
    stages: list[WalkStage]
    measures: list[WalkMeasures]


@dataclass(frozen=True)
class _Rated:
    """The first sealed audit of each person on one draw, with its ratings stage by stage."""

    audits: Mapping[int, SharedAudit]
    by_stage: Mapping[int, Mapping[Stage, Sequence[Rating]]]

    @property
    def any_audit(self) -> SharedAudit:
        return next(iter(self.audits.values()))

    def ratings(self, stage: Stage) -> dict[int, Sequence[Rating]]:
        return {user_id: own.get(stage, ()) for user_id, own in self.by_stage.items()}

    def sealed(self, stage: Stage, now: datetime | None) -> SealedRound:
        walk = self.any_audit
        closed = walk.closed_at is not None and (now is None or walk.closed_at <= now)
        waits = walk.reference_id is not None and not closed
        return SealedRound(
            self.ratings(stage), walk.is_walk, walk.reference_id, waits_for_reference=waits
        )


@dataclass(frozen=True)
class _Round(_Rated):
    """The same with all that was answered."""

    answers: Mapping[int, Sequence[SealedAnswer]]


@dataclass(frozen=True)
class WhoCounts:
    """
    Whose scores feed comparisons of workers.

    Parameters
    ----------
    left_out : frozenset of tuple of int and Stage
        Auditors, by user id, who agree poorly with the reference auditor, or else with the others,
        since their latest calibration walk, each with the stage.
    one_is_enough : frozenset of Stage
        Stages of which one auditor's scores may be set beside the standard: on a farm with one
        supervisor nobody else could score, and good agreement with a reference auditor, such as
        the owner, counts as a second pair of eyes.
    """

    left_out: frozenset[tuple[int, Stage]]
    one_is_enough: frozenset[Stage]

    def left_out_of(self, stage: Stage) -> frozenset[int]:
        """
        Return the auditors whose scores of a stage do not count.

        Parameters
        ----------
        stage : Stage
            The stage.

        Returns
        -------
        frozenset of int
            By user id.
        """
        return frozenset(user_id for user_id, of_stage in self.left_out if of_stage is stage)

    def counts(self, auditor_id: int, stage: Stage) -> bool:
        """
        Tell whether an auditor's scores of a stage count.

        Parameters
        ----------
        auditor_id : int
            The auditor.
        stage : Stage
            The stage.

        Returns
        -------
        bool
            False for whoever is left out until recalibrated.
        """
        return (auditor_id, stage) not in self.left_out

    def for_floor(self, stage: Stage, auditor_ids: Collection[int]) -> int:
        """
        Return how many auditors a rate may claim, as `audits.estimates.describe_rate` takes them.

        Parameters
        ----------
        stage : Stage
            The stage.
        auditor_ids : Collection of int
            User ids of those who scored the trees of the rate.

        Returns
        -------
        int
            Those whose scores count; 2 for the one calibrated supervisor of a farm.
        """
        return auditors_for_floor(
            auditor_ids, self.left_out_of(stage), one_is_enough=stage in self.one_is_enough
        )


def who_counts(connection: sa.Connection, farm_id: int, now: datetime | None = None) -> WhoCounts:
    """
    Return whose scores of which stage feed comparisons of workers.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    now : datetime or None, optional
        The present: what was sealed later is left out; by default everything sealed counts.

    Returns
    -------
    WhoCounts
        By the check trees scored so far; one statement where there are none.
    """
    rounds = _rated(connection, farm_id, _shared(connection, farm_id, now))
    if not rounds:
        return WhoCounts(frozenset(), frozenset())
    standings = {user_id: _standings(user_id, rounds, now) for user_id in _people_of(rounds)}
    supervisors = [
        user.id
        for user in account_queries.users(connection, farm_id)
        if user.role is Role.SUPERVISOR and may_keep_phones(user)
    ]
    only = standings.get(supervisors[0], {}) if len(supervisors) == 1 else {}
    return WhoCounts(
        left_out=frozenset(
            (user_id, stage)
            for user_id, own in standings.items()
            for stage, standing in own.items()
            if not standing.counts
        ),
        one_is_enough=frozenset(
            stage
            for stage, standing in only.items()
            if standing.against_reference
            and standing.counts
            and standing.reading.level is AgreementLevel.GOOD
        ),
    )


def view_agreement(database: Database, actor: Actor, season: int, now: datetime) -> AgreementView:
    """
    Return who agrees with whom.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    season : int
        Calendar year in which the season began, for the pairs.
    now : datetime
        The present.

    Returns
    -------
    AgreementView
        Auditors and pairs, by name.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        rounds = _rounds(connection, actor.farm_id, now)
        people = _users(connection, actor.farm_id)
        seen = _seen(connection, actor, _of_season(rounds, season), now)
        return AgreementView(
            auditors=[
                AuditorStanding(
                    user.id,
                    user.name,
                    _walked_at(user.id, rounds),
                    _standings(user.id, rounds, now),
                )
                for user in _by_name(people, _people_of(rounds))
            ],
            pairs=[
                _pair(first, second, seen)
                for first, second in combinations(_by_name(people, _people_of(seen)), _PAIR)
                if _together(first, second, seen)
            ],
        )


def view_pair(
    database: Database, actor: Actor, first_id: int, second_id: int, season: int, now: datetime
) -> PairView:
    """
    Return two auditors beside each other, with the trees to talk over.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    first_id, second_id : int
        The two.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.

    Returns
    -------
    PairView
        How they agree, and where they differ.

    Raises
    ------
    NotFound
        If the two scored no trees in that season that the person who asks may see.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        people = _users(connection, actor.farm_id)
        rounds = _of_season(_rounds(connection, actor.farm_id, now), season)
        if not {first_id, second_id} <= people.keys() or first_id == second_id:
            raise NotFound(say("These two scored no trees together."))
        first, second = people[first_id], people[second_id]
        both = _together(first, second, _seen(connection, actor, rounds, now))
        if not both:
            raise NotFound(say("These two scored no trees together."))
        return PairView(
            pair=_pair(first, second, both),
            discussed=_discussed(connection, actor.farm_id, first, second, both),
            measured=_measured(first, second, both),
            rows=_rows(connection, actor.farm_id, both),
            blocks=comparing_queries.block_names(connection, actor.farm_id),
        )


def figures_of_walk(
    database: Database, actor: Actor, calibration_id: int, now: datetime
) -> WalkFigures | None:
    """
    Return what a calibration walk says, to those who may see its answers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    calibration_id : int
        The walk.
    now : datetime
        The present.

    Returns
    -------
    WalkFigures or None
        None while the person who asks may not see it, or nobody has closed a round.

    Raises
    ------
    NotFound
        If the farm has no such walk.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.read() as connection:
        walk = check_queries.calibration_by_id(connection, farm_id, calibration_id)
        if walk is None:
            raise NotFound(say("There is no such calibration walk."))
        shared = [
            one
            for one in queries.shared_audits(connection, farm_id)
            if one.draw_id == walk.draw_id and one.sealed_at <= now
        ]
        rounds = _seen(connection, actor, _grouped(connection, farm_id, shared), now)
        if not rounds:
            return None
        people = _by_name(_users(connection, farm_id), _people_of(rounds))
        pairs = [
            _pair(first, second, rounds) for first, second in _walk_pairs(people, walk.reference_id)
        ]
        answers = queries.answers_as_sealed(connection, farm_id, [one.id for one in shared])
        trees = queries.scored_trees(connection, farm_id, [one.id for one in shared])
        return WalkFigures(
            pairs,
            _walk_stages(people, rounds[0]) if len(people) > _PAIR else [],
            _walk_measures(people, shared, answers, trees) if len(people) >= _PAIR else [],
        )


def _shared(connection: sa.Connection, farm_id: int, now: datetime | None) -> list[SharedAudit]:
    return [
        one
        for one in queries.shared_audits(connection, farm_id)
        if now is None or one.sealed_at <= now
    ]


def _rounds(connection: sa.Connection, farm_id: int, now: datetime) -> list[_Round]:
    """Return what was scored by several people, draw by draw, in the order of sealing."""
    return _grouped(connection, farm_id, _shared(connection, farm_id, now))


def _rated(connection: sa.Connection, farm_id: int, shared: Sequence[SharedAudit]) -> list[_Rated]:
    """Return the same without what only the pages of auditors show, since every trend asks."""
    if not shared:
        return []
    ratings: dict[int, dict[Stage, list[Rating]]] = defaultdict(lambda: defaultdict(list))
    audit_ids = [one.id for one in shared]
    found = queries.results_as_sealed(connection, farm_id, audit_ids)
    for audit_id, tree_id, stage, result in found:
        ratings[audit_id][stage].append(Rating(tree_id, stage, result))
    return [
        _Rated(audits, {user_id: ratings[one.id] for user_id, one in audits.items()})
        for audits in _first_of_each(shared)
    ]


def _grouped(
    connection: sa.Connection, farm_id: int, shared: Sequence[SharedAudit]
) -> list[_Round]:
    if not shared:
        return []
    answers: dict[int, list[SealedAnswer]] = defaultdict(list)
    for answer in queries.answers_as_sealed(connection, farm_id, [one.id for one in shared]):
        answers[answer.audit_id].append(answer)
    return [
        _Round(
            audits,
            {user_id: _by_stage(answers[one.id]) for user_id, one in audits.items()},
            {user_id: answers[one.id] for user_id, one in audits.items()},
        )
        for audits in _first_of_each(shared)
    ]


def _first_of_each(shared: Iterable[SharedAudit]) -> list[dict[int, SharedAudit]]:
    """Return the first sealed audit of each person, by user id, draw by draw."""
    by_draw: dict[int, dict[int, SharedAudit]] = defaultdict(dict)
    for one in shared:
        # In order of sealing, so that a second round of the same person comes too late here.
        by_draw[one.draw_id].setdefault(one.auditor_id, one)
    return list(by_draw.values())


def _by_stage(answers: Iterable[SealedAnswer]) -> dict[Stage, list[Rating]]:
    found: dict[Stage, list[Rating]] = defaultdict(list)
    for answer in answers:
        found[answer.stage].append(Rating(answer.tree_id, answer.stage, answer.result))
    return found


def _people_of(rounds: Iterable[_Rated]) -> set[int]:
    return {user_id for one in rounds for user_id in one.audits}


def _of_season(rounds: Iterable[_Round], season: int) -> list[_Round]:
    return [one for one in rounds if one.any_audit.season == season]


def _users(connection: sa.Connection, farm_id: int) -> dict[int, User]:
    return {user.id: user for user in account_queries.users(connection, farm_id)}


def _by_name(people: Mapping[int, User], ids: Collection[int]) -> list[User]:
    found = [user for user in people.values() if user.id in ids]
    return sorted(found, key=lambda user: (user.name.casefold(), user.id))


def _standings(
    user_id: int, rounds: Sequence[_Rated], now: datetime | None
) -> dict[Stage, Standing]:
    own = sorted(
        (one for one in rounds if user_id in one.audits),
        key=lambda one: (one.audits[user_id].sealed_at, one.audits[user_id].id),
    )
    stages = {stage for one in own for stage in one.by_stage[user_id]}
    return {
        stage: standing_of(user_id, stage, [one.sealed(stage, now) for one in own])
        for stage in STAGES
        if stage in stages
    }


def _walked_at(user_id: int, rounds: Iterable[_Round]) -> datetime | None:
    return max(
        (
            one.audits[user_id].sealed_at
            for one in rounds
            if user_id in one.audits and one.any_audit.is_walk
        ),
        default=None,
    )


def _seen(
    connection: sa.Connection, actor: Actor, rounds: Iterable[_Round], now: datetime
) -> list[_Round]:
    """Leave out the trees that the person who asks is still to score, or may score, unseen."""
    seen = []
    for one in rounds:
        audits = [
            audit_queries.audit_by_id(connection, actor.farm_id, shared.id)
            for shared in one.audits.values()
        ]
        if all(found is None or may_see(connection, actor, found, now) for found in audits):
            seen.append(one)
    return seen


def _together(first: User, second: User, rounds: Iterable[_Round]) -> list[_Round]:
    return [one for one in rounds if {first.id, second.id} <= one.audits.keys()]


def _pair(first: User, second: User, rounds: Iterable[_Round]) -> Pair:
    both = _together(first, second, rounds)
    stages = {stage for one in both for stage in one.by_stage[first.id]}
    return Pair(
        first,
        second,
        [
            _reading(
                stage,
                added_up(
                    fault_table(ratings[first.id], ratings[second.id])
                    for ratings in (one.ratings(stage) for one in both)
                ),
            )
            for stage in STAGES
            if stage in stages
        ],
    )


def _reading(stage: Stage, table: list[list[int]]) -> PairReading:
    return PairReading(stage, table, read_agreement(table))


def _walk_pairs(people: Sequence[User], reference_id: int | None) -> list[tuple[User, User]]:
    reference = next((user for user in people if user.id == reference_id), None)
    if reference is None:
        return list(combinations(people, _PAIR))
    return [(reference, user) for user in people if user is not reference]


def _discussed(
    connection: sa.Connection, farm_id: int, first: User, second: User, rounds: Sequence[_Round]
) -> list[Discussed]:
    audit_ids = [one.audits[user.id].id for one in rounds for user in (first, second)]
    places = {tree.tree_id: tree for tree in queries.scored_trees(connection, farm_id, audit_ids)}
    found = []
    for one in reversed(rounds):
        theirs = {(answer.tree_id, answer.stage): answer for answer in one.answers[second.id]}
        photos = [
            photo_queries.photos_of_audit(connection, farm_id, one.audits[user.id].id)
            for user in (first, second)
        ]
        for answer in one.answers[first.id]:
            other = theirs.get((answer.tree_id, answer.stage))
            if other is not None and _differ(answer, other):
                of_first, of_second = (_photos_of(each, answer) for each in photos)
                tree = places[answer.tree_id]
                found.append(Discussed(tree, answer.stage, answer, other, (of_first, of_second)))
    return found


def _differ(first: SealedAnswer, second: SealedAnswer) -> bool:
    if Result.NOT_SCORED in {first.result, second.result}:
        return False
    return (first.result is Result.NONCONFORMING) is not (second.result is Result.NONCONFORMING)


def _photos_of(photos: Iterable[PhotoRow], answer: SealedAnswer) -> list[PhotoRow]:
    return [
        photo
        for photo in photos
        if photo.draw_tree_id == answer.tree_id and photo.stage in {None, answer.stage}
    ]


def _rows(connection: sa.Connection, farm_id: int, rounds: Iterable[_Round]) -> dict[int, Row]:
    rows: dict[int, Row] = {}
    for pass_id in {one.any_audit.crew_pass_id for one in rounds}:
        found = pass_queries.crew_pass_by_id(connection, farm_id, pass_id)
        if found is not None:
            listed = farm_queries.rows_of_block(connection, farm_id, found.block_id)
            rows |= {row.id: row for row in listed}
    return rows


def _length(answer: SealedAnswer) -> float | None:
    """Return the height of a top, or the mean diameter of the cuts, in mm."""
    lengths = answer.measured_mm
    return sum(lengths) / len(lengths) if lengths else None


def _measured(first: User, second: User, rounds: Sequence[_Round]) -> list[MeasuredPair]:
    from audits.agreement.bland_altman import bland_altman  # noqa: PLC0415 - loads scipy

    found = []
    for stage in MEASURED_STAGES:
        pairs = [
            (mine, yours)
            for one in rounds
            for mine, yours in _lengths_of_both(
                one.answers[first.id], one.answers[second.id], stage
            )
        ]
        if pairs:
            mine, yours = (tuple(each) for each in zip(*pairs, strict=True))
            limits = bland_altman(mine, yours) if len(pairs) >= LEAST_MEASURED else None
            found.append(MeasuredPair(stage, mine, yours, limits))
    return found


def _lengths_of_both(
    first: Iterable[SealedAnswer], second: Iterable[SealedAnswer], stage: Stage
) -> list[tuple[float, float]]:
    theirs = {answer.tree_id: _length(answer) for answer in second if answer.stage is stage}
    pairs = []
    for answer in first:
        mine, yours = _length(answer), theirs.get(answer.tree_id)
        if answer.stage is stage and mine is not None and yours is not None:
            pairs.append((mine, yours))
    return pairs


def _walk_stages(people: Sequence[User], found: _Round) -> list[WalkStage]:
    """Say how all auditors agree; fault or none is the answer, nothing due is none."""
    from audits.agreement.alpha import krippendorff_alpha  # noqa: PLC0415 - as above
    from audits.agreement.raters import fleiss_kappa, gwet_ac1  # noqa: PLC0415 - as above

    results = {
        (user_id, answer.tree_id, answer.stage): answer.result is Result.NONCONFORMING
        for user_id, answers in found.answers.items()
        for answer in answers
        if answer.result is not Result.NOT_SCORED
    }
    trees = sorted({tree_id for _, tree_id, _ in results})
    lines = []
    for stage in STAGES:
        sheet = [[results.get((user.id, tree_id, stage)) for user in people] for tree_id in trees]
        paired = [row for row in sheet if sum(each is not None for each in row) >= _PAIR]
        if not paired:
            continue
        complete = [row for row in sheet if None not in row]
        counts = [
            [sum(each is answer for each in row) for answer in (True, False)] for row in complete
        ]
        lines.append(
            WalkStage(
                stage=stage,
                trees=len(paired),
                faults=sum(each is True for row in paired for each in row),
                alpha=krippendorff_alpha(sheet, categories=(False, True)),
                fleiss=fleiss_kappa(counts) if counts else None,
                ac1=gwet_ac1(sheet, categories=(False, True)),
            )
        )
    return lines


def _walk_measures(
    people: Sequence[User],
    shared: Sequence[SharedAudit],
    answers: Sequence[SealedAnswer],
    trees: Sequence[ScoredTree],
) -> list[WalkMeasures]:
    trials: dict[int, list[int]] = defaultdict(list)
    for one in shared:
        trials[one.auditor_id].append(one.id)
    tree_ids = sorted({tree.tree_id for tree in trees})
    found = []
    for stage in MEASURED_STAGES:
        lengths = {
            (answer.audit_id, answer.tree_id): _length(answer)
            for answer in answers
            if answer.stage is stage
        }
        if any(length is not None for length in lengths.values()):
            found.append(_walk_measure(stage, people, trials, tree_ids, lengths))
    points = {(tree.audit_id, tree.tree_id): tree.points for tree in trees}
    found.append(_walk_measure(None, people, trials, tree_ids, points))
    return found


def _walk_measure(
    stage: Stage | None,
    people: Sequence[User],
    trials: Mapping[int, Sequence[int]],
    tree_ids: Sequence[int],
    values: Mapping[tuple[int, int], float | None],
) -> WalkMeasures:
    from audits.agreement.gauge import gauge_rr, gauge_rr_range  # noqa: PLC0415 - as above
    from audits.agreement.icc import intraclass_correlation  # noqa: PLC0415 - as above

    sheet = [[values.get((trials[user.id][0], tree_id)) for user in people] for tree_id in tree_ids]
    gauge, ranges = None, None
    if stage is not None:
        twice = [user for user in people if len(trials[user.id]) >= _PAIR]
        if len(twice) >= _PAIR:
            gauge = gauge_rr(
                [
                    [
                        [values.get((audit_id, tree_id)) for audit_id in trials[user.id][:_PAIR]]
                        for user in twice
                    ]
                    for tree_id in tree_ids
                ]
            )
        else:
            ranges = gauge_rr_range([[[each] for each in row] for row in sheet])
    complete = sum(None not in row for row in sheet)
    return WalkMeasures(stage, complete, intraclass_correlation(sheet), gauge, ranges)
