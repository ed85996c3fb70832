"""Whether a training helped: trees before it and after it, and what may be said of them."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    Interval,
    newcombe_difference,
)
from audits.messages import Message, say, say_n

_HUNDRED: Final = 100


class EffectLevel(StrEnum):
    """How much may be said of before and after."""

    COUNTS = "counts"
    TOO_FEW = "too_few"
    DIFFERENCE = "difference"


@dataclass(frozen=True)
class BeforeAfter:
    """
    Trees before a training and after it, and no more than may be said of them.

    Parameters
    ----------
    before, after : tuple of int and int
        Nonconforming and due trees on either side, sums over first audits.
    level : EffectLevel
        How much may be said.
    difference : float or None
        Fraction after less fraction before, in [-1, 1]; None below the floors.
    interval : Interval or None
        Newcombe's 95 % interval of the difference; None below the floors.
    counts : tuple of Message
        Both sides in counts; always to be shown.
    sentences : tuple of Message
        What follows, in words.
    """

    before: tuple[int, int]
    after: tuple[int, int]
    level: EffectLevel
    difference: float | None
    interval: Interval | None
    counts: tuple[Message, Message]
    sentences: tuple[Message, ...]


def compare_before_after(before: tuple[int, int], after: tuple[int, int]) -> BeforeAfter:
    """
    Say of trees before and after a training what their number allows.

    Below 10 due trees on a side only counts are given, below 30 it is too few to say.

    Parameters
    ----------
    before, after : tuple of int and int
        Nonconforming and due trees on either side.

    Returns
    -------
    BeforeAfter
        Counts, the difference with its interval where the floors allow it, and the words.

    Raises
    ------
    ValueError
        If a side has fewer than 0 or more nonconforming than due trees.

    Notes
    -----
    People are mostly trained when they have just done badly, part of which was bad luck. Even a
    training that teaches nothing is then followed by fewer faults (regression to the mean), so
    that the difference flatters trainings. Trees of one row are alike, which makes the true
    interval wider than Newcombe's.

    References
    ----------
    .. [1] R. G. Newcombe, Statistics in Medicine 17:873-890, 1998, method 10.
    .. [2] J. M. Bland, D. G. Altman, Regression towards the mean, BMJ 308:1499, 1994.

    Examples
    --------
    >>> effect = compare_before_after((14, 40), (4, 40))
    >>> print(effect.sentences[0])
    Of 100 trees, 25 fewer were wrong after it; it could be 42 fewer to 7 fewer.
    """
    for nonconforming, due in (before, after):
        if not 0 <= nonconforming <= due:
            raise ValueError(f"the count must lie between 0 and {due}, not {nonconforming}")
    counts = (_counts(before, later=False), _counts(after, later=True))
    least = min(before[1], after[1])
    if least < LEAST_TREES_TO_COMPARE:
        few = least < LEAST_TREES_FOR_A_RANGE
        level = EffectLevel.COUNTS if few else EffectLevel.TOO_FEW
        return BeforeAfter(before, after, level, None, None, counts, (_too_few(),))
    difference = after[0] / after[1] - before[0] / before[1]
    interval = newcombe_difference(*after, *before)
    sentences = (
        say(
            "Of 100 trees, %(change)s were wrong after it; it could be %(lower)s to %(upper)s.",
            change=_change(difference),
            lower=_change(interval.lower),
            upper=_change(interval.upper),
        ),
        _verdict(interval),
    )
    return BeforeAfter(
        before, after, EffectLevel.DIFFERENCE, difference, interval, counts, sentences
    )


def by_itself() -> tuple[Message, Message]:
    """
    Say that some improvement comes by itself; to be shown beside every before and after.

    Returns
    -------
    tuple of Message
        Two sentences.
    """
    return (
        say("People are mostly trained when they have just been unlucky."),
        say("So some improvement comes by itself, even without a training."),
    )


def _counts(side: tuple[int, int], *, later: bool) -> Message:
    nonconforming, due = side
    if due == 0:
        return say("After: no due tree yet.") if later else say("Before: no due tree.")
    if later:
        return say_n(
            "After: %(wrong)s of %(count)s tree wrong.",
            "After: %(wrong)s of %(count)s trees wrong.",
            due,
            wrong=nonconforming,
        )
    return say_n(
        "Before: %(wrong)s of %(count)s tree wrong.",
        "Before: %(wrong)s of %(count)s trees wrong.",
        due,
        wrong=nonconforming,
    )


def _too_few() -> Message:
    return say(
        "Too few to say whether it helped. It takes %(trees)s due trees on each side.",
        trees=LEAST_TREES_TO_COMPARE,
    )


def _change(difference: float) -> Message:
    trees = round(difference * _HUNDRED)
    if trees < 0:
        return say_n("%(count)s fewer", "%(count)s fewer", -trees)
    if trees > 0:
        return say_n("%(count)s more", "%(count)s more", trees)
    return say("as many")


def _verdict(interval: Interval) -> Message:
    if interval.upper < 0:
        return say("That is more than chance explains.")
    if interval.lower > 0:
        return say("More were wrong than before, beyond chance. Look at it together.")
    return say("Chance alone may explain it.")
