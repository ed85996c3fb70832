"""Somebody at the pages: reads them in one language, presses what is named in it, counts taps."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from playwright.sync_api import Locator, Page, expect

from audits.demo import OWNER, SUPERVISOR, WORKER
from audits.messages import Message, Units, say
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES, Fault, Role, Stage
from webapp.reading import LANGUAGE_NAMES, words_in

REGION = "US"
SIGN_INS = {Role.OWNER: OWNER[:2], Role.SUPERVISOR: SUPERVISOR[:2], Role.WORKER: WORKER[:2]}


@dataclass
class Person:
    """
    Somebody with one page before them.

    What is pressed is found by its role and its words, and the words come from the catalogue, so
    that the same walk works in every language.
    """

    page: Page
    language: str
    taps: int = 0
    words: object = field(init=False)

    def __post_init__(self) -> None:
        self.words = words_in(self.language, region=REGION, units=Units.IMPERIAL)

    def say(self, text: str | Message, **values: object) -> str:
        """Return an English text of the source, or a message, in this person's language."""
        message = say(text, **values) if isinstance(text, str) else text
        return self.words.say(message)

    @cached_property
    def is_touching(self) -> bool:
        return self.page.evaluate("navigator.maxTouchPoints") > 0

    # --- reading -----------------------------------------------------------------------------

    def heading(self, level: int = 1) -> Locator:
        return self.page.get_by_role("heading", level=level)

    def section(self, heading: str) -> Locator:
        """Return the section under a heading."""
        title = self.page.get_by_role("heading", level=2, name=self.say(heading), exact=True)
        return self.page.locator("section.section", has=title)

    # --- pressing ----------------------------------------------------------------------------

    def press(self, found: Locator) -> None:
        """Tap, or click where there is no touch."""
        self.taps += 1
        if self.is_touching:
            found.tap()
        else:
            found.click()

    def press_button(self, name: str, within: Locator | None = None) -> None:
        where = within or self.page
        self.press(where.get_by_role("button", name=self.say(name), exact=True))

    def press_surely(self, name: str, again: str) -> None:
        """Press a key that asks to be pressed once more, too late for a finger that bounces."""
        self.press_button(name)
        self.page.wait_for_timeout(500)
        self.press_button(again)

    def follow(self, name: str, within: Locator | None = None) -> None:
        where = within or self.page
        self.press(where.get_by_role("link", name=self.say(name), exact=True))

    def go_way(self, name: str) -> None:
        """Go one of the main ways, through the menu where the screen is narrow."""
        menu = self.page.locator("details.menu > summary")
        if menu.is_visible():
            self.press(menu)
        ways = self.page.get_by_role("navigation", name=self.say("Main ways"))
        self.follow(name, ways)
        expect(self.heading()).to_have_text(self.say(name))

    def sign_in(self, role: Role = Role.SUPERVISOR, *, name: str = "", password: str = "") -> None:
        """Sign in, then choose this person's language where the account has another."""
        name, password = (name, password) if name else SIGN_INS[role]
        self.page.goto("/sign-in")
        self.page.get_by_label(self.say("Sign-in name")).fill(name)
        self.page.get_by_label(self.say("Password")).fill(password)
        self.press_button("Sign in")
        self.page.wait_for_url(re.compile(r"^(?!.*/sign-in)"))
        self.read_in_own_language()

    def read_in_own_language(self) -> None:
        root = self.page.locator("html")
        if root.get_attribute("lang") != self.language:
            own_name = dict(LANGUAGE_NAMES)[self.language]
            self.press(self.page.get_by_role("button", name=own_name, exact=True).first)
        expect(root).to_have_attribute("lang", self.language)

    # --- the tree screen ---------------------------------------------------------------------

    @property
    def stages_asked(self) -> list[Stage]:
        """The stages that want an answer here, from the top of the tree down."""
        asked = self.page.locator("[data-stage]:has(.tile-row)")
        return [Stage(section.get_attribute("data-stage")) for section in asked.all()]

    def tile(self, stage: Stage, value: str) -> Locator:
        """Return the radio button of an answer; its tile's face is what one sees of it."""
        row = self.page.get_by_role("radiogroup", name=self.say(STAGE_NAMES[stage]), exact=True)
        return row.locator(f"input[value='{value}']")

    def fault_name(self, stage: Stage, fault: Fault) -> Locator:
        section = self.page.locator(f"[data-stage={stage}]")
        return section.get_by_role("checkbox", name=self.say(FAULT_NAMES[fault]), exact=True)

    def good_value(self, stage: Stage) -> str:
        """Return the first tile of a stage, which is never a fault."""
        first = self.page.locator(f"[data-stage={stage}] .tile-row input").first
        return first.get_attribute("value")

    def answer_by_taps(self, faults: Mapping[Stage, Fault]) -> int:
        """Answer every stage of the tree on the screen; return how many taps that took."""
        before = self.taps
        for stage in self.stages_asked:
            if stage in faults:
                self.press(self.tile(stage, "fault"))
                self.press(self.fault_name(stage, faults[stage]))
            else:
                self.press(self.tile(stage, self.good_value(stage)))
        return self.taps - before
