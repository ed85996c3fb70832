"""
All workers' blocks on three charts at once, by numpy: the same as `audits.control.standardised`.

Imported only where all workers are charted; it loads numpy.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from audits.control.standardised import (
    NO_BLOCKS,
    USUAL_SETTINGS,
    ChartSettings,
    ChartState,
    step,
)

__all__ = ["NO_BLOCKS", "ChartState", "ManyCharts", "charts_of_many", "step"]

Reals = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ManyCharts:
    """
    The charts of many workers; arrays of shape (workers, points) but for the first.

    Parameters
    ----------
    centre : ndarray of float64, shape (workers,)
        Fraction of nonconforming trees in the long run; 0 for a worker without due trees.
    z : ndarray of float64
        How many standard deviations each fraction lies above the centre; 0 where there is no
        block, or where a worker's centre is 0 or 1.
    ewma : ndarray of float64
        The moving averages of z.
    ewma_limit : ndarray of float64
        The largest distance of each average from 0 that chance explains. It may have one line
        only, shape (1, points), that is the same for all.
    high, low : ndarray of float64
        The sums above and below the centre.
    signal : ndarray of bool
        Whether any of the charts signals; False where there is no block.
    """

    centre: Reals
    z: Reals
    ewma: Reals
    ewma_limit: Reals
    high: Reals
    low: Reals
    signal: Flags

    @property
    def first_signal(self) -> NDArray[np.intp]:
        """Return the number, from 1, of each worker's first point with a signal; 0 if none."""
        if self.signal.shape[1] == 0:
            return np.zeros(len(self.centre), np.intp)
        return np.where(self.signal.any(axis=1), self.signal.argmax(axis=1) + 1, 0)


def charts_of_many(
    nonconforming: ArrayLike,
    due: ArrayLike,
    *,
    centre: ArrayLike | None = None,
    settings: ChartSettings = USUAL_SETTINGS,
) -> ManyCharts:
    """
    Chart the blocks of many workers.

    Parameters
    ----------
    nonconforming : array_like of int, shape (workers, points)
        Nonconforming trees of each block, in scoring order.
    due : array_like of int, shape (workers, points)
        Due trees of each block; 0 where a worker has no block, so that rows may differ in length.
    centre : array_like of float or None, optional
        Fraction of nonconforming trees in the long run, strictly between 0 and 1, one for all or
        one per worker; by default the ratio of sums of each worker.
    settings : ChartSettings, optional
        Limits of the charts.

    Returns
    -------
    ManyCharts
        All charts. Where there is no block, everything stays as it was.

    Raises
    ------
    ValueError
        If the shapes differ or a number lies outside its range.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.2, 9.1 and 9.2.

    Examples
    --------
    >>> charts = charts_of_many([[1, 1, 9], [1, 0, 0]], [[10, 10, 10], [10, 10, 0]], centre=0.1)
    >>> charts.first_signal.tolist()
    [3, 0]
    """
    bad, trees = np.asarray(nonconforming), np.asarray(due)
    if bad.ndim != 2 or bad.shape != trees.shape:  # noqa: PLR2004 - workers and points
        raise ValueError(
            f"nonconforming and due must both have shape (workers, points), not {bad.shape} and"
            f" {trees.shape}"
        )
    least_due = trees.min(initial=0 if trees.size == 0 else trees.flat[0])
    if bad.size and (least_due < 0 or bad.min() < 0 or not (bad <= trees).all()):
        raise ValueError("nonconforming must lie in [0, due]")
    centres = _centres(bad, trees, centre)
    has_block = None if least_due > 0 else np.ascontiguousarray(trees.T) > 0
    z = _standardised(bad, trees, centres, has_block)
    return _charted(centres, z, has_block, settings)


def _centres(
    bad: NDArray[np.generic], trees: NDArray[np.generic], given: ArrayLike | None
) -> Reals:
    if given is not None:
        centres: Reals = np.broadcast_to(np.asarray(given, float), len(bad))
        wrong = ~((centres > 0) & (centres < 1))
        if wrong.any():
            raise ValueError(f"centre must lie between 0 and 1, not {centres[wrong][0]}")
        return centres
    totals = np.asarray(trees).sum(axis=1)
    return np.asarray(np.asarray(bad).sum(axis=1) / np.maximum(totals, 1), float)


def _standardised(
    bad: NDArray[np.generic],
    trees: NDArray[np.generic],
    centres: Reals,
    has_block: Flags | None,
) -> Reals:
    """Return z with one line per point, so that the charts walk through memory in order."""
    variance = centres * (1 - centres)
    # Where nothing varies no fraction differs from the centre, whatever it is divided by.
    variance[variance <= 0] = 1.0
    due = np.array(trees.T, float, order="C")
    z = due * centres
    np.subtract(bad.T, z, out=z)
    due *= variance
    np.sqrt(due, out=due)
    if has_block is not None:
        due[~has_block] = 1.0
    z /= due
    return z


def _charted(
    centres: Reals, z: Reals, has_block: Flags | None, settings: ChartSettings
) -> ManyCharts:
    points, workers = z.shape
    weight, kept = settings.lambda_, 1 - settings.lambda_
    ewma, high, low = weight * z, z - settings.k, -settings.k - z
    signal = np.empty(z.shape, bool)
    limits = np.empty((points, workers if has_block is not None else 1))
    left = np.ones(limits.shape[1])
    one, other = np.empty(workers), np.empty(workers, bool)
    for point in range(points):
        average, above, below, out = ewma[point], high[point], low[point], signal[point]
        if point:
            np.multiply(ewma[point - 1], kept, out=one)
            average += one
            above += high[point - 1]
            below += low[point - 1]
        np.maximum(above, 0, out=above)
        np.maximum(below, 0, out=below)
        if has_block is None:
            left *= kept * kept
        else:
            _undo(point, ~has_block[point], ewma, high, low)
            left[has_block[point]] *= kept * kept
        limits[point] = settings.ewma_sigmas * np.sqrt(weight / (2 - weight) * (1 - left))
        np.abs(z[point], out=one)
        np.greater(one, settings.sigmas, out=out)
        np.abs(average, out=one)
        np.greater(one, limits[point], out=other)
        out |= other
        np.maximum(above, below, out=one)
        np.greater(one, settings.h, out=other)
        out |= other
        if has_block is not None:
            out &= has_block[point]
    return ManyCharts(centres, z.T, ewma.T, limits.T, high.T, low.T, signal.T)


def _undo(point: int, no_block: Flags, *charts: Reals) -> None:
    """Leave everything as it was before for those who have no block."""
    for chart in charts:
        chart[point, no_block] = chart[point - 1, no_block] if point else 0.0
