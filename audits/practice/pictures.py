"""What a question shows of a drawn tree: which tree, what was cut, which places are numbered."""

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from audits.practice.grow import LimbPlan, grow_tree, planned_tree
from audits.practice.growth import Growth
from audits.practice.model import PracticeTree
from audits.practice.pruning import NOTHING_CUT, Pruning


class TreeView(StrEnum):
    """Which part of a tree fills the picture."""

    # The leader from below the mark to its tip, beside the pole.
    TOP = "top"
    # The trunk with the limbs that grow along the row.
    LIMBS = "limbs"
    # One limb from the trunk to its tip, spurs included.
    BRANCH = "branch"
    WHOLE = "whole"


@dataclass(frozen=True)
class TreePlace:
    """
    A place of a tree that carries a number in the picture.

    Parameters
    ----------
    limb : str or None
        Name of the limb; None for a place of the leader itself.
    side : str or None, optional
        Name of the side branch, where it is one.
    along : float or None, optional
        Where on the limb: up to 1 on the limb itself, up to 2 on its hanging end. None for the
        whole limb, or, in the view of a top, for the leader just above the limb.
    height_mm : float or None, optional
        Height of a place of the leader that is at no limb.
    diameter_mm : float or None, optional
        Diameter there as it was measured: written beside the number, and drawn as a round section
        at the scale of the picture's gauge or pencil, so that it can be judged by eye. The number
        of a limb that is out stands at its stub.
    """

    limb: str | None
    side: str | None = None
    along: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None


@dataclass(frozen=True)
class TreePicture:
    """
    A drawn tree, or a part of it, with what was cut and with numbered places.

    Parameters
    ----------
    view : TreeView
        Which part fills the picture.
    growth : Growth
        What the tree grows from.
    seed : int, optional
        Decides what is left to chance.
    height_mm : float or None, optional
        Height of a tree whose limbs are planned.
    plans : tuple of LimbPlan, optional
        Its limbs, from the soil up; empty for a tree that grows by chance.
    pruning : Pruning, optional
        What was cut.
    shows_before : bool, optional
        Whether the same tree stands to the left as it was before it was cut. Elsewhere what came
        off is not shown, only the fresh cuts are.
    places : tuple of TreePlace, optional
        Numbered from 1.
    limb : str or None, optional
        The limb that `TreeView.BRANCH` shows.
    mark_mm : float or None, optional
        Height of the mark on the pole beside the tree.
    wire_mm : float or None, optional
        Height of the top wire, where it is in view.
    gauge_mm : float or None, optional
        Diameter of a round gauge, at the scale of the sections: from that on a limb is large.
    pencil_mm : tuple of float or None, optional
        Diameters between which an end is headed, at the scale of the sections.
    """

    view: TreeView
    growth: Growth
    seed: int = 0
    height_mm: float | None = None
    plans: tuple[LimbPlan, ...] = ()
    pruning: Pruning = NOTHING_CUT
    shows_before: bool = False
    places: tuple[TreePlace, ...] = ()
    limb: str | None = None
    mark_mm: float | None = None
    wire_mm: float | None = None
    gauge_mm: float | None = None
    pencil_mm: tuple[float, float] | None = None

    @property
    def tree(self) -> PracticeTree:
        """The tree as it was before anything was cut."""
        return _grown(self.seed, self.growth, self.height_mm, self.plans)


# A question looks at its tree many times: for each choice, as it may be misread, and to draw it.
@lru_cache(maxsize=128)
def _grown(
    seed: int, growth: Growth, height_mm: float | None, plans: tuple[LimbPlan, ...]
) -> PracticeTree:
    if height_mm is None:
        return grow_tree(seed, growth)
    return planned_tree(growth, height_mm, plans, seed)
