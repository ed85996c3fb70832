"""What learning says about the row: across workers, and for one of them."""

from flask import Blueprint, render_template, url_for
from flask.typing import ResponseReturnValue

from audits.coaching_words import left_out_words
from audits.errors import NotFound
from audits.messages import say
from audits.services.learning_results import farm_learned, worker_learned
from audits.vocabulary import Role
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.extensions import database
from webapp.learning_rows.presenters import across_view, stage_views
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("learning_rows", __name__, url_prefix="/learn/rows")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Say across workers what practice and quizzes tell of the row."""
    found = farm_learned(database(), actor(), chosen_season())
    return render_template(
        "learning_rows/index.html",
        page=across_view(found),
        workers=found.workers,
        left_out=left_out_words(found.left_out),
        seasons=season_choices(found.seasons, found.season),
        season=season_label(found.season),
        chosen=found.season,
    )


@blueprint.get("/mine")
@open_to(frozenset({Role.WORKER}))
def mine() -> ResponseReturnValue:
    """Show workers what they practised beside their own trees."""
    worker_id = actor().worker_id
    if worker_id is None:
        raise NotFound(say("There is no such worker."))
    return _page(worker_id, url_for("learning_rows.mine"))


@blueprint.get("/<int:worker_id>")
@open_to(EVERYONE)
def show(worker_id: int) -> ResponseReturnValue:
    """Show what a worker practised beside the worker's trees."""
    return _page(worker_id, url_for("learning_rows.show", worker_id=worker_id))


def _page(worker_id: int, address: str) -> str:
    found = worker_learned(database(), actor(), worker_id, chosen_season())
    return render_template(
        "learning_rows/show.html",
        worker=found.worker,
        own=actor().worker_id == worker_id,
        stages=stage_views(found.stages),
        left_out=left_out_words(found.left_out),
        seasons=season_choices(found.seasons, found.season),
        season=season_label(found.season),
        address=address,
    )
