"""Phones as their page shows them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from babel.dates import format_timedelta
from flask_babel import format_datetime, gettext

from audits.records import DeviceRow
from audits.services.devices import PersonsDevices
from audits.unlocking import MOST_TRIES
from webapp.reading import words

# Nearer than this a phone's clock agrees: the network alone takes a part of it.
_AGREES: Final = timedelta(seconds=10)


@dataclass(frozen=True)
class PhoneView:
    """A phone in the list; `shape` and `tone` say its state beside the words."""

    id: int
    name: str
    seen: str
    clock: str | None
    state: str
    shape: str
    tone: str
    can_be_revoked: bool


@dataclass(frozen=True)
class PersonView:
    """A person with the phones that they keep."""

    id: int
    name: str
    may_enrol: bool
    phones: list[PhoneView]


def person_views(people: Iterable[PersonsDevices]) -> list[PersonView]:
    """Return the people by name, each with their phones."""
    return [
        PersonView(
            id=person.user.id,
            name=person.user.name,
            may_enrol=person.may_enrol,
            phones=[_phone(row) for row in person.devices],
        )
        for person in people
    ]


def minutes_left(until: datetime, now: datetime) -> str:
    """Return how long something still holds, such as "15 minutes"."""
    return str(format_timedelta(until - now, threshold=1, locale=words().locale))


def _phone(row: DeviceRow) -> PhoneView:
    if row.revoked_at is not None:
        state = (gettext("Revoked on %(day)s", day=_moment(row.revoked_at)), "barred", "idle")
    elif row.pin_failures >= MOST_TRIES:
        state = (gettext("Ten wrong tries: enrol it again"), "fault", "bad")
    else:
        state = (gettext("Enrolled on %(day)s", day=_moment(row.enrolled_at)), "right", "good")
    return PhoneView(
        id=row.id,
        name=row.name,
        seen=gettext("never") if row.seen_at is None else _moment(row.seen_at),
        clock=_clock(row.clock_ahead_ms),
        state=state[0],
        shape=state[1],
        tone=state[2],
        can_be_revoked=row.revoked_at is None,
    )


def _clock(ahead_ms: int | None) -> str | None:
    if ahead_ms is None:
        return None
    off = timedelta(milliseconds=abs(ahead_ms))
    if off < _AGREES:
        return str(gettext("agrees"))
    length = format_timedelta(off, threshold=1, locale=words().locale)
    if ahead_ms > 0:
        return str(gettext("%(length)s ahead", length=length))
    return str(gettext("%(length)s behind", length=length))


def _moment(moment: datetime) -> str:
    return str(format_datetime(moment, "short"))
