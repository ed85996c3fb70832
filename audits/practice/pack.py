"""
The trees of a block to practise on, with the places at which each may be cut.

A learner cuts at places that are offered, some right, some wrong by a common mistake. A tree is
named by its kind and a seed alone: from them and the version of the standard the same tree grows
again, so that a result can be scored wherever it arrives.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final
from zlib import crc32

from audits.errors import InvalidInput
from audits.messages import say
from audits.practice.cuts import Cuts, ImpossibleCuts, PackProblem
from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.ideal import ideal_pruning
from audits.practice.levels import done_before, stage_sets
from audits.practice.model import PracticeTree, TreeKind, Vigour
from audits.practice.places import HEIGHT_READING_MM, HeadPlace, TopPlace, head_places, top_places
from audits.practice.pruning import Pruning, answers_of
from audits.scoring import HeadingMeasure, LimbsMeasure, TopMeasure, TreeAnswers, score_tree
from audits.standard import Standard
from audits.units import kept_length
from audits.vocabulary import BearingHabit, Method, Result, Side, Stage

# Which way of growing trees and of choosing places. It goes up whenever the same seed gives another
# tree or other places, since cuts mean nothing on a tree grown otherwise.
EDITION: Final = 1

TREES: Final = 24

# Kinds of trees, and how many of them in a pack: more than one in four asks for leaving something
# alone, since cutting too much is the commonest mistake (common practice, no source).
_MIX: Final = {
    TreeKind.USUAL: 9,
    TreeKind.NOT_DUE: 3,
    TreeKind.LOW_BLOOM: 4,
    TreeKind.NO_LARGE_LIMB: 4,
    TreeKind.TOO_MANY_LIMBS: 4,
}
# What a stage makes of them: without that stage such a tree is one as any other.
_NOTICED_AT: Final = {
    TreeKind.NOT_DUE: Stage.TOP,
    TreeKind.LOW_BLOOM: Stage.LIMBS,
    TreeKind.NO_LARGE_LIMB: Stage.LIMBS,
    TreeKind.TOO_MANY_LIMBS: Stage.LIMBS,
}

# Leaf ages at which a tree has filled its space.
_AGES: Final = (5, 7, 9, 12)

# Trees that are grown for one that is fair.
_PATIENCE: Final = 40

_VIGOURS: Final = tuple(Vigour)
_HABITS: Final = tuple(BearingHabit)
_NUMBERS: Final = 2**31
_WORDINGS: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class PackTree:
    """
    A tree with the places at which it may be cut.

    Parameters
    ----------
    seed : int
        With the kind and the standard it decides everything.
    kind : TreeKind
        What is special about it.
    side : Side
        The side of the row from which it is looked at.
    tree : PracticeTree
        The tree as it stands.
    tops : tuple of TopPlace
        From the highest down.
    heads : Mapping of str to tuple of HeadPlace
        For each limb of the side, from the trunk out.
    """

    seed: int
    kind: TreeKind
    side: Side
    tree: PracticeTree
    tops: tuple[TopPlace, ...]
    heads: Mapping[str, tuple[HeadPlace, ...]]


def edition_of(standard: Standard) -> int:
    """
    Name the way in which trees grow and places are chosen under a standard.

    Parameters
    ----------
    standard : Standard
        The block's rule.

    Returns
    -------
    int
        `EDITION` in the millions, and below them six digits that differ once the standard is
        written anew: the numbers of a standard decide how its trees grow, so that cuts on trees of
        an earlier wording mean nothing.

    Examples
    --------
    >>> from audits.standard import preset
    >>> edition_of(preset(BearingHabit.SPUR, 3353.0)) // 1_000_000
    1
    """
    return EDITION * _WORDINGS + crc32(standard.model_dump_json().encode()) % _WORDINGS


def seed_of(number: int, habit: BearingHabit, vigour: Vigour, age_years: int) -> int:
    """
    Put everything that a tree grows from, but its kind and standard, into one number.

    Parameters
    ----------
    number : int
        Decides what is left to chance, from 0 to below 2^31.
    habit : BearingHabit
        Where the cultivar carries its fruit.
    vigour : Vigour
        How strongly it grows.
    age_years : int
        Its leaf, from 2 to 99.

    Returns
    -------
    int
        The seed. Its last digits can be read: habit, vigour, age.

    Examples
    --------
    >>> seed_of(417, BearingHabit.STANDARD, Vigour.HIGH, 9)
    4172209
    """
    digits = (number * 10 + _HABITS.index(habit)) * 10 + _VIGOURS.index(vigour)
    return digits * 100 + age_years


def growth_of(standard: Standard, kind: TreeKind, seed: int) -> Growth:
    """
    Read from a seed what its tree grows from.

    Parameters
    ----------
    standard : Standard
        The block's rule: it says what is large, long and pencil thick.
    kind : TreeKind
        What is special about the tree.
    seed : int
        The seed.

    Returns
    -------
    Growth
        What it grows from.

    Raises
    ------
    ImpossibleCuts
        If no tree has this seed.
    """
    rest, age_years = divmod(seed, 100)
    rest, vigour = divmod(rest, 10)
    number, habit = divmod(rest, 10)
    if not (0 <= number < _NUMBERS and vigour < len(_VIGOURS) and habit < len(_HABITS)):
        raise ImpossibleCuts(PackProblem.NO_SUCH_TREE)
    try:
        return Growth(
            target_mm=standard.top.target_mm,
            kind=kind,
            habit=_HABITS[habit],
            age_years=age_years,
            vigour=_VIGOURS[vigour],
            large_mm=max(4.0, standard.limbs.large_mm),
            side_branch_mm=standard.columns.side_branch_mm,
            pencil_mm=(standard.heading.thinnest_mm, standard.heading.thickest_mm),
        )
    except ValueError as error:
        raise ImpossibleCuts(PackProblem.NO_SUCH_TREE) from error


@lru_cache(maxsize=256)
def pack_tree(standard: Standard, kind: TreeKind, seed: int) -> PackTree:
    """
    Grow a tree and choose the places at which it may be cut.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    kind : TreeKind
        What is special about the tree.
    seed : int
        As `seed_of` makes it.

    Returns
    -------
    PackTree
        Always the same for the same arguments, within one `EDITION`.

    Raises
    ------
    ImpossibleCuts
        If no tree has this seed.
    """
    growth = growth_of(standard, kind, seed)
    number = seed // 10_000
    tree = grow_tree(number, growth)
    side = (Side.LEFT, Side.RIGHT)[number % 2]
    return PackTree(
        seed=seed,
        kind=kind,
        side=side,
        tree=tree,
        tops=top_places(tree, standard),
        heads={limb.key: head_places(limb, standard) for limb in tree.limbs if limb.side is side},
    )


def practice_trees(
    standard: Standard, habit: BearingHabit, seed: int, *, count: int = TREES
) -> tuple[PackTree, ...]:
    """
    Grow the trees of a block: of every kind that the standard makes something of.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    habit : BearingHabit
        The habit of its cultivar: a tip bearer's trees are all tip bearers.
    seed : int
        Decides which trees.
    count : int, optional
        How many, at least 1.

    Returns
    -------
    tuple of PackTree
        Kinds, ages and vigours mixed. On each of them every stage, every two neighbouring stages
        and all stages together can be pruned right, however the eye reads a height by an inch or a
        diameter by the guard band.

    Raises
    ------
    InvalidInput
        If the standard leaves no tree that could be pruned right.
    """
    kinds = _kinds(standard, habit, count)
    trees = []
    number = seed * 1000 % _NUMBERS
    for place, kind in enumerate(kinds):
        vigour = _VIGOURS[place % len(_VIGOURS)]
        age_years = _AGES[place % len(_AGES)]
        for _ in range(_PATIENCE):
            number = (number + 1) % _NUMBERS
            found = pack_tree(standard, kind, seed_of(number, habit, vigour, age_years))
            if is_fair(found, standard):
                trees.append(found)
                break
    if not trees:
        raise InvalidInput(
            {"standard": say("This standard is too narrow to practise it on a drawn tree.")}
        )
    return tuple(trees)


def _kinds(standard: Standard, habit: BearingHabit, count: int) -> list[TreeKind]:
    """Mix the kinds, so that the same kind does not come twice in a row."""
    usual = TreeKind.TIP_BEARER if habit is BearingHabit.TIP else TreeKind.USUAL
    kinds = []
    for kind, share in _MIX.items():
        noticed_at = _NOTICED_AT.get(kind)
        is_noticed = noticed_at is not None and noticed_at in standard.stages_in_use
        kinds += [(place + 0.5, share, kind if is_noticed else usual) for place in range(share)]
    # Each kind evenly over the whole.
    kinds.sort(key=lambda one: one[0] / one[1])
    return [kinds[place % len(kinds)][2] for place in range(count)]


def is_fair(tree: PackTree, standard: Standard, method: Method = Method.LADDER) -> bool:
    """
    Tell whether every practice of a tree has a way that the scoring engine finds right.

    Parameters
    ----------
    tree : PackTree
        The tree.
    standard : Standard
        The block's rule.
    method : Method, optional
        How the crew works.

    Returns
    -------
    bool
        True if each stage, each two and all together can be pruned right, also with heights read
        an inch off, as far as the tolerance has room for that, and diameters by the guard band.
    """
    if tree.kind is TreeKind.NOT_DUE and (
        tree.tree.height_mm > standard.top.target_mm - HEIGHT_READING_MM
    ):
        return False
    for chosen in stage_sets(standard):
        before = done_before(tree.tree, standard, chosen.stages)
        ideal = ideal_pruning(tree.tree, standard, chosen.stages, done=before)
        answers = answers_of(tree.tree, ideal, standard, tree.side)
        for reading in _readings(answers, standard):
            scores = score_tree(standard, reading, method=method, stages=chosen.stages)
            if any(one.result is Result.NONCONFORMING for one in scores.stages.values()):
                return False
    return True


def _readings(answers: TreeAnswers, standard: Standard) -> Iterator[TreeAnswers]:
    """Yield what an auditor measures: as it is, and all lengths read low or high."""
    yield answers
    height_mm = min(HEIGHT_READING_MM, standard.top.tolerance_mm / 2)
    # A diameter is held against somebody from the guard on; just below it is how far it may be off.
    guard_mm = max(0.0, standard.diameter_guard_mm - 0.1)
    for way in (-1.0, 1.0):
        stages = dict(answers.stages)
        for stage, answer in answers.stages.items():
            match answer:
                case TopMeasure():
                    read_mm = kept_length(answer.height_mm + way * height_mm)
                    if answer.topped or read_mm < standard.top.target_mm:
                        stages[stage] = answer.model_copy(update={"height_mm": read_mm})
                case HeadingMeasure():
                    read = tuple(d + way * guard_mm for d in answer.diameters_mm)
                    stages[stage] = answer.model_copy(update={"diameters_mm": read})
                case LimbsMeasure():
                    stages[stage] = answer.model_copy(
                        update={
                            "cut_mm": tuple(d + way * guard_mm for d in answer.cut_mm),
                            "standing_mm": tuple(d - way * guard_mm for d in answer.standing_mm),
                        }
                    )
                case _:
                    pass
        yield TreeAnswers(stages=stages)


def pruning_of(tree: PackTree, cuts: Cuts) -> Pruning:
    """
    Make the cuts that a phone names.

    Parameters
    ----------
    tree : PackTree
        The tree.
    cuts : Cuts
        The places that were cut.

    Returns
    -------
    Pruning
        The cuts, on the tree itself.

    Raises
    ------
    ImpossibleCuts
        If a place is not on the tree, or was cut twice.
    """
    for names in (cuts.limbs, cuts.sides):
        if len(set(names)) < len(names):
            raise ImpossibleCuts(PackProblem.CUT_TWICE)
    tops = {place.id: place.at_mm for place in tree.tops}
    heads = {(limb, place.id): place.at for limb, places in tree.heads.items() for place in places}
    limbs = {limb.key for limb in tree.tree.limbs}
    sides = {side.key for limb in tree.tree.limbs for side in limb.side_branches}
    if not (
        (cuts.top is None or cuts.top in tops)
        and limbs.issuperset(cuts.limbs)
        and sides.issuperset(cuts.sides)
        and heads.keys() >= set(cuts.heads.items())
    ):
        raise ImpossibleCuts(PackProblem.NO_SUCH_PLACE)
    return Pruning(
        top_mm=None if cuts.top is None else tops[cuts.top],
        limbs_out=frozenset(cuts.limbs),
        sides_off=frozenset(cuts.sides),
        headed={limb: heads[limb, place] for limb, place in cuts.heads.items()},
    )


def cuts_of(tree: PackTree, pruning: Pruning) -> Cuts:
    """
    Name cuts by the places that are offered.

    Parameters
    ----------
    tree : PackTree
        The tree.
    pruning : Pruning
        Cuts, of which those of the other side of the row are passed over where no place is
        offered.

    Returns
    -------
    Cuts
        The places, in the tree's own order.

    Raises
    ------
    ValueError
        If the leader is cut, or a branch of the side headed, where no place is offered.
    """
    top = None
    if pruning.top_mm is not None:
        top = next((place.id for place in tree.tops if place.at_mm == pruning.top_mm), None)
        if top is None:
            raise ValueError(f"no place of the leader is at {pruning.top_mm} mm")
    heads = {}
    for limb, at in pruning.headed.items():
        if limb in tree.heads:
            named = next((place.id for place in tree.heads[limb] if place.at == at), None)
            if named is None:
                raise ValueError(f"no place of limb {limb} is at {at}")
            heads[limb] = named
    limbs = tree.tree.limbs
    return Cuts(
        top=top,
        limbs=tuple(limb.key for limb in limbs if limb.key in pruning.limbs_out),
        sides=tuple(
            side.key
            for limb in limbs
            for side in limb.side_branches
            if side.key in pruning.sides_off
        ),
        heads=heads,
    )
