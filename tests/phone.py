"""A phone as the server meets it: its own key, its uid, and what it signs."""

import json
from base64 import b64encode, urlsafe_b64encode
from dataclasses import dataclass, field

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

DIGITS = "581937"


@dataclass
class Phone:
    """A phone with a key of its own; `uid` is there once it is enrolled."""

    key: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )
    uid: str = ""

    @property
    def public_key(self) -> dict[str, str]:
        numbers = self.key.public_key().public_numbers()
        return {"kty": "EC", "crv": "P-256"} | {
            name: urlsafe_b64encode(number.to_bytes(32)).decode().rstrip("=")
            for name, number in (("x", numbers.x), ("y", numbers.y))
        }

    def sign(self, body: bytes | str) -> str:
        """Sign as a browser does: r and s, 32 bytes each, in base64."""
        body = body.encode() if isinstance(body, str) else body
        r, s = decode_dss_signature(self.key.sign(body, ec.ECDSA(SHA256())))
        return b64encode(r.to_bytes(32) + s.to_bytes(32)).decode()


def token_in(page: str) -> str:
    """Return the token on the page of an offer."""
    return page.partition("#enrol=")[2].partition("<")[0]


def enrol(client, phone: Phone, token: str, /, *, headers=None, **changed: object):
    """Send what a phone sends after it read the QR code."""
    sent = {"token": token, "name": "Blue phone", "public_key": phone.public_key, "pin": DIGITS}
    answer = client.post("/field/enrol", json=sent | changed, headers=headers)
    if answer.status_code == 200:
        phone.uid = answer.json["device"]
    return answer


def unlock(client, phone: Phone, pin: str = DIGITS, **changed: object):
    """Fetch a nonce, sign it and send the digits."""
    nonce = client.get("/field/token").json["nonce"]
    sent = {"device": phone.uid, "pin": pin, "nonce": nonce, "signature": phone.sign(nonce)}
    return client.post("/field/unlock", json=sent | changed)


def signed_batch(phone: Phone, batch: dict[str, object]) -> tuple[bytes, dict[str, str]]:
    """Return a batch's bytes with the headers that say whose they are."""
    body = json.dumps(batch).encode()
    return body, {"X-Device": phone.uid, "X-Signature": phone.sign(body)}
