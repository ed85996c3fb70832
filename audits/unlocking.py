"""The six digits that open an enrolled phone: what they may be and how often one may try."""

from itertools import pairwise
from typing import Final

DIGITS: Final = 6
# NIST SP 800-63B-4 allows at most ten failures in a row for digits that open a key on a device.
MOST_TRIES: Final = 10

_TEN: Final = 10
_LEAST_DIFFERENT: Final = 3


def are_six_digits(text: str) -> bool:
    """
    Tell whether a text is six digits and nothing else.

    Parameters
    ----------
    text : str
        As sent.

    Returns
    -------
    bool
        Whether it is.

    Examples
    --------
    >>> are_six_digits("048213"), are_six_digits("48213"), are_six_digits("٠٤٨٢١٣")
    (True, False, False)
    """
    return len(text) == DIGITS and text.isascii() and text.isdecimal()


def are_guessable(digits: str) -> bool:
    """
    Tell whether six digits are among the first that somebody else would try.

    These are: fewer than three different digits; a run with equal steps, such as 123456 or 864208;
    a part that comes again, such as 274274; pairs with equal steps, such as 112233; and digits
    that read the same backwards. 4,400 of the million are refused.

    Parameters
    ----------
    digits : str
        Six digits.

    Returns
    -------
    bool
        Whether to ask for others.

    Notes
    -----
    The kinds are common practice without a source.

    Examples
    --------
    >>> [are_guessable(digits) for digits in ("000000", "123456", "121212", "274274", "581937")]
    [True, True, True, True, False]
    """
    half = DIGITS // 2
    return (
        len(set(digits)) < _LEAST_DIFFERENT
        or _has_equal_steps(digits)
        or digits[:half] == digits[half:]
        or (digits[::2] == digits[1::2] and _has_equal_steps(digits[::2]))
        or digits == digits[::-1]
    )


def _has_equal_steps(digits: str) -> bool:
    numbers = [int(digit) for digit in digits]
    return len({(after - before) % _TEN for before, after in pairwise(numbers)}) == 1
