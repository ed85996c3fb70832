"""Enrolled phones: offering, enrolling, unlocking and revoking, and what they signed."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any, Final
from uuid import uuid4

import sqlalchemy as sa

from audits import signatures
from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.messages import Message, mark, say, say_n
from audits.records import Actor, DeviceRow, User
from audits.services.access import may_keep_phones, require_crew_lead
from audits.services.entries import Entries
from audits.services.hashing import hashed, matches
from audits.services.sessions import (
    SESSION_LENGTH,
    end_sessions_of_device,
    open_session,
    token_hash,
)
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import devices as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import device as device_table
from audits.storage.tables import enrolment
from audits.unlocking import MOST_TRIES, are_guessable, are_six_digits
from audits.vocabulary import Role

OFFER_LENGTH: Final = timedelta(minutes=15)
# Crockford's base 32: no letter that reads like another, so that a code can be typed from a screen.
_CODE_SIGNS: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_READ_AS: Final = str.maketrans("OIL", "011")
# Three groups of four: 60 random bits, beyond guessing in a quarter of an hour.
_CODE_GROUPS: Final = 3
_CODE_GROUP: Final = 4
_SESSION_BYTES: Final = 32


class PhoneProblem(StrEnum):
    """Why a phone was refused, in a word by which the phone knows what to do."""

    UNKNOWN_OFFER = "unknown_offer"
    USED_OFFER = "used_offer"
    LATE_OFFER = "late_offer"
    CLOSED = "closed"
    OTHER_PERSON = "other_person"
    BAD_NAME = "bad_name"
    BAD_DIGITS = "bad_digits"
    GUESSABLE_DIGITS = "guessable_digits"
    BAD_KEY = "bad_key"
    UNKNOWN_DEVICE = "unknown_device"
    REVOKED = "revoked"
    WRONG_DIGITS = "wrong_digits"
    ENROL_AGAIN = "enrol_again"


_SENTENCES: Final = {
    PhoneProblem.UNKNOWN_OFFER: mark(
        "This code is not known here. Ask for a new one on the page Phones."
    ),
    PhoneProblem.USED_OFFER: mark(
        "This code was used already. Ask for a new one on the page Phones."
    ),
    PhoneProblem.LATE_OFFER: mark("This code is too old. Ask for a new one on the page Phones."),
    PhoneProblem.CLOSED: mark("The account that this phone belongs to cannot be used any more."),
    PhoneProblem.OTHER_PERSON: mark(
        "This phone is enrolled for somebody else. Revoke it on the page Phones first."
    ),
    PhoneProblem.BAD_DIGITS: mark("Choose six digits."),
    PhoneProblem.GUESSABLE_DIGITS: mark(
        "These digits are too easy to guess. Choose six others, in no pattern."
    ),
    PhoneProblem.BAD_KEY: mark(
        "This phone made no key that can be taken. Try another browser on it."
    ),
    PhoneProblem.UNKNOWN_DEVICE: mark("This phone is not enrolled here. Enrol it first."),
    PhoneProblem.REVOKED: mark("This phone was revoked. Ask for a new code to use it again."),
    PhoneProblem.ENROL_AGAIN: mark("Too many wrong tries. Enrol this phone again with a new code."),
}


class PhoneRefused(NotAllowed):
    """
    A phone may not be enrolled or opened.

    Parameters
    ----------
    problem : PhoneProblem
        What the phone goes by.
    message : Message or None, optional
        What the person reads; needed where the sentence has values in it.
    """

    def __init__(self, problem: PhoneProblem, message: Message | None = None) -> None:
        super().__init__(message or say(_SENTENCES[problem]))
        self.problem = problem


@dataclass(frozen=True)
class PersonsDevices:
    """
    A person who may keep phones, with those they have.

    Parameters
    ----------
    user : User
        The person.
    devices : list of DeviceRow
        Phones that were not revoked, in the order in which they were enrolled, then revoked ones.
    """

    user: User
    devices: list[DeviceRow]

    @property
    def may_enrol(self) -> bool:
        """Whether the person may have one more."""
        return may_keep_phones(self.user)


def offer_enrolment(database: Database, actor: Actor, *, user_id: int, now: datetime) -> str:
    """
    Offer to enrol one phone for one person; an earlier offer that nobody took is void from now on.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Supervisors for themselves, owners for anybody who leads crews.
    user_id : int
        Who will keep the phone.
    now : datetime
        The present.

    Returns
    -------
    str
        The token to show as a QR code and to be typed, such as ``"7K3M-0QXV-9TRA"``: good for one
        phone within a quarter of an hour. Only its hash is stored.

    Raises
    ------
    InvalidInput
        If the person leads no crews or their account is closed.
    NotAllowed
        If the actor may not offer this.
    NotFound
        If there is no such account on the farm.
    """
    require_crew_lead(actor)
    _require_own_or_owner(actor, user_id)
    token = _new_code()
    with database.write() as connection:
        user = account_queries.user_by_id(connection, actor.farm_id, user_id)
        if user is None:
            raise NotFound(say("There is no such account."))
        if not may_keep_phones(user):
            raise InvalidInput(
                {
                    "user_id": say(
                        "%(name)s leads no crews: only owners and supervisors enrol phones.",
                        name=user.name,
                    )
                }
            )
        _drop_open_offers(connection, actor.farm_id, user_id)
        insert(
            connection,
            enrolment,
            {
                "farm_id": actor.farm_id,
                "token_hash": token_hash(_as_made(token)),
                "user_account_id": user_id,
                "created_at": now,
                "created_by": actor.user_id,
                "expires_at": now + OFFER_LENGTH,
            },
        )
    return token


def enrol_device(
    database: Database,
    farm_id: int,
    *,
    token: str,
    name: str,
    public_key: object,
    pin: str,
    now: datetime,
) -> tuple[DeviceRow, str]:
    """
    Enrol the phone that holds an offer's token, and open it.

    A phone that the same person enrols again, with the key that it has, stays the same phone: it
    gets new digits and a clean count of tries.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    token : str
        From the QR code or as typed: small letters, blanks and look-alikes are read too.
    name : str
        What the person calls the phone.
    public_key : object
        The public half of the phone's key, a JSON web key.
    pin : str
        The six digits that will open the phone.
    now : datetime
        The present.

    Returns
    -------
    tuple of DeviceRow and str
        The phone, and the secret of the session that is open on it.

    Raises
    ------
    PhoneRefused
        If the offer is unknown, used or too old, its person's account closed, the phone somebody
        else's, or the name, digits or key cannot be taken. Then the offer stays as it was.
    """
    checked_name = _checked_name(name)
    _check_digits(pin)
    try:
        key = signatures.read_public_key(public_key)
    except ValueError as error:
        raise PhoneRefused(PhoneProblem.BAD_KEY) from error
    with database.read() as connection:
        _open_offer(connection, farm_id, token, now)
    # Hashed before the transaction: it takes its time on purpose, and writers go one at a time.
    pin_hash = hashed(pin)
    session_token = secrets.token_urlsafe(_SESSION_BYTES)
    with database.write() as connection:
        offer, user = _open_offer(connection, farm_id, token, now)
        connection.execute(enrolment.update().where(enrolment.c.id == offer.id).values(used_at=now))
        values = {
            "name": checked_name,
            "user_account_id": user.id,
            "public_key": key,
            "pin_hash": pin_hash,
            "pin_failures": 0,
            "enrolled_at": now,
            "enrolled_by": offer.created_by,
            "seen_at": now,
        }
        device_id = _same_phone(connection, farm_id, user, key)
        if device_id is None:
            device_id = insert(
                connection, device_table, {"farm_id": farm_id, "uid": str(uuid4()), **values}
            )
        else:
            connection.execute(_device(device_id).values(**values))
            end_sessions_of_device(connection, farm_id, device_id)
        open_session(connection, farm_id, user.id, session_token, now, device_id=device_id)
        return _the_device(connection, farm_id, device_id), session_token


def unlock(
    database: Database,
    farm_id: int,
    *,
    uid: str,
    pin: str,
    nonce: str,
    signature: str,
    now: datetime,
) -> str:
    """
    Open an enrolled phone by its digits, together with its signature.

    Whoever cannot sign with the phone's key gets no try: knowing a name or a uid locks nobody out.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    uid : str
        What the phone knows itself by.
    pin : str
        Six digits, as typed.
    nonce : str
        What the server gave to be signed; that it is fresh and was not used before is for the
        caller to see to.
    signature : str
        The phone's signature over the nonce, in base64.
    now : datetime
        The present.

    Returns
    -------
    str
        The secret of the session that is open now; the phone's earlier ones have ended.

    Raises
    ------
    PhoneRefused
        If the phone is unknown or did not sign, was revoked, its person's account is closed, or
        the digits are wrong; after ten wrong ones in a row the phone must be enrolled again.
    """
    with database.read() as connection:
        found = queries.device_by_uid(connection, farm_id, uid)
        kept_hash = None if found is None else queries.pin_hash(connection, farm_id, found.id)
    if found is None or kept_hash is None or not verify(found, nonce.encode(), signature):
        raise PhoneRefused(PhoneProblem.UNKNOWN_DEVICE)
    left = _spend_try(database, farm_id, found.id)
    if not matches(kept_hash, pin):
        _refuse_digits(database, farm_id, found.id, left)
    session_token = secrets.token_urlsafe(_SESSION_BYTES)
    with database.write() as connection:
        user = _person_of_open_phone(connection, farm_id, found.id)
        connection.execute(_device(found.id).values(pin_failures=0, seen_at=now))
        end_sessions_of_device(connection, farm_id, found.id)
        open_session(connection, farm_id, user.id, session_token, now, device_id=found.id)
    return session_token


def revoke_device(database: Database, actor: Actor, device_id: int, now: datetime) -> DeviceRow:
    """
    Revoke a phone: its sessions end at once, and what it sends from now on is held back.

    Offers that its person has not taken yet are void too, so that whoever has the phone cannot
    come back by one of them.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Supervisors for their own phones, owners for all.
    device_id : int
        The phone.
    now : datetime
        The present.

    Returns
    -------
    DeviceRow
        The phone, revoked.

    Raises
    ------
    NotAllowed
        If the phone is somebody else's and the actor no owner.
    NotFound
        If there is no such phone on the farm.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        found = queries.device_by_id(connection, actor.farm_id, device_id)
        if found is None:
            raise NotFound(say("There is no such phone."))
        _require_own_or_owner(actor, found.user_account_id)
        if found.revoked_at is None:
            connection.execute(_device(found.id).values(revoked_at=now, revoked_by=actor.user_id))
        end_sessions_of_device(connection, actor.farm_id, found.id)
        _drop_open_offers(connection, actor.farm_id, found.user_account_id)
        return _the_device(connection, actor.farm_id, found.id)


def devices(database: Database, actor: Actor) -> list[PersonsDevices]:
    """
    Return who may keep phones and which ones they have.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Supervisors see themselves, owners everybody.

    Returns
    -------
    list of PersonsDevices
        By name; people who lead no crews any more only where they have a phone left.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        people = account_queries.users(connection, actor.farm_id)
        rows = queries.devices(connection, actor.farm_id)
    found = []
    for user in people:
        if actor.role is not Role.OWNER and user.id != actor.user_id:
            continue
        own = [row for row in rows if row.user_account_id == user.id]
        own.sort(key=lambda row: row.revoked_at is not None)
        if may_keep_phones(user) or any(row.revoked_at is None for row in own):
            found.append(PersonsDevices(user, own))
    return found


def verify(device: DeviceRow, body: bytes, signature: str) -> bool:
    """
    Tell whether a phone signed a body; whether it is revoked is another question.

    Parameters
    ----------
    device : DeviceRow
        The phone.
    body : bytes
        Exactly what was signed.
    signature : str
        ECDSA P-256 with SHA-256, the 64 bytes of r and s in base64.

    Returns
    -------
    bool
        False too for anything that is no signature at all.
    """
    return signatures.is_signed(device.public_key, body, signature)


def device_of_session(database: Database, token: str, now: datetime) -> DeviceRow | None:
    """
    Return the phone that a session is bound to.

    Parameters
    ----------
    database : Database
        The farm's database.
    token : str
        The session's secret.
    now : datetime
        The present.

    Returns
    -------
    DeviceRow or None
        None for a session by password, and where there is no such session any more.
    """
    with database.read() as connection:
        return queries.device_of_session(
            connection, token_hash(token), started_after=now - SESSION_LENGTH
        )


def has_live_session(connection: sa.Connection, device: DeviceRow, now: datetime) -> bool:
    """
    Tell whether a phone was opened by its digits within the last hours.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Any transaction.
    device : DeviceRow
        The phone.
    now : datetime
        The present.

    Returns
    -------
    bool
        False for a revoked phone too, since revoking ends its sessions.
    """
    return queries.has_session(connection, device.id, started_after=now - SESSION_LENGTH)


def note_contact(
    connection: sa.Connection, device: DeviceRow, now: datetime, clock_ahead_ms: int | None
) -> None:
    """
    Keep when a phone was last heard of and how far its clock was ahead.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A transaction that writes.
    device : DeviceRow
        The phone.
    now : datetime
        The present.
    clock_ahead_ms : int or None
        The phone's clock less the server's, in ms; None keeps what was known.
    """
    values: dict[str, object] = {"seen_at": now}
    if clock_ahead_ms is not None:
        values["clock_ahead_ms"] = clock_ahead_ms
    connection.execute(_device(device.id).values(**values))


def _new_code() -> str:
    groups = (
        "".join(secrets.choice(_CODE_SIGNS) for _ in range(_CODE_GROUP))
        for _ in range(_CODE_GROUPS)
    )
    return "-".join(groups)


def _as_made(token: str) -> str:
    """Return a code as it was made, without what people add when they type it."""
    letters = token.upper().translate(_READ_AS)
    return "".join(letter for letter in letters if letter in _CODE_SIGNS)


def _require_own_or_owner(actor: Actor, user_id: int) -> None:
    if actor.role is not Role.OWNER and actor.user_id != user_id:
        raise NotAllowed(say("You can enrol and revoke your own phones only."))


def _device(device_id: int) -> sa.Update:
    return device_table.update().where(device_table.c.id == device_id)


def _the_device(connection: sa.Connection, farm_id: int, device_id: int) -> DeviceRow:
    found = queries.device_by_id(connection, farm_id, device_id)
    if found is None:
        raise NotFound(say("There is no such phone."))
    return found


def _drop_open_offers(connection: sa.Connection, farm_id: int, user_id: int) -> None:
    connection.execute(
        enrolment.delete().where(
            enrolment.c.farm_id == farm_id,
            enrolment.c.user_account_id == user_id,
            enrolment.c.used_at.is_(None),
        )
    )


def _checked_name(name: str) -> str:
    entries = Entries()
    checked = entries.text("name", name, missing=say("Give the phone a name."))
    if entries.problems:
        raise PhoneRefused(PhoneProblem.BAD_NAME, entries.problems["name"])
    return checked


def _check_digits(pin: str) -> None:
    if not are_six_digits(pin):
        raise PhoneRefused(PhoneProblem.BAD_DIGITS)
    if are_guessable(pin):
        raise PhoneRefused(PhoneProblem.GUESSABLE_DIGITS)


def _open_offer(
    connection: sa.Connection, farm_id: int, token: str, now: datetime
) -> tuple[queries.OfferRow, User]:
    offer = queries.offer_by_hash(connection, farm_id, token_hash(_as_made(token)))
    if offer is None:
        raise PhoneRefused(PhoneProblem.UNKNOWN_OFFER)
    if offer.used_at is not None:
        raise PhoneRefused(PhoneProblem.USED_OFFER)
    if now >= offer.expires_at:
        raise PhoneRefused(PhoneProblem.LATE_OFFER)
    user = account_queries.user_by_id(connection, farm_id, offer.user_account_id)
    if user is None or not may_keep_phones(user):
        raise PhoneRefused(PhoneProblem.CLOSED)
    return offer, user


def _same_phone(
    connection: sa.Connection, farm_id: int, user: User, key: Mapping[str, Any]
) -> int | None:
    known = queries.device_with_key(connection, farm_id, key)
    if known is None:
        return None
    if known.revoked_at is not None:
        raise PhoneRefused(PhoneProblem.REVOKED)
    if known.user_account_id != user.id:
        raise PhoneRefused(PhoneProblem.OTHER_PERSON)
    return known.id


def _spend_try(database: Database, farm_id: int, device_id: int) -> int:
    # Counted before it is made, in its own transaction: many at once are ten all the same.
    with database.write() as connection:
        _person_of_open_phone(connection, farm_id, device_id)
        failures = _the_device(connection, farm_id, device_id).pin_failures
        if failures >= MOST_TRIES:
            raise PhoneRefused(PhoneProblem.ENROL_AGAIN)
        connection.execute(_device(device_id).values(pin_failures=failures + 1))
    return MOST_TRIES - failures - 1


def _refuse_digits(database: Database, farm_id: int, device_id: int, left: int) -> None:
    if left > 0:
        raise PhoneRefused(
            PhoneProblem.WRONG_DIGITS,
            say_n(
                "These are not the digits. %(count)s try is left.",
                "These are not the digits. %(count)s tries are left.",
                left,
            ),
        )
    # Whoever tried so often is perhaps not who opened it before.
    with database.write() as connection:
        end_sessions_of_device(connection, farm_id, device_id)
    raise PhoneRefused(PhoneProblem.ENROL_AGAIN)


def _person_of_open_phone(connection: sa.Connection, farm_id: int, device_id: int) -> User:
    found = _the_device(connection, farm_id, device_id)
    if found.revoked_at is not None:
        raise PhoneRefused(PhoneProblem.REVOKED)
    user = account_queries.user_by_id(connection, farm_id, found.user_account_id)
    if user is None or not may_keep_phones(user):
        raise PhoneRefused(PhoneProblem.CLOSED)
    return user
