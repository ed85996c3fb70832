"""The check of a batch's scale, as it is entered."""

from typing import Any

from flask_babel import lazy_gettext
from wtforms import RadioField
from wtforms.validators import InputRequired

from audits.vocabulary import CHECK_OCCASION_NAMES, CheckOccasion
from webapp.forms import BaseForm, NumberField, as_choices, choices_of

FITS, DOES_NOT_FIT = "yes", "no"


class CheckForm(BaseForm):
    """What a bank card and a steel rule said of a batch."""

    occasion = RadioField(
        lazy_gettext("When is it checked"),
        [InputRequired()],
        default=str(CheckOccasion.PRINTED),
        choices=lambda: as_choices(CHECK_OCCASION_NAMES),
    )
    card_fits = RadioField(
        lazy_gettext("Lay a bank card on the frames. Do all four edges lie between the lines?"),
        [InputRequired(lazy_gettext("Choose yes or no."))],
        choices=lambda: choices_of(
            [
                (FITS, lazy_gettext("Yes, all four")),
                (DOES_NOT_FIT, lazy_gettext("No")),
            ]
        ),
    )
    across_mm = NumberField(lazy_gettext("Bar that lies, by a steel rule"), optional=True)
    down_mm = NumberField(lazy_gettext("Bar that stands, by a steel rule"), optional=True)

    def entered(self, *left_out: str) -> dict[str, Any]:
        """Return the values as the service takes them."""
        values = super().entered(*left_out)
        return values | {
            "occasion": CheckOccasion(values["occasion"]),
            "card_fits": values["card_fits"] == FITS,
        }
