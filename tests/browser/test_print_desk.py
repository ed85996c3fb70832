"""The print desk in the browser: a first page that follows the choices, and a long run."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE


@pytest.mark.parametrize(("language", "device"), [("en", DESK), ("es", PHONE)])
def test_the_first_page_follows_the_choices_and_a_long_run_shows_how_far_it_is(
    demo_server, person, axe_check, language, device
):
    somebody = person(demo_server.url, language, device)
    somebody.sign_in()
    page = somebody.page
    page.goto("/print/cards")
    leaf = page.locator("[data-leaf]")
    drawing = leaf.get_by_role("img")
    expect(drawing).to_be_visible()
    expect(page.get_by_role("button", name=somebody.say("Preview"))).to_be_hidden()
    before = drawing.text_content()

    crews = page.get_by_label(somebody.say("For whom"))
    crews.select_option(index=1)
    expect(drawing).not_to_have_text(before)
    copies = page.get_by_label(re.compile(re.escape(somebody.say("How many of each"))))
    copies.fill("0")
    expect(leaf.get_by_role("img")).to_have_count(0)
    expect(leaf).to_contain_text(somebody.say("How many of each"))

    copies.fill("20")
    expect(drawing).to_be_visible()
    axe_check(page)
    somebody.press_button("Make the batch")
    expect(page).to_have_url(re.compile(r"/print/batches/\d+$"))
    # The page comes back by itself once the file is there.
    key = page.get_by_role("link", name=somebody.say("Open the PDF"))
    expect(key).to_be_visible(timeout=30_000)
    axe_check(page)
    answer = page.context.request.get(key.get_attribute("href"))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF")
