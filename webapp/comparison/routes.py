"""Fair comparison: a stage of a season, and the mixed model behind it."""

from flask import Blueprint, current_app, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from audits.services.comparing import Around, compare
from audits.services.contesting import contested_in_season
from audits.services.fitting import ask_for_fits, pending_fits
from audits.vocabulary import STAGE_NAMES, Stage
from webapp.access import CREW_LEADS, actor, open_to
from webapp.comparison.job import start_fits
from webapp.comparison.presenters import comparison_page
from webapp.extensions import database, present
from webapp.season.choice import chosen_season, season_choices, season_label

blueprint = Blueprint("comparison", __name__, url_prefix="/comparison")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Compare people, blocks and auditors in one stage, by name."""
    found = compare(
        database(),
        actor(),
        chosen_season(),
        present(),
        stage=_chosen_stage(),
        around=_chosen_around(),
    )
    return render_template(
        "comparison/index.html",
        page=comparison_page(found),
        stage=found.stage,
        stage_name=STAGE_NAMES[found.stage],
        season=found.season,
        label=season_label(found.season),
        seasons=season_choices(found.seasons, found.season),
        contested_count=contested_in_season(database(), actor(), found.season, found.stage),
    )


@blueprint.post("/fits")
@open_to(CREW_LEADS)
def ask() -> ResponseReturnValue:
    """Ask for the mixed model of a stage and start to work it out."""
    season, stage = chosen_season(), _chosen_stage() or Stage.TOP
    fit_ids = ask_for_fits(database(), actor(), season, stage, present())
    settings = current_app.extensions["pruning_audit_settings"]
    start_fits(database(), actor().farm_id, fit_ids, settings.now)
    return redirect(url_for("comparison.index", season=season, stage=stage))


@blueprint.get("/fits")
@open_to(CREW_LEADS)
def standing() -> ResponseReturnValue:
    """Say how far the mixed models of a stage are, for the page that waits for them."""
    fits = pending_fits(
        database(), actor(), chosen_season(), _chosen_stage() or Stage.TOP, present()
    )
    done = sum(fit.progress for fit in fits) / len(fits) if fits else 1.0
    return jsonify(pending=len(fits), progress=done)


def _chosen_stage() -> Stage | None:
    return next((stage for stage in Stage if stage == request.args.get("stage")), None)


def _chosen_around() -> Around:
    return next((each for each in Around if each == request.args.get("around")), Around.STANDARD)
