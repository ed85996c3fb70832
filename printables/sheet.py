"""Papers: what is printed on, and how large letters are on it."""

from enum import StrEnum
from typing import Final

from audits.messages import mark


class Page(StrEnum):
    """The paper that a sheet is printed on; chosen by a person, never guessed."""

    LETTER = "letter"
    A4 = "a4"
    TABLOID = "tabloid"
    A3 = "a3"


# What lies in a usual office printer, and what posters are printed on.
SHEET_PAGES: Final = (Page.LETTER, Page.A4)
POSTER_PAGES: Final = (Page.TABLOID, Page.A3)

# Letter is 8 1/2 by 11 in, tabloid 11 by 17 in; A4 is 210 by 297 mm, A3 297 by 420 mm (ISO 216).
PAGE_SIZES_MM: Final = {
    Page.LETTER: (215.9, 279.4),
    Page.A4: (210.0, 297.0),
    Page.TABLOID: (279.4, 431.8),
    Page.A3: (297.0, 420.0),
}

PAGE_NAMES: Final = {
    Page.LETTER: mark("Letter"),
    Page.A4: mark("A4"),
    Page.TABLOID: mark("Tabloid"),
    Page.A3: mark("A3"),
}

SMALL_MM: Final = 9 * 25.4 / 72
TEXT_MM: Final = 12 * 25.4 / 72
