"""Sheets of ratings: many auditors, the same trees, some ratings missing."""

import math
from collections import Counter
from collections.abc import Hashable, Sequence
from typing import SupportsFloat, TypeAlias

from audits.agreement.chance import CountedUnit
from audits.agreement.tables import Weights, category_weights

Ratings: TypeAlias = Sequence[Sequence[Hashable | None]]


class RatingSheet:
    """
    Ratings with their answers numbered; trees that nobody rated are left out.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    categories : Sequence of Hashable or None
        All possible answers in order; None for those that were given, in their own order.

    Attributes
    ----------
    categories : list of Hashable
        The answers in order.
    rows : list of Sequence of Hashable or None
        Trees with at least one rating.
    units : list of CountedUnit
        The same trees, as counts of answers.

    Raises
    ------
    ValueError
        If rows differ in length, a number is not finite, or an answer is not among the categories.
    """

    def __init__(self, ratings: Ratings, categories: Sequence[Hashable] | None) -> None:
        width = len(ratings[0]) if len(ratings) else 0
        for row in ratings:
            if len(row) != width:
                raise ValueError(f"ratings must have {width} auditors a tree, not {len(row)}")
        given = {each for row in ratings for each in row if each is not None}
        for each in given:
            if isinstance(each, SupportsFloat) and not math.isfinite(each):
                raise ValueError(f"ratings must be finite or None, not {each!r}")
        self.categories = _in_order(given) if categories is None else list(categories)
        self._place = {each: place for place, each in enumerate(self.categories)}
        for each in given:
            if each not in self._place:
                raise ValueError(f"ratings must be among the categories, but {each!r} is not")
        self.rows = [row for row in ratings if any(each is not None for each in row)]
        self.units = [self._unit(row) for row in self.rows]

    def places(self, auditor: int) -> list[int | None]:
        """
        Return what one auditor answered to each tree.

        Parameters
        ----------
        auditor : int
            Number of the auditor's column, from 0.

        Returns
        -------
        list of int or None
            For each of `rows` the place of the answer among `categories`; None if missing.
        """
        column = (row[auditor] for row in self.rows)
        return [None if each is None else self._place[each] for each in column]

    def weights(self, weights: str | Weights | None) -> list[list[float]]:
        """
        Return how much each two answers of this sheet agree.

        Parameters
        ----------
        weights : str or Sequence of Sequence of float or None
            What `audits.agreement.tables.category_weights` takes.

        Returns
        -------
        list of list of float
            One row and one column per answer.
        """
        return category_weights(self.categories, weights)

    def _unit(self, row: Sequence[Hashable | None]) -> CountedUnit:
        counts = Counter(self._place[each] for each in row if each is not None)
        return CountedUnit(tuple(counts[place] for place in range(len(self.categories))))


def _in_order(given: set[Hashable]) -> list[Hashable]:
    numbers = [(float(each), each) for each in given if isinstance(each, SupportsFloat)]
    if len(numbers) == len(given):
        return [each for _, each in sorted(numbers, key=lambda pair: pair[0])]
    return sorted(given, key=str)
