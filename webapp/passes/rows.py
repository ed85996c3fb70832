"""Rows by their numbers: read as people write them, and written the way people read them."""

import re
from collections.abc import Collection, Iterable, Sequence
from typing import Final

from flask_babel import gettext
from wtforms import SelectMultipleField, StringField
from wtforms.validators import ValidationError
from wtforms.widgets import CheckboxInput, ListWidget

from audits.planting import ranges_of
from audits.records import Row
from webapp.extensions import farm
from webapp.reading import words

_RANGE: Final = re.compile(r"(?P<first>\d{1,4})(?:-(?P<last>\d{1,4}))?")
_TO: Final = re.compile(r"\s*(?:[-\u2013\u2014]|\b(?:to|through|al?|hasta)\b)\s*")
_BETWEEN: Final = re.compile(r"[\s,;]+(?:(?:and|y)\s+)?")
_LEADING_WORD: Final = re.compile(r"^\s*[^\W\d]+\.?\s+(?=\d)")
# More than any block has; a typed 1-9999 must not make ten thousand rows.
_MOST_ROWS: Final = 1_000


class RowNumbersField(StringField):
    """Rows typed by number, such as ``12-30, 34``; its data are the numbers in that order."""

    def _value(self) -> str:
        return str(self.raw_data[0]) if self.raw_data else ""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read the text; what cannot be read keeps its text and says why."""
        self.data: tuple[int, ...] = ()
        numbers = read_row_numbers(valuelist[0]) if valuelist else ()
        if numbers is None:
            raise ValueError(gettext("Write rows by their numbers, such as 12-30 or 4, 7, 9-12."))
        self.data = numbers


class RowTilesField(SelectMultipleField):
    """Rows to tick, each a tile with its number; its data are their ids."""

    widget = ListWidget(prefix_label=False)
    option_widget = CheckboxInput()

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read the ids."""
        try:
            self.data = [int(value) for value in valuelist]
        except ValueError as error:
            raise ValueError(_not_offered()) from error

    def pre_validate(self, _form: object) -> None:
        """Take rows that are on offer only."""
        offered = {int(value) for value, *_ in self.iter_choices()}
        if not offered.issuperset(self.data or []):
            raise ValidationError(_not_offered())


def _not_offered() -> str:
    return str(gettext("Choose among the rows shown now. Some may be finished meanwhile."))


def read_row_numbers(text: str) -> tuple[int, ...] | None:
    """
    Return the row numbers of a text, each once, or None if it cannot be read.

    A range that runs down keeps its order: the crew begins at its first number.
    """
    plain = _TO.sub("-", _LEADING_WORD.sub("", text.lower()).strip())
    numbers: dict[int, None] = {}
    for part in filter(None, _BETWEEN.split(plain)):
        found = _RANGE.fullmatch(part)
        if found is None:
            return None
        first = int(found["first"])
        last = int(found["last"] or first)
        step = 1 if first <= last else -1
        numbers.update(dict.fromkeys(range(first, last + step, step)))
        if len(numbers) > _MOST_ROWS:
            return None
    return tuple(numbers)


def chosen_row_ids(
    numbers: Sequence[int], ticked: Collection[int], rows: Iterable[Row]
) -> list[int]:
    """Return the rows typed, in that order, then those ticked besides."""
    ids = {row.number: row.id for row in rows}
    typed = [ids[number] for number in numbers if number in ids]
    return list(dict.fromkeys([*typed, *ticked]))


def unknown_row_numbers(numbers: Iterable[int], rows: Iterable[Row]) -> list[int]:
    """Return the numbers that none of these rows has."""
    known = {row.number for row in rows}
    return [number for number in numbers if number not in known]


def number_ranges(numbers: Sequence[int]) -> str:
    """Return row numbers in order, neighbours joined, such as ``4, 7, 9-12``."""
    return ", ".join(
        str(span.first) if span.first == span.last else f"{span.first}-{span.last}"
        for span in ranges_of(numbers)
    )


def row_words(number: int) -> str:
    """Return a row by its number, with the farm's own word for a row where it has one."""
    own_word = farm().row_word
    if own_word and words().language != "en":
        return f"{own_word[:1].upper()}{own_word[1:]} {number}"
    return str(gettext("Row %(number)s", number=number))


def rows_words(numbers: Sequence[int]) -> str:
    """Return rows by their numbers, neighbours joined."""
    if len(numbers) == 1:
        return row_words(numbers[0])
    return str(gettext("Rows %(numbers)s", numbers=number_ranges(numbers)))
