"""Which trees of a lot are looked at: drawn by chance, spread over the lot, walked out and back."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from random import Random
from typing import Final, NamedTuple

from audits.errors import InvalidInput
from audits.messages import say, say_n
from audits.sampling.inputs import require_count
from audits.vocabulary import Side

_Key = Callable[["DrawnTree"], tuple[int, ...]]

# The rank of a row that is no longer, or never was, ahead in a walk.
_PASSED: Final = -1


class Place(NamedTuple):
    """
    Where a tree of the lot stands.

    Parameters
    ----------
    row : int
        Number of its row.
    position : int
        Its position, counted from the row's start.
    """

    row: int
    position: int


@dataclass(frozen=True)
class DrawnTree:
    """
    A tree of a draw.

    Parameters
    ----------
    order : int or None
        Where it comes in the walk, from 1; a reserve tree has no place in it until it is taken.
    place : Place
        Where it stands.
    side : Side
        The side from which it is looked at, left or right.
    is_reserve : bool
        Whether it only replaces a position that turns out not to be a tree for the standard.
    reserve_order : int or None
        Where it comes in the reserve, from 1; none for a tree of the sample.
    """

    order: int | None
    place: Place
    side: Side
    is_reserve: bool = False
    reserve_order: int | None = None


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
    sample_size: int,
    reserve_size: int,
    seed: int,
    *,
    next_row_on: Side | None = None,
) -> Draw:
    """
    Draw the sample of a lot and its reserve.

    The design is circular stratification. The N places, row after row, are bent into a ring and
    cut into n strata of floor(N/n) or ceil(N/n) neighbours; the cuts are turned by an amount that
    is uniform over the ring, and one tree is picked at random from each stratum.

    Every tree has the same chance n/N. Turned at random, a stratum of s trees covers a given tree
    with probability s/N and then picks it with probability 1/s: together 1/N, whatever s is. The
    n strata never overlap, so that the chances add up to n/N.

    The picks depend on the places alone. Wherever a given number of nonconforming trees is strewn
    at random over the lot, the count in the sample therefore follows the hypergeometric law
    exactly, and so do the risks of a plan. Where faults stand in clusters, the spread makes the
    count steadier than that law says.

    Sides are balanced to within one: of every two neighbouring trees of the sample one is looked
    at from the left and one from the right, which being tossed; so each side is spread along the
    lot, and a tree is as often seen from the one as from the other.

    The reserve is a simple random sample of the places that are left, in random order, with its
    sides balanced in the same way.

    A row is walked out on its left side and back on its right, and several rows one after the
    other. If `next_row_on` says how the rows stand, the walk goes up and down the alleys between
    them instead wherever that is shorter: from the right side of one row to the left side of the
    next without a step.

    Parameters
    ----------
    places : Iterable of Place
        All trees of the lot: rows in walking order, positions of a row rising.
    sample_size : int
        Trees to draw, from 1 to the lot (symbol n).
    reserve_size : int
        Trees to hold in reserve; fewer are drawn where the lot has no more.
    seed : int
        Seed of the random numbers, 0 or more. The same seed gives the same draw on every machine
        and version: only `random.Random.random` is used, whose sequence Python guarantees.
    next_row_on : Side, optional
        The side, seen from the rows' start, on which the row with the next higher number stands,
        if all rows start at the same end. Left out, rows are walked one by one.

    Returns
    -------
    Draw
        Sample and reserve.

    Raises
    ------
    InvalidInput
        If the sample is empty or larger than the lot, the reserve or the seed is negative, the
        places are out of order, or the next row is said to stand on both sides.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd edition, chapters 5 and 8: one unit per
       stratum and its kin, systematic sampling.

    Examples
    --------
    >>> draw = draw_trees([Place(7, position) for position in range(1, 301)], 4, 1, seed=1)
    >>> [(tree.place.position, tree.side.value) for tree in draw.walk]
    [(3, 'left'), (210, 'left'), (173, 'right'), (104, 'right')]
    """
    lot = tuple(places)
    _require_drawable(lot, sample_size, reserve_size, seed)
    if next_row_on is Side.BOTH:
        raise InvalidInput({"next_row_on": say("Say on which side the next row stands.")})
    generator = Random(seed)  # noqa: S311 - a draw must be repeatable, not secret
    picked = stratified_picks(len(lot), sample_size, generator)
    rest = sorted(set(range(len(lot))).difference(picked))
    sample = [
        DrawnTree(None, lot[pick], side)
        for pick, side in zip(picked, _sides(len(picked), generator), strict=True)
    ]
    held = _picks_in_random_order(rest, min(reserve_size, len(rest)), generator)
    reserve = tuple(
        DrawnTree(None, lot[pick], side, is_reserve=True, reserve_order=number)
        for number, (pick, side) in enumerate(
            zip(held, _sides(len(held), generator), strict=True), start=1
        )
    )
    ordered = _shortest_walk(sample, lot, next_row_on)
    walk = tuple(replace(tree, order=number) for number, tree in enumerate(ordered, start=1))
    return Draw(seed, len(lot), walk, reserve)


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


def walk_length(
    trees: Iterable[DrawnTree], places: Iterable[Place], *, next_row_on: Side | None = None
) -> int:
    """
    Return the length of a walk, from the first row's start back to the start.

    A step is the distance between two neighbouring positions. Wires keep people from crossing a
    row, so that the other side or another row is reached round an end; the few steps round the
    end are not counted. The first and last place of the lot in a row stand for the row's ends.

    Parameters
    ----------
    trees : Iterable of DrawnTree
        The trees in the order of the walk.
    places : Iterable of Place
        All trees of the lot.
    next_row_on : Side, optional
        As in `draw_trees`: whether neighbouring rows share an alley.

    Returns
    -------
    int
        Tree steps.
    """
    ends = _row_ends(places)
    walked = list(trees)
    if not walked:
        return 0
    out, back = walked[0].place, walked[-1].place
    return (
        out.position
        - ends[out.row][0]
        + sum(_steps(here, there, ends, next_row_on) for here, there in pairwise(walked))
        + back.position
        - ends[back.row][0]
    )


def insert_in_walk(
    remaining: Sequence[DrawnTree], tree: DrawnTree, *, next_row_on: Side | None = None
) -> tuple[DrawnTree, ...]:
    """
    Take a reserve tree into the rest of a walk.

    Parameters
    ----------
    remaining : Sequence of DrawnTree
        The trees still ahead, in the order of the walk.
    tree : DrawnTree
        The tree to take in.
    next_row_on : Side, optional
        As the walk was drawn with.

    Returns
    -------
    tuple of DrawnTree
        The rest of the walk with the tree at the place where the walk passes it anyway. A tree
        that the walk has passed already comes next.
    """
    key = _walking_key(remaining, next_row_on)
    own = key(tree)
    where = next(
        (number for number, other in enumerate(remaining) if key(other) > own), len(remaining)
    )
    return (*remaining[:where], tree, *remaining[where:])


def _require_drawable(lot: Sequence[Place], sample_size: int, reserve_size: int, seed: int) -> None:
    require_count("sample_size", sample_size, 1)
    require_count("reserve_size", reserve_size, 0)
    require_count("seed", seed, 0)
    if sample_size > len(lot):
        raise InvalidInput(
            {
                "sample_size": say_n(
                    "The lot has only %(count)s tree; a sample of %(sample)s cannot be drawn.",
                    "The lot has only %(count)s trees; a sample of %(sample)s cannot be drawn.",
                    len(lot),
                    sample=sample_size,
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


def _below(limit: int, generator: Random) -> int:
    """Return a whole number from 0 to below the limit, each as likely to within 2 ** -53."""
    return int(generator.random() * limit)


def _sides(trees: int, generator: Random) -> list[Side]:
    """Toss which of every two trees is looked at from the left."""
    sides: list[Side] = []
    for _ in range(0, trees, 2):
        left_first = _below(2, generator) == 0
        sides += [Side.LEFT, Side.RIGHT] if left_first else [Side.RIGHT, Side.LEFT]
    return sides[:trees]


def _picks_in_random_order(choices: Sequence[int], number: int, generator: Random) -> list[int]:
    """Pick without replacement: each choice is swapped to the front as it is taken."""
    pool = list(choices)
    for front in range(number):
        taken = front + _below(len(pool) - front, generator)
        pool[front], pool[taken] = pool[taken], pool[front]
    return pool[:number]


def _shortest_walk(
    sample: Sequence[DrawnTree], lot: Sequence[Place], next_row_on: Side | None
) -> list[DrawnTree]:
    rows = list(dict.fromkeys(place.row for place in lot))
    walks = [sorted(sample, key=_row_by_row(rows))]
    if next_row_on is not None:
        direction = 1 if rows[0] <= rows[-1] else -1
        first = min(direction * _alley(tree, next_row_on) for tree in sample)
        walks.append(sorted(sample, key=_by_alleys(next_row_on, direction, first % 2)))
    # Among equals the first is the simpler one.
    return min(walks, key=lambda walk: walk_length(walk, lot, next_row_on=next_row_on))


def _walking_key(remaining: Sequence[DrawnTree], next_row_on: Side | None) -> _Key:
    """Tell from the rest of a walk by what key it was ordered."""
    rows = list(dict.fromkeys(tree.place.row for tree in remaining))
    keys = [_row_by_row(rows)]
    if next_row_on is not None:
        keys += [
            _by_alleys(next_row_on, direction, outward)
            for direction in (1, -1)
            for outward in (0, 1)
        ]
    return min(
        keys, key=lambda key: sum(key(here) > key(there) for here, there in pairwise(remaining))
    )


def _row_by_row(rows: Sequence[int]) -> _Key:
    """Order rows as listed, in each the left side rising and the right side falling."""
    ranks = {row: rank for rank, row in enumerate(rows)}

    def key(tree: DrawnTree) -> tuple[int, ...]:
        row, position = tree.place
        if tree.side is Side.LEFT:
            return (ranks.get(row, _PASSED), 0, position)
        return (ranks.get(row, _PASSED), 1, -position)

    return key


def _by_alleys(next_row_on: Side, direction: int, outward: int) -> _Key:
    """Order alleys, every other one away from the start (those of parity `outward`)."""

    def key(tree: DrawnTree) -> tuple[int, ...]:
        alley = direction * _alley(tree, next_row_on)
        row, position = tree.place
        return (alley, position if alley % 2 == outward else -position, direction * row)

    return key


def _alley(tree: DrawnTree, next_row_on: Side) -> int:
    """Return the alley in which a tree is looked at: alley r lies beyond row r."""
    return tree.place.row if tree.side is next_row_on else tree.place.row - 1


def _row_ends(places: Iterable[Place]) -> dict[int, tuple[int, int]]:
    ends: dict[int, tuple[int, int]] = {}
    for row, position in places:
        near, far = ends.get(row, (position, position))
        ends[row] = (min(near, position), max(far, position))
    return ends


def _steps(
    here: DrawnTree,
    there: DrawnTree,
    ends: Mapping[int, tuple[int, int]],
    next_row_on: Side | None,
) -> int:
    if _share_alley(here, there, next_row_on):
        return abs(here.place.position - there.place.position)
    round_start = sum(tree.place.position - ends[tree.place.row][0] for tree in (here, there))
    round_far_end = sum(ends[tree.place.row][1] - tree.place.position for tree in (here, there))
    return min(round_start, round_far_end)


def _share_alley(here: DrawnTree, there: DrawnTree, next_row_on: Side | None) -> bool:
    if next_row_on is None:
        return (here.place.row, here.side) == (there.place.row, there.side)
    return _alley(here, next_row_on) == _alley(there, next_row_on)
