"""Set-up through the services on both databases: what is kept, what is refused, and to whom."""

from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import farms, standards
from audits.storage import tables
from audits.storage.queries import farms as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.vocabulary import BearingHabit, HeadingRule, Method, PassKind, PlantingKind
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
TODAY = NOW.date()

BLOCK = {
    "name": "Ridge",
    "cultivar": "Hollow Red",
    "habit": BearingHabit.SPUR,
    "rootstock": "M.9",
    "row_spacing_mm": 3_352.8,
    "tree_spacing_mm": 914.4,
}
ROWS = {
    "first_number": 20,
    "last_number": 22,
    "start_end": "north",
    "tree_count": 40,
    "since": date(2020, 4, 1),
}
WORKER = {"code": "X1", "name": "Celso Arrieta", "language": "es", "crew_id": None}
FARM = {
    "name": "Tule Hollow",
    "units": "imperial",
    "region": "US",
    "language": "en",
    "time_zone": "America/New_York",
    "season_start_month": 11,
}


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, NOW)


@pytest.fixture
def other(database) -> Orchard:
    """A second farm in the same database."""
    return plant_orchard(database, NOW, name="Cold Spring")


def problems_of(use_case, *args, **entry) -> dict[str, str]:
    """Return what a use case complains about, by field."""
    with pytest.raises(InvalidInput) as refusal:
        use_case(*args, **entry)
    return {field: str(sentence) for field, sentence in refusal.value.problems.items()}


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def positions(database, orchard, row_id, day=TODAY):
    with database.read() as connection:
        return farms.bearing_positions(connection, orchard.farm_id, row_id, day)


def begin_pass(database, orchard, *, last_position=TREES_IN_ROW):
    """A pass over the first row, as far as set-up needs to know of it."""
    with database.write() as connection:
        pass_id = insert(
            connection,
            tables.crew_pass,
            {
                "farm_id": orchard.farm_id,
                "block_id": orchard.block_id,
                "crew_id": orchard.crew_id,
                "standard_version_id": orchard.standard_id,
                "kind": PassKind.DORMANT,
                "method": Method.LADDER,
                "started_at": NOW,
                "lot_by": "row",
            },
        )
        insert(
            connection,
            tables.pass_row,
            {
                "farm_id": orchard.farm_id,
                "crew_pass_id": pass_id,
                "orchard_row_id": orchard.row_ids[0],
                "first_position": 1,
                "last_position": last_position,
            },
        )


# --- the farm ----------------------------------------------------------------------------------


def test_the_farm_keeps_its_settings(database, orchard):
    farms.edit_farm(database, orchard.owner, **{**FARM, "region": "mx", "row_word": " surco "})

    with database.read() as connection:
        farm = queries.farm_by_id(connection, orchard.farm_id)
    assert (farm.region, farm.row_word, farm.first_aider) == ("MX", "surco", "")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", "  "),
        ("region", "QQ"),
        ("region", "001"),
        ("language", "fr"),
        ("time_zone", "Mars/Base"),
        ("time_zone", "../etc"),
        ("season_start_month", 13),
        ("row_word", "x" * 21),
    ],
)
def test_a_setting_that_makes_no_sense_is_refused(database, orchard, field, value):
    assert list(
        problems_of(farms.edit_farm, database, orchard.owner, **{**FARM, field: value})
    ) == [field]


def test_only_owners_change_the_farm(database, orchard):
    with pytest.raises(NotAllowed):
        farms.edit_farm(database, orchard.supervisor, **FARM)


# --- blocks ------------------------------------------------------------------------------------


def test_every_problem_of_a_block_is_named_at_once(database, orchard):
    problems = problems_of(
        farms.add_block,
        database,
        orchard.supervisor,
        **{
            **BLOCK,
            "name": "",
            "cultivar": " ",
            "row_spacing_mm": 0.0,
            "tree_spacing_mm": 0.0,
            "top_wire_mm": 30.0,
            "planting_year": 1066,
        },
    )

    assert problems == {
        "name": "Give the block a name.",
        "cultivar": "Name the cultivar.",
        "row_spacing_mm": "Must be from 3 ft 3 in to 39 ft 4 in.",
        "tree_spacing_mm": "Must be from 6 in to 32 ft 10 in.",
        "top_wire_mm": "Must be from 24 in to 26 ft 3 in.",
        "planting_year": "Must be from 1900 to 2100.",
    }
    assert count(database, tables.block) == 1


def test_a_planting_year_still_to_come_is_refused(database, orchard):
    entry = {**BLOCK, "planting_year": 2027}

    assert problems_of(farms.add_block, database, orchard.owner, today=TODAY, **entry) == {
        "planting_year": "Must be from 1900 to 2026."
    }


def test_two_blocks_cannot_share_a_name_whatever_its_case(database, orchard):
    entry = {**BLOCK, "name": " creek  BLOCK "}

    assert problems_of(farms.add_block, database, orchard.owner, **entry) == {
        "name": "Another block has this name."
    }


def test_a_block_keeps_its_own_name_when_edited(database, orchard):
    farms.edit_block(
        database, orchard.owner, orchard.block_id, **{**BLOCK, "name": "CREEK BLOCK", "young": True}
    )

    with database.read() as connection:
        block = queries.block_by_id(connection, orchard.farm_id, orchard.block_id)
    assert (block.name, block.young, block.planting_year) == ("CREEK BLOCK", True, None)


def test_a_corrected_cultivar_is_corrected_in_the_planting_map(database, orchard):
    entry = {**BLOCK, "name": "Creek Block", "cultivar": "Hollow Crimson"}
    farms.edit_block(database, orchard.owner, orchard.block_id, **entry)

    with database.read() as connection:
        plantings = queries.plantings_of_block(connection, orchard.farm_id, orchard.block_id)
    assert {planting.cultivar for planting in plantings} == {"Hollow Crimson"}


def test_a_retired_block_is_kept_but_not_offered(database, orchard):
    entry = {**BLOCK, "name": "Creek Block", "retired": True}
    farms.edit_block(database, orchard.owner, orchard.block_id, **entry)

    with database.read() as connection:
        assert queries.blocks(connection, orchard.farm_id) == []
        assert len(queries.blocks(connection, orchard.farm_id, with_retired=True)) == 1


def test_workers_change_nothing(database, orchard):
    worker = orchard.worker
    for use_case, args, entry in (
        (farms.add_block, (), BLOCK),
        (farms.edit_block, (orchard.block_id,), BLOCK),
        (farms.add_rows, (orchard.block_id,), ROWS),
        (farms.add_crew, (), {"name": "Crew B"}),
        (farms.add_worker, (), WORKER),
    ):
        with pytest.raises(NotAllowed):
            use_case(database, worker, *args, **entry)


def test_records_of_another_farm_are_not_found(database, orchard, other):
    stranger = other.owner
    row_entry = {"number": 1, "start_end": "south", "tree_count": 310}
    planting = {
        "first_position": 1,
        "last_position": 1,
        "kind": PlantingKind.DEAD,
        "since": TODAY,
    }
    for use_case, args, entry in (
        (farms.edit_block, (orchard.block_id,), BLOCK),
        (farms.add_rows, (orchard.block_id,), ROWS),
        (farms.edit_row, (orchard.row_ids[0],), row_entry),
        (farms.add_planting, (orchard.row_ids[0],), planting),
        (farms.edit_crew, (orchard.crew_id,), {"name": "Ours now"}),
        (farms.edit_worker, (orchard.worker_ids[0],), WORKER),
    ):
        with pytest.raises(NotFound):
            use_case(database, stranger, *args, **entry)
    assert problems_of(
        farms.add_worker, database, stranger, **{**WORKER, "crew_id": orchard.crew_id}
    ) == {"crew_id": "Choose a crew from the list."}


# --- rows and the planting map -----------------------------------------------------------------


def test_new_rows_bear_the_blocks_cultivar_from_end_to_end(database, orchard):
    row_ids = farms.add_rows(database, orchard.supervisor, orchard.block_id, **ROWS)

    with database.read() as connection:
        rows = queries.rows_of_block(connection, orchard.farm_id, orchard.block_id)
        plantings = queries.plantings_of_row(connection, orchard.farm_id, row_ids[0])
    assert [row.number for row in rows if row.id in row_ids] == [20, 21, 22]
    assert [(planting.cultivar, planting.year) for planting in plantings] == [("Hollow Red", 2018)]
    assert positions(database, orchard, row_ids[2]) == tuple(range(1, 41))


def test_a_row_number_in_use_is_refused_by_its_number(database, orchard):
    entry = {**ROWS, "first_number": 6, "last_number": 9}

    assert problems_of(farms.add_rows, database, orchard.supervisor, orchard.block_id, **entry) == {
        "first_number": "The block has a row 6 already."
    }
    assert count(database, tables.orchard_row) == 6


def test_several_row_numbers_in_use_are_all_named(database, orchard):
    entry = {**ROWS, "first_number": 4, "last_number": 9}

    assert problems_of(farms.add_rows, database, orchard.supervisor, orchard.block_id, **entry) == {
        "first_number": "The block has rows 4, 5, 6 already."
    }


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"first_number": 0}, "first_number"),
        ({"last_number": 10_000}, "last_number"),
        ({"last_number": 19}, "last_number"),
        ({"last_number": 520}, "last_number"),
        ({"start_end": ""}, "start_end"),
        ({"tree_count": 0}, "tree_count"),
        ({"tree_count": 5_001}, "tree_count"),
        ({"posts": 1}, "posts"),
        ({"trees_per_panel": 0}, "trees_per_panel"),
        ({"posts": 4, "trees_per_panel": 7}, "posts"),
    ],
)
def test_rows_that_make_no_sense_are_refused(database, orchard, change, field):
    problems = problems_of(
        farms.add_rows, database, orchard.owner, orchard.block_id, **{**ROWS, **change}
    )

    assert list(problems) == [field]
    assert count(database, tables.orchard_row) == 6


def test_posts_with_part_of_a_panel_at_either_end_are_taken(database, orchard):
    entry = {**ROWS, "posts": 4, "trees_per_panel": 8}

    assert len(farms.add_rows(database, orchard.owner, orchard.block_id, **entry)) == 3


def test_a_correction_of_the_map_counts_from_its_day_on(database, orchard):
    row_id = orchard.row_ids[0]
    farms.add_planting(
        database,
        orchard.supervisor,
        row_id,
        first_position=5,
        last_position=7,
        kind=PlantingKind.REPLANT,
        year=2025,
        since=date(2025, 5, 1),
        today=TODAY,
    )

    assert set(range(5, 8)).isdisjoint(positions(database, orchard, row_id))
    assert len(positions(database, orchard, row_id)) == TREES_IN_ROW - 3
    assert len(positions(database, orchard, row_id, date(2025, 4, 30))) == TREES_IN_ROW


def test_of_two_corrections_on_one_day_the_later_holds(database, orchard):
    row_id = orchard.row_ids[0]
    for kind in (PlantingKind.DEAD, PlantingKind.BEARING):
        farms.add_planting(
            database,
            orchard.owner,
            row_id,
            first_position=5,
            last_position=5,
            kind=kind,
            since=TODAY,
        )

    assert 5 in positions(database, orchard, row_id)


def test_the_map_cannot_reach_beyond_the_row(database, orchard):
    assert problems_of(
        farms.add_planting,
        database,
        orchard.owner,
        orchard.row_ids[0],
        first_position=311,
        last_position=320,
        kind=PlantingKind.MISSING,
        since=TODAY,
    ) == {
        "first_position": "Position 311 does not exist: the row ends at position 310.",
        "last_position": "Position 320 does not exist: the row ends at position 310.",
    }


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"last_position": 4}, "last_position"),
        ({"first_position": 0}, "first_position"),
        ({"since": date(2026, 1, 21)}, "since"),
        ({"year": 2027}, "year"),
        ({"year": 1066}, "year"),
        ({"kind": PlantingKind.BEARING, "cultivar": "Frost Lady"}, "cultivar"),
    ],
)
def test_a_correction_that_cannot_be_true_is_refused(database, orchard, change, field):
    entry = {
        "first_position": 5,
        "last_position": 6,
        "kind": PlantingKind.REPLANT,
        "since": TODAY,
        **change,
    }

    assert list(
        problems_of(
            farms.add_planting, database, orchard.owner, orchard.row_ids[0], today=TODAY, **entry
        )
    ) == [field]
    assert count(database, tables.planting) == 6


def test_a_row_that_was_counted_short_gets_its_trees(database, orchard):
    row_id = orchard.row_ids[0]
    farms.edit_row(database, orchard.owner, row_id, number=1, start_end="north", tree_count=315)

    assert positions(database, orchard, row_id, date(2018, 4, 10)) == tuple(range(1, 316))


def test_a_row_that_was_counted_long_loses_its_end(database, orchard):
    row_id = orchard.row_ids[0]
    for first, last in ((299, 301), (305, 306)):
        farms.add_planting(
            database,
            orchard.owner,
            row_id,
            first_position=first,
            last_position=last,
            kind=PlantingKind.DEAD,
            since=TODAY,
        )
    farms.edit_row(database, orchard.owner, row_id, number=1, start_end="north", tree_count=300)

    with database.read() as connection:
        history = queries.plantings_of_row(connection, orchard.farm_id, row_id)
    assert [(part.first_position, part.last_position) for part in history] == [(1, 300), (299, 300)]


def test_a_row_keeps_the_positions_that_a_pass_has_been_to(database, orchard):
    begin_pass(database, orchard, last_position=200)
    row_id = orchard.row_ids[0]
    entry = {"number": 1, "start_end": "north", "tree_count": 199}

    assert problems_of(farms.edit_row, database, orchard.owner, row_id, **entry) == {
        "tree_count": "A pass has been to position 200 of this row."
    }
    farms.edit_row(database, orchard.owner, row_id, **{**entry, "tree_count": 200})
    assert len(positions(database, orchard, row_id)) == 200


def test_a_row_cannot_take_the_number_of_another(database, orchard):
    entry = {"number": 2, "start_end": "north", "tree_count": 310}

    assert problems_of(farms.edit_row, database, orchard.owner, orchard.row_ids[0], **entry) == {
        "number": "The block has a row 2 already."
    }


def test_bearing_positions_of_a_whole_block_agree_with_its_rows(database, orchard):
    farms.add_planting(
        database,
        orchard.owner,
        orchard.row_ids[3],
        first_position=100,
        last_position=120,
        kind=PlantingKind.POLLINIZER,
        cultivar="Crab",
        since=TODAY,
    )

    with database.read() as connection:
        together = farms.bearing_positions_by_row(
            connection, orchard.farm_id, orchard.block_id, TODAY
        )
    assert together == {row_id: positions(database, orchard, row_id) for row_id in orchard.row_ids}


# --- crews and workers -------------------------------------------------------------------------


def test_crews_have_names_of_their_own(database, orchard):
    assert problems_of(farms.add_crew, database, orchard.owner, name="crew a") == {
        "name": "Another crew has this name."
    }
    assert problems_of(farms.add_crew, database, orchard.owner, name=" ") == {
        "name": "Give the crew a name."
    }
    farms.edit_crew(database, orchard.owner, orchard.crew_id, name="CREW A", retired=True)
    with database.read() as connection:
        assert queries.crews(connection, orchard.farm_id) == []


def test_names_stand_in_one_order_on_both_databases(database, orchard):
    """In small letters by code point, as Python sorts them, whatever the server's locale."""
    names = ["Zarza", "abeto", "Álamo", "ñandú", "Nogal", "A 10", "A-2"]
    for name in names:
        farms.add_crew(database, orchard.owner, name=name)
    with database.read() as connection:
        found = [crew.name for crew in queries.crews(connection, orchard.farm_id)]
    assert found == sorted([*names, "Crew A"], key=str.lower)


def test_a_name_in_capitals_of_any_alphabet_is_the_same_name(database, orchard):
    farms.add_crew(database, orchard.owner, name="Ñandú")
    assert list(problems_of(farms.add_crew, database, orchard.owner, name="ÑANDÚ")) == ["name"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": "w1"}, "code"),
        ({"code": ""}, "code"),
        ({"code": "A code far too long"}, "code"),
        ({"name": ""}, "name"),
        ({"language": "fr"}, "language"),
        ({"crew_id": 999}, "crew_id"),
    ],
)
def test_a_worker_that_cannot_be_kept_is_refused(database, orchard, change, field):
    assert list(problems_of(farms.add_worker, database, orchard.owner, **{**WORKER, **change})) == [
        field
    ]
    assert count(database, tables.worker) == 6


def test_a_workers_name_can_be_erased_and_the_code_stays(database, orchard):
    worker_id = orchard.worker_ids[0]
    entry = {"code": "W1", "name": "", "language": "es", "crew_id": orchard.crew_id}
    farms.edit_worker(database, orchard.owner, worker_id, **entry)

    with database.read() as connection:
        worker = queries.worker_by_id(connection, orchard.farm_id, worker_id)
    assert (worker.code, worker.name) == ("W1", "")
    assert count(database, tables.worker_name) == 5


def test_a_crews_workers_come_by_code_without_those_who_left(database, orchard):
    entry = {"name": "Nélida Quintanar", "language": "es", "crew_id": orchard.crew_id}
    farms.edit_worker(
        database, orchard.owner, orchard.worker_ids[1], code="W2", retired=True, **entry
    )

    with database.read() as connection:
        crew = queries.workers_of_crew(connection, orchard.farm_id, orchard.crew_id)
    assert [worker.code for worker in crew] == ["W1", "W3", "W4", "W5", "W6"]


# --- standards ---------------------------------------------------------------------------------


def proposed(database, orchard) -> dict:
    with database.read() as connection:
        block = farms.the_block(connection, orchard.farm_id, orchard.block_id)
    return standards.propose_standard(block).model_dump(mode="json")


def test_versions_count_up_and_the_day_decides_which_is_in_force(database, orchard):
    payload = proposed(database, orchard)
    version = standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload,
        in_force_from=date(2026, 2, 1),
        now=NOW,
    )

    def in_force(day):
        with database.read() as connection:
            record = standards.standard_in_force(connection, orchard.farm_id, orchard.block_id, day)
        return record and record.version

    assert version == 2
    assert in_force(date(2025, 10, 31)) is None
    assert in_force(date(2026, 1, 31)) == 1
    assert in_force(date(2026, 2, 1)) == 2


def test_of_two_versions_from_one_day_the_later_is_in_force(database, orchard):
    standards.write_standard(
        database,
        orchard.owner,
        orchard.block_id,
        payload=proposed(database, orchard),
        in_force_from=date(2025, 11, 1),
        now=NOW,
    )

    with database.read() as connection:
        record = standards.standard_in_force(connection, orchard.farm_id, orchard.block_id, TODAY)
    assert record.version == 2


def test_a_stored_standard_reads_back_as_it_was_written(database, orchard):
    with database.read() as connection:
        record = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    standard = standards.standard_of(record)

    assert standard.heading.rule is HeadingRule.REQUIRED
    assert standard.top.target_mm == 3_017.52
    assert standard.top_wire_mm == 3_048.0
    assert standard.model_dump(mode="json") == record.payload


def test_a_standard_without_stages_is_refused(database, orchard):
    payload = proposed(database, orchard)
    for stage in ("top", "limbs", "columns"):
        payload[stage]["in_use"] = False

    assert problems_of(
        standards.write_standard,
        database,
        orchard.owner,
        orchard.block_id,
        payload=payload,
        in_force_from=TODAY,
        now=NOW,
    ) == {"top.in_use": "Use at least one stage: a standard without stages decides nothing."}
    assert count(database, tables.standard_version) == 1


def test_a_version_can_be_changed_until_a_pass_uses_it(database, orchard):
    payload = proposed(database, orchard)
    payload["limbs"]["most"] = 3
    change = {"payload": payload, "in_force_from": date(2025, 12, 1)}
    standards.edit_standard(database, orchard.supervisor, orchard.standard_id, **change)
    begin_pass(database, orchard)
    payload["limbs"]["most"] = 4

    with pytest.raises(Conflict, match="Write a new version"):
        standards.edit_standard(database, orchard.supervisor, orchard.standard_id, **change)
    with database.read() as connection:
        record = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    assert (record.in_force_from, record.payload["limbs"]["most"]) == (date(2025, 12, 1), 3)


def test_standards_are_for_this_farms_crew_leads_only(database, orchard, other):
    entry = {"payload": proposed(database, orchard), "in_force_from": TODAY}
    with pytest.raises(NotFound):
        standards.write_standard(database, other.owner, orchard.block_id, now=NOW, **entry)
    with pytest.raises(NotFound):
        standards.edit_standard(database, other.owner, orchard.standard_id, **entry)
    with pytest.raises(NotAllowed):
        standards.write_standard(database, orchard.worker, orchard.block_id, now=NOW, **entry)
    with pytest.raises(NotAllowed):
        standards.edit_standard(database, orchard.worker, orchard.standard_id, **entry)


@pytest.mark.parametrize(
    ("habit", "rule"),
    [(BearingHabit.TIP, HeadingRule.FORBIDDEN), (BearingHabit.SPUR, HeadingRule.OFF)],
)
def test_a_proposal_follows_the_bearing_habit(database, orchard, habit, rule):
    block_id = farms.add_block(database, orchard.owner, **{**BLOCK, "habit": habit})

    with database.read() as connection:
        block = farms.the_block(connection, orchard.farm_id, block_id)
    assert standards.propose_standard(block).heading.rule is rule


def test_a_worker_who_left_can_come_back_to_the_same_code(database, orchard):
    entry = {"code": "W1", "name": "Aurelio Barranco", "language": "es", "crew_id": None}
    for retired in (True, False):
        farms.edit_worker(database, orchard.owner, orchard.worker_ids[0], retired=retired, **entry)

    with database.read() as connection:
        codes = [worker.code for worker in queries.workers(connection, orchard.farm_id)]
    assert codes == ["W1", "W2", "W3", "W4", "W5", "W6"]
