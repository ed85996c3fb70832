"""The way through the drawn trees: order, length, and where a reserve tree comes in."""
# ruff: noqa: S311 - a draw must be repeatable, not secret

import itertools
from random import Random

import pytest

from audits.sampling import DrawnTree, Place, draw_trees, insert_in_walk, walk_length
from audits.vocabulary import Side

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def row(trees, number=1, first=1):
    return [Place(number, position) for position in range(first, first + trees)]


def tree(position, side, number=1):
    return DrawnTree(None, Place(number, position), side)


def test_a_row_is_walked_out_on_the_left_and_back_on_the_right():
    draw = draw_trees(row(300), 30, 7, seed=5)
    left = [at.place.position for at in draw.walk if at.side is LEFT]
    right = [at.place.position for at in draw.walk if at.side is RIGHT]
    assert [at.side for at in draw.walk] == [LEFT] * 15 + [RIGHT] * 15
    assert left == sorted(left)
    assert right == sorted(right, reverse=True)
    assert [at.order for at in draw.walk] == list(range(1, 31))


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
