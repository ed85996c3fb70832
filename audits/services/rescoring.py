"""Proof that every stored result equals its recomputation from the stored answers."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from audits.records import StageScoreRow
from audits.scoring import StageScore, read_answers, score_tree
from audits.services.scorebook import (
    Scorebook,
    measured_values,
    open_scorebook,
    rollup_rows,
    stage_standings,
)
from audits.services.walking import trees_by_id
from audits.storage.database import Database
from audits.storage.queries import audits as queries

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
    Recompute every score, roll-up and verdict and compare it with what is stored.

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
            scores = queries.current_stage_scores(connection, farm_id, audit_id)
            _check_rollups(connection, book, scores, differences)
            _check_verdicts(connection, book, scores, differences)
            progress(done, len(audit_ids))
    return RescoreReport(len(audit_ids), trees, differences)


def _check_trees(connection: sa.Connection, book: Scorebook, differences: list[Difference]) -> int:
    """Compare every version of every tree's scores, those amended since too."""
    drawn = trees_by_id(connection, book)
    parts = {
        (part.tree_score_id, part.stage): part
        for part in queries.every_stage_score(connection, book.farm.id, book.audit.id)
    }
    rows = queries.every_score(connection, book.farm.id, book.audit.id)
    current = {row.draw_tree_id: row.id for row in rows}
    for row in rows:
        tree = drawn[row.draw_tree_id]
        score = score_tree(
            book.standard,
            read_answers(row.answers),
            method=book.crew_pass.method,
            stages=book.draw.stages,
        )
        pairs = [("points", repr(row.points), repr(score.points))]
        for stage, part in score.stages.items():
            stored = parts.get((row.id, stage))
            pairs.append((stage.value, _stored(stored), _fingerprint(part)))
            # Names put on or taken off a pass reach the current version only.
            if stored is not None and row.id == current[tree.id]:
                worker_id = book.worker_of(stage, tree)
                pairs.append((f"{stage.value} worker", str(stored.worker_id), str(worker_id)))
        differences += [
            Difference(
                book.audit.id,
                f"tree {tree.position} version {row.version} {name}",
                before,
                after,
            )
            for name, before, after in pairs
            if before != after
        ]
    return len(current)


def _check_rollups(
    connection: sa.Connection,
    book: Scorebook,
    scores: Sequence[StageScoreRow],
    differences: list[Difference],
) -> None:
    if book.audit.sealed_at is None or not book.decides:
        return
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


def _check_verdicts(
    connection: sa.Connection,
    book: Scorebook,
    scores: Sequence[StageScoreRow],
    differences: list[Difference],
) -> None:
    """Compare the latest verdicts, as issued or as amended."""
    known = queries.decisions(connection, book.farm.id, book.audit.id)
    if not known:
        return
    latest = max(verdict.version for verdict in known)
    stored = {
        str(verdict.stage): (
            f"{verdict.outcome} {verdict.scored} {verdict.due} {verdict.nonconforming} "
            f"{verdict.leading_fault}"
        )
        for verdict in known
        if verdict.version == latest and verdict.stage is not None
    }
    answered = queries.current_scores(connection, book.farm.id, book.audit.id)
    for standing in stage_standings(book, scores, measured_values(book, answered)):
        recomputed = (
            f"{standing.outcome} {standing.tally.scored} {standing.due} "
            f"{standing.tally.nonconforming} {standing.leading_fault}"
        )
        before = stored.get(str(standing.stage), "nothing")
        if before != recomputed:
            differences.append(
                Difference(book.audit.id, f"verdict {standing.stage}", before, recomputed)
            )


def _stored(part: StageScoreRow | None) -> str:
    return "nothing" if part is None else _fingerprint(part)


def _fingerprint(part: StageScore | StageScoreRow) -> str:
    return f"{part.result} {' '.join(part.faults)} {part.points!r}"
