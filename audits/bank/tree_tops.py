"""Questions on tops of drawn trees beside a marked pole: judged by eye, without a figure."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from audits.bank.maker import (
    LOWEST_TOP_MM,
    Dice,
    Maker,
    Role,
    cut_at,
    height_between,
    leave_it,
    readings_of,
    what_is_wrong,
)
from audits.messages import Message, say
from audits.practice.grow import LimbPlan
from audits.practice.growth import Growth
from audits.practice.ideal import top_cut_mm
from audits.practice.pictures import TreePicture, TreePlace, TreeView
from audits.practice.pruning import Pruning, pruned_tree
from audits.questions import Action, Draft
from audits.standard import Standard
from audits.units import Length
from audits.vocabulary import Fault, Method, Stage

# Branches of the leader that nobody asks about: from a quarter of the height up, this far apart.
_LOWEST_SHARE: Final = 0.25
_APART_MM: Final = (130.0, 190.0)
_RIGHT_DEG: Final = 0.0
_LEFT_DEG: Final = 180.0
# A peg that nobody takes for a cut at the side branch below it, small as the picture is.
_PEG_MM: Final = (180.0, 240.0)
# Nearer to the mark than this, about an inch, a top is at the mark.
_AT_MARK_MM: Final = 25.0


@dataclass(frozen=True)
class _Top:
    """A picture of a top, and the names of the side branches that were asked for."""

    picture: TreePicture
    asked: tuple[str, ...]

    def cut(self, limb: str) -> Pruning:
        """Cut the leader to a side branch."""
        tree = self.picture.tree
        return Pruning(top_mm=top_cut_mm(tree, tree.limb(limb)))

    def numbered(self) -> TreePicture:
        """Give numbers to the side branches that were asked for, in their order."""
        return replace(self.picture, places=tuple(TreePlace(limb) for limb in self.asked))


def _top(
    standard: Standard, draw: Dice, leader_mm: float, asked_mm: Sequence[float], gap_mm: float
) -> _Top:
    """
    Grow a tree with side branches of its leader at given heights.

    Up to `gap_mm` below the lowest of them no other branch grows, so that each stands out.
    """
    unions = list(asked_mm)
    height = _LOWEST_SHARE * leader_mm
    while height < min(asked_mm) - gap_mm:
        unions.append(height)
        height += draw.uniform(*_APART_MM)
    unions.sort()
    plans = tuple(
        LimbPlan(
            union,
            _LEFT_DEG if place % 2 else _RIGHT_DEG,
            max(4.5, 14.0 - 9.0 * union / leader_mm),
            hangs=False,
            sides=(),
        )
        for place, union in enumerate(unions)
    )
    growth = Growth(
        standard.top.target_mm,
        large_mm=standard.limbs.large_mm,
        side_branch_mm=standard.columns.side_branch_mm,
        evenness=0.4,
    )
    picture = TreePicture(
        TreeView.TOP,
        growth,
        draw.randrange(1_000_000),
        leader_mm,
        plans,
        mark_mm=standard.top.target_mm,
        wire_mm=standard.top_wire_mm,
    )
    names = {union: str(place + 1) for place, union in enumerate(unions)}
    return _Top(picture, tuple(names[union] for union in asked_mm))


def _where(standard: Standard, top: _Top, why: Message) -> Draft:
    picture = top.numbered()
    tree = picture.tree
    cuts = []
    for number, limb in enumerate(top.asked, start=1):
        read = readings_of(tree, top.cut(limb), standard, Stage.TOP)
        cuts.append(cut_at(number, read.measured, *read.others))
    left = readings_of(tree, Pruning(), standard, Stage.TOP)
    return Draft(
        say("Where do you cut this top?"),
        (*cuts, leave_it(left.measured, *left.others)),
        Stage.TOP,
        picture,
        why=why,
    )


def _tree_where(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.top
    lowest, highest = rule.band_mm
    reach = max(150.0, rule.tolerance_mm)
    asked = (
        height_between(draw, highest + 0.5 * reach, highest + 1.2 * reach),
        height_between(
            draw, rule.target_mm - 0.7 * rule.tolerance_mm, rule.target_mm - 0.2 * reach
        ),
        height_between(draw, lowest - 2 * reach, lowest - 1.2 * reach),
    )
    if asked[-1] < LOWEST_TOP_MM:
        return None
    leader = highest + height_between(draw, 2.5 * reach, 4 * reach)
    top = _top(standard, draw, leader, asked, 100.0)
    return _where(standard, top, say("There the top ends at the mark."))


def _tree_not_due(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    leader = standard.top.target_mm - height_between(draw, 200, 500)
    asked = (
        leader - height_between(draw, 160, 240),
        leader - height_between(draw, 380, 460),
    )
    if asked[-1] < LOWEST_TOP_MM:
        return None
    top = _top(standard, draw, leader, asked, 100.0)
    return _where(standard, top, say("The leader has not reached the mark."))


def _ending(
    standard: Standard, draw: Dice, fault: Fault | None
) -> tuple[_Top, Pruning, float] | None:
    """Cut a top to a side branch or above it; return also how far it then ends from the mark."""
    rule = standard.top
    lowest, highest = rule.band_mm
    near = 0.3 * rule.tolerance_mm
    low, high = {
        Fault.LOW: (lowest - 500, lowest - 250),
        Fault.HIGH: (highest + 120, highest + 400),
    }.get(fault or Fault.BLUNT, (rule.target_mm - 60 - near, rule.target_mm - 60 + near))
    ends = height_between(draw, low, high)
    peg = draw.uniform(*_PEG_MM) if fault is Fault.BLUNT else 0.0
    union = ends - peg
    if union < LOWEST_TOP_MM:
        return None
    leader = max(highest, ends) + height_between(draw, 300, 600)
    top = _top(standard, draw, leader, (union,), 120.0)
    pruning = Pruning(top_mm=ends) if fault is Fault.BLUNT else top.cut(top.asked[0])
    left = pruned_tree(top.picture.tree, pruning)
    return top, pruning, left.height_mm - rule.target_mm


def _judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        made = _ending(standard, draw, fault)
        if made is None:
            return None
        top, pruning, _ = made
        read = readings_of(top.picture.tree, pruning, standard, Stage.TOP)
        return Draft(
            say("Is this top right?"),
            what_is_wrong(draw, read.measured, (Fault.HIGH, Fault.LOW, Fault.BLUNT), read.others),
            Stage.TOP,
            replace(top.picture, pruning=pruning),
        )

    return make


def _which(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    choices = []
    for fault in (None, Fault.HIGH, Fault.LOW, Fault.BLUNT):
        made = _ending(standard, draw, fault)
        if made is None:
            return None
        top, pruning, off_mm = made
        read = readings_of(top.picture.tree, pruning, standard, Stage.TOP)
        picture = replace(top.picture, pruning=pruning)
        text = _ends(off_mm, is_blunt=fault is Fault.BLUNT)
        choices.append(Action(text, read.measured, picture=picture, others=read.others))
    return Draft(
        say("Which top is cut right?"),
        tuple(choices),
        Stage.TOP,
        why=say("It ends at the mark, at a side branch."),
        shows_choices=True,
    )


def _ends(off_mm: float, *, is_blunt: bool) -> Message:
    """Say where a top ends and how, without saying whether that is right."""
    if abs(off_mm) <= _AT_MARK_MM:
        place = say("At the mark")
    elif off_mm > 0:
        place = say("%(length)s above the mark", length=Length(off_mm))
    else:
        place = say("%(length)s below the mark", length=Length(-off_mm))
    if is_blunt:
        return say("%(place)s, far from any branch.", place=place)
    return say("%(place)s, at a side branch.", place=place)


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("top_tree_where", Stage.TOP, Role.OTHER, _tree_where),
    Maker("top_tree_not_due", Stage.TOP, Role.LEAVE, _tree_not_due),
    Maker("top_tree_low", Stage.TOP, Role.TOO_MUCH, _judged(Fault.LOW)),
    Maker("top_tree_high", Stage.TOP, Role.OTHER, _judged(Fault.HIGH)),
    Maker("top_tree_blunt", Stage.TOP, Role.OTHER, _judged(Fault.BLUNT)),
    Maker("top_tree_right", Stage.TOP, Role.OTHER, _judged(None)),
    Maker("top_tree_which", Stage.TOP, Role.OTHER, _which),
)
