"""
What every test may ask for: databases, volumes of simulation, and a run that forbids skips.

Fixtures of one area (the application and its clients, the farm in it, the browser) stand in that
area's folder: tests/web/conftest.py, tests/browser/conftest.py. Data that several areas build
stand in modules beside this file and are imported by name.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher
from hypothesis import configuration, settings
from xdist.scheduler import LoadScopeScheduling
from xdist.workermanage import WorkerController

from audits.services import hashing
from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.storage.tables import metadata
from webapp.translations import compile_catalogs

PROJECT = Path(__file__).parent.parent
POSTGRES_VARIABLE = "PRUNING_AUDIT_TEST_POSTGRES"

# A run of the whole suite must say the same thing twice, so it draws the same examples each time;
# at the desk, fresh examples find more. Neither fails because a shared machine is slow.
configuration.set_hypothesis_home_dir(PROJECT / ".cache" / "hypothesis")
settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("desk", deadline=None)
settings.register_profile("long", deadline=None, max_examples=2_000)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("pruning-audit")
    group.addoption(
        "--no-skips", action="store_true", help="a test that would be skipped fails instead"
    )
    group.addoption(
        "--long", action="store_true", help="full volumes instead of short ones, and nightly tests"
    )
    group.addoption(
        "--pictures", action="store_true", help="keep pictures of the pages in .cache/screenshots"
    )


def pytest_sessionstart() -> None:
    # The program reads compiled catalogues; tests must never see yesterday's.
    compile_catalogs()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--long"):
        nightly = [item for item in items if item.get_closest_marker("nightly")]
        items[:] = [item for item in items if item not in nightly]
        config.hook.pytest_deselected(items=nightly)
    # In one process the browser tests come last: quick tests speak first. Where several share the
    # tests they come first, since they take longest.
    last = "PYTEST_XDIST_WORKER" not in os.environ
    items.sort(key=lambda item: _needs_browser(item.nodeid) is last)


# They watch the time, or keep to a moment: they run one after another in the first process, and the
# others, which are never in a hurry, yield to it.
_HURRIED = frozenset(
    f"tests/browser/test_{name}.py"
    for name in (
        "enrolment",
        "field_moments",
        "field_screens",
        "queue_shell",
        "queue_store",
        "queue_sync",
    )
)
_HURRIED_SCOPE = "hurried"
# They look at the same walk over all pages, which takes minutes.
_CRAWLING = frozenset({"tests/browser/test_every_page.py", "tests/browser/test_geometry.py"})
_FIRST_PROCESS = "gw0"
_YIELDS_BY = 5


def pytest_configure() -> None:
    if os.environ.get("PYTEST_XDIST_WORKER", _FIRST_PROCESS) != _FIRST_PROCESS:
        os.nice(_YIELDS_BY)


class _Together(LoadScopeScheduling):
    """Shares the tests between processes: files stay together, and so do those in a hurry."""

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.partition("::")[0]
        if file in _HURRIED:
            return _HURRIED_SCOPE
        return "crawling" if file in _CRAWLING else file

    def _assign_work_unit(self, node: WorkerController) -> None:
        if _HURRIED_SCOPE in self.workqueue:
            is_first = node.gateway.id == _FIRST_PROCESS
            self.workqueue.move_to_end(_HURRIED_SCOPE, last=not is_first)
        super()._assign_work_unit(node)


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> _Together:
    return _Together(config, log)


def _needs_browser(nodeid: str) -> bool:
    return nodeid.startswith("tests/browser/")


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    report = yield
    _forbid_skip(item.config, report)
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[None]:
    report = yield
    _forbid_skip(collector.config, report)
    return report


def _forbid_skip(config: pytest.Config, report: pytest.TestReport | pytest.CollectReport) -> None:
    expected_to_fail = hasattr(report, "wasxfail")
    if config.getoption("--no-skips") and report.skipped and not expected_to_fail:
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"Nothing may be skipped in this run, but: {reason}"


@pytest.fixture(scope="session", autouse=True)
def _quick_hashes() -> Iterator[None]:
    """Hash passwords quickly: tests set up a thousand farms, and none of them is worth guarding."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hashing, "_HASHER", quick)
        yield


@pytest.fixture(scope="session")
def volume(request: pytest.FixtureRequest) -> Callable[..., int]:
    """Return the size of a simulation: ``volume(short=300, long=2_000)``, long with --long."""

    def size(*, short: int, long: int) -> int:
        return long if request.config.getoption("--long") else short

    return size


CLOSE_CONNECTIONS = sa.text(
    "select pg_terminate_backend(pid) from pg_stat_activity where datname = :name"
)
RESTART_NUMBERS = sa.text(
    "select setval(format('%I', sequencename)::regclass, start_value, false)"
    " from pg_sequences where schemaname = 'public' and last_value is not null"
)
BOTH_DATABASES = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


@pytest.fixture(params=BOTH_DATABASES)
def database_url(request: pytest.FixtureRequest) -> str:
    """URL of an empty database: a test that asks for it runs on SQLite and on PostgreSQL."""
    return request.getfixturevalue(f"{request.param}_url")


@pytest.fixture(params=BOTH_DATABASES)
def migrated_database(request: pytest.FixtureRequest) -> Iterator[Database]:
    """A database with every table and no rows, on SQLite and on PostgreSQL."""
    database = Database(request.getfixturevalue(f"migrated_{request.param}_url"))
    yield database
    database.close()


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """URL of an SQLite file that does not exist yet."""
    return f"sqlite:///{tmp_path / 'farm.db'}"


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with every table: copying it is quicker than migrating for each test."""
    path = tmp_path_factory.mktemp("template") / "farm.db"
    migrate(f"sqlite:///{path}")
    return path


@pytest.fixture
def migrated_sqlite_url(sqlite_template: Path, tmp_path: Path) -> str:
    """URL of an SQLite file with every table and no rows."""
    path = shutil.copy(sqlite_template, tmp_path / "farm.db")
    return f"sqlite:///{path}"


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[sa.Engine]:
    """Connection to the PostgreSQL server on which tests may make and drop databases."""
    url = os.environ.get(POSTGRES_VARIABLE)
    if not url:
        pytest.skip(f"no PostgreSQL server: tests/run starts one, or set {POSTGRES_VARIABLE}")
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    yield engine
    engine.dispose()


@pytest.fixture
def postgres_url(postgres_server: sa.Engine) -> Iterator[str]:
    """URL of an empty PostgreSQL database, dropped afterwards."""
    with postgres_database(postgres_server) as url:
        yield url.render_as_string(hide_password=False)


@pytest.fixture(scope="session")
def postgres_tables(postgres_server: sa.Engine) -> Iterator[str]:
    """URL of a PostgreSQL database with every table, shared by the tests one after another."""
    with postgres_database(postgres_server) as url:
        shown = url.render_as_string(hide_password=False)
        migrate(shown)
        yield shown


@pytest.fixture
def migrated_postgres_url(postgres_server: sa.Engine, postgres_tables: str) -> Iterator[str]:
    """URL of a PostgreSQL database with every table and no rows, emptied afterwards."""
    yield postgres_tables
    # Emptying is far quicker than making another: a database is hundreds of files.
    name = sa.make_url(postgres_tables).database
    with postgres_server.connect() as connection:
        connection.execute(CLOSE_CONNECTIONS, {"name": name})
    engine = sa.create_engine(postgres_tables, poolclass=sa.NullPool)
    with engine.begin() as connection:
        for table in reversed(metadata.sorted_tables):
            connection.execute(table.delete())
        connection.execute(RESTART_NUMBERS)


@contextmanager
def postgres_database(server: sa.Engine) -> Iterator[sa.URL]:
    name = f"pruning_audit_test_{uuid4().hex}"
    with server.connect() as connection:
        connection.exec_driver_sql(f"create database {name}")
    yield server.url.set(database=name)
    with server.connect() as connection:
        connection.exec_driver_sql(f"drop database {name} with (force)")


def migrate(url: str) -> None:
    database = Database(url)
    upgrade(database)
    database.close()
