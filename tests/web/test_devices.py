"""Phones on their page and at their addresses: offering, enrolling, unlocking, revoking."""

import logging
import re
from datetime import timedelta

import pytest

from audits.unlocking import MOST_TRIES
from audits.vocabulary import Role
from tests.orchard import PASSWORD
from tests.phone import DIGITS, Phone, enrol, token_in, unlock
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.app import create_app
from webapp.config import Settings
from webapp.devices.nonces import NONCE_LENGTH, Nonces

WRONG_DIGITS = "749203"


@pytest.fixture
def clock():
    class Clock:
        now = NOW

    return Clock()


@pytest.fixture
def offered(orchard, sign_in):
    """Offer a phone on the page and return the token: ``offered()``, the supervisor to herself."""

    def offer(role=Role.SUPERVISOR, user_id=None):
        answer = sign_in(role).post(
            "/devices", data={"user_id": user_id or orchard.actor(role).user_id}
        )
        assert answer.status_code == 200, answer.text
        return token_in(answer.text)

    return offer


@pytest.fixture
def enrolled(app, offered):
    """A phone that was enrolled just now, with the browser in which it is open."""
    phone, client = Phone(), app.test_client()
    assert enrol(client, phone, offered()).status_code == 200
    return phone, client


def problem(answer) -> tuple[int, str]:
    assert set(answer.json["words"]) == {"en", "es"}
    assert all(answer.json["words"].values())
    return answer.status_code, answer.json["problem"]


# --- the page ------------------------------------------------------------------------------------


def test_owners_see_everybody_who_leads_crews_and_supervisors_themselves(owner, supervisor):
    assert "Ina Wetherell" in read_page(owner.get("/devices")).text
    assert "Saul Brightwater" in read_page(owner.get("/devices")).text
    assert "Aurelio" not in read_page(owner.get("/devices")).text
    assert "Ina Wetherell" not in read_page(supervisor.get("/devices")).text


def test_the_offer_shows_a_code_its_address_five_steps_and_how_long_it_is_good(orchard, owner):
    answer = owner.post("/devices", data={"user_id": orchard.supervisor.user_id})
    page, text = read_page(answer), answer.text

    assert page.headings == ["Enrol a phone for Saul Brightwater"]
    assert re.search(r"http://localhost/field/#enrol=(?:[0-9A-HJKMNP-TV-Z]{4}-?){3}", page.text)
    assert "Good for one phone, for 15 minutes: until 1/20/26, 12:15" in page.text
    assert text.partition('<ol class="steps">')[2].partition("</ol>")[0].count("<li>") == 5
    assert '<svg viewBox="0 0' in text
    # Nothing from elsewhere, and nothing that the content security policy forbids.
    assert not re.search(r"(src|href)=\"(https?:)?//", text)
    assert " style=" not in text


def test_the_code_reads_as_the_address(owner, orchard):
    """The drawing is read back, module by module, and compared with the code of the address."""
    import segno

    text = owner.post("/devices", data={"user_id": orchard.owner.user_id}).text
    address = re.search(r"http://localhost/field/#enrol=(?:[0-9A-HJKMNP-TV-Z]{4}-?){3}", text)[0]
    drawing = re.search(r'<path stroke="#000" d="([^"]+)"', text)[1]

    assert modules(drawing) == {
        (x, y)
        for y, row in enumerate(segno.make(address, error="m", micro=False).matrix_iter(border=4))
        for x, dark in enumerate(row)
        if dark
    }


def modules(drawing: str) -> set[tuple[int, int]]:
    """Return the dark modules of a drawing in steps: M and m move, h draws to the right."""
    dark, x, y = set(), 0, 0
    for step, numbers in re.findall(r"([Mmh])([-\d. ]+)", drawing):
        values = [float(number) for number in re.findall(r"-?[\d.]+", numbers)]
        if step == "h":
            dark |= {(x + column, y) for column in range(int(values[0]))}
            x += int(values[0])
        elif step == "M":
            x, y = int(values[0]), int(values[1])
        else:
            x, y = x + int(values[0]), y + int(values[1])
    return dark


@pytest.mark.parametrize(
    ("base", "hindrance"),
    [
        ("http://localhost:5000", "no phone can reach this address"),
        ("http://farm.home.arpa", "over https only"),
        ("https://farm.home.arpa", None),
    ],
)
def test_an_address_that_a_phone_cannot_use_says_so(owner, orchard, base, hindrance):
    entry = {"user_id": orchard.owner.user_id}
    cookie = owner.get_cookie("session").value
    host = base.partition("//")[2].partition(":")[0]
    owner.set_cookie("session", cookie, domain=host)
    text = read_page(owner.post("/devices", data=entry, base_url=base)).text

    assert f"{base}/field/#enrol=" in text
    assert (
        (hindrance in text) if hindrance else ("Five steps" in text and "offer again" not in text)
    )


def test_a_list_tells_the_state_the_contact_and_the_clock(owner, enrolled, database):
    from audits.services import devices
    from audits.storage.queries.devices import device_by_uid

    phone, _ = enrolled
    with database.write() as connection:
        row = device_by_uid(connection, 1, phone.uid)
        devices.note_contact(connection, row, NOW + timedelta(hours=1), -3 * 60_000)
    text = read_page(owner.get("/devices")).text

    assert "Blue phone" in text
    assert "Enrolled on 1/20/26, 12:00" in text.replace("\u202f", " ")
    assert "1/20/26, 1:00" in text
    assert "3 minutes behind" in text

    owner.post(f"/devices/{row.id}/revoke")
    text = read_page(owner.get("/devices")).text
    assert "Revoked on" in text
    assert "Revoke Blue phone" not in text


@pytest.mark.parametrize(
    ("ahead_ms", "said"),
    [
        (0, "agrees"),
        (9_999, "agrees"),
        (-12_000, "12 seconds behind"),
        (86_400_000, "1 day ahead"),
        (-56 * 365 * 86_400_000, "56 years behind"),
    ],
)
@pytest.mark.usefixtures("orchard")
def test_the_clock_reads_in_words(app, ahead_ms, said):
    from webapp.devices.presenters import _clock

    with app.test_request_context("/"):
        app.preprocess_request()
        assert _clock(ahead_ms) == said


def test_nobody_offers_or_revokes_for_somebody_else(orchard, owner, supervisor, app, offered):
    phone = Phone()
    enrol(app.test_client(), phone, offered(Role.OWNER))
    device_id = re.search(r"/devices/(\d+)/revoke", owner.get("/devices").text)[1]

    assert supervisor.post("/devices", data={"user_id": orchard.owner.user_id}).status_code == 404
    assert owner.post("/devices", data={"user_id": orchard.worker.user_id}).status_code == 404
    assert owner.post("/devices", data={"user_id": "x"}).status_code == 404
    assert owner.post("/devices").status_code == 404
    assert supervisor.post(f"/devices/{device_id}/revoke").status_code == 403
    assert owner.post("/devices/999999/revoke").status_code == 404
    assert owner.get("/devices").status_code == 200


def test_an_unlocked_phone_lets_no_other_phone_in(enrolled, orchard):
    _, client = enrolled
    answer = client.post("/devices", data={"user_id": orchard.supervisor.user_id})

    assert answer.status_code == 403
    assert "Sign in with your password" in read_page(answer).text
    assert client.get("/devices").status_code == 200


def test_an_unlocked_phone_lets_no_person_in(app, offered, orchard):
    """Planted danger: a person let in by a phone that is lost stays when the phone is revoked."""
    client = app.test_client()
    enrol(client, Phone(), offered(Role.OWNER))
    person = {"name": "mallory", "role": "owner", "language": "en", "password": PASSWORD}
    worker = orchard.worker.user_id

    for address in (
        "/farm/people/new",
        f"/farm/people/{worker}",
        f"/farm/people/{worker}/close",
        f"/farm/people/{worker}/reopen",
    ):
        answer = client.post(address, data=person)
        assert answer.status_code == 403, address
        assert "Sign in with your password" in read_page(answer).text
    entry = {"name": "mallory", "password": PASSWORD}
    assert app.test_client().post("/sign-in", data=entry).status_code != 302
    assert client.get("/farm").status_code == 200


# --- enrolling -----------------------------------------------------------------------------------


def test_enrolling_opens_the_pages_of_its_person(enrolled, orchard):
    phone, client = enrolled
    standing = client.get("/field/token", query_string={"device": phone.uid}).json

    assert standing["signed_in"] is True
    assert standing["device"] == phone.uid
    assert standing["person"] == {
        "id": orchard.supervisor.user_id,
        "name": "Saul Brightwater",
        "language": "en",
    }
    assert standing["revoked"] is False
    assert client.get("/blocks").status_code == 200


def test_the_answer_to_enrolling_names_phone_and_person(app, offered, orchard):
    phone = Phone()
    answer = enrol(app.test_client(), phone, offered())

    person = {"id": orchard.supervisor.user_id, "name": "Saul Brightwater", "language": "en"}
    assert answer.json == {"device": phone.uid, "person": person}
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", phone.uid)


@pytest.mark.usefixtures("orchard")
def test_a_visitor_learns_nothing_but_a_token(app):
    standing = app.test_client().get("/field/token").json

    assert standing.pop("csrf")
    assert standing.pop("nonce")
    assert standing == {"signed_in": False, "device": None, "person": None, "revoked": False}


def test_a_desk_is_signed_in_without_a_phone(supervisor):
    standing = supervisor.get("/field/token").json

    assert standing["signed_in"] is True
    assert standing["device"] is None


def test_a_code_enrols_one_phone(app, offered):
    token = offered()
    assert enrol(app.test_client(), Phone(), token).status_code == 200
    assert problem(enrol(app.test_client(), Phone(), token)) == (403, "used_offer")
    assert problem(enrol(app.test_client(), Phone(), "guessed")) == (403, "unknown_offer")


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"pin": "123456"}, (422, "guessable_digits")),
        ({"pin": "12345"}, (422, "bad_digits")),
        ({"pin": 581937}, (422, "bad_digits")),
        ({"pin": None}, (422, "bad_digits")),
        ({"name": ""}, (422, "bad_name")),
        ({"name": "a\x00b"}, (422, "bad_name")),
        ({"name": "\ud800"}, (422, "bad_name")),
        ({"name": ["x"]}, (422, "bad_name")),
        ({"public_key": "key"}, (422, "bad_key")),
        ({"public_key": {"kty": "EC", "crv": "P-256", "x": "", "y": ""}}, (422, "bad_key")),
        ({"token": 5}, (403, "unknown_offer")),
        ({"token": "\ud800"}, (403, "unknown_offer")),
    ],
)
def test_what_cannot_be_taken_is_named_and_the_code_stays_good(app, offered, changed, expected):
    token, phone = offered(), Phone()
    answer = enrol(app.test_client(), phone, token, **changed)

    assert problem(answer) == expected
    assert enrol(app.test_client(), phone, token).status_code == 200


@pytest.mark.parametrize("path", ["/field/enrol", "/field/unlock"])
@pytest.mark.parametrize(
    "sent",
    [
        {"data": b""},
        {"data": b"not json", "content_type": "application/json"},
        {"data": b"\xff\xfe", "content_type": "application/json"},
        {"data": b"[" * 100_000, "content_type": "application/json"},
        {"json": []},
        {"json": None},
        {"json": "text"},
        {"json": {"token": {}, "pin": [], "device": {}, "nonce": 1, "signature": None}},
    ],
    ids=["nothing", "words", "bytes", "deep", "list", "null", "text", "kinds"],
)
@pytest.mark.usefixtures("orchard")
def test_whatever_is_sent_is_answered_in_json(app, path, sent):
    status, _ = problem(app.test_client().post(path, **sent))
    assert 400 <= status < 500


def test_the_code_of_a_phone_of_somebody_else_is_kept(app, offered, enrolled):
    phone, _ = enrolled
    token = offered(Role.OWNER)

    assert problem(enrol(app.test_client(), phone, token)) == (409, "other_person")
    assert enrol(app.test_client(), Phone(), token).status_code == 200


# --- unlocking -----------------------------------------------------------------------------------


def test_the_digits_and_the_signature_open_the_phone(app, enrolled):
    phone, _ = enrolled
    client = app.test_client()
    answer = unlock(client, phone)

    assert answer.status_code == 200
    assert answer.json["device"] == phone.uid
    assert answer.json["person"]["name"] == "Saul Brightwater"
    assert client.get("/blocks").status_code == 200


def test_unlocking_ends_the_session_before_and_gives_a_new_cookie(app, enrolled):
    phone, first = enrolled
    second = app.test_client()
    unlock(second, phone)

    assert first.get("/blocks").status_code == 302
    assert first.get_cookie("session").value != second.get_cookie("session").value


def test_a_wrong_signature_opens_nothing_and_spends_no_try(app, enrolled):
    phone, _ = enrolled
    client = app.test_client()
    for signature in (Phone().sign("unlock"), phone.sign("another nonce"), "", "AAAA", "é"):
        for _ in range(4):
            answer = unlock(client, phone, WRONG_DIGITS, signature=signature)
            assert problem(answer) == (401, "unknown_device")
    assert unlock(client, phone).status_code == 200


def test_another_phones_key_opens_nothing(app, enrolled, offered):
    phone, _ = enrolled
    other = Phone()
    enrol(app.test_client(), other, offered())
    other.uid, own = phone.uid, other.uid

    assert problem(unlock(app.test_client(), other)) == (401, "unknown_device")
    other.uid = own
    assert unlock(app.test_client(), other).status_code == 200


def test_unknown_phones_and_wrong_signatures_read_alike(app, enrolled):
    phone, _ = enrolled
    client = app.test_client()
    unknown = unlock(client, Phone(uid="6a1f0c3e-0000-4000-8000-000000000000"))
    unsigned = unlock(client, phone, signature=Phone().sign("x"))

    assert unknown.json == unsigned.json
    assert unknown.status_code == unsigned.status_code


def test_ten_wrong_tries_and_the_phone_must_be_enrolled_again(app, enrolled, offered):
    phone, opened = enrolled
    client = app.test_client()
    answers = [problem(unlock(client, phone, WRONG_DIGITS)) for _ in range(MOST_TRIES)]

    assert answers == [(401, "wrong_digits")] * 9 + [(429, "enrol_again")]
    assert problem(unlock(client, phone)) == (429, "enrol_again")
    assert opened.get("/blocks").status_code == 302
    assert enrol(client, phone, offered()).status_code == 200
    assert unlock(client, phone).status_code == 200


def test_a_thousand_guesses_from_many_browsers_are_ten_tries(app, enrolled):
    phone, _ = enrolled
    answers = [
        problem(unlock(app.test_client(), phone, f"{guess:06}"))[1]
        for guess in range(200_000, 201_000)
    ]
    assert answers.count("wrong_digits") == MOST_TRIES - 1
    assert set(answers[MOST_TRIES - 1 :]) == {"enrol_again"}


def test_hammering_a_name_leaves_the_phone_open_to_its_digits(app, enrolled, orchard):
    phone, _ = enrolled
    stranger = app.test_client()
    name = orchard.sign_ins[Role.SUPERVISOR]
    for _ in range(12):
        stranger.post("/sign-in", data={"name": name, "password": "a guess"})
    refused = stranger.post("/sign-in", data={"name": name, "password": PASSWORD})

    assert "Too many tries" in refused.text
    assert unlock(app.test_client(), phone).status_code == 200


# --- nonces --------------------------------------------------------------------------------------


def test_a_nonce_that_comes_again_is_refused(app, enrolled):
    phone, _ = enrolled
    client = app.test_client()
    nonce = client.get("/field/token").json["nonce"]
    sent = {"device": phone.uid, "pin": DIGITS, "nonce": nonce, "signature": phone.sign(nonce)}

    assert client.post("/field/unlock", json=sent).status_code == 200
    assert problem(client.post("/field/unlock", json=sent)) == (401, "stale_nonce")
    assert problem(app.test_client().post("/field/unlock", json=sent)) == (401, "stale_nonce")


def test_a_nonce_of_a_failed_try_is_used_too(app, enrolled):
    phone, _ = enrolled
    client = app.test_client()
    nonce = client.get("/field/token").json["nonce"]
    sent = {"device": phone.uid, "nonce": nonce, "signature": phone.sign(nonce)}
    client.post("/field/unlock", json=sent | {"pin": WRONG_DIGITS})

    again = client.post("/field/unlock", json=sent | {"pin": DIGITS})
    assert problem(again) == (401, "stale_nonce")


@pytest.mark.parametrize(
    "nonce", ["", "unlock", "unlock.1.a.b", "unlock.x.y.z", "....", "é.1.2.3", "unlock.1e9.a.b"]
)
def test_a_nonce_that_was_not_made_here_is_refused(app, enrolled, nonce):
    phone, _ = enrolled
    answer = unlock(app.test_client(), phone, nonce=nonce, signature=phone.sign(nonce))
    assert problem(answer) == (401, "stale_nonce")


def test_a_nonce_is_good_for_two_minutes_here_and_for_nobody_elses_secret():
    nonces = Nonces("a secret", NOW)
    first, late = nonces.make(NOW), nonces.make(NOW)

    assert not Nonces("another secret", NOW).take(first, NOW)
    assert not nonces.take(first.replace("unlock", "unhook"), NOW)
    assert not nonces.take(first, NOW - timedelta(seconds=1))
    assert nonces.take(first, NOW + NONCE_LENGTH)
    assert not nonces.take(first, NOW + NONCE_LENGTH)
    assert not nonces.take(late, NOW + NONCE_LENGTH + timedelta(milliseconds=1))


def test_a_nonce_does_not_outlive_the_process_that_remembers_it():
    before = Nonces("a secret", NOW)
    nonce = before.make(NOW)
    assert before.take(nonce, NOW)
    restarted = Nonces("a secret", NOW + timedelta(seconds=5))

    assert not restarted.take(nonce, NOW + timedelta(seconds=6))


def test_used_nonces_are_forgotten_when_they_are_too_old_anyhow():
    nonces = Nonces("a secret", NOW)
    for minute in range(60):
        moment = NOW + timedelta(minutes=minute)
        assert nonces.take(nonces.make(moment), moment)

    assert len(nonces._used) <= 3


# --- revoking ------------------------------------------------------------------------------------


def test_a_revoked_phone_is_out_at_its_very_next_request(enrolled, owner):
    phone, client = enrolled
    assert client.get("/blocks").status_code == 200
    device_id = re.search(r"/devices/(\d+)/revoke", owner.get("/devices").text)[1]
    answer = owner.post(f"/devices/{device_id}/revoke")

    assert answer.status_code == 302
    assert client.get("/blocks").status_code == 302
    standing = client.get("/field/token", query_string={"device": phone.uid}).json
    assert (standing["signed_in"], standing["device"], standing["revoked"]) == (False, None, True)
    assert problem(unlock(client, phone)) == (403, "revoked")


def test_only_a_phone_that_knows_itself_hears_that_it_was_revoked(enrolled, owner):
    _, client = enrolled
    device_id = re.search(r"/devices/(\d+)/revoke", owner.get("/devices").text)[1]
    owner.post(f"/devices/{device_id}/revoke")

    for asked in ("", device_id, "\x00", "x" * 5_000):
        answer = client.get("/field/token", query_string={"device": asked})
        assert answer.json["revoked"] is False


def test_a_phones_session_ends_after_twelve_hours(tmp_path, clock, planted):
    import shutil

    path = shutil.copyfile(planted[0], tmp_path / "timed.db")
    app = create_app(Settings(f"sqlite:///{path}", "a secret of tests", now=lambda: clock.now))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    desk, client, phone = app.test_client(), app.test_client(), Phone()
    desk.post("/sign-in", data={"name": planted[1].sign_ins[Role.OWNER], "password": PASSWORD})
    page = desk.post("/devices", data={"user_id": planted[1].owner.user_id}).text
    enrol(client, phone, token_in(page))

    clock.now = NOW + timedelta(hours=11, minutes=59)
    assert client.get("/blocks").status_code == 200
    clock.now = NOW + timedelta(hours=12, minutes=1)
    assert client.get("/blocks").status_code == 302
    assert unlock(client, phone).status_code == 200
    assert client.get("/blocks").status_code == 200
    app.extensions["pruning_audit_database"].close()


# --- tokens of forms, and the log ----------------------------------------------------------------


def test_enrolling_and_unlocking_need_the_token_that_was_fetched(app, offered, enrolled):
    phone, _ = enrolled
    token = offered()
    app.config["WTF_CSRF_ENABLED"] = True
    client, other = app.test_client(), app.test_client()
    foreign = {"X-CSRFToken": other.get("/field/token").json["csrf"]}
    fetched = client.get("/field/token").json
    sent = {
        "device": phone.uid,
        "pin": DIGITS,
        "nonce": fetched["nonce"],
        "signature": phone.sign(fetched["nonce"]),
    }
    for headers in ({}, {"X-CSRFToken": "guessed"}, foreign):
        for path in ("/field/enrol", "/field/unlock"):
            answer = client.post(path, json=sent | {"token": token}, headers=headers)
            assert problem(answer) == (400, "stale_token")
    own = {"X-CSRFToken": fetched["csrf"]}
    assert client.post("/field/unlock", json=sent, headers=own).status_code == 200
    # Opening the phone began a new session, whose posts need its own token.
    assert client.post("/field/unlock", json=sent, headers=own).json["problem"] == "stale_token"


def test_the_log_says_nothing_that_opens_a_phone(app, offered, caplog):
    caplog.set_level(logging.DEBUG)
    token, phone, client = offered(), Phone(), app.test_client()
    enrol(client, phone, token)
    session = client.get_cookie("session").value
    nonce = client.get("/field/token").json["nonce"]
    unlock(client, phone, WRONG_DIGITS)
    unlock(client, phone, nonce=nonce, signature=phone.sign(nonce))
    enrol(client, Phone(), token)

    app.logger.warning("the log is listened to")
    assert "the log is listened to" in caplog.text
    for secret in (token, DIGITS, WRONG_DIGITS, session, nonce, phone.sign(nonce)):
        assert secret not in caplog.text


# --- planted defects -----------------------------------------------------------------------------


def test_a_nonce_that_is_not_remembered_would_be_taken_twice(app, enrolled, monkeypatch):
    phone, _ = enrolled
    monkeypatch.setattr(
        Nonces, "take", lambda nonces, nonce, _now: nonces._made_at(nonce) is not None
    )
    client = app.test_client()
    nonce = client.get("/field/token").json["nonce"]
    sent = {"device": phone.uid, "pin": DIGITS, "nonce": nonce, "signature": phone.sign(nonce)}

    statuses = [client.post("/field/unlock", json=sent).status_code for _ in range(2)]
    assert statuses == [200, 200], "the test on replayed nonces would not see the defect"


def test_without_the_signature_six_digits_would_open_from_anywhere(app, enrolled, monkeypatch):
    from audits.services import devices

    phone, _ = enrolled
    monkeypatch.setattr(devices, "verify", lambda *_: True)
    answer = unlock(app.test_client(), phone, signature="")
    assert answer.status_code == 200, "the test on signatures would not see the defect"
