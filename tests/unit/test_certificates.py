"""
The farm's own authority and the certificate of its pages.

What they say is read by OpenSSL's command line and by Python's ssl, which know nothing of the code
that wrote them. Sections are those of RFC 5280 unless another source stands beside the check.
"""

import re
import shutil
import ssl
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
)

from tests.authority import HERE, forge, plain_authority, read_authority, shake_hands
from webapp import certificates
from webapp.certificates import (
    AUTHORITY_FILE,
    DOWNLOAD_FILE,
    PAGES_FILE,
    CertificateError,
    fingerprint,
    given_certificates,
    load_certificates,
    make_authority,
)
from webapp.config import clock_now
from webapp.hosts import Names

NOW = clock_now()
FARM = "Huerta Ñandú & Sons"


@pytest.fixture
def folder(tmp_path):
    """A folder with a farm's certificates."""
    made = tmp_path / "certificates"
    make_authority(made, HERE, FARM, NOW)
    return made


def openssl(*arguments: object) -> subprocess.CompletedProcess[str]:
    if shutil.which("openssl") is None:
        pytest.skip("no openssl: apt-get install openssl")
    command = ["openssl", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def text_of(path: Path) -> str:
    """Return what OpenSSL reads in a certificate, line ends and indents evened out."""
    shown = openssl("x509", "-in", path, "-noout", "-text", "-nameopt", "utf8,sep_comma_plus")
    assert shown.returncode == 0, shown.stderr
    return re.sub(r"\s+", " ", shown.stdout)


def verify(path: Path, authority: Path, *options: object) -> subprocess.CompletedProcess[str]:
    return openssl("verify", "-x509_strict", "-CAfile", authority, *options, path)


# --- what the certificates say -------------------------------------------------------------------


def test_the_authority_signs_certificates_and_no_authorities(folder):
    text = text_of(folder / AUTHORITY_FILE)
    # 4.2.1.9: critical in an authority; a path length of 0 allows no authority below it.
    assert "Basic Constraints: critical CA:TRUE, pathlen:0" in text
    # 4.2.1.3: an authority asserts keyCertSign; nothing else but lists of revoked certificates.
    assert "Key Usage: critical Certificate Sign, CRL Sign X509v3" in text
    # 4.2.1.2: a subject key identifier is a must in an authority.
    assert "Subject Key Identifier" in text
    assert "NIST CURVE: P-256" in text
    assert FARM in text


def test_the_authority_speaks_for_this_machine_alone(folder):
    # 4.2.1.10: critical; addresses as address and mask, here a mask for one machine.
    assert (
        "Name Constraints: critical Permitted: DNS:farm.local DNS:localhost "
        "IP:127.0.0.1/255.255.255.255 X509v3"
    ) in text_of(folder / AUTHORITY_FILE)


def test_a_kind_of_name_that_is_not_chosen_is_excluded_as_a_whole(tmp_path):
    # 4.2.1.10: a constraint says nothing about kinds of name that it does not mention.
    make_authority(tmp_path, Names(("farm.local",), ()), FARM, NOW)
    text = text_of(tmp_path / AUTHORITY_FILE)
    assert "Excluded: IP:0.0.0.0/0.0.0.0 IP:0:0:0:0:0:0:0:0/0:0:0:0:0:0:0:0" in text
    by_address = forge(tmp_path, tmp_path / "forged.pem", addresses=["127.0.0.1"])
    assert "excluded subtree violation" in verify(by_address, tmp_path / AUTHORITY_FILE).stderr


def test_the_pages_are_named_and_for_servers_only(folder):
    text = text_of(folder / PAGES_FILE)
    assert "Basic Constraints: critical CA:FALSE" in text
    assert "Key Usage: critical Digital Signature X509v3" in text
    # 4.2.1.12: phones take a certificate of pages only with this purpose.
    assert "Extended Key Usage: TLS Web Server Authentication X509v3" in text
    assert (
        "Subject Alternative Name: DNS:farm.local, DNS:localhost, IP Address:127.0.0.1 X509v3"
        in text
    )


# Apple, "About upcoming limits on trusted certificates" (HT211025): at most 398 days; a day is
# 86,400 seconds and a second more counts as another day. 4.1.2.5: both ends are within.
def test_the_pages_are_not_valid_for_longer_than_phones_allow(folder):
    begins, ends = dates_of(folder / PAGES_FILE)
    assert (ends - begins).total_seconds() + 1 <= 398 * 86_400
    assert ends - NOW > timedelta(days=390)
    # A phone whose clock is a day slow takes it already.
    assert begins < NOW - timedelta(days=1)


def test_the_authority_lasts_ten_years(folder):
    begins, ends = dates_of(folder / AUTHORITY_FILE)
    assert (ends - begins).days == 3652
    assert ends - NOW < timedelta(days=3653)


def dates_of(path: Path) -> tuple[datetime, datetime]:
    shown = openssl("x509", "-in", path, "-noout", "-dates").stdout
    found = [
        datetime.strptime(text, "%b %d %H:%M:%S %Y GMT").replace(tzinfo=UTC)
        for text in re.findall(r"=(.*)", shown)
    ]
    return found[0], found[1]


@pytest.mark.parametrize("option", ["-verify_hostname farm.local", "-verify_ip 127.0.0.1"])
def test_another_reader_accepts_the_chain(folder, option):
    # "-x509_strict" holds certificates to the rules of RFC 5280 that OpenSSL else lets pass.
    checked = verify(
        folder / PAGES_FILE,
        folder / AUTHORITY_FILE,
        *option.split(),
        *("-purpose", "sslserver"),
    )
    assert checked.returncode == 0, checked.stderr


def test_the_fingerprint_is_the_one_that_others_show(folder):
    shown = openssl("x509", "-in", folder / AUTHORITY_FILE, "-noout", "-fingerprint", "-sha256")
    digits = shown.stdout.strip().partition("=")[2].replace(":", "")
    ours = fingerprint(read_authority(folder)[0])
    assert ours.replace(" ", "") == digits
    assert re.fullmatch(r"[0-9A-F]{4}(?: [0-9A-F]{4}){15}", ours)


def test_the_file_to_carry_away_holds_the_certificate_and_no_key(folder):
    carried = (folder / DOWNLOAD_FILE).read_bytes()
    assert carried == read_authority(folder)[0].public_bytes(Encoding.DER)
    assert openssl("x509", "-in", folder / DOWNLOAD_FILE, "-inform", "DER").returncode == 0


@pytest.mark.parametrize("name", ["Ñ" * 80, "x" * 200, "O"])
def test_a_farm_may_have_any_name(tmp_path, name):
    make_authority(tmp_path, HERE, name, NOW)
    assert verify(tmp_path / PAGES_FILE, tmp_path / AUTHORITY_FILE).returncode == 0


# --- who is trusted ------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["farm.local", "localhost", "127.0.0.1"])
def test_whoever_trusts_the_authority_trusts_the_pages(folder, host):
    shake_hands(folder / PAGES_FILE, folder / AUTHORITY_FILE, host)


def test_whoever_does_not_know_the_authority_refuses_the_pages(folder, tmp_path):
    other = tmp_path / "other"
    make_authority(other, HERE, FARM, NOW)
    with pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"):
        shake_hands(folder / PAGES_FILE, other / AUTHORITY_FILE, "farm.local")


def test_the_pages_are_not_trusted_under_another_name(folder):
    with pytest.raises(ssl.SSLCertVerificationError, match="Hostname mismatch"):
        shake_hands(folder / PAGES_FILE, folder / AUTHORITY_FILE, "bank.example")


FOREIGN = [
    {"dns": ["bank.example"]},
    {"dns": ["farm.local", "bank.example"]},
    {"dns": ["notfarm.local"]},
    {"addresses": ["127.0.0.2"]},
    {"addresses": ["203.0.113.9"]},
    {"addresses": ["::1"]},
]


@pytest.mark.parametrize("names", FOREIGN, ids=str)
def test_with_a_stolen_key_nobody_can_pass_for_another_site(folder, tmp_path, names):
    forged = forge(folder, tmp_path / "forged.pem", **names)
    host = [*names.get("dns", []), *names.get("addresses", [])][-1]
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake_hands(forged, folder / AUTHORITY_FILE, host)
    assert "permitted subtree violation" in verify(forged, folder / AUTHORITY_FILE).stderr


@pytest.mark.parametrize("names", FOREIGN, ids=str)
def test_without_constraints_everybody_could_be_passed_for(tmp_path, names):
    """The defect that the test above is there to find."""
    plain_authority(tmp_path)
    forged = forge(tmp_path, tmp_path / "forged.pem", **names)
    host = [*names.get("dns", []), *names.get("addresses", [])][-1]
    shake_hands(forged, tmp_path / AUTHORITY_FILE, host)


# --- time ----------------------------------------------------------------------------------------


def serial(path: Path) -> str:
    return openssl("x509", "-in", path, "-noout", "-serial").stdout


def test_the_pages_are_renewed_when_less_than_30_days_are_left(folder):
    ends = load_certificates(folder, NOW).pages.not_valid_after_utc
    first = serial(folder / PAGES_FILE)

    found = load_certificates(folder, ends - timedelta(days=30))
    assert not found.renewed
    assert serial(folder / PAGES_FILE) == first

    later = ends - timedelta(days=30) + timedelta(seconds=1)
    found = load_certificates(folder, later)
    assert found.renewed
    assert serial(folder / PAGES_FILE) != first
    assert found.pages.not_valid_after_utc - later > timedelta(days=390)
    # Phones keep the authority that they were told to trust.
    then = ("-attime", int(later.timestamp()))
    assert verify(folder / PAGES_FILE, folder / AUTHORITY_FILE, *then).returncode == 0


def test_pages_that_ran_out_are_renewed_too(folder):
    assert load_certificates(folder, NOW + timedelta(days=1000)).renewed


def test_pages_of_a_clock_that_was_ahead_are_renewed(folder):
    load_certificates(folder, NOW + timedelta(days=1000))
    found = load_certificates(folder, NOW)
    assert found.renewed
    assert found.pages.not_valid_before_utc <= NOW


def test_pages_that_lack_a_name_are_renewed(folder):
    forge(folder, folder / PAGES_FILE, dns=["farm.local"])
    found = load_certificates(folder, NOW)
    assert found.renewed
    assert found.names == HERE


def test_close_to_its_end_the_authority_gives_the_time_it_has_once(folder):
    ends = read_authority(folder)[0].not_valid_after_utc
    late = ends - timedelta(days=20)
    assert load_certificates(folder, late).pages.not_valid_after_utc == ends
    assert not load_certificates(folder, late + timedelta(days=1)).renewed


@pytest.mark.parametrize(
    ("moved", "sentence"),
    [(timedelta(days=3700), "ran out on"), (timedelta(days=-30), "Is the clock")],
)
def test_an_authority_out_of_its_time_is_said(folder, moved, sentence):
    with pytest.raises(CertificateError, match=sentence):
        load_certificates(folder, NOW + moved)


# --- files ---------------------------------------------------------------------------------------


def test_keys_are_for_their_owner_alone(folder):
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for path in folder.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path.name


def test_a_key_that_others_can_read_is_refused(folder):
    (folder / AUTHORITY_FILE).chmod(0o640)
    with pytest.raises(CertificateError, match="chmod 600"):
        load_certificates(folder, NOW)


def test_where_nothing_was_made_nothing_is_found(tmp_path):
    assert load_certificates(tmp_path, NOW) is None


@pytest.mark.parametrize("name", [AUTHORITY_FILE, PAGES_FILE])
@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[:0],
        lambda text: text[: len(text) // 2],
        lambda text: text.replace(b"PRIVATE", b"PUBLIC"),
        lambda text: text.partition(b"-----BEGIN CERT")[0],
        lambda text: text + text,
        lambda text: text.translate(bytes(range(255, -1, -1))),
    ],
    ids=["empty", "cut", "no key", "no certificate", "twice", "noise"],
)
def test_a_broken_file_is_named_and_left_as_it_is(folder, name, damage):
    path = folder / name
    path.write_bytes(damage(path.read_bytes()))
    before = path.read_bytes()
    with pytest.raises(CertificateError) as caught:
        load_certificates(folder, NOW)
    assert str(path) in str(caught.value)
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", [AUTHORITY_FILE, PAGES_FILE])
def test_a_key_of_another_certificate_is_noticed(folder, tmp_path, name):
    other = tmp_path / "other"
    make_authority(other, HERE, FARM, NOW)
    key = (other / name).read_bytes().partition(b"-----BEGIN CERT")[0]
    rest = (folder / name).read_bytes().partition(b"-----BEGIN CERT")
    (folder / name).write_bytes(key + rest[1] + rest[2])
    with pytest.raises(CertificateError, match="do not belong together"):
        load_certificates(folder, NOW)


def test_pages_of_another_authority_are_not_written_over(folder, tmp_path):
    other = tmp_path / "other"
    make_authority(other, HERE, FARM, NOW)
    shutil.copy(other / PAGES_FILE, folder / PAGES_FILE)
    with pytest.raises(CertificateError, match="comes from another authority"):
        load_certificates(folder, NOW)
    assert (folder / PAGES_FILE).read_bytes() == (other / PAGES_FILE).read_bytes()


def test_an_authority_that_may_speak_for_anybody_is_refused(tmp_path):
    plain_authority(tmp_path)
    with pytest.raises(CertificateError, match="not an authority that this program made"):
        load_certificates(tmp_path, NOW)


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CertificateError, match="cannot be written"):
        make_authority(tmp_path / "file" / "certificates", HERE, FARM, NOW)


def test_a_write_that_fails_leaves_the_old_file_and_no_other(folder, monkeypatch):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(CertificateError, match="disk full"):
        load_certificates(folder, NOW + timedelta(days=380))
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def fail(*_args: object) -> None:
    raise OSError(28, "disk full")


@pytest.mark.parametrize("steps", range(4))
def test_a_renewal_cut_short_anywhere_leaves_a_farm_that_starts(folder, monkeypatch, steps):
    """Each step is a file written or removed; the power goes before the next one."""
    left = steps
    for name in ("_write", "_remove"):
        real = getattr(certificates, name)

        def counted(*args: object, real=real) -> None:
            nonlocal left
            if left == 0:
                raise KeyboardInterrupt
            left -= 1
            real(*args)

        monkeypatch.setattr(certificates, name, counted)
    with pytest.raises(KeyboardInterrupt):
        make_authority(folder, HERE, FARM, NOW)
    monkeypatch.undo()

    assert load_certificates(folder, NOW) is not None
    shake_hands(folder / PAGES_FILE, folder / AUTHORITY_FILE, "farm.local")
    assert (folder / DOWNLOAD_FILE).read_bytes() == read_authority(folder)[0].public_bytes(
        Encoding.DER
    )


# --- certificates from elsewhere -----------------------------------------------------------------


def test_a_certificate_from_elsewhere_is_taken(folder, tmp_path):
    path = forge(folder, tmp_path / "given.pem", dns=["farm.local"])
    found = given_certificates(path, path, NOW)
    assert found.names == Names(("farm.local",), ())
    assert found.authority is None
    assert found.is_public


def test_one_that_vouches_for_itself_is_no_public_one(tmp_path):
    plain_authority(tmp_path)
    found = given_certificates(tmp_path / AUTHORITY_FILE, tmp_path / AUTHORITY_FILE, NOW)
    assert not found.is_public


def test_the_farms_own_certificate_is_no_public_one(folder):
    assert not load_certificates(folder, NOW).is_public


def given_problem(certificate: Path, key: Path, now: datetime = NOW) -> str:
    with pytest.raises(CertificateError) as caught:
        given_certificates(certificate, key, now)
    return str(caught.value)


def test_what_is_wrong_with_a_certificate_from_elsewhere_is_said(folder, tmp_path):
    path = forge(folder, tmp_path / "given.pem", dns=["farm.local"])
    noise = tmp_path / "noise"
    noise.write_bytes(b"no certificate")
    assert "holds no certificate" in given_problem(noise, path)
    assert "holds no key" in given_problem(path, noise)
    assert "is not that of" in given_problem(path, folder / PAGES_FILE)
    assert "ran out on" in given_problem(path, path, NOW + timedelta(days=100))
    assert "valid from" in given_problem(path, path, NOW - timedelta(days=10))
    assert "cannot be read" in given_problem(tmp_path / "absent", path)


def test_a_locked_key_is_said(folder, tmp_path):
    path = forge(folder, tmp_path / "given.pem", dns=["farm.local"])
    _, key = read_authority(folder)
    locked = tmp_path / "locked.pem"
    locked.write_bytes(
        key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(b"apple"))
    )
    assert "locked with a password" in given_problem(path, locked)


def test_addresses_of_the_sixth_version_are_kept(tmp_path):
    names = Names(("farm.local",), (ip_address("fd00::7"), ip_address("192.168.1.20")))
    make_authority(tmp_path, names, FARM, NOW)
    assert load_certificates(tmp_path, NOW).names == names
    assert verify(tmp_path / PAGES_FILE, tmp_path / AUTHORITY_FILE, "-verify_ip", "fd00::7").stdout
