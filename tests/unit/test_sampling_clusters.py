"""Plans on rows whose bad trees stand in runs: the rows, the draw, the decision, the figures."""
# ruff: noqa: S311 - a simulation must be repeatable, not secret

import math
from collections import Counter
from itertools import pairwise, permutations
from random import Random

import pytest
import scipy.stats

from audits.errors import InvalidInput
from audits.estimates import wilson
from audits.sampling import (
    Place,
    SinglePlan,
    StageTally,
    WavePlan,
    acceptance_probability_at_count,
    average_sample_number_at_count,
    clustered_trees,
    decide,
    draw_trees,
    simulate_clusters,
)
from audits.sampling import clusters as simulation
from audits.sampling.walks import steps_of
from audits.vocabulary import Outcome

# Two-sided: once in ten thousand runs a right simulation would fail; the seeds are fixed.
LEAST_P_VALUE = 1e-4

SINGLE = SinglePlan(30, 4)
OUT_AND_BACK = WavePlan((20, 33), (2, 4), (5, 5))
THREE_WAVES = WavePlan((14, 18, 33), (1, None, 4), (4, 5, 5))
PLANS = [SINGLE, OUT_AND_BACK, THREE_WAVES]

# 5 % rounded down and 25 % rounded up.
TREES, ACCEPTABLE, REJECTABLE = 310, 15, 78


def lengths_of_runs(bad):
    trees = sorted(bad)
    breaks = [0, *(at for at in range(1, len(trees)) if trees[at] - trees[at - 1] > 1), len(trees)]
    return [end - start for start, end in pairwise(breaks)]


def test_the_bad_trees_are_as_many_as_asked_for_and_stand_in_runs():
    generator = Random(1)
    for _ in range(200):
        bad = clustered_trees(78, TREES, 10, generator)
        assert len(bad) == 78
        assert bad <= set(range(TREES))
        # Seven runs of ten and one of eight, of which some may touch.
        lengths = lengths_of_runs(bad)
        assert sum(lengths) == 78
        assert all(length % 10 in (0, 8) for length in lengths)


def test_every_order_of_runs_and_other_trees_is_as_likely():
    # Three bad trees in runs of two among three others: every order of a run of two, a run of one
    # and three good trees, played through.
    expected = Counter()
    for order in permutations(["BB", "B", "G", "G", "G"]):
        expected["".join(order)] += 1
    drawn = Counter()
    generator = Random(2)
    for _ in range(24_000):
        bad = clustered_trees(3, 6, 2, generator)
        drawn["".join("B" if tree in bad else "G" for tree in range(6))] += 1
    assert drawn.keys() == expected.keys()
    rows = sorted(expected)
    result = scipy.stats.chisquare(
        [drawn[row] for row in rows],
        [24_000 * expected[row] / math.factorial(5) for row in rows],
    )
    assert result.pvalue > LEAST_P_VALUE


@pytest.mark.parametrize("sizes", [(1,), (7,), (30,), (20, 33), (14, 18, 33), (100, 310)])
@pytest.mark.parametrize("seed", range(20))
def test_the_simulated_walk_is_that_of_a_real_draw(sizes, seed):
    row = [Place(1, position) for position in range(TREES)]
    real = [tree.place.position for tree in draw_trees(row, sizes, 0, seed).walk]
    increments = [size - before for before, size in pairwise((0, *sizes))]
    assert simulation._walk(TREES, increments, Random(seed)) == real


@pytest.mark.parametrize("plan", PLANS)
def test_the_simulated_verdict_is_that_of_a_real_audit_at_the_same_tree(plan):
    generator = Random(3)
    steps = steps_of(plan, curtailed=True)
    for _ in range(200):
        share = generator.random() / 3
        fails = [generator.random() < share for _ in range(plan.sample_size)]
        step, is_accepted = simulation._decided_at(steps, fails)
        verdicts = [audited(plan, fails[:trees]) for trees in range(step.size + 1)]
        assert set(verdicts[:-1]) == {Outcome.OPEN}
        assert verdicts[-1] is (Outcome.ACCEPTED if is_accepted else Outcome.NOT_ACCEPTED)


def audited(plan, fails):
    starts = (0, *(wave.size for wave in plan.waves))
    waves = [fails[start:end] for start, end in pairwise(starts)]
    return decide(plan, *(StageTally(len(wave), sum(wave)) for wave in waves))


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize("nonconforming", [ACCEPTABLE, REJECTABLE])
def test_runs_of_one_tree_give_the_exact_figures_of_trees_strewn_at_random(plan, nonconforming):
    found = simulate_clusters(plan, nonconforming, TREES, 1, rows=4_000, seed=4)
    exact = acceptance_probability_at_count(plan, nonconforming, TREES)
    assert scipy.stats.binomtest(found.accepted, found.rows, exact).pvalue > LEAST_P_VALUE
    mean = average_sample_number_at_count(plan, nonconforming, TREES)
    distance = abs(found.mean_trees - mean) / found.standard_error
    assert 2 * scipy.stats.norm.sf(distance) > LEAST_P_VALUE


@pytest.mark.parametrize("plan", PLANS)
def test_runs_make_the_verdict_surer_in_both_senses(plan):
    """
    Where neighbours are alike, a sample spread along the row varies less than a random one.

    W. G. Cochran, Sampling Techniques, chapters 5 and 8.
    """
    strewn = [
        acceptance_probability_at_count(plan, count, TREES) for count in (ACCEPTABLE, REJECTABLE)
    ]
    for run_length in (10, 30):
        good, bad = (
            simulate_clusters(plan, count, TREES, run_length, rows=4_000)
            for count in (ACCEPTABLE, REJECTABLE)
        )
        assert wilson(good.accepted, good.rows).lower > strewn[0]
        assert wilson(bad.accepted, bad.rows).upper < strewn[1]


def test_a_short_bad_stretch_in_a_good_row_passes():
    found = simulate_clusters(OUT_AND_BACK, ACCEPTABLE, TREES, ACCEPTABLE)
    assert found.chance > 0.99


def test_the_same_seed_gives_the_same_rows():
    simulate_clusters.cache_clear()
    first = simulate_clusters(OUT_AND_BACK, REJECTABLE, TREES, 10, seed=5)
    simulate_clusters.cache_clear()
    assert simulate_clusters(OUT_AND_BACK, REJECTABLE, TREES, 10, seed=5) == first
    assert simulate_clusters(OUT_AND_BACK, REJECTABLE, TREES, 10, seed=6) != first


def test_the_figures_are_those_of_the_rows():
    # Without a bad tree the plan is sure to accept after 18 conforming trees.
    good = simulate_clusters(OUT_AND_BACK, 0, TREES, 10, rows=50)
    assert (good.accepted, good.chance, good.mean_trees, good.standard_error) == (50, 1.0, 18.0, 0)
    # With nothing but bad trees it is lost at the fifth.
    bad = simulate_clusters(OUT_AND_BACK, TREES, TREES, 10, rows=50)
    assert (bad.accepted, bad.mean_trees, bad.standard_error) == (0, 5.0, 0)
    assert simulate_clusters(OUT_AND_BACK, 15, TREES, 10, rows=1).standard_error == math.inf


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"nonconforming": 311}, "nonconforming"),
        ({"nonconforming": -1}, "nonconforming"),
        ({"lot_size": 32, "nonconforming": 5}, "lot_size"),
        ({"run_length": 0}, "run_length"),
        ({"rows": 0}, "rows"),
        ({"seed": -1}, "seed"),
    ],
)
def test_a_row_that_cannot_be_is_refused(values, field):
    usual = {"plan": OUT_AND_BACK, "nonconforming": 78, "lot_size": TREES, "run_length": 10}
    with pytest.raises(InvalidInput) as refused:
        simulate_clusters(**(usual | values))
    assert set(refused.value.problems) == {field}
