"""What sampling refuses, each with a sentence that names the value."""

from dataclasses import dataclass
from numbers import Integral

from babel.numbers import format_decimal

from audits.errors import InvalidInput
from audits.messages import Message, Words, say


@dataclass(frozen=True)
class TypedNumber:
    """
    A number shown with every decimal that was typed, so that the reader knows it again.

    Parameters
    ----------
    value : float
        The number.
    """

    value: float

    def in_words(self, words: Words) -> str:
        """
        Write the number for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"1.0000001"``.
        """
        return format_decimal(self.value, "#,##0.################", locale=words.locale)


def is_count(value: object, least: int) -> bool:
    """
    Tell whether a value is a whole number of at least some size.

    Parameters
    ----------
    value : object
        What is to be checked.
    least : int
        The smallest number allowed.

    Returns
    -------
    bool
        True for a whole number that is large enough.
    """
    # Nearly always a plain int; the register of numbers, asked for the rest, is slow.
    if type(value) is int:
        return value >= least
    return isinstance(value, Integral) and not isinstance(value, bool) and int(value) >= least


def too_small(value: float, least: int) -> Message:
    """
    Say that a count is not a whole number of at least some size.

    Parameters
    ----------
    value : float
        The value refused.
    least : int
        The smallest number allowed.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say(
        "This must be a whole number of at least %(least)s; it is %(value)s.",
        least=least,
        value=TypedNumber(value),
    )


def too_large(value: float, most: int) -> Message:
    """
    Say that a count is larger than it may be.

    Parameters
    ----------
    value : float
        The value refused.
    most : int
        The largest number allowed.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say(
        "This can be at most %(most)s; it is %(value)s.", most=most, value=TypedNumber(value)
    )


def not_a_risk(value: float) -> Message:
    """
    Say that a risk lies outside its range.

    Parameters
    ----------
    value : float
        The value refused.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say("A risk lies above 0 and below 1; %(value)s does not.", value=TypedNumber(value))


def not_a_fraction(value: float) -> Message:
    """
    Say that a fraction lies outside its range.

    Parameters
    ----------
    value : float
        The value refused.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say("A fraction lies between 0 and 1; %(value)s does not.", value=TypedNumber(value))


def require_count(field: str, value: int, least: int) -> None:
    """
    Refuse a value that is not a whole number of at least some size.

    Parameters
    ----------
    field : str
        Name of the field, for the person who typed it.
    value : int
        What is to be checked.
    least : int
        The smallest number allowed.

    Raises
    ------
    InvalidInput
        If the value is no whole number or too small.
    """
    if not is_count(value, least):
        raise InvalidInput({field: too_small(value, least)})


def require_fraction(field: str, value: float) -> None:
    """
    Refuse a value outside [0, 1].

    Parameters
    ----------
    field : str
        Name of the field, for the person who typed it.
    value : float
        What is to be checked.

    Raises
    ------
    InvalidInput
        If the value lies outside [0, 1] or is not a number.
    """
    if not 0.0 <= value <= 1.0:
        raise InvalidInput({field: not_a_fraction(value)})
