"""What somebody is asked to prune on a tree: what is done already, and one right way to go on."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from audits.practice.cuts import Cuts, ImpossibleCuts, PackProblem
from audits.practice.ideal import ideal_pruning
from audits.practice.levels import StageSet, done_before, stage_sets
from audits.practice.pack import PackTree, cuts_of, pruning_of
from audits.practice.pruning import Pruning, limbs_left
from audits.standard import Standard
from audits.vocabulary import PracticeLevel, Stage


@dataclass(frozen=True, slots=True)
class Task:
    """
    Stages of a tree to be pruned.

    Parameters
    ----------
    level : PracticeLevel
        How many stages at once.
    stages : tuple of Stage
        The stages, from the top of the tree down.
    before : Cuts
        What is done already.
    ideal : Cuts
        One right way, what was done already included.
    """

    level: PracticeLevel
    stages: tuple[Stage, ...]
    before: Cuts
    ideal: Cuts


def tasks_of(tree: PackTree, standard: Standard) -> Iterator[Task]:
    """
    Work out what is done before each practice of a tree, and one right way to go on.

    Parameters
    ----------
    tree : PackTree
        The tree.
    standard : Standard
        The block's rule.

    Yields
    ------
    Task
        For each stage, each two neighbouring stages, and all of them.
    """
    for chosen in stage_sets(standard):
        before = done_before(tree.tree, standard, chosen.stages)
        ideal = ideal_pruning(tree.tree, standard, chosen.stages, done=before)
        yield Task(chosen.level, chosen.stages, cuts_of(tree, before), cuts_of(tree, ideal))


def practised(
    tree: PackTree,
    standard: Standard,
    level: PracticeLevel,
    stages: Sequence[Stage],
    cuts: Cuts,
) -> Pruning:
    """
    Make the cuts of one practice, if somebody can have made them.

    Parameters
    ----------
    tree : PackTree
        The tree.
    standard : Standard
        The block's rule.
    level : PracticeLevel
        How many stages at once.
    stages : sequence of Stage
        The stages that were practised.
    cuts : Cuts
        All that is cut on the tree afterwards, what was done before included.

    Returns
    -------
    Pruning
        The cuts, on the tree itself.

    Raises
    ------
    ImpossibleCuts
        If these stages are not practised together, a place is not on the tree, was cut twice or was
        gone before they began, or a cut belongs to a stage that was not practised.
    """
    if StageSet(level, tuple(stages)) not in stage_sets(standard):
        raise ImpossibleCuts(PackProblem.NO_SUCH_STAGES)
    pruning = pruning_of(tree, cuts)
    before = cuts_of(tree, done_before(tree.tree, standard, stages))
    untouched = {
        Stage.TOP: cuts.top == before.top,
        Stage.LIMBS: set(cuts.limbs) == set(before.limbs),
        Stage.COLUMNS: set(cuts.sides) == set(before.sides),
        Stage.HEADING: cuts.heads == before.heads,
    }
    if not all(same for stage, same in untouched.items() if stage not in stages):
        raise ImpossibleCuts(PackProblem.OTHER_STAGE)
    standing = limbs_left(tree.tree, pruning_of(tree, before))
    limbs = {limb.key for limb in standing}
    sides = {side.key for limb in standing for side in limb.side_branches}
    if not (
        limbs.union(before.limbs).issuperset(cuts.limbs)
        and sides.union(before.sides).issuperset(cuts.sides)
        and limbs.union(before.heads).issuperset(cuts.heads)
    ):
        raise ImpossibleCuts(PackProblem.GONE_BEFORE)
    return pruning
