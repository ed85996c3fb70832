"""Quizzes on a screen, on both databases: answered, handed in once, and kept as they were."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from datetime import timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.quiz_letters import letters_of
from audits.quizzes import make_quiz
from audits.records import Actor
from audits.services import item_bank, quiz_attempts, quiz_results, quiz_sittings, standards
from audits.services.quiz_sittings import SittingChoice
from audits.storage.queries.standards import standard_by_id
from audits.storage.tables import quiz_attempt, quiz_response, quiz_sitting, standard_version
from audits.vocabulary import Method, QuizSource, Role
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import AUDITED

LATER = AUDITED + timedelta(hours=1)
UID = "q" * 32


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


def begin(database, orchard, actor=None, uid=UID, worker=0, seed=11, **choice):
    return quiz_sittings.begin_sitting(
        database,
        actor or orchard.worker,
        SittingChoice(orchard.worker_ids[worker], orchard.block_id, "es", **choice),
        uid=uid,
        seed=seed,
        variant="C",
        now=AUDITED,
    )


def key_of(database, orchard, sitting) -> tuple[int, ...]:
    paper = quiz_attempts.QuizPaper(
        sitting.standard_version_id,
        sitting.seed,
        sitting.variant,
        sitting.method,
        sitting.language,
        sitting.style,
        tuple(sitting.retired_items),
    )
    return quiz_attempts.quiz_of(database, orchard.supervisor, paper).key


def answer_all(database, orchard, answers, actor=None):
    for number, choice in enumerate(answers, start=1):
        quiz_sittings.answer_question(database, actor or orchard.worker, UID, number, choice)


def count(database, table) -> int:
    with database.read() as connection:
        return len(connection.execute(sa.select(table.c.id)).all())


def test_a_quiz_is_answered_handed_in_and_kept_with_every_answer(database, orchard):
    sitting = begin(database, orchard)
    key = key_of(database, orchard, sitting)
    answers = [(key[0] + 1) % 3, None, *key[2:]]
    answer_all(database, orchard, answers)
    handed_in = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER)
    attempt = handed_in.attempt
    assert handed_in.is_first
    assert (attempt.correct, attempt.answers, attempt.pass_mark) == (8, answers, 8)
    assert (attempt.source, attempt.language) == (QuizSource.SCREEN, "es")
    assert count(database, quiz_response) == 10
    result = quiz_results.view_result(database, orchard.worker, attempt.id)
    assert [line.is_right for line in result.questions] == [False, False, *[True] * 8]
    assert result.is_passed
    assert quiz_results.own_attempts(database, orchard.worker)[0].attempt == attempt


def test_a_view_before_handing_in_holds_no_key(database, orchard):
    """What is not there cannot be sent by mistake, whatever a page does with it."""
    begin(database, orchard)
    view = quiz_sittings.view_sitting(database, orchard.worker, UID)
    assert {field.name for field in fields(view.questions[0])} == {
        "stem",
        "choices",
        "picture",
        "choice_pictures",
    }


def test_an_answer_can_be_changed_until_the_quiz_is_handed_in(database, orchard):
    begin(database, orchard)
    for choice in (0, 2, None):
        kept = quiz_sittings.answer_question(database, orchard.worker, UID, 3, choice)
    assert kept.answers[2] == 2
    quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER)
    with pytest.raises(Conflict, match="handed in before"):
        quiz_sittings.answer_question(database, orchard.worker, UID, 3, 1)


def test_handed_in_by_two_tabs_at_once_it_is_kept_once(database, orchard):
    begin(database, orchard)

    def send(_):
        return quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER)

    with ThreadPoolExecutor(4) as pool:
        results = list(pool.map(send, range(8)))
    assert len({result.attempt.id for result in results}) == 1
    assert [result.is_first for result in results].count(True) == 1
    assert count(database, quiz_attempt) == 1


def test_answers_sent_by_two_tabs_at_once_are_all_kept(database, orchard):
    begin(database, orchard)
    with ThreadPoolExecutor(4) as pool:
        list(
            pool.map(
                lambda number: quiz_sittings.answer_question(
                    database, orchard.worker, UID, number, 1
                ),
                range(1, 11),
            )
        )
    sitting = quiz_sittings.the_sitting(database, orchard.worker, UID)
    assert sitting.answers == [1] * 10


def test_a_start_key_pressed_twice_begins_one_quiz(database, orchard):
    assert begin(database, orchard) == begin(database, orchard, seed=12)
    assert count(database, quiz_sitting) == 1


def test_somebody_else_finds_no_such_quiz(database, orchard):
    """Whoever began it goes on with it, and the worker whose it is; nobody else sees it."""
    begin(database, orchard, orchard.supervisor)
    for actor in (orchard.worker, orchard.supervisor):
        assert quiz_sittings.the_sitting(database, actor, UID).uid == UID
    other = replace(orchard.worker, worker_id=orchard.worker_ids[1])
    stranger = plant_orchard(database, AUDITED, name="Reed Bottom").supervisor
    for actor in (orchard.owner, other, stranger):
        for ask in (
            lambda actor: quiz_sittings.view_sitting(database, actor, UID),
            lambda actor: quiz_sittings.answer_question(database, actor, UID, 1, 0),
            lambda actor: quiz_sittings.hand_in(database, actor, UID, now=LATER),
            lambda actor: begin(database, orchard, actor, worker=1),
        ):
            with pytest.raises((NotFound, NotAllowed)):
                ask(actor)


def test_a_worker_takes_no_quiz_for_somebody_else(database, orchard):
    with pytest.raises(NotAllowed):
        begin(database, orchard, worker=1)
    nobody = Actor(99, orchard.farm_id, "Nobody", Role.WORKER, "es", None)
    assert quiz_sittings.open_sittings(database, nobody) == []
    with pytest.raises(NotFound):
        quiz_results.own_attempts(database, nobody)


def test_a_result_is_for_its_worker_and_crew_leads(database, orchard):
    begin(database, orchard)
    attempt = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER).attempt
    assert quiz_results.view_result(database, orchard.owner, attempt.id).attempt == attempt
    other = replace(orchard.worker, worker_id=orchard.worker_ids[1])
    stranger = plant_orchard(database, AUDITED, name="Reed Bottom").owner
    for actor in (other, stranger):
        with pytest.raises(NotFound):
            quiz_results.view_result(database, actor, attempt.id)


@pytest.mark.parametrize(("number", "error"), [(0, NotFound), (11, NotFound)])
def test_a_question_that_is_not_there(database, orchard, number, error):
    begin(database, orchard)
    with pytest.raises(error):
        quiz_sittings.answer_question(database, orchard.worker, UID, number, 0)


@pytest.mark.parametrize("choice", [-1, 4, 10**30])
def test_a_choice_that_is_not_there(database, orchard, choice):
    begin(database, orchard)
    with pytest.raises(InvalidInput, match="no such choice"):
        quiz_sittings.answer_question(database, orchard.worker, UID, 1, choice)
    assert quiz_sittings.the_sitting(database, orchard.worker, UID).answers == [None] * 10


def test_a_standard_changed_meanwhile_changes_no_quiz_under_way(database, orchard):
    """A new version asks new quizzes; the one begun keeps its own, which nobody can change."""
    sitting = begin(database, orchard)
    before = quiz_sittings.view_sitting(database, orchard.worker, UID).questions
    with database.read() as connection:
        version = standard_by_id(connection, orchard.farm_id, sitting.standard_version_id)
    changed = {**version.payload, "top": {**version.payload["top"], "target_mm": 2_900.0}}
    with pytest.raises(Conflict, match="took a quiz"):
        standards.edit_standard(
            database,
            orchard.supervisor,
            version.id,
            payload=changed,
            in_force_from=version.in_force_from,
        )
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=changed,
        in_force_from=AUDITED.date(),
        now=AUDITED,
    )
    assert begin(database, orchard, uid="r" * 32).standard_version_id != version.id
    assert quiz_sittings.view_sitting(database, orchard.worker, UID).questions == before
    attempt = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER).attempt
    assert attempt.standard_version_id == version.id


def test_a_quiz_whose_questions_changed_meanwhile_is_not_marked_by_another_key(
    database, orchard, monkeypatch
):
    """A newer program may ask something else by the same seed: wrong keys would be worse."""
    begin(database, orchard)
    answer_all(database, orchard, [1] * 10)
    ask_another_seed(monkeypatch)
    for ask in (
        lambda: quiz_sittings.view_sitting(database, orchard.worker, UID),
        lambda: quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER),
    ):
        with pytest.raises(Conflict, match="have changed"):
            ask()
    assert quiz_sittings.the_sitting(database, orchard.worker, UID).answers == [1] * 10
    assert count(database, quiz_attempt) == 0


def test_a_result_whose_questions_changed_since_shows_counts_and_no_key(
    database, orchard, monkeypatch
):
    sitting = begin(database, orchard)
    answer_all(database, orchard, key_of(database, orchard, sitting))
    attempt = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER).attempt
    ask_another_seed(monkeypatch)
    result = quiz_results.view_result(database, orchard.worker, attempt.id)
    assert (result.quiz, result.questions) == (None, ())
    assert (result.attempt.correct, len(result.choices)) == (10, 10)
    again = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER)
    assert (again.attempt, again.is_first) == (attempt, False)


def test_a_block_without_a_standard_is_named(database, orchard):
    with database.write() as connection:
        connection.execute(
            standard_version.update()
            .where(standard_version.c.block_id == orchard.block_id)
            .values(in_force_from=(AUDITED + timedelta(days=30)).date())
        )
    with pytest.raises(InvalidInput) as refused:
        begin(database, orchard)
    assert set(refused.value.problems) == {"block_id"}


def test_what_waits_is_listed_until_it_is_handed_in(database, orchard):
    begin(database, orchard)
    begin(database, orchard, orchard.supervisor, uid="r" * 32, worker=1)
    quiz_sittings.answer_question(database, orchard.worker, UID, 1, 0)
    (own,) = quiz_sittings.open_sittings(database, orchard.worker)
    (led,) = quiz_sittings.open_sittings(database, orchard.supervisor)
    assert (own.next_place, led.next_place) == (2, 1)
    assert led.worker.id == orchard.worker_ids[1]
    quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER)
    assert quiz_sittings.open_sittings(database, orchard.worker) == []


def test_items_retired_meanwhile_change_no_quiz_under_way(database, orchard):
    sitting = begin(database, orchard)
    view = quiz_sittings.view_sitting(database, orchard.worker, UID)
    with database.read() as connection:
        paper = quiz_attempts.QuizPaper(sitting.standard_version_id, 11, "C", sitting.method, "es")
        asked = quiz_attempts.quiz_in(connection, orchard.farm_id, paper).questions[0].item
    item_bank.retire_item(database, orchard.owner, asked, reason="Two answers fit.", now=LATER)
    assert quiz_sittings.view_sitting(database, orchard.worker, UID) == view
    new = begin(database, orchard, uid="r" * 32)
    assert (sitting.retired_items, new.retired_items) == ([], [asked])
    attempt = quiz_sittings.hand_in(database, orchard.worker, UID, now=LATER).attempt
    assert attempt.retired_items == []


def test_paper_is_read_by_the_items_that_were_retired_when_it_was_printed(database, orchard):
    """A sheet names none, so each list that was ever in force is tried, the present one first."""
    paper = quiz_attempts.QuizPaper(orchard.standard_id, 11, "C", Method.LADDER, "es")

    def letters_now():
        printed = quiz_attempts.paper_now(database, orchard.supervisor, paper)
        return printed, letters_of(quiz_attempts.quiz_of(database, orchard.supervisor, printed))

    printed = [letters_now()]
    for hour in (1, 2):
        before = quiz_attempts.quiz_of(database, orchard.supervisor, printed[-1][0])
        item_bank.retire_item(
            database,
            orchard.owner,
            before.questions[0].item,
            reason="Two answers fit.",
            now=AUDITED + timedelta(hours=hour),
        )
        printed.append(letters_now())
    assert len({letters for _, letters in printed}) == 3
    for made, letters in printed:
        found = quiz_attempts.find_paper(
            database,
            orchard.supervisor,
            paper,
            lambda quiz, letters=letters: letters_of(quiz) == letters,
        )
        assert found == made
    nothing = quiz_attempts.find_paper(database, orchard.supervisor, paper, lambda _: False)
    assert nothing is None


def test_a_sheet_read_again_after_something_else_was_retired_is_kept_once(database, orchard):
    """What no question of the sheet asks makes no other sheet of it."""
    paper = quiz_attempts.QuizPaper(orchard.standard_id, 11, "C", Method.LADDER, "es")
    quiz = quiz_attempts.quiz_of(database, orchard.supervisor, paper)
    elsewhere = next(
        line.item
        for line in item_bank.item_report(database, orchard.owner, AUDITED).lines
        if quiz_attempts.quiz_of(database, orchard.supervisor, replace(paper, retired=(line.item,)))
        == quiz
    )

    def read(retired):
        quiz_attempts.record_attempt(
            database,
            orchard.supervisor,
            replace(paper, retired=retired),
            orchard.worker_ids[0],
            [0] * len(quiz.questions),
            taken_on=AUDITED.date(),
            now=AUDITED,
        )

    read(())
    with pytest.raises(Conflict, match="kept already"):
        read((elsewhere,))


def ask_another_seed(monkeypatch) -> None:
    """Stand in for a newer program that draws other questions."""
    quiz_attempts._made.cache_clear()

    def another(standard, *, seed, **options):
        return replace(make_quiz(standard, seed=seed + 1, **options), seed=seed)

    monkeypatch.setattr(quiz_attempts, "make_quiz", another)


@pytest.fixture(autouse=True)
def _made_anew():
    yield
    quiz_attempts._made.cache_clear()
