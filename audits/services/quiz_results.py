"""What quizzes came to: each attempt with its key, as long as that is still the same."""

from dataclasses import dataclass

from audits.errors import InvalidInput, NotFound
from audits.guessing import chance_of_passing
from audits.messages import say
from audits.questions import Question
from audits.quiz_letters import letters_of
from audits.quizzes import Quiz
from audits.records import Actor, Block, QuizAttempt, StandardVersion, Worker
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.farms import the_worker
from audits.services.quiz_attempts import (
    NO_SUCH_QUIZ,
    asked_about,
    attempt_in,
    made_quiz,
    paper_of,
)
from audits.storage.database import Database
from audits.storage.queries import quizzes as queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import QuizSource, Role


@dataclass(frozen=True)
class AttemptLine:
    """
    A quiz that somebody took, with the block that it asked about.

    Parameters
    ----------
    attempt : QuizAttempt
        As it was answered.
    block : str
        Name of the block.
    """

    attempt: QuizAttempt
    block: str

    @property
    def is_passed(self) -> bool | None:
        """Whether it was passed; None where the farm had no pass mark yet."""
        return _is_passed(self.attempt)


@dataclass(frozen=True)
class JudgedQuestion:
    """
    A question of a quiz that was taken, with its answer and its key.

    Parameters
    ----------
    number : int
        Number from 1.
    question : Question
        The question.
    answer : int or None
        Place from 0 of the choice that was made; None where none was.
    """

    number: int
    question: Question
    answer: int | None

    @property
    def is_right(self) -> bool:
        """Whether the right choice was made."""
        return self.answer == self.question.key


@dataclass(frozen=True)
class ResultView:
    """
    What a quiz came to.

    Parameters
    ----------
    attempt : QuizAttempt
        As it was answered.
    worker : Worker
        Who took it.
    block : Block
        Whose standard it asked about.
    version : StandardVersion
        That standard.
    quiz : Quiz or None
        The quiz itself; None where its questions have changed since, so that its key would be
        another one, and where the key is kept back.
    is_kept_back : bool
        Whether the key is not for this person: others may still take the same printed quiz.
    choices : tuple of int
        Number of choices of each question; empty for quizzes from before answers were kept one by
        one.
    """

    attempt: QuizAttempt
    worker: Worker
    block: Block
    version: StandardVersion
    quiz: Quiz | None
    is_kept_back: bool
    choices: tuple[int, ...]

    @property
    def questions(self) -> tuple[JudgedQuestion, ...]:
        """Each question with its answer and its key; none where they have changed since."""
        if self.quiz is None:
            return ()
        answered = zip(self.quiz.questions, self.attempt.answers, strict=True)
        return tuple(
            JudgedQuestion(number, question, answer)
            for number, (question, answer) in enumerate(answered, start=1)
        )

    @property
    def is_passed(self) -> bool | None:
        """Whether it was passed; None where the farm had no pass mark yet."""
        return _is_passed(self.attempt)

    @property
    def chance_by_guessing(self) -> float | None:
        """The chance of passing it by guessing alone; None where nothing tells."""
        mark = self.attempt.pass_mark
        return chance_of_passing(self.choices, mark) if self.choices and mark is not None else None


def own_attempts(
    database: Database, actor: Actor, worker_id: int | None = None
) -> list[AttemptLine]:
    """
    List the quizzes that a worker took, on paper and on a screen.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker, or a crew lead.
    worker_id : int or None, optional
        The worker; left out, the one who is signed in.

    Returns
    -------
    list of AttemptLine
        The latest first.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's.
    NotFound
        If there is no such worker.
    """
    asked = actor.worker_id if worker_id is None else worker_id
    if asked is None:
        raise NotFound(say("There is no such worker."))
    require_sight_of_worker(actor, asked)
    with database.read() as connection:
        the_worker(connection, actor.farm_id, asked)
        blocks = standard_queries.block_names_by_version(connection, actor.farm_id)
        return [
            AttemptLine(attempt, blocks[attempt.standard_version_id])
            for attempt in queries.latest_attempts_of(connection, actor.farm_id, asked)
        ]


def view_result(database: Database, actor: Actor, attempt_id: int) -> ResultView:
    """
    Return what a quiz came to, with its key where that is still the same.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker who took it, or a crew lead.
    attempt_id : int
        The attempt.

    Returns
    -------
    ResultView
        The attempt, its questions with their keys, and the pass mark of that day.

    Raises
    ------
    NotFound
        If there is no such attempt, or a worker asks for somebody else's.
    """
    with database.read() as connection:
        attempt = attempt_in(connection, actor, attempt_id)
        if actor.role is Role.WORKER and attempt.worker_id != actor.worker_id:
            raise NotFound(NO_SUCH_QUIZ)
        version, block = asked_about(connection, actor.farm_id, attempt.standard_version_id)
        responses = queries.responses_of(connection, actor.farm_id, attempt.id)
        worker = the_worker(connection, actor.farm_id, attempt.worker_id)
    # A printed quiz goes round: whoever has its key could hand it on.
    is_kept_back = actor.role is Role.WORKER and attempt.source is QuizSource.PAPER
    return ResultView(
        attempt=attempt,
        worker=worker,
        block=block,
        version=version,
        quiz=None if is_kept_back else _quiz_as_taken(version, attempt),
        is_kept_back=is_kept_back,
        choices=tuple(response.choices for response in responses),
    )


def question_as_asked(database: Database, actor: Actor, item: str) -> Question | None:
    """
    Return the question that an item made the last time somebody was asked it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead: keys are for those who mark.
    item : str
        The item.

    Returns
    -------
    Question or None
        None where nobody was asked it, or a newer program asks something else by the seed.

    Raises
    ------
    NotAllowed
        If the person leads no crews.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        attempt = queries.latest_attempt_with(connection, actor.farm_id, item)
        if attempt is None:
            return None
        version, _ = asked_about(connection, actor.farm_id, attempt.standard_version_id)
    quiz = _quiz_as_taken(version, attempt)
    return next((each for each in quiz.questions if each.item == item), None) if quiz else None


def _is_passed(attempt: QuizAttempt) -> bool | None:
    return None if attempt.pass_mark is None else attempt.correct >= attempt.pass_mark


def _quiz_as_taken(version: StandardVersion, attempt: QuizAttempt) -> Quiz | None:
    """Return the quiz of an attempt; None where a newer program asks something else by its seed."""
    try:
        quiz = made_quiz(version, paper_of(attempt))
    except InvalidInput:
        return None
    if len(quiz.questions) != attempt.questions:
        return None
    if attempt.key_letters is not None:
        return quiz if letters_of(quiz) == attempt.key_letters else None
    # From before letters were kept: the number of right answers is all that can disagree.
    right = sum(
        answer == question.key
        for question, answer in zip(quiz.questions, attempt.answers, strict=True)
    )
    return quiz if right == attempt.correct else None
