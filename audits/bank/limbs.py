"""Questions on large limbs, drawn with their diameters."""

from collections.abc import Callable
from typing import Final

from audits.bank.maker import (
    Dice,
    Maker,
    Role,
    height_between,
    leave_it,
    numbers_in_words,
    what_is_wrong,
)
from audits.messages import Message, say, say_n
from audits.questions import (
    Action,
    CutShape,
    Draft,
    LimbsPicture,
    SignPicture,
    Statement,
)
from audits.scoring import LimbsMeasure
from audits.standard import LIMB_CALLER_NAMES, LimbCaller, Standard
from audits.units import Length
from audits.vocabulary import Fault, Method, Stage

# More than these no picture of a tree has room for.
MOST_LIMBS: Final = 7


def limb_sizes(standard: Standard, draw: Dice, large: int, small: int) -> list[float]:
    """
    Draw limbs well apart: some above the limit, thickest first, then some far below it.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    draw : Dice
        The chance.
    large, small : int
        How many of either.

    Returns
    -------
    list of float
        Diameters in mm, in whole millimetres.
    """
    rule, guard = standard.limbs, max(1.0, standard.diameter_guard_mm)
    step = rule.wrong_limb_mm + 2 * guard
    over = rule.large_mm + guard + 2
    under = rule.large_mm - step - guard
    thick = [over + step * place + draw.randrange(3) for place in range(large)]
    thin = [max(4.0, under - 2 * place - draw.randrange(2)) for place in range(small)]
    return [float(round(size)) for size in [*reversed(thick), *thin]]


def _take_out(sizes: list[float], places: tuple[int, ...], order: list[int]) -> Action:
    """Make the choice of taking out the limbs at some places of the list, numbered by `order`."""
    numbers = tuple(sorted(order.index(place) + 1 for place in places))
    after = LimbsMeasure(
        cut_mm=tuple(sizes[place] for place in places),
        standing_mm=tuple(size for place, size in enumerate(sizes) if place not in places),
    )
    if not places:
        return Action(say("Leave them all."), after, leaves=True)
    text = say_n(
        "Take out limb %(limbs)s.",
        "Take out limbs %(limbs)s.",
        len(numbers),
        limbs=numbers_in_words(numbers),
    )
    return Action(text, after, picture=SignPicture(numbers))


def _limbs_which(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    most, least = standard.limbs.most, standard.limbs.least
    if most == 0:
        return None
    sizes = limb_sizes(standard, draw, most + 1, 2)
    if len(sizes) > MOST_LIMBS:
        return None
    order = draw.sample(range(len(sizes)), len(sizes))
    right = tuple(range(most))
    # Too many; and as many, but with the thickest left standing.
    sets = [right, (*right, most), (*right[1:], most)]
    if least > 0:
        sets.append(())
    return Draft(
        say("Which limbs do you take out?"),
        tuple(_take_out(sizes, places, order) for places in sets),
        Stage.LIMBS,
        LimbsPicture(tuple(sizes[place] for place in order)),
    )


def _limbs_none_large(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule, guard = standard.limbs, max(1.0, standard.diameter_guard_mm)
    thickest = float(round(rule.large_mm - guard - 1 - draw.randrange(2)))
    sizes = [thickest - 2 * place - draw.randrange(2) for place in range(4)]
    if sizes[-1] - guard <= 0:
        return None
    order = draw.sample(range(len(sizes)), len(sizes))
    number = order.index(0) + 1

    def cut(text: Message, fault: Fault) -> Action:
        after = LimbsMeasure(cut_mm=(sizes[0],), standing_mm=tuple(sizes[1:]), faults=(fault,))
        return Action(text, after)

    return Draft(
        say("Which limbs do you take out?"),
        (
            _take_out(sizes, (), order),
            cut(say("Cut limb %(number)s flush with the trunk.", number=number), Fault.FLUSH_CUT),
            cut(say("Cut limb %(number)s to a long stub.", number=number), Fault.LONG_STUB),
        ),
        Stage.LIMBS,
        LimbsPicture(tuple(sizes[place] for place in order)),
    )


def _limbs_enough(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule, guard = standard.limbs, max(1.0, standard.diameter_guard_mm)
    if rule.most == 0:
        return None
    standing = float(round(rule.large_mm + guard + 2 + draw.randrange(2)))
    cuts = tuple(standing + 2 * guard + 1 + 2 * place for place in range(rule.most))
    small = float(round(rule.large_mm - 2 * guard - 4))
    if small - guard <= 0 or len(cuts) + 2 > MOST_LIMBS:
        return None
    done = LimbsMeasure(cut_mm=cuts, standing_mm=(standing, small))
    return Draft(
        say_n(
            "You took out the largest limb. What about limb 1?",
            "You took out the %(count)s largest limbs. What about limb 1?",
            rule.most,
        ),
        (
            leave_it(done),
            Action(
                say("Take it out too."),
                LimbsMeasure(cut_mm=(*cuts, standing), standing_mm=(small,)),
            ),
            Action(
                say("Cut it back to a long stub."),
                LimbsMeasure(cut_mm=cuts, standing_mm=(small,), faults=(Fault.LONG_STUB,)),
            ),
        ),
        Stage.LIMBS,
        LimbsPicture((standing, small), cuts),
        why=say("Enough large limbs are out."),
    )


def _limbs_judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        rule = standard.limbs
        usual = max(rule.most, 1)
        sizes = limb_sizes(standard, draw, usual + 2, 2)
        large, small = sizes[:-2], sizes[-2:]
        cut, standing = {
            # One large limb was left although too few came out.
            Fault.TOO_FEW: (large[: max(rule.least - 1, 0)], large[rule.least - 1 : rule.least]),
            Fault.TOO_MANY: (large[: rule.most + 1 + draw.randrange(2)], []),
            # The thickest limb stands although a thinner one came out.
            Fault.WRONG_LIMB: (large[1 : usual + 1], large[:1]),
        }.get(fault or Fault.FLUSH_CUT, (large[: rule.most], []))
        if not cut or len(cut) + len(standing) + len(small) > MOST_LIMBS:
            return None
        tree = LimbsMeasure(cut_mm=tuple(cut), standing_mm=(*standing, *small))
        shown = draw.sample(tree.standing_mm, len(tree.standing_mm))
        return Draft(
            say("This tree was pruned today. What is wrong?"),
            what_is_wrong(draw, tree, (Fault.TOO_FEW, Fault.TOO_MANY, Fault.WRONG_LIMB)),
            Stage.LIMBS,
            LimbsPicture(tuple(shown), tree.cut_mm),
        )

    return make


def _limbs_cut_shape(*, low: bool) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        rule = standard.limbs
        limit = rule.clean_cut_height_mm
        if rule.most == 0 or (low and limit < 2 * _CLEAR_OF_LIMIT_MM):
            return None
        height = (
            height_between(draw, limit - 1.5 * _CLEAR_OF_LIMIT_MM, limit - _CLEAR_OF_LIMIT_MM)
            if low
            else max(limit, 600) + height_between(draw, _CLEAR_OF_LIMIT_MM, 800)
        )
        large = limb_sizes(standard, draw, rule.most, 0)

        def cut(text: Message, *faults: Fault) -> Action:
            return Action(text, LimbsMeasure(cut_mm=tuple(large), faults=faults))

        clean = (Fault.FLUSH_CUT,) if not low else ()
        stub = (Fault.LOW_STUB,) if low else ()
        return Draft(
            say(
                "Limb 1 must go. It grows at %(height)s. How do you cut it?",
                height=Length(height),
            ),
            (
                cut(say("Clean, at the trunk."), *clean),
                cut(say("With a short, slanted stub."), *stub),
                cut(say("With a stub as long as a hand."), *stub, Fault.LONG_STUB),
            ),
            Stage.LIMBS,
            LimbsPicture((large[0],), limb_height_mm=height),
            why=say("A stub low down grows back.") if low else _STUB_GROWS,
        )

    return make


# Nobody in a row tells heights of limbs closer than this.
_CLEAR_OF_LIMIT_MM: Final = 200.0

_STUB_GROWS: Final = say("A short, slanted stub grows a new limb.")

_FAULT_OF_SHAPE: Final = {
    CutShape.FLUSH: (Fault.FLUSH_CUT,),
    CutShape.PEG: (Fault.LONG_STUB,),
    CutShape.BEVEL: (),
}


def _limbs_shape_judged(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.limbs
    if rule.most == 0:
        return None
    shape = draw.choice(tuple(CutShape))
    cuts = tuple(limb_sizes(standard, draw, rule.most, 0))
    tree = LimbsMeasure(cut_mm=cuts, faults=_FAULT_OF_SHAPE[shape])
    height = max(rule.clean_cut_height_mm, 600) + height_between(draw, _CLEAR_OF_LIMIT_MM, 800)
    return Draft(
        say(
            "This limb was cut today, at %(height)s. What is wrong with the cut?",
            height=Length(height),
        ),
        what_is_wrong(draw, tree, (Fault.FLUSH_CUT, Fault.LONG_STUB)),
        Stage.LIMBS,
        LimbsPicture((), (cuts[0],), shape, height),
        why=_STUB_GROWS if shape is CutShape.BEVEL else None,
    )


def _limbs_caller(standard: Standard, _draw: Dice, _method: Method) -> Draft | None:
    if standard.limbs.most == 0:
        return None
    return Draft(
        say("Two people work on one tree. Who calls the limbs?"),
        tuple(
            Statement(say(LIMB_CALLER_NAMES[caller]), caller is standard.limb_caller)
            for caller in LimbCaller
        ),
        Stage.LIMBS,
        why=say("One person calls, so that nobody cuts twice."),
    )


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("limbs_which", Stage.LIMBS, Role.OTHER, _limbs_which),
    Maker("limbs_none_large", Stage.LIMBS, Role.LEAVE, _limbs_none_large),
    Maker("limbs_enough", Stage.LIMBS, Role.LEAVE, _limbs_enough),
    Maker("limbs_too_many", Stage.LIMBS, Role.TOO_MUCH, _limbs_judged(Fault.TOO_MANY)),
    Maker("limbs_too_few", Stage.LIMBS, Role.OTHER, _limbs_judged(Fault.TOO_FEW)),
    Maker("limbs_wrong", Stage.LIMBS, Role.OTHER, _limbs_judged(Fault.WRONG_LIMB)),
    Maker("limbs_right", Stage.LIMBS, Role.OTHER, _limbs_judged(None)),
    Maker("limbs_cut_low", Stage.LIMBS, Role.OTHER, _limbs_cut_shape(low=True)),
    Maker("limbs_cut_high", Stage.LIMBS, Role.OTHER, _limbs_cut_shape(low=False)),
    Maker("limbs_cut_judged", Stage.LIMBS, Role.OTHER, _limbs_shape_judged),
    Maker("limbs_caller", Stage.LIMBS, Role.OTHER, _limbs_caller),
)
