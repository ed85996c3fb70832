"""Photos of paper sheets, and quizzes that were taken."""

from collections.abc import Collection

import sqlalchemy as sa

from audits.records import QuizAttempt, SheetPhoto
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by, fetch_by_id, fetch_one
from audits.storage.tables import quiz_attempt, quiz_sitting, sheet_photo


def sheet_photo_by_id(connection: sa.Connection, farm_id: int, photo_id: int) -> SheetPhoto | None:
    """Return a photo of a sheet, without its content."""
    return fetch_by_id(connection, sheet_photo, SheetPhoto, farm_id, photo_id)


def sheet_photo_by_hash(
    connection: sa.Connection, farm_id: int, content_hash: str
) -> SheetPhoto | None:
    """Return the photo with this content."""
    return fetch_one(
        connection,
        sa.select(*columns_of(sheet_photo, SheetPhoto)).where(
            sheet_photo.c.farm_id == farm_id, sheet_photo.c.content_hash == content_hash
        ),
        SheetPhoto,
    )


def sheet_photos_of_audit(
    connection: sa.Connection, farm_id: int, audit_id: int
) -> list[SheetPhoto]:
    """Return the photos of an audit's tally sheet in the order in which they came."""
    return fetch_by(connection, sheet_photo, SheetPhoto, farm_id, audit_id=audit_id)


def unsettled_photos(connection: sa.Connection, farm_id: int, user_id: int) -> list[SheetPhoto]:
    """Return what a person photographed and nobody has confirmed or set aside, latest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(sheet_photo, SheetPhoto))
        .where(
            sheet_photo.c.farm_id == farm_id,
            sheet_photo.c.received_by == user_id,
            sheet_photo.c.settled_at.is_(None),
        )
        .order_by(sheet_photo.c.id.desc()),
        SheetPhoto,
    )


def sheet_photo_content(connection: sa.Connection, farm_id: int, photo_id: int) -> bytes | None:
    """Return the JPEG of a photo."""
    return connection.scalar(
        sa.select(sheet_photo.c.content).where(
            sheet_photo.c.farm_id == farm_id, sheet_photo.c.id == photo_id
        )
    )


def quiz_attempts_of(connection: sa.Connection, farm_id: int, worker_id: int) -> list[QuizAttempt]:
    """Return the quizzes that a worker took, in the order in which they were recorded."""
    return fetch_by(connection, quiz_attempt, QuizAttempt, farm_id, worker_id=worker_id)


def quiz_attempt_by_id(
    connection: sa.Connection, farm_id: int, attempt_id: int
) -> QuizAttempt | None:
    """Return one quiz that was taken."""
    return fetch_by_id(connection, quiz_attempt, QuizAttempt, farm_id, attempt_id)


def versions_asked(
    connection: sa.Connection, farm_id: int, version_ids: Collection[int]
) -> frozenset[int]:
    """Return those versions of a standard on which somebody took a quiz, or began one."""
    asked = [
        sa.select(quiz.c.standard_version_id).where(
            quiz.c.farm_id == farm_id, quiz.c.standard_version_id.in_(sorted(version_ids))
        )
        for quiz in (quiz_attempt, quiz_sitting)
    ]
    return frozenset(connection.scalars(sa.union(*asked)))
