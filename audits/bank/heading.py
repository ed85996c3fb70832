"""Questions on ends that hang, drawn with their diameters."""

from collections.abc import Callable
from typing import Final

from audits.bank.maker import Dice, Maker, Role, cut_at, leave_it, what_is_wrong
from audits.coaching_words import FAULT_WORDS
from audits.messages import Message, say
from audits.questions import (
    Draft,
    EndPicture,
)
from audits.scoring import HeadingMeasure
from audits.standard import Standard
from audits.vocabulary import Fault, HeadingRule, Method, Stage


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


def _end_question(
    standard: Standard, picture: EndPicture, left: HeadingMeasure, why: Message | None = None
) -> Draft:
    return Draft(
        say("Where do you cut this hanging end?"),
        (
            *(
                cut_at(number, _headed(standard, diameter))
                for number, diameter in enumerate(picture.diameters_mm, start=1)
            ),
            leave_it(left),
        ),
        Stage.HEADING,
        picture,
        why=why,
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
        standard,
        EndPicture((at_bend + 3, at_bend, *tip), bend_after=2),
        HeadingMeasure(),
        say("At the bend it is thicker than a pencil."),
    )


def _end_forbidden(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.FORBIDDEN:
        return None
    return _end_question(
        standard,
        EndPicture(_end_sizes(standard, draw), bend_after=2),
        HeadingMeasure(),
        FAULT_WORDS[Fault.FORBIDDEN].why,
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
            what_is_wrong(draw, tree, offered),
            Stage.HEADING,
            EndPicture((sizes[place],), bend_after=0 if fault is Fault.THIN else 1, cut=True),
        )

    return make


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("end_where", Stage.HEADING, Role.OTHER, _end_where),
    Maker("end_not_due", Stage.HEADING, Role.LEAVE, _end_not_due),
    Maker("end_forbidden", Stage.HEADING, Role.LEAVE, _end_forbidden),
    Maker("end_thick", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.THICK)),
    Maker("end_thin", Stage.HEADING, Role.OTHER, _end_judged(Fault.THIN)),
    Maker("end_headed", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.FORBIDDEN)),
)
