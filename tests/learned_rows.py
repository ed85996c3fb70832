"""Practice, exercises and quizzes put into the database row by row, so that tests choose each."""

from datetime import UTC, datetime

from audits.practice.model import TreeKind
from audits.storage.queries.fetch import insert
from audits.storage.tables import (
    exercise_result,
    practice_result,
    practice_stage,
    quiz_attempt,
    quiz_response,
)
from audits.vocabulary import Method, PracticeLevel, Stage

NOW = datetime(2026, 1, 20, 17, tzinfo=UTC)


def add_practice(connection, orchard, worker_id, results, stage=Stage.TOP, at=NOW):
    for number, result in enumerate(results):
        practice_id = insert(
            connection,
            practice_result,
            {
                "farm_id": orchard.farm_id,
                "uid": f"{worker_id}-{stage}-{at:%Y%m%d}-{number}",
                "worker_id": worker_id,
                "standard_version_id": orchard.standard_id,
                "method": Method.LADDER,
                "edition": 1,
                "tree_seed": number,
                "tree_kind": TreeKind.USUAL,
                "level": PracticeLevel.ONE,
                "stages": (stage,),
                "cuts": {},
                "language": "es",
                "done_at": at,
                "recorded_at": at,
                "recorded_by": orchard.supervisor.user_id,
            },
        )
        insert(
            connection,
            practice_stage,
            {
                "farm_id": orchard.farm_id,
                "practice_result_id": practice_id,
                "stage": stage,
                "result": result,
                "faults": (),
            },
        )


def add_quiz(connection, orchard, worker_id, rights, stage=Stage.TOP):
    attempt_id = insert(
        connection,
        quiz_attempt,
        {
            "farm_id": orchard.farm_id,
            "worker_id": worker_id,
            "standard_version_id": orchard.standard_id,
            "seed": 1,
            "variant": "A",
            "method": Method.LADDER,
            "language": "es",
            "answers": [],
            "questions": len(rights),
            "correct": sum(rights),
            "taken_on": NOW.date(),
            "recorded_at": NOW,
            "recorded_by": orchard.supervisor.user_id,
        },
    )
    for place, right in enumerate(rights, 1):
        insert(
            connection,
            quiz_response,
            {
                "farm_id": orchard.farm_id,
                "quiz_attempt_id": attempt_id,
                "place": place,
                "item": f"item {place}",
                "stage": stage,
                "choices": 3,
                "choice": "any",
                "is_right": bool(right),
            },
        )


def add_exercise(connection, orchard, worker_id, *, is_right):
    insert(
        connection,
        exercise_result,
        {
            "farm_id": orchard.farm_id,
            "uid": f"exercise {worker_id} {is_right}",
            "worker_id": worker_id,
            "standard_version_id": orchard.standard_id,
            "item": "top at the mark",
            "stage": Stage.TOP,
            "choice": "any",
            "is_right": is_right,
            "language": "es",
            "done_at": NOW,
            "recorded_at": NOW,
            "recorded_by": orchard.supervisor.user_id,
        },
    )
