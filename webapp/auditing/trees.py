"""The trees of an audit, one screen each, scored where they stand."""

from typing import Any

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext
from werkzeug.datastructures import MultiDict

from audits.errors import AuditError, Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.records import DrawTree, Row
from audits.scoring import Missed
from audits.services import auditing
from audits.services.auditing import AuditView, TreeEntry
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import (
    OUTCOME_NAMES,
    PLANTING_KIND_NAMES,
    Outcome,
    PlantingKind,
    Purpose,
    Stage,
)
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.entry import as_form, read_entry, read_missed, stage_panels
from webapp.auditing.gauges import gauge_question
from webapp.auditing.places import place_words, tree_place
from webapp.auditing.standing import sign_of, tallies
from webapp.extensions import database, farm, present
from webapp.forms import message_text
from webapp.reading import words


@blueprint.get("/audits/<int:audit_id>/trees/<int:tree_id>")
@open_to(CREW_LEADS)
def tree(audit_id: int, tree_id: int) -> ResponseReturnValue:
    """Ask for the answers on one tree, or show those given to change them."""
    view = _open_view(audit_id)
    found = _tree_of(view, tree_id)
    if view.book.audit.sealed_at is not None:
        return redirect(url_for("auditing.amend", audit_id=audit_id, tree_id=tree_id))
    answers = view.answers.get(tree_id)
    given: MultiDict[str, str] = (
        MultiDict() if answers is None else as_form(answers, view.book.standard, words())
    )
    return _screen(view, found, given, new_client_id())


@blueprint.post("/audits/<int:audit_id>/trees/<int:tree_id>")
@open_to(CREW_LEADS)
def score(audit_id: int, tree_id: int) -> ResponseReturnValue:
    """Keep the answers on one tree and go on to the next, or to the verdict."""
    view = _open_view(audit_id)
    found = _tree_of(view, tree_id)
    if "not_a_tree" in request.form:
        return _replace(view, found)
    try:
        view = auditing.record_trees(
            database(), actor(), audit_id, [_entry(view, tree_id)], present()
        )
    except InvalidInput as error:
        return _screen(view, found, request.form, request.form.get("client_id", ""), error), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        if view.book.audit.sealed_at is not None:
            return redirect(url_for("auditing.audit", audit_id=audit_id))
        return _screen(view, found, request.form, new_client_id()), 409
    return _on_to_next(view)


@blueprint.post("/audits/<int:audit_id>/undo")
@open_to(CREW_LEADS)
def undo(audit_id: int) -> ResponseReturnValue:
    """Take the answers on the last tree back and ask for them again."""
    try:
        last = auditing.undo_last_tree(database(), actor(), audit_id)
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditing.audit", audit_id=audit_id))
    if last is None:
        return redirect(url_for("auditing.audit", audit_id=audit_id))
    return redirect(url_for("auditing.tree", audit_id=audit_id, tree_id=last.id))


def next_url(view: AuditView) -> str | None:
    """Return the address of the next tree's screen, None when nothing is left to score."""
    if view.next_tree is None or view.book.audit.sealed_at is not None or view.given_up:
        return None
    return url_for("auditing.tree", audit_id=view.book.audit.id, tree_id=view.next_tree.id)


def settled_stages(view: AuditView) -> dict[Stage, Outcome]:
    """Return the stages that need no answer any more, if the standard lets them be skipped."""
    return _decided_stages(view) if view.book.standard.skip_decided else {}


def _decided_stages(view: AuditView) -> dict[Stage, Outcome]:
    return {
        standing.stage: standing.outcome
        for standing in view.standings
        if standing.outcome is not Outcome.OPEN
    }


def _on_to_next(view: AuditView) -> ResponseReturnValue:
    return redirect(next_url(view) or url_for("auditing.audit", audit_id=view.book.audit.id))


def _open_view(audit_id: int) -> AuditView:
    view = auditing.view_audit(database(), actor(), audit_id)
    if view.book.draw.lot_id is None or not view.book.decides:
        raise NotFound(say("There is no such audit."))
    return view


def _tree_of(view: AuditView, tree_id: int) -> DrawTree:
    for found in view.walk:
        if found.id == tree_id:
            return found
    raise NotFound(say("This tree is not in the walk of this audit."))


def _entry(view: AuditView, tree_id: int) -> TreeEntry:
    book = view.book
    answers = read_entry(
        request.form,
        book.standard,
        farm().units,
        method=book.crew_pass.method,
        stages=book.draw.stages,
        may_skip=_may_skip(view, tree_id),
    )
    return TreeEntry(tree_id, posted_client_id(request.form), answers, this_device())


def _may_skip(view: AuditView, tree_id: int) -> set[Stage]:
    """Return the stages that may stay without an answer on a tree: not those it has already."""
    answers = view.answers.get(tree_id)
    given = set() if answers is None else set(answers.stages)
    return set(settled_stages(view)) - given


def _replace(view: AuditView, gone: DrawTree) -> ResponseReturnValue:
    audit_id = view.book.audit.id
    try:
        kind = PlantingKind(request.form["not_a_tree"])
    except ValueError as error:
        raise InvalidInput({"not_a_tree": say("Say what stands there instead.")}) from error
    try:
        replaced = auditing.replace_tree(database(), actor(), audit_id, gone.id, kind)
    except AuditError as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditing.tree", audit_id=audit_id, tree_id=gone.id))
    if replaced is None:
        flash(
            gettext(
                "The map is put right, but the reserve is used up. "
                "Begin a new audit of this lot: it draws afresh from the map as it is now."
            ),
            "problem",
        )
        return redirect(url_for("auditing.lot", lot_id=view.book.draw.lot_id))
    where = place_words(replaced, _rows(view))
    flash(gettext("The map is put right. Instead comes: %(where)s.", where=where), "message")
    return redirect(url_for("auditing.audit", audit_id=audit_id))


def _screen(
    view: AuditView,
    found: DrawTree,
    given: MultiDict[str, str],
    client_id: str,
    error: InvalidInput | None = None,
) -> str:
    book = view.book
    decided: dict[Stage, str] = {
        stage: words().say(OUTCOME_NAMES[outcome])
        for stage, outcome in settled_stages(view).items()
        if stage in _may_skip(view, found.id)
    }
    panels = stage_panels(
        book.standard,
        book.crew_pass.method,
        given,
        decided,
        words(),
        stages=book.draw.stages,
        problems=error.problems if error else None,
    )
    gauges = gauge_question(
        book, book.draw.stages, given, error.problems if error else None, before=view
    )
    if error is not None and not any(panel.error for panel in panels):
        flash(message_text(error.message), "problem")
    missed = read_missed(given)
    last = view.last_scored
    return render_template(
        "auditing/tree.html",
        form_action=url_for("auditing.score", audit_id=book.audit.id, tree_id=found.id),
        tree=tree_place(view.walk, found, _rows(view)),
        sign=sign_of(view),
        saved_words=_kept(view),
        undo_url=_undo_url(view, found),
        stages=panels,
        gauges=gauges,
        tallies=tallies(view.standings),
        settled=_decided_stages(view),
        missed={
            "tree_selected": missed is Missed.TREE,
            "side_selected": missed is Missed.SIDE,
        },
        kinds=_kinds(),
        client_id=client_id,
        audit=book.audit,
        counts_both=book.draw.purpose is Purpose.RE_AUDIT,
        is_last=last is not None and last.id == found.id,
        onward_url=next_url(view) if found.id in view.answers else None,
    )


def _undo_url(view: AuditView, found: DrawTree) -> str | None:
    last = view.last_scored
    if last is None or last.id == found.id:
        return None
    return url_for("auditing.tree", audit_id=view.book.audit.id, tree_id=last.id)


def _kept(view: AuditView) -> str:
    return str(ngettext("%(num)s tree kept", "%(num)s trees kept", len(view.answered)))


def _kinds() -> list[dict[str, Any]]:
    return [
        {"value": kind, "name": words().say(name)}
        for kind, name in PLANTING_KIND_NAMES.items()
        if kind is not PlantingKind.BEARING
    ]


def _rows(view: AuditView) -> dict[int, Row]:
    with database().read() as connection:
        rows = farm_queries.rows_of_block(connection, actor().farm_id, view.book.crew_pass.block_id)
    return {row.id: row for row in rows}
