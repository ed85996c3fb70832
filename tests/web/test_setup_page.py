"""The set-up page, and what the pages themselves say where https is missing."""

import plistlib
import re
from dataclasses import replace
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from audits.vocabulary import Role
from tests.web.pages import read_page
from webapp.app import create_app
from webapp.certificates import fingerprint, make_authority
from webapp.config import Settings, clock_now
from webapp.hosts import Names
from webapp.setup.page import create_setup_page
from webapp.setup.settings import setup_settings

NAMES = Names(
    ("farmbox", "farm.local", "localhost"), (ip_address("192.168.1.20"), ip_address("127.0.0.1"))
)
IPHONE = "Mozilla/5.0 (iPhone; CPU iPhone OS 17_0 like Mac OS X) Safari/604.1"
ANDROID = "Mozilla/5.0 (Linux; Android 14; Pixel) Chrome/120.0 Mobile"


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("setup") / "certificates"
    return make_authority(folder, NAMES, "Huerta Ñandú", clock_now())


@pytest.fixture
def settings(certificates):
    return setup_settings(
        certificates,
        farm_name="Huerta Ñandú <b>",
        language="es",
        host="0.0.0.0",  # noqa: S104 - told, not listened on
        https_port=8443,
        http_port=8350,
    )


@pytest.fixture
def visitor(settings):
    app = create_setup_page(settings)
    app.config.update(TESTING=True)
    return app.test_client()


def get(visitor, path="/?language=en", host="farm.local:8350", **headers: str):
    return visitor.get(path, base_url=f"http://{host}", headers=headers)


def codes(text: str) -> list[str]:
    """Return the addresses to which the page's codes lead, as it says them."""
    return re.findall(r'class="setup-address">([^<]*)<', text)


# --- what it tells -------------------------------------------------------------------------------


def test_it_has_one_heading_and_the_farms_name_escaped(visitor):
    answer = get(visitor)
    page = read_page(answer)
    assert page.headings == ["Set up a phone"]
    assert "Huerta Ñandú &lt;b&gt;" in answer.text
    assert "<b>" not in answer.text


def test_it_shows_the_fingerprint_that_the_command_shows(visitor, certificates):
    assert fingerprint(certificates.authority) in read_page(get(visitor)).text


@pytest.mark.parametrize(
    ("path", "asked", "language"),
    [
        ("/?language=en", "es", "en"),
        ("/?language=es", "en", "es"),
        ("/", "es-MX,es;q=0.9", "es"),
        ("/", "en-US", "en"),
        ("/", "fr", "es"),
        ("/?language=xx", "en", "en"),
    ],
)
def test_it_reads_in_the_visitors_language(visitor, path, asked, language):
    answer = get(visitor, path, **{"Accept-Language": asked})
    assert f'<html lang="{language}"' in answer.text
    other = {"en": "Español", "es": "English"}[language]
    assert f'href="/?language={"es" if language == "en" else "en"}"' in answer.text
    assert other in answer.text


@pytest.mark.parametrize(("agent", "open_one"), [(IPHONE, 0), (ANDROID, 1), ("X11; Linux", 2)])
def test_the_steps_of_the_phone_at_hand_are_open(visitor, agent, open_one):
    text = get(visitor, **{"User-Agent": agent}).text
    shown = [" open" in found for found in re.findall(r'class="setup-device"( open)?', text)]
    assert shown == [number == open_one for number in range(3)]


def test_it_offers_paper(visitor):
    assert "take paper: print the tally sheet" in read_page(get(visitor)).text


@pytest.mark.parametrize(
    ("host", "shared"),
    [
        ("farm.local:8350", "farm.local"),
        ("192.168.1.20:8350", "192.168.1.20"),
        # On the machine itself: a code that leads a phone to its own self helps nobody.
        ("localhost:8350", "192.168.1.20"),
        ("127.0.0.1:8350", "192.168.1.20"),
        # A forged request must not make the page send people elsewhere.
        ("evil.example", "192.168.1.20"),
        ("evil.example/@farm.local", "192.168.1.20"),
    ],
)
def test_its_codes_lead_to_this_machine_whatever_was_typed(visitor, host, shared):
    answer = visitor.get("/?language=en", headers={"Host": host})
    if answer.status_code == 400:
        # No host at all, to Werkzeug.
        return
    assert codes(answer.text) == [f"http://{shared}:8350/", f"https://{shared}:8443/"]
    assert "evil" not in answer.text + str(answer.headers)


def test_usual_ports_are_left_out(certificates):
    settings = setup_settings(
        certificates, farm_name="A", language="en", host="::", https_port=443, http_port=80
    )
    text = create_setup_page(settings).test_client().get("/").text
    assert codes(text) == ["http://192.168.1.20/", "https://192.168.1.20/"]


def test_pages_that_only_this_machine_can_open_are_said(certificates):
    settings = setup_settings(
        certificates,
        farm_name="A",
        language="en",
        host="127.0.0.1",
        https_port=8443,
        http_port=8350,
    )
    text = create_setup_page(settings).test_client().get("/").text
    assert "Only this computer can open the pages now" in text


# --- what it hands out ---------------------------------------------------------------------------


def test_android_phones_and_desks_get_the_certificate(visitor, certificates):
    answer = get(visitor, "/authority.crt")
    # RFC 2585 4.1 registers application/pkix-cert; phones offer to install an authority from this
    # older type (common practice, no source).
    assert answer.content_type == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(answer.data) == certificates.authority
    assert answer.headers["Content-Disposition"] == 'attachment; filename="huerta-nandu-b.crt"'


# Apple, Device Management, TopLevel and CertificateRoot: the keys that a profile must have.
def test_iphones_get_a_profile_with_the_certificate_and_nothing_else(visitor, certificates):
    answer = get(visitor, "/authority.mobileconfig")
    assert answer.content_type == "application/x-apple-aspen-config"
    profile = plistlib.loads(answer.data)
    assert profile["PayloadType"] == "Configuration"
    (payload,) = profile["PayloadContent"]
    assert payload["PayloadType"] == "com.apple.security.root"
    assert payload["PayloadContent"] == certificates.authority.public_bytes(Encoding.DER)
    for part in (profile, payload):
        assert part["PayloadVersion"] == 1
        assert re.fullmatch(r"[0-9A-F]{8}(-[0-9A-F]{4}){3}-[0-9A-F]{12}", part["PayloadUUID"])
        assert part["PayloadIdentifier"].startswith("pruning-audit.")
    assert profile["PayloadUUID"] != payload["PayloadUUID"]
    assert get(visitor, "/authority.mobileconfig").data == answer.data, "again it replaces itself"


def test_no_key_is_handed_out_anywhere(visitor, settings):
    assert "PRIVATE" not in repr(settings)
    for path in ("/", "/authority.crt", "/authority.mobileconfig", "/authority.pem", "/pages.pem"):
        assert b"PRIVATE" not in get(visitor, path).data


# --- what it does not do -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["/sign-in", "/audits/1", "/static", "/../secret.key", "/%2e%2e/x"]
)
def test_every_other_address_leads_to_it(visitor, path):
    answer = get(visitor, path)
    assert answer.status_code == 302
    assert answer.location == "/"


@pytest.mark.parametrize("path", ["/", "/authority.crt"])
def test_it_takes_nothing(visitor, path):
    answer = visitor.post(path, data={"name": "x"})
    assert answer.status_code == 303
    assert visitor.post(path, data="x" * 20_000).status_code in {303, 413}


def test_it_keeps_nothing_in_the_browser(visitor):
    answer = get(visitor)
    assert "Set-Cookie" not in answer.headers
    assert answer.headers["Cache-Control"] == "no-store"


# Content Security Policy 3: what is not named may not run or be asked.
def test_its_policy_lets_it_ask_the_pages_and_nobody_else(visitor):
    answer = get(visitor)
    policy = dict(
        part.strip().partition(" ")[::2]
        for part in answer.headers["Content-Security-Policy"].split(";")
    )
    assert policy["default-src"] == "'self'"
    assert policy["connect-src"] == "'self' https://farm.local:8443"
    assert policy["frame-ancestors"] == "'none'"
    assert not re.search(r"<script(?![^>]*\bsrc=)|\sstyle=|\son\w+=", answer.text)
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


# --- in the pages themselves ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("base_url", "is_secure"),
    [
        ("http://farm.local", False),
        ("http://192.168.1.20:8350", False),
        ("http://localhost:8350", True),
        ("http://127.0.0.1:8350", True),
        ("https://farm.local", True),
    ],
)
def test_crew_leads_read_what_is_missing_where_browsers_will_not_work_offline(
    app, orchard, sign_in, base_url, is_secure
):
    client = sign_in(Role.SUPERVISOR)
    with client.session_transaction() as session:
        token = session["token"]
    there = app.test_client()
    with there.session_transaction(base_url=base_url) as session:
        session["token"] = token
    text = read_page(there.get("/", base_url=base_url)).text
    assert orchard
    assert ("Only with a signal" in text) is not is_secure
    assert ("take paper" in text) is not is_secure
    assert ("pruning-audit certs" in text) is not is_secure


def test_behind_a_proxy_with_https_nothing_is_missing(tmp_path):
    app = create_app(Settings(f"sqlite:///{tmp_path / 'farm.db'}", "signs", https=True))
    with app.test_request_context("/", base_url="http://farm.local"):
        assert app.jinja_env.globals["secure_context"]()
    app.extensions["pruning_audit_database"].close()


def test_without_a_set_up_page_nobody_elses_script_may_ask(app):
    answer = app.test_client().get("/ready", headers={"Origin": "http://localhost"})
    assert answer.json == {"ready": True}
    assert "Access-Control-Allow-Origin" not in answer.headers


# RFC 6454 6.2: an origin leaves out the usual port of its scheme.
@pytest.mark.parametrize(
    ("setup_port", "origin", "may_read"),
    [
        (8350, "http://farm.local:8350", True),
        (80, "http://farm.local", True),
        (80, "http://farm.local:80", False),
        (8350, "http://farm.local", False),
        (8350, "http://other.local:8350", False),
    ],
)
def test_the_set_up_page_beside_may_ask(tmp_path, setup_port, origin, may_read):
    settings = Settings(
        f"sqlite:///{tmp_path / 'farm.db'}", "signs", https=True, setup_port=setup_port
    )
    app = create_app(settings)
    answer = app.test_client().get(
        "/ready", base_url="https://farm.local:8443", headers={"Origin": origin}
    )
    app.extensions["pruning_audit_database"].close()
    assert answer.headers.get("Access-Control-Allow-Origin") == (origin if may_read else None)


def test_where_there_is_nothing_to_install_nothing_is_handed_out(settings):
    app = create_setup_page(replace(settings, authority=None))
    for path in ("/authority.crt", "/authority.mobileconfig"):
        assert get(app.test_client(), path).status_code == 302
    assert "there is nothing to install" in get(app.test_client()).text


@pytest.mark.usefixtures("orchard")
def test_the_test_of_a_phone_is_open_to_anyone(app):
    answer = app.test_client().get("/ready/phone")
    assert answer.status_code == 200
    page = read_page(answer)
    assert page.headings == ["Test of this phone"]
    assert answer.text.count("data-check=") == 3


def test_every_sentence_of_the_set_up_page_speaks_spanish(visitor):
    """A sentence without a translation would show up in both languages alike."""
    english, spanish = (sentences(visitor, language) for language in ("en", "es"))
    assert len(english) > 20
    assert english & spanish == set()


def sentences(visitor, language: str) -> set[str]:
    text = get(visitor, f"/?language={language}").text.partition("<main")[2]
    found = re.findall(r"(?<=>)[^<>]+", text)
    # Addresses, the fingerprint and the name of the certificate are the same in every language.
    return {said.strip() for said in found if len(re.findall(r"\b[a-zñáéíóú]+\b", said)) > 3}
