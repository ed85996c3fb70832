"""Forms of the area: the reason of an amendment, and a rework that was done."""

from collections.abc import Sequence

from flask_babel import lazy_gettext
from wtforms import HiddenField, RadioField, SelectField, TextAreaField
from wtforms.validators import InputRequired

from audits.records import Crew
from audits.vocabulary import METHOD_NAMES, STRICTNESS_NAMES, Method, Strictness
from webapp.forms import BaseForm, MomentField, NumberField, as_choices


class AmendmentForm(BaseForm):
    """Why a score is changed; the answers themselves are read as on the tree screen."""

    reason = TextAreaField(
        lazy_gettext("Why is it changed?"),
        [InputRequired(lazy_gettext("Say why the score is changed."))],
        render_kw={"rows": 2},
    )


class ReworkForm(BaseForm):
    """Who mended the lot, when, and in how many hours."""

    crew_id = SelectField(
        lazy_gettext("Crew"), [InputRequired(lazy_gettext("Choose one."))], coerce=int
    )
    method = RadioField(
        lazy_gettext("Worked from"), [InputRequired(lazy_gettext("Choose one."))], coerce=Method
    )
    started_at = MomentField(lazy_gettext("Begun"))
    ended_at = MomentField(lazy_gettext("Ended"))
    hours = NumberField(lazy_gettext("Hours of all people together"), optional=True)

    def offer(self, crews: Sequence[Crew]) -> None:
        """Fill the choices in."""
        self.crew_id.choices = [(crew.id, crew.name) for crew in crews]
        self.method.choices = as_choices(METHOD_NAMES)


class BeginForm(BaseForm):
    """With how much certainty an audit is begun."""

    strictness = RadioField(
        lazy_gettext("How sure shall it be?"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=Strictness,
    )
    client_id = HiddenField()

    def offer(self, offered: Sequence[Strictness]) -> None:
        """Fill in the choices that this lot has."""
        self.strictness.choices = as_choices(
            {strictness: STRICTNESS_NAMES[strictness] for strictness in offered}
        )
