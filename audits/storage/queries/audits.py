"""Draws, audits, scores, verdicts and roll-ups."""

from collections.abc import Collection
from dataclasses import replace
from typing import Final

import sqlalchemy as sa

from audits.records import (
    Audit,
    Decision,
    Draw,
    DrawStage,
    DrawTree,
    Replacement,
    Rollup,
    StageScoreRow,
    TreeScoreRow,
)
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by, fetch_by_id, fetch_one
from audits.storage.queries.trends import is_latest
from audits.storage.tables import (
    audit,
    decision,
    draw,
    draw_stage,
    draw_tree,
    replacement,
    rollup,
    stage_score,
    tree_score,
)

_OF_AUDIT: Final = sa.and_(
    tree_score.c.farm_id == sa.bindparam("farm"),
    tree_score.c.audit_id == sa.bindparam("audit"),
    is_latest(),
)
# Built once: they run after every tree that is scored.
_CURRENT_SCORES: Final = (
    sa.select(*columns_of(tree_score, TreeScoreRow))
    .where(_OF_AUDIT)
    .order_by(tree_score.c.scoring_order)
)
# The wave in which the scored tree was drawn; one that came instead of another has that one's.
_WAVE: Final = (
    sa.select(draw_tree.c.wave)
    .join(
        tree_score,
        sa.and_(
            tree_score.c.farm_id == draw_tree.c.farm_id,
            tree_score.c.draw_tree_id == draw_tree.c.id,
        ),
    )
    .where(
        tree_score.c.farm_id == stage_score.c.farm_id,
        tree_score.c.id == stage_score.c.tree_score_id,
    )
    .correlate(stage_score)
    .scalar_subquery()
    .label("wave")
)
# An IN rather than a join: without statistics SQLite would read every score of the farm first.
_CURRENT_STAGE_SCORES: Final = (
    sa.select(*columns_of(stage_score, StageScoreRow), _WAVE)
    .where(
        stage_score.c.farm_id == sa.bindparam("farm"),
        stage_score.c.tree_score_id.in_(sa.select(tree_score.c.id).where(_OF_AUDIT)),
    )
    .order_by(stage_score.c.tree_score_id, stage_score.c.id)
)
# The trees that came instead of others in an audit: the wave each time, and their answers' id.
_TAKEN: Final = (
    sa.select(
        replacement.c.draw_tree_id, replacement.c.instead_id, draw_tree.c.wave, tree_score.c.id
    )
    .join(
        draw_tree,
        sa.and_(
            draw_tree.c.farm_id == replacement.c.farm_id,
            draw_tree.c.id == replacement.c.draw_tree_id,
        ),
    )
    .outerjoin(
        tree_score,
        sa.and_(
            tree_score.c.farm_id == replacement.c.farm_id,
            tree_score.c.audit_id == replacement.c.audit_id,
            tree_score.c.draw_tree_id == replacement.c.instead_id,
        ),
    )
    .where(
        replacement.c.farm_id == sa.bindparam("farm"),
        replacement.c.audit_id == sa.bindparam("audit"),
    )
    .order_by(replacement.c.number)
)


def draw_by_id(connection: sa.Connection, farm_id: int, draw_id: int) -> Draw | None:
    """Return one draw."""
    return fetch_by_id(connection, draw, Draw, farm_id, draw_id)


def draws_of_lot(connection: sa.Connection, farm_id: int, lot_id: int) -> list[Draw]:
    """Return a lot's draws, oldest first."""
    return fetch_by(connection, draw, Draw, farm_id, lot_id=lot_id)


def draw_stages(connection: sa.Connection, farm_id: int, draw_id: int) -> list[DrawStage]:
    """Return the plan of each stage of a draw."""
    return fetch_by(connection, draw_stage, DrawStage, farm_id, draw_id=draw_id)


def draw_trees(connection: sa.Connection, farm_id: int, draw_id: int) -> list[DrawTree]:
    """Return the trees of a draw: those of the walk in walking order, then the reserve."""
    return fetch_all(
        connection,
        sa.select(*columns_of(draw_tree, DrawTree))
        .where(draw_tree.c.farm_id == farm_id, draw_tree.c.draw_id == draw_id)
        .order_by(
            draw_tree.c.walk_order.is_(None), draw_tree.c.walk_order, draw_tree.c.reserve_order
        ),
        DrawTree,
    )


def replacements(connection: sa.Connection, farm_id: int, audit_id: int) -> list[Replacement]:
    """Return the trees replaced in an audit, in the order in which they were noted."""
    return fetch_all(
        connection,
        sa.select(*columns_of(replacement, Replacement))
        .where(replacement.c.farm_id == farm_id, replacement.c.audit_id == audit_id)
        .order_by(replacement.c.number),
        Replacement,
    )


def audit_by_id(connection: sa.Connection, farm_id: int, audit_id: int) -> Audit | None:
    """Return one audit."""
    return fetch_by_id(connection, audit, Audit, farm_id, audit_id)


def audit_by_client_id(connection: sa.Connection, farm_id: int, client_id: str) -> Audit | None:
    """Return the audit that a device began under an id of its own."""
    return fetch_one(
        connection,
        sa.select(*columns_of(audit, Audit)).where(
            audit.c.farm_id == farm_id, audit.c.client_id == client_id
        ),
        Audit,
    )


def audits_of_draw(connection: sa.Connection, farm_id: int, draw_id: int) -> list[Audit]:
    """Return the audits that score a draw, oldest first."""
    return fetch_by(connection, audit, Audit, farm_id, draw_id=draw_id)


def audits_in_row(
    connection: sa.Connection, farm_id: int, pass_id: int, row_id: int
) -> list[Audit]:
    """Return the audits of a pass that drew a tree of a row, oldest first."""
    drawn = (
        sa.select(draw_tree.c.draw_id)
        .join(
            draw, sa.and_(draw.c.farm_id == draw_tree.c.farm_id, draw.c.id == draw_tree.c.draw_id)
        )
        .where(
            draw_tree.c.farm_id == farm_id,
            draw_tree.c.orchard_row_id == row_id,
            draw.c.crew_pass_id == pass_id,
        )
    )
    return fetch_all(
        connection,
        sa.select(*columns_of(audit, Audit))
        .where(audit.c.farm_id == farm_id, audit.c.draw_id.in_(drawn))
        .order_by(audit.c.id),
        Audit,
    )


def current_scores(connection: sa.Connection, farm_id: int, audit_id: int) -> list[TreeScoreRow]:
    """Return the latest version of each tree's answers in an audit, in scoring order."""
    return fetch_all(
        connection,
        _CURRENT_SCORES,
        TreeScoreRow,
        {"farm": farm_id, "audit": audit_id},
    )


def every_score(connection: sa.Connection, farm_id: int, audit_id: int) -> list[TreeScoreRow]:
    """Return every version of every tree's answers in an audit, in scoring order."""
    return fetch_all(
        connection,
        sa.select(*columns_of(tree_score, TreeScoreRow))
        .where(tree_score.c.farm_id == farm_id, tree_score.c.audit_id == audit_id)
        .order_by(tree_score.c.scoring_order, tree_score.c.version),
        TreeScoreRow,
    )


def scores_by_client_id(
    connection: sa.Connection, farm_id: int, client_ids: Collection[str]
) -> list[TreeScoreRow]:
    """Return the answers that devices sent under some of these ids."""
    return fetch_all(
        connection,
        sa.select(*columns_of(tree_score, TreeScoreRow)).where(
            tree_score.c.farm_id == farm_id, tree_score.c.client_id.in_(list(client_ids))
        ),
        TreeScoreRow,
    )


def score_versions(
    connection: sa.Connection, farm_id: int, audit_id: int, draw_tree_id: int
) -> list[TreeScoreRow]:
    """Return every version of a tree's answers in an audit, oldest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(tree_score, TreeScoreRow))
        .where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id == audit_id,
            tree_score.c.draw_tree_id == draw_tree_id,
        )
        .order_by(tree_score.c.version),
        TreeScoreRow,
    )


def current_stage_scores(
    connection: sa.Connection, farm_id: int, audit_id: int
) -> list[StageScoreRow]:
    """Return the stage scores of the latest version of each tree's answers in an audit."""
    values = {"farm": farm_id, "audit": audit_id}
    scores = fetch_all(connection, _CURRENT_STAGE_SCORES, StageScoreRow, values)
    return _in_own_waves(connection, values, scores)


def every_stage_score(
    connection: sa.Connection, farm_id: int, audit_id: int
) -> list[StageScoreRow]:
    """Return the stage scores of every version of each tree's answers in an audit."""
    scores = fetch_all(
        connection,
        sa.select(*columns_of(stage_score, StageScoreRow), _WAVE)
        .join(
            tree_score,
            sa.and_(
                tree_score.c.farm_id == stage_score.c.farm_id,
                tree_score.c.id == stage_score.c.tree_score_id,
            ),
        )
        .where(tree_score.c.farm_id == farm_id, tree_score.c.audit_id == audit_id)
        .order_by(tree_score.c.scoring_order, tree_score.c.version, stage_score.c.id),
        StageScoreRow,
    )
    return _in_own_waves(connection, {"farm": farm_id, "audit": audit_id}, scores)


def _in_own_waves(
    connection: sa.Connection, values: dict[str, int], scores: list[StageScoreRow]
) -> list[StageScoreRow]:
    """Give trees that came instead of others in this audit the wave of those."""
    came: dict[int, int] = {}
    waves: dict[int, int] = {}
    for gone, instead, drawn_in, score_id in connection.execute(_TAKEN, values):
        # What came instead may have been replaced in turn.
        came[instead] = came.get(gone, drawn_in)
        if score_id is not None:
            waves[score_id] = came[instead]
    if not waves:
        return scores
    return [replace(score, wave=waves.get(score.tree_score_id, score.wave)) for score in scores]


def decisions(connection: sa.Connection, farm_id: int, audit_id: int) -> list[Decision]:
    """Return an audit's verdicts, every version, as issued first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(decision, Decision))
        .where(decision.c.farm_id == farm_id, decision.c.audit_id == audit_id)
        .order_by(decision.c.version, decision.c.id),
        Decision,
    )


def rollups(connection: sa.Connection, farm_id: int, audit_id: int) -> list[Rollup]:
    """Return an audit's roll-ups."""
    return fetch_by(connection, rollup, Rollup, farm_id, audit_id=audit_id)


def every_audit_id(connection: sa.Connection, farm_id: int) -> list[int]:
    """Return the id of every audit of the farm."""
    return list(
        connection.scalars(
            sa.select(audit.c.id).where(audit.c.farm_id == farm_id).order_by(audit.c.id)
        )
    )
