"""What phones send, read with bounds: nothing that was sent may break anything."""

import json
from typing import NoReturn

from audits.errors import InvalidInput
from audits.messages import say


def read_json(body: bytes) -> object:
    """
    Return the value of a JSON text.

    Raises InvalidInput if it is none (RFC 8259): other bytes than UTF-8, numbers such as NaN, or
    more brackets within each other than can be followed.
    """
    try:
        return json.loads(body.decode(), parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise InvalidInput({"body": say("What was sent cannot be read.")}) from error


def _refuse(name: str) -> NoReturn:
    raise ValueError(name)
