"""Run lengths of charts of nonconforming trees."""

import math

from audits.control.bernoulli import BernoulliCusum
from audits.control.limits import SIGMAS, CountLimits, binomial_probabilities, sigma_limits
from audits.control.run_lengths.absorbing import mean_steps
from audits.control.run_lengths.seasons import whole_numbers


def arl_p_chart(p: float, *, due: int, centre: float, sigmas: float = SIGMAS) -> float | None:
    """
    Return the average run length of a p chart with samples of one size.

    Parameters
    ----------
    p : float
        True fraction of nonconforming trees, in [0, 1].
    due : int
        Due trees of each point, at least 1 (symbol n).
    centre : float
        Fraction that the limits were found from, in [0, 1].
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    float or None
        Mean number of points up to the signal, by the binomial law; None if no count can signal.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.4.

    Examples
    --------
    >>> round(arl_p_chart(0.2, due=50, centre=0.2), 1)
    369.8
    """
    limits = sigma_limits(centre, due, sigmas)
    return _arl_of([limits.signal(count / due) is not None for count in range(due + 1)], p)


def arl_of_limits(p: float, *, due: int, limits: CountLimits) -> float | None:
    """
    Return the average run length of a chart of counts.

    Parameters
    ----------
    p : float
        True fraction of nonconforming trees, in [0, 1].
    due : int
        Due trees of each point, at least 1 (symbol n).
    limits : CountLimits
        Smallest and largest count inside.

    Returns
    -------
    float or None
        Mean number of points up to the signal, by the binomial law; None if no count can signal.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it.

    Examples
    --------
    >>> round(arl_of_limits(0.05, due=10, limits=CountLimits(0, 3)))
    972
    """
    return _arl_of([not limits.lower <= count <= limits.upper for count in range(due + 1)], p)


def _arl_of(signals: list[bool], p: float) -> float | None:
    if not 0 <= p <= 1:
        raise ValueError(f"p must lie in [0, 1], not {p}")
    if len(signals) < 2:  # noqa: PLR2004 - one tree has two counts
        raise ValueError(f"due must be at least 1, not {len(signals) - 1}")
    chances = binomial_probabilities(p, len(signals) - 1)
    chance = math.fsum(
        chance for chance, is_signal in zip(chances, signals, strict=True) if is_signal
    )
    # A float cannot tell the reciprocal of the very smallest numbers.
    return 1 / chance if chance > 1e-300 else None  # noqa: PLR2004


def arl_bernoulli(design: BernoulliCusum, p: float) -> float | None:
    """
    Return the average run length of a Bernoulli CUSUM chart.

    Parameters
    ----------
    design : BernoulliCusum
        The chart; its numbers must be whole.
    p : float
        True fraction of nonconforming trees, in [0, 1].

    Returns
    -------
    float or None
        Mean number of due trees up to the signal; None if there is none, or only after more than a
        float can tell.

    Raises
    ------
    ValueError
        If a number of the chart is not whole, or `p` lies outside [0, 1].

    References
    ----------
    .. [1] M. R. Reynolds, Z. G. Stoumbos, A CUSUM chart for monitoring a proportion when
       inspecting continuously, Journal of Quality Technology 31 (1999), 87-108.

    Examples
    --------
    >>> round(arl_bernoulli(BernoulliCusum(9, -1, threshold=40), 0.2), 2)
    38.1
    """
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    fault, drop, threshold, start = whole_numbers(design)
    if not 0 <= p <= 1:
        raise ValueError(f"p must lie in [0, 1], not {p}")
    sums = np.arange(threshold)
    moves = np.zeros((threshold, threshold))
    np.add.at(moves, (sums, np.maximum(sums - drop, 0)), 1 - p)
    stays = sums[sums + fault < threshold]
    np.add.at(moves, (stays, stays + fault), p)
    steps = mean_steps(moves, np.where(sums + fault >= threshold, p, 0.0))
    return None if steps is None else float(steps[start])
