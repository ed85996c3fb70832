"""Wave plans for a real lot: both promises kept exactly, decided with as few trees as can be."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Final

from audits.errors import AuditError, InvalidInput
from audits.messages import say_n
from audits.sampling.curves import acceptance_probability_at_count
from audits.sampling.design import design_single
from audits.sampling.inputs import require_count, too_large
from audits.sampling.plans import Rounding, SinglePlan, WavePlan, trees_at_fraction
from audits.sampling.wave_search import Found, Lots, Search

# Trees that the largest sample of a wave plan may have beyond the single plan.
MORE_TREES: Final = 8

# A walk of more waves than this is no walk; the search would take too long as well.
MOST_WAVES: Final = 5

# Up to so many trees every size of a wave is tried, by the number of waves; of larger samples
# only so many sizes at first, evenly spaced, and then those near the best.
_ALL_SIZES_UP_TO: Final = {1: 400, 2: 128, 3: 40, 4: 24, 5: 16}
_SIZES_TRIED: Final = {1: 200, 2: 32, 3: 20, 4: 12, 5: 9}

# Around how many of the best beginnings, all waves but the last, the search looks again.
_LOOKED_AROUND: Final = 5


def design_waves(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
    *,
    lot_size: int,
    stages: int = 1,
    most_waves: int = 2,
    largest_sample: int | None = None,
) -> WavePlan:
    """
    Find the wave plan that keeps both promises with the fewest trees expected.

    The promises are those of `design_single`, each for one stage and exact under the
    hypergeometric law. Among the plans that keep them, the one is chosen with the fewest trees
    expected, in a lot at the acceptable fraction, until every stage is decided. A walk stops as
    soon as that is certain. Sizes and numbers are searched together, best first, leaving out
    what cannot beat the best plan found; with at most 128 sizes of two waves, or 40 of three,
    all of them are tried, in larger samples first a part and then the neighbours of the best.

    Parameters
    ----------
    acceptable_fraction : float
        Share of nonconforming trees that should pass, in [0, 1) (symbol p1).
    producer_risk : float
        Chance that a lot at the acceptable fraction goes back for this stage, in (0, 1).
    rejectable_fraction : float
        Share of nonconforming trees that should go back, in (0, 1) (symbol p2).
    consumer_risk : float
        Chance that a lot at the rejectable fraction passes, in (0, 1).
    lot_size : int
        Trees in the lot (symbol N).
    stages : int, optional
        How many independent stages of this plan are scored on the same trees.
    most_waves : int, optional
        Waves allowed, from 1 to `MOST_WAVES`; two are a walk out and back.
    largest_sample : int, optional
        Trees of all waves allowed; by default `MORE_TREES` more than the single plan has.

    Returns
    -------
    WavePlan
        The plan; of one wave where more waves spare nothing.

    Raises
    ------
    InvalidInput
        If a value lies outside its range; names it.
    AuditError
        If no plan can keep the promises: the fractions come to the same number of trees, or the
        largest sample allowed is too small.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947: the least expected sample for two promises.
    .. [2] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter
       on multiple sampling. The search is this project's own.

    Examples
    --------
    >>> design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300)
    WavePlan(sizes=(9, 29), acceptance_numbers=(0, 3), rejection_numbers=(3, 4))
    """
    require_count("lot_size", lot_size, 1)
    require_count("stages", stages, 1)
    require_count("most_waves", most_waves, 1)
    if most_waves > MOST_WAVES:
        raise InvalidInput({"most_waves": too_large(most_waves, MOST_WAVES)})
    if largest_sample is not None:
        require_count("largest_sample", largest_sample, 1)
        if largest_sample > lot_size:
            raise InvalidInput({"largest_sample": too_large(largest_sample, lot_size)})
    return _design(
        acceptable_fraction,
        producer_risk,
        rejectable_fraction,
        consumer_risk,
        lot_size,
        stages,
        most_waves,
        largest_sample,
    )


@lru_cache(maxsize=4096)
def _design(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
    lot_size: int,
    stages: int,
    most_waves: int,
    largest_sample: int | None,
) -> WavePlan:
    single = design_single(
        acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk, lot_size=lot_size
    )
    largest = largest_sample or min(lot_size, single.sample_size + MORE_TREES)
    lots = Lots(
        lot_size,
        trees_at_fraction(acceptable_fraction, lot_size, Rounding.DOWN),
        trees_at_fraction(rejectable_fraction, lot_size, Rounding.UP),
        producer_risk,
        consumer_risk,
    )
    found = _search(lots, stages, most_waves, largest)
    if found:
        return found[0].numbers.as_plan()
    raise AuditError(
        say_n(
            "%(count)s tree is too few to promise this: one sample needs %(needed)s. Allow more "
            "trees, set the two fractions further apart, or allow larger risks.",
            "%(count)s trees are too few to promise this: one sample needs %(needed)s. Allow "
            "more trees, set the two fractions further apart, or allow larger risks.",
            largest,
            needed=single.sample_size,
        )
    )


def fit_waves(sizes: Sequence[int], lots: Lots, stages: int = 1) -> WavePlan | None:
    """
    Find the best numbers for waves of given sizes.

    Parameters
    ----------
    sizes : Sequence of int
        Trees looked at by the end of each wave.
    lots : Lots
        What the plan must tell apart.
    stages : int, optional
        As in `design_waves`.

    Returns
    -------
    WavePlan or None
        The plan; None if these sizes cannot keep the promises.
    """
    # Few plans have these sizes: every number can be tried.
    search = Search(lots, stages, min(lots.bad, sizes[-1]))
    search.over([[size] for size in sizes])
    return search.best[0].numbers.as_plan() if search.best else None


def _search(lots: Lots, stages: int, most_waves: int, largest: int) -> list[Found]:
    """Search with one wave, then with two ..., each round bounded by the best before it."""
    best: list[Found] = []
    for waves in range(1, most_waves + 1):
        search = Search(lots, stages, _largest_number(lots, largest), best=best)
        all_of_them = largest <= _ALL_SIZES_UP_TO[waves]
        spacing = 1 if all_of_them else -(-largest // _SIZES_TRIED[waves])
        # Counted from the largest sample, which is nearly always of use.
        tried = list(range(largest, 0, -spacing))[::-1]
        # Every last size, those below the single plan's too: where its risks are not used up, lots
        # turned down early let a last wave do with fewer trees.
        search.over([tried] * (waves - 1) + [range(1, largest + 1)])
        while spacing > 1:
            narrower = spacing // 2
            for sizes in _best_beginnings(search.best, waves):
                near = [_around(size, spacing, narrower, largest) for size in sizes]
                search.over([*near, range(1, largest + 1)])
            spacing = narrower
        best = search.best
    # Among equals the plan with fewer waves, as one that spares nothing is only in the way.
    return sorted(
        best, key=lambda found: (round(found.trees, 9), len(found.numbers.sizes), found.numbers)
    )


def _best_beginnings(best: Iterable[Found], waves: int) -> list[tuple[int, ...]]:
    """Return the sizes of all waves but the last, each once, from the best plan on."""
    beginnings = dict.fromkeys(
        found.numbers.sizes[:-1] for found in best if len(found.numbers.sizes) == waves
    )
    return list(beginnings)[:_LOOKED_AROUND]


def _around(size: int, reach: int, spacing: int, largest: int) -> list[int]:
    return [near for near in range(size - reach, size + reach + 1, spacing) if 1 <= near <= largest]


def _largest_number(lots: Lots, largest: int) -> int:
    """Return the largest acceptance number that is tried."""
    number = 0
    while (
        number < largest
        and acceptance_probability_at_count(SinglePlan(largest, number), lots.bad, lots.lot_size)
        <= lots.consumer_risk
    ):
        number += 1
    # One sample with this number would pass the bad lot too often; one with waves may not, as
    # bad lots that an earlier wave turns down leave room for one more in the last.
    return number
