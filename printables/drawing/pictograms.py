"""The tool's own small pictures: four stages, three results, and what was missed."""

from typing import Final

from audits.vocabulary import Fault, Result, Stage
from printables.drawing.inks import Ink
from printables.drawing.primitives import Circle, Drawing, Polygon, Rect, Shape
from printables.drawing.wood import Stem, bar

SIZE_MM: Final = 12.0

_BAR_MM: Final = 1.15
_GAP_MM: Final = 0.65


def _cut(stem: Stem, along: float, length_mm: float, lean_deg: float) -> tuple[Shape, Shape]:
    # The light gap on both sides keeps the mark apart from the wood in black and white too.
    ends = stem.cut_line(along, length_mm, lean_deg)
    return (
        bar(ends, _BAR_MM + 2 * _GAP_MM, Ink.PAPER),
        bar(ends, _BAR_MM, Ink.CUT),
    )


def _wood(*stems: Stem) -> tuple[Shape, ...]:
    return tuple(stem.outline(Ink.SOLID) for stem in stems)


def _top() -> tuple[Shape, ...]:
    trunk = Stem.between((6, 11.8), (6, 0.2), (1.8, 0.9))
    branches = [
        Stem.between((6, 10.2), (1.0, 8.8), (1.0, 0.6), 0.1),
        Stem.between((6, 9.5), (11.0, 7.9), (1.0, 0.6), -0.1),
        Stem.between((6, 8.0), (2.0, 6.5), (0.9, 0.6), 0.1),
        Stem.between((6, 6.6), (9.7, 4.6), (1.0, 0.6), -0.16),
    ]
    cut_at = 0.63
    return (
        trunk.part(cut_at, 1).outline(Ink.GREY),
        *_cut(trunk, cut_at, 5.4, -24),
        *_wood(trunk.part(0, cut_at - 0.1), *branches),
    )


def _limbs() -> tuple[Shape, ...]:
    trunk = Stem.between((4.2, 11.8), (4.2, 0.2), (2.5, 1.7))
    limb = Stem.between((4.2, 8.8), (11.4, 5.6), (2.5, 1.9), -0.06)
    thin = [
        Stem.between((4.2, 9.4), (0.2, 7.6), (1.0, 0.6), 0.1),
        Stem.between((4.2, 5.4), (0.8, 3.4), (0.9, 0.6), 0.1),
        Stem.between((4.2, 3.9), (9.2, 1.4), (1.0, 0.6), -0.1),
    ]
    cut_at = 0.43
    return (
        limb.part(cut_at, 1).outline(Ink.GREY),
        *_wood(limb.part(0, cut_at), trunk, *thin),
        *_cut(limb, cut_at, 5.4, 22),
    )


def _columns() -> tuple[Shape, ...]:
    branch = Stem.between((0.9, 11.2), (11.5, 2.6), (2.0, 1.0), 0.03)
    side = Stem.between(branch.point_at(0.42), (1.6, 0.4), (1.6, 1.0), 0.06)
    spurs = tuple(
        Circle(branch.beside(along, off_mm), 0.75, Ink.SOLID)
        for along, off_mm in ((0.34, -1.3), (0.56, -1.2), (0.74, 1.05), (0.78, -1.1), (0.94, 0.85))
    )
    return (
        side.part(0.4, 1).outline(Ink.GREY),
        *_wood(side.part(0, 0.34)),
        *_cut(side, 0.36, 5.2, -4),
        *_wood(branch),
        *spurs,
    )


def _heading() -> tuple[Shape, ...]:
    trunk = Stem.between((1.3, 11.8), (1.3, 0.2), (2.2, 1.7))
    branch = Stem((1.3, 6.6), (5.6, -0.6), (9.8, 0.4), (9.3, 11.9), 1.8, 0.9)
    cut_at = 0.7
    return (
        branch.part(cut_at, 1).outline(Ink.GREY),
        *_wood(trunk, branch.part(0, cut_at)),
        *_cut(branch, cut_at, 5.0, 0),
    )


def _tick() -> tuple[Shape, ...]:
    tick = ((2.6, 6.5), (4.1, 5.0), (5.4, 6.4), (8.7, 2.7), (10.2, 4.1), (5.5, 9.4))
    return (
        Rect(0.5, 0.5, 11, 11, Ink.RIGHT, 2.6),
        Polygon(tick, Ink.PAPER),
    )


def _cross() -> tuple[Shape, ...]:
    # A corner is missing, so that the tile's outline alone tells it from the others.
    tile = ((0.5, 0.5), (7.9, 0.5), (11.5, 4.1), (11.5, 11.5), (0.5, 11.5))
    return (
        Polygon(tile, Ink.FAULT),
        bar(((2.9, 3.6), (8.5, 9.2)), 1.9, Ink.PAPER),
        bar(((2.9, 9.2), (8.5, 3.6)), 1.9, Ink.PAPER),
    )


def _dash() -> tuple[Shape, ...]:
    return (
        Rect(0.5, 0.5, 11, 11, Ink.NOTHING_DUE, 2.6),
        Rect(1.7, 1.7, 8.6, 8.6, Ink.PAPER, 1.4),
        Rect(3.2, 5.1, 5.6, 1.8, Ink.NOTHING_DUE),
    )


def _dots() -> tuple[Shape, ...]:
    dots = tuple(Circle((x, 6.0), 0.85, Ink.SOFT) for x in (3.4, 6.0, 8.6))
    return (
        Rect(0.5, 0.5, 11, 11, Ink.SOFT),
        Rect(1.3, 1.3, 9.4, 9.4, Ink.PAPER),
        *dots,
    )


def _tree_missed() -> tuple[Shape, ...]:
    trunk = Stem.between((6, 11.8), (6, 4.4), (1.5, 0.6))
    branches = (
        Stem.between((6, 10.2), (3.3, 9.0), (0.9, 0.6), 0.12),
        Stem.between((6, 10.2), (8.7, 9.0), (0.9, 0.6), -0.12),
        Stem.between((6, 8.2), (4.1, 6.9), (0.8, 0.6), 0.12),
        Stem.between((6, 8.2), (7.9, 6.9), (0.8, 0.6), -0.12),
    )
    hop = Stem((1.1, 11.4), (0.7, -2.6), (11.0, -2.6), (10.7, 8.6), 1.1, 1.1)
    return (
        *(stem.outline(Ink.GREY) for stem in (trunk, *branches)),
        hop.outline(Ink.SOLID),
        Polygon(((8.9, 8.3), (12.0, 8.1), (10.7, 11.7)), Ink.SOLID),
    )


def _side_missed() -> tuple[Shape, ...]:
    trunk = Stem.between((6, 11.8), (6, 0.4), (1.9, 0.8))
    done = Stem.between((6, 9.6), (1.9, 8.2), (1.2, 1.0), 0.06)
    also_done = Stem.between((6, 5.2), (2.7, 3.6), (1.1, 0.9), 0.06)
    left = tuple(
        Stem.between((6, base), (6 + reach, base - 1.9), (1.2, 0.8), -0.12)
        for base, reach in ((10.0, 5.4), (7.6, 5.0), (5.3, 4.3), (3.2, 3.2))
    )
    return (
        *(stem.outline(Ink.GREY) for stem in left),
        *_wood(trunk, done, also_done),
        *_cut(done, 1.0, 3.8, -8),
        *_cut(also_done, 1.0, 3.4, -8),
    )


_STAGES: Final = {
    Stage.TOP: _top,
    Stage.LIMBS: _limbs,
    Stage.COLUMNS: _columns,
    Stage.HEADING: _heading,
}


_RESULTS: Final = {
    Result.CONFORMING: _tick,
    Result.NONCONFORMING: _cross,
    Result.NOT_DUE: _dash,
    Result.NOT_SCORED: _dots,
}

_MISSED: Final = {
    Fault.TREE_MISSED: _tree_missed,
    Fault.SIDE_MISSED: _side_missed,
}


def stage_pictogram(stage: Stage, title: str) -> Drawing:
    """
    Draw the pictogram of a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    title : str
        Its name in the reader's language.

    Returns
    -------
    Drawing
        A picture of 12 by 12 mm that still reads at 24 pixels.
    """
    return Drawing(SIZE_MM, SIZE_MM, _STAGES[stage](), title)


def result_tile(result: Result, title: str) -> Drawing:
    """
    Draw the tile of a result: tick, cross, dash or dots, each with an outline of its own.

    Parameters
    ----------
    result : Result
        The result.
    title : str
        Its name in the reader's language.

    Returns
    -------
    Drawing
        A picture of 12 by 12 mm that still reads at 24 pixels.
    """
    return Drawing(SIZE_MM, SIZE_MM, _RESULTS[result](), title)


def missed_pictogram(fault: Fault, title: str) -> Drawing:
    """
    Draw that a tree, or one side of it, was passed over.

    Parameters
    ----------
    fault : Fault
        Tree missed or side missed.
    title : str
        Its name in the reader's language.

    Returns
    -------
    Drawing
        A picture of 12 by 12 mm that still reads at 24 pixels.

    Raises
    ------
    ValueError
        If the fault is another one.
    """
    if fault not in _MISSED:
        raise ValueError(f"fault is {fault}; only a missed tree or side has this picture")
    return Drawing(SIZE_MM, SIZE_MM, _MISSED[fault](), title)
