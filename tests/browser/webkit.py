"""
WebKit, the engine of every browser on an iPhone, driven by the W3C's WebDriver protocol.

Debian's `webkit2gtk-driver` brings the engine with a small browser; `xvfb` gives it a screen. The
little of the protocol that the tests need is spoken here, so that no further package is wanted.
Source: W3C, WebDriver (Recommendation, 2018), 8.1 new session, 10.1 navigate to, 15.2.2 execute
async script, 12.4.1 element click.
"""

import json
import os
import shutil
import signal
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tests.serving import free_port

DRIVER = "WebKitWebDriver"
SCREEN = "Xvfb"
_BROWSERS = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
_DEADLINE_S = 30
_ASYNC = """
const done = arguments[arguments.length - 1];
(async () => { %s })().then(
  (value) => done({ value: value === undefined ? null : value }),
  (error) => done({ error: String(error) }),
);
"""


class WebKitError(Exception):
    """The browser refused a command, or a script threw; the message quotes it."""


def missing_parts() -> list[str]:
    """Return the Debian packages that a WebKit to drive still lacks."""
    needed = {"webkit2gtk-driver": shutil.which(DRIVER) and _BROWSERS, "xvfb": shutil.which(SCREEN)}
    return [package for package, found in needed.items() if not found]


@dataclass(frozen=True)
class WebKit:
    """One window of the browser."""

    session: str

    def go(self, url: str) -> None:
        """Open an address."""
        _call("POST", f"{self.session}/url", {"url": url})

    def run(self, script: str) -> object:
        """Run the body of an async function in the page and return what it returns."""
        answer = _call(
            "POST", f"{self.session}/execute/async", {"script": _ASYNC % script, "args": []}
        )
        if "error" in answer:
            raise WebKitError(answer["error"])
        return answer["value"]

    def wait_for(self, condition: str, deadline_s: float = 15) -> object:
        """Return an expression's value as soon as it is true in the page."""
        deadline = time.monotonic() + deadline_s
        while not (value := self.run(f"return {condition}")):
            if time.monotonic() > deadline:
                raise WebKitError(f"still not true: {condition}")
            time.sleep(0.1)
        return value

    def tap(self, selector: str) -> None:
        """Press an element as a pointer would, once it is there."""
        self.wait_for(f"!!document.querySelector({json.dumps(selector)})")
        found = _call(
            "POST", f"{self.session}/element", {"using": "css selector", "value": selector}
        )
        (element,) = found.values()
        _call("POST", f"{self.session}/element/{element}/click", {})


@contextmanager
def webkit(folder: Path) -> Iterator[WebKit]:
    """Start the browser with an empty profile in a folder, and end it with all that it started."""
    port, display = free_port(), f":{os.getpid() % 1000 + 100}"
    environment = os.environ | {
        "DISPLAY": display,
        "HOME": str(folder),
        "XDG_DATA_HOME": str(folder / "data"),
        "XDG_CACHE_HOME": str(folder / "cache"),
        "WEBKIT_DISABLE_COMPOSITING_MODE": "1",
    }
    if os.geteuid() == 0:
        # Its sandbox needs what a container's root may not do.
        environment["WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS"] = "1"
    with (
        _running([SCREEN, display, "-screen", "0", "800x900x24"], environment),
        _running([DRIVER, f"--port={port}"], environment),
    ):
        base = f"http://127.0.0.1:{port}"
        options = {"binary": str(_BROWSERS[-1]), "args": ["--automation"]}
        opened = _open(base, {"alwaysMatch": {"webkitgtk:browserOptions": options}})
        window = WebKit(f"{base}/session/{opened}")
        try:
            _call("POST", f"{window.session}/window/rect", {"width": 400, "height": 800})
            yield window
        finally:
            with suppress(WebKitError, OSError):
                _call("DELETE", window.session)


def _open(base: str, capabilities: dict[str, object]) -> str:
    deadline = time.monotonic() + _DEADLINE_S
    while True:
        try:
            answer = _call("POST", f"{base}/session", {"capabilities": capabilities})
        except OSError:
            # The driver is not listening yet.
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)
        else:
            return answer["sessionId"]


@contextmanager
def _running(command: list[str], environment: dict[str, str]) -> Iterator[None]:
    process = subprocess.Popen(
        command,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            process.wait(timeout=10)
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def _call(method: str, url: str, body: object = None) -> dict[str, str]:
    request = urllib.request.Request(  # noqa: S310 - the driver's own address
        url,
        method=method,
        data=None if body is None else json.dumps(body).encode(),
        headers={"Content-Type": "application/json"},
    )
    try:
        with urllib.request.urlopen(request, timeout=_DEADLINE_S) as answer:  # noqa: S310
            return json.load(answer)["value"] or {}
    except urllib.error.HTTPError as error:
        raise WebKitError(error.read().decode(errors="replace")[:1000]) from error
