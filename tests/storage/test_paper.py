"""Photos of sheets and quizzes read from them, on both databases."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.quiz_letters import letters_of
from audits.records import QuizResponse
from audits.services import quiz_attempts, sheet_photos, standards
from audits.services.quiz_attempts import QuizPaper
from audits.services.sheet_photos import ReadPhoto
from audits.storage.queries.fetch import fetch_by
from audits.storage.queries.standards import standard_by_id
from audits.storage.tables import quiz_attempt, quiz_response, sheet_photo, standard_version
from audits.vocabulary import Method, QuizSource, Role, SheetKind
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import AUDITED, begin, fill, prune, seal

LATER = AUDITED + timedelta(hours=1)
TODAY = AUDITED.date()
UNMARKED = (None,) * 10


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


@pytest.fixture
def audit_id(database, orchard) -> int:
    return begin(database, orchard, prune(database, orchard).lot_ids[0])


def of_tally(audit_id, content=b"jpeg") -> ReadPhoto:
    return ReadPhoto(SheetKind.TALLY, f"PT/{audit_id}", audit_id, content, {"t1.top.R": "marked"})


def of_answers(content=b"answers") -> ReadPhoto:
    return ReadPhoto(SheetKind.ANSWERS, "PA/1", None, content, {})


@pytest.fixture
def paper(database, orchard) -> QuizPaper:
    of_farm = standard_version.c.farm_id == orchard.owner.farm_id
    with database.read() as connection:
        version = connection.scalar(sa.select(standard_version.c.id).where(of_farm))
    return QuizPaper(version, 4711, "B", Method.LADDER, "es")


def record(database, orchard, paper, answers, **options):
    return quiz_attempts.record_attempt(
        database,
        orchard.supervisor,
        paper,
        orchard.worker_ids[0],
        answers,
        **{"taken_on": TODAY, "now": LATER, **options},
    )


def test_a_photo_sent_twice_is_kept_once(database, orchard, audit_id):
    first, second = (
        sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_tally(audit_id), now=now)
        for now in (AUDITED, LATER)
    )
    assert first == second
    assert sheet_photos.photos_of_sheet(database, orchard.supervisor, audit_id) == [first]
    content = sheet_photos.sheet_photo_content(database, orchard.supervisor, first.id)
    assert content == b"jpeg"


def test_a_photo_sent_by_two_threads_at_once_is_kept_once(database, orchard, audit_id):
    def send(_):
        return sheet_photos.keep_sheet_photo(
            database, orchard.supervisor, of_tally(audit_id), now=LATER
        )

    with ThreadPoolExecutor(4) as pool:
        kept = list(pool.map(send, range(8)))
    assert len({photo.id for photo in kept}) == 1


def test_a_photo_waits_until_its_reading_is_settled(database, orchard, audit_id):
    kept = sheet_photos.keep_sheet_photo(
        database, orchard.supervisor, of_tally(audit_id), now=LATER
    )
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == [kept]
    for _ in range(2):
        sheet_photos.settle_photo(database, orchard.supervisor, kept.id, now=LATER)
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []
    settled = sheet_photos.view_sheet_photo(database, orchard.supervisor, kept.id)
    assert settled == replace(kept, settled_at=LATER)


def test_only_whose_audit_it_is_sends_its_sheet(database, orchard, audit_id):
    for role in (Role.OWNER, Role.WORKER):
        with pytest.raises(NotAllowed):
            sheet_photos.keep_sheet_photo(
                database, orchard.actor(role), of_tally(audit_id), now=LATER
            )
    with pytest.raises(NotFound):
        sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_tally(999), now=LATER)
    with database.read() as connection:
        assert connection.execute(sa.select(sheet_photo.c.id)).all() == []


def test_another_farm_sees_no_photo(database, orchard, audit_id):
    kept = sheet_photos.keep_sheet_photo(
        database, orchard.supervisor, of_tally(audit_id), now=LATER
    )
    stranger = plant_orchard(database, AUDITED, name="Reed Bottom").supervisor
    for ask in (sheet_photos.view_sheet_photo, sheet_photos.sheet_photo_content):
        with pytest.raises(NotFound):
            ask(database, stranger, kept.id)


def test_an_attempt_is_marked_by_the_key_of_its_own_paper(database, orchard, paper):
    key = quiz_attempts.quiz_of(database, orchard.supervisor, paper).key
    wrong = [0 if key[0] else 1, *key[1:9], None]
    kept = [
        record(database, orchard, paper, answers, taken_again=True)
        for answers in (key, wrong, UNMARKED)
    ]
    assert [attempt.correct for attempt in kept] == [10, 8, 0]
    assert kept[1].answers == wrong
    listed = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert listed == kept


@pytest.mark.parametrize("answers", [(), (None,) * 9, (*UNMARKED[:9], 7), (*UNMARKED[:9], -1)])
def test_answers_that_do_not_fit_the_quiz_are_refused(database, orchard, paper, answers):
    with pytest.raises(InvalidInput) as refused:
        record(database, orchard, paper, answers)
    assert set(refused.value.problems) == {"answers"}
    assert quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0]) == []


def test_what_is_not_there_is_named(database, orchard, paper):
    with pytest.raises(NotFound):
        record(database, orchard, replace(paper, standard_version_id=999), UNMARKED)
    with pytest.raises(InvalidInput):
        record(database, orchard, replace(paper, variant="Q"), UNMARKED)
    with pytest.raises(InvalidInput):
        record(database, orchard, replace(paper, language="fr"), UNMARKED)
    with pytest.raises(InvalidInput):
        record(database, orchard, paper, UNMARKED, taken_on=TODAY + timedelta(days=2))


def test_one_photo_gives_one_attempt(database, orchard, paper):
    """Pressed twice, or in two tabs, what was read is kept once."""
    photo = sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_answers(), now=LATER)
    kept = record(database, orchard, paper, UNMARKED, photo_id=photo.id)
    with pytest.raises(Conflict):
        record(database, orchard, paper, UNMARKED, photo_id=photo.id)
    settled = sheet_photos.view_sheet_photo(database, orchard.supervisor, photo.id)
    assert settled.quiz_attempt_id == kept.id
    with database.read() as connection:
        assert len(connection.execute(sa.select(quiz_attempt.c.id)).all()) == 1


def test_a_photo_of_somebody_else_settles_nothing(database, orchard, paper):
    photo = sheet_photos.keep_sheet_photo(database, orchard.owner, of_answers(), now=LATER)
    with pytest.raises(NotAllowed):
        record(database, orchard, paper, UNMARKED, photo_id=photo.id)
    assert quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0]) == []


def test_a_photo_that_was_set_aside_waits_again_when_it_is_sent_again(database, orchard, paper):
    """Set aside by mistake, a quiz would otherwise be refused for ever."""
    first = sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_answers(), now=AUDITED)
    sheet_photos.settle_photo(database, orchard.supervisor, first.id, now=AUDITED)
    again = sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_answers(), now=LATER)
    assert again == first
    record(database, orchard, paper, UNMARKED, photo_id=again.id)
    kept = sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_answers(), now=LATER)
    assert kept.settled_at == LATER


def test_a_photo_that_somebody_else_has_sent_says_so_at_once(database, orchard):
    """Only the first may confirm it, so the second is told before choosing any answer."""
    sheet_photos.keep_sheet_photo(database, orchard.owner, of_answers(), now=AUDITED)
    with pytest.raises(Conflict, match="Somebody else"):
        sheet_photos.keep_sheet_photo(database, orchard.supervisor, of_answers(), now=LATER)


def test_a_sheet_that_two_people_photographed_counts_once(database, orchard, paper):
    answers = (1, *UNMARKED[1:])
    photos = [
        sheet_photos.keep_sheet_photo(database, who, of_answers(content), now=LATER)
        for who, content in ((orchard.supervisor, b"one"), (orchard.owner, b"two"))
    ]
    record(database, orchard, paper, answers, photo_id=photos[0].id)
    with pytest.raises(Conflict, match="kept already"):
        quiz_attempts.record_attempt(
            database,
            orchard.owner,
            paper,
            orchard.worker_ids[0],
            answers,
            taken_on=TODAY,
            now=LATER,
            photo_id=photos[1].id,
        )
    assert sheet_photos.waiting_photos(database, orchard.owner) == [photos[1]]
    record(database, orchard, paper, answers, taken_on=TODAY - timedelta(days=1))


def test_a_sheet_of_which_one_box_was_read_otherwise_is_asked_about(database, orchard, paper):
    """Planted danger: a faint mark that the second photo shows makes a second attempt."""
    answers = (1, *UNMARKED[1:])
    record(database, orchard, paper, answers)
    with pytest.raises(
        InvalidInput, match="already; questions answered otherwise there: 1, 4"
    ) as found:
        record(database, orchard, paper, (0, None, None, 2, *UNMARKED[4:]))
    assert list(found.value.problems) == ["taken_again"]
    record(database, orchard, paper, (0, *UNMARKED[1:]), taken_again=True)
    with pytest.raises(Conflict, match="kept already"):
        record(database, orchard, paper, answers, taken_again=True)


def test_a_version_on_which_somebody_took_a_quiz_stays_as_it_is(database, orchard, paper):
    """Otherwise the same seed would ask something else, and the attempt would be marked anew."""
    with database.read() as connection:
        version = standard_by_id(connection, orchard.farm_id, paper.standard_version_id)
    change = {"payload": version.payload, "in_force_from": version.in_force_from}
    standards.edit_standard(database, orchard.supervisor, version.id, **change)
    record(database, orchard, paper, UNMARKED)
    with pytest.raises(Conflict, match="took a quiz"):
        standards.edit_standard(database, orchard.supervisor, version.id, **change)


def test_an_id_that_no_database_holds_is_no_photo(database, orchard):
    for number in (0, -1, 2**31, 10**30):
        with pytest.raises(NotFound):
            sheet_photos.view_sheet_photo(database, orchard.supervisor, number)


def test_a_photo_of_a_sealed_audit_is_kept_and_waits_for_nobody(database, orchard, audit_id):
    """Nothing can be typed in there any more; the photo shows what was on paper."""
    fill(database, orchard, audit_id)
    seal(database, orchard, audit_id)
    for content in (b"one", b"two", b"one"):
        photo = of_tally(audit_id, content)
        sheet_photos.keep_sheet_photo(database, orchard.supervisor, photo, now=LATER)
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []
    kept = sheet_photos.photos_of_sheet(database, orchard.supervisor, audit_id)
    assert [photo.settled_at for photo in kept] == [LATER, LATER]


def test_every_answer_is_kept_by_its_item(database, orchard, paper):
    """Item analysis reads these rows; a choice is named as in the item, whatever its place."""
    quiz = quiz_attempts.quiz_of(database, orchard.supervisor, paper)
    answers = [0, None, *quiz.key[2:]]
    kept = record(database, orchard, paper, answers)
    with database.read() as connection:
        rows = fetch_by(
            connection, quiz_response, QuizResponse, orchard.farm_id, quiz_attempt_id=kept.id
        )
    assert [row.item for row in rows] == [question.item for question in quiz.questions]
    assert [row.place for row in rows] == list(range(1, 11))
    assert rows[0].choice == quiz.questions[0].option_keys[0]
    assert rows[1].choice is None
    assert not rows[1].is_right
    assert all(row.is_right for row in rows[2:])
    assert sum(row.is_right for row in rows) == kept.correct
    assert (kept.pass_mark, kept.source) == (8, QuizSource.PAPER)
    assert kept.key_letters == letters_of(quiz)
    assert quiz_attempts.paper_of(kept) == paper


def test_nothing_is_kept_of_an_attempt_whose_answers_do_not_fit(database, orchard, paper):
    with pytest.raises(InvalidInput):
        record(database, orchard, paper, (*UNMARKED[:9], 7))
    with database.read() as connection:
        assert connection.execute(sa.select(quiz_response.c.id)).all() == []
