"""What a standard asks of a tree: where the top ends, which limbs go, what each end gets."""

from collections.abc import Collection
from dataclasses import replace

from audits.practice.model import Limb, PracticeTree, TreeKind
from audits.practice.pruning import (
    NOTHING_CUT,
    Pruning,
    counts_as_side_branch,
    is_due,
    limbs_left,
    pruned_limb,
    pruned_tree,
)
from audits.standard import HeadingStageRule, LimbsRule, Standard
from audits.vocabulary import HeadingRule, Stage

# The cut slants up from just above the union; half the leader's thickness, at least this.
_ABOVE_UNION_MM = 6.0


def ideal_pruning(
    tree: PracticeTree,
    standard: Standard,
    stages: Collection[Stage] | None = None,
    *,
    done: Pruning = NOTHING_CUT,
) -> Pruning:
    """
    Work out the cuts that a standard asks for on a tree.

    The stages follow each other from the top of the tree down. The top is cut to the side branch
    that leaves the highest wood nearest the target, and not at all where the tree has not grown
    beyond the band. Of the large limbs the thickest go, as many as the rule allows, as few as it
    asks for where there are few flower buds. Side branches come off every limb that stays. Ends
    that hang and are thinner than a pencil are headed in the middle of the band.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    standard : Standard
        The block's rule.
    stages : collection of Stage or None, optional
        The stages that are pruned in this pass; by default those in use.
    done : Pruning, optional
        What the stages before these have cut already.

    Returns
    -------
    Pruning
        The cuts, those done already among them.
    """
    wanted = standard.stages_in_use if stages is None else stages
    lower = [stage for stage in Stage if stage in wanted and stage is not Stage.TOP]
    if Stage.TOP not in wanted:
        return _lower_stages(tree, standard, done, lower)
    best = _lower_stages(tree, standard, done, lower)
    if pruned_tree(tree, best).height_mm <= standard.top.band_mm[1]:
        return best
    off_mm = float("inf")
    for cut_mm in _possible_tops(tree, standard):
        tried = _lower_stages(tree, standard, replace(done, top_mm=cut_mm), lower)
        missed_mm = abs(pruned_tree(tree, tried).height_mm - standard.top.target_mm)
        if missed_mm < off_mm:
            best, off_mm = tried, missed_mm
    return best


def _possible_tops(tree: PracticeTree, standard: Standard) -> list[float]:
    """List the heights at which the leader can be cut to a side branch."""
    highest = standard.top.band_mm[1]
    small = [
        limb
        for limb in tree.limbs
        if limb.measured_mm(standard.limbs.measured_out_mm) < standard.limbs.large_mm
    ]
    fitting = [limb for limb in small if limb.union_mm < highest] or small[:1]
    # Of those far below the band none can come nearer than the nearest that is lower than it.
    return [top_cut_mm(tree, limb) for limb in fitting[-12:]]


def top_cut_mm(tree: PracticeTree, limb: Limb) -> float:
    """
    Find where the leader is cut to end at a side branch.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    limb : Limb
        The side branch.

    Returns
    -------
    float
        Height of the middle of the cut, just above the union.
    """
    thick_mm = tree.leader.diameter_at(tree.leader_at(limb.union_mm))
    return limb.union_mm + min(max(_ABOVE_UNION_MM, thick_mm / 2), 30.0)


def _lower_stages(
    tree: PracticeTree, standard: Standard, pruning: Pruning, stages: Collection[Stage]
) -> Pruning:
    if Stage.LIMBS in stages:
        out = large_limbs_to_take(tree, standard.limbs, pruning)
        pruning = replace(pruning, limbs_out=frozenset(limb.key for limb in out))
    if Stage.HEADING in stages and standard.heading.rule is HeadingRule.REQUIRED:
        headed = {
            limb.key: heading_cut(limb, standard.heading)
            for limb in limbs_left(tree, pruning)
            if is_due(limb, standard.heading)
        }
        pruning = replace(pruning, headed=headed)
    if Stage.COLUMNS in stages:
        off = frozenset(
            side.key
            for limb in limbs_left(tree, pruning)
            for side in pruned_limb(limb, pruning).side_branches
            if counts_as_side_branch(side, standard)
        )
        pruning = replace(pruning, sides_off=off)
    return pruning


def large_limbs_to_take(tree: PracticeTree, rule: LimbsRule, pruning: Pruning) -> tuple[Limb, ...]:
    """
    Choose the large limbs that come out.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    rule : LimbsRule
        The block's rule for limbs.
    pruning : Pruning
        What the stages before have cut.

    Returns
    -------
    tuple of Limb
        The thickest first; as many as the rule allows, but as few as it asks for, and one where it
        allows one, on a tree with few flower buds.

    References
    ----------
    .. [1] The two to three largest branches: J. Clements, report of a pruning demonstration, 2009.
    .. [2] With fewer than about half the buds floral, one to two limbs only: M. Basedow, Cornell
       ENYCHP.
    """
    large = [
        limb
        for limb in limbs_left(tree, pruning)
        if limb.measured_mm(rule.measured_out_mm) >= rule.large_mm
    ]
    large.sort(key=lambda limb: limb.measured_mm(rule.measured_out_mm), reverse=True)
    most = rule.most
    if tree.kind is TreeKind.LOW_BLOOM:
        most = max(rule.least, min(1, rule.most))
    return tuple(large[:most])


def heading_cut(limb: Limb, rule: HeadingStageRule) -> float:
    """
    Find where a due end is pencil thick.

    Parameters
    ----------
    limb : Limb
        A limb whose end is due.
    rule : HeadingStageRule
        The block's band.

    Returns
    -------
    float
        Where on the limb its diameter is in the middle of the band, from 0 to 1.

    Raises
    ------
    ValueError
        If the limb is nowhere pencil thick.
    """
    middle = (rule.thinnest_mm + rule.thickest_mm) / 2
    cut = limb.wood.where_thick(middle)
    if cut is None:
        raise ValueError(f"limb {limb.key} is nowhere {middle} mm thick")
    return cut
