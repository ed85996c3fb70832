"""Shares of things that come in clusters: branches on trees, trees in rows."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

from audits.errors import InvalidInput
from audits.estimates.inputs import require_confidence, require_sample
from audits.estimates.intervals import Interval, normal_quantile, student_quantile
from audits.messages import say
from audits.sampling.inputs import require_count

_LEAST_CLUSTERS: Final = 2


class Cluster(NamedTuple):
    """
    What was found in one cluster, such as the branches of one tree.

    Parameters
    ----------
    units : int
        Units in the cluster, at least 0 (symbol M).
    found : int
        How many of them have the property, from 0 to `units` (symbol a).
    """

    units: int
    found: int


@dataclass(frozen=True)
class Estimate:
    """
    A figure from a sample with what chance leaves open.

    Parameters
    ----------
    value : float
        The figure.
    standard_error : float
        Its standard error, in the unit of the figure.
    degrees_of_freedom : int
        Degrees of freedom of the standard error; 0 if chance had no part.
    confidence : float
        Confidence of the interval, in (0, 1).
    """

    value: float
    standard_error: float
    degrees_of_freedom: int
    confidence: float

    @cached_property
    def interval(self) -> Interval:
        """Limits by Student's law, as the formula gives them: not cut to a range."""
        if self.degrees_of_freedom == 0:
            return Interval(self.value, self.value)
        spread = student_quantile(self.confidence, self.degrees_of_freedom) * self.standard_error
        return Interval(self.value - spread, self.value + spread)

    @cached_property
    def normal_interval(self) -> Interval:
        """Limits by the normal law, for many degrees of freedom."""
        spread = normal_quantile(self.confidence) * self.standard_error
        return Interval(self.value - spread, self.value + spread)

    def times(self, factor: float) -> "Estimate":
        """
        Return the same figure in other units, such as a total from a mean.

        Parameters
        ----------
        factor : float
            What to multiply by, at least 0.

        Returns
        -------
        Estimate
            The figure and its standard error, both multiplied.
        """
        return Estimate(
            self.value * factor,
            self.standard_error * factor,
            self.degrees_of_freedom,
            self.confidence,
        )


@dataclass(frozen=True)
class ClusterEstimate(Estimate):
    """
    A share of units, from clusters taken whole.

    Parameters
    ----------
    value : float
        The share, in [0, 1]: a ratio of sums.
    standard_error : float
        Its standard error, which counts clusters and not units.
    degrees_of_freedom : int
        Clusters less one.
    confidence : float
        Confidence of the intervals, in (0, 1).
    clusters : int
        Clusters in the sample (symbol n).
    filled_clusters : int
        Those of them that hold a unit at all.
    units : int
        Units in them.
    count : int
        Units with the property.
    sampling_fraction : float
        Share of the population's clusters that were sampled, in [0, 1]; 0 if it is endless.
    """

    clusters: int
    filled_clusters: int
    units: int
    count: int
    sampling_fraction: float

    @property
    def design_effect(self) -> float | None:
        """
        The variance over that of as many units drawn one by one.

        Above 1 where the units of a cluster are alike. None if no unit or every unit has the
        property: such a sample does not show how alike they are.
        """
        alone = self.value * (1 - self.value) / self.units
        return self.standard_error**2 / alone if alone else None

    @cached_property
    def logit_interval(self) -> Interval | None:
        """Limits by Student's law on the logit scale, inside (0, 1); None for a share of 0 or 1."""
        inside = self.value * (1 - self.value)
        if inside == 0:
            return None
        middle = math.log(self.value / (1 - self.value))
        quantile = student_quantile(self.confidence, self.degrees_of_freedom)
        spread = quantile * self.standard_error / inside
        return Interval(_logistic(middle - spread), _logistic(middle + spread))

    @cached_property
    def exact_interval(self) -> Interval:
        """
        Limits by the beta law for the number of units that the sample is worth.

        They lie in [0, 1] and are never narrower than those of as many units drawn one by one.
        If no unit or every unit has the property, each cluster counts as one unit, as if all its
        units were alike. Of the methods here this is the one for people.

        References
        ----------
        .. [1] E. L. Korn and B. I. Graubard, Survey Methodology 24:193-201, 1998.
        """
        left_out = 1 - self.sampling_fraction
        if left_out == 0:
            return Interval(self.value, self.value)
        if self.count in (0, self.units):
            return self._beta_limits(self.filled_clusters / left_out)
        return self._beta_limits(min(self._worth(), self.units / left_out))

    @cached_property
    def beta_interval(self) -> Interval:
        """
        The limits of Korn and Graubard without the floor that `exact_interval` puts under them.

        Narrower than those of as many units drawn one by one where the clusters are more alike
        than chance would make them. The share itself if its standard error is 0.
        """
        if self.standard_error == 0:
            return Interval(self.value, self.value)
        return self._beta_limits(self._worth())

    def _worth(self) -> float:
        """Return how many units drawn one by one would say as much, with Student's correction."""
        if self.standard_error == 0:
            return math.inf
        units = self.value * (1 - self.value) / self.standard_error**2
        as_if_alone = student_quantile(self.confidence, max(self.units - 1, 1))
        return (
            units * (as_if_alone / student_quantile(self.confidence, self.degrees_of_freedom)) ** 2
        )

    def _beta_limits(self, size: float) -> Interval:
        from scipy.special import betaincinv  # noqa: PLC0415 - keeps starting the app light

        tail = (1 - self.confidence) / 2
        hits, others = size * self.value, size * (1 - self.value)
        lower = float(betaincinv(hits, others + 1, tail)) if hits else 0.0
        upper = float(betaincinv(hits + 1, others, 1 - tail)) if others else 1.0
        return Interval(lower, upper)


def share_in_clusters(
    clusters: Iterable[tuple[int, int]],
    *,
    clusters_in_population: int | None = None,
    confidence: float = 0.95,
) -> ClusterEstimate:
    """
    Estimate a share of units from a simple random sample of whole clusters.

    Branches of one tree are alike, because one person pruned them in one minute; so a hundred
    branches on twenty trees say less than a hundred branches on a hundred trees. The standard
    error here comes from how much the clusters differ.

    Parameters
    ----------
    clusters : Iterable of tuple of int and int
        For each cluster its units and how many of them have the property, as in `Cluster`; at
        least two clusters.
    clusters_in_population : int or None, optional
        Clusters from which they were drawn (symbol N); None if these are beyond counting, or
        if the finite correction is to be left out.
    confidence : float, optional
        Confidence of the intervals, in (0, 1).

    Returns
    -------
    ClusterEstimate
        The ratio of sums, its linearised standard error, intervals and design effect.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 9A.6 and 6.4.
    .. [2] R. L. Scheaffer, W. Mendenhall and L. Ott, Elementary Survey Sampling, chapter 8.

    Examples
    --------
    >>> single = share_in_clusters([(5, 5), (5, 4), (4, 2), (5, 5)])
    >>> round(single.value, 3), round(single.standard_error, 3), round(single.design_effect, 2)
    (0.842, 0.108, 1.67)
    """
    sample = require_clusters(clusters)
    require_confidence(confidence)
    fraction = sampled_fraction(len(sample), clusters_in_population)
    units = sum(cluster.units for cluster in sample)
    count = sum(cluster.found for cluster in sample)
    share = count / units
    scatter = sum((cluster.found - share * cluster.units) ** 2 for cluster in sample)
    free = len(sample) - 1
    variance = (1 - fraction) * len(sample) * scatter / free / units**2
    return ClusterEstimate(
        value=share,
        standard_error=math.sqrt(variance),
        degrees_of_freedom=free,
        confidence=confidence,
        clusters=len(sample),
        filled_clusters=sum(cluster.units > 0 for cluster in sample),
        units=units,
        count=count,
        sampling_fraction=fraction,
    )


class SubsampledCluster(NamedTuple):
    """
    What was found in a part of one cluster, such as some trees of a row.

    Parameters
    ----------
    units : int
        Units in the cluster, at least 1 (symbol M).
    sampled : int
        Units drawn from it, from 1 to `units` (symbol m).
    found : int
        How many of those have the property, from 0 to `sampled` (symbol a).
    """

    units: int
    sampled: int
    found: int


def share_in_two_stages(
    clusters: Iterable[tuple[int, int, int]],
    *,
    clusters_in_population: int | None = None,
    confidence: float = 0.95,
) -> Estimate:
    """
    Estimate a share of units from some units of some clusters, both drawn at random.

    Parameters
    ----------
    clusters : Iterable of tuple of int, int and int
        For each sampled cluster its units, how many were drawn, and how many of those have the
        property, as in `SubsampledCluster`; at least two clusters.
    clusters_in_population : int or None, optional
        Clusters from which they were drawn (symbol N); None if these are beyond counting.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Estimate
        The mean of the clusters' shares weighted by their units, its linearised standard error
        with both finite corrections, and its interval.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field. A single unit drawn from a larger
        cluster is outside, because it does not show how its cluster scatters.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 11.8 (ratio to size).

    Examples
    --------
    >>> rows = [(30, 10, 2), (42, 14, 1), (25, 8, 0), (36, 12, 3), (28, 9, 1)]
    >>> rate = share_in_two_stages(rows, clusters_in_population=15)
    >>> round(rate.value, 4), round(rate.standard_error, 4)
    (0.1311, 0.0421)
    """
    sample = _require_subsamples(clusters)
    require_confidence(confidence)
    fraction = sampled_fraction(len(sample), clusters_in_population)
    units = sum(cluster.units for cluster in sample)
    share = sum(cluster.units * cluster.found / cluster.sampled for cluster in sample) / units
    scatter = sum(
        (cluster.units * (cluster.found / cluster.sampled - share)) ** 2 for cluster in sample
    )
    between = (1 - fraction) * len(sample) * scatter / (len(sample) - 1)
    # In an endless population of clusters the scatter between them holds that within them as well.
    within = fraction * sum(_scatter_within(cluster) for cluster in sample)
    return Estimate(share, math.sqrt(between + within) / units, len(sample) - 1, confidence)


def sampled_fraction(
    sampled: int, population: int | None, field: str = "clusters_in_population"
) -> float:
    """
    Return which part of a population a sample took.

    Parameters
    ----------
    sampled : int
        Members in the sample.
    population : int or None
        Members in all; None if these are beyond counting.
    field : str, optional
        Name of the field, for the person who typed the population.

    Returns
    -------
    float
        A ratio in [0, 1].

    Raises
    ------
    InvalidInput
        If the population is smaller than the sample.
    """
    if population is None:
        return 0.0
    require_count(field, population, sampled)
    return sampled / population


def require_clusters(
    clusters: Iterable[tuple[int, int]], field: str = "clusters"
) -> Sequence[Cluster]:
    """
    Refuse clusters from which no share can be estimated.

    Parameters
    ----------
    clusters : Iterable of tuple of int and int
        Units of each cluster, and how many of them have the property.
    field : str, optional
        Name of the field, for the person who typed them.

    Returns
    -------
    Sequence of Cluster
        The same clusters.

    Raises
    ------
    InvalidInput
        If there are fewer than two clusters, none has a unit, or one has more hits than units.
    """
    sample = [Cluster(*cluster) for cluster in clusters]
    _require_two(field, len(sample))
    for place, cluster in enumerate(sample):
        require_sample(
            cluster.found,
            cluster.units,
            count_field=f"{field}.{place}.found",
            total_field=f"{field}.{place}.units",
        )
    if not any(cluster.units for cluster in sample):
        raise InvalidInput({field: say("Nothing was looked at here, so there is no share.")})
    return sample


def _require_subsamples(clusters: Iterable[tuple[int, int, int]]) -> Sequence[SubsampledCluster]:
    sample = [SubsampledCluster(*cluster) for cluster in clusters]
    _require_two("clusters", len(sample))
    for place, cluster in enumerate(sample):
        field = f"clusters.{place}"
        require_count(f"{field}.units", cluster.units, 1)
        require_sample(
            cluster.sampled,
            cluster.units,
            count_field=f"{field}.sampled",
            total_field=f"{field}.units",
        )
        require_count(f"{field}.sampled", cluster.sampled, min(2, cluster.units))
        require_sample(
            cluster.found,
            cluster.sampled,
            count_field=f"{field}.found",
            total_field=f"{field}.sampled",
        )
    return sample


def _require_two(field: str, clusters: int) -> None:
    if clusters < _LEAST_CLUSTERS:
        raise InvalidInput(
            {field: say("It takes at least two of them to see how much they differ.")}
        )


def _scatter_within(cluster: SubsampledCluster) -> float:
    """Return the variance that drawing some of a cluster's units gives to its number of hits."""
    left_out = cluster.units - cluster.sampled
    if left_out == 0:
        return 0.0
    share = cluster.found / cluster.sampled
    return cluster.units * left_out * share * (1 - share) / (cluster.sampled - 1)


def _logistic(value: float) -> float:
    # The half of the hyperbolic tangent is the same function, and never overflows.
    return (1.0 + math.tanh(value / 2.0)) / 2.0
