"""The owner's review of a season."""

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from audits.services.contesting import contested_in_season
from audits.services.season import review_season
from webapp.access import OWNERS, actor, open_to
from webapp.extensions import database
from webapp.ids import record_id
from webapp.navigation import way_to
from webapp.season.choice import chosen_season, season_choices, season_label
from webapp.season.presenters import (
    amended_note,
    block_table,
    crew_table,
    hours_note,
    key_figures,
    stage_table,
    stage_views,
)

blueprint = Blueprint("season", __name__, url_prefix="/season")


@blueprint.get("")
@open_to(OWNERS)
def index() -> ResponseReturnValue:
    """Show how lots, stages and hours of a season came out, never a person."""
    crew_id = request.args.get("crew", type=record_id)
    review = review_season(database(), actor(), chosen_season(), crew_id=crew_id)
    return render_template(
        "season/index.html",
        review=review,
        label=season_label(review.season.year),
        seasons=season_choices(review.seasons, review.season.year),
        figures=key_figures(review),
        lot_tables=[block_table(review), crew_table(review)],
        stage_table=stage_table(review.stages),
        stages=stage_views(review.stages),
        amended=amended_note(review.lots),
        hours=hours_note(review.effort),
        contested_count=contested_in_season(database(), actor(), review.season.year),
        passes_url=way_to("passes.index"),
    )
