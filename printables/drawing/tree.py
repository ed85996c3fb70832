"""The four stages as larger drawings, to the numbers of a block's standard."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.vocabulary import Fault
from printables.drawing.inks import Ink
from printables.drawing.panel import (
    HEIGHT_MM,
    SMALL_MM,
    WIDTH_MM,
    Inset,
    arrow,
    caption,
    figure,
    slanted_cut,
    span,
    spur,
)
from printables.drawing.primitives import Anchor, Drawing, Line, Polygon, Rect, Shape, Text
from printables.drawing.wood import Stem

# Where branches stand on the trunk (part of the target height), to which side they grow, how far
# they reach and how far their ends rise, in mm on the tree. A drawing of ours, no measured tree.
_BRANCHES: Final = (
    (0.22, 1, 480, 40),
    (0.25, -1, 500, 10),
    (0.30, 1, 470, 20),
    (0.34, -1, 480, 60),
    (0.39, 1, 430, 80),
    (0.43, -1, 440, 30),
    (0.48, 1, 420, 40),
    (0.52, -1, 380, 90),
    (0.57, 1, 360, 90),
    (0.61, -1, 350, 60),
    (0.65, 1, 310, 60),
    (0.70, -1, 300, 100),
    (0.74, 1, 270, 110),
    (0.79, -1, 240, 90),
    (0.83, 1, 220, 110),
    (0.87, -1, 190, 100),
    (0.91, 1, 170, 120),
    (0.94, -1, 130, 90),
)

_SOIL_MM: Final = 38.6

# How far beyond the band a faulty top is drawn.
_MISS_MM: Final = 280.0


@dataclass(frozen=True, slots=True)
class TopLabels:
    """
    The words of the top drawing, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    target, tolerance : str
        Target height and tolerance, with their units.
    """

    title: str
    description: str
    target: str
    tolerance: str


@dataclass(frozen=True, slots=True)
class _Stand:
    """How heights of the tree become places in the panel."""

    trunk_x_mm: float
    scale: float

    def at_height(self, height_mm: float) -> float:
        return _SOIL_MM - self.scale * height_mm


def top_drawing(
    target_mm: float,
    tolerance_mm: float,
    wires_mm: Sequence[float],
    labels: TopLabels,
    fault: Fault | None = None,
) -> Drawing:
    """
    Draw a tree between its wires, topped at the target height, to scale.

    Parameters
    ----------
    target_mm, tolerance_mm : float
        The standard's height and how far off is still right.
    wires_mm : sequence of float
        Heights of the wires, from the soil; may be empty.
    labels : TopLabels
        The words.
    fault : Fault or None, optional
        Draw this fault (high, low, blunt) instead of the right cut.

    Returns
    -------
    Drawing
        A panel of 35 by 40 mm.

    Raises
    ------
    ValueError
        If there is no picture of the fault.
    """
    if fault not in {None, Fault.HIGH, Fault.LOW, Fault.BLUNT}:
        raise ValueError(f"fault is {fault}; the top drawing shows high, low or blunt")
    stand = _Stand(8.2, (_SOIL_MM - 1.4) / (target_mm + tolerance_mm + 2 * _MISS_MM))
    missed_by_mm = _missed_by(fault, tolerance_mm)
    topped_mm = target_mm + missed_by_mm
    target_y = stand.at_height(target_mm)
    shapes: list[Shape] = [
        *_trellis(stand, wires_mm),
        *_band(stand, target_mm, tolerance_mm),
        *_slender_tree(stand, target_mm, topped_mm),
        *span((16.6, _SOIL_MM - 0.2), (16.6, target_y + 0.2)),
        *_height_labels(labels),
    ]
    if missed_by_mm:
        shapes += _miss(target_y, stand.at_height(topped_mm))
    else:
        shapes += _leader_inset(target_y, blunt=fault is Fault.BLUNT)
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _missed_by(fault: Fault | None, tolerance_mm: float) -> float:
    match fault:
        case Fault.HIGH:
            return tolerance_mm + _MISS_MM
        case Fault.LOW:
            return -tolerance_mm - _MISS_MM
        case _:
            return 0.0


def _height_labels(labels: TopLabels) -> list[Shape]:
    target = figure((18.6, 25.2), labels.target, 16.0)
    return [*target, *caption((18.6, target[-1].y_mm + 5.2), labels.tolerance, 16.0)]


def _miss(target_y: float, topped_y: float) -> list[Shape]:
    # How far the top is off, drawn between the two heights.
    return [
        Line((10.2, topped_y), (24.6, topped_y), Ink.FAULT_LINE),
        Line((17.6, target_y), (24.6, target_y), Ink.RIGHT_LINE),
        *arrow((21.6, target_y), (21.6, topped_y), fault=True),
    ]


def _trellis(stand: _Stand, wires_mm: Sequence[float]) -> list[Shape]:
    soil: Shape = Line((0.5, _SOIL_MM), (34.5, _SOIL_MM), Ink.LINE)
    wires = [
        Line((0.5, stand.at_height(wire)), (15.6, stand.at_height(wire)), Ink.WIRE)
        for wire in wires_mm
    ]
    if not wires_mm:
        return [soil]
    top = stand.at_height(max(wires_mm) + 60.0)
    return [soil, Rect(1.2, top, 0.9, _SOIL_MM - top, Ink.GREY), *wires]


def _band(stand: _Stand, target_mm: float, tolerance_mm: float) -> list[Shape]:
    upper = stand.at_height(target_mm + tolerance_mm)
    middle = stand.at_height(target_mm)
    height = 2 * tolerance_mm * stand.scale
    return [
        Rect(2.8, upper, 14.8, height, Ink.RIGHT_TINT),
        Line((2.8, middle), (17.6, middle), Ink.RIGHT_LINE),
    ]


def _slender_tree(stand: _Stand, target_mm: float, topped_mm: float) -> list[Shape]:
    grown_mm = target_mm + 480.0
    leader = Stem.between(
        (stand.trunk_x_mm, _SOIL_MM),
        (stand.trunk_x_mm, max(0.4, stand.at_height(grown_mm))),
        (1.7, 0.5),
    )
    cut_at = topped_mm / grown_mm
    stays, goes, mark = slanted_cut(leader, cut_at - 0.005, cut_at + 0.005)
    branches = [
        _branch(stand, part * target_mm, side * reach, rise)
        for part, side, reach, rise in _BRANCHES
        if part * target_mm < topped_mm - 90.0
    ]
    return [goes, *branches, stays, mark]


def _branch(stand: _Stand, height_mm: float, reach_mm: float, rise_mm: float) -> Shape:
    x = stand.trunk_x_mm
    end = (x + stand.scale * reach_mm, stand.at_height(height_mm + rise_mm))
    bend = 0.07 if reach_mm < 0 else -0.07
    return Stem.between((x, stand.at_height(height_mm)), end, (0.7, 0.35), bend).outline()


def _leader_inset(top_y_mm: float, *, blunt: bool) -> list[Shape]:
    inset = Inset(20.4, 1.0, 13.6, 16.4)
    leader = Stem.between((5.6, 16.3), (5.2, 0.2), (3.3, 2.6))
    if blunt:
        stays, goes, mark = slanted_cut(leader, 0.5, 0.5)
        side = Stem.between((5.6, 14.6), (11.6, 10.4), (1.5, 1.0), -0.12)
    else:
        stays, goes, mark = slanted_cut(leader, 0.42, 0.56)
        side = Stem.between((5.4, 9.6), (12.2, 3.6), (1.7, 1.1), -0.14)
    link = Line((17.6, top_y_mm), (inset.x_mm, top_y_mm), Ink.HAIRLINE)
    return [link, *inset.framed(goes, side.outline(), stays, mark)]


@dataclass(frozen=True, slots=True)
class LimbsLabels:
    """
    The words of the limbs drawing, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    limit : str
        Diameter from which a limb is large, with its unit; short, such as "3/4 in +".
    """

    title: str
    description: str
    limit: str


@dataclass(frozen=True, slots=True)
class _Limb:
    """A limb of the piece of trunk: where, how thick against the limit, how it grows."""

    y_mm: float
    side: int
    thickness: float
    reach_mm: float
    rise_mm: float

    def grown_on(self, trunk: Stem, limit_mm: float, thickness: float | None = None) -> Stem:
        along = (trunk.start[1] - self.y_mm) / (trunk.start[1] - trunk.end[1])
        start = (trunk.start[0] + self.side * trunk.width_at(along) * 0.3, self.y_mm)
        end = (start[0] + self.side * self.reach_mm, self.y_mm - self.rise_mm)
        width = (thickness or self.thickness) * limit_mm * _LIMB_SCALE
        return Stem.between(start, end, (width, width * 0.6), -0.05 * self.side)


# The piece of trunk is drawn at one tenth of its size. The limbs that may come out are thicker
# than the limit and come out in this order; the others are well below it.
_LIMB_SCALE: Final = 0.1
_THICK_LIMBS: Final = (
    _Limb(11.6, 1, 1.5, 20.5, 5.6),
    _Limb(24.6, -1, 1.4, 9.1, 2.4),
    _Limb(17.0, -1, 1.3, 9.1, 3.0),
    _Limb(35.6, -1, 1.2, 9.1, 2.6),
)
_THIN_LIMBS: Final = (
    _Limb(4.6, 1, 0.5, 11.0, 3.4),
    _Limb(9.4, -1, 0.6, 9.0, 4.0),
    _Limb(30.4, -1, 0.6, 9.0, 1.6),
)
_SPARED: Final = 0.7


def limbs_drawing(limit_mm: float, removals: int, labels: LimbsLabels) -> Drawing:
    """
    Draw a piece of trunk whose thickest limbs come out, at one tenth of its size.

    Parameters
    ----------
    limit_mm : float
        Diameter from which a limb is large; the limbs that come out are drawn thicker, the others
        thinner.
    removals : int
        How many come out; from four on, four are drawn.
    labels : LimbsLabels
        The words.

    Returns
    -------
    Drawing
        A panel of 35 by 40 mm.
    """
    trunk = Stem.between((11.4, 39.8), (11.4, 0.2), (6.0, 5.0))
    stems = [limb.grown_on(trunk, limit_mm) for limb in _THIN_LIMBS]
    stems += [limb.grown_on(trunk, limit_mm, _SPARED) for limb in _THICK_LIMBS[removals:]]
    shapes: list[Shape] = [stem.outline() for stem in stems]
    marks: list[Shape] = []
    for limb in _THICK_LIMBS[:removals]:
        stem = limb.grown_on(trunk, limit_mm)
        stays, goes, mark = slanted_cut(stem, *_bevel(stem, 2.6, 4.2))
        shapes += [goes, stays]
        marks.append(mark)
    shapes += [trunk.outline(), *marks]
    if removals:
        shapes += _diameter(_THICK_LIMBS[0].grown_on(trunk, limit_mm), labels.limit)
        shapes += _bevel_inset()
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _bevel(stem: Stem, upper_mm: float, lower_mm: float) -> tuple[float, float]:
    # The upper edge is cut nearer the trunk than the lower: the lip draws a new shoot from below.
    grown = abs(stem.end[0] - stem.start[0])
    upper, lower = upper_mm / grown, lower_mm / grown
    return (upper, lower) if stem.end[0] > stem.start[0] else (lower, upper)


def _diameter(stem: Stem, label: str) -> list[Shape]:
    along = 0.42
    over, under = stem.edge(along, 1), stem.edge(along, -1)
    return [
        *arrow(stem.beside(along, 5.4), over),
        *arrow(stem.beside(along, -5.4), under),
        *figure((17.8, 18.8), label, 17.0),
    ]


def _bevel_inset() -> list[Shape]:
    inset = Inset(18.4, 25.4, 15.6, 13.6)
    trunk = Stem.between((3.4, 13.5), (3.4, 0.1), (4.6, 4.4))
    limb = Stem.between((4.6, 8.6), (14.4, 5.4), (4.6, 3.9), -0.04)
    stays, goes, mark = slanted_cut(limb, *_bevel(limb, 2.2, 5.0))
    return list(inset.framed(goes, stays, trunk.outline(), mark))


@dataclass(frozen=True, slots=True)
class ColumnsLabels:
    """
    The words of the columns drawing, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    before, after : str
        One word each.
    side_branch : str
        Length from which a shoot is a side branch, with its unit.
    """

    title: str
    description: str
    before: str
    after: str
    side_branch: str


# Branches are drawn at one twentieth of their size: 600 mm long, spurs of 30 to 50 mm.
_BRANCH_SCALE: Final = 0.05
_SPURS: Final = (
    (0.16, -1, 1.5),
    (0.34, -1, 1.2),
    (0.47, 1, 1.3),
    (0.62, -1, 1.3),
    (0.77, 1, 1.4),
    (0.88, -1, 1.2),
)


def columns_drawing(side_branch_mm: float, labels: ColumnsLabels) -> Drawing:
    """
    Draw a branch before and after it is made a single column, at one twentieth of its size.

    Parameters
    ----------
    side_branch_mm : float
        Length from which a shoot is a side branch; the ones that go are drawn longer.
    labels : ColumnsLabels
        The words.

    Returns
    -------
    Drawing
        A panel of 35 by 40 mm.
    """
    trunk = Stem.between((2.0, 39.8), (2.0, 0.2), (3.6, 3.2))
    before, after = _column(19.4), _column(37.6)
    length_mm = 1.35 * side_branch_mm * _BRANCH_SCALE
    foot = before.point_at(0.24)
    upright = Stem.between(foot, (foot[0] - 0.8, foot[1] - length_mm), (1.1, 0.6), 0.05)
    fork = Stem.between(before.point_at(0.68), (33.0, 2.4), (1.3, 0.7), -0.05)
    hanging = Stem.between(before.point_at(0.42), (22.6, 24.0), (1.0, 0.6), 0.05)
    cuts = [slanted_cut(stem, 0.13, 0.13) for stem in (upright, fork, hanging)]
    shapes: list[Shape] = [
        *(goes for _, goes, _ in cuts),
        *(stays for stays, _, _ in cuts),
        *_spurred(before),
        *(mark for _, _, mark in cuts),
        *_spurred(after),
        trunk.outline(),
        *span((foot[0] + 1.6, foot[1] - 0.9), (foot[0] + 1.6, foot[1] - length_mm)),
        *caption((foot[0] + 2.8, foot[1] - length_mm + 2.6), labels.side_branch, 15.4),
        *arrow((14.2, 22.6), (14.2, 28.0)),
        Text(34.4, 20.6, labels.before, SMALL_MM, anchor=Anchor.END),
        Text(34.4, 38.8, labels.after, SMALL_MM, anchor=Anchor.END),
    ]
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _column(y_mm: float) -> Stem:
    return Stem.between((3.2, y_mm), (33.8, y_mm - 8.6), (2.3, 1.0), -0.03)


def _spurred(branch: Stem) -> list[Shape]:
    spurs = [shape for along, side, reach in _SPURS for shape in spur(branch, along, side, reach)]
    return [*spurs, branch.outline()]


@dataclass(frozen=True, slots=True)
class HeadingLabels:
    """
    The words of the heading drawing, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    band : str
        The diameters between which the cut is right, with their unit.
    """

    title: str
    description: str
    band: str


# An ordinary pencil is about 7 mm thick (common knowledge; no published figure).
PENCIL_MM: Final = 7.0

# A hanging branch thins evenly from its base to its tip.
_HANGING_MM: Final = (20.0, 2.0)


def heading_drawing(
    thinnest_mm: float, thickest_mm: float, labels: HeadingLabels, cut_mm: float | None = None
) -> Drawing:
    """
    Draw a bent-down branch cut where it is pencil thick.

    The close-up shows the cut end beside a pencil, both at one scale.

    Parameters
    ----------
    thinnest_mm, thickest_mm : float
        Band of the diameter just behind the cut.
    labels : HeadingLabels
        The words.
    cut_mm : float or None, optional
        Diameter where the branch is cut instead, to show a fault.

    Returns
    -------
    Drawing
        A panel of 35 by 40 mm.
    """
    wanted = (thinnest_mm + thickest_mm) / 2
    diameter_mm = wanted if cut_mm is None else cut_mm
    trunk = Stem.between((2.0, 39.8), (2.0, 0.2), (3.6, 3.2))
    branch = Stem((3.0, 13.4), (12.4, -3.4), (29.8, -4.0), (30.0, 38.8), 4.0, 0.8)
    cut_at = _where_thick(diameter_mm)
    stays, goes, mark = slanted_cut(branch, cut_at, cut_at)
    end = branch.point_at(cut_at)
    shapes: list[Shape] = [
        Line((24.6, 18.2), (end[0] - 1.7, end[1] + 0.9), Ink.HAIRLINE),
        goes,
        stays,
        trunk.outline(),
        mark,
        *_pencil_inset(diameter_mm),
        *figure((6.6, 38.6), labels.band, 22.0, most_lines=1),
    ]
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _where_thick(diameter_mm: float) -> float:
    thick, thin = _HANGING_MM
    return (thick - diameter_mm) / (thick - thin)


def _pencil_inset(diameter_mm: float) -> list[Shape]:
    inset = Inset(7.2, 15.6, 17.4, 17.8)
    shrunk = min(1.0, 12.6 / (diameter_mm + PENCIL_MM))
    width, pencil_mm = shrunk * diameter_mm, shrunk * PENCIL_MM
    branch = Stem.between((1.6 + width / 2, 0.1), (1.6 + width / 2, 15.4), (width * 1.15, width))
    stays, goes, mark = slanted_cut(branch, 0.66, 0.66)
    return list(inset.framed(goes, stays, mark, *pencil(16.0 - pencil_mm, pencil_mm, 9.4)))


def pencil(left_mm: float, width_mm: float, shoulder_mm: float) -> list[Shape]:
    """
    Draw a pencil that hangs from the upper edge, point down.

    Parameters
    ----------
    left_mm : float
        Where its left edge lies.
    width_mm : float
        Its thickness.
    shoulder_mm : float
        How far down the sharpened end begins.

    Returns
    -------
    list of Shape
        The pencil.
    """
    # Seen from the side, a hexagonal pencil shows one face and two slanted ones.
    right, middle = left_mm + width_mm, left_mm + width_mm / 2
    point = shoulder_mm + 0.95 * width_mm
    lead = point - 0.26 * width_mm
    body = (
        (left_mm, 0.1),
        (right, 0.1),
        (right, shoulder_mm),
        (middle, point),
        (left_mm, shoulder_mm),
    )
    ridges = (left_mm + 0.28 * width_mm, right - 0.28 * width_mm)
    tip = ((middle - 0.14 * width_mm, lead), (middle + 0.14 * width_mm, lead), (middle, point))
    return [
        Polygon(body, Ink.FRESH),
        *(Line((x, 0.1), (x, shoulder_mm - 0.4), Ink.HAIRLINE) for x in ridges),
        Line((left_mm, shoulder_mm), (right, shoulder_mm), Ink.FINE_LINE),
        Polygon(tip, Ink.SOLID),
    ]
