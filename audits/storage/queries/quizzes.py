"""Quizzes on a screen, and what was answered to each question."""

import sqlalchemy as sa

from audits.records import CrewPass, QuizAttempt, QuizResponse, QuizSitting
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import crew_pass, quiz_attempt, quiz_response, quiz_sitting


def sitting_by_uid(connection: sa.Connection, farm_id: int, uid: str) -> QuizSitting | None:
    """Return one quiz on a screen."""
    return fetch_one(
        connection,
        _sittings(farm_id).where(quiz_sitting.c.uid == uid),
        QuizSitting,
    )


def open_sittings_of(connection: sa.Connection, farm_id: int, worker_id: int) -> list[QuizSitting]:
    """Return the quizzes that a worker has not handed in, the latest first."""
    return fetch_all(
        connection,
        _open_sittings(farm_id).where(quiz_sitting.c.worker_id == worker_id),
        QuizSitting,
    )


def open_sittings_begun_by(
    connection: sa.Connection, farm_id: int, user_id: int
) -> list[QuizSitting]:
    """Return the quizzes that somebody began, for whomever, and nobody handed in."""
    return fetch_all(
        connection,
        _open_sittings(farm_id).where(quiz_sitting.c.begun_by == user_id),
        QuizSitting,
    )


def latest_attempts_of(
    connection: sa.Connection, farm_id: int, worker_id: int
) -> list[QuizAttempt]:
    """Return the quizzes that a worker took, the latest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(quiz_attempt, QuizAttempt))
        .where(quiz_attempt.c.farm_id == farm_id, quiz_attempt.c.worker_id == worker_id)
        .order_by(quiz_attempt.c.taken_on.desc(), quiz_attempt.c.id.desc()),
        QuizAttempt,
    )


def latest_attempt_with(connection: sa.Connection, farm_id: int, item: str) -> QuizAttempt | None:
    """Return the quiz that asked an item last."""
    return fetch_one(
        connection,
        sa.select(*columns_of(quiz_attempt, QuizAttempt))
        .where(
            quiz_attempt.c.farm_id == farm_id,
            sa.exists().where(
                quiz_response.c.farm_id == quiz_attempt.c.farm_id,
                quiz_response.c.quiz_attempt_id == quiz_attempt.c.id,
                quiz_response.c.item == item,
            ),
        )
        .order_by(quiz_attempt.c.taken_on.desc(), quiz_attempt.c.id.desc())
        .limit(1),
        QuizAttempt,
    )


def responses_of(
    connection: sa.Connection, farm_id: int, quiz_attempt_id: int
) -> list[QuizResponse]:
    """Return what was answered in one quiz, question by question."""
    return fetch_all(
        connection,
        sa.select(*columns_of(quiz_response, QuizResponse))
        .where(
            quiz_response.c.farm_id == farm_id,
            quiz_response.c.quiz_attempt_id == quiz_attempt_id,
        )
        .order_by(quiz_response.c.place),
        QuizResponse,
    )


def latest_pass_of_block(connection: sa.Connection, farm_id: int, block_id: int) -> CrewPass | None:
    """Return the pass of a block that began last."""
    return fetch_one(
        connection,
        sa.select(*columns_of(crew_pass, CrewPass))
        .where(crew_pass.c.farm_id == farm_id, crew_pass.c.block_id == block_id)
        .order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc())
        .limit(1),
        CrewPass,
    )


def _open_sittings(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return (
        _sittings(farm_id)
        .where(quiz_sitting.c.handed_in_at.is_(None))
        .order_by(quiz_sitting.c.id.desc())
    )


def _sittings(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return sa.select(*columns_of(quiz_sitting, QuizSitting)).where(
        quiz_sitting.c.farm_id == farm_id
    )
