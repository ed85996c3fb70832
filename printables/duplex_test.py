"""
The test page for both sides: how far a printer's backs lie from its fronts, in two directions.

Each scale is a vernier, as on a caliper: lines of the front stand a little closer together than
those of the back. Against the light, one line of the front continues one of the back, and the
figure there says how far backs are to be moved.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from audits.messages import Message, Rounded, Words, say
from audits.vocabulary import TurnedOver
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.primitives import Anchor, Drawing, Point, Rect, Shape, Text
from printables.fonts import require_letters
from printables.imposition import (
    MOST_CORRECTION_MM,
    NO_CORRECTION,
    Correction,
    moved,
    turning,
)
from printables.paragraphs import Run, paragraph
from printables.sheet import PAGE_SIZES_MM, SMALL_MM, TEXT_MM, Page

# The scales end where a correction does, so that whatever is read can be entered.
REACH_MM: Final = int(MOST_CORRECTION_MM)
# Two neighbouring lines of a scale differ by this in what they read.
STEP_MM: Final = 0.5
# Lines of the front stand this far apart; the eye needs room to follow each through the paper.
PITCH_MM: Final = 7.0

_LINE_MM: Final = 0.3
_HALF_LENGTH_MM: Final = 5.0
_LENGTH_MM: Final = 7.0
# The scales' middle lines, where lines of the back end and those of the front begin.
_FROM_TOP_MM: Final = 46.0
_FROM_BOTTOM_MM: Final = 24.0
_FROM_SIDE_MM: Final = 30.0

_MARGIN_MM: Final = 18.0
_HEADING_TOP_MM: Final = 10.0
_STEPS_LEFT_MM: Final = 46.0
_STEPS_TOP_MM: Final = 78.0
_HEADING_PT: Final = 18.0
_TEXT_PT: Final = 12.0
_STEP_GAP_MM: Final = 2.2


@dataclass(frozen=True, slots=True)
class Scale:
    """
    A scale of the test page.

    Parameters
    ----------
    zero : tuple of float
        Where its zero lies on the back, across and down.
    upright : bool
        Whether it runs down instead of right.
    """

    zero: Point
    upright: bool


def scales(size_mm: tuple[float, float]) -> tuple[Scale, ...]:
    """
    Lay the scales out.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the paper.

    Returns
    -------
    tuple of Scale
        Two that run right, near the upper and the lower edge, and two that run down, near the
        sides: only paper that went through straight reads alike on both.
    """
    width, height = size_mm
    # The upper half of the sheet has the heading, so that the upright scales stand a bit low.
    middle = (_FROM_TOP_MM + height - _FROM_BOTTOM_MM) / 2
    return (
        Scale((width / 2, _FROM_TOP_MM), upright=False),
        Scale((width / 2, height - _FROM_BOTTOM_MM), upright=False),
        Scale((_FROM_SIDE_MM, middle), upright=True),
        Scale((width - _FROM_SIDE_MM, middle), upright=True),
    )


def duplex_test(
    farm: str,
    printer: str,
    words: Words,
    *,
    page: Page = Page.LETTER,
    turned_over: TurnedOver = TurnedOver.LONG_EDGE,
    correction: Correction = NO_CORRECTION,
) -> Document:
    """
    Print a sheet that, held against the light, shows how far backs lie from fronts.

    Against the light one line of the front continues a line of the back; the figure there says
    how far backs are to be moved.

    Parameters
    ----------
    farm, printer : str
        Their names; the printer's may be empty.
    words : Words
        The reader's language.
    page : Page, optional
        The paper.
    turned_over : TurnedOver, optional
        Over which edge the printer turns the sheet.
    correction : Correction, optional
        How far backs are moved already; what is read then adds to it.

    Returns
    -------
    Document
        The front and the back.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """
    require_letters({"farm": farm, "name": printer})
    size_mm = PAGE_SIZES_MM[page]
    title = say("Test page for both sides")
    front = (
        *_heading(title, say("Front side"), printer, words, size_mm),
        *_instructions(turned_over, correction, words, size_mm),
        *(_front_lines(scale, size_mm, words) for scale in scales(size_mm)),
    )
    back = (
        *_heading(title, say("Back side"), printer, words, size_mm),
        *(_back_lines(scale, words) for scale in scales(size_mm)),
    )
    leaves = (
        Leaf(size_mm, front),
        Leaf(
            size_mm,
            tuple(moved(back, correction.right_mm, correction.down_mm)),
            turned=turned_over is TurnedOver.SHORT_EDGE,
        ),
    )
    return Document(words.say(title), farm, words.language, leaves)


def _heading(
    title: Message, side: Message, printer: str, words: Words, size_mm: tuple[float, float]
) -> Iterator[Piece]:
    width = size_mm[0] - 2 * _MARGIN_MM
    head = paragraph([Run(words.say(title), bold=True)], width, _HEADING_PT)
    yield Piece(head, _MARGIN_MM, _HEADING_TOP_MM, Role.TITLE)
    told = words.say(side)
    if printer:
        told = words.say(say("%(side)s. Printer: %(name)s.", side=side, name=printer))
    yield Piece(
        paragraph([Run(told)], width, _TEXT_PT),
        _MARGIN_MM,
        _HEADING_TOP_MM + head.height_mm + 1.0,
        Role.TEXT,
    )


def _instructions(
    turned_over: TurnedOver, correction: Correction, words: Words, size_mm: tuple[float, float]
) -> Iterator[Piece]:
    """Say what to do, in the middle of the front, where no scale of the back shines through."""
    steps = [
        turning(turned_over),
        say("Hold the sheet against the light. Look at the back."),
        say("Lines of the front shine through. Find where two lines make one. Read the figure."),
        say("Each way has two scales. If they differ a little, take the middle."),
        say("Enter both figures for this printer: to the right, and downwards."),
    ]
    if correction == NO_CORRECTION:
        steps += [
            say("Example: to the right it reads 1.5, downwards -0.5. Enter 1.5 and -0.5."),
            say("Print this page again with the correction. Now each scale must read 0."),
        ]
    else:
        steps[-1] = say(
            "These backs are moved already: %(right)s to the right, %(down)s downwards. Each scale "
            "reads 0? Then you are done. If not, add what you read.",
            right=Rounded(correction.right_mm),
            down=Rounded(correction.down_mm),
        )
    steps.append(
        say("Two scales differ by more than 1? Straighten the paper in its tray. Print again.")
    )
    width = size_mm[0] - 2 * _STEPS_LEFT_MM
    top = _STEPS_TOP_MM
    for number, step in enumerate(steps, start=1):
        figure = paragraph([Run(f"{number}.", bold=True)], 8.0, _TEXT_PT)
        text = paragraph([Run(words.say(step))], width - 9.0, _TEXT_PT)
        shapes = (*figure.shapes, text.at(9.0, 0.0))
        drawing = Drawing(width, text.height_mm, shapes, f"{number}. {text.title}")
        yield Piece(drawing, _STEPS_LEFT_MM, top, Role.TEXT)
        top += text.height_mm + _STEP_GAP_MM


def _readings() -> list[float]:
    steps = round(REACH_MM / STEP_MM)
    return [number * STEP_MM for number in range(-steps, steps + 1)]


def _front_lines(scale: Scale, size_mm: tuple[float, float], words: Words) -> Piece:
    """Draw the lines of the front, which is seen from the other side: right is left here."""
    reach = REACH_MM / STEP_MM * PITCH_MM
    half = _LINE_MM / 2
    x, y = size_mm[0] - scale.zero[0], scale.zero[1]
    shapes: tuple[Shape, ...]
    if scale.upright:
        shapes = tuple(
            Rect(0.0, reach + at - half, _LENGTH_MM, _LINE_MM) for at in _places(PITCH_MM)
        )
        size, place = (_LENGTH_MM, 2 * reach), (x - _LENGTH_MM, y - reach)
    else:
        shapes = tuple(
            Rect(reach - at - half, 0.0, _LINE_MM, _LENGTH_MM) for at in _places(PITCH_MM)
        )
        size, place = (2 * reach, _LENGTH_MM), (x - reach, y)
    drawing = Drawing(*size, shapes, words.say(say("Lines that shine through")))
    return Piece(drawing, *place, Role.FURNITURE)


def _places(pitch_mm: float) -> list[float]:
    return [reading / STEP_MM * pitch_mm for reading in _readings()]


def _back_lines(scale: Scale, words: Words) -> Piece:
    """Draw the lines of the back, each a step further from the zero than its line of the front."""
    pitch = PITCH_MM + STEP_MM
    reach = REACH_MM / STEP_MM * pitch
    half = _LINE_MM / 2
    around = 16.0
    shapes: list[Shape] = []
    for reading, at in zip(_readings(), _places(pitch), strict=True):
        whole = reading == round(reading)
        length = _LENGTH_MM if whole else _HALF_LENGTH_MM
        figure = str(round(reading))
        if scale.upright:
            middle = around + reach + at
            shapes.append(Rect(around - length, middle - half, length, _LINE_MM))
            label = Text(around - 8.0, middle + 1.15, figure, SMALL_MM, anchor=Anchor.END)
        else:
            middle = around + reach + at
            shapes.append(Rect(middle - half, around - length, _LINE_MM, length))
            label = Text(middle, around - 8.0, figure, SMALL_MM, anchor=Anchor.MIDDLE)
        if whole:
            shapes.append(label)
    direction = words.say(say("downwards") if scale.upright else say("to the right"))
    title = words.say(say("Scale in mm: how far the backs are to be moved %(way)s", way=direction))
    x, y = scale.zero
    if scale.upright:
        size = (2 * around, 2 * (around + reach))
        shapes.append(
            Text(around, around - 6.0, direction, TEXT_MM, anchor=Anchor.MIDDLE, bold=True)
        )
        place = (x - around, y - around - reach)
    else:
        size = (2 * (around + reach), 2 * around)
        shapes.append(
            Text(around - 4.0, around - 12.4, direction, TEXT_MM, anchor=Anchor.START, bold=True)
        )
        place = (x - around - reach, y - around)
    return Piece(Drawing(*size, tuple(shapes), title), *place, Role.TEXT)
