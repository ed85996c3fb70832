"""Print batches, their checks and printers, on both databases."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from itertools import chain
from math import nan
from threading import Barrier

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.gauges import BatchState
from audits.services import farms, printers, printing, standards
from audits.services.printing import BatchOrder
from audits.storage.queries import printing as queries
from audits.storage.tables import print_batch
from audits.vocabulary import BatchKind, BearingHabit, CheckOccasion, Role, TurnedOver
from tests.orchard import plant_orchard
from tests.printed import checked_batch, order_of

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
DAY = timedelta(days=1)
MAKERS = 8
BATCHES_EACH = 5


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


@pytest.fixture
def batch(database, orchard):
    return printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)


def check(database, orchard, number, **values):
    values = {"occasion": CheckOccasion.PRINTED, "card_fits": True, "now": NOW} | values
    return printing.note_check(database, orchard.supervisor, number, **values)


def state_of(database, orchard, number, now=NOW):
    return printing.batch_view(database, orchard.supervisor, number, now).state


class TestNumbers:
    def test_batches_are_numbered_from_one_on_each_farm(self, database, orchard):
        other = plant_orchard(database, NOW, name="Upper Tule")
        numbers = [
            printing.make_batch(database, farm.supervisor, order_of(farm), NOW).number
            for farm in (orchard, other, orchard, other, other)
        ]
        assert numbers == [1, 1, 2, 2, 3]

    def test_makers_at_once_get_numbers_of_their_own(self, migrated_database):
        orchard = plant_orchard(migrated_database, NOW)
        together = Barrier(MAKERS)

        def make(_maker):
            together.wait()
            return [
                printing.make_batch(
                    migrated_database, orchard.supervisor, order_of(orchard), NOW
                ).number
                for _ in range(BATCHES_EACH)
            ]

        with ThreadPoolExecutor(MAKERS) as pool:
            numbers = list(chain.from_iterable(pool.map(make, range(MAKERS))))
        assert sorted(numbers) == list(range(1, MAKERS * BATCHES_EACH + 1))

    def test_a_number_read_before_the_writing_is_taken_twice(self, database, orchard):
        """The planted defect: with the number read outside the writer, two makers collide."""
        with database.read() as connection:
            first = queries.last_batch_number(connection, orchard.farm_id) + 1
            second = queries.last_batch_number(connection, orchard.farm_id) + 1
        made = printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)
        assert made.number == first == second
        values = {name: value for name, value in vars(made).items() if name != "id"}
        with pytest.raises(sa.exc.IntegrityError), database.write() as connection:
            connection.execute(
                print_batch.insert(), {"farm_id": orchard.farm_id} | values | {"number": second}
            )

    def test_what_the_command_line_prints_has_no_maker(self, database, orchard):
        made = printing.make_batch_unattended(database, orchard.farm_id, order_of(orchard), NOW)
        view = printing.batch_view(database, orchard.supervisor, made.number, NOW)
        assert (made.made_by, view.maker) == (None, None)


class TestOrders:
    def test_a_batch_keeps_all_that_was_chosen(self, database, orchard):
        choices = {"format": "a7", "languages": ["es", "en"], "workers": [1, 2], "right_mm": 0.3}
        order = order_of(orchard, choices=choices, copies=12, kind=BatchKind.GAUGES)
        made = printing.make_batch(database, orchard.supervisor, order, NOW)
        with database.read() as connection:
            assert queries.batch_by_number(connection, orchard.farm_id, made.number) == made
        assert (made.choices, made.copies, made.kind) == (choices, 12, BatchKind.GAUGES)

    @pytest.mark.parametrize(
        ("changed", "field"),
        [({"copies": 0}, "copies"), ({"copies": 2_001}, "copies")],
    )
    def test_an_order_that_makes_no_sense_is_refused(self, database, orchard, changed, field):
        with pytest.raises(InvalidInput) as refused:
            printing.make_batch(database, orchard.supervisor, order_of(orchard, **changed), NOW)
        assert list(refused.value.problems) == [field]
        assert printing.batch_views(database, orchard.supervisor, NOW) == []

    @pytest.mark.parametrize("gone", ["block_id", "standard_version_id", "printer_id"])
    def test_what_does_not_exist_cannot_be_printed(self, database, orchard, gone):
        with pytest.raises(NotFound):
            printing.make_batch(
                database, orchard.supervisor, order_of(orchard, **{gone: 9_999}), NOW
            )

    def test_another_farms_block_and_printer_do_not_exist(self, database, orchard):
        other = plant_orchard(database, NOW, name="Upper Tule")
        for order in (
            order_of(orchard, block_id=other.block_id),
            order_of(orchard, printer_id=add_printer(database, other)),
        ):
            with pytest.raises(NotFound):
                printing.make_batch(database, orchard.supervisor, order, NOW)

    def test_workers_print_and_check_nothing(self, database, orchard, batch):
        worker = orchard.actor(Role.WORKER)
        for attempt in (
            lambda: printing.make_batch(database, worker, order_of(orchard), NOW),
            lambda: printing.withdraw_batch(database, worker, batch.number, NOW),
            lambda: printing.batch_views(database, worker, NOW),
            lambda: printing.usable_batches(database, worker, NOW),
            lambda: printing.note_check(
                database,
                worker,
                batch.number,
                occasion=CheckOccasion.PRINTED,
                card_fits=True,
                now=NOW,
            ),
        ):
            with pytest.raises(NotAllowed):
                attempt()


class TestChecks:
    def test_a_new_batch_is_not_checked(self, database, orchard, batch):
        assert state_of(database, orchard, batch.number) is BatchState.UNCHECKED
        assert printing.usable_batches(database, orchard.supervisor, NOW) == []

    def test_a_batch_whose_card_fits_may_be_used(self, database, orchard, batch):
        assert check(database, orchard, batch.number).passed
        (usable,) = printing.usable_batches(database, orchard.supervisor, NOW)
        assert (usable.number, usable.latest_check.checker) == (1, orchard.supervisor.name)

    @pytest.mark.parametrize(
        ("read", "passed"),
        [
            ({"across_mm": 99.5, "down_mm": 100.5}, True),
            ({"across_mm": 99.49}, False),
            ({"down_mm": 100.51}, False),
            ({"across_mm": 94.1, "down_mm": 94.1}, False),
            ({"card_fits": False, "across_mm": 100.0, "down_mm": 100.0}, False),
        ],
    )
    def test_the_scale_holds_within_half_a_percent(self, database, orchard, batch, read, passed):
        """94.1 mm is a page of A4 fitted to Letter (common fault of printers, measured)."""
        assert check(database, orchard, batch.number, **read).passed is passed
        assert (state_of(database, orchard, batch.number) is BatchState.USABLE) is passed

    @pytest.mark.parametrize("mm", [0, 3.94, nan, 1e9, -100])
    def test_a_bar_that_is_none_is_asked_for_again(self, database, orchard, batch, mm):
        with pytest.raises(InvalidInput) as refused:
            check(database, orchard, batch.number, across_mm=mm)
        assert list(refused.value.problems) == ["across_mm"]
        assert state_of(database, orchard, batch.number) is BatchState.UNCHECKED

    def test_the_latest_check_counts(self, database, orchard, batch):
        check(database, orchard, batch.number)
        check(
            database,
            orchard,
            batch.number,
            occasion=CheckOccasion.LAMINATED,
            card_fits=False,
            now=NOW + DAY,
        )
        assert state_of(database, orchard, batch.number) is BatchState.FAILED
        check(database, orchard, batch.number, now=NOW + 2 * DAY)
        assert state_of(database, orchard, batch.number) is BatchState.USABLE
        view = printing.batch_view(database, orchard.supervisor, batch.number, NOW)
        assert [line.check.passed for line in view.checks] == [True, False, True]

    def test_of_two_checks_in_one_moment_the_later_entry_counts(self, database, orchard, batch):
        check(database, orchard, batch.number)
        check(database, orchard, batch.number, card_fits=False)
        assert state_of(database, orchard, batch.number) is BatchState.FAILED

    def test_each_season_asks_for_a_check_of_its_own(self, database, orchard, batch):
        """The farm's seasons begin on 1 November, at midnight in New York."""
        check(database, orchard, batch.number)
        midnight = datetime(2026, 11, 1, 4, 0, tzinfo=UTC)
        before = midnight - timedelta(seconds=1)
        assert state_of(database, orchard, batch.number, before) is BatchState.USABLE
        assert state_of(database, orchard, batch.number, midnight) is BatchState.CHECK_AGAIN
        assert printing.usable_batches(database, orchard.supervisor, midnight) == []
        check(database, orchard, batch.number, occasion=CheckOccasion.NEW_SEASON, now=midnight)
        assert state_of(database, orchard, batch.number, midnight) is BatchState.USABLE

    def test_a_withdrawn_batch_stays_withdrawn(self, database, orchard, batch):
        check(database, orchard, batch.number)
        printing.withdraw_batch(database, orchard.supervisor, batch.number, NOW)
        printing.withdraw_batch(database, orchard.supervisor, batch.number, NOW + DAY)
        view = printing.batch_view(database, orchard.supervisor, batch.number, NOW)
        assert (view.state, view.batch.withdrawn_at) == (BatchState.WITHDRAWN, NOW)
        with pytest.raises(Conflict):
            check(database, orchard, batch.number, now=NOW + DAY)
        assert printing.usable_batches(database, orchard.supervisor, NOW) == []

    @pytest.mark.parametrize("number", [0, -1, 7, 2**31, 2**70])
    def test_an_unknown_number_is_no_batch(self, database, orchard, number):
        for attempt in (
            lambda: check(database, orchard, number),
            lambda: printing.withdraw_batch(database, orchard.supervisor, number, NOW),
            lambda: printing.batch_view(database, orchard.supervisor, number, NOW),
        ):
            with pytest.raises(NotFound):
                attempt()

    def test_batches_are_listed_the_newest_first(self, database, orchard):
        printer_id = add_printer(database, orchard)
        for _ in range(3):
            checked_batch(database, orchard, NOW, printer_id=printer_id)
        views = printing.batch_views(database, orchard.supervisor, NOW)
        assert [view.number for view in views] == [3, 2, 1]
        assert {(view.block, view.version, view.printer, view.maker) for view in views} == {
            ("Creek Block", 1, "Office printer", orchard.supervisor.name)
        }


def add_printer(database, orchard, name="Office printer", **entry):
    return printers.add_printer(
        database, orchard.supervisor, name=name, turned_over=TurnedOver.LONG_EDGE, **entry
    )


class TestPrinters:
    def test_a_printer_keeps_how_its_backs_are_moved(self, database, orchard):
        printer_id = add_printer(database, orchard, back_right_mm=0.4, back_down_mm=-1.25)
        printers.edit_printer(
            database,
            orchard.supervisor,
            printer_id,
            name="Shed printer",
            turned_over=TurnedOver.SHORT_EDGE,
            back_right_mm=-0.1 - 0.2,
        )
        (kept,) = printers.list_printers(database, orchard.supervisor)
        assert (kept.name, kept.turned_over) == ("Shed printer", TurnedOver.SHORT_EDGE)
        assert (kept.back_right_mm, kept.back_down_mm) == (-0.3, 0.0)

    @pytest.mark.parametrize(
        ("entry", "field"),
        [
            ({"name": " "}, "name"),
            ({"name": "office PRINTER"}, "name"),
            ({"name": "Other", "back_right_mm": 10.5}, "back_right_mm"),
            ({"name": "Other", "back_down_mm": nan}, "back_down_mm"),
        ],
    )
    def test_a_printer_that_cannot_be_is_refused(self, database, orchard, entry, field):
        add_printer(database, orchard)
        with pytest.raises(InvalidInput) as refused:
            add_printer(database, orchard, **entry)
        assert list(refused.value.problems) == [field]

    @pytest.mark.parametrize("second", ["ÑANDÚ", "ñandú", "Ñandú"])
    def test_a_name_is_the_same_in_small_letters_of_any_alphabet(self, database, orchard, second):
        """SQLite's own lower case knows A to Z only."""
        add_printer(database, orchard, "ÑANDÚ")
        with pytest.raises(InvalidInput) as refused:
            add_printer(database, orchard, second)
        assert list(refused.value.problems) == ["name"]

    def test_a_retired_printer_prints_nothing_new_and_keeps_its_batches(self, database, orchard):
        printer_id = add_printer(database, orchard)
        made = printing.make_batch(
            database, orchard.supervisor, order_of(orchard, printer_id=printer_id), NOW
        )
        printers.retire_printer(database, orchard.supervisor, printer_id)
        assert printers.list_printers(database, orchard.supervisor) == []
        with pytest.raises(InvalidInput) as refused:
            printing.make_batch(
                database, orchard.supervisor, order_of(orchard, printer_id=printer_id), NOW
            )
        assert list(refused.value.problems) == ["printer"]
        view = printing.batch_view(database, orchard.supervisor, made.number, NOW)
        assert view.printer == "Office printer"


class TestVersions:
    def test_a_version_that_is_printed_is_frozen_until_its_batches_are_withdrawn(
        self, database, orchard, batch
    ):
        """A card shows the numbers of its version; changing these would make it lie."""

        def edit():
            standards.edit_standard(
                database,
                orchard.supervisor,
                orchard.standard_id,
                payload={"top": {"target_mm": 3_000.0}, "limbs": {"large_mm": 25.0}},
                in_force_from=date(2025, 11, 1),
            )

        with pytest.raises(Conflict):
            edit()
        printing.withdraw_batch(database, orchard.supervisor, batch.number, NOW)
        edit()

    def test_a_version_of_another_block_is_refused(self, database, orchard):
        with pytest.raises(InvalidInput) as refused:
            printing.make_batch(
                database,
                orchard.supervisor,
                BatchOrder(
                    BatchKind.CARDS, add_block(database, orchard), orchard.standard_id, None, {}, 1
                ),
                NOW,
            )
        assert list(refused.value.problems) == ["standard_version"]


def add_block(database, orchard):
    return farms.add_block(
        database,
        orchard.owner,
        name="Ridge Block",
        cultivar="Hollow Red",
        habit=BearingHabit.STANDARD,
        rootstock="M.9",
        row_spacing_mm=3_352.8,
        tree_spacing_mm=914.4,
        top_wire_mm=3_048.0,
        planting_year=2018,
    )
