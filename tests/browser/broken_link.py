"""
The way between a phone and the server, with everything that goes wrong on it.

A relay on the loopback hands each request on and each answer back. By chance or by order it loses
the request, loses the answer of a server that has done its work, cuts the answer in the middle, or
takes its time. It can also put other text into what the server sends: the next version of a
module, or a planted defect.
"""

import http.client
import json
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from random import Random

from tests.serving import HOST

# Of the connection between two neighbours, not of the message (RFC 9110, 7.6.1).
_OF_THE_HOP = {"connection", "keep-alive", "transfer-encoding", "accept-encoding", "content-length"}
# Whether the phone has a file of its own: asked anew, so that what is put into it gets there.
_OF_THE_CACHE = {"if-none-match", "if-modified-since"}
_SERVER_DEADLINE_S = 60


class Fate(StrEnum):
    """What becomes of one request."""

    PASSED = "passed"
    REQUEST_LOST = "request lost"
    REPLY_LOST = "reply lost"
    REPLY_CUT = "reply cut"


BROKEN = (Fate.REQUEST_LOST, Fate.REPLY_LOST, Fate.REPLY_CUT)


@dataclass(frozen=True)
class Request:
    """One request and what became of it."""

    method: str
    path: str
    body: bytes
    fate: Fate


@dataclass
class BrokenLink:
    """
    A relay to one server; its `url` is what the phone is given.

    Parameters
    ----------
    server_port : int
        Port of the server, on the loopback.
    """

    server_port: int
    random: Random = field(default_factory=lambda: Random(1))  # noqa: S311 - chance, not secrecy
    broken_share: float = 0.0
    delay_s: tuple[float, float] = (0.0, 0.0)
    # Which paths suffer; the shell is left whole unless a test says otherwise.
    suffers: Callable[[str], bool] = lambda path: path.startswith(("/field/sync", "/field/photos"))
    fates: Counter[Fate] = field(default_factory=Counter)
    requests: list[Request] = field(default_factory=list)
    # Decided beforehand, one a request, before chance has its say.
    ordered: list[Fate] = field(default_factory=list)
    # Whether the browser may keep files by itself, as it does for an hour in the field.
    lets_cache: bool = False
    # (path, request's body) -> (status, body): answered by the link, the server never hears of it.
    answer_instead: Callable[[str, bytes], tuple[int, bytes] | None] = lambda _path, _body: None

    def __post_init__(self) -> None:
        self._rewrites: dict[str, list[tuple[str, str]]] = {}
        self._lock = threading.Lock()
        self._relay = _Relay(self)
        self.url = f"http://{HOST}:{self._relay.server_port}"
        self._thread = threading.Thread(target=self._relay.serve_forever, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop relaying."""
        self._relay.shutdown()
        self._relay.server_close()
        self._thread.join()

    def rewrite(self, path: str, old: str, new: str) -> None:
        """Put other text into what the server sends at a path; it must be there exactly once."""
        self._rewrites.setdefault(path, []).append((old, new))

    def restore(self) -> None:
        """Hand on everything as the server sends it."""
        self._rewrites.clear()

    def sent_to(self, path: str) -> list[Request]:
        """Return the requests for a path and all below it, whatever became of them."""
        return [request for request in self.requests if request.path.startswith(path)]

    def batches(self) -> list[list[dict]]:
        """Return the items of each request that carried any."""
        sent = (json.loads(request.body)["items"] for request in self.sent_to("/field/sync"))
        return [items for items in sent if items]

    def decide(self, method: str, path: str, body: bytes) -> Fate:
        """Decide on the fate of a request, and note it."""
        with self._lock:
            fate = self._next_fate() if self.suffers(path) else Fate.PASSED
            wait_s = self.random.uniform(*self.delay_s) if self.suffers(path) else 0
            self.fates[fate] += 1
            self.requests.append(Request(method, path, body, fate))
        time.sleep(wait_s)
        return fate

    def _next_fate(self) -> Fate:
        if self.ordered:
            return self.ordered.pop(0)
        if self.random.random() < self.broken_share:
            return self.random.choice(BROKEN)
        return Fate.PASSED

    def changed(self, path: str, body: bytes) -> bytes:
        """Return a body with the changes that were ordered for its path."""
        text = body
        for old, new in self._rewrites.get(path, []):
            found = text.count(old.encode())
            if found != 1:
                # Raised in the relay's own thread: the phone gets nothing, and the test sees why.
                raise ValueError(f"{path} has {old!r} {found} times, not once")
            text = text.replace(old.encode(), new.encode())
        return text


class _Relay(ThreadingHTTPServer):
    daemon_threads = True
    # Browsers leave connections open that nobody reads from any more.
    block_on_close = False

    def __init__(self, link: BrokenLink) -> None:
        super().__init__((HOST, 0), _Handler)
        self.link = link

    def handle_error(self, request: object, client_address: object) -> None:
        """Stay silent about phones that were killed in the middle of a request."""


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Relay

    def do_GET(self) -> None:
        self._relay()

    def do_POST(self) -> None:
        self._relay()

    def log_message(self, *_arguments: object) -> None:
        pass

    def _relay(self) -> None:
        link = self.server.link
        self.close_connection = True
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        path = self.path.partition("?")[0]
        fate = link.decide(self.command, path, body)
        if fate is Fate.REQUEST_LOST:
            self._hang_up()
            return
        instead = link.answer_instead(path, body)
        if instead is not None:
            self._answer(instead[0], [("Content-Type", "application/json")], instead[1], fate)
            return
        try:
            status, headers, content = self._ask_server(body)
        except (OSError, http.client.HTTPException):
            self._hang_up()
            return
        self._answer(status, headers, link.changed(path, content), fate)

    def _ask_server(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        port = self.server.link.server_port
        left_out = _OF_THE_HOP | _OF_THE_CACHE
        server = http.client.HTTPConnection(HOST, port, timeout=_SERVER_DEADLINE_S)
        try:
            headers = {
                name: value for name, value in self.headers.items() if name.lower() not in left_out
            }
            if self.command == "POST":
                headers["Content-Length"] = str(len(body))
            server.request(self.command, self.path, body or None, headers)
            answer = server.getresponse()
            content = answer.read()
        finally:
            server.close()
        kept = [(name, value) for name, value in answer.getheaders() if _is_of_the_message(name)]
        return answer.status, kept, content

    def _answer(
        self, status: int, headers: list[tuple[str, str]], content: bytes, fate: Fate
    ) -> None:
        if fate is Fate.REPLY_LOST:
            self._hang_up()
            return
        if not self.server.link.lets_cache:
            headers = [*filter(_is_not_of_the_cache, headers), ("Cache-Control", "no-store")]
        whole = fate is not Fate.REPLY_CUT
        with suppress(OSError):
            self.send_response_only(status)
            for name, value in headers:
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.send_header("Connection", "close")
            self.end_headers()
            self.wfile.write(content if whole else content[: len(content) // 2])
            self.wfile.flush()
        if not whole:
            self._hang_up()

    def _hang_up(self) -> None:
        with suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)


def _is_of_the_message(name: str) -> bool:
    """Return whether a header goes on with the message."""
    return name.lower() not in _OF_THE_HOP


def _is_not_of_the_cache(header: tuple[str, str]) -> bool:
    return header[0].lower() != "cache-control"
