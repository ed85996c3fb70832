"""Quizzes that people took: marked by the key of their own paper, and never changed afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.quizzes import Quiz, make_quiz, marked
from audits.records import Actor, QuizAttempt
from audits.services.access import require_crew_lead
from audits.services.accounts import LANGUAGES
from audits.services.farms import the_farm, the_worker
from audits.services.sheet_photos import settle_in
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import paper as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import quiz_attempt
from audits.vocabulary import Method


@dataclass(frozen=True)
class QuizPaper:
    """
    Which quiz a paper asks.

    Parameters
    ----------
    standard_version_id : int
        The version of the standard that its numbers come from.
    seed : int
        Seed of its questions.
    variant : str
        Order of its questions and choices.
    method : Method
        How the crew works, which chooses its questions on safety.
    language : str
        Language in which it was read.
    """

    standard_version_id: int
    seed: int
    variant: str
    method: Method
    language: str


def quiz_of(database: Database, actor: Actor, paper: QuizPaper) -> Quiz:
    """
    Make the quiz of a paper again, with its key.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead: keys are for those who mark.
    paper : QuizPaper
        The paper.

    Returns
    -------
    Quiz
        The same questions in the same order as on the paper.

    Raises
    ------
    InvalidInput
        If there is no such variant.
    NotAllowed
        If the person leads no crews.
    NotFound
        If the farm has no such version of a standard.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return _quiz_in(connection, actor, paper)


def record_attempt(
    database: Database,
    actor: Actor,
    paper: QuizPaper,
    worker_id: int,
    answers: Sequence[int | None],
    *,
    taken_on: date,
    now: datetime,
    photo_id: int | None = None,
) -> QuizAttempt:
    """
    Keep what somebody answered, with how many answers are right.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who records it.
    paper : QuizPaper
        The paper.
    worker_id : int
        Who took the quiz.
    answers : sequence of int or None
        The place of each marked choice from 0; None where none was marked.
    taken_on : date
        The farm's own day.
    now : datetime
        The present.
    photo_id : int or None, optional
        The photo from which it was read; it is settled together with the attempt.

    Returns
    -------
    QuizAttempt
        The attempt as stored.

    Raises
    ------
    Conflict
        If an attempt was kept from this photo before, or the same answers of that person to
        this quiz on that day from another one.
    InvalidInput
        If the answers do not fit the quiz, or the day is to come.
    NotAllowed
        If the person leads no crews, or somebody else took the photo.
    NotFound
        If the worker, the standard or the photo is not there.
    """
    require_crew_lead(actor)
    if paper.language not in LANGUAGES:
        raise InvalidInput({"language": say("Choose one of the languages offered.")})
    with database.write() as connection:
        farm = the_farm(connection, actor.farm_id)
        if taken_on > now.astimezone(ZoneInfo(farm.time_zone)).date():
            raise InvalidInput({"taken_on": say("This day is still to come.")})
        the_worker(connection, farm.id, worker_id)
        quiz = _quiz_in(connection, actor, paper)
        correct = marked(quiz, answers).count(True)
        _refuse_twice(connection, actor, paper, worker_id, list(answers), taken_on)
        attempt_id = insert(
            connection,
            quiz_attempt,
            {
                "farm_id": actor.farm_id,
                "worker_id": worker_id,
                "standard_version_id": paper.standard_version_id,
                "seed": paper.seed,
                "variant": paper.variant,
                "method": paper.method,
                "language": paper.language,
                "answers": list(answers),
                "questions": len(quiz.questions),
                "correct": correct,
                "taken_on": taken_on,
                "recorded_at": now,
                "recorded_by": actor.user_id,
            },
        )
        if photo_id is not None:
            settle_in(connection, actor, photo_id, now=now, quiz_attempt_id=attempt_id)
        return _the_attempt(connection, actor, attempt_id)


def view_attempt(database: Database, actor: Actor, attempt_id: int) -> QuizAttempt:
    """
    Return a quiz that somebody took.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    attempt_id : int
        The attempt.

    Returns
    -------
    QuizAttempt
        As it was answered.

    Raises
    ------
    NotAllowed
        If the person leads no crews.
    NotFound
        If there is no such attempt.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return _the_attempt(connection, actor, attempt_id)


def attempts_of(database: Database, actor: Actor, worker_id: int) -> list[QuizAttempt]:
    """
    List the quizzes that a worker took.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    worker_id : int
        The worker.

    Returns
    -------
    list of QuizAttempt
        In the order in which they were recorded.

    Raises
    ------
    NotAllowed
        If the person leads no crews.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return queries.quiz_attempts_of(connection, actor.farm_id, worker_id)


def _refuse_twice(
    connection: sa.Connection,
    actor: Actor,
    paper: QuizPaper,
    worker_id: int,
    answers: list[int | None],
    taken_on: date,
) -> None:
    # A sheet may be photographed twice, and by two people.
    for kept in queries.quiz_attempts_of(connection, actor.farm_id, worker_id):
        same_paper = (
            QuizPaper(kept.standard_version_id, kept.seed, kept.variant, kept.method, kept.language)
            == paper
        )
        if same_paper and kept.taken_on == taken_on and list(kept.answers) == answers:
            raise Conflict(
                say(
                    "These answers of this person on this day are kept already, from another"
                    " photo. Set this one aside."
                )
            )


def _quiz_in(connection: sa.Connection, actor: Actor, paper: QuizPaper) -> Quiz:
    version = standard_queries.standard_by_id(connection, actor.farm_id, paper.standard_version_id)
    if version is None:
        raise NotFound(say("The standard of this quiz is not there."))
    return make_quiz(
        standard_of(version), seed=paper.seed, variant=paper.variant, method=paper.method
    )


def _the_attempt(connection: sa.Connection, actor: Actor, attempt_id: int) -> QuizAttempt:
    attempt = queries.quiz_attempt_by_id(connection, actor.farm_id, attempt_id)
    if attempt is None:
        raise NotFound(say("There is no such quiz."))
    return attempt
