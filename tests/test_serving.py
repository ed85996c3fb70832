"""Starting the program in its own process: what goes wrong is said, and nothing is left behind."""

import socket
import sys
import time

import pytest

from tests.serving import HOST, DidNotStartError, serving

FILE_SERVER = (sys.executable, "-m", "http.server", "--bind", "{host}", "{port}")


def test_a_server_is_gone_with_its_workers_when_the_block_ends(tmp_path):
    """A shell that leaves its server in the background stands for a parent with workers."""
    command = ("sh", "-c", f"{' '.join(FILE_SERVER)} & wait")
    with serving(tmp_path / "log", command=command, folder=tmp_path) as server:
        assert listens(server.port)
    deadline = time.monotonic() + 5
    while listens(server.port) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not listens(server.port)


def listens(port: int) -> bool:
    with socket.socket() as client:
        return client.connect_ex((HOST, port)) == 0


def test_a_server_that_ends_at_once_is_reported_with_what_it_printed(tmp_path):
    command = (sys.executable, "-c", "raise SystemExit('no field today')")
    with (
        pytest.raises(DidNotStartError, match="no field today"),
        serving(tmp_path / "log", command=command),
    ):
        pass


def test_a_silent_server_is_given_up(tmp_path):
    command = (sys.executable, "-c", "import time; time.sleep(60)")
    with (
        pytest.raises(DidNotStartError, match="no answer"),
        serving(tmp_path / "log", command=command, deadline_s=0.5),
    ):
        pass
