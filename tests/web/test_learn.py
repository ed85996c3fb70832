"""Learning's home, safety briefs and records: who may not start, and what stands on a record."""

from datetime import timedelta

import pytest

from audits.practice.model import TreeKind
from audits.storage.tables import practice_result, practice_stage, safety_briefing
from audits.vocabulary import Method, PracticeLevel, Result, Role, Stage
from tests.page_words import words_of
from tests.web.conftest import NOW
from tests.web.pages import read_page

TODAY = "2026-01-20"
IN_ENGLISH = 3


def note(client, orchard, people=(0,), **entered):
    data = {
        "worker_ids": [orchard.worker_ids[person] for person in people],
        "method": "ladder",
        "held_on": TODAY,
        "language": "own",
    }
    return client.post("/learn/briefs/new", data=data | entered)


def begin_pass(client, orchard, method="ladder"):
    answer = client.post(
        f"/passes/new/{orchard.block_id}",
        data={
            "crew_id": orchard.crew_id,
            "kind": "dormant",
            "method": method,
            "row_ids": orchard.row_ids,
            "started_at": "2026-01-20T08:00",
            "lot_by": "",
        },
    )
    assert answer.status_code == 302, answer.text
    return answer.location


@pytest.mark.parametrize("role", Role)
def test_the_home_of_learning_leads_to_pages_that_open(sign_in, role):
    client = sign_in(role)
    page = read_page(client.get("/learn"))
    ways = {link for link in page.links if link.startswith(("/learn", "/quiz", "/practice"))}
    assert len(ways) >= 3
    for way in ways - {"/learn"}:
        assert client.get(way).status_code == 200, way


def test_a_crew_is_barred_on_today_and_its_pass_until_the_brief_is_noted(orchard, supervisor):
    place = begin_pass(supervisor, orchard)
    for page in ("/", place):
        assert "May not start yet" in words_of(supervisor.get(page)), page
    everybody = range(len(orchard.worker_ids))
    assert note(supervisor, orchard, everybody).status_code == 302
    for page in ("/", place):
        assert "May not start yet" not in words_of(supervisor.get(page)), page


def test_work_from_the_ground_bars_nobody(orchard, supervisor):
    place = begin_pass(supervisor, orchard, "ground")
    for page in ("/", place):
        assert "May not start yet" not in words_of(supervisor.get(page)), page


def test_the_form_ticks_whoever_of_the_crew_lacks_the_brief(orchard, supervisor):
    note(supervisor, orchard, (0,))
    page = supervisor.get(f"/learn/briefs/new?method=ladder&crew_id={orchard.crew_id}").text
    ticked = {
        worker_id
        for worker_id in orchard.worker_ids
        if f'checked id="worker_ids-{orchard.worker_ids.index(worker_id)}"' in page
    }
    assert len(ticked) < len(orchard.worker_ids)
    assert page.count("checked") >= len(orchard.worker_ids) - 1


def test_what_is_missing_is_said_at_its_field_and_nothing_is_kept(database, orchard, supervisor):
    answer = note(supervisor, orchard, (), held_on="2026-01-21", method="")
    assert answer.status_code == 422
    for sentence in ("Choose who was there.", "Choose one."):
        assert sentence in answer.text
    late = note(supervisor, orchard, held_on="2026-01-21")
    assert "This day is still to come." in late.text
    with database.read() as connection:
        assert connection.execute(safety_briefing.select()).all() == []


def test_a_brief_noted_by_mistake_is_withdrawn_and_counts_no_more(orchard, supervisor):
    note(supervisor, orchard)
    assert "holds until" in words_of(supervisor.get("/learn/briefs"))
    gone = supervisor.post("/learn/briefs/withdraw", data={"briefing_id": 1})
    assert gone.status_code == 302
    assert "holds until" not in words_of(supervisor.get("/learn/briefs"))
    assert supervisor.post("/learn/briefs/withdraw", data={"briefing_id": 9}).status_code == 404


def test_a_record_tells_briefs_practice_and_language(database, orchard, supervisor, sign_in):
    note(supervisor, orchard)
    practise(database, orchard)
    for client, page in (
        (supervisor, f"/learn/records/{orchard.worker_ids[0]}"),
        (sign_in(Role.WORKER), "/learn/records/mine"),
    ):
        text = words_of(client.get(page))
        assert "Drawn trees pruned: 2" in text
        assert "in Español" in text
        assert "Tops: 1 of 2 right" in text or "Top: 1 of 2 right" in text
        assert "until" in text


def test_a_record_of_nobody_is_not_there(supervisor):
    assert supervisor.get("/learn/records/999").status_code == 404


def practise(database, orchard):
    with database.write() as connection:
        for number, result in enumerate((Result.CONFORMING, Result.NONCONFORMING)):
            made = connection.execute(
                practice_result.insert().values(
                    farm_id=orchard.farm_id,
                    uid=f"uid-{number}",
                    worker_id=orchard.worker_ids[0],
                    standard_version_id=orchard.standard_id,
                    method=Method.LADDER,
                    edition=1,
                    tree_seed=number,
                    tree_kind=next(iter(TreeKind)),
                    level=PracticeLevel.ONE,
                    stages=(Stage.TOP,),
                    cuts={},
                    language="es",
                    done_at=NOW,
                    recorded_at=NOW + timedelta(minutes=number),
                    recorded_by=orchard.worker.user_id,
                )
            )
            connection.execute(
                practice_stage.insert().values(
                    farm_id=orchard.farm_id,
                    practice_result_id=made.inserted_primary_key[0],
                    stage=Stage.TOP,
                    result=result,
                    faults=(),
                )
            )
