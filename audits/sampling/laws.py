"""How many nonconforming trees a sample holds: three laws of a count, summed in plain Python."""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Final

# Terms below this share of the sum can no longer change a double.
_NEGLIGIBLE: Final = 1e-18


class Model(StrEnum):
    """The law by which nonconforming trees are counted."""

    BINOMIAL = "binomial"
    POISSON = "poisson"
    HYPERGEOMETRIC = "hypergeometric"


class CountLaw(ABC):
    """
    The law of a count with one peak.

    The smaller tail is summed term by term away from the peak, each term from its neighbour, so
    that small probabilities keep their leading digits; the larger one is its complement.
    """

    @property
    @abstractmethod
    def lowest(self) -> int:
        """Smallest count that can occur."""

    @property
    @abstractmethod
    def highest(self) -> float:
        """Largest count that can occur; infinite if there is none."""

    @property
    @abstractmethod
    def mode(self) -> int:
        """A most probable count."""

    @abstractmethod
    def mass(self, count: int) -> float:
        """
        Return the probability of exactly one count.

        Parameters
        ----------
        count : int
            A count between `lowest` and `highest`.

        Returns
        -------
        float
            Probability in [0, 1].
        """

    @abstractmethod
    def step(self, count: int) -> float:
        """
        Return the probability of the next count over that of this one.

        Parameters
        ----------
        count : int
            A count from `lowest` to one below `highest`.

        Returns
        -------
        float
            The ratio, above 0.
        """

    def at_most(self, count: int) -> float:
        """
        Return the probability of a count or fewer.

        Parameters
        ----------
        count : int
            The largest count included.

        Returns
        -------
        float
            Probability in [0, 1].
        """
        if count < self.lowest:
            return 0.0
        if count >= self.highest:
            return 1.0
        if count >= self.mode:
            return max(0.0, 1.0 - self._sum_up(count + 1))
        return self._sum_down(count)

    def at_least(self, count: int) -> float:
        """
        Return the probability of a count or more.

        Parameters
        ----------
        count : int
            The smallest count included.

        Returns
        -------
        float
            Probability in [0, 1].
        """
        if count <= self.lowest:
            return 1.0
        if count > self.highest:
            return 0.0
        if count <= self.mode:
            return max(0.0, 1.0 - self._sum_down(count - 1))
        return self._sum_up(count)

    def _sum_down(self, count: int) -> float:
        term = total = self.mass(count)
        for lower in range(count - 1, self.lowest - 1, -1):
            term /= self.step(lower)
            total += term
            if term <= _NEGLIGIBLE * total:
                break
        return min(1.0, total)

    def _sum_up(self, count: int) -> float:
        term = total = self.mass(count)
        while count < self.highest and term > _NEGLIGIBLE * total:
            term *= self.step(count)
            total += term
            count += 1
        return min(1.0, total)


@dataclass(frozen=True)
class Binomial(CountLaw):
    """
    Nonconforming trees in a sample from an endless row.

    Parameters
    ----------
    sample_size : int
        Trees drawn (symbol n).
    fraction : float
        Share of nonconforming trees, in [0, 1] (symbol p).
    """

    sample_size: int
    fraction: float

    @property
    def lowest(self) -> int:
        """Smallest count that can occur."""
        return self.sample_size if self.fraction == 1.0 else 0

    @property
    def highest(self) -> float:
        """Largest count that can occur."""
        return 0 if self.fraction == 0.0 else self.sample_size

    @property
    def mode(self) -> int:
        """A most probable count."""
        return min(self.sample_size, math.floor((self.sample_size + 1) * self.fraction))

    def mass(self, count: int) -> float:
        """
        Return the probability of exactly one count.

        Parameters
        ----------
        count : int
            A count between `lowest` and `highest`.

        Returns
        -------
        float
            Probability in [0, 1].
        """
        if self.lowest == self.highest:
            return 1.0
        # By logarithms: the factors alone overflow or underflow in samples above about 1,000.
        return math.exp(
            math.log(math.comb(self.sample_size, count))
            + count * math.log(self.fraction)
            + (self.sample_size - count) * math.log1p(-self.fraction)
        )

    def step(self, count: int) -> float:
        """
        Return the probability of the next count over that of this one.

        Parameters
        ----------
        count : int
            A count from `lowest` to one below `highest`.

        Returns
        -------
        float
            The ratio, above 0.
        """
        odds = self.fraction / (1.0 - self.fraction)
        return (self.sample_size - count) / (count + 1) * odds

    def of_conforming(self) -> "Binomial":
        """
        Return the law of the conforming trees in the same sample.

        Returns
        -------
        Binomial
            The law with the fractions exchanged.
        """
        return Binomial(self.sample_size, 1.0 - self.fraction)

    def with_one_more(self) -> "Binomial":
        """
        Return the law for a sample of one more tree.

        Returns
        -------
        Binomial
            The law with the same fraction.
        """
        return Binomial(self.sample_size + 1, self.fraction)

    def exactly_at_most(self, count: int) -> Fraction:
        """
        Return the probability of a count or fewer without rounding.

        Parameters
        ----------
        count : int
            The largest count included.

        Returns
        -------
        Fraction
            Probability; the fraction, below 1, is taken as the decimal number that was written.
        """
        share = as_written(self.fraction)
        bad, rest = share.numerator, share.denominator - share.numerator
        # Whole numbers all the way: each term comes from the last, and the division leaves nothing.
        term = ways = rest**self.sample_size
        for found in range(min(count, self.sample_size)):
            term = term * (self.sample_size - found) * bad // ((found + 1) * rest)
            ways += term
        return Fraction(ways, share.denominator**self.sample_size)


@dataclass(frozen=True)
class Hypergeometric(CountLaw):
    """
    Nonconforming trees in a sample drawn without replacement from a real lot.

    Parameters
    ----------
    sample_size : int
        Trees drawn (symbol n).
    nonconforming : int
        Nonconforming trees in the lot (symbol D).
    lot_size : int
        Trees in the lot (symbol N).
    """

    sample_size: int
    nonconforming: int
    lot_size: int

    @property
    def lowest(self) -> int:
        """Smallest count that can occur."""
        return max(0, self.sample_size - (self.lot_size - self.nonconforming))

    @property
    def highest(self) -> float:
        """Largest count that can occur."""
        return min(self.sample_size, self.nonconforming)

    @property
    def mode(self) -> int:
        """A most probable count."""
        return (self.sample_size + 1) * (self.nonconforming + 1) // (self.lot_size + 2)

    def mass(self, count: int) -> float:
        """
        Return the probability of exactly one count.

        Parameters
        ----------
        count : int
            A count between `lowest` and `highest`.

        Returns
        -------
        float
            Probability in [0, 1], rounded once.
        """
        return self._ways(count) / math.comb(self.lot_size, self.sample_size)

    def step(self, count: int) -> float:
        """
        Return the probability of the next count over that of this one.

        Parameters
        ----------
        count : int
            A count from `lowest` to one below `highest`.

        Returns
        -------
        float
            The ratio, above 0.
        """
        conforming_left = self.lot_size - self.nonconforming - self.sample_size + count + 1
        return ((self.nonconforming - count) * (self.sample_size - count)) / (
            (count + 1) * conforming_left
        )

    @property
    def fraction(self) -> float:
        """Share of nonconforming trees in the lot."""
        return self.nonconforming / self.lot_size

    def of_conforming(self) -> "Hypergeometric":
        """
        Return the law of the conforming trees in the same sample.

        Returns
        -------
        Hypergeometric
            The law with the counts exchanged.
        """
        return Hypergeometric(self.sample_size, self.lot_size - self.nonconforming, self.lot_size)

    def with_one_more(self) -> "Hypergeometric":
        """
        Return the law for one more tree in the sample, the lot and its nonconforming trees.

        Returns
        -------
        Hypergeometric
            The law that the mean waiting time in this lot is written with.
        """
        return Hypergeometric(self.sample_size + 1, self.nonconforming + 1, self.lot_size + 1)

    def exactly_at_most(self, count: int) -> Fraction:
        """
        Return the probability of a count or fewer without rounding.

        Parameters
        ----------
        count : int
            The largest count included.

        Returns
        -------
        Fraction
            Probability in [0, 1].
        """
        highest = min(count, self.sample_size, self.nonconforming)
        ways = sum(self._ways(found) for found in range(self.lowest, highest + 1))
        return Fraction(ways, math.comb(self.lot_size, self.sample_size))

    def _ways(self, count: int) -> int:
        return math.comb(self.nonconforming, count) * math.comb(
            self.lot_size - self.nonconforming, self.sample_size - count
        )


@dataclass(frozen=True)
class Poisson(CountLaw):
    """
    Faults on a sample where a tree can have several.

    Parameters
    ----------
    mean : float
        Expected count, sample size times faults per tree.
    """

    mean: float

    @property
    def lowest(self) -> int:
        """Smallest count that can occur."""
        return 0

    @property
    def highest(self) -> float:
        """Largest count that can occur; infinite unless the mean is 0."""
        return math.inf if self.mean > 0.0 else 0

    @property
    def mode(self) -> int:
        """A most probable count."""
        return math.floor(self.mean)

    def mass(self, count: int) -> float:
        """
        Return the probability of exactly one count.

        Parameters
        ----------
        count : int
            A count of 0 or more.

        Returns
        -------
        float
            Probability in [0, 1].
        """
        if self.mean == 0.0:
            return float(count == 0)
        return math.exp(count * math.log(self.mean) - self.mean - math.lgamma(count + 1))

    def step(self, count: int) -> float:
        """
        Return the probability of the next count over that of this one.

        Parameters
        ----------
        count : int
            A count of 0 or more.

        Returns
        -------
        float
            The ratio, above 0.
        """
        return self.mean / (count + 1)


def as_written(value: float) -> Fraction:
    """
    Return a number as the decimal a person wrote, not as the nearest binary one.

    Parameters
    ----------
    value : float
        A finite number.

    Returns
    -------
    Fraction
        The shortest decimal that reads back as the same number.

    Examples
    --------
    >>> as_written(0.1)
    Fraction(1, 10)
    """
    return Fraction(repr(float(value)))
