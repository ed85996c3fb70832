"""Passes, their rows, lots and people through the services, on both databases."""

from datetime import UTC, date, datetime, timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import auditing, farms, pass_views, passes, start_checks
from audits.services.auditing import Device
from audits.storage import tables
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as queries
from audits.vocabulary import LotState, Method, PassKind, Side, Stage
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard
from tests.statements import statements_of

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
# 7:30 in New York.
BEGUN = datetime(2026, 1, 20, 12, 30, tzinfo=UTC)
NOON = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, NOW)


@pytest.fixture
def other(database) -> Orchard:
    """A second farm in the same database."""
    return plant_orchard(database, NOW, name="Cold Spring")


def entry(orchard: Orchard, **changes) -> dict:
    return {
        "block_id": orchard.block_id,
        "crew_id": orchard.crew_id,
        "kind": PassKind.DORMANT,
        "method": Method.LADDER,
        "row_ids": orchard.row_ids,
        "started_at": BEGUN,
    } | changes


def begin(database, orchard, **changes) -> int:
    return passes.begin_pass(database, orchard.supervisor, **entry(orchard, **changes))


def finish(database, orchard, pass_id, row, moment=NOW) -> int:
    return passes.finish_row(
        database, orchard.supervisor, pass_id, orchard.row_ids[row], moment, NOW
    )


def view(database, orchard, pass_id):
    return pass_views.view_pass(database, orchard.supervisor, pass_id)


def problems_of(use_case, *args, **given) -> dict[str, str]:
    """Return what a use case complains about, by field."""
    with pytest.raises(InvalidInput) as refusal:
        use_case(*args, **given)
    return {field: str(sentence) for field, sentence in refusal.value.problems.items()}


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def hire(database, orchard, people) -> None:
    for number in range(people):
        farms.add_worker(
            database,
            orchard.supervisor,
            code=f"H{number}",
            name=f"Hand {number}",
            language="es",
            crew_id=orchard.crew_id,
        )


# --- beginning ---------------------------------------------------------------------------------


def test_a_pass_keeps_its_rows_in_the_order_of_pruning(database, orchard):
    backwards = orchard.row_ids[::-1]
    pass_id = begin(database, orchard, row_ids=backwards)
    found = view(database, orchard, pass_id)
    assert [row.id for _, row in found.rows] == backwards
    assert {(part.first_position, part.last_position) for part, _ in found.rows} == {
        (1, TREES_IN_ROW)
    }
    assert found.crew_pass.started_at == BEGUN


def test_the_standard_of_a_pass_is_the_one_in_force_on_its_first_day(database, orchard):
    assert view(database, orchard, begin(database, orchard)).standard.id == orchard.standard_id


def test_the_farm_s_own_midnight_decides_which_standard_is_in_force(database, orchard):
    # The standard is in force from 1 November; at 03:30 UTC it is still 31 October in New York.
    late_evening = datetime(2025, 11, 1, 3, 30, tzinfo=UTC)
    assert problems_of(begin, database, orchard, started_at=late_evening) == {
        "block_id": ("Block Creek Block has no standard in force on Oct 31, 2025. Write one first.")
    }
    begin(database, orchard, started_at=late_evening + timedelta(hours=1))


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"row_ids": []}, "row_ids", "Choose at least one row."),
        ({"row_ids": [0]}, "row_ids", "Choose rows of block Creek Block only."),
        ({"kind": PassKind.REWORK}, "kind", "Rework is recorded from its rework order."),
        (
            {"started_at": NOW + timedelta(days=8)},
            "started_at",
            "This is more than a week ahead. Check the date.",
        ),
    ],
)
def test_what_cannot_be_begun(database, orchard, changes, field, sentence):
    use_case = passes.begin_pass
    problems = problems_of(
        use_case, database, orchard.supervisor, now=NOW, **entry(orchard, **changes)
    )
    assert problems == {field: sentence}
    assert count(database, tables.crew_pass) == count(database, tables.pass_row) == 0


def test_a_row_named_twice_is_refused(database, orchard):
    twice = [orchard.row_ids[0], orchard.row_ids[0]]
    assert problems_of(begin, database, orchard, row_ids=twice) == {
        "row_ids": "Choose each row once only."
    }


def test_rows_of_another_block_are_refused(database, orchard, other):
    assert problems_of(begin, database, orchard, row_ids=other.row_ids) == {
        "row_ids": "Choose rows of block Creek Block only."
    }


def test_every_problem_is_named_at_once(database, orchard):
    problems = problems_of(begin, database, orchard, row_ids=[], kind=PassKind.REWORK)
    assert set(problems) == {"row_ids", "kind"}


def test_retired_crews_and_blocks_take_no_new_pass(database, orchard):
    farms.edit_crew(database, orchard.owner, orchard.crew_id, name="Crew A", retired=True)
    assert problems_of(begin, database, orchard) == {"crew_id": "Crew A is no longer here."}


def test_another_farm_s_block_and_crew_are_not_there(database, orchard, other):
    with pytest.raises(NotFound):
        begin(database, orchard, block_id=other.block_id)
    with pytest.raises(NotFound):
        begin(database, orchard, crew_id=other.crew_id)


def test_a_worker_may_not_begin_a_pass(database, orchard):
    with pytest.raises(NotAllowed):
        passes.begin_pass(database, orchard.worker, **entry(orchard))


@pytest.mark.parametrize(("more", "lot_by"), [(2, passes.LOT_BY_ROW), (3, passes.LOT_BY_HALF_DAY)])
def test_lots_are_half_days_above_eight_workers(database, orchard, more, lot_by):
    hire(database, orchard, more)
    assert view(database, orchard, begin(database, orchard)).crew_pass.lot_by == lot_by


def test_a_choice_of_lots_goes_before_the_crew_s_size(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    assert view(database, orchard, pass_id).crew_pass.lot_by == passes.LOT_BY_HALF_DAY


def test_a_pass_sent_twice_begins_once(database, orchard):
    begin(database, orchard, row_ids=orchard.row_ids[:3])
    assert problems_of(begin, database, orchard, row_ids=orchard.row_ids[2:]) == {
        "row_ids": "This crew began a pass through these rows at that time already."
    }
    assert count(database, tables.crew_pass) == 1


def test_a_crew_may_begin_in_other_rows_at_the_same_time(database, orchard):
    begin(database, orchard, row_ids=orchard.row_ids[:3])
    begin(database, orchard, row_ids=orchard.row_ids[3:], method=Method.PLATFORM)
    assert count(database, tables.crew_pass) == 2


def test_a_pass_begun_by_mistake_leaves_nothing_behind(database, orchard):
    pass_id = begin(database, orchard)
    name(database, orchard, pass_id)
    passes.take_back_pass(database, orchard.supervisor, pass_id)
    for table in (tables.crew_pass, tables.pass_row, tables.assignment):
        assert count(database, table) == 0


def test_a_pass_with_a_finished_row_or_a_start_check_stays(database, orchard):
    finished = begin(database, orchard, row_ids=orchard.row_ids[:3])
    finish(database, orchard, finished, 0)
    checked = begin(database, orchard, row_ids=orchard.row_ids[3:])
    start_checks.begin_start_check(
        database,
        orchard.supervisor,
        checked,
        worker_id=orchard.worker_ids[0],
        client_id="check-1",
        device=Device("desk"),
        now=NOW,
    )
    for pass_id in (finished, checked):
        with pytest.raises(Conflict, match="the pass cannot be taken back"):
            passes.take_back_pass(database, orchard.supervisor, pass_id)
    assert count(database, tables.crew_pass) == 2


# --- finishing rows ----------------------------------------------------------------------------


def test_a_finished_row_is_a_lot_that_waits(database, orchard):
    pass_id = begin(database, orchard)
    lot_id = finish(database, orchard, pass_id, 0)
    found = view(database, orchard, pass_id)
    assert [(made.lot.id, made.row_ids) for made in found.lots] == [(lot_id, (orchard.row_ids[0],))]
    assert found.lots[0].lot.state is LotState.WAITING
    assert found.rows[0][0].finished_at == NOW


def test_rows_of_one_half_day_are_one_lot(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    morning = BEGUN + timedelta(hours=2)
    lots = [
        finish(database, orchard, pass_id, 0, morning),
        finish(database, orchard, pass_id, 1, NOON - timedelta(minutes=1)),
        # Noon itself is the second half of the day.
        finish(database, orchard, pass_id, 2, NOON),
    ]
    assert lots[0] == lots[1] != lots[2]
    made = view(database, orchard, pass_id).lots
    assert [one.row_ids for one in made] == [tuple(orchard.row_ids[:2]), (orchard.row_ids[2],)]
    assert made[0].lot.finished_at == NOON - timedelta(minutes=1)


def test_a_half_day_that_is_being_audited_takes_no_more_rows(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    first = finish(database, orchard, pass_id, 0, BEGUN + timedelta(hours=1))
    begin_audit(database, orchard, first)
    second = finish(database, orchard, pass_id, 1, BEGUN + timedelta(hours=2))
    assert second != first


def test_several_rows_are_finished_together(database, orchard):
    pass_id = begin(database, orchard)
    rows = orchard.row_ids[1:4]
    lots = passes.finish_rows(database, orchard.supervisor, pass_id, rows, NOW, NOW)
    assert len(set(lots)) == 3
    done = [row.id for part, row in view(database, orchard, pass_id).rows if part.finished_at]
    assert done == rows


def test_several_rows_are_finished_all_or_none(database, orchard):
    pass_id = begin(database, orchard)
    finish(database, orchard, pass_id, 3)
    with pytest.raises(Conflict, match=r"Row 4 is finished already\."):
        passes.finish_rows(database, orchard.supervisor, pass_id, orchard.row_ids[1:4], NOW)
    assert count(database, tables.lot) == 1


@pytest.mark.parametrize(
    ("moment", "sentence"),
    [
        (BEGUN - timedelta(minutes=1), "The row cannot be finished before the pass began."),
        (NOW + timedelta(minutes=1), "This time is still to come."),
    ],
)
def test_a_row_is_not_finished_at_an_impossible_time(database, orchard, moment, sentence):
    pass_id = begin(database, orchard)
    problems = problems_of(finish, database, orchard, pass_id, 0, moment)
    assert problems == {"finished_at": sentence}
    assert count(database, tables.lot) == count(database, tables.lot_range) == 0


def test_a_row_is_not_finished_after_the_end_of_its_pass(database, orchard):
    pass_id = begin(database, orchard)
    passes.end_pass(
        database, orchard.supervisor, pass_id, ended_at=NOW - timedelta(hours=1), hours=None
    )
    assert problems_of(finish, database, orchard, pass_id, 0) == {
        "finished_at": "The pass had ended by then. Correct its end first."
    }


def test_finishing_no_row_is_refused(database, orchard):
    pass_id = begin(database, orchard)
    assert problems_of(passes.finish_rows, database, orchard.supervisor, pass_id, [], NOW) == {
        "row_ids": "Choose at least one row."
    }


def test_a_row_outside_the_pass_is_not_there(database, orchard):
    pass_id = begin(database, orchard, row_ids=orchard.row_ids[:2])
    with pytest.raises(NotFound):
        finish(database, orchard, pass_id, 2)
    with pytest.raises(NotFound):
        passes.finish_rows(database, orchard.supervisor, pass_id, orchard.row_ids, NOW)


def test_another_farm_s_pass_is_not_there(database, orchard, other):
    pass_id = begin(database, other)
    for use_case in (
        lambda: view(database, orchard, pass_id),
        lambda: finish(database, orchard, pass_id, 0),
        lambda: passes.take_back_rows(database, orchard.supervisor, pass_id, other.row_ids),
        lambda: passes.end_pass(database, orchard.supervisor, pass_id, ended_at=NOW, hours=None),
        lambda: name(database, orchard, pass_id),
        lambda: passes.take_back_pass(database, orchard.supervisor, pass_id),
        lambda: passes.withdraw_assignments(
            database,
            orchard.supervisor,
            pass_id,
            worker_id=orchard.worker_ids[0],
            row_ids=orchard.row_ids[:1],
        ),
    ):
        with pytest.raises(NotFound):
            use_case()


# --- taking a row back -------------------------------------------------------------------------


def take_back(database, orchard, pass_id, *rows) -> None:
    passes.take_back_rows(
        database, orchard.supervisor, pass_id, [orchard.row_ids[row] for row in rows]
    )


def test_a_row_taken_back_leaves_no_lot(database, orchard):
    pass_id = begin(database, orchard)
    finish(database, orchard, pass_id, 0)
    take_back(database, orchard, pass_id, 0)
    found = view(database, orchard, pass_id)
    assert found.lots == []
    assert found.rows[0][0].finished_at is None


def test_lots_keep_apart_after_one_was_taken_back(database, orchard):
    pass_id = begin(database, orchard)
    for row in range(3):
        finish(database, orchard, pass_id, row)
    take_back(database, orchard, pass_id, 1)
    finish(database, orchard, pass_id, 1)
    assert [made.lot.number for made in view(database, orchard, pass_id).lots] == [1, 3, 4]


def test_a_half_day_ends_with_the_latest_row_that_is_left(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    hours = [BEGUN + timedelta(hours=hour) for hour in (1, 2, 3)]
    for row, moment in enumerate(hours):
        finish(database, orchard, pass_id, row, moment)
    take_back(database, orchard, pass_id, 2)
    (left,) = view(database, orchard, pass_id).lots
    assert (left.lot.finished_at, left.row_ids) == (hours[1], tuple(orchard.row_ids[:2]))
    take_back(database, orchard, pass_id, 0)
    (left,) = view(database, orchard, pass_id).lots
    assert left.lot.finished_at == hours[1]


def test_an_earlier_row_noted_late_does_not_move_its_half_day_back(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    finish(database, orchard, pass_id, 0, BEGUN + timedelta(hours=2))
    finish(database, orchard, pass_id, 1, BEGUN + timedelta(hours=1))
    (made,) = view(database, orchard, pass_id).lots
    assert made.lot.finished_at == BEGUN + timedelta(hours=2)


def test_a_row_under_audit_stays_finished(database, orchard):
    pass_id = begin(database, orchard)
    lot_id = finish(database, orchard, pass_id, 0)
    begin_audit(database, orchard, lot_id)
    with pytest.raises(Conflict, match="The audit of row 1 has begun"):
        take_back(database, orchard, pass_id, 0)
    assert view(database, orchard, pass_id).rows[0][0].finished_at == NOW


def test_a_row_whose_draw_was_given_up_stays_finished(database, orchard):
    pass_id = begin(database, orchard)
    lot_id = finish(database, orchard, pass_id, 0)
    begin_audit(database, orchard, lot_id)
    with database.write() as connection:
        connection.execute(tables.lot.update().values(state=LotState.WAITING))
    with pytest.raises(Conflict, match="The audit of row 1 has begun"):
        take_back(database, orchard, pass_id, 0)


def test_several_rows_are_taken_back_all_or_none(database, orchard):
    pass_id = begin(database, orchard, lot_by=passes.LOT_BY_HALF_DAY)
    for row in (0, 1, 2):
        finish(database, orchard, pass_id, row)
    with pytest.raises(Conflict, match="Row 4 is not finished"):
        take_back(database, orchard, pass_id, 0, 3)
    take_back(database, orchard, pass_id, 0, 2)
    (left,) = view(database, orchard, pass_id).lots
    assert left.row_ids == (orchard.row_ids[1],)


def test_a_row_that_is_not_finished_cannot_be_taken_back(database, orchard):
    pass_id = begin(database, orchard)
    with pytest.raises(Conflict, match="Row 1 is not finished"):
        take_back(database, orchard, pass_id, 0)


# --- who did what ------------------------------------------------------------------------------


def name(database, orchard, pass_id, **changes) -> None:
    entered = {
        "worker_id": orchard.worker_ids[0],
        "row_ids": orchard.row_ids[:1],
        "stages": [Stage.TOP, Stage.LIMBS],
    }
    passes.assign_rows(database, orchard.supervisor, pass_id, **(entered | changes))


def test_without_names_a_pass_is_the_crew_s(database, orchard):
    assert view(database, orchard, begin(database, orchard)).assignments == []


def test_a_person_is_named_for_stages_in_several_rows(database, orchard):
    pass_id = begin(database, orchard)
    name(database, orchard, pass_id, row_ids=orchard.row_ids[:2], side=Side.LEFT)
    noted = {
        (row.orchard_row_id, row.stage, row.first_position, row.last_position, row.side)
        for row in view(database, orchard, pass_id).assignments
    }
    assert noted == {
        (row_id, stage, 1, TREES_IN_ROW, Side.LEFT)
        for row_id in orchard.row_ids[:2]
        for stage in (Stage.TOP, Stage.LIMBS)
    }


def test_naming_somebody_twice_notes_it_once(database, orchard):
    pass_id = begin(database, orchard)
    name(database, orchard, pass_id)
    name(database, orchard, pass_id, stages=[Stage.TOP, Stage.COLUMNS])
    stages = [row.stage for row in view(database, orchard, pass_id).assignments]
    assert sorted(stages) == sorted([Stage.TOP, Stage.LIMBS, Stage.COLUMNS])


def test_a_name_is_taken_off_one_row_alone(database, orchard):
    pass_id = begin(database, orchard)
    name(database, orchard, pass_id, row_ids=orchard.row_ids[:2])
    name(database, orchard, pass_id, worker_id=orchard.worker_ids[1])
    passes.withdraw_assignments(
        database,
        orchard.supervisor,
        pass_id,
        worker_id=orchard.worker_ids[0],
        row_ids=orchard.row_ids[:1],
    )
    left = {
        (row.worker_id, row.orchard_row_id) for row in view(database, orchard, pass_id).assignments
    }
    assert left == {
        (orchard.worker_ids[0], orchard.row_ids[1]),
        (orchard.worker_ids[1], orchard.row_ids[0]),
    }


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        ({"worker_id": 0}, {"worker_id": "This worker is not in the crew of this pass."}),
        ({"stages": []}, {"stages": "Choose at least one stage."}),
        ({"row_ids": []}, {"row_ids": "Choose at least one row."}),
        (
            {"first_position": 0},
            {"first_position": "Row 1 has trees 1 to 310 in this pass."},
        ),
        (
            {"last_position": TREES_IN_ROW + 1},
            {"last_position": "Row 1 has trees 1 to 310 in this pass."},
        ),
        (
            {"first_position": 9, "last_position": 8},
            {"last_position": "The last tree cannot come before the first."},
        ),
    ],
)
def test_who_cannot_be_named(database, orchard, changes, problems):
    pass_id = begin(database, orchard)
    assert problems_of(name, database, orchard, pass_id, **changes) == problems
    assert count(database, tables.assignment) == 0


def test_a_worker_of_another_crew_cannot_be_named(database, orchard):
    pass_id = begin(database, orchard)
    elsewhere = farms.add_crew(database, orchard.supervisor, name="Crew B")
    stranger = farms.add_worker(
        database, orchard.supervisor, code="B1", name="Ilse Morán", language="es", crew_id=elsewhere
    )
    assert problems_of(name, database, orchard, pass_id, worker_id=stranger) == {
        "worker_id": "This worker is not in the crew of this pass."
    }


def test_names_put_on_later_reach_the_scores_that_are_there(database, orchard):
    pass_id = begin(database, orchard)
    audit_id = begin_audit(database, orchard, finish(database, orchard, pass_id, 0))
    score_first_tree(database, orchard, audit_id)
    assert workers_of_scores(database, orchard, audit_id) == {None}

    name(database, orchard, pass_id, stages=list(Stage))
    assert workers_of_scores(database, orchard, audit_id) == {orchard.worker_ids[0]}

    passes.withdraw_assignments(
        database,
        orchard.supervisor,
        pass_id,
        worker_id=orchard.worker_ids[0],
        row_ids=orchard.row_ids[:1],
    )
    assert workers_of_scores(database, orchard, audit_id) == {None}


# --- the end -----------------------------------------------------------------------------------


def test_a_pass_ends_with_its_hours_and_both_can_be_corrected(database, orchard):
    pass_id = begin(database, orchard)
    end(database, orchard, pass_id, ended_at=NOW - timedelta(hours=1), hours=31.5)
    end(database, orchard, pass_id, ended_at=NOW, hours=None)
    found = view(database, orchard, pass_id).crew_pass
    assert (found.ended_at, found.hours) == (NOW, None)


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        (
            {"ended_at": BEGUN - timedelta(minutes=1)},
            {"ended_at": "The pass cannot end before it began."},
        ),
        ({"ended_at": NOW + timedelta(minutes=1)}, {"ended_at": "This time is still to come."}),
        (
            {"ended_at": BEGUN + timedelta(minutes=59)},
            {"ended_at": "A row was finished later than that."},
        ),
        ({"hours": 0.0}, {"hours": "Give the hours of all people together, more than 0."}),
        ({"hours": 10_001.0}, {"hours": "Give the hours of all people together, more than 0."}),
    ],
)
def test_how_a_pass_cannot_end(database, orchard, changes, problems):
    pass_id = begin(database, orchard)
    finish(database, orchard, pass_id, 0, BEGUN + timedelta(hours=1))
    assert problems_of(end, database, orchard, pass_id, **changes) == problems
    assert view(database, orchard, pass_id).crew_pass.ended_at is None


def end(database, orchard, pass_id, **changes) -> None:
    entered = {"ended_at": NOW, "hours": None, "now": NOW}
    passes.end_pass(database, orchard.supervisor, pass_id, **(entered | changes))


# --- lists -------------------------------------------------------------------------------------


def test_passes_are_listed_by_season_newest_first(database, orchard):
    first = begin(database, orchard)
    second = begin(database, orchard, started_at=BEGUN + timedelta(days=1))
    listed = pass_views.list_passes(database, orchard.supervisor, 2025)
    assert [line.id for line in listed.lines] == [second, first]
    assert listed.seasons == [2025]
    assert pass_views.list_passes(database, orchard.supervisor, 2024).lines == []


def test_the_list_counts_rows_and_lots(database, orchard):
    pass_id = begin(database, orchard)
    begin_audit(database, orchard, finish(database, orchard, pass_id, 0))
    finish(database, orchard, pass_id, 1)
    listed = pass_views.list_passes(database, orchard.supervisor, 2025)
    (line,) = listed.lines
    assert (line.rows, line.rows_finished) == (6, 2)
    assert listed.lots[pass_id] == {LotState.IN_AUDIT: 1, LotState.WAITING: 1}


def test_the_list_leaves_other_farms_out(database, orchard, other):
    begin(database, other)
    assert pass_views.list_passes(database, orchard.supervisor, 2025).lines == []


def test_a_new_pass_knows_which_rows_were_pruned_this_season(database, orchard):
    begin(database, orchard, row_ids=orchard.row_ids[:2])
    offered = pass_views.view_new_pass(
        database, orchard.supervisor, orchard.block_id, date(2026, 1, 20)
    )
    assert offered.done == frozenset(orchard.row_ids[:2])
    assert [row.id for row in offered.rows] == orchard.row_ids
    assert [(crew.id, people) for crew, people in offered.crews] == [(orchard.crew_id, 6)]
    next_season = pass_views.view_new_pass(
        database, orchard.supervisor, orchard.block_id, date(2026, 11, 20)
    )
    assert next_season.done == frozenset()


def test_a_pass_is_read_in_as_many_statements_whatever_its_size(database, orchard):
    pass_id = begin(database, orchard)
    with statements_of(database) as few:
        view(database, orchard, pass_id)
    for row in range(6):
        finish(database, orchard, pass_id, row)
        name(database, orchard, pass_id, row_ids=[orchard.row_ids[row]])
    with statements_of(database) as many:
        view(database, orchard, pass_id)
    assert len(many) == len(few) <= 13


def begin_audit(database, orchard, lot_id) -> int:
    return auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=7,
        client_id=f"audit-{lot_id}",
        device=Device("desk"),
        now=NOW,
    )


def score_first_tree(database, orchard, audit_id) -> None:
    standing = auditing.view_audit(database, orchard.supervisor, audit_id)
    answers = {
        "stages": {stage: {"kind": "class", "tap": "right"} for stage in standing.book.draw.stages}
    }
    tree = auditing.TreeEntry(standing.walk[0].id, "tree-1", answers, Device("desk"))
    auditing.record_trees(database, orchard.supervisor, audit_id, [tree], NOW)


def workers_of_scores(database, orchard, audit_id) -> set[int | None]:
    with database.read() as connection:
        scores = audit_queries.current_stage_scores(connection, orchard.farm_id, audit_id)
        assert scores
        return {score.worker_id for score in scores}


def test_a_lot_of_the_pass_is_found_by_its_state(database, orchard):
    lot_id = finish(database, orchard, begin(database, orchard), 0)
    with database.read() as connection:
        waiting = queries.lots_in_state(connection, orchard.farm_id, LotState.WAITING)
    assert [found.id for found in waiting] == [lot_id]
