"""
A phone from the QR code to its last day: enrolled, locked, opened with and without signal, revoked.

The pages run in the system's Chromium on the loopback, which browsers take for a secure place as
they take https (W3C Secure Contexts, 3.1).
"""

import re
from base64 import b64decode

import pytest
from playwright.sync_api import Page, expect

from audits.signatures import is_signed
from audits.storage.database import Database
from audits.storage.queries.devices import devices
from audits.storage.schema import upgrade
from audits.vocabulary import Role
from tests.browser.conftest import DESK, PHONE
from tests.orchard import PASSWORD, plant_orchard
from tests.phone import DIGITS
from webapp.config import clock_now

WRONG_DIGITS = "749203"
MODULES = 'const device = await import("/static/js/field/device.js");'
STORE = 'const store = await (await import("/static/js/field/store.js")).openStore();'
# RFC 7914, section 11: PBKDF2 with HMAC-SHA-256, 64 bytes.
RFC_7914 = {
    ("passwd", "salt", 1): (
        "55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc"
        "49ca9cccf179b645991664b39d77ef317c71b845b1e30bd509112041d3a19783"
    ),
    ("Password", "NaCl", 80_000): (
        "4ddcd8f60b98be21830cee5ef22701f9641a4418d04c0414aeff08876b34ab56"
        "a1d425a1225833549adb841b51c9b3176a272bdebba1d078478f62b397f33c8d"
    ),
}


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """A data folder with the invented farm, and who works there."""
    folder = tmp_path_factory.mktemp("phones")
    database = Database(f"sqlite:///{folder / 'farm.db'}", durable=False)
    upgrade(database)
    orchard = plant_orchard(database, clock_now())
    yield folder, orchard, database
    database.close()


@pytest.fixture(scope="module")
def server(farm, serve):
    return serve(data=farm[0])


@pytest.fixture
def owner(open_context, server, farm) -> Page:
    """The owner's desk, signed in."""
    page = open_context(**DESK, base_url=server.url, locale="en-US").new_page()
    page.goto("/sign-in")
    page.get_by_label("Sign-in name").fill(farm[1].sign_ins[Role.OWNER])
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Today")
    return page


@pytest.fixture
def offered(owner):
    """Show a QR code for the owner and return its address."""

    def offer() -> str:
        owner.goto("/devices")
        own = owner.locator("section.section", has=owner.get_by_role("heading", name="Ina"))
        own.get_by_role("button", name="Enrol a phone").click()
        expect(owner.get_by_role("heading", level=1)).to_have_text(
            "Enrol a phone for Ina Wetherell"
        )
        return owner.locator(".offer-address code").inner_text()

    return offer


@pytest.fixture
def phone(open_context, server, browser_errors) -> Page:
    """A small phone that asks for the field's pages; nothing is sent from its queue."""
    page = open_context(**PHONE, base_url=server.url, locale="en-US").new_page()
    # The server's refusals are what these tests are about, and a phone without signal says so.
    browser_errors.allow(r"status of (401|403|409|422|429)")
    browser_errors.allow(r"ERR_INTERNET_DISCONNECTED|ERR_FAILED")
    page.context.route("**/field/sync", lambda route: route.abort())
    return page


@pytest.fixture
def enrolled(phone, offered) -> Page:
    """The phone after it read the code, with digits chosen."""
    phone.goto(offered())
    enrol_by_taps(phone)
    return phone


def enrol_by_taps(phone: Page, digits: str = DIGITS, name: str = "Blue phone") -> None:
    expect(phone.get_by_role("heading", level=1)).to_have_text("Enrol this phone")
    phone.get_by_label("A name for this phone").fill(name)
    phone.get_by_role("button", name="Go on").tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Choose six digits")
    tap(phone, digits)
    expect(phone.get_by_role("heading", level=1)).to_have_text("Enter them again")
    tap(phone, digits)
    expect(phone).to_have_url(re.compile("#/lots$"))


def tap(phone: Page, digits: str) -> None:
    pad = phone.locator(".lock-pad")
    for digit in digits:
        pad.get_by_role("button", name=digit, exact=True).tap()


def lock(phone: Page) -> None:
    phone.evaluate(f"async () => {{ {MODULES} await device.lock(); }}")
    # A hash of its own each time, so that the page notices.
    phone.evaluate("location.hash = '#/sent'; location.hash = '#/lock'")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Enter your six digits")


def is_locked(phone: Page) -> bool:
    return phone.evaluate(f"async () => {{ {MODULES} return device.isLocked(); }}")


def expect_open(phone: Page) -> None:
    expect(phone.locator(".lock")).to_have_count(0)
    assert not is_locked(phone)


def note(phone: Page):
    return phone.locator(".lock-note")


def standing(phone: Page) -> dict:
    return phone.evaluate("fetch('/field/token').then((answer) => answer.json())")


# --- with signal ---------------------------------------------------------------------------------


def test_a_phone_is_enrolled_locked_and_opened(enrolled, owner):
    expect_open(enrolled)
    assert standing(enrolled)["person"]["name"] == "Ina Wetherell"
    assert "enrol=" not in enrolled.url
    enrolled.reload()
    expect_open(enrolled)

    lock(enrolled)
    before = standing(enrolled)["device"]
    tap(enrolled, DIGITS)
    expect_open(enrolled)
    assert standing(enrolled)["device"] == before
    owner.goto("/devices")
    expect(owner.get_by_role("button", name="Revoke Blue phone").last).to_be_visible()


def test_the_office_reads_what_the_phone_signs_and_holds_no_key(enrolled, farm):
    signature, uid = enrolled.evaluate(
        f"""async () => {{ {MODULES} {STORE}
        const body = new TextEncoder().encode("trees");
        return [await device.sign(body), (await store.device()).uid]; }}"""
    )
    with farm[2].read() as connection:
        row = next(row for row in devices(connection, farm[1].farm_id) if row.uid == uid)

    assert len(b64decode(signature)) == 64
    assert is_signed(row.public_key, b"trees", signature)
    assert not is_signed(row.public_key, b"other trees", signature)


def test_the_private_key_cannot_be_taken_out(enrolled):
    outcomes = enrolled.evaluate(
        f"""async () => {{ {STORE}
        const {{ signKey }} = await store.device();
        const tries = ["jwk", "pkcs8", "raw"].map((form) =>
          crypto.subtle.exportKey(form, signKey).then(() => "out", (error) => error.name));
        return [signKey.type, signKey.extractable, ...await Promise.all(tries)]; }}"""
    )
    assert outcomes[:2] == ["private", False]
    assert "out" not in outcomes


def test_the_digits_are_not_kept(enrolled):
    kept = enrolled.evaluate(
        f"""async () => {{ {STORE}
        return JSON.stringify(await store.device()) + JSON.stringify({{...localStorage}}); }}"""
    )
    assert DIGITS not in kept


def test_two_entries_that_differ_ask_again(phone, offered):
    phone.goto(offered())
    phone.get_by_role("button", name="Go on").tap()
    tap(phone, DIGITS)
    tap(phone, WRONG_DIGITS)
    expect(note(phone)).to_have_text("The two were not the same. Choose six digits.")
    tap(phone, DIGITS)
    tap(phone, DIGITS)
    expect(phone).to_have_url(re.compile("#/lots$"))


def test_digits_that_anybody_would_try_are_refused_and_others_taken(phone, offered):
    phone.goto(offered())
    phone.get_by_role("button", name="Go on").tap()
    tap(phone, "123456" * 2)
    expect(note(phone)).to_contain_text("too easy to guess")
    tap(phone, DIGITS * 2)
    expect(phone).to_have_url(re.compile("#/lots$"))


def test_a_code_that_was_used_says_so(phone, offered, open_context, server):
    address = offered()
    phone.goto(address)
    enrol_by_taps(phone)
    other = open_context(**PHONE, base_url=server.url, locale="es-US").new_page()
    other.goto(address)
    other.locator("form.lock-form button").tap()
    tap(other, DIGITS * 2)
    # Another code may be typed at once.
    expect(other.get_by_role("alert")).to_be_visible()
    expect(other.locator(".lock-entry")).to_have_value("")
    assert other.evaluate(f"async () => {{ {STORE} return store.device(); }}") is None


def test_without_the_picture_the_code_is_typed(phone, offered):
    code = offered().partition("=")[2]
    phone.goto("/field/")
    expect(phone.locator(".lock")).to_contain_text("A supervisor has a code for it")
    check_facts(phone, 360, 640)
    phone.get_by_label("Code").fill(code.lower().replace("-", " "))
    phone.get_by_role("button", name="Go on").tap()
    enrol_by_taps(phone)
    expect_open(phone)


def test_an_iphone_puts_the_page_on_its_home_screen_first(phone, offered):
    """`navigator.standalone` is Apple's (Safari Web Content Guide): false in its browser alone."""
    phone.add_init_script(
        "Object.defineProperty(navigator, 'standalone', { get: () => window.name === 'home' })"
    )
    address = offered()
    phone.goto(address)
    expect(phone.locator(".lock")).to_contain_text("First add this page to the home screen")
    expect(phone.locator(".lock-code")).to_have_text(address.partition("=")[2])
    expect(phone.locator(".lock-entry")).to_have_count(0)
    phone.evaluate("window.name = 'home'")
    phone.goto("/field/#/lots")
    phone.reload()
    phone.get_by_label("Code").fill(address.partition("=")[2])
    phone.get_by_role("button", name="Go on").tap()
    enrol_by_taps(phone)
    expect_open(phone)


def test_enrolling_again_keeps_the_phone_and_takes_new_digits(enrolled, offered):
    uid = standing(enrolled)["device"]
    enrolled.goto("about:blank")
    enrolled.goto(offered())
    enrol_by_taps(enrolled, WRONG_DIGITS)
    assert standing(enrolled)["device"] == uid

    lock(enrolled)
    tap(enrolled, DIGITS)
    expect(note(enrolled)).to_have_text("These are not the digits. 9 tries are left.")
    tap(enrolled, WRONG_DIGITS)
    expect_open(enrolled)


def test_ten_wrong_tries_and_the_phone_asks_to_be_enrolled_again(enrolled, offered):
    lock(enrolled)
    for left in range(9, 0, -1):
        tap(enrolled, WRONG_DIGITS)
        tries = "1 try is" if left == 1 else f"{left} tries are"
        expect(note(enrolled)).to_have_text(f"These are not the digits. {tries} left.")
    for digits in (WRONG_DIGITS, DIGITS):
        tap(enrolled, digits)
        expect(note(enrolled)).to_contain_text("Enrol this phone again with a new code")
    # Nor does it open by going where there is no signal.
    enrolled.context.set_offline(True)
    tap(enrolled, DIGITS)
    expect(note(enrolled)).to_contain_text("Too many wrong tries here")
    enrolled.context.set_offline(False)
    assert is_locked(enrolled)

    enrolled.goto("about:blank")
    enrolled.goto(offered())
    enrol_by_taps(enrolled)
    expect_open(enrolled)


def test_a_revoked_phone_is_refused_at_its_next_contact(enrolled, owner):
    owner.goto("/devices")
    lock(enrolled)
    owner.get_by_role("button", name="Revoke Blue phone").last.click()
    expect(owner.locator(".message")).to_have_text("Blue phone was revoked.")

    answer = standing(enrolled)
    assert (answer["signed_in"], answer["device"]) == (False, None)
    tap(enrolled, DIGITS)
    expect(note(enrolled)).to_contain_text("This phone was revoked")
    assert is_locked(enrolled)


def test_the_offices_pages_are_sound_with_phones_and_a_code_on_them(
    enrolled, offered, owner, axe_check, read_facts
):
    assert standing(enrolled)["device"]
    for width in (1280, 360, 320):
        owner.set_viewport_size({"width": width, "height": 800})
        offered()
        axe_check(owner)
        assert not read_facts(owner)["wide"]
        assert owner.locator(".qr-code").bounding_box()["width"] >= min(width - 40, 280)
        owner.goto("/devices")
        axe_check(owner)
        assert not read_facts(owner)["wide"]


# --- without signal ------------------------------------------------------------------------------


def test_the_phone_opens_without_signal_and_the_office_asks_later(enrolled):
    lock(enrolled)
    enrolled.context.set_offline(True)
    tap(enrolled, WRONG_DIGITS)
    expect(note(enrolled)).to_have_text("Wrong digits. 9 tries are left without signal.")
    assert is_locked(enrolled)
    tap(enrolled, DIGITS)
    expect_open(enrolled)
    enrolled.context.set_offline(False)


def test_many_tries_at_once_without_signal_are_ten_all_the_same(enrolled):
    """Planted danger: tries that all read the same count before any of them has written it."""
    enrolled.context.set_offline(True)
    problems = enrolled.evaluate(
        f"""async () => {{
          const device = await import("/static/js/field/device.js");
          const tries = Array.from({{ length: 13 }}, () => device.unlockHere("{WRONG_DIGITS}"));
          return (await Promise.all(tries)).map(({{ problem }}) => problem);
        }}"""
    )
    enrolled.context.set_offline(False)
    assert sorted(problems) == ["online_only"] * 4 + ["wrong_digits"] * 9


def test_a_stopped_server_is_no_signal(enrolled):
    enrolled.context.route("**/field/token*", lambda route: route.abort())
    lock(enrolled)
    tap(enrolled, DIGITS)
    expect_open(enrolled)


def wrong_tries_here(phone: Page, most: int) -> list[str]:
    return phone.evaluate(
        f"""async () => {{ {MODULES}
        const problems = [];
        for (let done = 0; done < {most}; done += 1) {{
          problems.push((await device.unlockHere("{WRONG_DIGITS}")).problem);
        }}
        return problems; }}"""
    )


def test_ten_wrong_tries_without_signal_and_only_the_office_opens_it(enrolled):
    lock(enrolled)
    first = wrong_tries_here(enrolled, 6)
    # Closing the page takes no try back.
    enrolled.reload()
    second = wrong_tries_here(enrolled, 6)

    assert first + second == ["wrong_digits"] * 9 + ["online_only"] * 3
    enrolled.context.set_offline(True)
    tap(enrolled, DIGITS)
    expect(note(enrolled)).to_contain_text("Go where there is signal")
    enrolled.context.set_offline(False)
    tap(enrolled, DIGITS)
    expect_open(enrolled)
    assert wrong_tries_here(enrolled, 1) == ["wrong_digits"]


def test_without_counting_the_tries_the_test_above_would_fail(phone, offered):
    """A planted defect: a page that forgets its tries is tried without end."""

    def forgetful(route) -> None:
        module = route.fetch().text()
        counting = "Math.min(tries + 1, MOST_TRIES)"
        assert counting in module
        route.fulfill(body=module.replace(counting, "tries"), content_type="text/javascript")

    phone.context.route("**/field/device.js", forgetful)
    phone.goto(offered())
    enrol_by_taps(phone)
    lock(phone)
    assert wrong_tries_here(phone, 12) == ["wrong_digits"] * 12


def test_the_phone_is_open_for_twelve_hours(enrolled):
    """Clocks of phones jump: what cannot be judged asks for the digits."""
    opened = enrolled.evaluate(
        f"""async () => {{ {MODULES} {STORE}
        const record = await store.device();
        const hour = 3600 * 1000;
        const locked = [];
        for (const ago of [0, 11.9, 12.1, 1000, -0.1, -24]) {{
          await store.saveDevice({{ ...record, unlockedAt: Date.now() - ago * hour }});
          locked.push(await device.isLocked());
        }}
        return locked; }}"""
    )
    assert opened == [False, False, True, True, True, True]


# --- against the world ---------------------------------------------------------------------------


@pytest.mark.parametrize("case", list(RFC_7914), ids=["1 round", "80,000 rounds"])
def test_the_digits_are_derived_as_in_rfc_7914(phone, case):
    secret, salt, rounds = case
    phone.goto("/field/")
    derived = phone.evaluate(
        f"""async () => {{ {MODULES}
        const salt = new TextEncoder().encode("{salt}");
        return [...await device.derive("{secret}", salt, {rounds}, 512)]; }}"""
    )
    assert bytes(derived).hex() == RFC_7914[case]


def test_the_phone_derives_with_as_many_rounds_as_owasp_asks_for(enrolled):
    """OWASP's password storage cheat sheet: 600,000 rounds for PBKDF2 with HMAC-SHA-256."""
    rounds, salt, derived = enrolled.evaluate(
        f"""async () => {{ {STORE}
        const {{ verifier }} = await store.device();
        return [verifier.rounds, verifier.salt.length, verifier.derived.length]; }}"""
    )
    assert (rounds, salt, derived) == (600_000, 16, 32)


# --- for gloves and sun --------------------------------------------------------------------------

SIZES = [(360, 640), (390, 844), (320, 640)]
FACTS = """
() => {
  const linear = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).map((part) => linear(part / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (colour !== "rgba(0, 0, 0, 0)") return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const contrast = (element) => {
    const lights = [light(getComputedStyle(element).color), light(ground(element))];
    return (Math.max(...lights) + 0.05) / (Math.min(...lights) + 0.05);
  };
  const lock = document.querySelector(".lock");
  const said = [...lock.querySelectorAll("*")].filter((element) =>
    !element.closest(".only-spoken") &&
    [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim()));
  const boxes = [...lock.querySelectorAll("button, input")].map((element) => {
    const { left, top, right, bottom } = element.getBoundingClientRect();
    return { left, top, right, bottom };
  });
  return {
    boxes,
    texts: said.map((element) => [
      element.textContent.trim(),
      parseFloat(getComputedStyle(element).fontSize),
      contrast(element),
    ]),
    height: lock.getBoundingClientRect().bottom,
    scroll: document.documentElement.scrollWidth,
  };
}
"""


def gaps(boxes: list[dict]) -> list[float]:
    """Return the distance of each target to each other, along the direction that parts them."""
    return [
        max(
            max(one["left"], other["left"]) - min(one["right"], other["right"]),
            max(one["top"], other["top"]) - min(one["bottom"], other["bottom"]),
        )
        for place, one in enumerate(boxes)
        for other in boxes[place + 1 :]
    ]


def check_facts(phone: Page, width: int, height: int) -> None:
    facts = phone.evaluate(FACTS)
    for box in facts["boxes"]:
        assert box["right"] - box["left"] >= 60, box
        assert box["bottom"] - box["top"] >= 60, box
        assert box["left"] >= 12, box
        assert box["right"] <= width - 12, box
        assert box["bottom"] <= height - 12, box
    assert all(gap >= 12 for gap in gaps(facts["boxes"]))
    assert facts["texts"]
    for text, size, contrast in facts["texts"]:
        assert size >= 18, text
        assert contrast >= 7, text
    assert facts["scroll"] <= width


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_lock_screens_suit_gloves_and_sun(phone, offered, axe_check, size):
    width, height = size
    phone.set_viewport_size({"width": width, "height": height})
    phone.goto(offered())
    expect(phone.get_by_role("button", name="Go on")).to_be_visible()
    check_facts(phone, width, height)
    axe_check(phone)
    phone.get_by_role("button", name="Go on").tap()
    check_facts(phone, width, height)
    tap(phone, "111111" * 2)
    expect(note(phone)).to_contain_text("too easy to guess")
    check_facts(phone, width, height)
    tap(phone, DIGITS * 2)
    expect(phone).to_have_url(re.compile("#/lots$"))
    lock(phone)
    check_facts(phone, width, height)
    axe_check(phone)
    tap(phone, WRONG_DIGITS)
    expect(note(phone)).to_contain_text("These are not the digits")
    check_facts(phone, width, height)


def test_a_small_or_pale_key_would_be_seen(enrolled):
    """Planted defects: the checks on sizes, gaps, edges and contrast fail on each."""
    lock(enrolled)
    for defect in (
        ".lock-key { min-block-size: 59px !important }",
        ".lock-pad { gap: 11px !important }",
        ".lock { padding: 11px !important; max-inline-size: none !important }",
        ".lock-note { color: #777 !important }",
        ".lock-note { font-size: 17px !important }",
    ):
        enrolled.evaluate(
            """(rules) => {
            const sheet = new CSSStyleSheet();
            sheet.replaceSync(rules);
            document.adoptedStyleSheets = [sheet]; }""",
            defect,
        )
        with pytest.raises(AssertionError):
            check_facts(enrolled, 360, 640)
    enrolled.evaluate("document.adoptedStyleSheets = []")
    check_facts(enrolled, 360, 640)


def test_the_lock_screen_names_nobody(enrolled):
    lock(enrolled)
    seen = enrolled.locator("body").inner_text() + enrolled.title()

    assert "Enter your six digits" in seen
    for name in ("Ina", "Wetherell", "Blue phone", "Tule Hollow"):
        assert name not in seen


def test_a_keyboard_opens_the_phone_too(enrolled):
    lock(enrolled)
    enrolled.keyboard.type(f"{DIGITS[:3]}0")
    enrolled.keyboard.press("Backspace")
    expect(enrolled.locator(".lock-mark-full")).to_have_count(3)
    enrolled.keyboard.type(DIGITS[3:])
    expect_open(enrolled)
