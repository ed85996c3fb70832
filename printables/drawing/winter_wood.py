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
from printables.drawing.primitives import Circle, Group, Path, Point, Polygon, Shape
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

_SPUR_LEAN: Final = 0.55
_BUD_MM: Final = 7.5
_LEAST_BUD_MM: Final = 0.42
_FACE_CORNERS: Final = 10


def limb_piece(
    limb: Limb,
    view: View,
    *,
    cuts: Sequence[Cut] = (),
    is_far: bool = False,
    shows_spurs: bool = False,
) -> Group:
    """
    Draw a limb with all it carries.

    Parameters
    ----------
    limb : Limb
        The limb.
    view : View
        From where it is seen.
    cuts : sequence of tuple, optional
        Places at which it may be shortened, from the trunk out: what lies beyond each, up to the
        next, is a piece of its own.
    is_far : bool, optional
        Whether it grows away from the viewer, and is drawn paler.
    shows_spurs : bool, optional
        Whether spurs and their buds are drawn.

    Returns
    -------
    Group
        With the key ``limb-<key>``, in it ``side-<key>`` and ``axis-<limb>-<cut>``.
    """
    old = Ink.WOOD_FAR if is_far else Ink.WOOD_NEAR
    borders = [0.0, *(at for _, at in cuts), float(len(limb.pieces))]
    keys = ["", *(f"axis-{limb.key}-{name}" for name, _ in cuts)]
    shapes: list[Shape] = [side_piece(side, view, is_far=is_far) for side in limb.side_branches]
    for place, key in enumerate(keys):
        first, last = borders[place], borders[place + 1]
        part = list(_axis(limb, view, first, last, old))
        if shows_spurs:
            part += [
                shape
                for spur in limb.spurs
                if first <= spur.along < last
                for shape in _spur(limb, spur, view)
            ]
            if limb.has_tip_flower and place == len(keys) - 1:
                part.append(_bud(view.place(limb.pieces[-1].end), view))
        if not key:
            shapes += part
        elif part:
            shapes.append(Group(tuple(part), key=key))
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
    young = Ink.WOOD_FAR if is_far else Ink.WOOD_YOUNG
    old = Ink.WOOD_FAR if is_far else Ink.WOOD_NEAR
    ink = old if side.kind is SideKind.FORK else young
    return Group((stem.part(*run).outline(ink),), key=f"side-{side.key}")


def _axis(limb: Limb, view: View, first: float, last: float, old: Ink) -> Iterator[Shape]:
    """Draw a limb and its hanging end between two places, old wood and young."""
    pieces = float(len(limb.pieces))
    young_from = pieces - 1.0 + _YOUNG_FROM
    thin_from = limb.where_thick(_YOUNG_MM)
    if thin_from is not None:
        young_from = max(young_from, thin_from)
    young = old if old is Ink.WOOD_FAR else Ink.WOOD_YOUNG
    for begins, ends, ink in (
        (first, min(last, young_from), old),
        (max(first, young_from), last, young),
    ):
        if ends - begins > _OVERLAP:
            yield from _run(limb, view, max(0.0, begins - _OVERLAP), ends, ink)


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
        yield joined(stems, ink)


def _collared(limb: Limb, stem: Stem, ends: float) -> list[Stem]:
    collar = min(0.5 * ends, _COLLAR_MM / limb.wood.length_mm)
    foot = stem.part(0.0, collar)
    wide = foot.width_start_mm * _COLLAR_THICKER
    foot = Stem(foot.start, foot.control1, foot.control2, foot.end, wide, foot.width_end_mm)
    return [foot, stem.part(collar, ends)]


def _spur(limb: Limb, spur: Spur, view: View) -> tuple[Shape, ...]:
    """Draw a spur: short, thick for its length, leaning towards the tip of its limb."""
    stem = view.stem(limb.wood)
    root = stem.point_at(spur.along)
    across, down = stem.direction_at(spur.along)
    upwards = 1.0 if (stem.end[0] > stem.start[0]) is spur.above else -1.0
    reach = stem.width_at(spur.along) / 2 + view.scale * spur.length_mm
    to_x, to_y = across * _SPUR_LEAN + down * upwards, down * _SPUR_LEAN - across * upwards
    length = hypot(to_x, to_y)
    to_x, to_y = to_x / length, to_y / length
    tip = (root[0] + to_x * reach, root[1] + to_y * reach)
    half, thin = view.width(5.0) / 2, view.width(3.5) / 2
    shoot = Polygon(
        (
            (root[0] - to_y * half, root[1] + to_x * half),
            (tip[0] - to_y * thin, tip[1] + to_x * thin),
            (tip[0] + to_y * thin, tip[1] - to_x * thin),
            (root[0] + to_y * half, root[1] - to_x * half),
        ),
        Ink.WOOD,
    )
    return (shoot, _bud(tip, view)) if spur.has_flower else (shoot,)


def _bud(place: Point, view: View) -> Circle:
    return Circle(place, max(_LEAST_BUD_MM, view.width(_BUD_MM) / 2), Ink.BUD)


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
