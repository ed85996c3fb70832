"""Enrolled phones as the services keep them, on both databases."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.services import accounts, devices
from audits.services.devices import PhoneProblem, PhoneRefused
from audits.services.sessions import token_hash
from audits.storage.queries.accounts import user_by_name
from audits.storage.queries.devices import device_by_uid
from audits.storage.tables import device as device_table
from audits.storage.tables import enrolment, user_account, user_session
from audits.unlocking import MOST_TRIES
from audits.vocabulary import Role
from tests.orchard import PASSWORD, plant_orchard
from tests.phone import DIGITS, Phone

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
WRONG_DIGITS = "749203"
MINUTE = timedelta(minutes=1)


@pytest.fixture
def orchard(quick_database):
    return plant_orchard(quick_database, NOW)


@pytest.fixture
def offered(quick_database, orchard):
    """Offer a phone: ``offered()``, by default to the supervisor by themselves."""

    def offer(actor=None, user_id=None, now=NOW):
        actor = actor or orchard.supervisor
        return devices.offer_enrolment(
            quick_database, actor, user_id=user_id or actor.user_id, now=now
        )

    return offer


@pytest.fixture
def enrolled(quick_database, orchard, offered):
    """Enrol a phone: ``row, session = enrolled(phone)``."""

    def enrol(phone, token=None, **changed):
        values = {
            "token": token or offered(),
            "name": "Blue phone",
            "public_key": phone.public_key,
            "pin": DIGITS,
            "now": NOW,
        }
        row, session = devices.enrol_device(quick_database, orchard.farm_id, **values | changed)
        phone.uid = row.uid
        return row, session

    return enrol


@pytest.fixture
def unlocked(quick_database, orchard):
    """Try to open a phone: ``unlocked(phone, digits)`` returns the session's secret."""

    def unlock(phone, pin=DIGITS, now=NOW, signer=None):
        return devices.unlock(
            quick_database,
            orchard.farm_id,
            uid=phone.uid,
            pin=pin,
            nonce="unlock.1.abc",
            signature=(signer or phone).sign("unlock.1.abc"),
            now=now,
        )

    return unlock


@pytest.fixture
def is_open(quick_database):
    """Whether a session opens pages, and for whom."""
    return lambda token, now=NOW: accounts.actor_of_session(quick_database, token, now)


def refusal(call, *arguments, **values) -> PhoneProblem:
    with pytest.raises(PhoneRefused) as refused:
        call(*arguments, **values)
    return refused.value.problem


# --- offers --------------------------------------------------------------------------------------


def test_an_offer_is_good_for_one_phone(enrolled, offered):
    token = offered()
    enrolled(Phone(), token)

    assert refusal(enrolled, Phone(), token) is PhoneProblem.USED_OFFER


@pytest.mark.parametrize(("minutes", "is_late"), [(14.9, False), (15, True), (600, True)])
def test_an_offer_ends_after_a_quarter_of_an_hour(enrolled, offered, minutes, is_late):
    token, later = offered(), NOW + minutes * MINUTE
    if is_late:
        assert refusal(enrolled, Phone(), token, now=later) is PhoneProblem.LATE_OFFER
    else:
        enrolled(Phone(), token, now=later)


def test_a_new_offer_voids_the_one_before(enrolled, offered):
    first, second = offered(), offered()

    assert refusal(enrolled, Phone(), first) is PhoneProblem.UNKNOWN_OFFER
    enrolled(Phone(), second)


def test_a_code_is_twelve_signs_that_nobody_mistakes(offered):
    """Crockford's base 32 leaves I, L, O and U out; 60 bits are random."""
    codes = {offered() for _ in range(50)}

    assert len(codes) == 50
    assert all(re.fullmatch("(?:[0-9A-HJKMNP-TV-Z]{4}-?){3}", code) for code in codes)


@pytest.mark.parametrize(
    "typed",
    [
        lambda code: code.lower(),
        lambda code: code.replace("-", ""),
        lambda code: f" {code.replace('-', ' ')} ",
        lambda code: code.replace("0", "o").replace("1", "l"),
        lambda code: code.replace("0", "O").replace("1", "I"),
    ],
    ids=["small", "joined", "blanks", "small look-alikes", "look-alikes"],
)
def test_a_code_may_be_typed_as_people_type(enrolled, offered, typed):
    enrolled(Phone(), typed(offered()))


@pytest.mark.usefixtures("orchard")
def test_a_token_that_nobody_offered_opens_nothing(enrolled):
    for token in ("", "guessed", "x" * 10_000):
        assert refusal(enrolled, Phone(), token or " ") is PhoneProblem.UNKNOWN_OFFER


def test_only_the_hash_of_a_token_is_kept(quick_database, offered):
    token = offered()
    with quick_database.read() as connection:
        kept = connection.execute(sa.select(enrolment)).mappings().one()

    assert kept["token_hash"] == token_hash(token.replace("-", ""))
    assert not {token, token.replace("-", "")} & set(map(str, kept.values()))


def test_supervisors_offer_to_themselves_and_owners_to_whoever_leads_crews(offered, orchard):
    offered(orchard.owner, orchard.supervisor.user_id)
    offered(orchard.owner)
    with pytest.raises(NotAllowed):
        offered(orchard.supervisor, orchard.owner.user_id)
    with pytest.raises(InvalidInput, match="Aurelio leads no crews"):
        offered(orchard.owner, orchard.worker.user_id)
    with pytest.raises(NotAllowed):
        offered(orchard.worker)
    with pytest.raises(NotFound):
        offered(orchard.owner, 999_999)


def test_whoever_became_a_worker_meanwhile_enrols_nothing(
    quick_database, orchard, enrolled, offered
):
    token = offered()
    set_account(quick_database, orchard.supervisor, role=Role.WORKER)

    assert refusal(enrolled, Phone(), token) is PhoneProblem.CLOSED


def set_account(database, actor, **values):
    with database.write() as connection:
        connection.execute(
            user_account.update().where(user_account.c.id == actor.user_id).values(**values)
        )


# --- enrolling -----------------------------------------------------------------------------------


def test_enrolling_opens_the_phone_for_its_person(enrolled, orchard, is_open):
    row, session = enrolled(Phone(), name="  Saul's \t phone ")

    assert (row.name, row.user_account_id) == ("Saul's phone", orchard.supervisor.user_id)
    assert (row.pin_failures, row.revoked_at, row.enrolled_at) == (0, None, NOW)
    assert is_open(session) == orchard.supervisor


@pytest.mark.parametrize("pin", ["", "12345", "1234567", "58193a", "٥٨١٩٣٧", "5819 7", "-81937"])
def test_other_than_six_digits_are_refused(enrolled, pin):
    assert refusal(enrolled, Phone(), pin=pin) is PhoneProblem.BAD_DIGITS


@pytest.mark.parametrize("pin", ["000000", "111111", "123456", "654321", "121212", "112233"])
def test_digits_that_anybody_would_try_are_refused_with_a_sentence(enrolled, offered, pin):
    token = offered()
    with pytest.raises(PhoneRefused, match="too easy to guess") as refused:
        enrolled(Phone(), token, pin=pin)
    assert refused.value.problem is PhoneProblem.GUESSABLE_DIGITS
    enrolled(Phone(), token)  # the offer is as it was


def test_a_name_that_is_missing_or_endless_is_refused(enrolled):
    for name in ("", "   ", "x" * 10_000):
        assert refusal(enrolled, Phone(), name=name) is PhoneProblem.BAD_NAME


def test_a_key_that_is_none_on_the_curve_is_refused(enrolled):
    good = Phone().public_key
    wrong = [
        None,
        "key",
        [],
        {},
        good | {"kty": "RSA"},
        good | {"crv": "P-384"},
        good | {"x": 5},
        good | {"x": good["x"][:-1]},
        good | {"y": good["y"] + "="},
        good | {"x": good["y"], "y": good["x"]},
        good | {"d": good["x"]},
        good | {"x": "é" * 43},
    ]
    for key in wrong:
        assert refusal(enrolled, Phone(), public_key=key) is PhoneProblem.BAD_KEY, key


def test_what_a_browser_adds_to_a_key_is_not_kept(enrolled):
    phone = Phone()
    row, _ = enrolled(phone, public_key=phone.public_key | {"ext": True, "key_ops": ["verify"]})

    assert row.public_key == phone.public_key


def test_enrolling_again_keeps_the_phone_and_replaces_the_rest(
    quick_database, enrolled, unlocked, is_open
):
    phone = Phone()
    first, first_session = enrolled(phone)
    refusal(unlocked, phone, WRONG_DIGITS)
    again, session = enrolled(phone, pin=WRONG_DIGITS, name="Saul's own")

    assert (again.id, again.uid, again.pin_failures) == (first.id, first.uid, 0)
    assert again.name == "Saul's own"
    assert is_open(first_session) is None
    assert is_open(session)
    assert refusal(unlocked, phone, DIGITS) is PhoneProblem.WRONG_DIGITS
    assert unlocked(phone, WRONG_DIGITS)
    with quick_database.read() as connection:
        assert connection.scalar(sa.select(sa.func.count()).select_from(device_table)) == 1


def test_a_phone_of_one_person_is_not_enrolled_for_another(enrolled, offered, orchard):
    phone = Phone()
    enrolled(phone)
    token = offered(orchard.owner)

    assert refusal(enrolled, phone, token) is PhoneProblem.OTHER_PERSON
    enrolled(Phone(), token)


def test_one_person_may_keep_two_phones(enrolled, is_open):
    (first, first_session), (second, second_session) = enrolled(Phone()), enrolled(Phone())

    assert first.uid != second.uid
    assert is_open(first_session)
    assert is_open(second_session)


# --- unlocking -----------------------------------------------------------------------------------


def test_the_digits_open_the_phone_and_end_what_was_open(enrolled, unlocked, is_open, orchard):
    phone = Phone()
    _, before = enrolled(phone)
    session = unlocked(phone)

    assert is_open(session) == orchard.supervisor
    assert is_open(before) is None


def test_a_phone_stays_open_for_twelve_hours(enrolled, is_open):
    _, session = enrolled(Phone())

    assert is_open(session, NOW + timedelta(hours=11, minutes=59))
    assert is_open(session, NOW + timedelta(hours=12)) is None


def test_ten_wrong_tries_in_a_row_and_the_right_digits_help_no_more(enrolled, unlocked, is_open):
    phone = Phone()
    _, session = enrolled(phone)
    problems = [refusal(unlocked, phone, WRONG_DIGITS) for _ in range(MOST_TRIES)]

    assert problems == [PhoneProblem.WRONG_DIGITS] * 9 + [PhoneProblem.ENROL_AGAIN]
    assert refusal(unlocked, phone, DIGITS) is PhoneProblem.ENROL_AGAIN
    assert is_open(session) is None
    enrolled(phone)
    assert unlocked(phone)


def test_the_right_digits_start_the_count_afresh(enrolled, unlocked):
    phone = Phone()
    enrolled(phone)
    for _ in range(3):
        for _ in range(MOST_TRIES - 1):
            assert refusal(unlocked, phone, WRONG_DIGITS) is PhoneProblem.WRONG_DIGITS
        assert unlocked(phone)


def test_how_many_tries_are_left_is_said(enrolled, unlocked):
    phone = Phone()
    enrolled(phone)
    sentences = []
    for _ in range(MOST_TRIES):
        with pytest.raises(PhoneRefused) as refused:
            unlocked(phone, WRONG_DIGITS)
        sentences.append(str(refused.value))

    assert sentences[0] == "These are not the digits. 9 tries are left."
    assert sentences[8] == "These are not the digits. 1 try is left."
    assert sentences[9] == "Too many wrong tries. Enrol this phone again with a new code."


def test_tries_made_at_once_are_counted_each(quick_database, orchard, enrolled, unlocked):
    phone = Phone()
    enrolled(phone)
    with ThreadPoolExecutor(8) as threads:
        problems = list(
            threads.map(lambda _: refusal(unlocked, phone, WRONG_DIGITS), range(3 * MOST_TRIES))
        )

    assert problems.count(PhoneProblem.WRONG_DIGITS) == MOST_TRIES - 1
    assert problems.count(PhoneProblem.ENROL_AGAIN) == 2 * MOST_TRIES + 1
    with quick_database.read() as connection:
        row = device_by_uid(connection, orchard.farm_id, phone.uid)
    assert row.pin_failures == MOST_TRIES


def test_whoever_cannot_sign_spends_no_try(quick_database, orchard, enrolled, unlocked):
    phone = Phone()
    enrolled(phone)
    for _ in range(3 * MOST_TRIES):
        problem = refusal(unlocked, phone, WRONG_DIGITS, signer=Phone())
        assert problem is PhoneProblem.UNKNOWN_DEVICE
    with quick_database.read() as connection:
        assert device_by_uid(connection, orchard.farm_id, phone.uid).pin_failures == 0
    assert unlocked(phone)


def test_the_right_digits_with_another_phones_key_open_nothing(enrolled, unlocked):
    phone, other = Phone(), Phone()
    enrolled(phone)
    enrolled(other)

    assert refusal(unlocked, phone, DIGITS, signer=other) is PhoneProblem.UNKNOWN_DEVICE
    assert refusal(unlocked, Phone(uid="nobody")) is PhoneProblem.UNKNOWN_DEVICE


def test_hammering_a_name_at_the_sign_in_does_not_lock_the_phone_out(
    quick_database, orchard, enrolled, unlocked
):
    phone = Phone()
    enrolled(phone)
    name = orchard.supervisor.name
    for _ in range(12):
        with pytest.raises(NotAllowed):
            sign_in(quick_database, orchard, name, "a guess")
    with pytest.raises(NotAllowed, match="Too many tries"):
        sign_in(quick_database, orchard, name, PASSWORD)

    assert unlocked(phone)
    with quick_database.read() as connection:
        failures = user_by_name(connection, orchard.farm_id, name).failures
    assert failures >= 5, "six digits must not clear the count of wrong passwords"


def sign_in(database, orchard, name, password):
    token = f"session of {name}"
    return accounts.sign_in(database, orchard.farm_id, name, password, token=token, now=NOW)


@pytest.mark.parametrize(
    "change", [{"disabled_at": NOW}, {"role": Role.WORKER}], ids=["closed", "worker"]
)
def test_the_phone_of_a_person_who_may_not_come_in_stays_shut(
    quick_database, orchard, enrolled, unlocked, change
):
    phone = Phone()
    enrolled(phone)
    set_account(quick_database, orchard.supervisor, **change)

    assert refusal(unlocked, phone) is PhoneProblem.CLOSED


def test_closing_an_account_ends_the_sessions_on_its_phones(
    quick_database, orchard, enrolled, is_open
):
    _, session = enrolled(Phone())
    accounts.disable_user(quick_database, orchard.owner, orchard.supervisor.user_id, NOW)
    assert is_open(session) is None


# --- revoking ------------------------------------------------------------------------------------


def test_revoking_ends_the_phones_session_at_once_and_no_other(
    quick_database, orchard, enrolled, unlocked, is_open
):
    lost, kept = Phone(), Phone()
    row, session = enrolled(lost)
    _, other_session = enrolled(kept)
    revoked = devices.revoke_device(quick_database, orchard.supervisor, row.id, NOW + MINUTE)

    assert revoked.revoked_at == NOW + MINUTE
    assert is_open(session) is None
    assert devices.device_of_session(quick_database, session, NOW) is None
    assert is_open(other_session)
    assert refusal(unlocked, lost) is PhoneProblem.REVOKED
    assert refusal(unlocked, lost, WRONG_DIGITS) is PhoneProblem.REVOKED


def test_revoking_voids_what_was_offered_and_the_key(quick_database, orchard, enrolled, offered):
    phone = Phone()
    row, _ = enrolled(phone)
    token = offered()
    devices.revoke_device(quick_database, orchard.supervisor, row.id, NOW)

    assert refusal(enrolled, Phone(), token) is PhoneProblem.UNKNOWN_OFFER
    assert refusal(enrolled, phone) is PhoneProblem.REVOKED


def test_revoking_again_keeps_the_first_day(quick_database, orchard, enrolled):
    row, _ = enrolled(Phone())
    devices.revoke_device(quick_database, orchard.owner, row.id, NOW)
    later = devices.revoke_device(quick_database, orchard.owner, row.id, NOW + MINUTE)

    assert later.revoked_at == NOW


def test_supervisors_revoke_their_own_phones_and_owners_all(
    quick_database, orchard, enrolled, offered
):
    row, session = enrolled(Phone(), offered(orchard.owner))
    with pytest.raises(NotAllowed):
        devices.revoke_device(quick_database, orchard.supervisor, row.id, NOW)
    with pytest.raises(NotAllowed):
        devices.revoke_device(quick_database, orchard.worker, row.id, NOW)
    with pytest.raises(NotFound):
        devices.revoke_device(quick_database, orchard.owner, 999_999, NOW)
    assert accounts.actor_of_session(quick_database, session, NOW)
    assert devices.revoke_device(quick_database, orchard.owner, row.id, NOW).revoked_at


# --- what others ask -----------------------------------------------------------------------------


def test_a_session_knows_its_phone_and_a_phone_its_session(
    quick_database, orchard, enrolled, unlocked
):
    phone = Phone()
    row, _ = enrolled(phone)
    session = unlocked(phone, now=NOW + MINUTE)
    accounts.sign_in(
        quick_database,
        orchard.farm_id,
        orchard.supervisor.name,
        PASSWORD,
        token="at the desk",  # noqa: S106 - a test's own
        now=NOW,
    )

    assert devices.device_of_session(quick_database, session, NOW).uid == row.uid
    assert devices.device_of_session(quick_database, "at the desk", NOW) is None
    assert devices.device_of_session(quick_database, "unknown", NOW) is None
    with quick_database.read() as connection:
        assert devices.has_live_session(connection, row, NOW)
        assert not devices.has_live_session(connection, row, NOW + timedelta(hours=13))
    devices.revoke_device(quick_database, orchard.owner, row.id, NOW)
    with quick_database.read() as connection:
        assert not devices.has_live_session(connection, row, NOW)


def test_a_contact_is_noted_with_the_clock(quick_database, orchard, enrolled):
    row, _ = enrolled(Phone())
    # Of a phone that was reset to 1970.
    ahead_ms = -round((NOW - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1000)
    for moment, ahead in ((NOW + MINUTE, ahead_ms), (NOW + 2 * MINUTE, None)):
        with quick_database.write() as connection:
            devices.note_contact(connection, row, moment, ahead)
    with quick_database.read() as connection:
        noted = device_by_uid(connection, orchard.farm_id, row.uid)

    assert (noted.seen_at, noted.clock_ahead_ms) == (NOW + 2 * MINUTE, ahead_ms)


def test_the_list_shows_owners_everybody_and_supervisors_themselves(
    quick_database, orchard, enrolled, offered
):
    own, _ = enrolled(Phone())
    owners, _ = enrolled(Phone(), offered(orchard.owner))

    def listed(actor):
        return {
            person.user.name: [row.id for row in person.devices]
            for person in devices.devices(quick_database, actor)
        }

    assert listed(orchard.owner) == {"Ina Wetherell": [owners.id], "Saul Brightwater": [own.id]}
    assert listed(orchard.supervisor) == {"Saul Brightwater": [own.id]}
    with pytest.raises(NotAllowed):
        listed(orchard.worker)


def test_whoever_leads_no_crew_any_more_is_listed_while_a_phone_is_left(
    quick_database, orchard, enrolled
):
    row, _ = enrolled(Phone())
    set_account(quick_database, orchard.supervisor, disabled_at=NOW)

    def closed():
        found = devices.devices(quick_database, orchard.owner)
        return [person.may_enrol for person in found if person.devices]

    assert closed() == [False]
    devices.revoke_device(quick_database, orchard.owner, row.id, NOW)
    assert closed() == []


def test_nothing_that_opens_a_phone_is_kept_in_clear(quick_database, enrolled, offered):
    token = offered()
    _, session = enrolled(Phone(), token)
    with quick_database.read() as connection:
        kept = [
            str(value)
            for table in (device_table, enrolment, user_session)
            for row in connection.execute(sa.select(table))
            for value in row
        ]

    assert kept
    for secret in (DIGITS, token, session):
        assert not any(secret in value for value in kept)


# --- planted defects -----------------------------------------------------------------------------


def test_without_ending_sessions_a_revoked_phone_would_stay_open(
    quick_database, orchard, enrolled, is_open, monkeypatch
):
    row, session = enrolled(Phone())
    monkeypatch.setattr(devices, "end_sessions_of_device", lambda *_: None)
    devices.revoke_device(quick_database, orchard.owner, row.id, NOW)

    assert is_open(session), "the test on revoking would not see the defect"


def test_without_counting_ahead_many_tries_at_once_would_be_more_than_ten(
    enrolled, unlocked, monkeypatch
):
    phone = Phone()
    row, _ = enrolled(phone)

    def counted_behind(database, farm_id, _device_id):
        with database.read() as connection:
            failures = device_by_uid(connection, farm_id, row.uid).pin_failures
        if failures >= MOST_TRIES:
            raise PhoneRefused(PhoneProblem.ENROL_AGAIN)
        return MOST_TRIES

    monkeypatch.setattr(devices, "_spend_try", counted_behind)
    problems = [refusal(unlocked, phone, WRONG_DIGITS) for _ in range(2 * MOST_TRIES)]

    assert problems.count(PhoneProblem.WRONG_DIGITS) > MOST_TRIES
