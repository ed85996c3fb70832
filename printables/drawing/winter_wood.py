"""
A practice tree in winter, in pieces that a page can find: leader, limbs, branches, fresh cuts.

Each piece is a `Group` with a key, so that a page takes away what was cut. Wood is drawn to scale,
thicker by one factor for all of a view: thicknesses can be compared with each other and with a
gauge of the same view.
"""

from collections.abc import Iterator, Sequence
from math import cos, hypot, pi, sin
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

# The swelling at the foot of a limb: how far out, and how much thicker.
_COLLAR_MM: Final = 18.0
_COLLAR_THICKER: Final = 1.4

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


def limb_piece(limb: Limb, view: View, *, is_far: bool = False, is_near: bool = False) -> Group:
    """
    Draw a limb of a tree with all it carries.

    Parameters
    ----------
    limb : Limb
        The limb.
    view : View
        From where it is seen.
    is_far : bool, optional
        Whether it grows away from the viewer, and is drawn paler.
    is_near : bool, optional
        Whether it stands in front of the leader, from whose bark no light edge parts its foot.

    Returns
    -------
    Group
        With the key ``limb-<key>``, in it ``side-<key>``.
    """
    shapes: list[Shape] = [side_piece(side, view, is_far=is_far) for side in limb.side_branches]
    shapes += _small_spurs(limb, view, is_far=is_far)
    whole = float(len(limb.pieces))
    shapes += _run(limb, view, 0.0, whole, Ink.WOOD_FAR if is_far else Ink.WOOD_NEAR)
    if not is_far:
        shapes += _run(limb, view, _young_from(limb), whole, Ink.WOOD_YOUNG)
    if is_near:
        foot = view.stem(limb.wood)
        shapes.append(Circle(foot.start, 0.5 * _COLLAR_THICKER * foot.width_at(0.0), Ink.WOOD))
    return Group(tuple(shapes), key=f"limb-{limb.key}")


def branch_pieces(limb: Limb, view: View, cuts: Sequence[Cut]) -> Group:
    """
    Draw one branch large, in the pieces between the places at which it may be shortened.

    Parameters
    ----------
    limb : Limb
        The branch.
    view : View
        From where it is seen.
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
        part += _run(limb, view, max(0.0, first - _OVERLAP), border, Ink.WOOD)
        part += _run(limb, view, max(0.0, border - _OVERLAP), last, Ink.WOOD_YOUNG)
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
    path = joined([stem.part(*run)], Ink.WOOD_FAR if is_far else ink, curves=1)
    return Group((path,), key=f"side-{side.key}")


def _young_from(limb: Limb) -> float:
    """Find where on a limb the growth of the last summer begins."""
    young_from = float(len(limb.pieces)) - 1.0 + _YOUNG_FROM
    thin_from = limb.where_thick(_YOUNG_MM)
    return young_from if thin_from is None else max(young_from, thin_from)


def _run(limb: Limb, view: View, first: float, last: float, ink: Ink) -> Iterator[Path]:
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
        if place == 0 and begins == 0.0:
            stems += _collared(limb, stem, ends)
        else:
            stems.append(stem.part(begins, ends))
    if stems:
        yield joined(stems, ink, curves=1)


def _collared(limb: Limb, stem: Stem, ends: float) -> list[Stem]:
    collar = min(0.5 * ends, _COLLAR_MM / limb.wood.length_mm)
    foot = stem.part(0.0, collar)
    wide = foot.width_start_mm * _COLLAR_THICKER
    foot = Stem(foot.start, foot.control1, foot.control2, foot.end, wide, foot.width_end_mm)
    return [foot, stem.part(collar, ends)]


def _small_spurs(limb: Limb, view: View, *, is_far: bool) -> Iterator[Shape]:
    """Draw the spurs of a limb in one line, which runs on unseen behind it, and their buds."""
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
