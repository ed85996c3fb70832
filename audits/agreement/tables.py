"""Square tables of what two auditors said of the same trees, and weights of near agreement."""

import math
from collections.abc import Hashable, Sequence
from typing import SupportsFloat, TypeAlias

Table: TypeAlias = Sequence[Sequence[int]]
Weights: TypeAlias = Sequence[Sequence[float]]

_LEAST_CATEGORIES = 2


def checked_table(table: Table) -> list[list[int]]:
    """
    Return a table of counts as plain whole numbers, or refuse it.

    Parameters
    ----------
    table : Sequence of Sequence of int
        One row per answer of the first auditor, one column per answer of the second, answers in the
        same order: how many trees got both answers.

    Returns
    -------
    list of list of int
        The same counts.

    Raises
    ------
    ValueError
        If the table is not square, has fewer than two answers, or holds anything but whole numbers
        of at least 0; the message names the value.

    Examples
    --------
    >>> checked_table([(7, 1), (0, 2)])
    [[7, 1], [0, 2]]
    """
    size = len(table)
    if size < _LEAST_CATEGORIES:
        raise ValueError(f"table must have at least two answers, not {size}")
    for row in table:
        if len(row) != size:
            raise ValueError(f"table must be square: {size} rows, but {len(row)} columns")
    return [[checked_count("table", count) for count in row] for row in table]


def checked_count(name: str, count: float) -> int:
    """
    Return a count as a plain whole number, or refuse it.

    Parameters
    ----------
    name : str
        What is counted, for the message.
    count : float
        What is to be checked.

    Returns
    -------
    int
        The same count.

    Raises
    ------
    ValueError
        If it is no whole number of at least 0.

    Examples
    --------
    >>> checked_count("trees", 3)
    3
    """
    if not (0 <= count < math.inf) or count != int(count):
        raise ValueError(f"{name} must hold whole numbers of at least 0, not {count}")
    return int(count)


def equal_weights(size: int) -> list[list[float]]:
    """
    Return weights by which only the same answer agrees.

    Parameters
    ----------
    size : int
        How many answers there are.

    Returns
    -------
    list of list of float
        1 on the diagonal, 0 elsewhere.

    Examples
    --------
    >>> equal_weights(2)
    [[1.0, 0.0], [0.0, 1.0]]
    """
    return [[float(first == second) for second in range(size)] for first in range(size)]


def category_weights(
    categories: Sequence[Hashable], weights: str | Weights | None
) -> list[list[float]]:
    """
    Return how much each two answers agree.

    Parameters
    ----------
    categories : Sequence of Hashable
        The answers in order. Numbers stand at their value, anything else at its place.
    weights : str or Sequence of Sequence of float or None
        ``"linear"`` (1 - distance / range), ``"quadratic"`` (1 - its square), a matrix of weights
        of agreement, or None where only the same answer agrees.

    Returns
    -------
    list of list of float
        Weights in [0, 1], one row and one column per answer, 1 on the diagonal.

    Raises
    ------
    ValueError
        If the weights have an unknown name, do not fit the answers, lie outside [0, 1] or are not 1
        on the diagonal; the message names the value.

    References
    ----------
    .. [1] J. Cohen, Psychological Bulletin 70:213-220, 1968.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014, chapter 3.

    Examples
    --------
    >>> category_weights([1, 2, 3], "quadratic")[0]
    [1.0, 0.75, 0.0]
    """
    size = len(categories)
    if weights is None:
        return equal_weights(size)
    if isinstance(weights, str):
        if weights not in ("linear", "quadratic"):
            raise ValueError(f"weights must be linear, quadratic or a matrix, not {weights!r}")
        places = _places(categories)
        power = 1 if weights == "linear" else 2
        span = max(places, default=0.0) - min(places, default=0.0) or 1.0
        return [[1 - (abs(one - two) / span) ** power for two in places] for one in places]
    return _checked_weights(weights, size)


def weights_of_disagreement(costs: Weights) -> list[list[float]]:
    """
    Turn costs of disagreement into weights of agreement.

    Kappa does not change when all costs are multiplied by one number, so that the largest may
    stand for no agreement at all.

    Parameters
    ----------
    costs : Sequence of Sequence of float
        What each disagreement costs, at least 0; 0 on the diagonal.

    Returns
    -------
    list of list of float
        1 - cost / largest cost.

    Raises
    ------
    ValueError
        If a cost is below 0 or not finite, if the diagonal is not 0, or if nothing costs anything;
        the message names the value.

    References
    ----------
    .. [1] J. Cohen, Psychological Bulletin 70:213-220, 1968.

    Examples
    --------
    >>> weights_of_disagreement([[0, 1], [4, 0]])
    [[1.0, 0.75], [0.0, 1.0]]
    """
    for cost in (cost for row in costs for cost in row):
        if not 0 <= cost < math.inf:
            raise ValueError(f"costs must be finite and at least 0, not {cost}")
    largest = max((cost for row in costs for cost in row), default=0.0)
    if largest == 0:
        raise ValueError("costs must hold at least one above 0, but all are 0")
    return _checked_weights([[1 - cost / largest for cost in row] for row in costs], len(costs))


def _places(categories: Sequence[Hashable]) -> list[float]:
    numbers = [float(each) for each in categories if isinstance(each, SupportsFloat)]
    if len(numbers) == len(categories):
        return numbers
    return [float(place) for place in range(len(categories))]


def _checked_weights(weights: Weights, size: int) -> list[list[float]]:
    if len(weights) != size or any(len(row) != size for row in weights):
        raise ValueError(f"weights must have {size} rows and {size} columns, one for each answer")
    for place, row in enumerate(weights):
        for weight in row:
            if not 0 <= weight <= 1:
                raise ValueError(f"weights must lie in [0, 1], not {weight}")
        if row[place] != 1:
            raise ValueError(f"weights must be 1 on the diagonal, not {row[place]}")
    return [[float(weight) for weight in row] for row in weights]
