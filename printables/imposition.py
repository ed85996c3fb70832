"""Cards on sheets, both sides in register: their places, cut marks, the check of the scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeAlias

from audits.errors import InvalidInput
from audits.messages import Message, Words, say
from audits.vocabulary import TurnedOver
from printables.document import Leaf, Piece, Progress, Role
from printables.drawing.gauge import length_bar, scale_check
from printables.drawing.inks import Ink
from printables.drawing.lettering import largest_size
from printables.drawing.primitives import Anchor, Drawing, Line, Point, Shape, Text
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, SMALL_MM, Page

# What office printers leave blank at the edges (common practice: 4.2 mm).
UNPRINTED_MM: Final = 4.3
# A back that is further off than this has another cause, such as the wrong paper in the tray.
MOST_CORRECTION_MM: Final = 5.0

LONG_BAR_MM: Final = 100.0
SHORT_BAR_MM: Final = 50.0

_MARK_MM: Final = 2.0
_MARK_GAP_MM: Final = 0.8
_BESIDE_MM: Final = 6.0
# The upright bar stands this far from the paper's left edge.
_UPRIGHT_LEFT_MM: Final = 6.5
# Its lower end stands so far above the lowest cut.
_UPRIGHT_FOOT_MM: Final = 12.0
# Beside the frames: words, the number of the sheet or a short bar, and at the foot a long bar.
_TOLD_MM: Final = 36.0
_SHORT_BAR_TOP_MM: Final = 39.0
# Room for the number of a sheet.
_NUMBER_MM: Final = 44.0
# Two lines of words and a lying bar, for sheets without frames.
_SLIM_MM: Final = 13.4

# What lies on one side of a card; places count from the card's upper left corner.
Face: TypeAlias = Sequence[Piece]
# Front and back.
Faces: TypeAlias = tuple[Face, Face]


@dataclass(frozen=True, slots=True)
class Correction:
    """
    How far backs are moved so that they come to lie behind their fronts.

    Parameters
    ----------
    right_mm, down_mm : float, optional
        As one looks at the back with its words upright; below 0 to the left and up.

    Raises
    ------
    InvalidInput
        If a length is no number, or more than `MOST_CORRECTION_MM`.
    """

    right_mm: float = 0.0
    down_mm: float = 0.0

    def __post_init__(self) -> None:
        problems = {
            field: say(
                "Enter between -%(most)s and %(most)s mm. If backs are off by more, check the "
                "paper in the tray.",
                most=int(MOST_CORRECTION_MM),
            )
            for field, length_mm in (
                ("back_right_mm", self.right_mm),
                ("back_down_mm", self.down_mm),
            )
            if not (math.isfinite(length_mm) and abs(length_mm) <= MOST_CORRECTION_MM)
        }
        if problems:
            raise InvalidInput(problems)


NO_CORRECTION: Final = Correction()


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
    frames : bool, optional
        Whether the frames for a bank card lie below the cards.
    """

    page: Page
    card_mm: tuple[float, float]
    columns: int
    rows: int
    frames: bool = True

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
        spare = PAGE_SIZES_MM[self.page][1] - self.rows * self.card_mm[1]
        if self.frames:
            return max(_least_top_mm(), (spare - _check_height_mm(frames=True)) / 3)
        # The words of the check begin below the cut marks, and need no more room above them.
        return max(_least_top_mm(), (spare - _SLIM_MM) / 2)

    @property
    def bottom_mm(self) -> float:
        """Lower edge of the cards."""
        return self.top_mm + self.rows * self.card_mm[1]

    @property
    def check_top_mm(self) -> float:
        """Upper edge of the scale check."""
        if not self.frames:
            return self.bottom_mm
        left_over = PAGE_SIZES_MM[self.page][1] - self.bottom_mm - _check_height_mm(frames=True)
        return self.bottom_mm + min(left_over / 2, left_over - UNPRINTED_MM)

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
            Across and down from the page's upper left corner, in mm. A printer that turns the
            sheet over its short edge gets the same side turned by half.
        """
        left, top = self.front(place)
        return (PAGE_SIZES_MM[self.page][0] - left - self.card_mm[0], top)


def card_sheet(page: Page, card_mm: tuple[float, float], *, frames: bool = True) -> CardSheet:
    """
    Lay as many cards on a sheet as fit above the scale check.

    Parameters
    ----------
    page : Page
        The paper.
    card_mm : tuple of float
        Width and height of a card.
    frames : bool, optional
        Whether the sheet has the frames for a bank card; cards that have them on their own backs
        can do without.

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
    around = 3 * UNPRINTED_MM if frames else _least_top_mm() + UNPRINTED_MM
    columns = int((width - 2 * UNPRINTED_MM) // card_mm[0])
    rows = int((height - around - _check_height_mm(frames=frames)) // card_mm[1])
    if columns < 1 or rows < 1:
        raise ValueError(f"card_mm is {card_mm}; it does not fit on {page}")
    return CardSheet(page, card_mm, columns, rows, frames)


def impose(
    sheet: CardSheet,
    cards: Sequence[Faces],
    title: Message,
    words: Words,
    *,
    turned_over: TurnedOver = TurnedOver.LONG_EDGE,
    correction: Correction = NO_CORRECTION,
    progress: Progress | None = None,
) -> list[Leaf]:
    """
    Lay fronts and backs out on as many sheets as they need, fronts on odd pages.

    Parameters
    ----------
    sheet : CardSheet
        The layout.
    cards : sequence of tuple
        Front and back of each card, each a sequence of pieces placed from the card's upper left
        corner. Pieces that many cards have in common should hold the same drawing.
    title : Message
        What the cards are, printed beside the scale check.
    words : Words
        The reader's language.
    turned_over : TurnedOver, optional
        Over which edge the printer turns the sheet.
    correction : Correction, optional
        How far this printer's backs are moved.
    progress : callable or None, optional
        Told after each sheet how many of how many are laid out.

    Returns
    -------
    list of Leaf
        Fronts and backs in turn.
    """
    sheets = math.ceil(len(cards) / sheet.count)
    measure = (
        say("Both bars must measure 100 mm with a steel rule.")
        if sheet.frames
        else say("Both bars: 100 mm on a steel rule.")
    )
    how = (turning(turned_over), measure)
    fronts_frame = around(sheet, title, (say("Fronts"), *how), words)
    backs_frame = around(sheet, title, (say("Backs"), *how), words)
    leaves: list[Leaf] = []
    for number in range(1, sheets + 1):
        group = cards[(number - 1) * sheet.count : number * sheet.count]
        count = _sheet_number(sheet, number, sheets, words)
        fronts = [
            piece
            for place, (front, _) in enumerate(group)
            for piece in moved(front, *sheet.front(place))
        ]
        backs = [
            piece
            for place, (_, back) in enumerate(group)
            for piece in moved(back, *sheet.back(place))
        ]
        leaves += [
            Leaf(
                PAGE_SIZES_MM[sheet.page],
                (*(fronts_frame if leaves else headed(fronts_frame)), count, *fronts),
            ),
            Leaf(
                PAGE_SIZES_MM[sheet.page],
                tuple(
                    moved((*backs_frame, count, *backs), correction.right_mm, correction.down_mm)
                ),
                turned=turned_over is TurnedOver.SHORT_EDGE,
            ),
        ]
        if progress is not None:
            progress(number, sheets)
    return leaves


def moved(pieces: Face, right_mm: float, down_mm: float) -> list[Piece]:
    """
    Move pieces together.

    Parameters
    ----------
    pieces : sequence of Piece
        The pieces.
    right_mm, down_mm : float
        How far.

    Returns
    -------
    list of Piece
        The same drawings in their new places.
    """
    if right_mm == down_mm == 0.0:
        return list(pieces)
    return [
        Piece(piece.drawing, piece.x_mm + right_mm, piece.y_mm + down_mm, piece.role)
        for piece in pieces
    ]


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
    left, top, bottom = sheet.left_mm, sheet.top_mm, sheet.bottom_mm
    right = left + sheet.columns * sheet.card_mm[0]
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


def _least_top_mm() -> float:
    return UNPRINTED_MM + _MARK_GAP_MM + _MARK_MM


@lru_cache(maxsize=1)
def _frames_size_mm() -> tuple[float, float]:
    frames = scale_check("", "")
    return frames.width_mm, frames.height_mm


def _check_height_mm(*, frames: bool) -> float:
    return _frames_size_mm()[1] if frames else _SLIM_MM


def _check_sides(sheet: CardSheet) -> tuple[float, float]:
    """Find the left edge of the frames, and of what stands beside them."""
    width_mm = _frames_size_mm()[0]
    left = (PAGE_SIZES_MM[sheet.page][0] - width_mm - _BESIDE_MM - LONG_BAR_MM) / 2
    return left, left + width_mm + _BESIDE_MM


def turning(turned_over: TurnedOver) -> Message:
    """
    Say how a sheet is printed on both sides.

    Parameters
    ----------
    turned_over : TurnedOver
        Over which edge the printer turns the sheet.

    Returns
    -------
    Message
        What to choose when printing.
    """
    if turned_over is TurnedOver.SHORT_EDGE:
        return say("Print on both sides. Turn the sheet over its short edge.")
    return say("Print on both sides. Turn the sheet over its long edge.")


def around(
    sheet: CardSheet, title: Message, told: Sequence[Message], words: Words, *, short: bool = False
) -> tuple[Piece, Piece]:
    """
    Draw what a sheet carries besides its cards: cut marks, and the check of its scale.

    Parameters
    ----------
    sheet : CardSheet
        The layout.
    title : Message
        What the cards are.
    told : sequence of Message
        Which side this is, and how to print; short sentences.
    words : Words
        The reader's language.
    short : bool, optional
        Whether there are bars of 50 mm besides those of 100 mm; only on sheets with frames.

    Returns
    -------
    tuple of Piece
        What is said, and then marks, frames and bars; each as large as the paper.
    """
    check = _check_with_frames if sheet.frames else _slim_check
    said = [words.say(title), *map(words.say, told)]
    measures, letters = check(sheet, said, words)
    shapes = [*cut_marks(sheet), *_upright_bar(sheet, words), *measures]
    if short:
        shapes += _short_bars(sheet, words)
    size = PAGE_SIZES_MM[sheet.page]
    return (
        Piece(Drawing(*size, letters, said[0]), 0.0, 0.0, Role.TEXT),
        Piece(Drawing(*size, tuple(shapes), ""), 0.0, 0.0, Role.FURNITURE),
    )


def headed(frame: Face) -> Face:
    """
    Tag what is said beside the cards as the document's heading, on its first sheet.

    Parameters
    ----------
    frame : sequence of Piece
        As `around` returns it.

    Returns
    -------
    sequence of Piece
        The same drawings.
    """
    said, *others = frame
    return (replace(said, role=Role.TITLE), *others)


def _upright_bar(sheet: CardSheet, words: Words) -> tuple[Shape, ...]:
    """Stand a long bar left of the cards."""
    bar = length_bar(LONG_BAR_MM, words.say(_bar_name(LONG_BAR_MM)), "", upright=True)
    bottom = sheet.bottom_mm - _UPRIGHT_FOOT_MM
    return (
        bar.at(_UPRIGHT_LEFT_MM, bottom - LONG_BAR_MM),
        *_figure_below("100", _UPRIGHT_LEFT_MM + bar.width_mm / 2, bottom),
    )


def _short_bars(sheet: CardSheet, words: Words) -> tuple[Shape, ...]:
    """Lay a short bar above the long one, and stand one right of the cards."""
    name = words.say(_bar_name(SHORT_BAR_MM))
    lying = length_bar(SHORT_BAR_MM, name, "")
    standing = length_bar(SHORT_BAR_MM, name, "", upright=True)
    _, beside = _check_sides(sheet)
    top = sheet.check_top_mm + _SHORT_BAR_TOP_MM
    left = PAGE_SIZES_MM[sheet.page][0] - _UPRIGHT_LEFT_MM - standing.width_mm
    bottom = sheet.bottom_mm - _UPRIGHT_FOOT_MM
    return (
        lying.at(beside, top),
        Text(beside + SHORT_BAR_MM + 1.6, top + 2.7, "50 mm", SMALL_MM),
        standing.at(left, bottom - SHORT_BAR_MM),
        *_figure_below("50", left + standing.width_mm / 2, bottom),
    )


def _figure_below(figure: str, middle_mm: float, bottom_mm: float) -> tuple[Text, ...]:
    """Write a length below an upright bar, on two lines that stay clear of cut marks."""
    return tuple(
        Text(middle_mm, bottom_mm + down, line, SMALL_MM, anchor=Anchor.MIDDLE)
        for line, down in ((figure, 3.6), ("mm", 7.4))
    )


def _bar_name(length_mm: float) -> Message:
    return say("Bar of %(length)s mm", length=int(length_mm))


# Bars and frames, and what is said beside them.
_Check: TypeAlias = tuple[tuple[Shape, ...], tuple[Shape, ...]]


def _check_with_frames(sheet: CardSheet, told: Sequence[str], words: Words) -> _Check:
    left, beside = _check_sides(sheet)
    frames = scale_check(
        words.say(say("Scale check")),
        words.say(
            say(
                "Lay a bank card here. Each edge must lie between the two lines. "
                "Does not fit? Do not use. Print at 100 %%."
            )
        ),
    )
    bar = length_bar(LONG_BAR_MM, words.say(_bar_name(LONG_BAR_MM)), "100 mm")
    top = sheet.check_top_mm
    measures = (
        frames.at(left, top),
        bar.at(beside, top + frames.height_mm - bar.height_mm - 1.0),
    )
    return measures, (_told_beside(told).at(beside, top + 1.6),)


def _told_beside(told: Sequence[str]) -> Drawing:
    """Set what is said beside the frames as large as there is room for."""
    for size_pt in (12.0, 11.0, 10.0, 9.0):
        lines = [
            paragraph([Run(text, bold=number == 0)], LONG_BAR_MM, size_pt, leading=1.2)
            for number, text in enumerate(told)
        ]
        letters = stacked(lines, LONG_BAR_MM, 0.8)
        if letters.height_mm <= _TOLD_MM:
            break
    return letters


def _slim_check(sheet: CardSheet, told: Sequence[str], words: Words) -> _Check:
    """Set words and the lying bar in a strip that is as high as the margin of a sheet."""
    top = sheet.check_top_mm + _MARK_GAP_MM + _MARK_MM
    left = _UPRIGHT_LEFT_MM
    title, side, turn, measure = told
    bar = length_bar(LONG_BAR_MM, words.say(_bar_name(LONG_BAR_MM)), "")
    bar_top = top + 7.6
    width = PAGE_SIZES_MM[sheet.page][0] - 2 * left
    beside = LONG_BAR_MM + 1.6
    lines = (
        (0.0, 2.6, f"{side}. {title}", width - _NUMBER_MM, True),
        (0.0, 6.4, turn, width, False),
        (beside, 7.6 + 2.7, measure, width - beside, False),
    )
    letters = tuple(
        Text(
            left + right,
            top + down,
            text,
            largest_size(text, room, SMALL_MM, 0.0, bold=bold),
            bold=bold,
        )
        for right, down, text, room, bold in lines
    )
    return (bar.at(left, bar_top),), letters


def _sheet_number(sheet: CardSheet, number: int, sheets: int, words: Words) -> Piece:
    """Write a sheet's number, so that a dropped pile can be put in order."""
    text = words.say(say("Sheet %(number)s of %(count)s", number=number, count=sheets))
    if sheet.frames:
        _, beside = _check_sides(sheet)
        place = (beside, sheet.check_top_mm + 40.0)
    else:
        right = PAGE_SIZES_MM[sheet.page][0] - _UPRIGHT_LEFT_MM
        place = (right - _NUMBER_MM, sheet.check_top_mm + _MARK_GAP_MM + _MARK_MM - 0.6)
    drawing = Drawing(_NUMBER_MM, 4.4, (Text(0.0, 3.2, text, SMALL_MM),), text)
    return Piece(drawing, *place, Role.FURNITURE)
