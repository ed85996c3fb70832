"""Figures for a whole that was sampled part by part, such as the rows of two half-days."""

import math
from collections.abc import Iterable, Sequence
from statistics import fmean, variance
from typing import NamedTuple

from audits.errors import InvalidInput
from audits.estimates.clusters import Cluster, Estimate, require_clusters
from audits.estimates.inputs import not_between, require_confidence, require_sample
from audits.messages import say
from audits.sampling.inputs import is_count, require_count


class CountedStratum(NamedTuple):
    """
    A stratum of which some trees were looked at.

    Parameters
    ----------
    size : int
        Trees in the stratum, at least 1 (symbol N).
    sampled : int
        Trees drawn from it, from 2 to `size`, or all of them (symbol n).
    found : int
        How many of those have the property, from 0 to `sampled`.
    """

    size: int
    sampled: int
    found: int


class MeasuredStratum(NamedTuple):
    """
    A stratum of which some trees were measured.

    Parameters
    ----------
    size : int
        Trees in the stratum, at least 1 (symbol N).
    values : Sequence of float
        The trees drawn from it, at least 2 or all of them, each as measured.
    """

    size: int
    values: Sequence[float]


class ClusteredStratum(NamedTuple):
    """
    A stratum of which some clusters were looked at.

    Parameters
    ----------
    clusters_in_stratum : int
        Clusters in the stratum, at least as many as were drawn (symbol N).
    clusters : Sequence of tuple of int and int
        For each cluster drawn its units and how many of them have the property; at least two.
    """

    clusters_in_stratum: int
    clusters: Sequence[tuple[int, int]]


class _Part(NamedTuple):
    """A stratum as the sums see it: size, trees drawn, their mean and variance."""

    size: int
    sampled: int
    mean: float
    variance: float


def stratified_share(strata: Iterable[tuple[int, int, int]], confidence: float = 0.95) -> Estimate:
    """
    Estimate the share of trees with a property from simple random samples of strata.

    Parameters
    ----------
    strata : Iterable of tuple of int, int and int
        For each stratum its trees, the trees drawn, and how many of those have the property, as in
        `CountedStratum`; at least one.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Estimate
        The share, its standard error with finite corrections, and its interval. For the number of
        trees use `Estimate.times` with the size of the whole.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 5.10.

    Examples
    --------
    >>> share = stratified_share([(200, 20, 3), (100, 20, 1)])
    >>> round(share.value, 4), round(share.standard_error, 4)
    (0.1167, 0.0539)
    """
    parts = []
    for place, stratum in enumerate(CountedStratum(*given) for given in strata):
        _require_part(place, stratum.size, stratum.sampled)
        require_sample(
            stratum.found,
            stratum.sampled,
            count_field=f"strata.{place}.found",
            total_field=f"strata.{place}.sampled",
        )
        share = stratum.found / stratum.sampled
        others = max(stratum.sampled - 1, 1)
        scatter = share * (1 - share) * stratum.sampled / others
        parts.append(_Part(stratum.size, stratum.sampled, share, scatter))
    return _over_parts(parts, confidence)


def stratified_mean(
    strata: Iterable[tuple[int, Sequence[float]]], confidence: float = 0.95
) -> Estimate:
    """
    Estimate the mean of a measure from simple random samples of strata.

    Parameters
    ----------
    strata : Iterable of tuple of int and sequence of float
        For each stratum its trees and the values of those drawn, as in `MeasuredStratum`; at
        least one.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Estimate
        The mean in the unit of the values, its standard error with finite corrections, and its
        interval. For the total use `stratified_total`.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 5.4.

    Examples
    --------
    >>> height_m = stratified_mean([(200, [3.1, 3.3, 3.2]), (100, [3.4, 3.5, 3.9])])
    >>> round(height_m.value, 3), round(height_m.standard_error, 3)
    (3.333, 0.063)
    """
    return _over_parts(_measured_parts(strata), confidence)


def stratified_total(
    strata: Iterable[tuple[int, Sequence[float]]], confidence: float = 0.95
) -> Estimate:
    """
    Estimate the total of a measure from simple random samples of strata.

    Parameters
    ----------
    strata : Iterable of tuple of int and sequence of float
        For each stratum its trees and the values of those drawn, as in `MeasuredStratum`; at
        least one.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Estimate
        The total in the unit of the values, its standard error with finite corrections, and its
        interval.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 5.4.

    Examples
    --------
    >>> limbs = stratified_total([(200, [2, 2, 3]), (100, [1, 2, 2])])
    >>> round(limbs.value, 1), round(limbs.standard_error, 1)
    (633.3, 73.9)
    """
    parts = _measured_parts(strata)
    return _over_parts(parts, confidence).times(sum(part.size for part in parts))


def stratified_share_in_clusters(
    strata: Iterable[tuple[int, Sequence[tuple[int, int]]]], confidence: float = 0.95
) -> Estimate:
    """
    Estimate a share of units from simple random samples of clusters, drawn stratum by stratum.

    Parameters
    ----------
    strata : Iterable of tuple of int and sequence of tuple of int and int
        For each stratum the clusters in it and those drawn, as in `ClusteredStratum`; at least
        one.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    Estimate
        The combined ratio of the estimated sums, its linearised standard error with finite
        corrections, and its interval; each stratum costs one degree of freedom.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 6.11.

    Examples
    --------
    >>> north, south = [(24, 1), (31, 4), (18, 0)], [(40, 6), (35, 6), (29, 1)]
    >>> share = stratified_share_in_clusters([(30, north), (18, south)])
    >>> round(share.value, 4), round(share.standard_error, 4)
    (0.0945, 0.0249)
    """
    require_confidence(confidence)
    parts = [_clustered_part(place, *given) for place, given in enumerate(strata)]
    _require_some(parts)
    units = sum(part.size * fmean(cluster.units for cluster in part.clusters) for part in parts)
    found = sum(part.size * fmean(cluster.found for cluster in part.clusters) for part in parts)
    share = found / units
    scatter = sum(part.variance_beside(share) for part in parts)
    degrees_of_freedom = sum(len(part.clusters) - 1 for part in parts)
    return Estimate(share, math.sqrt(scatter) / units, degrees_of_freedom, confidence)


class _ClusteredPart(NamedTuple):
    """A stratum of clusters as the sums see it."""

    size: int
    clusters: Sequence[Cluster]

    def variance_beside(self, share: float) -> float:
        """Return the variance of the estimated sum of what the clusters have beside a share."""
        beside = [cluster.found - share * cluster.units for cluster in self.clusters]
        return _variance_of_sum(self.size, len(beside), variance(beside))


def _clustered_part(
    place: int, clusters_in_stratum: int, clusters: Sequence[tuple[int, int]]
) -> _ClusteredPart:
    sample = require_clusters(clusters, f"strata.{place}.clusters")
    require_count(f"strata.{place}.clusters_in_stratum", clusters_in_stratum, len(sample))
    return _ClusteredPart(clusters_in_stratum, sample)


def _measured_parts(strata: Iterable[tuple[int, Sequence[float]]]) -> Sequence[_Part]:
    parts = []
    for place, stratum in enumerate(MeasuredStratum(*given) for given in strata):
        values = list(stratum.values)
        _require_part(place, stratum.size, len(values), "values")
        if not all(math.isfinite(value) for value in values):
            raise InvalidInput({f"strata.{place}.values": say("Every value must be a number.")})
        scatter = variance(values) if len(values) > 1 else 0.0
        parts.append(_Part(stratum.size, len(values), fmean(values), scatter))
    return parts


def _over_parts(parts: Sequence[_Part], confidence: float) -> Estimate:
    require_confidence(confidence)
    _require_some(parts)
    size = sum(part.size for part in parts)
    mean = sum(part.size * part.mean for part in parts) / size
    scatter = sum(_variance_of_sum(part.size, part.sampled, part.variance) for part in parts)
    degrees_of_freedom = sum(part.sampled - 1 for part in parts)
    return Estimate(mean, math.sqrt(scatter) / size, degrees_of_freedom, confidence)


def _variance_of_sum(size: int, sampled: int, scatter: float) -> float:
    return size * (size - sampled) * scatter / sampled


def _require_part(place: int, size: int, sampled: int, field: str = "sampled") -> None:
    require_count(f"strata.{place}.size", size, 1)
    least = min(2, size)
    if not is_count(sampled, least) or sampled > size:
        raise InvalidInput({f"strata.{place}.{field}": not_between(sampled, least, size)})


def _require_some(parts: Sequence[object]) -> None:
    if not parts:
        raise InvalidInput({"strata": say("It takes at least one stratum.")})
