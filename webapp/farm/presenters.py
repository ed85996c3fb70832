"""The farm's settings and accounts as its pages show them."""

from collections.abc import Iterable
from dataclasses import dataclass

from babel import Locale
from babel.dates import get_month_names
from flask_babel import gettext, ngettext

from audits.records import Farm, User, Worker
from audits.vocabulary import ROLE_NAMES
from webapp.farm.forms import UNITS_NAMES, pass_mark_words
from webapp.reading import LANGUAGE_NAMES, words


@dataclass(frozen=True)
class PersonLine:
    """A person who can sign in, or could."""

    id: int
    name: str
    role: str
    language: str
    worker: str | None
    closed: bool


def settings_lines(farm: Farm) -> list[tuple[str, str]]:
    """Return each setting's name and value."""
    reader = words()
    months = get_month_names("wide", context="stand-alone", locale=reader.locale)
    territories = Locale.parse(reader.locale).territories
    return [
        (gettext("Lengths are read in"), reader.say(UNITS_NAMES[farm.units])),
        (gettext("Country"), territories.get(farm.region, farm.region)),
        (gettext("First language"), dict(LANGUAGE_NAMES).get(farm.language, farm.language)),
        (gettext("Time zone"), farm.time_zone.replace("_", " ")),
        (gettext("The season starts in"), months[farm.season_start_month]),
        (gettext("Your word for a row"), farm.row_word or "-"),
        (gettext("Where an ambulance is sent"), farm.emergency_location or "-"),
        (gettext("First-aider"), farm.first_aider or "-"),
        (gettext("A quiz is passed with"), pass_mark_words(farm.quiz_pass_mark)),
        (
            gettext("A safety brief holds for"),
            ngettext("%(num)s day", "%(num)s days", farm.briefing_days),
        ),
    ]


def people_rows(people: Iterable[User], workers: Iterable[Worker]) -> list[PersonLine]:
    """Return who can sign in, by name, then whose accounts are closed."""
    codes = {worker.id: f"{worker.code} {worker.name}".strip() for worker in workers}
    languages = dict(LANGUAGE_NAMES)
    lines = [
        PersonLine(
            id=person.id,
            name=person.name,
            role=words().say(ROLE_NAMES[person.role]),
            language=languages.get(person.language, person.language),
            worker=None if person.worker_id is None else codes.get(person.worker_id),
            closed=person.disabled_at is not None,
        )
        for person in people
    ]
    return sorted(lines, key=lambda line: line.closed)
