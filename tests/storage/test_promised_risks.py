"""
The whole application decides as its plans promise.

Lots with a known number of nonconforming trees, strewn at random, go through the real services:
pass, finished row, draw, scoring, verdict, seal. The share of accepted lots and the trees looked
at are held against the exact hypergeometric figures, computed here wave by wave and tree by tree
with scipy.stats, which the application does not use. Volumes: 500 lots at each of the two design
qualities, 5,000 with --long.

Where bad trees stand in runs no exact figures are known; there the services are held against the
simulation that the plan page quotes. Volumes: 100 lots for each length of run, 1,000 with --long.
"""

import logging
import math
from datetime import UTC, date, datetime, timedelta
from itertools import accumulate
from random import Random
from statistics import mean, stdev
from uuid import UUID

import pytest
from scipy import stats

from audits.sampling import WavePlan, simulate_clusters
from audits.sampling.stored import read_plan
from audits.services import auditing, passes, sealing, standards
from audits.services.auditing import Device, TreeEntry
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries.standards import versions_of_block
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
    """Audits lots whose faults are known, every one of them, on all stages or on those named."""

    def __init__(self, database, seed, stages=tuple(Stage)):
        self.database = database
        self.orchard = plant_orchard(database, NOW)
        self.random = Random(seed)  # noqa: S311 - a simulation
        self.trees = []
        self._write_standard(stages)

    def _write_standard(self, stages):
        farm_id, block_id = self.orchard.farm_id, self.orchard.block_id
        with self.database.read() as connection:
            payload = dict(versions_of_block(connection, farm_id, block_id)[0].payload)
        # Every lot is audited, however many were accepted before it.
        payload["sampling"] = {**payload["sampling"], "skip_lots": False}
        for stage in Stage:
            payload[stage.value] = {**payload[stage.value], "in_use": stage in stages}
        standards.write_standard(
            self.database,
            self.orchard.supervisor,
            block_id,
            payload=payload,
            in_force_from=date(2025, 12, 1),
            now=NOW,
        )

    def strewn(self, count):
        """Choose so many trees of the row at random."""
        return frozenset(self.random.sample(range(1, TREES_IN_ROW + 1), count))

    def in_runs(self, count, run_length):
        """Choose so many trees of the row in runs strewn at random, one of them shorter."""
        runs = [run_length] * (count // run_length)
        if count % run_length:
            runs.append(count % run_length)
        # 0 is a good tree, anything else a run of so many bad ones.
        parts = [0] * (TREES_IN_ROW - count) + runs
        self.random.shuffle(parts)
        is_bad = [bool(part) for part in parts for _ in range(max(1, part))]
        return frozenset(position for position, bad in enumerate(is_bad, start=1) if bad)

    def accepts(self, bad):
        """Prune one row so that each stage has these nonconforming trees, and audit it."""
        actor, row_id = self.orchard.supervisor, self.orchard.row_ids[0]
        begun = NOW + timedelta(minutes=len(self.trees))
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
        should_pass = self._score(audit_id, bad)
        sealing.seal_audit(self.database, actor, audit_id, begun + timedelta(hours=3))
        with self.database.read() as connection:
            lot = pass_queries.lot_by_id(connection, self.orchard.farm_id, lot_id)
        assert (lot.state is LotState.ACCEPTED) == should_pass
        return should_pass

    def _score(self, audit_id, bad):
        """
        Enter trees in the order of the walk until all is decided, the last one by itself.

        Return whether the lot should be accepted.
        """
        view = auditing.view_audit(self.database, self.orchard.supervisor, audit_id)
        ends = [
            end_of_walk(
                waves_of(standing.plan),
                [tree.position in bad.get(standing.stage, ()) for tree in view.walk],
            )
            for standing in view.standings
        ]
        needed = max(seen for seen, _ in ends)
        *before, last = view.walk[:needed]
        assert not self._enter(audit_id, before, bad).all_decided
        assert self._enter(audit_id, [last], bad).all_decided
        self.trees.append(needed)
        return all(is_accepted for _, is_accepted in ends)

    def _enter(self, audit_id, trees, bad):
        entries = [
            TreeEntry(tree.id, self._client_id(), self._answers(tree.position, bad), DEVICE)
            for tree in trees
        ]
        return auditing.record_trees(
            self.database, self.orchard.supervisor, audit_id, entries, NOW + timedelta(hours=2)
        )

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


def waves_of(plan):
    """Return size, acceptance and rejection number of each wave, as the plan's fields say them."""
    assert isinstance(plan, WavePlan)
    return [
        (size, -1 if accepted is None else accepted, size + 1 if rejected is None else rejected)
        for size, accepted, rejected in zip(
            plan.sizes, plan.acceptance_numbers, plan.rejection_numbers, strict=True
        )
    ]


def acceptance(waves, bad, trees=TREES_IN_ROW, walked=0, found=0):
    """Return the chance that a lot is accepted: what the next wave may hold, and what follows."""
    (size, accepted, rejected), *later = waves
    drawn = size - walked
    chance = 0.0
    for more in range(min(drawn, bad) + 1):
        if found + more >= rejected:
            break
        holds = stats.hypergeom.pmf(more, trees, bad, drawn)
        if found + more > accepted:
            holds *= acceptance(later, bad - more, trees - drawn, size, found + more)
        chance += holds
    return chance


def chances_open(waves, bad):
    """Return the chance that a stage is not decided after 0, 1, 2, ... trees of its sample."""
    paths = {0: 1.0}
    chances = [1.0]
    for seen in range(1, waves[-1][0] + 1):
        left = TREES_IN_ROW - seen + 1
        onward = {}
        for found, chance in paths.items():
            for more in range(min(1, bad - found) + 1):
                holds = stats.hypergeom.pmf(more, left, bad - found, 1)
                onward[found + more] = onward.get(found + more, 0.0) + chance * holds
        paths = {
            found: chance for found, chance in onward.items() if not is_decided(waves, seen, found)
        }
        chances.append(math.fsum(paths.values()))
    return chances


def outcome(waves, seen, found, *, rest_fails):
    """Tell whether the lot is accepted if all further trees fail, or all do not."""
    for size, accepted, rejected in waves:
        if size < seen:
            continue
        counted = found + (size - seen if rest_fails else 0)
        if counted >= rejected:
            return False
        if counted <= accepted:
            return True
    raise AssertionError


def is_decided(waves, seen, found):
    """Tell whether the trees still to come can change nothing any more."""
    at_worst = outcome(waves, seen, found, rest_fails=True)
    return at_worst == outcome(waves, seen, found, rest_fails=False)


def end_of_walk(waves, fails):
    """Return after how many trees a stage is decided, the trees failing or not, and how."""
    counts = enumerate(accumulate(fails), start=1)
    return next(
        (seen, outcome(waves, seen, found, rest_fails=False))
        for seen, found in counts
        if is_decided(waves, seen, found)
    )


def trees_expected(stages):
    """Return the mean number of trees until every stage is decided, the stages independent."""
    open_by_stage = [chances_open(waves, bad) for waves, bad in stages]
    longest = max(map(len, open_by_stage))
    return math.fsum(
        1.0 - math.prod(1.0 - chances[seen] for chances in open_by_stage if seen < len(chances))
        for seen in range(longest)
    )


# So many lots take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize(
    "nonconforming",
    [
        pytest.param(dict.fromkeys(Stage, ACCEPTABLE_TREES), id="acceptable in every stage"),
        pytest.param({Stage.COLUMNS: REJECTABLE_TREES}, id="rejectable in one stage"),
    ],
)
def test_lots_are_decided_as_often_and_as_soon_as_the_plan_promises(
    quick_database, volume, nonconforming
):
    lots = volume(short=200, long=5_000)
    season = Season(quick_database, seed=7)
    accepted = sum(
        season.accepts({stage: season.strewn(count) for stage, count in nonconforming.items()})
        for _ in range(lots)
    )

    stages = [
        (waves_of(plan), nonconforming.get(stage, 0))
        for stage, plan in _plan(quick_database, season).items()
    ]
    chance = math.prod(acceptance(waves, bad) for waves, bad in stages)
    risk = stats.binomtest(accepted, lots, chance).pvalue
    LOG.info("%s of %s lots accepted, exact %.4f, p %.3f", accepted, lots, chance, risk)
    expected = trees_expected(stages)
    trees = p_value_of_mean(season.trees, expected)
    LOG.info("%.3f trees a lot, exact %.3f, p %.3f", mean(season.trees), expected, trees)
    assert risk > LEAST_P_VALUE
    assert trees > LEAST_P_VALUE


def p_value_of_mean(values, expected):
    """Test a mean two-sided, by the normal law and the sample's own standard deviation."""
    error = stdev(values) / math.sqrt(len(values))
    return 2 * stats.norm.sf(abs(mean(values) - expected) / error)


# So many lots take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize("run_length", [3, 10, 30])
def test_lots_with_bad_trees_in_runs_fare_as_the_simulation_says(
    quick_database, volume, run_length
):
    lots = volume(short=60, long=1_000)
    season = Season(quick_database, seed=8, stages=[Stage.COLUMNS])
    accepted = sum(
        season.accepts({Stage.COLUMNS: season.in_runs(REJECTABLE_TREES, run_length)})
        for _ in range(lots)
    )

    plan = _plan(quick_database, season)[Stage.COLUMNS]
    simulated = simulate_clusters(plan, REJECTABLE_TREES, TREES_IN_ROW, run_length, rows=10_000)
    risk = stats.fisher_exact(
        [
            [accepted, lots - accepted],
            [simulated.accepted, simulated.rows - simulated.accepted],
        ]
    ).pvalue
    strewn = acceptance(waves_of(plan), REJECTABLE_TREES)
    LOG.info(
        "runs of %s: %s of %s lots accepted, simulated %.4f, strewn %.4f, p %.3f",
        *(run_length, accepted, lots, simulated.chance, strewn, risk),
    )
    error = math.hypot(stdev(season.trees) / math.sqrt(lots), simulated.standard_error)
    trees = 2 * stats.norm.sf(abs(mean(season.trees) - simulated.mean_trees) / error)
    LOG.info(
        "%.3f trees a lot, simulated %.3f, p %.3f", mean(season.trees), simulated.mean_trees, trees
    )
    assert risk > LEAST_P_VALUE
    assert trees > LEAST_P_VALUE


def test_the_plan_keeps_the_risks_of_the_standard(quick_database):
    """Default promises: 5 % whole-lot producer's risk over four stages, 10 % consumer's risk."""
    season = Season(quick_database, seed=1)
    season.accepts({})
    plans = _plan(quick_database, season).values()
    good_lot = 1.0
    for plan in plans:
        good_lot *= acceptance(waves_of(plan), ACCEPTABLE_TREES)
        assert acceptance(waves_of(plan), REJECTABLE_TREES) <= 0.10
    assert len(plans) == 4
    assert good_lot >= 0.95


def _plan(database, season):
    with database.read() as connection:
        lots = pass_queries.lots_of_pass(connection, season.orchard.farm_id, 1)
        draw = audit_queries.draws_of_lot(connection, season.orchard.farm_id, lots[0].id)[0]
        rows = audit_queries.draw_stages(connection, season.orchard.farm_id, draw.id)
    return {row.stage: read_plan(row.plan) for row in rows}
