"""Each migration on tables with rows in them, on both databases."""

import json
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext

from audits.scoring import read_answers
from audits.storage import schema
from audits.storage.database import Database
from audits.storage.queries import passes as queries
from audits.storage.queries.accounts import only_farm
from audits.storage.queries.paper import quiz_attempts_of
from audits.storage.tables import metadata
from audits.vocabulary import Effort, LotState, QuizSource, QuizStyle

FINISHED = datetime(2026, 1, 20, 15, 0, tzinfo=UTC)

# One lot as the first tables held it, written down here because the program has moved on.
ROWS_OF_THE_FIRST_TABLES = """
insert into farm values (1, 'Tule Hollow', 'imperial', 'US', 'en', 'America/New_York', 11, '', '',
  '');
insert into crew (id, farm_id, name, retired) values (1, 1, 'Crew A', false);
insert into block (id, farm_id, name, cultivar, habit, rootstock, row_spacing_mm, tree_spacing_mm,
  young, low_bloom, emergency_location, retired) values (1, 1, 'Creek Block', 'Hollow Red',
  'standard', 'M.9', 3352.8, 914.4, false, false, '', false);
insert into orchard_row (id, farm_id, block_id, number, start_end, tree_count) values
  (1, 1, 1, 1, 'north', 310);
insert into user_account (id, farm_id, name, password_hash, role, language, created_at, failures)
  values (1, 1, 'Ina', '', 'owner', 'en', '2025-11-01 12:00:00', 0);
insert into user_session (id, farm_id, token_hash, user_account_id, created_at, seen_at)
  values (1, 1, 'abc', 1, '2025-11-01 12:00:00', '2025-11-01 12:00:00');
insert into standard_version (id, farm_id, block_id, version, in_force_from, payload, created_at,
  created_by) values (1, 1, 1, 1, '2025-11-01', '{}', '2025-11-01 12:00:00', 1);
insert into crew_pass (id, farm_id, block_id, crew_id, standard_version_id, kind, method,
  started_at, lot_by) values (1, 1, 1, 1, 1, 'dormant', 'ladder', '2026-01-20 13:00:00', 'row');
insert into pass_row (id, farm_id, crew_pass_id, orchard_row_id, first_position, last_position,
  finished_at) values (1, 1, 1, 1, 1, 310, '2026-01-20 15:00:00');
insert into lot (id, farm_id, crew_pass_id, number, state, finished_at) values
  (1, 1, 1, 1, 'waiting', '2026-01-20 15:00:00');
insert into lot_range (id, farm_id, lot_id, orchard_row_id, first_position, last_position) values
  (1, 1, 1, 1, 1, 310);
"""

ROWS_OF_AN_AUDIT = """
insert into draw (id, farm_id, lot_id, crew_pass_id, purpose, stages, seed, lot_size, created_at,
  created_by) values (1, 1, 1, 1, 'first', 'top,heading', '7', 310, '2026-01-20 15:30:00', 1);
insert into audit (id, farm_id, draw_id, auditor_id, client_id, device, device_counter, season,
  started_at) values (1, 1, 1, 1, 'a1', 'phone', 1, 2025, '2026-01-20 15:40:00');
"""


@pytest.fixture
def database(database_url):
    database = Database(database_url)
    yield database
    database.close()


def migrate_to(database: Database, revision: str) -> None:
    config = Config()
    config.set_main_option("script_location", str(schema.MIGRATIONS))
    with database.write() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)


def test_a_lot_of_the_first_tables_was_to_be_audited_like_every_other(database):
    migrate_to(database, "0001")
    with database.write() as connection:
        for statement in filter(str.strip, ROWS_OF_THE_FIRST_TABLES.split(";")):
            connection.exec_driver_sql(statement)
    schema.upgrade(database)
    with database.read() as connection:
        lot = queries.lot_by_id(connection, 1, 1)
        (part,) = queries.pass_rows(connection, 1, 1)
        (stretch,) = queries.lot_ranges(connection, 1, 1)
    assert (lot.effort, lot.chosen) == (Effort.EVERY_LOT, True)
    assert (lot.state, lot.finished_at) == (LotState.WAITING, FINISHED)
    assert (part.finished_at, part.chance) == (FINISHED, None)
    assert stretch.last_position == 310


def test_brought_up_step_by_step_the_tables_are_those_of_a_new_database(database):
    for revision in ("0001", "0002", "0003", "0004", "0005", "0006"):
        migrate_to(database, revision)
    with database.write() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        differences = compare_metadata(context, metadata)
    assert differences == []


def test_whoever_is_signed_in_stays_so_when_phones_come(database):
    migrate_to(database, "0002")
    with database.write() as connection:
        for statement in filter(str.strip, ROWS_OF_THE_FIRST_TABLES.split(";")):
            connection.exec_driver_sql(statement)
    schema.upgrade(database)
    with database.read() as connection:
        kept = connection.execute(sa.select(metadata.tables["user_session"])).one()
    assert (kept.token_hash, kept.user_account_id, kept.device_id) == ("abc", 1, None)


def test_a_lot_must_say_whether_it_was_chosen(database):
    schema.upgrade(database)
    with database.read() as connection:
        columns = {column["name"]: column for column in sa.inspect(connection).get_columns("lot")}
    assert not columns["effort"]["nullable"]
    assert not columns["chosen"]["nullable"]


def test_what_was_measured_is_copied_out_of_old_answers(database):
    migrate_to(database, "0003")
    answers = {
        1: {"missed": None, "stages": {"top": {"kind": "top", "height_mm": 2890.0}}},
        2: {"missed": None, "stages": {"heading": {"kind": "heading", "diameters_mm": [7.0, 8.5]}}},
        3: {"missed": None, "stages": {"top": {"kind": "class", "tap": "right"}}},
        4: {"missed": "side", "stages": {"top": {"kind": "top", "height_mm": 2910.0}}},
        5: {"missed": "tree", "stages": {}},
    }
    with database.write() as connection:
        for statement in filter(
            str.strip, (ROWS_OF_THE_FIRST_TABLES + ROWS_OF_AN_AUDIT).split(";")
        ):
            connection.exec_driver_sql(statement)
        for number, given in answers.items():
            connection.execute(
                sa.text(
                    "insert into draw_tree (id, farm_id, draw_id, orchard_row_id, position, side,"
                    " wave) values (:n, 1, 1, 1, :n, 'left', 1)"
                ),
                {"n": number},
            )
            connection.execute(
                sa.text(
                    "insert into tree_score (id, farm_id, audit_id, draw_tree_id, version,"
                    " client_id, device, device_counter, scoring_order, recorded_at, answers)"
                    " values (:n, 1, 1, :n, 1, :client, 'phone', :n, :n, '2026-01-20 16:00:00',"
                    " :answers)"
                ),
                {"n": number, "client": f"c{number}", "answers": json.dumps(given)},
            )
            for stage in ("top", "heading"):
                connection.execute(
                    sa.text(
                        "insert into stage_score (farm_id, tree_score_id, stage, result, faults)"
                        " values (1, :n, :stage, 'conforming', '')"
                    ),
                    {"n": number, "stage": stage},
                )
    schema.upgrade(database)
    table = metadata.tables["stage_score"]
    with database.read() as connection:
        rows = connection.execute(
            sa.select(table.c.tree_score_id, table.c.stage, table.c.measured_mm).where(
                table.c.measured_mm.is_not(None)
            )
        )
        found = {(score, stage.value): lengths for score, stage, lengths in rows}
    assert found == {(1, "top"): [2890.0], (2, "heading"): [7.0, 8.5], (4, "top"): [2910.0]}


def test_what_was_audited_stays_as_it_is_when_paper_comes(database):
    """Answers from before there were gauges name none, and read the same."""
    migrate_to(database, "0004")
    heading = {"kind": "heading", "diameters_mm": [7.0], "left_long": 0}
    payload = {"missed": None, "stages": {"heading": heading}}
    with database.write() as connection:
        for statement in filter(
            str.strip, (ROWS_OF_THE_FIRST_TABLES + ROWS_OF_AN_AUDIT).split(";")
        ):
            connection.exec_driver_sql(statement)
        connection.exec_driver_sql(
            "insert into draw_tree (id, farm_id, draw_id, orchard_row_id, position, side, wave)"
            " values (1, 1, 1, 1, 1, 'left', 1)"
        )
        connection.execute(
            sa.text(
                "insert into tree_score (id, farm_id, audit_id, draw_tree_id, version,"
                " client_id, device, device_counter, scoring_order, recorded_at, answers)"
                " values (1, 1, 1, 1, 1, 't1', 'phone', 1, 1, '2026-01-20 16:00:00', :answers)"
            ),
            {"answers": json.dumps(payload)},
        )
    before = _rows(database)
    schema.upgrade(database)
    # The farm has had rules of its own for quizzes and briefs since.
    del before["farm"]
    assert {name: _rows(database)[name] for name in before} == before
    with database.read() as connection:
        stored = connection.scalar(sa.select(metadata.tables["tree_score"].c.answers))
        for table in ("printer", "print_batch", "print_check", "quiz_attempt", "sheet_photo"):
            assert connection.execute(sa.select(metadata.tables[table])).all() == []
    answers = read_answers(stored)
    assert answers.gauge is None
    assert answers.model_dump(mode="json") == payload


def _rows(database):
    """Every row of every table but the one that holds the version."""
    with database.read() as connection:
        names = set(sa.inspect(connection).get_table_names()) - {"alembic_version"}
        return {
            name: sorted(map(repr, connection.exec_driver_sql(f"select * from {name}")))  # noqa: S608 - names of our tables
            for name in names
        }


def test_quizzes_from_paper_stay_as_they_are_when_screens_come(database):
    """They had no pass mark yet, and nothing was retired; the farm begins with usual rules."""
    migrate_to(database, "0005")
    with database.write() as connection:
        for statement in filter(str.strip, ROWS_OF_THE_FIRST_TABLES.split(";")):
            connection.exec_driver_sql(statement)
        connection.exec_driver_sql(
            "insert into worker (id, farm_id, code, language, retired) values (1, 1, 'W1', 'es',"
            " false)"
        )
        connection.exec_driver_sql(
            "insert into quiz_attempt (id, farm_id, worker_id, standard_version_id, seed, variant,"
            " method, language, answers, questions, correct, taken_on, recorded_at, recorded_by)"
            " values (1, 1, 1, 1, 7, 'A', 'ladder', 'es', '[0, null]', 2, 1, '2026-01-20',"
            " '2026-01-20 16:00:00', 1)"
        )
    migrate_to(database, "0006")
    with database.read() as connection:
        (attempt,) = quiz_attempts_of(connection, 1, 1)
        farm = only_farm(connection)
    assert (attempt.answers, attempt.correct) == ([0, None], 1)
    assert (attempt.source, attempt.style) == (QuizSource.PAPER, QuizStyle.WORDS)
    assert (attempt.pass_mark, attempt.retired_items, attempt.key_letters) == (None, None, None)
    assert (farm.quiz_pass_mark, farm.briefing_days) == (8, 365)
