"""Intraclass correlation: how much of the spread of measures is the trees', not the people's."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from audits.agreement.chance import CONFIDENCE
from audits.estimates import Interval
from audits.messages import Message, say

_LEAST: Final = 2
# Deviations that should be 0 come out of rounding as less than this share of the largest measure.
_ROUNDING: Final = 1e-14


@dataclass(frozen=True)
class IccForm:
    """
    One form of the intraclass correlation.

    Parameters
    ----------
    value : float or None
        The coefficient, at most 1 and below 0 where trees differ less than chance would have it;
        None where the measures leave it undefined.
    interval : Interval or None
        95 % interval by F; None where `value` is, where people's measures do not differ, or where
        the approximation fails, far below 0.
    """

    value: float | None
    interval: Interval | None


@dataclass(frozen=True)
class IntraclassCorrelation:
    """
    All six forms of Shrout and Fleiss.

    The first number of a form's name says where the people come from: 1, others for every tree; 2,
    the same for all trees, drawn from many; 3, the same for all trees, and nobody else matters. The
    second says whether one person's measure counts or the mean of all k.

    Parameters
    ----------
    trees : int
        Trees that everybody measured (symbol n).
    people : int
        People who measured them (symbol k).
    left_out : int
        Trees left out because a measure is missing.
    between_trees : float or None
        Mean square between trees (BMS).
    within_trees : float or None
        Mean square within trees (WMS).
    between_people : float or None
        Mean square between people (JMS).
    residual : float or None
        Mean square of what is left (EMS).
    f_between_trees : float or None
        F of trees against the residual; None where that is 0.
    f_one_way : float or None
        F of trees against the spread within; None where that is 0.
    icc_1_1, icc_2_1, icc_3_1 : IccForm
        The forms for one person's measure.
    icc_1_k, icc_2_k, icc_3_k : IccForm
        The forms for the mean of all people's measures.
    reason : Message or None
        Why there is no figure; None where there is one.
    """

    trees: int
    people: int
    left_out: int
    between_trees: float | None
    within_trees: float | None
    between_people: float | None
    residual: float | None
    f_between_trees: float | None
    f_one_way: float | None
    icc_1_1: IccForm
    icc_2_1: IccForm
    icc_3_1: IccForm
    icc_1_k: IccForm
    icc_2_k: IccForm
    icc_3_k: IccForm
    reason: Message | None


@dataclass(frozen=True)
class _Squares:
    trees: int
    people: int
    between_trees: float
    within_trees: float
    between_people: float
    residual: float


def intraclass_correlation(measures: Sequence[Sequence[float | None]]) -> IntraclassCorrelation:
    """
    Return all six forms of the intraclass correlation.

    Parameters
    ----------
    measures : Sequence of Sequence of float or None
        One row per tree, one column per person. Trees with a missing measure are left out, since
        the analysis of variance needs all of them.

    Returns
    -------
    IntraclassCorrelation
        The forms with their 95 % intervals; no figures but a reason with fewer than two trees or
        people, or where all measures are the same. The interval of ICC(2,k) is that of ICC(2,1)
        stepped up by Spearman and Brown.

    Raises
    ------
    ValueError
        If rows differ in length or a measure is not finite; the message names the value.

    References
    ----------
    .. [1] P. E. Shrout and J. L. Fleiss, Psychological Bulletin 86:420-428, 1979.

    Examples
    --------
    >>> found = intraclass_correlation([[310, 318], [295, 301], [330, 337], [304, 313]])
    >>> [round(form.value, 2) for form in (found.icc_1_1, found.icc_2_1, found.icc_3_1)]
    [0.88, 0.89, 1.0]
    """
    people = len(measures[0]) if len(measures) else 0
    rows = _complete(measures, people)
    left_out = len(measures) - len(rows)
    if people < _LEAST:
        reason = say("It takes two people who measured the same trees.")
        return _without_figures(len(rows), people, left_out, reason)
    if len(rows) < _LEAST:
        reason = say("It takes two trees that everybody measured.")
        return _without_figures(len(rows), people, left_out, reason)
    squares = _squares(rows)
    if squares is None:
        reason = say("All measures are the same, so that nothing can be told apart.")
        return _without_figures(len(rows), people, left_out, reason)
    one_way = _one_way(squares)
    random = _random_people(squares)
    fixed = _fixed_people(squares)
    return IntraclassCorrelation(
        trees=len(rows),
        people=people,
        left_out=left_out,
        between_trees=squares.between_trees,
        within_trees=squares.within_trees,
        between_people=squares.between_people,
        residual=squares.residual,
        f_between_trees=_ratio(squares.between_trees, squares.residual),
        f_one_way=_ratio(squares.between_trees, squares.within_trees),
        icc_1_1=one_way[0],
        icc_2_1=random[0],
        icc_3_1=fixed[0],
        icc_1_k=one_way[1],
        icc_2_k=random[1],
        icc_3_k=fixed[1],
        reason=None,
    )


def _complete(measures: Sequence[Sequence[float | None]], people: int) -> list[list[float]]:
    for row in measures:
        if len(row) != people:
            raise ValueError(f"measures must have {people} people a tree, not {len(row)}")
        for measure in row:
            if measure is not None and not math.isfinite(measure):
                raise ValueError(f"measures must be finite numbers or None, not {measure}")
    complete = ([float(each) for each in row if each is not None] for row in measures)
    return [row for row in complete if len(row) == people]


def _without_figures(
    trees: int, people: int, left_out: int, reason: Message
) -> IntraclassCorrelation:
    form = IccForm(None, None)
    return IntraclassCorrelation(
        trees=trees,
        people=people,
        left_out=left_out,
        between_trees=None,
        within_trees=None,
        between_people=None,
        residual=None,
        f_between_trees=None,
        f_one_way=None,
        icc_1_1=form,
        icc_2_1=form,
        icc_3_1=form,
        icc_1_k=form,
        icc_2_k=form,
        icc_3_k=form,
        reason=reason,
    )


def _squares(rows: list[list[float]]) -> _Squares | None:
    """Return the mean squares; None if all measures are the same."""
    trees, people = len(rows), len(rows[0])
    mean = math.fsum(map(math.fsum, rows)) / (trees * people)
    of_trees = [math.fsum(row) / people for row in rows]
    of_people = [math.fsum(column) / trees for column in zip(*rows, strict=True)]
    total = math.fsum((each - mean) ** 2 for row in rows for each in row)
    largest = max(abs(each) for row in rows for each in row)
    least = trees * people * (_ROUNDING * largest) ** 2
    if total <= least:
        return None
    between_trees = people * math.fsum((each - mean) ** 2 for each in of_trees)
    between_people = trees * math.fsum((each - mean) ** 2 for each in of_people)
    within = math.fsum(
        (each - of_tree) ** 2 for row, of_tree in zip(rows, of_trees, strict=True) for each in row
    )
    residual = math.fsum(
        (each - of_tree - of_person + mean) ** 2
        for row, of_tree in zip(rows, of_trees, strict=True)
        for each, of_person in zip(row, of_people, strict=True)
    )

    def mean_square(squares: float, degrees_of_freedom: int) -> float:
        return squares / degrees_of_freedom if squares > least else 0.0

    return _Squares(
        trees,
        people,
        mean_square(between_trees, trees - 1),
        mean_square(within, trees * (people - 1)),
        mean_square(between_people, people - 1),
        mean_square(residual, (trees - 1) * (people - 1)),
    )


def _one_way(found: _Squares) -> tuple[IccForm, IccForm]:
    people, between, within = found.people, found.between_trees, found.within_trees
    single = _ratio(between - within, between + (people - 1) * within)
    mean = _ratio(between - within, between)
    degrees = found.trees - 1, found.trees * (people - 1)
    return _with_limits(single, mean, people, _ratio(between, within), degrees)


def _fixed_people(found: _Squares) -> tuple[IccForm, IccForm]:
    people, between, residual = found.people, found.between_trees, found.residual
    single = _ratio(between - residual, between + (people - 1) * residual)
    mean = _ratio(between - residual, between)
    degrees = found.trees - 1, (found.trees - 1) * (people - 1)
    return _with_limits(single, mean, people, _ratio(between, residual), degrees)


def _with_limits(
    single: float | None,
    mean: float | None,
    people: int,
    f: float | None,
    degrees: tuple[int, int],
) -> tuple[IccForm, IccForm]:
    """Add the limits of a form that depends on one ratio of mean squares."""
    if not f:
        return IccForm(single, None), IccForm(mean, None)
    lower = f / _f_quantile(*degrees)
    upper = f * _f_quantile(*reversed(degrees))
    return (
        IccForm(
            single,
            Interval((lower - 1) / (lower + people - 1), (upper - 1) / (upper + people - 1)),
        ),
        IccForm(mean, Interval(1 - 1 / lower, 1 - 1 / upper)),
    )


def _random_people(found: _Squares) -> tuple[IccForm, IccForm]:
    trees, people = found.trees, found.people
    between, residual, of_people = found.between_trees, found.residual, found.between_people
    strictness = (of_people - residual) / trees
    single = _ratio(between - residual, between + (people - 1) * residual + people * strictness)
    mean = _ratio(between - residual, between + strictness)
    if single is None or not residual or not between:
        return IccForm(single, None), IccForm(mean, None)
    f = of_people / residual
    weight = trees * (1 + (people - 1) * single) - people * single
    # Satterthwaite's degrees of freedom of the denominator.
    degrees = (
        (people - 1)
        * (trees - 1)
        * (people * single * f + weight) ** 2
        / ((trees - 1) * people**2 * single**2 * f**2 + weight**2)
    )
    low, high = _f_quantile(trees - 1, degrees), _f_quantile(degrees, trees - 1)
    rest = people * of_people + (people * trees - people - trees) * residual
    lower = trees * (between / low - residual) / (rest + trees * between / low)
    upper = trees * (high * between - residual) / (rest + trees * high * between)
    # Far below 0 the approximate degrees of freedom vanish and the limits mean nothing.
    if not lower <= single <= upper:
        return IccForm(single, None), IccForm(mean, None)
    stepped = [_ratio(people * limit, 1 + (people - 1) * limit) for limit in (lower, upper)]
    of_mean = (
        None
        if mean is None or stepped[0] is None or stepped[1] is None
        else Interval(stepped[0], stepped[1])
    )
    return IccForm(single, Interval(lower, upper)), IccForm(mean, of_mean)


def _f_quantile(numerator: float, denominator: float) -> float:
    from scipy.special import fdtri  # noqa: PLC0415 - keeps starting the app light

    return float(fdtri(numerator, denominator, (1 + CONFIDENCE) / 2))


def _ratio(part: float, whole: float) -> float | None:
    return part / whole if whole > 0 else None
