"""Training records and certificates: what was shown, learned and signed, and nothing that ranks."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH, say
from audits.plain_words import stage_words
from audits.standard import SignOffRule, preset
from audits.vocabulary import BearingHabit, Stage, TrainingKind
from printables.certificate import NAME_PT, Certificate, SignedStage, sign_off_certificate
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES
from printables.training_record import (
    LearnedStage,
    SignedOff,
    TrainingLine,
    TrainingRecord,
    training_record_sheet,
)
from tests.paper import page_texts, pdf_of, printed_lines, running_texts
from tests.reading import PSEUDO, assert_easy_to_read, spanish_words
from tests.sheets import NOTE, SPACED, UNBROKEN, assert_well_printed, whole

STANDARD = preset(BearingHabit.STANDARD, 3_352.8, top_wire_mm=3_048.0)
RULE = SignOffRule(trees=20, most_nonconforming=1)
STRICT = SignOffRule(trees=15, most_nonconforming=0)
GALA_3 = say("%(block)s, standard %(version)s", block="Gala Home 3", version="3")
SIGNED = SignedOff(date(2025, 12, 4), "Ina Wetherell", 20, 1)
RECORD = TrainingRecord(
    farm="Alder Flat",
    worker="Ana Ruiz (W12)",
    issued_on=date(2026, 1, 20),
    stages=(
        LearnedStage(
            Stage.TOP, date(2025, 11, 20), "Saul Brightwater", 64, 5, RULE, GALA_3, SIGNED
        ),
        LearnedStage(Stage.LIMBS, date(2025, 12, 5), "Saul Brightwater", 14, 3, STRICT, GALA_3),
        LearnedStage(Stage.COLUMNS),
    ),
    trainings=(
        TrainingLine(Stage.LIMBS, TrainingKind.IN_ROW, date(2025, 12, 7), "Saul B", "Bevel stubs"),
        TrainingLine(Stage.TOP, TrainingKind.MODEL_TREES, date(2025, 12, 3), "Ina W"),
        TrainingLine(Stage.TOP, TrainingKind.CARD, date(2025, 12, 1), "Saul B"),
    ),
    crew="North crew",
    started_on=date(2025, 11, 18),
)
LONG_RECORD = replace(
    RECORD,
    farm=SPACED,
    worker=f"{UNBROKEN} (W12)",
    crew=UNBROKEN,
    stages=tuple(
        replace(
            RECORD.stages[0],
            stage=stage,
            begun_by=UNBROKEN,
            signed_off=replace(SIGNED, name=SPACED),
            standard=say("%(block)s, standard %(version)s", block=UNBROKEN, version="12"),
        )
        for stage in Stage
    ),
    trainings=tuple(
        TrainingLine(stage, kind, date(2025, 12, 9), UNBROKEN, NOTE)
        for stage in Stage
        for kind in TrainingKind
    ),
)


def certified(*stages: Stage, rule: SignOffRule = RULE) -> Certificate:
    return Certificate(
        farm="Alder Flat",
        worker="Ana Ruiz (W12)",
        issued_on=date(2026, 1, 20),
        stages=tuple(
            SignedStage(
                stage,
                stage_words(STANDARD, stage).headline,
                rule,
                rule.trees,
                date(2026, 1, 10),
                "Saul Brightwater",
                "Gala Home 3",
                3,
            )
            for stage in stages
        ),
    )


ALL = certified(*Stage)
LONG = Certificate(
    SPACED,
    f"{SPACED} (W12)",
    date(2026, 1, 20),
    tuple(replace(each, signed_by=UNBROKEN, block=UNBROKEN) for each in ALL.stages),
)


@pytest.fixture(scope="module")
def spanish():
    return spanish_words()


def record_text(record: TrainingRecord = RECORD) -> str:
    return " ".join(page_texts(training_record_sheet(record, ENGLISH)))


def certificate_text(certificate: Certificate = ALL, words=ENGLISH) -> str:
    (text,) = page_texts(sign_off_certificate(certificate, words))
    return text


def test_a_record_says_how_far_each_stage_is_with_trees_and_faults():
    text = record_text()
    for words in (
        "Training record: Ana Ruiz (W12)",
        "Alder Flat. North crew. Here since Nov 18, 2025. As of Jan 20, 2026.",
        "Top: Signed off",
        "Signed off on Dec 4, 2025 by Ina Wetherell: 1 of 20 trees wrong.",
        "Rule: at most 1 of 20 due trees in a row wrong.",
        "Limbs: Being learned",
        "3 of 14 due trees wrong so far.",
        "Rule: 15 due trees in a row all right.",
        "Columns: Not begun",
    ):
        assert words in text


def test_trainings_stand_by_stage_and_day_with_who_noted_them():
    text = record_text()
    card = text.index("Top Dec 1, 2025 Pocket card gone through Saul B")
    model = text.index("Top Dec 3, 2025")
    row = text.index("Limbs Dec 7, 2025 Shown in the row Saul B Bevel stubs")
    assert card < model < row


def test_a_record_without_trainings_leaves_lines_to_write_on():
    text = record_text(replace(RECORD, trainings=()))
    assert "Stage Day How Noted by" in text


def test_a_long_record_repeats_its_head_on_each_page():
    pages = page_texts(training_record_sheet(LONG_RECORD, ENGLISH))
    assert len(pages) > 2
    assert sum("Stage Day How Noted by" in page for page in pages) >= len(pages) - 2


def test_a_certificate_says_rule_trees_who_signed_and_that_it_is_no_license():
    text = certificate_text()
    for words in (
        "Certificate of sign-off Ana Ruiz (W12)",
        "Limbs. Take out the 2 largest limbs.",
        "Gala Home 3, standard 3. Seen on 20 trees.",
        "Rule: at most 1 of 20 due trees in a row wrong.",
        "Signed off on Jan 10, 2026 by Saul Brightwater.",
        "This is the farm's own statement. It is no license",
        "Issued on Jan 20, 2026.",
    ):
        assert words in text
    assert "15 due trees in a row all right" in certificate_text(certified(Stage.TOP, rule=STRICT))


def test_a_certificate_never_tells_how_many_trees_were_wrong():
    # A count would invite comparing people; the rule was met, and that is all that it says.
    text = certificate_text()
    for absent in ("%", "best", "rank", "of 20 trees wrong", "points"):
        assert absent not in text


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_a_certificate_takes_one_page(count, page):
    document = sign_off_certificate(certified(*list(Stage)[:count]), ENGLISH, page=page)
    assert [leaf.size_mm for leaf in document.leaves] == [PAGE_SIZES_MM[page]]
    assert_well_printed(document, least_pt=12.0)


@pytest.mark.parametrize("worker", [f"{SPACED} (W12)", f"{UNBROKEN} (W123)", "Ng"])
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_long_names_get_smaller_or_go_over_two_lines(worker, page):
    document = sign_off_certificate(replace(LONG, worker=worker), PSEUDO, page=page)
    assert_well_printed(document, least_pt=12.0)
    lines = printed_lines(whole(document.leaves[0]))
    assert worker.replace(" ", "") in "".join(line.text for line in lines).replace(" ", "")
    assert max(line.size_pt for line in lines) <= NAME_PT + 0.01


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_certificates_fit_in_spanish(page, spanish):
    for certificate in (ALL, LONG, certified(Stage.TOP)):
        assert_well_printed(sign_off_certificate(certificate, spanish, page=page))


@pytest.mark.parametrize("words", [ENGLISH, PSEUDO], ids=["en", "pseudo"])
@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("record", [RECORD, LONG_RECORD], ids=["short", "long"])
def test_nothing_of_a_record_is_clipped(record, words, page):
    assert_well_printed(training_record_sheet(record, words, page=page))


@pytest.mark.parametrize("page", SHEET_PAGES)
@pytest.mark.parametrize("record", [RECORD, LONG_RECORD], ids=["short", "long"])
def test_nothing_of_a_record_is_clipped_in_spanish(record, page, spanish):
    assert_well_printed(training_record_sheet(record, spanish, page=page))


def test_the_same_papers_give_the_same_bytes_and_other_people_s_others():
    one = pdf_of(sign_off_certificate(ALL, ENGLISH)), pdf_of(training_record_sheet(RECORD, ENGLISH))
    assert one == (
        pdf_of(sign_off_certificate(replace(ALL), ENGLISH)),
        pdf_of(training_record_sheet(replace(RECORD), ENGLISH)),
    )
    other = "José Peña (W07)"
    assert one[0] != pdf_of(sign_off_certificate(replace(ALL, worker=other), ENGLISH))
    assert one[1] != pdf_of(training_record_sheet(replace(RECORD, worker=other), ENGLISH))


def test_letters_that_the_font_lacks_are_refused_by_field():
    with pytest.raises(InvalidInput) as caught:
        replace(RECORD, trainings=(replace(RECORD.trainings[0], note="\u5317"),))
    assert set(caught.value.problems) == {"note"}
    with pytest.raises(InvalidInput) as caught:
        replace(ALL, worker="\u05d0\u05d1")
    assert set(caught.value.problems) == {"worker"}


def test_papers_without_any_stage_are_refused():
    with pytest.raises(ValueError, match="stages is empty"):
        certified()
    with pytest.raises(ValueError, match="stages is empty"):
        replace(RECORD, stages=())


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_workers_get_is_easy_to_read(language):
    words = ENGLISH if language == "en" else spanish_words()
    # A table of names and days is no running text.
    record = training_record_sheet(replace(RECORD, trainings=()), words)
    for document in (record, sign_off_certificate(ALL, words)):
        assert_easy_to_read(running_texts(document), language)
