"""Learning beside the row, on both databases."""

from datetime import UTC, date, datetime, timedelta

import pytest

from audits.errors import NotAllowed
from audits.learning.association import Bearing
from audits.learning.curves import CurveForm, fit_fault_curve
from audits.services.farms import add_worker
from audits.services.learning_results import Source, Tally, farm_learned, worker_learned
from audits.services.sign_offs import sign_off
from audits.services.standards import standard_of, write_standard
from audits.storage.queries.fetch import insert
from audits.storage.queries.standards import standard_by_id, versions_of_block
from audits.storage.tables import stage_learning
from audits.vocabulary import Result, Stage
from tests.learned_rows import NOW, add_exercise, add_practice, add_quiz
from tests.orchard import plant_orchard
from tests.scored_season import SEASON, BlockIds, add_audit, add_lot, day, trees

TOP = Stage.TOP


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


def test_a_worker_s_learning_stands_beside_the_worker_s_trees(database, orchard):
    worker_id, other = orchard.worker_ids[:2]
    with database.write() as connection:
        add_practice(
            connection,
            orchard,
            worker_id,
            [Result.CONFORMING, Result.NONCONFORMING, Result.NOT_DUE, Result.NOT_SCORED],
        )
        add_practice(
            connection, orchard, worker_id, [Result.NONCONFORMING], at=NOW - timedelta(days=200)
        )
        add_practice(connection, orchard, other, [Result.NONCONFORMING])
        add_quiz(connection, orchard, worker_id, [1, 0, 1])
        add_exercise(connection, orchard, worker_id, is_right=True)
        add_audit(connection, orchard, trees(TOP, worker_id, "oxo-"), started_at=day(1))
    found = worker_learned(database, orchard.worker, worker_id, SEASON)
    (top,) = found.stages
    assert top.learned == {
        # Leaving alone what is not due is right; what could not be scored is not counted.
        Source.PRACTICE: Tally(3, 2),
        Source.EXERCISES: Tally(1, 1),
        Source.QUIZZES: Tally(3, 2),
    }
    assert (top.row, top.trees, top.faults) == (Tally(3, 2), 3, 1)
    assert top.curves == {}


def test_workers_see_their_own_learning_and_nobody_elses(database, orchard):
    with pytest.raises(NotAllowed):
        worker_learned(database, orchard.worker, orchard.worker_ids[1], SEASON)
    with pytest.raises(NotAllowed):
        farm_learned(database, orchard.worker, SEASON)


def test_the_curve_counts_the_audited_trees_of_all_seasons_in_order(database, orchard):
    worker_id = orchard.worker_ids[0]
    first, second = "xxxoxxooxo", "ooxoooooooooooxooooo"
    with database.write() as connection:
        # Written down the other way round: the order is that of scoring.
        add_audit(connection, orchard, trees(TOP, worker_id, second), started_at=day(9))
        add_audit(
            connection,
            orchard,
            trees(TOP, worker_id, first),
            started_at=day(1) - timedelta(days=365),
        )
    (top,) = worker_learned(database, orchard.supervisor, worker_id, SEASON).stages
    assert [(point.last, point.nonconforming) for point in top.points] == [
        (10, 6),
        (20, 1),
        (30, 1),
    ]
    assert top.row == Tally(20, 18)
    outcomes = [letter == "x" for letter in first + second]
    assert top.curves[CurveForm.UNIT] == fit_fault_curve(outcomes)


def test_practice_that_goes_with_the_row_is_told_across_workers(database, orchard):
    ids = [
        *orchard.worker_ids,
        *(
            add_worker(
                database,
                orchard.owner,
                code=f"N{n}",
                name=f"Nuevo {n}",
                language="es",
                crew_id=orchard.crew_id,
            )
            for n in range(8)
        ),
    ]
    with database.write() as connection:
        for place, worker_id in enumerate(ids):
            add_practice(
                connection,
                orchard,
                worker_id,
                [Result.CONFORMING] * place + [Result.NONCONFORMING] * (14 - place),
            )
            # Too few questions to count.
            add_quiz(connection, orchard, worker_id, [1, 1])
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "o" * place + "x" * (14 - place)),
                started_at=day(1) + timedelta(minutes=place),
            )
    found = farm_learned(database, orchard.owner, SEASON)
    (top,) = found.stages
    assert top.people == {Source.PRACTICE: 14, Source.EXERCISES: 0, Source.QUIZZES: 0}
    assert top.associations[Source.PRACTICE].coefficient == pytest.approx(1)
    assert found.bearings[Source.PRACTICE] == {TOP: Bearing.SAME_WAY}
    assert found.bearings[Source.QUIZZES] == {TOP: Bearing.UNKNOWN}
    assert len(found.workers) == 14


def begin_learning(connection, orchard, worker_id):
    insert(
        connection,
        stage_learning,
        {
            "farm_id": orchard.farm_id,
            "worker_id": worker_id,
            "stage": TOP,
            "begun_on": date(2025, 12, 1),
            "begun_by": orchard.owner.user_id,
        },
    )


def test_days_to_standard_count_who_is_still_on_the_way(database, orchard):
    with database.write() as connection:
        for worker_id, pattern in zip(
            orchard.worker_ids[:3], ("o" * 20, "x" * 20, ""), strict=True
        ):
            begin_learning(connection, orchard, worker_id)
            # Before the day on which learning began, nothing counts.
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "o" * 30),
                started_at=datetime(2025, 11, 20, 16, tzinfo=UTC),
            )
            if pattern:
                add_audit(
                    connection,
                    orchard,
                    trees(TOP, worker_id, pattern),
                    started_at=datetime(2025, 12, 8, 16, tzinfo=UTC),
                )
    (days,) = farm_learned(database, orchard.owner, SEASON).days
    assert (days.now.people, days.now.arrived, days.now.median) == (3, 1, 7)
    assert (days.before.people, days.test) == (0, None)


def test_who_was_signed_off_stays_so_when_a_later_standard_asks_for_more_trees(database, orchard):
    signed, unsigned = orchard.worker_ids[:2]
    with database.write() as connection:
        for worker_id in (signed, unsigned):
            begin_learning(connection, orchard, worker_id)
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "o" * 20),
                started_at=datetime(2025, 12, 8, 16, tzinfo=UTC),
            )
    sign_off(database, orchard.owner, signed, stage=TOP, now=NOW)
    with database.read() as connection:
        before = standard_of(standard_by_id(connection, orchard.farm_id, orchard.standard_id))
    write_standard(
        database,
        orchard.owner,
        orchard.block_id,
        payload=before.model_dump(mode="json")
        | {"sign_off": {"trees": 40, "most_nonconforming": 0}},
        in_force_from=date(2025, 12, 10),
        now=NOW,
    )
    with database.write() as connection:
        versions = versions_of_block(connection, orchard.farm_id, orchard.block_id)
        later = max(version.id for version in versions)
        assert later != orchard.standard_id
        block = BlockIds(orchard.block_id, orchard.row_ids, later)
        finished_at = datetime(2025, 12, 15, 14, tzinfo=UTC)
        for worker_id in (signed, unsigned):
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "oo"),
                started_at=finished_at + timedelta(hours=2),
                lot_ids=add_lot(connection, orchard, finished_at=finished_at, block=block),
            )
    (days,) = farm_learned(database, orchard.owner, SEASON).days
    # The one who was not signed off is asked for 40 trees now.
    assert (days.now.people, days.now.arrived) == (2, 1)
    assert [step.days for step in days.now.steps] == [7]
