"""Start checks: whose, tree by tree, and what to show the worker; for owners and supervisors."""

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from werkzeug.datastructures import MultiDict

from audits.errors import AuditError, Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import DrawTree
from audits.scoring import Missed
from audits.services import pass_views, start_checks
from audits.services.start_checks import LEAST_TREES, MOST_TREES, StartCheckView
from audits.vocabulary import STAGE_NAMES, PassKind, Side, Stage
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.entry import as_form, read_entry, read_missed, stage_panels
from webapp.auditing.gauges import gauge_question
from webapp.checks import presenters
from webapp.checks.forms import TreeForm, WorkerChoiceForm
from webapp.extensions import database, farm, present
from webapp.forms import message_text
from webapp.ids import record_id
from webapp.passes.people import worker_words
from webapp.passes.presenters import pass_name
from webapp.reading import words

blueprint = Blueprint("checks", __name__)


@blueprint.route("/passes/<int:pass_id>/start-check", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def begin(pass_id: int) -> ResponseReturnValue:
    """Ask whose trees are looked at, and begin."""
    view = pass_views.view_pass(database(), actor(), pass_id)
    if view.crew_pass.kind is PassKind.REWORK:
        raise NotFound(say("There is no such pass."))
    form = WorkerChoiceForm()
    form.offer(presenters.people_to_check(view))
    if form.validate_on_submit():
        try:
            audit_id = start_checks.begin_start_check(
                database(),
                actor(),
                pass_id,
                worker_id=form.entered()["worker_id"],
                client_id=posted_client_id(request.form),
                device=this_device(),
                now=present(),
            )
        except InvalidInput as error:
            form.add_problems(error)
        except Conflict as error:
            flash(message_text(error.message), "problem")
            return redirect(url_for("checks.begin", pass_id=pass_id))
        else:
            return redirect(url_for("checks.show", audit_id=audit_id))
    return render_template(
        "checks/begin.html",
        form=form,
        view=view,
        name=pass_name(view.block.name, view.crew.name),
        notes=presenters.worker_notes(view),
        client_id=new_client_id(),
    ), 422 if form.errors else 200


@blueprint.get("/start-checks/<int:audit_id>")
@open_to(CREW_LEADS)
def show(audit_id: int) -> ResponseReturnValue:
    """Show the trees of a start check, and what to show the worker."""
    check = _check(audit_id)
    return render_template(
        "checks/show.html",
        check=check,
        audit=check.view.book.audit,
        worker=worker_words(check.worker),
        lines=presenters.tree_lines(check),
        to_show=presenters.to_show(check),
        right=presenters.right_stages(check),
        missing=max(0, LEAST_TREES - len(check.view.answers)),
        most=MOST_TREES,
    )


@blueprint.route("/start-checks/<int:audit_id>/tree", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def tree(audit_id: int) -> ResponseReturnValue:
    """Ask for a tree and its answers, or change one that was entered."""
    check = _check(audit_id)
    was = _tree_to_change(check)
    if check.is_closed or (was is None and not check.takes_more):
        return redirect(url_for("checks.show", audit_id=audit_id))
    form = TreeForm(**_place(check, was))
    form.offer(check.rows)
    if not form.is_submitted():
        return _screen(check, form, _given(check, was), was, {})
    answers, problems = _answers(check)
    if form.validate() and not problems:
        try:
            _score(check, form, was, answers)
        except InvalidInput as error:
            problems = error.problems
        except Conflict as error:
            flash(message_text(error.message), "problem")
            return redirect(url_for("checks.show", audit_id=audit_id))
        else:
            return redirect(url_for("checks.show", audit_id=audit_id))
    return _screen(check, form, request.form, was, problems), 422


@blueprint.post("/start-checks/<int:audit_id>/take-out")
@open_to(CREW_LEADS)
def take_out(audit_id: int) -> ResponseReturnValue:
    """Take a tree out of a start check."""
    try:
        start_checks.take_out_start_tree(
            database(), actor(), audit_id, request.form.get("tree_id", 0, type=record_id)
        )
    except AuditError as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The tree was taken out."), "message")
    return redirect(url_for("checks.show", audit_id=audit_id))


@blueprint.post("/start-checks/<int:audit_id>/close")
@open_to(CREW_LEADS)
def close(audit_id: int) -> ResponseReturnValue:
    """Close a start check."""
    try:
        start_checks.close_start_check(database(), actor(), audit_id, present())
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The start check is closed. Show the worker what you saw."), "message")
    return redirect(url_for("checks.show", audit_id=audit_id))


def _check(audit_id: int) -> StartCheckView:
    return start_checks.view_start_check(database(), actor(), audit_id)


def _tree_to_change(check: StartCheckView) -> DrawTree | None:
    """Return the tree that the address names, None for a new one."""
    tree_id = request.args.get("change", type=record_id)
    if tree_id is None:
        return None
    for found in check.view.walk:
        if found.id == tree_id:
            return found
    raise NotFound(say("There is no such tree in this start check."))


def _place(check: StartCheckView, was: DrawTree | None) -> dict[str, Any]:
    """Propose where the next tree stands: one on from the last."""
    last = was or check.view.last_scored
    if last is None:
        return {"row_id": check.rows[0].id, "position": None, "side": Side.LEFT}
    step = 0 if was else 1
    return {"row_id": last.orchard_row_id, "position": last.position + step, "side": last.side}


def _given(check: StartCheckView, was: DrawTree | None) -> MultiDict[str, str]:
    answers = check.view.answers.get(was.id) if was else None
    if answers is None:
        return MultiDict()
    return as_form(answers, check.view.book.standard, words())


def _answers(check: StartCheckView) -> tuple[dict[str, Any], dict[str, Message]]:
    """Return the posted answers, and what keeps them from being taken."""
    book = check.view.book
    try:
        answers = read_entry(
            request.form,
            book.standard,
            farm().units,
            method=book.crew_pass.method,
            stages=book.draw.stages,
        )
    except InvalidInput as error:
        return {}, error.problems
    return answers, {}


def _score(
    check: StartCheckView, form: TreeForm, was: DrawTree | None, answers: dict[str, Any]
) -> None:
    start_checks.score_start_tree(
        database(),
        actor(),
        check.view.book.audit.id,
        now=present(),
        answers=answers,
        client_id=posted_client_id(request.form),
        device=this_device(),
        was=was.id if was else None,
        **form.entered(),
    )


def _screen(
    check: StartCheckView,
    form: TreeForm,
    given: MultiDict[str, str],
    was: DrawTree | None,
    problems: dict[str, Message],
) -> str:
    book = check.view.book
    panels = stage_panels(
        book.standard,
        book.crew_pass.method,
        given,
        {},
        words(),
        stages=book.draw.stages,
        problems=problems,
    )
    _put_at_fields(form, problems)
    missed = read_missed(given)
    return render_template(
        "checks/tree.html",
        form=form,
        audit=book.audit,
        worker=worker_words(check.worker),
        number=len(check.view.answers) + (0 if was else 1),
        stages=panels,
        gauges=gauge_question(book, book.draw.stages, given, problems, before=check.view),
        missed={
            "tree_selected": missed is Missed.TREE,
            "side_selected": missed is Missed.SIDE,
        },
        client_id=new_client_id(),
        is_change=was is not None,
    )


def _put_at_fields(form: TreeForm, problems: dict[str, Message]) -> None:
    """Show problems of the place at its fields; those of answers also stand at their stages."""
    for name, problem in problems.items():
        stage = name.partition("_")[0]
        if stage in set(Stage):
            form.form_errors.append(
                f"{words().say(STAGE_NAMES[Stage(stage)])}: {message_text(problem)}"
            )
        else:
            form.add_problems(InvalidInput({name: problem}))
