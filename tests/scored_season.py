"""
Scored audits put into the database row by row, so that tests of trends choose every result.

The services that sample and score have tests of their own; here it matters what stands in the
tables afterwards, such as a worker's 29 due trees, which no draw would give on demand.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import NamedTuple
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.seasons import season_of
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import (
    audit,
    crew_pass,
    decision,
    draw,
    draw_tree,
    lot,
    lot_range,
    rework_item,
    rework_order,
    rollup,
    stage_score,
    tree_score,
)
from audits.vocabulary import (
    Fault,
    LotState,
    Method,
    Outcome,
    PassKind,
    Purpose,
    Result,
    Side,
    Stage,
)
from tests.orchard import Orchard

SEASON = 2025
SEASON_START_MONTH = 11
# That of the orchard in tests/orchard.py.
_ZONE = ZoneInfo("America/New_York")
_DUE = (Result.CONFORMING, Result.NONCONFORMING)
_unique = count(1)


class Scored(NamedTuple):
    """What one stage of one tree came to; without a worker it is the crew's."""

    worker_id: int | None
    result: Result = Result.CONFORMING
    faults: tuple[Fault, ...] = ()
    measured_mm: tuple[float, ...] = ()


Tree = Mapping[Stage, Scored]


class BlockIds(NamedTuple):
    """A block with its rows and its standard."""

    block_id: int
    row_ids: list[int]
    standard_id: int


class LotIds(NamedTuple):
    """A lot of one row, and where it belongs."""

    lot_id: int
    pass_id: int
    crew_id: int
    block_id: int
    row_id: int


@dataclass(frozen=True)
class AuditIds:
    """An audit with its lot, draw and trees."""

    audit_id: int
    lot: LotIds
    draw_id: int
    tree_ids: list[int]
    purpose: Purpose


def right(worker_id: int | None) -> Scored:
    return Scored(worker_id)


def wrong(worker_id: int | None, *faults: Fault) -> Scored:
    return Scored(worker_id, Result.NONCONFORMING, faults)


def trees(
    stage: Stage, worker_id: int | None, pattern: str, fault: Fault = Fault.HIGH
) -> list[Tree]:
    """Return one tree a letter: x nonconforming, o conforming, - nothing due."""
    results = {
        "x": wrong(worker_id, fault),
        "o": right(worker_id),
        "-": Scored(worker_id, Result.NOT_DUE),
    }
    return [{stage: results[letter]} for letter in pattern]


def add_lot(
    connection: sa.Connection,
    orchard: Orchard,
    *,
    finished_at: datetime,
    row: int = 0,
    crew_id: int | None = None,
    block: BlockIds | None = None,
    state: LotState = LotState.ACCEPTED,
    hours: float | None = None,
) -> LotIds:
    """Add a pass through one row, which is its lot."""
    farm = {"farm_id": orchard.farm_id}
    place = block or BlockIds(orchard.block_id, orchard.row_ids, orchard.standard_id)
    crew_id = crew_id or orchard.crew_id
    pass_id = add_pass(
        connection, orchard, place, crew_id=crew_id, ended_at=finished_at, hours=hours
    )
    lot_id = insert(
        connection,
        lot,
        farm | {"crew_pass_id": pass_id, "number": 1, "state": state, "finished_at": finished_at},
    )
    insert(
        connection,
        lot_range,
        farm
        | {
            "lot_id": lot_id,
            "orchard_row_id": place.row_ids[row],
            "first_position": 1,
            "last_position": 310,
        },
    )
    return LotIds(lot_id, pass_id, crew_id, place.block_id, place.row_ids[row])


def add_pass(
    connection: sa.Connection,
    orchard: Orchard,
    place: BlockIds,
    *,
    crew_id: int,
    ended_at: datetime,
    hours: float | None,
    kind: PassKind = PassKind.DORMANT,
) -> int:
    """Add a pass that took a working day."""
    return insert(
        connection,
        crew_pass,
        {
            "farm_id": orchard.farm_id,
            "block_id": place.block_id,
            "crew_id": crew_id,
            "standard_version_id": place.standard_id,
            "kind": kind,
            "method": Method.LADDER,
            "started_at": ended_at - timedelta(hours=7),
            "ended_at": ended_at,
            "hours": hours,
            "lot_by": "row",
        },
    )


def add_audit(
    connection: sa.Connection,
    orchard: Orchard,
    scored: Sequence[Tree],
    *,
    started_at: datetime,
    lot_ids: LotIds | None = None,
    row: int = 0,
    auditor_id: int | None = None,
    purpose: Purpose = Purpose.FIRST,
    sealed: bool = True,
    refused: Sequence[Stage] = (),
) -> AuditIds:
    """Draw some trees of a lot, by default one of its own, and score them in this order."""
    place = lot_ids or add_lot(
        connection, orchard, finished_at=started_at - timedelta(hours=1), row=row
    )
    draw_id = insert(
        connection,
        draw,
        {
            "farm_id": orchard.farm_id,
            "lot_id": None if purpose is Purpose.START_CHECK else place.lot_id,
            "crew_pass_id": place.pass_id,
            "purpose": purpose,
            "stages": tuple(stage for stage in Stage if any(stage in tree for tree in scored)),
            "seed": "20251101",
            "lot_size": 310,
            "created_at": started_at,
            "created_by": orchard.supervisor.user_id,
        },
    )
    tree_ids = _insert_all(
        connection,
        draw_tree,
        [
            {
                "farm_id": orchard.farm_id,
                "draw_id": draw_id,
                "orchard_row_id": place.row_id,
                "position": 7 * order,
                "side": Side.LEFT if order % 2 else Side.RIGHT,
                "wave": 1,
                "walk_order": order,
            }
            for order in range(1, len(scored) + 1)
        ],
    )
    drawn = AuditIds(0, place, draw_id, tree_ids, purpose)
    return score_draw(
        connection,
        orchard,
        drawn,
        scored,
        started_at=started_at,
        auditor_id=auditor_id,
        sealed=sealed,
        refused=refused,
    )


def score_draw(
    connection: sa.Connection,
    orchard: Orchard,
    drawn: AuditIds,
    scored: Sequence[Tree],
    *,
    started_at: datetime,
    auditor_id: int | None = None,
    sealed: bool = True,
    refused: Sequence[Stage] = (),
) -> AuditIds:
    """Add an audit of trees that are drawn already, such as a second auditor's."""
    season = season_of(started_at.date(), SEASON_START_MONTH)
    audit_id = insert(
        connection,
        audit,
        {
            "farm_id": orchard.farm_id,
            "draw_id": drawn.draw_id,
            "auditor_id": auditor_id or orchard.supervisor.user_id,
            "client_id": f"audit-{next(_unique)}",
            "device": "phone",
            "device_counter": 1,
            "season": season,
            "started_at": started_at,
            "sealed_at": started_at + timedelta(minutes=40) if sealed else None,
        },
    )
    pairs = list(zip(drawn.tree_ids, scored, strict=True))
    _add_scores(connection, orchard.farm_id, audit_id, list(enumerate(pairs, start=1)), version=1)
    ids = replace(drawn, audit_id=audit_id)
    if sealed and drawn.purpose is not Purpose.START_CHECK:
        common = {"season": season, "scored_on": started_at.astimezone(_ZONE).date()}
        _add_rollups(connection, orchard.farm_id, ids, scored, common)
        _add_decisions(connection, orchard.farm_id, audit_id, scored, refused, started_at)
    return ids


def amend_tree(
    connection: sa.Connection, orchard: Orchard, ids: AuditIds, order: int, tree: Tree
) -> None:
    """Add a further version of one tree's answers; the audit's roll-ups follow."""
    farm_id = orchard.farm_id
    tree_id = ids.tree_ids[order - 1]
    _add_scores(connection, farm_id, ids.audit_id, [(order, (tree_id, tree))], version=2)
    of_audit = rollup.c.audit_id == ids.audit_id
    common = (
        connection.execute(sa.select(rollup.c.season, rollup.c.scored_on).where(of_audit))
        .mappings()
        .first()
    )
    connection.execute(rollup.delete().where(of_audit))
    latest: dict[tuple[int, Stage], Scored] = {}
    for row in connection.execute(
        sa.select(tree_score.c.draw_tree_id, stage_score)
        .join(stage_score, stage_score.c.tree_score_id == tree_score.c.id)
        .where(tree_score.c.audit_id == ids.audit_id)
        .order_by(tree_score.c.version)
    ).mappings():
        key = (row["draw_tree_id"], row["stage"])
        latest[key] = Scored(row["worker_id"], row["result"], row["faults"])
    scored = [{stage: result} for (_, stage), result in latest.items()]
    _add_rollups(connection, farm_id, ids, scored, common)


def add_rework_order(
    connection: sa.Connection,
    orchard: Orchard,
    ids: AuditIds,
    stages: Mapping[Stage, Fault],
    *,
    created_at: datetime,
) -> None:
    """Send stages of a lot back."""
    farm = {"farm_id": orchard.farm_id}
    order_id = insert(
        connection,
        rework_order,
        farm | {"audit_id": ids.audit_id, "lot_id": ids.lot.lot_id, "created_at": created_at},
    )
    insert_many(
        connection,
        rework_item,
        [
            farm
            | {"rework_order_id": order_id, "stage": stage, "mendable": True, "faults": (fault,)}
            for stage, fault in stages.items()
        ],
    )


def day(number: int, hour: int = 15) -> datetime:
    """Return an hour on the n-th day of January 2026, in UTC."""
    return datetime(2026, 1, 1, hour, tzinfo=UTC) + timedelta(days=number - 1)


def _add_scores(
    connection: sa.Connection,
    farm_id: int,
    audit_id: int,
    numbered: Sequence[tuple[int, tuple[int, Tree]]],
    *,
    version: int,
) -> None:
    score_ids = _insert_all(
        connection,
        tree_score,
        [
            {
                "farm_id": farm_id,
                "audit_id": audit_id,
                "draw_tree_id": tree_id,
                "version": version,
                "client_id": f"score-{next(_unique)}",
                "device": "phone",
                "device_counter": order,
                "scoring_order": order,
                "recorded_at": datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=order),
                "answers": {},
                "reason": "Looked again." if version > 1 else None,
            }
            for order, (tree_id, _) in numbered
        ],
    )
    insert_many(
        connection,
        stage_score,
        [
            {
                "farm_id": farm_id,
                "tree_score_id": score_id,
                "stage": stage,
                "result": scored.result,
                "faults": scored.faults,
                "points": 100.0,
                "worker_id": scored.worker_id,
                "measured_mm": list(scored.measured_mm) or None,
            }
            for score_id, (_, (_, tree)) in zip(score_ids, numbered, strict=True)
            for stage, scored in tree.items()
        ],
    )


def _insert_all(
    connection: sa.Connection, table: sa.Table, rows: Sequence[Mapping[str, object]]
) -> list[int]:
    """Insert rows at once and return their ids in the same order: one by one takes far longer."""
    if not rows:
        return []
    statement = sa.insert(table).returning(table.c.id, sort_by_parameter_order=True)
    return list(connection.execute(statement, list(map(dict, rows))).scalars())


def _add_rollups(
    connection: sa.Connection,
    farm_id: int,
    ids: AuditIds,
    scored: Sequence[Tree],
    common: Mapping[str, object],
) -> None:
    lines: dict[tuple[Stage, int | None], list[Result]] = {}
    for tree in scored:
        for stage, (worker_id, result, *_) in tree.items():
            lines.setdefault((stage, worker_id), []).append(result)
    insert_many(
        connection,
        rollup,
        [
            {
                **common,
                "farm_id": farm_id,
                "audit_id": ids.audit_id,
                "stage": stage,
                "worker_id": worker_id,
                "purpose": ids.purpose,
                "crew_id": ids.lot.crew_id,
                "block_id": ids.lot.block_id,
                "trees": len(results),
                "due": sum(result in _DUE for result in results),
                "nonconforming": results.count(Result.NONCONFORMING),
                "points_sum": 100.0 * len(results),
            }
            for (stage, worker_id), results in lines.items()
        ],
    )


def _add_decisions(
    connection: sa.Connection,
    farm_id: int,
    audit_id: int,
    scored: Sequence[Tree],
    refused: Sequence[Stage],
    decided_at: datetime,
) -> None:
    common = {
        "farm_id": farm_id,
        "audit_id": audit_id,
        "version": 1,
        "scored": len(scored),
        "decided_at": decided_at,
    }
    stages = {stage for tree in scored for stage in tree}
    verdicts: list[dict[str, object]] = []
    for stage in stages:
        results = [tree[stage] for tree in scored if stage in tree]
        faults = [fault for result in results for fault in result.faults]
        verdicts.append(
            {
                **common,
                "stage": stage,
                "outcome": Outcome.NOT_ACCEPTED if stage in refused else Outcome.ACCEPTED,
                "due": sum(result.result in _DUE for result in results),
                "nonconforming": sum(result.result is Result.NONCONFORMING for result in results),
                "leading_fault": faults[0] if faults else None,
            }
        )
    whole = {
        **common,
        "stage": None,
        "outcome": Outcome.NOT_ACCEPTED if refused else Outcome.ACCEPTED,
        "due": len(scored),
        "nonconforming": 0,
        "leading_fault": None,
    }
    insert_many(connection, decision, [*verdicts, whole])
