"""The simulated season is believable, complete, and agrees with the rates it was made from."""

from collections import Counter
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from scipy import stats

from audits.demo import HARD_BLOCK, make_demo
from audits.learning.items import ItemFlag
from audits.records import Actor
from audits.services.agreement import view_agreement
from audits.services.briefings import BriefState, view_briefings
from audits.services.calibrating import list_walks
from audits.services.comparing import compare
from audits.services.fitting import ask_for_fits, run_fit
from audits.services.item_bank import item_report
from audits.services.rescoring import check_scores
from audits.services.training import list_trainings
from audits.services.trends import list_workers, worker_trend
from audits.storage.database import Database
from audits.storage.queries.accounts import user_by_name
from audits.storage.schema import upgrade
from audits.storage.tables import (
    audit,
    block,
    contest,
    crew,
    double_check,
    lot,
    practice_result,
    quiz_attempt,
    rollup,
    stage_learning,
    worker,
)
from audits.vocabulary import LotState, PracticeLevel, Purpose, QuizSource, Role, Stage

NOW = datetime(2026, 3, 4, 22, 0, tzinfo=UTC)
SEASON = 2026
STRICT_STAGES = {Stage.LIMBS, Stage.COLUMNS}


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "farm.db"
    database = Database(f"sqlite:///{path}", durable=False)
    upgrade(database)
    progress = []
    demo = make_demo(database, NOW, progress=lambda done, whole: progress.append((done, whole)))
    yield database, demo, progress
    database.close()


def count(database, table):
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


def test_it_is_a_whole_season(season):
    database, demo, progress = season
    assert demo.audits >= 200
    assert count(database, block) >= 4
    assert count(database, crew) == 2
    assert count(database, worker) >= 20
    assert progress[-1][0] == progress[-1][1]
    assert progress == sorted(progress)


def test_something_waits_in_every_state_a_visitor_should_see(season):
    database, _, _ = season
    with database.read() as connection:
        states = set(connection.scalars(sa.select(lot.c.state).distinct()))
    seen = {LotState.WAITING, LotState.ACCEPTED, LotState.REWORK, LotState.NOT_CHOSEN}
    assert seen <= states


def test_every_score_equals_its_recomputation(season):
    database, demo, _ = season
    report = check_scores(database, demo.farm_id)
    assert report.audits >= demo.audits
    assert report.differences == []


def test_rates_of_a_fair_auditor_agree_with_the_true_ones(season):
    """Missed trees and sides add a little to every rate; two workers' rates change by design."""
    database, demo, _ = season
    with database.read() as connection:
        rows = connection.execute(
            sa.select(
                rollup.c.worker_id,
                rollup.c.stage,
                sa.func.sum(rollup.c.nonconforming),
                sa.func.sum(rollup.c.due),
            )
            .join(audit, audit.c.id == rollup.c.audit_id)
            .join(block, block.c.id == rollup.c.block_id)
            .where(
                rollup.c.purpose == Purpose.FIRST,
                rollup.c.worker_id.is_not(None),
                audit.c.auditor_id != demo.strict_auditor,
                block.c.name != HARD_BLOCK,
            )
            .group_by(rollup.c.worker_id, rollup.c.stage)
        ).all()
    missed = 0.01
    steady = [
        (faulty, due, min(1.0, demo.true_rates[worker_id][stage] + missed / 2))
        for worker_id, stage, faulty, due in rows
        if (worker_id, stage) not in {(demo.drifting, Stage.TOP), (demo.trained, Stage.LIMBS)}
    ]
    surprising = [counts for counts in steady if stats.binomtest(*counts).pvalue < 1e-3]
    assert len(steady) >= 60
    assert surprising == []


def test_the_worker_whose_tops_drift_high_is_found(season):
    database, demo, _ = season
    owner = the_owner(database, demo)
    trend = worker_trend(database, owner, demo.drifting, SEASON)
    (top,) = [stage for stage in trend.stages if stage.stage is Stage.TOP]
    assert top.has_signal
    assert top.is_beyond_standard
    others = [
        line.worker.id
        for line in list_workers(database, owner, SEASON).lines
        if Stage.TOP in line.signals and line.worker.id != demo.drifting
    ]
    assert others == []


def test_a_hard_block_is_not_blamed_on_its_crew_and_a_strict_auditor_is_seen(season):
    database, demo, _ = season
    owner = the_owner(database, demo)
    for fit_id in ask_for_fits(database, owner, SEASON, Stage.COLUMNS, NOW):
        run_fit(database, demo.farm_id, fit_id, lambda: NOW)
    found = compare(database, owner, SEASON, NOW, stage=Stage.COLUMNS)
    (hard,) = [line for line in found.blocks if line.name == HARD_BLOCK]
    (strict,) = [line for line in found.auditors if line.id == demo.strict_auditor]
    assert (hard.side, strict.side) == (1, 1)
    crudely = {line.worker.id for line in found.lines if line.is_beyond}
    fairly = {line.worker.id for line in found.lines if line.is_fairly_beyond}
    # Nobody's columns are worse by design; much of it is the block's and the auditor's.
    assert len(fairly) < len(crudely)


def test_check_trees_show_who_calls_more_than_there_is(season):
    database, demo, _ = season
    walks = list_walks(database, the_owner(database, demo))
    assert len(walks) == 2
    assert all(walk.is_closed and walk.shows_answers for walk in walks)
    found = view_agreement(database, the_owner(database, demo), SEASON, NOW)
    only_strict, only_other = 0, 0
    for pair in found.pairs:
        ids = (pair.first.id, pair.second.id)
        if demo.strict_auditor in ids:
            tables = [reading.table for reading in pair.readings if reading.stage in STRICT_STAGES]
            first, second = (
                sum(table[0][1] for table in tables),
                sum(table[1][0] for table in tables),
            )
            own = ids.index(demo.strict_auditor)
            only_strict += (first, second)[own]
            only_other += (second, first)[own]
    # Everybody overlooks a fault now and then.
    assert only_strict > 3 * only_other


def test_a_training_a_learner_and_a_disagreement_are_there_to_see(season):
    database, demo, _ = season
    owner = the_owner(database, demo)
    trainings = list_trainings(database, owner, SEASON, NOW.date())
    assert [event.worker_id for event in trainings.events] == [demo.trained]
    assert count(database, stage_learning) >= 2
    assert count(database, contest) == 2
    assert count(database, double_check) >= 5


def the_owner(database, demo):
    name = demo.sign_ins[0].name
    with database.read() as connection:
        user = user_by_name(connection, demo.farm_id, name)
    return Actor(user.id, demo.farm_id, name, Role.OWNER, "en", None)


def test_people_learn_beside_the_audits(season):
    """Quizzes in both languages, one item that misleads in Spanish, practice, lapsed briefs."""
    database, demo, _ = season
    owner = the_owner(database, demo)
    report = item_report(database, owner, NOW)
    flagged = [line for line in report.lines if line.reading and line.reading.flags]
    assert [line.reading.flags for line in flagged] == [(ItemFlag.HARDER_IN_SPANISH,)]
    assert flagged[0].stage is Stage.LIMBS
    with database.read() as connection:
        attempts = connection.execute(
            sa.select(quiz_attempt.c.worker_id, quiz_attempt.c.language, quiz_attempt.c.source)
        ).all()
        problems = set(connection.scalars(sa.select(practice_result.c.problem)))
        levels = set(connection.scalars(sa.select(practice_result.c.level)))
    takers = Counter(one.worker_id for one in attempts)
    assert sum(times > 1 for times in takers.values()) >= 12
    assert {one.language for one in attempts} == {"en", "es"}
    assert {one.source for one in attempts} == set(QuizSource)
    assert problems == {None}
    assert count(database, practice_result) >= 72
    assert levels == set(PracticeLevel)
    standings = view_briefings(database, owner, NOW.date()).standings
    states = {one.state for of_method in standings.values() for one in of_method}
    assert states == set(BriefState)
