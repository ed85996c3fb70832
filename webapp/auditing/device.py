"""The device that an entry comes from: a random id and a counter, kept in long-lived cookies."""

import re
from dataclasses import replace
from typing import Final
from uuid import UUID, uuid4

from flask import Response, after_this_request, current_app, request
from werkzeug.datastructures import MultiDict

from audits.errors import InvalidInput
from audits.messages import say
from audits.services.auditing import Device

_NAME_COOKIE: Final = "device"
_COUNTER_COOKIE: Final = "entries"
_COUNTER: Final = re.compile(r"[0-9]{1,9}")
_AT_DESK: Final = "desk:"
_TWO_YEARS_S: Final = 2 * 365 * 24 * 3600


def this_device() -> Device:
    """
    Return the device of this request, its counter one further than at its last entry.

    A request that is sent again because its answer was lost carries the same counter again.
    """
    name = _uuid(request.cookies.get(_NAME_COOKIE)) or str(uuid4())
    counted = request.cookies.get(_COUNTER_COOKIE, "")
    counter = 1 + (int(counted) if _COUNTER.fullmatch(counted) else 0)

    @after_this_request
    def _keep(response: Response) -> Response:
        for cookie, value in ((_NAME_COOKIE, name), (_COUNTER_COOKIE, str(counter))):
            response.set_cookie(
                cookie,
                value,
                max_age=_TWO_YEARS_S,
                httponly=True,
                samesite="Lax",
                secure=current_app.config["SESSION_COOKIE_SECURE"],
            )
        return response

    return Device(name=name, counter=counter)


def this_desk() -> Device:
    """Return the device of a request that types a paper sheet in: it is no phone in the row."""
    device = this_device()
    return replace(device, name=f"{_AT_DESK}{device.name}")


def is_desk(name: str) -> bool:
    """Tell whether an entry was typed in from paper, by the name of its device."""
    return name.startswith(_AT_DESK)


def new_client_id() -> str:
    """Return an id for an entry that is about to be made."""
    return str(uuid4())


def posted_client_id(form: MultiDict[str, str]) -> str:
    """Return the id that an entry was made with; sending it twice changes nothing."""
    client_id = _uuid(form.get("client_id"))
    if client_id is None:
        raise InvalidInput({"client_id": say("This page is not complete. Load it again.")})
    return client_id


def _uuid(text: str | None) -> str | None:
    try:
        return str(UUID(text or ""))
    except ValueError:
        return None
