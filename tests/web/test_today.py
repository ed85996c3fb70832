"""Today: what waits for the supervisor, and until when."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from audits.records import DrawTree
from audits.services import auditing, passes, start_checks
from audits.services.auditing import Device, TreeEntry
from audits.services.briefings import note_briefing
from audits.services.today import view_today
from audits.storage import tables
from audits.vocabulary import Fault, LotState, Method, PassKind, Role, Side, Stage
from tests.orchard import plant_orchard
from tests.scored_season import add_audit, add_lot, add_rework_order, score_draw, trees, wrong
from tests.statements import statements_of
from tests.web.conftest import NOW
from tests.web.pages import read_page

ALL_RIGHT = {"stages": {stage: {"kind": "class", "tap": "right"} for stage in Stage}}
# 11:40 in New York: within the first hour at the tests' noon.
JUST_BEGUN = NOW - timedelta(minutes=20)


@pytest.fixture
def begin(database, orchard):
    """Begin a pass through every row."""

    def begun(started_at=JUST_BEGUN, **changes) -> int:
        entered = {
            "block_id": orchard.block_id,
            "crew_id": orchard.crew_id,
            "kind": PassKind.DORMANT,
            "method": Method.LADDER,
            "row_ids": orchard.row_ids,
            "started_at": started_at,
        }
        return passes.begin_pass(database, orchard.supervisor, **(entered | changes))

    return begun


@pytest.fixture
def finish(database, orchard, begin):
    """Finish a row some days ago, in a pass of its own; return the lot."""

    def finished(days_ago: int, row: int = 0) -> int:
        moment = NOW - timedelta(days=days_ago, minutes=10)
        pass_id = begin(moment - timedelta(hours=3), row_ids=[orchard.row_ids[row]])
        return passes.finish_row(
            database, orchard.supervisor, pass_id, orchard.row_ids[row], moment
        )

    return finished


@pytest.fixture
def today(supervisor):
    return lambda: read_page(supervisor.get("/"))


def begin_audit(database, orchard, lot_id) -> int:
    return auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=7,
        client_id=f"audit-{lot_id}",
        device=Device("desk"),
        now=NOW,
    )


def test_an_empty_day_says_so_and_offers_to_begin_a_pass(today):
    page = today()
    assert page.headings == ["Today"]
    assert "Tuesday, January 20, 2026" in page.text
    assert "Nothing waits." in page.text
    assert "/passes/new" in page.links


def test_workers_are_led_to_a_page_of_their_own(sign_in):
    assert sign_in(Role.WORKER).get("/").location == "/contests/mine"
    assert sign_in(Role.OWNER).get("/").status_code == 200


# --- lots to audit -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days_ago", "age", "until"),
    [
        (0, "today", "Audit by Jan 22, 2026"),
        (1, "yesterday", "Audit by Jan 21, 2026"),
        (2, "2 days ago", "Audit today"),
        (3, "3 days ago", "Late since Jan 19, 2026"),
    ],
)
def test_a_lot_waits_until_its_standards_days_have_passed(today, finish, days_ago, age, until):
    lot_id = finish(days_ago)
    page = today()
    assert "Creek Block, Row 1" in page.text
    assert f"({age})" in page.text
    assert until in page.text
    assert f"/lots/{lot_id}" in page.links
    assert ("1 of them is late" in page.text) is (days_ago > 2)


def test_lots_that_can_be_audited_in_time_stand_before_those_that_are_late(today, finish):
    late, soon, due = finish(5), finish(0), finish(2)
    links = [link for link in today().links if link.startswith("/lots/")]
    assert links == [f"/lots/{lot_id}" for lot_id in (due, soon, late)]


def test_the_days_of_the_standard_count(database, today, finish):
    with database.write() as connection:
        payload = connection.execute(tables.standard_version.select()).mappings().one()["payload"]
        connection.execute(
            tables.standard_version.update().values(payload=payload | {"audit_within_days": 5})
        )
    finish(3)
    assert "Audit by Jan 22, 2026" in today().text


def test_a_lot_finished_before_midnight_on_the_farm_is_of_that_day(database, orchard, begin):
    # 04:50 UTC on the 20th is still the 19th in New York.
    moment = datetime(2026, 1, 20, 4, 50, tzinfo=UTC)
    pass_id = begin(moment - timedelta(hours=8))
    passes.finish_row(database, orchard.supervisor, pass_id, orchard.row_ids[0], moment)
    (waiting,) = view_today(database, orchard.supervisor, NOW).waiting
    assert (waiting.finished_on.day, waiting.audit_by.day) == (19, 21)


def test_lots_done_with_are_not_shown(database, orchard, today):
    with database.write() as connection:
        for state in (LotState.ACCEPTED, LotState.CLOSED_NOT_ACCEPTED):
            add_lot(connection, orchard, finished_at=NOW - timedelta(days=1), state=state)
    page = today()
    assert not any(link.startswith("/lots/") for link in page.links)


def test_many_lots_are_in_reach_without_filling_the_page(supervisor, database, orchard):
    with database.write() as connection:
        for _ in range(30):
            add_lot(
                connection,
                orchard,
                finished_at=NOW - timedelta(hours=1),
                state=LotState.WAITING,
            )
    answer = supervisor.get("/")
    page = read_page(answer)
    assert "20 more" in page.text
    assert sum(link.startswith("/lots/") for link in page.links) == 30
    in_sight = answer.text.split("<details")[0] + answer.text.split("</summary>")[1]
    assert len(re.findall(r'href="/lots/', in_sight.split("20 more")[0])) == 10


# --- audits and rework -------------------------------------------------------------------------


def test_an_audit_that_is_begun_says_how_far_it_is(database, orchard, today, finish):
    audit_id = begin_audit(database, orchard, finish(0))
    view = auditing.view_audit(database, orchard.supervisor, audit_id)
    score(database, orchard, audit_id, view.walk[:2])
    page = today()
    assert "Audits begun" in page.text
    assert f"2 of {len(view.walk)} trees scored" in page.text
    assert "Saul Brightwater" in page.text
    assert f"/audits/{audit_id}" in page.links
    assert "To audit" not in page.text


def score(database, orchard, audit_id, walk: list[DrawTree]) -> None:
    entries = [
        TreeEntry(tree.id, f"tree-{tree.id}", ALL_RIGHT, Device("desk", number))
        for number, tree in enumerate(walk, start=1)
    ]
    auditing.record_trees(database, orchard.supervisor, audit_id, entries, NOW)


def test_an_audit_that_is_sealed_is_not_shown_beside_one_that_is_open(database, orchard, today):
    with database.write() as connection:
        place = add_lot(connection, orchard, finished_at=NOW, state=LotState.IN_AUDIT)
        tree = [{Stage.TOP: wrong(None)}]
        sealed = add_audit(connection, orchard, tree, started_at=NOW, lot_ids=place)
        going = score_draw(
            connection,
            orchard,
            sealed,
            tree,
            started_at=NOW,
            auditor_id=orchard.owner.user_id,
            sealed=False,
        )
    links = today().links
    assert f"/audits/{going.audit_id}" in links
    assert f"/audits/{sealed.audit_id}" not in links


def test_an_audit_of_a_draw_that_was_given_up_is_not_shown_beside_the_new_one(
    database, orchard, today, finish
):
    lot_id = finish(0)
    given_up = begin_audit(database, orchard, lot_id)
    with database.write() as connection:
        connection.execute(tables.lot.update().values(state=LotState.WAITING))
    assert "To audit" in today().text
    going = auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=8,
        client_id="afresh",
        device=Device("desk"),
        now=NOW,
    )
    links = today().links
    assert f"/audits/{going}" in links
    assert f"/audits/{given_up}" not in links


def test_a_lot_that_went_back_leads_to_its_order_and_then_to_its_re_audit(database, orchard, today):
    lot_id, order_id = send_back(database, orchard)
    page = today()
    assert "lot to mend" in page.text
    assert "Waits for rework" in page.text
    assert f"/rework/{order_id}" in page.links
    with database.write() as connection:
        connection.execute(tables.rework_order.update().values(done_at=NOW))
    page = today()
    assert "lot to audit again" in page.text
    assert "Mended: audit it again" in page.text
    assert f"/lots/{lot_id}" in page.links
    assert f"/rework/{order_id}" not in page.links


def send_back(database, orchard) -> tuple[int, int]:
    with database.write() as connection:
        place = add_lot(
            connection, orchard, finished_at=NOW - timedelta(days=1), state=LotState.REWORK
        )
        ids = add_audit(
            connection,
            orchard,
            [{Stage.TOP: wrong(None)}],
            started_at=NOW - timedelta(hours=20),
            lot_ids=place,
            refused=[Stage.TOP],
        )
        add_rework_order(connection, orchard, ids, {Stage.TOP: Fault.HIGH}, created_at=NOW)
        order_id = connection.scalar(
            tables.rework_order.select().with_only_columns(tables.rework_order.c.id)
        )
    return place.lot_id, order_id


# --- workers with a signal ---------------------------------------------------------------------


def test_a_worker_with_a_signal_is_named_with_the_stage(database, orchard, today):
    worker_id = orchard.worker_ids[3]
    with database.write() as connection:
        for number, pattern in enumerate(["o" * 10, "o" * 10, "x" * 10], start=1):
            add_audit(
                connection,
                orchard,
                trees(Stage.TOP, worker_id, pattern),
                started_at=NOW - timedelta(days=10 - number),
            )
    page = today()
    assert "Look together" in page.text
    assert "Tess Harrowgate" in page.text
    assert "Look together at: Top" in page.text
    assert f"/workers/{worker_id}" in page.links


# --- start checks ------------------------------------------------------------------------------


def test_a_pass_begun_today_names_those_without_a_start_check(database, orchard, today, begin):
    pass_id = begin()
    # Who has no safety brief is named on its own.
    note_briefing(
        database,
        orchard.supervisor,
        NOW,
        worker_ids=orchard.worker_ids,
        method=Method.LADDER,
        held_on=NOW.date(),
        language=None,
    )
    page = today()
    assert "Start checks missing" in page.text
    assert "First hour: until 12:40 PM" in page.text
    assert "W1 Aurelio Barranco, W2 Nélida Quintanar" in page.text
    assert f"/passes/{pass_id}/start-check" in page.links

    check(database, orchard, pass_id, orchard.worker_ids[0])
    assert "W1 Aurelio Barranco" not in today().text
    for worker_id in orchard.worker_ids[1:]:
        check(database, orchard, pass_id, worker_id)
    assert "Start checks missing" not in today().text


def test_a_start_check_that_is_not_closed_is_still_missing(database, orchard, today, begin):
    check(database, orchard, begin(), orchard.worker_ids[0], close=False)
    assert "W1 Aurelio Barranco" in today().text


def test_after_the_first_hour_the_page_says_so(today, begin):
    begin(NOW - timedelta(hours=2))
    assert "The first hour ended at 11:00 AM" in today().text


def test_a_pass_of_another_day_asks_for_no_start_check(today, begin):
    begin(NOW - timedelta(days=1))
    page = today()
    assert "Start checks missing" not in page.text
    assert "At work" in page.text


def check(database, orchard, pass_id, worker_id, *, close: bool = True) -> None:
    device = Device("desk")
    audit_id = start_checks.begin_start_check(
        database,
        orchard.supervisor,
        pass_id,
        worker_id=worker_id,
        client_id=f"check-{worker_id}",
        device=device,
        now=NOW,
    )
    for position in range(1, 4):
        start_checks.score_start_tree(
            database,
            orchard.supervisor,
            audit_id,
            now=NOW,
            row_id=orchard.row_ids[0],
            position=position,
            side=Side.LEFT,
            answers=ALL_RIGHT,
            client_id=f"tree-{worker_id}-{position}",
            device=device,
        )
    if close:
        start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW)


# --- passes at work and their safety -----------------------------------------------------------


def test_the_safety_of_todays_methods_is_there_and_of_no_others(today, begin):
    assert "Safety:" not in today().text
    begin(method=Method.PLATFORM)
    text = today().text
    assert "Safety: Platform" in text
    assert "Shut the gates before the platform moves." in text
    assert "In an emergency, help meets you here: Gate 2, Hollow Road." in text
    assert "Safety: Ladders" not in text


def test_a_pass_is_at_work_until_it_ends_or_every_row_is_finished(database, orchard, today, begin):
    ended, finished, going = (begin(NOW - timedelta(days=days)) for days in (3, 2, 1))
    passes.end_pass(
        database, orchard.supervisor, ended, ended_at=NOW - timedelta(days=2), hours=None
    )
    passes.finish_rows(
        database, orchard.supervisor, finished, orchard.row_ids, NOW - timedelta(days=1)
    )
    links = set(today().links)
    assert f"/passes/{going}" in links
    assert not {f"/passes/{ended}", f"/passes/{finished}"} & links


def test_a_pass_entered_for_tomorrow_is_not_at_work_yet(today, begin):
    pass_id = begin(NOW + timedelta(hours=18))
    assert f"/passes/{pass_id}" not in today().links


# --- everything --------------------------------------------------------------------------------


def test_another_farms_day_stays_there(database, today):
    other = plant_orchard(database, NOW, name="Cold Spring")
    pass_id = passes.begin_pass(
        database,
        other.supervisor,
        block_id=other.block_id,
        crew_id=other.crew_id,
        kind=PassKind.DORMANT,
        method=Method.PLATFORM,
        row_ids=other.row_ids,
        started_at=JUST_BEGUN,
    )
    passes.finish_row(database, other.supervisor, pass_id, other.row_ids[0], NOW)
    assert "Nothing waits." in today().text


def test_the_day_is_read_in_as_many_statements_however_much_waits(
    supervisor, database, orchard, begin, finish
):
    begin()
    begin_audit(database, orchard, finish(0))
    send_back(database, orchard)
    finish(1)
    with statements_of(database) as few:
        supervisor.get("/")
    with database.write() as connection:
        for state in (LotState.WAITING, LotState.IN_AUDIT, LotState.REWORK):
            for row in range(6):
                add_lot(connection, orchard, finished_at=NOW, row=row, state=state)
    begin_audit(database, orchard, finish(0, row=1))
    send_back(database, orchard)
    begin(JUST_BEGUN + timedelta(minutes=5), method=Method.PLATFORM)
    with statements_of(database) as many:
        assert supervisor.get("/").status_code == 200
    assert len(many) == len(few) <= 22
