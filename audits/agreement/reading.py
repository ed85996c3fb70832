"""What may be said of two auditors' agreement, and what follows from it."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.agreement.kappa import cohen_kappa, gwet_ac1_of_table, steady_interval
from audits.agreement.tables import Table, checked_table
from audits.estimates import Interval
from audits.messages import Message, Rounded, mark, say, say_n

# Kappa of 0.75 and more is good, below 0.40 poor: AIAG, Measurement Systems Analysis, 4th edition,
# attribute studies (after J. L. Fleiss). At least 30 pairs is this project's own floor, the same as
# for setting a rate beside the standard.
GOOD_KAPPA: Final = 0.75
POOR_KAPPA: Final = 0.40
LEAST_PAIRS: Final = 30

# Where all but a few trees get the same answer, kappa is nearly 2a / (2a + d): a of those few trees
# agreed on, d not. From 5 trees on, no single tree can move it by the whole width between poor and
# good; this rule is the project's own.
LEAST_UNUSUAL_TREES: Final = 5

# A kappa that equals a limit is on its good side; rounding must not push it over.
_ROUNDING: Final = 1e-9


class AgreementLevel(StrEnum):
    """How well two auditors agree, and whether that can be told."""

    TOO_FEW = "too_few"
    NO_FAULTS = "no_faults"
    GOOD = "good"
    RECALIBRATE = "recalibrate"
    NOT_USED = "not_used"


AGREEMENT_LEVEL_NAMES: Final = {
    AgreementLevel.TOO_FEW: mark("Too few trees to judge"),
    AgreementLevel.NO_FAULTS: mark("Too few faults to judge"),
    AgreementLevel.GOOD: mark("Good agreement"),
    AgreementLevel.RECALIBRATE: mark("Recalibrate"),
    AgreementLevel.NOT_USED: mark("Not used"),
}


@dataclass(frozen=True)
class AgreementReading:
    """
    What may be said of two auditors' agreement, and no more.

    Parameters
    ----------
    level : AgreementLevel
        How well they agree, by the estimate of kappa.
    pairs : int
        Trees that both scored.
    agreed : int
        Trees on which they gave the same answer.
    kappa : float or None
        Cohen's kappa, in [-1, 1]; None where there are too few trees or too few faults to judge.
    interval : Interval or None
        95 % interval of kappa within [-1, 1] by `steady_interval`; None where kappa is.
    ac1 : float or None
        Gwet's AC1; only where faults are too few for kappa.
    sentence : Message
        The reading in words.
    follows : Message
        What is to be done about it.
    """

    level: AgreementLevel
    pairs: int
    agreed: int
    kappa: float | None
    interval: Interval | None
    ac1: float | None
    sentence: Message
    follows: Message

    @property
    def counts(self) -> bool:
        """
        Tell whether nothing is held against these scores.

        Returns
        -------
        bool
            False only for agreement that is known to be poor.
        """
        return self.level is not AgreementLevel.NOT_USED


def read_agreement(table: Table) -> AgreementReading:
    """
    Say of two auditors' agreement what their trees allow.

    With fewer than 30 trees only counts are given. With fewer than 5 trees that got another answer
    than the usual one, kappa would hang on single trees, so that AC1 stands in its place and
    nothing follows. Otherwise kappa decides: good from 0.75 on, to recalibrate from 0.40 on, and
    below that the scores are not used.

    Parameters
    ----------
    table : Sequence of Sequence of int
        One row per answer of the first auditor, one column per answer of the second, answers in the
        same order: how many trees got both answers. Tables of several pairs of people may be added
        up.

    Returns
    -------
    AgreementReading
        The level, the figures that may be shown, and the sentences.

    Raises
    ------
    ValueError
        If the table is not square or holds anything but whole numbers of at least 0.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th edition, 2010, attribute studies.
    .. [2] A. R. Feinstein and D. V. Cicchetti, Journal of Clinical Epidemiology 43:543-549, 1990,
       on rare answers.

    Examples
    --------
    >>> print(read_agreement([[40, 2], [1, 12]]).sentence)
    Kappa 0.85, could be 0.64 to 0.99 (55 trees).
    """
    counts = checked_table(table)
    found = cohen_kappa(counts)
    usual = max(row[place] for place, row in enumerate(counts))
    agreed = sum(row[place] for place, row in enumerate(counts))
    if found.pairs < LEAST_PAIRS:
        return _too_few(found.pairs, agreed)
    interval = steady_interval(counts)
    if found.kappa is None or interval is None or found.pairs - usual < LEAST_UNUSUAL_TREES:
        return _no_faults(counts, found.pairs, agreed, found.pairs - usual)
    return _judged(found.pairs, agreed, found.kappa, interval)


def _too_few(pairs: int, agreed: int) -> AgreementReading:
    if pairs:
        sentence = say_n(
            "The same answer on %(agreed)s of %(count)s tree. Too few to judge.",
            "The same answer on %(agreed)s of %(count)s trees. Too few to judge.",
            pairs,
            agreed=agreed,
        )
    else:
        sentence = say("No tree was scored by both yet.")
    follows = say_n(
        "Score %(count)s more check tree, unseen by each other.",
        "Score %(count)s more check trees, unseen by each other.",
        LEAST_PAIRS - pairs,
    )
    return AgreementReading(
        AgreementLevel.TOO_FEW, pairs, agreed, None, None, None, sentence, follows
    )


def _no_faults(counts: list[list[int]], pairs: int, agreed: int, unusual: int) -> AgreementReading:
    ac1 = gwet_ac1_of_table(counts).value
    if unusual and ac1 is not None:
        sentence = say_n(
            "The same answer on %(agreed)s of %(pairs)s trees (AC1 %(ac1)s), but only %(count)s "
            "tree got any other answer than the usual one: too few to judge by kappa.",
            "The same answer on %(agreed)s of %(pairs)s trees (AC1 %(ac1)s), but only %(count)s "
            "trees got any other answer than the usual one: too few to judge by kappa.",
            unusual,
            agreed=agreed,
            pairs=pairs,
            ac1=Rounded(ac1, 2),
        )
    else:
        sentence = say(
            "Both gave all %(pairs)s trees the same answer. These trees cannot tell whether both "
            "would see the same faults.",
            pairs=pairs,
        )
    follows = say("The scores count. Choose check trees where faults are to be expected.")
    return AgreementReading(
        AgreementLevel.NO_FAULTS, pairs, agreed, None, None, ac1, sentence, follows
    )


def _judged(pairs: int, agreed: int, kappa: float, interval: Interval) -> AgreementReading:
    values = {
        "kappa": Rounded(kappa, 2),
        "lower": Rounded(interval.lower, 2),
        "upper": Rounded(interval.upper, 2),
        "pairs": pairs,
    }
    if kappa >= GOOD_KAPPA - _ROUNDING:
        level = AgreementLevel.GOOD
        sentence = say(
            "Kappa %(kappa)s, could be %(lower)s to %(upper)s (%(pairs)s trees).",
            **values,
        )
        follows = say("The scores count.")
    elif kappa >= POOR_KAPPA - _ROUNDING:
        level = AgreementLevel.RECALIBRATE
        sentence = say(
            "Middling agreement: kappa %(kappa)s, could be %(lower)s to %(upper)s "
            "(%(pairs)s trees).",
            **values,
        )
        follows = say("Recalibrate: walk trees together and talk over those that differ.")
    else:
        level = AgreementLevel.NOT_USED
        sentence = say(
            "Poor agreement: kappa %(kappa)s, could be %(lower)s to %(upper)s (%(pairs)s trees).",
            **values,
        )
        follows = say("The scores are not used to compare workers until recalibrated.")
    return AgreementReading(level, pairs, agreed, kappa, interval, None, sentence, follows)
