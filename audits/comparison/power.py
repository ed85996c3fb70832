"""
How many trees a question takes, and what chance there is to see a difference.

For one rate to a margin, or none found among so many, see `audits.estimates`; for the operating
curves of sampling plans, `audits.sampling`.
"""

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Final, Literal, NamedTuple

from audits.comparison.checks import require_inside

Side = Literal["greater", "less"]

_SIDES: Final = (1, 2)

# The exact power goes up and down with the size; it counts as staying when it has held over this
# many further sizes.
_SIZES_AHEAD: Final = 40
_LARGEST_SIZE: Final = 20_000

# A chance that equals alpha is small enough; rounding must not make it too large.
_ROUNDING: Final = 1e-12

# A table is as unlikely as another if their chances agree to one part in this, as in R.
_AS_UNLIKELY: Final = 10_000_000


class TwoProportionsSize(NamedTuple):
    """
    Trees in each of two groups for a difference to be seen.

    Parameters
    ----------
    exact : float
        By the normal approximation, before rounding up.
    trees : int
        The same in whole trees.
    corrected : float
        With continuity correction, which an exact test will need.
    effect : float
        Cohen's h, the difference on the arcsine scale, at least 0.
    arcsine : float
        Trees by the normal approximation on that scale.
    """

    exact: float
    trees: int
    corrected: float
    effect: float
    arcsine: float


def sample_size_two_proportions(
    fraction_one: float,
    fraction_two: float,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    sides: int = 2,
) -> TwoProportionsSize:
    """
    Return the trees in each of two groups so that their difference is seen.

    Parameters
    ----------
    fraction_one, fraction_two : float
        True fractions of nonconforming trees, in (0, 1) and different.
    power : float, optional
        Chance that the difference is seen, in (0, 1).
    alpha : float, optional
        Chance that one is seen where there is none, in (0, 1).
    sides : int, optional
        2 where it may go either way, 1 where only one way counts.

    Returns
    -------
    TwoProportionsSize
        Trees in each group, by several formulas.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, 3.14, 3.15.
    .. [2] J. L. Fleiss, A. Tytun and H. K. Ury, Biometrics 36:343-346, 1980.
    .. [3] J. Cohen, Statistical Power Analysis, 2nd ed. 1988, chapter 6.

    Examples
    --------
    >>> size = sample_size_two_proportions(0.1, 0.2)
    >>> size.trees, round(size.corrected, 1), round(size.effect, 3)
    (199, 218.5, 0.284)
    """
    gap = _gap(fraction_one, fraction_two)
    require_inside("power", power)
    beyond, reached = _critical(alpha, sides), NormalDist().inv_cdf(power)
    without, with_gap = _deviations(fraction_one, fraction_two)
    exact = ((beyond * without + reached * with_gap) / gap) ** 2
    effect = cohen_h(fraction_one, fraction_two)
    return TwoProportionsSize(
        exact=exact,
        trees=math.ceil(exact),
        corrected=exact / 4 * (1 + math.sqrt(1 + 4 / (exact * gap))) ** 2,
        effect=effect,
        arcsine=2 * ((beyond + reached) / effect) ** 2,
    )


def cohen_h(fraction_one: float, fraction_two: float) -> float:
    """
    Return the difference of two fractions on the arcsine scale.

    Parameters
    ----------
    fraction_one, fraction_two : float
        The fractions, in (0, 1).

    Returns
    -------
    float
        Cohen's h without its sign.

    Raises
    ------
    ValueError
        If a fraction lies outside its range.

    References
    ----------
    .. [1] J. Cohen, Statistical Power Analysis, 2nd ed. 1988, 6.2.

    Examples
    --------
    >>> round(cohen_h(0.1, 0.2), 4)
    0.2838
    """
    require_inside("fraction_one", fraction_one)
    require_inside("fraction_two", fraction_two)
    one, two = (2 * math.asin(math.sqrt(each)) for each in (fraction_one, fraction_two))
    return abs(one - two)


def power_two_proportions(
    trees: int,
    fraction_one: float,
    fraction_two: float,
    *,
    alpha: float = 0.05,
    sides: int = 2,
) -> float:
    """
    Return the chance that the difference of two groups is seen.

    Parameters
    ----------
    trees : int
        Trees in each group, at least 1.
    fraction_one, fraction_two : float
        True fractions of nonconforming trees, in (0, 1) and different.
    alpha : float, optional
        Chance that a difference is seen where there is none, in (0, 1).
    sides : int, optional
        2 where it may go either way, 1 where only one way counts.

    Returns
    -------
    float
        The chance, by the normal approximation; a difference seen the wrong way round does not
        count.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, 3.3.

    Examples
    --------
    >>> round(power_two_proportions(120, 0.1, 0.2), 3)
    0.584
    """
    if not trees >= 1:
        raise ValueError(f"trees must be at least 1, not {trees}")
    gap = _gap(fraction_one, fraction_two)
    without, with_gap = _deviations(fraction_one, fraction_two)
    distance = math.sqrt(trees) * gap - _critical(alpha, sides) * without
    return NormalDist().cdf(distance / with_gap)


def _gap(fraction_one: float, fraction_two: float) -> float:
    require_inside("fraction_one", fraction_one)
    require_inside("fraction_two", fraction_two)
    if fraction_one == fraction_two:
        raise ValueError(f"the fractions must differ, and both are {fraction_one}")
    return abs(fraction_one - fraction_two)


def _critical(alpha: float, sides: int) -> float:
    require_inside("alpha", alpha)
    if sides not in _SIDES:
        raise ValueError(f"sides must be 1 or 2, not {sides}")
    return NormalDist().inv_cdf(1 - alpha / sides)


def _deviations(fraction_one: float, fraction_two: float) -> tuple[float, float]:
    """Return the deviation of a difference of single trees without and with a true difference."""
    middle = (fraction_one + fraction_two) / 2
    return (
        math.sqrt(2 * middle * (1 - middle)),
        math.sqrt(fraction_one * (1 - fraction_one) + fraction_two * (1 - fraction_two)),
    )


class ExactTest(NamedTuple):
    """
    An exact test of one rate against a standard.

    Parameters
    ----------
    critical_count : int or None
        Nonconforming trees from which on, or up to which on the lower side, the rate differs;
        None if no count is unlikely enough.
    alpha : float
        Chance that such a count comes up at the standard; 0 if there is none.
    power : float
        Chance that it comes up at the other rate.
    """

    critical_count: int | None
    alpha: float
    power: float


def one_sample_exact(
    standard: float, fraction: float, trees: int, *, alpha: float = 0.05, side: Side = "greater"
) -> ExactTest:
    """
    Return the exact test of one rate against a standard, and its power.

    Parameters
    ----------
    standard : float
        Fraction of nonconforming trees by the standard, in (0, 1) (symbol p0).
    fraction : float
        True fraction, in (0, 1) (symbol p1).
    trees : int
        Due trees, at least 1.
    alpha : float, optional
        Largest chance to say "differs" at the standard, in (0, 1).
    side : str, optional
        "greater" to look for more faults than the standard, "less" for fewer.

    Returns
    -------
    ExactTest
        The critical count and its chances, by the binomial law.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Examples
    --------
    >>> test = one_sample_exact(0.1, 0.2, 60)
    >>> test.critical_count, round(test.alpha, 3), round(test.power, 3)
    (11, 0.034, 0.677)
    """
    from scipy.special import bdtr, bdtrc  # noqa: PLC0415 - keeps starting the app light

    require_inside("standard", standard)
    require_inside("fraction", fraction)
    require_inside("alpha", alpha)
    if side not in {"greater", "less"}:
        raise ValueError(f'side must be "greater" or "less", not "{side}"')
    if trees != int(trees) or trees < 1:
        raise ValueError(f"trees must be a whole number of at least 1, not {trees}")

    def chance(count: int, of: float) -> float:
        # Of `count` or more on the upper side, of `count` or fewer on the lower.
        if side == "greater":
            return float(bdtrc(count - 1, trees, of)) if count else 1.0
        return float(bdtr(count, trees, of))

    # The chance falls with the count on one side and rises on the other: halve the range.
    inside, outside = (0, trees + 1) if side == "greater" else (trees, -1)
    while abs(outside - inside) > 1:
        middle = (inside + outside) // 2
        if chance(middle, standard) <= alpha * (1 + _ROUNDING):
            outside = middle
        else:
            inside = middle
    if not 0 <= outside <= trees:
        return ExactTest(None, 0.0, 0.0)
    return ExactTest(outside, chance(outside, standard), chance(outside, fraction))


class ExactSize(NamedTuple):
    """
    Trees for an exact test of one rate.

    Parameters
    ----------
    first : int
        The least number with the power asked for.
    stays_from : int
        The least number from which on the power holds over the next forty sizes as well: it goes
        up and down with the size, because counts are whole.
    """

    first: int
    stays_from: int


def one_sample_exact_size(
    standard: float,
    fraction: float,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    side: Side = "greater",
) -> ExactSize | None:
    """
    Return the trees with which an exact test of one rate sees a difference.

    Parameters
    ----------
    standard : float
        Fraction of nonconforming trees by the standard, in (0, 1) (symbol p0).
    fraction : float
        True fraction, on the side looked at, in (0, 1) (symbol p1).
    power : float, optional
        Chance that the difference is seen, in (0, 1).
    alpha : float, optional
        Largest chance to say "differs" at the standard, in (0, 1).
    side : str, optional
        "greater" to look for more faults than the standard, "less" for fewer.

    Returns
    -------
    ExactSize or None
        The sizes; None if more than 20,000 trees are needed.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Examples
    --------
    >>> one_sample_exact_size(0.1, 0.25)
    ExactSize(first=40, stays_from=44)
    """
    require_inside("power", power)
    require_inside("alpha", alpha)
    if (fraction - standard) * (1 if side == "greater" else -1) <= 0:
        raise ValueError(f"fraction must lie beyond {standard} on the side looked at: {fraction}")
    first = run_start = None
    for trees in range(1, _LARGEST_SIZE + 1):
        reached = one_sample_exact(standard, fraction, trees, alpha=alpha, side=side).power >= power
        if not reached:
            run_start = None
            continue
        first = first or trees
        run_start = run_start or trees
        if trees - run_start == _SIZES_AHEAD:
            return ExactSize(first, run_start)
    return None


def p_chart_sample_size(centre: float, shifted: float, sigmas: float = 3.0) -> float:
    """
    Return the block size with which a p chart sees a shift at the next point every other time.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in (0, 1) (symbol p).
    shifted : float
        Fraction after the shift, in [0, 1] and different.
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    float
        Trees a block, before rounding up.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.1, after Duncan.

    Examples
    --------
    >>> round(p_chart_sample_size(0.01, 0.05), 2)
    55.69
    """
    require_inside("centre", centre)
    require_inside("sigmas", sigmas, upper=math.inf)
    if not 0 <= shifted <= 1 or shifted == centre:
        raise ValueError(f"shifted must lie in [0, 1] and differ from {centre}, not {shifted}")
    return (sigmas / (shifted - centre)) ** 2 * centre * (1 - centre)


def p_chart_lower_limit_size(centre: float, sigmas: float = 3.0) -> float:
    """
    Return the block size above which a p chart has a lower limit above 0.

    Parameters
    ----------
    centre : float
        Fraction of nonconforming trees in the long run, in (0, 1) (symbol p).
    sigmas : float, optional
        Distance of the limits from the centre in standard deviations, above 0.

    Returns
    -------
    float
        The size that must be exceeded.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 7.2.1.

    Examples
    --------
    >>> round(p_chart_lower_limit_size(0.05), 6)
    171.0
    """
    require_inside("centre", centre)
    require_inside("sigmas", sigmas, upper=math.inf)
    return (1 - centre) * sigmas**2 / centre


def rule_of_three(fraction: float) -> float:
    """
    Return about how many trees without a fault show, with 95 %, that fewer are nonconforming.

    Parameters
    ----------
    fraction : float
        Fraction of nonconforming trees, in (0, 1).

    Returns
    -------
    float
        Three over the fraction; the exact number is `audits.estimates.sample_size_to_detect`.

    Raises
    ------
    ValueError
        If the fraction lies outside its range.

    References
    ----------
    .. [1] J. A. Hanley and A. Lippman-Hand, Journal of the American Medical Association
       249:1743-1745, 1983.

    Examples
    --------
    >>> rule_of_three(0.05)
    60.0
    """
    require_inside("fraction", fraction)
    return 3 / fraction


class FisherTest(NamedTuple):
    """
    How unlikely a table of two by two is with its margins.

    Parameters
    ----------
    two_sided : float
        Chance of this or a less likely table.
    greater : float
        Chance of as many or more in the first cell.
    less : float
        Chance of as many or fewer.
    """

    two_sided: float
    greater: float
    less: float


def fisher_exact(table: Sequence[Sequence[int]]) -> FisherTest:
    """
    Test a table of two by two exactly, such as faults before and after training.

    Parameters
    ----------
    table : Sequence of Sequence of int
        Two rows of two counts.

    Returns
    -------
    FisherTest
        The chances with both margins as they are; 1 where a margin is 0.

    Raises
    ------
    ValueError
        If it is no table of two by two whole numbers of at least 0.

    References
    ----------
    .. [1] R. A. Fisher, The Design of Experiments, 1935, chapter 2.

    Examples
    --------
    >>> test = fisher_exact([[3, 1], [1, 3]])
    >>> round(test.two_sided, 4), round(test.greater, 4)
    (0.4857, 0.2429)
    """
    if len(table) != 2 or any(len(row) != 2 for row in table):  # noqa: PLR2004 - two by two
        raise ValueError(f"table must have two rows of two counts, not {table}")
    (one, two), (three, four) = table
    for count in (one, two, three, four):
        if not 0 <= count < math.inf or count != int(count):
            raise ValueError(f"a count must be a whole number of at least 0, not {count}")
    row, column, total = int(one + two), int(one + three), int(one + two + three + four)
    least, most = max(0, row + column - total), min(row, column)
    ways = [
        math.comb(column, first) * math.comb(total - column, row - first)
        for first in range(least, most + 1)
    ]
    every, here = math.comb(total, row), int(one) - least
    # Whole numbers, so that equally likely tables are equal and no season's count is too large.
    limit = ways[here] * (_AS_UNLIKELY + 1)
    as_unlikely = sum(way for way in ways if way * _AS_UNLIKELY <= limit)
    return FisherTest(
        two_sided=as_unlikely / every,
        greater=sum(ways[here:]) / every,
        less=sum(ways[: here + 1]) / every,
    )
