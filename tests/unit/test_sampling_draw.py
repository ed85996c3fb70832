"""The draw of trees: chances, waves, sides, the ranges of workers and the reserve."""
# ruff: noqa: S311 - a draw must be repeatable, not secret

import itertools
import math
from collections import Counter
from fractions import Fraction
from random import Random

import pytest
import scipy.stats

from audits.errors import InvalidInput
from audits.sampling import Place, draw_trees
from audits.sampling import draw as drawing
from audits.sampling.draw import picks_by_wave, rounded_shares, stratified_picks
from audits.vocabulary import Side

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def row(trees, number=1, first=1):
    return [Place(number, position) for position in range(first, first + trees)]


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


def every_outcome(monkeypatch, play):
    """Play a draw through with every answer to every toss; yield outcomes with their chances."""
    answers, limits = [], []

    def below(limit, _generator):
        limits.append(limit)
        if len(limits) > len(answers):
            answers.append(0)
        return answers[len(limits) - 1]

    monkeypatch.setattr(drawing, "_below", below)
    while True:
        limits.clear()
        outcome = play()
        yield Fraction(1, math.prod(limits)), outcome
        while answers and answers[-1] == limits[len(answers) - 1] - 1:
            answers.pop()
        if not answers:
            return
        answers[-1] += 1


def numbered_ranges(sizes):
    numbers = itertools.count()
    return [list(itertools.islice(numbers, size)) for size in sizes]


@pytest.mark.parametrize(
    ("range_sizes", "increments"),
    [
        ([5], (1, 1, 1)),
        ([6], (2, 2)),
        ([6], (2, 4)),
        ([7], (3, 2)),
        ([2, 3], (1, 2)),
        ([4, 2], (2, 2)),
        ([3, 1, 1], (2, 1)),
        ([2, 1, 2], (1, 2, 1)),
    ],
)
def test_every_tree_of_a_tiny_lot_has_the_same_chance_in_each_wave(
    monkeypatch, range_sizes, increments
):
    ranges, lot_size = numbered_ranges(range_sizes), sum(range_sizes)
    total, inclusion = Fraction(0), [Counter() for _ in increments]
    for chance, waves in every_outcome(
        monkeypatch, lambda: picks_by_wave(ranges, increments, Random())
    ):
        total += chance
        assert [len(wave) for wave in waves] == list(increments)
        assert len(set().union(*waves)) == sum(increments)
        for chances, wave in zip(inclusion, waves, strict=True):
            for pick in wave:
                chances[pick] += chance
    assert total == 1
    # Waves share no tree, so that the chances of any waves together are as even as each wave's.
    for chances, increment in zip(inclusion, increments, strict=True):
        assert chances == dict.fromkeys(range(lot_size), Fraction(increment, lot_size))


@pytest.mark.parametrize(
    ("increments", "range_sizes"),
    [((2, 3), (3, 4, 5)), ((1, 1, 1), (3, 4)), ((4, 3), (1, 1, 9)), ((5, 7), (4, 0, 8))],
)
def test_shares_are_rounded_without_bias(monkeypatch, increments, range_sizes):
    lot_size = sum(range_sizes)
    expected = [[Fraction(0)] * len(range_sizes) for _ in increments]
    for chance, shares in every_outcome(
        monkeypatch, lambda: rounded_shares(increments, range_sizes, Random())
    ):
        for expected_line, line in zip(expected, shares, strict=True):
            for column, trees in enumerate(line):
                expected_line[column] += chance * trees
    assert expected == [
        [Fraction(increment * trees, lot_size) for trees in range_sizes] for increment in increments
    ]


# So many draws take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize(("lot_size", "sample_size"), [(12, 5), (31, 4)])
def test_inclusion_is_uniform_over_100_000_draws(lot_size, sample_size, volume):
    # One tree of each draw, taken at random, makes the counts multinomial as the test supposes.
    generator, chooser = Random(20), Random(21)
    counts = Counter(
        chooser.choice(stratified_picks(lot_size, sample_size, generator))
        for _ in range(volume(short=100_000, long=400_000))
    )
    observed = [counts[number] for number in range(lot_size)]
    assert scipy.stats.chisquare(observed).pvalue > 0.001


# So many draws take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize(
    ("range_sizes", "increments"), [([31], (4, 5)), ([13, 7, 11], (4, 5)), ([9, 14], (3, 2, 4))]
)
def test_inclusion_in_each_wave_and_all_so_far_is_uniform_over_100_000_draws(
    range_sizes, increments, volume
):
    ranges = numbered_ranges(range_sizes)
    generator, chooser = Random(25), Random(26)
    in_wave, so_far = ([Counter() for _ in increments] for _ in range(2))
    for _ in range(volume(short=100_000, long=400_000)):
        drawn = []
        for number, wave in enumerate(picks_by_wave(ranges, increments, generator)):
            drawn += wave
            in_wave[number][chooser.choice(wave)] += 1
            so_far[number][chooser.choice(drawn)] += 1
    for counts in (*in_wave, *so_far):
        observed = [counts[number] for number in range(sum(range_sizes))]
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


# So many draws take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize("range_sizes", [[12], [5, 4, 3]])
def test_faults_strewn_at_random_are_counted_in_every_wave_by_the_hypergeometric_law(
    range_sizes, volume
):
    # 3 nonconforming trees of 12 placed at random, waves of 3 and 4: the counts of both waves
    # together follow scipy's multivariate law, so each wave's and their sum follow the simple one.
    times = volume(short=100_000, long=400_000)
    ranges, generator = numbered_ranges(range_sizes), Random(27)
    counts = Counter()
    for _ in range(times):
        nonconforming = set(generator.sample(range(12), 3))
        waves = picks_by_wave(ranges, (3, 4), generator)
        counts[tuple(len(nonconforming.intersection(wave)) for wave in waves)] += 1
    pairs = [(first, second) for first in range(4) for second in range(4 - first)]
    law = scipy.stats.multivariate_hypergeom([3, 4, 5], 3)
    expected = [times * law.pmf([*pair, 3 - sum(pair)]) for pair in pairs]
    assert scipy.stats.chisquare([counts[pair] for pair in pairs], expected).pvalue > 0.001


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


def test_sides_are_balanced_in_each_wave_and_in_all_so_far():
    for seed in range(200):
        walk = draw_trees(row(40), (7, 12, 17, 26), 0, seed).walk
        for wave in range(1, 5):
            of_wave = [at for at in walk if at.wave == wave]
            so_far = [at for at in walk if at.wave <= wave]
            for trees in (of_wave, so_far):
                left = sum(at.side is LEFT for at in trees)
                assert abs(2 * left - len(trees)) <= 1


def test_waves_are_spread_each_over_the_whole_row():
    walk = draw_trees(row(300), (14, 30), 0, seed=7).walk
    assert [sum(at.wave == wave for at in walk) for wave in (1, 2)] == [14, 16]
    # Less than two strata, of 22 and 18 trees; the ring of the second wave lacks the trees of the
    # first, of which no more than four stand in such a gap.
    for wave, widest in ((1, 2 * 22), (2, 2 * 18 + 4)):
        positions = sorted(at.place.position for at in walk if at.wave == wave)
        gaps = [
            after - before for before, after in itertools.pairwise([*positions, positions[0] + 300])
        ]
        assert max(gaps) < widest


def test_the_first_of_two_waves_is_the_draw_of_that_size():
    alone = draw_trees(row(300), 14, 0, seed=5)
    first = [at.place for at in draw_trees(row(300), (14, 30), 6, seed=5).walk if at.wave == 1]
    assert first == sorted(at.place for at in alone.walk)


def test_one_wave_is_the_same_draw_by_a_number_and_by_a_list():
    assert draw_trees(row(300), (30,), 7, seed=5) == draw_trees(row(300), 30, 7, seed=5)
    assert {at.wave for at in draw_trees(row(300), 30, 7, seed=5).trees} == {1}


def pruned_by(lot, *parts):
    """Give the trees of a lot in turn to (worker, number of trees)."""
    workers = itertools.chain.from_iterable([worker] * trees for worker, trees in parts)
    return dict(zip(lot, workers, strict=True))


@pytest.mark.parametrize(
    "parts",
    [
        [("Ana", 100), ("Bo", 143), ("Cy", 57)],
        [("Ana", 40), (None, 25), ("Bo", 35), ("Ana", 160), (None, 40)],
        [(number, 3) for number in range(100)],
    ],
)
def test_each_worker_has_a_fair_share_of_each_wave_and_of_all(parts):
    lot = row(300)
    workers = pruned_by(lot, *parts)
    trees = Counter(workers.values())
    for seed in range(100):
        draw = draw_trees(lot, (14, 30), 6, seed, workers=workers)
        for waves, size in (({1}, 14), ({2}, 16), ({1, 2}, 30)):
            looked_at = Counter(workers[at.place] for at in draw.walk if at.wave in waves)
            for worker, of_lot in trees.items():
                assert abs(looked_at[worker] - Fraction(size * of_lot, 300)) < 1


def test_a_single_ring_would_not_keep_the_shares_within_one():
    # The reason for a ring a worker: 33 of 300 trees have a share of 3.3 trees of 30.
    generator = Random(28)
    counts = {sum(pick < 33 for pick in stratified_picks(300, 30, generator)) for _ in range(2_000)}
    assert counts == {2, 3, 4, 5}


def test_trees_of_one_worker_or_of_nobody_are_drawn_as_one_ring():
    lot = row(300)
    plain = draw_trees(lot, (14, 30), 7, seed=5)
    assert draw_trees(lot, (14, 30), 7, seed=5, workers=dict.fromkeys(lot, "Ana")) == plain
    assert draw_trees(lot, (14, 30), 7, seed=5, workers={}) == plain


def test_a_tree_without_a_word_about_its_worker_is_nobodys():
    lot = row(300)
    unknown = dict.fromkeys(lot[50:80])
    known = pruned_by(lot[:50] + lot[80:], ("Ana", 120), ("Bo", 150))
    assert draw_trees(lot, 30, 7, seed=5, workers=known) == draw_trees(
        lot, 30, 7, seed=5, workers=known | unknown
    )


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
        ((5, 14), 0, 1, "sample_size", "14"),
        ((0, 5), 0, 1, "sample_size", "0"),
        ((), 0, 1, "sample_size", "0"),
    ],
)
def test_impossible_draws_are_refused(sample_size, reserve_size, seed, field, value):
    with pytest.raises(InvalidInput) as refusal:
        draw_trees(row(12), sample_size, reserve_size, seed)
    assert value in str(refusal.value.problems[field])


@pytest.mark.parametrize("sizes", [(3, 3), (5, 4), (2, 6, 6)])
def test_a_wave_that_adds_no_tree_is_refused(sizes):
    with pytest.raises(InvalidInput, match="count all trees so far"):
        draw_trees(row(12), sizes, 0, seed=1)


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
