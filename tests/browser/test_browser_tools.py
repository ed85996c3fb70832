"""The browser tools themselves: a check that cannot fail would prove nothing."""

import sys
from io import BytesIO

import pytest
from PIL import Image

HEAD = (
    "<!doctype html><html lang='en'><meta name='viewport' content='width=device-width'>"
    "<link rel='icon' href='data:,'>"
)
TINY_BUTTON = "<button style='width:12px;height:12px;padding:0;border:0'>a</button>"
PAGES = {
    "good.html": f"{HEAD}<title>Good</title><main><h1>Good</h1></main>",
    "poor.html": "<!doctype html><link rel='icon' href='data:,'><title>Poor</title>"
    "<main><h1>Poor</h1><img src='data:,'></main>",
    "small.html": f"{HEAD}<title>Small</title><main><h1>Small</h1>{TINY_BUTTON * 2}</main>",
    "broken.html": f"{HEAD}<title>Broken</title><h1>Broken</h1>"
    "<script>throw new Error('snapped')</script>",
}
FILE_SERVER = (sys.executable, "-m", "http.server", "--bind", "{host}", "{port}")


@pytest.fixture(scope="module")
def pages(serve, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    for name, text in PAGES.items():
        (folder / name).write_text(text)
    return serve(command=FILE_SERVER, folder=folder).url


def test_a_sound_page_passes(pages, phone, axe_check):
    phone.goto(f"{pages}/good.html")
    axe_check(phone)
    assert phone.evaluate("[innerWidth, innerHeight, devicePixelRatio]") == [360, 640, 2]
    assert phone.evaluate("navigator.maxTouchPoints") > 0
    with Image.open(BytesIO(phone.screenshot(full_page=True))) as picture:
        assert picture.size == (720, 1280)


def test_axe_finds_a_page_without_language_and_a_picture_without_words(pages, desk, axe_check):
    desk.goto(f"{pages}/poor.html")
    with pytest.raises(AssertionError, match=r"(?s)html-has-lang.*image-alt"):
        axe_check(desk)


def test_axe_finds_targets_too_small_for_a_finger(pages, phone, axe_check):
    phone.goto(f"{pages}/small.html")
    with pytest.raises(AssertionError, match="target-size"):
        axe_check(phone)


def test_an_error_thrown_in_a_page_is_noted(pages, desk, browser_errors):
    desk.goto(f"{pages}/broken.html")
    with pytest.raises(AssertionError, match="thrown: snapped"):
        browser_errors.check()
    browser_errors.allow("snapped")


def test_an_error_on_the_console_is_noted(pages, desk, browser_errors):
    desk.goto(f"{pages}/absent.html")
    with pytest.raises(AssertionError, match=r"console: .*404"):
        browser_errors.check()
    browser_errors.allow("404")


def test_a_request_to_another_machine_is_noted(pages, desk, browser_errors):
    desk.goto(f"{pages}/good.html")
    # A name that is reserved never to exist (RFC 2606): nothing leaves this machine.
    desk.evaluate("fetch('http://elsewhere.invalid/').catch(() => null)")
    with pytest.raises(AssertionError, match="asked for something elsewhere"):
        browser_errors.check()
    browser_errors.allow(r"elsewhere\.invalid")
