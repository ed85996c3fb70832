"""Parts that every form shares: lengths as people write them, and problems put at their field."""

from collections.abc import Iterable
from typing import Any

from flask_babel import lazy_gettext
from flask_wtf import FlaskForm
from wtforms import Field, StringField
from wtforms.validators import StopValidation

from audits.errors import InvalidInput
from audits.messages import Message
from audits.units import LengthError, LengthKind, LengthUnit, parse_length, write_length
from webapp.extensions import farm
from webapp.reading import words


class BaseForm(FlaskForm):
    """A form that takes problems found by a service and shows them at their fields."""

    def add_problems(self, problems: InvalidInput) -> None:
        """Put each sentence at its field; a field that this form does not have shows on top."""
        for name, message in problems.problems.items():
            sentence = words().say(message)
            field = self._fields.get(name.replace(".", "-")) or self._fields.get(
                name.split(".")[-1]
            )
            if field is None:
                self.form_errors.append(sentence)
            else:
                field.errors = [*field.errors, sentence]


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
        self.length_kind = length_kind
        self.bare_unit = bare_unit
        self.zero_allowed = zero_allowed
        self.optional = optional

    def _value(self) -> str:
        if self.raw_data:
            return str(self.raw_data[0])
        if self.data is None:
            return ""
        return write_length(self.data, farm().units, kind=self.length_kind, locale=words().locale)

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


def as_choices(names: dict[Any, str]) -> list[tuple[str, str]]:
    """Return a vocabulary's members with their names in the reader's language."""
    return [(str(member), words().say(name)) for member, name in names.items()]


def message_text(message: Message | str) -> str:
    """Return a message in the reader's language."""
    return words().say(message)


def first_error(field: Field) -> str | None:
    """Return the first sentence at a field."""
    return str(field.errors[0]) if field.errors else None
