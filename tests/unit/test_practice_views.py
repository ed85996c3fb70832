"""Views of practice trees: keys, places, and that thicknesses and heights are to scale."""

import gzip
from dataclasses import replace
from itertools import combinations, pairwise
from math import dist

import pytest

from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.ideal import ideal_pruning
from audits.practice.model import TreeKind, Vigour
from audits.practice.places import head_places, top_places
from audits.practice.pruning import NOTHING_CUT, Pruning, limbs_left
from audits.standard import preset
from audits.vocabulary import BearingHabit, Side
from printables import practice_views
from printables.drawing.inks import Ink
from printables.drawing.primitives import Circle, Group, Line, Path, Polygon, Rect, flattened
from printables.practice_views import (
    SIZE_MM,
    Pole,
    before_and_after,
    branch_view,
    limbs_view,
    top_view,
    view_svg,
    whole_scale,
)

WIRE_MM = 3_048.0
# On a phone that shows a picture 340 px wide; a finger takes the nearest place, the ring and the
# colour of the piece say which it took.
PX_PER_MM = 4.0
KINDS = [
    (TreeKind.USUAL, BearingHabit.STANDARD, 9, Vigour.MEDIUM),
    (TreeKind.NOT_DUE, BearingHabit.SEMI_SPUR, 7, Vigour.LOW),
    (TreeKind.LOW_BLOOM, BearingHabit.SPUR, 5, Vigour.HIGH),
    (TreeKind.NO_LARGE_LIMB, BearingHabit.STANDARD, 5, Vigour.LOW),
    (TreeKind.TOO_MANY_LIMBS, BearingHabit.STANDARD, 12, Vigour.HIGH),
    (TreeKind.TIP_BEARER, BearingHabit.TIP, 9, Vigour.MEDIUM),
]


class Views:
    """A tree with all its views, from one side."""

    def __init__(self, seed, kind, habit, age_years, vigour):
        self.standard = preset(habit, 3_352.8, top_wire_mm=WIRE_MM)
        growth = Growth(
            self.standard.top.target_mm,
            kind=kind,
            habit=habit,
            age_years=age_years,
            vigour=vigour,
        )
        self.tree = grow_tree(seed, growth)
        self.side = (Side.LEFT, Side.RIGHT)[seed % 2]
        self.tops = top_places(self.tree, self.standard)
        self.seen = [limb for limb in self.tree.limbs if limb.side is self.side]
        heading = self.standard.heading
        self.pencil_mm = (heading.thinnest_mm + heading.thickest_mm) / 2
        self.pole = Pole(self.standard.top.target_mm, self.standard.top.tolerance_mm)

    def top(self, done=NOTHING_CUT):
        return top_view(self.tree, done, self.tops, wire_mm=WIRE_MM, pole=self.pole, side=self.side)

    def limbs(self, done=NOTHING_CUT):
        gauge_mm = self.standard.limbs.large_mm
        return limbs_view(self.tree, done, self.tops, gauge_mm=gauge_mm, side=self.side)

    def heads(self, limb):
        return head_places(limb, self.standard)

    def branch(self, limb, done=NOTHING_CUT):
        heads = self.heads(limb)
        return branch_view(self.tree, limb.key, done, heads, pencil_mm=self.pencil_mm)

    def all(self):
        return [self.top(), self.limbs(), *map(self.branch, self.seen)]


@pytest.fixture(scope="module", params=KINDS, ids=lambda kind: kind[0])
def views(request):
    return [Views(seed, *request.param) for seed in range(4)]


def groups(shapes):
    """Find the groups that have keys, at any depth."""
    found = {}
    for shape in shapes:
        if isinstance(shape, Group):
            if shape.key:
                assert shape.key not in found
                found[shape.key] = shape
            found |= groups(shape.shapes)
    return found


def keys(view):
    return set(groups(view.drawing.shapes))


def test_every_cut_of_the_top_has_its_pieces(views):
    for one in views:
        found = keys(one.top())
        for top in one.tops:
            assert {f"leader-{top.id}", f"cut-{top.id}"} <= found
            # What stands above a cut goes with it.
            above = [limb for limb in one.tree.limbs if limb.union_mm > top.at_mm]
            assert {f"limb-{limb.key}" for limb in above} <= found
        assert [place.id for place in one.top().places] == [top.id for top in one.tops]


def test_every_limb_that_comes_out_is_offered(views):
    """Whatever is large, and whatever the standard's way takes out, is in view."""
    for one in views:
        view = one.limbs()
        places = {place.id for place in view.places}
        large_mm = one.standard.limbs.large_mm
        assert {limb.key for limb in one.tree.limbs if limb.measured_mm() >= large_mm} <= places
        assert ideal_pruning(one.tree, one.standard).limbs_out <= places
        for key in places:
            assert {f"limb-{key}", f"cut-limb-{key}"} <= keys(view)


def test_every_cut_of_a_branch_has_its_pieces(views):
    for one in views:
        for limb in one.seen:
            view = one.branch(limb)
            sides = [side.key for side in limb.side_branches]
            heads = [head.id for head in one.heads(limb)]
            assert [place.id for place in view.places] == sides + heads
            wanted = {f"limb-{limb.key}"}
            wanted |= {f"{what}side-{key}" for key in sides for what in ("", "cut-")}
            wanted |= {f"axis-{limb.key}-{head}" for head in heads}
            wanted |= {f"cut-head-{limb.key}-{head}" for head in heads}
            assert wanted == keys(view)


def nearest(places):
    return min(
        (
            dist((one.x_mm, one.y_mm), (other.x_mm, other.y_mm))
            for one, other in combinations(places, 2)
        ),
        default=100.0,
    )


def test_places_lie_in_the_picture_and_can_be_told_apart(views):
    """Centres at least 14 px apart on the leader, 24 px on a branch; 8 px on a crowded trunk."""
    for one in views:
        assert nearest(one.top().places) * PX_PER_MM >= 14
        assert nearest(one.limbs().places) * PX_PER_MM >= 8
        for limb in one.seen:
            places = one.branch(limb).places
            heads = [place for place in places if place.id.startswith("h")]
            assert nearest(heads) * PX_PER_MM >= 24
            assert nearest([place for place in places if place not in heads]) * PX_PER_MM >= 14
        for view in one.all():
            for place in view.places:
                assert 0 <= place.x_mm <= SIZE_MM[0]
                assert 0 <= place.y_mm <= SIZE_MM[1]


def test_places_of_a_leader_wire_and_mark_lie_at_one_scale(views):
    for one in views:
        view = one.top()
        ends = {place.id: place.y_mm for place in view.places}
        heights = {top.id: top.at_mm for top in one.tops}
        first, last = one.tops[0].id, one.tops[-1].id
        if first == last:
            continue
        scale = (ends[last] - ends[first]) / (heights[first] - heights[last])

        def at(height_mm, ends=ends, heights=heights, first=first, scale=scale):
            return ends[first] + (heights[first] - height_mm) * scale

        for top in one.tops:
            assert ends[top.id] == pytest.approx(at(top.at_mm), abs=1e-6)
        [wire] = [shape for shape in view.drawing.shapes if is_ink(shape, Line, Ink.WIRE)]
        assert wire.start[1] == pytest.approx(at(WIRE_MM), abs=1e-6)
        [mark] = [shape for shape in view.drawing.shapes if is_ink(shape, Line, Ink.DASHED_LINE)]
        assert mark.start[1] == pytest.approx(at(one.pole.mark_mm), abs=1e-6)
        [band] = [shape for shape in view.drawing.shapes if is_ink(shape, Rect, Ink.RIGHT)]
        assert band.height_mm == pytest.approx(2 * one.pole.reach_mm * scale, abs=1e-6)


def is_ink(shape, kind, ink):
    return isinstance(shape, kind) and shape.ink is ink


def across_at_start(group):
    """Measure how wide the wood of a piece begins on the page."""
    first = next(shape for shape in group.shapes if isinstance(shape, Path))
    # The outline begins on one edge, and comes back to the start on the other.
    return dist(first.start, first.steps[-1][-1])


def check_pencil(one):
    """Hold each branch's thickness at its places, against the pencil, to the tree's own figures."""
    compared = 0
    for limb in one.seen:
        view = one.branch(limb)
        [shaft] = [shape for shape in view.drawing.shapes if is_ink(shape, Rect, Ink.RIGHT)]
        pieces = groups(view.drawing.shapes)
        for head in one.heads(limb):
            drawn = across_at_start(pieces[f"axis-{limb.key}-{head.id}"])
            if drawn <= 0.31:  # wood thinner than can be drawn
                continue
            wanted = head.mm / one.pencil_mm
            # A piece begins a hair before its place, where the wood is that much thicker.
            assert drawn / shaft.height_mm == pytest.approx(wanted, rel=0.03)
            compared += 1
    return compared


def test_branches_and_pencil_are_drawn_to_one_scale(views):
    assert sum(map(check_pencil, views)) > 20


def test_a_pencil_of_another_scale_is_noticed(views, monkeypatch):
    drawn = practice_views._pencil
    monkeypatch.setattr(practice_views, "_pencil", lambda mm, *rest: drawn(1.1 * mm, *rest))
    with pytest.raises(AssertionError):
        check_pencil(views[0])


def check_gauge(one):
    """Hold each limb's thickness where a caliper measures, against the gauge's disc."""
    view = one.limbs()
    [disc] = [shape for shape in view.drawing.shapes if is_ink(shape, Circle, Ink.RIGHT)]
    [frame] = [
        practice_views._limbs_frame(one.tree, one.standard.limbs.large_mm, one.side, SIZE_MM)
    ]
    pieces = groups(view.drawing.shapes)
    compared = 0
    for limb in one.tree.limbs:
        piece = pieces.get(f"limb-{limb.key}")
        if piece is None:
            continue
        [wood] = [
            shape
            for shape in piece.shapes
            if isinstance(shape, Path) and shape.ink in {Ink.WOOD_NEAR, Ink.WOOD_FAR}
        ] or [None]
        middle = 0.5
        on_page = frame.stem(limb.wood)
        run = frame.run_of(on_page)
        seen_mm = dist(on_page.start, on_page.end) / frame.scale
        # A limb that grows at the viewer or away crosses its own outline.
        if wood is None or run != (0.0, 1.0) or seen_mm < 0.6 * limb.wood.length_mm:
            continue
        drawn = width_of(wood, on_page, middle)
        wanted = limb.wood.diameter_at(middle) / one.standard.limbs.large_mm
        if drawn is None or frame.width(limb.wood.diameter_at(middle)) <= 0.31:
            continue
        assert drawn / (2 * disc.radius_mm) == pytest.approx(wanted, rel=0.06)
        compared += 1
    return compared


def width_of(path, stem, along):
    """Measure an outline square to a stem, from its own points alone."""
    x, y = stem.point_at(along)
    across, down = stem.direction_at(along)
    offs = []
    for start, end in pairwise(polyline(path)):
        first = (start[0] - x) * across + (start[1] - y) * down
        last = (end[0] - x) * across + (end[1] - y) * down
        if first * last < 0:
            share = first / (first - last)
            point = (
                start[0] + share * (end[0] - start[0]),
                start[1] + share * (end[1] - start[1]),
            )
            offs.append((point[0] - x) * down - (point[1] - y) * across)
    above = [off for off in offs if off > 0]
    below = [-off for off in offs if off < 0]
    return min(above) + min(below) if above and below else None


def polyline(path):
    points = [path.start]
    for step in path.steps:
        if len(step) == 1:
            points.append(step[0])
            continue
        one, (two, three, four) = points[-1], step
        for number in range(1, 13):
            along = number / 12
            rest = 1 - along
            points.append(
                tuple(
                    rest**3 * one[axis]
                    + 3 * rest**2 * along * two[axis]
                    + 3 * rest * along**2 * three[axis]
                    + along**3 * four[axis]
                    for axis in (0, 1)
                )
            )
    return [*points, path.start]


def test_limbs_and_gauge_are_drawn_to_one_scale(views):
    assert sum(map(check_gauge, views)) > 20


def test_a_gauge_of_another_scale_is_noticed(views, monkeypatch):
    drawn = practice_views._gauge
    monkeypatch.setattr(practice_views, "_gauge", lambda mm, *rest: drawn(1.2 * mm, *rest))
    with pytest.raises(AssertionError):
        check_gauge(views[0])


def test_what_is_done_is_gone_and_leaves_fresh_wood(views):
    for one in views:
        cut = one.tops[len(one.tops) // 2]
        out = frozenset({one.tree.limbs[2].key})
        done = Pruning(top_mm=cut.at_mm, limbs_out=out)
        view = one.limbs(done)
        left = {f"limb-{limb.key}" for limb in limbs_left(one.tree, done)}
        drawn = {key for key in keys(view) if key.startswith("limb-")}
        assert {f"limb-{place.id}" for place in view.places} <= drawn <= left
        loose = [shape for shape in view.drawing.shapes if is_ink(shape, Polygon, Ink.FRESH)]
        assert loose
        limb = one.seen[0]
        at = one.heads(limb)[0].at
        headed = one.branch(limb, Pruning(headed={limb.key: at}))
        assert not [place for place in headed.places if place.id.startswith("h")]
        assert [s for s in headed.drawing.shapes if is_ink(s, Polygon, Ink.FRESH)]


def test_nothing_is_drawn_outside_the_picture(views):
    """But for the pole, half widths of wood, and stubs at the frame."""
    for one in views:
        for view in (one.top(), one.limbs()):
            for placed in flattened(view.drawing):
                if isinstance(placed.shape, Path):
                    for x, y in polyline(placed.shape):
                        assert -4 <= x <= SIZE_MM[0] + 4
                        assert -4 <= y <= SIZE_MM[1] + 4


def test_a_tree_goes_over_the_wire_in_a_few_kilobytes(views):
    """25 kB a tree on average, each picture packed with the others of its tree."""
    sizes = [
        len(gzip.compress("".join(map(view_svg, one.all())).encode(), mtime=0)) for one in views
    ]
    assert sum(sizes) / len(sizes) <= 25_000


def test_before_and_after_stand_at_one_scale(views):
    one = views[0]
    pruning = ideal_pruning(one.tree, one.standard)
    drawing = before_and_after(one.tree, pruning, side=one.side, words=("Tree", "Twice"))
    assert (drawing.title, drawing.description) == ("Tree", "Twice")
    trunks = [
        placed.shape
        for placed in flattened(drawing)
        if isinstance(placed.shape, Path) and placed.shape.ink is Ink.WOOD
    ]
    widest = sorted((across(path) for path in trunks), reverse=True)
    # Both trunks begin at the soil with the same width.
    assert widest[0] == pytest.approx(widest[1], rel=1e-6)


def test_a_short_tree_looks_short_beside_a_tall_one(views):
    tall, short = views[0].tree, Views(0, *KINDS[1]).tree
    scale = whole_scale([tall, short])
    ends = []
    for tree in (tall, short):
        drawing = before_and_after(tree, NOTHING_CUT, scale=scale)
        points = [
            point
            for placed in flattened(drawing)
            if isinstance(placed.shape, Path)
            for point in polyline(placed.shape)
        ]
        assert min(x for x, _ in points) >= 0
        assert max(x for x, _ in points) <= SIZE_MM[0]
        assert min(y for _, y in points) >= 0
        soil = max(y for _, y in points)
        leader = tree.leader.end[2]
        ends.append((soil - min(y for _, y in points)) / leader)
    assert ends[0] == pytest.approx(ends[1], rel=0.05)


def across(path):
    return dist(path.start, path.steps[-1][-1])


def test_a_tree_without_limbs_is_drawn_too():
    one = Views(1, *KINDS[0])
    bare = replace(one.tree, limbs=())
    assert limbs_view(bare, NOTHING_CUT, gauge_mm=19.0).places == ()
    assert top_view(bare, NOTHING_CUT, ()).places == ()
    assert before_and_after(bare, NOTHING_CUT).shapes
