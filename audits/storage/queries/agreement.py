"""What several people said of the same trees, as each of them sealed it first."""

from collections.abc import Collection
from datetime import datetime
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.storage.queries.trends import STAGES_BY_TEXT, same_farm
from audits.storage.tables import audit, calibration, draw, draw_tree, stage_score, tree_score
from audits.vocabulary import Fault, Result, Side, Stage

# What was amended after others' answers were seen is no agreement.
AS_SEALED: Final = 1
_RESULTS_BY_TEXT: Final = {str(result): result for result in Result}


class SharedAudit(NamedTuple):
    """A sealed audit of trees that others scored too, or may still score."""

    id: int
    draw_id: int
    auditor_id: int
    season: int
    sealed_at: datetime
    crew_pass_id: int
    is_walk: bool
    reference_id: int | None
    closed_at: datetime | None


class SealedAnswer(NamedTuple):
    """What one stage of one tree came to when its audit was sealed."""

    audit_id: int
    tree_id: int
    stage: Stage
    result: Result
    faults: tuple[Fault, ...]
    points: float | None
    measured_mm: list[float] | None


class ScoredTree(NamedTuple):
    """Where a tree stands, with the points that it got in one audit."""

    audit_id: int
    tree_id: int
    row_id: int
    position: int
    side: Side
    points: float | None


def shared_audits(connection: sa.Connection, farm_id: int) -> list[SharedAudit]:
    """Return the sealed audits of trees that several people scored, and of walks, in order."""
    by_several = (
        sa.select(audit.c.draw_id)
        .where(audit.c.farm_id == farm_id, audit.c.sealed_at.is_not(None))
        .group_by(audit.c.draw_id)
        .having(sa.func.count(audit.c.auditor_id.distinct()) > 1)
    )
    rows = connection.execute(
        sa.select(
            audit.c.id,
            audit.c.draw_id,
            audit.c.auditor_id,
            audit.c.season,
            audit.c.sealed_at,
            draw.c.crew_pass_id,
            calibration.c.id.is_not(None),
            calibration.c.reference_id,
            calibration.c.closed_at,
        )
        .join(draw, same_farm(draw, audit, id="draw_id"))
        .outerjoin(calibration, same_farm(calibration, draw, draw_id="id"))
        .where(
            audit.c.farm_id == farm_id,
            audit.c.sealed_at.is_not(None),
            sa.or_(calibration.c.id.is_not(None), audit.c.draw_id.in_(by_several)),
        )
        .order_by(audit.c.sealed_at, audit.c.id)
    ).all()
    return [SharedAudit(*row) for row in rows]


def answers_as_sealed(
    connection: sa.Connection, farm_id: int, audit_ids: Collection[int]
) -> list[SealedAnswer]:
    """Return what each stage of each tree of some audits came to, without later amendments."""
    rows = connection.execute(
        sa.select(
            tree_score.c.audit_id,
            tree_score.c.draw_tree_id,
            sa.type_coerce(stage_score.c.stage, sa.String),
            stage_score.c.result,
            stage_score.c.faults,
            stage_score.c.points,
            stage_score.c.measured_mm,
        )
        .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
        .where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id.in_(audit_ids),
            tree_score.c.version == AS_SEALED,
        )
        .order_by(tree_score.c.audit_id, tree_score.c.draw_tree_id, stage_score.c.id)
    ).all()
    return [
        SealedAnswer(audit_id, tree_id, STAGES_BY_TEXT[stage], *rest)
        for audit_id, tree_id, stage, *rest in rows
    ]


def results_as_sealed(
    connection: sa.Connection, farm_id: int, audit_ids: Collection[int]
) -> list[tuple[int, int, Stage, Result]]:
    """Return audit, tree, stage and result of the same answers, which takes a third of the time."""
    rows = connection.execute(
        sa.select(
            tree_score.c.audit_id,
            tree_score.c.draw_tree_id,
            sa.type_coerce(stage_score.c.stage, sa.String),
            sa.type_coerce(stage_score.c.result, sa.String),
        )
        .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
        .where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id.in_(audit_ids),
            tree_score.c.version == AS_SEALED,
        )
    ).all()
    return [
        (audit_id, tree_id, STAGES_BY_TEXT[stage], _RESULTS_BY_TEXT[result])
        for audit_id, tree_id, stage, result in rows
    ]


def scored_trees(
    connection: sa.Connection, farm_id: int, audit_ids: Collection[int]
) -> list[ScoredTree]:
    """Return the trees of some audits with their points, row by row, without amendments."""
    rows = connection.execute(
        sa.select(
            tree_score.c.audit_id,
            draw_tree.c.id,
            draw_tree.c.orchard_row_id,
            draw_tree.c.position,
            draw_tree.c.side,
            tree_score.c.points,
        )
        .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
        .where(
            tree_score.c.farm_id == farm_id,
            tree_score.c.audit_id.in_(audit_ids),
            tree_score.c.version == AS_SEALED,
        )
        .order_by(draw_tree.c.orchard_row_id, draw_tree.c.position, tree_score.c.audit_id)
    ).all()
    return [ScoredTree(*row) for row in rows]
