"""Laws that every draw in waves, every share of a worker and every walk obeys."""
# ruff: noqa: S311 - a draw must be repeatable, not secret

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from audits.sampling import (
    Place,
    draw_trees,
    insert_in_walk,
    walk_length,
    walk_lengths,
    walk_ranks,
    walk_with,
)
from audits.sampling.draw import rounded_shares, stratified_picks
from audits.vocabulary import Side

seeds = st.integers(0, 2**64)
next_rows = st.sampled_from([None, Side.LEFT, Side.RIGHT])


@st.composite
def lots(draw):
    rows = draw(st.lists(st.integers(1, 40), min_size=1, max_size=4, unique=True))
    return [
        Place(row, position)
        for row in rows
        for position in sorted(draw(st.sets(st.integers(1, 80), min_size=1, max_size=40)))
    ]


def wave_sizes(most):
    return st.sets(st.integers(1, most), min_size=1, max_size=4).map(sorted).map(tuple)


def of_wave(walk, wave):
    return [tree for tree in walk if tree.wave == wave]


@given(lots(), st.data(), seeds, next_rows)
def test_every_draw_in_waves_is_whole_balanced_and_repeatable(lot, data, seed, next_row_on):
    sizes = data.draw(wave_sizes(len(lot)))
    reserve = data.draw(st.integers(0, 10))
    draw = draw_trees(lot, sizes, reserve, seed, next_row_on=next_row_on)
    assert draw == draw_trees(lot, sizes, reserve, seed, next_row_on=next_row_on)
    assert [tree.order for tree in draw.walk] == list(range(1, sizes[-1] + 1))
    assert [tree.wave for tree in draw.walk] == sorted(tree.wave for tree in draw.walk)
    assert len({tree.place for tree in draw.trees}) == len(draw.trees)
    assert {tree.place for tree in draw.trees} <= set(lot)
    assert len(draw.reserve) == min(reserve, len(lot) - sizes[-1])
    for wave, (before, size) in enumerate(pairwise((0, *sizes)), start=1):
        trees = of_wave(draw.walk, wave)
        assert len(trees) == size - before
        left = sum(tree.side is Side.LEFT for tree in trees)
        assert abs(2 * left - len(trees)) <= 1


@given(lots(), st.data(), seeds)
def test_how_rows_stand_changes_the_way_and_never_the_trees(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    plain = draw_trees(lot, sizes, 0, seed).walk
    other = draw_trees(lot, sizes, 0, seed, next_row_on=Side.LEFT).walk
    assert {(tree.place, tree.side, tree.wave) for tree in plain} == {
        (tree.place, tree.side, tree.wave) for tree in other
    }
    assert walk_length(other, lot, next_row_on=Side.LEFT) <= walk_length(
        plain, lot, next_row_on=Side.LEFT
    )


@given(lots(), st.data(), seeds)
def test_a_walk_is_as_long_as_its_last_wave_says(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    walk = draw_trees(lot, sizes, 0, seed).walk
    lengths = walk_lengths(walk, lot)
    assert len(lengths) == len(sizes)
    assert lengths[-1] == walk_length(walk, lot)
    # Never more than every row out and back in every wave.
    once = sum(
        max(place.position for place in lot if place.row == row)
        - min(place.position for place in lot if place.row == row)
        for row in {place.row for place in lot}
    )
    assert all(0 <= length <= 2 * once * wave for wave, length in enumerate(lengths, start=1))


@given(lots(), st.data(), seeds)
def test_every_worker_has_a_fair_share_of_every_wave(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    marks = data.draw(
        st.lists(st.sampled_from([None, "Ana", "Bo", "Cy"]), min_size=len(lot), max_size=len(lot))
    )
    workers = dict(zip(lot, marks, strict=True))
    walk = draw_trees(lot, sizes, 0, seed, workers=workers).walk
    assert len(walk) == sizes[-1]
    drawn = [of_wave(walk, wave) for wave in range(1, len(sizes) + 1)]
    for worker in set(marks):
        of_lot = marks.count(worker)
        for trees in [*drawn, walk]:
            looked_at = sum(workers[tree.place] == worker for tree in trees)
            assert abs(looked_at - Fraction(len(trees) * of_lot, len(lot))) < 1


@given(st.lists(st.integers(0, 60), min_size=1, max_size=8).filter(any), st.data(), seeds)
def test_shares_are_rounded_up_or_down_and_add_up(range_sizes, data, seed):
    lot_size = sum(range_sizes)
    sizes = data.draw(wave_sizes(lot_size))
    increments = [size - before for before, size in pairwise((0, *sizes))]
    shares = rounded_shares(increments, range_sizes, Random(seed))
    assert [sum(line) for line in shares] == increments
    for increment, line in zip(increments, shares, strict=True):
        for trees, of_range in zip(line, range_sizes, strict=True):
            assert 0 <= trees <= of_range
            assert abs(trees - Fraction(increment * of_range, lot_size)) < 1
    for column, of_range in enumerate(range_sizes):
        together = sum(line[column] for line in shares)
        assert together <= of_range
        assert abs(together - Fraction(sizes[-1] * of_range, lot_size)) < 1


@given(st.integers(1, 80), st.data(), seeds)
def test_any_stretch_of_a_ring_has_its_share_to_less_than_two(lot_size, data, seed):
    sample_size = data.draw(st.integers(1, lot_size))
    start, stretch = data.draw(st.integers(0, lot_size - 1)), data.draw(st.integers(1, lot_size))
    picks = stratified_picks(lot_size, sample_size, Random(seed))
    inside = sum((pick - start) % lot_size < stretch for pick in picks)
    assert abs(inside - Fraction(stretch * sample_size, lot_size)) < 2


@given(lots(), st.data(), seeds, next_rows)
def test_a_reserve_tree_taken_into_a_wave_disturbs_no_other(lot, data, seed, next_row_on):
    sizes = data.draw(wave_sizes(len(lot)))
    draw = draw_trees(lot, sizes, 0, seed, next_row_on=next_row_on)
    number = data.draw(st.integers(0, sizes[-1] - 1))
    gone, ahead = draw.walk[number], draw.walk[number + 1 :]
    rows = list(dict.fromkeys(place.row for place in lot))
    for known in (rows, None):
        longer = insert_in_walk(ahead, gone, next_row_on=next_row_on, rows=known)
        assert [tree for tree in longer if tree != gone] == list(ahead)
        assert [tree.wave for tree in longer] == sorted(tree.wave for tree in longer)


def rows_of(lot):
    return list(dict.fromkeys(place.row for place in lot))


def one_by_one(draw, replacements, rows):
    """Take reserve trees into a walk the long way: by where each tree stands, never by a rank."""
    walk, reserve = list(draw.walk), {tree.place: tree for tree in draw.reserve}
    for gone, instead in replacements:
        (here,) = (at for at, tree in enumerate(walk) if tree.place == gone)
        taken = replace(reserve[instead], wave=walk[here].wave)
        walk = [*walk[:here], *insert_in_walk(walk[here + 1 :], taken, rows=rows)]
    return [(tree.place, tree.side, tree.wave) for tree in walk]


@given(lots(), st.data(), seeds)
def test_reserve_trees_placed_by_rank_stand_where_they_are_passed_anyway(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    draw = draw_trees(lot, sizes, 8, seed)
    replacements, walk, here = [], list(draw.walk), 0
    for held in draw.reserve:
        # As a walk goes on, what turns out to be no tree lies ahead, or came in just now.
        here = data.draw(st.integers(here, len(walk) - 1))
        replacements.append((walk[here].place, held.place))
        walk = list(walk_with(draw.trees, replacements, rows_of(lot)))
    assert [tree.order for tree in walk] == list(range(1, len(walk) + 1))
    assert one_by_one(draw, replacements, rows_of(lot)) == [
        (tree.place, tree.side, tree.wave) for tree in walk
    ]


@given(lots(), st.data(), seeds)
def test_replacements_in_any_order_keep_every_other_tree_and_the_size_of_each_wave(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    draw = draw_trees(lot, sizes, 8, seed)
    replacements, walk = [], draw.walk
    for held in data.draw(st.permutations(draw.reserve)):
        gone = data.draw(st.sampled_from(walk)).place
        replacements.append((gone, held.place))
        before, walk = walk, walk_with(draw.trees, replacements, rows_of(lot))
        kept = [tree.place for tree in before if tree.place != gone]
        assert [tree.place for tree in walk if tree.place != held.place] == kept
        assert [tree.wave for tree in walk] == [tree.wave for tree in draw.walk]


@given(lots(), st.data(), seeds)
def test_ranks_say_of_any_two_trees_which_comes_first(lot, data, seed):
    sizes = data.draw(wave_sizes(len(lot)))
    draw = draw_trees(lot, sizes, 8, seed)
    ranks = walk_ranks(draw.trees, rows_of(lot))
    own = [ranks[tree.place][0] for tree in draw.walk]
    assert own == sorted(own)
    assert {len(ranks[tree.place]) for tree in draw.reserve} <= {len(sizes)}
    every = [number for numbers in ranks.values() for number in numbers]
    assert sorted(every) == list(range(1, len(every) + 1))
