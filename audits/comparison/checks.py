"""What comparing refuses, each with a sentence that names the value."""

import math
from collections.abc import Sequence


def require_counts(nonconforming: Sequence[int], due: Sequence[int]) -> list[tuple[int, int]]:
    """
    Pair counts with their sizes, and refuse those that cannot be.

    Parameters
    ----------
    nonconforming : Sequence of int
        Nonconforming trees, one count per sample.
    due : Sequence of int
        Due trees, one count per sample.

    Returns
    -------
    list of tuple of int and int
        Nonconforming and due trees of each sample.

    Raises
    ------
    ValueError
        If the sequences differ in length, or a count is no whole number or outside its range.
    """
    require_same_length(nonconforming=nonconforming, due=due)
    pairs = []
    for place, (count, total) in enumerate(zip(nonconforming, due, strict=True)):
        if not 0 <= count <= total < math.inf or count != int(count) or total != int(total):
            raise ValueError(
                f"nonconforming[{place}] must be a whole number from 0 to due[{place}] = {total}, "
                f"not {count}"
            )
        pairs.append((int(count), int(total)))
    return pairs


def require_same_length(**columns: Sequence[object]) -> None:
    """
    Refuse columns of unequal length.

    Parameters
    ----------
    **columns : Sequence
        The columns by name.

    Raises
    ------
    ValueError
        If they differ in length; names them.
    """
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        written = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise ValueError(f"the columns must have the same length: {written}")


def require_inside(name: str, value: float, lower: float = 0.0, upper: float = 1.0) -> None:
    """
    Refuse a number that does not lie strictly between two others.

    Parameters
    ----------
    name : str
        What the number is called.
    value : float
        What is to be checked.
    lower, upper : float, optional
        The bounds, neither of them allowed.

    Raises
    ------
    ValueError
        If it lies outside or is not a number.
    """
    if not lower < value < upper:
        raise ValueError(f"{name} must lie between {lower:g} and {upper:g}, not {value}")


def require_share(name: str, value: float) -> None:
    """
    Refuse a number outside [0, 1].

    Parameters
    ----------
    name : str
        What the number is called.
    value : float
        What is to be checked.

    Raises
    ------
    ValueError
        If it lies outside or is not a number.
    """
    if not 0 <= value <= 1:
        raise ValueError(f"{name} must lie in [0, 1], not {value}")


def require_finite(name: str, values: Sequence[float]) -> list[float]:
    """
    Refuse values that are no finite numbers.

    Parameters
    ----------
    name : str
        What the column is called.
    values : Sequence of float
        What is to be checked.

    Returns
    -------
    list of float
        The values.

    Raises
    ------
    ValueError
        If one is not a number or infinite; names its place.
    """
    numbers = [float(value) for value in values]
    for place, number in enumerate(numbers):
        if not math.isfinite(number):
            raise ValueError(f"{name}[{place}] must be a finite number, not {number}")
    return numbers
