"""Auditors: check trees, who agrees with whom, and what follows; for owners and supervisors."""

import secrets
from dataclasses import replace

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from werkzeug.datastructures import MultiDict

from audits.agreement.reading import LEAST_PAIRS
from audits.check_trees import USUAL_TREES
from audits.errors import AuditError, Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.records import DrawTree, User
from audits.scoring import Missed
from audits.seasons import season_span
from audits.services import calibrating, second_audits
from audits.services.access import may_keep_phones
from audits.services.agreement import figures_of_walk, view_agreement, view_pair
from audits.services.auditing import TreeEntry
from audits.services.calibrating import CheckAuditView
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import trends as trend_queries
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.entry import as_form, read_entry, read_missed, stage_panels
from webapp.auditing.gauges import gauge_question
from webapp.auditing.places import tree_place
from webapp.auditors import measures, presenters
from webapp.auditors.forms import NOBODY, WalkForm
from webapp.extensions import database, farm, present
from webapp.forms import message_text
from webapp.reading import words
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("auditors", __name__, url_prefix="/auditors")

_SEED_BITS = 63


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Show who agrees with whom, and which check trees wait."""
    season = chosen_season()
    view = view_agreement(database(), actor(), season, present())
    with database().read() as connection:
        seasons = trend_queries.seasons_with_results(connection, actor().farm_id)
    checks = second_audits.second_audits(database(), actor(), present())
    return render_template(
        "auditors/index.html",
        auditors=presenters.auditor_lines(view),
        pairs=presenters.pair_lines(view.pairs, season),
        walks=presenters.walk_lines(calibrating.list_walks(database(), actor()), actor()),
        waiting=presenters.waiting_checks(checks, actor()),
        past=presenters.past_checks(checks),
        seasons=season_choices(seasons, season),
        season=season_label(season),
        client_id=new_client_id(),
    )


@blueprint.get("/pairs/<int:first_id>/<int:second_id>")
@open_to(CREW_LEADS)
def pair(first_id: int, second_id: int) -> ResponseReturnValue:
    """Show two auditors beside each other, and the trees to talk over."""
    season = chosen_season()
    view = view_pair(database(), actor(), first_id, second_id, season, present())
    return render_template(
        "auditors/pair.html",
        view=view,
        pair=view.pair,
        season=season_label(season),
        readings=presenters.reading_lines(view.pair),
        trees=presenters.discussed_trees(view),
        charts=measures.difference_charts(view),
    )


@blueprint.route("/walks/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add_walk() -> ResponseReturnValue:
    """Ask where a calibration walk goes, and open it."""
    found = farm()
    span = season_span(chosen_season(), found.season_start_month, found.time_zone)
    passes = calibrating.passes_to_walk(database(), actor(), span.begin)
    form = WalkForm(trees=USUAL_TREES, reference_id=NOBODY)
    form.offer(passes, _crew_leads(), gettext("Nobody: all are alike"))
    if passes and form.validate_on_submit():
        entered = form.entered()
        try:
            walk_id = calibrating.open_walk(
                database(),
                actor(),
                entered["pass_id"],
                seed=secrets.randbits(_SEED_BITS),
                now=present(),
                trees=entered["trees"],
                reference_id=entered["reference_id"] or None,
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The calibration walk is open. Everybody scores it alone."), "message")
            return redirect(url_for("auditors.walk", walk_id=walk_id))
    return render_template(
        "auditors/new_walk.html", form=form, passes=passes, enough=LEAST_PAIRS
    ), 422 if form.errors else 200


def _crew_leads() -> list[User]:
    with database().read() as connection:
        people = account_queries.users(connection, actor().farm_id)
    return [person for person in people if may_keep_phones(person)]


@blueprint.get("/walks/<int:walk_id>")
@open_to(CREW_LEADS)
def walk(walk_id: int) -> ResponseReturnValue:
    """Show a calibration walk, and what it says once one's own round is closed."""
    view = calibrating.view_walk(database(), actor(), walk_id)
    figures = figures_of_walk(database(), actor(), walk_id, present())
    return render_template(
        "auditors/walk.html",
        view=view,
        name=presenters.walk_name(view),
        people=presenters.people_of_walk(view),
        own=view.own_open(actor().user_id),
        pairs=presenters.pair_lines(figures.pairs, None) if figures else [],
        found=presenters.found_lines(figures, view) if figures else [],
        stages=presenters.stage_figures(figures) if figures else [],
        measured=measures.walk_measures(figures) if figures else [],
        client_id=new_client_id(),
    )


@blueprint.post("/walks/<int:walk_id>/round")
@open_to(CREW_LEADS)
def begin_round(walk_id: int) -> ResponseReturnValue:
    """Begin one's own round of a calibration walk, or go on with it."""
    try:
        audit_id = calibrating.begin_round(
            database(),
            actor(),
            walk_id,
            client_id=posted_client_id(request.form),
            device=this_device(),
            now=present(),
        )
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditors.walk", walk_id=walk_id))
    return redirect(url_for("auditors.audit", audit_id=audit_id))


@blueprint.post("/walks/<int:walk_id>/close")
@open_to(CREW_LEADS)
def close_walk(walk_id: int) -> ResponseReturnValue:
    """Close a calibration walk."""
    try:
        calibrating.close_walk(database(), actor(), walk_id, present())
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The calibration walk is closed."), "message")
    return redirect(url_for("auditors.walk", walk_id=walk_id))


@blueprint.post("/second-audits/<int:check_id>/begin")
@open_to(CREW_LEADS)
def begin_second(check_id: int) -> ResponseReturnValue:
    """Begin a blind second audit, or go on with it."""
    try:
        audit_id = second_audits.begin_second_audit(
            database(),
            actor(),
            check_id,
            client_id=posted_client_id(request.form),
            device=this_device(),
            now=present(),
        )
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditors.index"))
    return redirect(url_for("auditors.audit", audit_id=audit_id))


@blueprint.post("/second-audits/<int:check_id>/give-up")
@open_to(CREW_LEADS)
def give_up_second(check_id: int) -> ResponseReturnValue:
    """Give a blind second audit up."""
    try:
        second_audits.give_up_second_audit(database(), actor(), check_id, present())
    except AuditError as error:
        flash(message_text(error.message), "problem")
    else:
        flash(
            gettext("The second audit is given up. The answers of the first show now."), "message"
        )
    return redirect(url_for("auditors.index"))


@blueprint.get("/audits/<int:audit_id>")
@open_to(CREW_LEADS)
def audit(audit_id: int) -> ResponseReturnValue:
    """Go on to the next check tree; when none is left, offer to close the round."""
    view = _round(audit_id)
    following = view.view.next_tree
    if following is not None and not view.is_closed and _is_own(view):
        return redirect(url_for("auditors.tree", audit_id=audit_id, tree_id=following.id))
    return _trees_page(view)


@blueprint.get("/audits/<int:audit_id>/trees")
@open_to(CREW_LEADS)
def trees(audit_id: int) -> ResponseReturnValue:
    """Show all trees of a round."""
    return _trees_page(_round(audit_id))


def _trees_page(view: CheckAuditView) -> str:
    audit = view.view.book.audit
    return render_template(
        "auditors/round.html",
        view=view,
        audit=audit,
        name=presenters.round_name(view),
        back_url=url_for("auditors.walk", walk_id=view.walk.id)
        if view.walk
        else url_for("auditors.index"),
        lines=presenters.round_lines(view),
        left=len(view.view.walk) - len(view.view.answered),
        is_own=_is_own(view),
        may_again=view.walk is not None and calibrating.may_walk_again(audit),
    )


@blueprint.get("/audits/<int:audit_id>/trees/<int:tree_id>")
@open_to(CREW_LEADS)
def tree(audit_id: int, tree_id: int) -> ResponseReturnValue:
    """Ask for the answers on one check tree."""
    view = _round(audit_id)
    found = _tree_of(view, tree_id)
    if view.is_closed or not _is_own(view):
        return redirect(url_for("auditors.trees", audit_id=audit_id))
    answers = view.view.answers.get(tree_id)
    given: MultiDict[str, str] = (
        MultiDict() if answers is None else as_form(answers, view.view.book.standard, words())
    )
    return _screen(view, found, given)


@blueprint.post("/audits/<int:audit_id>/trees/<int:tree_id>")
@open_to(CREW_LEADS)
def score(audit_id: int, tree_id: int) -> ResponseReturnValue:
    """Keep the answers on one check tree, or leave it out, and go on to the next."""
    view = _round(audit_id)
    found = _tree_of(view, tree_id)
    try:
        if "leave_out" in request.form:
            calibrating.leave_tree_out(
                database(),
                actor(),
                audit_id,
                tree_id,
                client_id=posted_client_id(request.form),
                device=this_device(),
                now=present(),
            )
        else:
            calibrating.score_check_tree(
                database(), actor(), audit_id, _entry(view, tree_id), present()
            )
    except InvalidInput as error:
        return _screen(view, found, request.form, error), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditors.trees", audit_id=audit_id))
    return redirect(url_for("auditors.audit", audit_id=audit_id))


@blueprint.post("/audits/<int:audit_id>/close")
@open_to(CREW_LEADS)
def close_round(audit_id: int) -> ResponseReturnValue:
    """Close one's own round."""
    try:
        next_id = calibrating.close_round(
            database(), actor(), audit_id, present(), again="again" in request.form
        )
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditors.trees", audit_id=audit_id))
    if next_id != audit_id:
        flash(gettext("The round is closed. The same trees once more."), "message")
        return redirect(url_for("auditors.audit", audit_id=next_id))
    flash(gettext("The round is closed."), "message")
    view = _round(audit_id)
    if view.walk is not None:
        return redirect(url_for("auditors.walk", walk_id=view.walk.id))
    return redirect(url_for("auditors.index"))


def _round(audit_id: int) -> CheckAuditView:
    return calibrating.view_check_audit(database(), actor(), audit_id)


def _is_own(view: CheckAuditView) -> bool:
    return view.view.book.audit.auditor_id == actor().user_id


def _tree_of(view: CheckAuditView, tree_id: int) -> DrawTree:
    for found in view.view.walk:
        if found.id == tree_id:
            return found
    raise NotFound(say("This tree is not in the walk of this audit."))


def _entry(view: CheckAuditView, tree_id: int) -> TreeEntry:
    book = view.view.book
    answers = read_entry(
        request.form,
        book.standard,
        farm().units,
        method=book.crew_pass.method,
        stages=book.draw.stages,
    )
    return TreeEntry(tree_id, posted_client_id(request.form), answers, this_device())


def _screen(
    view: CheckAuditView,
    found: DrawTree,
    given: MultiDict[str, str],
    error: InvalidInput | None = None,
) -> str:
    book = view.view.book
    panels = stage_panels(
        book.standard,
        book.crew_pass.method,
        given,
        {},
        words(),
        stages=book.draw.stages,
        problems=error.problems if error else None,
    )
    if error is not None and not any(panel.error for panel in panels):
        flash(message_text(error.message), "problem")
    missed = read_missed(given)
    last = view.view.last_scored
    place = tree_place(view.view.walk, found, view.rows)
    return render_template(
        "auditors/tree.html",
        form_action=url_for("auditors.score", audit_id=book.audit.id, tree_id=found.id),
        tree=replace(place, total=len(view.view.walk)),
        sign={"state": "carry_on", "words": gettext("Carry on"), "reason": presenters.left(view)},
        saved_words=presenters.kept(view),
        undo_url=None
        if last is None or last.id == found.id
        else url_for("auditors.tree", audit_id=book.audit.id, tree_id=last.id),
        stages=panels,
        gauges=gauge_question(
            book,
            book.draw.stages,
            given,
            error.problems if error else None,
            before=view.view,
        ),
        tallies={},
        settled={},
        missed={
            "tree_selected": missed is Missed.TREE,
            "side_selected": missed is Missed.SIDE,
        },
        kinds=[],
        client_id=new_client_id(),
        audit=book.audit,
    )
