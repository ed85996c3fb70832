"""The least single plan that keeps two promises: a good lot passes, a bad lot goes back."""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, say, say_n
from audits.sampling.curves import chosen_model
from audits.sampling.inputs import (
    TypedNumber,
    is_count,
    not_a_fraction,
    not_a_risk,
    require_count,
    too_small,
)
from audits.sampling.laws import (
    Binomial,
    CountLaw,
    Hypergeometric,
    Model,
    Poisson,
    as_written,
)
from audits.sampling.plans import Rounding, SinglePlan, trees_at_fraction

# Nobody looks at more trees for one verdict; a search beyond it only means that the two fractions
# lie too close together.
LARGEST_SAMPLE: Final = 100_000

# The recurrences stay well within this distance of the true probability; nearer to a limit, the
# comparison is made without rounding.
_NEAR: Final = 1e-9

# In larger samples whole numbers get too long; chances there differ by less than any risk is known.
_LARGEST_EXACT_SAMPLE: Final = 10_000


@dataclass(frozen=True)
class _Promises:
    """The two risks of a search, with the law of each of the two lots for any sample size."""

    producer_risk: float
    consumer_risk: float
    law_when_good: Callable[[int], Binomial | Hypergeometric | Poisson]
    law_when_bad: Callable[[int], Binomial | Hypergeometric | Poisson]

    def kept_for_good(self, size: int, number: int) -> bool:
        """Tell whether a good lot goes back no more often than the producer's risk allows."""
        law = self.law_when_good(size)
        sent_back = law.at_least(number + 1)
        if isinstance(law, Poisson) or not _is_near(sent_back, self.producer_risk, size):
            return sent_back <= self.producer_risk
        return 1 - law.exactly_at_most(number) <= as_written(self.producer_risk)

    def kept_for_bad(self, size: int, number: int) -> bool:
        """Tell whether a bad lot passes no more often than the consumer's risk allows."""
        law = self.law_when_bad(size)
        passed = law.at_most(number)
        if isinstance(law, Poisson) or not _is_near(passed, self.consumer_risk, size):
            return passed <= self.consumer_risk
        return law.exactly_at_most(number) <= as_written(self.consumer_risk)

    def least_number(self, size: int) -> int:
        """Return the least acceptance number with which a sample keeps the good lot's promise."""
        return bisect_left(range(size), x=True, key=lambda number: self.kept_for_good(size, number))


def stage_producer_risk(lot_risk: float, stages: int) -> float:
    """
    Share a lot's producer's risk over its stages.

    A lot that is good in every stage goes back if any stage does. With independent stages of
    equal risk r that happens with probability 1 - (1 - r) ** stages.

    Parameters
    ----------
    lot_risk : float
        Chance that a lot good in every stage goes back, in (0, 1).
    stages : int
        Stages that are decided, at least 1.

    Returns
    -------
    float
        Producer's risk of each stage, in (0, 1).

    Raises
    ------
    InvalidInput
        If the risk lies outside (0, 1) or there is no stage.

    References
    ----------
    .. [1] Z. Sidak, Rectangular confidence regions for the means of multivariate normal
       distributions, Journal of the American Statistical Association 62 (1967).

    Examples
    --------
    >>> round(stage_producer_risk(0.05, 4), 4)
    0.0127
    """
    if not 0.0 < lot_risk < 1.0:
        raise InvalidInput({"lot_risk": not_a_risk(lot_risk)})
    require_count("stages", stages, 1)
    return lot_risk if stages == 1 else 1.0 - (1.0 - lot_risk) ** (1.0 / stages)


def design_single(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    least_sample: int = 1,
) -> SinglePlan:
    """
    Find the least single plan that keeps both promises.

    A lot at the acceptable fraction goes back with at most the producer's risk, and one at the
    rejectable fraction passes with at most the consumer's risk. For a lot of known size the
    fractions are turned into whole trees, the acceptable one down and the rejectable one up
    (`trees_at_fraction`), and the sample is never larger than the lot: where it reaches the lot,
    every tree is looked at.

    Parameters
    ----------
    acceptable_fraction : float
        Share of nonconforming trees that should pass, in [0, 1) (symbol p1).
    producer_risk : float
        Chance that a lot at the acceptable fraction goes back, in (0, 1) (symbol alpha).
    rejectable_fraction : float
        Share of nonconforming trees that should go back, in (0, 1) (symbol p2).
    consumer_risk : float
        Chance that a lot at the rejectable fraction passes, in (0, 1) (symbol beta).
    lot_size : int, optional
        Trees in the lot. Only the hypergeometric law needs it; the others ignore it.
    model : Model or str, optional
        The law of the count; by default hypergeometric for a lot of known size, else binomial.
    least_sample : int, optional
        Smallest sample size allowed, such as that of another stage scored on the same trees.

    Returns
    -------
    SinglePlan
        The plan of least sample size and, at that size, of least acceptance number.

    Raises
    ------
    InvalidInput
        If a fraction or risk lies outside its range, the acceptable fraction is not the smaller
        one, or the lot is empty or smaller than `least_sample`.
    AuditError
        If no plan can keep the promises: both fractions come to the same number of trees of the
        lot, or lie so close together that `LARGEST_SAMPLE` trees are too few.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 15.2.3: designing a
       single-sampling plan with a specified OC curve.
    .. [2] W. C. Guenther, Use of the binomial, hypergeometric and Poisson tables to obtain
       sampling plans, Journal of Quality Technology 1 (1969).

    Examples
    --------
    >>> design_single(0.05, 0.05, 0.25, 0.10, lot_size=300)
    SinglePlan(sample_size=25, acceptance_number=3, rejection_number=4)
    """
    # One comparison for the usual case; which value is at fault is sorted out only when one is.
    if not (
        0.0 <= acceptable_fraction < rejectable_fraction < 1.0
        and 0.0 < producer_risk < 1.0
        and 0.0 < consumer_risk < 1.0
    ):
        raise InvalidInput(
            _problems(acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk)
        )
    law = chosen_model(model, lot_size)
    if law is Model.HYPERGEOMETRIC and lot_size is not None:
        return design_single_for_counts(
            trees_at_fraction(acceptable_fraction, lot_size, Rounding.DOWN),
            producer_risk,
            trees_at_fraction(rejectable_fraction, lot_size, Rounding.UP),
            consumer_risk,
            lot_size=lot_size,
            least_sample=least_sample,
        )
    require_count("least_sample", least_sample, 1)
    search = _search_poisson if law is Model.POISSON else _search_binomial
    found = search(
        acceptable_fraction, producer_risk, rejectable_fraction, consumer_risk, least_sample
    )
    if found is None:
        raise AuditError(_too_close(acceptable_fraction, rejectable_fraction))
    return SinglePlan(*found)


def design_single_for_counts(
    acceptable_count: int,
    producer_risk: float,
    rejectable_count: int,
    consumer_risk: float,
    *,
    lot_size: int,
    least_sample: int = 1,
) -> SinglePlan:
    """
    Find the least single plan for a lot, with both promises given in whole trees.

    Parameters
    ----------
    acceptable_count : int
        Nonconforming trees in a lot that should pass, 0 or more (symbol D1).
    producer_risk : float
        Chance that such a lot goes back, in (0, 1) (symbol alpha).
    rejectable_count : int
        Nonconforming trees in a lot that should go back, at most the lot (symbol D2).
    consumer_risk : float
        Chance that such a lot passes, in (0, 1) (symbol beta).
    lot_size : int
        Trees in the lot, at least 1 (symbol N).
    least_sample : int, optional
        Smallest sample size allowed, at most the lot.

    Returns
    -------
    SinglePlan
        The plan of least sample size and, at that size, of least acceptance number; its sample
        is the whole lot if fewer trees cannot keep the promises.

    Raises
    ------
    InvalidInput
        If a value lies outside its range.
    AuditError
        If the acceptable count is not the smaller one, so that even all trees of the lot cannot
        tell the two apart.

    References
    ----------
    .. [1] W. C. Guenther, Use of the binomial, hypergeometric and Poisson tables to obtain
       sampling plans, Journal of Quality Technology 1 (1969).

    Examples
    --------
    >>> design_single_for_counts(15, 0.05, 75, 0.10, lot_size=300)
    SinglePlan(sample_size=25, acceptance_number=3, rejection_number=4)
    """
    if not (
        is_count(lot_size, 1)
        and is_count(least_sample, 1)
        and least_sample <= lot_size
        and is_count(acceptable_count, 0)
        and is_count(rejectable_count, 0)
        and rejectable_count <= lot_size
        and 0.0 < producer_risk < 1.0
        and 0.0 < consumer_risk < 1.0
    ):
        raise InvalidInput(
            _problems_with_counts(
                acceptable_count,
                producer_risk,
                rejectable_count,
                consumer_risk,
                lot_size,
                least_sample,
            )
        )
    if acceptable_count >= rejectable_count:
        raise AuditError(_cannot_promise(acceptable_count, rejectable_count, lot_size))
    return SinglePlan(
        *_search_lot(
            acceptable_count, producer_risk, rejectable_count, consumer_risk, lot_size, least_sample
        )
    )


def _search_binomial(
    good: float, producer_risk: float, bad: float, consumer_risk: float, least_sample: int
) -> tuple[int, int] | None:
    """
    Climb the staircase of plans: a larger sample while a bad lot passes, else a larger number.

    Every smaller number has already failed a good lot at some smaller sample, and fails it at
    every larger one; so the first plan that keeps both promises is the least.

    With g(n, c) = P(X = c) and f(n, c) = P(X <= c):
    f(n + 1, c) = f(n, c) - p g(n, c) and f(n, c + 1) = f(n, c) + g(n, c + 1).
    """
    promises = _Promises(
        producer_risk,
        consumer_risk,
        lambda size: Binomial(size, good),
        lambda size: Binomial(size, bad),
    )
    surely_bad, perhaps_bad = consumer_risk + _NEAR, consumer_risk - _NEAR
    surely_good, perhaps_good = 1.0 - producer_risk + _NEAR, 1.0 - producer_risk - _NEAR
    good_rest, bad_rest = 1.0 - good, 1.0 - bad
    good_odds, bad_odds = good / good_rest, bad / bad_rest
    size, number = 1, 0
    good_passes = good_mass = good_rest
    bad_passes = bad_mass = bad_rest
    if least_sample > 1:
        size, number = least_sample, promises.least_number(least_sample)
        good_passes, good_mass = _at(promises.law_when_good(size), number)
        bad_passes, bad_mass = _at(promises.law_when_bad(size), number)
    while True:
        while bad_passes > surely_bad or (
            bad_passes > perhaps_bad and not promises.kept_for_bad(size, number)
        ):
            good_passes -= good * good_mass
            bad_passes -= bad * bad_mass
            size += 1
            growth = size / (size - number)
            good_mass *= good_rest * growth
            bad_mass *= bad_rest * growth
            if size > LARGEST_SAMPLE:
                return None
        if good_passes > surely_good or (
            good_passes > perhaps_good and promises.kept_for_good(size, number)
        ):
            return size, number
        growth = (size - number) / (number + 1)
        number += 1
        good_mass *= good_odds * growth
        bad_mass *= bad_odds * growth
        good_passes += good_mass
        bad_passes += bad_mass


def _search_lot(
    good: int,
    producer_risk: float,
    bad: int,
    consumer_risk: float,
    lot_size: int,
    least_sample: int,
) -> tuple[int, int]:
    """
    Climb the same staircase without replacement.

    With h = n - c conforming trees in the sample and D nonconforming ones in the lot:
    f(n + 1, c) = f(n, c) - g(n, c) (D - c) / (N - n). The number never exceeds `good`, where a
    good lot is sure to pass, and stays below `bad`; so the search ends by the whole lot.
    """
    promises = _Promises(
        producer_risk,
        consumer_risk,
        lambda size: Hypergeometric(size, good, lot_size),
        lambda size: Hypergeometric(size, bad, lot_size),
    )
    surely_bad, perhaps_bad = consumer_risk + _NEAR, consumer_risk - _NEAR
    surely_good, perhaps_good = 1.0 - producer_risk + _NEAR, 1.0 - producer_risk - _NEAR
    good_rest, bad_rest = lot_size - good, lot_size - bad
    size, number = 1, 0
    good_passes = good_mass = good_rest / lot_size
    bad_passes = bad_mass = bad_rest / lot_size
    if least_sample > 1:
        size, number = least_sample, promises.least_number(least_sample)
        good_passes, good_mass = _at(promises.law_when_good(size), number)
        bad_passes, bad_mass = _at(promises.law_when_bad(size), number)
    trees_left = lot_size - size
    while True:
        while bad_passes > surely_bad or (
            bad_passes > perhaps_bad and not promises.kept_for_bad(size, number)
        ):
            good_passes -= good_mass * (good - number) / trees_left
            bad_passes -= bad_mass * (bad - number) / trees_left
            conforming = size - number
            size += 1
            growth = size / ((conforming + 1) * trees_left)
            good_mass *= (good_rest - conforming) * growth
            bad_mass *= (bad_rest - conforming) * growth
            trees_left -= 1
        if good_passes > surely_good or (
            good_passes > perhaps_good and promises.kept_for_good(size, number)
        ):
            return size, number
        conforming = size - number
        growth = conforming / (number + 1)
        if conforming <= bad_rest:
            good_mass *= (good - number) * growth / (good_rest - conforming + 1)
            bad_mass *= (bad - number) * growth / (bad_rest - conforming + 1)
        else:
            # A bad lot has fewer conforming trees than that: its count starts higher.
            good_mass = promises.law_when_good(size).mass(number + 1)
            bad_mass = promises.law_when_bad(size).mass(number + 1)
        number += 1
        good_passes += good_mass
        bad_passes += bad_mass


def _search_poisson(
    good: float, producer_risk: float, bad: float, consumer_risk: float, least_sample: int
) -> tuple[int, int] | None:
    """Climb the same staircase, each step reckoned afresh."""
    promises = _Promises(
        producer_risk,
        consumer_risk,
        lambda size: Poisson(size * good),
        lambda size: Poisson(size * bad),
    )
    size, number = least_sample, 0
    while size <= LARGEST_SAMPLE:
        if not promises.kept_for_bad(size, number):
            size += 1
        elif not promises.kept_for_good(size, number):
            number += 1
        else:
            return size, number
    return None


def _at(law: CountLaw, number: int) -> tuple[float, float]:
    """Return the probability of a number or fewer, and of exactly that number."""
    reachable = law.lowest <= number <= law.highest
    return law.at_most(number), law.mass(number) if reachable else 0.0


def _is_near(probability: float, limit: float, size: int) -> bool:
    """Tell whether rounding could decide which is larger, and whole numbers can decide it."""
    return size <= _LARGEST_EXACT_SAMPLE and abs(probability - limit) <= _NEAR * limit


def _problems(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
) -> dict[str, Message]:
    problems = _problems_with_risks(producer_risk, consumer_risk)
    if not 0.0 <= acceptable_fraction < 1.0:
        problems["acceptable_fraction"] = not_a_fraction(acceptable_fraction)
    if not 0.0 < rejectable_fraction < 1.0:
        problems["rejectable_fraction"] = not_a_fraction(rejectable_fraction)
    elif rejectable_fraction <= acceptable_fraction:
        problems.setdefault(
            "rejectable_fraction",
            say(
                "The rejectable fraction, %(rejectable)s, must be larger than the acceptable one, "
                "%(acceptable)s.",
                rejectable=TypedNumber(rejectable_fraction),
                acceptable=TypedNumber(acceptable_fraction),
            ),
        )
    return problems


def _problems_with_counts(
    acceptable_count: int,
    producer_risk: float,
    rejectable_count: int,
    consumer_risk: float,
    lot_size: int,
    least_sample: int,
) -> dict[str, Message]:
    problems = _problems_with_risks(producer_risk, consumer_risk)
    counts = {
        "acceptable_count": (acceptable_count, 0),
        "rejectable_count": (rejectable_count, 0),
        "lot_size": (lot_size, 1),
        "least_sample": (least_sample, 1),
    }
    problems |= {
        field: too_small(value, least)
        for field, (value, least) in counts.items()
        if not is_count(value, least)
    }
    for field in ("rejectable_count", "least_sample"):
        if not problems.keys() & {field, "lot_size"} and counts[field][0] > lot_size:
            problems[field] = say_n(
                "The lot has only %(count)s tree; this asks for %(value)s.",
                "The lot has only %(count)s trees; this asks for %(value)s.",
                lot_size,
                value=counts[field][0],
            )
    return problems


def _problems_with_risks(producer_risk: float, consumer_risk: float) -> dict[str, Message]:
    risks = {"producer_risk": producer_risk, "consumer_risk": consumer_risk}
    return {field: not_a_risk(risk) for field, risk in risks.items() if not 0.0 < risk < 1.0}


def _cannot_promise(acceptable_count: int, rejectable_count: int, lot_size: int) -> Message:
    return say_n(
        "Even the one tree of this lot cannot promise this: with %(acceptable)s nonconforming it "
        "should pass, with %(rejectable)s go back. Set the two fractions further apart.",
        "Even all %(count)s trees cannot promise this: with %(acceptable)s nonconforming the lot "
        "should pass, with %(rejectable)s go back. Set the two fractions further apart.",
        lot_size,
        acceptable=acceptable_count,
        rejectable=rejectable_count,
    )


def _too_close(acceptable_fraction: float, rejectable_fraction: float) -> Message:
    return say(
        "Even %(trees)s trees cannot tell %(acceptable)s nonconforming from %(rejectable)s. Set "
        "the two fractions further apart, or allow larger risks.",
        trees=LARGEST_SAMPLE,
        acceptable=TypedNumber(acceptable_fraction),
        rejectable=TypedNumber(rejectable_fraction),
    )
