"""What sheets have in common: a title that is tagged as one, and a foot with the page's number."""

from collections.abc import Sequence
from typing import Final

from audits.messages import Words, say
from printables.document import Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Text
from printables.flow import FOOTER_MM, Block
from printables.paragraphs import POINT_MM, Run, paragraph, stacked

TITLE_PT: Final = 18.0
HEADING_PT: Final = 14.0
TEXT_PT: Final = 12.0
SMALL_PT: Final = 9.0

_FOOT_GAP_MM: Final = 6.0


def sheet_head(title: str, lines: Sequence[Sequence[Run]], width_mm: float) -> Block:
    """
    Set the title of a sheet and what stands below it.

    Parameters
    ----------
    title : str
        The title, in the reader's language.
    lines : sequence of sequence of Run
        Paragraphs below it.
    width_mm : float
        Width between the margins.

    Returns
    -------
    Block
        The title, tagged as the document's heading, and the paragraphs.
    """
    heading = paragraph([Run(title, bold=True)], width_mm, TITLE_PT)
    below = stacked([paragraph(line, width_mm, TEXT_PT) for line in lines], width_mm, 1.2)
    pieces = [Piece(heading, 0.0, 0.0, Role.TITLE)]
    height = heading.height_mm
    if lines:
        pieces.append(Piece(below, 0.0, height + 1.6, Role.TEXT))
        height += 1.6 + below.height_mm
    return Block(tuple(pieces), height)


def section_heading(text: str, width_mm: float) -> Drawing:
    """
    Set the heading of a section below a heavy line.

    Parameters
    ----------
    text : str
        The heading, in the reader's language.
    width_mm : float
        Width between the margins.

    Returns
    -------
    Drawing
        The line and the heading.
    """
    heading = paragraph([Run(text, bold=True)], width_mm, HEADING_PT)
    shapes = (Line((0.0, 0.4), (width_mm, 0.4), Ink.HEAVY_LINE), heading.at(0.0, 2.4))
    return Drawing(width_mm, heading.height_mm + 2.4, shapes, text)


def sheet_foot(
    parts: Sequence[str], words: Words, width_mm: float, place: tuple[int, int]
) -> Drawing:
    """
    Set the foot of a page: what the sheet is, and the page's number.

    Parameters
    ----------
    parts : sequence of str
        What the sheet is, the most important first; the last are left out where names are so long
        that they have no room.
    words : Words
        The reader's language.
    width_mm : float
        Width between the margins.
    place : tuple of int
        The page's number and the number of pages.

    Returns
    -------
    Drawing
        One line, or two.
    """
    size = SMALL_PT * POINT_MM
    number = words.say(say("Page %(number)s of %(count)s", number=place[0], count=place[1]))
    room = width_mm - text_width(number, size) - _FOOT_GAP_MM
    for kept in range(len(parts), 0, -1):
        text = ". ".join(parts[:kept])
        said = paragraph([Run(text, ink=Ink.SOFT)], room, SMALL_PT)
        if said.height_mm <= FOOTER_MM:
            break
    shapes = (
        said.at(0.0, 0.0),
        Text(width_mm, 0.95 * size, number, size, Ink.SOFT, Anchor.END),
    )
    return Drawing(width_mm, said.height_mm, shapes, f"{text}. {number}")
