"""Coaching and crew leader's sheets: one page, large letters, easy words, nobody shamed."""

from dataclasses import replace
from datetime import date

import pytest

from audits.coaching_words import (
    FAULT_WORDS,
    REASON_WORDS,
    CoachingReason,
    card_words,
    contested_words,
    left_out_words,
    practice_words,
)
from audits.errors import InvalidInput
from audits.estimates import describe_rate
from audits.messages import ENGLISH
from audits.standard import preset
from audits.vocabulary import STAGE_FAULTS, BearingHabit, Fault, HeadingRule, Stage, TrainingKind
from printables import flow
from printables.coaching_sheet import (
    CoachingSheet,
    SeenOnSheet,
    SinceLast,
    coaching_sheet,
    sheet_pieces,
)
from printables.crew_sheet import CrewSheet, CrewSheetStage, crew_pieces, crew_sheet
from printables.fault_pictures import fault_picture
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from tests.paper import (
    assert_nothing_clipped,
    page_sizes_mm,
    page_texts,
    pdf_of,
    printed_lines,
    tags,
)
from tests.reading import (
    METRIC_ENGLISH,
    PSEUDO,
    english_counts,
    flesch_kincaid_grade,
    inflesz,
    spanish_counts,
    spanish_words,
)

NOTES = (*contested_words(3), *left_out_words({Stage.LIMBS: 12}))
PRESET = preset(BearingHabit.STANDARD, 3_352.8, top_wire_mm=3_048.0)
STANDARD = PRESET.model_copy(
    update={"heading": PRESET.heading.model_copy(update={"rule": HeadingRule.REQUIRED})}
)
LIMBS = CoachingSheet(
    farm="Alder Flat",
    worker="Ana Ruiz (W12)",
    issued_on=date(2026, 1, 20),
    reason=CoachingReason.SIGNAL,
    stage=Stage.LIMBS,
    block="Gala Home 3",
    version=3,
    standard=STANDARD,
    reading=describe_rate(9, 60, days=4, rows=5, auditors=2).sentence,
    faults=(SeenOnSheet(Fault.LONG_STUB, 7), SeenOnSheet(Fault.WRONG_LIMB, 3)),
    latest=(False, True) * 10,
    since=SinceLast(date(2026, 1, 10), TrainingKind.IN_ROW, (6, 30), (3, 30)),
    trained=(
        (date(2026, 1, 10), TrainingKind.IN_ROW),
        (date(2025, 12, 10), TrainingKind.CARD),
        (date(2025, 12, 2), TrainingKind.MODEL_TREES),
    ),
    notes=NOTES,
)
WELL = replace(LIMBS, reason=CoachingReason.NOTHING, stage=Stage.COLUMNS, faults=(), since=None)
FEW = replace(WELL, reason=CoachingReason.TOO_FEW, stage=None, latest=(), trained=(), reading=None)


def of_stage(stage: Stage) -> CoachingSheet:
    faults = tuple(SeenOnSheet(fault, 4) for fault in STAGE_FAULTS[stage][:2])
    return replace(LIMBS, stage=stage, faults=faults)


def room(page: Page) -> tuple[float, float]:
    return flow.content_width(page), flow.content_height(page)


SHEETS = [*map(of_stage, Stage), LIMBS, WELL, FEW, replace(LIMBS, standard=None)]
IDS = [*Stage, "signal", "well", "few", "no standard"]

CREW = CrewSheet(
    farm="Alder Flat",
    crew="North crew",
    issued_on=date(2026, 1, 20),
    season="2025/26",
    standard=STANDARD,
    stages=tuple(
        CrewSheetStage(
            stage,
            describe_rate(7, 45).sentence,
            tuple(SeenOnSheet(fault, 5) for fault in STAGE_FAULTS[stage][:2]),
            tuple(left_out_words({Stage.LIMBS: 12})) if stage is Stage.LIMBS else (),
        )
        for stage in Stage
    ),
    next_stage=Stage.LIMBS,
    look_at=(("Ana Ruiz (W12)", (Stage.TOP,)), ("José Peña (W07)", (Stage.TOP, Stage.LIMBS))),
    block_first=(("José Peña (W07)", (Stage.COLUMNS,)),),
    trained=((date(2026, 1, 10), Stage.LIMBS, TrainingKind.MODEL_TREES, 8),) * 3,
)
SMALL = replace(
    CREW,
    look_at=(),
    block_first=(),
    is_too_small=True,
    stages=tuple(
        CrewSheetStage(line.stage, None, (SeenOnSheet(line.faults[0].fault, None),))
        for line in CREW.stages
    ),
)


def text_of(pdf: bytes) -> str:
    (text,) = page_texts(pdf)
    return text


def test_a_sheet_says_one_stage_what_was_seen_what_is_right_and_what_to_take():
    text = text_of(coaching_sheet(LIMBS, ENGLISH))
    for words in (
        "Coaching sheet: Ana Ruiz (W12)",
        "Gala Home 3, standard 3.",
        "Work on one thing: Limbs",
        "About 8 in 10 right, could be 7 to 10 (60 trees).",
        "Long stub",
        "on 7 trees",
        "A long stub dies",
        "Take out the 2 largest limbs.",
        "Cut it short and slanted.",
        "Take: Pocket card, front: Limbs. Back: limb gauge.",
        "Practice: Prune 5 trees together.",
        "The last 20 trees",
        "Before Jan 10, 2026: 6 of 30 trees wrong. Since then: 3 of 30.",
        "Jan 10, 2026, Shown in the row;",
    ):
        assert words in text


def test_with_nothing_to_work_on_the_sheet_shows_what_went_well_and_no_fault():
    text = text_of(coaching_sheet(WELL, ENGLISH))
    assert "Nothing to work on now. This stage went well." in text
    assert "Make each branch one column." in text
    for absent in ("Work on one thing", "Seen", "Practice:"):
        assert absent not in text


def test_with_too_few_trees_it_shows_what_right_looks_like_in_every_stage():
    text = text_of(coaching_sheet(FEW, ENGLISH))
    assert "Too few trees yet to choose one stage." in text
    for stage in ("Top", "Limbs", "Columns", "Heading"):
        assert stage in text


@pytest.mark.parametrize("words", [ENGLISH, METRIC_ENGLISH, PSEUDO], ids=["en", "metric", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("sheet", SHEETS, ids=IDS)
def test_every_coaching_sheet_fits_on_one_page_with_letters_of_12_points(sheet, page, words):
    pdf = pdf_of(coaching_sheet(sheet, words, page=page))
    assert len(page_texts(pdf)) == 1
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}
    for piece in sheet_pieces(sheet, words, *room(page)):
        assert_nothing_clipped(piece)
        assert all(line.size_pt > 11.99 for line in printed_lines(piece)), piece.title


@pytest.mark.parametrize(
    "document",
    [coaching_sheet(SHEETS[0], ENGLISH), crew_sheet(CREW, ENGLISH)],
    ids=["coaching", "crew"],
)
def test_the_title_is_tagged_as_the_heading(document):
    (page,) = tags(document)
    assert [kind for kind, _, _ in page].count("H1") == 1
    assert page[0][0] == "H1"


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("sheet", SHEETS, ids=IDS)
def test_every_coaching_sheet_fits_in_spanish(sheet, page):
    words = spanish_words()
    assert len(page_texts(coaching_sheet(sheet, words, page=page))) == 1
    for piece in sheet_pieces(sheet, words, *room(page)):
        assert_nothing_clipped(piece)


@pytest.mark.parametrize("fault", [fault for faults in STAGE_FAULTS.values() for fault in faults])
def test_every_fault_has_a_picture_a_reason_and_what_to_do(fault):
    picture = fault_picture(STANDARD, fault, ENGLISH)
    assert picture.shapes
    assert picture.title
    assert FAULT_WORDS[fault].why.text != FAULT_WORDS[fault].instead.text


@pytest.mark.parametrize("fault", [Fault.TREE_MISSED, Fault.SIDE_MISSED])
def test_missed_trees_and_sides_have_theirs_too(fault):
    assert fault_picture(STANDARD, fault, ENGLISH).shapes
    assert fault in FAULT_WORDS


def said(words) -> list[str]:
    """Return what the sheets tell a worker, one paragraph each."""
    return [
        *(words.say(message) for message in REASON_WORDS.values()),
        *(words.say(each) for told in FAULT_WORDS.values() for each in told),
        *(words.say(card_words(stage)) for stage in Stage),
        words.say(practice_words()),
    ]


def test_the_words_are_easy_to_read():
    # Bars for printed matter: grade 5, at most 6; sentences of at most 10 words.
    counts = english_counts(" ".join(said(ENGLISH)))
    assert flesch_kincaid_grade(counts) <= 5
    assert all(each.words / each.sentences <= 10 for each in map(english_counts, said(ENGLISH)))


def test_the_words_are_easy_to_read_in_spanish():
    # 65 is the bar, above 80 is wanted.
    assert inflesz(spanish_counts(" ".join(said(spanish_words())))) >= 80


def test_the_same_sheet_gives_the_same_bytes():
    assert pdf_of(coaching_sheet(LIMBS, ENGLISH)) == pdf_of(coaching_sheet(LIMBS, ENGLISH))
    assert pdf_of(coaching_sheet(LIMBS, ENGLISH)) != pdf_of(
        coaching_sheet(of_stage(Stage.TOP), ENGLISH)
    )
    assert pdf_of(crew_sheet(CREW, ENGLISH)) == pdf_of(crew_sheet(CREW, ENGLISH))


@pytest.mark.parametrize("words", [ENGLISH, PSEUDO], ids=["en", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("sheet", [CREW, SMALL, replace(CREW, stages=(), look_at=())])
def test_every_crew_sheet_fits_on_one_page_with_letters_of_12_points(sheet, page, words):
    pdf = pdf_of(crew_sheet(sheet, words, page=page))
    assert len(page_texts(pdf)) == 1
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}
    for piece in crew_pieces(sheet, words, *room(page)):
        assert_nothing_clipped(piece)
        assert all(line.size_pt > 11.99 for line in printed_lines(piece)), piece.title


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_the_crew_sheet_fits_in_spanish(page):
    assert len(page_texts(crew_sheet(CREW, spanish_words(), page=page))) == 1
    for piece in crew_pieces(CREW, spanish_words(), *room(page)):
        assert_nothing_clipped(piece)


def test_a_crew_sheet_says_where_why_what_to_show_and_whom_to_look_at():
    text = text_of(crew_sheet(CREW, ENGLISH))
    for words in (
        "Crew leader's sheet: North crew",
        "All trees of the crew, whoever did them.",
        "7 to 10 in 10 right (45 trees).",
        "Too high (5 trees)",
        "Show: Hold the marked pole up.",
        "Go and look with: Ana Ruiz (W12): Top. José Peña (W07): Top, Limbs.",
        "Look at the block first: José Peña (W07): Columns.",
        "Next training: Limbs, with the whole crew.",
        "Limbs: Pruned model trees together (8 people).",
    ):
        assert words in text


def test_a_small_crew_has_no_names_and_no_figures_on_paper():
    text = text_of(crew_sheet(SMALL, ENGLISH))
    assert "The crew has fewer than 5 people" in text
    assert "Too high" in text
    assert "Go and look with" not in text
    assert "trees)" not in text
    # Even a mistake elsewhere cannot put them there.
    with pytest.raises(ValueError, match="neither names nor figures"):
        replace(CREW, is_too_small=True)


@pytest.mark.parametrize("sheet", [LIMBS, CREW])
def test_names_with_letters_that_the_font_lacks_are_refused(sheet):
    with pytest.raises(InvalidInput):
        replace(sheet, farm="\u5317")
