"""
A phone in the row for tests: its own browser, enrolled at a real farm, that can lose its battery.

The program runs in its own process over a farm of its own, and can be stopped and started again on
the same port. Between it and the phone lies a link that breaks when it is told to. The phone keeps
its storage in a folder, so that its browser can be killed and opened again.
"""

import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from playwright.sync_api import BrowserContext, BrowserType, CDPSession, Page
from playwright.sync_api import Error as BrowserError

from audits.records import Actor
from audits.services import devices
from audits.storage.database import Database
from audits.storage.tables import audit, photo, receipt, tree_score
from tests.orchard import Orchard
from tests.serving import HOST, SERVE, Server, free_port, serving
from webapp.config import clock_now

PHONE_OPTIONS = {
    "viewport": {"width": 360, "height": 640},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
DIGITS = "482915"
# A page in the scope of the service worker that runs nothing by itself.
BARE_PAGE = "/field/phrases.json"
APP_PAGE = "/field/"
_DEADLINE_MS = 30_000
_KILLED_WITHIN_S = 10

# What every script below may use.
_MODULES = """
const store = await (await import("/static/js/field/store.js")).openStore();
"""


# --- the program ---------------------------------------------------------------------------------


class Program:
    """The real program over one data folder, on one port for as long as the test lasts."""

    def __init__(self, data: Path, folder: Path) -> None:
        self.data = data
        self.folder = folder
        self.port = free_port()
        self.url = f"http://{HOST}:{self.port}"
        self._running: ExitStack | None = None
        self._starts = 0

    def start(self) -> Server:
        """Start it, again if it was stopped, on the same port."""
        self._starts += 1
        self._running = ExitStack()
        command = tuple(part.replace("{port}", str(self.port)) for part in SERVE)
        return self._running.enter_context(
            serving(
                self.folder / f"server-{self._starts}.log",
                command=command,
                environment={"PRUNING_AUDIT_DATA": str(self.data), "PRUNING_AUDIT_DATABASE": ""},
                port=self.port,
            )
        )

    def stop(self) -> None:
        """Stop it, as a restart of the machine does."""
        if self._running:
            self._running.close()
            self._running = None


# --- the phone -----------------------------------------------------------------------------------


@dataclass
class FieldPhone:
    """
    A browser with a storage of its own.

    Parameters
    ----------
    browser_type : BrowserType
        Starts the browser.
    executable : str
        The browser's path.
    arguments : list of str
        How it is started.
    folder : Path
        Its storage.
    url : str
        Where the farm's pages are for it.
    """

    browser_type: BrowserType
    executable: str
    arguments: list[str]
    folder: Path
    url: str
    watch: Any = None
    context: BrowserContext | None = None
    page: Page = field(init=False)
    # What a session of the tools has set holds only as long as the session does.
    sessions: dict[Page, CDPSession] = field(default_factory=dict)

    def open(self, path: str = BARE_PAGE) -> Page:
        """Start the browser and open a page of the farm."""
        self.context = self.browser_type.launch_persistent_context(
            self.folder,
            executable_path=self.executable,
            args=self.arguments,
            base_url=self.url,
            **PHONE_OPTIONS,
        )
        self.context.set_default_timeout(_DEADLINE_MS)
        if self.watch:
            self.watch(self.context)
        self.sessions.clear()
        self.page = self.context.new_page()
        self.page.goto(path)
        return self.page

    def close(self) -> None:
        """Close the browser as a person does."""
        if self.context:
            with suppress(BrowserError):
                self.context.close()
            self.context = None

    def kill(self, processes: list[int] | None = None) -> None:
        """End every process of the browser at once; `processes` if they were looked up before."""
        for process in processes or self.processes():
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        deadline = time.monotonic() + _KILLED_WITHIN_S
        while self.processes():
            assert time.monotonic() < deadline, "the browser would not end"
            time.sleep(0.01)

    def reopen(self, path: str = BARE_PAGE) -> Page:
        """Start the browser again after it was killed."""
        self.close()
        return self.open(path)

    def second_tab(self, path: str = BARE_PAGE) -> Page:
        """Open another tab of the same browser."""
        tab = self.context.new_page()
        tab.goto(path)
        return tab

    def tools(self, page: Page | None = None) -> CDPSession:
        """Return the browser's own tools for a page (Chrome DevTools Protocol)."""
        page = page or self.page
        if page not in self.sessions:
            self.sessions[page] = self.context.new_cdp_session(page)
        return self.sessions[page]

    def slow_down(self, times: float) -> None:
        """Make the processor slower for the page that is open."""
        self.tools().send("Emulation.setCPUThrottlingRate", {"rate": times})

    def limit_storage(self, size_bytes: int | None) -> None:
        """Say how much the farm's pages may keep; None: as much as the disk has."""
        quota = {} if size_bytes is None else {"quotaSize": size_bytes}
        self.tools().send("Storage.overrideQuotaForOrigin", {"origin": self.url, **quota})

    def used_storage(self) -> int:
        """Return how many bytes the farm's pages keep."""
        return self.tools().send("Storage.getUsageAndQuota", {"origin": self.url})["usage"]

    def processes(self) -> list[int]:
        """Return the browser's main process and all that it started, that still run."""
        parents: dict[int, int] = {}
        roots = []
        for entry in Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            try:
                state = (entry / "stat").read_text().rpartition(")")[2].split()
                command = (entry / "cmdline").read_bytes().split(b"\0")
            except OSError:
                continue
            if state[0] == "Z":
                continue
            parents[int(entry.name)] = int(state[1])
            folder = f"--user-data-dir={self.folder}".encode()
            if folder in command and not any(part.startswith(b"--type=") for part in command):
                roots.append(int(entry.name))
        found, left = [], roots
        while left:
            one = left.pop()
            found.append(one)
            left.extend(child for child, parent in parents.items() if parent == one)
        return found

    # --- the phone's modules, without its screens ------------------------------------------------

    def run(self, script: str, argument: object = None, *, page: Page | None = None) -> Any:
        """Run a script in the page, with the phone's `store` and this `argument` at hand."""
        code = f"async (argument) => {{ {_MODULES} {script} }}"
        return (page or self.page).evaluate(code, argument)

    def begin(self, draw: int) -> str:
        """Begin the audit of a draw; return its id."""
        return self.run("return store.beginAudit(argument);", draw)

    def record(self, audit_id: str, draw: int, kind: str, body: dict, **others: object) -> dict:
        """Keep one item; returns when the phone says that it is kept."""
        standard = others.pop("standard", {"version": 1, "digest": "0" * 64})
        return self.run(
            "const { audit, draw, standard, kind, body } = argument;"
            "return store.record(audit, { draw, standard }, kind, body);",
            {"audit": audit_id, "draw": draw, "standard": standard, "kind": kind, "body": body},
            **others,
        )

    def queue(self, page: Page | None = None) -> list[dict]:
        return self.run("return store.queue();", page=page)

    def counts(self, page: Page | None = None) -> dict:
        return self.run("return store.counts();", page=page)

    def audits(self, page: Page | None = None) -> list[dict]:
        return self.run("return store.audits();", page=page)

    def items(self) -> list[dict]:
        """Return every item that the phone keeps, sent or not."""
        return sorted(
            (item for kept in self.audits() for item in kept["items"]),
            key=lambda item: item["counter"],
        )

    def start_sync(self, page: Page | None = None) -> None:
        """Start sending, without the screens; the state is noted as `window.syncState`."""
        self.run(
            """
            const { startSync } = await import("/static/js/field/sync.js");
            const { sign } = await import("/static/js/field/device.js");
            const onState = (state) => { window.syncState = state; };
            window.sync ??= startSync({ store, device: { sign }, onState });
            """,
            page=page,
        )

    def sync_now(self, page: Page | None = None) -> dict:
        """Send until the round is over; return how it ended."""
        self.start_sync(page)
        return (page or self.page).evaluate(
            "async () => { await window.sync.syncNow(); return window.sync.state; }"
        )

    def sync_until_sent(self, *, rounds: int = 60) -> int:
        """Press the button until nothing waits; return how often it was pressed."""
        for pressed in range(1, rounds + 1):
            self.sync_now()
            counts = self.counts()
            if counts["waiting"] == 0 and counts["photos"] == 0:
                return pressed
        raise AssertionError(f"after {rounds} rounds: {self.counts()}, {self.state()}")

    def state(self) -> dict:
        return self.page.evaluate("window.sync?.state ?? null")

    def damage(self, counter: int) -> None:
        """Spoil what is kept of one item, as a failing flash does."""
        self.run(
            """
            const database = await new Promise((resolve, reject) => {
              const request = indexedDB.open("field");
              request.onsuccess = () => resolve(request.result);
              request.onerror = () => reject(request.error);
            });
            await new Promise((resolve, reject) => {
              const transaction = database.transaction("items", "readwrite");
              transaction.oncomplete = resolve;
              transaction.onabort = reject;
              const items = transaction.objectStore("items");
              items.get(argument).onsuccess = ({ target: { result } }) => {
                new Uint8Array(result.sealed)[3] ^= 255;
                items.put(result);
              };
            });
            database.close();
            """,
            counter,
        )


def enrol(phone: FieldPhone, database: Database, actor: Actor, now: datetime | None = None) -> str:
    """
    Enrol a phone with a key that its browser makes; return the phone's uid.

    By the services rather than the screens: tests of the queue need the phone, not the way to it.
    """
    now = now or clock_now()
    key = phone.run(
        """
        const kind = { name: "ECDSA", namedCurve: "P-256" };
        const pair = await crypto.subtle.generateKey(kind, false, ["sign", "verify"]);
        window.signKey = pair.privateKey;
        return crypto.subtle.exportKey("jwk", pair.publicKey);
        """
    )
    token = devices.offer_enrolment(database, actor, user_id=actor.user_id, now=now)
    device, _ = devices.enrol_device(
        database,
        actor.farm_id,
        token=token,
        name="Glove phone",
        public_key=key,
        pin=DIGITS,
        now=now,
    )
    phone.run(
        """
        await store.saveDevice({ ...argument, signKey: window.signKey, unlockedAt: Date.now() });
        """,
        {"uid": device.uid, "person": {"id": actor.user_id, "name": actor.name, "language": "en"}},
    )
    return device.uid


# --- the server's side ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Arrived:
    """What the farm's database holds of what phones sent."""

    receipts: list[sa.Row]
    audits: list[sa.Row]
    scores: list[sa.Row]
    photos: list[sa.Row]


def arrived(database: Database, farm_id: int) -> Arrived:
    """Read what has arrived."""

    def rows(table: sa.Table) -> list[sa.Row]:
        chosen = sa.select(table).where(table.c.farm_id == farm_id).order_by(table.c.id)
        return list(connection.execute(chosen))

    with database.read() as connection:
        return Arrived(rows(receipt), rows(audit), rows(tree_score), rows(photo))


@contextmanager
def farm_program(data: Path, folder: Path) -> Iterator[Program]:
    """Run the program over a farm until the block ends."""
    program = Program(data, folder)
    program.start()
    try:
        yield program
    finally:
        program.stop()


@dataclass(frozen=True)
class Farm:
    """A farm with its program running and a link to it."""

    orchard: Orchard
    database: Database
    program: Program
