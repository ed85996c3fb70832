"""The places at which a tree may be cut: right ones, and wrong ones by common mistakes."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from audits.practice.ideal import heading_cut, ideal_pruning, top_cut_mm
from audits.practice.levels import stage_sets
from audits.practice.model import Limb, PracticeTree
from audits.practice.pruning import Pruning, diameter_behind, is_due, pruned_tree
from audits.standard import Standard
from audits.vocabulary import Stage

# A height in a picture is read to about an inch (common practice, no source); so far inside its
# band the right cut lies, where the standard's tolerance leaves room for it.
HEIGHT_READING_MM: Final = 25.0

# So far below the target a leader is cut by mistake (common practice, no source).
_BELOW_MM: Final = 700.0
# Places on the leader stand as far apart as a finger needs.
_APART_MM: Final = 60.0
# A cut is blunt this far or more above the next side branch; see `AT_SIDE_BRANCH_MM`.
_BLUNT_ABOVE_MM: Final = 60.0
_BLUNT_BELOW_MM: Final = 25.0

# How far beyond the band, guard included, the wrong places of an end lie.
_TOO_THICK_MM: Final = (4.0, 1.0)
_TOO_THIN_MM: Final = 0.6
# Where a branch is offered that has nowhere a diameter to be headed at.
_SOMEWHERE: Final = (0.55, 0.8)
# Shares of a branch: no place lies in the trunk's bark or at the very tip.
_ON_THE_BRANCH: Final = (0.08, 1.98)


@dataclass(frozen=True, slots=True)
class TopPlace:
    """
    A place at which the leader may be cut.

    Parameters
    ----------
    id : str
        Its name, such as ``"t3"``; counted from the highest down.
    at_mm : float
        Height of the middle of the cut.
    limb : str or None
        The side branch at which the cut ends; None where it is blunt.
    """

    id: str
    at_mm: float
    limb: str | None


@dataclass(frozen=True, slots=True)
class HeadPlace:
    """
    A place at which a branch may be shortened.

    Parameters
    ----------
    id : str
        Its name, such as ``"h2"``; counted from the trunk out.
    at : float
        Where: up to 1 on the limb itself, up to 2 on its hanging end.
    mm : float
        Diameter just behind the cut, to a tenth.
    """

    id: str
    at: float
    mm: float


def top_places(tree: PracticeTree, standard: Standard) -> tuple[TopPlace, ...]:
    """
    Choose the places at which the leader may be cut.

    Parameters
    ----------
    tree : PracticeTree
        The tree.
    standard : Standard
        The block's rule.

    Returns
    -------
    tuple of TopPlace
        From the highest down: right ones exactly where the standard's own way has them, some too
        high and too low, and a blunt one.
    """
    lowest, highest = standard.top.band_mm
    wanted = _ideal_tops(tree, standard)
    chosen: list[tuple[float, str | None]] = [(top_cut_mm(tree, limb), limb.key) for limb in wanted]
    high: list[tuple[float, str | None]] = []
    right: list[tuple[float, str | None]] = []
    low: list[tuple[float, str | None]] = []
    for limb in tree.limbs:
        cut = top_cut_mm(tree, limb)
        if limb.union_mm < min(standard.top.target_mm, tree.leader.end[2]) - _BELOW_MM:
            continue
        height_mm = pruned_tree(tree, Pruning(top_mm=cut)).height_mm
        if height_mm > highest + HEIGHT_READING_MM:
            high.append((cut, limb.key))
        elif height_mm < lowest - HEIGHT_READING_MM:
            low.append((cut, limb.key))
        elif lowest + HEIGHT_READING_MM < height_mm < highest - HEIGHT_READING_MM:
            # On the border of the band nobody could tell by eye.
            right.append((cut, limb.key))
    blunt = _blunt_cut(tree, standard)
    for places, most in (
        ([] if blunt is None else [(blunt, None)], 1),
        (high[:1] + high[1:][::-1], 3),
        # A tree that is not due has all its wood below the target.
        (low[::-1], 2 if high or right else 5),
        (right, 1),
    ):
        taken = 0
        for place in places:
            if taken < most and all(abs(place[0] - other[0]) >= _APART_MM for other in chosen):
                chosen.append(place)
                taken += 1
    if not chosen:
        chosen = [(top_cut_mm(tree, limb), limb.key) for limb in tree.limbs[-1:]]
    chosen.sort(reverse=True)
    return tuple(
        TopPlace(f"t{number}", at_mm, limb) for number, (at_mm, limb) in enumerate(chosen, 1)
    )


def _ideal_tops(tree: PracticeTree, standard: Standard) -> list[Limb]:
    """Find the limbs to which the top goes when it is pruned alone or with other stages."""
    found: dict[str, Limb] = {}
    for chosen in stage_sets(standard):
        if Stage.TOP not in chosen.stages:
            continue
        at_mm = ideal_pruning(tree, standard, chosen.stages).top_mm
        for limb in tree.limbs:
            if at_mm is not None and top_cut_mm(tree, limb) == at_mm:
                found[limb.key] = limb
    return list(found.values())


def _blunt_cut(tree: PracticeTree, standard: Standard) -> float | None:
    """Find a place near the target that is well clear of the side branches around it."""
    lowest, highest = standard.top.band_mm
    unions = sorted(limb.union_mm for limb in tree.limbs)
    gaps = [
        (below + _BLUNT_ABOVE_MM, above - _BLUNT_BELOW_MM)
        for below, above in pairwise([*unions, tree.height_mm])
    ]
    target = standard.top.target_mm
    cuts = [
        min(max(target, first), last)
        for first, last in gaps
        if first <= last and last > lowest and first < highest
    ]
    return min(cuts, key=lambda cut: abs(cut - target), default=None)


def head_places(limb: Limb, standard: Standard) -> tuple[HeadPlace, ...]:
    """
    Choose the places at which a branch may be shortened.

    Parameters
    ----------
    limb : Limb
        The branch.
    standard : Standard
        The block's rule.

    Returns
    -------
    tuple of HeadPlace
        From the trunk out: too thick, right and too thin, as far as its wood is so thick; in the
        middle of the band exactly where `audits.practice.ideal.heading_cut` has it.
    """
    rule, guard = standard.heading, standard.diameter_guard_mm
    diameters = [
        *(rule.thickest_mm + guard + beyond for beyond in _TOO_THICK_MM),
        (rule.thinnest_mm + rule.thickest_mm) / 2,
        rule.thinnest_mm - guard - _TOO_THIN_MM,
    ]
    places = [at for mm in diameters if (at := limb.where_thick(mm)) is not None]
    first, last = _ON_THE_BRANCH
    right = heading_cut(limb, rule) if is_due(limb, rule) else None
    places = [at for at in places if at == right or first <= at <= last] or list(_SOMEWHERE)
    return tuple(
        HeadPlace(f"h{number}", at, round(diameter_behind(limb, at), 1))
        for number, at in enumerate(places, 1)
    )
