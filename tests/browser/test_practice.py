"""
The practice page as a new hire meets it: 360 x 640, thumbs, no manual, no signal in the row.

Names of keys are not looked for where a thumb would not read them either: the walk presses what
stands in the thumb's reach. Bars for targets and contrast: WCAG 2.2 (2.5.8, 1.4.3, 1.4.11) by axe,
and the 60 px of this project's own screens in the row.
"""

import sqlite3
from pathlib import Path

import pytest
from playwright.sync_api import expect

from audits.vocabulary import Role
from tests.browser.conftest import DESK, LOCALES, PHONE
from tests.browser.practice_hand import PracticeHand

LANGUAGES = ("en", "es")
TALLER = PHONE | {"viewport": {"width": 390, "height": 844}}
# Narrow in both languages; elsewhere the longer words.
SIZES = {
    "360-en": (PHONE, "en"),
    "360-es": (PHONE, "es"),
    "390-es": (TALLER, "es"),
    "desk-es": (DESK, "es"),
}
LEAST_KEY_PX = 60
# What no screen may have: a key or words outside the window or cut off, and a small target.
MISPLACED = """
(least) => {
  const found = [];
  for (const element of document.querySelectorAll("button, a, select, h1, p")) {
    if (element.matches(".only-spoken") || element.closest(".only-spoken")) continue;
    if (!element.checkVisibility()) continue;
    const { left, right, bottom, width, height } = element.getBoundingClientRect();
    const name = `${element.tagName} "${element.textContent.trim()}"`;
    if (left < -0.5 || right > innerWidth + 0.5) found.push(`${name} is beside the window`);
    if (bottom > innerHeight + 0.5) found.push(`${name} is below the window`);
    if (element.scrollWidth > element.clientWidth + 1) found.push(`${name} is cut off`);
    const inReach = element.closest(".practice-keys") !== null;
    if (element.matches("button, a, select") && Math.min(width, height) < (inReach ? least : 44)) {
      found.push(`${name} is ${width} x ${height}`);
    }
  }
  return found;
}
"""
# Notes what a voice would say, and speaks at once.
VOICE = """
window.saidAloud = [];
const speech = {
  speaking: false, pending: false,
  cancel() {},
  speak(said) {
    window.saidAloud.push([said.lang, said.text]);
    said.dispatchEvent(new Event("end"));
  },
};
Object.defineProperty(window, "speechSynthesis", { value: speech });
window.SpeechSynthesisUtterance = class extends EventTarget {
  constructor(text) { super(); this.text = text; }
};
"""


@pytest.fixture
def practising(open_context, demo_server, browser_errors):
    """Somebody who practises: ``practising("es", DESK)``, for whom no signal is no error."""
    browser_errors.allow("net::ERR_|Failed to load resource|Failed to fetch")

    def somebody(language="en", device=PHONE, role=Role.WORKER):
        context = open_context(**device, base_url=demo_server.url, locale=LOCALES[language])
        hand = PracticeHand(context.new_page(), language)
        hand.open_practice(role)
        hand.begin()
        return hand

    return somebody


def stored_results(demo_copy: Path) -> set[str]:
    """Return the ids of the results that the office has."""
    with sqlite3.connect(demo_copy / "farm.db") as connection:
        return {uid for (uid,) in connection.execute("SELECT uid FROM practice_result")}


def tree_with(pack, stage, fits):
    """Return a tree of the pack on which a stage fits."""
    return next(tree for tree in pack["trees"] if fits(tree["ideal"]["one"][stage], tree))


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_new_hire_finishes_a_first_stage(practising, demo_copy, language):
    """One right tree, with nothing but what is on the screen; the office has it soon after."""
    before = stored_results(demo_copy)
    hand = practising(language)
    assert hand.walk["level"] == "one"
    expect(hand.page.locator("html")).to_have_attribute("lang", language)

    hand.prune(hand.ideal())

    words = hand.heading().inner_text()
    assert words in {hand.say("Right"), hand.say("Nothing was due here")}
    [result] = hand.results
    expect_sent(hand)
    assert stored_results(demo_copy) - before == {result["item"]["uid"]}
    hand.tap_key("next")
    expect(hand.button("done")).to_be_visible()
    hand.press(hand.page.locator("[data-stop]"))
    hand.press(hand.page.get_by_role("link", name=hand.say("Pages"), exact=True))
    expect(hand.heading()).to_have_text(hand.say("Learn"))


def expect_sent(hand):
    for _ in range(100):
        states = [result["state"] for result in hand.results]
        if set(states) == {"sent"}:
            return
        hand.page.wait_for_timeout(100)
    raise AssertionError(f"the phone's results are {states}")


def test_a_fault_is_ringed_and_its_reason_said(practising):
    hand = practising("es")
    hand.show_tree(
        tree_with(hand.pack, "limbs", lambda cuts, _: cuts["limbs"])["id"], "one", ["limbs"]
    )
    hand.tap_key("done")

    expect(hand.page.locator(".mark-fault").first).to_be_attached()
    fault = hand.pack["words"]["fault"]["too_few"]
    expect(hand.heading()).to_have_text(fault["name"]["es"])
    expect(hand.page.locator(".practice-why")).to_have_text(fault["why"]["es"])
    expect(hand.page.locator(".practice-next")).to_have_text(fault["do"]["es"])
    # The right way on the same tree, and back again.
    made = hand.page.locator("[data-key^='cut-limb-']:not(.is-gone)")
    expect(made).to_have_count(0)
    hand.tap_key("how")
    expect(made).not_to_have_count(0)
    expect(hand.page.locator(".mark-fault")).to_have_count(0)
    hand.tap_key("how")
    expect(made).to_have_count(0)


def test_everything_is_done_by_keyboard(practising):
    hand = practising("en", DESK)
    page = hand.page
    hand.show_tree(
        tree_with(hand.pack, "limbs", lambda cuts, _: cuts["limbs"])["id"], "one", ["limbs"]
    )
    picture = page.get_by_role("listbox")
    expect(picture).to_be_focused()
    for key in hand.ideal()["limbs"]:
        page.keyboard.press("Home")
        while page.locator("[aria-selected=true]").get_attribute("id") != f"place-{key}":
            page.keyboard.press("ArrowDown")
        active = picture.get_attribute("aria-activedescendant")
        assert active == f"place-{key}"
        page.keyboard.press("Enter")
    page.keyboard.press("u")
    page.keyboard.press("Enter")
    wanted = sorted(hand.ideal()["limbs"])
    hand.expect_cuts(lambda cuts: sorted(cuts["limbs"]) == wanted)
    while not page.evaluate("document.activeElement.matches('[data-done]')"):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(hand.heading()).to_have_text("Right")
    expect(hand.heading()).to_be_focused()


def test_a_tap_takes_the_nearest_place(practising):
    hand = practising()
    hand.show_tree(
        tree_with(hand.pack, "limbs", lambda cuts, _: cuts["limbs"])["id"], "one", ["limbs"]
    )
    view = hand.tree()["views"]["limbs"]
    standing = hand.page.locator("[role=option]").evaluate_all("(all) => all.map(({ id }) => id)")
    for place in view["places"]:
        if f"place-{place['id']}" not in standing:
            continue
        x, y = hand.page.evaluate(
            """({ x, y }) => {
              const drawing = document.querySelector(".practice-drawing > svg");
              const at = new DOMPoint(x, y).matrixTransform(drawing.getScreenCTM());
              return [at.x, at.y];
            }""",
            place,
        )
        hand.page.touchscreen.tap(x, y)
        expect(hand.page.locator("[aria-selected=true]")).to_have_id(f"place-{place['id']}")
        assert hand.page.locator(".mark-ring").count() == 1


def test_undo_takes_back_the_last_thing(practising):
    hand = practising()
    tree = tree_with(hand.pack, "limbs", lambda cuts, _: cuts["limbs"])
    hand.show_tree(tree["id"], "two", hand.pack["order"][:2])
    before = hand.cuts()
    expect(hand.button("undo")).to_have_attribute("aria-disabled", "true")
    hand.tap_key("act")
    hand.expect_cuts(lambda cuts: cuts != before)
    hand.tap_key("done")
    expect(hand.page.locator("[data-step=limbs]")).to_be_visible()
    hand.tap_key("undo")
    expect(hand.page.locator("[data-step=top]")).to_be_visible()
    hand.tap_key("undo")
    hand.expect_cuts(lambda cuts: cuts == before)
    expect(hand.button("undo")).to_have_attribute("aria-disabled", "true")
    # What stands is put back by the same key as well.
    hand.tap_key("act")
    expect(hand.button("act")).to_have_text("Put back")
    hand.tap_key("act")
    hand.expect_cuts(lambda cuts: cuts == before)


def test_the_language_changes_in_the_middle_of_a_tree(practising):
    hand = practising("en")
    hand.tap_key("act")
    cuts, stage = hand.walk["cuts"], hand.walk["stages"][0]
    hand.press(hand.page.get_by_role("button", name="Español"))
    expect(hand.heading()).to_have_text(hand.pack["words"]["goal"][stage]["es"])
    expect(hand.button("act")).to_have_text("Devolver")
    hand.expect_cuts(lambda kept: kept == cuts)


def test_without_signal_it_opens_and_keeps_what_was_done(practising, demo_copy):
    before = stored_results(demo_copy)
    hand = practising("es")
    page = hand.page
    page.evaluate("navigator.serviceWorker.ready")
    page.context.set_offline(True)
    hand.tap_key("act")
    cuts = hand.walk["cuts"]
    # The page is closed and opened again in the middle of a tree.
    page.reload()
    expect(hand.button("act")).to_have_text("Devolver")
    hand.expect_cuts(lambda kept: kept == cuts)
    hand.tap_key("undo")
    hand.prune(hand.ideal())
    expect(page.locator("[data-next]")).to_be_visible()
    [result] = hand.results
    hand.press(page.locator("[data-stop]"))
    expect(page.locator("[data-kept]")).to_contain_text(hand.say("no signal"))
    # The next tree comes without the office too.
    hand.begin()
    expect(hand.button("done")).to_be_visible()
    assert stored_results(demo_copy) == before

    page.context.set_offline(False)
    expect_sent(hand)
    assert stored_results(demo_copy) - before == {result["item"]["uid"]}


def test_a_voice_says_each_step_once_asked(practising):
    hand = practising("es")
    hand.page.add_init_script(VOICE)
    hand.page.reload()
    expect(hand.button("done")).to_be_visible()
    assert hand.page.evaluate("saidAloud") == []
    goal = hand.heading().inner_text().replace("\n", " ")
    hand.tap_key("aloud")
    said = hand.page.evaluate("saidAloud")
    assert ["es-US", goal] in said
    # From then on by itself.
    hand.prune(hand.ideal())
    words = hand.heading().inner_text()
    assert ["es-US", words] in hand.page.evaluate("saidAloud")


@pytest.mark.parametrize("size", SIZES)
def test_every_screen_fits_and_passes_axe(practising, axe_check, screenshot, size):
    device, language = SIZES[size]
    hand = practising(language, device)

    def look(name):
        expect(hand.page.locator(".practice-screen, .practice-begin").first).to_be_visible()
        axe_check(hand.page)
        assert hand.page.evaluate(MISPLACED, LEAST_KEY_PX) == []
        screenshot(hand.page, f"practice-{size}-{name}", full_page=False, scale="css")

    hand.press(hand.page.locator("[data-stop]"))
    expect(hand.page.locator(".practice-begin")).to_be_visible()
    look("start")
    hand.begin()
    pack = hand.pack
    for stage in pack["order"]:
        tree = tree_with(pack, stage, lambda _, __: True)
        hand.show_tree(tree["id"], "one", [stage])
        look(stage)
        if hand.button("act").is_visible():
            hand.tap_key("act")
            look(f"{stage}-cut")
        while hand.button("done").count():
            hand.go_on("done")
        look(f"{stage}-result")
    for _ in range(6):
        if hand.page.locator("[data-choice]").count():
            break
        hand.go_on("next" if hand.button("next").count() else "done")
    if pack["exercises"]:
        look("question")
        hand.press(hand.page.locator("[data-choice]").first)
        expect(hand.page.locator("[data-next]")).to_be_visible()
        look("answer")
