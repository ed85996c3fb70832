"""The bank of quiz items on both databases: what answers say, retiring and restoring."""

from datetime import UTC, datetime, timedelta

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.learning.items import LEAST_PEOPLE
from audits.question_bank import makers
from audits.quizzes import make_quiz
from audits.services import farms
from audits.services.item_bank import (
    item_report,
    restore_item,
    retire_item,
    retired_now,
    retired_sets,
)
from audits.services.standards import standard_of
from audits.storage.queries.fetch import insert_many
from audits.storage.queries.standards import standard_by_id
from audits.storage.tables import retired_item
from audits.vocabulary import Method, Stage
from tests.learned_rows import add_quiz
from tests.orchard import plant_orchard

NOW = datetime(2026, 1, 20, 17, tzinfo=UTC)


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


@pytest.fixture
def standard(database, orchard):
    with database.read() as connection:
        return standard_of(standard_by_id(connection, orchard.farm_id, orchard.standard_id))


def test_a_retired_item_is_asked_no_more_and_comes_back(database, orchard, standard):
    item = make_quiz(standard, seed=5).questions[0].item
    retire_item(database, orchard.owner, item, reason="Two people read it two ways.", now=NOW)
    with database.read() as connection:
        assert retired_now(connection, orchard.farm_id) == (item,)
    assert item not in {q.item for q in make_quiz(standard, seed=5, retired=(item,)).questions}
    (line,) = [
        line for line in item_report(database, orchard.supervisor, NOW).lines if line.retired
    ]
    assert (line.item, line.retired.reason) == (item, "Two people read it two ways.")
    with pytest.raises(Conflict, match="retired already"):
        retire_item(database, orchard.owner, item, reason="again", now=NOW)

    restore_item(database, orchard.owner, item, now=NOW + timedelta(days=1))
    with database.read() as connection:
        assert retired_now(connection, orchard.farm_id) == ()
    with pytest.raises(NotFound):
        restore_item(database, orchard.owner, item, now=NOW)


def test_every_list_that_a_paper_may_have_been_made_under_is_known(database, orchard, standard):
    one, two = sorted({q.item for q in make_quiz(standard, seed=5).questions})[:2]
    retire_item(database, orchard.owner, one, reason="first", now=NOW)
    retire_item(database, orchard.owner, two, reason="second", now=NOW + timedelta(days=1))
    restore_item(database, orchard.owner, one, now=NOW + timedelta(days=2))
    with database.read() as connection:
        assert retired_sets(connection, orchard.farm_id) == [(two,), (one, two), (one,), ()]


def test_only_owners_retire_and_with_a_reason(database, orchard, standard):
    item = make_quiz(standard, seed=5).questions[0].item
    with pytest.raises(NotAllowed):
        retire_item(database, orchard.supervisor, item, reason="so", now=NOW)
    with pytest.raises(InvalidInput):
        retire_item(database, orchard.owner, item, reason=" ", now=NOW)
    with pytest.raises(NotFound):
        retire_item(database, orchard.owner, "no such item", reason="so", now=NOW)
    with pytest.raises(NotAllowed):
        item_report(database, orchard.worker, NOW)


def retire_all(database, orchard, items):
    """Retire items without anybody asking whether enough is left."""
    with database.write() as connection:
        insert_many(
            connection,
            retired_item,
            [
                {
                    "farm_id": orchard.farm_id,
                    "item": item,
                    "reason": "so",
                    "retired_at": NOW,
                    "retired_by": orchard.owner.user_id,
                }
                for item in items
            ],
        )


@pytest.mark.parametrize("stage", [Stage.TOP, None])
def test_the_last_item_of_a_stage_or_on_safety_stays(database, orchard, standard, stage):
    *others, last = [
        maker.name for maker in makers(standard, Method.GROUND) if maker.stage is stage
    ]
    retire_all(database, orchard, others)
    with pytest.raises(Conflict, match="Creek Block would have too little left to ask"):
        retire_item(database, orchard.owner, last, reason="so", now=NOW)


def test_no_block_is_left_without_a_quiz(database, orchard):
    *others, last = [line.item for line in item_report(database, orchard.owner, NOW).lines]
    retire_all(database, orchard, others)
    with pytest.raises(Conflict, match="Creek Block would have too little left to ask"):
        retire_item(database, orchard.owner, last, reason="so", now=NOW)


def test_totals_of_first_quizzes_are_summed_up_once_people_are_enough(database, orchard):
    hired = [
        farms.add_worker(
            database,
            orchard.owner,
            code=f"N{number}",
            name=f"Nuevo {number}",
            language="es",
            crew_id=orchard.crew_id,
        )
        for number in range(LEAST_PEOPLE)
    ]
    with database.write() as connection:
        for number, worker_id in enumerate(hired):
            rights = [int(place < 4 + number % 6) for place in range(10)]
            add_quiz(connection, orchard, worker_id, rights)
            # A second quiz of the same person counts for nothing here.
            add_quiz(connection, orchard, worker_id, [1] * 10)
    report = item_report(database, orchard.owner, NOW)
    quizzes = report.quizzes
    assert (quizzes.people, quizzes.questions) == (LEAST_PEOPLE, 10)
    assert quizzes.mean == pytest.approx(6.3)
    assert quizzes.same_quiz.people == LEAST_PEOPLE
    assert report.answers == 10 * LEAST_PEOPLE
    hardest = next(line for line in report.lines if line.item == "item 10")
    assert (hardest.reading.people, hardest.reading.right) == (LEAST_PEOPLE, 0)
