"""The photos of an audit, each with what it shows."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flask import url_for
from flask_babel import gettext

from audits.records import SheetPhoto
from audits.services.verdicts import VerdictView
from audits.storage.queries.photos import PhotoRow
from audits.vocabulary import STAGE_NAMES
from webapp.auditing.places import place_words
from webapp.reading import words


@dataclass(frozen=True)
class PhotoLine:
    """One photo: where it is, where its tree stands, and what a person who cannot see it hears."""

    url: str
    place: str
    stage: str
    alt: str


def photo_lines(view: VerdictView, photos: Sequence[PhotoRow]) -> list[PhotoLine]:
    """Return the photos of an audit with what they show."""
    places = {tree.id: place_words(tree, view.rows) for tree in view.view.walk}
    return [_line(photo, places.get(photo.draw_tree_id, "")) for photo in photos]


def sheet_lines(photos: Iterable[SheetPhoto]) -> list[PhotoLine]:
    """Return the photos of an audit's paper sheet, from which answers may have been read."""
    return [
        PhotoLine(
            url=url_for("papers.picture", photo_id=photo.id),
            place=(name := str(gettext("Sheet, page %(number)s", number=photo.reading["page"]))),
            stage="",
            alt=str(gettext("Photo: %(place)s", place=name)),
        )
        for photo in photos
    ]


def _line(photo: PhotoRow, place: str) -> PhotoLine:
    # A tree that turned out to be none is no longer in the walk, and its photo may show why.
    where = place or str(gettext("a tree that was replaced"))
    stage = "" if photo.stage is None else words().say(STAGE_NAMES[photo.stage])
    if stage:
        alt = gettext("Photo: %(place)s, %(stage)s", place=where, stage=stage)
    else:
        alt = gettext("Photo: %(place)s", place=where)
    return PhotoLine(
        url=url_for("field.show_photo", audit_id=photo.audit_id, photo_id=photo.id),
        place=where,
        stage=stage,
        alt=str(alt),
    )
