"""Quiz questions as data, and the solver that lets only those with one right answer through."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain, product
from typing import Final, TypeAlias

from audits.coaching_words import FAULT_WORDS
from audits.messages import Message, say
from audits.practice.pictures import TreePicture
from audits.safety import NOTES
from audits.scoring import (
    Answer,
    ClassAnswer,
    HeadingMeasure,
    LimbsMeasure,
    StageScore,
    TopMeasure,
    TreeAnswers,
    score_tree,
)
from audits.standard import Standard
from audits.vocabulary import Fault, Method, QuizStyle, Result, Stage

# A height in a picture is read to about an inch, and printed rounded to one: no key may hang on
# less (common practice; the standard's own tolerance is several times wider).
HEIGHT_READING_MM: Final = 25.0
# Diameters are printed to 1/16 in, so they may read 0.8 mm off; the guard band is wider by default.
DIAMETER_READING_MM: Final = 0.8


class CutShape(StrEnum):
    """How a limb was cut off."""

    BEVEL = "bevel"
    FLUSH = "flush"
    PEG = "peg"


@dataclass(frozen=True)
class TopPicture:
    """
    The upper part of a tree.

    Parameters
    ----------
    top_mm : float
        Height of the highest wood.
    side_branches_mm : tuple of float
        Heights of side branches of the leader, numbered from 1 at the top.
    wire_mm : float or None
        Height of the top wire, where it is in view.
    cut : bool
        Whether the top was cut today.
    to_side_branch : bool
        Whether that cut ends at a side branch.
    broken : bool
        Whether the top broke off in an earlier year.
    """

    top_mm: float
    side_branches_mm: tuple[float, ...] = ()
    wire_mm: float | None = None
    cut: bool = False
    to_side_branch: bool = True
    broken: bool = False


@dataclass(frozen=True)
class LimbsPicture:
    """
    A trunk with its limbs.

    Parameters
    ----------
    standing_mm : tuple of float
        Diameters of the limbs that stand, numbered from 1 at the bottom.
    cut_mm : tuple of float
        Diameters of fresh cuts on the trunk.
    cut_shape : CutShape
        How those were cut.
    limb_height_mm : float or None
        Height at which limb 1 grows, or grew, where it matters.
    """

    standing_mm: tuple[float, ...]
    cut_mm: tuple[float, ...] = ()
    cut_shape: CutShape = CutShape.BEVEL
    limb_height_mm: float | None = None


@dataclass(frozen=True)
class BranchPicture:
    """
    One branch, from the trunk to its tip.

    Parameters
    ----------
    side_shoot_mm : float or None
        Length of a shoot at the branch's side.
    fork : bool
        Whether the branch forks.
    upright : bool
        Whether a strong upright stands on it.
    spurs : bool
        Whether its spurs are there.
    tip : bool
        Whether its tip is whole.
    """

    side_shoot_mm: float | None = None
    fork: bool = False
    upright: bool = False
    spurs: bool = True
    tip: bool = True


@dataclass(frozen=True)
class EndPicture:
    """
    A branch end that bends over and hangs.

    Parameters
    ----------
    diameters_mm : tuple of float
        Diameters at the places numbered from 1, from the trunk outwards.
    bend_after : int
        Number of the last place before or at the bend; 0 if all lie behind it.
    cut : bool
        Whether it was cut today, at the only place.
    """

    diameters_mm: tuple[float, ...]
    bend_after: int
    cut: bool = False


@dataclass(frozen=True)
class SignPicture:
    """
    A choice without words: numbers of places at which to cut, or the sign to leave the wood alone.

    Parameters
    ----------
    numbers : tuple of int, optional
        Numbers of places in the question's picture; none for "leave it alone".
    """

    numbers: tuple[int, ...] = ()

    @property
    def leaves(self) -> bool:
        """Whether it is the sign to leave the wood alone."""
        return not self.numbers


@dataclass(frozen=True)
class FaultPicture:
    """
    A choice without words: the pictogram of a fault, or the sign that nothing is wrong.

    Parameters
    ----------
    stage : Stage
        The stage.
    fault : Fault or None
        The fault; None for the sign that nothing is wrong.
    """

    stage: Stage
    fault: Fault | None


Picture: TypeAlias = (
    TopPicture
    | LimbsPicture
    | BranchPicture
    | EndPicture
    | TreePicture
    | SignPicture
    | FaultPicture
)


@dataclass(frozen=True)
class Action:
    """
    A choice that says what to do; right if the tree conforms afterwards.

    Parameters
    ----------
    text : Message
        The choice.
    after : Answer
        What an auditor would measure once it is done.
    leaves : bool
        Whether the choice is to leave the wood alone.
    picture : Picture or None, optional
        The same choice without words; "leave it alone" has a sign of its own.
    others : tuple of Answer, optional
        What else the picture may be taken for by somebody who misreads what decides a count.
    """

    text: Message
    after: Answer
    leaves: bool = False
    picture: Picture | None = None
    others: tuple[Answer, ...] = ()


@dataclass(frozen=True)
class Finding:
    """
    A choice that says what is wrong with a tree; right if the engine finds that fault.

    Parameters
    ----------
    text : Message
        The choice.
    tree : Answer
        What an auditor would measure.
    fault : Fault or None
        The fault named; None for "nothing is wrong".
    others : tuple of Answer, optional
        What else the picture may be taken for by somebody who misreads what decides a count.
    """

    text: Message
    tree: Answer
    fault: Fault | None
    others: tuple[Answer, ...] = ()


@dataclass(frozen=True)
class Statement:
    """
    A choice that no tree decides, such as one of safety.

    Parameters
    ----------
    text : Message
        The choice.
    holds : bool
        Whether it is right.
    """

    text: Message
    holds: bool


Option: TypeAlias = Action | Finding | Statement


@dataclass(frozen=True)
class Draft:
    """
    A question before the solver has seen it.

    Parameters
    ----------
    stem : Message
        What is asked.
    options : tuple of Option
        Three or four choices, in any order.
    stage : Stage or None
        The stage it asks about; None for what holds everywhere.
    picture : Picture or None
        What is shown.
    note : str or None
        Key of the safety note that it asks about.
    why : Message or None, optional
        Why the right answer is right; None for what its fault or its stage says.
    shows_choices : bool, optional
        Whether the choices are pictures in a quiz with words too; their texts then describe them.
    """

    stem: Message
    options: tuple[Option, ...]
    stage: Stage | None = None
    picture: Picture | None = None
    note: str | None = None
    why: Message | None = None
    shows_choices: bool = False


# Of a question that was put together by hand, such as in a test.
NO_REASON: Final = Message("")


@dataclass(frozen=True)
class Question:
    """
    A question with exactly one right answer.

    Parameters
    ----------
    stem : Message
        What is asked.
    choices : tuple of Message
        Three or four answers.
    key : int
        Place of the right answer among them, from 0.
    stage : Stage or None
        The stage it asks about; None for what holds everywhere.
    picture : Picture or None
        What is shown beside it: plain numbers for whoever draws.
    note : str or None
        Key of the safety note that it asks about.
    leave_alone : bool
        Whether the right answer is to leave the wood alone.
    cut_too_much : bool
        Whether it shows a tree on which too much was cut.
    item : str, optional
        Name of the item that it was made from: the same whatever its numbers and its tree.
    option_keys : tuple of str, optional
        For each choice, its name in the item: the same in every order of the choices.
    choice_pictures : tuple of Picture, optional
        One picture for each choice, in the order of the choices; empty where choices are words.
    why : Message, optional
        Why the right answer is right, in one short sentence.
    """

    stem: Message
    choices: tuple[Message, ...]
    key: int
    stage: Stage | None
    picture: Picture | None
    note: str | None
    leave_alone: bool
    cut_too_much: bool
    item: str = ""
    option_keys: tuple[str, ...] = ()
    choice_pictures: tuple[Picture, ...] = ()
    why: Message = NO_REASON

    @property
    def answer(self) -> Message:
        """The right answer."""
        return self.choices[self.key]


# The faults of a tree on which too much was cut.
TOO_MUCH: Final = frozenset(
    {
        Fault.LOW,
        Fault.LEADER_YOUNG,
        Fault.TOO_MANY,
        Fault.TIP_SHORTENED,
        Fault.SPURS_STRIPPED,
        Fault.THICK,
        Fault.FORBIDDEN,
    }
)


def solve(
    draft: Draft, standard: Standard, method: Method, style: QuizStyle = QuizStyle.WORDS
) -> Question | None:
    """
    Find a question's key by the scoring engine, or discard the question.

    Every choice is judged with each length as drawn and as it may be misread: heights by an inch,
    diameters by the standard's guard band. A choice whose verdict changes is ambiguous.

    Parameters
    ----------
    draft : Draft
        The question.
    standard : Standard
        The block's rule.
    method : Method
        How the crew works.
    style : QuizStyle, optional
        Whether the choices are shown in words or without.

    Returns
    -------
    Question or None
        The question with its key; None if it is ambiguous, if not exactly one choice is right, or
        if a choice cannot be shown in the style.
    """
    if style is QuizStyle.PICTURES and isinstance(draft.picture, _ONLY_WITH_WORDS):
        return None
    verdicts = [_verdict(option, standard, method) for option in draft.options]
    if None in verdicts or verdicts.count(True) != 1 or not _differ(draft.options):
        return None
    key = verdicts.index(True)
    right = draft.options[key]
    pictures: tuple[Picture, ...] = ()
    if draft.shows_choices or style is QuizStyle.PICTURES:
        shown = [_without_words(option, draft.stage) for option in draft.options]
        pictures = tuple(picture for picture in shown if picture is not None)
        if len(pictures) < len(shown):
            return None
    return Question(
        stem=draft.stem,
        choices=tuple(option.text for option in draft.options),
        key=key,
        stage=draft.stage,
        picture=draft.picture,
        note=draft.note,
        leave_alone=isinstance(right, Action) and right.leaves,
        cut_too_much=isinstance(right, Finding) and right.fault in TOO_MUCH,
        option_keys=tuple(_name(option, place) for place, option in enumerate(draft.options)),
        choice_pictures=pictures,
        why=draft.why or reason(right, draft.stage, draft.note),
    )


# These show lengths in figures, with no mark, gauge or pencil to hold them against; a branch looks
# like the picture of its fault among the choices, which whoever compares the two finds unlearned.
_ONLY_WITH_WORDS: Final = (TopPicture, LimbsPicture, EndPicture, BranchPicture)


def _without_words(option: Option, stage: Stage | None) -> Picture | None:
    match option:
        case Action(leaves=True, picture=None):
            return SignPicture()
        case Action(picture=picture):
            return picture
        case Finding(fault=fault):
            return None if stage is None else FaultPicture(stage, fault)
        case _:
            return None


def reason(right: Option, stage: Stage | None, note: str | None) -> Message:
    """
    Say why an answer is right, where its question says no more.

    Parameters
    ----------
    right : Action, Finding or Statement
        The right answer.
    stage : Stage or None
        The stage it is about.
    note : str or None
        Key of the safety note it is about.

    Returns
    -------
    Message
        One short sentence.
    """
    match right:
        case Finding(fault=Fault() as fault):
            return FAULT_WORDS[fault].why
        case Finding() if stage is not None:
            return _NOTHING_WRONG[stage]
        case Action(leaves=True) if stage is not None:
            return _NOTHING_TO_DO[stage]
        case _ if note is not None:
            return NOTES[note].short
        case _ if stage is not None:
            return _DONE_SO[stage]
        case _:
            return NO_REASON


_NOTHING_WRONG: Final = {
    Stage.TOP: say("It ends at the right height, at a side branch."),
    Stage.LIMBS: say("The thickest limbs are out, and no more."),
    Stage.COLUMNS: say("The branch is one column with its tip and spurs."),
    Stage.HEADING: say("The cut is pencil thick."),
}
_NOTHING_TO_DO: Final = {
    Stage.TOP: say("It stands below the mark."),
    Stage.LIMBS: say("No limb here is large."),
    Stage.COLUMNS: say("It is one column already."),
    Stage.HEADING: say("It does not hang thin."),
}
_DONE_SO: Final = {
    Stage.TOP: say("That is nearest to the right height."),
    Stage.LIMBS: say("The thickest come out first."),
    Stage.COLUMNS: say("A branch is one column with its tip and spurs."),
    Stage.HEADING: say("There it is pencil thick."),
}


def _name(option: Option, place: int) -> str:
    """Name a choice within its item: by what it says of the tree, else by its place."""
    match option:
        case Action(leaves=True):
            return "leave"
        case Finding(fault=None):
            return "nothing"
        case Finding(fault=fault):
            return str(fault)
        case _:
            return f"choice{place + 1}"


def reordered(question: Question, order: tuple[int, ...]) -> Question:
    """
    Put a question's choices into another order.

    Parameters
    ----------
    question : Question
        The question.
    order : tuple of int
        Present places of the choices, in their new order.

    Returns
    -------
    Question
        The same question; its key has moved along.
    """
    return replace(
        question,
        choices=tuple(question.choices[place] for place in order),
        option_keys=tuple(question.option_keys[place] for place in order),
        choice_pictures=tuple(question.choice_pictures[place] for place in order)
        if question.choice_pictures
        else (),
        key=order.index(question.key),
    )


def _differ(options: tuple[Option, ...]) -> bool:
    texts = [(option.text.text, tuple(option.text.values.items())) for option in options]
    return all(text not in texts[:place] for place, text in enumerate(texts))


def _verdict(option: Option, standard: Standard, method: Method) -> bool | None:
    """Judge one choice: right, wrong, or None where that depends on how a length is read."""
    match option:
        case Statement():
            return option.holds
        case Action():
            verdicts = {
                score.result is not Result.NONCONFORMING
                for score in _readings((option.after, *option.others), standard, method)
            }
        case Finding():
            verdicts = {
                option.fault in score.faults if option.fault else not score.faults
                for score in _readings((option.tree, *option.others), standard, method)
            }
    return verdicts.pop() if len(verdicts) == 1 else None


def _readings(
    answers: tuple[Answer, ...], standard: Standard, method: Method
) -> Iterator[StageScore]:
    stage = _stage_of(answers[0])
    diameter_mm = max(standard.diameter_guard_mm, DIAMETER_READING_MM)
    for reading in chain.from_iterable(_misread(answer, diameter_mm) for answer in answers):
        tree = TreeAnswers(stages={stage: reading})
        yield score_tree(standard, tree, method=method, stages=(stage,)).stages[stage]


def _stage_of(answer: Answer) -> Stage:
    # The kind of a measure is the name of its stage.
    if isinstance(answer, ClassAnswer):
        raise TypeError("a question is keyed by measures, not by what somebody tapped")
    return Stage(answer.kind)


def _misread(answer: Answer, diameter_mm: float) -> Iterator[Answer]:
    """Yield the answer as drawn and at the ends of what may be read."""
    yield answer
    match answer:
        case TopMeasure():
            for error in (-HEIGHT_READING_MM, HEIGHT_READING_MM):
                yield answer.model_copy(update={"height_mm": answer.height_mm + error})
        case LimbsMeasure():
            for cut, standing in product((-diameter_mm, diameter_mm), repeat=2):
                yield answer.model_copy(
                    update={
                        "cut_mm": tuple(d + cut for d in answer.cut_mm),
                        "standing_mm": tuple(d + standing for d in answer.standing_mm),
                    }
                )
        case HeadingMeasure():
            for error in (-diameter_mm, diameter_mm):
                yield answer.model_copy(
                    update={"diameters_mm": tuple(d + error for d in answer.diameters_mm)}
                )
        case _:
            return
