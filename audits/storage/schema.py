"""Brings a database to the schema that this version of the program needs."""

from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from audits.errors import Conflict
from audits.messages import say
from audits.storage.database import Database
from audits.storage.tables import metadata

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def upgrade(database: Database) -> None:
    """
    Create the tables or bring them up to date, in one transaction.

    Parameters
    ----------
    database : Database
        The database; rows in it are kept.

    Raises
    ------
    Conflict
        If the database was made by a later version of the program.
    """
    with database.write() as connection:
        config = _config(connection)
        script = ScriptDirectory.from_config(config)
        known = {revision.revision for revision in script.walk_revisions()}
        found = MigrationContext.configure(connection).get_current_revision()
        if found is not None and found not in known:
            raise Conflict(
                say(
                    "This database was made by a later version of the program (schema %(schema)s)."
                    " Install that version or newer.",
                    schema=found,
                )
            )
        if found != script.get_current_head():
            command.upgrade(config, "head")
    if database.is_sqlite:
        _refresh_statistics(database)


def draft_migration(database: Database, sentence: str) -> None:
    """
    Write a migration from the difference between the tables and an up-to-date database.

    Parameters
    ----------
    database : Database
        A scratch database at the last migration.
    sentence : str
        What the migration does.
    """
    with database.write() as connection:
        command.revision(_config(connection), sentence, autogenerate=True)


def _refresh_statistics(database: Database) -> None:
    """Tell SQLite how its indexes divide the rows, since it gathers nothing by itself."""
    with database.write() as connection:
        connection.exec_driver_sql("pragma analysis_limit = 400")
        connection.exec_driver_sql("analyze")


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    config.attributes["metadata"] = metadata
    return config
