"""From a photo to what is kept of it: the picture, what was read, cut-outs of what is unclear."""

from base64 import b64decode, b64encode
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from audits.errors import Conflict, NotFound
from audits.messages import say
from audits.records import SheetPhoto
from audits.services.sheet_photos import ReadPhoto
from audits.vocabulary import SheetKind
from printables.marked import MarkedPage, SheetCode
from webapp.access import actor
from webapp.auditing.sheets_on_paper import tally_marked_page
from webapp.extensions import database
from webapp.field.pictures import remade
from webapp.papers.answers import answer_page

MARKED: Final = "marked"
UNSURE: Final = "unsure"
WRITTEN: Final = "written"

_OTHER_TALLY: Final = say(
    "This sheet is not as it would be printed today: it is of another audit with the same number,"
    " names became longer since, or it was printed by another version of the program or on other"
    " paper. Type it in by hand."
)
OTHER_QUIZ: Final = say(
    "This sheet is not as it would be printed today: the standard was changed since, names became"
    " longer, or it was printed by another version of the program or on other paper. Mark it with"
    " the key that was printed with it."
)


@dataclass(frozen=True)
class Reading:
    """
    What was read off a page, as it is kept: the state of each box that is not empty, by its key.

    `groups` are the groups of boxes whose cut-outs are kept, for a person to look at; `meaning` is
    a check of what the boxes stood for when the photo was read.
    """

    page_number: int
    states: Mapping[str, str]
    groups: frozenset[str]
    meaning: str

    def keys(self, state: str) -> set[str]:
        """Return the boxes in a state."""
        return {key for key, found in self.states.items() if found == state}


def reading_of(photo: SheetPhoto) -> Reading:
    """Return what was read off a kept photo."""
    kept = photo.reading
    return Reading(kept["page"], kept["states"], frozenset(kept["crops"]), kept.get("meaning", ""))


def cut_out(photo: SheetPhoto, group: str) -> bytes:
    """Return the picture of a group of boxes."""
    crop = photo.reading["crops"].get(group)
    if crop is None:
        raise NotFound(say("There is no such photo."))
    return b64decode(crop)


def read_photo(content: bytes) -> ReadPhoto:
    """
    Read a photo of a sheet of this farm.

    Raises UnreadablePhoto where it says what to do about it, and NotFound for a sheet of which
    this farm knows nothing.
    """
    from printables.reading.read import read_sheet  # noqa: PLC0415 - only here is numpy needed

    found = read_sheet(content, _page_of)
    states = {key: str(state) for key, state in found.marks.items() if state != "empty"}
    return ReadPhoto(
        kind=found.code.kind,
        code=found.code.text,
        audit_id=int(found.code.fields[0]) if found.code.kind is SheetKind.TALLY else None,
        content=remade(content),
        reading={
            "page": found.code.page_number,
            "states": states,
            "meaning": meaning_check(found.page.meaning),
            "crops": {
                group: b64encode(found.crop(*keys)).decode()
                for group, keys in _to_look_at(found.page, states).items()
            },
        },
    )


def meaning_check(meaning: str) -> str:
    """Return check letters of what boxes stand for; a key must not be read off them."""
    return sha256(meaning.encode()).hexdigest() if meaning else ""


def _page_of(code: SheetCode) -> MarkedPage:
    if code.kind is SheetKind.TALLY:
        page = tally_marked_page(database(), actor(), code)
        if page.code != code:
            raise Conflict(_OTHER_TALLY)
        return page
    page = answer_page(code)
    if page.code != code:
        raise Conflict(OTHER_QUIZ)
    return page


def _to_look_at(page: MarkedPage, states: Mapping[str, str]) -> dict[str, list[str]]:
    """Return the groups that a person has to look at, each with the keys of its boxes."""
    boxes: dict[str, list[str]] = defaultdict(list)
    for box in page.boxes:
        boxes[box.group].append(box.key)
    return {group: keys for group, keys in boxes.items() if _is_unclear(keys, states)}


def _is_unclear(keys: Iterable[str], states: Mapping[str, str]) -> bool:
    found: list[Any] = [states[key] for key in keys if key in states]
    return UNSURE in found or WRITTEN in found or found.count(MARKED) > 1
