"""Start checks as a supervisor meets them: whose, tree by tree, what to show the worker."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.services import auditing, farms, passes, start_checks
from audits.services.auditing import Device
from audits.storage import tables
from audits.vocabulary import Method, PassKind, Role, Side, Stage
from tests.orchard import plant_orchard
from tests.web.conftest import NOW
from tests.web.pages import read_page


@pytest.fixture
def pass_id(database, orchard) -> int:
    return passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=orchard.row_ids[:3],
        started_at=NOW - timedelta(minutes=20),
    )


@pytest.fixture
def begin_url(pass_id) -> str:
    return f"/passes/{pass_id}/start-check"


@pytest.fixture
def url(supervisor, orchard, begin_url) -> str:
    """The page of a start check of the first worker."""
    answer = supervisor.post(begin_url, data=choice(orchard.worker_ids[0]))
    assert answer.status_code == 302
    return answer.location


@pytest.fixture
def tree(orchard):
    """What a supervisor fills in for a tree."""

    def filled_in(position: int = 1, **changes) -> dict[str, object]:
        return {
            "client_id": str(uuid4()),
            "row_id": orchard.row_ids[0],
            "position": str(position),
            "side": "left",
            "top": "right",
            "limbs": "2",
            "columns": "right",
            "heading": "right",
            "save": "1",
        } | changes

    return filled_in


def choice(worker_id: object) -> dict[str, object]:
    return {"worker_id": worker_id, "client_id": str(uuid4())}


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def seen(database, orchard, url):
    audit_id = int(url.rsplit("/", 1)[-1])
    return start_checks.view_start_check(database, orchard.supervisor, audit_id)


def places(database, orchard, url) -> list[tuple[int, int, Side]]:
    numbers = {row_id: number for number, row_id in enumerate(orchard.row_ids, start=1)}
    walk = seen(database, orchard, url).view.walk
    return [(numbers[tree.orchard_row_id], tree.position, tree.side) for tree in walk]


# --- whose -------------------------------------------------------------------------------------


def test_the_crew_is_offered_those_not_looked_at_first(supervisor, orchard, begin_url, url, tree):
    for position in (1, 2, 3):
        supervisor.post(f"{url}/tree", data=tree(position))
    supervisor.post(f"{url}/close")
    answer = supervisor.get(begin_url)
    page = read_page(answer)
    offered = re.findall(r'name="worker_id"[^>]* value="(\d+)"', answer.text)
    assert offered == [str(one) for one in [*orchard.worker_ids[1:], orchard.worker_ids[0]]]
    assert "Looked at: 3 trees" in page.text
    assert "it counts in no verdict and in no trend" in page.text
    assert page.unlabelled == []


@pytest.mark.parametrize(
    ("worker_id", "sentence"),
    [
        ("", "Choose a worker."),
        ("999", "This worker is not in the crew of this pass."),
    ],
)
def test_who_cannot_be_looked_at(supervisor, database, begin_url, worker_id, sentence):
    answer = supervisor.post(begin_url, data=choice(worker_id))
    assert answer.status_code == 422
    assert read_page(answer).problems == {"worker_id": sentence}
    assert count(database, tables.audit) == 0


def test_a_worker_of_another_crew_cannot_be_looked_at(supervisor, database, orchard, begin_url):
    elsewhere = farms.add_crew(database, orchard.supervisor, name="Crew B")
    stranger = farms.add_worker(
        database, orchard.supervisor, code="B1", name="Ilse Morán", language="es", crew_id=elsewhere
    )
    answer = supervisor.post(begin_url, data=choice(stranger))
    assert answer.status_code == 422
    assert "worker_id" in read_page(answer).problems


def test_a_form_sent_twice_begins_one_start_check(supervisor, database, orchard, begin_url):
    sent = choice(orchard.worker_ids[0])
    first, second = (supervisor.post(begin_url, data=sent) for _ in range(2))
    assert first.location == second.location
    assert count(database, tables.audit) == 1


def test_an_old_form_for_another_worker_is_asked_again(supervisor, orchard, begin_url):
    sent = choice(orchard.worker_ids[0])
    supervisor.post(begin_url, data=sent)
    answer = supervisor.post(begin_url, data=sent | {"worker_id": orchard.worker_ids[1]})
    assert answer.location == begin_url
    assert "This page was used already. Load it again." in supervisor.get(begin_url).text


def test_start_checks_are_for_crew_leads_of_the_farm(sign_in, supervisor, database, begin_url, url):
    worker = sign_in(Role.WORKER)
    for path in (begin_url, url, f"{url}/tree"):
        assert worker.get(path).status_code == 403
    other = plant_orchard(database, NOW, name="Cold Spring")
    elsewhere = passes.begin_pass(
        database,
        other.supervisor,
        block_id=other.block_id,
        crew_id=other.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=other.row_ids,
        started_at=NOW,
    )
    assert supervisor.get(f"/passes/{elsewhere}/start-check").status_code == 404


def test_an_audit_of_a_lot_has_no_page_among_start_checks(supervisor, database, orchard, pass_id):
    lot_id = passes.finish_row(database, orchard.supervisor, pass_id, orchard.row_ids[0], NOW)
    audit_id = auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=7,
        client_id="audit-1",
        device=Device("desk"),
        now=NOW,
    )
    assert supervisor.get(f"/start-checks/{audit_id}").status_code == 404


# --- trees -------------------------------------------------------------------------------------


def test_the_first_tree_is_in_the_first_row_of_the_pass(supervisor, orchard, url):
    page = read_page(supervisor.get(f"{url}/tree"))
    assert page.headings == ["Start check: tree 1"]
    assert page.values["row_id"] == str(orchard.row_ids[0])
    assert page.values["side"] == "left"
    assert page.unlabelled == []


def test_the_next_tree_is_one_on_from_the_last(supervisor, orchard, url, tree):
    sent = tree(7, row_id=orchard.row_ids[1], side="right")
    assert supervisor.post(f"{url}/tree", data=sent).location == url
    page = read_page(supervisor.get(f"{url}/tree"))
    assert page.headings == ["Start check: tree 2"]
    assert page.values["row_id"] == str(orchard.row_ids[1])
    assert (page.values["position"], page.values["side"]) == ("8", "right")


def test_a_tree_is_scored_for_the_worker(supervisor, database, orchard, url, tree):
    supervisor.post(f"{url}/tree", data=tree(3, top="fault", top_faults=["high"]))
    scores = seen(database, orchard, url).view.scores
    assert {score.worker_id for score in scores} == {orchard.worker_ids[0]}
    page = read_page(supervisor.get(url))
    for words in ("Row 1, panel 1, tree 3", "left side", "Too high", "1 of 1 trees"):
        assert words in page.text
    assert "2 more trees at least" in page.text
    assert "Right on every tree: Limbs, Columns, Heading." in page.text


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"position": ""}, "position", "Fill in this number."),
        ({"position": "near the gate"}, "position", "Write a whole number, such as 12."),
        ({"position": "311"}, "position", "Row 1 has trees 1 to 310 in this pass."),
        ({"position": "0"}, "position", "Row 1 has trees 1 to 310 in this pass."),
        ({"row_id": "999"}, "row_id", "Choose a row of this pass."),
        ({"side": ""}, "side", "Choose one."),
        ({"columns": ""}, "columns", "Tap an answer."),
        ({"top": "fault"}, "top", "Name the fault."),
        ({"heading": "perhaps"}, "heading", "Tap one of the answers."),
    ],
)
def test_a_tree_that_cannot_be_taken(supervisor, database, url, tree, changes, field, sentence):
    answer = supervisor.post(f"{url}/tree", data=tree(**changes))
    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert count(database, tables.draw_tree) == count(database, tables.tree_score) == 0


def test_problems_of_place_and_answers_show_together(supervisor, url, tree):
    answer = supervisor.post(f"{url}/tree", data=tree(position="", columns=""))
    page = read_page(answer)
    assert set(page.problems) == {"position", "columns"}
    assert "Columns: Tap an answer." in page.text


def test_what_was_tapped_stays_with_its_problem(supervisor, url, tree):
    answer = supervisor.post(f"{url}/tree", data=tree(columns="", top="nothing_due"))
    assert read_page(answer).values["top"] == "nothing_due"


def test_a_missed_tree_needs_no_answers(supervisor, database, orchard, url, tree):
    sent = tree(4, missed="tree", top="", limbs="", columns="", heading="")
    sent.pop("save")
    assert supervisor.post(f"{url}/tree", data=sent).status_code == 302
    faults = {fault for score in seen(database, orchard, url).view.scores for fault in score.faults}
    assert faults == {"tree_missed"}


def test_a_tree_can_be_changed_and_moved(supervisor, database, orchard, url, tree):
    supervisor.post(f"{url}/tree", data=tree(3, top="fault", top_faults=["high"]))
    (tree_id,) = [one.id for one in seen(database, orchard, url).view.walk]
    change = f"{url}/tree?change={tree_id}"
    page = read_page(supervisor.get(change))
    assert page.headings == ["Change a tree"]
    assert (page.values["position"], page.values["top"]) == ("3", "fault")
    assert page.values["top_faults"] == "high"
    assert supervisor.post(change, data=tree(5, side="right")).location == url
    assert places(database, orchard, url) == [(1, 5, Side.RIGHT)]
    assert "Too high" not in supervisor.get(url).text


def test_a_tree_can_be_taken_out(supervisor, database, orchard, url, tree):
    supervisor.post(f"{url}/tree", data=tree(3))
    (tree_id,) = [one.id for one in seen(database, orchard, url).view.walk]
    assert supervisor.post(f"{url}/take-out", data={"tree_id": tree_id}).location == url
    assert places(database, orchard, url) == []
    supervisor.post(f"{url}/take-out", data={"tree_id": tree_id})
    assert "There is no such tree in this start check." in supervisor.get(url).text


def test_after_five_trees_none_is_asked_for(supervisor, database, orchard, url, tree):
    for position in range(1, 6):
        supervisor.post(f"{url}/tree", data=tree(position))
    assert f"{url}/tree" not in read_page(supervisor.get(url)).links
    assert supervisor.get(f"{url}/tree").location == url
    assert supervisor.post(f"{url}/tree", data=tree(6)).location == url
    assert len(places(database, orchard, url)) == 5


# --- closing -----------------------------------------------------------------------------------


def test_it_closes_after_three_trees_and_shows_what_to_say(supervisor, url, tree):
    for position in (1, 2):
        supervisor.post(f"{url}/tree", data=tree(position, limbs="fault", limbs_faults="too_few"))
    assert "Close the start check" not in supervisor.get(url).text
    supervisor.post(f"{url}/close")
    assert "Look at 3 trees at least" in supervisor.get(url).text
    supervisor.post(f"{url}/tree", data=tree(3))
    assert "Close the start check" in supervisor.get(url).text

    assert supervisor.post(f"{url}/close").location == url
    page = read_page(supervisor.get(url))
    for words in (
        "Closed on",
        "Take out the 2 largest limbs.",
        "Seen: Too few limbs out",
        "2 of 3 trees",
        "Right on every tree: Top, Columns, Heading.",
    ):
        assert words in page.text
    assert "Change" not in page.text


def test_a_closed_start_check_takes_nothing_more(supervisor, database, orchard, url, tree):
    for position in (1, 2, 3):
        supervisor.post(f"{url}/tree", data=tree(position))
    supervisor.post(f"{url}/close")
    assert supervisor.post(f"{url}/tree", data=tree(4)).location == url
    supervisor.post(f"{url}/close")
    assert "closed already" in supervisor.get(url).text
    assert len(places(database, orchard, url)) == 3


def test_the_pass_lists_its_start_checks(supervisor, pass_id, url, tree):
    page = read_page(supervisor.get(f"/passes/{pass_id}"))
    assert url in page.links
    assert "W1 Aurelio Barranco 0 trees" in page.text
    assert "Not closed yet" in page.text
    assert "Still missing: W2 Nélida Quintanar" in page.text
    for position in (1, 2, 3):
        supervisor.post(f"{url}/tree", data=tree(position))
    supervisor.post(f"{url}/close")
    text = read_page(supervisor.get(f"/passes/{pass_id}")).text
    assert "3 trees, begun" in text
    assert "Done" in text


def test_a_stage_out_of_use_is_not_asked_for(supervisor, database, url):
    with database.write() as connection:
        payload = connection.execute(tables.standard_version.select()).mappings().one()["payload"]
        payload["heading"]["rule"] = "off"
        connection.execute(tables.standard_version.update().values(payload=payload))
        connection.execute(
            tables.draw.update().values(stages=(Stage.TOP, Stage.LIMBS, Stage.COLUMNS))
        )
    text = supervisor.get(f"{url}/tree").text
    assert 'name="columns"' in text
    assert 'name="heading"' not in text
