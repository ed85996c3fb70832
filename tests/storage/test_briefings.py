"""Safety briefs: noted for several people, lapsing, withdrawn; who may not start."""

from datetime import UTC, date, datetime, timedelta

import pytest
import sqlalchemy as sa

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.services.briefings import (
    SOON_DAYS,
    BriefState,
    note_briefing,
    standing_on,
    view_briefings,
    who_may_not_start,
    withdraw_briefing,
    without_brief,
)
from audits.services.farms import edit_worker
from audits.storage.database import Database
from audits.storage.tables import farm, safety_briefing
from audits.vocabulary import Method
from tests.orchard import plant_orchard

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
TODAY = date(2026, 1, 20)
LADDER, PLATFORM = Method.LADDER, Method.PLATFORM


@pytest.fixture
def orchard(migrated_database: Database):
    return plant_orchard(migrated_database, now=NOW)


@pytest.fixture
def database(migrated_database: Database, orchard):
    with migrated_database.write() as connection:
        connection.execute(
            farm.update().where(farm.c.id == orchard.farm_id).values(briefing_days=30)
        )
    return migrated_database


def brief(database, orchard, people=(0,), *, day=TODAY, method=LADDER, language=None, actor=None):
    return note_briefing(
        database,
        actor or orchard.supervisor,
        NOW,
        worker_ids=[orchard.worker_ids[person] for person in people],
        method=method,
        held_on=day,
        language=language,
    )


def barred(database, orchard, day=TODAY, method=LADDER) -> set[int]:
    found = who_may_not_start(database, orchard.supervisor, method, day)
    return {standing.worker.id for standing in found}


def test_a_brief_holds_from_its_day_on_for_the_farms_days_and_for_its_method_alone(
    database, orchard
):
    """30 days: the day itself is the first, so the 29th day after it is the last."""
    brief(database, orchard)
    worker = orchard.worker_ids[0]
    assert worker not in barred(database, orchard, TODAY)
    assert worker not in barred(database, orchard, TODAY + timedelta(days=29))
    assert worker in barred(database, orchard, TODAY + timedelta(days=30))
    assert worker in barred(database, orchard, TODAY - timedelta(days=1))
    assert worker in barred(database, orchard, method=PLATFORM)
    assert orchard.worker_ids[1] in barred(database, orchard)


def test_a_later_rule_of_the_farm_changes_no_brief_that_was_noted(database, orchard):
    brief(database, orchard)
    with database.write() as connection:
        connection.execute(farm.update().values(briefing_days=1))
    assert orchard.worker_ids[0] not in barred(database, orchard, TODAY + timedelta(days=29))
    brief(database, orchard, (1,))
    assert orchard.worker_ids[1] not in barred(database, orchard, TODAY)
    assert orchard.worker_ids[1] in barred(database, orchard, TODAY + timedelta(days=1))


def test_sending_it_twice_notes_it_once_and_two_methods_are_two_briefs(database, orchard):
    assert brief(database, orchard, (0, 1, 1)) == 2
    assert brief(database, orchard, (0, 1, 2)) == 3
    brief(database, orchard, (0,), method=PLATFORM)
    with database.read() as connection:
        count = connection.scalar(sa.select(sa.func.count()).select_from(safety_briefing))
    assert count == 4


def test_a_withdrawn_brief_counts_no_more_and_stays_in_the_table(database, orchard):
    brief(database, orchard)
    (noted,) = view_briefings(database, orchard.owner, TODAY).latest
    withdraw_briefing(database, orchard.owner, noted.id, NOW)
    assert orchard.worker_ids[0] in barred(database, orchard)
    assert view_briefings(database, orchard.owner, TODAY).latest == []
    with database.read() as connection:
        row = connection.execute(sa.select(safety_briefing)).one()
    assert (row.withdrawn_by, row.held_on) == (orchard.owner.user_id, TODAY)
    brief(database, orchard)
    assert orchard.worker_ids[0] not in barred(database, orchard)


def test_without_a_language_each_persons_own_is_kept(database, orchard):
    brief(database, orchard, (0, 3))
    brief(database, orchard, (1,), language="en")
    view = view_briefings(database, orchard.owner, TODAY)
    languages = {note.worker_id: note.language for note in view.latest}
    assert languages == {
        orchard.worker_ids[0]: "es",
        orchard.worker_ids[3]: "en",
        orchard.worker_ids[1]: "en",
    }


@pytest.mark.parametrize(
    ("days", "state"),
    [
        (0, BriefState.HOLDS),
        (29 - SOON_DAYS, BriefState.HOLDS),
        (30 - SOON_DAYS, BriefState.LAPSES_SOON),
        (29, BriefState.LAPSES_SOON),
        (30, BriefState.LAPSED),
    ],
)
def test_how_a_brief_stands_on_each_day(database, orchard, days, state):
    brief(database, orchard)
    view = view_briefings(database, orchard.owner, TODAY)
    worker = view.workers[orchard.worker_ids[0]]
    standing = standing_on(worker, LADDER, view.latest, TODAY + timedelta(days=days))
    assert standing.state is state
    assert standing_on(worker, PLATFORM, view.latest, TODAY).state is BriefState.MISSING


def test_an_old_brief_entered_late_does_not_shorten_a_newer_one(database, orchard):
    brief(database, orchard)
    brief(database, orchard, day=TODAY - timedelta(days=200))
    assert orchard.worker_ids[0] not in barred(database, orchard)


def test_who_of_a_crew_may_not_start(database, orchard):
    brief(database, orchard, range(len(orchard.worker_ids) - 1))
    work = [(orchard.crew_id, LADDER), (orchard.crew_id, Method.GROUND), (999, LADDER)]
    found = without_brief(database, orchard.supervisor, work, TODAY)
    assert [worker.id for worker in found.pop((orchard.crew_id, LADDER))] == [
        orchard.worker_ids[-1]
    ]
    assert found == {}


def test_whoever_left_is_not_listed(database, orchard):
    before = barred(database, orchard)
    view = view_briefings(database, orchard.owner, TODAY)
    gone = view.workers[orchard.worker_ids[0]]
    edit_worker(
        database,
        orchard.owner,
        gone.id,
        code=gone.code,
        name=gone.name,
        language=gone.language,
        crew_id=gone.crew_id,
        started_on=gone.started_on,
        retired=True,
    )
    assert barred(database, orchard) == before - {gone.id}


def test_what_cannot_be_noted_is_said_and_nothing_is_kept(database, orchard):
    with pytest.raises(InvalidInput) as refused:
        note_briefing(
            database,
            orchard.supervisor,
            NOW,
            worker_ids=[orchard.worker_ids[0], 999],
            method=LADDER,
            held_on=TODAY + timedelta(days=1),
            language="xx",
        )
    assert set(refused.value.problems) == {"worker_ids", "held_on", "language"}
    with pytest.raises(InvalidInput):
        brief(database, orchard, ())
    with pytest.raises(NotFound):
        withdraw_briefing(database, orchard.owner, 999, NOW)
    assert view_briefings(database, orchard.owner, TODAY).latest == []


def test_workers_note_see_and_withdraw_nothing(database, orchard):
    brief(database, orchard)
    (noted,) = view_briefings(database, orchard.owner, TODAY).latest
    for refused in (
        lambda: brief(database, orchard, actor=orchard.worker),
        lambda: view_briefings(database, orchard.worker, TODAY),
        lambda: who_may_not_start(database, orchard.worker, LADDER, TODAY),
        lambda: without_brief(database, orchard.worker, [(1, LADDER)], TODAY),
        lambda: withdraw_briefing(database, orchard.worker, noted.id, NOW),
    ):
        with pytest.raises(NotAllowed):
            refused()
