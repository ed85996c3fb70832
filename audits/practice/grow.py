"""
Grow a practice tree: drawn by chance within published figures, the same for the same seed.

Where a figure of this module is published, its source stands beside it; all others are drawn so
that the tree looks like one (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.practice.chance import Chance
from audits.practice.growth import Growth
from audits.practice.limb_growth import VIGOURS, Union, grow_limb
from audits.practice.model import PracticeTree, SideKind, TreeKind, Wood

# No limb below 24 to 28 in (an orchard's staff blog, 24 Feb 2015); the fruiting zone starts at
# about 24 to 26 in (M. Miranda Sazo, Cornell Lake Ontario Fruit Program, slides).
LOWEST_LIMB_MM: Final = (615.0, 700.0)

# Branches of a grown tree: 24 in an Ontario planning chart, 23 to 25 best in a trial of 5- to
# 7-year trees (Fujian J. Agric. Sci., 2020), 30 to 36 in Penn State advice (Lancaster Farming,
# 22 Dec 2012).
BRANCHES: Final = (23, 36)

# Limbs of 3/4 to 1 in are those usually taken out (an orchard's staff blog, 24 Feb 2015; the same
# band is sampled for bud counts: T. Robinson and M. Miranda Sazo, 15 Mar 2022).
_BEYOND_LARGE_MM: Final = (2.5, 7.0)
_BELOW_LARGE_MM: Final = 2.5

# Every limb is thinner than the leader that carries it, at least by this ratio. (Limbs above half
# of the leader come out by one published rule, above a third by another: what grows before that is
# thicker.)
MOST_OF_LEADER: Final = 0.75
_STOUT_FROM_TIP: Final = 0.3

# About 137.5 degrees from one branch to the next up keeps branches that stand above each other
# well apart; managers ask for at least 9 in (goodfruit.com on counting for crop load).
_GOLDEN_DEG: Final = 137.508

# Trunks of 1 to 3 in are those for which a crop-load table is published (J. Clements, 2017).
_TRUNK_MM: Final = (25.4, 76.2)

_GROWN_YEARS: Final = 5

_LEADER_TIP_MM: Final = 5.0

# Limbs become large where they have stood longest, in about the lower half.
_OLD_LIMBS: Final = 0.55

# Share of flower buds: 68 and 84 % in published counts (M. Basedow, Cornell; goodfruit.com); a
# block with fewer than about half is pruned lightly.
_FLOWERS: Final = (0.62, 0.88)
_FEW_FLOWERS: Final = (0.12, 0.38)


@dataclass(frozen=True, slots=True)
class LimbPlan:
    """
    A limb to be grown.

    Parameters
    ----------
    height_mm : float
        Height of its union with the leader.
    azimuth_deg : float
        Where it grows: 0 along the row, 90 to the row's right side.
    diameter_mm : float
        Its diameter at the union.
    hangs : bool or None, optional
        Whether its end hangs; left to chance if None.
    sides : tuple of tuple or None, optional
        Kind of each side branch and where on the limb it grows; left to chance if None.
    """

    height_mm: float
    azimuth_deg: float
    diameter_mm: float
    hangs: bool | None = None
    sides: tuple[tuple[SideKind, float], ...] | None = None


def grow_tree(seed: int, growth: Growth) -> PracticeTree:
    """
    Grow a tree.

    Parameters
    ----------
    seed : int
        Decides everything that is left to chance.
    growth : Growth
        What it grows from.

    Returns
    -------
    PracticeTree
        The tree, always the same for the same seed and growth.

    References
    ----------
    .. [1] Branches to a tree: Ontario agriculture ministry, precision-pruning trial (24);
       Fujian Journal of Agricultural Sciences 2020, doi 10.19303/j.issn.1008-0384.2020.05.008
       (23 to 25); C. Torres, Lancaster Farming, 22 Dec 2012 (30 to 36).
    .. [2] Height, 0.9 x the row spacing: J. Clements, report of a pruning demonstration, 2009.
    .. [3] Lowest limb at 24 to 28 in, large from 3/4 in: an orchard's staff blog, 24 Feb 2015.
    .. [4] Canopy 1.2 to 1.8 m from side to side: R. Lehnert, Good Fruit Grower.
    .. [5] Branch areas to leader area, 0.5 (severe) to 1.75 (light pruning): J. Schupp et al.,
       HortScience 52(9), 2017, 1233.
    """
    chance = Chance(seed, growth.evenness)
    height_mm = _height_mm(chance, growth)
    unions = _unions(chance, growth, height_mm)
    large = _large_places(chance, growth, unions)
    diameters = [
        _diameter_mm(chance, growth, union / height_mm, is_large=place in large)
        for place, union in enumerate(unions)
    ]
    azimuth_deg = chance.between(0.0, 360.0)
    plans = []
    for place, (union_mm, diameter_mm) in enumerate(zip(unions, diameters, strict=True)):
        azimuth_deg += _GOLDEN_DEG + chance.between(-12.0, 12.0)
        turned = 180.0 * (place % 2) if growth.is_flat else azimuth_deg % 360.0
        plans.append(LimbPlan(union_mm, turned, diameter_mm))
    return _grown(chance, growth, height_mm, plans)


def planned_tree(
    growth: Growth, height_mm: float, plans: Sequence[LimbPlan], seed: int = 0
) -> PracticeTree:
    """
    Grow a tree whose limbs stand where a picture wants them.

    Parameters
    ----------
    growth : Growth
        What it grows from.
    height_mm : float
        Its height.
    plans : sequence of LimbPlan
        Its limbs, from the soil up.
    seed : int, optional
        Decides everything that the plans leave to chance.

    Returns
    -------
    PracticeTree
        The tree, its wood grown by the same rules as that of any other.
    """
    chance = Chance(seed, growth.evenness)
    return _grown(chance, growth, height_mm, plans)


def _grown(
    chance: Chance,
    growth: Growth,
    height_mm: float,
    plans: Sequence[LimbPlan],
) -> PracticeTree:
    flowers = _FEW_FLOWERS if growth.kind is TreeKind.LOW_BLOOM else _FLOWERS
    drawn_share = chance.between(*flowers)
    flower_share = drawn_share if growth.flower_share is None else growth.flower_share
    leader = _leader(chance, growth, height_mm, plans)
    limbs = []
    for place, plan in enumerate(plans):
        # The leader climbs evenly, so that a height is also a part of it.
        along = plan.height_mm / height_mm
        union = Union(
            str(place + 1),
            leader.point_at(along),
            leader.diameter_at(along),
            plan.azimuth_deg,
            min(plan.diameter_mm, MOST_OF_LEADER * leader.diameter_at(along)),
            height_mm,
            flower_share,
            plan.hangs,
            plan.sides,
        )
        limbs.append(grow_limb(chance, growth, union))
    return PracticeTree(growth.kind, growth.grown_habit, leader, tuple(limbs))


def _height_mm(chance: Chance, growth: Growth) -> float:
    # One season's growth beyond the target; a tree that is not due ends below it.
    season = chance.between(300.0, 620.0) * VIGOURS[growth.vigour]
    if growth.kind is TreeKind.NOT_DUE:
        return growth.target_mm * chance.between(0.80, 0.93)
    return growth.target_mm + season


def _unions(chance: Chance, growth: Growth, height_mm: float) -> list[float]:
    count = growth.branches or _branch_count(chance, growth)
    # Pictures of odd standards stay trees: the fruiting zone never starts above a quarter.
    lowest = min(chance.between(*LOWEST_LIMB_MM), 0.25 * height_mm)
    highest = height_mm - 150.0
    gap = (highest - lowest) / (count - 1)
    return [
        lowest + place * gap + (chance.between(-0.3, 0.3) * gap if 0 < place < count - 1 else 0.0)
        for place in range(count)
    ]


def _branch_count(chance: Chance, growth: Growth) -> int:
    low, high = BRANCHES
    count = low + chance.below(high - low + 1)
    share = min(1.0, (growth.age_years + 1) / (_GROWN_YEARS + 1))
    return max(6, round(count * share))


def _large_places(chance: Chance, growth: Growth, unions: list[float]) -> list[int]:
    count = growth.large_limbs
    if count is None:
        count = {TreeKind.NO_LARGE_LIMB: 0, TreeKind.TOO_MANY_LIMBS: 5 + chance.below(3)}.get(
            growth.kind, 2 + chance.below(2)
        )
    lower = range(1, round(_OLD_LIMBS * len(unions)))
    return chance.chosen(lower, count)


def _diameter_mm(chance: Chance, growth: Growth, height_share: float, *, is_large: bool) -> float:
    if is_large:
        return growth.large_mm + chance.between(*_BEYOND_LARGE_MM)
    # 25 branches of 12 mm on a leader of 60 mm are as much wood as the leader.
    usual = 15.0 - 9.0 * height_share
    young = min(1.0, 0.55 + 0.09 * growth.age_years)
    grown = usual * young * VIGOURS[growth.vigour] * chance.between(0.75, 1.25)
    return max(5.0, min(grown, growth.large_mm - _BELOW_LARGE_MM))


def _leader(
    chance: Chance,
    growth: Growth,
    height_mm: float,
    plans: Sequence[LimbPlan],
) -> Wood:
    thinnest, thickest = _TRUNK_MM
    base = min(thickest, max(thinnest, (12.0 + 6.0 * growth.age_years) * VIGOURS[growth.vigour]))
    for plan in plans:
        # A leader that carries large limbs is stout itself; young wood near its tip stays thin.
        share = 1.0 - plan.height_mm / height_mm
        if share >= _STOUT_FROM_TIP:
            needed = plan.diameter_mm / MOST_OF_LEADER
            base = max(base, _LEADER_TIP_MM + (needed - _LEADER_TIP_MM) / share)
    sway = (chance.between(-35.0, 35.0), chance.between(-35.0, 35.0))
    return Wood(
        (0.0, 0.0, 0.0),
        (sway[0], sway[1], height_mm / 3),
        (-sway[0], -sway[1], 2 * height_mm / 3),
        (0.0, 0.0, height_mm),
        base,
        _LEADER_TIP_MM,
    )
