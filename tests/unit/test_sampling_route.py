"""The way through the drawn trees: order, length, and where a reserve tree comes in."""
# ruff: noqa: S311 - a draw must be repeatable, not secret

import itertools
from dataclasses import replace
from random import Random
from statistics import mean

import pytest

from audits.sampling import (
    DrawnTree,
    Place,
    draw_trees,
    insert_in_walk,
    walk_length,
    walk_lengths,
    walk_ranks,
    walk_with,
)
from audits.sampling.route import order_of_walk
from audits.vocabulary import Side

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def row(trees, number=1, first=1):
    return [Place(number, position) for position in range(first, first + trees)]


def tree(position, side, number=1, wave=1):
    return DrawnTree(None, Place(number, position), side, wave=wave)


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


def random_order_and_sorted(lot, generator, waves):
    """Draw 30 trees by simple random sampling; walk them as drawn, and in the order of a walk."""
    sides = [LEFT, RIGHT] * 15
    generator.shuffle(sides)
    trees = [
        DrawnTree(None, place, side, wave=wave)
        for place, side, wave in zip(generator.sample(lot, 30), sides, waves, strict=True)
    ]
    as_drawn = [DrawnTree(None, at.place, at.side) for at in trees]
    return walk_length(as_drawn, lot), walk_lengths(order_of_walk(trees, lot), lot)


def test_a_loop_is_an_eighth_of_the_way_of_a_simple_random_draw():
    # Mean steps in a row of 300 trees, 200 draws of 30. By hand for the order of drawing: the next
    # tree is on the same side, 1/3 of 299 steps away, as often as on the other, 2/3 away; with the
    # ways to the first and from the last that is about 29 x 150 + 300 = 4,650.
    # Sorted, a simple random draw is walked out and back once, as the drawn one is.
    lot, generator = row(300), Random(24)
    drawn = [walk_length(draw_trees(lot, 30, 0, seed).walk, lot) for seed in range(200)]
    simple = [random_order_and_sorted(lot, generator, [1] * 30) for _ in range(200)]
    assert mean(as_drawn for as_drawn, _ in simple) == pytest.approx(4_650, rel=0.04)
    assert {loop for _, (loop,) in simple} == set(drawn) == {598}


def test_the_spread_of_waves_costs_hardly_a_step():
    # Mean steps in a row of 300 trees, 200 draws of waves of 14 and 16. By hand for a simple random
    # draw in the same order: out to the farthest tree, on average the 280.9th with 14 trees and the
    # 291.3th with 30, and back. The drawn ones go 573 and 585 steps.
    lot, generator = row(300), Random(29)
    simple = [random_order_and_sorted(lot, generator, [1] * 14 + [2] * 16)[1] for _ in range(200)]
    drawn = [walk_lengths(draw_trees(lot, (14, 30), 0, seed).walk, lot) for seed in range(200)]
    assert mean(first for first, _ in simple) == pytest.approx(2 * 279.9, rel=0.02)
    assert mean(both for _, both in simple) == pytest.approx(2 * 290.3, rel=0.01)
    assert mean(first for first, _ in drawn) == pytest.approx(573, abs=1)
    assert mean(both for _, both in drawn) == pytest.approx(585, abs=1)


def test_waves_are_walked_out_and_back_and_out_whatever_the_sides():
    draw = draw_trees(row(300), (12, 21, 28), 0, seed=5)
    assert [at.order for at in draw.walk] == list(range(1, 29))
    assert [at.wave for at in draw.walk] == [1] * 12 + [2] * 9 + [3] * 7
    for wave in (1, 2, 3):
        of_wave = [at for at in draw.walk if at.wave == wave]
        positions = [at.place.position for at in of_wave]
        assert positions == sorted(positions, reverse=wave == 2)
        assert {at.side for at in of_wave} == {LEFT, RIGHT}


def test_the_length_after_each_wave_done_by_hand():
    lot = row(10)
    # Out from 1 to 4 and 8 (7 steps), to 9 (1), back to 2 (7), out again to 5 (3).
    out = [tree(4, LEFT), tree(8, RIGHT)]
    back = [tree(9, RIGHT, wave=2), tree(2, LEFT, wave=2)]
    again = [tree(5, LEFT, wave=3)]
    walk = out + back + again
    assert walk_lengths(walk, lot) == [7 + 7, 7 + 1 + 7 + 1, 7 + 1 + 7 + 3 + 4]
    assert walk_length(walk, lot) == 7 + 1 + 7 + 3 + 4
    # A walk of one wave is a loop: its other side is reached round an end.
    assert walk_lengths(out, lot) == [3 + (6 + 2) + 7]
    assert walk_lengths([], lot) == []
    # Nothing is left of the first wave: nobody sets out for it.
    assert walk_lengths([tree(5, LEFT, wave=2)], lot) == [0, 4 + 4]


def test_a_row_is_left_by_an_end_between_waves_too():
    lot = rows_side_by_side((3, 4), trees=10)
    out = [tree(6, RIGHT, 3), tree(8, RIGHT, 4)]
    back = [tree(3, LEFT, 4, wave=2), tree(4, RIGHT, 3, wave=2)]
    # Round the far end to row 4 (4 + 2), on to 3 (5), round the start to row 3 (2 + 3), and 3 back.
    assert walk_lengths(out + back, lot) == [5 + 6 + 7, 5 + 6 + 5 + 5 + 3]


def test_waves_that_stop_early_never_walk_farther():
    lot = row(300)
    for seed in range(50):
        first, both = walk_lengths(draw_trees(lot, (14, 30), 0, seed).walk, lot)
        assert first <= both <= 2 * 299


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


@pytest.mark.parametrize("rows", [(3, 4, 5, 6), (6, 5, 4)])
def test_waves_wind_through_the_rows_and_back(rows):
    draw = draw_trees(rows_side_by_side(rows), (24, 48), 0, seed=12)
    there, back = ([at for at in draw.walk if at.wave == wave] for wave in (1, 2))
    for path in (there, back[::-1]):
        assert [number for number, _ in itertools.groupby(at.place.row for at in path)] == [*rows]
        for turn, number in enumerate(rows):
            positions = [at.place.position for at in path if at.place.row == number]
            assert len(positions) > 2
            assert positions == sorted(positions, reverse=turn % 2 == 1)


@pytest.mark.parametrize("next_row_on", [LEFT, RIGHT])
def test_waves_go_by_the_alleys_only_where_that_is_shorter(next_row_on):
    lot = rows_side_by_side((3, 4, 5))
    ways = set()
    for seed in range(60):
        plain = draw_trees(lot, (6, 12), 0, seed).walk
        walk = draw_trees(lot, (6, 12), 0, seed, next_row_on=next_row_on).walk
        assert [at.wave for at in walk] == [1] * 6 + [2] * 6
        saved = walk_length(plain, lot, next_row_on=next_row_on) - walk_length(
            walk, lot, next_row_on=next_row_on
        )
        assert saved > 0 or walk == plain
        ways.add(walk == plain)
    assert ways == {True, False}


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


BOTH_WAVES = (
    tree(100, LEFT),
    tree(200, RIGHT),
    tree(280, LEFT, wave=2),
    tree(150, RIGHT, wave=2),
    tree(40, LEFT, wave=2),
)


@pytest.mark.parametrize(
    ("taken", "where"),
    [
        (tree(150, LEFT), 1),
        (tree(150, RIGHT), 1),
        (tree(290, LEFT), 2),  # the last of the way out
        (tree(60, RIGHT), 0),  # behind the walker, or just ahead: next either way
        (tree(290, RIGHT, wave=2), 2),  # the first of the way back
        (tree(200, LEFT, wave=2), 3),
        (tree(10, RIGHT, wave=2), 5),
    ],
)
def test_a_reserve_tree_is_taken_where_its_own_wave_passes_it(taken, where):
    walk = insert_in_walk(BOTH_WAVES, taken)
    assert walk.index(taken) == where
    assert tuple(at for at in walk if at is not taken) == BOTH_WAVES


def test_a_reserve_tree_that_its_wave_has_passed_comes_next():
    on_the_way_back = BOTH_WAVES[3:]
    for taken in (tree(250, LEFT, wave=2), tree(20, LEFT), tree(290, RIGHT)):
        assert insert_in_walk(on_the_way_back, taken)[0] == taken
    assert insert_in_walk((), tree(50, LEFT, wave=2)) == (tree(50, LEFT, wave=2),)
    next_row = (tree(10, LEFT, 2), tree(20, RIGHT, 2), tree(15, LEFT, 2, wave=2))
    assert insert_in_walk(next_row, tree(150, RIGHT, 1))[0] == tree(150, RIGHT, 1)
    last_row = (tree(20, RIGHT, 1, wave=2), tree(10, LEFT, 1, wave=2))
    assert insert_in_walk(last_row, tree(150, RIGHT, 2, wave=2))[0].place.row == 2


def test_the_last_trees_of_a_walk_back_know_their_direction():
    assert insert_in_walk([tree(40, LEFT, wave=2)], tree(20, RIGHT, wave=2))[1].place.position == 20
    assert insert_in_walk([tree(40, LEFT, wave=2)], tree(60, RIGHT, wave=2))[0].place.position == 60


def test_rows_told_by_name_place_a_tree_in_a_row_that_had_none():
    ahead = (tree(10, LEFT, 7), tree(20, LEFT, 5), tree(15, LEFT, 5, wave=2))
    between = tree(30, RIGHT, 9)
    assert insert_in_walk(ahead, between)[0] == between
    assert insert_in_walk(ahead, between, rows=[7, 9, 5])[1] == between
    loop = (tree(10, LEFT, 7), tree(20, LEFT, 5))
    assert insert_in_walk(loop, between, rows=[7, 9, 5])[1] == between


@pytest.mark.parametrize("knows_rows", [True, False])
@pytest.mark.parametrize("next_row_on", [None, LEFT, RIGHT])
@pytest.mark.parametrize("rows", [(3,), (3, 4, 5, 6), (6, 5, 4)])
def test_a_tree_taken_out_of_waves_returns_to_its_place(rows, next_row_on, knows_rows):
    lot = rows_side_by_side(rows)
    for seed in range(10):
        walk = draw_trees(lot, (14, 30, 41), 0, seed, next_row_on=next_row_on).walk
        for number, taken in enumerate(walk):
            rest = walk[:number] + walk[number + 1 :]
            again = insert_in_walk(
                rest, taken, next_row_on=next_row_on, rows=rows if knows_rows else None
            )
            assert again == walk


@pytest.mark.parametrize("rows", [(3,), (3, 4, 5, 6), (6, 5, 4)])
def test_a_tree_that_the_walk_is_just_coming_to_is_next(rows):
    for seed in range(10):
        walk = draw_trees(rows_side_by_side(rows), (14, 30, 41), 0, seed).walk
        for number, taken in enumerate(walk):
            ahead = walk[number + 1 :]
            assert insert_in_walk(ahead, taken, rows=rows) == walk[number:]


def sample(*trees):
    return [replace(at, order=order) for order, at in enumerate(trees, start=1)]


def held(position, side, order=1):
    return DrawnTree(None, Place(1, position), side, is_reserve=True, reserve_order=order)


# Out to 100 and 200, then back by 280 and 150: reserve trees stand at 120 and 60.
WALKED = [
    *sample(tree(100, LEFT), tree(200, RIGHT), tree(280, LEFT, wave=2), tree(150, RIGHT, wave=2)),
    held(120, RIGHT),
    held(60, LEFT, 2),
]


def positions(walk):
    return [(at.place.position, at.wave) for at in walk]


def test_a_reserve_tree_has_a_rank_for_each_wave():
    ranks = {place.position: own for place, own in walk_ranks(WALKED, [1]).items()}
    # Out: 60, 100, 120, 200; back: 280, 150, 120, 60.
    assert ranks == {100: (2,), 200: (4,), 280: (5,), 150: (6,), 120: (3, 7), 60: (1, 8)}


def test_a_replaced_tree_leaves_the_walk_and_the_other_comes_in_its_wave():
    first = (Place(1, 100), Place(1, 120))
    assert positions(walk_with(WALKED, [first], [1])) == [(120, 1), (200, 1), (280, 2), (150, 2)]
    on_the_way_back = (Place(1, 280), Place(1, 120))
    assert positions(walk_with(WALKED, [on_the_way_back], [1])) == [
        (100, 1),
        (200, 1),
        (150, 2),
        (120, 2),
    ]


def test_what_came_instead_may_be_replaced_in_turn():
    walk = walk_with(WALKED, [(Place(1, 200), Place(1, 120)), (Place(1, 120), Place(1, 60))], [1])
    # Both were passed already, so each came next.
    assert positions(walk) == [(100, 1), (60, 1), (280, 2), (150, 2)]


@pytest.mark.parametrize(
    ("gone", "instead", "words"),
    [
        (120, 60, "no tree of the walk"),
        (999, 60, "no tree of the walk"),
        (100, 200, "no tree of the reserve"),
        (100, 999, "no tree of the reserve"),
    ],
)
def test_what_cannot_be_replaced_is_named(gone, instead, words):
    with pytest.raises(ValueError, match=words):
        walk_with(WALKED, [(Place(1, gone), Place(1, instead))], [1])


def test_a_reserve_tree_comes_only_once():
    with pytest.raises(ValueError, match="no tree of the reserve"):
        walk_with(WALKED, [(Place(1, at), Place(1, 60)) for at in (100, 200)], [1])


def test_a_reserve_without_a_walk_has_no_ranks():
    assert walk_ranks([held(60, LEFT)], [1]) == {Place(1, 60): ()}
