"""How a block is planted: densities, target height, panels, and what stands at each position."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Final, NamedTuple

from audits.errors import InvalidInput
from audits.messages import Message, Words, say
from audits.vocabulary import PlantingKind

# Height limit of the four annual pruning rules: 0.9 x row width (J. Clements, report of a
# pruning demonstration, 2009).
HEIGHT_TO_ROW_SPACING: Final = 0.9

# An acre is 43,560 square feet of 304.8 mm, a hectare 10,000 square metres, both exactly.
MM2_PER_ACRE: Final = 43_560 * 304.8**2
MM2_PER_HECTARE: Final = 1e10


def trees_per_acre(row_spacing_mm: float, tree_spacing_mm: float) -> float:
    """
    Return the planting density per acre.

    Parameters
    ----------
    row_spacing_mm : float
        Distance between rows, in mm.
    tree_spacing_mm : float
        Distance between trees in the row, in mm.

    Returns
    -------
    float
        Trees per acre of 43,560 square feet, not rounded.

    Raises
    ------
    ValueError
        If a spacing is not a finite number above zero; the message names it and its value.

    Examples
    --------
    >>> round(trees_per_acre(11 * 304.8, 3 * 304.8), 6)
    1320.0
    """
    return MM2_PER_ACRE / _area_mm2(row_spacing_mm, tree_spacing_mm)


def trees_per_hectare(row_spacing_mm: float, tree_spacing_mm: float) -> float:
    """
    Return the planting density per hectare.

    Parameters
    ----------
    row_spacing_mm : float
        Distance between rows, in mm.
    tree_spacing_mm : float
        Distance between trees in the row, in mm.

    Returns
    -------
    float
        Trees per hectare of 10,000 square metres, not rounded.

    Raises
    ------
    ValueError
        If a spacing is not a finite number above zero; the message names it and its value.

    Examples
    --------
    >>> trees_per_hectare(4000, 1250)
    2000.0
    """
    return MM2_PER_HECTARE / _area_mm2(row_spacing_mm, tree_spacing_mm)


def target_height(row_spacing_mm: float, ratio: float = HEIGHT_TO_ROW_SPACING) -> float:
    """
    Return the height to which trees are topped, so that rows do not shade each other.

    Parameters
    ----------
    row_spacing_mm : float
        Distance between rows, in mm.
    ratio : float, optional
        Height as a share of the row spacing.

    Returns
    -------
    float
        Height in mm, rounded to 0.01.

    Raises
    ------
    ValueError
        If a parameter is not a finite number above zero; the message names it and its value.

    References
    ----------
    .. [1] J. Clements, report of a pruning demonstration, 2009: height limit 0.9 x row width.

    Examples
    --------
    >>> target_height(11 * 304.8)
    3017.52
    """
    _positive("row_spacing_mm", row_spacing_mm)
    _positive("ratio", ratio)
    return round(ratio * row_spacing_mm, 2)


def _area_mm2(row_spacing_mm: float, tree_spacing_mm: float) -> float:
    _positive("row_spacing_mm", row_spacing_mm)
    _positive("tree_spacing_mm", tree_spacing_mm)
    return row_spacing_mm * tree_spacing_mm


def _positive(name: str, value: float) -> None:
    if not math.isfinite(value) or value <= 0:
        raise ValueError(f"{name} must be a finite number above 0, not {value}")


class Place(NamedTuple):
    """
    Where a position is found by counting posts.

    Parameters
    ----------
    panel : int
        The panel (the stretch between two posts), counted from the row's start, from 1.
    tree : int
        The tree in that panel, counted from its first post, from 1.
    """

    panel: int
    tree: int

    def in_words(self, words: Words) -> str:
        """
        Write the place for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"panel 19, tree 7"``.
        """
        return words.say(say("panel %(panel)s, tree %(tree)s", panel=self.panel, tree=self.tree))


def place_in_row(position: int, trees_per_panel: int) -> Place:
    """
    Return the panel and the tree in it for a position.

    Parameters
    ----------
    position : int
        Place in the row, counted from its start, from 1.
    trees_per_panel : int
        Positions between two posts.

    Returns
    -------
    Place
        The panel and the tree in it, both from 1.

    Raises
    ------
    ValueError
        If a parameter is below 1; the message names it and its value.

    Examples
    --------
    >>> place_in_row(187, trees_per_panel=10)
    Place(panel=19, tree=7)
    """
    for name, value in (("position", position), ("trees_per_panel", trees_per_panel)):
        if value < 1:
            raise ValueError(f"{name} must be at least 1, not {value}")
    panels_passed, trees_passed = divmod(position - 1, trees_per_panel)
    return Place(panels_passed + 1, trees_passed + 1)


@dataclass(frozen=True)
class Planting:
    """
    What stands at a range of positions of a row from a day on.

    Parameters
    ----------
    first_position, last_position : int
        The range, both ends included, counted from the row's start, from 1.
    kind : PlantingKind
        What stands there.
    cultivar : str or None
        Its cultivar, if anything grows there.
    year : int or None
        Year of planting, if known.
    since : date
        First day on which it stands there.
    until : date or None, optional
        Day from which it no longer stands there; None while it does.
    """

    first_position: int
    last_position: int
    kind: PlantingKind
    cultivar: str | None
    year: int | None
    since: date
    until: date | None = None

    def covers(self, position: int) -> bool:
        """
        Tell whether a position lies in the range.

        Parameters
        ----------
        position : int
            Place in the row, counted from its start.

        Returns
        -------
        bool
            Whether the range holds the position.
        """
        return self.first_position <= position <= self.last_position


def plantings_on(plantings: Sequence[Planting], day: date) -> dict[int, Planting]:
    """
    Tell what stands at each position on a day.

    Where ranges overlap, the one that began last wins (of two that began on one day, the later
    in the sequence). A range that has ended leaves its positions empty: what stood there before
    it does not come back.

    Parameters
    ----------
    plantings : Sequence of Planting
        The row's history, in any order.
    day : date
        The day asked for.

    Returns
    -------
    dict of int to Planting
        By position, in order; positions of which nothing is known on that day are left out.
    """
    latest: dict[int, Planting] = {}
    for planting in sorted(plantings, key=lambda planting: planting.since):
        if planting.since <= day:
            positions = range(planting.first_position, planting.last_position + 1)
            latest.update(dict.fromkeys(positions, planting))
    return {
        position: planting
        for position, planting in sorted(latest.items())
        if planting.until is None or day < planting.until
    }


def bearing_positions(plantings: Sequence[Planting], day: date) -> tuple[int, ...]:
    """
    Return the positions that bear a tree of the standard on a day.

    Only these belong to a lot: young replants, pollinizers, other cultivars, dead and missing
    trees do not.

    Parameters
    ----------
    plantings : Sequence of Planting
        The row's history, in any order.
    day : date
        The day asked for, such as the first day of the pass.

    Returns
    -------
    tuple of int
        Positions in order, counted from the row's start, from 1.
    """
    return tuple(
        position
        for position, planting in plantings_on(plantings, day).items()
        if planting.kind is PlantingKind.BEARING
    )


class PositionRange(NamedTuple):
    """
    Positions that follow each other without a gap.

    Parameters
    ----------
    first : int
        First position of the range.
    last : int
        Last position of the range, included.
    """

    first: int
    last: int


def ranges_of(positions: Sequence[int]) -> tuple[PositionRange, ...]:
    """
    Join positions to ranges without gaps.

    Parameters
    ----------
    positions : Sequence of int
        Positions in any order.

    Returns
    -------
    tuple of PositionRange
        The fewest ranges that hold exactly these positions, in order.

    Examples
    --------
    >>> ranges_of([1, 2, 3, 7, 8])
    (PositionRange(first=1, last=3), PositionRange(first=7, last=8))
    """
    ordered = sorted(set(positions))
    if not ordered:
        return ()
    breaks = [(before, after) for before, after in pairwise(ordered) if after > before + 1]
    firsts = [ordered[0], *(after for _, after in breaks)]
    lasts = [*(before for before, _ in breaks), ordered[-1]]
    return tuple(PositionRange(first, last) for first, last in zip(firsts, lasts, strict=True))


def check_plantings(plantings: Sequence[Planting], trees_in_row: int) -> None:
    """
    Refuse a row's history that cannot be true.

    Parameters
    ----------
    plantings : Sequence of Planting
        The row's history, in the order in which it was entered.
    trees_in_row : int
        Number of positions in the row.

    Raises
    ------
    InvalidInput
        If a range lies outside the row or ends before it begins, or two ranges that began on
        one day share positions. Fields are named by their place in the sequence, such as
        ``"0.last_position"``.
    """
    problems: dict[str, Message] = {}
    for index, planting in enumerate(plantings):
        for field, message in _problems_alone(planting, trees_in_row).items():
            problems[f"{index}.{field}"] = message
        for earlier in plantings[:index]:
            shared = _shared_positions(planting, earlier)
            if planting.since == earlier.since and shared:
                problems.setdefault(f"{index}.first_position", _entered_twice(shared))
    if problems:
        raise InvalidInput(problems)


def _problems_alone(planting: Planting, trees_in_row: int) -> dict[str, Message]:
    problems: dict[str, Message] = {}
    if planting.first_position < 1:
        problems["first_position"] = say("Positions are counted from 1.")
    elif planting.first_position > trees_in_row:
        problems["first_position"] = _beyond_the_row(planting.first_position, trees_in_row)
    if planting.last_position > trees_in_row:
        problems["last_position"] = _beyond_the_row(planting.last_position, trees_in_row)
    elif planting.last_position < planting.first_position:
        problems["last_position"] = say(
            "The last position, %(last)s, comes before the first, %(first)s.",
            last=planting.last_position,
            first=planting.first_position,
        )
    if planting.until is not None and planting.until <= planting.since:
        problems["until"] = say(
            "It ends on %(until)s, but begins only on %(since)s.",
            until=planting.until,
            since=planting.since,
        )
    if planting.year is not None and planting.year > planting.since.year:
        problems["year"] = say(
            "It stands there since %(since)s, so it was not planted as late as %(year)s.",
            since=planting.since,
            year=str(planting.year),
        )
    return problems


def _beyond_the_row(position: int, trees_in_row: int) -> Message:
    return say(
        "Position %(position)s does not exist: the row ends at position %(last)s.",
        position=position,
        last=trees_in_row,
    )


def _shared_positions(one: Planting, other: Planting) -> PositionRange | None:
    first = max(one.first_position, other.first_position)
    last = min(one.last_position, other.last_position)
    return PositionRange(first, last) if first <= last else None


def _entered_twice(shared: PositionRange) -> Message:
    if shared.first == shared.last:
        return say(
            "Position %(position)s is entered twice from the same day.", position=shared.first
        )
    return say(
        "Positions %(first)s to %(last)s are entered twice from the same day.",
        first=shared.first,
        last=shared.last,
    )
