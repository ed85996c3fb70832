"""Sheets that a crew keeps, filled from the farm's records: who may have them, and what is in."""

from datetime import UTC, date, datetime

import pytest

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.messages import ENGLISH
from audits.services import farms, sign_offs, training
from audits.services.season import review_season
from audits.storage.queries.farms import farm_by_id
from audits.storage.tables import stage_learning, worker
from audits.vocabulary import LotState, Method, Role, Stage, TrainingKind
from printables.sheet import Page
from tests.orchard import WORKERS
from tests.paper import page_texts
from tests.scored_season import add_audit, add_lot, day, trees
from tests.web.conftest import NOW
from webapp.printing import records

TODAY = date(2026, 1, 20)
TOP = Stage.TOP


@pytest.fixture
def farm(database, orchard):
    with database.read() as connection:
        return farm_by_id(connection, orchard.farm_id)


def text_of(document) -> str:
    return " ".join(page_texts(document))


def audit_lots(database, orchard, *, lots=12, pattern="ooox", **place):
    with database.write() as connection:
        for number in range(lots):
            lot = add_lot(
                connection,
                orchard,
                finished_at=day(1 + number % 9),
                row=number % len(orchard.row_ids),
                state=LotState.ACCEPTED,
                **place,
            )
            add_audit(
                connection,
                orchard,
                trees(TOP, None, pattern),
                started_at=day(1 + number % 9, 18),
                lot_ids=lot,
                auditor_id=(orchard.supervisor.user_id, orchard.owner.user_id)[number % 2],
            )


# --- model trees and safety briefs


def test_a_model_tree_sheet_has_the_standard_in_force(database, orchard, farm):
    document = records.model_tree_document(
        database, farm, orchard.block_id, day=TODAY, language="en", page=Page.A4
    )
    text = text_of(document)
    assert "Model trees: Creek Block Tule Hollow. Standard 1, from Nov 1, 2025." in text
    assert document.leaves[0].size_mm == (210.0, 297.0)


def test_a_block_without_a_standard_has_no_model_tree_sheet(database, orchard, farm):
    with pytest.raises(InvalidInput) as caught:
        records.model_tree_document(
            database, farm, orchard.block_id, day=date(2025, 1, 1), language="en"
        )
    assert set(caught.value.problems) == {"block_id"}


def test_a_brief_names_the_crew_by_the_alphabet_and_leaves_lines_for_newcomers(
    database, orchard, farm
):
    other = farms.add_crew(database, orchard.supervisor, name="Crew B")
    farms.add_worker(
        database, orchard.supervisor, code="W9", name="Not Here", language="en", crew_id=other
    )
    text = text_of(
        records.safety_brief_document(
            database,
            farm,
            Method.LADDER,
            orchard.crew_id,
            language="en",
            block_id=orchard.block_id,
        )
    )
    named = [f"{name} ({code})" for code, name, _ in WORKERS]
    places = [text.index(name) for name in sorted(named)]
    assert places == sorted(places)
    assert "Not Here" not in text
    assert "Tule Hollow. Creek Block. Crew A." in text
    assert "Gate 2, Hollow Road" in text
    assert "9" in text.split("Maribel")[1]


def test_a_crew_that_is_not_there_is_not_found(database, farm):
    with pytest.raises(NotFound):
        records.safety_brief_document(database, farm, Method.LADDER, 987, language="en")


# --- training records and certificates


def learned(database, orchard, worker_id, *, signed_at=NOW):
    """Let somebody learn the top on 20 right trees, be signed off, and be trained twice."""
    for number, held_on in enumerate((date(2026, 1, 3), date(2024, 12, 3))):
        training.note_training(
            database,
            orchard.supervisor,
            NOW,
            worker_ids=[worker_id],
            stage=TOP,
            kind=TrainingKind.IN_ROW,
            held_on=held_on,
            note=f"Training {number}",
        )
    begun = date(2026, 1, 2)
    sign_offs.begin_stage(
        database, orchard.supervisor, worker_id, stage=TOP, begun_on=begun, now=NOW
    )
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, worker_id, "o" * 19 + "x"), started_at=day(3))
        connection.execute(stage_learning.update().values(begun_on=date(2025, 11, 1)))
    sign_offs.sign_off(database, orchard.owner, worker_id, stage=TOP, now=signed_at)


def test_a_record_has_all_trainings_and_how_each_stage_was_learned(database, orchard, farm):
    worker_id = orchard.worker_ids[3]
    learned(database, orchard, worker_id)
    document = records.training_record_document(
        database, farm, orchard.supervisor, worker_id, day=TODAY
    )
    text = text_of(document)
    for words in (
        "Training record: Tess Harrowgate (W4)",
        "Top Dec 3, 2024 Shown in the row Saul Brightwater Training 1",
        "Top Jan 3, 2026 Shown in the row Saul Brightwater Training 0",
        "Signed off on Jan 20, 2026 by Ina Wetherell: 1 of 20 trees wrong.",
        "Creek Block, standard 1. Rule: at most 1 of 20 due trees in a row wrong.",
        "Limbs: Not begun",
    ):
        assert words in text
    assert document.language == "en"


def test_a_worker_s_papers_are_in_the_worker_s_language(database, orchard, farm):
    worker_id = orchard.worker_ids[1]
    learned(database, orchard, worker_id)
    ask = {"day": TODAY}
    for make in (records.training_record_document, records.certificate_document):
        assert make(database, farm, orchard.owner, worker_id, **ask).language == "es"
        other = make(database, farm, orchard.owner, worker_id, **ask, language="en")
        assert other.language == "en"


def test_workers_print_their_own_papers_and_nobody_else_s(database, orchard, farm):
    own, other = orchard.worker_ids[:2]
    learned(database, orchard, own)
    make = records.certificate_document
    assert make(database, farm, orchard.worker, own, day=TODAY).leaves
    for make in (records.training_record_document, records.certificate_document):
        with pytest.raises(NotAllowed):
            make(database, farm, orchard.worker, other, day=TODAY)


def test_a_certificate_names_what_was_signed_off_on_the_farm_s_own_day(database, orchard, farm):
    worker_id = orchard.worker_ids[3]
    # In the evening of the 20th on the farm, it is the 21st in Greenwich.
    learned(database, orchard, worker_id, signed_at=datetime(2026, 1, 21, 2, 30, tzinfo=UTC))
    text = text_of(
        records.certificate_document(database, farm, orchard.supervisor, worker_id, day=TODAY)
    )
    assert "Tess Harrowgate (W4)" in text
    assert "Seen on 20 trees. Rule: at most 1 of 20 due trees in a row wrong." in text
    assert "Signed off on Jan 20, 2026 by Ina Wetherell." in text
    assert "Limbs" not in text


def test_without_a_sign_off_there_is_no_certificate(database, orchard, farm):
    worker_id = orchard.worker_ids[3]
    make = records.certificate_document
    with pytest.raises(InvalidInput) as caught:
        make(database, farm, orchard.supervisor, worker_id, day=TODAY)
    assert set(caught.value.problems) == {"worker_id"}
    learned(database, orchard, worker_id)
    with pytest.raises(InvalidInput) as caught:
        make(database, farm, orchard.supervisor, worker_id, day=TODAY, stages=[Stage.LIMBS])
    assert set(caught.value.problems) == {"stages"}


# --- the season


def season(database, orchard, farm, role=Role.OWNER):
    return records.season_report_document(
        database, farm, orchard.actor(role), 2025, day=TODAY, language="en"
    )


def test_only_owners_have_the_season_report(database, orchard, farm):
    for role in (Role.SUPERVISOR, Role.WORKER):
        with pytest.raises(NotAllowed):
            season(database, orchard, farm, role)


def test_the_report_says_what_the_season_s_page_says(database, orchard, farm):
    crew_b = farms.add_crew(database, orchard.supervisor, name="Crew B")
    audit_lots(database, orchard)
    audit_lots(database, orchard, lots=2, crew_id=crew_b)
    review = review_season(database, orchard.owner, 2025)
    text = text_of(season(database, orchard, farm))
    assert "Season report 2025/26" in text
    of_crew = review_season(database, orchard.owner, 2025, crew_id=orchard.crew_id)
    for reading in (
        review.lots.acceptance,
        review.stages[0].acceptance,
        review.stages[0].rate,
        of_crew.stages[0].rate,
    ):
        assert ENGLISH.say(reading.sentence) in text
    # Crew B has nobody, so that none of its figures stands anywhere.
    assert "Crew B - - - - - - - Fewer than 5 people: no figures are shown." in text
    assert text.count("Fewer than 5 people") == 2


def test_nine_trees_give_no_rate_and_no_person_is_named(database, orchard, farm):
    audit_lots(database, orchard, lots=2, pattern="oxoo")
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, orchard.worker_ids[0], "o"), started_at=day(12))
    text = text_of(season(database, orchard, farm))
    assert "7 of 9 trees right. Too few for a rate." in text
    assert "%" not in text
    assert "in 10 right" not in text
    for code, name, _ in WORKERS:
        assert name not in text
        assert f"({code})" not in text


def test_a_crew_that_shrank_is_held_back(database, orchard, farm):
    audit_lots(database, orchard)
    with database.write() as connection:
        connection.execute(
            worker.update().where(worker.c.id.in_(orchard.worker_ids[4:])).values(retired=True)
        )
    text = text_of(season(database, orchard, farm))
    assert "Crew A - - - - - - - Fewer than 5 people: no figures are shown." in text


def test_a_season_without_work_is_printed_too(database, orchard, farm):
    assert "No lot was audited yet." in text_of(season(database, orchard, farm))
