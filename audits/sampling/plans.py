"""Sampling plans as values, and what each promises: chance of acceptance and trees to look at."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, overload

from audits.errors import InvalidInput
from audits.messages import Message, say
from audits.sampling.inputs import (
    TypedNumber,
    is_count,
    require_count,
    require_fraction,
    too_small,
)
from audits.sampling.laws import Binomial, Hypergeometric, Model, Poisson

# A fraction such as 1/60 typed with 15 digits misses its whole tree by less than this share.
_WHOLE_TREE_TOLERANCE: Final = 1e-9


class Rounding(StrEnum):
    """How a fraction of a lot becomes whole trees."""

    DOWN = "down"
    NEAREST = "nearest"
    UP = "up"


@dataclass(frozen=True, init=False)
class SinglePlan:
    """
    One sample, one decision.

    A lot is not accepted when the sample holds as many nonconforming trees as the rejection
    number, and accepted otherwise. The acceptance number is usually one less. Plans for reduced
    inspection leave a gap between the two: a lot in the gap is still accepted, but reduced
    inspection ends with it.

    Parameters
    ----------
    sample_size : int
        Trees drawn from the lot, at least 1 (symbol n).
    acceptance_number : int
        Most nonconforming trees that pass without any consequence (symbol Ac).
    rejection_number : int, optional
        Fewest nonconforming trees with which the lot is not accepted (symbol Re); one more than
        the acceptance number if left out.

    Raises
    ------
    InvalidInput
        If a number is too small; the sentence names its value.

    Examples
    --------
    >>> SinglePlan(25, 3)
    SinglePlan(sample_size=25, acceptance_number=3, rejection_number=4)
    """

    sample_size: int
    acceptance_number: int
    rejection_number: int

    # By hand, because the field is always a number and only the argument may be left out.
    def __init__(
        self, sample_size: int, acceptance_number: int, rejection_number: int | None = None
    ) -> None:
        if rejection_number is None:
            rejection_number = acceptance_number + 1
        object.__setattr__(self, "sample_size", sample_size)
        object.__setattr__(self, "acceptance_number", acceptance_number)
        object.__setattr__(self, "rejection_number", rejection_number)
        if not (
            is_count(self.sample_size, 1)
            and is_count(self.acceptance_number, 0)
            and is_count(self.rejection_number, self.acceptance_number + 1)
        ):
            raise InvalidInput(self._problems())

    @property
    def most_accepted(self) -> int:
        """Most nonconforming trees in the sample of a lot that is still accepted."""
        return self.rejection_number - 1

    @property
    def conforming_to_accept(self) -> int:
        """Conforming trees after which the lot is sure to be accepted."""
        return max(0, self.sample_size - self.most_accepted)

    def inspects_whole(self, lot_size: int) -> bool:
        """
        Tell whether the sample is the lot: every tree is looked at.

        Parameters
        ----------
        lot_size : int
            Trees in the lot.

        Returns
        -------
        bool
            True for inspection of all trees.
        """
        return self.sample_size >= lot_size

    def _problems(self) -> dict[str, Message]:
        least = {
            "sample_size": 1,
            "acceptance_number": 0,
            "rejection_number": max(0, self.acceptance_number) + 1,
        }
        return {
            field: too_small(getattr(self, field), smallest)
            for field, smallest in least.items()
            if not is_count(getattr(self, field), smallest)
        }


def trees_at_fraction(fraction: float, lot_size: int, rounding: Rounding = Rounding.NEAREST) -> int:
    """
    Turn a fraction of a lot into whole trees.

    A product that misses a whole number only by the rounding of decimal fractions is taken as
    that number: 0.05 of 300 is 15 both ways, and so is a sixtieth of 900 typed as
    0.0166666666666667.

    Parameters
    ----------
    fraction : float
        Share of the lot, a ratio in [0, 1].
    lot_size : int
        Trees in the lot, at least 1.
    rounding : Rounding, optional
        `DOWN` for the acceptable fraction, `UP` for the rejectable one; by default the nearest
        number, half a tree counting as one.

    Returns
    -------
    int
        Trees, from 0 to `lot_size`.

    Raises
    ------
    InvalidInput
        If the fraction lies outside [0, 1] or the lot is empty.

    Examples
    --------
    >>> trees_at_fraction(0.05, 310, Rounding.DOWN), trees_at_fraction(0.05, 310, Rounding.UP)
    (15, 16)
    """
    require_fraction("fraction", fraction)
    require_count("lot_size", lot_size, 1)
    trees = fraction * lot_size
    nearest = math.floor(trees + 0.5)
    if abs(trees - nearest) <= _WHOLE_TREE_TOLERANCE * nearest:
        return nearest
    if rounding is Rounding.NEAREST:
        # A half that fell just short of itself is still a half.
        return math.floor(trees + 0.5 + _WHOLE_TREE_TOLERANCE)
    return math.floor(trees) if rounding is Rounding.DOWN else math.ceil(trees)


@overload
def acceptance_probability(
    plan: SinglePlan,
    fraction_nonconforming: float,
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    without_gap: bool = False,
) -> float: ...


@overload
def acceptance_probability(
    plan: SinglePlan,
    fraction_nonconforming: Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    without_gap: bool = False,
) -> list[float]: ...


def acceptance_probability(
    plan: SinglePlan,
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
    plan : SinglePlan
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
    most = plan.acceptance_number if without_gap else plan.most_accepted

    def chance(fraction: float) -> float:
        return _count_law(plan, fraction, lot_size, model).at_most(most)

    return _for_each(chance, fraction_nonconforming)


def acceptance_probability_at_count(
    plan: SinglePlan, nonconforming: int, lot_size: int, *, without_gap: bool = False
) -> float:
    """
    Return the chance that a plan accepts a lot with a known number of nonconforming trees.

    Parameters
    ----------
    plan : SinglePlan
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
    most = plan.acceptance_number if without_gap else plan.most_accepted
    return _lot_law(plan, nonconforming, lot_size).at_most(most)


@overload
def average_sample_number(
    plan: SinglePlan,
    fraction_nonconforming: float,
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> float: ...


@overload
def average_sample_number(
    plan: SinglePlan,
    fraction_nonconforming: Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> list[float]: ...


def average_sample_number(
    plan: SinglePlan,
    fraction_nonconforming: float | Iterable[float],
    *,
    lot_size: int | None = None,
    model: Model | str | None = None,
    curtailed: bool = True,
    accepting_early: bool = True,
) -> float | list[float]:
    """
    Return the trees looked at on average until a lot is decided.

    With Re the rejection number and A = n - Re + 1 the conforming trees that settle acceptance,
    exactly one of the two is reached by the n-th tree. The mean of the tree at which it happens
    is Re/p P(X >= Re + 1) + A/(1 - p) P(Y >= A + 1) with X and Y the nonconforming and the
    conforming trees among n + 1. Without replacement p becomes (D + 1)/(N + 1), and X and Y
    count in a lot of N + 1 trees with one more of their own kind.

    Parameters
    ----------
    plan : SinglePlan
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

    def mean(fraction: float) -> float:
        law = _count_law(plan, fraction, lot_size, model)
        return _mean_trees(plan, law, curtailed=curtailed, accepting_early=accepting_early)

    return _for_each(mean, fraction_nonconforming)


def average_sample_number_at_count(
    plan: SinglePlan,
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
    plan : SinglePlan
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
    law = _lot_law(plan, nonconforming, lot_size)
    return _mean_trees(plan, law, curtailed=curtailed, accepting_early=accepting_early)


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


def _for_each(
    figure: Callable[[float], float], fractions: float | Iterable[float]
) -> float | list[float]:
    if isinstance(fractions, Iterable):
        return [figure(float(fraction)) for fraction in fractions]
    return figure(float(fractions))


def _count_law(
    plan: SinglePlan, fraction: float, lot_size: int | None, model: Model | str | None
) -> Binomial | Hypergeometric | Poisson:
    law = chosen_model(model, lot_size)
    if law is Model.POISSON:
        if not 0.0 <= fraction < math.inf:
            raise InvalidInput(
                {
                    "fraction_nonconforming": say(
                        "Faults per tree are 0 or more; %(value)s is not.",
                        value=TypedNumber(fraction),
                    )
                }
            )
        return Poisson(plan.sample_size * fraction)
    require_fraction("fraction_nonconforming", fraction)
    if law is Model.BINOMIAL or lot_size is None:
        return Binomial(plan.sample_size, fraction)
    return _lot_law(plan, trees_at_fraction(fraction, lot_size), lot_size)


def _lot_law(plan: SinglePlan, nonconforming: int, lot_size: int) -> Hypergeometric:
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
    return Hypergeometric(plan.sample_size, nonconforming, lot_size)


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
