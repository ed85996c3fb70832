"""The form that retires an item."""

from flask_babel import lazy_gettext
from wtforms import TextAreaField

from webapp.forms import BaseForm


class RetireForm(BaseForm):
    """Why an item is not to be asked any more."""

    reason = TextAreaField(
        lazy_gettext("Reason"), description=lazy_gettext("Others will read it here.")
    )
