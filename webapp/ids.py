"""Numbers of records in addresses and forms: whole, and no larger than a database can hold."""

from typing import Final

from werkzeug.routing import IntegerConverter, Map

LARGEST_ID: Final = 2**31 - 1


class RecordId(IntegerConverter):
    """A record's number in an address; a larger one is no page."""

    def __init__(self, rules: Map) -> None:
        super().__init__(rules, max=LARGEST_ID)


def record_id(text: str) -> int:
    """
    Read a record's number, as the `type` of what a request holds.

    Parameters
    ----------
    text : str
        What was sent.

    Returns
    -------
    int
        At most `LARGEST_ID`; 0, which no record has, for any other number.

    Raises
    ------
    ValueError
        If it is no whole number; the request then counts as without it.
    """
    if not (text.isascii() and text.removeprefix("-").isdecimal()):
        raise ValueError(f"no whole number: {text!r}")
    is_short = len(text) <= len(str(LARGEST_ID))
    return int(text) if is_short and 0 <= int(text) <= LARGEST_ID else 0
