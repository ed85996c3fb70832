"""A practice tree as a picture: wood in space seen from one side, whole or a part of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, hypot, radians, sin
from typing import Final

from audits.practice.model import Limb, Place3, PracticeTree, Spur, Wood
from audits.practice.pruning import NOTHING_CUT, Pruning, top_limb
from printables.drawing.inks import Ink
from printables.drawing.panel import CUT_GAP_MM, slanted_cut
from printables.drawing.primitives import Circle, Drawing, Line, Point, Shape
from printables.drawing.wood import Stem, joined

# Someone who stands on the row's right side and looks across sees the row's end on the right.
FROM_RIGHT_DEG: Final = 90.0

# Wood that grows straight at the viewer would shrink to a point, which has no direction.
_ASKEW: Final = 1e-3

# Steps in which a frame is looked for along a stem, halved until it is met within a hair.
_STEPS: Final = 48
_HALVINGS: Final = 14
_NEXT: Final = 1.5

# Above this scale a limb that came out leaves a stub to be seen: its upper and lower edge as parts
# of the leader, whose middle they are counted from (stubs of 12 to 25 mm; no published figure).
_STUBS_FROM: Final = 0.02
_STUB: Final = (0.5, 0.85)


@dataclass(frozen=True, slots=True)
class View:
    """
    From where a tree is seen, and how large.

    Parameters
    ----------
    trunk_x_mm, soil_y_mm : float
        Where the foot of the trunk comes to lie.
    scale : float
        Page over tree.
    from_deg : float, optional
        Azimuth of the viewer: 90 on the row's right side, 0 at the row's end.
    thicker : float, optional
        By how much wood is drawn thicker than to scale, so that it can be seen.
    thinnest_mm : float, optional
        Width on the page below which no wood is drawn.
    bud_mm : float, optional
        Radius on the page below which no flower bud is drawn.
    within_mm : tuple of float or None, optional
        Left, upper, right and lower edge of what is seen; all of the tree if None.
    from_above_deg : float, optional
        How far the viewer looks down: what grows towards the viewer comes to lie lower. Heights
        are true at 0 alone.
    """

    trunk_x_mm: float
    soil_y_mm: float
    scale: float
    from_deg: float = FROM_RIGHT_DEG
    thicker: float = 1.0
    thinnest_mm: float = 0.3
    bud_mm: float = 0.45
    within_mm: tuple[float, float, float, float] | None = None
    from_above_deg: float = 0.0

    def at_height(self, height_mm: float) -> float:
        """
        Find where a height lies on the page.

        Parameters
        ----------
        height_mm : float
            Height above the soil.

        Returns
        -------
        float
            Distance from the page's upper edge, in mm.
        """
        return self.soil_y_mm - self.scale * height_mm

    def place(self, place: Place3) -> Point:
        """
        Find where a place of the tree lies on the page.

        Parameters
        ----------
        place : tuple of float
            A place of the tree.

        Returns
        -------
        tuple of float
            The point.
        """
        to_right = radians(self.from_deg - 90.0)
        right = place[0] * cos(to_right) + place[1] * sin(to_right) + _ASKEW * self.depth(place)
        down = radians(self.from_above_deg)
        height_mm = place[2] * cos(down) - self.depth(place) * sin(down)
        return (self.trunk_x_mm + self.scale * right, self.at_height(height_mm))

    def depth(self, place: Place3) -> float:
        """
        Find how near the viewer a place is.

        Parameters
        ----------
        place : tuple of float
            A place of the tree.

        Returns
        -------
        float
            Distance in front of the trunk, in mm on the tree; below 0 behind it.
        """
        towards = radians(self.from_deg)
        return place[0] * cos(towards) + place[1] * sin(towards)

    def width(self, diameter_mm: float) -> float:
        """
        Find how wide wood is drawn.

        Parameters
        ----------
        diameter_mm : float
            Its diameter.

        Returns
        -------
        float
            Width on the page, in mm.
        """
        return max(self.thinnest_mm, self.thicker * self.scale * diameter_mm)

    def stem(self, wood: Wood) -> Stem:
        """
        Draw a piece of wood as a curve on the page.

        Parameters
        ----------
        wood : Wood
            The wood.

        Returns
        -------
        Stem
            Its picture; a cubic curve stays one under parallel projection.
        """
        return Stem(
            self.place(wood.start),
            self.place(wood.control1),
            self.place(wood.control2),
            self.place(wood.end),
            self.width(wood.thick_mm),
            self.width(wood.thin_mm),
        )

    def seen(self, wood: Wood) -> Stem:
        """
        Draw the part of a piece of wood that is seen.

        Parameters
        ----------
        wood : Wood
            The wood.

        Returns
        -------
        Stem
            Its picture, whole where none of it is seen.
        """
        stem = self.stem(wood)
        run = self.run_of(stem)
        return stem if run is None else stem.part(*run)

    def run_of(self, stem: Stem) -> tuple[float, float] | None:
        """
        Find the part of a piece of wood that is seen.

        Parameters
        ----------
        stem : Stem
            Its picture.

        Returns
        -------
        tuple of float or None
            Where the part begins and ends, from 0 to 1; None where nothing is seen.
        """
        if self.within_mm is None:
            return (0.0, 1.0)
        seen = [step / _STEPS for step in range(_STEPS + 1) if self._shows(stem, step / _STEPS)]
        if not seen:
            return None
        # The first stretch that is seen; a stem that leaves the frame does not come back.
        last = next(
            (one for one, after in pairwise(seen) if after - one > _NEXT / _STEPS), seen[-1]
        )
        return (
            self._border(stem, seen[0], seen[0] - 1 / _STEPS),
            self._border(stem, last, last + 1 / _STEPS),
        )

    def _shows(self, stem: Stem, along: float) -> bool:
        left, upper, right, lower = self.within_mm or (0.0, 0.0, 0.0, 0.0)
        x, y = stem.point_at(along)
        # An end cut square sticks out sideways by half the wood's width.
        half = stem.width_at(along) / 2
        across, down = stem.direction_at(along)
        off_x, off_y = half * abs(down), half * abs(across)
        return left <= x - off_x <= x + off_x <= right and upper <= y - off_y <= y + off_y <= lower

    def _border(self, stem: Stem, seen: float, unseen: float) -> float:
        """Find where wood passes the frame between a place that is seen and one that is not."""
        if not 0.0 <= unseen <= 1.0:
            return seen
        for _ in range(_HALVINGS):
            middle = (seen + unseen) / 2
            if self._shows(stem, middle):
                seen = middle
            else:
                unseen = middle
        return seen


def tree_shapes(
    tree: PracticeTree,
    view: View,
    pruning: Pruning = NOTHING_CUT,
    *,
    shows_gone: bool = True,
    shows_marks: bool = True,
    shows_spurs: bool = False,
) -> list[Shape]:
    """
    Draw a tree with what has been cut on it.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    view : View
        From where it is seen.
    pruning : Pruning, optional
        What has been cut.
    shows_gone : bool, optional
        Whether wood that came off is drawn, paler.
    shows_marks : bool, optional
        Whether each cut is marked.
    shows_spurs : bool, optional
        Whether spurs are drawn.

    Returns
    -------
    list of Shape
        From back to front.
    """
    behind = sorted(tree.limbs, key=lambda limb: view.depth(limb.wood.end))
    drawn = {
        limb.key: limb_shapes(
            limb,
            view,
            pruning,
            shows_spurs=shows_spurs,
            leader_mm=tree.leader.diameter_at(tree.leader_at(limb.union_mm)),
        )
        for limb in behind
    }
    leader = leader_shapes(tree, view, pruning)
    gone: list[Shape] = [*leader.gone]
    stays: list[Shape] = []
    marks: list[Shape] = [*leader.marks]
    for limb in behind:
        if view.depth(limb.wood.end) >= 0.0:
            break
        stays += drawn[limb.key].stays
    stays += leader.stays
    for limb in behind:
        if view.depth(limb.wood.end) >= 0.0:
            stays += drawn[limb.key].stays
        gone += drawn[limb.key].gone
        marks += drawn[limb.key].marks
    return [*(gone if shows_gone else []), *stays, *(marks if shows_marks else [])]


def tree_views(
    tree: PracticeTree,
    pruning: Pruning = NOTHING_CUT,
    *,
    title: str,
    description: str = "",
    size_mm: tuple[float, float] = (90.0, 120.0),
    from_degs: Sequence[float] = (FROM_RIGHT_DEG,),
    shows_gone: bool = True,
) -> Drawing:
    """
    Draw a whole tree, to scale, from one side or several.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning, optional
        What has been cut.
    title, description : str
        For those who cannot see it, in the reader's language.
    size_mm : tuple of float, optional
        Width and height of each view.
    from_degs : sequence of float, optional
        Azimuths of the viewers, from left to right: 90 on the row's right side, 270 on its left
        side, 0 at the row's end.
    shows_gone : bool, optional
        Whether wood that came off is drawn, paler.

    Returns
    -------
    Drawing
        The views side by side on one line of soil, at one scale, which leaves room for the widest.
    """
    width, height = size_mm
    reach = max(hypot(*wood.end[:2]) for wood in tree.all_wood())
    soil = height - _FOOT_MM
    scale = min((soil - 1.0) / tree.height_mm, (width / 2 - 1.0) / reach)
    shapes: list[Shape] = [Line((0.5, soil), (width * len(from_degs) - 0.5, soil), Ink.LINE)]
    for place, from_deg in enumerate(from_degs):
        trunk = (place + 0.5) * width
        view = View(trunk, soil, scale, from_deg, thicker=_WHOLE_THICKER, thinnest_mm=0.22)
        shapes += tree_shapes(tree, view, pruning, shows_gone=shows_gone, shows_spurs=True)
    return Drawing(width * len(from_degs), height, tuple(shapes), title, description)


# Wood of a whole tree is drawn a little thicker than to scale, or twigs would not be seen.
_WHOLE_THICKER: Final = 1.5
_FOOT_MM: Final = 0.8


@dataclass(frozen=True, slots=True)
class CutShapes:
    """
    A piece of a tree by what became of it.

    Parameters
    ----------
    gone, stays, marks : tuple of Shape
        Wood that came off, wood that stays, and the marks of the cuts.
    """

    gone: tuple[Shape, ...] = ()
    stays: tuple[Shape, ...] = ()
    marks: tuple[Shape, ...] = ()


def leader_shapes(tree: PracticeTree, view: View, pruning: Pruning) -> CutShapes:
    """
    Draw the leader, slanted up towards the side branch at which it ends.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    view : View
        From where it is seen.
    pruning : Pruning
        What has been cut.

    Returns
    -------
    CutShapes
        The leader.
    """
    stem = view.stem(tree.leader)
    run = view.run_of(stem)
    if run is None:
        return CutShapes()
    seen = stem.part(*run)
    if pruning.top_mm is None:
        return CutShapes(stays=(seen.outline(),))
    cut = tree.leader_at(pruning.top_mm)
    lean = 0.0
    side = top_limb(tree, pruning)
    if side is not None:
        # The far edge of the cut lies level with the union, the near one as far above the middle.
        reach = view.place(side.wood.end)[0] - view.place(side.wood.start)[0]
        length = abs(stem.end[1] - stem.start[1])
        lean = 0.35 * stem.width_at(cut) / length * (1.0 if reach < 0.0 else -1.0)
    return _cut_in_run(stem, run, cut + lean, cut - lean)


# A cut nearer the foot than this leaves nothing to be seen.
_AT_FOOT: Final = 1e-6


def _cut_in_run(stem: Stem, run: tuple[float, float], left: float, right: float) -> CutShapes:
    """Cut the part of a stem that is seen."""
    first, last = run
    seen = stem.part(first, last)
    if (left + right) / 2 <= max(first, _AT_FOOT):
        return CutShapes(gone=(seen.outline(Ink.GONE),))
    if (left + right) / 2 >= last:
        return CutShapes(stays=(seen.outline(),))
    cuts = [min(0.98, max(0.02, (edge - first) / (last - first))) for edge in (left, right)]
    stays, goes, mark = slanted_cut(seen, *cuts)
    return CutShapes((goes,), (stays,), (mark,))


def limb_shapes(
    limb: Limb,
    view: View,
    pruning: Pruning,
    *,
    shows_spurs: bool = False,
    leader_mm: float = 0.0,
) -> CutShapes:
    """
    Draw a limb with all it carries.

    Parameters
    ----------
    limb : Limb
        The limb as it was.
    view : View
        From where it is seen.
    pruning : Pruning
        What has been cut.
    shows_spurs : bool, optional
        Whether spurs are drawn.
    leader_mm : float, optional
        Diameter of the leader at the union, for the stub of a limb that is out.

    Returns
    -------
    CutShapes
        The limb.
    """
    above_top = pruning.top_mm is not None and limb.union_mm > pruning.top_mm
    if above_top:
        woods = tuple(side.wood for side in limb.side_branches)
        axis = _axis(limb, view, 0.0)
        return CutShapes(gone=(*_seen(woods, view, Ink.GONE), *axis.gone))
    if limb.key in pruning.limbs_out:
        return _limb_out(limb, view, leader_mm)
    parts: list[CutShapes] = []
    cut = pruning.headed.get(limb.key)
    if shows_spurs:
        left_of = 1.0 if cut is None else cut
        parts.append(CutShapes(stays=tuple(_spur_shapes(limb, view, left_of))))
    for side in limb.side_branches:
        stem = view.stem(side.wood)
        run = view.run_of(stem)
        if run is None:
            continue
        if cut is not None and side.along > cut:
            parts.append(CutShapes(gone=(stem.part(*run).outline(Ink.GONE),)))
        elif side.key in pruning.sides_off:
            at = _SIDE_STUB + view.width(limb.wood.diameter_at(side.along)) / 2 / _reach(stem)
            parts.append(_cut_in_run(stem, run, at, at))
        else:
            parts.append(CutShapes(stays=(stem.part(*run).outline(),)))
    parts.append(_axis(limb, view, cut))
    if shows_spurs and limb.has_tip_flower and cut is None:
        tip = view.place(limb.pieces[-1].end)
        parts.append(CutShapes(stays=(_flower_bud(tip, view),)))
    return CutShapes(
        tuple(shape for part in parts for shape in part.gone),
        tuple(shape for part in parts for shape in part.stays),
        tuple(shape for part in parts for shape in part.marks),
    )


def _axis(limb: Limb, view: View, cut: float | None) -> CutShapes:
    """Draw the limb and its hanging end, in one outline as far as nothing is cut between."""
    stems = [view.stem(piece) for piece in limb.pieces]
    runs = [(stem, view.run_of(stem)) for stem in stems]
    seen = [stem.part(*run) for stem, run in runs if run is not None]
    whole = len(seen) == len(stems) and all(run == (0.0, 1.0) for _, run in runs)
    if not seen:
        return CutShapes()
    if cut is None or not 0.0 < cut < len(stems):
        ink = Ink.GONE if cut == 0.0 else Ink.WOOD
        pieces = (joined(seen, ink),) if whole else tuple(stem.outline(ink) for stem in seen)
        return CutShapes(gone=pieces) if cut == 0.0 else CutShapes(stays=pieces)
    if not whole:
        parts = [
            _cut_in_run(stem, run, cut - place, cut - place)
            for place, (stem, run) in enumerate(runs)
            if run is not None
        ]
        return CutShapes(
            tuple(shape for part in parts for shape in part.gone),
            tuple(shape for part in parts for shape in part.stays),
            tuple(shape for part in parts for shape in part.marks),
        )
    place = int(cut)
    here = _cut_in_run(stems[place], (0.0, 1.0), cut - place, cut - place)
    stays = (*(stem.outline() for stem in stems[:place]), *here.stays)
    beyond = [stems[place].part(min(0.98, cut - place + _gap(stems[place])), 1.0)]
    return CutShapes((joined([*beyond, *stems[place + 1 :]], Ink.GONE),), stays, here.marks)


def _gap(stem: Stem) -> float:
    """Leave as much room for the mark of a cut as `slanted_cut` does, as a part of the stem."""
    return CUT_GAP_MM / _reach(stem)


# A side branch is cut this part of its length beyond its limb's bark, so that the mark stands free.
_SIDE_STUB: Final = 0.06


def _reach(stem: Stem) -> float:
    return hypot(stem.end[0] - stem.start[0], stem.end[1] - stem.start[1])


def _seen(woods: tuple[Wood, ...], view: View, ink: Ink) -> tuple[Shape, ...]:
    stems = [view.stem(wood) for wood in woods]
    runs = [(stem, view.run_of(stem)) for stem in stems]
    return tuple(stem.part(*run).outline(ink) for stem, run in runs if run is not None)


def _limb_out(limb: Limb, view: View, leader_mm: float) -> CutShapes:
    """Draw a limb that came out: on a whole tree no stub, close up a bevel that draws a shoot."""
    sides = tuple(side.wood for side in limb.side_branches)
    stem = view.stem(limb.wood)
    run = view.run_of(stem)
    if run is None:
        return CutShapes()
    if view.scale < _STUBS_FROM:
        woods = (*_seen(sides, view, Ink.GONE), *_axis(limb, view, 0.0).gone)
        at = 0.5 / _reach(stem) + view.width(leader_mm) * 0.2 / _reach(stem)
        return CutShapes(woods, (), _cut_in_run(stem, run, at, at).marks)
    upper, lower = (part * view.width(leader_mm) / _reach(stem) for part in _STUB)
    # The upper edge is cut nearer the trunk than the lower: the lip draws a new shoot from below.
    left, right = (upper, lower) if stem.end[0] > stem.start[0] else (lower, upper)
    cut = _cut_in_run(stem, run, left, right)
    return CutShapes((*cut.gone, *_seen(sides, view, Ink.GONE)), cut.stays, cut.marks)


def _spur_shapes(limb: Limb, view: View, left_of: float) -> Iterator[Shape]:
    stem = view.stem(limb.wood)
    for spur in limb.spurs:
        if spur.along < left_of:
            yield from _spur(stem, spur, view)


def _spur(stem: Stem, spur: Spur, view: View) -> tuple[Shape, ...]:
    upwards = 1 if (stem.end[0] > stem.start[0]) is spur.above else -1
    root = stem.point_at(spur.along)
    reach = stem.width_at(spur.along) / 2 + view.scale * spur.length_mm
    tip = stem.beside(spur.along, upwards * reach)
    shoot = Stem.between(root, tip, (view.width(4.0), view.width(3.0))).outline()
    # Flower buds are round and plump; leaf buds are too small to be drawn.
    return (shoot, _flower_bud(tip, view)) if spur.has_flower else (shoot,)


def _flower_bud(tip: Point, view: View) -> Circle:
    return Circle(tip, max(view.bud_mm, view.scale * 9.0), Ink.SPUR)
