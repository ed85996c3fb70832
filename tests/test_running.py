"""How the tests are run: a run that forbids skips must notice each way to skip."""

import subprocess
import sys
from pathlib import Path

import pytest
import sqlalchemy as sa

from audits.messages import Units
from audits.services.farms import create_farm
from audits.storage.queries.accounts import only_farm
from tests.serving import PROJECT

TESTS = {
    "test_mark.py": """\
import pytest
@pytest.mark.skip(reason="too wet")
def test_it(): pass
""",
    "test_call.py": """\
import pytest
def test_it(): pytest.skip("too wet")
""",
    "test_fixture.py": """\
import pytest
@pytest.fixture
def field(): pytest.skip("too wet")
def test_it(field): pass
""",
    "test_module.py": """\
import pytest
pytest.skip("too wet", allow_module_level=True)
""",
    "test_expected.py": """\
import pytest
@pytest.mark.xfail(strict=True)
def test_it(): assert False
""",
}


def run_pytest(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Run pytest on the tests above, with this project's options."""
    for name, text in TESTS.items():
        (folder / name).write_text(text)
    cache = f"cache_dir={folder / 'cache'}"
    command = [sys.executable, "-m", "pytest", "-p", "tests.conftest", "-c", "pyproject.toml"]
    return subprocess.run(
        [*command, "--override-ini", cache, "--continue-on-collection-errors", *options, folder],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
    )


def test_skips_are_allowed_unless_forbidden(tmp_path):
    answer = run_pytest(tmp_path)
    assert "= 4 skipped, 1 xfailed in" in answer.stdout
    assert answer.returncode == 0


def test_every_way_to_skip_fails_where_skips_are_forbidden(tmp_path):
    """Skips before the test itself count as errors; an expected failure is no skip."""
    answer = run_pytest(tmp_path, "--no-skips")
    assert "= 1 failed, 1 xfailed, 3 errors in" in answer.stdout
    assert answer.stdout.count("\nNothing may be skipped in this run, but: Skipped: too wet") == 4
    assert answer.returncode != 0


@pytest.mark.parametrize("turn", ["first", "second"])
def test_every_test_gets_an_empty_database_of_its_own(database_url, turn):
    engine = sa.create_engine(database_url)
    assert sa.inspect(engine).get_table_names() == []
    with engine.begin() as connection:
        connection.exec_driver_sql(f"create table {turn} (number integer)")
    engine.dispose()


@pytest.mark.parametrize("turn", ["first", "second"])
def test_every_test_gets_tables_without_rows_and_numbers_from_one(migrated_database, turn):
    farm_id = create_farm(
        migrated_database,
        name=f"The {turn} farm",
        units=Units.METRIC,
        region="US",
        language="en",
        time_zone="UTC",
        season_start_month=11,
    )
    assert farm_id == 1
    with migrated_database.read() as connection:
        assert only_farm(connection).name == f"The {turn} farm"


def test_the_command_that_runs_everything_says_how_it_is_used():
    answer = run_everything("--help")
    assert answer.returncode == 0
    for option in ("--fast", "--lint", "--no-skips"):
        assert option in answer.stdout


def test_the_command_that_runs_everything_refuses_options_that_contradict():
    answer = run_everything("--fast", "--no-skips")
    assert answer.returncode == 1
    assert "choose one" in answer.stderr


def run_everything(*options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [PROJECT / "tests" / "run", *options], capture_output=True, text=True, check=False
    )
