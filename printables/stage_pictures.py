"""The picture of each stage for one block's standard, with its labels in the reader's words."""

import re
from dataclasses import replace
from typing import Final

from audits.messages import Message, Words, mark, say
from audits.plain_words import Band, stage_words
from audits.practice.model import TreeKind
from audits.practice.pruning import NOTHING_CUT
from audits.standard import HeadingStageRule, Standard
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, HeadingRule, Method, Result, Stage
from printables.drawing.clear_trees import hanging_tree
from printables.drawing.lettering import text_lines, text_width
from printables.drawing.panel import HEIGHT_MM, SMALL_MM, WIDTH_MM
from printables.drawing.pictograms import result_tile
from printables.drawing.practice_tree import limb_shapes
from printables.drawing.primitives import Drawing, Shape, Text
from printables.drawing.thumbs import (
    LEAVE_MM,
    THUMB_MM,
    columns_thumb,
    few_flowers,
    heading_thumb,
    limbs_thumb,
    no_large_limb,
    top_thumb,
    young_top,
)
from printables.drawing.tree import (
    ColumnsLabels,
    HeadingLabels,
    LimbsLabels,
    TopLabels,
    columns_drawing,
    hanging_view,
    heading_drawing,
    limbs_drawing,
    top_drawing,
    trunk_piece,
)


def stage_picture(
    standard: Standard, stage: Stage, words: Words, *, method: Method = Method.LADDER
) -> Drawing:
    """
    Draw what a stage asks of a tree of this block.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.
    words : Words
        The reader's language and units.
    method : Method, optional
        How the crew works.

    Returns
    -------
    Drawing
        A panel of 35 by 40 mm; its description is the stage in plain words.
    """
    title = words.say(STAGE_NAMES[stage])
    sentences = stage_words(standard, stage, method=method)
    description = " ".join(words.say(step) for step in sentences.steps)
    match stage:
        case Stage.TOP:
            return _top(standard, words, title, description)
        case Stage.LIMBS:
            limit = _unbroken(words.show(Length(standard.limbs.large_mm, LengthKind.DIAMETER)))
            labels = LimbsLabels(title, description, limit)
            return limbs_drawing(standard.limbs.large_mm, standard.limbs.most, labels)
        case Stage.COLUMNS:
            return _columns(standard, words, title, description)
        case Stage.HEADING:
            return _heading(standard, words, title, description)


def stage_thumb(
    standard: Standard,
    stage: Stage,
    words: Words,
    *,
    method: Method = Method.LADDER,
    lettered: bool = True,
) -> Drawing:
    """
    Draw what a stage asks of a tree of this block, for a card the size of a bank card.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.
    words : Words
        The reader's language and units.
    method : Method, optional
        How the crew works.
    lettered : bool, optional
        Whether the stage's number stands in it; left out where it stands beside it.

    Returns
    -------
    Drawing
        A square of 19 mm; its description is the stage in plain words.
    """
    title = words.say(STAGE_NAMES[stage])
    sentences = stage_words(standard, stage, method=method)
    description = " ".join(words.say(step) for step in sentences.steps)
    letters = _thumb_letters(standard, stage, words) if lettered else ()
    room = THUMB_MM - len(letters) * _LETTERS_MM
    shapes = (*_thumb(standard, stage, room), *letters)
    return Drawing(THUMB_MM, THUMB_MM, shapes, title, description)


# A line of letters below a thumb.
_LETTERS_MM: Final = 3.7


def _thumb(standard: Standard, stage: Stage, height_mm: float) -> list[Shape]:
    heading = standard.heading
    match stage:
        case Stage.TOP:
            return top_thumb(standard.top.target_mm, standard.top.tolerance_mm, height_mm)
        case Stage.LIMBS:
            return limbs_thumb(standard.limbs.large_mm, standard.limbs.most, height_mm)
        case Stage.COLUMNS:
            return columns_thumb(standard.columns.side_branch_mm, height_mm)
        case Stage.HEADING:
            return heading_thumb(
                heading.thinnest_mm,
                heading.thickest_mm,
                is_headed=heading.rule is HeadingRule.REQUIRED,
                height_mm=height_mm,
            )


def _thumb_letters(standard: Standard, stage: Stage, words: Words) -> tuple[Text, ...]:
    """Write the stage's number below its thumb, in letters of 9 points, or nothing."""
    heading = standard.heading
    number: object | None = None
    match stage:
        case Stage.TOP:
            number = Length(standard.top.target_mm)
        case Stage.LIMBS:
            number = Length(standard.limbs.large_mm, LengthKind.DIAMETER)
        case Stage.COLUMNS:
            number = Length(standard.columns.side_branch_mm)
        case Stage.HEADING:
            if heading.rule is HeadingRule.REQUIRED:
                number = Band(heading.thinnest_mm, heading.thickest_mm)
    if number is None:
        return ()
    text = words.show(number)
    lines = text_lines(Text(0.0, 0.0, text, SMALL_MM, bold=True), THUMB_MM, even=True)
    first = THUMB_MM - 0.9 - (len(lines) - 1) * _LETTERS_MM
    return tuple(replace(line, y_mm=first + row * _LETTERS_MM) for row, line in enumerate(lines))


def leave_pictures(standard: Standard, words: Words, *, low_bloom: bool) -> tuple[Drawing, ...]:
    """
    Draw trees on which a stage has nothing to do.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    low_bloom : bool
        Whether the block has few flower buds this year.

    Returns
    -------
    tuple of Drawing
        Squares of 16 mm without letters, each titled with the reason in a few words: the top not
        there yet, no large limb, those of stages in use, and few flower buds where that holds.
    """
    pictures: list[tuple[Message, list[Shape]]] = []
    if standard.top.in_use:
        pictures.append((say(_NOT_DUE), young_top(standard.top.target_mm)))
    if standard.limbs.in_use:
        pictures.append((say(_NO_LARGE_LIMB), no_large_limb(standard.limbs.large_mm)))
    # Few flower buds change what is done about limbs only.
    if low_bloom and standard.limbs.in_use:
        pictures.append((say(_LOW_BLOOM), few_flowers()))
    return tuple(
        Drawing(LEAVE_MM, LEAVE_MM, tuple(shapes), words.say(reason)) for reason, shapes in pictures
    )


_NOT_DUE: Final = mark("Top below the line")
_NO_LARGE_LIMB: Final = mark("No large limb")
_LOW_BLOOM: Final = mark("Few flower buds")


# Room for the band below the close-up of the heading drawing.
_BAND_MM: Final = 22.0
_NUMBER_AND_UNIT: Final = re.compile(r"(\d) (?=[^\W\d_])")


def _unbroken(text: str) -> str:
    """Keep each number and its unit on one line."""
    return _NUMBER_AND_UNIT.sub("\\1\u00a0", text)


def _top(standard: Standard, words: Words, title: str, description: str) -> Drawing:
    rule = standard.top
    labels = TopLabels(
        title,
        description,
        target=_unbroken(words.show(Length(rule.target_mm))),
        tolerance=f"\u00b1 {words.show(Length(rule.tolerance_mm))}",
    )
    wires = () if standard.top_wire_mm is None else (standard.top_wire_mm,)
    return top_drawing(rule.target_mm, rule.tolerance_mm, wires, labels)


def _columns(standard: Standard, words: Words, title: str, description: str) -> Drawing:
    length = standard.columns.side_branch_mm
    labels = ColumnsLabels(
        title,
        description,
        before=words.say(_BEFORE),
        after=words.say(_AFTER),
        side_branch=words.show(Length(length)),
    )
    return columns_drawing(length, labels)


def _heading(standard: Standard, words: Words, title: str, description: str) -> Drawing:
    rule = standard.heading
    if rule.rule is not HeadingRule.REQUIRED:
        return _whole_end(rule, title, description)
    band = _unbroken(words.show(Band(rule.thinnest_mm, rule.thickest_mm)))
    if text_width(band, SMALL_MM, bold=True) > _BAND_MM:
        # The gauge has the band too; half a figure would be worse than none.
        band = ""
    labels = HeadingLabels(title, description, band)
    return heading_drawing(rule.thinnest_mm, rule.thickest_mm, labels)


_BEFORE: Final = mark("before")
_AFTER: Final = mark("after")


def _whole_end(rule: HeadingStageRule, title: str, description: str) -> Drawing:
    """Draw a hanging branch with its tip on, where heading is off or forbidden."""
    kind = TreeKind.TIP_BEARER if rule.rule is HeadingRule.FORBIDDEN else TreeKind.USUAL
    limb = hanging_tree(rule.thinnest_mm, rule.thickest_mm, kind).limbs[0]
    branch = limb_shapes(limb, hanging_view(limb), NOTHING_CUT, shows_spurs=True)
    tick = result_tile(Result.CONFORMING, "")
    shapes: tuple[Shape, ...] = (
        *branch.stays,
        trunk_piece().outline(),
        tick.at(11.0, 19.0, 1.0),
    )
    return Drawing(WIDTH_MM, HEIGHT_MM, shapes, title, description)
