"""
A practice tree as its pruner sees it: the top beside a pole, the limbs on the trunk, one branch.

Every picture fits a small phone. Each piece that a cut takes away, and each fresh cut, is a group
with a key; the places where a finger may cut are returned beside the picture:

``leader-<top>``
    The leader from a place up to the next higher one.
``limb-<limb>``
    A limb with all it carries; in it ``side-<side>`` and ``axis-<limb>-<head>``, the limb from a
    heading place out to the next.
``cut-<top>``, ``cut-limb-<limb>``, ``cut-side-<side>``, ``cut-head-<limb>-<head>``
    Fresh cuts, which a page shows once they are made.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import atan2, cos, hypot, radians
from typing import Final

from audits.practice.model import Limb, PracticeTree, SideBranch
from audits.practice.places import HeadPlace, TopPlace
from audits.practice.pruning import (
    NOTHING_CUT,
    Pruning,
    diameter_behind,
    pruned_limb,
    pruned_tree,
    top_limb,
)
from audits.vocabulary import Side
from printables.drawing.inks import Ink
from printables.drawing.practice_tree import View
from printables.drawing.primitives import (
    Circle,
    Drawing,
    Group,
    Line,
    Path,
    Point,
    Polygon,
    Rect,
    Shape,
)
from printables.drawing.svg import to_svg
from printables.drawing.winter_wood import branch_pieces, face, limb_piece
from printables.drawing.wood import Stem

# A square that is a little high: what a phone of 360 x 640 leaves between words and keys, at four
# pixels to the millimetre.
SIZE_MM: Final = (85.0, 88.0)

# Someone who stands on the row's right side looks from there; see `View`.
_FROM_DEG: Final = {Side.RIGHT: 90.0, Side.LEFT: 270.0}

_EDGE_MM: Final = 1.5


@dataclass(frozen=True, slots=True)
class ViewPlace:
    """
    Where a place that may be cut lies in a picture.

    Parameters
    ----------
    id : str
        Name of the place: of a top, of a limb, of a side branch or of a heading place.
    x_mm, y_mm : float
        Across and down from the picture's upper left corner.
    """

    id: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class KeyedView:
    """
    A picture whose pieces have keys, and the places in it.

    Parameters
    ----------
    drawing : Drawing
        The picture.
    places : tuple of ViewPlace
        In the order in which they were offered.
    """

    drawing: Drawing
    places: tuple[ViewPlace, ...]


@dataclass(frozen=True, slots=True)
class Pole:
    """
    A measuring pole beside a tree.

    Parameters
    ----------
    mark_mm : float
        Height of its mark: the target.
    reach_mm : float, optional
        How far above and below the mark it is painted: the tolerance.
    """

    mark_mm: float
    reach_mm: float = 0.0


def view_svg(view: KeyedView) -> str:
    """
    Write a picture for a page that finds its pieces by their keys.

    Parameters
    ----------
    view : KeyedView
        The picture.

    Returns
    -------
    str
        An SVG element with few digits; its words are said beside it.
    """
    return to_svg(view.drawing, id_prefix="view", decorative=True, compact=True)


# --- the top -------------------------------------------------------------------------------------

_TOP_THICKER: Final = 1.7
_TOP_THINNEST_MM: Final = 0.34
_ABOVE_MM: Final = 50.0
_BELOW_MM: Final = 130.0
_LEAST_RANGE_MM: Final = 1_000.0
_POLE_X_MM: Final = 7.0
_POLE_MM: Final = 2.2
# The trunk stands right of the middle, since the pole takes room on the left.
_TOP_TRUNK: Final = 0.56


def top_view(
    tree: PracticeTree,
    done: Pruning,
    tops: Sequence[TopPlace],
    *,
    wire_mm: float | None = None,
    pole: Pole | None = None,
    side: Side = Side.RIGHT,
    words: tuple[str, str] = ("", ""),
    size_mm: tuple[float, float] = SIZE_MM,
) -> KeyedView:
    """
    Draw the upper part of a tree beside a pole.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    done : Pruning
        What is cut already.
    tops : sequence of TopPlace
        Places at which the leader may be cut; each becomes a place with its ``id``.
    wire_mm : float or None, optional
        Height of the top wire.
    pole : Pole or None, optional
        A pole to the scale of the tree.
    side : Side, optional
        From where it is looked at.
    words : tuple of str, optional
        Title and description, in the reader's language.
    size_mm : tuple of float, optional
        Width and height of the picture.

    Returns
    -------
    KeyedView
        The picture.
    """
    width, height = size_mm
    left = pruned_tree(tree, done)
    marks = [] if pole is None else [pole.mark_mm + pole.reach_mm, pole.mark_mm - pole.reach_mm]
    cuts = sorted(tops, key=lambda top: top.at_mm)
    highest = max([left.height_mm, *marks, *([] if wire_mm is None else [wire_mm])]) + _ABOVE_MM
    lowest = min([*(top.at_mm for top in cuts), *marks, highest - _LEAST_RANGE_MM]) - _BELOW_MM
    scale = height / (highest - lowest)
    view = View(
        _TOP_TRUNK * width,
        highest * scale,
        scale,
        _FROM_DEG.get(side, 90.0),
        thicker=_TOP_THICKER,
        thinnest_mm=_TOP_THINNEST_MM,
        within_mm=(0.0, 0.0, width, height),
    )
    shapes: list[Shape] = []
    if wire_mm is not None and lowest < wire_mm:
        at = view.at_height(wire_mm)
        shapes.append(Line((0.0, at), (width, at), Ink.WIRE))
    if pole is not None:
        shapes += _pole(pole, view, width, height)
    # Ends of limbs that grow from below the picture would hang in the air.
    seen = replace(left, limbs=tuple(one for one in left.limbs if one.union_mm > lowest))
    shapes += _limbs_behind(seen, view)
    shapes += _leader(left, view, cuts)
    shapes += _limbs_before(seen, view)
    shapes += _done_on_leader(tree, done, view)
    places = []
    for top in tops:
        at_top = view.place(left.leader.point_at(left.leader_at(top.at_mm)))
        places.append(ViewPlace(top.id, *at_top))
        shapes.append(Group((_top_face(tree, done, top.at_mm, view),), key=f"cut-{top.id}"))
    return KeyedView(Drawing(width, height, tuple(shapes), *words), tuple(places))


def _pole(pole: Pole, view: View, width: float, height: float) -> list[Shape]:
    left = _POLE_X_MM - _POLE_MM / 2
    mark = view.at_height(pole.mark_mm)
    shapes: list[Shape] = [Rect(left, -1.0, _POLE_MM, height + 2.0, Ink.FRAME)]
    if pole.reach_mm:
        upper = view.at_height(pole.mark_mm + pole.reach_mm)
        lower = view.at_height(pole.mark_mm - pole.reach_mm)
        shapes.append(Rect(left, upper, _POLE_MM, lower - upper, Ink.RIGHT))
    arrow = (
        (left + _POLE_MM + 0.4, mark),
        (left + _POLE_MM + 3.4, mark - 1.7),
        (left + _POLE_MM + 3.4, mark + 1.7),
    )
    return [
        Line((left + _POLE_MM + 3.4, mark), (width, mark), Ink.DASHED_LINE),
        *shapes,
        Polygon(arrow, Ink.RIGHT),
    ]


def _leader(tree: PracticeTree, view: View, cuts: Sequence[TopPlace]) -> list[Shape]:
    """Draw the leader in the pieces between the cuts that are offered."""
    stem = view.stem(tree.leader)
    run = view.run_of(stem)
    if run is None:
        return []
    borders = [run[0], *(tree.leader_at(cut.at_mm) for cut in cuts), run[1]]
    keys = ["", *(f"leader-{cut.id}" for cut in cuts)]
    shapes: list[Shape] = []
    for place, key in enumerate(keys):
        # The pieces overlap a little, or a light line would show between them.
        first = max(run[0], borders[place] - (0.001 if place else 0.0))
        last = max(first, min(run[1], borders[place + 1]))
        if last <= first:
            continue
        shapes_here = _leader_piece(tree, stem, first, last)
        shapes += [Group(shapes_here, key=key)] if key else shapes_here
    return shapes


# The leader is one summer's growth where it is thinner than this.
_YOUNG_LEADER_MM: Final = 10.0
# Bark shines on a trunk as wide on the page as this; the streak as parts of the trunk's width.
_SHINES_FROM_MM: Final = 1.5
_SHINE: Final = (0.2, 0.17)


def _leader_piece(tree: PracticeTree, stem: Stem, first: float, last: float) -> tuple[Shape, ...]:
    young_from = tree.leader.where_thick(_YOUNG_LEADER_MM)
    border = min(last, max(first, 1.0 if young_from is None else young_from))
    shapes: list[Shape] = []
    if border > first:
        old = stem.part(first, border)
        shapes.append(old.outline(Ink.WOOD))
        if old.width_end_mm >= _SHINES_FROM_MM:
            shapes.append(_shine(old))
    if last > border:
        shapes.append(stem.part(border, last).outline(Ink.WOOD_YOUNG))
    return tuple(shapes)


def _shine(stem: Stem) -> Path:
    off, wide = _SHINE
    left = off * (stem.width_start_mm + stem.width_end_mm) / 2

    def beside(place: Point) -> Point:
        return (place[0] - left, place[1])

    return Stem(
        beside(stem.start),
        beside(stem.control1),
        beside(stem.control2),
        beside(stem.end),
        wide * stem.width_start_mm,
        wide * stem.width_end_mm,
    ).outline(Ink.BARK)


def _top_face(tree: PracticeTree, done: Pruning, at_mm: float, view: View) -> Polygon:
    """Draw the fresh end of a leader: slanted up from a side branch, or level where it is blunt."""
    along = tree.leader_at(at_mm)
    centre = view.place(tree.leader.point_at(along))
    wide = max(1.9, 1.15 * view.width(tree.leader.diameter_at(along)))
    limb = top_limb(tree, Pruning(top_mm=at_mm, limbs_out=done.limbs_out))
    lean = 0.0
    if limb is not None:
        reach = view.place(limb.wood.end)[0] - view.place(limb.wood.start)[0]
        lean = -0.5 if reach < 0.0 else 0.5
    return face(centre, wide, 0.55 * wide, -lean)


def _done_on_leader(tree: PracticeTree, done: Pruning, view: View) -> list[Shape]:
    """Draw the cuts of the stages before: the leader's end and the stubs of limbs."""
    shapes: list[Shape] = [
        shape
        for limb in tree.limbs
        if limb.key in done.limbs_out and (done.top_mm is None or limb.union_mm <= done.top_mm)
        for shape in _stub(tree, limb, view)
    ]
    if done.top_mm is not None:
        shapes.append(_top_face(tree, done, done.top_mm, view))
    return shapes


# --- the limbs -----------------------------------------------------------------------------------

_LIMBS_THICKER: Final = 2.2
_LIMBS_FROM_ABOVE_DEG: Final = 14.0
# A stub behind the leader is hidden where its limb reaches less far to a side than this.
_HIDDEN: Final = 0.5
# Limbs that grow less than this towards the viewer or away, of 1, grow to a side.
_SIDEWAYS: Final = 0.35
# Limbs of this part of the gauge's thickness and more are all in view, with so much wood around
# them; above them the picture ends, since only small wood grows there.
_NEARLY_LARGE: Final = 0.8
_AROUND_MM: Final = 260.0
_BELOW_LIMBS_MM: Final = 380.0
_LEAST_SHARE: Final = 0.5


def limbs_view(
    tree: PracticeTree,
    done: Pruning,
    tops: Sequence[TopPlace] = (),
    *,
    gauge_mm: float,
    side: Side = Side.RIGHT,
    words: tuple[str, str] = ("", ""),
    size_mm: tuple[float, float] = SIZE_MM,
) -> KeyedView:
    """
    Draw a trunk with its limbs, as far up as there are stout ones, and a gauge.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    done : Pruning
        What is cut already.
    tops : sequence of TopPlace, optional
        Places at which the leader may be cut; here they are no places, but what lies above them
        goes with them.
    gauge_mm : float
        Diameter of the gauge: from that on a limb is large. It is drawn to the scale of the wood.
    side : Side, optional
        From where the tree is looked at.
    words : tuple of str, optional
        Title and description, in the reader's language.
    size_mm : tuple of float, optional
        Width and height of the picture.

    Returns
    -------
    KeyedView
        The picture; each limb that stands and is in view is a place with its key.
    """
    width, height = size_mm
    left = pruned_tree(tree, done)
    view = _limbs_frame(left, gauge_mm, side, size_mm)
    cuts = sorted(tops, key=lambda top: top.at_mm)
    shapes: list[Shape] = [
        *_soil(view, width, height),
        *_limbs_behind(left, view),
        *_leader(left, view, cuts),
        *_limbs_before(left, view),
        *_done_on_leader(tree, done, view),
        *_gauge(gauge_mm, view, height),
    ]
    shapes += [
        Group((_top_face(tree, done, top.at_mm, view),), key=f"cut-{top.id}")
        for top in tops
        if view.at_height(top.at_mm) > 0.0
    ]
    places = _limb_places(left, view)
    shapes += [
        Group(_stub(tree, limb, view), key=f"cut-limb-{limb.key}")
        for limb in left.limbs
        if any(place.id == limb.key for place in places)
    ]
    return KeyedView(Drawing(width, height, tuple(shapes), *words), tuple(places))


def _limbs_frame(
    tree: PracticeTree, gauge_mm: float, side: Side, size_mm: tuple[float, float]
) -> View:
    width, height = size_mm
    stout = [limb.union_mm for limb in tree.limbs if limb.measured_mm() >= _NEARLY_LARGE * gauge_mm]
    lowest = max(0.0, min((limb.union_mm for limb in tree.limbs), default=0.0) - _BELOW_LIMBS_MM)
    highest = max([*(union + _AROUND_MM for union in stout), _LEAST_SHARE * tree.height_mm])
    from_deg = _FROM_DEG.get(side, 90.0)
    across = View(0.0, 0.0, 1.0, from_deg)
    reach = max(
        (
            abs(across.place(piece.end)[0])
            for limb in tree.limbs
            if limb.union_mm < highest
            for piece in limb.pieces
        ),
        default=1.0,
    )
    flattened = cos(radians(_LIMBS_FROM_ABOVE_DEG))
    scale = min(height / (flattened * (highest - lowest)), (width / 2 - _EDGE_MM) / reach)
    # Where the longest limbs decide the scale there is room for more of the tree, lowest first.
    lowest = max(0.0, min(lowest, highest - height / (scale * flattened)))
    highest = lowest + height / (scale * flattened)
    return View(
        width / 2,
        highest * flattened * scale,
        scale,
        from_deg,
        thicker=_LIMBS_THICKER,
        thinnest_mm=0.3,
        within_mm=(0.0, 0.0, width, height),
        from_above_deg=_LIMBS_FROM_ABOVE_DEG,
    )


def _soil(view: View, width: float, height: float) -> list[Shape]:
    soil = view.at_height(0.0)
    return [Rect(0.0, soil, width, height - soil, Ink.SOIL)] if soil < height - 0.5 else []


def _stub(tree: PracticeTree, limb: Limb, view: View) -> tuple[Shape, ...]:
    """Draw what stays of a limb that came out: a short bevel with a fresh face."""
    stem = view.stem(limb.wood)
    leader_mm = _leader_mm(tree, limb)
    at = view.place(tree.leader.point_at(tree.leader_at(limb.union_mm)))
    across, down = stem.direction_at(0.0)
    reach = min(1.0, hypot(stem.end[0] - stem.start[0], stem.end[1] - stem.start[1]) / 8.0)
    out = reach * (view.width(leader_mm) / 2 + 0.3)
    wide = max(1.6, 1.25 * stem.width_at(0.0))
    centre = (at[0] + across * out, at[1] + down * out)
    if view.depth(limb.wood.end) < 0.0 and reach < _HIDDEN:
        return ()
    narrow = wide * (0.5 + 0.5 * (1.0 - reach))
    return (face(centre, wide, narrow, atan2(down, across) + 1.25),)


def _gauge(gauge_mm: float, view: View, height: float) -> list[Shape]:
    """Draw a round gauge and a peg of its thickness, beside the foot of the trunk."""
    thick = view.width(gauge_mm)
    x, y = 1.2, height - thick - 4.4
    return [
        Rect(x, y, thick + 15.6, thick + 3.2, Ink.FRAME, 0.8),
        Circle((x + 2.2 + thick / 2, y + 1.6 + thick / 2), thick / 2, Ink.RIGHT),
        Rect(x + thick + 4.0, y + 1.6, 9.8, thick, Ink.RIGHT),
    ]


# Where on a limb its place may lie, as parts of what is seen of it.
_ON_LIMB: Final = tuple(0.2 + 0.07 * step for step in range(11))
_ROUNDS: Final = 4
_FROM_EDGE_MM: Final = 3.0


def _limb_places(tree: PracticeTree, view: View) -> list[ViewPlace]:
    """Choose a place on each limb in view, as far from the others as it can be."""
    keys: list[str] = []
    offered: list[list[Point]] = []
    for limb in tree.limbs:
        stem = view.stem(limb.wood)
        run = view.run_of(stem)
        if run is None or run[0] > _ON_LIMB[0]:
            continue
        points = [stem.point_at(run[1] * share) for share in _ON_LIMB]
        points = [point for point in points if point[1] >= _FROM_EDGE_MM]
        if not points:
            continue
        keys.append(limb.key)
        offered.append(points)
    chosen = [points[len(points) // 2] for points in offered]
    for _ in range(_ROUNDS):
        for place, points in enumerate(offered):
            others = chosen[:place] + chosen[place + 1 :]
            chosen[place] = max(points, key=lambda point: _nearest(point, others))
    return [ViewPlace(key, *point) for key, point in zip(keys, chosen, strict=True)]


def _nearest(point: Point, others: Sequence[Point]) -> float:
    return min((hypot(point[0] - x, point[1] - y) for x, y in others), default=0.0)


def _limbs_behind(tree: PracticeTree, view: View) -> list[Shape]:
    pieces = [
        limb_piece(limb, view, _leader_mm(tree, limb), is_far=_is_far(limb, view))
        for limb in _from_the_back(tree, view)
        if not _is_near(limb, view)
    ]
    return [piece for piece in pieces if _shows(piece)]


def _limbs_before(tree: PracticeTree, view: View) -> list[Shape]:
    pieces = [
        limb_piece(limb, view, _leader_mm(tree, limb), is_before=True)
        for limb in _from_the_back(tree, view)
        if _is_near(limb, view)
    ]
    return [piece for piece in pieces if _shows(piece)]


def _shows(piece: Group) -> bool:
    """Tell whether a piece has anything in view."""
    return any(not isinstance(shape, Group) or _shows(shape) for shape in piece.shapes)


def _from_the_back(tree: PracticeTree, view: View) -> list[Limb]:
    return sorted(tree.limbs, key=lambda limb: view.depth(limb.wood.end))


def _leader_mm(tree: PracticeTree, limb: Limb) -> float:
    return tree.leader.diameter_at(tree.leader_at(limb.union_mm))


def _depth_share(limb: Limb, view: View) -> float:
    return view.depth(limb.wood.end) / max(1.0, hypot(limb.wood.end[0], limb.wood.end[1]))


def _is_near(limb: Limb, view: View) -> bool:
    return _depth_share(limb, view) > _SIDEWAYS


def _is_far(limb: Limb, view: View) -> bool:
    return _depth_share(limb, view) < -_SIDEWAYS


# --- one branch ----------------------------------------------------------------------------------

_BRANCH_THICKER: Final = 2.4
# Looked at from above, what grows to the sides of a branch lies beside it.
_BRANCH_FROM_ABOVE_DEG: Final = 25.0
# The trunk is but what a branch grows from: as thick as the branch is drawn it would hide its foot.
_TRUNK_THICKER: Final = 1.4
_STRIP_MM: Final = 11.0
_LARGEST_SCALE: Final = 0.15


def branch_view(
    tree: PracticeTree,
    limb_key: str,
    done: Pruning,
    heads: Sequence[HeadPlace],
    *,
    pencil_mm: float,
    words: tuple[str, str] = ("", ""),
    size_mm: tuple[float, float] = SIZE_MM,
) -> KeyedView:
    """
    Draw one branch from the trunk to its tip, square to the way it grows, with a pencil.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    limb_key : str
        Name of the branch.
    done : Pruning
        What is cut already.
    heads : sequence of HeadPlace
        Places at which it may be shortened; none are offered where it was shortened before.
    pencil_mm : float
        Diameter of the pencil, drawn to the scale of the wood.
    words : tuple of str, optional
        Title and description, in the reader's language.
    size_mm : tuple of float, optional
        Width and height of the picture.

    Returns
    -------
    KeyedView
        The picture; each side branch and each heading place is a place with its name.

    Raises
    ------
    KeyError
        If the tree has no such limb.
    """
    width, height = size_mm
    limb = tree.limb(limb_key)
    left = pruned_limb(limb, done)
    offered = [] if limb_key in done.headed else sorted(heads, key=lambda head: head.at)
    view = _branch_frame(limb, width, height - _STRIP_MM)
    shapes: list[Shape] = [
        *_pencil(pencil_mm, view, width, height),
        branch_pieces(
            left,
            view,
            _TRUNK_THICKER / _BRANCH_THICKER * _leader_mm(tree, limb),
            [(head.id, head.at) for head in offered],
        ),
        *_leader(tree, replace(view, thicker=_TRUNK_THICKER), ()),
    ]
    stem = view.stem(limb.wood)
    shapes += [
        _side_face(side, stem, limb, view)
        for side in limb.side_branches
        if side.key in done.sides_off
    ]
    if limb_key in done.headed:
        shapes.append(_head_face(limb, done.headed[limb_key], view))
    places = []
    for side in left.side_branches:
        places.append(ViewPlace(side.key, *view.place(side.wood.point_at(0.4))))
        mark = _side_face(side, view.stem(left.wood), left, view)
        shapes.append(Group((mark,), key=f"cut-side-{side.key}"))
    for head in offered:
        places.append(ViewPlace(head.id, *_on_limb(limb, head.at, view)[0]))
        mark = _head_face(limb, head.at, view)
        shapes.append(Group((mark,), key=f"cut-head-{limb_key}-{head.id}"))
    return KeyedView(Drawing(width, height, tuple(shapes), *words), tuple(places))


def _branch_frame(limb: Limb, width: float, height: float) -> View:
    """Look at a branch square to the plane in which it grows: it runs to the right."""
    from_deg = limb.azimuth_deg + 90.0
    unit = View(0.0, 0.0, 1.0, from_deg, from_above_deg=_BRANCH_FROM_ABOVE_DEG)
    woods = [*limb.pieces, *(side.wood for side in limb.side_branches)]
    points = [unit.place(wood.point_at(step / 8)) for wood in woods for step in range(9)]
    points += [unit.place(limb.wood.start)]
    rightmost = max(x for x, _ in points)
    highest, lowest = min(y for _, y in points) - 45.0, max(y for _, y in points) + 45.0
    scale = min(
        (width - _EDGE_MM) / (rightmost + 30.0), height / (lowest - highest), _LARGEST_SCALE
    )
    # The branch stands in the middle of the height.
    spare = height - (lowest - highest) * scale
    return View(
        0.0,
        spare / 2 - highest * scale,
        scale,
        from_deg,
        thicker=_BRANCH_THICKER,
        thinnest_mm=0.3,
        within_mm=(-20.0, 0.0, width, height),
        from_above_deg=_BRANCH_FROM_ABOVE_DEG,
    )


def _pencil(pencil_mm: float, view: View, width: float, height: float) -> list[Shape]:
    """Draw a pencil: a point, a shaft as thick as the wood is to be, a flat end."""
    thick = view.width(pencil_mm)
    middle = height - _STRIP_MM / 2
    left, right = width * 0.42, width - 3.0
    upper, lower = middle - thick / 2, middle + thick / 2
    cone = left + 2.6 * thick
    return [
        Line((0.0, height - _STRIP_MM), (width, height - _STRIP_MM), Ink.HAIRLINE),
        Polygon(((left, middle), (cone, upper), (cone, lower)), Ink.FRESH),
        Polygon(
            (
                (left, middle),
                (left + 0.8 * thick, middle - 0.16 * thick),
                (left + 0.8 * thick, middle + 0.16 * thick),
            ),
            Ink.SOLID,
        ),
        Rect(cone, upper, right - cone, thick, Ink.RIGHT),
        Rect(right - 1.6 * thick, upper, 0.5 * thick, thick, Ink.PAPER),
    ]


def _on_limb(limb: Limb, at: float, view: View) -> tuple[Point, Point]:
    """Find a place of a limb or its end on the page, and the direction of growth there."""
    place = min(int(at), len(limb.pieces) - 1)
    stem = view.stem(limb.pieces[place])
    along = min(1.0, at - place)
    return stem.point_at(along), stem.direction_at(along)


def _head_face(limb: Limb, at: float, view: View) -> Polygon:
    centre, (across, down) = _on_limb(limb, at, view)
    wide = max(1.8, 1.15 * view.width(diameter_behind(limb, at)))
    return face(centre, wide, 0.5 * wide, atan2(across, -down))


def _side_face(side: SideBranch, stem: Stem, limb: Limb, view: View) -> Polygon:
    """Draw the fresh wood left of a side branch, flat on the bark of its limb."""
    off = view.stem(side.wood).direction_at(0.0)
    across, down = stem.direction_at(side.along)
    half = view.width(limb.wood.diameter_at(side.along)) / 2
    upwards = 1.0 if across * off[1] - down * off[0] < 0.0 else -1.0
    x, y = stem.point_at(side.along)
    centre = (x + down * upwards * half * 0.8, y - across * upwards * half * 0.8)
    wide = max(1.8, 1.5 * view.width(side.wood.thick_mm))
    return face(centre, wide, 0.55 * wide, atan2(down, across))


# --- the whole tree ------------------------------------------------------------------------------

_WHOLE_THICKER: Final = 1.6
_WHOLE_SOIL_MM: Final = 4.0
_WHOLE_SCALE: Final = 0.6


def whole_scale(
    trees: Sequence[PracticeTree],
    *,
    side: Side = Side.RIGHT,
    size_mm: tuple[float, float] = SIZE_MM,
) -> float:
    """
    Find the largest scale at which trees, each drawn twice, all fit their pictures.

    Parameters
    ----------
    trees : sequence of PracticeTree
        The trees.
    side : Side, optional
        From where they are looked at.
    size_mm : tuple of float, optional
        Width and height of each picture.

    Returns
    -------
    float
        Picture over tree.
    """
    width, height = size_mm
    unit = View(0.0, 0.0, 1.0, _FROM_DEG.get(side, 90.0))
    pieces = [piece for tree in trees for limb in tree.limbs for piece in limb.pieces]
    reach = max((abs(unit.place(piece.end)[0]) for piece in pieces), default=1.0)
    tallest = max(tree.height_mm for tree in trees)
    upright = (height - _WHOLE_SCALE * (_WHOLE_SOIL_MM + _EDGE_MM)) / tallest
    return min(upright, (width / 4 - _WHOLE_SCALE * _EDGE_MM) / reach)


def before_and_after(
    tree: PracticeTree,
    pruning: Pruning,
    *,
    side: Side = Side.RIGHT,
    scale: float | None = None,
    words: tuple[str, str] = ("", ""),
    size_mm: tuple[float, float] = SIZE_MM,
) -> Drawing:
    """
    Draw a whole tree twice at one scale: as it stands, and with what is cut.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    pruning : Pruning
        What is cut.
    side : Side, optional
        From where it is looked at.
    scale : float or None, optional
        Picture over tree, as `whole_scale` finds it for several trees; the largest that fits if
        None.
    words : tuple of str, optional
        Title and description, in the reader's language.
    size_mm : tuple of float, optional
        Width and height of the picture.

    Returns
    -------
    Drawing
        The tree before on the left, the tree after with the fresh cuts of its top and its limbs
        on the right.
    """
    if scale is None:
        scale = whole_scale([tree], side=side, size_mm=size_mm)
    # Drawn large and then made smaller, so that buds and light edges become finer too.
    width, height = (length / _WHOLE_SCALE for length in size_mm)
    soil = height - _WHOLE_SOIL_MM
    unit = View(0.0, soil, scale / _WHOLE_SCALE, _FROM_DEG.get(side, 90.0), _WHOLE_THICKER)
    shapes: list[Shape] = [Rect(0.0, soil, width, _WHOLE_SOIL_MM, Ink.SOIL)]
    for middle, done in ((width / 4, NOTHING_CUT), (3 * width / 4, pruning)):
        view = replace(unit, trunk_x_mm=middle)
        left = pruned_tree(tree, done)
        shapes += _limbs_behind(left, view)
        shapes += _leader(left, view, ())
        shapes += _limbs_before(left, view)
        shapes += _done_on_leader(tree, done, view)
    return Drawing(*size_mm, (Group(tuple(shapes), scale=_WHOLE_SCALE),), *words)
