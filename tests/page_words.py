"""What a page says, read as a person would."""

from html.parser import HTMLParser

from werkzeug.test import TestResponse


class _Words(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(page)

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def words_of(answer: TestResponse) -> str:
    """Return the words of a page that was found, in one line; every tag parts words."""
    assert answer.status_code == 200, answer.text
    return " ".join(" ".join(_Words(answer.text).found).split())
