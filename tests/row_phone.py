"""An enrolled phone in the row for tests: the items it makes, and how it sends them."""

import json
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from typing import Any
from uuid import uuid4

from flask import Flask
from werkzeug.test import TestResponse

from audits.records import Actor
from audits.services import devices
from audits.storage.database import Database
from tests.phone import DIGITS, Phone

AT = "2026-01-20T17:00:00.000Z"


@dataclass
class RowPhone(Phone):
    """A phone with a session and a queue."""

    device_id: int = 0
    session_token: str = ""

    def __post_init__(self) -> None:
        self._counter = count(1)

    def open(self, app: Flask):
        """Return a browser that holds the phone's session."""
        client = app.test_client()
        with client.session_transaction() as session:
            session["token"] = self.session_token
        return client

    def item(self, package: dict[str, Any], audit: str, kind: str, body: object) -> dict[str, Any]:
        """Make the phone's next item."""
        return {
            "schema": 1,
            "id": str(uuid4()),
            "counter": next(self._counter),
            "at": AT,
            "kind": kind,
            "audit": audit,
            "draw": package["draw"],
            "standard": package["standard"],
            "body": body,
        }

    def batch(self, *items: object, **other: object) -> bytes:
        """Return the bytes of a batch; `other` replaces parts of its frame."""
        frame = {"schema": 1, "device": self.uid, "sent_at": AT, "items": items}
        return json.dumps(frame | other).encode()

    def headers(self, body: bytes) -> dict[str, str]:
        return {"X-Device": self.uid, "X-Signature": self.sign(body)}

    def send(self, client, body: bytes, **headers: str) -> TestResponse:
        """Send a batch; the signature needs no session."""
        return client.post(
            "/field/sync",
            data=body,
            content_type="application/json",
            headers=self.headers(body) | headers,
        )


def enrolled(database: Database, actor: Actor, now: datetime, name: str = "Pole") -> RowPhone:
    """Return a phone enrolled for a person and unlocked."""
    phone = RowPhone()
    token = devices.offer_enrolment(database, actor, user_id=actor.user_id, now=now)
    device, phone.session_token = devices.enrol_device(
        database,
        actor.farm_id,
        token=token,
        name=name,
        public_key=phone.public_key,
        pin=DIGITS,
        now=now,
    )
    phone.uid, phone.device_id = device.uid, device.id
    return phone
