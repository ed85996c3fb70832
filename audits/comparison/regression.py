"""
Binomial regression: how the chance of a fault goes with the week, the height of the tree, ...

This module loads numpy; import it where it is used.

References
----------
.. [1] P. McCullagh and J. A. Nelder, Generalized Linear Models, 2nd ed. 1989, chapters 2 and 4.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from audits.comparison.checks import require_counts, require_finite, require_same_length
from audits.comparison.reasons import NoFit
from audits.estimates import Interval
from audits.estimates.intervals import normal_quantile

Floats = NDArray[np.float64]

_MOST_STEPS: Final = 50
_PRECISE: Final = 1e-13

# Beyond this logit a row's trees all fail or none does, and the fit has no end.
_LARGEST_LOGIT: Final = 25.0

# Columns whose directions differ by less than this go together.
_SAME_DIRECTION: Final = 1e-9


@dataclass(frozen=True)
class Coefficient:
    """
    How the logit changes with one column.

    Parameters
    ----------
    name : str
        The column; "intercept" for the constant.
    value : float
        Change of the logit per unit.
    standard_error : float
        Its standard error.
    z : float
        Value over standard error.
    p_value : float
        Chance of as large a change, up or down, where there is none.
    quasi_standard_error : float or None
        The standard error widened, or narrowed, by the dispersion; None without one.
    """

    name: str
    value: float
    standard_error: float
    z: float
    p_value: float
    quasi_standard_error: float | None

    def interval(self, confidence: float = 0.95) -> Interval:
        """
        Return the limits of the change, by the normal law.

        Parameters
        ----------
        confidence : float, optional
            Confidence of the interval, in (0, 1).

        Returns
        -------
        Interval
            Limits of the change of the logit, with the wider of the two standard errors.
        """
        error = max(self.standard_error, self.quasi_standard_error or 0.0)
        reach = normal_quantile(confidence) * error
        return Interval(self.value - reach, self.value + reach)


@dataclass(frozen=True)
class BinomialRegression:
    """
    A fitted logistic regression of counts.

    Parameters
    ----------
    coefficients : tuple of Coefficient
        The constant first, then the columns in their order.
    deviance : float
        How far the counts lie from the fit.
    null_deviance : float
        How far they lie from one common chance.
    residual_df : int
        Rows with trees less coefficients.
    pearson_chi2 : float
        Sum of squared residuals in their standard errors.
    dispersion : float or None
        That by row left over: above 1 where rows scatter more than single trees would; None if no
        row is left over.
    fitted : tuple of float
        Chance of a fault in each row, rows without trees included.
    """

    coefficients: tuple[Coefficient, ...]
    deviance: float
    null_deviance: float
    residual_df: int
    pearson_chi2: float
    dispersion: float | None
    fitted: tuple[float, ...]


def binomial_regression(
    nonconforming: Sequence[int], due: Sequence[int], columns: Mapping[str, Sequence[float]]
) -> BinomialRegression | NoFit:
    """
    Fit the logit of the chance of a fault to columns by maximum likelihood.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per row.
    due : Sequence of int
        Due trees, one count per row; rows without any do not take part.
    columns : Mapping of str to Sequence of float
        What the chance may go with, one value per row and column.

    Returns
    -------
    BinomialRegression or NoFit
        The fit, or the reason why there is none: no due tree, no fault, only faults, fewer rows
        than coefficients, columns that go together, or faults that fall all on one side.

    Raises
    ------
    ValueError
        If columns differ in length or a number lies outside its range.

    References
    ----------
    .. [1] P. McCullagh and J. A. Nelder, Generalized Linear Models, 2nd ed. 1989, 4.4: iteratively
       reweighted least squares.

    Examples
    --------
    >>> fit = binomial_regression([9, 6, 5, 2], [20, 20, 20, 20], {"week": [0, 1, 2, 3]})
    >>> week = fit.coefficients[1]
    >>> round(week.value, 2), round(week.p_value, 3)
    (-0.59, 0.017)
    """
    pairs = require_counts(nonconforming, due)
    given = [require_finite(name, column) for name, column in columns.items()]
    require_same_length(due=due, **columns)
    every = np.column_stack([np.ones(len(pairs)), *given])
    kept = np.array([total > 0 for _, total in pairs], dtype=bool)
    y = np.array([count for count, total in pairs if total], dtype=float)
    n = np.array([total for _, total in pairs if total], dtype=float)
    matrix = every[kept]
    problem = _problem(y, n, matrix)
    if problem is not None:
        return problem
    # Columns of one size and around 0 keep the equations exact whatever their units.
    middles, units = matrix[:, 1:].mean(axis=0), matrix[:, 1:].std(axis=0)
    scaled = matrix.copy()
    scaled[:, 1:] = (matrix[:, 1:] - middles) / units
    solved = _reweighted(y, n, scaled)
    if solved is None:
        return NoFit.SEPARATED
    back = np.eye(matrix.shape[1])
    back[1:, 1:] /= units[:, None]
    back[0, 1:] = -middles / units
    values, covariance = back @ solved[0], back @ solved[1] @ back.T
    logits = scaled @ solved[0]
    chance = _expit(logits)
    pearson = float(((y - n * chance) ** 2 / (n * chance * (1 - chance))).sum())
    left_over = len(y) - matrix.shape[1]
    dispersion = pearson / left_over if left_over else None
    errors = np.sqrt(np.diagonal(covariance))
    return BinomialRegression(
        coefficients=tuple(
            Coefficient(
                name,
                float(value),
                float(error),
                float(value / error),
                math.erfc(abs(float(value / error)) / math.sqrt(2)),
                None if dispersion is None else float(error) * math.sqrt(dispersion),
            )
            for name, value, error in zip(["intercept", *columns], values, errors, strict=True)
        ),
        deviance=_deviance(y, n, chance),
        null_deviance=_deviance(y, n, np.full(len(y), y.sum() / n.sum())),
        residual_df=left_over,
        pearson_chi2=pearson,
        dispersion=dispersion,
        fitted=tuple(_expit(every @ values).tolist()),
    )


def _problem(y: Floats, n: Floats, matrix: Floats) -> NoFit | None:
    if not len(y):
        return NoFit.NO_TREES
    if not y.any():
        return NoFit.NO_FAULTS
    if (y == n).all():
        return NoFit.ALL_FAULTS
    return _column_problem(matrix)


def _column_problem(matrix: Floats) -> NoFit | None:
    if len(matrix) < matrix.shape[1]:
        return NoFit.TOO_FEW
    beside = matrix[:, 1:] - matrix[:, 1:].mean(axis=0)
    sizes = np.sqrt((beside**2).sum(axis=0))
    if (sizes <= _SAME_DIRECTION * np.abs(matrix[:, 1:]).max(axis=0, initial=0)).any():
        return NoFit.ONE_LEVEL
    if beside.shape[1] and np.linalg.svd(beside / sizes, compute_uv=False)[-1] < _SAME_DIRECTION:
        return NoFit.ENTANGLED
    return None


def _reweighted(y: Floats, n: Floats, matrix: Floats) -> tuple[Floats, Floats] | None:
    """Return coefficients and their covariance, or None where the likelihood has no top."""
    values = np.zeros(matrix.shape[1])
    values[0] = math.log(y.sum() / (n - y).sum())
    height = _likelihood(y, n, matrix @ values)
    arrived = False
    for _ in range(_MOST_STEPS):
        logits = matrix @ values
        if np.abs(logits).max() > _LARGEST_LOGIT:
            return None
        chance = _expit(logits)
        information = matrix.T @ ((n * chance * (1 - chance))[:, None] * matrix)
        if arrived:
            return values, np.asarray(np.linalg.inv(information), dtype=np.float64)
        slope = matrix.T @ (y - n * chance)
        step = np.linalg.solve(information, slope)
        # The last step is taken as well: the error left is the square of what it gains.
        arrived = float(slope @ step) <= _PRECISE * max(1.0, abs(height))
        share = 1.0
        while (
            not arrived
            and _likelihood(y, n, matrix @ (values + share * step)) < height
            and share > _PRECISE
        ):
            share /= 2
        values = values + share * step
        height = _likelihood(y, n, matrix @ values)
    return None


def _likelihood(y: Floats, n: Floats, logits: Floats) -> float:
    return float((y * logits - n * np.logaddexp(0.0, logits)).sum())


def _deviance(y: Floats, n: Floats, chance: Floats) -> float:
    from scipy.special import xlogy  # noqa: PLC0415 - keeps importing this module quick

    expected = n * chance
    return 2 * float((xlogy(y, y / expected) + xlogy(n - y, (n - y) / (n - expected))).sum())


def _expit(logits: Floats) -> Floats:
    from scipy.special import expit  # noqa: PLC0415 - as above

    chance: Floats = expit(logits)
    return chance
