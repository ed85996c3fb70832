"""Amendments: a score corrected after the verdict, beside the one that was given first."""

from typing import Any

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import DrawTree
from audits.services.amending import amend_tree
from audits.services.contesting import contested_in_audits
from audits.services.verdicts import VerdictView, view_verdict
from audits.vocabulary import SIDE_NAMES, STAGE_NAMES, Stage
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.entry import StagePanel, as_form, read_entry, read_missed, stage_panels
from webapp.auditing.forms import AmendmentForm
from webapp.auditing.gauges import gauge_question
from webapp.auditing.places import lot_name, place_words
from webapp.auditing.sheets import AmendedTree, versions_of
from webapp.extensions import database, farm, present
from webapp.forms import message_text
from webapp.reading import words


@blueprint.route("/audits/<int:audit_id>/trees/<int:tree_id>/amend", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def amend(audit_id: int, tree_id: int) -> ResponseReturnValue:
    """Correct a tree of a sealed audit, with a reason."""
    view = view_verdict(database(), actor(), audit_id, present())
    tree = _tree_of(view, tree_id)
    if view.view.book.audit.sealed_at is None:
        return redirect(url_for("auditing.tree", audit_id=audit_id, tree_id=tree_id))
    form = AmendmentForm()
    if not form.is_submitted():
        return _page(view, tree, form)
    try:
        _amend(view, tree_id, form)
    except InvalidInput as error:
        return _page(view, tree, form, error), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditing.amend", audit_id=audit_id, tree_id=tree_id))
    flash(gettext("The amendment is kept. The answers before it stay readable."), "message")
    return redirect(url_for("auditing.audit", audit_id=audit_id))


def _tree_of(view: VerdictView, tree_id: int) -> DrawTree:
    for found in view.view.walk:
        if found.id == tree_id and tree_id in view.view.answers:
            return found
    raise NotFound(say("This tree was not scored in this audit."))


def _amend(view: VerdictView, tree_id: int, form: AmendmentForm) -> None:
    """Read answers and reason together, so that every problem shows at once."""
    book = view.view.book
    problems: dict[str, Message] = {}
    if not form.validate():
        problems["reason"] = say("Say why the score is changed.")
    answers: dict[str, Any] = {}
    try:
        answers = read_entry(
            request.form,
            book.standard,
            farm().units,
            method=book.crew_pass.method,
            stages=book.draw.stages,
            may_skip=_unanswered(view, tree_id),
        )
    except InvalidInput as error:
        problems |= error.problems
    if problems:
        raise InvalidInput(problems)
    amend_tree(
        database(),
        actor(),
        book.audit.id,
        tree_id,
        answers=answers,
        reason=form.reason.data or "",
        client_id=posted_client_id(request.form),
        device=this_device(),
        now=present(),
    )


def _unanswered(view: VerdictView, tree_id: int) -> set[Stage]:
    """Return the stages that were decided, and so left out, when the tree was scored."""
    answers = view.view.answers[tree_id]
    return set() if answers.missed else set(view.view.book.draw.stages) - set(answers.stages)


def _page(
    view: VerdictView, tree: DrawTree, form: AmendmentForm, error: InvalidInput | None = None
) -> str:
    book = view.view.book
    given = request.form if error else as_form(view.view.answers[tree.id], book.standard, words())
    panels = stage_panels(
        book.standard,
        book.crew_pass.method,
        given,
        {},
        words(),
        stages=book.draw.stages,
        problems=error.problems if error else None,
    )
    if error is not None:
        form.add_problems(_not_at_a_stage(error, panels))
    return render_template(
        "auditing/amend.html",
        audit=book.audit,
        form=form,
        form_action=url_for("auditing.amend", audit_id=book.audit.id, tree_id=tree.id),
        name=lot_name(view.ranges),
        place=place_words(tree, view.rows),
        side=words().say(SIDE_NAMES[tree.side]),
        stages=panels,
        gauges=gauge_question(book, book.draw.stages, given, error.problems if error else None),
        missed=read_missed(given),
        client_id=new_client_id(),
        contested=_contested_stages(book.audit.id, tree.id),
        tree=AmendedTree(place_words(tree, view.rows), versions_of(view, tree)),
    )


def _contested_stages(audit_id: int, tree_id: int) -> str:
    """Return the stages of a tree with which a worker disagrees, by name."""
    found = contested_in_audits(database(), actor(), audit_id)
    return ", ".join(
        words().say(name)
        for stage, name in STAGE_NAMES.items()
        if (audit_id, tree_id, stage) in found
    )


def _not_at_a_stage(error: InvalidInput, panels: list[StagePanel]) -> InvalidInput:
    """Return the problems that no stage shows, or that some stage needs another look."""
    keys = tuple(panel.key for panel in panels)
    elsewhere = {
        name: message for name, message in error.problems.items() if not name.startswith(keys)
    }
    if len(elsewhere) < len(error.problems):
        elsewhere["stages"] = say("Look at the stages again.")
    return InvalidInput(elsewhere)
