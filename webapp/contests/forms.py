"""Forms of the area: why somebody disagrees, and why an answer is as it is."""

from flask_babel import lazy_gettext
from wtforms import TextAreaField
from wtforms.validators import InputRequired

from webapp.forms import BaseForm


class WordsForm(BaseForm):
    """Free words of whoever disagrees."""

    words = TextAreaField(lazy_gettext("Why do you disagree?"), render_kw={"rows": 4})


class AnswerForm(BaseForm):
    """The reason of an answer, which the worker reads."""

    reason = TextAreaField(
        lazy_gettext("Your reason"),
        [InputRequired(lazy_gettext("Write a reason. The worker reads it."))],
        render_kw={"rows": 3},
    )
