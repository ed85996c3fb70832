"""Where phones send what they kept: one receipt for each item, for ever the same."""

from typing import Any, Final

from flask import current_app, jsonify
from flask.typing import ResponseReturnValue

from audits.errors import AuditError
from audits.phone_items import instant
from audits.records import DeviceRow
from audits.services.syncing import Batch, ItemReceipt, sync_items
from audits.vocabulary import HELD_BECAUSE_NAMES
from webapp.access import open_to_anyone
from webapp.extensions import csrf, database, farm, present
from webapp.field.blueprint import blueprint
from webapp.field.bodies import read_json
from webapp.field.packages import moment
from webapp.field.senders import RefusedError, signed_body
from webapp.problems import RETRY_AFTER_S
from webapp.reading import in_every_language

_MOST_BYTES: Final = 256 * 1024
_MOST_ITEMS: Final = 50
# Every schema of the queue that a phone out there may still have.
_SCHEMAS: Final = frozenset({1})


@blueprint.post("/field/sync")
@open_to_anyone
@csrf.exempt
def sync() -> ResponseReturnValue:
    """Take a batch of items, signed by the phone that kept them."""
    sent = signed_body(_MOST_BYTES)
    now = present()
    batch = _batch(sent.device, sent.body)
    try:
        receipts = sync_items(database(), batch, now)
    except AuditError:
        raise
    except Exception:
        # Whatever it is, the phone keeps its queue and comes again; nothing of the batch is stored.
        current_app.logger.exception("a batch could not be taken")
        return jsonify(problem="failed"), 503, {"Retry-After": str(RETRY_AFTER_S)}
    return jsonify(
        received_at=moment(now),
        clock_ahead_ms=batch.clock_ahead_ms(now),
        revoked=sent.device.revoked_at is not None,
        receipts=[_receipt(receipt) for receipt in receipts],
    )


def _batch(device: DeviceRow, body: bytes) -> Batch:
    """
    Read the frame of a batch; what is in it is for the service to judge, item by item.

    Raises InvalidInput or RefusedError if the frame cannot be read.
    """
    frame = read_json(body)
    if not isinstance(frame, dict) or frame.get("device") != device.uid:
        raise RefusedError("unreadable", 422)
    if not _is_known(frame.get("schema")):
        raise RefusedError("unknown_schema", 422)
    items: Any = frame.get("items")
    if not isinstance(items, list) or len(items) > _MOST_ITEMS:
        raise RefusedError("unreadable", 422)
    return Batch(device=device, sent_at=instant(frame.get("sent_at")), items=items)


def _is_known(schema: object) -> bool:
    return isinstance(schema, int) and not isinstance(schema, bool) and schema in _SCHEMAS


def _receipt(receipt: ItemReceipt) -> dict[str, object]:
    because = receipt.because
    return {
        "id": receipt.id,
        "outcome": receipt.outcome,
        "because": because,
        "words": None
        if because is None
        else in_every_language(farm(), HELD_BECAUSE_NAMES[because]),
    }
