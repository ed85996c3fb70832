"""Stages decided by mean and spread where the measures allow it, and by counting where not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple, TypeAlias

from audits.errors import InvalidInput
from audits.messages import Message, Share, Units, Words, mark, say, say_n
from audits.sampling.decision import (
    StageTally,
    TreesLeft,
    decide,
    deciding_wave,
    most_not_lost,
    stage_reason,
    trees_until_certain,
)
from audits.sampling.plans import Plan, Wave, WavePlan
from audits.sampling.variables import (
    Leaning,
    MeasuredVerdict,
    VariablesPlan,
    judge_measurements,
)
from audits.units import MM_PER_INCH, Length, LengthKind
from audits.vocabulary import Fault, Outcome, Stage

# The stages whose trees fail by one length, and what kind of length that is.
MEASURED_KINDS: Final = {Stage.TOP: LengthKind.HEIGHT, Stage.HEADING: LengthKind.DIAMETER}

# The faults that a measured value shows by itself, by the way in which it leans.
LENGTH_FAULTS: Final = {
    (LengthKind.HEIGHT, Leaning.HIGH): Fault.HIGH,
    (LengthKind.HEIGHT, Leaning.LOW): Fault.LOW,
    (LengthKind.DIAMETER, Leaning.HIGH): Fault.THICK,
    (LengthKind.DIAMETER, Leaning.LOW): Fault.THIN,
}

# Steps to which a measuring pole, a tape or a calliper is read, the coarsest first.
_INCH_MM: Final = float(MM_PER_INCH)
_STEPS_MM: Final = {
    LengthKind.HEIGHT: (100.0, 2 * _INCH_MM, 50.0, _INCH_MM, _INCH_MM / 2, 10.0, 5.0, 1.0),
    LengthKind.DIAMETER: (_INCH_MM / 8, _INCH_MM / 16, 1.0, 0.5, 0.1),
}


class Fallback(StrEnum):
    """Why a stage is decided by counting although its standard asks for the mean."""

    NO_VALUE = "no_value"
    OTHER_FAULT = "other_fault"
    SHAPE = "shape"


FALLBACK_SENTENCES: Final = {
    (LengthKind.HEIGHT, Fallback.NO_VALUE): mark(
        "Not every tree gave a height, so trees are counted instead"
    ),
    (LengthKind.DIAMETER, Fallback.NO_VALUE): mark(
        "Not every tree gave a cut to measure, so trees are counted instead"
    ),
    (LengthKind.HEIGHT, Fallback.OTHER_FAULT): mark(
        "Not only the height went wrong, so trees are counted instead"
    ),
    (LengthKind.DIAMETER, Fallback.OTHER_FAULT): mark(
        "Not only the thickness went wrong, so trees are counted instead"
    ),
    (LengthKind.HEIGHT, Fallback.SHAPE): mark(
        "The heights are not spread evenly enough around their mean to be judged by it, so trees "
        "are counted instead"
    ),
    (LengthKind.DIAMETER, Fallback.SHAPE): mark(
        "The cuts are not spread evenly enough around their mean to be judged by it, so trees "
        "are counted instead"
    ),
}

_ACCEPTED: Final = {
    LengthKind.HEIGHT: mark(
        "Heights average %(mean)s, spread %(spread)s: about %(share)s outside the band, at most "
        "%(most)s allowed"
    ),
    LengthKind.DIAMETER: mark(
        "Cuts average %(mean)s, spread %(spread)s: about %(share)s outside the band, at most "
        "%(most)s allowed"
    ),
}
_NOT_ACCEPTED: Final = {
    (LengthKind.HEIGHT, Leaning.HIGH): mark(
        "Heights run high: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    (LengthKind.HEIGHT, Leaning.LOW): mark(
        "Heights run low: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    (LengthKind.HEIGHT, Leaning.UNEVEN): mark(
        "Heights differ too much from tree to tree: %(mean)s on average, spread %(spread)s; about "
        "%(share)s outside the band, at most %(most)s allowed"
    ),
    (LengthKind.DIAMETER, Leaning.HIGH): mark(
        "Cuts run thick: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    (LengthKind.DIAMETER, Leaning.LOW): mark(
        "Cuts run thin: %(mean)s on average, spread %(spread)s; about %(share)s outside the band, "
        "at most %(most)s allowed"
    ),
    (LengthKind.DIAMETER, Leaning.UNEVEN): mark(
        "Cuts differ too much in thickness: %(mean)s on average, spread %(spread)s; about "
        "%(share)s outside the band, at most %(most)s allowed"
    ),
}
_ALL_EQUAL: Final = {
    (LengthKind.HEIGHT, True): mark(
        "All %(count)s heights read %(mean)s, inside the band. Check that each tree was measured"
    ),
    (LengthKind.HEIGHT, False): mark(
        "All %(count)s heights read %(mean)s, outside the band. Check that each tree was measured"
    ),
    (LengthKind.DIAMETER, True): mark(
        "All %(count)s cuts read %(mean)s, inside the band. Check that each cut was measured"
    ),
    (LengthKind.DIAMETER, False): mark(
        "All %(count)s cuts read %(mean)s, outside the band. Check that each cut was measured"
    ),
}
_MOST_DECIMALS: Final = 2

# Lengths are kept to a hundredth of a millimetre, so that one misses its step by half of that.
_KEPT_TO_MM: Final = 0.005 + 1e-9


@dataclass(frozen=True)
class MeasuredPlan:
    """
    A fixed sample of measured trees, and a plan that counts trees for when it may not be used.

    The first wave of the counting plan is the measured sample. If every tree of it gave a value,
    none shows a fault that is not one of length, and the values look normal, mean and spread of
    the whole wave decide and nothing else. Otherwise the trees are counted, those of the first
    wave first.

    Parameters
    ----------
    variables : VariablesPlan
        How mean and spread decide; never before the last tree of the sample is measured.
    counted : WavePlan
        How trees are counted instead; its first wave is the measured sample.

    Raises
    ------
    InvalidInput
        If the first wave is not the measured sample, or is the only one.

    Notes
    -----
    Each way takes a part of both risks, and the two parts come to the whole. A good lot goes back
    only if the mean or the count turns it down, a bad one passes only if the mean or the count
    lets it; so the chance of either is at most the sum of the two parts, whichever way is taken
    and whatever that depends on. That holds for the mean as far as the measures are normal. The
    normal law is that of the work: the fractions promised are those of the process that the trees
    of the lot came from, and a small lot holds a little more or less by chance. The count goes by
    the lot itself.

    Examples
    --------
    >>> plan = MeasuredPlan(VariablesPlan(24, 1.1), WavePlan((24, 53), (1, 7), (6, 8)))
    >>> plan.measured_size, plan.sample_size
    (24, 53)
    """

    variables: VariablesPlan
    counted: WavePlan

    def __post_init__(self) -> None:
        if len(self.counted.sizes) == 1 or self.counted.sizes[0] != self.variables.sample_size:
            raise InvalidInput(
                {
                    "counted": say(
                        "The trees that are counted instead begin with the %(sample)s measured "
                        "ones, and more follow.",
                        sample=self.variables.sample_size,
                    )
                }
            )

    @property
    def measured_size(self) -> int:
        """Trees that are measured."""
        return self.variables.sample_size

    @property
    def sample_size(self) -> int:
        """Trees looked at where counting needs them all."""
        return self.counted.sample_size

    @property
    def waves(self) -> tuple[Wave, ...]:
        """The waves of counting; the first is the measured sample."""
        return self.counted.waves


StagePlan: TypeAlias = Plan | MeasuredPlan


class MeasuredTree(NamedTuple):
    """
    What a tree of the measured sample says of its stage.

    Parameters
    ----------
    value_mm : float or None
        The measured length in mm; None where there was none to measure.
    other_fault : bool
        Whether it shows a fault that is not one of length.
    """

    value_mm: float | None
    other_fault: bool


class LengthLimits(NamedTuple):
    """
    The limits of a measured length, those by which single trees fail.

    Parameters
    ----------
    lower_mm, upper_mm : float
        The limits in mm.
    kind : LengthKind
        What is measured.
    """

    lower_mm: float
    upper_mm: float
    kind: LengthKind


@dataclass(frozen=True)
class MeasuredStanding:
    """
    Where a stage with a measuring plan stands.

    Parameters
    ----------
    plan : MeasuredPlan
        Its plan.
    kind : LengthKind
        What is measured.
    tallies : tuple of StageTally
        The trees scored so far in each wave.
    verdict : MeasuredVerdict or None
        What mean and spread say; None while trees are still to be measured, and where trees are
        counted instead.
    fallback : Fallback or None
        Why trees are counted instead; None where they are not.
    """

    plan: MeasuredPlan
    kind: LengthKind
    tallies: tuple[StageTally, ...]
    verdict: MeasuredVerdict | None
    fallback: Fallback | None

    @property
    def outcome(self) -> Outcome:
        """The verdict as soon as it is certain, else open."""
        if self.verdict is not None:
            return Outcome.ACCEPTED if self.verdict.accepted else Outcome.NOT_ACCEPTED
        return decide(self.plan.counted, *self.tallies) if self.fallback else Outcome.OPEN

    @property
    def decided_in(self) -> int | None:
        """The number of the wave that decided, from 1; None while the stage is open."""
        if self.verdict is not None:
            return 1
        return deciding_wave(self.plan.counted, *self.tallies) if self.fallback else None

    @property
    def trees_left(self) -> TreesLeft:
        """Further trees until the stage is decided; at best all of them can be measured."""
        if self.verdict is not None:
            return TreesLeft(0, 0)
        if self.fallback is not None:
            return trees_until_certain(self.plan.counted, *self.tallies)
        measured = self.tallies[0].scored
        return TreesLeft(self.plan.measured_size - measured, self.plan.sample_size - measured)

    @property
    def most_not_lost(self) -> int | None:
        """With how many nonconforming trees the stage is not lost; None where none are counted."""
        if self.fallback is None:
            return None
        return most_not_lost(self.plan.counted, *self.tallies)

    @property
    def leading_faults(self) -> tuple[Fault, ...]:
        """What turned the lot down by its mean: one fault, or both where the trees differ."""
        leaning = None if self.verdict is None else self.verdict.leaning
        if leaning is None:
            return ()
        leanings = (Leaning.HIGH, Leaning.LOW) if leaning is Leaning.UNEVEN else (leaning,)
        return tuple(LENGTH_FAULTS[self.kind, each] for each in leanings)

    def reason(self, stage: Stage, faults: Mapping[Fault, int] | None = None) -> Message:
        """
        Say in one sentence why the stage stands where it does.

        Parameters
        ----------
        stage : Stage
            The stage.
        faults : Mapping of Fault to int, optional
            Nonconforming trees that show each fault.

        Returns
        -------
        Message
            Mean, spread and what they come to, without a full stop; where trees are counted
            instead, why, and then the count.
        """
        if self.verdict is not None:
            return _by_mean(self.plan.variables, self.verdict, self.kind)
        if self.fallback is not None:
            return say(
                "%(why)s. %(count)s",
                why=say(FALLBACK_SENTENCES[self.kind, self.fallback]),
                count=stage_reason(stage, self.plan.counted, self.tallies, faults),
            )
        return say_n(
            "%(count)s tree of %(sample)s measured; the mean decides when all are",
            "%(count)s trees of %(sample)s measured; the mean decides when all are",
            self.tallies[0].scored,
            sample=self.plan.measured_size,
        )


def judge_measured(
    plan: MeasuredPlan,
    limits: LengthLimits,
    trees: Sequence[MeasuredTree],
    tallies: Sequence[StageTally],
) -> MeasuredStanding:
    """
    Decide a stage by its mean, or by counting where the mean may not be used.

    Parameters
    ----------
    plan : MeasuredPlan
        The stage's plan.
    limits : LengthLimits
        The limits by which single trees fail.
    trees : sequence of MeasuredTree
        The trees scored so far in the first wave.
    tallies : sequence of StageTally
        The trees scored so far in each wave, in order; the first holds as many as `trees`.

    Returns
    -------
    MeasuredStanding
        Where the stage stands, and why.

    Raises
    ------
    InvalidInput
        If more trees are scored in a wave than it holds.

    Examples
    --------
    >>> plan = MeasuredPlan(VariablesPlan(3, 0.5), WavePlan((3, 9), (None, 2), (3, 3)))
    >>> limits = LengthLimits(2_850.0, 3_150.0, LengthKind.HEIGHT)
    >>> heights = (2_990.0, 3_040.0, 3_010.0)
    >>> trees = [MeasuredTree(height, other_fault=False) for height in heights]
    >>> judge_measured(plan, limits, trees, [StageTally(3, 0)]).outcome
    <Outcome.ACCEPTED: 'accepted'>
    """
    # Refuses what the count would refuse, whichever way decides.
    decide(plan.counted, *tallies)
    standing = MeasuredStanding(plan, limits.kind, tuple(tallies), None, _why_counted(trees))
    if standing.fallback is not None or len(trees) < plan.measured_size:
        return standing
    values = [tree.value_mm for tree in trees if tree.value_mm is not None]
    verdict = judge_measurements(
        plan.variables,
        values,
        lower=limits.lower_mm,
        upper=limits.upper_mm,
        kind=limits.kind,
        resolution=reading_step(values, limits.kind),
    )
    if verdict.falls_back:
        return MeasuredStanding(plan, limits.kind, tuple(tallies), None, Fallback.SHAPE)
    return MeasuredStanding(plan, limits.kind, tuple(tallies), verdict, None)


def reading_step(values: Sequence[float], kind: LengthKind) -> float:
    """
    Return the step to which values were read: the coarsest usual one that they all lie on.

    Parameters
    ----------
    values : sequence of float
        The values in mm.
    kind : LengthKind
        What was measured.

    Returns
    -------
    float
        Step in mm; 0 where they lie on none.

    Examples
    --------
    >>> reading_step([2_743.2, 2_768.6, 2_844.8], LengthKind.HEIGHT)
    25.4
    """
    for step in _STEPS_MM[kind]:
        if all(abs(round(value / step) * step - value) <= _KEPT_TO_MM for value in values):
            return step
    return 0.0


@dataclass(frozen=True)
class _Spread:
    """A spread that reads as less than the finest mark where it is."""

    mm: float
    kind: LengthKind

    def in_words(self, words: Words) -> str:
        """Write the spread for one reader."""
        finest = _INCH_MM / 16 if words.units is Units.IMPERIAL else 0.1
        # What rounds to the finest mark is shown as that.
        if self.mm < finest / 2:
            return words.say(say("under %(length)s", length=Length(finest, self.kind)))
        return words.show(Length(self.mm, self.kind))


def _why_counted(trees: Sequence[MeasuredTree]) -> Fallback | None:
    if any(tree.other_fault for tree in trees):
        return Fallback.OTHER_FAULT
    if any(tree.value_mm is None for tree in trees):
        return Fallback.NO_VALUE
    return None


def _by_mean(plan: VariablesPlan, verdict: MeasuredVerdict, kind: LengthKind) -> Message:
    mean = Length(verdict.mean, kind)
    if verdict.index_below is None:
        return say(_ALL_EQUAL[kind, verdict.accepted], count=plan.sample_size, mean=mean)
    leaning = verdict.leaning
    text = _ACCEPTED[kind] if leaning is None else _NOT_ACCEPTED[kind, leaning]
    decimals = _decimals(verdict.fraction_outside, plan.largest_fraction)
    return say(
        text,
        mean=mean,
        spread=_Spread(verdict.deviation, kind),
        share=Share(verdict.fraction_outside, decimals),
        most=Share(plan.largest_fraction, decimals),
    )


def _decimals(found: float, most: float) -> int:
    """Return as few decimals of a percentage as tell two fractions apart."""
    for decimals in range(_MOST_DECIMALS):
        if round(100 * found, decimals) != round(100 * most, decimals):
            return decimals
    return _MOST_DECIMALS
