"""Trees scored by two or more auditors, unseen by each other: which, and whose scores count."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Final, NamedTuple

from audits.agreement.reading import AgreementLevel, AgreementReading, read_agreement
from audits.vocabulary import Result, Stage

# Trees of a calibration walk. From 30 on one walk is enough to judge by.
USUAL_TREES: Final = 20
FEWEST_TREES: Final = 10
MOST_TREES: Final = 60

# The share of first audits that somebody else makes a second time.
SECOND_AUDITS: Final = 0.05
_WORD: Final = "second audit"
_DIGEST_BYTES: Final = 8

_ANSWERED: Final = frozenset({Result.CONFORMING, Result.NONCONFORMING, Result.NOT_DUE})

# Levels by which agreement is judged; the others say that it cannot be.
_TELLING: Final = frozenset(
    {AgreementLevel.GOOD, AgreementLevel.RECALIBRATE, AgreementLevel.NOT_USED}
)

FaultTable = list[list[int]]


def is_chosen_for_second_audit(seed: str) -> bool:
    """
    Tell whether a first audit is made a second time by somebody else.

    A fixed word and the seed by which the trees were drawn are hashed to a number that is as good
    as uniform in [0, 1), so that nobody can choose and anybody can recompute what was chosen.

    Parameters
    ----------
    seed : str
        The seed of the draw, as it is kept.

    Returns
    -------
    bool
        True for about 5 % of all seeds.

    Examples
    --------
    >>> [seed for seed in range(30) if is_chosen_for_second_audit(str(seed))]
    [15, 19, 27]
    """
    digest = sha256(f"{_WORD} {seed}".encode()).digest()[:_DIGEST_BYTES]
    return int.from_bytes(digest, "big") < SECOND_AUDITS * 256**_DIGEST_BYTES


class Rating(NamedTuple):
    """
    What one auditor said of one stage of one tree, as it was sealed first.

    Parameters
    ----------
    tree_id : int
        The tree of the draw.
    stage : Stage
        The stage.
    result : Result
        What it came to.
    """

    tree_id: int
    stage: Stage
    result: Result


@dataclass(frozen=True)
class SealedRound:
    """
    The trees of one draw as several auditors scored them, each unseen by the others.

    Parameters
    ----------
    ratings : Mapping of int to sequence of Rating
        What each auditor said, by user id.
    is_walk : bool
        Whether it is a calibration walk.
    reference_id : int or None, optional
        The auditor against whom the others are held.
    waits_for_reference : bool, optional
        Whether the reference auditor may still walk it.
    """

    ratings: Mapping[int, Sequence[Rating]]
    is_walk: bool
    reference_id: int | None = None
    waits_for_reference: bool = False

    def others_than(self, auditor_id: int) -> list[int]:
        """
        Return those against whom an auditor is held here.

        Parameters
        ----------
        auditor_id : int
            The auditor.

        Returns
        -------
        list of int
            The reference auditor where there is one, else all others; nobody for the reference
            auditor, and nobody while that one may still walk.
        """
        if auditor_id == self.reference_id:
            return []
        if self.reference_id in self.ratings:
            return [self.reference_id] if self.reference_id is not None else []
        if self.waits_for_reference:
            return []
        return [other for other in self.ratings if other != auditor_id]


@dataclass(frozen=True)
class Standing:
    """
    How one auditor's scores of one stage agree with others, and whether they count.

    Parameters
    ----------
    counts : bool
        Whether they feed comparisons of workers.
    reading : AgreementReading
        What may be said of the trees since the latest calibration walk.
    against_reference : bool
        Whether these trees begin with a walk that has a reference auditor.
    """

    counts: bool
    reading: AgreementReading
    against_reference: bool


def fault_table(
    first: Iterable[Rating], second: Iterable[Rating], stage: Stage | None = None
) -> FaultTable:
    """
    Count on which trees two auditors saw a fault; nothing due is no fault.

    Parameters
    ----------
    first, second : Iterable of Rating
        What both said. Trees that one of them did not score are left out.
    stage : Stage or None, optional
        Only this stage.

    Returns
    -------
    list of list of int
        Trees with a fault by both and by the first only; by the second only and by neither.

    Examples
    --------
    >>> top, right, bad = Stage.TOP, Result.CONFORMING, Result.NONCONFORMING
    >>> fault_table(
    ...     [Rating(1, top, bad), Rating(2, top, bad), Rating(3, top, Result.NOT_SCORED)],
    ...     [Rating(1, top, bad), Rating(2, top, right), Rating(3, top, right)],
    ... )
    [[1, 1], [0, 0]]
    """
    seen = {
        (rating.tree_id, rating.stage): rating.result
        for rating in second
        if rating.result in _ANSWERED
    }
    table = [[0, 0], [0, 0]]
    for rating in first:
        other = seen.get((rating.tree_id, rating.stage))
        if other is None or rating.result not in _ANSWERED or stage not in {None, rating.stage}:
            continue
        row = rating.result is not Result.NONCONFORMING
        table[row][other is not Result.NONCONFORMING] += 1
    return table


def added_up(tables: Iterable[Sequence[Sequence[int]]]) -> FaultTable:
    """
    Add tables of two answers up.

    Parameters
    ----------
    tables : Iterable of sequence of sequence of int
        As `fault_table` returns them.

    Returns
    -------
    list of list of int
        The sums; zeros without a table.

    Examples
    --------
    >>> added_up([[[1, 2], [3, 4]], [[1, 0], [0, 1]]])
    [[2, 2], [3, 5]]
    """
    total = [[0, 0], [0, 0]]
    for table in tables:
        for row, counts in enumerate(table):
            for column, count in enumerate(counts):
                total[row][column] += count
    return total


def standing_of(auditor_id: int, stage: Stage, rounds: Sequence[SealedRound]) -> Standing:
    """
    Tell how an auditor stands on a stage by all trees that others scored too.

    What counts begins anew with each calibration walk. Whoever was found to agree poorly comes
    back only by a later walk: until that one, with what follows it, has enough trees and faults to
    judge, the poor reading stays, and walks that are too short for that are added up.

    Parameters
    ----------
    auditor_id : int
        The auditor.
    stage : Stage
        The stage.
    rounds : sequence of SealedRound
        Those that the auditor took part in, in the order in which the auditor sealed them.

    Returns
    -------
    Standing
        Whether the scores count, with the reading of the trees since the latest walk.
    """
    tables: list[FaultTable] = []
    poor: AgreementReading | None = None
    against_reference = False
    for sealed in rounds:
        if sealed.is_walk:
            reading = read_agreement(added_up(tables))
            if reading.level in _TELLING:
                poor, tables = (None if reading.counts else reading), []
            elif poor is None:
                tables = []
            against_reference = sealed.reference_id not in {None, auditor_id}
        own = sealed.ratings.get(auditor_id, ())
        tables += [
            fault_table(own, sealed.ratings[other], stage)
            for other in sealed.others_than(auditor_id)
        ]
    reading = read_agreement(added_up(tables))
    if poor is not None and reading.level not in _TELLING:
        return Standing(counts=False, reading=poor, against_reference=against_reference)
    return Standing(reading.counts, reading, against_reference)


def auditors_for_floor(
    auditors: Collection[int], left_out: Collection[int], *, one_is_enough: bool
) -> int:
    """
    Return how many auditors a rate may claim, for the floor below which it is not compared.

    Parameters
    ----------
    auditors : Collection of int
        User ids of those who scored its trees.
    left_out : Collection of int
        Those of the farm whose scores of the stage do not count.
    one_is_enough : bool
        Whether the farm's one supervisor is calibrated against a reference auditor, which counts
        as a second pair of eyes.

    Returns
    -------
    int
        Auditors whose scores count; 2 for a single one who is calibrated.

    Examples
    --------
    >>> auditors_for_floor({1}, (), one_is_enough=True)
    2
    >>> auditors_for_floor({1, 2, 3}, {2}, one_is_enough=False)
    2
    """
    counted = len(set(auditors) - set(left_out))
    return max(counted, 2) if counted and one_is_enough else counted
