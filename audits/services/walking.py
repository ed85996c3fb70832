"""The walk of one audit: the trees of its draw, with those that it has replaced by others."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import sqlalchemy as sa

from audits.records import DrawTree, Replacement
from audits.sampling import DrawnTree, Place, walk_with
from audits.services.planning import is_given_up, walk_of
from audits.services.scorebook import Scorebook
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries


@dataclass(frozen=True)
class AuditTrees:
    """
    The trees of a draw as one audit walks them.

    Parameters
    ----------
    trees : Sequence of DrawTree
        Those of the walk in walking order, then the others: the reserve, and what turned out not
        to be a tree of the standard.
    replaced : frozenset of int
        Ids of the trees that this audit has replaced.
    given_up : bool
        Whether the draw's reserve did not last somebody, so that nothing can be decided by it.
    """

    trees: Sequence[DrawTree]
    replaced: frozenset[int]
    given_up: bool

    @property
    def by_id(self) -> dict[int, DrawTree]:
        """All of them by id."""
        return {tree.id: tree for tree in self.trees}

    @property
    def walk(self) -> list[DrawTree]:
        """The trees walked to, in order."""
        return walk_of(self.trees)

    def walks_to(self, tree: DrawTree, *, though_given_up: bool) -> bool:
        """
        Tell whether a tree can be answered in this audit.

        Parameters
        ----------
        tree : DrawTree
            One of the trees.
        though_given_up : bool
            Whether the tree counts by which somebody else has given the draw up: this audit may
            have found it to be one.

        Returns
        -------
        bool
            True for trees of the walk.
        """
        if tree.walk_order is None:
            return False
        if tree.found_kind is None:
            return True
        return though_given_up and self.given_up and tree.id not in self.replaced

    @property
    def reserve(self) -> list[DrawTree]:
        """The reserve trees that this audit has not taken, the next one first."""
        left = [tree for tree in self.trees if tree.walk_order is None and tree.found_kind is None]
        return sorted(left, key=lambda tree: tree.reserve_order or 0)


def audit_trees(
    connection: sa.Connection, book: Scorebook, *, replacements: int | None = None
) -> AuditTrees:
    """
    Return the trees of an audit's draw as this audit walks them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    book : Scorebook
        The audit.
    replacements : int or None, optional
        How many of its replacements to count, the first ones noted, for the walk as it was at that
        time; all by default.

    Returns
    -------
    AuditTrees
        Sample and reserve, with the trees that this audit has replaced.
    """
    farm_id = book.farm.id
    trees = queries.draw_trees(connection, farm_id, book.draw.id)
    given_up = is_given_up(trees, book.sample_size)
    # A blind second audit goes the way of the first, to the trees that were scored there.
    walked_by = book.audit.id if book.check_of is None else book.check_of
    replaced = queries.replacements(connection, farm_id, walked_by)[:replacements]
    if replaced:
        trees = _own_walk(trees, replaced, _rows_walked(connection, book, trees))
    if book.check_of is not None:
        scored = {
            each.draw_tree_id for each in queries.current_scores(connection, farm_id, walked_by)
        }
        trees = [tree for tree in trees if tree.id in scored]
    gone = frozenset(noted.draw_tree_id for noted in replaced)
    return AuditTrees(trees, replaced=gone, given_up=given_up)


def trees_by_id(connection: sa.Connection, book: Scorebook) -> dict[int, DrawTree]:
    """
    Return the trees of an audit's draw by their id.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    book : Scorebook
        The audit.

    Returns
    -------
    dict of int to DrawTree
        Sample and reserve, as this audit walks them.
    """
    return audit_trees(connection, book).by_id


def _rows_walked(
    connection: sa.Connection, book: Scorebook, trees: Iterable[DrawTree]
) -> list[int]:
    """Return the rows of a draw in the order in which they are walked."""
    if book.draw.lot_id is None:
        return list(dict.fromkeys(tree.orchard_row_id for tree in trees))
    ranges = pass_queries.lot_ranges(connection, book.farm.id, book.draw.lot_id)
    return list(dict.fromkeys(part.orchard_row_id for part in ranges))


def _own_walk(
    trees: Iterable[DrawTree], replaced: Iterable[Replacement], rows: Sequence[int]
) -> list[DrawTree]:
    """Lay the replacements of one audit over the trees of its draw."""
    by_id = {tree.id: tree for tree in trees}
    kinds = {noted.draw_tree_id: noted.found_kind for noted in replaced}
    # What another audit gave the draw up for may have been replaced in this one before.
    drawn = {
        tree.id: _as_drawn(tree)
        for tree in by_id.values()
        if tree.found_kind is None or tree.id in kinds
    }
    walked = walk_with(
        drawn.values(),
        [(drawn[noted.draw_tree_id].place, drawn[noted.instead_id].place) for noted in replaced],
        rows,
    )
    ids = {tree.place: tree_id for tree_id, tree in drawn.items()}
    walk = [
        replace(by_id.pop(ids[tree.place]), walk_order=tree.order, wave=tree.wave, found_kind=None)
        for tree in walked
    ]
    others = [
        replace(tree, found_kind=kinds.get(tree.id, tree.found_kind)) for tree in by_id.values()
    ]
    return [*walk, *others]


def _as_drawn(tree: DrawTree) -> DrawnTree:
    place = Place(tree.orchard_row_id, tree.position)
    return DrawnTree(tree.walk_order, place, tree.side, wave=tree.wave)
