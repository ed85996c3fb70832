"""Questions on tops, drawn with their heights."""

from collections.abc import Callable
from typing import Final

from audits.bank.maker import (
    LOWEST_TOP_MM,
    Dice,
    Maker,
    Role,
    cut_at,
    height_between,
    leave_it,
    what_is_wrong,
)
from audits.messages import say
from audits.plain_words import against_the_wire
from audits.questions import (
    Action,
    Draft,
    TopPicture,
)
from audits.scoring import TopMeasure
from audits.standard import Standard
from audits.vocabulary import Fault, Method, Stage


def _top_where(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.top
    lowest, highest = rule.band_mm
    reach = max(150.0, rule.tolerance_mm)
    leader = highest + height_between(draw, 2.5 * reach, 4 * reach)
    branches = (
        height_between(draw, highest + 0.5 * reach, highest + reach),
        height_between(draw, rule.target_mm - 0.5 * rule.tolerance_mm, rule.target_mm),
        height_between(draw, lowest - 2 * reach, lowest - 0.8 * reach),
    )
    if branches[-1] < LOWEST_TOP_MM:
        return None
    cuts = tuple(
        cut_at(number, TopMeasure(height_mm=branch))
        for number, branch in enumerate(branches, start=1)
    )
    return Draft(
        say("Where do you cut this top?"),
        (*cuts, leave_it(TopMeasure(height_mm=leader, topped=False))),
        Stage.TOP,
        TopPicture(leader, branches, standard.top_wire_mm),
    )


def _top_not_due(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule = standard.top
    leader = rule.target_mm - height_between(draw, 250, 600)
    branches = (leader - height_between(draw, 200, 280), leader - height_between(draw, 450, 560))
    if branches[-1] < LOWEST_TOP_MM:
        return None
    young = {"topped": True, "leader_young": True}
    return Draft(
        say("Where do you cut this top?"),
        (
            Action(say("Cut off the end."), TopMeasure(height_mm=leader - 80, **young)),
            cut_at(1, TopMeasure(height_mm=branches[0], **young)),
            cut_at(2, TopMeasure(height_mm=branches[1], **young)),
            leave_it(TopMeasure(height_mm=leader, topped=False)),
        ),
        Stage.TOP,
        TopPicture(leader, branches, standard.top_wire_mm),
    )


def _top_broken(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    lowest, _ = standard.top.band_mm
    top = height_between(draw, lowest - 600, lowest - 150)
    branch = top - height_between(draw, 200, 300)
    if branch < LOWEST_TOP_MM:
        return None
    return Draft(
        say("A storm broke this top last year. What do you do?"),
        (
            cut_at(1, TopMeasure(height_mm=branch)),
            Action(
                say("Cut the end off flat."),
                TopMeasure(height_mm=top - 50, to_side_branch=False),
            ),
            leave_it(TopMeasure(height_mm=top, topped=False)),
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
        tree = TopMeasure(height_mm=height_between(draw, *height), to_side_branch=to_side)
        if tree.height_mm < LOWEST_TOP_MM:
            return None
        return Draft(
            say("This top was cut today. What is wrong?"),
            what_is_wrong(draw, tree, (Fault.HIGH, Fault.LOW, Fault.BLUNT)),
            Stage.TOP,
            TopPicture(tree.height_mm, (), standard.top_wire_mm, cut=True, to_side_branch=to_side),
        )

    return make


def _top_against_wire(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    rule, wire = standard.top, standard.top_wire_mm
    if wire is None:
        return None
    beyond = rule.tolerance_mm + height_between(draw, 150, 250)
    heights = (rule.target_mm, rule.target_mm + beyond, rule.target_mm - beyond)
    if heights[-1] < LOWEST_TOP_MM:
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


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("top_where", Stage.TOP, Role.OTHER, _top_where),
    Maker("top_not_due", Stage.TOP, Role.LEAVE, _top_not_due),
    Maker("top_broken", Stage.TOP, Role.LEAVE, _top_broken),
    Maker("top_low", Stage.TOP, Role.TOO_MUCH, _top_judged(Fault.LOW)),
    Maker("top_high", Stage.TOP, Role.OTHER, _top_judged(Fault.HIGH)),
    Maker("top_blunt", Stage.TOP, Role.OTHER, _top_judged(Fault.BLUNT)),
    Maker("top_right", Stage.TOP, Role.OTHER, _top_judged(None)),
    Maker("top_wire", Stage.TOP, Role.OTHER, _top_against_wire),
)
