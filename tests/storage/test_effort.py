"""Which lots of a good crew are audited, on both databases."""

from datetime import date, timedelta

import pytest
import sqlalchemy as sa

from audits import lot_plans
from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import effort, farms, pass_views, passes, planning, standards
from audits.services.inspections import view_inspection
from audits.services.season import review_season
from audits.storage.queries.standards import versions_of_block
from audits.storage.tables import pass_row
from audits.vocabulary import Effort, LotState, Method, PassKind, Purpose, Stage, Strictness
from tests.orchard import ROWS, Orchard, plant_orchard
from tests.scored_season import add_audit, add_lot, day, trees

BEGUN = day(20, hour=13)
FINISHED = day(20, hour=15)

PASSED_OVER = 0.9
CHOSEN = 0.1


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, BEGUN)


def audit_lots(database, orchard, verdicts, *, first_day=1, **place) -> None:
    """Add a lot a day with its first audit: + accepted, - not accepted."""
    with database.write() as connection:
        for number, verdict in enumerate(verdicts):
            add_audit(
                connection,
                orchard,
                trees(Stage.TOP, None, "ooo"),
                started_at=day(first_day + number),
                refused=[Stage.TOP] if verdict == "-" else [],
                **place,
            )


def begin(database, orchard, **changes) -> int:
    entry = {
        "block_id": orchard.block_id,
        "crew_id": orchard.crew_id,
        "kind": PassKind.DORMANT,
        "method": Method.LADDER,
        "row_ids": orchard.row_ids,
        "started_at": BEGUN,
    }
    return passes.begin_pass(database, orchard.supervisor, **(entry | changes))


def finish(database, orchard, pass_id, row, chance, moment=FINISHED):
    """Finish a row and return its lot."""
    lot_id = passes.finish_row(
        database,
        orchard.supervisor,
        pass_id,
        orchard.row_ids[row],
        moment,
        chance=None if chance is None else lambda: chance,
    )
    with database.read() as connection:
        return planning.the_lot(connection, orchard.farm_id, lot_id)


def reason(database, orchard, pass_id) -> str | None:
    found = pass_views.view_pass(database, orchard.supervisor, pass_id).effort
    return None if found is None else str(found.reason)


def write_standard(database, orchard, **sampling) -> None:
    """Put another version of the block's standard in force."""
    with database.read() as connection:
        payload = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].payload
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload | {"sampling": payload["sampling"] | sampling},
        in_force_from=date(2026, 1, 15),
        now=BEGUN,
    )


class TestWhoIsAudited:
    def test_five_accepted_lots_in_a_row_let_two_of_three_go(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        passed_over = finish(database, orchard, pass_id, 0, PASSED_OVER)
        chosen = finish(database, orchard, pass_id, 1, CHOSEN)
        assert (passed_over.state, passed_over.chosen) == (LotState.NOT_CHOSEN, False)
        assert (chosen.state, chosen.chosen) == (LotState.WAITING, True)
        assert passed_over.effort is chosen.effort is Effort.ONE_IN_THREE
        assert reason(database, orchard, pass_id) == (
            "Five lots in a row were accepted: one lot in three is audited, chosen at random."
        )

    @pytest.mark.parametrize("verdicts", ["", "++++", "+++++-", "-++++", "+++++-++++"])
    def test_every_lot_is_audited_until_then_and_after_one_not_accepted(
        self, database, orchard, verdicts
    ):
        audit_lots(database, orchard, verdicts)
        lot = finish(database, orchard, begin(database, orchard), 0, PASSED_OVER)
        assert (lot.state, lot.effort, lot.chosen) == (LotState.WAITING, Effort.EVERY_LOT, True)

    def test_the_share_is_one_in_three(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        below = finish(database, orchard, pass_id, 0, 1 / 3 - 1e-9)
        above = finish(database, orchard, pass_id, 1, 1 / 3)
        assert (below.state, above.state) == (LotState.WAITING, LotState.NOT_CHOSEN)

    def test_every_lot_has_a_random_number_of_its_own(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        numbers = iter([0.1, 0.5, 0.9])
        rows = orchard.row_ids[:3]
        passes.finish_rows(
            database, orchard.supervisor, pass_id, rows, FINISHED, chance=numbers.__next__
        )
        made = pass_views.view_pass(database, orchard.supervisor, pass_id).lots
        assert [one.lot.chosen for one in made] == [True, False, False]

    def test_without_chance_every_lot_is_audited(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        assert finish(database, orchard, begin(database, orchard), 0, None).chosen

    def test_a_number_that_is_no_chance_is_refused_and_nothing_saved(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        with pytest.raises(InvalidInput):
            finish(database, orchard, pass_id, 0, 1.0)
        assert pass_views.view_pass(database, orchard.supervisor, pass_id).lots == []

    def test_a_standard_may_ask_for_every_lot(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        write_standard(database, orchard, skip_lots=False)
        pass_id = begin(database, orchard)
        assert finish(database, orchard, pass_id, 0, PASSED_OVER).state is LotState.WAITING
        assert reason(database, orchard, pass_id) is None

    def test_plans_of_the_tables_pass_no_lot_over(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        write_standard(database, orchard, method="table")
        pass_id = begin(database, orchard)
        assert finish(database, orchard, pass_id, 0, PASSED_OVER).state is LotState.WAITING
        assert reason(database, orchard, pass_id) is None


class TestHistory:
    def test_a_later_version_of_the_standard_goes_on_with_it(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        write_standard(database, orchard, most_waves=3)
        lot = finish(database, orchard, begin(database, orchard), 0, PASSED_OVER)
        assert lot.state is LotState.NOT_CHOSEN

    def test_another_crew_begins_anew(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        crew_id = farms.add_crew(database, orchard.supervisor, name="Crew B")
        lot = finish(database, orchard, begin(database, orchard, crew_id=crew_id), 0, PASSED_OVER)
        assert lot.state is LotState.WAITING

    def test_another_farm_begins_anew(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        other = plant_orchard(database, BEGUN, name="Cold Spring")
        lot = finish(database, other, begin(database, other), 0, PASSED_OVER)
        assert lot.state is LotState.WAITING

    def test_only_first_audits_count(self, database, orchard):
        audit_lots(database, orchard, "++++")
        audit_lots(database, orchard, "+", first_day=5, purpose=Purpose.RE_AUDIT)
        audit_lots(database, orchard, "+", first_day=6, purpose=Purpose.START_CHECK)
        pass_id = begin(database, orchard)
        assert finish(database, orchard, pass_id, 0, PASSED_OVER).state is LotState.WAITING

    def test_an_audit_that_is_still_open_does_not_count(self, database, orchard):
        audit_lots(database, orchard, "++++")
        audit_lots(database, orchard, "+", first_day=5, sealed=False)
        lot = finish(database, orchard, begin(database, orchard), 0, PASSED_OVER)
        assert lot.state is LotState.WAITING

    def test_verdicts_count_in_the_order_in_which_they_were_issued(self, database, orchard):
        audit_lots(database, orchard, "-", first_day=1)
        audit_lots(database, orchard, "+++++", first_day=2)
        lot = finish(database, orchard, begin(database, orchard), 0, PASSED_OVER)
        assert lot.state is LotState.NOT_CHOSEN

    def test_lots_passed_over_neither_break_the_run_nor_add_to_it(self, database, orchard):
        audit_lots(database, orchard, "++++")
        with database.write() as connection:
            add_lot(connection, orchard, finished_at=day(5), state=LotState.NOT_CHOSEN)
        pass_id = begin(database, orchard)
        assert finish(database, orchard, pass_id, 0, PASSED_OVER).state is LotState.WAITING
        audit_lots(database, orchard, "+", first_day=6)
        assert finish(database, orchard, pass_id, 1, PASSED_OVER).state is LotState.NOT_CHOSEN


class TestHalfDays:
    def test_rows_of_a_half_day_share_the_choice_made_for_the_first(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
        first = finish(database, orchard, pass_id, 0, PASSED_OVER)
        second = finish(database, orchard, pass_id, 1, CHOSEN, FINISHED + timedelta(minutes=20))
        assert first.id == second.id
        assert second.state is LotState.NOT_CHOSEN

    def test_no_row_joins_a_lot_passed_over_once_every_lot_is_audited_again(
        self, database, orchard
    ):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
        first = finish(database, orchard, pass_id, 0, PASSED_OVER)
        audit_lots(database, orchard, "-", first_day=19)
        second = finish(database, orchard, pass_id, 1, PASSED_OVER)
        third = finish(database, orchard, pass_id, 2, PASSED_OVER)
        assert first.id != second.id == third.id
        assert second.state is LotState.WAITING


class TestTakingBack:
    def test_a_row_of_a_lot_passed_over_can_be_taken_back(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        finish(database, orchard, pass_id, 0, PASSED_OVER)
        passes.take_back_rows(database, orchard.supervisor, pass_id, orchard.row_ids[:1])
        assert pass_views.view_pass(database, orchard.supervisor, pass_id).lots == []

    def test_finished_again_it_keeps_its_number(self, database, orchard):
        """Else whoever does not like the choice could ask again and again."""
        audit_lots(database, orchard, "+++++")
        pass_id = begin(database, orchard)
        finish(database, orchard, pass_id, 0, CHOSEN)
        passes.take_back_rows(database, orchard.supervisor, pass_id, orchard.row_ids[:1])
        assert finish(database, orchard, pass_id, 0, PASSED_OVER).chosen
        with database.read() as connection:
            chances = connection.scalars(
                sa.select(pass_row.c.chance).where(pass_row.c.crew_pass_id == pass_id)
            ).all()
        assert sorted(chances, key=lambda number: number is None) == [CHOSEN] + [None] * (ROWS - 1)


class TestAllTheSame:
    @pytest.fixture
    def lot(self, database, orchard):
        audit_lots(database, orchard, "+++++")
        return finish(database, orchard, begin(database, orchard), 0, PASSED_OVER)

    def test_a_lot_passed_over_is_not_ready_for_an_audit(self, database, orchard, lot):
        with pytest.raises(Conflict, match="not waiting"):
            planning.plan_audit(database, orchard.supervisor, lot.id)

    def test_it_can_be_put_to_waiting(self, database, orchard, lot):
        effort.audit_all_the_same(database, orchard.supervisor, lot.id)
        found = view_inspection(database, orchard.supervisor, lot.id).lot
        assert (found.state, found.chosen) == (LotState.WAITING, False)
        assert str(effort.choice_made(found)) == (
            "This lot was not chosen, but somebody wanted it audited all the same."
        )
        assert planning.plan_audit(database, orchard.supervisor, lot.id).sample_size > 0

    def test_only_a_lot_passed_over_can(self, database, orchard, lot):
        effort.audit_all_the_same(database, orchard.supervisor, lot.id)
        with pytest.raises(Conflict, match="already"):
            effort.audit_all_the_same(database, orchard.supervisor, lot.id)

    def test_workers_cannot(self, database, orchard, lot):
        with pytest.raises(NotAllowed):
            effort.audit_all_the_same(database, orchard.worker, lot.id)

    def test_nor_another_farm(self, database, lot):
        other = plant_orchard(database, BEGUN, name="Cold Spring")
        with pytest.raises(NotFound):
            effort.audit_all_the_same(database, other.supervisor, lot.id)


def test_a_lot_passed_over_is_in_no_share_of_the_season(database, orchard):
    audit_lots(database, orchard, "++++-")
    with database.write() as connection:
        add_lot(connection, orchard, finished_at=day(8), state=LotState.NOT_CHOSEN)
        add_lot(connection, orchard, finished_at=day(8), state=LotState.WAITING)
    sums = review_season(database, orchard.owner, 2025).lots
    assert (sums.lots, sums.not_chosen, sums.not_audited) == (7, 1, 1)
    assert (sums.acceptance.accepted, sums.acceptance.audited) == (4, 5)


def test_plans_are_prepared_for_the_lots_that_wait(database, orchard):
    audit_lots(database, orchard, "+++++")
    pass_id = begin(database, orchard)
    passed_over = finish(database, orchard, pass_id, 0, PASSED_OVER)
    waiting = finish(database, orchard, pass_id, 1, CHOSEN)
    lot_plans._designed.cache_clear()
    planning.prepare_plans(database, orchard.supervisor, [passed_over.id, waiting.id, 0])
    searched = lot_plans._designed.cache_info().misses
    for strictness in Strictness:
        assert planning.plan_audit(database, orchard.supervisor, waiting.id, strictness).plans
    assert searched == lot_plans._designed.cache_info().misses == len(Strictness)
