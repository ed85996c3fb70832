"""Reads a page as its visitor does: heading, form with its values, and problems at their fields."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

_WITHOUT_END = ("input", "link", "meta", "img", "br", "hr")
_TYPED_INTO = ("text", "date", "datetime-local", "password", "number", "email", "search", "tel")


@dataclass
class Page:
    """What a page shows."""

    title: str = ""
    headings: list[str] = field(default_factory=list)
    text: str = ""
    links: list[str] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    problems: dict[str, str] = field(default_factory=dict)
    unlabelled: list[str] = field(default_factory=list)


def read_page(answer) -> Page:
    """Return what an answer's page shows; its form's values are those of the main part."""
    reader = _Reader()
    reader.feed(answer.get_data(as_text=True))
    page = reader.page
    page.text = " ".join(" ".join(reader.words).split())
    page.problems = {name: " ".join(words) for name, words in reader.problem_words.items()}
    page.unlabelled = [name for name in reader.entries if name not in reader.labelled]
    return page


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.page = Page()
        self.words: list[str] = []
        self.problem_words: dict[str, list[str]] = {}
        self.entries: list[str] = []
        self.labelled: set[str] = set()
        self._open: list[tuple[str, dict[str, str | None]]] = []
        self._select: str | None = None

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        if tag not in _WITHOUT_END:
            self._open.append((tag, attributes))
        if tag == "a" and attributes.get("href"):
            self.page.links.append(attributes["href"])
        if tag == "label":
            self.labelled.add(attributes.get("for"))
        if self._is_in("main"):
            self._take_entry(tag, attributes)

    def handle_endtag(self, tag):
        if not self._is_in(tag):
            return
        while self._open.pop()[0] != tag:
            pass
        if tag == "select":
            self._select = None

    def handle_data(self, data):
        words = data.strip()
        if not words:
            return
        if self._is_in("title"):
            self.page.title += words
        if self._is_in("h1"):
            self.page.headings.append(words)
        if self._is_in("main"):
            self.words.append(words)
        for tag, attributes in self._open:
            identifier = attributes.get("id") or ""
            if tag == "p" and identifier.endswith("-problem"):
                name = identifier.removesuffix("-problem")
                self.problem_words.setdefault(name, []).append(words)

    def _is_in(self, tag: str) -> bool:
        return any(tag == opened for opened, _ in self._open)

    def _take_entry(self, tag, attributes):
        name = attributes.get("name")
        if tag == "select":
            self._select = name
            self.entries.append(attributes["id"])
        elif tag == "option" and "selected" in attributes and self._select:
            self.page.values[self._select] = attributes.get("value") or ""
        elif tag == "textarea":
            self.entries.append(attributes["id"])
        elif tag == "input" and name and name != "csrf_token":
            kind = attributes.get("type", "text")
            if kind != "hidden" and not (self._is_in("label") and "id" not in attributes):
                self.entries.append(attributes.get("id", name))
            if kind in _TYPED_INTO or "checked" in attributes:
                self.page.values[name] = attributes.get("value") or ""
