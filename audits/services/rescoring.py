"""Proof that every stored result equals its recomputation from the stored answers."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from audits.scoring import read_answers, score_tree
from audits.services.scorebook import Scorebook, open_scorebook, rollup_rows, trees_by_id
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.vocabulary import Purpose, Stage

_SUMS: Final = ("trees", "due", "nonconforming", "points_sum")


@dataclass(frozen=True)
class Difference:
    """
    A stored value that its recomputation does not give.

    Parameters
    ----------
    audit_id : int
        The audit.
    where : str
        The tree and stage, or the roll-up's stage and worker.
    stored, recomputed : str
        Both values.
    """

    audit_id: int
    where: str
    stored: str
    recomputed: str


@dataclass(frozen=True)
class RescoreReport:
    """
    What a check found.

    Parameters
    ----------
    audits, trees : int
        How many were recomputed.
    differences : list of Difference
        Every stored value that differs; empty when stored equals recomputed.
    """

    audits: int
    trees: int
    differences: list[Difference]


def check_scores(
    database: Database, farm_id: int, progress: Callable[[int, int], None] = lambda _a, _b: None
) -> RescoreReport:
    """
    Recompute every score and roll-up and compare it with what is stored.

    Parameters
    ----------
    database : Database
        The farm's database; nothing is written.
    farm_id : int
        The farm.
    progress : callable, optional
        Called with the audits done and the audits in all.

    Returns
    -------
    RescoreReport
        Counts and differences.
    """
    differences: list[Difference] = []
    trees = 0
    with database.read() as connection:
        audit_ids = queries.every_audit_id(connection, farm_id)
        for done, audit_id in enumerate(audit_ids, start=1):
            book = open_scorebook(connection, farm_id, audit_id)
            trees += _check_trees(connection, book, differences)
            _check_rollups(connection, book, differences)
            progress(done, len(audit_ids))
    return RescoreReport(len(audit_ids), trees, differences)


def _check_trees(connection: sa.Connection, book: Scorebook, differences: list[Difference]) -> int:
    drawn = trees_by_id(connection, book)
    stored: dict[tuple[int, Stage], str] = {}
    for part in queries.current_stage_scores(connection, book.farm.id, book.audit.id):
        stored[part.tree_score_id, part.stage] = _fingerprint(
            part.result, part.faults, part.points, part.worker_id
        )
    rows = queries.current_scores(connection, book.farm.id, book.audit.id)
    for row in rows:
        tree = drawn[row.draw_tree_id]
        score = score_tree(
            book.standard,
            read_answers(row.answers),
            method=book.crew_pass.method,
            stages=book.draw.stages,
        )
        pairs = [("points", repr(row.points), repr(score.points))]
        pairs += [
            (
                stage.value,
                stored.get((row.id, stage), "nothing"),
                _fingerprint(part.result, part.faults, part.points, book.worker_of(stage, tree)),
            )
            for stage, part in score.stages.items()
        ]
        differences += [
            Difference(book.audit.id, f"tree {tree.position} {name}", before, after)
            for name, before, after in pairs
            if before != after
        ]
    return len(rows)


def _check_rollups(
    connection: sa.Connection, book: Scorebook, differences: list[Difference]
) -> None:
    if book.audit.sealed_at is None or book.draw.purpose is Purpose.START_CHECK:
        return
    scores = queries.current_stage_scores(connection, book.farm.id, book.audit.id)
    recomputed: dict[tuple[object, object], tuple[object, ...]] = {
        (row["stage"], row["worker_id"]): tuple(row[name] for name in _SUMS)
        for row in rollup_rows(book, scores)
    }
    stored: dict[tuple[object, object], tuple[object, ...]] = {
        (row.stage, row.worker_id): (row.trees, row.due, row.nonconforming, row.points_sum)
        for row in queries.rollups(connection, book.farm.id, book.audit.id)
    }
    differences += [
        Difference(
            book.audit.id, f"roll-up {key}", repr(stored.get(key)), repr(recomputed.get(key))
        )
        for key in sorted(stored.keys() | recomputed.keys(), key=repr)
        if stored.get(key) != recomputed.get(key)
    ]


def _fingerprint(result: object, faults: object, points: object, worker_id: object) -> str:
    return f"{result} {' '.join(map(str, faults or ()))} {points!r} {worker_id}"  # type: ignore[call-overload]
