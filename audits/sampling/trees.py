"""The trees of a draw: where each stands, and when it comes."""

from dataclasses import dataclass
from typing import NamedTuple

from audits.vocabulary import Side


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
    wave : int
        The wave in which it is looked at, from 1. A reserve tree that is taken comes in the wave of
        the tree that it replaces.
    """

    order: int | None
    place: Place
    side: Side
    is_reserve: bool = False
    reserve_order: int | None = None
    wave: int = 1
