"""
A browser that was told to trust the farm, and one that was not.

Service workers exist only where a browser trusts the certificate (W3C, Service Workers, 6.3.1 and
Secure Contexts, 3.1); pressing on past a warning is not enough. So the farm's authority is put into
the browser's own list, as a phone does it, and everything else is as on a farm.
"""

import os
import re
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from ssl import PROTOCOL_TLS_SERVER, SSLContext

import pytest
from playwright.sync_api import Browser, Error, Page, expect

from tests.authority import forge, plain_authority
from tests.browser.conftest import PHONE, chromium_arguments, chromium_path
from tests.farm_https import OWNER, PASSWORD, SecureServer, serving_securely, set_up_farm
from tests.serving import HOST
from webapp.certificates import AUTHORITY_FILE, folder_in

WITHOUT_CERTUTIL = "no certutil: apt-get install libnss3-tools"


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> Iterator[SecureServer]:
    folder = tmp_path_factory.mktemp("trusted")
    data = set_up_farm(folder / "data")
    with serving_securely(folder / "log", data) as server:
        yield server


@pytest.fixture
def phone_with(browser: Browser, tmp_path: Path) -> Iterator[Callable[..., Page]]:
    """Return a phone whose list of trusted authorities holds these: ``phone_with(path)``."""
    opened = []

    def phone(*authorities: Path, arguments: tuple[str, ...] = (), **options: object) -> Page:
        home = tmp_path / f"home{len(opened)}"
        for authority in authorities:
            trust(home, authority)
        context = browser.browser_type.launch_persistent_context(
            home / "profile",
            executable_path=chromium_path(),
            args=[*chromium_arguments(), *arguments],
            # Where Chromium looks for the person's own authorities.
            env=os.environ | {"HOME": str(home), "XDG_DATA_HOME": str(home / ".local/share")},
            **(PHONE | {"locale": "en-US"} | options),
        )
        context.set_default_timeout(20_000)
        opened.append(context)
        return context.pages[0]

    yield phone
    for context in opened:
        context.close()


def trust(home: Path, authority: Path) -> None:
    """Put an authority into the lists in which Chromium of any version looks."""
    if shutil.which("certutil") is None:
        pytest.skip(WITHOUT_CERTUTIL)
    certificate = home / "authority.pem"
    for database in (home / ".pki/nssdb", home / ".local/share/pki/nssdb"):
        database.mkdir(parents=True, exist_ok=True)
        text = authority.read_text().partition("-----BEGIN CERT")
        certificate.write_text(text[1] + text[2])
        where = ("-d", f"sql:{database}")
        # "C": trusted to vouch for servers, and for nothing else.
        for command in (
            ("certutil", "-N", *where, "--empty-password"),
            ("certutil", "-A", *where, "-n", "farm", "-t", "C,,", "-i", str(certificate)),
        ):
            subprocess.run(command, check=True, capture_output=True)


def checks(page: Page) -> dict[str, str]:
    """Return what the test page says of each thing, once it is done."""
    expect(page.locator("[data-outcomes] [data-outcome]:not([hidden])")).to_be_visible()
    return {
        row.get_attribute("data-check"): row.locator("[data-state]:not([hidden])").get_attribute(
            "data-state"
        )
        for row in page.locator("[data-check]").all()
    }


def test_a_phone_that_trusts_the_farm_is_ready(farm, phone_with):
    page = phone_with(farm.authority)
    page.goto(farm.setup_url)
    page.get_by_role("button", name="Test this phone").tap()
    page.wait_for_url("**/ready/phone")
    assert page.url.startswith(farm.pages_url)
    assert checks(page) == {"secure": "good", "worker": "good", "storage": "good"}
    expect(page.get_by_role("status")).to_contain_text("ready: it works without a signal")
    assert page.evaluate("isSecureContext")


def test_a_service_worker_stays_registered_on_the_pages(farm, phone_with):
    page = phone_with(farm.authority)
    page.goto(f"{farm.pages_url}/sign-in")
    state = page.evaluate("""async () => {
        const url = "/static/js/setup/check_worker.js";
        const registration = await navigator.serviceWorker.register(url);
        const worker = registration.installing || registration.waiting || registration.active;
        while (worker.state !== "activated") await new Promise((done) => setTimeout(done, 20));
        return (await navigator.serviceWorker.getRegistrations()).length;
    }""")
    assert state == 1


def test_signing_in_works_over_https(farm, phone_with):
    page = phone_with(farm.authority)
    page.goto(f"{farm.pages_url}/sign-in")
    page.get_by_label("Sign-in name").fill(OWNER)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator("h1")).to_have_text("Today")
    cookies = {cookie["name"]: cookie for cookie in page.context.cookies()}
    assert cookies["__Host-session"]["secure"]
    expect(page.locator(".without-https")).to_have_count(0)


@pytest.mark.parametrize(
    ("language", "sentence"),
    [("en", "This phone does not trust the farm yet"), ("es", None)],
)
def test_a_phone_that_does_not_trust_the_farm_is_told_so(farm, phone_with, language, sentence):
    page = phone_with()
    page.goto(f"{farm.setup_url}/?language={language}")
    page.locator("[data-test]").tap()
    told = page.locator("[data-outcome=untrusted]")
    expect(told).to_be_visible()
    if sentence is not None:
        expect(told).to_contain_text(sentence)
    assert page.url.startswith(farm.setup_url)
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(farm.pages_url)


def test_pressing_on_past_the_warning_is_not_taken_for_trust(farm, phone_with):
    """The browser calls such a page secure, and lets it keep things; the worker it refuses."""
    page = phone_with(ignore_https_errors=True)
    page.goto(f"{farm.pages_url}/ready/phone")
    assert page.evaluate("isSecureContext")
    found = checks(page)
    assert found["worker"] == "bad", found
    expect(page.get_by_role("status")).to_contain_text("works with a signal only")


def test_a_phone_off_the_network_is_told_so(farm, phone_with):
    page = phone_with()
    page.goto(farm.setup_url)
    page.context.set_offline(True)
    page.locator("[data-test]").tap()
    expect(page.locator("[data-outcome=unreachable]")).to_be_visible()


LANGUAGES = ("en", "es")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_the_set_up_page_can_be_read_by_everybody(farm, phone, axe_check, language, width):
    phone.set_viewport_size({"width": width, "height": 640})
    phone.goto(f"{farm.setup_url}/?language={language}")
    for number in range(phone.locator("details").count()):
        part = phone.locator("details").nth(number)
        if part.get_attribute("open") is None:
            part.locator("summary").tap()
    axe_check(phone)
    assert phone.evaluate("document.documentElement.scrollWidth") <= width
    # Fingers: at least 44 px, WCAG 2.2, 2.5.5.
    for key in phone.locator("main a.button, main button, summary, .setup-language").all():
        assert key.bounding_box()["height"] >= 44
    told = phone.locator("html").get_attribute("lang")
    assert told == language


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_the_test_says_can_be_read_by_everybody(
    farm, phone_with, axe_check, screenshot, language
):
    page = phone_with(ignore_https_errors=True, locale=f"{language}-US")
    page.goto(f"{farm.pages_url}/ready/phone")
    checks(page)
    axe_check(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
    screenshot(page, f"{language}-360x640-ready-phone", scale="css")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_set_up_page_fits_the_screen(farm, phone, screenshot, language):
    for width, height in ((360, 640), (1280, 800)):
        phone.set_viewport_size({"width": width, "height": height})
        phone.goto(f"{farm.setup_url}/?language={language}")
        screenshot(phone, f"{language}-{width}x{height}-setup", scale="css")
        assert phone.evaluate("document.documentElement.scrollWidth") == width


# --- what the authority may vouch for ------------------------------------------------------------


class _Answer(BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"reached")

    def log_message(self, *_args):
        pass


@pytest.fixture
def bank(tmp_path: Path) -> Iterator[Callable[[Path], int]]:
    """Serve pages that claim to be a bank's, vouched for by a folder's authority."""
    servers = []

    def serve(folder: Path) -> int:
        forged = forge(folder, tmp_path / f"forged{len(servers)}.pem", dns=["bank.example"])
        server = ThreadingHTTPServer((HOST, 0), _Answer)
        context = SSLContext(PROTOCOL_TLS_SERVER)
        context.load_cert_chain(forged)
        server.socket = context.wrap_socket(server.socket, server_side=True)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
        return server.server_address[1]

    yield serve
    for server in servers:
        server.shutdown()
        server.server_close()


AT_HOME = ("--host-resolver-rules=MAP bank.example 127.0.0.1",)


def test_with_a_stolen_key_nobody_can_pass_for_a_bank(farm, phone_with, bank):
    port = bank(folder_in(farm.data))
    page = phone_with(farm.authority, arguments=AT_HOME)
    with pytest.raises(Error, match=re.compile("ERR_CERT")):
        page.goto(f"https://bank.example:{port}/")


def test_without_constraints_anybody_could_be_passed_for(phone_with, bank, tmp_path):
    """The defect that the test above is there to find."""
    folder = tmp_path / "plain"
    plain_authority(folder)
    page = phone_with(folder / AUTHORITY_FILE, arguments=AT_HOME)
    page.goto(f"https://bank.example:{bank(folder)}/")
    assert "reached" in page.content()
