"""Coaching sheets, stages learned one at a time, and trainings."""

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.records import Worker
from audits.services import sign_offs
from audits.services import training as services
from audits.services.coaching import coaching_view, crew_view
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import STAGE_NAMES, Role, Stage
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.coaching.forms import BeginForm, TrainingForm
from webapp.coaching.papers import coaching_pdf, crew_pdf, name_of
from webapp.coaching.presenters import (
    coaching_page,
    crew_stages,
    crew_trainings,
    effect_view,
    effects_by_kind,
    event_views,
    latest_words,
    left_out_lines,
    progress_views,
    stage_names,
    training_words,
    warning,
    window_choices,
)
from webapp.extensions import database, present, today
from webapp.ids import record_id
from webapp.printing.papers import asked_page, pdf_answer
from webapp.reading import words
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("coaching", __name__, url_prefix="/coaching")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Offer the sheets of crews, and show who learns what."""
    with database().read() as connection:
        crews = farm_queries.crews(connection, actor().farm_id)
        open_stages = sign_offs.open_stages(connection, actor().farm_id)
    workers = _workers()
    return render_template(
        "coaching/index.html",
        crews=crews,
        workers=[(worker.id, name_of(worker)) for worker in workers],
        learning=[
            (worker.id, name_of(worker), words().say(STAGE_NAMES[open_stages[worker.id]]))
            for worker in workers
            if worker.id in open_stages
        ],
    )


@blueprint.get("/mine")
@open_to(frozenset({Role.WORKER}))
def mine() -> ResponseReturnValue:
    """Show workers their own sheet."""
    worker_id = actor().worker_id
    if worker_id is None:
        raise NotFound(say("There is no such worker."))
    return _sheet(worker_id)


@blueprint.get("/<int:worker_id>")
@open_to(EVERYONE)
def show(worker_id: int) -> ResponseReturnValue:
    """Show a worker's coaching sheet."""
    return _sheet(worker_id)


def _sheet(worker_id: int) -> str:
    view = coaching_view(database(), actor(), worker_id, chosen_season())
    page = coaching_page(view)
    return render_template(
        "coaching/sheet.html",
        worker=view.worker,
        name=name_of(view.worker),
        own=actor().worker_id == worker_id,
        page=page,
        latest_words=latest_words(page.latest),
        seasons=season_choices(view.seasons, view.season),
        season=season_label(view.season),
        year=view.season,
        leads=actor().role in CREW_LEADS,
    )


@blueprint.get("/<int:worker_id>.pdf")
@open_to(EVERYONE)
def sheet_pdf(worker_id: int) -> Response:
    """Print a worker's coaching sheet."""
    return pdf_answer(coaching_pdf(worker_id, asked_page()), "coaching")


@blueprint.get("/crews/<int:crew_id>")
@open_to(CREW_LEADS)
def crew(crew_id: int) -> ResponseReturnValue:
    """Show a crew leader's sheet."""
    view = crew_view(database(), actor(), crew_id, chosen_season())
    reader = words()
    return render_template(
        "coaching/crew.html",
        crew=view.crew,
        is_too_small=view.is_too_small,
        stages=crew_stages(view),
        next_stage=reader.say(STAGE_NAMES[view.next_stage]) if view.next_stage else "",
        signals=[
            (worker.id, name_of(worker), stage_names(stages)) for worker, stages in view.signals
        ],
        block_first=[
            (worker.id, name_of(worker), stage_names(stages)) for worker, stages in view.block_first
        ],
        learning=[
            (worker.id, name_of(worker), stage_names([stage])) for worker, stage in view.learning
        ],
        trained=crew_trainings(view),
        left_out=left_out_lines(view.left_out),
        seasons=season_choices(view.seasons, view.season),
        season=season_label(view.season),
        year=view.season,
    )


@blueprint.get("/crews/<int:crew_id>.pdf")
@open_to(CREW_LEADS)
def crew_sheet_pdf(crew_id: int) -> Response:
    """Print a crew leader's sheet."""
    return pdf_answer(crew_pdf(crew_id, asked_page()), "crew")


@blueprint.get("/<int:worker_id>/stages")
@open_to(EVERYONE)
def stages(worker_id: int) -> ResponseReturnValue:
    """Show what somebody learns, stage by stage."""
    view = sign_offs.view_learning(database(), actor(), worker_id)
    return render_template(
        "coaching/stages.html",
        worker=view.worker,
        name=name_of(view.worker),
        own=actor().worker_id == worker_id,
        leads=actor().role in CREW_LEADS,
        stages=progress_views(view),
        may_begin=bool(view.may_begin),
    )


@blueprint.route("/<int:worker_id>/stages/begin", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def begin(worker_id: int) -> ResponseReturnValue:
    """Let somebody begin a stage."""
    view = sign_offs.view_learning(database(), actor(), worker_id)
    offered = view.may_begin or tuple(Stage)
    form = BeginForm(data={"stage": offered[0], "begun_on": today()})
    form.offer(offered)
    if form.validate_on_submit():
        try:
            sign_offs.begin_stage(
                database(),
                actor(),
                worker_id,
                stage=form.stage.data,
                begun_on=form.first_day(),
                now=present(),
            )
        except InvalidInput as error:
            form.add_problems(error)
        except Conflict as error:
            form.add_problems(InvalidInput({"stage": error.message}))
        else:
            flash(gettext("Begun: %(stage)s.", stage=_name(form.stage.data)), "message")
            return redirect(url_for("coaching.stages", worker_id=worker_id))
    return render_template(
        "coaching/begin.html", form=form, worker=view.worker, name=name_of(view.worker)
    ), 422 if form.errors else 200


@blueprint.post("/<int:worker_id>/stages/sign-off")
@open_to(CREW_LEADS)
def sign_off(worker_id: int) -> ResponseReturnValue:
    """Sign a stage off."""
    stage = _posted_stage()
    sign_offs.sign_off(database(), actor(), worker_id, stage=stage, now=present())
    flash(
        gettext("%(stage)s: signed off by %(name)s.", stage=_name(stage), name=actor().name),
        "message",
    )
    return redirect(url_for("coaching.stages", worker_id=worker_id))


@blueprint.post("/<int:worker_id>/stages/take-back")
@open_to(CREW_LEADS)
def take_back(worker_id: int) -> ResponseReturnValue:
    """Take back that a stage was begun."""
    stage = _posted_stage()
    sign_offs.take_back_stage(database(), actor(), worker_id, stage=stage)
    flash(gettext("%(stage)s is no longer being learned.", stage=_name(stage)), "message")
    return redirect(url_for("coaching.stages", worker_id=worker_id))


@blueprint.get("/trainings")
@open_to(CREW_LEADS)
def trainings() -> ResponseReturnValue:
    """List the trainings of a season, and whether each kind helped."""
    days = _asked_days()
    found = services.list_trainings(database(), actor(), chosen_season(), today(), days)
    return render_template(
        "coaching/trainings.html",
        events=event_views(found),
        effects=effects_by_kind(found),
        left_out=left_out_lines(found.left_out),
        warning=warning(),
        windows=window_choices(days),
        seasons=season_choices(found.seasons, found.season),
        season=season_label(found.season),
        year=found.season,
    )


@blueprint.route("/trainings/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def note() -> ResponseReturnValue:
    """Note a training."""
    workers = _workers()
    form = TrainingForm(data=_asked_training(workers) if request.method == "GET" else None)
    form.offer(workers)
    if form.validate_on_submit():
        try:
            people = services.note_training(database(), actor(), present(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(
                ngettext("Noted for %(num)s person.", "Noted for %(num)s people.", people),
                "message",
            )
            return redirect(url_for("coaching.trainings"))
    return render_template("coaching/note.html", form=form), 422 if form.errors else 200


@blueprint.get("/trainings/<int:event_id>")
@open_to(CREW_LEADS)
def training(event_id: int) -> ResponseReturnValue:
    """Show one training, and the trees before and after it."""
    days = _asked_days()
    view = services.view_training(database(), actor(), event_id, today(), days)
    return render_template(
        "coaching/training.html",
        view=view,
        name=name_of(view.worker),
        stage=_name(view.event.stage),
        how=training_words(view.event),
        effect=effect_view(view.effect),
        left_out=left_out_lines(view.left_out),
        warning=warning(),
        windows=window_choices(days),
    )


@blueprint.post("/trainings/<int:event_id>/take-out")
@open_to(CREW_LEADS)
def take_out(event_id: int) -> ResponseReturnValue:
    """Take out a training that was noted by mistake."""
    services.take_out_training(database(), actor(), event_id)
    flash(gettext("The training was taken out."), "message")
    return redirect(url_for("coaching.trainings"))


def _workers() -> list[Worker]:
    with database().read() as connection:
        found = farm_queries.workers(connection, actor().farm_id)
    return sorted(found, key=lambda worker: (worker.name or worker.code).casefold())


def _asked_training(workers: list[Worker]) -> dict[str, object]:
    """Return what the address asks for: one worker, or everybody in a crew; today."""
    worker_id = request.args.get("worker_id", type=record_id)
    crew_id = request.args.get("crew_id", type=record_id)
    chosen = [
        worker.id
        for worker in workers
        if worker.id == worker_id or (crew_id is not None and worker.crew_id == crew_id)
    ]
    stage = request.args.get("stage")
    asked: dict[str, object] = {"worker_ids": chosen, "held_on": today()}
    if stage in set(Stage):
        asked["stage"] = Stage(stage)
    return asked


def _asked_days() -> int | None:
    days = request.args.get("days", type=record_id)
    return days if days in services.WINDOWS else None


def _posted_stage() -> Stage:
    stage = request.form.get("stage", "")
    if stage not in set(Stage):
        raise InvalidInput({"stage": say("There is no such stage.")})
    return Stage(stage)


def _name(stage: Stage) -> str:
    return words().say(STAGE_NAMES[stage])
