"""Sentences for people: written once in English, put into words when the language is known."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from types import MappingProxyType
from typing import Final, Protocol, runtime_checkable

from babel.dates import format_date
from babel.numbers import format_decimal, format_percent

_NO_VALUES: Final[Mapping[str, object]] = MappingProxyType({})


class Units(StrEnum):
    """The units in which a farm reads lengths."""

    IMPERIAL = "imperial"
    METRIC = "metric"


@runtime_checkable
class Readable(Protocol):
    """A value that knows how a reader wants to read it."""

    def in_words(self, words: "Words") -> str:
        """
        Write the value for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            The value in words.
        """


def mark(text: str) -> str:
    """
    Mark a text for translation and return it unchanged.

    Parameters
    ----------
    text : str
        English text, looked up in the catalogue where it is shown.

    Returns
    -------
    str
        The same text.
    """
    return text


def mark_n(singular: str, plural: str) -> tuple[str, str]:
    """
    Mark a text that depends on a number for translation and return it unchanged.

    Parameters
    ----------
    singular : str
        English text for one.
    plural : str
        English text for any other number.

    Returns
    -------
    tuple of str
        The same two texts.
    """
    return singular, plural


@dataclass(frozen=True)
class Message:
    """
    A sentence with its values, not yet in any language.

    Parameters
    ----------
    text : str
        English text with named places, ``%(name)s``.
    values : Mapping of str to object, optional
        What goes into the places: text, numbers, dates, another `Message`, or anything
        `Readable`, such as a length or a `Share`.
    plural : str or None, optional
        English text for any `count` but one.
    count : int, optional
        The number that chooses between `text` and `plural`; also the value ``%(count)s``.
    """

    text: str
    values: Mapping[str, object] = field(default_factory=lambda: _NO_VALUES, hash=False)
    plural: str | None = None
    count: int = 1

    def __str__(self) -> str:
        return ENGLISH.say(self)


@dataclass(frozen=True)
class Share:
    """
    A ratio that people read as a percentage.

    Parameters
    ----------
    ratio : float
        The ratio, usually in [0, 1].
    decimals : int, optional
        Decimal places of the percentage.
    """

    ratio: float
    decimals: int = 0

    def in_words(self, words: "Words") -> str:
        """
        Write the percentage for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"12 %"``.
        """
        places = "." + "0" * self.decimals if self.decimals else ""
        return format_percent(self.ratio, f"#,##0{places} %", locale=words.locale)


@dataclass(frozen=True)
class Rounded:
    """
    A figure that shows all its decimal places, so that 1.0 between 0.5 and 1.8 stays 1.0.

    Parameters
    ----------
    value : float
        The figure.
    decimals : int, optional
        Decimal places, at least 0.
    """

    value: float
    decimals: int = 1

    def in_words(self, words: "Words") -> str:
        """
        Write the figure for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"1.0"``.
        """
        places = "." + "0" * self.decimals if self.decimals else ""
        # Adding 0 turns a rounded -0 into 0.
        shown = round(self.value, self.decimals) + 0.0
        return format_decimal(shown, f"#,##0{places}", locale=words.locale)


def say(text: str, /, **values: object) -> Message:
    """
    Make a message from a text and its values.

    Parameters
    ----------
    text : str
        English text with named places, ``%(name)s``.
    **values : object
        What goes into the places.

    Returns
    -------
    Message
        The sentence, not yet in any language.

    Examples
    --------
    >>> str(say("Row %(row)s is finished.", row="12"))
    'Row 12 is finished.'
    """
    return Message(text, MappingProxyType(values))


def say_n(singular: str, plural: str, count: int, /, **values: object) -> Message:
    """
    Make a message that depends on a number.

    Parameters
    ----------
    singular : str
        English text for one.
    plural : str
        English text for any other number.
    count : int
        The number; also available as ``%(count)s``.
    **values : object
        What goes into the other places.

    Returns
    -------
    Message
        The sentence, not yet in any language.

    Examples
    --------
    >>> str(say_n("%(count)s tree", "%(count)s trees", 3))
    '3 trees'
    """
    return Message(singular, MappingProxyType({"count": count, **values}), plural, count)


@dataclass(frozen=True)
class Words:
    """
    How one reader reads: language, region and units.

    Parameters
    ----------
    language : str
        Language code, ``"en"`` or ``"es"``.
    locale : str
        Locale of numbers and dates, such as ``"es_US"``.
    units : Units
        Units in which lengths are shown.
    gettext : Callable
        Translates one text.
    ngettext : Callable
        Translates a text that depends on a number.
    """

    language: str
    locale: str
    units: Units
    gettext: Callable[[str], str]
    ngettext: Callable[[str, str, int], str]

    def say(self, message: Message | str) -> str:
        """
        Put a message into this reader's words.

        Parameters
        ----------
        message : Message or str
            The message, or a text marked for translation.

        Returns
        -------
        str
            The sentence.
        """
        if isinstance(message, str):
            return self.gettext(message)
        if message.plural is None:
            pattern = self.gettext(message.text)
        else:
            pattern = self.ngettext(message.text, message.plural, message.count)
        return pattern % {name: self.show(value) for name, value in message.values.items()}

    def show(self, value: object) -> str:
        """
        Write one value the way this reader writes it.

        Parameters
        ----------
        value : object
            Text (left as it is), number, date, `Message` or `Readable`.

        Returns
        -------
        str
            The value in words.
        """
        if isinstance(value, Message):
            return self.say(value)
        if isinstance(value, Readable):
            return value.in_words(self)
        if isinstance(value, date):
            return format_date(value, "medium", locale=self.locale)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return format_decimal(value, locale=self.locale)
        return str(value)


ENGLISH: Final = Words(
    language="en",
    locale="en_US",
    units=Units.IMPERIAL,
    gettext=lambda text: text,
    ngettext=lambda singular, plural, count: singular if count == 1 else plural,
)
