"""Records asked for by id: there on this farm, or refused with a sentence."""

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import Block, Crew, Farm, Row, Worker
from audits.storage.queries import farms as queries


def the_farm(connection: sa.Connection, farm_id: int) -> Farm:
    """
    Return the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.

    Returns
    -------
    Farm
        The farm.

    Raises
    ------
    NotFound
        If there is none.
    """
    farm = queries.farm_by_id(connection, farm_id)
    if farm is None:
        raise NotFound(say("There is no such farm."))
    return farm


def the_block(connection: sa.Connection, farm_id: int, block_id: int) -> Block:
    """
    Return a block of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    block_id : int
        The block.

    Returns
    -------
    Block
        The block.

    Raises
    ------
    NotFound
        If the farm has no such block.
    """
    block = queries.block_by_id(connection, farm_id, block_id)
    if block is None:
        raise NotFound(say("There is no such block."))
    return block


def the_row(connection: sa.Connection, farm_id: int, row_id: int) -> Row:
    """
    Return a row of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    row_id : int
        The row.

    Returns
    -------
    Row
        The row.

    Raises
    ------
    NotFound
        If the farm has no such row.
    """
    row = queries.row_by_id(connection, farm_id, row_id)
    if row is None:
        raise NotFound(say("There is no such row."))
    return row


def the_crew(connection: sa.Connection, farm_id: int, crew_id: int) -> Crew:
    """
    Return a crew of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    crew_id : int
        The crew.

    Returns
    -------
    Crew
        The crew.

    Raises
    ------
    NotFound
        If the farm has no such crew.
    """
    crew = queries.crew_by_id(connection, farm_id, crew_id)
    if crew is None:
        raise NotFound(say("There is no such crew."))
    return crew


def the_worker(connection: sa.Connection, farm_id: int, worker_id: int) -> Worker:
    """
    Return a worker of the farm.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    worker_id : int
        The worker.

    Returns
    -------
    Worker
        The worker.

    Raises
    ------
    NotFound
        If the farm has no such worker.
    """
    worker = queries.worker_by_id(connection, farm_id, worker_id)
    if worker is None:
        raise NotFound(say("There is no such worker."))
    return worker
