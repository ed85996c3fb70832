"""
Rows drawn ahead: a phone without signal takes the trees of a row along before the crew is through.

The trees are drawn as they will be for the row's lot. When the row is finished, in the office or on
the phone, the lot takes that draw, so that everybody looks at the same trees.
"""

from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput
from audits.messages import say
from audits.records import Actor, CrewPass, Draw, PassRow
from audits.sampling import Place
from audits.sampling.stored import read_plan
from audits.services.planning import LotPlan, draw_lot, plan_row_ahead, set_lot_state
from audits.storage.queries import ahead as queries
from audits.storage.queries import audits as audit_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import ahead_draw, draw, draw_stage, draw_tree
from audits.vocabulary import LotState


def draw_row_ahead(
    connection: sa.Connection,
    actor: Actor,
    crew_pass: CrewPass,
    part: PassRow,
    *,
    seed: int,
    now: datetime,
) -> int:
    """
    Draw the trees of a row that is still being pruned, or return the draw that is there.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    actor : Actor
        The supervisor.
    crew_pass : CrewPass
        The pass; each of its rows will be a lot of its own.
    part : PassRow
        The row.
    seed : int
        Seed of a new draw; kept with it.
    now : datetime
        The present.

    Returns
    -------
    int
        The draw's id.

    Raises
    ------
    InvalidInput
        If the row has no bearing trees or is too small for its promises.
    """
    plan = plan_row_ahead(connection, actor.farm_id, crew_pass, part)
    fitting = _fitting_draw(connection, actor.farm_id, part, plan)
    if fitting is not None:
        return fitting.id
    draw_id = draw_lot(connection, actor, plan, seed, now)
    insert(
        connection,
        ahead_draw,
        {"farm_id": actor.farm_id, "draw_id": draw_id, "pass_row_id": part.id},
    )
    return draw_id


def take_ahead_draw(
    connection: sa.Connection,
    farm_id: int,
    crew_pass: CrewPass,
    part: PassRow,
    lot_id: int,
    *,
    chosen: bool,
    used: int | None = None,
) -> None:
    """
    Give a finished row's lot the draw that was made ahead, if it still fits the row.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id : int
        The farm.
    crew_pass : CrewPass
        The pass.
    part : PassRow
        The row.
    lot_id : int
        Its lot.
    chosen : bool
        Whether the lot is audited; it then counts as drawn.
    used : int or None, optional
        The draw that a person has decided to take, whether it fits or not.
    """
    if used is None:
        fitting = ahead_draw_to_take(connection, farm_id, crew_pass, part)
        if fitting is None:
            return
        used = fitting.id
    _set_lot(connection, farm_id, used, lot_id)
    if chosen:
        set_lot_state(connection, farm_id, lot_id, LotState.IN_AUDIT)


def give_back_ahead_draw(connection: sa.Connection, farm_id: int, lot_id: int) -> bool:
    """
    Take the draw that was made ahead from a lot again, while nobody has audited it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id, lot_id : int
        The lot.

    Returns
    -------
    bool
        Whether it had one, and no other draw and no audit.
    """
    drawn = audit_queries.draws_of_lot(connection, farm_id, lot_id)
    if any(
        not queries.is_drawn_ahead(connection, farm_id, each.id)
        or audit_queries.audits_of_draw(connection, farm_id, each.id)
        for each in drawn
    ):
        return False
    for each in drawn:
        _set_lot(connection, farm_id, each.id, None)
    return bool(drawn)


def drop_ahead_draws(connection: sa.Connection, farm_id: int, pass_id: int) -> None:
    """
    Remove every draw made ahead for a pass that is taken back, of which nothing has come.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id, pass_id : int
        The pass; no row of it is finished.

    Raises
    ------
    Conflict
        If a phone has begun an audit of one.
    """
    draw_ids = queries.draws_ahead_of_pass(connection, farm_id, pass_id)
    if any(audit_queries.audits_of_draw(connection, farm_id, draw_id) for draw_id in draw_ids):
        raise Conflict(
            say("A phone has scored trees of this pass already: it cannot be taken back.")
        )
    for table, column in (
        (ahead_draw, "draw_id"),
        (draw_tree, "draw_id"),
        (draw_stage, "draw_id"),
        (draw, "id"),
    ):
        connection.execute(
            table.delete().where(table.c.farm_id == farm_id, table.c[column].in_(draw_ids))
        )


def ahead_draw_to_take(
    connection: sa.Connection, farm_id: int, crew_pass: CrewPass, part: PassRow
) -> Draw | None:
    """
    Return the draw that a row's lot would take if the row were finished now.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    crew_pass : CrewPass
        The pass.
    part : PassRow
        The row.

    Returns
    -------
    Draw or None
        None where nothing was drawn ahead, or nothing that still fits the row.
    """
    if not queries.draws_ahead(connection, farm_id, part.id):
        return None
    try:
        plan = plan_row_ahead(connection, farm_id, crew_pass, part)
    except InvalidInput:
        # Nothing bears there any more: the lot's own page says so.
        return None
    return _fitting_draw(connection, farm_id, part, plan)


def _fitting_draw(
    connection: sa.Connection, farm_id: int, part: PassRow, plan: LotPlan
) -> Draw | None:
    """Return the latest draw without a lot that is as one made now would be."""
    waiting = [
        drawn
        for drawn in queries.draws_ahead(connection, farm_id, part.id)
        if drawn.lot_id is None and _fits(connection, farm_id, drawn, plan)
    ]
    return waiting[-1] if waiting else None


def _fits(connection: sa.Connection, farm_id: int, drawn: Draw, plan: LotPlan) -> bool:
    if drawn.lot_size != len(plan.places):
        return False
    stages = audit_queries.draw_stages(connection, farm_id, drawn.id)
    if {row.stage: read_plan(row.plan) for row in stages} != plan.plans:
        return False
    trees = audit_queries.draw_trees(connection, farm_id, drawn.id)
    return {Place(tree.orchard_row_id, tree.position) for tree in trees} <= set(plan.places)


def _set_lot(connection: sa.Connection, farm_id: int, draw_id: int, lot_id: int | None) -> None:
    connection.execute(
        draw.update().where(draw.c.farm_id == farm_id, draw.c.id == draw_id).values(lot_id=lot_id)
    )
