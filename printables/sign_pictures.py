"""Choices without words: numbers of places, the sign to leave the wood alone, and faults."""

from math import cos, radians, sin
from typing import Final

from audits.messages import Words, say
from audits.questions import FaultPicture, SignPicture
from audits.vocabulary import FAULT_NAMES, Fault, Result
from printables.drawing.closeup import SIDE_MM, fault_close_up
from printables.drawing.inks import Ink
from printables.drawing.panel import slanted_cut
from printables.drawing.pictograms import SIZE_MM, result_tile
from printables.drawing.primitives import Drawing, Line, Polygon, Rect, Shape, group
from printables.drawing.wood import Stem, bar
from printables.picture_labels import number_disc

SIGN_MM: Final = SIDE_MM


def sign_drawing(picture: SignPicture, words: Words) -> Drawing:
    """
    Draw a choice of places by their numbers, or the sign to leave the wood alone.

    Parameters
    ----------
    picture : SignPicture
        The numbers; none for the sign.
    words : Words
        The reader's language.

    Returns
    -------
    Drawing
        A square of 24 mm.
    """
    if picture.leaves:
        return Drawing(SIGN_MM, SIGN_MM, tuple(_stop()), words.say(say("Leave it alone.")))
    title = ", ".join(str(number) for number in picture.numbers)
    return Drawing(SIGN_MM, SIGN_MM, tuple(_numbers(picture.numbers)), title)


def fault_drawing(picture: FaultPicture, words: Words) -> Drawing:
    """
    Draw a choice that names a fault, or the sign that nothing is wrong.

    Parameters
    ----------
    picture : FaultPicture
        The fault; none for the sign.
    words : Words
        The reader's language.

    Returns
    -------
    Drawing
        A square of 24 mm.
    """
    if picture.fault is None:
        title = words.say(say("Nothing is wrong"))
        tile = result_tile(Result.CONFORMING, title)
        scale = 0.82 * SIGN_MM / SIZE_MM
        off = (SIGN_MM - scale * SIZE_MM) / 2
        return Drawing(SIGN_MM, SIGN_MM, (tile.at(off, off, scale),), title)
    title = words.say(FAULT_NAMES[picture.fault])
    if picture.fault in {Fault.HIGH, Fault.LOW}:
        return Drawing(SIGN_MM, SIGN_MM, tuple(_ends_at(picture.fault)), title)
    return fault_close_up(picture.fault, title)


# Radius of a disc by the number of discs, and where their centres lie.
_MIDDLE: Final = SIGN_MM / 2
_LARGE_MM: Final = 7.0
_PLACES: Final = {
    1: (_LARGE_MM, ((_MIDDLE, _MIDDLE),)),
    2: (5.4, ((6.2, _MIDDLE), (17.8, _MIDDLE))),
    3: (4.9, ((6.4, 6.4), (17.6, 6.4), (_MIDDLE, 17.2))),
    4: (4.9, ((6.4, 6.4), (17.6, 6.4), (6.4, 17.6), (17.6, 17.6))),
}
_PER_ROW: Final = 3


def _numbers(numbers: tuple[int, ...]) -> list[Shape]:
    """Draw the numbers as the picture does, one above a mark of a cut each."""
    if len(numbers) in _PLACES:
        radius, centres = _PLACES[len(numbers)]
    else:
        rows = -(-len(numbers) // _PER_ROW)
        step = SIGN_MM / max(rows, _PER_ROW)
        radius = 0.43 * step
        centres = tuple(
            (step * (place % _PER_ROW + 0.5), step * (place // _PER_ROW + 0.5))
            for place in range(len(numbers))
        )
    return [
        shape
        for number, centre in zip(numbers, centres, strict=True)
        for shape in number_disc(centre, number, radius)
    ]


_STOP_RADIUS_MM: Final = 11.4


def _stop() -> list[Shape]:
    """Draw an open hand on an eight-sided sign."""
    corners = tuple(
        (
            _MIDDLE + _STOP_RADIUS_MM * cos(radians(22.5 + 45.0 * place)),
            _MIDDLE + _STOP_RADIUS_MM * sin(radians(22.5 + 45.0 * place)),
        )
        for place in range(8)
    )
    fingers = ((8.3, 6.9), (10.8, 5.0), (13.3, 4.9), (15.8, 6.6))
    palm = ((7.2, 12.2), (16.9, 12.2), (16.9, 15.4), (14.4, 19.0), (10.0, 19.0), (7.2, 15.8))
    thumb = bar(((8.6, 15.8), (4.9, 12.4)), 2.1, Ink.PAPER)
    return [
        Polygon(corners, Ink.SOLID),
        *(Rect(x - 1.0, top, 2.0, 13.4 - top, Ink.PAPER, 1.0) for x, top in fingers),
        Polygon(palm, Ink.PAPER),
        thumb,
    ]


def _ends_at(fault: Fault) -> list[Shape]:
    """Draw a top that ends above the mark on the pole, or far below it."""
    mark = 12.6
    ends = 5.0 if fault is Fault.HIGH else 18.6
    leader = Stem.between((15.0, 23.8), (15.0, ends - 6.0), (3.0, 1.6))
    cut = (23.8 - ends) / (29.8 - ends)
    stays, _, face = slanted_cut(leader, cut, cut - 0.03)
    branches = [
        Stem.between((15.0, y), (15.0 + reach, y - 3.0), (1.4, 0.8), -0.1 if reach > 0 else 0.1)
        for y, reach in ((ends + 2.4, 7.0), (21.4, -6.0), (ends + 8.0, -6.4))
        if y < _LOWEST_BRANCH_MM
    ]
    flag = ((4.6, mark - 1.8), (8.4, mark), (4.6, mark + 1.8))
    return [
        Rect(3.0, 1.0, 1.6, 22.6, Ink.FRAME, 0.4),
        Polygon(flag),
        Line((9.0, mark), (22.6, mark), Ink.DASHED_LINE),
        *(branch.outline() for branch in branches),
        group((stays, face)),
    ]


_LOWEST_BRANCH_MM: Final = 23.0
