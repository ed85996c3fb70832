"""Who may open which page: every view says so, and a view that says nothing is closed."""

from collections.abc import Callable
from typing import TypeVar

from flask import Flask, abort, current_app, g, redirect, request, session, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotAllowed
from audits.messages import Message, mark, say
from audits.records import Actor, DeviceRow
from audits.services import accounts, devices
from audits.vocabulary import Role
from webapp.extensions import database, present
from webapp.phone_answers import problem_answer

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


def open_to_phones(view: View) -> View:
    """Open a view to enrolled phones that are unlocked; whoever else asks is told so in JSON."""
    view.open_to = CREW_LEADS  # type: ignore[attr-defined]
    view.open_to_phones = True  # type: ignore[attr-defined]
    return view


def actor() -> Actor:
    """Return the signed-in person; views that are open to anyone must not ask."""
    found = g.get("actor")
    if found is None:
        raise NotAllowed(say("Sign in first."))
    return found  # type: ignore[no-any-return]


def device() -> DeviceRow | None:
    """Return the enrolled phone that this session is bound to, None where a password opened it."""
    if "device" not in g:
        token = session.get("token")
        g.device = devices.device_of_session(database(), token, present()) if token else None
    return g.device  # type: ignore[no-any-return]


def refuse_phone(sentence: Message) -> None:
    """
    Raise NotAllowed in a session that six digits opened on a phone.

    Whom a phone in the wrong hands lets in stays when the phone is revoked.
    """
    if device() is not None:
        raise NotAllowed(sentence)


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
        if getattr(view, "open_to_phones", False):
            return _check_phone(roles)
        if g.actor is None:
            wanted = request.full_path.rstrip("?") if request.method == "GET" else None
            return redirect(url_for("account.sign_in", next=wanted))
        if g.actor.role not in roles:
            raise NotAllowed(say("Your sign-in is not for this page."))
        return None


def _check_phone(roles: frozenset[Role]) -> ResponseReturnValue | None:
    """Refuse whoever is no unlocked phone of somebody with one of the roles."""
    if g.actor is None:
        return problem_answer("locked", mark("Unlock this phone with your six digits."), 401)
    if g.actor.role not in roles:
        return problem_answer("not_allowed", mark("Your sign-in is not for this page."), 403)
    if device() is None:
        return problem_answer("not_enrolled", mark("Enrol this phone first."), 401)
    return None
