"""What a phone takes along: the lots to audit, and a package for each."""

import secrets
from random import SystemRandom
from typing import Final

from flask import jsonify, request
from flask.typing import ResponseReturnValue

from audits.errors import InvalidInput
from audits.messages import say
from audits.services.preparing import (
    LotToAudit,
    Preparation,
    PreparedLot,
    Unprepared,
    lots_to_audit,
    prepare_lots,
    prepare_rows,
    prepared_lots,
)
from audits.services.printing import usable_batches
from audits.services.standards import standard_digest
from webapp.access import actor, open_to_phones
from webapp.auditing.places import lot_name
from webapp.extensions import database, farm, present
from webapp.field.blueprint import blueprint
from webapp.field.bodies import read_json
from webapp.field.packages import moment, package
from webapp.ids import LARGEST_ID
from webapp.reading import LANGUAGE_NAMES, in_every_language, words_of_farm

_SEED_BITS: Final = 63
_ALL: Final = "all"
# More lots than a farm finishes in weeks; each is a search for a plan and a transaction.
_MOST_LOTS: Final = 500


@blueprint.get("/field/lots")
@open_to_phones
def lots() -> ResponseReturnValue:
    """List the lots that could be audited now."""
    return jsonify([_line(found) for found in lots_to_audit(database(), actor())])


@blueprint.get("/field/packages")
@open_to_phones
def packages() -> ResponseReturnValue:
    """Hand out the packages of drawn lots that the phone does not know yet."""
    known = set(request.args.get("known", "").split(","))
    drawn = prepared_lots(database(), actor())
    return _answer([found for found in drawn if _mark(found) not in known], [], drawn)


@blueprint.post("/field/prepare")
@open_to_phones
def prepare() -> ResponseReturnValue:
    """Draw lots ahead and hand out their packages."""
    lot_ids = _lot_ids(read_json(request.get_data()))
    preparation = prepare_lots(
        database(),
        actor(),
        lot_ids,
        new_seed=lambda: secrets.randbits(_SEED_BITS),
        now=present(),
    )
    to_come = _rows_to_come() if lot_ids is None else Preparation((), ())
    problems = [_problem(found) for found in (*preparation.problems, *to_come.problems)]
    prepared = [*preparation.prepared, *to_come.prepared]
    return _answer(prepared, problems, prepared_lots(database(), actor()))


def _rows_to_come() -> Preparation:
    return prepare_rows(
        database(),
        actor(),
        new_seed=lambda: secrets.randbits(_SEED_BITS),
        chance=SystemRandom().random,
        now=present(),
    )


def _answer(
    prepared: list[PreparedLot], problems: list[dict[str, object]], drawn: list[PreparedLot]
) -> ResponseReturnValue:
    now = present()
    gauges = usable_batches(database(), actor(), now)
    return jsonify(
        prepared=[package(found, farm(), now, gauges) for found in prepared],
        problems=problems,
        # Every draw that is open, so that a phone can drop the packages of the others.
        open=[found.draw.id for found in drawn],
        prepared_at=moment(now),
    )


def _mark(found: PreparedLot) -> str:
    return f"{found.draw.id}:{standard_digest(found.version)}"


def _line(found: LotToAudit) -> dict[str, object]:
    return {
        "lot": found.lot.id,
        "name": _names(found),
        "block": found.block.name,
        "state": found.lot.state,
        "finished_at": moment(found.lot.finished_at),
        "prepared": found.is_drawn,
    }


def _problem(found: Unprepared) -> dict[str, object]:
    return {
        "lot": found.lot_id,
        "name": _names(found),
        "words": in_every_language(farm(), found.reason),
    }


def _names(found: LotToAudit | Unprepared) -> dict[str, str]:
    """Return a lot's name by language; a lot that does not exist has none."""
    return {
        language: lot_name(found.ranges, words_of_farm(farm(), language)) if found.ranges else ""
        for language, _ in LANGUAGE_NAMES
    }


def _lot_ids(body: object) -> list[int] | None:
    """
    Read which lots are asked for; None for all.

    Raises InvalidInput if nothing of the kind was sent.
    """
    asked = body.get("lots") if isinstance(body, dict) else None
    if asked == _ALL:
        return None
    if isinstance(asked, list) and len(asked) <= _MOST_LOTS and all(map(_is_id, asked)):
        return asked
    raise InvalidInput({"lots": say("Say which lots: a list of their numbers, or all.")})


def _is_id(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value <= LARGEST_ID
