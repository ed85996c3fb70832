"""Quizzes on a screen: begun, answered question by question, handed in once, then explained."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.questions import Picture, Question
from audits.quiz_letters import letters_of
from audits.quizzes import VARIANTS, Quiz
from audits.records import (
    Actor,
    Block,
    Farm,
    QuizAttempt,
    QuizSitting,
    Worker,
)
from audits.services.access import require_sight_of_worker
from audits.services.accounts import LANGUAGES
from audits.services.farms import the_block, the_farm, the_worker
from audits.services.item_bank import retired_now
from audits.services.quiz_attempts import (
    NO_SUCH_QUIZ,
    QuizPaper,
    asked_about,
    attempt_in,
    keep_in,
    quiz_in,
)
from audits.storage.database import Database
from audits.storage.queries import quizzes as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import quiz_sitting
from audits.vocabulary import Method, QuizSource, QuizStyle, Role

QUESTIONS_CHANGED: Final = say(
    "The questions have changed since this quiz was begun, so that it cannot be marked."
    " What you answered is kept. Begin a new quiz."
)


@dataclass(frozen=True)
class SittingChoice:
    """
    What is chosen before a quiz begins.

    Parameters
    ----------
    worker_id : int
        Who takes it.
    block_id : int
        The block whose standard it asks about.
    language : str
        Language in which it is read.
    style : QuizStyle, optional
        Whether its choices are words or pictures.
    """

    worker_id: int
    block_id: int
    language: str
    style: QuizStyle = QuizStyle.WORDS


@dataclass(frozen=True)
class ShownQuestion:
    """
    A question as a learner sees it: nothing in it tells which choice is right.

    Parameters
    ----------
    stem : Message
        What is asked.
    choices : tuple of Message
        The choices, in the order of this quiz.
    picture : Picture or None
        What is shown beside it.
    choice_pictures : tuple of Picture
        One picture for each choice; empty where choices are words.
    """

    stem: Message
    choices: tuple[Message, ...]
    picture: Picture | None
    choice_pictures: tuple[Picture, ...]


@dataclass(frozen=True)
class SittingView:
    """
    A quiz that somebody is taking.

    Parameters
    ----------
    sitting : QuizSitting
        As it stands; its key letters are for marking alone.
    worker : Worker
        Who takes it.
    block : Block
        Whose standard it asks about.
    questions : tuple of ShownQuestion
        The questions in order.
    """

    sitting: QuizSitting
    worker: Worker
    block: Block
    questions: tuple[ShownQuestion, ...]

    @property
    def open_places(self) -> tuple[int, ...]:
        """Numbers from 1 of the questions without an answer."""
        return tuple(
            place for place, answer in enumerate(self.sitting.answers, start=1) if answer is None
        )


@dataclass(frozen=True)
class OpenSitting:
    """
    A quiz that was begun and waits to be gone on with.

    Parameters
    ----------
    sitting : QuizSitting
        As it stands.
    worker : Worker
        Who takes it.
    block : Block
        Whose standard it asks about.
    """

    sitting: QuizSitting
    worker: Worker
    block: Block

    @property
    def next_place(self) -> int | None:
        """Number from 1 of the first question without an answer; None where each has one."""
        answers = self.sitting.answers
        return answers.index(None) + 1 if None in answers else None


@dataclass(frozen=True)
class HandedIn:
    """
    What handing in came to.

    Parameters
    ----------
    attempt : QuizAttempt
        The attempt as it is kept.
    is_first : bool
        Whether it was handed in just now; False where that was done before.
    """

    attempt: QuizAttempt
    is_first: bool


def begin_sitting(
    database: Database,
    actor: Actor,
    choice: SittingChoice,
    *,
    uid: str,
    seed: int,
    variant: str,
    now: datetime,
) -> QuizSitting:
    """
    Begin a quiz on a block's standard as it is in force today.

    It keeps that version of the standard and the items that are retired now, whatever changes
    until it is handed in. Begun again with the same name, by a key pressed twice, it is the same.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker, or a crew lead beside whom the worker sits.
    choice : SittingChoice
        What was chosen.
    uid : str
        Name of the quiz on the screen: 32 letters and digits that nobody can guess.
    seed : int
        Seed of its questions.
    variant : str
        Order of its questions and choices.
    now : datetime
        The present.

    Returns
    -------
    QuizSitting
        The quiz as stored, without an answer.

    Raises
    ------
    InvalidInput
        If the language or the variant is not offered, the block has no standard in force, or its
        standard leaves too little to ask.
    NotAllowed
        If a worker begins a quiz for somebody else.
    NotFound
        If the worker or the block is not there, or the name is somebody else's quiz.
    """
    require_sight_of_worker(actor, choice.worker_id)
    if choice.language not in LANGUAGES:
        raise InvalidInput({"language": say("Choose one of the languages offered.")})
    if variant not in VARIANTS:
        raise InvalidInput({"variant": say("There is no such variant.")})
    with database.read() as connection:
        _asked_now(connection, actor, choice, seed=seed, variant=variant, now=now)
    with database.write() as connection:
        begun = queries.sitting_by_uid(connection, actor.farm_id, uid)
        if begun is not None:
            return _own(actor, begun)
        paper, quiz = _asked_now(connection, actor, choice, seed=seed, variant=variant, now=now)
        insert(
            connection,
            quiz_sitting,
            {
                "farm_id": actor.farm_id,
                "uid": uid,
                "worker_id": choice.worker_id,
                "standard_version_id": paper.standard_version_id,
                "seed": seed,
                "variant": variant,
                "method": paper.method,
                "language": paper.language,
                "style": paper.style,
                "retired_items": list(paper.retired),
                "key_letters": letters_of(quiz),
                "answers": [None] * len(quiz.questions),
                "begun_at": now,
                "begun_by": actor.user_id,
            },
        )
        return _the_sitting(connection, actor, uid)


def answer_question(
    database: Database, actor: Actor, uid: str, number: int, choice: int | None
) -> QuizSitting:
    """
    Keep the answer to one question; until the quiz is handed in it may be changed.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Whose quiz it is, or who began it.
    uid : str
        Name of the quiz on the screen.
    number : int
        Number of the question from 1.
    choice : int or None
        Place of the choice from 0; None leaves the question as it is.

    Returns
    -------
    QuizSitting
        The quiz as it stands now.

    Raises
    ------
    Conflict
        If the quiz was handed in before.
    InvalidInput
        If the question has no such choice.
    NotFound
        If there is no such quiz or question, or it is somebody else's.
    """
    with database.read() as connection:
        quiz = _quiz_of(connection, actor, _the_sitting(connection, actor, uid))
    if not 1 <= number <= len(quiz.questions):
        raise NotFound(say("This quiz has no such question."))
    if choice is not None and not 0 <= choice < len(quiz.questions[number - 1].choices):
        raise InvalidInput(
            {"choice": say("Question %(number)s has no such choice.", number=number)}
        )
    with database.write() as connection:
        sitting = _the_sitting(connection, actor, uid)
        if sitting.handed_in_at is not None:
            raise Conflict(say("This quiz was handed in before. Its answers stay as they are."))
        if choice is None:
            return sitting
        answers = list(sitting.answers)
        answers[number - 1] = choice
        connection.execute(_changed(sitting, actor).values(answers=answers))
        return _the_sitting(connection, actor, uid)


def hand_in(database: Database, actor: Actor, uid: str, *, now: datetime) -> HandedIn:
    """
    Mark a quiz and keep it for good; what is open counts as not right.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Whose quiz it is, or who began it.
    uid : str
        Name of the quiz on the screen.
    now : datetime
        The present.

    Returns
    -------
    HandedIn
        The attempt; handed in again it is the one that was kept before.

    Raises
    ------
    Conflict
        If the questions have changed since it was begun.
    NotFound
        If there is no such quiz, or it is somebody else's.
    """
    with database.read() as connection:
        sitting = _the_sitting(connection, actor, uid)
        if sitting.quiz_attempt_id is None:
            # Made ahead, so that nobody who writes waits for it.
            _quiz_of(connection, actor, sitting)
    with database.write() as connection:
        sitting = _the_sitting(connection, actor, uid)
        if sitting.quiz_attempt_id is not None:
            kept = attempt_in(connection, actor, sitting.quiz_attempt_id)
            return HandedIn(kept, is_first=False)
        farm = the_farm(connection, actor.farm_id)
        attempt_id = keep_in(
            connection,
            actor,
            _paper(sitting),
            sitting.worker_id,
            sitting.answers,
            quiz=_quiz_of(connection, actor, sitting),
            taken_on=_today(farm, now),
            now=now,
            source=QuizSource.SCREEN,
        )
        connection.execute(
            _changed(sitting, actor).values(handed_in_at=now, quiz_attempt_id=attempt_id)
        )
        return HandedIn(attempt_in(connection, actor, attempt_id), is_first=True)


def the_sitting(database: Database, actor: Actor, uid: str) -> QuizSitting:
    """
    Return a quiz on the screen as it is stored.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Whose quiz it is, or who began it.
    uid : str
        Name of the quiz on the screen.

    Returns
    -------
    QuizSitting
        The quiz; its key letters are for marking alone.

    Raises
    ------
    NotFound
        If there is no such quiz, or it is somebody else's.
    """
    with database.read() as connection:
        return _the_sitting(connection, actor, uid)


def view_sitting(database: Database, actor: Actor, uid: str) -> SittingView:
    """
    Return a quiz on the screen without its key.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Whose quiz it is, or who began it.
    uid : str
        Name of the quiz on the screen.

    Returns
    -------
    SittingView
        The questions with what was answered so far.

    Raises
    ------
    Conflict
        If the questions have changed since it was begun.
    NotFound
        If there is no such quiz, or it is somebody else's.
    """
    with database.read() as connection:
        sitting = _the_sitting(connection, actor, uid)
        quiz = _quiz_of(connection, actor, sitting)
        _, block = asked_about(connection, actor.farm_id, sitting.standard_version_id)
        worker = the_worker(connection, actor.farm_id, sitting.worker_id)
    return SittingView(sitting, worker, block, tuple(map(_shown, quiz.questions)))


def open_sittings(database: Database, actor: Actor) -> list[OpenSitting]:
    """
    List the quizzes that wait to be gone on with.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A worker, for their own; a crew lead, for those begun here for whomever.

    Returns
    -------
    list of OpenSitting
        The latest first.
    """
    farm_id = actor.farm_id
    with database.read() as connection:
        if actor.role is not Role.WORKER:
            found = queries.open_sittings_begun_by(connection, farm_id, actor.user_id)
        elif actor.worker_id is not None:
            found = queries.open_sittings_of(connection, farm_id, actor.worker_id)
        else:
            found = []
        return [
            OpenSitting(
                sitting,
                the_worker(connection, farm_id, sitting.worker_id),
                asked_about(connection, actor.farm_id, sitting.standard_version_id)[1],
            )
            for sitting in found
        ]


def _asked_now(
    connection: sa.Connection,
    actor: Actor,
    choice: SittingChoice,
    *,
    seed: int,
    variant: str,
    now: datetime,
) -> tuple[QuizPaper, Quiz]:
    farm = the_farm(connection, actor.farm_id)
    the_worker(connection, farm.id, choice.worker_id)
    the_block(connection, farm.id, choice.block_id)
    version = standard_queries.standard_in_force(
        connection, farm.id, choice.block_id, _today(farm, now)
    )
    if version is None:
        raise InvalidInput({"block_id": say("This block has no standard in force yet.")})
    latest = queries.latest_pass_of_block(connection, farm.id, choice.block_id)
    paper = QuizPaper(
        standard_version_id=version.id,
        seed=seed,
        variant=variant,
        # The safety questions follow how the block is worked; ladders are what most crews have.
        method=latest.method if latest else Method.LADDER,
        language=choice.language,
        style=choice.style,
        retired=retired_now(connection, farm.id),
    )
    try:
        return paper, quiz_in(connection, farm.id, paper)
    except InvalidInput as error:
        (sentence, *_) = error.problems.values()
        raise InvalidInput({"block_id": sentence}) from error


def _today(farm: Farm, now: datetime) -> date:
    return now.astimezone(ZoneInfo(farm.time_zone)).date()


def _paper(sitting: QuizSitting) -> QuizPaper:
    return QuizPaper(
        standard_version_id=sitting.standard_version_id,
        seed=sitting.seed,
        variant=sitting.variant,
        method=sitting.method,
        language=sitting.language,
        style=sitting.style,
        retired=tuple(sitting.retired_items),
    )


def _quiz_of(connection: sa.Connection, actor: Actor, sitting: QuizSitting) -> Quiz:
    # A newer program may ask something else by the same seed.
    quiz = quiz_in(connection, actor.farm_id, _paper(sitting))
    if letters_of(quiz) != sitting.key_letters or len(quiz.questions) != len(sitting.answers):
        raise Conflict(QUESTIONS_CHANGED)
    return quiz


def _shown(question: Question) -> ShownQuestion:
    return ShownQuestion(
        question.stem, question.choices, question.picture, question.choice_pictures
    )


def _the_sitting(connection: sa.Connection, actor: Actor, uid: str) -> QuizSitting:
    sitting = queries.sitting_by_uid(connection, actor.farm_id, uid)
    if sitting is None:
        raise NotFound(NO_SUCH_QUIZ)
    return _own(actor, sitting)


def _own(actor: Actor, sitting: QuizSitting) -> QuizSitting:
    # To others there is no such quiz.
    whose = (
        sitting.worker_id == actor.worker_id
        if actor.role is Role.WORKER
        else sitting.begun_by == actor.user_id
    )
    if not whose:
        raise NotFound(NO_SUCH_QUIZ)
    return sitting


def _changed(sitting: QuizSitting, actor: Actor) -> sa.Update:
    return quiz_sitting.update().where(
        quiz_sitting.c.farm_id == actor.farm_id, quiz_sitting.c.id == sitting.id
    )
