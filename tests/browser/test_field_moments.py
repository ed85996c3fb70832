"""
What comes between two moments on a phone: a slow answer, another tab, a key that was kept by half.

No source: each case is a way in which one screen could draw over another, or show what is not so.
"""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import LOCALES, PHONE
from tests.browser.field_screens import (
    CREW_IS_THROUGH,
    SIGN_OUT,
    FieldHand,
    plant_field_farm,
)

STANDARD = "four stages"


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """Drawn lots, one under each standard."""
    return plant_field_farm(tmp_path_factory.mktemp("moments"))


@pytest.fixture(scope="module")
def server(farm, serve):
    return serve(data=farm.folder)


@pytest.fixture
def hand(farm, server, open_context, browser_errors):
    """Somebody with rows on the phone: ``hand([package])``."""
    # The office does not know this phone: it refuses what is sent, which is no error of the page.
    browser_errors.allow("Failed to load resource")

    def somebody(packages=None):
        context = open_context(**PHONE, base_url=server.url, locale=LOCALES["en"])
        found = FieldHand(context.new_page(), "en")
        found.take_along([farm.packages[STANDARD]] if packages is None else packages)
        return found

    return somebody


def in_another_tab(somebody, address="/field/#/lots"):
    """Open the page once more on the same phone."""
    other = FieldHand(somebody.page.context.new_page(), "en")
    other.page.goto(address)
    return other


def test_rows_that_arrive_late_leave_the_tree_alone(hand, farm):
    somebody = hand()
    page = somebody.page
    page.evaluate(
        """() => {
          const real = window.fetch;
          const slow = new Promise((answer) => { window.answerNow = answer; });
          window.fetch = async (address, ...more) => {
            if (address !== "/field/token") { return real(address, ...more); }
            await slow;
            window.isAnswered = true;
            return Response.error();
          };
        }"""
    )
    somebody.press_button("Prepare the rows")
    page.wait_for_function("document.querySelector('[data-part=prepare][aria-disabled=true]')")
    somebody.begin(farm.packages[STANDARD])
    page.evaluate("answerNow()")
    page.wait_for_function("window.isAnswered")
    page.wait_for_timeout(300)
    expect(page.locator("form[data-tree]")).to_be_visible()
    assert somebody.score_tree() > 0


def test_a_row_whose_end_was_not_kept_is_still_being_pruned(hand, farm):
    """Planted danger: an audit that is begun for a row of which no word of its end was kept."""
    row = farm.packages[STANDARD] | {"lot": None, "finished_at": None}
    somebody = hand([row])
    somebody.run("store.record = () => Promise.reject(new Error('full'));")
    somebody.press_surely(*CREW_IS_THROUGH)
    expect(somebody.page.get_by_role("alert")).to_be_visible()
    assert somebody.run("return (await store.audits()).length;") == 1
    somebody.page.reload()
    expect(somebody.section("Still being pruned")).to_be_visible()
    somebody.press_surely(*CREW_IS_THROUGH)
    expect(somebody.page.locator("form[data-tree]")).to_be_visible()
    kinds = "return (await store.audits()).flatMap(({ items }) => items.map(({ kind }) => kind));"
    assert somebody.run(kinds) == ["row_finished"]


OFFICE_IS_SLOW = """
  () => {
    const real = window.fetch;
    window.fetch = (address, ...more) =>
      address === "/field/lots"
        ? new Promise((answer) => { window.answerNow = () => answer(real(address, ...more)); })
        : real(address, ...more);
    dispatchEvent(new HashChangeEvent("hashchange"));
  }
"""


def test_a_key_that_asked_once_still_does_when_the_office_answers(hand, farm):
    """Planted danger: the list is drawn anew between two presses, and forgets the first."""
    row = farm.packages[STANDARD] | {"lot": None, "finished_at": None}
    somebody = hand([row])
    page = somebody.page
    page.evaluate(OFFICE_IS_SLOW)
    page.wait_for_function("() => window.answerNow")
    first, again = CREW_IS_THROUGH
    somebody.press_button(first)
    page.evaluate("answerNow()")
    expect(page.get_by_role("button", name="Enter the digits")).to_be_visible()
    page.wait_for_timeout(500)
    somebody.press_button(again)
    expect(page.locator("form[data-tree]")).to_be_visible()


def test_a_key_held_down_while_the_office_answers_is_pressed(hand):
    """Planted danger: the key is drawn anew under the finger, which lifts off another one."""
    somebody = hand()
    page = somebody.page
    page.evaluate(OFFICE_IS_SLOW)
    page.wait_for_function("() => window.answerNow")
    page.get_by_role("button", name="Begin the audit").hover()
    page.mouse.down()
    with page.expect_response("**/field/lots"):
        page.evaluate("answerNow()")
    page.wait_for_timeout(300)
    page.mouse.up()
    expect(page.locator("form[data-tree]")).to_be_visible()


def test_signing_out_in_one_tab_leaves_no_rows_in_another(hand, farm):
    somebody = hand()
    other = in_another_tab(somebody)
    other.begin(farm.packages[STANDARD])
    somebody.press_surely(*SIGN_OUT)
    expect(other.heading()).to_have_text("Enter your six digits")
    assert "Row 1" not in other.page.locator("body").inner_text()


def test_a_phone_wiped_in_one_tab_takes_no_answers_in_another(hand, farm):
    """Planted danger: answers kept after the wipe would be sent as whoever enrols next."""
    somebody = hand()
    other = in_another_tab(somebody)
    other.begin(farm.packages[STANDARD])
    somebody.run("return store.wipe();")
    expect(other.heading()).to_have_text("Enrol this phone")


def test_an_audit_open_in_two_tabs_goes_on_from_the_last_tree(hand, farm):
    somebody = hand()
    somebody.begin(farm.packages[STANDARD])
    other = in_another_tab(somebody)
    other.begin(farm.packages[STANDARD])
    somebody.page.bring_to_front()
    somebody.score_tree()
    somebody.score_tree()
    other.page.bring_to_front()
    expect(other.heading()).to_contain_text("Tree 3 of")


def test_a_phone_cut_off_while_it_tidies_up_keeps_the_rows_that_were_begun(hand, farm):
    """Planted danger: everything is dropped first and put back then."""
    two = [farm.packages[STANDARD], farm.packages["measured"]]
    somebody = hand(two)
    somebody.run("return store.beginAudit(argument);", two[0]["draw"])
    somebody.page.route("**/field/token", lambda route: route.fulfill(json={"csrf": "csrf"}))
    nothing = {"prepared": [], "problems": [], "open": []}
    for address in ("**/field/prepare", "**/field/packages*"):
        somebody.page.route(address, lambda route: route.fulfill(json=nothing))
    somebody.run(
        """
        const save = store.savePackages.bind(store);
        store.savePackages = (packages) =>
          packages.length > 0 ? Promise.reject(new Error("cut off")) : save(packages);
        """
    )
    somebody.press_button("Prepare the rows")
    expect(somebody.page.locator("[data-part=prepare][aria-disabled=false]")).to_be_visible()
    kept = somebody.run("return (await store.packages()).map(({ draw }) => draw);")
    assert kept == [two[0]["draw"]]


def test_a_code_that_cannot_be_read_asks_for_another(hand):
    somebody = hand()
    somebody.page.evaluate("location.hash = '#enrol=%'")
    expect(somebody.heading()).to_have_text("Enrol this phone")
