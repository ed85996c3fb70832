"""
The page in the row in WebKit, the engine of every browser on an iPhone; runs with --long.

One walk through the core: enrolled, prepared, the server gone, the page loaded again without it,
trees scored and kept, the page loaded once more, the server back, everything sent once.
"""

import json
import time

import pytest

from tests.browser.field_phone import FieldFarm
from tests.browser.webkit import WebKit, missing_parts, webkit

pytestmark = pytest.mark.nightly

DIGITS = "482915"
STORE = 'const store = await (await import("/static/js/field/store.js")).openStore();'
TITLE = 'document.querySelector("h1")?.textContent'


@pytest.fixture
def farm(field_farm) -> FieldFarm:
    return field_farm(lots=1)


@pytest.fixture
def phone(tmp_path):
    missing = missing_parts()
    if missing:
        pytest.skip(f"no WebKit to drive: apt-get install {' '.join(missing)}")
    with webkit(tmp_path / "webkit") as window:
        yield window


def press(phone: WebKit, words: str) -> None:
    """Press the key with these words, as soon as it is there."""
    found = (
        '[...document.querySelectorAll("button")]'
        f".find((key) => key.textContent.trim() === {json.dumps(words)})"
    )
    phone.wait_for(f"!!{found}")
    phone.run(f'{found}.setAttribute("data-press", "")')
    phone.tap("[data-press]")
    phone.run('document.querySelector("[data-press]")?.removeAttribute("data-press")')


def enrol(phone: WebKit, farm: FieldFarm) -> None:
    phone.go(f"{farm.program.url}/field/#enrol={farm.offer()}")
    phone.wait_for('!!document.querySelector(".lock-entry")')
    phone.run(
        'const entry = document.querySelector(".lock-entry"); entry.value = "Apple of an eye";'
        'entry.dispatchEvent(new Event("input", { bubbles: true }));'
    )
    press(phone, "Go on")
    for _ in range(2):
        phone.wait_for('!!document.querySelector(".lock-pad")')
        for digit in DIGITS:
            press(phone, digit)
        time.sleep(0.5)
    phone.wait_for('location.hash === "#/lots"')


def kept(phone: WebKit) -> list[dict]:
    audits = phone.run(f"{STORE} return store.audits();")
    items = [item for audit in audits for item in audit["items"]]
    return sorted(items, key=lambda item: item["counter"])


def score_tree(phone: WebKit, order: int) -> None:
    """Tap the first answer of each stage, which is never a fault."""
    phone.wait_for(f'({TITLE} ?? "").startsWith("Tree {order} ")')
    time.sleep(0.6)
    stages = phone.run(
        'return [...document.querySelectorAll("[data-stage]:has(.tile-row)")]'
        ".map((stage) => stage.dataset.stage)"
    )
    for stage in stages:
        phone.tap(f'[data-stage="{stage}"] .tile-row .tile')


def reload(phone: WebKit) -> None:
    phone.run("setTimeout(() => location.reload(), 0)")
    time.sleep(1)
    phone.wait_for(f"!!{TITLE}")


def test_the_page_works_without_a_server_and_sends_everything_once(phone, farm):
    enrol(phone, farm)
    press(phone, "Prepare the rows")
    phone.wait_for('!!document.querySelector(".field-lines button")', deadline_s=30)
    phone.run("await navigator.serviceWorker.ready")
    farm.program.stop()
    reload(phone)
    press(phone, "Begin the audit")
    for order in (1, 2, 3):
        score_tree(phone, order)
    phone.wait_for(f'({TITLE} ?? "").startsWith("Tree 4 ")')
    reload(phone)
    phone.wait_for(f'({TITLE} ?? "").startsWith("Tree 4 ")')
    items = kept(phone)
    assert [item["kind"] for item in items] == ["tree"] * 3
    farm.program.start()
    phone.run('location.hash = "#/sent"')
    press(phone, "Send now")
    phone.wait_for(f"(await (async () => {{ {STORE} return store.counts(); }})()).waiting === 0")
    farm.check_arrived(items)
