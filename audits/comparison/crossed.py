"""
Crossed effects: workers, blocks and auditors that meet in every combination.

Each row of the data belongs to one level of each factor. The equations for all effects together
are mostly empty: two workers never share a row. So the factor with the most levels is eliminated
first, which takes one division a level, and only the equations of the other factors are solved as
a full matrix (G. Golub and C. Van Loan, Matrix Computations, 4th ed. 2013, 4.5: block
elimination). With 2,000 workers, 300 blocks and 20 auditors that leaves 320 of 2,320.

This module loads numpy; import it where it is used.

References
----------
.. [1] D. Bates, M. Maechler, B. Bolker and S. Walker, Fitting linear mixed-effects models using
   lme4, Journal of Statistical Software 67(1), 2015: relative standard deviations and spherical
   effects.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import exp, log
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import require_same_length

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

# Equations kept as a full matrix: beyond these, one fit takes gigabytes and hours.
_MOST_FULL: Final = 5_000

# Whether a variance helps at all is tried from these relative standard deviations.
_FIRST_TRIALS: Final = (0.03, 0.1, 0.3)
_MOST_RESTARTS: Final = 3

# Along a standard deviation: parts of the best one that are tried below it, and steps above it,
# each wider than the last, until the likelihood has fallen by so many logarithms.
_BELOW: Final = (0.0, 0.25, 0.5, 0.75)
_ABOVE: Final = 0.25
_LEAST_STEP: Final = 0.05
_WIDER: Final = 1.4
_MOST_ABOVE: Final = 14
_NO_MORE: Final = 4.0

# Of the sum of weights, and of one weight: less than this is rounding.
_LEAST_LEFT: Final = 1e-12

# Likelihoods nearer than this are the same.
_SAME: Final = 1e-8

# For the share that is reported as done: rounds of the search after which most fits are found, and
# the shares at which the search and the ranges are done.
_USUAL_ROUNDS: Final = 25
_SEARCHED: Final = 0.6
_WIDENED: Final = 0.98


class CrossedDesign:
    """
    Which level of each factor every row belongs to.

    Factors with one level cannot be told from the average; they are left out of the equations.

    Parameters
    ----------
    factors : Mapping of str to Sequence of Hashable
        For each factor its level in every row.

    Raises
    ------
    ValueError
        If there is no factor, the columns differ in length, or too many levels remain for the
        full matrix.
    """

    def __init__(self, factors: Mapping[str, Sequence[Hashable]]) -> None:
        if not factors:
            raise ValueError("factors must name at least one column")
        require_same_length(**factors)
        self.levels: dict[str, tuple[Hashable, ...]] = {}
        coded: dict[str, Codes] = {}
        for name, column in factors.items():
            number: dict[Hashable, int] = {}
            coded[name] = np.array(
                [number.setdefault(level, len(number)) for level in column], dtype=np.intp
            )
            self.levels[name] = tuple(number)
        self.one_level = tuple(name for name, found in self.levels.items() if len(found) < 2)  # noqa: PLR2004
        # The largest factor leads; the others keep their order.
        used = [name for name in self.levels if name not in self.one_level]
        used.sort(key=lambda name: len(self.levels[name]), reverse=True)
        self.names = tuple(used)
        self.codes = [coded[name] for name in used]
        self.sizes = [len(self.levels[name]) for name in used]
        self.rest = sum(self.sizes[1:])
        if self.rest > _MOST_FULL:
            raise ValueError(
                f"beside the largest factor there can be {_MOST_FULL} levels, not {self.rest}"
            )
        self.starts = [0, *np.cumsum(self.sizes[1:-1]).tolist()] if len(used) > 1 else []
        self._plan_sums()

    @property
    def confounded(self) -> tuple[tuple[str, str], ...]:
        """Pairs of factors that divide the rows alike, so that nothing tells them apart."""
        return tuple(
            (self.names[one], self.names[other])
            for one, other in combinations(range(len(self.names)), 2)
            if self.sizes[one] == self.sizes[other]
            and len(set(zip(self.codes[one].tolist(), self.codes[other].tolist(), strict=True)))
            == self.sizes[one]
        )

    def by_name(self, numbers: Floats) -> dict[str, float]:
        """
        Write one number per factor by name, in the order given; 0 for those with one level.

        Parameters
        ----------
        numbers : numpy.ndarray
            One number per factor, in the order of `names`.

        Returns
        -------
        dict of str to float
            The numbers.
        """
        known = dict(zip(self.names, numbers.tolist(), strict=True))
        return {name: known.get(name, 0.0) for name in self.levels}

    def at_zero(self, relative: Floats) -> tuple[str, ...]:
        """
        Name the factors whose standard deviation is 0, in the order given.

        Parameters
        ----------
        relative : numpy.ndarray
            Relative standard deviation of each factor, in the order of `names`.

        Returns
        -------
        tuple of str
            Their names; factors with one level are not among them.
        """
        known = dict(zip(self.names, relative.tolist(), strict=True))
        return tuple(name for name in self.levels if known.get(name) == 0)

    def _plan_sums(self) -> None:
        """Find out once where each row's weight goes in the equations."""
        others = [start + codes for start, codes in zip(self.starts, self.codes[1:], strict=True)]
        empty: Codes = np.empty(0, dtype=np.intp)
        self._cross = (
            np.concatenate([self.codes[0] * self.rest + other for other in others])
            if others
            else empty
        )
        pairs = [(one, other) for one in others for other in others]
        self._full = (
            np.concatenate([one * self.rest + other for one, other in pairs]) if pairs else empty
        )
        self._others = len(others)

    def equations(self, weights: Floats) -> "Equations":
        """
        Add up the weights of all rows that two levels share.

        Parameters
        ----------
        weights : numpy.ndarray
            One weight per row, above 0.

        Returns
        -------
        Equations
            The sums, by level of the leading factor, by pairs with the others, and among those.
        """
        lead, rest = self.sizes[0], self.rest
        cross = _sums(self._cross, np.tile(weights, self._others), lead * rest)
        full = _sums(self._full, np.tile(weights, self._others**2), rest * rest)
        return Equations(
            lead=_sums(self.codes[0], weights, lead),
            cross=cross.reshape(lead, rest),
            full=full.reshape(rest, rest),
        )

    def spread_out(self, relative: Floats) -> Floats:
        """
        Repeat each factor's relative standard deviation for each of its levels.

        Parameters
        ----------
        relative : numpy.ndarray
            One number per factor, in the order of `names`.

        Returns
        -------
        numpy.ndarray
            One number per level, the leading factor first.
        """
        return np.repeat(relative, self.sizes)

    def of_rows(self, effects: Floats) -> Floats:
        """
        Add up, for each row, the effects of its levels.

        Parameters
        ----------
        effects : numpy.ndarray
            One effect per level, the leading factor first.

        Returns
        -------
        numpy.ndarray
            One sum per row.
        """
        parts = self.split(effects)
        total = parts[0][self.codes[0]]
        for codes, part in zip(self.codes[1:], parts[1:], strict=True):
            total = total + part[codes]
        return total

    def of_levels(self, values: Floats) -> Floats:
        """
        Add up, for each level, the values of its rows.

        Parameters
        ----------
        values : numpy.ndarray
            One value per row.

        Returns
        -------
        numpy.ndarray
            One sum per level, the leading factor first.
        """
        return np.concatenate(
            [_sums(codes, values, size) for codes, size in zip(self.codes, self.sizes, strict=True)]
        )

    def split(self, effects: Floats) -> list[Floats]:
        """
        Take the effects of the factors apart.

        Parameters
        ----------
        effects : numpy.ndarray
            One effect per level, the leading factor first.

        Returns
        -------
        list of numpy.ndarray
            One array per factor, in the order of `names`.
        """
        return np.split(effects, np.cumsum(self.sizes[:-1]))


def _sums(codes: Codes, values: Floats, size: int) -> Floats:
    return np.asarray(np.bincount(codes, values, size), dtype=np.float64)


@dataclass(frozen=True)
class Equations:
    """
    Sums of weights over the rows that levels share.

    Parameters
    ----------
    lead : numpy.ndarray
        For each level of the leading factor.
    cross : numpy.ndarray
        For each of them with each level of the other factors.
    full : numpy.ndarray
        Among the levels of the other factors.
    """

    lead: Floats
    cross: Floats
    full: Floats

    def times(self, effects: Floats) -> Floats:
        """
        Multiply the equations by effects.

        Parameters
        ----------
        effects : numpy.ndarray
            One effect per level, the leading factor first.

        Returns
        -------
        numpy.ndarray
            One sum per level.
        """
        lead = len(self.lead)
        first, others = effects[:lead], effects[lead:]
        return np.concatenate(
            [
                self.lead * first + self.cross @ others,
                first @ self.cross + self.full @ others,
            ]
        )


class Factored:
    """
    The equations scaled by relative standard deviations, plus one on the diagonal, solved.

    Parameters
    ----------
    equations : Equations
        Sums of weights.
    scale : numpy.ndarray
        Relative standard deviation of each level, the leading factor first.
    """

    def __init__(self, equations: Equations, scale: Floats) -> None:
        from scipy.linalg import cho_factor  # noqa: PLC0415 - keeps importing this module quick

        lead = len(equations.lead)
        first, others = scale[:lead], scale[lead:]
        self.lead = lead
        self.diagonal = first**2 * equations.lead + 1.0
        self._root = np.sqrt(self.diagonal)
        self.cross = equations.cross * ((first / self._root)[:, None] * others)
        left = others[:, None] * equations.full * others - self.cross.T @ self.cross
        left.flat[:: len(others) + 1] += 1.0
        self._left = cho_factor(left, lower=True, overwrite_a=True) if len(others) else None
        self._inverse: tuple[Floats, Floats, Floats] | None = None

    @property
    def log_determinant(self) -> float:
        """Logarithm of the determinant."""
        total = float(np.log(self.diagonal).sum())
        if self._left is not None:
            total += 2 * float(np.log(np.diagonal(self._left[0])).sum())
        return total

    def solve(self, right: Floats) -> Floats:
        """
        Solve the equations for one right-hand side.

        Parameters
        ----------
        right : numpy.ndarray
            One number per level, the leading factor first.

        Returns
        -------
        numpy.ndarray
            The solution.
        """
        first = right[: self.lead] / self._root
        others = self._solve_left(right[self.lead :] - first @ self.cross)
        return np.concatenate([(first - self.cross @ others) / self._root, others])

    def _solve_left(self, right: Floats) -> Floats:
        from scipy.linalg import cho_solve  # noqa: PLC0415 - as above

        if self._left is None:
            return right
        solved: Floats = cho_solve(self._left, right)
        return solved

    def inverse(self) -> tuple[Floats, Floats, Floats]:
        """
        Return the parts of the inverse that rows need.

        Returns
        -------
        tuple of numpy.ndarray
            Its diagonal for the leading factor, its rectangle of leading and other levels, and
            its square of the other levels.
        """
        if self._inverse is None:
            square = self._solve_left(np.eye(self.cross.shape[1]))
            across = self.cross @ square
            diagonal = (1.0 + np.einsum("ij,ij->i", self.cross, across)) / self.diagonal
            self._inverse = diagonal, -across / self._root[:, None], square
        return self._inverse

    def inverse_diagonal(self) -> Floats:
        """
        Return the diagonal of the inverse.

        Returns
        -------
        numpy.ndarray
            One number per level, the leading factor first.
        """
        diagonal, _, square = self.inverse()
        return np.concatenate([diagonal, np.diagonal(square)])

    def inverse_of_rows(self, design: CrossedDesign) -> list[list[Floats]]:
        """
        Return the inverse between the levels of each row.

        Parameters
        ----------
        design : CrossedDesign
            The rows' levels.

        Returns
        -------
        list of list of numpy.ndarray
            For each pair of factors one number per row.
        """
        diagonal, across, square = self.inverse()
        lead = design.codes[0]
        others = [
            start + codes for start, codes in zip(design.starts, design.codes[1:], strict=True)
        ]
        first = [diagonal[lead], *(across[lead, other] for other in others)]
        rows = [first]
        for place, one in enumerate(others, start=1):
            rows.append([first[place], *(square[one, other] for other in others)])
        return rows


def by_factor(
    design: CrossedDesign, found: Mapping[str, Floats], otherwise: float
) -> dict[str, tuple[float, ...]]:
    """
    Write figures by factor and level, in the order given.

    Parameters
    ----------
    design : CrossedDesign
        The rows' levels.
    found : Mapping of str to numpy.ndarray
        Figures of the factors in the equations, one per level.
    otherwise : float
        The figure of factors with one level.

    Returns
    -------
    dict of str to tuple of float
        The figures of all factors.
    """
    return {
        name: tuple(found[name].tolist()) if name in found else (otherwise,) * len(levels)
        for name, levels in design.levels.items()
    }


def named(design: CrossedDesign, figures: Floats) -> dict[str, Floats]:
    """
    Take figures of all levels apart by factor.

    Parameters
    ----------
    design : CrossedDesign
        The rows' levels.
    figures : numpy.ndarray
        One figure per level, the leading factor first.

    Returns
    -------
    dict of str to numpy.ndarray
        One figure per level of each factor.
    """
    return dict(zip(design.names, design.split(figures), strict=True))


def at_average(design: CrossedDesign, average: float, effects: Floats) -> dict[str, Floats]:
    """
    Return each level's figure where the other factors are at the mean of their levels.

    Parameters
    ----------
    design : CrossedDesign
        The rows' levels.
    average : float
        The figure where every effect is 0.
    effects : numpy.ndarray
        One effect per level, the leading factor first.

    Returns
    -------
    dict of str to numpy.ndarray
        One figure per level.
    """
    parts = design.split(effects)
    middles = [float(part.mean()) for part in parts]
    return {
        name: average + part + sum(middles) - middle
        for name, part, middle in zip(design.names, parts, middles, strict=True)
    }


def left_for_average(information: float, taken: float) -> float:
    """
    Return what the rows tell of the average once the effects have taken their part.

    Parameters
    ----------
    information : float
        Sum of all weights.
    taken : float
        The part that goes to the effects.

    Returns
    -------
    float
        What is left, above 0 even where rounding leaves nothing.
    """
    return max(information - taken, _LEAST_LEFT * information, _LEAST_LEFT)


def spreads_at_average(
    design: CrossedDesign, factored: Factored, relative: Floats, pull: Floats, information: float
) -> dict[str, Floats]:
    """
    Return how sure each level's figure is where the other factors are at their average.

    Parameters
    ----------
    design : CrossedDesign
        The rows' levels.
    factored : Factored
        The equations at the fit.
    relative : numpy.ndarray
        Relative standard deviation of each factor.
    pull : numpy.ndarray
        Scaled sums of weights by level: how the average and the effects depend on each other.
    information : float
        Sum of all weights.

    Returns
    -------
    dict of str to numpy.ndarray
        For each factor the standard deviation of average plus effect plus the mean effects of the
        other factors' levels, one number per level, in units of the residual one.
    """
    followed = factored.solve(pull)
    of_average = 1.0 / left_for_average(information, float(pull @ followed))
    diagonals = design.split(factored.inverse_diagonal())
    spreads = {}
    for place, name in enumerate(design.names):
        means = [
            np.full(size, 0.0 if other == place else relative[other] / size)
            for other, size in enumerate(design.sizes)
        ]
        beside = np.concatenate(means)
        solved = factored.solve(beside)
        scale = relative[place]
        own = 1.0 - float(followed @ beside) - scale * design.split(followed)[place]
        variance = (
            of_average * own**2
            + scale**2 * diagonals[place]
            + 2 * scale * design.split(solved)[place]
            + float(beside @ solved)
        )
        spreads[name] = np.sqrt(np.maximum(variance, 0.0))
    return spreads


class Slice(NamedTuple):
    """
    A fit with its relative standard deviations held.

    Parameters
    ----------
    value : float
        Minus the logarithm of the likelihood, the average integrated out.
    middles : Mapping of str to numpy.ndarray
        For each factor the figure of each level at the average of the others.
    spreads : Mapping of str to numpy.ndarray
        Standard deviations of those.
    """

    value: float
    middles: Mapping[str, Floats]
    spreads: Mapping[str, Floats]


def widened_spreads(
    evaluate: Callable[[Floats], Slice],
    relative: Floats,
    *,
    usual: float,
    progress: Callable[[float], object] | None = None,
) -> dict[str, Floats]:
    """
    Widen the spreads of levels because the standard deviations of the factors are estimates.

    With few levels it is hardly known how much levels differ, and so how far each is to be moved
    towards the average. Each factor's standard deviation is varied over what the data allow, the
    others held, and what this adds to the squared error of a level is added up over factors. The
    squared error is taken around the figures of the best fit. It never falls below that of the
    best fit alone.

    Parameters
    ----------
    evaluate : Callable
        Fits with relative standard deviations held.
    relative : numpy.ndarray
        Those of the best fit, one per factor.
    usual : float
        Scale of the half-normal law that says how large a relative standard deviation usually is
        (a convention of this project); it matters only with two or three levels.
    progress : Callable or None, optional
        Called with the share that is done, from where `search` leaves off.

    Returns
    -------
    dict of str to numpy.ndarray
        For each factor one standard deviation per level.

    References
    ----------
    .. [1] R. E. Kass and D. Steffey, Approximate Bayesian inference in conditionally independent
       hierarchical models, Journal of the American Statistical Association 84:717-726, 1989.
    .. [2] H. Rue, S. Martino and N. Chopin, Journal of the Royal Statistical Society B
       71:319-392, 2009: averaging fits over a grid of variances.
    """
    best = evaluate(relative)
    added = {name: np.zeros_like(spread) for name, spread in best.spreads.items()}
    for which in range(len(relative)):
        for share, found in _along(evaluate, relative, which, usual):
            for name, spread in found.spreads.items():
                away = found.middles[name] - best.middles[name]
                added[name] += share * (spread**2 + away**2 - best.spreads[name] ** 2)
        if progress is not None:
            progress(_SEARCHED + (_WIDENED - _SEARCHED) * (which + 1) / len(relative))
    return {
        name: np.sqrt(spread**2 + np.maximum(added[name], 0.0))
        for name, spread in best.spreads.items()
    }


def _along(
    evaluate: Callable[[Floats], Slice], relative: Floats, which: int, usual: float
) -> list[tuple[float, Slice]]:
    """Return fits along one standard deviation with the share of the likelihood that each has."""
    own = float(relative[which])

    def at(deviation: float) -> tuple[float, Slice]:
        there = relative.copy()
        there[which] = deviation
        found = evaluate(there)
        return -found.value - (deviation / usual) ** 2 / 2, found

    places = [own * part for part in _BELOW] if own > 0 else []
    points = [at(place) for place in places]
    step = max(_ABOVE * own, _LEAST_STEP * usual)
    place = own
    for _ in range(_MOST_ABOVE):
        places.append(place)
        points.append(at(place))
        if points[-1][0] < max(height for height, _ in points) - _NO_MORE:
            break
        place += step
        step *= _WIDER
    heights = np.array([height for height, _ in points])
    density = np.exp(heights - heights.max())
    # The trapezium rule: each place stands for half the way to its neighbours.
    ways = np.diff(places)
    widths = np.concatenate([[0.0], ways]) + np.concatenate([ways, [0.0]])
    shares = density * widths / (density * widths).sum()
    return [(float(share), found) for share, (_, found) in zip(shares, points, strict=True)]


@dataclass(frozen=True)
class Found:
    """
    Where a search ended.

    Parameters
    ----------
    place : numpy.ndarray
        The best place.
    value : float
        The value there.
    iterations : int
        Rounds of the search.
    converged : bool
        Whether the search ended because it could not get better, inside its bounds.
    """

    place: Floats
    value: float
    iterations: int
    converged: bool


def search(
    value_and_slope: Callable[[Floats], tuple[float, Floats]],
    start: Floats,
    *,
    free: int,
    most_deviation: float,
    most_free: float = 30.0,
    precision: float = 1e-5,
    progress: Callable[[float], object] | None = None,
) -> Found:
    """
    Find the least value over free numbers and over standard deviations, which may be 0.

    A slope in a standard deviation is 0 where that is 0, whether or not the value is least there;
    so it is tried whether a standard deviation that came out as 0 helps after all, and whether a
    small one helps at all.

    Parameters
    ----------
    value_and_slope : Callable
        The function: a value and its slopes.
    start : numpy.ndarray
        The free numbers, and after them the standard deviations.
    free : int
        How many are free.
    most_deviation : float
        Bound of the standard deviations; one that goes there is bounded by nothing else.
    most_free : float, optional
        Bound of the free numbers on both sides.
    precision : float, optional
        Slope below which the search ends.
    progress : Callable or None, optional
        Called with the share that is done, in [0, 1], never falling.

    Returns
    -------
    Found
        The best place.
    """
    from scipy.optimize import minimize  # noqa: PLC0415 - as above

    rounds = 0

    def counted(place: Floats) -> tuple[float, Floats]:
        nonlocal rounds
        rounds += 1
        if progress is not None:
            progress(_SEARCHED * (1 - exp(-2 * rounds / _USUAL_ROUNDS)))
        return value_and_slope(place)

    deviations = range(free, len(start))
    bounds = [(-most_free, most_free)] * free + [(0.0, most_deviation)] * len(deviations)
    place, iterations, succeeded, moved = start, 0, False, True
    value = counted(start)[0]
    for _ in range(_MOST_RESTARTS):
        found = minimize(
            counted,
            place,
            jac=True,
            method="L-BFGS-B",
            bounds=bounds,
            options={"ftol": 1e-14, "gtol": precision, "maxls": 40},
        )
        iterations += int(found.nit)
        place, value = np.asarray(found.x, dtype=float), float(found.fun)
        # A search that stops because rounding hides any gain has arrived as well.
        succeeded = bool(found.success) or "ABNORMAL" in str(found.message)
        place, value, moved = _look_again(counted, place, value, deviations)
        if not moved:
            break
    inside = all(
        bound > abs(number) * (1 + _SAME) for number, (_, bound) in zip(place, bounds, strict=True)
    )
    return Found(place, value, iterations, succeeded and inside and not moved)


def _look_again(
    value_and_slope: Callable[[Floats], tuple[float, Floats]],
    place: Floats,
    value: float,
    deviations: range,
) -> tuple[Floats, float, bool]:
    """Try small standard deviations at 0, and those at 0 a little above; say if one must move."""
    moved = False
    for which in deviations:
        if place[which] > _FIRST_TRIALS[-1]:
            continue
        trials = [0.0] if place[which] > 0 else list(_FIRST_TRIALS)
        for trial in trials:
            there = place.copy()
            there[which] = trial
            reached = value_and_slope(there)[0]
            gain = value - reached
            if gain > (_SAME if trial else -_SAME):
                place, value = there, reached
                moved = moved or trial > 0 or gain > _SAME
                break
    return place, value, moved


def logistic(value: float) -> float:
    """
    Return the probability behind a logit.

    Parameters
    ----------
    value : float
        The logarithm of the odds.

    Returns
    -------
    float
        The probability, in [0, 1].

    Examples
    --------
    >>> logistic(0.0)
    0.5
    """
    if value < 0:
        return 1 - logistic(-value)
    return 1 / (1 + exp(-value))


def logit(share: float) -> float:
    """
    Return the logarithm of the odds.

    Parameters
    ----------
    share : float
        A probability, in (0, 1).

    Returns
    -------
    float
        Its logit.

    Examples
    --------
    >>> logit(0.5)
    0.0
    """
    return log(share / (1 - share))
