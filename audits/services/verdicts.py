"""An audit with everything its page shows: verdicts issued and amended, versions, and places."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import sqlalchemy as sa

from audits.branches import BranchReading, branch_readings
from audits.errors import NotFound
from audits.messages import say
from audits.records import (
    Actor,
    Block,
    Crew,
    Decision,
    Lot,
    LotRange,
    ReworkOrder,
    Row,
    StageScoreRow,
    TreeScoreRow,
    Worker,
)
from audits.services.access import require_crew_lead
from audits.services.auditing import AuditView, audit_view
from audits.services.farms import bearing_positions, the_block, the_crew
from audits.services.lots import ranges_with_rows
from audits.services.planning import the_lot
from audits.services.scorebook import (
    Scorebook,
    StageStanding,
    measured_values,
    open_scorebook,
    refuse_undeciding,
    stage_standings,
)
from audits.services.unseen import may_see, require_sight
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries


@dataclass(frozen=True)
class VerdictView:
    """
    An audit of a lot with what belongs to it.

    Parameters
    ----------
    view : AuditView
        The audit as it stands.
    lot : Lot
        Its lot.
    block : Block
        Its block.
    crew : Crew
        The crew of the pass.
    ranges : Sequence of tuple of LotRange and Row
        The lot's stretches, each with its row.
    bearing : Mapping of int to frozenset of int
        The positions of each of these rows that bear a tree of the standard, by row id.
    decisions : Sequence of Decision
        The verdicts, as issued first; none while the audit is open.
    order : ReworkOrder or None
        The rework order that came of it.
    issued : Sequence of StageStanding
        Where the stages stood by the answers that were sent first, without any amendment.
    versions : Mapping of int to sequence of TreeScoreRow
        Every version of each tree that was amended, by the draw tree's id, oldest first.
    version_scores : Mapping of int to sequence of StageScoreRow
        What the stages of each of these versions came to, by the tree score's id.
    people : Mapping of int to str
        Names of those who audit and amend, by user id.
    workers : Mapping of int to Worker
        The farm's workers, by id.
    shows_trees : bool
        Whether the person who asks may see which trees failed; only a rework order is had without.
    """

    view: AuditView
    lot: Lot
    block: Block
    crew: Crew
    ranges: Sequence[tuple[LotRange, Row]]
    bearing: Mapping[int, frozenset[int]]
    decisions: Sequence[Decision]
    order: ReworkOrder | None
    issued: Sequence[StageStanding]
    versions: Mapping[int, Sequence[TreeScoreRow]]
    version_scores: Mapping[int, Sequence[StageScoreRow]]
    people: Mapping[int, str]
    workers: Mapping[int, Worker]
    shows_trees: bool

    @property
    def rows(self) -> dict[int, Row]:
        """The rows of the lot, by id."""
        return {row.id: row for _, row in self.ranges}

    @cached_property
    def branches(self) -> Sequence[BranchReading]:
        """What the answers as they stand say of branches, stage by stage."""
        answers = self.view.answers
        trees = [answers[tree.id] for tree in self.view.walk if tree.id in answers]
        return branch_readings(self.view.book.standard, trees)

    def decided(self, version: int) -> list[Decision]:
        """
        Return one version of the verdicts.

        Parameters
        ----------
        version : int
            1 as issued, more as amended.

        Returns
        -------
        list of Decision
            Stage by stage, then the lot as a whole.
        """
        return [verdict for verdict in self.decisions if verdict.version == version]


def view_verdict(
    database: Database,
    actor: Actor,
    audit_id: int,
    now: datetime | None = None,
    *,
    for_rework: bool = False,
) -> VerdictView:
    """
    Return an audit of a lot with everything its page shows.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The audit.
    now : datetime or None, optional
        The present: a second audit that comes too late keeps nobody waiting.
    for_rework : bool, optional
        Whether it is asked for because of the rework order: that must go out, and names stretches,
        whether or not a blind second audit is still to be made.

    Returns
    -------
    VerdictView
        The audit and what belongs to it.

    Raises
    ------
    NotAllowed
        If a blind second audit of these trees is still to be made.
    NotFound
        If the farm has no such audit, or it gives no verdict.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        refuse_undeciding(book)
        if not for_rework:
            require_sight(connection, actor, book.audit, now)
        if book.draw.lot_id is None:
            raise NotFound(say("There is no such audit."))
        ranges = ranges_with_rows(
            connection, actor.farm_id, book.draw.lot_id, book.crew_pass.block_id
        )
        view = audit_view(connection, book)
        versions = _amended_versions(connection, book)
        version_scores = _scores_of(connection, book) if versions else {}
        users = account_queries.users(connection, actor.farm_id)
        workers = farm_queries.workers(connection, actor.farm_id, with_retired=True)
        return VerdictView(
            view=view,
            lot=the_lot(connection, actor.farm_id, book.draw.lot_id),
            block=the_block(connection, actor.farm_id, book.crew_pass.block_id),
            crew=the_crew(connection, actor.farm_id, book.crew_pass.crew_id),
            ranges=ranges,
            bearing=_bearing(connection, book, [row.id for _, row in ranges]),
            decisions=queries.decisions(connection, actor.farm_id, audit_id),
            order=pass_queries.rework_order_of_audit(connection, actor.farm_id, audit_id),
            issued=_issued(view, versions, version_scores),
            versions=versions,
            version_scores=version_scores,
            people={user.id: user.name for user in users},
            workers={worker.id: worker for worker in workers},
            shows_trees=may_see(connection, actor, book.audit, now),
        )


def _bearing(
    connection: sa.Connection, book: Scorebook, row_ids: Sequence[int]
) -> dict[int, frozenset[int]]:
    day = book.pass_began_on
    return {
        row_id: frozenset(bearing_positions(connection, book.farm.id, row_id, day))
        for row_id in row_ids
    }


def _amended_versions(
    connection: sa.Connection, book: Scorebook
) -> dict[int, Sequence[TreeScoreRow]]:
    versions: dict[int, list[TreeScoreRow]] = {}
    for score in queries.every_score(connection, book.farm.id, book.audit.id):
        versions.setdefault(score.draw_tree_id, []).append(score)
    return {tree_id: rows for tree_id, rows in versions.items() if len(rows) > 1}


def _issued(
    view: AuditView,
    versions: Mapping[int, Sequence[TreeScoreRow]],
    version_scores: Mapping[int, Sequence[StageScoreRow]],
) -> Sequence[StageStanding]:
    if not versions:
        return view.standings
    scores = [
        score for score in view.scores if view.tree_of_score[score.tree_score_id].id not in versions
    ]
    first = [rows[0] for rows in versions.values()]
    for row in first:
        scores += version_scores[row.id]
    values = measured_values(view.book, [*view.answered.values(), *first])
    return stage_standings(view.book, scores, values)


def _scores_of(connection: sa.Connection, book: Scorebook) -> dict[int, Sequence[StageScoreRow]]:
    scores: dict[int, list[StageScoreRow]] = {}
    for score in queries.every_stage_score(connection, book.farm.id, book.audit.id):
        scores.setdefault(score.tree_score_id, []).append(score)
    return dict(scores)
