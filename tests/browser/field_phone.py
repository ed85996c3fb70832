"""
A phone in the row for tests: its own browser, enrolled at a real farm, that can lose its battery.

The program runs in its own process over a farm of its own, and can be stopped and started again on
the same port. Between it and the phone lies a link that breaks when it is told to. The phone keeps
its storage in a folder, so that its browser can be killed and opened again.
"""

import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from playwright.sync_api import BrowserContext, BrowserType, CDPSession, Page
from playwright.sync_api import Error as BrowserError

from audits.scoring import TreeAnswers
from audits.services import devices, farms
from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.storage.tables import audit, photo, receipt, tree_score
from audits.vocabulary import ReceiptState
from tests.browser.broken_link import BrokenLink
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard
from tests.row_audit import prune
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

    def enrol(self, token: str, name: str = "Glove phone") -> str:
        """Enrol the phone as its own page does; return its uid."""
        said = self.run(
            """
            const { enrol } = await import("/static/js/field/device.js");
            return enrol(argument);
            """,
            {"token": token, "name": name, "pin": DIGITS},
        )
        assert said["ok"], said
        return self.run("return (await store.device()).uid;")

    def prepare(self) -> list[dict]:
        """Fetch the packages of all lots that wait, as the page does in the office."""
        return self.run(
            """
            const { csrf } = await (await fetch("/field/token")).json();
            const headers = { "Content-Type": "application/json", "X-CSRFToken": csrf };
            const body = JSON.stringify({ lots: "all" });
            const answer = await fetch("/field/prepare", { method: "POST", headers, body });
            const { prepared, problems } = await answer.json();
            if (problems.length > 0) throw new Error(JSON.stringify(problems));
            await store.savePackages(prepared);
            // Without the pictures, which a test of the queue has no use for.
            return prepared.map(({ draw, standard, trees }) => ({ draw, standard, trees }));
            """
        )

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
        """Start sending, without the screens; `window.states` notes how it goes."""
        self.run(
            """
            const { startSync } = await import("/static/js/field/sync.js");
            const device = await import("/static/js/field/device.js");
            window.states ??= [];
            const onState = (state) => window.states.push(state);
            window.sync ??= startSync({ store, device, onState });
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

    def wait_until(self, is_so: Callable[[], object], *, seconds: float = 20) -> None:
        """Wait while the page goes on."""
        deadline = time.monotonic() + seconds
        while not is_so():
            assert time.monotonic() < deadline, f"{self.counts()}, {self.state()}"
            self.page.wait_for_timeout(50)

    def wait_until_sent(self, number: int) -> None:
        """Wait until the server has so many items in all."""
        self.wait_until(lambda: self.counts()["sent"] == number)

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


# --- the server's side ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Arrived:
    """What the farm's database holds of what phones sent."""

    receipts: list[sa.Row]
    audits: list[sa.Row]
    scores: list[sa.Row]
    photos: list[sa.Row]


@dataclass
class FieldFarm:
    """
    A farm with rows that wait for their audits, its program, and the way to it.

    Parameters
    ----------
    orchard : Orchard
        What stands there and who works there.
    database : Database
        Its database, beside the program that serves it.
    program : Program
        The program, running.
    link : BrokenLink
        What phones are given instead of the program's own address.
    """

    orchard: Orchard
    database: Database
    program: Program
    link: BrokenLink

    def offer(self) -> str:
        """Offer to enrol a phone for the supervisor; return the token of the QR code."""
        actor = self.orchard.supervisor
        return devices.offer_enrolment(self.database, actor, user_id=actor.user_id, now=clock_now())

    def arrived(self) -> Arrived:
        """Read what has arrived of what phones sent."""

        def rows(table: sa.Table) -> list[sa.Row]:
            chosen = sa.select(table).where(table.c.farm_id == self.orchard.farm_id)
            return list(connection.execute(chosen.order_by(table.c.id)))

        with self.database.read() as connection:
            return Arrived(rows(receipt), rows(audit), rows(tree_score), rows(photo))

    def check_arrived(self, items: list[dict]) -> Arrived:
        """
        Compare what a phone kept with what the farm's database holds; return the latter.

        Every item is there exactly once and as it was tapped, every audit once, and each tree has
        the answers that were tapped last.
        """
        found = self.arrived()
        kept = {item["id"]: item for item in items}
        ids = [row.client_id for row in found.receipts]
        assert sorted(ids) == sorted(kept), "what arrived is not what was tapped"
        assert {row.client_id: json.loads(row.body) for row in found.receipts} == kept
        states = {row.state for row in found.receipts}
        assert states <= {ReceiptState.STORED}, [row.held_because for row in found.receipts]
        audits = {row.client_id: row.id for row in found.audits}
        assert sorted(audits) == sorted({item["audit"] for item in items})
        scores = {(row.audit_id, row.draw_tree_id): row.answers for row in found.scores}
        assert len(found.scores) == len(scores), "a tree was scored twice"
        tapped = {
            (audits[audit_id], tree): answers
            for (audit_id, tree), answers in last_answers(items).items()
        }
        assert in_full(scores) == in_full(tapped), "a tree has other answers"
        return found


def in_full(answers: dict[tuple[int, int], dict]) -> dict[tuple[int, int], TreeAnswers]:
    """Return answers with what is left out of them where it says nothing."""
    return {place: TreeAnswers.model_validate(given) for place, given in answers.items()}


def last_answers(items: list[dict]) -> dict[tuple[str, int], dict]:
    """Return what was tapped last on each tree, by audit and tree."""
    answers: dict[tuple[str, int], dict] = {}
    for item in sorted(items, key=lambda item: item["counter"]):
        place = item["audit"], item["body"].get("tree")
        if item["kind"] == "tree":
            answers[place] = item["body"]["answers"]
        elif item["kind"] == "take_back":
            answers.pop(place, None)
    return answers


@contextmanager
def field_farm(data: Path, folder: Path, *, lots: int = 1) -> Iterator[FieldFarm]:
    """Plant a farm, let the crew finish some rows, and serve it until the block ends."""
    data.mkdir(parents=True, exist_ok=True)
    database = Database(f"sqlite:///{data / 'farm.db'}")
    upgrade(database)
    now = clock_now()
    orchard = plant_orchard(database, now)
    if lots > len(orchard.row_ids):
        orchard.row_ids.extend(
            farms.add_rows(
                database,
                orchard.owner,
                orchard.block_id,
                first_number=len(orchard.row_ids) + 1,
                last_number=lots,
                start_end="north",
                tree_count=TREES_IN_ROW,
                since=now.date() - timedelta(days=3000),
            )
        )
    prune(database, orchard, rows=lots)
    with farm_program(data, folder) as program:
        link = BrokenLink(program.port)
        yield FieldFarm(orchard, database, program, link)
        link.close()
    database.close()


@contextmanager
def farm_program(data: Path, folder: Path) -> Iterator[Program]:
    """Run the program over a farm until the block ends."""
    program = Program(data, folder)
    program.start()
    try:
        yield program
    finally:
        program.stop()
