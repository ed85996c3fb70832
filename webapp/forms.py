"""Parts that every form shares: lengths as people write them, and problems put at their field."""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from babel.numbers import format_decimal
from flask_babel import gettext, lazy_gettext
from flask_wtf import FlaskForm
from wtforms import Field, FormField, PasswordField, StringField, TextAreaField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import StopValidation
from wtforms.widgets import DateInput, DateTimeLocalInput, NumberInput

from audits.errors import InvalidInput
from audits.messages import Message, Units
from audits.units import LengthError, LengthKind, LengthUnit, parse_length, write_length
from webapp.extensions import farm
from webapp.reading import words

_NUMBER: Final = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,6})?")
# Browsers may add the seconds, which nobody asked for.
_MOMENT: Final = re.compile(r"(?P<minute>\d{4}-\d\d-\d\d[T ]\d\d:\d\d)(?::\d\d(?:\.\d+)?)?")
_TEXT_FIELDS: Final = (StringField, PasswordField, TextAreaField)
_MOST_DIGITS: Final = 6
_EARLIEST_YEAR: Final = 1900
_LATEST_YEAR: Final = 2100


class BaseForm(FlaskForm):
    """A form that takes problems found by a service and shows them at their fields."""

    def entered(self, *left_out: str) -> dict[str, Any]:
        """Return the values by field name, as a service takes them; text is never None."""
        return {
            name: "" if field.data is None and type(field) in _TEXT_FIELDS else field.data
            for name, field in self._fields.items()
            if name != "csrf_token" and name not in left_out
        }

    def add_problems(self, problems: InvalidInput) -> None:
        """Put each sentence at its field; a field that this form does not have shows on top."""
        for name, message in problems.problems.items():
            sentence = words().say(message)
            field = self._field_named(name)
            if field is None:
                self.form_errors.append(sentence)
            else:
                field.errors = [*field.errors, sentence]

    def _field_named(self, dotted_name: str) -> Field | None:
        """Return the field of a dotted name; parts without a field of their own are passed over."""
        fields, found = self._fields, None
        for part in dotted_name.split("."):
            if part in fields:
                found = fields[part]
                fields = found.form._fields if isinstance(found, FormField) else {}
        return None if isinstance(found, FormField) else found


class LengthField(StringField):
    """A length typed the way people write it; its data are millimetres, or None when empty."""

    def __init__(
        self,
        label: object = None,
        validators: Iterable[Any] | None = None,
        *,
        length_kind: LengthKind = LengthKind.HEIGHT,
        bare_unit: LengthUnit | None = None,
        zero_allowed: bool = False,
        optional: bool = False,
        **kwargs: Any,  # noqa: ANN401 - handed on to WTForms
    ) -> None:
        super().__init__(label, validators, **kwargs)
        if not optional:
            self.flags.required = True
        self.length_kind = length_kind
        self.bare_unit = bare_unit
        self.zero_allowed = zero_allowed
        self.optional = optional

    def _value(self) -> str:
        if self.raw_data:
            return str(self.raw_data[0])
        if self.data is None:
            return ""
        return _entered_length(self.data, self.length_kind)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read the text; what cannot be read keeps its text and says why."""
        self.data = None
        text = valuelist[0] if valuelist else ""
        if not text.strip() and self.optional:
            return
        try:
            self.data = parse_length(
                text,
                farm().units,
                kind=self.length_kind,
                bare_unit=self.bare_unit,
                zero_allowed=self.zero_allowed,
            )
        except LengthError as error:
            raise ValueError(words().say(error.message)) from error

    def pre_validate(self, _form: object) -> None:
        """Ask for a length that is needed but missing from the form altogether."""
        if self.data is None and not self.optional and not self.process_errors:
            raise StopValidation(str(lazy_gettext("Fill in this length.")))


def _entered_length(mm: float, kind: LengthKind) -> str:
    """Write a length so that it reads back as it is, and no finer than a tape is marked."""
    locale = words().locale
    text = write_length(mm, farm().units, kind=kind, locale=locale)
    finer_than_a_tape = text.endswith(" in") and not text.removesuffix(" in").isdecimal()
    if finer_than_a_tape and "/" not in text and " ft" not in text:
        return write_length(mm, Units.METRIC, kind=kind, locale=locale)
    return text


class _Typed(StringField):
    """One line of text that is read into a value; empty is None where that is allowed."""

    missing = lazy_gettext("Fill this in.")

    def __init__(
        self,
        label: object = None,
        validators: Iterable[Any] | None = None,
        *,
        optional: bool = False,
        **kwargs: Any,  # noqa: ANN401 - handed on to WTForms
    ) -> None:
        super().__init__(label, validators, **kwargs)
        self.optional = optional
        if not optional:
            self.flags.required = True

    def _value(self) -> str:
        if self.raw_data:
            return str(self.raw_data[0])
        return "" if self.data is None else self.written(self.data)

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read the text; what cannot be read keeps its text and says why."""
        text = valuelist[0].strip() if valuelist else ""
        self.data = self.read(text) if text else None

    def pre_validate(self, _form: object) -> None:
        """Ask for a value that is needed."""
        if self.data is None and not self.optional and not self.process_errors:
            raise StopValidation(str(self.missing))

    def read(self, text: str) -> Any:  # noqa: ANN401 - each field has its own kind of value
        """Return the value of a text; a ValueError carries the sentence for the person."""
        raise NotImplementedError

    def written(self, value: Any) -> str:  # noqa: ANN401 - as above
        """Return a value as people type it."""
        return str(value)


class WholeNumberField(_Typed):
    """A whole number, not below zero."""

    widget = NumberInput()
    missing = lazy_gettext("Fill in this number.")

    def read(self, text: str) -> int:
        """Return the number."""
        if not (text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS):
            raise ValueError(gettext("Write a whole number, such as 12."))
        return int(text)


class NumberField(_Typed):
    """A number not below zero, with a decimal point or comma."""

    widget = NumberInput(step="any")
    missing = lazy_gettext("Fill in this number.")

    def read(self, text: str) -> float:
        """Return the number."""
        if not _NUMBER.fullmatch(text):
            raise ValueError(gettext("Write a number, such as 1.5."))
        return float(text.replace(",", "."))

    def written(self, value: float) -> str:
        """Return the number with the decimal mark of the reader."""
        return str(format_decimal(value, "0.####", locale=words().locale))


class PercentField(NumberField):
    """A ratio that people type as a percentage."""

    missing = lazy_gettext("Fill in this percentage.")

    def read(self, text: str) -> float:
        """Return the ratio."""
        number = text.removesuffix("%").strip()
        if not _NUMBER.fullmatch(number):
            raise ValueError(gettext("Write a percentage, such as 5."))
        # Rounded, so that 5 % is stored as 0.05 and not as a neighbour of it.
        return round(float(number.replace(",", ".")) / 100, 6)

    def written(self, value: float) -> str:
        """Return the percentage without its mark, which stands beside the entry."""
        return super().written(value * 100)


class DayField(_Typed):
    """A day, picked or typed as year, month and day."""

    widget = DateInput()
    missing = lazy_gettext("Fill in this day.")

    def read(self, text: str) -> date:
        """Return the day."""
        try:
            day = date.fromisoformat(text)
        except ValueError as error:
            sentence = gettext("Write the day as year-month-day, such as 2026-01-20.")
            raise ValueError(sentence) from error
        if not _EARLIEST_YEAR <= day.year <= _LATEST_YEAR:
            raise ValueError(gettext("Check the year of this day."))
        return day


class MomentField(_Typed):
    """
    A day and a time on the farm's clock; its data are the instant, in UTC.

    Of the two instants that a time has when clocks are put back, it is the first.
    """

    widget = DateTimeLocalInput()
    missing = lazy_gettext("Fill in day and time.")

    def read(self, text: str) -> datetime:
        """Return the instant."""
        found = _MOMENT.fullmatch(text)
        try:
            moment = datetime.fromisoformat(found["minute"] if found else "")
        except ValueError as error:
            sentence = gettext("Write day and time as 2026-01-20 14:30.")
            raise ValueError(sentence) from error
        if not _EARLIEST_YEAR <= moment.year <= _LATEST_YEAR:
            raise ValueError(gettext("Check the year of this day."))
        zone = ZoneInfo(farm().time_zone)
        instant = moment.replace(tzinfo=zone).astimezone(UTC)
        if instant.astimezone(zone).replace(tzinfo=None) != moment:
            raise ValueError(
                gettext("Clocks are put forward that day and skip this time. Write another time.")
            )
        return instant

    def written(self, value: datetime) -> str:
        """Return the moment as the browser's own entry takes it."""
        return f"{value.astimezone(ZoneInfo(farm().time_zone)):%Y-%m-%dT%H:%M}"


def as_choices(names: dict[Any, str]) -> list[SelectChoice]:
    """Return a vocabulary's members with their names in the reader's language."""
    return choices_of((member, words().say(name)) for member, name in names.items())


def choices_of(pairs: Iterable[tuple[object, str]]) -> list[SelectChoice]:
    """Return choices from pairs of value and name."""
    return [SelectChoice(str(value), name) for value, name in pairs]


def message_text(message: Message | str) -> str:
    """Return a message in the reader's language."""
    return words().say(message)


def first_error(field: Field) -> str | None:
    """Return the first sentence at a field."""
    return str(field.errors[0]) if field.errors else None
