"""Crews and workers; for owners and supervisors."""

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import InvalidInput
from audits.records import Crew, Worker
from audits.services import farms
from audits.storage.queries import farms as farm_queries
from webapp.access import CREW_LEADS, actor, open_to
from webapp.crews.forms import ChangedCrewForm, ChangedWorkerForm, CrewForm, WorkerForm
from webapp.crews.presenters import Order, crew_parts, those_who_left
from webapp.extensions import database, farm
from webapp.ids import record_id

blueprint = Blueprint("crews", __name__, url_prefix="/crews")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List the crews with their workers."""
    with database().read() as connection:
        crews = farm_queries.crews(connection, actor().farm_id, with_retired=True)
        workers = farm_queries.workers(connection, actor().farm_id, with_retired=True)
    order = Order.NAME if request.args.get("order") == Order.NAME else Order.CODE
    return render_template(
        "crews/index.html",
        crews=crew_parts(crews, workers, order, without_crew=gettext("Without a crew")),
        left=those_who_left(workers, order),
        by_name=order is Order.NAME,
    )


@blueprint.route("/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add() -> ResponseReturnValue:
    """Add a crew."""
    form = CrewForm()
    if form.validate_on_submit():
        try:
            farms.add_crew(database(), actor(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The crew was saved. Add its workers next."), "message")
            return redirect(url_for("crews.index"))
    return render_template("crews/crew.html", form=form, crew=None), 422 if form.errors else 200


@blueprint.route("/<int:crew_id>/edit", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def edit(crew_id: int) -> ResponseReturnValue:
    """Rename or retire a crew."""
    with database().read() as connection:
        crew = farms.the_crew(connection, actor().farm_id, crew_id)
    form = ChangedCrewForm(obj=crew)
    if form.validate_on_submit():
        try:
            farms.edit_crew(database(), actor(), crew_id, **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The crew was saved."), "message")
            return redirect(url_for("crews.index"))
    return render_template("crews/crew.html", form=form, crew=crew), 422 if form.errors else 200


@blueprint.route("/workers/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add_worker() -> ResponseReturnValue:
    """Add a worker, by default to the crew whose key was pressed."""
    crews = _crews()
    form = WorkerForm(crew_id=request.args.get("crew_id", type=record_id), language=farm().language)
    form.offer(crews)
    if form.validate_on_submit():
        try:
            farms.add_worker(database(), actor(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("%(name)s was added.", name=form.name.data.strip()), "message")
            return redirect(url_for("crews.index"))
    return render_template("crews/worker.html", form=form, worker=None), 422 if form.errors else 200


@blueprint.route("/workers/<int:worker_id>/edit", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def edit_worker(worker_id: int) -> ResponseReturnValue:
    """Change a worker, erase the name or retire them."""
    with database().read() as connection:
        worker = farms.the_worker(connection, actor().farm_id, worker_id)
    form = ChangedWorkerForm(obj=worker)
    form.offer(_crews(worker))
    if form.validate_on_submit():
        try:
            farms.edit_worker(database(), actor(), worker_id, **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("%(code)s was saved.", code=form.code.data.strip()), "message")
            return redirect(url_for("crews.index"))
    return render_template(
        "crews/worker.html", form=form, worker=worker
    ), 422 if form.errors else 200


def _crews(worker: Worker | None = None) -> list[Crew]:
    """Return the crews on offer, and the worker's own even if it is retired."""
    with database().read() as connection:
        crews = farm_queries.crews(connection, actor().farm_id, with_retired=True)
    own = worker.crew_id if worker else None
    return [crew for crew in crews if not crew.retired or crew.id == own]
