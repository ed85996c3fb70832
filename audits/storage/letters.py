"""
Names compared without regard to case, alike on both databases.

What a database lowers by itself depends on where it was made: SQLite knows A to Z only, and
PostgreSQL follows the locale of the cluster, which under ``C`` leaves "Ñ" as it is. Two printers
"ÑANDÚ" and "ñandú" would be two, and nobody called "Álvaro" could sign in as "ÁLVARO". So SQLite is
given Python's lower case, and PostgreSQL is asked for Unicode's.
"""

from typing import Any

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import GenericFunction


def small_letters(text: sa.ColumnElement[str]) -> sa.ColumnElement[str]:
    """
    Put a text into small letters, of any alphabet and on either database.

    Parameters
    ----------
    text : ColumnElement
        A column of texts.

    Returns
    -------
    ColumnElement
        For comparing and sorting, in the order of code points. On PostgreSQL small by the collation
        ``und-x-icu``, which each server built with ICU has, whatever its locale.

    References
    ----------
    .. [1] PostgreSQL 15 documentation, 24.2.2.3.2, ICU collations.
    """
    return _SmallLetters(text)


def lower_as_python(connection: Any) -> None:  # noqa: ANN401 - the driver's own type
    """
    Give a connection to SQLite Python's lower case in place of its own.

    Parameters
    ----------
    connection : sqlite3.Connection
        A new connection of the driver.
    """
    connection.create_function("lower", 1, _lower, deterministic=True)


def _lower(text: object) -> object:
    return text.lower() if isinstance(text, str) else text


class _SmallLetters(GenericFunction[str]):
    type = sa.String()
    inherit_cache = True


@compiles(_SmallLetters)
def _as_lower(element: _SmallLetters, compiler: SQLCompiler, **options: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    return f"lower({compiler.process(element.clauses, **options)})"


@compiles(_SmallLetters, "postgresql")
def _as_lower_by_icu(element: _SmallLetters, compiler: SQLCompiler, **options: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    text = compiler.process(element.clauses, **options)
    # Small by Unicode, then sorted as SQLite sorts.
    return f'(lower(({text}) COLLATE "und-x-icu") COLLATE "C")'
