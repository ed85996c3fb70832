"""
One worker's blocks on three charts at once, in standard deviations from the centre.

Every block becomes a standardised value z, so that blocks of any size share the limits of a p
chart, an EWMA chart and a CUSUM chart on both sides. Plain Python: for one worker it takes a
fraction of the time of numpy, and a new block moves a kept state on without reading old ones.
`audits.control.many` does the same for all workers together.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from audits.control.limits import SIGMAS
from audits.control.shewhart import require_positive
from audits.estimates import ratio_of_sums


@dataclass(frozen=True)
class ChartSettings:
    """
    Limits of the three charts.

    Parameters
    ----------
    sigmas : float, optional
        Distance of the p chart's limits from the centre in standard deviations, above 0.
    lambda_ : float, optional
        Weight of the newest block in the EWMA, in (0, 1].
    ewma_sigmas : float, optional
        Distance of the EWMA's limits from the centre in standard deviations of the average, above
        0. The limits are those of each moment.
    k, h : float, optional
        Allowance and decision interval of the CUSUM in standard deviations, above 0.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.
    """

    sigmas: float = SIGMAS
    lambda_: float = 0.2
    ewma_sigmas: float = 2.7
    k: float = 0.5
    h: float = 5.0

    def __post_init__(self) -> None:
        for name in ("sigmas", "lambda_", "ewma_sigmas", "k", "h"):
            require_positive(name, getattr(self, name))
        if self.lambda_ > 1:
            raise ValueError(f"lambda_ must lie in (0, 1], not {self.lambda_}")


USUAL_SETTINGS: Final = ChartSettings()


class ChartState(NamedTuple):
    """
    What the charts remember of all blocks so far.

    Parameters
    ----------
    ewma : float
        The moving average of z.
    high, low : float
        The sums above and below the centre.
    start_left : float
        How much of the variance of the EWMA in the long run is still missing, in [0, 1].
    """

    ewma: float
    high: float
    low: float
    start_left: float


NO_BLOCKS: Final = ChartState(0.0, 0.0, 0.0, 1.0)


class StandardisedPoint(NamedTuple):
    """
    One block on all three charts.

    Parameters
    ----------
    z : float
        How many standard deviations its fraction lies above the centre.
    ewma : float
        The moving average.
    ewma_limit : float
        The largest distance of the average from 0 that chance explains at this moment.
    high, low : float
        The sums above and below the centre.
    signal : bool
        Whether any of the charts signals.
    """

    z: float
    ewma: float
    ewma_limit: float
    high: float
    low: float
    signal: bool


def standardised(nonconforming: int, due: int, centre: float) -> float:
    """
    Return how many standard deviations a block's fraction lies above the centre.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees of the block.
    due : int
        Due trees of the block, at least 1 (symbol n).
    centre : float
        Fraction of nonconforming trees in the long run, strictly between 0 and 1 (symbol p).

    Returns
    -------
    float
        The fraction less p, over the root of ``p (1 - p) / n``.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.2.

    Examples
    --------
    >>> round(standardised(4, 10, 0.1), 2)
    3.16
    """
    if not 0 < centre < 1:
        raise ValueError(f"centre must lie between 0 and 1, not {centre}")
    if not 0 <= nonconforming <= due or due < 1:
        raise ValueError(f"nonconforming must lie in [0, due], not {nonconforming} of {due}")
    return (nonconforming - due * centre) / math.sqrt(due * centre * (1 - centre))


def step(
    state: ChartState,
    nonconforming: int,
    due: int,
    centre: float,
    settings: ChartSettings = USUAL_SETTINGS,
) -> ChartState:
    """
    Move the charts on by one block.

    Parameters
    ----------
    state : ChartState
        What they remember so far; `NO_BLOCKS` at first.
    nonconforming : int
        Nonconforming trees of the block.
    due : int
        Due trees of the block, at least 1.
    centre : float
        Fraction of nonconforming trees in the long run, strictly between 0 and 1.
    settings : ChartSettings, optional
        Weight and allowance.

    Returns
    -------
    ChartState
        What they remember then.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    Examples
    --------
    >>> state = step(NO_BLOCKS, 4, 10, 0.1)
    >>> round(state.ewma, 3), round(state.high, 3), state.low
    (0.632, 2.662, 0.0)
    """
    return _moved(state, standardised(nonconforming, due, centre), settings)


def _moved(state: ChartState, z: float, settings: ChartSettings) -> ChartState:
    ewma, high, low, left = state
    weight, allowance = settings.lambda_, settings.k
    kept = 1 - weight
    high += z - allowance
    low -= z + allowance
    return ChartState(
        weight * z + kept * ewma,
        high if high > 0 else 0.0,
        low if low > 0 else 0.0,
        left * kept * kept,
    )


def charts_of_one(
    nonconforming: Sequence[int],
    due: Sequence[int],
    *,
    centre: float | None = None,
    settings: ChartSettings = USUAL_SETTINGS,
) -> tuple[StandardisedPoint, ...]:
    """
    Chart one worker's blocks.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per block, in scoring order.
    due : Sequence of int
        Due trees, one count per block, each at least 1.
    centre : float or None, optional
        Fraction of nonconforming trees in the long run, strictly between 0 and 1; by default the
        ratio of sums of these blocks. If that is 0 or 1, every z is 0: nothing varies.
    settings : ChartSettings, optional
        Limits of the charts.

    Returns
    -------
    tuple of StandardisedPoint
        One point per block.

    Raises
    ------
    ValueError
        If the sequences differ in length or a number lies outside its range.

    Examples
    --------
    >>> [point.signal for point in charts_of_one([1, 1, 9], [10] * 3, centre=0.1)]
    [False, False, True]
    """
    blocks = list(zip(nonconforming, due, strict=True))
    own_centre = ratio_of_sums(blocks)
    # A worker's own centre of 0 or 1 leaves nothing that could differ from it.
    varies = centre is not None or own_centre not in {None, 0.0, 1.0}
    line = own_centre if centre is None else centre
    in_the_long_run = settings.lambda_ / (2 - settings.lambda_)
    points = []
    state = NO_BLOCKS
    for bad, trees in blocks:
        if trees < 1:
            raise ValueError(f"due must be at least 1, not {trees}")
        z = standardised(bad, trees, line) if varies and line is not None else 0.0
        state = _moved(state, z, settings)
        limit = settings.ewma_sigmas * math.sqrt(in_the_long_run * (1 - state.start_left))
        signal = (
            abs(z) > settings.sigmas
            or abs(state.ewma) > limit
            or max(state.high, state.low) > settings.h
        )
        points.append(StandardisedPoint(z, state.ewma, limit, state.high, state.low, signal))
    return tuple(points)
