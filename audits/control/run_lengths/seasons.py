"""
What a chart does within a season: the chance of a signal, and how soon.

An average run length says little about a season that ends after some hundred trees. These figures
are for just that many: exact, by following the chances of all sums of a chart from tree to tree.
Plain Python, because a page needs them and the chains are short.
"""

import math
from collections.abc import Iterator
from functools import lru_cache
from itertools import accumulate, count, islice
from typing import Final

from audits.control.bernoulli import BernoulliCusum, bernoulli_weights
from audits.control.limits import binomial_probabilities

MOST_TREES: Final = 20_000
# How far the ratio of whole-number scores may lie from that of the log-likelihoods.
_SCORE_ROUNDING: Final = 0.05
_TAIL_ROUNDING: Final = 1e-9
_HALF: Final = 0.5


def bernoulli_signal_chance(design: BernoulliCusum, p: float, trees: int) -> float:
    """
    Return the chance that a Bernoulli CUSUM chart signals within some due trees.

    Parameters
    ----------
    design : BernoulliCusum
        The chart; its numbers must be whole.
    p : float
        True fraction of nonconforming trees, in [0, 1].
    trees : int
        Due trees charted, at least 0.

    Returns
    -------
    float
        Probability of at least one signal, in [0, 1]. It never falls with `p` or `trees`.

    Raises
    ------
    ValueError
        If a number of the chart is not whole, or a parameter lies outside its range.

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.

    Examples
    --------
    >>> round(bernoulli_signal_chance(BernoulliCusum(9, -1, threshold=40), 0.05, 400), 4)
    0.0686
    """
    if trees < 0:
        raise ValueError(f"trees must be at least 0, not {trees}")
    return next(islice(_signalled_by_now(design, p), trees, None))


def bernoulli_median(design: BernoulliCusum, p: float) -> int | None:
    """
    Return after how many due trees half of all such charts have signalled.

    Parameters
    ----------
    design : BernoulliCusum
        The chart; its numbers must be whole.
    p : float
        True fraction of nonconforming trees, in [0, 1].

    Returns
    -------
    int or None
        The median of the run length in due trees; None beyond 20,000 trees.

    Raises
    ------
    ValueError
        If a number of the chart is not whole, or `p` lies outside [0, 1].

    Examples
    --------
    >>> bernoulli_median(BernoulliCusum(9, -1, threshold=40), 0.25)
    24
    """
    chances = islice(_signalled_by_now(design, p), MOST_TREES + 1)
    return next((trees for trees, chance in enumerate(chances) if chance >= _HALF), None)


def bernoulli_season_design(
    p0: float, p1: float, *, trees: int, false_signal: float
) -> BernoulliCusum:
    """
    Return the Bernoulli CUSUM chart that finds a worse fraction soonest in a season.

    Its scores are whole numbers in nearly the ratio of the log-likelihoods (within 5 %), its
    threshold the least with which a steady worker seldom gets a signal.

    Parameters
    ----------
    p0 : float
        Fraction of nonconforming trees with which all is well, in (0, 1).
    p1 : float
        Fraction that the chart shall find, above `p0` and below 1.
    trees : int
        Due trees of a season, at least 1.
    false_signal : float
        Most chance of a signal within the season if the true fraction is `p0` or less, in (0, 1).

    Returns
    -------
    BernoulliCusum
        The chart. With few trees it may need more than they can bring, and then never signals.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.

    Examples
    --------
    >>> design = bernoulli_season_design(0.05, 0.15, trees=400, false_signal=0.0025)
    >>> design.score_fault, design.score_good, design.threshold
    (10, -1, 78)
    """
    if trees < 1:
        raise ValueError(f"trees must be at least 1, not {trees}")
    if not 0 < false_signal < 1:
        raise ValueError(f"false_signal must lie between 0 and 1, not {false_signal}")
    return _season_design(p0, p1, trees, false_signal)


# Pages ask for the same few standards over and over.
@lru_cache(maxsize=1024)
def _season_design(p0: float, p1: float, trees: int, false_signal: float) -> BernoulliCusum:
    fault, good = _whole_scores(p0, p1)
    allowed = false_signal * (1 + _TAIL_ROUNDING)

    def is_seldom(threshold: int) -> bool:
        chart = BernoulliCusum(fault, good, threshold)
        # The chance only grows, so a threshold that is too low shows before the season's end.
        return all(chance <= allowed for chance in islice(_signalled_by_now(chart, p0), trees + 1))

    # No season reaches more than all trees bring if each of them is a fault.
    low, high, most = 1, fault + 1, trees * fault + 1
    while high < most and not is_seldom(high):
        low, high = high + 1, 2 * high
    high = min(high, most)
    while low < high:
        middle = (low + high) // 2
        if is_seldom(middle):
            high = middle
        else:
            low = middle + 1
    return BernoulliCusum(fault, good, high)


def _whole_scores(p0: float, p1: float) -> tuple[int, int]:
    """Return the smallest whole scores near enough, with which the sum falls at p0, rises at p1."""
    weights = bernoulli_weights(p0, p1)
    ratio = weights.fault / -weights.good
    return next(
        (fault, -good)
        for good in count(1)
        for fault in (math.floor(ratio * good), math.ceil(ratio * good))
        if abs(fault / good - ratio) <= _SCORE_ROUNDING * ratio
        and fault * p0 < good * (1 - p0)
        and fault * p1 > good * (1 - p1)
    )


def _signalled_by_now(design: BernoulliCusum, p: float) -> Iterator[float]:
    # Yields the chance of a signal within 0, 1, 2, ... trees, for ever.
    fault, drop, threshold, start = whole_numbers(design)
    if not 0 <= p <= 1:
        raise ValueError(f"p must lie in [0, 1], not {p}")
    good = 1 - p
    # The chances of the sums 0, 1, ... below the threshold; what reaches it leaves.
    going = [0.0] * threshold
    going[start] = 1.0
    entering, nothing = [0.0] * min(fault, threshold), [0.0] * min(drop, threshold)
    leaving_from = max(threshold - fault, 0)
    signalled = 0.0
    while True:
        yield min(signalled, 1.0)
        signalled += p * sum(going[leaving_from:])
        fallen = going[drop:] + nothing
        fallen[0] = sum(going[: drop + 1])
        risen = entering + going[:leaving_from]
        going = [good * down + p * up for down, up in zip(fallen, risen, strict=True)]


def whole_numbers(design: BernoulliCusum) -> tuple[int, int, int, int]:
    """
    Return the numbers of a chart whose sums are whole.

    Parameters
    ----------
    design : BernoulliCusum
        The chart.

    Returns
    -------
    tuple of int
        What a fault adds, what a conforming tree takes, the threshold and the start.

    Raises
    ------
    ValueError
        If one of them is not a whole number.

    Examples
    --------
    >>> whole_numbers(BernoulliCusum(9, -1, threshold=40))
    (9, 1, 40, 0)
    """
    numbers = {
        "score_fault": design.score_fault,
        "score_good": design.score_good,
        "threshold": design.threshold,
        "start": design.start,
    }
    for name, number in numbers.items():
        if number != int(number):
            raise ValueError(f"{name} must be a whole number, not {number}")
    fault, good, threshold, start = map(int, numbers.values())
    return fault, -good, threshold, start


def season_block_limits(centre: float, size: int, *, blocks: int, false_signal: float) -> int:
    """
    Return the largest count of a block that chance explains, for all blocks of a season together.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in [0, 1].
    size : int
        Due trees of a block, at least 1.
    blocks : int
        Blocks charted in a season, at least 1.
    false_signal : float
        Most chance that any of them signals if the true fraction is `centre` or less, in (0, 1).

    Returns
    -------
    int
        Largest count of nonconforming trees inside; a block with more signals. If it is `size`,
        no block can signal.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Notes
    -----
    Blocks are independent as long as the work stays the same, so none of them signals with the
    probability that one does not, to the power of `blocks`.

    Examples
    --------
    >>> season_block_limits(0.05, 10, blocks=40, false_signal=0.0025)
    5
    """
    if not 0 <= centre <= 1:
        raise ValueError(f"centre must lie in [0, 1], not {centre}")
    if size < 1:
        raise ValueError(f"size must be at least 1, not {size}")
    if blocks < 1:
        raise ValueError(f"blocks must be at least 1, not {blocks}")
    if not 0 < false_signal < 1:
        raise ValueError(f"false_signal must lie between 0 and 1, not {false_signal}")
    allowed_tail = -math.expm1(math.log1p(-false_signal) / blocks) * (1 + _TAIL_ROUNDING)
    tails = accumulate(reversed(binomial_probabilities(centre, size)))
    return size - sum(tail <= allowed_tail for tail in tails)
