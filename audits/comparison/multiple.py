"""
Many questions at once: how small a chance must be to mean something among so many.

Whoever asks of twenty workers whether each differs from the crew will find one in twenty who does
by chance alone.
"""

from collections.abc import Sequence
from itertools import accumulate

from audits.comparison.checks import require_share


def bonferroni(p_values: Sequence[float]) -> list[float]:
    """
    Adjust chances so that one false finding among all is as rare as one alone.

    Parameters
    ----------
    p_values : Sequence of float
        One chance per question, each in [0, 1].

    Returns
    -------
    list of float
        Each times their number, at most 1, in their order.

    Raises
    ------
    ValueError
        If a chance lies outside [0, 1].

    References
    ----------
    .. [1] O. J. Dunn, Journal of the American Statistical Association 56:52-64, 1961.

    Examples
    --------
    >>> bonferroni([0.01, 0.5])
    [0.02, 1.0]
    """
    chances = _checked(p_values)
    return [min(1.0, len(chances) * chance) for chance in chances]


def holm(p_values: Sequence[float]) -> list[float]:
    """
    Adjust chances as `bonferroni` does, with less loss.

    Parameters
    ----------
    p_values : Sequence of float
        One chance per question, each in [0, 1].

    Returns
    -------
    list of float
        Adjusted chances, in their order.

    Raises
    ------
    ValueError
        If a chance lies outside [0, 1].

    References
    ----------
    .. [1] S. Holm, Scandinavian Journal of Statistics 6:65-70, 1979.

    Examples
    --------
    >>> holm([0.01, 0.02, 0.5])
    [0.03, 0.04, 0.5]
    """
    chances = _checked(p_values)
    order = sorted(range(len(chances)), key=chances.__getitem__)
    stepped = [min(1.0, (len(chances) - step) * chances[place]) for step, place in enumerate(order)]
    return _in_place(order, list(accumulate(stepped, max)))


def benjamini_hochberg(p_values: Sequence[float]) -> list[float]:
    """
    Adjust chances so that among the findings few are false.

    Parameters
    ----------
    p_values : Sequence of float
        One chance per question, each in [0, 1], from independent questions.

    Returns
    -------
    list of float
        Adjusted chances, in their order: findings up to q hold a share of false ones of q at
        most, on average.

    Raises
    ------
    ValueError
        If a chance lies outside [0, 1].

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg, Journal of the Royal Statistical Society B 57:289-300,
       1995.

    Examples
    --------
    >>> benjamini_hochberg([0.01, 0.02, 0.5])
    [0.03, 0.03, 0.5]
    """
    return _stepped_up(_checked(p_values), 1.0)


def benjamini_yekutieli(p_values: Sequence[float]) -> list[float]:
    """
    Adjust chances as `benjamini_hochberg` does, whatever the questions have in common.

    Parameters
    ----------
    p_values : Sequence of float
        One chance per question, each in [0, 1].

    Returns
    -------
    list of float
        Adjusted chances, in their order.

    Raises
    ------
    ValueError
        If a chance lies outside [0, 1].

    References
    ----------
    .. [1] Y. Benjamini and D. Yekutieli, Annals of Statistics 29:1165-1188, 2001.

    Examples
    --------
    >>> [round(chance, 3) for chance in benjamini_yekutieli([0.01, 0.02, 0.5])]
    [0.055, 0.055, 0.917]
    """
    chances = _checked(p_values)
    return _stepped_up(chances, sum(1 / place for place in range(1, len(chances) + 1)))


def _stepped_up(chances: Sequence[float], factor: float) -> list[float]:
    order = sorted(range(len(chances)), key=chances.__getitem__, reverse=True)
    count = len(chances)
    stepped = [
        min(1.0, factor * count / (count - step) * chances[place])
        for step, place in enumerate(order)
    ]
    return _in_place(order, list(accumulate(stepped, min)))


def _in_place(order: Sequence[int], adjusted: Sequence[float]) -> list[float]:
    found = [0.0] * len(order)
    for place, chance in zip(order, adjusted, strict=True):
        found[place] = chance
    return found


def _checked(p_values: Sequence[float]) -> list[float]:
    for place, chance in enumerate(p_values):
        require_share(f"p_values[{place}]", chance)
    return [float(chance) for chance in p_values]
