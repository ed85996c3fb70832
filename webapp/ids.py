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
        From 0 to `LARGEST_ID`.

    Raises
    ------
    ValueError
        If it is no such number; the request then counts as without it.
    """
    is_whole = text.isascii() and text.isdecimal() and len(text) <= len(str(LARGEST_ID))
    if not is_whole or int(text) > LARGEST_ID:
        raise ValueError(f"no record has the number {text!r}")
    return int(text)
