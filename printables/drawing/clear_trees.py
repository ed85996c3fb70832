"""Trees for small pictures: grown like any practice tree, with few branches, all in the page."""

from dataclasses import replace
from functools import lru_cache
from typing import Final

from audits.practice.grow import LimbPlan, planned_tree
from audits.practice.growth import Growth
from audits.practice.model import PracticeTree, SideKind, TreeKind
from audits.vocabulary import BearingHabit

_RIGHT_DEG: Final = 0.0
_LEFT_DEG: Final = 180.0

# Unions from the lowest limb up, as parts of the way to the target.
_UNIONS: Final = (
    *(0.23, 0.28, 0.34, 0.39, 0.45, 0.50, 0.56, 0.61),
    *(0.67, 0.72, 0.78, 0.83, 0.88, 0.925),
)
_ABOVE_MM: Final = (110.0, 220.0, 330.0)
_SLENDER: Final = Growth(3000.0, habit=BearingHabit.STANDARD, reach_mm=840.0, evenness=0.4)


@lru_cache(maxsize=64)
def slender_tree(target_mm: float, height_mm: float, few: int = 1) -> PracticeTree:
    """
    Grow a whole tree with a side branch that ends at a height.

    Parameters
    ----------
    target_mm : float
        Height at which the tip of that side branch stands.
    height_mm : float
        Height of the tree.
    few : int, optional
        Take only one in this many of the branches below.

    Returns
    -------
    PracticeTree
        The tree; no end hangs and no limb has side branches.
    """
    # A low tree is a small one.
    growth = replace(_SLENDER, reach_mm=min(_SLENDER.reach_mm, max(100.0, 0.28 * target_mm)))
    below = [
        _twig(share * target_mm, place, 12.0 + 2.0 * few - 8.0 * share)
        for place, share in enumerate(_UNIONS[len(_UNIONS) % few :: few])
    ]
    last = len(below)
    above = [
        _twig(target_mm + off_mm * few, last + 1 + place, 5.0)
        for place, off_mm in enumerate(_ABOVE_MM)
        if target_mm + off_mm * few < height_mm - _ABOVE_MM[0]
    ]
    if height_mm < target_mm:
        fitting = [plan for plan in below if plan.height_mm < height_mm - _ABOVE_MM[0]]
        return planned_tree(growth, height_mm, fitting)
    # Its tip rises above its union: it grows once to see by how much, then in its place.
    tried = planned_tree(growth, height_mm, [*below, _twig(target_mm, last, 4.5)]).limbs[-1]
    union_mm = target_mm - (tried.highest_mm - tried.union_mm)
    return planned_tree(growth, height_mm, [*below, _twig(union_mm, last, 4.5), *above])


def _twig(height_mm: float, place: int, diameter_mm: float) -> LimbPlan:
    azimuth_deg = _LEFT_DEG if place % 2 else _RIGHT_DEG
    return LimbPlan(height_mm, azimuth_deg, diameter_mm, hangs=False, sides=())


# Limbs of a piece of trunk: height above its lower end, side, thickness against the limit. Those
# that may come out are thicker than the limit, each a little thinner than the one before.
_LARGE: Final = ((282.0, 1, 1.5), (152.0, -1, 1.4), (228.0, -1, 1.3), (42.0, -1, 1.2))
_SMALL: Final = ((352.0, 1, 0.5), (304.0, -1, 0.6), (94.0, -1, 0.6))
_SPARED: Final = 0.7
PIECE_FROM_MM: Final = 900.0


@lru_cache(maxsize=64)
def limbed_tree(limit_mm: float, large: int) -> PracticeTree:
    """
    Grow a tree with so many large limbs close above each other.

    Parameters
    ----------
    limit_mm : float
        Diameter from which a limb is large.
    large : int
        How many large limbs; from four on, four.

    Returns
    -------
    PracticeTree
        The tree, its limbs from `PIECE_FROM_MM` up, along the row to both sides.
    """
    scale = limit_mm / _USUAL_LIMIT_MM
    limbs = [
        *(
            (height, side, factor if place < large else _SPARED)
            for place, (height, side, factor) in enumerate(_LARGE)
        ),
        *_SMALL,
    ]
    plans = [
        LimbPlan(
            PIECE_FROM_MM + scale * height,
            _RIGHT_DEG if side > 0 else _LEFT_DEG,
            factor * limit_mm,
            hangs=False,
            sides=(),
        )
        for height, side, factor in sorted(limbs)
    ]
    growth = Growth(3000.0, large_mm=limit_mm, reach_mm=750.0 * scale, evenness=1.0)
    return planned_tree(growth, PIECE_FROM_MM + 2400.0 * scale, plans)


_USUAL_LIMIT_MM: Final = 19.0


@lru_cache(maxsize=64)
def forked_tree(side_branch_mm: float) -> PracticeTree:
    """
    Grow a tree with one limb that is no single column.

    Parameters
    ----------
    side_branch_mm : float
        Length from which a shoot is a side branch.

    Returns
    -------
    PracticeTree
        The tree; its limb carries an upright, a hanging side branch and a fork.
    """
    length_mm = 4 * side_branch_mm
    sides = ((SideKind.UPRIGHT, 0.2), (SideKind.SIDE, 0.42), (SideKind.FORK, 0.58))
    diameter_mm = max(6.0, (length_mm - 200.0) / 34.0)
    plan = LimbPlan(1200.0, _RIGHT_DEG, diameter_mm, hangs=False, sides=sides)
    growth = Growth(
        3000.0,
        habit=BearingHabit.SEMI_SPUR,
        side_branch_mm=side_branch_mm,
        flower_share=1.0,
        reach_mm=2 * length_mm,
        evenness=1.0,
        is_flat=True,
    )
    return planned_tree(growth, 1200.0 + 2 * length_mm, [plan])


@lru_cache(maxsize=64)
def hanging_tree(
    thinnest_mm: float, thickest_mm: float, kind: TreeKind = TreeKind.USUAL
) -> PracticeTree:
    """
    Grow a tree with one limb whose end hangs and is thinner than a pencil.

    Parameters
    ----------
    thinnest_mm, thickest_mm : float
        Diameters between which the block heads an end.
    kind : TreeKind, optional
        What is special about the tree.

    Returns
    -------
    PracticeTree
        The tree.
    """
    diameter_mm = max(1.7 * thickest_mm, thickest_mm + 1.5)
    plan = LimbPlan(1200.0, _RIGHT_DEG, diameter_mm, hangs=True, sides=())
    growth = Growth(
        3000.0, kind=kind, pencil_mm=(thinnest_mm, thickest_mm), flower_share=1.0, evenness=1.0
    )
    return planned_tree(growth, 3300.0, [plan])


# One bud in so many is a flower bud.
_FEW: Final = 4


@lru_cache(maxsize=64)
def sparse_tree() -> PracticeTree:
    """
    Grow a tree with one limb that is a single column and carries few flower buds.

    Returns
    -------
    PracticeTree
        The tree; one bud in four is a flower bud.
    """
    plan = LimbPlan(1200.0, _RIGHT_DEG, 12.0, hangs=False, sides=())
    growth = Growth(
        3000.0,
        kind=TreeKind.LOW_BLOOM,
        habit=BearingHabit.SEMI_SPUR,
        flower_share=0.0,
        evenness=1.0,
    )
    tree = planned_tree(growth, 3300.0, [plan])
    (limb,) = tree.limbs
    # Spread evenly rather than by chance, so that a small picture shows the share.
    spurs = tuple(
        replace(spur, has_flower=place % _FEW == _FEW // 2) for place, spur in enumerate(limb.spurs)
    )
    return replace(tree, limbs=(replace(limb, spurs=spurs),))
