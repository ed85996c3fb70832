"""
A tall-spindle tree as wood in space: leader, limbs, side branches, spurs and hanging ends.

Lengths are in mm. Points are (along the row, across the row, up): along counts from the row's
start, across to the right of someone walking from there, up from the soil; the trunk stands at
(0, 0). Azimuths turn from along the row towards its right side.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import acos, atan2, degrees, dist, sqrt
from typing import Final, Self, TypeAlias

from audits.vocabulary import BearingHabit, Side

Place3: TypeAlias = tuple[float, float, float]

# Where a limb's diameter is taken: one inch out from the union (J. Schupp et al., HortScience
# 52(9), 2017, 1233). A standard may say otherwise.
MEASURED_OUT_MM: Final = 25.4

_STEPS: Final = 24
_UPRIGHT_DEG: Final = 90.0


class TreeKind(StrEnum):
    """What is special about a tree, and has to be noticed before the shears close."""

    USUAL = "usual"
    NOT_DUE = "not_due"
    LOW_BLOOM = "low_bloom"
    NO_LARGE_LIMB = "no_large_limb"
    TOO_MANY_LIMBS = "too_many_limbs"
    TIP_BEARER = "tip_bearer"


class Vigour(StrEnum):
    """How strongly a tree grows."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


class SideKind(StrEnum):
    """How a side branch stands on its limb."""

    FORK = "fork"
    UPRIGHT = "upright"
    SIDE = "side"


@dataclass(frozen=True, slots=True)
class Wood:
    """
    A piece of wood: a cubic curve in space whose diameter changes evenly along it.

    Parameters
    ----------
    start, control1, control2, end : tuple of float
        The curve, from the thick end on.
    thick_mm, thin_mm : float
        Diameter at the start and at the end.
    """

    start: Place3
    control1: Place3
    control2: Place3
    end: Place3
    thick_mm: float
    thin_mm: float

    def point_at(self, along: float) -> Place3:
        """
        Find a point of the centre line.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        tuple of float
            The point.
        """
        rest = 1 - along
        one, two, three, four = rest**3, 3 * rest**2 * along, 3 * rest * along**2, along**3
        x1, y1, z1 = self.start
        x2, y2, z2 = self.control1
        x3, y3, z3 = self.control2
        x4, y4, z4 = self.end
        return (
            one * x1 + two * x2 + three * x3 + four * x4,
            one * y1 + two * y2 + three * y3 + four * y4,
            one * z1 + two * z2 + three * z3 + four * z4,
        )

    def direction_at(self, along: float) -> Place3:
        """
        Find the direction of growth at a point.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        tuple of float
            A step of length 1.
        """
        speed = self._speed_at(along)
        length = dist(speed, (0.0, 0.0, 0.0))
        return (speed[0] / length, speed[1] / length, speed[2] / length)

    def diameter_at(self, along: float) -> float:
        """
        Find the diameter at a point.

        Parameters
        ----------
        along : float
            Where, from 0 at the start to 1 at the end.

        Returns
        -------
        float
            Diameter in mm.
        """
        return self.thick_mm + along * (self.thin_mm - self.thick_mm)

    def where_thick(self, diameter_mm: float) -> float | None:
        """
        Find where the wood has a diameter.

        Parameters
        ----------
        diameter_mm : float
            The diameter.

        Returns
        -------
        float or None
            Where, from 0 at the start to 1 at the end; None where it is nowhere so thick.

        Examples
        --------
        >>> here = (0.0, 0.0, 0.0)
        >>> twig = Wood(here, here, here, (300.0, 0.0, 0.0), 12.0, 2.0)
        >>> twig.where_thick(7.0), twig.where_thick(14.0)
        (0.5, None)
        """
        if not self.thin_mm <= diameter_mm <= self.thick_mm or self.thick_mm == self.thin_mm:
            return None
        return (self.thick_mm - diameter_mm) / (self.thick_mm - self.thin_mm)

    @property
    def length_mm(self) -> float:
        """Length along the curve, to about one part in a thousand."""
        points = [self.point_at(step / _STEPS) for step in range(_STEPS + 1)]
        return sum(dist(one, other) for one, other in pairwise(points))

    @property
    def bend(self) -> float:
        """Where it is highest, from 0 at the start to 1 at the end."""
        rises = [
            after[2] - before[2]
            for before, after in pairwise((self.start, self.control1, self.control2, self.end))
        ]
        # The slope is rises[0] (1-t)^2 + 2 rises[1] (1-t) t + rises[2] t^2.
        square = rises[0] - 2 * rises[1] + rises[2]
        linear = 2 * (rises[1] - rises[0])
        turns = [turn for turn in _roots(square, linear, rises[0]) if 0.0 < turn < 1.0]
        return max((0.0, 1.0, *turns), key=lambda along: self.point_at(along)[2])

    @property
    def highest_mm(self) -> float:
        """Height of its highest point."""
        return self.point_at(self.bend)[2]

    def part(self, first: float, last: float) -> Self:
        """
        Take a piece out of the wood.

        Parameters
        ----------
        first, last : float
            Where the piece begins and ends, from 0 to 1.

        Returns
        -------
        Wood
            The piece.
        """
        start, end = self.point_at(first), self.point_at(last)
        third = (last - first) / 3
        begins, ends = self._speed_at(first), self._speed_at(last)
        return type(self)(
            start,
            _moved(start, begins, third),
            _moved(end, ends, -third),
            end,
            self.diameter_at(first),
            self.diameter_at(last),
        )

    def _speed_at(self, along: float) -> Place3:
        rest = 1 - along
        steps = pairwise((self.start, self.control1, self.control2, self.end))
        speed = (0.0, 0.0, 0.0)
        for weight, (one, other) in zip(
            (3 * rest**2, 6 * rest * along, 3 * along**2), steps, strict=True
        ):
            speed = _moved(speed, _step(one, other), weight)
        return speed


@dataclass(frozen=True, slots=True)
class Spur:
    """
    A short fruiting shoot.

    Parameters
    ----------
    along : float
        Where on the limb, from 0 to 1.
    length_mm : float
        Its length; short, or it would be a side branch.
    above : bool
        Whether it stands on the upper side.
    has_flower : bool
        Whether its bud is a flower bud.
    """

    along: float
    length_mm: float
    above: bool
    has_flower: bool


@dataclass(frozen=True, slots=True)
class SideBranch:
    """
    A branch of a limb.

    Parameters
    ----------
    key : str
        Its name in the tree, such as ``"7.2"``.
    kind : SideKind
        How it stands.
    along : float
        Where on the limb, from 0 to 1.
    wood : Wood
        The branch itself.
    """

    key: str
    kind: SideKind
    along: float
    wood: Wood


@dataclass(frozen=True, slots=True)
class Limb:
    """
    A branch of the leader.

    Parameters
    ----------
    key : str
        Its name in the tree, such as ``"7"``; counted from the soil up.
    wood : Wood
        The limb from its union out to its tip, or to the bend from which its end hangs.
    end : Wood or None
        The hanging end, as thick at its start as the limb at the bend.
    side_branches : tuple of SideBranch
        From the union outwards.
    spurs : tuple of Spur
        From the union outwards.
    has_tip_flower : bool
        Whether the bud at the tip is a flower bud.
    """

    key: str
    wood: Wood
    end: Wood | None = None
    side_branches: tuple[SideBranch, ...] = ()
    spurs: tuple[Spur, ...] = ()
    has_tip_flower: bool = False

    @property
    def union_mm(self) -> float:
        """Height of the union with the leader."""
        return self.wood.start[2]

    @property
    def highest_mm(self) -> float:
        """Height of its highest wood, side branches left out."""
        return self.wood.highest_mm

    @property
    def azimuth_deg(self) -> float:
        """Where it grows, in [0, 360): 0 along the row, 90 to the row's right side."""
        reach = self.wood.end
        return degrees(atan2(reach[1], reach[0])) % 360.0

    @property
    def angle_deg(self) -> float:
        """Angle to the vertical at the union: 0 upright, 90 level."""
        return degrees(acos(max(-1.0, min(1.0, self.wood.direction_at(0.0)[2]))))

    @property
    def side(self) -> Side:
        """The side of the row to which it grows, seen by someone walking from the row's start."""
        return Side.RIGHT if 0.0 < self.azimuth_deg < 2 * _UPRIGHT_DEG else Side.LEFT

    @property
    def bend_mm(self) -> float | None:
        """Diameter where its end begins to hang; None where it does not hang."""
        return None if self.end is None else self.end.thick_mm

    @property
    def pieces(self) -> tuple[Wood, ...]:
        """The limb, and its hanging end where it has one."""
        return (self.wood,) if self.end is None else (self.wood, self.end)

    def where_thick(self, diameter_mm: float) -> float | None:
        """
        Find where the limb or its hanging end has a diameter.

        Parameters
        ----------
        diameter_mm : float
            The diameter.

        Returns
        -------
        float or None
            Where: up to 1 on the limb itself, up to 2 on its end; None where it is nowhere so
            thick.
        """
        for place, piece in enumerate(self.pieces):
            along = piece.where_thick(diameter_mm)
            if along is not None:
                return place + along
        return None

    def measured_mm(self, out_mm: float = MEASURED_OUT_MM) -> float:
        """
        Measure the limb's diameter as a caliper does.

        Parameters
        ----------
        out_mm : float, optional
            How far out from the union.

        Returns
        -------
        float
            Diameter in mm, to a tenth.
        """
        # The curve leaves its start at three times the distance of its first control.
        along = out_mm / (3 * dist(self.wood.start, self.wood.control1))
        return round(self.wood.diameter_at(min(1.0, along)), 1)


@dataclass(frozen=True, slots=True)
class PracticeTree:
    """
    A tree to prune, on paper or on a screen.

    Parameters
    ----------
    kind : TreeKind
        What is special about it.
    habit : BearingHabit
        Where it carries its fruit.
    leader : Wood
        From the soil to the tip; it climbs evenly, whatever it sways.
    limbs : tuple of Limb
        From the soil up.
    """

    kind: TreeKind
    habit: BearingHabit
    leader: Wood
    limbs: tuple[Limb, ...]

    @property
    def height_mm(self) -> float:
        """Height of its highest wood, side branches included."""
        highest = 0.0
        for wood in self.all_wood():
            # A curve never rises above the highest of its four points, so that most are passed by.
            if max(wood.start[2], wood.control1[2], wood.control2[2], wood.end[2]) > highest:
                highest = max(highest, wood.highest_mm)
        return highest

    @property
    def flower_share(self) -> float:
        """Share of spurs whose bud is a flower bud, in [0, 1]; 0 without spurs."""
        spurs = [spur for limb in self.limbs for spur in limb.spurs]
        return sum(spur.has_flower for spur in spurs) / len(spurs) if spurs else 0.0

    def limb(self, key: str) -> Limb:
        """
        Find a limb by its name.

        Parameters
        ----------
        key : str
            Its name.

        Returns
        -------
        Limb
            The limb.

        Raises
        ------
        KeyError
            If the tree has no such limb.
        """
        for limb in self.limbs:
            if limb.key == key:
                return limb
        raise KeyError(key)

    def leader_at(self, height_mm: float) -> float:
        """
        Find where the leader has a height.

        Parameters
        ----------
        height_mm : float
            Height above the soil.

        Returns
        -------
        float
            Where, from 0 at the soil to 1 at the tip; the nearer end outside the leader.
        """
        foot_mm, tip_mm = self.leader.start[2], self.leader.end[2]
        return max(0.0, min(1.0, (height_mm - foot_mm) / (tip_mm - foot_mm)))

    def all_wood(self) -> Iterator[Wood]:
        """
        Walk through all wood but the spurs.

        Yields
        ------
        Wood
            The leader, then each limb, its end and its side branches.
        """
        yield self.leader
        for limb in self.limbs:
            yield from limb.pieces
            for side_branch in limb.side_branches:
                yield side_branch.wood


def _step(one: Place3, other: Place3) -> Place3:
    return (other[0] - one[0], other[1] - one[1], other[2] - one[2])


def _moved(place: Place3, step: Place3, share: float) -> Place3:
    return (
        place[0] + share * step[0],
        place[1] + share * step[1],
        place[2] + share * step[2],
    )


def _roots(square: float, linear: float, constant: float) -> tuple[float, ...]:
    if square == 0.0:
        return () if linear == 0.0 else (-constant / linear,)
    under = linear * linear - 4 * square * constant
    if under < 0.0:
        return ()
    # The sum that loses no digits comes first, the other root from the product of both.
    larger = -(linear + sqrt(under)) / 2 if linear >= 0.0 else -(linear - sqrt(under)) / 2
    roots = (larger / square,)
    return roots if larger == 0.0 else (*roots, constant / larger)
