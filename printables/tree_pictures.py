"""
Drawn trees in quiz questions: a top beside its pole, a trunk with limbs, a branch, a whole tree.

A picture shows what the question's numbers come from: wood is drawn from the same tree that the key
is read off. Sections of the wood stand beside gauge and pencil, at one scale, larger than the
wood's.
"""

from dataclasses import dataclass, replace
from math import hypot
from typing import Final

from audits.messages import Words, say
from audits.practice.model import Limb, Place3, PracticeTree
from audits.practice.pictures import TreePicture, TreePlace, TreeView
from audits.practice.pruning import NOTHING_CUT, Pruning
from audits.units import Length, LengthKind
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.panel import arrow
from printables.drawing.practice_tree import View, limb_shapes, tree_shapes
from printables.drawing.primitives import (
    Anchor,
    Circle,
    Line,
    Point,
    Polygon,
    Rect,
    Shape,
    group,
)
from printables.drawing.tree import pencil
from printables.picture_labels import DISC_MM, LABEL_MM, kept_apart, label, number_disc

# Room on each side of the arrow between a tree before and after.
_ARROW_MM: Final = 7.0
_EDGE_MM: Final = 0.6


def tree_picture_shapes(
    picture: TreePicture, words: Words, size_mm: tuple[float, float], *, numbered: bool = True
) -> list[Shape]:
    """
    Draw a tree, or a part of it, for a question or for one of its choices.

    Parameters
    ----------
    picture : TreePicture
        The tree, what was cut, and what is numbered.
    words : Words
        The reader's language and units.
    size_mm : tuple of float
        Width and height of the picture.
    numbered : bool, optional
        Whether places carry their numbers; choices show diameters alone.

    Returns
    -------
    list of Shape
        From back to front.
    """
    tree = picture.tree
    if not picture.shows_before:
        scene = _Scene(picture, tree, words, size_mm, numbered=numbered, shows_sections=numbered)
        return _drawn(scene)
    width, height = size_mm
    # Figures stand at the tree before: what came off is not there any more afterwards.
    before = _Scene(
        replace(picture, pruning=NOTHING_CUT), tree, words, (0.0, height), numbered=False
    )
    after = _Scene(replace(picture, places=()), tree, words, (0.0, height), numbered=False)
    if picture.view is TreeView.BRANCH:
        # A branch has room for a figure, and a pencil beside it, at the cut itself.
        after = replace(after, picture=picture)
        before = replace(after, picture=replace(picture, pruning=NOTHING_CUT), is_silent=True)
        if _is_long(after, size_mm):
            return _one_above_the_other(before, after, size_mm)
    first = (width - _ARROW_MM) / 2
    if picture.view is TreeView.LIMBS:
        first = max(first, 2 * (_label_room(before) + _TRUNK_HALF_MM))
    second = width - _ARROW_MM - first
    middle = height / 2
    return [
        *_drawn(replace(before, size_mm=(first, height))),
        *arrow((first + 0.8, middle), (first + _ARROW_MM - 0.8, middle)),
        group(_drawn(replace(after, size_mm=(second, height))), first + _ARROW_MM),
    ]


def _one_above_the_other(
    before: "_Scene", after: "_Scene", size_mm: tuple[float, float]
) -> list[Shape]:
    """Set a branch, which is long and low, above what is left of it."""
    room = _stacked_room(size_mm)
    middle = size_mm[1] / 2
    before, after = (replace(scene, size_mm=room) for scene in (before, after))
    used = min(room[0], max(_branch_reach(before), _branch_reach(after)))
    x = used + _ARROW_MM / 2
    drawn = [
        *_drawn(before),
        *arrow((x, middle - 4.5), (x, middle + 4.5)),
        group(_drawn(after), 0.0, room[1] + _BETWEEN_MM),
    ]
    return [group(drawn, (room[0] - used) / 2)]


_BETWEEN_MM: Final = 1.6


def _stacked_room(size_mm: tuple[float, float]) -> tuple[float, float]:
    return (size_mm[0] - _ARROW_MM, (size_mm[1] - _BETWEEN_MM) / 2)


def _is_long(scene: "_Scene", size_mm: tuple[float, float]) -> bool:
    """Whether a branch comes out larger above its pruned self than beside it."""
    beside = ((size_mm[0] - _ARROW_MM) / 2, size_mm[1])
    stacked = _branch_view(replace(scene, size_mm=_stacked_room(size_mm)))
    return stacked.scale > _branch_view(replace(scene, size_mm=beside)).scale


def least_width(picture: TreePicture, words: Words) -> float:
    """
    Find how wide a choice must be for its figures.

    Parameters
    ----------
    picture : TreePicture
        The choice.
    words : Words
        The reader's language and units.

    Returns
    -------
    float
        Width in mm; 0 where no figure stands beside a trunk.
    """
    if picture.view is not TreeView.LIMBS:
        return 0.0
    scene = _Scene(picture, picture.tree, words, (0.0, 0.0), numbered=False, shows_sections=False)
    return 2 * (_label_room(scene) + _TRUNK_HALF_MM)


@dataclass(frozen=True)
class _Scene:
    """What is drawn, and how much room it has."""

    picture: TreePicture
    tree: PracticeTree
    words: Words
    size_mm: tuple[float, float]
    numbered: bool
    shows_sections: bool = True
    # Whether numbers and figures are left out, though there is room for them.
    is_silent: bool = False

    def diameter(self, place: TreePlace) -> str:
        """Return what is written beside a place."""
        if place.diameter_mm is None:
            return ""
        return self.words.show(Length(place.diameter_mm, LengthKind.DIAMETER))

    def section(self, place: TreePlace, scale: float) -> float:
        """Return the radius on the page of a place's section; 0 where nothing was measured."""
        return 0.0 if place.diameter_mm is None else place.diameter_mm * scale / 2


def _drawn(scene: _Scene) -> list[Shape]:
    match scene.picture.view:
        case TreeView.TOP:
            return _top(scene)
        case TreeView.LIMBS:
            return _limbs(scene)
        case TreeView.BRANCH:
            return _branch(scene)
        case TreeView.WHOLE:
            return _whole(scene)


# --- a top beside its pole

# Wood of a top would be a hair's breadth to scale: it is drawn this much thicker.
_TOP_THICKER: Final = 3.4
_TOP_REACH_MM: Final = 15.0
_ABOVE_MM: Final = 90.0
_BELOW_MM: Final = 240.0
_LEAST_VIEW_MM: Final = 1_000.0
_POLE_MM: Final = 1.8
_POLE_X_MM: Final = 5.0
_DISCS_APART_MM: Final = 6.4


def _top(scene: _Scene) -> list[Shape]:
    picture, tree = scene.picture, scene.tree
    width, height = scene.size_mm
    heights = [
        tree.leader.end[2] if picture.pruning.top_mm is None else picture.pruning.top_mm,
        *(_height_of(place, tree) for place in picture.places),
        *(mm for mm in (picture.mark_mm,) if mm is not None),
    ]
    wide = width > _NARROW_MM
    if wide and picture.wire_mm is not None:
        heights.append(picture.wire_mm)
    highest = max(heights) + _ABOVE_MM
    lowest = max(0.0, min(min(heights) - _BELOW_MM, highest - _LEAST_VIEW_MM))
    scale = (height - 2 * _EDGE_MM) / (highest - lowest)
    trunk_x = 0.4 * width if wide else 0.6 * width
    reach = min(_TOP_REACH_MM, width - trunk_x - _EDGE_MM)
    # A branch from below the picture would hang in it without its foot.
    shown = replace(tree, limbs=tuple(each for each in tree.limbs if each.union_mm > lowest))
    view = View(
        trunk_x,
        height - _EDGE_MM + scale * lowest,
        scale,
        thicker=_TOP_THICKER,
        thinnest_mm=0.5,
        within_mm=(trunk_x - reach, _EDGE_MM, trunk_x + reach, height - _EDGE_MM),
    )
    # Someone at the foot of the tree has no flower buds to count up there.
    return [
        *(_wire(scene, view) if wide else []),
        *_pole(scene, view),
        *tree_shapes(shown, view, picture.pruning, shows_gone=False),
        *_numbered_tops(scene, view),
    ]


# Narrower pictures are choices: without figures and without a wire.
_NARROW_MM: Final = 60.0


def _height_of(place: TreePlace, tree: PracticeTree) -> float:
    if place.height_mm is not None:
        return place.height_mm
    return 0.0 if place.limb is None else tree.limb(place.limb).union_mm


def _wire(scene: _Scene, view: View) -> list[Shape]:
    if scene.picture.wire_mm is None:
        return []
    width = scene.size_mm[0]
    y = view.at_height(scene.picture.wire_mm)
    name = scene.words.say(say("top wire"))
    left = width - text_width(name, LABEL_MM) - 1.0
    return [
        Line((0.0, y), (left - 1.0, y), Ink.WIRE),
        label((left, y), name, ink=Ink.SOFT),
    ]


def _pole(scene: _Scene, view: View) -> list[Shape]:
    """Draw a pole that stands beside the tree, and the mark on it."""
    mark_mm = scene.picture.mark_mm
    if mark_mm is None:
        return []
    y = view.at_height(mark_mm)
    left = _POLE_X_MM - _POLE_MM / 2
    top = max(_EDGE_MM, y - 5.0)
    flag = ((left + _POLE_MM, y - 2.1), (left + _POLE_MM + 4.4, y), (left + _POLE_MM, y + 2.1))
    return [
        Rect(left, top, _POLE_MM, scene.size_mm[1] - top - 0.2, Ink.FRAME, 0.4),
        Rect(left - 1.0, y - 0.6, _POLE_MM + 2.0, 1.2),
        Polygon(flag),
        Line((left + _POLE_MM + 5.0, y), (view.trunk_x_mm + _MARK_BEYOND_MM, y), Ink.DASHED_LINE),
    ]


_MARK_BEYOND_MM: Final = 6.0
_JUST_ABOVE_MM: Final = 28.0


def _numbered_tops(scene: _Scene, view: View) -> list[Shape]:
    """Set the numbers of places just above some limbs in a column beside the leader."""
    places = scene.picture.places if scene.numbered else ()
    points = [
        view.place(
            scene.tree.leader.point_at(
                scene.tree.leader_at(_height_of(place, scene.tree) + _JUST_ABOVE_MM)
            )
        )
        for place in places
    ]
    column = view.trunk_x_mm + _TOP_REACH_MM + DISC_MM + 4.0
    within = (DISC_MM + _EDGE_MM, scene.size_mm[1] - DISC_MM - _EDGE_MM)
    stands = kept_apart([y for _, y in points], _DISCS_APART_MM, within)
    shapes: list[Shape] = []
    for number, ((x, y), disc_y) in enumerate(zip(points, stands, strict=True), start=1):
        shapes += [
            Line((x - 2.6, y), (x + 2.6, y), Ink.CUT_LINE),
            Line((x + 2.6, y), (column - DISC_MM, disc_y), Ink.FINE_LINE),
            *number_disc((column, disc_y), number),
        ]
    return shapes


# --- limbs along a trunk

_LIMBS_THICKER: Final = 1.5
_LIMBS_REACH_MM: Final = 15.0
_LABEL_GAP_MM: Final = 1.2
_LEAST_REACH_MM: Final = 8.0
_FEW_LIMBS: Final = 5
_TRUNK_HALF_MM: Final = 4.2
# Figures without a number stand below their limb, which rises as it goes out.
_BELOW_LIMB_MM: Final = 2.9
_STUB_REACH_MM: Final = 5.6
_FIRST_MARGIN_MM: Final = 55.0
_FIRST_LABEL_MARGIN_MM: Final = 86.0
_LAST_MARGIN_MM: Final = 85.0
_GAUGE_GAP_MM: Final = 1.0


def _limbs(scene: _Scene) -> list[Shape]:
    picture, tree = scene.picture, scene.tree
    width, height = scene.size_mm
    unions = [limb.union_mm for limb in tree.limbs] or [tree.height_mm / 2]
    margin = max(1.0, tree.limbs[-1].union_mm - tree.limbs[0].union_mm) / _USUAL_SPAN_MM
    below_mm = _FIRST_LABEL_MARGIN_MM if _stands_below(scene) else _FIRST_MARGIN_MM
    lowest = unions[0] - below_mm * max(1.0, margin)
    highest = unions[-1] + _LAST_MARGIN_MM * max(1.0, margin)
    scale = (height - 2 * _EDGE_MM) / (highest - lowest)
    trunk_x = width / 2
    room = trunk_x - _EDGE_MM - (0.0 if _stands_below(scene) else _label_room(scene))
    longest = _LIMBS_REACH_MM
    if _stands_below(scene) and len(tree.limbs) > _FEW_LIMBS:
        # Long ones would rise into the figures of the next.
        longest = _LEAST_REACH_MM + 1.0
    reach = min(longest, room)
    view = View(
        trunk_x,
        height - _EDGE_MM + scale * lowest,
        scale,
        thicker=_LIMBS_THICKER,
        thinnest_mm=0.5,
        within_mm=(trunk_x - reach, _EDGE_MM, trunk_x + reach, height - _EDGE_MM),
    )
    shapes = tree_shapes(tree, view, picture.pruning, shows_gone=False)
    for side in (-1, 1):
        shapes += _limb_labels(scene, view, side, reach)
    return [*shapes, *_gauge(scene, view)]


def _stands_below(scene: _Scene) -> bool:
    """Whether figures stand below their limbs, since behind them there is no room."""
    return not scene.numbered or scene.size_mm[0] / 2 - _label_room(scene) < _LEAST_REACH_MM


def _section_scale(scene: _Scene, most_mm: float) -> float:
    """Return the scale at which the widest section has all the room that there is."""
    widest = max((place.diameter_mm or 0.0 for place in scene.picture.places), default=0.0)
    widest = max(widest, scene.picture.gauge_mm or 0.0)
    if widest == 0.0 or scene.picture.gauge_mm is None or not scene.shows_sections:
        return 0.0
    return most_mm / widest


def _scale_of_sections(scene: _Scene) -> float:
    return _section_scale(scene, _SMALL_SECTION_MM if _stands_below(scene) else _SECTION_MM)


def _label_room(scene: _Scene) -> float:
    """Return how much room numbers, sections and diameters take on each side."""
    scale = _section_scale(scene, _SECTION_MM)
    return max(
        (
            text_width(scene.diameter(place), LABEL_MM)
            + _LABEL_GAP_MM
            + (2 * DISC_MM + 1.8 if scene.numbered else 0.0)
            + (2 * scene.section(place, scale) + _GAUGE_GAP_MM if scene.numbered else 0.0)
            for place in scene.picture.places
        ),
        default=0.0,
    )


def _section_and_figure(
    scene: _Scene, place: TreePlace, at: Point, side: int, scale: float
) -> list[Shape]:
    """Draw how thick a place is, as a round section, and write it behind that."""
    text = scene.diameter(place)
    if not text:
        return []
    x, y = at
    radius = scene.section(place, scale)
    shapes: list[Shape] = []
    if radius:
        shapes.append(Circle((x + side * radius, y), radius, Ink.FRESH))
        x += side * (2 * radius + _GAUGE_GAP_MM)
    return [*shapes, label((x, y), text, Anchor.START if side > 0 else Anchor.END)]


_SECTION_MM: Final = 5.8
_SMALL_SECTION_MM: Final = 4.0


_USUAL_SPAN_MM: Final = 420.0


def _limb_labels(scene: _Scene, view: View, side: int, reach: float) -> list[Shape]:
    """Write number and diameter of the limbs of one side at the ends of what is seen of them."""
    places = [
        (number, place, scene.tree.limb(place.limb))
        for number, place in enumerate(scene.picture.places, start=1)
        if place.limb is not None
    ]
    here = [each for each in places if _grows_to(each[2], view, side)]
    if _stands_below(scene):
        return [
            shape
            for number, place, limb in here
            for shape in _below_limb(scene, view, (number, place), limb, side)
        ]
    ends = [_end_of(limb, view, scene.picture.pruning, side, reach) for _, _, limb in here]
    within = (DISC_MM + _EDGE_MM, scene.size_mm[1] - DISC_MM - _EDGE_MM)
    stands = kept_apart([y for _, y in ends], 2 * DISC_MM + 0.2, within)
    shapes: list[Shape] = []
    for (number, place, _), (x, _), y in zip(here, ends, stands, strict=True):
        out = x + side * 0.8
        shapes += number_disc((out + side * DISC_MM, y), number)
        out += side * (2 * DISC_MM + 1.0)
        shapes += _section_and_figure(scene, place, (out, y), side, _scale_of_sections(scene))
    return shapes


def _below_limb(
    scene: _Scene, view: View, numbered: tuple[int, TreePlace], limb: Limb, side: int
) -> list[Shape]:
    number, place = numbered
    tree = scene.tree
    trunk = view.width(tree.leader.diameter_at(tree.leader_at(limb.union_mm))) / 2
    x = view.trunk_x_mm + side * (trunk + _LABEL_GAP_MM)
    y = view.at_height(limb.union_mm) + view.width(limb.wood.thick_mm) / 2 + _BELOW_LIMB_MM
    y = min(y, scene.size_mm[1] - LABEL_MM / 2 - _EDGE_MM)
    scale = _scale_of_sections(scene)
    if scene.numbered:
        disc = number_disc((x + side * DISC_MM, y), number)
        x += side * (2 * DISC_MM + _GAUGE_GAP_MM)
        return [*disc, *_section_and_figure(scene, place, (x, y), side, scale)]
    figure = _section_and_figure(scene, place, (x, y), side, 0.0)
    radius = scene.section(place, scale)
    if radius == 0.0:
        return figure
    # The section stands at the end of the limb that it is of.
    end = view.seen(limb.wood).end
    return [Circle((end[0] + side * (radius - 0.4), end[1]), radius, Ink.FRESH), *figure]


def _grows_to(limb: Limb, view: View, side: int) -> bool:
    return (view.place(limb.wood.end)[0] > view.trunk_x_mm) == (side > 0)


def _end_of(limb: Limb, view: View, pruning: Pruning, side: int, reach: float) -> Point:
    if limb.key in pruning.limbs_out:
        return (view.trunk_x_mm + side * _STUB_REACH_MM, view.at_height(limb.union_mm) - 0.6)
    return (view.trunk_x_mm + side * reach, view.seen(limb.wood).end[1])


def _gauge(scene: _Scene, view: View) -> list[Shape]:
    """Draw the round gauge, as large as a limb that just counts as large."""
    gauge_mm = scene.picture.gauge_mm
    radius = (gauge_mm or 0.0) * _scale_of_sections(scene) / 2
    if radius == 0.0 or not scene.picture.places:
        return []
    name = scene.words.say(say("large"))
    y = scene.size_mm[1] - LABEL_MM / 2 - _EDGE_MM - 0.6
    # In the corner opposite the lowest limb.
    on_left = not scene.tree.limbs or _grows_to(scene.tree.limbs[0], view, 1)
    left = _EDGE_MM
    if not on_left:
        left = scene.size_mm[0] - _EDGE_MM - text_width(name, LABEL_MM) - 2 * radius - 1.0
    return [
        Circle((left + radius, y), radius, Ink.FRAME),
        label((left + 2 * radius + _GAUGE_GAP_MM, y), name, ink=Ink.SOFT),
    ]


# --- one branch


_BRANCH_LEFT_MM: Final = 5.0
_BRANCH_THICKER: Final = 1.7
_BRANCH_STEPS: Final = 24
_PENCIL_ROOM_MM: Final = 9.0
_SPURS_MM: Final = 2.2


def _branch(scene: _Scene) -> list[Shape]:
    picture = scene.picture
    limb = _shown_limb(scene)
    view = _branch_view(scene)
    trunk = replace(scene.tree, limbs=())
    out = limb_shapes(
        limb,
        view,
        picture.pruning,
        shows_spurs=True,
        leader_mm=scene.tree.leader.diameter_at(scene.tree.leader_at(limb.union_mm)),
    )
    return [
        *out.stays,
        *tree_shapes(trunk, view),
        *out.marks,
        *([] if scene.is_silent else [*_numbered_places(scene, view, limb), *_pencil(scene)]),
    ]


def _shown_limb(scene: _Scene) -> Limb:
    return scene.tree.limb(scene.picture.limb or scene.tree.limbs[0].key)


def _branch_view(scene: _Scene) -> View:
    """See a branch from the side, as large as there is room for it and its numbers."""
    width, height = scene.size_mm
    limb = _shown_limb(scene)
    from_deg = limb.azimuth_deg + 90.0
    to_scale = View(0.0, 0.0, 1.0, from_deg)
    points = [to_scale.place(point) for point in _outline_of(limb)]
    lowest, highest = min(y for _, y in points), max(y for _, y in points)
    farthest = max(x for x, _ in points)
    above = _SPURS_MM + (2 * DISC_MM + 2.0 if any(_branch_figures(scene)) else 0.0)
    scale = min(
        (width - _BRANCH_LEFT_MM - _branch_right(scene)) / farthest,
        (height - above - _SPURS_MM) / max(1.0, highest - lowest),
        _LARGEST_BRANCH_SCALE,
    )
    slack = height - above - _SPURS_MM - scale * (highest - lowest)
    if _has_list(scene):
        # The list below the branch takes what room is left.
        slack = 0.0
    return View(
        _BRANCH_LEFT_MM,
        above + slack / 2 - scale * lowest,
        scale,
        from_deg,
        thicker=_BRANCH_THICKER,
        thinnest_mm=0.5,
        within_mm=(0.0, _EDGE_MM, width, height - _EDGE_MM),
    )


_LARGEST_BRANCH_SCALE: Final = 0.16


def _branch_figures(scene: _Scene) -> list[float]:
    """Return how wide the figures at the places of a branch are."""
    if _has_list(scene):
        return [2 * DISC_MM]
    return [_tag_width(scene, place) for place in scene.picture.places]


def _branch_right(scene: _Scene) -> float:
    """Return the room that figures and a pencil take to the right of a branch."""
    right = 1.0 if scene.picture.pencil_mm is None else _PENCIL_ROOM_MM
    return right + max(_branch_figures(scene), default=0.0) if scene.numbered else right


def _branch_reach(scene: _Scene) -> float:
    """Return how far to the right a branch and what stands beside it reach."""
    view = _branch_view(scene)
    farthest = max(view.place(point)[0] for point in _outline_of(_shown_limb(scene)))
    return farthest + _branch_right(scene)


def _outline_of(limb: Limb) -> list[Place3]:
    woods = (*limb.pieces, *(side.wood for side in limb.side_branches))
    steps = range(_BRANCH_STEPS + 1)
    return [wood.point_at(step / _BRANCH_STEPS) for wood in woods for step in steps]


def _branch_section_scale(scene: _Scene) -> float:
    """Return the scale of pencil and sections: that at which a pencil can be compared."""
    pencil_mm = scene.picture.pencil_mm
    if pencil_mm is None:
        return 0.0
    widest = max((place.diameter_mm or 0.0 for place in scene.picture.places), default=0.0)
    return min(_PENCIL_MM / max(pencil_mm), _SECTION_MM / max(widest, 0.1))


_PENCIL_MM: Final = 4.6


def _has_list(scene: _Scene) -> bool:
    """Whether figures stand in a list of their own, below the arch of an end that hangs."""
    figures = [place for place in scene.picture.places if place.diameter_mm is not None]
    return scene.numbered and _shown_limb(scene).end is not None and len(figures) > 1


def _listed(scene: _Scene) -> list[Shape]:
    """Set number, section and figure of each place below each other, from the lower edge up."""
    if not _has_list(scene):
        return []
    places = scene.picture.places
    scale = _branch_section_scale(scene)
    shapes: list[Shape] = []
    for number, place in enumerate(places, start=1):
        y = scene.size_mm[1] - DISC_MM - _EDGE_MM - _ROW_MM * (len(places) - number)
        shapes += number_disc((_LIST_LEFT_MM + DISC_MM, y), number)
        figure_x = _LIST_LEFT_MM + 2 * DISC_MM + _GAUGE_GAP_MM
        # Sections stand centred one above the other, figures behind the widest.
        radius = scene.section(place, scale)
        if radius:
            shapes.append(Circle((figure_x + _SECTION_MM / 2, y), radius, Ink.FRESH))
        figure_x += _SECTION_MM + _GAUGE_GAP_MM if scale else 0.0
        shapes.append(label((figure_x, y), scene.diameter(place)))
    return shapes


_LIST_LEFT_MM: Final = 12.5
_ROW_MM: Final = 6.1


def _tag_width(scene: _Scene, place: TreePlace) -> float:
    """Return the width of what stands at a place: its number, its section, its figure."""
    text = "" if _has_list(scene) else scene.diameter(place)
    width = 2 * DISC_MM if scene.numbered else 0.0
    if text:
        radius = scene.section(place, _branch_section_scale(scene))
        width += text_width(text, LABEL_MM) + 2 * radius + 2 * _GAUGE_GAP_MM
    return width


def _numbered_places(scene: _Scene, view: View, limb: Limb) -> list[Shape]:
    """Set numbers above a branch, beside what hangs, and at tips of side branches."""
    numbered = [
        (number, place)
        for number, place in enumerate(scene.picture.places, start=1)
        if _tag_width(scene, place)
    ]
    # Tips of side branches have one place for their number; those of cuts have several.
    numbered.sort(key=lambda each: each[1].side is None)
    taken = _wood_points(view, limb)
    shapes: list[Shape] = []
    for number, place in numbered:
        point, across = _place_on(place, view, limb)
        tag = _free_place(scene, point, across, taken, _tag_width(scene, place))
        taken += [(tag, 2 * DISC_MM + 0.6)]
        shapes.append(Line(point, tag, Ink.FINE_LINE))
        if place.side is None and scene.numbered:
            shapes.append(
                Line(
                    (point[0] - across[0] * 2.4, point[1] - across[1] * 2.4),
                    (point[0] + across[0] * 2.4, point[1] + across[1] * 2.4),
                    Ink.CUT_LINE,
                )
            )
        figure_x = tag[0] - scene.section(place, _branch_section_scale(scene))
        if scene.numbered:
            shapes += number_disc(tag, number)
            figure_x = tag[0] + DISC_MM + _GAUGE_GAP_MM
        if not _has_list(scene):
            scale = _branch_section_scale(scene)
            shapes += _section_and_figure(scene, place, (figure_x, tag[1]), 1, scale)
    return [*shapes, *_listed(scene)]


# How far a number stands off its place, on its own side of the wood or on the other.
_OFF_MM: Final = (6.0, -6.0, 8.6, -8.6, 11.0, -11.0)


def _free_place(
    scene: _Scene,
    point: Point,
    across: Point,
    taken: list[tuple[Point, float]],
    tag_mm: float,
) -> Point:
    """Find where a number covers neither another one nor wood, or as little as can be."""
    width, height = scene.size_mm
    right = max(DISC_MM, tag_mm - DISC_MM)
    if scene.picture.pencil_mm is not None:
        right += _PENCIL_ROOM_MM

    def at(off_mm: float) -> Point:
        x, y = point[0] + across[0] * off_mm, point[1] + across[1] * off_mm
        return (
            min(max(x, DISC_MM + _EDGE_MM), width - right - _EDGE_MM),
            min(max(y, DISC_MM + _EDGE_MM), height - DISC_MM - _EDGE_MM),
        )

    def room(place: Point) -> float:
        return min(
            hypot(place[0] - other[0], place[1] - other[1]) - apart for other, apart in taken
        )

    places = [at(off_mm) for off_mm in _OFF_MM]
    return next((place for place in places if room(place) >= 0.0), max(places, key=room))


def _wood_points(view: View, limb: Limb) -> list[tuple[Point, float]]:
    """Return points along side branches, spurs and the branch, with the room that each takes."""
    stems = [view.stem(side.wood) for side in limb.side_branches]
    axes = [view.stem(piece) for piece in limb.pieces]
    steps = [step / _BRANCH_STEPS for step in range(_BRANCH_STEPS + 1)]
    points = [stem.point_at(step) for stem in (*stems, *axes) for step in steps]
    for spur in limb.spurs:
        stem = axes[0]
        upwards = 1 if (stem.end[0] > stem.start[0]) is spur.above else -1
        reach = stem.width_at(spur.along) / 2 + view.scale * spur.length_mm
        points.append(stem.beside(spur.along, upwards * reach))
    return [(point, DISC_MM + 0.5) for point in points]


def _place_on(place: TreePlace, view: View, limb: Limb) -> tuple[Point, Point]:
    """Find a place on the page, and the direction in which its number stands off."""
    if place.side is not None:
        wood = next(side.wood for side in limb.side_branches if side.key == place.side)
        stem = view.stem(wood)
        return stem.point_at(1.0), stem.direction_at(1.0)
    along = 0.5 if place.along is None else place.along
    on_end = along > 1.0 and limb.end is not None
    stem = view.stem(limb.pieces[-1] if on_end else limb.wood)
    at = along - 1.0 if on_end else min(1.0, along)
    right, down = stem.direction_at(at)
    # To the left of someone who walks along the branch is up, or out from what hangs.
    return stem.point_at(at), (down, -right) if right > 0.0 else (abs(down), 0.0)


def _pencil(scene: _Scene) -> list[Shape]:
    """Draw a pencil at the scale of the sections, in the corner that branches leave free."""
    if scene.picture.pencil_mm is None:
        return []
    thick = _branch_section_scale(scene) * sum(scene.picture.pencil_mm) / 2
    left = scene.size_mm[0] - thick - 1.6
    return [*pencil(left, thick, min(_PENCIL_SHOULDER_MM, 0.7 * scene.size_mm[1]))]


_PENCIL_SHOULDER_MM: Final = 17.0


# --- a whole tree

_WHOLE_THICKER: Final = 1.7


def _whole(scene: _Scene) -> list[Shape]:
    width, height = scene.size_mm
    soil = height - _EDGE_MM
    reach = max(hypot(*wood.end[:2]) for wood in scene.tree.all_wood())
    scale = min((soil - _EDGE_MM) / scene.tree.height_mm, (width / 2 - _EDGE_MM) / reach)
    view = View(width / 2, soil, scale, thicker=_WHOLE_THICKER, thinnest_mm=0.25)
    return [
        Line((_EDGE_MM, soil), (width - _EDGE_MM, soil), Ink.LINE),
        *tree_shapes(scene.tree, view, scene.picture.pruning, shows_gone=False, shows_spurs=True),
    ]
