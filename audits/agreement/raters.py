"""Many auditors and the same trees, with ratings missing: Fleiss, Krippendorff, Gwet and others."""

import math
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

from audits.agreement.alpha import krippendorff_alpha
from audits.agreement.chance import (
    Coefficient,
    beyond_chance,
    chance_of_shares,
    dot,
    gwet_of_units,
    mean_shares,
)
from audits.agreement.sheets import Ratings, RatingSheet
from audits.agreement.tables import Weights, checked_count

__all__ = [
    "FleissKappa",
    "agreeing_pairs",
    "brennan_prediger",
    "conger_kappa",
    "fleiss_kappa",
    "fleiss_of_ratings",
    "gwet_ac1",
    "gwet_ac2",
    "krippendorff_alpha",
]

_LEAST_TO_PAIR: Final = 2


@dataclass(frozen=True)
class FleissKappa:
    """
    Fleiss' kappa of trees with equally many ratings.

    Parameters
    ----------
    trees : int
        Trees rated.
    ratings_each : int
        Ratings of each tree.
    observed : float or None
        Mean share of agreeing pairs, in [0, 1]; None without a pair.
    expected : float or None
        What of it chance would give; None without a rating.
    kappa : float or None
        Agreement beyond chance; None where all gave one answer.
    standard_error_null : float or None
        Standard error if all agreed by chance only; None where kappa is.
    z : float or None
        Kappa over that error.
    kappa_by_category : tuple of float or None
        Kappa of each answer against all others; None for an answer that nobody or everybody gave.
    agreement_by_tree : tuple of float
        Share of agreeing pairs of each tree; empty without a pair.
    category_shares : tuple of float
        Share of each answer among all ratings; empty without a rating.
    """

    trees: int
    ratings_each: int
    observed: float | None
    expected: float | None
    kappa: float | None
    standard_error_null: float | None
    z: float | None
    kappa_by_category: tuple[float | None, ...]
    agreement_by_tree: tuple[float, ...]
    category_shares: tuple[float, ...]


def fleiss_kappa(counts: Sequence[Sequence[int]]) -> FleissKappa:
    """
    Return Fleiss' kappa of trees with equally many ratings.

    Parameters
    ----------
    counts : Sequence of Sequence of int
        One row per tree, one column per answer: how many auditors gave it. All rows have the same
        sum; `fleiss_of_ratings` takes trees with ratings missing.

    Returns
    -------
    FleissKappa
        Kappa, its error under chance alone, and its parts by answer and by tree.

    Raises
    ------
    ValueError
        If rows differ in length or sum, or hold anything but whole numbers of at least 0; the
        message names the value.

    References
    ----------
    .. [1] J. L. Fleiss, Psychological Bulletin 76:378-382, 1971.
    .. [2] J. L. Fleiss, J. C. M. Nee and J. R. Landis, Psychological Bulletin 86:974-977, 1979.

    Examples
    --------
    >>> round(fleiss_kappa([[3, 0], [3, 0], [2, 1], [0, 3]]).kappa, 3)
    0.625
    """
    rows = [tuple(checked_count("counts", count) for count in row) for row in counts]
    trees, each = len(rows), sum(rows[0]) if rows else 0
    for row in rows:
        if len(row) != len(rows[0]):
            raise ValueError(f"counts must have {len(rows[0])} answers a tree, not {len(row)}")
        if sum(row) != each:
            raise ValueError(f"counts must have {each} ratings a tree, not {sum(row)}")
    if not each:
        return FleissKappa(trees, 0, None, None, None, None, None, (), (), ())
    columns = list(zip(*rows, strict=True))
    totals = [sum(column) for column in columns]
    ratings = trees * each
    shares = tuple(total / ratings for total in totals)
    # Whole numbers tell exactly whether any two answers were given at all.
    mixed = [total * (ratings - total) / ratings**2 for total in totals]
    expected = 1 - math.fsum(mixed)
    if each < _LEAST_TO_PAIR:
        nothing = tuple(None for _ in shares)
        return FleissKappa(trees, each, None, expected, None, None, None, nothing, (), shares)
    pairs = each * (each - 1)
    by_tree = tuple(sum(count * (count - 1) for count in row) / pairs for row in rows)
    observed = math.fsum(by_tree) / trees
    by_category = tuple(
        1 - sum(count * (each - count) for count in column) / (trees * pairs * mix) if mix else None
        for column, mix in zip(columns, mixed, strict=True)
    )
    room = math.fsum(mixed)
    if not room:
        return FleissKappa(
            trees, each, observed, expected, None, None, None, by_category, by_tree, shares
        )
    kappa = (observed - expected) / room
    skew = math.fsum(mix * (1 - 2 * share) for mix, share in zip(mixed, shares, strict=True))
    error = math.sqrt(2 * max(0.0, room**2 - skew) / (trees * pairs)) / room
    z = kappa / error if error else None
    return FleissKappa(
        trees, each, observed, expected, kappa, error, z, by_category, by_tree, shares
    )


def agreeing_pairs(
    ratings: Ratings,
    weights: str | Weights | None = None,
    categories: Sequence[Hashable] | None = None,
) -> float | None:
    """
    Return the mean share of agreeing pairs of ratings over trees.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    weights : str or Sequence of Sequence of float or None, optional
        ``"linear"``, ``"quadratic"``, how much each two answers agree, or None where only the same
        answer agrees.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order.

    Returns
    -------
    float or None
        Share in [0, 1]; None if no tree has two ratings.

    Raises
    ------
    ValueError
        If rows differ in length, an answer is not among the categories, or weights do not fit.

    Examples
    --------
    >>> agreeing_pairs([["right", "right", None], ["right", "high", "high"]])
    0.6666666666666666
    """
    sheet = RatingSheet(ratings, categories)
    return beyond_chance(sheet.units, sheet.weights(weights), None, []).observed


def gwet_ac1(ratings: Ratings, categories: Sequence[Hashable] | None = None) -> Coefficient:
    """
    Return Gwet's AC1 of many auditors, which rare faults do not upset.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order. Chance
        agreement depends on how many there are.

    Returns
    -------
    Coefficient
        AC1 with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length or an answer is not among the categories.

    References
    ----------
    .. [1] K. L. Gwet, British Journal of Mathematical and Statistical Psychology 61:29-48, 2008.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> round(gwet_ac1([[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2]]).value, 3)
    0.676
    """
    return gwet_ac2(ratings, None, categories)


def gwet_ac2(
    ratings: Ratings,
    weights: str | Weights | None,
    categories: Sequence[Hashable] | None = None,
) -> Coefficient:
    """
    Return Gwet's AC2 of many auditors: AC1 with answers that may nearly agree.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    weights : str or Sequence of Sequence of float or None
        ``"linear"``, ``"quadratic"``, how much each two answers agree, or None where only the same
        answer agrees.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order.

    Returns
    -------
    Coefficient
        AC2 with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length, an answer is not among the categories, or weights do not fit.

    References
    ----------
    .. [1] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> round(gwet_ac2([[1, 1], [2, 3], [3, 3], [1, 2]], "quadratic").value, 3)
    0.636
    """
    sheet = RatingSheet(ratings, categories)
    return gwet_of_units(sheet.units, sheet.weights(weights))


def fleiss_of_ratings(
    ratings: Ratings,
    weights: str | Weights | None = None,
    categories: Sequence[Hashable] | None = None,
) -> Coefficient:
    """
    Return Fleiss' kappa of many auditors with ratings missing.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    weights : str or Sequence of Sequence of float or None, optional
        ``"linear"``, ``"quadratic"``, how much each two answers agree, or None where only the same
        answer agrees.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order.

    Returns
    -------
    Coefficient
        Kappa, Scott's pi for two auditors, with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length, an answer is not among the categories, or weights do not fit.

    References
    ----------
    .. [1] J. L. Fleiss, Psychological Bulletin 76:378-382, 1971.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> round(fleiss_of_ratings([[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2]]).value, 3)
    0.657
    """
    sheet = RatingSheet(ratings, categories)
    matrix = sheet.weights(weights)
    shares = mean_shares(sheet.units, len(matrix))
    expected, near = chance_of_shares(shares, matrix)
    by_unit = [dot(unit.counts, near) / unit.ratings for unit in sheet.units]
    return beyond_chance(sheet.units, matrix, expected if sheet.units else None, by_unit)


def conger_kappa(
    ratings: Ratings,
    weights: str | Weights | None = None,
    categories: Sequence[Hashable] | None = None,
) -> Coefficient:
    """
    Return Conger's kappa, where every auditor has habits of their own.

    For two auditors it is Cohen's kappa. An auditor without any rating is left out.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    weights : str or Sequence of Sequence of float or None, optional
        ``"linear"``, ``"quadratic"``, how much each two answers agree, or None where only the same
        answer agrees.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order.

    Returns
    -------
    Coefficient
        Kappa with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length, an answer is not among the categories, or weights do not fit.

    References
    ----------
    .. [1] A. J. Conger, Psychological Bulletin 88:322-328, 1980.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> round(conger_kappa([[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2]]).value, 3)
    0.654
    """
    sheet = RatingSheet(ratings, categories)
    matrix = sheet.weights(weights)
    habits = _habits(sheet)
    if len(habits) < _LEAST_TO_PAIR:
        return beyond_chance(sheet.units, matrix, None, [])
    size, auditors, trees = range(len(matrix)), len(habits), len(sheet.rows)
    summed = [math.fsum(habit.shares[k] for habit in habits) for k in size]
    # Chance agreement of two different auditors, each with their own shares of answers.
    pairs = auditors * (auditors - 1)
    expected = (
        chance_of_shares(summed, matrix)[0]
        - math.fsum(chance_of_shares(habit.shares, matrix)[0] for habit in habits)
    ) / pairs
    by_unit = [0.0] * trees
    for habit in habits:
        others = [summed[k] - habit.shares[k] for k in size]
        # What one answer of this auditor agrees with the others' answers, in both directions.
        near = chance_of_shares(others, matrix)[1]
        usual = dot(habit.shares, near)
        for row, place in enumerate(habit.places):
            by_unit[row] += usual / pairs
            if place is not None:
                by_unit[row] += trees / habit.rated * (near[place] - usual) / pairs
    return beyond_chance(sheet.units, matrix, expected, by_unit)


def brennan_prediger(
    ratings: Ratings,
    weights: str | Weights | None = None,
    categories: Sequence[Hashable] | None = None,
) -> Coefficient:
    """
    Return the coefficient of Brennan and Prediger, for whom chance gives all answers alike.

    Parameters
    ----------
    ratings : Sequence of Sequence of Hashable or None
        One row per tree, one column per auditor; None for a missing rating.
    weights : str or Sequence of Sequence of float or None, optional
        ``"linear"``, ``"quadratic"``, how much each two answers agree, or None where only the same
        answer agrees.
    categories : Sequence of Hashable or None, optional
        All possible answers in order; by default those that were given, in their own order. Chance
        agreement depends on how many there are.

    Returns
    -------
    Coefficient
        The coefficient with its standard error for the trees as a sample.

    Raises
    ------
    ValueError
        If rows differ in length, an answer is not among the categories, or weights do not fit.

    References
    ----------
    .. [1] R. L. Brennan and D. J. Prediger, Educational and Psychological Measurement 41:687-699,
       1981.
    .. [2] K. L. Gwet, Handbook of Inter-Rater Reliability, 4th edition, 2014.

    Examples
    --------
    >>> round(brennan_prediger([[1, 1, 1], [1, 1, None], [2, 2, 1], [2, None, 2]]).value, 3)
    0.667
    """
    sheet = RatingSheet(ratings, categories)
    matrix = sheet.weights(weights)
    if not matrix:
        return beyond_chance(sheet.units, matrix, None, [])
    expected = math.fsum(map(math.fsum, matrix)) / len(matrix) ** 2
    return beyond_chance(sheet.units, matrix, expected, [expected] * len(sheet.units))


@dataclass(frozen=True)
class _Habit:
    """One auditor's shares of answers, and the place of the answer to each tree."""

    shares: list[float]
    places: list[int | None]
    rated: int


def _habits(sheet: RatingSheet) -> list[_Habit]:
    habits = []
    for auditor in range(len(sheet.rows[0]) if sheet.rows else 0):
        places = sheet.places(auditor)
        counts = Counter(place for place in places if place is not None)
        rated = counts.total()
        if rated:
            shares = [counts[place] / rated for place in range(len(sheet.categories))]
            habits.append(_Habit(shares, places, rated))
    return habits
