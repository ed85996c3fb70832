"""
Whether an item is harder in one language than in the other for people who know the same.

People who read one language may know more or less than those who read the other, so plain shares
say nothing of the wording. Within groups of people whose other answers are equally good they do:
the common odds ratio of Mantel and Haenszel adds such groups up.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from audits.estimates.intervals import normal_quantile

_CONFIDENCE: Final = 0.95


class TwoByTwo(NamedTuple):
    """
    One group of people: right and wrong answers in one language, and in the other.

    Parameters
    ----------
    right_one, wrong_one : int
        People of the first language who got the item right, and wrong.
    right_other, wrong_other : int
        The same of the other language.
    """

    right_one: int
    wrong_one: int
    right_other: int
    wrong_other: int


@dataclass(frozen=True)
class CommonOdds:
    """
    How much likelier a right answer is in one language.

    Parameters
    ----------
    ratio : float
        The common odds ratio; above 1 the first language is the easier one. Infinite or 0 where
        all that is known points one way.
    interval : tuple of float or None
        Its bounds at 95 %; None where all points one way.
    p_value : float
        Chance of a ratio as far from 1 if the language makes no difference.
    people_one, people_other : int
        People in either language, over the groups that say anything.
    """

    ratio: float
    interval: tuple[float, float] | None
    p_value: float
    people_one: int
    people_other: int


def common_odds(groups: Sequence[TwoByTwo]) -> CommonOdds | None:
    """
    Return the common odds ratio of several groups.

    Parameters
    ----------
    groups : Sequence of TwoByTwo
        Right and wrong answers in either language, one for each group of equally good people.

    Returns
    -------
    CommonOdds or None
        The ratio of Mantel and Haenszel [1]_ with the interval of Robins, Breslow and
        Greenland [2]_, and the test of Mantel and Haenszel without continuity correction. None
        where no group says anything.

    Raises
    ------
    ValueError
        If a count is negative.

    References
    ----------
    .. [1] N. Mantel, W. Haenszel, Statistical aspects of the analysis of data from retrospective
       studies of disease, Journal of the National Cancer Institute 22 (1959), 719-748.
    .. [2] J. Robins, N. Breslow, S. Greenland, Estimators of the Mantel-Haenszel variance
       consistent in both sparse data and large-strata limiting models, Biometrics 42 (1986),
       311-323.

    Examples
    --------
    >>> round(common_odds([TwoByTwo(8, 2, 5, 5)]).ratio, 6)
    4.0
    """
    from scipy.special import ndtr  # noqa: PLC0415 - scipy is slow to load

    for place, group in enumerate(groups):
        if min(group) < 0:
            raise ValueError(f"groups[{place}] must hold no negative count: {tuple(group)}")
    # A group in one language, or with only right or only wrong answers, says nothing.
    told = [
        group
        for group in groups
        if (group.right_one + group.wrong_one) * (group.right_other + group.wrong_other)
        and (group.right_one + group.right_other) * (group.wrong_one + group.wrong_other)
    ]
    forth = [g.right_one * g.wrong_other / sum(g) for g in told]
    back = [g.wrong_one * g.right_other / sum(g) for g in told]
    if not told:
        return None
    above, below = math.fsum(forth), math.fsum(back)
    p_value = 2 * float(ndtr(-abs(_z(told))))
    people = (
        sum(g.right_one + g.wrong_one for g in told),
        sum(g.right_other + g.wrong_other for g in told),
    )
    if above <= 0 or below <= 0:
        # The clearest case of all: the test still speaks where the ratio has no range.
        return CommonOdds(math.inf if above > 0 else 0.0, None, p_value, *people)
    agree = [(g.right_one + g.wrong_other) / sum(g) for g in told]
    variance = (
        math.fsum(p * r for p, r in zip(agree, forth, strict=True)) / (2 * above**2)
        + math.fsum(p * s + (1 - p) * r for p, r, s in zip(agree, forth, back, strict=True))
        / (2 * above * below)
        + math.fsum((1 - p) * s for p, s in zip(agree, back, strict=True)) / (2 * below**2)
    )
    ratio = above / below
    reach = normal_quantile(_CONFIDENCE) * math.sqrt(variance)
    return CommonOdds(
        ratio,
        (ratio * math.exp(-reach), ratio * math.exp(reach)),
        p_value,
        *people,
    )


def _z(groups: Sequence[TwoByTwo]) -> float:
    """Return how far the right answers in the first language lie from what chance gives."""
    seen = sum(g.right_one for g in groups)
    expected, variance = 0.0, 0.0
    for g in groups:
        whole, right, one = sum(g), g.right_one + g.right_other, g.right_one + g.wrong_one
        expected += right * one / whole
        variance += right * (whole - right) * one * (whole - one) / (whole**2 * (whole - 1))
    return (seen - expected) / math.sqrt(variance)
