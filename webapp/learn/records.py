"""The training record of one person, on screen; printed, it stands among the papers."""

from flask import render_template, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotFound
from audits.messages import say
from audits.services.name_order import by_name
from audits.services.training_records import view_training_record
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Role
from webapp.access import CREW_LEADS, actor, open_to, open_to_learner
from webapp.coaching.papers import name_of
from webapp.extensions import database, today
from webapp.learn.blueprint import blueprint
from webapp.learn.record_presenters import (
    brief_lines,
    practice_lines,
    quiz_lines,
    stage_lines,
    training_lines,
)
from webapp.navigation import way_to


@blueprint.get("/records")
@open_to(CREW_LEADS)
def records() -> ResponseReturnValue:
    """List the people, each with the way to the record."""
    with database().read() as connection:
        workers = by_name(farm_queries.workers(connection, actor().farm_id))
        crews = {crew.id: crew.name for crew in farm_queries.crews(connection, actor().farm_id)}
    return render_template(
        "learn/records.html",
        people=[
            (
                name_of(worker),
                crews.get(worker.crew_id or 0, ""),
                url_for("learn.record", worker_id=worker.id),
            )
            for worker in workers
        ],
    )


@blueprint.get("/records/mine")
@open_to(frozenset({Role.WORKER}))
@open_to_learner
def mine() -> ResponseReturnValue:
    """Show workers their own record."""
    worker_id = actor().worker_id
    if worker_id is None:
        raise NotFound(say("There is no such worker."))
    return _page(worker_id)


@blueprint.get("/records/<int:worker_id>")
@open_to(CREW_LEADS)
def record(worker_id: int) -> ResponseReturnValue:
    """Show a worker's record."""
    return _page(worker_id)


def _page(worker_id: int) -> str:
    view = view_training_record(database(), actor(), worker_id)
    worker = view.learning.worker
    is_own = actor().role is Role.WORKER
    return render_template(
        "learn/record.html",
        name=name_of(worker),
        crew=view.crew.name if view.crew else None,
        started_on=worker.started_on,
        is_own=is_own,
        stages=stage_lines(view),
        trainings=training_lines(view),
        practice=practice_lines(view),
        quizzes=quiz_lines(view),
        briefs=brief_lines(view, today()),
        print_url=None if is_own else way_to("printing.training", worker_id=worker_id),
        stages_url=None if is_own else way_to("coaching.stages", worker_id=worker_id),
    )
