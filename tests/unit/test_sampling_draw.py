"""The draw of trees: chances, sides, the walk and the reserve."""
# ruff: noqa: S311 - a draw must be repeatable, not secret

import itertools
from collections import Counter
from fractions import Fraction
from random import Random

import pytest
import scipy.stats

from audits.errors import InvalidInput
from audits.sampling import (
    DrawnTree,
    Place,
    draw_trees,
    insert_in_walk,
    walk_length,
)
from audits.sampling.draw import stratified_picks
from audits.vocabulary import Side

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def row(trees, number=1, first=1):
    return [Place(number, position) for position in range(first, first + trees)]


def tree(position, side, number=1):
    return DrawnTree(None, Place(number, position), side)


class Script(Random):
    """A generator that answers as told: choice k of m at each call."""

    def __init__(self, choices):
        super().__init__()
        self.choices = iter(choices)

    def random(self):
        choice, of = next(self.choices)
        return (choice + Fraction(1, 2)) / of


def choices_asked(lot_size, sample_size):
    """The number of answers to each question that the design asks: the turn, then each stratum."""
    cuts = [stratum * lot_size // sample_size for stratum in range(sample_size + 1)]
    return [lot_size, *(end - start for start, end in itertools.pairwise(cuts))]


@pytest.mark.parametrize(
    ("lot_size", "sample_size"),
    [(lot_size, size) for lot_size in range(1, 9) for size in range(1, lot_size + 1)],
)
def test_every_tree_of_a_tiny_lot_has_exactly_the_same_chance(lot_size, sample_size):
    # All turns and picks played through, each with its exact probability.
    sizes = choices_asked(lot_size, sample_size)
    chance = Fraction(1)
    for size in sizes:
        chance /= size
    inclusion = Counter()
    for answers in itertools.product(*map(range, sizes)):
        script = Script(zip(answers, sizes, strict=True))
        picks = stratified_picks(lot_size, sample_size, script)
        assert len(set(picks)) == sample_size
        assert next(script.choices, None) is None
        for pick in picks:
            inclusion[pick] += chance
    assert inclusion == dict.fromkeys(range(lot_size), Fraction(sample_size, lot_size))


@pytest.mark.parametrize(("lot_size", "sample_size"), [(12, 5), (31, 4)])
def test_inclusion_is_uniform_over_100_000_draws(lot_size, sample_size):
    # One tree of each draw, taken at random, makes the counts multinomial as the test supposes.
    generator, chooser = Random(20), Random(21)
    counts = Counter(
        chooser.choice(stratified_picks(lot_size, sample_size, generator)) for _ in range(100_000)
    )
    observed = [counts[number] for number in range(lot_size)]
    assert scipy.stats.chisquare(observed).pvalue > 0.001


def test_sample_sides_and_reserve_are_uniform_over_many_seeds():
    lot = row(9)
    sampled, reserved, left = Counter(), Counter(), Counter()
    chooser = Random(22)
    for seed in range(20_000):
        draw = draw_trees(lot, 4, 2, seed)
        chosen = chooser.choice(draw.walk)
        sampled[chosen.place.position] += 1
        left[chosen.place.position] += chosen.side is LEFT
        reserved[draw.reserve[0].place.position] += 1
    positions = range(1, 10)
    assert scipy.stats.chisquare([sampled[at] for at in positions]).pvalue > 0.001
    assert scipy.stats.chisquare([reserved[at] for at in positions]).pvalue > 0.001
    table = [[left[at], sampled[at] - left[at]] for at in positions]
    halves = [[sampled[at] / 2] * 2 for at in positions]
    statistic = sum(
        (seen - half) ** 2 / half
        for seen_pair, half_pair in zip(table, halves, strict=True)
        for seen, half in zip(seen_pair, half_pair, strict=True)
    )
    assert scipy.stats.chi2.sf(statistic, len(positions)) > 0.001


def test_faults_strewn_at_random_are_counted_by_the_hypergeometric_law():
    # 3 nonconforming trees of 12 placed at random, 5 drawn: counts against scipy's law.
    generator = Random(23)
    counts = Counter(
        len(set(generator.sample(range(12), 3)).intersection(stratified_picks(12, 5, generator)))
        for _ in range(40_000)
    )
    expected = scipy.stats.hypergeom(12, 3, 5).pmf(range(4)) * 40_000
    assert scipy.stats.chisquare([counts[found] for found in range(4)], expected).pvalue > 0.001


def test_a_row_is_walked_out_on_the_left_and_back_on_the_right():
    draw = draw_trees(row(300), 30, 7, seed=5)
    left = [at.place.position for at in draw.walk if at.side is LEFT]
    right = [at.place.position for at in draw.walk if at.side is RIGHT]
    assert [at.side for at in draw.walk] == [LEFT] * 15 + [RIGHT] * 15
    assert left == sorted(left)
    assert right == sorted(right, reverse=True)
    assert [at.order for at in draw.walk] == list(range(1, 31))


def test_sides_alternate_within_every_pair_of_neighbours():
    draw = draw_trees(row(300), 30, 0, seed=6)
    along = sorted(draw.walk, key=lambda at: at.place)
    for first, second in zip(along[::2], along[1::2], strict=True):
        assert {first.side, second.side} == {LEFT, RIGHT}


def test_the_sample_is_spread_over_the_whole_row():
    # Neighbouring strata of 10 trees: two picks are never 20 or more apart, on the ring.
    draw = draw_trees(row(300), 30, 0, seed=7)
    positions = sorted(at.place.position for at in draw.walk)
    gaps = [
        after - before for before, after in itertools.pairwise([*positions, positions[0] + 300])
    ]
    assert max(gaps) < 20


def test_the_reserve_is_apart_from_the_sample_and_in_its_own_order():
    draw = draw_trees(row(300), 30, 7, seed=8)
    assert len({at.place for at in draw.trees}) == 37
    assert [at.reserve_order for at in draw.reserve] == list(range(1, 8))
    assert all(at.is_reserve and at.order is None for at in draw.reserve)
    assert not any(at.is_reserve or at.reserve_order for at in draw.walk)
    assert sum(at.side is LEFT for at in draw.reserve) in {3, 4}


def test_a_small_lot_has_a_shorter_reserve():
    assert len(draw_trees(row(12), 10, 6, seed=9).reserve) == 2
    assert draw_trees(row(12), 12, 6, seed=9).reserve == ()


def test_the_whole_lot_can_be_drawn():
    draw = draw_trees(row(12), 12, 0, seed=10)
    assert sorted(at.place for at in draw.walk) == row(12)
    assert draw.lot_size == 12


def test_gaps_in_a_row_are_never_drawn():
    lot = [place for place in row(40) if place.position % 3]
    drawn = {at.place for at in draw_trees(lot, 10, 10, seed=11).trees}
    assert drawn <= set(lot)


def test_the_seed_repeats_the_draw():
    first = draw_trees(row(300), 30, 7, seed=2**70 + 1)
    assert draw_trees(row(300), 30, 7, seed=2**70 + 1) == first
    assert first.seed == 2**70 + 1
    assert draw_trees(row(300), 30, 7, seed=2**70 + 2).walk != first.walk


def test_a_kept_seed_gives_the_same_trees_in_every_version():
    # By hand from the sequence that Python guarantees for seed 1, 0.134 0.847 0.764 0.255 0.495:
    # turned by 2 of 20, then the 5th, 4th, 2nd and 3rd tree of strata of five.
    draw = draw_trees(row(20), 4, 2, seed=1)
    assert sorted(at.place.position for at in draw.walk) == [2 + 5, 7 + 4, 12 + 2, 17 + 3]
    # The rest of the sequence, read off once: a stored draw must stay repeatable.
    assert [(at.place.position, at.side) for at in draw.trees] == [
        (7, LEFT),
        (20, LEFT),
        (14, RIGHT),
        (11, RIGHT),
        (16, LEFT),
        (3, RIGHT),
    ]


@pytest.mark.parametrize(
    ("sample_size", "reserve_size", "seed", "field", "value"),
    [
        (0, 0, 1, "sample_size", "0"),
        (13, 0, 1, "sample_size", "13"),
        (5, -1, 1, "reserve_size", "-1"),
        (5, 0, -3, "seed", "-3"),
    ],
)
def test_impossible_draws_are_refused(sample_size, reserve_size, seed, field, value):
    with pytest.raises(InvalidInput) as refusal:
        draw_trees(row(12), sample_size, reserve_size, seed)
    assert value in str(refusal.value.problems[field])


@pytest.mark.parametrize(
    "lot",
    [
        [Place(1, 2), Place(1, 1)],
        [Place(1, 1), Place(1, 1)],
        [Place(1, 1), Place(2, 1), Place(1, 2)],
    ],
)
def test_a_lot_out_of_order_is_refused(lot):
    with pytest.raises(InvalidInput, match="row by row"):
        draw_trees(lot, 1, 0, seed=1)


def test_the_next_row_stands_on_one_side():
    with pytest.raises(InvalidInput, match="which side"):
        draw_trees(row(12), 2, 0, seed=1, next_row_on=Side.BOTH)


def test_the_length_of_a_walk_done_by_hand():
    lot = row(10)
    # Out to 4 and 8 (7 steps), round the far end to 9 (2 + 1), back to 2 (7), back to the start.
    walk = [tree(4, LEFT), tree(8, LEFT), tree(9, RIGHT), tree(2, RIGHT)]
    assert walk_length(walk, lot) == 7 + 3 + 7 + 1
    # From 3 to the other side of 2, the start is nearer: 2, then 2 + 1, then 1.
    assert walk_length([tree(3, LEFT), tree(2, RIGHT)], lot) == 2 + 3 + 1
    assert walk_length([], lot) == 0


def test_one_row_is_never_more_than_one_way_out_and_back():
    lot = row(300)
    lengths = [walk_length(draw_trees(lot, 30, 0, seed).walk, lot) for seed in range(50)]
    assert max(lengths) <= 2 * 299


def test_the_walk_is_a_small_part_of_that_of_a_simple_random_draw():
    lot = row(300)
    generator = Random(24)
    simple = drawn = 0
    for seed in range(50):
        drawn += walk_length(draw_trees(lot, 30, 0, seed).walk, lot)
        trees = [
            DrawnTree(None, place, generator.choice((LEFT, RIGHT)))
            for place in generator.sample(lot, 30)
        ]
        simple += walk_length(trees, lot)
    # In the order of drawing, each of 30 trees lies a third of the row or more from the last.
    assert drawn * 5 < simple


def rows_side_by_side(rows, trees=50):
    return [place for number in rows for place in row(trees, number)]


def test_rows_are_walked_one_by_one_unless_their_sides_are_known():
    draw = draw_trees(rows_side_by_side((3, 4, 5, 6)), 24, 0, seed=12)
    stretches = [key for key, _ in itertools.groupby((at.place.row, at.side) for at in draw.walk)]
    assert stretches == [(number, side) for number in (3, 4, 5, 6) for side in (LEFT, RIGHT)]
    for (_, side), trees in itertools.groupby(draw.walk, lambda at: (at.place.row, at.side)):
        positions = [at.place.position for at in trees]
        assert positions == sorted(positions, reverse=side is RIGHT)


@pytest.mark.parametrize("rows", [(3, 4, 5, 6), (6, 5, 4, 3)])
@pytest.mark.parametrize("next_row_on", [LEFT, RIGHT])
def test_alleys_between_rows_save_walking(rows, next_row_on):
    lot = rows_side_by_side(rows)
    one_by_one = draw_trees(lot, 24, 0, seed=12)
    by_alleys = draw_trees(lot, 24, 0, seed=12, next_row_on=next_row_on)
    assert {(at.place, at.side) for at in by_alleys.walk} == {
        (at.place, at.side) for at in one_by_one.walk
    }
    # Five alleys and the way back, against four times out and back.
    shorter = walk_length(by_alleys.walk, lot, next_row_on=next_row_on)
    assert shorter <= 6 * 49 < walk_length(one_by_one.walk, lot) <= 8 * 49
    assert shorter < walk_length(one_by_one.walk, lot, next_row_on=next_row_on)


@pytest.mark.parametrize("rows", [(3,), (3, 4), (3, 4, 5), (3, 7, 8)])
def test_alleys_are_walked_only_where_that_is_shorter(rows):
    lot = rows_side_by_side(rows)
    for seed in range(30):
        one_by_one = draw_trees(lot, 24, 0, seed).walk
        by_alleys = draw_trees(lot, 24, 0, seed, next_row_on=RIGHT).walk
        saved = walk_length(one_by_one, lot, next_row_on=RIGHT) - walk_length(
            by_alleys, lot, next_row_on=RIGHT
        )
        assert saved > 0 or by_alleys == one_by_one


def test_two_rows_share_an_alley_only_where_they_face_each_other():
    lot = rows_side_by_side((3, 4), trees=10)
    walk = [tree(6, RIGHT, 3), tree(5, LEFT, 4)]
    assert walk_length(walk, lot, next_row_on=RIGHT) == 5 + 1 + 4
    assert walk_length(walk, lot, next_row_on=LEFT) == 5 + 9 + 4
    assert walk_length(walk, lot) == 5 + 9 + 4


AHEAD = (tree(100, LEFT), tree(200, LEFT), tree(250, RIGHT), tree(50, RIGHT))


@pytest.mark.parametrize(
    ("taken", "where"),
    [
        (tree(150, LEFT), 1),
        (tree(290, LEFT), 2),
        (tree(290, RIGHT), 2),
        (tree(150, RIGHT), 3),
        (tree(10, RIGHT), 4),
        (tree(60, LEFT), 0),  # behind the walker, or just ahead: next either way
    ],
)
def test_a_reserve_tree_is_taken_where_the_walk_passes_it(taken, where):
    walk = insert_in_walk(AHEAD, taken)
    assert walk.index(taken) == where
    assert tuple(at for at in walk if at is not taken) == AHEAD


def test_a_reserve_tree_already_passed_comes_next():
    assert insert_in_walk(AHEAD[2:], tree(150, LEFT))[0] == tree(150, LEFT)
    assert insert_in_walk(AHEAD[3:], tree(200, RIGHT))[0] == tree(200, RIGHT)
    assert insert_in_walk((), tree(150, LEFT)) == (tree(150, LEFT),)
    next_row = (tree(10, LEFT, 2), tree(20, RIGHT, 2))
    assert insert_in_walk(next_row, tree(150, RIGHT, 1))[0] == tree(150, RIGHT, 1)


def test_a_tree_to_go_back_for_does_not_hide_the_way_ahead():
    waiting = insert_in_walk(AHEAD[1:], tree(60, LEFT))
    assert insert_in_walk(waiting, tree(150, RIGHT)).index(tree(150, RIGHT)) == 3


@pytest.mark.parametrize("next_row_on", [None, LEFT, RIGHT])
@pytest.mark.parametrize("rows", [(3,), (3, 4, 5, 6), (6, 5, 4, 3)])
def test_a_tree_taken_out_of_a_walk_returns_to_its_place(rows, next_row_on):
    walk = draw_trees(rows_side_by_side(rows), 24, 0, seed=14, next_row_on=next_row_on).walk
    for number, taken in enumerate(walk):
        rest = walk[:number] + walk[number + 1 :]
        assert insert_in_walk(rest, taken, next_row_on=next_row_on) == walk
