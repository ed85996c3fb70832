"""
Which results are compared: those of first audits by auditors whose scores may be used.

An auditor who disagrees with others too often is left out until recalibrated, and every page that
compares says how many trees that leaves out.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.records import Farm, StandardVersion
from audits.services.agreement import who_counts
from audits.services.standards import standard_of
from audits.storage.queries import comparing as queries
from audits.storage.queries.comparing import ComparedLine, MeasuredTree
from audits.storage.queries.trends import standard_versions
from audits.vocabulary import Stage


@dataclass(frozen=True)
class CountedLines:
    """
    The roll-up lines of one stage of a season that may be compared.

    Parameters
    ----------
    own : tuple of ComparedLine
        Lines of trees that one person alone did, in scoring order.
    shared : tuple of ComparedLine
        Lines that are the crew's; they tell how the season went and compare nobody.
    left_out_auditors : frozenset of int
        Auditors whose scores of this stage are not used for now.
    left_out_trees : int
        Due trees of people that are left out with them.
    one_is_enough : bool
        Whether the farm's one supervisor is calibrated, which counts as a second pair of eyes.
    """

    own: tuple[ComparedLine, ...]
    shared: tuple[ComparedLine, ...]
    left_out_auditors: frozenset[int]
    left_out_trees: int
    one_is_enough: bool


@dataclass(frozen=True)
class Deviation:
    """
    How far one measured tree lies from its target.

    Parameters
    ----------
    tree : MeasuredTree
        The tree.
    mm : float
        Measured height less the target, in mm; above 0 for a tree left too high.
    day : str
        The farm's day of the audit, as ISO text.
    """

    tree: MeasuredTree
    mm: float
    day: str


def counted_lines(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, now: datetime
) -> CountedLines:
    """
    Return what may be compared in one stage of a season.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    season : int
        Calendar year in which the season began.
    stage : Stage
        The stage.
    now : datetime
        The present.

    Returns
    -------
    CountedLines
        The lines of people and of crews, and what is left out.
    """
    who = who_counts(connection, farm_id, now)
    left_out = who.left_out_of(stage)
    lines = queries.compared_lines(connection, farm_id, season, stage)
    kept = [line for line in lines if line.auditor_id not in left_out]
    return CountedLines(
        own=tuple(line for line in kept if line.worker_id is not None),
        shared=tuple(line for line in kept if line.worker_id is None),
        left_out_auditors=left_out & {line.auditor_id for line in lines},
        left_out_trees=sum(
            line.due for line in lines if line.auditor_id in left_out and line.worker_id is not None
        ),
        one_is_enough=stage in who.one_is_enough,
    )


def counted_heights(
    connection: sa.Connection, farm: Farm, season: int, now: datetime
) -> tuple[Deviation, ...]:
    """
    Return how far each measured tree of a season lies from its target.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm : Farm
        The farm.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.

    Returns
    -------
    tuple of Deviation
        The trees that one person alone topped, in scoring order.
    """
    left_out = who_counts(connection, farm.id, now).left_out_of(Stage.TOP)
    trees = [
        tree
        for tree in queries.measured_trees(connection, farm.id, season, Stage.TOP)
        if tree.auditor_id not in left_out and len(tree.measured_mm) == 1
    ]
    versions = versions_of(connection, farm.id, {tree.standard_version_id for tree in trees})
    targets = {version.id: standard_of(version).top.target_mm for version in versions}
    zone = ZoneInfo(farm.time_zone)
    return tuple(
        Deviation(
            tree,
            tree.measured_mm[0] - targets[tree.standard_version_id],
            tree.scored_at.astimezone(zone).date().isoformat(),
        )
        for tree in trees
    )


def accepted_fraction(
    connection: sa.Connection, farm_id: int, stage: Stage, lines: Sequence[ComparedLine]
) -> float:
    """
    Return the fraction of nonconforming trees that the standard accepts in a stage.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    stage : Stage
        The stage.
    lines : Sequence of ComparedLine
        Lines whose standards are meant, at least one.

    Returns
    -------
    float
        In [0, 1]; the largest where the trees come from several versions, which is the easiest
        on everybody.
    """
    versions = versions_of(connection, farm_id, {line.standard_version_id for line in lines})
    return max(standard_of(version).rule(stage).promise.acceptable_fraction for version in versions)


def versions_of(
    connection: sa.Connection, farm_id: int, version_ids: Collection[int]
) -> list[StandardVersion]:
    """
    Return some versions of standards.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    version_ids : Collection of int
        Which.

    Returns
    -------
    list of StandardVersion
        Those that the farm has.
    """
    return standard_versions(connection, farm_id, version_ids) if version_ids else []
