"""From a printed sheet over a photo of it to what is kept: read, looked at, confirmed."""

import re
from dataclasses import replace
from io import BytesIO
from itertools import count
from random import Random

import pytest
import sqlalchemy as sa
from flask import g
from PIL import Image

from audits.errors import AuditError, NotFound
from audits.messages import Units
from audits.services import auditing, quiz_attempts, sheet_photos, standards
from audits.services.item_bank import retire_item
from audits.services.quiz_attempts import QuizPaper
from audits.storage.queries.standards import versions_of_block
from audits.storage.tables import draw
from audits.vocabulary import Method, QuizStyle, Result, Role, SheetKind, Stage
from printables.marked import SheetCode, parse_code
from printables.sheet import Page
from printables.tally_marks import group_key
from tests import row_audit
from tests.synthetic_photos import Deed, Hand, Shot, do_to, photographed, rasterised
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.auditing.sheets_on_paper import tally_document, tally_marked_page
from webapp.papers.answers import answer_document, answer_page
from webapp.reading import words_in

PEN = Hand("tick", darkness=0.85, width_mm=0.45, is_pencil=False, reach=0.4, off_mm=0.2)
CLEAN = ("top.R", "limbs.2", "columns.R", "heading.R")


@pytest.fixture
def begun(database, orchard) -> int:
    """An audit of row 1 that the supervisor has begun, without an answer yet."""
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)


@pytest.fixture
def walk(database, orchard, begun) -> list[int]:
    return [tree.id for tree in auditing.view_audit(database, orchard.supervisor, begun).walk]


def photo_of(document, boxes, deeds, *, number=0, **shot):
    """Photograph a page on which somebody did something to boxes, by key."""
    sheet = rasterised(document, number)
    by_key = {box.key: box for box in boxes}
    for key, deed in deeds.items():
        do_to(sheet, by_key[key], deed, PEN, Random(key))  # noqa: S311 - no secret
    return photographed(sheet, Shot(**{"seed": 7, "turn_deg": 2.0, **shot}))


@pytest.fixture
def tally_photo(app, database, orchard, begun):
    """Return a photo of the first page of the tally sheet, with some boxes marked."""

    def photo(deeds, **shot):
        with app.test_request_context():
            document = tally_document(
                database, orchard.supervisor, begun, page=Page.LETTER, language="en"
            )
            # The layout is unknown here, so the page comes as it is printed now.
            code = SheetCode(SheetKind.TALLY, (str(begun), "L", "EN"), 1, "")
            marked = tally_marked_page(database, orchard.supervisor, code)
        return photo_of(document, marked.boxes, deeds, **shot)

    return photo


def clean(tree_id: int, *others: str) -> dict[str, Deed]:
    """A row with every stage right but for the stages of other marks."""
    named = {mark.partition(".")[0] for mark in others}
    marks = [mark for mark in CLEAN if mark.partition(".")[0] not in named] + list(others)
    return {f"t{tree_id}.{mark}": Deed.MARKED for mark in marks}


def send(client, *photos: bytes):
    files = [(BytesIO(photo), f"page{number}.jpg") for number, photo in enumerate(photos, 1)]
    return client.post("/papers", data={"photos": files}, content_type="multipart/form-data")


def form_of(html: str) -> dict[str, str]:
    """What the browser would post of the desk's form."""
    inputs = re.findall(r"<input[^>]*>", html)
    named = [
        (re.search(r'name="([^"]+)"', one), re.search(r'value="([^"]*)"', one)) for one in inputs
    ]
    return {name[1]: value[1] for name, value in named if name and value}


def test_marks_on_a_photo_become_answers_once_confirmed(
    supervisor, database, orchard, begun, walk, tally_photo
):
    deeds = clean(walk[0]) | clean(walk[1], "top.H") | clean(walk[2], "columns.F", "columns.S")
    answer = send(supervisor, tally_photo(deeds))
    assert answer.status_code == 302, answer.text
    desk = supervisor.get(answer.location, follow_redirects=True)
    page = read_page(desk)
    assert "Everything on the photo is clear." in page.text
    assert auditing.view_audit(database, orchard.supervisor, begun).answered == {}
    form = form_of(desk.text)
    assert [form[f"t{tree}-top"] for tree in walk[:4]] == ["R", "H", "R", ""]
    assert form[f"t{walk[2]}-columns"] == "FS"
    kept = supervisor.post(f"/audits/{begun}/desk", data=form)
    assert kept.status_code == 302
    view = auditing.view_audit(database, orchard.supervisor, begun)
    assert set(view.answered) == set(walk[:3])
    faulty = {
        (view.tree_of_score[score.tree_score_id].id, score.stage)
        for score in view.scores
        if score.result is Result.NONCONFORMING
    }
    assert faulty == {(walk[1], Stage.TOP), (walk[2], Stage.COLUMNS)}
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []
    (photo,) = sheet_photos.photos_of_sheet(database, orchard.supervisor, begun)
    content = supervisor.get(f"/papers/{photo.id}/photo.jpg")
    assert content.mimetype == "image/jpeg"
    assert content.data.startswith(b"\xff\xd8")


def test_what_is_not_clear_stays_empty_and_is_shown(
    supervisor, database, orchard, begun, walk, tally_photo
):
    """Two marks at one question are for a person, and a row without its answer is not kept."""
    deeds = clean(walk[0], "top.R", "top.H") | clean(walk[1])
    desk = supervisor.get(send(supervisor, tally_photo(deeds)).location, follow_redirects=True)
    form = form_of(desk.text)
    assert form[f"t{walk[0]}-top"] == ""
    assert form[f"t{walk[1]}-top"] == "R"
    assert "These marks do not go together" in read_page(desk).text
    (photo,) = sheet_photos.waiting_photos(database, orchard.supervisor)
    crop = supervisor.get(f"/papers/{photo.id}/boxes/{group_key(walk[0], 'top')}.jpg")
    assert crop.data.startswith(b"\xff\xd8")
    refused = supervisor.post(f"/audits/{begun}/desk", data=form)
    assert refused.status_code == 422
    assert f'name="photo" value="{photo.id}"' in refused.text
    assert auditing.view_audit(database, orchard.supervisor, begun).answered == {}
    form[f"t{walk[0]}-top"] = "H"
    assert supervisor.post(f"/audits/{begun}/desk", data=form).status_code == 302
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []


def test_an_upside_down_photo_is_read(supervisor, walk, tally_photo):
    answer = send(supervisor, tally_photo(clean(walk[0], "limbs.M"), turn_deg=182.0))
    desk = supervisor.get(answer.location, follow_redirects=True)
    assert form_of(desk.text)[f"t{walk[0]}-limbs"] == "M"


def test_a_photo_that_shows_no_sheet_says_how_to_take_it(supervisor, database, orchard):
    empty = BytesIO()
    Image.new("L", (1600, 1200), 180).save(empty, "JPEG")
    for photo in (b"", b"no picture", empty.getvalue()):
        answer = send(supervisor, photo)
        assert answer.status_code == 422
        assert "page1.jpg" in read_page(answer).text
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []


def test_a_readable_photo_beside_an_unreadable_one_is_kept(
    supervisor, database, orchard, walk, tally_photo
):
    answer = send(supervisor, b"no picture", tally_photo(clean(walk[0])))
    assert answer.status_code == 422
    assert "1 photo read." in read_page(answer).text
    assert len(sheet_photos.waiting_photos(database, orchard.supervisor)) == 1


def test_a_sheet_of_another_audit_with_the_same_number_is_refused(
    supervisor, database, orchard, walk, tally_photo
):
    """Of another farm, of a demo, or from before an old backup was restored: other trees."""
    photo = tally_photo(clean(walk[0]))
    with database.write() as connection:
        connection.execute(sa.update(draw).values(seed="another"))
    answer = send(supervisor, photo)
    assert answer.status_code == 422, answer.text
    assert "of another audit with the same number" in read_page(answer).text
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []


def test_somebody_elses_sheet_is_refused(sign_in, walk, tally_photo):
    answer = send(sign_in(Role.OWNER), tally_photo(clean(walk[0])))
    assert answer.status_code == 422
    assert "audit of somebody else" in read_page(answer).text


def test_what_waits_says_of_which_lot_it_is(supervisor, walk, tally_photo):
    send(supervisor, tally_photo(clean(walk[0])))
    assert "Tally sheet, page 1 Creek Block, Row 1" in read_page(supervisor.get("/papers")).text


def test_what_is_to_be_looked_at_is_one_step_away(supervisor, walk, tally_photo):
    deeds = clean(walk[0], "top.R", "top.H")
    desk = supervisor.get(send(supervisor, tally_photo(deeds)).location, follow_redirects=True)
    assert f'href="#t{walk[0]}-top"' in desk.text
    assert "letters stand here as on the sheet" not in desk.text


def test_letters_of_a_sheet_in_another_language_are_said_to_be(sign_in, walk, tally_photo):
    reader = sign_in(language="es")
    desk = reader.get(send(reader, tally_photo(clean(walk[0]))).location, follow_redirects=True)
    # The sheet is in English, where R is right; the list of the Spanish desk says B.
    assert form_of(desk.text)[f"t{walk[0]}-top"] == "R"
    assert "as on the sheet" in desk.text or "como en la hoja" in desk.text


def test_a_photo_can_be_set_aside(supervisor, database, orchard, begun, walk, tally_photo):
    send(supervisor, tally_photo(clean(walk[0])))
    (photo,) = sheet_photos.waiting_photos(database, orchard.supervisor)
    assert supervisor.post(f"/papers/{photo.id}/aside").status_code == 302
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []
    assert len(sheet_photos.photos_of_sheet(database, orchard.supervisor, begun)) == 1


def test_a_photo_that_is_not_there_is_not_found(supervisor):
    assert supervisor.get("/papers/999").status_code == 404
    assert supervisor.get("/papers/999/photo.jpg").status_code == 404


def test_so_many_photos_are_not_read_at_once(supervisor):
    """A request of small files that are long to unpack would keep everybody else waiting."""
    answer = send(supervisor, *[b"no picture"] * 21)
    assert answer.status_code == 422
    assert "at most 20 photos at a time" in read_page(answer).text
    assert "page1.jpg" not in answer.text


class Endless(BytesIO):
    """As many bytes as are asked for, counted."""

    taken = 0

    def read(self, size=-1):
        self.taken += max(size, 1)
        return b"a" * max(size, 1)

    readline = read


def test_nobody_fills_the_memory_who_may_not_send_photos(app, sign_in):
    """Of sixty million bytes none is read before it is known who sends them."""
    sent = {"content_type": "multipart/form-data; boundary=x", "content_length": 59_000_000}
    for client, status in ((app.test_client(), 302), (sign_in(Role.WORKER), 403)):
        stream = Endless()
        assert client.post("/papers", input_stream=stream, **sent).status_code == status
        assert stream.taken == 0


# --- answer sheets -------------------------------------------------------------------------------


@pytest.fixture
def paper(database, orchard) -> QuizPaper:
    with database.read() as connection:
        version = versions_of_block(connection, orchard.owner.farm_id, orchard.block_id)[0]
    return QuizPaper(version.id, 4711, "C", Method.LADDER, "es")


def answers_photo(app, orchard, paper, deeds, worker_id=0):
    way = "LP" if paper.style is QuizStyle.PICTURES else "LW"
    fields = (str(paper.standard_version_id), str(paper.seed), paper.variant, way, "A", "ES")
    with app.test_request_context():
        g.actor = orchard.supervisor
        document = answer_document(paper, Page.A4, worker_id)
        code = SheetCode(SheetKind.ANSWERS, (*fields, str(worker_id)), 1, "")
        boxes = answer_page(code).boxes
    return photo_of(document, boxes, deeds)


def test_answers_on_a_photo_are_marked_by_their_own_key(app, supervisor, database, orchard, paper):
    key = quiz_attempts.quiz_of(database, orchard.supervisor, paper).key
    places = [*key[:8], (key[8] + 1) % 2]
    deeds = {f"q{number}.{'ABCD'[place]}": Deed.MARKED for number, place in enumerate(places, 1)}
    photo = answers_photo(app, orchard, paper, deeds, orchard.worker_ids[0])
    answer = send(supervisor, photo)
    assert answer.status_code == 302, answer.text
    page = read_page(supervisor.get(answer.location))
    assert "Answers to confirm" in page.text
    form = {f"q{number}": "ABCD"[place] for number, place in enumerate(places, 1)}
    whose = {"worker_id": str(orchard.worker_ids[0]), "taken_on": NOW.date().isoformat()}
    missing = supervisor.post(answer.location, data=form | whose)
    assert missing.status_code == 422
    assert quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0]) == []
    kept = supervisor.post(answer.location, data=form | whose | {"q10": "open"})
    assert kept.status_code == 302, kept.text
    (attempt,) = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert attempt.answers == [*places, None]
    right = sum(place == right for place, right in zip(places, key, strict=False))
    assert attempt.correct == right
    result = read_page(supervisor.get(kept.location)).text
    assert f"{right} of 10 right." in result
    assert "Passed with 8 of 10 or more. By guessing alone, 1 in" in result
    english = words_in("en", region="US", units=Units.IMPERIAL)
    for question in quiz_attempts.quiz_of(database, orchard.supervisor, paper).questions:
        # What is talked over with the worker stands there, not letters alone.
        assert english.say(question.stem) in result
        assert english.say(question.answer) in result
    assert supervisor.post(answer.location, data=form | whose | {"q10": "A"}).status_code == 409


def marks_of(key) -> dict[str, Deed]:
    return {f"q{number}.{'ABCD'[place]}": Deed.MARKED for number, place in enumerate(key, 1)}


def confirmed(client, address, orchard, key):
    """Press the key on the page of a photo, with what its marks say."""
    form = {f"q{number}": "ABCD"[place] for number, place in enumerate(key, 1)}
    whose = {"worker_id": str(orchard.worker_ids[0]), "taken_on": NOW.date().isoformat()}
    answer = client.post(address, data=form | whose)
    assert answer.status_code == 302, answer.text
    return answer


def test_other_answers_to_a_quiz_of_that_day_are_asked_about(
    app, supervisor, database, orchard, paper
):
    """Read otherwise from a second photo, one sheet would count as two."""
    key = quiz_attempts.quiz_of(database, orchard.supervisor, paper).key
    first, second = (
        send(supervisor, answers_photo(app, orchard, paper, marks_of(marks))).location
        for marks in (key, key[:9])
    )
    confirmed(supervisor, first, orchard, key)
    whose = {"worker_id": str(orchard.worker_ids[0]), "taken_on": NOW.date().isoformat()}
    form = {f"q{number}": "ABCD"[place] for number, place in enumerate(key[:9], 1)}
    again = form | whose | {"q10": "open"}
    assert "It is another sheet" not in supervisor.get(second).text
    answer = supervisor.post(second, data=again)
    assert answer.status_code == 422
    page = read_page(answer)
    assert "are kept already; questions answered otherwise there: 10." in page.text
    assert "It is another sheet: this person took the quiz again that day" in page.text
    assert supervisor.post(second, data=again | {"taken_again": "y"}).status_code == 302
    kept = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert [attempt.correct for attempt in kept] == [10, 9]


def test_a_sheet_from_before_an_item_was_retired_is_marked_by_its_own_quiz(
    app, supervisor, database, orchard, paper
):
    """Paper names no retired items: earlier lists are tried until the check letters agree."""
    quiz = quiz_attempts.quiz_of(database, orchard.supervisor, paper)
    photo = answers_photo(app, orchard, paper, marks_of(quiz.key))
    for question in quiz.questions[:2]:
        retire_item(database, orchard.owner, question.item, reason="It misleads.", now=NOW)
    now = quiz_attempts.paper_now(database, orchard.supervisor, paper)
    # Marked by the quiz of today it would be another one.
    today = quiz_attempts.quiz_of(database, orchard.supervisor, now)
    assert [each.item for each in today.questions] != [each.item for each in quiz.questions]
    answer = send(supervisor, photo)
    assert answer.status_code == 302, answer.text
    confirmed(supervisor, answer.location, orchard, quiz.key)
    (attempt,) = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert (attempt.correct, tuple(attempt.retired_items)) == (10, ())


def test_a_sheet_of_a_quiz_in_pictures_is_read(app, supervisor, database, orchard, paper):
    pictures = replace(paper, style=QuizStyle.PICTURES)
    key = quiz_attempts.quiz_of(database, orchard.supervisor, pictures).key
    answer = send(supervisor, answers_photo(app, orchard, pictures, marks_of(key)))
    confirmed(supervisor, answer.location, orchard, key)
    (attempt,) = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert (attempt.correct, attempt.style) == (10, QuizStyle.PICTURES)


def test_marks_that_fit_another_variant_are_pointed_out_and_marked_by_it(
    app, supervisor, database, orchard, paper
):
    """Somebody had the questions of variant D, and a sheet of variant C with boxes for its key."""

    def quizzes(seed):
        both = (replace(paper, seed=seed, variant=variant) for variant in "CD")
        return (quiz_attempts.quiz_of(database, orchard.supervisor, each) for each in both)

    def has_boxes(own, other):
        offered = [len(question.choices) for question in own.questions]
        return all(place < most for place, most in zip(other.key, offered, strict=True))

    paper = replace(paper, seed=next(seed for seed in count() if has_boxes(*quizzes(seed))))
    _, other = quizzes(paper.seed)
    answer = send(supervisor, answers_photo(app, orchard, paper, marks_of(other.key)))
    page = read_page(supervisor.get(answer.location))
    assert "These marks fit variant D far better than variant C." in page.text
    by_other = f"{answer.location}?variant=D"
    assert by_other in page.links
    assert (
        "it is marked here by the questions of variant D"
        in read_page(supervisor.get(by_other)).text
    )
    kept = confirmed(supervisor, by_other, orchard, other.key)
    (attempt,) = quiz_attempts.attempts_of(database, orchard.supervisor, orchard.worker_ids[0])
    assert (attempt.correct, attempt.variant) == (10, "D")
    assert "The sheet was of variant C" in read_page(supervisor.get(kept.location)).text


def test_marks_that_fit_their_own_sheet_are_not_questioned(
    app, supervisor, database, orchard, paper
):
    key = quiz_attempts.quiz_of(database, orchard.supervisor, paper).key
    answer = send(supervisor, answers_photo(app, orchard, paper, marks_of(key)))
    assert "far better" not in read_page(supervisor.get(answer.location)).text


def test_the_key_is_not_on_the_page_before_it_is_saved(app, supervisor, orchard, paper):
    answer = send(supervisor, answers_photo(app, orchard, paper, {"q1.A": Deed.MARKED}))
    assert "Key" not in read_page(supervisor.get(answer.location)).text


def test_a_code_of_another_kind_is_no_sheet_of_this_farm():
    assert parse_code("PA/1/2/3") is None


def test_a_sheet_of_a_quiz_that_was_changed_since_is_not_marked(
    app, supervisor, database, orchard, paper
):
    """The version's numbers may change until somebody rests on it, and its questions with them."""
    photo = answers_photo(app, orchard, paper, {"q1.A": Deed.MARKED})
    waiting = send(supervisor, photo).location
    with database.read() as connection:
        version = versions_of_block(connection, orchard.owner.farm_id, orchard.block_id)[0]
    key = quiz_attempts.quiz_of(database, orchard.supervisor, paper).key
    payload = {**version.payload, "heading": {**version.payload["heading"], "rule": "forbidden"}}
    standards.edit_standard(
        database,
        orchard.supervisor,
        version.id,
        payload=payload,
        in_force_from=version.in_force_from,
    )
    assert quiz_attempts.quiz_of(database, orchard.supervisor, paper).key != key
    answer = send(supervisor, photo)
    assert answer.status_code == 422, answer.text
    assert "the standard was changed since" in read_page(answer).text
    assert supervisor.get(waiting).status_code == 409
    assert supervisor.post(waiting, data={}).status_code == 409


@pytest.mark.parametrize(
    "fields",
    [
        ("9" * 30, "L", "EN"),
        (str(2**31), "L", "EN"),
        ("0", "L", "EN"),
        ("", "L", "EN"),
        ("1", "Q", "EN"),
        ("1", "L", "XX"),
        ("1",),
        (),
    ],
)
def test_a_code_that_no_audit_can_have_is_no_sheet(app, orchard, database, fields):
    """Codes are not signed: anybody can print one with whatever number."""
    for page_number in (0, 1, 10**20):
        code = SheetCode(SheetKind.TALLY, fields, page_number, "AAAAAA")
        with app.test_request_context():
            g.actor = orchard.supervisor
            with pytest.raises(NotFound):
                tally_marked_page(database, orchard.supervisor, code)


@pytest.mark.parametrize(
    "fields",
    [
        ("9999999999", "1", "A", "L", "A", "ES", "0"),
        ("1", "9999999999", "Z", "L", "A", "ES", "0"),
        ("1", "1", "", "L", "A", "ES", "9999999999"),
        ("1", "1", "A", "Q", "A", "ES", "0"),
        ("1", "9" * 20, "A", "L", "A", "ES", "0"),
        ("1", "1", "A", "L", "A", "ES"),
    ],
)
def test_a_code_that_no_quiz_can_have_is_no_sheet(app, orchard, fields):
    with app.test_request_context():
        g.actor = orchard.supervisor
        with pytest.raises(AuditError):
            answer_page(SheetCode(SheetKind.ANSWERS, fields, 1, "AAAAAA"))
