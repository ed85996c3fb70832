"""The sign-in form."""

from flask_babel import lazy_gettext
from wtforms import PasswordField, StringField
from wtforms.validators import DataRequired

from webapp.forms import BaseForm


class SignInForm(BaseForm):
    """Name and password."""

    name = StringField(
        lazy_gettext("Sign-in name"), [DataRequired()], render_kw={"autocomplete": "username"}
    )
    password = PasswordField(
        lazy_gettext("Password"), [DataRequired()], render_kw={"autocomplete": "current-password"}
    )
