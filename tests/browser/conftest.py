"""
The system's own Chromium on the loopback: a phone, a desk, and what no page may do.

A test that uses `phone` or `desk` fails by itself when a page logs an error, throws one, or asks
for anything that is not on this machine; `browser_errors` lets a test say which errors it expects.
"""

import fcntl
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from werkzeug.routing import Map

from audits.storage.database import Database
from audits.vocabulary import Role
from tests.browser.crawling import FACTS, Crawl, Crawler
from tests.browser.demo_states import States
from tests.browser.field_phone import FieldFarm, FieldPhone
from tests.browser.field_phone import field_farm as serve_field_farm
from tests.browser.people import Person
from tests.serving import HOST, PROGRAM, PROJECT, SERVE, Server, serving
from webapp.app import create_app
from webapp.config import Settings, clock_now

CHROMIUM_VARIABLE = "PRUNING_AUDIT_TEST_CHROMIUM"
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
CHROMIUM_ARGUMENTS = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PHONE = {
    "viewport": {"width": 360, "height": 640},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
DESK = {"viewport": {"width": 1280, "height": 800}}
WCAG_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
SCREENSHOTS = PROJECT / ".cache" / "screenshots"
LOCALES = {"en": "en-US", "es": "es-US"}
_FIRST_PAGES = {Role.OWNER: "/", Role.SUPERVISOR: "/", Role.WORKER: "/contests/mine"}
_DEADLINE_MS = 10_000


class BrowserErrors:
    """What went wrong in the pages of one test, less what the test said to expect."""

    def __init__(self) -> None:
        self._pages: list[Page] = []
        self._seen: list[str] = []
        self._allowed: list[re.Pattern[str]] = []

    def allow(self, pattern: str) -> None:
        """Expect errors in which the regular expression is found."""
        self._allowed.append(re.compile(pattern))

    def watch(self, context: BrowserContext) -> None:
        """Note the errors of every page that the context opens."""
        context.on("page", self._watch_page)
        context.on("request", self._note_request)

    def check(self) -> None:
        """Fail the test if anything unexpected was noted."""
        for page in self._pages:
            if not page.is_closed():
                # Events come in order with answers: after this one none is still on its way.
                page.evaluate("0")
        unexpected = [
            error
            for error in self._seen
            if not any(pattern.search(error) for pattern in self._allowed)
        ]
        assert not unexpected, "In the browser:\n" + "\n".join(unexpected)

    def _watch_page(self, page: Page) -> None:
        self._pages.append(page)
        page.on("console", self._note_message)
        page.on("pageerror", lambda error: self._seen.append(f"thrown: {error}"))

    def _note_message(self, message) -> None:
        if message.type == "error":
            where = message.location.get("url", "")
            self._seen.append(f"console: {message.text} ({where})")

    def _note_request(self, request) -> None:
        address = urlsplit(request.url)
        if address.scheme in {"http", "https", "ws", "wss"} and address.hostname not in {
            HOST,
            "localhost",
        }:
            self._seen.append(f"asked for something elsewhere: {request.url}")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Fail a test for what its pages did, at the test itself rather than at its tear-down."""
    result = yield
    errors = getattr(item, "funcargs", {}).get("browser_errors")
    if errors is not None:
        errors.check()
    return result


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.is_relative_to(Path(__file__).parent):
            item.add_marker("browser")


def chromium_path() -> str | None:
    """Return the system's Chromium, or None if there is none."""
    named = os.environ.get(CHROMIUM_VARIABLE)
    return named or next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)


def chromium_arguments() -> list[str]:
    """Return how Chromium is started here."""
    # Chromium refuses to run as root inside its sandbox.
    return [*CHROMIUM_ARGUMENTS, *(["--no-sandbox"] if os.geteuid() == 0 else [])]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium, started once."""
    path = chromium_path()
    if path is None:
        pytest.skip(f"no Chromium on the PATH: install it, or set {CHROMIUM_VARIABLE}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=chromium_arguments())
        yield browser
        browser.close()


@pytest.fixture
def browser_errors() -> BrowserErrors:
    """The errors of this test's pages: ``browser_errors.allow("422")`` expects some."""
    return BrowserErrors()


@pytest.fixture
def open_context(
    browser: Browser, browser_errors: BrowserErrors
) -> Iterator[Callable[..., BrowserContext]]:
    """Open a browser of its own for one person: ``open_context(**PHONE, locale="es-US")``."""
    with ExitStack() as stack:

        def opened(**options: object) -> BrowserContext:
            context = browser.new_context(**options)
            stack.callback(context.close)
            context.set_default_timeout(_DEADLINE_MS)
            browser_errors.watch(context)
            return context

        yield opened


@pytest.fixture
def phone(open_context: Callable[..., BrowserContext]) -> Page:
    """A page on a small phone: 360 x 640, touch."""
    return open_context(**PHONE).new_page()


@pytest.fixture
def desk(open_context: Callable[..., BrowserContext]) -> Page:
    """A page on a desk: 1280 x 800, mouse and keyboard."""
    return open_context(**DESK).new_page()


@pytest.fixture(scope="session")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Server]]:
    """
    Start the program in its own process: ``serve(data=folder)``; all stop when the tests end.

    `data` is a data folder in which a farm is set up; ``serve(command=DEMO)`` needs none. Other
    options as in `tests.serving.serving`. Call it from a module's own fixture to share a server.
    """
    with ExitStack() as stack:

        def started(
            data: Path | None = None,
            environment: Mapping[str, str] | None = None,
            command: tuple[str, ...] = SERVE,
            **options: object,
        ) -> Server:
            folder = tmp_path_factory.mktemp("served")
            variables = {
                "PRUNING_AUDIT_DATA": str(data or folder / "data"),
                "PRUNING_AUDIT_DATABASE": "",
            } | dict(environment or {})
            server = serving(
                folder / "server.log", command=command, environment=variables, **options
            )
            return stack.enter_context(server)

        yield started


@pytest.fixture(scope="session")
def demo_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Data folder of the demo, made once by its own command: copy it, never write to it."""
    together = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        together = together.parent
    folder = together / "demo" / "data"
    # Processes that share the tests share the demo: the first makes it, the others wait.
    with (together / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            _make_demo(folder.with_name("begun"))
            folder.with_name("begun").rename(folder)
    return folder


def _make_demo(folder: Path) -> None:
    command = (*PROGRAM, "--data", str(folder), "demo", "--keep", "--no-serve")
    made = subprocess.run(
        command,
        cwd=PROJECT,
        env=os.environ | {"PRUNING_AUDIT_DATABASE": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stdout + made.stderr


@pytest.fixture
def demo_copy(demo_data: Path, tmp_path: Path) -> Path:
    """Data folder with a copy of the demo, for one test alone."""
    return shutil.copytree(demo_data, tmp_path / "data")


@pytest.fixture
def demo_server(demo_copy: Path, tmp_path: Path) -> Iterator[Server]:
    """The pages of one test's own demo."""
    variables = {"PRUNING_AUDIT_DATA": str(demo_copy), "PRUNING_AUDIT_DATABASE": ""}
    with serving(tmp_path / "server.log", environment=variables) as server:
        yield server


@pytest.fixture
def person(open_context: Callable[..., BrowserContext]) -> Callable[..., Person]:
    """Somebody with a device: ``person(server.url, "es")``, with a phone unless said otherwise."""

    def somebody(url: str, language: str, device: Mapping = PHONE, **options: object) -> Person:
        context = open_context(**device, base_url=url, locale=LOCALES[language], **options)
        return Person(context.new_page(), language)

    return somebody


@pytest.fixture
def field_phone(
    browser: Browser, browser_errors: BrowserErrors, tmp_path: Path
) -> Iterator[Callable[..., FieldPhone]]:
    """
    A phone with a storage of its own, for the page in the row: ``field_phone(link.url)``.

    What it says when its connection breaks is no error of the page: the browser notes it by itself.
    """
    browser_errors.allow("net::ERR_|Failed to load resource|Failed to fetch")
    with ExitStack() as stack:

        def made(url: str, name: str = "phone") -> FieldPhone:
            phone = FieldPhone(
                browser.browser_type,
                chromium_path(),
                chromium_arguments(),
                tmp_path / name,
                url,
                watch=browser_errors.watch,
            )
            stack.callback(phone.close)
            return phone

        yield made


@pytest.fixture
def field_farm(tmp_path: Path) -> Iterator[Callable[..., FieldFarm]]:
    """A farm with rows to audit, its program and a link that breaks: ``field_farm(lots=4)``."""
    with ExitStack() as stack:

        def made(*, lots: int = 1) -> FieldFarm:
            farm = serve_field_farm(tmp_path / "farm", tmp_path, lots=lots)
            return stack.enter_context(farm)

        yield made


@pytest.fixture(scope="session")
def rules(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict, Map]:
    """The application's views by endpoint, and the map of its addresses."""
    folder = tmp_path_factory.mktemp("rules")
    app = create_app(Settings(f"sqlite:///{folder / 'farm.db'}", "rules"))
    app.extensions["pruning_audit_database"].close()
    return app.view_functions, app.url_map


@pytest.fixture(scope="session")
def prepared(demo_data: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """A copy of the demo with states that no season leaves behind, and their paths by name."""
    folder = shutil.copytree(demo_data, tmp_path_factory.mktemp("prepared") / "data")
    database = Database(f"sqlite:///{folder / 'farm.db'}", durable=False)
    states = States(database, clock_now()).make()
    database.close()
    return folder, states


@pytest.fixture(scope="session")
def prepared_server(prepared: tuple[Path, dict], serve: Callable[..., Server]) -> Server:
    """The pages of the prepared demo, for tests that change nothing in it."""
    return serve(data=prepared[0])


@pytest.fixture(scope="session")
def look(
    screenshot: Callable[..., None],
    wants_pictures: bool,  # noqa: FBT001 - a fixture
) -> Callable[[str], Callable[[Page, str], None]]:
    """Pictures of pages at both sizes, with --pictures: ``look("es")(page, "today")``."""

    def in_language(language: str) -> Callable[[Page, str], None]:
        def take(page: Page, name: str) -> None:
            if not wants_pictures:
                return
            before = page.viewport_size
            for device in (PHONE, DESK):
                size = device["viewport"]
                page.set_viewport_size(size)
                # The phone's page as a whole, the desk's as it opens: pictures cost the most time.
                screenshot(
                    page,
                    f"{language}-{size['width']}x{size['height']}-{name}",
                    full_page=device is PHONE,
                    scale="css",
                )
            page.set_viewport_size(before)

        return take

    return in_language


@pytest.fixture(scope="session")
def crawled(
    browser: Browser,
    prepared: tuple[Path, dict],
    prepared_server: Server,
    rules: tuple[dict, Map],
    axe_check: Callable[[Page], None],
    look: Callable[[str], Callable[[Page, str], None]],
) -> Callable[[Role | None, str], Crawl]:
    """What somebody met on every page: ``crawled(Role.OWNER, "es")``, walked once."""

    @cache
    def crawl(role: Role | None, language: str) -> Crawl:
        context = browser.new_context(
            **PHONE, base_url=prepared_server.url, locale=LOCALES[language]
        )
        context.set_default_timeout(_DEADLINE_MS)
        person = Person(context.new_page(), language)
        if role is not None:
            person.sign_in(role)
        # A supervisor's pages are the owner's: axe and the camera have been there.
        is_first = role is not Role.SUPERVISOR
        crawler = Crawler(
            person,
            role,
            rules[1],
            axe_check=axe_check if is_first else None,
            picture=look(language) if is_first else None,
        )
        leads = role in {Role.OWNER, Role.SUPERVISOR}
        found = crawler.crawl(
            _FIRST_PAGES.get(role, "/sign-in"), _open_states(prepared[1], role) if leads else {}
        )
        context.close()
        return found

    return crawl


def _open_states(states: Mapping[str, str], role: Role) -> dict[str, str]:
    """
    Return the states whose pages a role may open.

    The farm's own are the owner's, and a round on check trees its auditor's until it is closed.
    """
    rounds_of_others = {f"round-of-{other}" for other in Role if other is not role}
    return {
        name: path
        for name, path in states.items()
        if (role is Role.OWNER or not path.startswith("/farm")) and name not in rounds_of_others
    }


@pytest.fixture(scope="session")
def read_facts() -> Callable[[Page], dict]:
    """What the page on the screen is like: see page_facts.js."""
    return lambda page: page.evaluate(FACTS)


@pytest.fixture(scope="session")
def axe_check() -> Callable[[Page], None]:
    """Check a page against WCAG 2.2 A and AA: ``axe_check(page)`` fails with a report."""
    axe = Axe()

    def check(page: Page) -> None:
        # A page on its way has no style sheet yet: what a phone hides would be measured.
        page.wait_for_load_state("load")
        options = {
            "runOnly": {"type": "tag", "values": list(WCAG_TAGS)},
            "resultTypes": ["violations"],
        }
        found = axe.run(page, options=options).response["violations"]
        assert not found, f"axe on {page.url}:\n" + "\n".join(map(_violation, found))

    return check


@pytest.fixture(scope="session")
def wants_pictures(request: pytest.FixtureRequest) -> bool:
    """Whether somebody wants to look at the pages afterwards: taking pictures costs minutes."""
    return request.config.getoption("--pictures")


@pytest.fixture(scope="session")
def screenshot(wants_pictures: bool) -> Callable[..., None]:  # noqa: FBT001 - a fixture
    """
    Keep a picture of a page, with --pictures.

    ``screenshot(page, "today-phone")`` -> .cache/screenshots/today-phone.png
    """
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)

    def take(page: Page, name: str, *, full_page: bool = True, scale: str = "device") -> None:
        if wants_pictures:
            page.wait_for_load_state("load")
            page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=full_page, scale=scale)

    return take


def _violation(violation: Mapping) -> str:
    places = "\n".join(
        f"    {' '.join(map(str, node['target']))}\n"
        f"      {node['html']}\n"
        f"      {' '.join(node.get('failureSummary', '').split())}"
        for node in violation["nodes"]
    )
    return (
        f"  {violation['id']} ({violation['impact']}): {violation['help']}\n"
        f"    {violation['helpUrl']}\n{places}"
    )
