"""Practice on phones: what was done arrives once, is scored here, and is never changed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

import sqlalchemy as sa

from audits.messages import Message, say
from audits.practice.cuts import PROBLEM_WORDS
from audits.practice.results import (
    PracticeItem,
    Scored,
    TreeItem,
    Unreadable,
    read_item,
    score_item,
)
from audits.records import Actor, ExerciseResult, PracticeResult
from audits.services.accounts import LANGUAGES
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import practice as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import exercise_result, practice_result, practice_stage
from audits.vocabulary import Role

_UNREADABLE: Final = say("What was sent cannot be read.")
_OTHER_BODY: Final = say(
    "Something else was sent before under the same name. What came first is kept."
)
_NO_WORKER: Final = say("There is no such worker on this farm.")
_NO_STANDARD: Final = say("There is no such standard on this farm.")
_OTHER_WORKER: Final = say("You can practise for yourself only.")


class Taken(StrEnum):
    """What became of a result that a phone sent."""

    STORED = "stored"
    KNOWN = "known"
    REFUSED = "refused"


@dataclass(frozen=True)
class PracticeReceipt:
    """
    What the office says of one result.

    Parameters
    ----------
    uid : str
        The result's name, as sent; empty where it had none.
    outcome : Taken
        What became of it.
    words : Message or None
        Why it was refused, or why it is kept without a score.
    """

    uid: str
    outcome: Taken
    words: Message | None = None


def record_results(
    database: Database, actor: Actor, items: Sequence[object], now: datetime
) -> list[PracticeReceipt]:
    """
    Keep results of practice, each once however often it is sent.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who sends them: a worker, for themselves only, or somebody who leads crews.
    items : sequence of object
        Parsed JSON values; nothing of them is trusted.
    now : datetime
        The present.

    Returns
    -------
    list of PracticeReceipt
        One for each, in order. A tree whose cuts cannot have been made is kept as well, without a
        score, and the receipt says so.
    """
    read = [_read(value) for value in items]
    with database.read() as connection:
        # Grown and scored ahead, since it takes its time, and nobody else writes meanwhile.
        prepared = [
            one if isinstance(one, PracticeReceipt) else _prepared(connection, actor, one)
            for one in read
        ]
    with database.write() as connection:
        return [
            one if isinstance(one, PracticeReceipt) else _kept(connection, actor, one, now)
            for one in prepared
        ]


@dataclass(frozen=True)
class _Prepared:
    """A result that may be kept, and what the engine made of it."""

    item: PracticeItem
    scored: Scored | None


def _read(value: object) -> PracticeItem | PracticeReceipt:
    try:
        item = read_item(value)
    except Unreadable:
        uid = value.get("uid") if isinstance(value, dict) else None
        return _refused(uid if isinstance(uid, str) else "", _UNREADABLE)
    return item if item.language in LANGUAGES else _refused(item.uid, _UNREADABLE)


def _prepared(
    connection: sa.Connection, actor: Actor, item: PracticeItem
) -> _Prepared | PracticeReceipt:
    if actor.role is Role.WORKER and item.worker_id != actor.worker_id:
        return _refused(item.uid, _OTHER_WORKER)
    if farm_queries.worker_by_id(connection, actor.farm_id, item.worker_id) is None:
        return _refused(item.uid, _NO_WORKER)
    version = standard_queries.standard_by_id(connection, actor.farm_id, item.standard_version_id)
    if version is None:
        return _refused(item.uid, _NO_STANDARD)
    scored = score_item(standard_of(version), item) if isinstance(item, TreeItem) else None
    return _Prepared(item, scored)


def _kept(
    connection: sa.Connection, actor: Actor, prepared: _Prepared, now: datetime
) -> PracticeReceipt:
    item, scored = prepared.item, prepared.scored
    words = PROBLEM_WORDS[scored.problem] if scored and scored.problem else None
    values = _columns(item)
    before = _known(connection, actor.farm_id, item.uid)
    if before is not None:
        is_same = all(getattr(before, name, None) == value for name, value in values.items())
        if not is_same:
            return _refused(item.uid, _OTHER_BODY)
        return PracticeReceipt(item.uid, Taken.KNOWN, words)
    values |= {
        "farm_id": actor.farm_id,
        "done_at": item.claimed_at or now,
        "recorded_at": now,
        "recorded_by": actor.user_id,
    }
    if scored is None:
        insert(connection, exercise_result, values)
        return PracticeReceipt(item.uid, Taken.STORED)
    result_id = insert(
        connection,
        practice_result,
        values | {"problem": str(scored.problem) if scored.problem else None},
    )
    insert_many(
        connection,
        practice_stage,
        [
            {
                "farm_id": actor.farm_id,
                "practice_result_id": result_id,
                "stage": stage,
                "result": score.result,
                "faults": score.faults,
                "points": score.points,
            }
            for stage, score in scored.stages.items()
        ],
    )
    return PracticeReceipt(item.uid, Taken.STORED, words)


def _known(
    connection: sa.Connection, farm_id: int, uid: str
) -> PracticeResult | ExerciseResult | None:
    """Find what was kept under a name, of either kind."""
    return queries.practice_result_by_uid(
        connection, farm_id, uid
    ) or queries.exercise_result_by_uid(connection, farm_id, uid)


def _columns(item: PracticeItem) -> dict[str, Any]:
    """Return what was sent, as it is kept and told from anything else of the same name."""
    shared: dict[str, Any] = {
        "uid": item.uid,
        "worker_id": item.worker_id,
        "standard_version_id": item.standard_version_id,
        "language": item.language,
    }
    if item.claimed_at is not None:
        shared["done_at"] = item.claimed_at
    if isinstance(item, TreeItem):
        return shared | {
            "method": item.method,
            "edition": item.edition,
            "tree_seed": item.tree_seed,
            "tree_kind": item.tree_kind,
            "level": item.level,
            "stages": item.stages,
            "cuts": item.cuts,
        }
    return shared | {
        "item": item.item,
        "stage": item.stage,
        "choice": item.choice,
        "is_right": item.right,
    }


def _refused(uid: str, words: Message) -> PracticeReceipt:
    return PracticeReceipt(uid, Taken.REFUSED, words)
