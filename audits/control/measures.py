"""What measured heights and diameters say: which way they lean, and how well they fit the band."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Final

from audits.control.capability import Capability, capability_of
from audits.estimates import LEAST_TREES_FOR_A_RANGE, LEAST_TREES_TO_COMPARE, Interval
from audits.estimates.intervals import student_quantile
from audits.messages import Message, mark, say
from audits.units import Length, LengthKind

_CONFIDENCE: Final = 0.95
# Nearer to the target than this, nobody sees a difference.
_LEVEL_MM: Final = {LengthKind.HEIGHT: 5.0, LengthKind.DIAMETER: 0.05}

_RANGES: Final = {
    LengthKind.HEIGHT: mark(
        "On average between %(lower)s and %(upper)s the target height (%(trees)s measured trees)."
    ),
    LengthKind.DIAMETER: mark(
        "On average between %(lower)s and %(upper)s the middle of the band (%(trees)s measured "
        "trees)."
    ),
}
_MEANS: Final = {
    LengthKind.HEIGHT: mark(
        "On average %(mean)s the target height, give or take %(reach)s (%(trees)s measured trees)."
    ),
    LengthKind.DIAMETER: mark(
        "On average %(mean)s the middle of the band, give or take %(reach)s (%(trees)s measured "
        "trees)."
    ),
}


@dataclass(frozen=True)
class MeasureReading:
    """
    What may be said of measured lengths.

    Parameters
    ----------
    kind : LengthKind
        Heights or diameters.
    trees : int
        Measured trees.
    mean_mm : float
        Mean of the trees' means, less the target.
    interval : Interval or None
        Its 95 % interval; None below 10 trees.
    sentence : Message
        The reading in words.
    capability : Capability or None
        How well they fit the band; None below 30 trees, or where no two differ.
    fit : Message or None
        That in words.
    """

    kind: LengthKind
    trees: int
    mean_mm: float
    interval: Interval | None
    sentence: Message
    capability: Capability | None
    fit: Message | None


def read_measures(
    trees: Sequence[Sequence[float]], half_band_mm: float, kind: LengthKind, *, comparable: bool
) -> MeasureReading | None:
    """
    Say what measured lengths allow.

    Parameters
    ----------
    trees : sequence of sequence of float
        For each measured tree its lengths less the target, in mm.
    half_band_mm : float
        Distance from the target that is still right, above 0.
    kind : LengthKind
        What was measured.
    comparable : bool
        Whether the trees may be set beside the standard.

    Returns
    -------
    MeasureReading or None
        Counts only below 10 trees, a range below 30; the fit to the band from 30 on if the trees
        may be set beside the standard. None without trees.

    Notes
    -----
    The interval takes trees, not cuts, as its units (Student's t), since cuts of a tree are alike.

    Examples
    --------
    >>> reading = read_measures([[40.0], [60.0]] * 20, 150, LengthKind.HEIGHT, comparable=True)
    >>> print(reading.sentence)
    On average 2 in above the target height, give or take 1/8 in (40 measured trees).
    >>> print(reading.fit)
    The band is 4.9 times as wide as these heights scatter (Cp, could be 3.8 to 6). Counting how \
far they lie off its middle it is 3.3 times (Cpk, could be 2.6 to 4). From 1 on, nearly all fit.
    """
    if not trees:
        return None
    means = [fmean(values) for values in trees]
    mean = fmean(means)
    if len(trees) < LEAST_TREES_FOR_A_RANGE:
        sentence = say("%(trees)s measured, too few for a mean.", trees=len(trees))
        return MeasureReading(kind, len(trees), mean, None, sentence, None, None)
    interval = _interval(means, mean)
    if len(trees) < LEAST_TREES_TO_COMPARE:
        sentence = say(
            _RANGES[kind],
            lower=_place(interval.lower, kind),
            upper=_place(interval.upper, kind),
            trees=len(trees),
        )
        return MeasureReading(kind, len(trees), mean, interval, sentence, None, None)
    reach = Length(interval.upper - mean, kind)
    sentence = say(_MEANS[kind], mean=_place(mean, kind), reach=reach, trees=len(trees))
    values = [value for own in trees for value in own]
    found = (
        capability_of(values, lower=-half_band_mm, upper=half_band_mm, target=0.0)
        if comparable
        else None
    )
    fit = None if found is None else _fit(found, kind)
    return MeasureReading(kind, len(trees), mean, interval, sentence, found, fit)


def _interval(means: Sequence[float], mean: float) -> Interval:
    quantile = student_quantile(_CONFIDENCE, len(means) - 1)
    reach = quantile * stdev(means) / math.sqrt(len(means))
    return Interval(mean - reach, mean + reach)


def _place(mm: float, kind: LengthKind) -> Message:
    if abs(mm) < _LEVEL_MM[kind]:
        return say("right on")
    if mm > 0:
        return say("%(length)s above", length=Length(mm, kind))
    return say("%(length)s below", length=Length(-mm, kind))


_FITS: Final = {
    LengthKind.HEIGHT: mark(
        "The band is %(cp)s times as wide as these heights scatter (Cp, could be %(cp_lower)s to "
        "%(cp_upper)s). Counting how far they lie off its middle it is %(cpk)s times (Cpk, could "
        "be %(cpk_lower)s to %(cpk_upper)s). From 1 on, nearly all fit."
    ),
    LengthKind.DIAMETER: mark(
        "The band is %(cp)s times as wide as these diameters scatter (Cp, could be %(cp_lower)s to "
        "%(cp_upper)s). Counting how far they lie off its middle it is %(cpk)s times (Cpk, could "
        "be %(cpk_lower)s to %(cpk_upper)s). From 1 on, nearly all fit."
    ),
}


def _fit(found: Capability, kind: LengthKind) -> Message | None:
    if found.cp is None or found.cp_interval is None:
        return None
    return say(
        _FITS[kind],
        cp=_tenth(found.cp),
        cp_lower=_tenth(found.cp_interval.lower),
        cp_upper=_tenth(found.cp_interval.upper),
        cpk=_tenth(found.cpk),
        cpk_lower=_tenth(found.cpk_interval.lower),
        cpk_upper=_tenth(found.cpk_interval.upper),
    )


def _tenth(value: float) -> float:
    # Adding 0 keeps a rounded -0.0 off the page.
    return round(value, 1) + 0.0
