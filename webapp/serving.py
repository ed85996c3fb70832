"""
Serves the pages with granian: one server process, its settings handed on by environment.

Over https there are two servers. The pages listen on one port; on the other a small page in plain
HTTP explains how a phone comes to trust them. The second server is a child of the first, and
whichever ends takes the other along: neither half is left behind on its own.
"""

import json
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from multiprocessing import set_start_method
from types import FrameType
from typing import Any, Final, TypeAlias

from flask import Flask
from granian import Granian
from granian.constants import Interfaces, SSLProtocols
from granian.server.common import AbstractServer

from audits.errors import AuditError
from webapp.certificates import Certificates, state_of_files
from webapp.config import Settings
from webapp.setup.settings import SetupSettings

_HANDED_ON: Final = "PRUNING_AUDIT_SETTINGS"
_SETUP_HANDED_ON: Final = "PRUNING_AUDIT_SETUP"
_THREADS: Final = 4
_KILL_TIMEOUT_S: Final = 5
_PARENT_POLL_S: Final = 0.5
_DAY_S: Final = 86_400
# Every browser that can keep answers on a phone speaks it, since 2019.
_OLDEST_TLS: Final = SSLProtocols.tls13

Server: TypeAlias = AbstractServer[Any]

_log = logging.getLogger(__name__)


class PortTakenError(Exception):
    """Something else listens on the port already; two servers would share it unnoticed."""

    def __init__(self, port: int) -> None:
        super().__init__(port)
        self.port = port


class HalfEndedError(Exception):
    """The server of the set-up page ended by itself."""


def serve(settings: Settings, host: str, port: int) -> None:
    """Serve the pages over plain HTTP until stopped."""
    refuse_taken_port(host, port)
    _hand_on(settings)
    _server("application", host, port).serve()


def serve_securely(
    settings: Settings,
    setup: SetupSettings,
    certificates: Certificates,
    *,
    host: str,
    https_port: int,
    http_port: int,
    renew: Callable[[], object],
) -> None:
    """
    Serve the pages over https, and how to get there over plain HTTP, until stopped.

    `renew` is called once a day; when it has put new certificates into the files, the pages go on
    with those.
    """
    refuse_taken_port(host, https_port)
    refuse_taken_port(host, http_port)
    _hand_on(settings)
    server = _server("application", host, https_port, certificates)
    with _setup_page(setup, host, http_port) as page, _daily(server, certificates, renew):
        ended_alone = _end_with(server, page)
        server.serve()
        if ended_alone():
            raise HalfEndedError


def application() -> Flask:
    """Return the application for the server's process."""
    from webapp.app import create_app  # noqa: PLC0415 - not needed beside the set-up page

    end_with_parent()
    return create_app(Settings(**json.loads(os.environ[_HANDED_ON])))


def setup_application() -> Flask:
    """Return the set-up page for its server's process."""
    from webapp.setup.page import create_setup_page  # noqa: PLC0415 - not needed by the pages

    end_with_parent()
    return create_setup_page(SetupSettings(**json.loads(os.environ[_SETUP_HANDED_ON])))


def refuse_taken_port(host: str, port: int) -> None:
    """Raise if anything answers on the port."""
    probe = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 - asks, binds nothing
    with socket.socket(socket.AF_INET6 if ":" in probe else socket.AF_INET) as knock:
        knock.settimeout(1)
        if knock.connect_ex((probe, port)) == 0:
            raise PortTakenError(port)


def end_with_parent() -> None:
    """
    End this process when the one that started it is gone.

    A parent that is killed says goodbye to nobody; its workers would keep the port.
    """
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_PARENT_POLL_S)
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(_KILL_TIMEOUT_S)
        os._exit(1)

    threading.Thread(target=watch, name="end-with-parent", daemon=True).start()


def _hand_on(settings: Settings) -> None:
    values = asdict(settings)
    values.pop("now")
    os.environ[_HANDED_ON] = json.dumps(values)


def _server(factory: str, host: str, port: int, certificates: Certificates | None = None) -> Server:
    return Granian(
        f"webapp.serving:{factory}",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        factory=True,
        workers=1,
        blocking_threads=_THREADS,
        websockets=False,
        log_access=False,
        workers_kill_timeout=_KILL_TIMEOUT_S,
        ssl_cert=certificates.certificate_file if certificates else None,
        ssl_key=certificates.key_file if certificates else None,
        ssl_protocol_min=_OLDEST_TLS,
    )


# --- two servers that end together ---------------------------------------------------------------


@contextmanager
def _setup_page(setup: SetupSettings, host: str, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """Run the set-up page's server in a process of its own."""
    environment = {name: text for name, text in os.environ.items() if name != _HANDED_ON}
    command = (sys.executable, "-m", "webapp.serving", host, str(port))
    page = subprocess.Popen(  # noqa: S603 - this very program
        command, env=environment | {_SETUP_HANDED_ON: json.dumps(asdict(setup))}
    )
    try:
        yield page
    finally:
        # Ended by a signal itself, it is gone already.
        page.terminate()
        try:
            page.wait(timeout=2 * _KILL_TIMEOUT_S)
        except subprocess.TimeoutExpired:
            page.kill()
            page.wait()


def _end_with(server: Server, page: subprocess.Popen[bytes]) -> Callable[[], bool]:
    """End the server when the page's process ends; return whether that came first."""
    came_first = False

    def child_ended(*_signal: object) -> None:
        nonlocal came_first
        if page.poll() is not None and not server.interrupt_signal:
            came_first = True
            signal.raise_signal(signal.SIGTERM)

    def watch() -> None:
        # The kernel says when a child ends. The server's own worker is one too, hence the question.
        signal.signal(signal.SIGCHLD, child_ended)
        child_ended()

    # By then a signal ends the server in good order.
    server.on_startup(watch)
    return lambda: came_first


@contextmanager
def _daily(
    server: Server, certificates: Certificates, renew: Callable[[], object]
) -> Iterator[None]:
    """Renew the certificates once a day, so that a machine never switched off stays trusted."""
    known = state_of_files(certificates)

    def look(_number: int, _frame: FrameType | None) -> None:
        nonlocal known
        try:
            renew()
            found = state_of_files(certificates)
            # What the server keeps is where a link led at its start; it may lead elsewhere now.
            files = (certificates.certificate_file, certificates.key_file)
            server.build_ssl_context(*files, None, _OLDEST_TLS, None, [], client_verify=False)
        except (AuditError, OSError):
            # Pages that are served well must not end for what went wrong here.
            _log.exception("the certificates could not be renewed")
            return
        if found != known:
            known = found
            # The server's own way to read its files again, without losing a request.
            signal.raise_signal(signal.SIGHUP)

    signal.signal(signal.SIGALRM, look)
    signal.setitimer(signal.ITIMER_REAL, _DAY_S, _DAY_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def _serve_setup_page(host: str, port: int) -> None:
    # The watch over the parent is a thread, and a process with threads must not be forked.
    set_start_method("spawn")
    end_with_parent()
    _server("setup_application", host, port).serve()


if __name__ == "__main__":
    _serve_setup_page(sys.argv[1], int(sys.argv[2]))
