"""How a phone is enrolled and unlocked: JSON for the page in the row."""

import uuid
from datetime import datetime
from typing import Any, Final

from flask import Blueprint, current_app, g, jsonify, request, session
from flask.blueprints import BlueprintSetupState
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import generate_csrf

from audits.messages import mark
from audits.records import Actor
from audits.services import accounts, devices
from audits.services.devices import PhoneProblem, PhoneRefused
from audits.storage.queries.devices import device_by_uid
from webapp.access import device, open_to_anyone
from webapp.devices.nonces import Nonces
from webapp.extensions import database, farm, present
from webapp.phone_answers import problem_answer

blueprint = Blueprint("phone", __name__, url_prefix="/field")

_STATUS: Final = {
    PhoneProblem.UNKNOWN_OFFER: 403,
    PhoneProblem.USED_OFFER: 403,
    PhoneProblem.LATE_OFFER: 403,
    PhoneProblem.CLOSED: 403,
    PhoneProblem.OTHER_PERSON: 409,
    PhoneProblem.BAD_NAME: 422,
    PhoneProblem.BAD_DIGITS: 422,
    PhoneProblem.GUESSABLE_DIGITS: 422,
    PhoneProblem.BAD_KEY: 422,
    PhoneProblem.UNKNOWN_DEVICE: 401,
    PhoneProblem.REVOKED: 403,
    PhoneProblem.WRONG_DIGITS: 401,
    PhoneProblem.ENROL_AGAIN: 429,
}
_NONCES: Final = "pruning_audit_nonces"


@blueprint.record
def _keep_nonces(state: BlueprintSetupState) -> None:
    settings = state.app.extensions["pruning_audit_settings"]
    state.app.extensions[_NONCES] = Nonces(settings.secret_key, _whole_ms(settings.now()))


@blueprint.get("/token")
@open_to_anyone
def token() -> ResponseReturnValue:
    """Give what a phone needs before it posts, and say how it stands with the server."""
    opened = device()
    return jsonify(
        csrf=generate_csrf(),
        nonce=_nonces().make(_whole_ms(present())),
        signed_in=g.actor is not None,
        device=None if opened is None else opened.uid,
        person=None if g.actor is None else _person(g.actor),
        revoked=_is_revoked(request.args.get("device", "")),
    )


@blueprint.post("/enrol")
@open_to_anyone
def enrol() -> ResponseReturnValue:
    """Enrol the phone that read a QR code."""
    sent = _sent()
    enrolled, session_token = devices.enrol_device(
        database(),
        farm().id,
        token=_text(sent, "token"),
        name=_text(sent, "name"),
        public_key=sent.get("public_key"),
        pin=_text(sent, "pin"),
        now=present(),
    )
    return _opened(enrolled.uid, session_token)


@blueprint.post("/unlock")
@open_to_anyone
def unlock() -> ResponseReturnValue:
    """Open a phone by its six digits and its signature over a fresh nonce."""
    sent = _sent()
    uid, nonce = _text(sent, "device"), _text(sent, "nonce")
    if not _nonces().take(nonce, _whole_ms(present())):
        return problem_answer("stale_nonce", mark("That took too long. Try again."), 401)
    session_token = devices.unlock(
        database(),
        farm().id,
        uid=uid,
        pin=_text(sent, "pin"),
        nonce=nonce,
        signature=_text(sent, "signature"),
        now=present(),
    )
    return _opened(uid, session_token)


@blueprint.errorhandler(PhoneRefused)
def _refused(error: PhoneRefused) -> ResponseReturnValue:
    return problem_answer(error.problem, error.message, _STATUS[error.problem])


def _opened(uid: str, session_token: str) -> ResponseReturnValue:
    """Put the session into the cookie and tell the phone whose it is."""
    session.clear()
    session["token"] = session_token
    signed_in = accounts.actor_of_session(database(), session_token, present())
    if signed_in is None:
        # Revoked or closed between the two steps.
        raise PhoneRefused(PhoneProblem.REVOKED)
    return jsonify(device=uid, person=_person(signed_in))


def _person(found: Actor) -> dict[str, object]:
    return {"id": found.user_id, "name": found.name, "language": found.language}


def _is_revoked(uid: str) -> bool:
    """Tell whether a phone was revoked: its uid is random, so that only the phone can ask."""
    if not _is_uid(uid):
        return False
    with database().read() as connection:
        found = device_by_uid(connection, farm().id, uid)
    return found is not None and found.revoked_at is not None


def _is_uid(text: str) -> bool:
    try:
        return str(uuid.UUID(text)) == text
    except ValueError:
        return False


def _sent() -> dict[str, Any]:
    """Return the object that was sent, empty where it was no object."""
    try:
        sent = request.get_json(silent=True)
    except RecursionError:
        # Lists within lists within lists: nothing that a phone sends.
        return {}
    return sent if isinstance(sent, dict) else {}


def _text(sent: dict[str, Any], name: str) -> str:
    """Return a text that was sent, empty where there was none that a database can hold."""
    value = sent.get(name)
    # Control signs and halves of a surrogate pair pass as JSON; neither can be printed.
    return value if isinstance(value, str) and value.isprintable() else ""


def _nonces() -> Nonces:
    return current_app.extensions[_NONCES]  # type: ignore[no-any-return]


def _whole_ms(moment: datetime) -> datetime:
    """Return a moment as a nonce carries it, so that one made in this millisecond is not later."""
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)
