"""The figures of practice trees, beside those that are published of tall-spindle trees."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from audits.messages import Message, Readable, Rounded, Share, mark, say
from audits.practice.ideal import ideal_pruning
from audits.practice.model import PracticeTree
from audits.practice.pruning import Pruning, limbs_left, pruned_tree
from audits.standard import Standard
from audits.units import Length, LengthKind

_INCH_MM: Final = 25.4

# The leader's area is taken 12 in above the graft union, which stands 4 to 6 in above the soil
# (J. Schupp et al., HortScience 52(9), 2017, 1233).
LEADER_AT_MM: Final = 17 * _INCH_MM


@dataclass(frozen=True, slots=True)
class TreeFigures:
    """
    What can be counted and measured on a tree.

    Parameters
    ----------
    branches : int
        Limbs on the leader.
    large : int
        Limbs that the block calls large.
    area_ratio : float
        Sum of the limbs' cross-section areas over that of the leader.
    height_mm : float
        Height of the highest wood.
    lowest_mm : float or None
        Height of the lowest limb; None without limbs.
    width_mm : float
        Twice how far the longest limb reaches from the trunk.
    trunk_mm : float
        Diameter of the leader where `area_ratio` takes it.
    flower_share : float
        Share of spurs with a flower bud, in [0, 1].
    """

    branches: int
    large: int
    area_ratio: float
    height_mm: float
    lowest_mm: float | None
    width_mm: float
    trunk_mm: float
    flower_share: float


def figures_of(tree: PracticeTree, standard: Standard) -> TreeFigures:
    """
    Count and measure a tree.

    Parameters
    ----------
    tree : PracticeTree
        The tree, pruned or not.
    standard : Standard
        The block's rule: it says what is large, and how far out a limb is measured.

    Returns
    -------
    TreeFigures
        The figures.
    """
    diameters = [limb.measured_mm(standard.limbs.measured_out_mm) for limb in tree.limbs]
    trunk_mm = tree.leader.diameter_at(tree.leader_at(LEADER_AT_MM))
    reaches = [hypot(*piece.end[:2]) for limb in tree.limbs for piece in limb.pieces]
    return TreeFigures(
        branches=len(tree.limbs),
        large=sum(diameter >= standard.limbs.large_mm for diameter in diameters),
        area_ratio=sum(diameter**2 for diameter in diameters) / trunk_mm**2,
        height_mm=tree.height_mm,
        lowest_mm=min((limb.union_mm for limb in tree.limbs), default=None),
        width_mm=2 * max(reaches, default=0.0),
        trunk_mm=trunk_mm,
        flower_share=tree.flower_share,
    )


@dataclass(frozen=True, slots=True)
class Pruned:
    """
    A tree before and after one right pruning.

    Parameters
    ----------
    tree : PracticeTree
        As it stands.
    pruning : Pruning
        What is cut.
    before, after : TreeFigures
        Its figures.
    """

    tree: PracticeTree
    pruning: Pruning
    before: TreeFigures
    after: TreeFigures

    @property
    def limbs_out(self) -> int:
        """Limbs taken out at the trunk, those above the top's cut left out."""
        below = limbs_left(self.tree, Pruning(top_mm=self.pruning.top_mm))
        return sum(limb.key in self.pruning.limbs_out for limb in below)


def pruned(tree: PracticeTree, standard: Standard) -> Pruned:
    """
    Prune a tree as its standard asks, and measure it before and after.

    Parameters
    ----------
    tree : PracticeTree
        The tree.
    standard : Standard
        The block's rule.

    Returns
    -------
    Pruned
        The tree, the cuts and the figures.
    """
    pruning = ideal_pruning(tree, standard)
    after = figures_of(pruned_tree(tree, pruning), standard)
    return Pruned(tree, pruning, figures_of(tree, standard), after)


@dataclass(frozen=True, slots=True)
class Published:
    """
    A published figure.

    Parameters
    ----------
    says : Message
        What it says.
    source : str
        Where it stands, in the language of the source.
    """

    says: Message
    source: str


@dataclass(frozen=True, slots=True)
class Measure:
    """
    A figure of trees that is published.

    Parameters
    ----------
    name : Message
        What is measured.
    value : callable
        Takes it from the figures of a tree; None where a tree has none.
    read : callable
        Makes of a value what people read.
    published : tuple of Published
        What is published of it.
    """

    name: Message
    value: Callable[[TreeFigures], float | None]
    read: Callable[[float], Readable]
    published: tuple[Published, ...]


_ONTARIO: Final = "Ontario agriculture ministry, precision-pruning trial, planning chart"
_FUJIAN: Final = (
    "Fujian Journal of Agricultural Sciences 2020, doi 10.19303/j.issn.1008-0384.2020.05.008"
)
_TORRES: Final = "C. Torres, Lancaster Farming, 22 Dec 2012"
_CLEMENTS: Final = "J. Clements, report of a pruning demonstration, 2009"
_CROP_LOAD: Final = "J. Clements, crop-load table, 2017"
_STAFF: Final = "Staff blog of an orchard, 24 Feb 2015"
_LEHNERT: Final = "R. Lehnert, Good Fruit Grower"
_SCHUPP: Final = "J. Schupp et al., HortScience 52(9), 2017, 1233"
_BASEDOW: Final = "M. Basedow, Cornell ENYCHP"


def measures(standard: Standard) -> tuple[Measure, ...]:
    """
    List the figures that are published, each with what is published of it.

    Parameters
    ----------
    standard : Standard
        The block's rule, for figures that depend on the block.

    Returns
    -------
    tuple of Measure
        From the whole tree to its buds.

    Examples
    --------
    >>> from audits.standard import preset
    >>> from audits.vocabulary import BearingHabit
    >>> found = measures(preset(BearingHabit.STANDARD, 3352.8))
    >>> found[0].published[0].source
    'J. Clements, report of a pruning demonstration, 2009'
    """
    return (
        Measure(
            say("Height"),
            lambda tree: tree.height_mm,
            Length,
            (
                Published(
                    say(
                        "%(share)s times the distance between rows: %(height)s here",
                        share=Rounded(0.9),
                        height=Length(0.9 * standard.row_spacing_mm),
                    ),
                    _CLEMENTS,
                ),
            ),
        ),
        Measure(
            say("Width"),
            lambda tree: tree.width_mm,
            Length,
            (_between(mark("%(least)s to %(most)s"), 1_200.0, 1_800.0, _LEHNERT),),
        ),
        Measure(
            say("Trunk"),
            lambda tree: tree.trunk_mm,
            _diameter,
            (_between(mark("%(least)s to %(most)s"), 1 * _INCH_MM, 3 * _INCH_MM, _CROP_LOAD),),
        ),
        Measure(
            say("Lowest limb"),
            lambda tree: tree.lowest_mm,
            Length,
            (
                _between(
                    mark("none below %(least)s to %(most)s"), 24 * _INCH_MM, 28 * _INCH_MM, _STAFF
                ),
            ),
        ),
        Measure(
            say("Branches"),
            lambda tree: tree.branches,
            _count,
            (
                Published(say("24 are planned"), _ONTARIO),
                Published(say("23 to 25 were best in a trial"), _FUJIAN),
                Published(say("30 to 36 are advised"), _TORRES),
            ),
        ),
        Measure(
            say("Large limbs"),
            lambda tree: tree.large,
            _count,
            (Published(say("the 2 to 3 largest come out"), _CLEMENTS),),
        ),
        Measure(
            say("Area of all branches over that of the leader"),
            lambda tree: tree.area_ratio,
            _ratio,
            (
                Published(
                    say(
                        "%(severe)s after severe, %(light)s after light pruning",
                        severe=Rounded(0.5, 2),
                        light=Rounded(1.75, 2),
                    ),
                    _SCHUPP,
                ),
            ),
        ),
        Measure(
            say("Flower buds"),
            lambda tree: tree.flower_share,
            Share,
            (
                Published(say("68 and 84 of 100 were counted"), _BASEDOW),
                Published(say("below about half, prune lightly"), _BASEDOW),
            ),
        ),
    )


def _diameter(mm: float) -> Readable:
    return Length(mm, LengthKind.DIAMETER)


def _count(number: float) -> Readable:
    return Rounded(number, 0)


def _ratio(ratio: float) -> Readable:
    return Rounded(ratio, 2)


def _between(pattern: str, least_mm: float, most_mm: float, source: str) -> Published:
    return Published(say(pattern, least=Length(least_mm), most=Length(most_mm)), source)


def spread(measure: Measure, trees: Sequence[TreeFigures]) -> tuple[float, float, float] | None:
    """
    Find where a measure lies on several trees.

    Parameters
    ----------
    measure : Measure
        What is measured.
    trees : sequence of TreeFigures
        The trees.

    Returns
    -------
    tuple of float or None
        Smallest, mean and largest; None where no tree has the measure.
    """
    values = [value for tree in trees if (value := measure.value(tree)) is not None]
    if not values:
        return None
    return (min(values), sum(values) / len(values), max(values))
