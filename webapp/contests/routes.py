"""A worker's own page and trees, and disagreement with a score."""

from typing import Any, Final

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Worker
from audits.scoring import GAUGE
from audits.services import contesting
from audits.services.contesting import DAYS_TO_ANSWER, DAYS_TO_DISAGREE, ContestToAnswer
from audits.services.own_trees import (
    OwnTrees,
    every_own_tree,
    own_contests,
    own_photo,
    view_own_trees,
)
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Role, Stage
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.entry import (
    as_form,
    names_diameters,
    read_entry,
    read_missed,
    stage_panels,
)
from webapp.auditing.gauges import gauge_question
from webapp.contests import presenters
from webapp.contests.files import csv_text, own_rows
from webapp.contests.forms import AnswerForm, WordsForm
from webapp.extensions import database, farm, present
from webapp.field.pictures import picture_answer
from webapp.forms import message_text
from webapp.ids import record_id
from webapp.navigation import way_to
from webapp.reading import words
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("contests", __name__, url_prefix="/contests")

WORKERS: Final = frozenset({Role.WORKER})
_LATEST_SHOWN: Final = 5


# --- the worker's own pages ----------------------------------------------------------------------


@blueprint.get("/mine")
@open_to(WORKERS)
def mine() -> ResponseReturnValue:
    """Show workers what there is for them."""
    worker_id = _own_id()
    with database().read() as connection:
        worker = farm_queries.worker_by_id(connection, actor().farm_id, worker_id)
    raised = own_contests(database(), actor(), worker_id, chosen_season())
    return render_template(
        "contests/mine.html",
        worker=worker,
        coaching_url=way_to("coaching.mine"),
        waiting=sum(row.answered_at is None for row in raised),
        latest=presenters.contest_notes(raised[:_LATEST_SHOWN]),
    )


@blueprint.get("/notice")
@open_to(EVERYONE)
def notice() -> ResponseReturnValue:
    """Say what is kept about workers, why, who sees it, and how to object."""
    return render_template(
        "contests/notice.html",
        days_to_disagree=DAYS_TO_DISAGREE,
        days_to_answer=DAYS_TO_ANSWER,
    )


@blueprint.get("/trees")
@open_to(WORKERS)
def trees() -> ResponseReturnValue:
    """Show workers their own trees."""
    return _trees_page(_own_id())


@blueprint.get("/workers/<int:worker_id>/trees")
@open_to(CREW_LEADS)
def trees_of_worker(worker_id: int) -> ResponseReturnValue:
    """Show a worker's trees to a crew lead."""
    return _trees_page(worker_id)


@blueprint.get("/trees.csv")
@open_to(WORKERS)
def file_of_trees() -> ResponseReturnValue:
    """Give workers their own trees as a file."""
    season = chosen_season()
    found = every_own_tree(database(), actor(), _own_id(), season, now=present())
    # The mark at the beginning tells spreadsheet programs that the letters are UTF-8.
    content = csv_text(own_rows(found)).encode("utf-8-sig")
    return Response(
        content,
        content_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="trees-{season}.csv"'},
    )


@blueprint.get("/photos/<int:photo_id>")
@open_to(EVERYONE)
def photo(photo_id: int) -> ResponseReturnValue:
    """Show a photo to crew leads, and to the worker whose score it shows."""
    return picture_answer(own_photo(database(), actor(), photo_id, now=present()))


# --- disagreeing ---------------------------------------------------------------------------------


@blueprint.post("/audits/<int:audit_id>/trees/<int:tree_id>/<stage>")
@open_to(EVERYONE)
def disagree(audit_id: int, tree_id: int, stage: str) -> ResponseReturnValue:
    """Disagree with a score, in one step."""
    try:
        found = Stage(stage)
    except ValueError as error:
        raise NotFound(say("There is no such score.")) from error
    try:
        contest_id = contesting.raise_contest(
            database(), actor(), audit_id, tree_id, found, now=present()
        )
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(_back_to_trees(request.form.get("worker_id", type=record_id)))
    row = contesting.view_own_contest(database(), actor(), contest_id, present())
    flash(gettext("Noted: you disagree. A second person will answer."), "message")
    return redirect(_back_to_trees(row.worker_id, anchor=f"score-{audit_id}-{tree_id}-{found}"))


@blueprint.route("/<int:contest_id>/words", methods=["GET", "POST"])
@open_to(EVERYONE)
def words_of(contest_id: int) -> ResponseReturnValue:
    """Ask whoever disagrees why, if they want to say."""
    row = contesting.view_own_contest(database(), actor(), contest_id, present())
    back = _back_to_trees(row.worker_id)
    form = WordsForm(data={"words": row.words})
    if form.validate_on_submit():
        try:
            contesting.add_words(database(), actor(), contest_id, form.words.data or "")
        except InvalidInput as error:
            form.add_problems(error)
        except Conflict as error:
            flash(message_text(error.message), "problem")
            return redirect(back)
        else:
            flash(gettext("Your words are kept."), "message")
            return redirect(back)
    if row.answered_at is not None:
        return redirect(back)
    (entry,) = presenters.contest_notes([row])
    page = render_template(
        "contests/words.html", form=form, contest_id=contest_id, entry=entry, back=back
    )
    return page, 422 if form.errors else 200


@blueprint.post("/<int:contest_id>/take-back")
@open_to(EVERYONE)
def take_back(contest_id: int) -> ResponseReturnValue:
    """Take a disagreement back."""
    row = contesting.view_own_contest(database(), actor(), contest_id, present())
    try:
        contesting.take_back(database(), actor(), contest_id, now=present())
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("You took it back. The score stays as it is."), "message")
    return redirect(_back_to_trees(row.worker_id))


# --- answering -----------------------------------------------------------------------------------


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List what waits for an answer."""
    found = contesting.list_contests(database(), actor(), present())
    return render_template(
        "contests/index.html",
        waiting=[presenters.open_line(view) for view in found.waiting],
        answered=[presenters.answered_line(row) for row in found.answered],
        unseen=found.unseen,
        days_to_answer=DAYS_TO_ANSWER,
    )


@blueprint.route("/<int:contest_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def show(contest_id: int) -> ResponseReturnValue:
    """Show a disagreement, and take the answer that the score stands."""
    found = contesting.view_contest(database(), actor(), contest_id, present())
    form = AnswerForm()
    if form.validate_on_submit():
        answered = _answer(found, form)
        if answered is not None:
            return answered
    page = render_template(
        "contests/show.html",
        line=presenters.open_line(found.contest),
        answered=None
        if found.contest.row.answered_at is None
        else presenters.answered_line(found.contest.row),
        form=form,
        version=found.version,
    )
    return page, 422 if form.errors else 200


@blueprint.route("/<int:contest_id>/change", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def change(contest_id: int) -> ResponseReturnValue:
    """Take the answer that the score was wrong, with the right one."""
    found = contesting.view_contest(database(), actor(), contest_id, present())
    if found.contest.row.answered_at is not None or found.contest.hindrance is not None:
        return redirect(url_for("contests.show", contest_id=contest_id))
    form = AnswerForm()
    if not form.is_submitted():
        return _change_page(found, form)
    form.validate()
    try:
        answers = _changed(found)
    except InvalidInput as error:
        return _change_page(found, form, error), 422
    if not form.errors:
        answered = _answer(found, form, answers)
        if answered is not None:
            return answered
    return _change_page(found, form), 422


def _answer(
    found: ContestToAnswer, form: AnswerForm, answers: dict[str, Any] | None = None
) -> ResponseReturnValue | None:
    """Keep an answer and go back to the list; None where the form has problems now."""
    # What other stages came to was read here; an amendment since then must not be undone.
    version = request.form.get("version", found.version, type=record_id)
    try:
        contesting.answer_contest(
            database(),
            actor(),
            found.contest.row.id,
            reason=form.reason.data or "",
            now=present(),
            answers=answers,
            version=version,
            client_id=posted_client_id(request.form) if answers is not None else "",
            device=this_device(),
        )
    except InvalidInput as error:
        form.add_problems(error)
        return None
    except (Conflict, NotAllowed) as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The answer is kept. The worker sees it with your reason."), "message")
    return redirect(url_for("contests.index"))


def _changed(found: ContestToAnswer) -> dict[str, Any]:
    """Read the stage in question; the tree's other answers stay as they are, to the last digit."""
    book = found.book
    read = read_entry(
        request.form,
        book.standard,
        farm().units,
        method=book.crew_pass.method,
        stages=_asked(found),
        may_skip=() if found.answers.missed else set(book.draw.stages) - {found.contest.row.stage},
    )
    if found.answers.missed is not None:
        return read
    kept = found.answers.model_dump(mode="json")
    stages = {**kept["stages"], **read["stages"]}
    # A tree is measured with one gauge: the one of the diameters that were measured last.
    gauge = (read if names_diameters(read["stages"]) else kept).get(GAUGE)
    return {
        "missed": None,
        "stages": stages,
        GAUGE: gauge if names_diameters(stages) else None,
    }


def _asked(found: ContestToAnswer) -> tuple[Stage, ...]:
    """Return the stages to answer: the one in question, or all of a tree said to be missed."""
    if found.answers.missed is not None:
        return tuple(found.book.draw.stages)
    return (found.contest.row.stage,)


def _change_page(
    found: ContestToAnswer, form: AnswerForm, error: InvalidInput | None = None
) -> str:
    book = found.book
    given = request.form if form.is_submitted() else as_form(found.answers, book.standard, words())
    if error is not None:
        form.form_errors.append(gettext("Look at the stages again."))
    panels = stage_panels(
        book.standard,
        book.crew_pass.method,
        given,
        {},
        words(),
        stages=_asked(found),
        problems=error.problems if error else None,
    )
    return render_template(
        "contests/change.html",
        line=presenters.open_line(found.contest),
        form=form,
        stages=panels,
        gauges=gauge_question(book, _asked(found), given, error.problems if error else None),
        missed=read_missed(given),
        asks_missed=found.answers.missed is not None,
        client_id=new_client_id(),
        version=request.form.get("version", found.version, type=record_id),
    )


# --- parts ---------------------------------------------------------------------------------------


def _own_id() -> int:
    worker_id = actor().worker_id
    if worker_id is None:
        raise NotFound(say("There is no such worker."))
    return worker_id


def _trees_page(worker_id: int) -> str:
    page = request.args.get("page", 1, type=record_id)
    faults_only = request.args.get("show") == "faults"
    found = view_own_trees(
        database(),
        actor(),
        worker_id,
        chosen_season(),
        now=present(),
        page=page,
        faults_only=faults_only,
    )
    own = actor().worker_id == worker_id
    return render_template(
        "contests/trees.html",
        worker=found.worker,
        own=own,
        found=found,
        groups=presenters.group_views(found.trees),
        pictures=presenters.stage_pictures(),
        faults_only=faults_only,
        seasons=season_choices(found.seasons, found.season),
        season=season_label(found.season),
        address=_trees_url(found.worker),
        ways=_ways(found, faults_only=faults_only),
        worker_url=way_to("workers.show", worker_id=worker_id),
    )


def _trees_url(worker: Worker, **values: Any) -> str:  # noqa: ANN401 - as url_for takes them
    if actor().role is Role.WORKER:
        return url_for("contests.trees", **values)
    return url_for("contests.trees_of_worker", worker_id=worker.id, **values)


def _ways(found: OwnTrees, *, faults_only: bool) -> dict[str, str]:
    """Return the addresses of the other view, and of the pages before and after."""
    asked = {"season": request.args.get("season"), "show": "faults" if faults_only else None}
    ways = {
        "other": _trees_url(found.worker, season=asked["season"], show=None)
        if faults_only
        else _trees_url(found.worker, season=asked["season"], show="faults")
    }
    if found.page > 1:
        ways["newer"] = _trees_url(found.worker, page=found.page - 1, **asked)
    if found.page < found.pages:
        ways["older"] = _trees_url(found.worker, page=found.page + 1, **asked)
    return ways


def _back_to_trees(worker_id: int | None, anchor: str | None = None) -> str:
    """Return the page of trees from which a form was sent."""
    values: dict[str, Any] = {
        name: value
        for name in ("season", "show", "page")
        if (value := request.form.get(f"back_{name}"))
    }
    if actor().role is Role.WORKER:
        return url_for("contests.trees", _anchor=anchor, **values)
    if worker_id is None:
        return url_for("contests.index")
    return url_for("contests.trees_of_worker", worker_id=worker_id, _anchor=anchor, **values)
