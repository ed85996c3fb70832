"""How long a Markov chain goes on until it leaves."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray


def mean_steps(moves: "NDArray[float64]", leaving: "NDArray[float64]") -> "NDArray[float64] | None":
    """
    Return the mean number of steps to the end from each state of a chain.

    The chances of staying in a state are never used: they follow from the others. So nothing is
    ever subtracted, and the result is exact to nearly all places however long the chain goes on,
    where solving the linear system loses as many places as the length has digits.

    Parameters
    ----------
    moves : ndarray of float64, shape (states, states)
        Chances of moving from the state of the row to that of the column, each at least 0; what is
        on the diagonal is ignored.
    leaving : ndarray of float64, shape (states,)
        Chances of leaving for good.

    Returns
    -------
    ndarray of float64, shape (states,), or None
        Mean steps, at least 1; None if the chain never leaves, or after more steps than a float
        can tell.

    References
    ----------
    .. [1] W. K. Grassmann, M. I. Taksar, D. P. Heyman, Regenerative analysis and steady state
       distributions for Markov chains, Operations Research 33 (1985), 1107-1116.
    .. [2] C. A. O'Cinneide, Entrywise perturbation theory and error analysis for Markov chains,
       Numerische Mathematik 65 (1993), 109-120.

    Examples
    --------
    >>> import numpy as np
    >>> mean_steps(np.array([[0.9]]), np.array([0.1])).tolist()
    [10.0]
    """
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    going, out = moves.astype(float), leaving.astype(float)
    steps = np.ones(len(out))
    outflow = np.empty(len(out))
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        # Take the states away one by one, from the last: ways through them become direct ones.
        for state in range(len(out) - 1, -1, -1):
            outflow[state] = going[state, :state].sum() + out[state]
            into = going[:state, state] / outflow[state]
            going[:state, :state] += np.outer(into, going[state, :state])
            out[:state] += into * out[state]
            steps[:state] += into * steps[state]
        for state in range(len(out)):
            steps[state] = (steps[state] + going[state, :state] @ steps[:state]) / outflow[state]
    return steps if np.isfinite(steps).all() else None
