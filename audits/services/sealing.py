"""Sealing: the verdict is issued, the lot moves on, and what can be mended goes back."""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, NotFound
from audits.lots import state_after_audit
from audits.messages import say
from audits.records import Actor
from audits.rework import FailedTree, ReworkLine, Stretch, rework_lines
from audits.services.access import require_crew_lead
from audits.services.auditing import AuditView, audit_view, refuse_sealed, require_own
from audits.services.planning import set_lot_state
from audits.services.scorebook import (
    Scorebook,
    StageStanding,
    failed_stages,
    lot_standing,
    open_scorebook,
    refuse_undeciding,
    write_rollups,
)
from audits.services.second_audits import choose_second_audit
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import audit, decision, rework_item, rework_order
from audits.vocabulary import LotState, Outcome, Stage


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
        If a stage is still open, the draw was given up, or the audit is sealed already.
    NotFound
        If the farm has no such audit; a start check decides nothing and is none.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        refuse_undeciding(book)
        if book.draw.lot_id is None:
            raise NotFound(say("There is no such audit."))
        require_own(actor, book.audit)
        seal_in(connection, audit_view(connection, book), now)
        return audit_view(connection, open_scorebook(connection, actor.farm_id, audit_id))


def seal_in(connection: sa.Connection, view: AuditView, now: datetime) -> None:
    """
    Issue the verdict of an audit of a lot in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    view : AuditView
        The audit as it stands.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If a stage is still open, the draw was given up, or the audit is sealed already.
    """
    book = view.book
    refuse_sealed(book.audit)
    if view.given_up:
        raise Conflict(say("The reserve of this draw is used up. Begin a new audit of the lot."))
    if not view.all_decided:
        raise Conflict(say("A stage is still open. Score the remaining trees first."))
    connection.execute(
        audit.update()
        .where(audit.c.farm_id == book.farm.id, audit.c.id == book.audit.id)
        .values(sealed_at=now)
    )
    write_decisions(connection, book, view.standings, version=1, now=now)
    write_rollups(connection, book)
    if _decides_lot(connection, book):
        _move_lot(connection, book, view, now)
        choose_second_audit(connection, book, now)


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


def _decides_lot(connection: sa.Connection, book: Scorebook) -> bool:
    """Tell whether this is the first audit of its draw to be sealed; a second one is a check."""
    others = queries.audits_of_draw(connection, book.farm.id, book.draw.id)
    return not any(other.sealed_at and other.id != book.audit.id for other in others)


def _move_lot(connection: sa.Connection, book: Scorebook, view: AuditView, now: datetime) -> None:
    lot_id = book.draw.lot_id
    if lot_id is None:
        return
    # What can be mended is in this draw: a stage lost before and not drawn again never could.
    faults = {
        stage: {fault for score in scores for fault in score.faults}
        for stage, scores in failed_stages(view.scores).items()
    }
    for standing in view.standings:
        faults.setdefault(standing.stage, set()).update(standing.faults_of_mean)
    state = state_after_audit(_latest_outcomes(connection, book.farm.id, lot_id), faults)
    closed = state in {LotState.ACCEPTED, LotState.CLOSED_NOT_ACCEPTED}
    set_lot_state(connection, book.farm.id, lot_id, state, closed_at=now if closed else None)
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


def _latest_outcomes(connection: sa.Connection, farm_id: int, lot_id: int) -> dict[Stage, Outcome]:
    """Return the latest verdict on each stage of a lot, as it was issued."""
    outcomes: dict[Stage, Outcome] = {}
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
    return outcomes


def _add_faults_of_mean(trees: list[FailedTree], standing: StageStanding) -> None:
    """Add what the mean turned down and no tree of the sample shows; nobody can be named for it."""
    shown = {fault for tree in trees for fault in tree.faults}
    unseen = tuple(fault for fault in standing.faults_of_mean if fault not in shown)
    if unseen:
        trees.append(FailedTree(row_id=0, position=0, faults=unseen, worker_id=None))


def _rework_lines(connection: sa.Connection, book: Scorebook, view: AuditView) -> list[ReworkLine]:
    lost = {
        standing.stage for standing in view.standings if standing.outcome is Outcome.NOT_ACCEPTED
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
    for standing in view.standings:
        _add_faults_of_mean(failed.setdefault(standing.stage, []), standing)
    ranges = pass_queries.lot_ranges(connection, book.farm.id, book.draw.lot_id or 0)

    def stretches_of(stage: Stage, worker_id: int) -> list[Stretch]:
        return [
            Stretch(given.row_id, given.first_position, given.last_position)
            for given in book.assignments
            if given.stage is stage and given.worker_id == worker_id
        ]

    return rework_lines(
        failed,
        [Stretch(part.orchard_row_id, part.first_position, part.last_position) for part in ranges],
        stretches_of,
    )
