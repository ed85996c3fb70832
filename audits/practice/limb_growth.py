"""Grow one limb of a practice tree: its curve, its hanging end, side branches and spurs."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Final

from audits.practice.chance import Chance
from audits.practice.growth import Growth
from audits.practice.model import Limb, Place3, SideBranch, SideKind, Spur, Vigour, Wood
from audits.vocabulary import BearingHabit

# By habit, from spur types, upright and compact, to tip bearers, long and drooping (habit codes of
# the US germplasm collection; the descriptions are customary): mean angle to the vertical at the
# union, how far a limb turns down from there to its tip, share of limbs with a hanging end, side
# branches to a limb, distance between spurs.
_ANGLES_DEG: Final = {
    BearingHabit.SPUR: 64.0,
    BearingHabit.SEMI_SPUR: 70.0,
    BearingHabit.STANDARD: 76.0,
    BearingHabit.TIP: 80.0,
}
_BENT_DEG: Final = {
    BearingHabit.SPUR: 4.0,
    BearingHabit.SEMI_SPUR: 9.0,
    BearingHabit.STANDARD: 14.0,
    BearingHabit.TIP: 18.0,
}
_HANGING: Final = {
    BearingHabit.SPUR: 0.08,
    BearingHabit.SEMI_SPUR: 0.15,
    BearingHabit.STANDARD: 0.28,
    BearingHabit.TIP: 0.40,
}
_SIDES: Final = {
    BearingHabit.SPUR: 0.5,
    BearingHabit.SEMI_SPUR: 0.8,
    BearingHabit.STANDARD: 1.0,
    BearingHabit.TIP: 1.1,
}
_SPUR_EVERY_MM: Final = {
    BearingHabit.SPUR: 60.0,
    BearingHabit.SEMI_SPUR: 75.0,
    BearingHabit.STANDARD: 90.0,
    BearingHabit.TIP: 150.0,
}
VIGOURS: Final = {Vigour.LOW: 0.85, Vigour.MEDIUM: 1.0, Vigour.HIGH: 1.15}

_TIP_FLOWERS: Final = 0.9
_TIP_MM: Final = 3.0
_HANGING_TIP_MM: Final = 1.6

# Above this part of the tree's height shoots are young: none hang, and none carry strong uprights.
_OLD_WOOD: Final = 0.72
_UPRIGHTS_END: Final = 0.85

# Parts of a limb: how far side branches stand apart, and spurs from them; where forks begin, where
# spurs stand.
_APART: Final = 0.1
_SPUR_FREE: Final = 0.04
_FORKS_FROM: Final = 0.45
_SPURRED: Final = (0.16, 0.95)


@dataclass(frozen=True, slots=True)
class Union:
    """
    Where a limb grows, and what it grows into.

    Parameters
    ----------
    key : str
        The limb's name.
    place : tuple of float
        The middle of the leader there.
    leader_mm : float
        The leader's diameter there.
    azimuth_deg : float
        Where it grows: 0 along the row, 90 to the row's right side.
    diameter_mm : float
        The limb's diameter.
    tree_mm : float
        Height of the tree.
    flower_share : float
        Share of flower buds, in [0, 1].
    hangs : bool or None, optional
        Whether its end hangs; left to chance if None.
    sides : tuple of tuple or None, optional
        Kind of each side branch and where it grows; left to chance if None.
    """

    key: str
    place: Place3
    leader_mm: float
    azimuth_deg: float
    diameter_mm: float
    tree_mm: float
    flower_share: float
    hangs: bool | None = None
    sides: tuple[tuple[SideKind, float], ...] | None = None

    @property
    def height_share(self) -> float:
        """Its height as a part of the tree's."""
        return self.place[2] / self.tree_mm


@dataclass(frozen=True, slots=True)
class _Plane:
    """The upright plane in which a limb grows."""

    azimuth_deg: float

    def step(self, length_mm: float, angle_deg: float) -> Place3:
        """Go a length at an angle to the vertical."""
        out = length_mm * sin(radians(angle_deg))
        turn = radians(self.azimuth_deg)
        return (out * cos(turn), out * sin(turn), length_mm * cos(radians(angle_deg)))

    def beside(self, length_mm: float) -> Place3:
        """Go a length square to the plane."""
        turn = radians(self.azimuth_deg)
        return (-length_mm * sin(turn), length_mm * cos(turn), 0.0)


def grow_limb(chance: Chance, growth: Growth, union: Union) -> Limb:
    """
    Grow a limb.

    Parameters
    ----------
    chance : Chance
        The tree's chance.
    growth : Growth
        What the tree grows from.
    union : Union
        Where the limb grows.

    Returns
    -------
    Limb
        The limb with all it carries.
    """
    plane = _Plane(union.azimuth_deg)
    bend_mm = _bend_mm(chance, growth, union)
    wood, angle_deg = _wood(chance, growth, union, plane, bend_mm)
    end = None if bend_mm is None else _hanging_end(chance, wood, plane, angle_deg)
    sides = _side_branches(chance, growth, union, plane, wood)
    is_tip = growth.grown_habit is BearingHabit.TIP
    has_tip_flower = chance.is_so(_TIP_FLOWERS * union.flower_share) and is_tip
    spurs = _spurs(chance, growth, union, wood, sides)
    return Limb(union.key, wood, end, sides, spurs, has_tip_flower)


def _bend_mm(chance: Chance, growth: Growth, union: Union) -> float | None:
    """Draw how thick the limb is where its end begins to hang; None where it does not hang."""
    thin, thick = growth.pencil_mm
    hangs = chance.is_so(_HANGING[growth.grown_habit])
    if union.hangs is not None:
        hangs = union.hangs
    # Well within what the rule calls thinner than a pencil, or well beyond.
    weak = thin * chance.between(0.6, 0.78)
    stout = thick * chance.between(1.2, 1.35)
    is_weak = union.diameter_mm < 1.4 * stout or chance.is_so(0.5)
    if not hangs or union.height_share > _OLD_WOOD or union.diameter_mm < thick + 1.0:
        return None
    return max(weak, _HANGING_TIP_MM + 0.4) if is_weak else stout


def _wood(
    chance: Chance, growth: Growth, union: Union, plane: _Plane, bend_mm: float | None
) -> tuple[Wood, float]:
    """Grow the limb itself; return also the angle at which it ends."""
    # Limbs are flatter lower down, where crops have bent them.
    mean = _ANGLES_DEG[growth.grown_habit] + 8.0 * (0.5 - union.height_share)
    begins = mean + chance.between(-9.0, 9.0)
    # Crops have bent limbs down; spur types, which carry theirs near the trunk, the least.
    ends = begins + chance.between(0.3, 1.7) * _BENT_DEG[growth.grown_habit]
    length = (200.0 + 34.0 * union.diameter_mm) * chance.between(0.85, 1.15)
    if bend_mm is not None:
        begins, ends = min(begins, 60.0), 104.0
        length *= 0.9
    # A slender cone: limbs reach less far the higher they grow.
    reach = growth.reach_mm * (1.0 - 0.55 * union.height_share)
    length = min(length, reach, max(120.0, 1.7 * (union.tree_mm - union.place[2])))
    foot = plane.step(0.3 * union.leader_mm, 90.0)
    start = _sum(union.place, foot)
    tip_mm = min(_TIP_MM, union.diameter_mm / 2) if bend_mm is None else bend_mm
    return _arc(start, plane, (begins, ends), length, (union.diameter_mm, tip_mm)), ends


def _arc(
    start: Place3,
    plane: _Plane,
    angles_deg: tuple[float, float],
    length_mm: float,
    diameters_mm: tuple[float, float],
) -> Wood:
    """Bend wood evenly from one angle to another."""
    begins, ends = angles_deg
    third = length_mm / 3
    first = _sum(start, plane.step(third, begins))
    middle = plane.step(third, (begins + ends) / 2)
    second = _sum(first, middle)
    return Wood(start, first, second, _sum(second, plane.step(third, ends)), *diameters_mm)


def _hanging_end(chance: Chance, wood: Wood, plane: _Plane, angle_deg: float) -> Wood:
    length = wood.length_mm * chance.between(0.5, 0.95)
    return _arc(
        wood.end,
        plane,
        (angle_deg, chance.between(162.0, 178.0)),
        length,
        (wood.thin_mm, min(_HANGING_TIP_MM, wood.thin_mm / 2)),
    )


def _side_branches(
    chance: Chance, growth: Growth, union: Union, plane: _Plane, wood: Wood
) -> tuple[SideBranch, ...]:
    grown: list[SideBranch] = []
    for kind, along in _planned_sides(chance, growth, union):
        branch = _side_wood(chance, growth, plane, wood, along, kind)
        if union.sides is not None or branch.highest_mm <= _UPRIGHTS_END * union.tree_mm:
            grown.append(SideBranch(f"{union.key}.{len(grown) + 1}", kind, along, branch))
    return tuple(grown)


def _planned_sides(
    chance: Chance, growth: Growth, union: Union
) -> tuple[tuple[SideKind, float], ...]:
    if union.sides is not None:
        return union.sides
    mean = _SIDES[growth.grown_habit] * VIGOURS[growth.vigour]
    # Stout limbs have branched out most.
    mean += 0.8 if union.diameter_mm >= growth.large_mm else 0.0
    count = round(chance.between(-0.4, 2 * mean))
    apart: list[float] = []
    for along in sorted(chance.between(0.24, 0.74) for _ in range(count)):
        if not apart or along - apart[-1] >= _APART:
            apart.append(along)
    return tuple((_kind(chance, union, along), along) for along in apart)


def _kind(chance: Chance, union: Union, along: float) -> SideKind:
    draw = chance.below(3)
    if draw == 0 and along > _FORKS_FROM:
        return SideKind.FORK
    if draw == 1 and union.height_share < _OLD_WOOD:
        return SideKind.UPRIGHT
    return SideKind.SIDE


# How thick side branches are against the limb that carries them.
_THICKNESS: Final = {
    SideKind.FORK: (0.72, 0.9),
    SideKind.UPRIGHT: (0.5, 0.75),
    SideKind.SIDE: (0.4, 0.65),
}


def _side_wood(
    chance: Chance,
    growth: Growth,
    plane: _Plane,
    wood: Wood,
    along: float,
    kind: SideKind,
) -> Wood:
    # Well longer than a spur may be.
    length = growth.side_branch_mm * chance.between(1.35, 2.3)
    parent_mm = wood.diameter_at(along)
    thick = parent_mm * chance.between(*_THICKNESS[kind])
    diameters = (thick, min(_HANGING_TIP_MM, thick / 2))
    start = wood.point_at(along)
    forward = wood.direction_at(along)
    third = length / 3
    turned = 0.0 if growth.is_flat else chance.between(-1.0, 1.0)
    match kind:
        case SideKind.FORK:
            # It leaves at a narrow angle and then runs beside the limb.
            leaves = _blend((forward, 1.0), (plane.beside(turned), 0.7), ((0.0, 0.0, 1.0), 0.55))
            runs = _blend((forward, 1.0), ((0.0, 0.0, 1.0), 0.25))
        case SideKind.UPRIGHT:
            leaves = _blend((forward, 0.35), ((0.0, 0.0, 1.0), 1.0))
            runs = _blend((forward, 0.1), ((0.0, 0.0, 1.0), 1.0))
        case SideKind.SIDE:
            down = (0.0, 0.0, -1.2) if growth.is_flat else (0.0, 0.0, -0.2)
            beside = plane.beside(1.0 if turned >= 0.0 else -1.0)
            off = (0.0, 0.0, 0.0) if growth.is_flat else beside
            leaves = _blend((forward, 0.8), (off, 1.0), (down, 0.7))
            runs = _blend((forward, 0.9), (off, 0.6), (down, 0.5))
    first = _sum(start, _scaled(leaves, third))
    second = _sum(first, _scaled(_blend((leaves, 1.0), (runs, 1.0)), third))
    return Wood(start, first, second, _sum(second, _scaled(runs, third)), *diameters)


def _spurs(
    chance: Chance, growth: Growth, union: Union, wood: Wood, sides: Sequence[SideBranch]
) -> tuple[Spur, ...]:
    every = _SPUR_EVERY_MM[growth.grown_habit] / wood.length_mm
    longest = 0.5 * growth.side_branch_mm
    spurs: list[Spur] = []
    along = _SPURRED[0]
    while along < _SPURRED[1]:
        is_above = chance.is_so(0.6)
        near = [(abs(side.along - along), side.kind) for side in sides]
        if near and min(near)[0] < _APART:
            # A spur stands on the other edge than a side branch close by.
            is_above = min(near)[1] is SideKind.SIDE
        spurs.append(
            Spur(
                along,
                longest * chance.between(0.25, 0.9),
                above=is_above,
                has_flower=chance.is_so(union.flower_share),
            )
        )
        along += every * chance.between(0.7, 1.3)
        while any(abs(along - side.along) < _SPUR_FREE for side in sides):
            along += _SPUR_FREE / 2
    return tuple(spurs)


def _sum(place: Place3, step: Place3) -> Place3:
    return (place[0] + step[0], place[1] + step[1], place[2] + step[2])


def _scaled(step: Place3, length: float) -> Place3:
    return (step[0] * length, step[1] * length, step[2] * length)


def _blend(*parts: tuple[Place3, float]) -> Place3:
    """Mix directions into a step of length 1."""
    along, across, up = (sum(weight * part[axis] for part, weight in parts) for axis in range(3))
    length = hypot(along, across, up)
    return (along / length, across / length, up / length)
