"""The four stages as thumbs without words, and trees on which a stage has nothing to do."""

from dataclasses import replace
from typing import Final

from audits.practice.ideal import ideal_pruning
from audits.practice.model import Limb
from audits.practice.pruning import NOTHING_CUT
from audits.standard import ColumnsRule, Standard, TopRule
from audits.vocabulary import Result, Stage
from printables.drawing.clear_trees import (
    PIECE_FROM_MM,
    forked_tree,
    hanging_tree,
    limbed_tree,
    slender_tree,
    sparse_tree,
)
from printables.drawing.inks import Ink
from printables.drawing.pictograms import SIZE_MM, result_tile
from printables.drawing.practice_tree import View, limb_shapes, tree_shapes
from printables.drawing.primitives import Line, Rect, Shape, group
from printables.drawing.tree import MOST_LIMIT_MM, PENCIL_MM, headed_at_pencil, limbs_out, pencil
from printables.drawing.wood import Stem

# A square of a card of the size of a bank card, and one for a tree to be left alone.
THUMB_MM: Final = 19.0
LEAVE_MM: Final = 16.0

# A grown leader stands this far above the target, one not due this far below it.
_GROWN: Final = 1.17
_YOUNG: Final = 0.86


def top_thumb(target_mm: float, tolerance_mm: float, height_mm: float = THUMB_MM) -> list[Shape]:
    """
    Draw a tree topped at its side branch, between the heights where that is right.

    Parameters
    ----------
    target_mm, tolerance_mm : float
        The standard's height and how far off is still right.
    height_mm : float, optional
        Height of the picture.

    Returns
    -------
    list of Shape
        From back to front.
    """
    grown_mm = max(target_mm * _GROWN, target_mm + 1.2 * tolerance_mm)
    view = _whole_view(THUMB_MM / 2, height_mm, grown_mm)
    tree = slender_tree(target_mm, grown_mm, few=2)
    rule = TopRule(target_mm=target_mm, tolerance_mm=1.0, outer_mm=3000.0)
    standard = Standard(top=rule, row_spacing_mm=3000.0)
    pruning = ideal_pruning(tree, standard, {Stage.TOP})
    upper, target_y = view.at_height(target_mm + tolerance_mm), view.at_height(target_mm)
    band_mm = 2 * tolerance_mm * view.scale
    return [
        Rect(0.3, upper, THUMB_MM - 0.6, band_mm, Ink.RIGHT_TINT),
        Line((0.3, target_y), (THUMB_MM - 0.3, target_y), Ink.RIGHT_LINE),
        *_soil(view, THUMB_MM),
        *tree_shapes(tree, view, pruning),
    ]


def _whole_view(trunk_x_mm: float, height_mm: float, tree_mm: float) -> View:
    soil = height_mm - 0.5
    scale = (soil - 0.3) / tree_mm
    return View(trunk_x_mm, soil, scale, thicker=0.026 / scale, thinnest_mm=0.5)


def _soil(view: View, width_mm: float) -> list[Shape]:
    return [Line((0.3, view.soil_y_mm), (width_mm - 0.3, view.soil_y_mm), Ink.LINE)]


def limbs_thumb(limit_mm: float, removals: int, height_mm: float = THUMB_MM) -> list[Shape]:
    """
    Draw a piece of trunk whose thickest limbs come out.

    Parameters
    ----------
    limit_mm : float
        Diameter from which a limb is large.
    removals : int
        How many come out; from four on, four are drawn.
    height_mm : float, optional
        Height of the picture.

    Returns
    -------
    list of Shape
        From back to front.
    """
    return _piece_of_trunk(limit_mm, removals, (THUMB_MM, height_mm))


def _piece_of_trunk(limit_mm: float, removals: int, size_mm: tuple[float, float]) -> list[Shape]:
    width, height = size_mm
    scale = height / _PIECE_MM * 19.0 / limit_mm
    tree = limbed_tree(limit_mm, removals)
    view = View(
        width * 0.46,
        height - 0.2 + scale * PIECE_FROM_MM,
        scale,
        thicker=1.3 * min(limit_mm, MOST_LIMIT_MM) / 19.0,
        thinnest_mm=0.6,
        within_mm=(0.0, 0.0, width, height),
    )
    return tree_shapes(tree, view, limbs_out(tree, limit_mm, removals))


# Height of the piece of trunk, on the tree, where limbs are large from 19 mm up.
_PIECE_MM: Final = 390.0


def columns_thumb(side_branch_mm: float, height_mm: float = THUMB_MM) -> list[Shape]:
    """
    Draw a branch whose side branches come off and whose spurs stay.

    Parameters
    ----------
    side_branch_mm : float
        Length from which a shoot is a side branch.
    height_mm : float, optional
        Height of the picture.

    Returns
    -------
    list of Shape
        From back to front.
    """
    tree = forked_tree(side_branch_mm)
    rule = ColumnsRule(side_branch_mm=side_branch_mm)
    standard = Standard(top=TopRule(target_mm=3000.0), columns=rule, row_spacing_mm=3000.0)
    pruning = ideal_pruning(tree, standard, {Stage.COLUMNS})
    (limb,) = tree.limbs
    view = _branch_view(limb, (1.3, 0.76 * height_mm), THUMB_MM - 2.4)
    cut = limb_shapes(limb, view, pruning, shows_spurs=True)
    return [*cut.gone, *cut.stays, _trunk(height_mm).outline(), *cut.marks]


def _trunk(height_mm: float) -> Stem:
    return Stem.between((1.1, height_mm - 0.1), (1.1, 0.1), (2.0, 1.7))


def _branch_view(limb: Limb, foot: tuple[float, float], width_mm: float) -> View:
    last = limb.end or limb.wood
    scale = width_mm / (last.end[0] - limb.wood.start[0])
    return View(
        foot[0] - scale * limb.wood.start[0],
        foot[1] + scale * limb.union_mm,
        scale,
        thicker=1.9 / (scale * limb.wood.thick_mm),
        thinnest_mm=0.5,
    )


def heading_thumb(
    thinnest_mm: float, thickest_mm: float, *, is_headed: bool, height_mm: float = THUMB_MM
) -> list[Shape]:
    """
    Draw a hanging end cut where it is as thick as the pencil beside it, or left whole.

    Parameters
    ----------
    thinnest_mm, thickest_mm : float
        Band of the diameter just behind the cut.
    is_headed : bool
        Whether the block heads its ends.
    height_mm : float, optional
        Height of the picture.

    Returns
    -------
    list of Shape
        From back to front.
    """
    tree = hanging_tree(thinnest_mm, thickest_mm)
    (limb,) = tree.limbs
    view = _branch_view(limb, (1.3, 0.42 * height_mm), THUMB_MM - 3.4)
    pruning = headed_at_pencil(tree, thinnest_mm, thickest_mm) if is_headed else NOTHING_CUT
    cut = limb_shapes(limb, view, pruning)
    shapes: list[Shape] = [*cut.gone, *cut.stays, _trunk(height_mm).outline(), *cut.marks]
    if is_headed and height_mm < _PENCIL_FROM_MM:
        return shapes
    if is_headed:
        # The close-up sets the cut end beside a pencil, both twice as small as they are.
        end = limb.wood.diameter_at(pruning.headed[limb.key])
        return [*shapes, group(_beside_pencil(end), 4.4, height_mm - 9.2)]
    tile = result_tile(Result.CONFORMING, "")
    return [*shapes, tile.at(5.0, height_mm - 7.4, 6.4 / SIZE_MM)]


# Below this height a thumb has no room for the pencil.
_PENCIL_FROM_MM: Final = 14.0


def _beside_pencil(diameter_mm: float) -> list[Shape]:
    scale = min(0.5, 3.6 / diameter_mm)
    width, pencil_mm = scale * diameter_mm, scale * PENCIL_MM
    stub = Stem.between((width / 2, 0.1), (width / 2, 6.2), (1.1 * width, width))
    mark = Rect(-0.5, 6.6, width + 1.0, 0.9, Ink.CUT)
    return [stub.outline(), mark, *pencil(width + 1.4, pencil_mm, 5.2)]


def young_top(target_mm: float) -> list[Shape]:
    """
    Draw a tree whose top is below the line, to be left alone.

    Parameters
    ----------
    target_mm : float
        The standard's height.

    Returns
    -------
    list of Shape
        A square of 16 mm, from back to front.
    """
    view = _whole_view(6.2, LEAVE_MM, target_mm * 1.06)
    tree = slender_tree(target_mm, target_mm * _YOUNG, few=2)
    target_y = view.at_height(target_mm)
    return [
        Line((0.3, target_y), (LEAVE_MM - 0.3, target_y), Ink.RIGHT_LINE),
        *_soil(view, LEAVE_MM),
        *tree_shapes(tree, view),
        _nothing_due(),
    ]


def no_large_limb(limit_mm: float) -> list[Shape]:
    """
    Draw a piece of trunk without a large limb, to be left alone.

    Parameters
    ----------
    limit_mm : float
        Diameter from which a limb is large.

    Returns
    -------
    list of Shape
        A square of 16 mm, from back to front.
    """
    return [*_piece_of_trunk(limit_mm, 0, (LEAVE_MM, LEAVE_MM)), _nothing_due()]


def few_flowers() -> list[Shape]:
    """
    Draw a branch most of whose buds are no flower buds.

    Returns
    -------
    list of Shape
        A square of 16 mm, from back to front.
    """
    (limb,) = sparse_tree().limbs
    view = replace(_branch_view(limb, (1.3, 0.72 * LEAVE_MM), LEAVE_MM - 2.6), bud_mm=0.8)
    branch = limb_shapes(limb, view, NOTHING_CUT, shows_spurs=True)
    return [*branch.stays, _trunk(LEAVE_MM).outline()]


def _nothing_due() -> Shape:
    size = 4.6
    return result_tile(Result.NOT_DUE, "").at(
        LEAVE_MM - size, LEAVE_MM - size - 0.9, size / SIZE_MM
    )
