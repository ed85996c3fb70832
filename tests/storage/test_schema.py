"""The tables: as the migrations make them, each row tied to its farm, kept safely."""

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from audits.errors import Busy, Conflict
from audits.messages import Units
from audits.services import farms
from audits.storage.database import Database, journal_mode
from audits.storage.queries.accounts import only_farm
from audits.storage.schema import upgrade
from audits.storage.tables import metadata
from audits.vocabulary import BearingHabit


def found_farm(database, name):
    return farms.create_farm(
        database,
        name=name,
        units=Units.METRIC,
        region="US",
        language="en",
        time_zone="America/New_York",
        season_start_month=11,
    )


def test_the_migrations_make_the_tables_that_the_program_works_with(migrated_database):
    with migrated_database.write() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": False})
        differences = compare_metadata(context, metadata)
    assert differences == []


def test_the_comparison_would_notice_a_missing_column(migrated_database):
    with migrated_database.engine.connect() as connection:
        connection.exec_driver_sql("alter table crew drop column retired")
        context = MigrationContext.configure(connection, opts={"compare_type": False})
        differences = compare_metadata(context, metadata)
        connection.rollback()
    assert differences != []


def test_bringing_up_to_date_again_keeps_every_row(migrated_database):
    farm_id = found_farm(migrated_database, "Twice Farm")
    upgrade(migrated_database)
    with migrated_database.read() as connection:
        assert only_farm(connection).id == farm_id


def test_a_database_of_a_later_version_is_refused_by_name(migrated_database):
    set_version = sa.text("update alembic_version set version_num = :version")
    with migrated_database.write() as connection:
        known = connection.scalar(sa.text("select version_num from alembic_version"))
        connection.execute(set_version, {"version": "9999"})
    with pytest.raises(Conflict, match="schema 9999"):
        upgrade(migrated_database)
    with migrated_database.write() as connection:
        connection.execute(set_version, {"version": known})


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=lambda table: table.name)
def test_every_key_that_points_elsewhere_includes_the_farm(table):
    for key in table.foreign_key_constraints:
        pointed = [element.column.name for element in key.elements]
        if key.referred_table.name == "farm":
            assert pointed == ["id"]
        else:
            assert pointed == ["farm_id", "id"]
            assert key.column_keys[0] == "farm_id"


@pytest.mark.parametrize(
    "table",
    [table for table in metadata.sorted_tables if table.name != "farm"],
    ids=lambda table: table.name,
)
def test_uniqueness_is_per_farm(table):
    unique = [
        {column.name for column in constraint.columns}
        for constraint in table.constraints
        if isinstance(constraint, sa.UniqueConstraint)
    ] + [{column.name for column in index.columns} for index in table.indexes if index.unique]
    for columns in unique:
        # A session's secret is unique everywhere: it is looked up before the farm is known.
        assert "farm_id" in columns or columns == {"token_hash"}


def test_a_row_cannot_point_at_another_farms_row(migrated_database):
    first = found_farm(migrated_database, "First Farm")
    second = found_farm(migrated_database, "Second Farm")
    tables = metadata.tables
    with migrated_database.write() as connection:
        connection.execute(tables["crew"].insert(), {"farm_id": first, "name": "Crew"})
        crew_id = connection.scalar(sa.select(tables["crew"].c.id))
    worker = {"farm_id": second, "code": "W1", "language": "en", "crew_id": crew_id}
    with (
        pytest.raises(sa.exc.IntegrityError),
        migrated_database.write() as connection,
    ):
        connection.execute(tables["worker"].insert(), worker)


def test_a_failed_transaction_leaves_no_trace(migrated_database):
    farm_id = found_farm(migrated_database, "Half Farm")
    crew = metadata.tables["crew"]
    with pytest.raises(RuntimeError), migrated_database.write() as connection:  # noqa: PT012
        connection.execute(crew.insert(), {"farm_id": farm_id, "name": "Half saved"})
        raise RuntimeError
    with migrated_database.read() as connection:
        assert connection.scalar(sa.select(sa.func.count()).select_from(crew)) == 0


def test_a_commit_that_waits_for_a_reader_in_vain_says_busy(sqlite_url, monkeypatch):
    """With the rollback journal one long read, such as a check of every score, holds commits up."""
    monkeypatch.setattr("audits.storage.database._BUSY_TIMEOUT_MS", 50)
    monkeypatch.setattr("audits.storage.database.journal_mode", lambda _version: "delete")
    database = Database(sqlite_url)
    upgrade(database)
    with database.read() as reader:
        assert only_farm(reader) is None
        with pytest.raises(Busy, match="busy"), database.write() as connection:
            connection.execute(sa.text("create table scratch (number integer)"))
    with database.write() as connection:
        connection.execute(sa.text("create table scratch (number integer)"))
    database.close()


@pytest.mark.parametrize(
    ("version", "journal"),
    [
        # The WAL-reset race is mended in 3.51.3, and in 3.50.7 and 3.44.6 in their lines
        # (sqlite.org, release notes of 3.51.3).
        ((3, 40, 1), "delete"),
        ((3, 44, 5), "delete"),
        ((3, 44, 6), "wal"),
        ((3, 45, 0), "delete"),
        ((3, 50, 6), "delete"),
        ((3, 50, 7), "wal"),
        ((3, 51, 2), "delete"),
        ((3, 51, 3), "wal"),
        ((3, 52, 0), "wal"),
    ],
)
def test_the_journal_avoids_the_wal_reset_race(version, journal):
    assert journal_mode(version) == journal


def test_sqlite_is_told_to_be_safe(sqlite_url):
    database = Database(sqlite_url)
    with database.read() as connection:
        pragmas = {
            name: connection.exec_driver_sql(f"pragma {name}").scalar()
            for name in ("synchronous", "foreign_keys", "busy_timeout", "journal_mode")
        }
        version = connection.exec_driver_sql("select sqlite_version()").scalar()
    database.close()
    assert pragmas == {
        "synchronous": 2,
        "foreign_keys": 1,
        "busy_timeout": 10_000,
        "journal_mode": journal_mode(tuple(int(part) for part in version.split("."))),
    }


def test_a_block_of_one_farm_is_not_found_on_another(migrated_database):
    first = found_farm(migrated_database, "First Farm")
    second = found_farm(migrated_database, "Second Farm")
    block = metadata.tables["block"]
    with migrated_database.write() as connection:
        connection.execute(
            block.insert(),
            {
                "farm_id": first,
                "name": "North",
                "cultivar": "Hollow Red",
                "habit": BearingHabit.STANDARD,
                "rootstock": "M.9",
                "row_spacing_mm": 3350.0,
                "tree_spacing_mm": 900.0,
                "emergency_location": "",
            },
        )
        block_id = connection.scalar(sa.select(block.c.id))
        assert farms.the_block(connection, first, block_id).name == "North"
        with pytest.raises(Exception, match="no such block"):
            farms.the_block(connection, second, block_id)
