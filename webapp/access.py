"""Who may open which page: every view says so, and a view that says nothing is closed."""

from collections.abc import Callable
from typing import TypeVar

from flask import Flask, abort, current_app, g, redirect, request, session, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotAllowed
from audits.messages import say
from audits.records import Actor
from audits.services import accounts
from audits.vocabulary import Role
from webapp.extensions import database, present

View = TypeVar("View", bound=Callable[..., ResponseReturnValue])

EVERYONE = frozenset(Role)
CREW_LEADS = frozenset({Role.OWNER, Role.SUPERVISOR})
OWNERS = frozenset({Role.OWNER})


def open_to(roles: frozenset[Role]) -> Callable[[View], View]:
    """Open a view to signed-in people of these roles."""

    def mark_view(view: View) -> View:
        view.open_to = roles  # type: ignore[attr-defined]
        return view

    return mark_view


def open_to_anyone(view: View) -> View:
    """Open a view to people who have not signed in."""
    view.open_to_anyone = True  # type: ignore[attr-defined]
    return view


def actor() -> Actor:
    """Return the signed-in person; views that are open to anyone must not ask."""
    found = g.get("actor")
    if found is None:
        raise NotAllowed(say("Sign in first."))
    return found  # type: ignore[no-any-return]


def guard(app: Flask) -> None:
    """Check every request before its view runs."""

    @app.before_request
    def _check() -> ResponseReturnValue | None:
        token = session.get("token")
        g.actor = accounts.actor_of_session(database(), token, present()) if token else None
        if request.endpoint is None:
            return None
        view = current_app.view_functions[request.endpoint]
        if request.endpoint == "static" or getattr(view, "open_to_anyone", False):
            return None
        roles: frozenset[Role] | None = getattr(view, "open_to", None)
        if roles is None:
            abort(403)
        if g.actor is None:
            wanted = request.full_path.rstrip("?") if request.method == "GET" else None
            return redirect(url_for("account.sign_in", next=wanted))
        if g.actor.role not in roles:
            raise NotAllowed(say("Your sign-in is not for this page."))
        return None
