"""Cards on sheets: sizes, both sides in register, cut marks, and the check that the scale held."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil
from typing import Final

from audits.messages import Message, Words, mark, say
from printables.document import Leaf, Piece, Role
from printables.drawing.gauge import length_bar, scale_check
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_lines
from printables.drawing.primitives import Drawing, Line, Point, Shape, Text


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

# What office printers leave blank at the edges (common practice: 4.2 mm).
_UNPRINTED_MM: Final = 4.3
_MARK_MM: Final = 3.0
_MARK_GAP_MM: Final = 0.8
_BAR_MM: Final = 100.0
_BESIDE_MM: Final = 6.0


@dataclass(frozen=True)
class CardSheet:
    """
    Where cards lie on a sheet.

    Cards touch, so that one cut serves two; the check of the scale lies below them.

    Parameters
    ----------
    page : Page
        The paper.
    card_mm : tuple of float
        Width and height of a card.
    columns, rows : int
        How many cards lie side by side and one below the other.
    """

    page: Page
    card_mm: tuple[float, float]
    columns: int
    rows: int

    @property
    def count(self) -> int:
        """Cards on a sheet."""
        return self.columns * self.rows

    @property
    def left_mm(self) -> float:
        """Left edge of the cards; the right edge is as far from the page's, so backs match."""
        return (PAGE_SIZES_MM[self.page][0] - self.columns * self.card_mm[0]) / 2

    @property
    def top_mm(self) -> float:
        """Upper edge of the cards."""
        return (PAGE_SIZES_MM[self.page][1] - self.rows * self.card_mm[1] - _check_height_mm()) / 3

    @property
    def check_top_mm(self) -> float:
        """Upper edge of the scale check."""
        return 2 * self.top_mm + self.rows * self.card_mm[1]

    def front(self, place: int) -> Point:
        """
        Return the upper left corner of a card's front.

        Parameters
        ----------
        place : int
            Place on the sheet from 0, row by row from the upper left.

        Returns
        -------
        tuple of float
            Across and down from the page's upper left corner, in mm.
        """
        row, column = divmod(place, self.columns)
        return (self.left_mm + column * self.card_mm[0], self.top_mm + row * self.card_mm[1])

    def back(self, place: int) -> Point:
        """
        Return the upper left corner of a card's back on the sheet turned over its long edge.

        Parameters
        ----------
        place : int
            The place of its front.

        Returns
        -------
        tuple of float
            Across and down from the page's upper left corner, in mm.
        """
        left, top = self.front(place)
        return (PAGE_SIZES_MM[self.page][0] - left - self.card_mm[0], top)


def card_sheet(page: Page, card_mm: tuple[float, float]) -> CardSheet:
    """
    Lay as many cards on a sheet as fit above the scale check.

    Parameters
    ----------
    page : Page
        The paper.
    card_mm : tuple of float
        Width and height of a card.

    Returns
    -------
    CardSheet
        The layout.

    Raises
    ------
    ValueError
        If not even one card fits.
    """
    width, height = PAGE_SIZES_MM[page]
    columns = int((width - 2 * _UNPRINTED_MM) // card_mm[0])
    rows = int((height - 3 * _UNPRINTED_MM - _check_height_mm()) // card_mm[1])
    if columns < 1 or rows < 1:
        raise ValueError(f"card_mm is {card_mm}; it does not fit on {page}")
    return CardSheet(page, card_mm, columns, rows)


def card_leaves(
    sheet: CardSheet,
    cards: Sequence[tuple[Drawing, Drawing]],
    title: Message,
    words: Words,
) -> list[Leaf]:
    """
    Lay fronts and backs out on as many sheets as they need, fronts on odd pages.

    Parameters
    ----------
    sheet : CardSheet
        The layout.
    cards : sequence of tuple of Drawing
        Front and back of each card, of the layout's card size.
    title : Message
        What the cards are, printed beside the scale check.
    words : Words
        The reader's language.

    Returns
    -------
    list of Leaf
        Fronts and backs in turn.
    """
    fronts_frame = _furniture(sheet, title, say("Fronts"), words)
    backs_frame = _furniture(sheet, title, say("Backs"), words)
    leaves = []
    for number in range(ceil(len(cards) / sheet.count)):
        group = cards[number * sheet.count : (number + 1) * sheet.count]
        fronts = [Piece(front, *sheet.front(place)) for place, (front, _) in enumerate(group)]
        backs = [Piece(back, *sheet.back(place)) for place, (_, back) in enumerate(group)]
        for frame, sides in ((fronts_frame, fronts), (backs_frame, backs)):
            furniture = Piece(frame, 0.0, 0.0, Role.FURNITURE)
            leaves.append(Leaf(PAGE_SIZES_MM[sheet.page], (furniture, *sides)))
    return leaves


def cut_marks(sheet: CardSheet) -> tuple[Line, ...]:
    """
    Mark where to cut, outside the cards.

    Parameters
    ----------
    sheet : CardSheet
        The layout.

    Returns
    -------
    tuple of Line
        Two marks for each cut, one at either end.
    """
    left, top = sheet.left_mm, sheet.top_mm
    right = left + sheet.columns * sheet.card_mm[0]
    bottom = top + sheet.rows * sheet.card_mm[1]
    marks = []
    for column in range(sheet.columns + 1):
        x = left + column * sheet.card_mm[0]
        marks += [
            _mark((x, top - _MARK_GAP_MM), (x, top - _MARK_GAP_MM - _MARK_MM)),
            _mark((x, bottom + _MARK_GAP_MM), (x, bottom + _MARK_GAP_MM + _MARK_MM)),
        ]
    for row in range(sheet.rows + 1):
        y = top + row * sheet.card_mm[1]
        marks += [
            _mark((left - _MARK_GAP_MM, y), (left - _MARK_GAP_MM - _MARK_MM, y)),
            _mark((right + _MARK_GAP_MM, y), (right + _MARK_GAP_MM + _MARK_MM, y)),
        ]
    return tuple(marks)


def _mark(start: Point, end: Point) -> Line:
    return Line(start, end, Ink.HAIRLINE)


def _check_height_mm() -> float:
    return scale_check("", "").height_mm


def _furniture(sheet: CardSheet, title: Message, side: Message, words: Words) -> Drawing:
    """Draw what a sheet carries besides its cards."""
    width, height = PAGE_SIZES_MM[sheet.page]
    frames = scale_check(
        words.say(say("Scale check")),
        words.say(
            say(
                "Lay a bank card here. Each edge must lie between the two lines. "
                "Does not fit? Do not use. Print at 100 %%."
            )
        ),
    )
    bar = length_bar(_BAR_MM, words.say(say("Bar of 100 mm")), "100 mm")
    left = (width - frames.width_mm - _BESIDE_MM - bar.width_mm) / 2
    beside = left + frames.width_mm + _BESIDE_MM
    top = sheet.check_top_mm
    shapes: list[Shape] = [
        *cut_marks(sheet),
        frames.at(left, top),
        bar.at(beside, top + frames.height_mm - bar.height_mm - 1.0),
    ]
    baseline = top + 6.0
    for text, bold in (
        (words.say(title), True),
        (words.say(side), False),
        (words.say(say("Print on both sides. Turn the sheet over its long edge.")), False),
        (words.say(say("The bar must measure 100 mm with a steel rule.")), False),
    ):
        lines = text_lines(Text(beside, baseline, text, TEXT_MM, bold=bold), _BAR_MM)
        shapes += lines
        baseline = lines[-1].y_mm + 6.2
    return Drawing(width, height, tuple(shapes), words.say(title))
