"""The form that retires an item."""

from flask_babel import lazy_gettext
from wtforms import TextAreaField
from wtforms.validators import DataRequired

from webapp.forms import BaseForm


class RetireForm(BaseForm):
    """Why an item is not to be asked any more."""

    reason = TextAreaField(
        lazy_gettext("Reason"),
        [DataRequired(lazy_gettext("Say why, in a few words."))],
        description=lazy_gettext("Others will read it here."),
    )
