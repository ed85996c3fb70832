"""Counts the statements that reach a database, so that no page asks once for every row."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import event

from audits.storage.database import Database


@contextmanager
def statements_of(database: Database) -> Iterator[list[str]]:
    """Collect the statements run in the block; transactions' own begin and commit stay out."""
    seen: list[str] = []

    def note(_connection, _cursor, statement, *_rest) -> None:
        if not statement.startswith("begin"):
            seen.append(statement)

    event.listen(database.engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(database.engine, "before_cursor_execute", note)
