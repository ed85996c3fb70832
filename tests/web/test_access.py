"""Who gets in: every address, every role, and what a browser may do with an answer."""

import re
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urljoin, urlsplit
from uuid import UUID

import pytest
from flask import Flask
from werkzeug.routing import Rule

from audits.vocabulary import Role
from tests.orchard import PASSWORD, plant_orchard
from tests.phone import Phone, enrol, token_in
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.access import open_to
from webapp.app import create_app
from webapp.config import Settings

# Who may go where, written down once more and apart from the views: an area that is opened to more
# people by mistake differs from this. The longest beginning of an address decides.
ANYBODY = "anybody"
# Unlocked phones of crew leads, which are told no in JSON.
PHONES = "phones"
# Whoever signs with the key of an enrolled phone: no session and no token is asked for.
SIGNED = "signed"
CREW_LEADS = frozenset({Role.OWNER, Role.SUPERVISOR})
OWNERS = frozenset({Role.OWNER})
WORKERS = frozenset({Role.WORKER})
EXPECTED = {
    # Workers are led to their own page.
    "/": frozenset(Role),
    "/farm": OWNERS,
    "/lots/<int:lot_id>/cause-put-right": OWNERS,
    "/season": OWNERS,
    "/print/season": OWNERS,
    "/print/season.pdf": OWNERS,
    "/safety": frozenset(Role),
    "/workers": CREW_LEADS,
    "/workers/mine": WORKERS,
    # Workers see their own record here and no other: see the test below.
    "/workers/<int:worker_id>": frozenset(Role),
    "/coaching": CREW_LEADS,
    "/coaching/mine": WORKERS,
    # As above: see tests/web/test_coaching.py.
    "/coaching/<int:worker_id>": frozenset(Role),
    "/coaching/<int:worker_id>.pdf": frozenset(Role),
    "/coaching/<int:worker_id>/stages": frozenset(Role),
    "/coaching/<int:worker_id>/stages/begin": CREW_LEADS,
    "/coaching/<int:worker_id>/stages/sign-off": CREW_LEADS,
    "/coaching/<int:worker_id>/stages/take-back": CREW_LEADS,
    "/coaching/crews": CREW_LEADS,
    "/learn": frozenset(Role),
    "/learn/briefs": CREW_LEADS,
    "/learn/hand-over": CREW_LEADS,
    "/learn/records": CREW_LEADS,
    "/learn/records/mine": WORKERS,
    "/quiz-items": CREW_LEADS,
    "/quiz-items/<item>/retire": OWNERS,
    "/quiz-items/<item>/restore": OWNERS,
    "/learn/rows": CREW_LEADS,
    "/learn/rows/mine": WORKERS,
    # Workers see their own and no other: see tests/web/test_learning_rows.py.
    "/learn/rows/<int:worker_id>": frozenset(Role),
    "/contests/mine": WORKERS,
    "/contests/trees": WORKERS,
    "/contests/trees.csv": WORKERS,
    # Whose score, disagreement or photo it is decides: see tests/web/test_contests.py.
    "/contests/notice": frozenset(Role),
    "/contests/audits": frozenset(Role),
    "/contests/photos": frozenset(Role),
    "/contests/<int:contest_id>/words": frozenset(Role),
    "/contests/<int:contest_id>/take-back": frozenset(Role),
    "/quiz": frozenset(Role),
    "/quiz/mine": WORKERS,
    "/quiz/workers": CREW_LEADS,
    "/sign-in": ANYBODY,
    "/sign-out": ANYBODY,
    "/language": ANYBODY,
    "/ready": ANYBODY,
    "/ready/phone": ANYBODY,
    "/static/<path:filename>": ANYBODY,
    # The page in the row: the same bytes for everybody.
    "/field": PHONES,
    "/field/": ANYBODY,
    "/field/token": ANYBODY,
    "/field/enrol": ANYBODY,
    "/field/unlock": ANYBODY,
    "/field/sync": SIGNED,
    "/field/photos/<uuid:photo>": SIGNED,
    "/field/worker.js": ANYBODY,
    "/field/phrases.json": ANYBODY,
    "/field/manifest.webmanifest": ANYBODY,
    "/practice-trees": CREW_LEADS,
    # The practice page: the same; what it asks for and sends is for whoever learns.
    "/practice/": ANYBODY,
    "/practice/worker.js": ANYBODY,
    "/practice/phrases.json": ANYBODY,
    "/practice/manifest.webmanifest": ANYBODY,
    "/practice/blocks.json": frozenset(Role),
    "/practice/learners.json": frozenset(Role),
    "/practice/pack.json": frozenset(Role),
    "/practice/results": frozenset(Role),
}
LANGUAGES = frozenset({"en", "es"})
SESSION_COOKIE = "session"
SIGNER = "test"
STYLES = "/static/css/page.css"


@dataclass(frozen=True)
class Address:
    """One rule of the application with one method, and a path that it answers."""

    rule: str
    method: str
    path: str

    @property
    def expected(self):
        fitting = [start for start in EXPECTED if self._is_within(start)]
        return EXPECTED[max(fitting, key=len)] if fitting else CREW_LEADS

    def _is_within(self, start: str) -> bool:
        return start == self.rule or self.rule.startswith(f"{start}/")


def addresses(app, **known: int) -> list[Address]:
    """Return every rule with every method; `known` are ids to ask for, by their name in rules."""
    return [
        Address(rule.rule, method, _path(rule, known))
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
    ]


def _path(rule: Rule, known: dict[str, int]) -> str:
    absent = dict.fromkeys(rule.arguments, 999_999) | {
        "filename": "absent.css",
        "photo": UUID(int=1),
        "quiz": UUID(int=1),
    }
    return rule.build(absent | known, append_unknown=False)[1]


def undeclared(app) -> list[str]:
    """Return the endpoints that do not say who may open them."""
    return [
        endpoint
        for endpoint, view in app.view_functions.items()
        if endpoint != "static"
        and not getattr(view, "open_to", None)
        and not getattr(view, "open_to_anyone", False)
    ]


def ask(client, address: Address):
    return client.open(address.path, method=address.method)


def is_sent_to_sign_in(answer) -> bool:
    return answer.status_code == 302 and urlsplit(answer.location).path == "/sign-in"


# --- who may open what ---------------------------------------------------------------------------


def test_every_view_says_who_may_open_it(app):
    assert not undeclared(app)


def test_a_view_that_says_nothing_is_found_and_stays_closed(app, orchard):
    app.add_url_rule("/forgotten", "forgotten", lambda: "open", methods=["GET", "POST"])
    assert undeclared(app) == ["forgotten"]

    client = app.test_client()
    client.post("/sign-in", data={"name": orchard.sign_ins[Role.OWNER], "password": PASSWORD})
    assert client.get("/forgotten").status_code == 403
    assert client.post("/forgotten").status_code == 403
    assert app.test_client().get("/forgotten").status_code == 403


@pytest.mark.usefixtures("orchard")
def test_whoever_has_not_signed_in_is_sent_to_the_sign_in_page(app):
    closed = [
        address for address in addresses(app) if address.expected not in {ANYBODY, PHONES, SIGNED}
    ]
    visitor = app.test_client()

    assert len(closed) > 50
    let_in = [address for address in closed if not is_sent_to_sign_in(ask(visitor, address))]
    assert not let_in


@pytest.mark.usefixtures("orchard")
def test_addresses_open_to_anybody_ask_for_no_sign_in(app):
    opened = [address for address in addresses(app) if address.expected == ANYBODY]

    assert {address.rule for address in opened} == {
        rule for rule, roles in EXPECTED.items() if roles == ANYBODY
    }
    statuses = {
        f"{address.method} {address.rule}": ask(app.test_client(), address).status_code
        for address in opened
    }
    assert statuses == {
        "GET /sign-in": 200,
        "POST /sign-in": 200,
        "POST /sign-out": 302,
        "POST /language": 302,
        "GET /static/<path:filename>": 404,
        "GET /ready": 200,
        "GET /ready/phone": 200,
        "GET /field/": 200,
        "GET /field/token": 200,
        "POST /field/enrol": 422,
        "POST /field/unlock": 401,
        "GET /field/worker.js": 200,
        "GET /field/phrases.json": 200,
        "GET /field/manifest.webmanifest": 200,
        "GET /practice/": 200,
        "GET /practice/worker.js": 200,
        "GET /practice/phrases.json": 200,
        "GET /practice/manifest.webmanifest": 200,
    }


@pytest.mark.parametrize("role", [None, *Role])
def test_what_is_for_phones_answers_others_in_json(app, sign_in, role):
    client = app.test_client() if role is None else sign_in(role)
    asked = {address: ask(client, address) for address in of_phones(app)}

    # A worker keeps no phone, however they came in.
    expected = {
        None: (401, "locked"),
        Role.WORKER: (403, "not_allowed"),
        Role.OWNER: (401, "not_enrolled"),
        Role.SUPERVISOR: (401, "not_enrolled"),
    }[role]
    assert {(answer.status_code, answer.json["problem"]) for answer in asked.values()} == {expected}
    assert {frozenset(answer.json["words"]) for answer in asked.values()} == {LANGUAGES}


@pytest.mark.parametrize("role", [Role.OWNER, Role.SUPERVISOR])
def test_an_unlocked_phone_opens_what_is_for_phones_and_its_persons_pages(
    app, orchard, sign_in, role
):
    page = sign_in(role).post("/devices", data={"user_id": orchard.actor(role).user_id}).text
    phone = app.test_client()
    assert enrol(phone, Phone(), token_in(page)).status_code == 200
    statuses = {
        address: ask(phone, address).status_code
        for address in addresses(app)
        if address.expected == PHONES or (address.method == "GET" and role in address.expected)
    }

    assert len(statuses) > len(of_phones(app)) > 0
    assert not {address: status for address, status in statuses.items() if status in {401, 403}}


@pytest.mark.parametrize("role", [None, *Role])
def test_what_phones_sign_is_taken_from_nobody_who_does_not_sign(guarded, orchard, role):
    """However somebody is signed in: only the signature counts."""
    client = guarded.test_client() if role is None else signed_in_with_token(guarded, orchard, role)
    signed = [address for address in addresses(guarded) if address.expected == SIGNED]
    answers = [client.post(address.path, data=b"{}") for address in signed]

    assert len(signed) == 2
    assert {(answer.status_code, answer.json["problem"]) for answer in answers} == {
        (401, "unknown_device")
    }


def of_phones(app) -> list[Address]:
    return [address for address in addresses(app) if address.expected == PHONES]


@pytest.mark.parametrize("role", list(Role))
def test_each_role_opens_its_own_pages_and_no_others(app, orchard, sign_in, role):
    client = sign_in(role)
    wrong = {}
    for address in addresses(app, worker_id=orchard.worker.worker_id):
        if address.rule == "/sign-out" or address.expected in {PHONES, SIGNED}:
            continue
        status = ask(client, address).status_code
        allowed = address.expected == ANYBODY or role in address.expected
        is_fitting = status < 500 and status != 403 if allowed else status == 403
        if not is_fitting:
            wrong[f"{address.method} {address.rule}"] = status

    assert not wrong


@pytest.mark.parametrize("role", list(Role))
def test_the_navigation_offers_only_what_opens(sign_in, role):
    client = sign_in(role)
    first = client.get("/contests/mine" if role is Role.WORKER else "/")
    links = [link for link in read_page(first).links if link.startswith("/")]

    assert {link: client.get(link).status_code for link in links} == dict.fromkeys(links, 200)


def test_workers_see_their_own_record_and_nobody_elses(orchard, sign_in):
    worker = sign_in(Role.WORKER)
    own = orchard.worker.worker_id
    statuses = {
        worker_id: worker.get(f"/workers/{worker_id}").status_code
        for worker_id in orchard.worker_ids
    }

    assert statuses.pop(own) == 200
    assert set(statuses.values()) <= {403, 404}
    assert len(statuses) == len(orchard.worker_ids) - 1


# --- tokens of forms -----------------------------------------------------------------------------


@pytest.fixture
def guarded(app):
    """The application with its forms' tokens asked for, as it is served."""
    app.config["WTF_CSRF_ENABLED"] = True
    return app


def token_of(client, path="/sign-in") -> str:
    page = client.get(path).text
    return page.partition('name="csrf_token"')[2].partition('value="')[2].partition('"')[0]


def signed_in_with_token(app, orchard, role):
    client = app.test_client()
    entry = {
        "name": orchard.sign_ins[role],
        "password": PASSWORD,
        "csrf_token": token_of(client),
    }
    assert client.post("/sign-in", data=entry).status_code == 302
    return client


@pytest.mark.parametrize("role", list(Role))
def test_nothing_is_taken_without_the_token_of_its_form(guarded, orchard, role):
    client = signed_in_with_token(guarded, orchard, role)
    posts = [
        address
        for address in addresses(guarded)
        if address.method == "POST" and address.expected not in {PHONES, SIGNED}
    ]

    assert len(posts) > 20
    statuses = {address: ask(client, address).status_code for address in posts}
    refusals = {
        address: 400 if address.expected == ANYBODY or role in address.expected else 403
        for address in posts
    }
    assert statuses == refusals
    assert client.get("/safety").status_code == 200, "signing out was taken without its token"


def test_nothing_is_taken_from_a_phone_without_its_token(guarded, orchard):
    owner = signed_in_with_token(guarded, orchard, Role.OWNER)
    entry = {"user_id": orchard.owner.user_id, "csrf_token": token_of(owner, "/devices")}
    page = owner.post("/devices", data=entry).text
    phone = guarded.test_client()
    headers = {"X-CSRFToken": phone.get("/field/token").json["csrf"]}
    assert enrol(phone, Phone(), token_in(page), headers=headers).status_code == 200

    posts = [address for address in of_phones(guarded) if address.method == "POST"]
    answers = [ask(phone, address) for address in posts]
    assert {(answer.status_code, answer.json["problem"]) for answer in answers} == {
        (400, "stale_token")
    }


def test_a_page_that_was_open_too_long_keeps_its_readers_menu(guarded, orchard):
    owner = signed_in_with_token(guarded, orchard, Role.OWNER)
    answer = owner.post("/blocks/new", data={"csrf_token": "stale"})

    assert answer.status_code == 400
    assert "/farm" in read_page(answer).links


def test_a_form_sent_after_the_session_ended_leads_to_the_sign_in_page(guarded, orchard):
    owner = signed_in_with_token(guarded, orchard, Role.OWNER)
    entry = {"csrf_token": token_of(owner, "/blocks/new")}
    owner.post("/sign-out", data=entry)

    assert is_sent_to_sign_in(owner.post("/blocks/new", data=entry))


def test_signing_in_needs_the_token_of_its_form(guarded, orchard):
    entry = {"name": orchard.sign_ins[Role.OWNER], "password": PASSWORD}
    client = guarded.test_client()

    assert client.post("/sign-in", data=entry).status_code == 400
    assert client.post("/sign-in", data=entry | {"csrf_token": "guessed"}).status_code == 400
    assert client.post("/sign-in", data=entry | {"csrf_token": token_of(client)}).status_code == 302


def test_a_token_of_another_persons_session_is_refused(guarded, orchard):
    owner = signed_in_with_token(guarded, orchard, Role.OWNER)
    supervisor = signed_in_with_token(guarded, orchard, Role.SUPERVISOR)
    entry = {"language": "es", "next": "/"}

    own, foreign = token_of(owner, "/"), token_of(supervisor, "/")
    assert owner.post("/language", data=entry | {"csrf_token": foreign}).status_code == 400
    assert owner.post("/language", data=entry | {"csrf_token": own}).status_code == 302


# --- the cookie and the headers ------------------------------------------------------------------


def session_cookie(answer) -> str:
    cookies = answer.headers.getlist("Set-Cookie")
    return next(cookie for cookie in cookies if SESSION_COOKIE in cookie.partition("=")[0])


def cookie_parts(cookie: str) -> set[str]:
    return {part.strip() for part in cookie.split(";")[1:]}


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(app, orchard):
    entry = {"name": orchard.sign_ins[Role.OWNER], "password": PASSWORD}
    cookie = session_cookie(app.test_client().post("/sign-in", data=entry))

    assert cookie.startswith("session=")
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= cookie_parts(cookie)


def test_behind_https_the_cookie_travels_over_https_alone(tmp_path):
    app = create_app(
        Settings(f"sqlite:///{tmp_path / 'https.db'}", SIGNER, https=True, now=lambda: NOW)
    )
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    database = app.extensions["pruning_audit_database"]
    orchard = plant_orchard(database, NOW)
    answer = app.test_client().post(
        "/sign-in",
        data={"name": orchard.sign_ins[Role.OWNER], "password": PASSWORD},
        base_url="https://localhost",
    )
    database.close()

    cookie = session_cookie(answer)
    # The prefix makes browsers refuse the cookie unless it is Secure, for / and for no domain.
    assert cookie.startswith("__Host-session=")
    assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= cookie_parts(cookie)
    assert "Domain" not in cookie
    # Whether browsers are bound to https for good is another matter: see the next test.
    assert "Strict-Transport-Security" not in answer.headers


@pytest.mark.parametrize(
    ("hsts", "scheme", "is_told"),
    [(True, "https", True), (True, "http", False), (False, "https", False)],
)
def test_browsers_are_bound_to_https_only_where_it_will_last(tmp_path, hsts, scheme, is_told):
    # RFC 6797 7.2: never over plain http; 8.4: afterwards nobody gets past a warning.
    settings = Settings(
        f"sqlite:///{tmp_path / 'https.db'}", SIGNER, https=True, hsts=hsts, now=lambda: NOW
    )
    app = create_app(settings)
    answer = app.test_client().get("/ready", base_url=f"{scheme}://localhost")
    app.extensions["pruning_audit_database"].close()
    assert ("Strict-Transport-Security" in answer.headers) is is_told


def break_down():
    raise RuntimeError("snapped")


def answers_of_each_kind(app, orchard):
    app.add_url_rule("/broken", "broken", open_to(frozenset(Role))(break_down))
    app.config["PROPAGATE_EXCEPTIONS"] = False
    app.config["WTF_CSRF_ENABLED"] = True
    owner = signed_in_with_token(app, orchard, Role.OWNER)
    worker = signed_in_with_token(app, orchard, Role.WORKER)
    token = {"csrf_token": token_of(owner, "/blocks/new")}
    return {
        200: owner.get("/"),
        302: app.test_client().get("/"),
        304: owner.get(STYLES, headers={"If-None-Match": etag_of(owner)}, buffered=True),
        400: owner.post("/blocks/new"),
        403: worker.get("/blocks"),
        404: owner.get("/nowhere"),
        405: owner.post("/season", data=token),
        413: owner.post("/blocks/new", data={"name": "x" * 1_100_000}),
        422: owner.post("/blocks/new", data=token),
        500: owner.get("/broken"),
    }


def etag_of(client) -> str:
    return client.get(STYLES, buffered=True).headers["ETag"]


def test_every_answer_tells_the_browser_what_it_must_not_do(app, orchard):
    answers = answers_of_each_kind(app, orchard)

    assert {status: answer.status_code for status, answer in answers.items()} == {
        status: status for status in answers
    }
    for status, answer in answers.items():
        policy = dict(
            part.strip().partition(" ")[::2]
            for part in answer.headers["Content-Security-Policy"].split(";")
        )
        assert policy["default-src"] == "'self'", status
        assert policy["object-src"] == policy["base-uri"] == "'none'", status
        assert policy["form-action"] == "'self'", status
        assert policy["frame-ancestors"] == "'none'", status
        assert "unsafe" not in answer.headers["Content-Security-Policy"], status
        assert answer.headers["X-Content-Type-Options"] == "nosniff", status
        assert answer.headers["Referrer-Policy"] == "same-origin", status
        if status != 304:
            assert answer.headers["Cache-Control"] == "no-store", status


def test_an_error_shows_a_page_of_ours_and_no_insides(app, orchard):
    answers = answers_of_each_kind(app, orchard)
    for status in (400, 403, 404, 405, 413, 500):
        page = read_page(answers[status])
        assert len(page.headings) == 1, status
        assert "Traceback" not in answers[status].text, status
        assert "snapped" not in answers[status].text, status


# --- the life of a session -----------------------------------------------------------------------


@pytest.fixture
def clock():
    """The application's clock, to be moved by a test: ``clock.now += timedelta(...)``."""

    class Clock:
        now = NOW

    return Clock()


@pytest.fixture
def timed(tmp_path, clock):
    """An application whose clock a test can move."""
    app = create_app(Settings(f"sqlite:///{tmp_path / 'timed.db'}", SIGNER, now=lambda: clock.now))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    yield app
    app.extensions["pruning_audit_database"].close()


def enter(app: Flask, name: str, password: str = PASSWORD):
    client = app.test_client()
    return client, client.post("/sign-in", data={"name": name, "password": password})


def with_the_cookie_of(app, client):
    """Return another browser into which the cookie was copied."""
    thief = app.test_client()
    thief.set_cookie(SESSION_COOKIE, client.get_cookie(SESSION_COOKIE).value)
    return thief


def test_a_copied_cookie_dies_when_its_owner_signs_out(app, supervisor):
    thief = with_the_cookie_of(app, supervisor)
    assert thief.get("/blocks").status_code == 200
    supervisor.post("/sign-out")

    assert is_sent_to_sign_in(thief.get("/blocks"))
    assert is_sent_to_sign_in(supervisor.get("/blocks"))


def test_signing_out_empties_what_the_browser_kept(supervisor):
    answer = supervisor.post("/sign-out")
    assert is_sent_to_sign_in(answer)
    assert answer.headers["Clear-Site-Data"] == '"cache"'


def test_signing_in_gives_a_new_session_each_time(app, orchard):
    first, _ = enter(app, orchard.sign_ins[Role.OWNER])
    before = first.get_cookie(SESSION_COOKIE).value
    first.post("/sign-in", data={"name": orchard.sign_ins[Role.OWNER], "password": PASSWORD})

    assert first.get_cookie(SESSION_COOKIE).value != before


def test_a_session_ends_by_itself_after_its_hours(timed, clock):
    orchard = plant_orchard(timed.extensions["pruning_audit_database"], NOW)
    client, _ = enter(timed, orchard.sign_ins[Role.OWNER])

    clock.now = NOW + timedelta(hours=11, minutes=59)
    assert client.get("/").status_code == 200
    clock.now = NOW + timedelta(hours=12, minutes=1)
    assert is_sent_to_sign_in(client.get("/"))


def test_a_closed_account_loses_every_session_at_once(app, orchard, owner):
    name = orchard.sign_ins[Role.SUPERVISOR]
    desk, phone = enter(app, name)[0], enter(app, name)[0]
    assert desk.get("/").status_code == phone.get("/").status_code == 200
    owner.post(f"/farm/people/{orchard.supervisor.user_id}/close")

    assert is_sent_to_sign_in(desk.get("/"))
    assert is_sent_to_sign_in(phone.get("/"))
    assert enter(app, name)[1].status_code == 200


def test_wrong_passwords_make_the_next_try_wait_longer_and_longer(timed, clock):
    orchard = plant_orchard(timed.extensions["pruning_audit_database"], NOW)
    name = orchard.sign_ins[Role.SUPERVISOR]
    waits = []
    for _ in range(5):
        enter(timed, name, "a wrong password")
    for _ in range(4):
        waits.append(seconds_until_heard(timed, clock, name))
        enter(timed, name, "a wrong password")

    assert waits == sorted(waits)
    assert waits[-1] >= 4 * waits[0] > 0


def test_the_right_password_waits_too_and_then_opens(timed, clock):
    orchard = plant_orchard(timed.extensions["pruning_audit_database"], NOW)
    name = orchard.sign_ins[Role.SUPERVISOR]
    for _ in range(5):
        enter(timed, name, "a wrong password")

    assert "Too many tries" in enter(timed, name)[1].text
    clock.now += timedelta(minutes=15)
    assert enter(timed, name)[1].status_code == 302
    # Whoever got in starts afresh.
    enter(timed, name, "a wrong password")
    assert enter(timed, name)[1].status_code == 302


def test_other_people_sign_in_while_one_name_waits(timed):
    orchard = plant_orchard(timed.extensions["pruning_audit_database"], NOW)
    for _ in range(8):
        enter(timed, orchard.sign_ins[Role.SUPERVISOR], "a wrong password")

    assert enter(timed, orchard.sign_ins[Role.OWNER])[1].status_code == 302


def seconds_until_heard(app, clock, name) -> int:
    """Return how long a name must wait, without spending a try that counts."""
    for seconds in range(900):
        if "Too many tries" not in enter_at(app, clock, name, seconds):
            clock.now += timedelta(seconds=seconds)
            return seconds
    pytest.fail("the wait never ends")


def enter_at(app, clock, name, seconds) -> str:
    start = clock.now
    clock.now = start + timedelta(seconds=seconds)
    try:
        return enter(app, name, "a wrong password")[1].text
    finally:
        clock.now = start


# --- where signing in leads ----------------------------------------------------------------------

ELSEWHERE = (
    "https://elsewhere.invalid/",
    "//elsewhere.invalid/",
    "///elsewhere.invalid/",
    "/\\elsewhere.invalid/",
    "\\\\elsewhere.invalid/",
    "/\t/elsewhere.invalid/",
    "/\n/elsewhere.invalid/",
    "\t//elsewhere.invalid/",
    " //elsewhere.invalid/",
    "https:elsewhere.invalid",
    "https:/elsewhere.invalid",
    "javascript:alert(1)",
    "data:text/html,x",
    "elsewhere.invalid",
    "@elsewhere.invalid",
    "/\x00/elsewhere.invalid/",
    "http://localhost@elsewhere.invalid/",
    "http://[::1",
    "/\r\nSet-Cookie: a=b",
)


def lands_on(answer, asked_at: str) -> str:
    """Return the host that a browser would go to, which reads addresses as the URL standard has it.

    It drops tabs and line ends, takes a backslash for a slash, and any number of slashes for two.
    """
    location = "".join(letter for letter in answer.location if letter not in "\t\r\n")
    location = re.sub("^//+", "//", location.replace("\\", "/"))
    return urlsplit(urljoin(f"http://localhost{asked_at}", location)).netloc


@pytest.mark.parametrize("target", ELSEWHERE)
def test_signing_in_never_leads_elsewhere(app, orchard, target):
    answer = app.test_client().post(
        "/sign-in",
        query_string={"next": target},
        data={"name": orchard.sign_ins[Role.SUPERVISOR], "password": PASSWORD},
    )
    assert answer.status_code == 302
    assert lands_on(answer, "/sign-in") == "localhost"


@pytest.mark.parametrize("target", ELSEWHERE)
def test_changing_the_language_never_leads_elsewhere(supervisor, target):
    answer = supervisor.post("/language", data={"language": "es", "next": target})
    assert answer.status_code == 302
    assert lands_on(answer, "/language") == "localhost"


def test_signing_in_leads_to_the_page_that_was_asked_for(app, orchard):
    client = app.test_client()
    sent_to = client.get(f"/print?block_id={orchard.block_id}").location
    entry = {"name": orchard.sign_ins[Role.SUPERVISOR], "password": PASSWORD}

    assert client.post(sent_to, data=entry).location == f"/print?block_id={orchard.block_id}"


def test_a_language_that_does_not_exist_changes_nothing(supervisor):
    answer = supervisor.post("/language", data={"language": "xx", "next": "/"})
    assert answer.status_code in {302, 422}
    assert '<html lang="en"' in supervisor.get("/").text
