"""Quizzes on a screen, through the pages: nothing tells a key before the quiz is handed in."""

import re
from dataclasses import replace
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.messages import ENGLISH
from audits.quiz_letters import letters_of
from audits.quizzes import make_quiz
from audits.services import accounts, quiz_attempts
from audits.services.quiz_attempts import QuizPaper
from audits.storage.queries.quizzes import sitting_by_uid
from audits.storage.tables import quiz_attempt, quiz_sitting
from audits.vocabulary import QuizStyle, Role
from tests.orchard import PASSWORD
from tests.page_words import words_of
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.quizzes import routes

QUESTION = re.compile(r"/quiz/([0-9a-f-]{36})/(\d+)$")


@pytest.fixture(autouse=True)
def _made_anew():
    yield
    quiz_attempts._made.cache_clear()


@pytest.fixture
def worker(sign_in):
    return sign_in(Role.WORKER)


def name_in(page) -> str:
    """Return the name that the next quiz is to have."""
    return re.search(r'name="quiz"[^>]*value="([0-9a-f-]{36})"', page.text).group(1)


def begin(client, orchard, **changes) -> str:
    """Begin a quiz and return the beginning of its addresses."""
    page = client.get("/quiz")
    assert page.status_code == 200
    data = {
        "quiz": name_in(page),
        "block_id": orchard.block_id,
        "language": "es",
        "style": "words",
        **changes,
    }
    answer = client.post("/quiz", data=data)
    assert answer.status_code == 302, answer.text
    return answer.location.rpartition("/")[0]


def sitting_in(database, orchard, address: str):
    with database.read() as connection:
        return sitting_by_uid(connection, orchard.farm_id, address[-36:].replace("-", ""))


def quiz_of(database, orchard, address: str):
    sitting = sitting_in(database, orchard, address)
    paper = QuizPaper(
        sitting.standard_version_id,
        sitting.seed,
        sitting.variant,
        sitting.method,
        sitting.language,
        sitting.style,
        tuple(sitting.retired_items),
    )
    return quiz_attempts.quiz_of(database, orchard.supervisor, paper)


def answer(client, address: str, number: int, choice=None, go="next"):
    data = {"go": go} | ({} if choice is None else {"choice": choice})
    return client.post(f"{address}/{number}", data=data)


def walk_through(client, address: str) -> list[bytes]:
    """Take a whole quiz but for handing it in; return all that a browser got."""
    got = []

    def keep(response):
        assert response.status_code in {200, 302, 422}, response.text
        head = "\n".join(f"{name}: {value}" for name, value in response.headers)
        got.append(f"{head}\n\n{response.text}".encode())

    for number in range(1, 11):
        keep(client.get(f"{address}/{number}"))
        keep(answer(client, address, number, choice=number % 3))
        keep(client.get(f"{address}/{number}"))
        keep(answer(client, address, number, choice=9))
    keep(client.get(f"{address}/hand-in"))
    keep(client.get("/quiz"))
    return got


def with_other_keys(monkeypatch) -> None:
    """Let the same quiz have other right answers, and nothing else that is other."""

    def other(standard, **options):
        quiz = make_quiz(standard, **options)
        questions = tuple(
            replace(question, key=(question.key + 1) % len(question.choices))
            for question in quiz.questions
        )
        return replace(quiz, questions=questions)

    quiz_attempts._made.cache_clear()
    monkeypatch.setattr(quiz_attempts, "make_quiz", other)


# --- before it is handed in ----------------------------------------------------------------------


@pytest.mark.parametrize("style", QuizStyle)
def test_every_answer_of_a_quiz_is_the_same_whatever_is_right(
    worker, database, orchard, monkeypatch, style
):
    """
    Take a quiz twice, with other keys: markup, order, ids, headers and sentences stay the same.

    Whatever could tell a key would have to differ.
    """
    address = begin(worker, orchard, style=style)
    letters = sitting_in(database, orchard, address).key_letters
    unanswered = {"answers": [None] * 10}
    first = walk_through(worker, address)
    with database.write() as connection:
        connection.execute(quiz_sitting.update().values(**unanswered))
    with_other_keys(monkeypatch)
    other = letters_of(quiz_of(database, orchard, address))
    assert other != letters
    with database.write() as connection:
        connection.execute(quiz_sitting.update().values(key_letters=other))
    second = walk_through(worker, address)
    assert len(first) == 42
    assert without_moving_parts(first) == without_moving_parts(second)


def without_moving_parts(answers: list[bytes]) -> list[bytes]:
    """Leave out cookies, tokens and the name of the next quiz, which differ every time."""
    moving = re.compile(
        rb"Set-Cookie: [^\n]*|name=\"(?:quiz|csrf_token)\"[^>]*value=\"[^\"]*\"|Content-Length: \d+"
    )
    return [moving.sub(b"", answer) for answer in answers]


TELLING = {
    "a letter": lambda quiz, place: f"key={quiz.questions[place].key}",
    "a class": lambda quiz, place: "is-right" if quiz.questions[place].key == 0 else "",
}


@pytest.mark.parametrize("telling", TELLING.values(), ids=TELLING)
def test_a_page_that_tells_its_key_would_be_found(worker, database, orchard, monkeypatch, telling):
    """The same comparison fails as soon as one page says anything that rests on the key."""

    honest = routes.question_screen

    def telling_screen(view, number):
        screen = honest(view, number)
        quiz = quiz_of(database, orchard, address)
        return replace(screen, stem=screen.stem + telling(quiz, number - 1))

    monkeypatch.setattr(routes, "question_screen", telling_screen)
    address = begin(worker, orchard)
    first = walk_through(worker, address)
    with database.write() as connection:
        connection.execute(quiz_sitting.update().values(answers=[None] * 10))
    with_other_keys(monkeypatch)
    letters = letters_of(quiz_of(database, orchard, address))
    with database.write() as connection:
        connection.execute(quiz_sitting.update().values(key_letters=letters))
    second = walk_through(worker, address)
    assert without_moving_parts(first) != without_moving_parts(second)


@pytest.mark.parametrize("style", QuizStyle)
def test_no_page_of_a_quiz_names_items_choices_or_reasons(worker, database, orchard, style):
    """Names of choices such as "leave" would tell more than their words do."""
    address = begin(worker, orchard, style=style, language="en")
    quiz = quiz_of(database, orchard, address)
    names = {question.item for question in quiz.questions}
    names |= {name for question in quiz.questions for name in question.option_keys}
    letters = letters_of(quiz)
    reasons = {question.why.text for question in quiz.questions} - {""}
    for got in walk_through(worker, address):
        page = got.decode()
        assert not {reason for reason in reasons if reason in page}
        assert letters not in page
        assert "data-key" not in page
        values = set(re.findall(r"(?:value|id|class|data-[a-z-]+)=\"([^\"]*)\"", page))
        assert not {name for name in names if name in values}


def test_where_the_right_answer_stands_follows_no_rule(database, orchard):
    """Places are drawn: over many quizzes each of the first three is right about as often."""
    paper = QuizPaper(orchard.standard_id, 0, "A", "ladder", "es")
    places = [
        place
        for seed in range(60)
        for place in quiz_attempts.quiz_of(
            database, orchard.supervisor, replace(paper, seed=seed, variant="ABCD"[seed % 4])
        ).key
    ]
    shares = [places.count(place) / len(places) for place in range(3)]
    assert all(0.2 < share < 0.37 for share in shares), shares


# --- taking it -----------------------------------------------------------------------------------


def test_a_worker_takes_a_quiz_to_its_result(worker, database, orchard):
    address = begin(worker, orchard)
    key = quiz_of(database, orchard, address).key
    for number, place in enumerate(key, start=1):
        wrong = (place + 1) % 3 if number == 2 else place
        gone = answer(worker, address, number, None if number == 5 else wrong)
        assert gone.status_code == 302
    assert gone.location == f"{address}/hand-in"
    check = read_page(worker.get(f"{address}/hand-in"))
    assert f"{address}/5" in check.links
    done = worker.post(f"{address}/hand-in")
    assert done.status_code == 302
    result = read_page(worker.get(done.location))
    assert result.headings[0].startswith("8")
    with database.read() as connection:
        (kept,) = connection.execute(sa.select(quiz_attempt)).all()
    assert (kept.correct, kept.language, kept.pass_mark) == (8, "es", 8)


def test_items_are_shown_as_they_were_last_asked(worker, owner, database, orchard):
    """Another drawing of the same item may have another right answer than the one counted."""
    address = begin(worker, orchard)
    quiz = quiz_of(database, orchard, address)
    walk_through(worker, address)
    worker.post(f"{address}/hand-in")
    for question in quiz.questions:
        page = words_of(owner.get(f"/quiz-items/{question.item}"))
        assert "As it was last asked" in page
        assert f"Right {ENGLISH.say(question.answer)}" in page
        assert all(ENGLISH.say(choice) in page for choice in question.choices)


def test_a_crew_lead_begins_a_quiz_for_the_worker_beside_them(supervisor, database, orchard):
    page = supervisor.get("/quiz")
    data = {"quiz": name_in(page), "block_id": orchard.block_id}
    data |= {"language": "es", "style": "words"}
    refused = supervisor.post("/quiz", data=data)
    assert refused.status_code == 422
    assert "worker_id" in read_page(refused).problems
    address = begin(supervisor, orchard, worker_id=orchard.worker_ids[2])
    assert sitting_in(database, orchard, address).worker_id == orchard.worker_ids[2]
    screen = supervisor.get(f"{address}/1")
    assert '<html lang="es"' in screen.text


def test_back_stop_and_next_each_keep_what_was_chosen(worker, database, orchard):
    address = begin(worker, orchard)
    for number, go, leads_to in [
        (1, "next", f"{address}/2"),
        (2, "back", f"{address}/1"),
        (3, "stop", "/quiz"),
        (10, "next", f"{address}/hand-in"),
        (1, "back", f"{address}/1"),
        (4, "nonsense", f"{address}/5"),
    ]:
        gone = answer(worker, address, number, choice=1, go=go)
        assert (gone.status_code, gone.location) == (302, leads_to)
    answers = sitting_in(database, orchard, address).answers
    assert [place for place, choice in enumerate(answers, 1) if choice == 1] == [1, 2, 3, 4, 10]
    assert 'value="1" checked' in worker.get(f"{address}/2").text
    assert f"{address}/5" in read_page(worker.get("/quiz")).links


def test_a_session_that_ends_loses_nothing_that_was_sent(worker, database, orchard, sign_in):
    address = begin(worker, orchard)
    answer(worker, address, 1, choice=2)
    worker.post("/sign-out")
    assert answer(worker, address, 2, choice=2).location.startswith("/sign-in")
    again = sign_in(Role.WORKER)
    assert f"{address}/2" in read_page(again.get("/quiz")).links
    assert sitting_in(database, orchard, address).answers[0] == 2


def test_a_quiz_handed_in_again_says_so_and_is_kept_once(worker, database, orchard):
    """By the back key, by a key pressed twice, and by a second tab."""
    address = begin(worker, orchard)
    first = worker.post(f"{address}/hand-in")
    for again in (
        worker.post(f"{address}/hand-in"),
        worker.get(f"{address}/hand-in"),
        worker.get(f"{address}/3"),
        answer(worker, address, 3, choice=1),
    ):
        assert (again.status_code, again.location) == (302, first.location)
    assert 'role="status"' in worker.get(first.location).text
    with database.read() as connection:
        kept = connection.execute(sa.select(quiz_attempt.c.answers)).all()
    assert kept == [([None] * 10,)]


def test_a_start_key_pressed_twice_begins_one_quiz(worker, orchard):
    name = str(uuid4())
    assert begin(worker, orchard, quiz=name) == begin(worker, orchard, quiz=name)


@pytest.mark.parametrize("name", ["", "no uuid", "0" * 500])
def test_a_form_without_a_name_still_begins_a_quiz(worker, orchard, name):
    assert QUESTION.fullmatch(begin(worker, orchard, quiz=name) + "/1")


@pytest.mark.parametrize("choice", ["4", "9", "-1", "x", "٣", "1" * 400])
def test_a_choice_that_is_not_there_is_said_and_nothing_is_lost(worker, database, orchard, choice):
    address = begin(worker, orchard)
    answer(worker, address, 1, choice=1)
    refused = answer(worker, address, 1, choice=choice)
    assert refused.status_code == 422
    assert 'role="alert"' in refused.text
    assert sitting_in(database, orchard, address).answers[0] == 1


@pytest.mark.parametrize(
    ("field", "value"),
    [("block_id", "999999"), ("block_id", ""), ("language", "fr"), ("style", "loud")],
)
def test_a_start_that_fits_nothing_names_its_field(worker, orchard, field, value):
    data = {"quiz": str(uuid4()), "block_id": orchard.block_id, "language": "es"}
    refused = worker.post("/quiz", data={**data, "style": "words", field: value})
    assert refused.status_code == 422
    assert field in read_page(refused).problems


def test_there_is_no_quiz_of_somebody_else(app, worker, supervisor, owner, orchard, database):
    address = begin(worker, orchard)
    accounts.add_user(
        database,
        orchard.farm_id,
        name="Berta",
        password=PASSWORD,
        role=Role.WORKER,
        language="es",
        now=NOW,
        worker_id=orchard.worker_ids[1],
    )
    other = app.test_client()
    other.post("/sign-in", data={"name": "Berta", "password": PASSWORD})
    for client in (supervisor, owner, other):
        assert client.get(f"{address}/1").status_code == 404
        assert answer(client, address, 1, choice=1).status_code == 404
        assert client.get(f"{address}/hand-in").status_code == 404
        assert client.post(f"{address}/hand-in").status_code == 404
    result = worker.post(f"{address}/hand-in").location
    assert other.get(result).status_code == 404
    assert supervisor.get(result).status_code == 200


@pytest.mark.parametrize("path", ["/0", "/11", "/99999999999"])
def test_a_question_that_is_not_there(worker, orchard, path):
    address = begin(worker, orchard)
    assert worker.get(address + path).status_code == 404
    # No address takes a number of so many digits.
    assert worker.post(address + path, data={"choice": 1}).status_code in {404, 405}


def test_looking_at_a_quiz_writes_nothing(worker, database, orchard):
    address = begin(worker, orchard)
    before = sitting_in(database, orchard, address)
    for path in ("/1", "/10", "/hand-in"):
        worker.get(address + path)
    worker.get("/quiz")
    assert sitting_in(database, orchard, address) == before


# --- afterwards ----------------------------------------------------------------------------------


def test_a_result_whose_questions_changed_shows_counts_alone(
    worker, database, orchard, monkeypatch
):
    address = begin(worker, orchard)
    stem = quiz_of(database, orchard, address).questions[0].stem.text[:12]
    result = worker.post(f"{address}/hand-in").location.partition("?")[0] + "?language=en"
    shown = read_page(worker.get(result)).text
    assert stem in shown
    with_other_keys(monkeypatch)
    changed = read_page(worker.get(result)).text
    assert "The questions have changed since" in changed
    assert stem not in changed
    assert "0 of 10 right" in changed


def test_a_worker_is_not_handed_the_key_of_a_quiz_on_paper(worker, supervisor, database, orchard):
    """Others of the crew may still be asked the same printed questions."""
    paper = QuizPaper(orchard.standard_id, 5, "A", "ladder", "es")
    attempt = quiz_attempts.record_attempt(
        database,
        orchard.supervisor,
        paper,
        orchard.worker_ids[0],
        [None] * 10,
        taken_on=NOW.date(),
        now=NOW,
    )
    right = quiz_attempts.quiz_of(database, orchard.supervisor, paper).questions[0].answer.text
    own, lead = (
        read_page(client.get(f"/quiz/results/{attempt.id}?language=en")).text
        for client in (worker, supervisor)
    )
    assert "was on paper" in own
    assert right[:12] not in own
    assert right[:12] in lead


def test_a_result_tells_pass_mark_and_chance_of_guessing(worker, orchard):
    address = begin(worker, orchard)
    result = worker.post(f"{address}/hand-in").location.partition("?")[0] + "?language=en"
    text = read_page(worker.get(result)).text
    assert "Not passed yet" in text
    assert "Passed with 8 of 10 or more." in text
    assert re.search(r"By guessing alone, 1 in [1-9][\d,]*0 would pass\.", text), text


def test_a_worker_lists_their_own_quizzes(worker, supervisor, orchard):
    assert "No quiz yet" in worker.get("/quiz/mine").text
    result = worker.post(f"{begin(worker, orchard)}/hand-in").location.partition("?")[0]
    assert result in read_page(worker.get("/quiz/mine")).links
    of_worker = supervisor.get(f"/quiz/workers/{orchard.worker_ids[0]}")
    assert result in read_page(of_worker).links
    assert supervisor.get("/quiz/workers/999999").status_code == 404
