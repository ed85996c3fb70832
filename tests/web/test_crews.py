"""Crews and workers: added, changed, listed by code or name and never by result."""

import pytest
import sqlalchemy as sa

from audits.storage import tables
from audits.storage.queries import farms as queries
from audits.vocabulary import Role
from tests.orchard import plant_orchard
from tests.web.conftest import NOW
from tests.web.pages import read_page


@pytest.fixture
def worker(orchard) -> dict[str, str]:
    """A new worker's entries."""
    return {"code": "W10", "name": "Celso Arrieta", "language": "es", "crew_id": orchard.crew_id}


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def order_in(text, *words) -> list[str]:
    return sorted(words, key=text.index)


def test_workers_are_listed_by_code_and_on_wish_by_name(supervisor, worker):
    supervisor.post("/crews/workers/new", data=worker)

    by_code = read_page(supervisor.get("/crews")).text
    by_name = read_page(supervisor.get("/crews?order=name")).text
    assert order_in(by_code, "W1 ", "W2 ", "W10 ") == ["W1 ", "W2 ", "W10 "]
    assert order_in(by_name, "Aurelio", "Celso", "Nélida") == ["Aurelio", "Celso", "Nélida"]


def test_a_worker_is_added_to_the_crew_whose_key_was_pressed(database, orchard, supervisor, worker):
    form = read_page(supervisor.get(f"/crews/workers/new?crew_id={orchard.crew_id}")).values
    assert form["crew_id"] == str(orchard.crew_id)
    answer = supervisor.post(
        "/crews/workers/new",
        data={**form, **worker, "started_on": "2026-01-19"},
        follow_redirects=True,
    )

    assert "Celso Arrieta was added." in read_page(answer).text
    with database.read() as connection:
        added = queries.worker_by_code(connection, orchard.farm_id, "W10")
    assert (added.name, added.language, added.crew_id) == ("Celso Arrieta", "es", orchard.crew_id)
    assert added.started_on.isoformat() == "2026-01-19"


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"code": ""}, "code", "Give the worker a code."),
        ({"code": "w1"}, "code", "Another worker has this code."),
        ({"code": "far too long a code"}, "code", "Use at most 12 characters."),
        ({"name": " "}, "name", "Give the worker's name."),
        ({"language": ""}, "language", "Choose one."),
        (
            {"started_on": "Monday"},
            "started_on",
            "Write the day as year-month-day, such as 2026-01-20.",
        ),
    ],
)
def test_a_bad_worker_is_refused_at_its_field(
    database, supervisor, worker, change, field, sentence
):
    answer = supervisor.post("/crews/workers/new", data={**worker, **change})

    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert count(database, tables.worker) == 6


def test_each_worker_leads_to_their_results(supervisor, orchard):
    links = read_page(supervisor.get("/crews")).links

    for worker_id in orchard.worker_ids:
        assert f"/workers/{worker_id}" in links


def test_a_name_can_be_erased(database, orchard, supervisor):
    url = f"/crews/workers/{orchard.worker_ids[0]}/edit"
    form = read_page(supervisor.get(url)).values
    supervisor.post(url, data={**form, "name": ""})

    assert "W1 name erased" in read_page(supervisor.get("/crews")).text
    assert count(database, tables.worker_name) == 5


def test_those_who_left_are_listed_apart(supervisor, orchard):
    url = f"/crews/workers/{orchard.worker_ids[0]}/edit"
    form = read_page(supervisor.get(url)).values
    supervisor.post(url, data={**form, "retired": "y"})

    text = read_page(supervisor.get("/crews")).text
    assert text.index("Those who are no longer here") < text.index("Aurelio Barranco")


def test_workers_without_a_crew_are_listed_last(supervisor, worker):
    supervisor.post("/crews/workers/new", data={**worker, "crew_id": ""})

    supervisor.get("/crews")  # takes the message that names the worker
    text = read_page(supervisor.get("/crews")).text
    assert text.index("Maribel Sotelo") < text.index("Without a crew") < text.index("Celso Arrieta")


def test_a_crew_is_added_renamed_and_retired(supervisor, orchard):
    answer = supervisor.post("/crews/new", data={"name": "Crew B"}, follow_redirects=True)
    assert "Crew B" in read_page(answer).text
    answer = supervisor.post("/crews/new", data={"name": "crew b"})
    assert (answer.status_code, read_page(answer).problems) == (
        422,
        {"name": "Another crew has this name."},
    )
    answer = supervisor.post("/crews/new", data={"name": ""})
    assert read_page(answer).problems == {"name": "Give the crew a name."}

    url = f"/crews/{orchard.crew_id}/edit"
    answer = supervisor.post(url, data={"name": "Crew Ash", "retired": "y"}, follow_redirects=True)
    text = read_page(answer).text
    assert "Crew Ash (no longer here)" in text
    assert text.index("Crew B") < text.index("Crew Ash")


def test_a_worker_keeps_a_crew_that_is_no_longer_here(supervisor, orchard):
    supervisor.post(f"/crews/{orchard.crew_id}/edit", data={"name": "Crew A", "retired": "y"})

    form = read_page(supervisor.get(f"/crews/workers/{orchard.worker_ids[0]}/edit")).values
    assert form["crew_id"] == str(orchard.crew_id)


def test_crews_and_workers_of_another_farm_are_not_found(database, supervisor, worker):
    other = plant_orchard(database, NOW, name="Cold Spring")

    for url in (f"/crews/{other.crew_id}/edit", f"/crews/workers/{other.worker_ids[0]}/edit"):
        assert supervisor.get(url).status_code == 404
        assert supervisor.post(url, data=worker).status_code == 404
    answer = supervisor.post("/crews/workers/new", data={**worker, "crew_id": other.crew_id})
    assert answer.status_code == 422
    assert list(read_page(answer).problems) == ["crew_id"]


@pytest.mark.parametrize(
    "path", ["/crews", "/crews/new", "/crews/1/edit", "/crews/workers/new", "/crews/workers/1/edit"]
)
def test_the_pages_are_for_crew_leads_and_speak_spanish(sign_in, path):
    assert sign_in(Role.WORKER).get(path).status_code == 403
    answer = sign_in(Role.SUPERVISOR, "es").get(path)
    page = read_page(answer)
    assert answer.status_code == 200
    assert '<html lang="es"' in answer.text
    assert len(page.headings) == 1
    assert page.unlabelled == []


def test_a_farm_without_crews_is_led_to_the_first(database, owner):
    with database.write() as connection:
        for table in (tables.user_account,):
            connection.execute(table.update().values(worker_id=None))
        for table in (tables.worker_name, tables.worker, tables.crew):
            connection.execute(table.delete())

    page = read_page(owner.get("/crews"))
    assert "No crew yet." in page.text
    assert "/crews/new" in page.links
