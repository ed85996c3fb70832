"""What goes back after an audit, and what nobody can mend any more."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from audits.planting import ranges_of
from audits.vocabulary import MENDABLE_FAULTS, Fault, Stage


@dataclass(frozen=True)
class Stretch:
    """
    Part of a row.

    Parameters
    ----------
    row_id : int
        The row.
    first_position, last_position : int
        Both ends included.
    """

    row_id: int
    first_position: int
    last_position: int


@dataclass(frozen=True)
class FailedTree:
    """
    A sampled tree that failed a stage.

    Parameters
    ----------
    row_id, position : int
        Where it stands.
    faults : tuple of Fault
        The named ways in which it fails.
    worker_id : int or None
        The one person who did the stage there, if there is one.
    """

    row_id: int
    position: int
    faults: tuple[Fault, ...]
    worker_id: int | None


@dataclass(frozen=True)
class ReworkLine:
    """
    One line of a rework order.

    Parameters
    ----------
    stage : Stage
        The stage.
    mendable : bool
        True: redo it. False: stop, retrain, watch the next trees.
    faults : tuple of Fault
        The faults seen, only those of this kind.
    stretch : Stretch
        Where.
    worker_id : int or None
        The person named, or None for the crew.
    """

    stage: Stage
    mendable: bool
    faults: tuple[Fault, ...]
    stretch: Stretch
    worker_id: int | None


def rework_lines(
    failed: Mapping[Stage, Sequence[FailedTree]],
    lot_stretches: Sequence[Stretch],
    stretches_of: Callable[[Stage, int], Iterable[Stretch]],
) -> list[ReworkLine]:
    """
    List what a crew is told after a lot was not accepted.

    A line names a person and the stretch that person did only if every failed tree of the stage
    has exactly one person behind it; otherwise the whole row goes back to the crew, because the
    sample cannot tell whose trees the unseen ones are.

    Parameters
    ----------
    failed : Mapping of Stage to sequence of FailedTree
        The nonconforming trees of each stage that was not accepted.
    lot_stretches : Sequence of Stretch
        The lot, row by row.
    stretches_of : callable
        Given a stage and a worker, the stretches assigned to that worker.

    Returns
    -------
    list of ReworkLine
        Stage by stage from the top of the tree down, mendable lines first.
    """
    lines: list[ReworkLine] = []
    for stage in Stage:
        trees = failed.get(stage, ())
        for mendable in (True, False):
            lines += _lines_of_kind(stage, mendable, trees, lot_stretches, stretches_of)
    return lines


def _lines_of_kind(
    stage: Stage,
    mendable: bool,  # noqa: FBT001 - one of the two kinds of line
    trees: Sequence[FailedTree],
    lot_stretches: Sequence[Stretch],
    stretches_of: Callable[[Stage, int], Iterable[Stretch]],
) -> list[ReworkLine]:
    def of_kind(faults: Iterable[Fault]) -> tuple[Fault, ...]:
        return tuple(fault for fault in faults if (fault in MENDABLE_FAULTS) is mendable)

    concerned = [tree for tree in trees if of_kind(tree.faults)]
    if not concerned:
        return []
    named = all(tree.worker_id is not None for tree in trees)
    if not named:
        faults = _in_order(of_kind(fault for tree in concerned for fault in tree.faults))
        return [ReworkLine(stage, mendable, faults, part, None) for part in lot_stretches]
    lines = []
    for worker_id in sorted({tree.worker_id for tree in concerned if tree.worker_id is not None}):
        faults = _in_order(
            of_kind(f for tree in concerned if tree.worker_id == worker_id for f in tree.faults)
        )
        own = list(stretches_of(stage, worker_id))
        lines += [
            ReworkLine(stage, mendable, faults, stretch, worker_id)
            for part in lot_stretches
            for stretch in _inside(part, own)
        ]
    return lines


def _inside(part: Stretch, own: Iterable[Stretch]) -> list[Stretch]:
    """Return what of a stretch of the lot a person did, without repeating any tree."""
    positions = {
        position
        for given in own
        if given.row_id == part.row_id
        for position in range(
            max(given.first_position, part.first_position),
            min(given.last_position, part.last_position) + 1,
        )
    }
    return [Stretch(part.row_id, *ends) for ends in ranges_of(list(positions))]


def _in_order(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    seen = set(faults)
    return tuple(fault for fault in Fault if fault in seen)
