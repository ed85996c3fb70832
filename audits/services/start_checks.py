"""Start checks: a few trees a worker in the first hour, for coaching only."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, NotRequired, TypedDict, Unpack

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.records import Actor, Block, CrewPass, DrawTree, Row, Worker
from audits.services.access import require_crew_lead
from audits.services.auditing import (
    AuditView,
    Device,
    TreeEntry,
    add_audit,
    audit_view,
    record_in,
)
from audits.services.entries import Entries
from audits.services.farms import the_block, the_worker
from audits.services.scorebook import Scorebook, open_scorebook
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import pass_lists
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import audit, draw, draw_tree, stage_score, tree_score
from audits.vocabulary import Purpose, Side

LEAST_TREES: Final = 3
MOST_TREES: Final = 5
# Seen within the first hour, a slip costs a few trees; seen at noon, a row.
FIRST_HOUR: Final = timedelta(hours=1)


class StartTreeEntry(TypedDict):
    """What is entered for one tree; the answers are the fields of `audits.scoring.TreeAnswers`."""

    row_id: int
    position: int
    side: Side
    answers: Mapping[str, Any]
    client_id: str
    device: Device
    was: NotRequired[int | None]


@dataclass(frozen=True)
class StartCheckView:
    """
    A start check as it stands.

    Parameters
    ----------
    view : AuditView
        Its trees, answers and scores.
    worker : Worker
        Whose trees they are.
    block : Block
        The block.
    rows : list of Row
        The rows of its pass, in the order in which they are pruned.
    """

    view: AuditView
    worker: Worker
    block: Block
    rows: list[Row]

    @property
    def is_closed(self) -> bool:
        """Whether it takes no more trees."""
        return self.view.book.audit.sealed_at is not None

    @property
    def may_close(self) -> bool:
        """Whether enough trees were looked at."""
        return not self.is_closed and len(self.view.answers) >= LEAST_TREES

    @property
    def takes_more(self) -> bool:
        """Whether another tree may be looked at."""
        return not self.is_closed and len(self.view.answers) < MOST_TREES


def begin_start_check(
    database: Database,
    actor: Actor,
    pass_id: int,
    *,
    worker_id: int,
    client_id: str,
    device: Device,
    now: datetime,
) -> int:
    """
    Begin the start check of one worker in a pass, or go on with the one that is open.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    worker_id : int
        The worker, of the crew of that pass.
    client_id : str
        Id made by the device; beginning twice with the same one returns the same start check.
    device : Device
        The supervisor's device.
    now : datetime
        The present.

    Returns
    -------
    int
        The audit's id.

    Raises
    ------
    InvalidInput
        If the worker is not in the crew.
    Conflict
        If the id was used for another worker or another audit.
    NotFound
        If the farm has no such pass.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = pass_queries.crew_pass_by_id(connection, actor.farm_id, pass_id)
        version = (
            standard_queries.standard_by_id(connection, actor.farm_id, found.standard_version_id)
            if found
            else None
        )
        if found is None or version is None:
            raise NotFound(say("There is no such pass."))
        crew = farm_queries.workers_of_crew(connection, actor.farm_id, found.crew_id)
        if worker_id not in {worker.id for worker in crew}:
            raise InvalidInput({"worker_id": say("This worker is not in the crew of this pass.")})
        begun = _begun_already(connection, actor.farm_id, found, worker_id, client_id)
        if begun is not None:
            return begun
        draw_id = insert(
            connection,
            draw,
            {
                "farm_id": actor.farm_id,
                "lot_id": None,
                "crew_pass_id": pass_id,
                "purpose": Purpose.START_CHECK,
                "stages": standard_of(version).stages_in_use,
                # The supervisor stands beside the worker and chooses the trees.
                "seed": "",
                "lot_size": 0,
                "created_at": now,
                "created_by": actor.user_id,
            },
        )
        return add_audit(
            connection,
            actor,
            draw_id,
            client_id=client_id,
            device=device,
            now=now,
            worker_id=worker_id,
        )


def _begun_already(
    connection: sa.Connection, farm_id: int, found: CrewPass, worker_id: int, client_id: str
) -> int | None:
    """
    Return the start check that was begun under this id, or that is open for this worker.

    Raises
    ------
    Conflict
        If the id was used for something else.
    """
    of_worker = [
        check
        for check in pass_lists.start_checks_of_passes(connection, farm_id, [found.id])
        if check.worker_id == worker_id
    ]
    sent_before = queries.audit_by_client_id(connection, farm_id, client_id)
    if sent_before is not None:
        if sent_before.id not in {check.audit_id for check in of_worker}:
            raise Conflict(say("This page was used already. Load it again."))
        return sent_before.id
    return next((check.audit_id for check in of_worker if check.sealed_at is None), None)


def score_start_tree(
    database: Database,
    actor: Actor,
    audit_id: int,
    *,
    now: datetime,
    **entry: Unpack[StartTreeEntry],
) -> AuditView:
    """
    Score one tree of a start check; a tree entered again replaces its answers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The start check.
    now : datetime
        The present.
    **entry : Unpack[StartTreeEntry]
        What is entered; `was` is the id of the tree that this entry corrects, if it had a wrong
        row or place.

    Returns
    -------
    AuditView
        The start check as it stands.

    Raises
    ------
    InvalidInput
        If the tree or an answer cannot be taken.
    Conflict
        If five trees are scored already, or the start check is closed.
    NotFound
        If there is no such start check.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = _open_book(connection, actor.farm_id, audit_id)
        _check_place(connection, book, entry)
        was = entry.get("was")
        if was is not None:
            moved = not _stands_at(_tree(connection, book, was), entry)
            if moved:
                _take_out(connection, book, was)
        tree_id = _tree_at(connection, book, entry)
        tree = TreeEntry(tree_id, entry["client_id"], entry["answers"], entry["device"])
        record_in(connection, book, [tree], now)
        return audit_view(connection, book)


def _check_place(connection: sa.Connection, book: Scorebook, entry: StartTreeEntry) -> None:
    parts = {
        part.orchard_row_id: part
        for part in pass_queries.pass_rows(connection, book.farm.id, book.crew_pass.id)
    }
    entries = Entries()
    part = parts.get(entry["row_id"])
    if part is None:
        entries.add("row_id", say("Choose a row of this pass."))
    elif not part.first_position <= entry["position"] <= part.last_position:
        row = farm_queries.row_by_id(connection, book.farm.id, part.orchard_row_id)
        entries.add(
            "position",
            say(
                "Row %(row)s has trees %(first)s to %(last)s in this pass.",
                row=str(row.number) if row else "",
                first=str(part.first_position),
                last=str(part.last_position),
            ),
        )
    entries.stop_if_any()


def _tree_at(connection: sa.Connection, book: Scorebook, entry: StartTreeEntry) -> int:
    """
    Return the id of the tree at a place, added to the start check if it is new there.

    Raises
    ------
    Conflict
        If the start check has as many trees as it takes.
    """
    trees = queries.draw_trees(connection, book.farm.id, book.draw.id)
    existing = next((tree for tree in trees if _stands_at(tree, entry)), None)
    if existing is not None:
        connection.execute(
            draw_tree.update()
            .where(draw_tree.c.farm_id == book.farm.id, draw_tree.c.id == existing.id)
            .values(side=entry["side"])
        )
        return existing.id
    if len(trees) >= MOST_TREES:
        raise Conflict(
            say("A start check takes %(most)s trees at most. Close it now.", most=MOST_TREES)
        )
    return insert(
        connection,
        draw_tree,
        {
            "farm_id": book.farm.id,
            "draw_id": book.draw.id,
            "orchard_row_id": entry["row_id"],
            "position": entry["position"],
            "side": entry["side"],
            "wave": 1,
            "walk_order": 1 + max((tree.walk_order or 0 for tree in trees), default=0),
        },
    )


def _stands_at(tree: DrawTree, entry: StartTreeEntry) -> bool:
    return (tree.orchard_row_id, tree.position) == (entry["row_id"], entry["position"])


def take_out_start_tree(database: Database, actor: Actor, audit_id: int, draw_tree_id: int) -> None:
    """
    Take a tree out of a start check that is still open.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id, draw_tree_id : int
        The tree of the start check.

    Raises
    ------
    Conflict
        If the start check is closed.
    NotFound
        If there is no such start check, or no such tree in it.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = _open_book(connection, actor.farm_id, audit_id)
        _take_out(connection, book, _tree(connection, book, draw_tree_id).id)


def _take_out(connection: sa.Connection, book: Scorebook, draw_tree_id: int) -> None:
    farm_id = book.farm.id
    scored = sa.select(tree_score.c.id).where(
        tree_score.c.farm_id == farm_id,
        tree_score.c.audit_id == book.audit.id,
        tree_score.c.draw_tree_id == draw_tree_id,
    )
    connection.execute(
        stage_score.delete().where(
            stage_score.c.farm_id == farm_id, stage_score.c.tree_score_id.in_(scored)
        )
    )
    connection.execute(
        tree_score.delete().where(tree_score.c.farm_id == farm_id, tree_score.c.id.in_(scored))
    )
    connection.execute(
        draw_tree.delete().where(draw_tree.c.farm_id == farm_id, draw_tree.c.id == draw_tree_id)
    )


def close_start_check(database: Database, actor: Actor, audit_id: int, now: datetime) -> None:
    """
    Close a start check.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The start check.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If fewer than three trees were looked at, or it is closed already.
    NotFound
        If the farm has no such start check.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        _open_book(connection, actor.farm_id, audit_id)
        looked_at = queries.current_scores(connection, actor.farm_id, audit_id)
        if len(looked_at) < LEAST_TREES:
            raise Conflict(
                say(
                    "Look at %(least)s trees at least, so that one odd tree weighs less.",
                    least=LEAST_TREES,
                )
            )
        connection.execute(
            audit.update()
            .where(audit.c.farm_id == actor.farm_id, audit.c.id == audit_id)
            .values(sealed_at=now)
        )


def view_start_check(database: Database, actor: Actor, audit_id: int) -> StartCheckView:
    """
    Return a start check as it stands.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The start check.

    Returns
    -------
    StartCheckView
        Its worker, trees and scores.

    Raises
    ------
    NotFound
        If the farm has no such start check.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.read() as connection:
        book = _book(connection, farm_id, audit_id)
        crew_pass = book.crew_pass
        rows = {
            row.id: row
            for row in farm_queries.rows_of_block(connection, farm_id, crew_pass.block_id)
        }
        parts = pass_queries.pass_rows(connection, farm_id, crew_pass.id)
        return StartCheckView(
            view=audit_view(connection, book),
            worker=the_worker(connection, farm_id, book.audit.worker_id or 0),
            block=the_block(connection, farm_id, crew_pass.block_id),
            rows=[rows[part.orchard_row_id] for part in parts],
        )


def _book(connection: sa.Connection, farm_id: int, audit_id: int) -> Scorebook:
    book = open_scorebook(connection, farm_id, audit_id)
    if book.draw.purpose is not Purpose.START_CHECK:
        raise NotFound(say("There is no such start check."))
    return book


def _open_book(connection: sa.Connection, farm_id: int, audit_id: int) -> Scorebook:
    book = _book(connection, farm_id, audit_id)
    if book.audit.sealed_at is not None:
        raise Conflict(say("This start check is closed already."))
    return book


def _tree(connection: sa.Connection, book: Scorebook, draw_tree_id: int) -> DrawTree:
    for tree in queries.draw_trees(connection, book.farm.id, book.draw.id):
        if tree.id == draw_tree_id:
            return tree
    raise NotFound(say("There is no such tree in this start check."))
