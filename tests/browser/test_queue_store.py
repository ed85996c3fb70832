"""
What a phone keeps: every tap that it called kept is there after whatever happens to the phone.

The modules are driven without the screens. That a killed browser loses nothing says nothing of a
dead battery, which also takes what the system had not written yet: for that each write asks the
browser for strict durability (Indexed Database API 3.0, 4.9), which a test holds it to.
"""

import json
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from threading import Timer

import pytest
from playwright.sync_api import Error as BrowserError

from audits.storage.database import Database
from audits.storage.schema import upgrade
from tests.browser.broken_link import BrokenLink
from tests.browser.field_phone import BARE_PAGE, farm_program
from tests.orchard import plant_orchard
from webapp.config import clock_now

STORE = "/static/js/field/store.js"
DATABASE = "/static/js/field/database.js"
KEPT_WITHIN_MS = 300
ROOM_FORGOTTEN_MS = 3_500

ANSWERS = [
    {"missed": None, "stages": {"top": {"kind": "class", "tap": tap}}}
    for tap in ("right", "not_due")
]


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    """The program over a farm of its own."""
    data = tmp_path_factory.mktemp("farm")
    database = Database(f"sqlite:///{data / 'farm.db'}", durable=False)
    upgrade(database)
    plant_orchard(database, clock_now())
    database.close()
    with farm_program(data, tmp_path_factory.mktemp("served")) as running:
        yield running


@pytest.fixture
def link(program):
    """The way to it, whole until a test breaks it."""
    way = BrokenLink(program.port)
    yield way
    way.close()


@pytest.fixture
def phone(field_phone, link):
    """A phone with the store open."""
    opened = field_phone(link.url)
    opened.open()
    return opened


def tap(phone, audit_id, number, **others):
    """Answer a tree; what is answered follows from its number."""
    body = {"tree": number, "answers": ANSWERS[number % 2]}
    return phone.record(audit_id, 7, "tree", body, **others)


# --- keeping -------------------------------------------------------------------------------------


def test_an_answer_is_in_the_queue_and_in_its_audit(phone):
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(3)]
    assert [item["counter"] for item in items] == [1, 2, 3]
    assert len({item["id"] for item in items}) == 3
    first = items[0]
    assert first["schema"] == 1
    assert first["kind"] == "tree"
    assert (first["audit"], first["draw"]) == (audit_id, 7)
    assert first["standard"] == {"version": 1, "digest": "0" * 64}
    assert first["body"] == {"tree": 0, "answers": ANSWERS[0]}
    assert datetime.fromisoformat(first["at"]).tzinfo is UTC
    assert [entry["item"] for entry in phone.queue()] == items
    assert phone.audits() == [{"id": audit_id, "draw": 7, "sealed": False, "items": items}]
    counts = phone.counts()
    assert (counts["waiting"], counts["sent"], counts["all"], counts["rejected"]) == (3, 0, 3, 0)


def test_taps_that_come_at_once_are_counted_in_their_order(phone):
    """Nobody waits for one tap to be kept before the next: the order is that of the taps."""
    audit_id = phone.begin(7)
    items = phone.run(
        """
        const numbers = [...Array(40).keys()];
        // The larger the body, the longer it takes to seal.
        return Promise.all(numbers.map((number) => store.record(
          argument, { draw: 7, standard: null }, "tree",
          { tree: number, note: "x".repeat(((40 - number) % 7) * 20000) },
        )));
        """,
        audit_id,
    )
    assert [item["counter"] for item in items] == list(range(1, 41))
    assert [item["body"]["tree"] for item in items] == list(range(40))


def test_a_draw_has_one_audit_on_a_phone(phone):
    first, again, other = phone.begin(7), phone.begin(7), phone.begin(8)
    assert first == again != other


def test_sealing_is_kept_with_the_audit(phone):
    audit_id = phone.begin(7)
    phone.record(audit_id, 7, "seal", {"outcomes": {"top": "accepted"}})
    assert [kept["sealed"] for kept in phone.audits()] == [True]
    assert phone.begin(7) == audit_id


def test_every_write_asks_to_be_on_the_disk(phone, link):
    """Planted beside it: a store that asks for less is found out."""
    spy = """() => {
        window.writes = [];
        const begin = IDBDatabase.prototype.transaction;
        IDBDatabase.prototype.transaction = function (...how) {
          const transaction = begin.apply(this, how);
          if (transaction.mode === "readwrite") window.writes.push(transaction.durability);
          return transaction;
        };
    }"""

    def writes():
        phone.page.evaluate(spy)
        audit_id = phone.begin(7)
        tap(phone, audit_id, 1)
        phone.run(
            """
            await store.saveDevice({ uid: "one", person: { id: 1 } });
            await store.savePackages([{ draw: 7 }]);
            await store.addPhoto({ audit: argument, tree: 1, at: "now", blob: new Blob(["x"]) });
            await store.settle([{ id: "unknown", outcome: "stored" }]);
            await store.signOut();
            await store.wipe();
            """,
            audit_id,
        )
        return phone.page.evaluate("window.writes")

    assert set(writes()) == {"strict"}
    link.rewrite(DATABASE, '{ durability: "strict" }', '{ durability: "relaxed" }')
    phone.page.reload()
    assert "relaxed" in writes()


def test_what_lies_in_the_storage_says_nothing(phone):
    """A copy of the phone's storage shows neither answers nor kinds of items."""
    audit_id = phone.begin(7)
    phone.record(audit_id, 7, "tree", {"tree": 1, "answers": {"note": "Xylocarp"}})
    phone.run(
        """
        const blob = new Blob(["Xylocarp"]);
        await store.addPhoto({ audit: argument, tree: 1, at: "now", blob });
        return store.savePackages([{ draw: 9, note: "Yggdrasil" }]);
        """,
        audit_id,
    )
    phone.close()
    stored = b"".join(path.read_bytes() for path in files_of(phone.folder))
    assert "Yggdrasil".encode("utf-16-le") in stored or b"Yggdrasil" in stored
    assert b"Xylocarp" not in stored
    assert "Xylocarp".encode("utf-16-le") not in stored


def files_of(folder: Path) -> list[Path]:
    kept = folder / "Default" / "IndexedDB"
    return [path for path in kept.rglob("*") if path.is_file()]


def test_the_key_of_the_store_cannot_be_taken_out(phone):
    refused = phone.run(
        """
        const database = await new Promise((resolve) => {
          const request = indexedDB.open("field");
          request.onsuccess = () => resolve(request.result);
        });
        const { key } = await new Promise((resolve) => {
          const request = database.transaction("keys").objectStore("keys").get("items");
          request.onsuccess = () => resolve(request.result);
        });
        database.close();
        return crypto.subtle.exportKey("raw", key).then(() => "taken", (error) => error.name);
        """
    )
    assert refused == "InvalidAccessError"


# --- receipts ------------------------------------------------------------------------------------


def test_receipts_settle_items_one_by_one(phone):
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(4)]
    words = {"en": "Another standard.", "es": "Otra norma."}
    receipts = [
        {"id": items[0]["id"], "outcome": "stored", "because": None, "words": None},
        {"id": items[1]["id"], "outcome": "duplicate", "because": None, "words": None},
        {"id": items[2]["id"], "outcome": "rejected", "because": "other_standard", "words": words},
        {"id": items[3]["id"], "outcome": "something new", "because": None, "words": None},
        {"id": "unknown", "outcome": "stored", "because": None, "words": None},
    ]
    for _ in range(2):
        phone.run("return store.settle(argument);", receipts)
        left = phone.queue()
        assert [entry["item"] for entry in left] == items[2:]
        assert [entry["state"] for entry in left] == ["rejected", "waiting"]
        assert (left[0]["because"], left[0]["words"]) == ("other_standard", words)
        counts = phone.counts()
        assert (counts["waiting"], counts["sent"], counts["rejected"]) == (1, 2, 1)
    assert phone.audits()[0]["items"] == items


def test_what_came_back_can_be_taken_as_a_file(phone):
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(3)]
    phone.run(
        "return store.settle(argument);",
        [{"id": items[0]["id"], "outcome": "rejected", "because": "late", "words": None}],
    )
    phone.damage(items[1]["counter"])
    phone.page.reload()
    file = json.loads(phone.run("return (await store.exportRejected()).text();"))
    assert [(entry["id"], entry["state"]) for entry in file["items"]] == [
        (items[0]["id"], "rejected"),
        (items[1]["id"], "damaged"),
    ]
    assert file["items"][0]["item"] == items[0]
    assert file["items"][1]["damaged"]["body"]["raw"].startswith("base64:")


def test_the_oldest_unsent_is_told_from_the_second_day_on(phone):
    phone.page.clock.install(time="2026-12-01T10:00:00Z")
    audit_id = phone.begin(7)
    tap(phone, audit_id, 1)
    assert (phone.counts()["oldestDays"], phone.counts()["isLate"]) == (0, False)
    phone.page.clock.set_system_time("2026-12-02T09:59:00Z")
    assert not phone.counts()["isLate"]
    phone.page.clock.set_system_time("2026-12-02T10:01:00Z")
    assert (phone.counts()["oldestDays"], phone.counts()["isLate"]) == (1, True)
    phone.page.clock.set_system_time("1970-01-01T00:00:00Z")
    assert (phone.counts()["oldestDays"], phone.counts()["isLate"]) == (0, False)


# --- damage --------------------------------------------------------------------------------------


def test_a_damaged_item_stays_in_sight_and_stops_nobody(phone):
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(3)]
    phone.damage(2)
    phone.page.reload()
    queue = phone.queue()
    assert [entry["state"] for entry in queue] == ["waiting", "damaged", "waiting"]
    assert [entry["id"] for entry in queue] == [item["id"] for item in items]
    damaged = queue[1]["damaged"]
    assert (damaged["kind"], damaged["id"], damaged["counter"]) == ("damaged", items[1]["id"], 2)
    assert damaged["body"]["raw"].startswith("base64:")
    # The same each time, so that the server knows it again.
    phone.page.reload()
    assert phone.queue()[1]["damaged"] == damaged
    assert phone.audits()[0]["items"] == [items[0], items[2]]
    assert tap(phone, audit_id, 3)["counter"] == 4


def test_without_its_key_everything_is_damaged_and_nothing_is_lost(phone):
    """The browser lost the key: old items are sent as they lie there, new ones are kept."""
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(2)]
    phone.run(
        """
        const database = await new Promise((resolve) => {
          const request = indexedDB.open("field");
          request.onsuccess = () => resolve(request.result);
        });
        await new Promise((resolve) => {
          const transaction = database.transaction("keys", "readwrite");
          transaction.oncomplete = resolve;
          transaction.objectStore("keys").clear();
        });
        database.close();
        """
    )
    phone.page.reload()
    assert [entry["state"] for entry in phone.queue()] == ["damaged", "damaged"]
    kept = tap(phone, audit_id, 5)
    assert [entry["id"] for entry in phone.queue()] == [*(item["id"] for item in items), kept["id"]]
    assert phone.queue()[2]["item"] == kept


# --- a full phone --------------------------------------------------------------------------------


def test_a_full_phone_says_so_at_once_and_keeps_the_queue(phone, volume):
    audit_id = phone.begin(7)
    kept = [tap(phone, audit_id, number) for number in range(5)]
    for _ in range(volume(short=2, long=20)):
        leave_room(phone, 150_000)
        said = phone.run(
            """
            const { StoreFull } = await import("/static/js/field/store.js");
            const body = { tree: 9, note: "x".repeat(20000) };
            const kept = [];
            for (let tries = 0; tries < 100; tries += 1) {
              try {
                kept.push(await store.record(argument, { draw: 7, standard: null }, "tree", body));
              } catch (error) {
                return { kept, full: error instanceof StoreFull, name: error.name };
              }
            }
            return { kept, full: false, name: "never full" };
            """,
            audit_id,
        )
        assert said["full"], said["name"]
        kept += said["kept"]
        assert [entry["item"] for entry in phone.queue()] == kept
        phone.page.reload()
        assert [entry["item"] for entry in phone.queue()] == kept
        phone.limit_storage(None)
        # Room again, without starting anything anew; no number was lost or taken twice.
        kept.append(tap(phone, audit_id, 6))
        assert [item["counter"] for item in kept] == list(range(1, len(kept) + 1))


def leave_room(phone, size_bytes):
    """Leave only so much room; the browser remembers the old room until the pages are left."""
    phone.page.goto("about:blank")
    phone.page.wait_for_timeout(ROOM_FORGOTTEN_MS)
    phone.limit_storage(phone.used_storage() + size_bytes)
    phone.page.goto(BARE_PAGE)


# --- tabs, sign-out, versions --------------------------------------------------------------------


def test_two_tabs_never_count_the_same(phone):
    other = phone.second_tab()
    audit_id = phone.begin(7)
    assert phone.run("return store.beginAudit(7);", page=other) == audit_id
    start = """
        window.done = Promise.all([...Array(30).keys()].map((number) =>
          store.record(argument, { draw: 7, standard: null }, "tree", { tree: number })));
    """
    for page in (phone.page, other):
        phone.run(start, audit_id, page=page)
    items = [
        item
        for page in (phone.page, other)
        for item in page.evaluate("async () => (await window.done)")
    ]
    assert sorted(item["counter"] for item in items) == list(range(1, 61))
    assert phone.items() == sorted(items, key=lambda item: item["counter"])


def test_another_tab_hears_of_a_change(phone):
    other = phone.second_tab()
    phone.run(
        "window.heard = []; store.onChange((change) => window.heard.push(change));", page=other
    )
    audit_id = phone.begin(7)
    tap(phone, audit_id, 1)
    other.wait_for_function("window.heard.some(({ what }) => what === 'recorded')")


def test_a_tab_that_was_open_during_a_wipe_seals_with_the_new_key(phone):
    """Planted danger: items sealed with a key that is gone could never be read again."""
    other = phone.second_tab()
    audit_id = phone.begin(7)
    phone.run("return store.counts();", page=other)
    phone.run("return store.wipe();")
    kept = tap(phone, audit_id, 1, page=other)
    again = tap(phone, audit_id, 2)
    phone.page.reload()
    assert [entry["item"] for entry in phone.queue()] == [kept, again]


def test_signing_out_leaves_the_queue_and_nothing_of_the_person(phone):
    audit_id = phone.begin(7)
    item = tap(phone, audit_id, 1)
    device = phone.run(
        """
        await store.saveDevice({ uid: "one", person: { name: "Saul" }, signKey: "key" });
        await store.savePackages([{ draw: 7 }, { draw: 8 }]);
        await store.signOut();
        return store.device();
        """
    )
    assert device == {"uid": "one", "person": None, "signKey": "key"}
    assert phone.run("return store.packages();") == []
    assert [entry["item"] for entry in phone.queue()] == [item]
    assert phone.items() == [item]


def test_a_wipe_leaves_nothing(phone):
    audit_id = phone.begin(7)
    tap(phone, audit_id, 1)
    phone.run(
        """
        await store.saveDevice({ uid: "one", person: { name: "Saul" } });
        await store.savePackages([{ draw: 7 }]);
        await store.addPhoto({ audit: argument, tree: 1, at: "now", blob: new Blob(["x"]) });
        await store.wipe();
        """,
        audit_id,
    )
    left = phone.run(
        """
        const database = await new Promise((resolve) => {
          const request = indexedDB.open("field");
          request.onsuccess = () => resolve(request.result);
        });
        const names = [...database.objectStoreNames];
        const count = (name) => new Promise((resolve) => {
          const request = database.transaction(name).objectStore(name).count();
          request.onsuccess = () => resolve([name, request.result]);
        });
        const counted = await Promise.all(names.map(count));
        database.close();
        return Object.fromEntries(counted);
        """
    )
    assert len(left) == 7
    assert set(left.values()) == {0}


def test_a_later_app_finds_the_queue_of_an_earlier_one(phone, link):
    """And the earlier one, still open in another tab, goes on with the later one's database."""
    audit_id = phone.begin(7)
    items = [tap(phone, audit_id, number) for number in range(3)]
    phone.damage(2)
    link.rewrite(
        DATABASE,
        "\n];\n\nexport const STORES",
        """
  (database, transaction) => {
    database.createObjectStore("notes");
    transaction.objectStore("items").createIndex("id", "id");
  },
];

export const STORES""",
    )
    later = phone.second_tab()
    assert version(phone, later) == 2
    queue = phone.queue(later)
    assert [entry["id"] for entry in queue] == [item["id"] for item in items]
    assert [entry["state"] for entry in queue] == ["waiting", "damaged", "waiting"]
    assert tap(phone, audit_id, 3, page=later)["counter"] == 4
    assert tap(phone, audit_id, 4)["counter"] == 5
    link.restore()
    phone.page.reload()
    assert len(phone.queue()) == 5
    assert tap(phone, audit_id, 5)["counter"] == 6


def version(phone, page):
    return phone.run(
        """
        await store.counts();
        return (await indexedDB.databases()).find(({ name }) => name === "field").version;
        """,
        page=page,
    )


# --- speed ---------------------------------------------------------------------------------------


def test_an_answer_is_kept_soon_on_a_slow_phone(phone, record_property):
    """At a quarter of this processor's speed, as the 95th percentile of 200 taps."""
    audit_id = phone.begin(7)
    phone.slow_down(4)
    times = phone.run(
        """
        const times = [];
        for (let number = 0; number < 200; number += 1) {
          const started = performance.now();
          await store.record(argument, { draw: 7, standard: null }, "tree", {
            tree: number,
            answers: { missed: null, stages: { top: { kind: "class", tap: "right" } } },
          });
          times.push(performance.now() - started);
        }
        return times;
        """,
        audit_id,
    )
    times.sort()
    p95 = times[int(len(times) * 0.95) - 1]
    record_property("kept_p50_ms", round(times[len(times) // 2], 1))
    record_property("kept_p95_ms", round(p95, 1))
    assert p95 <= KEPT_WITHIN_MS


# --- killed --------------------------------------------------------------------------------------


def test_a_killed_phone_misses_at_most_the_tap_in_flight(phone, volume):
    """Killed again and again: what was called kept is there, as it was tapped."""
    moments = Random(20261127)  # noqa: S311 - chance, not secrecy
    audit_id = phone.begin(7)
    kept: list[dict] = []
    for _ in range(volume(short=4, long=100)):
        kept = killed_at_any_moment(phone, audit_id, kept, moments.uniform(0.0, 0.6))
        kept = killed_right_after_a_tap(phone, audit_id, kept, moments.randint(1, 5))


def killed_at_any_moment(phone, audit_id, kept, seconds):
    """Tap until the battery is empty; return what the phone holds after that."""
    battery = Timer(seconds, phone.kill)
    battery.start()
    in_flight = len(kept)
    try:
        while True:
            in_flight = len(kept)
            kept.append(tap(phone, audit_id, in_flight))
    except BrowserError:
        battery.join()
    return after_kill(phone, audit_id, kept, in_flight)


def killed_right_after_a_tap(phone, audit_id, kept, taps):
    """Kill the browser as soon as it says that the last of some taps is kept."""
    processes = phone.processes()
    for _ in range(taps):
        kept.append(tap(phone, audit_id, len(kept)))
    phone.kill(processes)
    return after_kill(phone, audit_id, kept, None)


def after_kill(phone, audit_id, kept, in_flight):
    """Open the phone again, and return what it holds once that was compared with the taps."""
    phone.reopen()
    items = phone.items()
    assert items[: len(kept)] == kept, "a tap that was called kept is missing or another"
    more = [item["body"] for item in items[len(kept) :]]
    asked = {"tree": in_flight, "answers": ANSWERS[(in_flight or 0) % 2]}
    assert more in ([], [asked]), "there is a tap that nobody made"
    assert in_flight is not None or not more
    assert [item["counter"] for item in items] == list(range(1, len(items) + 1))
    assert [entry["item"] for entry in phone.queue()] == items
    assert phone.begin(7) == audit_id
    return items


def test_a_store_that_speaks_too_soon_is_found_out(phone, link):
    """Planted: a tap is called kept at once, and written a moment later."""
    link.rewrite(
        STORE,
        "return kept.then(({ done }) => done);",
        "this.guess = (this.guess ?? 0) + 1; return { ...item, counter: this.guess };",
    )
    link.rewrite(
        STORE,
        "this.#sealing.then(() => this.#keep(item))",
        "new Promise((later) => setTimeout(later, 300)).then(() => this.#keep(item))",
    )
    phone.page.reload()
    audit_id = phone.begin(7)
    with pytest.raises(AssertionError, match="called kept is missing"):
        killed_right_after_a_tap(phone, audit_id, [], 3)
