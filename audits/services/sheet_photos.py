"""
Photos of paper sheets: kept as soon as they are read, and confirmed by a person afterwards.

A photo is stored before anybody has looked at what was read, so that it cannot be lost; nothing is
kept from it until a person has seen it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any, Final

import sqlalchemy as sa

from audits.errors import Conflict, NotAllowed, NotFound
from audits.messages import say
from audits.records import Actor, Audit, SheetPhoto
from audits.services.access import require_crew_lead
from audits.services.unseen import require_sight_of_audit
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import paper as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import sheet_photo
from audits.vocabulary import SheetKind

# What a column of whole numbers holds on both databases.
_LARGEST_ID: Final = 2**31 - 1


@dataclass(frozen=True)
class ReadPhoto:
    """
    A photo of a sheet, and what was read off it.

    Parameters
    ----------
    kind : SheetKind
        What the sheet is.
    code : str
        What its own code says.
    audit_id : int or None
        The audit that a tally sheet belongs to.
    content : bytes
        The picture as it is kept, without what the camera wrote into it.
    reading : Mapping of str to object
        What was read, as JSON.
    """

    kind: SheetKind
    code: str
    audit_id: int | None
    content: bytes
    reading: Mapping[str, Any]


def keep_sheet_photo(
    database: Database, actor: Actor, photo: ReadPhoto, *, now: datetime
) -> SheetPhoto:
    """
    Keep a photo, once.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who took it.
    photo : ReadPhoto
        The photo.
    now : datetime
        The present.

    Returns
    -------
    SheetPhoto
        The photo as stored; the same picture sent again is the same photo, and waits again where
        it was set aside. Of a sealed audit it waits for nobody.

    Raises
    ------
    Conflict
        If somebody else has sent the same picture.
    NotAllowed
        If the audit is somebody else's, or the person leads no crews.
    NotFound
        If the farm has no such audit.
    """
    require_crew_lead(actor)
    content_hash = sha256(photo.content).hexdigest()
    with database.write() as connection:
        is_sealed = False
        if photo.audit_id is not None:
            is_sealed = _own_audit(connection, actor, photo.audit_id).sealed_at is not None
        found = queries.sheet_photo_by_hash(connection, actor.farm_id, content_hash)
        if found is not None:
            return _sent_again(connection, actor, found, is_sealed=is_sealed)
        photo_id = insert(
            connection,
            sheet_photo,
            {
                "farm_id": actor.farm_id,
                "kind": photo.kind,
                "code": photo.code,
                "audit_id": photo.audit_id,
                "content": photo.content,
                "content_hash": content_hash,
                "reading": dict(photo.reading),
                "received_at": now,
                "received_by": actor.user_id,
                # Nothing can be typed into a sealed audit; its photo is kept beside it.
                "settled_at": now if is_sealed else None,
            },
        )
        return _the_photo(connection, actor, photo_id)


def _sent_again(
    connection: sa.Connection, actor: Actor, found: SheetPhoto, *, is_sealed: bool
) -> SheetPhoto:
    if found.received_by != actor.user_id:
        raise Conflict(
            say("Somebody else has sent this photo already, and confirms what it shows.")
        )
    if found.settled_at is None or found.quiz_attempt_id is not None or is_sealed:
        return found
    connection.execute(
        sheet_photo.update()
        .where(sheet_photo.c.farm_id == actor.farm_id, sheet_photo.c.id == found.id)
        .values(settled_at=None)
    )
    return _the_photo(connection, actor, found.id)


def view_sheet_photo(
    database: Database, actor: Actor, photo_id: int, *, now: datetime | None = None
) -> SheetPhoto:
    """
    Return a photo of a sheet, without its content.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    photo_id : int
        The photo.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    SheetPhoto
        The photo with what was read.

    Raises
    ------
    NotAllowed
        If the person leads no crews, or is still to score the same trees unseen.
    NotFound
        If there is no such photo.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        photo = _the_photo(connection, actor, photo_id)
        _require_sight(connection, actor, photo, now)
        return photo


def sheet_photo_content(
    database: Database, actor: Actor, photo_id: int, *, now: datetime | None = None
) -> bytes:
    """
    Return the picture of a sheet.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    photo_id : int
        The photo.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    bytes
        A JPEG.

    Raises
    ------
    NotAllowed
        If the person leads no crews, or is still to score the same trees unseen.
    NotFound
        If there is no such photo.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        _require_sight(connection, actor, _the_photo(connection, actor, photo_id), now)
        content = queries.sheet_photo_content(connection, actor.farm_id, photo_id)
    if content is None:
        raise NotFound(say("There is no such photo."))
    return content


def photos_of_sheet(
    database: Database, actor: Actor, audit_id: int, *, now: datetime | None = None
) -> list[SheetPhoto]:
    """
    List the photos of an audit's tally sheet.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    audit_id : int
        The audit.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    list of SheetPhoto
        In the order in which they came.

    Raises
    ------
    NotAllowed
        If the person leads no crews, or is still to score the same trees unseen.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        require_sight_of_audit(connection, actor, audit_id, now)
        return queries.sheet_photos_of_audit(connection, actor.farm_id, audit_id)


def waiting_photos(database: Database, actor: Actor) -> list[SheetPhoto]:
    """
    List what a person photographed and has neither confirmed nor set aside.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.

    Returns
    -------
    list of SheetPhoto
        The latest first.

    Raises
    ------
    NotAllowed
        If the person leads no crews.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return queries.unsettled_photos(connection, actor.farm_id, actor.user_id)


def settle_photo(database: Database, actor: Actor, photo_id: int, *, now: datetime) -> None:
    """
    Note that a person has confirmed what was read, or set it aside.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who took the photo.
    photo_id : int
        The photo; settling it twice changes nothing.
    now : datetime
        The present.

    Raises
    ------
    NotAllowed
        If somebody else took it.
    NotFound
        If there is no such photo.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        settle_in(connection, actor, photo_id, now=now)


def settle_in(
    connection: sa.Connection,
    actor: Actor,
    photo_id: int,
    *,
    now: datetime,
    quiz_attempt_id: int | None = None,
) -> None:
    """
    Note in an open transaction that what was read is confirmed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        Who took the photo.
    photo_id : int
        The photo.
    now : datetime
        The present.
    quiz_attempt_id : int or None, optional
        The attempt that was kept from it.

    Raises
    ------
    Conflict
        If an attempt was kept from it before.
    NotAllowed
        If somebody else took it.
    NotFound
        If there is no such photo.
    """
    photo = _the_photo(connection, actor, photo_id)
    if photo.received_by != actor.user_id:
        raise NotAllowed(say("Only who took the photo confirms what was read."))
    if photo.settled_at is not None:
        if quiz_attempt_id is not None:
            raise Conflict(say("What this photo shows is settled already."))
        return
    connection.execute(
        sheet_photo.update()
        .where(sheet_photo.c.farm_id == actor.farm_id, sheet_photo.c.id == photo_id)
        .values(settled_at=now, quiz_attempt_id=quiz_attempt_id)
    )


def _the_photo(connection: sa.Connection, actor: Actor, photo_id: int) -> SheetPhoto:
    photo = None
    if 0 < photo_id <= _LARGEST_ID:
        photo = queries.sheet_photo_by_id(connection, actor.farm_id, photo_id)
    if photo is None:
        raise NotFound(say("There is no such photo."))
    return photo


def _require_sight(
    connection: sa.Connection, actor: Actor, photo: SheetPhoto, now: datetime | None
) -> None:
    if photo.audit_id is not None:
        require_sight_of_audit(connection, actor, photo.audit_id, now)


def _own_audit(connection: sa.Connection, actor: Actor, audit_id: int) -> Audit:
    audit = audit_queries.audit_by_id(connection, actor.farm_id, audit_id)
    if audit is None:
        raise NotFound(say("There is no such audit."))
    if audit.auditor_id != actor.user_id:
        raise NotAllowed(say("This sheet belongs to an audit of somebody else."))
    return audit
