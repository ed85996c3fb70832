"""Safety notes: the right ones for the work, honest about figures and about who decides."""

import re

import pytest

from audits.messages import ENGLISH, say
from audits.safety import (
    AUTHORITY_SENTENCES,
    NOTES,
    SIGNAL_WORD_NAMES,
    Authority,
    SafetyNote,
    SignalWord,
    Topic,
    auditor_brief,
    card_notes,
    emergency_words,
    safety_brief,
)
from audits.vocabulary import Method


def keys(notes):
    return {note.key for note in notes}


def test_a_signal_word_is_refused_on_a_note_that_hurts_nobody():
    with pytest.raises(ValueError, match="stub_length"):
        SafetyNote(
            "stub_length",
            Topic.HAND_TOOLS,
            say("Leave short stubs."),
            say("Leave short stubs."),
            Authority.LOCAL_RULES,
            injury=False,
            signal=SignalWord.WARNING,
        )


def test_a_note_that_hurts_nobody_may_stand_without_a_signal_word():
    note = SafetyNote(
        "tidy",
        Topic.HAND_TOOLS,
        say("Keep tools dry."),
        say("Keep tools dry."),
        Authority.MANUAL,
        injury=False,
    )
    assert note.signal is None


@pytest.mark.parametrize("note", NOTES.values(), ids=NOTES)
def test_every_figure_carries_its_source(note):
    has_figure = bool(re.search(r"\d|\bthird step\b", ENGLISH.say(note.text)))
    assert has_figure == (note.source is not None)


@pytest.mark.parametrize("note", NOTES.values(), ids=NOTES)
def test_every_note_defers_to_a_rule_above_it(note):
    sentence = AUTHORITY_SENTENCES[note.authority]
    assert "Local rules" in sentence


@pytest.mark.parametrize("note", NOTES.values(), ids=NOTES)
def test_the_short_form_fits_a_card(note):
    assert len(ENGLISH.say(note.short).split()) <= 10


def test_the_text_never_says_law_or_must():
    """Advice is not law; only the rules it defers to are."""
    for note in NOTES.values():
        assert not re.search(
            r"\b(law|legal|must|required by)\b", ENGLISH.say(note.text), re.IGNORECASE
        )


def test_electrical_notes_leave_the_work_to_licensed_people():
    electrical = [note for note in NOTES.values() if note.topic is Topic.POWER_LINES]
    assert electrical
    assert {note.authority for note in electrical} == {Authority.LICENSED_TRADE}
    assert {note.signal for note in electrical} == {SignalWord.DANGER}


@pytest.mark.parametrize(
    ("method", "there", "not_there"),
    [
        (Method.LADDER, Topic.LADDER, Topic.PLATFORM),
        (Method.PLATFORM, Topic.PLATFORM, Topic.LADDER),
        (Method.GROUND, Topic.HAND_TOOLS, Topic.LADDER),
        (Method.MACHINE_TOPPED, Topic.TOPPING_MACHINE, Topic.PLATFORM),
    ],
)
def test_the_brief_fits_the_method(method, there, not_there):
    topics = {note.topic for note in safety_brief(method)}
    assert there in topics
    assert not_there not in topics


@pytest.mark.parametrize("method", list(Method))
def test_every_brief_covers_lines_tools_weather_and_spray(method):
    needed = {
        "lines_look_up",
        "lines_poles",
        "shears_free_hand",
        "shears_partner",
        "shears_battery",
        "weather_stop",
        "spray_posting",
    }
    assert needed <= keys(safety_brief(method))


def test_auditors_keep_clear_and_stand_still():
    assert {"auditor_clear", "auditor_still", "auditor_ground", "lines_poles"} <= keys(
        auditor_brief()
    )


@pytest.mark.parametrize("method", list(Method))
def test_the_card_has_three_notes_from_the_same_brief_gravest_first(method):
    notes = card_notes(method)
    assert len(notes) == 3
    assert keys(notes) <= keys(safety_brief(method))
    gravity = list(SignalWord)
    places = [gravity.index(note.signal) for note in notes]
    assert places == sorted(places)


def test_help_and_first_aid_are_named_or_asked_for():
    named = [ENGLISH.say(words) for words in emergency_words(" Gate 3, Mill Road ", "Ana Ruiz")]
    assert named == [
        "In an emergency, help meets you here: Gate 3, Mill Road.",
        "First aid: Ana Ruiz.",
    ]
    unknown = [ENGLISH.say(words) for words in emergency_words(" ", "")]
    assert all(sentence.startswith("Ask now") for sentence in unknown)


def test_signal_words_are_those_of_the_published_definitions():
    """ANSI Z535.4 names DANGER, WARNING and CAUTION for injuries, in this order of gravity."""
    assert [SIGNAL_WORD_NAMES[word] for word in SignalWord] == ["DANGER", "WARNING", "CAUTION"]
