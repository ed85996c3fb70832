"""
The whole application decides as its plans promise.

Lots with a known number of nonconforming trees, strewn at random, go through the real services:
pass, finished row, draw, scoring, verdict, seal. The share of accepted lots is held against the
exact hypergeometric probability, computed by scipy.stats, which the application does not use.
Volumes: 300 lots at each of the two design qualities, 2,000 with --long.
"""

import logging
from datetime import UTC, datetime, timedelta
from itertools import islice
from random import Random
from uuid import UUID

import pytest
from scipy import stats

from audits.sampling import trees_until_certain
from audits.services import auditing, passes, sealing
from audits.services.auditing import Device, TreeEntry
from audits.services.scorebook import read_plan
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.schema import upgrade
from audits.vocabulary import STAGE_FAULTS, LotState, Method, PassKind, Stage
from tests.orchard import TREES_IN_ROW, plant_orchard

NOW = datetime(2026, 1, 20, 14, 0, tzinfo=UTC)
DEVICE = Device("simulated phone")
# What was measured shows with --log-cli-level=INFO.
LOG = logging.getLogger(__name__)

# Of 310 trees: 5 % rounded down and 25 % rounded up, the two qualities the standard names.
ACCEPTABLE_TREES = 15
REJECTABLE_TREES = 78
# Two-sided: once in ten thousand runs an application that keeps its promise fails this test.
LEAST_P_VALUE = 1e-4


@pytest.fixture
def quick_database(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'farm.db'}", durable=False)
    upgrade(database)
    yield database
    database.close()


class Season:
    """Audits lots whose faults are known."""

    def __init__(self, database, seed):
        self.database = database
        self.orchard = plant_orchard(database, NOW)
        self.random = Random(seed)  # noqa: S311 - a simulation
        self.trees = []

    def accepts(self, nonconforming_by_stage):
        """Prune one row so that each stage has so many nonconforming trees, and audit it."""
        actor, row_id = self.orchard.supervisor, self.orchard.row_ids[0]
        begun = NOW + timedelta(minutes=len(self.trees))
        bad = {
            stage: frozenset(self.random.sample(range(1, TREES_IN_ROW + 1), count))
            for stage, count in nonconforming_by_stage.items()
        }
        pass_id = passes.begin_pass(
            self.database,
            actor,
            block_id=self.orchard.block_id,
            crew_id=self.orchard.crew_id,
            kind=PassKind.DORMANT,
            method=Method.PLATFORM,
            row_ids=[row_id],
            started_at=begun,
        )
        lot_id = passes.finish_row(
            self.database, actor, pass_id, row_id, begun + timedelta(hours=1)
        )
        audit_id = auditing.begin_audit(
            self.database,
            actor,
            lot_id,
            seed=self.random.getrandbits(48),
            client_id=self._client_id(),
            device=DEVICE,
            now=begun + timedelta(hours=2),
        )
        self._score(audit_id, bad)
        sealing.seal_audit(self.database, actor, audit_id, begun + timedelta(hours=3))
        with self.database.read() as connection:
            lot = pass_queries.lot_by_id(connection, self.orchard.farm_id, lot_id)
        return lot.state is LotState.ACCEPTED

    def _score(self, audit_id, bad):
        actor = self.orchard.supervisor
        view = auditing.view_audit(self.database, actor, audit_id)
        walk = iter(view.walk)
        while not view.all_decided:
            needed = max(
                trees_until_certain(standing.plan, standing.tally).fewest
                for standing in view.standings
            )
            entries = [
                TreeEntry(tree.id, self._client_id(), self._answers(tree.position, bad), DEVICE)
                for tree in islice(walk, needed)
            ]
            view = auditing.record_trees(
                self.database, actor, audit_id, entries, NOW + timedelta(hours=2)
            )
        self.trees.append(len(view.answers))

    def _answers(self, position, bad):
        return {
            "stages": {
                stage.value: (
                    {"kind": "class", "tap": "fault", "faults": [STAGE_FAULTS[stage][0].value]}
                    if position in bad.get(stage, ())
                    else {"kind": "class", "tap": "right"}
                )
                for stage in Stage
            }
        }

    def _client_id(self):
        return str(UUID(int=self.random.getrandbits(128), version=4))


def stage_acceptance(nonconforming, plan):
    return stats.hypergeom.cdf(
        plan.acceptance_number, TREES_IN_ROW, nonconforming, plan.sample_size
    )


@pytest.mark.parametrize(
    "nonconforming_by_stage",
    [
        pytest.param(dict.fromkeys(Stage, ACCEPTABLE_TREES), id="acceptable in every stage"),
        pytest.param({Stage.COLUMNS: REJECTABLE_TREES}, id="rejectable in one stage"),
    ],
)
def test_lots_are_accepted_as_often_as_the_plan_promises(
    quick_database, volume, nonconforming_by_stage
):
    lots = volume(short=300, long=2_000)
    season = Season(quick_database, seed=7)
    accepted = sum(season.accepts(nonconforming_by_stage) for _ in range(lots))

    plan = _plan(quick_database, season)
    exact = 1.0
    for stage in Stage:
        exact *= stage_acceptance(nonconforming_by_stage.get(stage, 0), plan[stage])
    LOG.info(
        "%s of %s lots accepted, exact probability %.4f; %.2f trees a lot",
        accepted,
        lots,
        exact,
        sum(season.trees) / lots,
    )
    assert stats.binomtest(accepted, lots, exact).pvalue > LEAST_P_VALUE


def test_the_plan_keeps_the_risks_of_the_standard(quick_database):
    """Default promises: 5 % whole-lot producer's risk over four stages, 10 % consumer's risk."""
    season = Season(quick_database, seed=1)
    season.accepts({})
    plans = _plan(quick_database, season).values()
    good_lot = 1.0
    for plan in plans:
        good_lot *= stage_acceptance(ACCEPTABLE_TREES, plan)
        assert stage_acceptance(REJECTABLE_TREES, plan) <= 0.10
    assert len(plans) == 4
    assert good_lot >= 0.95


def _plan(database, season):
    with database.read() as connection:
        lots = pass_queries.lots_of_pass(connection, season.orchard.farm_id, 1)
        draw = audit_queries.draws_of_lot(connection, season.orchard.farm_id, lots[0].id)[0]
        rows = audit_queries.draw_stages(connection, season.orchard.farm_id, draw.id)
    return {row.stage: read_plan(row) for row in rows}
