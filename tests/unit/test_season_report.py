"""The season report: what the owner's page shows, with its floors, its ranges and its method."""

from dataclasses import replace
from datetime import date

import pytest

from audits.control.blocks import block_chart
from audits.errors import InvalidInput
from audits.estimates import describe_rate
from audits.messages import ENGLISH, say
from audits.services.season import describe_acceptance
from audits.vocabulary import Fault, Stage
from printables.document import Role
from printables.season_report import (
    ReportCrew,
    ReportHours,
    ReportLots,
    ReportStage,
    SeasonReport,
    season_report,
)
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES
from tests.paper import page_texts, pdf_of
from tests.reading import PSEUDO, spanish_words
from tests.sheets import SPACED, UNBROKEN, assert_well_printed

HELD_BACK = say("Fewer than %(people)s people: no figures are shown.", people=5)


def lots(name: str, accepted: int, audited: int, waiting: int = 0) -> ReportLots:
    refused = audited - accepted
    figures = (audited + waiting, accepted, refused, 0, 0, waiting, 0)
    return ReportLots(name, figures, describe_acceptance(accepted, audited).sentence)


def stage(which: Stage, due: int, wrong: int) -> ReportStage:
    spread = {"days": 9, "rows": 12, "auditors": 2}
    outcomes = [number % due < wrong for number in range(due)]
    return ReportStage(
        stage=which,
        audited=36,
        accepted=30,
        reworked=5,
        leading_fault=Fault.LONG_STUB if which is Stage.LIMBS else None,
        acceptance=describe_acceptance(30, 36).sentence,
        due=due,
        rate=describe_rate(wrong, due, **spread).sentence,
        chart=block_chart(outcomes) if due >= 30 else None,
    )


def rates(due: int, wrong: int):
    reading = describe_rate(wrong, due, days=6, rows=7, auditors=2).sentence
    return tuple((each, reading) for each in Stage)


REPORT = SeasonReport(
    farm="Alder Flat",
    season="2025/26",
    first_day=date(2025, 11, 1),
    last_day=date(2026, 10, 31),
    issued_on=date(2026, 3, 20),
    lots=lots("", 30, 36, 4),
    trees=612,
    pruning=ReportHours(812.5, 9, 1),
    rework=ReportHours(36.0, 4, 0),
    blocks=(lots("Gala Home 3", 20, 22), lots("Young Fuji", 7, 9)),
    crews=(lots("North crew", 28, 34), ReportLots("Pole crew", None, HELD_BACK)),
    stages=(
        stage(Stage.TOP, 320, 24),
        stage(Stage.LIMBS, 124, 22),
        stage(Stage.COLUMNS, 29, 3),
        stage(Stage.HEADING, 9, 1),
    ),
    crew_rates=(ReportCrew("North crew", rates(120, 9)), ReportCrew("Pole crew", None)),
    least_people=5,
    contested=2,
    read_otherwise=1,
)
EMPTY = replace(
    REPORT,
    lots=lots("", 0, 0, 3),
    trees=0,
    rework=ReportHours(0.0, 0, 0),
    pruning=ReportHours(0.0, 2, 2),
    blocks=(lots("Gala Home 3", 0, 0, 3),),
    crews=(lots("North crew", 0, 0, 3),),
    stages=(),
    crew_rates=(),
    contested=0,
    read_otherwise=0,
)
LONG = replace(
    REPORT,
    farm=SPACED,
    blocks=tuple(lots(f"{UNBROKEN[:78]}{number}", 120, 1_340) for number in range(14)),
    crews=tuple(lots(f"{SPACED[:77]} {number}", 28, 34) for number in range(9)),
    crew_rates=tuple(ReportCrew(f"{UNBROKEN[:78]}{number}", rates(120, 9)) for number in range(9)),
)


@pytest.fixture(scope="module")
def spanish():
    return spanish_words()


def text_of(report: SeasonReport = REPORT) -> str:
    return " ".join(page_texts(season_report(report, ENGLISH)))


def test_it_says_what_the_owner_came_for():
    text = text_of()
    for words in (
        "Season report 2025/26 Alder Flat. Nov 1, 2025 to Oct 31, 2026. As of Mar 20, 2026.",
        "accepted at the first audit of 36 audited lots",
        "About 8 in 10 lots accepted at the first audit, could be 6 to 10 (36 lots).",
        "Of 848.5 hours noted, 36 went into rework (4 %).",
        "1 first verdict reads otherwise as amended; it is counted as it was issued.",
        "2 scores in these figures are contested.",
        "9 passes, 1 without hours",
        "About 92 in 100 right, could be 89 to 95 (320 trees).",
    ):
        assert words in text


def test_every_rate_and_share_has_its_number_and_its_range():
    text = text_of()
    assert text.count("could be") >= 2 + len(Stage)
    assert "20 to" not in text
    assert "7 of 9 lots accepted at the first audit. Too few for a share." in text
    assert "8 of 9 trees right. Too few for a rate." in text
    assert "(29 trees). Too few to compare." in text


def test_below_the_floors_no_chart_is_drawn():
    figures = [
        piece.drawing.title
        for leaf in season_report(REPORT, ENGLISH).leaves
        for piece in leaf.pieces
        if piece.spoken_as is Role.FIGURE
    ]
    assert figures == ["Top", "Limbs"]
    assert text_of().count("The chart begins with 30 due trees.") == 2


def test_a_small_crew_has_no_figures_anywhere():
    pages = page_texts(season_report(REPORT, ENGLISH))
    shown = [page for page in pages if "Pole crew" in page]
    assert len(shown) == 2
    assert "Pole crew - - - - - - - Fewer than 5 people: no figures are shown." in shown[0]
    assert "Pole crew Fewer than 5 people: no figures are shown." in shown[1]


def test_a_report_cannot_hold_back_the_farm_itself():
    with pytest.raises(ValueError, match="never held back"):
        replace(REPORT, lots=ReportLots("", None, HELD_BACK))


def test_the_method_and_the_sample_sizes_are_told():
    text = text_of()
    for words in (
        "How this was counted",
        "drawn by chance behind the crew",
        "95 of 100 such ranges hold the true rate",
        "Below 10 trees or lots only counts are shown, below 30 only a range.",
        "at most 27 of 10,000 points outside its limits",
        "A crew of fewer than 5 people shows no figures. No person is named here.",
        "How many trees it rests on",
        "Limbs 36 124 10 12",
        "Heading 36 9 - -",
    ):
        assert words in text


def test_blocks_and_crews_keep_the_order_they_came_in_and_nothing_ranks_them():
    text = text_of()
    assert text.index("Gala Home 3") < text.index("Young Fuji")
    for absent in ("rank", "best", "worst", "1st"):
        assert absent not in text.lower()


def test_a_season_without_an_audit_says_so():
    text = text_of(EMPTY)
    assert "No lot was audited yet." in text
    assert "%" not in text
    assert "Stages, the whole farm" not in text


@pytest.mark.parametrize("words", [ENGLISH, PSEUDO], ids=["en", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("report", [REPORT, EMPTY], ids=["report", "empty"])
def test_nothing_is_clipped(report, words, page):
    document = season_report(report, words, page=page)
    assert {leaf.size_mm for leaf in document.leaves} == {PAGE_SIZES_MM[page]}
    assert_well_printed(document)


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_long_names_and_many_of_them_are_not_clipped(page, spanish):
    for words in (ENGLISH, spanish):
        document = season_report(LONG, words, page=page)
        assert_well_printed(document)
        assert len(document.leaves) > 5


def test_the_same_report_gives_the_same_bytes_and_another_season_others():
    one = pdf_of(season_report(REPORT, ENGLISH))
    assert one == pdf_of(season_report(replace(REPORT), ENGLISH))
    assert one != pdf_of(season_report(replace(REPORT, season="2026/27"), ENGLISH))


def test_letters_that_the_font_lacks_are_refused_by_field():
    with pytest.raises(InvalidInput) as caught:
        replace(REPORT, crews=(lots("\u5317", 1, 2),))
    assert set(caught.value.problems) == {"crew"}
