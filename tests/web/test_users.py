"""Who can sign in, managed by the owner."""

import pytest
import sqlalchemy as sa

from audits.services import accounts
from audits.storage import tables
from audits.storage.queries import accounts as queries
from audits.vocabulary import Role
from tests.orchard import PASSWORD, plant_orchard
from tests.web.conftest import NOW
from tests.web.pages import read_page

NEW_PASSWORD = "a quiet row of apples"  # noqa: S105 - opens nothing but the tests' own farm


@pytest.fixture
def person() -> dict[str, str]:
    """A new person's entries."""
    return {
        "name": "Lupe Fontanar",
        "role": "supervisor",
        "language": "es",
        "worker_id": "",
        "password": NEW_PASSWORD,
    }


def sign_in_as(app, name, password=PASSWORD):
    client = app.test_client()
    return client, client.post("/sign-in", data={"name": name, "password": password})


def user(database, orchard, name):
    with database.read() as connection:
        return queries.user_by_name(connection, orchard.farm_id, name)


def count(database) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(tables.user_account))


def test_the_owner_sees_who_can_sign_in(owner):
    text = read_page(owner.get("/farm")).text

    assert "Aurelio Worker English W1 Aurelio Barranco Can sign in" in text
    assert "Ina Wetherell Owner English - Can sign in" in text


def test_a_new_person_can_sign_in(app, database, orchard, owner, person):
    answer = owner.post("/farm/people/new", data=person, follow_redirects=True)
    assert "Lupe Fontanar can sign in now." in read_page(answer).text

    client, _ = sign_in_as(app, "lupe fontanar", NEW_PASSWORD)
    page = client.get("/blocks")
    assert page.status_code == 200
    assert '<html lang="es"' in page.text
    assert user(database, orchard, "Lupe Fontanar").role is Role.SUPERVISOR


@pytest.mark.parametrize("typed", ["Álvaro Ñuño", "álvaro ñuño", "ÁLVARO ÑUÑO"])
def test_a_name_signs_in_in_small_and_capital_letters_of_any_alphabet(app, owner, person, typed):
    owner.post("/farm/people/new", data=person | {"name": "Álvaro Ñuño"})
    client, _ = sign_in_as(app, typed, NEW_PASSWORD)
    assert client.get("/blocks").status_code == 200


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"name": ""}, "name", "Give a sign-in name."),
        ({"name": "INA  wetherell"}, "name", "This sign-in name is taken."),
        (
            {"password": "short"},
            "password",
            "Use at least 15 characters. A short sentence is easy to keep in mind.",
        ),
        ({"password": ""}, "password", "Give a password."),
        ({"role": ""}, "role", "Choose one."),
        ({"language": ""}, "language", "Choose one."),
        ({"role": "worker"}, "worker_id", "Choose whose records this person may see."),
    ],
)
def test_a_bad_person_is_refused_at_the_field(database, owner, person, change, field, sentence):
    answer = owner.post("/farm/people/new", data={**person, **change})

    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert NEW_PASSWORD not in answer.text
    assert count(database) == 3


def test_two_people_cannot_see_one_workers_records_as_theirs(orchard, owner, person):
    entry = {**person, "role": "worker", "worker_id": orchard.worker_ids[0]}
    answer = owner.post("/farm/people/new", data=entry)

    assert read_page(answer).problems == {"worker_id": "Aurelio sees these records already."}
    answer = owner.post("/farm/people/new", data={**entry, "worker_id": orchard.worker_ids[1]})
    assert answer.status_code == 302


def test_a_worker_of_another_farm_cannot_be_linked(database, owner, person):
    other = plant_orchard(database, NOW, name="Cold Spring")
    entry = {**person, "role": "worker", "worker_id": other.worker_ids[1]}

    answer = owner.post("/farm/people/new", data=entry)
    assert (answer.status_code, list(read_page(answer).problems)) == (422, ["worker_id"])


def test_a_role_takes_effect_at_once(orchard, owner, supervisor):
    url = f"/farm/people/{orchard.supervisor.user_id}"
    form = read_page(owner.get(url)).values
    assert form["role"] == "supervisor"
    assert supervisor.get("/blocks").status_code == 200
    owner.post(url, data={**form, "role": "worker", "worker_id": orchard.worker_ids[2]})

    assert supervisor.get("/blocks").status_code == 403


def test_a_new_password_ends_the_sessions_and_replaces_the_old_one(app, orchard, owner, supervisor):
    url = f"/farm/people/{orchard.supervisor.user_id}"
    form = read_page(owner.get(url)).values
    owner.post(url, data={**form, "password": NEW_PASSWORD})

    assert "/sign-in" in supervisor.get("/blocks").location
    assert sign_in_as(app, orchard.supervisor.name)[1].status_code == 200
    assert sign_in_as(app, orchard.supervisor.name, NEW_PASSWORD)[1].status_code == 302


def test_an_empty_password_keeps_the_present_one(app, orchard, owner, supervisor):
    url = f"/farm/people/{orchard.supervisor.user_id}"
    form = read_page(owner.get(url)).values
    owner.post(url, data={**form, "name": "Saul B."})

    assert supervisor.get("/blocks").status_code == 200
    assert sign_in_as(app, "saul b.")[1].status_code == 302


def test_a_closed_account_is_signed_out_at_once_and_can_be_opened_again(
    app, orchard, owner, supervisor
):
    url = f"/farm/people/{orchard.supervisor.user_id}"
    answer = owner.post(f"{url}/close", follow_redirects=True)
    assert "Saul Brightwater can no longer sign in." in read_page(answer).text
    assert "Saul Brightwater Supervisor English - Cannot sign in" in read_page(answer).text
    assert "/sign-in" in supervisor.get("/blocks").location
    assert sign_in_as(app, orchard.supervisor.name)[1].status_code == 200

    owner.post(f"{url}/reopen")
    assert sign_in_as(app, orchard.supervisor.name)[1].status_code == 302


def test_owners_cannot_shut_themselves_out(orchard, owner):
    url = f"/farm/people/{orchard.owner.user_id}"
    form = read_page(owner.get(url)).values
    answer = owner.post(url, data={**form, "role": "supervisor"})

    assert read_page(answer).problems == {"role": "You cannot give up your own role."}
    assert owner.post(f"{url}/close").status_code == 422
    assert "Close the account" not in read_page(owner.get(url)).text
    assert owner.get("/farm").status_code == 200


def test_accounts_of_another_farm_are_not_found(database, owner, person):
    other = plant_orchard(database, NOW, name="Cold Spring")
    url = f"/farm/people/{other.supervisor.user_id}"

    assert owner.get(url).status_code == 404
    assert owner.post(url, data=person).status_code == 404
    for step in ("close", "reopen"):
        assert owner.post(f"{url}/{step}").status_code == 404
    assert accounts.sign_in(
        database,
        other.farm_id,
        other.supervisor.name,
        PASSWORD,
        token="t",  # noqa: S106
        now=NOW,
    )
