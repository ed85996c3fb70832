"""The measuring half of a plan: the least sample whose mean keeps its part of both promises."""

from typing import Final

from audits.sampling.variables import VariablesPlan, design_variables
from audits.sampling.variables.curves import extreme_chance
from audits.sampling.variables.normality import LEAST_VALUES_FOR_SHAPE

# Part of both risks that the mean may take; counting keeps the rest. At halves measuring would
# need as many trees as counting alone: 30 of 310 at the usual promises, against 24 with this.
SHARE_OF_MEAN: Final = 0.8

# Parts of the rejectable fraction that may be faults other than length, between which the worst
# mix is looked for.
_MIXES: Final = tuple(part / 12 for part in range(13))
_MIX_TOLERANCE: Final = 1e-3

_TWO_LIMITS: Final = 2
# By how much more than needed a consumer's risk is lowered, so that rounding ends the search.
_SETBACK: Final = 0.999


def design_mean(
    acceptable_fraction: float,
    producer_risk: float,
    rejectable_fraction: float,
    consumer_risk: float,
    *,
    least_sample: int = LEAST_VALUES_FOR_SHAPE,
) -> VariablesPlan:
    """
    Find the least measured sample whose mean and spread keep both promises, two limits.

    In a bad lot not every nonconforming tree need be one of wrong length. The mean sees only
    those, but it decides only where no tree of its sample shows another fault. The plan keeps the
    consumer's risk for the worst mix of both, length and other faults independent.

    Parameters
    ----------
    acceptable_fraction : float
        Share of nonconforming trees that should pass, in (0, 1).
    producer_risk : float
        Chance that the mean turns such work down, in (0, 1).
    rejectable_fraction : float
        Share of nonconforming trees, by length or otherwise, that should go back, in (0, 1).
    consumer_risk : float
        Chance that the mean lets such work pass, in (0, 1).
    least_sample : int, optional
        Smallest sample allowed, by default the fewest values that show a shape.

    Returns
    -------
    VariablesPlan
        The plan.

    Raises
    ------
    InvalidInput
        If a value lies outside its range.
    AuditError
        If the two fractions lie too close together.

    Notes
    -----
    For the usual promises the worst mix is none: length alone. Where next to nothing is
    acceptable, such as 1 % against 10 %, it is a half or more of other faults.

    Examples
    --------
    >>> design_mean(0.05, 0.04, 0.25, 0.08).sample_size
    18
    """
    asked = consumer_risk
    while True:
        plan = design_variables(
            acceptable_fraction,
            producer_risk,
            rejectable_fraction,
            asked,
            limits=_TWO_LIMITS,
            least_sample=max(least_sample, LEAST_VALUES_FOR_SHAPE),
        )
        worst = worst_mixed_chance(plan, rejectable_fraction)
        if worst <= consumer_risk:
            return plan
        asked *= _SETBACK * consumer_risk / worst


def worst_mixed_chance(plan: VariablesPlan, fraction: float) -> float:
    """
    Return the greatest chance that work passes by its mean, over all mixes of its faults.

    Parameters
    ----------
    plan : VariablesPlan
        The plan, two limits.
    fraction : float
        Share of nonconforming trees, by length or otherwise, in (0, 1).

    Returns
    -------
    float
        Probability in [0, 1] that no tree of the sample shows another fault and that mean and
        spread let the lot pass, with each fault independent of the other.
    """
    from scipy.optimize import minimize_scalar  # noqa: PLC0415 - keeps starting the app light

    def passed(part: float) -> float:
        other = part * fraction
        # A tree is right where it shows no other fault and its length is right.
        by_length = (fraction - other) / (1.0 - other)
        return (1.0 - other) ** plan.sample_size * extreme_chance(plan, by_length, max)

    chances = [passed(part) for part in _MIXES]
    best = max(range(len(chances)), key=chances.__getitem__)
    around = _MIXES[max(0, best - 1)], _MIXES[min(len(_MIXES) - 1, best + 1)]
    found = minimize_scalar(
        lambda part: -passed(part),
        bounds=around,
        method="bounded",
        options={"xatol": _MIX_TOLERANCE},
    )
    return max(chances[best], -float(found.fun))
