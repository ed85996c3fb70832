"""The verdict on measured trees: what lies outside the limits, and which way the work leans."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import fmean, stdev
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Message, Share, mark, say, say_n
from audits.sampling.variables.curves import not_a_spread, require_limits, require_two_limits
from audits.sampling.variables.normality import (
    LEAST_VALUES_FOR_SHAPE,
    NormalityCheck,
    check_normality,
    not_a_step,
)
from audits.sampling.variables.plans import VariablesPlan
from audits.units import LengthKind

# A spread that a known standard deviation produces less often than this is no longer that one.
_UNLIKELY_SPREAD: Final = 0.01


class Leaning(StrEnum):
    """What keeps measured trees from being accepted."""

    HIGH = "high"
    LOW = "low"
    UNEVEN = "uneven"


LEANING_SENTENCES: Final = {
    (LengthKind.HEIGHT, Leaning.HIGH): mark("The heights run high."),
    (LengthKind.HEIGHT, Leaning.LOW): mark("The heights run low."),
    (LengthKind.HEIGHT, Leaning.UNEVEN): mark("The heights differ too much from tree to tree."),
    (LengthKind.DIAMETER, Leaning.HIGH): mark("The cuts run thick."),
    (LengthKind.DIAMETER, Leaning.LOW): mark("The cuts run thin."),
    (LengthKind.DIAMETER, Leaning.UNEVEN): mark("The cuts differ too much in thickness."),
}


@dataclass(frozen=True)
class MeasuredVerdict:
    """
    What a fixed sample of measurements says of a lot.

    Parameters
    ----------
    accepted : bool
        Whether the lot is accepted, if the measurements may be taken as normal.
    mean : float
        Mean of the values, in their unit.
    deviation : float
        Standard deviation of the values (divisor n - 1), in their unit.
    index_below, index_above : float or None
        Distance from each limit to the mean in standard deviations (symbol Q); None where there
        is no such limit or no spread.
    fraction_below, fraction_above : float
        Estimated fraction of the lot beyond each limit, a ratio in [0, 1]; 0 where there is none.
    outside : int
        Values beyond a limit, counted as scoring counts them.
    leaning : Leaning or None
        What kept the lot from being accepted; None if it is accepted.
    normality : NormalityCheck or None
        The check of the shape; None if there are too few values or no spread.
    message : Message
        The verdict in words.
    warnings : tuple of Message
        What the reader must know before relying on it.
    """

    accepted: bool
    mean: float
    deviation: float
    index_below: float | None
    index_above: float | None
    fraction_below: float
    fraction_above: float
    outside: int
    leaning: Leaning | None
    normality: NormalityCheck | None
    message: Message
    warnings: tuple[Message, ...]

    @property
    def fraction_outside(self) -> float:
        """Estimated fraction of the lot beyond the limits together, a ratio in [0, 1]."""
        return self.fraction_below + self.fraction_above

    @property
    def falls_back(self) -> bool:
        """Whether the stage must be judged by counting instead, since the shape is not normal."""
        return self.normality is not None and not self.normality.is_normal


def judge_measurements(
    plan: VariablesPlan,
    values: Sequence[float],
    *,
    lower: float | None = None,
    upper: float | None = None,
    sigma: float | None = None,
    kind: LengthKind = LengthKind.HEIGHT,
    resolution: float = 0.0,
) -> MeasuredVerdict:
    """
    Judge a lot by the measurements of the whole sample.

    The limits are those of the attribute criterion, guard band included. Values that are all
    equal have no spread to estimate a fraction from; then the lot is accepted exactly if the value
    is right.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    values : sequence of float
        One measurement for each tree of the plan's sample, in mm or any one unit.
    lower, upper : float, optional
        The limits, in the same unit; at least one.
    sigma : float, optional
        The known standard deviation, in the same unit; needed by plans with known sigma and
        refused by others.
    kind : LengthKind, optional
        What was measured. It chooses the sentences, and whether a value on a limit still counts
        as right: a height does, a diameter, whose guard band ends there, does not.
    resolution : float, optional
        Step to which the values were read, in the same unit; it keeps rounding from looking like
        a shape.

    Returns
    -------
    MeasuredVerdict
        The verdict with its figures, reason and warnings.

    Raises
    ------
    InvalidInput
        If the number of values is not the plan's, a value is no number, the limits are missing or
        reversed, or the known standard deviation is missing, out of place or not above 0.

    References
    ----------
    .. [1] MIL-STD-414, 1957, sections B and D.

    Examples
    --------
    >>> verdict = judge_measurements(
    ...     VariablesPlan(4, 1.45), [101.0, 99.0, 104.0, 97.0], upper=103.0)
    >>> verdict.accepted, round(verdict.fraction_above, 3), str(verdict.leaning)
    (False, 0.193, 'high')
    """
    _check(plan, values, lower, upper, sigma, resolution)
    mean, deviation = fmean(values), stdev(values)
    spread = deviation if sigma is None else sigma
    if spread == 0:
        return _without_spread(plan, values, lower, upper, kind)
    below = None if lower is None else (mean - lower) / spread
    above = None if upper is None else (upper - mean) / spread
    fractions = [0.0 if index is None else plan.fraction_outside(index) for index in (below, above)]
    accepted = plan.accepts(below, above)
    leaning = None if accepted else _leaning(plan, below, above)
    normality, warnings = _shape(values, resolution, kind)
    if sigma is not None and _is_too_wide(deviation, sigma, len(values)):
        warnings = (*warnings, _too_wide())
    return MeasuredVerdict(
        accepted=accepted,
        mean=mean,
        deviation=deviation,
        index_below=below,
        index_above=above,
        fraction_below=fractions[0],
        fraction_above=fractions[1],
        outside=_count_outside(values, lower, upper, kind),
        leaning=leaning,
        normality=normality,
        message=_verdict(plan, math.fsum(fractions), leaning, kind),
        warnings=warnings,
    )


def _without_spread(
    plan: VariablesPlan,
    values: Sequence[float],
    lower: float | None,
    upper: float | None,
    kind: LengthKind,
) -> MeasuredVerdict:
    value, outside = values[0], _count_outside(values, lower, upper, kind)
    leaning = None
    if outside:
        leaning = Leaning.HIGH if upper is not None and value >= upper else Leaning.LOW
    return MeasuredVerdict(
        accepted=not outside,
        mean=value,
        deviation=0.0,
        index_below=None,
        index_above=None,
        fraction_below=1.0 if leaning is Leaning.LOW else 0.0,
        fraction_above=1.0 if leaning is Leaning.HIGH else 0.0,
        outside=outside,
        leaning=leaning,
        normality=None,
        message=_verdict(plan, 1.0 if outside else 0.0, leaning, kind),
        warnings=(
            say("All values are equal. Check that each tree was measured, to the finest mark."),
        ),
    )


def _count_outside(
    values: Sequence[float], lower: float | None, upper: float | None, kind: LengthKind
) -> int:
    lowest = -math.inf if lower is None else lower
    highest = math.inf if upper is None else upper
    if kind is LengthKind.DIAMETER:
        return sum(not lowest < value < highest for value in values)
    return sum(not lowest <= value <= highest for value in values)


def _leaning(plan: VariablesPlan, below: float | None, above: float | None) -> Leaning:
    """Say whether moving the mean would have been enough, and if so, which way it is off."""
    if below is None:
        return Leaning.HIGH
    if above is None:
        return Leaning.LOW
    middle = (below + above) / 2
    mean_is_outside = min(below, above) < 0
    if mean_is_outside or plan.accepts(middle, middle):
        return Leaning.HIGH if above < below else Leaning.LOW
    return Leaning.UNEVEN


def _shape(
    values: Sequence[float], resolution: float, kind: LengthKind
) -> tuple[NormalityCheck | None, tuple[Message, ...]]:
    if len(values) < LEAST_VALUES_FOR_SHAPE or min(values) == max(values):
        few = say(
            "The plan relies on values that follow a bell curve. This sample cannot show whether "
            "they do."
        )
        return None, (few,)
    check = check_normality(values, resolution=resolution, kind=kind)
    return check, () if check.warning is None else (check.warning,)


def _is_too_wide(deviation: float, sigma: float, count: int) -> bool:
    from scipy.special import chdtrc  # noqa: PLC0415 - keeps starting the app light

    freedom = count - 1
    return bool(chdtrc(freedom, freedom * (deviation / sigma) ** 2) < _UNLIKELY_SPREAD)


def _too_wide() -> Message:
    return say(
        "The values differ more than the known standard deviation allows. Use a plan that takes "
        "it from the sample."
    )


def _verdict(
    plan: VariablesPlan, fraction: float, leaning: Leaning | None, kind: LengthKind
) -> Message:
    figures = {"share": Share(fraction, 1), "most": Share(plan.largest_fraction, 1)}
    if leaning is None:
        return say(
            "By the measurements about %(share)s of the trees lie outside the limits; up to "
            "%(most)s is accepted.",
            **figures,
        )
    return say(
        "%(reason)s By the measurements about %(share)s of the trees lie outside the limits; no "
        "more than %(most)s is accepted.",
        reason=say(LEANING_SENTENCES[kind, leaning]),
        **figures,
    )


def _check(
    plan: VariablesPlan,
    values: Sequence[float],
    lower: float | None,
    upper: float | None,
    sigma: float | None,
    resolution: float,
) -> None:
    require_limits(lower, upper)
    if lower is not None and upper is not None:
        require_two_limits(plan)
    problems = {}
    if len(values) != plan.sample_size:
        problems["values"] = _wrong_number(len(values), plan.sample_size)
    elif not all(map(math.isfinite, values)):
        problems["values"] = say("Every value must be a number.")
    if plan.known_sigma and sigma is None:
        problems["sigma"] = say("This plan needs the known standard deviation.")
    elif not plan.known_sigma and sigma is not None:
        problems["sigma"] = say(
            "This plan takes the standard deviation from the sample; leave the known one out."
        )
    elif sigma is not None and not (math.isfinite(sigma) and sigma > 0):
        problems["sigma"] = not_a_spread(sigma)
    if not (math.isfinite(resolution) and resolution >= 0):
        problems["resolution"] = not_a_step(resolution)
    if problems:
        raise InvalidInput(problems)


def _wrong_number(count: int, needed: int) -> Message:
    if count < needed:
        return say_n(
            "The plan decides on %(needed)s values, and there is %(count)s. Measure the others "
            "too: there is no early end.",
            "The plan decides on %(needed)s values, and there are %(count)s. Measure the others "
            "too: there is no early end.",
            count,
            needed=needed,
        )
    return say(
        "The plan decides on %(needed)s values, and there are %(count)s. Take the first "
        "%(needed)s drawn, or a plan for %(count)s.",
        count=count,
        needed=needed,
    )
