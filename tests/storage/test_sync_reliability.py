"""
Phones on bad links and with wrong clocks: nothing lost, nothing twice, nothing out of order.

The cases S3 to S7 are those of the project's catalogue of reliability tests; the figures there are
its own, without another source.
"""
# ruff: noqa: S311 - shuffles must be repeatable, not secret

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from itertools import combinations, permutations
from random import Random
from threading import Barrier
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.phone_items import open_parcel
from audits.services import applying, held, syncing
from audits.services.rescoring import check_scores
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import receipts as receipt_queries
from audits.vocabulary import Fault, HeldBecause, PlantingKind, Stage
from tests.orchard import plant_orchard
from tests.phone_queue import audit_of_lot, batches, enrol, prepare, state_of
from tests.row_audit import AUDITED, fault, prune, right
from tests.statements import statements_of

HIGH = {"top": fault(Fault.HIGH)}
# What a verdict on the lot rests on who was first; scores do not.
OF_THE_LOT = ["lot", "rework_order", "rework_item"]
ROWS = 3


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, AUDITED)


@pytest.fixture
def packages(database, orchard):
    lots = prune(database, orchard, rows=ROWS).lot_ids
    return [prepare(database, orchard, lot_id, seed=lot_id) for lot_id in lots]


@pytest.fixture
def phone(database, orchard):
    return enrol(database, orchard, "Pole")


@pytest.fixture
def start_again(database, packages, phone):
    """Forget everything that phones sent, as if nothing had come yet."""
    assert packages
    assert phone
    with database.read() as connection:
        lots = list(connection.execute(sa.select(tables.lot)).mappings())
        planted = connection.scalar(sa.select(sa.func.max(tables.planting.c.id)))

    def forget():
        with database.write() as connection:
            for table in (
                tables.receipt,
                tables.rework_item,
                tables.rework_order,
                tables.rollup,
                tables.decision,
                tables.stage_score,
                tables.tree_score,
                tables.replacement,
                tables.audit,
            ):
                connection.execute(table.delete())
            connection.execute(tables.planting.delete().where(tables.planting.c.id > planted))
            connection.execute(tables.draw_tree.update().values(found_kind=None))
            for lot in lots:
                connection.execute(
                    tables.lot.update().where(tables.lot.c.id == lot["id"]).values(**lot)
                )

    return forget


def number_of(database, table):
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def without_ids(receipts):
    return [(receipt.outcome, receipt.because) for receipt in receipts]


def usual_queue(phone, packages):
    """Make a day's queue: whole audits, one after another, with some items that are held."""
    for package in packages:
        audit = phone.new_id()
        audit_of_lot(phone, package, audit)
        phone.tree(package, audit, package.walk[0].id, right(**HIGH))  # sealed already
    phone.make(packages[0], phone.new_id(), "damaged", {"raw": "?"})


class TestReplays:
    """S3 and S5: each message one to five times, in any order after the first time."""

    def deliver(self, database, phone, sent, random):
        """Send batches with copies of earlier ones in between; return the first answers."""
        answers, earlier = {}, []
        for batch in sent:
            shuffled = random.sample(batch, len(batch))
            for receipt in phone.send(database, shuffled):
                answers[receipt.id] = receipt
            earlier += [batch] * random.randint(0, 4)
            while earlier and random.random() < 0.6:
                copy = earlier.pop(random.randrange(len(earlier)))
                self.replay(database, phone, random.sample(copy, len(copy)), answers)
        for copy in random.sample(earlier, len(earlier)):
            self.replay(database, phone, copy, answers)
        return answers

    def replay(self, database, phone, copy, answers):
        for again in phone.send(database, copy):
            first = answers[again.id]
            wanted = "duplicate" if first.outcome == "stored" else first.outcome
            assert (again.outcome, again.because) == (wanted, first.because)

    def test_any_copies_in_any_order_come_to_the_same(
        self, database, orchard, phone, packages, start_again, volume
    ):
        usual_queue(phone, packages)
        sent = batches(phone.items, 7)
        plain = {receipt.id: receipt for batch in sent for receipt in phone.send(database, batch)}
        wanted = state_of(database)
        assert {receipt.outcome for receipt in plain.values()} == {"stored", "rejected"}
        for trial in range(volume(short=3, long=30)):
            start_again()
            assert self.deliver(database, phone, sent, Random(trial)) == plain
            assert state_of(database) == wanted
        assert number_of(database, tables.receipt) == len(phone.items)
        assert check_scores(database, orchard.farm_id).differences == []

    def test_without_client_ids_copies_change_what_is_there(
        self, database, phone, packages, start_again, monkeypatch
    ):
        """The planted defect: every arrival is taken for something new."""
        usual_queue(phone, packages)
        sent = batches(phone.items, 7)
        for batch in sent:
            phone.send(database, batch)
        wanted = state_of(database)
        start_again()
        monkeypatch.setattr(
            syncing, "open_parcel", lambda item: open_parcel(item | {"id": str(uuid4())})
        )
        monkeypatch.setattr(receipt_queries, "counters_used", lambda *_: {})
        for batch in sent:
            phone.send(database, batch)
            phone.send(database, batch)
        assert number_of(database, tables.receipt) > len(phone.items)
        assert state_of(database) != wanted

    def test_a_late_copy_of_an_undone_tree_does_not_bring_it_back(
        self, database, phone, packages, monkeypatch
    ):
        package, audit = packages[0], phone.new_id()
        tree = phone.tree(package, audit, package.walk[0].id)
        phone.send(database, [tree])
        phone.send(database, [phone.take_back(package, audit, package.walk[0].id)])
        assert without_ids(phone.send(database, [tree])) == [("duplicate", None)]
        assert number_of(database, tables.tree_score) == 0
        # The planted defect: no memory of what came.
        monkeypatch.setattr(receipt_queries, "receipts_by_client_id", lambda *_: [])
        monkeypatch.setattr(receipt_queries, "effects_after", lambda *_a, **_k: [])
        monkeypatch.setattr(syncing, "_write_receipts", lambda *_: None)
        phone.send(database, [tree])
        assert number_of(database, tables.tree_score) == 1

    def test_an_older_word_that_comes_late_for_the_first_time_is_kept_and_changes_nothing(
        self, database, phone, packages, monkeypatch
    ):
        package, audit, place = packages[0], phone.new_id(), packages[0].walk[0].id
        first = phone.tree(package, audit, place, right(**HIGH))
        undone = phone.take_back(package, audit, place)
        phone.send(database, [undone])
        assert without_ids(phone.send(database, [first])) == [("stored", None)]
        assert number_of(database, tables.tree_score) == 0
        # The planted defect: whatever comes last counts.
        again = phone.tree(package, audit, package.walk[1].id)
        phone.send(database, [phone.take_back(package, audit, package.walk[1].id)])
        monkeypatch.setattr(receipt_queries, "effects_after", lambda *_a, **_k: [])
        phone.send(database, [again])
        assert number_of(database, tables.tree_score) == 1


class TestLostReplies:
    """S5 and F1: the server dies at any commit, the phone drops what it has a receipt for."""

    def empty_queue(self, database, phone, dies):
        """Send until the queue is empty, with a server that dies at some commits."""
        waiting = list(phone.items)
        while waiting:
            with suppressed(), dies():
                answered = {receipt.id for receipt in phone.send(database, waiting[:10])}
                waiting = [item for item in waiting if item["id"] not in answered]

    def test_what_has_a_receipt_is_there(self, database, orchard, phone, packages, volume):
        random = Random(5)
        for package in packages[: volume(short=1, long=ROWS)]:
            audit_of_lot(phone, package, phone.new_id())

        @contextmanager
        def before_or_after_the_commit():
            """Die before the commit, after it but before the reply, or not at all."""
            chance = random.random()
            if chance < 0.3:
                with dying(database.engine):
                    yield
            elif chance < 0.6:
                yield from lost_reply(phone, database)
            else:
                yield

        self.empty_queue(database, phone, before_or_after_the_commit)
        assert number_of(database, tables.receipt) == len(phone.items)
        assert check_scores(database, orchard.farm_id).differences == []

    def test_a_reply_before_the_commit_loses_trees(self, database, phone, packages, monkeypatch):
        """The planted defect: the reply goes out although nothing was committed."""
        audit_of_lot(phone, packages[0], phone.new_id())
        whole = Database.write
        turn = iter(range(1_000))

        @contextmanager
        def replies_first(self):
            with suppressed(), whole(self) as connection:
                yield connection
                if next(turn) % 2:
                    raise KilledError

        monkeypatch.setattr(Database, "write", replies_first)
        self.empty_queue(database, phone, suppressed)
        assert number_of(database, tables.receipt) < len(phone.items)


class KilledError(Exception):
    """The server's process is gone."""


def suppressed():
    return suppress(KilledError)


@contextmanager
def dying(engine):
    """Let the process end when it comes to its next commit."""

    def die(_connection):
        raise KilledError

    sa.event.listen(engine, "commit", die)
    try:
        yield
    finally:
        sa.event.remove(engine, "commit", die)


def lost_reply(phone, database):
    """Let the reply to the next batch be lost: it was committed all the same."""
    whole = phone.send

    def send(*given):
        whole(*given)
        raise KilledError

    phone.send = send
    try:
        yield database
    finally:
        del phone.send


class TestTampering:
    """S4: a changed body, an old counter, somebody else's phone."""

    def test_nothing_of_it_is_taken_and_all_of_it_is_listed(
        self, database, orchard, phone, packages, volume
    ):
        random = Random(4)
        usual_queue(phone, packages)
        for batch in batches(phone.items, 50):
            phone.send(database, batch)
        before = state_of(database, without=["receipt"])
        theirs = enrol(database, orchard, "Other", actor=orchard.owner)
        waiting = len(held.list_held(database, orchard.supervisor))
        trees = [item for item in phone.items if item["kind"] == "tree"]
        forged = []
        for number in range(volume(short=90, long=1_000)):
            item = random.choice(trees)
            other = {"at": f"2026-01-20T17:00:{number % 60:02}.{number:06}Z"}
            forged.append(
                (
                    (phone, item | other, HeldBecause.ID_USED),
                    (phone, item | other | {"id": phone.new_id()}, HeldBecause.ID_USED),
                    (
                        theirs,
                        item | other | {"id": theirs.new_id(), "counter": 1 + number},
                        HeldBecause.NOT_OWN,
                    ),
                )[number % 3]
            )
        for sender in (phone, theirs):
            own = [entry for entry in forged if entry[0] is sender]
            for part in range(0, len(own), 50):
                sent = own[part : part + 50]
                answers = sender.send(database, [item for _, item, _ in sent])
                assert without_ids(answers) == [("rejected", because) for _, _, because in sent]
        assert state_of(database, without=["receipt"]) == before
        listed = held.list_held(database, orchard.supervisor)
        assert len(listed) == waiting + len(forged)


class TestTwoPhones:
    """S6: two phones on one row, without signal, in every order of their batches."""

    def queues(self, database, orchard, package):
        phones = [
            enrol(database, orchard, "One"),
            enrol(database, orchard, "Other", actor=orchard.owner),
        ]
        first, other = package.walk[:2]
        for phone, gone, kind in zip(
            phones, (first, other), (PlantingKind.DEAD, PlantingKind.MISSING), strict=True
        ):
            audit = phone.new_id()
            held_tree = package.reserve[0]
            walked = [tree for tree in package.walk if tree != gone]
            phone.not_a_tree(package, audit, gone.id, held_tree.id, kind)
            for number, tree in enumerate([held_tree, *walked]):
                wrong = phone is phones[1] and number == 5
                phone.tree(package, audit, tree.id, right(**HIGH) if wrong else right())
            phone.seal(package, audit)
        return phones

    def test_both_are_kept_and_scores_are_the_same_in_any_order(
        self, database, orchard, packages, start_again, volume
    ):
        phones = self.queues(database, orchard, packages[0])
        parts = [batches(phone.items, 12) for phone in phones]
        turns = sum(map(len, parts))
        states = []
        orders = list(combinations(range(turns), len(parts[0])))
        for mine in orders[:: 1 if volume(short=0, long=1) else 3]:
            start_again()
            left = [list(part) for part in parts]
            for turn in range(turns):
                which = 0 if turn in mine else 1
                answers = phones[which].send(database, left[which].pop(0))
                assert {answer.outcome for answer in answers} == {"stored"}
            states.append(state_of(database, without=OF_THE_LOT))
            assert check_scores(database, orchard.farm_id).differences == []
        assert all(state == states[0] for state in states)
        assert len(states[0]["audit"]) == 2
        assert len(states[0]["tree_score"]) == 2 * len(packages[0].walk)

    def test_giving_the_draw_up_loses_no_tree_of_the_other_phone(
        self, database, orchard, packages, start_again
    ):
        package = packages[0]
        one = enrol(database, orchard, "One")
        other = enrol(database, orchard, "Other", actor=orchard.owner)
        audits = [one.new_id(), other.new_id()]
        gone = package.walk[2]
        for tree in package.walk[:2]:
            one.tree(package, audits[0], tree.id)
        for instead in (*package.reserve, None):
            one.not_a_tree(package, audits[0], gone.id, None if instead is None else instead.id)
            gone = instead
        # To the other person it is a tree.
        for tree in package.walk[:8]:
            other.tree(package, audits[1], tree.id, right(**HIGH))
        other.not_a_tree(package, audits[1], package.walk[8].id, package.reserve[0].id)
        other.tree(package, audits[1], package.reserve[0].id)
        states = []
        for order in ((one, other), (other, one)):
            start_again()
            for phone in order:
                assert {answer.outcome for answer in phone.send(database)} == {"stored"}
            states.append(state_of(database))
            assert check_scores(database, orchard.farm_id).differences == []
        assert states[0] == states[1]
        assert len(states[0]["tree_score"]) == 2 + 9

    def test_answers_come_to_the_same_however_one_phones_batches_arrive(
        self, database, phone, packages, start_again
    ):
        package, audit = packages[0], phone.new_id()
        trees = [tree.id for tree in package.walk[:4]]
        for answers in (right(**HIGH), right()):
            for tree in trees:
                phone.tree(package, audit, tree, answers)
        phone.take_back(package, audit, trees[0])
        phone.tree(package, audit, trees[0], right(**HIGH))
        phone.take_back(package, audit, trees[1])
        states = []
        for order in permutations(batches(phone.items, 3)):
            start_again()
            for batch in order:
                assert {answer.outcome for answer in phone.send(database, batch)} == {"stored"}
            states.append(
                state_of(
                    database,
                    # Which item began the audit, and which tree was first to arrive.
                    without=[
                        "device_counter",
                        "started_at",
                        "device_started_at",
                        "scoring_order",
                    ],
                )
            )
        assert all(state == states[0] for state in states)
        assert len(states[0]["tree_score"]) == 3


FAR = timedelta(days=365 * 90)
CLOCKS = {
    "a day behind": timedelta(days=-1),
    "a day ahead": timedelta(days=1),
    "13 h behind": timedelta(hours=-13),
    "13 h ahead": timedelta(hours=13),
    "1970": datetime(1970, 1, 1, tzinfo=UTC) - AUDITED,
    "before 1970": datetime(1969, 12, 31, tzinfo=UTC) - AUDITED,
    "2038 and later": datetime(2038, 1, 19, 3, 14, 8, tzinfo=UTC) - AUDITED,
    "another season": timedelta(days=-120),
    "the next season": timedelta(days=330),
    "far ahead": FAR,
    "the last day that there is": datetime(9999, 12, 31, tzinfo=UTC) - AUDITED,
    "the first day that there is": datetime(1, 1, 1, tzinfo=UTC) - AUDITED,
}


def audit_row(database):
    with database.read() as connection:
        return connection.execute(sa.select(tables.audit)).mappings().one()


def scored(database):
    with database.read() as connection:
        return list(
            connection.execute(
                sa.select(tables.tree_score).order_by(tables.tree_score.c.scoring_order)
            ).mappings()
        )


class TestClocks:
    """S7: a wrong clock refuses nothing, reorders nothing, and moves no season."""

    def trees(self, phone, package, number, **other):
        audit = phone.new_id()
        return [phone.tree(package, audit, tree.id, **other) for tree in package.walk[:number]]

    @pytest.mark.parametrize("clock", CLOCKS)
    def test_a_clock_that_is_off_all_day(self, database, phone, packages, clock, volume):
        phone.clock_ahead = CLOCKS[clock]
        begun = phone.now + timedelta(seconds=30)
        items = self.trees(phone, packages[0], volume(short=6, long=30))
        phone.now += timedelta(hours=5)
        assert {answer.outcome for answer in phone.send(database)} == {"stored"}
        found = audit_row(database)
        assert found["season"] == 2025
        # Put right by how far the clock was off when the phone sent.
        assert found["started_at"] == begun
        assert found["device_started_at"] == begun + phone.clock_ahead
        rows = scored(database)
        assert [row["device_counter"] for row in rows] == [item["counter"] for item in items]
        assert {row["recorded_at"] for row in rows} == {phone.now}
        assert [row["device_at"].isoformat(timespec="milliseconds") for row in rows] == [
            item["at"] for item in items
        ]

    @pytest.mark.parametrize("clock", CLOCKS)
    def test_a_clock_that_is_set_in_mid_audit(self, database, phone, packages, clock):
        package, audit = packages[0], phone.new_id()
        phone.clock_ahead = CLOCKS[clock]
        items = [phone.tree(package, audit, tree.id) for tree in package.walk[:3]]
        phone.clock_ahead = timedelta(0)
        items += [phone.tree(package, audit, tree.id) for tree in package.walk[3:6]]
        assert {answer.outcome for answer in phone.send(database)} == {"stored"}
        found = audit_row(database)
        assert found["season"] == 2025
        assert AUDITED <= found["started_at"] <= phone.now
        assert [row["device_counter"] for row in scored(database)] == [
            item["counter"] for item in items
        ]

    @pytest.mark.parametrize(
        "at",
        [
            "2026-03-08T01:59:59.000-05:00",  # the last second before the clocks go forward
            "2026-03-08T03:00:00.000-04:00",
            "2026-01-20T17:00:00",  # no zone
            "+275760-09-13T00:00:00.000Z",  # the last day of ECMAScript's time
            "-271821-04-20T00:00:00.000Z",  # its first
            "0001-01-01T00:00:00.000+23:59",
            "9999-12-31T23:59:59.999-23:59",
            "Invalid Date",
            "",
        ],
    )
    def test_a_time_that_is_odd_or_none_refuses_nothing(self, database, phone, packages, at):
        items = self.trees(phone, packages[0], 2, at=at)
        assert {answer.outcome for answer in phone.send(database)} == {"stored"}
        found = audit_row(database)
        assert AUDITED <= found["started_at"] <= phone.now
        assert found["season"] == 2025
        assert [row["device_counter"] for row in scored(database)] == [
            item["counter"] for item in items
        ]

    def test_a_batch_that_does_not_say_when_it_was_sent(self, database, phone, packages):
        self.trees(phone, packages[0], 2)
        answers = phone.send(database, None, None, sent_at=None)
        assert {answer.outcome for answer in answers} == {"stored"}

    def test_going_by_the_claimed_time_would_reorder_and_move_the_season(
        self, database, phone, packages, monkeypatch
    ):
        """The planted defect."""
        monkeypatch.setattr(applying, "true_time", lambda claimed, *_, **_k: claimed)
        monkeypatch.setattr(syncing, "_counter", lambda fate: fate.parcel.at)
        package, audit = packages[0], phone.new_id()
        phone.clock_ahead = CLOCKS["another season"]
        phone.tree(package, audit, package.walk[0].id)
        phone.clock_ahead = CLOCKS["1970"]
        phone.tree(package, audit, package.walk[1].id)
        phone.send(database)
        assert audit_row(database)["season"] != 2025
        assert [row["device_counter"] for row in scored(database)] == [2, 1]


class TestAnything:
    """Whatever comes in a batch that was signed: each thing gets its receipt."""

    JUNK = (
        None,
        True,
        False,
        0,
        -1,
        1,
        2**31,
        2**63,
        10**400,
        1.5,
        float("nan"),
        float("inf"),
        "",
        " ",
        "top",
        "x" * 5_000,
        "\x00",
        "\ud800",
        "\U0010ffff",
        "\u202e\U0001d56c\xe9",
        "00000000-0000-4000-8000-000000000000",
        "'; drop table receipt; --",
        [],
        [[]],
        {},
        {"": None},
        {"stages": {}},
        {"\ud800": "\x00"},
        [None] * 300,
    )

    def spoil(self, random, value):
        """Change something at random, anywhere in a value."""
        if random.random() < 0.15:
            return random.choice(self.JUNK)
        if isinstance(value, dict) and value:
            key = random.choice(list(value))
            changed = dict(value)
            chance = random.random()
            if chance < 0.15:
                del changed[key]
            elif chance < 0.25:
                changed[random.choice(["", "\x00", "id", "\ud800", "é"])] = changed.pop(key)
            elif chance < 0.35:
                changed[random.choice(["more", "body", "tree"])] = random.choice(self.JUNK)
            else:
                changed[key] = self.spoil(random, value[key])
            return changed
        if isinstance(value, list) and value:
            return [self.spoil(random, part) for part in value]
        return random.choice(self.JUNK)

    def test_each_thing_gets_a_receipt_and_nothing_is_raised(
        self, database, orchard, phone, packages, volume
    ):
        random = Random(1)
        audit_of_lot(phone, packages[0], phone.new_id())
        audit = phone.new_id()
        phone.tree(
            packages[1],
            audit,
            packages[1].walk[0].id,
            right(top={"kind": "top", "height_mm": 3_000.0}),
        )
        phone.not_a_tree(packages[1], audit, packages[1].walk[1].id, packages[1].reserve[0].id)
        phone.take_back(packages[1], audit, packages[1].walk[0].id)
        good = list(phone.items)
        left = volume(short=1_500, long=20_000)
        while left > 0:
            sent = []
            for _ in range(50):
                item = self.spoil(random, random.choice(good))
                if isinstance(item, dict) and "counter" in item and random.random() < 0.8:
                    item |= {"id": phone.new_id(), "counter": next(phone._counter)}
                if isinstance(item, dict) and random.random() < 0.1:
                    draw = random.choice([987_654, packages[0].draw, packages[2].draw])
                    item |= {"audit": phone.new_id(), "draw": draw}
                sent.append(item)
            answers = phone.send(database, sent)
            assert len(answers) == len(sent)
            parcels = [open_parcel(item) for item in sent]
            assert [answer.id for answer in answers] == [parcel.key for parcel in parcels]
            with database.read() as connection:
                kept = {
                    (row.client_id, row.body_hash)
                    for row in receipt_queries.receipts_by_client_id(
                        connection, orchard.farm_id, {parcel.key for parcel in parcels}
                    )
                }
            assert {(parcel.key, parcel.text_hash) for parcel in parcels} <= kept
            left -= len(sent)
        assert phone.send(database, good)
        assert check_scores(database, orchard.farm_id).differences == []
        # Whoever decides can read the list; what came reached every check that there is.
        listed = held.list_held(database, orchard.supervisor)
        assert {item.receipt.held_because for item in listed} >= {
            HeldBecause.DAMAGED,
            HeldBecause.ANSWER_REFUSED,
            HeldBecause.UNKNOWN_TREE,
            HeldBecause.UNKNOWN_DRAW,
            HeldBecause.STANDARD_CHANGED,
            HeldBecause.ID_USED,
        }

    def test_a_fault_of_our_own_holds_one_item_and_lets_the_others_through(
        self, database, phone, packages, monkeypatch
    ):
        """What no check has foreseen must not keep a phone's queue for ever."""
        package, audit = packages[0], phone.new_id()
        items = [phone.tree(package, audit, tree.id) for tree in package.walk[:5]]
        whole = syncing.Applying.apply

        def stumble(self, run):
            if any(item.counter == 3 for item in run):
                raise ZeroDivisionError
            whole(self, run)

        monkeypatch.setattr(syncing.Applying, "apply", stumble)
        answers = phone.send(database, items)
        assert [answer.because for answer in answers] == [
            None,
            None,
            HeldBecause.DAMAGED,
            None,
            None,
        ]


class TestVolume:
    def test_the_same_batch_sent_from_many_threads_is_taken_once(
        self, database, orchard, phone, packages
    ):
        audit_of_lot(phone, packages[0], phone.new_id())
        together = Barrier(6)

        def send(_number):
            together.wait()
            return phone.send(database)

        with ThreadPoolExecutor(6) as pool:
            answers = list(pool.map(send, range(6)))
        first = [found for found in answers if found[0].outcome == "stored"]
        assert len(first) == 1
        assert {answer.outcome for found in answers for answer in found} == {"stored", "duplicate"}
        assert number_of(database, tables.receipt) == len(phone.items)
        assert check_scores(database, orchard.farm_id).differences == []

    def test_trees_of_one_audit_take_as_many_statements_however_many_they_are(
        self, database, phone, packages
    ):
        counts = []
        for package, number in zip(packages[:2], (5, 28), strict=True):
            audit = phone.new_id()
            items = [phone.tree(package, audit, tree.id) for tree in package.walk[:number]]
            with statements_of(database) as seen:
                phone.send(database, items)
            counts.append(len(seen))
        assert counts[0] == counts[1]

    def test_a_bad_tree_among_good_ones_costs_no_other(self, database, phone, packages):
        package, audit = packages[0], phone.new_id()
        for number, tree in enumerate(package.walk[:12]):
            wrong = right(top=fault(Fault.FORK)) if number in {0, 6, 11} else right()
            phone.tree(package, audit, tree.id, wrong)
        answers = phone.send(database)
        assert [answer.outcome for answer in answers].count("rejected") == 3
        assert number_of(database, tables.tree_score) == 9
        assert number_of(database, tables.stage_score) == 9 * len(Stage)
