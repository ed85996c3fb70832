"""
A binomial mixed model: how often trees fail by worker, by block and by auditor, each set apart.

The logit of a tree's chance to fail is an average plus the effects of its worker, its block and
its auditor. Effects are drawn from normal laws whose variances are found as well, so that a worker
with few trees, or only in one hard block, is moved towards the average and not blamed. The
likelihood is Laplace's approximation; average and variances are its maximum together.

This module loads numpy; import it where it is used.

References
----------
.. [1] N. E. Breslow and D. G. Clayton, Approximate inference in generalized linear mixed models,
   Journal of the American Statistical Association 88:9-25, 1993.
.. [2] D. Bates, M. Maechler, B. Bolker and S. Walker, Journal of Statistical Software 67(1), 2015,
   and the vignette "Computational methods for mixed models" of lme4: penalised iteratively
   reweighted least squares inside, average and relative standard deviations outside.
"""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import require_counts, require_inside, require_same_length
from audits.comparison.crossed import (
    CrossedDesign,
    Factored,
    Slice,
    at_average,
    by_factor,
    left_for_average,
    logistic,
    logit,
    named,
    search,
    spreads_at_average,
    widened_spreads,
)
from audits.comparison.reasons import NoFit
from audits.estimates import Interval
from audits.estimates.intervals import normal_quantile

Floats = NDArray[np.float64]

# Where the search starts: a usual spread of people and blocks, in logits.
_FIRST_SPREAD: Final = 0.5

# Scale of what is usual, in logits; wide, so that the data speak wherever they can.
_USUAL_SPREAD: Final = 1.5

# With effects as large as this a level's trees either all fail or none does.
_MOST_SPREAD: Final = 10.0

# The mode of the effects is reached when the next step would gain less than this.
_LEAST_GAIN: Final = 1e-9
_MOST_STEPS: Final = 60
_MOST_HALVINGS: Final = 30

# Step of the differences of slopes that give the second derivatives.
_DIFFERENCE: Final = 1e-4

Progress = Callable[[float], object]


@dataclass(frozen=True)
class BinomialMixedFit:
    """
    Chances of a fault by worker, block, auditor or other factors, on the logit scale.

    Parameters
    ----------
    intercept : float
        Logit of the chance where every effect is 0.
    se_intercept : float
        Its standard error.
    variances : Mapping of str to float
        Variance of each factor's effects; 0 where the factor explains nothing beyond chance.
    levels : Mapping of str to tuple of Hashable
        The levels of each factor, in order of first appearance.
    effects : Mapping of str to tuple of float
        Effect of each level, in the order of `levels`.
    conditional_sds : Mapping of str to tuple of float
        Standard deviation of each effect with the average and the variances taken as known.
    average_logits : Mapping of str to tuple of float
        Logit of the chance at each level where the other factors are at their average, that is
        at the mean of their levels' effects.
    average_sds : Mapping of str to tuple of float
        Standard deviation of those, the errors of the average and of the variances included.
    log_likelihood : float
        Logarithm of Laplace's likelihood, with the binomial coefficients.
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
        Pairs of factors that divide the trees alike, such as one auditor for each block: nothing
        tells them apart, and the variance is shared between them at will.
    """

    intercept: float
    se_intercept: float
    variances: Mapping[str, float]
    levels: Mapping[str, tuple[Hashable, ...]]
    effects: Mapping[str, tuple[float, ...]]
    conditional_sds: Mapping[str, tuple[float, ...]]
    average_logits: Mapping[str, tuple[float, ...]]
    average_sds: Mapping[str, tuple[float, ...]]
    log_likelihood: float
    iterations: int
    converged: bool
    at_zero: tuple[str, ...]
    one_level: tuple[str, ...]
    confounded: tuple[tuple[str, str], ...]


class AdjustedChance(NamedTuple):
    """
    The chance of a fault at one level where all else is average.

    Parameters
    ----------
    chance : float
        The chance, in (0, 1).
    interval : Interval
        Its limits.
    """

    chance: float
    interval: Interval


def adjusted_chance(
    fit: BinomialMixedFit, factor: str, level: Hashable, confidence: float = 0.95
) -> AdjustedChance:
    """
    Return the chance of a fault at one level, in average blocks and for average auditors.

    Parameters
    ----------
    fit : BinomialMixedFit
        The fit.
    factor : str
        Name of the factor, such as "worker".
    level : Hashable
        The level, such as the worker's number.
    confidence : float, optional
        Confidence of the interval, in (0, 1).

    Returns
    -------
    AdjustedChance
        The chance and its limits, normal on the logit scale; they allow for the variances being
        estimates.

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
    middle, spread = fit.average_logits[factor][place], fit.average_sds[factor][place]
    reach = normal_quantile(confidence) * spread
    return AdjustedChance(
        logistic(middle), Interval(logistic(middle - reach), logistic(middle + reach))
    )


def fit_binomial_mixed(
    nonconforming: Sequence[int],
    due: Sequence[int],
    factors: Mapping[str, Sequence[Hashable]],
    *,
    progress: Progress | None = None,
) -> BinomialMixedFit | NoFit:
    """
    Fit chances of a fault to crossed factors, such as worker, block and auditor.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per row, such as per audit and worker.
    due : Sequence of int
        Due trees, one count per row; rows without any are left out, and with them levels that
        have no others.
    factors : Mapping of str to Sequence of Hashable
        For each factor its level in every row.
    progress : Callable or None, optional
        Called with the share that is done, in [0, 1], never falling; the last call is 1.

    Returns
    -------
    BinomialMixedFit or NoFit
        The fit, or the reason why there is none: no due tree, no fault, only faults, no factor
        with two levels, or faults so unevenly spread that no finite variance fits them.

    Raises
    ------
    ValueError
        If columns differ in length or a number lies outside its range.

    Examples
    --------
    >>> fit = fit_binomial_mixed(
    ...     [1, 4, 2, 9, 0, 3, 2, 8],
    ...     [30] * 8,
    ...     {"worker": ["Ana", "Ben"] * 4, "block": ["north"] * 4 + ["south"] * 4},
    ... )
    >>> fit.at_zero
    ('block',)
    >>> chance, (lower, upper) = adjusted_chance(fit, "worker", "Ben")
    >>> round(chance, 2), round(lower, 2), round(upper, 2)
    (0.19, 0.13, 0.27)
    """
    pairs = require_counts(nonconforming, due)
    require_same_length(due=due, **factors)
    kept = [row for row, (_, total) in enumerate(pairs) if total]
    y = np.array([pairs[row][0] for row in kept], dtype=float)
    n = np.array([pairs[row][1] for row in kept], dtype=float)
    if not kept:
        return NoFit.NO_TREES
    if not y.any():
        return NoFit.NO_FAULTS
    if (y == n).all():
        return NoFit.ALL_FAULTS
    design = CrossedDesign(
        {name: [column[row] for row in kept] for name, column in factors.items()}
    )
    if not design.names:
        return NoFit.ONE_LEVEL
    laplace = _Laplace(y, n, design)
    start = np.array([logit(float(y.sum() / n.sum())), *[_FIRST_SPREAD] * len(design.names)])
    found = search(
        laplace.value_and_slope, start, free=1, most_deviation=_MOST_SPREAD, progress=progress
    )
    separated = bool((found.place[1:] >= _MOST_SPREAD).any())
    fit = (
        NoFit.SEPARATED
        if separated
        else laplace.fit(
            found.place,
            iterations=found.iterations,
            converged=found.converged,
            progress=progress,
        )
    )
    if progress is not None:
        progress(1.0)
    return fit


class _Laplace:
    """Laplace's approximation of minus the log-likelihood, its slopes, and what follows."""

    def __init__(self, y: Floats, n: Floats, design: CrossedDesign) -> None:
        self.y = y
        self.n = n
        self.design = design
        # Each search for the mode starts from the last one.
        self.effects = np.zeros(sum(design.sizes))
        self._average = logit(float(y.sum() / n.sum()))

    def value_and_slope(self, place: Floats) -> tuple[float, Floats]:
        """Return the value at an average and relative standard deviations, and its slopes."""
        average, relative = float(place[0]), place[1:]
        scale = self.design.spread_out(relative)
        self.effects, factored, logits = self._mode(average, scale)
        value = self._penalised(logits, self.effects) + factored.log_determinant / 2
        return value, self._slope(relative, scale, factored, logits)

    def held(self, relative: Floats) -> Slice:
        """Return the fit with the standard deviations held, the average integrated out."""
        design = self.design
        scale = design.spread_out(relative)
        average, effects = self._average, self.effects
        logits = average + design.of_rows(scale * effects)
        height = self._penalised(logits, effects)
        arrived = False
        for _ in range(_MOST_STEPS):
            chance = _expit(logits)
            weights = self.n * chance * (1 - chance)
            factored = Factored(design.equations(weights), scale)
            pull = scale * design.of_levels(weights)
            followed = factored.solve(pull)
            information = left_for_average(float(weights.sum()), float(pull @ followed))
            if arrived:
                break
            left = self.y - self.n * chance
            slope = scale * design.of_levels(left) - effects
            along = float(left.sum()) - float(followed @ slope)
            up = along / information
            step = factored.solve(slope) - up * followed
            gain = up * float(left.sum()) + float(slope @ step)
            share = 1.0
            for _ in range(_MOST_HALVINGS):
                tried = effects + share * step
                logits = average + share * up + design.of_rows(scale * tried)
                reached = self._penalised(logits, tried)
                if reached <= height or gain <= _LEAST_GAIN:
                    break
                share /= 2
            average, effects, height = average + share * up, tried, reached
            arrived = gain <= _LEAST_GAIN
        self._average, self.effects = average, effects
        value = height + (factored.log_determinant + math.log(information)) / 2
        return Slice(
            value,
            at_average(design, average, scale * effects),
            spreads_at_average(design, factored, relative, pull, float(weights.sum())),
        )

    def _penalised(self, logits: Floats, effects: Floats) -> float:
        missed = (self.n * np.logaddexp(0.0, logits) - self.y * logits).sum()
        return float(missed + effects @ effects / 2)

    def _mode(self, average: float, scale: Floats) -> tuple[Floats, Factored, Floats]:
        """Return the most likely effects, the equations there, and the rows' logits."""
        design, effects = self.design, self.effects
        logits = average + design.of_rows(scale * effects)
        height = self._penalised(logits, effects)
        arrived = False
        for _ in range(_MOST_STEPS):
            chance = _expit(logits)
            weights = self.n * chance * (1 - chance)
            factored = Factored(design.equations(weights), scale)
            if arrived:
                break
            slope = scale * design.of_levels(self.y - self.n * chance) - effects
            step = factored.solve(slope)
            gain = float(slope @ step)
            share = 1.0
            for _ in range(_MOST_HALVINGS):
                tried = effects + share * step
                logits = average + design.of_rows(scale * tried)
                reached = self._penalised(logits, tried)
                # Near the mode the gain drowns in rounding.
                if reached <= height or gain <= _LEAST_GAIN:
                    break
                share /= 2
            effects, height = tried, reached
            arrived = gain <= _LEAST_GAIN
        return effects, factored, logits

    def _slope(self, relative: Floats, scale: Floats, factored: Factored, logits: Floats) -> Floats:
        design, effects = self.design, self.effects
        chance = _expit(logits)
        weights = self.n * chance * (1 - chance)
        left = self.y - self.n * chance
        inverse = factored.inverse_of_rows(design)
        towards = [
            sum(scale_of * part for scale_of, part in zip(relative, row, strict=True))
            for row in inverse
        ]
        leverage = sum(scale_of * part for scale_of, part in zip(relative, towards, strict=True))
        # Half the slope of the determinant in each row's logit.
        pull = weights * (1 - 2 * chance) * leverage / 2
        # The mode moves with average and deviations, and the determinant with the mode.
        moved = factored.solve(scale * design.of_levels(pull))
        of_rows = pull - left - weights * design.of_rows(scale * moved)
        sums = design.split(design.of_levels(of_rows) * effects)
        residuals = design.split(design.of_levels(left) * moved)
        slopes = [float(of_rows.sum())]
        for place in range(len(design.names)):
            explicit = float((weights * towards[place]).sum())
            slopes.append(float(sums[place].sum()) + float(residuals[place].sum()) + explicit)
        return np.array(slopes)

    def fit(
        self, place: Floats, *, iterations: int, converged: bool, progress: Progress | None
    ) -> BinomialMixedFit:
        """Return the figures at the end of a search."""
        design = self.design
        value, _ = self.value_and_slope(place)
        average, relative = float(place[0]), place[1:]
        scale = design.spread_out(relative)
        modes, factored, logits = self._mode(average, scale)
        chance = _expit(logits)
        weights = self.n * chance * (1 - chance)
        pull = scale * design.of_levels(weights)
        information = float(weights.sum())
        effects = scale * modes
        sds = scale * np.sqrt(factored.inverse_diagonal())
        self._average = average
        spreads = widened_spreads(self.held, relative, usual=_USUAL_SPREAD, progress=progress)
        taken = float(pull @ factored.solve(pull))
        plain_se = 1 / math.sqrt(left_for_average(information, taken))
        se_intercept = self._se_intercept(place, plain_se)
        overall = average + sum(float(part.mean()) for part in design.split(effects))
        return BinomialMixedFit(
            intercept=average,
            se_intercept=se_intercept,
            variances=design.by_name(relative**2),
            levels=design.levels,
            effects=by_factor(design, named(design, effects), 0.0),
            conditional_sds=by_factor(design, named(design, sds), 0.0),
            average_logits=by_factor(design, at_average(design, average, effects), overall),
            average_sds=by_factor(design, spreads, se_intercept),
            log_likelihood=self._coefficients() - value,
            iterations=iterations,
            converged=converged,
            at_zero=design.at_zero(relative),
            one_level=design.one_level,
            confounded=design.confounded,
        )

    def _se_intercept(self, place: Floats, plain: float) -> float:
        """
        Return the average's standard error from the curvature of the likelihood at its top.

        It allows for the variances being estimates. Where the curvature does not show a top, such
        as in a direction in which nothing is known, the error with known variances is given.
        """
        free = [0, *(which for which in range(1, len(place)) if place[which] > _DIFFERENCE)]
        rows = []
        for which in free:
            ahead, behind = place.copy(), place.copy()
            ahead[which] += _DIFFERENCE
            behind[which] -= _DIFFERENCE
            slope = self.value_and_slope(ahead)[1] - self.value_and_slope(behind)[1]
            rows.append(slope[free] / (2 * _DIFFERENCE))
        curvature = np.array(rows)
        curvature = (curvature + curvature.T) / 2
        if np.linalg.eigvalsh(curvature)[0] <= 0:
            return plain
        return math.sqrt(float(np.linalg.inv(curvature)[0, 0]))

    def _coefficients(self) -> float:
        from scipy.special import gammaln  # noqa: PLC0415 - keeps importing this module quick

        y, n = self.y, self.n
        return float((gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)).sum())


def _expit(logits: Floats) -> Floats:
    from scipy.special import expit  # noqa: PLC0415 - as above

    chance: Floats = expit(logits)
    return chance
