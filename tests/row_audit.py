"""The steps of an audit for tests: a row pruned, its trees answered, a verdict given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

from audits.records import Actor
from audits.services import auditing, passes, reworking, sealing
from audits.services.ahead import draw_row_ahead
from audits.services.auditing import AuditView, Device, TreeEntry
from audits.storage.database import Database
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import Fault, Method, PassKind, Stage
from tests.orchard import Orchard

# The farm's day: pruned from 8 to 10 in New York, audited from 11.
PRUNED_FROM = datetime(2026, 1, 20, 13, 0, tzinfo=UTC)
PRUNED_TO = datetime(2026, 1, 20, 15, 0, tzinfo=UTC)
AUDITED = datetime(2026, 1, 20, 16, 0, tzinfo=UTC)

PHONE = Device("phone-1")

Answers = dict[str, Any]

_RIGHT: Answers = {
    "top": {"kind": "class", "tap": "right"},
    "limbs": {"kind": "class", "tap": "right", "removed": 2},
    "columns": {"kind": "class", "tap": "right"},
    "heading": {"kind": "class", "tap": "right"},
}


@dataclass(frozen=True)
class Pruned:
    """A pass that has gone through some rows, and the lots that came of it."""

    pass_id: int
    lot_ids: list[int]


def right(*stages: Stage, **others: Answers) -> Answers:
    """Answer every stage, or those named, with right; `others` replaces some by stage."""
    return {"stages": {stage: _RIGHT[stage] for stage in stages or Stage} | others}


def fault(*faults: Fault) -> Answers:
    """Answer one stage with faults."""
    return {"kind": "class", "tap": "fault", "faults": list(faults)}


def begin_rows(
    database: Database,
    orchard: Orchard,
    rows: int,
    *,
    method: Method = Method.LADDER,
    lot_by: str | None = None,
) -> int:
    """Let the crew begin on the first rows; return the pass."""
    return passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=method,
        row_ids=orchard.row_ids[:rows],
        started_at=PRUNED_FROM,
        lot_by=lot_by,
    )


def draw_ahead(database: Database, orchard: Orchard, pass_id: int, *, seed: int = 7) -> int:
    """Draw the trees of the first row while it is still being pruned; return the draw."""
    with database.write() as connection:
        found = pass_queries.crew_pass_by_id(connection, orchard.farm_id, pass_id)
        part = pass_queries.pass_row_of(connection, orchard.farm_id, pass_id, orchard.row_ids[0])
        return draw_row_ahead(
            connection, orchard.supervisor, found, part, seed=seed, now=PRUNED_FROM
        )


def prune(
    database: Database,
    orchard: Orchard,
    *,
    rows: int = 1,
    method: Method = Method.LADDER,
    lot_by: str | None = None,
) -> Pruned:
    """Let the crew go through the first rows, each finished."""
    row_ids = orchard.row_ids[:rows]
    pass_id = begin_rows(database, orchard, rows, method=method, lot_by=lot_by)
    lots = [
        passes.finish_row(database, orchard.supervisor, pass_id, row_id, PRUNED_TO)
        for row_id in row_ids
    ]
    return Pruned(pass_id, list(dict.fromkeys(lots)))


def begin(
    database: Database,
    orchard: Orchard,
    lot_id: int,
    *,
    actor: Actor | None = None,
    device: Device = PHONE,
    client_id: str | None = None,
    seed: int = 1,
    now: datetime = AUDITED,
) -> int:
    """Begin an audit of a lot."""
    return auditing.begin_audit(
        database,
        actor or orchard.supervisor,
        lot_id,
        seed=seed,
        client_id=client_id or str(uuid4()),
        device=device,
        now=now,
    )


def enter(
    database: Database,
    orchard: Orchard,
    audit_id: int,
    tree_id: int,
    answers: Answers,
    *,
    client_id: str | None = None,
    device: Device = PHONE,
) -> AuditView:
    """Enter one tree."""
    entry = TreeEntry(tree_id, client_id or str(uuid4()), answers, device)
    return auditing.record_trees(database, orchard.supervisor, audit_id, [entry], AUDITED)


def walk(
    database: Database,
    orchard: Orchard,
    audit_id: int,
    answers_of: Callable[[int], Answers] = lambda _number: right(),
    *,
    most: int = 1_000,
) -> AuditView:
    """Answer tree after tree, the first being number 1, until nothing is left to score."""
    view = auditing.view_audit(database, orchard.supervisor, audit_id)
    for number in range(1, most + 1):
        if view.next_tree is None:
            break
        view = enter(database, orchard, audit_id, view.next_tree.id, answers_of(number))
    return view


def fill(
    database: Database,
    orchard: Orchard,
    audit_id: int,
    answers_of: Callable[[int], Answers] = lambda _number: right(),
) -> AuditView:
    """Answer every tree of the walk in one go, also those that are no longer needed."""
    walk_now = auditing.view_audit(database, orchard.supervisor, audit_id).walk
    entries = [
        TreeEntry(tree.id, str(uuid4()), answers_of(number), PHONE)
        for number, tree in enumerate(walk_now, start=1)
    ]
    return auditing.record_trees(database, orchard.supervisor, audit_id, entries, AUDITED)


def first_trees(number: int, **stages: Answers) -> Callable[[int], Answers]:
    """Answer the first trees with these stages instead of right, the others with right."""
    return lambda tree: right(**stages) if tree <= number else right()


def seal(database: Database, orchard: Orchard, audit_id: int) -> AuditView:
    """Give the verdict."""
    return sealing.seal_audit(database, orchard.supervisor, audit_id, AUDITED)


def audited(
    database: Database,
    orchard: Orchard,
    lot_id: int,
    answers_of: Callable[[int], Answers] = lambda _number: right(),
) -> int:
    """Begin, fill and seal an audit."""
    audit_id = begin(database, orchard, lot_id)
    fill(database, orchard, audit_id, answers_of)
    seal(database, orchard, audit_id)
    return audit_id


def mend(database: Database, orchard: Orchard, order_id: int) -> int:
    """Record that a rework order was carried out."""
    return reworking.record_rework(
        database,
        orchard.supervisor,
        order_id,
        crew_id=orchard.crew_id,
        method=Method.GROUND,
        started_at=AUDITED + timedelta(hours=1),
        ended_at=AUDITED + timedelta(hours=2),
        hours=4.0,
    )


def assign_halves(
    database: Database, orchard: Orchard, pruned: Pruned, stages: Sequence[Stage] = tuple(Stage)
) -> tuple[int, int]:
    """Name one worker for the first half of row 1 and another for the second."""
    first, second = orchard.worker_ids[:2]
    for worker_id, start, end in ((first, 1, 155), (second, 156, 310)):
        passes.assign(
            database,
            orchard.supervisor,
            pruned.pass_id,
            worker_id=worker_id,
            row_id=orchard.row_ids[0],
            stages=stages,
            first_position=start,
            last_position=end,
        )
    return first, second
