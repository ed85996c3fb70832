"""Certificates for tests: what a thief of an authority's key would sign, and TLS in memory."""

import ssl
from collections.abc import Sequence
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from webapp.certificates import AUTHORITY_FILE
from webapp.config import clock_now
from webapp.hosts import Names

HERE = Names(dns=("farm.local", "localhost"), addresses=(ip_address("127.0.0.1"),))


def read_authority(folder: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """Return an authority's certificate and key, as whoever gets hold of the file can."""
    text = (folder / AUTHORITY_FILE).read_bytes()
    return x509.load_pem_x509_certificate(text), load_pem_private_key(text, password=None)


def plain_authority(folder: Path) -> None:
    """Put an authority into the folder that may speak for anybody."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name("An authority without constraints")
    certificate = (
        _builder(name, name, key, clock_now() - timedelta(days=1))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / AUTHORITY_FILE
    path.write_bytes(_pem(key) + certificate.public_bytes(Encoding.PEM))
    path.chmod(0o600)


def forge(
    folder: Path,
    into: Path,
    *,
    dns: Sequence[str] = (),
    addresses: Sequence[str] = (),
    begins: datetime | None = None,
) -> Path:
    """Sign a certificate of pages for any name with the folder's authority."""
    issuer, issuer_key = read_authority(folder)
    key = ec.generate_private_key(ec.SECP256R1())
    names = [x509.DNSName(name) for name in dns]
    names += [x509.IPAddress(ip_address(address)) for address in addresses]
    certificate = (
        _builder(
            _name("Forged pages"),
            issuer.subject,
            key,
            begins or clock_now() - timedelta(days=1),
        )
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(issuer_key, hashes.SHA256())
    )
    into.write_bytes(_pem(key) + certificate.public_bytes(Encoding.PEM))
    into.chmod(0o600)
    return into


def shake_hands(pages: Path, authority: Path, host: str) -> None:
    """
    Let a client that trusts the authority meet a server with these pages, without a network.

    Raises
    ------
    ssl.SSLCertVerificationError
        If the client does not trust the server.
    """
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(pages)
    trusting = ssl.create_default_context(cafile=str(authority))
    up, down = ssl.MemoryBIO(), ssl.MemoryBIO()
    server = serving.wrap_bio(up, down, server_side=True)
    client = trusting.wrap_bio(down, up, server_hostname=host)
    waiting = [client, server]
    for _ in range(10):
        for side in list(waiting):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
            waiting.remove(side)
        if not waiting:
            return
    raise AssertionError("the handshake does not end")


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, begins: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + timedelta(days=90))
    )


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
