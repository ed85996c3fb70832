"""The front of a card for beginners: one stage, one big picture, the pair of right and wrong."""

from typing import Final

from audits.card_words import beginner_leave, brief_line, card_sick_wood
from audits.errors import InvalidInput
from audits.messages import Words, say
from audits.plain_words import stage_words
from audits.standard import asks_for_side_branch
from audits.vocabulary import RESULT_NAMES, Fault, HeadingRule, Result, Stage
from printables.cards.fitting import fitted
from printables.cards.request import CardFormat, CardRequest
from printables.drawing.closeup import fault_close_up, right_close_up
from printables.drawing.panel import HEIGHT_MM as PANEL_HIGH_MM
from printables.drawing.panel import WIDTH_MM as PANEL_WIDE_MM
from printables.drawing.pictograms import result_tile
from printables.drawing.primitives import Drawing, Shape
from printables.fault_pictures import fault_picture
from printables.paragraphs import Run
from printables.stage_pictures import stage_picture, stage_thumb

# The fault that is seen beside right work: one that beginners make (common practice, no source).
_WRONG: Final = {
    Stage.TOP: Fault.BLUNT,
    Stage.LIMBS: Fault.LONG_STUB,
    Stage.COLUMNS: Fault.SIDE_BRANCH,
    Stage.HEADING: Fault.THICK,
}
_TILE: Final = 0.34
_GAP_MM: Final = 1.2
_BETWEEN_MM: Final = 1.5
_PAIR_SHARE: Final = 0.36
_LEAST_PICTURE_MM: Final = 24.0
_WANTED_SCALE: Final = 1.2


def one_stage(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    """
    Draw one stage for a beginner.

    Parameters
    ----------
    request : CardRequest
        The card; it names the stage.
    words : Words
        The reader's language and units.
    room_mm : tuple of float
        Width and height below the head.

    Returns
    -------
    Drawing
        Of that size.

    Raises
    ------
    InvalidInput
        If the words do not fit beside a picture that can be read.
    ValueError
        If the request names no stage.
    """
    if request.stage is None:
        raise ValueError("stage is missing; a card of one stage needs it")
    lying = request.card_format is CardFormat.ID_1
    drawn = (_lying if lying else _standing)(request, request.stage, words, room_mm)
    if drawn is None:
        raise InvalidInput({"block": say("There is more to say than the card has room for.")})
    return drawn


def _standing(
    request: CardRequest, stage: Stage, words: Words, room_mm: tuple[float, float]
) -> Drawing | None:
    """Lay the picture between its headline and the steps, the pair beside it."""
    width, height = room_mm
    letters = request.letters
    subject = request.subject
    said = stage_words(request.standard, stage, method=subject.method, low_bloom=subject.low_bloom)
    headline = fitted(
        [[Run(words.say(said.headline), bold=True)]],
        (width, height / 4),
        (letters.key_pt, letters.least_key_pt),
    )
    if headline is None:
        return None
    leave = beginner_leave(stage, low_bloom=subject.low_bloom)
    steps = [*said.beginner, *([leave] if leave is not None else [])]
    lines = [
        *([Run(words.say(step))] for step in steps),
        [Run(words.say(card_sick_wood(brief=False)), bold=True)],
    ]
    for least_picture_mm in (_WANTED_SCALE * PANEL_HIGH_MM, PANEL_HIGH_MM, _LEAST_PICTURE_MM):
        text_room = height - headline.height_mm - least_picture_mm - 2 * _GAP_MM
        text = fitted(lines, (width, text_room), (letters.text_pt, letters.least_pt), 1.2)
        if text is None:
            continue
        high = height - headline.height_mm - text.height_mm - 2 * _GAP_MM
        pictures = _pictures(request, stage, words, (width, high))
        shapes = (
            headline.at(0.0, 0.0),
            pictures.at(0.0, headline.height_mm + _GAP_MM),
            text.at(0.0, height - text.height_mm),
        )
        return Drawing(width, height, shapes, "")
    return None


def _big_picture(
    request: CardRequest, stage: Stage, words: Words, size_mm: tuple[float, float]
) -> tuple[Drawing, float]:
    """Draw the panel and find its scale, or a picture without letters where they would be small."""
    method = request.subject.method
    panel = stage_picture(request.standard, stage, words, method=method)
    scale = min(size_mm[0] / PANEL_WIDE_MM, size_mm[1] / PANEL_HIGH_MM)
    if scale >= 1.0:
        return panel, scale
    thumb = stage_thumb(request.standard, stage, words, method=method, lettered=False)
    return thumb, min(size_mm) / thumb.width_mm


def _pictures(
    request: CardRequest, stage: Stage, words: Words, size_mm: tuple[float, float]
) -> Drawing:
    """Set the pair of right and wrong one below the other beside the big picture."""
    width, height = size_mm
    side = min((height - 1.0) / 2, _PAIR_SHARE * width)
    room = width - side - _BETWEEN_MM
    picture, scale = _big_picture(request, stage, words, (room, height))
    side = min((height - 1.0) / 2, width - _BETWEEN_MM - scale * picture.width_mm)
    right, wrong = right_and_wrong(request, stage, words)
    left = width - side
    shapes = (
        picture.at(0.0, (height - scale * picture.height_mm) / 2, scale),
        _square(right, side).at(left, (height / 2 - side) / 2),
        _square(wrong, side).at(left, height / 2 + (height / 2 - side) / 2),
    )
    return Drawing(width, height, shapes, picture.title)


def _square(drawing: Drawing, side_mm: float) -> Drawing:
    scale = side_mm / max(drawing.width_mm, drawing.height_mm)
    left = (side_mm - scale * drawing.width_mm) / 2
    top = (side_mm - scale * drawing.height_mm) / 2
    return Drawing(side_mm, side_mm, (drawing.at(left, top, scale),), drawing.title)


def right_and_wrong(request: CardRequest, stage: Stage, words: Words) -> tuple[Drawing, Drawing]:
    """
    Draw right work and a fault of beginners, each with its tile in the corner.

    Parameters
    ----------
    request : CardRequest
        The card.
    stage : Stage
        The stage.
    words : Words
        The reader's language and units.

    Returns
    -------
    tuple of Drawing
        What is right, and what is wrong.
    """
    standard, method = request.standard, request.subject.method
    fault = _WRONG[stage]
    right_name = words.say(RESULT_NAMES[Result.CONFORMING])
    right = right_close_up(stage, right_name)
    if stage is Stage.TOP and not asks_for_side_branch(standard, method):
        fault = Fault.HIGH
        right = stage_thumb(standard, stage, words, method=method, lettered=False)
    if stage is Stage.LIMBS and standard.limbs.most == 0:
        fault = Fault.TOO_MANY
        right = stage_thumb(standard, stage, words, method=method, lettered=False)
    if stage is Stage.HEADING and standard.heading.rule is not HeadingRule.REQUIRED:
        fault = Fault.FORBIDDEN
        right = fault_close_up(Fault.LEFT_LONG, right_name, pointed_out=False)
    wrong = fault_picture(standard, fault, words, lettered=False)
    # A hanging end leaves the lower corner free, every other close-up the upper one.
    below = stage is Stage.HEADING
    return (
        _judged(right, Result.CONFORMING, below=below),
        _judged(wrong, Result.NONCONFORMING, below=below),
    )


def _judged(drawing: Drawing, result: Result, *, below: bool) -> Drawing:
    """Put the tile of a result into the lower left corner, or over the upper right one."""
    side = max(drawing.width_mm, drawing.height_mm)
    square = _square(drawing, side)
    tile = result_tile(result, "")
    size = _TILE * side
    scale = size / tile.width_mm
    if below:
        shapes: tuple[Shape, ...] = (square.at(0.0, 0.0), tile.at(0.0, side - size, scale))
        return Drawing(side, side, shapes, drawing.title)
    high = side + 0.5 * size
    shapes = (square.at(0.0, high - side), tile.at(side - size, 0.0, scale))
    return Drawing(side, high, shapes, drawing.title)


def _lying(
    request: CardRequest, stage: Stage, words: Words, room_mm: tuple[float, float]
) -> Drawing | None:
    """Lay the picture left of its words, the pair below them."""
    width, height = room_mm
    letters = request.letters
    standard, subject = request.standard, request.subject
    picture, scale = _big_picture(request, stage, words, (PANEL_WIDE_MM * 1.05, height))
    left = scale * picture.width_mm + 2.0
    room = width - left
    said = stage_words(standard, stage, method=subject.method)
    # The panel shows every limit but the wire.
    shown = stage is not Stage.TOP and picture.height_mm >= PANEL_HIGH_MM
    limit = None if shown else brief_line(standard, stage).limit
    headline = fitted(
        [[Run(words.say(said.headline), bold=True)]],
        (room, height),
        (letters.least_key_pt, letters.least_key_pt),
    )
    leave = beginner_leave(stage, low_bloom=subject.low_bloom)
    lines = [line for line in (limit, leave, card_sick_wood(brief=True)) if line is not None]
    if headline is None:
        return None
    text = fitted(
        [[Run(words.say(line))] for line in lines],
        (room, height - headline.height_mm - 0.8),
        (letters.least_pt, letters.least_pt),
        0.6,
    )
    if text is None:
        return None
    shapes: list[Shape] = [
        picture.at(0.0, (height - scale * picture.height_mm) / 2, scale),
        headline.at(left, 0.0),
        text.at(left, height - text.height_mm),
    ]
    high = height - headline.height_mm - text.height_mm - 2 * _GAP_MM
    if high >= _LEAST_PAIR_MM:
        side = min(high, (room - 2.0) / 2)
        top = headline.height_mm + _GAP_MM + (high - side) / 2
        shapes += [
            _square(drawing, side).at(left + place * (side + 2.0), top)
            for place, drawing in enumerate(right_and_wrong(request, stage, words))
        ]
    return Drawing(width, height, tuple(shapes), picture.title)


_LEAST_PAIR_MM: Final = 6.5
