"""What a phone sends: one item an answer, read without trusting any of it."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final, TypeGuard, TypeVar

from audits.vocabulary import Outcome, PlantingKind, Stage

SCHEMA: Final = 1
# What a column of whole numbers holds on both databases.
_LARGEST: Final = 2**31 - 1
_LONGEST_NAME: Final = 64
_CLIENT_ID: Final = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
# A stage that a phone cannot decide: its mean is worked out in the office.
_LEFT_TO_THE_OFFICE: Final = "office"

Words = TypeVar("Words", bound=StrEnum)


class ItemKind(StrEnum):
    """What an item says."""

    TREE = "tree"
    TAKE_BACK = "take_back"
    NOT_A_TREE = "not_a_tree"
    SEAL = "seal"
    ROW_FINISHED = "row_finished"


class Unreadable(Exception):  # noqa: N818 - reads as what it is at the place it is caught
    """An item that is none, or none of a kind known here; says what is wrong with it."""


@dataclass(frozen=True)
class PhoneItem:
    """
    One item as the phone meant it.

    Parameters
    ----------
    id : str
        Made on the phone; the same item has the same one for ever.
    counter : int
        Counts the phone's items; their order.
    at : datetime or None
        The phone's clock as claimed; None where it names no day that there is.
    kind : ItemKind
        What it says.
    audit : str
        Id of the audit, made on the phone.
    draw : int
        The draw that is audited.
    digest : str
        Hash of the standard that it was scored by.
    tree : int
        The tree of the draw; 0 for a seal and for a finished row.
    answers : object
        For a tree: the fields of `audits.scoring.TreeAnswers`, not looked through.
    found_kind : PlantingKind or None
        For what is not a tree: what stands there.
    instead : int or None
        For what is not a tree: the reserve tree taken; None where the reserve was used up.
    outcomes : Mapping of Stage to Outcome
        For a seal: what the phone showed, without the stages left to the office.
    """

    id: str
    counter: int
    at: datetime | None
    kind: ItemKind
    audit: str
    draw: int
    digest: str
    tree: int
    answers: Any
    found_kind: PlantingKind | None
    instead: int | None
    outcomes: Mapping[Stage, Outcome]


@dataclass(frozen=True)
class Parcel:
    """
    An item as it arrived, whatever it is.

    Parameters
    ----------
    key : str
        Its id, or a hash of it where it has none.
    text : str
        The item as JSON with sorted keys and no blanks, in ASCII.
    text_hash : str
        SHA-256 of the text in hexadecimal digits.
    counter : int or None
        The phone's counter, where one can be told.
    audit : str or None
        Id of the audit, where one can be told.
    at : datetime or None
        The phone's clock as claimed, where it can be told.
    item : PhoneItem or None
        The item, where it can be read.
    """

    key: str
    text: str
    text_hash: str
    counter: int | None
    audit: str | None
    at: datetime | None
    item: PhoneItem | None


def open_parcel(value: object) -> Parcel:
    """
    Look at something that a phone sent; it is never refused here.

    Parameters
    ----------
    value : object
        A parsed JSON value.

    Returns
    -------
    Parcel
        What can be told of it.
    """
    text = canonical_text(value)
    text_hash = sha256(text.encode()).hexdigest()
    fields: Mapping[str, object] = value if isinstance(value, dict) else {}
    try:
        item = read_item(value)
    except Unreadable:
        item = None
    own_id = fields.get("id")
    audit = fields.get("audit")
    return Parcel(
        key=own_id if _is_name(own_id) else f"sha256:{text_hash[:57]}",
        text=text,
        text_hash=text_hash,
        counter=_number_or_none(fields.get("counter")),
        audit=audit if _is_client_id(audit) else None,
        at=instant(fields.get("at")),
        item=item,
    )


def canonical_text(value: object) -> str:
    """
    Write a value in the one way by which equal values have equal text.

    Parameters
    ----------
    value : object
        A parsed JSON value.

    Returns
    -------
    str
        JSON with sorted keys and no blanks, in ASCII; for anything that is no JSON value, or that
        is nested too deep to be written, what Python says of it.
    """
    try:
        return json.dumps(value, sort_keys=True, separators=(",", ":"))
    except (RecursionError, TypeError, ValueError):
        return _what_python_says(value)


def _what_python_says(value: object) -> str:
    try:
        return ascii(value)
    except (RecursionError, ValueError):
        return f"<{type(value).__name__}>"


def read_item(value: object) -> PhoneItem:
    """
    Read an item.

    Parameters
    ----------
    value : object
        A parsed JSON value. Fields that are not known here are passed over.

    Returns
    -------
    PhoneItem
        The item. Whether its draw, trees and answers are right is not looked at.

    Raises
    ------
    Unreadable
        If a field is missing or is not what it should be; names the first.
    """
    fields = _object("item", value)
    schema = _number("schema", fields.get("schema"))
    if schema != SCHEMA:
        raise Unreadable(f"schema {schema} is not known")
    kind = _word(ItemKind, "kind", fields.get("kind"))
    standard = _object("standard", fields.get("standard"))
    body = _object("body", fields.get("body"))
    at = fields.get("at")
    if not isinstance(at, str):
        raise Unreadable("at is no text")
    tree, answers, found_kind, instead = 0, None, None, None
    outcomes: Mapping[Stage, Outcome] = {}
    if kind is ItemKind.SEAL:
        outcomes = _outcomes(body.get("outcomes"))
    elif kind is not ItemKind.ROW_FINISHED:
        tree = _number("tree", body.get("tree"))
    if kind is ItemKind.TREE:
        answers = _present("answers", body)
    if kind is ItemKind.NOT_A_TREE:
        found_kind = _word(PlantingKind, "kind", body.get("kind"))
        taken = _present("instead", body)
        instead = None if taken is None else _number("instead", taken)
    return PhoneItem(
        id=_client_id("id", fields.get("id")),
        counter=_number("counter", fields.get("counter")),
        at=instant(at),
        kind=kind,
        audit=_client_id("audit", fields.get("audit")),
        draw=_number("draw", fields.get("draw")),
        digest=_text("digest", standard.get("digest")),
        tree=tree,
        answers=answers,
        found_kind=found_kind,
        instead=instead,
        outcomes=outcomes,
    )


def reread(text: str) -> PhoneItem:
    """
    Read an item again from what was kept of it.

    Parameters
    ----------
    text : str
        As `open_parcel` gave it.

    Returns
    -------
    PhoneItem
        The item.

    Raises
    ------
    Unreadable
        If it never was one.
    """
    try:
        value = json.loads(text)
    except (RecursionError, ValueError) as error:
        raise Unreadable("it is no JSON") from error
    return read_item(value)


def instant(value: object) -> datetime | None:
    """
    Read the time that a phone claims.

    Parameters
    ----------
    value : object
        ISO 8601 text with its zone.

    Returns
    -------
    datetime or None
        The instant in UTC; None for anything else, such as a year beyond 9999, since a wrong clock
        is no reason to refuse what came with it.
    """
    if not isinstance(value, str):
        return None
    try:
        found = datetime.fromisoformat(value)
        return None if found.tzinfo is None else found.astimezone(UTC)
    except (OverflowError, ValueError):
        return None


def true_time(
    claimed: datetime | None,
    sent_at: datetime | None,
    received_at: datetime,
    *,
    earliest: datetime,
) -> datetime:
    """
    Estimate when something was done on a phone whose clock may be wrong.

    Parameters
    ----------
    claimed : datetime or None
        When, by the phone's clock.
    sent_at : datetime or None
        When it was sent, by the same clock.
    received_at : datetime
        When it came, by the server's clock.
    earliest : datetime
        Before this it cannot have been done.

    Returns
    -------
    datetime
        The claimed time, put right by how far the clock was off when it was sent, no earlier than
        `earliest` and no later than `received_at`.
    """
    if claimed is None:
        return received_at
    try:
        found = claimed if sent_at is None else claimed + (received_at - sent_at)
    except OverflowError:
        found = received_at
    return min(max(found, earliest), received_at)


def _outcomes(value: object) -> dict[Stage, Outcome]:
    return {
        _word(Stage, "stage", stage): _word(Outcome, "outcome", outcome)
        for stage, outcome in _object("outcomes", value).items()
        if outcome != _LEFT_TO_THE_OFFICE
    }


def _object(name: str, value: object) -> dict[str, object]:
    if not isinstance(value, dict):
        raise Unreadable(f"{name} is no object")
    return value


def _present(name: str, fields: Mapping[str, object]) -> object:
    if name not in fields:
        raise Unreadable(f"{name} is missing")
    return fields[name]


def _number_or_none(value: object) -> int | None:
    # A truth value is a whole number to Python, and none to anybody else.
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= _LARGEST:
        return value
    return None


def _number(name: str, value: object) -> int:
    found = _number_or_none(value)
    if found is None:
        raise Unreadable(f"{name} is no number that can be")
    return found


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise Unreadable(f"{name} is no text")
    return value


def _is_client_id(value: object) -> TypeGuard[str]:
    return isinstance(value, str) and _CLIENT_ID.fullmatch(value) is not None


def _is_name(value: object) -> TypeGuard[str]:
    """Tell whether something can be the name under which an item is kept."""
    return isinstance(value, str) and 0 < len(value) <= _LONGEST_NAME and value.isprintable()


def _client_id(name: str, value: object) -> str:
    found = _text(name, value)
    if not _is_client_id(found):
        raise Unreadable(f"{name} is no id")
    return found


def _word(words: type[Words], name: str, value: object) -> Words:
    try:
        return words(_text(name, value))
    except ValueError as error:
        raise Unreadable(f"{name} is no word known here") from error
