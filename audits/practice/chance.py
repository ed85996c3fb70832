"""The chance in one tree: drawn from a seed, held towards the middle as evenness asks."""

from collections.abc import Sequence
from random import Random


class Chance:
    """
    What is left to chance in one tree.

    Parameters
    ----------
    seed : int
        Decides every draw.
    evenness : float, optional
        In [0, 1]: 0 draws from the whole of a range, 1 always its middle.
    """

    def __init__(self, seed: int, evenness: float = 0.0) -> None:
        # Of all its draws, random() alone is promised to stay the same in later Pythons.
        self._random = Random(seed)  # noqa: S311 - a picture, no secret
        self._spread = 1.0 - evenness

    def between(self, low: float, high: float) -> float:
        """
        Draw a number of a range.

        Parameters
        ----------
        low, high : float
            The range.

        Returns
        -------
        float
            Uniform over the range, or over its middle part where evenness asks for it.
        """
        middle = (low + high) / 2
        return middle + (self._random.random() - 0.5) * (high - low) * self._spread

    def is_so(self, share: float) -> bool:
        """
        Draw yes or no.

        Parameters
        ----------
        share : float
            Chance of yes, in [0, 1].

        Returns
        -------
        bool
            Yes or no.
        """
        return self._random.random() < share

    def below(self, count: int) -> int:
        """
        Draw a whole number.

        Parameters
        ----------
        count : int
            At least 1.

        Returns
        -------
        int
            From 0 to one less than the count, each as likely.
        """
        return min(count - 1, int(self._random.random() * count))

    def chosen(self, values: Sequence[int], count: int) -> list[int]:
        """
        Draw some of several numbers.

        Parameters
        ----------
        values : sequence of int
            The numbers.
        count : int
            How many; all of them where there are fewer.

        Returns
        -------
        list of int
            The chosen ones, in order.
        """
        left = list(values)
        return sorted(left.pop(self.below(len(left))) for _ in range(min(count, len(left))))
