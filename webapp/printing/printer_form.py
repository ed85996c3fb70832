"""A printer as it is entered."""

import re
from typing import Any, Final

from babel.numbers import format_decimal
from flask_babel import gettext, lazy_gettext
from wtforms import BooleanField, RadioField, StringField
from wtforms.validators import InputRequired
from wtforms.widgets import TextInput

from audits.vocabulary import TURNED_OVER_NAMES, TurnedOver
from webapp.forms import BaseForm, NumberField, as_choices
from webapp.reading import words

# The minus of a keyboard, and the one that phones and word processors put in its place.
_OFFSET: Final = re.compile(r"[+\-\u2212]?[0-9]{1,3}(?:[.,][0-9]{1,2})?")


class OffsetField(NumberField):
    """A length in mm that may lie below zero, as the test page shows it; empty is zero."""

    # Number keyboards of phones have no minus.
    widget = TextInput()

    def read(self, text: str) -> float:
        """Return the length."""
        if not _OFFSET.fullmatch(text):
            raise ValueError(gettext("Write a figure as the scale shows it, such as 1.5 or -0.5."))
        return float(text.replace(",", ".").replace("\N{MINUS SIGN}", "-"))

    def written(self, value: float) -> str:
        """Return the length with the decimal mark of the reader."""
        return str(format_decimal(value, "0.##", locale=words().locale))


class PrinterForm(BaseForm):
    """A printer that is new."""

    name = StringField(lazy_gettext("Name"), [InputRequired()])
    turned_over = RadioField(
        lazy_gettext("On both sides it turns the sheet"),
        [InputRequired()],
        default=str(TurnedOver.LONG_EDGE),
        choices=lambda: as_choices(TURNED_OVER_NAMES),
    )

    def entered(self, *left_out: str) -> dict[str, Any]:
        """Return the values as the service takes them."""
        values = super().entered(*left_out)
        return values | {"turned_over": TurnedOver(values["turned_over"])}


class ChangedPrinterForm(PrinterForm):
    """A printer with its correction."""

    back_right_mm = OffsetField(lazy_gettext("To the right"), optional=True)
    back_down_mm = OffsetField(lazy_gettext("Downwards"), optional=True)
    retired = BooleanField(lazy_gettext("Not used any more"))

    def entered(self, *left_out: str) -> dict[str, Any]:
        """Return the values as the service takes them."""
        values = super().entered(*left_out, "retired")
        return values | {
            "back_right_mm": values["back_right_mm"] or 0.0,
            "back_down_mm": values["back_down_mm"] or 0.0,
        }
