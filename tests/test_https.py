"""Serving over https: two ports that start and end together, and what browsers may keep."""

import os
import re
import signal
import socket
import ssl
import subprocess
import time
from urllib.parse import urlencode
from urllib.request import ProxyHandler, build_opener

import pytest

from tests.authority import forge
from tests.farm_https import (
    OWNER,
    PASSWORD,
    children,
    listens,
    serving_securely,
    set_up_farm,
    wait_for,
)
from tests.serving import HOST, PROGRAM, PROJECT, SERVE, free_port, serving
from webapp.certificates import AUTHORITY_FILE, PAGES_FILE, folder_in

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """A farm with certificates, for tests that change nothing in its folder."""
    return set_up_farm(tmp_path_factory.mktemp("farm") / "data")


@pytest.fixture
def served(farm, tmp_path):
    with serving_securely(tmp_path / "log", farm) as server:
        yield server


@pytest.fixture(scope="module")
def shared(farm, tmp_path_factory):
    with serving_securely(tmp_path_factory.mktemp("shared") / "log", farm) as server:
        yield server


def fetch(url: str):
    # A proxy of this machine has no business with the loopback.
    with build_opener(ProxyHandler({})).open(url, timeout=10) as answer:
        answer.text = answer.read().decode()
        return answer


def sign_in(server, **headers: str):
    """Sign in over https as a browser does; return both answers."""
    page = server.ask("/sign-in")
    token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page.text)[1]
    cookie = page.getheader("Set-Cookie").partition(";")[0]
    form = urlencode({"name": OWNER, "password": PASSWORD, "csrf_token": token})
    sent = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookie} | headers
    return page, server.ask("/sign-in", "POST", form, sent)


# --- what is served ------------------------------------------------------------------------------


def test_the_pages_come_over_https_and_their_set_up_over_http(shared):
    assert shared.ask("/ready").text == '{"ready":true}\n'
    assert "Alkali Flat" in fetch(shared.setup_url).text
    assert "Set up a phone" in fetch(f"{shared.setup_url}/?language=en").text


def test_whoever_does_not_trust_the_authority_gets_no_answer(shared):
    with (
        socket.create_connection((HOST, shared.https_port), timeout=10) as line,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        ssl.create_default_context().wrap_socket(line, server_hostname="localhost")


def test_nobody_gets_the_pages_without_https(shared):
    answer = fetch(f"{shared.setup_url}/sign-in")
    assert answer.url == f"{shared.setup_url}/"
    assert "password" not in answer.text
    assert answer.headers["Set-Cookie"] is None


# RFC 6265bis 4.1.3.2: a "__Host-" cookie is Secure, for the path / and without a domain.
def test_the_cookie_travels_over_https_alone(shared):
    _, answer = sign_in(shared, Referer=f"{shared.pages_url}/sign-in")
    assert answer.status == 302
    cookie = answer.getheader("Set-Cookie")
    assert cookie.startswith("__Host-session=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))
    assert "Domain" not in cookie


def test_a_form_from_elsewhere_is_refused(shared):
    _, answer = sign_in(shared, Referer="https://elsewhere.example/")
    assert answer.status == 400


# RFC 6797 8.4: with a policy kept, a browser lets nobody past a certificate that it does not trust,
# and 8.3: it would ask the set-up page's port for https, which that port does not speak.
def test_a_farms_own_certificate_binds_no_browser_for_good(shared):
    assert shared.ask("/sign-in").getheader("Strict-Transport-Security") is None


def test_a_certificate_from_elsewhere_keeps_browsers_to_https(farm, tmp_path):
    given = forge(folder_in(farm), tmp_path / "given.pem", dns=["localhost"])
    options = ("--cert", str(given), "--key", str(given))
    with serving_securely(tmp_path / "log", farm, *options) as server:
        assert "max-age=" in server.ask("/sign-in").getheader("Strict-Transport-Security")
        page = fetch(f"{server.setup_url}/?language=en").text
        assert "nothing to install" in page
        assert "authority.crt" not in page


# Fetch standard, CORS check: a script of another origin may read an answer that names its origin.
@pytest.mark.parametrize(
    ("origin", "may_read"),
    [
        ("http://localhost:{http_port}", True),
        ("http://localhost:1", False),
        ("https://localhost:{http_port}", False),
        ("http://elsewhere.example:{http_port}", False),
        ("null", False),
    ],
)
def test_only_the_set_up_page_may_ask_whether_the_pages_are_ready(shared, origin, may_read):
    origin = origin.format(http_port=shared.http_port)
    answer = shared.ask("/ready", headers={"Origin": origin})
    assert answer.getheader("Access-Control-Allow-Origin") == (origin if may_read else None)
    assert answer.getheader("Access-Control-Allow-Credentials") is None
    assert "Origin" in answer.getheader("Vary")
    elsewhere = shared.ask("/sign-in", headers={"Origin": origin})
    assert elsewhere.getheader("Access-Control-Allow-Origin") is None


def test_the_start_says_where_to_go(shared):
    assert f"Open https://localhost:{shared.https_port}/" in shared.printed()
    assert f"Set up phones at http://localhost:{shared.http_port}/" in shared.printed()


def test_the_set_up_page_is_told_no_secret(shared):
    (page,) = (
        pid
        for pid, command in children(shared.server.process.pid).items()
        if "webapp.serving" in command
    )
    with open(f"/proc/{page}/environ", "rb") as variables:  # noqa: PTH123 - no file of a folder
        told = variables.read()
    assert (shared.data / "secret.key").read_bytes().strip() not in told
    assert b"PRIVATE KEY" not in told


# --- ending together -----------------------------------------------------------------------------


def family(server) -> tuple[int, int, list[int]]:
    """Return the pages' worker, the set-up page's process, and everybody under the command."""
    own = children(server.server.process.pid)
    (page,) = (pid for pid, command in own.items() if "webapp.serving" in command)
    (worker,) = set(own) - {page}
    wait_for(lambda: "spawn_main" in str(children(page)), "the set-up page's worker")
    return worker, page, [*own, *children(page)]


def is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    try:
        with open(f"/proc/{pid}/stat") as file:  # noqa: PTH123 - no file of a folder
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def assert_all_gone(server, pids: list[int]) -> None:
    wait_for(lambda: server.server.process.poll() is not None, "the end of the command")
    wait_for(lambda: not any(map(is_alive, pids)), "the end of every process")
    assert not listens(server.https_port)
    assert not listens(server.http_port)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_both_servers_end_at_a_signal(served, number):
    _, _, pids = family(served)
    begun = time.monotonic()
    served.server.process.send_signal(number)
    assert_all_gone(served, pids)
    assert served.server.process.returncode == 0
    assert time.monotonic() - begun < 10


def test_both_servers_end_at_ctrl_c(served):
    """A terminal sends the signal to every process of the group."""
    _, _, pids = family(served)
    os.killpg(served.server.process.pid, signal.SIGINT)
    assert_all_gone(served, pids)
    assert served.server.process.returncode == 0


def test_the_pages_do_not_stay_behind_without_their_set_up(served):
    _, page, pids = family(served)
    os.kill(page, signal.SIGKILL)
    assert_all_gone(served, pids)
    assert served.server.process.returncode == 1
    assert "The page that sets up phones ended" in served.printed()


def test_the_set_up_does_not_stay_behind_without_its_worker(served):
    _, page, pids = family(served)
    # Python keeps a process of its own beside workers that are not forked.
    (worker,) = (pid for pid, command in children(page).items() if "spawn_main" in command)
    os.kill(worker, signal.SIGKILL)
    assert_all_gone(served, pids)
    assert served.server.process.returncode == 1


def test_the_set_up_does_not_stay_behind_without_the_pages(served):
    worker, _, pids = family(served)
    os.kill(worker, signal.SIGKILL)
    assert_all_gone(served, pids)
    assert served.server.process.returncode == 1


def test_nobody_stays_behind_a_command_that_was_killed(served):
    _, _, pids = family(served)
    served.server.process.kill()
    assert_all_gone(served, pids)


def test_no_worker_of_plain_pages_stays_behind_a_command_that_was_killed(tmp_path):
    data = set_up_farm(tmp_path / "data", names=None)
    variables = {"PRUNING_AUDIT_DATA": str(data), "PRUNING_AUDIT_DATABASE": ""}
    with serving(tmp_path / "log", environment=variables) as server:
        pids = list(children(server.process.pid))
        assert pids
        server.process.kill()
        wait_for(lambda: not any(map(is_alive, pids)), "the end of the worker")


# --- the start -----------------------------------------------------------------------------------


def start(data, *options: str, language: str = "en") -> subprocess.CompletedProcess[str]:
    """Start the pages where they are expected to refuse."""
    command = (*PROGRAM, "--data", str(data), "--language", language, "serve", *options)
    return subprocess.run(
        command,
        cwd=PROJECT,
        env=os.environ | {"PRUNING_AUDIT_DATABASE": ""},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.mark.parametrize("option", ["--port", "--https-port"])
def test_a_taken_port_is_refused_and_nothing_is_left_half_started(farm, option):
    ports = {"--port": free_port(), "--https-port": free_port()}
    with socket.socket() as listener:
        listener.bind((HOST, ports[option]))
        listener.listen()
        refused = start(farm, *(str(part) for pair in ports.items() for part in pair))
    assert refused.returncode == 1
    assert f"Port {ports[option]} is taken. Choose another with {option}." in refused.stderr
    assert not any(map(listens, ports.values()))


def test_pages_whose_certificate_lacks_a_name_start_with_a_new_one(tmp_path):
    data = set_up_farm(tmp_path / "data")
    folder = folder_in(data)
    forge(folder, folder / PAGES_FILE, dns=["farm.local"])
    with serving_securely(tmp_path / "log", data) as server:
        assert server.ask("/ready").status == 200
        assert "renewed" in server.printed()


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_broken_authority_stops_the_start_with_one_sentence(tmp_path, language):
    data = set_up_farm(tmp_path / "data")
    (folder_in(data) / AUTHORITY_FILE).write_text("no certificate")
    refused = start(data, "--port", str(free_port()), language=language)
    assert refused.returncode == 1
    assert AUTHORITY_FILE in refused.stderr
    assert "Traceback" not in refused.stderr
    assert len(refused.stderr.strip().splitlines()) == 1


def test_once_a_day_the_pages_go_on_with_a_new_certificate(tmp_path):
    """The alarm stands for the day; what is renewed then is what the start would renew."""
    data = set_up_farm(tmp_path / "data")
    with serving_securely(tmp_path / "log", data) as server:
        first = server.certificate().serial_number
        server.server.process.send_signal(signal.SIGALRM)
        time.sleep(1)
        assert server.certificate().serial_number == first, "nothing was to be renewed"

        folder = folder_in(data)
        forge(folder, folder / PAGES_FILE, dns=["farm.local"])
        server.server.process.send_signal(signal.SIGALRM)
        wait_for(lambda: server.certificate().serial_number != first, "the new certificate")
        assert server.ask("/ready").status == 200


def test_a_file_that_breaks_while_the_pages_run_does_not_end_them(tmp_path):
    data = set_up_farm(tmp_path / "data")
    with serving_securely(tmp_path / "log", data) as server:
        (folder_in(data) / PAGES_FILE).write_text("broken")
        server.server.process.send_signal(signal.SIGALRM)
        wait_for(lambda: "could not be renewed" in server.printed(), "the note of the problem")
        assert listens(server.https_port)


def test_a_certificate_from_elsewhere_that_was_renewed_is_taken_up(farm, tmp_path):
    """Tools that renew certificates often keep a link that leads to the newest."""
    files = [
        forge(folder_in(farm), tmp_path / f"{number}.pem", dns=["localhost"]) for number in (1, 2)
    ]
    link = tmp_path / "live.pem"
    link.symlink_to(files[0])
    options = ("--cert", str(link), "--key", str(link))
    with serving_securely(tmp_path / "log", farm, *options) as server:
        first = server.certificate().serial_number
        link.unlink()
        link.symlink_to(files[1])
        server.server.process.send_signal(signal.SIGALRM)
        wait_for(lambda: server.certificate().serial_number != first, "the new certificate")


def test_without_certificates_the_start_says_what_is_missing(tmp_path):
    data = set_up_farm(tmp_path / "data", names=None)
    variables = {"PRUNING_AUDIT_DATA": str(data), "PRUNING_AUDIT_DATABASE": "", "LANG": "C.UTF-8"}
    with serving(tmp_path / "log", environment=variables, command=SERVE) as server:
        printed = server.log.read_text()
        assert "For https run once: pruning-audit certs" in printed
        assert "Sign in" in fetch(f"{server.url}/sign-in").text


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--cert", "{pages}"], "go together"),
        (["--key", "{pages}"], "go together"),
        (["--https", "--cert", "{pages}", "--key", "{pages}"], "leave out --cert"),
        (["--port", "8443", "--https-port", "8443"], "must differ"),
        (["--cert", "{authority}", "--key", "{pages}"], "is not that of"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_options_that_do_not_fit_are_refused(farm, options, sentence):
    folder = folder_in(farm)
    files = {"pages": folder / PAGES_FILE, "authority": folder / AUTHORITY_FILE}
    refused = start(farm, *(option.format(**files) for option in options))
    assert refused.returncode == 1
    assert sentence in refused.stderr
