"""Photos that wait, as a list."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from flask import url_for
from flask_babel import gettext, ngettext

from audits.records import SheetPhoto
from audits.vocabulary import SHEET_KIND_NAMES
from webapp.papers.photos import reading_of
from webapp.reading import words


@dataclass(frozen=True)
class PhotoLine:
    """A photo that waits: what it is, when it came, and how much is left to look at."""

    id: int
    name: str
    received_at: datetime
    to_look_at: str
    url: str


def photo_lines(photos: Iterable[SheetPhoto]) -> list[PhotoLine]:
    """Return photos with what is to be done about them."""
    return [_line(photo) for photo in photos]


def _line(photo: SheetPhoto) -> PhotoLine:
    reading = reading_of(photo)
    kind = words().say(SHEET_KIND_NAMES[photo.kind])
    name = gettext("%(kind)s, page %(number)s", kind=kind, number=reading.page_number)
    unclear = len(reading.groups)
    return PhotoLine(
        id=photo.id,
        name=name,
        received_at=photo.received_at,
        to_look_at=(
            ngettext("%(num)s place to look at", "%(num)s places to look at", unclear)
            if unclear
            else gettext("Everything is clear")
        ),
        url=url_for("papers.show", photo_id=photo.id),
    )
