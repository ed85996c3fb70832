"""
A linear mixed model: measured heights by worker, by block and by auditor, each set apart.

A value is an average plus the effects of its worker, its block and its auditor, and what chance
leaves. Effects are drawn from normal laws whose variances are found by restricted or by full
maximum likelihood, so that a worker with few trees is moved towards the average.

This module loads numpy; import it where it is used.

References
----------
.. [1] D. Bates, M. Maechler, B. Bolker and S. Walker, Fitting linear mixed-effects models using
   lme4, Journal of Statistical Software 67(1), 2015.
"""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import require_finite, require_inside, require_same_length
from audits.comparison.crossed import (
    CrossedDesign,
    Factored,
    Slice,
    at_average,
    by_factor,
    left_for_average,
    named,
    search,
    spreads_at_average,
    widened_spreads,
)
from audits.comparison.reasons import NoFit
from audits.estimates import Interval
from audits.estimates.intervals import normal_quantile

Floats = NDArray[np.float64]

# Where the search starts: effects that scatter as much as chance does.
_FIRST_RELATIVE: Final = 1.0

# Scale of what is usual for effects, times what chance leaves; wide, so that the data speak
# wherever they can.
_USUAL_RELATIVE: Final = 3.0

# Effects this many times as large as what chance leaves mean that it leaves nothing.
_MOST_RELATIVE: Final = 1_000.0

# Values that scatter less than this, beside their size, are the same.
_LEAST_SCATTER: Final = 1e-12


@dataclass(frozen=True)
class LinearMixedFit:
    """
    Measured values by worker, block, auditor or other factors.

    Parameters
    ----------
    intercept : float
        Value where every effect is 0, in the unit of the values.
    se_intercept : float
        Its standard error.
    variances : Mapping of str to float
        Variance of each factor's effects; 0 where the factor explains nothing beyond chance.
    var_residual : float
        Variance of what chance leaves.
    levels : Mapping of str to tuple of Hashable
        The levels of each factor, in order of first appearance.
    effects : Mapping of str to tuple of float
        Effect of each level, in the order of `levels`.
    conditional_sds : Mapping of str to tuple of float
        Standard deviation of each effect with the average and the variances taken as known.
    average_values : Mapping of str to tuple of float
        Value at each level where the other factors are at the mean of their levels.
    average_sds : Mapping of str to tuple of float
        Standard deviation of those, the errors of the average and of the variances included.
    log_likelihood : float
        Logarithm of the likelihood, restricted if the method is.
    iterations : int
        Rounds of the search.
    converged : bool
        Whether the search arrived; if not, the figures are not to be shown.
    at_zero : tuple of str
        Factors whose variance is 0 (a singular fit): their levels do not differ beyond chance.
    one_level : tuple of str
        Factors with a single level, which cannot be told from the average; variance and effect
        are given as 0.
    confounded : tuple of tuple of str and str
        Pairs of factors that divide the values alike, so that nothing tells them apart.
    """

    intercept: float
    se_intercept: float
    variances: Mapping[str, float]
    var_residual: float
    levels: Mapping[str, tuple[Hashable, ...]]
    effects: Mapping[str, tuple[float, ...]]
    conditional_sds: Mapping[str, tuple[float, ...]]
    average_values: Mapping[str, tuple[float, ...]]
    average_sds: Mapping[str, tuple[float, ...]]
    log_likelihood: float
    iterations: int
    converged: bool
    at_zero: tuple[str, ...]
    one_level: tuple[str, ...]
    confounded: tuple[tuple[str, str], ...]


class AdjustedValue(NamedTuple):
    """
    The value at one level where all else is average.

    Parameters
    ----------
    value : float
        The value.
    interval : Interval
        Its limits.
    """

    value: float
    interval: Interval


def adjusted_value(
    fit: LinearMixedFit, factor: str, level: Hashable, confidence: float = 0.95
) -> AdjustedValue:
    """
    Return the value at one level, in average blocks and for average auditors.

    Parameters
    ----------
    fit : LinearMixedFit
        The fit.
    factor : str
        Name of the factor, such as "worker".
    level : Hashable
        The level, such as the worker's number.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    AdjustedValue
        The value and its limits by the normal law; they allow for the variances of the factors
        being estimates.

    Raises
    ------
    ValueError
        If the factor or the level is unknown or the confidence outside its range.
    """
    require_inside("confidence", confidence)
    if factor not in fit.levels:
        raise ValueError(f'factor must be one of {", ".join(fit.levels)}, not "{factor}"')
    if level not in fit.levels[factor]:
        raise ValueError(f"level {level!r} is not in the data of {factor}")
    place = fit.levels[factor].index(level)
    middle = fit.average_values[factor][place]
    reach = normal_quantile(confidence) * fit.average_sds[factor][place]
    return AdjustedValue(middle, Interval(middle - reach, middle + reach))


def fit_linear_mixed(
    values: Sequence[float],
    factors: Mapping[str, Sequence[Hashable]],
    method: Literal["REML", "ML"] = "REML",
    *,
    progress: Callable[[float], object] | None = None,
) -> LinearMixedFit | NoFit:
    """
    Fit measured values to crossed factors, such as worker, block and auditor.

    Parameters
    ----------
    values : Sequence of float
        What was measured, one value per row, such as heights in mm.
    factors : Mapping of str to Sequence of Hashable
        For each factor its level in every row.
    method : str, optional
        "REML" for restricted maximum likelihood, which is nearly without bias in the variances,
        or "ML" for full.
    progress : Callable or None, optional
        Called with the share that is done, in [0, 1], never falling; the last call is 1.

    Returns
    -------
    LinearMixedFit or NoFit
        The fit, or the reason why there is none: no value, no factor with two levels, a factor
        in which no level has two values, or values without scatter.

    Raises
    ------
    ValueError
        If columns differ in length, a value is no finite number, or the method is unknown.

    Examples
    --------
    >>> fit = fit_linear_mixed(
    ...     [3000, 3040, 3010, 3120, 3150, 3130],
    ...     {"worker": ["Ana", "Ana", "Ana", "Ben", "Ben", "Ben"]},
    ... )
    >>> round(fit.intercept), [round(effect, 1) for effect in fit.effects["worker"]]
    (3075, [-57.4, 57.4])
    """
    numbers = np.array(require_finite("values", values))
    require_same_length(values=values, **factors)
    if method not in {"REML", "ML"}:
        raise ValueError(f'method must be "REML" or "ML", not "{method}"')
    if not len(numbers):
        return NoFit.NO_TREES
    design = CrossedDesign(factors)
    if not design.names:
        return NoFit.ONE_LEVEL
    if max(design.sizes) == len(numbers):
        return NoFit.NO_REPEATS
    middle = float(numbers.mean())
    unit = float(numbers.std())
    if unit <= _LEAST_SCATTER * abs(middle):
        return NoFit.NO_SPREAD
    # In these units rounding is the same whatever was measured.
    profile = _Profile((numbers - middle) / unit, design, restricted=method == "REML")
    start = np.full(len(design.names), _FIRST_RELATIVE)
    found = search(
        profile.value_and_slope,
        start,
        free=0,
        most_deviation=_MOST_RELATIVE,
        precision=1e-6,
        progress=progress,
    )
    fit = (
        NoFit.NO_SCATTER
        if (found.place >= _MOST_RELATIVE).any()
        else profile.fit(
            found.place,
            middle=middle,
            unit=unit,
            iterations=found.iterations,
            converged=found.converged,
            progress=progress,
        )
    )
    if progress is not None:
        progress(1.0)
    return fit


class _Solved(NamedTuple):
    """The penalised least squares at some relative standard deviations."""

    factored: Factored
    pull: Floats
    followed: Floats
    information: float
    average: float
    modes: Floats
    left: Floats
    squares: float


class _Profile:
    """Minus the logarithm of the likelihood by relative standard deviations alone."""

    def __init__(self, values: Floats, design: CrossedDesign, *, restricted: bool) -> None:
        self.values = values
        self.design = design
        self.restricted = restricted
        self.equations = design.equations(np.ones(len(values)))
        self.counts = design.of_levels(np.ones(len(values)))
        self.sums = design.of_levels(values)
        self.free = len(values) - restricted

    def _solve(self, scale: Floats) -> _Solved:
        design = self.design
        factored = Factored(self.equations, scale)
        pull = scale * self.counts
        followed = factored.solve(pull)
        information = left_for_average(float(len(self.values)), float(pull @ followed))
        right = scale * self.sums
        average = (float(self.values.sum()) - float(followed @ right)) / information
        modes = factored.solve(right - average * pull)
        left = self.values - average - design.of_rows(scale * modes)
        squares = float(left @ left + modes @ modes)
        return _Solved(factored, pull, followed, information, average, modes, left, squares)

    def value_and_slope(self, relative: Floats) -> tuple[float, Floats]:
        """Return the value at relative standard deviations, and its slopes."""
        design = self.design
        scale = design.spread_out(relative)
        at = self._solve(scale)
        value = at.factored.log_determinant + self.free * (
            1 + math.log(2 * math.pi * at.squares / self.free)
        )
        # Half the slopes of the determinant, of the squares, and of the average's information.
        unexplained = design.split(1 - at.factored.inverse_diagonal())
        moved = design.split(design.of_levels(at.left) * at.modes)
        slopes = np.array(
            [
                (float(part.sum()) / own if own > 0 else 0.0)
                - self.free * float(pulled.sum()) / at.squares
                for own, part, pulled in zip(relative, unexplained, moved, strict=True)
            ]
        )
        if self.restricted:
            value += math.log(at.information)
            turned = self.equations.times(scale * at.followed) - self.counts
            parts = design.split(at.followed * turned)
            slopes += np.array([float(part.sum()) for part in parts]) / at.information
        return value / 2, slopes

    def held(self, relative: Floats) -> Slice:
        """Return the fit with the relative standard deviations held, in units of the scatter."""
        design = self.design
        scale = design.spread_out(relative)
        at = self._solve(scale)
        deviation = math.sqrt(at.squares / self.free)
        spreads = spreads_at_average(
            design, at.factored, relative, at.pull, float(len(self.values))
        )
        return Slice(
            self.value_and_slope(relative)[0],
            at_average(design, at.average, scale * at.modes),
            {name: deviation * spread for name, spread in spreads.items()},
        )

    def fit(
        self,
        relative: Floats,
        *,
        middle: float,
        unit: float,
        iterations: int,
        converged: bool,
        progress: Callable[[float], object] | None,
    ) -> LinearMixedFit:
        """Return the figures at the end of a search, in the unit of what was measured."""
        design = self.design
        scale = design.spread_out(relative)
        at = self._solve(scale)
        residual = at.squares / self.free
        deviation = unit * math.sqrt(residual)
        average = middle + unit * at.average
        effects = unit * scale * at.modes
        sds = deviation * scale * np.sqrt(at.factored.inverse_diagonal())
        spreads = {
            name: unit * spread
            for name, spread in widened_spreads(
                self.held, relative, usual=_USUAL_RELATIVE, progress=progress
            ).items()
        }
        overall = average + sum(float(part.mean()) for part in design.split(effects))
        se_intercept = deviation / math.sqrt(at.information)
        # The likelihood of the values as measured, not of those in units of their scatter.
        log_likelihood = -self.value_and_slope(relative)[0] - self.free * math.log(unit)
        return LinearMixedFit(
            intercept=average,
            se_intercept=se_intercept,
            variances=design.by_name(relative**2 * deviation**2),
            var_residual=deviation**2,
            levels=design.levels,
            effects=by_factor(design, named(design, effects), 0.0),
            conditional_sds=by_factor(design, named(design, sds), 0.0),
            average_values=by_factor(design, at_average(design, average, effects), overall),
            average_sds=by_factor(design, spreads, se_intercept),
            log_likelihood=log_likelihood,
            iterations=iterations,
            converged=converged,
            at_zero=design.at_zero(relative),
            one_level=design.one_level,
            confounded=design.confounded,
        )
