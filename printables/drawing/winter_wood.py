"""
A practice tree in winter, in pieces that a page can find: leader, limbs, branches, fresh cuts.

Each piece is a `Group` with a key, so that a page takes away what was cut. Wood is drawn to scale,
thicker by one factor for all of a view: thicknesses can be compared with each other and with a
gauge of the same view.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from math import atan2, cos, dist, hypot, pi, sin
from typing import Final, TypeAlias

from audits.practice.model import Limb, SideBranch, SideKind, Spur
from printables.drawing.inks import Ink
from printables.drawing.practice_tree import View
from printables.drawing.primitives import Circle, Group, Path, Point, Polygon, Polyline, Shape
from printables.drawing.wood import Stem, joined

# A place on a limb and its name, from the trunk out.
Cut: TypeAlias = tuple[str, float]

# Pieces overlap by this much, or a light line would show between them.
_OVERLAP: Final = 0.004

# The swelling at the foot of a limb: how far out of the leader's bark, and how much thicker there.
# It ends where a caliper measures.
_COLLAR_MM: Final = 24.0
_COLLAR_THICKER: Final = 1.4
_LONGEST_COLLAR: Final = 0.3
_THICKEST_COLLAR: Final = 2.2
_NO_COLLAR: Final = (0.0, 1.0)

# The last part of a limb is the growth of one summer.
_YOUNG_FROM: Final = 0.76
_YOUNG_MM: Final = 7.0

# Spurs lean this much towards the tip, against 1 off the bark. A flower bud is this much longer
# than thick, a leaf bud is too small to be drawn.
_SPUR_LEAN: Final = 0.6
_SPUR_MM: Final = (4.0, 2.6)
_BUD_MM: Final = 6.0
_CROOK: Final = 0.35
_BUD_LONGER: Final = 1.6
_SMALL_BUD_MM: Final = 0.42
_FACE_CORNERS: Final = 10

# The light edge of wood in front is half of this wide.
_EDGE_MM: Final = 0.3
_FOOT_STEPS: Final = 16

# An edge follows a bend of this many radians closely with one curve.
_ONE_CURVE_TURNS: Final = 0.6
_MOST_CURVES: Final = 8


def limb_piece(
    limb: Limb, view: View, leader_mm: float, *, is_far: bool = False, is_before: bool = False
) -> Group:
    """
    Draw a limb of a tree with all it carries.

    Parameters
    ----------
    limb : Limb
        The limb.
    view : View
        From where it is seen.
    leader_mm : float
        Diameter of the leader at the union.
    is_far : bool, optional
        Whether it grows away from the viewer, and is drawn paler.
    is_before : bool, optional
        Whether it stands before the leader, from whose bark no light edge parts its foot.

    Returns
    -------
    Group
        With the key ``limb-<key>``, in it ``side-<key>``.
    """
    whole = float(len(limb.pieces))
    collar = _NO_COLLAR if is_before else _collar(limb, view, leader_mm)
    old = Ink.WOOD_FAR if is_far else Ink.WOOD_NEAR
    # What a limb carries is drawn on it, whose light edge would part them; far side branches have
    # a light edge of their own.
    sides = [side_piece(side, view, is_far=is_far) for side in limb.side_branches]
    shapes: list[Shape] = [
        *(sides if is_far else ()),
        *_run(limb, view, (0.0, whole), old, collar),
        *_small_spurs(limb, view, is_far=is_far),
    ]
    if is_before:
        shapes += _foot(limb, view, leader_mm)
    if not is_far:
        shapes += _run(limb, view, (_young_from(limb), whole), Ink.WOOD_YOUNG)
        shapes += sides
    return Group(tuple(shapes), key=f"limb-{limb.key}")


def _foot(limb: Limb, view: View, leader_mm: float) -> Iterator[Shape]:
    """Draw the part of a limb that lies before the leader's bark, up to where it leaves it."""
    stem = view.stem(limb.wood)
    seen = view.run_of(stem)
    if seen is None or seen[0] > 0.0:
        return
    yield Circle(stem.start, stem.width_at(0.0) / 2 + _EDGE_MM, Ink.WOOD)
    middle = view.place((0.0, 0.0, limb.union_mm))[0]
    bark = view.width(leader_mm) / 2
    for step in range(1, _FOOT_STEPS):
        along = step / _FOOT_STEPS
        if abs(stem.point_at(along)[0] - middle) >= bark:
            part = stem.part(0.0, along)
            yield replace(
                part,
                width_start_mm=part.width_start_mm + _EDGE_MM,
                width_end_mm=part.width_end_mm + _EDGE_MM,
            ).outline(Ink.WOOD)
            return


def branch_pieces(limb: Limb, view: View, leader_mm: float, cuts: Sequence[Cut]) -> Group:
    """
    Draw one branch large, in the pieces between the places at which it may be shortened.

    Parameters
    ----------
    limb : Limb
        The branch.
    view : View
        From where it is seen.
    leader_mm : float
        Diameter of the leader at the union.
    cuts : sequence of tuple
        Name and place of each, from the trunk out.

    Returns
    -------
    Group
        With the key ``limb-<key>``, in it ``side-<key>`` and ``axis-<limb>-<cut>``.
    """
    borders = [0.0, *(at for _, at in cuts), float(len(limb.pieces))]
    keys = ["", *(f"axis-{limb.key}-{name}" for name, _ in cuts)]
    young_from = _young_from(limb)
    # Where the first place lies, the limb is as thick as it is.
    ends, thicker = _collar(limb, view, leader_mm)
    collar = (min(ends, borders[1] - _OVERLAP), thicker) if borders[1] > _OVERLAP else _NO_COLLAR
    shapes: list[Shape] = [side_piece(side, view) for side in limb.side_branches]
    for place, key in enumerate(keys):
        first, last = borders[place], borders[place + 1]
        part: list[Shape] = [
            shape
            for spur in limb.spurs
            if first <= spur.along < last
            for shape in _spur(limb, spur, view)
        ]
        border = min(last, max(first, young_from))
        part += _run(limb, view, (max(0.0, first - _OVERLAP), border), Ink.WOOD, collar)
        part += _run(limb, view, (max(0.0, border - _OVERLAP), last), Ink.WOOD_YOUNG, collar)
        if limb.has_tip_flower and place == len(keys) - 1:
            tip = view.stem(limb.pieces[-1])
            part.append(_bud(tip.end, tip.direction_at(1.0), view))
        shapes += [Group(tuple(part), key=key)] if key else part
    return Group(tuple(shapes), key=f"limb-{limb.key}")


def side_piece(side: SideBranch, view: View, *, is_far: bool = False) -> Group:
    """
    Draw a side branch.

    Parameters
    ----------
    side : SideBranch
        The branch.
    view : View
        From where it is seen.
    is_far : bool, optional
        Whether it is drawn paler.

    Returns
    -------
    Group
        With the key ``side-<key>``.
    """
    stem = view.stem(side.wood)
    run = view.run_of(stem)
    if run is None:
        return Group((), key=f"side-{side.key}")
    # A shoot that stands up from a limb grew in one summer; a fork is as old as its limb.
    ink = Ink.WOOD if side.kind is SideKind.FORK else Ink.WOOD_YOUNG
    path = _outline([stem.part(*run)], Ink.WOOD_FAR if is_far else ink)
    return Group((path,), key=f"side-{side.key}")


def _young_from(limb: Limb) -> float:
    """Find where on a limb the growth of the last summer begins."""
    young_from = float(len(limb.pieces)) - 1.0 + _YOUNG_FROM
    thin_from = limb.where_thick(_YOUNG_MM)
    return young_from if thin_from is None else max(young_from, thin_from)


def _collar(limb: Limb, view: View, leader_mm: float) -> tuple[float, float]:
    """Find where on a limb its collar ends, and how much thicker the limb begins for it."""
    # The leader is drawn thicker too: so much of the limb lies within its bark.
    within_mm = max(0.0, view.thicker * leader_mm / 2 - dist(limb.wood.start[:2], (0.0, 0.0)))
    ends_mm = min(within_mm + _COLLAR_MM, _LONGEST_COLLAR * limb.wood.length_mm)
    thicker = 1.0 + (_COLLAR_THICKER - 1.0) * (within_mm + _COLLAR_MM) / _COLLAR_MM
    return ends_mm / limb.wood.length_mm, min(thicker, _THICKEST_COLLAR)


def _run(
    limb: Limb,
    view: View,
    part: tuple[float, float],
    ink: Ink,
    collar: tuple[float, float] = _NO_COLLAR,
) -> Iterator[Path]:
    """Draw a limb and its hanging end between two places, as far as they are seen."""
    first, last = part
    stems: list[Stem] = []
    for place, piece in enumerate(limb.pieces):
        begins, ends = max(0.0, first - place), min(1.0, last - place)
        if begins >= ends:
            continue
        stem = view.stem(piece)
        seen = view.run_of(stem)
        if seen is None:
            continue
        begins, ends = max(begins, seen[0]), min(ends, seen[1])
        if ends - begins <= _OVERLAP:
            continue
        if place == 0 and begins < collar[0] < ends:
            stems += _collared(stem, begins, ends, collar)
        else:
            stems.append(stem.part(begins, ends))
    if stems:
        yield _outline(stems, ink)


def _outline(stems: Sequence[Stem], ink: Ink) -> Path:
    """Draw stems in one outline, with as few curves as their bends allow."""
    parts: list[Stem] = []
    for stem in stems:
        count = 1 + min(_MOST_CURVES - 1, int(_turn(stem) / _ONE_CURVE_TURNS))
        borders = [number / count for number in range(count + 1)]
        parts += [stem.part(first, last) for first, last in pairwise(borders)]
    return joined(parts, ink, curves=1)


def _turn(stem: Stem) -> float:
    """Add up how far the steps between a stem's four points turn, in radians."""
    points = (stem.start, stem.control1, stem.control2, stem.end)
    steps = [(after[0] - one[0], after[1] - one[1]) for one, after in pairwise(points)]
    return sum(
        abs(atan2(one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1]))
        for one, other in pairwise(steps)
    )


def _collared(stem: Stem, begins: float, ends: float, collar: tuple[float, float]) -> list[Stem]:
    until, thicker = collar
    foot = stem.part(begins, until)
    wide = foot.width_start_mm * (1.0 + (thicker - 1.0) * (until - begins) / until)
    return [replace(foot, width_start_mm=wide), stem.part(until, ends)]


def _small_spurs(limb: Limb, view: View, *, is_far: bool) -> Iterator[Shape]:
    """Draw the spurs of a limb in one line, which runs on unseen along it, and their buds."""
    stem = view.stem(limb.wood)
    run = view.run_of(stem)
    points: list[Point] = []
    buds: list[Circle] = []
    for spur in limb.spurs:
        if run is not None and run[0] <= spur.along <= run[1]:
            root, tip = stem.point_at(spur.along), _spur_tip(stem, spur, view)
            points += [root, tip, root]
            if spur.has_flower:
                buds.append(Circle(tip, _SMALL_BUD_MM, Ink.BUD))
    if points:
        yield Polyline(tuple(points), Ink.TWIG_FAR if is_far else Ink.TWIG)
    yield from buds


def _spur_tip(stem: Stem, spur: Spur, view: View) -> Point:
    root = stem.point_at(spur.along)
    towards = _spur_direction(stem, spur)
    reach = stem.width_at(spur.along) / 2 + view.scale * spur.length_mm
    return (root[0] + towards[0] * reach, root[1] + towards[1] * reach)


def _spur_direction(stem: Stem, spur: Spur) -> Point:
    across, down = stem.direction_at(spur.along)
    upwards = 1.0 if (stem.end[0] > stem.start[0]) is spur.above else -1.0
    return _unit((across * _SPUR_LEAN + down * upwards, down * _SPUR_LEAN - across * upwards))


def _spur(limb: Limb, spur: Spur, view: View) -> tuple[Shape, ...]:
    """Draw a spur: short, crooked, leaning towards the tip of its limb."""
    stem = view.stem(limb.wood)
    root, tip = stem.point_at(spur.along), _spur_tip(stem, spur, view)
    towards = _spur_direction(stem, spur)
    along = stem.direction_at(spur.along)
    # Each summer's fruit turns the next growth aside.
    knee = (
        (root[0] + tip[0]) / 2 + along[0] * _CROOK * view.width(_BUD_MM),
        (root[1] + tip[1]) / 2 + along[1] * _CROOK * view.width(_BUD_MM),
    )
    thick, thin = (view.width(mm) / 2 for mm in _SPUR_MM)
    shoot = Polygon(
        (
            _off(root, towards, 1.3 * thick),
            _off(knee, towards, thick),
            _off(tip, towards, thin),
            _off(tip, towards, -thin),
            _off(knee, towards, -thick),
            _off(root, towards, -1.3 * thick),
        ),
        Ink.WOOD,
    )
    if not spur.has_flower:
        return (shoot,)
    return (shoot, _bud(tip, _unit((tip[0] - knee[0], tip[1] - knee[1])), view))


def _bud(foot: Point, towards: Point, view: View) -> Path:
    """Draw a flower bud: plump and pointed."""
    thick = view.width(_BUD_MM)
    long = _BUD_LONGER * thick
    foot = (foot[0] - towards[0] * 0.15 * long, foot[1] - towards[1] * 0.15 * long)
    tip = (foot[0] + towards[0] * long, foot[1] + towards[1] * long)
    shoulder = (foot[0] + towards[0] * 0.55 * long, foot[1] + towards[1] * 0.55 * long)
    half = 0.68 * thick
    return Path(
        foot,
        (
            (_off(foot, towards, half), _off(shoulder, towards, half), tip),
            (_off(shoulder, towards, -half), _off(foot, towards, -half), foot),
        ),
        Ink.BUD,
    )


def _unit(step: Point) -> Point:
    length = hypot(*step)
    return (step[0] / length, step[1] / length)


def _off(place: Point, towards: Point, off_mm: float) -> Point:
    """Go square to a direction."""
    return (place[0] - towards[1] * off_mm, place[1] + towards[0] * off_mm)


def face(centre: Point, wide_mm: float, high_mm: float, lean: float = 0.0) -> Polygon:
    """
    Draw the fresh wood of a cut.

    Parameters
    ----------
    centre : tuple of float
        Its middle.
    wide_mm, high_mm : float
        Its length and its breadth as they are seen.
    lean : float, optional
        Angle of its length to the page's horizontal, in radians, clockwise.

    Returns
    -------
    Polygon
        The face.
    """
    corners = []
    for corner in range(_FACE_CORNERS):
        turn = 2 * pi * corner / _FACE_CORNERS
        along, across = wide_mm / 2 * cos(turn), high_mm / 2 * sin(turn)
        corners.append(
            (
                centre[0] + along * cos(lean) - across * sin(lean),
                centre[1] + along * sin(lean) + across * cos(lean),
            )
        )
    return Polygon(tuple(corners), Ink.FRESH)
