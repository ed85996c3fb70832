"""Walks every page that links lead to, as one role in one language, and notes what it is like."""

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from playwright.sync_api import Page, Response, expect
from werkzeug.exceptions import HTTPException
from werkzeug.routing import Map

from audits.vocabulary import Role
from tests.browser.people import Person

FACTS = Path(__file__).with_name("page_facts.js").read_text(encoding="utf-8")
WIDTHS = (360, 320)
HEIGHT = 640
MOST_PAGES = 170


@dataclass(frozen=True)
class Visit:
    """One page as one person met it."""

    role: Role | None
    language: str
    endpoint: str
    path: str
    status: int
    facts: Mapping[int, Mapping[str, Any]]
    errors: list[str]
    axe: str = ""

    @cached_property
    def first(self) -> Mapping[str, Any]:
        return self.facts[WIDTHS[0]]

    def __str__(self) -> str:
        return f"{self.path} ({self.role or 'visitor'}, {self.language})"


# Addresses of pictures, which are no pages either.
PICTURES = {"field.show_photo", "contests.photo", "papers.picture", "papers.boxes"}
# What a browser puts away as a file.
FILES = {"contests.file_of_trees"}


@dataclass
class Crawl:
    """All that one person met: pages, and papers that are not pages."""

    visits: list[Visit] = field(default_factory=list)
    papers: dict[str, tuple[str, int, str]] = field(default_factory=dict)

    @property
    def endpoints(self) -> set[str]:
        return {visit.endpoint for visit in self.visits} | set(self.papers)


class Crawler:
    """
    Follows links from a first page, one sample for each kind of address.

    A kind is an endpoint with the names in its query; pages named in `states` are visited whatever
    their kind, each as a kind of its own.
    """

    def __init__(
        self,
        person: Person,
        role: Role | None,
        url_map: Map,
        *,
        axe_check: Callable[[Page], None] | None = None,
        picture: Callable[[Page, str], None] | None = None,
    ) -> None:
        self.person = person
        self.page = person.page
        self.role = role
        self.addresses = url_map.bind("127.0.0.1")
        self.axe_check = axe_check
        self.picture = picture
        self.errors: list[str] = []
        self.page.on("console", self._note_message)
        self.page.on("pageerror", lambda error: self.errors.append(f"thrown: {error}"))

    def crawl(self, first: str, states: Mapping[str, str] | None = None) -> Crawl:
        """Visit the states, then everything that links lead to."""
        found = Crawl()
        named = {path: name for name, path in (states or {}).items()}
        waiting, seen = deque([first, *named]), set()
        while waiting:
            path = waiting.popleft()
            kind = named.get(path) or self._kind(path)
            if kind is None or kind in seen:
                continue
            seen.add(kind)
            assert len(seen) < MOST_PAGES, f"links lead on and on: {sorted(seen)}"
            if urlsplit(path).path.endswith(".pdf") or self._endpoint(path) in PICTURES | FILES:
                found.papers[self._endpoint(path)] = self._fetch(path)
                continue
            visit = self.visit(path, kind)
            found.visits.append(visit)
            waiting.extend(self._paths(visit.first["links"]))
        return found

    def visit(self, path: str, name: str) -> Visit:
        """Open a page and note what it is like, narrow and narrower."""
        self.errors.clear()
        return self.look(self.page.goto(path), name)

    def look(self, response: Response, name: str) -> Visit:
        """Note what the page on the screen is like, a shell once its modules have filled it."""
        expect(self.page.locator("main > noscript")).to_have_count(0)
        address = urlsplit(self.page.url)
        path = address.path + (f"?{address.query}" if address.query else "")
        facts = {}
        report = ""
        for width in WIDTHS:
            self.page.set_viewport_size({"width": width, "height": HEIGHT})
            facts[width] = self.page.evaluate(FACTS)
        self.page.set_viewport_size({"width": WIDTHS[0], "height": HEIGHT})
        if self.axe_check is not None:
            try:
                self.axe_check(self.page)
            except AssertionError as found:
                report = str(found)
        if self.picture is not None:
            self.picture(self.page, name.replace(".", "-"))
        return Visit(
            role=self.role,
            language=self.person.language,
            endpoint=self._endpoint(path),
            path=path,
            status=response.status,
            facts=facts,
            errors=list(self.errors),
            axe=report,
        )

    def _paths(self, links: Iterable[str]) -> Iterable[str]:
        own = urlsplit(self.page.url).netloc
        for link in links:
            address = urlsplit(link)
            if address.scheme in {"http", "https"} and address.netloc == own:
                yield address.path + (f"?{address.query}" if address.query else "")

    def _kind(self, path: str) -> str | None:
        endpoint = self._endpoint(path)
        if endpoint in {"", "static"}:
            return endpoint or path
        query = sorted(name for name, _ in parse_qsl(urlsplit(path).query))
        return "-".join([endpoint, *query])

    def _endpoint(self, path: str) -> str:
        try:
            return self.addresses.match(urlsplit(path).path, method="GET")[0]
        except HTTPException:
            return ""

    def _fetch(self, path: str) -> tuple[str, int, str]:
        answer = self.page.context.request.get(path)
        return path, answer.status, answer.headers["content-type"]

    def _note_message(self, message) -> None:
        if message.type == "error":
            self.errors.append(f"console: {message.text}")
