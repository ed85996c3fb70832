"""Forms of learning: who holds the phone, the password that takes it back, and a brief."""

from collections.abc import Iterable
from datetime import date
from typing import Any, Final, cast

from flask_babel import lazy_gettext
from wtforms import PasswordField, RadioField, SelectField
from wtforms.validators import DataRequired, InputRequired

from audits.records import Worker
from audits.vocabulary import METHOD_NAMES, Method
from webapp.coaching.forms import PeopleField
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, DayField, as_choices, choices_of
from webapp.reading import LANGUAGE_NAMES

_CHOOSE: Final = lazy_gettext("Choose one.")
# Each person hears the brief in the language that stands beside their name.
OWN_LANGUAGE: Final = "own"


class HandOverForm(BaseForm):
    """Who holds the phone next."""

    worker_id = SelectField(lazy_gettext("Hand it to"), coerce=int)

    def offer(self, workers: Iterable[Worker]) -> None:
        """Offer these people."""
        self.worker_id.choices = choices_of((worker.id, name_of(worker)) for worker in workers)

    def chosen(self) -> int:
        """Return the person's id."""
        return cast("int", self.worker_id.data)


class GiveBackForm(BaseForm):
    """The crew lead's password."""

    password = PasswordField(
        lazy_gettext("Password"), [DataRequired()], render_kw={"autocomplete": "current-password"}
    )


class BriefForm(BaseForm):
    """A safety brief of one person or several."""

    method = RadioField(lazy_gettext("Method"), [InputRequired(_CHOOSE)], coerce=Method)
    held_on = DayField(lazy_gettext("Day"))
    worker_ids = PeopleField(
        lazy_gettext("Who was there"),
        [InputRequired(lazy_gettext("Choose who was there."))],
        coerce=int,
    )
    language = RadioField(lazy_gettext("In which language"), [InputRequired(_CHOOSE)])

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.method.choices = as_choices(METHOD_NAMES)
        own = (OWN_LANGUAGE, str(lazy_gettext("Each person's own")))
        self.language.choices = choices_of([own, *LANGUAGE_NAMES])

    def offer(self, workers: Iterable[Worker]) -> None:
        """Offer these people."""
        self.worker_ids.choices = choices_of((worker.id, name_of(worker)) for worker in workers)

    def day(self) -> date:
        """Return the day of the brief."""
        return cast("date", self.held_on.data)
