"""Forms of crews and workers."""

from collections.abc import Sequence

from flask_babel import gettext, lazy_gettext
from wtforms import BooleanField, RadioField, SelectField, StringField
from wtforms.validators import DataRequired, InputRequired

from audits.records import Crew
from webapp.forms import BaseForm, DayField, choices_of
from webapp.reading import LANGUAGE_NAMES


class CrewForm(BaseForm):
    """A crew."""

    name = StringField(
        lazy_gettext("Name of the crew"), [DataRequired(lazy_gettext("Give the crew a name."))]
    )


class ChangedCrewForm(CrewForm):
    """A crew that is there already."""

    retired = BooleanField(lazy_gettext("No longer here: keep its records, offer it no more"))


class WorkerForm(BaseForm):
    """A worker."""

    code = StringField(
        lazy_gettext("Code"),
        [DataRequired(lazy_gettext("Give the worker a code."))],
        render_kw={"autocomplete": "off"},
    )
    name = StringField(
        lazy_gettext("Name"),
        [DataRequired(lazy_gettext("Give the worker's name."))],
        render_kw={"autocomplete": "off"},
    )
    language = RadioField(
        lazy_gettext("Language"),
        [InputRequired(lazy_gettext("Choose one."))],
        choices=choices_of(LANGUAGE_NAMES),
    )
    crew_id = SelectField(lazy_gettext("Crew"), coerce=lambda text: int(text) if text else None)
    started_on = DayField(lazy_gettext("First day of work"), optional=True)

    def offer(self, crews: Sequence[Crew]) -> None:
        """Fill the choices in."""
        self.crew_id.choices = choices_of(
            [("", gettext("No crew")), *((crew.id, crew.name) for crew in crews)]
        )


class ChangedWorkerForm(WorkerForm):
    """A worker who is there already; an empty name erases it."""

    name = StringField(lazy_gettext("Name"), render_kw={"autocomplete": "off"})
    retired = BooleanField(lazy_gettext("No longer here: keep the records, offer them no more"))
