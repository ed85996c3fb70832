"""The picture of each stage for one block's standard, with its labels in the reader's words."""

import re
from typing import Final

from audits.messages import Words, mark
from audits.plain_words import Band, stage_words
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, HeadingRule, Method, Result, Stage
from printables.drawing.inks import Ink
from printables.drawing.lettering import largest_size, text_width
from printables.drawing.panel import HEIGHT_MM, SMALL_MM, WIDTH_MM, spur
from printables.drawing.pictograms import result_tile, stage_pictogram
from printables.drawing.primitives import Drawing, Shape, Text
from printables.drawing.tree import (
    ColumnsLabels,
    HeadingLabels,
    LimbsLabels,
    TopLabels,
    columns_drawing,
    heading_drawing,
    limbs_drawing,
    top_drawing,
)
from printables.drawing.wood import Stem

# A square of a card of the size of a bank card, and one for a tree to be left alone.
THUMB_MM: Final = 19.0
LEAVE_MM: Final = 16.0


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
    shapes: list[Shape] = [stage_pictogram(stage, title).at(0.5, 0.5, 1.5)]
    if lettered:
        figure = words.say(sentences.figure)
        size = largest_size(figure, THUMB_MM, SMALL_MM, SMALL_MM, bold=True)
        shapes.append(Text(0.0, THUMB_MM - 0.8, figure, size, bold=True))
    return Drawing(THUMB_MM, THUMB_MM, tuple(shapes), title, description)


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
        there yet, no large limb, and few flower buds where that holds; those of stages in use.
    """
    reasons = []
    if standard.top.in_use:
        reasons.append((Stage.TOP, _NOT_DUE))
    if standard.limbs.in_use:
        reasons.append((Stage.LIMBS, _NO_LARGE_LIMB))
        if low_bloom:
            reasons.append((Stage.COLUMNS, _LOW_BLOOM))
    return tuple(
        Drawing(
            LEAVE_MM,
            LEAVE_MM,
            (stage_pictogram(stage, "").at(0.5, 0.5, 1.25),),
            words.say(reason),
        )
        for stage, reason in reasons
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
        return _whole_end(title, description)
    band = _unbroken(words.show(Band(rule.thinnest_mm, rule.thickest_mm)))
    if text_width(band, SMALL_MM, bold=True) > _BAND_MM:
        # The gauge has the band too; half a figure would be worse than none.
        band = ""
    labels = HeadingLabels(title, description, band)
    return heading_drawing(rule.thinnest_mm, rule.thickest_mm, labels)


_BEFORE: Final = mark("before")
_AFTER: Final = mark("after")


def _whole_end(title: str, description: str) -> Drawing:
    """Draw a hanging branch with its tip on, where heading is off or forbidden."""
    trunk = Stem.between((2.0, 39.8), (2.0, 0.2), (3.6, 3.2))
    branch = Stem((3.0, 13.4), (12.4, -3.4), (29.8, -4.0), (30.0, 36.0), 4.0, 0.8)
    spurs = [
        shape
        for along, side in ((0.3, -1), (0.42, 1), (0.56, -1), (0.68, 1), (0.8, -1), (0.9, 1))
        for shape in spur(branch, along, side, 1.3)
    ]
    tick = result_tile(Result.CONFORMING, "")
    shapes: tuple[Shape, ...] = (
        *spurs,
        branch.outline(Ink.WOOD),
        trunk.outline(),
        tick.at(11.0, 17.0, 1.0),
    )
    return Drawing(WIDTH_MM, HEIGHT_MM, shapes, title, description)
