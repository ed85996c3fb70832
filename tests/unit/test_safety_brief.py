"""Safety briefs: every note for the method, where help comes to, and who was there."""

from dataclasses import replace

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.safety import NOTES, SIGNAL_WORD_NAMES, safety_brief
from audits.vocabulary import Method
from printables import safety_brief as printed
from printables.safety_brief import SafetyBrief, safety_brief_sheet
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from tests.paper import page_sizes_mm, page_texts, pdf_of
from tests.reading import (
    METRIC_ENGLISH,
    PSEUDO,
    english_counts,
    flesch_kincaid_grade,
    inflesz,
    spanish_counts,
    spanish_words,
)
from tests.sheets import SPACED, UNBROKEN, assert_well_printed

NAMES = ("Ana Ruiz (W12)", "Fermín Olmedo (W3)", "José Peña (W07)")
BRIEF = SafetyBrief(
    farm="Alder Flat",
    method=Method.LADDER,
    block="Gala Home 3",
    emergency_location="Gate 2, Hollow Road",
    first_aider="Dot Merrivale",
)
CREW = replace(BRIEF, crew="North crew", names=NAMES, blank_lines=3)
LONG = SafetyBrief(
    farm=SPACED,
    method=Method.PLATFORM,
    block=UNBROKEN,
    emergency_location=UNBROKEN * 2,
    first_aider=SPACED,
    crew=SPACED,
    names=(f"{SPACED} (W12)", f"{UNBROKEN} (W13)") * 12,
)


@pytest.fixture(scope="module")
def spanish():
    return spanish_words()


def text_of(brief: SafetyBrief, words=ENGLISH, page: Page = Page.LETTER) -> str:
    return " ".join(page_texts(safety_brief_sheet(brief, words, page=page)))


@pytest.mark.parametrize("method", list(Method))
def test_every_note_for_the_method_is_read_out_with_its_signal_word(method):
    text = text_of(replace(BRIEF, method=method))
    notes = safety_brief(method)
    for note in notes:
        # The signal word is read out before what it warns of.
        signal = "" if note.signal is None else f"{ENGLISH.say(SIGNAL_WORD_NAMES[note.signal])} "
        assert signal + ENGLISH.say(note.text) in text
    for signal, name in SIGNAL_WORD_NAMES.items():
        assert text.count(name) == sum(note.signal is signal for note in notes)
    others = [note for note in NOTES.values() if note not in notes]
    assert others
    assert not [note.key for note in others if ENGLISH.say(note.text) in text]


def test_signal_words_stand_only_with_injury_notes(monkeypatch):
    # ANSI Z535.4: the words are kept for injury. A note about trees carries none even by mistake.
    note = replace(NOTES["ladder_climb"], injury=False, signal=None)
    monkeypatch.setattr(printed, "safety_brief", lambda _method: (note,))
    text = text_of(BRIEF)
    assert ENGLISH.say(note.text) in text
    assert not [name for name in SIGNAL_WORD_NAMES.values() if name in text]
    with pytest.raises(ValueError, match="not about injury"):
        replace(NOTES["ladder_climb"], injury=False)


def test_it_says_where_help_comes_to_and_who_has_the_last_word():
    text = text_of(BRIEF)
    assert "In an emergency, help meets you here: Gate 2, Hollow Road." in text
    assert "First aid: Dot Merrivale." in text
    assert "Local rules and your farm's safety plan come first." in text
    assert "Leave electrical work to licensed people." in text
    assert "Source of the figure: US OSHA orchard ladder card" in text


def test_it_asks_for_what_nobody_wrote_down():
    text = text_of(replace(BRIEF, emergency_location="", first_aider=""))
    assert "Ask now where help meets you in an emergency." in text
    assert "Ask now who gives first aid today." in text


def test_a_crew_finds_its_names_on_numbered_lines_and_a_few_for_newcomers():
    text = text_of(CREW)
    assert "1 Ana Ruiz (W12) 2 Fermín Olmedo (W3) 3 José Peña (W07) 4 5 6" in text


def test_without_a_crew_the_lines_are_blank_and_numbered():
    text = text_of(BRIEF)
    assert "Name Signature 1 2 3 4 5 6 7 8 9 10 11 12" in text
    for label in ("Date", "Given by", "Language", "English", "Español", "Other"):
        assert label in text


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_a_brief_with_twelve_lines_takes_one_sheet_of_paper(method, page):
    document = safety_brief_sheet(replace(BRIEF, method=method), ENGLISH, page=page)
    assert len(document.leaves) == 2
    assert page_sizes_mm(document) == {PAGE_SIZES_MM[page]}


def test_the_lines_stand_together_where_they_have_no_room_below_the_notes():
    first, second, third = page_texts(safety_brief_sheet(replace(CREW, names=NAMES * 6), ENGLISH))
    assert "Who was there" not in first + second
    assert third.startswith("Who was there")
    assert "21" in third


@pytest.mark.parametrize("words", [ENGLISH, METRIC_ENGLISH, PSEUDO], ids=["en", "metric", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("brief", [BRIEF, CREW, LONG], ids=["blank", "crew", "long names"])
def test_nothing_is_clipped(brief, words, page):
    assert_well_printed(safety_brief_sheet(brief, words, page=page))


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("brief", [CREW, LONG], ids=["crew", "long names"])
def test_nothing_is_clipped_in_spanish(brief, page, spanish):
    assert_well_printed(safety_brief_sheet(brief, spanish, page=page))


def test_the_same_brief_gives_the_same_bytes_and_another_method_others():
    one = pdf_of(safety_brief_sheet(CREW, ENGLISH))
    assert one == pdf_of(safety_brief_sheet(replace(CREW), ENGLISH))
    assert one != pdf_of(safety_brief_sheet(replace(CREW, method=Method.GROUND), ENGLISH))


def test_names_that_cannot_be_printed_are_refused_by_field():
    with pytest.raises(InvalidInput) as caught:
        replace(CREW, names=(*NAMES, "\u738b\u82b3"), first_aider="\u05d0\u05d1")
    assert set(caught.value.problems) == {"worker", "first_aider"}


def own_words(words) -> str:
    """Return what the brief adds to the notes."""
    return " ".join(words.say(said) for said in (*printed.AGREED, printed.READ_OUT))


def test_its_own_words_are_easy_to_read():
    assert flesch_kincaid_grade(english_counts(own_words(ENGLISH))) <= 6


def test_its_own_words_are_easy_to_read_in_spanish(spanish):
    assert inflesz(spanish_counts(own_words(spanish))) >= 65
