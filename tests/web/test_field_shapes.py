"""The phone draws the same shapes as the pages of the server."""

import re

from tests.tree import PROJECT

TEMPLATE = PROJECT / "webapp" / "templates" / "components" / "shapes.html"
MODULE = PROJECT / "static" / "js" / "field" / "shapes.js"


def drawn_by_the_pages():
    return dict(re.findall(r'^  "(\w+)": "(M[^"]+Z)",$', TEMPLATE.read_text(), re.MULTILINE))


def drawn_by_the_phone():
    return dict(re.findall(r'^  (\w+): "(M[^"]+Z)",$', MODULE.read_text(), re.MULTILINE))


def test_every_shape_of_the_phone_is_one_of_the_pages():
    phone, pages = drawn_by_the_phone(), drawn_by_the_pages()
    assert len(phone) >= 10
    assert phone.items() <= pages.items()
