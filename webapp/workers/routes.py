"""Workers: the list by name, and each one's season, which a worker sees for themselves alone."""

from flask import Blueprint, render_template, url_for
from flask.typing import ResponseReturnValue

from audits.coaching_words import left_out_words
from audits.errors import NotFound
from audits.messages import say
from audits.services.contesting import contests_beside_figures
from audits.services.trends import (
    SeasonChance,
    WorkerTrend,
    crew_trend,
    list_workers,
    worker_trend,
)
from audits.vocabulary import Role
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.extensions import database, present
from webapp.navigation import way_to
from webapp.season.choice import chosen_season, season_choices, season_label
from webapp.workers.presenters import (
    chance_words,
    line_views,
    own_chance_words,
    shared_lines,
    signals_of,
    stage_views,
)

blueprint = Blueprint("workers", __name__, url_prefix="/workers")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List the workers by name."""
    found = list_workers(database(), actor(), chosen_season())
    return render_template(
        "workers/index.html",
        workers=line_views(found.lines),
        crews=found.crews,
        chance=chance_words(SeasonChance(len(found.lines))),
        seasons=season_choices(found.seasons, found.season),
        season=season_label(found.season),
    )


@blueprint.get("/mine")
@open_to(frozenset({Role.WORKER}))
def mine() -> ResponseReturnValue:
    """Show workers their own season."""
    worker_id = actor().worker_id
    if worker_id is None:
        raise NotFound(say("There is no such worker."))
    trend = worker_trend(database(), actor(), worker_id, chosen_season(), present())
    return _page(trend, url_for("workers.mine"), own=True)


@blueprint.get("/<int:worker_id>")
@open_to(EVERYONE)
def show(worker_id: int) -> ResponseReturnValue:
    """Show a worker's season."""
    trend = worker_trend(database(), actor(), worker_id, chosen_season(), present())
    own = actor().worker_id == worker_id
    return _page(trend, url_for("workers.show", worker_id=worker_id), own=own)


@blueprint.get("/crews/<int:crew_id>")
@open_to(CREW_LEADS)
def crew(crew_id: int) -> ResponseReturnValue:
    """Show a crew's season on trees for which nobody answers alone."""
    trend = crew_trend(database(), actor(), crew_id, chosen_season(), present())
    stages = stage_views(trend.stages)
    return render_template(
        "workers/crew.html",
        crew=trend.crew,
        is_too_small=trend.is_too_small,
        signals=signals_of(stages),
        stages=stages,
        chance=own_chance_words(SeasonChance(1)),
        left_out=left_out_words(trend.left_out),
        seasons=season_choices(trend.seasons, trend.season),
        season=season_label(trend.season),
        address=url_for("workers.crew", crew_id=crew_id),
    )


def _page(trend: WorkerTrend, address: str, *, own: bool) -> str:
    contests = contests_beside_figures(database(), actor(), trend.worker.id, trend.season)
    stages = stage_views(trend.stages, contests)
    return render_template(
        "workers/show.html",
        worker=trend.worker,
        own=own,
        signals=signals_of(stages),
        stages=stages,
        chance=own_chance_words(SeasonChance(1)),
        left_out=left_out_words(trend.left_out),
        shared=trend.shared,
        shared_lines=shared_lines(trend.shared) if trend.shared else [],
        seasons=season_choices(trend.seasons, trend.season),
        season=season_label(trend.season),
        address=address,
        trees_url=way_to("contests.trees")
        if own
        else way_to("contests.trees_of_worker", worker_id=trend.worker.id),
    )
