"""
Switching between normal, tightened and reduced inspection, lot by lot.

The history of one crew, stage and standard decides how strictly the next lot is inspected. Only
original inspections under plans of the tables count, never a lot brought forward again after
rework, and never a wave plan (`audits.sampling.effort` is for those). On entering another kind of
inspection every run and window begins afresh.

MIL-STD-105E and ISO 2859-1:1999 are the same scheme at heart: the same code letters, the same
single plans for normal and tightened inspection, the same two of five lots that bring tightened
inspection, the same five lots back to normal, the same stop after five lots not accepted. They
differ in these points:

- For reduced inspection, MIL-STD-105E looks at ten lots and the limit numbers of its Table VIII;
  ISO 2859-1 adds up a switching score (`Reduction.SWITCHING_SCORE`).
- A reduced plan of MIL-STD-105E leaves a gap between its two numbers, and a lot in the gap ends
  reduced inspection though it is accepted. In ISO 2859-1 the numbers follow each other. Tables here
  are those of MIL-STD-105E.
- ISO 2859-1 changed some double plans to take fewer trees on average, gave its multiple plans five
  samples instead of seven, and offers fractional acceptance numbers where MIL-STD-105E has the two
  arrows between 0 and 1. None of these are used here.
- ISO 2859-1 reads AQL as acceptance quality limit, MIL-STD-105E as acceptable quality level.
- The stop for good: older editions counted ten lots in a row that remain on tightened inspection
  (`Discontinuation.LOTS_REMAINING`).

A scheme promises its quality only as a whole, over many lots. `long_run_acceptance` says what the
normal and the tightened plan promise together.

References
----------
.. [1] MIL-STD-105E, 1989, 4.6 to 4.8 and Table VIII.
.. [2] ISO 2859-1:1999, clause 9, from public restatements; the score for double sampling from
   memory.
.. [3] K. S. Stephens and K. E. Larson, An evaluation of the MIL-STD-105D system of sampling plans,
   Industrial Quality Control 23, 1967.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import takewhile
from typing import Final, TypeAlias

from audits.errors import InvalidInput
from audits.messages import Message, mark, say, say_n
from audits.sampling.inputs import is_count, require_fraction, too_small
from audits.sampling.plans import DoublePlan, SinglePlan
from audits.sampling.tables import Inspection, NoLimit, limit_column, limit_number
from audits.sampling.tables.lookup import LEAST_JUDGED_TIGHTER
from audits.sampling.tables.terms import chosen

# Two lots not accepted, the second at most four lots after the first.
_WINDOW: Final = 5
_ACCEPTED_FOR_NORMAL: Final = 5
_LOTS_FOR_REDUCED: Final = 10
_SCORE_FOR_REDUCED: Final = 30


class Reduction(StrEnum):
    """When normal inspection may become reduced inspection."""

    LIMIT_NUMBERS = "limit_numbers"
    SWITCHING_SCORE = "switching_score"
    NEVER = "never"


class Discontinuation(StrEnum):
    """Which lots on tightened inspection are counted before acceptance by sampling stops."""

    LOTS_NOT_ACCEPTED = "lots_not_accepted"
    LOTS_REMAINING = "lots_remaining"


@dataclass(frozen=True)
class SwitchingRules:
    """
    What a farm chooses within the standards' rules.

    Parameters
    ----------
    reduction : Reduction or str, optional
        When reduced inspection may begin; by default as in MIL-STD-105E. `Reduction.NEVER` where
        nobody in charge wants it.
    discontinuation : Discontinuation or str, optional
        Which lots on tightened inspection count towards the stop; by default all those not
        accepted since it began.
    discontinuation_lots : int or None, optional
        How many of them stop acceptance by sampling; by default 5. None for no such rule.

    Raises
    ------
    InvalidInput
        If a rule is unknown or the number of lots below 1.
    """

    reduction: Reduction | str = Reduction.LIMIT_NUMBERS
    discontinuation: Discontinuation | str = Discontinuation.LOTS_NOT_ACCEPTED
    discontinuation_lots: int | None = 5

    def __post_init__(self) -> None:
        chosen("reduction", Reduction, self.reduction)
        chosen("discontinuation", Discontinuation, self.discontinuation)
        lots = self.discontinuation_lots
        if lots is not None and not is_count(lots, 1):
            raise InvalidInput({"discontinuation_lots": too_small(lots, 1)})


@dataclass(frozen=True)
class OriginalLot:
    """
    What the first inspection of a lot came to.

    Parameters
    ----------
    is_accepted : bool
        Whether the lot was accepted.
    nonconforming : int, optional
        Nonconforming trees in its sample; with double sampling in all that was inspected.
    trees : int, optional
        Trees inspected. A lot of unknown sample (0) breaks the run that limit numbers are for.
    is_in_gap : bool, optional
        Whether it was accepted with a count above the acceptance number of a reduced plan.
    score_gain : int, optional
        What it adds to the switching score, as `switching_score_gain` returns it; 0 sets the
        score back to nothing.
    work_is_steady : bool, optional
        Whether pruning goes on at a steady rate.

    Raises
    ------
    InvalidInput
        If a count is negative, or a lot that was not accepted lies in the gap.
    """

    is_accepted: bool
    nonconforming: int = 0
    trees: int = 0
    is_in_gap: bool = False
    score_gain: int = 0
    work_is_steady: bool = True

    def __post_init__(self) -> None:
        problems = {
            name: too_small(getattr(self, name), 0)
            for name in ("nonconforming", "trees", "score_gain")
            if not is_count(getattr(self, name), 0)
        }
        if self.is_in_gap and not self.is_accepted:
            problems["is_in_gap"] = say("A lot in the gap between the two numbers is accepted.")
        if problems:
            raise InvalidInput(problems)


@dataclass(frozen=True)
class CauseRemoved:
    """The cause of bad work was put right, so that discontinued inspection may begin again."""


Event: TypeAlias = OriginalLot | CauseRemoved


@dataclass(frozen=True)
class SwitchingState:
    """
    How the next lot is inspected, and why.

    Parameters
    ----------
    inspection : Inspection
        Normal, tightened or reduced inspection; discontinued where no lot may be accepted by
        sampling until the cause of the bad work is put right.
    reason : Message
        What brought the latest change, in a sentence.
    score : int, optional
        The switching score; it moves on normal inspection only.
    lots : tuple of OriginalLot, optional
        The lots under this inspection so far, oldest first.
    """

    inspection: Inspection
    reason: Message
    score: int = 0
    lots: tuple[OriginalLot, ...] = field(default=(), repr=False)


_FIRST_REASONS: Final = {
    Inspection.NORMAL: mark("Inspection begins as normal inspection."),
    Inspection.TIGHTENED: mark("Inspection begins as tightened inspection."),
    Inspection.REDUCED: mark("Inspection begins as reduced inspection."),
    Inspection.DISCONTINUED: mark("Acceptance by sampling is stopped to begin with."),
}

# By how many lots the two that were not accepted span.
_TIGHTENED_REASONS: Final = {
    2: mark("The last two lots were not accepted: tightened inspection from the next lot."),
    3: mark(
        "Two of the last three lots were not accepted: tightened inspection from the next lot."
    ),
    4: mark("Two of the last four lots were not accepted: tightened inspection from the next lot."),
    5: mark("Two of the last five lots were not accepted: tightened inspection from the next lot."),
}


def switching_states(
    history: Iterable[Event],
    acceptable_quality_limit: float | str,
    *,
    rules: SwitchingRules | None = None,
    start: Inspection | str = Inspection.NORMAL,
) -> list[SwitchingState]:
    """
    Return how inspection stood before the first lot and after each one.

    Parameters
    ----------
    history : iterable of OriginalLot or CauseRemoved
        The original inspections of one crew, stage and standard under table plans, one value per
        lot, oldest first; with `CauseRemoved` where the cause of bad work was put right.
    acceptable_quality_limit : float or str
        The limit in use (symbol AQL), 0.010 to 1000 as the tables print it.
    rules : SwitchingRules, optional
        What the farm chose; by default the rules of MIL-STD-105E.
    start : Inspection or str, optional
        The inspection of the first lot, by default normal.

    Returns
    -------
    list of SwitchingState
        One more than the history has events; each holds for the lot after its event.

    Raises
    ------
    InvalidInput
        If the tables have no such limit, or the start is no inspection.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, 4.6 to 4.8.
    .. [2] ISO 2859-1:1999, 9.3 and 9.4, from public restatements.

    Examples
    --------
    >>> lots = [OriginalLot(True), OriginalLot(False), OriginalLot(True), OriginalLot(False)]
    >>> state = switching_states(lots, 4.0)[-1]
    >>> str(state.reason)
    'Two of the last three lots were not accepted: tightened inspection from the next lot.'
    """
    limit_column(acceptable_quality_limit)
    first = chosen("start", Inspection, start)
    states = [SwitchingState(first, say(_FIRST_REASONS[first]))]
    for event in history:
        states.append(
            _after(states[-1], event, acceptable_quality_limit, rules or SwitchingRules())
        )
    return states


def switching_state(
    history: Iterable[Event],
    acceptable_quality_limit: float | str,
    *,
    rules: SwitchingRules | None = None,
    start: Inspection | str = Inspection.NORMAL,
) -> SwitchingState:
    """
    Return how the next lot is inspected after a history of lots, and why.

    Parameters
    ----------
    history : iterable of OriginalLot or CauseRemoved
        As for `switching_states`.
    acceptable_quality_limit : float or str
        The limit in use (symbol AQL).
    rules : SwitchingRules, optional
        What the farm chose; by default the rules of MIL-STD-105E.
    start : Inspection or str, optional
        The inspection of the first lot, by default normal.

    Returns
    -------
    SwitchingState
        The last of `switching_states`.

    Raises
    ------
    InvalidInput
        If the tables have no such limit, or the start is no inspection.

    Examples
    --------
    >>> switching_state([OriginalLot(False)] * 2, 4.0).inspection
    <Inspection.TIGHTENED: 'tightened'>
    """
    return switching_states(history, acceptable_quality_limit, rules=rules, start=start)[-1]


def switching_score_gain(
    plan: SinglePlan | DoublePlan,
    nonconforming: int,
    *,
    tighter_acceptance_number: int | None = None,
) -> int:
    """
    Return what a lot on normal inspection adds to the switching score.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan
        The plan the lot was inspected by.
    nonconforming : int
        Nonconforming trees in its sample; with double sampling in the first one.
    tighter_acceptance_number : int, optional
        Acceptance number of the same sample with the limit one step tighter, as
        `tighter_acceptance_number` of the tables returns it. A single plan that accepts two
        nonconforming trees or more needs it, no other.

    Returns
    -------
    int
        0 where the score goes back to nothing. Else 3 for double sampling, accepted on the first
        sample; under single sampling 2 where the plan accepts at most one nonconforming tree, and
        3 where a lot would have passed with the tighter limit as well.

    Raises
    ------
    InvalidInput
        If the count is negative, or the tighter number is missing.

    References
    ----------
    .. [1] ISO 2859-1:1999, 9.3.3.2, from public restatements; double sampling from memory.

    Examples
    --------
    >>> switching_score_gain(SinglePlan(80, 1), 1)
    2
    >>> switching_score_gain(SinglePlan(80, 2), 2, tighter_acceptance_number=1)
    0
    """
    if not is_count(nonconforming, 0):
        raise InvalidInput({"nonconforming": too_small(nonconforming, 0)})
    if isinstance(plan, DoublePlan):
        return 3 if nonconforming <= plan.first_acceptance_number else 0
    if plan.acceptance_number < LEAST_JUDGED_TIGHTER:
        return 2 if nonconforming <= plan.acceptance_number else 0
    if tighter_acceptance_number is None:
        raise InvalidInput(
            {
                "tighter_acceptance_number": say(
                    "A plan that accepts %(number)s nonconforming trees needs the acceptance "
                    "number of the limit one step tighter.",
                    number=plan.acceptance_number,
                )
            }
        )
    return 3 if nonconforming <= tighter_acceptance_number else 0


def long_run_acceptance(normal: float, tightened: float) -> float:
    """
    Return the share of lots that normal and tightened inspection together accept in the long run.

    Lots of one quality come one after the other, tightened inspection begins and ends by the
    rules, and there is neither reduced inspection nor a stop. Normal inspection then lasts for
    (2 - P^4) / ((1 - P)(1 - P^4)) lots on average, with P the chance that its plan accepts;
    tightened inspection for (1 - Q^5) / ((1 - Q) Q^5) lots, with Q the chance of its own.

    Parameters
    ----------
    normal : float
        Chance that the normal plan accepts a lot of this quality, in [0, 1].
    tightened : float
        Chance that the tightened plan accepts it, in [0, 1].

    Returns
    -------
    float
        Share of lots accepted, in [0, 1].

    Raises
    ------
    InvalidInput
        If a chance lies outside [0, 1].

    References
    ----------
    .. [1] K. S. Stephens and K. E. Larson, An evaluation of the MIL-STD-105D system of sampling
       plans, Industrial Quality Control 23, 1967.

    Examples
    --------
    >>> round(long_run_acceptance(0.9, 0.7), 4)
    0.8406
    """
    require_fraction("normal", normal)
    require_fraction("tightened", tightened)
    # Both lengths times (1 - P)(1 - P^4) Q^5, so that nothing is divided by 0.
    on_normal = (2.0 - normal**4) * tightened**5
    on_tightened = (1.0 - normal) * (1.0 - normal**4) * sum(tightened**power for power in range(5))
    if on_normal + on_tightened == 0.0:
        # Every lot passes on normal inspection, so that tightened inspection never begins.
        return 1.0
    accepted = on_normal * normal + on_tightened * tightened
    return accepted / (on_normal + on_tightened)


def _after(
    state: SwitchingState, event: Event, limit: float | str, rules: SwitchingRules
) -> SwitchingState:
    if isinstance(event, CauseRemoved):
        if state.inspection is not Inspection.DISCONTINUED:
            return state
        return SwitchingState(
            Inspection.TIGHTENED,
            say("The cause was put right: tightened inspection from the next lot."),
        )
    lots = (*state.lots, event)
    if state.inspection is Inspection.NORMAL:
        return _after_normal(state, lots, limit, rules)
    if state.inspection is Inspection.TIGHTENED:
        change = _change_from_tightened(lots, rules)
    elif state.inspection is Inspection.REDUCED:
        change = _change_from_reduced(event)
    else:
        change = None
    return change or SwitchingState(state.inspection, state.reason, lots=lots)


def _after_normal(
    state: SwitchingState,
    lots: tuple[OriginalLot, ...],
    limit: float | str,
    rules: SwitchingRules,
) -> SwitchingState:
    gain = lots[-1].score_gain
    score = state.score + gain if gain and lots[-1].is_accepted else 0
    lately = [lot.is_accepted for lot in lots[-_WINDOW:]]
    if not lately[-1] and lately.count(False) > 1:
        span = len(lately) - lately.index(False)
        return SwitchingState(Inspection.TIGHTENED, say(_TIGHTENED_REASONS[span]))
    reason = None
    if lots[-1].is_accepted and lots[-1].work_is_steady:
        reason = _reason_to_reduce(lots, score, limit, rules)
    if reason is not None:
        return SwitchingState(Inspection.REDUCED, reason, score)
    return SwitchingState(Inspection.NORMAL, state.reason, score, lots)


def _reason_to_reduce(
    lots: tuple[OriginalLot, ...], score: int, limit: float | str, rules: SwitchingRules
) -> Message | None:
    if rules.reduction == Reduction.LIMIT_NUMBERS:
        return _few_nonconforming(lots, limit)
    if rules.reduction == Reduction.SWITCHING_SCORE and score >= _SCORE_FOR_REDUCED:
        return say(
            "The switching score has reached %(score)s and the work is steady: reduced "
            "inspection from the next lot.",
            score=score,
        )
    return None


def _few_nonconforming(lots: tuple[OriginalLot, ...], limit: float | str) -> Message | None:
    """Say that the last ten lots were good enough, or the fewest more that have a limit number."""
    trees = found = 0
    run = takewhile(lambda lot: lot.is_accepted and lot.trees > 0, reversed(lots))
    for number, lot in enumerate(run, start=1):
        trees += lot.trees
        found += lot.nonconforming
        if number < _LOTS_FOR_REDUCED:
            continue
        most = limit_number(trees, limit)
        if most is NoLimit.TOO_FEW_TREES:
            continue
        if most is NoLimit.NOT_GIVEN or found > most:
            return None
        return say(
            "The last %(lots)s lots were all accepted (nonconforming trees in their samples: "
            "%(found)s, up to %(most)s allowed) and the work is steady: reduced inspection from "
            "the next lot.",
            lots=number,
            found=found,
            most=most,
        )
    return None


def _change_from_tightened(
    lots: tuple[OriginalLot, ...], rules: SwitchingRules
) -> SwitchingState | None:
    lately = [lot.is_accepted for lot in lots[-_ACCEPTED_FOR_NORMAL:]]
    if lately.count(True) == _ACCEPTED_FOR_NORMAL:
        return SwitchingState(
            Inspection.NORMAL,
            say("Five lots in a row were accepted: normal inspection from the next lot."),
        )
    not_accepted = sum(not lot.is_accepted for lot in lots)
    remaining = rules.discontinuation == Discontinuation.LOTS_REMAINING
    counted = len(lots) if remaining else not_accepted
    if rules.discontinuation_lots is None or counted < rules.discontinuation_lots:
        return None
    if remaining:
        reason = say_n(
            "%(count)s lot did not end tightened inspection: acceptance by sampling stops until "
            "the cause is put right.",
            "%(count)s lots in a row did not end tightened inspection: acceptance by sampling "
            "stops until the cause is put right.",
            counted,
        )
    else:
        reason = say_n(
            "%(count)s lot was not accepted on tightened inspection: acceptance by sampling "
            "stops until the cause is put right.",
            "%(count)s lots were not accepted on tightened inspection: acceptance by sampling "
            "stops until the cause is put right.",
            counted,
        )
    return SwitchingState(Inspection.DISCONTINUED, reason)


def _change_from_reduced(lot: OriginalLot) -> SwitchingState | None:
    if not lot.is_accepted:
        text = mark("The last lot was not accepted: normal inspection from the next lot.")
    elif lot.is_in_gap:
        text = mark(
            "The last lot was accepted, but with more nonconforming trees than reduced inspection "
            "allows: normal inspection from the next lot."
        )
    elif not lot.work_is_steady:
        text = mark("The work is no longer steady: normal inspection from the next lot.")
    else:
        return None
    return SwitchingState(Inspection.NORMAL, say(text))
