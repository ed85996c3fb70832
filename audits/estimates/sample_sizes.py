"""How many trees a question takes: for a share within a margin, and to find a fault at all."""

import math
from collections.abc import Callable
from typing import Final, NamedTuple

from audits.errors import InvalidInput
from audits.estimates.inputs import not_between, require_confidence, require_inner_fraction
from audits.estimates.intervals import normal_quantile
from audits.messages import say
from audits.sampling.inputs import TypedNumber, is_count, require_count
from audits.sampling.laws import as_written

# Within this of a whole number, relative to it, the size is decided without rounding.
_NEAR: Final = 1e-9
# With more trees than this no decimal that was written is an exact power any more.
_MOST_EXACT: Final = 2_000


class MarginSize(NamedTuple):
    """
    How many trees it takes to know a share within a margin.

    Parameters
    ----------
    trees : int
        Trees to draw: the exact size, rounded up.
    endless : float
        Size for an endless row, not rounded (symbol n0).
    exact : float
        Size with finite correction, not rounded; `endless` without a lot.
    shorter : float
        Size by the shorter form of the correction, not rounded; `endless` without a lot.
    """

    trees: int
    endless: float
    exact: float
    shorter: float


class DetectionSize(NamedTuple):
    """
    How many trees it takes to find a nonconforming one.

    Parameters
    ----------
    trees : int
        Trees to draw.
    miss_probability : float
        Probability that not one of them is nonconforming, in [0, 1].
    """

    trees: int
    miss_probability: float


def sample_size_for_margin(
    fraction: float,
    margin: float,
    *,
    lot_size: int | None = None,
    confidence: float = 0.95,
    standard_errors: float | None = None,
) -> MarginSize:
    """
    Return how many trees it takes to know a share within a margin.

    Parameters
    ----------
    fraction : float
        Share that is expected, in (0, 1); 0.5 asks for the most trees (symbol p).
    margin : float
        Half width of the interval, in (0, 1) (symbol d).
    lot_size : int or None, optional
        Trees in the lot, at least 1 (symbol N); None for an endless row.
    confidence : float, optional
        Confidence of the interval, in (0, 1).
    standard_errors : float or None, optional
        Standard errors that the margin spans, above 0 (symbol z); by default those of the
        confidence, which is then left aside.

    Returns
    -------
    MarginSize
        The trees, and the sizes before rounding.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    Notes
    -----
    n0 = z^2 p (1 - p) / d^2, and with finite correction n0 / (1 + (n0 - 1) / N); the shorter form
    is n0 / (1 + n0 / N). The normal law stands behind all of them: near 0 or 1 they promise more
    than a small sample keeps.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 4.4.

    Examples
    --------
    >>> sample_size_for_margin(0.1, 0.05, lot_size=400).trees
    103
    """
    require_inner_fraction("fraction", fraction)
    require_inner_fraction("margin", margin)
    if lot_size is not None:
        require_count("lot_size", lot_size, 1)
    # As fractions, so that 400 trees are not 401 for want of a binary digit.
    share, half_width = as_written(fraction), as_written(margin)
    reach = as_written(_standard_errors(confidence, standard_errors))
    endless = reach**2 * share * (1 - share) / half_width**2
    exact = shorter = endless
    if lot_size is not None:
        exact = endless * lot_size / (lot_size + endless - 1)
        shorter = endless * lot_size / (lot_size + endless)
    return MarginSize(math.ceil(exact), float(endless), float(exact), float(shorter))


def sample_size_to_detect(fraction: float, confidence: float = 0.95) -> DetectionSize:
    """
    Return the fewest trees of an endless row that hold a nonconforming one.

    Parameters
    ----------
    fraction : float
        Share of nonconforming trees, in (0, 1) (symbol p).
    confidence : float, optional
        Probability that at least one is found, in (0, 1).

    Returns
    -------
    DetectionSize
        The trees, and the probability that none of them is nonconforming.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] R. M. Cannon and R. T. Roe, Livestock Disease Surveys: A Field Manual for
       Veterinarians, 1982, for the method.

    Examples
    --------
    >>> sample_size_to_detect(0.05).trees
    59
    """
    require_inner_fraction("fraction", fraction)
    require_confidence(confidence)
    missed = 1 - as_written(confidence)
    ratio = math.log(missed) / math.log1p(-fraction)
    trees = max(1, math.ceil(ratio))
    nearest = round(ratio)
    if 1 <= nearest <= _MOST_EXACT and abs(ratio - nearest) <= _NEAR * nearest:
        enough = (1 - as_written(fraction)) ** nearest <= missed
        trees = nearest if enough else nearest + 1
    return DetectionSize(trees, math.exp(trees * math.log1p(-fraction)))


def sample_size_to_detect_in_lot(
    nonconforming: int, lot_size: int, confidence: float = 0.95
) -> DetectionSize:
    """
    Return the fewest trees of a lot that hold a nonconforming one.

    Parameters
    ----------
    nonconforming : int
        Nonconforming trees in the lot, from 1 to `lot_size` (symbol D).
    lot_size : int
        Trees in the lot, at least 1 (symbol N).
    confidence : float, optional
        Probability that at least one is found, in (0, 1).

    Returns
    -------
    DetectionSize
        The trees, and the probability that none of them is nonconforming; exact.

    Raises
    ------
    InvalidInput
        If a parameter lies outside its range; names the field.

    References
    ----------
    .. [1] R. M. Cannon and R. T. Roe, Livestock Disease Surveys: A Field Manual for
       Veterinarians, 1982, for the method.

    Examples
    --------
    >>> sample_size_to_detect_in_lot(10, 100).trees
    25
    """
    require_count("lot_size", lot_size, 1)
    if not is_count(nonconforming, 1) or nonconforming > lot_size:
        raise InvalidInput({"nonconforming": not_between(nonconforming, 1, lot_size)})
    require_confidence(confidence)
    missed = 1 - as_written(confidence)

    def is_enough(trees: int) -> bool:
        found, of = _ways_to_miss(trees, nonconforming, lot_size)
        return found * missed.denominator <= missed.numerator * of

    trees = _least(is_enough, lot_size - nonconforming + 1)
    found, of = _ways_to_miss(trees, nonconforming, lot_size)
    return DetectionSize(trees, found / of)


def _standard_errors(confidence: float, standard_errors: float | None) -> float:
    if standard_errors is None:
        return normal_quantile(confidence)
    if not 0 < standard_errors < math.inf:
        raise InvalidInput(
            {
                "standard_errors": say(
                    "This must be a number above 0; it is %(value)s.",
                    value=TypedNumber(standard_errors),
                )
            }
        )
    return standard_errors


def _ways_to_miss(trees: int, nonconforming: int, lot_size: int) -> tuple[int, int]:
    """Return the ways to draw no nonconforming tree, and all ways, by the smaller numbers."""
    fewer, more = sorted((trees, nonconforming))
    return math.comb(lot_size - more, fewer), math.comb(lot_size, fewer)


def _least(holds: Callable[[int], bool], most: int) -> int:
    """Return the first number from 1 for which something holds, as it does for the most."""
    # Doubling first keeps the numbers, and with them the products, small.
    step = 1
    while step < most and not holds(step):
        step *= 2
    first, last = step // 2 + 1, min(step, most)
    while first < last:
        middle = (first + last) // 2
        if holds(middle):
            last = middle
        else:
            first = middle + 1
    return first
