"""The simulated season is believable, complete, and agrees with the rates it was made from."""

from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from scipy import stats

from audits.demo import HARD_BLOCK, make_demo
from audits.services.rescoring import check_scores
from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.storage.tables import audit, block, crew, lot, rollup, worker
from audits.vocabulary import LotState, Purpose, Stage

NOW = datetime(2026, 3, 4, 22, 0, tzinfo=UTC)


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
