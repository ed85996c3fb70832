"""Who sends: phones that sign what they send, since their session may have ended in the row."""

from dataclasses import dataclass

from flask import jsonify, request
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import ClientDisconnected

from audits.records import DeviceRow
from audits.services import devices
from audits.storage.queries.devices import device_by_uid
from webapp.extensions import database, farm, present
from webapp.field.blueprint import blueprint


class RefusedError(Exception):
    """What was sent is not taken: a code for the phone, and the status that goes with it."""

    def __init__(self, problem: str, status: int) -> None:
        super().__init__(problem)
        self.problem = problem
        self.status = status


@blueprint.errorhandler(RefusedError)
def _refused(error: RefusedError) -> ResponseReturnValue:
    return jsonify(problem=error.problem), error.status


@dataclass(frozen=True)
class Sent:
    """A body and the phone that signed it."""

    device: DeviceRow
    body: bytes


def signed_body(most_bytes: int) -> Sent:
    """
    Return what a phone sent, if its signature fits.

    A length must be given ahead: a body in chunks would be cut at the limit without a word. Raises
    RefusedError, without looking into the body, if anything is wrong with it or with who sends it.
    """
    body = _whole_body(most_bytes)
    with database().read() as connection:
        device = device_by_uid(connection, farm().id, request.headers.get("X-Device", ""))
        if device is None:
            raise RefusedError("unknown_device", 401)
        if not devices.verify(device, body, request.headers.get("X-Signature", "")):
            raise RefusedError("bad_signature", 401)
        # A revoked phone has no session and still gets an answer: what it sends is held back.
        if device.revoked_at is None and not devices.has_live_session(
            connection, device, present()
        ):
            raise RefusedError("locked", 401)
    return Sent(device, body)


def _whole_body(most_bytes: int) -> bytes:
    length = request.content_length
    if length is None:
        raise RefusedError("length_required", 411)
    if length > most_bytes:
        raise RefusedError("too_large", 413)
    try:
        body = request.get_data(cache=False)
    except ClientDisconnected as error:
        raise RefusedError("cut_short", 400) from error
    if len(body) != length:
        # A signature over half a body cannot fit, and would look like somebody else's.
        raise RefusedError("cut_short", 400)
    return body
