"""
What a plan does where bad trees stand in runs along the row, found by simulation.

The chances of a plan are exact for nonconforming trees strewn at random. People who prune badly do
so for a stretch, and no formula covers every way in which stretches can lie. So rows are made up by
chance, drawn from as real ones are, and decided as real ones are.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from random import Random
from typing import Final

from audits.errors import InvalidInput
from audits.messages import say
from audits.sampling.draw import picks_by_wave, picks_in_random_order, toss_sides
from audits.sampling.inputs import TypedNumber, is_count, require_count
from audits.sampling.plans import Plan, Wave
from audits.sampling.walks import steps_of
from audits.vocabulary import Side

# Enough to tell 5 in 100 from 10, and done in about a tenth of a second.
SIMULATED_ROWS: Final = 1_000


@dataclass(frozen=True)
class ClusteredRows:
    """
    What became of simulated rows whose bad trees stand in runs.

    Parameters
    ----------
    rows : int
        Rows simulated, at least 1.
    accepted : int
        Those that were accepted.
    mean_trees : float
        Trees looked at until the stage was decided, the mean of all rows.
    standard_error : float
        Standard error of that mean, in trees; infinite for a single row.
    """

    rows: int
    accepted: int
    mean_trees: float
    standard_error: float

    @property
    def chance(self) -> float:
        """Share of the rows that were accepted."""
        return self.accepted / self.rows


@lru_cache(maxsize=256)
def simulate_clusters(
    plan: Plan,
    nonconforming: int,
    lot_size: int,
    run_length: int,
    *,
    rows: int = SIMULATED_ROWS,
    seed: int = 1,
) -> ClusteredRows:
    """
    Try a plan on rows whose bad trees stand in runs, one stage alone.

    Each row gets its own runs and its own draw. The runs are as long as asked for, only one of
    them may be shorter; they are strewn among the other trees, every order of runs and other trees
    as likely as any other, so that two runs may touch. Runs of one tree are trees strewn at random.

    The trees are drawn in the plan's waves by `audits.sampling.draw.picks_by_wave` from a ring of
    the whole lot, walked as in `audits.sampling.route.order_of_walk`, and looked at until the
    outcome is certain. A lot of several rows is simulated as one long row.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    nonconforming : int
        Nonconforming trees in the lot, from 0 to `lot_size`.
    lot_size : int
        Trees in the lot, at least the sample.
    run_length : int
        Nonconforming trees side by side, at least 1.
    rows : int, optional
        Rows to simulate, at least 1.
    seed : int, optional
        Seed of the random numbers, 0 or more; the same seed gives the same rows on every machine.

    Returns
    -------
    ClusteredRows
        How many were accepted, and the trees looked at.

    Raises
    ------
    InvalidInput
        If a count is too small, or the lot is smaller than the sample or than the bad trees.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd edition, chapters 5 and 8: where neighbours are
       alike, a sample spread over the whole varies less than a simple random one.

    Examples
    --------
    >>> from audits.sampling.plans import WavePlan
    >>> plan = WavePlan((20, 33), (2, 4), (5, 5))
    >>> strewn, runs = (simulate_clusters(plan, 78, 310, length) for length in (1, 30))
    >>> strewn.chance > 0.05 > 0.02 > runs.chance
    True
    """
    _require_row(plan, nonconforming, lot_size, run_length)
    require_count("rows", rows, 1)
    require_count("seed", seed, 0)
    generator = Random(seed)  # noqa: S311 - a simulation must be repeatable, not secret
    steps = steps_of(plan, curtailed=True)
    increments = [size - before for before, size in pairwise((0, *(w.size for w in plan.waves)))]
    accepted = 0
    walked = []
    for _ in range(rows):
        bad = clustered_trees(nonconforming, lot_size, run_length, generator)
        walk = _walk(lot_size, increments, generator)
        step, is_accepted = _decided_at(steps, [tree in bad for tree in walk])
        accepted += is_accepted
        walked.append(step.size)
    mean = math.fsum(walked) / rows
    squares = math.fsum((trees - mean) ** 2 for trees in walked)
    error = math.sqrt(squares / (rows - 1) / rows) if rows > 1 else math.inf
    return ClusteredRows(rows, accepted, mean, error)


def clustered_trees(
    nonconforming: int, lot_size: int, run_length: int, generator: Random
) -> frozenset[int]:
    """
    Choose which trees of a row are bad, in runs.

    Parameters
    ----------
    nonconforming : int
        Bad trees, from 0 to `lot_size`.
    lot_size : int
        Trees in the row.
    run_length : int
        Bad trees side by side, at least 1; one run has what is left over.
    generator : random.Random
        Source of random numbers.

    Returns
    -------
    frozenset of int
        Numbers of the bad trees, from 0.

    Examples
    --------
    >>> sorted(clustered_trees(5, 20, 3, Random(1)))
    [2, 3, 4, 16, 17]
    """
    full, rest = divmod(nonconforming, run_length)
    lengths = [run_length] * full + [rest] * (rest > 0)
    # A row of runs and other trees, each run standing for one; the runs come in random order.
    items = lot_size - nonconforming + len(lengths)
    slots = picks_in_random_order(range(items), len(lengths), generator)
    in_order = sorted(zip(slots, lengths, strict=True))
    # Every run before this one has moved it on by its length less the one slot.
    moved = accumulate((length - 1 for _, length in in_order), initial=0)
    return frozenset(
        tree
        for (slot, length), ahead in zip(in_order, moved, strict=False)
        for tree in range(slot + ahead, slot + ahead + length)
    )


def _walk(lot_size: int, increments: list[int], generator: Random) -> list[int]:
    """Draw the trees of one row and put them into the order in which they are walked."""
    waves = picks_by_wave([range(lot_size)], increments, generator)
    if len(waves) > 1:
        return [
            tree
            for number, picks in enumerate(waves)
            for tree in (picks if number % 2 == 0 else reversed(picks))
        ]
    (picks,) = waves
    sides = toss_sides(len(picks), generator)
    left = [tree for tree, side in zip(picks, sides, strict=True) if side is Side.LEFT]
    right = [tree for tree, side in zip(picks, sides, strict=True) if side is Side.RIGHT]
    return left + right[::-1]


def _decided_at(steps: tuple[Wave, ...], fails: list[bool]) -> tuple[Wave, bool]:
    """Return the step at which the outcome is certain, and whether the lot is accepted."""
    found = [0, *accumulate(fails)]
    return next(
        (step, found[step.size] <= step.most_accepted)
        for step in steps
        if not step.most_accepted < found[step.size] < step.rejection_number
    )


def _require_row(plan: Plan, nonconforming: int, lot_size: int, run_length: int) -> None:
    require_count("lot_size", lot_size, plan.sample_size)
    require_count("run_length", run_length, 1)
    if not is_count(nonconforming, 0) or nonconforming > lot_size:
        raise InvalidInput(
            {
                "nonconforming": say(
                    "A lot of %(lot)s trees cannot hold %(value)s nonconforming ones.",
                    lot=lot_size,
                    value=TypedNumber(nonconforming),
                )
            }
        )
