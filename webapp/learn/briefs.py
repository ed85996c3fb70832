"""Safety briefs: who was given which, and who may not start without."""

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext

from audits.errors import InvalidInput
from audits.records import Worker
from audits.services import briefings as services
from audits.services.briefings import BRIEFED_METHODS, BriefingList
from audits.vocabulary import Method
from printables.no_start import NO_LAW
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, present, today
from webapp.ids import record_id
from webapp.learn.blueprint import blueprint
from webapp.learn.brief_presenters import latest_rows, method_parts, person_rows
from webapp.learn.forms import OWN_LANGUAGE, BriefForm
from webapp.navigation import way_to


@blueprint.get("/briefs")
@open_to(CREW_LEADS)
def briefs() -> ResponseReturnValue:
    """Show who may not start, how everybody stands, and what was noted last."""
    view = _view()
    return render_template(
        "learn/briefs.html",
        parts=method_parts(view),
        people=person_rows(view),
        latest=latest_rows(view),
        days=view.days,
        no_law=NO_LAW,
        print_url=way_to("printing.no_start"),
        sheet_url=way_to("printing.safety"),
    )


@blueprint.route("/briefs/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def note_brief() -> ResponseReturnValue:
    """Note a brief for everybody who was there."""
    view = _view()
    form = BriefForm(data=_asked(view) if request.method == "GET" else None)
    form.offer(_people(view))
    if form.validate_on_submit():
        language = form.language.data
        try:
            people = services.note_briefing(
                database(),
                actor(),
                present(),
                worker_ids=form.worker_ids.data or [],
                method=Method(form.method.data),
                held_on=form.day(),
                language=None if language == OWN_LANGUAGE else language,
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(
                ngettext("Noted for %(num)s person.", "Noted for %(num)s people.", people),
                "message",
            )
            return redirect(url_for("learn.briefs"))
    return render_template("learn/brief.html", form=form, days=view.days), (
        422 if form.errors else 200
    )


@blueprint.post("/briefs/withdraw")
@open_to(CREW_LEADS)
def withdraw_brief() -> ResponseReturnValue:
    """Withdraw a brief that was noted by mistake."""
    briefing_id = request.form.get("briefing_id", 0, type=record_id)
    services.withdraw_briefing(database(), actor(), briefing_id, present())
    flash(gettext("The brief was withdrawn. It does not count any more."), "message")
    return redirect(url_for("learn.briefs"))


def _view() -> BriefingList:
    return services.view_briefings(database(), actor(), today())


def _people(view: BriefingList) -> list[Worker]:
    """Return everybody by name, those of the crew that was asked about first."""
    crew_id = request.args.get("crew_id", type=record_id)
    people = [standing.worker for standing in view.standings[Method.LADDER]]
    return sorted(people, key=lambda worker: crew_id is not None and worker.crew_id != crew_id)


def _asked(view: BriefingList) -> dict[str, object]:
    """Return what the address asks for: a method, and whoever of a crew lacks its brief; today."""
    method = request.args.get("method", "")
    crew_id = request.args.get("crew_id", type=record_id)
    asked: dict[str, object] = {"held_on": today(), "language": OWN_LANGUAGE}
    if method not in set(Method):
        return asked
    asked["method"] = Method(method)
    if crew_id is not None and Method(method) in BRIEFED_METHODS:
        asked["worker_ids"] = [
            standing.worker.id
            for standing in view.standings[Method(method)]
            if standing.worker.crew_id == crew_id and not standing.may_start
        ]
    return asked
