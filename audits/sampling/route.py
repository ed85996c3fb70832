"""The way through the drawn trees: in what order, and how far."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain, groupby, pairwise

from audits.sampling.trees import DrawnTree, Place
from audits.vocabulary import Side

_Key = Callable[[DrawnTree], tuple[int, ...]]


def order_of_walk(
    trees: Sequence[DrawnTree], places: Iterable[Place], *, next_row_on: Side | None = None
) -> list[DrawnTree]:
    """
    Put drawn trees into the order in which they are walked.

    A walk of one wave is a loop: a row is walked out on its left side and back on its right, and
    several rows one after the other.

    With two or more waves each is walked in one direction, so that a walk which ends after a wave
    has looked at the whole lot and nowhere twice. The first wave goes out: first row rising,
    second row falling, and so on. The next comes back by the same way reversed, the one after it
    goes out again. The sides of the trees do not matter then: a tree is judged through the row,
    or by stepping through it.

    If `next_row_on` says how the rows stand, the walk goes up and down the alleys between them
    instead wherever that is shorter: from the right side of one row to the left side of the next
    without a step.

    Parameters
    ----------
    trees : Sequence of DrawnTree
        The sample with its waves, at least one tree.
    places : Iterable of Place
        All trees of the lot: rows in walking order.
    next_row_on : Side, optional
        As in `draw_trees`.

    Returns
    -------
    list of DrawnTree
        The same trees, wave after wave.
    """
    lot = list(places)
    rows = list(dict.fromkeys(place.row for place in lot))
    one_way = _is_one_way(trees)
    ways = [_serpentine(rows, 0) if one_way else _row_by_row(rows)]
    if next_row_on is not None:
        direction = 1 if rows[0] <= rows[-1] else -1
        first = min(direction * _alley(tree, next_row_on) for tree in trees)
        ways.append(_by_alleys(next_row_on, direction, first % 2))
    if one_way:
        ways = [_out_and_back(way) for way in ways]
    walks = [sorted(trees, key=way) for way in ways]
    # Among equals the first is the simpler one.
    return min(walks, key=lambda walk: walk_length(walk, lot, next_row_on=next_row_on))


def walk_length(
    trees: Iterable[DrawnTree], places: Iterable[Place], *, next_row_on: Side | None = None
) -> int:
    """
    Return the length of a walk, from the first row's start back to the start.

    A step is the distance between two neighbouring positions. Wires keep people from crossing a
    row, so that the other side or another row is reached round an end; the few steps round the
    end are not counted. The first and last place of the lot in a row stand for the row's ends.
    In a walk of two or more waves the side does not matter, and a change of side is no step.

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
    lengths = walk_lengths(trees, places, next_row_on=next_row_on)
    return lengths[-1] if lengths else 0


def walk_lengths(
    trees: Iterable[DrawnTree], places: Iterable[Place], *, next_row_on: Side | None = None
) -> list[int]:
    """
    Return how far one walks if the walk ends after each of its waves.

    Parameters
    ----------
    trees : Iterable of DrawnTree
        The trees of all waves in the order of the walk.
    places : Iterable of Place
        All trees of the lot.
    next_row_on : Side, optional
        As in `draw_trees`: whether neighbouring rows share an alley.

    Returns
    -------
    list of int
        Tree steps as `walk_length` counts them, one number a wave: from the start through all
        waves up to that one and back to the start.

    Examples
    --------
    >>> row = [Place(7, position) for position in range(1, 101)]
    >>> out = [DrawnTree(None, Place(7, at), Side.LEFT, wave=1) for at in (20, 90)]
    >>> back = [DrawnTree(None, Place(7, at), Side.LEFT, wave=2) for at in (95, 30)]
    >>> walk_lengths(out + back, row)
    [178, 188]
    """
    walked = list(trees)
    ends = _row_ends(places)
    one_way = _is_one_way(walked)

    def length(part: Sequence[DrawnTree]) -> int:
        if not part:
            return 0
        return (
            _from_start(part[0], ends)
            + sum(
                _steps(here, there, ends, next_row_on, one_way=one_way)
                for here, there in pairwise(part)
            )
            + _from_start(part[-1], ends)
        )

    waves = range(1, 1 + max((tree.wave for tree in walked), default=0))
    return [length([tree for tree in walked if tree.wave <= wave]) for wave in waves]


def insert_in_walk(
    remaining: Sequence[DrawnTree],
    tree: DrawnTree,
    *,
    next_row_on: Side | None = None,
    rows: Sequence[int] | None = None,
) -> tuple[DrawnTree, ...]:
    """
    Take a reserve tree into the rest of a walk.

    Parameters
    ----------
    remaining : Sequence of DrawnTree
        The trees still ahead, in the order of the walk, those of later waves with them.
    tree : DrawnTree
        The tree to take in, with the wave of the tree that it replaces.
    next_row_on : Side, optional
        As the walk was drawn with.
    rows : Sequence of int, optional
        The rows of the lot in walking order. Left out, they are told from the trees ahead, and a
        row without a tree ahead counts as passed.

    Returns
    -------
    tuple of DrawnTree
        The rest of the walk with the tree at the place where the walk of its wave passes it
        anyway. A tree that its wave has passed already comes next.
    """
    key = _walking_key(remaining, tree, next_row_on, rows)
    own = key(tree)
    where = next(
        (number for number, other in enumerate(remaining) if key(other) > own), len(remaining)
    )
    return (*remaining[:where], tree, *remaining[where:])


def walk_ranks(trees: Iterable[DrawnTree], rows: Sequence[int]) -> dict[Place, tuple[int, ...]]:
    """
    Return whole numbers by which whoever walks puts a reserve tree where it is passed anyway.

    They say of any two trees which comes first, so that a phone compares numbers and needs to know
    nothing about rows and directions.

    Parameters
    ----------
    trees : Iterable of DrawnTree
        A draw: its sample in the order of the walk, and its reserve.
    rows : Sequence of int
        The rows of the lot in walking order.

    Returns
    -------
    dict of Place to tuple of int
        Distinct numbers from 1. A tree of the sample has one, a reserve tree one for each wave of
        the walk: where it belongs if it comes in wave 1, 2 and so on.

    Examples
    --------
    >>> walk = [DrawnTree(order, Place(7, 30 * order), Side.LEFT) for order in (1, 2)]
    >>> held = DrawnTree(None, Place(7, 45), Side.LEFT, is_reserve=True, reserve_order=1)
    >>> [walk_ranks([*walk, held], rows=[7])[Place(7, position)] for position in (30, 45, 60)]
    [(1,), (2,), (3,)]
    """
    drawn = list(trees)
    walk = _walk(drawn)
    if not walk:
        return {tree.place: () for tree in drawn}
    known = list(dict.fromkeys([*rows, *(tree.place.row for tree in drawn)]))
    key = _walking_key(walk, walk[0], None, known)
    waves = range(1, 1 + max(tree.wave for tree in walk))
    comings = {
        tree.place: [
            key(replace(tree, wave=wave))
            for wave in (waves if tree.order is None else (tree.wave,))
        ]
        for tree in drawn
    }
    numbers = {
        coming: number
        for number, coming in enumerate(sorted(chain.from_iterable(comings.values())), start=1)
    }
    return {place: tuple(numbers[coming] for coming in own) for place, own in comings.items()}


def walk_with(
    trees: Iterable[DrawnTree], replacements: Iterable[tuple[Place, Place]], rows: Sequence[int]
) -> tuple[DrawnTree, ...]:
    """
    Return the walk of a draw after trees of it turned out to be none.

    Parameters
    ----------
    trees : Iterable of DrawnTree
        A draw: its sample in the order of the walk, and its reserve.
    replacements : Iterable of tuple of Place and Place
        Where no tree of the standard stands, and the reserve tree that comes instead, in the order
        in which they were noted. What came instead may be replaced in turn.
    rows : Sequence of int
        The rows of the lot in walking order.

    Returns
    -------
    tuple of DrawnTree
        The walk, numbered from 1. Each tree taken from the reserve comes in the wave of the one it
        replaces, before the first tree ahead with a greater rank (`walk_ranks`): a tree that its
        wave has passed already comes next.

    Raises
    ------
    ValueError
        If a tree to replace is not in the walk, or what comes instead is not in the reserve.
    """
    drawn = list(trees)
    ranks = walk_ranks(drawn, rows)
    reserve = {tree.place: tree for tree in drawn if tree.order is None}
    walk = _walk(drawn)

    def rank(tree: DrawnTree) -> int:
        own = ranks[tree.place]
        return own[0] if tree.order is not None else own[tree.wave - 1]

    for gone, instead in replacements:
        here = next((at for at, tree in enumerate(walk) if tree.place == gone), None)
        if here is None:
            raise ValueError(f"no tree of the walk stands at {gone}")
        if instead not in reserve:
            raise ValueError(f"no tree of the reserve is left at {instead}")
        taken = replace(reserve.pop(instead), wave=walk[here].wave)
        ahead = walk[here + 1 :]
        where = next((at for at, tree in enumerate(ahead) if rank(tree) > rank(taken)), len(ahead))
        walk[here:] = [*ahead[:where], taken, *ahead[where:]]
    return tuple(replace(tree, order=order) for order, tree in enumerate(walk, start=1))


def _walk(trees: Iterable[DrawnTree]) -> list[DrawnTree]:
    """Return the trees that have a place in the walk, in its order."""
    return sorted(
        (tree for tree in trees if tree.order is not None), key=lambda tree: tree.order or 0
    )


def _is_one_way(trees: Iterable[DrawnTree]) -> bool:
    """Tell whether a walk has waves, each walked in one direction."""
    return any(tree.wave > 1 for tree in trees)


def _walking_key(
    remaining: Sequence[DrawnTree],
    tree: DrawnTree,
    next_row_on: Side | None,
    rows: Sequence[int] | None,
) -> _Key:
    """Tell from the rest of a walk by what key it was ordered."""
    one_way = _is_one_way([*remaining, tree])
    known = _rows_ahead(remaining, tree) if rows is None else rows
    keys = [_serpentine(known, 0), _serpentine(known, 1)] if one_way else [_row_by_row(known)]
    if next_row_on is not None:
        keys += [
            _by_alleys(next_row_on, direction, outward)
            for direction in (1, -1)
            for outward in (0, 1)
        ]
    if one_way:
        keys = [_out_and_back(key) for key in keys]
    return min(
        keys, key=lambda key: sum(key(here) > key(there) for here, there in pairwise(remaining))
    )


def _rows_ahead(remaining: Sequence[DrawnTree], tree: DrawnTree) -> list[int]:
    """Return the rows on the way out, as far as the trees ahead tell."""
    ways = []
    for wave, trees in groupby(remaining, key=lambda ahead: ahead.wave):
        way = list(dict.fromkeys(ahead.place.row for ahead in trees))
        ways.append(way if _goes_out(wave) else way[::-1])
    # The wave with most rows ahead knows their order best.
    longest_first = sorted(ways, key=len, reverse=True)
    rows = list(dict.fromkeys(chain.from_iterable(longest_first)))
    if tree.place.row in rows:
        return rows
    return [tree.place.row, *rows] if _goes_out(tree.wave) else [*rows, tree.place.row]


def _goes_out(wave: int) -> bool:
    return wave % 2 == 1


def _out_and_back(way: _Key) -> _Key:
    """Order waves, every other one by the way reversed."""

    def key(tree: DrawnTree) -> tuple[int, ...]:
        if _goes_out(tree.wave):
            return (tree.wave, *way(tree))
        return (tree.wave, *(-part for part in way(tree)))

    return key


def _serpentine(rows: Sequence[int], rising: int) -> _Key:
    """Order rows as listed, positions rising in those of parity `rising`, falling in between."""
    ranks = {row: rank for rank, row in enumerate(rows)}

    def key(tree: DrawnTree) -> tuple[int, ...]:
        row, position = tree.place
        return (ranks[row], position if ranks[row] % 2 == rising else -position)

    return key


def _row_by_row(rows: Sequence[int]) -> _Key:
    """Order rows as listed, in each the left side rising and the right side falling."""
    ranks = {row: rank for rank, row in enumerate(rows)}

    def key(tree: DrawnTree) -> tuple[int, ...]:
        row, position = tree.place
        if tree.side is Side.LEFT:
            return (ranks[row], 0, position)
        return (ranks[row], 1, -position)

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


def _from_start(tree: DrawnTree, ends: Mapping[int, tuple[int, int]]) -> int:
    return tree.place.position - ends[tree.place.row][0]


def _to_far_end(tree: DrawnTree, ends: Mapping[int, tuple[int, int]]) -> int:
    return ends[tree.place.row][1] - tree.place.position


def _steps(
    here: DrawnTree,
    there: DrawnTree,
    ends: Mapping[int, tuple[int, int]],
    next_row_on: Side | None,
    *,
    one_way: bool,
) -> int:
    same_row = one_way and here.place.row == there.place.row
    if same_row or _share_alley(here, there, next_row_on):
        return abs(here.place.position - there.place.position)
    return min(
        _from_start(here, ends) + _from_start(there, ends),
        _to_far_end(here, ends) + _to_far_end(there, ends),
    )


def _share_alley(here: DrawnTree, there: DrawnTree, next_row_on: Side | None) -> bool:
    if next_row_on is None:
        return (here.place.row, here.side) == (there.place.row, there.side)
    return _alley(here, next_row_on) == _alley(there, next_row_on)
