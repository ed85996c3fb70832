"""
What the first audits of a season say of workers.

Only sealed first audits count, and of each draw only the audit that decided: a second audit of the
same trees is there to compare auditors. Results that are the crew's carry no worker and never
come up here under a name. Of amended answers the latest version counts.
"""

from collections.abc import Collection
from datetime import date
from typing import Any, Final, NamedTuple

import sqlalchemy as sa

from audits.records import StandardVersion
from audits.storage.letters import small_letters
from audits.storage.queries.fetch import columns_of, fetch_all
from audits.storage.tables import (
    audit,
    block,
    crew,
    crew_pass,
    draw,
    draw_tree,
    orchard_row,
    rollup,
    stage_score,
    standard_version,
    tree_score,
    worker,
)
from audits.vocabulary import Purpose, Result, Stage


class TrendLine(NamedTuple):
    """Sums of a worker, or of a crew's shared trees, for one stage of one audit."""

    worker_id: int | None
    stage: Stage
    audit_id: int
    due: int
    nonconforming: int
    scored_on: date
    auditor_id: int
    standard_version_id: int


class DueOutcome(NamedTuple):
    """
    What one stage of one tree came to, where something was due, as the database keeps it.

    There are thousands for a page, so named faults and measured lengths stay texts until somebody
    needs them: few trees carry any. Without a worker it is the crew's.
    """

    worker_id: int | None
    stage: Stage
    audit_id: int
    draw_tree_id: int
    orchard_row_id: int
    position: int
    side: str
    nonconforming: int
    faults: str
    measured_mm: str | None


class RowPlace(NamedTuple):
    """Where a row stands."""

    row_id: int
    number: int
    block_id: int
    block: str


class BlockSum(NamedTuple):
    """What everybody's trees of one block came to in one stage, as one auditor scored them."""

    block_id: int
    stage: Stage
    auditor_id: int
    due: int
    nonconforming: int
    people: int


def same_farm(table: sa.FromClause, other: sa.FromClause, **keys: str) -> sa.ColumnElement[bool]:
    """Return the join of a table to another one of the same farm, by pairs of column names."""
    return sa.and_(
        table.c.farm_id == other.c.farm_id,
        *(table.c[own] == other.c[theirs] for own, theirs in keys.items()),
    )


def is_latest() -> sa.ColumnElement[bool]:
    """Return the condition that a tree's answers have no later version."""
    later = tree_score.alias("later")
    return ~sa.exists().where(
        later.c.farm_id == tree_score.c.farm_id,
        later.c.audit_id == tree_score.c.audit_id,
        later.c.draw_tree_id == tree_score.c.draw_tree_id,
        later.c.version > tree_score.c.version,
    )


def decides_first() -> sa.ColumnElement[bool]:
    """Return the condition that an audit is a first one, sealed, and the one that decided."""
    earlier = audit.alias("earlier")
    sealed_before: Any = sa.or_(
        earlier.c.sealed_at < audit.c.sealed_at,
        sa.and_(earlier.c.sealed_at == audit.c.sealed_at, earlier.c.id < audit.c.id),
    )
    return sa.and_(
        draw.c.purpose == Purpose.FIRST,
        audit.c.sealed_at.is_not(None),
        ~sa.exists().where(
            earlier.c.farm_id == audit.c.farm_id,
            earlier.c.draw_id == audit.c.draw_id,
            sealed_before,
        ),
    )


# Statements are built once: building one takes longer than running it over a season's audits.
_FARM: Final = sa.bindparam("farm_id", type_=sa.Integer)
_SEASON: Final = sa.bindparam("season", type_=sa.Integer)
_WORKER: Final = sa.bindparam("worker_id", type_=sa.Integer)
_CREW: Final = sa.bindparam("crew_id", type_=sa.Integer)
# Thousands of rows carry a stage; looked up here, it costs a fraction of the column's own type.
STAGES_BY_TEXT: Final = {str(stage): stage for stage in Stage}

_LINES: Final = (
    sa.select(
        rollup.c.worker_id,
        sa.type_coerce(rollup.c.stage, sa.String),
        rollup.c.audit_id,
        rollup.c.due,
        rollup.c.nonconforming,
        rollup.c.scored_on,
        audit.c.auditor_id,
        crew_pass.c.standard_version_id,
    )
    .join(audit, same_farm(audit, rollup, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
    .where(rollup.c.farm_id == _FARM, rollup.c.season == _SEASON, rollup.c.due > 0, decides_first())
    .order_by(audit.c.started_at, audit.c.id, rollup.c.id)
)
_LINES_OF_ALL: Final = _LINES.where(rollup.c.worker_id.is_not(None))
_LINES_OF_ONE: Final = _LINES.where(rollup.c.worker_id == _WORKER)

_LINES_OF_CREW: Final = _LINES.where(rollup.c.worker_id.is_(None), rollup.c.crew_id == _CREW)

_DUE_OUTCOMES: Final = (
    sa.select(
        stage_score.c.worker_id,
        sa.type_coerce(stage_score.c.stage, sa.String),
        tree_score.c.audit_id,
        draw_tree.c.id,
        draw_tree.c.orchard_row_id,
        draw_tree.c.position,
        sa.type_coerce(draw_tree.c.side, sa.String),
        sa.case((stage_score.c.result == Result.NONCONFORMING, 1), else_=0),
        sa.type_coerce(stage_score.c.faults, sa.String),
        sa.cast(stage_score.c.measured_mm, sa.Text),
    )
    .join(tree_score, same_farm(tree_score, stage_score, id="tree_score_id"))
    .join(draw_tree, same_farm(draw_tree, tree_score, id="draw_tree_id"))
    .join(audit, same_farm(audit, tree_score, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        stage_score.c.farm_id == _FARM,
        stage_score.c.result.in_((Result.CONFORMING, Result.NONCONFORMING)),
        audit.c.season == _SEASON,
        is_latest(),
        decides_first(),
    )
    .order_by(audit.c.started_at, audit.c.id, tree_score.c.scoring_order, tree_score.c.id)
)
_DUE_OUTCOMES_OF_WORKERS: Final = _DUE_OUTCOMES.where(
    stage_score.c.worker_id.in_(sa.bindparam("worker_ids", expanding=True))
)
_DUE_OUTCOMES_OF_CREW: Final = _DUE_OUTCOMES.join(
    crew_pass, same_farm(crew_pass, draw, id="crew_pass_id")
).where(stage_score.c.worker_id.is_(None), crew_pass.c.crew_id == _CREW)

_ROW_PLACES: Final = (
    sa.select(orchard_row.c.id, orchard_row.c.number, block.c.id, block.c.name)
    .join(block, same_farm(block, orchard_row, id="block_id"))
    .where(
        orchard_row.c.farm_id == _FARM,
        orchard_row.c.id.in_(sa.bindparam("row_ids", expanding=True)),
    )
)

_BLOCK_SUMS: Final = (
    sa.select(
        rollup.c.block_id,
        sa.type_coerce(rollup.c.stage, sa.String),
        audit.c.auditor_id,
        sa.func.sum(rollup.c.due),
        sa.func.sum(rollup.c.nonconforming),
        sa.func.count(rollup.c.worker_id.distinct()),
    )
    .join(audit, same_farm(audit, rollup, id="audit_id"))
    .join(draw, same_farm(draw, audit, id="draw_id"))
    .where(
        rollup.c.farm_id == _FARM,
        rollup.c.season == _SEASON,
        rollup.c.due > 0,
        decides_first(),
    )
    .group_by(rollup.c.block_id, rollup.c.stage, audit.c.auditor_id)
)


def seasons_with_results(connection: sa.Connection, farm_id: int) -> list[int]:
    """Return the seasons that have any roll-up, the latest first."""
    return list(
        connection.scalars(
            sa.select(rollup.c.season)
            .where(rollup.c.farm_id == farm_id)
            .distinct()
            .order_by(rollup.c.season.desc())
        )
    )


def trend_lines(
    connection: sa.Connection, farm_id: int, season: int, worker_id: int | None = None
) -> list[TrendLine]:
    """Return the roll-up lines of every worker, or of one, in scoring order; shared ones apart."""
    statement = _LINES_OF_ALL if worker_id is None else _LINES_OF_ONE
    keys = {"farm_id": farm_id, "season": season, "worker_id": worker_id}
    return _trend_lines(connection, statement, keys)


def shared_lines(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int
) -> list[TrendLine]:
    """Return the roll-up lines of a crew's trees for which nobody answers alone."""
    keys = {"farm_id": farm_id, "season": season, "crew_id": crew_id}
    return _trend_lines(connection, _LINES_OF_CREW, keys)


def _trend_lines(
    connection: sa.Connection, statement: sa.Select[Any], keys: dict[str, Any]
) -> list[TrendLine]:
    return [
        TrendLine(worker, STAGES_BY_TEXT[stage], *rest)
        for worker, stage, *rest in connection.execute(statement, keys).all()
    ]


def due_outcomes(
    connection: sa.Connection, farm_id: int, season: int, worker_ids: Collection[int]
) -> list[DueOutcome]:
    """Return one entry for each due stage of each tree of some workers, in scoring order."""
    keys = {"farm_id": farm_id, "season": season, "worker_ids": list(worker_ids)}
    return _due_outcomes(connection, _DUE_OUTCOMES_OF_WORKERS, keys)


def shared_outcomes(
    connection: sa.Connection, farm_id: int, season: int, crew_id: int
) -> list[DueOutcome]:
    """Return the same of a crew's trees for which nobody answers alone."""
    keys = {"farm_id": farm_id, "season": season, "crew_id": crew_id}
    return _due_outcomes(connection, _DUE_OUTCOMES_OF_CREW, keys)


def _due_outcomes(
    connection: sa.Connection, statement: sa.Select[Any], keys: dict[str, Any]
) -> list[DueOutcome]:
    stages = STAGES_BY_TEXT
    return [
        DueOutcome(worker, stages[stage], *rest)
        for worker, stage, *rest in connection.execute(statement, keys).all()
    ]


def row_places(
    connection: sa.Connection, farm_id: int, row_ids: Collection[int]
) -> dict[int, RowPlace]:
    """Return where some rows stand, by their id."""
    keys = {"farm_id": farm_id, "row_ids": list(row_ids)}
    places = (RowPlace(*row) for row in connection.execute(_ROW_PLACES, keys).all())
    return {place.row_id: place for place in places}


def block_sums(connection: sa.Connection, farm_id: int, season: int) -> list[BlockSum]:
    """Return what everybody's trees of each block came to by auditor, those of crews as well."""
    keys = {"farm_id": farm_id, "season": season}
    return [
        BlockSum(block_id, STAGES_BY_TEXT[stage], auditor_id, int(due), int(nonconforming), people)
        for block_id, stage, auditor_id, due, nonconforming, people in connection.execute(
            _BLOCK_SUMS, keys
        ).all()
    ]


def crew_sizes(connection: sa.Connection, farm_id: int) -> dict[int, tuple[str, int]]:
    """Return each crew's name and the number of its people, by the crew's id."""
    rows = connection.execute(
        sa.select(crew.c.id, crew.c.name, sa.func.count(worker.c.id))
        .outerjoin(
            worker,
            sa.and_(
                worker.c.farm_id == crew.c.farm_id,
                worker.c.crew_id == crew.c.id,
                worker.c.retired.is_(False),
            ),
        )
        .where(crew.c.farm_id == farm_id)
        .group_by(crew.c.id, crew.c.name)
        .order_by(small_letters(crew.c.name))
    )
    return {crew_id: (name, people) for crew_id, name, people in rows}


def standard_versions(
    connection: sa.Connection, farm_id: int, version_ids: Collection[int]
) -> list[StandardVersion]:
    """Return some versions of standards."""
    return fetch_all(
        connection,
        sa.select(*columns_of(standard_version, StandardVersion)).where(
            standard_version.c.farm_id == farm_id, standard_version.c.id.in_(version_ids)
        ),
        StandardVersion,
    )
