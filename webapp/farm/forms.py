"""Forms of the farm's settings and of the people who can sign in."""

from collections.abc import Sequence
from typing import Any
from zoneinfo import available_timezones

from babel import Locale
from babel.dates import get_month_names
from flask_babel import gettext, lazy_gettext
from wtforms import PasswordField, RadioField, SelectField, StringField
from wtforms.validators import DataRequired, InputRequired

from audits.messages import Units, mark
from audits.quizzes import QUESTIONS
from audits.records import Worker
from audits.services.farms import LEAST_PASS_MARK
from audits.vocabulary import ROLE_NAMES, Role
from webapp.forms import BaseForm, WholeNumberField, as_choices, choices_of
from webapp.quizzes.chances import guessing_span
from webapp.reading import LANGUAGE_NAMES, words

UNITS_NAMES = {
    Units.IMPERIAL: mark("Feet and inches"),
    Units.METRIC: mark("Meters, centimeters and millimeters"),
}
_CODE_LENGTH = 2


class FarmForm(BaseForm):
    """Name, units, region and season of the farm, and where help is."""

    name = StringField(
        lazy_gettext("Name of the farm"), [DataRequired(lazy_gettext("Give the farm a name."))]
    )
    units = RadioField(
        lazy_gettext("Lengths are read in"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=Units,
    )
    region = SelectField(lazy_gettext("Country"), [InputRequired(lazy_gettext("Choose one."))])
    language = RadioField(
        lazy_gettext("First language"),
        [InputRequired(lazy_gettext("Choose one."))],
        choices=choices_of(LANGUAGE_NAMES),
    )
    time_zone = SelectField(lazy_gettext("Time zone"), [InputRequired(lazy_gettext("Choose one."))])
    season_start_month = SelectField(
        lazy_gettext("The season starts in"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=int,
    )
    row_word = StringField(lazy_gettext("Your word for a row"))
    emergency_location = StringField(lazy_gettext("Where an ambulance is sent"))
    first_aider = StringField(lazy_gettext("First-aider"))
    quiz_pass_mark = RadioField(
        lazy_gettext("A quiz is passed with"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=int,
    )
    briefing_days = WholeNumberField(lazy_gettext("A safety brief holds for"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.units.choices = as_choices(UNITS_NAMES)
        self.region.choices = choices_of(_countries())
        self.time_zone.choices = choices_of(
            (zone, zone.replace("_", " ")) for zone in sorted(available_timezones())
        )
        months = get_month_names("wide", context="stand-alone", locale=words().locale)
        self.season_start_month.choices = choices_of(months.items())
        self.quiz_pass_mark.choices = choices_of(
            (mark, pass_mark_words(mark)) for mark in range(LEAST_PASS_MARK, QUESTIONS + 1)
        )

    def chances(self) -> dict[str, str]:
        """Return for each pass mark what guessing alone would come to."""
        return {str(mark): guessing_span(mark) for mark in range(LEAST_PASS_MARK, QUESTIONS + 1)}


class UserForm(BaseForm):
    """Who signs in, what they may see, and the language they read."""

    name = StringField(
        lazy_gettext("Sign-in name"),
        [DataRequired(lazy_gettext("Give a sign-in name."))],
        render_kw={"autocomplete": "off"},
    )
    role = RadioField(
        lazy_gettext("Role"), [InputRequired(lazy_gettext("Choose one."))], coerce=Role
    )
    worker_id = SelectField(
        lazy_gettext("Whose records a worker sees"),
        coerce=lambda text: int(text) if text else None,
    )
    language = RadioField(
        lazy_gettext("Language"),
        [InputRequired(lazy_gettext("Choose one."))],
        choices=choices_of(LANGUAGE_NAMES),
    )

    def offer(self, workers: Sequence[Worker]) -> None:
        """Fill the choices in."""
        self.role.choices = as_choices(ROLE_NAMES)
        self.worker_id.choices = choices_of(
            [
                ("", "-"),
                *((worker.id, f"{worker.code} {worker.name}".strip()) for worker in workers),
            ]
        )


class NewUserForm(UserForm):
    """A person who gets a first password."""

    password = PasswordField(
        lazy_gettext("Password"),
        [InputRequired(lazy_gettext("Give a password."))],
        render_kw={"autocomplete": "new-password"},
    )


class ChangedUserForm(UserForm):
    """A person who has a password and may get a new one."""

    password = PasswordField(
        lazy_gettext("New password"), render_kw={"autocomplete": "new-password"}
    )


def pass_mark_words(pass_mark: int) -> str:
    """Return a pass mark as people say it."""
    return str(gettext("%(mark)s of %(total)s right", mark=pass_mark, total=QUESTIONS))


def _countries() -> list[tuple[str, str]]:
    """Return the countries by their names in the reader's language."""
    territories = Locale.parse(words().locale).territories
    names = [
        (code, name)
        for code, name in territories.items()
        if len(code) == _CODE_LENGTH and code.isalpha() and code != "ZZ"
    ]
    return sorted(names, key=lambda country: country[1])
