"""Photos of faults: sent by phones, looked at by crew leads."""

from typing import Final
from uuid import UUID

from flask import jsonify, request
from flask.typing import ResponseReturnValue

from audits.errors import Conflict, InvalidInput
from audits.phone_items import instant
from audits.services.photos import SentPhoto, keep_photo, photo_content
from audits.vocabulary import Stage
from webapp.access import CREW_LEADS, actor, open_to, open_to_anyone
from webapp.extensions import csrf, database, farm, present
from webapp.field.blueprint import blueprint
from webapp.field.pictures import picture_answer, remade
from webapp.field.senders import RefusedError, signed_body
from webapp.ids import LARGEST_ID

_MOST_BYTES: Final = 1_000_000


@blueprint.post("/field/photos/<uuid:photo>")
@open_to_anyone
@csrf.exempt
def send_photo(photo: UUID) -> ResponseReturnValue:
    """Take a photo, signed by the phone that took it."""
    sent = signed_body(_MOST_BYTES)
    if sent.device.revoked_at is not None:
        raise RefusedError("revoked", 401)
    try:
        is_new = keep_photo(
            database(),
            farm().id,
            sent.device,
            _described(photo),
            remade=lambda: remade(sent.body),
            now=present(),
        )
    except Conflict as error:
        raise RefusedError("no_audit_yet", 409) from error
    except InvalidInput as error:
        raise RefusedError(next(iter(error.problems)), 422) from error
    return jsonify(outcome="stored" if is_new else "duplicate")


@blueprint.get("/audits/<int:audit_id>/photos/<int:photo_id>")
@open_to(CREW_LEADS)
def show_photo(audit_id: int, photo_id: int) -> ResponseReturnValue:
    """Show one photo of an audit."""
    return picture_answer(photo_content(database(), actor(), audit_id, photo_id, present()))


def _described(photo: UUID) -> SentPhoto:
    """Read what the headers say of a photo; raises RefusedError where they make no sense."""
    headers = request.headers
    tree = headers.get("X-Tree", "")
    # Eleven digits are beyond any id already.
    if not (tree.isascii() and tree.isdecimal() and 0 < int(tree[:11]) <= LARGEST_ID):
        raise RefusedError("tree", 422)
    try:
        audit = UUID(headers.get("X-Audit", ""))
        stage = Stage(headers["X-Stage"]) if headers.get("X-Stage") else None
    except ValueError as error:
        raise RefusedError("headers", 422) from error
    return SentPhoto(
        client_id=str(photo),
        audit_client_id=str(audit),
        draw_tree_id=int(tree),
        stage=stage,
        device_at=instant(headers.get("X-At")),
    )
