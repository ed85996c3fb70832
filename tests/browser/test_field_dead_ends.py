"""
Where somebody with a phone stood and did not know how to go on, or wrote into another tree.

No source: each was met on a walk through the pages with a phone in the hand.
"""

import pytest
from playwright.sync_api import expect

from audits.vocabulary import Stage
from tests.browser.conftest import LOCALES, PHONE
from tests.browser.field_screens import FieldHand, plant_field_farm

STANDARD = "four stages"


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """Drawn lots, one under each standard."""
    return plant_field_farm(tmp_path_factory.mktemp("dead-ends"))


@pytest.fixture(scope="module")
def server(farm, serve):
    return serve(data=farm.folder)


@pytest.fixture
def somebody(farm, server, open_context, browser_errors):
    """Somebody with a row on the phone, whose browser has lost the office's session."""
    browser_errors.allow("Failed to load resource")
    page = open_context(**PHONE, base_url=server.url, locale=LOCALES["en"]).new_page()
    hand = FieldHand(page, "en")
    hand.take_along([farm.packages[STANDARD]])
    return hand


def test_a_browser_that_lost_its_session_is_asked_for_the_digits(somebody):
    page = somebody.page
    expect(page.get_by_text("The office asks for your six digits")).to_be_visible()
    page.get_by_role("button", name="Prepare the rows").tap()
    expect(page.locator("[data-part=prepare]")).to_have_attribute("aria-disabled", "false")
    expect(page.get_by_text("The office cannot be reached")).to_have_count(0)
    page.get_by_role("button", name="Enter the digits").tap()
    expect(somebody.heading()).to_have_text("Enter your six digits")


def test_undo_takes_a_half_done_measure_away(somebody, farm):
    page = somebody.page
    somebody.begin(farm.packages[STANDARD])
    somebody.score_tree()
    page.locator("summary", has_text="Measure").tap()
    page.locator("details[open]").get_by_role("button", name="Top", exact=True).tap()
    expect(page.locator(".measure-panel")).to_be_visible()
    page.get_by_role("button", name="Undo").tap()
    expect(somebody.heading()).to_contain_text("Tree 1 of")
    expect(page.locator(".measure-panel")).to_have_count(0)
    expect(somebody.tile(Stage.TOP, somebody.good_value(Stage.TOP))).to_be_checked()


def test_what_is_said_of_one_tree_is_not_said_of_the_one_before(somebody, farm):
    page = somebody.page
    somebody.begin(farm.packages[STANDARD])
    somebody.score_tree()
    page.locator("summary", has_text="Not a tree").tap()
    page.get_by_role("button", name="Dead tree").tap()
    expect(page.locator(".tree-saved")).to_contain_text("another one comes instead")
    somebody.settle()
    page.get_by_role("button", name="Undo").tap()
    expect(somebody.heading()).to_contain_text("Tree 1 of")
    expect(page.locator(".tree-saved")).not_to_contain_text("another one comes instead")


def test_a_measure_that_is_right_is_not_written_as_a_fault(somebody, farm):
    page = somebody.page
    somebody.begin(farm.packages[STANDARD])
    page.locator("summary", has_text="Measure").tap()
    page.locator("details[open]").get_by_role("button", name="Top", exact=True).tap()
    page.locator(".measure-panel").get_by_role("button", name="Done").tap()
    named = page.locator("[data-stage=top] [data-named]")
    expect(named).to_have_class("stage-named is-right")
    somebody.press(somebody.fault(Stage.TOP))
    page.locator("[data-stage=top] .fault-tile").first.tap()
    expect(named).to_have_class("stage-named")
