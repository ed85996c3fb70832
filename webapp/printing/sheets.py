"""The standard by which something is printed; for the pages and the command line."""

from datetime import date

from audits.errors import InvalidInput
from audits.messages import say
from audits.records import Block, Farm, StandardVersion
from audits.storage.database import Database
from audits.storage.queries import standards as standard_queries


def block_in_force(database: Database, farm: Farm, block: Block, day: date) -> StandardVersion:
    """Return the standard in force in a block, or say that one must be written first."""
    with database.read() as connection:
        version = standard_queries.standard_in_force(connection, farm.id, block.id, day)
    if version is None:
        raise InvalidInput(
            {
                "block_id": say(
                    "Block %(block)s has no standard in force on %(day)s. Write one first.",
                    block=block.name,
                    day=day,
                )
            }
        )
    return version
