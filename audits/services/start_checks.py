"""Start checks: a few trees a worker in the first hour, for coaching only."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import Actor
from audits.services.access import require_crew_lead
from audits.services.auditing import (
    AuditView,
    Device,
    TreeEntry,
    add_audit,
    record_in,
    view_audit,
)
from audits.services.scorebook import open_scorebook
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import audit, draw, draw_tree
from audits.vocabulary import Purpose, Side

LEAST_TREES: Final = 3
MOST_TREES: Final = 5


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
    Begin the start check of one worker in a pass.

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
        Id made by the device.
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


def score_start_tree(
    database: Database,
    actor: Actor,
    audit_id: int,
    *,
    row_id: int,
    position: int,
    side: Side,
    answers: Mapping[str, Any],
    client_id: str,
    device: Device,
    now: datetime,
) -> AuditView:
    """
    Score one tree of a start check.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The start check.
    row_id, position : int
        The tree.
    side : Side
        The side looked at.
    answers : Mapping of str to object
        The fields of `audits.scoring.TreeAnswers`.
    client_id : str
        Id made by the device.
    device : Device
        The supervisor's device.
    now : datetime
        The present.

    Returns
    -------
    AuditView
        The start check as it stands.

    Raises
    ------
    InvalidInput
        If the tree or an answer cannot be taken.
    Conflict
        If five trees are scored already.
    NotFound
        If the start check or the row is not there.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        trees = queries.draw_trees(connection, actor.farm_id, book.draw.id)
        if book.draw.purpose is not Purpose.START_CHECK:
            raise NotFound(say("There is no such start check."))
        rows = {
            row.id: row
            for row in farm_queries.rows_of_block(
                connection, actor.farm_id, book.crew_pass.block_id
            )
        }
        if row_id not in rows:
            raise InvalidInput({"row_id": say("Choose a row of this block.")})
        problems: dict[str, Message] = {}
        if not 1 <= position <= rows[row_id].tree_count:
            problems["position"] = say(
                "Row %(row)s has trees 1 to %(last)s.",
                row=str(rows[row_id].number),
                last=rows[row_id].tree_count,
            )
        existing = next(
            (t for t in trees if t.orchard_row_id == row_id and t.position == position), None
        )
        if problems:
            raise InvalidInput(problems)
        if existing is None and len(trees) >= MOST_TREES:
            raise Conflict(
                say("A start check takes %(most)s trees at most. Close it now.", most=MOST_TREES)
            )
        tree_id = (
            existing.id
            if existing
            else insert(
                connection,
                draw_tree,
                {
                    "farm_id": actor.farm_id,
                    "draw_id": book.draw.id,
                    "orchard_row_id": row_id,
                    "position": position,
                    "side": side,
                    "wave": 1,
                    "walk_order": len(trees) + 1,
                },
            )
        )
        record_in(connection, book, [TreeEntry(tree_id, client_id, answers, device)], now)
    return view_audit(database, actor, audit_id)


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
        book = open_scorebook(connection, actor.farm_id, audit_id)
        if book.draw.purpose is not Purpose.START_CHECK:
            raise NotFound(say("There is no such start check."))
        if book.audit.sealed_at is not None:
            raise Conflict(say("This start check is closed already."))
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
