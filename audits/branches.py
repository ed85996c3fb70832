"""
What an audit says of branches, where they were counted or measured one by one.

Branches of one tree are alike, because one person pruned them in one go. So every figure here goes
through `audits.estimates.share_in_clusters`, and what may be said of it depends on how many trees
the branches come from, with the same floors as for rates of trees.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    Cluster,
    ClusterEstimate,
    Interval,
    share_in_clusters,
)
from audits.messages import Message, mark, say, say_n
from audits.scoring import (
    Answer,
    ColumnsMeasure,
    HeadingMeasure,
    TreeAnswers,
    diameter_fault,
)
from audits.standard import Standard
from audits.vocabulary import HeadingRule, Stage

# What makes a branch right, in the stages that look at branches one by one.
RIGHT_BRANCH_NAMES: Final[Mapping[Stage, str]] = {
    Stage.COLUMNS: mark("Branches that are single columns"),
    Stage.HEADING: mark("Branch ends headed right"),
}

_IN_TEN: Final = 10


@dataclass(frozen=True)
class BranchReading:
    """
    What may be said of the branches of one stage, and no more.

    Parameters
    ----------
    stage : Stage
        The stage that looked at them: columns or heading.
    trees : int
        Trees with a branch that was looked at.
    branches : int
        Branches looked at on them.
    right : int
        How many of those are right.
    estimate : ClusterEstimate or None
        The share of right branches with what chance leaves open; None if only counts may be shown.
    sentence : Message
        The reading in words.
    """

    stage: Stage
    trees: int
    branches: int
    right: int
    estimate: ClusterEstimate | None
    sentence: Message

    @property
    def interval(self) -> Interval | None:
        """The 95 % interval of the share of right branches; None if only counts may be shown."""
        return None if self.estimate is None else self.estimate.exact_interval


def branch_readings(standard: Standard, trees: Iterable[TreeAnswers]) -> Sequence[BranchReading]:
    """
    Say what the measured answers of some trees tell of their branches.

    Parameters
    ----------
    standard : Standard
        The version in force when the pass began.
    trees : Iterable of TreeAnswers
        The answers, one a tree.

    Returns
    -------
    Sequence of BranchReading
        One for each stage in use that looks at branches and has some that were counted or
        measured; stages answered by looking alone have none.
    """
    # On a tree or side that the crew walked past, no branch was looked at.
    answered = [answers for answers in trees if answers.missed is None]
    readings = []
    for stage in standard.stages_in_use:
        found = [
            branches
            for answers in answered
            if (branches := _branches_of(standard, answers.stages.get(stage))).units
        ]
        if found:
            readings.append(describe_branches(stage, found))
    return readings


def describe_branches(stage: Stage, trees: Sequence[Cluster]) -> BranchReading:
    """
    Say of the branches of one stage what their number of trees allows.

    Below 10 trees only the counts are given, below 30 only a range. The range is the cluster-aware
    one of 95 %, without finite correction: the branches looked at are a few of their tree's.

    Parameters
    ----------
    stage : Stage
        The stage that looked at them: columns or heading.
    trees : Sequence of Cluster
        For each tree the branches looked at, and how many of them are right.

    Returns
    -------
    BranchReading
        The figures that may be shown, and the sentence.

    Examples
    --------
    >>> trees = [Cluster(5, 4)] * 12 + [Cluster(4, 4)] * 8 + [Cluster(5, 1)] * 4
    >>> print(describe_branches(Stage.COLUMNS, trees).sentence)
    6 to 9 in 10 (112 branches on 24 trees).
    """
    branches = sum(tree.units for tree in trees)
    right = sum(tree.found for tree in trees)
    if len(trees) < LEAST_TREES_FOR_A_RANGE:
        sentence = _counts(right, branches, len(trees))
        return BranchReading(stage, len(trees), branches, right, None, sentence)
    estimate = share_in_clusters(trees)
    sentence = _words(estimate)
    return BranchReading(stage, len(trees), branches, right, estimate, sentence)


def _branches_of(standard: Standard, answer: Answer | None) -> Cluster:
    match answer:
        case ColumnsMeasure():
            return Cluster(answer.looked_at, answer.single)
        case HeadingMeasure() if standard.heading.rule is HeadingRule.REQUIRED:
            diameters = answer.diameters_mm
            right = sum(diameter_fault(standard, diameter) is None for diameter in diameters)
            return Cluster(len(diameters) + answer.left_long, right)
        case _:
            return Cluster(0, 0)


def _counts(right: int, branches: int, trees: int) -> Message:
    return say(
        "%(right)s of %(branches)s on %(trees)s. Too few for a rate.",
        right=right,
        branches=_branch_count(branches),
        trees=_tree_count(trees),
    )


def _words(estimate: ClusterEstimate) -> Message:
    interval = estimate.exact_interval
    # Rounded outwards, so that no possible share is cut off.
    lower, upper = math.floor(interval.lower * _IN_TEN), math.ceil(interval.upper * _IN_TEN)
    values = {
        "lower": lower,
        "upper": upper,
        "branches": _branch_count(estimate.units),
        "trees": _tree_count(estimate.filled_clusters),
    }
    if estimate.filled_clusters < LEAST_TREES_TO_COMPARE:
        return say("%(lower)s to %(upper)s in 10 (%(branches)s on %(trees)s).", **values)
    right = round(estimate.value * _IN_TEN)
    # Rounding must not turn some wrong branches into none, nor some right ones into none.
    if right == _IN_TEN and estimate.count < estimate.units:
        return say(
            "More than 9 in 10, could be %(lower)s to %(upper)s (%(branches)s on %(trees)s).",
            **values,
        )
    if right == 0 and estimate.count:
        return say(
            "Fewer than 1 in 10, could be %(lower)s to %(upper)s (%(branches)s on %(trees)s).",
            **values,
        )
    return say(
        "About %(right)s in 10, could be %(lower)s to %(upper)s (%(branches)s on %(trees)s).",
        right=right,
        **values,
    )


def _branch_count(branches: int) -> Message:
    return say_n("%(count)s branch", "%(count)s branches", branches)


def _tree_count(trees: int) -> Message:
    return say_n("%(count)s tree", "%(count)s trees", trees)
