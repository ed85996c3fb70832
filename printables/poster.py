"""The standard of a block on large paper, for the wall of the shed."""

import re
from collections.abc import Iterator, Sequence
from datetime import date
from math import ceil
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Words, say
from audits.plain_words import StageWords, every_tree, standard_words
from audits.safety import SIGNAL_WORD_NAMES, card_notes, emergency_words
from audits.standard import Standard
from audits.vocabulary import STAGE_NAMES
from printables.cards.fitting import evened
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import largest_size
from printables.drawing.primitives import Drawing, Line
from printables.drawing.qr import qr_drawing
from printables.imposition import moved
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, POSTER_PAGES, Page
from printables.stage_pictures import leave_pictures, stage_picture
from printables.subject import StandardSubject

_MARGIN_MM: Final = 14.0
_GAP_MM: Final = 7.0
_RULE_GAP_MM: Final = 3.5

# To be read from two or three steps away (common practice: capitals of 1 mm for each 0.3 m).
_NAME_PT: Final = (54.0, 24.0)
_STAGE_PT: Final = 20.0
_FIGURE_PT: Final = (44.0, 18.0)
_SMALL_PT: Final = 13.0
_CAPTION_PT: Final = 12.0
# How large pictures and letters are, the largest first; a long standard takes smaller ones.
_SIZES: Final = (
    (2.2, 18.0),
    (2.0, 17.0),
    (1.9, 16.0),
    (1.8, 15.0),
    (1.7, 15.0),
    (1.7, 14.0),
    (1.6, 13.0),
    (1.4, 12.0),
    (1.2, 12.0),
    (1.0, 12.0),
)
# A word as wide as its line would be broken where a size is rounded on its way to points.
_ALMOST: Final = 0.999
# Spaces at which a figure may break.
_BEFORE_A_WORD: Final = re.compile(r"(?<!\d) ")
_COLUMNS: Final = 2
_BETWEEN_MM: Final = 11.0
_BESIDE_MM: Final = 5.0
_QR_MM: Final = 36.0
_LEAVE_SCALE: Final = 1.3


def poster(
    subject: StandardSubject,
    standard: Standard,
    words: Words,
    *,
    page: Page = Page.TABLOID,
    address: str = "",
    printed_on: date | None = None,
) -> Document:
    """
    Print the standard of a block to be hung up.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper, one of `POSTER_PAGES`.
    address : str, optional
        Address of the block's page, for the QR code; none without it.
    printed_on : date or None, optional
        The day of printing.

    Returns
    -------
    Document
        One side.

    Raises
    ------
    InvalidInput
        If the paper is too small, or if a name is too long.
    """
    if page not in POSTER_PAGES:
        raise InvalidInput({"page": say("A poster needs larger paper. Choose tabloid or A3.")})
    size_mm = PAGE_SIZES_MM[page]
    width = size_mm[0] - 2 * _MARGIN_MM
    header = _header(subject, words, width)
    footer = _footer(subject, standard, words, width, address, printed_on)
    stages = standard_words(standard, method=subject.method, low_bloom=subject.low_bloom)
    footer_top = size_mm[1] - _MARGIN_MM - _bottom(footer)
    top = _MARGIN_MM + header.height_mm + _GAP_MM
    cell_mm = (
        (width - _BETWEEN_MM) / _COLUMNS,
        (footer_top - top) / ceil(len(stages) / _COLUMNS) - _GAP_MM,
    )
    pieces = [Piece(header, _MARGIN_MM, _MARGIN_MM, Role.TITLE)]
    for place, cell in enumerate(_cells(subject, standard, stages, words, cell_mm)):
        row, column = divmod(place, _COLUMNS)
        across = _MARGIN_MM + column * (cell_mm[0] + _BETWEEN_MM)
        pieces += moved(cell, across, top + row * (cell_mm[1] + _GAP_MM))
    pieces += moved(footer, _MARGIN_MM, footer_top)
    title = say("Standard of %(block)s", block=subject.block)
    return Document(words.say(title), subject.farm, words.language, [Leaf(size_mm, tuple(pieces))])


def _header(subject: StandardSubject, words: Words, width_mm: float) -> Drawing:
    """
    Write the block's name as large as it fits, and below it whose standard this is.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    words : Words
        The reader's language.
    width_mm : float
        Width of the poster between its margins.

    Returns
    -------
    Drawing
        The header.
    """
    wanted, least = (size * POINT_MM for size in _NAME_PT)
    size_pt = largest_size(subject.block, width_mm, wanted, least, bold=True) / POINT_MM
    name = paragraph([Run(subject.block, bold=True)], width_mm, size_pt, leading=1.1)
    below = say("%(farm)s. %(version)s", farm=subject.farm, version=subject.version_words())
    version = paragraph([Run(words.say(below), ink=Ink.SOFT)], width_mm, _STAGE_PT)
    return stacked([name, version], width_mm, 1.0, words.say(below))


def _cells(
    subject: StandardSubject,
    standard: Standard,
    stages: Sequence[StageWords],
    words: Words,
    size_mm: tuple[float, float],
) -> list[list[Piece]]:
    """
    Set all stages in letters of one size, as large as the fullest of them allows.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    stages : sequence of StageWords
        The stages, from the top of the tree down.
    words : Words
        The reader's language and units.
    size_mm : tuple of float
        Width and height of a cell.

    Returns
    -------
    list of list of Piece
        The pieces of each cell, placed from its upper left corner.

    Raises
    ------
    InvalidInput
        If they do not fit even in the smallest letters.
    """
    width, height = size_mm
    pictures = [
        stage_picture(standard, stage.stage, words, method=subject.method) for stage in stages
    ]
    for scale, size_pt in _SIZES:
        cells = [
            _cell(picture, stage, words, width, scale, size_pt)
            for picture, stage in zip(pictures, stages, strict=True)
        ]
        if all(_bottom(cell) <= height for cell in cells):
            return cells
    raise InvalidInput({"block": say('"%(name)s" is too long for a poster.', name=subject.block)})


def _bottom(pieces: Sequence[Piece]) -> float:
    return max((piece.y_mm + piece.drawing.height_mm for piece in pieces), default=0.0)


def _cell(
    picture: Drawing,
    stage: StageWords,
    words: Words,
    width_mm: float,
    scale: float,
    size_pt: float,
) -> list[Piece]:
    """Show a stage: its picture with the figure beside it, what to do, and what to leave."""
    enlarged = Drawing(
        scale * picture.width_mm,
        scale * picture.height_mm,
        (picture.at(0.0, 0.0, scale),),
        picture.title,
        picture.description,
    )
    left = enlarged.width_mm + _BESIDE_MM
    key = _key(stage, words, width_mm - left, size_pt)
    lines = [evened([Run(words.say(step))], width_mm, size_pt) for step in stage.steps]
    lines += [evened([Run(words.say(each), bold=True)], width_mm, size_pt) for each in stage.leave]
    letters = stacked(lines, width_mm, 1.0, words.say(STAGE_NAMES[stage.stage]))
    rule = Drawing(width_mm, 0.5, (Line((0.0, 0.25), (width_mm, 0.25), Ink.HAIRLINE),), "")
    return [
        Piece(rule, 0.0, 0.0, Role.FURNITURE),
        Piece(key, left, _RULE_GAP_MM, Role.TEXT),
        Piece(enlarged, 0.0, _RULE_GAP_MM),
        Piece(letters, 0.0, _RULE_GAP_MM + max(enlarged.height_mm, key.height_mm) + 2.0, Role.TEXT),
    ]


def _key(stage: StageWords, words: Words, width_mm: float, size_pt: float) -> Drawing:
    """Write the stage's name, its figure as large as can be, and its limit."""
    name = words.say(STAGE_NAMES[stage.stage])
    figure = words.say(stage.figure)
    wanted, least = (size * POINT_MM for size in _FIGURE_PT)
    # A word too long for the largest letters is set smaller rather than broken; a number and the
    # word behind it stay together.
    figure_mm = min(
        largest_size(word, _ALMOST * width_mm, wanted, least, bold=True)
        for word in _BEFORE_A_WORD.split(figure)
    )
    lines = [
        paragraph([Run(name, ink=Ink.SOFT)], width_mm, _STAGE_PT),
        paragraph([Run(figure, bold=True)], width_mm, figure_mm / POINT_MM, leading=1.1),
    ]
    if stage.limit is not None:
        lines.append(paragraph([Run(words.say(stage.limit), bold=True)], width_mm, size_pt + 4.0))
    return stacked(lines, width_mm, 2.0, f"{name}: {figure}")


def _footer(
    subject: StandardSubject,
    standard: Standard,
    words: Words,
    width_mm: float,
    address: str,
    printed_on: date | None,
) -> list[Piece]:
    """Set what holds for every tree and every day, and the code that leads to the block's page."""
    pieces = [
        Piece(
            Drawing(width_mm, 0.5, (Line((0.0, 0.25), (width_mm, 0.25), Ink.HEAVY_LINE),), ""),
            0.0,
            0.0,
            Role.FURNITURE,
        )
    ]
    right = width_mm
    top = 4.0
    if address:
        code = qr_drawing(
            address,
            _QR_MM,
            words.say(say("Code of the block's page")),
            words.say(say("It shows whether a newer standard is out.")),
        )
        right -= _QR_MM
        caption = paragraph(
            [Run(words.say(say("Scan: is this still the newest?")))],
            _QR_MM,
            _CAPTION_PT,
            leading=1.15,
        )
        pieces += [
            Piece(code, right, top),
            Piece(caption, right, top + _QR_MM, Role.TEXT),
        ]
        right -= _GAP_MM
    pictures = leave_pictures(standard, words, low_bloom=subject.low_bloom)
    if pictures:
        shown = _leave_strip(pictures, words)
        right -= shown.width_mm
        pieces.append(Piece(shown, right, top))
        right -= _GAP_MM
    trees = [[Run(words.say(message), bold=True)] for message in every_tree(standard)]
    people = [*_for_people(subject, words)]
    if printed_on is not None:
        people.append([Run(words.say(say("Printed on %(day)s", day=printed_on)), ink=Ink.SOFT)])
    # What is said of people stands apart from what is said of trees.
    groups = [
        stacked([evened(line, right, _SMALL_PT) for line in lines], right, 1.2)
        for lines in (trees, people)
    ]
    text = stacked(groups, right, _GROUPS_APART_MM)
    pieces.insert(1, Piece(text, 0.0, top, Role.TEXT))
    return pieces


_GROUPS_APART_MM: Final = 3.6


def _for_people(subject: StandardSubject, words: Words) -> Iterator[list[Run]]:
    """Say how people stay whole, whose rules come first, and where help comes to."""
    for note in card_notes(subject.method):
        runs = [Run(words.say(note.short))]
        if note.signal is not None:
            runs.insert(0, Run(words.say(SIGNAL_WORD_NAMES[note.signal]), bold=True))
        yield runs
    yield [Run(words.say(say("Local rules come first.")))]
    for message in emergency_words(subject.emergency_location, subject.first_aider):
        yield [Run(words.say(message))]


def _leave_strip(pictures: Sequence[Drawing], words: Words) -> Drawing:
    """Show trees on which there is nothing to do, each with its reason below."""
    title = words.say(say("Leave it when"))
    each = max(picture.width_mm for picture in pictures) * _LEAVE_SCALE
    head = paragraph([Run(title, bold=True)], len(pictures) * (each + 3.0), _SMALL_PT)
    shapes = list(head.shapes)
    bottom = 0.0
    for number, picture in enumerate(pictures):
        left = number * (each + 3.0)
        below = paragraph([Run(picture.title)], each, _CAPTION_PT, leading=1.15)
        top = head.height_mm + 1.0
        shapes += [
            picture.at(left, top, _LEAVE_SCALE),
            below.at(left, top + picture.height_mm * _LEAVE_SCALE + 0.5),
        ]
        bottom = max(bottom, top + picture.height_mm * _LEAVE_SCALE + 0.5 + below.height_mm)
    reasons = ". ".join(picture.title for picture in pictures)
    return Drawing(head.width_mm, bottom, tuple(shapes), title, f"{reasons}.")
