"""
A paper sheet of twenty trees typed in by keyboard alone, on the demo as it is served.

Keystrokes are counted as a person would: a key is one, keys held together are one.
"""

import re

import pytest
from playwright.sync_api import expect

from audits.messages import say_n
from audits.vocabulary import FAULT_NAMES, Fault, Role, Stage
from printables.tally_letters import fault_letters, right_letter
from tests.browser.conftest import DESK, PHONE
from tests.browser.test_first_day import FOUR_STAGES, open_waiting_row, pdf_text

LANGUAGES = ("en", "es")
TREES = 20
STAGES = 4


class Typist:
    """Somebody at the desk who never touches the mouse."""

    def __init__(self, person):
        self.person = person
        self.page = person.page
        self.keys = 0

    def press(self, *keys):
        for key in keys:
            self.keys += 1
            self.page.keyboard.press(key)

    def focused(self) -> str:
        return self.page.evaluate("document.activeElement.name ?? document.activeElement.tagName")

    def values(self) -> list[list[str]]:
        """What stands in the boxes, row by row, the one for what was missed left out."""
        return self.page.locator("tr[data-row]").evaluate_all(
            """rows => rows.map(row => [...row.querySelectorAll("input")].map(box => box.value))
                .filter(values => values.length > 0).map(values => values.slice(0, -1))"""
        )

    def clean_row(self) -> list[str]:
        right = right_letter(self.person.language)
        count = self.page.locator("[data-column=limbs] kbd").first.inner_text()
        return [right, count, right, right]

    def save(self):
        with self.page.expect_navigation():
            self.press("Control+Enter")


@pytest.fixture(params=LANGUAGES)
def typist(request, demo_server, person):
    """The supervisor at the desk, before the sheet of a row just drawn."""
    return at_the_desk(person(demo_server.url, request.param, DESK))


def at_the_desk(somebody) -> Typist:
    somebody.sign_in(Role.SUPERVISOR)
    open_waiting_row(somebody, FOUR_STAGES)
    audit = re.search(r"/audits/(\d+)/", somebody.page.url)[1]
    somebody.page.goto(f"/audits/{audit}/desk")
    return Typist(somebody)


def is_uncovered(page) -> bool:
    """Whether the box with the focus lies in sight, under neither the head nor the bar."""
    return page.evaluate(
        """() => {
            const box = document.activeElement.getBoundingClientRect();
            return [box.top + 2, box.bottom - 2].every((y) =>
                document.elementFromPoint(box.left + box.width / 2, y) === document.activeElement);
        }"""
    )


def test_twenty_clean_trees_take_four_keys_each_and_one_to_save(typist, axe_check, screenshot):
    language = typist.person.language
    row = typist.clean_row()
    assert typist.focused().endswith("-top"), "the page opens at the first box"
    for number in range(TREES):
        before = typist.keys
        typist.press(*row)
        assert typist.keys - before == STAGES
        assert is_uncovered(typist.page), f"after tree {number + 1}"
    assert typist.values()[:TREES] == [row] * TREES
    screenshot(typist.page, f"{language}-1280x800-desk-typed", full_page=False)
    typist.save()
    assert typist.keys == TREES * STAGES + 1
    kept = typist.person.say(say_n("%(num)s tree kept.", "%(num)s trees kept.", TREES, num=TREES))
    expect(typist.page.get_by_role("status").first).to_contain_text(kept)
    assert typist.values()[:TREES] == [row] * TREES
    axe_check(typist.page)
    screenshot(typist.page, f"{language}-1280x800-desk-kept", full_page=False)


def test_a_fault_is_one_key_too_and_a_second_one_two_more(typist, axe_check):
    language = typist.person.language
    letters = fault_letters(Stage.TOP, language)
    high, blunt = letters[Fault.HIGH], letters[Fault.BLUNT]
    right, count, *_ = row = typist.clean_row()

    typist.press(high, count, right, right)
    assert typist.keys == STAGES
    typist.press(high, "+", blunt, count, right, right)
    assert typist.keys == 2 * STAGES + 2
    # A missed tree is one key, and the next row comes; a missed side leaves top and limbs.
    typist.press("*")
    typist.press("/", right, count)
    typist.press(*row)
    assert typist.values()[:5] == [
        [high, count, right, right],
        [high + blunt, count, right, right],
        ["", "", "", ""],
        [right, count, "", ""],
        row,
    ]
    # Three with a fault in the top: two typed, one missed.
    expect(typist.page.locator("[data-faulty=top]")).to_have_text("3")
    expect(typist.page.locator("[data-faulty=columns]")).to_have_text("2")
    typist.save()
    expect(typist.page.locator(".desk-kept")).to_have_count(5)
    axe_check(typist.page)


def test_what_means_nothing_is_said_at_once_and_again_at_its_box(
    typist, browser_errors, axe_check, screenshot
):
    browser_errors.allow("422")
    right, count, *_ = typist.clean_row()
    typist.press(right, "9")
    unknown = typist.person.say("This key means nothing here.")
    expect(typist.page.locator("[data-said]")).to_have_text(unknown)
    assert typist.focused().endswith("-limbs"), "it does not move on"
    typist.save()
    expect(typist.page.locator("[data-problems]")).to_be_focused()
    wrong = typist.page.locator("[aria-invalid]")
    assert {box.get_attribute("data-box") for box in wrong.all()} == {"limbs"}
    assert typist.values()[0][:2] == [right, "9"]
    axe_check(typist.page)
    screenshot(typist.page, f"{typist.person.language}-1280x800-desk-problem", full_page=False)
    # From the problem to its box by keyboard, put right, saved.
    typist.press("Tab", "Enter")
    assert typist.focused().endswith("-limbs")
    typist.press(count, right, right)
    typist.save()
    expect(typist.page.locator(".desk-kept")).to_have_count(1)


def test_arrows_enter_and_tab_move(typist):
    here = typist.focused()
    tree = here.split("-")[0]
    typist.press("ArrowRight")
    assert typist.focused() == f"{tree}-limbs"
    typist.press("ArrowDown")
    assert typist.focused().endswith("-limbs")
    assert typist.focused() != f"{tree}-limbs"
    typist.press("ArrowUp", "ArrowLeft")
    assert typist.focused() == here
    typist.press("Enter")
    assert typist.focused() == f"{tree}-limbs"
    typist.press("Tab")
    assert typist.focused() == f"{tree}-columns"
    typist.press("Shift+Tab")
    assert typist.focused() == f"{tree}-limbs"


@pytest.mark.parametrize("language", LANGUAGES)
def test_without_scripts_a_tab_moves_and_enter_saves(demo_server, person, language):
    typist = at_the_desk(person(demo_server.url, language, DESK, java_script_enabled=False))
    row = typist.page.locator("tr[data-row]").first.locator("input")
    values = typist.clean_row()
    row.first.focus()
    for value in values:
        typist.press(value, "Tab")
    with typist.page.expect_navigation():
        typist.press("Enter")
    assert typist.keys == 2 * STAGES + 1
    expect(typist.page.locator(".desk-kept")).to_have_count(1)
    assert [box.input_value() for box in row.all()] == [*values, ""]


@pytest.mark.parametrize("language", LANGUAGES)
def test_it_is_usable_on_a_narrow_screen(
    demo_server, person, language, read_facts, axe_check, screenshot
):
    typist = at_the_desk(person(demo_server.url, language, PHONE))
    page = typist.page
    screenshot(page, f"{language}-360x640-desk")
    for width in (360, 320):
        page.set_viewport_size({"width": width, "height": 640})
        facts = read_facts(page)
        assert facts["wide"] == []
        assert facts["clipped"] == []
    axe_check(page)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_paper_that_is_typed_in_is_printed_from_the_same_page(demo_server, person, language):
    typist = at_the_desk(person(demo_server.url, language, DESK))
    person = typist.person
    form = typist.page.locator("form[action$='/sheet.pdf']")
    address = form.evaluate(
        "form => form.action + '?' + new URLSearchParams(new FormData(form)).toString()"
    )
    printed = pdf_text(person, address)
    assert FOUR_STAGES in printed
    assert person.say(FAULT_NAMES[Fault.HIGH]) in printed
