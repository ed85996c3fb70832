"""Passes as a supervisor meets them: begun, finished row by row, named, ended, listed."""

import re
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from werkzeug.datastructures import MultiDict
from wtforms import Form

from audits.safety import card_notes
from audits.services import farms, pass_views, passes
from audits.storage import tables
from audits.vocabulary import LotState, Method, PassKind, Role, Stage
from tests.orchard import ROWS, TREES_IN_ROW, plant_orchard
from tests.scored_season import add_audit, add_rework_order, wrong
from tests.statements import statements_of
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.forms import MomentField
from webapp.passes.rows import RowNumbersField, number_ranges, read_row_numbers

# 7:30 in New York.
BEGUN = datetime(2026, 1, 20, 12, 30, tzinfo=UTC)


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


@pytest.fixture
def new_url(orchard) -> str:
    return f"/passes/new/{orchard.block_id}"


@pytest.fixture
def entry(orchard):
    """What a supervisor fills in for a new pass."""

    def filled_in(**changes) -> dict[str, object]:
        return {
            "crew_id": orchard.crew_id,
            "kind": "dormant",
            "method": "ladder",
            "row_numbers": "1-4",
            "started_at": "2026-01-20T07:30",
            "lot_by": "",
        } | changes

    return filled_in


@pytest.fixture
def pass_id(database, orchard) -> int:
    return begin(database, orchard)


@pytest.fixture
def pass_url(pass_id) -> str:
    return f"/passes/{pass_id}"


def begin(database, orchard, **changes) -> int:
    entered = {
        "block_id": orchard.block_id,
        "crew_id": orchard.crew_id,
        "kind": PassKind.DORMANT,
        "method": Method.LADDER,
        "row_ids": orchard.row_ids,
        "started_at": BEGUN,
    }
    return passes.begin_pass(database, orchard.supervisor, **(entered | changes))


def finish(database, orchard, pass_id, *rows, moment=NOW) -> None:
    row_ids = [orchard.row_ids[row] for row in rows]
    passes.finish_rows(database, orchard.supervisor, pass_id, row_ids, moment)


def seen(database, orchard, pass_id):
    return pass_views.view_pass(database, orchard.supervisor, pass_id)


def finished_numbers(database, orchard, pass_id) -> list[int]:
    rows = seen(database, orchard, pass_id).rows
    return [row.number for part, row in rows if part.finished_at is not None]


# --- the list ----------------------------------------------------------------------------------


def test_without_a_pass_the_list_offers_to_begin_one(supervisor):
    page = read_page(supervisor.get("/passes"))
    assert "No pass yet this season" in page.text
    assert "/passes/new" in page.links


def test_passes_are_listed_newest_first_with_rows_and_lots_counted(
    supervisor, database, orchard, pass_id
):
    later = begin(database, orchard, started_at=BEGUN + timedelta(hours=1), row_ids=[1])
    finish(database, orchard, pass_id, 0, 1)
    page = read_page(supervisor.get("/passes"))
    listed = [link for link in page.links if re.fullmatch(r"/passes/\d+", link)]
    assert listed == [f"/passes/{later}", f"/passes/{pass_id}"]
    assert "2 of 6 rows finished; Waiting for audit: 2" in page.text
    assert "0 of 1 row finished" in page.text


def test_another_season_has_its_own_list(supervisor, database, orchard, pass_id):
    last_winter = begin_last_winter(database, orchard)
    now = read_page(supervisor.get("/passes")).links
    then = read_page(supervisor.get("/passes?season=2024")).links
    assert f"/passes/{pass_id}" in now
    assert f"/passes/{pass_id}" not in then
    assert f"/passes/{last_winter}" in then
    assert f"/passes/{last_winter}" not in now


def begin_last_winter(database, orchard) -> int:
    pass_id = begin(database, orchard, started_at=BEGUN + timedelta(hours=1))
    with database.write() as connection:
        connection.execute(
            tables.crew_pass.update()
            .where(tables.crew_pass.c.id == pass_id)
            .values(started_at=BEGUN - timedelta(days=365))
        )
    return pass_id


@pytest.mark.usefixtures("pass_id")
def test_the_list_takes_as_many_statements_however_long_it_is(supervisor, database, orchard):
    with statements_of(database) as few:
        supervisor.get("/passes")
    for hours in range(1, 6):
        later = begin(database, orchard, started_at=BEGUN + timedelta(minutes=hours))
        finish(database, orchard, later, 0, 1)
    with statements_of(database) as many:
        supervisor.get("/passes")
    assert len(many) == len(few)


# --- a new pass --------------------------------------------------------------------------------


def test_a_pass_begins_in_a_block(supervisor, new_url):
    page = read_page(supervisor.get("/passes/new"))
    assert new_url in page.links
    assert "Standard 1" in page.text


def test_a_new_pass_proposes_the_present_on_the_farms_clock_and_the_only_crew(
    supervisor, orchard, new_url
):
    page = read_page(supervisor.get(new_url))
    assert page.headings == ["Begin a pass in Creek Block"]
    assert page.values["started_at"] == "2026-01-20T12:00"
    assert page.values["crew_id"] == str(orchard.crew_id)
    assert page.values["kind"] == "dormant"
    assert "6 workers; each row is a lot" in page.text
    assert page.unlabelled == []


def test_a_pass_is_begun_and_led_to(supervisor, database, orchard, new_url, entry):
    answer = supervisor.post(new_url, data=entry())
    assert answer.status_code == 302
    found = seen(database, orchard, int(answer.location.rsplit("/", 1)[-1]))
    assert found.crew_pass.started_at == BEGUN
    assert [row.number for _, row in found.rows] == [1, 2, 3, 4]
    page = read_page(supervisor.get(answer.location))
    assert page.headings == ["Creek Block, Crew A"]
    assert "The pass has begun" in page.text


def test_rows_typed_and_rows_ticked_go_together_each_once(
    supervisor, database, orchard, new_url, entry
):
    ticked = [orchard.row_ids[0], orchard.row_ids[5]]
    answer = supervisor.post(new_url, data=entry(row_numbers="3-1", row_ids=ticked))
    found = seen(database, orchard, int(answer.location.rsplit("/", 1)[-1]))
    assert [row.number for _, row in found.rows] == [3, 2, 1, 6]


def test_ticking_alone_is_enough(supervisor, database, orchard, new_url, entry):
    answer = supervisor.post(new_url, data=entry(row_numbers="", row_ids=orchard.row_ids[4:]))
    found = seen(database, orchard, int(answer.location.rsplit("/", 1)[-1]))
    assert [row.number for _, row in found.rows] == [5, 6]


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"row_numbers": ""}, "row_ids", "Choose at least one row."),
        ({"row_numbers": "4 and so on"}, "row_numbers", "Write rows by their numbers"),
        ({"row_numbers": "5-8"}, "row_numbers", "Creek Block has no row 7-8."),
        ({"row_ids": "77"}, "row_ids", "Choose among the rows shown now."),
        ({"row_ids": "first"}, "row_ids", "Choose among the rows shown now."),
        ({"started_at": ""}, "started_at", "Fill in day and time."),
        ({"started_at": "yesterday"}, "started_at", "Write day and time as 2026-01-20 14:30."),
        ({"started_at": "2026-01-32T07:30"}, "started_at", "Write day and time as"),
        ({"started_at": "2026-01-20"}, "started_at", "Write day and time as"),
        ({"started_at": "2026-01-20T07:30+02:00"}, "started_at", "Write day and time as"),
        ({"started_at": "2126-01-20T07:30"}, "started_at", "Check the year of this day."),
        ({"started_at": "2026-03-08T02:30"}, "started_at", "Clocks are put forward that day"),
        ({"started_at": "2026-02-20T07:30"}, "started_at", "This is more than a week ahead."),
        ({"crew_id": ""}, "crew_id", "Choose a crew."),
        ({"method": ""}, "method", "Choose one."),
    ],
)
def test_what_cannot_be_begun(supervisor, database, new_url, entry, changes, field, sentence):
    answer = supervisor.post(new_url, data=entry(**changes))
    assert answer.status_code == 422
    page = read_page(answer)
    assert page.problems[field].startswith(sentence)
    assert "Nothing was saved yet" in page.text
    assert count(database, tables.crew_pass) == count(database, tables.pass_row) == 0


def test_a_day_before_the_standard_is_refused_on_top(supervisor, database, new_url, entry):
    answer = supervisor.post(new_url, data=entry(started_at="2025-10-31T07:30"))
    assert answer.status_code == 422
    assert "has no standard in force on Oct 31, 2025" in read_page(answer).text
    assert count(database, tables.crew_pass) == 0


def test_what_was_typed_stays_in_the_form_with_its_problem(supervisor, new_url, entry):
    answer = supervisor.post(new_url, data=entry(row_numbers="1-", started_at="soon"))
    page = read_page(answer)
    assert page.values["row_numbers"] == "1-"
    assert page.values["method"] == "ladder"


def test_a_block_without_a_standard_is_told_to_write_one(supervisor, database, orchard):
    block_id = farms.add_block(
        database,
        orchard.owner,
        name="Ridge",
        cultivar="Hollow Red",
        habit="spur",
        rootstock="",
        row_spacing_mm=3_352.8,
        tree_spacing_mm=914.4,
    )
    assert "This block has no rows yet" in supervisor.get(f"/passes/new/{block_id}").text
    farms.add_rows(
        database,
        orchard.owner,
        block_id,
        first_number=1,
        last_number=2,
        start_end="north",
        tree_count=40,
        since=NOW.date(),
    )
    page = read_page(supervisor.get(f"/passes/new/{block_id}"))
    assert "No standard is in force in this block" in page.text
    assert f"/blocks/{block_id}/standards/new" in page.links


def test_rows_already_pruned_this_season_are_told_apart(supervisor, database, orchard, new_url):
    begin(database, orchard, row_ids=orchard.row_ids[:3])
    page = read_page(supervisor.get(new_url))
    assert "Not yet in a pass this season: 4-6." in page.text
    assert page.text.count("already in a pass this season") == 3 + 1


# --- times and row numbers as people write them ------------------------------------------------


class Typed(Form):
    moment = MomentField()
    rows = RowNumbersField()


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2026-01-20T07:30", datetime(2026, 1, 20, 12, 30, tzinfo=UTC)),
        ("2026-01-20 07:30", datetime(2026, 1, 20, 12, 30, tzinfo=UTC)),
        ("2026-01-20T07:30:59", datetime(2026, 1, 20, 12, 30, tzinfo=UTC)),
        # Daylight saving time in New York runs from 8 March to 1 November 2026, by the rule of
        # the Energy Policy Act of 2005 (second Sunday in March to first Sunday in November).
        ("2026-03-08T01:59", datetime(2026, 3, 8, 6, 59, tzinfo=UTC)),
        ("2026-03-08T03:00", datetime(2026, 3, 8, 7, 0, tzinfo=UTC)),
        ("2026-07-01T07:30", datetime(2026, 7, 1, 11, 30, tzinfo=UTC)),
        # 1:30 comes twice that night: the first is meant.
        ("2026-11-01T01:30", datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        ("2026-11-01T02:30", datetime(2026, 11, 1, 7, 30, tzinfo=UTC)),
    ],
)
@pytest.mark.usefixtures("orchard")
def test_a_time_on_the_farms_clock_is_an_instant(app, text, instant):
    with app.test_request_context():
        form = Typed(MultiDict({"moment": text}))
        assert form.moment.process_errors == []
        assert form.moment.data == instant


@pytest.mark.parametrize("text", ["2026-03-08T02:00", "2026-03-08T02:59"])
@pytest.mark.usefixtures("orchard")
def test_a_time_that_the_clocks_skip_is_refused(app, text):
    with app.test_request_context():
        form = Typed(MultiDict({"moment": text}))
    assert form.moment.data is None
    assert str(form.moment.process_errors[0]).startswith("Clocks are put forward that day")


@pytest.mark.usefixtures("orchard")
def test_an_instant_is_shown_on_the_farms_clock(app):
    with app.test_request_context():
        assert Typed(moment=BEGUN).moment._value() == "2026-01-20T07:30"


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("", ()),
        ("12", (12,)),
        ("12-15", (12, 13, 14, 15)),
        ("12 to 14", (12, 13, 14)),
        ("rows 12 to 14 and 20", (12, 13, 14, 20)),
        ("hileras 12 a 14 y 20", (12, 13, 14, 20)),
        ("del 3 al 5", (3, 4, 5)),
        ("the third", None),
        ("30-28", (30, 29, 28)),
        ("7, 9-10; 2 4", (7, 9, 10, 2, 4)),
        ("3, 3, 2-4", (3, 2, 4)),
        ("12 - ", None),
        ("-3", None),
        ("1--3", None),
        ("twelve", None),
        ("1.5", None),
        ("1-9999", None),
        ("12345", None),
    ],
)
def test_rows_are_read_as_people_write_them(text, numbers):
    assert read_row_numbers(text) == numbers


def test_row_numbers_written_and_read_again_are_the_same():
    numbers = (1, 2, 3, 7, 9, 10)
    assert number_ranges(numbers) == "1-3, 7, 9-10"
    assert read_row_numbers(number_ranges(numbers)) == numbers


# --- a pass ------------------------------------------------------------------------------------


def test_a_pass_shows_where_it_stands(supervisor, database, orchard, pass_id, pass_url):
    finish(database, orchard, pass_id, 0, 1)
    page = read_page(supervisor.get(pass_url))
    for words in (
        "rows finished 2 of 6",
        "Waiting for audit 2 lots",
        "The crew together, no names.",
        "Still missing: W1 Aurelio Barranco, W2 Nélida Quintanar",
        "Ladders",
        "Each row",
    ):
        assert words in page.text
    assert f"/blocks/{orchard.block_id}/standards/1" in page.links
    assert {f"{pass_url}/people", f"{pass_url}/end", f"{pass_url}/start-check"} <= set(page.links)
    assert page.unlabelled == []


def test_a_pass_carries_the_safety_notes_of_its_method_and_where_help_is(supervisor, pass_url):
    text = read_page(supervisor.get(pass_url)).text
    assert "In an emergency, help meets you here: Gate 2, Hollow Road." in text
    assert "First aid: Dot Merrivale." in text
    for note in card_notes(Method.LADDER):
        assert str(note.text).split(". ", maxsplit=1)[0] in text
    assert "Face the ladder." in text
    assert "Shut the gates before the platform moves." not in text
    assert text.count("The rules of the farm and of the law come first.") == 2


def test_a_blocks_own_place_for_help_goes_before_the_farms(supervisor, database, pass_url):
    with database.write() as connection:
        connection.execute(tables.block.update().values(emergency_location="Pump by the creek"))
    text = read_page(supervisor.get(pass_url)).text
    assert "In an emergency, help meets you here: Pump by the creek." in text
    assert "Gate 2" not in text


def keys(answer, words: str) -> list[str]:
    """Return the rows whose keys say these words, in their order on the page."""
    pattern = rf'name="row_id" value="(\d+)">\s*{re.escape(words)}'
    return re.findall(pattern, answer.get_data(as_text=True))


def test_the_next_rows_stand_on_top_in_the_order_of_pruning(
    supervisor, database, orchard, pass_id, pass_url
):
    finish(database, orchard, pass_id, 0, 2)
    waiting = [str(orchard.row_ids[row]) for row in (1, 3, 4, 5)]
    assert keys(supervisor.get(pass_url), "Finished now") == waiting


def test_a_pass_of_many_rows_shows_a_few_keys_and_takes_the_rest_by_number(
    supervisor, database, orchard
):
    row_ids = orchard.row_ids + farms.add_rows(
        database,
        orchard.owner,
        orchard.block_id,
        first_number=ROWS + 1,
        last_number=120,
        start_end="north",
        tree_count=40,
        since=NOW.date(),
    )
    pass_id = begin(database, orchard, row_ids=row_ids[::-1])
    url = f"/passes/{pass_id}"
    assert keys(supervisor.get(url), "Finished now") == [str(row_id) for row_id in row_ids[:-7:-1]]
    answer = supervisor.post(
        url, data={"row_numbers": "120-101", "finished_at": "2026-01-20T11:45"}
    )
    assert answer.status_code == 302
    page = read_page(supervisor.get(url))
    assert "rows finished 20 of 120" in page.text
    assert "Finished: Rows 101-120. Ready to be audited." in page.text
    assert keys(supervisor.get(url), "Finished now")[0] == str(row_ids[99])


def test_one_key_finishes_a_row_now(supervisor, database, orchard, pass_id, pass_url):
    answer = supervisor.post(f"{pass_url}/finished-now", data={"row_id": orchard.row_ids[1]})
    assert answer.location == pass_url
    (part,) = [part for part, row in seen(database, orchard, pass_id).rows if part.finished_at]
    assert (part.orchard_row_id, part.finished_at) == (orchard.row_ids[1], NOW)
    page = read_page(supervisor.get(pass_url))
    assert "Finished: Row 2. Ready to be audited." in page.text


def test_a_key_pressed_twice_says_so_and_changes_nothing(
    supervisor, database, orchard, pass_id, pass_url
):
    for _ in range(2):
        answer = supervisor.post(f"{pass_url}/finished-now", data={"row_id": orchard.row_ids[1]})
        assert answer.status_code == 302
    assert "Row 2 is finished already." in supervisor.get(pass_url).text
    assert len(seen(database, orchard, pass_id).lots) == 1


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        (
            {"finished_at": "2026-01-20T07:29"},
            "finished_at",
            "The row cannot be finished before the pass began.",
        ),
        ({"finished_at": "2026-01-20T12:01"}, "finished_at", "This time is still to come."),
        ({"finished_at": "noon"}, "finished_at", "Write day and time as 2026-01-20 14:30."),
        ({"row_numbers": ""}, "row_ids", "Choose at least one row."),
        (
            {"row_numbers": "1"},
            "row_numbers",
            "No unfinished row of this pass has the number 1.",
        ),
        (
            {"row_numbers": "2, 40"},
            "row_numbers",
            "No unfinished row of this pass has the number 40.",
        ),
    ],
)
def test_rows_that_cannot_be_finished(
    supervisor, database, orchard, pass_id, pass_url, changes, field, sentence
):
    finish(database, orchard, pass_id, 0)
    entered = {"row_numbers": "2", "finished_at": "2026-01-20T11:45"} | changes
    answer = supervisor.post(pass_url, data=entered)
    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert finished_numbers(database, orchard, pass_id) == [1]


def test_rows_finished_last_can_be_taken_back_together(
    supervisor, database, orchard, pass_id, pass_url
):
    finish(database, orchard, pass_id, 0, moment=NOW - timedelta(hours=1))
    supervisor.post(pass_url, data={"row_numbers": "2-4", "finished_at": "2026-01-20T11:45"})
    page = read_page(supervisor.get(pass_url))
    assert "Rows 2-4, finished 1/20/26, 11:45 AM" in page.text
    supervisor.post(f"{pass_url}/take-back", data={"row_id": orchard.row_ids[1:4]})
    assert finished_numbers(database, orchard, pass_id) == [1]
    assert "Taken back: Rows 2-4." in read_page(supervisor.get(pass_url)).text


def test_a_row_under_audit_offers_no_way_back(supervisor, database, orchard, pass_id, pass_url):
    finish(database, orchard, pass_id, 0)
    with database.write() as connection:
        connection.execute(tables.lot.update().values(state=LotState.IN_AUDIT))
    assert "Take back" not in supervisor.get(pass_url).text
    supervisor.post(f"{pass_url}/take-back", data={"row_id": orchard.row_ids[0]})
    assert "it stays finished" in supervisor.get(pass_url).text
    assert finished_numbers(database, orchard, pass_id) == [1]


def test_lots_stand_with_their_state_and_lead_to_their_pages(
    supervisor, database, orchard, pass_id, pass_url
):
    finish(database, orchard, pass_id, 0, 1)
    lots = [made.lot.id for made in seen(database, orchard, pass_id).lots]
    with database.write() as connection:
        connection.execute(
            tables.lot.update().where(tables.lot.c.id == lots[0]).values(state=LotState.ACCEPTED)
        )
    page = read_page(supervisor.get(pass_url))
    assert {f"/lots/{lot_id}" for lot_id in lots} <= set(page.links)
    assert "1 lot is done with" in page.text


def test_a_pass_is_shown_in_as_many_statements_whatever_its_size(
    supervisor, database, orchard, pass_id, pass_url
):
    with statements_of(database) as few:
        supervisor.get(pass_url)
    finish(database, orchard, pass_id, 0, 1, 2, 3)
    with statements_of(database) as many:
        supervisor.get(pass_url)
    assert len(many) == len(few)


def test_a_pass_begun_by_mistake_can_be_taken_back(
    supervisor, database, orchard, pass_id, pass_url
):
    assert "Begun by mistake?" in supervisor.get(pass_url).text
    finish(database, orchard, pass_id, 0)
    assert "Begun by mistake?" not in supervisor.get(pass_url).text
    assert supervisor.post(f"{pass_url}/remove").location == pass_url
    assert "cannot be taken back" in supervisor.get(pass_url).text

    passes.take_back_rows(database, orchard.supervisor, pass_id, orchard.row_ids[:1])
    assert supervisor.post(f"{pass_url}/remove").location == "/passes"
    assert "The pass was taken back." in supervisor.get("/passes").text
    assert supervisor.get(pass_url).status_code == 404


def test_a_form_sent_twice_begins_one_pass(supervisor, database, new_url, entry):
    first, second = (supervisor.post(new_url, data=entry()) for _ in range(2))
    assert (first.status_code, second.status_code) == (302, 422)
    assert read_page(second).problems == {
        "row_ids": "This crew began a pass through these rows at that time already."
    }
    assert count(database, tables.crew_pass) == 1


def test_a_pass_of_another_farm_or_of_nowhere_is_not_there(supervisor, database):
    other = plant_orchard(database, NOW, name="Cold Spring")
    elsewhere = begin(
        database,
        other,
        block_id=other.block_id,
        crew_id=other.crew_id,
        row_ids=other.row_ids,
    )
    for pass_id in (elsewhere, 999):
        assert supervisor.get(f"/passes/{pass_id}").status_code == 404
        key = supervisor.post(f"/passes/{pass_id}/finished-now", data={"row_id": 1})
        assert key.status_code == 404


def test_a_worker_does_not_see_passes(sign_in, pass_url):
    worker = sign_in(Role.WORKER)
    for path in ("/passes", "/passes/new", pass_url, f"{pass_url}/people", f"{pass_url}/end"):
        assert worker.get(path).status_code == 403


def test_a_pass_of_rework_leads_to_its_order_and_asks_for_nothing(supervisor, database, orchard):
    with database.write() as connection:
        ids = add_audit(
            connection,
            orchard,
            [{Stage.TOP: wrong(None)}],
            started_at=NOW - timedelta(days=1),
            refused=[Stage.TOP],
        )
        add_rework_order(connection, orchard, ids, {}, created_at=NOW)
        pass_id = begin_rework(connection, orchard)
        connection.execute(tables.rework_order.update().values(crew_pass_id=pass_id))
        order_id = connection.scalar(sa.select(tables.rework_order.c.id))
    page = read_page(supervisor.get(f"/passes/{pass_id}"))
    assert f"/rework/{order_id}" in page.links
    assert not {f"/passes/{pass_id}/end", f"/passes/{pass_id}/people"} & set(page.links)
    assert page.values == {}
    listed = read_page(supervisor.get("/passes"))
    assert "1 pass of rework" in listed.text


def begin_rework(connection, orchard) -> int:
    return connection.execute(
        tables.crew_pass.insert().values(
            farm_id=orchard.farm_id,
            block_id=orchard.block_id,
            crew_id=orchard.crew_id,
            standard_version_id=orchard.standard_id,
            kind=PassKind.REWORK,
            method=Method.LADDER,
            started_at=NOW - timedelta(hours=2),
            ended_at=NOW - timedelta(hours=1),
            lot_by="row",
        )
    ).inserted_primary_key[0]


# --- who did what ------------------------------------------------------------------------------


@pytest.fixture
def naming(orchard):
    def filled_in(**changes) -> dict[str, object]:
        return {
            "worker_id": orchard.worker_ids[0],
            "stages": ["top", "limbs"],
            "row_numbers": "1-2",
            "side": "both",
            "first_position": "",
            "last_position": "",
        } | changes

    return filled_in


def test_a_name_is_noted_for_rows_stages_stretch_and_side(supervisor, pass_url, naming):
    url = f"{pass_url}/people"
    answer = supervisor.post(url, data=naming(side="left", first_position="1", last_position="90"))
    assert answer.location == url
    page = read_page(supervisor.get(url))
    assert "The name was noted: Rows 1-2." in page.text
    # Rows in which the same people did the same stand together.
    assert "Rows 1-2 W1 Aurelio Barranco Top, Limbs (left side, trees 1 to 90)" in page.text
    assert "Names are noted in 2 of 6 rows" in read_page(supervisor.get(pass_url)).text


def test_names_come_with_who_calls_the_limbs(supervisor, pass_url):
    text = read_page(supervisor.get(f"{pass_url}/people")).text
    assert "Two people at a tree: the left side calls the limbs." in text


def test_a_name_is_taken_off_again(supervisor, database, orchard, pass_id, pass_url, naming):
    supervisor.post(f"{pass_url}/people", data=naming())
    answer = supervisor.post(
        f"{pass_url}/people/withdraw",
        data={"worker_id": orchard.worker_ids[0], "row_id": orchard.row_ids[:2]},
    )
    assert answer.status_code == 302
    assert seen(database, orchard, pass_id).assignments == []


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        ({"worker_id": ""}, {"worker_id": "Choose a worker."}),
        ({"worker_id": "999"}, {"worker_id": "This worker is not in the crew of this pass."}),
        ({"stages": []}, {"stages": "Choose at least one stage."}),
        ({"row_numbers": ""}, {"row_ids": "Choose at least one row."}),
        ({"row_numbers": "9"}, {"row_numbers": "This pass does not go through row 9."}),
        (
            {"last_position": str(TREES_IN_ROW + 1)},
            {"last_position": "Row 1 has trees 1 to 310 in this pass."},
        ),
        (
            {"first_position": "0"},
            {"first_position": "Row 1 has trees 1 to 310 in this pass."},
        ),
        (
            {"first_position": "20", "last_position": "10"},
            {"last_position": "The last tree cannot come before the first."},
        ),
        ({"first_position": "ten"}, {"first_position": "Write a whole number, such as 12."}),
    ],
)
def test_names_that_cannot_be_noted(supervisor, database, pass_url, naming, changes, problems):
    answer = supervisor.post(f"{pass_url}/people", data=naming(**changes))
    assert answer.status_code == 422
    assert read_page(answer).problems == problems
    assert count(database, tables.assignment) == 0


# --- the end -----------------------------------------------------------------------------------


def test_a_pass_ends_with_its_hours(supervisor, database, orchard, pass_id, pass_url):
    page = read_page(supervisor.get(f"{pass_url}/end"))
    assert "Not finished: Rows 1-6." in page.text
    assert page.values["ended_at"] == "2026-01-20T12:00"
    entered = {"ended_at": "2026-01-20T11:59", "hours": "21,5"}
    assert supervisor.post(f"{pass_url}/end", data=entered).location == pass_url
    found = seen(database, orchard, pass_id).crew_pass
    assert (found.ended_at, found.hours) == (NOW - timedelta(minutes=1), 21.5)
    assert read_page(supervisor.get(f"{pass_url}/end")).values["hours"] == "21.5"


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        ({"ended_at": "2026-01-20T07:29"}, {"ended_at": "The pass cannot end before it began."}),
        ({"ended_at": "2026-01-20T12:01"}, {"ended_at": "This time is still to come."}),
        ({"ended_at": ""}, {"ended_at": "Fill in day and time."}),
        ({"hours": "0"}, {"hours": "Give the hours of all people together, more than 0."}),
        ({"hours": "many"}, {"hours": "Write a number, such as 1.5."}),
    ],
)
def test_how_a_pass_cannot_end(supervisor, database, orchard, pass_id, pass_url, changes, problems):
    entered = {"ended_at": "2026-01-20T11:59", "hours": ""} | changes
    answer = supervisor.post(f"{pass_url}/end", data=entered)
    assert answer.status_code == 422
    assert read_page(answer).problems == problems
    assert seen(database, orchard, pass_id).crew_pass.ended_at is None


@pytest.mark.parametrize(
    ("path", "heading"),
    [
        ("/", "Hoy"),
        ("/passes", "Pasadas"),
        ("/passes/new", "Empezar una pasada"),
        ("/passes/1/people", "Quién hizo qué"),
        ("/passes/1/end", "Terminar la pasada"),
        ("/passes/1/start-check", "Revisión de inicio"),
        ("/safety", "Seguridad"),
    ],
)
@pytest.mark.usefixtures("pass_id")
def test_the_pages_speak_spanish_too(sign_in, path, heading):
    answer = sign_in(language="es").get(path)
    assert answer.status_code == 200
    assert read_page(answer).headings == [heading]


def test_rows_have_the_farms_own_word_in_spanish(sign_in, database, pass_url):
    with database.write() as connection:
        connection.execute(tables.farm.update().values(row_word="surco"))
    assert "Surco 1" in sign_in(language="es").get(pass_url).text
    assert "Surco" not in sign_in(language="en").get(pass_url).text
