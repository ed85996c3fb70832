"""What has been cut on a practice tree, what is left of it, and how an auditor reads it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import dist

from audits.practice.model import Limb, PracticeTree, SideBranch, SideKind, Wood
from audits.scoring import (
    Answer,
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    TopMeasure,
    TreeAnswers,
)
from audits.standard import HeadingStageRule, Standard
from audits.units import kept_length
from audits.vocabulary import Fault, HeadingRule, Side, Stage

# A top that ends this little above a union ends at the side branch (common practice, no source).
AT_SIDE_BRANCH_MM = 40.0

_SIDE_FAULTS = {
    SideKind.FORK: Fault.FORK,
    SideKind.UPRIGHT: Fault.UPRIGHT,
    SideKind.SIDE: Fault.SIDE_BRANCH,
}


@dataclass(frozen=True, slots=True)
class Pruning:
    """
    The cuts made on one tree.

    Parameters
    ----------
    top_mm : float or None, optional
        Height at which the leader is cut; None where it is left.
    limbs_out : frozenset of str, optional
        Names of the limbs taken out at the trunk.
    sides_off : frozenset of str, optional
        Names of the side branches taken off.
    headed : Mapping of str to float, optional
        Where limbs are shortened, by name: up to 1 on the limb itself, up to 2 on its hanging end.
    """

    top_mm: float | None = None
    limbs_out: frozenset[str] = frozenset()
    sides_off: frozenset[str] = frozenset()
    headed: Mapping[str, float] = field(default_factory=dict)


NOTHING_CUT = Pruning()


def limbs_left(tree: PracticeTree, pruning: Pruning) -> tuple[Limb, ...]:
    """
    Find the limbs that still stand, whole.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning
        What has been cut.

    Returns
    -------
    tuple of Limb
        From the soil up, as they were before they were touched.
    """
    return tuple(
        limb
        for limb in tree.limbs
        if limb.key not in pruning.limbs_out
        and (pruning.top_mm is None or limb.union_mm <= pruning.top_mm)
    )


def pruned_limb(limb: Limb, pruning: Pruning) -> Limb:
    """
    Return what is left of a limb that stands.

    Parameters
    ----------
    limb : Limb
        The limb as it was.
    pruning : Pruning
        What has been cut.

    Returns
    -------
    Limb
        The limb without what came off.
    """
    sides = tuple(side for side in limb.side_branches if side.key not in pruning.sides_off)
    cut = pruning.headed.get(limb.key)
    if cut is None:
        return replace(limb, side_branches=sides)
    if cut > 1.0 and limb.end is not None:
        return replace(
            limb, end=limb.end.part(0.0, cut - 1.0), side_branches=sides, has_tip_flower=False
        )
    cut = min(cut, 1.0)
    return replace(
        limb,
        wood=limb.wood.part(0.0, cut),
        end=None,
        side_branches=tuple(
            replace(side, along=side.along / cut) for side in sides if side.along <= cut
        ),
        spurs=tuple(
            replace(spur, along=spur.along / cut) for spur in limb.spurs if spur.along < cut
        ),
        has_tip_flower=False,
    )


def pruned_tree(tree: PracticeTree, pruning: Pruning) -> PracticeTree:
    """
    Return what is left of a tree.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning
        What has been cut.

    Returns
    -------
    PracticeTree
        The tree without what came off.
    """
    leader = tree.leader
    if pruning.top_mm is not None:
        leader = leader.part(0.0, tree.leader_at(pruning.top_mm))
    limbs = tuple(pruned_limb(limb, pruning) for limb in limbs_left(tree, pruning))
    return replace(tree, leader=leader, limbs=limbs)


def top_limb(tree: PracticeTree, pruning: Pruning) -> Limb | None:
    """
    Find the side branch at which the leader's cut ends.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning
        What has been cut.

    Returns
    -------
    Limb or None
        The highest limb left, where the cut is close above it; None where the leader is whole or
        its cut is blunt.
    """
    left = limbs_left(tree, pruning)
    if pruning.top_mm is None or not left:
        return None
    highest = max(left, key=lambda limb: limb.union_mm)
    return highest if pruning.top_mm - highest.union_mm <= AT_SIDE_BRANCH_MM else None


def counts_as_side_branch(side: SideBranch, standard: Standard) -> bool:
    """
    Tell whether the standard asks for a side branch to come off.

    Parameters
    ----------
    side : SideBranch
        The branch.
    standard : Standard
        The block's rule.

    Returns
    -------
    bool
        False for wood short and thin enough to count as a spur.
    """
    wood, longest = side.wood, standard.columns.side_branch_mm
    if wood.thick_mm > standard.heading.thickest_mm or dist(wood.start, wood.end) > longest:
        return True
    # Only what is bent has to be measured along its curve.
    return wood.length_mm > longest


def is_due(limb: Limb, rule: HeadingStageRule) -> bool:
    """
    Tell whether a limb's end is thin, hangs, and can be cut where it is pencil thick.

    Parameters
    ----------
    limb : Limb
        The limb as it was.
    rule : HeadingStageRule
        The block's band.

    Returns
    -------
    bool
        Whether its end is due for heading.
    """
    if limb.bend_mm is None or limb.bend_mm >= rule.thinnest_mm:
        return False
    return limb.wood.thick_mm > (rule.thinnest_mm + rule.thickest_mm) / 2


def answers_of(
    tree: PracticeTree, pruning: Pruning, standard: Standard, drawn_side: Side
) -> TreeAnswers:
    """
    Measure a pruned tree as an auditor does, for the scoring engine.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning
        What has been cut.
    standard : Standard
        The block's rule.
    drawn_side : Side
        The side from which the tree was drawn; both sides are looked at for `Side.BOTH`.

    Returns
    -------
    TreeAnswers
        One measure for each stage in use.
    """
    left = limbs_left(tree, pruning)
    seen = [limb for limb in left if drawn_side in {Side.BOTH, limb.side}]
    measures: dict[Stage, Answer] = {
        Stage.TOP: _top_measure(tree, pruning, standard),
        Stage.LIMBS: _limbs_measure(tree, pruning, standard),
        Stage.COLUMNS: _columns_measure(seen, pruning, standard),
        Stage.HEADING: _heading_measure(seen, pruning, standard),
    }
    return TreeAnswers(stages={stage: measures[stage] for stage in standard.stages_in_use})


def _top_measure(tree: PracticeTree, pruning: Pruning, standard: Standard) -> TopMeasure:
    topped = pruning.top_mm is not None
    return TopMeasure(
        height_mm=kept_length(pruned_tree(tree, pruning).height_mm),
        topped=topped,
        to_side_branch=top_limb(tree, pruning) is not None,
        leader_young=topped and tree.height_mm < standard.top.target_mm,
    )


def _limbs_measure(tree: PracticeTree, pruning: Pruning, standard: Standard) -> LimbsMeasure:
    out_mm = standard.limbs.measured_out_mm
    below = limbs_left(tree, replace(pruning, limbs_out=frozenset()))
    return LimbsMeasure(
        cut_mm=tuple(limb.measured_mm(out_mm) for limb in below if limb.key in pruning.limbs_out),
        standing_mm=tuple(limb.measured_mm(out_mm) for limb in limbs_left(tree, pruning)),
    )


def _columns_measure(seen: list[Limb], pruning: Pruning, standard: Standard) -> ColumnsMeasure:
    faults: set[Fault] = set()
    single = 0
    looked_at = _spread(seen, standard.columns.branches)
    for limb in looked_at:
        left = pruned_limb(limb, pruning)
        wrong = {
            _SIDE_FAULTS[side.kind]
            for side in left.side_branches
            if counts_as_side_branch(side, standard)
        }
        if limb.key in pruning.headed and not is_due(limb, standard.heading):
            wrong.add(Fault.TIP_SHORTENED)
        single += not wrong
        faults |= wrong
    named = tuple(fault for fault in Fault if fault in faults)
    return ColumnsMeasure(looked_at=len(looked_at), single=single, faults=named)


def _spread(limbs: list[Limb], count: int) -> list[Limb]:
    """Take limbs evenly from the lowest to the highest."""
    if len(limbs) <= count:
        return limbs
    step = len(limbs) / count
    return [limbs[int((place + 0.5) * step)] for place in range(count)]


def _heading_measure(seen: list[Limb], pruning: Pruning, standard: Standard) -> HeadingMeasure:
    rule = standard.heading
    if rule.rule is HeadingRule.FORBIDDEN:
        looked_at = [limb for limb in seen if limb.key in pruning.headed]
    else:
        looked_at = [limb for limb in seen if is_due(limb, rule)]
    looked_at = _spread(looked_at, rule.looked_at)
    return HeadingMeasure(
        diameters_mm=tuple(
            round(diameter_behind(limb, pruning.headed[limb.key]), 1)
            for limb in looked_at
            if limb.key in pruning.headed
        ),
        left_long=sum(limb.key not in pruning.headed for limb in looked_at),
    )


def diameter_behind(limb: Limb, cut: float) -> float:
    """
    Measure a limb just behind the cut that shortens it.

    Parameters
    ----------
    limb : Limb
        The limb as it was.
    cut : float
        Where it is cut: up to 1 on the limb itself, up to 2 on its hanging end.

    Returns
    -------
    float
        Diameter in mm.
    """
    if cut > 1.0 and limb.end is not None:
        return limb.end.diameter_at(cut - 1.0)
    return limb.wood.diameter_at(min(cut, 1.0))


def child_and_parent(tree: PracticeTree) -> list[tuple[Wood, float]]:
    """
    Pair each piece of wood with the diameter of what carries it.

    Parameters
    ----------
    tree : PracticeTree
        The tree.

    Returns
    -------
    list of tuple
        Limbs with the leader's diameter at their union, hanging ends with their limb's at the
        bend, side branches with their limb's where they grow.
    """
    pairs: list[tuple[Wood, float]] = []
    for limb in tree.limbs:
        at_union = tree.leader.diameter_at(tree.leader_at(limb.union_mm))
        pairs.append((limb.wood, at_union))
        pairs += [(end, wood.thin_mm) for wood, end in pairwise(limb.pieces)]
        pairs += [(side.wood, limb.wood.diameter_at(side.along)) for side in limb.side_branches]
    return pairs
