"""The chance of passing a quiz by guessing alone, exactly."""

from collections.abc import Sequence


def chance_of_passing(choices: Sequence[int], pass_mark: int) -> float:
    """
    Return the chance that somebody who guesses every answer passes.

    Guesses are independent, and each choice of a question is as likely as any other; the number
    of right answers then follows the Poisson binomial law, summed here question by question.

    Parameters
    ----------
    choices : sequence of int
        Number of choices of each question, at least 1 each.
    pass_mark : int
        Right answers with which the quiz is passed.

    Returns
    -------
    float
        Probability in [0, 1]; 1 where nothing need be right.

    Raises
    ------
    ValueError
        If a question has no choice.

    References
    ----------
    .. [1] Y. H. Wang, On the number of successes in independent trials, Statistica Sinica 3
       (1993), 295-312.

    Examples
    --------
    >>> round(1 / chance_of_passing([4] * 10, 8))
    2405
    """
    if any(count < 1 for count in choices):
        raise ValueError(f"choices is {list(choices)}; each question needs at least one")
    # chances[k]: that k of the questions so far are right.
    chances = [1.0]
    for count in choices:
        right = 1.0 / count
        chances = [
            below * right + same * (1.0 - right)
            for below, same in zip([0.0, *chances], [*chances, 0.0], strict=True)
        ]
    return min(1.0, sum(chances[max(pass_mark, 0) :]))
