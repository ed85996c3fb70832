"""
From the phone to the farm's database: everything once, whatever the link does.

The phone is a real browser with the real modules, the farm the real program; between them lies a
link that loses, cuts and delays. What the phone kept is compared with what the database holds.
"""

import json
from urllib.parse import urlsplit

import pytest

from audits.services import devices
from audits.vocabulary import Fault, HeldBecause, ReceiptState, Stage
from tests.browser.broken_link import Fate
from tests.row_audit import fault, right
from webapp.config import clock_now

STORE = "/static/js/field/store.js"
SYNC = "/static/js/field/sync.js"

# What is tapped on a tree, in turns.
ANSWERS = [
    {"missed": None, **right()},
    {"missed": None, **right(top=fault(Fault.HIGH))},
    {"missed": "tree", "stages": {}},
]


@pytest.fixture
def farm(field_farm):
    """A farm with one row to audit."""
    return field_farm()


@pytest.fixture
def phone(field_phone, farm):
    """An enrolled phone with that row prepared."""
    opened = field_phone(farm.link.url)
    opened.open()
    opened.enrol(farm.offer())
    opened.packages = opened.prepare()
    return opened


def tap_trees(phone, number, *, package=None, first=0):
    """Answer some trees of a package; return the items."""
    package = package or phone.packages[0]
    audit_id = phone.begin(package["draw"])
    bodies = [
        {"tree": tree["id"], "answers": ANSWERS[place % len(ANSWERS)]}
        for place, tree in enumerate(package["trees"][first : first + number], start=first)
    ]
    return phone.run(
        """
        const { audit, package: { draw, standard }, bodies } = argument;
        const items = [];
        for (const body of bodies) {
          items.push(await store.record(audit, { draw, standard }, "tree", body));
        }
        return items;
        """,
        {"audit": audit_id, "package": package, "bodies": bodies},
    )


# --- all is well ---------------------------------------------------------------------------------


def test_what_is_tapped_arrives(farm, phone):
    items = tap_trees(phone, 7)
    state = phone.sync_now()
    assert (state["problem"], state["online"], state["sending"]) == (None, True, False)
    assert abs(state["clockAheadMs"]) < 5_000
    assert phone.queue() == []
    counts = phone.counts()
    assert (counts["waiting"], counts["sent"], counts["all"]) == (0, 7, 7)
    assert phone.items() == items
    farm.check_arrived(items)


def test_a_tap_sends_by_itself(farm, phone):
    phone.start_sync()
    items = tap_trees(phone, 3)
    phone.wait_until_sent(3)
    farm.check_arrived(items)


def test_corrections_and_taken_back_answers_arrive_in_their_order(farm, phone):
    """More than one batch, so that the order between batches is seen too."""
    package = phone.packages[0]
    items = tap_trees(phone, 20)
    audit_id = items[0]["audit"]
    for place in range(0, 20, 2):
        tree = package["trees"][place]["id"]
        others = {"standard": package["standard"]}
        items.append(phone.record(audit_id, package["draw"], "take_back", {"tree": tree}, **others))
        body = {"tree": tree, "answers": ANSWERS[(place + 1) % len(ANSWERS)]}
        items.append(phone.record(audit_id, package["draw"], "tree", body, **others))
    for place in range(0, 20, 4):
        body = {"tree": package["trees"][place]["id"]}
        items.append(phone.record(audit_id, package["draw"], "take_back", body, **others))
    items += tap_trees(phone, 10, first=20)
    assert len(items) == 55
    phone.sync_now()
    assert [len(batch) for batch in farm.link.batches()] == [50, 5]
    farm.check_arrived(items)


def test_a_batch_carries_fifty_items_and_two_hundred_kibibytes(farm, phone):
    package = phone.packages[0]
    audit_id = phone.begin(package["draw"])
    phone.run(
        """
        const { audit, draw } = argument;
        for (let number = 0; number < 120; number += 1) {
          const note = "x".repeat(number < 60 ? 10 : 9000);
          await store.record(audit, { draw, standard: null }, "tree", { tree: number, note });
        }
        """,
        {"audit": audit_id, "draw": package["draw"]},
    )
    phone.sync_now()
    assert phone.counts()["waiting"] == 0
    batches = [len(items) for items in farm.link.batches()]
    assert sum(batches) == 120
    assert max(batches) == batches[0] == 50
    assert all(len(sent.body) <= 201 * 1024 for sent in farm.link.sent_to("/field/sync"))


# --- the link breaks -----------------------------------------------------------------------------


def test_the_server_is_stopped_and_started_again(farm, field_phone):
    """On the way that phones go in the field: no link between, the program's own port."""
    phone = field_phone(farm.program.url)
    phone.open()
    phone.enrol(farm.offer())
    phone.packages = phone.prepare()
    items = tap_trees(phone, 3)
    assert phone.sync_now()["online"]
    farm.program.stop()
    items += tap_trees(phone, 3, first=3)
    state = phone.sync_now()
    assert (state["online"], state["problem"]) == (False, "unreachable")
    assert phone.counts()["waiting"] == 3
    farm.program.start()
    phone.sync_until_sent()
    farm.check_arrived(items)


def test_it_sends_by_itself_when_the_signal_is_back(farm, phone):
    phone.start_sync()
    phone.context.set_offline(True)
    items = tap_trees(phone, 5)
    phone.wait_until(lambda: phone.state()["problem"] == "unreachable")
    assert phone.counts()["waiting"] == 5
    phone.context.set_offline(False)
    phone.wait_until_sent(5)
    farm.check_arrived(items)


@pytest.mark.parametrize("fate", [Fate.REPLY_LOST, Fate.REPLY_CUT])
def test_a_lost_reply_leaves_no_second_copy(farm, phone, fate):
    """The server has committed, the phone does not know it, and sends the same again."""
    items = tap_trees(phone, 4)
    farm.link.ordered = [fate]
    phone.sync_until_sent()
    assert farm.link.fates[fate] == 1
    assert len(farm.link.batches()) >= 2
    farm.check_arrived(items)


def test_a_phone_killed_while_it_sends_goes_on_where_it_was(farm, phone, volume):
    """The server may have had the batch: nothing is there twice, nothing is missing."""
    items = []
    for order in range(volume(short=2, long=15)):
        items += tap_trees(phone, 1, first=order)
        farm.link.delay_s = (0.0, 0.3)
        phone.start_sync()
        phone.page.wait_for_timeout(120 + 30 * (order % 5))
        phone.kill()
        farm.link.delay_s = (0.0, 0.0)
        phone.reopen()
        assert phone.items() == items
    phone.sync_until_sent()
    farm.check_arrived(items)


def test_a_tap_during_a_round_goes_with_the_next(farm, phone):
    first = tap_trees(phone, 2)
    farm.link.delay_s = (0.4, 0.5)
    phone.start_sync()
    second = tap_trees(phone, 2, first=2)
    phone.wait_until_sent(4)
    farm.check_arrived(first + second)


def test_only_one_tab_sends(farm, phone):
    other = phone.second_tab()
    items = tap_trees(phone, 5)
    farm.link.delay_s = (0.5, 0.6)
    phone.start_sync()
    phone.start_sync(other)
    phone.wait_until_sent(5)
    other.wait_for_timeout(800)
    assert len(farm.link.batches()) == 1
    farm.check_arrived(items)


def test_without_locks_tabs_take_turns(farm, phone):
    """An older browser: the turn lies in the database, and ends by itself."""
    phone.context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
    phone.page.reload()
    other = phone.second_tab()
    items = tap_trees(phone, 5)
    farm.link.delay_s = (0.5, 0.6)
    phone.start_sync()
    phone.page.wait_for_timeout(150)
    phone.start_sync(other)
    phone.wait_until_sent(5)
    other.wait_for_timeout(300)
    assert len(farm.link.batches()) == 1
    assert other.evaluate("window.sync.state.problem") is None
    farm.check_arrived(items)
    # A tab that died in its turn holds nobody up for longer than a turn, wherever the clock went.
    held = phone.run(
        """
        const first = await store.takeTurn("dead", 60000);
        const now = Date.now;
        Date.now = () => now() - 24 * 3600 * 1000;
        const later = await store.takeTurn("living", 60000);
        Date.now = now;
        return [first, later];
        """
    )
    assert held == [True, True]


def test_three_days_without_signal_then_a_broken_link(field_farm, field_phone, volume):
    """
    Every item and every photo arrives once although three connections in ten break.

    The full volume: 200 audits of 20 trees and 100 photos, within ten minutes of sending.
    """
    audits, trees = volume(short=4, long=200), volume(short=5, long=20)
    photos = volume(short=3, long=100)
    farm = field_farm(lots=audits)
    phone = field_phone(farm.link.url)
    phone.open()
    phone.enrol(farm.offer())
    phone.packages = phone.prepare()
    assert len(phone.packages) == audits
    phone.context.set_offline(True)
    phone.page.clock.install(time=clock_now())
    items = []
    for place, package in enumerate(phone.packages):
        if place * 3 // audits != (place - 1) * 3 // audits and place:
            phone.page.clock.fast_forward("24:00:00")
        items += tap_trees(phone, trees, package=package)
    phone.page.clock.fast_forward("24:00:00")
    taken = [take_photo(phone, items[place * len(items) // photos]) for place in range(photos)]
    counts = phone.counts()
    assert (counts["waiting"], counts["photos"]) == (audits * trees, photos)
    assert counts["isLate"]
    phone.page.clock.resume()
    phone.context.set_offline(False)
    farm.link.broken_share = 0.3
    farm.link.delay_s = (0.0, 0.05)
    begun = clock_now()
    phone.sync_until_sent(rounds=300)
    assert (clock_now() - begun).total_seconds() < 600
    assert sum(farm.link.fates[fate] for fate in Fate if fate is not Fate.PASSED) > 0
    found = farm.check_arrived(items)
    assert len(found.audits) == audits
    assert sorted(row.client_id for row in found.photos) == sorted(taken)
    assert phone.counts()["sent"] == audits * trees


def take_photo(phone, item):
    """Keep a photo of a fault on a tree; return its id."""
    return phone.run(
        """
        const canvas = new OffscreenCanvas(320, 240);
        const pen = canvas.getContext("2d");
        pen.fillStyle = `rgb(${argument.counter % 255}, 120, 40)`;
        pen.fillRect(20, 20, 200, 100);
        const blob = await canvas.convertToBlob({ type: "image/jpeg" });
        const { audit, body: { tree }, at } = argument;
        return store.addPhoto({ audit, tree, stage: "top", at, blob });
        """,
        item,
    )


# --- photos --------------------------------------------------------------------------------------


def test_photos_go_after_the_items_and_wait_for_their_audit(farm, phone):
    items = tap_trees(phone, 2)
    first = take_photo(phone, items[0])
    # Of an audit that the server has never heard of: it waits and stops nobody.
    stranger = take_photo(phone, items[0] | {"audit": "3b3e6b9a-6a53-4b52-8a1c-0f6b6a6f3f10"})
    phone.sync_now()
    asked = [request.path for request in farm.link.requests]
    photos = [path for path in asked if path.startswith("/field/photos")]
    assert set(photos) == {f"/field/photos/{first}", f"/field/photos/{stranger}"}
    assert asked.index("/field/sync") < asked.index(photos[0])
    found = farm.check_arrived(items)
    assert [row.client_id for row in found.photos] == [first]
    assert [row.stage for row in found.photos] == [Stage.TOP]
    assert phone.counts()["photos"] == 1
    assert phone.run("return (await store.photos()).map(({ id }) => id);") == [stranger]


def test_a_photo_that_cannot_be_taken_is_not_sent_for_ever(farm, phone):
    items = tap_trees(phone, 1)
    photo_id = phone.run(
        """
        const blob = new Blob(["no picture"]);
        return store.addPhoto({ audit: argument.audit, tree: argument.body.tree, blob });
        """,
        items[0],
    )
    for _ in range(2):
        assert phone.sync_now()["problem"] is None
    assert len(farm.link.sent_to(f"/field/photos/{photo_id}")) == 1
    kept = phone.run("return (await store.photos()).map(({ id, state }) => [id, state]);")
    assert kept == [[photo_id, "rejected"]]


def test_a_photo_that_breaks_the_server_keeps_no_other_back(farm, phone):
    """Planted danger: the first photo of the queue is tried for ever, and the others never."""
    items = tap_trees(phone, 1)
    ids = sorted(take_photo(phone, items[0]) for _ in range(2))
    farm.link.answer_instead = lambda path, _body: (
        (500, b'{"problem": "failed"}') if path.endswith(ids[0]) else None
    )
    assert phone.sync_now()["problem"] == "failed"
    assert phone.run("return (await store.photos()).map(({ id }) => id);") == [ids[0]]
    farm.link.answer_instead = lambda _path, _body: None
    assert phone.sync_now()["problem"] is None
    assert phone.run("return store.photos();") == []


# --- what the server says ------------------------------------------------------------------------


def says(farm, status, content, *, times=1, path="/field/sync"):
    """Let the link answer instead of the server, so often."""
    left = [times]

    def answer(asked, _body):
        if asked != path or left[0] == 0:
            return None
        left[0] -= 1
        return status, json.dumps(content).encode()

    farm.link.answer_instead = answer


@pytest.mark.parametrize(
    ("status", "problem"),
    [
        (401, "locked"),
        (401, "unknown_device"),
        (401, "bad_signature"),
        (403, "revoked"),
        (503, "busy"),
        (500, "whatever"),
    ],
)
def test_a_refusal_keeps_the_queue(farm, phone, status, problem):
    items = tap_trees(phone, 3)
    says(farm, status, {"problem": problem})
    phone.start_sync()
    phone.wait_until(lambda: phone.state()["problem"] is not None)
    state = phone.state()
    assert (state["problem"], state["online"]) == (problem, True)
    assert [entry["item"] for entry in phone.queue()] == items
    assert phone.sync_now()["problem"] is None
    farm.check_arrived(items)


def test_an_answer_that_is_none_keeps_the_queue(farm, phone):
    """A sign-in page of somebody else's network, half an answer, receipts of other items."""
    items = tap_trees(phone, 3)
    for content in ({}, {"receipts": []}, {"receipts": [{"id": "other", "outcome": "stored"}]}, []):
        says(farm, 200, content, times=10)
        assert phone.sync_now()["problem"] is not None
        assert [entry["item"] for entry in phone.queue()] == items
    farm.link.answer_instead = lambda _path, _body: None
    assert phone.sync_now()["problem"] is None
    farm.check_arrived(items)


def test_a_locked_phone_waits_for_its_digits(farm, phone):
    """The session ended at the server; the real one says so."""
    items = tap_trees(phone, 3)
    with farm.database.write() as connection:
        connection.exec_driver_sql("delete from user_session")
    assert phone.sync_now()["problem"] == "locked"
    assert [entry["item"] for entry in phone.queue()] == items
    said = phone.run(
        """
        const { unlock } = await import("/static/js/field/device.js");
        return unlock("482915");
        """
    )
    assert said["ok"], said
    assert phone.sync_now()["problem"] is None
    farm.check_arrived(items)


def test_a_revoked_phone_gives_everything_and_keeps_nothing(farm, phone):
    items = tap_trees(phone, 60 if len(phone.packages[0]["trees"]) >= 60 else 20)
    take_photo(phone, items[0])
    with farm.database.read() as connection:
        device_id = connection.exec_driver_sql("select id from device").scalar_one()
    devices.revoke_device(farm.database, farm.orchard.supervisor, device_id, clock_now())
    assert phone.sync_now()["problem"] == "revoked"
    found = farm.arrived()
    assert sorted(row.client_id for row in found.receipts) == sorted(item["id"] for item in items)
    assert {row.state for row in found.receipts} == {ReceiptState.HELD}
    assert {row.held_because for row in found.receipts} == {HeldBecause.REVOKED}
    assert phone.run("return store.device();") is None
    assert phone.items() == []
    assert phone.counts()["all"] == 0
    assert phone.run("return store.packages();") == []
    assert phone.run("return store.photos();") == []


def test_a_tap_just_before_the_wipe_of_a_revoked_phone_arrives_too(farm, phone):
    """Planted danger: what is tapped after the last answer and before the wipe goes with it."""
    items = tap_trees(phone, 3)
    with farm.database.read() as connection:
        device_id = connection.exec_driver_sql("select id from device").scalar_one()
    devices.revoke_device(farm.database, farm.orchard.supervisor, device_id, clock_now())
    phone.run(
        """
        const { audit, draw, standard, body } = argument;
        const wipe = store.wipe.bind(store);
        store.wipe = async (...given) => {
          store.wipe = wipe;
          window.late = await store.record(audit, { draw, standard }, "tree", body);
          return wipe(...given);
        };
        """,
        items[0],
    )
    phone.start_sync()
    phone.wait_until(lambda: phone.run("return store.device();") is None)
    late = phone.run("return window.late.id;")
    sent = {row.client_id for row in farm.arrived().receipts}
    assert sent == {item["id"] for item in items} | {late}


def test_a_revoked_phone_learns_it_with_an_empty_queue(farm, phone):
    with farm.database.read() as connection:
        device_id = connection.exec_driver_sql("select id from device").scalar_one()
    devices.revoke_device(farm.database, farm.orchard.supervisor, device_id, clock_now())
    assert phone.sync_now()["problem"] == "revoked"
    assert phone.run("return store.device();") is None


def test_an_item_that_the_server_holds_back_stays_in_sight_and_is_not_sent_again(farm, phone):
    package = phone.packages[0]
    items = tap_trees(phone, 2)
    body = {"tree": 10**6, "answers": ANSWERS[0]}
    others = {"standard": package["standard"]}
    strange = phone.record(items[0]["audit"], package["draw"], "tree", body, **others)
    items += tap_trees(phone, 2, first=2)
    assert phone.sync_now()["problem"] is None
    [left] = phone.queue()
    assert (left["item"], left["state"], left["because"]) == (strange, "rejected", "unknown_tree")
    assert set(left["words"]) == {"en", "es"}
    phone.sync_now()
    assert phone.counts()["rejected"] == 1
    assert len(farm.link.batches()) == 1
    states = {row.client_id: row.state for row in farm.arrived().receipts}
    assert states.pop(strange["id"]) is ReceiptState.HELD
    assert states == {item["id"]: ReceiptState.STORED for item in items}


def test_a_damaged_item_is_sent_as_it_lies_there(farm, phone):
    items = tap_trees(phone, 5)
    phone.damage(3)
    phone.page.reload()
    assert phone.sync_now()["problem"] is None
    [left] = phone.queue()
    assert (left["id"], left["state"], left["because"]) == (items[2]["id"], "rejected", "damaged")
    held = {row.client_id: row for row in farm.arrived().receipts if row.held_because}
    assert set(held) == {items[2]["id"]}
    assert held[items[2]["id"]].held_because is HeldBecause.DAMAGED
    assert json.loads(held[items[2]["id"]].body)["body"]["raw"].startswith("base64:")
    stored = [row for row in farm.arrived().receipts if row.state is ReceiptState.STORED]
    assert [row.client_id for row in stored] == [
        item["id"] for item in items if item is not items[2]
    ]


def test_one_item_that_the_server_cannot_read_at_all_stops_nobody(farm, phone):
    """The whole request is refused as long as the item is in it."""
    items = tap_trees(phone, 9)
    bad = items[4]["id"]

    def answer(path, body):
        if path == "/field/sync" and bad.encode() in body:
            return 422, b'{"problem": "unreadable"}'
        return None

    farm.link.answer_instead = answer
    assert phone.sync_now()["problem"] == "unreadable"
    assert [entry["id"] for entry in phone.queue()] == [bad]
    assert phone.queue()[0]["state"] == "waiting"
    farm.link.answer_instead = lambda _path, _body: None
    phone.sync_until_sent()
    assert {row.state for row in farm.arrived().receipts} == {ReceiptState.STORED}


def test_a_server_that_refuses_everything_is_not_asked_item_by_item(farm, phone):
    items = tap_trees(phone, 20)
    says(farm, 422, {"problem": "unknown_schema"}, times=1_000)
    assert phone.sync_now()["problem"] == "unknown_schema"
    assert len(farm.link.batches()) < 30
    assert [entry["item"] for entry in phone.queue()] == items


def test_an_item_that_is_too_large_is_set_aside(farm, phone):
    package = phone.packages[0]
    audit_id = phone.begin(package["draw"])
    phone.run(
        """
        const { audit, draw } = argument;
        const body = { tree: 1, note: "x".repeat(300000) };
        return store.record(audit, { draw, standard: null }, "tree", body);
        """,
        {"audit": audit_id, "draw": package["draw"]},
    )
    items = tap_trees(phone, 2)
    assert phone.sync_now()["problem"] is None
    [left] = phone.queue()
    assert (left["counter"], left["state"], left["because"]) == (1, "rejected", "too_large")
    assert {row.client_id for row in farm.arrived().receipts} == {item["id"] for item in items}


# --- clocks --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "moved_to",
    [
        "2025-06-01T12:00:00Z",
        "2038-03-01T00:00:00Z",
        "1970-01-01T00:00:10Z",
        # Clocks go back an hour at the end of summer time in New York, in the middle of an audit.
        "2026-11-01T05:59:58Z",
    ],
)
def test_a_wrong_clock_refuses_and_reorders_nothing(farm, phone, moved_to):
    items = tap_trees(phone, 3)
    phone.page.clock.install(time=moved_to)
    items += tap_trees(phone, 3, first=3)
    phone.page.clock.resume()
    state = phone.sync_now()
    assert state["problem"] is None
    assert [item["counter"] for item in items] == list(range(1, 7))
    found = farm.check_arrived(items)
    orders = {row.draw_tree_id: row.scoring_order for row in found.scores}
    by_order = sorted(orders, key=orders.get)
    assert by_order == [item["body"]["tree"] for item in items]
    now = clock_now()
    assert all(row.recorded_at <= now for row in found.scores)


@pytest.mark.parametrize("days", [-1, 1])
def test_the_offset_of_a_clock_is_told(farm, phone, days):
    phone.page.clock.install(time=clock_now().timestamp() + days * 86_400)
    phone.page.clock.resume()
    items = tap_trees(phone, 2)
    state = phone.sync_now()
    assert state["clockAheadMs"] == pytest.approx(days * 86_400_000, abs=60_000)
    farm.check_arrived(items)


# --- planted defects -----------------------------------------------------------------------------


def test_a_server_that_answers_before_it_commits_is_found_out(farm, phone):
    """Planted: receipts for what the database never got."""
    items = tap_trees(phone, 3)

    def answer(path, body):
        if path != "/field/sync":
            return None
        receipts = [
            {"id": item["id"], "outcome": "stored", "because": None, "words": None}
            for item in json.loads(body)["items"]
        ]
        return 200, json.dumps({"revoked": False, "receipts": receipts}).encode()

    farm.link.answer_instead = answer
    phone.sync_now()
    assert phone.counts()["waiting"] == 0
    with pytest.raises(AssertionError, match="what arrived is not what was tapped"):
        farm.check_arrived(items)


def test_items_without_an_id_of_their_own_are_found_out(farm, phone):
    """Planted: the phone makes up a new id each time it sends, so that a lost reply doubles."""
    farm.link.rewrite(
        SYNC,
        "items: batch.map(({ item, damaged }) => item ?? damaged),",
        "items: batch.map(({ item }) => ({ ...item, id: crypto.randomUUID() })),",
    )
    phone.page.reload()
    items = tap_trees(phone, 3)
    farm.link.ordered = [Fate.REPLY_LOST]
    phone.sync_now()
    with pytest.raises(AssertionError, match="what arrived is not what was tapped"):
        farm.check_arrived(items)


def test_a_phone_that_does_not_repeat_is_found_out(farm, phone):
    """Planted: a batch counts as sent as soon as it has left the phone."""
    farm.link.rewrite(
        SYNC,
        "const reply = await this.#soonAgain(() => this.#postBatch(device, batch));",
        """const receipts = batch.map(({ id }) => ({ id, outcome: "stored" }));
      this.#postBatch(device, batch).catch(() => {});
      const reply = { receipts };""",
    )
    phone.page.reload()
    items = tap_trees(phone, 3)
    farm.link.ordered = [Fate.REQUEST_LOST] * 9
    phone.sync_now()
    with pytest.raises(AssertionError, match="what arrived is not what was tapped"):
        farm.check_arrived(items)


def test_nothing_of_the_queue_goes_elsewhere(farm, phone):
    """Everything that the phone asks for is at the farm."""
    asked = []
    phone.context.on("request", lambda request: asked.append(request.url))
    tap_trees(phone, 2)
    phone.sync_now()
    assert {urlsplit(url).netloc for url in asked} == {urlsplit(farm.link.url).netloc}
