"""
No update is lost, however many write at once; and the naive ways do lose or fail.

Each writer reads a number and writes it one higher, many times. Through `Database.write` the
number ends at the count of all writes. The same steps with a deferred BEGIN on SQLite, or in
plain transactions on PostgreSQL, are the planted defect: they must lose updates or be refused,
or the test would prove nothing.
"""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.services.auditing import Device, TreeEntry, record_trees
from audits.services.rescoring import check_scores
from audits.storage.queries import audits as queries
from tests.orchard import plant_orchard
from tests.row_audit import AUDITED, begin, prune, right

WRITERS = 16
WRITES = 15


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def tally(database):
    """A table of this test alone, with one number at 0."""
    table = sa.Table("tally", sa.MetaData(), sa.Column("number", sa.Integer, nullable=False))
    with database.write() as connection:
        table.create(connection)
        connection.execute(table.insert(), {"number": 0})
    yield table
    with database.write() as connection:
        table.drop(connection)


def add_one(connection, tally) -> None:
    """Read, then write."""
    number = connection.scalar(sa.select(tally.c.number))
    connection.execute(tally.update().values(number=number + 1))


def number_of(database, tally) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(tally.c.number))


def in_all_threads(step) -> Counter:
    """Run a step many times in many threads that begin together; count what went wrong."""
    together = Barrier(WRITERS)

    def work(_number: int) -> Counter:
        failures: Counter = Counter()
        together.wait()
        for _ in range(WRITES):
            try:
                step()
            except sa.exc.OperationalError as error:
                failures[type(error).__name__] += 1
        return failures

    with ThreadPoolExecutor(WRITERS) as pool:
        return sum(pool.map(work, range(WRITERS)), Counter())


def test_through_the_one_door_nothing_is_lost(database, tally):
    def step():
        with database.write() as connection:
            add_one(connection, tally)

    failures = in_all_threads(step)
    assert not failures
    assert number_of(database, tally) == WRITERS * WRITES


def naive_ways(database) -> dict[str, sa.Engine]:
    """Engines as one gets them: with the driver's own transactions, and with BEGIN up front."""
    ways = {"driver": sa.create_engine(database.url)}
    if database.is_sqlite:
        deferred = ways["deferred"] = sa.create_engine(database.url)

        @sa.event.listens_for(deferred, "connect")
        def _leave_to_begin(connection, _record):
            connection.isolation_level = None

        @sa.event.listens_for(deferred, "begin")
        def _begin(connection):
            connection.exec_driver_sql("begin")

    return ways


def test_the_naive_ways_lose_or_fail(database, tally):
    """The planted defect: what every writer would do without the door."""
    for way, engine in naive_ways(database).items():
        before = number_of(database, tally)

        def step(engine=engine):
            with engine.begin() as connection:
                add_one(connection, tally)

        failures = in_all_threads(step)
        engine.dispose()
        kept = number_of(database, tally) - before
        lost = WRITERS * WRITES - failures.total() - kept
        assert lost > 0 or failures, way


def test_a_read_sees_one_state_while_others_write(database, tally):
    differing = []

    def step():
        with database.read() as connection:
            question = sa.select(tally.c.number)
            # Two questions in one reading transaction of SQLite have one answer.
            if connection.scalar(question) != connection.scalar(question):
                differing.append(True)
        with database.write() as connection:
            add_one(connection, tally)

    assert not in_all_threads(step)
    assert number_of(database, tally) == WRITERS * WRITES
    assert not (differing and database.is_sqlite)


def test_phones_that_score_at_once_lose_no_tree(database):
    """The same through a service: eight phones enter every tree of their own audit."""
    orchard = plant_orchard(database, AUDITED)
    lot_id = prune(database, orchard).lot_ids[0]
    phones = [Device(f"phone-{number}") for number in range(8)]
    audits = {phone.name: begin(database, orchard, lot_id, device=phone) for phone in phones}
    with database.read() as connection:
        found = queries.audit_by_id(connection, orchard.farm_id, audits["phone-0"])
        walk = [
            tree
            for tree in queries.draw_trees(connection, orchard.farm_id, found.draw_id)
            if tree.walk_order is not None
        ]

    def score_all(phone):
        for tree in walk[:12]:
            entry = TreeEntry(tree.id, str(uuid4()), right(), phone)
            record_trees(database, orchard.supervisor, audits[phone.name], [entry], AUDITED)

    with ThreadPoolExecutor(len(phones)) as pool:
        list(pool.map(score_all, phones))
    with database.read() as connection:
        kept = [
            len(queries.current_scores(connection, orchard.farm_id, audit_id))
            for audit_id in audits.values()
        ]
    assert kept == [12] * len(phones)
    assert check_scores(database, orchard.farm_id).differences == []


def test_the_same_entry_sent_from_many_threads_is_kept_once(database):
    orchard = plant_orchard(database, AUDITED)
    audit_id = begin(database, orchard, prune(database, orchard).lot_ids[0])
    with database.read() as connection:
        found = queries.audit_by_id(connection, orchard.farm_id, audit_id)
        tree = queries.draw_trees(connection, orchard.farm_id, found.draw_id)[0]
    entry = TreeEntry(tree.id, str(uuid4()), right(), Device("phone-1", counter=1))
    together = Barrier(8)

    def send(_number):
        together.wait()
        return record_trees(database, orchard.supervisor, audit_id, [entry], AUDITED)

    with ThreadPoolExecutor(8) as pool:
        views = list(pool.map(send, range(8)))
    assert all(len(view.answers) == 1 for view in views)
    with database.read() as connection:
        assert len(queries.every_score(connection, orchard.farm_id, audit_id)) == 1


def test_beginning_from_many_threads_draws_once(database):
    orchard = plant_orchard(database, AUDITED)
    lot_id = prune(database, orchard).lot_ids[0]
    together = Barrier(8)

    def press(_number):
        together.wait()
        return begin(database, orchard, lot_id)

    with ThreadPoolExecutor(8) as pool:
        audits = set(pool.map(press, range(8)))
    assert len(audits) == 1
    with database.read() as connection:
        assert len(queries.draws_of_lot(connection, orchard.farm_id, lot_id)) == 1
