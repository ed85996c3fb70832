"""What waits today: lots to audit, rework, workers with a signal, start checks, safety."""

from flask import Blueprint, redirect, render_template
from flask.typing import ResponseReturnValue

from audits.services.briefings import without_brief
from audits.services.contesting import list_contests
from audits.services.held import count_held
from audits.services.second_audits import count_second_audits
from audits.services.today import view_today
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.extensions import database, farm, present
from webapp.navigation import first_page, way_to
from webapp.today import presenters

blueprint = Blueprint("today", __name__)


@blueprint.get("/")
@open_to(EVERYONE)
def index() -> ResponseReturnValue:
    """Show what waits; lead workers, to whom the farm's address is all they know, to their page."""
    if actor().role not in CREW_LEADS:
        return redirect(first_page(actor()))
    view = view_today(database(), actor(), present())
    missing = without_brief(database(), actor(), presenters.work_today(view), view.day)
    return render_template(
        "today/index.html",
        day=presenters.day_words(view.day),
        figures=presenters.figures_of(view),
        not_briefed=presenters.brief_lines(view, missing),
        checks=presenters.check_lines(view, present()),
        waiting=presenters.waiting_part(view),
        late=presenters.late_part(view),
        begun=presenters.begun_part(view),
        rework=presenters.rework_part(view),
        contests=presenters.contest_part(list_contests(database(), actor(), present()).waiting),
        signals=presenters.signal_part(view),
        at_work=presenters.pass_part(view),
        briefs=presenters.briefs_of(view, farm()),
        begin_url=way_to("passes.choose_block"),
        held=count_held(database(), actor()),
        to_check=count_second_audits(database(), actor(), present()),
        paper_url=way_to("printing.index"),
    )
