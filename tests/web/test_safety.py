"""The safety page: every note, in both languages, for everyone."""

import pytest

from audits.messages import ENGLISH
from audits.safety import NOTES, Authority, Topic, auditor_brief, safety_brief
from audits.vocabulary import Method, Role
from tests.web.pages import read_page
from webapp.extensions import farm
from webapp.safety.presenters import brief_of, sheets, where_help_is


@pytest.fixture
def page(supervisor):
    return read_page(supervisor.get("/safety"))


@pytest.mark.parametrize("role", Role)
def test_everyone_may_read_it(sign_in, role):
    assert sign_in(role).get("/safety").status_code == 200


@pytest.mark.usefixtures("orchard")
def test_nobody_reads_it_without_signing_in(app):
    assert app.test_client().get("/safety").status_code == 302


def test_every_note_is_there_in_the_readers_language(page):
    missing = [key for key, note in NOTES.items() if ENGLISH.say(note.text) not in page.text]
    assert missing == []


def test_every_language_has_a_sheet_of_its_own(supervisor):
    text = supervisor.get("/safety").text
    assert 'lang="es"' in text
    assert 'id="en-ladder"' in text
    assert 'id="es-ladder"' in text
    assert text.count('class="safety"') == 2 * (len(Method) + 2)


def test_each_part_ends_by_deferring_to_local_rules(page, app):
    with app.test_request_context():
        groups = [group for sheet in sheets(farm()) for group in sheet.groups]
    assert all(topic.deferring for group in groups for topic in group.topics)
    assert page.text.count("The rules of the farm and of the law come first.") >= len(Method) + 2


def test_a_figure_stands_with_its_source(page):
    assert "Washington State farm rule, WAC 296-307-15006" in page.text


def test_where_help_is_stands_on_top(page):
    assert "In an emergency, help meets you here: Gate 2, Hollow Road." in page.text
    assert "First aid: Dot Merrivale." in page.text


@pytest.mark.usefixtures("orchard")
def test_a_methods_own_topics_stand_apart_from_those_of_every_method(app):
    with app.test_request_context(headers={"Accept-Language": "en"}):
        groups = {group.key: group for group in sheets(farm())[0].groups}
    assert [topic.name for topic in groups["ladder"].topics] == ["Ladder"]
    assert groups["ground"].topics == []
    assert [topic.name for topic in groups["everyone"].topics] == [
        "Power lines",
        "Powered shears",
        "Hand tools",
        "Weather",
        "Spray",
    ]
    notes = sum(len(topic.notes) for group in groups.values() for topic in group.topics)
    assert notes == len(NOTES)


@pytest.mark.usefixtures("orchard")
@pytest.mark.parametrize("method", Method)
def test_a_brief_holds_the_gravest_notes_and_then_all(app, method):
    with app.test_request_context(headers={"Accept-Language": "en"}):
        brief = brief_of(method, {"Creek Block": ""}, farm())
    assert len(brief.gravest) == 3
    assert sum(len(topic.notes) for topic in brief.topics) == len(safety_brief(method))


@pytest.mark.usefixtures("orchard")
def test_blocks_with_places_of_their_own_for_help_are_told_apart(app):
    with app.test_request_context(headers={"Accept-Language": "en"}):
        same = where_help_is({"Creek": "", "Ridge": " "}, farm())
        apart = where_help_is({"Creek": "", "Ridge": "Top gate"}, farm())
    assert same == (
        "In an emergency, help meets you here: Gate 2, Hollow Road. First aid: Dot Merrivale."
    )
    assert apart == (
        "Creek: In an emergency, help meets you here: Gate 2, Hollow Road. "
        "Ridge: In an emergency, help meets you here: Top gate. First aid: Dot Merrivale."
    )


def test_a_topic_never_mixes_more_than_local_rules_and_the_manual():
    """The page has a sentence for each mixture that occurs; a new one needs a new sentence."""
    mixtures = {
        frozenset(note.authority for note in NOTES.values() if note.topic is topic)
        for topic in Topic
    }
    mixed = {mixture for mixture in mixtures if len(mixture) > 1}
    assert mixed <= {frozenset({Authority.LOCAL_RULES, Authority.MANUAL})}
    assert auditor_brief()
