"""
CUSUM charts of single trees: each fault adds to a sum, each conforming tree takes from it.

A worker's faults can come faster without any block of ten being remarkable by itself; a cumulative
sum sees that sooner than blocks do. It looks at one tree after another, so that it does not matter
where an audit ended.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple


class BernoulliWeights(NamedTuple):
    """
    Log-likelihood ratios of one tree.

    Parameters
    ----------
    fault : float
        What a nonconforming tree adds, above 0.
    good : float
        What a conforming tree adds, below 0.
    """

    fault: float
    good: float


@dataclass(frozen=True)
class BernoulliCusum:
    """
    A CUSUM chart of single trees.

    Parameters
    ----------
    score_fault : float
        What a nonconforming tree adds, above 0. Whole numbers in designs of
        `audits.control.run_lengths`.
    score_good : float
        What a conforming tree adds, below 0; the sum never falls below 0.
    threshold : float
        The chart signals once the sum reaches this, above 0.
    start : float, optional
        The sum before the first tree, at least 0 and below the threshold.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.
    """

    score_fault: float
    score_good: float
    threshold: float
    start: float = 0

    def __post_init__(self) -> None:
        if not 0 < self.score_fault < math.inf:
            raise ValueError(f"score_fault must be above 0, not {self.score_fault}")
        if not -math.inf < self.score_good < 0:
            raise ValueError(f"score_good must be below 0, not {self.score_good}")
        if not 0 < self.threshold < math.inf:
            raise ValueError(f"threshold must be above 0, not {self.threshold}")
        if not 0 <= self.start < self.threshold:
            raise ValueError(f"start must lie in [0, {self.threshold}), not {self.start}")


@dataclass(frozen=True)
class BernoulliPath:
    """
    The course of a Bernoulli CUSUM chart.

    Parameters
    ----------
    sums : tuple of float
        The sum after each tree, in scoring order.
    runs : tuple of int
        For each tree, how many trees the sum has been above 0 without a break, that tree
        included; 0 where the sum is 0. The run that ends at tree `t` began at tree
        ``t - runs[t - 1] + 1``.
    out : tuple of int
        Numbers of the trees, from 1, after which the sum had reached the threshold.
    first_signal : int or None
        The first of them.
    since : int or None
        Number of the first tree of the run that led to the first signal.
    """

    sums: tuple[float, ...]
    runs: tuple[int, ...]
    out: tuple[int, ...]
    first_signal: int | None
    since: int | None


def bernoulli_weights(p0: float, p1: float) -> BernoulliWeights:
    """
    Return the log-likelihood ratio of one tree for two fractions of nonconforming trees.

    Parameters
    ----------
    p0 : float
        Fraction with which all is well, in (0, 1).
    p1 : float
        Fraction that the chart shall find, above `p0` and below 1.

    Returns
    -------
    BernoulliWeights
        ``log(p1 / p0)`` for a fault and ``log((1 - p1) / (1 - p0))`` for a conforming tree.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.
    .. [2] S. H. Steiner et al., Monitoring surgical performance using risk-adjusted cumulative
       sum charts, Biostatistics 1 (2000), 441-452.

    Examples
    --------
    >>> fault, good = bernoulli_weights(0.05, 0.15)
    >>> round(fault, 4), round(good, 4)
    (1.0986, -0.1112)
    """
    if not 0 < p0 < 1:
        raise ValueError(f"p0 must lie between 0 and 1, not {p0}")
    if not p0 < p1 < 1:
        raise ValueError(f"p1 must lie between {p0} and 1, not {p1}")
    return BernoulliWeights(math.log(p1 / p0), math.log1p(-p1) - math.log1p(-p0))


def bernoulli_cusum(outcomes: Iterable[bool], design: BernoulliCusum) -> BernoulliPath:
    """
    Follow due trees one by one.

    The sum goes on after a signal. A chart that starts afresh, such as after a training, is a
    chart of the trees from then on.

    Parameters
    ----------
    outcomes : Iterable of bool
        One value per due tree in scoring order: True if it was nonconforming.
    design : BernoulliCusum
        Scores and threshold.

    Returns
    -------
    BernoulliPath
        The sums, and the first signal if there is one; empty without trees.

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.

    Examples
    --------
    >>> path = bernoulli_cusum([False, True, False, True], BernoulliCusum(9, -1, threshold=15))
    >>> path.sums, path.first_signal, path.since
    ((0, 9, 8, 17), 4, 2)
    """
    sums: list[float] = []
    runs: list[int] = []
    total, run = design.start, 0
    for is_fault in outcomes:
        total = max(0, total + (design.score_fault if is_fault else design.score_good))
        run = run + 1 if total > 0 else 0
        sums.append(total)
        runs.append(run)
    out = tuple(number for number, total in enumerate(sums, start=1) if total >= design.threshold)
    first = out[0] if out else None
    since = None if first is None else first - runs[first - 1] + 1
    return BernoulliPath(tuple(sums), tuple(runs), out, first, since)
