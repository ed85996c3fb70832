"""What was held back: both versions side by side, and the decision of a crew lead."""

from dataclasses import dataclass
from uuid import uuid4

import pytest

from audits.services import devices
from audits.storage import tables
from audits.vocabulary import Fault, HeldBecause, Outcome, ReceiptState, Role, Stage
from tests.row_audit import fault, prune, right
from tests.row_phone import enrolled
from tests.web.conftest import NOW
from tests.web.pages import read_page

MEASURED = {
    "missed": None,
    "stages": {
        "top": {"kind": "top", "height_mm": 3000.0, "topped": True, "leader_young": True},
        "limbs": {"kind": "limbs", "cut_mm": [25.4, 31.0], "standing_mm": [], "faults": []},
        "columns": {"kind": "columns", "looked_at": 5, "single": 4, "faults": []},
        "heading": {"kind": "heading", "diameters_mm": [8.0], "left_long": 1},
    },
}


@dataclass
class Row:
    """A phone in the row with its package, and one audit begun on it."""

    app: object
    phone: object
    package: dict
    trees: list
    audit: str

    def send(self, *items, phone=None):
        phone = phone or self.phone
        answer = phone.send(self.app.test_client(), phone.batch(*items))
        assert answer.status_code == 200, answer.text
        return answer.json["receipts"]

    def item(self, kind, body, phone=None):
        return (phone or self.phone).item(self.package, self.audit, kind, body)

    def tree(self, number=0, answers=None, phone=None):
        body = {"tree": self.trees[number], "answers": answers or right()}
        return self.item("tree", body, phone)


@pytest.fixture
def row(app, database, orchard) -> Row:
    prune(database, orchard)
    phone = enrolled(database, orchard.supervisor, NOW)
    (package,) = phone.open(app).post("/field/prepare", json={"lots": "all"}).json["prepared"]
    trees = [tree["id"] for tree in package["trees"] if tree["order"] is not None]
    return Row(app, phone, package, trees, str(uuid4()))


def held_in(database) -> list:
    with database.read() as connection:
        return connection.execute(
            tables.receipt.select()
            .where(tables.receipt.c.held_because.is_not(None))
            .order_by(tables.receipt.c.id)
        ).all()


def other_standard(item):
    return item | {"standard": {"version": 9, "digest": "0" * 64}}


@pytest.fixture
def held(row, database) -> int:
    """An answer scored by another standard, beside the answer that is stored on the same tree."""
    row.send(row.tree())
    row.send(other_standard(row.tree(answers=right(top=fault(Fault.HIGH)))))
    (kept,) = held_in(database)
    return kept.id


# --- the list ------------------------------------------------------------------------------------


def test_today_says_how_much_is_held_back(supervisor, row, held):
    assert held
    page = read_page(supervisor.get("/"))
    assert "1 entry from a phone is held back" in page.text
    assert "/held-back" in page.links
    row.send(other_standard(row.tree(1)))
    assert "2 entries from phones are held back" in read_page(supervisor.get("/")).text


def test_today_says_nothing_where_nothing_is_held_back(supervisor, row):
    row.send(row.tree())
    assert "held back" not in supervisor.get("/").text


def test_the_list_names_tree_reason_and_phone(sign_in, held):
    page = read_page(sign_in(Role.OWNER).get("/held-back"))
    assert page.headings[0] == "Held back"
    assert f"/held-back/{held}" in page.links
    assert "Saul Brightwater, Pole" in page.text
    assert "Row 1, panel" in page.text
    assert "scored by another standard" in page.text


def test_an_empty_list_says_so(supervisor):
    page = read_page(supervisor.get("/held-back"))
    assert "Nothing is held back." in page.text


def test_workers_and_strangers_see_nothing(app, sign_in, held):
    for address in ("/held-back", f"/held-back/{held}"):
        assert sign_in(Role.WORKER).get(address).status_code == 403
        assert app.test_client().get(address).status_code == 302


# --- both versions -------------------------------------------------------------------------------


def test_both_versions_stand_side_by_side_in_words(sign_in, held):
    page = read_page(sign_in(Role.SUPERVISOR).get(f"/held-back/{held}"))
    sent, _, stored = page.text.partition("What is stored")
    assert "What the phone sent" in sent
    assert "Top Too high Limbs Right; limbs out: 2 Columns Right Heading Right" in sent
    assert "Too high" not in stored
    assert "Answers of Saul Brightwater on this tree: Top Right" in stored
    assert not page.unlabelled

    spanish = read_page(sign_in(Role.SUPERVISOR, "es").get(f"/held-back/{held}")).text
    assert "Demasiado alto" in spanish or "Muy alto" in spanish or "alt" in spanish


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        ("take_back", {}, "The answers on this tree are taken back."),
        (
            "not_a_tree",
            {"kind": "dead", "instead": None},
            "No tree for the standard stands here: Dead tree.",
        ),
        ("tree", {"answers": MEASURED}, "4 of 5 branches are single columns"),
        ("tree", {"answers": {"missed": "side", "stages": {}}}, "Missed Side missed"),
        ("tree", {"answers": {"stages": {"top": {"kind": "odd"}}}}, "cannot be read as they are"),
    ],
)
def test_every_kind_of_entry_is_put_into_words(supervisor, row, database, kind, body, words):
    row.send(other_standard(row.item(kind, {"tree": row.trees[0], **body})))
    (kept,) = held_in(database)
    answer = supervisor.get(f"/held-back/{kept.id}")
    assert answer.status_code == 200
    assert words in read_page(answer).text


def test_a_verdict_that_came_too_early_stands_beside_the_stored_one(supervisor, row, database):
    outcomes = {str(stage): str(Outcome.ACCEPTED) for stage in Stage}
    row.send(row.tree(), row.item("seal", {"outcomes": outcomes}))
    (kept,) = held_in(database)
    assert kept.held_because is HeldBecause.STILL_OPEN
    page = read_page(supervisor.get(f"/held-back/{kept.id}")).text
    sent, _, stored = page.partition("What is stored")

    assert "Top Accepted" in sent
    assert "Top Still open" in stored


@pytest.mark.parametrize(
    "odd", [7, None, "<script>alert(1)</script>", {"id": "x", "kind": "?"}, [["\x00\ud800"]]]
)
def test_what_cannot_be_read_is_shown_as_it_came(supervisor, row, database, odd):
    row.send(odd)
    (kept,) = held_in(database)
    answer = supervisor.get(f"/held-back/{kept.id}")

    assert answer.status_code == 200
    assert "<script>alert" not in answer.text
    page = read_page(answer).text
    assert "Something that cannot be read" in page
    assert "cannot be taken as it is" in page
    assert "Take it" not in page


def test_two_things_under_one_id_stand_side_by_side(supervisor, row, database):
    first = row.tree()
    second = row.tree(answers=right(top=fault(Fault.HIGH))) | {"id": first["id"]}
    row.send(first)
    row.send(second)
    (kept,) = held_in(database)
    page = read_page(supervisor.get(f"/held-back/{kept.id}")).text

    assert kept.held_because is HeldBecause.ID_USED
    assert "Under the same id came first: Answers on this tree:" in page
    assert "Top Too high" in page


# --- the decision --------------------------------------------------------------------------------


def answers_on(database, tree_id) -> dict:
    with database.read() as connection:
        rows = connection.execute(
            tables.tree_score.select().where(tables.tree_score.c.draw_tree_id == tree_id)
        ).all()
    return rows[-1].answers


def state_of(database, receipt_id):
    with database.read() as connection:
        return connection.execute(
            tables.receipt.select().where(tables.receipt.c.id == receipt_id)
        ).one()


def test_what_is_taken_is_stored(supervisor, row, database, held):
    answer = supervisor.post(f"/held-back/{held}", data={"take": "1", "reason": "same rule"})

    assert answer.status_code == 302
    assert "It is taken." in supervisor.get("/held-back").text
    assert answers_on(database, row.trees[0])["stages"]["top"]["faults"] == ["high"]
    assert state_of(database, held).state is ReceiptState.TAKEN


def test_what_is_set_aside_changes_nothing_and_keeps_the_reason(supervisor, row, database, held):
    before = answers_on(database, row.trees[0])
    supervisor.post(f"/held-back/{held}", data={"set_aside": "1", "reason": "sent by mistake"})

    kept = state_of(database, held)
    assert (kept.state, kept.settled_reason) == (ReceiptState.SET_ASIDE, "sent by mistake")
    assert answers_on(database, row.trees[0]) == before


def test_setting_aside_needs_a_reason(supervisor, database, held):
    answer = supervisor.post(f"/held-back/{held}", data={"set_aside": "1", "reason": " "})

    assert answer.status_code == 422
    assert read_page(answer).problems["reason"] == "Say why it is set aside."
    assert state_of(database, held).state is ReceiptState.HELD


def test_a_form_without_a_decision_sets_nothing_aside_by_accident(supervisor, database, held):
    assert supervisor.post(f"/held-back/{held}", data={}).status_code == 422
    assert state_of(database, held).state is ReceiptState.HELD


def test_a_decision_is_made_once(supervisor, database, held):
    supervisor.post(f"/held-back/{held}", data={"set_aside": "1", "reason": "first"})
    supervisor.post(f"/held-back/{held}", data={"take": "1", "reason": "second"})

    assert "Somebody has decided on this already." in supervisor.get("/held-back").text
    assert state_of(database, held).settled_reason == "first"
    assert supervisor.get(f"/held-back/{held}").status_code == 404


def test_what_cannot_be_taken_says_why(supervisor, row, database):
    row.send({"id": str(uuid4())})
    (kept,) = held_in(database)
    supervisor.post(f"/held-back/{kept.id}", data={"take": "1", "reason": "try"})

    assert "This cannot be taken" in supervisor.get("/held-back").text
    assert state_of(database, kept.id).state is ReceiptState.HELD


def test_all_that_a_revoked_phone_still_had_is_taken_at_once(sign_in, database, orchard, row):
    devices.revoke_device(database, orchard.owner, row.phone.device_id, NOW)
    row.send(*[row.tree(number) for number in range(5)], 7)
    owner = sign_in(Role.OWNER)
    held = held_in(database)
    page = read_page(owner.get("/held-back"))
    assert "Take all 5 that can be taken" in page.text
    owner.post("/held-back/take", data={"id": [str(one.id) for one in held]})

    with database.read() as connection:
        stored = connection.execute(tables.tree_score.select()).all()
    assert sorted(score.draw_tree_id for score in stored) == sorted(row.trees[:5])
    states = [state_of(database, one.id).state for one in held]
    assert states.count(ReceiptState.TAKEN) == 5
    assert states.count(ReceiptState.HELD) == 1


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"id": "x"},
        {"id": "9" * 5000},
        {"id": "-1"},
        {"id": ["999999", "٣"]},
    ],
)
def test_odd_numbers_decide_nothing(supervisor, database, held, data):
    assert supervisor.post("/held-back/take", data=data).status_code == 302
    assert state_of(database, held).state is ReceiptState.HELD


@pytest.mark.parametrize("method", ["get", "post"])
def test_something_that_is_not_there_is_not_found(supervisor, method):
    data = {"set_aside": "1", "reason": "why"} if method == "post" else None
    assert getattr(supervisor, method)("/held-back/999999", data=data).status_code == 404


def test_looking_changes_nothing(supervisor, database, held):
    before = state_of(database, held)
    supervisor.get("/held-back")
    supervisor.get(f"/held-back/{held}")
    assert state_of(database, held) == before
