"""
What comparing people, blocks and auditors fairly rests on, and the fits of mixed models.

As for trends, only first audits that decided count, and of amended answers the latest version.
Lines without a worker are the crew's: they tell how a season went and compare nobody.
"""

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.records import MixedFit
from audits.storage.columns import UtcDateTime
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by_id
from audits.storage.queries.trends import (
    STAGES_BY_TEXT,
    decides_first,
    is_latest,
    same_farm,
)
from audits.storage.tables import (
    audit,
    block,
    crew_pass,
    draw,
    draw_tree,
    mixed_fit,
    rollup,
    stage_score,
    tree_score,
)
from audits.vocabulary import FitKind, FitState, Result, Stage


class ComparedLine(NamedTuple):
    """One worker's sums for one stage of one audit; the crew's where there is no worker."""

    worker_id: int | None
    crew_id: int
    block_id: int
    auditor_id: int
    audit_id: int
    due: int
    nonconforming: int
    scored_on: date
    standard_version_id: int


class MeasuredTree(NamedTuple):
    """The height of one tree that one person topped."""

    worker_id: int
    block_id: int
    auditor_id: int
    audit_id: int
    orchard_row_id: int
    scored_at: datetime
    standard_version_id: int
    measured_mm: list[float]


_FARM: Final = sa.bindparam("farm_id", type_=sa.Integer)
_SEASON: Final = sa.bindparam("season", type_=sa.Integer)
_STAGE: Final = sa.bindparam("stage", type_=rollup.c.stage.type)

_LINES: Final = (
    sa.select(
        rollup.c.worker_id,
        rollup.c.crew_id,
        rollup.c.block_id,
        audit.c.auditor_id,
        rollup.c.audit_id,
        rollup.c.due,
        rollup.c.nonconforming,
        rollup.c.scored_on,
        crew_pass.c.standard_version_id,
    )
    .join(audit, same_farm(audit, rollup, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(
        rollup.c.farm_id == _FARM,
        rollup.c.season == _SEASON,
        rollup.c.stage == _STAGE,
        rollup.c.due > 0,
        decides_first(),
    )
    .order_by(audit.c.started_at, audit.c.id, rollup.c.id)
)

_STAGES: Final = (
    sa.select(sa.type_coerce(rollup.c.stage, sa.String))
    .where(rollup.c.farm_id == _FARM, rollup.c.season == _SEASON, rollup.c.due > 0)
    .distinct()
)

# Every tree of a worker stands in a row; only those who may be compared at all are asked for.
_ROWS: Final = (
    sa.select(stage_score.c.worker_id, audit.c.auditor_id, draw_tree.c.orchard_row_id)
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        stage_score.c.farm_id == _FARM,
        stage_score.c.stage == _STAGE,
        stage_score.c.worker_id.in_(sa.bindparam("worker_ids", expanding=True)),
        stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
        audit.c.season == _SEASON,
        is_latest(),
        decides_first(),
    )
    .distinct()
)

_MEASURED: Final = (
    sa.select(
        stage_score.c.worker_id,
        crew_pass.c.block_id,
        audit.c.auditor_id,
        audit.c.id,
        draw_tree.c.orchard_row_id,
        audit.c.started_at,
        crew_pass.c.standard_version_id,
        stage_score.c.measured_mm,
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(
        stage_score.c.farm_id == _FARM,
        stage_score.c.stage == _STAGE,
        stage_score.c.worker_id.is_not(None),
        stage_score.c.measured_mm.is_not(None),
        stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
        audit.c.season == _SEASON,
        is_latest(),
        decides_first(),
    )
    .order_by(audit.c.started_at, audit.c.id, tree_score.c.scoring_order)
)

_SEALED_SINCE: Final = (
    sa.select(sa.func.count(rollup.c.audit_id.distinct()))
    .join(audit, same_farm(audit, rollup, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        rollup.c.farm_id == _FARM,
        rollup.c.season == _SEASON,
        rollup.c.stage == _STAGE,
        rollup.c.worker_id.is_not(None),
        rollup.c.due > 0,
        audit.c.sealed_at > sa.bindparam("since", type_=UtcDateTime),
        decides_first(),
    )
)


def stages_with_results(connection: sa.Connection, farm_id: int, season: int) -> list[Stage]:
    """Return the stages in which a season has due trees, from the top of the tree down."""
    keys = {"farm_id": farm_id, "season": season}
    found = {STAGES_BY_TEXT[text] for text in connection.scalars(_STAGES, keys)}
    return [stage for stage in Stage if stage in found]


def compared_lines(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage
) -> list[ComparedLine]:
    """Return the roll-up lines of a stage, people's and crews', in scoring order."""
    keys = {"farm_id": farm_id, "season": season, "stage": stage}
    return [ComparedLine(*row) for row in connection.execute(_LINES, keys)]


def rows_of_workers(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, worker_ids: Collection[int]
) -> list[tuple[int, int, int]]:
    """Return worker, auditor and row wherever some workers' due trees stand."""
    keys = {
        "farm_id": farm_id,
        "season": season,
        "stage": stage,
        "worker_ids": list(worker_ids),
    }
    return [tuple(row) for row in connection.execute(_ROWS, keys)] if worker_ids else []


def measured_trees(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage
) -> list[MeasuredTree]:
    """Return the measured lengths of one stage, tree by tree, in scoring order."""
    keys = {"farm_id": farm_id, "season": season, "stage": stage}
    return [MeasuredTree(*row) for row in connection.execute(_MEASURED, keys)]


def audits_sealed_since(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, since: datetime
) -> int:
    """Return how many audits that count for people were sealed after a moment."""
    keys = {"farm_id": farm_id, "season": season, "stage": stage, "since": since}
    return connection.scalar(_SEALED_SINCE, keys) or 0


def block_names(connection: sa.Connection, farm_id: int) -> dict[int, str]:
    """Return the names of all blocks, retired ones too."""
    rows = connection.execute(sa.select(block.c.id, block.c.name).where(block.c.farm_id == farm_id))
    return {block_id: name for block_id, name in rows}  # noqa: C416 - rows are no pairs to mypy


def fit_by_id(connection: sa.Connection, farm_id: int, fit_id: int) -> MixedFit | None:
    """Return a fit, or None."""
    return fetch_by_id(connection, mixed_fit, MixedFit, farm_id, fit_id)


def fits_of_stage(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, kind: FitKind
) -> list[MixedFit]:
    """Return the fits asked for a stage of a season, the latest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(mixed_fit, MixedFit))
        .where(
            mixed_fit.c.farm_id == farm_id,
            mixed_fit.c.season == season,
            mixed_fit.c.stage == stage,
            mixed_fit.c.kind == kind,
        )
        .order_by(mixed_fit.c.id.desc()),
        MixedFit,
    )


def change_fit(
    connection: sa.Connection,
    fit: MixedFit,
    farm_id: int,
    values: Mapping[str, object],
    *,
    only_in: FitState,
) -> bool:
    """Change a fit that still stands where its reader saw it; tell whether it did."""
    changed = connection.execute(
        mixed_fit.update()
        .where(
            mixed_fit.c.farm_id == farm_id,
            mixed_fit.c.id == fit.id,
            mixed_fit.c.state == only_in,
        )
        .values(**values)
    )
    return changed.rowcount == 1
