"""
The four stages as larger drawings, to the numbers of a block's standard.

Each shows a tree of `printables.drawing.clear_trees`, and what `audits.practice.ideal` says the
standard asks of it: where the top ends, which limbs go, what makes a branch one column, where a
hanging end is pencil thick.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.practice.ideal import ideal_pruning
from audits.practice.model import Limb, Place3, PracticeTree
from audits.practice.pruning import NOTHING_CUT, Pruning, limbs_left, pruned_limb, top_limb
from audits.standard import ColumnsRule, HeadingStageRule, LimbsRule, Standard, TopRule
from audits.vocabulary import Fault, HeadingRule, Stage
from printables.drawing.clear_trees import (
    PIECE_FROM_MM,
    forked_tree,
    hanging_tree,
    limbed_tree,
    slender_tree,
)
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
)
from printables.drawing.practice_tree import View, limb_shapes, tree_shapes
from printables.drawing.primitives import Anchor, Drawing, Line, Polygon, Rect, Shape, Text
from printables.drawing.wood import Stem

_SOIL_MM: Final = 38.6

# How far beyond the band a faulty top is drawn, and how far above the band the leader has grown.
_MISS_MM: Final = 280.0
_GROWN_MM: Final = 520.0

# A blunt cut ends this far above where it should.
_BLUNT_MM: Final = 55.0

# A standard for what a picture does not show.
_ANY_TOP: Final = TopRule(target_mm=3000.0)


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
    grown_mm = target_mm + tolerance_mm + _GROWN_MM
    scale = (_SOIL_MM - 1.0) / grown_mm
    view = View(8.2, _SOIL_MM, scale, thicker=0.03 / scale, thinnest_mm=0.42)
    wanted_mm = target_mm + _missed_by(fault, tolerance_mm)
    tree = slender_tree(wanted_mm, grown_mm)
    pruning = _topped(tree, wanted_mm, blunt=fault is Fault.BLUNT)
    target_y = view.at_height(target_mm)
    shapes: list[Shape] = [
        *_trellis(view, wires_mm),
        *_band(view, target_mm, tolerance_mm),
        *tree_shapes(tree, view, pruning),
        *span((16.6, _SOIL_MM - 0.2), (16.6, target_y + 0.2)),
        *_height_labels(labels),
    ]
    if wanted_mm != target_mm:
        shapes += _miss(target_y, view.at_height(wanted_mm))
    else:
        shapes += _leader_inset(tree, pruning, target_y)
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _topped(tree: PracticeTree, wanted_mm: float, *, blunt: bool) -> Pruning:
    """Cut the top as a standard with this target asks, or bluntly, off its side branch."""
    rule = TopRule(target_mm=wanted_mm, tolerance_mm=1.0, outer_mm=3000.0)
    standard = Standard(top=rule, row_spacing_mm=3000.0)
    pruning = ideal_pruning(tree, standard, {Stage.TOP})
    if not blunt or pruning.top_mm is None:
        return pruning
    return Pruning(top_mm=pruning.top_mm + _BLUNT_MM)


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


def _trellis(view: View, wires_mm: Sequence[float]) -> list[Shape]:
    soil: Shape = Line((0.5, _SOIL_MM), (34.5, _SOIL_MM), Ink.LINE)
    wires = [
        Line((0.5, view.at_height(wire)), (15.6, view.at_height(wire)), Ink.WIRE)
        for wire in wires_mm
    ]
    if not wires_mm:
        return [soil]
    top = view.at_height(max(wires_mm) + 60.0)
    return [soil, Rect(1.2, top, 0.9, _SOIL_MM - top, Ink.GREY), *wires]


def _band(view: View, target_mm: float, tolerance_mm: float) -> list[Shape]:
    upper = view.at_height(target_mm + tolerance_mm)
    middle = view.at_height(target_mm)
    height = 2 * tolerance_mm * view.scale
    return [
        Rect(2.8, upper, 14.8, height, Ink.RIGHT_TINT),
        Line((2.8, middle), (17.6, middle), Ink.RIGHT_LINE),
    ]


# The leader where it is cut, at about one ninth of its size.
_CLOSE: Final = 0.11


def _leader_inset(tree: PracticeTree, pruning: Pruning, top_y_mm: float) -> list[Shape]:
    inset = Inset(20.4, 1.0, 13.6, 16.4)
    highest = max(limbs_left(tree, pruning), key=lambda limb: limb.union_mm)
    side = 1.0 if highest.wood.end[0] > 0.0 else -1.0
    view = View(
        inset.width_mm / 2 - 2.2 * side,
        (9.0 if top_limb(tree, pruning) else 5.6) + _CLOSE * (pruning.top_mm or highest.union_mm),
        _CLOSE,
        thicker=1.9,
        within_mm=(0.3, 0.3, inset.width_mm - 0.3, inset.height_mm - 0.2),
    )
    link = Line((17.6, top_y_mm), (inset.x_mm, top_y_mm), Ink.HAIRLINE)
    return [link, *inset.framed(*tree_shapes(tree, view, pruning))]


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


# The piece of trunk is drawn at one tenth of its size.
_LIMB_SCALE: Final = 0.1
MOST_LIMIT_MM: Final = 26.0


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
    tree = limbed_tree(limit_mm, removals)
    pruning = limbs_out(tree, limit_mm, removals)
    view = _piece_view(limit_mm, (0.0, 0.0, WIDTH_MM, HEIGHT_MM))
    shapes = tree_shapes(tree, view, pruning)
    thickest = [limb for limb in tree.limbs if limb.key in pruning.limbs_out]
    if thickest:
        thickest.sort(key=Limb.measured_mm)
        shapes += _diameter(view.seen(thickest[-1].wood), labels.limit)
        shapes += _bevel_inset()
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def limbs_out(tree: PracticeTree, limit_mm: float, removals: int) -> Pruning:
    """
    Take the limbs out that a standard asks for.

    Parameters
    ----------
    tree : PracticeTree
        The tree.
    limit_mm : float
        Diameter from which a limb is large.
    removals : int
        How many come out.

    Returns
    -------
    Pruning
        The cuts.
    """
    rule = LimbsRule(large_mm=limit_mm, least=min(removals, 8), most=min(removals, 8))
    standard = Standard(top=_ANY_TOP, limbs=rule, row_spacing_mm=3000.0)
    return ideal_pruning(tree, standard, {Stage.LIMBS})


def _piece_view(limit_mm: float, within_mm: tuple[float, float, float, float]) -> View:
    # Odd limits change the scale, not the picture; the thickness tells them, as far as it has room.
    scale = _LIMB_SCALE * 19.0 / limit_mm
    thicker = min(limit_mm, MOST_LIMIT_MM) / 19.0
    soil = 39.8 + scale * PIECE_FROM_MM
    return View(11.4, soil, scale, thicker=thicker, thinnest_mm=0.6, within_mm=within_mm)


def _bevel(stem: Stem, upper_mm: float, lower_mm: float) -> tuple[float, float]:
    # The upper edge is cut nearer the trunk than the lower: the lip draws a new shoot from below.
    grown = abs(stem.end[0] - stem.start[0])
    upper, lower = upper_mm / grown, lower_mm / grown
    return (upper, lower) if stem.end[0] > stem.start[0] else (lower, upper)


def _diameter(stem: Stem, label: str) -> list[Shape]:
    along = 0.42
    over, under = stem.edge(along, 1), stem.edge(along, -1)
    return [
        *arrow(stem.beside(along, 4.6), over),
        *arrow(stem.beside(along, -4.6), under),
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


# The branch is drawn at one twentieth of its size where side branches count from 15 cm.
_BRANCH_MM: Final = 31.0
_HANGING_MM: Final = 30.0


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
    tree = forked_tree(side_branch_mm)
    rule = ColumnsRule(side_branch_mm=side_branch_mm)
    standard = Standard(top=_ANY_TOP, columns=rule, row_spacing_mm=3000.0)
    pruning = ideal_pruning(tree, standard, {Stage.COLUMNS})
    (limb,) = tree.limbs
    before, after = _branch_view(limb, 19.6), _branch_view(limb, 37.8)
    cut = limb_shapes(limb, before, pruning, shows_spurs=True)
    column = limb_shapes(pruned_limb(limb, pruning), after, NOTHING_CUT, shows_spurs=True)
    upright = before.stem(limb.side_branches[0].wood)
    foot, tip = upright.start, upright.end
    beside = max(foot[0], tip[0]) + 1.5
    shapes: list[Shape] = [
        *cut.gone,
        *cut.stays,
        *cut.marks,
        *column.stays,
        trunk_piece().outline(),
        *span((beside, foot[1] - 0.9), (beside, tip[1])),
        *caption((beside + 1.2, tip[1] + 2.6), labels.side_branch, 15.4),
        *arrow((14.2, 22.6), (14.2, 28.0)),
        Text(34.4, 20.6, labels.before, SMALL_MM, anchor=Anchor.END),
        Text(34.4, 38.8, labels.after, SMALL_MM, anchor=Anchor.END),
    ]
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def _branch_view(limb: Limb, foot_y_mm: float) -> View:
    wood = limb.wood
    scale = _BRANCH_MM / (wood.end[0] - wood.start[0])
    return View(
        2.4 - scale * wood.start[0],
        foot_y_mm + scale * limb.union_mm,
        scale,
        thicker=2.3 / (scale * wood.thick_mm),
        thinnest_mm=0.5,
    )


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
    tree = hanging_tree(thinnest_mm, thickest_mm)
    (limb,) = tree.limbs
    if cut_mm is None:
        pruning = headed_at_pencil(tree, thinnest_mm, thickest_mm)
    else:
        # Thicker wood than the limb's is cut at its foot, thinner at its tip.
        along = limb.where_thick(min(cut_mm, limb.wood.thick_mm * 0.95))
        pruning = Pruning(headed={limb.key: 1.9 if along is None else along})
    view = hanging_view(limb)
    cut = limb_shapes(limb, view, pruning)
    end = view.place(_place_of(limb, pruning.headed[limb.key]))
    shapes: list[Shape] = [
        Line((end[0] - 1.0, 15.6), (end[0], end[1] + 1.6), Ink.HAIRLINE),
        *cut.gone,
        *cut.stays,
        trunk_piece().outline(),
        *cut.marks,
        *_pencil_inset(diameter_mm),
        *figure((6.6, 38.6), labels.band, 22.0, most_lines=1),
    ]
    return Drawing(WIDTH_MM, HEIGHT_MM, tuple(shapes), labels.title, labels.description)


def trunk_piece() -> Stem:
    """
    Draw the piece of trunk on the left of a panel from which a branch grows.

    Returns
    -------
    Stem
        As high as the panel.
    """
    return Stem.between((2.0, 39.8), (2.0, 0.2), (3.6, 3.2))


def headed_at_pencil(tree: PracticeTree, thinnest_mm: float, thickest_mm: float) -> Pruning:
    """
    Head the ends that a standard asks for.

    Parameters
    ----------
    tree : PracticeTree
        The tree.
    thinnest_mm, thickest_mm : float
        Band of the diameter just behind the cut.

    Returns
    -------
    Pruning
        The cuts.
    """
    rule = HeadingStageRule(
        rule=HeadingRule.REQUIRED, thinnest_mm=thinnest_mm, thickest_mm=thickest_mm
    )
    standard = Standard(top=_ANY_TOP, heading=rule, row_spacing_mm=3000.0)
    return ideal_pruning(tree, standard, {Stage.HEADING})


def _place_of(limb: Limb, along: float) -> Place3:
    piece = limb.pieces[0] if along <= 1.0 or limb.end is None else limb.end
    return piece.point_at(along if piece is limb.wood else along - 1.0)


def hanging_view(limb: Limb) -> View:
    """
    See a limb with a hanging end as wide as the panel allows.

    Parameters
    ----------
    limb : Limb
        The limb, growing along the row.

    Returns
    -------
    View
        From where it is seen.
    """
    end = limb.end or limb.wood
    scale = _HANGING_MM / (end.end[0] - limb.wood.start[0])
    return View(
        2.3 - scale * limb.wood.start[0],
        11.2 + scale * limb.union_mm,
        scale,
        thicker=3.6 / (scale * limb.wood.thick_mm),
        thinnest_mm=0.5,
    )


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
