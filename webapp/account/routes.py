"""Signing in and out, and the language of the pages."""

import secrets
from urllib.parse import urlsplit

from flask import Blueprint, g, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotAllowed
from audits.services import accounts
from webapp.access import crew_lead_of_phone, open_to_anyone
from webapp.account.forms import SignInForm
from webapp.extensions import database, farm, present
from webapp.forms import message_text
from webapp.navigation import first_page

blueprint = Blueprint("account", __name__)


@blueprint.route("/sign-in", methods=["GET", "POST"])
@open_to_anyone
def sign_in() -> ResponseReturnValue:
    """Ask for name and password and open a session."""
    form = SignInForm()
    if form.validate_on_submit():
        token = secrets.token_urlsafe(32)
        try:
            actor = accounts.sign_in(
                database(),
                farm().id,
                form.name.data,
                form.password.data,
                token=token,
                now=present(),
            )
        except NotAllowed as error:
            form.form_errors.append(message_text(error.message))
        else:
            session.clear()
            session["token"] = token
            return redirect(_own_page(request.args.get("next")) or first_page(actor))
    return render_template("signin.html", form=form, farm=farm())


@blueprint.post("/sign-out")
@open_to_anyone
def sign_out() -> ResponseReturnValue:
    """End the session here and on the server."""
    token = session.get("token")
    if token:
        accounts.sign_out(database(), token)
    session.clear()
    answer = redirect(url_for("account.sign_in"))
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@blueprint.post("/language")
@open_to_anyone
def language() -> ResponseReturnValue:
    """Keep the language chosen, for the person or for this browser."""
    chosen = request.form.get("language", "")
    if g.actor is not None and crew_lead_of_phone() is None:
        accounts.choose_language(database(), g.actor, chosen)
    elif chosen in accounts.LANGUAGES:
        session["language"] = chosen
    return redirect(_own_page(request.form.get("next")) or url_for("account.sign_in"))


def _own_page(target: str | None) -> str | None:
    """Return the target if it is a path of these pages, so that no link leads elsewhere."""
    if not target or not target.startswith("/") or target.startswith(("//", "/\\")):
        return None
    if not target.isprintable():
        # Browsers drop tabs and line ends: what is left could lead elsewhere.
        return None
    parts = urlsplit(target)
    return None if parts.scheme or parts.netloc else target
