"""Photos of faults: kept beside the tree that they show, seen by crew leads and nobody else."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Actor, Audit, DeviceRow
from audits.services.access import may_keep_phones, require_crew_lead
from audits.services.unseen import require_sight_of_audit
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as queries
from audits.storage.queries import photos as photo_queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.photos import PhotoRow
from audits.storage.tables import photo
from audits.vocabulary import Stage


@dataclass(frozen=True)
class SentPhoto:
    """
    A photo as a phone sent it.

    Parameters
    ----------
    client_id : str
        Id made by the phone; sending it twice changes nothing.
    audit_client_id : str
        Id by which the phone knows the audit.
    draw_tree_id : int
        The tree that it shows.
    stage : Stage or None
        The stage whose fault it shows, if it shows one.
    device_at : datetime or None
        The phone's own clock, as claimed.
    """

    client_id: str
    audit_client_id: str
    draw_tree_id: int
    stage: Stage | None
    device_at: datetime | None


def keep_photo(
    database: Database,
    farm_id: int,
    device: DeviceRow,
    sent: SentPhoto,
    *,
    remade: Callable[[], bytes],
    now: datetime,
) -> bool:
    """
    Keep a photo, once.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    device : DeviceRow
        The phone that signed it.
    sent : SentPhoto
        The photo.
    remade : Callable
        Returns the picture as it is kept; asked only if it will be kept, and before anybody has
        to wait for the database.
    now : datetime
        The present.

    Returns
    -------
    bool
        Whether it is new; False where it is there already.

    Raises
    ------
    Conflict
        If the audit has not arrived yet: the photo may come again later.
    InvalidInput
        If the picture cannot be read, the audit is somebody else's, the tree is not in its draw,
        or another photo has this id.
    NotAllowed
        If the phone's person leads no crews any more.
    """
    with database.read() as connection:
        if _is_kept(connection, farm_id, _audit_of(connection, farm_id, device, sent), sent):
            return False
    content = remade()
    with database.write() as connection:
        audit = _audit_of(connection, farm_id, device, sent)
        if _is_kept(connection, farm_id, audit, sent):
            return False
        insert(
            connection,
            photo,
            {
                "farm_id": farm_id,
                "client_id": sent.client_id,
                "audit_id": audit.id,
                "draw_tree_id": sent.draw_tree_id,
                "stage": sent.stage,
                "content": content,
                "content_hash": sha256(content).hexdigest(),
                "device_at": sent.device_at,
                "received_at": now,
            },
        )
    return True


def photos_of_audit(
    database: Database, actor: Actor, audit_id: int, now: datetime | None = None
) -> list[PhotoRow]:
    """
    List the photos of an audit, without their content.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id : int
        The audit.
    now : datetime or None, optional
        The present: a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    list of PhotoRow
        Row by row, by position.

    Raises
    ------
    NotAllowed
        If a blind second audit of these trees is still to be made.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        require_sight_of_audit(connection, actor, audit_id, now)
        return photo_queries.photos_of_audit(connection, actor.farm_id, audit_id)


def photo_content(
    database: Database, actor: Actor, audit_id: int, photo_id: int, now: datetime | None = None
) -> bytes:
    """
    Return one photo of an audit.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    audit_id, photo_id : int
        The photo.
    now : datetime or None, optional
        The present: a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    bytes
        A JPEG.

    Raises
    ------
    NotAllowed
        If a blind second audit of these trees is still to be made.
    NotFound
        If the audit has no such photo.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        require_sight_of_audit(connection, actor, audit_id, now)
        content = photo_queries.photo_content(connection, actor.farm_id, audit_id, photo_id)
    if content is None:
        raise NotFound(say("There is no such photo."))
    return content


def _audit_of(connection: sa.Connection, farm_id: int, device: DeviceRow, sent: SentPhoto) -> Audit:
    """
    Return the audit that a photo belongs to.

    Raises
    ------
    Conflict
        If it has not arrived yet.
    InvalidInput
        If it is somebody else's, or the tree is not in its draw.
    NotAllowed
        If the phone's person leads no crews any more.
    """
    user = account_queries.user_by_id(connection, farm_id, device.user_account_id)
    if user is None or not may_keep_phones(user):
        raise NotAllowed(say("Your sign-in is not for this page."))
    audit = queries.audit_by_client_id(connection, farm_id, sent.audit_client_id)
    if audit is None:
        raise Conflict(say("The audit of this photo has not arrived yet."))
    if audit.auditor_id != device.user_account_id:
        raise InvalidInput({"audit": say("The audit belongs to somebody else.")})
    trees = queries.draw_trees(connection, farm_id, audit.draw_id)
    if sent.draw_tree_id not in {tree.id for tree in trees}:
        raise InvalidInput({"tree": say("This tree is not in the draw of its audit.")})
    return audit


def _is_kept(connection: sa.Connection, farm_id: int, audit: Audit, sent: SentPhoto) -> bool:
    """
    Tell whether a photo is there already.

    Raises
    ------
    InvalidInput
        If another one has its id.
    """
    kept = photo_queries.photo_by_client_id(connection, farm_id, sent.client_id)
    if kept is None:
        return False
    if (kept.audit_id, kept.draw_tree_id) != (audit.id, sent.draw_tree_id):
        raise InvalidInput({"photo": say("Another photo was sent under this id before.")})
    return True
