"""
The page itself without signal: kept by the service worker, changed over with the queue in it.

The worker keeps the shell and nothing else; what the server knows is asked of the server each time.
"""

import json
import re

import pytest
from playwright.sync_api import expect

from audits.vocabulary import Stage
from tests.browser.broken_link import Fate
from tests.browser.field_phone import APP_PAGE, BARE_PAGE
from tests.browser.field_screens import FieldHand

WORKER = "/field/worker.js"
STORE = "/static/js/field/store.js"
IDS = "/static/js/field/ids.js"

KEEP_PAGE = """
const { registerWorker } = await import("/static/js/field/installing.js");
window.offered = [];
await registerWorker({ onUpdate: (takeIt) => window.offered.push(takeIt) });
await navigator.serviceWorker.ready;
"""
IN_CHARGE = "() => navigator.serviceWorker.controller?.state === 'activated'"
ASK_FOR_NEWER = """
() => navigator.serviceWorker.getRegistration("/field/")
  .then((registration) => registration.update())
  .then(() => true, () => false)
"""


@pytest.fixture
def farm(field_farm):
    return field_farm()


@pytest.fixture
def phone(field_phone, farm):
    """An enrolled phone with a row prepared and the page kept on it."""
    opened = field_phone(farm.link.url)
    opened.open()
    opened.enrol(farm.offer())
    opened.packages = opened.prepare()
    keep_page(opened)
    return opened


def keep_page(phone):
    phone.run(KEEP_PAGE)
    phone.wait_until(lambda: phone.page.evaluate(IN_CHARGE))


def tap(phone, number):
    package = phone.packages[0]
    audit_id = phone.begin(package["draw"])
    body = {
        "tree": package["trees"][number]["id"],
        "answers": {"missed": "tree", "stages": {}},
    }
    return phone.record(audit_id, package["draw"], "tree", body, standard=package["standard"])


# --- without signal ------------------------------------------------------------------------------


def test_the_page_opens_on_the_same_tree_without_a_server(farm, phone):
    """Battery out, server gone: the page comes back at the tree that was on the screen."""
    phone.page.goto(APP_PAGE)
    hand = FieldHand(phone.page, "en")
    hand.begin(phone.packages[0])
    for _ in range(3):
        hand.score_tree()
    assert hand.order == 4
    items = phone.items()
    assert len(items) == 3
    hand.press(hand.tile(Stage.TOP, "right"))
    phone.wait_until(lambda: phone.run("return store.draft();"))
    farm.program.stop()
    phone.kill()
    hand = FieldHand(phone.reopen(APP_PAGE), "en")
    expect(hand.heading()).to_have_text(re.compile("Tree 4 of"))
    # Also what was tapped on it: a tree half answered is not begun anew.
    expect(hand.tile(Stage.TOP, "right")).to_be_checked()
    hand.settle()
    assert phone.items() == items
    hand.score_tree()
    assert hand.order == 5
    items = phone.items()
    assert len(items) == 4
    farm.program.start()
    phone.page.evaluate("location.hash = '#/sent'")
    hand.press_button("Send now")
    phone.wait_until(lambda: phone.counts()["waiting"] == 0)
    farm.check_arrived(items)


def test_a_cold_start_offline_shows_the_page(phone):
    phone.page.goto(APP_PAGE)
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("Lots to audit")
    phone.context.set_offline(True)
    phone.page.reload()
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("Lots to audit")


# --- the shell and nothing else ------------------------------------------------------------------


def check_that_data_are_asked_for(phone, farm):
    """What the server knows comes from the server each time, and never from the phone's cache."""
    nonce = "async () => (await (await fetch('/field/token')).json()).nonce"
    first, second = phone.page.evaluate(nonce), phone.page.evaluate(nonce)
    assert first != second, "an old answer was given as a new one"
    for path in ("/field/lots", "/field/packages", "/field/token"):
        before = len(farm.link.sent_to(path))
        phone.page.evaluate("(path) => fetch(path).then((answer) => answer.text())", path)
        assert len(farm.link.sent_to(path)) == before + 1, path
    kept = phone.page.evaluate(
        """
        async () => {
          const caches_ = await Promise.all((await caches.keys()).map((name) => caches.open(name)));
          const kept = await Promise.all(caches_.map((cache) => cache.keys()));
          return kept.flat().map(({ url }) => new URL(url).pathname);
        }
        """
    )
    shell = phone.page.evaluate("(path) => fetch(path).then((answer) => answer.text())", WORKER)
    listed = json.loads(shell.partition("\n")[0].removeprefix("const SHELL = ").rstrip(";"))
    assert sorted(kept) == sorted(listed["files"]), "something else than the shell is kept"


def test_what_the_server_knows_is_never_answered_from_the_cache(farm, phone):
    check_that_data_are_asked_for(phone, farm)
    phone.context.set_offline(True)
    assert phone.page.evaluate(
        "fetch('/field/token').then(() => 'answered', () => 'no signal')"
    ) == ("no signal")


def test_a_worker_that_answers_data_from_its_cache_is_found_out(farm, phone):
    """Planted: whatever was fetched once is answered from then on."""
    farm.link.rewrite(
        WORKER,
        "  if (pathname === PAGE ?",
        """  event.respondWith(caches.open(CACHE).then(async (cache) => {
    const known = await cache.match(request);
    if (known) return known;
    const answer = await fetch(request);
    cache.put(request, answer.clone());
    return answer;
  }));
  if (true) return;
  if (pathname === PAGE ?""",
    )
    take_newer(phone)
    with pytest.raises(AssertionError, match="an old answer was given"):
        check_that_data_are_asked_for(phone, farm)


# --- a newer page --------------------------------------------------------------------------------


def take_newer(phone):
    """Look for a newer page, and change over to it."""
    assert phone.page.evaluate(ASK_FOR_NEWER)
    phone.wait_until(lambda: phone.page.evaluate("window.offered.length"))
    with phone.page.expect_navigation():
        phone.page.evaluate("window.offered[0]()")
    phone.wait_until(lambda: phone.page.evaluate(IN_CHARGE))


def release(farm, version="next"):
    """Serve a changed version of the page from now on: one module and the shell's version."""
    farm.link.rewrite(IDS, "export function newId() {", f"// {version}\nexport function newId() {{")
    farm.link.rewrite(
        WORKER, 'const SHELL = {"version": "', f'const SHELL = {{"version": "{version}'
    )


def let_browser_hold_files(farm, phone):
    """As in the field: the browser holds the files of the page by itself, for an hour."""
    farm.link.lets_cache = True
    release(farm, "first")
    take_newer(phone)
    phone.run(KEEP_PAGE)
    farm.link.restore()


def is_newer(phone):
    return "// next" in phone.page.evaluate(
        "(path) => fetch(path).then((answer) => answer.text())", IDS
    )


def test_a_newer_page_waits_and_takes_over_with_the_queue_in_it(farm, phone):
    items = [tap(phone, number) for number in range(3)]
    let_browser_hold_files(farm, phone)
    release(farm)
    assert phone.page.evaluate(ASK_FOR_NEWER)
    phone.wait_until(lambda: phone.page.evaluate("window.offered.length"))
    # It lies ready, and the page goes on with what it has until somebody says so.
    assert not is_newer(phone)
    phone.page.reload()
    assert not is_newer(phone)
    items.append(tap(phone, 3))
    phone.run(KEEP_PAGE)
    take_newer(phone)
    assert is_newer(phone)
    assert [entry["item"] for entry in phone.queue()] == items
    items.append(tap(phone, 4))
    assert [item["counter"] for item in items] == [1, 2, 3, 4, 5]
    names = phone.page.evaluate("caches.keys()")
    assert len(names) == 1
    assert names[0].startswith("field-shell-next")
    phone.sync_until_sent()
    farm.check_arrived(items)


def test_a_newer_page_that_does_not_arrive_whole_changes_nothing(farm, phone):
    item = tap(phone, 0)
    release(farm)
    farm.link.suffers = lambda path: path == STORE
    farm.link.ordered = [Fate.REPLY_CUT]
    phone.page.evaluate(ASK_FOR_NEWER)
    phone.page.wait_for_timeout(1_000)
    assert phone.page.evaluate("window.offered.length") == 0
    phone.page.goto(BARE_PAGE)
    assert not is_newer(phone)
    assert [entry["item"] for entry in phone.queue()] == [item]
    # With the next try it arrives.
    phone.run(KEEP_PAGE)
    take_newer(phone)
    assert is_newer(phone)


def test_files_from_the_browsers_own_cache_would_be_found_out(farm, phone):
    """Planted: the worker fills the new shell with what the browser holds of the old one."""
    let_browser_hold_files(farm, phone)
    release(farm)
    farm.link.rewrite(WORKER, '{ cache: "reload" }', "{}")
    take_newer(phone)
    assert not is_newer(phone)
