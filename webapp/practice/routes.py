"""What the practice page asks for and sends back."""

from typing import Any, Final

from flask import Response, current_app, jsonify, request
from flask.typing import ResponseReturnValue

from audits.errors import AuditError, InvalidInput, NotFound
from audits.messages import say
from audits.services.name_order import by_name
from audits.services.practising import PracticeReceipt, record_results
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.passes import block_under_way, passes_under_way
from audits.vocabulary import Method, Role
from webapp.access import EVERYONE, actor, open_to, open_to_learner
from webapp.coaching.papers import name_of
from webapp.extensions import database, farm, present, today
from webapp.field.bodies import read_json
from webapp.ids import record_id
from webapp.practice import page
from webapp.practice.blueprint import blueprint
from webapp.practice.kept_packs import Pack, the_pack
from webapp.problems import RETRY_AFTER_S
from webapp.reading import in_every_language

__all__ = ["blueprint", "page"]

_MOST_BYTES: Final = 256 * 1024
_MOST_ITEMS: Final = 50


@blueprint.get("/practice/blocks.json")
@open_to(EVERYONE)
@open_to_learner
def blocks() -> ResponseReturnValue:
    """List the blocks with a standard in force; first that in which one's own crew works."""
    farm_id, worker_id = actor().farm_id, actor().worker_id
    with database().read() as connection:
        versions = standard_queries.standards_in_force(connection, farm_id, today())
        found = farm_queries.blocks(connection, farm_id)
        own = farm_queries.worker_by_id(connection, farm_id, worker_id) if worker_id else None
        usual = block_under_way(connection, farm_id, own.crew_id if own else None)
    return jsonify(
        blocks=[
            {"id": block.id, "name": block.name}
            for block in sorted(found, key=lambda block: block.id != usual)
            if block.id in versions
        ]
    )


@blueprint.get("/practice/learners.json")
@open_to(EVERYONE)
@open_to_learner
def learners() -> ResponseReturnValue:
    """List who may practise here: a worker alone, or everybody where a crew lead asks."""
    with database().read() as connection:
        found = farm_queries.workers(connection, actor().farm_id)
    own = [
        worker
        for worker in found
        if actor().role is not Role.WORKER or worker.id == actor().worker_id
    ]
    return jsonify(learners=[{"id": worker.id, "name": name_of(worker)} for worker in by_name(own)])


@blueprint.get("/practice/pack.json")
@open_to(EVERYONE)
@open_to_learner
def pack() -> ResponseReturnValue:
    """Hand out the trees of a block, with everything to score them without signal."""
    found = _pack_of(_block_id())
    answer = Response(found.zipped, mimetype="application/json")
    if request.accept_encodings.quality("gzip") > 0:
        answer.headers["Content-Encoding"] = "gzip"
    else:
        answer.set_data(found.text)
    answer.headers["Vary"] = "Accept-Encoding"
    # Kept by the browser, and asked each time whether it is still the same.
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.set_etag(found.digest)
    return answer.make_conditional(request)


@blueprint.post("/practice/results")
@open_to(EVERYONE)
@open_to_learner
def results() -> ResponseReturnValue:
    """Take what was practised, each result once however often it is sent."""
    try:
        receipts = record_results(database(), actor(), _sent_items(), present())
    except AuditError:
        raise
    except Exception:
        # Whatever it is, the phone keeps its results and comes again; nothing of them is stored.
        current_app.logger.exception("results of practice could not be taken")
        return jsonify(problem="failed"), 503, {"Retry-After": str(RETRY_AFTER_S)}
    return jsonify(receipts=[_receipt(receipt) for receipt in receipts])


def _receipt(receipt: PracticeReceipt) -> dict[str, object]:
    words = None if receipt.words is None else in_every_language(farm(), receipt.words)
    return {"uid": receipt.uid, "outcome": receipt.outcome, "words": words}


def _sent_items() -> list[Any]:
    """Read the frame of a batch; what is in it is for the service to judge, item by item."""
    if (request.content_length or 0) > _MOST_BYTES:
        raise InvalidInput({"items": say("What was sent is too large.")})
    frame = read_json(request.get_data(cache=False))
    items = frame.get("items") if isinstance(frame, dict) else None
    if not isinstance(items, list) or len(items) > _MOST_ITEMS:
        raise InvalidInput({"items": say("What was sent cannot be read.")})
    return items


def _block_id() -> int:
    found = request.args.get("block", type=record_id)
    if found is None:
        raise InvalidInput({"block": say("Choose a block.")})
    return found


def _pack_of(block_id: int) -> Pack:
    with database().read() as connection:
        block = farm_queries.block_by_id(connection, actor().farm_id, block_id)
        if block is None:
            raise NotFound(say("There is no such block."))
        version = standard_queries.standard_in_force(connection, actor().farm_id, block_id, today())
        under_way = passes_under_way(connection, actor().farm_id)
    if version is None:
        raise NotFound(say("This block has no standard in force yet."))
    # As the crews work there now; from ladders where nobody does.
    methods = [crew_pass.method for crew_pass in under_way if crew_pass.block_id == block_id]
    return the_pack(farm(), block, version, methods[-1] if methods else Method.LADDER)
