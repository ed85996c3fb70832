"""Questions on branches that are, or are not, single columns."""

from collections.abc import Callable
from typing import Final

from audits.bank.maker import Dice, Maker, Role, height_between, leave_it, what_is_wrong
from audits.messages import Message, say
from audits.questions import (
    Action,
    BranchPicture,
    Draft,
)
from audits.scoring import ColumnsMeasure
from audits.standard import Standard
from audits.vocabulary import Fault, Method, Stage


def _branches(standard: Standard, *faults: Fault) -> ColumnsMeasure:
    """Measure a tree on which every branch was treated alike."""
    count = standard.columns.branches
    return ColumnsMeasure(looked_at=count, single=0 if faults else count, faults=faults)


def _branch_question(
    standard: Standard,
    picture: BranchPicture,
    choices: tuple[tuple[Message, tuple[Fault, ...]], ...],
    left: tuple[Fault, ...],
    why: Message | None = None,
) -> Draft:
    return Draft(
        say("Look at this branch. What do you do?"),
        (
            *(Action(text, _branches(standard, *faults)) for text, faults in choices),
            leave_it(_branches(standard, *left)),
        ),
        Stage.COLUMNS,
        picture,
        why=why,
    )


def _column_side_branch(standard: Standard, draw: Dice, _method: Method) -> Draft | None:
    length = standard.columns.side_branch_mm + height_between(draw, 80, 250)
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
    length = height_between(draw, 0.3 * limit, 0.6 * limit)
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
        say("A shoot this short is a spur."),
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
            what_is_wrong(draw, tree, offered),
            Stage.COLUMNS,
            _BRANCH_WITH[fault] if fault else BranchPicture(),
        )

    return make


MAKERS: Final[tuple[Maker, ...]] = (
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
)
