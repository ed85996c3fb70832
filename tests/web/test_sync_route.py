"""Where phones send: whoever they are and whatever they send, an answer that they can go by."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from random import Random
from typing import Any
from uuid import uuid4

import pytest

from audits.errors import Busy
from audits.messages import say
from audits.services import devices
from audits.storage import tables
from audits.vocabulary import HeldBecause
from tests.row_audit import prune, right
from tests.row_phone import AT, RowPhone, enrolled
from tests.web.conftest import NOW
from webapp.field import syncing

Package = dict[str, Any]


@dataclass
class Row:
    """A phone in the row: its package, and the trees in the order of the walk."""

    phone: RowPhone
    package: Package
    trees: list[int]

    def tree(self, number: int, audit: str) -> dict[str, Any]:
        body = {"tree": self.trees[number], "answers": right()}
        return self.phone.item(self.package, audit, "tree", body)


@pytest.fixture
def row(app, database, orchard) -> Row:
    prune(database, orchard)
    phone = enrolled(database, orchard.supervisor, NOW)
    (package,) = phone.open(app).post("/field/prepare", json={"lots": "all"}).json["prepared"]
    trees = [tree["id"] for tree in package["trees"] if tree["order"] is not None]
    return Row(phone, package, trees)


@pytest.fixture
def client(app):
    """A browser without any session: only the signature counts."""
    return app.test_client()


def stored(database) -> str:
    """Return a hash of all that is on the disk."""
    path = Path(database.url.database)
    files = sorted(path.parent.glob(f"{path.name}*"))
    return sha256(b"".join(file.read_bytes() for file in files)).hexdigest()


def receipts_in(database) -> list:
    with database.read() as connection:
        return connection.execute(tables.receipt.select()).all()


def refusal(answer) -> tuple[int, str]:
    assert answer.mimetype == "application/json"
    return answer.status_code, answer.json["problem"]


# --- what is taken -------------------------------------------------------------------------------


def test_every_item_gets_its_receipt_and_a_copy_gets_the_same(client, database, row):
    audit = str(uuid4())
    items = [row.tree(number, audit) for number in range(3)]
    body = row.phone.batch(*items)
    first, again = row.phone.send(client, body), row.phone.send(client, body)

    assert first.status_code == again.status_code == 200
    assert first.json["received_at"] == NOW.isoformat()
    assert first.json["revoked"] is False
    assert [one["id"] for one in first.json["receipts"]] == [item["id"] for item in items]
    assert {one["outcome"] for one in first.json["receipts"]} == {"stored"}
    assert {one["outcome"] for one in again.json["receipts"]} == {"duplicate"}
    with database.read() as connection:
        assert len(connection.execute(tables.tree_score.select()).all()) == 3


def test_a_rejected_item_says_why_in_both_languages(client, row):
    item = row.tree(0, str(uuid4()))
    item["body"]["tree"] = 999_999
    (receipt,) = row.phone.send(client, row.phone.batch(item)).json["receipts"]

    assert (receipt["outcome"], receipt["because"]) == ("rejected", HeldBecause.UNKNOWN_TREE)
    assert receipt["words"]["en"] == "It names a tree that is not in the walk of its audit."
    assert receipt["words"]["es"] not in {"", receipt["words"]["en"]}


def test_an_empty_batch_is_a_sign_of_life(client, database, row):
    answer = row.phone.send(client, row.phone.batch())

    assert answer.json["receipts"] == []
    with database.read() as connection:
        (seen,) = connection.execute(tables.device.select()).all()
    assert seen.seen_at == NOW


@pytest.mark.parametrize(
    ("sent_at", "ahead_ms"),
    [
        ("2026-01-20T17:00:00.000Z", 0),
        ("2026-01-21T17:00:00.250Z", 86_400_250),
        ("2026-01-20T16:59:59.000Z", -1_000),
        ("2026-01-20T12:00:00-05:00", 0),
        ("1970-01-01T00:00:00.000Z", -1_768_928_400_000),
        ("tomorrow", None),
        ("2026-01-20T17:00:00", None),
        ("0001-01-01T00:00:00+14:00", None),
        (None, None),
        (17, None),
        ([], None),
    ],
)
def test_a_wrong_clock_refuses_nothing_and_is_told(client, database, row, sent_at, ahead_ms):
    body = row.phone.batch(row.tree(0, str(uuid4())), sent_at=sent_at)
    answer = row.phone.send(client, body)

    assert answer.status_code == 200
    assert answer.json["clock_ahead_ms"] == ahead_ms
    assert [one["outcome"] for one in answer.json["receipts"]] == ["stored"]
    with database.read() as connection:
        (seen,) = connection.execute(tables.device.select()).all()
    assert seen.clock_ahead_ms == ahead_ms


def test_what_is_no_item_is_kept_and_answered(client, database, row):
    odd = [None, 7, "x", [], {}, {"id": "?" * 500}, {"id": "\x00"}, {"id": "\ud800"}, [[]]]
    answer = row.phone.send(client, row.phone.batch(*odd))

    assert answer.status_code == 200
    assert {one["because"] for one in answer.json["receipts"]} == {HeldBecause.DAMAGED}
    assert len(answer.json["receipts"]) == len(odd)
    assert len(receipts_in(database)) == len(odd)


# --- who may send --------------------------------------------------------------------------------


def test_only_a_phone_that_is_enrolled_and_signs_is_heard(client, database, row):
    body = row.phone.batch(row.tree(0, str(uuid4())))
    before = stored(database)
    stranger = RowPhone(uid=row.phone.uid)
    refusals = [
        refusal(row.phone.send(client, body, **{"X-Device": str(uuid4())})),
        refusal(row.phone.send(client, body, **{"X-Device": ""})),
        refusal(row.phone.send(client, body, **{"X-Signature": ""})),
        refusal(row.phone.send(client, body, **{"X-Signature": "AAAA"})),
        refusal(row.phone.send(client, body, **{"X-Signature": stranger.sign(body)})),
        refusal(row.phone.send(client, body, **{"X-Signature": row.phone.sign(body + b" ")})),
        refusal(client.post("/field/sync", data=body)),
    ]

    assert refusals == [
        (401, "unknown_device"),
        (401, "unknown_device"),
        *[(401, "bad_signature")] * 4,
        (401, "unknown_device"),
    ]
    assert stored(database) == before


def test_another_phones_name_in_the_batch_is_refused(client, database, orchard, row):
    other = enrolled(database, orchard.owner, NOW, "Other")
    before = stored(database)
    answer = row.phone.send(client, row.phone.batch(device=other.uid))

    assert refusal(answer) == (422, "unreadable")
    assert stored(database) == before


def test_a_phone_whose_session_is_over_keeps_its_queue(client, database, row):
    with database.write() as connection:
        connection.execute(
            tables.user_session.update().values(created_at=NOW - timedelta(hours=13))
        )
    before = stored(database)

    answer = row.phone.send(client, row.phone.batch(row.tree(0, str(uuid4()))))
    assert refusal(answer) == (401, "locked")
    assert stored(database) == before


def test_what_a_revoked_phone_sends_is_held_back_and_it_is_told(client, database, orchard, row):
    devices.revoke_device(database, orchard.owner, row.phone.device_id, NOW)
    answer = row.phone.send(client, row.phone.batch(row.tree(0, str(uuid4()))))

    assert answer.status_code == 200
    assert answer.json["revoked"] is True
    assert [one["because"] for one in answer.json["receipts"]] == [HeldBecause.REVOKED]
    assert len(receipts_in(database)) == 1


def test_no_token_of_a_form_is_asked_for(app, client, row):
    app.config["WTF_CSRF_ENABLED"] = True
    answer = row.phone.send(client, row.phone.batch(row.tree(0, str(uuid4()))))

    assert answer.status_code == 200


# --- bounds --------------------------------------------------------------------------------------


def test_a_length_must_be_given_ahead(client, database, row):
    """A server may cut a body of unknown length without a word; then half a queue would be all."""
    before = stored(database)
    body = row.phone.batch(row.tree(0, str(uuid4())))
    answer = row.phone.send(client, body, **{"Transfer-Encoding": "chunked"})

    assert refusal(answer) == (411, "length_required")
    assert stored(database) == before


def test_a_body_that_breaks_off_is_told_from_a_forged_one(app, database, row):
    before = stored(database)
    body = row.phone.batch(row.tree(0, str(uuid4())))
    answer = app.test_client().post(
        "/field/sync",
        data=body[: len(body) // 2],
        headers=row.phone.headers(body),
        environ_overrides={"CONTENT_LENGTH": str(len(body))},
    )

    assert refusal(answer) == (400, "cut_short")
    assert stored(database) == before


def test_a_batch_has_its_limits(client, database, row):
    before = stored(database)
    item = row.tree(0, str(uuid4()))
    too_many = row.phone.batch(*[item] * 51)
    too_large = row.phone.batch(filler="x" * 256 * 1024)

    assert refusal(row.phone.send(client, too_many)) == (422, "unreadable")
    assert refusal(row.phone.send(client, too_large)) == (413, "too_large")
    assert stored(database) == before
    fifty = [row.tree(0, str(uuid4())) for _ in range(50)]
    assert row.phone.send(client, row.phone.batch(*fifty)).status_code == 200


@pytest.mark.parametrize(
    ("frame", "problem"),
    [
        ({"schema": 2}, "unknown_schema"),
        ({"schema": True}, "unknown_schema"),
        ({"schema": "1"}, "unknown_schema"),
        ({"schema": None}, "unknown_schema"),
        ({"schema": [1]}, "unknown_schema"),
        ({"items": None}, "unreadable"),
        ({"items": {}}, "unreadable"),
        ({"items": "[]"}, "unreadable"),
        ({"device": None}, "unreadable"),
        ({"device": ["x"]}, "unreadable"),
    ],
)
def test_a_frame_that_cannot_be_read_is_refused(client, database, row, frame, problem):
    before = stored(database)
    assert refusal(row.phone.send(client, row.phone.batch(**frame))) == (422, problem)
    assert stored(database) == before


@pytest.mark.parametrize(
    "body",
    [
        b"null",
        b"[]",
        b"{",
        b"\xff\xfe\x00{",
        b"[" * 100_000,
        b'{"items": ' + b"[" * 100_000,
        b"9" * 20_000,
        b"NaN",
        b'{"schema": Infinity}',
        b'"\\ud800"',
    ],
)
def test_what_is_no_batch_is_refused(client, database, row, body):
    before = stored(database)
    status, _ = refusal(row.phone.send(client, body))

    assert status in {400, 422}
    assert stored(database) == before


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH"])
def test_other_methods_are_answered_in_json(client, row, method):
    assert row.trees
    assert refusal(client.open("/field/sync", method=method)) == (405, "wrong_method")


# --- when the server cannot ----------------------------------------------------------------------


def raising(error: Exception) -> Callable[..., None]:
    def fail(*_: object) -> None:
        raise error

    return fail


def test_a_busy_database_asks_the_phone_to_come_again(client, row, monkeypatch):
    monkeypatch.setattr(syncing, "sync_items", raising(Busy(say("busy"))))
    answer = row.phone.send(client, row.phone.batch(row.tree(0, str(uuid4()))))

    assert refusal(answer) == (503, "busy")
    assert int(answer.headers["Retry-After"]) > 0


def test_a_fault_of_the_server_asks_the_phone_to_come_again(client, database, row, monkeypatch):
    before = stored(database)
    monkeypatch.setattr(syncing, "sync_items", raising(RuntimeError("snapped")))
    answer = row.phone.send(client, row.phone.batch(row.tree(0, str(uuid4()))))

    assert refusal(answer) == (503, "failed")
    assert int(answer.headers["Retry-After"]) > 0
    assert "snapped" not in answer.text
    assert stored(database) == before


def test_the_log_of_a_database_that_fails_says_nothing_of_what_was_sent(
    database, client, row, caplog
):
    """Planted danger: an error of the database carries every value of its statement with it."""
    with database.write() as connection:
        connection.exec_driver_sql(
            "create trigger planted before insert on receipt "
            "begin select raise(abort, 'planted'); end"
        )
    item = row.tree(0, str(uuid4()))
    body = row.phone.batch(item)
    answer = client.post("/field/sync", data=body, headers=row.phone.headers(body))

    assert refusal(answer) == (503, "failed")
    assert "planted" in caplog.text
    for secret in (item["id"], item["audit"], row.package["standard"]["digest"], '"missed"'):
        assert secret not in caplog.text


# --- anything at all -----------------------------------------------------------------------------

ODD_VALUES = (
    None,
    True,
    0,
    -1,
    1,
    2**31,
    2**63,
    10**400,
    1.5,
    1e308,
    "",
    "x",
    "\x00",
    "\ud800",
    "é" * 300,
    "top",
    "2026-01-20T17:00:00.000Z",
    "0001-01-01T00:00:00+14:00",
    [],
    [[]],
    {},
    {"kind": "class"},
    {"stages": {"top": {"kind": "top", "height_mm": -1}}},
)


def changed(chance: Random, value: Any, depth: int = 0) -> Any:
    """Return a value with one part of it replaced, dropped or added."""
    if isinstance(value, dict) and value and (depth == 0 or chance.random() < 0.8):
        name = chance.choice(list(value))
        if chance.random() < 0.1:
            return {key: part for key, part in value.items() if key != name}
        if chance.random() < 0.1:
            return value | {str(chance.choice(ODD_VALUES)): chance.choice(ODD_VALUES)}
        return value | {name: changed(chance, value[name], depth + 1)}
    if isinstance(value, list) and value and chance.random() < 0.8:
        place = chance.randrange(len(value))
        return [*value[:place], changed(chance, value[place], depth + 1), *value[place + 1 :]]
    return chance.choice(ODD_VALUES)


def damaged(chance: Random, body: bytes) -> bytes:
    """Return bytes cut or changed as by a bad link."""
    spoilt = bytearray(body)
    for _ in range(chance.randint(1, 6)):
        spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
    return bytes(spoilt[: chance.randint(1, len(spoilt))])


def test_nothing_that_a_phone_sends_breaks_the_server(client, database, row, volume):
    """Frames and items changed at random, signed: an answer each, and on a refusal no change."""
    chance = Random(20260120)  # noqa: S311 - noise, not a secret
    audits = [str(uuid4()) for _ in range(3)]
    statuses: dict[int, int] = {}
    kinds = {
        "tree": lambda: {"tree": chance.choice(row.trees), "answers": right()},
        "take_back": lambda: {"tree": chance.choice(row.trees)},
        "not_a_tree": lambda: {"tree": chance.choice(row.trees), "kind": "dead", "instead": None},
        "seal": lambda: {"outcomes": {"top": "accepted"}},
        "damaged": lambda: {"raw": "{"},
    }
    for _ in range(volume(short=300, long=5_000)):
        items = [
            row.phone.item(row.package, chance.choice(audits), kind, kinds[kind]())
            for kind in chance.choices(list(kinds), k=chance.randint(0, 4))
        ]
        items = [changed(chance, item) if chance.random() < 0.7 else item for item in items]
        frame = {"schema": 1, "device": row.phone.uid, "sent_at": AT, "items": items}
        if chance.random() < 0.3:
            frame = changed(chance, frame)
        body = json.dumps(frame).encode()
        if chance.random() < 0.2:
            body = damaged(chance, body)
        before = stored(database)
        answer = row.phone.send(client, body)

        statuses[answer.status_code] = statuses.get(answer.status_code, 0) + 1
        assert answer.status_code < 500, body
        assert answer.mimetype == "application/json"
        if answer.status_code == 200:
            assert len(answer.json["receipts"]) == len(json.loads(body)["items"])
        else:
            assert stored(database) == before
    assert statuses[200] > 50
    assert statuses[422] > 50


def test_a_server_that_breaks_on_an_item_would_be_found(client, row, monkeypatch):
    monkeypatch.setattr(syncing, "sync_items", raising(KeyError("id")))
    assert row.phone.send(client, row.phone.batch({})).status_code >= 500
