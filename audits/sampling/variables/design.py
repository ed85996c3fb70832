"""The least measuring plan that keeps two promises: a good lot passes, a bad lot goes back."""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, say, say_n
from audits.sampling.inputs import TypedNumber, is_count, not_a_fraction, not_a_risk, too_small
from audits.sampling.variables.curves import (
    extreme_chance,
    variables_acceptance_probability,
)
from audits.sampling.variables.estimates import largest_index, least_values
from audits.sampling.variables.plans import VariablesPlan

# Nobody measures more trees for one verdict; a search beyond it only means that the two fractions
# lie too close together.
LARGEST_MEASURED_SAMPLE: Final = 20_000

_ONE_LIMIT, _TWO_LIMITS = 1, 2

# What k is set back from the very edge, so that rounding does not break the promise. It changes
# a chance by less than 1e-9.
_SETBACK: Final = 1e-11
_TWO_LIMITS_SETBACK: Final = 1e-9


@dataclass(frozen=True)
class _Promises:
    """The two points of a search."""

    acceptable_fraction: float
    producer_risk: float
    rejectable_fraction: float
    consumer_risk: float
    known_sigma: bool

    def plan(self, size: int, k: float) -> VariablesPlan:
        """Make a plan of the right kind."""
        return VariablesPlan(size, k, self.known_sigma)


def design_variables(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
    *,
    known_sigma: bool = False,
    limits: int = _ONE_LIMIT,
    least_sample: int | None = None,
    lot_size: int | None = None,
) -> VariablesPlan:
    """
    Find the least measuring plan that keeps both promises.

    A lot at the acceptable fraction goes back with at most the producer's risk, and one at the
    rejectable fraction passes with at most the consumer's risk, if the measurements are normal.
    At the least sample every k of a small interval keeps both; this takes its upper end, where the
    producer's risk is met exactly and the consumer is given the rest. With two limits both
    promises hold however the fraction is split between them.

    Parameters
    ----------
    acceptable_fraction : float
        Share of trees beyond the limits that should pass, in (0, 1) (symbol p1).
    producer_risk : float
        Chance that a lot at the acceptable fraction goes back, in (0, 1) (symbol alpha).
    rejectable_fraction : float
        Share of trees beyond the limits that should go back, in (0, 1) (symbol p2).
    consumer_risk : float
        Chance that a lot at the rejectable fraction passes, in (0, 1) (symbol beta).
    known_sigma : bool, optional
        Whether the standard deviation is known beforehand.
    limits : int, optional
        One limit or two.
    least_sample : int, optional
        Smallest sample size allowed, such as that of another stage scored on the same trees.
    lot_size : int, optional
        Trees in the lot, the most that can be measured. The fractions are those of the work that
        the lot was drawn from; a small lot is not treated as such otherwise.

    Returns
    -------
    VariablesPlan
        The plan of least sample size and, at that size, of largest k.

    Raises
    ------
    InvalidInput
        If a fraction or risk lies outside its range, the acceptable fraction is not the smaller
        one, or another number makes no sense.
    AuditError
        If the plan needs more trees than the lot has, or than `LARGEST_MEASURED_SAMPLE`.

    Notes
    -----
    The least sample is found by halving: at the producer's end of the interval the consumer's
    risk falls with the sample size. Two limits change the chances by a few parts in a hundred of
    themselves, so that the search for them starts at the sample of one limit, which they include.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapter on
       sampling by variables: plans for two points.
    .. [2] W. A. Wallis, Use of variables in acceptance inspection for percent defective, in
       Eisenhart, Hastay and Wallis, Techniques of Statistical Analysis, 1947.

    Examples
    --------
    >>> plan = design_variables(0.05, 0.05, 0.15, 0.075)
    >>> plan.sample_size, round(plan.k, 4)
    (49, 1.3265)
    """
    problems = _problems(
        acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk
    ) | _problems_with_counts(limits, least_sample, lot_size)
    if problems:
        raise InvalidInput(problems)
    promises = _Promises(
        acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk, bool(known_sigma)
    )
    smallest = max(least_values(known_sigma=promises.known_sigma), least_sample or 1)
    plan = _least_with_one_limit(promises, smallest)
    if plan is not None and limits == _TWO_LIMITS:
        plan = _least_with_two_limits(promises, plan.sample_size)
    if plan is None:
        raise AuditError(_too_close(acceptable_fraction, rejectable_fraction))
    if lot_size is not None and plan.sample_size > lot_size:
        raise AuditError(_beyond_lot(plan, lot_size))
    return plan


def _least_with_one_limit(promises: _Promises, smallest: int) -> VariablesPlan | None:
    def kept_for_bad(size: int) -> bool:
        plan = promises.plan(size, _largest_k(promises, size))
        chance = variables_acceptance_probability(plan, promises.rejectable_fraction)
        return chance <= promises.consumer_risk

    size = _least_size(kept_for_bad, smallest)
    return None if size is None else promises.plan(size, _largest_k(promises, size))


def _least_size(kept: Callable[[int], bool], smallest: int) -> int | None:
    """Return the least size from which on the promises are kept: by larger steps, then halving."""
    highest, step = smallest, 1
    while not kept(highest):
        if highest >= LARGEST_MEASURED_SAMPLE:
            return None
        smallest = highest + 1
        highest, step = min(highest + step, LARGEST_MEASURED_SAMPLE), 2 * step
    return smallest + bisect_left(range(smallest, highest), x=True, key=kept)


def _largest_k(promises: _Promises, size: int) -> float:
    """Return the largest k with which a lot at the acceptable fraction passes often enough."""
    return _k_at(promises, size, promises.acceptable_fraction, 1 - promises.producer_risk)


def _k_at(promises: _Promises, size: int, fraction: float, chance: float) -> float:
    """Return the k with which a lot passes with a given chance, one limit."""
    from scipy.optimize import brentq  # noqa: PLC0415 - keeps starting the app light

    def surplus(k: float) -> float:
        return variables_acceptance_probability(promises.plan(size, k), fraction) - chance

    highest, step = 0.0, 1.0
    while surplus(highest) > 0:
        highest, step = highest + step, 2 * step
    lowest, step = min(0.0, highest - step), 1.0
    while surplus(lowest) < 0:
        lowest, step = lowest - step, 2 * step
    return float(brentq(surplus, lowest, highest, xtol=1e-13)) - _SETBACK


def _least_with_two_limits(promises: _Promises, smallest: int) -> VariablesPlan | None:
    size = _least_size(lambda size: _with_two_limits(promises, size) is not None, smallest)
    return None if size is None else _with_two_limits(promises, size)


def _with_two_limits(promises: _Promises, size: int) -> VariablesPlan | None:
    """
    Return the plan of a size with the largest k that keeps both promises, if there is one.

    All of the fraction in one tail is one of the splits, so k lies between the two ends of the
    interval for one limit.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - keeps starting the app light

    def surplus(k: float) -> float:
        least = extreme_chance(promises.plan(size, k), promises.acceptable_fraction, min)
        return least - (1 - promises.producer_risk)

    largest = _largest_k(promises, size)
    smallest = _k_at(promises, size, promises.rejectable_fraction, promises.consumer_risk)
    if not promises.known_sigma:
        # From here down M is 1 and everything would pass.
        smallest = max(smallest, _SETBACK - largest_index(size))
    if smallest > largest or surplus(smallest) < 0:
        return None
    k = largest
    if surplus(largest) < 0:
        k = float(brentq(surplus, smallest, largest, xtol=1e-11)) - _TWO_LIMITS_SETBACK
    plan = promises.plan(size, k)
    greatest = extreme_chance(plan, promises.rejectable_fraction, max)
    return plan if greatest <= promises.consumer_risk else None


def _problems(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
) -> dict[str, Message]:
    problems = {
        name: not_a_risk(risk)
        for name, risk in (("producer_risk", producer_risk), ("consumer_risk", consumer_risk))
        if not 0.0 < risk < 1.0
    }
    if not 0.0 <= acceptable_fraction <= 1.0:
        problems["acceptable_fraction"] = not_a_fraction(acceptable_fraction)
    elif acceptable_fraction == 0.0:
        problems["acceptable_fraction"] = say(
            "Measurements always leave a small share outside. Accept a fraction above 0."
        )
    if not 0.0 <= rejectable_fraction < 1.0:
        problems["rejectable_fraction"] = not_a_fraction(rejectable_fraction)
    elif "acceptable_fraction" not in problems and acceptable_fraction >= rejectable_fraction:
        problems["rejectable_fraction"] = say(
            "The rejectable fraction, %(rejectable)s, must be larger than the acceptable one, "
            "%(acceptable)s.",
            rejectable=TypedNumber(rejectable_fraction),
            acceptable=TypedNumber(acceptable_fraction),
        )
    return problems


def _problems_with_counts(
    limits: int, least_sample: int | None, lot_size: int | None
) -> dict[str, Message]:
    problems = {
        name: too_small(count, 1)
        for name, count in (("least_sample", least_sample), ("lot_size", lot_size))
        if count is not None and not is_count(count, 1)
    }
    if limits not in {_ONE_LIMIT, _TWO_LIMITS}:
        problems["limits"] = say("There are one or two limits, not %(value)s.", value=str(limits))
    return problems


def _too_close(acceptable_fraction: float, rejectable_fraction: float) -> Message:
    return say(
        "Even %(trees)s trees cannot tell %(acceptable)s nonconforming from %(rejectable)s. Set "
        "the two fractions further apart, or allow larger risks.",
        trees=LARGEST_MEASURED_SAMPLE,
        acceptable=TypedNumber(acceptable_fraction),
        rejectable=TypedNumber(rejectable_fraction),
    )


def _beyond_lot(plan: VariablesPlan, lot_size: int) -> Message:
    return say_n(
        "Measuring the one tree of this lot cannot promise this: it takes %(needed)s. Set the two "
        "fractions further apart, or count the trees outside the limits instead.",
        "Measuring all %(count)s trees cannot promise this: it takes %(needed)s. Set the two "
        "fractions further apart, or count the trees outside the limits instead.",
        lot_size,
        needed=plan.sample_size,
    )
