"""Photos that wait, as a list."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from flask import url_for
from flask_babel import gettext, ngettext

from audits.records import SheetPhoto
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import SHEET_KIND_NAMES
from printables.marked import parse_code
from webapp.access import actor
from webapp.extensions import database
from webapp.papers.answers import worker_words
from webapp.papers.photos import reading_of
from webapp.printing.stock import Stock
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
    if not kept:
        return []
    audits = dict(Stock().audits)
    with database().read() as connection:
        blocks = standard_queries.block_names_by_version(connection, actor().farm_id)
        workers = farm_queries.workers(connection, actor().farm_id, with_retired=True)
    people = {worker.id: worker_words(worker) for worker in workers}
    return [
        _line(
            photo,
            _quiz(photo, blocks, people)
            if photo.audit_id is None
            else audits.get(photo.audit_id, ""),
        )
        for photo in kept
    ]


def _quiz(photo: SheetPhoto, blocks: Mapping[int, str], people: Mapping[int, str]) -> str:
    """Say of which block a quiz is, and whose."""
    code = parse_code(photo.code)
    if code is None or not all(code.fields[at].isdecimal() for at in (0, -1)):
        return ""
    names = (blocks.get(int(code.fields[0])), people.get(int(code.fields[-1])))
    return ", ".join(filter(None, names))


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
