"""What a practice tree grows from."""

from dataclasses import dataclass
from typing import Final

from audits.practice.model import TreeKind, Vigour
from audits.vocabulary import BearingHabit

# A canopy is 1.2 to 1.8 m from side to side (R. Lehnert, Good Fruit Grower).
REACH_MM: Final = 750.0


@dataclass(frozen=True, slots=True)
class Growth:
    """
    What a tree grows from.

    Parameters
    ----------
    target_mm : float
        Height at which the block is topped; grown trees stand above it.
    kind : TreeKind, optional
        What is special about the tree.
    habit : BearingHabit, optional
        Where it carries its fruit; a tip bearer's kind decides it.
    age_years : int, optional
        Its leaf, from 2 on.
    vigour : Vigour, optional
        How strongly it grows.
    large_mm : float, optional
        Diameter from which the block calls a limb large.
    side_branch_mm : float, optional
        Length from which the block calls a shoot a side branch.
    pencil_mm : tuple of float, optional
        Diameters between which the block heads an end.
    branches : int or None, optional
        Limbs, at least 3; drawn by chance if None.
    large_limbs : int or None, optional
        Limbs that are large; by default what the kind asks for.
    flower_share : float or None, optional
        Share of flower buds, in [0, 1]; drawn by chance if None.
    reach_mm : float, optional
        How far limbs reach from the trunk.
    evenness : float, optional
        How much is left out of the chance, in [0, 1]: 0 as trees grow, 1 nothing by chance but
        what is special.
    is_flat : bool, optional
        Whether all limbs grow along the row, in turn to both sides, as pictures want it.

    Raises
    ------
    ValueError
        If a figure lies outside its range; the message names it and its value.
    """

    target_mm: float
    kind: TreeKind = TreeKind.USUAL
    habit: BearingHabit = BearingHabit.STANDARD
    age_years: int = 8
    vigour: Vigour = Vigour.MEDIUM
    large_mm: float = 19.0
    side_branch_mm: float = 150.0
    pencil_mm: tuple[float, float] = (6.0, 9.0)
    branches: int | None = None
    large_limbs: int | None = None
    flower_share: float | None = None
    reach_mm: float = REACH_MM
    evenness: float = 0.0
    is_flat: bool = False

    @property
    def grown_habit(self) -> BearingHabit:
        """The habit, which the kind may decide."""
        return BearingHabit.TIP if self.kind is TreeKind.TIP_BEARER else self.habit

    def __post_init__(self) -> None:
        for name, value, least in (
            ("target_mm", self.target_mm, 500.0),
            ("age_years", self.age_years, 2),
            ("branches", 3 if self.branches is None else self.branches, 3),
            ("reach_mm", self.reach_mm, 100.0),
            ("large_mm", self.large_mm, 4.0),
        ):
            if value < least:
                raise ValueError(f"{name} is {value}; it must be at least {least}")
        for name, share in (("evenness", self.evenness), ("flower_share", self.flower_share)):
            if share is not None and not 0.0 <= share <= 1.0:
                raise ValueError(f"{name} is {share}; it must lie in [0, 1]")
