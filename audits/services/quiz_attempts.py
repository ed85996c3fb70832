"""Quizzes that people took: marked by the key of their own paper, and never changed afterwards."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.quiz_letters import letters_of
from audits.quizzes import VARIANTS, Quiz, make_quiz, marked
from audits.records import Actor, Block, QuizAttempt, StandardVersion
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.accounts import LANGUAGES
from audits.services.farms import the_farm, the_worker
from audits.services.item_bank import retired_now, retired_sets
from audits.services.sheet_photos import settle_in
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import paper as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import quiz_attempt, quiz_response
from audits.vocabulary import Method, QuizSource, QuizStyle, Role

NO_SUCH_QUIZ: Final = say("There is no such quiz.")
# Quizzes kept made: a sitting asks for its own at every page.
_KEPT_MADE: Final = 64


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
    style : QuizStyle, optional
        Whether its choices are words or pictures.
    retired : tuple of str, optional
        The items that were retired when it was made, in order of their names.
    """

    standard_version_id: int
    seed: int
    variant: str
    method: Method
    language: str
    style: QuizStyle = QuizStyle.WORDS
    retired: tuple[str, ...] = ()


def paper_of(attempt: QuizAttempt) -> QuizPaper:
    """
    Return the paper on which somebody took a quiz.

    Parameters
    ----------
    attempt : QuizAttempt
        As it was answered.

    Returns
    -------
    QuizPaper
        What makes the same quiz again.
    """
    return QuizPaper(
        standard_version_id=attempt.standard_version_id,
        seed=attempt.seed,
        variant=attempt.variant,
        method=attempt.method,
        language=attempt.language,
        style=attempt.style,
        retired=tuple(attempt.retired_items or ()),
    )


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
        return quiz_in(connection, actor.farm_id, paper)


def paper_now(database: Database, actor: Actor, paper: QuizPaper) -> QuizPaper:
    """
    Return a paper as it is made today: without the items that are retired now.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Whose farm it is.
    paper : QuizPaper
        What was chosen; its own retired items are passed over.

    Returns
    -------
    QuizPaper
        The paper to print.
    """
    with database.read() as connection:
        return replace(paper, retired=retired_now(connection, actor.farm_id))


def find_paper(
    database: Database, actor: Actor, paper: QuizPaper, agrees: Callable[[Quiz], bool]
) -> QuizPaper | None:
    """
    Find which items were retired when a paper was printed, since paper names none of them.

    The list in force now is tried first, then the earlier ones, the newest of them first.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead: keys are for those who mark.
    paper : QuizPaper
        What the paper tells; its own retired items are passed over.
    agrees : callable
        Whether a quiz is the one on the paper, by the letters that stand there.

    Returns
    -------
    QuizPaper or None
        The paper with its retired items; None where no list agrees.

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
    if paper.variant not in VARIANTS:
        raise InvalidInput({"variant": say("There is no such variant.")})
    with database.read() as connection:
        sets = retired_sets(connection, actor.farm_id)
        version = standard_queries.standard_by_id(
            connection, actor.farm_id, paper.standard_version_id
        )
    if version is None:
        raise NotFound(say("The standard of this quiz is not there."))
    for retired in sets:
        tried = replace(paper, retired=retired)
        try:
            quiz = made_quiz(version, tried)
        except InvalidInput:
            # So many were retired then that this standard had no quiz: none was printed.
            continue
        if agrees(quiz):
            return tried
    return None


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
    source: QuizSource = QuizSource.PAPER,
    taken_again: bool = False,
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
    source : QuizSource, optional
        Where it was answered.
    taken_again : bool, optional
        Whether that person took this very quiz more than once on that day. Otherwise other
        answers are held to be the same sheet, read otherwise.

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
        If the answers do not fit the quiz, the day is to come, or other answers of that person to
        this quiz on that day are kept and it was not taken again.
    NotAllowed
        If the person leads no crews, or somebody else took the photo.
    NotFound
        If the worker, the standard or the photo is not there.
    """
    require_crew_lead(actor)
    if paper.language not in LANGUAGES:
        raise InvalidInput({"language": say("Choose one of the languages offered.")})
    with database.read() as connection:
        # Made ahead, since making it takes its time, and nobody else writes meanwhile.
        quiz_in(connection, actor.farm_id, paper)
    with database.write() as connection:
        farm = the_farm(connection, actor.farm_id)
        if taken_on > now.astimezone(ZoneInfo(farm.time_zone)).date():
            raise InvalidInput({"taken_on": say("This day is still to come.")})
        the_worker(connection, farm.id, worker_id)
        quiz = quiz_in(connection, actor.farm_id, paper)
        marked(quiz, answers)
        before = _kept_before(connection, actor, paper, quiz, worker_id, taken_on)
        attempt_id = keep_in(
            connection,
            actor,
            paper,
            worker_id,
            answers,
            quiz=quiz,
            taken_on=taken_on,
            now=now,
            source=source,
        )
        if photo_id is not None:
            settle_in(connection, actor, photo_id, now=now, quiz_attempt_id=attempt_id)
        # After the photo, which says more plainly that it was confirmed before.
        _refuse_twice(before, list(answers), taken_again=taken_again)
        return attempt_in(connection, actor, attempt_id)


def keep_in(
    connection: sa.Connection,
    actor: Actor,
    paper: QuizPaper,
    worker_id: int,
    answers: Sequence[int | None],
    *,
    quiz: Quiz,
    taken_on: date,
    now: datetime,
    source: QuizSource,
) -> int:
    """
    Write an attempt and its answers, item by item, inside a transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open writing transaction.
    actor : Actor
        Who records it; whether they may is asked before.
    paper : QuizPaper
        The paper.
    worker_id : int
        Who took the quiz.
    answers : sequence of int or None
        The place of each marked choice from 0; None where none was marked.
    quiz : Quiz
        The quiz of the paper.
    taken_on : date
        The farm's own day.
    now : datetime
        The present.
    source : QuizSource
        Where it was answered.

    Returns
    -------
    int
        The attempt's id.

    Raises
    ------
    InvalidInput
        If the answers do not fit the quiz.
    """
    right = marked(quiz, answers)
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
            "correct": right.count(True),
            "pass_mark": the_farm(connection, actor.farm_id).quiz_pass_mark,
            "source": source,
            "style": paper.style,
            "retired_items": sorted(paper.retired),
            "key_letters": letters_of(quiz),
            "taken_on": taken_on,
            "recorded_at": now,
            "recorded_by": actor.user_id,
        },
    )
    rows = zip(quiz.questions, answers, right, strict=True)
    connection.execute(
        quiz_response.insert(),
        [
            {
                "farm_id": actor.farm_id,
                "quiz_attempt_id": attempt_id,
                "place": place,
                "item": question.item,
                "stage": question.stage,
                "choices": len(question.choices),
                "choice": None if answer is None else question.option_keys[answer],
                "is_right": is_right,
            }
            for place, (question, answer, is_right) in enumerate(rows, start=1)
        ],
    )
    return attempt_id


def view_attempt(database: Database, actor: Actor, attempt_id: int) -> QuizAttempt:
    """
    Return a quiz that somebody took.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead, or the worker who took it.
    attempt_id : int
        The attempt.

    Returns
    -------
    QuizAttempt
        As it was answered.

    Raises
    ------
    NotFound
        If there is no such attempt, or a worker asks for somebody else's.
    """
    with database.read() as connection:
        attempt = attempt_in(connection, actor, attempt_id)
    if actor.role is Role.WORKER and attempt.worker_id != actor.worker_id:
        raise NotFound(NO_SUCH_QUIZ)
    return attempt


def attempts_of(database: Database, actor: Actor, worker_id: int) -> list[QuizAttempt]:
    """
    List the quizzes that a worker took.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead, or the worker.
    worker_id : int
        The worker.

    Returns
    -------
    list of QuizAttempt
        In the order in which they were recorded.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        return queries.quiz_attempts_of(connection, actor.farm_id, worker_id)


def _kept_before(
    connection: sa.Connection,
    actor: Actor,
    paper: QuizPaper,
    quiz: Quiz,
    worker_id: int,
    taken_on: date,
) -> list[QuizAttempt]:
    """Return somebody's attempts at a quiz on a day."""
    # What was retired in between changes what is found for the paper, but not the paper: its
    # letters tell.
    asked = replace(paper, retired=())
    letters = letters_of(quiz)
    return [
        kept
        for kept in queries.quiz_attempts_of(connection, actor.farm_id, worker_id)
        if replace(paper_of(kept), retired=()) == asked
        and kept.key_letters in {None, letters}
        and kept.taken_on == taken_on
    ]


def _refuse_twice(
    before: Sequence[QuizAttempt], answers: list[int | None], *, taken_again: bool
) -> None:
    # A sheet may be photographed twice, and by two people; a faint mark may be read otherwise then.
    if any(list(kept.answers) == answers for kept in before):
        raise Conflict(
            say(
                "These answers of this person on this day are kept already, from another photo. Set"
                " this one aside."
            )
        )
    if before and not taken_again:
        nearest = min((_differing(kept.answers, answers) for kept in before), key=len)
        raise InvalidInput(
            {
                "taken_again": say(
                    "Answers of this person to this quiz on this day are kept already; questions"
                    " answered otherwise there: %(numbers)s. If it is the same sheet, set this"
                    " photo aside.",
                    numbers=", ".join(map(str, nearest)),
                )
            }
        )


def _differing(kept: Sequence[int | None], answers: Sequence[int | None]) -> list[int]:
    pairs = enumerate(zip(kept, answers, strict=True), start=1)
    return [number for number, (before, now) in pairs if before != now]


def quiz_in(connection: sa.Connection, farm_id: int, paper: QuizPaper) -> Quiz:
    """
    Make the quiz of a paper inside a transaction, without asking who wants it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    paper : QuizPaper
        The paper.

    Returns
    -------
    Quiz
        The quiz, with its key.

    Raises
    ------
    InvalidInput
        If there is no such variant, or the standard leaves too little to ask.
    NotFound
        If the farm has no such version of a standard.
    """
    version = standard_queries.standard_by_id(connection, farm_id, paper.standard_version_id)
    if version is None:
        raise NotFound(say("The standard of this quiz is not there."))
    return made_quiz(version, paper)


def made_quiz(version: StandardVersion, paper: QuizPaper) -> Quiz:
    """
    Make the quiz of a paper on the version of the standard that it names.

    Parameters
    ----------
    version : StandardVersion
        The version.
    paper : QuizPaper
        The paper.

    Returns
    -------
    Quiz
        The quiz, with its key.

    Raises
    ------
    InvalidInput
        If there is no such variant, or the standard leaves too little to ask.
    """
    return _made(standard_of(version), paper)


@lru_cache(maxsize=_KEPT_MADE)
def _made(standard: Standard, paper: QuizPaper) -> Quiz:
    return make_quiz(
        standard,
        seed=paper.seed,
        variant=paper.variant,
        method=paper.method,
        retired=paper.retired,
        style=paper.style,
    )


def attempt_in(connection: sa.Connection, actor: Actor, attempt_id: int) -> QuizAttempt:
    """
    Return an attempt inside a transaction, without asking who may see it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        Whose farm it is.
    attempt_id : int
        The attempt.

    Returns
    -------
    QuizAttempt
        As it was answered.

    Raises
    ------
    NotFound
        If there is no such attempt.
    """
    attempt = queries.quiz_attempt_by_id(connection, actor.farm_id, attempt_id)
    if attempt is None:
        raise NotFound(NO_SUCH_QUIZ)
    return attempt


def asked_about(
    connection: sa.Connection, farm_id: int, version_id: int
) -> tuple[StandardVersion, Block]:
    """
    Return the version of a standard that a quiz asks about, and its block.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    version_id : int
        The version.

    Returns
    -------
    tuple of StandardVersion and Block
        Both as stored.

    Raises
    ------
    NotFound
        If the farm has no such version.
    """
    version = standard_queries.standard_by_id(connection, farm_id, version_id)
    block = farm_queries.block_by_id(connection, farm_id, version.block_id) if version else None
    if version is None or block is None:
        raise NotFound(NO_SUCH_QUIZ)
    return version, block
