"""
Learning as a new hire meets it: a quiz on a small phone in Spanish, from the first key to the end.

Every screen is held against axe, the width of the screen, and keys that a gloved hand can press.
"""

import re

import pytest
import sqlalchemy as sa
from playwright.sync_api import Page, expect

from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.storage.tables import quiz_attempt, quiz_response
from audits.vocabulary import Role
from tests.browser.conftest import DESK, PHONE
from tests.orchard import PASSWORD, plant_orchard
from webapp.config import clock_now

QUESTIONS = 10
# Enhanced targets have 44 px (WCAG 2.2, 2.5.5); a glove needs more (common practice, no source).
LEAST_KEY_PX = 56
LEAST_PICTURE_PX = 120
KEYS = "main .button, main .quiz-choice, main .quiz-square"
# Stands in for the voices of a phone, which a browser without a screen does not have.
VOICE = """
window.spoken = [];
window.SpeechSynthesisUtterance = class extends EventTarget {
  constructor(text) { super(); this.text = text; }
};
Object.defineProperty(window, "speechSynthesis", { value: {
  speak: (utterance) => window.spoken.push([utterance.lang, utterance.text]),
  cancel: () => {},
} });
"""


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """A data folder with the invented farm, and who works there."""
    folder = tmp_path_factory.mktemp("learning")
    database = Database(f"sqlite:///{folder / 'farm.db'}", durable=False)
    upgrade(database)
    orchard = plant_orchard(database, clock_now())
    yield folder, orchard, database
    database.close()


@pytest.fixture(scope="module")
def server(farm, serve):
    return serve(data=farm[0])


@pytest.fixture
def new_hire(person, server, farm):
    """Sign in as a worker: ``new_hire("es")``, with a phone unless said otherwise."""

    def signed_in(language, device=PHONE, **options):
        somebody = person(server.url, language, device, **options)
        somebody.page.add_init_script(VOICE)
        somebody.sign_in(name=farm[1].sign_ins[Role.WORKER], password=PASSWORD)
        return somebody

    return signed_in


@pytest.fixture
def check(axe_check, read_facts):
    """Hold a screen against axe, its width, and the size of its keys."""

    def checked(page: Page) -> None:
        axe_check(page)
        facts = read_facts(page)
        assert facts["wide"] == []
        assert facts["clipped"] == []
        for key in page.locator(KEYS).all():
            box = key.bounding_box()
            if box is not None:
                assert box["height"] >= LEAST_KEY_PX, key.inner_text()
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]

    return checked


def begin(somebody) -> None:
    """Begin a quiz in one's own language."""
    page = somebody.page
    page.goto("/quiz")
    own = {"en": "English", "es": "Español"}[somebody.language]
    somebody.press(page.get_by_text(own, exact=True).locator("visible=true").last)
    somebody.press_button("Begin")
    expect(page).to_have_url(re.compile(r"/quiz/[0-9a-f-]{36}/1$"))


def test_a_new_hire_takes_a_quiz_to_its_result(new_hire, farm, check):
    """In Spanish, at 360 x 640, by what stands on the screens alone."""
    hire = new_hire("es")
    page = hire.page
    page.goto("/quiz")
    check(page)
    begin(hire)
    for number in range(1, QUESTIONS + 1):
        heading = hire.say("Question %(number)s of %(total)s", number=number, total=QUESTIONS)
        expect(hire.heading()).to_have_text(heading)
        expect(page.locator("html")).to_have_attribute("lang", "es")
        if number in {1, 2, QUESTIONS}:
            check(page)
        picture = page.locator(".quiz-picture svg")
        if picture.count():
            assert picture.bounding_box()["height"] >= LEAST_PICTURE_PX
        # What is pressed next is on the screen, or at most a flick away.
        following = page.locator(".quiz-keys").bounding_box()
        assert following["y"] + following["height"] <= 1.3 * PHONE["viewport"]["height"]
        choices = page.get_by_role("radio")
        assert choices.count() >= 2
        hire.press(page.locator(".quiz-choice").nth(number % choices.count()))
        expect(choices.nth(number % choices.count())).to_be_checked()
        hire.press_button("To the end" if number == QUESTIONS else "Next question")
    expect(hire.heading()).to_have_text(hire.say("Hand in the quiz?"))
    check(page)
    # A choice and a key for each question: nothing else had to be pressed.
    taps = hire.taps
    hire.press_button("Hand in")
    expect(page).to_have_url(re.compile(r"/quiz/results/\d+"))
    check(page)
    assert hire.taps == taps + 1
    farm_id, database = farm[1].farm_id, farm[2]
    with database.read() as connection:
        kept = connection.execute(
            sa.select(quiz_attempt).where(quiz_attempt.c.farm_id == farm_id)
        ).one()
        answers = connection.scalar(
            sa.select(sa.func.count()).where(quiz_response.c.quiz_attempt_id == kept.id)
        )
    assert kept.language == "es"
    assert None not in kept.answers
    assert answers == QUESTIONS
    shown = hire.say("%(count)s of %(total)s right", count=kept.correct, total=QUESTIONS)
    expect(hire.heading()).to_have_text(shown)


def test_a_question_is_read_aloud_with_its_choices(new_hire):
    hire = new_hire("es")
    begin(hire)
    page = hire.page
    hire.press_button("Read aloud")
    stem = page.locator("#stem").inner_text()
    choices = [words.strip() for words in page.locator(".quiz-choice").all_inner_texts()]
    spoken = page.evaluate("window.spoken")
    assert {language for language, _ in spoken} == {"es"}
    texts = [text for _, text in spoken]
    said = texts[texts.index(stem) + 1 :]
    # The letter of a choice is not read, only its words.
    assert [choice.partition("\n")[2].strip() or choice for choice in choices] == said


def test_a_quiz_by_keyboard_alone(new_hire, check):
    """At a desk, in English: Tab, arrows, Space and Enter."""
    hire = new_hire("en", DESK)
    begin(hire)
    page = hire.page
    for number in range(1, QUESTIONS + 1):
        check(page)
        page.get_by_role("radio").first.focus()
        page.keyboard.press("Space")
        page.keyboard.press("ArrowDown")
        expect(page.get_by_role("radio").nth(1)).to_be_checked()
        page.keyboard.press("Enter")
        if number < QUESTIONS:
            expect(page).to_have_url(re.compile(rf"/{number + 1}$"))
    expect(page).to_have_url(re.compile(r"/hand-in$"))
    page.get_by_role("button", name="Hand in", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"/results/\d+"))


def test_a_quiz_without_scripts_stopped_and_gone_on_with(person, server, farm):
    """Forms alone do; the pages are the same, but nobody reads aloud."""
    hire = person(server.url, "es", java_script_enabled=False)
    page = hire.page
    page.goto("/sign-in")
    page.get_by_label(hire.say("Sign-in name")).fill(farm[1].sign_ins[Role.WORKER])
    page.get_by_label(hire.say("Password")).fill(PASSWORD)
    page.get_by_role("button", name=hire.say("Sign in"), exact=True).click()
    hire.read_in_own_language()
    page.goto("/quiz")
    page.locator("main input[name=language][value=es]").check()
    page.get_by_role("button", name=hire.say("Begin"), exact=True).click()
    expect(page.get_by_role("button", name=hire.say("Read aloud"))).to_be_hidden()
    page.locator(".quiz-choice").nth(1).click()
    page.get_by_role("button", name=hire.say("Pause"), exact=True).click()
    expect(page).to_have_url(re.compile(r"/quiz$"))
    # The one begun just now stands first.
    page.locator(".quiz-waiting a").first.click()
    expect(page).to_have_url(re.compile(r"/2$"))
    page.get_by_role("button", name=hire.say("Back"), exact=True).click()
    expect(page.get_by_role("radio").nth(1)).to_be_checked()
