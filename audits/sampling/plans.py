"""Sampling plans as values: single, double, and in waves."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple, Protocol, TypeAlias

from audits.errors import InvalidInput
from audits.messages import Message, say, say_n
from audits.sampling.inputs import is_count, require_count, require_fraction, too_small

# A fraction such as 1/60 typed with 15 digits misses its whole tree by less than this share.
_WHOLE_TREE_TOLERANCE: Final = 1e-9


class Rounding(StrEnum):
    """How a fraction of a lot becomes whole trees."""

    DOWN = "down"
    NEAREST = "nearest"
    UP = "up"


class Wave(NamedTuple):
    """
    A part of a sample after which a lot may be decided.

    Parameters
    ----------
    size : int
        Trees looked at by its end, those of earlier waves included.
    acceptance_number : int or None
        Most nonconforming trees, of all looked at by then, with which the lot is accepted; None
        where it cannot be accepted yet.
    rejection_number : int
        Fewest nonconforming trees, of all looked at by then, with which it is not accepted.
    """

    size: int
    acceptance_number: int | None
    rejection_number: int

    @property
    def most_accepted(self) -> int:
        """The acceptance number, -1 where the lot cannot be accepted yet."""
        return -1 if self.acceptance_number is None else self.acceptance_number


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

    @property
    def waves(self) -> tuple[Wave, ...]:
        """The one wave of the sample; a count in the gap is accepted."""
        return (Wave(self.sample_size, self.most_accepted, self.rejection_number),)

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
        return _too_small(
            self,
            {
                "sample_size": 1,
                "acceptance_number": 0,
                "rejection_number": max(0, self.acceptance_number) + 1,
            },
        )


@dataclass(frozen=True, init=False)
class DoublePlan:
    """
    Two samples: the first may decide, the second must.

    The numbers of the second sample hold for the nonconforming trees of both samples together.
    As in a single plan for reduced inspection, a gap may lie between the last two numbers; a
    count in the gap is accepted.

    Parameters
    ----------
    first_sample_size : int
        Trees of the first sample, at least 1 (symbol n1).
    first_acceptance_number : int
        Most nonconforming trees in it with which the lot is accepted at once (symbol Ac1).
    first_rejection_number : int
        Fewest nonconforming trees in it with which the lot is not accepted (symbol Re1).
    second_sample_size : int
        Trees of the second sample, at least 1 (symbol n2).
    second_acceptance_number : int
        Most nonconforming trees in both that pass without any consequence (symbol Ac2).
    second_rejection_number : int, optional
        Fewest nonconforming trees in both with which the lot is not accepted (symbol Re2); one
        more than the acceptance number if left out.

    Raises
    ------
    InvalidInput
        If a number is too small; the sentence names its value.

    Examples
    --------
    >>> DoublePlan(50, 0, 3, 50, 3).waves
    (Wave(size=50, acceptance_number=0, rejection_number=3), \
Wave(size=100, acceptance_number=3, rejection_number=4))
    """

    first_sample_size: int
    first_acceptance_number: int
    first_rejection_number: int
    second_sample_size: int
    second_acceptance_number: int
    second_rejection_number: int

    # By hand, because the last field is always a number and only the argument may be left out.
    def __init__(
        self,
        first_sample_size: int,
        first_acceptance_number: int,
        first_rejection_number: int,
        second_sample_size: int,
        second_acceptance_number: int,
        second_rejection_number: int | None = None,
    ) -> None:
        if second_rejection_number is None:
            second_rejection_number = second_acceptance_number + 1
        object.__setattr__(self, "first_sample_size", first_sample_size)
        object.__setattr__(self, "first_acceptance_number", first_acceptance_number)
        object.__setattr__(self, "first_rejection_number", first_rejection_number)
        object.__setattr__(self, "second_sample_size", second_sample_size)
        object.__setattr__(self, "second_acceptance_number", second_acceptance_number)
        object.__setattr__(self, "second_rejection_number", second_rejection_number)
        problems = _too_small(
            self,
            {
                "first_sample_size": 1,
                "first_acceptance_number": 0,
                "first_rejection_number": max(0, first_acceptance_number) + 1,
                "second_sample_size": 1,
                "second_acceptance_number": max(0, first_acceptance_number),
                "second_rejection_number": max(0, second_acceptance_number) + 1,
            },
        )
        if problems:
            raise InvalidInput(problems)

    @property
    def sample_size(self) -> int:
        """Trees of both samples."""
        return self.first_sample_size + self.second_sample_size

    @property
    def acceptance_number(self) -> int:
        """The last acceptance number: most nonconforming trees that pass without consequence."""
        return self.second_acceptance_number

    @property
    def waves(self) -> tuple[Wave, ...]:
        """The two samples, counted together; a count in the gap is accepted."""
        return (
            Wave(self.first_sample_size, self.first_acceptance_number, self.first_rejection_number),
            Wave(self.sample_size, self.second_rejection_number - 1, self.second_rejection_number),
        )


@dataclass(frozen=True)
class WavePlan:
    """
    Any number of samples, walked one after the other, each of which may decide.

    Every number holds for all trees looked at by the end of its wave.

    Parameters
    ----------
    sizes : tuple of int
        Trees looked at by the end of each wave, rising.
    acceptance_numbers : tuple of int or None
        Most nonconforming trees with which the lot is accepted after each wave; None where it
        cannot be accepted yet. The last one must be a number.
    rejection_numbers : tuple of int or None
        Fewest nonconforming trees with which the lot is not accepted after each wave, above the
        acceptance number; None where it cannot be turned down yet. The last one must be a number.

    Raises
    ------
    InvalidInput
        If the numbers are not as many as the sizes, the sizes do not rise, or a number is too
        small; the sentence names its value.

    Examples
    --------
    >>> WavePlan((14, 30), (0, 4), (4, 5)).sample_size
    30
    """

    sizes: tuple[int, ...]
    acceptance_numbers: tuple[int | None, ...]
    rejection_numbers: tuple[int | None, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "sizes", tuple(self.sizes))
        object.__setattr__(self, "acceptance_numbers", tuple(self.acceptance_numbers))
        object.__setattr__(self, "rejection_numbers", tuple(self.rejection_numbers))
        problems = self._problems()
        if problems:
            raise InvalidInput(problems)

    @property
    def sample_size(self) -> int:
        """Trees of all waves."""
        return self.sizes[-1]

    @property
    def acceptance_number(self) -> int:
        """The last acceptance number: most nonconforming trees that pass without consequence."""
        return self.acceptance_numbers[-1] or 0

    # Kept, as a plan may have a wave for each of hundreds of trees.
    @cached_property
    def waves(self) -> tuple[Wave, ...]:
        """The waves, in the order in which they are walked; a count in a last gap is accepted."""
        rejected = [
            size + 1 if number is None else number
            for size, number in zip(self.sizes, self.rejection_numbers, strict=True)
        ]
        accepted = (*self.acceptance_numbers[:-1], rejected[-1] - 1)
        return tuple(map(Wave._make, zip(self.sizes, accepted, rejected, strict=True)))

    def _problems(self) -> dict[str, Message]:
        problems = {}
        sizes = self.sizes
        if not sizes or not all(is_count(size, 1) for size in sizes):
            problems["sizes"] = say("Every wave needs a whole number of trees, at least 1.")
        elif any(later <= earlier for earlier, later in pairwise(sizes)):
            problems["sizes"] = say(
                "The sizes of the waves count all trees so far, so each must be larger than the "
                "one before it."
            )
        for field, least in (("acceptance_numbers", 0), ("rejection_numbers", 1)):
            numbers = getattr(self, field)
            if len(numbers) != len(sizes):
                problems[field] = say_n(
                    "There is %(count)s wave, so give as many numbers; these are %(found)s.",
                    "There are %(count)s waves, so give as many numbers; these are %(found)s.",
                    len(sizes),
                    found=len(numbers),
                )
            elif not all(number is None or is_count(number, least) for number in numbers):
                problems[field] = say(
                    "These must be whole numbers of at least %(least)s.", least=least
                )
            elif not numbers or numbers[-1] is None:
                problems[field] = say("The last wave must decide, so it needs a number.")
        if not problems and any(
            accepted is not None and rejected is not None and rejected <= accepted
            for accepted, rejected in zip(
                self.acceptance_numbers, self.rejection_numbers, strict=True
            )
        ):
            problems["rejection_numbers"] = say(
                "Every rejection number must be larger than the acceptance number of its wave."
            )
        return problems


Plan: TypeAlias = SinglePlan | DoublePlan | WavePlan


class _Walked(Protocol):
    """Anything with waves: a plan of this module, or one that measures as well."""

    @property
    def waves(self) -> tuple[Wave, ...]: ...


def walk_sizes(plans: Iterable[_Walked]) -> tuple[int, ...]:
    """
    Return the waves in which a sample for several plans is walked.

    Parameters
    ----------
    plans : iterable of StagePlan
        The plans of the stages that are scored on the same trees.

    Returns
    -------
    tuple of int
        Trees looked at by the end of each wave: every size after which a plan may decide.

    Examples
    --------
    >>> walk_sizes([SinglePlan(24, 3), WavePlan((14, 30), (0, 4), (4, 5))])
    (14, 24, 30)
    """
    return tuple(sorted({wave.size for plan in plans for wave in plan.waves}))


def _too_small(plan: SinglePlan | DoublePlan, least: dict[str, int]) -> dict[str, Message]:
    problems = {
        field: too_small(getattr(plan, field), smallest)
        for field, smallest in least.items()
        if not is_count(getattr(plan, field), smallest)
    }
    # A rejection number is held against its acceptance number, which must be right first.
    for accepted in problems.keys() & {field for field in least if "acceptance" in field}:
        problems.pop(accepted.replace("acceptance", "rejection"), None)
    return problems


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
