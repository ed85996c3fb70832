"""What an enrolled phone signs: ECDSA on the curve P-256 with SHA-256 (ES256 of RFC 7518)."""

from base64 import b64decode, urlsafe_b64decode
from binascii import Error as NotBase64
from collections.abc import Mapping
from typing import Any, Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

_NUMBER_BYTES: Final = 32
# 32 bytes in base64url without padding.
_NUMBER_LETTERS: Final = 43
_PRIVATE_PART: Final = "d"


def read_public_key(key: object) -> dict[str, str]:
    """
    Look a phone's public key through.

    Parameters
    ----------
    key : object
        A JSON web key as the phone sent it.

    Returns
    -------
    dict of str to str
        The key's four parts that matter: ``kty``, ``crv``, ``x`` and ``y``.

    Raises
    ------
    ValueError
        If it is no public key on P-256: another kind of key, a point that does not lie on the
        curve, numbers of another length, or a key with its private part.

    References
    ----------
    .. [1] RFC 7517, JSON Web Key, and RFC 7518, section 6.2.
    """
    if not isinstance(key, Mapping):
        raise ValueError("the public key is no JSON object")  # noqa: TRY004 - bad input, not a bug
    if key.get("kty") != "EC" or key.get("crv") != "P-256":
        raise ValueError("the public key is none on the curve P-256")
    if _PRIVATE_PART in key:
        raise ValueError("the key came with its private part")
    parts = {name: key.get(name) for name in ("kty", "crv", "x", "y")}
    if not all(isinstance(part, str) for part in parts.values()):
        raise ValueError("the public key misses one of its two numbers")
    read = {name: str(part) for name, part in parts.items()}
    _public_key(read)
    return read


def is_signed(public_key: Mapping[str, Any], body: bytes, signature: str) -> bool:
    """
    Tell whether a phone signed a body.

    Parameters
    ----------
    public_key : Mapping of str to str
        The phone's public key, as `read_public_key` returns it.
    body : bytes
        Exactly what was signed.
    signature : str
        The two numbers r and s of 32 bytes each, one after the other, in base64.

    Returns
    -------
    bool
        False too for anything that cannot be read as a signature.

    References
    ----------
    .. [1] RFC 7518, section 3.4.
    """
    try:
        raw = b64decode(signature, validate=True)
    except (NotBase64, ValueError):
        return False
    if len(raw) != 2 * _NUMBER_BYTES:
        return False
    r, s = (int.from_bytes(half) for half in (raw[:_NUMBER_BYTES], raw[_NUMBER_BYTES:]))
    try:
        _public_key(public_key).verify(encode_dss_signature(r, s), body, ec.ECDSA(SHA256()))
    except InvalidSignature:
        return False
    return True


def _public_key(key: Mapping[str, Any]) -> ec.EllipticCurvePublicKey:
    x, y = (_number(key[name]) for name in ("x", "y"))
    # Refuses a point that does not lie on the curve.
    return ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1()).public_key()


def _number(text: str) -> int:
    if len(text) != _NUMBER_LETTERS or not text.isascii():
        raise ValueError("a number of the public key is not 32 bytes long")
    try:
        raw = urlsafe_b64decode(text + "=")
    except NotBase64 as error:
        raise ValueError("a number of the public key is no base64url") from error
    if len(raw) != _NUMBER_BYTES:
        raise ValueError("a number of the public key is not 32 bytes long")
    return int.from_bytes(raw)
