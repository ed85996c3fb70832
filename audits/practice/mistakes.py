"""The common mistakes on a tree: the right cuts but for one thing that people get wrong."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from audits.practice.ideal import ideal_pruning, top_cut_mm
from audits.practice.model import Limb, PracticeTree, SideKind
from audits.practice.pruning import (
    AT_SIDE_BRANCH_MM,
    Pruning,
    answers_of,
    is_due,
    limbs_left,
    pruned_tree,
)
from audits.scoring import score_tree
from audits.standard import Standard
from audits.vocabulary import STAGE_FAULTS, Fault, HeadingRule, Method, Side

# How far above a union a top is cut blunt: a peg that nobody takes for a cut at the side branch.
BLUNT_PEG_MM: Final = (2.5 * AT_SIDE_BRANCH_MM, 4.5 * AT_SIDE_BRANCH_MM)
# Shortened by this part of its length, a branch has lost its tip for all to see.
_TIP_LEFT: Final = 0.85
# An end headed too thick is cut half as far again beyond the band, one too thin half inside it.
_THICKER: Final = 1.5
_THINNER: Final = 0.6


_STAGE_OF: Final = {fault: stage for stage, faults in STAGE_FAULTS.items() for fault in faults}


@dataclass(frozen=True, slots=True)
class Mistake:
    """
    One common mistake, with all other stages done right.

    Parameters
    ----------
    key : str
        Its name, the same on every tree.
    pruning : Pruning
        The cuts.
    fault : Fault
        The fault that the scoring engine finds in them.
    """

    key: str
    pruning: Pruning
    fault: Fault


def mistakes(
    tree: PracticeTree, standard: Standard, side: Side, method: Method = Method.LADDER
) -> tuple[Mistake, ...]:
    """
    Make the common mistakes on a tree.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    standard : Standard
        The block's rule.
    side : Side
        The side from which the tree is drawn.
    method : Method, optional
        How the crew works.

    Returns
    -------
    tuple of Mistake
        Those that the tree leaves room for, from the top down; the engine finds the fault of each,
        and no fault of another stage.
    """
    right = ideal_pruning(tree, standard)
    found: list[Mistake] = []
    for key, fault, attempt in _ATTEMPTS:
        if _STAGE_OF[fault] not in standard.stages_in_use:
            continue
        for pruning in attempt(tree, standard, right):
            mistake = Mistake(key, pruning, fault)
            if _is_found(mistake, tree, standard, side, method):
                found.append(mistake)
                break
    return tuple(found)


def _is_found(
    mistake: Mistake, tree: PracticeTree, standard: Standard, side: Side, method: Method
) -> bool:
    answers = answers_of(tree, mistake.pruning, standard, side)
    scores = score_tree(standard, answers, method=method).stages
    stage = _STAGE_OF[mistake.fault]
    clean = all(not score.faults for other, score in scores.items() if other is not stage)
    return clean and mistake.fault in scores[stage].faults


_Attempt = Callable[[PracticeTree, Standard, Pruning], Iterator[Pruning]]


def _topped_at(tree: PracticeTree, right: Pruning, limb: Limb) -> Pruning:
    return replace(right, top_mm=top_cut_mm(tree, limb))


def _top_high(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    _, highest = standard.top.band_mm
    if right.top_mm is not None:
        yield from (_topped_at(tree, right, limb) for limb in tree.limbs if limb.union_mm > highest)


def _top_left(_tree: PracticeTree, _standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if right.top_mm is not None:
        yield replace(right, top_mm=None)


def _top_low(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    lowest, _ = standard.top.band_mm
    if right.top_mm is not None:
        below = [limb for limb in tree.limbs if limb.union_mm < lowest]
        yield from (_topped_at(tree, right, limb) for limb in reversed(below))


def _top_blunt(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if right.top_mm is None:
        return
    nearest, furthest = BLUNT_PEG_MM
    for limb in reversed(tree.limbs):
        above = [other.union_mm for other in tree.limbs if other.union_mm > limb.union_mm]
        room = min([*(union - limb.union_mm for union in above), furthest])
        if room > nearest:
            cut = replace(right, top_mm=limb.union_mm + (nearest + room) / 2)
            if _lies_in_band(pruned_tree(tree, cut).height_mm, standard):
                yield cut


def _lies_in_band(height_mm: float, standard: Standard) -> bool:
    lowest, highest = standard.top.band_mm
    return lowest <= height_mm <= highest


def _leader_young(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if right.top_mm is None and tree.height_mm < standard.top.target_mm:
        yield from (_topped_at(tree, right, limb) for limb in reversed(tree.limbs))


def _by_thickness(tree: PracticeTree, standard: Standard, right: Pruning) -> list[Limb]:
    out_mm = standard.limbs.measured_out_mm
    standing = limbs_left(tree, replace(right, limbs_out=frozenset()))
    return sorted(standing, key=lambda limb: limb.measured_mm(out_mm), reverse=True)


def _without(right: Pruning, limbs: list[Limb]) -> Pruning:
    return replace(right, limbs_out=frozenset(limb.key for limb in limbs))


def _limb_too_many(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    yield _without(right, _by_thickness(tree, standard, right)[: standard.limbs.most + 1])


def _limb_left(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if standard.limbs.least > 0:
        yield _without(right, _by_thickness(tree, standard, right)[: standard.limbs.least - 1])


def _smaller_limbs(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    count = len(right.limbs_out)
    thickest = _by_thickness(tree, standard, right)
    # From "all but the very thickest" on: each attempt leaves one more of the thick limbs.
    for first in range(1, count + 1):
        yield _without(right, thickest[first : first + count])


def _sides_left(kind: SideKind) -> _Attempt:
    def attempt(tree: PracticeTree, _standard: Standard, right: Pruning) -> Iterator[Pruning]:
        left = {
            side.key
            for limb in limbs_left(tree, right)
            for side in limb.side_branches
            if side.kind is kind
        }
        if left & right.sides_off:
            yield replace(right, sides_off=right.sides_off - left)

    return attempt


def _tips_shortened(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if standard.heading.rule is HeadingRule.FORBIDDEN and standard.heading.in_use:
        # There the same cuts are a fault of heading, not of the columns alone.
        return
    shortened = {
        limb.key: _TIP_LEFT
        for limb in limbs_left(tree, right)
        if limb.end is None and not is_due(limb, standard.heading)
    }
    if shortened:
        yield replace(right, headed={**right.headed, **shortened})


def _headed_forbidden(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if standard.heading.rule is not HeadingRule.FORBIDDEN:
        return
    due = {
        limb.key: cut
        for limb in limbs_left(tree, right)
        if is_due(limb, standard.heading)
        and (cut := limb.wood.where_thick(_pencil_mm(standard))) is not None
    }
    if due:
        yield replace(right, headed=due)


def _pencil_mm(standard: Standard) -> float:
    return (standard.heading.thinnest_mm + standard.heading.thickest_mm) / 2


def _headed_at(factor: float, *, thick: bool) -> _Attempt:
    def attempt(tree: PracticeTree, standard: Standard, right: Pruning) -> Iterator[Pruning]:
        rule = standard.heading
        wrong_mm = (rule.thickest_mm if thick else rule.thinnest_mm) * factor
        cuts = dict(right.headed)
        for limb in limbs_left(tree, right):
            if limb.key not in cuts:
                continue
            # A limb that is nowhere so thick is cut where it is thickest.
            at = limb.where_thick(wrong_mm)
            cuts[limb.key] = at if at is not None else (0.05 if thick else cuts[limb.key])
        if cuts != right.headed:
            yield replace(right, headed=cuts)

    return attempt


def _ends_left(_tree: PracticeTree, _standard: Standard, right: Pruning) -> Iterator[Pruning]:
    if right.headed:
        yield replace(right, headed={})


_ATTEMPTS: Final[tuple[tuple[str, Fault, _Attempt], ...]] = (
    ("top_high", Fault.HIGH, _top_high),
    ("top_left", Fault.HIGH, _top_left),
    ("top_low", Fault.LOW, _top_low),
    ("top_blunt", Fault.BLUNT, _top_blunt),
    ("leader_young", Fault.LEADER_YOUNG, _leader_young),
    ("limb_too_many", Fault.TOO_MANY, _limb_too_many),
    ("limb_left", Fault.TOO_FEW, _limb_left),
    ("smaller_limbs", Fault.WRONG_LIMB, _smaller_limbs),
    ("side_branch_left", Fault.SIDE_BRANCH, _sides_left(SideKind.SIDE)),
    ("fork_left", Fault.FORK, _sides_left(SideKind.FORK)),
    ("upright_left", Fault.UPRIGHT, _sides_left(SideKind.UPRIGHT)),
    ("tip_shortened", Fault.TIP_SHORTENED, _tips_shortened),
    ("headed_thick", Fault.THICK, _headed_at(_THICKER, thick=True)),
    ("headed_thin", Fault.THIN, _headed_at(_THINNER, thick=False)),
    ("end_left", Fault.LEFT_LONG, _ends_left),
    ("headed_forbidden", Fault.FORBIDDEN, _headed_forbidden),
)
