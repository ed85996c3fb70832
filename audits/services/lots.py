"""A lot with its history: its plan while it waits, its draws and audits, its rework orders."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import (
    Actor,
    Audit,
    Block,
    Crew,
    CrewPass,
    Decision,
    Draw,
    DrawStage,
    Lot,
    LotRange,
    ReworkOrder,
    Row,
)
from audits.sampling.stored import read_plan
from audits.services.access import require_crew_lead
from audits.services.farms import the_block, the_crew
from audits.services.planning import LotPlan, is_given_up, plan_lot_audit, the_lot
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import LotState


@dataclass(frozen=True)
class AuditLine:
    """
    One audit in the history of a lot.

    Parameters
    ----------
    audit : Audit
        The audit.
    auditor : str
        Name of its auditor.
    decisions : Sequence of Decision
        Its verdicts, as issued first; none while it is open.
    """

    audit: Audit
    auditor: str
    decisions: Sequence[Decision]


@dataclass(frozen=True)
class DrawLine:
    """
    One draw in the history of a lot.

    Parameters
    ----------
    draw : Draw
        The draw.
    plans : Sequence of DrawStage
        The plan of each stage.
    audits : Sequence of AuditLine
        Its audits, oldest first.
    given_up : bool
        Whether its reserve did not last, so that nothing is decided by it.
    """

    draw: Draw
    plans: Sequence[DrawStage]
    audits: Sequence[AuditLine]
    given_up: bool


@dataclass(frozen=True)
class LotView:
    """
    A lot with what belongs to it.

    Parameters
    ----------
    lot : Lot
        The lot.
    crew_pass : CrewPass
        The pass in which it was pruned.
    block : Block
        Its block.
    crew : Crew
        The crew of the pass.
    ranges : Sequence of tuple of LotRange and Row
        Its stretches, each with its row.
    plan : LotPlan or None
        The sample of its next audit, while it is ready for one.
    hindrance : Message or None
        Why no audit can be planned although the lot waits for one.
    draws : Sequence of DrawLine
        Its draws, oldest first.
    orders : Sequence of ReworkOrder
        Its rework orders, oldest first.
    """

    lot: Lot
    crew_pass: CrewPass
    block: Block
    crew: Crew
    ranges: Sequence[tuple[LotRange, Row]]
    plan: LotPlan | None
    hindrance: Message | None
    draws: Sequence[DrawLine]
    orders: Sequence[ReworkOrder]

    @property
    def drawn_ahead_at(self) -> datetime | None:
        """When its trees were drawn, where no audit of them has begun; else None."""
        if self.lot.state is not LotState.IN_AUDIT or not self.draws or self.draws[-1].audits:
            return None
        return self.draws[-1].draw.created_at

    def open_audit_of(self, user_id: int) -> Audit | None:
        """
        Return the audit that a person has begun and not sealed in the lot's latest draw.

        Parameters
        ----------
        user_id : int
            The person.

        Returns
        -------
        Audit or None
            The audit, if there is one.
        """
        if self.lot.state is not LotState.IN_AUDIT or not self.draws:
            return None
        return next(
            (
                line.audit
                for line in self.draws[-1].audits
                if line.audit.auditor_id == user_id and line.audit.sealed_at is None
            ),
            None,
        )


def view_lot(database: Database, actor: Actor, lot_id: int) -> LotView:
    """
    Return a lot with its plan and its history.

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
    LotView
        The lot and what belongs to it.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        found = the_lot(connection, actor.farm_id, lot_id)
        crew_pass = pass_queries.crew_pass_by_id(connection, actor.farm_id, found.crew_pass_id)
        if crew_pass is None:
            raise NotFound(say("There is no such pass."))
        plan, hindrance = _plan(connection, actor.farm_id, found)
        return LotView(
            lot=found,
            crew_pass=crew_pass,
            block=the_block(connection, actor.farm_id, crew_pass.block_id),
            crew=the_crew(connection, actor.farm_id, crew_pass.crew_id),
            ranges=ranges_with_rows(connection, actor.farm_id, lot_id, crew_pass.block_id),
            plan=plan,
            hindrance=hindrance,
            draws=_draws(connection, actor.farm_id, lot_id),
            orders=pass_queries.rework_orders_of_lot(connection, actor.farm_id, lot_id),
        )


def ranges_with_rows(
    connection: sa.Connection, farm_id: int, lot_id: int, block_id: int
) -> list[tuple[LotRange, Row]]:
    """
    Return the stretches of a lot, each with its row.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id, lot_id, block_id : int
        The lot and its block.

    Returns
    -------
    list of tuple of LotRange and Row
        In the order in which they were finished.
    """
    rows = {row.id: row for row in farm_queries.rows_of_block(connection, farm_id, block_id)}
    return [
        (part, rows[part.orchard_row_id])
        for part in pass_queries.lot_ranges(connection, farm_id, lot_id)
    ]


def _plan(
    connection: sa.Connection, farm_id: int, found: Lot
) -> tuple[LotPlan | None, Message | None]:
    if found.state not in {LotState.WAITING, LotState.REWORK}:
        return None, None
    try:
        return plan_lot_audit(connection, farm_id, found.id), None
    except (Conflict, InvalidInput) as error:
        return None, error.message


def _draws(connection: sa.Connection, farm_id: int, lot_id: int) -> list[DrawLine]:
    names: Mapping[int, str] = {
        user.id: user.name for user in account_queries.users(connection, farm_id)
    }
    # Blind second audits decide nothing; they stand on the page of the auditors.
    checks = check_queries.check_audit_ids(connection, farm_id, lot_id)
    lines = []
    for drawn in queries.draws_of_lot(connection, farm_id, lot_id):
        plans = queries.draw_stages(connection, farm_id, drawn.id)
        audits = [
            AuditLine(
                audit=found,
                auditor=names.get(found.auditor_id, ""),
                decisions=queries.decisions(connection, farm_id, found.id),
            )
            for found in queries.audits_of_draw(connection, farm_id, drawn.id)
            if found.id not in checks
        ]
        trees = queries.draw_trees(connection, farm_id, drawn.id)
        sample_size = max(read_plan(plan.plan).sample_size for plan in plans)
        given_up = is_given_up(trees, sample_size)
        lines.append(DrawLine(drawn, plans, audits, given_up=given_up))
    return lines
