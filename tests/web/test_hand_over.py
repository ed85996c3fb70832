"""A crew lead's phone in the hands of somebody who learns: what opens, for whom, until when."""

import pytest

from audits.vocabulary import Role
from tests.orchard import PASSWORD
from tests.page_words import words_of
from tests.web.test_access import addresses
from webapp.access import open_to_learner

IN_ENGLISH = 3


def hand_over(client, orchard, person=IN_ENGLISH):
    answer = client.post("/learn/hand-over", data={"worker_id": orchard.worker_ids[person]})
    assert answer.status_code == 302, answer.text
    return answer


@pytest.fixture
def handed_over(supervisor, orchard):
    hand_over(supervisor, orchard)
    return supervisor


def test_only_pages_of_learning_open_until_the_password_is_given(app, orchard, handed_over):
    """Every address is tried, so that a page of tomorrow is closed as well."""
    closed = opened = 0
    for address in addresses(app, worker_id=orchard.worker_ids[0]):
        if address.method != "GET" or address.rule.startswith(("/static", "/field/")):
            continue
        answer = handed_over.get(address.path)
        if address.rule.startswith(("/learn", "/quiz", "/practice")):
            opened += answer.status_code == 200
        elif address.rule not in {"/sign-in", "/ready", "/ready/phone"}:
            assert answer.status_code in {401, 403, 404}, address.rule
            closed += answer.status_code in {401, 403}
    assert opened >= 3
    assert closed > 50


def test_a_page_that_is_opened_to_learners_by_mistake_is_found(app, handed_over):
    assert handed_over.get("/workers").status_code == 403
    open_to_learner(app.view_functions["workers.mine"])
    assert handed_over.get("/workers/mine").status_code == 200
    del app.view_functions["workers.mine"].open_to_learner
    assert handed_over.get("/workers/mine").status_code == 403


def test_whoever_holds_the_phone_is_a_worker_and_sees_nobody_elses(orchard, handed_over):
    for page in (
        f"/quiz/workers/{orchard.worker_ids[0]}",
        f"/coaching/{orchard.worker_ids[0]}",
        "/learn/briefs",
    ):
        assert handed_over.get(page).status_code in {403, 404}, page
    text = words_of(handed_over.get("/quiz"))
    assert "The person sits beside you" not in text


def test_the_password_of_the_crew_lead_takes_it_back(handed_over):
    wrong = handed_over.post("/learn/give-back", data={"password": "not this one, never"})
    assert wrong.status_code == 422
    assert handed_over.get("/").status_code == 403
    right = handed_over.post("/learn/give-back", data={"password": PASSWORD})
    assert right.status_code == 302
    assert handed_over.get("/").status_code == 200


def test_wrong_passwords_make_the_next_try_wait(handed_over):
    for _ in range(6):
        handed_over.post("/learn/give-back", data={"password": "not this one, never"})
    answer = handed_over.post("/learn/give-back", data={"password": PASSWORD})
    assert answer.status_code == 422
    assert "Too many tries" in answer.text


def test_the_language_is_the_learners_and_the_crew_leads_own_stays(orchard, sign_in):
    client = sign_in(Role.SUPERVISOR, "en")
    hand_over(client, orchard, 0)
    assert 'lang="es"' in client.get("/learn").text
    client.post("/language", data={"language": "en", "next": "/learn"})
    assert 'lang="en"' in client.get("/learn").text
    client.post("/language", data={"language": "es", "next": "/learn"})
    client.post("/learn/give-back", data={"password": PASSWORD})
    assert 'lang="en"' in client.get("/learn").text


def test_workers_hand_over_nothing_and_nobody_gets_an_unknown_person(orchard, sign_in, supervisor):
    worker = sign_in(Role.WORKER)
    answer = worker.post("/learn/hand-over", data={"worker_id": orchard.worker_ids[1]})
    assert answer.status_code == 403
    assert supervisor.post("/learn/hand-over", data={"worker_id": 999}).status_code == 422
    assert supervisor.get("/").status_code == 200
