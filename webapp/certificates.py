"""
The farm's own certificate authority, and the certificate of its pages.

Phones work without a signal only on https with a certificate that they trust. A machine on a farm
network has no public name that somebody could vouch for, so the farm vouches for itself: an
authority that each phone is told to trust once, and a certificate of the pages, which the
authority signs anew every year without anybody touching a phone. So that a stolen key harms
nothing but these pages, the authority may speak for the names and addresses of this machine alone
(RFC 5280, 4.2.1.10), and for no further authority (pathLenConstraint 0).
"""

import hashlib
import os
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from pathlib import Path
from typing import Final
from uuid import uuid4

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from audits.errors import AuditError
from audits.messages import Message, say
from webapp.hosts import Address, Names

AUTHORITY_FILE: Final = "authority.pem"
PAGES_FILE: Final = "pages.pem"
DOWNLOAD_FILE: Final = "authority.crt"
RENEWED_BEFORE_DAYS: Final = 30

# Phones refuse a certificate of pages that is valid for more than 398 days; one day is kept spare.
_PAGES_VALID: Final = timedelta(days=397)
_AUTHORITY_VALID: Final = timedelta(days=3652)
# A phone whose clock is a day slow must not take the certificate for one of tomorrow.
_BACKDATED: Final = timedelta(days=2)
# X.520 gives a common name and an organisation at most 64 characters (RFC 5280, appendix A.1).
_LONGEST_NAME: Final = 64
_OWNER_ONLY: Final = 0o600
_OWNERS_FOLDER: Final = 0o700
_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO
_EVERY_ADDRESS: Final = (ip_network("0.0.0.0/0"), ip_network("::/0"))
_FINGERPRINT_GROUP: Final = 4
_NEW_AUTHORITY: Final = say(
    "Put back a good copy, or make a new authority: pruning-audit certs --renew. Every phone then "
    "has to be set up again."
)
_NEW_PAGES: Final = say("Delete the file: the next start makes a new one.")


class CertificateError(AuditError):
    """A certificate that cannot be used; the message names the file and says what to do."""


@dataclass(frozen=True)
class Pair:
    """A certificate with its key, as they stand together in one file."""

    certificate: x509.Certificate
    key: PrivateKeyTypes


@dataclass(frozen=True)
class Certificates:
    """
    What serves the pages over https.

    Parameters
    ----------
    certificate_file, key_file : Path
        Where the server reads the certificate of the pages and its key.
    pages : Certificate
        The certificate of the pages.
    names : Names
        The names and addresses that the certificate is good for.
    authority : Certificate or None
        The farm's own authority; none for a certificate that phones trust by themselves.
    renewed : bool
        Whether the certificate of the pages was made just now.
    """

    certificate_file: Path
    key_file: Path
    pages: x509.Certificate
    names: Names
    authority: x509.Certificate | None
    renewed: bool = False

    @property
    def is_public(self) -> bool:
        """Whether somebody else than the holder vouches for the certificate."""
        return self.authority is None and self.pages.issuer != self.pages.subject


def folder_in(data: Path) -> Path:
    """Return where the certificates lie in a data folder."""
    return data / "certificates"


def make_authority(folder: Path, names: Names, farm_name: str, now: datetime) -> Certificates:
    """Make a new authority and a certificate of the pages, in place of those that are there."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _subject(f"{_cut(farm_name, 32)}, pruning audit {now:%Y-%m-%d}", farm_name)
    begin = _whole_seconds(now - _BACKDATED)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(begin + _AUTHORITY_VALID)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(signs_certificates=True), critical=True)
        .add_extension(_constraints(names), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    authority = Pair(certificate, key)
    _make_folder(folder)
    # Cut short anywhere, this leaves an authority without pages, for which the next start makes
    # some; never pages of an authority that is gone.
    _remove(folder / PAGES_FILE)
    _write(folder / AUTHORITY_FILE, _pem(authority))
    _offer(folder, certificate)
    return _certificates(folder, authority, _renew_pages(folder, authority, now), renewed=True)


def load_certificates(folder: Path, now: datetime) -> Certificates | None:
    """
    Return the farm's certificates, or None where there is no authority.

    The certificate of the pages is made anew when it is missing, runs out within 30 days, or lacks
    a name that the authority speaks for. Anything else that is wrong with a file is said, and the
    file stays as it is.
    """
    path = folder / AUTHORITY_FILE
    if not path.exists():
        return None
    authority = _read_pair(path, remedy=_NEW_AUTHORITY)
    _check_authority(path, authority, now)
    pages = _read_pages(folder / PAGES_FILE, authority)
    renewed = pages is None or _wants_renewal(authority, pages, now)
    if pages is None or renewed:
        pages = _renew_pages(folder, authority, now)
    _offer(folder, authority.certificate)
    return _certificates(folder, authority, pages, renewed=renewed)


def given_certificates(certificate_file: Path, key_file: Path, now: datetime) -> Certificates:
    """Return certificates that came from elsewhere, with the problems that a start would hide."""
    found = _certificates_in(certificate_file)
    if not found:
        raise CertificateError(
            say("%(file)s holds no certificate in PEM form.", file=str(certificate_file))
        )
    key = _key_in(key_file)
    if key is None:
        raise CertificateError(say("%(file)s holds no key in PEM form.", file=str(key_file)))
    pages = found[0]
    if not _fits(pages, key):
        raise CertificateError(
            say(
                "The key in %(key)s is not that of the certificate in %(file)s.",
                key=str(key_file),
                file=str(certificate_file),
            )
        )
    _check_dates(certificate_file, pages, now, remedy=say("Get a new one from whoever issued it."))
    return Certificates(certificate_file, key_file, pages, _names_of(pages), authority=None)


def fingerprint(certificate: x509.Certificate) -> str:
    """Return the SHA-256 fingerprint in groups of four, as two people read it to each other."""
    digits = certificate.fingerprint(hashes.SHA256()).hex().upper()
    starts = range(0, len(digits), _FINGERPRINT_GROUP)
    return " ".join(digits[start : start + _FINGERPRINT_GROUP] for start in starts)


def state_of_files(certificates: Certificates) -> str:
    """Return a digest that changes when the server has to read its files again."""
    digest = hashlib.sha256()
    for path in (certificates.certificate_file, certificates.key_file):
        digest.update(path.read_bytes())
    return digest.hexdigest()


# --- what the certificates say -------------------------------------------------------------------


def _subject(common_name: str, organisation: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, _cut(organisation, _LONGEST_NAME)),
            x509.NameAttribute(NameOID.COMMON_NAME, _cut(common_name, _LONGEST_NAME)),
        ]
    )


def _cut(text: str, longest: int) -> str:
    """Return the beginning of a text that takes at most so many bytes."""
    return text.encode()[:longest].decode(errors="ignore").strip()


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _constraints(names: Names) -> x509.NameConstraints:
    """
    Return constraints that permit these names and addresses, and no others.

    A constraint counts only for the kinds of name that it mentions: without an address (or
    without a name) that kind as a whole has to be excluded. A permitted name permits the names
    under it too; RFC 5280 knows no way to permit a name alone.
    """
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in names.dns]
    permitted += [x509.IPAddress(ip_network(address)) for address in names.addresses]
    excluded: list[x509.GeneralName] = []
    if not names.dns:
        excluded.append(x509.DNSName(""))
    if not names.addresses:
        excluded += [x509.IPAddress(network) for network in _EVERY_ADDRESS]
    return x509.NameConstraints(permitted, excluded or None)


def _permitted(authority: x509.Certificate) -> Names:
    found = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    subtrees = found.permitted_subtrees or []
    return Names(
        dns=tuple(tree.value for tree in subtrees if isinstance(tree, x509.DNSName)),
        addresses=tuple(
            tree.value.network_address
            for tree in subtrees
            if isinstance(tree, x509.IPAddress)
            and isinstance(tree.value, IPv4Network | IPv6Network)
        ),
    )


def _names_of(pages: x509.Certificate) -> Names:
    try:
        found = pages.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return Names((), ())
    addresses: list[Address] = []
    for address in found.get_values_for_type(x509.IPAddress):
        addresses.append(ip_address(str(address)))  # noqa: PERF401 - as a list it has no one type
    return Names(tuple(found.get_values_for_type(x509.DNSName)), tuple(addresses))


def _sign_pages(authority: Pair, now: datetime) -> Pair:
    issuer, issuer_key = authority.certificate, authority.key
    if not isinstance(issuer_key, ec.EllipticCurvePrivateKey):
        raise TypeError("authorities are made with a key on a curve")
    names = _permitted(issuer)
    key = ec.generate_private_key(ec.SECP256R1())
    begin = _whole_seconds(max(now - _BACKDATED, issuer.not_valid_before_utc))
    organisation = issuer.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)
    own_key = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    issuers_key = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    alternatives: list[x509.GeneralName] = [x509.DNSName(name) for name in names.dns]
    alternatives += [x509.IPAddress(address) for address in names.addresses]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_subject("Pruning audit pages", str(organisation[0].value)))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(min(begin + _PAGES_VALID, issuer.not_valid_after_utc))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
        .add_extension(own_key, critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(issuers_key),
            critical=False,
        )
        .sign(issuer_key, hashes.SHA256())
    )
    return Pair(certificate, key)


def _renew_pages(folder: Path, authority: Pair, now: datetime) -> Pair:
    pages = _sign_pages(authority, now)
    _write(folder / PAGES_FILE, _pem(pages))
    return pages


def _certificates(folder: Path, authority: Pair, pages: Pair, *, renewed: bool) -> Certificates:
    path = folder / PAGES_FILE
    names = _names_of(pages.certificate)
    return Certificates(path, path, pages.certificate, names, authority.certificate, renewed)


def _wants_renewal(authority: Pair, pages: Pair, now: datetime) -> bool:
    ends = pages.certificate.not_valid_after_utc
    is_short = ends - now < timedelta(days=RENEWED_BEFORE_DAYS)
    # Close to its own end the authority cannot give more time than it has.
    can_be_longer = ends < authority.certificate.not_valid_after_utc
    is_early = now < pages.certificate.not_valid_before_utc
    lacks_names = _names_of(pages.certificate) != _permitted(authority.certificate)
    return lacks_names or is_early or (is_short and can_be_longer)


# --- what the files hold -------------------------------------------------------------------------


def _check_authority(path: Path, authority: Pair, now: datetime) -> None:
    certificate = authority.certificate
    try:
        basic = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
        names = certificate.extensions.get_extension_for_class(x509.NameConstraints)
        certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier)
        certificate.verify_directly_issued_by(certificate)
        is_ours = (
            basic.value.ca
            and names.critical
            and isinstance(authority.key, ec.EllipticCurvePrivateKey)
            and bool(certificate.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME))
        )
    except (x509.ExtensionNotFound, InvalidSignature, ValueError, TypeError):
        is_ours = False
    if not is_ours:
        raise CertificateError(
            say(
                "%(file)s is not an authority that this program made; a certificate from "
                "elsewhere goes with --cert and --key. %(remedy)s",
                file=str(path),
                remedy=_NEW_AUTHORITY,
            )
        )
    _check_dates(path, certificate, now, remedy=_NEW_AUTHORITY)


def _check_dates(
    path: Path, certificate: x509.Certificate, now: datetime, *, remedy: Message
) -> None:
    if now > certificate.not_valid_after_utc:
        raise CertificateError(
            say(
                "The certificate in %(file)s ran out on %(day)s. %(remedy)s",
                file=str(path),
                day=certificate.not_valid_after_utc.date(),
                remedy=remedy,
            )
        )
    if now < certificate.not_valid_before_utc:
        raise CertificateError(
            say(
                "The certificate in %(file)s is valid from %(day)s only. Is the clock of this "
                "machine right?",
                file=str(path),
                day=certificate.not_valid_before_utc.date(),
            )
        )


def _offer(folder: Path, authority: x509.Certificate) -> None:
    """Keep the authority's certificate beside it, without the key, to be carried to a desk."""
    path, content = folder / DOWNLOAD_FILE, authority.public_bytes(Encoding.DER)
    if not path.exists() or _read(path) != content:
        _write(path, content)


def _read_pages(path: Path, authority: Pair) -> Pair | None:
    if not path.exists():
        return None
    pages = _read_pair(path, remedy=_NEW_PAGES)
    try:
        pages.certificate.verify_directly_issued_by(authority.certificate)
    except (InvalidSignature, ValueError, TypeError) as error:
        raise CertificateError(
            say(
                "The certificate in %(file)s comes from another authority; to serve with it use "
                "--cert and --key. %(remedy)s",
                file=str(path),
                remedy=_NEW_PAGES,
            )
        ) from error
    return pages


def _read_pair(path: Path, *, remedy: Message) -> Pair:
    """Return the certificate and the key of a file that nobody else may read."""
    certificates, key = _certificates_in(path), _key_in(path)
    if len(certificates) != 1 or key is None:
        raise CertificateError(
            say(
                "%(file)s is broken: it does not hold one certificate and its key. %(remedy)s",
                file=str(path),
                remedy=remedy,
            )
        )
    if not _fits(certificates[0], key):
        raise CertificateError(
            say(
                "The key and the certificate in %(file)s do not belong together. %(remedy)s",
                file=str(path),
                remedy=remedy,
            )
        )
    if os.name == "posix" and path.stat().st_mode & _OTHERS:
        raise CertificateError(
            say(
                "Others on this machine can read the key in %(file)s. Close it first: "
                "chmod 600 %(file)s",
                file=str(path),
            )
        )
    return Pair(certificates[0], key)


def _certificates_in(path: Path) -> Sequence[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(_read(path))
    except ValueError:
        return ()


def _key_in(path: Path) -> PrivateKeyTypes | None:
    try:
        return load_pem_private_key(_key_part(_read(path)), password=None)
    except TypeError as error:
        raise CertificateError(
            say(
                "The key in %(file)s is locked with a password. Give one without a password that "
                "only this program can read.",
                file=str(path),
            )
        ) from error
    except ValueError:
        return None


def _key_part(text: bytes) -> bytes:
    """Return the key of a file that may hold certificates ahead of it."""
    lines = text.splitlines(keepends=True)
    starts = [
        number
        for number, line in enumerate(lines)
        if line.startswith(b"-----BEGIN") and line.rstrip().endswith(b"PRIVATE KEY-----")
    ]
    return b"".join(lines[starts[0] :]) if starts else text


def _fits(certificate: x509.Certificate, key: PrivateKeyTypes) -> bool:
    form = (Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return certificate.public_key().public_bytes(*form) == key.public_key().public_bytes(*form)


def _pem(pair: Pair) -> bytes:
    key = pair.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return key + pair.certificate.public_bytes(Encoding.PEM)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CertificateError(
            say("%(file)s cannot be read: %(reason)s", file=str(path), reason=error.strerror)
        ) from error


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(mode=_OWNERS_FOLDER, parents=True, exist_ok=True)
    except OSError as error:
        raise _not_written(folder, error) from error


def _write(path: Path, content: bytes) -> None:
    """
    Write a file for its owner's eyes, whole or not at all.

    Key and certificate stand in one file, so that no moment has the one without the other.
    """
    draft = path.with_name(f".{path.name}.{uuid4().hex}")
    try:
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_ONLY)
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(path)
        except OSError:
            draft.unlink(missing_ok=True)
            raise
        _keep(path.parent)
    except OSError as error:
        raise _not_written(path, error) from error


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
        _keep(path.parent)
    except OSError as error:
        raise _not_written(path, error) from error


def _keep(folder: Path) -> None:
    """Wait until a change of names has reached the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _not_written(path: Path, error: OSError) -> CertificateError:
    return CertificateError(
        say("%(file)s cannot be written: %(reason)s", file=str(path), reason=error.strerror)
    )


def _whole_seconds(moment: datetime) -> datetime:
    return moment.replace(microsecond=0)
