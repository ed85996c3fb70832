"""Which trees of a lot are looked at: drawn by chance, in waves, spread over the lot."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise, product
from random import Random

from audits.errors import InvalidInput
from audits.messages import say, say_n
from audits.sampling.inputs import require_count
from audits.sampling.route import order_of_walk
from audits.sampling.trees import DrawnTree, Place
from audits.vocabulary import Side


@dataclass(frozen=True)
class Draw:
    """
    A random selection of trees with the seed that repeats it.

    Parameters
    ----------
    seed : int
        The seed.
    lot_size : int
        Trees of the lot it was drawn from.
    walk : tuple of DrawnTree
        The sample, in the order in which it is walked.
    reserve : tuple of DrawnTree
        The reserve, in the order in which it is taken.
    """

    seed: int
    lot_size: int
    walk: tuple[DrawnTree, ...]
    reserve: tuple[DrawnTree, ...]

    @property
    def trees(self) -> tuple[DrawnTree, ...]:
        """Sample and reserve together."""
        return self.walk + self.reserve


def draw_trees(
    places: Iterable[Place],
    sizes: int | Sequence[int],
    reserve_size: int,
    seed: int,
    *,
    next_row_on: Side | None = None,
    workers: Mapping[Place, Hashable] | None = None,
) -> Draw:
    """
    Draw the sample of a lot, in one or more waves, and its reserve.

    The design is circular stratification. The N places, row after row, are bent into a ring and
    cut into n strata of floor(N/n) or ceil(N/n) neighbours; the cuts are turned by an amount that
    is uniform over the ring, and one tree is picked at random from each stratum.

    Every tree has the same chance n/N. Turned at random, a stratum of s trees covers a given tree
    with probability s/N and then picks it with probability 1/s: together 1/N, whatever s is. The
    n strata never overlap, so that the chances add up to n/N.

    A later wave of m trees is drawn in the same way from the ring of the places that are left
    after the n trees of the waves before. A tree is among those left with chance (N - n)/N and is
    then picked with chance m/(N - n): together m/N. Waves have no tree in common, so that the
    chances add up: every tree is equally likely to be in each wave, and in any waves together.

    Where several people have pruned a lot, each one's trees are bent into a ring of their own,
    and so are the trees of nobody in particular. A person with W of the N trees has a share of
    mW/N in a wave of m. How many trees that makes is drawn first: the shares are rounded at
    random, up or down, without changing what is to be expected of any, and so that all add up.
    Each person's trees in each wave, and in all waves together, are therefore less than one away
    from the share. (A single ring cut across the ranges keeps them less than two away only, for
    the strata at both ends of a range may both fall in or both fall out.) Within a range each of
    the W trees is equally likely in a wave, by the reasoning above, so that its chance is the
    expected count mW/N over W: m/N, as without the ranges.

    The picks depend on the places and ranges alone. Wherever a given number of nonconforming trees
    is strewn at random over the lot, the counts in the waves therefore follow the hypergeometric
    law exactly, each wave's own and those of all waves so far, and so do the risks of a plan.
    Where faults stand in clusters, the spread makes the counts steadier than that law says.

    Sides are balanced to within one in each wave, and in all waves so far: of every two
    neighbouring trees of a wave one is looked at from the left and one from the right, which being
    tossed; where a tree is left over, the next one left over takes the other side. So each side is
    spread along the lot, and a tree is as often seen from the one as from the other.

    The reserve is a simple random sample of the places that are left, in random order, with its
    sides balanced in the same way.

    The order of the walk is told in `audits.sampling.route.order_of_walk`: one wave makes a loop,
    two go out and back.

    Parameters
    ----------
    places : Iterable of Place
        All trees of the lot: rows in walking order, positions of a row rising.
    sizes : int or sequence of int
        Trees to draw, from 1 to the lot (symbol n). Several numbers are the sizes of the waves,
        each counting all trees so far, such as ``(14, 30)``.
    reserve_size : int
        Trees to hold in reserve; fewer are drawn where the lot has no more.
    seed : int
        Seed of the random numbers, 0 or more. The same seed gives the same draw on every machine
        and version: only `random.Random.random` is used, whose sequence Python guarantees.
    next_row_on : Side, optional
        The side, seen from the rows' start, on which the row with the next higher number stands,
        if all rows start at the same end. Left out, rows are walked one by one.
    workers : Mapping of Place to Hashable, optional
        Who pruned which tree, by any key; trees left out or marked None are nobody's in
        particular. Left out, or with one person alone, the lot is one ring.

    Returns
    -------
    Draw
        Sample and reserve.

    Raises
    ------
    InvalidInput
        If the sample is empty or larger than the lot, a wave adds no tree, the reserve or the
        seed is negative, the places are out of order, or the next row is said to stand on both
        sides.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd edition, chapters 5 and 8: one unit per
       stratum and its kin, systematic sampling.
    .. [2] L. H. Cox, A constructive procedure for unbiased controlled rounding, Journal of the
       American Statistical Association 82 (1987) 520-524: the shares of the ranges.

    Examples
    --------
    >>> row = [Place(7, position) for position in range(1, 301)]
    >>> draw = draw_trees(row, 4, 1, seed=1)
    >>> [(tree.place.position, tree.side.value) for tree in draw.walk]
    [(3, 'left'), (210, 'left'), (173, 'right'), (104, 'right')]
    >>> [(tree.place.position, tree.wave) for tree in draw_trees(row, (2, 5), 1, seed=1).walk]
    [(5, 1), (168, 1), (222, 2), (127, 2), (43, 2)]
    """
    lot = tuple(places)
    waves = (sizes,) if isinstance(sizes, int) else tuple(sizes)
    _require_drawable(lot, waves, reserve_size, seed)
    if next_row_on is Side.BOTH:
        raise InvalidInput({"next_row_on": say("Say on which side the next row stands.")})
    generator = Random(seed)  # noqa: S311 - a draw must be repeatable, not secret
    increments = [size - before for before, size in pairwise((0, *waves))]
    picked = picks_by_wave(_ranges(lot, workers or {}), increments, generator)
    sample = [
        DrawnTree(None, lot[pick], side, wave=wave)
        for wave, (picks, sides) in enumerate(
            zip(picked, _sides_by_wave(increments, generator), strict=True), start=1
        )
        for pick, side in zip(picks, sides, strict=True)
    ]
    rest = sorted(set(range(len(lot))).difference(*picked))
    held = picks_in_random_order(rest, min(reserve_size, len(rest)), generator)
    reserve = tuple(
        DrawnTree(None, lot[pick], side, is_reserve=True, reserve_order=number)
        for number, (pick, side) in enumerate(
            zip(held, toss_sides(len(held), generator), strict=True), start=1
        )
    )
    ordered = order_of_walk(sample, lot, next_row_on=next_row_on)
    walk = tuple(replace(tree, order=number) for number, tree in enumerate(ordered, start=1))
    return Draw(seed, len(lot), walk, reserve)


def picks_by_wave(
    ranges: Sequence[Sequence[int]], increments: Sequence[int], generator: Random
) -> list[list[int]]:
    """
    Pick the trees of each wave by circular stratification within each range.

    Parameters
    ----------
    ranges : Sequence of Sequence of int
        The numbers of the trees of each range, in the order of its ring.
    increments : Sequence of int
        Trees that each wave adds; together no more than there are.
    generator : random.Random
        Source of random numbers.

    Returns
    -------
    list of list of int
        The picked numbers of each wave, rising. Of N trees each is in a wave of m with
        probability m/N.
    """
    shares = rounded_shares(increments, [len(trees) for trees in ranges], generator)
    rings = [list(trees) for trees in ranges]
    waves: list[list[int]] = []
    for share in shares:
        picked: list[int] = []
        for ring, size in zip(rings, share, strict=True):
            if size:
                # From the end on, so that the places of those still to be taken stay as they are.
                picks = stratified_picks(len(ring), size, generator)
                picked += [ring.pop(at) for at in reversed(picks)]
        waves.append(sorted(picked))
    return waves


def rounded_shares(
    increments: Sequence[int], range_sizes: Sequence[int], generator: Random
) -> list[list[int]]:
    """
    Round the proportional shares of ranges in waves to whole trees, at random and without bias.

    The table has a line for each wave and one for the trees never drawn, and a column for each
    range; its entries are shares, while every line and column adds up to whole trees. As long as
    entries are broken, some of them form a loop that turns at each between a line and a column.
    Raising every other one and lowering those between by the same amount keeps all sums. The
    amount is as much as makes the first of them whole, in the one sense or the other, tossed so
    that neither is gained by on average.

    Parameters
    ----------
    increments : Sequence of int
        Trees that each wave adds; together no more than there are.
    range_sizes : Sequence of int
        Trees of each range, at least one in all.
    generator : random.Random
        Source of random numbers; not asked where every share is whole already.

    Returns
    -------
    list of list of int
        For each wave the trees of each range: the share rounded up or down, on average the share
        itself. All waves together are their summed share rounded up or down too.

    References
    ----------
    .. [1] L. H. Cox, A constructive procedure for unbiased controlled rounding, Journal of the
       American Statistical Association 82 (1987) 520-524.
    """
    lot_size = sum(range_sizes)
    lines = [*increments, lot_size - sum(increments)]
    # In N-ths of a tree, so that every step is exact.
    entries = [[line * trees for trees in range_sizes] for line in lines]
    while loop := _loop_of_broken_entries(entries, lot_size):
        raised, lowered = loop[::2], loop[1::2]
        up = _room(entries, raised, lowered, lot_size)
        down = _room(entries, lowered, raised, lot_size)
        step = up if _below(up + down, generator) < down else -down
        for line, column in raised:
            entries[line][column] += step
        for line, column in lowered:
            entries[line][column] -= step
    return [[entry // lot_size for entry in line] for line in entries[:-1]]


def stratified_picks(lot_size: int, sample_size: int, generator: Random) -> list[int]:
    """
    Pick trees by circular stratification.

    Parameters
    ----------
    lot_size : int
        Trees on the ring (symbol N).
    sample_size : int
        Trees to pick, from 1 to `lot_size` (symbol n).
    generator : random.Random
        Source of random numbers.

    Returns
    -------
    list of int
        Numbers of the picked trees, from 0, rising. Each tree is picked with probability n/N.
    """
    turn = _below(lot_size, generator)
    cuts = [stratum * lot_size // sample_size for stratum in range(sample_size + 1)]
    return sorted(
        (turn + start + _below(end - start, generator)) % lot_size for start, end in pairwise(cuts)
    )


def toss_sides(trees: int, generator: Random) -> list[Side]:
    """
    Toss which of every two trees is looked at from the left.

    Parameters
    ----------
    trees : int
        Trees, in the order in which they stand.
    generator : random.Random
        Source of random numbers.

    Returns
    -------
    list of Side
        One side for each tree; left and right as often, to within one.
    """
    sides: list[Side] = []
    for _ in range(0, trees, 2):
        left_first = _below(2, generator) == 0
        sides += [Side.LEFT, Side.RIGHT] if left_first else [Side.RIGHT, Side.LEFT]
    return sides[:trees]


def picks_in_random_order(choices: Sequence[int], number: int, generator: Random) -> list[int]:
    """
    Pick without replacement, each choice swapped to the front as it is taken.

    Parameters
    ----------
    choices : Sequence of int
        What can be picked.
    number : int
        How many to pick, at most all.
    generator : random.Random
        Source of random numbers.

    Returns
    -------
    list of int
        A simple random sample, every order of it as likely as any other.
    """
    pool = list(choices)
    for front in range(number):
        taken = front + _below(len(pool) - front, generator)
        pool[front], pool[taken] = pool[taken], pool[front]
    return pool[:number]


def _require_drawable(
    lot: Sequence[Place], waves: Sequence[int], reserve_size: int, seed: int
) -> None:
    for size in waves or (0,):
        require_count("sample_size", size, 1)
    require_count("reserve_size", reserve_size, 0)
    require_count("seed", seed, 0)
    _require_rising(waves)
    if waves[-1] > len(lot):
        raise InvalidInput(
            {
                "sample_size": say_n(
                    "The lot has only %(count)s tree; a sample of %(sample)s cannot be drawn.",
                    "The lot has only %(count)s trees; a sample of %(sample)s cannot be drawn.",
                    len(lot),
                    sample=waves[-1],
                )
            }
        )
    rows = [row for row, _ in groupby(lot, key=lambda place: place.row)]
    in_order = all(
        here.row != there.row or here.position < there.position for here, there in pairwise(lot)
    )
    if len(set(rows)) < len(rows) or not in_order:
        raise InvalidInput(
            {"places": say("The trees of a lot must come row by row, in rising positions.")}
        )


def _require_rising(waves: Sequence[int]) -> None:
    if any(later <= earlier for earlier, later in pairwise(waves)):
        raise InvalidInput(
            {
                "sample_size": say(
                    "The sizes of the waves count all trees so far, so each must be larger than "
                    "the one before it."
                )
            }
        )


def _ranges(lot: Sequence[Place], workers: Mapping[Place, Hashable]) -> list[list[int]]:
    """Gather the numbers of the trees by who pruned them, in the order in which they stand."""
    ranges: dict[Hashable, list[int]] = {}
    for number, place in enumerate(lot):
        ranges.setdefault(workers.get(place), []).append(number)
    return list(ranges.values())


def _loop_of_broken_entries(entries: Sequence[Sequence[int]], unit: int) -> list[tuple[int, int]]:
    """Return entries that are no multiple of the unit, by turns in one line and one column."""
    # Lines are numbered 0, 1, ..., columns -1, -2, ...: each broken entry joins two of them.
    joined: dict[int, list[int]] = {}
    for line, column in product(range(len(entries)), range(len(entries[0]))):
        if entries[line][column] % unit:
            joined.setdefault(line, []).append(~column)
            joined.setdefault(~column, []).append(line)
    if not joined:
        return []
    # No sum is broken, so that one can always go on by another entry, until the way meets itself.
    way = [min(joined)]
    onward = joined[way[0]][0]
    while onward not in way:
        before, here = way[-1], onward
        way.append(here)
        onward = next(other for other in joined[here] if other != before)
    loop = way[way.index(onward) :]
    return [(max(pair), ~min(pair)) for pair in zip(loop, [*loop[1:], onward], strict=True)]


def _room(
    entries: Sequence[Sequence[int]],
    raised: Iterable[tuple[int, int]],
    lowered: Iterable[tuple[int, int]],
    unit: int,
) -> int:
    """Return how far entries can be moved until the first one is a multiple of the unit."""
    above = [-entries[line][column] % unit for line, column in raised]
    below = [entries[line][column] % unit for line, column in lowered]
    return min(above + below)


def _below(limit: int, generator: Random) -> int:
    """Return a whole number from 0 to below the limit, each as likely to within 2 ** -53."""
    return int(generator.random() * limit)


def _sides_by_wave(sizes: Iterable[int], generator: Random) -> list[list[Side]]:
    """Toss the sides of each wave; odd trees out take the one side and the other by turns."""
    waves: list[list[Side]] = []
    odd_side: Side | None = None
    for size in sizes:
        sides = toss_sides(size, generator)
        if size % 2:
            if odd_side is not None:
                sides[-1] = odd_side
            odd_side = Side.RIGHT if sides[-1] is Side.LEFT else Side.LEFT
        waves.append(sides)
    return waves
