"""
How well each item of a test tells apart those who know from those who do not.

An item that good scorers get wrong more often than others misleads: by its wording, its picture,
or a wrong key. As in `reliability` a test is a matrix of 0 and 1, people by items.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.comparison.checks import require_inside
from audits.learning.reliability import Responses, checked, correlation

# The share of either group at which the two differ most surely for a normal law (Kelley).
KELLEY: Final = 0.27


@dataclass(frozen=True)
class UpperLower:
    """
    The upper and the lower group of a test's scorers, item by item.

    Parameters
    ----------
    group_size : int
        People in either group.
    upper, lower : tuple of float
        Share of each group that got the item right.
    """

    group_size: int
    upper: tuple[float, ...]
    lower: tuple[float, ...]

    @property
    def discrimination(self) -> tuple[float, ...]:
        """The difference of the two shares, in [-1, 1], for each item."""
        return tuple(u - low for u, low in zip(self.upper, self.lower, strict=True))

    @property
    def difficulty(self) -> tuple[float, ...]:
        """The mean of the two shares: the difficulty as the two groups see it."""
        return tuple((u + low) / 2 for u, low in zip(self.upper, self.lower, strict=True))


def difficulty(responses: Responses) -> list[float]:
    """
    Return the share of people who got each item right.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.

    Returns
    -------
    list of float
        In [0, 1]; the higher, the easier, for all that the name says.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.

    Examples
    --------
    >>> difficulty([[1, 0], [1, 1]])
    [1.0, 0.5]
    """
    rows = checked(responses)
    return [sum(column) / len(rows) for column in zip(*rows, strict=True)]


def item_total(responses: Responses) -> list[float | None]:
    """
    Return the correlation of each item with the total, itself included.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.

    Returns
    -------
    list of float or None
        The uncorrected point-biserial correlation; None for an item that all answered alike.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.
    """
    rows = checked(responses)
    totals = [sum(row) for row in rows]
    return [correlation(column, totals) for column in zip(*rows, strict=True)]


def item_rest(responses: Responses) -> list[float | None]:
    """
    Return the correlation of each item with the total of the others.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.

    Returns
    -------
    list of float or None
        The corrected point-biserial correlation: the item does not speak for itself. None for an
        item that all answered alike, or where the others add up to the same for everybody.

    Raises
    ------
    ValueError
        If the matrix is too small, ragged, or holds anything but 0 and 1.

    Examples
    --------
    >>> [round(r, 3) for r in item_rest([[1, 1, 1], [1, 1, 0], [1, 0, 0], [0, 0, 0]])]
    [0.522, 0.707, 0.522]
    """
    rows = checked(responses)
    totals = [sum(row) for row in rows]
    return [
        correlation(column, [total - own for total, own in zip(totals, column, strict=True)])
        for column in zip(*rows, strict=True)
    ]


def upper_lower(responses: Responses, fraction: float = KELLEY) -> UpperLower:
    """
    Hold the best against the weakest scorers of a test, item by item.

    Parameters
    ----------
    responses : sequence of sequence of int
        A row for each person, a column for each item.
    fraction : float, optional
        Share of the people in either group, above 0 and at most a half.

    Returns
    -------
    UpperLower
        People whose totals tie at the edge of a group enter it with equal parts, so that the order
        of the rows decides nothing.

    Raises
    ------
    ValueError
        If the fraction lies outside its range or the matrix is no test.

    References
    ----------
    .. [1] T. L. Kelley, The selection of upper and lower groups for the validation of test items,
       Journal of Educational Psychology 30 (1939), 17-24.

    Examples
    --------
    >>> upper_lower([[1, 1], [1, 1], [0, 1], [0, 0]], 0.5).discrimination
    (1.0, 0.5)
    """
    rows = checked(responses)
    totals = [float(sum(row)) for row in rows]
    size = group_size(len(rows), fraction)
    shares = [
        tuple(
            sum(weight * row[item] for weight, row in zip(weights, rows, strict=True)) / size
            for item in range(len(rows[0]))
        )
        for weights in (group_weights(totals, size), group_weights([-t for t in totals], size))
    ]
    return UpperLower(size, *shares)


def group_size(people: int, fraction: float = KELLEY) -> int:
    """
    Return how many people make the upper, or the lower, group.

    Parameters
    ----------
    people : int
        How many there are.
    fraction : float, optional
        Share of the people in either group, above 0 and at most a half.

    Returns
    -------
    int
        Rounded to the nearest number, at least 1.

    Raises
    ------
    ValueError
        If the fraction lies outside its range.

    Examples
    --------
    >>> group_size(24)
    6
    """
    require_inside("fraction", fraction, 0.0, 0.5 + 1e-12)
    return max(1, round(fraction * people))


def group_weights(scores: Sequence[float], size: int) -> list[float]:
    """
    Return with what part each person belongs to the group of the highest scores.

    Parameters
    ----------
    scores : Sequence of float
        One score for each person.
    size : int
        People in the group.

    Returns
    -------
    list of float
        In [0, 1], adding up to the size: those whose scores tie at the edge share what is left.

    Examples
    --------
    >>> group_weights([3, 2, 2, 1], 2)
    [1.0, 0.5, 0.5, 0.0]
    """
    edge = sorted(scores, reverse=True)[size - 1]
    above = sum(score > edge for score in scores)
    tied = sum(score == edge for score in scores)
    part = (size - above) / tied
    return [1.0 if score > edge else part if score == edge else 0.0 for score in scores]
