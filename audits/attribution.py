"""Who answers for a result: one person, or the crew together."""

from collections.abc import Iterable
from dataclasses import dataclass

from audits.vocabulary import Side, Stage


@dataclass(frozen=True)
class Assignment:
    """
    Who did a stage on a stretch of a row.

    Parameters
    ----------
    worker_id : int
        The person.
    row_id : int
        The row.
    stage : Stage
        The stage.
    first_position, last_position : int
        The stretch, both ends included.
    side : Side
        The side worked on.
    """

    worker_id: int
    row_id: int
    stage: Stage
    first_position: int
    last_position: int
    side: Side = Side.BOTH


def answerable_worker(
    assignments: Iterable[Assignment], stage: Stage, row_id: int, position: int, side: Side
) -> int | None:
    """
    Return the one person who did a stage on a tree.

    Parameters
    ----------
    assignments : Iterable of Assignment
        All assignments of the pass.
    stage : Stage
        The stage.
    row_id : int
        The tree's row.
    position : int
        The tree's place in the row, from 1.
    side : Side
        The side on which the stage is judged; `Side.BOTH` for the whole tree.

    Returns
    -------
    int or None
        The worker, or None when nobody was named, when several share the tree, or when the one
        named did not do all of what is judged: then the result is the crew's.
    """
    here = [
        assignment
        for assignment in assignments
        if assignment.stage is stage
        and assignment.row_id == row_id
        and assignment.first_position <= position <= assignment.last_position
        and (assignment.side is side or Side.BOTH in (assignment.side, side))
    ]
    return _only_worker(here, side)


def _only_worker(here: list[Assignment], side: Side) -> int | None:
    workers = {assignment.worker_id for assignment in here}
    if len(workers) != 1:
        return None
    covered = {assignment.side for assignment in here}
    whole = Side.BOTH in covered or {Side.LEFT, Side.RIGHT} <= covered
    return workers.pop() if whole or side in covered else None
