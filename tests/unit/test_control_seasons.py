"""What charts of a season promise, against slow obvious ways and by hand."""

import itertools
import math

import pytest

from audits.control.bernoulli import BernoulliCusum, bernoulli_cusum
from audits.control.run_lengths import (
    bernoulli_median,
    bernoulli_season_design,
    bernoulli_signal_chance,
    season_block_limits,
)

SMALL = BernoulliCusum(3, -1, threshold=5)


def chance_by_trying_all(design, p, trees):
    """Add up the chances of every sequence of trees that signals."""
    return math.fsum(
        p ** sum(trees_) * (1 - p) ** (trees - sum(trees_))
        for trees_ in itertools.product([0, 1], repeat=trees)
        if bernoulli_cusum(trees_, design).first_signal
    )


@pytest.mark.parametrize(
    "design",
    [
        SMALL,
        BernoulliCusum(3, -1, threshold=2),
        BernoulliCusum(5, -3, threshold=9, start=4),
        BernoulliCusum(2, -9, threshold=4),
        BernoulliCusum(1, -1, threshold=1),
    ],
)
@pytest.mark.parametrize("p", [0.0, 0.1, 0.5, 1.0])
def test_the_chance_of_a_signal_is_that_of_all_sequences_that_signal(design, p):
    for trees in (0, 1, 2, 9):
        expected = chance_by_trying_all(design, p, trees)
        assert bernoulli_signal_chance(design, p, trees) == pytest.approx(expected, abs=1e-14)


def test_the_median_is_where_the_chance_passes_one_half():
    median = bernoulli_median(SMALL, 0.1)
    assert bernoulli_signal_chance(SMALL, 0.1, median - 1) < 0.5
    assert bernoulli_signal_chance(SMALL, 0.1, median) >= 0.5
    # Two faults in a row make 6.
    assert bernoulli_median(SMALL, 1.0) == 2


def test_where_nothing_is_found_there_is_no_median():
    assert bernoulli_median(SMALL, 0.0) is None
    assert bernoulli_median(BernoulliCusum(10, -1, threshold=300), 0.02) is None


@pytest.mark.parametrize(("p0", "p1"), [(0.05, 0.1), (0.05, 0.25), (0.15, 0.3), (0.3, 0.6)])
def test_the_threshold_of_a_season_is_the_least_that_keeps_the_promise(p0, p1):
    design = bernoulli_season_design(p0, p1, trees=400, false_signal=0.0025)
    lower = BernoulliCusum(design.score_fault, design.score_good, design.threshold - 1)
    assert bernoulli_signal_chance(design, p0, 400) <= 0.0025
    assert bernoulli_signal_chance(lower, p0, 400) > 0.0025
    scores = (design.score_fault, design.score_good, design.threshold)
    assert all(isinstance(score, int) for score in scores)
    # The sum falls in the long run while all is well, and rises once it is not.
    assert p0 * design.score_fault + (1 - p0) * design.score_good < 0
    assert p1 * design.score_fault + (1 - p1) * design.score_good > 0


def test_a_season_too_short_for_any_signal_has_none():
    design = bernoulli_season_design(0.4, 0.5, trees=2, false_signal=0.01)
    assert bernoulli_signal_chance(design, 1.0, 2) == 0.0


def test_fractions_close_together_are_told_apart_all_the_same():
    design = bernoulli_season_design(0.05, 0.051, trees=50, false_signal=0.01)
    assert 0.05 * design.score_fault + 0.95 * design.score_good < 0
    assert 0.051 * design.score_fault + 0.949 * design.score_good > 0


def test_a_design_is_looked_for_only_once():
    first, again = (
        bernoulli_season_design(0.07, 0.2, trees=400, false_signal=0.0025) for _ in range(2)
    )
    assert first is again


@pytest.mark.parametrize("centre", [0.01, 0.05, 0.25, 0.9])
@pytest.mark.parametrize(("size", "blocks"), [(10, 40), (20, 20), (10, 1)])
def test_blocks_of_a_season_keep_their_promise_with_the_least_limit(centre, size, blocks):
    limit = season_block_limits(centre, size, blocks=blocks, false_signal=0.0025)

    def any_block_above(count):
        tail = math.fsum(
            math.comb(size, bad) * centre**bad * (1 - centre) ** (size - bad)
            for bad in range(count + 1, size + 1)
        )
        return 1 - (1 - tail) ** blocks

    assert any_block_above(limit) <= 0.0025
    assert limit == 0 or any_block_above(limit - 1) > 0.0025


def test_where_nothing_is_expected_any_fault_is_beyond_chance():
    assert season_block_limits(0.0, 10, blocks=40, false_signal=0.0025) == 0


def test_where_every_tree_is_at_fault_nothing_is_beyond_chance():
    assert season_block_limits(1.0, 10, blocks=40, false_signal=0.0025) == 10


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: bernoulli_signal_chance(SMALL, -0.1, 10), "p must .* -0.1"),
        (lambda: bernoulli_signal_chance(SMALL, math.nan, 10), "p must .* nan"),
        (lambda: bernoulli_signal_chance(SMALL, 0.1, -1), "trees must .* -1"),
        (
            lambda: bernoulli_signal_chance(BernoulliCusum(1.1, -1, 5), 0.1, 9),
            "score_fault must be a whole number, not 1.1",
        ),
        (lambda: bernoulli_median(SMALL, 1.5), "p must .* 1.5"),
        (lambda: bernoulli_season_design(0.0, 0.1, trees=9, false_signal=0.1), "p0 .* 0.0"),
        (lambda: bernoulli_season_design(0.2, 0.1, trees=9, false_signal=0.1), "p1 .* 0.1"),
        (lambda: bernoulli_season_design(0.1, 0.2, trees=0, false_signal=0.1), "trees .* 0"),
        (lambda: bernoulli_season_design(0.1, 0.2, trees=9, false_signal=1), "false_signal .* 1"),
        (lambda: season_block_limits(2, 10, blocks=4, false_signal=0.1), "centre .* 2"),
        (lambda: season_block_limits(0.1, 0, blocks=4, false_signal=0.1), "size .* 0"),
        (lambda: season_block_limits(0.1, 10, blocks=0, false_signal=0.1), "blocks .* 0"),
        (lambda: season_block_limits(0.1, 10, blocks=4, false_signal=0), "false_signal .* 0"),
    ],
)
def test_numbers_out_of_range_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()
