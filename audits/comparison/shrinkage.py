"""
Shrinkage: a rate of few trees is moved towards the rate of all, the further the fewer they are.

Among many workers some have a very low or a very high rate by luck alone, and these are the ones
with few trees. How far rates truly differ is measured on all workers together; each worker's own
trees then count as much as that leaves them. What results is nearer to the truth on average than
the raw rates are. It is an estimate for each, and no order among them.

This module loads numpy; import it where it is used.

References
----------
.. [1] B. Efron and C. Morris, Data analysis using Stein's estimator and its generalizations,
   Journal of the American Statistical Association 70:311-319, 1975.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import (
    require_counts,
    require_finite,
    require_inside,
    require_same_length,
)
from audits.estimates import Interval, clopper_pearson
from audits.estimates.intervals import normal_quantile

Floats = NDArray[np.float64]

# Spread of the prior, 1 / (alpha + beta), between which its likelihood is searched, and in how many
# steps before the best of them is refined.
_LEAST_SPREAD: Final = 1e-7
_MOST_SPREAD: Final = 1e4
_STEPS: Final = 56

# Over which fits ranges are averaged: weights of own trees, and means at each of them.
_WEIGHTS: Final = 24
_NODES: Final = 5

_NEWTON_STEPS: Final = 100
_PRECISE: Final = 1e-12

# With one pair of degrees of freedom less than this, James and Stein's rule shrinks nothing.
_LEAST_FOR_STEIN: Final = 4


@dataclass(frozen=True)
class Posterior:
    """
    What is known of one worker's rate, from all workers and from the worker's own trees.

    Parameters
    ----------
    mean : float
        Expected rate, in [0, 1].
    sd : float
        Its standard deviation.
    interval : Interval
        Equal-tailed interval of the rate.
    weight : float
        How much the worker's own trees count against all others, in [0, 1].
    """

    mean: float
    sd: float
    interval: Interval
    weight: float


@dataclass(frozen=True)
class BetaBinomialFit:
    """
    How rates are spread over workers, as a beta law.

    Parameters
    ----------
    alpha, beta : float or None
        Shapes of the law; None where the rates differ by no more than chance explains, so that
        all workers share one rate.
    mean : float
        Mean of the law, in [0, 1].
    rho : float
        How alike two trees of one worker are: 1 / (alpha + beta + 1); 0 where all share one rate.
    log_likelihood : float
        Logarithm of the likelihood with the binomial coefficients.
    nonconforming, due : int
        Sums over all workers.
    """

    alpha: float | None
    beta: float | None
    mean: float
    rho: float
    log_likelihood: float
    nonconforming: int
    due: int

    @property
    def is_pooled(self) -> bool:
        """Whether all workers share one rate as far as these trees tell."""
        return self.alpha is None

    def posterior(self, nonconforming: int, due: int, confidence: float = 0.95) -> Posterior:
        """
        Return what is known of one worker's rate.

        Parameters
        ----------
        nonconforming : int
            The worker's nonconforming trees, from 0 to `due`.
        due : int
            The worker's due trees, at least 0.
        confidence : float, optional
            Probability inside the interval, in (0, 1).

        Returns
        -------
        Posterior
            By the beta law; where all share one rate, that rate with its exact interval.

        Raises
        ------
        ValueError
            If a parameter lies outside its range; the message names it and its value.
        """
        if self.alpha is not None and self.beta is not None:
            return posterior(nonconforming, due, self.alpha, self.beta, confidence)
        require_counts([nonconforming], [due])
        require_inside("confidence", confidence)
        return Posterior(
            mean=self.mean,
            sd=math.sqrt(self.mean * (1 - self.mean) / self.due),
            interval=clopper_pearson(self.nonconforming, self.due, confidence),
            weight=0.0,
        )


def posterior(
    nonconforming: int, due: int, alpha: float, beta: float, confidence: float = 0.95
) -> Posterior:
    """
    Return what is known of one worker's rate under a beta law of rates.

    Parameters
    ----------
    nonconforming : int
        The worker's nonconforming trees, from 0 to `due`.
    due : int
        The worker's due trees, at least 0.
    alpha, beta : float
        Shapes of the law, above 0.
    confidence : float, optional
        Probability inside the interval, in (0, 1).

    Returns
    -------
    Posterior
        Mean, standard deviation, interval and the weight of the worker's own trees.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] A. Gelman and others, Bayesian Data Analysis, 3rd ed. 2013, 2.4 and 5.1.

    Examples
    --------
    >>> known = posterior(4, 14, alpha=1.4, beta=8.6)
    >>> round(known.mean, 3), round(known.sd, 3), round(known.weight, 3)
    (0.225, 0.084, 0.583)
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - keeps importing this module quick

    require_counts([nonconforming], [due])
    require_inside("alpha", alpha, upper=math.inf)
    require_inside("beta", beta, upper=math.inf)
    require_inside("confidence", confidence)
    hits, others = alpha + nonconforming, beta + due - nonconforming
    total = hits + others
    tail = (1 - confidence) / 2
    return Posterior(
        mean=hits / total,
        sd=math.sqrt(hits * others / (total**2 * (total + 1))),
        interval=Interval(
            float(betaincinv(hits, others, tail)), float(betaincinv(hits, others, 1 - tail))
        ),
        weight=due / (due + alpha + beta),
    )


def fit_beta_binomial(nonconforming: Sequence[int], due: Sequence[int]) -> BetaBinomialFit | None:
    """
    Fit the spread of rates over workers by maximum likelihood.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per worker.
    due : Sequence of int
        Due trees, one count per worker; those without any say nothing.

    Returns
    -------
    BetaBinomialFit or None
        The fit, pooled where the likelihood is largest without any spread; None if no tree was
        due.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Notes
    -----
    With mean m and spread s = 1 / (alpha + beta) the likelihood is a product of terms m + j s,
    1 - m + j s and 1 + j s, which stays exact as s goes to 0. For each s it has one maximum in m.

    References
    ----------
    .. [1] D. M. Smith, Algorithm AS 189, Applied Statistics 32:196-204, 1983.

    Examples
    --------
    >>> fit = fit_beta_binomial([1, 9, 2, 14], [40, 40, 40, 40])
    >>> round(fit.mean, 3), round(fit.posterior(1, 40).mean, 3)
    (0.161, 0.047)
    >>> fit_beta_binomial([5, 5, 5], [50, 50, 50]).is_pooled
    True
    """
    pairs = [pair for pair in require_counts(nonconforming, due) if pair[1]]
    if not pairs:
        return None
    found, trees = sum(count for count, _ in pairs), sum(total for _, total in pairs)
    coefficients = math.fsum(
        math.lgamma(total + 1) - math.lgamma(count + 1) - math.lgamma(total - count + 1)
        for count, total in pairs
    )
    likelihood = _BetaBinomial(pairs)
    pooled = likelihood.at(0.0)
    spread, mean, best = likelihood.best() if 0 < found < trees else (0.0, found / trees, pooled[1])
    # A spread that gains nothing is none.
    if spread == 0 or best <= pooled[1] + _PRECISE * abs(pooled[1]):
        return BetaBinomialFit(
            None, None, found / trees, 0.0, pooled[1] + coefficients, found, trees
        )
    return BetaBinomialFit(
        alpha=mean / spread,
        beta=(1 - mean) / spread,
        mean=mean,
        rho=spread / (1 + spread),
        log_likelihood=best + coefficients,
        nonconforming=found,
        due=trees,
    )


def shrunken_rates(
    nonconforming: Sequence[int], due: Sequence[int], confidence: float = 0.95
) -> tuple[Posterior, ...] | None:
    """
    Move every rate towards that of all, with ranges that allow for the spread being an estimate.

    With ten or twenty workers it is hardly known how much their rates differ. Ranges that take
    the best fit as the truth are too narrow then; these average over all fits that the counts
    allow. For figures that people read this is the one to use.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per worker.
    due : Sequence of int
        Due trees, one count per worker.
    confidence : float, optional
        Probability inside the intervals, in (0, 1).

    Returns
    -------
    tuple of Posterior or None
        One entry per worker, in their order; None if no tree, or no tree of another kind, was
        found: there is nothing to move then.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Notes
    -----
    The weight that a usual worker's own trees get is taken to be anywhere in (0, 1) alike. The
    average of the fits is written as a beta law with its mean and variance.

    References
    ----------
    .. [1] C. L. Christiansen and C. N. Morris, Journal of the American Statistical Association
       92:618-632, 1997: the uniform law of the weight, and matching moments.

    Examples
    --------
    >>> rates = shrunken_rates([1, 9, 2, 14], [40, 40, 40, 40])
    >>> [round(rate.mean, 3) for rate in rates]
    [0.056, 0.21, 0.075, 0.307]
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - as in `posterior`

    pairs = require_counts(nonconforming, due)
    require_inside("confidence", confidence)
    known = [pair for pair in pairs if pair[1]]
    if not 0 < sum(count for count, _ in known) < sum(total for _, total in known):
        return None
    shares, means, spreads = _BetaBinomial(known).possible(
        len(known) / math.fsum(1 / total for _, total in known)
    )
    counts = np.array([[count] for count, _ in pairs], dtype=float)
    sizes = np.array([[total] for _, total in pairs], dtype=float)
    alphas, totals = means / spreads + counts, 1 / spreads + sizes
    middles = alphas / totals
    scatter = middles * (1 - middles) / (totals + 1)
    mean = middles @ shares
    variance = (scatter + (middles - mean[:, None]) ** 2) @ shares
    precision = mean * (1 - mean) / variance - 1
    weights = (sizes / totals) @ shares
    tail = (1 - confidence) / 2
    hits, others = mean * precision, (1 - mean) * precision
    lower, upper = (betaincinv(hits, others, share) for share in (tail, 1 - tail))
    return tuple(
        Posterior(float(middle), float(sd), Interval(float(low), float(high)), float(weight))
        for middle, sd, low, high, weight in zip(
            mean, np.sqrt(variance), lower, upper, weights, strict=True
        )
    )


class _BetaBinomial:
    """The likelihood without coefficients; the counts are kept as how many exceed each number."""

    def __init__(self, pairs: Sequence[tuple[int, int]]) -> None:
        counts = np.array([count for count, _ in pairs])
        sizes = np.array([total for _, total in pairs])
        self.hits = _exceeding(counts)
        self.misses = _exceeding(sizes - counts)
        self.trees = _exceeding(sizes)
        self.pooled = counts.sum() / sizes.sum()
        self.has_spread = len(pairs) > 1 and self._slope_without_spread(counts, sizes) > 0

    def _slope_without_spread(self, counts: NDArray[np.int_], sizes: NDArray[np.int_]) -> float:
        if not 0 < self.pooled < 1:
            return 0.0
        misses = sizes - counts
        return float(
            (counts * (counts - 1)).sum() / self.pooled
            + (misses * (misses - 1)).sum() / (1 - self.pooled)
            - (sizes * (sizes - 1)).sum()
        )

    def at(self, spread: float, start: float | None = None) -> tuple[float, float]:
        """Return the best mean for a spread, and the logarithm of the likelihood there."""
        if not 0 < self.pooled < 1:
            return float(self.pooled), 0.0
        up_hits, up_misses = (spread * np.arange(len(each)) for each in (self.hits, self.misses))
        lower, upper = 0.0, 1.0
        mean = float(self.pooled) if start is None else start
        for _ in range(_NEWTON_STEPS):
            on_hits, on_misses = mean + up_hits, 1 - mean + up_misses
            slope = float((self.hits / on_hits).sum() - (self.misses / on_misses).sum())
            bend = float((self.hits / on_hits**2).sum() + (self.misses / on_misses**2).sum())
            lower, upper = (mean, upper) if slope > 0 else (lower, mean)
            before, mean = mean, mean + slope / bend
            # The likelihood bends one way only, so halving is a safe way back.
            if not lower < mean < upper:
                mean = (lower + upper) / 2
            if abs(mean - before) <= _PRECISE * mean:
                break
        up_trees = spread * np.arange(len(self.trees))
        return mean, float(
            (self.hits * np.log(mean + up_hits)).sum()
            + (self.misses * np.log(1 - mean + up_misses)).sum()
            - (self.trees * np.log1p(up_trees)).sum()
        )

    def possible(self, usual: float) -> tuple[Floats, Floats, Floats]:
        """Return shares of the fits that a usual number of trees allows, means and spreads."""
        weights = (np.arange(_WEIGHTS) + 0.5) / _WEIGHTS
        nodes, node_shares = np.polynomial.hermite_e.hermegauss(_NODES)
        heights, means, spreads = [], [], []
        mean = None
        for spread in weights / (1 - weights) / usual:
            mean, height = self.at(spread, mean)
            # The curvature of the likelihood in the logit of the mean.
            on_hits = mean + spread * np.arange(len(self.hits))
            on_misses = 1 - mean + spread * np.arange(len(self.misses))
            bend = (self.hits / on_hits**2).sum() + (self.misses / on_misses**2).sum()
            deviation = 1 / math.sqrt(float(bend) * (mean * (1 - mean)) ** 2)
            logits = math.log(mean / (1 - mean)) + deviation * nodes
            means.append(1 / (1 + np.exp(-logits)))
            heights.append(height + math.log(deviation) + np.log(node_shares))
            spreads.append(np.full(_NODES, spread))
        logarithms = np.concatenate(heights)
        shares = np.exp(logarithms - logarithms.max())
        return shares / shares.sum(), np.concatenate(means), np.concatenate(spreads)

    def best(self) -> tuple[float, float, float]:
        """Return the best spread, its mean and the logarithm of the likelihood."""
        from scipy.optimize import minimize_scalar  # noqa: PLC0415 - as in `posterior`

        steps = np.geomspace(_LEAST_SPREAD, _MOST_SPREAD, _STEPS)
        heights, means = [], []
        mean = None
        for step in steps:
            mean, height = self.at(step, mean)
            heights.append(height)
            means.append(mean)
        top = int(np.argmax(heights))
        if top == 0 and not self.has_spread:
            return 0.0, *self.at(0.0)
        found = minimize_scalar(
            lambda exponent: -self.at(math.exp(exponent), means[top])[1],
            bounds=(
                math.log(steps[max(top - 1, 0)]),
                math.log(steps[min(top + 1, _STEPS - 1)]),
            ),
            method="bounded",
            options={"xatol": 1e-9},
        )
        spread = math.exp(float(found.x))
        return spread, *self.at(spread, means[top])


def _exceeding(counts: NDArray[np.int_]) -> Floats:
    """Return, for j = 0, 1, ..., how many of the counts are above j."""
    largest = int(counts.max(initial=0))
    at_least = np.cumsum(np.bincount(counts, minlength=largest + 1)[::-1])[::-1]
    return at_least[1:].astype(float)


@dataclass(frozen=True)
class MomentFit:
    """
    A beta law with the mean and the variance of the raw rates.

    Parameters
    ----------
    raw_mean : float
        Mean of the raw rates, every worker counted alike.
    raw_sd : float
        Their standard deviation, with n - 1.
    alpha, beta : float or None
        Shapes of the law; None where the raw rates do not scatter, or more than any law of rates
        can.
    """

    raw_mean: float
    raw_sd: float
    alpha: float | None
    beta: float | None


def beta_binomial_moments(nonconforming: Sequence[int], due: Sequence[int]) -> MomentFit | None:
    """
    Fit the spread of rates by the mean and the variance of the raw rates.

    A quick look only: chance adds to the scatter of raw rates, so that rates differ less than
    this says. For figures that people read use `fit_beta_binomial`.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per worker.
    due : Sequence of int
        Due trees, one count per worker; those without any are left out.

    Returns
    -------
    MomentFit or None
        The moments and the law; None with fewer than two workers.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    References
    ----------
    .. [1] A. Gelman and others, Bayesian Data Analysis, 3rd ed. 2013, 5.1.

    Examples
    --------
    >>> fit = beta_binomial_moments([1, 9, 2, 14], [40, 40, 40, 40])
    >>> round(fit.raw_mean, 4), round(fit.raw_sd, 4)
    (0.1625, 0.1534)
    """
    rates = [count / total for count, total in require_counts(nonconforming, due) if total]
    if len(rates) < 2:  # noqa: PLR2004 - one rate has no scatter
        return None
    mean = math.fsum(rates) / len(rates)
    variance = math.fsum((rate - mean) ** 2 for rate in rates) / (len(rates) - 1)
    inside = mean * (1 - mean)
    if not 0 < variance < inside:
        return MomentFit(mean, math.sqrt(variance), None, None)
    precision = inside / variance - 1
    return MomentFit(mean, math.sqrt(variance), mean * precision, (1 - mean) * precision)


@dataclass(frozen=True)
class NormalShrinkage:
    """
    Figures with known errors, moved towards their common mean.

    Parameters
    ----------
    tau2 : float
        Variance of the true figures between workers, at least 0.
    mu : float
        Their mean.
    se_mu : float
        Its standard error.
    q : float
        Cochran's sum of squared distances from the mean without spread.
    shrunken : tuple of float
        The figures after shrinkage, in their order.
    sds : tuple of float
        Their standard errors, that of the mean included.
    weights : tuple of float
        How much of its own figure each keeps, in [0, 1].
    """

    tau2: float
    mu: float
    se_mu: float
    q: float
    shrunken: tuple[float, ...]
    sds: tuple[float, ...]
    weights: tuple[float, ...]

    def interval(self, place: int, confidence: float = 0.95) -> Interval:
        """
        Return the limits of one worker's true figure.

        Parameters
        ----------
        place : int
            The worker's place in the sequences.
        confidence : float, optional
            Confidence of the interval, in (0, 1).

        Returns
        -------
        Interval
            Limits by the normal law.

        Raises
        ------
        ValueError
            If the confidence lies outside its range.
        """
        require_inside("confidence", confidence)
        spread = normal_quantile(confidence) * self.sds[place]
        return Interval(self.shrunken[place] - spread, self.shrunken[place] + spread)


def shrink_normal(
    values: Sequence[float],
    standard_errors: Sequence[float],
    method: Literal["REML", "DL"] = "REML",
) -> NormalShrinkage | None:
    """
    Move figures with known errors towards their common mean.

    Parameters
    ----------
    values : Sequence of float
        One figure per worker, such as a logit or a height in mm.
    standard_errors : Sequence of float
        Their standard errors, each above 0, in the same unit.
    method : str, optional
        How the variance between workers is found: "REML" by restricted maximum likelihood, "DL"
        after DerSimonian and Laird.

    Returns
    -------
    NormalShrinkage or None
        The figures after shrinkage; None with fewer than two workers.

    Raises
    ------
    ValueError
        If the sequences differ in length, a number lies outside its range, or the method is
        unknown.

    References
    ----------
    .. [1] R. DerSimonian and N. Laird, Controlled Clinical Trials 7:177-188, 1986.
    .. [2] W. Viechtbauer, Journal of Educational and Behavioral Statistics 30:261-293, 2005:
       restricted maximum likelihood.

    Examples
    --------
    >>> shrunken = shrink_normal([1.0, 3.0, 8.0], [1.0, 1.0, 1.0], method="DL")
    >>> round(shrunken.tau2, 6), [round(value, 3) for value in shrunken.shrunken]
    (12.0, [1.231, 3.077, 7.692])
    """
    require_same_length(values=values, standard_errors=standard_errors)
    y = np.array(require_finite("values", values))
    errors = np.array(require_finite("standard_errors", standard_errors))
    if (errors <= 0).any():
        raise ValueError(f"every standard error must be above 0, not {errors.min()}")
    if method not in {"REML", "DL"}:
        raise ValueError(f'method must be "REML" or "DL", not "{method}"')
    if len(y) < 2:  # noqa: PLR2004 - one figure has no scatter
        return None
    variances = errors**2
    weights = 1 / variances
    mean = float((weights * y).sum() / weights.sum())
    q = float((weights * (y - mean) ** 2).sum())
    tau2 = _tau2_dl(weights, q) if method == "DL" else _tau2_reml(y, variances)
    weights = 1 / (variances + tau2)
    mu = float((weights * y).sum() / weights.sum())
    se_mu = float(1 / math.sqrt(weights.sum()))
    kept = tau2 * weights
    sds = np.sqrt(kept * variances + (1 - kept) ** 2 * se_mu**2)
    return NormalShrinkage(
        tau2=tau2,
        mu=mu,
        se_mu=se_mu,
        q=q,
        shrunken=tuple((kept * y + (1 - kept) * mu).tolist()),
        sds=tuple(sds.tolist()),
        weights=tuple(kept.tolist()),
    )


def _tau2_dl(weights: Floats, q: float) -> float:
    scale = float(weights.sum() - (weights**2).sum() / weights.sum())
    return max(0.0, (q - (len(weights) - 1)) / scale)


def _tau2_reml(y: Floats, variances: Floats) -> float:
    from scipy.optimize import minimize_scalar  # noqa: PLC0415 - as in `posterior`

    def deviance(tau2: float) -> float:
        weights = 1 / (variances + tau2)
        mu = (weights * y).sum() / weights.sum()
        return float(
            -np.log(weights).sum() + math.log(weights.sum()) + (weights * (y - mu) ** 2).sum()
        )

    most = float(np.var(y, ddof=1)) + float(variances.max())
    # Evenly on the scale of standard deviations, dense near 0, where small variances lie.
    steps = most * np.linspace(0, 1, _STEPS) ** 2
    best = int(np.argmin([deviance(step) for step in steps]))
    found = minimize_scalar(
        lambda root: deviance(root**2),
        bounds=(
            math.sqrt(steps[max(best - 1, 0)]),
            math.sqrt(steps[min(best + 1, _STEPS - 1)]),
        ),
        method="bounded",
        options={"xatol": 1e-10 * math.sqrt(most)},
    )
    tau2 = float(found.x) ** 2
    return tau2 if deviance(tau2) < deviance(0.0) else 0.0


@dataclass(frozen=True)
class SteinShrinkage:
    """
    Figures of equal error after James and Stein's rule.

    Parameters
    ----------
    mean : float
        Mean of the figures, towards which they move.
    sum_squares : float
        Sum of their squared distances from it.
    kept : float
        How much of its distance each keeps, in [0, 1].
    estimates : tuple of float
        The figures after shrinkage, in their order.
    """

    mean: float
    sum_squares: float
    kept: float
    estimates: tuple[float, ...]


def james_stein(values: Sequence[float], variance: float = 1.0) -> SteinShrinkage | None:
    """
    Move figures of equal error towards their mean by James and Stein's rule.

    Parameters
    ----------
    values : Sequence of float
        One figure per worker, such as from `arcsine_scale`.
    variance : float, optional
        Variance of each by chance, above 0.

    Returns
    -------
    SteinShrinkage or None
        The figures after shrinkage, never beyond the mean; None with fewer than four, for which
        the rule promises nothing.

    Raises
    ------
    ValueError
        If a number lies outside its range.

    References
    ----------
    .. [1] B. Efron and C. Morris, Journal of the American Statistical Association 70:311-319,
       1975: towards the mean, with k - 3, and the rule's positive part.

    Examples
    --------
    >>> shrunken = james_stein([-3.0, -1.0, 0.0, 1.0, 3.0])
    >>> shrunken.kept, shrunken.estimates[0]
    (0.9, -2.7)
    """
    figures = require_finite("values", values)
    require_inside("variance", variance, upper=math.inf)
    if len(figures) < _LEAST_FOR_STEIN:
        return None
    mean = math.fsum(figures) / len(figures)
    squares = math.fsum((figure - mean) ** 2 for figure in figures)
    kept = max(0.0, 1 - (len(figures) - 3) * variance / squares) if squares else 0.0
    return SteinShrinkage(mean, squares, kept, tuple(shrink_linear(figures, mean, kept)))


def shrink_linear(values: Sequence[float], centre: float, kept: float) -> list[float]:
    """
    Move figures towards a centre by one factor.

    Parameters
    ----------
    values : Sequence of float
        One figure per worker.
    centre : float
        Where they move to.
    kept : float
        How much of its distance each keeps, in [0, 1].

    Returns
    -------
    list of float
        The figures after shrinkage, in their order.

    Raises
    ------
    ValueError
        If a number lies outside its range.

    References
    ----------
    .. [1] B. Efron and C. Morris, Scientific American 236(5):119-127, 1977.

    Examples
    --------
    >>> [round(rate, 4) for rate in shrink_linear([0.400, 0.156], centre=0.265, kept=0.212)]
    [0.2936, 0.2419]
    """
    if not 0 <= kept <= 1:
        raise ValueError(f"kept must lie in [0, 1], not {kept}")
    if not math.isfinite(centre):
        raise ValueError(f"centre must be a finite number, not {centre}")
    return [centre + kept * (value - centre) for value in require_finite("values", values)]


def arcsine_scale(nonconforming: int, due: int) -> float:
    """
    Put a rate on the scale on which its variance by chance is 1 whatever the rate.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees, from 0 to `due`.
    due : int
        Due trees, at least 1.

    Returns
    -------
    float
        The root of n times the arcsine of 2 p - 1.

    Raises
    ------
    ValueError
        If a number lies outside its range.

    References
    ----------
    .. [1] B. Efron and C. Morris, Journal of the American Statistical Association 70:311-319,
       1975.

    Examples
    --------
    >>> round(arcsine_scale(18, 45), 2)
    -1.35
    """
    require_counts([nonconforming], [due])
    if due == 0:
        raise ValueError("due must be at least 1, not 0")
    return math.sqrt(due) * math.asin(2 * nonconforming / due - 1)


def rate_from_arcsine(value: float, due: int) -> float:
    """
    Return the rate behind a figure of `arcsine_scale`.

    Parameters
    ----------
    value : float
        A figure on that scale.
    due : int
        Due trees behind it, at least 1.

    Returns
    -------
    float
        The rate, in [0, 1].

    Raises
    ------
    ValueError
        If a number lies outside its range.

    Examples
    --------
    >>> round(rate_from_arcsine(arcsine_scale(18, 45), 45), 12)
    0.4
    """
    require_finite("value", [value])
    if due < 1:
        raise ValueError(f"due must be at least 1, not {due}")
    angle = min(max(value / math.sqrt(due), -math.pi / 2), math.pi / 2)
    return (1 + math.sin(angle)) / 2
