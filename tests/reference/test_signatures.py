"""
Signatures of phones, against published examples of ECDSA on P-256 with SHA-256.

RFC 6979, appendix A.2.5, prints a key with r and s for two messages; RFC 7515, appendix A.3, a JSON
web key with a signature as ES256 writes it.
"""

from base64 import b64encode, urlsafe_b64decode, urlsafe_b64encode

import pytest

from audits.signatures import is_signed, read_public_key


def in_base64url(digits: str) -> str:
    return urlsafe_b64encode(bytes.fromhex(digits)).decode().rstrip("=")


RFC_6979_KEY = {
    "kty": "EC",
    "crv": "P-256",
    "x": in_base64url("60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6"),
    "y": in_base64url("7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299"),
}
RFC_6979_SIGNATURES = {
    b"sample": (
        "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"
        "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8"
    ),
    b"test": (
        "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367"
        "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083"
    ),
}
RFC_7515_KEY = {
    "kty": "EC",
    "crv": "P-256",
    "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",
    "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",
}
RFC_7515_BODY = (
    b"eyJhbGciOiJFUzI1NiJ9"
    b"."
    b"eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFt"
    b"cGxlLmNvbS9pc19yb290Ijp0cnVlfQ"
)
RFC_7515_SIGNATURE = (
    "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"
)


def base64_of(raw: bytes) -> str:
    return b64encode(raw).decode()


@pytest.mark.parametrize("body", list(RFC_6979_SIGNATURES))
def test_the_signatures_of_rfc_6979_are_taken(body):
    signature = base64_of(bytes.fromhex(RFC_6979_SIGNATURES[body]))

    assert is_signed(read_public_key(RFC_6979_KEY), body, signature)
    assert not is_signed(RFC_6979_KEY, body + b"!", signature)
    assert not is_signed(RFC_7515_KEY, body, signature)


def test_the_signature_of_rfc_7515_is_taken():
    signature = base64_of(urlsafe_b64decode(RFC_7515_SIGNATURE + "=="))

    assert is_signed(read_public_key(RFC_7515_KEY), RFC_7515_BODY, signature)
    assert not is_signed(RFC_7515_KEY, RFC_7515_BODY[1:], signature)


def test_a_signature_with_any_bit_changed_is_refused():
    raw = bytes.fromhex(RFC_6979_SIGNATURES[b"sample"])
    for place in range(8 * len(raw)):
        changed = bytearray(raw)
        changed[place // 8] ^= 1 << place % 8
        assert not is_signed(RFC_6979_KEY, b"sample", base64_of(bytes(changed))), place


@pytest.mark.parametrize(
    "signature",
    [
        "",
        "no base64!",
        "é",
        "AAAA",
        base64_of(bytes(64)),
        base64_of(b"\xff" * 64),
        base64_of(bytes.fromhex(RFC_6979_SIGNATURES[b"sample"]) + b"\x00"),
        base64_of(bytes.fromhex(RFC_6979_SIGNATURES[b"sample"])) + "\n",
    ],
    ids=["empty", "letters", "accent", "short", "zeros", "ones", "long", "line end"],
)
def test_what_is_no_signature_is_refused(signature):
    assert not is_signed(RFC_6979_KEY, b"sample", signature)


def test_a_point_off_the_curve_is_no_key():
    """RFC 7518, 6.2.1: a key whose point lies elsewhere gives parts of secrets away."""
    with pytest.raises(ValueError, match="curve"):
        read_public_key(RFC_6979_KEY | {"y": RFC_7515_KEY["y"]})
