"""
Learning one stage at a time: when a stage is learned, and how far that rule can be trusted.

The rule looks at the latest due trees of one person. Being signed off is a matter of chance too:
somebody good has an unlucky stretch, somebody who is not there yet a lucky one. How often, a
Markov chain over the window says exactly, for trees that are independent of each other.
"""

from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache

from audits.standard import SignOffRule


def signed_off_at(outcomes: Iterable[bool], rule: SignOffRule) -> int | None:
    """
    Return the due tree with which a stage is learned.

    Parameters
    ----------
    outcomes : Iterable of bool
        For each due tree in scoring order, whether it is nonconforming.
    rule : SignOffRule
        How many trees are looked at together, and how many of them may be nonconforming.

    Returns
    -------
    int or None
        Number of the first tree, from 1, after which the last `rule.trees` hold at most
        `rule.most_nonconforming` nonconforming ones; None if there is none yet.

    Examples
    --------
    >>> signed_off_at([True, True] + [False] * 5, SignOffRule(trees=5, most_nonconforming=1))
    6
    """
    window: list[bool] = []
    for number, nonconforming in enumerate(outcomes, start=1):
        window.append(nonconforming)
        del window[: -rule.trees]
        if len(window) == rule.trees and sum(window) <= rule.most_nonconforming:
            return number
    return None


@lru_cache(maxsize=256)
def sign_off_chance(fraction: float, rule: SignOffRule, within_trees: int) -> float:
    """
    Return the chance that somebody is signed off within so many due trees.

    Parameters
    ----------
    fraction : float
        Fraction of nonconforming trees that the person leaves, in [0, 1] (symbol p); the same for
        each tree, independent of the others.
    rule : SignOffRule
        How many trees are looked at together, and how many of them may be nonconforming.
    within_trees : int
        Number of due trees, at least 0.

    Returns
    -------
    float
        The chance, in [0, 1]. It never falls with the trees and never rises with the fraction.

    Raises
    ------
    ValueError
        If a parameter lies outside its range; the message names it and its value.

    Notes
    -----
    The state is where the latest nonconforming trees stand in the window, of which one more than
    the rule allows are enough to tell whether it is met. Trees of one row are alike, so people are
    signed off by luck somewhat more often than this says.

    References
    ----------
    .. [1] J. C. Fu, M. V. Koutras, Distribution theory of runs: a Markov chain approach, Journal
       of the American Statistical Association 89 (1994), 1050-1058.

    Examples
    --------
    >>> round(sign_off_chance(0.05, SignOffRule(), 20), 4)
    0.7358
    """
    if not 0 <= fraction <= 1:
        raise ValueError(f"fraction must lie in [0, 1], not {fraction}")
    if within_trees < 0:
        raise ValueError(f"within_trees must be at least 0, not {within_trees}")
    signed_off = 0.0
    # Chance by state; a bit for each nonconforming tree of the window, the latest lowest.
    learning = {0: 1.0}
    for number in range(1, within_trees + 1):
        following: dict[int, float] = defaultdict(float)
        for faults, chance in learning.items():
            for nonconforming, share in ((0, 1 - fraction), (1, fraction)):
                after = _after(faults, nonconforming, rule)
                if number >= rule.trees and after.bit_count() <= rule.most_nonconforming:
                    signed_off += chance * share
                else:
                    following[after] += chance * share
        learning = following
    # Sums of many small chances may pass 1 by a rounding error.
    return min(signed_off, 1.0)


def _after(faults: int, nonconforming: int, rule: SignOffRule) -> int:
    """Return where the faults stand one tree later, without those that no longer matter."""
    after = (faults << 1 | nonconforming) & ((1 << rule.trees) - 1)
    if after.bit_count() > rule.most_nonconforming + 1:
        after &= ~(1 << (after.bit_length() - 1))
    return after
