"""Briefs, quizzes and practice on a training record, and the list of who may not start."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.vocabulary import Method, Stage
from printables.document import to_pdf
from printables.no_start import NO_LAW, NoStart, NoStartLine, no_start_sheet
from printables.sheet import SHEET_PAGES
from printables.training_record import (
    BriefLine,
    LearnedStage,
    PracticeLine,
    QuizLine,
    TrainingRecord,
    training_record_sheet,
)
from tests.paper import page_texts
from tests.reading import PSEUDO, assert_easy_to_read, spanish_words
from tests.sheets import SPACED, UNBROKEN, assert_well_printed

HELD = date(2025, 11, 20)
UNTIL = date(2026, 11, 19)
RECORD = TrainingRecord(
    farm="Alder Flat",
    worker="Ana Ruiz (W12)",
    issued_on=date(2026, 1, 20),
    stages=(LearnedStage(Stage.TOP), LearnedStage(Stage.LIMBS)),
    trainings=(),
    briefs=(BriefLine(Method.LADDER, HELD, UNTIL, "Español", "Saul Brightwater"),),
    quizzes=(
        QuizLine(date(2025, 12, 2), "Gala Home 3", "Español", 9, 10, is_passed=True),
        QuizLine(date(2025, 11, 21), "Gala Home 3", "Español", 6, 10, is_passed=False),
        QuizLine(date(2025, 11, 20), "Gala Home 3", "English", 7, 10, is_passed=None),
    ),
    practice=(
        PracticeLine(
            is_pruned=True, trees=14, first=HELD, last=date(2025, 12, 1), language="Español"
        ),
        PracticeLine(is_pruned=False, trees=6, first=HELD, last=HELD, language="Español"),
    ),
    practised=((Stage.TOP, 9, 11), (Stage.LIMBS, 3, 3)),
)
LIST = NoStart(
    farm="Alder Flat",
    method=Method.LADDER,
    day=date(2026, 1, 20),
    people=8,
    lines=(
        NoStartLine("Ana Ruiz (W12)", "North crew", "Español", None),
        NoStartLine("Tess Harrow (W3)", "", "English", date(2026, 1, 4)),
    ),
    crew="North crew",
)
LONG = replace(
    LIST,
    farm=SPACED,
    crew=UNBROKEN,
    people=40,
    lines=tuple(NoStartLine(UNBROKEN, SPACED, "Español", HELD) for _ in range(40)),
)


def text_of(document) -> str:
    return " ".join(page_texts(document))


def test_a_record_tells_briefs_with_their_last_day_quizzes_and_practice():
    text = text_of(training_record_sheet(RECORD, ENGLISH))
    for words in (
        "Ladders Nov 20, 2025 Nov 19, 2026 Español Saul Brightwater",
        "Dec 2, 2025 Gala Home 3 9 of 10 Passed Español",
        "Nov 21, 2025 Gala Home 3 6 of 10 Not passed yet Español",
        "Nov 20, 2025 Gala Home 3 7 of 10 English",
        "Trees pruned 14 Nov 20, 2025 Dec 1, 2025 Español",
        "Trees judged 6",
        "Top: 9 of 11 right. Limbs: 3 of 3 right.",
    ):
        assert words in text


def test_a_record_without_a_brief_says_so():
    text = text_of(training_record_sheet(replace(RECORD, briefs=()), ENGLISH))
    assert "No safety brief is noted." in text


def test_the_list_tells_who_why_and_that_it_speaks_of_no_law():
    text = text_of(no_start_sheet(LIST, ENGLISH))
    for words in (
        "Who may not start: Ladders",
        "2 of 8 have no brief that holds. Brief them before they start.",
        "Ana Ruiz (W12) North crew Español None noted",
        "Tess Harrow (W3) English Until Jan 4, 2026",
        "It does not say what the law allows.",
    ):
        assert words in text
    assert "nobody is on this list" in text_of(no_start_sheet(replace(LIST, lines=()), ENGLISH))


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("sheet", [LIST, LONG, replace(LIST, lines=())])
def test_the_list_is_well_printed_in_both_languages(sheet, page):
    for words in (ENGLISH, PSEUDO):
        document = no_start_sheet(sheet, words, page=page)
        assert_well_printed(document)
        assert to_pdf(document) == to_pdf(no_start_sheet(sheet, words, page=page))


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_a_long_record_is_well_printed(page):
    long = replace(
        RECORD,
        briefs=tuple(replace(RECORD.briefs[0], noted_by=UNBROKEN) for _ in range(20)),
        quizzes=tuple(replace(RECORD.quizzes[0], block=UNBROKEN) for _ in range(30)),
    )
    for words in (ENGLISH, PSEUDO):
        assert_well_printed(training_record_sheet(long, words, page=page))


def test_the_list_is_easy_to_read():
    for words in (ENGLISH, spanish_words()):
        said = [words.say(sentence) for sentence in NO_LAW]
        assert_easy_to_read([" ".join(said)], words.language)


def test_letters_that_the_font_lacks_are_refused_by_name():
    with pytest.raises(InvalidInput) as refused:
        replace(LIST, lines=(NoStartLine("李", "", "English", None),))
    assert set(refused.value.problems) == {"worker"}
