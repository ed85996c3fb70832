"""Answers to quiz items, and items that are retired."""

from datetime import date
from typing import Final, NamedTuple

import sqlalchemy as sa

from audits.records import RetiredItem
from audits.storage.queries.fetch import columns_of, fetch_all
from audits.storage.queries.trends import same_farm
from audits.storage.tables import quiz_attempt, quiz_response, retired_item
from audits.vocabulary import Method, QuizStyle, Stage


class ItemAnswer(NamedTuple):
    """What somebody answered to one question of a quiz, and which quiz it was."""

    attempt_id: int
    worker_id: int
    language: str
    standard_version_id: int
    seed: int
    method: Method
    style: QuizStyle
    item: str
    stage: Stage | None
    choice: str | None
    choices: int
    is_right: bool


_ANSWERS: Final = (
    sa.select(
        quiz_attempt.c.id,
        quiz_attempt.c.worker_id,
        quiz_attempt.c.language,
        quiz_attempt.c.standard_version_id,
        quiz_attempt.c.seed,
        quiz_attempt.c.method,
        quiz_attempt.c.style,
        quiz_response.c.item,
        quiz_response.c.stage,
        quiz_response.c.choice,
        quiz_response.c.choices,
        quiz_response.c.is_right,
    )
    .join(quiz_response, same_farm(quiz_response, quiz_attempt, quiz_attempt_id="id"))
    .where(quiz_attempt.c.farm_id == sa.bindparam("farm_id", type_=sa.Integer))
    .order_by(
        quiz_attempt.c.taken_on,
        quiz_attempt.c.recorded_at,
        quiz_attempt.c.id,
        quiz_response.c.place,
    )
)
_ANSWERS_BETWEEN: Final = _ANSWERS.where(
    quiz_attempt.c.taken_on.between(
        sa.bindparam("first_day", type_=sa.Date), sa.bindparam("last_day", type_=sa.Date)
    )
)


def answers(
    connection: sa.Connection, farm_id: int, days: tuple[date, date] | None = None
) -> list[ItemAnswer]:
    """Return every answer of every quiz in the order in which they were taken, or of some days."""
    if days is None:
        found = connection.execute(_ANSWERS, {"farm_id": farm_id})
    else:
        first_day, last_day = days
        found = connection.execute(
            _ANSWERS_BETWEEN, {"farm_id": farm_id, "first_day": first_day, "last_day": last_day}
        )
    return [ItemAnswer._make(row) for row in found]


def retirements(connection: sa.Connection, farm_id: int) -> list[RetiredItem]:
    """Return every time that an item was retired, the latest first."""
    return fetch_all(
        connection,
        sa.select(*columns_of(retired_item, RetiredItem))
        .where(retired_item.c.farm_id == farm_id)
        .order_by(retired_item.c.retired_at.desc(), retired_item.c.id.desc()),
        RetiredItem,
    )
