"""How the reader of this page reads: language, region, units and time zone."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.support import NullTranslations, Translations
from flask import Flask, g, request, session
from flask_babel import force_locale, get_translations

from audits.messages import Message, Units, Words
from audits.records import Farm
from audits.services.accounts import LANGUAGES
from webapp.extensions import babel, farm

CATALOGUES = Path(__file__).parent / "translations"
LANGUAGE_NAMES = (("en", "English"), ("es", "Español"))


def words() -> Words:
    """Return the words of the reader of this page."""
    found = farm()
    translations = get_translations()
    return Words(
        language=chosen_language(),
        locale=locale_name(chosen_language(), found.region),
        units=found.units,
        gettext=translations.ugettext,
        ngettext=translations.ungettext,
    )


def words_in(language: str, *, region: str, units: Units) -> Words:
    """Return the words of a language without a page, for paper and for the command line."""
    translations: NullTranslations = Translations.load(str(CATALOGUES), [language])
    return Words(
        language=language,
        locale=locale_name(language, region),
        units=units,
        gettext=translations.ugettext,
        ngettext=translations.ungettext,
    )


def words_of_farm(found: Farm, language: str) -> Words:
    """Return a farm's words in a language, for paper."""
    return words_in(language, region=found.region, units=found.units)


def in_every_language(found: Farm, message: Message | str) -> dict[str, str]:
    """Return a message in every language, for a phone that chooses by itself."""
    return {language: words_of_farm(found, language).say(message) for language in LANGUAGES}


@contextmanager
def read_in(language: str) -> Iterator[None]:
    """Let what happens inside be read in another language than the reader's, as paper may be."""
    before = g.get("language_inside")
    g.language_inside = language
    try:
        with force_locale(locale_name(language, farm().region)):
            yield
    finally:
        g.language_inside = before


def locale_name(language: str, region: str) -> str:
    """Return the locale of a language in a region, or of the language alone where unknown."""
    try:
        return str(Locale.parse(f"{language}_{region}"))
    except (UnknownLocaleError, ValueError):
        return language


def chosen_language() -> str:
    """Return the person's language, else the one chosen in this browser, else a fitting one."""
    inside = g.get("language_inside")
    if inside is not None:
        return str(inside)
    actor = g.get("actor")
    if actor is not None:
        return str(actor.language)
    chosen = session.get("language")
    if chosen in LANGUAGES:
        return str(chosen)
    return request.accept_languages.best_match(LANGUAGES) or farm().language


def start_reading(app: Flask) -> None:
    """Let dates, numbers and texts follow the reader."""
    babel.init_app(
        app,
        default_translation_directories=str(CATALOGUES),
        locale_selector=lambda: locale_name(chosen_language(), farm().region),
        timezone_selector=lambda: farm().time_zone,
    )
