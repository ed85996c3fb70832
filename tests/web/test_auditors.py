"""The auditors' pages as a crew lead meets them: walks, second audits, who agrees with whom."""

import re
from uuid import uuid4

import pytest

from audits.vocabulary import Fault, Role
from tests.page_words import words_of
from tests.paper import page_texts
from tests.row_audit import assign_halves, begin, fault, fill, first_trees, prune, seal
from tests.web.pages import read_page

LANGUAGES = ("en", "es")
NUMBERLESS = re.compile(r"\b(nan|inf|none)\b", re.IGNORECASE)
CHOSEN_SEED = 15


@pytest.fixture
def pruned(database, orchard):
    return prune(database, orchard)


@pytest.fixture
def walk_url(supervisor, pruned) -> str:
    """The page of a calibration walk of ten trees."""
    answer = supervisor.post("/auditors/walks/new", data=entered(pruned))
    assert answer.status_code == 302, answer.text
    return answer.location


def entered(pruned, **changes) -> dict[str, object]:
    return {"pass_id": pruned.pass_id, "trees": "10", "reference_id": "0"} | changes


def tree_form(**changes) -> dict[str, object]:
    answers = {"top": "right", "limbs": "2", "columns": "right", "heading": "right", "save": "1"}
    return {"client_id": str(uuid4())} | answers | changes


def begin_round(client, walk_url) -> str:
    answer = client.post(f"{walk_url}/round", data={"client_id": str(uuid4())})
    assert answer.status_code == 302, answer.text
    return answer.location


def score_all(client, round_url, answers_of=lambda _number: {}) -> None:
    for number in range(1, 1000):
        following = client.get(round_url)
        if following.status_code == 200:
            return
        assert client.get(following.location).status_code == 200
        answer = client.post(following.location, data=tree_form(**answers_of(number)))
        assert answer.status_code == 302, answer.text


def high_on_even(number: int) -> dict[str, object]:
    return {"top": "fault", "top_faults": ["high"]} if number % 2 == 0 else {}


def walked(client, walk_url, answers_of=lambda _number: {}) -> None:
    round_url = begin_round(client, walk_url)
    score_all(client, round_url, answers_of)
    assert client.post(f"{round_url}/close").status_code == 302


def text_of(client, url: str) -> str:
    answer = client.get(url)
    assert answer.status_code == 200, f"{url}: {answer.status_code}"
    read_page(answer)
    shown = re.sub(r"<[^>]*>", " ", answer.text)
    assert not NUMBERLESS.search(re.sub(r"(?s)<(script|style).*?</\1>", "", shown)), url
    return shown


@pytest.mark.parametrize("language", LANGUAGES)
def test_before_any_check_tree_sentences_stand_where_figures_would(sign_in, language):
    shown = text_of(sign_in(language=language), "/auditors")
    assert "%" not in shown
    assert text_of(sign_in(language=language), "/auditors/walks/new")


def test_workers_see_nothing_of_it(sign_in, supervisor, walk_url):
    round_url = begin_round(supervisor, walk_url)
    worker = sign_in(Role.WORKER)
    assert 'href="/auditors"' not in worker.get("/my-work", follow_redirects=True).text
    for url in ("/auditors", "/auditors/walks/new", walk_url, round_url, f"{round_url}/trees"):
        assert worker.get(url).status_code == 403, url
    for url in (f"{walk_url}/round", f"{round_url}/close", "/auditors/second-audits/1/begin"):
        assert worker.post(url).status_code == 403, url


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"trees": "9"}, "10 to 60 trees"),
        ({"trees": "many"}, "whole number"),
        ({"reference_id": "999"}, "leads crews"),
        ({"pass_id": "999"}, "no such pass"),
    ],
)
def test_a_walk_that_will_not_do_says_why(supervisor, pruned, changes, sentence):
    answer = supervisor.post("/auditors/walks/new", data=entered(pruned, **changes))
    assert answer.status_code in {404, 422}
    assert sentence in answer.text


def test_a_walk_from_the_draw_to_the_trees_to_talk_over(supervisor, owner, walk_url, orchard):
    walked(supervisor, walk_url, high_on_even)
    alone = text_of(supervisor, walk_url)
    assert "One person alone" in alone
    assert "Waits for you" in text_of(owner, "/auditors")
    before = text_of(owner, walk_url)
    assert "What it says shows once your own round is closed" in before
    assert "Ina Wetherell with Saul Brightwater" not in before
    walked(owner, walk_url)
    shown = text_of(owner, walk_url)
    assert "The same answer on 5 of 10 trees. Too few to judge." in shown
    assert supervisor.post(f"{walk_url}/close").status_code == 302
    assert "Ina Wetherell with Saul Brightwater" in text_of(owner, "/auditors")
    pair = f"/auditors/pairs/{orchard.owner.user_id}/{orchard.supervisor.user_id}"
    shown = text_of(owner, pair)
    assert shown.count("Too high") == 5
    assert shown.count("Creek Block, Row ") == 5
    assert text_of(owner, pair + "?season=2025")
    assert owner.get("/auditors/pairs/1/1").status_code == 404
    assert owner.get(f"{pair}?season=2020").status_code == 404


def test_a_round_shows_to_nobody_else_before_both_are_closed(supervisor, owner, walk_url):
    theirs = begin_round(supervisor, walk_url)
    score_all(supervisor, theirs)
    for url in (theirs, f"{theirs}/trees", f"{theirs}/trees/1"):
        assert owner.get(url).status_code == 403
    supervisor.post(f"{theirs}/close")
    audit_id = theirs.rsplit("/", 1)[-1]
    for url in (f"{theirs}/trees", f"/audits/{audit_id}", f"/audits/{audit_id}/trees"):
        assert owner.get(url).status_code in {403, 404}, url
    walked(owner, walk_url)
    trees = text_of(owner, f"{theirs}/trees")
    for stage in ("Top", "Limbs", "Columns", "Heading"):
        assert re.search(rf"{stage}:\s+Right", trees), stage
    assert owner.get(f"/audits/{audit_id}").status_code == 404


def test_a_tree_may_be_left_out_and_lacks_no_answer(supervisor, walk_url):
    round_url = begin_round(supervisor, walk_url)
    tree_url = supervisor.get(round_url).location
    unanswered = supervisor.post(tree_url, data=tree_form(top=""))
    assert unanswered.status_code == 422
    left_out = {"client_id": str(uuid4()), "leave_out": "1"}
    assert supervisor.post(tree_url, data=left_out).status_code == 302
    assert supervisor.get(round_url).location != tree_url
    assert "Not scored" in text_of(supervisor, f"{round_url}/trees")
    early = supervisor.post(f"{round_url}/close", follow_redirects=True)
    assert "Score the remaining trees first" in early.text


def test_a_second_round_begins_before_anything_is_seen(supervisor, owner, walk_url):
    walked(owner, walk_url)
    first = begin_round(supervisor, walk_url)
    score_all(supervisor, first)
    second = supervisor.post(f"{first}/close", data={"again": "1"}).location
    assert second != first
    assert supervisor.get(f"{first}/trees").status_code == 403
    assert "Go on with my round" in text_of(supervisor, walk_url)


def test_a_second_audit_from_the_list_to_the_pair(supervisor, owner, database, orchard, pruned):
    first = begin(database, orchard, pruned.lot_ids[0], seed=CHOSEN_SEED)
    fill(database, orchard, first)
    seal(database, orchard, first)
    assert owner.get(f"/audits/{first}").status_code == 403
    assert supervisor.get(f"/audits/{first}").status_code == 200
    listed = text_of(owner, "/auditors")
    assert "Score these trees" in listed
    assert "Score these trees" not in text_of(supervisor, "/auditors")
    begun = owner.post("/auditors/second-audits/1/begin", data={"client_id": str(uuid4())})
    round_url = begun.location
    score_all(owner, round_url, high_on_even)
    assert owner.post(f"{round_url}/close").status_code == 302
    assert owner.get(f"/audits/{first}").status_code == 200
    assert "Made by Ina Wetherell" in text_of(supervisor, "/auditors")
    pair = f"/auditors/pairs/{orchard.owner.user_id}/{orchard.supervisor.user_id}"
    assert "Too high" in text_of(supervisor, pair)
    assert "Made by" not in text_of(supervisor, f"/lots/{pruned.lot_ids[0]}")


def test_where_faults_stand_stays_unseen_on_a_workers_page_and_on_a_rework_order(
    supervisor, owner, sign_in, database, orchard, pruned
):
    worker_id, _ = assign_halves(database, orchard, pruned)
    first = begin(database, orchard, pruned.lot_ids[0], seed=CHOSEN_SEED)
    fill(database, orchard, first, first_trees(9, top=fault(Fault.HIGH)))
    seal(database, orchard, first)
    page, order = f"/workers/{worker_id}", "/print/rework/1.pdf"

    def shown_to(client):
        return tells_where(client), "fault found" in read_pdf(client, order)

    def tells_where(client):
        return re.search(r"\btree \d+", words_of(client.get(page))) is not None

    assert shown_to(supervisor) == (True, True)
    assert shown_to(owner) == (False, False)
    assert tells_where(sign_in(Role.WORKER))
    assert "to be scored a second time, unseen" in words_of(owner.get(page))
    assert "Too high" in read_pdf(owner, order)
    owner.post("/auditors/second-audits/1/give-up")
    assert shown_to(owner) == (True, True)


def read_pdf(client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return " ".join(page_texts(answer.data))


def test_a_second_audit_may_be_given_up_by_somebody_else(
    supervisor, owner, database, orchard, pruned
):
    first = begin(database, orchard, pruned.lot_ids[0], seed=CHOSEN_SEED)
    fill(database, orchard, first)
    seal(database, orchard, first)
    refused = supervisor.post("/auditors/second-audits/1/give-up", follow_redirects=True)
    assert "You made the first audit" in refused.text
    owner.post("/auditors/second-audits/1/give-up")
    assert owner.get(f"/audits/{first}").status_code == 200
    assert "Ina Wetherell gave it up." in text_of(owner, "/auditors")
    answer = owner.post("/auditors/second-audits/1/begin", data={"client_id": str(uuid4())})
    assert answer.location == "/auditors"
    assert owner.post("/auditors/second-audits/9/give-up", follow_redirects=True).status_code == 200
    assert owner.post("/auditors/second-audits/9/begin", data=tree_form()).status_code == 404


@pytest.mark.parametrize("language", LANGUAGES)
def test_measured_heights_are_drawn_and_listed(sign_in, walk_url, orchard, language):
    for role, height in ((Role.SUPERVISOR, "10 ft"), (Role.OWNER, "10 ft 1 in")):
        client = sign_in(role)
        measured = {"top": "", "top_measured": "1", "top_height": height, "top_side_branch": "1"}
        walked(client, walk_url, lambda number, given=measured: given if number else {})
    client = sign_in(Role.OWNER, language)
    assert text_of(client, walk_url)
    shown = client.get(f"/auditors/pairs/{orchard.owner.user_id}/{orchard.supervisor.user_id}")
    assert 'id="differences-top' in shown.text


def test_unknown_addresses_are_not_there(supervisor):
    for url in ("/auditors/walks/99", "/auditors/audits/99", "/auditors/audits/99/trees/1"):
        assert supervisor.get(url).status_code == 404
    for url in ("/auditors/walks/99/close", "/auditors/audits/99/close"):
        assert supervisor.post(url).status_code == 404
