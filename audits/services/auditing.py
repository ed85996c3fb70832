"""Audits: begin one, score it tree by tree, and see at any moment where it stands."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import (
    Actor,
    Audit,
    DrawTree,
    StageScoreRow,
    TreeScoreRow,
)
from audits.scoring import TreeAnswers, TreeScore, read_answers, score_tree
from audits.seasons import season_of
from audits.services.access import require_crew_lead
from audits.services.farms import insert_planting, the_farm
from audits.services.gauges import refuse_unusable_gauges
from audits.services.planning import (
    draw_lot,
    plan_lot_audit,
    set_lot_state,
    the_lot,
)
from audits.services.scorebook import (
    Scorebook,
    StageStanding,
    lot_standing,
    measured_values,
    open_scorebook,
    refuse_undeciding,
    scores_by_tree,
    stage_standings,
    write_stage_scores,
)
from audits.services.unseen import require_sight
from audits.services.walking import AuditTrees, audit_trees
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import (
    audit,
    draw_tree,
    replacement,
    stage_score,
    tree_score,
)
from audits.vocabulary import LotState, Outcome, PlantingKind, Purpose, Result, Strictness


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
class AuditView:
    """
    An audit as it stands.

    Parameters
    ----------
    book : Scorebook
        Draw, standard, plans and assignments.
    walk : list of DrawTree
        The trees in walking order; those found not to be a tree are left out.
    answered : dict of int to TreeScoreRow
        The stored answers, by the draw tree's id.
    scores : list of StageScoreRow
        Current stage scores.
    tree_of_score : dict of int to DrawTree
        The tree behind each stored score, in scoring order.
    standings : list of StageStanding
        Where each stage stands.
    reserve_left : int
        Reserve trees that this audit has not taken.
    given_up : bool
        Whether the reserve did not last, so that nothing can be decided by this draw.
    """

    book: Scorebook
    walk: list[DrawTree]
    answered: dict[int, TreeScoreRow]
    scores: list[StageScoreRow]
    tree_of_score: dict[int, DrawTree]
    standings: list[StageStanding]
    reserve_left: int
    given_up: bool

    @cached_property
    def answers(self) -> dict[int, TreeAnswers]:
        """What was entered, by the draw tree's id."""
        return {tree_id: read_answers(row.answers) for tree_id, row in self.answered.items()}

    @property
    def outcome(self) -> Outcome:
        """Where the lot as a whole stands."""
        return lot_standing(self.standings)

    @property
    def all_decided(self) -> bool:
        """Whether no stage is open any more."""
        return all(standing.outcome is not Outcome.OPEN for standing in self.standings)

    @property
    def next_tree(self) -> DrawTree | None:
        """The next tree of the walk that lacks an answer, or None when nothing is left to score."""
        if self.standings and self.all_decided:
            return None
        lacking = self._trees_lacking_answers()
        return next(
            (tree for tree in self.walk if tree.id not in self.answered or tree.id in lacking), None
        )

    def _trees_lacking_answers(self) -> set[int]:
        """Return trees that were answered while a stage was decided that is open again by now."""
        still_open = {
            standing.stage for standing in self.standings if standing.outcome is Outcome.OPEN
        }
        return {
            self.tree_of_score[score.tree_score_id].id
            for score in self.scores
            if score.result is Result.NOT_SCORED and score.stage in still_open
        }

    @property
    def last_scored(self) -> DrawTree | None:
        """The tree answered last."""
        return next(reversed(self.tree_of_score.values()), None)


def begin_audit(
    database: Database,
    actor: Actor,
    lot_id: int,
    *,
    seed: int,
    client_id: str,
    device: Device,
    now: datetime,
    strictness: Strictness = Strictness.AS_WRITTEN,
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
    strictness : Strictness, optional
        How seldom a bad lot may pass; without effect where the trees are drawn already.

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
        found = the_lot(connection, actor.farm_id, lot_id)
        known = queries.audit_by_client_id(connection, actor.farm_id, client_id)
        if known is not None:
            _refuse_foreign_id(connection, actor, known, lot_id)
            return known.id
        if found.state is LotState.IN_AUDIT:
            draw_id = queries.draws_of_lot(connection, actor.farm_id, lot_id)[-1].id
            for existing in queries.audits_of_draw(connection, actor.farm_id, draw_id):
                if existing.auditor_id == actor.user_id and existing.device == device.name:
                    return existing.id
        else:
            plan = plan_lot_audit(connection, actor.farm_id, lot_id, strictness)
            draw_id = draw_lot(connection, actor, plan, seed, now)
            set_lot_state(connection, actor.farm_id, lot_id, LotState.IN_AUDIT)
        return add_audit(connection, actor, draw_id, client_id=client_id, device=device, now=now)


def _refuse_foreign_id(connection: sa.Connection, actor: Actor, known: Audit, lot_id: int) -> None:
    """
    Refuse a client id under which something else was begun.

    Raises
    ------
    Conflict
        If it belongs to another person's audit, or to one of another lot.
    """
    drawn = queries.draw_by_id(connection, actor.farm_id, known.draw_id)
    if known.auditor_id != actor.user_id or drawn is None or drawn.lot_id != lot_id:
        raise Conflict(say("This page was used for another audit already. Load it again."))


def add_audit(
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

    Raises
    ------
    NotFound
        If there is no such farm.
    """
    farm = the_farm(connection, actor.farm_id)
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
        refuse_undeciding(book)
        require_own(actor, book.audit)
        record_in(connection, book, entries, now)
        return audit_view(connection, book)


def record_in(
    connection: sa.Connection,
    book: Scorebook,
    entries: Sequence[TreeEntry],
    now: datetime,
    *,
    though_given_up: bool = False,
    decided: bool = False,
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
    though_given_up : bool, optional
        Whether answers are kept although somebody has given the draw up since they were given.
    decided : bool, optional
        Whether a person has decided that measures count although their gauge may not be used.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken.
    Conflict
        If the audit is sealed, or the draw was given up.
    NotFound
        If a tree is not in the audit's walk.
    """
    refuse_sealed(book.audit)
    own = audit_trees(connection, book)
    if not though_given_up:
        _refuse_given_up(own)
    trees = own.by_id
    refuse_used_ids(connection, book, [(entry.client_id, entry.draw_tree_id) for entry in entries])
    existing = scores_by_tree(queries.current_scores(connection, book.farm.id, book.audit.id))
    order = max((score.scoring_order for score in existing.values()), default=0)
    read: dict[int, tuple[TreeEntry, TreeAnswers, TreeScore]] = {}
    for entry in entries:
        tree = trees.get(entry.draw_tree_id)
        if tree is None or not own.walks_to(tree, though_given_up=though_given_up):
            raise NotFound(say("This tree is not in the walk of this audit."))
        answers = read_answers(entry.answers)
        if _is_known(entry, answers, existing.get(tree.id)):
            continue
        score = score_tree(
            book.standard, answers, method=book.crew_pass.method, stages=book.draw.stages
        )
        read[tree.id] = (entry, answers, score)
    refuse_unusable_gauges(
        connection,
        book,
        [
            (answers, read_answers(existing[tree_id].answers) if tree_id in existing else None)
            for tree_id, (_, answers, _) in read.items()
            if answers.gauge is not None
        ],
        now,
        decided=decided,
    )
    fresh = [tree_id for tree_id in read if tree_id not in existing]
    insert_many(
        connection,
        tree_score,
        [
            _score_values(book, *read[tree_id], order + number, now)
            for number, tree_id in enumerate(fresh, start=1)
        ],
    )
    for tree_id in read.keys() & existing.keys():
        entry, answers, score = read[tree_id]
        _replace_score(connection, book, existing[tree_id].id, entry, answers, score, now)
    stored = scores_by_tree(queries.current_scores(connection, book.farm.id, book.audit.id))
    write_stage_scores(
        connection,
        book,
        [
            (stored[tree_id].id, trees[tree_id], answers, score)
            for tree_id, (_, answers, score) in read.items()
        ],
    )


def _is_known(entry: TreeEntry, answers: TreeAnswers, kept: TreeScoreRow | None) -> bool:
    """
    Tell whether an entry is one that was kept before.

    A device counts its entries, so that one whose reply was lost and that arrives a second time
    cannot undo a later change.
    """
    if kept is None:
        return False
    if kept.client_id == entry.client_id:
        return kept.answers == answers.model_dump(mode="json")
    return kept.device == entry.device.name and entry.device.counter < kept.device_counter


def refuse_used_ids(
    connection: sa.Connection, book: Scorebook, sent: Iterable[tuple[str, int]]
) -> None:
    """
    Stop where a client id was used for another tree.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    book : Scorebook
        The audit.
    sent : Iterable of tuple of str and int
        Each id, and the tree of the draw that it is now sent for.

    Raises
    ------
    Conflict
        If an id belongs to another tree or another audit.
    """
    trees: dict[str, set[tuple[int, int]]] = {}
    for client_id, draw_tree_id in sent:
        trees.setdefault(client_id, set()).add((book.audit.id, draw_tree_id))
    for known in queries.scores_by_client_id(connection, book.farm.id, trees):
        trees[known.client_id].add((known.audit_id, known.draw_tree_id))
    if any(len(places) > 1 for places in trees.values()):
        raise Conflict(
            say("This page was used for another tree already. Send it once more for this one.")
        )


def _refuse_given_up(own: AuditTrees) -> None:
    if own.given_up:
        raise Conflict(say("The reserve of this draw is used up. Begin a new audit of the lot."))


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
        refuse_undeciding(book)
        require_own(actor, book.audit)
        refuse_sealed(book.audit)
        tree = audit_view(connection, book).last_scored
        if tree is not None:
            score = scores_by_tree(queries.current_scores(connection, actor.farm_id, audit_id))[
                tree.id
            ]
            _delete_score(connection, actor.farm_id, score.id)
        return tree


def replace_tree(
    database: Database,
    actor: Actor,
    audit_id: int,
    draw_tree_id: int,
    kind: PlantingKind,
) -> DrawTree | None:
    """
    Note that no tree of the standard stands at a drawn position and take the next reserve tree.

    The map of the row is corrected as of the day of the pass, so that a later draw of the same
    lot leaves the position out. Another audit of the same draw goes on with its own walk. If the
    reserve is used up the draw is given up: the map stays corrected, and the lot waits for an
    audit that draws afresh.

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

    Returns
    -------
    DrawTree or None
        The reserve tree that takes its place; None where the draw is given up.

    Raises
    ------
    InvalidInput
        If the kind is that of a bearing tree.
    Conflict
        If the audit is sealed, or the reserve is used up while a sealed audit rests on the draw.
    NotFound
        If the tree is not in the audit's walk.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        refuse_undeciding(book)
        require_own(actor, book.audit)
        own = audit_trees(connection, book)
        refuse_sealed(book.audit)
        _refuse_given_up(own)
        instead = next(iter(own.reserve), None)
        replace_in(
            connection, book, draw_tree_id, kind, instead_id=None if instead is None else instead.id
        )
        if instead is None:
            return None
        return audit_trees(connection, book).by_id[instead.id]


def replace_in(
    connection: sa.Connection,
    book: Scorebook,
    draw_tree_id: int,
    kind: PlantingKind,
    *,
    instead_id: int | None,
) -> None:
    """
    Replace a tree of an audit's walk in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    draw_tree_id : int
        The tree that is none.
    kind : PlantingKind
        What stands there.
    instead_id : int or None
        The reserve tree that comes instead; None where the reserve is used up, so that the draw is
        given up.

    Raises
    ------
    InvalidInput
        If the kind is that of a bearing tree.
    Conflict
        If the audit is sealed, or the draw would be given up while a sealed audit rests on it.
    NotFound
        If the tree is not in the audit's walk, or the other not in what is left of its reserve.
    """
    if kind is PlantingKind.BEARING:
        raise InvalidInput({"not_a_tree": say("Say what stands there instead.")})
    refuse_sealed(book.audit)
    own = audit_trees(connection, book)
    gone = own.by_id.get(draw_tree_id)
    if gone is None or not own.walks_to(gone, though_given_up=True):
        raise NotFound(say("This tree is not in the walk of this audit."))
    if instead_id is not None and instead_id not in {tree.id for tree in own.reserve}:
        raise NotFound(say("This tree is not in the reserve of this audit."))
    forget_answers(connection, book, gone.id)
    _correct_map(connection, book, gone, kind)
    if instead_id is None:
        _give_up(connection, book, gone, kind)
        return
    insert(
        connection,
        replacement,
        {
            "farm_id": book.farm.id,
            "audit_id": book.audit.id,
            "number": len(own.replaced) + 1,
            "draw_tree_id": gone.id,
            "found_kind": kind,
            "instead_id": instead_id,
        },
    )


def forget_answers(connection: sa.Connection, book: Scorebook, draw_tree_id: int) -> None:
    """
    Take back what an open audit has on a tree; without answers there, nothing happens.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    book : Scorebook
        The audit.
    draw_tree_id : int
        The tree.

    Raises
    ------
    Conflict
        If the audit is sealed.
    """
    refuse_sealed(book.audit)
    for score in queries.score_versions(connection, book.farm.id, book.audit.id, draw_tree_id):
        _delete_score(connection, book.farm.id, score.id)


def _give_up(
    connection: sa.Connection, book: Scorebook, gone: DrawTree, kind: PlantingKind
) -> None:
    """
    Leave the draw as it is and let its lot wait again for an audit.

    Raises
    ------
    Conflict
        If a sealed audit rests on the draw.
    """
    audits = queries.audits_of_draw(connection, book.farm.id, book.draw.id)
    if any(audited.sealed_at for audited in audits) or not book.plans:
        raise Conflict(say("The reserve is used up, so this tree cannot be replaced."))
    # The mark stands on a tree of the sample: on the one that `gone` came instead of, if on any.
    place = gone.id
    for noted in reversed(queries.replacements(connection, book.farm.id, book.audit.id)):
        if noted.instead_id == place:
            place, kind = noted.draw_tree_id, noted.found_kind
    connection.execute(
        draw_tree.update()
        .where(draw_tree.c.farm_id == book.farm.id, draw_tree.c.id == place)
        .values(found_kind=kind)
    )
    if book.draw.lot_id is None:
        return
    latest = queries.draws_of_lot(connection, book.farm.id, book.draw.lot_id)[-1]
    if latest.id == book.draw.id:
        again = LotState.WAITING if book.draw.purpose is Purpose.FIRST else LotState.REWORK
        set_lot_state(connection, book.farm.id, book.draw.lot_id, again)


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
    NotAllowed
        If its answers are still to stay unseen by this person.
    NotFound
        If the farm has no such audit.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        require_sight(connection, actor, book.audit)
        return audit_view(connection, book)


def _score_values(
    book: Scorebook,
    entry: TreeEntry,
    answers: TreeAnswers,
    score: TreeScore,
    order: int,
    now: datetime,
) -> dict[str, object]:
    return {
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
        "points": score.points,
    }


def _replace_score(
    connection: sa.Connection,
    book: Scorebook,
    score_id: int,
    entry: TreeEntry,
    answers: TreeAnswers,
    score: TreeScore,
    now: datetime,
) -> None:
    _delete_stage_scores(connection, book.farm.id, score_id)
    connection.execute(
        tree_score.update()
        .where(tree_score.c.farm_id == book.farm.id, tree_score.c.id == score_id)
        .values(
            client_id=entry.client_id,
            device=entry.device.name,
            device_counter=entry.device.counter,
            device_at=entry.device.at,
            answers=answers.model_dump(mode="json"),
            points=score.points,
            recorded_at=now,
        )
    )


def _delete_score(connection: sa.Connection, farm_id: int, score_id: int) -> None:
    _delete_stage_scores(connection, farm_id, score_id)
    connection.execute(
        tree_score.delete().where(tree_score.c.farm_id == farm_id, tree_score.c.id == score_id)
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
    insert_planting(
        connection,
        book.farm.id,
        gone.orchard_row_id,
        {
            "first_position": gone.position,
            "last_position": gone.position,
            "kind": kind,
            "since": book.pass_began_on,
        },
    )


def audit_view(connection: sa.Connection, book: Scorebook) -> AuditView:
    """
    Return an audit as it stands in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    book : Scorebook
        The audit.

    Returns
    -------
    AuditView
        Walk, answers, scores and standings.
    """
    farm_id, audit_id = book.farm.id, book.audit.id
    own = audit_trees(connection, book)
    by_id = own.by_id
    current = queries.current_scores(connection, farm_id, audit_id)
    scores = queries.current_stage_scores(connection, farm_id, audit_id)
    return AuditView(
        book=book,
        walk=own.walk,
        answered=scores_by_tree(current),
        scores=scores,
        tree_of_score={score.id: by_id[score.draw_tree_id] for score in current},
        standings=stage_standings(book, scores, measured_values(book, current)),
        reserve_left=len(own.reserve),
        given_up=own.given_up,
    )


def require_own(actor: Actor, found: Audit) -> None:
    """
    Let only its auditor go on with an audit: an audit is scored by one person.

    Parameters
    ----------
    actor : Actor
        The signed-in person.
    found : Audit
        The audit.

    Raises
    ------
    NotAllowed
        If somebody else began it.
    """
    if found.auditor_id != actor.user_id:
        raise NotAllowed(
            say("Somebody else began this audit. Begin your own of the same trees instead.")
        )


def refuse_sealed(found: Audit) -> None:
    """
    Stop where an audit is sealed.

    Parameters
    ----------
    found : Audit
        The audit.

    Raises
    ------
    Conflict
        If it is sealed.
    """
    if found.sealed_at is not None:
        raise Conflict(
            say("This audit is sealed. A score can now be changed only by an amendment.")
        )
