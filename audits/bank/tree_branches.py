"""Questions on one branch of a drawn tree, from the trunk to its tip: columns and heading."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from audits.bank.maker import (
    Dice,
    Maker,
    Readings,
    Role,
    cut_at,
    leave_it,
    numbers_in_words,
    readings_of,
    what_is_wrong,
)
from audits.coaching_words import FAULT_WORDS
from audits.messages import say
from audits.practice.grow import LimbPlan
from audits.practice.growth import Growth
from audits.practice.model import Limb, SideKind, TreeKind
from audits.practice.pictures import TreePicture, TreePlace, TreeView
from audits.practice.pruning import Pruning, diameter_behind
from audits.questions import Action, Draft, Picture, SignPicture
from audits.scoring import Answer, ColumnsMeasure, HeadingMeasure
from audits.standard import Standard
from audits.vocabulary import BearingHabit, Fault, HeadingRule, Method, Stage

_UNION_MM: Final = 1_200.0
_RIGHT_DEG: Final = 0.0
# A tip cut here is short of its last part for all to see.
_TIP_OFF: Final = 0.86
# Numbers on a branch stand at least so far apart, as parts of its length.
_NUMBERS_APART: Final = 0.09

_HALFWAY: Final = 0.5

_FAULT_OF: Final = {
    SideKind.FORK: Fault.FORK,
    SideKind.UPRIGHT: Fault.UPRIGHT,
    SideKind.SIDE: Fault.SIDE_BRANCH,
}


def _branch(
    standard: Standard,
    draw: Dice,
    diameter_mm: float,
    sides: tuple[tuple[SideKind, float], ...] = (),
    *,
    hangs: bool = False,
) -> TreePicture:
    """Grow a tree with one limb."""
    heading = standard.heading
    length_mm = max(3.5 * standard.columns.side_branch_mm, 34.0 * diameter_mm + 200.0)
    forbidden = heading.rule is HeadingRule.FORBIDDEN
    growth = Growth(
        standard.top.target_mm,
        kind=TreeKind.TIP_BEARER if forbidden else TreeKind.USUAL,
        habit=BearingHabit.SEMI_SPUR,
        large_mm=standard.limbs.large_mm,
        side_branch_mm=standard.columns.side_branch_mm,
        pencil_mm=(heading.thinnest_mm, heading.thickest_mm),
        flower_share=1.0 if forbidden else 0.8,
        reach_mm=2 * length_mm,
        evenness=0.3,
        is_flat=True,
    )
    plan = LimbPlan(_UNION_MM, _RIGHT_DEG, diameter_mm, hangs=hangs, sides=sides)
    return TreePicture(
        TreeView.BRANCH,
        growth,
        draw.randrange(1_000_000),
        _UNION_MM + 2 * length_mm,
        (plan,),
        limb="1",
        pencil_mm=growth.pencil_mm if hangs else None,
    )


def _limb(picture: TreePicture) -> Limb:
    return picture.tree.limb("1")


# Columns.


def _alike(measure: Answer, standard: Standard) -> Answer:
    """Measure a tree on which every branch, and every due end, was treated as the one shown."""
    match measure:
        case ColumnsMeasure(looked_at=1):
            count = standard.columns.branches
            return measure.model_copy(update={"looked_at": count, "single": count * measure.single})
        case HeadingMeasure():
            count = standard.heading.looked_at
            update = {
                "diameters_mm": measure.diameters_mm * count,
                "left_long": measure.left_long * count,
            }
            return measure.model_copy(update=update)
    return measure


def _measured(picture: TreePicture, pruning: Pruning, standard: Standard, stage: Stage) -> Readings:
    read = readings_of(picture.tree, pruning, standard, stage)
    return Readings(
        _alike(read.measured, standard), tuple(_alike(other, standard) for other in read.others)
    )


def _side_places(draw: Dice, kinds: tuple[SideKind, ...]) -> tuple[tuple[SideKind, float], ...]:
    """Draw where side branches stand: uprights on old wood, forks further out."""
    lows = {SideKind.UPRIGHT: 0.22, SideKind.SIDE: 0.36, SideKind.FORK: 0.5}
    return tuple((kind, lows[kind] + draw.uniform(0.0, 0.1)) for kind in kinds)


def _column_branch(
    standard: Standard, draw: Dice, kinds: tuple[SideKind, ...]
) -> TreePicture | None:
    """Grow a branch with side branches of some kinds, number them, a place between and the tip."""
    diameter_mm = max(10.0, 1.6 * standard.heading.thickest_mm) + draw.uniform(0.0, 3.0)
    picture = _branch(standard, draw, diameter_mm, _side_places(draw, kinds))
    limb = _limb(picture)
    places = [TreePlace("1", side.key, side.along) for side in limb.side_branches]
    taken = [*(side.along for side in limb.side_branches), _TIP_OFF]
    free = [
        along
        for along in (step / 100 for step in range(30, 80))
        if all(abs(along - other) >= _NUMBERS_APART for other in taken)
    ]
    if not free or len(limb.side_branches) != len(kinds):
        return None
    places += [TreePlace("1", along=draw.choice(free)), TreePlace("1", along=_TIP_OFF)]
    places.sort(key=lambda place: place.along or 0.0)
    return replace(picture, places=tuple(places))


def _cut_branch(standard: Standard, picture: TreePicture, *numbers: int) -> Action:
    """Offer to cut at some numbers: side branches come off, else the branch is shortened."""
    places = [picture.places[number - 1] for number in numbers]
    sides = frozenset(place.side for place in places if place.side is not None)
    cuts = [place.along for place in places if place.side is None and place.along is not None]
    pruning = Pruning(sides_off=sides, headed={"1": min(cuts)} if cuts else {})
    read = _measured(picture, pruning, standard, Stage.COLUMNS)
    # One wording for side branches and for what lies beyond a cut, or it would tell which is right.
    text = say("Take off %(numbers)s.", numbers=numbers_in_words(numbers))
    return Action(text, read.measured, picture=SignPicture(numbers), others=read.others)


def _leave_branch(standard: Standard, picture: TreePicture, stage: Stage) -> Action:
    read = _measured(picture, Pruning(), standard, stage)
    return leave_it(read.measured, *read.others)


def _column_cut(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    kind = draw.choice(tuple(SideKind))
    return _what_comes_off(standard, _column_branch(standard, draw, (kind,)), (1, 2, 3))


def _column_single(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    return _what_comes_off(standard, _column_branch(standard, draw, ()), (1, 2))


def _what_comes_off(
    standard: Standard, picture: TreePicture | None, numbers: tuple[int, ...]
) -> Draft | None:
    """Offer to cut at one of the numbered places, or nowhere."""
    if picture is None:
        return None
    return Draft(
        say("What comes off this branch?"),
        (
            *(_cut_branch(standard, picture, number) for number in numbers),
            _leave_branch(standard, picture, Stage.COLUMNS),
        ),
        Stage.COLUMNS,
        picture,
    )


def _column_both(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    """Show two side branches; one alone is not enough."""
    one, other = draw.sample(tuple(SideKind), 2)
    picture = _column_branch(standard, draw, (one, other))
    if picture is None:
        return None
    sides = [number for number, place in enumerate(picture.places, 1) if place.side is not None]
    return Draft(
        say("What comes off this branch?"),
        (
            _cut_branch(standard, picture, *sides),
            _cut_branch(standard, picture, sides[0]),
            _cut_branch(standard, picture, *range(1, len(picture.places) + 1)),
            _leave_branch(standard, picture, Stage.COLUMNS),
        ),
        Stage.COLUMNS,
        picture,
    )


def _pruned_column(
    standard: Standard, draw: Dice, fault: Fault | None
) -> tuple[TreePicture, Pruning] | None:
    """Prune a branch with two side branches, but for one fault."""
    kind = next((kind for kind, named in _FAULT_OF.items() if named is fault), None)
    kinds = [kind or draw.choice(tuple(SideKind))]
    kinds.append(draw.choice([other for other in SideKind if other is not kinds[0]]))
    picture = _column_branch(standard, draw, tuple(kinds))
    if picture is None:
        return None
    off = {side.key for side in _limb(picture).side_branches if side.kind is not kind}
    headed = {"1": _TIP_OFF} if fault is Fault.TIP_SHORTENED else {}
    return replace(picture, places=()), Pruning(sides_off=frozenset(off), headed=headed)


def _column_judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        made = _pruned_column(standard, draw, fault)
        if made is None:
            return None
        picture, pruning = made
        read = _measured(picture, pruning, standard, Stage.COLUMNS)
        # A fork is a side branch too, and an upright: only one of them is offered.
        side = fault if fault in _FAULT_OF.values() else draw.choice(tuple(_FAULT_OF.values()))
        offered = [other for other in (side, Fault.TIP_SHORTENED) if other is not None]
        return Draft(
            say("What went wrong on this branch?"),
            what_is_wrong(draw, read.measured, offered, read.others),
            Stage.COLUMNS,
            replace(picture, pruning=pruning, shows_before=True),
        )

    return make


def _column_which(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    kind = draw.choice(tuple(SideKind))
    picture = _column_branch(standard, draw, (kind,))
    if picture is None:
        return None
    picture = replace(picture, places=())
    off = frozenset(side.key for side in _limb(picture).side_branches)
    ways = (
        (say("Side branch off, tip whole."), Pruning(sides_off=off)),
        (say("Side branch left, tip whole."), Pruning()),
        (say("Side branch off, tip short."), Pruning(sides_off=off, headed={"1": _TIP_OFF})),
    )
    choices = []
    for text, pruning in ways:
        read = _measured(picture, pruning, standard, Stage.COLUMNS)
        shown: Picture = replace(picture, pruning=pruning)
        choices.append(Action(text, read.measured, picture=shown, others=read.others))
    return Draft(
        say("Which of these branches is cut right?"),
        tuple(choices),
        Stage.COLUMNS,
        shows_choices=True,
    )


# Heading.


def _sizes(standard: Standard) -> tuple[float, float, float]:
    """Return thicknesses above, inside and below the band, well beyond the guard."""
    rule, guard_mm = standard.heading, max(1.0, standard.diameter_guard_mm)
    return (
        rule.thickest_mm + 2 * guard_mm + 1.0,
        (rule.thinnest_mm + rule.thickest_mm) / 2,
        rule.thinnest_mm - 2 * guard_mm - 0.3,
    )


def _hanging(standard: Standard, draw: Dice, *, is_due: bool) -> tuple[TreePicture, Limb] | None:
    """Grow a branch whose end hangs, and number where it is thick, pencil thick and thin."""
    rule = standard.heading
    thick_mm = _sizes(standard)[0]
    diameter_mm = 1.25 * thick_mm if is_due else 2.2 * rule.thickest_mm
    picture = _branch(standard, draw, diameter_mm + draw.uniform(0.0, 2.0), hangs=True)
    limb = _limb(picture)
    if limb.bend_mm is None or (limb.bend_mm < rule.thinnest_mm) is not is_due:
        return None
    if rule.rule is HeadingRule.FORBIDDEN and not limb.has_tip_flower:
        # Nothing would show that it bears at its tip.
        return None
    along = [limb.where_thick(size) for size in _sizes(standard)]
    places = tuple(
        TreePlace("1", along=at, diameter_mm=round(diameter_behind(limb, at), 1))
        for at in along
        if at is not None
    )
    return replace(picture, places=places), limb


def _headed(standard: Standard, diameter_mm: float) -> HeadingMeasure:
    return HeadingMeasure(diameters_mm=(diameter_mm,) * standard.heading.looked_at)


def _shortened(standard: Standard, picture: TreePicture, number: int) -> Action:
    """Offer to cut an end that is not due: it loses its tip, and is cut too thick."""
    place = picture.places[number - 1]
    at = place.along or 0.0
    if Stage.COLUMNS not in standard.stages_in_use:
        return cut_at(number, _headed(standard, diameter_behind(_limb(picture), at)))
    read = _measured(picture, Pruning(headed={"1": at}), standard, Stage.COLUMNS)
    return cut_at(number, read.measured, *read.others)


def _end_cuts(standard: Standard, picture: TreePicture, limb: Limb) -> list[Action]:
    return [
        cut_at(number, _headed(standard, diameter_behind(limb, place.along)))
        for number, place in enumerate(picture.places, start=1)
        if place.along is not None
    ]


def _end_where(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.REQUIRED:
        return None
    made = _hanging(standard, draw, is_due=True)
    if made is None:
        return None
    picture, limb = made
    return Draft(
        say("Where do you cut this hanging branch?"),
        (*_end_cuts(standard, picture, limb), _leave_branch(standard, picture, Stage.HEADING)),
        Stage.HEADING,
        picture,
    )


def _end_not_due(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.REQUIRED:
        return None
    made = _hanging(standard, draw, is_due=False)
    if made is None:
        return None
    picture, limb = made
    # Pencil thick beyond the bend is no cut that anybody would call wrong.
    places = tuple(
        TreePlace("1", along=at, diameter_mm=round(diameter_behind(limb, at), 1))
        for at in (_HALFWAY, 1.0)
    )
    picture = replace(picture, places=places)
    return Draft(
        say("Where do you cut this hanging branch?"),
        (
            *(_shortened(standard, picture, number) for number in (1, 2)),
            _leave_branch(standard, picture, Stage.HEADING),
        ),
        Stage.HEADING,
        picture,
        why=say("At the bend it is thicker than a pencil."),
    )


def _end_forbidden(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    if standard.heading.rule is not HeadingRule.FORBIDDEN:
        return None
    made = _hanging(standard, draw, is_due=True)
    if made is None:
        return None
    picture, limb = made
    return Draft(
        say("Where do you cut this branch that bears at its tip?"),
        (*_end_cuts(standard, picture, limb), _leave_branch(standard, picture, Stage.HEADING)),
        Stage.HEADING,
        picture,
        why=FAULT_WORDS[Fault.FORBIDDEN].why,
    )


def _end_judged(fault: Fault | None) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
        forbidden = standard.heading.rule is HeadingRule.FORBIDDEN
        if forbidden != (fault is Fault.FORBIDDEN):
            return None
        made = _hanging(standard, draw, is_due=True)
        if made is None:
            return None
        picture, limb = made
        place = {Fault.THICK: 0, Fault.THIN: 2}.get(fault or Fault.FORBIDDEN, 1)
        if place >= len(picture.places):
            return None
        cut = picture.places[place].along or 0.0
        offered = (Fault.THICK, Fault.THIN, *((Fault.FORBIDDEN,) if forbidden else ()))
        return Draft(
            say("What went wrong on this hanging branch?"),
            what_is_wrong(draw, _headed(standard, diameter_behind(limb, cut)), offered),
            Stage.HEADING,
            replace(
                picture,
                places=(picture.places[place],),
                pruning=Pruning(headed={"1": cut}),
                shows_before=True,
            ),
        )

    return make


MAKERS: Final[tuple[Maker, ...]] = (
    Maker("column_tree_cut", Stage.COLUMNS, Role.OTHER, _column_cut),
    Maker("column_tree_single", Stage.COLUMNS, Role.LEAVE, _column_single),
    Maker("column_tree_both", Stage.COLUMNS, Role.OTHER, _column_both),
    Maker("column_tree_side", Stage.COLUMNS, Role.OTHER, _column_judged(Fault.SIDE_BRANCH)),
    Maker("column_tree_fork", Stage.COLUMNS, Role.OTHER, _column_judged(Fault.FORK)),
    Maker("column_tree_upright", Stage.COLUMNS, Role.OTHER, _column_judged(Fault.UPRIGHT)),
    Maker("column_tree_tip", Stage.COLUMNS, Role.TOO_MUCH, _column_judged(Fault.TIP_SHORTENED)),
    Maker("column_tree_right", Stage.COLUMNS, Role.OTHER, _column_judged(None)),
    Maker("column_tree_which", Stage.COLUMNS, Role.OTHER, _column_which),
    Maker("end_tree_where", Stage.HEADING, Role.OTHER, _end_where),
    Maker("end_tree_not_due", Stage.HEADING, Role.LEAVE, _end_not_due),
    Maker("end_tree_forbidden", Stage.HEADING, Role.LEAVE, _end_forbidden),
    Maker("end_tree_thick", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.THICK)),
    Maker("end_tree_thin", Stage.HEADING, Role.OTHER, _end_judged(Fault.THIN)),
    Maker("end_tree_headed", Stage.HEADING, Role.TOO_MUCH, _end_judged(Fault.FORBIDDEN)),
    Maker("end_tree_right", Stage.HEADING, Role.OTHER, _end_judged(None)),
)
