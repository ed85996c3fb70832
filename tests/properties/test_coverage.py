"""
Ranges that people read hold the truth as often as they say, although audits stop early.

Workers with known true rates are audited for a season by the program's own plans and rules: a
walk ends as soon as every stage is decided, a stage that is decided records nothing more, and a
crew with five lots accepted in a row is audited one lot in three. So how many trees a worker has
depends on what was found on them, which no textbook interval foresees. Sources of the intervals
stand with them; that they hold here is shown by simulation alone.

Seasons are few in the short run and at least 2,000 with --long.
"""

import itertools
import math
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from scipy.special import expit

from audits.comparison.mixed_binomial import adjusted_chance, fit_binomial_mixed
from audits.comparison.mixed_linear import adjusted_value, fit_linear_mixed
from audits.comparison.shrinkage import fit_beta_binomial, shrunken_rates
from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    clopper_pearson,
    describe_rate,
    ratio_of_sums,
    wald,
    wilson_of_share,
)
from audits.lot_plans import plan_lot
from audits.sampling import StageTally, audit_effort, decide, is_lot_audited
from audits.standard import Standard, TopRule
from audits.vocabulary import Outcome

STATED = 0.95
STANDARD = Standard(top=TopRule(target_mm=3_000), row_spacing_mm=3_350.0)
LOT_SIZE = 300
SHARE_DUE = 0.9
LEAST_LONG = 2_000


@cache
def plans():
    return tuple(plan_lot(STANDARD, LOT_SIZE, STANDARD.stages_in_use).values())


@cache
def outcome(plan, walked):
    return decide(plan, *(StageTally(*wave) for wave in walked))


def walk_stage(plan, is_fault):
    """Walk until the stage is decided; return the trees scored and the outcome."""
    done, scored, found, trees = (), 0, 0, 0
    ends = [wave.size for wave in plan.waves]
    while True:
        scored, found, trees = scored + 1, found + bool(is_fault[trees]), trees + 1
        decided = outcome(plan, (*done, (scored, found)))
        if decided is not Outcome.OPEN:
            return trees, decided
        if trees in ends:
            done, scored, found = (*done, (scored, found)), 0, 0


class Audited(NamedTuple):
    """What one audit found in one stage, and in which lot of the season."""

    lot: int
    nonconforming: int
    due: int


def season(rng, rates_of_lots):
    """Audit a crew's lots, each with its true rate by stage; return what was found by stage."""
    history, found = [], [[] for _ in plans()]
    for lot, rates in enumerate(rates_of_lots):
        if not is_lot_audited(audit_effort(history).effort, rng.random()):
            history.append(None)
            continue
        accepted = True
        for stage, (plan, rate) in enumerate(zip(plans(), rates, strict=True)):
            due = rng.random(plan.sample_size) < SHARE_DUE
            fails = due & (rng.random(plan.sample_size) < rate)
            trees, decided = walk_stage(plan, fails)
            accepted &= decided is Outcome.ACCEPTED
            found[stage].append(Audited(lot, int(fails[:trees].sum()), int(due[:trees].sum())))
        history.append(accepted)
    return found


def sums(audits):
    return sum(each.nonconforming for each in audits), sum(each.due for each in audits)


class Coverage:
    """How often a range held the truth; seasons stand apart, since people of one share a fit."""

    def __init__(self):
        self.seasons = []

    def add(self, held):
        self.seasons.append(np.mean(held))

    @property
    def share(self):
        return float(np.mean(self.seasons))

    @property
    def chance(self):
        """Four standard errors: no run in ten thousand goes beyond by chance."""
        return 4 * float(np.std(self.seasons)) / math.sqrt(len(self.seasons))

    def is_as_stated(self, *, below, above):
        """Tell whether the share is the stated one, but for chance and a stated allowance."""
        low, high = STATED - below - self.chance, STATED + above + self.chance
        return low <= self.share <= high


def whole_seasons(count, seed):
    """Yield seasons of six workers: their true rates, and what was found, by worker and stage."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        yield [
            (rates, season(rng, [rates] * int(rng.integers(3, 16))))
            for rates in rng.beta(2, 16, (6, len(plans())))
        ]


def covered(seasons, interval):
    """Count how often an interval of all audits of a worker and stage holds the true rate."""
    coverage = Coverage()
    for workers in seasons:
        held = []
        for rates, found in workers:
            for rate, audits in zip(rates, found, strict=True):
                if sums(audits)[1] >= LEAST_TREES_FOR_A_RANGE:
                    lower, upper = interval(audits)
                    held.append(lower <= rate <= upper)
        coverage.add(held)
    return coverage


def as_described(audits):
    return describe_rate(*sums(audits), days=3, rows=3, auditors=2).interval


def by_mean_of_fractions(audits):
    """The planted defect: each audit's fraction counts alike, whenever it stopped."""
    fractions = [each.nonconforming / each.due for each in audits if each.due]
    return wilson_of_share(float(np.mean(fractions)), sums(audits)[1])


@pytest.fixture(scope="module")
def audited_seasons(volume):
    return list(whole_seasons(volume(short=100, long=LEAST_LONG), seed=1))


def test_a_workers_range_holds_the_true_rate_as_often_as_it_says(audited_seasons):
    # Wilson's interval itself, for a fixed number of trees, is off by up to a point on average
    # over such rates (Brown, Cai & DasGupta, Statistical Science 16:101-133, 2001).
    assert covered(audited_seasons, as_described).is_as_stated(below=0.01, above=0.01)


def test_the_exact_range_holds_it_at_least_as_often(audited_seasons):
    exact = covered(audited_seasons, lambda audits: clopper_pearson(*sums(audits)))
    assert exact.is_as_stated(below=0.0, above=0.03)


@pytest.mark.parametrize(
    "defect", [by_mean_of_fractions, lambda audits: wald(*sums(audits))], ids=["mean", "wald"]
)
def test_wrong_ranges_are_found_out(audited_seasons, defect):
    # Planted: the mean of fractions of audits that stopped early, and Wald's interval.
    assert not covered(audited_seasons, defect).is_as_stated(below=0.01, above=0.01)


def test_the_ratio_of_sums_is_nearer_to_the_truth_than_the_mean_of_fractions(audited_seasons):
    ratio, mean = [], []
    for rates, found in itertools.chain.from_iterable(audited_seasons):
        for rate, audits in zip(rates, found, strict=True):
            of_sums = ratio_of_sums([(each.nonconforming, each.due) for each in audits])
            fractions = [each.nonconforming / each.due for each in audits if each.due]
            ratio.append(of_sums - rate)
            mean.append(float(np.mean(fractions)) - rate)
    assert abs(np.mean(ratio)) < 0.004
    assert np.mean(mean) > 2 * abs(np.mean(ratio))


def shrunken_seasons(count, seed, shapes):
    """Yield seasons of twenty workers of one kind: true rates, and sums of one stage."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        rates = rng.beta(*shapes, 20)
        found = [season(rng, [[rate] * len(plans())] * int(rng.integers(3, 9))) for rate in rates]
        yield rates, *zip(*(sums(stages[0]) for stages in found), strict=True)


def shrunken_coverage(seasons, posteriors):
    coverage = Coverage()
    for rates, found, due in seasons:
        ranges = [each.interval for each in posteriors(found, due)]
        coverage.add(
            [lower <= rate <= upper for rate, (lower, upper) in zip(rates, ranges, strict=True)]
        )
    return coverage


def best_fit_alone(found, due):
    """The planted defect: the spread of rates that fits best is taken for the true one."""
    fit = fit_beta_binomial(found, due)
    return [fit.posterior(*pair) for pair in zip(found, due, strict=True)]


@pytest.mark.parametrize("shapes", [(3, 22), (30, 220)], ids=["workers differ", "much alike"])
def test_shrunken_ranges_hold_the_true_rates(volume, shapes):
    seasons = list(shrunken_seasons(volume(short=15, long=400), 2, shapes))
    # The law of rates is not quite known from twenty workers: two points are allowed for that.
    assert shrunken_coverage(seasons, shrunken_rates).is_as_stated(below=0.02, above=0.02)


def test_shrunken_ranges_that_forget_the_spread_is_estimated_are_found_out():
    # Without audits that stop: the defect shows on whole samples as well.
    rng = np.random.default_rng(5)
    seasons = []
    for _ in range(250):
        rates, due = rng.beta(30, 220, 20), rng.integers(60, 180, 20)
        seasons.append((rates, rng.binomial(due, rates), due))
    assert not shrunken_coverage(seasons, best_fit_alone).is_as_stated(below=0.02, above=0.02)


WORKERS, BLOCKS, AUDITORS = 12, 6, 3


def crossed_season(rng):
    """
    Audit workers who know three blocks each, scored by strict and by lenient auditors.

    Returns the rows of a season and each worker's true chance of a fault where blocks and
    auditors are at the mean of those in the data.
    """
    workers, blocks, auditors = (
        rng.normal(0, spread, count)
        for spread, count in ((0.5, WORKERS), (0.6, BLOCKS), (0.35, AUDITORS))
    )
    rows = []
    for worker in range(WORKERS):
        lots = int(rng.integers(6, 14))
        block = rng.choice(rng.integers(0, BLOCKS, 3), lots)
        auditor = rng.integers(0, AUDITORS, lots)
        logits = -2.2 + workers[worker] + blocks[block] + auditors[auditor]
        found = season(rng, [[expit(logit)] * len(plans()) for logit in logits])
        rows += [
            (each.nonconforming, each.due, worker, int(block[each.lot]), int(auditor[each.lot]))
            for each in found[0]
        ]
    met_blocks, met_auditors = ({row[place] for row in rows} for place in (3, 4))
    average = -2.2 + blocks[list(met_blocks)].mean() + auditors[list(met_auditors)].mean()
    return rows, expit(average + workers)


def test_ranges_of_the_mixed_model_hold_the_true_chances(volume):
    rng = np.random.default_rng(3)
    adjusted, raw = Coverage(), Coverage()
    for _ in range(volume(short=6, long=200)):
        rows, truths = crossed_season(rng)
        found, due, worker, block, auditor = zip(*rows, strict=True)
        fit = fit_binomial_mixed(found, due, {"worker": worker, "block": block, "auditor": auditor})
        assert fit.converged
        ranges = [adjusted_chance(fit, "worker", one).interval for one in range(WORKERS)]
        adjusted.add(
            [low <= truth <= high for truth, (low, high) in zip(truths, ranges, strict=True)]
        )
        plain = [
            describe_rate(
                sum(row[0] for row in rows if row[2] == one),
                sum(row[1] for row in rows if row[2] == one),
                days=3,
                rows=3,
                auditors=2,
            ).interval
            for one in range(WORKERS)
        ]
        raw.add([low <= truth <= high for truth, (low, high) in zip(truths, plain, strict=True)])
    # Few blocks and auditors leave the variances uncertain, and stopping early leans a little
    # towards more faults: two points and a half are allowed for both.
    assert adjusted.is_as_stated(below=0.025, above=0.03)
    # The planted defect: raw rates blame workers for their blocks and their auditors.
    assert not raw.is_as_stated(below=0.025, above=0.03)


def test_ranges_of_measured_heights_hold_the_true_heights(volume):
    rng = np.random.default_rng(4)
    adjusted, raw = Coverage(), Coverage()
    for _ in range(volume(short=8, long=300)):
        workers, blocks, auditors = (
            rng.normal(0, spread, count)
            for spread, count in ((50, WORKERS), (110, BLOCKS), (60, AUDITORS))
        )
        worker = np.repeat(np.arange(WORKERS), 12)
        block = np.concatenate([rng.choice(rng.integers(0, BLOCKS, 3), 12) for _ in range(WORKERS)])
        auditor = rng.integers(0, AUDITORS, len(worker))
        heights_mm = 3_000 + workers[worker] + blocks[block] + auditors[auditor]
        heights_mm = heights_mm + rng.normal(0, 90, len(worker))
        fit = fit_linear_mixed(
            heights_mm,
            {"worker": worker.tolist(), "block": block.tolist(), "auditor": auditor.tolist()},
        )
        average = 3_000 + blocks[np.unique(block)].mean() + auditors[np.unique(auditor)].mean()
        truths = average + workers
        ranges = [adjusted_value(fit, "worker", one).interval for one in range(WORKERS)]
        adjusted.add(
            [low <= truth <= high for truth, (low, high) in zip(truths, ranges, strict=True)]
        )
        means = heights_mm.reshape(WORKERS, 12).mean(axis=1)
        errors = heights_mm.reshape(WORKERS, 12).std(axis=1, ddof=1) / math.sqrt(12)
        raw.add(np.abs(means - truths) <= 2.201 * errors)  # Student's 97.5 % with 11 degrees
    assert adjusted.is_as_stated(below=0.025, above=0.03)
    # The planted defect: a worker's own mean, whatever blocks and auditors he had.
    assert not raw.is_as_stated(below=0.025, above=0.03)
