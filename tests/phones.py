"""An enrolled phone for tests: its key, its session, and what it signs and sends."""

import json
from base64 import b64encode, urlsafe_b64encode
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from typing import Any
from uuid import uuid4

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from flask import Flask
from werkzeug.test import TestResponse

from audits.records import Actor, DeviceRow
from audits.services import devices
from audits.storage.database import Database

PIN = "286157"


@dataclass
class Phone:
    """A phone as it stands in the row: all that it needs to send."""

    device: DeviceRow
    key: ec.EllipticCurvePrivateKey
    session_token: str

    def __post_init__(self) -> None:
        self._counter = count(1)

    def sign(self, body: bytes) -> str:
        """Sign as a browser does: r and s, 32 bytes each, in base64 (Web Cryptography, 23.7.4)."""
        r, s = decode_dss_signature(self.key.sign(body, ec.ECDSA(SHA256())))
        return b64encode(r.to_bytes(32, "big") + s.to_bytes(32, "big")).decode()

    def headers(self, body: bytes) -> dict[str, str]:
        return {"X-Device": self.device.uid, "X-Signature": self.sign(body)}

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
            "at": "2026-01-20T17:00:00.000Z",
            "kind": kind,
            "audit": audit,
            "draw": package["draw"],
            "standard": package["standard"],
            "body": body,
        }

    def batch(self, items: list[object], **other: object) -> bytes:
        body = {
            "schema": 1,
            "device": self.device.uid,
            "sent_at": "2026-01-20T17:00:00.000Z",
            "items": items,
        }
        return json.dumps(body | other).encode()

    def send(self, client, body: bytes, **headers: str) -> TestResponse:
        return client.post(
            "/field/sync",
            data=body,
            content_type="application/json",
            headers=self.headers(body) | headers,
        )


def enrol(database: Database, actor: Actor, now: datetime, name: str = "Pole phone") -> Phone:
    """Enrol a phone for a person, as the person would."""
    key = ec.generate_private_key(ec.SECP256R1())
    token = devices.offer_enrolment(database, actor, user_id=actor.user_id, now=now)
    device, session_token = devices.enrol_device(
        database,
        actor.farm_id,
        token=token,
        name=name,
        public_key=public_jwk(key),
        pin=PIN,
        now=now.astimezone(UTC),
    )
    return Phone(device, key, session_token)


def public_jwk(key: ec.EllipticCurvePrivateKey) -> dict[str, str]:
    numbers = key.public_key().public_numbers()
    return {
        "kty": "EC",
        "crv": "P-256",
        "x": _base64url(numbers.x),
        "y": _base64url(numbers.y),
    }


def _base64url(number: int) -> str:
    return urlsafe_b64encode(number.to_bytes(32, "big")).rstrip(b"=").decode()
