"""One door to SQLite and PostgreSQL: read and write transactions that lose nothing."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from audits.errors import Busy
from audits.messages import say
from audits.storage.letters import lower_as_python

_BUSY_TIMEOUT_MS: Final = 10_000
_SYNCHRONOUS_FULL: Final = 2
_SYNCHRONOUS_OFF: Final = 0
_WRITES: Final = "pruning_audit_writes"
# Any number serves, as long as every copy of this program takes the same one.
_POSTGRES_WRITER_LOCK: Final = 0x7072756E
_POSTGRES_LOCK_NOT_AVAILABLE: Final = "55P03"


class Database:
    """
    A farm's database.

    Parameters
    ----------
    url : str
        SQLAlchemy URL of an SQLite file or a PostgreSQL database.
    durable : bool, optional
        Whether a commit waits until SQLite's file is safe on disk. Only data that can be made
        again, such as a simulated season, may do without.

    Notes
    -----
    Writers go one at a time. SQLite: ``BEGIN IMMEDIATE``, since a deferred transaction that reads
    and then writes fails at once or loses updates. PostgreSQL: an advisory lock held to the end
    of the transaction, which gives the same order.
    """

    def __init__(self, url: str, *, durable: bool = True) -> None:
        self.url = sa.make_url(url)
        # An error would carry the values of its statement into the log: answers, names, hashes.
        self.engine = sa.create_engine(self.url, hide_parameters=True)
        if self.is_sqlite:
            synchronous = _SYNCHRONOUS_FULL if durable else _SYNCHRONOUS_OFF
            event.listen(self.engine, "connect", partial(_prepare_sqlite, synchronous))
            event.listen(self.engine, "begin", _begin_sqlite)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the embedded database."""
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """
        Open a transaction that only reads.

        Yields
        ------
        sqlalchemy.Connection
            The connection; it sees one state of the database.

        Raises
        ------
        Busy
            If the database could not be had in time.
        """
        options = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        with (
            _told_when_busy(),
            self.engine.connect().execution_options(**options) as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """
        Open a transaction that may write; it commits at the end or leaves no trace.

        Yields
        ------
        sqlalchemy.Connection
            The connection, the only writer until it is done.

        Raises
        ------
        Busy
            If the database could not be had in time.
        """
        with (
            _told_when_busy(),
            self.engine.connect().execution_options(**{_WRITES: True}) as connection,
            connection.begin(),
        ):
            if not self.is_sqlite:
                connection.exec_driver_sql(f"set local lock_timeout = {_BUSY_TIMEOUT_MS}")
                connection.execute(
                    sa.text("select pg_advisory_xact_lock(:lock)"),
                    {"lock": _POSTGRES_WRITER_LOCK},
                )
            yield connection

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


@contextmanager
def _told_when_busy() -> Iterator[None]:
    """
    Say so when the database was locked for too long: by a writer, or at a commit by readers.

    Raises
    ------
    Busy
        If it was; then nothing was written.
    OperationalError
        If anything else went wrong.
    """
    try:
        yield
    except OperationalError as error:
        sqlite_name = getattr(error.orig, "sqlite_errorname", "")
        if sqlite_name.startswith("SQLITE_BUSY") or _is_lock_timeout(error):
            raise Busy(say("The database is busy. Try again in a moment.")) from error
        raise


def _is_lock_timeout(error: OperationalError) -> bool:
    return getattr(error.orig, "sqlstate", None) == _POSTGRES_LOCK_NOT_AVAILABLE


def journal_mode(sqlite_version: tuple[int, int, int]) -> str:
    """
    Choose SQLite's journal by its version.

    Parameters
    ----------
    sqlite_version : tuple of int
        Major, minor and patch number.

    Returns
    -------
    str
        ``"wal"`` where the WAL-reset race is mended (3.51.3, and 3.50.7 and 3.44.6 in their
        lines), else ``"delete"``, the rollback journal, which does not have it.

    Examples
    --------
    >>> journal_mode((3, 40, 1)), journal_mode((3, 50, 7)), journal_mode((3, 52, 0))
    ('delete', 'wal', 'wal')
    """
    mended = (
        sqlite_version >= (3, 51, 3)
        or (3, 50, 7) <= sqlite_version < (3, 51, 0)
        or (3, 44, 6) <= sqlite_version < (3, 45, 0)
    )
    return "wal" if mended else "delete"


def _prepare_sqlite(synchronous: int, connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's own type
    # The driver's own BEGIN comes too late and is deferred: transactions are begun below.
    connection.isolation_level = None
    lower_as_python(connection)
    cursor = connection.cursor()
    version = tuple(
        int(part) for part in cursor.execute("select sqlite_version()").fetchone()[0].split(".")
    )
    cursor.execute(f"pragma busy_timeout = {_BUSY_TIMEOUT_MS}")
    wanted: dict[str, object] = {
        "journal_mode": journal_mode(version[:3]),  # type: ignore[arg-type]
        "synchronous": synchronous,
        "foreign_keys": 1,
    }
    for name, value in wanted.items():
        cursor.execute(f"pragma {name} = {value}")
        found = cursor.execute(f"pragma {name}").fetchone()[0]
        if found not in (value, "memory"):
            raise RuntimeError(f"SQLite keeps {name} at {found!r} instead of {value!r}")
    cursor.close()


def _begin_sqlite(connection: sa.Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("begin immediate" if writes else "begin")
