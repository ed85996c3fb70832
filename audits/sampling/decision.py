"""When a stage and its lot are decided, and why, in one sentence."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, mark, say, say_n
from audits.sampling.inputs import is_count, too_small
from audits.sampling.plans import Plan, Wave
from audits.sampling.walks import steps_of
from audits.vocabulary import STAGE_NAMES, Fault, Outcome, Stage

# Below this many due trees a rate says little; the verdict says so (a convention of this project).
FEW_DUE_TREES: Final = 10

# How a fault ends the sentence "2 of 24 trees ...".
FAULT_PHRASES: Final = {
    Fault.HIGH: mark("too high"),
    Fault.LOW: mark("too low"),
    Fault.BLUNT: mark("with a blunt cut"),
    Fault.LEADER_YOUNG: mark("with the leader taken too young"),
    Fault.TOO_FEW: mark("with too few limbs out"),
    Fault.TOO_MANY: mark("with too many limbs out"),
    Fault.WRONG_LIMB: mark("with the wrong limb out"),
    Fault.FLUSH_CUT: mark("with a flush cut"),
    Fault.LOW_STUB: mark("with a stub left low down"),
    Fault.LONG_STUB: mark("with a long stub"),
    Fault.TORN_BARK: mark("with torn bark"),
    Fault.FORK: mark("with a fork left"),
    Fault.SIDE_BRANCH: mark("with a side branch left"),
    Fault.UPRIGHT: mark("with a strong upright left"),
    Fault.TIP_SHORTENED: mark("with a tip shortened"),
    Fault.SPURS_STRIPPED: mark("with spurs stripped"),
    Fault.THICK: mark("with a cut too thick"),
    Fault.THIN: mark("with a cut too thin"),
    Fault.LEFT_LONG: mark("with pendant wood left long"),
    Fault.FORBIDDEN: mark("headed where forbidden"),
    Fault.TREE_MISSED: mark("missed"),
    Fault.SIDE_MISSED: mark("with a side missed"),
}

# The same place in the sentence where trees fail in different ways, or no fault is named.
STAGE_PHRASES: Final = {
    Stage.TOP: mark("with a fault at the top"),
    Stage.LIMBS: mark("with a fault in the limbs"),
    Stage.COLUMNS: mark("with a fault in the columns"),
    Stage.HEADING: mark("with a fault in the heading"),
}


@dataclass(frozen=True)
class StageTally:
    """
    What the audit of one stage has come to so far.

    Parameters
    ----------
    scored : int
        Trees of the sample with a result; trees without one (`not_scored`) do not count.
    nonconforming : int
        Those that fail the stage's criterion.
    not_due : int, optional
        Those on which nothing was due; they count as conforming here.

    Raises
    ------
    InvalidInput
        If a count is negative, or the parts come to more than the trees scored.
    """

    scored: int
    nonconforming: int
    not_due: int = 0

    def __post_init__(self) -> None:
        counts = {
            "scored": self.scored,
            "nonconforming": self.nonconforming,
            "not_due": self.not_due,
        }
        problems = {
            field: too_small(value, 0) for field, value in counts.items() if not is_count(value, 0)
        }
        if not problems and self.nonconforming + self.not_due > self.scored:
            problems["nonconforming"] = say_n(
                "%(count)s tree scored cannot hold %(nonconforming)s nonconforming and "
                "%(not_due)s with nothing due.",
                "%(count)s trees scored cannot hold %(nonconforming)s nonconforming and "
                "%(not_due)s with nothing due.",
                self.scored,
                nonconforming=self.nonconforming,
                not_due=self.not_due,
            )
        if problems:
            raise InvalidInput(problems)

    @property
    def due(self) -> int:
        """Trees on which the stage was due."""
        return self.scored - self.not_due

    @property
    def conforming(self) -> int:
        """Trees that do not count against the lot, those with nothing due included."""
        return self.scored - self.nonconforming


class TreesLeft(NamedTuple):
    """
    Further trees until a stage is decided.

    Parameters
    ----------
    fewest : int
        Trees in the best case.
    most : int
        Trees in the worst case.
    """

    fewest: int
    most: int


@dataclass(frozen=True)
class StageVerdict:
    """
    Where one stage of a lot stands, and why.

    Parameters
    ----------
    stage : Stage
        The stage.
    outcome : Outcome
        Open, accepted or not accepted.
    reason : Message
        One sentence, without the name of the stage.
    """

    stage: Stage
    outcome: Outcome
    reason: Message


def decide(plan: Plan, *tallies: StageTally) -> Outcome:
    """
    Return where a stage stands under its plan, decided as soon as that is certain.

    A stage is decided early only when no result of the trees left can change the outcome, so
    that stopping there never changes a verdict: it is certain when it would be the same with
    every tree left conforming and with every tree left nonconforming.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    *tallies : StageTally
        The trees scored so far in each wave of its sample, in order; a wave left out has none.

    Returns
    -------
    Outcome
        Accepted or not accepted once that is certain; open until then.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, chapters
       on single and multiple sampling by attributes: curtailed inspection.

    Examples
    --------
    >>> from audits.sampling.plans import SinglePlan, WavePlan
    >>> decide(SinglePlan(24, 3), StageTally(scored=22, nonconforming=1))
    <Outcome.ACCEPTED: 'accepted'>
    >>> waves = WavePlan((9, 29), (0, 3), (3, 4))
    >>> decide(waves, StageTally(scored=9, nonconforming=1))
    <Outcome.OPEN: 'open'>
    >>> decide(waves, StageTally(9, 1), StageTally(18, 0))
    <Outcome.ACCEPTED: 'accepted'>
    """
    _require_within(plan, tallies)
    at_best = _ending(plan, tallies, rest_fails=False)
    at_worst = _ending(plan, tallies, rest_fails=True)
    return at_best.outcome if at_best.outcome is at_worst.outcome else Outcome.OPEN


def deciding_wave(plan: Plan, *tallies: StageTally) -> int | None:
    """
    Return the wave in which a stage was decided.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    *tallies : StageTally
        The trees scored so far in each wave of its sample, in order.

    Returns
    -------
    int or None
        The number of the wave, from 1, whose trees made the outcome certain; None while it is
        open.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.

    Examples
    --------
    >>> from audits.sampling.plans import WavePlan
    >>> deciding_wave(WavePlan((9, 29), (0, 3), (3, 4)), StageTally(9, 0), StageTally(4, 1))
    1
    """
    for number in range(1, len(plan.waves) + 1):
        if decide(plan, *tallies[:number]) is not Outcome.OPEN:
            return number
    return None


def total(tallies: Sequence[StageTally]) -> StageTally:
    """
    Add up the tallies of some waves.

    Parameters
    ----------
    tallies : Sequence of StageTally
        The waves.

    Returns
    -------
    StageTally
        All their trees.
    """
    return StageTally(
        scored=sum(tally.scored for tally in tallies),
        nonconforming=sum(tally.nonconforming for tally in tallies),
        not_due=sum(tally.not_due for tally in tallies),
    )


def most_not_lost(plan: Plan, *tallies: StageTally) -> int:
    """
    Return with how many nonconforming trees a stage is not yet lost.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    *tallies : StageTally
        The trees scored so far in each wave of its sample, in order.

    Returns
    -------
    int
        One less than the rejection number of the wave that is walked.

    Examples
    --------
    >>> from audits.sampling.plans import WavePlan
    >>> most_not_lost(WavePlan((9, 29), (0, 3), (3, 4)), StageTally(scored=4, nonconforming=1))
    2
    """
    return _wave_walked(plan, total(tallies)).rejection_number - 1


def trees_until_certain(plan: Plan, *tallies: StageTally) -> TreesLeft:
    """
    Return how many further trees may be needed until a stage is decided.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    *tallies : StageTally
        The trees scored so far in each wave of its sample, in order.

    Returns
    -------
    TreesLeft
        Trees in the best and in the worst case; both 0 once the stage is decided.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.

    Examples
    --------
    >>> from audits.sampling.plans import SinglePlan
    >>> trees_until_certain(SinglePlan(24, 3), StageTally(scored=10, nonconforming=1))
    TreesLeft(fewest=3, most=14)
    """
    if decide(plan, *tallies) is not Outcome.OPEN:
        return TreesLeft(0, 0)
    seen = total(tallies)
    open_counts = {seen.nonconforming}
    fewest = 0
    for step in steps_of(plan, curtailed=True)[seen.scored :]:
        walked = open_counts | {count + 1 for count in open_counts}
        open_counts = {
            count for count in walked if step.most_accepted < count < step.rejection_number
        }
        if not fewest and open_counts != walked:
            fewest = step.size - seen.scored
        if not open_counts:
            return TreesLeft(fewest or 1, step.size - seen.scored)
    # Trees of an earlier wave are still to come, such as one taken from the reserve.
    left = max(1, plan.sample_size - seen.scored)
    return TreesLeft(min(fewest or left, left), left)


def lot_outcome(outcomes: Mapping[Stage, Outcome]) -> Outcome:
    """
    Return where a lot stands when its stages stand where they do.

    Parameters
    ----------
    outcomes : Mapping of Stage to Outcome
        The outcome of every stage in use.

    Returns
    -------
    Outcome
        Not accepted as soon as one stage is not; accepted when all are; open until then.

    Raises
    ------
    AuditError
        If no stage is in use.

    Examples
    --------
    >>> lot_outcome({Stage.TOP: Outcome.ACCEPTED, Stage.LIMBS: Outcome.OPEN})
    <Outcome.OPEN: 'open'>
    """
    found = set(outcomes.values())
    if not found:
        raise AuditError(say("No stage is in use, so there is nothing to decide."))
    if Outcome.NOT_ACCEPTED in found:
        return Outcome.NOT_ACCEPTED
    return Outcome.OPEN if Outcome.OPEN in found else Outcome.ACCEPTED


def judge_stage(
    stage: Stage,
    plan: Plan,
    tallies: Sequence[StageTally],
    faults: Mapping[Fault, int] | None = None,
) -> StageVerdict:
    """
    Decide a stage and say why.

    Parameters
    ----------
    stage : Stage
        The stage.
    plan : SinglePlan or DoublePlan or WavePlan
        Its plan.
    tallies : Sequence of StageTally
        The trees scored so far in each wave of its sample, in order.
    faults : Mapping of Fault to int, optional
        Nonconforming trees that show each fault; a tree can show several.

    Returns
    -------
    StageVerdict
        The outcome with its reason.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.
    """
    return StageVerdict(stage, decide(plan, *tallies), stage_reason(stage, plan, tallies, faults))


def stage_reason(
    stage: Stage,
    plan: Plan,
    tallies: Sequence[StageTally],
    faults: Mapping[Fault, int] | None = None,
) -> Message:
    """
    Say in one sentence why a stage stands where it does.

    Parameters
    ----------
    stage : Stage
        The stage.
    plan : SinglePlan or DoublePlan or WavePlan
        Its plan.
    tallies : Sequence of StageTally
        The trees scored so far in each wave of its sample, in order; once the stage is decided,
        only the waves that decided it are spoken of.
    faults : Mapping of Fault to int, optional
        Nonconforming trees that show each fault; the one seen most is named.

    Returns
    -------
    Message
        Such as "2 of 24 trees too high; up to 3 allowed", without a full stop. Once the stage is
        decided, a second sentence warns of fewer than `FEW_DUE_TREES` due trees.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.

    Examples
    --------
    >>> from audits.sampling.plans import SinglePlan
    >>> str(stage_reason(Stage.TOP, SinglePlan(24, 3), [StageTally(24, 2)], {Fault.HIGH: 2}))
    '2 of 24 trees too high; up to 3 allowed'
    """
    decided_in = deciding_wave(plan, *tallies)
    counted = tallies if decided_in is None else tallies[:decided_in]
    tally = total(counted)
    allowed = _still_open(plan, tally) if decided_in is None else _allowed(plan, counted)
    sentence = say(
        "%(found)s; %(allowed)s", found=_found(stage, tally, faults or {}), allowed=allowed
    )
    if decided_in is None or tally.due >= FEW_DUE_TREES:
        return sentence
    return say("%(reason)s. %(caution)s", reason=sentence, caution=_few_due(tally.due))


def lot_reason(verdicts: Sequence[StageVerdict]) -> Message:
    """
    Say in one sentence why a lot stands where it does.

    Parameters
    ----------
    verdicts : Sequence of StageVerdict
        The verdict on every stage in use, in order.

    Returns
    -------
    Message
        The stages that are not accepted with their reasons; else how many are open; else that
        all are accepted. Without a full stop.

    Raises
    ------
    AuditError
        If no stage is in use.
    """
    outcome = lot_outcome({verdict.stage: verdict.outcome for verdict in verdicts})
    decisive = [verdict for verdict in verdicts if verdict.outcome is outcome]
    if outcome is Outcome.NOT_ACCEPTED:
        return _each_reason(decisive)
    if outcome is Outcome.OPEN:
        return say_n(
            "%(count)s stage of %(stages)s still open",
            "%(count)s stages of %(stages)s still open",
            len(decisive),
            stages=len(verdicts),
        )
    return say_n("The one stage is accepted", "All %(count)s stages are accepted", len(decisive))


def leading_fault(faults: Mapping[Fault, int]) -> Fault | None:
    """
    Return the fault that most trees show.

    Parameters
    ----------
    faults : Mapping of Fault to int
        Trees that show each fault.

    Returns
    -------
    Fault or None
        The fault seen most, the first in the vocabulary's order among equals; none if no tree
        shows any.
    """
    seen = [fault for fault in Fault if faults.get(fault, 0) > 0]
    return max(seen, key=lambda fault: faults[fault], default=None)


class _Ending(NamedTuple):
    """Where a walk ends: the wave, and the outcome."""

    wave: Wave
    outcome: Outcome


def _ending(plan: Plan, tallies: Sequence[StageTally], *, rest_fails: bool) -> _Ending:
    """Return the end of a walk whose trees left all fail, or all do not."""
    nonconforming = walked = 0
    waves = plan.waves
    unscored = StageTally(0, 0)
    for number, wave in enumerate(waves):
        tally = tallies[number] if number < len(tallies) else unscored
        nonconforming += tally.nonconforming
        if rest_fails:
            nonconforming += wave.size - walked - tally.scored
        walked = wave.size
        if nonconforming >= wave.rejection_number:
            return _Ending(wave, Outcome.NOT_ACCEPTED)
        if nonconforming <= wave.most_accepted:
            return _Ending(wave, Outcome.ACCEPTED)
    return _Ending(waves[-1], Outcome.ACCEPTED)


def _require_within(plan: Plan, tallies: Sequence[StageTally]) -> None:
    if len(tallies) > len(plan.waves):
        raise InvalidInput(
            {
                "tallies": say_n(
                    "The sample has %(count)s wave; %(given)s are tallied.",
                    "The sample has %(count)s waves; %(given)s are tallied.",
                    len(plan.waves),
                    given=len(tallies),
                )
            }
        )
    walked = 0
    for wave, tally in zip(plan.waves, tallies, strict=False):
        if tally.scored > wave.size - walked:
            raise InvalidInput(
                {
                    "scored": say_n(
                        "The sample has %(count)s tree; %(scored)s are scored.",
                        "The sample has %(count)s trees; %(scored)s are scored.",
                        wave.size - walked,
                        scored=tally.scored,
                    )
                }
            )
        walked = wave.size


def _found(stage: Stage, tally: StageTally, faults: Mapping[Fault, int]) -> Message:
    if tally.scored == 0:
        return say("No tree scored yet")
    if tally.nonconforming == 0:
        return say_n("No fault in %(count)s tree", "No fault in %(count)s trees", tally.scored)
    fault = leading_fault(faults)
    if fault is not None and faults[fault] >= tally.nonconforming:
        return _of_trees(tally, FAULT_PHRASES[fault])
    if fault is None:
        return _of_trees(tally, STAGE_PHRASES[stage])
    return say(
        "%(found)s, %(leading)s of them %(fault)s",
        found=_of_trees(tally, STAGE_PHRASES[stage]),
        leading=faults[fault],
        fault=say(FAULT_PHRASES[fault]),
    )


def _of_trees(tally: StageTally, phrase: str) -> Message:
    return say_n(
        "%(nonconforming)s of %(count)s tree %(phrase)s",
        "%(nonconforming)s of %(count)s trees %(phrase)s",
        tally.scored,
        nonconforming=tally.nonconforming,
        phrase=say(phrase),
    )


def _allowed(plan: Plan, tallies: Sequence[StageTally]) -> Message:
    """Say against what number a decided stage was held."""
    at_best = _ending(plan, tallies, rest_fails=False)
    if at_best.outcome is Outcome.NOT_ACCEPTED:
        wave, most = at_best.wave, at_best.wave.rejection_number - 1
    else:
        wave = _ending(plan, tallies, rest_fails=True).wave
        most = wave.most_accepted
    if total(tallies).scored == wave.size:
        return say("none allowed") if most == 0 else say("up to %(most)s allowed", most=most)
    return _allowed_of(most, wave.size)


def _still_open(plan: Plan, tally: StageTally) -> Message:
    """Say what decides an open stage: the numbers of the wave that is walked."""
    wave = _wave_walked(plan, tally)
    if wave == plan.waves[-1]:
        return _allowed_of(wave.most_accepted, wave.size)
    if wave.acceptance_number is None:
        return say(
            "not accepted with %(rejected)s of %(sample)s, else the walk goes on",
            rejected=wave.rejection_number,
            sample=wave.size,
        )
    return say(
        "accepted with up to %(accepted)s of %(sample)s, not accepted with %(rejected)s, else the "
        "walk goes on",
        accepted=wave.acceptance_number,
        rejected=wave.rejection_number,
        sample=wave.size,
    )


def _wave_walked(plan: Plan, tally: StageTally) -> Wave:
    *earlier, last = plan.waves
    return next((wave for wave in earlier if tally.scored < wave.size), last)


def _allowed_of(most: int, sample: int) -> Message:
    if most == 0:
        return say("none of %(sample)s allowed", sample=sample)
    return say("up to %(most)s of %(sample)s allowed", most=most, sample=sample)


def _few_due(due: int) -> Message:
    if due == 0:
        return say("Nothing was due on any of these trees")
    return say_n(
        "Few due trees: only %(count)s tree had anything due",
        "Few due trees: only %(count)s trees had anything due",
        due,
    )


def _each_reason(verdicts: Collection[StageVerdict]) -> Message:
    first, *rest = verdicts
    reason = say("%(stage)s: %(reason)s", stage=say(STAGE_NAMES[first.stage]), reason=first.reason)
    if not rest:
        return reason
    return say("%(first)s. %(rest)s", first=reason, rest=_each_reason(rest))
