"""Questions on the limbs of drawn trees, each limb with a number and its diameter."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from audits.bank.limbs import MOST_LIMBS, limb_sizes
from audits.bank.maker import (
    Dice,
    Maker,
    Role,
    leave_it,
    numbers_in_words,
    readings_of,
    what_is_wrong,
)
from audits.messages import Message, say, say_n
from audits.plain_words import just
from audits.practice.grow import LimbPlan
from audits.practice.growth import Growth
from audits.practice.model import TreeKind
from audits.practice.pictures import TreePicture, TreePlace, TreeView
from audits.practice.pruning import Pruning
from audits.questions import Action, Draft, SignPicture
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import Fault, Method, Stage

# A piece of trunk about as long as the picture is high: unions this far apart, in turn to the left
# and to the right, from well above the soil up; thicker limbs take more room.
_FROM_MM: Final = 900.0
_APART_MM: Final = (62.0, 78.0)
_ABOVE_MM: Final = 2_400.0
_USUAL_LIMIT_MM: Final = 19.0
_RIGHT_DEG: Final = 0.0
_LEFT_DEG: Final = 180.0


@dataclass(frozen=True)
class _Limbs:
    """A picture of limbs, and their names from the thickest to the thinnest."""

    picture: TreePicture
    by_size: tuple[str, ...]

    def number(self, limb: str) -> int:
        """Return a limb's number in the picture."""
        return [place.limb for place in self.picture.places].index(limb) + 1


def _limbs(
    standard: Standard,
    draw: Dice,
    sizes: Sequence[float],
    out: int = 0,
    kind: TreeKind = TreeKind.USUAL,
) -> _Limbs | None:
    """Grow limbs of given sizes, mixed; the first `out` of the sizes came out, without a number."""
    if not sizes or len(sizes) > MOST_LIMBS:
        return None
    large_mm = standard.limbs.large_mm
    scale = large_mm / _USUAL_LIMIT_MM
    order = draw.sample(range(len(sizes)), len(sizes))
    heights = [_FROM_MM]
    while len(heights) < len(sizes):
        heights.append(heights[-1] + scale * draw.uniform(*_APART_MM))
    plans = tuple(
        LimbPlan(
            height,
            _LEFT_DEG if place % 2 else _RIGHT_DEG,
            sizes[size],
            hangs=False,
            sides=(),
        )
        for place, (height, size) in enumerate(zip(heights, order, strict=True))
    )
    growth = Growth(
        standard.top.target_mm,
        kind=kind,
        large_mm=large_mm,
        side_branch_mm=standard.columns.side_branch_mm,
        reach_mm=750.0 * max(1.0, scale),
        evenness=0.5,
    )
    by_size = tuple(str(order.index(place) + 1) for place in range(len(sizes)))
    picture = TreePicture(
        TreeView.LIMBS,
        growth,
        draw.randrange(1_000_000),
        _FROM_MM + _ABOVE_MM * scale,
        plans,
        pruning=Pruning(limbs_out=frozenset(by_size[:out])),
        gauge_mm=large_mm,
    )
    tree = picture.tree
    places = tuple(
        TreePlace(limb.key, diameter_mm=limb.measured_mm(standard.limbs.measured_out_mm))
        for limb in tree.limbs
        if limb.key not in picture.pruning.limbs_out
    )
    return _Limbs(replace(picture, places=places), by_size)


def _take_out(standard: Standard, drawn: _Limbs, limbs: Sequence[str]) -> Action:
    """Offer to take out some limbs, or to leave all that stand."""
    pruning = drawn.picture.pruning
    pruning = replace(pruning, limbs_out=pruning.limbs_out | set(limbs))
    read = readings_of(drawn.picture.tree, pruning, standard, Stage.LIMBS)
    if not limbs:
        return replace(leave_it(read.measured, *read.others), text=say("Leave them all."))
    numbers = tuple(sorted(drawn.number(limb) for limb in limbs))
    text = say_n(
        "Take out limb %(limbs)s.",
        "Take out limbs %(limbs)s.",
        len(numbers),
        limbs=numbers_in_words(numbers),
    )
    return Action(text, read.measured, picture=SignPicture(numbers), others=read.others)


def _asked(
    standard: Standard, drawn: _Limbs, stem: Message, sets: Sequence[Sequence[str]], why: Message
) -> Draft:
    return Draft(
        stem,
        tuple(_take_out(standard, drawn, limbs) for limbs in sets),
        Stage.LIMBS,
        drawn.picture,
        why=why,
    )


def _thickest_first(standard: Standard) -> Message:
    return say_n(
        "Take the thickest large limb, and no more.",
        "Take the %(count)s thickest large limbs, and no more.",
        standard.limbs.most,
    )


def _which_out(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    most, least = standard.limbs.most, standard.limbs.least
    if most == 0:
        return None
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, most + 1, 2))
    if drawn is None:
        return None
    sizes = drawn.by_size
    # Right; one too many; as many, but the thickest stands; and none.
    sets = [sizes[:most], sizes[: most + 1], sizes[1 : most + 1]]
    if least > 0:
        sets.append(())
    return _asked(
        standard,
        drawn,
        say("Which limbs come out of this tree?"),
        sets,
        _thickest_first(standard),
    )


def _enough(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    most = standard.limbs.most
    if most == 0:
        return None
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, most + 2, 2), most)
    if drawn is None:
        return None
    one, other = drawn.by_size[most : most + 2]
    return _asked(
        standard,
        drawn,
        say("What else comes out of this tree?"),
        ((), (one,), (other,), (one, other)),
        say("Enough large limbs are out."),
    )


def _never(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.limbs.most > 0:
        return None
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, 2, 2))
    if drawn is None:
        return None
    one, other = drawn.by_size[:2]
    return _asked(
        standard,
        drawn,
        say("Which limbs come out of this tree?"),
        ((), (one,), (other,), (one, other)),
        say("In this block no limb comes out."),
    )


def _few_flowers(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    most = standard.limbs.most
    if standard.limbs.least > 0 or most == 0:
        return None
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, most + 1, 2), 0, TreeKind.LOW_BLOOM)
    if drawn is None:
        return None
    sizes = drawn.by_size
    return _asked(
        standard,
        drawn,
        say("What comes out of this tree with few flower buds?"),
        # None at all would be right as well, and is not offered; nor is more than practice takes.
        (sizes[:1], sizes[: most + 1], sizes[1:2]),
        _thickest_first(standard),
    )


def _cut(standard: Standard, draw: Dice, fault: Fault | None) -> tuple[_Limbs, Pruning] | None:
    """Prune a tree with two limbs to choose from beyond those that come out."""
    rule = standard.limbs
    usual = max(rule.most, 1)
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, usual + 1, 2))
    if drawn is None:
        return None
    sizes = drawn.by_size
    out = {
        Fault.TOO_FEW: sizes[: max(rule.least - 1, 0)],
        Fault.TOO_MANY: sizes[: rule.most + 1],
        # The thickest limb stands although a thinner one came out.
        Fault.WRONG_LIMB: sizes[1 : usual + 1],
    }.get(fault or Fault.FLUSH_CUT, sizes[: rule.most])
    return drawn, Pruning(limbs_out=frozenset(out))


def _judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        made = _cut(standard, draw, fault)
        if made is None:
            return None
        drawn, pruning = made
        # An uncut tree shows nothing that could have gone wrong.
        if not pruning.limbs_out:
            return None
        read = readings_of(drawn.picture.tree, pruning, standard, Stage.LIMBS)
        offered = (Fault.TOO_FEW, Fault.TOO_MANY, Fault.WRONG_LIMB)
        return Draft(
            say("What went wrong on this tree?"),
            what_is_wrong(draw, read.measured, offered, read.others),
            Stage.LIMBS,
            replace(drawn.picture, pruning=pruning, shows_before=True),
        )

    return make


def _which_tree(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.limbs
    if rule.most == 0:
        return None
    drawn = _limbs(standard, draw, limb_sizes(standard, draw, rule.most + 1, 2))
    if drawn is None:
        return None
    sizes = drawn.by_size
    tree = drawn.picture.tree
    choices = []
    for out in (sizes[: rule.most], sizes[: rule.most + 1], sizes[1 : rule.most + 1]):
        pruning = Pruning(limbs_out=frozenset(out))
        read = readings_of(tree, pruning, standard, Stage.LIMBS)
        picture = replace(drawn.picture, pruning=pruning)
        cut = [place.diameter_mm for place in picture.places if place.limb in out]
        left = [place.diameter_mm for place in picture.places if place.limb not in out]
        text = say("Out: %(cut)s. Left: %(left)s.", cut=_listed(cut), left=_listed(left))
        choices.append(Action(text, read.measured, picture=picture, others=read.others))
    return Draft(
        say("Which of these trees is cut right?"),
        tuple(choices),
        Stage.LIMBS,
        why=_thickest_first(standard),
        shows_choices=True,
    )


def _listed(diameters_mm: Sequence[float | None]) -> Message:
    """Say diameters from the thickest down."""
    first, *rest = sorted((each for each in diameters_mm if each is not None), reverse=True)
    said = just(Length(first, LengthKind.DIAMETER))
    for diameter_mm in rest:
        said = say("%(first)s, %(next)s", first=said, next=Length(diameter_mm, LengthKind.DIAMETER))
    return said


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("limbs_tree_which", Stage.LIMBS, Role.OTHER, _which_out),
    Maker("limbs_tree_enough", Stage.LIMBS, Role.LEAVE, _enough),
    Maker("limbs_tree_never", Stage.LIMBS, Role.LEAVE, _never),
    Maker("limbs_tree_few_flowers", Stage.LIMBS, Role.OTHER, _few_flowers),
    Maker("limbs_tree_too_many", Stage.LIMBS, Role.TOO_MUCH, _judged(Fault.TOO_MANY)),
    Maker("limbs_tree_too_few", Stage.LIMBS, Role.OTHER, _judged(Fault.TOO_FEW)),
    Maker("limbs_tree_wrong", Stage.LIMBS, Role.OTHER, _judged(Fault.WRONG_LIMB)),
    Maker("limbs_tree_right", Stage.LIMBS, Role.OTHER, _judged(None)),
    Maker("limbs_tree_choice", Stage.LIMBS, Role.OTHER, _which_tree),
)
