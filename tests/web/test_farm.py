"""The farm's settings, for owners alone."""

import pytest

from audits.storage.queries import farms as queries
from audits.vocabulary import Role
from tests.web.pages import read_page


@pytest.fixture
def form(owner) -> dict[str, str]:
    """The settings as the form offers them."""
    return read_page(owner.get("/farm/settings")).values


def farm(database, orchard):
    with database.read() as connection:
        return queries.farm_by_id(connection, orchard.farm_id)


def test_the_settings_are_shown_in_words(owner):
    page = read_page(owner.get("/farm"))

    assert page.headings == ["Tule Hollow"]
    for words in (
        "Lengths are read in Feet and inches",
        "Country United States",
        "Time zone America/New York",
        "The season starts in November",
        "Gate 2, Hollow Road",
    ):
        assert words in page.text


def test_the_form_offers_what_is_set(form):
    assert form == {
        "name": "Tule Hollow",
        "units": "imperial",
        "region": "US",
        "language": "en",
        "time_zone": "America/New_York",
        "season_start_month": "11",
        "row_word": "",
        "emergency_location": "Gate 2, Hollow Road",
        "first_aider": "Dot Merrivale",
        "quiz_pass_mark": "8",
        "briefing_days": "365",
    }


def test_the_settings_are_changed(database, orchard, owner, form):
    answer = owner.post(
        "/farm/settings",
        data={**form, "units": "metric", "season_start_month": "5", "row_word": "hilera"},
        follow_redirects=True,
    )

    assert "The settings were saved." in read_page(answer).text
    changed = farm(database, orchard)
    assert (changed.units, changed.season_start_month, changed.row_word) == ("metric", 5, "hilera")


def test_each_pass_mark_stands_beside_its_chance_of_guessing(database, orchard, owner, form):
    """Tails of the binomial law for 10 questions: 1/293.8 with three choices, 1/2405 with four."""
    text = read_page(owner.get("/farm/settings")).text
    assert (
        "8 of 10 right By guessing alone, 1 in 290 would pass if each question had three choices,"
        " 1 in 2,400 if each had four." in text
    )
    owner.post("/farm/settings", data={**form, "quiz_pass_mark": "6", "briefing_days": "180"})
    changed = farm(database, orchard)
    assert (changed.quiz_pass_mark, changed.briefing_days) == (6, 180)
    shown = read_page(owner.get("/farm")).text
    assert "A quiz is passed with 6 of 10 right" in shown
    assert "A safety brief holds for 180 days" in shown


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"name": ""}, "name"),
        ({"units": "cubits"}, "units"),
        ({"region": "QQ"}, "region"),
        ({"language": "fr"}, "language"),
        ({"time_zone": "Mars/Base"}, "time_zone"),
        ({"season_start_month": "13"}, "season_start_month"),
        ({"row_word": "x" * 21}, "row_word"),
        ({"first_aider": "x" * 401}, "first_aider"),
        ({"quiz_pass_mark": "4"}, "quiz_pass_mark"),
        ({"quiz_pass_mark": "11"}, "quiz_pass_mark"),
        ({"quiz_pass_mark": "most"}, "quiz_pass_mark"),
        ({"briefing_days": "0"}, "briefing_days"),
        ({"briefing_days": "1096"}, "briefing_days"),
        ({"briefing_days": ""}, "briefing_days"),
    ],
)
def test_a_bad_setting_is_refused_at_its_field(database, orchard, owner, form, change, field):
    before = farm(database, orchard)
    answer = owner.post("/farm/settings", data={**form, **change})

    assert answer.status_code == 422
    assert list(read_page(answer).problems) == [field]
    assert farm(database, orchard) == before


@pytest.mark.parametrize("path", ["/farm", "/farm/settings", "/farm/people/new", "/farm/people/1"])
def test_the_farm_is_for_owners(sign_in, path):
    for role in (Role.SUPERVISOR, Role.WORKER):
        assert sign_in(role).get(path).status_code == 403
        assert sign_in(role).post(path, data={}).status_code in (403, 405)


@pytest.mark.parametrize("path", ["/farm", "/farm/settings", "/farm/people/new", "/farm/people/1"])
def test_every_page_has_one_heading_and_labels_in_spanish_too(sign_in, path):
    answer = sign_in(Role.OWNER, "es").get(path)

    page = read_page(answer)
    assert answer.status_code == 200
    assert '<html lang="es"' in answer.text
    assert len(page.headings) == 1
    assert page.unlabelled == []


def test_months_and_countries_read_in_the_readers_language(sign_in):
    answer = sign_in(Role.OWNER, "es").get("/farm/settings")

    assert "noviembre" in answer.text
    assert "Estados Unidos" in answer.text
