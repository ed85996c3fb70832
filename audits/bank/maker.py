"""A way to make questions, and the words and readings that many of them share."""

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeAlias

from audits.messages import Message, say
from audits.plain_words import just
from audits.practice.model import PracticeTree
from audits.practice.pruning import Pruning, answers_of
from audits.questions import HEIGHT_READING_MM, Action, Draft, Finding, SignPicture
from audits.scoring import Answer, TopMeasure
from audits.standard import Standard
from audits.vocabulary import FAULT_NAMES, Fault, Method, Side, Stage

Dice: TypeAlias = random.Random

# Pictures stay believable between these: no quiz tree ends at knee height.
LOWEST_TOP_MM: Final = 800.0


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


def leave_it(after: Answer, *others: Answer) -> Action:
    """
    Offer to leave the wood alone.

    Parameters
    ----------
    after : Answer
        What an auditor would measure then.
    *others : Answer
        What somebody may take it for who misreads the picture.

    Returns
    -------
    Action
        The choice.
    """
    return Action(say("Leave it alone."), after, leaves=True, others=others)


def cut_at(number: int, after: Answer, *others: Answer) -> Action:
    """
    Offer to cut at a numbered place.

    Parameters
    ----------
    number : int
        The place's number in the picture.
    after : Answer
        What an auditor would measure then.
    *others : Answer
        What somebody may take it for who misreads the picture.

    Returns
    -------
    Action
        The choice, in words and as a sign.
    """
    text = say("Cut at %(number)s.", number=number)
    return Action(text, after, picture=SignPicture((number,)), others=others)


def what_is_wrong(
    draw: Dice, tree: Answer, faults: Sequence[Fault], others: tuple[Answer, ...] = ()
) -> tuple[Finding, ...]:
    """
    Offer some faults and "nothing is wrong" for one tree.

    Parameters
    ----------
    draw : Dice
        Chooses the order of the faults.
    tree : Answer
        What an auditor would measure.
    faults : sequence of Fault
        The faults.
    others : tuple of Answer, optional
        What somebody may take the tree for who misreads the picture.

    Returns
    -------
    tuple of Finding
        The choices; "nothing is wrong" comes last.
    """
    nothing = Finding(say("Nothing is wrong"), tree, None, others)
    mixed = draw.sample(list(faults), len(faults))
    return (*(Finding(say(FAULT_NAMES[f]), tree, f, others) for f in mixed), nothing)


def numbers_in_words(numbers: tuple[int, ...]) -> Message:
    """
    Say numbers in a row.

    Parameters
    ----------
    numbers : tuple of int
        At least one number.

    Returns
    -------
    Message
        Such as "1, 3 and 4".
    """
    first, last = numbers[:-1], numbers[-1]
    if not first:
        return just(last)
    return say("%(first)s and %(last)s", first=", ".join(map(str, first)), last=last)


def height_between(draw: Dice, low_mm: float, high_mm: float) -> float:
    """
    Draw a height to the centimetre.

    Parameters
    ----------
    draw : Dice
        The chance.
    low_mm, high_mm : float
        Between which heights.

    Returns
    -------
    float
        Height in mm.
    """
    return round(draw.uniform(low_mm, high_mm), -1)


@dataclass(frozen=True)
class Readings:
    """
    What an auditor measures on a drawn tree, and what the picture may be taken for.

    Parameters
    ----------
    measured : Answer
        The measure of one stage.
    others : tuple of Answer
        The same measure where a length that decides what is counted was misread: a side branch an
        inch longer or shorter, an end thicker or thinner by the guard band, a top held for as high
        as the union at which it was cut.
    """

    measured: Answer
    others: tuple[Answer, ...]


def readings_of(tree: PracticeTree, pruning: Pruning, standard: Standard, stage: Stage) -> Readings:
    """
    Measure one stage of a drawn tree, as drawn and as it may be misread.

    Parameters
    ----------
    tree : PracticeTree
        The tree as it was.
    pruning : Pruning
        What was cut.
    standard : Standard
        The block's rule.
    stage : Stage
        The stage; it must be in use.

    Returns
    -------
    Readings
        The measures.
    """
    measured = answers_of(tree, pruning, standard, Side.BOTH).stages[stage]
    if isinstance(measured, TopMeasure):
        if pruning.top_mm is None:
            return Readings(measured, ())
        return Readings(measured, (measured.model_copy(update={"height_mm": pruning.top_mm}),))
    others = [
        answers_of(tree, pruning, misread, Side.BOTH).stages[stage]
        for misread in _misread_rules(standard)
    ]
    return Readings(measured, tuple(other for other in others if other != measured))


def _misread_rules(standard: Standard) -> list[Standard]:
    """Shift the limits that decide what counts, which is as good as misreading the wood."""
    columns, heading = standard.columns, standard.heading
    guard_mm = max(1.0, standard.diameter_guard_mm)
    rules = []
    for error in (-1.0, 1.0):
        longest = max(1.0, columns.side_branch_mm + error * HEIGHT_READING_MM)
        thinnest = max(0.1, heading.thinnest_mm + error * guard_mm / 2)
        thickest = max(thinnest + 0.1, heading.thickest_mm + error * guard_mm / 2)
        band = {"thinnest_mm": thinnest, "thickest_mm": thickest}
        rules.append(
            standard.model_copy(
                update={
                    "columns": columns.model_copy(update={"side_branch_mm": longest}),
                    "heading": heading.model_copy(update=band),
                }
            )
        )
    return rules
