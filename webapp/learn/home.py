"""The home of learning, and a crew lead's phone in somebody else's hands."""

from flask import redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotAllowed
from audits.records import Worker
from audits.services import accounts
from audits.services.farms import the_worker
from audits.services.name_order import by_name
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Role
from webapp.access import (
    CREW_LEADS,
    EVERYONE,
    actor,
    crew_lead_of_phone,
    device,
    hand_over,
    open_to,
    open_to_learner,
    take_back,
)
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.learn.blueprint import blueprint
from webapp.learn.forms import GiveBackForm, HandOverForm
from webapp.learn.presenters import ways_of_learning


@blueprint.get("")
@open_to(EVERYONE)
@open_to_learner
def index() -> ResponseReturnValue:
    """Show what there is to learn with, and to look at."""
    form = None if actor().role is Role.WORKER else HandOverForm(formdata=None)
    return _index(form)


@blueprint.post("/hand-over")
@open_to(CREW_LEADS)
def hand_on() -> ResponseReturnValue:
    """Leave the phone to somebody who learns."""
    form = HandOverForm()
    form.offer(_workers())
    if not form.validate():
        return _index(form), 422
    with database().read() as connection:
        worker = the_worker(connection, actor().farm_id, form.chosen())
    hand_over(worker)
    return redirect(url_for("learn.index"))


@blueprint.route("/give-back", methods=["GET", "POST"])
@open_to(EVERYONE)
@open_to_learner
def give_back() -> ResponseReturnValue:
    """Ask for the crew lead's password, and give the phone back."""
    crew_lead = crew_lead_of_phone()
    if crew_lead is None:
        return redirect(url_for("learn.index"))
    form = GiveBackForm()
    if form.validate_on_submit():
        try:
            accounts.confirm_password(database(), crew_lead, form.password.data, now=present())
        except NotAllowed as error:
            form.form_errors.append(message_text(error.message))
        else:
            take_back()
            return redirect(url_for("learn.index"))
    return render_template(
        "learn/give_back.html", form=form, crew_lead=crew_lead.name, has_digits=device() is not None
    ), 422 if form.errors else 200


def _index(form: HandOverForm | None) -> str:
    if form is not None:
        form.offer(_workers())
    return render_template(
        "learn/index.html",
        person=actor().name,
        parts=ways_of_learning(actor()),
        form=form,
    )


def _workers() -> list[Worker]:
    with database().read() as connection:
        return by_name(farm_queries.workers(connection, actor().farm_id))
