"""Makers of quiz questions: each draws a tree around one block's limits and the ways to err."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeAlias

from audits.messages import Message, say, say_n
from audits.plain_words import against_the_wire, just
from audits.questions import (
    Action,
    BranchPicture,
    CutShape,
    Draft,
    EndPicture,
    Finding,
    LimbsPicture,
    Option,
    SignPicture,
    Statement,
    TopPicture,
)
from audits.scoring import Answer, ColumnsMeasure, HeadingMeasure, LimbsMeasure, TopMeasure
from audits.standard import LIMB_CALLER_NAMES, LimbCaller, Standard
from audits.units import Length
from audits.vocabulary import FAULT_NAMES, Fault, HeadingRule, Method, Stage

Dice: TypeAlias = random.Random

# Pictures stay believable between these: no quiz tree ends at knee height.
_LOWEST_TOP_MM: Final = 800.0


class Role(StrEnum):
    """What a question is there for."""

    LEAVE = "leave"
    TOO_MUCH = "too_much"
    SAFETY = "safety"
    OTHER = "other"


@dataclass(frozen=True)
class Maker:
    """
    A way to make questions.

    Parameters
    ----------
    name : str
        Its name.
    stage : Stage or None
        The stage it asks about.
    role : Role
        What its questions are there for.
    make : Callable
        Draws one question, or none where the standard leaves no room for it.
    """

    name: str
    stage: Stage | None
    role: Role
    make: Callable[[Standard, Dice, Method], Draft | None]


def makers(standard: Standard, method: Method) -> tuple[Maker, ...]:
    """
    Return the makers that fit a standard.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    method : Method
        How the crew works.

    Returns
    -------
    tuple of Maker
        Makers of the stages in use, of what holds everywhere, and of the safety notes.
    """
    used = standard.stages_in_use
    return (
        *(maker for maker in _STAGE_MAKERS if maker.stage in used),
        Maker("sick_wood", None, Role.OTHER, _sick_wood),
        *(
            Maker(note, None, Role.SAFETY, _safety(note))
            for note in (*_METHOD_SAFETY[method], *_SHARED_SAFETY)
        ),
    )


# Words that several questions share.


def _leave_it(after: Answer) -> Action:
    return Action(say("Leave it alone."), after, leaves=True)


def _cut_at(number: int) -> Message:
    return say("Cut at %(number)s.", number=number)


def _what_is_wrong(draw: Dice, tree: Answer, faults: tuple[Fault, ...]) -> tuple[Finding, ...]:
    """Offer the faults and "nothing is wrong" for one tree."""
    nothing = Finding(say("Nothing is wrong"), tree, None)
    return (*(Finding(say(FAULT_NAMES[f]), tree, f) for f in _shuffled(draw, faults)), nothing)


def _shuffled(draw: Dice, things: tuple[Fault, ...]) -> list[Fault]:
    return draw.sample(things, len(things))


def _numbers(numbers: tuple[int, ...]) -> Message:
    first, last = numbers[:-1], numbers[-1]
    if not first:
        return just(last)
    return say("%(first)s and %(last)s", first=", ".join(map(str, first)), last=last)


def _height(draw: Dice, low_mm: float, high_mm: float) -> float:
    """Draw a height to the centimetre."""
    return round(draw.uniform(low_mm, high_mm), -1)


# Top.


def _top_where(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.top
    lowest, highest = rule.band_mm
    reach = max(150.0, rule.tolerance_mm)
    leader = highest + _height(draw, 2.5 * reach, 4 * reach)
    branches = (
        _height(draw, highest + 0.5 * reach, highest + reach),
        _height(draw, rule.target_mm - 0.5 * rule.tolerance_mm, rule.target_mm),
        _height(draw, lowest - 2 * reach, lowest - 0.8 * reach),
    )
    if branches[-1] < _LOWEST_TOP_MM:
        return None
    cuts = tuple(
        Action(_cut_at(number), TopMeasure(height_mm=branch), picture=SignPicture((number,)))
        for number, branch in enumerate(branches, start=1)
    )
    return Draft(
        say("Where do you cut this top?"),
        (*cuts, _leave_it(TopMeasure(height_mm=leader, topped=False))),
        Stage.TOP,
        TopPicture(leader, branches, standard.top_wire_mm),
    )


def _top_not_due(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.top
    leader = rule.target_mm - _height(draw, 250, 600)
    branches = (leader - _height(draw, 200, 280), leader - _height(draw, 450, 560))
    if branches[-1] < _LOWEST_TOP_MM:
        return None
    young = {"topped": True, "leader_young": True}
    return Draft(
        say("Where do you cut this top?"),
        (
            Action(say("Cut off the end."), TopMeasure(height_mm=leader - 80, **young)),
            Action(_cut_at(1), TopMeasure(height_mm=branches[0], **young)),
            Action(_cut_at(2), TopMeasure(height_mm=branches[1], **young)),
            _leave_it(TopMeasure(height_mm=leader, topped=False)),
        ),
        Stage.TOP,
        TopPicture(leader, branches, standard.top_wire_mm),
    )


def _top_broken(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    lowest, _ = standard.top.band_mm
    top = _height(draw, lowest - 600, lowest - 150)
    branch = top - _height(draw, 200, 300)
    if branch < _LOWEST_TOP_MM:
        return None
    return Draft(
        say("A storm broke this top last year. What do you do?"),
        (
            Action(_cut_at(1), TopMeasure(height_mm=branch)),
            Action(
                say("Cut the end off flat."),
                TopMeasure(height_mm=top - 50, to_side_branch=False),
            ),
            _leave_it(TopMeasure(height_mm=top, topped=False)),
        ),
        Stage.TOP,
        TopPicture(top, (branch,), standard.top_wire_mm, broken=True),
    )


def _top_judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        rule = standard.top
        lowest, highest = rule.band_mm
        near = 0.3 * rule.tolerance_mm
        height = {
            Fault.LOW: (lowest - 450, lowest - 150),
            Fault.HIGH: (highest + 150, highest + 450),
        }.get(fault or Fault.BLUNT, (rule.target_mm - near, rule.target_mm + near))
        to_side = fault is not Fault.BLUNT
        tree = TopMeasure(height_mm=_height(draw, *height), to_side_branch=to_side)
        if tree.height_mm < _LOWEST_TOP_MM:
            return None
        return Draft(
            say("This top was cut today. What is wrong?"),
            _what_is_wrong(draw, tree, (Fault.HIGH, Fault.LOW, Fault.BLUNT)),
            Stage.TOP,
            TopPicture(tree.height_mm, (), standard.top_wire_mm, cut=True, to_side_branch=to_side),
        )

    return make


def _top_against_wire(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule, wire = standard.top, standard.top_wire_mm
    if wire is None:
        return None
    beyond = rule.tolerance_mm + _height(draw, 150, 250)
    heights = (rule.target_mm, rule.target_mm + beyond, rule.target_mm - beyond)
    if heights[-1] < _LOWEST_TOP_MM:
        return None
    return Draft(
        say("You can see the top wire. Where do you cut?"),
        tuple(
            Action(
                say("Cut %(place)s.", place=against_the_wire(height, wire)),
                TopMeasure(height_mm=height),
            )
            for height in heights
        ),
        Stage.TOP,
        TopPicture(rule.band_mm[1] + 600, (), wire),
    )


# Limbs.

# More than these no picture of a tree has room for.
_MOST_LIMBS: Final = 7


def _limb_sizes(standard: Standard, draw: Dice, large: int, small: int) -> list[float]:
    """Draw limbs well apart: some above the limit, thickest first, then some far below it."""
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
        limbs=_numbers(numbers),
    )
    return Action(text, after, picture=SignPicture(numbers))


def _limbs_which(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    most, least = standard.limbs.most, standard.limbs.least
    if most == 0:
        return None
    sizes = _limb_sizes(standard, draw, most + 1, 2)
    if len(sizes) > _MOST_LIMBS:
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
    if small - guard <= 0 or len(cuts) + 2 > _MOST_LIMBS:
        return None
    done = LimbsMeasure(cut_mm=cuts, standing_mm=(standing, small))
    return Draft(
        say_n(
            "You took out the largest limb. What about limb 1?",
            "You took out the %(count)s largest limbs. What about limb 1?",
            rule.most,
        ),
        (
            _leave_it(done),
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
    )


def _limbs_judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        rule = standard.limbs
        usual = max(rule.most, 1)
        sizes = _limb_sizes(standard, draw, usual + 2, 2)
        large, small = sizes[:-2], sizes[-2:]
        cut, standing = {
            # One large limb was left although too few came out.
            Fault.TOO_FEW: (large[: max(rule.least - 1, 0)], large[rule.least - 1 : rule.least]),
            Fault.TOO_MANY: (large[: rule.most + 1 + draw.randrange(2)], []),
            # The thickest limb stands although a thinner one came out.
            Fault.WRONG_LIMB: (large[1 : usual + 1], large[:1]),
        }.get(fault or Fault.FLUSH_CUT, (large[: rule.most], []))
        if not cut or len(cut) + len(standing) + len(small) > _MOST_LIMBS:
            return None
        tree = LimbsMeasure(cut_mm=tuple(cut), standing_mm=(*standing, *small))
        shown = draw.sample(tree.standing_mm, len(tree.standing_mm))
        return Draft(
            say("This tree was pruned today. What is wrong?"),
            _what_is_wrong(draw, tree, (Fault.TOO_FEW, Fault.TOO_MANY, Fault.WRONG_LIMB)),
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
            _height(draw, limit - 1.5 * _CLEAR_OF_LIMIT_MM, limit - _CLEAR_OF_LIMIT_MM)
            if low
            else max(limit, 600) + _height(draw, _CLEAR_OF_LIMIT_MM, 800)
        )
        large = _limb_sizes(standard, draw, rule.most, 0)

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
        )

    return make


# Nobody in a row tells heights of limbs closer than this.
_CLEAR_OF_LIMIT_MM: Final = 200.0

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
    cuts = tuple(_limb_sizes(standard, draw, rule.most, 0))
    tree = LimbsMeasure(cut_mm=cuts, faults=_FAULT_OF_SHAPE[shape])
    height = max(rule.clean_cut_height_mm, 600) + _height(draw, _CLEAR_OF_LIMIT_MM, 800)
    return Draft(
        say(
            "This limb was cut today, at %(height)s. What is wrong with the cut?",
            height=Length(height),
        ),
        _what_is_wrong(draw, tree, (Fault.FLUSH_CUT, Fault.LONG_STUB)),
        Stage.LIMBS,
        LimbsPicture((), (cuts[0],), shape, height),
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
    )


# Columns.


def _branches(standard: Standard, *faults: Fault) -> ColumnsMeasure:
    """Measure a tree on which every branch was treated alike."""
    count = standard.columns.branches
    return ColumnsMeasure(looked_at=count, single=0 if faults else count, faults=faults)


def _branch_question(
    standard: Standard,
    picture: BranchPicture,
    choices: tuple[tuple[Message, tuple[Fault, ...]], ...],
    left: tuple[Fault, ...],
) -> Draft:
    return Draft(
        say("Look at this branch. What do you do?"),
        (
            *(Action(text, _branches(standard, *faults)) for text, faults in choices),
            _leave_it(_branches(standard, *left)),
        ),
        Stage.COLUMNS,
        picture,
    )


def _column_side_branch(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    length = standard.columns.side_branch_mm + _height(draw, 80, 250)
    return _branch_question(
        standard,
        BranchPicture(side_shoot_mm=length),
        (
            (say("Cut off the side branch."), ()),
            (say("Shorten the tip."), (Fault.SIDE_BRANCH, Fault.TIP_SHORTENED)),
            (say("Cut off the spurs."), (Fault.SIDE_BRANCH, Fault.SPURS_STRIPPED)),
        ),
        (Fault.SIDE_BRANCH,),
    )


def _column_spur(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    limit = standard.columns.side_branch_mm
    length = _height(draw, 0.3 * limit, 0.6 * limit)
    if limit - length < _LENGTH_APART_MM or length <= 0:
        return None
    return _branch_question(
        standard,
        BranchPicture(side_shoot_mm=length),
        (
            (say("Cut off the thin side shoot."), (Fault.SPURS_STRIPPED,)),
            (say("Shorten the tip."), (Fault.TIP_SHORTENED,)),
            (say("Cut off the spurs."), (Fault.SPURS_STRIPPED,)),
        ),
        (),
    )


# A shoot is drawn this much shorter than the limit or more, so that the picture leaves no doubt.
_LENGTH_APART_MM: Final = 25.0


def _column_single(standard: Standard, _draw: Dice, _method: Method) -> Draft | None:
    return _branch_question(
        standard,
        BranchPicture(),
        (
            (say("Cut off the spurs."), (Fault.SPURS_STRIPPED,)),
            (say("Shorten the tip."), (Fault.TIP_SHORTENED,)),
        ),
        (),
    )


def _column_fork(standard: Standard, _draw: Dice, _method: Method) -> Draft | None:
    return _branch_question(
        standard,
        BranchPicture(fork=True),
        (
            (say("Take one arm off."), ()),
            (say("Shorten both arms."), (Fault.FORK, Fault.TIP_SHORTENED)),
        ),
        (Fault.FORK,),
    )


def _column_upright(standard: Standard, _draw: Dice, _method: Method) -> Draft | None:
    return _branch_question(
        standard,
        BranchPicture(upright=True),
        (
            (say("Take the strong upright off."), ()),
            (say("Cut the upright by half."), (Fault.UPRIGHT,)),
            (say("Shorten the tip."), (Fault.UPRIGHT, Fault.TIP_SHORTENED)),
        ),
        (Fault.UPRIGHT,),
    )


_BRANCH_WITH: Final = {
    Fault.FORK: BranchPicture(fork=True),
    Fault.UPRIGHT: BranchPicture(upright=True),
    Fault.TIP_SHORTENED: BranchPicture(tip=False),
    Fault.SPURS_STRIPPED: BranchPicture(spurs=False),
}


def _column_judged(*shown: Fault) -> Callable[[Standard, Dice, Method], Draft | None]:
    """Show a branch with one of some faults, or with none."""

    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        fault = draw.choice(shown) if shown else None
        tree = _branches(standard, *((fault,) if fault else ()))
        others = [other for other in _BRANCH_WITH if other is not fault]
        offered = (*((fault,) if fault else ()), *draw.sample(others, 2))
        return Draft(
            say("This branch was pruned today. What is wrong?"),
            _what_is_wrong(draw, tree, offered),
            Stage.COLUMNS,
            _BRANCH_WITH[fault] if fault else BranchPicture(),
        )

    return make


# Heading.


def _headed(standard: Standard, diameter_mm: float) -> HeadingMeasure:
    """Measure a side on which every due end was cut at one thickness."""
    return HeadingMeasure(diameters_mm=(diameter_mm,) * standard.heading.looked_at)


def _end_sizes(standard: Standard, draw: Dice) -> tuple[float, ...]:
    """Draw a thickness above, one inside and, if the guard leaves room, one below the band."""
    rule, guard = standard.heading, max(1.0, standard.diameter_guard_mm)
    thick = rule.thickest_mm + 2 * guard + 1 + draw.randrange(8) / 2
    pencil = (rule.thinnest_mm + rule.thickest_mm) / 2
    thin = rule.thinnest_mm - 2 * guard - 0.5 - draw.randrange(2) / 2
    return (thick, pencil, thin) if thin > guard else (thick, pencil)


def _end_question(standard: Standard, picture: EndPicture, left: HeadingMeasure) -> Draft:
    return Draft(
        say("Where do you cut this hanging end?"),
        (
            *(
                Action(_cut_at(number), _headed(standard, diameter), picture=SignPicture((number,)))
                for number, diameter in enumerate(picture.diameters_mm, start=1)
            ),
            _leave_it(left),
        ),
        Stage.HEADING,
        picture,
    )


def _end_where(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.heading
    if rule.rule is not HeadingRule.REQUIRED:
        return None
    return _end_question(
        standard,
        EndPicture(_end_sizes(standard, draw), bend_after=2),
        HeadingMeasure(left_long=rule.looked_at),
    )


def _end_not_due(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.REQUIRED:
        return None
    at_bend, _, *tip = _end_sizes(standard, draw)
    return _end_question(
        standard, EndPicture((at_bend + 3, at_bend, *tip), bend_after=2), HeadingMeasure()
    )


def _end_forbidden(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.FORBIDDEN:
        return None
    return _end_question(
        standard, EndPicture(_end_sizes(standard, draw), bend_after=2), HeadingMeasure()
    )


def _end_judged(fault: Fault) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        forbidden = standard.heading.rule is HeadingRule.FORBIDDEN
        if forbidden != (fault is Fault.FORBIDDEN):
            return None
        sizes = _end_sizes(standard, draw)
        place = {Fault.THICK: 0, Fault.THIN: 2}.get(fault, 1)
        if place >= len(sizes):
            return None
        tree = _headed(standard, sizes[place])
        offered = (Fault.THICK, Fault.THIN, *((fault,) if forbidden else ()))
        return Draft(
            say("This end was cut today. What is wrong?"),
            _what_is_wrong(draw, tree, offered),
            Stage.HEADING,
            EndPicture((sizes[place],), bend_after=0 if fault is Fault.THIN else 1, cut=True),
        )

    return make


# What holds everywhere.


def _sick_wood(_standard: Standard, _draw: Dice, _method: Method) -> Draft:
    return Draft(
        say("You see canker or fire blight. What do you do?"),
        (
            Statement(say("Mark the tree. Tell the supervisor."), holds=True),
            Statement(say("Cut it out and go on."), holds=False),
            Statement(say("Leave it and say nothing."), holds=False),
            Statement(say("Take the whole tree out."), holds=False),
        ),
    )


def _asked(stem: Message, right: Message, *wrong: Message) -> tuple[Message, tuple[Option, ...]]:
    return stem, (
        Statement(right, holds=True),
        *(Statement(text, holds=False) for text in wrong),
    )


# One question for a note of `audits.safety`, by the note's key.
_SAFETY_QUESTIONS: Final = {
    "lines_look_up": _asked(
        say("You move a ladder, a pole or a platform. What comes first?"),
        say("Look up for power lines."),
        say("Lift it as high as it goes."),
        say("Trust that all lines are dead."),
        say("Go fast."),
    ),
    "ladder_top_steps": _asked(
        say("A cut is just out of reach. What do you do?"),
        say("Come down and move the ladder."),
        say("Step on the top of the ladder."),
        say("Lean out to the side."),
        say("Step onto a branch."),
    ),
    "platform_gates": _asked(
        say("The platform starts to move. Where are you?"),
        say("Both feet on the floor, gate shut."),
        say("On the rail."),
        say("On the step outside."),
        say("One foot on a branch."),
    ),
    "topping_machine": _asked(
        say("The topping machine runs. Where are you?"),
        say("Far from the blades."),
        say("Close behind it, to see the cut."),
        say("Beside it, to point."),
    ),
    "shears_free_hand": _asked(
        say("You cut with powered shears. Where is your free hand?"),
        say("Away from the blade."),
        say("On the branch, next to the cut."),
        say("At the blade, to guide it."),
    ),
    "shears_partner": _asked(
        say("Your partner's hand is near your cut. What do you do?"),
        say("Wait until the hand is away."),
        say("Cut fast."),
        say("Cut from the other side."),
    ),
    "shears_battery": _asked(
        say("A twig jams the battery shears. What comes first?"),
        say("Take the battery out."),
        say("Pull the twig out by hand."),
        say("Press the trigger again."),
    ),
    "weather_stop": _asked(
        say("You work above the ground. Strong wind comes up. What do you do?"),
        say("Stop and come down."),
        say("Work faster."),
        say("Hold on with one hand."),
    ),
    "spray_posting": _asked(
        say("A spray sign stands at the block. What do you do?"),
        say("Stay out until its time has passed."),
        say("Go in with gloves on."),
        say("Go in and work fast."),
    ),
}
_SHARED_SAFETY: Final = (
    "lines_look_up",
    "shears_free_hand",
    "shears_partner",
    "shears_battery",
    "spray_posting",
)
_METHOD_SAFETY: Final = {
    Method.LADDER: ("ladder_top_steps", "weather_stop"),
    Method.PLATFORM: ("platform_gates", "weather_stop"),
    Method.GROUND: (),
    Method.MACHINE_TOPPED: ("topping_machine",),
}


def _safety(note: str) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(_standard: Standard, _draw: Dice, _method: Method) -> Draft:
        stem, options = _SAFETY_QUESTIONS[note]
        return Draft(stem, options, note=note)

    return make


_STAGE_MAKERS: Final = (
    Maker("top_where", Stage.TOP, Role.OTHER, _top_where),
    Maker("top_not_due", Stage.TOP, Role.LEAVE, _top_not_due),
    Maker("top_broken", Stage.TOP, Role.LEAVE, _top_broken),
    Maker("top_low", Stage.TOP, Role.TOO_MUCH, _top_judged(Fault.LOW)),
    Maker("top_high", Stage.TOP, Role.OTHER, _top_judged(Fault.HIGH)),
    Maker("top_blunt", Stage.TOP, Role.OTHER, _top_judged(Fault.BLUNT)),
    Maker("top_right", Stage.TOP, Role.OTHER, _top_judged(None)),
    Maker("top_wire", Stage.TOP, Role.OTHER, _top_against_wire),
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
    Maker("column_side_branch", Stage.COLUMNS, Role.OTHER, _column_side_branch),
    Maker("column_fork", Stage.COLUMNS, Role.OTHER, _column_fork),
    Maker("column_upright", Stage.COLUMNS, Role.OTHER, _column_upright),
    Maker("column_spur", Stage.COLUMNS, Role.LEAVE, _column_spur),
    Maker("column_single", Stage.COLUMNS, Role.LEAVE, _column_single),
    Maker("column_left", Stage.COLUMNS, Role.OTHER, _column_judged(Fault.FORK, Fault.UPRIGHT)),
    Maker(
        "column_too_much",
        Stage.COLUMNS,
        Role.TOO_MUCH,
        _column_judged(Fault.TIP_SHORTENED, Fault.SPURS_STRIPPED),
    ),
    Maker("column_right", Stage.COLUMNS, Role.OTHER, _column_judged()),
    Maker("end_where", Stage.HEADING, Role.OTHER, _end_where),
    Maker("end_not_due", Stage.HEADING, Role.LEAVE, _end_not_due),
    Maker("end_forbidden", Stage.HEADING, Role.LEAVE, _end_forbidden),
    Maker("end_thick", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.THICK)),
    Maker("end_thin", Stage.HEADING, Role.OTHER, _end_judged(Fault.THIN)),
    Maker("end_headed", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.FORBIDDEN)),
)
