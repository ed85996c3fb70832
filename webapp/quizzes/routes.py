"""Quizzes on a screen: begun, one question at a time, handed in, and explained."""

import secrets
from typing import Final
from uuid import UUID, uuid4

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import InvalidInput, NotFound
from audits.messages import Message, say
from audits.quizzes import VARIANTS
from audits.records import QuizSitting, Worker
from audits.services import quiz_results, quiz_sittings
from audits.services.accounts import LANGUAGES
from audits.services.name_order import by_name
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.passes import block_under_way
from audits.vocabulary import Role
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to, open_to_learner
from webapp.coaching.papers import name_of
from webapp.extensions import database, present, today
from webapp.quizzes.forms import BeginForm
from webapp.quizzes.presenters import (
    attempt_rows,
    chance_sentence,
    check_url,
    explained,
    question_screen,
    question_url,
    steps,
    waiting_quizzes,
)
from webapp.reading import LANGUAGE_NAMES, chosen_language, read_in

blueprint = Blueprint("quizzes", __name__, url_prefix="/quiz")

_SEEDS: Final = 2**31
_FIRST: Final = 1


@blueprint.get("")
@open_to(EVERYONE)
@open_to_learner
def index() -> ResponseReturnValue:
    """Offer a new quiz, and those that were begun."""
    form = BeginForm(formdata=None, quiz=str(uuid4()))
    _offer(form)
    own = _own_worker()
    form.language.data = own.language if own else chosen_language()
    form.block_id.data = _usual_block(own)
    return _index(form)


@blueprint.post("")
@open_to(EVERYONE)
@open_to_learner
def begin() -> ResponseReturnValue:
    """Begin a quiz and show its first question."""
    form = BeginForm()
    _offer(form)
    if not form.validate():
        return _index(form), 422
    try:
        sitting = quiz_sittings.begin_sitting(
            database(),
            actor(),
            form.choice(actor().worker_id),
            uid=form.uid() or uuid4().hex,
            seed=secrets.randbelow(_SEEDS),
            variant=secrets.choice(VARIANTS),
            now=present(),
        )
    except InvalidInput as error:
        form.add_problems(error)
        return _index(form), 422
    return redirect(question_url(sitting.uid, _FIRST))


@blueprint.get("/<uuid:quiz>/<int:number>")
@open_to(EVERYONE)
@open_to_learner
def question(quiz: UUID, number: int) -> ResponseReturnValue:
    """Show one question of a quiz."""
    sitting = quiz_sittings.the_sitting(database(), actor(), quiz.hex)
    if sitting.handed_in_at is not None:
        return _already(sitting)
    with read_in(sitting.language):
        return _question(quiz, number)


@blueprint.post("/<uuid:quiz>/<int:number>")
@open_to(EVERYONE)
@open_to_learner
def answer(quiz: UUID, number: int) -> ResponseReturnValue:
    """Keep the answer to a question and go where the pressed key leads."""
    sitting = quiz_sittings.the_sitting(database(), actor(), quiz.hex)
    if sitting.handed_in_at is not None:
        return _already(sitting)
    with read_in(sitting.language):
        try:
            kept = quiz_sittings.answer_question(
                database(), actor(), quiz.hex, number, _posted_choice()
            )
        except InvalidInput as error:
            (sentence,) = error.problems.values()
            return _question(quiz, number, problem=sentence), 422
        return redirect(_next_url(kept, number, request.form.get("go", "")))


@blueprint.get("/<uuid:quiz>/hand-in")
@open_to(EVERYONE)
@open_to_learner
def check(quiz: UUID) -> ResponseReturnValue:
    """Show which questions are still open before the quiz is handed in."""
    sitting = quiz_sittings.the_sitting(database(), actor(), quiz.hex)
    if sitting.handed_in_at is not None:
        return _already(sitting)
    with read_in(sitting.language):
        view = quiz_sittings.view_sitting(database(), actor(), quiz.hex)
        return render_template("quizzes/check.html", view=view, quiz=quiz, steps=steps(view))


@blueprint.post("/<uuid:quiz>/hand-in")
@open_to(EVERYONE)
@open_to_learner
def hand_in(quiz: UUID) -> ResponseReturnValue:
    """Mark the quiz and show what it came to."""
    sitting = quiz_sittings.the_sitting(database(), actor(), quiz.hex)
    if sitting.handed_in_at is not None:
        return _already(sitting)
    handed_in = quiz_sittings.hand_in(database(), actor(), quiz.hex, now=present())
    return redirect(_result_url(handed_in.attempt.id, handed_in.attempt.language))


@blueprint.get("/results/<int:attempt_id>")
@open_to(EVERYONE)
@open_to_learner
def result(attempt_id: int) -> ResponseReturnValue:
    """Show what a quiz came to, with the right answers and the reasons."""
    found = quiz_results.view_result(database(), actor(), attempt_id)
    asked = request.args.get("language", "")
    language = asked if asked in LANGUAGES else chosen_language()
    with read_in(language):
        told = explained(found.questions)
        return render_template(
            "quizzes/result.html",
            result=found,
            person=name_of(found.worker),
            is_own=actor().role is Role.WORKER,
            wrong=[each for each in told if not each.is_right],
            right=[each for each in told if each.is_right],
            chance=chance_sentence(found),
            other_languages=[
                (code, name, _result_url(attempt_id, code))
                for code, name in LANGUAGE_NAMES
                if code != language
            ],
        )


@blueprint.get("/mine")
@open_to(frozenset({Role.WORKER}))
@open_to_learner
def mine() -> ResponseReturnValue:
    """Show workers the quizzes that they took."""
    return render_template(
        "quizzes/attempts.html",
        worker=None,
        attempts=attempt_rows(quiz_results.own_attempts(database(), actor())),
    )


@blueprint.get("/workers/<int:worker_id>")
@open_to(CREW_LEADS)
def of_worker(worker_id: int) -> ResponseReturnValue:
    """Show the quizzes that a worker took."""
    attempts = quiz_results.own_attempts(database(), actor(), worker_id)
    with database().read() as connection:
        worker = farm_queries.worker_by_id(connection, actor().farm_id, worker_id)
    return render_template("quizzes/attempts.html", worker=worker, attempts=attempt_rows(attempts))


def _index(form: BeginForm) -> str:
    return render_template(
        "quizzes/index.html",
        form=form,
        waiting=waiting_quizzes(quiz_sittings.open_sittings(database(), actor())),
        is_worker=actor().role is Role.WORKER,
        workers=[] if actor().role is Role.WORKER else _workers(),
    )


def _offer(form: BeginForm) -> None:
    """Offer the blocks whose standard is in force; crew leads are asked for whom."""
    if actor().role is Role.WORKER and _own_worker() is None:
        raise NotFound(say("There is no such worker."))
    with database().read() as connection:
        ruled = standard_queries.standards_in_force(connection, actor().farm_id, today())
        blocks = farm_queries.blocks(connection, actor().farm_id)
    form.offer(
        [block for block in blocks if block.id in ruled],
        None if actor().role is Role.WORKER else _workers(),
    )


def _workers() -> list[Worker]:
    with database().read() as connection:
        return by_name(farm_queries.workers(connection, actor().farm_id))


def _own_worker() -> Worker | None:
    worker_id = actor().worker_id
    if worker_id is None:
        return None
    with database().read() as connection:
        return farm_queries.worker_by_id(connection, actor().farm_id, worker_id)


def _usual_block(own: Worker | None) -> int | None:
    with database().read() as connection:
        return block_under_way(connection, actor().farm_id, own.crew_id if own else None)


def _posted_choice() -> int | None:
    """Return the place of the choice that was pressed; None where none was."""
    text = request.form.get("choice", "")
    if not text:
        return None
    # No question has as many choices: the service says so.
    return int(text) if text.isascii() and text.isdecimal() and len(text) == 1 else -1


def _next_url(sitting: QuizSitting, number: int, pressed: str) -> str:
    total = len(sitting.answers)
    if pressed == "stop":
        flash(gettext("Your answers are kept. Go on whenever you like."), "message")
        return url_for("quizzes.index")
    if pressed == "back":
        return question_url(sitting.uid, max(number - 1, _FIRST))
    return question_url(sitting.uid, number + 1) if number < total else check_url(sitting.uid)


def _question(quiz: UUID, number: int, problem: Message | None = None) -> str:
    view = quiz_sittings.view_sitting(database(), actor(), quiz.hex)
    if not _FIRST <= number <= len(view.questions):
        raise NotFound(say("This quiz has no such question."))
    return render_template(
        "quizzes/question.html",
        screen=question_screen(view, number),
        view=view,
        problem=problem,
        form_action=question_url(quiz.hex, number),
    )


def _already(sitting: QuizSitting) -> ResponseReturnValue:
    """Lead from a quiz that was handed in, by a second tab or the back key, to its result."""
    with read_in(sitting.language):
        flash(gettext("This quiz was handed in before. Here is what it came to."), "message")
    return redirect(_result_url(sitting.quiz_attempt_id, sitting.language))


def _result_url(attempt_id: int | None, language: str) -> str:
    spoken = None if language == chosen_language() else language
    return url_for("quizzes.result", attempt_id=attempt_id, language=spoken)
