"""
A supervisor's first day, from signing in to the printed card, on the demo as it is served.

The walk uses a phone of 360 x 640 and fingers alone, in each language; then a few trees without
scripts.
"""

import re

import pypdfium2
import pytest
from playwright.sync_api import expect

from audits.gauges import BATCH_STATE_NAMES, BatchState
from audits.vocabulary import FAULT_NAMES, OUTCOME_NAMES, STAGE_NAMES, Fault, Outcome, Stage
from webapp.reading import LANGUAGE_NAMES

LANGUAGES = ("en", "es")
FOUR_STAGES = "Pump House"
MOST_TREES = 120


@pytest.fixture(params=LANGUAGES)
def supervisor(request, demo_server, person):
    """The supervisor with a small phone, signed in."""
    somebody = person(demo_server.url, request.param)
    somebody.sign_in()
    return somebody


def open_waiting_row(supervisor, block=FOUR_STAGES):
    """Open the first lot of a block that waits on Today, and begin its audit."""
    waiting = supervisor.section("To audit")
    supervisor.press(waiting.get_by_role("link", name=re.compile(f"^{block}")).first)
    supervisor.press_button("Begin the audit")
    expect(supervisor.page).to_have_url(tree_screen())


def tree_screen():
    return re.compile(r"/audits/\d+/trees/\d+$")


def order_of(supervisor) -> int:
    """Return the tree's place in the walk: "Tree 3 of 31"."""
    return int(re.search(r"\d+", supervisor.heading().inner_text()).group())


def score_tree(supervisor, faults=None) -> None:
    """Answer the tree on the screen by taps, and hold the number of taps against the promise."""
    page, faults = supervisor.page, faults or {}
    here, stages = page.url, supervisor.stages_asked
    taps = supervisor.answer_by_taps(faults)
    # No save tap: the last answer has sent the tree.
    page.wait_for_url(lambda url: url != here)
    assert taps == len(stages) + len(set(stages) & set(faults))


def score_to_the_end(supervisor, faults=None) -> int:
    trees = 0
    while tree_screen().search(supervisor.page.url):
        score_tree(supervisor, faults)
        trees += 1
        assert trees < MOST_TREES, "the audit never ends"
    return trees


def pdf_text(supervisor, address: str) -> str:
    """Return the text of a PDF that the person's browser may open."""
    answer = supervisor.page.context.request.get(address)
    assert answer.status == 200, answer.text()
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.body())
    pages = [page.get_textpage().get_text_bounded() for page in document]
    assert len(pages) > 0
    assert all(len(text) > 50 for text in pages)
    return " ".join(" ".join(pages).split())


def form_address(supervisor) -> str:
    """Return the address that the form of the print desk asks for, with what is chosen in it."""
    form = supervisor.page.locator("form[data-preview]")
    return form.evaluate(
        "form => form.action + '?' + new URLSearchParams(new FormData(form)).toString()"
    )


def test_the_walk_from_signing_in_to_the_printed_card(supervisor, axe_check, screenshot):
    def look(name):
        screenshot(supervisor.page, f"{supervisor.language}-360x640-walk-{name}")
        axe_check(supervisor.page)

    expect(supervisor.heading()).to_have_text(supervisor.say("Today"))
    open_waiting_row(supervisor)
    score_the_drawn_trees(supervisor, look)
    give_the_verdict(supervisor, look)
    send_it_back(supervisor, look)
    see_a_workers_trend(supervisor, look)
    print_a_card_and_a_quiz(supervisor, look)


def score_the_drawn_trees(supervisor, look):
    """A clean tree is as many taps as stages in use; each fault is one more, for its name."""
    assert len(supervisor.stages_asked) == 4
    assert order_of(supervisor) == 1
    look("1-first-tree")
    score_tree(supervisor)
    assert order_of(supervisor) == 2
    score_tree(supervisor, {Stage.TOP: Fault.HIGH, Stage.COLUMNS: Fault.FORK})
    assert order_of(supervisor) == 3

    supervisor.press(supervisor.tile(Stage.TOP, "fault"))
    look("2-which-fault")
    # The same tile again takes the answer back.
    supervisor.press(supervisor.tile(Stage.TOP, "fault"))
    trees = 2 + score_to_the_end(supervisor, {Stage.TOP: Fault.HIGH})
    assert trees > 10


def give_the_verdict(supervisor, look):
    """It is there as soon as it is certain; giving it is a step of its own."""
    page, refused = supervisor.page, supervisor.say(OUTCOME_NAMES[Outcome.NOT_ACCEPTED])
    expect(page.locator(".stop-sign")).to_contain_text(supervisor.say("Stop"))
    expect(page.locator(".verdict")).to_contain_text(refused)
    look("3-stop")
    supervisor.press_button("Give the verdict")
    expect(page.get_by_role("status")).to_contain_text(supervisor.say("The verdict is given."))
    expect(page.locator(".verdict")).to_contain_text(refused)
    look("4-verdict")


def send_it_back(supervisor, look):
    """The order names the tops alone, on screen and on paper."""
    supervisor.follow("What goes back")
    stages = supervisor.section("Redo").get_by_role("heading", level=3)
    expect(stages).to_have_text([supervisor.say(STAGE_NAMES[Stage.TOP])])
    look("5-rework")
    key = supervisor.page.locator(".band-actions")
    key = key.get_by_role("link", name=supervisor.say("Print"), exact=True)
    printed = pdf_text(supervisor, key.get_attribute("href"))
    assert FOUR_STAGES in printed
    assert supervisor.say(FAULT_NAMES[Fault.HIGH]).casefold() in printed.casefold()


def see_a_workers_trend(supervisor, look):
    supervisor.go_way("Workers")
    first = supervisor.page.locator(".rows .row-title").first
    name = first.inner_text()
    supervisor.press(first)
    expect(supervisor.heading()).to_have_text(name)
    top = supervisor.section(STAGE_NAMES[Stage.TOP])
    expect(top.get_by_role("img")).to_be_visible()
    look("6-worker")


def print_a_card_and_a_quiz(supervisor, look):
    page, own_language = supervisor.page, dict(LANGUAGE_NAMES)[supervisor.language]
    supervisor.go_way("Print")
    look("7-print")
    supervisor.follow("Quiz")
    choose_block_and_language(supervisor, own_language)
    printed = pdf_text(supervisor, form_address(supervisor))
    assert FOUR_STAGES in printed
    assert supervisor.say("Answer key").casefold() in printed.casefold()

    supervisor.go_way("Print")
    supervisor.follow("Pocket cards")
    choose_block_and_language(supervisor, own_language)
    supervisor.press_button("Make the batch")
    key = page.get_by_role("link", name=supervisor.say("Open the PDF"))
    expect(key).to_be_visible()
    look("8-batch")
    printed = pdf_text(supervisor, key.get_attribute("href"))
    assert FOUR_STAGES in printed
    assert supervisor.say("Local rules come first.").casefold() in printed.casefold()
    page.get_by_label(supervisor.say("Yes, all four")).check()
    supervisor.press_button("Keep the check")
    expect(page.locator("main .state").first).to_have_text(
        supervisor.say(BATCH_STATE_NAMES[BatchState.USABLE])
    )


def choose_block_and_language(supervisor, language):
    page = supervisor.page
    page.get_by_label(supervisor.say("Block")).select_option(label=FOUR_STAGES)
    page.get_by_label(language, exact=True).check()


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_same_without_scripts(demo_server, person, language, screenshot):
    somebody = person(demo_server.url, language, java_script_enabled=False)
    somebody.sign_in()
    open_waiting_row(somebody)

    for order, fault in ((1, None), (2, Fault.HIGH), (3, None)):
        assert order_of(somebody) == order
        here = somebody.page.url
        stages = somebody.stages_asked
        taps = somebody.answer_by_taps({Stage.TOP: fault} if fault else {})
        assert taps == len(stages) + bool(fault)
        assert somebody.page.url == here, "nothing sends by itself"
        screenshot(somebody.page, f"{language}-360x640-no-script-{order}")
        somebody.press(
            somebody.page.get_by_role("button", name=somebody.say("Next tree"), exact=True).first
        )
        somebody.page.wait_for_url(lambda url, here=here: url != here)
    assert order_of(somebody) == 4
    # What was answered is what was kept.
    somebody.follow("Undo")
    assert somebody.tile(Stage.TOP, "right").is_checked()
