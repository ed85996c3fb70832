"""
How surely one level of a factor differs from the mean of its kind.

The effect of one of two auditors is known badly against an average of all auditors there could be,
since two say little of that average; how far the two stand apart is known well. People ask the
second: is this auditor stricter than the others here, is this block harder?

This module loads numpy; import it where it is used.

References
----------
.. [1] N. E. Breslow and D. G. Clayton, Journal of the American Statistical Association 88:9-25,
   1993: the joint covariance of average and effects, given the variances.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import require_same_length

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Contrast:
    """
    How far a level stands from the mean of its factor's levels.

    Parameters
    ----------
    effect : float
        The distance, on the scale of the model.
    sd : float
        Its standard deviation, with the variances taken as known; 0 where the factor's is 0.
    """

    effect: float
    sd: float


def contrasts(
    factors: Mapping[str, Sequence[Hashable]],
    weights: Sequence[float],
    variances: Mapping[str, float],
    effects: Mapping[str, Mapping[Hashable, float]],
) -> dict[str, dict[Hashable, Contrast]]:
    """
    Return how far each level stands from the mean of its factor's levels.

    Parameters
    ----------
    factors : Mapping of str to Sequence of Hashable
        For each factor its level in every row.
    weights : Sequence of float
        What a row tells, above 0: n p (1 - p) at the fitted chance for counts, 1 over the residual
        variance for measures.
    variances : Mapping of str to float
        Variance of each factor's effects, at least 0.
    effects : Mapping of str to Mapping of Hashable to float
        Effect of each level.

    Returns
    -------
    dict of str to dict of Hashable to Contrast
        By factor and level.

    Raises
    ------
    ValueError
        If columns differ in length, or a level has no effect.
    """
    require_same_length(weights=weights, **factors)
    for name, column in factors.items():
        missing = set(column) - set(effects[name])
        if missing:
            raise ValueError(f"{name} has no effect for {missing.pop()!r}")
    told = np.asarray(weights, dtype=float)
    free = [name for name in factors if variances[name] > 0 and len(effects[name]) > 1]
    covariance = _covariance(factors, told, variances, effects, free)
    found: dict[str, dict[Hashable, Contrast]] = {}
    start = 1
    for name in factors:
        levels = list(effects[name])
        values = np.array([effects[name][level] for level in levels])
        sds = np.zeros(len(levels))
        if name in free:
            own = covariance[start : start + len(levels), start : start + len(levels)]
            start += len(levels)
            spread = np.diagonal(own) - 2 * own.mean(axis=1) + own.mean()
            sds = np.sqrt(np.maximum(spread, 0.0))
        middle = float(values.mean())
        found[name] = {
            level: Contrast(float(value) - middle, float(sd))
            for level, value, sd in zip(levels, values, sds, strict=True)
        }
    return found


def _covariance(
    factors: Mapping[str, Sequence[Hashable]],
    weights: Floats,
    variances: Mapping[str, float],
    effects: Mapping[str, Mapping[Hashable, float]],
    free: Sequence[str],
) -> Floats:
    """Return the covariance of the average and of the free factors' effects, in this order."""
    columns = [np.zeros(len(weights), dtype=np.intp)]
    prior = [0.0]
    for name in free:
        place = {level: len(prior) + number for number, level in enumerate(effects[name])}
        columns.append(np.array([place[level] for level in factors[name]], dtype=np.intp))
        prior += [1 / variances[name]] * len(place)
    information = np.diag(np.array(prior))
    for one in columns:
        for other in columns:
            np.add.at(information, (one, other), weights)
    inverse: Floats = np.linalg.inv(information)
    return inverse
