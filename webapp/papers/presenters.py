"""Photos that wait, as a list."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from flask import url_for
from flask_babel import gettext, ngettext

from audits.errors import NotFound
from audits.records import SheetPhoto
from audits.services.verdicts import view_verdict
from audits.vocabulary import SHEET_KIND_NAMES
from webapp.access import actor
from webapp.auditing.places import lot_name
from webapp.extensions import database, present
from webapp.papers.answers import sheet_of_photo, worker_words
from webapp.papers.photos import reading_of
from webapp.reading import words


@dataclass(frozen=True)
class PhotoLine:
    """A photo that waits: what it is, when it came, and how much is left to look at."""

    id: int
    name: str
    belongs_to: str
    received_at: datetime
    to_look_at: str
    url: str


def photo_lines(photos: Iterable[SheetPhoto]) -> list[PhotoLine]:
    """Return photos with what is to be done about them."""
    kept = list(photos)
    lots = {audit_id: _lot(audit_id) for audit_id in {photo.audit_id for photo in kept}}
    return [_line(photo, lots[photo.audit_id] or _quiz(photo)) for photo in kept]


def _lot(audit_id: int | None) -> str:
    if audit_id is None:
        return ""
    view = view_verdict(database(), actor(), audit_id, present())
    return f"{view.block.name}, {lot_name(view.ranges)}"


def _quiz(photo: SheetPhoto) -> str:
    try:
        found = sheet_of_photo(photo)
    except NotFound:
        return ""
    person = worker_words(found.worker) if found.worker else ""
    return ", ".join(filter(None, (found.block.name, person)))


def _line(photo: SheetPhoto, belongs_to: str) -> PhotoLine:
    reading = reading_of(photo)
    kind = words().say(SHEET_KIND_NAMES[photo.kind])
    name = gettext("%(kind)s, page %(number)s", kind=kind, number=reading.page_number)
    unclear = len(reading.groups)
    return PhotoLine(
        id=photo.id,
        name=name,
        belongs_to=belongs_to,
        received_at=photo.received_at,
        to_look_at=(
            ngettext("%(num)s place to look at", "%(num)s places to look at", unclear)
            if unclear
            else gettext("Everything is clear")
        ),
        url=url_for("papers.show", photo_id=photo.id),
    )
