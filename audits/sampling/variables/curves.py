"""What a measuring plan promises: chance of acceptance by fraction, and by mean and spread."""

import math
from collections.abc import Callable, Iterable
from typing import Final, NamedTuple, overload

from audits.errors import InvalidInput
from audits.messages import Message, say
from audits.sampling.inputs import TypedNumber, require_fraction
from audits.sampling.variables.chances import chance_with_one_limit, chance_with_two_limits
from audits.sampling.variables.estimates import largest_index
from audits.sampling.variables.plans import VariablesPlan

# Shares of the fraction that lie beyond the rarer of two limits, between which the extremes are
# looked for. The chance changes slowly with their logarithm.
_SPLITS: Final = (1e-9, 1e-6, 1e-4, 1e-3, 0.005, 0.02, 0.05, 0.1, 0.17, 0.25, 0.33, 0.42, 0.5)

# The chance is flat at an extreme: a split known to 1e-5 gives it to far better than 1e-9.
_SPLIT_TOLERANCE: Final = 1e-5


class AcceptanceRange(NamedTuple):
    """
    Chances of acceptance over all splits of a fraction between two limits.

    Parameters
    ----------
    least, greatest : float
        Smallest and largest probability of acceptance, in [0, 1].
    """

    least: float
    greatest: float


@overload
def variables_acceptance_probability(plan: VariablesPlan, fraction_outside: float) -> float: ...


@overload
def variables_acceptance_probability(
    plan: VariablesPlan, fraction_outside: Iterable[float]
) -> list[float]: ...


def variables_acceptance_probability(
    plan: VariablesPlan, fraction_outside: float | Iterable[float]
) -> float | list[float]:
    """
    Return the chance that a measuring plan accepts a lot, with one limit.

    The measurements are normal. With a standard deviation from the sample the chance is the tail
    P(T >= k sqrt(n)) of a noncentral t distribution with n - 1 degrees of freedom and
    noncentrality z sqrt(n), where z is the upper normal point of the fraction; with a known one it
    is the normal tail Phi(sqrt(n) (z - k)).

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    fraction_outside : float or iterable of float
        Share of trees beyond the limit, in [0, 1] (symbol p).

    Returns
    -------
    float or list of float
        Probability of acceptance in [0, 1], one for each fraction, to 1e-12. It falls as the
        fraction rises.

    Raises
    ------
    InvalidInput
        If a fraction lies outside its range.

    References
    ----------
    .. [1] N. L. Johnson and B. L. Welch, Applications of the non-central t-distribution,
       Biometrika 31:362-389, 1940.
    .. [2] ISO 3951-1, annex on the operating characteristic of the s method.

    Examples
    --------
    >>> round(variables_acceptance_probability(VariablesPlan(35, 1.89), 0.1), 4)
    0.0165
    """
    if isinstance(fraction_outside, Iterable):
        return [_chance_at_fraction(plan, float(fraction)) for fraction in fraction_outside]
    return _chance_at_fraction(plan, float(fraction_outside))


def variables_acceptance_at(
    plan: VariablesPlan,
    mean: float,
    sigma: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
) -> float:
    """
    Return the chance that a measuring plan accepts a lot of known mean and spread.

    With two limits this is more than a function of the fraction outside: the same fraction can
    lie beyond one limit or beyond both. The chance is exact for the rule on the estimated
    fraction, an integral over the standard deviation of the sample.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    mean : float
        Mean of the lot, in mm or any one unit.
    sigma : float
        Standard deviation of the lot, in the same unit, above 0.
    lower, upper : float, optional
        The limits, in the same unit; at least one.

    Returns
    -------
    float
        Probability of acceptance in [0, 1], to 1e-12.

    Raises
    ------
    InvalidInput
        If the mean or the spread is out of range, the limits are missing or reversed, or the
        plan's k is too far below 0 for two limits.

    References
    ----------
    .. [1] G. J. Lieberman and G. J. Resnikoff, Sampling plans for inspection by variables,
       Journal of the American Statistical Association 50:457-516, 1955.

    Examples
    --------
    >>> plan = VariablesPlan(20, 1.5)
    >>> round(variables_acceptance_at(plan, 3000.0, 70.0, lower=2850.0, upper=3150.0), 4)
    0.8657
    """
    require_limits(lower, upper)
    problems = {}
    if not math.isfinite(mean):
        problems["mean"] = say("This must be a number; it is %(value)s.", value=str(mean))
    if not (math.isfinite(sigma) and sigma > 0):
        problems["sigma"] = not_a_spread(sigma)
    if problems:
        raise InvalidInput(problems)
    if lower is None or upper is None:
        distance = (mean - lower if lower is not None else (upper or 0.0) - mean) / sigma
        return chance_with_one_limit(plan, distance)
    require_two_limits(plan)
    return chance_with_two_limits(plan, (mean - lower) / sigma, (upper - mean) / sigma)


def variables_acceptance_range(plan: VariablesPlan, fraction_outside: float) -> AcceptanceRange:
    """
    Return the least and the greatest chance of acceptance, with two limits.

    With two limits the operating characteristic is a band: the chance depends on how the fraction
    is split between the limits. All in one tail gives the curve of one limit.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    fraction_outside : float
        Share of trees beyond the two limits together, in [0, 1] (symbol p).

    Returns
    -------
    AcceptanceRange
        Least and greatest probability over all splits, to 1e-9.

    Raises
    ------
    InvalidInput
        If the fraction lies outside its range, or the plan's k is too far below 0.

    Notes
    -----
    The extremes are looked for on a grid of splits and then between its points.

    Examples
    --------
    >>> least, greatest = variables_acceptance_range(VariablesPlan(28, 1.825178), 0.08)
    >>> round(least, 4), round(greatest, 4)
    (0.0961, 0.102)
    """
    require_fraction("fraction_outside", fraction_outside)
    require_two_limits(plan)
    return AcceptanceRange(
        extreme_chance(plan, fraction_outside, min), extreme_chance(plan, fraction_outside, max)
    )


def extreme_chance(
    plan: VariablesPlan, fraction: float, better: Callable[[float, float], float]
) -> float:
    """
    Return the least or the greatest chance of acceptance over all splits of a fraction.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.
    fraction : float
        Share of trees beyond the two limits together, in [0, 1].
    better : Callable
        `min` or `max`.

    Returns
    -------
    float
        Probability in [0, 1].
    """
    from scipy.optimize import minimize_scalar  # noqa: PLC0415 - keeps starting the app light

    in_one_tail = _chance_at_fraction(plan, fraction)
    if fraction in {0.0, 1.0}:
        return in_one_tail
    sign = 1.0 if better is min else -1.0

    def signed(log_share: float) -> float:
        return sign * _chance_at_split(plan, fraction, math.exp(log_share))

    logs = [math.log(share) for share in _SPLITS]
    chances = [signed(log_share) for log_share in logs]
    best = min(range(len(logs)), key=chances.__getitem__)
    between = (logs[max(0, best - 1)], logs[min(len(logs) - 1, best + 1)])
    found = minimize_scalar(
        signed, bounds=between, method="bounded", options={"xatol": _SPLIT_TOLERANCE}
    )
    return better(in_one_tail, sign * min(chances[best], float(found.fun)))


def require_limits(lower: float | None, upper: float | None) -> None:
    """
    Refuse limits that are missing, no numbers or in the wrong order.

    Parameters
    ----------
    lower, upper : float or None
        The limits, in one unit.

    Raises
    ------
    InvalidInput
        If there is no limit, one is not finite, or the upper one is not above the lower one.
    """
    if lower is None and upper is None:
        raise InvalidInput({"lower": say("Give a lower limit, an upper limit or both.")})
    problems = {
        name: say("This must be a number; it is %(value)s.", value=str(limit))
        for name, limit in (("lower", lower), ("upper", upper))
        if limit is not None and not math.isfinite(limit)
    }
    if not problems and lower is not None and upper is not None and lower >= upper:
        problems["upper"] = say("The upper limit must be above the lower one.")
    if problems:
        raise InvalidInput(problems)


def require_two_limits(plan: VariablesPlan) -> None:
    """
    Refuse a plan that, with two limits, would take any estimate.

    Parameters
    ----------
    plan : VariablesPlan
        The plan.

    Raises
    ------
    InvalidInput
        If k is so low that M is 1.
    """
    if not plan.known_sigma and plan.k <= -largest_index(plan.sample_size):
        raise InvalidInput(
            {
                "k": say(
                    "With this k any sample would pass; it must be above %(least)s.",
                    least=TypedNumber(-largest_index(plan.sample_size)),
                )
            }
        )


def not_a_spread(value: float) -> Message:
    """
    Say that a standard deviation is not above 0.

    Parameters
    ----------
    value : float
        The value refused.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say("A standard deviation is above 0; %(value)s is not.", value=str(value))


def _chance_at_fraction(plan: VariablesPlan, fraction: float) -> float:
    require_fraction("fraction_outside", fraction)
    return chance_with_one_limit(plan, _distance(fraction))


def _chance_at_split(plan: VariablesPlan, fraction: float, share: float) -> float:
    return chance_with_two_limits(
        plan, _distance(fraction * share), _distance(fraction * (1 - share))
    )


def _distance(fraction: float) -> float:
    """Return the distance from mean to limit, in standard deviations, with a fraction beyond."""
    from scipy.special import ndtri  # noqa: PLC0415 - keeps starting the app light

    return -float(ndtri(fraction))
