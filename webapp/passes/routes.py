"""Passes, their rows, lots and people; for owners and supervisors."""

from logging import Logger
from secrets import SystemRandom
from threading import Thread

from flask import Blueprint, current_app, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from markupsafe import Markup, escape

from audits.errors import AuditError, Conflict, InvalidInput
from audits.plain_words import limb_caller_words
from audits.records import Actor
from audits.seasons import season_of
from audits.services import pass_views, passes
from audits.services.briefings import without_brief
from audits.services.pass_views import PassView
from audits.services.planning import prepare_plans
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import LotState, PassKind, Side, Stage
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, farm, present, today
from webapp.forms import message_text
from webapp.ids import record_id
from webapp.navigation import way_to
from webapp.passes import presenters
from webapp.passes.forms import EndForm, FinishForm, NamingForm, PassForm
from webapp.passes.people import named_rows, worker_words
from webapp.passes.rows import rows_words
from webapp.safety.presenters import brief_of
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("passes", __name__, url_prefix="/passes")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List the passes of a season, newest first."""
    listed = pass_views.list_passes(database(), actor(), chosen_season())
    return render_template(
        "passes/index.html",
        pruning=presenters.pass_lines(listed, rework=False),
        rework=presenters.pass_lines(listed, rework=True),
        seasons=season_choices(listed.seasons, listed.season),
        season=season_label(listed.season),
        is_present=listed.season == season_of(today(), farm().season_start_month),
    )


@blueprint.get("/new")
@open_to(CREW_LEADS)
def choose_block() -> ResponseReturnValue:
    """Ask in which block the pass goes."""
    with database().read() as connection:
        blocks = farm_queries.blocks(connection, actor().farm_id)
        standards = standard_queries.standards_in_force(connection, actor().farm_id, today())
    return render_template(
        "passes/choose_block.html",
        blocks=[(block, standards.get(block.id)) for block in blocks],
    )


@blueprint.route("/new/<int:block_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add(block_id: int) -> ResponseReturnValue:
    """Begin a pass in a block."""
    offered = pass_views.view_new_pass(database(), actor(), block_id, today())
    only_crew = offered.crews[0][0].id if len(offered.crews) == 1 else None
    form = PassForm(started_at=present(), kind=PassKind.DORMANT, lot_by="", crew_id=only_crew)
    form.offer(offered.block, offered.rows, offered.crews)
    if form.validate_on_submit():
        try:
            pass_id = passes.begin_pass(
                database(),
                actor(),
                now=present(),
                block_id=block_id,
                row_ids=form.chosen(),
                **form.entered("row_numbers", "row_ids"),
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The pass has begun. Read the safety notes to the crew."), "message")
            return redirect(url_for("passes.show", pass_id=pass_id))
    return render_template(
        "passes/new.html",
        form=form,
        block=offered.block,
        standard=offered.standard,
        crew_notes=presenters.crew_notes(offered),
        rows_left=presenters.rows_left_words(offered),
        marked=presenters.marked_rows(offered),
    ), 422 if form.errors else 200


@blueprint.route("/<int:pass_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def show(pass_id: int) -> ResponseReturnValue:
    """Show a pass, and take rows that are finished."""
    view = _view(pass_id)
    form = FinishForm(finished_at=present())
    form.offer_rows(presenters.unfinished_rows(view))
    if form.validate_on_submit():
        try:
            lot_ids = passes.finish_rows(
                database(),
                actor(),
                pass_id,
                form.chosen(),
                form.entered()["finished_at"],
                present(),
                chance=SystemRandom().random,
            )
        except InvalidInput as error:
            form.add_problems(error)
        except Conflict as error:
            flash(message_text(error.message), "problem")
            return redirect(url_for("passes.show", pass_id=pass_id))
        else:
            _prepare(lot_ids)
            _flash_finished(view, dict(zip(form.chosen(), lot_ids, strict=True)))
            return redirect(url_for("passes.show", pass_id=pass_id))
    return _page(view, form), 422 if form.errors else 200


@blueprint.post("/<int:pass_id>/finished-now")
@open_to(CREW_LEADS)
def finish_now(pass_id: int) -> ResponseReturnValue:
    """Take the row whose key was pressed as finished now."""
    view = _view(pass_id)
    row_id = request.form.get("row_id", 0, type=record_id)
    try:
        lot_id = passes.finish_row(
            database(),
            actor(),
            pass_id,
            row_id,
            present(),
            present(),
            chance=SystemRandom().random,
        )
    except AuditError as error:
        flash(message_text(error.message), "problem")
    else:
        _prepare([lot_id])
        _flash_finished(view, {row_id: lot_id})
    return redirect(url_for("passes.show", pass_id=pass_id))


@blueprint.post("/<int:pass_id>/take-back")
@open_to(CREW_LEADS)
def take_back(pass_id: int) -> ResponseReturnValue:
    """Take back that rows are finished."""
    view = _view(pass_id)
    row_ids = request.form.getlist("row_id", type=record_id)
    if not row_ids:
        return redirect(url_for("passes.show", pass_id=pass_id))
    try:
        passes.take_back_rows(database(), actor(), pass_id, row_ids)
    except AuditError as error:
        flash(message_text(error.message), "problem")
    else:
        taken = rows_words(_numbers(view, row_ids))
        flash(gettext("Taken back: %(rows)s. Not finished yet.", rows=taken), "message")
    return redirect(url_for("passes.show", pass_id=pass_id))


@blueprint.post("/<int:pass_id>/remove")
@open_to(CREW_LEADS)
def remove(pass_id: int) -> ResponseReturnValue:
    """Take back a pass that was begun by mistake."""
    try:
        passes.take_back_pass(database(), actor(), pass_id)
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("passes.show", pass_id=pass_id))
    flash(gettext("The pass was taken back."), "message")
    return redirect(url_for("passes.index"))


@blueprint.route("/<int:pass_id>/people", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def people(pass_id: int) -> ResponseReturnValue:
    """Show who did what in a pass, and take names."""
    view = _view(pass_id)
    standard = standard_of(view.standard)
    form = NamingForm(side=Side.BOTH, stages=list(standard.stages_in_use))
    form.offer([row for _, row in view.rows], view.people, standard.stages_in_use)
    if form.validate_on_submit():
        try:
            passes.assign_rows(
                database(),
                actor(),
                pass_id,
                row_ids=form.chosen(),
                **form.entered("row_numbers", "row_ids"),
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            where = rows_words(_numbers(view, form.chosen()))
            flash(gettext("The name was noted: %(rows)s.", rows=where), "message")
            return redirect(url_for("passes.people", pass_id=pass_id))
    return render_template(
        "passes/people.html",
        form=form,
        view=view,
        name=presenters.pass_name(view.block.name, view.crew.name),
        caller=(
            limb_caller_words(standard.limb_caller)
            if Stage.LIMBS in standard.stages_in_use
            else None
        ),
        rows=named_rows((row for _, row in view.rows), view.assignments, view.named),
    ), 422 if form.errors else 200


@blueprint.post("/<int:pass_id>/people/withdraw")
@open_to(CREW_LEADS)
def withdraw(pass_id: int) -> ResponseReturnValue:
    """Take a person's name off rows."""
    view = _view(pass_id)
    row_ids = request.form.getlist("row_id", type=record_id)
    passes.withdraw_assignments(
        database(),
        actor(),
        pass_id,
        worker_id=request.form.get("worker_id", 0, type=record_id),
        row_ids=row_ids,
    )
    where = rows_words(_numbers(view, row_ids))
    flash(gettext("The name was taken off: %(rows)s.", rows=where), "message")
    return redirect(url_for("passes.people", pass_id=pass_id))


@blueprint.route("/<int:pass_id>/end", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def end(pass_id: int) -> ResponseReturnValue:
    """Record or correct when a pass ended, and its hours."""
    view = _view(pass_id)
    found = view.crew_pass
    form = EndForm(ended_at=found.ended_at or present(), hours=found.hours)
    if form.validate_on_submit():
        try:
            passes.end_pass(database(), actor(), pass_id, now=present(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            _prepare([made.lot.id for made in view.lots])
            flash(gettext("The end of the pass was noted."), "message")
            return redirect(url_for("passes.show", pass_id=pass_id))
    left = presenters.unfinished_rows(view)
    return render_template(
        "passes/end.html",
        form=form,
        view=view,
        name=presenters.pass_name(view.block.name, view.crew.name),
        left=rows_words([row.number for row in left]) if left else None,
    ), 422 if form.errors else 200


def _view(pass_id: int) -> PassView:
    return pass_views.view_pass(database(), actor(), pass_id)


def _page(view: PassView, form: FinishForm) -> str:
    found = view.crew_pass
    is_rework = found.kind is PassKind.REWORK
    closed = presenters.closed_lots(view)
    return render_template(
        "passes/show.html",
        view=view,
        form=form,
        name=presenters.pass_name(view.block.name, view.crew.name),
        is_rework=is_rework,
        may_go=not (is_rework or view.lots or view.start_checks),
        facts_of_pass=presenters.facts_of(view),
        particulars_of_pass=presenters.particulars_of(view, _standard_link(view)),
        next_rows=presenters.next_rows(view),
        last_finished=presenters.last_finished(view),
        every_row=presenters.row_lines(view),
        open_lots=presenters.open_lots(view),
        closed_lots=closed,
        effort=view.effort.reason if view.effort else None,
        start_checks=presenters.start_check_lines(view),
        unchecked=presenters.unchecked(view),
        start_check_url=way_to("checks.begin", pass_id=found.id),
        named=presenters.named_words(view),
        not_briefed=_not_briefed(view),
        brief_url=way_to("learn.note_brief", method=found.method, crew_id=found.crew_id),
        brief=brief_of(found.method, {view.block.name: view.block.emergency_location}, farm()),
        order_url=(
            way_to("auditing.rework", order_id=view.rework_order_id)
            if view.rework_order_id
            else None
        ),
    )


def _not_briefed(view: PassView) -> str | None:
    """Say who of the crew may not start; None once the pass has ended, and where everybody may."""
    found = view.crew_pass
    if found.ended_at is not None:
        return None
    work = (found.crew_id, found.method)
    missing = without_brief(database(), actor(), [work], today()).get(work, [])
    return ", ".join(map(worker_words, missing)) or None


def _standard_link(view: PassView) -> Markup:
    url = url_for("standards.show", block_id=view.block.id, version=view.standard.version)
    name = gettext("Version %(version)s", version=view.standard.version)
    return Markup('<a href="{}">{}</a>').format(url, escape(name))


def _numbers(view: PassView, row_ids: list[int]) -> list[int]:
    return [row.number for _, row in view.rows if row.id in row_ids]


def _prepare(lot_ids: list[int]) -> None:
    """Let the plans of lots be found before anybody asks, while the answer is on its way."""
    given = (current_app.logger, database(), actor(), lot_ids)
    if current_app.testing:
        _prepare_quietly(*given)
    else:
        Thread(target=_prepare_quietly, args=given, daemon=True).start()


def _prepare_quietly(
    logger: Logger, farm_database: Database, who: Actor, lot_ids: list[int]
) -> None:
    """Find plans; whatever goes wrong, what was saved stays saved."""
    try:
        prepare_plans(farm_database, who, lot_ids)
    except Exception:
        logger.exception("The plans of lots %s could not be prepared.", lot_ids)


def _flash_finished(view: PassView, lot_of_row: dict[int, int]) -> None:
    """Say which rows are ready to be audited and which were passed over."""
    with database().read() as connection:
        lots = pass_queries.lots_of_pass(connection, actor().farm_id, view.crew_pass.id)
    passed_over = {lot.id for lot in lots if lot.state is LotState.NOT_CHOSEN}
    ready = [row_id for row_id, lot_id in lot_of_row.items() if lot_id not in passed_over]
    others = [row_id for row_id in lot_of_row if row_id not in ready]
    if ready:
        rows = rows_words(_numbers(view, ready))
        flash(gettext("Finished: %(rows)s. Ready to be audited.", rows=rows), "message")
    if others:
        rows = rows_words(_numbers(view, others))
        flash(gettext("Finished: %(rows)s. Not chosen for an audit.", rows=rows), "message")
