"""
Levels of practice: one stage, two neighbouring stages, all stages of a tree.

What comes before the stages of a practice is done already, as the standard asks for it.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from audits.practice.ideal import ideal_pruning
from audits.practice.model import PracticeTree
from audits.practice.pruning import Pruning
from audits.standard import Standard
from audits.vocabulary import PracticeLevel, Stage

# So often right in a row at a stage and at its neighbour, and at every stage, before more come at
# once (our choice).
RUN_FOR_TWO: Final = 3
RUN_FOR_ALL: Final = 6


class StageSet(NamedTuple):
    """
    Stages that are practised together.

    Parameters
    ----------
    level : PracticeLevel
        How many at once.
    stages : tuple of Stage
        From the top of the tree down.
    """

    level: PracticeLevel
    stages: tuple[Stage, ...]


def stage_sets(standard: Standard) -> tuple[StageSet, ...]:
    """
    List the stages that are practised together under a standard.

    Parameters
    ----------
    standard : Standard
        The block's rule.

    Returns
    -------
    tuple of StageSet
        Each stage in use, each two neighbours, and all of them.
    """
    order = standard.stages_in_use
    return (
        *(StageSet(PracticeLevel.ONE, (stage,)) for stage in order),
        *(StageSet(PracticeLevel.TWO, pair) for pair in pairwise(order)),
        StageSet(PracticeLevel.ALL, order),
    )


def done_before(tree: PracticeTree, standard: Standard, stages: Sequence[Stage]) -> Pruning:
    """
    Prune what comes before some stages, as the standard asks for it.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it stands.
    standard : Standard
        The block's rule.
    stages : sequence of Stage
        The stages that somebody will prune, from the top of the tree down.

    Returns
    -------
    Pruning
        The cuts of the stages in use above the first of them.

    Raises
    ------
    ValueError
        If the first of the stages is not in use.
    """
    order = standard.stages_in_use
    return ideal_pruning(tree, standard, order[: order.index(stages[0])])


def level_of(order: Sequence[Stage], stage: Stage, runs: Mapping[Stage, int]) -> StageSet:
    """
    Choose how many stages somebody prunes at once, when the turn of one stage has come.

    Parameters
    ----------
    order : sequence of Stage
        The stages in use, from the top of the tree down.
    stage : Stage
        The stage whose turn it is.
    runs : Mapping of Stage to int
        How often in a row each stage was right, over all trees so far.

    Returns
    -------
    StageSet
        All stages once each was right `RUN_FOR_ALL` times in a row; the stage with the one after
        it (the last with the one before it) once both were right `RUN_FOR_TWO` times in a row; else
        the stage alone. A fault at any of them leads back.

    Examples
    --------
    >>> order = (Stage.TOP, Stage.LIMBS, Stage.COLUMNS)
    >>> level_of(order, Stage.COLUMNS, {Stage.LIMBS: 3, Stage.COLUMNS: 4}).stages
    (<Stage.LIMBS: 'limbs'>, <Stage.COLUMNS: 'columns'>)
    """
    if len(order) > 1 and all(runs.get(one, 0) >= RUN_FOR_ALL for one in order):
        return StageSet(PracticeLevel.ALL, tuple(order))
    first = max(0, min(order.index(stage), len(order) - 2))
    pair = tuple(order[first : first + 2])
    if len(pair) > 1 and all(runs.get(one, 0) >= RUN_FOR_TWO for one in pair):
        return StageSet(PracticeLevel.TWO, pair)
    return StageSet(PracticeLevel.ONE, (stage,))
