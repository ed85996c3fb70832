"""Serves the pages with granian: one server process, its settings handed on by environment."""

import json
import os
import socket
from dataclasses import asdict
from typing import Final

from flask import Flask
from granian import Granian
from granian.constants import Interfaces

from webapp.app import create_app
from webapp.config import Settings

_HANDED_ON: Final = "PRUNING_AUDIT_SETTINGS"
_THREADS: Final = 4


class PortTakenError(Exception):
    """Something else listens on the port already; two servers would share it unnoticed."""


def serve(settings: Settings, host: str, port: int) -> None:
    """Serve until stopped."""
    refuse_taken_port(host, port)
    values = asdict(settings)
    values.pop("now")
    os.environ[_HANDED_ON] = json.dumps(values)
    Granian(
        "webapp.serving:application",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        factory=True,
        workers=1,
        blocking_threads=_THREADS,
        websockets=False,
        log_access=False,
        workers_kill_timeout=5,
    ).serve()


def application() -> Flask:
    """Return the application for the server's process."""
    return create_app(Settings(**json.loads(os.environ[_HANDED_ON])))


def refuse_taken_port(host: str, port: int) -> None:
    """Raise if anything answers on the port."""
    probe = "127.0.0.1" if host == "0.0.0.0" else host  # noqa: S104 - asks, does not bind
    with socket.socket(socket.AF_INET6 if ":" in probe else socket.AF_INET) as knock:
        knock.settimeout(1)
        if knock.connect_ex((probe, port)) == 0:
            raise PortTakenError(port)
