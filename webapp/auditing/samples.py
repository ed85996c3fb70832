"""The sample of an audit as it was drawn: what its paper sheet and the desk number it by."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from audits.records import DrawTree
from audits.services.scorebook import Scorebook
from audits.services.walking import AuditTrees, audit_trees
from audits.storage.database import Database
from audits.storage.queries import audits as queries


@dataclass(frozen=True)
class Sample:
    """The trees of a draw in the order drawn, and as one audit walks them."""

    drawn: Sequence[DrawTree]
    own: AuditTrees

    @cached_property
    def labels(self) -> dict[int, str]:
        """
        Number the trees as on paper: the walk from 1, the reserve from +1.

        A number stays with its tree, whatever the audit has replaced since the sheet was printed.
        """
        walked = [tree for tree in self.drawn if tree.walk_order is not None]
        reserve = [tree for tree in self.drawn if tree.walk_order is None]
        labels = {tree.id: str(number) for number, tree in enumerate(walked, start=1)}
        return labels | {tree.id: f"+{number}" for number, tree in enumerate(reserve, start=1)}

    @property
    def reserve(self) -> list[DrawTree]:
        """The reserve trees not taken yet, the next one first."""
        return self.own.reserve


def sample_of(source: Database, book: Scorebook, *, replacements: int | None = None) -> Sample:
    """Return the sample of an audit, by default with all its replacements."""
    with source.read() as connection:
        return Sample(
            drawn=queries.draw_trees(connection, book.farm.id, book.draw.id),
            own=audit_trees(connection, book, replacements=replacements),
        )
