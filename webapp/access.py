"""Who may open which page: every view says so, and a view that says nothing is closed."""

from collections.abc import Callable
from typing import TypeVar

from flask import Flask, abort, current_app, g, redirect, request, session, url_for
from flask.typing import ResponseReturnValue

from audits.errors import NotAllowed
from audits.messages import Message, mark, say
from audits.records import Actor, DeviceRow, Worker
from audits.services import accounts, devices
from audits.storage.queries.farms import worker_by_id
from audits.vocabulary import Role
from webapp.extensions import database, present
from webapp.phone_answers import problem_answer

View = TypeVar("View", bound=Callable[..., ResponseReturnValue])

EVERYONE = frozenset(Role)
CREW_LEADS = frozenset({Role.OWNER, Role.SUPERVISOR})
OWNERS = frozenset({Role.OWNER})
# Whose hands a crew lead's phone is in, as the session keeps it.
_LEARNER = "learner"


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


def open_to_learner(view: View) -> View:
    """Open a view also while a crew lead's phone is in the hands of somebody who learns."""
    view.open_to_learner = True  # type: ignore[attr-defined]
    return view


def actor() -> Actor:
    """
    Return the signed-in person; views that are open to anyone must not ask.

    While a crew lead's phone is handed over this is whoever holds it: a worker, who sees their own
    records, under the account of the crew lead, who answers for what is noted.
    """
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


def hand_over(worker: Worker) -> None:
    """Leave the phone to a worker until the crew lead takes it back."""
    session[_LEARNER] = worker.id
    session["language"] = worker.language


def take_back() -> None:
    """Give the phone back to the crew lead; the caller has made sure that it is them."""
    session.pop(_LEARNER, None)
    session.pop("language", None)


def crew_lead_of_phone() -> Actor | None:
    """Return the crew lead whose phone somebody else holds; None where it is not handed over."""
    return g.get("crew_lead")  # type: ignore[no-any-return]


def _find_actor() -> None:
    """Find out who is signed in, and whether somebody else holds the phone."""
    token = session.get("token")
    g.actor = accounts.actor_of_session(database(), token, present()) if token else None
    learner_id = session.get(_LEARNER)
    if g.actor is None or learner_id is None:
        return
    g.crew_lead = g.actor
    with database().read() as connection:
        worker = worker_by_id(connection, g.actor.farm_id, learner_id)
    g.actor = Actor(
        user_id=g.actor.user_id,
        farm_id=g.actor.farm_id,
        name=(worker.name or worker.code) if worker else "",
        role=Role.WORKER,
        language=session.get("language") or g.actor.language,
        worker_id=learner_id,
    )


def guard(app: Flask) -> None:
    """Check every request before its view runs."""

    @app.before_request
    def _check() -> ResponseReturnValue | None:
        _find_actor()
        if request.endpoint is None:
            return None
        view = current_app.view_functions[request.endpoint]
        if request.endpoint == "static" or getattr(view, "open_to_anyone", False):
            return None
        roles: frozenset[Role] | None = getattr(view, "open_to", None)
        if roles is None:
            abort(403)
        held = _refuse_learner(view)
        if held is not None:
            return held
        if getattr(view, "open_to_phones", False):
            return _check_phone(roles)
        if g.actor is None:
            wanted = request.full_path.rstrip("?") if request.method == "GET" else None
            return redirect(url_for("account.sign_in", next=wanted))
        if g.actor.role not in roles:
            raise NotAllowed(say("Your sign-in is not for this page."))
        return None


def _refuse_learner(view: object) -> ResponseReturnValue | None:
    """Keep whoever holds a crew lead's phone to the pages that are for learning."""
    if crew_lead_of_phone() is None or getattr(view, "open_to_learner", False):
        return None
    if getattr(view, "open_to_phones", False):
        return problem_answer("locked", mark("Unlock this phone with your six digits."), 401)
    raise NotAllowed(
        say(
            "This phone is with %(name)s, to learn. Give it back to open other pages.",
            name=actor().name,
        )
    )


def _check_phone(roles: frozenset[Role]) -> ResponseReturnValue | None:
    """Refuse whoever is no unlocked phone of somebody with one of the roles."""
    if g.actor is None:
        return problem_answer("locked", mark("Unlock this phone with your six digits."), 401)
    if g.actor.role not in roles:
        return problem_answer("not_allowed", mark("Your sign-in is not for this page."), 403)
    if device() is None:
        return problem_answer("not_enrolled", mark("Enrol this phone first."), 401)
    return None
