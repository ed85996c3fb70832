"""The front of a card with all stages: a picture, a figure and few words for each."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from audits.card_words import (
    StageLine,
    brief_leave,
    brief_line,
    card_sick_wood,
    leave_cases,
    leave_heading,
    stage_line,
)
from audits.errors import InvalidInput
from audits.messages import Words, say
from audits.plain_words import stage_words
from audits.vocabulary import Stage
from printables.cards.fitting import evened, fitted, tied, unbroken_size
from printables.cards.request import CardFormat, CardRequest
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Drawing, Shape
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.stage_pictures import leave_pictures, stage_thumb

_TIGHT: Final = 1.08


def stages_of(request: CardRequest) -> tuple[Stage, ...]:
    """
    List the stages that the standard uses, from the top of the tree down.

    Parameters
    ----------
    request : CardRequest
        The card.

    Returns
    -------
    tuple of Stage
        The stages.
    """
    return tuple(stage for stage in Stage if request.standard.rule(stage).in_use)


def described(request: CardRequest, words: Words, stages: Sequence[Stage]) -> str:
    """
    Say a front in full for those who cannot see it.

    Parameters
    ----------
    request : CardRequest
        The card.
    words : Words
        The reader's language and units.
    stages : sequence of Stage
        The stages on it.

    Returns
    -------
    str
        Each stage's steps, when to leave a tree, and what to do about sick wood.
    """
    subject = request.subject
    said = [
        stage_words(request.standard, stage, method=subject.method, low_bloom=subject.low_bloom)
        for stage in stages
    ]
    parts = [
        *(part for each in said for part in (each.headline, *each.steps, *each.leave)),
        card_sick_wood(brief=False),
    ]
    return " ".join(dict.fromkeys(words.say(part) for part in parts))


# --- all stages


def all_stages(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    """
    Draw the stages, two in a row, with what holds for all of them below.

    Parameters
    ----------
    request : CardRequest
        The card.
    words : Words
        The reader's language and units.
    room_mm : tuple of float
        Width and height below the head.

    Returns
    -------
    Drawing
        Of that size.
    """
    small = request.card_format is CardFormat.ID_1
    return (_small_stages if small else _stages)(request, words, room_mm)


def _stages(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    width, height = room_mm
    stages = stages_of(request)
    lines = [stage_line(request.standard, stage, method=request.subject.method) for stage in stages]
    wanted = [_wanted_mm(line, words, request, width) for line in lines]
    columns = _columns(wanted, width, _BETWEEN_MM)
    foot = _foot(request, words, width, columns)
    rows = -(-len(stages) // len(columns))
    high = (height - foot.height_mm) / rows - _ROWS_BETWEEN_MM
    shapes: list[Shape] = []
    for place, cell in enumerate(_between(request, lines, words, columns, high)):
        row, column = divmod(place, len(columns))
        shapes.append(cell.at(columns[column].left_mm, row * (high + _ROWS_BETWEEN_MM)))
    shapes.append(foot.at(0.0, height - foot.height_mm))
    return Drawing(width, height, tuple(shapes), "")


_ROWS_BETWEEN_MM: Final = 1.2
_COLUMNS: Final = 2
# What two columns are to be apart, so that what stands in them is not read as one line.
_BETWEEN_MM: Final = 2.4


@dataclass(frozen=True)
class _Column:
    """Where a column begins, and how wide it is."""

    left_mm: float
    width_mm: float


def _columns(wanted_mm: Sequence[float], width_mm: float, between_mm: float) -> list[_Column]:
    """Share a width among columns, more of it to one that wants more, if all get what they want."""
    count = min(len(wanted_mm), _COLUMNS)
    free = width_mm - (count - 1) * between_mm
    wanted = [max(wanted_mm[column::count]) for column in range(count)]
    spare = (free - sum(wanted)) / count
    columns: list[_Column] = []
    left = 0.0
    for each in wanted:
        wide = each + spare if spare >= 0 else free / count
        columns.append(_Column(left, wide))
        left += wide + between_mm
    return columns


def _wanted_mm(line: StageLine, words: Words, request: CardRequest, width_mm: float) -> float:
    """Find the width of a stage's key in one line, and of its limit in one or two."""
    letters = request.letters
    key_mm = text_width(words.say(line.key), letters.key_pt * POINT_MM, bold=True)
    if line.limit is None:
        return key_mm
    limit_mm = text_width(words.say(line.limit), letters.text_pt * POINT_MM)
    return max(key_mm, limit_mm if limit_mm <= width_mm / _COLUMNS else _HALF_A_LINE * limit_mm)


# The longer of two lines, as part of both.
_HALF_A_LINE: Final = 0.6


def _thumb(request: CardRequest, stage: Stage, words: Words) -> Drawing:
    return stage_thumb(
        request.standard, stage, words, method=request.subject.method, lettered=False
    )


def _key(line: StageLine, words: Words, width_mm: float, request: CardRequest) -> Drawing:
    """Set the key of a stage in one line if it may be, smaller only where a word would break."""
    letters = request.letters
    key = words.say(line.key)
    size = unbroken_size(key.replace(" ", "\u00a0"), width_mm, letters.key_pt, bold=True)
    if size < max(letters.least_key_pt, _KEY_PT):
        key = tied(key, width_mm, letters.key_pt, bold=True)
        size = unbroken_size(key, width_mm, letters.key_pt, bold=True)
    size = max(letters.least_key_pt, size)
    return paragraph([Run(key, bold=True)], width_mm, size, leading=_TIGHT)


# What a key is not made smaller than to stand in one line.
_KEY_PT: Final = 12.0


def _limit(
    line: StageLine, words: Words, room_mm: tuple[float, float], wanted_pt: float, least_pt: float
) -> Drawing | None:
    """Set the limit of a stage; nothing if it has none, or if it does not fit."""
    if line.limit is None:
        return None
    limit = words.say(line.limit)
    wanted = unbroken_size(limit, room_mm[0], wanted_pt)
    return fitted([[Run(limit)]], room_mm, (max(wanted, least_pt), least_pt))


def _small_stages(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    """
    Draw each stage beside its figure and its limit, rows as high as their words need.

    Raises
    ------
    InvalidInput
        If the head leaves too little room: nothing that a stage asks is ever left out.
    """
    width, height = room_mm
    stages = stages_of(request)
    lines = [brief_line(request.standard, stage) for stage in stages]
    count = min(len(stages), _COLUMNS)
    rows = -(-len(stages) // count)
    wide = (width - (count - 1) * _SMALL_BETWEEN_MM) / count
    for foot in (
        _small_foot(request, words, width),
        _small_foot(request, words, width, pictured=False),
    ):
        free = height - foot.height_mm - rows * _SMALL_ROWS_BETWEEN_MM
        side = min(free / rows, _THUMB_SHARE * wide)
        beside = side + _BESIDE_THUMB_MM
        wanted = [beside + _small_mm(line, words, request, wide - beside) for line in lines]
        columns = _columns(wanted, width, _SMALL_BETWEEN_MM)
        texts = [
            _small_text(request, line, words, columns[place % count].width_mm - beside)
            for place, line in enumerate(lines)
        ]
        least = [
            max(text.height_mm for text in texts[row * count : (row + 1) * count])
            for row in range(rows)
        ]
        spare = (free - sum(least)) / rows
        if spare < 0:
            continue
        shapes: list[Shape] = [foot.at(0.0, height - foot.height_mm)]
        top = 0.0
        for place, (stage, text) in enumerate(zip(stages, texts, strict=True)):
            row, column = divmod(place, count)
            high = least[row] + spare
            left = columns[column].left_mm
            thumb = _thumb(request, stage, words)
            shown = min(side, high)
            shapes += [
                thumb.at(
                    left + (side - shown) / 2, top + (high - shown) / 2, shown / thumb.width_mm
                ),
                text.at(left + beside, top + (high - text.height_mm) / 2),
            ]
            if column == count - 1:
                top += high + _SMALL_ROWS_BETWEEN_MM
        return Drawing(width, height, tuple(shapes), "")
    raise InvalidInput(
        {"block": say('"%(name)s" is too long for a card.', name=request.subject.block)}
    )


_SMALL_ROWS_BETWEEN_MM: Final = 0.6
_SMALL_BETWEEN_MM: Final = 1.8
_BESIDE_THUMB_MM: Final = 0.8


def _small_mm(line: StageLine, words: Words, request: CardRequest, width_mm: float) -> float:
    """Find the width of a stage's key, in two lines if it is wide, and of its limit in two."""
    letters = request.letters
    key_mm = text_width(words.say(line.key), letters.key_pt * POINT_MM, bold=True)
    limit = "" if line.limit is None else words.say(line.limit)
    limit_mm = text_width(limit, letters.least_pt * POINT_MM)
    in_two = key_mm > _MOST_SHARE * width_mm
    return max(_HALF_A_LINE * key_mm if in_two else key_mm, _HALF_A_LINE * limit_mm)


# How much more than its part of a row a key may take from the other column.
_MOST_SHARE: Final = 1.15


def _small_text(request: CardRequest, line: StageLine, words: Words, width_mm: float) -> Drawing:
    parts = [_key(line, words, width_mm, request)]
    if line.limit is not None:
        parts.append(evened([Run(words.say(line.limit))], width_mm, request.letters.least_pt))
    return stacked(parts, width_mm)


_THUMB_SHARE: Final = 0.42


def _between(
    request: CardRequest,
    lines: Sequence[StageLine],
    words: Words,
    columns: Sequence[_Column],
    height: float,
) -> list[Drawing]:
    """Draw each stage between its figure and its limit, all pictures of one size."""
    letters = request.letters
    widths = [columns[place % len(columns)].width_mm for place in range(len(lines))]
    keys = [_key(line, words, width, request) for line, width in zip(lines, widths, strict=True)]
    limits = [
        _limit(line, words, (width, height / 3), letters.text_pt, letters.least_pt)
        for line, width in zip(lines, widths, strict=True)
    ]
    key_high = max(key.height_mm for key in keys)
    limit_high = max(0.0 if limit is None else limit.height_mm for limit in limits)
    side = min(*widths, height - key_high - limit_high - 0.4)
    cells = []
    for line, width, key, limit in zip(lines, widths, keys, limits, strict=True):
        thumb = _thumb(request, line.stage, words)
        shapes = [key.at(0.0, 0.0), thumb.at(0.0, key_high, side / thumb.width_mm)]
        if limit is not None:
            shapes.append(limit.at(0.0, key_high + side + 0.4))
        cells.append(Drawing(width, height, tuple(shapes), thumb.title))
    return cells


# --- what holds for all stages


def _leave_pictures(request: CardRequest, words: Words) -> tuple[Drawing, ...]:
    return leave_pictures(request.standard, words, low_bloom=request.subject.low_bloom)


def _small_foot(
    request: CardRequest, words: Words, width_mm: float, *, pictured: bool = True
) -> Drawing:
    """Say in two or three short lines when to leave a tree, and what to do about sick wood."""
    least = request.letters.least_pt
    told = evened([Run(words.say(card_sick_wood(brief=True)), bold=True)], width_mm, least)
    sentence = brief_leave(request.standard, low_bloom=request.subject.low_bloom)
    leave = _brief_strip(request, words, width_mm, _SMALL_LEAVE_MM)
    if leave is None or sentence is None:
        return told
    if not pictured:
        leave = evened([Run(words.say(sentence))], width_mm, least)
    return stacked([leave, told], width_mm, 0.2)


def _brief_strip(
    request: CardRequest, words: Words, width_mm: float, side_mm: float
) -> Drawing | None:
    """Draw trees to be left alone in a row, and say so in one sentence beside them."""
    sentence = brief_leave(request.standard, low_bloom=request.subject.low_bloom)
    if sentence is None:
        return None
    pictures = _leave_pictures(request, words)
    left = len(pictures) * (side_mm + 0.6) + 0.8
    text = evened([Run(words.say(sentence))], width_mm - left, request.letters.least_pt)
    high = max(side_mm, text.height_mm)
    shapes: list[Shape] = [
        picture.at(place * (side_mm + 0.6), (high - side_mm) / 2, side_mm / picture.width_mm)
        for place, picture in enumerate(pictures)
    ]
    shapes.append(text.at(left, (high - text.height_mm) / 2))
    return Drawing(width_mm, high, tuple(shapes), "")


_SMALL_LEAVE_MM: Final = 7.6


def _foot(
    request: CardRequest, words: Words, width_mm: float, columns: Sequence[_Column]
) -> Drawing:
    """Show when to leave a tree, and say what to do about sick wood."""
    sick = [Run(words.say(card_sick_wood(brief=False)), bold=True)]
    told = evened(sick, width_mm, request.letters.text_pt)
    leave = leave_strip(request, words, width_mm, [column.left_mm for column in columns])
    if leave is None:
        leave = _brief_strip(request, words, width_mm, _LEAVE_MM)
    return stacked([leave, told] if leave is not None else [told], width_mm, 1.0)


_LEAVE_MM: Final = 11.0


def leave_strip(
    request: CardRequest, words: Words, width_mm: float, lefts_mm: Sequence[float] = ()
) -> Drawing | None:
    """
    Draw trees to be left alone, with the reason beside each.

    Parameters
    ----------
    request : CardRequest
        The card.
    words : Words
        The reader's language and units.
    width_mm : float
        Width of the strip.
    lefts_mm : sequence of float, optional
        Where columns begin above it; followed if there are as many reasons.

    Returns
    -------
    Drawing or None
        The strip; none if neither tops nor limbs are pruned, or if a reason's words would be
        broken.
    """
    least = request.letters.least_pt
    low_bloom = request.subject.low_bloom
    pictures = _leave_pictures(request, words)
    cases = [words.say(case) for case in leave_cases(request.standard, low_bloom=low_bloom)]
    if not pictures:
        return None
    head = paragraph([Run(words.say(leave_heading()), bold=True)], width_mm, least + 0.5)
    gap = 1.5
    lefts = list(lefts_mm)
    if len(lefts) != len(pictures):
        wide = (width_mm + gap) / len(pictures)
        lefts = [place * wide for place in range(len(pictures))]
    widths = [right - gap - left for left, right in pairwise([*lefts, width_mm + gap])]
    side = min(_LEAVE_MM, _THUMB_SHARE * min(widths))
    rooms = [wide - side - 0.8 for wide in widths]
    told = list(zip(cases, rooms, strict=True))
    if any(unbroken_size(case, room, least) < least for case, room in told):
        return None
    captions = [evened([Run(case)], room, least) for case, room in told]
    high = max([side, *(caption.height_mm for caption in captions)])
    shapes: list[Shape] = [head.at(0.0, 0.0)]
    top = head.height_mm + 0.4
    for left, picture, caption in zip(lefts, pictures, captions, strict=True):
        shapes += [
            picture.at(left, top + (high - side) / 2, side / picture.width_mm),
            caption.at(left + side + 0.8, top + (high - caption.height_mm) / 2),
        ]
    return Drawing(width_mm, top + high, tuple(shapes), "")


# --- large print


def large_print(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    """
    Draw the stages one below the other in large letters.

    Parameters
    ----------
    request : CardRequest
        The card.
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
        If the words of this language are too long for letters of this size.
    """
    width, height = room_mm
    stages = stages_of(request)
    least = request.letters.least_pt
    sick = [Run(words.say(card_sick_wood(brief=True)), bold=True)]
    strip = leave_strip(request, words, width)
    sentence = brief_leave(request.standard, low_bloom=request.subject.low_bloom)
    said = [[Run(words.say(sentence))]] if sentence is not None else []
    row = _brief_strip(request, words, width, _LEAVE_MM)
    if row is not None and row.height_mm > _MOST_OF_LEAVE * _LEAVE_MM:
        # Words in a column as narrow as this read worse than without the pictures.
        row = None
    feet = [
        None if strip is None else stacked([strip, evened(sick, width, least)], width, 1.0),
        stacked([row, evened(sick, width, least)], width, 1.0) if row is not None else None,
        fitted([*said, sick], room_mm, (least, least), 1.0),
    ]
    for foot in feet:
        if foot is None:
            continue
        rows = _large_rows(request, stages, words, (width, height - foot.height_mm - 1.0))
        if rows is not None:
            shapes = (rows.at(0.0, 0.0), foot.at(0.0, height - foot.height_mm))
            return Drawing(width, height, shapes, "")
    raise InvalidInput({"style": say("The words are too long for large print on this card.")})


_ROWS_APART_MM: Final = 0.8
_LARGE_THUMB_SHARE: Final = 0.27
_MOST_OF_LEAVE: Final = 1.4
# How far pictures may shrink beside a stage with many words.
_LEAST_OF_SIDE: Final = 0.8


def _large_rows(
    request: CardRequest, stages: Sequence[Stage], words: Words, room_mm: tuple[float, float]
) -> Drawing | None:
    """Draw each stage beside its figure and its limit; nothing if they do not fit."""
    width, height = room_mm
    letters = request.letters
    free = height - (len(stages) - 1) * _ROWS_APART_MM
    side = min(_LARGE_THUMB_SHARE * width, free / len(stages))
    left = side + 1.5
    for limit_pt in (letters.text_pt, letters.least_pt):
        texts = [_large_text(request, stage, words, width - left, limit_pt) for stage in stages]
        whole = [text for text in texts if text is not None]
        least = [max(text.height_mm, _LEAST_OF_SIDE * side) for text in whole]
        if len(whole) < len(stages) or sum(least) > free:
            continue
        spare = (free - sum(least)) / len(stages)
        shapes: list[Shape] = []
        top = 0.0
        for stage, text, high in zip(stages, whole, least, strict=True):
            row = high + spare
            thumb = _thumb(request, stage, words)
            shown = min(side, row)
            shapes += [
                thumb.at(0.0, top + (row - shown) / 2, shown / thumb.width_mm),
                text.at(left, top + (row - text.height_mm) / 2),
            ]
            top += row + _ROWS_APART_MM
        return Drawing(width, height, tuple(shapes), "")
    return None


def _large_text(
    request: CardRequest, stage: Stage, words: Words, width_mm: float, limit_pt: float
) -> Drawing | None:
    """Set a stage's figure above its limit; nothing if a word would be broken."""
    letters = request.letters
    line = brief_line(request.standard, stage)
    key = words.say(line.key)
    if unbroken_size(key, width_mm, letters.key_pt, bold=True) < letters.least_key_pt:
        return None
    parts = [_key(line, words, width_mm, request)]
    if line.limit is not None:
        limit = words.say(line.limit)
        if unbroken_size(limit, width_mm, limit_pt) < limit_pt:
            return None
        parts.append(evened([Run(limit)], width_mm, limit_pt))
    return stacked(parts, width_mm)
