"""Audits: plan and draw, score tree by tree, and seal with a verdict and perhaps a rework order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.lots import plan_lot, reserve_size, state_after_audit
from audits.messages import say
from audits.records import (
    Actor,
    Audit,
    CrewPass,
    DrawTree,
    Lot,
    LotRange,
    StageScoreRow,
)
from audits.rework import FailedTree, ReworkLine, Stretch, rework_lines
from audits.sampling import Place, SinglePlan, draw_trees, stage_producer_risk
from audits.scoring import TreeAnswers, read_answers, score_tree
from audits.seasons import season_of
from audits.services.access import require_crew_lead
from audits.services.farms import bearing_positions
from audits.services.scorebook import (
    Scorebook,
    StageStanding,
    failed_stages,
    lot_standing,
    open_scorebook,
    plan_payload,
    scores_by_tree,
    stage_standings,
    trees_by_id,
    write_rollups,
    write_stage_scores,
)
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import (
    audit,
    decision,
    draw,
    draw_stage,
    draw_tree,
    lot,
    planting,
    rework_item,
    rework_order,
    stage_score,
    tree_score,
)
from audits.vocabulary import LotState, Outcome, PlantingKind, Purpose, Stage


@dataclass(frozen=True)
class Device:
    """
    The device that an entry comes from.

    Parameters
    ----------
    name : str
        The device's own name, such as a browser's random id.
    counter : int
        Counts the device's entries, so that a gap shows.
    at : datetime or None
        The device's own clock, as claimed.
    """

    name: str
    counter: int = 0
    at: datetime | None = None


@dataclass(frozen=True)
class TreeEntry:
    """
    One tree as the auditor entered it.

    Parameters
    ----------
    draw_tree_id : int
        The tree of the draw.
    client_id : str
        Id made where the entry was made; sending it twice changes nothing.
    answers : Mapping of str to object
        The fields of `audits.scoring.TreeAnswers`.
    device : Device
        Where it was entered.
    """

    draw_tree_id: int
    client_id: str
    answers: Mapping[str, Any]
    device: Device


@dataclass(frozen=True)
class LotPlan:
    """
    The sample planned for a lot.

    Parameters
    ----------
    lot : Lot
        The lot.
    crew_pass : CrewPass
        Its pass.
    standard : Standard
        The version in force when the pass began.
    places : list of Place
        Its bearing trees, row by row.
    purpose : Purpose
        First audit or re-audit.
    plans : dict of Stage to SinglePlan
        The plan of each stage that is to be scored.
    """

    lot: Lot
    crew_pass: CrewPass
    standard: Standard
    places: list[Place]
    purpose: Purpose
    plans: dict[Stage, SinglePlan]

    @property
    def sample_size(self) -> int:
        """Trees of the sample, the same for every stage."""
        return max(plan.sample_size for plan in self.plans.values())

    @property
    def stage_producer_risk(self) -> float:
        """The share of the lot's producer's risk that each stage takes."""
        return stage_producer_risk(self.standard.producer_risk, len(self.plans))


@dataclass(frozen=True)
class AuditView:
    """
    An audit as it stands.

    Parameters
    ----------
    book : Scorebook
        Draw, standard, plans and assignments.
    walk : list of DrawTree
        The trees in walking order; those found not to be a tree are left out.
    answers : dict of int to TreeAnswers
        What was entered, by the draw tree's id.
    scores : list of StageScoreRow
        Current stage scores, in scoring order.
    tree_of_score : dict of int to DrawTree
        The tree behind each stored score.
    standings : list of StageStanding
        Where each stage stands.
    reserve_left : int
        Reserve trees not yet taken.
    """

    book: Scorebook
    walk: list[DrawTree]
    answers: dict[int, TreeAnswers]
    scores: list[StageScoreRow]
    tree_of_score: dict[int, DrawTree]
    standings: list[StageStanding]
    reserve_left: int
    outcome: Outcome = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "outcome", lot_standing(self.standings))

    @property
    def all_decided(self) -> bool:
        """Whether no stage is open any more."""
        return all(standing.outcome is not Outcome.OPEN for standing in self.standings)

    @property
    def next_tree(self) -> DrawTree | None:
        """The next tree of the walk without answers, or None when nothing is left to score."""
        if self.standings and self.all_decided:
            return None
        return next((tree for tree in self.walk if tree.id not in self.answers), None)

    @property
    def last_scored(self) -> DrawTree | None:
        """The tree answered last."""
        if not self.scores:
            return None
        return self.tree_of_score[self.scores[-1].tree_score_id]


def plan_audit(database: Database, actor: Actor, lot_id: int) -> LotPlan:
    """
    Plan the sample of a lot's next audit, without drawing it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_id : int
        The lot.

    Returns
    -------
    LotPlan
        Plans, sample size and risks.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    InvalidInput
        If the lot has no bearing trees or is too small for its promises.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return _plan(connection, actor.farm_id, lot_id)


def begin_audit(
    database: Database,
    actor: Actor,
    lot_id: int,
    *,
    seed: int,
    client_id: str,
    device: Device,
    now: datetime,
) -> int:
    """
    Begin auditing a lot: draw its trees, or join the draw that is already open.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    lot_id : int
        The lot.
    seed : int
        Seed of a new draw; kept with it.
    client_id : str
        Id made by the device; beginning twice with the same one returns the same audit.
    device : Device
        The auditor's device.
    now : datetime
        The present.

    Returns
    -------
    int
        The audit's id.

    Raises
    ------
    Conflict
        If the lot is not ready for an audit.
    NotFound
        If the farm has no such lot.
    InvalidInput
        If the lot has no bearing trees or is too small for its promises.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = _lot(connection, actor.farm_id, lot_id)
        if found.state is LotState.IN_AUDIT:
            draw_id = queries.draws_of_lot(connection, actor.farm_id, lot_id)[-1].id
            for existing in queries.audits_of_draw(connection, actor.farm_id, draw_id):
                if existing.auditor_id == actor.user_id and existing.device == device.name:
                    return existing.id
        else:
            plan = _plan(connection, actor.farm_id, lot_id)
            draw_id = _draw(connection, actor, plan, seed, now)
            _set_lot_state(connection, actor.farm_id, lot_id, LotState.IN_AUDIT)
        return add_audit(
            connection, actor, draw_id, client_id=client_id, device=device, now=now
        )


def add_audit(  # noqa: PLR0913 - keywords
    connection: sa.Connection,
    actor: Actor,
    draw_id: int,
    *,
    client_id: str,
    device: Device,
    now: datetime,
    worker_id: int | None = None,
) -> int:
    """
    Add an audit of a draw.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    actor : Actor
        The auditor.
    draw_id : int
        The draw.
    client_id : str
        Id made by the device.
    device : Device
        The auditor's device.
    now : datetime
        The present.
    worker_id : int or None, optional
        Whose start check it is.

    Returns
    -------
    int
        The audit's id.
    """
    farm = farm_queries.farm_by_id(connection, actor.farm_id)
    if farm is None:
        raise NotFound(say("There is no such farm."))
    day = now.astimezone(ZoneInfo(farm.time_zone)).date()
    return insert(
        connection,
        audit,
        {
            "farm_id": actor.farm_id,
            "draw_id": draw_id,
            "auditor_id": actor.user_id,
            "client_id": client_id,
            "device": device.name,
            "device_counter": device.counter,
            "worker_id": worker_id,
            "season": season_of(day, farm.season_start_month),
            "started_at": now,
            "device_started_at": device.at,
        },
    )


def record_trees(
    database: Database, actor: Actor, audit_id: int, entries: Sequence[TreeEntry], now: datetime
) -> AuditView:
    """
    Store and score trees; entering a tree again before the audit is sealed replaces its answers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.
    entries : Sequence of TreeEntry
        The trees, in the order in which they were scored.
    now : datetime
        The present.

    Returns
    -------
    AuditView
        The audit as it stands afterwards.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken; nothing is stored.
    Conflict
        If the audit is sealed; what was entered then needs an amendment with a reason.
    NotFound
        If a tree is not in the audit's walk.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        record_in(connection, book, entries, now)
        return _view(connection, book)


def record_in(
    connection: sa.Connection, book: Scorebook, entries: Sequence[TreeEntry], now: datetime
) -> None:
    """
    Store and score trees in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    entries : Sequence of TreeEntry
        The trees, in the order in which they were scored.
    now : datetime
        The present.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken.
    Conflict
        If the audit is sealed.
    NotFound
        If a tree is not in the audit's walk.
    """
    _refuse_sealed(book.audit)
    trees = trees_by_id(connection, book)
    existing = scores_by_tree(queries.current_scores(connection, book.farm.id, book.audit.id))
    order = len(existing)
    stored = []
    for entry in entries:
        tree = trees.get(entry.draw_tree_id)
        if tree is None or tree.walk_order is None or tree.found_kind is not None:
            raise NotFound(say("This tree is not in the walk of this audit."))
        answers = read_answers(entry.answers)
        score = score_tree(
            book.standard, answers, method=book.crew_pass.method, stages=book.draw.stages
        )
        earlier = existing.get(tree.id)
        if earlier is None:
            order += 1
            score_id = _insert_score(connection, book, entry, answers, score.points, order, now)
        else:
            score_id = earlier.id
            _replace_score(connection, book, score_id, answers, score.points, now)
        stored.append((score_id, tree, score))
    write_stage_scores(connection, book, stored)


def undo_last_tree(database: Database, actor: Actor, audit_id: int) -> DrawTree | None:
    """
    Take back the tree that was answered last.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.

    Returns
    -------
    DrawTree or None
        The tree, now without answers; None when nothing was answered yet.

    Raises
    ------
    Conflict
        If the audit is sealed.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        _refuse_sealed(book.audit)
        tree = _view(connection, book).last_scored
        if tree is not None:
            score = scores_by_tree(queries.current_scores(connection, actor.farm_id, audit_id))[
                tree.id
            ]
            _delete_stage_scores(connection, actor.farm_id, score.id)
            connection.execute(
                tree_score.delete().where(
                    tree_score.c.farm_id == actor.farm_id, tree_score.c.id == score.id
                )
            )
        return tree


def replace_tree(
    database: Database,
    actor: Actor,
    audit_id: int,
    draw_tree_id: int,
    kind: PlantingKind,
    now: datetime,
) -> None:
    """
    Note that no tree of the standard stands at a drawn position and take the next reserve tree.

    The map of the row is corrected from that day on.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id, draw_tree_id : int
        The tree of the audit's walk.
    kind : PlantingKind
        What stands there.
    now : datetime
        The present.

    Raises
    ------
    InvalidInput
        If the kind is that of a bearing tree.
    Conflict
        If the audit is sealed or the reserve is used up.
    NotFound
        If the tree is not in the audit's walk.
    """
    require_crew_lead(actor)
    if kind is PlantingKind.BEARING:
        raise InvalidInput({"not_a_tree": say("Say what stands there instead.")})
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        _refuse_sealed(book.audit)
        trees = trees_by_id(connection, book)
        gone = trees.get(draw_tree_id)
        if gone is None or gone.walk_order is None or gone.found_kind is not None:
            raise NotFound(say("This tree is not in the walk of this audit."))
        reserve = [tree for tree in trees.values() if tree.walk_order is None]
        if not reserve:
            raise Conflict(
                say("The reserve is used up. Correct the map of the row and begin a new audit.")
            )
        substitute = min(reserve, key=lambda tree: tree.reserve_order or 0)
        _correct_map(connection, book, gone, kind)
        _put_in_walk(connection, actor.farm_id, gone, substitute, kind, list(trees.values()))


def seal_audit(database: Database, actor: Actor, audit_id: int, now: datetime) -> AuditView:
    """
    Issue the verdict: from now on a score changes only by an amendment.

    Verdicts, roll-ups, the lot's state and a rework order are written together.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.
    now : datetime
        The present.

    Returns
    -------
    AuditView
        The sealed audit.

    Raises
    ------
    Conflict
        If a stage is still open, or the audit is sealed already.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        _refuse_sealed(book.audit)
        view = _view(connection, book)
        if not view.all_decided:
            raise Conflict(say("A stage is still open. Score the remaining trees first."))
        connection.execute(
            audit.update()
            .where(audit.c.farm_id == actor.farm_id, audit.c.id == audit_id)
            .values(sealed_at=now)
        )
        write_decisions(connection, book, view.standings, version=1, now=now)
        write_rollups(connection, book)
        if book.draw.lot_id is not None and _decides_lot(connection, book):
            _move_lot(connection, book, view, now)
        return _view(connection, open_scorebook(connection, actor.farm_id, audit_id))


def view_audit(database: Database, actor: Actor, audit_id: int) -> AuditView:
    """
    Return an audit as it stands.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The audit.

    Returns
    -------
    AuditView
        Walk, answers, scores and standings.

    Raises
    ------
    NotFound
        If the farm has no such audit.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return _view(connection, open_scorebook(connection, actor.farm_id, audit_id))


def write_decisions(
    connection: sa.Connection,
    book: Scorebook,
    standings: Sequence[StageStanding],
    *,
    version: int,
    now: datetime,
) -> None:
    """
    Store the verdict on each stage and on the lot.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    standings : Sequence of StageStanding
        Where its stages stand.
    version : int
        1 as issued, more as amended.
    now : datetime
        The present.
    """
    common = {"farm_id": book.farm.id, "audit_id": book.audit.id, "version": version}
    stages: list[dict[str, object]] = [
        {
            **common,
            "stage": standing.stage,
            "outcome": standing.outcome,
            "scored": standing.tally.scored,
            "due": standing.due,
            "nonconforming": standing.tally.nonconforming,
            "leading_fault": standing.leading_fault,
            "decided_at": now,
        }
        for standing in standings
    ]
    whole = {
        **common,
        "stage": None,
        "outcome": lot_standing(standings),
        "scored": max((standing.tally.scored for standing in standings), default=0),
        "due": max((standing.due for standing in standings), default=0),
        "nonconforming": 0,
        "leading_fault": None,
        "decided_at": now,
    }
    insert_many(connection, decision, [*stages, whole])


def _plan(connection: sa.Connection, farm_id: int, lot_id: int) -> LotPlan:
    found = _lot(connection, farm_id, lot_id)
    crew_pass = pass_queries.crew_pass_by_id(connection, farm_id, found.crew_pass_id)
    if crew_pass is None:
        raise NotFound(say("There is no such pass."))
    version = standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
    if version is None:
        raise NotFound(say("There is no such standard."))
    standard = standard_of(version)
    purpose, stages = _stages_to_audit(connection, farm_id, found, standard)
    places = _places(connection, farm_id, lot_id, crew_pass)
    if not places:
        raise InvalidInput({"lot": say("No bearing tree of the standard stands in this lot.")})
    return LotPlan(
        lot=found,
        crew_pass=crew_pass,
        standard=standard,
        places=places,
        purpose=purpose,
        plans=plan_lot(standard, len(places), stages),
    )


def _stages_to_audit(
    connection: sa.Connection, farm_id: int, found: Lot, standard: Standard
) -> tuple[Purpose, tuple[Stage, ...]]:
    if found.state is LotState.WAITING:
        return Purpose.FIRST, standard.stages_in_use
    orders = pass_queries.rework_orders_of_lot(connection, farm_id, found.id)
    if found.state is not LotState.REWORK or not orders:
        raise Conflict(say("This lot is not waiting for an audit."))
    if orders[-1].done_at is None:
        raise Conflict(say("Record first that the rework of this lot is done."))
    items = pass_queries.rework_items(connection, farm_id, orders[-1].id)
    redone = {item.stage for item in items if item.mendable}
    return Purpose.RE_AUDIT, tuple(stage for stage in Stage if stage in redone)


def _places(
    connection: sa.Connection, farm_id: int, lot_id: int, crew_pass: CrewPass
) -> list[Place]:
    farm = farm_queries.farm_by_id(connection, farm_id)
    if farm is None:
        raise NotFound(say("There is no such farm."))
    ranges = pass_queries.lot_ranges(connection, farm_id, lot_id)
    day = crew_pass.started_at.astimezone(ZoneInfo(farm.time_zone)).date()
    return [
        Place(part.orchard_row_id, position)
        for part in ranges
        for position in bearing_positions(connection, farm_id, part.orchard_row_id, day)
        if part.first_position <= position <= part.last_position
    ]


def _draw(
    connection: sa.Connection, actor: Actor, plan: LotPlan, seed: int, now: datetime
) -> int:
    drawn = draw_trees(plan.places, plan.sample_size, reserve_size(plan.sample_size), seed)
    draw_id = insert(
        connection,
        draw,
        {
            "farm_id": actor.farm_id,
            "lot_id": plan.lot.id,
            "crew_pass_id": plan.crew_pass.id,
            "purpose": plan.purpose,
            "stages": tuple(plan.plans),
            "seed": str(seed),
            "lot_size": len(plan.places),
            "created_at": now,
            "created_by": actor.user_id,
        },
    )
    insert_many(
        connection,
        draw_stage,
        [
            {
                "farm_id": actor.farm_id,
                "draw_id": draw_id,
                "stage": stage,
                "plan": plan_payload(stage_plan),
                "producer_risk": plan.stage_producer_risk,
                "consumer_risk": plan.standard.consumer_risk,
            }
            for stage, stage_plan in plan.plans.items()
        ],
    )
    insert_many(
        connection,
        draw_tree,
        [
            {
                "farm_id": actor.farm_id,
                "draw_id": draw_id,
                "orchard_row_id": tree.place.row,
                "position": tree.place.position,
                "side": tree.side,
                "wave": 1,
                "walk_order": tree.order,
                "reserve_order": tree.reserve_order,
            }
            for tree in drawn.trees
        ],
    )
    return draw_id


def _insert_score(  # noqa: PLR0913, PLR0917 - one row's values
    connection: sa.Connection,
    book: Scorebook,
    entry: TreeEntry,
    answers: TreeAnswers,
    points: float | None,
    order: int,
    now: datetime,
) -> int:
    return insert(
        connection,
        tree_score,
        {
            "farm_id": book.farm.id,
            "audit_id": book.audit.id,
            "draw_tree_id": entry.draw_tree_id,
            "version": 1,
            "client_id": entry.client_id,
            "device": entry.device.name,
            "device_counter": entry.device.counter,
            "scoring_order": order,
            "recorded_at": now,
            "device_at": entry.device.at,
            "answers": answers.model_dump(mode="json"),
            "points": points,
        },
    )


def _replace_score(  # noqa: PLR0913, PLR0917 - one row's values
    connection: sa.Connection,
    book: Scorebook,
    score_id: int,
    answers: TreeAnswers,
    points: float | None,
    now: datetime,
) -> None:
    _delete_stage_scores(connection, book.farm.id, score_id)
    connection.execute(
        tree_score.update()
        .where(tree_score.c.farm_id == book.farm.id, tree_score.c.id == score_id)
        .values(answers=answers.model_dump(mode="json"), points=points, recorded_at=now)
    )


def _delete_stage_scores(connection: sa.Connection, farm_id: int, score_id: int) -> None:
    connection.execute(
        stage_score.delete().where(
            stage_score.c.farm_id == farm_id, stage_score.c.tree_score_id == score_id
        )
    )


def _correct_map(
    connection: sa.Connection, book: Scorebook, gone: DrawTree, kind: PlantingKind
) -> None:
    insert(
        connection,
        planting,
        {
            "farm_id": book.farm.id,
            "orchard_row_id": gone.orchard_row_id,
            "first_position": gone.position,
            "last_position": gone.position,
            "kind": kind,
            "cultivar": "",
            "since": book.scored_on,
        },
    )


def _put_in_walk(  # noqa: PLR0913, PLR0917 - the two trees and their walk
    connection: sa.Connection,
    farm_id: int,
    gone: DrawTree,
    substitute: DrawTree,
    kind: PlantingKind,
    trees: Sequence[DrawTree],
) -> None:
    """Put the substitute where the walk still passes it, at the earliest in the lost tree's place."""
    ahead = [
        tree
        for tree in trees
        if tree.walk_order is not None
        and gone.walk_order is not None
        and tree.walk_order > gone.walk_order
        and tree.found_kind is None
    ]
    place = place_ahead(substitute, sorted(ahead, key=lambda tree: tree.walk_order or 0), gone)
    connection.execute(
        draw_tree.update()
        .where(
            draw_tree.c.farm_id == farm_id,
            draw_tree.c.draw_id == gone.draw_id,
            draw_tree.c.walk_order >= place,
        )
        .values(walk_order=draw_tree.c.walk_order + 1)
    )
    for tree_id, values in (
        (substitute.id, {"walk_order": place}),
        (gone.id, {"found_kind": kind}),
    ):
        connection.execute(
            draw_tree.update()
            .where(draw_tree.c.farm_id == farm_id, draw_tree.c.id == tree_id)
            .values(**values)
        )


def _decides_lot(connection: sa.Connection, book: Scorebook) -> bool:
    """Tell whether this is the first audit of its draw to be sealed; a second one is a check."""
    others = queries.audits_of_draw(connection, book.farm.id, book.draw.id)
    return not any(other.sealed_at and other.id != book.audit.id for other in others)


def _move_lot(connection: sa.Connection, book: Scorebook, view: AuditView, now: datetime) -> None:
    lot_id = book.draw.lot_id
    if lot_id is None:
        return
    outcomes, faults = _latest_by_stage(connection, book.farm.id, lot_id)
    state = state_after_audit(outcomes, faults)
    closed = state in {LotState.ACCEPTED, LotState.CLOSED_NOT_ACCEPTED}
    _set_lot_state(connection, book.farm.id, lot_id, state, closed_at=now if closed else None)
    lines = _rework_lines(connection, book, view)
    if not lines:
        return
    order_id = insert(
        connection,
        rework_order,
        {
            "farm_id": book.farm.id,
            "audit_id": book.audit.id,
            "lot_id": lot_id,
            "created_at": now,
        },
    )
    insert_many(
        connection,
        rework_item,
        [
            {
                "farm_id": book.farm.id,
                "rework_order_id": order_id,
                "stage": line.stage,
                "mendable": line.mendable,
                "faults": line.faults,
                "orchard_row_id": line.stretch.row_id,
                "first_position": line.stretch.first_position,
                "last_position": line.stretch.last_position,
                "worker_id": line.worker_id,
            }
            for line in lines
        ],
    )


def _latest_by_stage(
    connection: sa.Connection, farm_id: int, lot_id: int
) -> tuple[dict[Stage, Outcome], dict[Stage, set[Any]]]:
    """Return the latest verdict on each stage of a lot, with the faults seen when it fell."""
    outcomes: dict[Stage, Outcome] = {}
    faults: dict[Stage, set[Any]] = {}
    for drawn in queries.draws_of_lot(connection, farm_id, lot_id):
        sealed = [
            found
            for found in queries.audits_of_draw(connection, farm_id, drawn.id)
            if found.sealed_at is not None
        ]
        if not sealed:
            continue
        deciding = min(sealed, key=lambda found: (found.sealed_at, found.id))
        for verdict in queries.decisions(connection, farm_id, deciding.id):
            if verdict.stage is not None and verdict.version == 1:
                outcomes[verdict.stage] = verdict.outcome
                faults[verdict.stage] = set()
        for score in queries.current_stage_scores(connection, farm_id, deciding.id):
            faults.setdefault(score.stage, set()).update(score.faults)
    return outcomes, faults


def _rework_lines(
    connection: sa.Connection, book: Scorebook, view: AuditView
) -> list[ReworkLine]:
    lost = {
        standing.stage
        for standing in view.standings
        if standing.outcome is Outcome.NOT_ACCEPTED
    }
    failed = {
        stage: [
            FailedTree(
                row_id=view.tree_of_score[score.tree_score_id].orchard_row_id,
                position=view.tree_of_score[score.tree_score_id].position,
                faults=score.faults,
                worker_id=score.worker_id,
            )
            for score in scores
        ]
        for stage, scores in failed_stages(view.scores).items()
        if stage in lost
    }
    ranges: list[LotRange] = pass_queries.lot_ranges(
        connection, book.farm.id, book.draw.lot_id or 0
    )

    def stretches_of(stage: Stage, worker_id: int) -> list[Stretch]:
        return [
            Stretch(given.row_id, given.first_position, given.last_position)
            for given in book.assignments
            if given.stage is stage and given.worker_id == worker_id
        ]

    return rework_lines(
        failed,
        [
            Stretch(part.orchard_row_id, part.first_position, part.last_position)
            for part in ranges
        ],
        stretches_of,
    )


def _view(connection: sa.Connection, book: Scorebook) -> AuditView:
    farm_id, audit_id = book.farm.id, book.audit.id
    trees = queries.draw_trees(connection, farm_id, book.draw.id)
    by_id = {tree.id: tree for tree in trees}
    current = queries.current_scores(connection, farm_id, audit_id)
    scores = queries.current_stage_scores(connection, farm_id, audit_id)
    return AuditView(
        book=book,
        walk=[tree for tree in trees if tree.walk_order is not None and tree.found_kind is None],
        answers={score.draw_tree_id: read_answers(score.answers) for score in current},
        scores=scores,
        tree_of_score={score.id: by_id[score.draw_tree_id] for score in current},
        standings=stage_standings(book, scores),
        reserve_left=sum(tree.walk_order is None for tree in trees),
    )


def _refuse_sealed(found: Audit) -> None:
    if found.sealed_at is not None:
        raise Conflict(
            say("This audit is sealed. A score can now be changed only by an amendment.")
        )


def _lot(connection: sa.Connection, farm_id: int, lot_id: int) -> Lot:
    found = pass_queries.lot_by_id(connection, farm_id, lot_id)
    if found is None:
        raise NotFound(say("There is no such lot."))
    return found


def _set_lot_state(
    connection: sa.Connection,
    farm_id: int,
    lot_id: int,
    state: LotState,
    *,
    closed_at: datetime | None = None,
) -> None:
    connection.execute(
        lot.update()
        .where(lot.c.farm_id == farm_id, lot.c.id == lot_id)
        .values(state=state, closed_at=closed_at)
    )
