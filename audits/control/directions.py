"""Which way the work went wrong, since when, and what to do about it: one sentence."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from babel.dates import format_skeleton

from audits.messages import Message, Words, mark, say
from audits.units import Length
from audits.vocabulary import Fault, Stage

# With a smaller share, no fault leads and the sentence names none.
LEADING_SHARE: Final = 0.5

_SINCE: Final = {
    Fault.HIGH: mark(
        "Tops run high since %(since)s: check the mark on the pole, then show the front of the "
        "card."
    ),
    Fault.LOW: mark(
        "Tops run low since %(since)s: stop and check the mark on the pole; a low cut cannot be "
        "put back."
    ),
    Fault.BLUNT: mark(
        "Tops are cut blunt since %(since)s: show the cut to a side branch on a tree together."
    ),
    Fault.LEADER_YOUNG: mark(
        "Leaders are taken too young since %(since)s: stop, and show which tops to leave alone."
    ),
    Fault.TOO_FEW: mark(
        "Too few limbs come out since %(since)s: name the limbs on five trees together."
    ),
    Fault.TOO_MANY: mark(
        "Too many limbs come out since %(since)s: stop, and count the limbs on five trees together "
        "before the first cut."
    ),
    Fault.WRONG_LIMB: mark(
        "The wrong limbs come out since %(since)s: find the thickest limb together before the "
        "first cut."
    ),
    Fault.FLUSH_CUT: mark(
        "Limbs are cut flush since %(since)s: stop, and show the slanted cut and the stub that it "
        "leaves."
    ),
    Fault.LOW_STUB: mark(
        "Stubs stay low down since %(since)s: show the clean cut, and up to which height it goes."
    ),
    Fault.LONG_STUB: mark(
        "Stubs are left long since %(since)s: show how long a stub may be on a tree together."
    ),
    Fault.TORN_BARK: mark(
        "Bark tears since %(since)s: check the saw, and show the cut from below first."
    ),
    Fault.FORK: mark("Forks are left since %(since)s: show on a branch which arm comes off."),
    Fault.SIDE_BRANCH: mark(
        "Side branches are left since %(since)s: lay a pencil beside some of them together."
    ),
    Fault.UPRIGHT: mark(
        "Strong uprights are left since %(since)s: look for them from below on a tree together."
    ),
    Fault.TIP_SHORTENED: mark(
        "Tips are shortened since %(since)s: stop, and show that a column keeps its own tip."
    ),
    Fault.SPURS_STRIPPED: mark(
        "Spurs are stripped since %(since)s: stop, and show which short wood carries the fruit."
    ),
    Fault.THICK: mark(
        "Ends are cut too thick since %(since)s: lay on the gauge, and cut farther out."
    ),
    Fault.THIN: mark(
        "Ends are cut too thin since %(since)s: lay on the gauge, and cut farther in."
    ),
    Fault.LEFT_LONG: mark(
        "Bent-down ends are left long since %(since)s: look for them on a tree together."
    ),
    Fault.FORBIDDEN: mark(
        "Ends are cut where the standard forbids it since %(since)s: stop, and show the front of "
        "the card."
    ),
    Fault.TREE_MISSED: mark(
        "Trees are missed since %(since)s: agree where each person begins and stops."
    ),
    Fault.SIDE_MISSED: mark("One side is missed since %(since)s: agree who does which side."),
}

_OF_SEVERAL_KINDS: Final = {
    Stage.TOP: mark(
        "More tops are wrong than chance explains since %(since)s, in several ways: look at the "
        "last trees together."
    ),
    Stage.LIMBS: mark(
        "More limb cuts are wrong than chance explains since %(since)s, in several ways: look at "
        "the last trees together."
    ),
    Stage.COLUMNS: mark(
        "More columns are wrong than chance explains since %(since)s, in several ways: look at the "
        "last trees together."
    ),
    Stage.HEADING: mark(
        "More branch ends are wrong than chance explains since %(since)s, in several ways: look at "
        "the last trees together."
    ),
}

_BY_HEIGHT: Final = {
    Fault.HIGH: mark(
        "Tops run %(length)s high since %(since)s: check the mark on the pole, then show the "
        "front of the card."
    ),
    Fault.LOW: mark(
        "Tops run %(length)s low since %(since)s: stop and check the mark on the pole; a low cut "
        "cannot be put back."
    ),
}

_UNEVEN: Final = mark(
    "Tops are cut at uneven heights since %(since)s: hold the pole to each tree for a while."
)


@dataclass(frozen=True)
class Day:
    """
    A day of the season, read without its year.

    Parameters
    ----------
    on : date
        The day.

    Examples
    --------
    >>> from audits.messages import ENGLISH
    >>> ENGLISH.show(Day(date(2026, 1, 12)))
    'January 12'
    """

    on: date

    def in_words(self, words: Words) -> str:
        """
        Write the day for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"January 12"`` or ``"12 de enero"``.
        """
        return format_skeleton("MMMMd", self.on, locale=words.locale)


def fault_counts(faults: Iterable[tuple[Fault, ...]]) -> dict[Fault, int]:
    """
    Count on how many trees each fault was named.

    Parameters
    ----------
    faults : iterable of tuple of Fault
        The named faults of each nonconforming tree.

    Returns
    -------
    dict of Fault to int
        Trees by fault, in the vocabulary's order; a tree with two faults counts for both.
    """
    counts = Counter(fault for named in faults for fault in set(named))
    return {fault: counts[fault] for fault in Fault if fault in counts}


def what_to_do(
    stage: Stage,
    since: date,
    counts: Mapping[Fault, int],
    nonconforming: int,
    *,
    height_mm: float | None = None,
) -> Message:
    """
    Say which way a stage went wrong, since when, and what to do.

    Parameters
    ----------
    stage : Stage
        The stage.
    since : date
        Day of the first tree of the run that led to the signal.
    counts : Mapping of Fault to int
        Trees of the run by named fault.
    nonconforming : int
        Nonconforming trees of the run.
    height_mm : float or None, optional
        Mean height of the run's tops above the target in mm, below 0 under it; None where too few
        were measured.

    Returns
    -------
    Message
        One sentence. It names a fault if that was seen on at least half of the nonconforming
        trees and none as often; a height only if it lies on the side of the fault.

    Examples
    --------
    >>> print(what_to_do(Stage.COLUMNS, date(2026, 1, 12), {Fault.FORK: 4}, 5))
    Forks are left since January 12: show on a branch which arm comes off.
    """
    most = max(counts.values(), default=0)
    leading = [fault for fault, count in counts.items() if count == most]
    if len(leading) != 1 or most < LEADING_SHARE * nonconforming:
        return say(_OF_SEVERAL_KINDS[stage], since=Day(since))
    fault = leading[0]
    if height_mm is not None and (
        (fault is Fault.HIGH and height_mm > 0) or (fault is Fault.LOW and height_mm < 0)
    ):
        return height_sentence(since, height_mm)
    return say(_SINCE[fault], since=Day(since))


def height_sentence(since: date, height_mm: float) -> Message:
    """
    Say how far tops run high or low, since when, and what to do.

    Parameters
    ----------
    since : date
        Day of the first of these trees.
    height_mm : float
        Mean height above the target in mm, below 0 under it.

    Returns
    -------
    Message
        One sentence.
    """
    side = Fault.HIGH if height_mm > 0 else Fault.LOW
    return say(_BY_HEIGHT[side], since=Day(since), length=Length(abs(height_mm)))


def uneven_sentence(since: date) -> Message:
    """
    Say that heights differ too much from tree to tree, since when, and what to do.

    Parameters
    ----------
    since : date
        Day of the first of these trees.

    Returns
    -------
    Message
        One sentence.
    """
    return say(_UNEVEN, since=Day(since))
