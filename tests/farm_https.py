"""Runs the pages over https, with the page that sets up phones beside them, as a farm does."""

import http.client
import os
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509

from tests.authority import HERE
from tests.serving import HOST, PROGRAM, PROJECT, SERVE, Server, free_port, serving
from webapp.certificates import AUTHORITY_FILE, folder_in, make_authority
from webapp.config import clock_now
from webapp.hosts import Names

FARM_NAME = "Alkali Flat"
OWNER = "Oda"
PASSWORD = "a sentence that opens the gate"  # noqa: S105 - opens nothing but a test's farm
_DEADLINE_S = 20
_POLL_S = 0.05


@dataclass(frozen=True)
class SecureServer:
    """Both servers: their ports, the process that was started, what it prints, its data."""

    https_port: int
    http_port: int
    server: Server
    data: Path

    @property
    def pages_url(self) -> str:
        return f"https://localhost:{self.https_port}"

    @property
    def setup_url(self) -> str:
        return f"http://localhost:{self.http_port}"

    @property
    def authority(self) -> Path:
        return folder_in(self.data) / AUTHORITY_FILE

    def printed(self) -> str:
        return self.server.log.read_text(encoding="utf-8", errors="replace")

    def ask(
        self,
        path: str,
        method: str = "GET",
        body: str | None = None,
        headers: dict[str, str] | None = None,
    ) -> http.client.HTTPResponse:
        """Ask the pages as a phone that trusts the farm; the answer's body is in ``.text``."""
        trusting = ssl.create_default_context(cafile=str(self.authority))
        connection = http.client.HTTPSConnection(
            "localhost", self.https_port, timeout=10, context=trusting
        )
        try:
            connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            answer.text = answer.read().decode()
        finally:
            connection.close()
        return answer

    def certificate(self) -> x509.Certificate:
        """Return the certificate that the pages show to whoever connects."""
        return x509.load_pem_x509_certificate(
            ssl.get_server_certificate(("localhost", self.https_port), timeout=10).encode()
        )


def set_up_farm(data: Path, names: Names | None = HERE) -> Path:
    """Set up a farm, with certificates for these names if any."""
    command = (*PROGRAM, "--data", str(data), "init", "--farm", FARM_NAME, "--owner", OWNER)
    variables = {"PRUNING_AUDIT_OWNER_PASSWORD": PASSWORD, "PRUNING_AUDIT_DATABASE": ""}
    made = subprocess.run(
        command,
        cwd=PROJECT,
        env=os.environ | variables,
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    if names is not None:
        make_authority(folder_in(data), names, FARM_NAME, clock_now())
    return data


@contextmanager
def serving_securely(log: Path, data: Path, *options: str) -> Iterator[SecureServer]:
    """Serve until the block ends; the block starts when both servers answer."""
    https_port = free_port()
    command = (*SERVE, "--https-port", str(https_port), *options)
    variables = {"PRUNING_AUDIT_DATA": str(data), "PRUNING_AUDIT_DATABASE": "", "LANG": "C.UTF-8"}
    with serving(log, command=command, environment=variables) as server:
        wait_for(lambda: listens(https_port))
        yield SecureServer(https_port, server.port, server, data)


def listens(port: int) -> bool:
    with socket.socket() as client:
        return client.connect_ex((HOST, port)) == 0


def wait_for(claim, what: str = "it") -> None:
    """Wait until a claim holds; fail when it does not in time."""
    deadline = time.monotonic() + _DEADLINE_S
    while not claim():
        assert time.monotonic() < deadline, f"{what} did not happen within {_DEADLINE_S} s"
        time.sleep(_POLL_S)


def children(parent: int) -> dict[int, str]:
    """Return the processes that a process started, with their command lines."""
    found = {}
    for folder in Path("/proc").iterdir():
        if not folder.name.isdecimal():
            continue
        try:
            # The name in brackets may hold anything, spaces and brackets too.
            state, ppid = (folder / "stat").read_text().rpartition(")")[2].split()[:2]
            command = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
        if int(ppid) == parent and state != "Z":
            found[int(folder.name)] = command
    return found
