"""The farm's settings and the people who can sign in; for owners."""

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import InvalidInput, NotFound
from audits.messages import say
from audits.records import User, Worker
from audits.services import accounts, farms
from audits.storage.queries import accounts as account_queries
from audits.storage.queries.farms import workers
from webapp.access import OWNERS, actor, open_to, refuse_phone
from webapp.extensions import database, farm, present
from webapp.farm.forms import ChangedUserForm, FarmForm, NewUserForm
from webapp.farm.presenters import people_rows, settings_lines

blueprint = Blueprint("farm", __name__, url_prefix="/farm")


@blueprint.get("")
@open_to(OWNERS)
def index() -> ResponseReturnValue:
    """Show the settings and who can sign in."""
    with database().read() as connection:
        people = account_queries.users(connection, actor().farm_id)
        crew = workers(connection, actor().farm_id, with_retired=True)
    return render_template(
        "farm/index.html",
        farm=farm(),
        settings=settings_lines(farm()),
        people=people_rows(people, crew),
    )


@blueprint.route("/settings", methods=["GET", "POST"])
@open_to(OWNERS)
def edit() -> ResponseReturnValue:
    """Change the settings."""
    form = FarmForm(obj=farm())
    if form.validate_on_submit():
        try:
            farms.edit_farm(database(), actor(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The settings were saved."), "message")
            return redirect(url_for("farm.index"))
    return render_template("farm/edit.html", form=form), 422 if form.errors else 200


@blueprint.route("/people/new", methods=["GET", "POST"])
@open_to(OWNERS)
def add_user() -> ResponseReturnValue:
    """Let one more person sign in."""
    _refuse_phone()
    form = NewUserForm(language=farm().language)
    form.offer(_workers())
    if form.validate_on_submit():
        try:
            accounts.admit_user(database(), actor(), now=present(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("%(name)s can sign in now.", name=form.name.data.strip()), "message")
            return redirect(url_for("farm.index"))
    return render_template("farm/user.html", form=form, user=None), 422 if form.errors else 200


@blueprint.route("/people/<int:user_id>", methods=["GET", "POST"])
@open_to(OWNERS)
def edit_user(user_id: int) -> ResponseReturnValue:
    """Change what a person sees and reads, or close the account."""
    _refuse_phone()
    user = _user(user_id)
    form = ChangedUserForm(obj=user)
    form.offer(_workers())
    if form.validate_on_submit():
        try:
            accounts.edit_user(database(), actor(), user_id, **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The account of %(name)s was saved.", name=form.name.data), "message")
            return redirect(url_for("farm.index"))
    return render_template("farm/user.html", form=form, user=user), 422 if form.errors else 200


@blueprint.post("/people/<int:user_id>/close")
@open_to(OWNERS)
def close_user(user_id: int) -> ResponseReturnValue:
    """Close an account and end its sessions."""
    _refuse_phone()
    user = _user(user_id)
    accounts.disable_user(database(), actor(), user_id, present())
    flash(gettext("%(name)s can no longer sign in.", name=user.name), "message")
    return redirect(url_for("farm.index"))


@blueprint.post("/people/<int:user_id>/reopen")
@open_to(OWNERS)
def reopen_user(user_id: int) -> ResponseReturnValue:
    """Open a closed account again."""
    _refuse_phone()
    user = _user(user_id)
    accounts.reopen_user(database(), actor(), user_id)
    flash(gettext("%(name)s can sign in again.", name=user.name), "message")
    return redirect(url_for("farm.index"))


def _refuse_phone() -> None:
    if request.method == "POST":
        refuse_phone(say("Sign in with your password to change who can sign in."))


def _user(user_id: int) -> User:
    with database().read() as connection:
        user = account_queries.user_by_id(connection, actor().farm_id, user_id)
    if user is None:
        raise NotFound(say("There is no such account."))
    return user


def _workers() -> list[Worker]:
    with database().read() as connection:
        return workers(connection, actor().farm_id)
