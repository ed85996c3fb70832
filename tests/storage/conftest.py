"""What the tests of the storage may ask for besides tests/conftest.py."""

import pytest

from audits.storage.database import Database


@pytest.fixture
def quick_database(migrated_database):
    """
    A database with every table that does not wait for the disk, on SQLite and on PostgreSQL.

    An audit is many small transactions, and whether a commit is safe on disk is not what its
    tests are about.
    """
    database = Database(migrated_database.url, durable=False)
    yield database
    database.close()
