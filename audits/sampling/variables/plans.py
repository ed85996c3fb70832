"""Plans that measure: a fixed number of values, and how far the mean must keep from the limits."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Self

from audits.errors import InvalidInput
from audits.messages import say
from audits.sampling.inputs import TypedNumber, is_count, too_small
from audits.sampling.variables.estimates import (
    fraction_beyond,
    index_of_fraction,
    least_values,
)


@dataclass(frozen=True)
class VariablesPlan:
    """
    A fixed sample of measured trees, decided by mean and standard deviation.

    With one limit the lot is accepted when the mean lies at least k standard deviations inside
    it. With two, it is accepted when the fractions estimated beyond each come to M or less
    together; with one limit that is the same rule. There is no early end: the estimate needs the
    whole sample.

    Parameters
    ----------
    sample_size : int
        Values measured, one tree each, at least 3, or 2 with known sigma (symbol n).
    k : float
        Least distance of the mean from a limit, in standard deviations.
    known_sigma : bool, optional
        Whether the standard deviation is known beforehand; otherwise each sample gives its own.

    Raises
    ------
    InvalidInput
        If the sample is too small or k is not a finite number.

    References
    ----------
    .. [1] G. J. Lieberman and G. J. Resnikoff, Sampling plans for inspection by variables,
       Journal of the American Statistical Association 50:457-516, 1955.

    Examples
    --------
    >>> plan = VariablesPlan(30, 1.86)
    >>> round(plan.largest_fraction, 4)
    0.0285
    """

    sample_size: int
    k: float
    known_sigma: bool = False

    def __post_init__(self) -> None:
        problems = {}
        least = least_values(known_sigma=self.known_sigma)
        if not is_count(self.sample_size, least):
            problems["sample_size"] = too_small(self.sample_size, least)
        if not math.isfinite(self.k):
            problems["k"] = say("This must be a number; it is %(value)s.", value=str(self.k))
        if problems:
            raise InvalidInput(problems)

    @classmethod
    def with_largest_fraction(
        cls, sample_size: int, largest_fraction: float, *, known_sigma: bool = False
    ) -> Self:
        """
        Make the plan that accepts up to a given estimated fraction.

        Parameters
        ----------
        sample_size : int
            Values measured, at least 3, or 2 with known sigma (symbol n).
        largest_fraction : float
            Largest estimated fraction beyond the limits that is accepted, a ratio in (0, 1)
            (symbol M; the standards print it in per cent).
        known_sigma : bool, optional
            Whether the standard deviation is known beforehand.

        Returns
        -------
        VariablesPlan
            The plan whose k gives this M.

        Raises
        ------
        InvalidInput
            If the sample is too small or the fraction outside its range.

        Examples
        --------
        >>> round(VariablesPlan.with_largest_fraction(10, 0.0327).k, 2)
        1.71
        """
        if not 0.0 < largest_fraction < 1.0:
            raise InvalidInput(
                {
                    "largest_fraction": say(
                        "The largest fraction lies above 0 and below 1; %(value)s does not.",
                        value=TypedNumber(largest_fraction),
                    )
                }
            )
        k = index_of_fraction(largest_fraction, sample_size, known_sigma=known_sigma)
        return cls(sample_size, k, known_sigma)

    @cached_property
    def largest_fraction(self) -> float:
        """Largest estimated fraction beyond the limits that is accepted (symbol M)."""
        return fraction_beyond(self.k, self.sample_size, known_sigma=self.known_sigma)

    def accepts(self, index_below: float | None, index_above: float | None) -> bool:
        """
        Tell whether a sample is accepted.

        Parameters
        ----------
        index_below, index_above : float or None
            Distance from the lower limit up to the mean and from the mean up to the upper limit,
            in standard deviations; None where there is no such limit.

        Returns
        -------
        bool
            True for acceptance.
        """
        indices = [index for index in (index_below, index_above) if index is not None]
        # Implied by the second rule, except in samples so small that M is 0 and yet k is larger
        # than what M = 0 asks.
        if min(indices) < self.k:
            return False
        return len(indices) == 1 or self.fraction_outside(*indices) <= self.largest_fraction

    def fraction_outside(self, *indices: float) -> float:
        """
        Estimate the fraction beyond one or both limits.

        Parameters
        ----------
        *indices : float
            Distance from each limit to the mean, in standard deviations.

        Returns
        -------
        float
            Sum of `fraction_beyond` over the limits.
        """
        return math.fsum(
            fraction_beyond(index, self.sample_size, known_sigma=self.known_sigma)
            for index in indices
        )
