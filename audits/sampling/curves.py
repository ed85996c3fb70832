"""What a plan promises: chance of acceptance, trees to look at, and quality that gets through."""

import math
import sys
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from itertools import accumulate, zip_longest
from operator import add
from typing import TYPE_CHECKING, Final, NamedTuple, cast, overload

from audits.errors import InvalidInput
from audits.messages import say
from audits.sampling.inputs import (
    TypedNumber,
    is_count,
    not_a_risk,
    require_count,
    require_fraction,
)
from audits.sampling.laws import Binomial, Hypergeometric, Model, Poisson
from audits.sampling.plans import Plan, SinglePlan, Wave, trees_at_fraction
from audits.sampling.walks import Endings, chances_in_lot, count_endings, steps_of

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

# Below this a fraction is taken as none; its logarithm must not be that of 0.
_TINY: Final = 1e-300

# Ends are summed so many at a time: their chances then stay in memory that is at hand.
_BLOCK: Final = 96

# A search along a curve looks at this many steps at a time, until they lie this close together.
_GRID: Final = 16
_FINE_GRID: Final = 400
_NARROW: Final = 1e-9


class _Stop(NamedTuple):
    """When a walk ends."""

    curtailed: bool
    accepting_early: bool


@overload
def acceptance_probability(
    plan: Plan,
    fraction_nonconforming: float,
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    without_gap: bool = False,
) -> float: ...


@overload
def acceptance_probability(
    plan: Plan,
    fraction_nonconforming: Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    without_gap: bool = False,
) -> list[float]: ...


def acceptance_probability(
    plan: Plan,
    fraction_nonconforming: float | Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    without_gap: bool = False,
) -> float | list[float]:
    """
    Return the chance that a plan accepts a lot: its operating characteristic.

    Under the hypergeometric law a fraction stands for the nearest whole number of trees, half a
    tree counting as one (`trees_at_fraction`). Where the count itself is known, such as at the
    two promised points, use `acceptance_probability_at_count`.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    fraction_nonconforming : float or iterable of float
        Share of nonconforming trees, in [0, 1] (symbol p); under the Poisson law the faults per
        tree, 0 or more.
    lot_size : int, optional
        Trees in the lot. Only the hypergeometric law needs it; the others ignore it.
    model : Model or str, optional
        The law of the count; by default hypergeometric for a lot of known size, else binomial.
    without_gap : bool, optional
        Whether a count between acceptance and rejection number, possible only under plans for
        reduced inspection, is left out. The result then is the chance that the lot is accepted
        *and* reduced inspection goes on.

    Returns
    -------
    float or list of float
        Probability of acceptance in [0, 1], one for each fraction. It never rises with the
        fraction.

    Raises
    ------
    InvalidInput
        If a fraction lies outside its range, the model is unknown or lacks the lot, or the
        sample is larger than the lot.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.2.
    .. [2] MIL-STD-105E, 1989, 4.9.2 (plans for reduced inspection and their gap).

    Examples
    --------
    >>> round(acceptance_probability(SinglePlan(52, 3), 0.03), 3)
    0.93
    >>> [round(chance, 3) for chance in acceptance_probability(
    ...     SinglePlan(25, 3), [0.05, 0.25], lot_size=300)]
    [0.973, 0.087]
    """
    return _for_each(
        fraction_nonconforming,
        lambda fractions: _acceptance(plan, fractions, lot_size, model, without_gap=without_gap),
    )


def acceptance_probability_at_count(
    plan: Plan, nonconforming: int, lot_size: int, *, without_gap: bool = False
) -> float:
    """
    Return the chance that a plan accepts a lot with a known number of nonconforming trees.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    nonconforming : int
        Nonconforming trees in the lot, from 0 to `lot_size` (symbol D).
    lot_size : int
        Trees in the lot, at least the sample (symbol N).
    without_gap : bool, optional
        As in `acceptance_probability`.

    Returns
    -------
    float
        Probability of acceptance in [0, 1], under the hypergeometric law.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample or than the count.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.2.

    Examples
    --------
    >>> round(acceptance_probability_at_count(SinglePlan(25, 3), 75, 300), 4)
    0.0866
    """
    if isinstance(plan, SinglePlan):
        law = _lot_law(plan, nonconforming, lot_size)
        return law.at_most(_most_accepted(plan, without_gap=without_gap))
    _require_lot(plan, nonconforming, lot_size)
    endings = _accepting_endings(plan, without_gap=without_gap)
    return math.fsum(chance for _, chance in chances_in_lot(endings, nonconforming, lot_size))


@overload
def average_sample_number(
    plan: Plan,
    fraction_nonconforming: float,
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> float: ...


@overload
def average_sample_number(
    plan: Plan,
    fraction_nonconforming: Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> list[float]: ...


def average_sample_number(
    plan: Plan,
    fraction_nonconforming: float | Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> float | list[float]:
    """
    Return the trees looked at on average until a lot is decided (ASN).

    Of plans in several waves the ends are counted (`audits.sampling.walks`). Of a single plan
    with Re the rejection number and A = n - Re + 1 the conforming trees that settle acceptance,
    exactly one of the two is reached by the n-th tree. The mean of the tree at which it happens
    is Re/p P(X >= Re + 1) + A/(1 - p) P(Y >= A + 1) with X and Y the nonconforming and the
    conforming trees among n + 1. Without replacement p becomes (D + 1)/(N + 1), and X and Y
    count in a lot of N + 1 trees with one more of their own kind.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    fraction_nonconforming : float or iterable of float
        Share of nonconforming trees, as in `acceptance_probability`.
    lot_size : int, optional
        Trees in the lot. Only the hypergeometric law needs it; the others ignore it.
    model : Model or str, optional
        The law of the count; by default hypergeometric for a lot of known size, else binomial.
        Under the Poisson law a tree can count more than once, so that only a lot that is not
        accepted can end early.
    curtailed : bool, optional
        Whether the walk ends as soon as the outcome is certain.
    accepting_early : bool, optional
        Whether acceptance, too, may end the walk (full curtailment); if not, only the rejection
        number does (semi-curtailment).

    Returns
    -------
    float or list of float
        Trees, one mean for each fraction, at most the sample size.

    Raises
    ------
    InvalidInput
        If a fraction lies outside its range, the model is unknown or lacks the lot, or the
        sample is larger than the lot.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter
       on single sampling by attributes: curtailed inspection.

    Examples
    --------
    >>> round(average_sample_number(SinglePlan(13, 1), 0.1), 3)
    10.962
    """
    stop = _Stop(curtailed=curtailed, accepting_early=accepting_early)
    return _for_each(
        fraction_nonconforming,
        lambda fractions: _mean_sizes(plan, fractions, lot_size, model, stop),
    )


def average_sample_number_at_count(
    plan: Plan,
    nonconforming: int,
    lot_size: int,
    *,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> float:
    """
    Return the trees looked at on average in a lot with a known number of nonconforming trees.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    nonconforming : int
        Nonconforming trees in the lot, from 0 to `lot_size` (symbol D).
    lot_size : int
        Trees in the lot, at least the sample (symbol N).
    curtailed, accepting_early : bool, optional
        As in `average_sample_number`.

    Returns
    -------
    float
        Trees, at most the sample size.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample or than the count.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter
       on single sampling by attributes: curtailed inspection.
    """
    if isinstance(plan, SinglePlan):
        law = _lot_law(plan, nonconforming, lot_size)
        return _mean_trees(plan, law, curtailed=curtailed, accepting_early=accepting_early)
    _require_lot(plan, nonconforming, lot_size)
    return math.fsum(
        trees * chance
        for endings in count_endings(plan, curtailed=curtailed, accepting_early=accepting_early)
        for trees, chance in chances_in_lot(endings, nonconforming, lot_size)
    )


def chosen_model(model: Model | str | None, lot_size: int | None) -> Model:
    """
    Return the law that applies.

    Parameters
    ----------
    model : Model or str or None
        The law asked for, if any.
    lot_size : int or None
        Trees in the lot, if known.

    Returns
    -------
    Model
        The law asked for; else hypergeometric for a lot of known size and binomial without.

    Raises
    ------
    InvalidInput
        If there is no such law, or it needs the size of the lot.
    """
    if model is None:
        return Model.BINOMIAL if lot_size is None else Model.HYPERGEOMETRIC
    try:
        law = Model(model)
    except ValueError:
        raise InvalidInput(
            {
                "model": say(
                    "%(value)s is no law of a count; choose one of %(known)s.",
                    value=str(model),
                    known=", ".join(Model),
                )
            }
        ) from None
    if law is Model.HYPERGEOMETRIC and lot_size is None:
        raise InvalidInput({"lot_size": say("The hypergeometric law needs the size of the lot.")})
    return law


def average_outgoing_quality(
    plan: Plan,
    fraction_nonconforming: float | Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
) -> float | list[float]:
    """
    Return the fraction left nonconforming where lots that go back are put right tree by tree.

    Accepted lots keep the faults of the trees that nobody looked at; in a lot that is not
    accepted every tree is looked at, and every fault found is put right. Only mendable faults
    can be.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan, each sample looked at to its end.
    fraction_nonconforming : float or iterable of float
        Share of nonconforming trees before the audit, as in `acceptance_probability`.
    lot_size : int, optional
        Trees in the lot; left out, the sample is taken as a negligible part of it.
    model : Model or str, optional
        As in `acceptance_probability`.

    Returns
    -------
    float or list of float
        Share of nonconforming trees after it, one for each fraction (AOQ).

    Raises
    ------
    InvalidInput
        As in `acceptance_probability`.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.4.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.3.2.

    Examples
    --------
    >>> round(average_outgoing_quality(SinglePlan(52, 3), 0.06, lot_size=10_000,
    ...     model="binomial"), 4)
    0.037
    """
    return _for_each(
        fraction_nonconforming,
        lambda fractions: _quality_left(plan, fractions, lot_size, model),
    )


def average_outgoing_quality_limit(
    plan: Plan, *, lot_size: int | None = None, model: Model | str | None = None
) -> tuple[float, float]:
    """
    Return the worst average outgoing quality, and where it happens.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    lot_size : int, optional
        As in `average_outgoing_quality`.
    model : Model or str, optional
        As in `average_outgoing_quality`.

    Returns
    -------
    tuple of float and float
        The largest share of nonconforming trees left on average (AOQL), and the share before the
        audit that leads to it; under the hypergeometric law a whole number of trees.

    Raises
    ------
    InvalidInput
        As in `average_outgoing_quality`.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.4.

    Examples
    --------
    >>> limit, worst = average_outgoing_quality_limit(
    ...     SinglePlan(52, 3), lot_size=10_000, model="binomial")
    >>> round(limit, 4), round(worst, 3)
    (0.0372, 0.056)
    """

    def left(fractions: Sequence[float]) -> list[float]:
        return _quality_left(plan, fractions, lot_size, model)

    law = chosen_model(model, lot_size)
    if law is Model.HYPERGEOMETRIC and lot_size is not None:
        grid = [count / lot_size for count in range(lot_size + 1)]
        return max(zip(left(grid), grid, strict=True))
    # An end with d nonconforming trees of t adds most at (d + 1)/t at the latest; so does the sum.
    low, high = 0.0, max((wave.most_accepted + 1) / wave.size for wave in plan.waves)
    if law is not Model.POISSON:
        high = min(1.0, high)
    # The curve may have a peak for each wave, so that the first look is a close one; each further
    # round looks between the neighbours of the best point of the last.
    steps = _GRID if len(plan.waves) == 1 else _FINE_GRID
    while high - low > _NARROW:
        grid = [low + (high - low) * step / steps for step in range(steps + 1)]
        heights = left(grid)
        best = heights.index(max(heights))
        low, high = grid[max(0, best - 1)], grid[min(steps, best + 1)]
        steps = _GRID
    worst = (low + high) / 2
    return left([worst])[0], worst


def average_total_inspection(
    plan: Plan,
    fraction_nonconforming: float | Iterable[float],
    *,
    lot_size: int,
    model: Model | str | None = None,
) -> float | list[float]:
    """
    Return the trees looked at on average where a lot that goes back is looked at to the last tree.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan, each sample looked at to its end.
    fraction_nonconforming : float or iterable of float
        Share of nonconforming trees, as in `acceptance_probability`.
    lot_size : int
        Trees in the lot.
    model : Model or str, optional
        As in `acceptance_probability`.

    Returns
    -------
    float or list of float
        Trees, one mean for each fraction (ATI).

    Raises
    ------
    InvalidInput
        As in `acceptance_probability`.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.4.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.3.2.

    Examples
    --------
    >>> round(average_total_inspection(SinglePlan(52, 3), 0.02, lot_size=10_000,
    ...     model="binomial"))
    253
    """
    return _for_each(
        fraction_nonconforming,
        lambda fractions: [
            lot_size * (1.0 - unseen) for unseen in _share_unseen(plan, fractions, lot_size, model)
        ],
    )


def quality_accepted(
    plan: Plan,
    chance: float | Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
) -> float | list[float]:
    """
    Return the quality that a plan accepts with a given chance: a quantile of its curve.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    chance : float or iterable of float
        Probability of acceptance, in (0, 1).
    lot_size : int, optional
        As in `acceptance_probability`.
    model : Model or str, optional
        As in `acceptance_probability`.

    Returns
    -------
    float or list of float
        Share of nonconforming trees. Under the hypergeometric law only whole trees exist: the
        largest share that is still accepted at least so often.

    Raises
    ------
    InvalidInput
        If a chance lies outside (0, 1), or as in `acceptance_probability`.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, table X (qualities accepted 99, 95, 50, 10 ... per cent of the
       time).

    Examples
    --------
    >>> [round(quality, 4) for quality in quality_accepted(SinglePlan(80, 3), [0.95, 0.10])]
    [0.0173, 0.0816]
    """
    law = chosen_model(model, lot_size)

    def passes(fraction: float) -> float:
        return _acceptance(plan, [fraction], lot_size, law, without_gap=False)[0]

    def quality(wanted: float) -> float:
        if not 0.0 < wanted < 1.0:
            raise InvalidInput({"chance": not_a_risk(wanted)})
        if law is Model.HYPERGEOMETRIC and lot_size is not None:
            # Acceptance falls with the count: the first count accepted less often ends the search.
            beyond = bisect_left(
                range(1, lot_size + 1),
                x=True,
                key=lambda count: passes(count / lot_size) < wanted,
            )
            return beyond / lot_size
        low, high = 0.0, 1.0
        while law is Model.POISSON and passes(high) > wanted:
            low, high = high, 2 * high
        while True:
            middle = (low + high) / 2
            if not low < middle < high:
                return middle
            low, high = (middle, high) if passes(middle) >= wanted else (low, middle)

    return _for_each(chance, lambda chances: [quality(wanted) for wanted in chances])


def chances_still_open(plan: Plan, nonconforming: int, lot_size: int) -> list[float]:
    """
    Return the chance that a curtailed walk goes on after each number of trees.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The plan.
    nonconforming : int
        Nonconforming trees in the lot, from 0 to `lot_size` (symbol D).
    lot_size : int
        Trees in the lot, at least the sample (symbol N).

    Returns
    -------
    list of float
        After 0, 1, 2 ... trees; the last chance above 0 stands one tree before the sample's end.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample or than the count.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter
       on multiple sampling: curtailed inspection.
    """
    _require_lot(plan, nonconforming, lot_size)
    ended = [0.0] * (plan.sample_size + 1)
    for endings in count_endings(plan, curtailed=True):
        for trees, chance in chances_in_lot(endings, nonconforming, lot_size):
            ended[trees] += chance
    return [max(0.0, 1.0 - by_then) for by_then in accumulate(ended[:-1])]


def trees_until_all_decided(stages: Iterable[tuple[Plan, int]], lot_size: int) -> float:
    """
    Return the trees looked at on average until every stage of a lot is decided.

    The stages are scored on the same trees and taken as independent: the walk goes on to a
    further tree unless every stage is decided by then.

    Parameters
    ----------
    stages : iterable of tuple of Plan and int
        The plan of each stage, and its nonconforming trees in the lot.
    lot_size : int
        Trees in the lot.

    Returns
    -------
    float
        Trees, the mean of the largest of the stages' numbers.

    Raises
    ------
    InvalidInput
        If the lot is smaller than a sample or than a count.

    Examples
    --------
    >>> round(trees_until_all_decided([(SinglePlan(30, 4), 15)] * 4, 300), 2)
    28.47
    """
    still_open = [chances_still_open(plan, count, lot_size) for plan, count in stages]
    return math.fsum(
        1.0 - math.prod(1.0 - chance for chance in chances)
        for chances in zip_longest(*still_open, fillvalue=0.0)
    )


def _for_each(
    given: float | Iterable[float], figures: Callable[[Sequence[float]], list[float]]
) -> float | list[float]:
    """Reckon one number as a number, an array as an array, and anything else as a list."""
    if hasattr(given, "shape"):
        import numpy as np  # noqa: PLC0415 - keeps starting the app light

        array = np.asarray(given, dtype=float)
        # An array, which a caller that hands one in expects; everyone else sees plain numbers.
        reckoned = np.array(figures(array.ravel().tolist())).reshape(array.shape)
        return cast("list[float]", reckoned)
    if isinstance(given, Iterable):
        return figures(list(map(float, given)))
    return figures([float(given)])[0]


def _most_accepted(plan: Plan, *, without_gap: bool) -> int:
    return plan.acceptance_number if without_gap else plan.waves[-1].most_accepted


def _accepting_endings(plan: Plan, *, without_gap: bool = False) -> Endings:
    """Return the ends that accept; how the walk gets there changes nothing in them."""
    accepted = count_endings(plan, curtailed=False).accepted
    most = _most_accepted(plan, without_gap=without_gap)
    if most == plan.waves[-1].most_accepted:
        return accepted
    outside_gap = (
        (trees, bad, orders)
        for trees, bad, orders in zip(*accepted, strict=True)
        if trees < plan.sample_size or bad <= most
    )
    return Endings(*zip(*outside_gap, strict=True))


def _acceptance(
    plan: Plan,
    fractions: Sequence[float],
    lot_size: int | None,
    model: Model | str | None,
    *,
    without_gap: bool,
) -> list[float]:
    law = chosen_model(model, lot_size)
    _require_fractions(fractions, law)
    if isinstance(plan, SinglePlan):
        most = _most_accepted(plan, without_gap=without_gap)
        return [_count_law(plan, value, lot_size, law).at_most(most) for value in fractions]
    if law is Model.POISSON:
        *earlier, last = plan.waves
        most = _most_accepted(plan, without_gap=without_gap)
        steps = (*earlier, Wave(last.size, most, last.rejection_number))
        return [
            math.fsum(chance for _, chance, accepted in _poisson_ends(steps, value) if accepted)
            for value in fractions
        ]
    endings = _accepting_endings(plan, without_gap=without_gap)
    return _sums(plan, endings, [1.0] * len(endings.trees), fractions, lot_size, law)


def _mean_sizes(
    plan: Plan,
    fractions: Sequence[float],
    lot_size: int | None,
    model: Model | str | None,
    stop: _Stop,
) -> list[float]:
    law = chosen_model(model, lot_size)
    _require_fractions(fractions, law)
    if isinstance(plan, SinglePlan):
        return [
            _mean_trees(
                plan,
                _count_law(plan, value, lot_size, law),
                curtailed=stop.curtailed,
                accepting_early=stop.accepting_early,
            )
            for value in fractions
        ]
    if law is Model.POISSON:
        # A tree can count more than once, so that acceptance is never certain within a wave.
        steps = steps_of(plan, curtailed=stop.curtailed, accepting_early=False)
        return [
            math.fsum(trees * chance for trees, chance, _ in _poisson_ends(steps, value))
            for value in fractions
        ]
    endings = count_endings(plan, curtailed=stop.curtailed, accepting_early=stop.accepting_early)
    ends = Endings(*map(add, *endings))
    return _sums(plan, ends, ends.trees, fractions, lot_size, law)


def _quality_left(
    plan: Plan, fractions: Sequence[float], lot_size: int | None, model: Model | str | None
) -> list[float]:
    unseen = _share_unseen(plan, fractions, lot_size, model)
    if chosen_model(model, lot_size) is Model.HYPERGEOMETRIC and lot_size is not None:
        fractions = [trees_at_fraction(value, lot_size) / lot_size for value in fractions]
    return [fraction * share for fraction, share in zip(fractions, unseen, strict=True)]


def _share_unseen(
    plan: Plan, fractions: Sequence[float], lot_size: int | None, model: Model | str | None
) -> list[float]:
    """Return the share of the lot that nobody looks at: all but the sample of accepted lots."""
    law = chosen_model(model, lot_size)
    _require_fractions(fractions, law)

    def unseen(trees: int) -> float:
        return 1.0 if lot_size is None else 1.0 - trees / lot_size

    if isinstance(plan, SinglePlan):
        passed = _acceptance(plan, fractions, lot_size, law, without_gap=False)
        return [chance * unseen(plan.sample_size) for chance in passed]
    if law is Model.POISSON:
        return [
            math.fsum(
                chance * unseen(trees)
                for trees, chance, accepted in _poisson_ends(plan.waves, value)
                if accepted
            )
            for value in fractions
        ]
    endings = _accepting_endings(plan)
    weights = [unseen(trees) for trees in endings.trees]
    return _sums(plan, endings, weights, fractions, lot_size, law)


def _sums(
    plan: Plan,
    endings: Endings,
    weights: Sequence[float],
    fractions: Sequence[float],
    lot_size: int | None,
    law: Model,
) -> list[float]:
    """Sum the chances of some ends for every fraction, each with the weight of its trees."""
    if law is Model.HYPERGEOMETRIC and lot_size is not None:
        counts = [trees_at_fraction(value, lot_size) for value in fractions]
        _require_lot(plan, 0, lot_size)
        weight_of = dict(zip(endings.trees, weights, strict=True))
        return [
            math.fsum(
                weight_of[trees] * chance
                for trees, chance in chances_in_lot(endings, count, lot_size)
            )
            for count in counts
        ]
    return _binomial_sums(endings, weights, fractions)


def _binomial_sums(
    endings: Endings, weights: Sequence[float], fractions: Sequence[float]
) -> list[float]:
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    factors = _logarithms(tuple(fractions))
    exponents = np.array(
        [list(map(math.log, endings.orders)), endings.nonconforming, endings.trees], dtype=float
    )
    exponents[2] -= exponents[1]
    weight = np.array(weights, dtype=float)
    sums = np.zeros(len(fractions))
    for start in range(0, len(weight), _BLOCK):
        block = slice(start, start + _BLOCK)
        chances = exponents[:, block].T @ factors
        np.exp(chances, out=chances)
        sums += weight[block] @ chances
    return sums.tolist()


# Curves of several plans are drawn at the same fractions, one figure after the other.
@lru_cache(maxsize=16)
def _logarithms(fractions: tuple[float, ...]) -> "npt.NDArray[np.float64]":
    """Return for each fraction 1, its logarithm and that of the rest."""
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    given = np.array(fractions)
    logarithms = np.ones((3, len(given)))
    # Nothing is nonconforming, or everything: a logarithm of 0 times a count of 0 must be 0.
    np.log(np.maximum(given, _TINY), out=logarithms[1])
    np.log(np.maximum(1.0 - given, _TINY), out=logarithms[2])
    logarithms.flags.writeable = False
    return logarithms


def _poisson_ends(
    steps: Iterable[Wave], faults_per_tree: float
) -> Iterable[tuple[int, float, bool]]:
    """Tell where a walk ends, how likely that is, and whether the lot is then accepted."""
    seen, lowest, live = 0, 0, [1.0]
    for size, accepted, rejected in steps:
        law = Poisson((size - seen) * faults_per_tree)
        seen = size
        most = -1 if accepted is None else accepted
        yield (
            size,
            math.fsum(mass * law.at_most(most - start) for start, mass in enumerate(live, lowest)),
            True,
        )
        yield (
            size,
            math.fsum(
                mass * law.at_least(rejected - start) for start, mass in enumerate(live, lowest)
            ),
            False,
        )
        going = range(max(lowest, most + 1), rejected)
        live = [
            math.fsum(
                mass * law.mass(count - start)
                for start, mass in enumerate(live, lowest)
                if start <= count
            )
            for count in going
        ]
        lowest = going.start
        if not live:
            return


def _require_fractions(fractions: Iterable[float], law: Model) -> None:
    largest = sys.float_info.max if law is Model.POISSON else 1.0
    # One glance for the usual case; which value is at fault is sorted out only when one is.
    if all(0.0 <= fraction <= largest for fraction in fractions):
        return
    for fraction in fractions:
        if law is not Model.POISSON:
            require_fraction("fraction_nonconforming", fraction)
        elif not 0.0 <= fraction < math.inf:
            raise InvalidInput(
                {
                    "fraction_nonconforming": say(
                        "Faults per tree are 0 or more; %(value)s is not.",
                        value=TypedNumber(fraction),
                    )
                }
            )


def _count_law(
    plan: SinglePlan, fraction: float, lot_size: int | None, law: Model
) -> Binomial | Hypergeometric | Poisson:
    if law is Model.POISSON:
        return Poisson(plan.sample_size * fraction)
    if law is Model.BINOMIAL or lot_size is None:
        return Binomial(plan.sample_size, fraction)
    return _lot_law(plan, trees_at_fraction(fraction, lot_size), lot_size)


def _lot_law(plan: SinglePlan, nonconforming: int, lot_size: int) -> Hypergeometric:
    _require_lot(plan, nonconforming, lot_size)
    return Hypergeometric(plan.sample_size, nonconforming, lot_size)


def _require_lot(plan: Plan, nonconforming: int, lot_size: int) -> None:
    require_count("lot_size", lot_size, 1)
    if plan.sample_size > lot_size:
        raise InvalidInput(
            {
                "lot_size": say(
                    "A sample of %(sample)s cannot come from a lot of %(lot)s trees.",
                    sample=plan.sample_size,
                    lot=lot_size,
                )
            }
        )
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


def _mean_trees(
    plan: SinglePlan,
    law: Binomial | Hypergeometric | Poisson,
    *,
    curtailed: bool,
    accepting_early: bool,
) -> float:
    if not curtailed:
        return float(plan.sample_size)
    if isinstance(law, Poisson):
        return _mean_trees_poisson(plan, law.mean / plan.sample_size)
    rejected = _mean_until(plan.rejection_number, law)
    if accepting_early:
        return rejected + _mean_until(plan.conforming_to_accept, law.of_conforming())
    return rejected + plan.sample_size * law.at_most(plan.most_accepted)


def _mean_until(wanted: int, law: Binomial | Hypergeometric) -> float:
    """Mean tree at which the wanted count is reached, times the chance that it is reached."""
    longer = law.with_one_more()
    reached = longer.at_least(wanted + 1)
    # Of a fraction too small for the chance to be told from 0, the quotient would be infinite.
    if wanted == 0 or reached == 0.0:
        return 0.0
    return wanted / longer.fraction * reached


def _mean_trees_poisson(plan: SinglePlan, faults_per_tree: float) -> float:
    """Sum, over the trees of the sample, of the chance that the walk goes on to that tree."""
    return math.fsum(
        Poisson(seen * faults_per_tree).at_most(plan.most_accepted)
        for seen in range(plan.sample_size)
    )
