"""What people enter, looked through field by field before anything is saved."""

from datetime import date
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Message, say
from audits.units import Length

LONGEST_NAME: Final = 80
LONGEST_TEXT: Final = 400

# Apples have stood on dwarfing rootstocks for about a century.
_EARLIEST_YEAR: Final = 1900
_LATEST_YEAR: Final = 2100


def squeezed(text: str) -> str:
    r"""
    Return a text with single blanks, without control characters.

    Parameters
    ----------
    text : str
        As typed.

    Returns
    -------
    str
        What is kept and compared.

    Examples
    --------
    >>> squeezed("  Creek \t Block ")
    'Creek Block'
    """
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


class Entries:
    """
    Collects one sentence for each field at fault, so that a person can mend all of them at once.

    Attributes
    ----------
    problems : dict of str to Message
        The sentences so far, by field name.
    """

    def __init__(self) -> None:
        self.problems: dict[str, Message] = {}

    def add(self, field: str, sentence: Message) -> None:
        """
        Note a problem; the first at a field stays.

        Parameters
        ----------
        field : str
            Name of the form's field.
        sentence : Message
            What is wrong and what to do.
        """
        self.problems.setdefault(field, sentence)

    def text(
        self,
        field: str,
        value: str,
        *,
        missing: Message | None = None,
        longest: int = LONGEST_NAME,
    ) -> str:
        """
        Look through a text.

        Parameters
        ----------
        field : str
            Name of the form's field.
        value : str
            As typed.
        missing : Message or None, optional
            What to say when it is empty; None lets it be empty.
        longest : int, optional
            Most characters.

        Returns
        -------
        str
            The text without blanks around it and with single blanks inside.
        """
        text = squeezed(value)
        if not text and missing is not None:
            self.add(field, missing)
        if len(text) > longest:
            self.add(field, say("Use at most %(longest)s characters.", longest=longest))
        return text

    def whole(self, field: str, value: int | None, *, least: int, most: int) -> None:
        """
        Look through a whole number.

        Parameters
        ----------
        field : str
            Name of the form's field.
        value : int or None
            The number; None is taken as "not known".
        least, most : int
            The range that makes sense, both ends included.
        """
        if value is not None and not least <= value <= most:
            # As text: years and row numbers carry no thousands mark.
            self.add(
                field,
                say("Must be from %(least)s to %(most)s.", least=str(least), most=str(most)),
            )

    def year(self, field: str, year: int | None, today: date | None = None) -> None:
        """
        Look through the year in which something was planted.

        Parameters
        ----------
        field : str
            Name of the form's field.
        year : int or None
            The year; None is taken as "not known".
        today : date or None, optional
            The present day, to refuse a year still to come.
        """
        self.whole(field, year, least=_EARLIEST_YEAR, most=today.year if today else _LATEST_YEAR)

    def length(self, field: str, mm: float | None, *, least_mm: float, most_mm: float) -> None:
        """
        Look through a length.

        Parameters
        ----------
        field : str
            Name of the form's field.
        mm : float or None
            The length in mm; None is taken as "not known".
        least_mm, most_mm : float
            The range that makes sense, both ends included.
        """
        if mm is not None and not least_mm <= mm <= most_mm:
            self.add(
                field,
                say(
                    "Must be from %(least)s to %(most)s.",
                    least=Length(least_mm),
                    most=Length(most_mm),
                ),
            )

    def stop_if_any(self) -> None:
        """
        Refuse the entries when a problem was found.

        Raises
        ------
        InvalidInput
            If there is any problem; it carries them all.
        """
        if self.problems:
            raise InvalidInput(self.problems)
