"""Runs the program as its users do: a process of its own on a free port of the loopback."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).parent.parent
HOST = "127.0.0.1"
PROGRAM = (sys.executable, "-m", "webapp.cli")
SERVE = (*PROGRAM, "serve", "--host", "{host}", "--port", "{port}")
DEMO = (*PROGRAM, "demo", "--host", "{host}", "--port", "{port}")
_POLL_S = 0.05
_STOP_DEADLINE_S = 10


class DidNotStartError(Exception):
    """The server ended or stayed silent; the message quotes what it printed."""


@dataclass(frozen=True)
class Server:
    """A running server: its address, its port, its process and the file with what it prints."""

    url: str
    port: int
    process: subprocess.Popen[bytes]
    log: Path


def free_port() -> int:
    """Return a port of the loopback that nobody listens on."""
    with socket.socket() as listener:
        listener.bind((HOST, 0))
        return listener.getsockname()[1]


@contextmanager
def serving(
    log: Path,
    *,
    command: Sequence[str] = SERVE,
    environment: Mapping[str, str] | None = None,
    folder: Path = PROJECT,
    ready_path: str = "/",
    deadline_s: float = 60,
    port: int | None = None,
) -> Iterator[Server]:
    """
    Serve until the block ends; the block starts when the server answers a request.

    Parameters
    ----------
    log : Path
        File for what the server prints.
    command : sequence of str, optional
        Program and arguments; ``{port}`` stands for the port, ``{host}`` for the address.
    environment : mapping, optional
        Variables set on top of this process's own.
    folder : Path, optional
        Working folder of the server.
    ready_path : str, optional
        Path asked for to learn whether the server answers; any status will do.
    deadline_s : float, optional
        Seconds that the server has to start.
    port : int, optional
        Port to listen on; any free one if left out.

    Raises
    ------
    DidNotStartError
        If the server ends before it answers, or does not answer in time.
    """
    port = port or free_port()
    arguments = [part.replace("{port}", str(port)).replace("{host}", HOST) for part in command]
    with log.open("wb") as output:
        process = subprocess.Popen(
            arguments,
            cwd=folder,
            env=os.environ | dict(environment or {}),
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            # A group of its own: the server's workers are stopped with it.
            start_new_session=True,
        )
    server = Server(f"http://{HOST}:{port}", port, process, log)
    try:
        _wait_until_ready(server, ready_path, deadline_s)
        yield server
    finally:
        stop(process)


def stop(process: subprocess.Popen[bytes]) -> None:
    """Ask a server to end, then end it and every worker it left behind."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGTERM)
    with suppress(subprocess.TimeoutExpired):
        process.wait(timeout=_STOP_DEADLINE_S)
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _wait_until_ready(server: Server, path: str, deadline_s: float) -> None:
    deadline = time.monotonic() + deadline_s
    while not _answers(server.port, path):
        if server.process.poll() is not None:
            raise DidNotStartError(
                f"the server ended with status {server.process.returncode}:\n{_printed(server)}"
            )
        if time.monotonic() > deadline:
            raise DidNotStartError(f"no answer within {deadline_s} s:\n{_printed(server)}")
        time.sleep(_POLL_S)


def _answers(port: int, path: str) -> bool:
    connection = http.client.HTTPConnection(HOST, port, timeout=5)
    try:
        connection.request("GET", path)
        connection.getresponse().read()
    except (OSError, http.client.HTTPException):
        return False
    else:
        return True
    finally:
        connection.close()


def _printed(server: Server) -> str:
    return server.log.read_text(encoding="utf-8", errors="replace")[-4000:]
